"""A season run with what was kept from the last run is the season run from nothing."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard_samples import (
    MONDAY,
    block,
    change,
    change_orchard,
    day,
    farm,
    forecast,
    pruned,
    record,
)

from waterbudget import season
from waterbudget.orchard import Pump
from waterbudget.records import FieldEntry, GivenSet, GivenWeek, Pin, Ran, TreeMark


def same(one, other):
    """Two seasons with the same numbers everywhere."""
    for part in ("account", "drivers"):
        a, b = getattr(one, part), getattr(other, part)
        for field in dataclasses.fields(a):
            np.testing.assert_array_equal(getattr(a, field.name), getattr(b, field.name))
    np.testing.assert_array_equal(one.ahead_dr_mm, other.ahead_dr_mm)
    np.testing.assert_array_equal(one.ahead_limit_mm, other.ahead_limit_mm)
    assert (one.pump_days, one.given, one.notes) == (other.pump_days, other.given, other.notes)
    for a, b in zip(one.blocks, other.blocks, strict=True):
        for name in ("block", "missing", "station", "flow", "past", "rain_flags", "plan", "dryness",
                     "dr_if_not_run_mm", "start", "limits", "work"):  # fmt: skip
            assert getattr(a, name) == getattr(b, name), (a.block.name, name)
        np.testing.assert_array_equal(a.clock.stage, b.clock.stage)


EDITS = (*range(19), 30, 40)


def random_edit(data, rng, on, kind):
    """One thing a grower might do; returns the farm and the day looked at after it."""
    names = [b.name for b in data.orchard.blocks]
    name, number = str(rng.choice(names)), int(rng.integers(1, 4))
    when = day(-int(rng.integers(1, 25)))
    gate = data.records["Gate"]
    if kind == 0:
        return change(data, name, kc_factor=float(rng.uniform(0.8, 1.2))), on
    if kind == 1:
        return change(data, name, cycles=pruned(int(rng.integers(5, 260)))), on
    if kind == 2:
        return change(data, name, full_on=when), on
    if kind == 3:
        extra = Ran(number, when, hours=float(rng.integers(0, 7)))
        return dataclasses.replace(data, ran=(*data.ran, extra)), on
    if kind == 4:
        return dataclasses.replace(data, ran=data.ran[1:]), on
    if kind == 5:
        gauge = str(rng.choice(["farm", "Hill"]))
        typed = {**data.rain_typed, gauge: {**data.rain_typed.get(gauge, {}),
                                            when: float(rng.uniform(0, 30))}}  # fmt: skip
        return dataclasses.replace(data, rain_typed=typed), on
    if kind == 6:
        rain = {when: float(rng.uniform(0, 40))}
        new = record(gate.first, gate.last, et0=float(rng.uniform(3, 6)), rain=rain, without=[when])
        return dataclasses.replace(data, records={"Gate": new}), on
    if kind == 7:
        return data, day(int(rng.integers(-6, 4)))
    if kind == 8:
        sets = (GivenSet(number, when, dt.time(6), 2.0, 4.0, 40.0),)
        at = dt.datetime.combine(when, dt.time(6))
        week = GivenWeek(len(data.given) + 1, when, at, sets)
        return dataclasses.replace(data, given=(*data.given, week)), on
    if kind == 9:
        pins = (
            *data.pins[-2:],
            Pin(number, day(int(rng.integers(0, 7))), float(rng.integers(0, 4))),
        )
        return dataclasses.replace(data, pins=pins), on
    if kind == 10:
        credit = float(rng.uniform(0, 1))
        coming = forecast(day(-int(rng.integers(0, 3))), rain={2: float(rng.uniform(0, 20))})
        data = change_orchard(data, forecast_rain_credit=credit)
        return dataclasses.replace(data, forecasts={"Gate": coming}), on
    if kind == 11:
        farm_numbers = {"allowed_fill": float(rng.uniform(0.3, 0.5))}
        return change_orchard(data, stage_numbers=farm_numbers), on
    if kind == 12:
        return change_orchard(data, days_off=(str(rng.choice(["sun", "wed"])),),
                              pump_m3_h=float(rng.uniform(20, 80))), on  # fmt: skip
    if kind == 13:
        return change(data, name, gauge=[None, "hill"][int(rng.integers(0, 2))]), on
    if kind == 15:
        entry = FieldEntry(
            block_id=number, date=day(int(rng.integers(-25, 10))), kind="feed",
            n_kg_ha=float(rng.integers(0, 50)), done=bool(rng.random() < 0.7),
        )  # fmt: skip
        return dataclasses.replace(data, field_entries=(*data.field_entries, entry)), on
    if kind == 16:
        days = f"{int(rng.integers(1, 30))}, 45, {int(rng.integers(100, 170))}"
        return change_orchard(data, spray_days=days, dry_after_h=float(rng.integers(0, 60)),
                              feed_rain_mm=float(rng.integers(1, 40))), on  # fmt: skip
    if kind == 17:
        return change(data, name, feed_days=str(int(rng.integers(150, 170))), system="overhead"), on
    if kind == 18:
        lies = {"slope_pct": float(rng.uniform(5, 40)), "aspect_deg": float(rng.integers(0, 360))}
        return change_orchard(change(data, name, **lies), sun_on_slope=bool(rng.integers(0, 2))), on
    if kind == 30:
        out = day(int(rng.integers(-2, 8)))
        pumps = (Pump(name="River", flow_m3_h=float(rng.integers(20, 60)), out_from=out),)
        data = change(data, name, pump=str(rng.choice(["river", "Lake"])),
                      pressure_group=str(rng.choice(["low", "high"])),
                      intake_mm_h=float(rng.uniform(1, 8)))  # fmt: skip
        data = change_orchard(data, pumps=pumps, right_m3_week=float(rng.integers(50, 900)),
                              people=2, minutes_a_valve=float(rng.integers(5, 600)))  # fmt: skip
        return change_orchard(data, tank_m3=200.0, tank_fill_m3_h=float(rng.integers(0, 20))), on
    if kind == 40:
        data = change(data, name, trees=None, flow_m3_h=None, outlet_l_h=60.0, spacing_m=4.0,
                      pattern="square")  # fmt: skip
        mark = TreeMark(block_id=number, row=1, number=int(rng.integers(1, 9)), state="missing",
                        date=day(int(rng.integers(-9, 9))))  # fmt: skip
        return dataclasses.replace(data, tree_marks=(*data.tree_marks[-3:], mark)), on
    blocks = list(data.orchard.blocks)
    rng.shuffle(blocks)
    return change_orchard(data, blocks=tuple(blocks)), on


def edited_again_and_again(kinds, seed):
    rng = np.random.default_rng(seed)
    data = farm(
        block("A", 1), block("B", 2, system="micro", soil="loam"), block("C", 3, cycles=()),
        records={"Gate": record(day(-40))},
    )  # fmt: skip
    cache, on = season.Cache(), MONDAY
    season.run(data, on, cache=cache)
    for kind in kinds:
        data, on = random_edit(data, rng, on, kind)
        same(season.run(data, on, cache=cache), season.run(data, on))


@pytest.mark.parametrize("kind", EDITS)
def test_a_season_with_a_cache_is_the_season_without_after_each_kind_of_edit(kind):
    edited_again_and_again([kind] * 4, seed=kind)


@settings(max_examples=10, deadline=None)
@given(st.lists(st.sampled_from(EDITS), min_size=2, max_size=6), st.integers(0, 2**32 - 1))
def test_a_season_with_a_cache_is_the_season_without_after_any_edits(kinds, seed):
    edited_again_and_again(kinds, seed)


def test_an_earlier_season_stays_as_it_was_when_the_next_is_run():
    data, cache = farm(block("A", 1), block("B", 2)), season.Cache()
    first = season.run(data, cache=cache)
    before = first.account.dr_mm.copy(), first.drivers.irrigation_mm.copy()
    season.run(change(data, "A", kc_factor=1.2), cache=cache)
    np.testing.assert_array_equal(first.account.dr_mm, before[0])
    np.testing.assert_array_equal(first.drivers.irrigation_mm, before[1])
