"""The moment of every row: its local day and minute, whatever the file writes.

Rules: a stamp with an offset, ``Z``, "UTC" in the header or epoch seconds is turned into the
time of the place (asked where it is not known).  A file of one row a day stamped 00:00 keeps its
dates as written.  24:00 belongs to the day that ends.  Hours written 1 to 24, and a file that
starts one step after midnight and ends at midnight, are stamped at the end of the interval.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Note, Refused
from waterbudget.weather.asking import Asker, parse_zone
from waterbudget.weather.cells import squeeze
from waterbudget.weather.dates import (
    MONTH_OF,
    NO_DAY,
    Days,
    Parts,
    date_of,
    day_number,
    full_year,
    is_spreadsheet_number,
    read_minutes,
    read_parts,
    year_day,
)
from waterbudget.weather.order import DateColumn, settle
from waterbudget.weather.table import Table
from waterbudget.weather.timecols import TimeColumns
from waterbudget.weather.words import date_order_said, plain

Minutes = NDArray[np.float64]
DAY = 1440.0


@dataclass
class Stamps:
    """When each kept row was taken.

    Attributes
    ----------
    day : ndarray of int, shape (rows,)
        Local day counted from 1 Jan 1970.
    minute : ndarray, shape (rows,)
        Minutes after that day's midnight, 0 to 1440.
    key : ndarray, shape (rows,)
        Unique moment [min] (in UTC where the file gives it).
    keep : ndarray of int, shape (rows,)
        Positions of the rows in the table.
    end : bool
        The file itself shows that stamps stand at the end of their interval.
    clocked : bool
        A time of day is written beside each date.
    logger : bool
        The header is a data logger's.
    zone : datetime.tzinfo or None
        The zone the moments were brought into, where the file tells an offset.
    """

    day: Days
    minute: Minutes
    key: Minutes
    keep: NDArray[np.int64]
    end: bool = False
    clocked: bool = False
    logger: bool = False
    zone: dt.tzinfo | None = None
    notes: list[Note] = field(default_factory=list)


_BOTH = re.compile(
    r"(?P<d>.+?)(?:\s*[T,]\s*|\s+|:)(?P<t>\d{1,2}\s*[:h]\s*\d{0,2}(?:\s*:\s*\d{2}(?:[.,]\d+)?)?"
    r"\s*(?:[ap]\.?\s?(?:m\.?)?)?)\s*(?P<z>Z|UTC|GMT|[-+]\d{2}:?\d{2}|[-+]\d{2})?\s*",
    re.IGNORECASE,
)
_BASIC = re.compile(r"(\d{8})T(\d{2})(\d{2})(\d{2})?(?:[.,]\d+)?(Z|[-+]\d{2}:?\d{2})?")
_ZONE_ONLY = re.compile(r"(?P<d>.+?)\s*(?P<z>Z|UTC|GMT)\s*", re.IGNORECASE)


def _split(cell: str) -> tuple[str, str, str]:
    """Return the date, the clock and the offset written in one cell."""
    if len(cell) == 10 and cell[4] == cell[7] == "-":
        return cell, "", ""
    if len(cell) in (16, 19) and cell[10] in " T" and cell[13] == ":":
        return cell[:10], cell[11:], ""
    basic = _BASIC.fullmatch(cell)
    if basic:
        return basic[1], f"{basic[2]}:{basic[3]}:{basic[4] or '00'}", basic[5] or ""
    match = _BOTH.fullmatch(cell)
    if match:
        return match["d"].rstrip(" ,"), match["t"], match["z"] or ""
    match = _ZONE_ONLY.fullmatch(cell)
    return (match["d"], "", match["z"]) if match and match["d"][-1].isdigit() else (cell, "", "")


def _offset(text: str) -> float:
    if not text or text.upper() in ("Z", "UTC", "GMT"):
        return 0.0
    zone = parse_zone(text)
    shift = zone.utcoffset(None) if zone is not None else None
    return shift.total_seconds() / 60.0 if shift is not None else 0.0


@dataclass
class _Raw:
    dates: list[str]
    minutes: list[float]
    zones: list[str]
    keep: list[int]
    clocked: bool = False


def _read_dates(table: Table, cols: TimeColumns) -> tuple[_Raw, dict[str, Parts]]:
    assert cols.date is not None
    raw = _Raw([], [], [], [])
    parts: dict[str, Parts] = {}
    clock: dict[str, float | None] = {"": 0.0}
    left: list[int] = []
    for i, row in enumerate(table.rows):
        cell = squeeze(row[cols.date])
        date, time, zone = _split(cell) if cell else ("", "", "")
        if date not in parts:
            one = read_parts(date) if date else None
            if one is None:
                left.append(i)
                continue
            parts[date] = one
        if time not in clock:
            clock[time] = read_minutes(time)
        minutes = clock[time]
        raw.clocked = raw.clocked or time != ""
        if minutes is None:
            raise Refused("weather.bad_time", line=table.at[i], text=cell)
        raw.dates.append(date)
        raw.minutes.append(minutes + parts[date].minutes)
        raw.zones.append(zone)
        raw.keep.append(i)
    if left:
        _judge_left(table, left, raw.keep, cols.date)
    return raw, parts


def _judge_left(table: Table, left: list[int], kept: list[int], column: int) -> None:
    """Let rows without a date go if they are headings or totals; refuse if they are readings."""
    last = kept[-1] if kept else -1
    for i in left:
        text = squeeze(table.rows[i][column])
        wordy = bool(text) and not any(c.isdigit() for c in text)
        total = any(c.isalpha() for c in text) and not any(c.isdigit() for c in text[:1])
        if not (wordy or total or i > last):
            code = "weather.bad_date" if text else "weather.row_without_date"
            raise Refused(code, line=table.at[i], text=text or table.raw[table.at[i] - 1][:60])
        if i > last and text and any(c.isdigit() for c in text[:1]) and i != len(table.rows) - 1:
            raise Refused("weather.bad_date", line=table.at[i], text=text)
    lines = [table.at[i] for i in left]
    table.notes.append(
        Note.of("weather.note.lines_left_out", count=len(lines), line=lines[0],
                text=table.raw[lines[0] - 1].strip()[:60])
    )  # fmt: skip


def _clock_minutes(table: Table, cols: TimeColumns, keep: list[int]) -> tuple[Minutes, bool]:
    """Return the minutes told by clock or hour columns, and whether hours run 1 to 24."""
    if cols.clock is not None:
        cells = [squeeze(table.rows[i][cols.clock]) for i in keep]
        of = {c: (read_minutes(c) if c else 0.0) for c in set(cells)}
        for i, c in zip(keep, cells, strict=True):
            if of[c] is None:
                raise Refused("weather.bad_time", line=table.at[i], text=c)
        return np.array([of[c] for c in cells], dtype=float), False
    if "hour" not in cols.parts:
        return np.zeros(len(keep)), False
    hours = _hours(table, cols.parts["hour"], keep)
    if hours.max() > 24:
        if (hours % 100 >= 60).any() or hours.max() > 2400:
            i = int(np.flatnonzero((hours % 100 >= 60) | (hours > 2400))[0])
            raise Refused("weather.bad_time", line=table.at[keep[i]], text=f"{hours[i]:g}")
        return hours // 100 * 60.0 + hours % 100, False
    minutes = hours * 60.0
    if "minute" in cols.parts:
        minutes = minutes + _whole(table, cols.parts["minute"], keep)
    return minutes, bool(hours.min() >= 1 and hours.max() == 24)


def _hours(table: Table, column: int, keep: list[int]) -> Minutes:
    """Return hours written whole, as hhmm, or as a spreadsheet's part of a day."""
    cells = [table.rows[i][column] for i in keep]
    of = {}
    for cell in set(cells):
        try:
            of[cell] = float(squeeze(cell).replace(",", "."))
        except ValueError:
            return _whole(table, column, keep)
    if not any(0.0 < v < 1.0 for v in of.values()) or not all(0.0 <= v < 1.0 for v in of.values()):
        return _whole(table, column, keep)
    return np.array([round(of[c] * 1440.0) / 60.0 for c in cells])


