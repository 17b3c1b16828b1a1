"""Small widgets every page uses: text, links, fields, plates, the place to drop a file.

All of them read the colours when they paint, can be reached with the keyboard, and show where the
focus is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetrics,
    QKeyEvent,
    QKeySequence,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import (
    QAbstractButton,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from desktop import theme

if TYPE_CHECKING:  # every Qt type costs a little when it is first named, and the start waits
    from PySide6.QtGui import (
        QDragEnterEvent,
        QDropEvent,
        QEnterEvent,
        QFocusEvent,
        QMouseEvent,
    )


def text(
    words: str = "", size: int = theme.BODY, *, bold: bool = False, quiet: bool = False,
    wrap: bool = False, narrow: bool = False, italic: bool = False,
) -> QLabel:  # fmt: skip
    """Return a label; plain text only, so that a block's name is never read as mark-up."""
    label = QLabel(words)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setFont(theme.font(size, bold=bold, narrow=narrow, italic=italic))
    label.setWordWrap(wrap)
    if quiet:
        label.setProperty("role", "quiet")
    return label


def rule(strong: bool = False) -> QFrame:
    """Return a thin line across."""
    line = QFrame()
    line.setProperty("role", "rule-strong" if strong else "rule")
    line.setFixedHeight(2 if strong else 1)
    return line


def restyle(widget: QWidget) -> None:
    """Look at the widget's properties again after one has changed."""
    widget.style().unpolish(widget)
    widget.style().polish(widget)
    widget.update()


class Link(QAbstractButton):
    """Underlined words that do something; Enter and Space do it too."""

    def __init__(
        self, words: str, on_click: Callable[[], object] | None = None,
        size: int = theme.BODY, *, bold: bool = False, parent: QWidget | None = None,
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self.setText(words)
        self.setFont(theme.font(size, bold=bold))
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        if on_click is not None:
            self.clicked.connect(lambda: on_click())

    def sizeHint(self) -> QSize:
        """As large as its words and the line below."""
        metrics = QFontMetrics(self.font())
        return QSize(metrics.horizontalAdvance(self.text()) + 1, metrics.height() + 5)

    def minimumSizeHint(self) -> QSize:
        """Never cut."""
        return self.sizeHint()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter clicks, as Space does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)

    def enterEvent(self, event: QEnterEvent) -> None:
        """Show that it can be clicked."""
        self.update()
        super().enterEvent(event)

    def leaveEvent(self, event: object) -> None:
        """Show it as before."""
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Words with a line below; a ground and a thick line while it has the focus."""
        c = theme.colours()
        painter = QPainter(self)
        painter.setFont(self.font())
        in_use = self.isCheckable() and self.isChecked()
        colour = QColor(c.ink if in_use else c.link if self.isEnabled() else c.quiet)
        metrics = QFontMetrics(self.font())
        width = metrics.horizontalAdvance(self.text())
        base = 2 + metrics.ascent()
        if self.hasFocus():
            painter.fillRect(QRectF(0, 0, width, self.height()), QColor(c.planned))
        painter.setPen(colour)
        painter.drawText(QPointF(0, base), self.text())
        if (self.isEnabled() and not in_use) or self.hasFocus():
            thick = 2 if self.underMouse() or self.hasFocus() else 1
            painter.fillRect(QRectF(0, base + 2, width, thick), colour)


def paint_focus(painter: QPainter, widget: QWidget) -> None:
    """Draw the frame that shows where the keyboard is."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(theme.colours().link), 1.5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRoundedRect(QRectF(widget.rect()).adjusted(0.75, 0.75, -0.75, -0.75), 3, 3)


