"""After the packing: a block's waterings made alike again where the days still carry them.

The packing shortens one watering and lets another grow.  Here every block in turn, the most
important first, is tried with its water in equal sets on the same days; where all those days are
still a timetable with every other set as it was, and it costs next to nothing, that stands.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from waterbudget.share.fit import Pack, Starts
from waterbudget.share.problem import (
    QUARTER_H,
    SLACK,
    WEEK,
    Blocks,
    Prices,
    Supply,
    Values,
    cost,
)

MANY_BLOCKS = 60  # past this many, days are not tried again block by block
MOST_SETS = 1500  # days packed anew times blocks, so that a redraw does not wait
DEARER = 0.002  # share of the cost that alike waterings may cost a block


def evened(
    blocks: Blocks, supply: Supply, price: Prices, hours: Values, starts: Starts, net_mm: Values,
    pack: Pack,
) -> tuple[Values, Starts, Values]:  # fmt: skip
    """Return hours, starts and water with waterings made alike where that fits.

    Parameters
    ----------
    hours, starts : shape (7, blocks), as packed
    net_mm : ndarray, shape (14, blocks)

    Returns
    -------
    ndarray, ndarray, ndarray
        As given, evened.
    """
    if hours.shape[1] > MANY_BLOCKS:
        return hours, starts, net_mm
    hours, starts, net = hours.copy(), starts.copy(), net_mm.copy()
    pinned = ~np.isnan(blocks.pinned_h)
    order = sorted(range(hours.shape[1]), key=lambda k: (-blocks.place[k], k))
    now = cost(blocks, price, net)
    least, left = blocks.worth_a_walk_h(), MOST_SETS // hours.shape[1]
    for k in order:
        days = np.flatnonzero((hours[:, k] > 0) & ~pinned[:, k])
        for wanted in _alike(hours[days, k], float(least[k])):
            left -= len(days)
            if left < 0:
                return hours, starts, net
            tried, made = _packed(hours, starts, days, k, wanted, pack)
            if made is None:
                continue
            water = net.copy()
            water[:WEEK] = tried * blocks.rate_mm_h
            then = cost(blocks, price, water)
            if not _within(blocks, supply, tried, water):
                continue
            if then <= now * (1.0 + DEARER) + SLACK:
                hours, starts, net, now = tried, made, water, then
                break
    return hours, starts, net


def _within(blocks: Blocks, supply: Supply, hours: Values, net_mm: Values) -> bool:
    """Return whether rights, tank and hands carry a week and the water of the one after."""
    m3 = (net_mm * blocks.m3_mm).sum(axis=1)
    opened = blocks.opened(hours).sum(axis=1)
    return bool(
        all(m3[b.days].sum() <= b.m3 + SLACK for b in supply.budgets if b.first < WEEK)
        and np.all(opened <= supply.most_openings()[:WEEK] + SLACK)
    )


def _alike(own: Values, least_h: float) -> list[Values]:
    """Return the hours of equal sets to try: the same water, then a little less."""
    if len(own) < 2 or own.max() - own.min() <= QUARTER_H + SLACK:
        return []
    quarters = round(float(own.sum()) / QUARTER_H)
    found = []
    for less in (0.0, 0.04, 0.08):
        each, more = divmod(int(quarters * (1.0 - less)), len(own))
        sets = np.full(len(own), each * QUARTER_H)
        longest_first = np.argsort(-own, kind="stable")
        sets[longest_first[:more]] += QUARTER_H
        if sets.min() >= least_h - SLACK:
            found.append(sets)
    return found


def _packed(
    hours: Values, starts: Starts, days: NDArray[np.int64], k: int, wanted: Values, pack: Pack
) -> tuple[Values, Starts | None]:
    """Pack the days anew with one block's sets changed; None where a set finds no place."""
    tried, made = hours.copy(), starts.copy()
    tried[days, k] = wanted
    for day in days:
        if tried[day, k] == hours[day, k]:
            continue
        running = np.flatnonzero(tried[day] > 0)
        for key in ((-tried[day], -starts[day]), (starts[day], -tried[day])):
            order = sorted(running, key=lambda j, key=key: (key[0][j], key[1][j], j))  # type: ignore[misc]
            fits, at = pack(int(day), tried[day], tried[day], [int(j) for j in order])
            if np.all(fits >= tried[day] - SLACK):
                made[day] = np.where(tried[day] > 0, at, -1)
                break
        else:
            return tried, None
    return tried, made
