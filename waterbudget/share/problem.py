"""What is to be shared, in arrays, and what a plan of it costs.

Prices are in millimetres times a block's share of the mean area; all are own estimates:

* a millimetre past the limit in a morning counts the weight of its stage;
* a millimetre missing at the end of a week counts by the place of its stage in the order: up to
  the stage's floor ``GIVEN_UP[0] * GIVEN_UP[1] ** place``, rising in three ``STEPS`` so that
  blocks of one stage give alike, past it ``BELOW_FLOOR`` likewise; the
  first in the order counts ``FIRST`` times that, and so stays whole until all others are at
  their floors;
* a millimetre drained counts ``DRAINED``, one given on another day than before ``MOVED``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]

WEEK, DAYS = 7, 14
QUARTER_H = 0.25
GIVEN_UP, BELOW_FLOOR, FIRST = (1.0, 1.3), (8.0, 1.12), 4.0
STEPS = (0.92, 1.0, 1.08)
DRAINED, MOVED = 0.3, 0.05
SLACK = 1e-6


@dataclass(frozen=True)
class Blocks:
    """The blocks that share; arrays are (blocks,), (days, blocks) or as said.

    A whole problem has 14 days, of which 7 are planned, and ends at both weeks' last days;
    what is left of it after some days has fewer.

    Attributes
    ----------
    dr_mm : missing in the first morning [mm]
    use_mm, rain_mm : what each day takes, and rain reaching the roots [mm]
    limit_mm : limit in the morning after each day [mm]
    ends : days at whose end it counts what is missing
    target_mm : what may be missing at those ends, shape (ends, blocks) [mm]
    step_mm : how much more may be missing then before the stage is at its floor, likewise [mm]
    place : place of the stage in the order, 0 = first to give
    weight : of the stage, for a millimetre past the limit in a morning
    hectares, rate_mm_h, flow_m3_h : area [ha], net depth an hour gives [mm/h], flow [m3/h]
    shortest_h, longest_h : of a set [h]
    pulse_h : water in one opening of the valve [h], infinite where a set runs through
    may : days it may be watered, shape (days, blocks)
    pinned_h : hours the grower fixed, NaN where free, shape (planned days, blocks)
    before_mm : net depths of the plan before, shape (planned days, blocks)
    most_mm : most a block gets in the days planned, shape (blocks,) [mm]
    pump_cuts : where the pump makes ``longest_h`` short or closes days, shape (blocks,)
    """

    dr_mm: Values
    use_mm: Values
    rain_mm: Values
    limit_mm: Values
    ends: tuple[int, ...]
    target_mm: Values
    step_mm: Values
    place: NDArray[np.int64]
    weight: Values
    hectares: Values
    rate_mm_h: Values
    flow_m3_h: Values
    shortest_h: Values
    longest_h: Values
    pulse_h: Values
    may: Flags
    pinned_h: Values
    before_mm: Values
    most_mm: Values
    pump_cuts: Flags

    @property
    def size(self) -> Values:
        """Area of each block over the mean area [-]."""
        return np.asarray(self.hectares / self.hectares.mean())

    @property
    def m3_mm(self) -> Values:
        """Water at the meter a net millimetre takes [m3/mm]."""
        return np.asarray(self.flow_m3_h / self.rate_mm_h)

    @property
    def usual_mm(self) -> Values:
        """Depth of a usual watering: the mean one of the plan before, else the longest [mm]."""
        n = (self.before_mm > SLACK).sum(axis=0)
        mean = self.before_mm.sum(axis=0) / np.maximum(n, 1)
        return np.where(n > 0, mean, self.longest_h * self.rate_mm_h)

    def opened(self, hours: Values) -> Values:
        """How often each valve is opened for sets of ``hours``, shape (..., blocks)."""
        pulses = np.ceil(hours / self.pulse_h - SLACK)
        return np.asarray(np.where(hours > 0, np.maximum(pulses, 1.0), 0.0))

    def worth_a_walk_h(self) -> Values:
        """Shortest set there may be in whole quarter hours [h]."""
        longest = np.floor(self.longest_h / QUARTER_H + SLACK) * QUARTER_H
        shortest = np.ceil(self.shortest_h / QUARTER_H - SLACK) * QUARTER_H
        return np.minimum(np.maximum(shortest, QUARTER_H), np.maximum(longest, QUARTER_H))

    @property
    def planned(self) -> int:
        """How many of the days are planned set by set."""
        return len(self.pinned_h)

    def open_cells(self) -> Flags:
        """Cells of all days that may be chosen freely, shape (days, blocks)."""
        free = self.may.copy()
        free[: self.planned] &= np.isnan(self.pinned_h)
        return free

    def pinned_mm(self) -> Values:
        """Net depths of what is pinned, shape (planned days, blocks) [mm]."""
        return np.asarray(np.nan_to_num(self.pinned_h) * self.rate_mm_h)

    def days(self, first: int, last: int, dr_mm: Values, most_mm: Values) -> Blocks:
        """Return the days from ``first`` to before ``last`` as a problem of its own."""
        span = slice(first, last)
        ends = [i for i, end in enumerate(self.ends) if first <= end < last]
        pinned = np.full((last - first, len(dr_mm)), np.nan)
        before = np.zeros_like(pinned)
        known = self.pinned_h[span]
        pinned[: len(known)], before[: len(known)] = known, self.before_mm[span]
        return replace(
            self, dr_mm=dr_mm, use_mm=self.use_mm[span], rain_mm=self.rain_mm[span],
            limit_mm=self.limit_mm[span], ends=tuple(self.ends[i] - first for i in ends),
            target_mm=self.target_mm[ends], step_mm=self.step_mm[ends], may=self.may[span],
            pinned_h=pinned, before_mm=before, most_mm=most_mm,
        )  # fmt: skip


@dataclass(frozen=True)
class Budget:
    """Water that may be taken in a span of days.

    Attributes
    ----------
    code : the limit it stands for, ``right_week``, ``right_year`` or ``tank``
    first, last : first and last day it holds for, 0 to 13
    m3 : most that may be taken in them altogether [m3]
    """

    code: str
    first: int
    last: int
    m3: float

    @property
    def days(self) -> slice:
        """The days of the 14."""
        return slice(self.first, self.last + 1)


@dataclass(frozen=True)
class Supply:
    """What the source and the people can do.

    Attributes
    ----------
    pump : which pump feeds each block, shape (blocks,)
    pump_m3_h : flow of each pump [m3/h], infinite where no limit is kept, shape (pumps,)
    open_h : hours each pump can run, shape (14, pumps) [h]
    budgets : water rights and tank
    openings : most valves the people can open on each day, shape (14,); None where free
    """

    pump: NDArray[np.int64]
    pump_m3_h: Values
    open_h: Values
    budgets: tuple[Budget, ...] = ()
    openings: Values | None = None

    def most_openings(self) -> Values:
        """Most valves opened on each day, shape (days,), infinite where free."""
        return np.full(len(self.open_h), np.inf) if self.openings is None else self.openings

    def days(self, first: int, last: int, taken_m3: Values) -> Supply:
        """Return the days from ``first`` to before ``last``, what was taken before, (days,)."""
        left = []
        for b in self.budgets:
            if b.first < last and b.last >= first:
                taken = float(taken_m3[b.first : min(first, b.last + 1)].sum())
                span = (max(0, b.first - first), min(b.last, last - 1) - first)
                left.append(replace(b, first=span[0], last=span[1], m3=max(0.0, b.m3 - taken)))
        openings = None if self.openings is None else self.openings[first:last]
        return replace(self, open_h=self.open_h[first:last], budgets=tuple(left), openings=openings)


@dataclass(frozen=True)
class Prices:
    """Cost of a millimetre of each block, shape (blocks,) or (days, blocks); see the module."""

    past: Values
    above_floor: Values
    below_floor: Values
    drained: Values
    moved: Values


def steps_mm(use_mm: Values, floor: Values) -> Values:
    """How much may be missing at the end of either week before the stage is at its floor.

    Parameters
    ----------
    use_mm : ndarray, shape (14, blocks)
    floor : share of its use a stage must still get when water is short, shape (blocks,)

    Returns
    -------
    ndarray, shape (2, blocks)
    """
    return np.asarray((1.0 - floor) * np.stack([use_mm[:WEEK].sum(axis=0), use_mm.sum(axis=0)]))


def prices(blocks: Blocks) -> Prices:
    """Price every block's millimetres by its stage, its place in the order and its area."""
    size = blocks.size
    last = blocks.place == blocks.place.max()
    below = BELOW_FLOOR[0] * BELOW_FLOOR[1] ** blocks.place * np.where(last, FIRST, 1.0)
    moved = np.zeros(blocks.use_mm.shape)
    moved[: blocks.planned] = np.where(blocks.before_mm > SLACK, 0.0, MOVED) * size
    return Prices(
        past=blocks.weight * size,
        above_floor=GIVEN_UP[0] * GIVEN_UP[1] ** blocks.place * size,
        below_floor=below * size,
        drained=DRAINED * size,
        moved=moved,
    )


