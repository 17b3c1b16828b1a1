"""Blocks short of water, each judged in its own stage, and the alarm on the right morning."""

import datetime as dt

import numpy as np
import pytest
from orchard_samples import block, day, farm, handed_out, pruned, record

from waterbudget import season, sheet, stress
from waterbudget.orchard import ALL_STAGES
from waterbudget.records import Pin, Ran

FULL = day(-14)
"""Evening the block was known full; 3.8 mm a day then leaves 15.2 mm missing on the fifth morning
after it, past 11.76 mm of easy water (hand calculation)."""

FIRST_SHORT = day(5, FULL)
RESTING = 300  # days from pruning at 24 degC: rest began 75 days ago


def dry_farm(days_from_pruning, on=day(0), **changed):
    """Sandy loam under drip that nobody watered since ``FULL``."""
    fields = {
        "kc_fixed": 1.0, "root_depth_m": 0.8, "full_on": FULL,
        "cycles": pruned(days_from_pruning, on),
    } | changed  # fmt: skip
    ends = on - dt.timedelta(days=1)
    began = min(fields["full_on"], FULL)
    return farm(block(**fields), records={"Gate": record(began, ends, et0=3.8)})


def judged(days_from_pruning, on=day(0), **changed):
    run = season.run(dry_farm(days_from_pruning, on, **changed), on)
    return run, run.block("Ridge").dryness


def test_twelve_dry_days_in_fruit_fill_ring_the_alarm_on_the_right_morning():
    run, found = judged(170)
    assert run.stage(run.block("Ridge")) == run.stage(run.block("Ridge"), FIRST_SHORT) == "fill"
    assert found.in_fill and found.dry and found.alarm and not found.allowed_dry
    assert found.first_dry_day == FIRST_SHORT
    assert found.dry_days_so_far == (day(0) - FIRST_SHORT).days + 1 == 10
    assert found.days_if_nothing_runs == found.days_as_planned == 0


def test_the_same_dry_days_in_rest_are_no_alarm():
    run, found = judged(RESTING)
    assert run.stage(run.block("Ridge")) == "rest"
    assert found.dry and found.allowed_dry and not found.alarm and not found.in_fill
    assert found.first_dry_day > FIRST_SHORT  # rest may use 60 %


@pytest.mark.parametrize("days", range(4, 8))
def test_morning_by_morning(days):
    """On the fourth morning nothing is wrong yet and a day is left; on the fifth it is."""
    on = day(days, FULL)
    _, found = judged(170, on)
    assert found.dry == (on >= FIRST_SHORT)
    assert found.days_if_nothing_runs == max(0, (FIRST_SHORT - on).days)
    assert found.dry_days_so_far == max(0, (on - FIRST_SHORT).days + 1)
    assert found.alarm == (on >= FIRST_SHORT)  # before it the planned watering still helps


def test_bloom_set_and_lag_past_their_limit_are_dry_but_no_fruit_fill_alarm():
    for days, name in ((60, "bloom"), (100, "set"), (143, "lag")):
        run, found = judged(days)
        assert run.stage(run.block("Ridge")) == name
        assert found.dry and not found.alarm and not found.allowed_dry
        codes = sheet.flags(run, run.block("Ridge"))
        assert ("dry" if name == "lag" else f"dry_in_{name}") in codes
        assert "dry_in_fill" not in codes


def test_a_dry_down_on_purpose_is_no_alarm():
    run, found = judged(170, dry_until=day(10))
    assert found.dry and found.allowed_dry and not found.alarm
    assert "dry_allowed" in sheet.flags(run, run.block("Ridge"))
    _, over = judged(170, dry_until=day(-1))
    assert over.alarm and not over.allowed_dry


def test_dry_within_the_week_as_planned_is_forecast():
    """Everything pinned shut: the limit is passed in two days, and that is an alarm today."""
    data = dry_farm(170, full_on=day(-3))
    shut = tuple(Pin(1, day(d), 0.0) for d in range(7))
    watered = season.run(data).block("Ridge").dryness
    run = season.run(farm(*data.orchard.blocks, records=data.records, pins=shut))
    found = run.block("Ridge").dryness
    assert not watered.alarm and watered.days_as_planned is None
    assert found.alarm and not found.dry
    assert found.days_as_planned == found.days_if_nothing_runs == 2
    assert found.first_dry_day == day(2)


def test_a_block_about_to_enter_fruit_fill_dry_is_an_alarm():
    """In lag today, past the limit on a morning of the week that is fruit fill already."""
    data = dry_farm(146, full_on=day(-3))
    shut = tuple(Pin(1, day(d), 0.0) for d in range(7))
    run = season.run(farm(*data.orchard.blocks, records=data.records, pins=shut))
    found = run.block("Ridge").dryness
    assert run.stage(run.block("Ridge")) == "lag" and not found.in_fill
    assert run.stage(run.block("Ridge"), day(5)) == "fill"
    assert found.alarm


