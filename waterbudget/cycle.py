"""The block's own clock: from pruning through bloom, fruit set and fill to harvest and rest.

The clock runs on thermal time (degree-days above a base, by a sine between the day's low and
high, day means capped at 30 degC).  One number, the *progress*, carries a cycle: 0 at pruning,
1 at half of the branches in flower (model A), 2 at the first quarter of the harvest (model B).

===== ======================== ======= ===== ==========================================
model from - to                base    need  source
===== ======================== ======= ===== ==========================================
A     pruning - 50 % anthesis  8.48    1073  guava 'Diwang Ba', Kaohsiung: Acta Hort.
B     anthesis - 25 % harvest  9.11    1678  1166, paper 22 (degree-hours / 24);
C     pruning - 25 % harvest   4.33    3571  C is the second opinion on A + B
===== ======================== ======= ===== ==========================================

A stage holds on a day when the progress at noon lies in its half-open span, so that a threshold
crossed 69.1 days after pruning dates the event on day 69.  Seen dates override the model: up to
the day before, the block cannot be past the stage seen; from that day on it is in it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget import tables
from waterbudget.orchard import ALL_STAGES, Cycle

Values = NDArray[np.float64]

BASE_A_C, NEED_A = 8.48, 1073.0
BASE_B_C, NEED_B = 9.11, 1678.0
BASE_C_C, NEED_C = 4.33, 3571.0
CAP_C = 30.0  # cap on the day's mean: own estimate
COOL_LIMIT_C = 19.0  # below this monthly mean the model is outside its climate: own estimate
HARVEST_DAYS = 43  # own estimate, 4 to 8 weeks in practice
STAND_IN_C = 24.0  # the temperature at which the plain day table holds
LAPSE_C_PER_M = -0.0065  # standard atmosphere

STAGE_INDEX = {stage: i for i, stage in enumerate(ALL_STAGES)}
_SEEN = (("seen_bloom", 0.72), ("seen_set", 1.10), ("seen_fill", 1.70), ("seen_harvest", 2.0))
_EDGES = np.array([0.20, 0.72, 1.10, 1.60, 1.70, 2.00])
_STARTS = np.array([0.0, *_EDGES])
_SINE = np.sin((np.arange(24) + 0.5) / 24 * 2 * np.pi)


@dataclass(frozen=True)
class CycleDates:
    """What the clock says of one cycle.

    Attributes
    ----------
    starts : mapping of stage to date
        First day of each stage reached inside the days given.
    seen : tuple of str
        Stages whose start was seen, not estimated.
    harvest_second : datetime.date or None
        Start of harvest by model C, the second opinion.
    model : mapping of stage to date
        What the clock alone would have said for the stages that were seen.
    """

    cycle: Cycle
    starts: Mapping[str, dt.date]
    seen: tuple[str, ...] = ()
    harvest_second: dt.date | None = None
    full_bloom: dt.date | None = None
    model: Mapping[str, dt.date] = field(default_factory=dict)


@dataclass(frozen=True)
class Clock:
    """Stage of one block on every day.

    Attributes
    ----------
    first : datetime.date
    stage : ndarray of int8, shape (days,)
        Index into :data:`waterbudget.orchard.ALL_STAGES`.
    within : ndarray, shape (days,)
        Share of the stage gone by [0..1].
    days_from_pruning : ndarray of int, shape (days,)
        -1 before the first pruning.
    cycles : tuple of CycleDates
    tmax_c, tmin_c : ndarray, shape (days,)
        What it ran on [degC], at the block's elevation.
    """

    first: dt.date
    stage: NDArray[np.int8]
    within: Values
    days_from_pruning: NDArray[np.int64]
    cycles: tuple[CycleDates, ...]
    tmax_c: Values = field(default_factory=lambda: np.empty(0))
    tmin_c: Values = field(default_factory=lambda: np.empty(0))

    def stage_on(self, day: dt.date) -> str:
        """Return the stage code of a day inside the clock."""
        return ALL_STAGES[self.stage[(day - self.first).days]]


def degree_days(tmax_c: Values, tmin_c: Values, base_c: float) -> Values:
    """Degree-days of each day above ``base_c`` [degC d], by a sine between low and high.

    Parameters
    ----------
    tmax_c, tmin_c : ndarray, shape (days,) [degC]
    base_c : float [degC]

    Returns
    -------
    ndarray, shape (days,)
        Never below 0, never above ``30 - base_c``.
    """
    mean, half = (tmax_c + tmin_c) / 2, (tmax_c - tmin_c) / 2
    hours = mean[:, None] + half[:, None] * _SINE
    warm = np.maximum(hours - base_c, 0.0).mean(axis=1)
    return np.minimum(warm, CAP_C - base_c)


def day_count_stage(days_from_pruning: int) -> str:
    """Return the stage by the plain day table (holds at 24 degC), shown beside the clock."""
    if days_from_pruning < 0:
        return "young"
    for row in tables.read("stages"):
        if row["days_to"] and days_from_pruning < int(row["days_to"]):
            return row["stage"]
    return "rest"


def run_clock(cycles: Sequence[Cycle], first: dt.date, tmax_c: Values, tmin_c: Values) -> Clock:
    """Run the clock of one block.

    Parameters
    ----------
    cycles : sequence of Cycle
        All prunings known; none means the block is young.
    first : datetime.date
        Date of element 0.  A cycle that began earlier is carried in at 24 degC up to there.
    tmax_c, tmin_c : ndarray, shape (days,) [degC]
        At the block's elevation; NaN counts as 24 degC (then the clock is the day table).
    """
    n = len(tmax_c)
    ordered = sorted(cycles, key=lambda c: c.pruned_on)
    lead = max(0, (first - ordered[0].pruned_on).days) if ordered else 0
    tmax = np.concatenate(
        [np.full(lead, STAND_IN_C), np.where(np.isnan(tmax_c), STAND_IN_C, tmax_c)]
    )
    tmin = np.concatenate(
        [np.full(lead, STAND_IN_C), np.where(np.isnan(tmin_c), STAND_IN_C, tmin_c)]
    )
    tmax, tmin = np.maximum(tmax, tmin), np.minimum(tmax, tmin)
    start = first - dt.timedelta(days=lead)
    total = lead + n
    heat = _Heat(tmax, tmin) if ordered else None
    stage = np.full(total, STAGE_INDEX["young"], dtype=np.int8)
    within = np.zeros(total)
    count = np.full(total, -1, dtype=np.int64)
    found = []
    for k, cycle in enumerate(ordered):
        i0 = (cycle.pruned_on - start).days
        i1 = (ordered[k + 1].pruned_on - start).days if k + 1 < len(ordered) else total
        if i0 >= total or i1 <= i0:
            continue
        i1 = min(i1, total)
        assert heat is not None
        progress = heat.progress(cycle, start, i0, i1)
        stage[i0:i1], within[i0:i1] = _stages(progress, cycle, start, i0)
        count[i0:i1] = np.arange(i1 - i0)
        found.append(_dates(heat, cycle, start, i0, i1, stage[i0:i1], progress))
    return Clock(
        first, stage[lead:], within[lead:], count[lead:], tuple(found), tmax[lead:], tmin[lead:]
    )


class _Heat:
    """Cumulated degree-days; time runs in days, day ``i`` from ``i`` to ``i + 1``."""

    def __init__(self, tmax_c: Values, tmin_c: Values) -> None:
        self.edges = np.arange(len(tmax_c) + 1.0)
        self.a, self.b, self.c = (
            np.concatenate([[0.0], np.cumsum(degree_days(tmax_c, tmin_c, base))])
            for base in (BASE_A_C, BASE_B_C, BASE_C_C)
        )

    def at(self, curve: Values, time: Values | float) -> Values:
        return np.asarray(np.interp(time, self.edges, curve), dtype=np.float64)

    def when(self, curve: Values, heat: float) -> float:
        """Return the time at which a curve reaches ``heat``; infinity if it does not."""
        if heat > curve[-1]:
            return float("inf")
        return float(np.interp(heat, curve, self.edges))

    def progress(self, cycle: Cycle, start: dt.date, i0: int, i1: int) -> Values:
        """Progress at noon of days ``i0`` to ``i1``, seen dates applied."""
        noon: Values = np.arange(i0, i1, dtype=np.float64) + 0.5
        result = self._from(float(i0), 0.0, noon)
        for key, at in _SEEN:
            seen = getattr(cycle, key)
            if seen is None:
                continue
            i = (seen - start).days
            before = noon < i
            result[before] = np.minimum(result[before], np.nextafter(at, 0))
            after = ~before
            result[after] = self._from(i + 0.5, at, noon[after])
        return result

    def _from(self, time: float, progress: float, noon: Values) -> Values:
        """Progress at times ``noon`` when it was ``progress`` at ``time``."""
        if progress < 1:
            heat_a = float(self.at(self.a, time))
            cross = self.when(self.a, heat_a + (1 - progress) * NEED_A)
            first = progress + (self.at(self.a, noon) - heat_a) / NEED_A
            if not np.isfinite(cross):
                return np.asarray(np.minimum(first, np.nextafter(1.0, 0)))
            second = 1 + (self.at(self.b, noon) - self.at(self.b, cross)) / NEED_B
            return np.asarray(np.where(noon < cross, first, np.maximum(second, 1.0)))
        return np.asarray(progress + (self.at(self.b, noon) - self.at(self.b, time)) / NEED_B)


def _stages(
    progress: Values, cycle: Cycle, start: dt.date, i0: int
) -> tuple[NDArray[np.int64], Values]:
    n = len(progress)
    index = np.searchsorted(_EDGES, progress, side="right").astype(np.int64)
    low = _STARTS[index]
    high = np.append(_EDGES, 3.0)[index]
    within = np.clip((progress - low) / (high - low), 0, 1)
    harvest = STAGE_INDEX["harvest"]
    ripe = np.flatnonzero(index >= harvest)
    begin = int(ripe[0]) if len(ripe) else n
    end = begin + HARVEST_DAYS
    if cycle.harvest_end is not None:
        end = (cycle.harvest_end - start).days - i0 + 1
        begin = min(begin, end)
    days = np.arange(n)
    inside = (days >= begin) & (days < end)
    index[inside] = harvest
    within[inside] = (days[inside] - begin) / max(1, end - begin)
    rest = days >= max(begin, end)
    index[rest], within[rest] = STAGE_INDEX["rest"], 0.0
    return index, within


def _dates(heat: _Heat, cycle: Cycle, start: dt.date, i0: int, i1: int,
           stage: NDArray[np.int8], progress: Values) -> CycleDates:  # fmt: skip
    starts, model = {}, {}
    for index in np.unique(stage):
        day = i0 + int(np.flatnonzero(stage == index)[0])
        starts[ALL_STAGES[index]] = start + dt.timedelta(days=day)
    seen = [key.removeprefix("seen_") for key, _ in _SEEN if getattr(cycle, key) is not None]
    if seen:
        bare = _Heat.progress(heat, Cycle(cycle.pruned_on), start, i0, i1)
        for key, at in _SEEN:
            hit = np.flatnonzero(bare >= at)
            if getattr(cycle, key) is not None and len(hit):
                model[key.removeprefix("seen_")] = start + dt.timedelta(days=i0 + int(hit[0]))
    second = heat.when(heat.c, float(heat.at(heat.c, float(i0))) + NEED_C)
    full = np.flatnonzero(progress >= 1)
    return CycleDates(
        cycle=cycle,
        starts=starts,
        seen=tuple(seen),
        harvest_second=start + dt.timedelta(days=int(second + 0.5))
        if np.isfinite(second)
        else None,
        full_bloom=start + dt.timedelta(days=i0 + int(full[0])) if len(full) else None,
        model=model,
    )
