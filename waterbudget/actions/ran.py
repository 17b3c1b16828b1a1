"""What really ran: one entry, a whole day in one pass, or a file; by the clock or by the meter."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from waterbudget.actions import doubtful
from waterbudget.actions.doubtful import LONGEST_H, Doubts, Entry
from waterbudget.actions.files import Row, csv_rows, need_columns, number_cell
from waterbudget.errors import Note, Refused
from waterbudget.orchard import Block, read_date
from waterbudget.records import FarmData, MeterReading, Ran, given_on
from waterbudget.season import metering
from waterbudget.store import FarmFile

AHEAD_DAYS = 7


@dataclass(frozen=True)
class RanDone:
    """How many entries a file brought, how many were there already, and what to tell of it."""

    added: int
    unchanged: int
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class MeterDone:
    """What a reading of a meter came to.

    Attributes
    ----------
    m3 : float or None
        Since the reading before; None for a first one, or where it was taken away.
    since : datetime.date or None
        Day of the reading before.
    waterings : int
        How many waterings share it.
    """

    reading: MeterReading | None
    m3: float | None = None
    since: dt.date | None = None
    waterings: int = 0
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class DayHeld:
    """What some blocks had of a day, to be put back as it was."""

    entries: Mapping[str, tuple[Entry, ...]] = field(default_factory=dict)
    dials: Mapping[str, MeterReading | None] = field(default_factory=dict)


def enter_ran(
    file: FarmFile, block_name: str, date: dt.date, *, hours: float | None = None,
    m3: float | None = None, again: bool = False, remove: bool = False,
    answers: Mapping[str, str] | None = None, now: dt.datetime,
) -> tuple[Ran, ...]:  # fmt: skip
    """Enter one watering of a block, a second one of the day (``again``), or take a day's away.

    ``hours=0`` says that it did not run.  Of hours and m3 together the m3 count, and the flow is
    looked at.  The same entry twice is one entry.  A reading of the meter goes with ``remove``.

    Raises
    ------
    Refused
        For an impossible figure, or where the day holds another entry already.
    AnswersNeeded
        For a doubtful one; see :mod:`waterbudget.actions.doubtful`.
    """
    data = file.read()
    block = data.orchard.block(block_name)
    doubts = Doubts(answers or {})
    figures = None
    if not remove:
        figures = _checked(block, date, hours, m3, data, now)
        figures = doubtful.entry(doubts, block, date, figures, _planned(data, block, date))
        doubts.settle()
    held = _held(data, block, date)
    if not again and any((r.hours, r.m3) == figures for r in held):
        return held
    told = {"hours": figures[0], "m3": figures[1]} if figures else {"remove": True}
    with file.transaction("ran.entered", now=now, block=block.name, date=date,
                          **told) as open_file:  # fmt: skip
        data = open_file.read()
        held = _held(data, block, date)
        new: list[Entry] = []
        dial = _dial(data, block, date)
        if figures is None and not held and dial is None:
            raise Refused("ran.nothing_there", block=block.name, date=date)
        if figures is not None:
            new = [*((r.hours, r.m3) for r in held), figures]
            if held and not again:
                was = ", ".join(map(_figure, held))
                raise Refused("ran.entered_already", block=block.name, date=date, was=was)
        elif dial is not None:
            open_file.drop_row(MeterReading, dial.id)
        _store(open_file, block, date, new)
    return _held(file.read(), block, date)


def enter_meter(
    file: FarmFile, block_name: str, date: dt.date, dial: float, *, hours: float | None = None,
    again: bool = False, answers: Mapping[str, str] | None = None, now: dt.datetime,
) -> MeterDone:  # fmt: skip
    """Enter what the meter of a block showed after the water of a day, and how long it ran.

    Parameters
    ----------
    hours : float, optional
        What ran that day; left out, the waterings entered or handed out since the reading before
        share what it measured.
    again : bool
        A later reading of the day takes the place of the earlier one (and ``hours`` are a second
        watering).

    Raises
    ------
    Refused
        For an impossible figure, or where the day holds another reading or entry already.
    AnswersNeeded
        Where the meter went backwards, or measured more than can have run.
    """
    data = file.read()
    block = data.orchard.block(block_name)
    doubts = Doubts(answers or {})
    held = _dial(data, block, date)
    if held is not None and held.m3 != dial and not again:
        raise Refused(
            "ran.meter_entered_already", block=block.name, date=date, was=doubtful.plain(held.m3)
        )
    with file.transaction("ran.meter", now=now, block=block.name, date=date, m3=dial,
                          hours=hours) as open_file:  # fmt: skip
        data = open_file.read()
        if hours is not None:
            figures = _checked(block, date, hours, None, data, now)
            figures = doubtful.entry(doubts, block, date, figures, _planned(data, block, date))
            there = _held(data, block, date)
            if there and not again and (figures[0], figures[1]) not in _entries(there):
                was = ", ".join(map(_figure, there))
                raise Refused("ran.entered_already", block=block.name, date=date, was=was)
            if again or not there:
                _store(open_file, block, date, [*_entries(there), figures])
        _in_time(block, date, data, now)
        reading = doubtful.dial(doubts, data, block, date, dial)
        doubts.settle()
        _put_dial(open_file, held, reading)
        doubtful.measured(doubts, open_file.read(), reading)
        doubts.settle()
    return _meter_done(file.read(), block, date)


def _meter_done(data: FarmData, block: Block, date: dt.date) -> MeterDone:
    reading = metering.same_day(metering.readings_of(data, block), date)
    found = metering.steps(data, date + dt.timedelta(days=1), block)
    step = next((s for s in found if s.reading.date == date), None)
    shared = metering.meter_blocks(data, block)
    notes = []
    if len(shared) > 1:
        names = ", ".join(b.name for b in shared)
        notes.append(Note.of("ran.meter_shared", meter=block.meter, blocks=names))
    if step is None:
        notes.append(Note.of("ran.meter_first", block=block.name, date=date))
        return MeterDone(reading, notes=tuple(notes))
    return MeterDone(reading, step.m3, step.before.date, len(step.shares), tuple(notes))


def enter_day(
    file: FarmFile, date: dt.date, entries: Mapping[str, Sequence[Entry]], *,
    dials: Mapping[str, float | None] | None = None, answers: Mapping[str, str] | None = None,
    now: dt.datetime,
) -> DayHeld:  # fmt: skip
    """Put a whole day's entries in the place of what those blocks had on that day.

    Parameters
    ----------
    dials : mapping of block name to m3 or None
        What meters showed after the water of the day; None takes a reading away.

    Returns
    -------
    DayHeld
        What there was before, for :func:`put_day`.

    Raises
    ------
    AnswersNeeded
        For doubtful figures; the keys name block and day.
    """
    dials, doubts = dials or {}, Doubts(answers or {}, single=False)
    count = len({*entries, *dials})
    with file.transaction("ran.day", now=now, date=date, blocks=count) as open_file:
        data = open_file.read()
        before = _day_held(data, date, [*entries], [*dials])
        for name, figures in entries.items():
            block = data.orchard.block(name)
            planned = _planned(data, block, date)
            new = [_checked(block, date, h, v, data, now) for h, v in figures]
            new = [doubtful.entry(doubts, block, date, e, planned) for e in new]
            if not doubts.questions:
                _store(open_file, block, date, new)
        readings = []
        for name, m3 in dials.items():
            block = data.orchard.block(name)
            held = _dial(data, block, date)
            if m3 is None:
                _put_dial(open_file, held, None)
                continue
            _in_time(block, date, data, now)
            readings.append((held, doubtful.dial(doubts, data, block, date, m3)))
        doubts.settle()
        for held, reading in readings:
            _put_dial(open_file, held, reading)
        for _, reading in readings:
            doubtful.measured(doubts, open_file.read(), reading)
        doubts.settle()
    return before


def put_day(file: FarmFile, date: dt.date, held: DayHeld, *, now: dt.datetime) -> None:
    """Put a day back as it was before :func:`enter_day`; nothing is asked again."""
    count = len({*held.entries, *held.dials})
    with file.transaction("ran.day", now=now, date=date, blocks=count) as open_file:
        data = open_file.read()
        for name, entries in held.entries.items():
            _store(open_file, data.orchard.block(name), date, entries)
        for name, reading in held.dials.items():
            there = _dial(data, data.orchard.block(name), date)
            _put_dial(open_file, there, reading)


def _day_held(
    data: FarmData, date: dt.date, blocks: Sequence[str], metered: Sequence[str]
) -> DayHeld:
    return DayHeld(
        {n: tuple(_entries(_held(data, data.orchard.block(n), date))) for n in blocks},
        {n: _dial(data, data.orchard.block(n), date) for n in metered},
    )


def import_ran(
    file: FarmFile, path: Path, *, answers: Mapping[str, str] | None = None, now: dt.datetime
) -> RanDone:
    """Read ``block,date,hours,m3,meter`` rows; all of them or none.

    A block and day that is stored already with the same figures is left as it is.  Where a row
    gives both hours and m3, the m3 count and the flow is looked at.  ``meter`` is what the dial
    showed after that watering.

    Raises
    ------
    Refused
        Naming the line, or the first day that holds other figures.
    AnswersNeeded
        For doubtful figures, all at once.
    """
    rows = _rows(path)
    doubts = Doubts(answers or {}, single=False)
    with file.transaction("ran.imported", now=now, file=path.name, rows=len(rows)) as open_file:
        data = open_file.read()
        wanted, dials, both = _read_rows(rows, data, path.name, now, doubts)
        added, unchanged = _put_entries(open_file, data, wanted, path.name)
        more, same = _put_dials(open_file, data, dials, path.name, doubts)
    notes = (Note.of("ran.both_given", rows=both),) if both else ()
    return RanDone(added + more, unchanged + same, notes)


Places = dict[tuple[str, dt.date], list[Entry]]


def _put_entries(file: FarmFile, data: FarmData, wanted: Places, file_name: str) -> tuple[int, int]:
    added = unchanged = 0
    held: dict[tuple[int, dt.date], list[Entry]] = {}
    for r in data.ran:
        held.setdefault((r.block_id, r.date), []).append((r.hours, r.m3))
    for (name, date), entries in wanted.items():
        block = data.orchard.block(name)
        there = held.get((block.id, date))
        if there is None:
            _store(file, block, date, entries)
            added += len(entries)
        elif sorted(map(repr, there)) == sorted(map(repr, entries)):
            unchanged += len(entries)
        else:
            raise Refused("ran.other_entry", block=name, date=date, file=file_name)
    return added, unchanged


def _put_dials(
    file: FarmFile, data: FarmData, dials: Mapping[tuple[str, dt.date], float], file_name: str,
    doubts: Doubts,
) -> tuple[int, int]:  # fmt: skip
    new: list[MeterReading] = []
    unchanged = 0
    for (name, date), m3 in sorted(dials.items(), key=lambda item: item[0][1]):
        block = data.orchard.block(name)
        held = _dial(data, block, date)
        if held is None:
            new.append(doubtful.dial(doubts, data, block, date, m3, new))
        elif held.m3 == m3:
            unchanged += 1
        else:
            raise Refused("ran.other_entry", block=name, date=date, file=file_name)
    doubts.settle()
    for reading in new:
        file.add_row(reading)
    if new:
        whole = file.read()
        for reading in new:
            doubtful.measured(doubts, whole, reading)
        doubts.settle()
    return len(new), unchanged


def _read_rows(
    rows: Sequence[tuple[int, dict[str, str]]], data: FarmData, file_name: str, now: dt.datetime,
    doubts: Doubts,
) -> tuple[Places, dict[tuple[str, dt.date], float], int]:  # fmt: skip
    """Return entries and dials by block and day, and how many rows gave hours and m3 both."""
    wanted: Places = {}
    dials: dict[tuple[str, dt.date], float] = {}
    handed = metering.handed_out(data, dt.date.max)
    both = 0
    for line, row in rows:
        try:
            block = data.orchard.block(row["block"])
            date = read_date(row["date"], "date")
            hours, m3 = number_cell(row, "hours"), number_cell(row, "m3")
            dial = number_cell(row, "meter")
            both += hours is not None and m3 is not None
            if dial is not None:
                _in_time(block, date, data, now)
                dials[block.name, date] = max(dial, dials.get((block.name, date), dial))
            if dial is None or hours is not None or m3 is not None:
                given = handed.get((block.id, date))
                entry = _checked(block, date, hours, m3, data, now)
                entry = doubtful.entry(doubts, block, date, entry, given.hours if given else None)
                wanted.setdefault((block.name, date), []).append(entry)
        except Refused as fault:
            raise Refused("csv.row", line=line, file=file_name, block=row["block"],
                          fault=fault) from None  # fmt: skip
    doubts.settle()
    return wanted, dials, both


def _held(data: FarmData, block: Block, date: dt.date) -> tuple[Ran, ...]:
    return tuple(r for r in data.ran if r.block_id == block.id and r.date == date)


def _entries(held: Sequence[Ran]) -> list[Entry]:
    return [(r.hours, r.m3) for r in held]


def _dial(data: FarmData, block: Block, date: dt.date) -> MeterReading | None:
    own = [m for m in data.meter_readings if m.block_id == block.id and m.date == date]
    return own[-1] if own else None


def _put_dial(file: FarmFile, held: MeterReading | None, reading: MeterReading | None) -> None:
    """Put a reading in the place of the one of that day, inside a transaction."""
    if held is not None:
        file.drop_row(MeterReading, held.id)
    if reading is not None:
        file.add_row(reading)


def _planned(data: FarmData, block: Block, date: dt.date) -> float | None:
    """Return the hours handed out for a block and day."""
    week = given_on(data.given, date)
    sets = week.sets if week is not None else ()
    return next((s.hours for s in sets if (s.block_id, s.date) == (block.id, date)), None)


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
    if hours is None and m3 is None:
        raise Refused("ran.hours_or_m3", block=block.name, date=date)
    for value in (hours, m3):
        if value is not None and (not math.isfinite(value) or value < 0):
            raise Refused("ran.bad_figure", block=block.name, date=date, value=value)
    if m3 is not None and block.hectares and m3 / (block.hectares * 10) > 300:
        raise Refused("ran.too_much_water", block=block.name, date=date, m3=m3)
    _in_time(block, date, data, now)
    return (hours, m3)


def _in_time(block: Block, date: dt.date, data: FarmData, now: dt.datetime) -> None:
    latest = max([now.date(), *([last] if (last := data.last_day()) else [])])
    if date > latest + dt.timedelta(days=AHEAD_DAYS):
        raise Refused("ran.in_future", block=block.name, date=date)


def _figure(r: Ran) -> str:
    return f"{r.m3:g} m3" if r.m3 is not None else f"{r.hours:g} h"


def _rows(path: Path) -> list[Row]:
    def head_of(head: list[str]) -> list[str]:
        need_columns(path, head, ("block", "date"), ("hours", "m3", "meter"))
        return head

    return csv_rows(path, head_of)
