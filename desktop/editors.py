"""Editors for one value of a setting: a date, a number, one of a few choices, plain text.

Every editor takes and gives the text the core reads (ISO dates, decimal point, codes); what the
person sees and types is friendlier.
"""

from __future__ import annotations

import datetime as dt
import re

from PySide6.QtCore import QDate, QEvent, QObject, QPoint, Qt, Signal
from PySide6.QtGui import QAction, QIcon, QKeyEvent, QPainter, QPaintEvent, QPixmap
from PySide6.QtWidgets import QCalendarWidget, QComboBox, QLineEdit, QWidget

from desktop import theme
from desktop.models.keys import choice_word, key_words
from desktop.widgets import give_room, paint_chevron
from desktop.wording import day_short, month, tr
from waterbudget.orchard import BLOCK_KEYS, Key, Orchard

ORDER = re.compile(r"^\s*(\d{1,2})\s*[./ -]\s*(\d{1,2}|[^\W\d]{3,})\.?\s*[./ -]?\s*(\d{2,4})?\s*$")


def read_day(text: str, today: dt.date) -> dt.date | None:
    """Read a day as people type it: 2025-02-05, 5 Feb, 5.2.2025, today, yesterday, -3.

    A day without a year is the last such day that has not yet to come.
    """
    clean = text.strip().casefold()
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", clean):
        try:
            return dt.date.fromisoformat(clean)
        except ValueError:
            return None
    if clean in (tr("today").casefold(), "t"):
        return today
    if clean in (tr("yesterday").casefold(), "y"):
        return today - dt.timedelta(days=1)
    if re.fullmatch(r"[-−]\d{1,3}", clean):
        return today - dt.timedelta(days=int(clean[1:]))
    words = clean.split(maxsplit=1)
    if words and words[0][:1].isalpha() and len(words) == 2:  # the weekday is passed over
        clean = words[1]
    return _ordered(clean, today)


def _ordered(text: str, today: dt.date) -> dt.date | None:
    match = ORDER.match(text)
    if match is None:
        return None
    number = _month(match[2])
    if number is None:
        return None
    year = int(match[3]) if match[3] else today.year
    year += 2000 if year < 100 else 0
    try:
        day = dt.date(year, number, int(match[1]))
        if match[3] is None and day > today:
            day = dt.date(year - 1, number, int(match[1]))
    except ValueError:
        return None
    return day


def _month(text: str) -> int | None:
    if text.isdigit():
        return int(text) if 1 <= int(text) <= 12 else None
    for number in range(1, 13):
        if text.startswith(month(dt.date(2000, number, 1)).casefold()[:3]):
            return number
    return None


