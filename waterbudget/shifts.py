"""When the week's waterings start: packed into the hours of each day and under every pump.

A total of hours is no timetable: every set gets its quarter hours, beside others as long as their
flows together stay under the pump's, their pressure groups agree and the pump may run.  A set in
pulses holds its quarter hours of water only; between them others may run.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.plan import QUARTER_H, WEEK, BlockLimits, BlockPlan, PlannedSet, Source
from waterbudget.supply import SLOTS, PumpLimits, slot

Values = NDArray[np.float64]

MANY_SETS = 60  # past this many a day, one order is tried: a redraw must not wait for three
_ENOUGH = 1e-6  # [m3]: a day's water this little past the tank is not past it


@dataclass(frozen=True)
class PumpDay:
    """One day of a pump, or of all of them.

    Attributes
    ----------
    hours : time the pump runs [h]
    valves : number of sets opened
    m3 : water pumped [m3]
    over_hours : hours past what the pump or the working day allows [h]
    over_flow_m3_h : flow wanted at once past the pump's [m3/h]
    over_valves : sets more than the people can open and close
    over_m3 : water past what the tank can give that day [m3]
    """

    hours: float
    valves: int
    m3: float
    over_hours: float
    over_flow_m3_h: float
    over_valves: int = 0
    over_m3: float = 0.0


def schedule(
    plans: Sequence[BlockPlan], limits: Sequence[BlockLimits], source: Source,
    held: dict[int, Any] | None = None,
) -> tuple[list[BlockPlan], tuple[PumpDay, ...]]:  # fmt: skip
    """Return the plans with their starts and the days of all pumps; see :func:`timetable`."""
    new, days, _ = timetable(plans, limits, source, held)
    return new, days


def timetable(
    plans: Sequence[BlockPlan], limits: Sequence[BlockLimits], source: Source,
    held: dict[int, Any] | None = None,
) -> tuple[list[BlockPlan], tuple[PumpDay, ...], dict[str, tuple[PumpDay, ...]]]:  # fmt: skip
    """Give every set a start inside the hours of its day and under its pump.

    Blocks that together stay under the pump's flow may run side by side.  Those in the more
    important stage start first, unless the longest or the strongest first fits the day better.
    Where some hours are cheaper, sets are put into them as long as all still find a place.  A set
    that finds no place is still placed, after the others, and marked; so is one more than the
    people can open, or past what the tank can give.

    Parameters
    ----------
    held : dict, optional
        Kept by the caller between calls; a day that asks for the same sets is not placed again.

    Returns
    -------
    plans : list of BlockPlan
    days : tuple of PumpDay, length 7
        Of all pumps together.
    by_pump : dict of pump name to tuple of PumpDay, length 7
    """
    held = {} if held is None else held
    placed = [list(p.sets) for p in plans]
    days = []
    for day in range(WEEK):
        todo = [
            (k, j) for k, sets in enumerate(placed) for j, s in enumerate(sets)
            if s.day == day and s.hours is not None
        ]  # fmt: skip
        asked = [(_asks(limits[k]), placed[k][j]) for k, j in todo]
        if day not in held or held[day][0] != (source, asked):
            pump_days = _place_day(todo, placed, limits, source, day)
            held[day] = ((source, asked), pump_days, [placed[k][j] for k, j in todo])
        for (k, j), item in zip(todo, held[day][2], strict=True):
            placed[k][j] = item
        days.append(held[day][1])
    _past_the_tank(placed, limits, source)
    new = [replace(p, sets=tuple(s)) for p, s in zip(plans, placed, strict=True)]
    pumps = {p.name: tuple(d[i] for d in days) for i, p in enumerate(source.pumps)}
    return new, _together(pumps, source, new), pumps


def _asks(limits: BlockLimits) -> tuple[Any, ...]:
    return (limits.name, limits.priority, limits.flow_m3_h, limits.pump, limits.group,
            dict(limits.dry_hours))  # fmt: skip


def _together(
    pumps: Mapping[str, tuple[PumpDay, ...]], source: Source, plans: Sequence[BlockPlan]
) -> tuple[PumpDay, ...]:
    """Return the days of all pumps together: sums, and the largest flow too many."""
    days = list(zip(*pumps.values(), strict=True))
    m3 = [sum(p.m3 for p in day) for day in days]
    can = source.tank.days_m3(m3)[0] if source.tank is not None else [math.inf] * WEEK
    opened = _openings(plans)
    most = math.inf if source.valves_a_day is None else source.valves_a_day
    return tuple(
        PumpDay(
            sum(p.hours for p in day), sum(p.valves for p in day), m3[i],
            sum(p.over_hours for p in day), max(p.over_flow_m3_h for p in day),
            int(max(0, opened[i] - most)),
            float(m3[i] - can[i]) if m3[i] > can[i] + _ENOUGH else 0.0,
        )
        for i, day in enumerate(days)
    )  # fmt: skip


def _openings(plans: Sequence[BlockPlan]) -> list[int]:
    """How often valves are opened on each day: every pulse is an opening."""
    opened = [0] * WEEK
    for p in plans:
        for item in p.sets:
            opened[item.day] += item.pulses if item.hours is not None else 0
    return opened


def _past_the_tank(
    placed: list[list[PlannedSet]], limits: Sequence[BlockLimits], source: Source
) -> None:
    """Mark the sets that the tank cannot feed: the least important of the day first."""
    if source.tank is None:
        return
    wanted = [0.0] * WEEK
    for sets in placed:
        for s in sets:
            wanted[s.day] += s.m3 or 0.0 if s.hours is not None else 0.0
    can, _ = source.tank.days_m3(wanted)
    order = sorted(range(len(placed)), key=lambda k: (-limits[k].priority, limits[k].name))
    for day in range(WEEK):
        lacking = wanted[day] - can[day]
        for k in order:
            for j, s in enumerate(placed[k]):
                if lacking > _ENOUGH and s.day == day and s.hours is not None:
                    placed[k][j] = replace(s, over=True)
                    lacking -= s.m3 or 0.0


def _place_day(
    todo: Sequence[tuple[int, int]], placed: list[list[PlannedSet]],
    limits: Sequence[BlockLimits], source: Source, day: int,
) -> list[PumpDay]:  # fmt: skip
    """Place a day's sets pump by pump in the order that fits best; write them to ``placed``."""
    days = []
    for pump in source.pumps:
        own = [kj for kj in todo if source.pump(limits[kj[0]].pump).name == pump.name]
        if not own:
            days.append(PumpDay(0.0, 0, 0.0, 0.0, 0.0))
            continue
        made, sets = _best_order(own, placed, limits, source, pump, day)
        days.append(made)
        for kj, item in sets.items():
            placed[kj[0]][kj[1]] = item
    if source.valves_a_day is not None:
        opened = 0
        for k, j in sorted(todo, key=lambda kj: (limits[kj[0]].priority, limits[kj[0]].name)):
            opened += placed[k][j].pulses
            if opened > source.valves_a_day:
                placed[k][j] = replace(placed[k][j], over=True)
    return days


