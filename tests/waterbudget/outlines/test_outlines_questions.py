"""Files that must ask, and what they give once answered."""

from __future__ import annotations

from pathlib import Path

import pytest
from outline_cases import Asked, area, check_areas, csv, fields, look, packed, spoken, utm, zipped
from outline_ground import (
    EPSG,
    GROUND,
    L_FIELD,
    SQUARE,
    WALK,
    closed,
    dxf,
    feature,
    geojson,
    gpx,
    grid,
    lonlat,
    polygon,
    shapefile,
    shift,
)

from waterbudget.errors import AnswersNeeded


def two_shapefiles(folder: Path) -> Path:
    """Write two shapefiles into one folder."""
    shapefile(folder / "one", [[grid(closed(SQUARE[::-1]))]], ["one"], epsg=EPSG)
    return shapefile(folder / "two", [[grid(closed(L_FIELD[::-1]))]], ["two"], epsg=EPSG)


FILES: dict[str, Asked] = {
    "degrees swapped": Asked(
        fields(("A", polygon([(y, x) for x, y in lonlat(closed(SQUARE))]))),
        {"swap": "yes"},
        {"A": 10000},
    ),
    "corner list swapped": Asked(
        csv("name,lat,lon", [("A", x, y) for x, y in lonlat(SQUARE)]), {"swap": "yes"}, {"A": 10000}
    ),
    "swapped beyond what is possible": Asked(
        fields(
            (
                "A",
                polygon(
                    [
                        (-8.0, 120.0),
                        (-8.0, 120.001),
                        (-8.001, 120.001),
                        (-8.001, 120.0),
                        (-8.0, 120.0),
                    ]
                ),
            )
        ),
        {"swap": "yes"},
        {"A": 12192.4 / GROUND},
        more={"near": (-8.0, 120.0), "epsg": 32751},
    ),
    "east and north swapped": Asked(
        lambda f: geojson(
            f / "a.geojson",
            feature(polygon([(y, x) for x, y in grid(closed(SQUARE))]), name="A"),
            crs={"type": "name", "properties": {"name": "EPSG:32736"}},
        ),
        {"swap": "yes"},
        {"A": 10000},
    ),
    "metres declared as degrees": Asked(
        fields(("A", polygon(grid(closed(SQUARE))))),
        {"crs": "EPSG:32736"},
        {"A": 10000},
        suggested="EPSG:32736",
    ),
    "web-map metres declared as degrees": Asked(
        fields(("A", polygon(lonlat(closed(SQUARE), 3857)))),
        {"crs": "3857"},
        {"A": 10000},
        suggested="EPSG:3857",
    ),
    ".prj says metres, numbers are degrees": Asked(
        lambda f: shapefile(f / "a", [[lonlat(closed(SQUARE[::-1]))]], ["A"], epsg=EPSG),
        {"crs": "EPSG:4326"},
        {"A": 10000},
        suggested="EPSG:4326",
    ),
    ".prj says degrees, numbers are metres": Asked(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], ["A"], epsg=4326),
        {"crs": "EPSG:32736"},
        {"A": 10000},
        suggested="EPSG:32736",
    ),
    ".prj of the northern half": Asked(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], ["A"], epsg=32636),
        {"crs": "EPSG:32736"},
        {"A": 10000},
        suggested="EPSG:32736",
    ),
    "no .prj": Asked(
        lambda f: shapefile(f / "a", [[grid(closed(SQUARE[::-1]))]], ["A"]),
        {"crs": "EPSG:32736"},
        {"A": 10000},
        suggested="EPSG:32736",
    ),
    "no .prj and degrees": Asked(
        lambda f: shapefile(f / "a", [[lonlat(closed(SQUARE[::-1]))]], ["A"]),
        {"crs": "EPSG:4326"},
        {"A": 10000},
        suggested="EPSG:4326",
    ),
    "corner list in metres": Asked(
        csv("block,x,y", [("A", x, y) for x, y in grid(SQUARE)]),
        {"crs": "EPSG:32736"},
        {"A": 10000},
        suggested="EPSG:32736",
    ),
    "corner list in metres of nowhere": Asked(
        csv("block,x,y", [("A", x, y) for x, y in SQUARE]), {"crs": "EPSG:32736"}, {}, suggested=""
    ),
    "polygon without its last side": Asked(
        fields(("A", polygon(lonlat(SQUARE)))), {"close": "yes"}, {"A": 10000}
    ),
    "polygon without its last side, left so": Asked(
        fields(("A", polygon(lonlat(SQUARE))), ("B", area(shift(SQUARE, 200)))),
        {"close": "no"},
        {"B": 10000},
    ),
    "walk with a side missing": Asked(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(WALK[:-30])])), {"close": "yes"}, {"A": 10000}
    ),
    "several layers": Asked(
        lambda f: packed(f, {"one": [("A", utm(SQUARE))], "two": [("B", utm(L_FIELD))]}),
        {"layer": "two"},
        {"B": 20000},
    ),
    "several shapefiles in one archive": Asked(
        zipped(
            "a.zip",
            two_shapefiles,
        ),
        {"layer": "one"},
        {"one": 10000},
    ),
    "several name columns": Asked(
        lambda f: geojson(
            f / "a.geojson",
            feature(area(SQUARE), clone="Pink", owner="Upper"),
            feature(area(shift(SQUARE, 200)), clone="White", owner="Lower"),
        ),
        {"name_column": "owner"},
        {"Upper": 10000, "Lower": 10000},
    ),
    "drawing in millimetres": Asked(
        lambda f: dxf(
            f / "a.dxf", ("b", [(x * 1000, y * 1000) for x, y in grid(SQUARE)], True), units=4
        ),
        {"units": "mm", "crs": "EPSG:32736"},
        {"Block 1": 10000},
    ),
    "drawing without unit, two layers": Asked(
        lambda f: dxf(f / "a.dxf", ("b", grid(SQUARE), True), ("c", grid(L_FIELD), True)),
        {"units": "m", "crs": "EPSG:32736", "layer": "c"},
        {"Block 1": 20000},
    ),
    "name exists, replace": Asked(
        fields(("  upper FIELD", area(SQUARE))),
        {"existing": "replace"},
        {"Upper field": 10000},
        more={"existing": {"Upper field": utm(L_FIELD)}},
    ),
    "name exists, rename": Asked(
        fields(("upper field", area(SQUARE)), ("New", area(shift(SQUARE, 300)))),
        {"existing": "rename"},
        {"upper field 2": 10000, "New": 10000},
        more={"existing": {"Upper field": None}},
    ),
    "name exists, skip": Asked(
        fields(("upper field", area(SQUARE)), ("New", area(shift(SQUARE, 300)))),
        {"existing": "skip"},
        {"New": 10000},
        more={"existing": {"Upper field": None}},
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_asked_and_answered(name: str, tmp_path: Path) -> None:
    case = FILES[name]
    path = case.build(tmp_path)
    with pytest.raises(AnswersNeeded) as asked:
        look(path, **case.more)
    questions = {q.key: q for q in asked.value.questions}
    assert set(questions) == set(case.answers)
    assert all(spoken(q) for q in asked.value.questions)
    if case.suggested is not None:
        assert questions["crs"].fields["suggested"] == case.suggested
    if not case.m2:
        return
    file = look(path, answers=case.answers, **case.more)
    check_areas(file, case.m2)
    assert dict(file.answers).keys() == case.answers.keys()
