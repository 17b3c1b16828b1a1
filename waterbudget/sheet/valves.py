"""The week as lines for the valve staff, one sheet a person.

A day's valves stand in walking order (:func:`waterbudget.orchard.walk_key`); beside them the
spraying, feeding and dry days of the person's blocks, and of a corrected week what it was before.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from waterbudget import fieldwork
from waterbudget.errors import Refused
from waterbudget.orchard import ALL_STAGES, fold, walk_key
from waterbudget.plan import WEEK, pulses_of_hours
from waterbudget.records import GIVEN_DAYS, GivenSet, GivenWeek, given_on
from waterbudget.season import BlockSeason, Season
from waterbudget.sheet.dials import Place, Stop, stops

DRY = "dry"
MARKS = (fieldwork.SPRAY, DRY, fieldwork.FEED)
"""Kinds of marks, in the order they stand on a day."""

SET_COLUMNS = (
    "person", "date", "start", "place", "valve", "block", "hours", "m3", "meter_stop_m3",
    "pressure_kpa", "pump", "pulses", "on_min", "off_min", "was_hours", "was_start", "number",
)  # fmt: skip
"""Columns of the list of waterings, one line each."""


_UNREAD = Stop()


@dataclass(frozen=True)
class SheetLine:
    """One watering on the paper for the valve staff.

    Attributes
    ----------
    hours : float
        Time with water [h]; 0 of one that falls away in a corrected week.
    changed : bool
        Of a corrected week: other than it was handed out before.
    pulses, on_min, off_min : int
        Parts it runs in, and minutes of water and of rest.
    place : int or None
        Of its valve in the walk.
    pump : str
        ``""`` is the farm's first.
    pressure_kpa : float or None
        To be seen at the valve [kPa].
    stop : Stop
        Where the meter stands when to close.
    was_hours, was_start : float or None, datetime.time or None
        As it was handed out before, of a changed one; None where it is new.
    """

    date: dt.date
    start: dt.time
    valve: str
    block: str
    hours: float
    m3: float | None
    in_fill: bool
    from_catalogue: bool
    litres_per_tree: float | None
    changed: bool = False
    pulses: int = 1
    on_min: int = 0
    off_min: int = 0
    block_id: int = 0
    place: int | None = None
    pump: str = ""
    pressure_kpa: float | None = None
    stop: Stop = _UNREAD
    was_hours: float | None = None
    was_start: dt.time | None = None

    @property
    def ends(self) -> dt.datetime:
        """When the valve is closed for good, pauses between the parts counted."""
        begin = dt.datetime.combine(self.date, self.start)
        return begin + dt.timedelta(hours=self.hours, minutes=self.off_min * (self.pulses - 1))


@dataclass(frozen=True)
class DayMark:
    """Blocks that are sprayed, fed or kept dry on a day (``kind``: one of :data:`MARKS`)."""

    date: dt.date
    kind: str
    blocks: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """One valve-person's week, by day, each day in walking order.

    Attributes
    ----------
    number : int or None
        Of the handed-out week; None for a proposal.
    last : datetime.date or None
        Its last day, where that is not the seventh: a correction for the rest of a week.
    marks : tuple of DayMark
    dropped : tuple of SheetLine
        Waterings handed out before that a corrected week takes away.
    """

    person: str
    first: dt.date
    number: int | None
    given_at: dt.datetime | None
    lines: tuple[SheetLine, ...]
    last: dt.date | None = None
    marks: tuple[DayMark, ...] = ()
    dropped: tuple[SheetLine, ...] = ()

    @property
    def until(self) -> dt.date:
        """Last day it holds for."""
        return self.last or self.first + dt.timedelta(days=GIVEN_DAYS - 1)


def valve_sheets(
    season: Season, given: GivenWeek | None = None, person: str | None = None
) -> tuple[Sheet, ...]:  # fmt: skip
    """Return one sheet a valve-person, of the week as planned or as handed out.

    Hours, starts and volumes of a handed-out week are those stored with it, whatever is planned
    since; its meter stops rest on what was read before it began.

    Parameters
    ----------
    person : str, optional
        Only this one's; ``""`` of the blocks nobody is named for.

    Raises
    ------
    Refused
        ``sheet.no_person``.
    """
    first = given.first if given is not None else season.on
    last = given.last if given is not None else first + dt.timedelta(days=WEEK - 1)
    sets = given.sets if given is not None else _planned_sets(season)
    before = _corrected(season, given)
    by_id = {b.block.id: b for b in season.blocks}
    known = [s for s in sets if s.block_id in by_id]
    dials = stops(season, known, first, partial(_length, by_id))
    lines: dict[str, list[SheetLine]] = {}
    for s in _walk(known, by_id):
        b = by_id[s.block_id]
        line = _line(season, b, s, first, dials, before)
        lines.setdefault(_person(b), []).append(line)
    gone = _dropped(season, by_id, sets, first, last, dials, before)
    marks = _marks(season, first, last)
    people = sorted({*lines, *gone, *marks})
    return tuple(
        Sheet(
            name, first, given.number if given is not None else None,
            given.given_at if given is not None else None, tuple(lines.get(name, ())),
            given.until if given is not None else None, marks.get(name, ()),
            tuple(gone.get(name, ())),
        )
        for name in (people if person is None else [_known_person(season, person)])
        if name in people
    )  # fmt: skip


def people(season: Season) -> tuple[str, ...]:
    """Return the valve-persons of the blocks by name; ``""`` where a block names nobody."""
    return tuple(sorted({_person(b) for b in season.blocks}))


def set_rows(sheets: Iterable[Sheet]) -> list[dict[str, Any]]:
    """Return every watering as a row of numbers (:data:`SET_COLUMNS`), in the sheets' order."""
    rows = []
    for sheet in sheets:
        for x in in_order(sheet):
            values = (
                sheet.person, x.date, x.start, x.place, x.valve, x.block, x.hours, x.m3, x.stop.m3,
                x.pressure_kpa, x.pump or None, x.pulses, x.on_min, x.off_min, x.was_hours,
                x.was_start, sheet.number,
            )  # fmt: skip
            rows.append(dict(zip(SET_COLUMNS, values, strict=True)))
    return rows


