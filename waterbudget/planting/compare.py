"""Layouts side by side: trees, rows, pipe, and water at the peak."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from waterbudget.planting.model import Planting


@dataclass(frozen=True)
class LayoutFigures:
    """What one layout comes to.

    Attributes
    ----------
    per_ha : float
        Trees over the whole plan area of the block.
    row_length_m : float
        First to last tree of all rows, along the ground [m].
    lateral_m, main_m : float
        Pipe: one lateral a row as long as the row; one main that passes every row's nearer end
        [m].  No lengths to the valve, no spare.
    ground_m2 : float
        Plan area that belongs to one tree [m2].
    litres_tree_day, m3_day : float
        What a tree and all of them take on a day of the peak: peak ET0 x Kc over the ground of a
        tree.
    """

    pattern: str
    spacing_m: float
    row_spacing_m: float
    bearing_deg: float
    trees: int
    rows: int
    per_ha: float
    row_length_m: float
    lateral_m: float
    main_m: float
    ground_m2: float
    litres_tree_day: float
    m3_day: float

    @property
    def pipe_m(self) -> float:
        """All pipe [m]."""
        return self.lateral_m + self.main_m


def figures_of(planting: Planting, hectares: float, peak_et0_mm: float, kc: float) -> LayoutFigures:
    """Return what a layout comes to.

    Parameters
    ----------
    hectares : float
        Plan area of the block.
    peak_et0_mm : float
        Reference ET of a day at the peak [mm].
    kc : float
        Crop coefficient of the peak [-].
    """
    layout = planting.layout
    ground = planting.plan_spacing_m * planting.plan_row_m
    litres = peak_et0_mm * kc * ground
    return LayoutFigures(
        layout.pattern, layout.spacing_m, layout.between_rows_m, layout.bearing_deg or 0.0,
        planting.trees, planting.rows, planting.trees / hectares, planting.row_length_m,
        planting.row_length_m, main_m(planting), ground, litres, litres * planting.trees / 1000.0,
    )  # fmt: skip


def main_m(planting: Planting) -> float:
    """Return the length of a main along the headland that is shorter [m].

    It runs straight from the first tree of one row to that of the next (or from last to last).
    """
    xy = np.column_stack([planting.x, planting.y])
    ends = planting.starts + planting.in_row - 1
    ways = [
        float(np.hypot(*np.diff(xy[at], axis=0).T).sum()) / planting.scale
        for at in (planting.starts, ends)
    ]
    return min(ways)
