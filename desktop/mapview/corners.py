"""Move, insert and take away corners of the chosen block; touching neighbours go along."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPen,
)
from shapely.geometry.base import BaseGeometry

from desktop import theme
from desktop.mapview.handtool import HIT_PX, Place, Tool, paint_handle, paint_words, size_words
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
from desktop.mapview.snapping import Snap, blocks_touching, paint_snap
from desktop.wording import tr
from waterbudget.outlines import bench, sides

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas
    from desktop.mapview.overlay import MapBlock

Moved = Callable[[int, list[tuple[Place, Place]]], object]

MANY = 5000
"""Corners of a ring beyond which nothing is worked out at every step of a drag."""
MOST_HANDLES = 1500
MOST_NUMBERS = 60
"""An outline with more corners carries no numbers on the map; the table has them."""


class CornerTool(Tool):
    """Move, insert and take away corners of the chosen block.

    Parameters
    ----------
    moved : callable, optional
        Gets the block and the moves (from, to) [m] where touching neighbours go along; without
        it every change goes out as the block's own new outline.

    Attributes
    ----------
    changed : bool
        The corners in hand are not as they are stored.
    together : bool
        Corners of touching neighbours move along.
    """

    cursor = Qt.CursorShape.ArrowCursor
    hides_chosen = True
    boxes = True

    def __init__(self, canvas: MapCanvas, moved: Moved | None = None) -> None:
        super().__init__(canvas)
        self.parts: list[list[Points]] = []
        self.current: Corner | None = None
        self.together = moved is not None
        self._moved = moved
        self._dragging = False
        self.changed = False
        self._snap: Snap | None = None
        self._was: dict[Corner, Place] = {}
        self._with: list[MapBlock] = []
        self._kept: tuple[dict[Corner, Place], list[MapBlock]] = ({}, [])
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
        self._was, self._with = {}, []
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
        if away * self.canvas.camera.scale <= HIT_PX:
            self.current, self._dragging = corner, True
            self.canvas.update()
            return True
        return False

    def move(self, event: QMouseEvent) -> bool:
        """Drag the corner that is held."""
        if not self._dragging or self.current is None:
            return False
        own = self.canvas.selected
        leave = {*([own] if own is not None else []), *(b.id for b in self._with)}
        at, self._snap = self.caught(event.position(), event, leave)
        self._put(at)
        return True

    def _put(self, at: tuple[float, float]) -> None:
        assert self.current is not None
        ring = self.parts[self.current.part][self.current.ring]
        if self.current not in self._was:
            before = (float(ring[self.current.place][0]), float(ring[self.current.place][1]))
            self._was[self.current] = before
            if self.together:
                own = self.canvas.selected
                self._with += [b for b in blocks_touching(self.canvas, before) if b.id != own]
        ring[self.current.place] = at
        self.changed = True
        self.canvas.mark_wrong(crossing(ring) if len(ring) <= MANY else None)
        self.canvas.hinted.emit(self._moving_hint())
        self.canvas.update()

    def _moving_hint(self) -> str:
        many = sum(len(ring) for rings in self.parts for ring in rings) > MANY
        words = [] if many else [size_words(self.size()) + "."]
        if self._snap is not None:
            words.append(self._snap.words())
        if self._with:
            names = ", ".join(dict.fromkeys(b.name for b in self._with))
            words.append(tr("Moves along: {0}; Alt at the end leaves them.").format(names))
        return " ".join(words)

    def size(self) -> sides.Size:
        """Return the size of the outline as it is in hand."""
        return sides.size_of(self.outline(), self.canvas.epsg)

    def release(self, event: QMouseEvent) -> bool:
        """Keep a dragged corner; a click elsewhere is the map's."""
        held, self._dragging = self._dragging, False
        self._snap = None
        if event.modifiers() & Qt.KeyboardModifier.AltModifier:
            self._with = []
        if held and self.changed:
            self.keep()
        return held

    def put_corner(self, corner: Corner, at: Place) -> None:
        """Move one corner, as the table asks, and keep it."""
        self.current, self._snap = corner, None
        self._put(at)
        self.keep()

    def insert_after(self, corner: Corner) -> None:
        """Set a new corner in the middle of the side that follows a corner."""
        self.current = corner
        self._insert_after()

    def take_away(self, corner: Corner) -> None:
        """Take a corner away."""
        self.current = corner
        self._take_away()

    def double(self, event: QMouseEvent) -> bool:
        """Set a new corner on the edge that was clicked."""
        if not self.parts:
            return False
        x, y = self.canvas.camera.to_ground(event.position())
        corner, spot, away = nearest_edge(self.parts, x, y)
        if away * self.canvas.camera.scale > HIT_PX:
            return False
        self._insert(corner, spot)
        return True

    def wants_undo(self) -> bool:
        """Undo means the corners in hand while they are not stored."""
        return self.changed

    def key(self, event: QKeyEvent) -> bool:
        """Walk along the corners, nudge, insert, take away."""
        if not self.parts:
            return False
        key = Qt.Key(event.key())
        nudges = {
            Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0),
            Qt.Key.Key_Up: (0, 1), Qt.Key.Key_Down: (0, -1),
        }  # fmt: skip
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            if key != Qt.Key.Key_Z or not self.changed:
                return False
            self.canvas.mark_wrong(None)
            self.reload()
        elif key in (Qt.Key.Key_N, Qt.Key.Key_B):
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
        self._was, self._with = {}, []
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
        self._was, self._with = {}, []
        rings[self.current.ring] = np.delete(
            rings[self.current.ring], self.current.place, axis=0
        )  # fmt: skip
        at = self.current.place % len(rings[self.current.ring])
        self.current = Corner(self.current.part, self.current.ring, at)
        self.keep()

    def moves(self) -> list[tuple[Place, Place]]:
        """Return which corners were moved since they were stored: from where, to where [m]."""
        found = []
        for corner, was in self._was.items():
            spot = self.parts[corner.part][corner.ring][corner.place]
            found.append((was, (float(spot[0]), float(spot[1]))))
        return found

    def outline(self) -> BaseGeometry:
        """Return the outline as it is in hand."""
        return outline_of(self.parts)

    def keep(self) -> None:
        """Hand the changed outline on; where neighbours go along, the moves."""
        self.changed = False
        own, moves = self.canvas.selected, self.moves()
        along = bool(self._with) and self._moved is not None
        self._kept = (self._was, self._with)
        self._was, self._with = {}, []
        if own is not None and along and self._moved is not None:
            self._moved(own, moves)
        elif own is not None:
            self.canvas.reshaped.emit(own, self.outline())
        self.canvas.update()

    def not_kept(self) -> None:
        """Hear that what was handed on is not stored: it stays in hand."""
        self.changed = True
        self._was, self._with = self._kept

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
        self._paint_along(painter)
        self._paint_handles(painter)
        if self.parts:
            paint_numbers(painter, self.canvas, self.parts[0][0])
        if self._snap is not None and self.current is not None:
            ring = self.parts[self.current.part][self.current.ring]
            on = camera.to_screen(*ring[self.current.place])
            paint_snap(painter, on, self._snap.kind)

    def _paint_handles(self, painter: QPainter) -> None:
        """Paint a handle on every corner in sight; of very many only the marked one."""
        camera = self.canvas.camera
        seen = []
        for p, rings in enumerate(self.parts):
            for r, ring in enumerate(rings):
                at = camera.many_to_screen(ring)
                inside = ((at > -10) & (at < [camera.width + 10, camera.height + 10])).all(axis=1)
                seen += [(Corner(p, r, int(k)), at[k]) for k in np.flatnonzero(inside)]
        few = len(seen) <= MOST_HANDLES
        for corner, (x, y) in seen if few else [s for s in seen if s[0] == self.current]:
            paint_handle(painter, QPointF(x, y), current=self.current == corner)
        if not few:
            middle = QPointF(self.canvas.width() / 2, self.canvas.height() / 2)
            words = tr("Come nearer to see the corners.")
            paint_words(painter, middle, words, QRectF(self.canvas.rect()))

    def _paint_along(self, painter: QPainter) -> None:
        """Paint the neighbours that go along as they will be."""
        transform = self.canvas.camera.transform
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(theme.colours().link), 1.5, Qt.PenStyle.DashLine))
        moves = self.moves() if self._with else []
        for block in {b.id: b for b in self._with}.values():
            for ring in bench.rings_of(block.outline) if block.outline is not None else []:
                for was, to in moves:
                    ring = bench.moved_ring(ring, was, to)
                painter.drawPolygon(transform.map(polygon_of(ring)))


def paint_numbers(painter: QPainter, canvas: MapCanvas, ring: Points) -> None:
    """Write the numbers of the corners beside them, where there is room for that."""
    if not 0 < len(ring) <= MOST_NUMBERS:
        return
    at = canvas.camera.many_to_screen(ring)
    middle = at.mean(axis=0)
    font = theme.font(theme.SMALL)
    metrics = QFontMetricsF(font)
    painter.setFont(font)
    taken: list[QRectF] = []
    for k, spot in enumerate(at):
        away = spot - middle
        length = float(np.hypot(*away)) or 1.0
        x, y = spot + away / length * 15.0
        words = str(k + 1)
        wide = metrics.horizontalAdvance(words) + 6
        box = QRectF(x - wide / 2, y - 8, wide, 16)
        if any(box.intersects(other) for other in taken):
            continue
        taken.append(box)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.colours().plate))
        painter.drawRoundedRect(box, 3, 3)
        painter.setPen(QColor(theme.colours().ink))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
