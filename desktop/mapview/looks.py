"""How blocks look on the map, in the legend and in the week's bar: one set of swatches."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPainterPath, QPen

from desktop import theme
from desktop.models.standing import STEPS, Look, Standing
from desktop.wording import tr

INK_PX, GAP_PX = 4.0, 2.0
"""Ink outline of a block in fruit fill, and the paper gap inside it."""
EDGE_PX = (1.8, 4.0)
"""Ink of a block of which only the edge is shown; that of fruit fill last."""
WHOLE_PX = 28.0
"""Blocks less thick than this get a thinner outline."""


def swatch(look: Look) -> theme.Swatch:
    """Return how a class is filled; a block without data is empty with dots."""
    if look in STEPS:
        k = STEPS.index(look)
        return theme.Swatch(theme.STEPS[k], None, theme.STEP_TEXT[k])
    if look is Look.PAST:
        return theme.easy_water(-1.0)
    if look is Look.DRY_ALLOWED:
        return theme.easy_water(-1.0, dry_allowed=True)
    return theme.easy_water(None)


def paint_block(
    painter: QPainter, path: QPainterPath, look: Look, in_fill: bool, dpr: float,
    thick: float = 99.0,
) -> None:  # fmt: skip
    """Paint one outline, given in pixels.

    Parameters
    ----------
    thick : float
        How thick the block is [px]: a small one gets a thinner outline of fruit fill.
    """
    colours = theme.colours()
    painter.setPen(Qt.PenStyle.NoPen)
    corner = path.boundingRect().topLeft()
    for brush in theme.brushes(swatch(look), dpr):
        painter.setBrushOrigin(corner)
        painter.setBrush(brush)
        painter.drawPath(path)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if not in_fill:
        painter.setPen(QPen(QColor(colours.edge), 1.0))
        painter.drawPath(path)
        return
    share = min(max(thick / WHOLE_PX, 0.3), 1.0)
    painter.save()
    painter.setClipPath(path, Qt.ClipOperation.IntersectClip)
    join = Qt.PenJoinStyle.RoundJoin
    solid, cap = Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap
    gap = QPen(QBrush(QColor(colours.paper)), 2 * (INK_PX + GAP_PX) * share, solid, cap, join)
    painter.strokePath(path, gap)
    painter.strokePath(
        path, QPen(QBrush(QColor(colours.ink)), 2 * INK_PX * share, solid, cap, join)
    )
    painter.restore()


def paint_edge(painter: QPainter, path: QPainterPath, in_fill: bool) -> None:
    """Paint only the edge of an outline, given in pixels: ink on a seam of paper, over pictures.

    A block in fruit fill has the thicker one.
    """
    colours, wide = theme.colours(), EDGE_PX[in_fill]
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for colour, width in ((colours.paper, wide + 3.0), (colours.ink, wide)):
        painter.setPen(QPen(QBrush(QColor(colour)), width, j=Qt.PenJoinStyle.RoundJoin))
        painter.drawPath(path)


def paint_bar(painter: QPainter, box: QRectF, standing: Standing, dpr: float) -> None:
    """Paint the easy-water bar: filled to its share, or hatched whole past the limit."""
    colours = theme.colours()
    painter.setPen(Qt.PenStyle.NoPen)
    fill = QRectF(box)
    if standing.look in STEPS:
        fill.setWidth(max(box.width() * standing.share, 1.5))
    for brush in theme.brushes(swatch(standing.look), dpr):
        painter.setBrushOrigin(box.topLeft())
        painter.setBrush(brush)
        painter.drawRect(fill)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    edge = colours.quiet if standing.look is Look.NO_DATA else colours.edge
    painter.setPen(QPen(QColor(edge), 1.0))
    painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))


def look_word(look: Look) -> str:
    """Return the name of a class."""
    return {
        Look.FULL: tr("more than three quarters of the easy water left"),
        Look.GOOD: tr("half to three quarters of the easy water left"),
        Look.HALF: tr("a quarter to a half of the easy water left"),
        Look.LOW: tr("less than a quarter of the easy water left"),
        Look.PAST: tr("past easy water"),
        Look.DRY_ALLOWED: tr("dry, allowed"),
        Look.NO_DATA: tr("no data"),
    }[look]


def days_word(standing: Standing) -> str:
    """Return the days of easy water left as they stand on a plate: ``4 d``, ``today``, ``past``."""
    if standing.look is Look.NO_DATA:
        return tr("no data")
    if standing.look is Look.DRY_ALLOWED:
        return tr("dry", "block past its limit, and allowed to be")
    if standing.look is Look.PAST:
        return tr("past", "block past its easy water")
    if standing.days is None:
        return tr("30 d +")
    if standing.days <= 1:
        return tr("today", "easy water lasts no longer than today")
    return tr("{0} d", "days of easy water left").format(standing.days)
