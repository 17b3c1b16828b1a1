"""Tree places: published densities, edges, slope, contour, marks, pegs, files."""

import datetime as dt
import itertools
import math
import xml.etree.ElementTree as ET
from dataclasses import replace

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from orchard_samples import MONDAY, block, change, farm
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from waterbudget import season
from waterbudget.errors import Refused
from waterbudget.outlines import area_ha, from_lonlat
from waterbudget.outlines.geodesy import ellipsoid, to_lonlat
from waterbudget.planting import (
    Ground,
    Layout,
    count_states,
    figures_of,
    latest,
    layout_of,
    longest_side_deg,
    mark_lines,
    peg_rows,
    set_out,
    write_csv,
    write_geojson,
    write_gpx,
)
from waterbudget.planting.lay import coordinates
from waterbudget.records import LandMark, TreeMark

EPSG, EAST, NORTH = 32736, 468_600.0, 7_799_500.0


def field(wide=400.0, high=400.0, turned=0.0):
    return affinity.rotate(box(EAST, NORTH, EAST + wide, NORTH + high), turned)


def ground_points(planting):
    """Points with the scale of the map system taken out."""
    return np.column_stack([planting.x, planting.y]) / planting.scale


def closest(points):
    tree = shapely.STRtree(shapely.points(points))
    _, apart = tree.query_nearest(
        shapely.points(points), exclusive=True, return_distance=True, all_matches=False
    )
    return float(apart.min())


def planes(rise_east=0.0, rise_north=0.0, wide=400.0, cell=2.0, bump=None):
    x = np.arange(EAST - 10, EAST + wide + 10, cell)
    y = np.arange(NORTH - 10, NORTH + wide + 10, cell)
    across, up = np.meshgrid(x - EAST, y - NORTH)
    z = 1000 + rise_east * across + rise_north * up
    if bump is not None:
        z = z + bump(across, up)
    return Ground(x=x, y=y, z_m=z)


@pytest.mark.parametrize(
    ("pattern", "spacing", "rows", "per_ha"),
    [("square", 4.0, None, 625), ("triangle", 4.0, None, 722), ("rectangle", 6.0, 5.0, 333),
     ("rectangle", 5.0, 4.0, 500), ("rectangle", 6.0, 3.0, 556)],
)  # fmt: skip
@pytest.mark.parametrize("turned", [0.0, 27.0])
def test_counts_on_seventeen_hectares(pattern, spacing, rows, per_ha, turned):
    # 4 x 4 m 625 trees per ha (itfnet.org, guava planting page); the others: geometry
    outline = field(420, 420, turned)  # whole rows of 3, 4, 5 and 6 m
    made = set_out(outline, Layout(pattern, spacing, rows), EPSG)
    assert made.trees / area_ha(outline, EPSG) == pytest.approx(per_ha, rel=0.008)


def test_triangles_hold_a_seventh_more_than_squares():
    square, triangle = (
        set_out(field(), Layout(p, 4.0), EPSG).trees for p in ("square", "triangle")
    )
    assert triangle / square == pytest.approx(1.155, abs=0.01)
    assert set_out(field(), Layout("triangle", 4.0), EPSG).plan_row_m == pytest.approx(
        3.4641, abs=1e-4
    )


def test_distances_hold_along_the_ground_on_a_slope():
    # 4 m along a 30 % slope are 3.83 m on the map
    across = set_out(
        field(), Layout("square", 4.0, bearing_deg=0.0), EPSG, ground=Ground(30.0, 90.0)
    )
    assert (across.plan_spacing_m, across.plan_row_m) == pytest.approx((4.0, 3.83), abs=0.002)
    down = set_out(
        field(), Layout("square", 4.0, bearing_deg=90.0), EPSG, ground=Ground(30.0, 90.0)
    )
    assert (down.plan_spacing_m, down.plan_row_m) == pytest.approx((3.83, 4.0), abs=0.002)
    assert across.notes[0].code == "planting.slope"
    unknown = set_out(field(), Layout("square", 4.0), EPSG, ground=Ground(30.0))
    assert unknown.plan_row_m == pytest.approx(3.83, abs=0.002)
    assert unknown.notes[0].code == "planting.slope_across"
    # more trees on the map's hectare by surface over plan, 1.044 at 30 %
    level = set_out(field(), Layout("square", 4.0, bearing_deg=0.0), EPSG)
    assert across.trees / level.trees == pytest.approx(1.044, abs=0.01)


