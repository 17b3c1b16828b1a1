"""Lines of equal height under the blocks, from a height file.

Reading and tracing take a moment and are done in the worker thread; the map only draws the lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

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
