"""What the field days page draws: six weeks of every block, as plain values."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from waterbudget.fieldwork import DONE, FEED, Job
from waterbudget.orchard import ALL_STAGES

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

BACK_DAYS, AHEAD_DAYS = 13, 29
DAYS = BACK_DAYS + AHEAD_DAYS
NEXT_DAYS = 42
URGENT = ("work.before_bloom", "work.other_stage", "work.wait_rain", "work.rain_on_spray",
          "work.not_entered")  # fmt: skip
"""Cautions a grower must see without opening the job."""


@dataclass(frozen=True)
class BoardWatering:
    """A watering of one day: ``ran``, ``missed``, ``not_confirmed`` or ``planned``."""

    day: int
    state: str
    hours: float | None


@dataclass(frozen=True)
class BoardRow:
    """One block over the days shown.

    Attributes
    ----------
    stages : tuple of (stage, first day, day after its last)
    jobs : tuple of Job
        Also those outside the days shown.
    dry : frozenset of int
        Days on which overhead water keeps off.
    pruned : tuple of int
    notes : tuple of Note
        What the plan could not do for its field days.
    """

    block_id: int
    name: str
    stages: tuple[tuple[str, int, int], ...]
    jobs: tuple[Job, ...]
    waterings: tuple[BoardWatering, ...]
    dry: frozenset[int]
    pruned: tuple[int, ...]
    notes: tuple[object, ...] = ()


@dataclass(frozen=True)
class Board:
    """Six weeks around a morning.

    Attributes
    ----------
    rain_mm : tuple of float or None
        Of the farm's station: recorded before ``today``, forecast from then; None: not known.
    coming : tuple of (block name, Job)
        What comes next, and what was due and never entered.
    """

    first: dt.date
    days: int
    today: int
    rain_mm: tuple[float | None, ...]
    rows: tuple[BoardRow, ...]
    coming: tuple[tuple[str, Job], ...]

    def date(self, day: int) -> dt.date:
        """Return the date of a column."""
        return self.first + dt.timedelta(days=day)

    def column(self, date: dt.date) -> int:
        """Return the column of a date; it may lie outside."""
        return (date - self.first).days


def board(season: Season) -> Board:
    """Lay the field days, stages and waterings of a season out by block and day."""
    from waterbudget import agenda

    first = season.on - dt.timedelta(days=BACK_DAYS)
    rows = tuple(_row(season, b, first, tuple(agenda.all_jobs(season, b))) for b in season.blocks)
    coming = tuple((b.block.name, j) for b, j in agenda.next_jobs(season, NEXT_DAYS))
    return Board(first, DAYS, BACK_DAYS, _rain(season, first), rows, coming)


def urgent(job: Job) -> bool:
    """Return whether a job carries a caution that must be seen at once."""
    return any(n.code in URGENT for n in job.cautions)


def open_job(job: Job, today: dt.date) -> bool:
    """Return whether a job is still to be done."""
    return job.counts and job.state != DONE


def _row(season: Season, b: BlockSeason, first: dt.date, jobs: tuple[Job, ...]) -> BoardRow:
    def column(date: dt.date) -> int:
        return (date - first).days

    waterings = [BoardWatering(column(s.date), s.state, s.hours) for s in b.past]
    at = column(season.on)
    waterings += [BoardWatering(at + s.day, "planned", s.hours) for s in b.plan.sets]
    return BoardRow(
        block_id=b.block.id, name=b.block.name, stages=_stages(b, first), jobs=jobs,
        waterings=tuple(w for w in waterings if 0 <= w.day < DAYS),
        dry=frozenset(column(d) for d in b.work.dry),
        pruned=tuple(i for c in b.block.cycles if 0 <= (i := column(c.pruned_on)) < DAYS),
        notes=b.work.notes,
    )  # fmt: skip


def _stages(b: BlockSeason, first: dt.date) -> tuple[tuple[str, int, int], ...]:
    begin = (first - b.clock.first).days
    skip = max(0, -begin)
    stage = b.clock.stage[max(0, begin) : max(0, begin) + DAYS - skip]
    edges = [0, *(np.flatnonzero(np.diff(stage)) + 1).tolist(), len(stage)]
    return tuple((ALL_STAGES[stage[i]], skip + i, skip + j) for i, j in pairwise(edges) if j > i)


def _rain(season: Season, first: dt.date) -> tuple[float | None, ...]:
    station = next(iter(season.stations.values()), None)
    typed = season.data.gauge_days("farm")
    found: list[float | None] = []
    for i in range(DAYS):
        date = first + dt.timedelta(days=i)
        mm = typed.get(date)
        at = (date - season.first).days
        if mm is None and station is not None and 0 <= at < len(station.rain_mm):
            known = float(station.rain_mm[at])
            mm = known if np.isfinite(known) else None
        found.append(mm)
    return tuple(found)


def is_feed(job: Job) -> bool:
    """Return whether a job is a feeding."""
    return job.kind == FEED
