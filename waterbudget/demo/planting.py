"""What stands on the demo farm's blocks: trees, water, soil, pruning dates.

The hand-chosen part is ``planting.csv`` beside this file.  Elevation, trees and flow are worked
out here, so that they fit the outlines and the hillside.

The blocks were pruned in four groups, so that on the demo date the farm shows every stage.  The
dates were tuned with the block's clock (``waterbudget.cycle``) on the invented weather: each new
pruning comes two to five weeks after the harvest before it.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from importlib import resources

import numpy as np
import shapely
from pyproj import Geod

from waterbudget.demo import hillside, maps
from waterbudget.demo.place import CELL, DEPTH, EAST0, NORTH0, WIDTH

PRUNED_TOGETHER = (
    ("Kettle", "Broken cart", "Long bench"),
    ("Sickle", "Bee wall", "Clay pit", "Quarry lip", "Lookout"),
    ("Weir", "Blue gate", "Owl tree", "Swallow"),
    ("Tin roof", "Morning side", "Wedge"),
)
"""The four groups; "New steps" is young and has never been pruned."""

EDGE_SHARE = 0.93
"""Share of a block's area that trees use; the rest is turning strip (own estimate)."""


@cache
def rows() -> tuple[dict[str, str], ...]:
    """Return one row of text a block, as it stands in ``blocks.csv``."""
    text = resources.files(__package__).joinpath("planting.csv").read_text(encoding="utf-8")
    return tuple(_complete(row) for row in csv.DictReader(text.splitlines()))


def blocks_csv() -> str:
    """Return ``blocks.csv``."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows()[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows())
    return text.getvalue()


@cache
def hectares() -> dict[str, float]:
    """Return each block's area on the round Earth [ha]."""
    earth = Geod(ellps="WGS84")
    return {
        name: abs(earth.geometry_area_perimeter(shape)[0]) / 1e4
        for name, shape in maps.lonlat().items()
    }


@cache
def elevations() -> dict[str, int]:
    """Return each block's mean height, from the cells whose middle lies inside [m]."""
    east = EAST0 + np.arange(CELL / 2, WIDTH, CELL)
    north = NORTH0 + np.arange(DEPTH - CELL / 2, 0.0, -CELL)
    grid = hillside.height_grid()
    return {
        name: round(float(grid[shapely.contains_xy(shape, *np.meshgrid(east, north))].mean()))
        for name, shape in maps.utm().items()
    }


def trees(row: dict[str, str]) -> int:
    """Return how many trees stand on the block of a row of ``planting.csv``."""
    each = float(row["spacing_m"]) * float(row["row_spacing_m"])
    return round(hectares()[row["name"]] * 1e4 * EDGE_SHARE / each / 5) * 5


def flow_m3_h(row: dict[str, str]) -> float:
    """Return what the valve of a block passes [m3/h]; the catalogue's figure if not measured."""
    share = float(row.get("flow_share") or 1.0)
    outlets = trees(row) * float(row["outlets_per_tree"])
    return round(outlets * float(row["outlet_l_h"]) / 1000 * share, 1)


def _complete(row: dict[str, str]) -> dict[str, str]:
    """Put trees, flow and elevation where they belong and leave the helper column out."""
    measured = bool(row["flow_share"])
    full: dict[str, str] = {}
    for name, value in row.items():
        if name == "system":
            full["trees"] = str(trees(row))
        if name == "flow_share":
            full["flow_m3_h"] = f"{flow_m3_h(row):.1f}" if measured else ""
            continue
        full[name] = value
        if name == "root_depth_m":
            full["elevation_m"] = str(elevations()[row["name"]])
    return full