def _best_order(
    todo: Sequence[tuple[int, int]], placed: list[list[PlannedSet]],
    limits: Sequence[BlockLimits], source: Source, pump: PumpLimits, day: int,
) -> tuple[PumpDay, dict[tuple[int, int], PlannedSet]]:  # fmt: skip
    """Place one pump's sets in the order that fits the day best."""

    def key(kj: tuple[int, int], first: str) -> tuple[bool, float, int, str]:
        item, block = placed[kj[0]][kj[1]], limits[kj[0]]
        by = {"stage": 0.0, "long": -float(item.hours or 0), "strong": -float(block.flow_m3_h or 0)}
        return (item.start is None, by[first], block.priority, block.name)

    best: tuple[tuple[int, float, float], PumpDay, dict[tuple[int, int], PlannedSet]] | None = None
    cheap = source.cheap_quarters()
    board = Board(source, pump, day)
    firsts = ("stage", "long", "strong") if len(todo) <= MANY_SETS else ("stage",)
    for liked in (cheap, None) if source.night_first and cheap.any() else (None,):
        for first in firsts:
            board.clear(liked)
            sets: dict[tuple[int, int], PlannedSet] = {}
            for kj in sorted(todo, key=lambda kj: key(kj, first)):
                sets[kj] = board.put(placed[kj[0]][kj[1]], limits[kj[0]])
            made = board.pump_day(tuple(sets.values()))
            rank = (sum(s.over for s in sets.values()), made.over_flow_m3_h, made.over_hours)
            if best is None or rank < best[0]:
                best = (rank, made, sets)
            if rank[0] == 0:
                return made, sets
    assert best is not None
    return best[1], best[2]


