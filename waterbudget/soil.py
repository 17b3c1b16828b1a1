"""The water a soil can hold for the roots, and what its surface can lose to the air.

A millimetre is a litre on a square metre of *block plan area*, everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from waterbudget import tables, texture
from waterbudget.errors import Refused
from waterbudget.orchard import Block

Values = NDArray[np.float64]

SURFACE_LAYER_M = 0.10  # FAO-56 p. 144: 0.10 to 0.15 m
DEFAULT_SOIL = "loam"


@dataclass(frozen=True)
class SoilNumbers:
    """What a block's soil holds.

    Attributes
    ----------
    field_capacity, wilting_point, stones : float
        Volume shares [m3/m3].
    tew_mm, rew_mm : float
        Water the bare surface can lose in all, and freely [mm over the wetted exposed surface].
    given : str
        ``"measured"``, ``"by texture"``, ``"by class"`` or ``"default"``.
    """

    name: str
    field_capacity: float
    wilting_point: float
    stones: float
    tew_mm: float
    rew_mm: float
    given: str


@cache
def classes() -> dict[str, dict[str, str]]:
    """Return the rows of the soil table by soil code."""
    return {row["soil"]: row for row in tables.read("soils")}


def total_available_mm(
    field_capacity: float, wilting_point: float, root_depth_m: Values | float,
    stones: float = 0.0, root_share: float = 1.0,
) -> Values:  # fmt: skip
    """Water the roots can hold, TAW [mm over the block] (FAO-56 eq. 82, with two shares).

    Parameters
    ----------
    field_capacity, wilting_point : float [m3/m3]
    root_depth_m : ndarray or float [m]
    stones : float
        Share of the soil volume that is stone.
    root_share : float
        Share of the soil under the block that the roots drink from.
    """
    held = 1000.0 * (field_capacity - wilting_point) * (1.0 - stones) * root_share
    return np.asarray(held * np.asarray(root_depth_m, dtype=float))


def total_evaporable_mm(
    field_capacity: float, wilting_point: float, depth_m: float = SURFACE_LAYER_M
) -> float:
    """Water the bare surface can lose, TEW [mm] (FAO-56 eq. 73)."""
    return 1000.0 * (field_capacity - 0.5 * wilting_point) * depth_m


def readily_available_mm(taw_mm: Values | float, p: Values | float) -> Values:
    """Easy water, RAW [mm] (FAO-56 eq. 83)."""
    return np.asarray(np.asarray(p, dtype=float) * taw_mm)


def adjusted_p(p: Values | float, etc_mm: Values | float) -> Values:
    """Depletion share after the day's demand, kept in 0.1 to 0.8 (FAO-56 p. 162)."""
    return np.asarray(np.clip(p + 0.04 * (5.0 - np.asarray(etc_mm, dtype=float)), 0.1, 0.8))


def texture_known(block: Block) -> bool:
    """Return whether sand and clay are given, so that the soil can be worked out of them."""
    return block.sand_pct is not None and block.clay_pct is not None


def _held(block: Block) -> tuple[str, float, float]:
    """Return the class, field capacity and wilting point where nothing was measured."""
    if not texture_known(block):
        row = classes()[block.soil or DEFAULT_SOIL]
        return row["soil"], float(row["field_capacity"]), float(row["wilting_point"])
    assert block.sand_pct is not None
    assert block.clay_pct is not None
    organic = texture.TABLE_ORGANIC_PCT if block.organic_pct is None else block.organic_pct
    held = texture.saxton_rawls(block.sand_pct, block.clay_pct, organic)
    name = block.soil or texture.soil_class(block.sand_pct, block.clay_pct)
    return name, float(held.field_capacity), float(held.wilting_point)


def soil_numbers(block: Block) -> SoilNumbers:
    """Return a block's soil: measured, else from sand and clay, else by its class, else loam.

    Organic matter counts as 2.5 % where it is not given.  What the bare surface loses freely is
    the class's; sand and clay name the class where none is given.

    Raises
    ------
    Refused
        Where the wilting point is not below field capacity after filling in.
    """
    name, fc, wp = _held(block)
    row = classes()[name]
    fc = fc if block.field_capacity is None else block.field_capacity
    wp = wp if block.wilting_point is None else block.wilting_point
    if wp >= fc:
        raise Refused("block.wilting_above_capacity", block=block.name, wp=wp, fc=fc)
    tew = total_evaporable_mm(fc, wp) if block.tew_mm is None else block.tew_mm
    rew = min(float(row["rew_mm"]), 0.9 * tew) if block.rew_mm is None else block.rew_mm
    return SoilNumbers(name, fc, wp, block.stones or 0.0, tew, min(rew, 0.99 * tew), _given(block))


def _given(block: Block) -> str:
    """Return how the water a block's soil holds is known."""
    if block.field_capacity is not None and block.wilting_point is not None:
        return "measured"
    if texture_known(block):
        return "by texture"
    return "by class" if block.soil else "default"
