"""The rule of thumb the shared plan is measured against: day by day, the first stage first."""

from __future__ import annotations

import numpy as np

from waterbudget.share.problem import (
    DAYS,
    QUARTER_H,
    SLACK,
    WEEK,
    Blocks,
    Supply,
    Values,
    pump_shares,
)


def greedy(blocks: Blocks, supply: Supply) -> Values:
    """Water, day by day, what would be past its limit tomorrow, by stage and then by need.

    Each is filled as far as the hours, the right and the people left of the day go, in whole
    quarter hours, and in the week planned never past what it wants of it.

    Returns
    -------
    ndarray, shape (14, blocks)
        Hours of each set.
    """
    hours = np.zeros((DAYS, len(blocks.dr_mm)))
    hours[:WEEK] = np.nan_to_num(blocks.pinned_h)
    shares = pump_shares(blocks.flow_m3_h, supply.pump_m3_h[supply.pump])
    missing = blocks.dr_mm
    for day in range(DAYS):
        _one_day(blocks, supply, shares, missing, hours, day)
        net = hours[day] * blocks.rate_mm_h
        missing = np.maximum(missing - net - blocks.rain_mm[day], 0.0) + blocks.use_mm[day]
    return hours


def _one_day(
    blocks: Blocks, supply: Supply, shares: Values, missing: Values, hours: Values,
    day: int,
) -> None:  # fmt: skip
    """Choose the sets of one day and write them to ``hours``."""
    tomorrow = missing - blocks.rain_mm[day] + blocks.use_mm[day]
    need = tomorrow / np.maximum(blocks.limit_mm[day], 1e-9)
    wants = blocks.open_cells()[day] & (tomorrow > blocks.limit_mm[day])
    shortest = blocks.worth_a_walk_h()
    used = np.zeros((len(shares), len(supply.pump_m3_h)))
    for row, share in enumerate(shares):
        np.add.at(used[row], supply.pump, share * hours[day])
    most_opened = supply.most_openings()[day]
    wants_h = np.full(len(missing), np.inf)
    if day < WEEK:
        wants_h = blocks.most_mm / blocks.rate_mm_h - hours[:WEEK].sum(axis=0)
    left = [b.m3 - float((hours[b.days] * blocks.flow_m3_h).sum()) for b in supply.budgets
            if b.first <= day <= b.last]  # fmt: skip
    for k in sorted(np.flatnonzero(wants), key=lambda k: (-blocks.place[k], -need[k], k)):
        pump, share = supply.pump[k], shares[:, k]
        room = (supply.open_h[day, pump] - used[:, pump]) / np.maximum(share, 1e-12)
        most = min([float(room.min()), *(m3 / blocks.flow_m3_h[k] for m3 in left)])
        wanted = max(missing[k] - blocks.rain_mm[day, k], 0.0) / blocks.rate_mm_h[k]
        longest = min(wanted, blocks.longest_h[k], most, wants_h[k])
        length = np.floor(longest / QUARTER_H + SLACK) * QUARTER_H
        if length < shortest[k] - SLACK:
            continue
        hours[day, k] = length
        if blocks.opened(hours[day]).sum() > most_opened + SLACK:
            hours[day, k] = 0.0
            continue
        used[:, pump] += share * length
        left = [m3 - length * blocks.flow_m3_h[k] for m3 in left]
