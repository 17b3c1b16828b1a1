"""Some forty days of a station in detail: rain, temperature, humidity, sun, wind and ET0.

A dot or bar is measured, an open ring stands in, a cross came but is not used, dotted ground is a
day that is missing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPolygonF,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.charts.ink import CENTRE, RIGHT, DayAxis, Letters, dashes, past_ink, pen, tint
from desktop.models.weather import Values, WeatherView
from desktop.wording import day_short, fixed, number, tr

LEFT_TEXT = 150.0
ROWS = (("rain", 34.0), ("temperature", 30.0), ("humidity", 26.0), ("sun", 26.0), ("wind", 24.0))
TOP, ET0_ROW, DATES = 20.0, 22.0, 20.0
LEAST, MOST = 14, 120


class StationDays(QWidget):
    """A window of days of a station.

    Signals
    -------
    day_chosen(int)
    window_wanted(int, int)
        End and length.
    """

    day_chosen = Signal(int)
    window_wanted = Signal(int, int)

    def __init__(self) -> None:
        super().__init__()
        self.view: WeatherView | None = None
        self.marks: list[tuple[dt.date, dt.date]] = []
        self.end, self.length = 0, 40
        self.chosen: int | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFixedHeight(int(TOP + sum(h for _, h in ROWS) + ET0_ROW + DATES + 2))
        self.setAccessibleName(tr("Days of the station in detail"))
        theme.watch().changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """Return a size that suits the smallest window."""
        return QSize(900, self.height())

    def set_view(self, view: WeatherView | None) -> None:
        """Show a station."""
        self.view = view
        self.update()

    def set_marks(self, marks: Sequence[tuple[dt.date, dt.date]]) -> None:
        """Number the days to be looked at, first and last, as the list below does."""
        self.marks = list(marks)
        self.update()

    def set_window(self, end: int, length: int) -> None:
        """Show ``length`` days that end before day ``end``."""
        self.end, self.length = end, length
        self.update()

    @property
    def axis(self) -> DayAxis:
        """The days shown."""
        assert self.view is not None
        return DayAxis(
            self.view.first, self.end - self.length, self.end, LEFT_TEXT, self.width() - 4.0
        )

    @property
    def shown(self) -> range:
        """The days shown that exist."""
        assert self.view is not None
        return range(max(0, self.end - self.length), min(self.end, self.view.days))

    # -- painting ------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint row by row."""
        painter = QPainter(self)
        c = theme.colours()
        painter.fillRect(self.rect(), c.paper)
        if self.view is None or not self.view.days:
            return
        letters, axis = Letters(painter), self.axis
        self._ground(painter, axis)
        y = TOP
        for name, height in ROWS:
            area = QRectF(axis.left, y, axis.right - axis.left, height)
            getattr(self, f"_paint_{name}")(painter, letters, axis, area)
            painter.setPen(pen(c.line, 1.0))
            painter.drawLine(QPointF(0, area.bottom()), area.bottomRight())
            y += height
        self._et0(painter, letters, axis, y)
        self._dates(painter, letters, axis, y + ET0_ROW)
        self._crosses(painter, letters, axis)
        self._today(painter, axis, y + ET0_ROW)
        if self.hasFocus():
            painter.setPen(pen(c.link, 2.0))
            low = self.height() - 1.0
            painter.drawLine(QPointF(LEFT_TEXT, low), QPointF(self.width() - 4.0, low))

    def _ground(self, painter: QPainter, axis: DayAxis) -> None:
        c, view = theme.colours(), self.view
        assert view is not None
        high = sum(h for _, h in ROWS)
        for day in self.shown:
            where = axis.span(day, day + 1)
            if where is None:
                continue
            area = QRectF(where[0], TOP, where[1] - where[0], high)
            if day == self.chosen:
                painter.fillRect(area.adjusted(0, 0, 0, ET0_ROW), tint(c.chosen, 0.8))
            if day >= view.past:
                painter.fillRect(area, tint(c.planned, 0.35))
            elif view.certainty[day] == 3:
                painter.fillRect(area, theme.hatch("missing"))

    def _label(
        self, letters: Letters, area: QRectF, name: str, low: float, high: float, unit: str
    ) -> None:
        letters.put(0, area.center().y() + 5, name, px=theme.BODY)
        text = tr("{0}–{1} {2}").format(number(low, 0), number(high, 0), unit)
        letters.put(area.left() - 8, area.center().y() + 4, text, ink=theme.colours().quiet,
                    align=RIGHT)  # fmt: skip

    def _range(self, arrays: Sequence[Values], least: float) -> tuple[float, float]:
        days = self.shown
        found = [a[days.start : days.stop] for a in arrays]
        joined = np.concatenate(found) if found else np.empty(0)
        joined = joined[np.isfinite(joined)]
        if not len(joined):
            return 0.0, least
        low, high = float(joined.min()), float(joined.max())
        if high - low < least:
            middle = (high + low) / 2
            low, high = middle - least / 2, middle + least / 2
        return float(np.floor(low)), float(np.ceil(high))

    def _paint_rain(self, painter: QPainter, letters: Letters, axis: DayAxis, area: QRectF) -> None:
        view, c = self.view, theme.colours()
        assert view is not None
        days = self.shown
        rain = view.rain[days.start : days.stop]
        most = max(10.0, float(np.nanmax(rain)) if np.isfinite(rain).any() else 10.0)
        self._label(letters, area, tr("rain"), 0, most, tr("mm"))
        width = min(9.0, axis.per_day * 0.45)
        for day in days:
            mm, x = view.rain[day], axis.x(day + 0.5)
            if not np.isfinite(mm):
                if day < view.past:
                    letters.put(x, area.bottom() - 3, "?", ink=c.quiet, align=CENTRE)
                continue
            tall = mm / most * (area.height() - 3)
            if tall >= 0.3:
                bar = QRectF(x - width / 2, area.bottom() - max(tall, 1.0), width, max(tall, 1.0))
                if day >= view.past:
                    painter.fillRect(bar, theme.hatch("other", c.ink))
                else:
                    painter.fillRect(bar, QColor(c.ink))

    def _paint_temperature(
        self, painter: QPainter, letters: Letters, axis: DayAxis, area: QRectF
    ) -> None:
        view, c = self.view, theme.colours()
        assert view is not None
        raw_low, raw_high = view.raw["tmin_c"], view.raw["tmax_c"]
        low_used, high_used = view.used["tmin_c"], view.used["tmax_c"]
        low, high = self._range((low_used, high_used), 8.0)
        self._label(letters, area, tr("temperature"), low, high, "°C")

        def y(value: float) -> float:
            return area.bottom() - 3 - (value - low) / (high - low) * (area.height() - 6)

        for day in self.shown:
            if not (np.isfinite(low_used[day]) and np.isfinite(high_used[day])):
                continue
            measured = np.isfinite(raw_low[day]) and np.isfinite(raw_high[day])
            x = axis.x(day + 0.5)
            if measured:
                painter.setPen(pen(c.ink, 2.5))
                painter.drawLine(QPointF(x, y(low_used[day])), QPointF(x, y(high_used[day])))
            else:
                painter.setPen(pen(c.quiet, 1.0))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                top = y(high_used[day])
                painter.drawRect(QRectF(x - 2, top, 4, y(low_used[day]) - top))

    def _paint_humidity(
        self, painter: QPainter, letters: Letters, axis: DayAxis, area: QRectF
    ) -> None:
        view = self.view
        assert view is not None
        low_raw, high_raw, mean = (view.raw[k] for k in ("rh_min", "rh_max", "rh_mean"))
        self._label(letters, area, tr("humidity"), 0, 100, "%")

        def y(value: float) -> float:
            return area.bottom() - 3 - min(value, 100.0) / 100 * (area.height() - 6)

        for day in self.shown:
            x = axis.x(day + 0.5)
            if np.isfinite(low_raw[day]) and np.isfinite(high_raw[day]):
                painter.setPen(pen(theme.colours().ink, 1.5))
                painter.drawLine(QPointF(x, y(low_raw[day])), QPointF(x, y(high_raw[day])))
                continue
            for values in (mean, high_raw, low_raw):
                if np.isfinite(values[day]):
                    self._dot(painter, x, y(values[day]))
                    break
            else:
                if np.isfinite(view.used["rh_min"][day]):
                    self._ring(painter, x, y(view.used["rh_min"][day]))

    def _paint_sun(self, painter: QPainter, letters: Letters, axis: DayAxis, area: QRectF) -> None:
        view, c = self.view, theme.colours()
        assert view is not None
        high = float(np.ceil(max(view.clear_mj[self.shown.start : self.shown.stop], default=30.0)))
        self._label(letters, area, tr("sun"), 0, high, "MJ/m²")

        def y(value: float) -> float:
            return area.bottom() - 2 - min(value, high * 1.1) / high * (area.height() - 5)

        points = [QPointF(axis.x(d + 0.5), y(view.clear_mj[d])) for d in self.shown]
        painter.setPen(dashes(c.quiet, 1.0, 1.0, 3.0))
        painter.drawPolyline(QPolygonF(points))
        self._points(painter, axis, view.raw["rs_mj"], view.used["rs_mj"], y, "rs")

    def _paint_wind(self, painter: QPainter, letters: Letters, axis: DayAxis, area: QRectF) -> None:
        view = self.view
        assert view is not None
        _, high = self._range((view.raw["u2_m_s"], view.used["u2_m_s"]), 4.0)
        high = max(high, 4.0)
        self._label(letters, area, tr("wind"), 0, high, "m/s")

        def y(value: float) -> float:
            return area.bottom() - 3 - value / high * (area.height() - 6)

        self._points(painter, axis, view.raw["u2_m_s"], view.used["u2_m_s"], y, "u2")

    def _points(
        self, painter: QPainter, axis: DayAxis, raw: Values, used: Values, y: object, what: str
    ) -> None:
        """Draw a measured value as a dot, what stands in as a ring, what is not used as a cross."""
        assert callable(y)
        for day in self.shown:
            x = axis.x(day + 0.5)
            measured = np.isfinite(raw[day])
            same = measured and np.isfinite(used[day]) and abs(raw[day] - used[day]) < 0.01
            if measured and (same or not np.isfinite(used[day])):
                self._dot(painter, x, y(float(raw[day])))
                continue
            if np.isfinite(used[day]):
                self._ring(painter, x, y(float(used[day])))
            if measured:
                self._cross(painter, x, y(float(raw[day])))

    @staticmethod
    def _dot(painter: QPainter, x: float, y: float) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.colours().ink))
        painter.drawEllipse(QPointF(x, y), 2.2, 2.2)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    @staticmethod
    def _ring(painter: QPainter, x: float, y: float) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(pen(theme.colours().ink, 1.2))
        painter.setBrush(QColor(theme.colours().paper))
        painter.drawEllipse(QPointF(x, y), 2.8, 2.8)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    @staticmethod
    def _cross(painter: QPainter, x: float, y: float) -> None:
        theme.paint_cross(painter, QRectF(x - 3.5, y - 3.5, 7, 7), past_ink())

    def _et0(self, painter: QPainter, letters: Letters, axis: DayAxis, top: float) -> None:
        view, c = self.view, theme.colours()
        assert view is not None
        letters.put(0, top + 15, tr("the air takes (ET0)"), bold=True, px=theme.SMALL)
        letters.put(axis.left - 8, top + 15, tr("mm"), ink=c.quiet, align=RIGHT)
        every = max(1, int(np.ceil(24 / max(axis.per_day, 1))))
        for day in self.shown:
            if not np.isfinite(view.et0[day]) or (self.end - 1 - day) % every:
                continue
            sure = view.certainty[day] == 0
            letters.put(
                axis.x(day + 0.5),
                top + 15,
                fixed(float(view.et0[day])),
                bold=bool(sure),
                ink=c.ink if sure else c.quiet,
                align=CENTRE,
                force=True,
                narrow=True,
            )

    def _dates(self, painter: QPainter, letters: Letters, axis: DayAxis, top: float) -> None:
        c = theme.colours()
        painter.setPen(pen(c.quiet, 1.0))
        painter.drawLine(QPointF(axis.left, top), QPointF(axis.right, top))
        for day in axis.mondays():
            x = axis.x(day)
            painter.drawLine(QPointF(x, top), QPointF(x, top + 5))
            letters.put(x + 4, top + 15, day_short(axis.date(day)), ink=c.quiet)

    def _today(self, painter: QPainter, axis: DayAxis, bottom: float) -> None:
        view = self.view
        assert view is not None
        if axis.start <= view.past <= axis.end:
            painter.setPen(pen(theme.colours().ink, 2.0))
            x = axis.x(view.past)
            painter.drawLine(QPointF(x, TOP - 4), QPointF(x, bottom))

    def _crosses(self, painter: QPainter, letters: Letters, axis: DayAxis) -> None:
        """Number the days that are to be checked along the top."""
        view, c = self.view, theme.colours()
        assert view is not None
        taken: list[float] = []
        for number_, (first, last) in enumerate(self.marks, start=1):
            a, b = view.day(first), view.day(last)
            if b < self.shown.start or a >= self.shown.stop:
                continue
            a, b = max(a, self.shown.start), min(b, self.shown.stop - 1)
            x = axis.x((a + b + 1) / 2)
            if any(abs(x - other) < 17 for other in taken):  # the one that moves more stands there
                continue
            taken.append(x)
            if b > a:
                painter.setPen(pen(c.ink, 1.0))
                painter.drawLine(QPointF(axis.x(a + 0.1), 9), QPointF(axis.x(b + 0.9), 9))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.ink))
            painter.drawEllipse(QPointF(x, 9), 8, 8)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
            letters.put(x, 13.5, str(number_), bold=True, ink=c.paper, align=CENTRE, force=True)

    # -- mouse and keys ------------------------------------------------------------------

    def _day_at(self, x: float) -> int | None:
        if self.view is None or x < LEFT_TEXT:
            return None
        day = int(self.axis.day(x) // 1)
        return day if day in self.shown else None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose a day."""
        day = self._day_at(event.position().x())
        if day is not None:
            self.choose(day)

    def choose(self, day: int) -> None:
        """Choose a day, and bring it into the window."""
        if self.view is None:
            return
        day = min(max(day, 0), self.view.days - 1)
        self.chosen = day
        if day < self.end - self.length:
            self.window_wanted.emit(day + self.length, self.length)
        elif day >= self.end:
            self.window_wanted.emit(day + 1, self.length)
        self.day_chosen.emit(day)
        self.update()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Show more or fewer days."""
        factor = 0.85 ** (event.angleDelta().y() / 120)
        length = int(min(max(round(self.length * factor), LEAST), MOST))
        self.window_wanted.emit(self.end, length)
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrow = a day, Page = a week, + and - show fewer or more days."""
        if self.view is None:
            return
        at = self.chosen if self.chosen is not None else self.view.past - 1
        steps = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_PageUp: -7,
                 Qt.Key.Key_PageDown: 7}  # fmt: skip
        if event.key() in steps:
            self.choose(at + steps[Qt.Key(event.key())])
        elif event.key() in (Qt.Key.Key_Plus, Qt.Key.Key_Minus, Qt.Key.Key_Equal):
            way = 1 if event.key() == Qt.Key.Key_Minus else -1
            length = min(max(self.length + 7 * way, LEAST), MOST)
            self.window_wanted.emit(self.end, length)
        else:
            super().keyPressEvent(event)
