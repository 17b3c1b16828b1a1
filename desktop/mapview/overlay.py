"""What lies over the map: the scale, blocks without outline, a refused corner, tips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF
from shapely.geometry.base import BaseGeometry

from desktop import theme
from desktop.mapview.camera import round_length
from desktop.mapview.looks import days_word, look_word, paint_block
from desktop.models.standing import Look, Standing
from desktop.wording import number, tr, word

SCALE_PX = 110.0
_CHIP_H = 22.0


@dataclass(frozen=True)
class MapBlock:
    """One block as the map needs it."""

    id: int
    name: str
    outline: BaseGeometry | None
    standing: Standing
    hectares: float | None = None


def paint_chips(
    painter: QPainter, view: QSize, waiting: Sequence[MapBlock], selected: int | None
) -> list[tuple[QRectF, int]]:
    """Paint blocks that have no outline yet as plates along the foot; return where they stand."""
    placed: list[tuple[QRectF, int]] = []
    if not waiting:
        return placed
    metrics = QFontMetricsF(theme.font(theme.SMALL))
    x, y = 10.0, view.height() - 56.0
    painter.setFont(theme.font(theme.SMALL))
    painter.setPen(QColor(theme.colours().quiet))
    painter.drawText(QPointF(x, y - 6), tr("no outline yet"))
    for k, block in enumerate(waiting):
        words = f"{block.name}  {days_word(block.standing)}"
        wide = metrics.horizontalAdvance(words) + 32
        if x + wide > view.width() - 60 and k < len(waiting) - 1:
            painter.setPen(QColor(theme.colours().quiet))
            more = tr("and {0} more").format(len(waiting) - k)
            painter.drawText(QPointF(x, y + 15), more)
            break
        box = QRectF(x, y, wide, _CHIP_H)
        _paint_chip(painter, box, block, words, block.id == selected)
        placed.append((box, block.id))
        x += wide + 6
    return placed


def _paint_chip(painter: QPainter, box: QRectF, block: MapBlock, words: str, chosen: bool) -> None:
    colours = theme.colours()
    painter.setPen(QPen(QColor(colours.link if chosen else colours.line), 2 if chosen else 1))
    painter.setBrush(QColor(colours.plate))
    painter.drawRoundedRect(box.adjusted(0.5, 0.5, -0.5, -0.5), 3, 3)
    square = QPainterPath()
    square.addRect(QRectF(box.left() + 6, box.top() + 5, 12, 12))
    paint_block(painter, square, block.standing.look, False, painter.device().devicePixelRatioF())
    painter.setPen(QColor(colours.ink))
    painter.setFont(theme.font(theme.SMALL))
    painter.drawText(
        box.adjusted(24, 0, 0, 0), Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, words
    )


def paint_scale(
    painter: QPainter, view: QSize, scale: float, step_m: float | None, *, plate: bool = False
) -> None:
    """Paint the scale at the lower left, and the step of the height lines at the lower right.

    Parameters
    ----------
    scale : float
        Pixels for a metre.
    plate : bool
        Lay a plate behind, because something is laid under the map.
    """
    colours = theme.colours()
    length = round_length(SCALE_PX / scale)
    wide, left, base = length * scale, 12.0, view.height() - 12.0
    if length < 1000:
        words = tr("{0} m").format(number(length))
    else:
        words = tr("{0} km").format(number(length / 1000))
    metrics = QFontMetricsF(theme.font(theme.SMALL))
    after = left + wide + 6 + metrics.horizontalAdvance(words)
    step = tr("height lines every {0} m").format(number(step_m)) if step_m is not None else ""
    room = metrics.horizontalAdvance(step)
    if after + 48 + room >= view.width() - 12:
        step = ""
    if plate:
        _paint_ground(painter, QRectF(left - 7, base - 19, after + 50 - left, 26))
        if step:
            _paint_ground(painter, QRectF(view.width() - 19 - room, base - 15, room + 14, 22))
    painter.setPen(QPen(QColor(colours.quiet), 1.5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    ends = [(left, base - 5), (left, base), (left + wide, base), (left + wide, base - 5)]
    painter.drawPolyline(QPolygonF([QPointF(x, y) for x, y in ends]))
    painter.setFont(theme.font(theme.SMALL))
    painter.drawText(QPointF(left + wide + 6, base), words)
    _paint_north(painter, QPointF(after + 18, base))
    if step:
        painter.setPen(QColor(colours.quiet))
        painter.drawText(QPointF(view.width() - 12 - room, base), step)


def _paint_ground(painter: QPainter, box: QRectF) -> None:
    """Paint a plate for quiet words to stand on."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(theme.colours().plate))
    painter.drawRoundedRect(box, 3, 3)


def _paint_north(painter: QPainter, foot: QPointF) -> None:
    """Paint a needle to the map's north, which is straight up, with its letter."""
    x, y = foot.x(), foot.y()
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(theme.colours().quiet))
    tip, notch = QPointF(x, y - 17), QPointF(x, y - 4)
    painter.drawPolygon(QPolygonF([tip, QPointF(x + 4.5, y + 1), notch, QPointF(x - 4.5, y + 1)]))
    painter.setPen(QColor(theme.colours().quiet))
    painter.drawText(QPointF(x + 8, y), tr("N", "north on the map"))
    painter.setBrush(Qt.BrushStyle.NoBrush)


def paint_wrong(painter: QPainter, at: QPointF) -> None:
    """Mark the place where an outline was refused."""
    ink = theme.colours().wrong
    painter.setPen(QPen(QColor(ink), 2.5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(at, 12, 12)
    theme.paint_cross(painter, QRectF(at.x() - 5, at.y() - 5, 10, 10), ink)


def tip(block: MapBlock) -> str:
    """Return what is said of a block under the pointer."""
    standing = block.standing
    lines = [f"{block.name}, {word('stage.' + standing.stage)}"]
    if standing.look is Look.NO_DATA:
        lines.append(tr("nothing is known yet"))
    elif standing.left_mm < 0:
        said = tr("{0} mm past the easy water (RAW)").format(number(-standing.left_mm))
        allowed = standing.look is Look.DRY_ALLOWED
        lines.append(tr("{0}; allowed now").format(said) if allowed else said)
    else:
        lines.append(
            tr("{0} of {1} mm easy water (RAW) left").format(
                number(standing.left_mm), number(standing.limit_mm)
            )
        )
        lines.append(look_word(standing.look))
    if block.hectares is not None:
        lines.append(tr("{0} ha").format(number(block.hectares, 2)))
    return "\n".join(lines)
