"""What a season says beside its numbers: how far off the week may be, and whether the clock holds.

Reference ET is good to about 10 % where it is measured and to less where days are forecast,
filled or stand in (``StationDays.band_pct``), and the depth a valve gives to about 20 % (own
estimate: wind that is assumed, an uneven pressure, outlets that wear).  So the planned week of a
block is run twice more: with more taken and less given, and with less taken and more given.

The dates ahead of a cycle (:func:`cycle_outlook`) are a range: the clock runs on from today with
the temperatures of every past year on record, so the range can only widen with the years; for the
harvest the second opinion counted straight from pruning is in it too.  The plain day count and
what the clock alone says stand beside it.  How well the models fit where they were made (about
6 % of bloom to harvest, a week) is not in the range.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance, tables
from waterbudget.balance import RAIN_WETS_ALL_MM, State
from waterbudget.cycle import COOL_LIMIT_C, LAPSE_C_PER_M, CycleDates, run_clock
from waterbudget.errors import Note
from waterbudget.orchard import Cycle
from waterbudget.season import BlockSeason, Season
from waterbudget.sensors import FactorStep

Values = NDArray[np.float64]

ET0_SHARE = 0.10
HOURS_SHARE = 0.20
MONTH_DAYS = 30
FULL_BLOOM = "full_bloom"
EVENTS = ("shoots", "bloom", FULL_BLOOM, "set", "lag", "fill", "harvest", "rest")
FULL_BLOOM_DAY = 70  # 70.8 days over two years of prunings, guava, Kaohsiung: Acta Hort. 1166, 22
YEAR_KNOWN_SHARE = 0.8  # of the days still to come, for a past year to be tried
HABIT_CYCLES = 3
HELD_DAYS = 2.0  # off by no more: the clock held


@dataclass(frozen=True)
class Spread:
    """The depletion of one block over the days planned, between two edges.

    Attributes
    ----------
    dry_start_mm, dry_end_mm : ndarray, shape (planned days,)
        Morning and evening depletion with more taken and less given [mm].
    wet_start_mm, wet_end_mm : ndarray, shape (planned days,)
        With less taken and more given [mm].
    """

    dry_start_mm: Values
    dry_end_mm: Values
    wet_start_mm: Values
    wet_end_mm: Values


def week_spread(
    season: Season, column: int, *, et0_share: float | None = None,
    hours_share: float = HOURS_SHARE,
) -> Spread:  # fmt: skip
    """Run the planned week of one block drier and wetter.

    Parameters
    ----------
    season : Season
    column : int
        The block's column.
    et0_share, hours_share : float
        By how much reference ET and the depth of the waterings may be off [-]; that of
        reference ET day by day as its making says where it is left out.
    """
    i = season.on_index
    week = season.drivers.columns(np.array([column, column])).rows(slice(i, None))
    sides = np.array([1.0, -1.0])
    changed = replace(
        week,
        et0_mm=week.et0_mm * (1.0 + sides * _et0_share(season, column, et0_share)),
        irrigation_mm=week.irrigation_mm * (1.0 - sides * hours_share),
    )
    account, _ = balance.run(changed, _morning(season, column))
    return Spread(
        account.dr_start_mm[:, 0], account.dr_mm[:, 0],
        account.dr_start_mm[:, 1], account.dr_mm[:, 1],
    )  # fmt: skip


def _et0_share(season: Season, column: int, given: float | None) -> Values:
    """Return by how much each planned day's reference ET may be off, shape (days, 1)."""
    days = len(season.drivers.et0_mm) - season.on_index
    station = season.stations.get(season.blocks[column].station or "")
    if given is not None or station is None:
        return np.full((days, 1), ET0_SHARE if given is None else given)
    band = station.band_pct[season.on_index : season.on_index + days]
    return np.where(np.isfinite(band), band / 100.0, ET0_SHARE)[:, None]


