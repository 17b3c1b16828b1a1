"""Cutting, joining, closing and following outlines, and corners that blocks share."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from waterbudget.errors import Refused
from waterbudget.outlines import bench

EPSG = 32736
EAST, NORTH = 468_600.0, 7_799_500.0


def at(x: float, y: float) -> tuple[float, float]:
    return EAST + x, NORTH + y


def rect(x: float, y: float, wide: float, high: float) -> Polygon:
    return box(EAST + x, NORTH + y, EAST + x + wide, NORTH + y + high)


def line(*points: tuple[float, float]) -> LineString:
    return LineString([at(*p) for p in points])


def code_of(call: object, *args: object, **more: object) -> str:
    with pytest.raises(Refused) as fault:
        call(*args, **more)  # type: ignore[operator]
    return fault.value.code


stars = st.lists(st.floats(25, 90), min_size=5, max_size=14)


def star(radii: list[float]) -> Polygon:
    turns = np.linspace(0, 2 * math.pi, len(radii), endpoint=False)
    return Polygon([at(r * math.cos(t), r * math.sin(t))
                    for r, t in zip(radii, turns, strict=True)])  # fmt: skip


# -- split ----------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@example([25.0] * 5, 1e-5, 0.0)  # a quarter of a millimetre beside a corner
@given(stars, st.floats(0, math.pi), st.floats(-15, 15))
def test_the_pieces_of_a_cut_make_the_whole_again(
    radii: list[float], turn: float, off: float
) -> None:
    shape = star(radii)
    far, side = np.array([math.cos(turn), math.sin(turn)]) * 200, np.array(
        [-math.sin(turn), math.cos(turn)]) * off  # fmt: skip
    cut = line(tuple(side - far), tuple(side + far))
    try:
        pieces = bench.split(shape, cut, EPSG)
    except Refused as fault:
        assume(fault.code != "bench.too_small_piece")
        raise
    assert len(pieces) >= 2
    assert sum(p.area for p in pieces) == pytest.approx(shape.area, rel=1e-6)
    assert shapely.union_all(pieces).symmetric_difference(shape).area < 1e-3 * shape.area
    for piece in pieces:
        assert piece.is_valid and piece.intersection(cut).length < piece.length
        assert not cut.crosses(piece.buffer(-0.02))
    large, small = bench.split_in_two(shape, cut, EPSG)
    assert large.area >= small.area - 1e-6
    assert large.intersection(small).area < 1e-3
    assert large.area + small.area == pytest.approx(shape.area, rel=1e-6)


def test_a_hole_stays_a_hole_in_the_piece_it_lies_in() -> None:
    shape = Polygon(rect(0, 0, 100, 100).exterior, [rect(10, 10, 20, 20).exterior])
    large, small = bench.split(shape, line((50, -5), (50, 105)), EPSG)
    assert [round(p.area) for p in (large, small)] == [5000, 4600]
    assert len(small.interiors) == 1


def test_a_cut_through_a_hole_leaves_no_hole() -> None:
    shape = Polygon(rect(0, 0, 100, 100).exterior, [rect(40, 40, 20, 20).exterior])
    pieces = bench.split(shape, line((50, -5), (50, 105)), EPSG)
    assert [round(p.area) for p in pieces] == [4800, 4800]
    assert all(not p.interiors for p in pieces)


def test_a_line_from_edge_to_edge_cuts_although_it_only_just_reaches() -> None:
    shape = rect(0, 0, 100, 50)
    assert len(bench.split(shape, line((30, 0), (60, 50)), EPSG)) == 2
    assert len(bench.split(shape, line((30, 0.01), (60, 49.99)), EPSG)) == 2  # a pixel short
    assert code_of(bench.split, shape, line((30, 1), (60, 49)), EPSG) == "bench.no_cut"


@pytest.mark.parametrize(
    ("points", "code"),
    [
        (((-10, 20), (50, 20)), "bench.no_cut"),
        (((-10, -20), (150, -20)), "bench.no_cut"),
        (((-10, 0), (150, 0)), "bench.no_cut"),
        (((20, 20), (60, 20), (40, 30)), "bench.no_cut"),
        (((50, -10), (50, 30), (30, 20), (80, 20)), "bench.line_crosses_itself"),
        (((-1, 99.9), (101, 99.9)), "bench.too_small_piece"),
    ],
)
def test_what_cuts_nothing_is_refused(points: tuple[tuple[float, float], ...], code: str) -> None:
    assert code_of(bench.split, rect(0, 0, 100, 100), line(*points), EPSG) == code


def test_a_line_across_two_arms_leaves_both_ends_on_one_side() -> None:
    horseshoe = rect(0, 0, 100, 100).difference(rect(30, 30, 40, 70))
    assert len(bench.split(horseshoe, line((-5, 60), (105, 60)), EPSG)) == 3
    large, small = bench.split_in_two(horseshoe, line((-5, 60), (105, 60)), EPSG)
    assert isinstance(small, MultiPolygon) and small.area == pytest.approx(2 * 30 * 40)
    assert large.area == pytest.approx(100 * 30 + 2 * 30 * 30)


# -- join -----------------------------------------------------------------------------------------


def test_two_halves_join_to_what_they_were() -> None:
    whole = rect(0, 0, 100, 60)
    a, b = bench.split(whole, line((40, -5), (45, 65)), EPSG)
    joined, gap = bench.merge(a, b, EPSG)
    assert joined.symmetric_difference(whole).area < 0.01 and gap == 0


def test_a_narrow_gap_is_closed_and_told_a_wide_one_refused() -> None:
    joined, gap = bench.merge(rect(0, 0, 50, 50), rect(50.3, 0, 50, 50), EPSG)
    assert gap == pytest.approx(0.3, abs=1e-6) and not isinstance(joined, MultiPolygon)
    assert joined.area == pytest.approx(100.3 * 50, abs=0.5)
    assert code_of(bench.merge, rect(0, 0, 50, 50), rect(52, 0, 50, 50), EPSG) == "bench.apart"


def test_blocks_that_touch_in_a_corner_are_not_joined() -> None:
    code = code_of(bench.merge, rect(0, 0, 50, 50), rect(50, 50, 50, 50), EPSG)
    assert code == "bench.touch_in_a_corner"


@settings(deadline=None, max_examples=40)
@given(stars, stars, st.floats(-40, 40))
def test_overlapping_blocks_join_to_their_union(
    one: list[float], two: list[float], dx: float
) -> None:
    a, b = star(one), shapely.affinity.translate(star(two), dx, 0)
    joined, _ = bench.merge(a, b, EPSG)
    assert joined.symmetric_difference(a.union(b)).area < 2.0


# -- a piece out of the middle --------------------------------------------------------------------


def test_a_hole_takes_its_area_and_a_second_one_grows_the_first() -> None:
    once = bench.cut_hole(rect(0, 0, 100, 100), rect(20, 20, 10, 10), EPSG)
    assert once.area == pytest.approx(9900) and len(once.interiors) == 1
    twice = bench.cut_hole(once, rect(25, 25, 10, 10), EPSG)
    assert twice.area == pytest.approx(10_000 - 175) and len(twice.interiors) == 1
    assert code_of(bench.cut_hole, once, rect(22, 22, 6, 6), EPSG) == "bench.hole_is_there"


def test_a_hole_over_the_edge_is_refused() -> None:
    shape = rect(0, 0, 100, 100)
    for hole in (rect(90, 90, 30, 30), rect(200, 0, 20, 20), rect(0, 20, 20, 20)):
        assert code_of(bench.cut_hole, shape, hole, EPSG) == "bench.hole_outside"


# -- catching and closing -------------------------------------------------------------------------


def test_corners_come_before_edges_and_far_ones_are_left() -> None:
    catcher = bench.Catcher([rect(0, 0, 100, 100), rect(200, 0, 50, 50)])
    near = catcher.catch(*at(97, 98), 5)
    assert near is not None and (near.kind, near.x - EAST, near.y - NORTH) == ("corner", 100, 100)
    edge = catcher.catch(*at(203, 25), 5)
    assert edge is not None and (edge.kind, edge.number) == ("edge", 1)
    assert (edge.x - EAST, edge.y - NORTH) == pytest.approx((200, 25))
    assert catcher.catch(*at(150, 50), 5) is None
    assert catcher.catch(*at(203, 25), 5, leave=[1]) is None


@settings(deadline=None, max_examples=50)
@given(stars, st.floats(-120, 120), st.floats(-120, 120), st.floats(1, 20))
def test_what_is_caught_lies_on_the_outline_within_reach(
    radii: list[float], x: float, y: float, reach: float
) -> None:
    shape = star(radii)
    found = bench.Catcher([shape]).catch(*at(x, y), reach)
    gap = shape.boundary.distance(Point(at(x, y)))
    assert (found is not None) == (gap <= reach) or abs(gap - reach) < 1e-6
    if found is not None:
        assert shape.boundary.distance(Point(found.x, found.y)) < 1e-6
        assert math.dist((found.x, found.y), at(x, y)) == pytest.approx(found.away_m)


def test_a_ragged_edge_closes_on_its_neighbour() -> None:
    left = rect(0, 0, 100, 100)
    bent = Polygon([at(100.6, -0.4), at(200, 0), at(200, 160), at(99.5, 159.5)])
    closed, moved = bench.close_on(bent, [left], 1.0, EPSG)
    assert moved == 2  # the corner goes to the corner, the neighbour's upper one comes in between
    assert closed.intersection(left).area < 0.01
    assert closed.intersection(left).length == pytest.approx(100, abs=0.05)
    again, none = bench.close_on(closed, [left], 1.0, EPSG)
    assert none == 0 and again is closed


# -- along a neighbour ----------------------------------------------------------------------------


def test_the_shorter_way_along_an_edge_and_the_other() -> None:
    shape = rect(0, 0, 100, 60)
    short = bench.follow(shape, at(20, 61), at(99, 30))
    assert np.allclose(short - np.array(at(0, 0)), [(20, 60), (100, 60), (100, 30)])
    long = bench.follow(shape, at(20, 61), at(99, 30), other_way=True)
    assert np.allclose(long - np.array(at(0, 0)), [(20, 60), (0, 60), (0, 0), (100, 0), (100, 30)])


@settings(deadline=None, max_examples=60)
@given(stars, st.floats(0, 0.999), st.floats(0, 0.999))
def test_both_ways_together_go_once_round(radii: list[float], a: float, b: float) -> None:
    shape = star(radii)
    ring = shape.exterior
    start, end = (ring.interpolate(t, normalized=True) for t in (a, b))
    assume(start.distance(end) > 0.5)
    ways = [bench.follow(shape, start.coords[0], end.coords[0], other_way=w)
            for w in (False, True)]  # fmt: skip
    lengths = [LineString(w).length for w in ways]
    assert sum(lengths) == pytest.approx(ring.length, rel=1e-6)
    assert lengths[0] <= lengths[1] + 1e-6
    for way in ways:
        assert math.dist(way[0], start.coords[0]) < 1e-3
        assert math.dist(way[-1], end.coords[0]) < 1e-3
        assert LineString(way).difference(ring.buffer(1e-6)).length < 1e-6


def test_two_rings_or_one_place_cannot_be_followed() -> None:
    shape = Polygon(rect(0, 0, 100, 100).exterior, [rect(40, 40, 20, 20).exterior])
    assert code_of(bench.follow, shape, at(0, 50), at(40, 50)) == "bench.two_edges"
    assert code_of(bench.follow, shape, at(0, 50), at(0, 50)) == "bench.one_place"


# -- corners that blocks share --------------------------------------------------------------------


def test_a_shared_corner_moves_in_every_block_and_they_stay_touching() -> None:
    shapes = {"a": rect(0, 0, 50, 50), "b": rect(50, 0, 50, 50), "c": rect(0, 50, 100, 50),
              "far": rect(300, 0, 50, 50)}  # fmt: skip
    changed = bench.move_shared(shapes, at(50, 50), at(56, 44), EPSG)
    assert set(changed) == {"a", "b", "c"}
    after = {**shapes, **changed}
    total = shapely.union_all([after[k] for k in "abc"])
    assert total.area == pytest.approx(10_000, abs=0.01) and not isinstance(total, MultiPolygon)
    assert sum(after[k].area for k in "abc") == pytest.approx(10_000, abs=0.01)
    assert len(shapely.get_coordinates(changed["c"])) == len(
        shapely.get_coordinates(shapes["c"])) + 1  # fmt: skip


@settings(deadline=None, max_examples=40)
@given(st.floats(-20, 20), st.floats(-20, 20))
def test_moving_there_and_back_is_nothing(dx: float, dy: float) -> None:
    assume(math.hypot(dx, dy) > 0.1)
    shapes = {1: rect(0, 0, 50, 50), 2: rect(50, 0, 50, 50)}
    there = bench.move_shared(shapes, at(50, 0), at(50 + dx, dy), EPSG)
    back = bench.move_shared({**shapes, **there}, at(50 + dx, dy), at(50, 0), EPSG)
    assert all(back[k].equals(shapes[k]) for k in shapes)


def test_a_move_that_spoils_a_neighbour_is_refused_and_names_it() -> None:
    shapes = {"a": rect(0, 0, 50, 50), "thin": rect(50, 0, 4, 50)}
    with pytest.raises(Refused) as fault:
        bench.move_shared(shapes, at(50, 50), at(70, 40), EPSG)
    assert fault.value.fields["key"] == "thin"
    assert code_of(bench.move_shared, shapes, at(20, 20), at(30, 30), EPSG) == "bench.no_corner"
