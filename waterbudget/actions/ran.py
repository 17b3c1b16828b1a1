"""What really ran: one entry, a whole day in one pass, or a file."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from waterbudget.actions.files import Row, csv_rows, need_columns, number_cell
from waterbudget.errors import Note, Refused
from waterbudget.orchard import Block, read_date
from waterbudget.records import FarmData, Ran
from waterbudget.store import FarmFile

LONGEST_H = 24.0
AHEAD_DAYS = 7

Entry = tuple[float | None, float | None]
"""Hours, cubic metres; one of the two."""


@dataclass(frozen=True)
class RanDone:
    """How many entries a file brought, how many were there already, and what to tell of it."""

    added: int
    unchanged: int
    notes: tuple[Note, ...] = ()


def enter_ran(
    file: FarmFile, block_name: str, date: dt.date, *, hours: float | None = None,
    m3: float | None = None, again: bool = False, remove: bool = False, now: dt.datetime,
) -> tuple[Ran, ...]:  # fmt: skip
    """Enter one watering of a block, a second one of the day (``again``), or take a day's away.

    ``hours=0`` says that it did not run.  The same entry twice is one entry.

    Raises
    ------
    Refused
        For an impossible figure, or where the day holds another entry already.
    """
    data = file.read()
    block = data.orchard.block(block_name)
    held = _held(data, block, date)
    if not again and not remove and any((r.hours, r.m3) == (hours, m3) for r in held):
        return held
    with file.transaction("ran.entered", now=now, block=block.name, date=date) as open_file:
        data = open_file.read()
        held = _held(data, block, date)
        new: list[Entry] = []
        if remove and not held:
            raise Refused("ran.nothing_there", block=block.name, date=date)
        if not remove:
            new = [*((r.hours, r.m3) for r in held), _checked(block, date, hours, m3, data, now)]
            if held and not again:
                was = ", ".join(map(_figure, held))
                raise Refused("ran.entered_already", block=block.name, date=date, was=was)
        _store(open_file, block, date, new)
    return _held(file.read(), block, date)


def enter_day(
    file: FarmFile, date: dt.date, entries: Mapping[str, Sequence[Entry]], *, now: dt.datetime
) -> None:
    """Put a whole day's entries in the place of what those blocks had on that day."""
    with file.transaction("ran.day", now=now, date=date, blocks=len(entries)) as open_file:
        data = open_file.read()
        for name, figures in entries.items():
            block = data.orchard.block(name)
            new = [_checked(block, date, h, v, data, now) for h, v in figures]
            _store(open_file, block, date, new)


def import_ran(file: FarmFile, path: Path, *, now: dt.datetime) -> RanDone:
    """Read ``block,date,hours,m3`` rows; all of them or none.

    A block and day that is stored already with the same figures is left as it is.  Where a row
    gives both, the cubic metres off the meter count.

    Raises
    ------
    Refused
        Naming the line, or the first day that holds other figures.
    """
    rows = _rows(path)
    added = unchanged = 0
    with file.transaction("ran.imported", now=now, file=path.name, rows=len(rows)) as open_file:
        data = open_file.read()
        wanted, both = _read_rows(rows, data, path.name, now)
        held: dict[tuple[int, dt.date], list[Entry]] = {}
        for r in data.ran:
            held.setdefault((r.block_id, r.date), []).append((r.hours, r.m3))
        for (name, date), entries in wanted.items():
            block = data.orchard.block(name)
            there = held.get((block.id, date))
            if there is None:
                _store(open_file, block, date, entries)
                added += len(entries)
            elif sorted(map(repr, there)) == sorted(map(repr, entries)):
                unchanged += len(entries)
            else:
                raise Refused("ran.other_entry", block=name, date=date, file=path.name)
    notes = (Note.of("ran.both_given", rows=both),) if both else ()
    return RanDone(added, unchanged, notes)


def _read_rows(
    rows: Sequence[tuple[int, dict[str, str]]], data: FarmData, file_name: str, now: dt.datetime
) -> tuple[dict[tuple[str, dt.date], list[Entry]], int]:
    """Return the entries by block and day, and how many rows gave hours and m3 both."""
    wanted: dict[tuple[str, dt.date], list[Entry]] = {}
    both = 0
    for line, row in rows:
        try:
            block = data.orchard.block(row["block"])
            date = read_date(row["date"], "date")
            hours, m3 = number_cell(row, "hours"), number_cell(row, "m3")
            if hours is not None and m3 is not None:
                _checked(block, date, hours, None, data, now)
                hours, both = None, both + 1
            entry = _checked(block, date, hours, m3, data, now)
        except Refused as fault:
            raise Refused("csv.row", line=line, file=file_name, block=row["block"],
                          fault=fault) from None  # fmt: skip
        wanted.setdefault((block.name, date), []).append(entry)
    return wanted, both


def _held(data: FarmData, block: Block, date: dt.date) -> tuple[Ran, ...]:
    return tuple(r for r in data.ran if r.block_id == block.id and r.date == date)


def _store(file: FarmFile, block: Block, date: dt.date, entries: Sequence[Entry]) -> None:
    """Put a day's entries in the place of what was there, inside a transaction."""
    hours = sum(h for h, _ in entries if h is not None)
    if hours > LONGEST_H:
        raise Refused("ran.too_many_hours", block=block.name, date=date, hours=hours)
    file.set_ran(block.id, date, [Ran(block.id, date, h, v) for h, v in entries])


def _checked(
    block: Block, date: dt.date, hours: float | None, m3: float | None, data: FarmData,
    now: dt.datetime,
) -> Entry:  # fmt: skip
    if (hours is None) == (m3 is None):
        raise Refused("ran.hours_or_m3", block=block.name, date=date)
    value = hours if hours is not None else m3
    if value is None or not math.isfinite(value) or value < 0:
        raise Refused("ran.bad_figure", block=block.name, date=date, value=value)
    if hours is not None and hours > LONGEST_H:
        raise Refused("ran.too_many_hours", block=block.name, date=date, hours=hours)
    if m3 is not None and block.hectares and m3 / (block.hectares * 10) > 300:
        raise Refused("ran.too_much_water", block=block.name, date=date, m3=m3)
    latest = max([now.date(), *([last] if (last := data.last_day()) else [])])
    if date > latest + dt.timedelta(days=AHEAD_DAYS):
        raise Refused("ran.in_future", block=block.name, date=date)
    return (hours, m3)


def _figure(r: Ran) -> str:
    return f"{r.hours:g} h" if r.hours is not None else f"{r.m3:g} m3"


def _rows(path: Path) -> list[Row]:
    def head_of(head: list[str]) -> list[str]:
        need_columns(path, head, ("block", "date"), ("hours", "m3"))
        return head

    return csv_rows(path, head_of)