def _morning(season: Season, column: int) -> State:
    """Return where the block stands in the morning looked at, twice."""
    i = season.on_index
    if i == 0:
        return State.full(2)
    drivers, account = season.drivers, season.account
    water = drivers.irrigation_mm[:i, column] > 0
    soaked = drivers.rain_mm[:i, column] >= RAIN_WETS_ALL_MM
    wetted = np.flatnonzero(water | soaked)
    after_rain = bool(soaked[wetted[-1]]) if len(wetted) else True
    return State(
        np.repeat(account.dr_mm[i - 1, column], 2), np.repeat(account.de_mm[i - 1, column], 2),
        np.repeat(after_rain, 2), np.repeat(drivers.taw_mm[i - 1, column], 2),
    )  # fmt: skip


def recent_mean_c(season: Season, block: BlockSeason) -> float | None:
    """Return the mean temperature at a block over the last 30 days; None where nothing is known.

    Parameters
    ----------
    season : Season
    block : BlockSeason
        At its own elevation where that and the station's are known.

    Returns
    -------
    float or None
        [degC]
    """
    days = season.stations.get(block.station or "")
    if days is None:
        return None
    i = season.on_index
    month = slice(max(0, i - MONTH_DAYS), i)
    means = (days.tmax_c[month] + days.tmin_c[month]) / 2
    if not np.isfinite(means).any():
        return None
    return float(np.nanmean(means)) + _shift_c(season, block)


def _shift_c(season: Season, block: BlockSeason) -> float:
    """How much warmer the block is than its station, by elevation [degC]."""
    if block.station is None or block.block.elevation_m is None:
        return 0.0
    station = season.orchard.station(block.station)
    low = station.elevation_m if station.elevation_m is not None else season.orchard.elevation_m
    return 0.0 if low is None else (block.block.elevation_m - low) * LAPSE_C_PER_M


def too_cool_for_clock(season: Season, block: BlockSeason) -> float | None:
    """Return the last month's mean [degC] where it lies below what the clock was fitted for."""
    mean = recent_mean_c(season, block)
    return mean if mean is not None and mean < COOL_LIMIT_C else None


@dataclass(frozen=True)
class StageDates:
    """When one stage of a cycle begins, by every reckoning there is.

    Attributes
    ----------
    stage : str
        A stage code, or ``full_bloom``: half of the branches in flower.
    date : datetime.date or None
        As counted: seen, else the clock run on from what was seen.
    earliest, latest : datetime.date or None
        Edges over the past years' temperatures; None where the date was seen, or nothing is known
        to make a range of.
    clock : datetime.date or None
        What the clock alone says, from pruning.
    day_count : datetime.date or None
        By the plain table of days, which holds at 24 degC.
    seen : datetime.date or None
    """

    stage: str
    date: dt.date | None
    earliest: dt.date | None
    latest: dt.date | None
    clock: dt.date | None
    day_count: dt.date | None
    seen: dt.date | None


@dataclass(frozen=True)
class CycleOutlook:
    """What is to be expected of the cycle a block is in.

    Attributes
    ----------
    years : tuple of int
        Past years whose temperatures were tried, by the year of today's date in them.
    harvest_second : datetime.date or None
        Start of harvest counted straight from pruning, as if nothing had been seen.
    cool_c : float or None
        Lowest mean of 30 days from the month before today to the harvest, where it lies below
        what the clock was fitted for [degC].
    """

    cycle: Cycle
    years: tuple[int, ...]
    stages: tuple[StageDates, ...]
    harvest_second: dt.date | None
    cool_c: float | None

    def stage(self, name: str) -> StageDates:
        """Return the dates of one stage."""
        return next(s for s in self.stages if s.stage == name)


def cycle_outlook(season: Season, block: BlockSeason) -> CycleOutlook | None:
    """Return the dates of the cycle a block is in; None where it was never pruned."""
    now = block.cycle(season.on)
    if now is None:
        return None
    alone = _again(block, Cycle(now.cycle.pruned_on))
    years = list(_past_years(season, block, now))
    other = [_again(block, now.cycle, season.on, *years_c) for _, *years_c in years]
    return CycleOutlook(
        cycle=now.cycle, years=tuple(year for year, *_ in years),
        stages=tuple(_stage_dates(event, season.on, now, alone, other) for event in EVENTS),
        harvest_second=now.harvest_second, cool_c=_coolest_c(season, block, now),
    )  # fmt: skip


