"""Day by day from the dived model to a timetable: round, pack, and share what is left anew.

After each day the days left of the week are a smaller problem of their own, begun from what is
really missing; what may be missing at its end, and what more would cost the week after, are
those of the whole model.  The days are asked for all their hours: the packing cuts what has no
place and lets sets grow into gaps.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from waterbudget.share.fit import Pack, Starts, fitted_day
from waterbudget.share.model import Model
from waterbudget.share.problem import (
    DAYS,
    QUARTER_H,
    SLACK,
    WEEK,
    Blocks,
    Flags,
    Supply,
    Values,
    pinned_hours,
    prices,
)


def roll(model: Model, stays: Flags, pack: Pack) -> tuple[Values, Values, Starts]:
    """Make the model's week whole quarter hours that pack.

    Parameters
    ----------
    stays : ndarray of bool, shape (7, blocks)
        Sets that may run, from :func:`waterbudget.share.dive.dive`.

    Returns
    -------
    ndarray, ndarray, ndarray
        Hours, shape (7, blocks); water of the week after, (7, blocks) [mm]; the quarter hour
        each set starts at, (7, blocks).
    """
    blocks, supply, price = model.blocks, model.supply, model.price
    pinned = ~np.isnan(blocks.pinned_h)
    hours = np.where(pinned, np.nan_to_num(blocks.pinned_h), 0.0)
    starts = np.full(hours.shape, -1, dtype=np.int64)
    after = (model.missing_mm(WEEK - 1), model.price_of_missing(WEEK))
    net, now = model.net_mm, blocks.dr_mm
    for day in range(WEEK):
        wanted = _quarters(blocks, net[day] / blocks.rate_mm_h, stays[day])
        hours[day] = np.where(pinned[day], hours[day], wanted)
        net[day] = hours[day] * blocks.rate_mm_h
        starts[day] = fitted_day(blocks, supply, price, hours, day, net, pack)
        net[day] = hours[day] * blocks.rate_mm_h
        room = np.maximum(now - net[day] - blocks.rain_mm[day], 0.0)
        now = room + blocks.use_mm[day]
        if day < WEEK - 1:
            left = np.maximum(blocks.most_mm - net[: day + 1].sum(axis=0), 0.0)
            rest = blocks.days(day + 1, WEEK, now, left)
            source = _left(supply, hours, blocks, day + 1, WEEK)
            open_h = np.maximum(source.open_h, pinned_hours(rest, source))
            part = Model(rest, replace(source, open_h=open_h), prices(rest), after)
            net[day + 1 : WEEK] = _solved(part, stays[day + 1 :], net, day + 1)
    rest = blocks.days(WEEK, DAYS, now, np.full(len(now), np.inf))
    part = Model(rest, _left(supply, hours, blocks, WEEK, DAYS), prices(rest))
    later = part.net_mm if part.solve() else net[WEEK:]
    return hours, later, starts


def _left(supply: Supply, hours: Values, blocks: Blocks, first: int, last: int) -> Supply:
    """Return what the source can do on some days after what the days before took."""
    taken = np.zeros(DAYS)
    taken[:first] = (hours[:first] * blocks.flow_m3_h).sum(axis=1)
    return supply.days(first, last, taken)


def _solved(part: Model, stays: Flags, net_mm: Values, first: int) -> Values:
    """Return the water of the days from ``first`` to the week's end, shared anew."""
    b = part.blocks
    pinned = np.where(np.isnan(b.pinned_h), 0.0, b.pinned_mm())
    part.bound_water(pinned, np.where(stays, b.longest_h * b.rate_mm_h, pinned))
    part.make_even(stays, net_mm[:first].max(axis=0))
    return part.net_mm if part.solve() else net_mm[first:WEEK]


def _quarters(blocks: Blocks, wanted_h: Values, stays: Flags) -> Values:
    """Round a day's hours to the nearest quarter; what is not worth a walk is none or just that.

    Stages that are to stay whole are rounded up.
    """
    shortest = blocks.worth_a_walk_h()
    longest = np.floor(blocks.longest_h / QUARTER_H + SLACK) * QUARTER_H
    half = np.where(blocks.step_mm[0] > SLACK, 0.5, 0.9)
    near = np.floor(wanted_h / QUARTER_H + half + 1e-9) * QUARTER_H
    near = np.minimum(np.maximum(near, shortest), longest)
    return np.where(stays & (wanted_h >= 0.5 * shortest), near, 0.0)
