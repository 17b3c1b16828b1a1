"""Every way the week goes out: the sheet on paper, a calendar file, a message, a list."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import (
    QDialog,
    QGridLayout,
    QHBoxLayout,
    QPlainTextEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.exports import Way
from desktop.models.week import WeekTable, week_given
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Choice, Link, text
from desktop.wording import LANGUAGES, day_named, language, say, tr
from waterbudget.errors import WaterBudgetError

if TYPE_CHECKING:
    from desktop.pages.home_exports import Exports
    from waterbudget.records import GivenWeek

WIDE, TALL = 720, 600
LONGEST = 1000
"""Letters a message should stay under."""


class WeekOutDialog(QDialog):
    """Print, save, copy: for whom, in which language, as planned or as handed out.

    Parameters
    ----------
    window : QWidget
    session : Session
    table : WeekTable
        The week as Home shows it.
    exports : Exports
        Writes the files.
    """

    def __init__(
        self, window: QWidget, session: Session, table: WeekTable, exports: Exports
    ) -> None:  # fmt: skip
        super().__init__(window)
        self.session, self.table, self.exports = session, table, exports
        self.texts: dict[str, str] = {}
        self.setWindowTitle(tr("Print / export"))
        self.setWindowModality(Qt.WindowModality.WindowModal)
        box = QVBoxLayout(self)
        box.setContentsMargins(26, 20, 26, 18)
        box.setSpacing(10)
        box.addWidget(text(tr("The week on its way out"), theme.TITLE, bold=True))
        box.addLayout(self._choices())
        self.told = text("", quiet=True, wrap=True)
        box.addWidget(self.told)
        box.addLayout(self._files())
        box.addLayout(self._message(), 1)
        self.shut = QPushButton(tr("Close"))
        self.shut.setAutoDefault(False)
        self.shut.clicked.connect(self.reject)
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(self.shut)
        box.addLayout(row)
        room = window.size()
        self.resize(min(WIDE, room.width() - 40), min(TALL, room.height() - 40))
        self._again()
        self.paper.setFocus()

    # -- building ------------------------------------------------------------------------

    def _choices(self) -> QGridLayout:
        given = self._given()
        grid = QGridLayout()
        grid.setHorizontalSpacing(14)
        grid.setVerticalSpacing(6)
        spoken = Settings().sheet_language or language()
        self.language = Choice(list(LANGUAGES.items()), tr("Language of the sheet"))
        self.language.set_value(spoken)
        blocks = self.session.season.blocks if self.session.season is not None else ()
        people = sorted({b.block.valve_person or "" for b in blocks})
        self.people = ["*", *(people if len(people) > 1 else ())]
        self.person = Choice(
            [(str(k), self._name(p)) for k, p in enumerate(self.people)], tr("For whom")
        )
        self.which = Choice([], tr("Which week"))
        if given is not None:
            self.which.addItem(tr("as handed out, no. {0}").format(given.number), "given")
        if given is None or self.table.changed_cells:
            self.which.addItem(tr("as planned now"), "proposal")
        for column, (name, choice) in enumerate((
            (tr("Language of the sheet"), self.language), (tr("For whom"), self.person),
            (tr("Which week"), self.which),
        )):  # fmt: skip
            grid.addWidget(text(name, theme.SMALL, quiet=True), 0, column)
            grid.addWidget(choice, 1, column)
            grid.setColumnStretch(column, 1)
            choice.chosen.connect(self._again)
        self.language.chosen.connect(self._spoke)
        return grid

    def _files(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(18)
        grid.setVerticalSpacing(8)
        self.paper = QPushButton(tr("Open the sheet to print it"))
        self.paper.setProperty("main", "true")
        self.save = QPushButton(tr("Save the sheet, PDF…"))
        self.calendar = QPushButton(tr("Calendar file…"))
        self.list = QPushButton(tr("Waterings as a CSV file…"))
        told = (
            (self.paper, lambda: self.exports.print_out(self.way()),
             tr("One A4 page for each person, at least 12 point, in black.")),
            (self.save, lambda: self.exports.ask("pdf", self.way()),
             tr("The same paper as a file.")),
            (self.calendar, lambda: self.exports.ask("ics", self.way()),
             tr("Every watering with its beginning and end, for a calendar or phone.")),
            (self.list, lambda: self.exports.ask("sets", self.way()),
             tr("One line for each watering, for a spreadsheet.")),
        )  # fmt: skip
        for row, (button, do, words) in enumerate(told):
            self._join(button, do)
            grid.addWidget(button, row, 0)
            grid.addWidget(text(words, quiet=True, wrap=True), row, 1)
        grid.setColumnStretch(1, 1)
        return grid

    def _join(self, button: QPushButton, do: Callable[[], object]) -> None:
        button.setAutoDefault(False)
        button.clicked.connect(lambda: do())

    def _message(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(4)
        row = QHBoxLayout()
        row.addWidget(text(tr("Message"), theme.LEAD, bold=True))
        self.count = text("", theme.SMALL, quiet=True)
        row.addWidget(self.count)
        row.addStretch(1)
        self.copy = Link(tr("Copy the message"), self._copy)
        row.addWidget(self.copy)
        column.addLayout(row)
        self.message = QPlainTextEdit()
        self.message.setReadOnly(True)
        self.message.setFont(theme.font())
        self.message.setAccessibleName(tr("Message"))
        self.message.setTabChangesFocus(True)
        column.addWidget(self.message, 1)
        return column

    # -- what is chosen ------------------------------------------------------------------

    def _given(self) -> GivenWeek | None:
        data = self.session.data
        return week_given(data, self.table.on) if data is not None else None

    def _name(self, person: str) -> str:
        return tr("everyone") if person == "*" else person or tr("nobody named")

    def way(self) -> Way:
        """Return what is chosen."""
        person = self.people[int(self.person.value() or 0)]
        return Way(
            self.language.value(), None if person == "*" else person,
            self.which.value() == "proposal",
        )  # fmt: skip

    def _spoke(self, code: str) -> None:
        """Keep the language for the next time."""
        Settings().sheet_language = code

    def _again(self, _: str = "") -> None:
        """Say which week it is and write the message anew."""
        way, season = self.way(), self.session.season
        given = self.exports.given(way)
        self.told.setText(self._which_words(given))
        if season is None:
            return

        def work(_: Any) -> dict[str, str]:
            from waterbudget.paper import messages

            return messages(season, given=given, language=way.spoken, person=way.person)

        self.session.query(work, self._shown, self._failed, key="week message")

    def _which_words(self, given: GivenWeek | None) -> str:
        if given is None:
            return tr("This is a proposal: hand the week out first, so that the sheet has its "
                      "number.")  # fmt: skip
        words = tr("Number {0}, handed out {1} {2}: always the same figures.").format(
            given.number, day_named(given.given_at.date()), f"{given.given_at:%H:%M}"
        )
        if self.table.changed_cells:
            words += " " + tr("The plan has changed since.")
        return words

    def _shown(self, texts: dict[str, str]) -> None:
        self.texts = texts
        self.message.setPlainText("\n\n".join(texts.values()))
        sizes = [len(t) for t in texts.values()]
        one, many = tr("{0} letters"), tr("{0} messages, {1} letters at most")
        if not sizes:
            words = tr("No watering this week.")
        elif len(sizes) == 1:
            words = one.format(sizes[0])
        else:
            words = many.format(len(sizes), max(sizes))
        if sizes and max(sizes) >= LONGEST:
            words += " · " + tr("long for one message")
        self.count.setText(words)
        self.copy.setEnabled(bool(sizes))

    def _failed(self, error: WaterBudgetError) -> None:
        self.count.setText(say(error))
        self.copy.setEnabled(False)

    def _copy(self) -> None:
        QGuiApplication.clipboard().setText(self.message.toPlainText())
        self.session.told.emit(tr("The message is on the clipboard."))
        self.count.setText(tr("Copied."))
