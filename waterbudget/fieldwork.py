"""Feeding and spraying days of a block, and what they ask of the water.

Days are counted from pruning: feeding on days 10, 45 and 110, mite control on days 10, 20 and 30
(common practice, no source; the grower's own where given).  What was entered beside them (moved,
skipped, done, extra) is laid over them; nothing is moved by itself but one feed: where day 10
carries both and the water comes from overhead, the feed is placed and watered in the day before,
because leaves must then stay dry.

The rules, all common practice without a source unless the table ``fieldwork`` says otherwise:

- Water that wets leaves keeps away from 12 h before to 24 h after a spraying at dawn; drip,
  micro-sprinklers below the canopy and basins may run once the label's re-entry time is over.
- A feed placed on the soil is watered in within 48 h: 8 to 12 mm over the *wetted* ground (where
  it is placed), never more than is missing in the root zone.
- None is placed where heavy rain is forecast for the next 48 h.
- The label, and whoever is licensed to advise, outrank every line in here.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from waterbudget import tables
from waterbudget.cycle import CycleDates, day_count_stage
from waterbudget.errors import Note, Refused
from waterbudget.orchard import STAGES, Block, Cycle, Orchard, cycle_days

if TYPE_CHECKING:
    from waterbudget.records import FieldEntry

FEED, SPRAY = "feed", "spray"
DUE, MOVED, DONE, SKIPPED = "due", "moved", "done", "skipped"
SOIL, WATER = "soil", "water"
OVERHEAD = "overhead"
DAY_H = 24.0


@cache
def figure(name: str) -> float:
    """Return a number of the table ``fieldwork``."""
    return float(_text(name))


@cache
def _text(name: str) -> str:
    return next(r["value"] for r in tables.read("fieldwork") if r["name"] == name)


@dataclass(frozen=True)
class Job:
    """One feeding or spraying of a block.

    Attributes
    ----------
    date : datetime.date
        When it is to be done, or was.
    fixed_on : datetime.date or None
        The date of its fixed day; None of one beside the fixed days.
    cycle_day : int or None
        The fixed day after pruning it stands for.
    day : int
        Days from pruning to ``date``.
    state : str
        ``due``, ``moved``, ``done`` or ``skipped``.
    before_spray : bool
        A feed set a day before its fixed one, to leave that day to the spraying.
    entry_id : int
        Row it was entered by; 0 where it only follows from the pruning date.
    cautions : tuple of Note
    """

    block_id: int
    kind: str
    date: dt.date
    pruned_on: dt.date
    cycle_day: int | None
    fixed_on: dt.date | None
    state: str
    what: str | None = None
    placed: str | None = None
    n_kg_ha: float | None = None
    person: str | None = None
    note: str | None = None
    before_spray: bool = False
    entry_id: int = 0
    cautions: tuple[Note, ...] = ()

    @property
    def day(self) -> int:
        """Days from pruning."""
        return (self.date - self.pruned_on).days

    @property
    def counts(self) -> bool:
        """Whether it was or will be done."""
        return self.state != SKIPPED

    @property
    def on_soil(self) -> bool:
        """Whether it is a feed placed on the soil, to be watered in."""
        return self.kind == FEED and self.placed != WATER


def fixed_days(block: Block, orchard: Orchard, kind: str) -> tuple[int, ...]:
    """Return the fixed days after pruning: the block's own, else the farm's, else the usual."""
    key = f"{kind}_days"
    for text in (getattr(block, key), getattr(orchard, key), _text(key)):
        if text is not None:
            return cycle_days(text, key)
    return ()


def overhead(block: Block) -> bool:
    """Whether the block's water wets the leaves."""
    return block.system == OVERHEAD


def block_jobs(
    block: Block, orchard: Orchard, entries: Iterable[FieldEntry], last: dt.date | None = None
) -> tuple[Job, ...]:
    """Return the jobs of all cycles of a block in order of their dates, cautions left open.

    Parameters
    ----------
    entries : iterable of FieldEntry
        Of any block; an entry belongs to the cycle its date lies in.
    last : datetime.date, optional
        Fixed days after it are left out (what was entered stays).
    """
    mine = [e for e in entries if e.block_id == block.id]
    found: list[Job] = []
    ordered = sorted(block.cycles, key=lambda c: c.pruned_on)
    for k, cycle in enumerate(ordered):
        end = ordered[k + 1].pruned_on if k + 1 < len(ordered) else None
        own = [e for e in mine if block.cycle_on(e.date) == cycle]
        found += _cycle_jobs(block, orchard, cycle, own, end, last)
    return tuple(sorted(found, key=lambda j: (j.date, j.kind != SPRAY, j.cycle_day or 0)))