def depletion(blocks: Blocks, net_mm: Values) -> tuple[Values, Values]:
    """Follow the depletion under a plan.

    Parameters
    ----------
    net_mm : ndarray, shape (days, blocks)

    Returns
    -------
    ndarray, ndarray
        What is missing after each day [mm], and what drained [mm], both (days, blocks).
    """
    missing, drained = np.empty_like(net_mm), np.empty_like(net_mm)
    now = blocks.dr_mm
    for day in range(len(net_mm)):
        room = now - net_mm[day] - blocks.rain_mm[day]
        drained[day] = np.maximum(-room, 0.0)
        now = missing[day] = np.maximum(room, 0.0) + blocks.use_mm[day]
    return missing, drained


def stress(blocks: Blocks, missing_mm: Values) -> float:
    """Millimetres past the limit over all mornings, by weight and area."""
    past = np.maximum(missing_mm - blocks.limit_mm, 0.0)
    return float((past * blocks.weight * blocks.size).sum())


def cost(blocks: Blocks, price: Prices, net_mm: Values) -> float:
    """Return what a plan of all days costs; see the module."""
    missing, drained = depletion(blocks, net_mm)
    lacking = np.maximum(missing[list(blocks.ends)] - blocks.target_mm, 0.0)
    above = np.minimum(lacking, blocks.step_mm)
    total = stress(blocks, missing)
    for j, step in enumerate(STEPS):
        width = blocks.step_mm / len(STEPS)
        total += (np.clip(above - j * width, 0.0, width) * step * price.above_floor).sum()
    total += ((lacking - above) * price.below_floor).sum() + (drained * price.drained).sum()
    return float(total + (net_mm * price.moved).sum())


