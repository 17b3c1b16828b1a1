"""The day slider across the foot of the home page.

It spans the running cycle: from the earliest pruning any block is still in to a week ahead of
today; the stages of the chosen block lie along it.  Days ahead belong to the plan and cannot be
chosen.
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from desktop import theme
from desktop.widgets import paint_focus
from desktop.wording import day_named, day_year, month, tr, word

AHEAD_DAYS = 7
LEAST_DAYS, MOST_DAYS = 60, 420
_SIDE = 16.0
_RIBBON_H = 15.0


class DaySlider(QWidget):
    """Chooses the morning that is shown.

    Signals
    -------
    day_wanted(date)
    """

    day_wanted = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.first = self.today = self.day = dt.date(2000, 1, 1)
        self.earliest = self.first
        self.stages: tuple[tuple[dt.date, str], ...] = ()
        self.of = ""
        self._tall = True
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setFixedHeight(46)
        self.setAccessibleName(tr("Morning shown"))
        theme.watch().changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """As wide as the page."""
        return QSize(1280, self.height())

    def set_tall(self, tall: bool) -> None:
        """Leave the stages out where the window is low."""
        self._tall = tall
        self.setFixedHeight(46 if tall else 34)
        self.update()

    def set_span(self, pruned: dt.date | None, earliest: dt.date, today: dt.date) -> None:
        """Span from a pruning to a week ahead; days before ``earliest`` hold no record."""
        longest = today - dt.timedelta(days=MOST_DAYS)
        start = pruned if pruned is not None else today - dt.timedelta(days=LEAST_DAYS)
        start = min(start, today - dt.timedelta(days=LEAST_DAYS))
        self.first, self.today = max(start, longest), today
        self.earliest = max(earliest, self.first)
        self.update()

    def set_stages(self, of: str, stages: tuple[tuple[dt.date, str], ...]) -> None:
        """Lay a block's stages along the days: first day and stage code, in order."""
        self.of, self.stages = of, stages
        self.update()

    def set_day(self, day: dt.date) -> None:
        """Show which morning is shown."""
        self.day = day
        self.setAccessibleDescription(day_year(day))
        self.update()

    # -- places -------------------------------------------------------------------------------

    @property
    def last(self) -> dt.date:
        """The last day drawn."""
        return self.today + dt.timedelta(days=AHEAD_DAYS)

    def x_of(self, day: dt.date) -> float:
        """Return where a day stands [px]."""
        days = max((self.last - self.first).days, 1)
        return _SIDE + (day - self.first).days / days * (self.width() - 2 * _SIDE)

    def day_at(self, x: float) -> dt.date:
        """Return the day at a place, never ahead of today or before the record."""
        days = (self.last - self.first).days
        share = (x - _SIDE) / max(self.width() - 2 * _SIDE, 1)
        return self._inside(self.first + dt.timedelta(days=round(share * days)))

    def _inside(self, day: dt.date) -> dt.date:
        return min(max(day, self.earliest), self.today)

    # -- painting -----------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint ribbon, axis, months and knob."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        axis = 23.0 if self._tall else 11.0
        if self._tall:
            self._paint_ribbon(painter, axis - 3)
        self._paint_axis(painter, axis)
        self._paint_knob(painter, axis)
        if self.hasFocus():
            paint_focus(painter, self)

    def _paint_ribbon(self, painter: QPainter, bottom: float) -> None:
        colours = theme.colours()
        if not self.stages:
            painter.setFont(theme.font(theme.SMALL))
            painter.setPen(QColor(colours.quiet))
            painter.drawText(
                QPointF(_SIDE, bottom - 4), tr("Choose a block to see its stages here.")
            )
            return
        ends = [*(day for day, _ in self.stages[1:]), self.last]
        painter.setFont(theme.font(theme.SMALL))
        metrics = QFontMetricsF(painter.font())
        for (start, stage), end in zip(self.stages, ends, strict=True):
            left = max(self.x_of(max(start, self.first)), _SIDE)
            right = min(self.x_of(end), self.width() - _SIDE)
            if right <= left:
                continue
            box = QRectF(left, bottom - _RIBBON_H, right - left, _RIBBON_H)
            fill = stage == "fill"
            painter.fillRect(box.adjusted(0, 0, -1, 0), QColor(colours.ink if fill else
                                                             colours.line))  # fmt: skip
            words = word(f"stage.{stage}")
            if metrics.horizontalAdvance(words) + 8 <= box.width():
                painter.setPen(QColor(colours.paper if fill else colours.ink))
                at = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
                painter.drawText(box.adjusted(5, 0, 0, 0), at, words)

    def _paint_axis(self, painter: QPainter, axis: float) -> None:
        colours = theme.colours()
        known, today = self.x_of(self.earliest), self.x_of(self.today)
        painter.setPen(QPen(QColor(colours.ink), 1.5))
        painter.drawLine(QPointF(known, axis), QPointF(today, axis))
        dashed = QPen(QColor(colours.quiet), 1.5)
        dashed.setDashPattern([3, 3])
        painter.setPen(dashed)
        painter.drawLine(QPointF(today, axis), QPointF(self.width() - _SIDE, axis))
        if known > _SIDE + 1:
            painter.drawLine(QPointF(_SIDE, axis), QPointF(known, axis))
        painter.setFont(theme.font(theme.SMALL))
        metrics = QFontMetricsF(painter.font())
        taken = self._label()
        for start, end in pairwise(_months(self.first, self.last)):
            x = self.x_of(start)
            painter.setPen(QPen(QColor(colours.ink), 1.0))
            if start > self.first:
                painter.drawLine(QPointF(x, axis), QPointF(x, axis + 5))
            words = month(start)
            wide = metrics.horizontalAdvance(words)
            covered = x + 4 < taken.right() and x + 4 + wide > taken.left()
            if self.x_of(end) - x > wide + 8 and not covered:
                painter.setPen(QColor(colours.quiet))
                painter.drawText(QPointF(x + 4, axis + 16), words)

    def _paint_knob(self, painter: QPainter, axis: float) -> None:
        colours = theme.colours()
        x = self.x_of(self.day)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(colours.link if self.day != self.today else colours.ink))
        painter.drawRoundedRect(QRectF(x - 4, axis - 9, 8, 18), 2.5, 2.5)
        box = self._label().translated(0, axis + 7)
        painter.setFont(theme.font(theme.SMALL, bold=True))
        painter.fillRect(box, QColor(colours.bar))
        painter.setPen(QColor(colours.ink))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, day_named(self.day))

    def _label(self) -> QRectF:
        """Return the room of the day's name under the knob, counted from the top of the axis."""
        metrics = QFontMetricsF(theme.font(theme.SMALL, bold=True))
        wide = metrics.horizontalAdvance(day_named(self.day))
        left = min(max(self.x_of(self.day) - wide / 2, _SIDE), self.width() - _SIDE - wide)
        return QRectF(left - 3, 0, wide + 6, 15)

    # -- mouse and keys -----------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the day that was clicked."""
        self._want(self.day_at(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow the drag."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._want(self.day_at(event.position().x()))

    def wheelEvent(self, event: QWheelEvent) -> None:
        """A day a step."""
        self._step(1 if event.angleDelta().y() < 0 else -1)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrow = a day, PgUp and PgDn = a week, Home = the pruning, End and T = today."""
        steps = {
            Qt.Key.Key_Left: -1, Qt.Key.Key_Down: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_Up: 1,
            Qt.Key.Key_PageUp: -7, Qt.Key.Key_PageDown: 7,
        }  # fmt: skip
        key = Qt.Key(event.key())
        if key in steps:
            self._step(steps[key])
        elif key == Qt.Key.Key_Home:
            self._want(self.earliest)
        elif key in (Qt.Key.Key_End, Qt.Key.Key_T):
            self._want(self.today)
        else:
            super().keyPressEvent(event)

    def _step(self, days: int) -> None:
        self._want(self._inside(self.day + dt.timedelta(days=days)))

    def _want(self, day: dt.date) -> None:
        if day != self.day:
            self.set_day(day)
            self.day_wanted.emit(day)


def _months(first: dt.date, last: dt.date) -> list[dt.date]:
    """Return the first day drawn, every first of a month inside, and the day after the last."""
    days = [first]
    day = (first.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    while day <= last:
        days.append(day)
        day = (day + dt.timedelta(days=32)).replace(day=1)
    return [*days, last + dt.timedelta(days=1)]
