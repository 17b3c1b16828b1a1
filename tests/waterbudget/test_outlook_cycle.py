"""Dates of a cycle: as a range over past years, beside the day count and what was seen."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import numpy as np
import pytest
from orchard_samples import block, farm

from waterbudget import season
from waterbudget.orchard import Block, Cycle
from waterbudget.outlook import (
    EVENTS,
    CycleOutlook,
    clock_habit,
    clock_misses,
    cycle_outlook,
    week_spread,
)
from waterbudget.records import Reading
from waterbudget.weather import COLUMNS, DailyRecord

ON = dt.date(2026, 3, 2)
PRUNED = dt.date(2026, 1, 1)


def steady(mean_c: float, years: int = 0, **by_year: float) -> DailyRecord:
    """Like days, from so many years before the pruning on; some years may be warmer or cooler."""
    first = dt.date(PRUNED.year - years, 1, 1)
    n = (ON - first).days
    values = {name: np.full(n, np.nan) for name in COLUMNS}
    dates = [first + dt.timedelta(days=i) for i in range(n)]
    mean = np.array([by_year.get(f"y{d.year}", mean_c) for d in dates])
    values["tmax_c"], values["tmin_c"] = mean + 5.0, mean - 5.0
    values["et0_given_mm"][:], values["rain_mm"][:] = 4.0, 0.0
    return DailyRecord(first, values)


def outlook(record: DailyRecord, *cycles: Cycle, **changed: Any) -> CycleOutlook:
    one = block("Ridge", cycles=cycles or (Cycle(PRUNED),), **changed)
    run = season.run(farm(one, records={"Gate": record}), ON)
    found = cycle_outlook(run, run.block("Ridge"))
    assert found is not None
    return found


def days(found: CycleOutlook, stage: str) -> tuple[int | None, ...]:
    """Days from pruning: as counted, earliest, latest."""
    s = found.stage(stage)
    return tuple(
        (d - found.cycle.pruned_on).days if d is not None else None
        for d in (s.date, s.earliest, s.latest)
    )


@pytest.mark.parametrize(
    ("mean", "bloom", "second", "harvest"),
    [(24.0, (69, 71), 182, 182), (20.0, (93, 93), 228, 247), (26.0, (61, 61), 165, 160),
     (22.0, (79, 79), 202, 209)],
)  # fmt: skip
def test_at_an_even_temperature_both_models_make_the_range(
    mean: float, bloom: tuple[int, int], second: int, harvest: int
) -> None:
    """Days from pruning as the published degree-hours give them."""
    found = outlook(steady(mean, 1))
    assert bloom[0] <= (days(found, "full_bloom")[0] or 0) <= bloom[1]
    date, earliest, latest = days(found, "harvest")
    assert date == pytest.approx(harvest, abs=1)
    assert (earliest, latest) == pytest.approx((min(second, harvest), max(second, harvest)), abs=1)
    assert found.cool_c is None


def test_the_range_is_what_past_years_would_make_of_the_days_to_come() -> None:
    """From today on at 28 degC, and at 20: model B alone, for bloom was seen and fill."""
    found = outlook(steady(24.0, 3, y2023=20.0, y2024=28.0))
    assert found.years == (2023, 2024, 2025)
    _, early, late = days(found, "fill")
    warm = days(outlook(steady(24.0, 2, y2024=28.0)), "fill")
    cold = days(outlook(steady(24.0, 3, y2023=20.0)), "fill")
    assert (early, late) == (warm[1], cold[2])
    assert early is not None and late is not None and late - early > 30


@pytest.mark.parametrize("stage", ["full_bloom", "fill", "harvest"])
def test_more_years_only_widen_the_range(stage: str) -> None:
    temperatures = {"y2021": 21.5, "y2022": 25.0, "y2023": 20.5, "y2024": 28.0, "y2025": 23.0}
    before: tuple[int, int] | None = None
    for years in range(1, 6):
        known = steady(24.0, years, **temperatures)
        _, early, late = days(outlook(known), stage)
        assert early is not None and late is not None
        if before is not None and years > 2:
            assert early <= before[0] and late >= before[1]
        before = early, late
    assert before is not None and before[1] - before[0] > 4


def test_what_is_past_by_the_record_is_no_range() -> None:
    found = outlook(steady(24.0, 2, y2024=28.0))
    assert days(found, "shoots") == (14, None, None)


def test_without_a_past_year_only_the_two_models_differ() -> None:
    found = outlook(steady(20.0))
    assert found.years == ()
    assert days(found, "fill")[1:] == (None, None)
    assert None not in days(found, "harvest")


def test_a_year_with_too_many_holes_is_not_tried() -> None:
    record = steady(24.0, 2)
    for name in ("tmax_c", "tmin_c"):
        record.values[name][60:120] = np.nan  # March and April 2024
    assert outlook(record).years == (2025,)


def test_seen_dates_stand_and_carry_the_rest_with_them() -> None:
    seen = dt.date(2026, 2, 25)
    plain, found = (
        outlook(steady(24.0, 2, y2025=22.0), c) for c in (Cycle(PRUNED), Cycle(PRUNED, seen))
    )
    bloom = found.stage("bloom")
    assert (bloom.seen, bloom.date, bloom.earliest, bloom.latest) == (seen, seen, None, None)
    assert bloom.clock == plain.stage("bloom").date == PRUNED + dt.timedelta(days=50)
    later = (days(found, "fill")[0] or 0) - (days(plain, "fill")[0] or 0)
    assert later == pytest.approx(5, abs=1)
    assert found.stage("fill").clock == plain.stage("fill").date


def test_the_day_count_is_the_plain_table_whatever_the_weather() -> None:
    for mean in (20.0, 27.0):
        found = outlook(steady(mean, 1))
        count = {s.stage: (s.day_count - PRUNED).days for s in found.stages if s.day_count}
        assert count == {"shoots": 14, "bloom": 50, "full_bloom": 70, "set": 80, "lag": 136,
                         "fill": 150, "harvest": 182, "rest": 225}  # fmt: skip
        assert tuple(count) == EVENTS


def test_a_cool_month_ahead_is_told() -> None:
    assert outlook(steady(18.5, 1)).cool_c == pytest.approx(18.5)
    assert outlook(steady(19.5, 1)).cool_c is None
    assert outlook(steady(24.0, 1), elevation_m=1800.0).cool_c == pytest.approx(24.0 - 5.85)


def test_a_higher_block_is_later_in_every_year() -> None:
    low, high = (outlook(steady(24.0, 2, y2024=26.0), elevation_m=h) for h in (900.0, 1300.0))
    for stage in ("full_bloom", "fill", "harvest"):
        pair = [days(found, stage) for found in (low, high)]
        assert all(a is not None and b is not None and a < b for a, b in zip(*pair, strict=True))


def test_two_blocks_pruned_sixty_days_apart_and_one_changed() -> None:
    def dates(first: dt.date, second: dt.date) -> list[dict[str, Any]]:
        two = (block("Ridge", 1, cycles=(Cycle(first),)), block("Foot", 2, cycles=(Cycle(second),)))
        run = season.run(farm(*two, records={"Gate": steady(24.0, 1)}), ON)
        return [
            {s.stage: s.date for s in found.stages}
            for b in run.blocks if (found := cycle_outlook(run, b)) is not None
        ]  # fmt: skip

    early, late = PRUNED - dt.timedelta(days=60), PRUNED
    ridge, foot = dates(early, late)
    assert (foot["harvest"] - ridge["harvest"]).days == pytest.approx(60, abs=1)
    moved, same = dates(early - dt.timedelta(days=10), late)
    assert same == foot
    assert moved["harvest"] < ridge["harvest"]


def test_a_block_never_pruned_has_no_dates() -> None:
    run = season.run(farm(block(cycles=())))
    assert cycle_outlook(run, run.block("Ridge")) is None
    assert clock_habit(run.block("Ridge")) is None


# ---------------------------------------------------------------- what the clock missed before


def habit(*off: int | None) -> tuple[list[int], Any]:
    """Cycles of 300 days at 24 degC; bloom seen so many days after the clock's day 50."""
    starts = [ON - dt.timedelta(days=300 * (len(off) - k) - 20) for k in range(len(off))]
    cycles = tuple(
        Cycle(s, s + dt.timedelta(days=50 + d) if d is not None else None)
        for s, d in zip(starts, off, strict=True)
    )
    run = season.run(farm(_with(cycles), records={"Gate": steady(24.0, 4)}), ON)
    found = run.block("Ridge")
    return [m.days for m in clock_misses(found)], clock_habit(found)


