"""The numbers a block's page tells, read out of one season.  No Qt, no words.

All of them are sums and differences of what the season holds; the page turns them into sentences
and the origin panel into chains.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from waterbudget import stage as stages
from waterbudget.plan import PlannedSet

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season


@dataclass(frozen=True)
class SetFacts:
    """One watering of the week: when, how long, how much (at the meter and at the roots)."""

    date: dt.date
    start: dt.time | None
    hours: float | None
    mm: float
    net_mm: float
    m3: float | None
    pinned: bool
    over: bool


@dataclass(frozen=True)
class WeekFacts:
    """The planned week of one block.

    ``takes + missing - rain + lost = net``, all at the roots [mm].

    Attributes
    ----------
    takes_mm : trees and bare ground together
    missing_mm : of what is missing this morning, how much the week makes good (negative: the
        week may end drier than it began)
    rain_mm, rain_forecast_mm : rain counted on, and forecast before any credit
    lost_mm : drained past the roots or run off
    net_mm, gross_mm : at the roots and at the meter
    """

    takes_mm: float
    missing_mm: float
    rain_mm: float
    rain_forecast_mm: float
    lost_mm: float
    net_mm: float
    gross_mm: float
    m3: float | None
    hours_exact: float | None
    hours: float | None
    litres_per_tree: float | None
    sets: tuple[SetFacts, ...]
    dr_start_mm: float
    dr_end_mm: float
    et0_mm: float
    kc: float | None = None


def week_facts(season: Season, block: BlockSeason) -> WeekFacts | None:
    """Return the week of one block, as the sheet has it; None where nothing can be said."""
    from waterbudget.sheet import week_row

    v = week_row(season, block).values
    if v["net_mm"] is None:
        return None
    sets = tuple(_set(season, s) for s in block.plan.sets)
    start, end = v["dr_start_mm"], v["dr_end_mm"]
    # what drains, runs off or is put right, by the account: nothing may be left over
    lost = v["net_mm"] - (v["etc_mm"] + start - end - v["rain_credited_mm"])
    return WeekFacts(
        takes_mm=v["etc_mm"], missing_mm=start - end, rain_mm=v["rain_credited_mm"],
        rain_forecast_mm=v["rain_mm"], lost_mm=lost, net_mm=v["net_mm"], gross_mm=v["gross_mm"],
        m3=v["m3"], hours_exact=v["hours_exact"], hours=v["hours"],
        litres_per_tree=v["litres_per_tree"], sets=sets, dr_start_mm=start, dr_end_mm=end,
        et0_mm=v["et0_mm"], kc=v["kc"],
    )  # fmt: skip


def _set(season: Season, planned: PlannedSet) -> SetFacts:
    return SetFacts(
        season.on + dt.timedelta(days=planned.day), planned.start, planned.hours, planned.mm,
        planned.net_mm, planned.m3, planned.pinned, planned.over,
    )  # fmt: skip


@dataclass(frozen=True)
class DayAccount:
    """One day's account of one block [mm at the roots]; the parts add up.

    ``left_start + rain + watering + read + other - ran_off - drained - trees - soil = left_end``

    Attributes
    ----------
    read : put right by readings of the soil
    other : known full, or roots changed
    """

    date: dt.date
    stage: str
    left_start: float
    rain: float
    watering: float
    trees: float
    soil: float
    drained: float
    ran_off: float
    read: float
    other: float
    left_end: float
    et0: float
    taw: float
    limit: float
    past_limit: bool
    rain_from: str | None
    made_from: tuple[str, ...]


def day_account(season: Season, block: BlockSeason, date: dt.date) -> DayAccount | None:
    """Return one day's account; None outside the days that have one."""
    i, k = (date - season.first).days, block.column
    a, d = season.account, season.drivers
    if not 0 <= i < len(a.dr_mm) or "weather" in block.missing:
        return None
    taw = float(d.taw_mm[i, k])
    left_end = taw - float(a.dr_mm[i, k])
    start = taw - float(a.dr_start_mm[i, k])
    station = season.stations.get(block.station or "")
    read = sum(p.model_mm - p.new_mm for p in block.pulled if p.counted_on == date)
    return DayAccount(
        date=date, stage=season.stage(block, date), left_start=start,
        rain=float(d.rain_mm[i, k]), watering=float(d.irrigation_mm[i, k]),
        trees=float(a.transpiration_mm[i, k]), soil=float(a.evaporation_mm[i, k]),
        drained=float(a.drainage_mm[i, k]), ran_off=float(d.runoff_mm[i, k]),
        read=read, other=float(a.correction_mm[i, k]) - read, left_end=left_end,
        et0=float(d.et0_mm[i, k]),
        taw=taw, limit=float(season.limit_mm(k)[i]),
        past_limit=bool(a.dr_start_mm[i, k] > season.limit_mm(k)[i] + 1e-6),
        rain_from=block.rain_flags.get(date),
        made_from=station.made_from[i] if station is not None else (),
    )  # fmt: skip


