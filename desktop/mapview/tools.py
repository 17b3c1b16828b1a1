"""Hand tools of the map: draw an outline corner by corner, move, insert and take away corners.

A tool gets mouse and keys before the map does and paints itself on top.  It stores nothing: it
hands a finished outline to the canvas, whose owner asks the core.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPen
from shapely.geometry import Polygon

from desktop import theme
from desktop.mapview.shapes import (
    Corner,
    Points,
    crossing,
    nearest_corner,
    nearest_edge,
    outline_of,
    polygon_of,
    rings_of,
)
from desktop.wording import fixed, tr
from waterbudget import outlines

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas

CATCH_PX = 9.0
HANDLE_PX = 8.0
CLOSE_PX = 11.0


class Tool:
    """Base of the hand tools."""

    cursor = Qt.CursorShape.CrossCursor
    hides_chosen = False

    def __init__(self, canvas: MapCanvas) -> None:
        self.canvas = canvas

    def hint(self) -> str:
        """Return what to do next."""
        return ""

    def press(self, event: QMouseEvent) -> bool:
        """Take a press of the left button; True where it is used up."""
        return False

    def move(self, event: QMouseEvent) -> bool:
        """Follow the mouse; True where the map must not be dragged."""
        return False

    def release(self, event: QMouseEvent) -> bool:
        """Take a click or the end of a drag; True where it is used up."""
        return False

    def double(self, event: QMouseEvent) -> bool:
        """Take a double click."""
        return False

    def key(self, event: QKeyEvent) -> bool:
        """Take a key; True where it is used up."""
        return False

    def paint(self, painter: QPainter) -> None:
        """Paint what is live."""

    def selected(self, block_id: int | None) -> None:
        """Hear that another block was chosen."""

    def leave(self) -> None:
        """Hear that the tool is put down."""

    def caught(self, at: QPointF, event: QMouseEvent) -> tuple[tuple[float, float], bool]:
        """Return the point of the ground meant, and whether a corner nearby was caught.

        Corners of other outlines pull within a few pixels, so neighbours can share an edge;
        Alt holds that off.
        """
        ground = self.canvas.camera.to_ground(at)
        if event.modifiers() & Qt.KeyboardModifier.AltModifier:
            return ground, False
        corners = self.canvas.corners()
        if not len(corners):
            return ground, False
        gaps = np.hypot(corners[:, 0] - ground[0], corners[:, 1] - ground[1])
        k = int(gaps.argmin())
        if gaps[k] * self.canvas.camera.scale <= CATCH_PX:
            return (float(corners[k, 0]), float(corners[k, 1])), True
        return ground, False


class DrawTool(Tool):
    """Draw a new outline: click corner by corner."""

    def __init__(self, canvas: MapCanvas) -> None:
        super().__init__(canvas)
        self.points: list[tuple[float, float]] = []
        self._at: tuple[float, float] | None = None
        self._caught = False
        self._by_keys = False

    def hint(self) -> str:
        """Return what to do next, and the area so far."""
        n = len(self.points)
        if n == 0:
            return tr("Click the first corner.")
        keys = tr("Backspace takes the last one back, Esc gives up.")
        if n < 3:
            return tr("Click corner by corner.") + " " + keys
        area = tr("{0} ha so far.").format(fixed(self.hectares(), 2))
        return area + " " + tr("Enter or a double click closes it.") + " " + keys

    def hectares(self) -> float:
        """Return the area of the corners so far, the pointer's included [ha]."""
        points = [*self.points, *([self._at] if self._at is not None else [])]
        if len(points) < 3:
            return 0.0
        return outlines.area_ha(Polygon(points), self.canvas.epsg)

    def crossing(self) -> tuple[float, float] | None:
        """Return where the edges drawn so far cross each other."""
        return crossing(np.array(self.points), closed=False) if len(self.points) > 3 else None

    def move(self, event: QMouseEvent) -> bool:
        """Let the last edge follow the pointer; the ground moves with the middle button."""
        self._at, self._caught = self.caught(event.position(), event)
        self._by_keys = False
        self.canvas.hinted.emit(self.hint())
        self.canvas.update()
        return not event.buttons() & Qt.MouseButton.MiddleButton

    def release(self, event: QMouseEvent) -> bool:
        """Set a corner; a click on the first one closes the outline."""
        at, _ = self.caught(event.position(), event)
        camera = self.canvas.camera
        if len(self.points) >= 3:
            first = camera.to_screen(*self.points[0])
            gap = event.position() - first
            if np.hypot(gap.x(), gap.y()) <= CLOSE_PX:
                self.close()
                return True
        if not self.points or self.points[-1] != at:
            self.points.append(at)
        self._say()
        return True

    def double(self, event: QMouseEvent) -> bool:
        """Close (the first click of the two has set the last corner)."""
        self.close()
        return True

    def key(self, event: QKeyEvent) -> bool:
        """Close, take back, give up; without a mouse Space sets a corner in the middle."""
        key = event.key()
        if key == Qt.Key.Key_Space:
            self._by_keys, self._at = True, None
            self.points.append((self.canvas.camera.x, self.canvas.camera.y))
            self._say()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.close()
        elif key == Qt.Key.Key_Backspace:
            if self.points:
                self.points.pop()
            self._say()
        elif key == Qt.Key.Key_Escape and self.points:
            self.points.clear()
            self._say()
        else:
            return False
        return True

    def close(self) -> None:
        """Hand the outline on where it has three corners."""
        if len(self.points) < 3:
            self.canvas.hinted.emit(tr("An outline needs three corners at least."))
            return
        self.canvas.drawn.emit(Polygon(self.points))

    def _say(self) -> None:
        self.canvas.mark_wrong(self.crossing())
        self.canvas.hinted.emit(self.hint())
        self.canvas.update()

    def leave(self) -> None:
        """Forget what was begun."""
        self.points.clear()

    def paint(self, painter: QPainter) -> None:
        """Paint edges, corners, and the edge that follows the pointer."""
        colours, camera = theme.colours(), self.canvas.camera
        corners = [camera.to_screen(*p) for p in self.points]
        live = camera.to_screen(*self._at) if self._at is not None else None
        ends = [*corners, *([live] if live is not None else [])]
        if len(ends) >= 3:
            ground = QColor(colours.link)
            ground.setAlpha(36)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(ground)
            painter.drawPolygon(polygon_of([(p.x(), p.y()) for p in ends]))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(colours.link), 2.0))
        painter.drawPolyline(polygon_of([(p.x(), p.y()) for p in corners]))
        if live is not None and corners:
            painter.setPen(QPen(QColor(colours.link), 1.5, Qt.PenStyle.DashLine))
            painter.drawLine(corners[-1], live)
            if len(corners) >= 2:
                painter.drawLine(live, corners[0])
        for k, corner in enumerate(corners):
            paint_handle(painter, corner, first=k == 0)
        if self._by_keys:
            _paint_catch(painter, QPointF(self.canvas.width() / 2, self.canvas.height() / 2))
        if self._caught and live is not None:
            _paint_catch(painter, live)