def _with(cycles: tuple[Cycle, ...]) -> Block:
    return block("Ridge", cycles=cycles, planted_on=None)


@pytest.mark.parametrize(
    ("off", "code", "fields"),
    [
        ((6, 6, None), "cycle.clock_early", {"days": 6, "cycles": 2}),
        ((8, 4, None), "cycle.clock_early", {"days": 6, "cycles": 2}),
        ((-6, -4, None), "cycle.clock_late", {"days": 5, "cycles": 2}),
        ((-6, 4, None), "cycle.clock_mixed", {"days": 6, "cycles": 2}),
        ((1, -2, None), "cycle.clock_held", {"cycles": 2}),
        ((20, 5, 5, 5), "cycle.clock_early", {"days": 5, "cycles": 3}),
    ],
)
def test_the_clocks_habit_in_the_last_cycles(
    off: tuple[int | None, ...], code: str, fields: dict[str, int]
) -> None:
    misses, note = habit(*off)
    assert misses == [d for d in off if d is not None]
    assert (note.code, note.fields) == (code, fields)


def test_a_cycle_from_before_the_record_says_nothing_of_the_clock() -> None:
    old = ON - dt.timedelta(days=70)
    record = steady(24.0)
    short = DailyRecord(ON - dt.timedelta(days=10),
                        {k: v[-10:] for k, v in record.values.items()})  # fmt: skip
    one = _with((Cycle(old, old + dt.timedelta(days=58)),))
    run = season.run(farm(one, records={"Gate": short}), ON)
    assert clock_misses(run.block("Ridge")) == ()


# ---------------------------------------------------------------- the week's edges with a reading


def test_the_edges_of_the_week_know_this_mornings_reading() -> None:
    data = farm(block(full_on=ON - dt.timedelta(days=4)))
    read = dataclasses.replace(data, readings=(Reading(1, ON, "field", 25.0),))
    run = season.run(read)
    same = week_spread(run, 0, et0_share=0.0, hours_share=0.0)
    np.testing.assert_allclose(same.dry_end_mm, run.account.dr_mm[run.on_index :, 0], atol=1e-12)
