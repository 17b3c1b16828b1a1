"""Split the chosen block along a line."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

from PySide6.QtGui import QMouseEvent, QPainter
from shapely.geometry import LineString

from desktop.mapview.corners import paint_numbers
from desktop.mapview.paths import PathTool
from desktop.wording import tr
from waterbudget.outlines import bench, sides

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas


class SplitTool(PathTool):
    """Draw the line a block is split along.

    Parameters
    ----------
    cut : callable
        Gets the line [m].
    """

    closed = False
    least = 2

    def __init__(self, canvas: MapCanvas, cut: Callable[[LineString], object]) -> None:
        super().__init__(canvas)
        self._cut = cut

    def hint(self) -> str:
        """Return what to do next."""
        block = next((b for b in self.canvas.blocks if b.id == self.canvas.selected), None)
        if block is None:
            return tr("Click the block to split.")
        if not self.points:
            return tr("Click where the line enters {0}: outside it, or on its edge.").format(
                block.name
            )
        return tr("Go on to the other side; Enter or a double click splits.") + " " + (
            self.keys_hint())  # fmt: skip

    def release(self, event: QMouseEvent) -> bool:
        """Set a corner; without a chosen block the click chooses one."""
        if self.canvas.selected is None:
            self._pressed = None
            return False
        return super().release(event)

    def selected(self, block_id: int | None) -> None:
        """Say what is next."""
        self.clear()

    def too_few(self) -> str:
        """Return what is said where there are too few corners to finish."""
        return tr("A line needs two points at least.")

    def length_m(self) -> float:
        """Return how long the line is so far, to the pointer [m]."""
        points = [*self.points, *([self._at] if self._at is not None else [])]
        return sum(sides.side(a, b, self.canvas.epsg)[0] for a, b in pairwise(points))

    def finish(self) -> None:
        """Hand the line on."""
        self._cut(LineString(self.points))

    def paint(self, painter: QPainter) -> None:
        """Paint the line, and the numbers of the block's corners."""
        shape = self.canvas.shape(self.canvas.selected)
        if shape is not None:
            paint_numbers(painter, self.canvas, bench.rings_of(shape.outline)[0])
        super().paint(painter)