class Mark(QWidget):
    """A small square in the grammar of certainty, or a piece of the easy-water scale."""

    def __init__(
        self, kind: str = "given", size: int = 12, swatch: theme.Swatch | None = None,
        width: int | None = None,
    ) -> None:  # fmt: skip
        super().__init__()
        self.kind, self.swatch = kind, swatch
        self.setFixedSize(width or size, size)

    def set_kind(self, kind: str) -> None:
        """Show another certainty: ``given``, ``other``, ``default``, ``missing``, ``cross``."""
        self.kind = kind
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Solid, hatched, open, dotted or crossed."""
        painter = QPainter(self)
        paint_mark(painter, QRectF(self.rect()), self.kind, self.swatch)


def paint_mark(
    painter: QPainter, area: QRectF, kind: str, swatch: theme.Swatch | None = None
) -> None:  # fmt: skip
    """Draw a mark of the grammar of certainty inside ``area``."""
    c = theme.colours()
    box = area.adjusted(0.5, 0.5, -0.5, -0.5)
    if swatch is not None:
        theme.fill(painter, box, swatch)
    elif kind == "given":
        painter.fillRect(box, QColor(c.ink))
    elif kind in ("other", "missing"):
        painter.fillRect(box, theme.hatch(kind, ink=c.ink))
    if kind == "cross" and swatch is None:
        theme.paint_cross(painter, box.adjusted(1, 1, -1, -1))
        return
    painter.setPen(QPen(QColor(c.edge if swatch is not None else c.ink), 1))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(box)


class SentenceCard(QFrame):
    """One sentence that needs the grower, with one action."""

    def __init__(
        self, sentence: str, action: str = "", on_action: Callable[[], object] | None = None,
        *, swatch: theme.Swatch | None = None, strong: bool = False,
    ) -> None:  # fmt: skip
        super().__init__()
        self.setProperty("role", "plate")
        row = QHBoxLayout(self)
        row.setContentsMargins(0 if swatch else 14, 2, 10, 2)
        row.setSpacing(8)
        if swatch is not None:
            row.addWidget(_Stripe(swatch))
        words = QVBoxLayout()
        words.setSpacing(0)
        words.setContentsMargins(0, 2, 0, 2)
        self.sentence = text(sentence, bold=strong, wrap=True)
        words.addWidget(self.sentence)
        self.link: Link | None = None
        if action:
            self.link = Link(action, on_action)
            self.link.setAccessibleDescription(sentence)
            line = QHBoxLayout()
            line.setContentsMargins(0, 0, 0, 0)
            self.link.setContentsMargins(0, 0, 0, 0)
            line.addWidget(self.link)
            line.addStretch()
            words.addLayout(line)
        row.addLayout(words, 1)
        self.setAccessibleName(sentence)


class _Stripe(QWidget):
    def __init__(self, swatch: theme.Swatch) -> None:
        super().__init__()
        self.swatch = swatch
        self.setFixedWidth(14)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        theme.fill(painter, QRectF(self.rect()).adjusted(4, 4, 0, -4), self.swatch)


class Field(QWidget):
    """A labelled line to type in, which tells when it was changed and can refuse.

    Signals
    -------
    committed(str)
        The text differs from what was set, and Enter was pressed or the focus left.
    """

    committed = Signal(str)

    def __init__(
        self, label: str, unit: str = "", *, width: int = 120, label_width: int = 0,
        hint: str = "", placeholder: str = "",
    ) -> None:  # fmt: skip
        super().__init__()
        self._set = ""
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(1)
        row = QHBoxLayout()
        row.setSpacing(8)
        self.label = text(label)
        if label_width:
            self.label.setFixedWidth(label_width)
            self.label.setWordWrap(True)
        self.edit = QLineEdit()
        self.edit.setFont(theme.font())
        self.edit.setFixedWidth(width)
        self.edit.setPlaceholderText(placeholder)
        self.edit.setAccessibleName(f"{label}, {unit}" if unit else label)
        self.edit.setAcceptDrops(False)
        self.edit.installEventFilter(self)
        self.label.setBuddy(self.edit)
        self.unit = text(unit, quiet=True)
        row.addWidget(self.label)
        row.addWidget(self.edit)
        row.addWidget(self.unit)
        row.addStretch(1)
        box.addLayout(row)
        self.below = text(hint, theme.SMALL, quiet=True, wrap=True)
        self.below.setContentsMargins(label_width + 8 if label_width else 0, 0, 0, 0)
        self._hint = hint
        box.addWidget(self.below)
        self.below.setVisible(bool(hint))  # only now: without a parent it would be a window
        self.edit.editingFinished.connect(self._finished)
        self.edit.textEdited.connect(lambda _: self.accept())

    def text(self) -> str:
        """Return what stands in the line."""
        return self.edit.text().strip()

    def set_text(self, value: str) -> None:
        """Show a stored value; an edit that is under way is left alone."""
        if self.edit.hasFocus() and self.edit.isModified():
            return
        self._set = value
        self.edit.setText(value)
        self.accept()

    def set_hint(self, hint: str) -> None:
        """Show another quiet line below."""
        self._hint = hint
        self.accept()

    def refuse(self, sentence: str) -> None:
        """Mark the line and say below, in one sentence, what is wrong."""
        self.edit.setProperty("wrong", "true")
        restyle(self.edit)
        self.below.setProperty("role", "wrong")
        self.below.setText(sentence)
        self.below.setVisible(True)
        restyle(self.below)
        self.edit.setAccessibleDescription(sentence)

    def accept(self) -> None:
        """Take the mark away."""
        if self.edit.property("wrong") == "true":
            self.edit.setProperty("wrong", "")
            restyle(self.edit)
            self.below.setProperty("role", "quiet")
            restyle(self.below)
        self.below.setText(self._hint)
        self.below.setVisible(bool(self._hint))
        self.edit.setAccessibleDescription(self._hint)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape puts back what is stored."""
        if event.key() == Qt.Key.Key_Escape and self.edit.text() != self._set:
            self.edit.setText(self._set)
            self.edit.setModified(False)
            self.accept()
        else:
            super().keyPressEvent(event)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Undo and redo belong to the farm unless something is being typed here."""
        if event.type() == QEvent.Type.ShortcutOverride and not self.edit.isModified():
            keys = event if isinstance(event, QKeyEvent) else None
            undo, redo = QKeySequence.StandardKey.Undo, QKeySequence.StandardKey.Redo
            if keys is not None and (keys.matches(undo) or keys.matches(redo)):
                event.ignore()
                return True
        return False

    def _finished(self) -> None:
        if self.text() != self._set:
            self._set = self.text()
            self.edit.setModified(False)
            self.committed.emit(self.text())


class Choice(QComboBox):
    """A few values in plain words.

    Signals
    -------
    chosen(str)
        The user picked another value.
    """

    chosen = Signal(str)

    def __init__(self, options: Sequence[tuple[str, str]] = (), name: str = "") -> None:
        super().__init__()
        self.setFont(theme.font())
        self.setAccessibleName(name)
        for value, words in options:
            self.addItem(words, value)
        self.activated.connect(lambda _: self.chosen.emit(self.value()))

    def value(self) -> str:
        """Return the value picked."""
        return str(self.currentData() or "")

    def set_value(self, value: str) -> None:
        """Show a value without telling."""
        at = self.findData(value)
        if at >= 0:
            self.setCurrentIndex(at)

    def wheelEvent(self, event: object) -> None:
        """Scrolling a page over it must not change it."""
        event.ignore()  # type: ignore[attr-defined]

    def showPopup(self) -> None:
        """Open the list whole."""
        give_room(self)
        super().showPopup()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Show that there is a list to open."""
        super().paintEvent(event)
        paint_chevron(self)


