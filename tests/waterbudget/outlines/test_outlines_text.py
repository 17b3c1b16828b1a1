"""Numbers, angles and geometries as text and bytes, read to the corner."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from waterbudget.outlines.corners import read_angle, read_number
from waterbudget.outlines.wkb import NotReadable, from_wkb, from_wkt


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("-19.9025", -19.9025), ("-19,9025", -19.9025), ("19.9025 S", -19.9025),
        ("19°54'09\"S", -19.9025), ("S 19 54 9", -19.9025), ("19 54.15 s", -19.9025),
        ("-19:54:09.0", -19.9025), ("19d54m9s S", -19.9025), ("19° 54′ 9,0″ N", 19.9025),
        ("32°30'O", -32.5), ("32°30'E", 32.5), ("32deg 30min W", -32.5),
        ("\u221219.9025", -19.9025), ("-19 54 09", -19.9025), ("-0°30'", -0.5),
        ("0°00'36\"W", -0.01),
    ],
)  # fmt: skip
def test_angles(text: str, value: float) -> None:
    assert read_angle(text) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    ["", "north", "19°60'", "19°54'60\"", "19.5°30'", "19 54 9 3", "19 N S", "12a", "19-54-9",
     "1;2", "19 60"],
)  # fmt: skip
def test_no_angles(text: str) -> None:
    assert read_angle(text) is None


@pytest.mark.parametrize(
    ("text", "value"),
    [("7798123.45", 7798123.45), ("7.798.123,45", 7798123.45), ("7,798,123.45", 7798123.45),
     ("7 798 123,45", 7798123.45), ("-3,5", -3.5), ("1e3", 1000.0)],
)  # fmt: skip
def test_numbers(text: str, value: float) -> None:
    assert read_number(text) == pytest.approx(value)


SQUARE = box(1, 2, 3, 4)
HOLED = Polygon(SQUARE.exterior.coords, [[(1.5, 2.5), (1.5, 3), (2, 3)]])
SHAPES = [
    SQUARE,
    HOLED,
    MultiPolygon([HOLED, box(5, 5, 6, 6)]),
    GeometryCollection([Point(0, 0), HOLED, LineString([(0, 0), (1, 1)])]),
]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("how", ["plain", "heights", "measured", "big", "srid", "text", "text z"])
def test_geometries(shape: shapely.Geometry, how: str) -> None:
    solid = shapely.force_3d(shape, 7.0)
    if how == "text":
        found = from_wkt(shape.wkt)
    elif how == "text z":
        found = from_wkt(solid.wkt.lower())
    else:
        data = {
            "plain": shapely.to_wkb(shape),
            "heights": shapely.to_wkb(solid, flavor="extended"),
            "measured": shapely.to_wkb(solid, flavor="iso"),
            "big": shapely.to_wkb(shape, byte_order=0),
            "srid": shapely.to_wkb(shapely.set_srid(shape, 4326), include_srid=True),
        }[how]
        found = from_wkb(data)
    polygons = [Polygon(rings[0], rings[1:]) for rings in found.polygons]
    expected = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
    assert all(a.equals_exact(b) for a, b in zip(polygons, expected, strict=True))
    others = 1 if shape.geom_type == "GeometryCollection" else 0
    assert (len(found.lines), len(found.points)) == (others, others)


def test_open_rings_stay_open() -> None:
    found = from_wkt("POLYGON((0 0, 1 0, 1 1))")
    assert np.array_equal(found.polygons[0][0], [[0, 0], [1, 0], [1, 1]])


@pytest.mark.parametrize(
    "text",
    ["", "POLYGON", "POLYGON((", "POLYGON((0 0, 1 a, 1 1))", "POLYGON((0 0 0 0 0))", "CIRCLE(1 2)",
     "POLYGON((0 0, 1 0, 1 1)) and more", "POLYGON((0 0; 1 1))"],
)  # fmt: skip
def test_broken_text(text: str) -> None:
    with pytest.raises(NotReadable):
        from_wkt(text)


def test_broken_bytes() -> None:
    whole = shapely.to_wkb(HOLED)
    for end in (0, 3, 5, 9, 20, len(whole) - 1):
        with pytest.raises(NotReadable):
            from_wkb(whole[:end])
    with pytest.raises(NotReadable):
        from_wkb(whole[:1] + (99).to_bytes(4, "little") + whole[5:])
    with pytest.raises(NotReadable):  # a count that would fill the memory
        from_wkb(whole[:9] + b"\xff\xff\xff\x7f" + whole[13:])
