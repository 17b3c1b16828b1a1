from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from store_samples import NOW, fill, three_blocks

from waterbudget.store import FarmFile


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "färm 100%?#.gpkg"


@pytest.fixture
def farm(path: Path) -> Iterator[FarmFile]:
    with FarmFile.create(path, three_blocks(), now=NOW) as farm:
        fill(farm)
        yield farm
