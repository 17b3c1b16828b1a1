"""Water a soil holds, from its sand, clay and organic matter.

Source: Saxton & Rawls (2006) Soil water characteristic estimates by texture and organic matter
for hydrologic solutions, Soil Science Society of America Journal 70:1569-1578,
doi 10.2136/sssaj2005.0117, equations 1, 2, 3, 5, 6, 15, 16 and 18 (written from memory and held
against the paper's table 3).  The 33 kPa equation is used with the coefficient 1.283; copies that
print 1.238 give up to 0.007 m3/m3 less at field capacity.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget.errors import Refused

Values = NDArray[np.float64]

PARTICLE_DENSITY = 2.65
"""Density of the mineral grains [g/cm3]."""

TABLE_ORGANIC_PCT = 2.5
"""Organic matter of the paper's table 3 [% of weight]."""

DRIEST = 0.01
"""Least water at 1500 kPa that is given back: pure sand would come out below zero [m3/m3]."""

CLAY_MAX, ORGANIC_MAX = 60.0, 8.0
"""The equations were fitted below these [% of weight]."""


class SoilWater(NamedTuple):
    """What a fine earth holds (stones not counted).

    Attributes
    ----------
    wilting_point, field_capacity, saturation : ndarray
        Water at 1500 kPa, 33 kPa and with every pore full [m3/m3].
    ksat_mm_h : ndarray
        Water that passes when saturated [mm/h].
    bulk_density : ndarray
        Of the dry soil [g/cm3].
    """

    wilting_point: Values
    field_capacity: Values
    saturation: Values
    ksat_mm_h: Values
    bulk_density: Values


def saxton_rawls(
    sand_pct: ArrayLike,
    clay_pct: ArrayLike,
    organic_pct: ArrayLike = TABLE_ORGANIC_PCT,
    density_factor: ArrayLike = 1.0,
) -> SoilWater:
    """Return what a soil of this texture holds.

    Parameters
    ----------
    sand_pct, clay_pct, organic_pct : array_like
        Shares of the weight of the fine earth [%].
    density_factor : array_like
        0.9 (loosened) to 1.3 (packed); 1 is the usual density of that texture.

    Raises
    ------
    Refused
        ``texture.out_of_range`` naming the share and its bounds.
    """
    sand = _share("sand", sand_pct, 100.0)
    clay = _share("clay", clay_pct, CLAY_MAX)
    organic = _share("organic", organic_pct, ORGANIC_MAX) * 100.0
    density = np.asarray(density_factor, dtype=float)
    if not ((density >= 0.9) & (density <= 1.3)).all():
        raise Refused("texture.out_of_range", what="density_factor", low=0.9, high=1.3)
    if not (sand + clay <= 1.0 + 1e-9).all():
        raise Refused("texture.out_of_range", what="sand + clay", low=0, high=100)
    dry = np.maximum(_at_1500(sand, clay, organic), DRIEST)
    field = _at_33(sand, clay, organic)
    full = field + _above_33(sand, clay, organic) - 0.097 * sand + 0.043
    bulk = (1.0 - full) * PARTICLE_DENSITY * density
    packed = 1.0 - bulk / PARTICLE_DENSITY
    field = field - 0.2 * (full - packed)
    slope = np.log(field / dry) / (np.log(1500.0) - np.log(33.0))
    ksat = 1930.0 * np.maximum(packed - field, 0.0) ** (3.0 - slope)
    return SoilWater(dry, field, packed, ksat, bulk)


def soil_class(sand_pct: float, clay_pct: float) -> str:
    """Return the USDA texture class, as a soil code (Soil Survey Manual, from memory).

    Parameters
    ----------
    sand_pct, clay_pct : float
        Shares of the weight of the fine earth [%]; the rest is silt.
    """
    sand, clay, silt = sand_pct, clay_pct, 100.0 - sand_pct - clay_pct
    rules = (
        (silt + 1.5 * clay < 15, "sand"),
        (silt + 2 * clay < 30, "loamy-sand"),
        (clay < 7 and silt < 50, "sandy-loam"),
        (clay < 20 and sand > 52, "sandy-loam"),
        (clay < 12 and silt >= 80, "silt"),
        (clay < 27 and silt >= 50, "silt-loam"),
        (clay < 35 and silt < 28 and sand > 45 and clay >= 20, "sandy-clay-loam"),
        (clay < 27, "loam"),
        (clay >= 35 and sand > 45, "sandy-clay"),
        (clay >= 40 and silt >= 40, "silty-clay"),
        (clay >= 40, "clay"),
        (sand <= 20, "silty-clay-loam"),
    )
    return next((name for holds, name in rules if holds), "clay-loam")


def _share(what: str, pct: ArrayLike, high: float) -> Values:
    values = np.asarray(pct, dtype=float)
    if not ((values >= 0.0) & (values <= high)).all():
        raise Refused("texture.out_of_range", what=what, low=0, high=high)
    return values / 100.0


def _at_1500(sand: Values, clay: Values, organic: Values) -> Values:
    """Eq. 1."""
    first = (
        -0.024 * sand + 0.487 * clay + 0.006 * organic + 0.005 * sand * organic
        - 0.013 * clay * organic + 0.068 * sand * clay + 0.031
    )  # fmt: skip
    return first + 0.14 * first - 0.02


def _at_33(sand: Values, clay: Values, organic: Values) -> Values:
    """Eq. 2."""
    first = (
        -0.251 * sand + 0.195 * clay + 0.011 * organic + 0.006 * sand * organic
        - 0.027 * clay * organic + 0.452 * sand * clay + 0.299
    )  # fmt: skip
    return first + 1.283 * first**2 - 0.374 * first - 0.015


def _above_33(sand: Values, clay: Values, organic: Values) -> Values:
    """Water between saturation and 33 kPa (eq. 3)."""
    first = (
        0.278 * sand + 0.034 * clay + 0.022 * organic - 0.018 * sand * organic
        - 0.027 * clay * organic - 0.584 * sand * clay + 0.078
    )  # fmt: skip
    return first + 0.636 * first - 0.107
