"""Planting distances to tree counts, and slope distances to plan distances.

Trees stand on plan area (that is what an outline measures); hose and planting tape follow the
slope.  Counts are area over the ground of one tree, rounded: no rule for edges, headlands, roads
or rock.

Source: geometry.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

HECTARE_M2 = 10_000.0


def row_distance_m(
    pattern: str | None, spacing_m: float, row_spacing_m: float | None
) -> float | None:
    """Return the distance between rows on the plan [m]; None where it cannot be known.

    Parameters
    ----------
    pattern : {"square", "rectangle", "triangle", "contour"} or None
        None with one distance counts as square.
    spacing_m : float
        Between trees in the row.
    row_spacing_m : float or None
        A given distance rules for every pattern; with one alone a square has the same between
        rows, an equilateral triangle sqrt(3)/2 of it, a rectangle and contour rows are unknown.
    """
    if row_spacing_m is not None:
        return row_spacing_m
    if pattern is None or pattern == "square":
        return spacing_m
    if pattern == "triangle":
        return spacing_m * math.sqrt(3.0) / 2.0
    return None


def ground_of_a_tree_m2(
    pattern: str | None, spacing_m: float | None, row_spacing_m: float | None = None
) -> float | None:
    """Return the plan area that belongs to one tree [m2]; None where it cannot be known."""
    if spacing_m is None:
        return None
    between_rows = row_distance_m(pattern, spacing_m, row_spacing_m)
    return None if between_rows is None else spacing_m * between_rows


def trees_per_ha(
    pattern: str | None, spacing_m: float | None, row_spacing_m: float | None = None
) -> float | None:
    """Return trees to a hectare of plan area; None where it cannot be known."""
    ground = ground_of_a_tree_m2(pattern, spacing_m, row_spacing_m)
    return None if ground is None else HECTARE_M2 / ground


def tree_count(
    area_ha: float | None,
    pattern: str | None,
    spacing_m: float | None,
    row_spacing_m: float | None = None,
) -> int | None:
    """Return how many trees a block carries, to the nearest whole one; None where not known."""
    density = trees_per_ha(pattern, spacing_m, row_spacing_m)
    return None if density is None or area_ha is None else math.floor(area_ha * density + 0.5)


def surface_per_plan(slope_pct: ArrayLike) -> Values:
    """Return surface area over plan area on an even slope, and slope length over plan length."""
    return np.hypot(1.0, np.asarray(slope_pct, dtype=float) / 100.0)


def plan_distance_m(slope_distance_m: ArrayLike, slope_pct: ArrayLike) -> Values:
    """Return the plan distance of a tape laid straight down the slope [m]."""
    return np.asarray(slope_distance_m, dtype=float) / surface_per_plan(slope_pct)


def slope_distance_m(plan_distance_m: ArrayLike, slope_pct: ArrayLike) -> Values:
    """Return the length of tape or hose down the slope for a plan distance [m]."""
    return np.asarray(plan_distance_m, dtype=float) * surface_per_plan(slope_pct)
