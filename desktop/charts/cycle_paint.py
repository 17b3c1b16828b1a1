"""The panels of the cycle chart: water left above wilting point, and rain and watering below it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPolygonF

from desktop import theme
from desktop.charts.ink import (
    CENTRE,
    RIGHT,
    DayAxis,
    Letters,
    dashes,
    easy_edge,
    easy_ground,
    nice_step,
    past_ground,
    past_ink,
    pen,
    tint,
    unsure_ground,
)
from desktop.models.cycle_view import CycleView, Watering
from desktop.wording import day_short, fixed, number, tr


class WaterPanel:
    """Water left, from wilting point (bottom) to all the roots can hold.

    Parameters
    ----------
    area : QRectF
        Of the plot, without the figures at its left.
    """

    def __init__(self, area: QRectF, axis: DayAxis, view: CycleView) -> None:
        self.area, self.axis, self.view = area, axis, view
        step = nice_step(view.highest_mm * 1.04, 5)
        self.step = step
        self.top_mm = max(view.highest_mm * 1.04, step)
        low, high = max(0, math.floor(axis.start)), min(view.days, math.ceil(axis.end))
        self.shown = range(low, max(low, high))

    def y(self, mm: float) -> float:
        """Return the height of a depth left."""
        return self.area.bottom() - mm / self.top_mm * self.area.height()

    def paint(self, painter: QPainter, letters: Letters) -> None:
        """Paint everything, ground first."""
        painter.save()
        painter.setClipRect(self.area.adjusted(0, -3, 0, 2))
        self._band(painter)
        self._past(painter)
        self._unsure(painter)
        self._slow(painter)
        self._curve(painter)
        self._read(painter)
        painter.restore()
        self._scale(painter, letters)

    def _scale(self, painter: QPainter, letters: Letters) -> None:
        c = theme.colours()
        painter.setPen(pen(c.ink, 1.0))
        bottom = self.y(0)
        painter.drawLine(QPointF(self.area.left(), bottom), QPointF(self.area.right(), bottom))
        mm = 0.0
        while mm <= self.top_mm + 1e-6:
            y = self.y(mm)
            letters.put(self.area.left() - 8, y + 4, number(mm), ink=c.quiet, align=RIGHT,
                        force=True)  # fmt: skip
            painter.setPen(pen(c.quiet, 1.0))
            painter.drawLine(QPointF(self.area.left() - 5, y), QPointF(self.area.left(), y))
            mm += self.step

    def _band(self, painter: QPainter) -> None:
        edge = easy_edge()
        before: tuple[int, float] | None = None
        for first, end, taw, limit in limit_runs(self.view, self.shown):
            a, b = self.axis.x(first), self.axis.x(end)
            top, low = self.y(taw), self.y(taw - limit)
            painter.fillRect(QRectF(a, top, b - a, low - top), easy_ground())
            painter.setPen(pen(edge, 1.0))
            painter.drawLine(QPointF(a, low), QPointF(b, low))
            if before is not None and before[0] == first:
                painter.drawLine(QPointF(a, before[1]), QPointF(a, low))
            before = (end, low)

    def _past(self, painter: QPainter) -> None:
        """Hatch the whole column under the limit for every morning past it."""
        view = self.view
        for i in self.shown:
            if not view.past[i]:
                continue
            a, b = self.axis.x(i), self.axis.x(i + 1)
            top = self.y(view.taw[i] - view.limit[i])
            column = QRectF(a, top, b - a, self.y(0) - top)
            if view.allowed_dry[i]:
                painter.fillRect(column, theme.hatch("dry"))
                continue
            if i >= view.today and i > view.today:
                painter.setOpacity(0.55)
            painter.fillRect(column, QColor(past_ground()))
            painter.fillRect(column, theme.hatch("past", past_ink()))
            painter.setOpacity(1.0)

    def _slow(self, painter: QPainter) -> None:
        view = self.view
        points = [
            QPointF(self.axis.x(i + 0.5), self.y(view.taw[i] - view.slow[i]))
            for i in self.shown
            if np.isfinite(view.slow[i])
        ]
        painter.setPen(dashes(theme.colours().quiet, 1.0, 1.5, 2.5))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.drawPolyline(QPolygonF(points))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _unsure(self, painter: QPainter) -> None:
        view = self.view
        if not len(view.low_evening):
            return
        days = [i for i in self.shown if i >= view.today and np.isfinite(view.low_evening[i])]
        if not days:
            return
        upper, lower = [], []
        for i in days:
            x0, x1 = self.axis.x(i), self.axis.x(i + 1)
            upper += [QPointF(x0, self.y(view.high_morning[i])),
                      QPointF(x0, self.y(view.high_watered[i])),
                      QPointF(x1, self.y(view.high_evening[i]))]  # fmt: skip
            lower += [QPointF(x0, self.y(view.low_morning[i])),
                      QPointF(x0, self.y(self._low_watered(i))),
                      QPointF(x1, self.y(view.low_evening[i]))]  # fmt: skip
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(unsure_ground())
        painter.drawPolygon(QPolygonF(upper + lower[::-1]))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _low_watered(self, i: int) -> float:
        view = self.view
        added = (view.watered[i] - view.morning[i]) * 0.8
        return float(min(view.taw[i], view.low_morning[i] + added))

    def _curve(self, painter: QPainter) -> None:
        view, ink = self.view, theme.colours().ink
        known = [i for i in self.shown if np.isfinite(view.morning[i])]
        if not known:
            return
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for days, style in (
            ([i for i in known if i < view.today], pen(ink, 1.7)),
            ([i for i in known if i >= view.today], dashes(ink, 1.5, 4, 3)),
        ):
            painter.setPen(style)
            painter.drawPolyline(QPolygonF(self._points(days)))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _read(self, painter: QPainter) -> None:
        """Mark what was read of the soil: full where it counts, a stroke down for "or less"."""
        c = theme.colours()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for mark in self.view.read:
            if not self.axis.start <= mark.day <= self.axis.end:
                continue
            x, y, r = self.axis.x(mark.day), self.y(max(mark.left_mm, 0.0)), 4.5
            if np.isfinite(mark.was_mm):
                painter.setPen(dashes(c.ink, 1.0, 2, 2))
                painter.drawLine(QPointF(x, self.y(mark.was_mm)), QPointF(x, y))
            painter.setPen(pen(c.ink if mark.counts else c.quiet, 1.4))
            if mark.at_least:
                painter.drawLine(QPointF(x, y + r), QPointF(x, y + r + 6))
            painter.setBrush(QColor(c.ink if mark.counts else c.paper))
            painter.drawPolygon(QPolygonF([
                QPointF(x, y - r), QPointF(x + r, y), QPointF(x, y + r), QPointF(x - r, y)
            ]))  # fmt: skip
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _points(self, days: list[int]) -> list[QPointF]:
        return curve_points(self.view, days, self.axis, self.y)

    def label(self, painter: QPainter, letters: Letters) -> None:
        """Write the texts that stand in the panel: after everything else, where there is room."""
        self._keep_clear(letters)
        inside = self.area.adjusted(6, 0, -6, 0)
        first = True
        for start, end, taw, limit in limit_runs(self.view, self.shown):
            where = self.axis.span(start, end)
            if where is None or where[1] - where[0] < 56 or limit < 1:
                continue
            text = tr("{0} mm").format(fixed(limit))
            if first:
                text = tr("easy water (RAW) {0} mm").format(fixed(limit))
            room = QRectF(where[0] + 5, self.area.top(), where[1] - where[0] - 10, 20)
            levels = (self.y(taw - limit) - 5, self.y(taw) + 14)
            put = _first_room(letters, room, levels, text)
            first = first and put is None
        self._label_levels(letters, inside)

    def _label_levels(self, letters: Letters, inside: QRectF) -> None:
        c, view = theme.colours(), self.view
        paper = tint(c.paper, 0.8)
        shown = [i for i in self.shown if np.isfinite(view.slow[i])]
        if shown:
            at = shown[: max(1, len(shown) // 6)]
            level = self.y(float(np.min(view.taw[at] - view.slow[at])))
            text = tr("trees slow down below here")
            for share in (0.0, 0.4, 0.6):
                at_x = inside.left() + inside.width() * share
                if letters.put(at_x, level + 15, text, ink=c.quiet, ground=paper):
                    break
        letters.put(inside.left(), self.y(0) - 6, tr("wilting point"), ink=c.quiet, ground=paper)

    def _keep_clear(self, letters: Letters) -> None:
        """Keep text off the curve and the hatched columns."""
        view = self.view
        for mark in view.read:
            x, y = self.axis.x(mark.day), self.y(max(mark.left_mm, 0.0))
            letters.take(QRectF(x - 6, y - 6, 12, 18 if mark.at_least else 12))
        for i in self.shown:
            if not np.isfinite(view.morning[i]):
                continue
            x0, x1 = self.axis.x(i), self.axis.x(i + 1)
            top, low = self.y(view.watered[i]), self.y(min(view.morning[i], view.evening[i]))
            jump = self.y(view.morning[i])
            letters.take(QRectF(x0 - 1, min(top, jump), 2, abs(jump - top)))
            letters.take(QRectF(x0, top, (x1 - x0) / 2, (low - top) / 2 + 1))
            letters.take(QRectF((x0 + x1) / 2, (top + low) / 2, (x1 - x0) / 2, (low - top) / 2 + 1))
            if view.past[i]:
                level = self.y(view.taw[i] - view.limit[i])
                letters.take(QRectF(x0, level, x1 - x0, self.y(0) - level))

    def today(self, painter: QPainter, letters: Letters) -> None:
        """Mark where the block stands in the morning shown, with the mm left."""
        view, c = self.view, theme.colours()
        t = view.today
        inside = 0 <= t < view.days and self.axis.start <= t <= self.axis.end
        if not inside or not np.isfinite(view.morning[t]):
            return
        x, y = self.axis.x(t), self.y(view.morning[t])
        limit_y = self.y(view.taw[t] - view.limit[t])
        easy = view.limit[t] - (view.taw[t] - view.morning[t])
        if easy >= 0:
            second = tr("{0} mm of it easy water").format(fixed(easy))
        else:
            second = tr("{0} mm past the limit").format(fixed(-easy))
        first = tr("{0} mm left").format(fixed(view.morning[t]))
        level = max(limit_y, y) + 19
        if level + 18 > self.y(0) - 4:
            level = self.y(0) - 24
        ground = tint(c.paper, 0.85)
        room = self.area.adjusted(4, 0, -4, 0)
        at = self.axis.x(t + 1) if view.past[t] else x  # beside the hatched column, not on it
        letters.put(at + 10, level, first, px=theme.BODY, bold=True, ground=ground, force=True,
                    inside=room)  # fmt: skip
        letters.put(at + 10, level + 17, second, ink=c.quiet, ground=ground, force=True,
                    inside=room)  # fmt: skip
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(pen(c.ink, 1.8))
        painter.setBrush(QColor(c.paper))
        painter.drawEllipse(QPointF(x, y), 4.5, 4.5)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def curve_points(
    view: CycleView, days: Sequence[int], axis: DayAxis, y: Callable[[float], float]
) -> list[QPointF]:
    """Return the line of the water left: each morning, after the day's water, each evening."""
    if not len(days):
        return []
    at = np.asarray(days)
    points = []
    for i, morning, watered, evening in zip(
        days, view.morning[at].tolist(), view.watered[at].tolist(), view.evening[at].tolist(),
        strict=True,
    ):  # fmt: skip
        x0, x1 = axis.x(i), axis.x(i + 1)
        points.append(QPointF(x0, y(morning)))
        if abs(watered - morning) > 0.01:
            points.append(QPointF(x0, y(watered)))
        points.append(QPointF(x1, y(evening)))
    return points


