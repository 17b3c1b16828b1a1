"""Made-up blocks that share a pump: nothing here computes a plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from waterbudget import share
from waterbudget.plan import BlockLimits, PlannedSet, Source
from waterbudget.season.packing import squeezed

STAGES = (
    ("rest", 0, 0.5, 0.5, 0.60), ("pruned", 1, 1.0, 0.7, 0.50), ("shoots", 2, 1.0, 0.7, 0.50),
    ("lag", 3, 1.5, 0.8, 0.45), ("harvest", 4, 2.0, 0.9, 0.40), ("set", 5, 3.0, 1.0, 0.40),
    ("bloom", 6, 3.0, 1.0, 0.40), ("fill", 7, 5.0, 1.0, 0.35),
)  # fmt: skip
"""Stage, place in the order, weight of a dry morning, floor, share of the roots' water allowed."""

PUMP_HOURS = 16.0
EFFICIENCY = 0.88


def blocks_of(n: int, seed: int = 1) -> share.Blocks:
    """Blocks in every stage, each with an even plan before that ends its week where it began."""
    rng = np.random.default_rng(seed)
    stages = [STAGES[i] for i in rng.integers(0, len(STAGES), n)]
    allowed = np.array([s[4] for s in stages])
    use = np.tile(rng.uniform(3.5, 5.0, n), (14, 1))
    limit = np.tile(np.maximum(allowed * rng.uniform(30, 50, n), use[0]), (14, 1))
    hectares, rate = rng.uniform(0.5, 2.5, n), rng.uniform(1.2, 3.0, n)
    dr = rng.uniform(0.2, 0.95, n) * limit[0]
    sets = np.clip(np.ceil(7 * use[0] / limit[0]), 1, 6).astype(int)
    before = np.zeros((7, n))
    for k in range(n):
        days = np.unique((np.arange(sets[k]) * 6 // sets[k] + rng.integers(0, 2)) % 6)
        before[days, k] = 7 * use[0, k] / len(days)
    may = np.ones((14, n), dtype=bool)
    may[[6, 13]] = False  # Sundays
    floor = np.array([s[3] for s in stages])
    made = share.Blocks(
        dr_mm=dr, use_mm=use, rain_mm=np.zeros((14, n)), limit_mm=limit, ends=(6, 13),
        target_mm=np.zeros((2, n)), step_mm=share.steps_mm(use, floor),
        place=np.array([s[1] for s in stages]), weight=np.array([s[2] for s in stages]),
        hectares=hectares, rate_mm_h=rate, flow_m3_h=rate * hectares * 10 / EFFICIENCY,
        shortest_h=np.full(n, 1.0), longest_h=np.full(n, 10.0), pulse_h=np.full(n, np.inf),
        may=may, pinned_h=np.full((7, n), np.nan), before_mm=before,
        most_mm=before.sum(axis=0) + 0.25 * rate, pump_cuts=np.zeros(n, dtype=bool),
    )  # fmt: skip
    missing, _ = share.depletion(made, np.vstack([before, before]))
    return replace(made, target_mm=np.maximum(missing[[6, 13]], 0.45 * limit[0]))


def need_m3(blocks: share.Blocks) -> float:
    """Water the week takes at the meter if nobody gives [m3]."""
    net = blocks.use_mm[:7].sum(axis=0) + blocks.dr_mm - blocks.target_mm[0]
    return float((np.maximum(net, 0.0) * blocks.m3_mm).sum())


def supply_of(blocks: share.Blocks, load: float, packed: float = 0.93) -> share.Supply:
    """One pump on six days of 16 hours that is asked for ``load`` times what it can pack."""
    pump = need_m3(blocks) / load / (6 * PUMP_HOURS) / packed
    pump = max(pump, float(blocks.flow_m3_h.max()))
    n = len(blocks.dr_mm)
    return share.Supply(np.zeros(n, dtype=int), np.array([pump]), np.full((14, 1), PUMP_HOURS))


def source_of(supply: share.Supply) -> Source:
    return Source(float(supply.pump_m3_h[0]), PUMP_HOURS, dt.time(5), dt.time(21), False)


def packer(
    blocks: share.Blocks, source: Source
) -> Callable[..., tuple[share.Values, share.Starts]]:
    """The real packing of a day."""
    limits = [
        BlockLimits(f"B{k:03d}", 8 - int(blocks.place[k]), float(blocks.flow_m3_h[k]),
                    float(blocks.hectares[k]), EFFICIENCY, float(blocks.shortest_h[k]),
                    float(blocks.longest_h[k]))
        for k in range(len(blocks.dr_mm))
    ]  # fmt: skip

    def pack(
        day: int, hours: share.Values, most: share.Values, order: Sequence[int]
    ) -> tuple[share.Values, share.Starts]:
        pinned = ~np.isnan(blocks.pinned_h[day])
        items = [
            (PlannedSet(day, 0.0, 0.0, None, float(hours[k]), 0.0, 0.0, bool(pinned[k])), limits[k])
            for k in order
        ]
        fits, starts = np.zeros(len(hours)), np.full(len(hours), -1)
        placed = squeezed(items, source, day, [float(most[k]) for k in order])
        for k, item in zip(order, placed, strict=True):
            if item is not None and item.start is not None:
                fits[k] = item.hours
                starts[k] = item.start.hour * 4 + item.start.minute // 15
        return fits, starts

    return pack