def _cycle_jobs(
    block: Block, orchard: Orchard, cycle: Cycle, own: Sequence[FieldEntry],
    end: dt.date | None, last: dt.date | None,
) -> list[Job]:  # fmt: skip
    by_day = {(e.kind, e.cycle_day): e for e in own if e.cycle_day is not None}
    found = []
    for kind in (SPRAY, FEED):
        for day in fixed_days(block, orchard, kind):
            fixed = cycle.pruned_on + dt.timedelta(days=day)
            entry = by_day.pop((kind, day), None)
            gone = (end is not None and fixed >= end) or (last is not None and fixed > last)
            if entry is None and gone:
                continue
            job = Job(block.id, kind, fixed, cycle.pruned_on, day, fixed, DUE)
            found.append(job if entry is None else _entered(job, entry))
    for entry in [*by_day.values(), *(e for e in own if e.cycle_day is None)]:
        past = entry.cycle_day  # of a fixed day that is none any more
        fixed_on = cycle.pruned_on + dt.timedelta(days=past) if past is not None else None
        job = Job(block.id, entry.kind, entry.date, cycle.pruned_on, past, fixed_on, DUE)
        found.append(_entered(job, entry))
    return _in_order(block, found) if overhead(block) else found


def _entered(job: Job, entry: FieldEntry) -> Job:
    state = DUE
    if entry.skipped:
        state = SKIPPED
    elif entry.done:
        state = DONE
    elif job.fixed_on is not None and entry.date != job.fixed_on:
        state = MOVED
    return replace(
        job, date=entry.date, state=state, what=entry.what, placed=entry.placed,
        n_kg_ha=entry.n_kg_ha, person=entry.person, note=entry.note, entry_id=entry.id,
    )  # fmt: skip


def _in_order(block: Block, jobs: list[Job]) -> list[Job]:
    """Set a feed due on a spraying day a day earlier: with overhead water both cannot be served."""
    sprayed = {j.date for j in jobs if j.kind == SPRAY and j.counts}
    eve = dt.timedelta(days=1)
    return [
        replace(j, date=j.date - eve, before_spray=True)
        if j.kind == FEED and j.on_soil and not j.entry_id and j.date in sprayed else j
        for j in jobs
    ]  # fmt: skip


def nearest(jobs: Iterable[Job], kind: str, date: dt.date) -> Job | None:
    """Return the open fixed day a job done on ``date`` stands for, if one is near enough."""
    near = figure("entered_near_days")
    open_ = [
        j for j in jobs
        if j.kind == kind and j.cycle_day is not None and j.state in (DUE, MOVED)
        and abs((j.date - date).days) <= near
    ]  # fmt: skip
    return min(open_, key=lambda j: abs((j.date - date).days), default=None)


# -- leaves that must stay dry ----------------------------------------------------------------


@dataclass(frozen=True)
class DryWindow:
    """Hours in which no water may fall on the leaves, around one spraying."""

    sprayed_on: dt.date
    start: dt.datetime
    end: dt.datetime

    def overlaps(self, start: dt.datetime, end: dt.datetime) -> bool:
        """Return whether a watering from ``start`` to ``end`` would reach into it."""
        return start < self.end and self.start < end


def dry_window(orchard: Orchard, sprayed_on: dt.date) -> DryWindow:
    """Return the hours around a spraying at dawn that leaves stay dry."""
    dawn = min(dt.time(int(figure("spray_hour"))), orchard.work_from)
    at = dt.datetime.combine(sprayed_on, dawn)
    before, after = (dt.timedelta(hours=h) for h in (orchard.dry_before_h, orchard.dry_after_h))
    return DryWindow(sprayed_on, at - before, at + after)


def day_window(orchard: Orchard, day: dt.date) -> tuple[dt.datetime, dt.datetime]:
    """Return from when to when a watering of ``day`` may run."""
    start = dt.datetime.combine(day, orchard.work_from)
    if orchard.night_sets:
        return start, start + dt.timedelta(hours=DAY_H)
    return start, dt.datetime.combine(day, orchard.work_to)


Hours = tuple[tuple[float, float], ...]
"""Spans of hours counted from a day's midnight; past 24 on the next day [h]."""


@dataclass(frozen=True)
class DryWeek:
    """Where leaves must stay dry in some days.

    Attributes
    ----------
    closed : mapping of date to DryWindow
        Days without any water, each with the window it is for.
    hours : mapping of date to tuple of (from, to)
        Of days that stay open: hours no watering may run in [h from midnight].
    """

    closed: dict[dt.date, DryWindow]
    hours: dict[dt.date, Hours]


