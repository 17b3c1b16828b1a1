"""Where a file belongs: distances, swaps, systems and what they cost."""

from __future__ import annotations

from pathlib import Path

import pytest
from outline_cases import area, csv, fields, look, utm
from outline_ground import (
    NEAR,
    SQUARE,
    closed,
    feature,
    geojson,
    grid,
    lonlat,
    polygon,
    shapefile,
    shift,
)

from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.outlines import read_outlines, utm_epsg


def cell(lat: float, lon: float, swapped: bool = False) -> dict[str, object]:
    """Return a polygon of about one hectare at a position."""
    ring = [(lon, lat), (lon + 0.001, lat), (lon + 0.001, lat + 0.001), (lon, lat + 0.001)]
    return polygon([(y, x) if swapped else (x, y) for x, y in closed(ring)])


def test_fifty_kilometres_is_the_bound(tmp_path: Path) -> None:
    near = fields(("A", area(shift(SQUARE, 0, 49_000))))(tmp_path)
    assert len(look(near).outlines) == 1
    far = fields(("A", area(shift(SQUARE, 0, 51_000))))(tmp_path)
    with pytest.raises(Refused) as no:
        look(far)
    assert (no.value.code, no.value.fields["km"]) == ("outlines.far", 51)
    assert no.value.fields["name"] == "A"


def test_far_is_not_asked_without_a_farm(tmp_path: Path) -> None:
    path = fields(("A", area(shift(SQUARE, 0, 900_000))))(tmp_path)
    assert len(look(path, near=None).outlines) == 1


def test_impossible_numbers_are_asked_without_a_farm_too(tmp_path: Path) -> None:
    path = fields(("A", polygon(grid(closed(SQUARE)))))(tmp_path)
    with pytest.raises(AnswersNeeded) as asked:
        look(path, near=None)
    (question,) = asked.value.questions
    assert (question.key, question.code) == ("crs", "outlines.ask_system_other")
    assert len(look(path, near=None, crs="EPSG:32736").outlines) == 1


def test_degrees_declared_as_metres_are_asked_without_a_farm_too(tmp_path: Path) -> None:
    path = shapefile(tmp_path / "a", [[lonlat(closed(SQUARE[::-1]))]], ["A"], epsg=32736)
    with pytest.raises(AnswersNeeded) as asked:
        look(path, near=None)
    assert [q.key for q in asked.value.questions] == ["crs"]


def test_swap_that_is_possible_both_ways_is_asked_where_it_fits_better(tmp_path: Path) -> None:
    farm = (20.10, 20.00)  # both ways lie within 50 km
    epsg = utm_epsg(*farm)
    right = fields(("A", cell(20.10, 20.00)))(tmp_path)
    assert len(read_outlines(right, epsg=epsg, near=farm).outlines) == 1
    wrong = fields(("A", cell(20.10, 20.00, swapped=True)))(tmp_path)
    with pytest.raises(AnswersNeeded) as asked:
        read_outlines(wrong, epsg=epsg, near=farm)
    assert [q.key for q in asked.value.questions] == ["swap"]
    kept = read_outlines(wrong, epsg=epsg, near=farm, answers={"swap": "no"})
    turned = read_outlines(wrong, epsg=epsg, near=farm, answers={"swap": "yes"})
    assert kept.outlines[0].shape.distance(turned.outlines[0].shape) > 10_000


def test_swap_told_when_done(tmp_path: Path) -> None:
    path = fields(("A", cell(-19.9, 33.0, swapped=True)))(tmp_path)
    file = look(path, answers={"swap": "yes"})
    assert "outlines.swapped" in {n.code for n in file.notes}
    assert file.answers == {"swap": "yes"}


def test_named_system_overrules_and_is_told(tmp_path: Path) -> None:
    path = geojson(tmp_path / "a.geojson", feature(polygon(grid(closed(SQUARE))), name="A"),
                   crs={"type": "name", "properties": {"name": "EPSG:32636"}})  # fmt: skip
    file = look(path, crs="EPSG:32736")
    told = {n.code: n.fields for n in file.notes}
    assert told["outlines.system_overruled"] == {"used": "EPSG:32736", "declared": "EPSG:32636"}


