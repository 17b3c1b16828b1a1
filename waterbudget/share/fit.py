"""A day's hours made a timetable: placed exactly, shortened where there is no place.

``Pack`` is the exact packing of the caller: it places the sets of a day in the order given and
shortens those that find no place, so hour totals are never taken for a timetable.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from waterbudget.share.problem import (
    QUARTER_H,
    SLACK,
    WEEK,
    Blocks,
    Prices,
    Supply,
    Values,
    depletion,
)

Starts = NDArray[np.int64]
Pack = Callable[[int, Values, Values, Sequence[int]], tuple[Values, Starts]]
"""From day, hours wanted, hours at most where room is left, both (blocks,), and the order of
placing, to the hours that fit and the quarter hour each set starts at (-1: none); a set not placed
has 0 hours."""

USEFUL = 0.5  # a set put into a gap is at least this share of a usual one
BESIDE = 8  # so many blocks are tried for the gaps of a day
GROWS = 1.25  # a set may grow by this, so that a block's waterings stay alike


def no_packing(
    day: int, hours: Values, most: Values, order: Sequence[int]
) -> tuple[Values, Starts]:
    """Stand in for a packing where every day fits."""
    return hours.copy(), np.full(len(hours), -1, dtype=np.int64)


def fitted_day(
    blocks: Blocks, supply: Supply, price: Prices, hours: Values, day: int, net_mm: Values,
    pack: Pack,
) -> Starts:  # fmt: skip
    """Make the sets of one day a timetable, in place, in the order that loses least.

    Parameters
    ----------
    hours : ndarray, shape (7, blocks)
        The days before are fixed.
    net_mm : ndarray, shape (14, blocks)
        The plan as it stands, to know what is lacking [mm].

    Returns
    -------
    ndarray, shape (blocks,)
        The quarter hour each set starts at.
    """
    pinned = ~np.isnan(blocks.pinned_h[day])
    worth = worth_of_an_hour(blocks, price, net_mm)
    _within_openings(blocks, supply, hours, day, worth)
    _within_budgets(blocks, supply, hours, day, worth)
    wanted = hours[day].copy()
    running = np.flatnonzero(wanted > 0)
    spare = _spare_m3(blocks, supply, wanted, day, net_mm)
    most = _at_most(blocks, wanted, day, net_mm, spare)
    size = wanted * blocks.flow_m3_h
    per_m3 = worth / blocks.flow_m3_h
    best: tuple[float, Values, Starts, list[int]] | None = None
    orders = (
        lambda k: (-wanted[k], -size[k]),
        lambda k: (-size[k],),
        lambda k: (-blocks.place[k], -wanted[k]),
        lambda k: (-round(wanted[k]), -per_m3[k]),
    )
    for key in orders:
        sets = sorted(running, key=lambda k, key=key: (not pinned[k], *key(k), k))  # type: ignore[misc]
        order = [int(k) for k in sets]
        fits, starts = pack(day, wanted, most, order)
        fits = np.where(pinned, wanted, fits)
        loss = float(((wanted - fits) * np.maximum(worth, 1e-3)).sum())
        if best is None or loss < best[0] - SLACK:
            best = (loss, fits, starts, order)
        if np.all(fits >= wanted - SLACK):
            break
    assert best is not None
    hands = float(supply.most_openings()[day] - blocks.opened(wanted).sum())
    best = _gaps_filled(
        blocks, day, hours, net_mm, worth, wanted, most, best, pack, (hands, spare)
    )  # fmt: skip
    hours[day] = best[1]
    _within_budgets(blocks, supply, hours, day, worth)  # a shorter set still fits where it is
    return np.where(hours[day] > 0, best[2], -1)


def _gaps_filled(
    blocks: Blocks, day: int, hours: Values, net_mm: Values, worth: Values, wanted: Values,
    most: Values, best: tuple[float, Values, Starts, list[int]], pack: Pack,
    left: tuple[float, float],
) -> tuple[float, Values, Starts, list[int]]:  # fmt: skip
    """Put sets of other blocks into the gaps of a packed day where that is worth more.

    ``left`` holds how many more valves the people can open, and the water no later day wants [m3].
    """
    beside = _beside(blocks, hours, day, net_mm, worth)
    gaps = sorted(np.flatnonzero(beside > 0), key=lambda k: (-worth[k] / blocks.flow_m3_h[k], k))
    more = np.array(gaps[:BESIDE], dtype=np.int64)
    few = np.cumsum(blocks.opened(beside)[more]) <= left[0] + SLACK
    few &= np.cumsum((beside * blocks.flow_m3_h)[more]) <= left[1] + SLACK
    more = more[few].tolist()
    if not more or np.all(best[1] >= wanted - SLACK):
        return best
    tried = wanted.copy()
    tried[more] = beside[more]
    fits, starts = pack(day, tried, np.maximum(most, tried), [*best[3], *more])
    least = USEFUL * blocks.usual_mm / blocks.rate_mm_h
    fits = np.where((wanted <= 0) & (fits < least), 0.0, fits)
    if float((fits * worth).sum()) > float((best[1] * worth).sum()) + SLACK:
        return (best[0], fits, starts, best[3])
    return best


def _beside(blocks: Blocks, hours: Values, day: int, net_mm: Values, worth: Values) -> Values:
    """Hours that blocks without a set on a day could take if a gap is left, 0 for none."""
    missing, _ = depletion(blocks, net_mm)
    before = missing[day - 1] if day else blocks.dr_mm
    room = np.maximum(before - blocks.rain_mm[day], 0.0)
    lacking = np.maximum(missing[WEEK - 1] - blocks.target_mm[0], 0.0)
    depth = np.min([room, lacking, blocks.usual_mm], axis=0)
    found = np.minimum(np.floor(depth / blocks.rate_mm_h / QUARTER_H) * QUARTER_H, blocks.longest_h)
    free = blocks.may[day] & np.isnan(blocks.pinned_h[day]) & (hours[day] <= 0) & (worth > 0)
    least = np.maximum(blocks.worth_a_walk_h(), USEFUL * blocks.usual_mm / blocks.rate_mm_h)
    return np.where(free & (found >= least), found, 0.0)


def _spare_m3(
    blocks: Blocks, supply: Supply, wanted: Values, day: int, net_mm: Values
) -> float:  # fmt: skip
    """Water of rights and tank that the plan as it stands leaves over, infinite where free [m3]."""
    m3 = (net_mm * blocks.m3_mm).sum(axis=1)
    m3[day] = (wanted * blocks.flow_m3_h).sum()
    left = [b.m3 - m3[b.days].sum() for b in supply.budgets if b.first <= day <= b.last]
    return max(0.0, float(min(left, default=np.inf)))


def _at_most(blocks: Blocks, wanted: Values, day: int, net_mm: Values, spare_m3: float) -> Values:
    """Hours a day's sets may grow to: what is lacking at the week's end, without draining.

    ``spare_m3`` is shared out among them, so that no set takes what another day is to have.
    """
    missing, _ = depletion(blocks, net_mm)
    before = missing[day - 1] if day else blocks.dr_mm
    room = (before - blocks.rain_mm[day]) / blocks.rate_mm_h
    lacking = np.maximum(missing[WEEK - 1] - blocks.target_mm[0], 0.0)
    useful = wanted + lacking / blocks.rate_mm_h
    each = spare_m3 / max(1, int((wanted > 0).sum())) / blocks.flow_m3_h
    most = np.min(
        [room, useful, GROWS * wanted + QUARTER_H, wanted + each, blocks.longest_h], axis=0
    )
    return np.asarray(np.maximum(wanted, np.floor(most / QUARTER_H + SLACK) * QUARTER_H))


def worth_of_an_hour(blocks: Blocks, price: Prices, net_mm: Values) -> Values:
    """What an hour less on each block would cost, shape (blocks,)."""
    missing, _ = depletion(blocks, net_mm)
    lacking = missing[WEEK - 1] - blocks.target_mm[0]
    below = lacking > blocks.step_mm[0] - 1.0
    past = (missing[:WEEK] > blocks.limit_mm[:WEEK] - 1.0).sum(axis=0) * price.past
    end = np.where(below, price.below_floor, np.where(lacking > -1.0, price.above_floor, 0.0))
    return np.asarray((end + past) * blocks.rate_mm_h)


def _within_openings(
    blocks: Blocks, supply: Supply, hours: Values, day: int, worth: Values
) -> None:
    """Leave out, in place, the sets that lose least until the people can open the rest."""
    most = supply.most_openings()[day]
    free = np.isnan(blocks.pinned_h[day])
    opened = blocks.opened(hours[day])
    for k in sorted(np.flatnonzero(free & (hours[day] > 0)), key=lambda k: (worth[k], k)):
        if opened.sum() <= most + SLACK:
            return
        hours[day, k] = opened[k] = 0.0


def _within_budgets(blocks: Blocks, supply: Supply, hours: Values, day: int, worth: Values) -> None:
    """Take quarter hours, in place, from the day's sets that lose least until budgets are kept."""
    shortest = blocks.worth_a_walk_h()
    free = np.isnan(blocks.pinned_h[day])
    later = np.nan_to_num(blocks.pinned_h)
    later[: day + 1] = hours[: day + 1]
    for budget in supply.budgets:
        if not budget.first <= day <= budget.last:
            continue
        later[day] = hours[day]
        over = float((later[budget.days] * blocks.flow_m3_h).sum()) - budget.m3
        each = worth / blocks.flow_m3_h
        for k in sorted(np.flatnonzero(free & (hours[day] > 0)), key=lambda k: (each[k], k)):
            while over > SLACK and hours[day, k] > 0:
                left = hours[day, k] - QUARTER_H
                left = left if left >= shortest[k] - SLACK else 0.0
                over -= (hours[day, k] - left) * blocks.flow_m3_h[k]
                hours[day, k] = left