def dry_days(
    block: Block, orchard: Orchard, jobs: Iterable[Job], days: Sequence[dt.date],
    longest_h: float = DAY_H,
) -> DryWeek:  # fmt: skip
    """Return the days and hours in which an overhead block gets no water.

    A day stays open where its working hours outside the dry time hold the longest watering
    allowed; otherwise it is closed as a whole.

    Parameters
    ----------
    longest_h : float
        Longest watering of the block [h].
    """
    found = DryWeek({}, {})
    if not overhead(block):
        return found
    windows = sorted(
        {dry_window(orchard, j.date) for j in jobs if j.kind == SPRAY and j.counts},
        key=lambda w: w.start,
    )
    for day in days:
        opens, closes = day_window(orchard, day)
        near = [w for w in windows if w.overlaps(opens, closes)]
        if not near:
            continue
        midnight = dt.datetime.combine(day, dt.time())
        spans = tuple(
            (max(0.0, _hours(w.start - midnight)), _hours(w.end - midnight)) for w in near
        )
        edges = [_hours(opens - midnight), *(h for s in spans for h in s)]
        edges.append(_hours(closes - midnight))
        free = [edges[k + 1] - edges[k] for k in range(0, len(edges), 2)]
        if max(free) >= longest_h:
            found.hours[day] = spans
        else:
            found.closed[day] = near[-1]
    return found


def _hours(span: dt.timedelta) -> float:
    return span.total_seconds() / 3600.0


# -- watering feeds in --------------------------------------------------------------------------


@dataclass(frozen=True)
class WaterIn:
    """Water a placed feed asks for.

    Attributes
    ----------
    first, last : datetime.date
        Days on which it may be given.
    least_mm, aim_mm : float
        Over the block, at the roots [mm].
    """

    placed_on: dt.date
    first: dt.date
    last: dt.date
    least_mm: float
    aim_mm: float


def water_in(job: Job, jobs: Sequence[Job], block: Block, wetted_fraction: float) -> WaterIn | None:
    """Return what a feed asks of the water; None for one fed with the water, or skipped.

    On a day that is also sprayed the feed follows the re-entry time, so the water is wanted on
    the day after, within 48 h of the spraying; otherwise on the day itself or the day after.
    """
    if not job.on_soil or not job.counts:
        return None
    sprayed = any(j.kind == SPRAY and j.counts and j.date == job.date for j in jobs)
    last = job.date + dt.timedelta(days=int(figure("water_in_days")) - 1)
    first = last if sprayed and not overhead(block) else job.date
    return WaterIn(
        job.date, first, last, figure("water_in_least_mm") * wetted_fraction,
        figure("water_in_aim_mm") * wetted_fraction,
    )  # fmt: skip


def too_wet_to_feed(orchard: Orchard, rain_mm: float) -> bool:
    """Return whether the rain forecast for the next 48 h would wash a feed away [mm]."""
    return rain_mm >= orchard.feed_rain_mm


# -- cautions ---------------------------------------------------------------------------------


def stage_cautions(job: Job, stage: str | None, dates: CycleDates | None) -> tuple[Note, ...]:
    """Say where a fixed feeding day falls outside the stage it is meant for; it is not moved.

    Parameters
    ----------
    stage : str or None
        Stage of the block on the job's date, by its own clock.
    dates : CycleDates or None
        Of the job's cycle.
    """
    if job.kind != FEED or job.cycle_day is None or stage is None or dates is None:
        return ()
    if job.state in (DONE, SKIPPED):
        return ()
    meant = day_count_stage(job.cycle_day)
    fields = {"date": job.date, "day": job.cycle_day, "meant": Note.of(f"stage.{meant}")}
    bloom = dates.full_bloom
    after_bloom = meant in STAGES and STAGES.index(meant) > STAGES.index("bloom")
    if after_bloom and bloom is not None and job.date < bloom:
        return (Note("work.before_bloom", {**fields, "bloom": bloom}),)
    if stage == meant or _days_off(job.date, meant, dates) <= figure("stage_off_days"):
        return ()
    return (Note("work.other_stage", {**fields, "stage": stage}),)


def _days_off(date: dt.date, meant: str, dates: CycleDates) -> int:
    """Days from ``date`` to the nearest day of the stage ``meant``; 0 where it is not known."""
    start = dates.starts.get(meant)
    if start is None:
        return 0
    if date < start:
        return (start - date).days
    later = [dates.starts[s] for s in STAGES[STAGES.index(meant) + 1 :] if s in dates.starts]
    return max(0, (date - min(later)).days) if later else 0


