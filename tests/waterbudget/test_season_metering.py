"""What the meters measured is what the balance counts: sums, sharing, and what was known when."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard_samples import MONDAY, block, day, farm, handed_out, ran

from waterbudget import season
from waterbudget.records import MeterReading
from waterbudget.season import metering


def dial(date, m3, number=1, **more):
    dials = {"block_id": number, "date": date, "m3": m3, "id": 1000 + date.toordinal()}
    return MeterReading(**{**dials, **more})


def m3_of(data, on=MONDAY):
    return {(r.block_id, r.date): r.m3 for r in metering.with_meters(data, on).ran}


def test_nothing_without_readings_and_nothing_with_one():
    data = farm(block(), ran=(ran(1, day(-3), hours=2),))
    assert metering.with_meters(data, MONDAY) is data
    one = replace(data, meter_readings=(dial(day(-3), 77.0),))
    assert metering.with_meters(one, MONDAY).ran == data.ran


def test_a_watering_on_the_day_of_the_first_reading_is_before_it():
    data = farm(
        block(), ran=(ran(1, day(-5), hours=2), ran(1, day(-3), hours=2)),
        meter_readings=(dial(day(-5), 100.0), dial(day(-3), 130.0)),
    )  # fmt: skip
    assert m3_of(data) == {(1, day(-5)): None, (1, day(-3)): 30.0}


def test_m3_entered_between_two_readings_weigh_as_they_are():
    data = farm(
        block(), ran=(ran(1, day(-4), hours=1), ran(1, day(-3), m3=60.0)),
        meter_readings=(dial(day(-5), 0.0), dial(day(-2), 40.0)),
    )  # fmt: skip
    assert m3_of(data) == pytest.approx({(1, day(-4)): 10.0, (1, day(-3)): 30.0})


def test_counting_begins_anew_where_the_reading_says_so():
    readings = (dial(day(-5), 900.0), dial(day(-3), 5.0, starts_new=True), dial(day(-2), 45.0))
    data = farm(block(), ran=(ran(1, day(-4), hours=1), ran(1, day(-2), hours=1)),
                meter_readings=readings)  # fmt: skip
    assert m3_of(data) == {(1, day(-4)): None, (1, day(-2)): 40.0}


def test_on_an_earlier_morning_a_later_reading_was_not_known():
    data = farm(
        block(), ran=(ran(1, day(-4), hours=2),),
        meter_readings=(dial(day(-5), 0.0), dial(day(-2), 20.0)),
    )  # fmt: skip
    for on, wanted in ((day(-2), 40.0), (day(-1), 20.0)):
        past = season.run(data, on).block("Ridge").past
        assert past[-1].m3 == pytest.approx(wanted)


def test_the_meter_confirms_what_was_handed_out():
    data = farm(block())
    week = handed_out(season.run(data, day(-7)))
    readings = (dial(day(-8), 0.0), dial(day(-1), 0.75 * sum(s.m3 for s in week.sets)))
    metered = replace(data, given=(week,), meter_readings=readings)
    past = season.run(metered, MONDAY).block("Ridge").past
    assert {s.state for s in past} == {"ran"} and all(s.timed for s in past)
    for s, was in zip(past, sorted(week.sets, key=lambda s: s.date), strict=True):
        assert (s.hours, s.m3) == (was.hours, pytest.approx(0.75 * was.m3))


@settings(deadline=None, max_examples=60)
@given(
    hours=st.lists(st.tuples(st.integers(1, 2), st.integers(1, 20), st.floats(0.25, 12)),
                   min_size=1, max_size=14),
    dials=st.lists(st.tuples(st.integers(0, 21), st.floats(0, 400)), min_size=2, max_size=6,
                   unique_by=lambda d: d[0]),
    shared=st.booleans(),
)  # fmt: skip
def test_what_ran_adds_up_to_the_meter(hours, dials, shared):
    """Whatever is entered: between first and last reading the sum of what ran is the dial's."""
    name = {"meter": "both"} if shared else {}
    blocks = (block("Ridge", 1, **name), block("Low", 2, flow_m3_h=12.0, **name))
    total, readings = 0.0, []
    for back, m3 in sorted(dials, reverse=True):
        total += m3
        readings.append(dial(day(-back), total))
    entries = tuple(ran(number, day(-back), hours=h) for number, back, h in hours)
    data = farm(*blocks, ran=entries, meter_readings=tuple(readings))
    first, last = readings[0], readings[-1]
    counted = metering.with_meters(data, MONDAY).ran
    mine = [r for r in counted if (shared or r.block_id == 1) and first.date < r.date <= last.date]
    known = last.date < MONDAY
    if known:
        assert sum(r.m3 or 0.0 for r in mine) == pytest.approx(last.m3 - first.m3, abs=1e-6)
    others = [r for r in counted if not shared and r.block_id == 2]
    assert all(r.m3 is None for r in others)
    assert [(r.block_id, r.date, r.hours) for r in counted[: len(entries)]] == [
        (r.block_id, r.date, r.hours) for r in entries
    ]


def test_kept_between_runs_it_follows_every_change():
    both = (block(meter="M"), block("Low", 2, meter="M"))
    data = farm(
        *both, ran=(ran(1, day(-4), hours=2), ran(2, day(-4), hours=2)),
        meter_readings=(dial(day(-5), 0.0), dial(day(-2), 20.0)),
    )  # fmt: skip
    other_flow = (both[0], block("Low", 2, meter="M", flow_m3_h=10.0))
    changes = [
        data, data, replace(data, orchard=replace(data.orchard, blocks=other_flow)),
        replace(data, ran=(*data.ran, ran(1, day(-3), hours=2))),
        replace(data, meter_readings=(dial(day(-5), 0.0), dial(day(-2), 30.0))),
    ]  # fmt: skip
    cache = season.Cache()
    for on in (MONDAY, day(-3), MONDAY):
        for changed in changes:
            kept, fresh = season.run(changed, on, cache=cache), season.run(changed, on)
            for name in ("Ridge", "Low"):
                assert kept.block(name).past == fresh.block(name).past
