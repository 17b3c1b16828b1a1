"""Measure distances: on the level, and along the ground where heights are known."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

from desktop.mapview.handtool import Place, side_words
from desktop.mapview.paths import PathTool
from desktop.wording import fixed, tr
from waterbudget.outlines import sides

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas


class MeasureTool(PathTool):
    """Click along what is to be measured.

    Parameters
    ----------
    ask : callable
        Gets the corners [m] after every change; answers later through :meth:`tell`.
    """

    closed = False
    least = 2
    double_ends = False

    def __init__(self, canvas: MapCanvas, ask: Callable[[list[Place]], object]) -> None:
        super().__init__(canvas)
        self._ask = ask
        self._told = ""
        self.slope_m: float | None = None

    def hint(self) -> str:
        """Return the distance so far."""
        if not self.points:
            return tr("Click along what you want to measure.")
        level = self.level_m()
        words = [tr("{0} m on the level.").format(fixed(level, 1))]
        if len(self.points) >= 2:
            last = sides.side(self.points[-2], self.points[-1], self.canvas.epsg)
            words.append(tr("Last side {0}.").format(side_words(*last)))
            words.append(self._told)
        words.append(self.keys_hint())
        return " ".join(w for w in words if w)

    def level_m(self) -> float:
        """Return the level distance along the corners set [m]."""
        return sum(sides.side(a, b, self.canvas.epsg)[0] for a, b in pairwise(self.points))

    def tell(self, points: list[Place], slope_m: float | None, words: str) -> None:
        """Take the length along the ground, if it is still about these corners."""
        if points == self.points:
            self.slope_m, self._told = slope_m, words
            self.canvas.hinted.emit(self.hint())
            self.changed()

    def _say(self) -> None:
        self.slope_m, self._told = None, ""
        super()._say()
        if len(self.points) >= 2:
            self._ask(list(self.points))

    def crossing(self) -> Place | None:
        """A measured line may cross itself."""
        return None

    def too_few(self) -> str:
        """Return what is said where there is nothing to measure."""
        return tr("A line needs two points at least.")

    def finish(self) -> None:
        """What was measured stays to be read."""
        self.canvas.hinted.emit(self.hint())
