"""A line set corner by corner: what drawing, cutting and measuring have in common.

Corners come by clicks, by a drag (freehand), by typed length and bearing, along a neighbour's
edge, from the keyboard, or from the table beside the map.  Backspace takes the last step back,
Ctrl+Shift+Z sets it again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from desktop import theme
from desktop.mapview.handtool import (
    CLOSE_PX,
    Place,
    Tool,
    paint_handle,
    paint_words,
    side_words,
)
from desktop.mapview.shapes import crossing, polygon_of
from desktop.mapview.snapping import Snap, blocks_touching, paint_snap, snap
from desktop.wording import say, tr
from waterbudget.errors import Refused
from waterbudget.outlines import bench, sides

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas

DRAG_PX = 7.0
"""A press that moves further than this draws freehand."""
FREE_STEP_PX = 3.0
FREE_KEEP_PX = 1.5
"""A freehand line keeps its shape to this much when it is made plainer."""


class PathTool(Tool):
    """Set corners one after the other.

    Attributes
    ----------
    points : list of tuple of float
        The corners so far [m].
    following : bool
        The next click goes along a neighbour's edge.
    other_way : bool
        ... the longer way round.
    changed : callable
        Called after every change of the corners.
    """

    closed = True
    least = 3
    double_ends = True

    def __init__(self, canvas: MapCanvas) -> None:
        super().__init__(canvas)
        self.points: list[Place] = []
        self.following = self.other_way = False
        self.changed: Callable[[], object] = lambda: None
        self._at: Place | None = None
        self._snap: Snap | None = None
        self._by_keys = False
        self._pressed: QPointF | None = None
        self._free: list[Place] = []
        self._steps: list[int] = []
        self._undone: list[list[Place]] = []

    # -- what subclasses say and do -----------------------------------------------------------

    def finish(self) -> None:
        """Hand on what was set."""

    def too_few(self) -> str:
        """Return what is said where there are too few corners to finish."""
        return tr("An outline needs three corners at least.")

    # -- corners --------------------------------------------------------------------------------

    def add(self, places: Sequence[Place]) -> None:
        """Set corners, as one step that can be taken back."""
        new = [p for k, p in enumerate(places) if p != (places[k - 1] if k else self._last())]
        if not new:
            return
        self.points += new
        self._steps.append(len(new))
        self._undone.clear()
        self._say()

    def _last(self) -> Place | None:
        return self.points[-1] if self.points else None

    def put(self, points: Sequence[Place]) -> None:
        """Take these corners in place of those set so far (from the table)."""
        self.points = list(points)
        self._steps = [1] * len(self.points)
        self._undone.clear()
        self._say()

    def take_back(self) -> None:
        """Take the last step back."""
        if not self.points:
            return
        n = min(self._steps.pop() if self._steps else 1, len(self.points))
        self._undone.append(self.points[-n:])
        del self.points[-n:]
        self._say()

    def set_again(self) -> None:
        """Set again what was taken back."""
        if self._undone:
            again = self._undone.pop()
            self.points += again
            self._steps.append(len(again))
            self._say()

    def add_side(self, length_m: float, bearing_deg: float, north: str = "true") -> None:
        """Set a corner by the side that leads to it from the last one.

        Raises
        ------
        Refused
            As :func:`waterbudget.outlines.sides.corner_from`, and ``bench.no_first_corner``.
        """
        if not self.points:
            raise Refused("bench.no_first_corner")
        self.add(
            [sides.corner_from(self.points[-1], length_m, bearing_deg, self.canvas.epsg, north)]
        )

    def crossing(self) -> Place | None:
        """Return where the edges drawn so far cross each other."""
        return crossing(np.array(self.points), closed=False) if len(self.points) > 3 else None

    # -- mouse ----------------------------------------------------------------------------------

    def press(self, event: QMouseEvent) -> bool:
        """Begin a click, or a line drawn freehand."""
        self._pressed, self._free = event.position(), []
        return True

    def move(self, event: QMouseEvent) -> bool:
        """Let the last edge follow the pointer; the ground moves with the middle button."""
        self._at, self._snap = self.caught(event.position(), event)
        self._by_keys = False
        if self._pressed is not None and event.buttons() & Qt.MouseButton.LeftButton:
            self._freehand(event.position())
        self.canvas.hinted.emit(self.hint())
        self.canvas.update()
        return not event.buttons() & Qt.MouseButton.MiddleButton

    def _freehand(self, at: QPointF) -> None:
        assert self._pressed is not None
        camera = self.canvas.camera
        if not self._free:
            gap = at - self._pressed
            if np.hypot(gap.x(), gap.y()) < DRAG_PX:
                return
            self._free = [self._place(self._pressed)]
        here = camera.to_ground(at)
        last = self._free[-1]
        if np.hypot(here[0] - last[0], here[1] - last[1]) * camera.scale >= FREE_STEP_PX:
            self._free.append(here)

    def _place(self, at: QPointF) -> Place:
        ground = self.canvas.camera.to_ground(at)
        found = snap(self.canvas, ground)
        return ground if found is None else found.at

    def release(self, event: QMouseEvent) -> bool:
        """Set a corner, or what was drawn freehand; a click on the first one closes."""
        at, found = self.caught(event.position(), event)
        self._pressed = None
        if self._free:
            self._keep_free(at)
            return True
        if self.closed and len(self.points) >= self.least:
            gap = event.position() - self.canvas.camera.to_screen(*self.points[0])
            if np.hypot(gap.x(), gap.y()) <= CLOSE_PX:
                self.end()
                return True
        if self.following and self._follow(at, found):
            return True
        self.add([at])
        return True

    def _keep_free(self, at: Place) -> None:
        line, self._free = [*self._free, at], []
        plain = LineString(line).simplify(FREE_KEEP_PX / self.canvas.camera.scale)
        self.add([(float(x), float(y)) for x, y in shapely.get_coordinates(plain)])

    def _follow(self, at: Place, found: Snap | None) -> bool:
        """Go along a neighbour's edge; True where the click is used up."""
        if found is None:
            self.canvas.hinted.emit(tr("Click on the edge of a neighbour."))
            return True
        try:
            way = self._way(at)
        except Refused as fault:
            self.canvas.hinted.emit(say(fault))
            return True
        if way is None:
            return False  # the first click on the edge: a corner like any other
        self.add(way)
        return True

    def _way(self, at: Place) -> list[Place] | None:
        """Return the corners along the edge that runs through the last corner and this one."""
        if not self.points:
            return None
        ends = {b.id: b for b in blocks_touching(self.canvas, at)}
        both = [b for b in blocks_touching(self.canvas, self.points[-1]) if b.id in ends]
        if not both or both[0].outline is None:
            return None
        found = bench.follow(both[0].outline, self.points[-1], at, other_way=self.other_way)
        return [(float(x), float(y)) for x, y in found[1:]]

    def follow_corners(self, outline: BaseGeometry, first: int, second: int) -> None:
        """Go along an outline from one numbered corner to another (without the mouse).

        Raises
        ------
        Refused
            ``bench.corner_numbers``, or as :func:`waterbudget.outlines.bench.follow`.
        """
        line = bench.corner_line(outline, first, second)
        start, end = ((float(x), float(y)) for x, y in line.coords)
        way = bench.follow(outline, start, end, other_way=self.other_way)
        self.add([(float(x), float(y)) for x, y in way])

    def double(self, event: QMouseEvent) -> bool:
        """Finish (the first click of the two has set the last corner)."""
        self._pressed = None
        if self.double_ends:
            self.end()
        return True

    # -- keys -----------------------------------------------------------------------------------

    def wants_undo(self) -> bool:
        """Undo and redo mean corners while there are any."""
        return bool(self.points or self._undone)

    def key(self, event: QKeyEvent) -> bool:
        """Finish, take back, give up; without a mouse Space sets a corner in the middle."""
        key, held = event.key(), event.modifiers()
        control = bool(held & Qt.KeyboardModifier.ControlModifier)
        shift = bool(held & Qt.KeyboardModifier.ShiftModifier)
        if control and key == Qt.Key.Key_Z:
            self.set_again() if shift else self.take_back()
        elif control and key == Qt.Key.Key_Y:
            self.set_again()
        elif key == Qt.Key.Key_Space:
            self._by_keys, self._at = True, None
            camera = self.canvas.camera
            found = snap(self.canvas, (camera.x, camera.y))
            self.add([(camera.x, camera.y) if found is None else found.at])
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.end()
        elif key == Qt.Key.Key_Backspace:
            self.take_back()
        elif key == Qt.Key.Key_F and not control:
            self.set_following(not self.following)
        elif key == Qt.Key.Key_O and self.following:
            self.other_way = not self.other_way
            self._say()
        elif key == Qt.Key.Key_Escape and self.points:
            self.clear()
        else:
            return False
        return True

    def set_following(self, on: bool) -> None:
        """Go along neighbours' edges from here on, or in straight sides again."""
        self.following = on
        self._say()

    def clear(self) -> None:
        """Take all corners away."""
        self.points.clear()
        self._steps.clear()
        self._undone.clear()
        self._say()

    def end(self) -> None:
        """Finish where there are corners enough."""
        if len(self.points) < self.least:
            self.canvas.hinted.emit(self.too_few())
            return
        self.finish()

    def leave(self) -> None:
        """Forget what was begun."""
        self.points.clear()
        self._steps.clear()
        self._undone.clear()

    def _say(self) -> None:
        self.canvas.mark_wrong(self.crossing())
        self.canvas.hinted.emit(self.hint())
        self.canvas.update()
        self.changed()

    def keys_hint(self) -> str:
        """Return how steps are taken back."""
        return tr("Backspace takes the last one back, Esc gives up.")

    # -- painting -------------------------------------------------------------------------------

    def paint(self, painter: QPainter) -> None:
        """Paint edges, corners, and the edge that follows the pointer."""
        colours, camera = theme.colours(), self.canvas.camera
        corners = [camera.to_screen(*p) for p in self.points]
        free = [camera.to_screen(*p) for p in self._free]
        live = camera.to_screen(*self._at) if self._at is not None else None
        ahead = self._ahead(live)
        ends = [*corners, *free, *ahead]
        if self.closed and len(ends) >= 3:
            ground = QColor(colours.link)
            ground.setAlpha(36)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(ground)
            painter.drawPolygon(polygon_of([(p.x(), p.y()) for p in ends]))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(colours.link), 2.0))
        painter.drawPolyline(polygon_of([(p.x(), p.y()) for p in [*corners, *free]]))
        if ahead and corners and not free:
            painter.setPen(QPen(QColor(colours.link), 1.5, Qt.PenStyle.DashLine))
            painter.drawPolyline(polygon_of([(p.x(), p.y()) for p in [corners[-1], *ahead]]))
            if self.closed and len(corners) >= 2:
                painter.drawLine(ahead[-1], corners[0])
        for k, corner in enumerate(corners):
            paint_handle(painter, corner, first=k == 0)
        if self._by_keys:
            paint_snap(painter, QPointF(self.canvas.width() / 2, self.canvas.height() / 2))
        if self._snap is not None and live is not None:
            paint_snap(painter, live, self._snap.kind)
        self._paint_side(painter, live)

    def _ahead(self, live: QPointF | None) -> list[QPointF]:
        """Return where the next click would lead, in pixels."""
        if live is None or self._at is None:
            return []
        if self.following and self._snap is not None:
            try:
                way = self._way(self._at)
            except Refused:
                way = None
            if way:
                return [self.canvas.camera.to_screen(*p) for p in way]
        return [live]

    def _paint_side(self, painter: QPainter, live: QPointF | None) -> None:
        if live is None or not self.points or self._at is None or self._free:
            return
        length, bearing = sides.side(self.points[-1], self._at, self.canvas.epsg)
        if length > 0:
            paint_words(painter, live, side_words(length, bearing), QRectF(self.canvas.rect()))