def test_days_dry_are_counted_within_the_present_stage():
    run, found = judged(151, full_on=day(-20))
    clock = run.block("Ridge").clock
    began = clock.cycles[0].starts["fill"]
    assert day(-3) <= began <= day(0)
    assert found.dry_days_so_far == (day(0) - began).days + 1
    assert found.first_dry_day < began


def test_water_past_the_roots_is_told_before_and_ahead():
    data = dry_farm(170, full_on=day(-3))
    wet = farm(*data.orchard.blocks, records=data.records, ran=(Ran(1, day(-1), m3=300.0),),
               pins=(Pin(1, day(2), 12.0),))  # fmt: skip
    found = season.run(wet).block("Ridge").dryness
    assert found.drained_mm == pytest.approx(300 * 0.9 / 10 - 7.6 + 3.8, abs=4)
    assert found.drains_mm > 5
    assert "drained" in sheet.flags(season.run(wet), season.run(wet).block("Ridge"))


def test_a_dry_then_wet_swing_is_told_in_fruit_fill_only():
    """40 % of 33.6 mm are 13.4: more than 20 mm missing, then filled in one go."""

    def swings(days_from_pruning, full_on, hours):
        data = dry_farm(days_from_pruning, full_on=full_on)
        ran = (Ran(1, day(-2), hours=hours),)
        run = season.run(farm(*data.orchard.blocks, records=data.records, ran=ran))
        return run.block("Ridge").dryness

    filled = swings(170, day(-9), 12.0)
    assert filled.sudden and filled.swing_mm > 13.4 and filled.swing_share > 0.40
    assert not swings(100, day(-9), 12.0).sudden
    assert not swings(170, day(-4), 4.0).sudden


def test_a_day_known_full_is_no_swing():
    _, found = judged(170, full_on=day(-2))
    assert not found.sudden
    assert found.swing_mm < 13


def test_the_largest_change_within_three_days():
    evenings = np.array([0.0, 4.0, 8.0, 12.0, 2.0, 2.0])
    assert stress.largest_swing(evenings) == 12.0
    assert stress.largest_swing(evenings, days=1) == 10.0
    assert stress.largest_swing(evenings[:1]) == 0.0
    assert stress.largest_swing(evenings[:2]) == 4.0


def test_the_limit_is_passed_by_more_than_rounding():
    starts, limits = np.array([10.0, 10.0005, 10.01, 11.0]), np.full(4, 10.0)
    assert stress.short_mornings(starts, limits).tolist() == [False, False, True, True]


def test_fruit_fill_comes_first_then_bloom_and_set():
    cycles = {"Rest": RESTING, "Set": 100, "Fill": 170, "Shoots": 30, "Bloom": 60}
    blocks = [
        block(name, k + 1, kc_fixed=1.0, root_depth_m=0.8, full_on=FULL, cycles=pruned(ago))
        for k, (name, ago) in enumerate(cycles.items())
    ]
    run = season.run(farm(*blocks, records={"Gate": record(et0=3.8)}))
    listed = [r["block"] for r in sheet.dry(run)]
    assert listed[0] == "Fill"
    assert set(listed[1:3]) == {"Bloom", "Set"}
    assert set(listed[3:]) == {"Shoots", "Rest"}
    order = [stress.order(s) for s in ("fill", "bloom", "set", "lag", "rest")]
    assert order == sorted(order) and order[0] < order[1] == order[2] < order[3]


def test_water_put_back_ends_the_alarm():
    data = dry_farm(170)
    run = season.run(data)
    week = handed_out(run)
    assert week.sets
    watered = farm(*data.orchard.blocks, records=data.records,
                   ran=(Ran(1, day(-1), hours=12.0),))  # fmt: skip
    found = season.run(watered).block("Ridge").dryness
    assert not found.dry and not found.alarm
    assert found.dry_days_so_far == 9  # they did happen


def test_every_stage_has_a_place_in_the_judgement():
    quiet = np.zeros(10)
    for index, name in enumerate(ALL_STAGES):
        found = stress.judge(
            on_index=3, first=day(-3), stage=np.full(10, index, dtype=np.int8),
            dr_start_mm=np.full(10, 20.0), dr_mm=np.full(10, 20.0), limit_mm=np.full(10, 10.0),
            taw_mm=np.full(10, 40.0), drainage_mm=quiet, water_mm=quiet, correction_mm=quiet,
            dr_dry_mm=np.full(30, 20.0), limit_ahead_mm=np.full(30, 10.0), dry_until=None,
        )  # fmt: skip
        assert found.dry
        assert found.alarm == (name == "fill")
        assert found.allowed_dry == (name == "rest")
        assert found.first_dry_day == day(-3)
