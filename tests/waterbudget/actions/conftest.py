"""A small farm of two blocks with six weeks of weather, open for actions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from waterbudget import actions
from waterbudget.store import FarmFile

NOW = dt.datetime(2025, 7, 14, 6, 30)
TODAY = NOW.date()
FIRST = dt.date(2025, 6, 1)


def own_et0(path: Path, first: dt.date, days: int, *, et0: float = 4.5, rain: float = 0) -> Path:
    """Write a station file that brings its own reference ET; rain falls on its last day."""
    lines = ["date,et0_mm,rain_mm"]
    for i in range(days):
        wet = rain if i == days - 1 else 0
        lines.append(f"{first + dt.timedelta(days=i)},{et0},{wet}")
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def now() -> dt.datetime:
    return NOW


@pytest.fixture
def bare(tmp_path: Path) -> Iterator[FarmFile]:
    """A farm without blocks or weather."""
    with actions.new_farm(tmp_path / "f.gpkg", name="Ridge", lat=-19.9, lon=32.7, now=NOW) as file:
        yield file


@pytest.fixture
def file(bare: FarmFile, tmp_path: Path) -> FarmFile:
    keys = {"area_ha": "1", "flow_m3_h": "20", "soil": "loam", "system": "drip"}
    for name in ("Top", "Low"):
        actions.set_block(bare, name, keys, new=True, now=NOW)
    station = own_et0(tmp_path / "station.csv", FIRST, 43)
    actions.import_weather(bare, station, station="House", now=NOW)
    return bare


@pytest.fixture
def own_et0_file(tmp_path: Path):
    def write(name: str, first: dt.date, days: int, **more: float) -> Path:
        return own_et0(tmp_path / name, first, days, **more)

    return write
