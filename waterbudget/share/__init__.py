"""Sharing a shortage: who waters when, and how long, where the source cannot carry it all.

A linear model of every block's depletion over 14 days (the week planned and the next) is solved
and then fixed to whole sets by diving: small sets are rounded to none, the rest is solved again
from where it stood.  Then, day by day, the sets are made whole quarter hours, the caller's packing
says whether the day is a timetable, and the days after it are solved again.  A greedy rule plans
the same days; the cheaper of the two is returned, so the result is never worse.

What counts how much stands in :mod:`waterbudget.share.problem`.  Nothing here reads a clock or
draws lots: the same input gives the same plan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from waterbudget.share.dive import dive
from waterbudget.share.even import evened
from waterbudget.share.fit import Pack, Starts, fitted_day, no_packing
from waterbudget.share.greedy import greedy
from waterbudget.share.model import Model
from waterbudget.share.problem import (
    DAYS,
    SLACK,
    WEEK,
    Blocks,
    Budget,
    Flags,
    Prices,
    Supply,
    Values,
    cost,
    depletion,
    pinned_hours,
    prices,
    pump_shares,
    steps_mm,
    stress,
)
from waterbudget.share.roll import roll

__all__ = [
    "DAYS", "WEEK", "Blocks", "Break", "Budget", "Pack", "Shared", "Starts", "Supply", "Values",
    "cost", "depletion", "floors_kept", "greedy", "no_packing", "pins_fit",
    "prices", "share", "steps_mm", "stress",
]  # fmt: skip


@dataclass(frozen=True)
class Break:
    """A limit no plan keeps.

    Attributes
    ----------
    code : ``pump_hours`` [h], ``right_week``, ``right_year`` or ``tank`` [m3], ``people`` [sets],
        ``set_hours`` [h] or ``days_off`` [h]
    amount : by how much
    day : index of the day, None for the whole week
    pinned : what the grower has fixed breaks it; else stages fall below their floors by that much
    """

    code: str
    amount: float
    day: int | None = None
    pinned: bool = False


@dataclass(frozen=True)
class Shared:
    """A shared week.

    Attributes
    ----------
    hours : ndarray, shape (7, blocks)
        Whole quarter hours (pinned ones as pinned).
    starts : ndarray of int, shape (7, blocks)
        Quarter hour of the day each set starts at, -1 where nothing is placed.
    net_mm : ndarray, shape (14, blocks)
        Depth at the roots; of the second week as the model would have it.
    cost, bound, greedy_cost : what the plan costs, what no plan can undercut, what the rule of
        thumb costs; all by the same prices
    base : price of what the free weeks leave missing at their ends
    stress, stress_bound, stress_dry : weighted millimetres past the limits of this plan, of the
        model's bound, and were nothing watered that is not pinned
    codes : the limit that holds each block, shape (blocks,)
    breaks : limits no plan keeps
    solved : False where the greedy rule was the better one (or nothing could be solved)
    """

    hours: Values
    starts: Starts
    net_mm: Values
    cost: float
    bound: float
    greedy_cost: float
    base: float
    stress: float
    stress_bound: float
    stress_dry: float
    codes: tuple[str, ...]
    breaks: tuple[Break, ...]
    solved: bool

    @property
    def gap(self) -> float:
        """Distance to the bound as a share of it.

        Both count the whole depletion left at the ends of the two weeks (``base``: what the free
        weeks leave), as the model's end price does, and all stress on the way.
        """
        return max(0.0, self.cost - self.bound) / max(self.bound + self.base, 1e-9)

    @property
    def avoided(self) -> float:
        """Share of the avoidable stress that is avoided, 0 to 1."""
        avoidable = self.stress_dry - self.stress_bound
        if avoidable <= SLACK:
            return 1.0
        return min(1.0, max(0.0, (self.stress_dry - self.stress) / avoidable))


def share(blocks: Blocks, supply: Supply, pack: Pack = no_packing) -> Shared:
    """Share what the source can carry among the blocks.

    Parameters
    ----------
    pack : callable
        The exact packing, see :mod:`waterbudget.share.fit`.
    """
    price = prices(blocks)
    supply, breaks = _room_for_pins(blocks, supply)
    hours, starts, best = _by_thumb(blocks, supply, price, pack)
    thumb_cost = now_cost = cost(blocks, price, best)
    nothing = np.zeros_like(best)
    nothing[:WEEK] = blocks.pinned_mm()
    dry = relaxed = nothing
    bound, codes, solved = 0.0, ("pump_hours",) * len(blocks.dr_mm), False
    model = Model(blocks, supply, price)
    if model.solve():
        bound, relaxed = model.cost, model.net_mm
        codes = _codes(model, relaxed)
        breaks += _below_floors(blocks, relaxed, codes)
        stays = dive(model)
        own_hours, later, own_starts = roll(model, stays, pack)
        own = np.vstack([own_hours * blocks.rate_mm_h, later])
        own_hours, own_starts, own = evened(blocks, supply, price, own_hours, own_starts, own, pack)
        solved = cost(blocks, price, own) <= thumb_cost
        if solved:
            hours, starts, best, now_cost = own_hours, own_starts, own, cost(blocks, price, own)
        codes = tuple(c or _reached(blocks, supply, hours) for c in codes)

    def felt(net_mm: Values) -> float:
        return stress(blocks, depletion(blocks, net_mm)[0])

    base = float((blocks.target_mm * price.above_floor).sum())
    return Shared(hours, starts, best, now_cost, bound, thumb_cost, base, felt(best), felt(relaxed),
                  felt(dry), codes, breaks, solved)  # fmt: skip


def _by_thumb(
    blocks: Blocks, supply: Supply, price: Prices, pack: Pack
) -> tuple[Values, Starts, Values]:
    """Plan by the greedy rule and pack it.

    Returns
    -------
    hours, starts : shape (7, blocks)
    net_mm : shape (14, blocks)
    """
    whole = greedy(blocks, supply)
    net = whole * blocks.rate_mm_h
    hours = whole[:WEEK].copy()
    starts = np.full(hours.shape, -1, dtype=np.int64)
    for day in range(WEEK):
        starts[day] = fitted_day(blocks, supply, price, hours, day, net, pack)
        net[day] = hours[day] * blocks.rate_mm_h
    return hours, starts, net


def pins_fit(blocks: Blocks, supply: Supply) -> bool:
    """Return whether the source can carry what is pinned."""
    return not _room_for_pins(blocks, supply)[1]


def _room_for_pins(blocks: Blocks, supply: Supply) -> tuple[Supply, tuple[Break, ...]]:
    """Make room for what is pinned, and tell which limits that breaks and by how much."""
    breaks = []
    taken = pinned_hours(blocks, supply)
    over = taken - supply.open_h[:WEEK]
    for day, pump in zip(*np.nonzero(over > SLACK), strict=True):
        breaks.append(Break("pump_hours", float(over[day, pump]), int(day), True))
    open_h = supply.open_h.copy()
    open_h[:WEEK] = np.maximum(open_h[:WEEK], taken)
    m3 = (np.nan_to_num(blocks.pinned_h) * blocks.flow_m3_h).sum(axis=1)
    budgets = []
    for b in supply.budgets:
        taken_m3 = float(m3[b.first : b.last + 1].sum())
        if taken_m3 > b.m3 + SLACK:
            breaks.append(Break(b.code, taken_m3 - b.m3, None, True))
        budgets.append(replace(b, m3=max(b.m3, taken_m3)))
    most = supply.most_openings().copy()
    opened = blocks.opened(np.nan_to_num(blocks.pinned_h)).sum(axis=1)
    for day in np.flatnonzero(opened > most[:WEEK]):
        breaks.append(Break("people", float(opened[day] - most[day]), int(day), True))
        most[day] = opened[day]
    made = replace(supply, open_h=open_h, budgets=tuple(budgets), openings=most)
    return made, tuple(breaks)


def _codes(model: Model, net_mm: Values) -> tuple[str, ...]:
    """Return for each block the limit that costs it most, by the model's prices of its limits.

    ``""`` where none has a price: the model cuts valve openings into parts, people cannot.
    """
    blocks, supply = model.blocks, model.supply
    dual = np.abs(model.duals)
    shares = pump_shares(blocks.flow_m3_h, supply.pump_m3_h[supply.pump]) / blocks.rate_mm_h
    by_pump = dual[model.pump_rows].sum(axis=1)[:, supply.pump]
    pump = (by_pump * shares).sum(axis=0)
    rights = [d * blocks.m3_mm for d in dual[model.budget_rows]]
    people = dual[model.opening_rows].sum() / np.maximum(blocks.longest_h * blocks.rate_mm_h, 1e-9)
    names = ("pump_hours", *(b.code for b in supply.budgets), "people")
    cost_of = np.stack([pump, *rights, people])
    found = np.where(cost_of.max(axis=0) > SLACK, cost_of.argmax(axis=0), len(names))
    codes = [(*names, "")[j] for j in found]
    free = blocks.open_cells()[:WEEK]
    most = blocks.longest_h * blocks.rate_mm_h - SLACK
    for k in range(len(codes)):
        if not free[:, k].any():
            codes[k] = "pump_hours" if blocks.pump_cuts[k] else "days_off"
        elif np.all(net_mm[:WEEK][free[:, k], k] >= most[k]):
            codes[k] = "pump_hours" if blocks.pump_cuts[k] else "set_hours"
    return tuple(codes)


def _reached(blocks: Blocks, supply: Supply, hours: Values) -> str:
    """Return the limit a plan comes up to: hands on some day, else a budget, else the pump."""
    if np.any(blocks.opened(hours).sum(axis=1) + 1 > supply.most_openings()[:WEEK]):
        return "people"
    m3 = (hours * blocks.flow_m3_h).sum(axis=1)
    left = [b for b in supply.budgets if b.first < WEEK and m3[b.days].sum() >= 0.95 * b.m3]
    return left[0].code if left else "pump_hours"


def _below_floors(blocks: Blocks, net_mm: Values, codes: tuple[str, ...]) -> tuple[Break, ...]:
    """Tell by how much each limit is too tight to keep all stages at their floors."""
    missing, _ = depletion(blocks, net_mm)
    lacking = missing[WEEK - 1] - blocks.target_mm[0] - blocks.step_mm[0]
    lacking = np.where(lacking > 0.5, lacking, 0.0)  # [mm]
    rights = ("right_week", "right_year", "tank")
    result = []
    for code in sorted(set(codes) - {""}):
        mine = np.array([c == code for c in codes])
        per_mm = blocks.m3_mm if code in rights else 1.0 / blocks.rate_mm_h
        if code == "people":
            per_mm = 1.0 / np.maximum(blocks.longest_h * blocks.rate_mm_h, 1e-9)
        amount = float((lacking * per_mm)[mine].sum())
        if amount > SLACK:
            result.append(Break(code, amount))
    return tuple(result)


def floors_kept(blocks: Blocks, net_mm: Values) -> Flags:
    """Return which blocks end the week at or above the floor of their stage."""
    missing, _ = depletion(blocks, net_mm)
    limit = blocks.target_mm[0] + blocks.step_mm[0]
    return np.asarray(missing[WEEK - 1] <= limit + 1e-6)