@pytest.mark.parametrize("pattern", ["square", "triangle"])
@pytest.mark.parametrize("bearing", [0.0, 33.0, 120.0])
def test_on_a_tilted_plane_every_tree_has_its_neighbours_at_the_spacing(pattern, bearing):
    slope, falls_to = 0.4, 70.0
    made = set_out(field(120, 120), Layout(pattern, 5.0, bearing_deg=bearing), EPSG,
                   ground=Ground(100 * slope, falls_to))  # fmt: skip
    xy = ground_points(made)
    # the coordinates' north leans off true north, and so does the direction of fall seen in them
    falls = math.radians(falls_to - made.turn_deg)
    z = -slope * (xy[:, 0] * math.sin(falls) + xy[:, 1] * math.cos(falls))
    space = np.column_stack([xy, z])
    apart = np.linalg.norm(space[:, None] - space[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    assert apart.min() == pytest.approx(5.0, abs=1e-6)
    touching = (apart < 5.0 + 1e-6).sum(axis=1)
    assert touching.max() == (4 if pattern == "square" else 6)


@st.composite
def outlines(draw):
    corners = draw(
        st.lists(st.tuples(st.floats(10, 100), st.floats(0.02, 0.98)), min_size=4, max_size=9)
    )
    n = len(corners)
    around = [((i + bend) / n * 2 * math.pi, r) for i, (r, bend) in enumerate(corners)]
    shape = Polygon([(EAST + r * math.cos(a), NORTH + r * math.sin(a)) for a, r in around])
    if draw(st.booleans()):
        shape = shape.difference(Point(EAST, NORTH).buffer(draw(st.floats(1, 8))))
    if draw(st.booleans()):
        shape = shape.union(box(EAST + 120, NORTH, EAST + 160, NORTH + 30))
    assume(shape.is_valid and shape.area > 1500)
    return shape


@settings(max_examples=60, deadline=None)
@given(
    outlines(), st.sampled_from(["square", "rectangle", "triangle"]), st.floats(2, 7),
    st.floats(2, 7), st.floats(0, 359.9), st.floats(0, 4), st.floats(0, 6), st.floats(0, 45),
    st.floats(0, 359),
)  # fmt: skip
def test_no_tree_stands_too_near_to_anything(
    outline, pattern, spacing, rows, bearing, setback, headland, slope, aspect
):
    way = LineString([(EAST - 100, NORTH - 60), (EAST + 100, NORTH + 50)])
    road = LandMark(kind="road", width_m=4.0, shape=way)
    layout = Layout(pattern, spacing, None if pattern == "triangle" else rows, bearing,
                    setback_m=setback, headland_m=headland)  # fmt: skip
    try:
        made = set_out(outline, layout, EPSG, kept=[road])
    except Refused as no:
        assert no.code == "planting.no_room"
        return
    points = shapely.points(np.column_stack([made.x, made.y]))
    assert shapely.dwithin(outline, points, 1e-6).all()
    assert shapely.distance(outline.boundary, points).min() >= setback * made.scale - 0.0051
    assert shapely.distance(road.shape, points).min() >= 2.0 * made.scale - 0.0051
    if made.trees > 1:
        least = spacing if pattern == "triangle" else min(spacing, rows)
        assert closest(ground_points(made)) >= least * (1 - 1e-6)
    density = 1e4 / (spacing * (spacing * math.sqrt(0.75) if pattern == "triangle" else rows))
    room = area_ha(outline, EPSG) * density
    edge = (outline.length + 40) * max(spacing, layout.between_rows_m) * density / 1e4
    assert made.trees <= room + edge
    if setback == 0 and headland == 0:
        assert made.trees >= room - edge - 210 * 4 * density / 1e4
    again = set_out(outline, replace(layout, bearing_deg=bearing + 360.0), EPSG, kept=[road])
    assert again.trees == made.trees and np.allclose(again.x, made.x, atol=1e-6)
    numbers = [
        list(g) for _, g in itertools.groupby(zip(made.row, made.number), key=lambda p: p[0])
    ]
    assert [g[0][0] for g in numbers] == list(range(1, made.rows + 1))
    assert all([n for _, n in g] == list(range(1, len(g) + 1)) for g in numbers)
    tilted = set_out(outline, replace(layout, setback_m=0, headland_m=0), EPSG,
                     ground=Ground(slope, aspect))  # fmt: skip
    assert tilted.trees >= made.trees - edge


def test_a_setback_is_taken_at_its_word():
    close = set_out(field(100, 60), Layout("square", 4.0, bearing_deg=90.1, setback_m=1.0), EPSG)
    assert close.trees == 25 * 15 and close.x.min() < EAST + 2.2
    plain = set_out(field(102, 63), Layout("square", 4.0, bearing_deg=90.1), EPSG)
    assert plain.trees == 25 * 16  # 102 / 4 and 63 / 4; what is left over lies on both sides
    assert plain.y.min() - NORTH == pytest.approx(NORTH + 63 - plain.y.max(), abs=0.3)


@pytest.mark.parametrize(
    ("pattern", "spacing", "rows", "per_ha"),
    [("square", 4.0, None, 625), ("triangle", 4.0, None, 722), ("rectangle", 6.0, 5.0, 333),
     ("triangle", 3.95, None, 740), ("triangle", 4.05, None, 704)],
)  # fmt: skip
def test_counts_on_one_hectare(pattern, spacing, rows, per_ha):
    layout = Layout(pattern, spacing, row_spacing_m=rows, bearing_deg=90.1)
    made = set_out(field(100.01, 100.01), layout, EPSG)
    assert made.trees == pytest.approx(per_ha, rel=0.028)
    counts = made.in_row
    assert counts.max() - counts.min() <= (1 if pattern == "triangle" else 0)


def test_headland_is_kept_at_the_row_ends_only():
    outline = field(100, 60)
    made = set_out(outline, Layout("square", 4.0, bearing_deg=90.0, headland_m=10.0), EPSG)
    assert made.x.min() >= EAST + 9.9 and made.x.max() <= EAST + 90.1
    assert made.y.max() > NORTH + 57 and made.y.min() < NORTH + 3


def test_a_road_keeps_no_headland_and_rows_count_on_behind_it():
    way = LineString([(EAST + 50, NORTH - 9), (EAST + 50, NORTH + 99)])
    road = LandMark(kind="road", width_m=6.0, shape=way)
    layout = Layout("square", 4.0, bearing_deg=90.0, headland_m=10.0)
    made = set_out(field(100, 60), layout, EPSG, kept=[road])
    near = np.abs(made.x - EAST - 50)
    assert near.min() >= 2.99 and near.min() < 7.0
    first = made.x[made.row == 1]
    assert first.min() < EAST + 20 and first.max() > EAST + 80
    assert list(made.number[made.row == 1]) == list(range(1, len(first) + 1))


def test_rows_begin_at_the_left_of_one_who_looks_along_them():
    made = set_out(field(100, 60), Layout("square", 4.0, bearing_deg=0.0), EPSG)
    assert made.x[made.row == 1].max() < made.x[made.row == 2].min()
    assert (
        made.y[(made.row == 1) & (made.number == 1)] < made.y[(made.row == 1) & (made.number == 2)]
    )
    turned = set_out(field(100, 60), Layout("square", 4.0, bearing_deg=180.0), EPSG)
    assert turned.x[0] > EAST + 90 and turned.y[0] > NORTH + 50


def test_a_stored_grid_stays_where_it_is_when_the_outline_changes():
    made = set_out(field(100, 60), Layout("triangle", 4.0, bearing_deg=20.0), EPSG)
    held = replace(made.layout)
    more = set_out(field(140, 90), held, EPSG)
    places = shapely.STRtree(shapely.points(np.column_stack([more.x, more.y])))
    points = shapely.points(np.column_stack([made.x, made.y]))
    _, moved = places.query_nearest(points, return_distance=True, all_matches=False)
    assert moved.max() < 0.005


def test_parts_and_holes_share_one_grid():
    hole = box(EAST + 90, NORTH + 30, EAST + 110, NORTH + 50)
    around = box(EAST + 60, NORTH, EAST + 140, NORTH + 80).difference(hole)
    parts = MultiPolygon([box(EAST, NORTH, EAST + 40, NORTH + 40), around])
    turn = coordinates(parts, EPSG)[1]
    made = set_out(parts, Layout("square", 4.0, bearing_deg=90.0 + turn), EPSG)
    assert made.trees / area_ha(parts, EPSG) == pytest.approx(625, rel=0.05)
    assert not shapely.contains_xy(hole, made.x, made.y).any()
    assert set(np.round(np.diff(np.unique(np.round(made.y / made.scale, 3))), 2)) == {4.0}


def test_the_longest_side_of_a_walked_outline():
    corners = [(0, 0), (60, 103.923), (20, 120), (-40, 16)]  # its long side runs at 30 degrees
    outline = Polygon([(EAST + x, NORTH + y) for x, y in corners])
    walked = shapely.segmentize(outline, 3.0)
    wiggle = shapely.transform(walked, lambda xy: xy + 0.3 * np.sin(xy[:, ::-1] * 7))
    turn = set_out(outline, Layout("square", 4.0), EPSG).turn_deg
    assert longest_side_deg(outline, EPSG) == pytest.approx(30.0 + turn, abs=0.6)
    assert longest_side_deg(wiggle, EPSG) == pytest.approx(30.0 + turn, abs=2.0)
    other = Polygon([*list(outline.exterior.coords)[2:-1], *list(outline.exterior.coords)[:2]])
    assert longest_side_deg(other, EPSG) == longest_side_deg(outline, EPSG)


@pytest.mark.parametrize("fall", [0.4, 0.0, -1.0])
def test_contour_rows_fall_as_asked_on_a_plane(fall):
    ground = planes(rise_north=0.2)
    made = set_out(field(), Layout("contour", 4.0, 5.0, fall_pct=fall), EPSG, ground=ground)
    z = 1000 + 0.2 * (made.y - NORTH)
    for row in range(2, made.rows):
        mine = made.row == row
        down = z[mine][0] - z[mine][-1]
        way = np.hypot(np.ptp(made.x[mine]), np.ptp(made.y[mine])) / made.scale
        assert 100 * down / way == pytest.approx(fall, abs=0.01)
    # the first row lies highest; rows keep 5 m along the ground
    assert made.y[made.row == 1].mean() > made.y[made.row == made.rows].mean()
    column = np.abs(made.x - EAST - 200) < 2.0
    level = made.y[column] + (made.x[column] - EAST - 200) * fall / 100 / 0.2
    steps = -np.diff(level) / made.scale * math.hypot(1, 0.2)
    assert steps == pytest.approx(5.0, abs=0.06)
    assert made.trees / area_ha(field(), EPSG) == pytest.approx(
        1e4 / 20 * math.hypot(1, 0.2), rel=0.02
    )
    assert "planting.contour" in [n.code for n in made.notes]


def test_contour_rows_on_a_hill_keep_apart_and_fill_where_it_is_gentle():
    def bump(x, y):
        return -30 * np.exp(-((x - 250) ** 2 + (y - 150) ** 2) / 8000)

    ground = planes(rise_north=0.2, bump=bump)
    made = set_out(field(), Layout("contour", 4.0, 5.0, setback_m=3.0, headland_m=6.0), EPSG,
                   ground=ground)  # fmt: skip
    at = ground_points(made) - ground_points(made)[0]
    x, y = made.x - EAST, made.y - NORTH
    z = 0.2 * y + bump(x, y)
    space = np.column_stack([at, z])
    near = shapely.STRtree(shapely.points(at)).query(shapely.points(at), "dwithin", distance=4.0)
    pairs = near[0] < near[1]
    apart = np.linalg.norm(space[near[0][pairs]] - space[near[1][pairs]], axis=1)
    assert apart.min() >= 0.9 * 4.0 - 0.01
    points = shapely.points(np.column_stack([made.x, made.y]))
    assert shapely.distance(field().boundary, points).min() >= 3.0 - 0.01
    plain = planes(rise_north=0.2)
    even = set_out(
        field(), Layout("contour", 4.0, 5.0, setback_m=3.0, headland_m=6.0), EPSG, ground=plain
    )
    assert 0.7 * even.trees < made.trees < 1.2 * even.trees


def test_contour_rows_refuse_what_they_cannot_follow():
    layout = Layout("contour", 4.0, 5.0)
    with pytest.raises(Refused) as no:
        set_out(field(), layout, EPSG, name="Ridge")
    assert no.value.code == "planting.no_heights"
    with pytest.raises(Refused) as no:
        set_out(field(), layout, EPSG, ground=planes(rise_north=0.001))
    assert no.value.code == "planting.flat"
    with pytest.raises(Refused) as no:
        set_out(field(900), layout, EPSG, ground=planes(rise_north=0.2))
    assert no.value.code in ("planting.heights_short",)


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: Layout("spiral", 4.0), "planting.pattern"),
        (lambda: Layout("square", 0.1), "planting.out_of_range"),
        (lambda: Layout("square", math.nan), "planting.out_of_range"),
        (lambda: Layout("square", 4.0, setback_m=-1.0), "planting.out_of_range"),
        (lambda: Layout("rectangle", 4.0).between_rows_m, "planting.no_row_spacing"),
        (lambda: set_out(None, Layout("square", 4.0), EPSG, name="A"), "planting.no_outline"),
        (
            lambda: set_out(field(8, 8), Layout("square", 4.0, setback_m=9.0), EPSG),
            "planting.no_room",
        ),
        (lambda: set_out(field(60_000, 60_000), Layout("square", 0.4), EPSG), "planting.too_many"),
        (lambda: layout_of(block(spacing_m=None), EPSG), "planting.no_spacing"),
    ],
)
def test_refusals(make, code):
    with pytest.raises(Refused) as no:
        make()
    assert no.value.code == code


