"""What the colours of the map mean: always below the map."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from desktop import theme
from desktop.mapview.looks import paint_block, swatch
from desktop.models.standing import STEPS, Look
from desktop.wording import tr

_LINE, _TOP, _SIDE = 21.0, 6.0, 12.0
_BOX_W, _BOX_H = 30.0, 14.0
_STEP_W = 34.0


class Legend(QWidget):
    """Two lines: the scale of easy water, then what stands outside it."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName(
            tr("Legend: the darker a block, the more easy water it has left; hatched blocks are "
               "past it; a thick outline means fruit fill.")
        )  # fmt: skip
        self.setFixedHeight(round(2 * _LINE + 2 * _TOP) - 2)
        theme.watch().changed.connect(self.update)

    def sizeHint(self) -> QSize:
        """As wide as the map."""
        return QSize(480, self.height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the two lines."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = theme.colours()
        painter.fillRect(self.rect(), QColor(colours.paper))
        painter.fillRect(0, 0, self.width(), 1, QColor(colours.line))
        painter.setFont(theme.font(theme.SMALL))
        left = self._scale(painter, _SIDE, _TOP)
        self._extra(painter, left + 22, _TOP, tr("fruit fill"), self._fruit)
        x = self._extra(painter, _SIDE, _TOP + _LINE, tr("past easy water"), self._past)
        x = self._extra(painter, x + 18, _TOP + _LINE, tr("dry, allowed"), self._dry)
        self._extra(painter, x + 18, _TOP + _LINE, tr("no data"), self._missing)

    def _word(self, painter: QPainter, x: float, top: float, text: str, quiet: bool) -> float:
        colours = theme.colours()
        metrics = QFontMetricsF(painter.font())
        painter.setPen(QColor(colours.quiet if quiet else colours.ink))
        painter.drawText(QPointF(x, top + _BOX_H - 3), text)
        return x + metrics.horizontalAdvance(text)

    def _scale(self, painter: QPainter, x: float, top: float) -> float:
        x = self._word(painter, x, top, tr("Easy water left"), False) + 14
        x = self._word(painter, x, top, tr("full", "the roots hold all the easy water"), True) + 6
        for look in STEPS:
            box = QRectF(x, top, _STEP_W, _BOX_H)
            painter.setPen(QPen(QColor(theme.colours().edge), 1))
            painter.setBrush(QColor(swatch(look).ground or ""))
            painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
            x += _STEP_W
        return self._word(painter, x + 6, top, tr("limit", "end of the easy water"), True)

    def _extra(
        self, painter: QPainter, x: float, top: float, text: str,
        paint: Callable[[QPainter, QPainterPath, float], None],
    ) -> float:  # fmt: skip
        path = QPainterPath()
        path.addRect(QRectF(x + 0.5, top + 0.5, _BOX_W - 1, _BOX_H - 1))
        paint(painter, path, self.devicePixelRatioF())
        return self._word(painter, x + _BOX_W + 7, top, text, False)

    @staticmethod
    def _past(painter: QPainter, path: QPainterPath, dpr: float) -> None:
        paint_block(painter, path, Look.PAST, False, dpr)

    @staticmethod
    def _dry(painter: QPainter, path: QPainterPath, dpr: float) -> None:
        paint_block(painter, path, Look.DRY_ALLOWED, False, dpr)

    @staticmethod
    def _missing(painter: QPainter, path: QPainterPath, dpr: float) -> None:
        paint_block(painter, path, Look.NO_DATA, False, dpr)

    @staticmethod
    def _fruit(painter: QPainter, path: QPainterPath, dpr: float) -> None:
        colours = theme.colours()
        painter.fillPath(path, QColor(colours.paper))
        box = path.boundingRect()
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(colours.ink), 3))
        painter.drawRect(box.adjusted(1, 1, -1, -1))
        theme.paint_fruit(painter, QPointF(box.center().x(), box.center().y() - 0.5), 9.5)
