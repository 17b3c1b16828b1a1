"""Opening a file reads that file, and nothing else."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import closing
from pathlib import Path

import pytest
from outline_cases import area, fields, look, packed, utm
from outline_ground import SQUARE, closed, dxf, grid, shapefile

from waterbudget.errors import Refused
from waterbudget.outlines.safexml import parse
from waterbudget.outlines.source import open_source
from waterbudget.outlines.systems import crs_from_wkt


def in_a_new_python(code: str, *arguments: str) -> str:
    """Run code in a fresh interpreter and return what it prints."""
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *arguments],
        capture_output=True, text=True, check=True, cwd=Path(__file__).parents[3],
    )  # fmt: skip
    return done.stdout.strip()


def test_drivers_that_follow_paths_are_off() -> None:
    drivers = in_a_new_python("""
        from waterbudget.outlines import gdal
        drivers = gdal._pyogrio().list_drivers()
        print(*sorted(drivers), sep=",")
        """).split(",")
    off = {"OGR_VRT", "HTTP", "WFS", "OAPIF", "CSW", "Elasticsearch", "GDALG", "SQLite", "OGCAPI"}
    assert not off & set(drivers)
    assert {"GPKG", "ESRI Shapefile", "DXF"} <= set(drivers)


def test_network_handlers_are_off(tmp_path: Path) -> None:
    answer = in_a_new_python("""
        from waterbudget.outlines import gdal
        pyogrio = gdal._pyogrio()
        try:
            pyogrio.read_info("/vsicurl/http://127.0.0.1:9/a.geojson")
        except Exception as problem:
            print(type(problem).__name__)
        """)
    assert answer.endswith("Error")


@pytest.mark.parametrize("kind", ["gpkg", "shp", "dxf"])
def test_gdal_sees_only_a_copy_alone_in_a_folder(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from waterbudget.outlines import gdal

    seen: list[str] = []
    reader = gdal._pyogrio().raw.read

    def spy(path: str, **more: object) -> object:
        seen.extend(sorted(os.listdir(Path(path).parent)))  # noqa: PTH208
        assert not Path(path).is_relative_to(tmp_path)
        return reader(path, **more)

    monkeypatch.setattr("pyogrio.raw.read", spy)
    if kind == "gpkg":
        path = packed(tmp_path, {"land": [("A", utm(SQUARE))]})
    elif kind == "shp":
        path = shapefile(tmp_path / "a", [[grid(closed(SQUARE[::-1]))]], ["A"], epsg=32736)
        (tmp_path / "a.sbn").write_text("not looked at")
    else:
        path = dxf(tmp_path / "a.dxf", ("b", grid(SQUARE), True), units=6)
    assert len(look(path, crs="EPSG:32736").outlines) == 1
    allowed = {"layers.gpkg", "layer.shp", "layer.shx", "layer.dbf", "drawing.dxf"}
    assert seen
    assert set(seen) <= allowed


def test_geopackage_locked_by_ourselves_keeps_its_lock(tmp_path: Path) -> None:
    """A writer in another process must not get in because we looked at the file."""
    path = packed(tmp_path, {"land": [("A", utm(SQUARE))]})
    with closing(sqlite3.connect(path, isolation_level=None)) as ours:
        ours.execute("BEGIN EXCLUSIVE")
        with pytest.raises(Refused) as busy:
            look(path)
        answer = in_a_new_python("""
            import sqlite3, sys
            db = sqlite3.connect(sys.argv[1], timeout=0)
            try:
                db.execute("CREATE TABLE x (y)")
                print("got in")
            except sqlite3.OperationalError as problem:
                print(problem)
            """, str(path))  # fmt: skip
        ours.execute("ROLLBACK")
    assert busy.value.code == "outlines.busy"
    assert "locked" in answer
    assert len(look(path).outlines) == 1


def test_plain_files_are_not_held_open_or_written(tmp_path: Path) -> None:
    path = fields(("A", area(SQUARE)))(tmp_path)
    path.chmod(0o444)
    stamp = path.stat().st_mtime_ns
    look(path)
    assert path.stat().st_mtime_ns == stamp
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    "address",
    ["/vsicurl/http://127.0.0.1:9/a", "/vsizip/a.zip", "http://127.0.0.1:9/a.geojson", "s3:/x/y"],
)
def test_addresses_are_no_files(address: str) -> None:
    with pytest.raises(Refused) as no:
        open_source(Path(address))
    assert no.value.code == "outlines.not_a_file"


def test_grid_files_in_a_definition_are_not_followed() -> None:
    wkt = (
        'GEOGCS["x",DATUM["x",SPHEROID["x",6378137,298.25]],PRIMEM["Greenwich",0],'
        'UNIT["degree",0.0174532925199433],EXTENSION["PROJ4","+proj=longlat {}"]]'
    )
    assert crs_from_wkt(wkt.format("+ellps=GRS80 +nadgrids=/etc/passwd +no_defs")) is None
    assert crs_from_wkt(wkt.format("+ellps=GRS80 +nadgrids=@http://x/y.gsb")) is None
    assert crs_from_wkt(wkt.format("+ellps=GRS80 +nadgrids=@null +no_defs")) is not None


def test_damaged_definitions_are_no_system() -> None:
    wkt = (
        'PROJCS["x",GEOGCS["y",DATUM["D_WGS_1984",SPHEROID["s",6378137,298.25]],'
        'PRIMEM["Greenwich",0],UNIT["Degree",0.01745]],PROJECTION["{}"],UNIT["Meter",1]]'
    )
    assert crs_from_wkt(wkt.format("Transverse_Mercator")) is not None
    assert crs_from_wkt(wkt.format("Transverse_Mercury")) is None
    assert crs_from_wkt("PROJCS[") is None
    assert crs_from_wkt('LOCAL_CS["site",UNIT["metre",1]]') is None


class _Deaf:
    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take nothing in."""

    def end(self, tag: str) -> None:
        """Take nothing in."""

    def data(self, text: str) -> None:
        raise AssertionError(text)


@pytest.mark.parametrize(
    "declaration",
    ['<!DOCTYPE a SYSTEM "file:///etc/passwd">', "<!DOCTYPE a [<!ENTITY b 'c'>]>",
     '<!DOCTYPE a [<!ENTITY % p SYSTEM "http://127.0.0.1:9/"> %p;]>'],
)  # fmt: skip
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_no_document_types_in_any_encoding(declaration: str, encoding: str) -> None:
    text = f"<?xml version='1.0' encoding='{encoding}'?>{declaration}<a>&b;</a>"
    with pytest.raises(Refused) as no:
        parse(text.encode(encoding), _Deaf())
    assert no.value.code == "outlines.xml_doctype"
