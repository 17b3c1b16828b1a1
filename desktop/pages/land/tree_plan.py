"""The trees of a block seen from above, and the dial that turns their rows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPolygonF,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.mapview.canvas import MapCanvas
from desktop.wording import tr

if TYPE_CHECKING:
    from waterbudget.actions import SetOut

NEAR_PX = 14.0
"""How far from a tree a click may be."""
DOT = (1.0, 4.0)


class TreesOnMap:
    """The same trees on the large map, over the block they stand in."""

    def __init__(self, canvas: MapCanvas) -> None:
        self._canvas = canvas
        self._made: SetOut | None = None

    def show_trees(self, made: SetOut | None) -> None:
        """Lay a block's trees over the map; None takes them away."""
        self._made = made
        self._canvas.lay_over(None if made is None else self._paint)

    def _paint(self, painter: QPainter) -> None:
        if self._made is None:
            return
        p, camera, c = self._made.planting, self._canvas.camera, theme.colours()
        at = camera.many_to_screen(np.column_stack([p.x, p.y]))
        seen = (at >= -9).all(axis=1) & (at <= (camera.width + 9, camera.height + 9)).all(axis=1)
        wide = min(max(p.layout.spacing_m * camera.scale * 0.55, 1.5), 9.0)
        dots = QPolygonF([QPointF(x, y) for x, y in at[seen].tolist()])
        for colour, more in ((c.paper, 1.5), (c.ink, 0.0)):
            painter.setPen(QPen(QColor(colour), wide + more, c=Qt.PenCapStyle.RoundCap))
            painter.drawPoints(dots)


class TreePlan(QWidget):
    """Outline, ground without trees, trees; north up.  A click or the arrow keys choose a tree.

    Signals
    -------
    picked(int, int)
        Row and number of the tree chosen.
    """

    picked = Signal(int, int)

    def __init__(self) -> None:
        super().__init__()
        self.made: SetOut | None = None
        self.chosen: tuple[int, int] | None = None
        self._bare: list[tuple[Any, float]] = []
        self.setMinimumSize(200, 190)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(tr("Plan of the trees"))
        theme.watch().changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """A small plan."""
        return QSize(330, 230)

    def show_trees(self, made: SetOut | None, bare: list[tuple[Any, float]] | None = None) -> None:
        """Show a block's trees.

        Parameters
        ----------
        bare : list of (shape, width)
            Roads, rocks and water with the width kept free [m].
        """
        self.made, self._bare = made, bare or []
        if made is None or (self.chosen and made.planting.at(*self.chosen) is None):
            self.chosen = None
        self.update()

    def choose(self, row: int, number: int) -> None:
        """Mark one tree as chosen, without telling."""
        there = self.made is not None and self.made.planting.at(row, number) is not None
        self.chosen = (row, number) if there else None
        self.update()

    # -- where things are -----------------------------------------------------------------

    def _camera(self) -> tuple[float, float, float]:
        """Return east and north of the upper left corner, and pixels a metre."""
        assert self.made is not None and self.made.block.outline is not None
        x0, y0, x1, y1 = self.made.block.outline.bounds
        room = QRectF(self.rect()).adjusted(8, 8, -8, -8)
        size = min(room.width() / max(x1 - x0, 1.0), room.height() / max(y1 - y0, 1.0))
        return ((x0 + x1) / 2 - room.center().x() / size,
                (y0 + y1) / 2 + room.center().y() / size, size)  # fmt: skip

    def points(self) -> np.ndarray:
        """Return the pixels of the trees, shape (trees, 2)."""
        assert self.made is not None
        left, top, size = self._camera()
        p = self.made.planting
        return np.column_stack([(p.x - left) * size, (top - p.y) * size])

    def place_of(self, row: int, number: int) -> QPointF:
        """Return the pixel of a tree."""
        assert self.made is not None
        at = self.made.planting.at(row, number)
        assert at is not None
        x, y = self.points()[at]
        return QPointF(float(x), float(y))

    # -- choosing -----------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose the tree under the pointer."""
        if self.made is None or event.button() != Qt.MouseButton.LeftButton:
            return
        at = event.position()
        apart = np.hypot(*(self.points() - (at.x(), at.y())).T)
        best = int(apart.argmin())
        if apart[best] <= NEAR_PX:
            self._pick(best)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and right go along the row, up and down to the neighbouring rows."""
        step = {
            Qt.Key.Key_Left: (0, -1), Qt.Key.Key_Right: (0, 1), Qt.Key.Key_Up: (-1, 0),
            Qt.Key.Key_Down: (1, 0),
        }.get(Qt.Key(event.key()))  # fmt: skip
        if step is None or self.made is None:
            super().keyPressEvent(event)
            return
        p = self.made.planting
        row, number = self.chosen or (1, 0 if step[1] else 1)
        row = min(max(row + step[0], 1), p.rows)
        number = min(max(number + step[1], 1), int(p.in_row[row - 1]))
        at = p.at(row, number)
        assert at is not None
        self._pick(at)

    def _pick(self, at: int) -> None:
        assert self.made is not None
        p = self.made.planting
        self.chosen = (int(p.row[at]), int(p.number[at]))
        self.update()
        self.picked.emit(*self.chosen)

    # -- drawing ------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Ground, roads, trees, marks."""
        if self.made is None or self.made.block.outline is None:
            return
        c = theme.colours()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        left, top, size = self._camera()
        ground = _path(self.made.block.outline, left, top, size)
        painter.fillPath(ground, QColor(c.card))
        painter.save()
        painter.setClipPath(ground)
        for shape, width in self._bare:
            if width > 0:
                shape = shape.buffer(width / 2)
            path = _path(shape, left, top, size)
            painter.fillPath(path, theme.hatch("missing", c.quiet, self.devicePixelRatioF()))
            painter.setPen(QPen(QColor(c.quiet), 1))
            painter.drawPath(path)
        painter.restore()
        painter.setPen(QPen(QColor(c.edge), 1.2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(ground)
        self._paint_trees(painter, size)
        if self.hasFocus():
            painter.setPen(QPen(QColor(c.link), 1.5))
            painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))

    def _paint_trees(self, painter: QPainter, size: float) -> None:
        assert self.made is not None
        c, p, marks = theme.colours(), self.made.planting, self.made.marks
        xy = self.points()
        dot = min(max(0.28 * p.plan_spacing_m * size, DOT[0]), DOT[1])
        states = {at: mark.state for (row, number), mark in marks.items()
                  if (at := p.at(row, number)) is not None}  # fmt: skip
        plain = np.ones(len(xy), dtype=bool)
        plain[list(states)] = False
        painter.setPen(QPen(QColor(c.ink), 2 * dot, Qt.PenStyle.SolidLine,
                            Qt.PenCapStyle.RoundCap))  # fmt: skip
        painter.drawPoints([QPointF(x, y) for x, y in xy[plain].tolist()])
        reach = max(dot, 3.0)
        for at, state in states.items():
            x, y = xy[at].tolist()
            painter.setPen(QPen(QColor(c.wrong if state in ("missing", "rock") else c.link), 1.6))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            if state in ("missing", "rock"):
                painter.drawLine(QPointF(x - reach, y - reach), QPointF(x + reach, y + reach))
                painter.drawLine(QPointF(x - reach, y + reach), QPointF(x + reach, y - reach))
            else:
                painter.drawEllipse(QPointF(x, y), reach, reach)
        if self.chosen is not None:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(c.link), 2))
            painter.drawEllipse(self.place_of(*self.chosen), reach + 4, reach + 4)


