"""Any program that reads the open standard sees the blocks, and may change them."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from store_samples import EPSG, NOW, D, fill, plain, square, three_blocks

from waterbudget.orchard import BLOCK_KEYS, Block
from waterbudget.records import Ran
from waterbudget.store import FarmFile

# Never in this process: closing a file there drops the locks our own connections hold on it.
LOOK = """
import json, sys
import geopandas, pyogrio
path = sys.argv[1]
blocks = geopandas.read_file(path, layer="blocks")
days = pyogrio.read_dataframe(path, layer="days")
print(json.dumps({
    "layers": sorted(name for name, kind in pyogrio.list_layers(path)),
    "kind": pyogrio.read_info(path, layer="blocks")["geometry_type"],
    "bounds": list(pyogrio.read_info(path, layer="blocks")["total_bounds"]),
    "epsg": blocks.crs.to_epsg(), "columns": list(blocks.columns),
    "names": list(blocks["name"]), "trees": list(blocks["trees"].dropna()),
    "areas": [None if g is None else g.area for g in blocks.geometry],
    "rain": sorted(days["rain_mm"]), "dates": sorted(str(d)[:10] for d in days["date"]),
}))
"""
DRAW = """
import sys
import geopandas
from shapely.geometry import MultiPolygon, Polygon
blocks = geopandas.read_file(sys.argv[1], layer="blocks")
new = geopandas.GeoDataFrame(
    {"name": ["Drawn elsewhere"]}, crs=blocks.crs,
    geometry=[MultiPolygon([Polygon([(500900, 7800000), (501000, 7800000), (501000, 7800100)])])])
