"""Where the map looks: between the farm's metres and the pixels of the screen.

Metres grow to the north, pixels to the bottom.  A camera is frozen; moving it makes another, so
what was drawn with one can be told from what must be drawn again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QTransform

CLOSEST, WIDEST = 20.0, 0.001
"""Pixels for a metre, at most and at least."""

Bounds = tuple[float, float, float, float]
"""West, south, east, north [m]."""


@dataclass(frozen=True)
class Camera:
    """A view of the ground.

    Attributes
    ----------
    x, y : float
        Middle of the view [m].
    scale : float
        Pixels for a metre.
    width, height : float
        Of the view [px].
    """

    x: float = 0.0
    y: float = 0.0
    scale: float = 0.5
    width: float = 500.0
    height: float = 500.0

    @property
    def transform(self) -> QTransform:
        """From metres to pixels."""
        s = self.scale
        return QTransform(
            s, 0, 0, -s, self.width / 2 - s * self.x, self.height / 2 + s * self.y
        )  # fmt: skip

    def to_screen(self, x: float, y: float) -> QPointF:
        """Return the pixel of a point of the ground."""
        return QPointF(
            self.width / 2 + (x - self.x) * self.scale, self.height / 2 - (y - self.y) * self.scale
        )

    def many_to_screen(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the pixels of points of the ground, shape (points, 2)."""
        middle = np.array([self.x, self.y])
        half = np.array([self.width / 2, self.height / 2])
        return np.asarray(half + (points - middle) * np.array([self.scale, -self.scale]))

    def many_to_ground(self, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the points of the ground under pixels [m], shape (points, 2)."""
        half = np.array([self.width / 2, self.height / 2])
        turn = np.array([1.0, -1.0]) / self.scale
        return np.asarray(np.array([self.x, self.y]) + (pixels - half) * turn)

    def to_ground(self, at: QPointF) -> tuple[float, float]:
        """Return the point of the ground under a pixel [m]."""
        return (
            self.x + (at.x() - self.width / 2) / self.scale,
            self.y - (at.y() - self.height / 2) / self.scale,
        )

    @property
    def bounds(self) -> Bounds:
        """What can be seen [m]."""
        half_w, half_h = self.width / 2 / self.scale, self.height / 2 / self.scale
        return self.x - half_w, self.y - half_h, self.x + half_w, self.y + half_h

    def box(self, bounds: Bounds) -> QRectF:
        """Return the pixels a box of the ground takes."""
        west, south, east, north = bounds
        return QRectF(self.to_screen(west, north), self.to_screen(east, south))

    def moved(self, dx: float, dy: float) -> Camera:
        """Return the view after the ground was dragged by so many pixels."""
        return replace(self, x=self.x - dx / self.scale, y=self.y + dy / self.scale)

    def zoomed(self, factor: float, at: QPointF) -> Camera:
        """Return the view drawn nearer by ``factor``; the ground under ``at`` stays there."""
        scale = min(max(self.scale * factor, WIDEST), CLOSEST)
        x, y = self.to_ground(at)
        return replace(
            self, scale=scale, x=x - (at.x() - self.width / 2) / scale,
            y=y + (at.y() - self.height / 2) / scale,
        )  # fmt: skip

    def sized(self, width: float, height: float) -> Camera:
        """Return the same view on a window of another size."""
        return replace(self, width=max(width, 1.0), height=max(height, 1.0))

    def fitted(self, bounds: Bounds, margin: float = 24.0) -> Camera:
        """Return the view that shows a box of the ground whole, with a margin [px]."""
        west, south, east, north = bounds
        wide, high = max(east - west, 1.0), max(north - south, 1.0)
        room_w, room_h = max(self.width - 2 * margin, 20.0), max(self.height - 2 * margin, 20.0)
        scale = min(max(min(room_w / wide, room_h / high), WIDEST), CLOSEST)
        return replace(self, x=(west + east) / 2, y=(south + north) / 2, scale=scale)


def round_length(longest_m: float) -> float:
    """Return the longest of 1, 2, 5, 10, 20, 50 ... [m] that is no longer than that."""
    if longest_m <= 0 or not math.isfinite(longest_m):
        return 1.0
    power = 10.0 ** math.floor(math.log10(longest_m))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= longest_m * (1 + 1e-9))
