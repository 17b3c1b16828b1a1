"""How long a measured line is along the ground, from the farm's height file (in the worker)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from desktop.mapview.handtool import Place
from desktop.wording import fixed, tr
from waterbudget.outlines import sides

if TYPE_CHECKING:
    from waterbudget.records import FarmData

STEP_M = 2.0
MOST_STEPS = 3000
"""A longer line is looked at in longer steps."""


@dataclass(frozen=True)
class Ground:
    """The answer.

    Attributes
    ----------
    length_m : float or None
        Along the ground; None where no heights are known.
    rise_m : float or None
        From the first point to the last.
    source : str
        The height file, ``"demo"`` for the demo's own hill, or nothing.
    """

    length_m: float | None
    rise_m: float | None = None
    source: str = ""

    def words(self) -> str:
        """Return it as a sentence."""
        if self.length_m is None or self.rise_m is None:
            if self.source:
                return tr("The height file does not reach the whole line.")
            return tr("No height file: the length along the slope is not known.")
        along = fixed(self.length_m, 1)
        if self.rise_m >= 0:
            return tr("{0} m along the ground, {1} m up.").format(along, fixed(self.rise_m, 1))
        return tr("{0} m along the ground, {1} m down.").format(along, fixed(-self.rise_m, 1))


def along_ground(data: FarmData, farm: Path | None, points: list[Place]) -> Ground:
    """Return the length of a line along the ground.

    Raises
    ------
    Refused
        The height file cannot be read.
    """
    spots, plan = _steps(points, data.orchard.epsg)
    heights, source = _heights(data, farm, spots)
    if heights is None:
        return Ground(None)
    length = sides.slope_length(plan, heights)
    if not math.isfinite(length):
        return Ground(None, source=source)
    return Ground(length, float(heights[-1] - heights[0]), source)


def _steps(points: list[Place], epsg: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return places every two metres along the line, and their level distance from its start."""
    lengths = [sides.side(a, b, epsg)[0] for a, b in pairwise(points)]
    step = max(STEP_M, sum(lengths) / MOST_STEPS)
    spots, plan, so_far = [np.array([points[0]])], [np.zeros(1)], 0.0
    for a, b, length in zip(points, points[1:], lengths, strict=False):
        n = max(1, math.ceil(length / step))
        t = np.arange(1, n + 1) / n
        spots.append(np.array(a) + t[:, None] * (np.array(b) - np.array(a)))
        plan.append(so_far + t * length)
        so_far += length
    return np.vstack(spots), np.concatenate(plan)


def _heights(
    data: FarmData, farm: Path | None, spots: NDArray[np.float64]
) -> tuple[NDArray[np.float64] | None, str]:
    for path in height_files(data, farm):
        from waterbudget import terrain

        z, _ = terrain.heights_at(path, spots, data.orchard.epsg)
        return np.asarray(z, dtype=float), path.name
    if data.orchard.invented:
        from waterbudget.demo import hillside, place

        if (data.orchard.epsg, data.orchard.name) == (place.EPSG, place.FARM_NAME):
            east, north = (spots - np.array([place.EAST0, place.NORTH0])).T
            return np.asarray(hillside.height(east, north), dtype=float), "demo"
    return None, ""


def height_files(data: FarmData, farm: Path | None) -> list[Path]:
    """Return the height files that lie under the farm and are there, the uppermost first."""
    folder = farm.parent if farm is not None else Path()
    found = [u for u in data.underlays if u.kind == "heights" and u.shown]
    paths = [folder / u.path for u in sorted(found, key=lambda u: -u.place)]
    return [p for p in paths if p.is_file()]
