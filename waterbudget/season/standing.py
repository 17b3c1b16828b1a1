"""A week that is handed out stands: the plan changes it only as far as something has happened.

The plan looks seven days ahead every morning, and another horizon alone would move waterings that
people have on paper.  So in a week handed out a watering added to the paper and one left out cost
:data:`MOVED_MM` each.  Where a watering did not run as handed out adding is free, after rain
leaving out is, after both the block is planned as freely as ever.  Where the days are the same,
hours that differ by no more than :data:`SAME_H` (or :data:`SAME_SHARE` of them) stay as they were
handed out, unless mornings would be past their limit for it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance
from waterbudget.balance import Drivers, State
from waterbudget.plan import WEEK, BlockLimits, Choices
from waterbudget.records import GivenWeek
from waterbudget.season.blocks import Prepared

Values = NDArray[np.float64]

MOVED_MM = 5.0
"""What a watering added to the paper or left out costs in the plan's weighted millimetres: own
estimate, more than the even-handedness of another horizon is worth, less than 3 mm drained."""
RAIN_MM = 2.0
"""Rain since the week was handed out that is looked at anew: own estimate."""
SAME_H, SAME_SHARE = 0.5, 0.15
"""Hours that are not worth another paper: own estimates, well inside the 20 % the hours are good
to."""
PAST_MM = 1.0
"""Millimetres past the limit, summed over the mornings, that the same hours may cost: own estimate.
"""


@dataclass(frozen=True)
class Standing:
    """What was handed out for a block.

    Attributes
    ----------
    hours : by day from the morning looked at, 0 for a dry day; nothing where nothing stands
    added_mm, left_out_mm : what a change of it costs [weighted mm]
    """

    hours: Mapping[int, float] = field(default_factory=dict)
    added_mm: float = MOVED_MM
    left_out_mm: float = MOVED_MM


def handed_out(
    given: GivenWeek | None, block: Prepared, rain_mm: Values, on: dt.date
) -> Standing:  # fmt: skip
    """Return what of the week handed out stands for a block.

    Parameters
    ----------
    rain_mm : of the block, every day up to the eve of ``on``
    """
    if given is None:
        return Standing()
    lacking, wetter = _happened(given, block, rain_mm, on)
    if lacking and wetter:
        return Standing()
    days = [d for d in range(WEEK) if given.covers(on + dt.timedelta(days=d))]
    hours = dict.fromkeys(days, 0.0)
    for s in given.sets:
        d = (s.date - on).days
        if s.block_id == block.block.id and d in hours:
            hours[d] += s.hours
    return Standing(hours, 0.0 if lacking else MOVED_MM, 0.0 if wetter else MOVED_MM)


def _happened(
    given: GivenWeek, block: Prepared, rain_mm: Values, on: dt.date
) -> tuple[bool, bool]:  # fmt: skip
    """Return whether a block got less, and whether it got more water than was handed out."""
    since = (on - given.first).days
    ran: dict[dt.date, float] = {}
    planned = {}
    for s in block.past:
        if s.date >= given.first:
            ran[s.date] = ran.get(s.date, 0.0) + (s.hours or 0.0)
            planned[s.date] = s.planned_hours or 0.0
    off = [ran[d] - planned[d] for d in ran if not _near(ran[d], planned[d])]
    rain = float(rain_mm[-since:].sum()) if since else 0.0
    return any(h < 0 for h in off), rain >= RAIN_MM or any(h > 0 for h in off)


def _near(hours: float, handed: float) -> bool:
    return abs(hours - handed) <= max(SAME_H, SAME_SHARE * handed) + 1e-9


def kept_days(stands: Standing) -> tuple[NDArray[np.bool_], Values]:
    """Return the days handed out, and what it costs to water otherwise on each: (7,) both."""
    keep, cost = np.zeros(WEEK, dtype=bool), np.zeros(WEEK)
    for d, h in stands.hours.items():
        keep[d], cost[d] = h > 0, stands.left_out_mm if h > 0 else stands.added_mm
    return keep, cost


def much_the_same(net_mm: Values, limits: BlockLimits, stands: Standing) -> bool:
    """Return whether a plan is the paper's: the same days, or the same hours where both water."""
    rate = limits.net_mm_per_hour
    if not rate:
        return False
    pairs = [(float(net_mm[d]) / rate, h) for d, h in stands.hours.items()]
    same_days = all((planned > 0) == (h > 0) for planned, h in pairs)
    return same_days or all(_near(planned, h) for planned, h in pairs if planned > 0 and h > 0)


def as_handed_out(
    week: Drivers, state: State, limits: Sequence[BlockLimits], options: list[Choices],
    picks: Sequence[int], mine: Sequence[int], handed: Sequence[Standing],
) -> list[Choices]:  # fmt: skip
    """Return the choices with the hours handed out where those planned are nearly the same.

    Parameters
    ----------
    week : Drivers of the seven days; state : the first morning
    picks : which choice of each block is taken
    mine : blocks for which the paper stands
    handed : what stands of each block
    """
    before = np.stack([o.depth_mm[p] for o, p in zip(options, picks, strict=True)], axis=1)
    after = before.copy()
    for k in mine:
        after[:, k] = _same_hours(before[:, k], limits[k], handed[k].hours)
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
        if (planned > 0) != (h > 0) or not _near(planned, h) or h > limits.longest_h + 1e-9:
            return net_mm
        made[d] = h * rate
    return made


def _past_mm(week: Drivers, state: State, net_mm: Values) -> Values:
    """Return the millimetres past the limit in the seven mornings to come, block by block."""
    account, _ = balance.run(replace(week, irrigation_mm=net_mm), state)
    use = np.vstack([account.etc_potential_mm[1:], account.etc_potential_mm[-1:]])
    allowed = np.vstack([week.allowed_mm[1:], week.allowed_mm[-1:]])
    return np.asarray(np.maximum(account.dr_mm - np.maximum(allowed, use), 0.0).sum(axis=0))
