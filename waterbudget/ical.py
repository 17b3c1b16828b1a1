"""Calendar files as any calendar program reads them (iCalendar, RFC 5545).

Words come from the caller; nothing in here speaks.  Lines end in CR LF, are folded at 75 octets
without cutting a character, and text is escaped (3.1, 3.3.11).  Dates without an hour are whole
days, whose end is the day after the last (3.6.1); hours without a zone are local wherever they
are read (form 1 of 3.3.5), hours with one are written in UTC.  An entry keeps its UID, so that a
file brought in again changes the entries that are there instead of doubling them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from waterbudget.errors import Refused

PRODUCT = "-//waterbudget//waterbudget//EN"
LONGEST = 75
"""Octets of a line, without its end."""


@dataclass(frozen=True)
class Entry:
    """One entry of a calendar.

    Attributes
    ----------
    uid : str
        The same for the same thing in every file, such as ``"3-spray-10-2026-02-20@farm"``.
    start : datetime.date or datetime.datetime
        A whole day, or an hour of it.
    end : datetime.date or datetime.datetime or None
        Last whole day, or the hour it ends; None: that day only, or no length.
    summary, description, place : str
        In the words of the reader.
    kinds : tuple of str
        Categories, in words.
    """

    uid: str
    start: dt.date | dt.datetime
    summary: str
    end: dt.date | dt.datetime | None = None
    description: str = ""
    place: str = ""
    kinds: tuple[str, ...] = ()


def calendar_text(entries: Iterable[Entry], *, now: dt.datetime, name: str = "") -> str:
    """Return a whole calendar file.

    Parameters
    ----------
    now : datetime.datetime
        When it is written; local time where it has no zone.
    name : str
        Of the calendar, as programs list it.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN",
             "METHOD:PUBLISH"]  # fmt: skip
    if name:
        lines += [f"NAME:{escaped(name)}", f"X-WR-CALNAME:{escaped(name)}"]
    stamp = _utc(now if now.tzinfo is not None else now.astimezone())
    for entry in entries:
        lines += _event(entry, stamp)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def write(path: Path, entries: Iterable[Entry], *, now: dt.datetime, name: str = "") -> None:
    """Write a calendar file.

    Raises
    ------
    Refused
        ``file.cannot_write``.
    """
    text = calendar_text(entries, now=now, name=name)
    try:
        path.write_bytes(text.encode("utf-8"))
    except OSError as fault:
        why = fault.strerror or ""
        raise Refused("file.cannot_write", file=str(path), why=why) from None


def _event(entry: Entry, stamp: str) -> list[str]:
    lines = ["BEGIN:VEVENT", f"UID:{escaped(entry.uid)}", f"DTSTAMP:{stamp}"]
    if isinstance(entry.start, dt.datetime):
        lines.append(f"DTSTART:{_moment(entry.start)}")
        if isinstance(entry.end, dt.datetime):
            lines.append(f"DTEND:{_moment(entry.end)}")
    else:
        last = entry.end if entry.end is not None else entry.start
        after = last + dt.timedelta(days=1)  # the end is the first day that is not part of it
        lines.append(f"DTSTART;VALUE=DATE:{entry.start:%Y%m%d}")
        lines.append(f"DTEND;VALUE=DATE:{after:%Y%m%d}")
        lines.append("TRANSP:TRANSPARENT")  # whole days do not make people busy
    lines.append(f"SUMMARY:{escaped(entry.summary)}")
    if entry.description:
        lines.append(f"DESCRIPTION:{escaped(entry.description)}")
    if entry.place:
        lines.append(f"LOCATION:{escaped(entry.place)}")
    if entry.kinds:
        lines.append("CATEGORIES:" + ",".join(escaped(k) for k in entry.kinds))
    return [*lines, "END:VEVENT"]


def _moment(at: dt.datetime) -> str:
    return _utc(at) if at.tzinfo is not None else f"{at:%Y%m%dT%H%M%S}"


def _utc(at: dt.datetime) -> str:
    return f"{at.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    """Return text as a TEXT value: ``\\\\``, ``;``, ``,`` and line ends are written escaped."""
    text = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\n", "\\n")
    return "".join(c for c in text if c == "\t" or (ord(c) >= 32 and ord(c) != 127))


def folded(line: str) -> str:
    """Return a line folded so that no piece is longer than 75 octets; no character is cut."""
    pieces, piece, size = [], "", 0
    for letter in line:
        width = len(letter.encode("utf-8"))
        if size + width > LONGEST:
            pieces.append(piece)
            piece, size = " ", 1  # the blank that marks a continued line counts too
        piece += letter
        size += width
    return "\r\n".join([*pieces, piece])
