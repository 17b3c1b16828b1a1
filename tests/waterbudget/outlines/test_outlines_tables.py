"""Shapefiles, GeoPackages, corner lists, well-known text and drawings that are read right."""

from __future__ import annotations

from pathlib import Path

import pytest
from outline_cases import Right, check_right, csv, packed, utm, write, zipped
from outline_ground import (
    EAST,
    EPSG,
    L_FIELD,
    NORTH,
    POND,
    SQUARE,
    closed,
    dxf,
    grid,
    lonlat,
    shapefile,
    shift,
)
from shapely.geometry import Polygon


def dms(value: float, letters: str) -> str:
    """Return degrees, minutes and seconds as a surveyor writes them."""
    total = round(abs(value) * 3600, 5)
    d, m, s = int(total // 3600), int(total % 3600 // 60), total % 60
    return f"{d}°{m:02d}'{s:08.5f}\"{letters[value < 0]}"


FILES: dict[str, Right] = {
    "shapefile, hole and a null shape": Right(
        lambda f: shapefile(
            f / "a",
            [[grid(closed(SQUARE[::-1])), grid(closed(POND[::-1]))], None],
            ["A", "B"],
            epsg=EPSG,
        ),
        {"A": 9600},
        skipped={"B": "outlines.no_geometry"},
        parts_holes=(1, 1),
    ),
    "shapefile, shell the wrong way round": Right(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE))]], ["A"], epsg=EPSG), {"A": 10000}
    ),
    "shapefile, pond the wrong way round": Right(
        lambda f: shapefile(
            f / "a", [[grid(closed(SQUARE[::-1])), grid(closed(POND))]], ["A"], epsg=EPSG
        ),
        {"A": 9600},
        parts_holes=(1, 1),
    ),
    "shapefile without its table": Right(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], epsg=EPSG),
        {"Block 1": 10000},
        told=["outlines.names_given"],
    ),
    "shapefile without its index": Right(
        lambda f: shapefile(
            f / "a",
            [[grid(closed(SQUARE[::-1]))], [grid(closed(shift(L_FIELD, 400)[::-1]))]],
            ["A", "B"],
            epsg=EPSG,
            index=False,
        ),
        {"A": 10000, "B": 20000},
    ),
    "shapefile in old Western letters": Right(
        lambda f: shapefile(
            f / "a", [[grid(closed(SQUARE[::-1]))]], ["Caña"], epsg=EPSG, encoding="cp1252"
        ),
        {"Caña": 10000},
        told=["outlines.letters_supposed"],
    ),
    "shapefile in Cyrillic, said by the .cpg": Right(
        lambda f: shapefile(
            f / "a",
            [[grid(closed(SQUARE[::-1]))]],
            ["Склон"],
            epsg=EPSG,
            encoding="cp1251",
            cpg=True,
        ),
        {"Склон": 10000},
    ),
    "shapefile in Cyrillic, said by the person": Right(
        lambda f: shapefile(
            f / "a", [[grid(closed(SQUARE[::-1]))]], ["Склон"], epsg=EPSG, encoding="cp1251"
        ),
        {"Склон": 10000},
        more={"answers": {"encoding": "cp1251"}},
    ),
    "shapefile, zipped in a folder": Right(
        zipped(
            "a.zip",
            lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], ["A"], epsg=EPSG),
            inside="export/",
        ),
        {"A": 10000},
    ),
    "shapefile, the folder itself": Right(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], ["A"], epsg=EPSG).parent,
        {"A": 10000},
    ),
    "shapefile, only its table pointed at": Right(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], ["A"], epsg=EPSG).with_suffix(
            ".dbf"
        ),
        {"A": 10000},
    ),
    "geopackage in degrees": Right(
        lambda f: packed(f, {"a": [("A", Polygon(lonlat(SQUARE))), ("B", None)]}, 4326),
        {"A": 10000},
        skipped={"B": "outlines.no_geometry"},
    ),
    "geopackage, polygons beside lines": Right(
        lambda f: packed(
            f, {"roads": [("r", Polygon(grid(SQUARE)).boundary)], "land": [("A", utm(L_FIELD))]}
        ),
        {"A": 20000},
    ),
    "geopackage, layer named": Right(
        lambda f: packed(f, {"one": [("A", utm(SQUARE))], "two": [("B", utm(L_FIELD))]}),
        {"B": 20000},
        more={"layer": "TWO"},
    ),
    "corners in degrees": Right(
        csv(
            "name,lat,lon",
            [("A", y, x) for x, y in lonlat(SQUARE)]
            + [("B", y, x) for x, y in lonlat(shift(L_FIELD, 300))],
        ),
        {"A": 10000, "B": 20000},
        told=["outlines.taken_as_degrees"],
    ),
    "corners in degrees, minutes, seconds": Right(
        csv(
            "lote;latitud;longitud",
            [("A", dms(y, "NS"), dms(x, "EW")) for x, y in lonlat(SQUARE)],
            sep=";",
        ),
        {"A": 10000},
    ),
    "corners with decimal commas and gaps in the name": Right(
        csv(
            "bloque;lat;lon",
            [
                (n, str(y).replace(".", ","), str(x).replace(".", ","))
                for n, (x, y) in zip(["A", "", "", ""], lonlat(SQUARE), strict=True)
            ],
            sep=";",
        ),
        {"A": 10000},
    ),
    "corners in two parts": Right(
        csv(
            "name,part,lat,lon",
            [("A", p, y, x) for p in (1, 2) for x, y in lonlat(shift(SQUARE, 200 * p))],
        ),
        {"A": 20000},
        parts_holes=(2, 0),
    ),
    "corner numbers are no names": Right(
        csv("id,x,y", [(i, x, y) for i, (x, y) in enumerate(lonlat(SQUARE))]), {"Block 1": 10000}
    ),
    "table with well-known text": Right(
        csv(
            "name;wkt",
            [("A", Polygon(lonlat(SQUARE)).wkt), ("B", "POLYGON EMPTY"), ("C", "POLYGON((")],
            sep=";",
        ),
        {"A": 10000},
        skipped={"B": "outlines.no_geometry", "C": "outlines.geometry_broken"},
    ),
    "well-known text with its system": Right(
        write("a.wkt", f"SRID=32736;{utm(SQUARE, POND).wkt}"), {"Block 1": 9600}
    ),
    "well-known text, heights, several": Right(
        write(
            "a.wkt",
            "POLYGON Z (("
            + ", ".join(f"{x} {y} 900" for x, y in lonlat(closed(SQUARE)))
            + "))\nMULTIPOLYGON ((("
            + ",".join(f"{x} {y}" for x, y in lonlat(closed(shift(L_FIELD, 300))))
            + ")))",
        ),
        {"Block 1": 10000, "Block 2": 20000},
    ),
    "drawing in metres, names written inside": Right(
        lambda f: dxf(
            f / "a.dxf",
            ("blocks", grid(SQUARE), True),
            ("blocks", grid(closed(shift(L_FIELD, 300))), False),
            ("roads", grid([(0, 0), (50, -80), (3, -9)]), False),
            units=6,
            texts=[("Upper", EAST + 50, NORTH + 50), ("Lower", EAST + 320, NORTH + 20)],
        ),
        {"Upper": 10000, "Lower": 20000},
        told=["outlines.open_lines_left"],
        more={"crs": "EPSG:32736"},
    ),
    "drawing with the same ground hatched": Right(
        lambda f: dxf(f / "a.dxf", ("blocks", grid(SQUARE), True), units=6, hatches=[grid(SQUARE)]),
        {"Block 1": 10000},
        more={"crs": "EPSG:32736"},
    ),
    "corner list, rows out of the order they are numbered": Right(
        csv(
            "name,point,easting,northing",
            [("A", k + 1, *grid(L_FIELD)[k]) for k in (0, 5, 4, 3, 1, 2)],
        ),
        {"A": 20000},
        told=["outlines.corners_ordered"],
        more={"crs": "EPSG:32736"},
    ),
    "corner list, counted down, and with a block's number in every row": Right(
        csv(
            "name,no,corner,easting,northing",
            [("A", 7, 6 - k, x, y) for k, (x, y) in enumerate(grid(L_FIELD))],
        ),
        {"A": 20000},
        more={"crs": "EPSG:32736"},
    ),
    "drawing of hatches alone": Right(
        lambda f: dxf(f / "a.dxf", units=6, hatches=[grid(L_FIELD)]),
        {"Block 1": 20000},
        more={"crs": "EPSG:32736"},
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_read_right(name: str, tmp_path: Path) -> None:
    check_right(FILES[name], tmp_path)
