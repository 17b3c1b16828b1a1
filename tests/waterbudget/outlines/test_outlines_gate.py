"""The gate: what it repairs, what it refuses, and that a second pass finds nothing."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from outline_ground import BOW_TIE, EAST, EPSG, LAT, LON, NORTH, POND, SQUARE, closed, grid
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.outlines import area_ha, check_shape


def refusal(shape: BaseGeometry) -> Refused:
    """Return what the gate says no with."""
    with pytest.raises(Refused) as caught:
        check_shape(shape, EPSG)
    return caught.value


def codes(shape: BaseGeometry) -> dict[str, int]:
    """Return the repairs by code, having checked that they are the last."""
    checked, notes = check_shape(shape, EPSG)
    again, more = check_shape(checked, EPSG)
    assert more == ()
    assert again.equals_exact(checked)
    return {n.code: n.fields["count"] for n in notes}


def test_good_shape_passes_untouched() -> None:
    shape = Polygon(grid(SQUARE), [grid(POND)])
    checked, notes = check_shape(shape, EPSG)
    assert notes == ()
    assert checked.equals_exact(shape)


def test_way_round() -> None:
    assert codes(Polygon(grid(SQUARE[::-1]))) == {"outlines.turned": 1}
    checked, _ = check_shape(Polygon(grid(SQUARE[::-1]), [grid(POND[::-1])]), EPSG)
    assert checked.exterior.is_ccw
    assert not checked.interiors[0].is_ccw


def test_crossing_names_the_place() -> None:
    crossing = refusal(Polygon(grid(BOW_TIE)))
    assert crossing.code == "outlines.crosses"
    # the diagonals cross in the middle of the square, 50 m east and north of its corner
    assert crossing.fields["lat"] == pytest.approx(LAT + 50 / 110_700, abs=2e-6)
    assert crossing.fields["lon"] == pytest.approx(LON + 50 / 104_700, abs=2e-6)
    assert 1 <= crossing.fields["corner"] <= 4


def test_crossing_in_the_second_part_counts() -> None:
    far = Polygon([(x + 500, y) for x, y in grid(BOW_TIE)])
    assert refusal(MultiPolygon([Polygon(grid(SQUARE)), far])).code == "outlines.crosses"


def test_walked_twice_round_is_refused() -> None:
    twice = [*SQUARE, *[(x + 1, y + 1) for x, y in SQUARE]]
    assert refusal(Polygon(grid(twice))).code == "outlines.crosses"


def test_line_whose_ends_meet() -> None:
    assert codes(LineString(grid([*SQUARE, (0, 0.6)]))) == {"outlines.closed": 1}
    assert codes(LineString(grid(closed(SQUARE)))) == {}
    gap = refusal(LineString(grid([*SQUARE, (0, 1.4)])))
    assert (gap.code, gap.fields["gap_m"]) == ("outlines.open", 1.4)


def test_heights_are_dropped() -> None:
    shape = Polygon([(x, y, 900.0) for x, y in grid(SQUARE)])
    assert codes(shape) == {"outlines.heights_dropped": 1}
    assert not check_shape(shape, EPSG)[0].has_z


def test_doubled_corners_and_spikes() -> None:
    corners = [SQUARE[0], SQUARE[0], (0.004, 0), *SQUARE[1:]]
    assert codes(Polygon(grid(corners))) == {"outlines.doubled_corners": 2}
    spiky = [*SQUARE[:2], (100, 50), (190, 50.0), (100, 50.04), *SQUARE[2:]]
    assert codes(Polygon(grid(spiky))) == {"outlines.spikes": 1}
    checked, _ = check_shape(Polygon(grid(spiky)), EPSG)
    assert checked.bounds[2] == pytest.approx(EAST + 100)


def test_a_real_corner_is_no_spike() -> None:
    wedge = [(0, 0), (300, 0), (300, 10)]  # under 2 degrees, but ten metres wide
    assert codes(Polygon(grid(wedge))) == {}


def test_a_finely_rounded_edge_is_left_alone() -> None:
    angle = np.linspace(0, 2 * np.pi, 2000, endpoint=False)  # a corner every 16 cm
    ring = np.column_stack([EAST + 50 * np.cos(angle), NORTH + 50 * np.sin(angle)])
    checked, notes = check_shape(Polygon(ring), EPSG)
    assert notes == ()
    assert len(checked.exterior.coords) == 2001


@pytest.mark.parametrize("shape", [Polygon(), MultiPolygon(), LineString(), Point(1, 2)])
def test_empty(shape: BaseGeometry) -> None:
    assert refusal(shape).code == "outlines.empty"


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_not_numbers(value: float) -> None:
    corners = grid(SQUARE)
    corners[2] = (value, corners[2][1])
    assert refusal(Polygon(corners)).code == "outlines.not_numbers"
    assert refusal(LineString(corners)).code == "outlines.not_numbers"


def test_off_the_map() -> None:
    assert refusal(Polygon([(1e9, 0), (2e9, 0), (2e9, 1e9)])).code == "outlines.off_the_map"
    assert refusal(Polygon([(1e200, 0), (2e200, 0), (2e200, 1e200)])).code in (
        "outlines.off_the_map", "outlines.crosses")  # fmt: skip


def rectangle(width: float, height: float) -> Polygon:
    """Return a rectangle on the grid."""
    return Polygon(grid([(0, 0), (width, 0), (width, height), (0, height)]))


def test_smallest_and_largest() -> None:
    assert refusal(rectangle(4, 4.9)).code == "outlines.too_small"
    assert codes(rectangle(4, 5.01)) == {}
    assert codes(rectangle(4000, 4990)) == {}
    assert refusal(rectangle(4000, 5000)).code == "outlines.too_large"  # 2001.6 ha on the ground


def test_holes_must_be_inside_and_apart() -> None:
    outside = [(x + 200, y) for x, y in POND]
    assert refusal(Polygon(grid(SQUARE), [grid(outside)])).code == "outlines.holes"
    across = [(x + 70, y) for x, y in POND]
    assert refusal(Polygon(grid(SQUARE), [grid(across)])).code == "outlines.crosses"
    nested = [(x / 2 + 15, y / 2 + 15) for x, y in POND]
    assert refusal(Polygon(grid(SQUARE), [grid(POND), grid(nested)])).code == "outlines.holes"
    assert refusal(Polygon(grid(SQUARE), [grid(POND), grid(POND)])).code.startswith("outlines.")
    whole = Polygon(grid(SQUARE), [grid(SQUARE)])
    assert refusal(whole).code in ("outlines.too_small", "outlines.holes")


def test_parts() -> None:
    beside = Polygon([(x + 100, y) for x, y in grid(SQUARE)])
    assert codes(MultiPolygon([Polygon(grid(SQUARE)), beside])) == {"outlines.parts_joined": 1}
    lapping = Polygon([(x + 99, y) for x, y in grid(SQUARE)])
    no = refusal(MultiPolygon([Polygon(grid(SQUARE)), lapping]))
    assert (no.code, no.fields["m2"]) == ("outlines.parts_overlap", 100.0)


def test_very_many_corners_in_time() -> None:
    angle = np.linspace(0, 2 * np.pi, 300_000, endpoint=False)
    radius = 2000 + 5 * np.sin(400 * angle)
    ring = np.column_stack([EAST + radius * np.cos(angle), NORTH + radius * np.sin(angle)])
    start = time.perf_counter()
    shape, _ = check_shape(Polygon(ring), EPSG)
    assert time.perf_counter() - start < 5
    assert area_ha(shape, EPSG) == pytest.approx(np.pi * 400 * 1.0008, rel=1e-3)


lattice = st.lists(
    st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=9
).map(lambda pairs: [(10.0 * x, 10.0 * y) for x, y in pairs])  # fmt: skip


@settings(max_examples=400, deadline=None)
@given(lattice)
def test_any_ring_keeps_its_area_or_is_refused(corners: list[tuple[float, float]]) -> None:
    ring = Polygon(grid(corners))  # plane area by the signed sum, whatever the ring does
    try:
        checked, _ = check_shape(ring, EPSG)
    except Refused as no:
        assert no.code in ("outlines.crosses", "outlines.too_small", "outlines.parts_overlap")
        return
    assert checked.is_valid
    assert checked.area == pytest.approx(ring.area, rel=1e-3)
    again, notes = check_shape(checked, EPSG)
    assert notes == ()
    assert again.equals_exact(checked)


@settings(max_examples=200, deadline=None)
@given(lattice, st.integers(0, 3), st.floats(-0.02, 0.02))
def test_nearly_touching_rings(
    corners: list[tuple[float, float]], which: int, nudge: float
) -> None:
    moved = list(corners)
    x, y = moved[which % len(moved)]
    moved[which % len(moved)] = (x + nudge, y)
    try:
        checked, _ = check_shape(Polygon(grid(moved)), EPSG)
    except Refused:
        return
    assert checked.is_valid
    assert check_shape(checked, EPSG)[1] == ()
    assert shapely.get_coordinate_dimension(checked) == 2
