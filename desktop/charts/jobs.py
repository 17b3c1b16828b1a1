"""Marks of field days, the same on the board and on a block's chart."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPolygonF

from desktop import theme
from desktop.charts.ink import RIGHT, DayAxis, Letters, pen
from desktop.models.cycle_view import CycleView
from desktop.wording import tr


def paint_job(
    painter: QPainter, area: QRectF, kind: str, state: str, *, urgent: bool = False,
    chosen: bool = False, focus: bool = False,
) -> None:  # fmt: skip
    """Draw a feed as a heap on a line, a spraying as a drop on its point.

    Solid = done; open = to come; crossed = left out; a stroke below = moved by hand.
    """
    c = theme.colours()
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    if chosen:
        painter.setPen(pen(c.link if focus else c.ink, 1.5))
        painter.setBrush(QColor(c.chosen))
        painter.drawRoundedRect(area.adjusted(-1, -1, 1, 1), 3, 3)
    inside = area.adjusted(2.5, 2.5, -2.5, -2.5)
    ink = QColor(c.quiet if state == "skipped" else c.ink)
    painter.setPen(pen(ink, 1.5))
    painter.setBrush(ink if state == "done" else QColor(c.paper))
    cx, top, low = inside.center().x(), inside.top(), inside.bottom()
    if kind == "feed":
        points = [QPointF(cx, top + 1), QPointF(inside.right() + 1, low),
                  QPointF(inside.left() - 1, low)]  # fmt: skip
    else:
        middle = inside.center().y()
        points = [QPointF(cx, top - 1), QPointF(inside.right() + 0.5, middle), QPointF(cx, low + 1),
                  QPointF(inside.left() - 0.5, middle)]  # fmt: skip
    painter.drawPolygon(QPolygonF(points))
    if state == "skipped":
        theme.paint_cross(painter, inside, c.quiet)
    if state == "moved":
        painter.drawLine(QPointF(inside.left(), area.bottom() + 1),
                         QPointF(inside.right(), area.bottom() + 1))  # fmt: skip
    if urgent:
        painter.setFont(theme.font(theme.SMALL, bold=True))
        painter.setPen(QColor(c.wrong))
        painter.drawText(QPointF(area.right() - 1, area.top() + 8), "!")
    painter.restore()


def paint_jobs(
    painter: QPainter, letters: Letters, axis: DayAxis, view: CycleView, middle: float
) -> None:
    """Mark feedings and sprayings along an axis of days; the last of each kind is named."""
    named: dict[str, QRectF] = {}
    for mark in view.work:
        if not axis.start <= mark.day <= axis.end - 0.5:
            continue
        beside = [m for m in view.work if m.day == mark.day]
        x = axis.x(mark.day + 0.5) + (beside.index(mark) - (len(beside) - 1) / 2) * 12
        area = QRectF(x - 6, middle - 6, 12, 12)
        paint_job(painter, area, mark.kind, mark.state)
        letters.take(area)
        named[mark.kind] = area
    words = {"feed": tr("feeding"), "spray": tr("spraying")}
    for kind, area in named.items():
        if letters.put(area.right() + 4, middle + 4, words[kind]) is None:
            letters.put(area.left() - 4, middle + 4, words[kind], align=RIGHT)