def _path(shape: Any, left: float, top: float, size: float) -> QPainterPath:
    """Return polygons or lines as a path of pixels."""
    path = QPainterPath()
    for part in getattr(shape, "geoms", [shape]):
        rings = (part.exterior, *part.interiors) if hasattr(part, "exterior") else (part,)
        for ring in rings:
            path.addPolygon(QPolygonF([
                QPointF((x - left) * size, (top - y) * size) for x, y, *_ in ring.coords
            ]))  # fmt: skip
    return path


class RowDial(QWidget):
    """A round with lines as the rows lie, north up: turn it with the mouse or the arrow keys.

    Signals
    -------
    turned(float)
        Bearing while it is turned [degrees, 0 to 360].
    """

    turned = Signal(float)

    def __init__(self) -> None:
        super().__init__()
        self.bearing = 0.0
        self.setFixedSize(72, 72)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self.setAccessibleName(tr("Direction of the rows: turn with the arrow keys"))
        theme.watch().changed.connect(self.update)

    def set_bearing(self, degrees: float) -> None:
        """Show a bearing without telling."""
        self.bearing = degrees % 360.0
        self.update()

    def _turn(self, degrees: float) -> None:
        self.set_bearing(degrees)
        self.turned.emit(self.bearing)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Turn to the pointer."""
        self._to(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow the pointer."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._to(event)

    def _to(self, event: QMouseEvent) -> None:
        middle = QRectF(self.rect()).center()
        dx, dy = event.position().x() - middle.x(), middle.y() - event.position().y()
        if math.hypot(dx, dy) > 4:
            self._turn(round(math.degrees(math.atan2(dx, dy))))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrow keys turn by one degree, with Shift by fifteen."""
        step = {Qt.Key.Key_Left: -1, Qt.Key.Key_Down: -1, Qt.Key.Key_Right: 1,
                Qt.Key.Key_Up: 1}.get(Qt.Key(event.key()))  # fmt: skip
        if step is None:
            super().keyPressEvent(event)
            return
        wide = 15 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
        self._turn(round(self.bearing) + step * wide)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The rim with a mark at north, five rows, and a grip at their end."""
        c = theme.colours()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        middle, reach = QRectF(self.rect()).center(), self.width() / 2 - 6
        painter.setPen(QPen(QColor(c.link if self.hasFocus() else c.quiet), 1.5))
        painter.setBrush(QColor(c.card))
        painter.drawEllipse(middle, reach, reach)
        painter.drawLine(middle + QPointF(0, -reach), middle + QPointF(0, -reach - 5))
        angle = math.radians(self.bearing)
        along = QPointF(math.sin(angle), -math.cos(angle))
        across = QPointF(math.cos(angle), math.sin(angle))
        painter.setPen(QPen(QColor(c.ink), 1.4))
        for i in range(-2, 3):
            v = i * reach / 3
            half = math.sqrt(max(reach**2 - v**2, 0.0)) * 0.86
            painter.drawLine(middle + across * v - along * half, middle + across * v + along * half)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(c.link))
        painter.drawEllipse(middle + along * reach, 4.5, 4.5)
