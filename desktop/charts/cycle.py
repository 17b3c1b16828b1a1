"""The chart of one block: stages, water left, rain and watering on one axis of time."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.charts.cycle_paint import BarPanel, WaterPanel, paint_dates, paint_gaps
from desktop.charts.ink import DayAxis, Letters, pen, tint
from desktop.charts.jobs import paint_jobs
from desktop.charts.ribbon import paint_ribbon
from desktop.models.cycle_view import CycleView
from desktop.wording import tr

BACK_DAYS, AHEAD_DAYS = 30, 10
SHORTEST_DAYS = 7.0
GUTTER = 40.0
RIBBON = 22.0
BARS, DATES = 96.0, 36.0


class Window(QWidget):
    """Base of the two charts that share a window of days.

    Signals
    -------
    window_changed(float, float)
        The days at the left and the right edge.
    day_chosen(int), hovered(int)
        A day of the view; -1 where the mouse has left.
    """

    window_changed = Signal(float, float)
    day_chosen = Signal(int)
    hovered = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.view: CycleView | None = None
        self.start, self.end = 0.0, 1.0
        self.chosen: int | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        theme.watch().changed.connect(self.update)

    def set_window(self, start: float, end: float) -> None:
        """Show the days from ``start`` to ``end``, held inside the view."""
        if self.view is None:
            return
        full = float(max(self.view.days, 1))
        width = min(max(end - start, min(SHORTEST_DAYS, full)), full)
        start = min(max(start, 0.0), full - width)
        if (start, start + width) != (self.start, self.end):
            self.start, self.end = start, start + width
            self.window_changed.emit(self.start, self.end)
        self.update()

    def open_window(self) -> None:
        """Show 30 days back and 10 ahead of the morning looked at."""
        if self.view is None:
            return
        today = min(max(self.view.today, 0), self.view.days)
        self.set_window(today - BACK_DAYS, today + AHEAD_DAYS)
        if self.view.today > self.view.days:  # an earlier cycle: its end
            self.set_window(self.view.days - BACK_DAYS - AHEAD_DAYS, self.view.days)

    def zoom(self, factor: float, around: float) -> None:
        """Show ``factor`` times as many days, keeping the day ``around`` in its place."""
        share = (around - self.start) / max(self.end - self.start, 1e-9)
        width = (self.end - self.start) * factor
        if self.view is not None:
            width = min(max(width, SHORTEST_DAYS), float(self.view.days))
        self.set_window(around - share * width, around - share * width + width)

    def shift(self, days: float) -> None:
        """Shift the window by some days."""
        self.set_window(self.start + days, self.end + days)

    def choose(self, day: int) -> None:
        """Choose a day, and bring it into the window."""
        if self.view is None:
            return
        day = min(max(day, 0), self.view.days - 1)
        self.chosen = day
        if not self.start <= day <= self.end - 1:
            width = self.end - self.start
            at = day - width * (0.25 if day < self.start else 0.75)
            self.set_window(at, at + width)
        self.day_chosen.emit(day)
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrow = a day, Page = a week, + and - zoom, T today, Home and End of the cycle."""
        key, view = event.key(), self.view
        if view is None:
            super().keyPressEvent(event)
            return
        at = self.chosen if self.chosen is not None else min(max(view.today, 0), view.days - 1)
        steps = {
            Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1,
            Qt.Key.Key_PageUp: -7, Qt.Key.Key_PageDown: 7,
        }  # fmt: skip
        if key in steps:
            self.choose(at + steps[Qt.Key(key)])
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(1 / 1.3, at)
        elif key == Qt.Key.Key_Minus:
            self.zoom(1.3, at)
        elif key == Qt.Key.Key_T:
            self.open_window()
            self.choose(view.today)
        elif key == Qt.Key.Key_Home:
            self.choose(0)
        elif key == Qt.Key.Key_End:
            self.choose(view.days - 1)
        else:
            super().keyPressEvent(event)


