"""Rain that is not written as rain of the interval: counters that run on, day totals.

Rules: readings that never fall (or fall only at midnight, at the turn of a month or a year) and
keep standing at a value above zero are a running total; the differences are the rain.  A fall
is a reset: the new reading is the rain since.  Rain that a counter shows after days without
readings is counted on the day it was read and marked.  Readings that stay the same all day and
change only at midnight are the day's total written on every line.  A counter that was set back
at odd times is known by rising or standing nearly always.  Where the readings do not tell, or a
name speaks of a longer sum and the readings do not bear it out, it is asked.  In a list of tips
or showers a counter is known by rising from line to line.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Note
from waterbudget.weather.asking import Asker
from waterbudget.weather.columns import _running_name
from waterbudget.weather.dates import date_of

Values = NDArray[np.float64]
Days = NDArray[np.int64]

DEPTH, RUNNING, DAY_TOTAL = "depth", "running_total", "day_total"
CHOICES = (DEPTH, RUNNING, DAY_TOTAL)


@dataclass
class Rain:
    """Rain of each reading [mm], and the readings that hold rain of several days."""

    values: Values
    kind: str
    several: list[int] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


def judge(values: Values, day: Days, minute: Values, daily: bool, name: str) -> str | None:
    """Return what kind of rain the readings are; None where they do not tell."""
    there = ~np.isnan(values)
    v, d, m = values[there], day[there], minute[there]
    if len(v) < 3 or not (v > 0.0).any():
        return DEPTH
    step = np.diff(v)
    new_day = np.diff(d) != 0
    if not daily:  # the last reading of a day may be stamped a little after midnight
        new_day |= m[1:] <= 60.0
    fell = step < -1e-6
    rose, stood = step > 1e-6, (np.abs(step) <= 1e-6) & (v[1:] > 0.0)
    wet = int((v > 0.0).sum())
    named = _running_name(name)
    if not daily and len(np.unique(d)) >= 2 and not (rose | fell)[~new_day].any():
        if (fell & new_day).any() and stood.sum() >= 4:
            return DAY_TOTAL
        if not rose.any():
            return None if not named else RUNNING
    if _mostly_rises(rose, fell, stood, wet, len(v)):
        return RUNNING
    at_turn = _turns(d)
    if not fell[~(new_day if not daily else at_turn)].any():
        resets = int(fell.sum())
        flat = not rose.any()
        if flat:
            return (RUNNING if named else None) if wet == len(v) and len(v) >= 4 else DEPTH
        if resets == 0 and ((wet >= 6 and (stood.sum() >= 2 or wet >= 10)) or (named and wet >= 3)):
            return RUNNING
        if resets and daily and stood.sum() >= 5 and rose.sum() >= 3 and wet >= 0.3 * len(v):
            return RUNNING
        if resets and not daily and stood.sum() >= 4:  # rain that only midnight ends
            return RUNNING if len(np.unique(d[1:][rose])) >= 2 else None
        if resets == 0 and (named or (wet >= 3 and stood.sum() >= 2)):
            return None
    return None if named and fell.any() and rose.any() else DEPTH


def _mostly_rises(
    rose: NDArray[np.bool_], fell: NDArray[np.bool_], stood: NDArray[np.bool_], wet: int, n: int
) -> bool:
    """Tell a counter that was set back now and then: it rises or stands, and seldom falls.

    Rain of each interval falls as often as it rises.
    """
    falls, rises = int(fell.sum()), int(rose.sum())
    return rises >= 8 and 0 < falls <= 0.15 * rises and stood.sum() >= 5 and wet >= 0.5 * n


def _turns(day: Days) -> NDArray[np.bool_]:
    """Return where the month changes from one reading to the next."""
    months = day.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return np.diff(months) != 0


def only_events(values: Values, day: Days) -> bool:
    """Tell whether a list names only wet days or showers: no zero, and days left out."""
    there = ~np.isnan(values)
    if there.sum() < 3 or not (values[there] > 0.0).all() or not there.all():
        return False
    days = np.unique(day)
    return bool(days[-1] - days[0] + 1 > 1.4 * len(days)) or bool((np.diff(day) == 0).any())


def settle(values: Values, day: Days, minute: Values, daily: bool, name: str, asker: Asker) -> Rain:
    """Return the rain of each reading (rows in order of time)."""
    given = asker.given("rain_kind", CHOICES)
    kind = given or judge(values, day, minute, daily, name)
    if kind is None:
        choices = CHOICES[:2] if daily else CHOICES
        kind = asker.ask("rain_kind", choices, column=name) or DEPTH
    if kind == DEPTH:
        return Rain(values, DEPTH)
    if kind == DAY_TOTAL:
        return _day_totals(values, day, name)
    return _differences(values, day, minute, daily, name)


def settle_listed(values: Values, day: Days, name: str, asker: Asker) -> Rain:
    """Return the rain of each line of a list of showers or tips (lines in order of time).

    A list has no line without rain, so a counter that runs on rises from line to line (and
    falls where it begins again), while depths go up and down and tips stay the same.
    """
    kind = asker.given("rain_kind", CHOICES[:2])
    if kind is None:
        step = np.diff(values)
        rises, falls = int((step > 1e-6).sum()), int((step < -1e-6).sum())
        kind = RUNNING if listed_counter(values) else DEPTH
        unclear = falls == 0 or (rises >= 10 and rises >= 0.65 * len(step))
        if kind == DEPTH and rises >= 3 and unclear:
            kind = asker.ask("rain_kind", CHOICES[:2], column=name) or DEPTH
    return from_counter(values, day, name) if kind == RUNNING else Rain(values, DEPTH)


def listed_counter(values: Values) -> bool:
    """Tell whether the readings of showers or tips are a counter that runs on."""
    step = np.diff(values)
    rises, falls = int((step > 1e-6).sum()), int((step < -1e-6).sum())
    return rises >= 10 and rises >= 0.8 * len(step) and falls <= 0.15 * rises


def from_counter(values: Values, day: Days, name: str) -> Rain:
    """Return the rain between the readings of a counter; none is missing."""
    made = _differences(values, day, np.zeros(len(values)), True, name)
    step = np.diff(values)
    rises = step[step > 1e-6]
    if len(rises) and values[0] <= 1.5 * float(rises.min()):  # it began at nought
        made.values[0] = values[0]
    return made


def _day_totals(values: Values, day: Days, name: str) -> Rain:
    """Keep the total on one reading of each day."""
    rain = np.where(np.isnan(values), np.nan, 0.0)
    seen: dict[int, float] = {}
    for i in range(len(values)):
        if np.isnan(values[i]):
            continue
        before = seen.get(int(day[i]), 0.0)
        if values[i] > before:
            rain[i] = values[i] - before
            seen[int(day[i])] = float(values[i])
    return Rain(rain, DAY_TOTAL, notes=[Note.of("weather.note.day_totals", column=name)])


def _differences(values: Values, day: Days, minute: Values, daily: bool, name: str) -> Rain:
    rain = np.full(len(values), np.nan)
    several, resets = [], []
    last: int | None = None
    for i in np.flatnonzero(~np.isnan(values)).tolist():
        if last is None:
            rain[i] = 0.0 if values[i] == 0.0 else np.nan
        else:
            step = values[i] - values[last]
            if step < -1e-6:
                resets.append(date_of(int(day[i])).isoformat())
                step = values[i]
            rain[i] = max(step, 0.0)
            apart = int(day[i] - day[last])
            hole = apart > 1 or (
                not daily and apart == 1
                and (day[i] - day[last]) * 1440.0 + minute[i] - minute[last] > 360.0
            )  # fmt: skip
            if hole and rain[i] > 0.0:
                several.append(i)
        last = i
    notes = [Note.of("weather.note.running_total", column=name)]
    if resets:
        notes.append(Note.of("weather.note.counter_reset", count=len(resets), first=resets[0]))
    return Rain(rain, RUNNING, several, notes)
