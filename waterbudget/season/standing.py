"""A week that is handed out stands: the plan changes it only as far as something has happened.

The plan looks seven days ahead every morning, and another horizon alone would move waterings that
people have on paper.  So in a week handed out a watering added to the paper and one left out cost
:data:`MOVED_MM` each.  Where a watering did not run as handed out adding is free, after rain
leaving out is, after both the block is planned as freely as ever.  Where the days are the same,
hours that differ by no more than :data:`SAME_H` (or :data:`SAME_SHARE` of them) stay as they were
handed out, unless mornings would be past their limit for it.  Where the source cannot carry the
week like that, it is chosen (and shared) without looking at the paper.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance, plan, shifts
from waterbudget.balance import Drivers, State
from waterbudget.plan import WEEK, BlockLimits, Choices, Source
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


def papers(
    given: GivenWeek | None, prepared: Sequence[Prepared], rain_mm: Values, on: dt.date
) -> list[Standing]:  # fmt: skip
    """Return what of the week handed out stands for every block.

    Parameters
    ----------
    rain_mm : ndarray, shape (days, blocks)
        Every day up to the eve of ``on``.
    """
    if given is None:
        return [Standing()] * len(prepared)
    days = [d for d in range(WEEK) if given.covers(on + dt.timedelta(days=d))]
    hours = {p.block.id: dict.fromkeys(days, 0.0) for p in prepared}
    for s in given.sets:
        d = (s.date - on).days
        if s.block_id in hours and d in days:
            hours[s.block_id][d] += s.hours
    return [
        _standing(given, p, rain_mm[:, k], on, hours[p.block.id]) for k, p in enumerate(prepared)
    ]


def _standing(
    given: GivenWeek, block: Prepared, rain_mm: Values, on: dt.date, hours: Mapping[int, float]
) -> Standing:  # fmt: skip
    lacking, wetter = _happened(given, block, rain_mm, on)
    if lacking and wetter:
        return Standing()
    return Standing(hours, 0.0 if lacking else MOVED_MM, 0.0 if wetter else MOVED_MM)


def _happened(
    given: GivenWeek, block: Prepared, rain_mm: Values, on: dt.date
) -> tuple[bool, bool]:  # fmt: skip
    """Return whether a block got less, and whether it got more water than was handed out."""
    since = (on - given.first).days
    ran: dict[dt.date, float] = {}
    planned = {}
    for s in reversed(block.past):
        if s.date < given.first:
            break
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


def kept_as_handed_out(
    week: Drivers, state: State, limits: Sequence[BlockLimits], kept: Sequence[dict[str, Any]],
    watered: Sequence[int], source: Source, papers: Sequence[Standing],
    options: list[Choices], picks: list[int], held: dict[int, Any],
) -> tuple[list[Choices], list[int]]:  # fmt: skip
    """Choose anew so that what was handed out stands where it is nearly as good.

    Parameters
    ----------
    week : Drivers of the seven days; state : the first morning
    kept : where results of each block alone may be kept between calls
    watered : blocks that can be watered
    options, picks : as chosen without looking at the paper
    held : timetables kept between calls; only to be quick

    Returns
    -------
    The choices of every block, and which of them is taken.
    """
    stands = [k for k in watered if papers[k].hours and not limits[k].pins]
    if not stands:
        return options, picks
    near, again = list(options), list(picks)
    for k in stands:
        keep, cost = kept_days(papers[k])
        key = (limits[k], keep.tobytes(), cost.tobytes())
        if kept[k].get("stands", (None,))[0] != key:
            kept[k]["stands"] = (key, plan.choices(week, state, limits[k], k, keep, cost))
        near[k] = kept[k]["stands"][1]
    choose_beside(stands, watered, limits, source, near, again)
    fallen = [
        k for k in stands
        if not much_the_same(near[k].depth_mm[again[k]], limits[k], papers[k])
    ]  # fmt: skip
    if fallen:
        for k in fallen:
            near[k], again[k] = options[k], picks[k]
        stands = [k for k in stands if k not in fallen]
        choose_beside(stands, watered, limits, source, near, again)
    near = as_handed_out(week, state, limits, near, again, stands, papers)
    fits = _fits(limits, watered, source, near, again, held)
    return (near, again) if fits else (options, picks)


def choose_beside(
    mine: Sequence[int], watered: Sequence[int], limits: Sequence[BlockLimits], source: Source,
    options: list[Choices], picks: list[int],
) -> None:  # fmt: skip
    """Pick the days of some blocks beside the others, which stay as they are picked."""
    if not mine:
        return
    loads = [plan.load(options[k], picks[k], limits[k], source) for k in watered if k not in mine]
    others = (
        np.sum([now for now, _ in loads], axis=0) + np.zeros(WEEK),
        np.sum([later for _, later in loads], axis=0) + np.zeros(WEEK),
    )
    again = plan.choose([options[k] for k in mine], [limits[k] for k in mine], source, others)
    for k, pick in zip(mine, again, strict=True):
        picks[k] = pick


def _fits(
    limits: Sequence[BlockLimits], watered: Sequence[int], source: Source, options: list[Choices],
    picks: list[int], held: dict[int, Any],
) -> bool:  # fmt: skip
    """Return whether a week is no more than the source carries."""
    plans = [plan.block_plan(options[k], picks[k], limits[k], options[k].depth_mm[picks[k]])
             for k in watered]  # fmt: skip
    _, days, _ = shifts.timetable(plans, [limits[k] for k in watered], source, held)
    over = any(d.over_hours > 0 or d.over_valves or d.over_m3 > 0 for d in days)
    return not over and all(
        sum(d.m3 for d in days[r.first : r.last + 1]) <= r.m3 for r in source.rights
    )


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
    for k in map(int, np.flatnonzero((after != before).any(axis=0) & ~worse)):
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
