"""The hand tools as a column of plain words, the one in hand marked with an ink bar."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QGridLayout, QSizePolicy, QWidget

from desktop import theme
from desktop.mapview.workbench import ALONG, CHOOSE, CORNERS, CUT, DRAW, JOIN, MEASURE, SPLIT
from desktop.widgets import paint_focus
from desktop.wording import tr

KEYS = {DRAW: "D", CORNERS: "C", SPLIT: "S", JOIN: "J", CUT: "K", ALONG: "F", MEASURE: "M"}
"""One letter each, while the map has the keyboard; Esc puts a tool down."""


def tool_words() -> dict[str, tuple[str, str]]:
    """Return the tools in order: word, and what it does."""
    return {
        CHOOSE: (tr("Choose"), tr("Click blocks; Shift and a drag choose several by a box")),
        DRAW: (tr("Draw"), tr("A new outline, by clicks or freehand")),
        CORNERS: (tr("Move corners"), tr("Move, insert and take away corners")),
        SPLIT: (tr("Split"), tr("Split the chosen block along a line")),
        JOIN: (tr("Join"), tr("Join two neighbours")),
        CUT: (tr("Cut out"), tr("Cut a piece out of the chosen block")),
        ALONG: (tr("Along a neighbour"), tr("Draw along a neighbour's edge")),
        MEASURE: (tr("Measure"), tr("Distance on the level and along the ground")),
    }


class Word(QAbstractButton):
    """One tool's word."""

    def __init__(self, words: str, key: str, take: Callable[[], object]) -> None:
        super().__init__()
        self.setText(words)
        self._key = key
        self.setCheckable(True)
        self.setFont(theme.font())
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.clicked.connect(lambda: take())

    def sizeHint(self) -> QSize:
        """Room for the bold word and the letter."""
        metrics = QFontMetrics(theme.font(bold=True))
        return QSize(metrics.horizontalAdvance(self.text()) + 44, 26)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter takes the tool, as Space does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The word, its letter quiet at the right, a bar where it is in hand."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = theme.colours()
        box = QRectF(self.rect())
        painter.setPen(Qt.PenStyle.NoPen)
        if self.isChecked() or self.underMouse():
            painter.setBrush(QColor(colours.chosen if self.isChecked() else colours.row))
            painter.drawRoundedRect(box.adjusted(0, 1, 0, -1), 3, 3)
        if self.isChecked():
            painter.setBrush(QColor(colours.ink))
            painter.drawRect(QRectF(0, 4, 3, box.height() - 8))
        painter.setPen(QColor(colours.ink))
        painter.setFont(theme.font(bold=self.isChecked()))
        left = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        painter.drawText(box.adjusted(9, 0, 0, 0), left, self.text())
        if self._key:
            painter.setPen(QColor(colours.quiet))
            painter.setFont(theme.font(theme.SMALL))
            right = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight
            painter.drawText(box.adjusted(0, 0, -8, 0), right, self._key)
        if self.hasFocus():
            paint_focus(painter, self)


class Words(QWidget):
    """All of them."""

    def __init__(self, take: Callable[[str], object]) -> None:
        super().__init__()
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(6)
        grid.setVerticalSpacing(1)
        self.words: dict[str, Word] = {}
        known = tool_words()
        half = (len(known) + 1) // 2
        for k, (name, (words, about)) in enumerate(known.items()):
            word = Word(words, KEYS.get(name, "Esc"), partial(take, name))
            word.setToolTip(about)
            word.setAccessibleName(words)
            word.setAccessibleDescription(about)
            grid.addWidget(word, k % half, k // half)
            self.words[name] = word

    def show_word(self, name: str) -> None:
        """Mark the tool in hand."""
        for word, button in self.words.items():
            button.setChecked(word == name)
