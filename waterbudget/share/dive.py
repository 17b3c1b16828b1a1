"""From the solved model to whole sets: rounding small ones to none, then whole quarter hours."""

from __future__ import annotations

import numpy as np

from waterbudget.share.model import Model
from waterbudget.share.problem import SLACK, WEEK, Flags, Values

ROUNDS = (0.1, 0.3, 0.5, 0.7, 1.0)
"""Share of the shortest watering worth a walk below which a set is rounded to none."""


def dive(model: Model) -> Flags:
    """Round the small sets of the week planned to none and solve again, round by round.

    Returns
    -------
    ndarray of bool, shape (7, blocks)
        The sets that stay.
    """
    blocks, supply = model.blocks, model.supply
    longest = blocks.longest_h * blocks.rate_mm_h
    worth_h = blocks.worth_a_walk_h()
    worth = worth_h * blocks.rate_mm_h
    usual = np.minimum(np.maximum(blocks.usual_mm, worth), np.maximum(longest, 1e-9))
    pinned = ~np.isnan(blocks.pinned_h)
    few_hands = bool(np.isfinite(supply.most_openings()[:WEEK]).any())
    stays = blocks.open_cells()[:WEEK]
    model.price_walks(usual)
    for share in ROUNDS:
        stays = _close_small(model, stays, share * worth, longest)
        _bound(model, stays, longest, pinned)
        if few_hands:
            hours = model.net_mm[:WEEK] / blocks.rate_mm_h
            model.bound_openings(np.where((stays & (hours >= worth_h)) | pinned, hours, 0.0))
        model.solve()
    stays &= model.net_mm[:WEEK] >= 0.5 * worth
    stays = _within_openings(model, stays, pinned)
    _bound(model, stays, longest, pinned)
    model.make_even(stays)
    model.solve()
    return stays


def _bound(model: Model, stays: Flags, longest: Values, pinned: Flags) -> None:
    fixed = np.where(pinned, model.blocks.pinned_mm(), 0.0)
    model.bound_water(fixed, np.where(stays, longest, fixed))


def _close_small(model: Model, stays: Flags, small: Values, longest: Values) -> Flags:
    """Close sets below ``small`` [mm], smallest first, while the others can carry their water."""
    net = model.net_mm[:WEEK]
    stays = stays.copy()
    for k in np.flatnonzero((stays & (net < small)).any(axis=0)):
        open_days = np.flatnonzero(stays[:, k])
        total = net[open_days, k].sum()
        for day in sorted(open_days, key=lambda d: (net[d, k], d)):
            left = (np.count_nonzero(stays[:, k]) - 1) * longest[k]
            if net[day, k] >= small[k] or left < total - SLACK:
                break
            stays[day, k] = False
    return stays


def _within_openings(model: Model, stays: Flags, pinned: Flags) -> Flags:
    """Leave out the least important sets of days on which the people cannot open all."""
    blocks, most = model.blocks, model.supply.most_openings()
    opened = blocks.opened(model.net_mm[:WEEK] / blocks.rate_mm_h)
    stays = stays.copy()
    for day in np.flatnonzero(np.isfinite(most[:WEEK])):
        left = most[day] - opened[day, pinned[day]].sum()
        cells = np.flatnonzero(stays[day])
        worth = blocks.place[cells] * 1e3 + model.net_mm[day, cells]
        for k in cells[np.argsort(-worth, kind="stable")]:
            left -= opened[day, k]
            stays[day, k] = left >= -SLACK
    return stays