def _again(
    block: BlockSeason, cycle: Cycle, on: dt.date | None = None, tmax_c: Values | None = None,
    tmin_c: Values | None = None,
) -> CycleDates:  # fmt: skip
    """Run the clock of one cycle again, from ``on`` with other temperatures."""
    clock = block.clock
    skip = max(0, (cycle.pruned_on - clock.first).days)
    first = clock.first + dt.timedelta(days=skip)
    high, low = clock.tmax_c[skip:].copy(), clock.tmin_c[skip:].copy()
    if on is not None and tmax_c is not None and tmin_c is not None:
        at = (on - first).days
        high[at : at + len(tmax_c)], low[at : at + len(tmin_c)] = tmax_c, tmin_c
    return run_clock((cycle,), first, high, low).cycles[0]


def _past_years(
    season: Season, block: BlockSeason, now: CycleDates
) -> Iterator[tuple[int, Values, Values]]:
    """Yield the temperatures of past years over the days to come, holes as the clock has them."""
    record = season.data.records.get(block.station or "")
    if record is None:
        return
    clock = block.clock
    at = (season.on - clock.first).days
    ahead = len(clock.tmax_c) - at
    wanted = min(ahead, _days_to_harvest(season.on, now) + MONTH_DAYS)
    tmax, tmin, mean = (record.values[c] for c in ("tmax_c", "tmin_c", "tmean_c"))
    sound, shift = tmax > tmin, _shift_c(season, block)  # as reference ET takes them
    known = [np.where(sound, own, mean) + shift for own in (tmax, tmin)]
    for year in range(record.first.year, season.on.year):
        same = season.on.replace(year=year, day=min(season.on.day, 28))
        begin = (same - record.first).days + season.on.day - min(season.on.day, 28)
        own = [clock.tmax_c[at:].copy(), clock.tmin_c[at:].copy()]
        heard = np.zeros(ahead, bool)
        for mine, theirs in zip(own, known, strict=True):
            low, high = max(0, -begin), min(ahead, len(theirs) - begin)
            if high > low:
                piece = theirs[begin + low : begin + high]
                mine[low:high] = np.where(np.isnan(piece), mine[low:high], piece)
                heard[low:high] = np.isfinite(piece)
        if heard[:wanted].mean() >= YEAR_KNOWN_SHARE:
            yield year, own[0], own[1]


def _days_to_harvest(on: dt.date, now: CycleDates) -> int:
    harvest = now.starts.get("harvest")
    return max(0, (harvest - on).days) if harvest is not None else 365


def _stage_dates(
    event: str, on: dt.date, now: CycleDates, alone: CycleDates, other: list[CycleDates]
) -> StageDates:
    date, seen = _begins(now, event), _seen(now.cycle, event)
    dates = [d for d in (date, *(_begins(o, event) for o in other)) if d is not None]
    if event == "harvest" and not {"fill", "harvest"} & set(now.seen):
        dates += [c.harvest_second for c in (now, *other) if c.harvest_second is not None]
    certain = seen is not None or date is None or (date < on and max(dates) < on)
    certain |= len(dates) < 2
    earliest = min(dates) if not certain else None
    if earliest is not None and date is not None and date >= on:
        earliest = max(earliest, on)  # it has not been seen yet
    return StageDates(
        stage=event, date=date, earliest=earliest, latest=None if certain else max(dates),
        clock=_begins(alone, event), day_count=_by_days(now.cycle, event), seen=seen,
    )  # fmt: skip


def _begins(dates: CycleDates, event: str) -> dt.date | None:
    return dates.full_bloom if event == FULL_BLOOM else dates.starts.get(event)


def _seen(cycle: Cycle, event: str) -> dt.date | None:
    return getattr(cycle, f"seen_{event}", None)