@dataclass
class Board:
    """One pump's quarter hours of a day, filled set by set."""

    source: Source
    pump: PumpLimits
    day: int

    def __post_init__(self) -> None:
        self.closed = ~self.source.open_quarters(self.pump, self.day)
        self.comes = self.source.people_quarters()[0]
        self.most = math.inf if self.pump.m3_h is None else self.pump.m3_h
        self.budget = _budget(self.pump)
        self.starts = self._starts()
        self.clear(None)

    def clear(self, liked: NDArray[np.bool_] | None) -> None:
        """Take every set away; those to come are put into the hours liked, where there are any."""
        self.liked = liked
        self.use: Values = np.zeros(3 * SLOTS)
        self.groups: dict[str, NDArray[np.bool_]] = {}

    def _starts(self) -> NDArray[np.bool_]:
        """Quarter hours in which a set may begin: the people are there, or the pump's clock is."""
        comes, goes, ends = self.source.people_quarters()
        may = np.zeros(3 * SLOTS, dtype=bool)
        may[comes : min(goes, ends)] = True
        if self.source.night_sets and self.pump.runs_from is not None:
            open_now = np.flatnonzero(~self.closed[1:] & self.closed[:-1]) + 1
            may[open_now[open_now < SLOTS]] = True
        return may & ~self.closed

    def put(self, item: PlannedSet, limits: BlockLimits, *, late: bool = False) -> PlannedSet:
        """Return the set with its start, as early (or ``late``) as it goes; hold its hours."""
        flow, wet, full = float(limits.flow_m3_h or 0.0), _wet(item), self._full(limits)
        dry = self._dry(limits)
        if item.start is not None:
            at = slot(item.start)
            bad = full | self.closed
            fits = bool(self.starts[at] and not bad[at + wet].any()) and self._in_budget(at, wet)
        else:
            at, fits = self._first_fit(wet, full, dry, late)
        self.use[at + wet] += flow
        if limits.group is not None:
            held = self.groups.setdefault(limits.group, np.zeros(3 * SLOTS, dtype=bool))
            held[at + wet] = True
        return replace(item, start=_time(at), over=not fits)

    def fits(self, item: PlannedSet, limits: BlockLimits) -> bool:
        """Return whether a set without a start would find a place."""
        return self._first_fit(_wet(item), self._full(limits), self._dry(limits))[1]

    def begins(self, item: PlannedSet, limits: BlockLimits) -> bool:
        """Return whether a set without a start could begin with the first quarter hour open."""
        at, fits = self._first_fit(_wet(item), self._full(limits), self._dry(limits))
        return fits and at == int(self.starts.argmax())

    def extend(self, at: int, limits: BlockLimits) -> bool:
        """Hold one more quarter hour at ``at`` for a set that ends there; False: no room."""
        full = self._full(limits) | self.closed | self._dry(limits)
        if full[at] or not self._in_budget(at, np.zeros(1, dtype=np.int64)):
            return False
        self.use[at] += float(limits.flow_m3_h or 0.0)
        if limits.group is not None:
            self.groups.setdefault(limits.group, np.zeros(3 * SLOTS, dtype=bool))[at] = True
        return True

    def pump_day(self, sets: Sequence[PlannedSet]) -> PumpDay:
        """Return the pump's day with the sets placed so far."""
        running = self.use > 0
        quarters = int(np.count_nonzero(running))
        over = max(int(np.count_nonzero(running & self.closed)), quarters - self.budget, 0)
        flow = max(0.0, float(self.use.max()) - self.most)
        return PumpDay(
            quarters * QUARTER_H, len(sets), sum(s.m3 or 0.0 for s in sets), over * QUARTER_H,
            flow if flow > 1e-9 else 0.0,
        )  # fmt: skip

    def _full(self, limits: BlockLimits) -> NDArray[np.bool_]:
        """Quarter hours in which a block's flow finds no room beside what is placed, or is dry."""
        full = self._dry(limits) | (self.use > self.most - float(limits.flow_m3_h or 0.0) + 1e-9)
        if limits.group is not None:
            for group, held in self.groups.items():
                if group != limits.group:
                    full |= held
        return full

    def _dry(self, limits: BlockLimits) -> NDArray[np.bool_]:
        """Quarter hours in which a block's leaves must stay dry."""
        dry = np.zeros(3 * SLOTS, dtype=bool)
        for start, end in limits.dry_hours.get(self.day, ()):
            dry[int(start / QUARTER_H) : math.ceil(end / QUARTER_H)] = True
        return dry

    def _in_budget(self, at: int, wet: NDArray[np.int64]) -> bool:
        running = self.use > 0
        running[at + wet] = True
        return int(np.count_nonzero(running)) <= self.budget

    def _first_fit(
        self,
        wet: NDArray[np.int64],
        full: NDArray[np.bool_],
        dry: NDArray[np.bool_] | None = None,
        late: bool = False,
    ) -> tuple[int, bool]:
        """Return the quarter hour a set can start at, and whether it fits the day."""
        running = self.use > 0
        bad = _count(full | self.closed, wet)
        new = len(wet) - _count(running, wet)
        fits = (bad == 0) & self.starts[: len(bad)]
        fits &= new <= self.budget - int(np.count_nonzero(running))
        if fits.any():
            if self.liked is None:
                return int(np.flatnonzero(fits)[-1] if late else fits.argmax()), True
            return int(np.where(fits, _count(self.liked, wet), -1).argmax()), True
        possible = (_count(full, wet) == 0) | (new == len(wet))
        if dry is not None:
            possible &= _count(dry, wet) == 0
        return self.comes + int(possible[self.comes :].argmax()), False


