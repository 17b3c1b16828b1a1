"""Small drawing helpers that every chart uses: tints, text with a place of its own, time axes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QFontMetricsF, QPainter, QPen

from desktop import theme

LEFT = Qt.AlignmentFlag.AlignLeft
RIGHT = Qt.AlignmentFlag.AlignRight
CENTRE = Qt.AlignmentFlag.AlignHCenter


def tint(colour: str, alpha: float) -> QColor:
    """Return a colour let through by ``alpha`` [0..1]."""
    made = QColor(colour)
    made.setAlphaF(alpha)
    return made


def pen(colour: str | QColor, width: float = 1.0, style: Qt.PenStyle | None = None) -> QPen:
    """Return a pen with flat ends."""
    made = QPen(QColor(colour), width)
    made.setCapStyle(Qt.PenCapStyle.FlatCap)
    made.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    if style is not None:
        made.setStyle(style)
    return made


def dashes(colour: str | QColor, width: float, *pattern: float) -> QPen:
    """Return a pen that is dashed by ``pattern`` [widths of the pen]."""
    made = pen(colour, width)
    made.setDashPattern(list(pattern))
    return made


def easy_ground() -> QBrush:
    """Return the ground of the easy water band."""
    dark = theme.colours().dark
    return QBrush(tint(theme.STEPS[1], 0.34) if dark else tint(theme.STEPS[2], 0.42))


def easy_edge() -> str:
    """Return the colour of the band's lower edge, and of the figures inside it."""
    return theme.STEPS[2] if theme.colours().dark else "#246667"


def past_ground() -> str:
    """Return the ground of a column past the limit."""
    return "#3A2440" if theme.colours().dark else theme.PAST_GROUND


def past_ink() -> str:
    """Return the ink of hatching past the limit, and of a cross."""
    return "#D9A6DA" if theme.colours().dark else theme.PAST_INK


def unsure_ground() -> QBrush:
    """Return the ground of what may come about, hotter or cooler."""
    return QBrush(tint(theme.colours().planned_edge, 0.24))


@dataclass
class Letters:
    """Text on a chart; each piece takes its place, and what would lie on another is left out.

    Attributes
    ----------
    taken : list of QRectF
        Places no text may lie on.
    """

    painter: QPainter
    taken: list[QRectF] = field(default_factory=list)

    def put(
        self, x: float, baseline: float, text: str, *, px: int = theme.SMALL, ink: str = "",
        bold: bool = False, align: Qt.AlignmentFlag = LEFT, ground: QColor | None = None,
        force: bool = False, inside: QRectF | None = None, narrow: bool = False,
    ) -> QRectF | None:  # fmt: skip
        """Write text whose baseline is at ``baseline``; None where there is no room for it.

        Parameters
        ----------
        ground : QColor, optional
            Laid under the text so that it can be read over lines.
        force : bool
            Write it whatever lies there.
        inside : QRectF, optional
            The text is pushed sideways to stay inside; left out where it is too wide.
        """
        font = theme.font(px, bold=bold, narrow=narrow)
        metrics = QFontMetricsF(font)
        width = metrics.horizontalAdvance(text)
        left = x - (width if align == RIGHT else width / 2 if align == CENTRE else 0.0)
        if inside is not None:
            if width > inside.width():
                return None
            left = min(max(left, inside.left()), inside.right() - width)
        area = QRectF(left - 2, baseline - metrics.ascent(), width + 4, metrics.height())
        if not force and any(area.intersects(other) for other in self.taken):
            return None
        if ground is not None:
            self.painter.fillRect(area, ground)
        self.painter.setFont(font)
        self.painter.setPen(QColor(ink or theme.colours().ink))
        self.painter.drawText(QPointF(left, baseline), text)
        self.taken.append(area)
        return area

    def take(self, area: QRectF) -> None:
        """Keep text off an area."""
        self.taken.append(area)


def width_of(text: str, font: QFont) -> float:
    """Return how wide a text is [px]."""
    return QFontMetricsF(font).horizontalAdvance(text)


@dataclass(frozen=True)
class DayAxis:
    """Days along a line of pixels; day ``i`` runs from ``x(i)`` to ``x(i + 1)``.

    Attributes
    ----------
    first : datetime.date
        Date of day 0.
    start, end : float
        Days at the left and at the right edge.
    """

    first: dt.date
    start: float
    end: float
    left: float
    right: float

    @property
    def per_day(self) -> float:
        """Pixels a day."""
        return (self.right - self.left) / max(self.end - self.start, 1e-9)

    def x(self, day: float) -> float:
        """Return the place of a moment."""
        return self.left + (day - self.start) * self.per_day

    def day(self, x: float) -> float:
        """Return the moment of a place."""
        return self.start + (x - self.left) / self.per_day

    def date(self, day: int) -> dt.date:
        """Return the date of a day."""
        return self.first + dt.timedelta(days=day)

    def span(self, first: float, end: float) -> tuple[float, float] | None:
        """Return the places of a span, cut to what is shown; None where nothing of it is."""
        a, b = max(first, self.start), min(end, self.end)
        return (self.x(a), self.x(b)) if b > a else None

    def mondays(self) -> list[int]:
        """Return the Mondays shown."""
        low = int(self.start) - 1
        return [
            i for i in range(low, int(self.end) + 2)
            if self.date(i).weekday() == 0 and self.start <= i <= self.end
        ]  # fmt: skip

    def months(self) -> list[int]:
        """Return the firsts of a month shown."""
        low = int(self.start) - 1
        return [
            i for i in range(low, int(self.end) + 2)
            if self.date(i).day == 1 and self.start <= i <= self.end
        ]  # fmt: skip


def nice_step(span: float, wanted: int) -> float:
    """Return a round step that cuts ``span`` into about ``wanted`` parts."""
    for step in (0.5, 1, 2, 5, 10, 20, 25, 50, 100, 200, 500):
        if span / step <= wanted:
            return step
    return 1000.0
