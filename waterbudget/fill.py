"""Bridge gaps in a daily series: what to use for a day nobody recorded.

For each missing day the first rule that can be followed:

1. ``calendar``: the mean of exactly that calendar day in the *other* years of the record, where
   at least two of them know it.  29 February takes the other years' 28 February.
2. ``week``: the mean of the last seven known days before it, fewer where fewer are known; before
   the first known day, of the first seven known.
3. ``none``: nothing is known; the value stays NaN.

A stand-in is never itself used to make another one.  The same rules serve any daily quantity
(reference ET, temperature, wind).  They are not for rain: a mean of rain is no rain day.

Before any of them a neighbour station is asked (:func:`from_neighbours`), quantity by quantity
and not on reference ET itself: so a dead sun sensor leaves the station's own temperatures in use,
and the clock gets its temperatures by the same way.  The order for a day is thus: own readings; a
neighbour's by straight line; estimated inputs (:mod:`waterbudget.et0`); the rules above.

The line is fitted on days both stations know, at least 60 of them, and used where it explains at
least 70 % of the spread (r2; the figure FAO-56 Annex 4 gives for neighbouring stations, from
memory).  Of several neighbours the one with the highest r2 that knows the day is taken.  A value
made by a line counts as known for the rules above: it is that day's weather, seen from next door.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget.weather import COLUMNS, DailyRecord

Values = NDArray[np.float64]

YEARS_NEEDED = 2
WEEK = 7
STAND_IN = "stand_in"

NEIGHBOUR_DAYS = 60
NEIGHBOUR_R2 = 0.70
TRIED_DAYS = 30
"""A way of filling is judged by its own error where it could be tried on so many days."""
FILLED = "filled"
FILLED_LIMITS: dict[str, tuple[float, float]] = {
    "tmax_c": (-50.0, 60.0), "tmin_c": (-60.0, 50.0), "rh_max": (2.0, 100.0),
    "rh_min": (1.0, 100.0), "rh_mean": (2.0, 100.0), "ea_kpa": (0.01, 8.0), "u2_m_s": (0.0, 40.0),
    "rs_mj": (0.0, 45.0), "sun_h": (0.0, 24.0), "et0_given_mm": (0.0, 20.0),
}  # fmt: skip
"""Quantities a neighbour may fill, and what a line may not pass.  Never rain."""
MOISTURE = ("ea_kpa", "rh_max", "rh_min", "rh_mean")
SUN = ("rs_mj", "sun_h")


class Filled(NamedTuple):
    """A stretch of days without gaps (as far as anything is known).

    Attributes
    ----------
    values : ndarray, shape (days,)
        Own value where there is one, else the stand-in, else NaN.
    made : tuple of (str or None)
        ``"stand_in"`` for each bridged day, else None.
    rule : tuple of str
        ``""`` own value, ``"calendar"``, ``"week"`` or ``"none"``.
    """

    values: Values
    made: tuple[str | None, ...]
    rule: tuple[str, ...]


def stand_in_series(first: dt.date, values: ArrayLike, start: dt.date, days: int) -> Filled:
    """Return ``days`` days from ``start`` of a daily series that begins on ``first``.

    Parameters
    ----------
    values : array_like, shape (recorded,)
        NaN where not known.  The days asked for may lie before, in or after them.
    """
    series = np.asarray(values, dtype=float)
    at = np.arange(days) + (start - first).days
    inside = (at >= 0) & (at < len(series))
    out = np.full(days, np.nan)
    out[inside] = series[at[inside]]
    gaps = np.flatnonzero(~np.isfinite(out))
    if not len(gaps):
        return Filled(out, (None,) * days, ("",) * days)
    known = np.isfinite(series)
    counts = np.concatenate(([0], np.cumsum(known)))
    calendar = _calendar(first, series, at[gaps])
    week = _week(series[known], counts, at[gaps])
    bridged = np.where(np.isnan(calendar), week, calendar)
    out[gaps] = bridged
    made: list[str | None] = [None] * days
    rule = [""] * days
    for gap, by_calendar, value in zip(gaps, ~np.isnan(calendar), bridged, strict=True):
        made[gap] = None if np.isnan(value) else STAND_IN
        rule[gap] = "calendar" if by_calendar else "none" if np.isnan(value) else "week"
    return Filled(out, tuple(made), tuple(rule))


def stand_in_et0(first: dt.date, et0_mm: ArrayLike, start: dt.date, days: int) -> Filled:
    """Return reference ET without gaps [mm/d]: :func:`stand_in_series` under its usual name."""
    return stand_in_series(first, et0_mm, start, days)


def _calendar(first: dt.date, series: Values, at: NDArray[np.int64]) -> Values:
    """Return the mean of the same calendar day in other years; NaN where fewer than two have it."""
    n = len(series)
    origin = np.datetime64(first, "D")
    day = origin + at
    year = day.astype("datetime64[Y]").astype(np.int64)
    month = day.astype("datetime64[M]")
    of_month = (day - month.astype("datetime64[D]")).astype(np.int64)
    of_year = month.astype(np.int64) - 12 * year
    of_month = np.where((of_year == 1) & (of_month == 28), 27, of_month)  # 29 Feb -> 28 Feb
    last = (origin + max(n - 1, 0)).astype("datetime64[Y]").astype(np.int64)
    years = np.arange(first.year - 1970, last + 1)
    same_month = (12 * years + of_year[:, None]).astype("datetime64[M]").astype("datetime64[D]")
    where = (same_month + of_month[:, None] - origin).astype(np.int64)
    inside = (where >= 0) & (where < n) & (years != year[:, None])
    value = series[np.where(inside, where, 0)] if n else np.zeros(where.shape)
    usable = inside & np.isfinite(value)
    found = usable.sum(axis=1)
    mean = np.where(usable, value, 0.0).sum(axis=1) / np.maximum(found, 1)
    return np.where(found >= YEARS_NEEDED, mean, np.nan)


def _week(known_values: Values, counts: NDArray[np.int64], at: NDArray[np.int64]) -> Values:
    """Return the mean of the last known week before each day, else of the first known week."""
    if not len(known_values):
        return np.full(len(at), np.nan)
    before = counts[np.clip(at, 0, len(counts) - 1)]
    sums = np.concatenate(([0.0], np.cumsum(known_values)))
    end = np.where(before > 0, before, min(WEEK, len(known_values)))
    begin = np.maximum(end - WEEK, 0)
    return (sums[end] - sums[begin]) / (end - begin)


def tried(first: dt.date, values: ArrayLike) -> dict[str, float]:
    """Return how far off each stand-in rule is on the days that are known.

    Every known day is made as if it were missing: by the same day of other years, and by the
    seven known days before it (so one day ahead; some days ahead is no better).

    Returns
    -------
    dict of str to float
        ``calendar`` and ``week`` to the root mean square error, in the unit of ``values``; a
        rule that could be tried on fewer than 30 days is left out.
    """
    series = np.asarray(values, dtype=float)
    known = np.isfinite(series)
    at = np.flatnonzero(known)
    counts = np.concatenate(([0], np.cumsum(known)))
    late = at[WEEK:]
    made = {
        "calendar": (_calendar(first, series, at), at),
        "week": (_week(series[known], counts, late), late),
    }
    found = {}
    for rule, (stand_in, days) in made.items():
        miss = stand_in - series[days]
        miss = miss[np.isfinite(miss)]
        if len(miss) >= TRIED_DAYS:
            found[rule] = float(np.sqrt(np.mean(miss**2)))
    return found


class Line(NamedTuple):
    """How one quantity of a station follows a neighbour's: ``slope * theirs + offset``.

    Attributes
    ----------
    r2 : share of the spread of the station's own days it explains
    days : number of days both know
    """

    station: str
    slope: float
    offset: float
    r2: float
    days: int


@dataclass(frozen=True)
class NeighbourFill:
    """A station's record with its neighbours' help.

    Attributes
    ----------
    record : DailyRecord
        May begin before and end after the station's own; flagged ``filled`` where helped.
    quantities : mapping of date to tuple of str
        What was filled that day.
    stations : mapping of date to tuple of str
        By which neighbours.
    lines : mapping of quantity to tuple of Line
        The best first.
    """

    record: DailyRecord
    quantities: Mapping[dt.date, tuple[str, ...]]
    stations: Mapping[dt.date, tuple[str, ...]]
    lines: Mapping[str, tuple[Line, ...]]


def line(station: str, own: Values, theirs: Values) -> Line | None:
    """Fit a straight line of one quantity on a neighbour's (least squares).

    Parameters
    ----------
    own, theirs : ndarray, shape (days,)
        The same days; NaN where not known.

    Returns
    -------
    Line or None
        None under 60 common days, under an r2 of 0.70, or where it falls as theirs rises.
    """
    both = np.isfinite(own) & np.isfinite(theirs)
    days = int(both.sum())
    if days < NEIGHBOUR_DAYS:
        return None
    x, y = theirs[both], own[both]
    dx, dy = x - x.mean(), y - y.mean()
    spread, own_spread, common = float(dx @ dx), float(dy @ dy), float(dx @ dy)
    if spread < 1e-9 * days or own_spread < 1e-9 * days or common <= 0.0:
        return None
    r2 = common**2 / (spread * own_spread)
    if r2 < NEIGHBOUR_R2:
        return None
    slope = common / spread
    return Line(station, slope, float(y.mean() - slope * x.mean()), r2, days)


def from_neighbours(
    own: DailyRecord, others: Sequence[tuple[str, DailyRecord]], *, given_first: bool = False
) -> NeighbourFill | None:
    """Fill a station's unknown quantities from neighbours by straight lines; rain never.

    Only what a day needs is filled: low and high; moisture, wind and sun where nothing of the
    kind was read; a reference ET that comes with the file where neither it nor low and high are.

    Parameters
    ----------
    own : DailyRecord
    others : sequence of (name, DailyRecord)
        The other stations; days outside the own record are filled too.
    given_first : bool
        The ET0 of the file goes first, so a day that has one needs nothing else.

    Returns
    -------
    NeighbourFill or None
        None where nothing was filled.
    """
    if not others:
        return None
    first = min(own.first, *(r.first for _, r in others))
    n = (max(own.last, *(r.last for _, r in others)) - first).days + 1
    mine = {name: _laid(own.values[name], own.first, first, n) for name in COLUMNS}
    theirs = [(name, r.values, r.first) for name, r in others]
    made = {name: values.copy() for name, values in mine.items()}
    by: dict[str, list[tuple[NDArray[np.int64], str]]] = {}
    lines: dict[str, tuple[Line, ...]] = {}

    def help_with(quantity: str, wanted: NDArray[np.bool_]) -> None:
        if not wanted.any():
            return
        laid = {s: _laid(v[quantity], f, first, n) for s, v, f in theirs}
        if not any(np.isfinite(v[wanted]).any() for v in laid.values()):
            return
        fits = [fit for s, v in laid.items() if (fit := line(s, mine[quantity], v)) is not None]
        lines[quantity] = tuple(sorted(fits, key=lambda fit: -fit.r2))
        for fit in lines[quantity]:
            days = np.flatnonzero(wanted & np.isnan(made[quantity]) & ~np.isnan(laid[fit.station]))
            value = fit.slope * laid[fit.station][days] + fit.offset
            made[quantity][days] = np.clip(value, *FILLED_LIMITS[quantity])
            by.setdefault(quantity, []).append((days, fit.station))

    _help(mine, made, help_with, given_first)
    quantities, stations = _by_day(by, first)
    if not quantities:
        return None
    flags = dict(own.flags)
    for date in quantities:
        flags[date] = (*flags.get(date, ()), FILLED)
    lines = {q: fits for q, fits in lines.items() if fits}
    return NeighbourFill(DailyRecord(first, made, flags), quantities, stations, lines)


def _help(
    mine: Mapping[str, Values], made: Mapping[str, Values],
    help_with: Callable[[str, NDArray[np.bool_]], None], given_first: bool,
) -> None:  # fmt: skip
    """Ask for what each day needs, in the order that makes the next question plain."""
    unknown = {name: np.isnan(values) for name, values in mine.items()}
    open_days = np.ones(len(mine["tmax_c"]), dtype=bool)
    if given_first:
        open_days = unknown["et0_given_mm"]
    for name in ("tmax_c", "tmin_c"):
        help_with(name, unknown[name])
    warm = np.isfinite(made["tmax_c"]) & np.isfinite(made["tmin_c"]) & open_days
    dry = unknown["ea_kpa"] & unknown["rh_max"] & unknown["rh_mean"]
    for name in MOISTURE:
        help_with(name, warm & dry)
    help_with("u2_m_s", warm & unknown["u2_m_s"])
    for name in SUN:
        help_with(name, warm & unknown["rs_mj"] & unknown["sun_h"])
    nothing = unknown["tmax_c"] | unknown["tmin_c"]
    help_with("et0_given_mm", unknown["et0_given_mm"] & nothing)


def _by_day(
    by: Mapping[str, Sequence[tuple[NDArray[np.int64], str]]], first: dt.date
) -> tuple[dict[dt.date, tuple[str, ...]], dict[dt.date, tuple[str, ...]]]:
    quantities: dict[dt.date, tuple[str, ...]] = {}
    stations: dict[dt.date, tuple[str, ...]] = {}
    for quantity, parts in by.items():
        for days, station in parts:
            for day in days.tolist():
                date = first + dt.timedelta(days=day)
                quantities[date] = (*quantities.get(date, ()), quantity)
                if station not in stations.get(date, ()):
                    stations[date] = (*stations.get(date, ()), station)
    return quantities, stations


def as_neighbours_say(
    own: DailyRecord, others: Sequence[tuple[str, DailyRecord]],
    lines: Mapping[str, Sequence[Line]], quantities: Sequence[str],
) -> DailyRecord:  # fmt: skip
    """Return the own days with some quantities as a neighbour's line makes them.

    Set against the days as read it shows how good the lines are: a day on which a quantity is
    not known by the neighbour of the best line loses it.
    """
    values = dict(own.values)
    records = dict(others)
    for quantity in quantities:
        if not lines.get(quantity):
            continue
        fit = lines[quantity][0]
        there = records[fit.station]
        laid = _laid(there.values[quantity], there.first, own.first, len(own))
        made = np.clip(fit.slope * laid + fit.offset, *FILLED_LIMITS[quantity])
        values[quantity] = np.where(np.isnan(own.values[quantity]), np.nan, made)
    return DailyRecord(own.first, values)


def _laid(values: Values, own_first: dt.date, first: dt.date, n: int) -> Values:
    """Lay a series on ``n`` days from ``first``; NaN outside it."""
    out = np.full(n, np.nan)
    shift = (own_first - first).days
    low, high = max(0, shift), min(n, shift + len(values))
    if high > low:
        out[low:high] = values[low - shift : high - shift]
    return out