def test_twenty_thousand_trees_come_in_order():
    made = set_out(field(570, 570), Layout("square", 4.0, setback_m=2.0), EPSG)
    assert made.trees > 19_500
    assert (np.diff(made.row) >= 0).all()
    assert made.at(1, 1) == 0 and made.at(made.rows, int(made.in_row[-1])) == made.trees - 1
    assert made.at(0, 1) is None and made.at(1, 9999) is None and made.at(made.rows + 1, 1) is None


def test_pegging_distances_add_up():
    way = LineString([(EAST + 30, NORTH - 9), (EAST + 60, NORTH + 99)])
    road = LandMark(kind="road", width_m=5.0, shape=way)
    made = set_out(field(100, 60), Layout("triangle", 4.0, bearing_deg=70.0), EPSG,
                   ground=Ground(20.0, 200.0), kept=[road])  # fmt: skip
    sheet = peg_rows(made)
    assert sum(len(r.pegs) for r in sheet) == made.trees
    geod = ellipsoid()
    for row in sheet:
        assert sum(p.step_m for p in row.pegs) == pytest.approx(row.length_m, abs=1e-6)
        assert row.pegs[0].from_start_m == 0.0 and row.pegs[0].step_m == 0.0
        assert row.pegs[-1].from_start_m == pytest.approx(row.length_m, abs=1e-9)
        assert all(p.step_m % 4.0 == pytest.approx(0.0, abs=1e-6) or
                   p.step_m % 4.0 == pytest.approx(4.0, abs=1e-6) for p in row.pegs)  # fmt: skip
        if len(row.pegs) > 1:
            a, b = row.pegs[0], row.pegs[-1]
            bearing, _, level = geod.inv(a.lon, a.lat, b.lon, b.lat)
            along_fall = 0.2 * abs(math.cos(math.radians(200 - 70)))
            assert level * math.hypot(1, along_fall) == pytest.approx(row.length_m, rel=1e-5)
            assert bearing % 360 == pytest.approx(70.0, abs=0.01)
            assert row.bearing_deg == pytest.approx(70.0, abs=0.01)
    assert sheet[0].from_last_m is None and sheet[1].from_last_m > 3.0
    assert made.row_length_m == pytest.approx(sum(r.length_m for r in sheet))


