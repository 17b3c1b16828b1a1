"""The stage ribbon: hatched where the stage is estimated, solid and ticked where it was seen."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPolygonF

from desktop import theme
from desktop.charts.ink import LEFT, DayAxis, Letters, pen, width_of
from desktop.models.cycle_view import CycleView, Span
from desktop.wording import day_short, tr, word

TICK = 7.0


def paint_ribbon(
    painter: QPainter, letters: Letters, axis: DayAxis, view: CycleView, top: float, height: float,
    *, small: bool = False,
) -> None:  # fmt: skip
    """Paint the stages of a cycle along an axis.

    Parameters
    ----------
    top, height : float
        Of the ribbon; ticks stand above it.
    small : bool
        Only names, no dates.
    """
    painter.save()
    for span in view.spans:
        where = axis.span(span.first, span.end)
        if where is None:
            continue
        area = QRectF(where[0], top, where[1] - where[0], height)
        _paint_span(painter, area, span)
        _name(painter, letters, axis, view, span, area, small)
    for seen in view.seen:
        if axis.start <= seen.day <= axis.end:
            _tick(painter, axis.x(seen.day), top)
    painter.restore()


def _paint_span(painter: QPainter, area: QRectF, span: Span) -> None:
    c = theme.colours()
    fill = span.stage == "fill"
    painter.fillRect(area, QColor(c.ink if fill and span.seen else c.bar))
    if not span.seen:
        painter.fillRect(area, theme.hatch("other", c.quiet if not fill else c.ink))
    if fill:
        painter.setPen(pen(c.ink, 2.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(area.adjusted(1, 1, -1, -1))
    painter.setPen(pen(c.paper, 1.0))
    painter.drawLine(area.topLeft(), area.bottomLeft())


def _name(
    painter: QPainter, letters: Letters, axis: DayAxis, view: CycleView, span: Span,
    area: QRectF, small: bool,
) -> None:  # fmt: skip
    c = theme.colours()
    solid = span.stage == "fill" and span.seen
    ink = c.paper if solid else c.ink
    ground = None if solid else QColor(c.bar)
    room = area.adjusted(5, 0, -5, 0)
    baseline = area.center().y() + 4.5
    name = word(f"stage.{span.stage}")
    bold = span.stage == "fill"
    own = Letters(painter)
    put = own.put(room.left(), baseline, name, ink=ink, bold=bold, ground=ground, inside=room)
    if put is None and room.width() > 14:
        own.put(room.left(), baseline, name, ink=ink, bold=bold, ground=ground, inside=room,
                narrow=True)  # fmt: skip
    if put is None or small:
        return
    for text in _story(view, span):
        at = put.right() + 14
        if at + width_of(text, theme.font(theme.SMALL)) + 4 < room.right():
            own.put(at, baseline, text, ink=ink, ground=ground, align=LEFT)
            break


def _story(view: CycleView, span: Span) -> list[str]:
    """Return how the start of a stage is known, longest first."""
    seen = next((s for s in view.seen if s.stage == span.stage), None)
    start = day_short(view.date(span.first))
    if seen is None:
        if span.seen or span.first == 0:
            return []
        return [tr("from about {0}").format(start), tr("about {0}").format(start)]
    short = tr("seen {0}").format(start)
    if seen.clock is None or seen.clock == seen.day:
        return [short]
    clock = day_short(view.date(seen.clock))
    return [tr("seen {0}, the clock said {1}").format(start, clock), short]


def _tick(painter: QPainter, x: float, top: float) -> None:
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(theme.colours().ink))
    points = [QPointF(x - TICK * 0.75, top - TICK), QPointF(x + TICK * 0.75, top - TICK),
              QPointF(x, top)]  # fmt: skip
    painter.drawPolygon(QPolygonF(points))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def span_at(spans: Sequence[Span], day: int) -> Span | None:
    """Return the stage a day lies in."""
    return next((s for s in spans if s.first <= day < s.end), None)
