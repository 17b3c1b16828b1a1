"""Bridge gaps in a daily series: what to use for a day nobody recorded.

For each missing day the first rule that can be followed:

1. ``calendar``: the mean of exactly that calendar day in the *other* years of the record, where
   at least two of them know it.  29 February takes the other years' 28 February.
2. ``week``: the mean of the last seven known days before it, fewer where fewer are known; before
   the first known day, of the first seven known.
3. ``none``: nothing is known; the value stays NaN.

A stand-in is never itself used to make another one.  The same rules serve any daily quantity
(reference ET, temperature, wind).  They are not for rain: a mean of rain is no rain day.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

YEARS_NEEDED = 2
WEEK = 7
STAND_IN = "stand_in"


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
