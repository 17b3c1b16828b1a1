"""The field days of each block beside its week: which days stay dry, which feeds are washed in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from waterbudget import fieldwork
from waterbudget.balance import Account, Drivers
from waterbudget.errors import Note
from waterbudget.fieldwork import Job
from waterbudget.orchard import Orchard
from waterbudget.plan import WEEK, BlockLimits
from waterbudget.records import FarmData
from waterbudget.season.blocks import Prepared, wetted_fraction
from waterbudget.season.fielddays import FieldDays, Nitrogen
from waterbudget.soak import Soak

HALF_QUARTER_H = 0.125  # what rounding to quarter hours may take from a watering


@dataclass(frozen=True)
class FieldWeek:
    """What the planner is told of a block's field days, and what to say of them afterwards."""

    days: FieldDays
    wanted: tuple[tuple[fieldwork.WaterIn, Soak], ...] = ()
    dry_hours: Mapping[dt.date, fieldwork.Hours] = field(default_factory=dict)


def field_week(
    p: Prepared, known: FarmData, longest_h: float, on: dt.date, first: dt.date
) -> FieldWeek:
    """Work out a block's field days before its week is planned.

    Parameters
    ----------
    longest_h : float
        Longest watering of the block [h].
    """
    jobs = fieldwork.block_jobs(p.block, known.orchard, known.field_entries)
    cycle = p.block.cycle_on(on)
    if cycle is None or not jobs:
        return FieldWeek(FieldDays())
    week = [on + dt.timedelta(days=i) for i in range(WEEK)]
    kept = fieldwork.dry_days(p.block, known.orchard, jobs, week, longest_h)
    dry = kept.closed
    wet = {j.date: mm for j in jobs if (mm := _heavy_rain(p, j, known.orchard, on, first))}
    mine = [j for j in jobs if j.pruned_on == cycle.pruned_on]
    told = tuple(_with_cautions(j, jobs, p, known.orchard, on, wet.get(j.date)) for j in mine)
    wanted = []
    for job in jobs:
        water = fieldwork.water_in(job, jobs, p.block, wetted_fraction(p.block))
        if water is None or (job.date in wet and job.date >= on):
            continue
        soak = _soak(p, water, on, first, frozenset(dry))
        if soak is not None:
            wanted.append((water, soak))
    return FieldWeek(FieldDays(jobs=told, dry=dry), tuple(wanted), kept.hours)


def about(p: Prepared, known: FarmData) -> tuple[object, ...]:
    """Return all that :func:`field_week` reads beside the block made ready."""
    farm = known.orchard
    entries = tuple(e for e in known.field_entries if e.block_id == p.block.id)
    return (entries, farm.feed_days, farm.spray_days, farm.dry_before_h, farm.dry_after_h,
            farm.feed_rain_mm, farm.work_from, farm.work_to, farm.night_sets)  # fmt: skip


def with_field_days(limits: BlockLimits, week: FieldWeek, on: dt.date) -> BlockLimits:
    """Return a block's limits with the days kept dry and the feeds to wash in.

    A feed that should wait for the day after a spraying is washed in on its own day where nobody
    may water on the next.
    """
    if not week.days.dry and not week.wanted and not week.dry_hours:
        return limits
    closed = {(day - on).days for day in week.days.dry}
    may, own = (
        None if days is None else tuple(open_ and i not in closed for i, open_ in enumerate(days))
        for days in (limits.may_water, limits.own_days)
    )
    assert may is not None
    rate = limits.net_mm_per_hour
    slack = rate * HALF_QUARTER_H if rate is not None else 0.0
    soaks = []
    for water, soak in week.wanted:
        placed = (water.placed_on - on).days
        days = soak.days
        if 0 <= placed < WEEK and not any(may[d] for d in days):
            days = tuple(sorted({placed, *days}))
        least = soak.least_mm + slack
        soaks.append(replace(soak, days=days, least_mm=least, aim_mm=max(soak.aim_mm, least)))
    hours = {(day - on).days: spans for day, spans in week.dry_hours.items()}
    return replace(limits, may_water=may, own_days=own, soaks=tuple(soaks), dry_hours=hours)


def after_plan(
    week: FieldWeek, p: Prepared, limits: BlockLimits, column: int, drivers: Drivers,
    account: Account, known: FarmData, on: dt.date, first: dt.date,
) -> FieldDays:  # fmt: skip
    """Say what the planned week does to the field days, and what drains after nitrogen.

    Parameters
    ----------
    column : int
        The block's column of ``drivers`` and ``account``.
    drivers, account
        Of the whole farm to the seventh planned day.
    """
    notes = list(_dry_notes(week, limits, on))
    i_on = (on - first).days
    if "weather" not in p.missing:
        for (water, soak), asked in zip(week.wanted, limits.soaks, strict=True):
            days = [i_on + d for d in asked.days]
            got = float(drivers.irrigation_mm[days, column].sum())
            got += float(drivers.rain_mm[days, column].sum())
            room = float(account.dr_start_mm[days, column].max())
            if got >= soak.least_mm - 1e-6:
                continue
            code = "work.no_room" if room < soak.least_mm else "work.not_washed_in"
            wets = wetted_fraction(p.block)
            notes.append(Note(code, {
                "date": water.placed_on, "got": got / wets, "room": room / wets,
                "least": soak.least_mm / wets,
            }))  # fmt: skip
    nitrogen = _nitrogen(p, known, account.drainage_mm[:, column], i_on, first)
    if nitrogen is not None and nitrogen.alarm:
        notes.append(Note("work.nitrogen_drained", {
            "date": nitrogen.fed_on, "drained": nitrogen.drained_mm + nitrogen.coming_mm,
            "lost": nitrogen.lost_kg_ha,
        }))  # fmt: skip
    return replace(week.days, nitrogen=nitrogen, notes=tuple(notes))