class CycleChart(Window):
    """Stages, water left, rain and watering of one block.

    Signals
    -------
    stage_clicked(str)
        The ribbon was clicked on a stage.
    """

    stage_clicked = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.empty_text = ""
        self._drag: tuple[float, float, float] | None = None
        self._moved = False
        self._over: int | None = None
        self.setMinimumHeight(280)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(tr("Water left in the block, day by day"))

    def sizeHint(self) -> QSize:
        """Return a size that suits the smallest window."""
        return QSize(900, 400)

    def set_view(self, view: CycleView | None) -> None:
        """Show a block's cycle; the window of days stays where it still fits."""
        before = self.view
        other = before is None or view is None or (
            (view.block, view.first, view.today) != (before.block, before.first, before.today)
        )  # fmt: skip
        self.view = view
        if view is not None and (other or self.end > view.days):
            self.chosen = None
            self.open_window()
        self.update()

    # -- geometry ------------------------------------------------------------------------

    @property
    def axis(self) -> DayAxis:
        """The days along the chart."""
        assert self.view is not None
        right = self.width() - 2.0
        return DayAxis(self.view.first, self.start, self.end, GUTTER, right)

    def ribbon_area(self) -> QRectF:
        """Where the stages stand."""
        return QRectF(GUTTER, 9, self.width() - 2 - GUTTER, RIBBON)

    def water_area(self) -> QRectF:
        """Where the curve stands."""
        top = self.ribbon_area().bottom() + 10
        return QRectF(GUTTER, top, self.width() - 2 - GUTTER, self.bar_area().top() - 30 - top)

    def bar_area(self) -> QRectF:
        """Where rain and watering stand."""
        height = min(BARS, max(54.0, self.height() * 0.19))
        return QRectF(GUTTER, self.height() - DATES - height, self.width() - 2 - GUTTER, height)

    # -- painting ------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint everything; text last, where it finds room."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), theme.colours().paper)
        if self.view is None or not self.view.days:
            self._paint_empty(painter, QRectF(self.rect()))
            return
        letters = Letters(painter)
        axis, view, c = self.axis, self.view, theme.colours()
        water = WaterPanel(self.water_area(), axis, view)
        bars = BarPanel(self.bar_area(), axis, view)
        bottom = self.bar_area().bottom()
        paint_gaps(painter, axis, view, self.water_area().top(), bottom)
        self._paint_chosen(painter, axis)
        paint_ribbon(painter, letters, axis, view, self.ribbon_area().top(), RIBBON)
        for area in (self.water_area(), self.bar_area()):
            letters.put(6, area.top() - 9, tr("mm"), ink=c.quiet, force=True)
        if view.has_water():
            water.paint(painter, letters)
            bars.paint(painter, letters)
        else:
            self._paint_empty(painter, self.water_area())
        if axis.start <= view.today <= axis.end:
            painter.setPen(pen(c.ink, 2.0))
            x = axis.x(view.today)
            painter.drawLine(QPointF(x, self.ribbon_area().bottom()), QPointF(x, bottom + 1))
        paint_jobs(painter, letters, axis, view, self.bar_area().top() - 15)
        paint_dates(painter, letters, axis, view, bottom)
        if view.has_water():
            water.today(painter, letters)
            water.label(painter, letters)
        if self.hasFocus():
            painter.setPen(pen(c.link, 2.0))
            low = self.height() - 1.0
            painter.drawLine(QPointF(GUTTER, low), QPointF(self.width() - 2, low))

    def _paint_empty(self, painter: QPainter, area: QRectF) -> None:
        painter.setPen(theme.colours().quiet)
        painter.setFont(theme.font(theme.LARGE))
        flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
        painter.drawText(area.adjusted(40, 0, -40, 0), flags, self.empty_text)

    def _paint_chosen(self, painter: QPainter, axis: DayAxis) -> None:
        for day, alpha in ((self._over, 0.35), (self.chosen, 0.8)):
            where = axis.span(day, day + 1) if day is not None else None
            if where is None:
                continue
            top = self.water_area().top()
            area = QRectF(where[0], top, where[1] - where[0], self.bar_area().bottom() - top)
            painter.fillRect(area, tint(theme.colours().chosen, alpha))

    # -- mouse ----------------------------------------------------------------------------

    def _day_at(self, where: QPointF | QPoint) -> int | None:
        if self.view is None or where.x() < GUTTER:
            return None
        day = int(self.axis.day(where.x()) // 1)
        return day if 0 <= day < self.view.days else None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a drag of the days."""
        if event.button() == Qt.MouseButton.LeftButton and self.view is not None:
            self._drag = (event.position().x(), self.start, self.end)
            self._moved = False

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the days, or tell which day is under the mouse."""
        if self.view is None:
            return
        if self._drag is not None and event.buttons() & Qt.MouseButton.LeftButton:
            x, start, end = self._drag
            if abs(event.position().x() - x) > 4:
                self._moved = True
            if self._moved:
                by = (x - event.position().x()) / self.axis.per_day
                self.set_window(start + by, end + by)
            return
        over = self._day_at(event.position())
        if over != self._over:
            self._over = over
            self.hovered.emit(-1 if over is None else over)
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Choose the day that was clicked, or the stage on the ribbon."""
        drag, self._drag = self._drag, None
        if drag is None or self._moved or event.button() != Qt.MouseButton.LeftButton:
            return
        day = self._day_at(event.position())
        if day is None or self.view is None:
            return
        if event.position().y() <= self.ribbon_area().bottom() + 2:
            span = next((s for s in self.view.spans if s.first <= day < s.end), None)
            if span is not None:
                self.stage_clicked.emit(span.stage)
            return
        self.choose(day)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Go back to the window it opened on."""
        self.open_window()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom around the day under the mouse; sideways shifts."""
        if self.view is None:
            return
        turn = event.angleDelta()
        if abs(turn.x()) > abs(turn.y()):
            self.shift(-turn.x() / 120 * (self.end - self.start) * 0.1)
        else:
            self.zoom(0.85 ** (turn.y() / 120), self.axis.day(event.position().x()))
        event.accept()

    def leaveEvent(self, event: object) -> None:
        """Nothing is under the mouse any more."""
        self._over = None
        self.hovered.emit(-1)
        self.update()
