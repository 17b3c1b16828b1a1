"""When the week's waterings start: packed into the hours of each day and under the pump.

A total of hours is no timetable: every set gets its quarter hours, beside others as long as their
flows together stay under the pump's.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.plan import QUARTER_H, WEEK, BlockLimits, BlockPlan, PlannedSet, Source

Values = NDArray[np.float64]

SLOTS = 96  # quarter hours of a day
MANY_SETS = 60  # past this many a day, one order is tried: a redraw must not wait for three


@dataclass(frozen=True)
class PumpDay:
    """One day of the pump.

    Attributes
    ----------
    hours : time the pump runs [h]
    valves : number of sets opened
    m3 : water pumped [m3]
    over_hours : hours past what the pump or the working day allows [h]
    over_flow_m3_h : flow wanted at once past the pump's [m3/h]
    """

    hours: float
    valves: int
    m3: float
    over_hours: float
    over_flow_m3_h: float


def schedule(
    plans: Sequence[BlockPlan], limits: Sequence[BlockLimits], source: Source,
    held: dict[int, Any] | None = None,
) -> tuple[list[BlockPlan], tuple[PumpDay, ...]]:  # fmt: skip
    """Give every set a start inside the hours of its day and under the pump.

    Blocks that together stay under the pump's flow may run side by side.  Those in the more
    important stage start first, unless the longest or the strongest first fits the day better.
    A set that finds no place is still placed, after the others, and marked.

    Parameters
    ----------
    held : dict, optional
        Kept by the caller between calls; a day that asks for the same sets is not placed again.
    """
    held = {} if held is None else held
    placed = [list(p.sets) for p in plans]
    days = []
    for day in range(WEEK):
        todo = [
            (k, j) for k, sets in enumerate(placed) for j, s in enumerate(sets)
            if s.day == day and s.hours is not None
        ]  # fmt: skip
        asked = [
            (limits[k].name, limits[k].priority, limits[k].flow_m3_h, placed[k][j]) for k, j in todo
        ]
        if day not in held or held[day][0] != (source, asked):
            pump_day = _best_order(todo, placed, limits, source)
            held[day] = ((source, asked), pump_day, [placed[k][j] for k, j in todo])
        for (k, j), item in zip(todo, held[day][2], strict=True):
            placed[k][j] = item
        days.append(held[day][1])
    new = [replace(p, sets=tuple(s)) for p, s in zip(plans, placed, strict=True)]
    return new, tuple(days)


def _best_order(
    todo: Sequence[tuple[int, int]], placed: list[list[PlannedSet]],
    limits: Sequence[BlockLimits], source: Source,
) -> PumpDay:  # fmt: skip
    """Place a day's sets in the order that fits it best, and write them to ``placed``."""

    def key(kj: tuple[int, int], first: str) -> tuple[bool, float, int, str]:
        item, block = placed[kj[0]][kj[1]], limits[kj[0]]
        by = {"stage": 0.0, "long": -float(item.hours or 0), "strong": -float(block.flow_m3_h or 0)}
        return (item.start is None, by[first], block.priority, block.name)

    best: tuple[tuple[int, float, float], PumpDay, dict[tuple[int, int], PlannedSet]] | None = None
    for first in ("stage", "long", "strong") if len(todo) <= MANY_SETS else ("stage",):
        trial = [list(sets) for sets in placed]
        day = _one_day(sorted(todo, key=lambda kj: key(kj, first)), trial, limits, source)
        sets = {kj: trial[kj[0]][kj[1]] for kj in todo}
        rank = (sum(s.over for s in sets.values()), day.over_flow_m3_h, day.over_hours)
        if best is None or rank < best[0]:
            best = (rank, day, sets)
        if rank[0] == 0:
            break
    assert best is not None
    for (k, j), item in best[2].items():
        placed[k][j] = item
    return best[1]


def _one_day(
    todo: Sequence[tuple[int, int]], placed: list[list[PlannedSet]],
    limits: Sequence[BlockLimits], source: Source,
) -> PumpDay:  # fmt: skip
    use = np.zeros(3 * SLOTS)
    opens, closes = _slot(source.work_from), _slot(source.work_to, down=True)
    ends = opens + SLOTS if source.night_sets else closes
    pump = source.pump_m3_h if source.pump_m3_h is not None else math.inf
    budget = int((source.pump_hours or 24.0) / QUARTER_H)
    over_flow = 0.0
    m3 = 0.0
    for k, j in todo:
        item = placed[k][j]
        flow = float(limits[k].flow_m3_h or 0.0)
        length = max(1, round(float(item.hours or 0.0) / QUARTER_H))
        if item.start is not None:
            at = _slot(item.start)
            fits = bool(np.all(use[at : at + length] + flow <= pump + 1e-9))
            fits = fits and opens <= at < closes and at + length <= ends
        else:
            at, fits = _first_fit(use, flow, length, opens, closes, ends, pump, budget)
        use[at : at + length] += flow
        over_flow = max(over_flow, float(use[at : at + length].max()) - pump)
        m3 += float(item.m3 or 0.0)
        placed[k][j] = replace(item, start=_time(at), over=not fits)
    running = int(np.count_nonzero(use))
    last = int(np.flatnonzero(use)[-1]) + 1 if running else 0
    late = max(0, last - ends) if running else 0
    over = max(late, running - budget, 0) * QUARTER_H
    return PumpDay(running * QUARTER_H, len(todo), m3, over, max(0.0, over_flow))


def _first_fit(
    use: Values, flow: float, length: int, opens: int, closes: int, ends: int, pump: float,
    budget: int,
) -> tuple[int, bool]:  # fmt: skip
    """Return the first quarter hour a set can start at, and whether it fits the day."""
    if not use.any() and flow <= pump and length <= min(ends - opens, budget):
        return opens, True  # the first set of a day
    before = np.zeros((2, len(use) + 1), dtype=np.int64)
    np.cumsum(use > pump - flow + 1e-9, out=before[0, 1:])
    np.cumsum(use > 0, out=before[1, 1:])
    too_much, busy = before[:, length:] - before[:, :-length]  # of the quarter hours it would take
    fits = (too_much == 0) & (before[1, -1] + length - busy <= budget)
    in_time = fits[opens : max(opens, min(closes, ends - length + 1))]
    if in_time.any():
        return opens + int(in_time.argmax()), True
    possible = ((too_much == 0) | (busy == 0))[opens:]
    return opens + int(possible.argmax()), False


def _slot(time: dt.time, down: bool = False) -> int:
    minutes = time.hour * 60 + time.minute
    return minutes // 15 if down else -(-minutes // 15)


def _time(slot: int) -> dt.time:
    """Return the time of a quarter hour; one past midnight (a marked set) ends the day's list."""
    minutes = min(slot, SLOTS - 1) * 15
    return dt.time(minutes // 60, minutes % 60)