new.to_file(sys.argv[1], layer="blocks", mode="a", engine="pyogrio")
"""


def run(script: str, path: Path) -> str:
    done = subprocess.run([sys.executable, "-c", script, str(path)],
                          capture_output=True, text=True, timeout=120)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Warning" not in done.stderr, done.stderr
    return done.stdout


@pytest.fixture
def closed(path: Path) -> Path:
    with FarmFile.create(path, three_blocks(), now=NOW) as farm:
        fill(farm)
    return path


def test_a_map_library_sees_blocks_attributes_and_system(closed: Path) -> None:
    seen: dict[str, Any] = json.loads(run(LOOK, closed))
    assert seen["epsg"] == EPSG
    assert seen["kind"] == "MultiPolygon"
    assert seen["names"] == ["North", "Ñandú 2", "Low"]
    assert seen["trees"] == [625]
    assert seen["areas"] == [10_000, 10_000, None]
    assert seen["bounds"] == [500_000, 7_800_000, 500_400, 7_800_100]
    fields = {name for name, key in BLOCK_KEYS.items() if key.place == "field"}
    assert fields <= set(seen["columns"])
    assert {"blocks", "cycles", "stations", "days", "ran", "given_sets"} <= set(seen["layers"])
    assert seen["rain"] == [1, 2, 3, 4, 5]
    assert seen["dates"][-1] == "2026-02-28"


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_ogrinfo_opens_it_without_a_warning(closed: Path) -> None:
    done = subprocess.run(["ogrinfo", "-ro", "-al", str(closed), "blocks"],
                          capture_output=True, text=True, timeout=60)  # fmt: skip
    assert done.returncode == 0
    assert done.stderr == ""
    for text in ("Multi Polygon", "UTM zone 36S", "Feature Count: 3", "Ñandú 2", "clay-loam"):
        assert text in done.stdout


def test_the_header_and_tables_the_standard_asks_for(closed: Path) -> None:
    header = closed.read_bytes()[:100]
    assert header[68:72] == b"GPKG"
    assert int.from_bytes(header[60:64], "big") == 10300
    with closing(sqlite3.connect(closed)) as db:
        systems = dict(db.execute("SELECT srs_id, definition FROM gpkg_spatial_ref_sys"))
        contents = db.execute(
            "SELECT data_type, min_x, min_y, max_x, max_y, srs_id, last_change "
            "FROM gpkg_contents WHERE table_name = 'blocks'"
        ).fetchall()
        tables = [row[0] for row in db.execute("SELECT table_name FROM gpkg_contents")]
        keys = {t: [c[1] for c in db.execute(f"PRAGMA table_info({t})") if c[5]] for t in tables}
        blob = db.execute("SELECT geom FROM blocks WHERE fid = 1").fetchone()[0]
    assert set(systems) == {-1, 0, 4326, EPSG}
    assert systems[EPSG].startswith('PROJCS["WGS 84 / UTM zone 36S"')
    assert systems[4326].startswith('GEOGCS["WGS 84"')
    assert contents == [("features", 500_000, 7_800_000, 500_400, 7_800_100, EPSG,
                         "2026-03-02T07:30:00.000Z")]  # fmt: skip
    assert all(len(key) == 1 for key in keys.values()), keys
    assert blob[:8] == b"GP\x00\x03" + EPSG.to_bytes(4, "little")


def test_bounds_follow_the_outlines(closed: Path) -> None:
    def bounds(farm: FarmFile) -> tuple[Any, ...]:
        found = farm._db.execute(
            "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = 'blocks'"
        ).fetchone()
        return tuple(found)

    with FarmFile.open(closed) as farm:
        with farm.transaction("grow", now=NOW):
            farm.save_block(Block(name="Low", id=3, outline=square(499_000, 7_799_000)))
        assert bounds(farm) == (499_000, 7_799_000, 500_400, 7_800_100)
        with farm.transaction("shrink", now=NOW):
            farm.delete_block(3)
            farm.delete_block(2)
        assert bounds(farm) == (500_000, 7_800_000, 500_100, 7_800_100)
        with farm.transaction("none", now=NOW):
            farm.save_block(Block(name="North", id=1, area_ha=1.0))
        assert bounds(farm) == (None, None, None, None)


def test_a_block_drawn_by_another_program_is_a_block(closed: Path) -> None:
    run(DRAW, closed)
    with FarmFile.open(closed) as farm:
        assert farm.check() == []
        drawn = farm.read().orchard.blocks[-1]
        assert drawn.name == "Drawn elsewhere"
        assert drawn.outline_ha == pytest.approx(0.5 / 0.9996**2, rel=1e-5)
        with farm.transaction("use", now=NOW):
            farm.set_ran(drawn.id, D, [Ran(drawn.id, D, hours=2.0)])
            assert farm.save_block(Block(name="Next")) == drawn.id + 1
        assert [r.hours for r in farm.read().ran if r.block_id == drawn.id] == [2.0]


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_a_spatial_index_another_program_added_is_kept_right(closed: Path) -> None:
    done = subprocess.run(
        ["ogrinfo", "-q", str(closed), "-sql", "SELECT CreateSpatialIndex('blocks', 'geom')"],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0
    with FarmFile.open(closed) as farm:
        with farm.transaction("edit", now=NOW):
            farm.save_block(Block(name="Low", id=3, outline=square(501_000)))
            farm.save_block(Block(name="North", id=1, outline=None))
            farm.delete_block(2)
        assert farm.check() == []
        rows = farm._db.execute("SELECT id, minx, maxx FROM rtree_blocks_geom").fetchall()
    assert rows == [(3, 501_000, 501_100)]


def test_our_own_file_is_read_in_other_byte_orders_and_with_other_envelopes(closed: Path) -> None:
    """The standard leaves both to the writer."""
    import shapely

    before = FarmFile.open(closed, read_only=True).read()
    big = shapely.to_wkb(shapely.MultiPolygon([square()]), byte_order=0)
    without = b"GP\x00\x00" + EPSG.to_bytes(4, "big") + big
    tall = shapely.force_3d(square(500_300), 900.0)
    with_heights = b"GP\x00\x01" + EPSG.to_bytes(4, "little") + shapely.to_wkb(
        tall, output_dimension=3)  # fmt: skip
    with closing(sqlite3.connect(closed)) as db, db:
        db.execute("UPDATE blocks SET geom = ? WHERE fid = 1", (without,))
        db.execute("UPDATE blocks SET geom = ? WHERE fid = 2", (with_heights,))
    with FarmFile.open(closed) as farm:
        assert plain(farm.read()) == plain(before)
        with farm.transaction("bounds", now=NOW):
            farm.save_block(Block(name="Low", id=3, outline=square(499_000)))
        found = farm._db.execute("SELECT min_x, max_x FROM gpkg_contents WHERE srs_id > 0")
        assert found.fetchall() == [(499_000, 500_400)]