def last_drained(season: Season, block: BlockSeason) -> tuple[dt.date, float] | None:
    """Return the last past day that drained past the roots, and how much [mm]."""
    past = season.account.drainage_mm[: season.on_index, block.column]
    days = np.flatnonzero(past >= 0.05)
    if not len(days):
        return None
    i = int(days[-1])
    return season.first + dt.timedelta(days=i), float(past[i])


@dataclass(frozen=True)
class Alarm:
    """The one thing on this block that needs the grower, worst first.

    Attributes
    ----------
    what : ``past_now``, ``past_soon``, ``not_confirmed``, ``sudden``, ``drained``, ``missing``
    since : first morning past the limit
    cause : ``missed`` (a watering that did not run), ``no_water`` (none for days), ``short``
        (watered, but too little) or None
    cause_day : the day of the missed, or of the last, watering
    mended_on : first coming morning inside the limit again, as planned
    """

    what: str
    since: dt.date | None = None
    cause: str | None = None
    cause_day: dt.date | None = None
    mended_on: dt.date | None = None
    watering_on: dt.date | None = None
    mm: float | None = None
    days: int | None = None


def alarm(season: Season, block: BlockSeason) -> Alarm | None:
    """Return what a line above the week should say, None where nothing needs the grower."""
    dry = block.dryness
    if dry is None:
        return Alarm("missing") if block.missing else None
    k, i = block.column, season.on_index
    if dry.dry and not dry.allowed_dry:
        since = dry.first_dry_day
        cause, day = _cause(block, since or season.on)
        short = season.account.dr_start_mm[i:, k] > season.limit_mm(k)[i:] + 1e-6
        inside = np.flatnonzero(~short)
        mended = season.on + dt.timedelta(days=int(inside[0])) if len(inside) else None
        coming = [s.day for s in block.plan.sets]
        return Alarm(
            "past_now", since, cause, day, mended,
            season.on + dt.timedelta(days=coming[0]) if coming else None,
            float(season.account.dr_start_mm[i, k] - season.limit_mm(k)[i]), dry.dry_days_so_far,
        )  # fmt: skip
    if dry.days_as_planned is not None and not dry.allowed_dry:
        since = season.on + dt.timedelta(days=dry.days_as_planned)
        return Alarm("past_soon", since, days=dry.days_as_planned)
    if dry.sudden:
        return Alarm("sudden", mm=dry.swing_mm)
    if dry.drained_mm >= 1.0:
        found = last_drained(season, block)
        return Alarm("drained", since=found[0] if found else None, mm=dry.drained_mm)
    return None


def _cause(block: BlockSeason, since: dt.date) -> tuple[str | None, dt.date | None]:
    before = [s for s in block.past if s.date >= since - dt.timedelta(days=4)]
    missed = [s for s in before if s.state == "missed" and s.date <= since + dt.timedelta(days=1)]
    if missed:
        return "missed", missed[-1].date
    ran = [s for s in block.past if s.state != "missed" and s.date < since]
    if not ran:
        return "no_water", None
    last = ran[-1].date
    return ("no_water" if (since - last).days > 3 else "short"), last


def stage_source(season: Season, block: BlockSeason, what: str, stage: str) -> str:
    """Return where a stage number of a block comes from: ``block``, ``farm`` or ``default``."""
    farm = season.orchard.stage_numbers
    return stages.numbers(stage, farm, block.block.stage_numbers).given[what]