def pump_shares(flow_m3_h: Values, pump_m3_h: Values) -> Values:
    """Share of a pump's hour that an hour of each block takes, in four valid ways.

    The first counts flow; the others count blocks by how many of them can run side by side
    (functions that stay at most 1 for any blocks whose flows fit together under the pump:
    dual feasible functions of bin packing, from memory).

    Returns
    -------
    ndarray, shape (4, blocks)
        0 where the pump has no limit.
    """
    share = np.where(np.isfinite(pump_m3_h), np.minimum(flow_m3_h / pump_m3_h, 1.0), 0.0)
    rows = [share]
    for k in (1, 2, 3):
        steps = (k + 1) * share
        whole = np.abs(steps - np.round(steps)) < 1e-9
        rows.append(np.where(whole, share, np.floor(steps) / k))
    return np.stack(rows)


def pinned_hours(blocks: Blocks, supply: Supply) -> Values:
    """Hours the pinned sets take of each pump, the longest way, shape (planned days, pumps)."""
    shares = pump_shares(blocks.flow_m3_h, supply.pump_m3_h[supply.pump])
    pinned = np.nan_to_num(blocks.pinned_h)
    taken = np.zeros((len(pinned), len(supply.pump_m3_h)))
    for pump in range(taken.shape[1]):
        mine = supply.pump == pump
        taken[:, pump] = np.max([(pinned[:, mine] * s[mine]).sum(axis=1) for s in shares], axis=0)
    return taken
