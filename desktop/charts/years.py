"""A station's years as strips: rain, what the air takes, and how each day's ET0 was made."""

from __future__ import annotations

import datetime as dt

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.charts.ink import RIGHT, Letters, pen
from desktop.models.weather import CERTAINTY, WeatherView
from desktop.wording import fixed, month, tr

LEFT_TEXT, TOP, STRIP = 150.0, 17.0, 46.0
YEAR = 365
MOST_YEARS = 4


class YearStrips(QWidget):
    """Strips of 365 days, the last one ending with the coming week.

    Signals
    -------
    window_wanted(int)
        The day the window should end with.
    """

    window_wanted = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.view: WeatherView | None = None
        self.end, self.length = 0, 40
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(tr("The record year by year; the frame is what is shown below"))
        self.setFixedHeight(int(TOP + STRIP))
        theme.watch().changed.connect(self.update)

    def set_view(self, view: WeatherView | None) -> None:
        """Show a station."""
        self.view = view
        self.setFixedHeight(int(TOP + STRIP * max(1, len(self._years()))))
        self.update()

    def set_window(self, end: int, length: int) -> None:
        """Frame the days that are shown below."""
        self.end, self.length = end, length
        self.update()

    def sizeHint(self) -> QSize:
        """Return a size that suits the smallest window."""
        return QSize(900, self.height())

    def _years(self) -> list[tuple[int, int]]:
        """Return first and end day of every strip, oldest first."""
        if self.view is None:
            return []
        strips: list[tuple[int, int]] = []
        end = self.view.days
        while end > 0 and len(strips) < MOST_YEARS:
            strips.append((end - YEAR, end))
            end -= YEAR
        while len(strips) > 1 and not self._worth(strips[-1]):
            strips.pop()
        return strips[::-1]

    def _worth(self, strip: tuple[int, int]) -> bool:
        return strip[1] > 20

    def _x(self, day: int, start: int) -> float:
        width = self.width() - 4 - LEFT_TEXT
        return LEFT_TEXT + (day - start) / YEAR * width

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint months, then strip by strip."""
        painter = QPainter(self)
        c = theme.colours()
        painter.fillRect(self.rect(), c.paper)
        years = self._years()
        if self.view is None or not years:
            return
        letters = Letters(painter)
        self._months(painter, letters, years[-1])
        for at, strip in enumerate(years):
            self._strip(painter, letters, strip, TOP + at * STRIP)
        self._frame(painter, years)
        if self.hasFocus():
            painter.setPen(pen(c.link, 2.0))
            low = self.height() - 1.0
            painter.drawLine(QPointF(LEFT_TEXT, low), QPointF(self.width() - 4.0, low))

    def _months(self, painter: QPainter, letters: Letters, strip: tuple[int, int]) -> None:
        c = theme.colours()
        assert self.view is not None
        for day in range(*strip):
            date = self.view.date(day)
            if date.day != 1:
                continue
            x = self._x(day, strip[0])
            painter.setPen(pen(c.line, 1.0))
            painter.drawLine(QPointF(x, TOP), QPointF(x, self.height() - 2))
            if x + 30 < self.width():
                letters.put(x + 5, 12, month(date), ink=c.quiet)

    def _strip(
        self, painter: QPainter, letters: Letters, strip: tuple[int, int], top: float
    ) -> None:
        c, view = theme.colours(), self.view
        assert view is not None
        start, end = strip
        name = strip_name(view.date(start), view.date(end - 1))
        letters.put(0, top + 15, name, bold=True)
        letters.put(LEFT_TEXT - 8, top + 15, tr("rain"), ink=c.quiet, align=RIGHT)
        letters.put(LEFT_TEXT - 8, top + 31, tr("ET0"), ink=c.quiet, align=RIGHT)
        rain = self._sum(view, max(start, 0), min(end, view.past))
        letters.put(0, top + 31, tr("{0} mm rain").format(fixed(rain, 0)), ink=c.quiet)
        days = range(max(start, 0), min(end, view.days))
        self._ground(painter, start, days, top)
        self._rain(painter, start, days, top)
        self._et0(painter, start, days, top)
        self._made(painter, start, days, top)

    @staticmethod
    def _sum(view: WeatherView, first: int, end: int) -> float:
        return float(np.nansum(view.rain[first:end])) if end > first else 0.0

    def _ground(self, painter: QPainter, start: int, days: range, top: float) -> None:
        view = self.view
        assert view is not None
        for day in days:
            if view.certainty[day] == 3 and day < view.past:
                x = self._x(day, start)
                width = max(self._x(day + 1, start) - x, 2.0)
                painter.fillRect(QRectF(x, top + 2, width, STRIP - 8), theme.hatch("missing"))

    def _rain(self, painter: QPainter, start: int, days: range, top: float) -> None:
        c, view = theme.colours(), self.view
        assert view is not None
        base, high = top + 19, 17.0
        painter.setPen(pen(c.line, 1.0))
        painter.drawLine(QPointF(LEFT_TEXT, base), QPointF(self.width() - 4.0, base))
        most = max(20.0, float(np.nanmax(view.rain)) if np.isfinite(view.rain).any() else 20.0)
        for day in days:
            mm = view.rain[day]
            if np.isfinite(mm) and mm >= 0.1 and day < view.past:
                tall = max(1.0, min(1.0, mm / most) ** 0.7 * high)
                width = max(self._x(day + 1, start) - self._x(day, start) - 0.5, 1.2)
                painter.fillRect(
                    QRectF(self._x(day, start), base - tall, width, tall), QColor(c.ink)
                )

    def _et0(self, painter: QPainter, start: int, days: range, top: float) -> None:
        c, view = theme.colours(), self.view
        assert view is not None
        most = max(6.0, float(np.nanmax(view.et0)) if np.isfinite(view.et0).any() else 6.0)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(pen(c.quiet, 1.0))
        points: list[QPointF] = []
        for day in days:
            if np.isfinite(view.et0[day]):
                y = top + 35 - view.et0[day] / most * 14
                points.append(QPointF((self._x(day, start) + self._x(day + 1, start)) / 2, y))
        painter.drawPolyline(QPolygonF(points))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _made(self, painter: QPainter, start: int, days: range, top: float) -> None:
        """Draw how ET0 was made below the line: a thin line where all was measured."""
        c, view = theme.colours(), self.view
        assert view is not None
        y = top + 38
        painter.setPen(pen(c.quiet, 1.0))
        if len(days):
            painter.drawLine(QPointF(self._x(days[0], start), y + 2),
                             QPointF(self._x(days[-1] + 1, start), y + 2))  # fmt: skip
        day = days.start
        while day < days.stop:
            kind = int(view.certainty[day])
            end = day
            while end < days.stop and int(view.certainty[end]) == kind:
                end += 1
            if CERTAINTY[kind] in ("other", "default") and day < view.past:
                box = QRectF(
                    self._x(day, start),
                    y - 1,
                    max(self._x(min(end, view.past), start) - self._x(day, start), 2.5),
                    6,
                )
                painter.fillRect(box, QColor(c.paper))
                if CERTAINTY[kind] == "other":
                    painter.fillRect(box, theme.hatch("other", c.ink))
                painter.setPen(pen(c.ink, 1.0))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRect(box)
            day = end

    def _frame(self, painter: QPainter, years: list[tuple[int, int]]) -> None:
        c = theme.colours()
        painter.setPen(pen(c.ink, 2.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        first = self.end - self.length
        for at, (start, end) in enumerate(years):
            a, b = max(first, start), min(self.end, end)
            if b > a:
                x = self._x(a, start)
                box = QRectF(x, TOP + at * STRIP, self._x(b, start) - x, STRIP - 3)
                painter.drawRect(box.adjusted(0, 1, 0, 0))

    # -- mouse and keys ------------------------------------------------------------------

    def day_at(self, x: float, y: float) -> int | None:
        """Return the day at a place."""
        years = self._years()
        at = int((y - TOP) // STRIP)
        if x < LEFT_TEXT or not 0 <= at < len(years):
            return None
        share = (x - LEFT_TEXT) / max(self.width() - 4 - LEFT_TEXT, 1)
        return years[at][0] + int(share * YEAR)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Bring the window to the day clicked."""
        self._to(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the window."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._to(event)

    def _to(self, event: QMouseEvent) -> None:
        day = self.day_at(event.position().x(), event.position().y())
        if day is not None:
            self.window_wanted.emit(day + self.length // 2)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows shift the window by a week, Page by a month, Home and End go to the ends."""
        steps = {
            Qt.Key.Key_Left: -7, Qt.Key.Key_Right: 7, Qt.Key.Key_PageUp: -30,
            Qt.Key.Key_PageDown: 30, Qt.Key.Key_Up: -YEAR, Qt.Key.Key_Down: YEAR,
            Qt.Key.Key_Home: -100_000, Qt.Key.Key_End: 100_000,
        }  # fmt: skip
        if event.key() in steps:
            self.window_wanted.emit(self.end + steps[Qt.Key(event.key())])
        else:
            super().keyPressEvent(event)


def strip_name(first: dt.date, last: dt.date) -> str:
    """Return what a strip is called."""
    if first.year == last.year:
        return str(last.year)
    return tr("{0} to {1}").format(first.year, last.year)