def test_files_read_back_to_a_centimetre(tmp_path):
    made = set_out(field(60, 60, turned=12), Layout("triangle", 4.0), EPSG)
    mark = TreeMark(block_id=1, row=2, number=3, state="missing", date=MONDAY)
    marks = latest([mark])
    write_geojson(made, tmp_path / "t.geojson", marks, "Ñandú & <hill>")
    back = geopandas.read_file(tmp_path / "t.geojson").to_crs(EPSG)
    assert np.hypot(back.geometry.x - made.x, back.geometry.y - made.y).max() < 0.01
    assert list(back["row"]) == list(made.row) and list(back["number"]) == list(made.number)
    assert list(back["state"]).count("missing") == 1
    write_gpx(made, tmp_path / "t.gpx", marks, "Ñandú & <hill>")
    points = ET.parse(tmp_path / "t.gpx").getroot().findall("{*}wpt")
    lonlat = [Point(float(p.get("lon")), float(p.get("lat"))) for p in points]
    xy = np.array([from_lonlat(p, EPSG).coords[0] for p in lonlat])
    assert np.hypot(xy[:, 0] - made.x, xy[:, 1] - made.y).max() < 0.01
    assert (
        points[0].find("{*}name").text == "1-1"
        and points[0].find("{*}desc").text == "Ñandú & <hill>"
    )
    write_csv(made, tmp_path / "t.csv", marks)
    table = pd.read_csv(tmp_path / "t.csv")
    assert np.hypot(table.east_m - made.x, table.north_m - made.y).max() < 0.01
    assert table.state[made.at(2, 3)] == "missing"
    assert to_lonlat(Point(made.x[5], made.y[5]), EPSG).y == pytest.approx(table.lat[5], abs=1e-8)


