"""Which columns tell the time: one date, date and clock, year-month-day, or year and day."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass, field

from waterbudget.errors import Refused
from waterbudget.weather.asking import Asker
from waterbudget.weather.cells import kind_of, squeeze
from waterbudget.weather.dates import MONTH_OF
from waterbudget.weather.roles import role_of
from waterbudget.weather.table import Table
from waterbudget.weather.vocabulary import words_of
from waterbudget.weather.words import plain, words

DATE_WORDS = words_of(
    "date fecha data datum dia day jour timestamp datetime time hora heure ts stamp epoch "
    "unix fechahora datahora datetimes dt dates valid period moment momento"
)
_PARTS: dict[str, tuple[str, float, float]] = {
    "year": ("year ano annee yr yyyy yy aaaa anno an", 0, 2200),
    "month": ("month mes mois mo mm mon", 1, 12),
    "doy": ("doy jday julian juliano julien yday dayofyear ddd jd jul jdate diajuliano", 1, 366),
    "day": ("day dia jour dy dd d dayofmonth", 1, 31),
    "hour": ("hour hora heure hr hh hhmm time h hours horas hourmin hrmn", 0, 2400),
    "minute": ("minute min minuto mn minutes minutos", 0, 59),
}


@dataclass
class TimeColumns:
    """Positions of the columns that tell the time; None where there is none."""

    date: int | None = None
    clock: int | None = None
    parts: dict[str, int] = field(default_factory=dict)
    zone: str | None = None

    def taken(self) -> set[int]:
        """Return all positions used."""
        found = set(self.parts.values())
        return found | {i for i in (self.date, self.clock) if i is not None}


@dataclass(frozen=True)
class Profile:
    """What the cells of a column mostly look like."""

    kind: str
    whole: bool
    low: float
    high: float
    months: bool


def profile(table: Table, index: int) -> Profile:
    """Return the profile of a column from some 80 cells spread over it."""
    step = max(1, len(table.rows) // 80)
    sample = [squeeze(row[index]) for row in table.rows[::step]]
    kinds = Counter(kind_of(c) for c in sample)
    del kinds["blank"], kinds["missing"]
    if not kinds:
        return Profile("blank", False, 0, 0, False)
    kind = kinds.most_common(1)[0][0]
    numbers = []
    for c in sample:
        try:
            value = float(c.replace(",", "."))
        except ValueError:
            continue
        if math.isfinite(value):
            numbers.append(value)
    whole = bool(numbers) and all(v == int(v) for v in numbers)
    months = kind == "word" and all(plain(c) in MONTH_OF for c in sample if c)
    low, high = (min(numbers), max(numbers)) if numbers else (0.0, 0.0)
    return Profile(kind, whole, low, high, months)


def _header_has(header: str, names: str) -> bool:
    tokens = words(header)
    joined = "".join(tokens)
    return not set(names.split()).isdisjoint(tokens) or joined in names.split()


def zone_said(header: str) -> str | None:
    """Return ``UTC`` or an offset such as ``+02:00`` that a header names; None for none."""
    text = plain(header)
    found = re.search(r"\b(?:utc|gmt|z|zulu)\s*([-+]\s*\d{1,2}(?::?\d{2})?)?(?![a-z])", text)
    if not found:
        return None
    shift = (found.group(1) or "").replace(" ", "")
    return shift if shift and shift.strip("+-0:") else "UTC"


def _doy_header(header: str) -> bool:
    text = " ".join(words(header))
    return (
        "day of year" in text
        or "dia del ano" in text
        or "jour de l an" in text
        or ("dia do ano" in text)
    )


def find_time(table: Table, asker: Asker) -> TimeColumns:
    """Return the columns that tell the time.

    Raises
    ------
    Refused
        ``weather.no_date`` where no column does.
    """
    _bare_hours(table)
    profiles = [profile(table, i) for i in range(len(table.names))]
    found = TimeColumns()
    dates = [i for i, p in enumerate(profiles) if _is_date(table.names[i], p)]
    clocks = [i for i, p in enumerate(profiles) if p.kind == "time" and _tells(table.names[i])]
    found.parts = _find_parts(table, profiles)
    found.date = _pick_date(table, dates, asker)
    if found.date is None and not (
        {"year", "month", "day"} <= set(found.parts) or {"year", "doy"} <= set(found.parts)
    ):
        raise Refused(
            "weather.no_date",
            columns=", ".join(n for n in table.names if n) or "-",
            line=table.at[0] if table.at else 1,
            text=table.raw[table.at[0] - 1][:80],
        )
    if found.date is not None:
        found.parts = {
            k: v for k, v in found.parts.items() if k in ("hour", "minute") and v != found.date
        }
    elif "doy" in found.parts:
        found.parts = {k: v for k, v in found.parts.items() if k not in ("month", "day")}
    if clocks:
        found.clock = next(
            (i for i in clocks if _header_has(table.names[i], "time hora heure hour")), clocks[0]
        )
        found.parts.pop("hour", None)
        found.parts.pop("minute", None)
    if "minute" in found.parts and "hour" not in found.parts:
        found.parts.pop("minute")
    for i in found.taken():
        found.zone = found.zone or zone_said(table.names[i]) or zone_said(table.units[i])
    return found


_HOUR_WITH_ZONE = re.compile(r"(\d{3,4})\s*(Z|UTC|GMT|h|hs|hrs?)\.?", re.IGNORECASE)


def _bare_hours(table: Table) -> None:
    """Write hours such as ``1300 UTC`` as bare ``1300``; the name of the column takes the zone."""
    for i, name in enumerate(table.names):
        if not _header_has(name, _PARTS["hour"][0]):
            continue
        cells = [squeeze(row[i]) for row in table.rows]
        found = [_HOUR_WITH_ZONE.fullmatch(c) for c in cells]
        if not any(found) or any(c and not m for c, m in zip(cells, found, strict=True)):
            continue
        for row, match in zip(table.rows, found, strict=True):
            if match:
                row[i] = match[1]
        if any(m and m[2].upper() in ("Z", "UTC", "GMT") for m in found):
            table.names[i] = f"{name} UTC"


def _tells(header: str) -> bool:
    """Tell whether a column of times is a clock and not a reading (sunrise, hours of sun)."""
    role = role_of(header)
    return not role.other and role.role is None


def _is_date(header: str, p: Profile) -> bool:
    if p.kind == "date":
        return role_of(header).role is None
    if p.kind not in ("number", "marked") or not _header_has(header, " ".join(DATE_WORDS)):
        return False
    epoch = p.low >= 1e8 and p.high < 5e12
    serial = p.low >= 20000 and p.high <= 80000
    year_day = p.whole and p.low >= 1850001 and p.high <= 2200366
    return epoch or serial or year_day


def _pick_date(table: Table, dates: list[int], asker: Asker) -> int | None:
    if len(dates) < 2:
        return dates[0] if dates else None
    local = [i for i in dates if not zone_said(table.names[i])] or dates
    named = [i for i in local if _header_has(table.names[i], " ".join(DATE_WORDS))] or local
    if len(named) == 1:
        return named[0]
    first = table.column(named[0])
    if all(table.column(i) == first for i in named[1:]):
        return named[0]
    heads = [table.names[i] for i in named]
    choices = tuple(
        f"{h} [{i + 1}]" if heads.count(h) > 1 else h or f"{i + 1}"
        for i, h in zip(named, heads, strict=True)
    )
    answer = asker.ask("column_date", choices)
    return named[choices.index(answer)] if answer else named[0]


def _find_parts(table: Table, profiles: list[Profile]) -> dict[str, int]:
    found: dict[str, int] = {}
    for part, (names, low, high) in _PARTS.items():
        for i, p in enumerate(profiles):
            if i in found.values() or not table.names[i]:
                continue
            fits = p.whole and low <= p.low and p.high <= high and p.kind in ("number", "marked")
            if part == "month" and p.months:
                fits = True
            if (
                part == "hour"
                and p.kind == "number"
                and p.low >= 0.0
                and p.high < 1.0
                and not p.whole
            ):
                fits = True  # a spreadsheet's part of a day
            said = _header_has(table.names[i], names) or (
                part == "doy" and _doy_header(table.names[i])
            )
            if fits and said and not _is_reading(table.names[i], part):
                found[part] = i
                break
    if not table.has_header:
        return _parts_by_content(profiles)
    if "day" not in found and "doy" not in found and "year" in found and "month" not in found:
        for i, p in enumerate(profiles):  # "Day" that counts to 366
            if _header_has(table.names[i], "day dia jour") and p.whole and 31 < p.high <= 366:
                found["doy"] = i
    return found


def _parts_by_content(profiles: list[Profile]) -> dict[str, int]:
    """Return year, month, day (or year and day of the year) of a file without a header."""
    if len(profiles) < 3 or not all(p.whole for p in profiles[:2]):
        return {}
    year, second, third = profiles[:3]
    if not (year.low >= 1900 and year.high <= 2150 and second.low >= 1):
        return {}
    if second.high <= 12 and third.whole and third.low >= 1 and third.high <= 31:
        return {"year": 0, "month": 1, "day": 2}
    return {"year": 0, "doy": 1} if 31 < second.high <= 366 else {}


_TIME_WORDS = words_of(
    "utc gmt z lst lt local locale of the day del dia do da de du jour end ending begin beginning "
    "start fin final inicio debut solar standard std official oficial officielle legal obs "
    "observation civil date fecha data ts min mm ss aaaa yyyy dd lct clock time number num no "
    "ended starting measured reading lecture leitura lectura tz mst est cst pst cet cest cat sast "
    "eat brt art wat edt cdt pdt mdt bst ist medicao medicion mesure measurement measure"
)
"""What may stand beside the word for hour over a column that tells the time."""


def _only_time_words(header: str) -> bool:
    """Tell whether a header speaks of the time and of nothing else (not ``Pump hours``)."""
    bare = re.sub(r"[\[({].*?[\])}]", " ", header)
    known = _TIME_WORDS | set(_PARTS["hour"][0].split()) | set(_PARTS["minute"][0].split())
    tokens = [t for t in words(bare) if t.isalpha()]
    return bool(tokens) and all(t in known for t in tokens)


def _is_reading(header: str, part: str) -> bool:
    """Tell whether a column named like a part of time is a quantity (``HR max``, ``Temp min``)."""
    role = role_of(header)
    if part in ("hour", "minute") and not _only_time_words(header):
        return True
    if role.role in ("tmax", "tmin", "rain", "sun", "wind", "rs", "et0", "rh_max", "rh_min"):
        return True
    if part == "minute" and len(words(header)) > 1:
        return True
    return role.role == "rh" and part == "hour" and plain(header).strip(" .") not in ("hr", "h")