def limit_runs(view: CycleView, days: range) -> list[tuple[int, int, float, float]]:
    """Return stretches of days with one held water and one limit: first, end, TAW, limit."""
    taw, limit = view.taw[days.start : days.stop], view.limit[days.start : days.stop]
    known = np.isfinite(taw) & np.isfinite(limit)
    changed = np.abs(np.diff(taw)) + np.abs(np.diff(limit)) >= 0.05
    breaks = np.flatnonzero(changed | (known[1:] != known[:-1])) + 1
    edges = [0, *breaks.tolist(), len(taw)]
    return [
        (days.start + i, days.start + j, float(taw[i]), float(limit[i]))
        for i, j in pairwise(edges)
        if j > i and known[i]
    ]


def _first_room(
    letters: Letters, room: QRectF, levels: tuple[float, float], text: str
) -> QRectF | None:
    """Write a figure of the band where it first finds room, from left to right."""
    for level in levels:
        for share in (0.0, 0.12, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0):
            at = room.left() + share * room.width()
            put = letters.put(at, level, text, ink=easy_edge(), bold=True, inside=room)
            if put is not None:
                return put
    return None


class BarPanel:
    """Rain (solid) and watering (outlined) on one axis of millimetres at the roots."""

    def __init__(self, area: QRectF, axis: DayAxis, view: CycleView) -> None:
        self.area, self.axis, self.view = area, axis, view
        low, high = max(0, math.floor(axis.start)), min(view.days, math.ceil(axis.end))
        self.low, self.high = low, max(low, high)
        highest = [5.0, *self._all(low, high)]
        self.step = nice_step(max(highest), 3)
        self.top_mm = math.ceil(max(highest) * 1.12 / self.step) * self.step
        self.width = min(9.0, max(1.5, axis.per_day * 0.36))

    def _all(self, low: int, high: int) -> list[float]:
        view = self.view
        rain = view.rain_whole[low:high] if view.has_water() else view.rain[low:high]
        found = [float(v) for v in (*rain, *view.rain[low:high]) if np.isfinite(v)]
        return found + [
            w.mm for w in view.waterings if low <= w.day < high and np.isfinite(w.mm)
        ]  # fmt: skip

    def y(self, mm: float) -> float:
        """Return the height of a depth."""
        return self.area.bottom() - mm / self.top_mm * self.area.height()

    def paint(self, painter: QPainter, letters: Letters) -> None:
        """Paint the scale and the bars."""
        c = theme.colours()
        self._scale(painter, letters)
        painter.save()
        painter.setClipRect(self.area.adjusted(0, -24, 0, 1))
        for i in range(self.low, self.high):
            self._rain(painter, letters, i)
        for watering in self.view.waterings:
            if self.low <= watering.day < self.high:
                self._watering(painter, letters, watering)
        painter.restore()
        painter.setPen(pen(c.ink, 1.0))
        bottom = self.area.bottom()
        painter.drawLine(QPointF(self.area.left(), bottom), QPointF(self.area.right(), bottom))
        self._labels(letters)

    def _scale(self, painter: QPainter, letters: Letters) -> None:
        c, mm = theme.colours(), 0.0
        while mm <= self.top_mm + 1e-6:
            y = self.y(mm)
            if y > self.area.top() - 4:
                letters.put(self.area.left() - 8, y + 4, number(mm), ink=c.quiet, align=RIGHT,
                            force=True)  # fmt: skip
                painter.setPen(pen(c.quiet, 1.0))
                painter.drawLine(QPointF(self.area.left() - 5, y), QPointF(self.area.left(), y))
            mm += self.step

    def _place(self, day: int, second: bool, mm: float) -> QRectF:
        middle, top = self.axis.x(day + (0.68 if second else 0.30)), self.y(mm)
        return QRectF(middle - self.width / 2, top, self.width, self.area.bottom() - top)

    def _rain(self, painter: QPainter, letters: Letters, i: int) -> None:
        view, c = self.view, theme.colours()
        ahead = i >= view.today
        if view.rain_unknown[i]:
            return
        mm = view.rain_whole[i] if ahead else view.rain[i]
        if not np.isfinite(mm) or mm < 0.05:
            return
        bar = self._place(i, True, float(mm))
        if not ahead:
            painter.fillRect(bar, QColor(c.ink))
            letters.take(bar)
            return
        painter.fillRect(bar, QColor(c.bar))
        painter.fillRect(bar, theme.hatch("other", c.ink))
        counted = float(view.rain[i]) if np.isfinite(view.rain[i]) else 0.0
        if counted > 0.05:
            painter.fillRect(self._place(i, True, counted), QColor(c.quiet))
        letters.take(bar)

    def _unsure(self, letters: Letters, i: int) -> None:
        """Write what a forecast says, and a question mark where the rain is unknown."""
        view, c = self.view, theme.colours()
        if view.rain_unknown[i] and self.axis.per_day >= 9:
            x = self.axis.x(i + 0.68)
            letters.put(x, self.area.bottom() - 4, "?", ink=c.quiet, align=CENTRE)
        mm = view.rain_whole[i]
        if i >= view.today and np.isfinite(mm) and mm >= 0.05:
            bar = self._place(i, True, float(mm))
            text = f"{number(float(mm))}?"
            beside = letters.put(bar.right() + 3, bar.top() + 11, text, ink=c.quiet)
            if beside is None:
                letters.put(bar.center().x(), bar.top() - 4, text, ink=c.quiet, align=CENTRE)

    def _watering(self, painter: QPainter, letters: Letters, item: Watering) -> None:
        c = theme.colours()
        mm = item.mm if np.isfinite(item.mm) else self.top_mm * 0.35
        bar = self._place(item.day, False, mm).adjusted(0.5, 0.5, -0.5, 0)
        planned = item.state in ("planned", "pinned")
        ink = c.planned_edge if planned else c.ink
        painter.setBrush(QColor(c.planned) if planned else QColor(c.paper))
        if item.state == "not_confirmed":
            painter.setPen(dashes(ink, 1.0, 2, 2))
        elif item.state == "missed":
            painter.setPen(dashes(c.quiet, 1.0, 1, 1.5))
        else:
            painter.setPen(pen(ink, 1.6 if planned and self.width > 4 else 1.0))
        painter.drawRect(bar)
        if item.state == "missed":
            grown = bar.adjusted(-3, -2, 3, 0) if self.width > 4 else bar.adjusted(-2, 0, 2, 0)
            theme.paint_cross(painter, grown)
        if item.state == "pinned" and self.width > 5:
            corner = QPolygonF([bar.topRight(), bar.topRight() - QPointF(5, 0),
                                bar.topRight() + QPointF(0, 5)])  # fmt: skip
            painter.setBrush(QColor(ink))
            painter.drawPolygon(corner)
        letters.take(bar)

    def _labels(self, letters: Letters) -> None:
        """Name one bar of each kind, on the bar itself."""
        c, view = theme.colours(), self.view
        room = self.area.adjusted(2, 0, -2, 0)
        shown = [w for w in view.waterings if self.low <= w.day < self.high]
        named = (
            ("missed", tr("did not run"), c.ink), ("not_confirmed", tr("not confirmed"), c.ink),
            ("ran", tr("watering"), c.ink), ("planned", tr("planned"), c.planned_edge),
        )  # fmt: skip
        for state, text, ink in named:
            for item in sorted((w for w in shown if w.state == state), key=lambda w: -w.day):
                mm = item.mm if np.isfinite(item.mm) else self.top_mm * 0.35
                x = self.axis.x(item.day + 0.30)
                if letters.put(x, self.y(mm) - 5, text, ink=ink, align=CENTRE, inside=room):
                    break
        for i in range(self.low, self.high):
            self._unsure(letters, i)
        past = range(self.low, min(self.high, max(self.low, view.today)))
        rainy = sorted((i for i in past if view.rain[i] >= 0.5), key=lambda i: -view.rain[i])
        for i in rainy[:6]:
            x = self.axis.x(i + 0.68)
            top = self.y(float(view.rain[i]))
            put = letters.put(x - self.width / 2 - 3, top + 10, tr("rain"), align=RIGHT)
            if put or letters.put(x, top - 5, tr("rain"), align=CENTRE, inside=room):
                break


