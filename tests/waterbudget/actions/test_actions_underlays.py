"""Laying pictures and height files under the map: what is stored, refused and taken back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from waterbudget import actions
from waterbudget.actions.underlays import underlay_file
from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.orchard import Orchard
from waterbudget.store import FarmFile

NOW = dt.datetime(2025, 7, 14, 7, 2)
EPSG, EAST, NORTH = 32736, 468_600.0, 7_799_500.0


def raster(path: Path, dtype: str = "uint8", bands: int = 3, east: float = EAST) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=40,
        height=40,
        count=bands,
        dtype=dtype,
        crs=f"EPSG:{EPSG}",
        transform=from_origin(east, NORTH, 5, 5),
    ) as file:
        file.write(np.arange(bands * 1600).reshape(bands, 40, 40).astype(dtype))
    return path


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[FarmFile]:
    orchard = Orchard(name="Test hill", lat=-19.9, lon=32.7, epsg=EPSG, elevation_m=1000.0)
    (tmp_path / "farm").mkdir()
    with FarmFile.create(tmp_path / "farm" / "hill.gpkg", orchard, now=NOW) as file:
        yield file


def test_a_file_below_the_farm_is_kept_by_its_relative_path(tmp_path: Path, farm: FarmFile) -> None:
    path = raster(tmp_path / "farm" / "maps" / "air.tif")
    row, notes = actions.add_underlay(farm, path, now=NOW)
    assert (row.path, row.kind, row.opacity, row.shown) == ("maps/air.tif", "picture", 1.0, True)
    assert notes == () and farm.read().underlays == (row,)
    assert underlay_file(row, farm.path) == path.resolve()


def test_a_file_elsewhere_is_kept_whole(tmp_path: Path, farm: FarmFile) -> None:
    path = raster(tmp_path / "air.tif")
    row, _ = actions.add_underlay(farm, path, now=NOW)
    assert row.path == str(path.resolve())
    assert underlay_file(row, farm.path) == path.resolve()


def test_the_kind_follows_from_the_bands_or_is_asked(tmp_path: Path, farm: FarmFile) -> None:
    row, _ = actions.add_underlay(farm, raster(tmp_path / "z.tif", "float32", 1), now=NOW)
    assert row.kind == "heights"
    either = raster(tmp_path / "e.tif", "int16", 1)
    assert actions.recognise(either) == "underlay"
    with pytest.raises(AnswersNeeded):
        actions.add_underlay(farm, either, now=NOW)
    row, _ = actions.add_underlay(farm, either, "picture", now=NOW)
    assert row.kind == "picture" and row.place == 1


def test_refusals_store_nothing(tmp_path: Path, farm: FarmFile) -> None:
    path = raster(tmp_path / "air.tif")
    actions.add_underlay(farm, path, now=NOW)
    before = farm.read()
    broken = tmp_path / "x.tif"
    broken.write_text("words")
    for bad, kind, code in (
        (path, None, "underlay.twice"),
        (broken, None, "underlay.unreadable"),
        (tmp_path / "no.tif", None, "underlay.no_file"),
        (raster(tmp_path / "p.tif"), "heights", "terrain.not_heights"),
    ):
        with pytest.raises(Refused) as refused:
            actions.add_underlay(farm, bad, kind, now=NOW)
        assert refused.value.code == code
    for change in ({"opacity": 1.2}, {"opacity": -0.1}):
        with pytest.raises(Refused):
            actions.change_underlay(farm, str(path.resolve()), now=NOW, **change)
    with pytest.raises(Refused):
        actions.change_underlay(farm, "other.tif", shown=False, now=NOW)
    assert farm.read() == before


def test_a_file_far_off_is_told(tmp_path: Path, farm: FarmFile) -> None:
    _, notes = actions.add_underlay(farm, raster(tmp_path / "f.tif", east=EAST - 100_000), now=NOW)
    assert [n.code for n in notes] == ["underlay.far"] and 95 <= notes[0].fields["km"] <= 105


def test_change_order_and_drop_go_there_and_back(tmp_path: Path, farm: FarmFile) -> None:
    paths = []
    for name in ("a", "b", "c"):
        row, _ = actions.add_underlay(farm, raster(tmp_path / "farm" / f"{name}.tif"), now=NOW)
        paths.append(row.path)
    before = actions.change_underlay(farm, "b.tif", opacity=0.4, shown=False, now=NOW)
    assert (before.opacity, before.shown) == (1.0, True)
    b = next(r for r in farm.read().underlays if r.path == "b.tif")
    assert (b.opacity, b.shown, b.place) == (0.4, False, 1)
    was = actions.order_underlays(farm, ["c.tif", "b.tif", "a.tif"], now=NOW)
    assert was == paths
    assert {r.path: r.place for r in farm.read().underlays} == {"c.tif": 0, "b.tif": 1, "a.tif": 2}
    with pytest.raises(Refused):
        actions.order_underlays(farm, ["c.tif", "b.tif"], now=NOW)
    gone = actions.drop_underlay(farm, "b.tif", now=NOW)
    assert [r.path for r in farm.read().underlays if r.path == "b.tif"] == []
    actions.put_underlay(farm, gone, now=NOW)
    back = next(r for r in farm.read().underlays if r.path == "b.tif")
    assert (back.opacity, back.shown, back.place) == (0.4, False, 1)


def test_a_missing_file_can_still_be_changed_and_dropped(tmp_path: Path, farm: FarmFile) -> None:
    path = raster(tmp_path / "farm" / "a.tif")
    actions.add_underlay(farm, path, now=NOW)
    path.unlink()
    actions.change_underlay(farm, "a.tif", shown=False, now=NOW)
    actions.drop_underlay(farm, "a.tif", now=NOW)
    assert farm.read().underlays == ()
