"""Coefficients taken to a climate, and laid along the stages: FAO-56 as printed."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from orchard_samples import block, day, farm, record
from published_tables import inputs, label, rows

from waterbudget import kc_climate, season, stage
from waterbudget.cycle import Clock, run_clock
from waterbudget.orchard import ALL_STAGES, Block, Cycle

PRUNED = dt.date(2025, 1, 10)


def in_fill(values, run):
    return float(values[np.flatnonzero(run.stage == ALL_STAGES.index("fill"))[0]])


@pytest.mark.parametrize("row", rows("fao56_kc_climate"), ids=label)
def test_a_stage_number_in_another_climate_as_printed(row):
    """The tabled value is set as the block's own stage number."""
    x = inputs(row)
    run = run_clock((Cycle(PRUNED),), PRUNED, np.full(260, 30.0), np.full(260, 18.0))
    n = len(run.stage)
    one = block(stage_numbers={"kcb_fill": x["kcb"]}, height_m=x["height_m"])
    climate = (np.full(n, x["u2_m_s"]), np.full(n, x["rh_min"]))
    found = stage.day_numbers(one, {}, run, climate)
    assert in_fill(found.kcb, run) == pytest.approx(float(row["printed"]), abs=0.005)
    assert in_fill(stage.day_numbers(one, {}, run).kcb, run) == x["kcb"]


BEAN_DAYS = {"pruned": 25, "shoots": 25, "bloom": 30, "harvest": 20}


def bean(monkeypatch, ini, mid, end):
    """The daily coefficients of a crop of four stages, laid by the function that lays guava's."""
    edges = {"pruned": (ini, ini), "shoots": (ini, mid), "bloom": (mid, mid), "harvest": (mid, end)}
    table = {name: dict(row) for name, row in stage.defaults().items()}
    for name, (start, stop) in edges.items():
        table[name] |= {"kcb_start": str(start), "kcb_end": str(stop)}
    monkeypatch.setattr(stage, "defaults", lambda: table)
    index = np.repeat([ALL_STAGES.index(s) for s in BEAN_DAYS], list(BEAN_DAYS.values()))
    within = np.concatenate([np.arange(n) / n for n in BEAN_DAYS.values()])
    index, within = np.append(index, index[-1]), np.append(within, 1.0)
    run = Clock(PRUNED, index.astype(np.int8), within, np.arange(len(index)), ())
    return stage.day_numbers(Block(name="bean"), {}, run).kcb


@pytest.mark.parametrize("row", rows("fao56_season_curve"), ids=label)
def test_the_line_between_two_stages_as_printed(row, monkeypatch):
    """FAO-56 examples 28 and 30 print days, figure 36 means over ten days of the same line."""
    x = inputs(row)
    kcb = bean(monkeypatch, x["ini"], x["mid"], x["end"])
    if row["quantity"] == "on_day":
        value = kcb[int(x["day"])]
    else:
        last = 10 * int(x["decade"])
        decade = kcb[last - 10 : last + 1]
        value = float((decade[1:] + decade[:-1]).mean() / 2) * x.get("et0_mm", 1.0)
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


def test_limits_of_the_equations():
    calm, storm = (float(kc_climate.adjusted(1.0, u, 45.0, 3.0)) for u in (0.2, 20.0))
    assert (calm, storm) == (pytest.approx(0.96), pytest.approx(1.16))
    dry, wet = (float(kc_climate.adjusted(1.0, 2.0, rh, 3.0)) for rh in (2.0, 99.0))
    assert (dry, wet) == (pytest.approx(1.10), pytest.approx(0.86))
    assert kc_climate.adjusted([0.44, 0.45], 6.0, 20.0, 3.0).tolist() == [0.44, pytest.approx(0.71)]


@given(st.floats(0.1, 1.4), st.floats(0.3, 12))
def test_the_standard_climate_changes_nothing_and_an_unknown_one_neither(kc, height):
    assert kc_climate.adjusted(kc, 2.0, 45.0, height) == pytest.approx(kc)
    assert kc_climate.adjusted(kc, np.nan, 45.0, height) == kc
    assert kc_climate.adjusted(kc, 2.5, np.nan, height) == kc


def test_the_mean_of_thirty_days_leaves_holes_out():
    values = np.array([np.nan, 2.0, np.nan, 4.0] + [np.nan] * 60)
    found = kc_climate.running_mean(values)
    assert np.isnan(found[0])
    assert found[[1, 2, 3, 30]].tolist() == [2.0, 2.0, 3.0, 3.0]
    assert found[32] == 4.0
    assert np.isnan(found[33:]).all()


def windy(u2=4.6, rh_min=44.0):
    made = record(et0=5.0)
    made.values["u2_m_s"][:], made.values["rh_min"][:] = u2, rh_min
    made.values["rh_max"][:] = 90.0
    return made


@pytest.mark.parametrize("kc_climate_on", [False, True])
def test_a_farm_that_asks_for_it_has_its_stage_numbers_moved(kc_climate_on):
    """2.6 m/s more wind and 1 % drier air: 0.108 on a 3 m crop."""
    one = block(height_m=3.0, full_on=day(-4))
    run = season.run(farm(one, records={"Gate": windy()}, kc_climate=kc_climate_on))
    k = run.on_index
    plain = season.run(farm(one, records={"Gate": record(et0=5.0)}))
    moved = run.drivers.kcb[k, 0] - plain.drivers.kcb[k, 0]
    assert moved == pytest.approx(0.108 if kc_climate_on else 0.0)
    assert run.block("Ridge").missing == ()


def test_wind_that_is_assumed_moves_nothing():
    one = block(height_m=3.0, full_on=day(-4))
    calm = season.run(farm(one, records={"Gate": record(et0=5.0)}, kc_climate=True))
    assert calm.drivers.kcb[calm.on_index, 0] == pytest.approx(0.75)
    fixed = block(height_m=3.0, full_on=day(-4), kc_fixed=0.85)
    run = season.run(farm(fixed, records={"Gate": windy()}, kc_climate=True))
    assert (run.drivers.kcb == 0.85).all()
