"""What the ground takes in, and pulses only where it takes less than the outlets bring."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import intake
from waterbudget.orchard import SOILS, Block


def one(**changed):
    fields = {"area_ha": 1.0, "system": "micro", "outlet_l_h": 50.0, "outlet_radius_m": 2.0,
              "slope_pct": 15.0} | changed  # fmt: skip
    return Block(name="A", **fields)


@pytest.mark.parametrize(
    ("flow", "radius", "rate"), [(50, 2.0, 4.0), (70, 1.5, 9.9), (100, 2.0, 8.0), (35, 2.5, 1.8)]
)
def test_rate_inside_a_circle(flow, radius, rate):
    """Worked by hand: flow over the area of the circle, to one decimal."""
    assert round(intake.outlet_rate(flow, radius), 1) == rate


@pytest.mark.parametrize(
    ("soil", "slope", "shallow", "covered", "rate"),
    [
        ("sand", 3, False, False, 51), ("sand", 9, False, True, 38), ("sand", 20, True, False, 10),
        ("sandy-loam", 15, False, False, 10), ("sandy-loam", 6, True, True, 25),
        ("silt-loam", 0, False, True, 25), ("loam", 12, True, False, 4),
        ("clay", 15, False, False, 1.5), ("clay-loam", 5, False, True, 5), ("clay", 5.1, False,
                                                                           False, 2.5),
    ],
)  # fmt: skip
def test_highest_rates_as_in_the_table(soil, slope, shallow, covered, rate):
    """USDA table of highest sprinkler rates, from memory."""
    assert intake.highest_rate(soil, slope, shallow=shallow, covered=covered) == rate


def test_steep_bare_clay_is_watered_in_pulses_and_sandy_loam_is_not():
    clay = intake.pulses(intake.rate_of(one(), 0.5, 30.0), intake.highest_of(one(), "clay"))
    assert (round(clay.rate_mm_h, 1), clay.highest_mm_h) == (4.0, 1.5)
    assert (clay.on_min, clay.off_min) == (30, 60)
    rate, most = intake.rate_of(one(), 0.5, 30.0), intake.highest_of(one(), "sandy-loam")
    assert intake.pulses(rate, most) is None


def test_the_grounds_own_figure_wins_and_without_slope_nothing_is_judged():
    assert intake.highest_of(one(intake_mm_h=12.0), "clay") == 12.0
    assert intake.highest_of(one(slope_pct=None), "clay") is None
    assert intake.highest_of(one(ground_cover="covered"), "clay") == 2.5


def test_without_a_radius_the_flow_is_spread_over_the_ground_it_wets():
    plain = one(outlet_radius_m=None, area_ha=1.2)
    assert intake.rate_of(plain, 0.5, 37.5) == pytest.approx(6.25)
    assert intake.rate_of(one(outlet_radius_m=None, system="drip"), 0.35, 37.5) is None
    assert intake.rate_of(one(outlet_radius_m=None, system="basin"), 0.5, 37.5) is None


@given(st.floats(0.5, 60), st.sampled_from(SOILS), st.floats(0, 60), st.booleans())
def test_pulses_only_where_needed_and_then_slow_enough(rate, soil, slope, covered):
    most = intake.highest_rate(soil, slope, covered=covered)
    found = intake.pulses(rate, most)
    if rate <= most:
        assert found is None
    elif rate > most * 1.001:
        hour = found.on_min + found.off_min
        assert rate * found.on_min / hour <= most + 1e-9
        assert found.on_min % 15 == found.off_min % 15 == 0
        one_less = found.off_min - 15
        assert one_less <= 0 or rate * found.on_min / (found.on_min + one_less) > most - 1e-9
