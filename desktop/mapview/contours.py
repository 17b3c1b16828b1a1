"""Lines of equal height under the blocks, from a height file.

Reading and tracing take a moment and are done in the worker thread; the map only draws the lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

MOST_CELLS = 450
"""Longest side of the grid that is traced; a finer file is read coarser."""
_STEPS_M = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_LINES = 24


@dataclass(frozen=True)
class Heights:
    """A grid of heights in the farm's metres.

    Attributes
    ----------
    z : ndarray, shape (rows, columns)
        [m], north row first, NaN where unknown.
    west, north : float
        Middle of the first cell [m].
    dx, dy : float
        Step to the next cell, east and south [m].
    """

    z: Values
    west: float
    north: float
    dx: float
    dy: float


@dataclass(frozen=True)
class Contours:
    """Pieces of lines, ready to draw.

    Attributes
    ----------
    step_m : float
        Height from one line to the next [m].
    thin, strong : ndarray, shape (pieces, 4)
        x1, y1, x2, y2 [m]; every fifth line is strong.
    """

    step_m: float
    thin: Values
    strong: Values


def read_heights(path: Path, epsg: int) -> Heights:
    """Read a height file of any system, in the farm's metres and no finer than needed.

    Raises
    ------
    rasterio.errors.RasterioError
        The file is no picture of heights.
    """
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.vrt import WarpedVRT

    with (
        rasterio.open(path) as source,
        WarpedVRT(source, crs=f"EPSG:{epsg}", resampling=Resampling.bilinear, dtype="float32",
                  nodata=np.nan) as grid,
    ):  # fmt: skip
        coarse = max(1.0, max(grid.width, grid.height) / MOST_CELLS)
        shape = (max(2, round(grid.height / coarse)), max(2, round(grid.width / coarse)))
        z = grid.read(1, out_shape=shape, resampling=Resampling.average).astype(float)
        west, south, east, north = grid.bounds
    dx, dy = (east - west) / shape[1], (north - south) / shape[0]
    return Heights(z, west + dx / 2, north - dy / 2, dx, dy)


def trace(heights: Heights, step_m: float | None = None) -> Contours:
    """Trace the lines of equal height.

    Parameters
    ----------
    step_m : float, optional
        A round step that gives some two dozen lines by default.
    """
    z = heights.z
    if not np.isfinite(z).any():
        nothing = np.zeros((0, 4))
        return Contours(step_m or _STEPS_M[0], nothing, nothing)
    low, high = float(np.nanmin(z)), float(np.nanmax(z))
    if step_m is None:
        step_m = next((s for s in _STEPS_M if (high - low) / s <= _LINES), _STEPS_M[-1])
    first = int(np.ceil(low / step_m))
    thin, strong = [np.zeros((0, 4))], [np.zeros((0, 4))]
    for k in range(first, int(high // step_m) + 1):
        # a hair off the round height, so that no corner of a cell lies on the line
        pieces = _level(heights, k * step_m + 1e-4)
        (strong if k % 5 == 0 else thin).append(pieces)
    return Contours(step_m, np.vstack(thin), np.vstack(strong))


def _level(heights: Heights, level: float) -> Values:
    """Return the pieces of one line: two triangles a cell, at most one piece in each."""
    z = heights.z
    rows, columns = z.shape
    x = heights.west + heights.dx * np.arange(columns)
    y = heights.north - heights.dy * np.arange(rows)
    gx, gy = np.meshgrid(x, y)
    grid = np.stack([gx, gy, z], axis=-1)
    a, b = grid[:-1, :-1].reshape(-1, 3), grid[:-1, 1:].reshape(-1, 3)
    c, d = grid[1:, :-1].reshape(-1, 3), grid[1:, 1:].reshape(-1, 3)
    corners = np.concatenate([np.stack([a, b, c], axis=1), np.stack([d, c, b], axis=1)])
    above = corners[..., 2] > level
    count = above.sum(axis=1)
    crossed = ((count == 1) | (count == 2)) & np.isfinite(corners[..., 2]).all(axis=1)
    corners, above, count = corners[crossed], above[crossed], count[crossed]
    if not len(corners):
        return np.zeros((0, 4))
    lonely = np.where((count == 1)[:, None], above, ~above).argmax(axis=1)
    index = np.arange(len(corners))
    tip = corners[index, lonely]
    ends = []
    for turn in (1, 2):
        other = corners[index, (lonely + turn) % 3]
        t = (level - tip[:, 2]) / (other[:, 2] - tip[:, 2])
        ends.append(tip[:, :2] + (other[:, :2] - tip[:, :2]) * t[:, None])
    return np.hstack(ends)