def in_order(sheet: Sheet) -> list[SheetLine]:
    """Return waterings and those taken away by day, the latter last in each."""
    return sorted((*sheet.lines, *sheet.dropped), key=lambda x: (x.date, x.hours == 0))


def _person(b: BlockSeason) -> str:
    return b.block.valve_person or ""


def _known_person(season: Season, wanted: str) -> str:
    names = people(season)
    for name in names:
        if fold(name) == fold(wanted):
            return name
    raise Refused("sheet.no_person", person=wanted, known=[n for n in names if n])


def _walk(sets: Sequence[GivenSet], by_id: Mapping[int, BlockSeason]) -> list[GivenSet]:
    return sorted(sets, key=lambda s: (s.date, *walk_key(by_id[s.block_id].block), s.start))


def _length(by_id: Mapping[int, BlockSeason], s: GivenSet) -> dt.timedelta:
    cut = pulses_of_hours(s.hours, by_id[s.block_id].limits)
    return dt.timedelta(
        hours=s.hours, minutes=cut.get("off_min", 0) * (cut.get("pulses", 1) - 1)
    )  # fmt: skip


def _line(
    season: Season, b: BlockSeason, s: GivenSet, first: dt.date, dials: Mapping[Place, Stop],
    before: Mapping[Place, tuple[float, dt.time]] | None,
) -> SheetLine:  # fmt: skip
    was = before.get((s.block_id, s.date)) if before is not None else None
    changed = before is not None and was != (s.hours, s.start)
    i = (max(first, season.first) - season.first).days
    return SheetLine(
        s.date, s.start, b.block.valve or "", b.block.name, s.hours, s.m3,
        ALL_STAGES[b.clock.stage[i]] == "fill", b.flow.source == "catalogue",
        s.m3 * 1000 / b.trees if s.m3 is not None and b.trees else None,
        changed, **pulses_of_hours(s.hours, b.limits),
        block_id=b.block.id, place=b.block.valve_order, pump=season.orchard.pump_of(b.block).name,
        pressure_kpa=b.block.pressure_kpa, stop=dials.get((s.block_id, s.date), _UNREAD),
        was_hours=was[0] if was is not None and changed else None,
        was_start=was[1] if was is not None and changed else None,
    )  # fmt: skip


def _dropped(
    season: Season, by_id: Mapping[int, BlockSeason], sets: Sequence[GivenSet], first: dt.date,
    last: dt.date, dials: Mapping[Place, Stop],
    before: Mapping[Place, tuple[float, dt.time]] | None,
) -> dict[str, list[SheetLine]]:  # fmt: skip
    """Return by person what was handed out before and falls away, as lines of 0 hours."""
    kept = {(s.block_id, s.date) for s in sets}
    gone = [
        GivenSet(block_id, date, start, 0.0, 0.0, 0.0)
        for (block_id, date), (hours, start) in (before or {}).items()
        if hours > 0 and first <= date <= last and (block_id, date) not in kept
        and block_id in by_id
    ]  # fmt: skip
    found: dict[str, list[SheetLine]] = {}
    for s in _walk(gone, by_id):
        b = by_id[s.block_id]
        found.setdefault(_person(b), []).append(_line(season, b, s, first, dials, before))
    return found


def _marks(season: Season, first: dt.date, last: dt.date) -> dict[str, tuple[DayMark, ...]]:
    """Return the field days of each person's blocks from ``first`` to ``last``."""
    days = [first + dt.timedelta(days=i) for i in range((last - first).days + 1)]
    found: dict[str, dict[tuple[dt.date, int], list[str]]] = {}
    for b in sorted(season.blocks, key=lambda b: walk_key(b.block)):
        marked = {(j.date, MARKS.index(j.kind)) for j in b.work.in_days(first, len(days))}
        past = [d for d in days if d < season.on]
        dry = fieldwork.dry_days(b.block, season.orchard, b.work.jobs, past, b.limits.longest_h)
        kept = {*dry.closed, *(d for d in b.work.dry if first <= d <= last)}
        for place in {*marked, *((d, MARKS.index(DRY)) for d in kept)}:
            found.setdefault(_person(b), {}).setdefault(place, []).append(b.block.name)
    return {
        person: tuple(DayMark(d, MARKS[k], tuple(names)) for (d, k), names in sorted(own.items()))
        for person, own in found.items()
    }  # fmt: skip


def _corrected(
    season: Season, given: GivenWeek | None
) -> dict[Place, tuple[float, dt.time]] | None:  # fmt: skip
    """Return hours and start as handed out before a correction; None where it is none."""
    if given is None or given.until is None:
        return None
    earlier = [w for w in season.data.given if w.number < given.number]
    was = given_on(earlier, given.first)
    return {(s.block_id, s.date): (s.hours, s.start) for s in was.sets} if was else {}


def _planned_sets(season: Season) -> tuple[GivenSet, ...]:
    return tuple(
        GivenSet(b.block.id, season.on + dt.timedelta(days=s.day), s.start or dt.time(0),
                 s.hours, s.mm, s.m3)
        for b in season.blocks
        for s in b.plan.sets
        if s.hours is not None
    )  # fmt: skip
