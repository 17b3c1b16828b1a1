"""Date texts to days: which number is the year, the month, the day.

Rules: a four-digit number is the year, a month's name the month.  Of the orders left, those are
dropped under which some row is no day of the calendar.  Where several remain, the sequence of
the rows settles it if under exactly one order the days follow each other (told in a note);
else it is asked.  A date that does not exist is refused with its line.  Two-digit years up to
69 are 20xx.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waterbudget.weather.vocabulary import words_of
from waterbudget.weather.words import plain

Days = NDArray[np.int64]
NO_DAY = -(10**7)
_EPOCH = dt.date(1970, 1, 1).toordinal()

_MONTHS = {
    1: "jan january ene enero janeiro janv janvier jany januar januarie gen gennaio",
    2: "feb february febrero fev fevereiro fevr fevrier februar februarie feber febbraio",
    3: "mar march marzo marco mars marz maerz maart mrt",
    4: "apr april abr abril avr avril aprile",
    5: "may mayo mai maio mei mag maggio",
    6: "jun june junio junho juin juni junie giu giugno",
    7: "jul july julio julho juil juillet jly juli julie lug luglio",
    8: "aug august ago agosto aou aout augustus",
    9: "sep sept september septiembre setiembre set setembro septembre settembre",
    10: "oct october octubre out outubro octobre okt oktober ott ottobre",
    11: "nov november noviembre novembro novembre",
    12: "dec december dic diciembre dez dezembro decembre dezember des desember dicembre",
}
MONTH_OF = {name: month for month, names in _MONTHS.items() for name in names.split()}

ORDERS = {"dmy": (2, 1, 0), "mdy": (2, 0, 1), "ymd": (0, 1, 2), "ydm": (0, 2, 1)}
"""Where year, month and day stand in the three parts of a date."""


@dataclass(frozen=True)
class Parts:
    """A date as written: three numbers and the orders they can stand in; or a day outright."""

    numbers: tuple[int, int, int] = (0, 0, 0)
    orders: tuple[str, ...] = ()
    day: int = NO_DAY
    minutes: float = 0.0
    utc: bool = False


_THREE = re.compile(r"(\d{1,4})\s?[-/.\s]\s?(\d{1,2})\s?[-/.\s]\s?(\d{1,4})")
_YEAR_DAY = re.compile(r"(\d{4})[-/.](\d{3})")
_WORDY = re.compile(r"\d+|[a-z]+")
_FILLERS = words_of("de del of st nd rd th er o the le la el do")


def day_number(year: int, month: int, day: int) -> int:
    """Return the day counted from 1 Jan 1970; ``NO_DAY`` where there is no such day."""
    try:
        return dt.date(year, month, day).toordinal() - _EPOCH
    except ValueError:
        return NO_DAY


def date_of(day: int) -> dt.date:
    """Return the date of a day number."""
    return dt.date.fromordinal(int(day) + _EPOCH)


def full_year(year: int, digits: int) -> int:
    """Return the year in full; two digits up to 69 are 20xx."""
    if digits > 2:
        return year
    return 2000 + year if year < 70 else 1900 + year


def read_parts(text: str) -> Parts | None:
    """Return the parts of a date text (without its time); None where it is no date."""
    text = text.strip().strip("\"'").rstrip(".")
    match = _THREE.fullmatch(text)
    if match:
        a, b, c = match.groups()
        return _numeric(a, b, c)
    match = _YEAR_DAY.fullmatch(text)
    if match:
        return Parts(day=year_day(int(match.group(1)), int(match.group(2))))
    text = text.replace(",", ".")
    if re.fullmatch(r"\d+(?:\.\d+)?", text):
        return _compact(text)
    return _with_month_name(text)


def _numeric(a: str, b: str, c: str) -> Parts | None:
    if len(a) == 3 or len(c) == 3 or (len(a) == 4 and len(c) == 4):
        return None
    if len(a) == 4:
        return Parts((int(a), int(b), int(c)), ("ymd", "ydm"))
    if len(c) == 4:
        return Parts((int(a), int(b), int(c)), ("dmy", "mdy"))
    return Parts((int(a), int(b), int(c)), ("dmy", "mdy", "ymd"))


def _compact(text: str) -> Parts | None:
    """Return the day of digits without separators, a spreadsheet's day number, or epoch seconds."""
    if len(text) in (8, 10, 12, 14) and text.isdigit():
        y, m, d = int(text[:4]), int(text[4:6]), int(text[6:8])
        day = day_number(y, m, d) if 1800 <= y <= 2200 else NO_DAY
        hour, minute = int(text[8:10] or 0), int(text[10:12] or 0)
        if day != NO_DAY and hour <= 24 and minute < 60:
            return Parts(day=day, minutes=hour * 60.0 + minute)
        if len(text) == 8 and 1800 <= int(text[4:]) <= 2200:
            return Parts((int(text[:2]), int(text[2:4]), int(text[4:])), ("dmy", "mdy"))
        if len(text) != 10:
            return None
    value = float(text)
    if 1e8 <= value < 5e9 or 1e11 <= value < 5e12:
        seconds = float(value / 1000.0 if value >= 1e11 else value)
        return Parts(day=int(seconds // 86400), minutes=seconds % 86400 / 60.0, utc=True)
    if text.isdigit() and len(text) == 7 and 1 <= int(text[4:]) <= 366:
        return Parts(day=year_day(int(text[:4]), int(text[4:])))
    if 20000.0 <= value <= 80000.0:
        whole, rest = divmod(value, 1.0)
        start = dt.date(1899, 12, 30).toordinal() - _EPOCH
        return Parts(day=int(whole) + start, minutes=round(rest * 86400.0) / 60.0)
    return None


def is_spreadsheet_number(text: str) -> bool:
    """Tell whether a date text is a spreadsheet's day number."""
    text = text.strip().replace(",", ".")
    try:
        return 20000.0 <= float(text) <= 80000.0
    except ValueError:
        return False


def year_day(year: int, day_of_year: int) -> int:
    """Return the day number of a year and day of the year; ``NO_DAY`` where there is none."""
    first = day_number(year, 1, 1)
    if first == NO_DAY or day_of_year < 1:
        return NO_DAY
    day = first + day_of_year - 1
    return day if date_of(day).year == year else NO_DAY


def _with_month_name(text: str) -> Parts | None:
    tokens = [t for t in _WORDY.findall(plain(text)) if t not in _FILLERS]
    named = [t for t in tokens if t in MONTH_OF]
    numbers = [t for t in tokens if t.isdigit()]
    if len(named) != 1 or len(numbers) != 2:
        return None
    month, (first, second) = MONTH_OF[named[0]], numbers
    where = tokens.index(named[0])
    if len(first) == 4:
        return Parts((int(first), month, int(second)), ("ymd",))
    if len(second) == 4 or int(second) > 31:
        return Parts((int(first), month, int(second)), ("dmy",))
    if tokens.index(first) > where:
        return Parts((int(first), month, int(second)), ("dmy",))
    return Parts((int(first), month, int(second)), ("dmy", "ymd"))


def to_day(parts: Parts, order: str) -> int:
    """Return the day number of a date in a given order; ``NO_DAY`` where there is none."""
    if parts.day != NO_DAY or not parts.orders:
        return parts.day
    iy, im, id_ = ORDERS[order]
    year, month, day = parts.numbers[iy], parts.numbers[im], parts.numbers[id_]
    digits = 4 if year > 99 else 2
    return day_number(full_year(year, digits), month, day)


_TIME = re.compile(
    r"(\d{1,2})\s*[:h]\s*(\d{2})?(?:\s*[:m]\s*(\d{2})(?:[.,](\d+))?\s*s?)?\s*([ap])?\.?\s?(?:m\.?)?",
    re.IGNORECASE,
)


def read_minutes(text: str) -> float | None:
    """Return a clock time as minutes after midnight (24:00 is 1440); None where it is none."""
    text = text.strip()
    match = _TIME.fullmatch(text)
    if match is None:
        bare = re.fullmatch(r"(\d{1,2})\s*([ap])\.?\s?m\.?", text, re.IGNORECASE)
        if bare is None:
            return None
        return _half_day(int(bare.group(1)), 0, 0, bare.group(2))
    hour, minute, second, _, half = match.groups()
    return _half_day(int(hour), int(minute or 0), int(second or 0), half)


def _half_day(hour: int, minute: int, second: int, half: str | None) -> float | None:
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half.lower() == "p" else 0)
    if minute > 59 or second > 60 or hour > 24 or (hour == 24 and (minute or second)):
        return None
    return hour * 60.0 + minute + second / 60.0


def steps_ok(days: Days, minutes: NDArray[np.float64]) -> tuple[float, bool, int]:
    """Return how well rows follow each other: share of short steps, one direction?, steps.

    Only steps from one date to another count; short is up to one day.
    """
    changed = np.flatnonzero(np.diff(days) != 0)
    if len(changed) == 0:
        return 0.0, True, 0
    stamp = days * 1440.0 + minutes
    step = np.diff(stamp)[changed]
    sign = np.sign(step)
    main = 1.0 if (sign > 0).sum() >= (sign < 0).sum() else -1.0
    short = (np.abs(step) <= 1441.0) & (sign == main)
    return float(short.mean()), bool((sign == main).all()), len(step)
