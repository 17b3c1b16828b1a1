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
    bare = key.partition(":")[0]  # of several blocks or days the key names them
    if template_of(f"answer.{bare}.{value}"):
        return word(f"answer.{bare}.{value}")
    kind = key.split("_")[0] if key.startswith(("column_", "nines_", "unit_")) else key
    if kind == "unit" or key == "units":
        return unit_words(value)
    found = _answers().get(kind, {}).get(value)
    if found is not None:
        return found
    return word(value) if value in ("yes", "no") else value


def _answers() -> dict[str, dict[str, str]]:
    return {
        "changed": {"keep": tr("Keep what is stored"), "replace": tr("Take the new file's")},
        "existing": {
            "replace": tr("Replace the old outlines"), "skip": tr("Skip the new ones"),
            "rename": tr("Take the new ones in under other names"),
        },
        "date_order": {
            "dmy": tr("The day (31/12)"), "mdy": tr("The month (12/31)"), "ymd": tr("The year"),
        },
        "stamp": {"start": tr("The start"), "end": tr("The end")},
        "decimal_mark": {
            "comma": tr("It is a decimal comma"), "point": tr("It parts thousands"),
        },
        "rain_kind": {
            "depth": tr("The rain of each row"), "running_total": tr("A total that runs on"),
            "day_total": tr("The day's total on every row"),
        },
        "unlisted_days": {"no_rain": tr("There was no rain"), "unknown": tr("It is not known")},
        "blank_rain": {"no_rain": tr("No rain"), "missing": tr("Not measured")},
        "duplicate_days": {"first": tr("The first"), "last": tr("The last")},
        "nines": {"missing": tr("A mark for missing"), "value": tr("A real value"),
                  "real": tr("A real value")},
        "column": {"none": tr("None of them"), "sum": tr("All of them, added up")},
        "underlay": {"picture": tr("A picture of the ground"), "heights": tr("Heights")},
        "import_as": {
            "record": tr("A record of days gone by"), "forecast": tr("A forecast of coming days"),
        },
    }  # fmt: skip


def unit_words(value: str) -> str:
    """Return a unit as people write it."""
    plain = {
        "C": "°C", "F": "°F", "K": tr("kelvin (K)"), "%": "%",
        "fraction": tr("a share of 1"), "mm": "mm", "cm": "cm", "m": "m",
        "inch": tr("inches"), "hundredth_inch": tr("hundredths of an inch"),
        "h": tr("hours"), "min": tr("minutes"), "s": tr("seconds"),
        "mph": tr("miles an hour"), "knots": tr("knots"), "miles/day": tr("miles a day"),
        "km/day": tr("km a day"), "langley": tr("langleys"), "MJ/m2": "MJ/m²", "W/m2": "W/m²",
        "kW/m2": "kW/m²", "J/cm2": "J/cm²", "kJ/m2": "kJ/m²", "J/m2": "J/m²", "Wh/m2": "Wh/m²",
        "kWh/m2": "kWh/m²",
    }  # fmt: skip
    for start, words in (("tenth_", tr("tenths of {0}")), ("hundredth_", tr("hundredths of {0}"))):
        if value.startswith(start) and value not in plain:
            return words.format(unit_words(value.removeprefix(start)))
    return plain.get(value, value)


def form_words(form: str | None) -> str:
    """Return what form a typed answer has, in plain words."""
    plain = {
        "number_m": tr("A number of metres, such as 2"), "number": tr("A number"),
        "number_m3": tr("A number of m³, as on the dial"),
        "digits": tr("How many figures, such as 5"),
        "date_iso": tr("A date, such as 2026-03-14"),
        "time_zone": tr("A time zone, such as Africa/Maputo or +02:00"),
        "epsg": tr("The number of the map system, such as EPSG:32736"),
        "number_mm": tr("A number of millimetres, such as 0.2"),
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

    def __init__(self, question: Question, suggestion: str = "", sample: bool = True) -> None:
        super().__init__()
        self.question = question
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 6, 0, 10)
        box.setSpacing(6)
        sentence = say(question)
        box.addWidget(text(sentence, theme.LARGE, wrap=True))
        if question.sample and sample:
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
        before: tuple[str, ...] = ()
        self.asked: list[Ask] = []
        for question in questions:
            rows_differ = question.sample != before
            proposed = str(question.fields.get("suggested") or "")
            given = suggestions.get(question.key, proposed)
            self.asked.append(Ask(question, given, rows_differ))
            before = question.sample or before
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