def test_roads_come_from_geojson_and_gpx(tmp_path):
    lonlat = to_lonlat(LineString([(EAST, NORTH), (EAST + 50, NORTH + 50)]), EPSG)
    row = geopandas.GeoDataFrame({"name": ["Lower road"]}, geometry=[lonlat], crs=4326)
    row.to_file(tmp_path / "road.geojson")
    ((shape, name),) = mark_lines(tmp_path / "road.geojson", EPSG)
    assert name == "Lower road" and shape.length == pytest.approx(70.71, abs=0.01)
    points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in lonlat.coords)
    (tmp_path / "road.gpx").write_text(
        f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    )
    ((shape, _),) = mark_lines(tmp_path / "road.gpx", EPSG)
    assert shape.length == pytest.approx(70.71, abs=0.01)
    for text in ("no", "{}", '{"type":"Point","coordinates":[1,2]}', "[1]", "<gpx/>",
                 '{"type":"LineString","coordinates":[[468600,7799500],[468650,7799500]]}',
                 '{"type":"LineString","coordinates":[[NaN,1],[2,3]]}'):  # fmt: skip
        (tmp_path / "bad.geojson").write_text(text)
        with pytest.raises(Refused):
            mark_lines(tmp_path / "bad.geojson", EPSG)


def test_the_newest_mark_holds_and_bearing_leaves_young_trees_out():
    def mark(row, number, state, days, key):
        return TreeMark(block_id=1, row=row, number=number, state=state, id=key,
                        date=MONDAY - dt.timedelta(days=days))  # fmt: skip

    marks = latest([mark(1, 1, "missing", 20, 1), mark(1, 1, "replaced", 10, 2),
                    mark(1, 2, "missing", 10, 3), mark(2, 1, "rock", 10, 4),
                    mark(2, 2, "replaced", 900, 5), mark(9, 9, "missing", 10, 6)])  # fmt: skip
    counts = count_states(20, [10, 10], marks, MONDAY)
    assert (counts.missing, counts.replaced, counts.astray) == (2, 1, 1)
    assert (counts.living, counts.bearing) == (18, 17)


