"""How fast a soil takes water in, and pulses for a watering that is stronger than that.

The highest rates are those of the USDA sprinkler table, from memory (``tables/intake.csv``); the
way from a texture class to its rows, and the pulses, are own estimates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from waterbudget import tables
from waterbudget.orchard import Block

ON_MIN = 30
"""Minutes of water in a pulse (own estimate)."""
QUARTER_MIN = 15
DEEP_M = 1.8
"""A soil with rock or hardpan above this depth counts as lying over compact ground [m]."""

GROUPS = {
    "sand": "sand", "loamy-sand": "sandy loam", "sandy-loam": "sandy loam",
    "sandy-clay-loam": "silt loam", "loam": "silt loam", "silt-loam": "silt loam",
    "silt": "silt loam", "clay-loam": "clay", "silty-clay-loam": "clay", "sandy-clay": "clay",
    "silty-clay": "clay", "clay": "clay",
}  # fmt: skip
"""Rows of the table by texture class (own estimate)."""


@dataclass(frozen=True)
class Pulses:
    """A watering in parts: the soil takes in what one part brings while the water rests.

    Attributes
    ----------
    rate_mm_h : what the outlets bring down inside their circle [mm/h]
    highest_mm_h : what the soil takes in [mm/h]
    on_min, off_min : minutes of water and of rest
    """

    rate_mm_h: float
    highest_mm_h: float
    on_min: int
    off_min: int


def outlet_rate(outlet_l_h: float, radius_m: float) -> float:
    """Rate inside an outlet's wetted circle [mm/h].

    Parameters
    ----------
    outlet_l_h : flow of the outlet [L/h]
    radius_m : radius of the circle it wets [m]
    """
    return outlet_l_h / (math.pi * radius_m**2)


def rate_of(block: Block, wetted: float, flow_m3_h: float | None) -> float | None:
    """Rate at which a block's outlets wet the ground they reach [mm/h]; None where not known.

    Inside the outlet's circle where its radius is given, else the block's flow over the ground it
    wets.  Basins are meant to stand under water, and drippers wet a patch no table of sprinklers
    speaks of: neither has a rate, unless the radius is given.

    Parameters
    ----------
    wetted : share of the ground a watering wets
    flow_m3_h : flow of the block's valve [m3/h]
    """
    if block.outlet_l_h is not None and block.outlet_radius_m is not None:
        return outlet_rate(block.outlet_l_h, block.outlet_radius_m)
    if block.system in ("drip", "basin") or flow_m3_h is None or not block.hectares:
        return None
    return flow_m3_h / (block.hectares * 10.0) / wetted


def highest_of(block: Block, soil: str) -> float | None:
    """Highest rate a block's ground takes in [mm/h]; None while neither it nor a slope is given.

    The block's own figure, else the table's for soil and slope; ground nobody described is bare.

    Parameters
    ----------
    soil : texture class
    """
    if block.intake_mm_h is not None:
        return block.intake_mm_h
    if block.slope_pct is None:
        return None
    shallow = block.rock_depth_m is not None and block.rock_depth_m < DEEP_M
    covered = block.ground_cover == "covered"
    return highest_rate(soil, block.slope_pct, shallow=shallow, covered=covered)


def highest_rate(
    soil: str, slope_pct: float, *, shallow: bool = False, covered: bool = False
) -> float:
    """Highest sprinkler rate that does not run off [mm/h].

    Parameters
    ----------
    soil : texture class, such as ``"sandy-loam"``
    slope_pct : [%]
    shallow : over compact ground
    covered : by grass, mulch or a closed canopy near the ground
    """
    depth = "shallow" if shallow else "deep"
    fits = [(a, rates) for s, d, a, rates in _rows() if s == GROUPS[soil] and d == depth]
    rates = [r for a, r in fits if slope_pct > a or a == 0][-1]
    return rates[0] if covered else rates[1]


@cache
def _rows() -> tuple[tuple[str, str, float, tuple[float, float]], ...]:
    return tuple(
        (r["soil"], r["depth"], float(r["slope_from_pct"]),
         (float(r["covered_mm_h"]), float(r["bare_mm_h"])))
        for r in tables.read("intake")
    )  # fmt: skip


def pulses(rate_mm_h: float, highest_mm_h: float) -> Pulses | None:
    """Return the pulses with which a rate stays under the highest one; None where it does whole.

    Half an hour of water, then as many whole quarter hours of rest that the mean over water and
    rest is no more than the soil takes in (own estimate).
    """
    if rate_mm_h <= highest_mm_h * (1.0 + 1e-9):
        return None
    rest = ON_MIN * (rate_mm_h / highest_mm_h - 1.0)
    off = max(1, math.ceil(rest / QUARTER_MIN - 1e-9)) * QUARTER_MIN
    return Pulses(rate_mm_h, highest_mm_h, ON_MIN, off)