def _by_days(cycle: Cycle, event: str) -> dt.date | None:
    days = {row["stage"]: row["days_from"] for row in tables.read("stages")}
    count = FULL_BLOOM_DAY if event == FULL_BLOOM else int(days[event])
    return cycle.pruned_on + dt.timedelta(days=count)


def _coolest_c(season: Season, block: BlockSeason, now: CycleDates) -> float | None:
    """Lowest running mean of 30 days from the month before ``on`` to the harvest, if too low."""
    clock = block.clock
    at = (season.on - clock.first).days
    begin = max(0, at - MONTH_DAYS)
    end = min(len(clock.tmax_c), at + _days_to_harvest(season.on, now))
    means = (clock.tmax_c[begin:end] + clock.tmin_c[begin:end]) / 2
    if len(means) < MONTH_DAYS:
        return None
    sums = np.concatenate([[0.0], np.cumsum(means)])
    lowest = float(((sums[MONTH_DAYS:] - sums[:-MONTH_DAYS]) / MONTH_DAYS).min())
    return lowest if lowest < COOL_LIMIT_C else None


@dataclass(frozen=True)
class ClockMiss:
    """How far the clock was off for a stage that was seen.

    Attributes
    ----------
    days : int
        Seen less clock: positive where the clock ran early.
    """

    pruned_on: dt.date
    stage: str
    seen: dt.date
    clock: dt.date

    @property
    def days(self) -> int:
        """Days by which the clock was early."""
        return (self.seen - self.clock).days


def clock_misses(block: BlockSeason) -> tuple[ClockMiss, ...]:
    """Return every seen date of a block beside what the clock alone had said, oldest first.

    Cycles that began before the record are left out: the clock had no temperatures to run on.
    """
    found = []
    for dates in block.clock.cycles:
        if dates.cycle.pruned_on < block.clock.first:
            continue
        for stage in dates.seen:
            seen, clock = _seen(dates.cycle, stage), dates.model.get(stage)
            if seen is not None and clock is not None:
                found.append(ClockMiss(dates.cycle.pruned_on, stage, seen, clock))
    return tuple(found)


def clock_habit(block: BlockSeason) -> Note | None:
    """Say whether the clock ran early or late in the block's last cycles; None: nothing seen."""
    by_cycle: dict[dt.date, list[int]] = {}
    for miss in clock_misses(block):
        by_cycle.setdefault(miss.pruned_on, []).append(miss.days)
    off = [sum(days) / len(days) for _, days in sorted(by_cycle.items())][-HABIT_CYCLES:]
    if not off:
        return None
    mean, most = sum(off) / len(off), max(abs(d) for d in off)
    if most <= HELD_DAYS:
        return Note.of("cycle.clock_held", cycles=len(off))
    if min(off) > 0 or max(off) < 0:
        code = "cycle.clock_early" if mean > 0 else "cycle.clock_late"
        return Note(code, {"days": round(abs(mean)), "cycles": len(off)})
    return Note.of("cycle.clock_mixed", days=round(most), cycles=len(off))


def cycle_notes(block: BlockSeason, found: CycleOutlook | None) -> list[Note]:
    """Return what a careful reader of a cycle's dates must know."""
    if found is None:
        return [Note.of("cycle.never_pruned", block=block.block.name)]
    notes = [Note.of("cycle.range" if found.years else "cycle.no_range", years=len(found.years))]
    if found.harvest_second is not None:
        notes.append(Note.of("cycle.second", date=found.harvest_second))
    if found.cool_c is not None:
        notes.append(Note.of("cycle.cool", mean=round(found.cool_c, 1)))
    habit = clock_habit(block)
    return [*notes, habit] if habit is not None else notes


def step_note(block: BlockSeason, step: FactorStep) -> Note:
    """Return the sentence that proposes a local factor; it is the reason kept with it too."""
    code = "factor.proposed_more" if step.mean_off > 0 else "factor.proposed_less"
    pct = round(abs(step.mean_off) * 100)
    return Note(code, {"block": block.block.name, "pct": pct, "old": step.old, "new": step.new})
