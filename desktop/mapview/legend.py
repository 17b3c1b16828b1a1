"""What the colours of the map mean: always below the map."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import (
    QColor,
    QFontMetricsF,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QResizeEvent,
)
from PySide6.QtWidgets import QWidget

from desktop import theme
from desktop.mapview.looks import paint_block, swatch
from desktop.models.standing import STEPS, Look
from desktop.wording import tr

_LINE, _TOP, _SIDE = 21.0, 6.0, 12.0
_BOX_W, _BOX_H = 30.0, 14.0
_STEP_W, _SMALL_STEP_W, _GAP = 34.0, 20.0, 18.0

Item = tuple[str, str]
"""What is explained (``scale``, ``fill`` or the value of a look) and its words."""


class Legend(QWidget):
    """The scale of easy water, and what stands outside it; wraps where the map is narrow."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName(
            tr("Legend: the darker a block, the more easy water it has left; hatched blocks are "
               "past it; a thick outline means fruit fill.")
        )  # fmt: skip
        self._own: list[tuple[theme.Swatch, str]] = []
        self._head = self._foot = ""
        self.setFixedHeight(self._height(2))
        theme.watch().changed.connect(self.update)

    def explain(self, head: str, steps: Sequence[tuple[theme.Swatch, str]], foot: str = "") -> None:
        """Explain something laid over the map in place of the blocks' water; no steps: no more."""
        self._head, self._foot, self._own = head, foot, list(steps)
        self._fit()
        self.update()

    def sizeHint(self) -> QSize:
        """As wide as the map."""
        return QSize(480, self.height())

    def minimumSizeHint(self) -> QSize:
        """It wraps."""
        return QSize(200, self.height())

    @property
    def _step(self) -> float:
        return _STEP_W if self.width() >= 380 else _SMALL_STEP_W

    @staticmethod
    def _height(lines: int) -> int:
        return round(lines * _LINE + 2 * _TOP) - 2

    def _items(self) -> list[Item]:
        if self._own:
            own = [(str(k), words) for k, (_, words) in enumerate(self._own)]
            return [("words", self._head), *own, ("words", self._foot)]
        return [
            ("scale", tr("Easy water left")),
            ("fill", tr("fruit fill")),
            (Look.PAST.value, tr("past easy water")),
            (Look.DRY_ALLOWED.value, tr("dry, allowed")),
            (Look.NO_DATA.value, tr("no data")),
        ]

    def _ends(self) -> tuple[str, str]:
        return (
            tr("full", "the roots hold all the easy water"),
            tr("limit", "end of the easy water"),
        )

    def _wide(self, item: Item, metrics: QFontMetricsF) -> float:
        words = metrics.horizontalAdvance(item[1])
        if item[0] == "words":
            return words
        if item[0] != "scale":
            return _BOX_W + 7 + words
        ends = sum(metrics.horizontalAdvance(w) for w in self._ends())
        return words + 14 + ends + 12 + len(STEPS) * self._step

    def _placed(self) -> Iterator[tuple[Item, float, int]]:
        """Yield every item with its left edge and its line."""
        metrics = QFontMetricsF(theme.font(theme.SMALL))
        x, line = _SIDE, 0
        wides = [self._wide(item, metrics) for item in self._items()]
        in_one = 2 * _SIDE + sum(wides) + _GAP * (len(wides) - 1) <= self.width()
        for k, item in enumerate(self._items()):
            wide = self._wide(item, metrics)
            if k and (x + wide > self.width() - 4 or (k == 2 and not line and not in_one)):
                x, line = _SIDE, line + 1
            yield item, x, line
            x += wide + _GAP

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Take as many lines as are needed."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        height = self._height(max(line for _, _, line in self._placed()) + 1)
        if height != self.height():
            self.setFixedHeight(height)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the items."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = theme.colours()
        painter.fillRect(self.rect(), QColor(colours.paper))
        painter.fillRect(0, 0, self.width(), 1, QColor(colours.line))
        painter.setFont(theme.font(theme.SMALL))
        for (kind, words), x, line in self._placed():
            top = _TOP + line * _LINE
            if kind == "scale":
                self._scale(painter, x, top, words)
                continue
            if kind == "words":
                self._word(painter, x, top, words, quiet=line > 0 or x > _SIDE)
                continue
            path = QPainterPath()
            path.addRect(QRectF(x + 0.5, top + 0.5, _BOX_W - 1, _BOX_H - 1))
            if kind == "fill":
                _paint_fill(painter, path)
            elif kind.isdecimal():
                theme.fill(painter, path, self._own[int(kind)][0], self.devicePixelRatioF())
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.setPen(QPen(QColor(colours.edge), 1))
                painter.drawPath(path)
            else:
                paint_block(painter, path, Look(kind), False, self.devicePixelRatioF())
            self._word(painter, x + _BOX_W + 7, top, words, quiet=False)

    def _word(self, painter: QPainter, x: float, top: float, words: str, *, quiet: bool) -> float:
        colours = theme.colours()
        painter.setPen(QColor(colours.quiet if quiet else colours.ink))
        painter.drawText(QPointF(x, top + _BOX_H - 3), words)
        return x + QFontMetricsF(painter.font()).horizontalAdvance(words)

    def _scale(self, painter: QPainter, x: float, top: float, words: str) -> None:
        full, limit = self._ends()
        x = self._word(painter, x, top, words, quiet=False) + 14
        x = self._word(painter, x, top, full, quiet=True) + 6
        for look in STEPS:
            box = QRectF(x, top, self._step, _BOX_H)
            painter.setPen(QPen(QColor(theme.colours().edge), 1))
            painter.setBrush(QColor(swatch(look).ground or ""))
            painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
            x += self._step
        self._word(painter, x + 6, top, limit, quiet=True)


def _paint_fill(painter: QPainter, path: QPainterPath) -> None:
    colours = theme.colours()
    painter.fillPath(path, QColor(colours.paper))
    box = path.boundingRect()
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(QColor(colours.ink), 3))
    painter.drawRect(box.adjusted(1, 1, -1, -1))
    theme.paint_fruit(painter, QPointF(box.center().x(), box.center().y() - 0.5), 9.5)
