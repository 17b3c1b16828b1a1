"""One calendar a block: field jobs, stages, waterings, prunings, as events of codes and fields."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from waterbudget import fieldwork, ical, outlook
from waterbudget.errors import Note
from waterbudget.fieldwork import DONE, FEED, Job
from waterbudget.outlook import FULL_BLOOM, StageDates
from waterbudget.season import BlockSeason, Season

BACK_DAYS, AHEAD_DAYS = 14, 42
KINDS = ("job", "stage", "watering", "pruning")


@dataclass(frozen=True)
class Event:
    """One thing that happens in a block.

    Attributes
    ----------
    kind : str
        ``job``, ``stage``, ``watering`` or ``pruning``.
    first, last : datetime.date
        The same but for a stage whose beginning is a range.
    code : str
        ``feed`` or ``spray``, a stage, ``planned``, ``ran``, ``not_confirmed``, ``missed``.
    """

    block: str
    block_id: int
    kind: str
    date: dt.date
    code: str
    first: dt.date
    last: dt.date
    job: Job | None = None
    start: dt.time | None = None
    hours: float | None = None
    m3: float | None = None
    seen: bool = False
    notes: tuple[Note, ...] = ()

    @property
    def uid(self) -> str:
        """A name that stays the same while the thing does."""
        parts = [f"{self.block_id}", self.kind, self.code]
        if self.job is not None:
            parts.append(f"{self.job.pruned_on:%Y%m%d}")
            day = self.job.cycle_day
            parts.append(f"day{day}" if day is not None else f"extra{self.job.entry_id}")
        elif self.kind != "stage":
            parts.append(f"{self.date:%Y%m%d}")
        return "-".join(parts)


def span(season: Season, start: dt.date | None, end: dt.date | None) -> tuple[dt.date, dt.date]:
    """Return the days of the calendar: two weeks back and six ahead where nothing is said."""
    first = start or season.on - dt.timedelta(days=BACK_DAYS)
    return first, end or max(first, season.on) + dt.timedelta(days=AHEAD_DAYS)


def events(
    season: Season, blocks: Iterable[BlockSeason], first: dt.date, last: dt.date, *,
    ran: bool = False,
) -> list[Event]:  # fmt: skip
    """Return everything of some blocks between two days (both counted), by date.

    Parameters
    ----------
    ran : bool
        Past waterings too; otherwise only those planned.
    """
    found: list[Event] = []
    for b in blocks:
        own = [*_jobs(season, b), *_stages(season, b), *_waterings(season, b), *_prunings(b)]
        found += [
            e for e in own
            if e.last >= first and e.first <= last
            and (ran or e.kind != "watering" or e.code == "planned")
        ]  # fmt: skip
    order = {name: i for i, name in enumerate(("pruning", "job", "stage", "watering"))}
    return sorted(
        found,
        key=lambda e: (e.date, order[e.kind], e.job is not None and e.job.kind == FEED, e.block),
    )


def calendar_entry(
    event: Event, farm: str, said: str, kind: str, notes: Iterable[str]
) -> ical.Entry:
    """Return an event as a calendar file holds it, in the caller's words.

    Parameters
    ----------
    farm : str
        Name of the farm, part of the UID.
    said, kind : str
        What happens, and its category.
    notes : iterable of str
        Sentences of the description.
    """
    start: dt.date = event.first
    end: dt.date | None = event.last
    if event.start is not None and event.hours:
        start = dt.datetime.combine(event.date, event.start)
        end = start + dt.timedelta(hours=event.hours)
    slug = "".join(c if c.isalnum() else "-" for c in farm.lower())
    return ical.Entry(
        uid=f"{event.uid}@{slug}", start=start, end=end, summary=f"{event.block}: {said}",
        description="\n".join(notes), place=event.block, kinds=(kind,),
    )  # fmt: skip


def all_jobs(season: Season, b: BlockSeason) -> list[Job]:
    """Return the jobs of every cycle; those of the cycle it is in with their cautions."""
    told = {(j.kind, j.pruned_on, j.cycle_day, j.entry_id): j for j in b.work.jobs}
    jobs = fieldwork.block_jobs(b.block, season.orchard, season.data.field_entries)
    return [told.get((j.kind, j.pruned_on, j.cycle_day, j.entry_id), j) for j in jobs]


def next_jobs(season: Season, days: int = AHEAD_DAYS) -> list[tuple[BlockSeason, Job]]:
    """Return what is to be done next over the farm, and what was due and never entered."""
    last = season.on + dt.timedelta(days=days)
    found = [
        (b, j) for b in season.blocks for j in b.work.jobs
        if j.counts and j.state != DONE and j.date <= last
        and (season.on - j.date).days <= fieldwork.figure("entered_near_days")
    ]  # fmt: skip
    return sorted(found, key=lambda f: (f[1].date, f[1].kind == FEED, f[0].column))


def _jobs(season: Season, b: BlockSeason) -> list[Event]:
    return [
        Event(b.block.name, b.block.id, "job", j.date, j.kind, j.date, j.date, job=j,
              notes=j.cautions)
        for j in all_jobs(season, b)
    ]  # fmt: skip


def _stages(season: Season, b: BlockSeason) -> list[Event]:
    found = outlook.cycle_outlook(season, b)
    if found is None:
        return []
    return [
        Event(b.block.name, b.block.id, "stage", s.date, s.stage, s.earliest or s.date,
              s.latest or s.date, seen=s.seen is not None)
        for s in _dated(found.stages) if s.date is not None and s.stage != FULL_BLOOM
    ]  # fmt: skip


def _dated(stages: Sequence[StageDates]) -> list[StageDates]:
    return [s for s in stages if s.date is not None]


def _waterings(season: Season, b: BlockSeason) -> list[Event]:
    name, number = b.block.name, b.block.id
    found = [
        Event(name, number, "watering", s.date, s.state, s.date, s.date, hours=s.hours, m3=s.m3)
        for s in b.past
    ]
    for s in b.plan.sets:
        date = season.on + dt.timedelta(days=s.day)
        found.append(Event(name, number, "watering", date, "planned", date, date, start=s.start,
                           hours=s.hours, m3=s.m3))  # fmt: skip
    return found


def _prunings(b: BlockSeason) -> list[Event]:
    return [
        Event(b.block.name, b.block.id, "pruning", c.pruned_on, "pruned", c.pruned_on, c.pruned_on)
        for c in b.block.cycles
    ]


def event_row(event: Event) -> dict[str, Any]:
    """Return an event as one row, the same columns for all."""
    job = event.job
    return {
        "date": event.date, "block": event.block, "kind": event.kind, "code": event.code,
        "first": event.first, "last": event.last,
        "day": job.day if job is not None else None,
        "cycle_day": job.cycle_day if job is not None else None,
        "state": job.state if job is not None else None,
        "what": job.what if job is not None else None,
        "n_kg_ha": job.n_kg_ha if job is not None else None,
        "start": event.start, "hours": event.hours, "m3": event.m3,
        "cautions": list(event.notes),
    }  # fmt: skip