@pytest.mark.parametrize(
    "name", ["EPSG:32736", "32736", "epsg:32736", "urn:ogc:def:crs:EPSG::32736"]
)
def test_ways_to_write_a_system(name: str, tmp_path: Path) -> None:
    path = csv("block,x,y", [("A", x, y) for x, y in grid(SQUARE)])(tmp_path)
    (outline,) = look(path, crs=name).outlines
    assert outline.shape.equals_exact(utm(SQUARE), 1e-6)  # to the micrometre: the same system


def test_linked_system_is_named_not_followed(tmp_path: Path) -> None:
    path = geojson(tmp_path / "a.geojson", feature(area(SQUARE), name="A"),
                   crs={"type": "link", "properties": {"href": "file:///etc/x.prj"}})  # fmt: skip
    with pytest.raises(AnswersNeeded) as asked:
        look(path)
    assert [q.key for q in asked.value.questions] == ["crs"]


def test_other_datum_is_moved(tmp_path: Path) -> None:
    # the same numbers in Tete / UTM zone 36S (EPSG:2736) lie some 250 m away
    path = csv("block,x,y", [("A", x, y) for x, y in grid(SQUARE)])(tmp_path)
    (outline,) = look(path, crs="EPSG:2736").outlines
    moved = outline.shape.centroid.distance(utm(SQUARE).centroid)
    assert 150 < moved < 400
    assert outline.area_ha == pytest.approx(1.0008, rel=1e-3)


@pytest.mark.parametrize(
    ("epsg", "at", "code"),
    [
        (4267, (38.0, -95.0), "outlines.grid_missing"),  # the grids are not part of the wheel
        (4618, (-15.0, -48.0), "outlines.grid_missing"),
        (20936, (-15.0, 28.0), "outlines.position_rough"),
        (4674, (-15.0, -48.0), None),
        (4326, (-15.0, -48.0), None),
    ],
)
def test_missing_grid_is_told(
    epsg: int, at: tuple[float, float], code: str | None, tmp_path: Path
) -> None:
    lat, lon = at
    home = utm_epsg(lat, lon)
    ring = [(lon, lat), (lon + 0.001, lat), (lon + 0.001, lat + 0.001), (lon, lat + 0.001)]
    if epsg == 20936:
        ring = [(300_000, 8_340_000), (300_100, 8_340_000), (300_100, 8_340_100)]
        at = (-15.0, 25.2)
        home, epsg = utm_epsg(*at), 20935
    path = csv("name,x,y", [("A", x, y) for x, y in ring])(tmp_path)
    file = read_outlines(path, epsg=home, near=at, crs=f"EPSG:{epsg}")
    assert [n.code for n in file.warnings] == ([code] if code else [])
    for warning in file.warnings:
        assert warning.fields["metres"] > 2


def test_local_drawing_of_small_numbers_is_not_taken_as_degrees(tmp_path: Path) -> None:
    path = csv("name,x,y", [("A", x, y) for x, y in SQUARE])(tmp_path)
    with pytest.raises(AnswersNeeded) as asked:
        look(path)
    assert asked.value.questions[0].key == "crs"
    assert asked.value.questions[0].sample[0] == "name,x,y"


def test_web_map_area_is_not_the_flat_one(tmp_path: Path) -> None:
    # on the web map the square looks 1 / cos(19.9 deg)^2 = 1.131 times as large
    ring = lonlat(closed(SQUARE), 3857)
    path = geojson(tmp_path / "a.geojson", feature(polygon(ring), name="A"),
                   crs={"type": "name", "properties": {"name": "EPSG:3857"}})  # fmt: skip
    assert look(path).outlines[0].area_ha == pytest.approx(1.0008, rel=1e-4)


def test_near_is_latitude_first() -> None:
    assert NEAR == (-19.9, 33.0)
