"""What reading a weather file gives, and how it compares with the days already stored."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from waterbudget.errors import Note
from waterbudget.weather.record import HOURLY_SUM, Day

SAME = 1e-6
"""Two values nearer than this are one value."""


@dataclass(frozen=True)
class Flagged:
    """One value of the file that was found odd.

    Attributes
    ----------
    date : datetime.date
    what : str
        Code; its sentence is ``weather.flag.<what>``.
    quantity : str
        One of :data:`~waterbudget.weather.record.COLUMNS`.
    value : str or float or None
        As it was read: the text of the cell, or a number in the unit used inside.
    used : float or None
        What is used instead; None where nothing is.
    """

    date: dt.date
    what: str
    quantity: str
    value: str | float | None
    used: float | None


@dataclass(frozen=True)
class WeatherFile:
    """Everything read out of one file.

    Attributes
    ----------
    days : tuple of Day
        By date, no date twice, in the units of ``COLUMNS``, wind at 2 m.
    flags : tuple of Flagged
        Every value found odd; what was read is kept in it.
    notes : tuple of Note
        What the reader decided by itself and the person should know.
    answers : mapping
        The answers that were needed or used.
    layout_key : str
        The same for every file laid out like this one: what the answers can be kept under.
    gaps : tuple of (first, last)
        Runs of days that are missing between the first and the last day.
    missing : mapping
        ``rain, temperature, humidity, wind, sun``: the days that are there without it.
    """

    days: tuple[Day, ...]
    flags: tuple[Flagged, ...] = ()
    notes: tuple[Note, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    layout_key: str = ""
    gaps: tuple[tuple[dt.date, dt.date], ...] = ()
    missing: Mapping[str, tuple[dt.date, ...]] = field(default_factory=dict)


NEEDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "rain": (("rain_mm",),),
    "temperature": (("tmax_c", "tmin_c"), ("tmean_c",)),
    "humidity": (("rh_max", "rh_min"), ("rh_mean",), ("ea_kpa",), ("rh_max",)),
    "wind": (("u2_m_s",),),
    "sun": (("rs_mj",), ("sun_h",)),
}
"""For each plain name the sets of quantities of which one whole set makes it known."""


def missing_days(days: Sequence[Day]) -> dict[str, tuple[dt.date, ...]]:
    """Return for each of :data:`NEEDED` the days that are there without it."""
    return {
        name: tuple(
            day.date for day in days if not any(all(q in day.values for q in one) for one in sets)
        )
        for name, sets in NEEDED.items()
    }


def gaps_between(dates: Sequence[dt.date]) -> tuple[tuple[dt.date, dt.date], ...]:
    """Return the runs of missing days (first, last) between sorted ``dates``."""
    one = dt.timedelta(days=1)
    return tuple((a + one, b - one) for a, b in pairwise(dates) if b - a > one)


@dataclass(frozen=True)
class Comparison:
    """New days against the stored ones.

    Attributes
    ----------
    added : tuple of Day
        Days not stored yet.
    unchanged : tuple of Day
        Stored days whose values are the same.
    changed : tuple of (stored Day, new Day)
        Days with another value, or with quantities that one of the two does not have.
    """

    added: tuple[Day, ...]
    unchanged: tuple[Day, ...]
    changed: tuple[tuple[Day, Day], ...]


def same_values(a: Mapping[str, float], b: Mapping[str, float]) -> bool:
    """Tell whether two days hold the same quantities with the same values.

    The sum of the hours is no reading (it moves with the place of the station): it does not count.
    """
    mine, its = a.keys() - {HOURLY_SUM}, b.keys() - {HOURLY_SUM}
    return mine == its and all(abs(a[k] - b[k]) <= SAME for k in mine)


def compare(stored: Mapping[dt.date, Day], new: Sequence[Day]) -> Comparison:
    """Sort ``new`` days into those to add, those already there and those that differ."""
    added, unchanged, changed = [], [], []
    for day in new:
        old = stored.get(day.date)
        if old is None:
            added.append(day)
        elif same_values(old.values, day.values):
            unchanged.append(old)
        else:
            changed.append((old, day))
    return Comparison(tuple(added), tuple(unchanged), tuple(changed))