def paint_gaps(
    painter: QPainter, axis: DayAxis, view: CycleView, top: float, bottom: float
) -> None:
    """Dot the ground of the days whose weather is missing and stood in."""
    days = np.flatnonzero(view.stood_in)
    for i in days:
        where = axis.span(int(i), int(i) + 1)
        if where is not None:
            area = QRectF(where[0], top, where[1] - where[0], bottom - top)
            painter.fillRect(area, theme.hatch("missing"))


def paint_dates(
    painter: QPainter, letters: Letters, axis: DayAxis, view: CycleView, top: float
) -> None:
    """Write the dates and, under them, the days from pruning."""
    c = theme.colours()
    painter.setPen(pen(c.quiet, 1.0))
    painter.drawLine(QPointF(axis.left, top), QPointF(axis.right, top))
    room = QRectF(axis.left, top, axis.right - axis.left, 40)
    t = view.today
    if axis.start <= t <= axis.end:
        _today_plate(painter, letters, axis, view, top, room)
    weekly = axis.per_day >= 9
    for i in axis.mondays() if weekly else axis.months():
        x = axis.x(i)
        painter.setPen(pen(c.quiet, 1.0))
        painter.drawLine(QPointF(x, top), QPointF(x, top + 4))
        put = letters.put(x + 4, top + 15, day_short(view.date(i)), inside=room)
        if put is not None and view.pruned is not None and i >= view.pruned:
            letters.put(x + 4, top + 30, tr("day {0}").format(i - view.pruned), ink=c.quiet,
                        force=True)  # fmt: skip


def _today_plate(
    painter: QPainter, letters: Letters, axis: DayAxis, view: CycleView, top: float, room: QRectF
) -> None:
    c = theme.colours()
    text = tr("today, {0}").format(day_short(view.date(view.today)))
    metrics_width = Letters(painter)
    put = metrics_width.put(axis.x(view.today) + 5, top + 15, text, bold=True, ink=c.paper,
                            inside=room.adjusted(5, 0, -6, 0), force=True)  # fmt: skip
    if put is None:
        return
    plate = put.adjusted(-3, -2, 3, 0)
    painter.fillRect(plate, QColor(c.ink))
    letters.put(put.left() + 2, top + 15, text, bold=True, ink=c.paper, force=True)
    letters.take(plate)
    if view.pruned is not None and view.today >= view.pruned:
        letters.put(put.left() + 2, top + 30, tr("day {0}").format(view.today - view.pruned),
                    ink=c.quiet, force=True)  # fmt: skip
