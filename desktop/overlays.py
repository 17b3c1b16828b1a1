"""What lies over a page for a moment: the status line under the head, and help."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QVBoxLayout, QWidget

from desktop import theme
from desktop.help import help_for, keys_text
from desktop.widgets import Link, text
from desktop.wording import tr

TOLD_MS = 6000
PATIENCE_MS = 500
WIDEST = 860


class StatusLine(QFrame):
    """One line under the head: what was done, what was refused, what takes longer than a moment.

    A refusal stays until it is closed or the next thing is done; it never stacks.
    """

    def __init__(self, parent: QWidget, cancel: Callable[[], object]) -> None:
        super().__init__(parent)
        self._over = parent
        self._right = 0
        self._refusing = False
        row = QHBoxLayout(self)
        row.setContentsMargins(14, 5, 10, 5)
        row.setSpacing(12)
        self.words = text(wrap=True)
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setFixedWidth(160)
        self.cancel = Link(tr("Stop"), cancel)
        self.close_it = Link(tr("Close"), self.clear)
        row.addWidget(self.words, 1)
        for widget in (self.bar, self.cancel, self.close_it):
            row.addWidget(widget)
        self.words.setAccessibleName(tr("Status"))
        self._fade = QTimer(self, singleShot=True, interval=TOLD_MS)
        self._fade.timeout.connect(self.clear)
        self._wait = QTimer(self, singleShot=True, interval=PATIENCE_MS)
        self._wait.timeout.connect(self._show_busy)
        self._busy_words = ""
        self._shows_busy = False
        self._cancellable = False
        parent.installEventFilter(self)
        self.hide()

    def tell(self, words: str) -> None:
        """Say one line for a few seconds."""
        self._put(words, refusing=False)
        self._fade.start()

    def refuse(self, words: str) -> None:
        """Say what is wrong until it is closed or something else is done."""
        self._fade.stop()
        self._put(words, refusing=True)

    def busy(self, working: bool, words: str = "", cancellable: bool = False) -> None:
        """Say what is being done once it takes longer than half a second."""
        if not working:
            self._wait.stop()
            if self._shows_busy:
                self.clear()
            self._busy_words = ""
            return
        self._busy_words, self._cancellable = words, cancellable
        if self._shows_busy and words != self.words.text():
            self._show_busy()
        if words and not self._wait.isActive():
            self._wait.start()

    def step(self, at: int, of: int) -> None:
        """Show how far it is."""
        self.bar.setRange(0, max(of, 1))
        self.bar.setValue(at)

    def keep_free(self, right_px: int) -> None:
        """Leave a column at the right of the page uncovered."""
        self._right = right_px
        if not self.isHidden():
            self._place()

    def clear(self) -> None:
        """Take the line away."""
        self._fade.stop()
        self._refusing = self._shows_busy = False
        self.words.setText("")
        self.hide()

    @property
    def refusing(self) -> bool:
        """True while it says what was refused."""
        return self._refusing

    def _show_busy(self) -> None:
        if self._busy_words and not self._refusing:
            self._put(self._busy_words, refusing=False, busy=True)

    def _put(self, words: str, *, refusing: bool, busy: bool = False) -> None:
        self._refusing, self._shows_busy = refusing, busy
        self.words.setText(words)
        self.words.setFont(theme.font(bold=refusing))
        self.bar.setVisible(busy)
        self.bar.setRange(0, 0)
        self.cancel.setVisible(busy and self._cancellable)
        self.close_it.setVisible(not busy)
        self._place()
        self.show()
        self.raise_()

    def _place(self) -> None:
        parent = self._over
        beside = 26 + sum(
            max(w.sizeHint().width(), w.minimumWidth()) + 12
            for w in (self.bar, self.cancel, self.close_it) if not w.isHidden()
        )  # fmt: skip
        words = self.words.fontMetrics().horizontalAdvance(self.words.text()) + 8
        room = parent.width() - self._right
        wide = min(room - 32, WIDEST, words + beside)  # it lies over things: no wider
        self.setFixedWidth(wide)
        inner = wide - beside
        self.setFixedHeight(max(self.words.heightForWidth(max(inner, 80)), 18) + 12)
        self.move((room - wide) // 2, 42)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keep its place when the window changes its size."""
        if event.type() == QEvent.Type.Resize and not self.isHidden():
            self._place()
        return False

    def paintEvent(self, event: QPaintEvent) -> None:
        """A plate of paper with an ink edge; a hatched margin where something was refused."""
        c = theme.colours()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(c.ink if self._refusing else c.line), 1.2))
        painter.setBrush(QColor(c.card))
        painter.drawRoundedRect(self.rect().adjusted(1, 1, -1, -1), 3, 3)
        if self._refusing:
            painter.fillRect(4, 4, 5, self.height() - 8, theme.hatch("past", c.wrong))


class HelpPlate(QFrame):
    """The short text of F1; Esc, F1 or a click closes it."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._over = parent
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        box = QVBoxLayout(self)
        box.setContentsMargins(24, 20, 24, 16)
        box.setSpacing(10)
        self.head = text(size=theme.LEAD, bold=True)
        self.body = text(wrap=True, size=theme.LARGE)
        self.keys = text(wrap=True, quiet=True)
        box.addWidget(self.head)
        box.addWidget(self.body, 1)
        box.addWidget(self.keys)
        row = QHBoxLayout()
        row.addStretch()
        row.addWidget(Link(tr("Close"), self.hide))
        box.addLayout(row)
        self.hide()

    def show_for(self, page: str) -> None:
        """Show the text of a page."""
        title, words = help_for(page)
        self.head.setText(title)
        self.body.setText(words)
        self.keys.setText(keys_text())
        parent = self._over
        wide = min(520, parent.width() - 40)
        inner = wide - 48
        tall = sum(label.heightForWidth(inner) for label in _labels(self)) + 100
        self.setGeometry(parent.width() - wide - 20, 52, wide, min(tall, parent.height() - 72))
        self.setAccessibleName(title)
        self.setAccessibleDescription(words)
        self.show()
        self.raise_()
        self.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc closes it."""
        if event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_Return, Qt.Key.Key_F1):
            self.hide()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """A plate of paper with an ink edge."""
        c = theme.colours()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(c.ink), 1.2))
        painter.setBrush(QColor(c.card))
        painter.drawRoundedRect(self.rect().adjusted(1, 1, -1, -1), 4, 4)


def _labels(plate: HelpPlate) -> tuple[QLabel, QLabel, QLabel]:
    return plate.head, plate.body, plate.keys
