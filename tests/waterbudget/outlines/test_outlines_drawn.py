"""Drawn outlines (GeoJSON, KML) with faults that are repaired, told or left out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from outline_cases import Right, area, check_right, fields, line, multi, utm, write, zipped
from outline_ground import (
    BOW_TIE,
    L_FIELD,
    LAT,
    LON,
    POND,
    SQUARE,
    closed,
    coordinates,
    feature,
    geojson,
    grid,
    kml,
    lonlat,
    polygon,
    shift,
)

FILES: dict[str, Right] = {
    "hole": Right(fields(("A", area(SQUARE, POND))), {"A": 9600}, parts_holes=(1, 1)),
    "several parts": Right(
        fields(("A", multi(area(SQUARE), area(shift(SQUARE, 300))))),
        {"A": 20000},
        parts_holes=(2, 0),
    ),
    "part in a hole of another": Right(
        fields(("A", multi(area(SQUARE, POND), area([(25, 25), (35, 25), (35, 35), (25, 35)])))),
        {"A": 9700},
        parts_holes=(2, 1),
    ),
    "wrong winding": Right(
        fields(("A", area(SQUARE[::-1], POND[::-1]))), {"A": 9600}, told=["outlines.turned"]
    ),
    "doubled corners": Right(
        fields(("A", area([SQUARE[0], SQUARE[0], *SQUARE[1:], SQUARE[3], (0, 99.999)]))),
        {"A": 10000},
        told=["outlines.doubled_corners"],
    ),
    "spike without width": Right(
        fields(("A", area([*SQUARE[:2], (100, 50), (180, 50), (100, 50), *SQUARE[2:]]))),
        {"A": 10000},
        told=["outlines.spikes"],
    ),
    "needle of a hand's width": Right(
        fields(("A", area([*SQUARE[:2], (100, 50), (160, 50.02), (100, 50.05), *SQUARE[2:]]))),
        {"A": 10000},
        told=["outlines.spikes"],
    ),
    "touches itself in a corner": Right(
        fields(("A", area([(0, 0), (50, 50), (100, 0), (100, 100), (50, 50), (0, 100)]))),
        {"A": 5000},
        told=["outlines.touched_itself"],
        parts_holes=(2, 0),
    ),
    "hole on the edge": Right(
        fields(("A", area(SQUARE, [(0, 20), (0, 40), (20, 40), (20, 20)]))),
        {"A": 9600},
        told=["outlines.touched_itself"],
        parts_holes=(1, 0),
    ),
    "parts that share a side": Right(
        fields(("A", multi(area(SQUARE), area(shift(SQUARE, 100))))),
        {"A": 20000},
        told=["outlines.parts_joined"],
        parts_holes=(1, 0),
    ),
    "ends half a metre apart": Right(
        fields(("A", polygon(lonlat([*SQUARE, (0, 0.5)])))),
        {"A": 10000},
        told=["outlines.closed_gap"],
    ),
    "heights": Right(
        fields(("A", polygon([(x, y, 1100.5) for x, y in lonlat(closed(SQUARE))]))), {"A": 10000}
    ),
    "a crossing one among good ones": Right(
        fields(("A", area(SQUARE)), ("B", area(shift(BOW_TIE, 200)))),
        {"A": 10000},
        skipped={"B": "outlines.crosses"},
    ),
    "empty and missing geometry": Right(
        fields(("A", area(SQUARE)), ("B", None), ("C", {"type": "Polygon", "coordinates": []})),
        {"A": 10000},
        skipped={"B": "outlines.no_geometry", "C": "outlines.no_geometry"},
    ),
    "NaN and huge numbers": Right(
        write(
            "nan.json",
            json.dumps(
                {
                    "type": "FeatureCollection",
                    "features": [
                        feature(area(SQUARE), name="A"),
                        feature(polygon([(float("nan"), 1), (2, 3), (4, 5)]), name="B"),
                        feature(polygon([(1e300, 1), (2e300, 3), (4, -5e299)]), name="C"),
                    ],
                }
            ),
        ),
        {"A": 10000},
        skipped={"B": "outlines.not_numbers", "C": "outlines.off_the_map"},
    ),
    "broken coordinates": Right(
        fields(("A", area(SQUARE)), ("B", {"type": "Polygon", "coordinates": [[["x", 1], [2]]]})),
        {"A": 10000},
        skipped={"B": "outlines.geometry_broken"},
    ),
    "one far away among near ones": Right(
        fields(("A", area(SQUARE)), ("B", area(shift(SQUARE, 90_000)))),
        {"A": 10000},
        skipped={"B": "outlines.far"},
    ),
    "a shed and a province": Right(
        fields(
            ("A", area(SQUARE)),
            ("Shed", area([(0, 0), (4, 0), (4, 4), (0, 4)])),
            ("All", area([(0, 0), (5000, 0), (5000, 5000), (0, 5000)])),
        ),
        {"A": 10000},
        skipped={"Shed": "outlines.too_small", "All": "outlines.too_large"},
    ),
    "same names": Right(
        fields(
            ("East", area(SQUARE)),
            ("east ", area(shift(SQUARE, 200))),
            ("East 2", area(shift(SQUARE, 400))),
        ),
        {"East": 10000, "east 3": 10000, "East 2": 10000},
        told=["outlines.same_name"],
    ),
    "no names": Right(
        fields((None, area(SQUARE)), (None, area(shift(L_FIELD, 300)))),
        {"Block 1": 10000, "Block 2": 20000},
        told=["outlines.names_given"],
    ),
    "accents, other scripts, a line break": Right(
        fields(
            ("Ñandú Ω", area(SQUARE)),
            ("गोठ-३", area(shift(SQUARE, 200))),
            ("西\n山  园", area(shift(SQUARE, 400))),
            ("حقل", area(shift(SQUARE, 600))),
        ),
        {"Ñandú Ω": 10000, "गोठ-३": 10000, "西 山 园": 10000, "حقل": 10000},
    ),
    "name in a column of another language": Right(
        fields(("Norte", area(SQUARE)), name="Talhão"), {"Norte": 10000}
    ),
    "numbers as names": Right(
        fields((7.0, area(SQUARE)), (8.0, area(shift(SQUARE, 200))), name="ID"),
        {"7": 10000, "8": 10000},
    ),
    "overlap": Right(
        fields(("A", area(SQUARE)), ("B", area(shift(SQUARE, 90)))),
        {"A": 10000, "B": 10000},
        warned=["outlines.overlap"],
    ),
    "hairline overlap is no news": Right(
        fields(("A", area(SQUARE)), ("B", area(shift(SQUARE, 99.5)))), {"A": 10000, "B": 10000}
    ),
    "same block twice": Right(
        fields(("A", area(SQUARE)), ("B", area(shift(SQUARE, 1)))),
        {"A": 10000, "B": 10000},
        warned=["outlines.same_block"],
    ),
    "the same ground as a block there is": Right(
        fields(("New", area(SQUARE))),
        {"New": 10000},
        warned=["outlines.same_block"],
        more={"existing": {"Old": utm(SQUARE), "Typed": None}},
    ),
    "sliver": Right(
        fields(("A", area([(0, 0), (300, 0), (300, 2), (0, 2)]))),
        {"A": 600},
        warned=["outlines.thin"],
    ),
    "crumb beside the block": Right(
        fields(("A", multi(area(SQUARE), area([(150, 0), (152, 0), (152, 2), (150, 2)])))),
        {"A": 10004},
        warned=["outlines.tiny_pieces"],
    ),
    "closed line as an outline, open one is a road": Right(
        fields(("A", line(closed(L_FIELD))), ("Road", line([(0, 0), (500, 10), (900, 0)]))),
        {"A": 20000},
        skipped={"Road": "outlines.open_line"},
    ),
    "points between": Right(
        fields(("A", area(SQUARE)), ("Well", {"type": "Point", "coordinates": [LON, LAT]})),
        {"A": 10000},
        told=["outlines.points_left"],
    ),
    "collection": Right(
        fields(
            (
                "A",
                {
                    "type": "GeometryCollection",
                    "geometries": [{"type": "Point", "coordinates": [LON, LAT]}, area(SQUARE)],
                },
            )
        ),
        {"A": 10000},
    ),
    "a feature a line": Right(
        write(
            "seq.geojsonl",
            "\n".join(
                json.dumps(feature(area(shift(SQUARE, d)), name=n))
                for n, d in (("A", 0), ("B", 200))
            ),
        ),
        {"A": 10000, "B": 10000},
    ),
    "byte order mark": Right(
        write(
            "bom.geojson", b"\xef\xbb\xbf" + json.dumps(feature(area(SQUARE), name="A")).encode()
        ),
        {"A": 10000},
    ),
    "old system member, metres rightly declared": Right(
        lambda f: geojson(
            f / "a.geojson",
            feature(polygon(grid(closed(SQUARE))), name="A"),
            crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32736"}},
        ),
        {"A": 10000},
    ),
    "web-map metres rightly declared": Right(
        lambda f: geojson(
            f / "a.geojson",
            feature(polygon(lonlat(closed(SQUARE), 3857)), name="A"),
            crs={"type": "name", "properties": {"name": "EPSG:3857"}},
        ),
        {"A": 10000},
    ),
    "neighbour zone": Right(
        lambda f: geojson(
            f / "a.geojson",
            feature(polygon(lonlat(closed(SQUARE), 32735)), name="A"),
            crs={"type": "name", "properties": {"name": "EPSG:32735"}},
        ),
        {"A": 10000},
    ),
    "nested folders, heights, hole": Right(
        lambda f: kml(
            f / "a.kml",
            "<Folder><name>Farm</name><Folder><name>Hill</name><Placemark>"
            "<name>Ost &amp; West</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
            + coordinates(lonlat(closed(SQUARE)), ",1100")
            + "</coordinates></LinearRing></outerBoundaryIs><innerBoundaryIs><LinearRing>"
            "<coordinates>"
            + coordinates(lonlat(closed(POND)), ",1100")
            + "</coordinates></LinearRing></innerBoundaryIs></Polygon></Placemark>"
            "</Folder></Folder>",
        ),
        {"Ost & West": 9600},
        parts_holes=(1, 1),
    ),
    "line used as an outline, ragged commas": Right(
        lambda f: kml(
            f / "a.kml",
            "<Placemark><name>A</name><LineString><coordinates>\n"
            + "\n  ".join(f"{x}, {y} , 0" for x, y in lonlat(closed(L_FIELD)))
            + "</coordinates></LineString></Placemark><Placemark><name>Gate</name><Point>"
            f"<coordinates>{LON},{LAT}</coordinates></Point></Placemark>"
            "<NetworkLink><Link><href>http://127.0.0.1:9/x.kml</href></Link></NetworkLink>",
        ),
        {"A": 20000},
        told=["outlines.points_left", "outlines.links_left"],
    ),
    "two lines that meet end to end": Right(
        lambda f: kml(
            f / "a.kml",
            "<Placemark><name>A</name><MultiGeometry>"
            + "".join(
                f"<LineString><coordinates>{coordinates(lonlat(c))}</coordinates></LineString>"
                for c in (L_FIELD[:4], [*L_FIELD[3:], L_FIELD[0]])
            )
            + "</MultiGeometry></Placemark>",
        ),
        {"A": 20000},
    ),
    "kmz in a folder": Right(
        zipped(
            "a.kmz",
            lambda f: kml(
                f / "doc.kml",
                "<Placemark><name>A</name><Polygon>"
                "<outerBoundaryIs><LinearRing><coordinates>"
                + coordinates(lonlat(closed(SQUARE)))
                + "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>",
            ),
            inside="x/",
        ),
        {"A": 10000},
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_read_right(name: str, tmp_path: Path) -> None:
    check_right(FILES[name], tmp_path)
