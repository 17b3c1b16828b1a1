"""Metered against planned flow: silence within 8 %, a look to 10 %, a fault from there on."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget.drift import Timed, judge

FLOW = 37.5


def sets(*ratios: float, hours: float = 7.0, assumed: bool = False) -> list[Timed]:
    return [Timed(hours, hours * FLOW * r, assumed) for r in ratios]


@pytest.mark.parametrize(
    ("pct", "verdict"),
    [(-12, "low"), (12, "high"), (-10, "low"), (10, "high"), (-9, "look"), (9, "look"),
     (-8, "even"), (8, "even"), (0, "even"), (-3, "even")],
)  # fmt: skip
def test_the_marks_of_practice(pct, verdict):
    found = judge(FLOW, sets(*[1 + pct / 100] * 5))
    assert found is not None and found.verdict == verdict
    assert found.pct == pytest.approx(pct)


def test_a_tenth_less_is_33_8_of_37_5_m3_an_hour():
    """7.07 h at 37.5 m3/h bring 265 m3; a tenth less is 33.8 m3/h, 239 m3 in those hours."""
    found = judge(37.5, [Timed(7.07, 238.6)] * 3)
    assert found is not None
    assert found.metered_m3_h == pytest.approx(33.75, abs=0.05)
    assert 265.1 / found.metered_m3_h == pytest.approx(7.86, abs=0.01)


def test_a_step_shows_with_the_third_watering_after_it():
    heard = [judge(FLOW, sets(*[1.0] * 5, *[0.88] * n)).verdict for n in range(6)]
    assert heard == ["even", "even", "even", "low", "low", "low"]


def test_a_slow_change_is_heard_before_it_is_far():
    """One in a hundred less at every watering: a look at the ninth or so, then a fault."""
    heard = [judge(FLOW, sets(*[1 - 0.01 * k for k in range(n + 1)])).verdict for n in range(16)]
    assert heard[0] == "even" and heard[-1] == "low"
    assert heard.index("look") < heard.index("low") <= 13
    order = {"even": 0, "look": 1, "low": 2}
    assert [order[h] for h in heard] == sorted(order[h] for h in heard)


def test_one_figure_typed_wrong_moves_nothing():
    assert judge(FLOW, sets(1.0, 1.01, 2.1, 0.99, 1.0)).verdict == "even"


def test_hours_nobody_took_down_say_nothing_where_the_watering_stopped_early():
    assert judge(FLOW, sets(0.5, 0.4, assumed=True)) is None
    assert judge(FLOW, sets(0.5, 0.4)).verdict == "low"
    assert judge(FLOW, sets(0.88, assumed=True)).verdict == "low"


def test_nothing_to_compare():
    assert judge(None, sets(1.0)) is None
    assert judge(FLOW, []) is None
    assert judge(FLOW, [Timed(0.0, 0.0), Timed(3.0, 0.0)]) is None


@given(st.lists(st.floats(0.2, 3.0), min_size=1, max_size=12), st.floats(1.0, 200.0))
def test_taking_the_metered_flow_brings_silence_on_even_sets(ratios, flow):
    """Planned with what the middle watering gave, that watering is even."""
    timed = [Timed(2.0, 2.0 * flow * r) for r in ratios]
    found = judge(flow, timed)
    assert found is not None and found.count == min(len(ratios), 5)
    again = judge(found.metered_m3_h, timed)
    assert again is not None and again.verdict == "even"
    assert again.pct == pytest.approx(0.0, abs=0.3)  # a flow is kept to the litre an hour
