"""The whole cycle as a strip; the window of the chart above lies on it and can be dragged."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent, QPolygonF, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.charts.cycle import GUTTER, Window
from desktop.charts.cycle_paint import curve_points, limit_runs
from desktop.charts.ink import DayAxis, Letters, easy_ground, past_ink, pen, tint
from desktop.charts.ribbon import paint_ribbon
from desktop.models.cycle_view import CycleView
from desktop.wording import day_short, month, tr

RIBBON, CURVE, MONTHS, TICKS = 19.0, 36.0, 17.0, 8.0


class CycleStrip(Window):
    """The whole cycle, small."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._drag: tuple[float, float, float] | None = None
        self.setFixedHeight(int(TICKS + RIBBON + CURVE + MONTHS + 4))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(tr("The whole cycle; the frame is what the chart shows"))
        self.setToolTip(tr("Drag the frame; the wheel makes it wider or narrower"))

    def sizeHint(self) -> QSize:
        """Return a size that suits the smallest window."""
        return QSize(900, self.height())

    def set_view(self, view: CycleView | None) -> None:
        """Show a block's cycle; the window comes from the chart."""
        self.view = view
        self.update()

    @property
    def axis(self) -> DayAxis:
        """All days of the cycle along the strip."""
        assert self.view is not None
        return DayAxis(self.view.first, 0, max(self.view.days, 1), GUTTER, self.width() - 2.0)

    def frame_area(self) -> QRectF:
        """Where the window lies."""
        a, b = self.axis.x(self.start), self.axis.x(self.end)
        return QRectF(a, TICKS - 2, max(b - a, 6.0), RIBBON + CURVE + 5)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint stages, the curve, months and the window."""
        painter = QPainter(self)
        c = theme.colours()
        painter.fillRect(self.rect(), c.paper)
        if self.view is None or not self.view.days:
            return
        letters = Letters(painter)
        paint_ribbon(painter, letters, self.axis, self.view, TICKS, RIBBON, small=True)
        self._curve(
            painter, QRectF(GUTTER, TICKS + RIBBON + 2, self.axis.right - GUTTER, CURVE - 2)
        )
        self._months(painter, letters)
        frame = self.frame_area()
        painter.fillRect(QRectF(GUTTER, frame.top(), max(frame.left() - GUTTER, 0), frame.height()),
                         tint(c.paper, 0.45))  # fmt: skip
        painter.fillRect(QRectF(frame.right(), frame.top(), max(self.axis.right - frame.right(), 0),
                                frame.height()), tint(c.paper, 0.45))  # fmt: skip
        painter.setPen(pen(c.link if self.hasFocus() else c.ink, 2.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(frame)

    def _curve(self, painter: QPainter, area: QRectF) -> None:
        view, axis, c = self.view, self.axis, theme.colours()
        assert view is not None
        if not view.has_water():
            return
        top = view.highest_mm

        def y(mm: float) -> float:
            return area.bottom() - mm / top * area.height()

        for first, end, taw, limit in limit_runs(view, range(view.days)):
            high, low = y(taw), y(taw - limit)
            area_of_run = QRectF(axis.x(first), high, axis.x(end) - axis.x(first), low - high)
            painter.fillRect(area_of_run, easy_ground())
        for i in np.flatnonzero(view.past).tolist():
            a, b, low = axis.x(i), axis.x(i + 1), y(view.taw[i] - view.limit[i])
            column = QRectF(a, low, max(b - a, 1.0), area.bottom() - low)
            if view.allowed_dry[i]:
                painter.fillRect(column, tint(c.quiet, 0.35))
            else:
                painter.fillRect(column, QColor(past_ink()))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(pen(c.ink, 1.0))
        past = min(view.days, max(view.today, 0))
        days = np.flatnonzero(np.isfinite(view.morning[:past])).tolist()
        painter.drawPolyline(QPolygonF(curve_points(view, days, axis, y)))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(pen(c.quiet, 1.0))
        painter.drawLine(area.bottomLeft(), area.bottomRight())
        if 0 <= view.today <= view.days:
            painter.setPen(pen(c.ink, 2.0))
            x = axis.x(view.today)
            painter.drawLine(QPointF(x, area.top() - 2), QPointF(x, area.bottom() + 2))

    def _months(self, painter: QPainter, letters: Letters) -> None:
        view, axis, c = self.view, self.axis, theme.colours()
        assert view is not None
        base = TICKS + RIBBON + CURVE
        if view.pruned is not None and view.pruned >= 0:
            text = tr("pruned {0}").format(day_short(view.date(view.pruned)))
            letters.put(axis.x(view.pruned), base + 15, text, ink=c.quiet)
        for i in axis.months():
            x = axis.x(i)
            painter.setPen(pen(c.quiet, 1.0))
            painter.drawLine(QPointF(x, base), QPointF(x, base + 5))
            if x + 26 < axis.right:
                letters.put(x + 4, base + 15, month(view.date(i)), ink=c.quiet)

    # -- mouse ----------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of the frame; a click beside it brings it there."""
        if self.view is None or event.button() != Qt.MouseButton.LeftButton:
            return
        x = event.position().x()
        if not self.frame_area().adjusted(-4, 0, 4, 0).contains(x, self.frame_area().center().y()):
            half = (self.end - self.start) / 2
            self.set_window(self.axis.day(x) - half, self.axis.day(x) + half)
        self._drag = (x, self.start, self.end)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the frame."""
        if self.view is None:
            return
        over = self.frame_area().contains(event.position())
        shape = Qt.CursorShape.SizeHorCursor if over else Qt.CursorShape.PointingHandCursor
        self.setCursor(shape)
        if self._drag is not None and event.buttons() & Qt.MouseButton.LeftButton:
            x, start, end = self._drag
            by = (event.position().x() - x) / self.axis.per_day
            self.set_window(start + by, end + by)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go of the frame."""
        self._drag = None

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Make the frame wider or narrower."""
        if self.view is not None:
            self.zoom(0.85 ** (event.angleDelta().y() / 120), self.axis.day(event.position().x()))
            event.accept()
