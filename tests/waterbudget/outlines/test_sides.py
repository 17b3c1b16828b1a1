"""Sides by length and bearing, sizes, rows of corners, length along a slope."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from waterbudget.errors import Refused
from waterbudget.outlines import geodesy, sides

EPSG = 32736
EAST, NORTH = 468_600.0, 7_799_500.0


def test_a_side_due_true_north_keeps_its_longitude() -> None:
    x, y = sides.corner_from((EAST, NORTH), 100.0, 0.0, EPSG)
    lat0, lon0 = sides.position_of((EAST, NORTH), EPSG)
    lat, lon = sides.position_of((x, y), EPSG)
    assert lon == pytest.approx(lon0, abs=1e-9)
    # one degree of latitude at 20 S is 110.70 km (series of the meridian arc, WGS84)
    assert (lat - lat0) * 110_704 == pytest.approx(100.0, abs=0.05)


def test_a_side_due_grid_north_goes_straight_up_the_map() -> None:
    x, y = sides.corner_from((EAST, NORTH), 100.0, 0.0, EPSG, "grid")
    assert x == pytest.approx(EAST, abs=1e-3)
    # the map draws ground lengths 0.9996 x (1 + d2/2R2) of themselves, d = 31.4 km from the middle
    assert y - NORTH == pytest.approx(100.0 * 0.9996 * (1 + 31_400**2 / 2 / 6.36e6**2), abs=1e-3)


def test_grid_north_leans_as_the_textbook_says() -> None:
    """Convergence = (lon - middle) x sin lat, to first order (USGS Prof. Paper 1395, p. 61)."""
    lat, lon = sides.position_of((EAST, NORTH), EPSG)
    assert sides.north_turn((EAST, NORTH), EPSG) == pytest.approx(
        (lon - 33.0) * math.sin(math.radians(lat)), abs=1e-3
    )


@settings(deadline=None)
@given(st.floats(1, 3000), st.floats(0, 359.99), st.sampled_from(sides.NORTHS))
def test_a_side_measured_back_is_as_it_was_typed(length: float, bearing: float, north: str) -> None:
    end = sides.corner_from((EAST, NORTH), length, bearing, EPSG, north)
    found = sides.side((EAST, NORTH), end, EPSG, north)
    assert found[0] == pytest.approx(length, abs=1e-3)
    assert abs((found[1] - bearing + 180) % 360 - 180) * length < 0.1


@pytest.mark.parametrize(
    ("length", "bearing", "north", "code"),
    [(0, 0, "true", "bench.bad_length"), (-3, 0, "true", "bench.bad_length"),
     (math.nan, 0, "true", "bench.bad_length"), (30_000, 0, "true", "bench.bad_length"),
     (10, 400, "true", "bench.bad_bearing"), (10, math.nan, "true", "bench.bad_bearing"),
     (10, 0, "magnetic", "bench.bad_north")],
)  # fmt: skip
def test_what_cannot_be_is_refused(length: float, bearing: float, north: str, code: str) -> None:
    with pytest.raises(Refused) as fault:
        sides.corner_from((EAST, NORTH), length, bearing, EPSG, north)
    assert fault.value.code == code


def test_four_typed_sides_come_back_to_the_start() -> None:
    at = (EAST, NORTH)
    corners = [at]
    for length, bearing in ((120, 10), (80, 100), (120, 190), (80, 280)):
        at = sides.corner_from(at, length, bearing, EPSG)
        corners.append(at)
    assert math.dist(corners[0], corners[-1]) < 0.01
    size = sides.size_of_corners(np.array(corners[:-1]), EPSG)
    assert size.hectares == pytest.approx(0.96, rel=1e-4)
    assert size.perimeter_m == pytest.approx(400, abs=0.02)


def test_two_corners_have_a_length_but_no_area() -> None:
    line = np.array([(EAST, NORTH), sides.corner_from((EAST, NORTH), 55, 45, EPSG)])
    assert sides.size_of_corners(line, EPSG) == sides.Size(0.0, pytest.approx(55, abs=1e-4))
    assert sides.size_of_corners(line[:1], EPSG) == sides.Size(0.0, 0)


def test_rows_of_corners_say_which_side_leads_to_them() -> None:
    ring = np.array([(EAST, NORTH), (EAST + 100, NORTH), (EAST + 100, NORTH + 50)])
    rows = sides.corner_rows(ring, EPSG, "grid")
    assert [r.number for r in rows] == [1, 2, 3]
    assert rows[1].bearing_deg == pytest.approx(90, abs=0.01)
    assert rows[2].bearing_deg % 360 == pytest.approx(0, abs=0.01)
    assert rows[0].bearing_deg == pytest.approx(180 + math.degrees(math.atan2(100, 50)), abs=0.01)
    perimeter = geodesy.perimeter_m(box(EAST, NORTH, EAST + 1, NORTH + 1), EPSG)
    assert perimeter == pytest.approx(4.0, rel=1e-3)
    assert sides.corner_rows(ring, EPSG, closed=False)[0].length_m == 0.0
    assert (rows[0].lat, rows[0].lon) == pytest.approx(sides.position_of((EAST, NORTH), EPSG))


def test_positions_go_there_and_back_and_bad_ones_are_refused() -> None:
    back = sides.place_at(*sides.position_of((EAST, NORTH), EPSG), EPSG)
    assert math.dist(back, (EAST, NORTH)) < 1e-4
    for lat, lon in ((-95, 30), (0, 200), (math.nan, 0)):
        with pytest.raises(Refused):
            sides.place_at(lat, lon, EPSG)


def test_length_along_a_slope() -> None:
    """4 m along the ground of a 30 % slope are 3.83 m on the plan."""
    plan = np.array([0.0, 1.9, 3.8313])
    assert sides.slope_length(plan, 100 + 0.30 * plan) == pytest.approx(4.0, abs=1e-3)
    assert math.isnan(sides.slope_length(plan, np.array([1.0, math.nan, 2.0])))