def _whole(table: Table, column: int, keep: list[int]) -> Minutes:
    values = np.empty(len(keep))
    of: dict[str, float] = {}
    for k, i in enumerate(keep):
        cell = table.rows[i][column]
        if cell not in of:
            text = squeeze(cell).replace(",", ".")
            try:
                of[cell] = float(MONTH_OF.get(plain(text), text))
            except ValueError:
                raise Refused("weather.bad_date", line=table.at[i], text=text or "-") from None
            if not np.isfinite(of[cell]) or of[cell] != int(of[cell]):
                raise Refused("weather.bad_date", line=table.at[i], text=text)
        values[k] = of[cell]
    return values


def _by_parts(table: Table, cols: TimeColumns) -> tuple[Days, list[int]]:
    """Return the days told by year, month and day (or day of the year) columns."""
    first = cols.parts["year"]
    keep: list[int] = []
    left: list[int] = []
    for i, row in enumerate(table.rows):
        (keep if any(c.isdigit() for c in row[first]) else left).append(i)
    if left:
        _judge_left(table, left, keep, first)
    year = _whole(table, first, keep)
    other = "doy" if "doy" in cols.parts else "month"
    second = _whole(table, cols.parts[other], keep)
    third = np.ones(len(keep)) if other == "doy" else _whole(table, cols.parts["day"], keep)
    of: dict[tuple[int, int, int], int] = {}
    days = np.empty(len(keep), dtype=np.int64)
    for k, one in enumerate(
        zip(year.astype(int), second.astype(int), third.astype(int), strict=True)
    ):
        if one not in of:
            y = full_year(int(one[0]), 4 if one[0] > 99 else 2)
            of[one] = year_day(y, one[1]) if other == "doy" else day_number(y, one[1], one[2])
            if of[one] == NO_DAY:
                text = "-".join(str(p) for p in (one[:2] if other == "doy" else one))
                raise Refused("weather.no_such_date", line=table.at[keep[k]], text=text)
        days[k] = of[one]
    return days, keep


