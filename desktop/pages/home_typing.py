"""Small fields that open over a cell of the week."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import QEvent, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QApplication, QFrame, QGridLayout, QLineEdit, QWidget

from desktop import theme
from desktop.pages.home_words import gauge_word
from desktop.widgets import text as label
from desktop.wording import tr


class CellEditor(QLineEdit):
    """One figure typed over a cell.

    Signals
    -------
    entered(str)
        Enter, Tab, or a click elsewhere after something was typed.
    given_up()
        Esc, or a click elsewhere with nothing changed.
    """

    entered = Signal(str)
    given_up = Signal()

    def __init__(
        self, parent: QWidget, shown: str, name: str, typed: bool, placeholder: str = ""
    ) -> None:
        super().__init__(shown, parent)
        self._before = "" if typed else shown
        self.setFont(theme.font())
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.setAccessibleName(name)
        self.setPlaceholderText(placeholder)
        self.setMaxLength(12)
        self.setStyleSheet("QLineEdit { padding: 0 1px; min-height: 0; }")
        if typed:
            self.setCursorPosition(len(shown))
        else:
            self.selectAll()

    def sizeHint(self) -> QSize:
        """Small."""
        return QSize(40, 22)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter and Tab enter, Esc gives up."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Tab):
            self.entered.emit(self.text())
        elif event.key() == Qt.Key.Key_Escape:
            self.given_up.emit()
        else:
            super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Keep Tab, which enters here."""
        if (
            event.type() == QEvent.Type.KeyPress
            and isinstance(event, QKeyEvent)
            and event.key() == Qt.Key.Key_Tab
        ):
            self.keyPressEvent(event)
            return True
        return super().event(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Give up where nothing was changed; what was typed stays open until it is entered."""
        super().focusOutEvent(event)
        if self.text() == self._before and self.isVisible():
            self.given_up.emit()


class RainEditor(QFrame):
    """Rain of one day for several gauges.

    Signals
    -------
    entered(dict of gauge to text)
    given_up()
    """

    entered = Signal(object)
    given_up = Signal()

    def __init__(
        self, parent: QWidget, gauges: Sequence[str], held: Mapping[str, str], first: str
    ) -> None:
        super().__init__(parent)
        self.setProperty("role", "plate")
        self.setAccessibleName(tr("Rain by gauge, mm"))
        self._edits: dict[str, QLineEdit] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 6, 8, 6)
        grid.setVerticalSpacing(3)
        for row, gauge in enumerate(gauges):
            edit = QLineEdit(held.get(gauge, ""))
            edit.setFont(theme.font())
            edit.setFixedWidth(56)
            edit.setAlignment(Qt.AlignmentFlag.AlignRight)
            edit.setAccessibleName(tr("Rain at {0}, mm").format(gauge_word(gauge)))
            edit.installEventFilter(self)
            grid.addWidget(label(gauge_word(gauge)), row, 0)
            grid.addWidget(edit, row, 1)
            grid.addWidget(label("mm", quiet=True), row, 2)
            self._edits[gauge] = edit
        edits = list(self._edits.values())
        if first:
            edits[0].setText(first)
        else:
            edits[0].selectAll()
        self.setFocusProxy(edits[0])

    def eventFilter(self, watched: object, event: QEvent) -> bool:
        """Enter in any field enters all, Esc gives up, leaving them all gives up."""
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self.entered.emit({gauge: edit.text() for gauge, edit in self._edits.items()})
                return True
            if event.key() == Qt.Key.Key_Escape:
                self.given_up.emit()
                return True
        if event.type() == QEvent.Type.FocusOut:
            QTimer.singleShot(0, self._look_for_focus)
        return False

    def _look_for_focus(self) -> None:
        held = QApplication.focusWidget()
        if self.isVisible() and held not in self._edits.values():
            self.given_up.emit()