class DayEdit(QLineEdit):
    """A line for a date; the small button or Alt+Down opens a calendar.

    Signals
    -------
    committed(str)
        ISO text, or as typed where it is no date; empty clears.
    """

    committed = Signal(str)

    def __init__(self, today: dt.date, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.today = today
        self._set = ""
        self._calendar: QCalendarWidget | None = None
        self.setFont(theme.font())
        self.setPlaceholderText(tr("date"))
        self.setToolTip(tr("5 Feb, 5.2.2025, 2025-02-05, today; Alt+Down opens a calendar"))
        action = QAction(self)
        action.setIcon(_calendar_icon())
        action.setText(tr("Calendar"))
        action.triggered.connect(self.open_calendar)
        self.addAction(action, QLineEdit.ActionPosition.TrailingPosition)
        self.editingFinished.connect(self._finished)

    def iso(self) -> str:
        """Return the date as the core reads it; the text itself where it is no date."""
        found = read_day(self.text(), self.today)
        return found.isoformat() if found is not None else self.text().strip()

    def set_iso(self, text: str) -> None:
        """Show a stored date."""
        self._set = text
        self.setText(_written(dt.date.fromisoformat(text)) if text else "")
        self.setCursorPosition(0)

    def open_calendar(self) -> None:
        """Open the calendar below the line."""
        calendar = QCalendarWidget(self)
        calendar.setWindowFlags(Qt.WindowType.Popup)
        calendar.setVerticalHeaderFormat(QCalendarWidget.VerticalHeaderFormat.NoVerticalHeader)
        calendar.setFirstDayOfWeek(Qt.DayOfWeek.Monday)
        day = read_day(self.text(), self.today) or self.today
        calendar.setSelectedDate(QDate(day.year, day.month, day.day))
        calendar.clicked.connect(self._picked)
        calendar.activated.connect(self._picked)
        self._calendar = calendar
        calendar.move(self.mapToGlobal(QPoint(0, self.height())))
        calendar.show()
        calendar.setFocus()

    def calendar_open(self) -> bool:
        """Tell whether the calendar is open."""
        return self._calendar is not None and self._calendar.isVisible()

    def _picked(self, day: QDate) -> None:
        if self._calendar is None:
            return
        calendar, self._calendar = self._calendar, None
        calendar.close()
        calendar.deleteLater()
        self.setText(_written(dt.date(day.year(), day.month(), day.day())))
        self._finished()

    def event(self, event: QEvent) -> bool:
        """Alt+Down opens the calendar."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            held = event.modifiers() & Qt.KeyboardModifier.AltModifier
            if held and event.key() == Qt.Key.Key_Down:
                self.open_calendar()
                return True
        return super().event(event)

    def _finished(self) -> None:
        if self._calendar is None and self.iso() != self._set:
            self._set = self.iso()
            self.committed.emit(self._set)


def _written(day: dt.date) -> str:
    return f"{day_short(day)} {day.year}"


def _calendar_icon() -> QIcon:
    pixmap = QPixmap(28, 28)
    pixmap.setDevicePixelRatio(2)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    ink = theme.colours().quiet
    painter.setPen(ink)
    painter.drawRect(1, 3, 11, 9)
    painter.fillRect(1, 3, 12, 3, ink)
    painter.end()
    return QIcon(pixmap)


class PickEdit(QComboBox):
    """One of a few choices; the first line clears.

    Signals
    -------
    committed(str)
        The code picked; empty clears.
    """

    committed = Signal(str)

    def __init__(
        self, choices: list[tuple[str, str]], parent: QWidget | None = None, *, free: bool = False
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self.setFont(theme.font())
        self.setEditable(free)
        self.addItem(tr("not said"), "")
        for code, words in choices:
            self.addItem(words, code)
        self.activated.connect(lambda _: self.committed.emit(self.code()))
        line = self.lineEdit()
        if line is not None:
            line.editingFinished.connect(lambda: self.committed.emit(self.code()))

    def showPopup(self) -> None:
        """Open the list whole."""
        give_room(self)
        super().showPopup()

    def code(self) -> str:
        """Return the code picked, or the text typed."""
        if self.isEditable() and self.currentText() != self.itemText(self.currentIndex()):
            return self.currentText().strip()
        return str(self.currentData() or "")

    def set_code(self, code: str) -> None:
        """Show a stored choice."""
        at = self.findData(code)
        if at >= 0:
            self.setCurrentIndex(at)
        elif self.isEditable():
            self.setEditText(code)

    def wheelEvent(self, event: object) -> None:
        """Scrolling a page over it must not change it."""
        event.ignore()  # type: ignore[attr-defined]

    def paintEvent(self, event: QPaintEvent) -> None:
        """Show that there is a list to open."""
        super().paintEvent(event)
        paint_chevron(self)


class LineEdit(QLineEdit):
    """A line for a number or a text.

    Signals
    -------
    committed(str)
    """

    committed = Signal(str)

    def __init__(self, key: Key, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._set = ""
        self.is_number = key.kind in ("number", "whole")
        self.setFont(theme.font())
        if self.is_number:
            self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.editingFinished.connect(self._finished)

    def value(self) -> str:
        """Return what the core reads: a decimal comma becomes a point."""
        text = self.text().strip()
        if self.is_number and text.count(",") == 1 and "." not in text:
            return text.replace(",", ".")
        return text

    def set_value(self, text: str) -> None:
        """Show a stored value."""
        self._set = text
        self.setText(text)

    def _finished(self) -> None:
        if self.value() != self._set:
            self._set = self.value()
            self.committed.emit(self._set)


Editor = DayEdit | PickEdit | LineEdit


def make_editor(
    name: str, orchard: Orchard, today: dt.date, parent: QWidget | None = None
) -> Editor:  # fmt: skip
    """Return the editor that suits a setting of a block."""
    key = BLOCK_KEYS[name]
    words = key_words(name)
    made: Editor
    if key.kind == "date":
        made = DayEdit(today, parent)
    elif key.kind == "choice":
        made = PickEdit([(c, choice_word(name, c)) for c in key.choices], parent)
    elif name == "station":
        made = PickEdit([(s.name, s.name) for s in orchard.stations], parent)
    elif name == "gauge":
        made = PickEdit([(g, g) for g in orchard.gauges], parent, free=True)
    else:
        made = LineEdit(key, parent)
    made.setAccessibleName(f"{words.label}, {words.unit}" if words.unit else words.label)
    made.setAccessibleDescription(words.hint)
    return made


def editor_text(editor: QObject) -> str:
    """Return the text of an editor as the core reads it."""
    if isinstance(editor, DayEdit):
        return editor.iso()
    if isinstance(editor, PickEdit):
        return editor.code()
    assert isinstance(editor, LineEdit)
    return editor.value()


def set_editor_text(editor: QObject, text: str) -> None:
    """Show a stored value in an editor."""
    if isinstance(editor, DayEdit):
        editor.set_iso(text)
    elif isinstance(editor, PickEdit):
        editor.set_code(text)
    elif isinstance(editor, LineEdit):
        editor.set_value(text)
