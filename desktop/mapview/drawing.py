"""Draw an outline, and a piece to be cut out of a block."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtGui import QMouseEvent
from shapely.geometry import Polygon

from desktop.mapview.handtool import size_words
from desktop.mapview.paths import PathTool
from desktop.wording import tr
from waterbudget.outlines import sides

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas


class DrawTool(PathTool):
    """Draw a new outline, corner by corner or freehand."""

    def hint(self) -> str:
        """Return what to do next, and the size so far."""
        if self.following:
            return self._following_hint()
        n = len(self.points)
        if n == 0:
            return tr("Click the first corner, or draw the edge with the button held.")
        where = f"{self._snap.words()} " if self._snap is not None else ""
        if n < 3:
            return where + tr("Click corner by corner.") + " " + self.keys_hint()
        size = tr("{0} so far.", "area and girth").format(size_words(self.size()))
        return f"{where}{size} {tr('Enter or a double click closes it.')} {self.keys_hint()}"

    def _following_hint(self) -> str:
        if not self.points:
            return tr("Click where the shared edge begins, on the edge of a neighbour.")
        return tr(
            "Click where the shared edge ends; O goes the other way round, F goes straight again."
        )

    def size(self) -> sides.Size:
        """Return the size of the corners so far, the pointer's included."""
        points = [*self.points, *self._free, *([self._at] if self._at is not None else [])]
        return sides.size_of_corners(np.array(points).reshape(-1, 2), self.canvas.epsg)

    def finish(self) -> None:
        """Hand the outline on."""
        self.canvas.drawn.emit(Polygon(self.points))


class HoleTool(DrawTool):
    """Draw a piece to be cut out of the chosen block.

    Parameters
    ----------
    cut : callable
        Gets the piece [m].
    """

    def __init__(self, canvas: MapCanvas, cut: Callable[[Polygon], object]) -> None:
        super().__init__(canvas)
        self._cut = cut

    def hint(self) -> str:
        """Return what to do next."""
        if self.canvas.selected is None:
            return tr("Click the block out of which a piece is cut.")
        if not self.points:
            return tr("Draw round the piece to cut out: a rock, a pond, a yard.")
        return super().hint()

    def release(self, event: QMouseEvent) -> bool:
        """Set a corner; the first click chooses the block it is on."""
        chosen = self.canvas.selected
        if not self.points and not self._free:
            under = self.canvas.scene.at(*self.canvas.camera.to_ground(event.position()))
            if chosen is None or under not in (None, chosen):
                self._pressed = None  # a piece lies wholly inside: another block is meant
                return False
        return super().release(event)

    def selected(self, block_id: int | None) -> None:
        """Begin again in another block."""
        self.clear()

    def finish(self) -> None:
        """Hand the piece on."""
        self._cut(Polygon(self.points))
