"""Readings of the soil: what they say is missing, which of them count, how far they pull.

**What a reading says is missing** [mm over the block]:

- *tensiometer* [kPa]: a line from field capacity (nothing missing) to the tension at which fruit
  fill is watered (35 % of the held water used), on to that at which rest is watered (60 % used);
  above that "at least 60 %", which never pulls to the wetter side.  The tensions stand by soil in
  ``tables/tensiometers.csv``; the two shares are the allowed depletions of those stages.  Above
  80 kPa air gets in and the reading says nothing.  Salt in the soil water is not sensed.
- *capacitance* [% of the sensor's own span]: 100 = full, the night after a soaking; 0 = where its
  daily draw-down slackens, which is where the trees slow down (``p_stress`` of the held water).
- *field*, by spade, hand or oven [mm]: as it is.

**Which count**: taken at least 24 hours after water, so not where a watering or 2 mm of rain fell
on the day before, nor on the same day unless it was read before that water; of several sensors
read on a day at least two that agree (within 20 % of the held water) count and the others do not;
a sensor in the lower half of the roots watches how deep waterings reach, not what is missing.

**How far they pull**: a reading stands for the morning of its day.  The depletion of that morning
becomes 0.6 model + 0.4 sensor; a spade or an oven looks at the soil itself and weighs more: 0.4
model + 0.6 reading.  The step goes into the account as a correction of that day; where that is
the very morning looked at, of the day before, so that everything shown of the morning knows it.

**When the coefficients are off**: where in each of three weeks in a row the readings were on the
same side of the model by more than 15 % of easy water (RAW), a step of 0.05 of the local factor
is proposed, inside 0.8 to 1.2, and never made by itself.

All of these numbers are own estimates but the 24 hours and the 80 kPa (common practice).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from waterbudget import tables
from waterbudget.orchard import fold
from waterbudget.records import Reading

Values = NDArray[np.float64]

SENSOR_SHARE, FIELD_SHARE = 0.4, 0.6
LOW_USED, HIGH_USED = 0.35, 0.60  # allowed depletion of fruit fill and of rest, tables/stages.csv
LAST_KPA = 80.0
RAIN_COUNTS_MM = 2.0
AGREE_SHARE = 0.20
LOWER_HALF = 0.5
WET_BELOW_KPA = 10.0  # of the lower sensor: waterings reach past it
WEEKS, WEEK_DAYS = 3, 7
ONE_SIDED_SHARE = 0.15
FACTOR_STEP, FACTOR_LOW, FACTOR_HIGH = 0.05, 0.8, 1.2


@dataclass(frozen=True)
class Ground:
    """What a block's readings are judged by; daily arrays have shape (days,).

    Attributes
    ----------
    first : datetime.date
        Date of element 0.
    soil : str or None
        Code of its soil class; None where nobody said.
    taw_mm, root_depth_m : ndarray
    stress_share : float
        Share of the held water at which the trees slow down.
    rain_mm, watered_mm : ndarray
        Rain, and waterings as counted.
    trees : ndarray of bool
        False before planting.
    """

    first: dt.date
    soil: str | None
    taw_mm: Values
    root_depth_m: Values
    stress_share: float
    rain_mm: Values
    watered_mm: Values
    trees: NDArray[np.bool_]

    def row(self, date: dt.date) -> int | None:
        """Return the row of a date; None outside the days."""
        i = (date - self.first).days
        return i if 0 <= i < len(self.taw_mm) else None


@dataclass(frozen=True)
class Judged:
    """One reading, and what became of it.

    Attributes
    ----------
    missing_mm : float or None
        What it says is missing; None where it says nothing.
    at_least : bool
        More may be missing than that.
    counts : bool
    why : str
        Code of the reason: ``counts`` or why it does not.
    """

    reading: Reading
    missing_mm: float | None
    at_least: bool = False
    counts: bool = True
    why: str = "counts"


@dataclass(frozen=True)
class Pull:
    """What the readings of one morning pull the depletion to, and by which share of the way."""

    date: dt.date
    missing_mm: float
    share: float
    at_least: bool = False

    def moves(self, model_mm: float) -> float:
        """By how much a depletion is pulled [mm], drier positive."""
        apart = self.missing_mm - model_mm
        return self.share * (max(apart, 0.0) if self.at_least else apart)


@dataclass(frozen=True)
class Pulled:
    """A morning on which readings pulled the depletion.

    Attributes
    ----------
    model_mm, read_mm, new_mm : float
        Missing by the model, by the readings, and as counted from then on.
    at_least : bool
        More may be missing than the readings say: they never pull to the wetter side.
    raw_mm : float
        Easy water (RAW) of that day.
    counted_on : datetime.date
        Day whose account carries the correction: that of the reading; for a reading of the very
        morning looked at the day before, so that the morning stands right.
    """

    date: dt.date
    model_mm: float
    read_mm: float
    new_mm: float
    share: float
    raw_mm: float
    counted_on: dt.date
    at_least: bool = False

    @property
    def off(self) -> float:
        """How far the readings are on the dry side of the model, as a share of easy water."""
        apart = self.read_mm - self.model_mm
        if self.raw_mm <= 0 or (self.at_least and apart < 0):
            return 0.0
        return apart / self.raw_mm


@dataclass(frozen=True)
class FactorStep:
    """A step of the local factor that three weeks of readings speak for.

    Attributes
    ----------
    off : tuple of float
        Mean difference of each week as a share of easy water, oldest first; positive = drier than
        the model.
    """

    old: float
    new: float
    off: tuple[float, ...]

    @property
    def mean_off(self) -> float:
        """Mean of the weeks."""
        return sum(self.off) / len(self.off)


@cache
def tensions() -> dict[str, tuple[float, float, float]]:
    """Return by soil the tensions at field capacity and at both start thresholds [kPa]."""
    columns = ("full_kpa", "low_kpa", "high_kpa")
    return {
        row["soil"]: (float(row[columns[0]]), float(row[columns[1]]), float(row[columns[2]]))
        for row in tables.read("tensiometers")
    }


def used_share(soil: str, kpa: float) -> float:
    """Share of the held water that is used at a tension: a line through three points [0..0.60].

    Parameters
    ----------
    soil : str
        A soil code.
    kpa : float
        Suction at the shallow sensor [kPa].
    """
    return float(np.interp(kpa, tensions()[soil], (0.0, LOW_USED, HIGH_USED)))


def judge(readings: Iterable[Reading], ground: Ground) -> tuple[tuple[Judged, ...], list[Pull]]:
    """Say of each reading of one block whether it counts, and what the mornings pull to.

    Returns
    -------
    tuple of Judged
        In the order of their dates.
    list of Pull
        One a morning on which something counts.
    """
    by_day: dict[dt.date, list[Judged]] = {}
    for reading in readings:
        by_day.setdefault(reading.date, []).append(_alone(reading, ground))
    found: list[Judged] = []
    pulls = []
    for date in sorted(by_day):
        row = ground.row(date)
        taw = float(ground.taw_mm[row]) if row is not None else 0.0
        day = _together(by_day[date], taw)
        found += day
        said = [j for j in day if j.counts and j.missing_mm is not None]
        if said:
            field = any(j.reading.kind == "field" for j in said)
            mean = sum(j.missing_mm or 0.0 for j in said) / len(said)
            share, at_least = FIELD_SHARE if field else SENSOR_SHARE, all(j.at_least for j in said)
            pulls.append(Pull(date, mean, share, at_least))
    return tuple(found), pulls


def _alone(reading: Reading, ground: Ground) -> Judged:
    """Judge a reading by itself."""
    row = ground.row(reading.date)
    if row is None:
        return Judged(reading, None, counts=False, why="outside")
    missing, at_least = _missing_mm(reading, ground, row)
    why = _why_not(reading, ground, row)
    return Judged(reading, missing, at_least, counts=not why, why=why or "counts")


def _missing_mm(reading: Reading, ground: Ground, row: int) -> tuple[float | None, bool]:
    taw = float(ground.taw_mm[row])
    if reading.kind == "field":
        return min(reading.value, taw), reading.value > taw
    if reading.kind == "capacitance":
        gone = 1.0 - reading.value / 100.0
        return min(max(gone, 0.0), 1.0) * ground.stress_share * taw, reading.value <= 0
    if ground.soil is None or reading.value > LAST_KPA:
        return None, False
    at_least = reading.value > tensions()[ground.soil][2]
    return used_share(ground.soil, reading.value) * taw, at_least


def _why_not(reading: Reading, ground: Ground, row: int) -> str:
    """Return why a reading does not count by itself; empty where nothing speaks against it."""
    if not ground.trees[row]:
        return "no_trees"
    if row > 0 and _wet(ground, row - 1):
        return "after_water"
    if _wet(ground, row) and not reading.before_water:
        return "water_that_day"
    if reading.kind == "field":
        return ""
    depth = None if reading.depth_cm is None else reading.depth_cm / 100.0
    if depth is not None and depth > LOWER_HALF * ground.root_depth_m[row]:
        wet = reading.kind == "tensiometer" and reading.value < WET_BELOW_KPA
        return "deep_wet" if wet else "deep"
    if reading.kind == "tensiometer":
        if reading.value > LAST_KPA:
            return "air_inside"
        if ground.soil is None:
            return "no_soil"
    return ""


def _wet(ground: Ground, row: int) -> bool:
    return bool(ground.rain_mm[row] >= RAIN_COUNTS_MM or ground.watered_mm[row] > 0)


def _together(day: Sequence[Judged], taw_mm: float) -> list[Judged]:
    """Judge the readings of one day beside each other: a spade first, sensors that agree."""
    if any(j.counts and j.reading.kind == "field" for j in day):
        return [
            replace(j, counts=False, why="field_counts")
            if j.counts and j.reading.kind != "field" else j
            for j in day
        ]  # fmt: skip
    sensors = sorted((j for j in day if j.counts), key=lambda j: j.missing_mm or 0.0)
    if len(sensors) < 2:
        return list(day)
    agree = _agreeing([j.missing_mm or 0.0 for j in sensors], AGREE_SHARE * taw_mm)
    odd = [j for k, j in enumerate(sensors) if k not in agree]
    return [replace(j, counts=False, why="disagrees") if j in odd else j for j in day]


def _agreeing(sorted_mm: Sequence[float], within_mm: float) -> range:
    """Return the largest run of at least two within reach of each other, the closest of such.

    Where two runs as large have nothing in common, none of them is right.
    """
    runs = []
    for i in range(len(sorted_mm)):
        j = i
        while j < len(sorted_mm) and sorted_mm[j] - sorted_mm[i] <= within_mm + 1e-9:
            j += 1
        runs.append(range(i, j))
    longest = max(map(len, runs))
    best = [r for r in runs if len(r) == longest]
    if longest < 2 or best[0].stop <= best[-1].start:
        return range(0)
    return min(best, key=lambda r: sorted_mm[r[-1]] - sorted_mm[r[0]])


def lay(pulls: Sequence[Pull], first: dt.date, days: int) -> dict[str, Values]:
    """Lay pulls along the days of a run, under the names the balance reads them by.

    Returns
    -------
    dict of str to ndarray, shape (days,)
        ``read_mm``, ``read_share`` and ``read_floor``; 0 on mornings without any.
    """
    mm, share, floor = np.zeros(days), np.zeros(days), np.zeros(days)
    for pull in pulls:
        i = (pull.date - first).days
        if 0 <= i < days:
            mm[i], share[i], floor[i] = pull.missing_mm, pull.share, float(pull.at_least)
    return {"read_mm": mm, "read_share": share, "read_floor": floor}


def factor_step(
    pulled: Sequence[Pulled], on: dt.date, factor: float, since: dt.date | None = None
) -> FactorStep | None:
    """Return the step of the local factor that the last three weeks speak for, if any.

    Parameters
    ----------
    on : datetime.date
        The morning looked at; a reading of that morning is in the last week.
    factor : float
        The local factor now.
    since : datetime.date, optional
        When it was last changed: differences from before that say nothing of it.
    """
    weeks: list[list[float]] = [[] for _ in range(WEEKS)]
    for one in pulled:
        age = (on - one.date).days
        if 0 <= age < WEEKS * WEEK_DAYS and (since is None or one.date > since):
            weeks[WEEKS - 1 - age // WEEK_DAYS].append(one.off)
    if not all(weeks):
        return None
    off = tuple(sum(week) / len(week) for week in weeks)
    drier = all(week > ONE_SIDED_SHARE for week in off)
    if not drier and not all(week < -ONE_SIDED_SHARE for week in off):
        return None
    new = round(factor + (FACTOR_STEP if drier else -FACTOR_STEP), 2)
    inside = FACTOR_LOW <= new <= FACTOR_HIGH
    return FactorStep(factor, new, off) if inside else None


def same_place(a: Reading, b: Reading) -> bool:
    """Tell whether two readings are of one sensor (or spade) on one day: the later one counts."""
    places = [
        (r.block_id, r.date, r.kind, r.depth_cm, fold(r.sensor) if r.sensor else None)
        for r in (a, b)
    ]
    return places[0] == places[1]