def read_stamps(table: Table, cols: TimeColumns, asker: Asker, zone: dt.tzinfo | None) -> Stamps:
    """Return when each row of the table was taken.

    Raises
    ------
    Refused
        ``weather.bad_date``, ``weather.bad_time``, ``weather.no_such_date``,
        ``weather.mixed_dates``, ``weather.row_without_date``.
    """
    notes: list[Note] = []
    utc: Minutes | None = None
    clocked = False
    if cols.date is None:
        days, keep = _by_parts(table, cols)
        minutes, hour_ending = _clock_minutes(table, cols, keep)
    else:
        raw, parts = _read_dates(table, cols)
        keep, clocked = raw.keep, raw.clocked
        if not keep:
            i = 0
            raise Refused(
                "weather.bad_date", line=table.at[i], text=squeeze(table.rows[i][cols.date])
            )
        own = np.array(raw.minutes)
        extra, hour_ending = _clock_minutes(table, cols, keep)
        minutes = own if own.any() else own + extra
        lines = [table.at[i] for i in keep]
        head = f"{table.names[cols.date]} {table.units[cols.date]}"
        said = date_order_said(table.names[cols.date]) or date_order_said(table.units[cols.date])
        column = DateColumn(raw.dates, parts, lines)
        days = settle(column, minutes, said, asker, notes, table.sample())
        if any(is_spreadsheet_number(d) for d in parts) and "epoch" not in plain(head):
            notes.append(
                Note.of("weather.note.spreadsheet_days", first=date_of(int(days.min())).isoformat())
            )
        epoch = any(p.utc for p in parts.values())
        if any(raw.zones) or epoch:
            of = {z: _offset(z) for z in set(raw.zones)}
            utc = days * DAY + minutes - np.array([of[z] for z in raw.zones])
    if utc is None and cols.zone:
        utc = days * DAY + minutes - _offset(cols.zone)
    stamps = Stamps(days, minutes, days * DAY + minutes, np.array(keep, dtype=np.int64))
    stamps.notes = notes
    stamps.clocked = clocked
    if utc is not None:
        _to_place(stamps, utc, asker, zone)
    stamps.end = hour_ending or bool((stamps.minute == DAY).any())
    return stamps


def is_daily(stamps: Stamps) -> bool:
    """Tell whether the file has one row a day (doubles aside)."""
    if len(np.unique(stamps.minute)) == 1:
        return True
    counts = Counter(stamps.day.tolist())
    return sum(1 for n in counts.values() if n > 1) <= 0.02 * len(counts)


def _to_place(stamps: Stamps, utc: Minutes, asker: Asker, zone: dt.tzinfo | None) -> None:
    """Turn moments in UTC into the day and minute of the place."""
    stamps.key = utc
    if len(np.unique(utc % DAY)) == 1 and is_daily(stamps) and stamps.minute[0] == 0.0:
        return  # one row a day, dated by the file itself
    if zone is None or asker.given("time_zone"):
        zone = asker.ask_zone() or zone or dt.UTC
    hours = np.floor(utc / 15.0).astype(np.int64)
    shift = {}
    for h in np.unique(hours).tolist():
        moment = dt.datetime.fromtimestamp(h * 900, dt.UTC).astimezone(zone)
        offset = moment.utcoffset()
        shift[h] = offset.total_seconds() / 60.0 if offset is not None else 0.0
    local = utc + np.array([shift[h] for h in hours.tolist()])
    stamps.day = np.floor(local / DAY).astype(np.int64)
    stamps.minute = local - stamps.day * DAY
    stamps.zone = zone
    name = str(zone)
    stamps.notes.append(Note.of("weather.note.zone", zone=name))
