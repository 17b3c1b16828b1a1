"""The week as lines for the valve staff, one sheet a person."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from waterbudget.records import GivenSet, GivenWeek
from waterbudget.season import Season


@dataclass(frozen=True)
class SheetLine:
    """One watering on the paper for the valve staff."""

    date: dt.date
    start: dt.time
    valve: str
    block: str
    hours: float
    m3: float | None
    in_fill: bool
    from_catalogue: bool
    litres_per_tree: float | None


@dataclass(frozen=True)
class Sheet:
    """One valve-person's week, by day and start time.

    Attributes
    ----------
    number : int or None
        Of the handed-out week; None for a proposal.
    """

    person: str
    first: dt.date
    number: int | None
    given_at: dt.datetime | None
    lines: tuple[SheetLine, ...]


def valve_sheets(season: Season, given: GivenWeek | None = None) -> tuple[Sheet, ...]:
    """Return one sheet a valve-person, of the week as planned or as handed out."""
    by_id = {b.block.id: b for b in season.blocks}
    sets = given.sets if given is not None else _planned_sets(season)
    people: dict[str, list[SheetLine]] = {}
    for s in sets:
        b = by_id.get(s.block_id)
        if b is None:
            continue
        litres = s.m3 * 1000 / b.trees if s.m3 is not None and b.trees else None
        line = SheetLine(
            s.date, s.start, b.block.valve or "", b.block.name, s.hours, s.m3,
            season.stage(b) == "fill", b.flow.source == "catalogue", litres,
        )  # fmt: skip
        people.setdefault(b.block.valve_person or "", []).append(line)
    return tuple(
        Sheet(
            person, given.first if given is not None else season.on,
            given.number if given is not None else None,
            given.given_at if given is not None else None,
            tuple(sorted(lines, key=lambda x: (x.date, x.start, x.valve, x.block))),
        )
        for person, lines in sorted(people.items())
    )  # fmt: skip


def _planned_sets(season: Season) -> tuple[GivenSet, ...]:
    return tuple(
        GivenSet(b.block.id, season.on + dt.timedelta(days=s.day), s.start or dt.time(0),
                 s.hours, s.mm, s.m3)
        for b in season.blocks
        for s in b.plan.sets
        if s.hours is not None
    )  # fmt: skip
