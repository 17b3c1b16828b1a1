"""The questions an import may have, all at once, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QFontDatabase, QKeyEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QFrame,
    QLabel,
    QLineEdit,
    QRadioButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.widgets import Field, rule, text
from desktop.wording import say, template_of, tr, word
from waterbudget.errors import Question


def choice_words(key: str, value: str) -> str:
    """Return plain words for one literal answer; the answer itself where there are none."""
    if key == "changed":
        return {"keep": tr("Keep what is stored"), "replace": tr("Take the new file's")}[value]
    if key == "existing":
        return {
            "replace": tr("Replace the old outlines"), "skip": tr("Skip the new ones"),
            "rename": tr("Take the new ones in under other names"),
        }[value]  # fmt: skip
    if template_of(f"answer.{key}.{value}"):
        return word(f"answer.{key}.{value}")
    if value in ("yes", "no"):
        return word(value)
    plain = {
        "day_first": tr("Day first (31/12)"), "month_first": tr("Month first (12/31)"),
        "dmy": tr("Day first (31/12)"), "mdy": tr("Month first (12/31)"),
        "ymd": tr("Year first"), "start": tr("the beginning of the hour or interval"),
        "end": tr("the end of the hour or interval"), "comma": tr("A comma"),
        "point": tr("A point"),
        "record": tr("A record of days gone by"), "forecast": tr("A forecast of coming days"),
    }  # fmt: skip
    if key in ("date_order", "stamp", "decimal_mark", "import_as"):
        return plain.get(value, value)
    return word(f"choice.{value}") if template_of(f"choice.{value}") else value


def form_words(form: str | None) -> str:
    """Return what form a typed answer has, in plain words."""
    plain = {
        "number_m": tr("A number of metres, such as 2"), "number": tr("A number"),
        "date_iso": tr("A date, such as 2026-03-14"),
        "time_zone": tr("A time zone, such as Africa/Maputo or +02:00"),
        "epsg": tr("The number of the map system, such as EPSG:32736"),
        "text": tr("A name"), "name": tr("A name"),
    }  # fmt: skip
    if form is None:
        return ""
    return plain.get(form) or (word(f"format.{form}") if template_of(f"format.{form}") else "")


class Ask(QWidget):
    """One question: its sentence, the rows it is about, radio buttons or a line.

    Signals
    -------
    changed()
        Another answer was picked or typed.
    """

    changed = Signal()

    def __init__(self, question: Question, suggestion: str = "") -> None:
        super().__init__()
        self.question = question
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 6, 0, 10)
        box.setSpacing(6)
        sentence = say(question)
        box.addWidget(text(sentence, theme.LARGE, wrap=True))
        if question.sample:
            box.addWidget(_sample(question.sample))
        self.group: QButtonGroup | None = None
        self.field: Field | None = None
        if question.choices is not None:
            self.group = QButtonGroup(self)
            for value in question.choices:
                button = QRadioButton(choice_words(question.key, value))
                button.setFont(theme.font())
                button.setProperty("value", value)
                button.setAccessibleDescription(sentence)
                button.installEventFilter(self)
                self.group.addButton(button)
                box.addWidget(button, 0, Qt.AlignmentFlag.AlignLeft)
            self.group.buttonToggled.connect(self._told)
        else:
            self.field = Field("", width=300, hint=form_words(question.format))
            self.field.label.hide()
            self.field.edit.setAccessibleName(sentence)
            self.field.edit.setText(suggestion)
            self.field.edit.textChanged.connect(self._told)
            box.addWidget(self.field)
        self.wrong = text("", theme.SMALL, wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.wrong.hide()
        box.addWidget(self.wrong)

    def answer(self) -> str:
        """Return the literal answer; empty where there is none yet."""
        if self.group is not None:
            button = self.group.checkedButton()
            return str(button.property("value")) if button is not None else ""
        assert self.field is not None
        return self.field.text()

    def refuse(self, sentence: str) -> None:
        """Say what is wrong with the answer."""
        if self.field is not None:
            self.field.refuse(sentence)
        else:
            self.wrong.setText(sentence)
            self.wrong.show()

    def focus_first(self) -> None:
        """Put the keyboard on the first answer."""
        first = self.group.buttons()[0] if self.group is not None else self.editor()
        if first is not None:
            first.setFocus()

    def editor(self) -> QLineEdit | None:
        """Return the line to type in, where there is one."""
        return self.field.edit if self.field is not None else None

    def _told(self, *_: object) -> None:
        self.wrong.hide()
        self.changed.emit()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Enter on a radio button picks it (Space does by itself)."""
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.KeyPress
            and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
            and isinstance(watched, QRadioButton)
            and not watched.isChecked()
        ):
            watched.setChecked(True)
            return True
        return False


class Questions(QScrollArea):
    """All the questions of one file.

    Signals
    -------
    changed(bool)
        True where every question has an answer.
    """

    changed = Signal(bool)

    def __init__(self, questions: Sequence[Question], suggestions: dict[str, str]) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inner = QWidget()
        box = QVBoxLayout(inner)
        box.setContentsMargins(0, 0, 12, 0)
        box.setSpacing(4)
        self.asked = [Ask(q, suggestions.get(q.key, "")) for q in questions]
        for at, ask in enumerate(self.asked):
            if at:
                box.addWidget(rule())
            ask.changed.connect(self._told)
            box.addWidget(ask)
        box.addStretch()
        self._lines = box
        self.setWidget(inner)

    def tall(self, width: int) -> int:
        """Return the height all questions need at a width [px]."""
        return self._lines.totalHeightForWidth(width)

    def answers(self) -> dict[str, str]:
        """Return key and literal answer of every question."""
        return {ask.question.key: ask.answer() for ask in self.asked if ask.answer()}

    def complete(self) -> bool:
        """True where every question has an answer."""
        return all(ask.answer() for ask in self.asked)

    def show_missing(self) -> None:
        """Mark the questions that have no answer yet and go to the first."""
        first: Ask | None = None
        for ask in self.asked:
            if not ask.answer():
                ask.refuse(tr("This needs an answer."))
                first = first or ask
        if first is not None:
            self.ensureWidgetVisible(first)
            first.focus_first()

    def refuse(self, key: str, sentence: str) -> bool:
        """Say at a question what is wrong with its answer; False where it is not asked here."""
        for ask in self.asked:
            if ask.question.key == key:
                ask.refuse(sentence)
                ask.focus_first()
                return True
        return False

    def _told(self) -> None:
        self.changed.emit(self.complete())


def _sample(rows: Sequence[str]) -> QLabel:
    """Return a few rows of the file, as they stand there, in a font of equal widths."""
    label = text("\n".join(row[:400] for row in rows))
    font = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
    font.setPixelSize(theme.SMALL)
    label.setFont(font)
    label.setProperty("role", "sample")
    label.setContentsMargins(8, 6, 8, 6)
    label.setMinimumWidth(60)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return label
