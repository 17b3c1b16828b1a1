"""A week that is handed out stands: the plan leaves it where it is while it is nearly as good.

The plan looks seven days ahead every morning, and another horizon alone would move waterings that
people have on paper.  In a week handed out a watering added costs :data:`ADDED_MM` and one left
out :data:`LEFT_OUT_MM`, and where the days are the same, hours that differ by no more than
:data:`SAME_H` (or :data:`SAME_SHARE` of them) stay as they were handed out, unless mornings would
be past their limit for it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance
from waterbudget.balance import Drivers, State
from waterbudget.plan import WEEK, BlockLimits, Choices
from waterbudget.records import GivenWeek

Values = NDArray[np.float64]

ADDED_MM, LEFT_OUT_MM = 5.0, 1.0
"""What a change of the paper costs in the plan's weighted millimetres (moved: both): own estimates,
more than the even-handedness of another horizon is worth, less than 3 mm drained."""
SAME_H, SAME_SHARE = 0.5, 0.15
"""Hours that are not worth another paper: own estimates, well inside the 20 % the hours are good
to."""
PAST_MM = 1.0
"""Millimetres past the limit, summed over the mornings, that the same hours may cost: own estimate.
"""


def given_hours(given: GivenWeek | None, block_id: int, on: dt.date) -> dict[int, float]:
    """Return the hours handed out for the days from ``on`` that the week covers; 0 is a dry day."""
    if given is None:
        return {}
    days = [d for d in range(WEEK) if given.covers(on + dt.timedelta(days=d))]
    hours = dict.fromkeys(days, 0.0)
    for s in given.sets:
        d = (s.date - on).days
        if s.block_id == block_id and d in hours:
            hours[d] += s.hours
    return hours


def kept_days(hours: Mapping[int, float]) -> tuple[NDArray[np.bool_], Values]:
    """Return the days handed out, and what it costs to water otherwise on each: (7,) both."""
    keep, cost = np.zeros(WEEK, dtype=bool), np.zeros(WEEK)
    for d, h in hours.items():
        keep[d], cost[d] = h > 0, LEFT_OUT_MM if h > 0 else ADDED_MM
    return keep, cost


def as_handed_out(
    week: Drivers, state: State, limits: Sequence[BlockLimits], options: list[Choices],
    picks: Sequence[int], handed: Sequence[Mapping[int, float]],
) -> list[Choices]:  # fmt: skip
    """Return the choices with the hours handed out where those planned are nearly the same.

    Parameters
    ----------
    week : Drivers of the seven days; state : the first morning
    picks : which choice of each block is taken
    handed : hours handed out by day, of each block
    """
    before = np.stack([o.depth_mm[p] for o, p in zip(options, picks, strict=True)], axis=1)
    after = before.copy()
    for k, x in enumerate(limits):
        after[:, k] = _same_hours(before[:, k], x, handed[k])
    if np.array_equal(after, before):
        return options
    worse = _past_mm(week, state, after) > _past_mm(week, state, before) + PAST_MM
    made = list(options)
    for k in np.flatnonzero((after != before).any(axis=0) & ~worse):
        depth = options[k].depth_mm.copy()
        depth[picks[k]] = after[:, k]
        made[k] = replace(options[k], depth_mm=depth)
    return made


def _same_hours(net_mm: Values, limits: BlockLimits, hours: Mapping[int, float]) -> Values:
    rate = limits.net_mm_per_hour
    if not hours or not rate:
        return net_mm
    made = net_mm.copy()
    for d, h in hours.items():
        planned = float(net_mm[d]) / rate
        near = abs(planned - h) <= max(SAME_H, SAME_SHARE * h) + 1e-9
        if (planned > 0) != (h > 0) or not near or h > limits.longest_h + 1e-9:
            return net_mm
        made[d] = h * rate
    return made


def _past_mm(week: Drivers, state: State, net_mm: Values) -> Values:
    """Return the millimetres past the limit in the seven mornings to come, block by block."""
    account, _ = balance.run(replace(week, irrigation_mm=net_mm), state)
    use = np.vstack([account.etc_potential_mm[1:], account.etc_potential_mm[-1:]])
    allowed = np.vstack([week.allowed_mm[1:], week.allowed_mm[-1:]])
    return np.asarray(np.maximum(account.dr_mm - np.maximum(allowed, use), 0.0).sum(axis=0))
