import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import hydraulics
from waterbudget.english import sentence
from waterbudget.errors import Refused

TABLE = Path(__file__).parents[1] / "published" / "hydraulics.csv"
with TABLE.open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


def value_of(text):
    if " " in text:
        return [float(v) for v in text.split()]
    return int(text) if text.isdigit() else float(text)


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['id']}-{i}" for i, r in enumerate(ROWS)])
def test_published_and_worked_values(row):
    inputs = {k: value_of(v) for k, v in (part.split("=") for part in row["inputs"].split(";"))}
    value = getattr(hydraulics, row["quantity"])(**inputs)
    assert float(value) == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]), rel=0)


@given(st.floats(0.1, 50), st.floats(10, 200), st.floats(100, 160))
def test_the_two_friction_forms_agree_to_about_half_a_per_cent(flow, bore, c):
    si = hydraulics.friction_loss_m(100, flow, bore, c)
    field = hydraulics.friction_loss_field_form_m(100, flow / 3.6, bore, c)
    assert field == pytest.approx(float(si), rel=0.006)


@given(st.floats(-20, 9), st.floats(100, 300), st.floats(0.05, 1))
def test_height_and_flow_undo_each_other(height, pressure, exponent):
    share = hydraulics.flow_share_at_height(height, pressure, exponent)
    assert hydraulics.height_for_flow_share(share, pressure, exponent) == pytest.approx(
        height, abs=1e-6
    )


def test_an_outlet_above_the_reach_of_the_pressure_gives_nothing():
    share = hydraulics.flow_share_at_height([0.0, 10.0, 11.0, 500.0], 100.0, 0.05)
    assert share[0] == 1.0
    assert share[1] > 0.8
    assert share[2:].tolist() == [0.0, 0.0]


def test_a_block_across_the_slope_gives_less_than_its_middle():
    """Heights from 4 m below to 4 m above: what the top loses the foot does not win back."""
    heights = np.linspace(-4, 4, 101)
    share = hydraulics.flow_share_at_height(heights, 100.0)
    assert share.mean() == pytest.approx((0.78 + 4 * 1.0 + 1.18) / 6, abs=0.02)
    assert share.mean() < 1.0


def test_a_lateral_loses_about_a_third_of_a_plain_pipe():
    plain = float(hydraulics.friction_loss_m(80, 1.2, 16))
    assert hydraulics.lateral_loss_m(80, 1.2, 16, 1) == pytest.approx(plain)
    assert hydraulics.lateral_loss_m(80, 1.2, 16, 200) == pytest.approx(plain * 0.353, rel=0.01)


@given(st.lists(st.floats(0.1, 100), min_size=4, max_size=60))
def test_uniformity_is_a_share_and_one_for_equal_cans(cans):
    assert 0 < hydraulics.low_quarter_uniformity(cans) <= 1 + 1e-12
    assert hydraulics.low_quarter_uniformity([cans[0]] * len(cans)) == pytest.approx(1.0)


@pytest.mark.parametrize("cans", [[], [1, 2, 3], [1, 2, -3, 4], [0, 0, 0, 0], [1, 2, np.nan, 4]])
def test_catches_that_say_nothing_are_refused(cans):
    with pytest.raises(Refused) as told:
        hydraulics.low_quarter_uniformity(cans)
    assert told.value.code == "hydraulics.catches"


def test_no_outlets_and_no_exponent_are_refused():
    with pytest.raises(Refused):
        hydraulics.lateral_factor(0)
    with pytest.raises(Refused):
        hydraulics.height_for_flow_share(0.9, 100.0, 0.0)


# -- bucket tests --------------------------------------------------------------------------------


def test_a_bucket_test_worked_by_hand():
    """1 L in 72 s is 50 L/h, in 60 s 60 L/h, 2 L in 180 s 40 L/h; 900 outlets of 50 L/h."""
    found = hydraulics.bucket_flow_m3_h([(1, 72), (1, 60), (2, 180)], 900)
    assert found.outlet_l_h == pytest.approx(50.0)
    assert found.flow_m3_h == pytest.approx(45.0)
    assert found.spread_pct == pytest.approx(40.0)


def test_the_mean_is_of_the_flows_not_of_the_seconds():
    """Half an hour's trickle counts as one outlet, however long the bucket stood."""
    found = hydraulics.bucket_flow_m3_h([(4, 1800), (1, 900), (1, 300)], 1000)
    assert found.outlet_l_h == pytest.approx(8.0)


@given(
    st.lists(st.tuples(st.floats(0.1, 20), st.floats(20, 600)), min_size=1, max_size=5),
    st.integers(50, 250),
)
def test_twice_the_outlets_twice_the_flow_and_a_long_bucket_changes_nothing(catches, outlets):
    once = hydraulics.bucket_flow_m3_h(catches, outlets)
    twice = hydraulics.bucket_flow_m3_h([(2 * v, 2 * s) for v, s in catches], 2 * outlets)
    assert twice.flow_m3_h == pytest.approx(2 * once.flow_m3_h)
    assert twice.outlet_l_h == pytest.approx(once.outlet_l_h)
    assert 0 <= once.spread_pct == pytest.approx(twice.spread_pct, abs=1e-9)


@pytest.mark.parametrize(
    ("catches", "outlets", "code"),
    [
        ([], 900, "nothing"),
        ([(1, 60)], 0, "outlets"),
        ([(1, 60)], -3, "outlets"),
        ([(1, 60)], np.nan, "outlets"),
        ([(1, 60), (0, 60)], 900, "catch"),
        ([(1, 60), (1, -60)], 900, "catch"),
        ([(1, 60), (1, 0)], 900, "catch"),
        ([(1, 60), (np.inf, 60)], 900, "catch"),
        ([(1, 60), (100, 60)], 900, "outlet"),
        ([(1, 60), (0.001, 60)], 900, "outlet"),
        ([(10, 60)], 1_000_000, "flow"),
        ([(0.01, 60)], 1, "flow"),
    ],
)
def test_bucket_tests_that_cannot_be_are_refused(catches, outlets, code):
    with pytest.raises(Refused) as told:
        hydraulics.bucket_flow_m3_h(catches, outlets)
    assert told.value.code == f"hydraulics.bucket_{code}"
    assert told.value.fields.get("row", 2) == 2
    assert sentence(told.value).endswith(".")
    assert "{" not in sentence(told.value)
