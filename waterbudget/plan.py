"""Even waterings for the week: which days, how deep, how long.

Every block may be watered on any of the 128 sets of days of a week.  All of them are run through
the one daily balance as blocks of their own; for each, equal depths are found with which the week
ends at the block's target, once sparing every drop from draining and once not.  Each is then
weighed in millimetres: a millimetre past the limit in the morning counts 50, one drained 2, one
missing at the end 3 (no set is longer than soil and outlets allow), a set too short to be worth a
walk 6, each watering 1.5, uneven gaps 1.5 a day of spread (own estimates).  Among
those that are equally good within half a millimetre the days are picked that load the pump evenly.

The target by default is the smallest depletion from which equal waterings can repeat next week
without drainage.  Evenness is judged before rounding; rounding carries the remainder forward, so
the waterings of a block differ by a quarter hour at most.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.balance import Account, Drivers, State, run
from waterbudget.soak import Soak, soak_cost, with_soaks
from waterbudget.supply import QUARTER_H, WEEK, PumpLimits, Right, Source, Tank

__all__ = [
    "QUARTER_H", "WEEK", "BlockLimits", "BlockPlan", "Choices", "PlannedSet", "PumpLimits", "Right",
    "Soak", "Source", "Tank", "block_plan", "choices", "choose", "load", "pulses_of_hours",
]  # fmt: skip

Values = NDArray[np.float64]

_MASKS = np.array([[(m >> k) & 1 for k in range(WEEK)] for m in range(2**WEEK)], dtype=bool)
_ITERATIONS = 8
_TAKE_BACK = np.array([20.0, 1.5])  # how much a millimetre drained weighs against one missing
_PAST_COST, _MISSED_COST, _SHORT_COST, _WALK_COST, _EQUAL_MM = 50.0, 3.0, 6.0, 1.5, 0.5
_DRAIN_COST, _GAP_COST, _MOVE_COST = 2.0, 1.5, 2.0
_NEAR_RANKS, _RANK_COST, _OVER_COST = 3, 15.0, 300.0
_PACKED = 0.85  # share of a day's hours that sets of unlike length fill
_MORNING_MM = 1e-3  # a morning this little past the limit is on it


@dataclass(frozen=True)
class BlockLimits:
    """What holds for one block in the week planned.

    Attributes
    ----------
    may_water : tuple of bool, length 7
        False on days off and while the block is dried down on purpose.
    pins : mapping of day index to hours
        Cells the grower has fixed.
    pin_starts : mapping of day index to time
    target_dr_mm : float or None
        Depletion the week is to end with [mm]; None = the default rule.
    hours_min, hours_max : float
        Shortest set worth a walk and longest set allowed [h].
    pump : str
        Name of the pump that feeds it (see :meth:`Source.pump`); ``""`` is the farm's first.
    group : str or None
        Pressure group: blocks of different groups do not run at the same time on one pump.
    on_min, off_min : int
        Minutes of water and of rest where a set runs in pulses; 0 where it runs through.
    soaks : tuple of Soak
        Placed feeds to be watered in.
    dry_hours : mapping of day index to tuple of (from, to)
        Hours of an open day in which its leaves must stay dry [h from midnight].
    own_hours_max : float or None
        Longest set of the block itself [h], where the pump's hours make ``hours_max`` shorter.
    own_days : tuple of bool, length 7, or None
        The days of ``may_water`` were its pump in order; None where it is.
    """

    name: str
    priority: int
    flow_m3_h: float | None
    area_ha: float | None
    efficiency: float
    hours_min: float
    hours_max: float
    may_water: tuple[bool, ...] = (True,) * WEEK
    pins: Mapping[int, float] = field(default_factory=dict)
    pin_starts: Mapping[int, dt.time] = field(default_factory=dict)
    target_dr_mm: float | None = None
    pump: str = ""
    group: str | None = None
    on_min: int = 0
    off_min: int = 0
    soaks: tuple[Soak, ...] = ()
    dry_hours: Mapping[int, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    own_hours_max: float | None = None
    own_days: tuple[bool, ...] | None = None

    @property
    def net_mm_per_hour(self) -> float | None:
        """Depth reaching the roots in an hour [mm]; None where flow or area is missing."""
        if self.flow_m3_h is None or self.area_ha is None:
            return None
        return self.flow_m3_h * self.efficiency / (self.area_ha * 10.0)

    @property
    def longest_h(self) -> float:
        """Longest set allowed in whole quarter hours [h]."""
        return math.floor(self.hours_max / QUARTER_H + 1e-9) * QUARTER_H


@dataclass(frozen=True)
class PlannedSet:
    """One watering as proposed.

    Attributes
    ----------
    net_mm, gross_mm : exact depth at the roots and at the meter [mm]
    hours_exact, hours : before and after rounding [h]; None where the flow is missing
    mm, m3 : at the meter, of the rounded hours (of the exact depth where there are none)
    start : None where nothing is known to place it by
    over : True where it does not fit into the hours of the day or under the pump
    pulses, on_min, off_min : parts it runs in, minutes of water and of rest between (1, 0, 0
        where it runs through); ``hours`` is the time with water
    """

    day: int
    net_mm: float
    gross_mm: float
    hours_exact: float | None
    hours: float | None
    mm: float
    m3: float | None
    pinned: bool = False
    start: dt.time | None = None
    over: bool = False
    pulses: int = 1
    on_min: int = 0
    off_min: int = 0


@dataclass(frozen=True)
class BlockPlan:
    """The week of one block: its sets, its target, and what the choice could not avoid.

    Attributes
    ----------
    target_dr_mm : depletion the week aims to end with [mm]
    limit_below_day : the limit is less than one day's use, so it is watered daily
    past_limit_mm : sum over the mornings of what is past the limit as planned [mm]
    too_long_h : hours each set would need beyond the longest allowed [h]
    given_up_mm : net depth less than freely chosen, where the source could not carry all [mm]
    limit : the limit it was given up to (``pump_hours``, ``right_week`` ...); None without any
    """

    sets: tuple[PlannedSet, ...]
    target_dr_mm: float
    limit_below_day: bool
    past_limit_mm: float
    too_long_h: float
    given_up_mm: float = 0.0
    limit: str | None = None


@dataclass(frozen=True)
class Choices:
    """The days a block could be watered on, best first in every column (internal, cacheable).

    Attributes
    ----------
    masks : ndarray of bool, shape (choices, 7)
    depth_mm : ndarray, shape (choices, 7)
        Net depths, pinned ones included.
    rank : ndarray of int, shape (choices,)
        Equal ranks are equally good for the block.
    """

    masks: NDArray[np.bool_]
    depth_mm: Values
    rank: NDArray[np.int64]
    target_mm: Values
    past_limit_mm: Values
    too_long_h: Values
    limit_below_day: bool
    daily_mm: float


def choices(
    drivers: Drivers, state: State, limits: BlockLimits, column: int,
    keep: NDArray[np.bool_] | None = None, move_cost: Values | float = _MOVE_COST,
) -> Choices:  # fmt: skip
    """Run every set of days one block may be watered on through the balance and rank them.

    Parameters
    ----------
    drivers : Drivers of the seven days, shape (7, blocks); its watering is not looked at
    state : where the blocks stand in the first morning
    column : which block
    keep : ndarray of bool, shape (7,), optional
        Days it would be watered on were nothing pinned; the days left free are kept where they
        are as good, so that moving one watering does not scatter the others.
    move_cost : float or ndarray, shape (7,)
        What watering otherwise than ``keep`` costs on each day [weighted mm].
    """
    one = drivers.columns(np.array([column]))
    here = State(*(getattr(state, f)[[column]] for f in ("dr_mm", "de_mm", "after_rain", "taw_mm")))
    fixed, free = _pinned_depths(limits)
    possible = _MASKS[~(_MASKS & ~free).any(axis=1)]
    bare, _ = run(replace(one, irrigation_mm=fixed[:, None]), here)
    rate = limits.net_mm_per_hour
    shortest, longest = (0.0, np.inf) if rate is None else (
        limits.hours_min * rate, limits.longest_h * rate
    )  # fmt: skip
    possible, soaking = with_soaks(possible, free, limits.soaks, shortest, longest, bare)
    masks, soaking = np.vstack([possible, possible]), np.vstack([soaking, soaking])
    opened = masks | (soaking > 0)
    sparing = np.repeat(_TAKE_BACK, len(possible))
    use = np.zeros(len(masks), dtype=np.int64)
    many = one.columns(use)
    start = State(here.dr_mm[use], here.de_mm[use], here.after_rain[use], here.taw_mm[use])
    given = fixed[:, None] + soaking.T
    base, _ = run(replace(many, irrigation_mm=given), start)
    daily_mm = _daily_use(many, start, free, base)
    limit = np.maximum(one.allowed_mm[:, 0], base.etc_potential_mm[:, 0])
    takes = WEEK * daily_mm - float(one.rain_mm.sum())
    fewest = math.ceil(max(takes, 0.0) / max(float(limit[-1]), 1e-9) - 1e-6)
    target, worst = _targets(
        limits, opened, daily_mm, float(limit[-1]), float(one.taw_mm[-1, 0]), fewest
    )
    account, depth = _equal_depths(many, start, masks, given, base, target, limits, sparing)
    late = np.maximum(worst - float(limit[-1]) - _MORNING_MM, 0.0)
    each_move = np.broadcast_to(np.asarray(move_cost), (WEEK,))
    moved = 0.0 if keep is None else ((opened ^ keep) * each_move)[:, free].sum(axis=1)
    washed = soak_cost(limits.soaks, depth, account, bare, one.rain_mm[:, 0])
    rank, past, too_long = _rank(
        limits, masks, opened, depth, account, bare, limit, target, late, moved, washed
    )
    best = np.argsort(rank, kind="stable")
    below = bool(np.any(one.allowed_mm[:, 0] < base.etc_potential_mm[:, 0]))
    return Choices(
        opened[best],
        depth[best],
        rank[best],
        target[best],
        past[best],
        too_long[best],
        below,
        daily_mm,
    )


def _pinned_depths(limits: BlockLimits) -> tuple[Values, NDArray[np.bool_]]:
    """Net depths of pinned cells, and which days are free to choose."""
    fixed = np.zeros(WEEK)
    free = np.array(limits.may_water, dtype=bool)
    rate = limits.net_mm_per_hour
    for day, hours in limits.pins.items():
        if 0 <= day < WEEK:
            free[day] = False
            fixed[day] = hours * rate if rate is not None else 0.0
    return fixed, free


def _daily_use(many: Drivers, start: State, free: NDArray[np.bool_], base: Account) -> float:
    """Mean use of a day of the week when it is watered as it goes [mm]."""
    daily = base.etc_potential_mm[:, :1]
    one = many.columns(np.array([0]))
    here = State(start.dr_mm[:1], start.de_mm[:1], start.after_rain[:1], start.taw_mm[:1])
    water = np.where(free[:, None], daily, 0.0)
    watered, _ = run(replace(one, irrigation_mm=water), here)
    return float(watered.etc_potential_mm.mean())


def _targets(
    limits: BlockLimits, masks: NDArray[np.bool_], daily_mm: float, limit_mm: float,
    taw_mm: float, fewest: int,
) -> tuple[Values, Values]:  # fmt: skip
    """Return the depletion each set of days should end the week with, and next week's worst.

    A given target holds for all.  By default it is the smallest depletion from which the same
    equal waterings can repeat next week without drainage; no watering at all may end where the
    best of the others could begin.  Fewer waterings than a dry week needs are allowed down to
    ``fewest`` (what this week takes after its rain); they end where others can begin.
    """
    n = masks.sum(axis=1)
    depth = WEEK * daily_mm / np.maximum(n, 1)
    order = np.cumsum(masks, axis=1) - 1
    used = daily_mm * np.arange(WEEK)
    need = np.where(masks, (order + 1) * depth[:, None] - used, -np.inf)
    target = np.maximum(need.max(axis=1), 0.0)
    before = np.where(masks, target[:, None] - order * depth[:, None] + used, -np.inf)
    worst = np.maximum(before.max(axis=1), 0.0)
    some = n > 0
    fits = some & (worst <= limit_mm + _MORNING_MM)
    target[~some] = target[fits].max() if fits.any() else 0.0
    worst[~some] = 0.0
    enough = some & ~fits & (n >= fewest)
    if fits.any():
        target[enough], worst[enough] = target[fits].min(), 0.0
    if limits.target_dr_mm is not None:
        target[:] = min(limits.target_dr_mm, taw_mm)
        worst[:] = 0.0
    return np.minimum(target, taw_mm), worst


def _equal_depths(
    many: Drivers, start: State, masks: NDArray[np.bool_], fixed: Values, base: Account,
    target: Values, limits: BlockLimits, sparing: Values,
) -> tuple[Account, Values]:  # fmt: skip
    """Find for every mask the equal depth with which the week ends at the target.

    No depth is larger than the longest set gives.  Where the target cannot be reached (the day
    after the last watering takes more than it), more water would only drain: a millimetre drained
    weighs ``sparing`` times one missing, so the depth settles where little drains.
    """
    n = masks.sum(axis=1)
    count = np.maximum(n, 1)
    rate = limits.net_mm_per_hour
    most = np.where(n > 0, np.inf if rate is None else limits.longest_h * rate, 0.0)
    drains = base.drainage_mm.sum(axis=0)

    def tried(each: Values) -> tuple[Account, Values]:
        account, _ = run(replace(many, irrigation_mm=masks.T * each + fixed), start)
        drained = account.drainage_mm.sum(axis=0) - drains
        return account, account.dr_mm[-1] - target - sparing * drained

    low, short = np.zeros(len(masks)), np.maximum(base.dr_mm[-1] - target, 0.0)
    room = base.etc_potential_mm.sum(axis=0) + short
    high = np.where(short > 0, np.minimum(most, 2.0 * room / count), 0.0)
    _, over = tried(high)
    open_end = over < 0  # else even the largest depth is needed whole
    best, best_off = np.where(open_end, low, high), np.where(open_end, short, -np.inf)
    for k in range(_ITERATIONS):
        if not open_end.any():
            break
        steepest = low + (high - low) * short / np.maximum(short - over, 1e-12)
        straight = np.minimum(low + short / count, high)  # exact where nothing drains
        each = np.where(open_end, steepest if k % 2 else straight, high)
        _, value = tried(each)
        closer = np.abs(value) < best_off
        best, best_off = np.where(closer, each, best), np.where(closer, np.abs(value), best_off)
        above = value > 0
        low, short = np.where(above, each, low), np.where(above, value, short)
        high, over = np.where(above, high, each), np.where(above, over, value)
    account, _ = tried(best)
    return account, np.asarray((masks.T * best + fixed).T)


def _rank(
    limits: BlockLimits, masks: NDArray[np.bool_], opened: NDArray[np.bool_], depth: Values,
    account: Account, base: Account, limit: Values, target: Values, late: Values,
    moved: Values | float, soaked: Values,
) -> tuple[NDArray[np.int64], Values, Values]:  # fmt: skip
    mornings = np.vstack([account.dr_start_mm[1:], account.dr_mm[-1:]])
    limits_next = np.append(limit[1:], limit[-1])[:, None]
    past = np.maximum(mornings - limits_next - _MORNING_MM, 0.0).sum(axis=0)
    drained = account.drainage_mm.sum(axis=0) - base.drainage_mm.sum(axis=0)
    rate = limits.net_mm_per_hour
    each = np.where(masks, depth, 0.0).max(axis=1)
    hours = each / rate if rate else np.zeros(len(masks))
    n = opened.sum(axis=1)
    short_of = np.maximum(account.dr_mm[-1] - target, 0.0)
    at_most = (hours > 0) & (hours >= limits.longest_h - 1e-9)
    lacking = short_of / np.maximum(n, 1) / rate if rate else np.zeros(len(masks))
    too_long = np.where(at_most, lacking, 0.0)
    too_short = masks.any(axis=1) & (hours < limits.hours_min) & (rate is not None)
    worth = limits.hours_min * rate if rate else 1.0
    missed = np.where(short_of >= worth, short_of, 0.0)
    uneven = _UNEVEN[opened @ (1 << np.arange(WEEK))]
    cost = (
        _PAST_COST * (past + late)
        + _DRAIN_COST * drained
        + _MISSED_COST * missed
        + _SHORT_COST * too_short
        + _WALK_COST * n
        + _GAP_COST * uneven
        + moved
        + soaked
    )
    rank = np.floor(cost / _EQUAL_MM)
    return rank.astype(np.int64), past, too_long


def _unevenness(mask: NDArray[np.bool_]) -> float:
    """How far the gaps of a repeated week are from equal: half the sum of squares above even."""
    days = np.flatnonzero(mask)
    n = len(days)
    if not n:
        return 0.0
    gaps = np.diff(np.append(days, days[0] + WEEK))
    even = np.full(n, WEEK // n) + (np.arange(n) < WEEK % n)
    return float((gaps**2).sum() - (even**2).sum()) / 2


_UNEVEN = np.array([_unevenness(mask) for mask in _MASKS])


def choose(
    options: Sequence[Choices], limits: Sequence[BlockLimits], source: Source,
    others: tuple[Values, Values] | None = None,
) -> list[int]:  # fmt: skip
    """Pick one choice a block so that no pump day overflows and the days are evenly loaded.

    Choices nearly as good for the block (within 1.5 mm) are compared by the load they would make
    week after week, so that a block is not let dry because a dry end spares the pump; a day past
    the pump's hours counts more than all else.  Blocks come in the order of their priority and
    name, twice; the same input always gives the same week.

    Parameters
    ----------
    others : pair of ndarray, shape (pumps, 7), optional
        Pump hours that blocks not to be moved put on the days, now and week after week.
    """
    order = sorted(range(len(options)), key=lambda k: (limits[k].priority, limits[k].name))
    picked = [0] * len(options)
    near = [int(np.searchsorted(o.rank, o.rank[0] + _NEAR_RANKS, side="right")) for o in options]
    now = [_pump_hours(o.depth_mm[:m], limits[k], source)
           for k, (o, m) in enumerate(zip(options, near, strict=True))]  # fmt: skip
    steady = [_pump_hours(_steady(o)[:m], limits[k], source)
              for k, (o, m) in enumerate(zip(options, near, strict=True))]  # fmt: skip
    names = [p.name for p in source.pumps]
    row = [_pump_row(names, x) for x in limits]
    room = _PACKED * np.array([[source.day_hours(n, d) for d in range(WEEK)] for n in names])
    opened = _Opened(options, near, limits, source)
    total, later = np.zeros(room.shape), np.zeros(room.shape)
    if others is not None:
        total, later = total + others[0], later + others[1]
    for turn in range(2):
        for k in order:
            mine = row[k]
            if turn:
                total[mine] -= now[k][picked[k]]
                later[mine] -= steady[k][picked[k]]
                opened.take_back(k, picked[k])
            if near[k] > 1:
                over = np.maximum(total[mine] + now[k] - room[mine], 0.0).sum(axis=1)
                over += opened.over(k)
                even = ((later[mine] + steady[k]) ** 2).sum(axis=1)
                worse = options[k].rank[: near[k]] - options[k].rank[0]
                score = np.round(over, 6) * _OVER_COST + worse * _RANK_COST + np.round(even, 6)
                picked[k] = int(np.argmin(score))
            total[mine] += now[k][picked[k]]
            later[mine] += steady[k][picked[k]]
            opened.add(k, picked[k])
    return picked


class _Opened:
    """Valves opened on the seven days, against what the people can walk (an hour too many each)."""

    def __init__(
        self, options: Sequence[Choices], near: Sequence[int], limits: Sequence[BlockLimits],
        source: Source,
    ) -> None:  # fmt: skip
        self.most = source.valves_a_day
        self.asked = [
            (o.depth_mm[:m] > 0) * _openings(o.depth_mm[:m], limits[k])
            for k, (o, m) in enumerate(zip(options, near, strict=True))
        ] if self.most is not None else []  # fmt: skip
        self.total = np.zeros(WEEK)

    def over(self, k: int) -> Values | float:
        if self.most is None:
            return 0.0
        return np.asarray(np.maximum(self.total + self.asked[k] - self.most, 0.0).sum(axis=1))

    def add(self, k: int, pick: int) -> None:
        if self.most is not None:
            self.total = self.total + self.asked[k][pick]

    def take_back(self, k: int, pick: int) -> None:
        if self.most is not None:
            self.total = self.total - self.asked[k][pick]


def _openings(net_mm: Values, limits: BlockLimits) -> Values:
    """How often a valve is opened for a depth: once, or once a pulse."""
    rate = limits.net_mm_per_hour
    if not limits.on_min or not rate:
        return np.ones(net_mm.shape)
    return np.asarray(np.maximum(1.0, np.ceil(net_mm / rate * 60.0 / limits.on_min - 1e-9)))


def _pump_row(names: Sequence[str], limits: BlockLimits) -> int:
    return names.index(limits.pump) if limits.pump in names else 0


def load(option: Choices, pick: int, limits: BlockLimits, source: Source) -> tuple[Values, Values]:
    """Pump hours one choice puts on pumps and days, now and week after week: (pumps, 7) each."""
    names = [p.name for p in source.pumps]
    now, later = np.zeros((len(names), WEEK)), np.zeros((len(names), WEEK))
    mine = _pump_row(names, limits)
    now[mine] = _pump_hours(option.depth_mm[pick : pick + 1], limits, source)[0]
    later[mine] = _pump_hours(_steady(option)[pick : pick + 1], limits, source)[0]
    return now, later


def _steady(option: Choices) -> Values:
    """Depths with which each choice would repeat week after week [mm]."""
    n = np.maximum(option.masks.sum(axis=1), 1)[:, None]
    return np.asarray(option.masks * (WEEK * option.daily_mm / n))


def _pump_hours(net_mm: Values, limits: BlockLimits, source: Source) -> Values:
    """Pump hours a depth takes, side by side with as many equal blocks as the pump carries."""
    m3 = net_mm / limits.efficiency * (limits.area_ha or 0.0) * 10.0
    flow = limits.flow_m3_h or 1.0
    beside = max(1, int((source.pump(limits.pump).m3_h or flow) / flow + 1e-9))
    return np.asarray(m3 / (flow * beside))


def block_plan(option: Choices, pick: int, limits: BlockLimits, net_mm: Values) -> BlockPlan:
    """Turn a choice into sets of whole quarter hours that carry the remainder forward.

    Parameters
    ----------
    net_mm : ndarray, shape (7,)
        The exact depths at the roots, as the season was run with them.
    """
    sets = []
    carried = given = 0.0
    per_ha_10 = (limits.area_ha or 0.0) * 10.0
    for day in np.flatnonzero(net_mm > 1e-9):
        net = float(net_mm[day])
        gross = net / limits.efficiency
        m3 = gross * per_ha_10 if limits.area_ha is not None else None
        exact = m3 / limits.flow_m3_h if m3 is not None and limits.flow_m3_h else None
        pinned = int(day) in limits.pins
        if exact is None:
            sets.append(PlannedSet(int(day), net, gross, None, None, gross, m3, pinned))
            continue
        if pinned:
            hours = limits.pins[int(day)]
        else:
            carried += exact
            hours = _quarters(carried) - given
            given += hours
        if hours <= 0:
            continue
        m3 = hours * float(limits.flow_m3_h or 0.0)
        sets.append(
            PlannedSet(
                int(day),
                net,
                gross,
                exact,
                hours,
                m3 / per_ha_10,
                m3,
                pinned,
                limits.pin_starts.get(int(day)),
                **pulses_of_hours(hours, limits),
            )
        )
    return BlockPlan(
        tuple(sets), float(option.target_mm[pick]), option.limit_below_day,
        float(option.past_limit_mm[pick]), float(option.too_long_h[pick]),
    )  # fmt: skip


def pulses_of_hours(hours: float, limits: BlockLimits) -> dict[str, Any]:
    """Return ``pulses``, ``on_min`` and ``off_min`` of a set; nothing where it runs through."""
    parts = math.ceil(hours * 60.0 / limits.on_min - 1e-9) if limits.on_min else 1
    if parts <= 1:
        return {}
    return {"pulses": parts, "on_min": limits.on_min, "off_min": limits.off_min}


def _quarters(hours: float) -> float:
    return math.floor(hours / QUARTER_H + 0.5 + 1e-9) * QUARTER_H
