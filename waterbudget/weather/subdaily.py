"""Readings of hours and minutes to days.

Rules (stated to the person in notes):

- the step is the commonest time between readings; a stretch of three or more days with a step
  of its own counts with its own;
- a mean or an extreme of a day needs readings in 75 % of its steps; rain, sun and reference ET,
  which are sums, need 90 %; else the quantity is unknown that day, and the day is marked (with
  the part of the rain that was read);
- in means and in sums other than rain a step without a reading follows its neighbours;
- the first and the last day of a file are left out where less than 95 % of their steps are
  there: they are half a day, and come whole with the next file;
- highs and lows are not made from readings more than three hours apart;
- stamps stand at the end of their interval where the file shows it (24:00, hours 1 to 24, from
  one step after midnight to midnight), and in a data logger's own table; then the reading of
  midnight belongs to the day before.  They stand at the start where the file runs from 00:00 to
  one step before midnight, or where nothing is told; it is asked where rain read at midnight
  makes it matter;
- radiation blank at night throughout counts 0 there.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget import air
from waterbudget.errors import Note
from waterbudget.weather.asking import Asker
from waterbudget.weather.dates import date_of
from waterbudget.weather.rain import RUNNING, Rain
from waterbudget.weather.readings import Reading
from waterbudget.weather.result import Flagged
from waterbudget.weather.stamps import Stamps

Values = NDArray[np.float64]
Days = NDArray[np.int64]

MEANS_NEED, SUMS_NEED, EDGE_NEEDS = 0.75, 0.90, 0.95
LONGEST_STEP_FOR_EXTREMES = 180.0
STAMP_MATTERS_MM = 1.0
"""A reading of midnight with more rain than this makes it worth asking which day it belongs to."""

LIMITS = {
    "temp": (-40.0, 56.0), "tmax": (-40.0, 56.0), "tmin": (-40.0, 56.0), "dew": (-40.0, 35.0),
    "rh": (0.0, 105.0), "rh_max": (0.0, 105.0), "rh_min": (0.0, 105.0), "ea": (0.0, 6.0),
    "wind": (0.0, 60.0), "rain": (0.0, 150.0), "et0": (-0.5, 3.0),
}  # fmt: skip
"""A single reading outside these is not used [units used inside]."""

COLUMN_OF = {
    "tmax": "tmax_c", "tmin": "tmin_c", "temp": "tmean_c", "rh_max": "rh_max", "rh_min": "rh_min",
    "rh": "rh_mean", "dew": "ea_kpa", "ea": "ea_kpa", "wind": "u2_m_s", "rs": "rs_mj",
    "sun": "sun_h", "rain": "rain_mm", "et0": "et0_given_mm",
}  # fmt: skip
"""The quantity of the record a role ends in."""


@dataclass
class DayTable:
    """One row a day, sorted, no day twice.

    Attributes
    ----------
    day : ndarray of int, shape (days,)
    values : dict of str to ndarray, shape (days,)
        By the names of ``COLUMNS``; NaN where unknown.
    """

    day: Days
    values: dict[str, Values] = field(default_factory=dict)
    flags: list[Flagged] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


def step_minutes(key: Values) -> float:
    """Return the commonest time between readings [min]."""
    gaps = np.diff(np.unique(key))
    gaps = gaps[gaps > 0.0]
    if len(gaps) == 0:
        return 1440.0
    rounded = np.round(gaps * 2.0) / 2.0
    found, times = np.unique(rounded, return_counts=True)
    return float(max(found[np.argmax(times)], 0.5))


def stamps_at_end(
    day: Days,
    minute: Values,
    stamps: Stamps,
    step: float,
    fell: Values | None,
    asker: Asker,
    notes: list[Note],
) -> bool:
    """Tell whether stamps stand at the end of their interval (see the module's rules).

    Parameters
    ----------
    fell : ndarray or None
        Rain of each reading [mm], where it is known.
    """
    given = asker.given("stamp", ("start", "end"))
    if given:
        return given == "end"
    if stamps.end:
        notes.append(Note.of("weather.note.stamps_end"))
        return True
    midnight = minute == 0.0
    if not midnight.any():
        return False
    first, last = float(minute[0]), float(minute[-1])
    if abs(first - step) < 0.5 and last == 0.0:
        notes.append(Note.of("weather.note.stamps_end"))
        return True
    if not stamps.logger and first == 0.0 and abs(last - (1440.0 - step)) < 0.5:
        return False
    at_midnight = np.where(midnight, np.nan_to_num(fell), 0.0) if fell is not None else midnight * 0
    if float(np.max(at_midnight)) > STAMP_MATTERS_MM:
        return asker.ask("stamp", ("start", "end")) == "end"
    notes.append(
        Note.of("weather.note.stamps_end" if stamps.logger else "weather.note.stamps_start")
    )
    return stamps.logger


def day_steps(day: Days, key: Values, step: float) -> dict[int, float]:
    """Return the step of each day [min]: the file's, or that of a stretch of its own."""
    days, starts = np.unique(day, return_index=True)
    own = {}
    for d, a, b in zip(days.tolist(), starts, [*starts[1:], len(day)], strict=True):
        own[d] = step_minutes(key[a:b]) if b - a >= 6 else step
    steps = dict.fromkeys(own, step)
    run: list[int] = []
    for d in [*own, None]:
        if d is not None and own[d] != step and (not run or own[d] == own[run[-1]]):
            run.append(d)
            continue
        if len(run) >= 3:
            steps.update({r: own[r] for r in run})
        run = [d] if d is not None and own[d] != step else []
    return steps


@dataclass
class _Grid:
    """Which day and step each reading falls in."""

    days: Days
    starts: NDArray[np.int64]
    index: NDArray[np.int64]
    slot: NDArray[np.int64]
    expected: Values

    def share(self, there: NDArray[np.bool_]) -> Values:
        """Return for each day the share of its steps in which a reading is there."""
        pairs = np.unique(self.index[there] * 100000 + self.slot[there])
        counts = np.bincount(pairs // 100000, minlength=len(self.days)).astype(float)
        return counts / self.expected

    def sums(self, values: Values) -> Values:
        """Return the sum of known values of each day."""
        sums = np.bincount(self.index, np.nan_to_num(values), minlength=len(self.days))
        return sums.astype(float)

    def means(self, values: Values) -> Values:
        """Return the mean of each day; steps without a reading follow their neighbours."""
        known = ~np.isnan(values)
        n = np.bincount(self.index, known, minlength=len(self.days))
        mean = self.sums(values) / np.where(n > 0, n, np.nan)
        ends = [*self.starts[1:].tolist(), len(values)]
        for i in np.flatnonzero((n < self.expected) & (n > 1)).tolist():
            rows = slice(int(self.starts[i]), ends[i])
            there = known[rows]
            slots = np.arange(int(self.expected[i]))
            mean[i] = np.interp(slots, self.slot[rows][there], values[rows][there]).mean()
        return mean

    def highest(self, values: Values) -> Values:
        """Return the highest known value of each day."""
        return np.fmax.reduceat(values, self.starts)

    def lowest(self, values: Values) -> Values:
        """Return the lowest known value of each day."""
        return np.fmin.reduceat(values, self.starts)


def _grid(day: Days, minute: Values, steps: dict[int, float]) -> _Grid:
    days, starts, index = np.unique(day, return_index=True, return_inverse=True)
    size = np.array([steps[d] for d in days.tolist()])
    slot = np.floor(minute / size[index] + 1e-6).astype(np.int64)
    return _Grid(days, starts, index, slot, np.round(1440.0 / size))


def fill_dark(r: Reading, minute: Values, step: float) -> bool:
    """Write 0 where radiation is blank at night in the whole file; tell whether it was done.

    Only if every blank time of day is never written, lies between 16:30 and 07:30, and the
    times next to it bring little sun (under 15 % of the most): so the column is blank because
    it is dark.
    """
    slot = np.floor(minute / step + 1e-6).astype(int)
    there = ~np.isnan(r.values)
    slots = int(slot.max()) + 1
    written = np.bincount(slot[there], minlength=slots) > 0
    seen = np.bincount(slot, minlength=slots) > 0
    blank = np.flatnonzero(seen & ~written)
    if len(blank) == 0 or len(blank) == slots or not there.any():
        return False
    clock = blank * step
    if ((clock > 450.0) & (clock < 990.0)).any():
        return False
    most = float(np.nanmax(r.values))
    beside = {(b + d) % slots for b in blank.tolist() for d in (-1, 1)} - set(blank.tolist())
    edge = np.isin(slot, list(beside)) & there
    if edge.any() and float(r.values[edge].max()) > 0.15 * most:
        return False
    r.values[np.isin(slot, blank)] = 0.0
    return True


def guard_readings(readings: dict[str, Reading], day: Days, step: float) -> list[Flagged]:
    """Take single readings out that cannot be; one mark a day and quantity, with the worst."""
    flags: list[Flagged] = []
    for role, r in readings.items():
        low, high = LIMITS.get(role, (-np.inf, np.inf))
        if role == "rs":
            night = r.values < 0.0
            full = 0.0864 * 1500.0 if not r.per_interval else 1500.0 * step * 60e-6
            r.values[night & (r.values > -0.02 * full)] = 0.0
            low, high = 0.0, full
        if role == "sun":
            high = step / 60.0 * 1.05 + 0.02
        if role == "wind" and r.per_interval:  # held as the day's mean it would add
            high = 60.0 * step / 1440.0
        with np.errstate(invalid="ignore"):
            bad = np.flatnonzero((r.values < low) | (r.values > high))
        worst: dict[int, int] = {}
        for i in bad.tolist():
            d = int(day[i])
            if d not in worst or abs(r.values[i]) > abs(r.values[worst[d]]):
                worst[d] = i
        for d, i in worst.items():
            text = r.cells[i].strip()
            flags.append(Flagged(date_of(d), "reading_impossible", COLUMN_OF[role], text, None))
        r.values[bad] = np.nan
        if role in ("rh", "rh_max", "rh_min"):
            r.values[r.values > 100.0] = 100.0
    return flags


def make_days(
    readings: dict[str, Reading], rain: Rain | None, day: Days, minute: Values, key: Values,
    step: float,
) -> DayTable:  # fmt: skip
    """Return the days made from readings (rows in order of time)."""
    grid = _grid(day, minute, day_steps(day, key, step))
    table = DayTable(grid.days)
    if "rs" in readings and fill_dark(readings["rs"], minute, step):
        table.notes.append(Note.of("weather.note.dark_blank", column=readings["rs"].column.name))
    flags: list[Flagged] = guard_readings(readings, day, step)
    extremes = step <= LONGEST_STEP_FOR_EXTREMES
    rows = grid.share(np.ones(len(day), dtype=bool))
    for role, r in readings.items():
        if role == "rain":
            _rain_days(table, grid, rain or Rain(r.values, "depth"), flags, rows)
            continue
        share = grid.share(~np.isnan(r.values))
        sums = role in ("rs", "sun", "et0")
        enough = share >= (SUMS_NEED if sums else MEANS_NEED)
        for name, made in _day_values(role, r, grid, extremes).items():
            if name not in table.values or role in ("tmax", "tmin", "ea", "rh_max", "rh_min"):
                table.values[name] = np.where(enough, made, np.nan)
        for i in np.flatnonzero(~enough & (share > 0.0)).tolist():
            got = f"{round(share[i] * grid.expected[i])}/{int(grid.expected[i])}"
            flags.append(Flagged(date_of(grid.days[i]), "incomplete", COLUMN_OF[role], got, None))
    table.flags = flags
    table.notes.append(Note.of("weather.note.subdaily", step=_step_text(step)))
    if not extremes:
        table.notes.append(Note.of("weather.note.step_too_long", step=_step_text(step)))
    _drop_edges(table, rows)
    return table


def _step_text(step: float) -> str:
    return f"{step / 60.0:g} h" if step >= 60.0 else f"{step:g} min"


def _day_values(role: str, r: Reading, grid: _Grid, extremes: bool) -> dict[str, Values]:
    v = r.values
    if role == "temp":
        made = {"tmean_c": grid.means(v)}
        if extremes:
            made |= {"tmax_c": grid.highest(v), "tmin_c": grid.lowest(v)}
        return made
    if role == "rh":
        made = {"rh_mean": grid.means(v)}
        if extremes:
            made |= {"rh_max": grid.highest(v), "rh_min": grid.lowest(v)}
        return made
    if role in ("tmax", "rh_max"):
        return {COLUMN_OF[role]: grid.highest(v)}
    if role in ("tmin", "rh_min"):
        return {COLUMN_OF[role]: grid.lowest(v)}
    if role == "dew":
        return {"ea_kpa": grid.means(np.asarray(air.ea_from_dew(v)))}
    if r.per_interval and role != "rain":
        return {COLUMN_OF[role]: grid.means(v) * grid.expected}
    return {COLUMN_OF[role]: grid.means(v)}


def _rain_days(
    table: DayTable, grid: _Grid, rain: Rain, flags: list[Flagged], rows: Values
) -> None:
    there = ~np.isnan(rain.values)
    share = grid.share(there)
    if rain.kind == RUNNING:  # a counter loses nothing while it is not read
        last = np.zeros(len(grid.days))
        np.maximum.at(last, grid.index[there], grid.slot[there] + 1.0)
        share = np.where(share > 0.0, last / grid.expected, 0.0)
    elif rain.kind == "day_total":
        share = np.where(share > 0.0, np.maximum(share, rows), 0.0)
    total = grid.sums(rain.values)
    enough = share >= SUMS_NEED
    table.values["rain_mm"] = np.where(enough, total, np.nan)
    for i in np.flatnonzero(~enough).tolist():
        if rows[i] > 0.0:
            date = date_of(grid.days[i])
            flags.append(
                Flagged(date, "rain_incomplete", "rain_mm", round(float(total[i]), 4), None)
            )
    for row in rain.several:
        i = int(grid.index[row])
        used = float(total[i]) if enough[i] else None
        date = date_of(grid.days[i])
        value = round(float(rain.values[row]), 4)
        flags.append(Flagged(date, "rain_of_several_days", "rain_mm", value, used))


def _drop_edges(table: DayTable, rows: Values) -> None:
    """Leave out the first and the last day where they are not whole."""
    keep = np.ones(len(table.day), dtype=bool)
    for i in {0, len(table.day) - 1}:
        if rows[i] >= EDGE_NEEDS:
            continue
        keep[i] = False
        date = date_of(table.day[i])
        if rows[i] > 0.05:
            share = round(100.0 * float(rows[i]))
            part = [f.value for f in table.flags if f.date == date and f.what == "rain_incomplete"]
            note = Note.of("weather.note.edge_day", date=date.isoformat(), share=share,
                           rain=part[0] if part else "-")  # fmt: skip
            table.notes.append(note)
        table.flags = [f for f in table.flags if f.date != date]
    table.day = table.day[keep]
    table.values = {name: v[keep] for name, v in table.values.items()}
