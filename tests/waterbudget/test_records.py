"""The snapshot of a farm, and what of it was known in the morning of a day."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from orchard_samples import FIRST, MONDAY, block, day, farm, forecast, record

from waterbudget.orchard import Cycle, Orchard
from waterbudget.records import FarmData, GivenSet, GivenWeek, Pin, Ran
from waterbudget.weather import DailyRecord, Day

SIX = dt.time(6)


def week(number, first):
    at = dt.datetime.combine(first, dt.time(6, 30))
    return GivenWeek(number, first, at, (GivenSet(1, first, SIX, 2.0, 4.0, 40.0),))


def everything():
    """A farm with something dated before, on and after ``MONDAY`` of every kind."""
    cycles = (
        Cycle(day(-300), seen_bloom=day(-240), harvest_end=day(-80)),
        Cycle(day(-60), seen_bloom=day(-1), seen_set=day(0), seen_fill=day(5)),
        Cycle(day(3)),
    )
    return farm(
        block(cycles=cycles, full_on=day(-1)), block("Gully", 2, full_on=MONDAY),
        records={"Gate": record(last=day(5)), "Late": record(first=day(1), last=day(5))},
        forecasts={"Gate": (*forecast(day(-2)), *forecast(MONDAY), *forecast(day(1)))},
        rain_typed={"farm": {day(-1): 4.0, MONDAY: 5.0, day(1): 6.0}},
        ran=tuple(Ran(1, day(k), hours=2.0) for k in range(-3, 3)),
        given=(week(1, day(-7)), week(2, MONDAY), week(3, day(7))),
        pins=(Pin(1, day(2), 3.0),),
    )  # fmt: skip


def dates_in(data):
    found = [r.last for r in data.records.values()]
    found += [r.date for r in data.ran]
    found += [d for days in data.rain_typed.values() for d in days]
    for one in data.orchard.blocks:
        found += [one.full_on] if one.full_on else []
        for cycle in one.cycles:
            seen = [getattr(cycle, f.name) for f in dataclasses.fields(cycle)][1:]
            found += [d for d in seen if d is not None]
    return found


def test_nothing_dated_on_the_day_or_later_is_known_that_morning():
    known = everything().as_known_on(MONDAY)
    assert all(d < MONDAY for d in dates_in(known))
    assert set(known.records) == {"Gate"}
    assert len(known.ran) == 3
    assert [w.number for w in known.given] == [1, 2]  # this morning's is on the paper already


def test_forecasts_issued_later_are_not_known_and_earlier_ones_are_whole():
    known = everything().as_known_on(MONDAY)
    issued = {f.issued for f in known.forecasts["Gate"]}
    assert issued == {day(-2), MONDAY}
    assert max(f.day.date for f in known.forecasts["Gate"]) == day(6)


def test_the_running_cycle_stays_without_what_was_not_seen_yet():
    known = everything().as_known_on(MONDAY).orchard.block("Ridge")
    assert [c.pruned_on for c in known.cycles] == [day(-300), day(-60)]
    assert known.cycles[0].harvest_end == day(-80)
    assert known.cycles[1] == Cycle(day(-60), seen_bloom=day(-1))
    assert known.full_on == day(-1)
    assert everything().as_known_on(MONDAY).orchard.block("Gully").full_on is None


def test_what_is_planned_stays():
    known = everything().as_known_on(MONDAY)
    assert known.pins == everything().pins


@given(st.integers(-330, 20), st.integers(0, 40))
def test_knowing_less_and_then_less_is_knowing_least(days, further):
    """An earlier morning sees the same whether the later one was looked at before or not."""
    data = everything()
    early, late = day(days), day(days + further)
    at_once, by_steps = data.as_known_on(early), data.as_known_on(late).as_known_on(early)
    assert at_once.orchard == by_steps.orchard
    assert at_once.ran == by_steps.ran and at_once.given == by_steps.given
    assert at_once.rain_typed == by_steps.rain_typed
    assert at_once.forecasts == by_steps.forecasts
    assert at_once.records.keys() == by_steps.records.keys()
    assert all(d < early for d in dates_in(at_once))
    assert all(w.first <= early for w in at_once.given)


def test_a_day_past_everything_changes_nothing():
    data = farm(block(), ran=(Ran(1, day(-2), hours=1.0),))
    known = data.as_known_on(MONDAY)
    assert known.orchard == data.orchard and known.ran == data.ran
    assert known.records["Gate"] is data.records["Gate"]


def test_the_last_day_of_record():
    assert everything().last_day() == day(5)
    assert farm(block(), records={}).last_day() is None
    typed = farm(block(), records={}, rain_typed={"farm": {day(-4): 0.0}, "Hill": {day(-2): 1.0}})
    assert typed.last_day() == day(-2)
    assert FarmData(orchard=typed.orchard, rain_typed={"farm": {}}).last_day() is None


def test_a_gauge_is_found_however_it_is_typed():
    data = farm(block(), rain_typed={"Hill Top": {MONDAY: 3.0}})
    assert data.gauge_days(" hill  top ") == {MONDAY: 3.0}
    assert data.gauge_days("valley") == {}


def test_a_record_is_unbroken_and_knows_its_holes():
    days = [
        Day(day(2), {"rain_mm": 3.0}, ("rain_doubtful",)), Day(MONDAY, {"tmax_c": 30.0}),
    ]  # fmt: skip
    found = DailyRecord.from_days(days)
    assert (found.first, found.last, len(found)) == (MONDAY, day(2), 3)
    assert found.day(MONDAY) == {"tmax_c": 30.0}
    assert found.day(day(1)) == {} == found.day(day(9))
    assert found.flags == {day(2): ("rain_doubtful",)}
    assert DailyRecord.from_days([]) is None


@pytest.mark.parametrize("days", [0, 1, 2, 3, 50])
def test_a_record_before_a_day(days):
    whole = record(FIRST, FIRST + dt.timedelta(days=2), rain={FIRST: 1.0})
    cut = whole.before(FIRST + dt.timedelta(days=days))
    if days == 0:
        assert cut is None
        return
    assert len(cut) == min(days, 3)
    assert cut.last < FIRST + dt.timedelta(days=days)
    np.testing.assert_array_equal(cut.values["rain_mm"], whole.values["rain_mm"][:days])


def test_rain_typed_this_morning_counts_today_but_not_in_a_past_view():
    today = dt.date(2025, 7, 14)
    record = DailyRecord.from_days(
        [Day(today - dt.timedelta(days=i), {"rain_mm": 0.0}) for i in (1, 2)]
    )
    orchard = Orchard(name="f", lat=-19.9, lon=32.7, epsg=32736)
    data = FarmData(orchard, records={"s": record}, rain_typed={"farm": {today: 12.0}})
    assert data.as_known_on(today).rain_typed == {"farm": {today: 12.0}}
    yesterday = today - dt.timedelta(days=1)
    past = FarmData(orchard, records={"s": record}, rain_typed={"farm": {yesterday: 5.0}})
    assert past.as_known_on(yesterday).rain_typed == {"farm": {}}
