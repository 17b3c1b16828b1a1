"""Files that must be refused in one sentence, with nothing changed."""

from __future__ import annotations

import gzip
import json
import sqlite3
import zipfile
from pathlib import Path

import pytest
from outline_cases import No, area, csv, fields, look, multi, packed, spoken, utm, write
from outline_ground import (
    BOW_TIE,
    LAT,
    LON,
    POND,
    SQUARE,
    closed,
    dxf,
    feature,
    geojson,
    gpx,
    grid,
    lonlat,
    polygon,
    shift,
    walked,
)

from waterbudget.errors import Refused

VRT = "<OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>/etc/passwd</SrcDataSource>"
BILLION = (
    "<?xml version='1.0'?><!DOCTYPE k [<!ENTITY a 'lol'><!ENTITY b '&a;&a;&a;&a;'>]>"
    "<kml><Placemark><name>&b;</name></Placemark></kml>"
)
OUTSIDE = (
    "<?xml version='1.0'?><!DOCTYPE g [<!ENTITY x SYSTEM 'file:///etc/hostname'>]>"
    "<gpx><trk><name>&x;</name></trk></gpx>"
)


def bomb(folder: Path) -> Path:
    """Write an archive that unpacks to far more than it should."""
    with zipfile.ZipFile(folder / "a.kmz", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", b" " * (80 * 1024 * 1024))
    return folder / "a.kmz"


def crowded(folder: Path) -> Path:
    """Write an archive of very many files."""
    with zipfile.ZipFile(folder / "a.zip", "w") as archive:
        for n in range(1500):
            archive.writestr(f"{n}.geojson", "{}")
    return folder / "a.zip"


def farm(folder: Path) -> Path:
    """Write a database that looks like a farm file."""
    with sqlite3.connect(folder / "a.gpkg") as db:
        db.execute("CREATE TABLE farm (key, value)")
        db.execute("INSERT INTO farm VALUES ('format', 'guava')")
        db.execute("CREATE TABLE gpkg_contents (x)")
    db.close()
    return folder / "a.gpkg"


def big(folder: Path) -> Path:
    """Write a sparse file over the limit."""
    with (folder / "a.geojson").open("wb") as file:
        file.truncate(65 * 1024 * 1024)
    return folder / "a.geojson"


LOOPED = [(0, 0), (60, 0), (60, -15), (50, -15), (50, 5), (100, 5), (100, 105), (0, 105)]
"""The walker crossed the own track: a loop of 10 x 15 m hangs below the edge."""

FILES: dict[str, No] = {
    "crossing": No(fields(("A", area(BOW_TIE))), "outlines.crosses"),
    "walk in a figure of eight": No(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat([*BOW_TIE, BOW_TIE[0]])])), "outlines.crosses"
    ),
    "walk with a loop of 1.5 % of the block": No(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(walked(LOOPED))])), "outlines.crosses"
    ),
    "pond across the edge": No(fields(("A", area(SQUARE, shift(POND, 70)))), "outlines.crosses"),
    "pond outside": No(fields(("A", area(SQUARE, shift(POND, 200)))), "outlines.holes"),
    "two ponds on each other": No(
        fields(("A", area(SQUARE, POND, [(x + 5, y + 5) for x, y in POND]))), "outlines.crosses"
    ),
    "parts on each other": No(
        fields(("A", multi(area(SQUARE), area(shift(SQUARE, 50))))), "outlines.parts_overlap"
    ),
    "two of two crossing": No(
        fields(("A", area(BOW_TIE)), ("B", area(shift(BOW_TIE, 200)))), "outlines.none_usable"
    ),
    "too small": No(fields(("A", area([(0, 0), (4, 0), (4, 4), (0, 4)]))), "outlines.too_small"),
    "no area at all": No(fields(("A", area([(0, 0), (50, 0), (100, 0)]))), "outlines.too_small"),
    "two corners": No(
        csv("name,lat,lon", [("A", y, x) for x, y in lonlat(SQUARE[:2])]),
        "outlines.too_few_corners",
    ),
    "another country": No(
        fields(("A", polygon([(-47.0, -22.0), (-46.99, -22.0), (-46.99, -21.99), (-47.0, -22.0)]))),
        "outlines.far",
    ),
    "swap declined": No(
        fields(("A", polygon([(y, x) for x, y in lonlat(closed(SQUARE))]))),
        "outlines.far",
        {"answers": {"swap": "no"}},
    ),
    "named system puts it elsewhere": No(
        fields(("A", area(SQUARE))), "outlines.far", {"crs": "EPSG:31983"}
    ),
    "no such system": No(fields(("A", area(SQUARE))), "outlines.bad_system", {"crs": "EPSG:1"}),
    "a system that brings a file": No(
        fields(("A", area(SQUARE))),
        "outlines.bad_system",
        {"crs": "+proj=longlat +nadgrids=/etc/passwd"},
    ),
    "unknown answer": No(
        fields(("A", area(SQUARE))), "answers.unknown", {"answers": {"colour": "red"}}
    ),
    "answer that is no choice": No(
        fields(("A", polygon(lonlat(SQUARE)))),
        "answers.not_a_choice",
        {"answers": {"close": "perhaps"}},
    ),
    "no such layer": No(
        lambda f: packed(f, {"one": [("A", utm(SQUARE))]}),
        "outlines.no_such_layer",
        {"layer": "two"},
    ),
    "no such column": No(
        fields(("A", area(SQUARE))), "outlines.no_such_column", {"name_column": "owner"}
    ),
    "only points": No(
        fields(("A", {"type": "Point", "coordinates": [LON, LAT]})), "outlines.nothing_in_file"
    ),
    "empty collection": No(lambda f: geojson(f / "a.geojson"), "outlines.nothing_in_file"),
    "empty file": No(write("a.geojson", ""), "outlines.empty_file"),
    "half a file": No(
        write("a.geojson", json.dumps(feature(area(SQUARE)))[:120]), "outlines.bad_json"
    ),
    "nesting without end": No(write("a.geojson", '{"a":' + "[" * 200_000), "outlines.too_deep"),
    "xml nesting without end": No(write("a.kml", "<kml>" + "<Folder>" * 5000), "outlines.too_deep"),
    "other json": No(write("a.json", '{"type": "Topology"}'), "outlines.not_geojson"),
    "half a kml": No(write("a.kml", "<kml><Placemark><name>A</name>"), "outlines.bad_xml"),
    "a number that is none": No(
        csv("name,lat,lon", [("A", "12a", 3), ("A", 1, 2), ("A", 1, 2)]), "outlines.csv_value"
    ),
    "table without positions": No(csv("name,ha", [("A", 1)]), "outlines.csv_columns"),
    "virtual data set": No(write("a.vrt", VRT), "outlines.unknown_kind"),
    "virtual data set under another name": No(write("a.gpkg", VRT), "outlines.unknown_kind"),
    "virtual data set as a shapefile": No(write("a.shp", VRT), "outlines.unknown_kind"),
    "entities that multiply": No(write("a.kml", BILLION), "outlines.xml_doctype"),
    "entity from outside": No(write("a.gpx", OUTSIDE), "outlines.xml_doctype"),
    "archive bomb": No(bomb, "outlines.zip_too_big"),
    "archive of thousands": No(crowded, "outlines.zip_too_many"),
    "broken archive": No(write("a.zip", b"PK\x03\x04" + b"\0" * 90), "outlines.bad_zip"),
    "compressed otherwise": No(write("a.gz", gzip.compress(b"{}")), "outlines.unknown_kind"),
    "an address": No(
        lambda f: Path("/vsicurl/http://127.0.0.1:9/a.geojson"), "outlines.not_a_file"
    ),
    "no file": No(lambda f: f / "none.gpx", "outlines.no_file"),
    "folder without shapefiles": No(lambda f: f, "outlines.no_shapes_in_folder"),
    "table without its shapes": No(write("a.dbf", b"\x03abc"), "outlines.no_shp"),
    "shapefile cut off": No(
        write("a.shp", b"\x00\x00\x27\x0a" + b"\0" * 20), "outlines.broken_file"
    ),
    "farm file": No(farm, "outlines.is_farm"),
    "too big": No(big, "outlines.too_big"),
    "drawing of open lines": No(
        lambda f: dxf(f / "a.dxf", ("b", grid([(0, 0), (1, 1), (2, 0)]), False), units=6),
        "outlines.no_closed_lines",
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_refused(name: str, tmp_path: Path) -> None:
    case = FILES[name]
    path = case.build(tmp_path)
    before = sorted((p, p.stat().st_size) for p in tmp_path.rglob("*"))
    with pytest.raises(Refused) as refusal:
        look(path, **case.more)
    assert refusal.value.code == case.code
    if not case.code.startswith("answers."):
        assert spoken(refusal.value)
    assert sorted((p, p.stat().st_size) for p in tmp_path.rglob("*")) == before