class CornerTool(Tool):
    """Move, insert and take away corners of the chosen block.

    Attributes
    ----------
    changed : bool
        The corners in hand are not as they are stored.
    """

    cursor = Qt.CursorShape.ArrowCursor
    hides_chosen = True

    def __init__(self, canvas: MapCanvas) -> None:
        super().__init__(canvas)
        self.parts: list[list[Points]] = []
        self.current: Corner | None = None
        self._dragging = False
        self.changed = False
        self._caught = False
        self.selected(canvas.selected)

    def hint(self) -> str:
        """Return what can be done."""
        if not self.parts:
            return tr("Click a block to move its corners, or draw a new one.")
        return tr(
            "Drag a corner. A double click on an edge, or Insert, sets a new one; Delete takes "
            "the marked one away; arrows nudge it, Enter keeps it, Esc puts it back."
        )

    def selected(self, block_id: int | None) -> None:
        """Take up another block's corners."""
        self._load()
        self.canvas.hinted.emit(self.hint())

    def reload(self) -> None:
        """Take the corners up as they are stored."""
        self._load()
        self.canvas.update()

    def _load(self) -> None:
        shape = self.canvas.shape(self.canvas.selected)
        self.parts = rings_of(shape.outline) if shape is not None else []
        self.changed = self._dragging = False
        if self.current is not None and not self._has(self.current):
            self.current = None

    def _has(self, corner: Corner) -> bool:
        return (
            corner.part < len(self.parts)
            and corner.ring < len(self.parts[corner.part])
            and corner.place < len(self.parts[corner.part][corner.ring])
        )

    def press(self, event: QMouseEvent) -> bool:
        """Take hold of a corner."""
        self._dragging = False
        if not self.parts:
            return False
        x, y = self.canvas.camera.to_ground(event.position())
        corner, away = nearest_corner(self.parts, x, y)
        if away * self.canvas.camera.scale <= CATCH_PX:
            self.current, self._dragging = corner, True
            self.canvas.update()
            return True
        return False

    def move(self, event: QMouseEvent) -> bool:
        """Drag the corner that is held."""
        if not self._dragging or self.current is None:
            return False
        at, self._caught = self.caught(event.position(), event)
        self._put(at)
        return True

    def _put(self, at: tuple[float, float]) -> None:
        assert self.current is not None
        ring = self.parts[self.current.part][self.current.ring]
        ring[self.current.place] = at
        self.changed = True
        self.canvas.mark_wrong(crossing(ring))
        area = outlines.area_ha(outline_of(self.parts), self.canvas.epsg)
        self.canvas.hinted.emit(tr("{0} ha").format(fixed(area, 2)))
        self.canvas.update()

    def release(self, event: QMouseEvent) -> bool:
        """Keep a dragged corner; a click elsewhere is the map's."""
        held, self._dragging = self._dragging, False
        self._caught = False
        if held and self.changed:
            self.keep()
        return held

    def double(self, event: QMouseEvent) -> bool:
        """Set a new corner on the edge that was clicked."""
        if not self.parts:
            return False
        x, y = self.canvas.camera.to_ground(event.position())
        corner, spot, away = nearest_edge(self.parts, x, y)
        if away * self.canvas.camera.scale > CATCH_PX:
            return False
        self._insert(corner, spot)
        return True

    def key(self, event: QKeyEvent) -> bool:
        """Walk along the corners, nudge, insert, take away."""
        if not self.parts:
            return False
        key = Qt.Key(event.key())
        nudges = {
            Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0),
            Qt.Key.Key_Up: (0, 1), Qt.Key.Key_Down: (0, -1),
        }  # fmt: skip
        if key in (Qt.Key.Key_N, Qt.Key.Key_B):
            self._walk(1 if key == Qt.Key.Key_N else -1)
        elif key == Qt.Key.Key_Insert:
            self._insert_after()
        elif key == Qt.Key.Key_Delete and self.current is not None:
            self._take_away()
        elif key in nudges and self.current is not None:
            fast = 10 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
            step = fast / self.canvas.camera.scale
            ring = self.parts[self.current.part][self.current.ring]
            x, y = ring[self.current.place]
            self._put((x + nudges[key][0] * step, y + nudges[key][1] * step))
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.changed:
            self.keep()
        elif key == Qt.Key.Key_Escape and (self.changed or self.current is not None):
            if not self.changed:
                self.current = None
            self.canvas.mark_wrong(None)
            self.reload()
        else:
            return False
        return True

    def _walk(self, step: int) -> None:
        order = [
            Corner(p, r, k)
            for p, rings in enumerate(self.parts)
            for r, ring in enumerate(rings)
            for k in range(len(ring))
        ]
        at = order.index(self.current) if self.current in order else (-1 if step > 0 else 0)
        self.current = order[(at + step) % len(order)]
        self.canvas.update()

    def _insert_after(self) -> None:
        corner = self.current or Corner(0, 0, 0)
        ring = self.parts[corner.part][corner.ring]
        middle = (ring[corner.place] + ring[(corner.place + 1) % len(ring)]) / 2
        self._insert(corner, (float(middle[0]), float(middle[1])))

    def _insert(self, after: Corner, spot: tuple[float, float]) -> None:
        rings = self.parts[after.part]
        rings[after.ring] = np.insert(rings[after.ring], after.place + 1, spot, axis=0)
        self.current = Corner(after.part, after.ring, after.place + 1)
        self.keep()

    def _take_away(self) -> None:
        assert self.current is not None
        rings = self.parts[self.current.part]
        if len(rings[self.current.ring]) <= 3:
            self.canvas.hinted.emit(tr("Three corners are the least; delete the block instead."))
            return
        rings[self.current.ring] = np.delete(
            rings[self.current.ring], self.current.place, axis=0
        )  # fmt: skip
        at = self.current.place % len(rings[self.current.ring])
        self.current = Corner(self.current.part, self.current.ring, at)
        self.keep()

    def keep(self) -> None:
        """Hand the changed outline on."""
        self.changed = False
        if self.canvas.selected is not None:
            self.canvas.reshaped.emit(self.canvas.selected, outline_of(self.parts))
        self.canvas.update()

    def paint(self, painter: QPainter) -> None:
        """Paint the outline as it is now, with a handle on every corner."""
        colours, camera = theme.colours(), self.canvas.camera
        transform = camera.transform
        path = QPainterPath()
        for rings in self.parts:
            for ring in rings:
                path.addPolygon(transform.map(polygon_of(ring)))
                path.closeSubpath()
        ground = QColor(colours.link)
        ground.setAlpha(36)
        painter.setBrush(ground)
        painter.setPen(QPen(QColor(colours.link), 2.0))
        painter.drawPath(path)
        for p, rings in enumerate(self.parts):
            for r, ring in enumerate(rings):
                for k, spot in enumerate(ring):
                    on = camera.to_screen(*spot)
                    paint_handle(painter, on, current=self.current == Corner(p, r, k))
        if self._caught and self.current is not None:
            ring = self.parts[self.current.part][self.current.ring]
            _paint_catch(painter, camera.to_screen(*ring[self.current.place]))


def paint_handle(
    painter: QPainter, at: QPointF, *, first: bool = False, current: bool = False
) -> None:
    """Paint the square by which a corner is held."""
    colours = theme.colours()
    half = HANDLE_PX / 2 + (1.5 if first or current else 0)
    painter.setPen(QPen(QColor(colours.link), 1.5))
    painter.setBrush(QColor(colours.link if current else colours.paper))
    painter.drawRect(QRectF(at.x() - half, at.y() - half, 2 * half, 2 * half))


def _paint_catch(painter: QPainter, at: QPointF) -> None:
    painter.setPen(QPen(QColor(theme.colours().ink), 1.5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(at, 9, 9)