def test_the_side_by_side_adds_up():
    made = set_out(field(100, 100), Layout("square", 4.0, bearing_deg=0.0), EPSG)
    found = figures_of(made, area_ha(field(100, 100), EPSG), 6.0, 0.85)
    # 6 mm x 0.85 on 16 m2 are 81.6 L a tree; 25 rows of 96 m and a main of 96 m
    assert found.litres_tree_day == pytest.approx(81.6)
    assert found.m3_day == pytest.approx(0.0816 * 625, rel=1e-6)
    assert found.lateral_m == pytest.approx(25 * 96.0, abs=0.1)
    assert found.main_m == pytest.approx(96.0, abs=0.1)
    assert found.pipe_m == found.lateral_m + found.main_m


# -- what the week counts ---------------------------------------------------------------------


def planted(**changed):
    """A block of 1.2 ha with 750 places at 4 x 4 m, fed by outlets of 40 L/h."""
    outline = field(120, 100)
    keys = {"outline": outline, "outline_ha": area_ha(outline, EPSG), "spacing_m": 4.0,
            "pattern": "square", "trees": None, "flow_m3_h": None, "outlet_l_h": 40.0,
            "outlets_per_tree": 1.0, "flow_from": None}  # fmt: skip
    data = farm(block("A", 1, **{**keys, **changed}))
    return replace(data, orchard=replace(data.orchard, epsg=EPSG))


