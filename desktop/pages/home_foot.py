"""Below map and week: what the marks mean, what a change has done, and the day slider."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QLabel, QVBoxLayout, QWidget

from desktop import theme
from desktop.pages.home_slider import DaySlider
from desktop.widgets import restyle, text
from desktop.wording import tr


class Foot(QWidget):
    """One line of words over the slider.

    The line tells what the last change did, or what stands in the cell under the cursor; with
    nothing to tell the marks of the week are explained there.
    """

    def __init__(self) -> None:
        super().__init__()
        self.setProperty("role", "bar")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 2)
        column.setSpacing(0)
        line = QHBoxLayout()
        line.setContentsMargins(16, 0, 16, 0)
        line.setSpacing(20)
        self.words = _Elided()
        self.marks = Marks()
        self.keys = text(
            tr("arrow: a day   PgUp: a week   T: today"), theme.SMALL, quiet=True
        )  # fmt: skip
        line.addWidget(self.words, 1)
        line.addWidget(self.marks)
        line.addStretch(0)
        line.addWidget(self.keys)
        column.addLayout(line)
        self.slider = DaySlider()
        column.addWidget(self.slider)
        self.words.hide()

    def tell(self, words: str, strong: bool = False) -> None:
        """Tell one line in place of the marks; nothing brings the marks back."""
        self.words.tell(words, strong)
        self.words.setVisible(bool(words))
        self.marks.setVisible(not words)
        self.keys.setVisible(not words)

    def tell_again(self, words: str) -> None:
        """Put a cell's words in place of those told before: its figures may have changed."""
        if not self.words.isHidden():
            self.tell(words)


class _Elided(QLabel):
    """A line that is cut with dots rather than widening the window; whole in its tip."""

    def __init__(self) -> None:
        super().__init__()
        self._whole = ""
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setMinimumWidth(100)
        self.setFixedHeight(20)

    def tell(self, words: str, strong: bool) -> None:
        """Show a line."""
        self._whole = words
        self.setFont(theme.font(bold=strong))
        self.setProperty("role", "" if strong else "quiet")
        restyle(self)
        self.setToolTip(words)
        self.setAccessibleName(words)
        self._cut()

    def _cut(self) -> None:
        metrics = self.fontMetrics()
        self.setText(metrics.elidedText(self._whole, Qt.TextElideMode.ElideRight, self.width()))

    def resizeEvent(self, event: object) -> None:
        """Cut it anew."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._cut()


class Marks(QWidget):
    """What the marks of the week mean, in one line."""

    def __init__(self) -> None:
        super().__init__()
        self.setFixedHeight(20)
        self.setAccessibleName(
            tr("Plain: ran. Dashed: not confirmed. Crossed: did not run. Boxed: planned. Filled "
               "corner: pinned. Open corner: other than handed out. Bold: over the pump.")
        )  # fmt: skip
        theme.watch().changed.connect(self.update)

    def _items(self) -> list[tuple[str, str]]:
        return [
            ("ran", tr("ran")),
            ("open", tr("not confirmed")),
            ("missed", tr("did not run")),
            ("planned", tr("planned")),
            ("pinned", tr("pinned")),
            ("changed", tr("other than handed out")),
            ("over", tr("over the pump")),
        ]

    def sizeHint(self) -> QSize:
        """Room for all of them."""
        metrics = QFontMetricsF(theme.font(theme.SMALL))
        wide = sum(_MARK_W + 5 + metrics.horizontalAdvance(w) + 16 for _, w in self._items())
        return QSize(round(wide), self.height())

    def minimumSizeHint(self) -> QSize:
        """They may be cut in a small window."""
        return QSize(60, self.height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint mark and word, one after the other."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = theme.colours()
        small = theme.font(theme.SMALL)
        metrics = QFontMetricsF(small)
        x = 0.0
        for kind, words in self._items():
            box = QRectF(x, 2, _MARK_W, 16)
            _paint_mark(painter, kind, box)
            painter.setFont(small)
            painter.setPen(QColor(colours.quiet))
            x += _MARK_W + 5
            painter.drawText(QPointF(x, 14), words)
            x += metrics.horizontalAdvance(words) + 16


_MARK_W = 26.0


def _paint_mark(painter: QPainter, kind: str, box: QRectF) -> None:
    colours = theme.colours()
    frame = box.adjusted(0.5, 0.5, -0.5, -0.5)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    bold = kind == "over"
    painter.setFont(theme.font(theme.SMALL, bold=bold))
    ink = colours.quiet if kind == "open" else colours.ink
    if kind == "open":
        pen = QPen(QColor(colours.quiet), 1.0)
        pen.setDashPattern([3, 2])
        painter.setPen(pen)
        painter.drawRoundedRect(frame, 3, 3)
    elif kind in ("planned", "pinned", "changed", "over"):
        painter.setPen(QPen(QColor(colours.planned_edge), 2.0 if bold else 1.0))
        painter.setBrush(QColor(colours.planned))
        painter.drawRoundedRect(frame.adjusted(0.5, 0.5, -0.5, -0.5) if bold else frame, 3, 3)
    painter.setPen(QColor(ink))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, "3" if kind != "missed" else "")
    if kind == "missed":
        theme.paint_cross(painter, box.adjusted(2, 2, -2, -2))
    if kind == "pinned":
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(colours.planned_edge))
        painter.drawPolygon(_corner(box.right(), box.top(), -1))
    if kind == "changed":
        painter.setPen(QPen(QColor(colours.ink), 1.0))
        painter.setBrush(QColor(colours.paper))
        painter.drawPolygon(_corner(box.left() + 0.5, box.top() + 0.5, 1))
    painter.setBrush(Qt.BrushStyle.NoBrush)


def _corner(x: float, y: float, turn: int) -> QPolygonF:
    return QPolygonF([QPointF(x, y), QPointF(x + turn * 7, y), QPointF(x, y + 7)])
