"""What really ran: one entry, a whole day in one pass, or a file."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from waterbudget.actions.files import decode, read_file
from waterbudget.errors import Refused
from waterbudget.orchard import Block, fold, read_date
from waterbudget.records import FarmData, Ran
from waterbudget.store import FarmFile

LONGEST_H = 24.0
AHEAD_DAYS = 7

Entry = tuple[float | None, float | None]
"""Hours, cubic metres; one of the two."""


@dataclass(frozen=True)
class RanDone:
    """How many entries a file brought, and how many were there already."""

    added: int
    unchanged: int


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
    held = [r for r in data.ran if r.block_id == block.id and r.date == date]
    if remove:
        if not held:
            raise Refused("ran.nothing_there", block=block.name, date=date)
        new: list[Entry] = []
    else:
        entry = _checked(block, date, hours, m3, data, now)
        same = any((r.hours, r.m3) == entry for r in held)
        if held and not again and not same:
            raise Refused("ran.entered_already", block=block.name, date=date,
                          was=_figure(held[0]))  # fmt: skip
        if same and not again:
            return tuple(held)
        new = [*((r.hours, r.m3) for r in held), entry]
    _store(file, {block.id: (date, new)}, now, "ran.entered", block=block.name, date=date)
    return tuple(r for r in file.read().ran if r.block_id == block.id and r.date == date)


def enter_day(
    file: FarmFile, date: dt.date, entries: Mapping[str, Sequence[Entry]], *, now: dt.datetime
) -> None:
    """Put a whole day's entries in the place of what those blocks had on that day."""
    data = file.read()
    new = {}
    for name, figures in entries.items():
        block = data.orchard.block(name)
        new[block.id] = (date, [_checked(block, date, h, v, data, now) for h, v in figures])
    _store(file, new, now, "ran.day", date=date, blocks=len(new))


def import_ran(file: FarmFile, path: Path, *, now: dt.datetime) -> RanDone:
    """Read ``block,date,hours,m3`` rows; all of them or none.

    A block and day that is stored already with the same figures is left as it is.

    Raises
    ------
    Refused
        Naming the line, or the first day that holds other figures.
    """
    data = file.read()
    wanted: dict[tuple[int, dt.date], list[Entry]] = {}
    names = {}
    for line, row in _rows(path):
        try:
            block = data.orchard.block(row["block"])
            date = read_date(row["date"], "date")
            hours, m3 = _cell(row, "hours"), _cell(row, "m3")
            entry = _checked(block, date, hours if m3 is None else None, m3, data, now)
        except Refused as fault:
            raise Refused("csv.row", line=line, file=path.name, block=row["block"],
                          fault=fault) from None  # fmt: skip
        wanted.setdefault((block.id, date), []).append(entry)
        names[block.id] = block.name
    held: dict[tuple[int, dt.date], list[Entry]] = {}
    for r in data.ran:
        held.setdefault((r.block_id, r.date), []).append((r.hours, r.m3))
    new, unchanged = {}, 0
    for (block_id, date), entries in wanted.items():
        there = held.get((block_id, date))
        if there is None:
            new[block_id, date] = entries
        elif sorted(map(repr, there)) == sorted(map(repr, entries)):
            unchanged += len(entries)
        else:
            raise Refused("ran.other_entry", block=names[block_id], date=date, file=path.name)
    added = sum(len(e) for e in new.values())
    with file.transaction("ran.imported", now=now, file=path.name, added=added) as open_file:
        for (block_id, date), entries in new.items():
            open_file.set_ran(block_id, date, [Ran(block_id, date, h, v) for h, v in entries])
    return RanDone(added, unchanged)


def _store(
    file: FarmFile, new: Mapping[int, tuple[dt.date, list[Entry]]], now: dt.datetime, what: str,
    **fields: object,
) -> None:  # fmt: skip
    with file.transaction(what, now=now, **fields) as open_file:
        for block_id, (date, entries) in new.items():
            open_file.set_ran(block_id, date, [Ran(block_id, date, h, v) for h, v in entries])


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


def _cell(row: Mapping[str, str], column: str) -> float | None:
    text = row.get(column, "").strip()
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise Refused("key.bad_number", key=column, value=text) from None


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    text = decode(read_file(path), path.name)
    delimiter = max(",;\t", key=text.split("\n", 1)[0].count)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    head = [fold(h) for h in next(reader, [])]
    for column in ("block", "date"):
        if column not in head:
            raise Refused("csv.no_name_column", file=path.name, column=column)
    if not {"hours", "m3"} & set(head):
        raise Refused("csv.no_name_column", file=path.name, column="hours")
    rows = []
    for cells in reader:
        if any(c.strip() for c in cells):
            cells += [""] * (len(head) - len(cells))
            rows.append((reader.line_num, dict(zip(head, cells, strict=False))))
    if not rows:
        raise Refused("csv.empty", file=path.name)
    return rows