def _count(which: NDArray[np.bool_], wet: NDArray[np.int64]) -> NDArray[np.int64]:
    """Count, for every start, the quarter hours of water in which ``which`` holds."""
    n = len(which) - int(wet[-1])
    if wet[-1] == len(wet) - 1:  # no rest between
        sums = np.zeros(len(which) + 1, dtype=np.int64)
        np.cumsum(which, out=sums[1:])
        return np.asarray(sums[len(wet) :] - sums[: -len(wet)])
    return np.asarray(np.sum([which[w : w + n] for w in wet], axis=0, dtype=np.int64))


def _budget(pump: PumpLimits) -> int:
    return int((24.0 if pump.hours is None else pump.hours) / QUARTER_H + 1e-9)


def _wet(item: PlannedSet) -> NDArray[np.int64]:
    """Return the quarter hours of water of a set, counted from its start."""
    length = max(1, round(float(item.hours or 0.0) / QUARTER_H))
    wet = np.arange(length)
    if item.pulses > 1:
        on, off = item.on_min // 15, item.off_min // 15
        wet = wet + wet // on * off
    return np.asarray(wet[wet < 2 * SLOTS])


def set_quarters(item: PlannedSet) -> Iterator[int]:
    """Yield the quarter hours with water of a set that has its start, from midnight of its day."""
    if item.start is not None and item.hours is not None:
        yield from (int(q) for q in slot(item.start) + _wet(item))


def _time(at: int) -> dt.time:
    """Return the time of a quarter hour; one past midnight (a marked set) ends the day's list."""
    minutes = min(at, SLOTS - 1) * 15
    return dt.time(minutes // 60, minutes % 60)