def marked(data, *places, state="missing", days=5):
    rows = tuple(
        TreeMark(block_id=1, row=r, number=n, state=state, date=MONDAY - dt.timedelta(days=days),
                 id=i) for i, (r, n) in enumerate(places, 1)
    )  # fmt: skip
    return replace(data, tree_marks=rows)


def counted(data, on=MONDAY):
    b = season.run(data, on).blocks[0]
    return b.trees, b.flow.m3_h


def test_missing_trees_take_no_water():
    bare = planted()
    assert counted(bare)[0] == pytest.approx(750, abs=1)  # area over the pattern, as before
    gaps = marked(bare, (1, 1), (2, 2), (3, 3))
    trees, flow = counted(gaps)
    assert trees == 747 and flow == pytest.approx(747 * 0.040)
    # one dead tree outside the layout does not count, a replaced one drinks
    assert counted(marked(bare, (99, 1)))[0] == 750
    assert counted(marked(bare, (1, 1), state="replaced"))[0] == 750
    # what was not seen yet does not count on a day before
    assert counted(marked(bare, (1, 1), days=-3))[0] == pytest.approx(750, abs=1)
    # a typed number wins, and a typed flow
    assert counted(change(gaps, "A", trees=700))[0] == 700
    assert counted(change(gaps, "A", flow_m3_h=25.0))[1] == 25.0


def test_set_out_places_rule_over_the_area():
    wide = planted(setback_m=10.0)
    assert counted(wide)[0] == pytest.approx(750, abs=1)
    at = to_lonlat(Point(EAST + 12, NORTH + 12), EPSG)
    kept = change(wide, "A", grid_lat=at.y, grid_lon=at.x, row_bearing_deg=0.0)
    assert counted(kept)[0] == pytest.approx(100 * 80 / 16, rel=0.06)
    road = LandMark(kind="road", width_m=8.0,
                    shape=LineString([(EAST, NORTH + 50), (EAST + 120, NORTH + 50)]))  # fmt: skip
    less = counted(replace(kept, land_marks=(road,)))[0]
    assert counted(kept)[0] - less == pytest.approx(2 * 25, abs=3)
    # contour rows: no height file at hand, so by the ground that may carry trees
    contour = change(kept, "A", pattern="contour", row_spacing_m=4.0)
    assert counted(contour)[0] == pytest.approx(500, abs=1)
    assert counted(marked(contour, (1, 1)))[0] == counted(contour)[0] - 1


def test_the_kept_season_follows_marks_and_roads():
    data, cache = planted(), season.Cache()
    road = LandMark(kind="road", width_m=8.0,
                    shape=LineString([(EAST, NORTH + 50), (EAST + 120, NORTH + 50)]))  # fmt: skip
    at = to_lonlat(Point(EAST + 2, NORTH + 2), EPSG)
    steps = [data, marked(data, (1, 1)), marked(data, (1, 1), (1, 2)),
             replace(marked(data, (1, 1)), land_marks=(road,)),
             change(data, "A", grid_lat=at.y, grid_lon=at.x), data]  # fmt: skip
    for step in steps:
        kept, fresh = season.run(step, MONDAY, cache=cache), season.run(step, MONDAY)
        assert kept.blocks[0].trees == fresh.blocks[0].trees
        assert kept.blocks[0].flow == fresh.blocks[0].flow
        assert kept.blocks[0].plan == fresh.blocks[0].plan