def give_room(box: QComboBox) -> None:
    """Make a box's list high enough for its lines (Qt reckons without the style sheet's rows)."""
    rows = min(box.count(), box.maxVisibleItems())
    view = box.view()
    height = sum(view.sizeHintForRow(row) for row in range(rows))
    view.setMinimumHeight(height + 2 * view.frameWidth() + 2)


def paint_chevron(widget: QWidget) -> None:
    """Draw the mark at the right of a field that opens a list (the style sheet hides Qt's own)."""
    painter = QPainter(widget)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(theme.colours().quiet), 1.4))
    x, y = widget.width() - 13.0, widget.height() / 2 + 1.5
    painter.drawPolyline([QPointF(x - 3.5, y - 3), QPointF(x, y + 0.5), QPointF(x + 3.5, y - 3)])


class DropPlate(QAbstractButton):
    """The place to drop a file; Enter, Space or a click choose one instead.

    Signals
    -------
    dropped(list of Path)
    """

    dropped = Signal(object)

    def __init__(self, head: str, below: str = "", height: int = 92) -> None:
        super().__init__()
        self.head, self.below = head, below
        self._over = False
        self.setAcceptDrops(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setFixedHeight(height)
        self.setAccessibleName(head)
        self.setAccessibleDescription(below)

    def sizeHint(self) -> QSize:
        """Wide enough for its words."""
        return QSize(400, self.height())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter clicks, as Space does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files only."""
        if paths_of(event):
            self._over = True
            self.update()
            event.acceptProposedAction()

    def dragLeaveEvent(self, event: object) -> None:
        """Show it as before."""
        self._over = False
        self.update()

    def dropEvent(self, event: QDropEvent) -> None:
        """Hand the files on."""
        self._over = False
        self.update()
        event.acceptProposedAction()
        self.dropped.emit(paths_of(event))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Dotted ground with a dashed edge and the words on a clear plate."""
        c = theme.colours()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        painter.fillRect(box, theme.hatch("missing", c.line if not self._over else c.link))
        head, small = theme.font(theme.LARGE, bold=True), theme.font(theme.SMALL)
        plate = box.adjusted(22, 14, -22, -14)
        painter.fillRect(plate, QColor(c.paper))
        pen = QPen(QColor(c.link if self._over or self.hasFocus() else c.quiet), 1.2)
        if not self.hasFocus():
            pen.setDashPattern([5, 3])
        else:
            pen.setWidthF(2)
        painter.setPen(pen)
        painter.drawRoundedRect(box, 3, 3)
        if QFontMetrics(head).horizontalAdvance(self.head) > plate.width():
            head = theme.font(theme.LARGE, bold=True, narrow=True)
        _two_lines(painter, plate, (self.head, head, c.ink), (self.below, small, c.quiet))


def _two_lines(
    painter: QPainter, area: QRectF, first: tuple[str, QFont, str], second: tuple[str, QFont, str]
) -> None:
    lines = [line for line in (first, second) if line[0]]
    heights = [QFontMetrics(f).height() for _, f, _ in lines]
    top = area.center().y() - sum(heights) / 2
    for (words, font, colour), height in zip(lines, heights, strict=True):
        painter.setFont(font)
        painter.setPen(QColor(colour))
        shown = QFontMetrics(font).elidedText(words, Qt.TextElideMode.ElideRight, int(area.width()))
        painter.drawText(QRectF(area.left(), top, area.width(), height),
                         Qt.AlignmentFlag.AlignCenter, shown)  # fmt: skip
        top += height


def paths_of(event: QDropEvent) -> list[Path]:
    """Return the files of a drag or drop."""
    return [Path(u.toLocalFile()) for u in event.mimeData().urls() if u.isLocalFile()]


class Tab(QAbstractButton):
    """A page's name in the head bar; an ink line below the one that is open."""

    def __init__(self, words: str, size: int = 14) -> None:
        super().__init__()
        self.setText(words)
        self.setCheckable(True)
        self.setAutoExclusive(True)
        self._size = size
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def sizeHint(self) -> QSize:
        """Room for the bold words, so nothing moves when it is chosen."""
        wide = QFontMetrics(theme.font(self._size, bold=True)).horizontalAdvance(self.text())
        return QSize(wide + 16, 40)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Open at the press, not the release."""
        super().mousePressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show the focus."""
        self.update()
        super().focusInEvent(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter clicks, as Space does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Words, bold with a line below where it is the open page."""
        c = theme.colours()
        painter = QPainter(self)
        painter.setPen(QColor(c.ink))
        painter.setFont(theme.font(self._size, bold=self.isChecked()))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, self.text())
        if self.isChecked():
            painter.fillRect(8, self.height() - 3, self.width() - 16, 3, QColor(c.ink))
        elif self.underMouse():
            painter.fillRect(8, self.height() - 2, self.width() - 16, 2, QColor(c.line))
        if self.hasFocus():
            paint_focus(painter, self)
