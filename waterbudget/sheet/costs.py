"""What the week's waterings cost: per block, per cubic metre, and altogether."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from waterbudget import cost
from waterbudget.cost import Cost
from waterbudget.season import BlockSeason, Season
from waterbudget.season.source import block_pulses
from waterbudget.shifts import set_quarters


def block_cost(season: Season, b: BlockSeason, m3: float | None) -> Cost:
    """Return what a block's week takes and costs.

    The water is the week's need; the tariff that of the clock hours its sets were given.

    Parameters
    ----------
    m3 : float or None
        Water at the meter [m3].
    """
    farm = season.orchard
    openings = sum(s.pulses for s in b.plan.sets)
    return cost.cost_of(farm, farm.pump_of(b.block), m3 or 0.0, _cheap_share(season, b), openings)


def _cheap_share(season: Season, b: BlockSeason) -> float:
    """Share of a block's time with water that lies in the cheap hours."""
    if season.source is None:
        return 0.0
    cheap = season.source.cheap_quarters()
    if not cheap.any():
        return 0.0
    quarters = [q for s in b.plan.sets for q in set_quarters(s)]
    return sum(bool(cheap[q]) for q in quarters) / len(quarters) if quarters else 0.0


def cost_values(made: Cost, currency: str | None) -> dict[str, Any]:
    """Return a cost as the ``week`` answer holds it."""
    return {
        "energy_kwh": made.energy_kwh, "cheap_share": made.cheap_share,
        "energy_cost": made.energy_cost, "labour_cost": made.labour_cost, "total": made.total,
        "per_m3": made.per_m3, "currency": currency,
    }  # fmt: skip


def total_cost(season: Season, m3: Mapping[int, float | None]) -> Cost:
    """Return what the whole week takes and costs.

    Parameters
    ----------
    m3 : mapping of block column to float
        Water of each block at the meter [m3].
    """
    return cost.together([block_cost(season, b, m3.get(b.column)) for b in season.blocks])


def pulse_values(season: Season, b: BlockSeason) -> dict[str, Any] | None:
    """Return why a block's waterings run in pulses; None where they run through."""
    made = block_pulses(season, b)
    if made is None:
        return None
    return {
        "rate_mm_h": made.rate_mm_h, "soil_takes_mm_h": made.highest_mm_h,
        "on_min": made.on_min, "off_min": made.off_min,
    }  # fmt: skip
