"""Choose two blocks to be joined by clicking them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent

from desktop.mapview.handtool import Tool
from desktop.mapview.pointing import Pointing
from desktop.wording import tr

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas


class JoinTool(Tool):
    """Click the block that stays, then the one that goes into it.

    Parameters
    ----------
    join : callable
        Called on Enter.
    """

    cursor = Qt.CursorShape.ArrowCursor
    boxes = True

    def __init__(self, canvas: MapCanvas, pointing: Pointing, join: Callable[[], object]) -> None:
        super().__init__(canvas)
        self._pointing, self._join = pointing, join

    def hint(self) -> str:
        """Return what to do next."""
        names = {b.id: b.name for b in self.canvas.blocks}
        two = [names[i] for i in self._pointing.marked if i in names]
        if not two:
            return tr("Click the block that stays, then its neighbour.")
        if len(two) == 1:
            return tr("{0} stays; click the neighbour that goes into it.").format(two[0])
        return tr("Enter joins: {1} goes into {0}.").format(*two[:2])

    def release(self, event: QMouseEvent) -> bool:
        """Choose the first, then the second."""
        found = self.canvas.block_at(event.position())
        if found is None:
            self._pointing.mark([])
        else:
            kept = self._pointing.marked if len(self._pointing.marked) == 1 else []
            self._pointing.mark([*kept, found])
        self.canvas.hinted.emit(self.hint())
        return True

    def key(self, event: QKeyEvent) -> bool:
        """Enter joins."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._join()
            return True
        return False