def order_cautions(job: Job, jobs: Sequence[Job], block: Block, orchard: Orchard) -> list[Note]:
    """Say in which order feed, spray and water follow each other, and what the label is asked."""
    if not job.counts:
        return []
    notes = []
    other = SPRAY if job.kind == FEED else FEED
    same_day = any(j.kind == other and j.counts and j.date == job.date for j in jobs)
    if job.before_spray:
        notes.append(Note.of("work.order_eve", date=job.date, spray=job.fixed_on))
    elif same_day:
        code = "work.order_overhead" if overhead(block) else "work.order_both"
        notes.append(Note.of(code, date=job.date))
    if job.kind == SPRAY:
        hours = {"before": orchard.dry_before_h, "after": orchard.dry_after_h}
        notes.append(Note("work.keep_dry" if overhead(block) else "work.water_after", hours))
        notes.append(Note.of("work.label"))
    elif job.placed == WATER:
        notes.append(Note.of("work.fertigation"))
    else:
        least, most = figure("water_in_least_mm"), figure("water_in_most_mm")
        notes.append(Note.of("work.water_in", least=least, most=most))
    return notes


# -- nitrogen -----------------------------------------------------------------------------------


def nitrogen_dates(block_id: int, entries: Iterable[FieldEntry]) -> tuple[dt.date, ...]:
    """Return when a block was fed with nitrogen; a feed of which no figure is known counts."""
    return tuple(sorted(
        e.date for e in entries
        if e.block_id == block_id and e.kind == FEED and e.done and not e.skipped
        and e.n_kg_ha != 0
    ))  # fmt: skip


def nitrogen_lost_kg_ha(drained_mm: float, mg_l: float | None = None) -> float:
    """Nitrogen carried below the roots [kg/ha]: a litre per m2 is 10 m3 per hectare.

    Parameters
    ----------
    mg_l : float, optional
        In what drains [mg N/L]; an example figure of 30 where nothing is measured.
    """
    return drained_mm * (figure("n_in_drainage_mg_l") if mg_l is None else mg_l) / 100.0


# -- what may share a tank ------------------------------------------------------------------------

_PARTS = {
    "calcium": ("calcium", "calcic", "calcio", "calcico", "gypsum", "yeso"),
    "magnesium": ("magnesium", "magnesio"),
    "sulfate": ("sulfate", "sulphate", "sulfato", "gypsum", "yeso", "sulfuric", "sulphuric",
                "sulfurico"),
    "phosphate": ("phosphate", "fosfato", "phosphoric", "fosforico", "map", "dap", "mkp"),
}  # fmt: skip
_CLASHES = (("calcium", "sulfate"), ("calcium", "phosphate"), ("magnesium", "phosphate"))


def parts_of(material: str) -> set[str]:
    """Return what of a material matters in a tank, by its general chemical name."""
    plain = unicodedata.normalize("NFD", material.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    words = set(re.findall(r"[a-z]+", plain))
    return {
        part
        for part, names in _PARTS.items()
        if any(
            w == n or (len(n) > 4 and (w == n + "s" or w.endswith(n))) for w in words for n in names
        )
    }


def tank_mix(
    materials: Sequence[str], *, ca_me_l: float | None = None, hco3_me_l: float | None = None
) -> tuple[Note, ...]:
    """Say whether materials may go into one fertigation tank, by general chemistry alone.

    Parameters
    ----------
    materials : sequence of str
        General chemical names, such as ``"calcium nitrate"``; never product names.
    ca_me_l, hco3_me_l : float, optional
        Calcium and bicarbonate of the water [me/L].

    Returns
    -------
    tuple of Note
        What to mind all the same: a jar test, hard water.

    Raises
    ------
    Refused
        ``mix.calcium_sulfate`` and its like: what would fall out as a solid; ``mix.water``
        where the water cannot be.
    """
    named = [" ".join(m.split()) for m in materials if m.strip()]
    for value in (ca_me_l, hco3_me_l):
        if value is not None and value < 0:
            raise Refused("mix.water", value=value)
    for one, two in _CLASHES:
        first = next((m for m in named if one in parts_of(m)), None)
        second = next((m for m in named if two in parts_of(m)), None)
        if first is not None and second is not None:
            raise Refused(f"mix.{one}_{two}", first=first, second=second)
    limit = figure("precipitation_me_l")
    notes = [Note.of("mix.jar_test")] if named else []
    for code, value in (("mix.hard_water", ca_me_l), ("mix.bicarbonate", hco3_me_l)):
        if value is not None and value > limit:
            notes.append(Note(code, {"value": value, "limit": limit}))
    return tuple(notes)


def materials_in(what: str) -> list[str]:
    """Return the materials of a feed as written: ``"calcium nitrate + potassium nitrate"``."""
    return [m.strip() for m in re.split(r"\+|,|;|&|/|\by\b|\band\b|\bwith\b|\bcon\b", what)]
