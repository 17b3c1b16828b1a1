"""The quiet drawing of the welcome page: an invented hill, its contours, a few blocks on it."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from desktop import theme

RINGS = 21
STEPS = 120
SMALLEST_WITH_PLATES = 430.0
"""Below this size the blocks are too small to carry a plate [px]."""

BLOCKS = (
    # level from, to, turn from, to, share of easy water (None: no data), name, days
    (0.32, 0.51, 0.315, 0.42, 0.4, "1", "2"),
    (0.32, 0.51, 0.19, 0.305, 0.6, "3", "4"),
    (0.32, 0.51, 0.10, 0.18, 0.9, "4", "5"),
    (0.535, 0.725, 0.20, 0.295, 0.6, "2", "3"),
    (0.535, 0.725, 0.125, 0.192, None, "", ""),
    (0.535, 0.725, 0.303, 0.385, None, "", ""),
    (0.75, 0.92, 0.205, 0.29, None, "", ""),
)
WISHED = ((0.75, 0.92, 0.14, 0.195), (0.32, 0.51, 0.03, 0.09), (0.535, 0.725, 0.06, 0.117))


class Ground:
    """The hill inside a rectangle: contours by level, 0 at the top and 1 at the foot."""

    def __init__(self, area: QRectF) -> None:
        self.size = min(area.width() * 0.80, area.height() * 0.95)
        self.x = area.left() + area.width() * 0.50
        self.y = area.top() + area.height() * 0.40

    def at(self, level: float, turn: float) -> QPointF:
        """Return a point of a contour, ``turn`` in shares of the way round."""
        a = 2 * math.pi * turn
        wave = (
            1
            + (0.14 - 0.07 * level) * math.sin(2 * a + 0.7 + level)
            + 0.07 * math.sin(3 * a - 1.1 + 1.8 * level)
            + 0.03 * math.sin(5 * a + 2.3 * level)
        )
        r = self.size * (0.06 + 0.56 * level) * wave
        return QPointF(
            self.x + 0.08 * self.size * level + 1.12 * r * math.cos(a),
            self.y + 0.05 * self.size * level + 0.78 * r * math.sin(a),
        )

    def ring(self, level: float) -> QPolygonF:
        """Return one contour."""
        return QPolygonF([self.at(level, i / STEPS) for i in range(STEPS + 1)])

    def block(self, low: float, high: float, start: float, end: float) -> QPainterPath:
        """Return the outline of a block that lies between two contours."""
        turns = [start + (end - start) * i / 14 for i in range(15)]
        upper = [self.at(low, t) for t in turns]
        lower = [self.at(high, t) for t in reversed(turns)]
        path = QPainterPath()
        path.addPolygon(QPolygonF([*upper, *lower]))
        path.closeSubpath()
        return path


class Hill(QWidget):
    """The drawing; nothing in it can be clicked.

    Attributes
    ----------
    from_x : int
        Where the hill's own part of the page begins; its contours may run further left.
    """

    def __init__(self) -> None:
        super().__init__()
        self.from_x = 0
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        theme.watch().changed.connect(self.update)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Contours fading outwards, blocks with and without data, three still to be walked."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ground = Ground(QRectF(self.from_x, 0, self.width() - self.from_x, self.height()))
        self._contours(painter, ground)
        c = theme.colours()
        painter.setBrush(Qt.BrushStyle.NoBrush)
        pen = QPen(QColor(c.quiet), 1)
        pen.setDashPattern([4, 4])
        painter.setPen(pen)
        for place in WISHED:
            painter.drawPath(ground.block(*place))
        for low, high, start, end, share, name, days in BLOCKS:
            path = ground.block(low, high, start, end)
            painter.fillPath(path, QColor(c.paper))
            theme.fill(painter, path, theme.easy_water(share), self.devicePixelRatioF())
            painter.setPen(QPen(QColor(c.edge), 1))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPath(path)
            if name and ground.size > SMALLEST_WITH_PLATES:
                _plate(painter, ground.at((low + high) / 2, (start + end) / 2), name, days)

    def _contours(self, painter: QPainter, ground: Ground) -> None:
        c = theme.colours()
        for i in range(RINGS):
            colour = QColor(c.line if not c.dark else c.contour)
            fade = max(0.0, (i - RINGS * 0.45) / (RINGS * 0.55))
            colour.setAlphaF(1.0 - 0.92 * fade)
            painter.setPen(QPen(colour, 1.6 if i % 5 == 3 else 1.0))
            painter.drawPolyline(ground.ring(i / (RINGS - 1) * 1.12))


def _plate(painter: QPainter, middle: QPointF, name: str, days: str) -> None:
    c = theme.colours()
    box = QRectF(middle.x() - 21, middle.y() - 19, 42, 38)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(c.plate))
    painter.drawRoundedRect(box, 2, 2)
    painter.setPen(QColor(c.ink))
    painter.setFont(theme.font(14, bold=True))
    centre = Qt.AlignmentFlag.AlignCenter
    painter.drawText(box.adjusted(0, 1, 0, -18), centre, name)
    painter.setFont(theme.font(theme.SMALL))
    painter.drawText(box.adjusted(0, 18, 0, -2), centre, f"{days} d")