def _with_cautions(
    job: Job, jobs: Sequence[Job], p: Prepared, orchard: Orchard, on: dt.date, heavy: float | None
) -> Job:
    clock = p.clock
    i = (job.date - clock.first).days
    stage = clock.stage_on(job.date) if 0 <= i < len(clock.stage) else None
    dates = next((c for c in clock.cycles if c.cycle.pruned_on == job.pruned_on), None)
    notes = [*fieldwork.stage_cautions(job, stage, dates)]
    if job.counts and job.state != fieldwork.DONE:
        if job.date < on:
            notes.append(Note.of("work.not_entered", date=job.date))
        if heavy:
            code = "work.wait_rain" if job.kind == fieldwork.FEED else "work.rain_on_spray"
            notes.append(Note(code, {"date": job.date, "rain": heavy}))
        notes += fieldwork.order_cautions(job, jobs, p.block, orchard)
    elif job.counts and job.kind == fieldwork.SPRAY:
        notes.append(Note.of("work.label"))
    return replace(job, cautions=tuple(notes))


def _heavy_rain(
    p: Prepared, job: Job, orchard: Orchard, on: dt.date, first: dt.date
) -> float | None:  # fmt: skip
    """Return the rain forecast for the two days from a job [mm], where it is too much for it."""
    i = (job.date - first).days
    if job.date < on or not job.counts or i + 2 > len(p.columns["whole_rain_mm"]):
        return None
    rain = float(np.nansum(p.columns["whole_rain_mm"][i : i + 2]))
    return rain if fieldwork.too_wet_to_feed(orchard, rain) else None


def _soak(
    p: Prepared, water: fieldwork.WaterIn, on: dt.date, first: dt.date, dry: frozenset[dt.date]
) -> Soak | None:
    """Return what is still wanted of the planned week for a feed; None where nothing is."""
    if water.last < on or water.first >= on + dt.timedelta(days=WEEK):
        return None
    i = (water.placed_on - first).days
    i_on = (on - first).days
    came = 0.0
    if 0 <= i < i_on:
        came = float(p.columns["irrigation_mm"][i:i_on].sum() + p.columns["rain_mm"][i:i_on].sum())
    if came >= water.least_mm:
        return None
    span = range((water.first - on).days, (water.last - on).days + 1)
    days = [d for d in span if 0 <= d < WEEK and on + dt.timedelta(days=d) not in dry]
    if not days:
        return None
    most = fieldwork.figure("water_in_most_mm") * wetted_fraction(p.block)
    return Soak(tuple(days), water.least_mm - came, water.aim_mm - came, most - came)


def _dry_notes(week: FieldWeek, limits: BlockLimits, on: dt.date) -> list[Note]:
    notes = []
    for day, window in week.days.dry.items():
        fields = {"date": day, "spray": window.sprayed_on, "start": window.start,
                  "end": window.end}  # fmt: skip
        if limits.pins.get((day - on).days):
            notes.append(Note("work.pinned_wet", fields))
        elif day != window.sprayed_on:
            notes.append(Note("work.day_dry", fields))
    for day, spans in week.dry_hours.items():
        midnight = dt.datetime.combine(day, dt.time())
        for start, end in spans:
            fields = {"date": day, "start": midnight + dt.timedelta(hours=start),
                      "end": midnight + dt.timedelta(hours=end)}  # fmt: skip
            notes.append(Note("work.hours_dry", fields))
    return notes


def _nitrogen(
    p: Prepared, known: FarmData, drainage_mm: np.ndarray, i_on: int, first: dt.date
) -> Nitrogen | None:
    """Add up what drained in the days after the last nitrogen; None where that is long ago."""
    dates = fieldwork.nitrogen_dates(p.block.id, known.field_entries)
    watch = int(fieldwork.figure("n_watch_days"))
    on = first + dt.timedelta(days=i_on)
    if not dates or (on - dates[-1]).days >= watch or "weather" in p.missing:
        return None
    start = (dates[-1] - first).days
    end = start + watch
    past = float(drainage_mm[max(0, start) : min(i_on, end)].sum())
    coming = float(drainage_mm[i_on : max(i_on, end)].sum())
    lost = fieldwork.nitrogen_lost_kg_ha(past + coming)
    return Nitrogen(dates[-1], past, coming, lost)
