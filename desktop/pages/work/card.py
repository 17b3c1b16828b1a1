"""The card of one field day: what it is, what to mind, and how to enter it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QScrollArea, QVBoxLayout, QWidget

from desktop import theme, work_edits
from desktop.models.work import BoardRow
from desktop.pages.work.words import cautions, job_state, job_title
from desktop.session import Session
from desktop.widgets import Choice, Field, Link, rule, text
from desktop.wording import day_year, number, say, tr
from waterbudget.errors import Note, Refused, WaterBudgetError
from waterbudget.fieldwork import Job
from waterbudget.orchard import read_date, read_number
from waterbudget.records import FieldEntry

LABEL = 84


class JobCard(QFrame):
    """One job, or an empty day of a block.

    Signals
    -------
    stored()
        Something was entered.
    """

    stored = Signal()

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.row: BoardRow | None = None
        self.job: Job | None = None
        self.date: dt.date | None = None
        self.setProperty("role", "plate")
        self._build()
        self.show_nothing()

    # -- building ------------------------------------------------------------------------

    def _build(self) -> None:
        box = QVBoxLayout(self)
        box.setContentsMargins(12, 8, 12, 8)
        box.setSpacing(4)
        self.title = text("", theme.LARGE, bold=True, wrap=True)
        self.state = text("", quiet=True, wrap=True)
        box.addWidget(self.title)
        box.addWidget(self.state)
        self.form = QWidget()
        form = QVBoxLayout(self.form)
        form.setContentsMargins(0, 0, 0, 0)
        form.setSpacing(3)
        self.on = Field(tr("Date"), width=110, label_width=LABEL, placeholder="2025-08-25")
        self.what = Field(tr("What"), width=170, label_width=LABEL)
        words = tr("The class in general words; doses are recorded as the label asks.")
        self.what.edit.setToolTip(words)
        self.placed = Choice(
            [("soil", tr("on the soil")), ("water", tr("with the water"))], tr("How it is given")
        )
        self.nitrogen = Field(tr("Nitrogen"), tr("kg/ha"), width=70, label_width=LABEL)
        self.person = Field(tr("Person"), width=170, label_width=LABEL)
        self.placed_line = self._line_of(self.placed, tr("Given"))
        for widget in (self.on, self.what, self.placed_line, self.nitrogen, self.person):
            form.addWidget(widget)
        self.problem = text("", theme.SMALL, wrap=True)
        self.problem.setProperty("role", "wrong")
        form.addWidget(self.problem)
        self.done_button = QPushButton(tr("Done on this date"))
        self.done_button.setProperty("main", "true")
        self.skip = Link(tr("Leave out"), self._skip)
        self.forget = Link(tr("As if nothing was entered"), self._forget)
        form.addWidget(self.done_button)
        links = QHBoxLayout()
        links.setSpacing(16)
        links.addWidget(self.skip)
        links.addWidget(self.forget)
        links.addStretch(1)
        form.addLayout(links)
        box.addWidget(self.form)
        self.new = QWidget()
        new = QVBoxLayout(self.new)
        new.setContentsMargins(0, 0, 0, 0)
        self.new_feed = Link(tr("Plan a feeding here"), lambda: self._plan("feed"))
        self.new_spray = Link(tr("Plan a spraying here"), lambda: self._plan("spray"))
        new.addWidget(self.new_feed)
        new.addWidget(self.new_spray)
        box.addWidget(self.new)
        box.addWidget(rule())
        box.addWidget(self._sentences(), 1)
        self._join()

    def _line_of(self, choice: Choice, words: str) -> QWidget:
        """Return a choice behind its name, in line with the fields."""
        made = QWidget()
        line = QHBoxLayout(made)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(8)
        label = text(words)
        label.setFixedWidth(LABEL)
        line.addWidget(label)
        line.addWidget(choice)
        line.addStretch(1)
        return made

    def _sentences(self) -> QScrollArea:
        """Return the part that rolls: cautions and notes."""
        roll = QScrollArea()
        roll.setWidgetResizable(True)
        roll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inside = QWidget()
        self.told = QVBoxLayout(inside)
        self.told.setContentsMargins(0, 2, 4, 0)
        self.told.setSpacing(6)
        roll.setWidget(inside)
        return roll

    def _join(self) -> None:
        self.on.committed.connect(self._moved)
        self.what.committed.connect(lambda words: self._change(what=words or None))
        self.person.committed.connect(lambda words: self._change(person=words or None))
        self.placed.chosen.connect(lambda value: self._change(placed=value))
        self.nitrogen.committed.connect(self._nitrogen)
        self.done_button.clicked.connect(self._done)

    # -- what is shown -------------------------------------------------------------------

    def show_nothing(self) -> None:
        """Ask for a job to be chosen."""
        self.row = self.job = self.date = None
        self.title.setText(tr("No field day chosen"))
        words = tr("Click a mark on the board, or walk there with the arrow keys. A click on an "
                   "empty day plans an extra one.")  # fmt: skip
        self.state.setText(words)
        self.form.hide()
        self.new.hide()
        self._tell([])

    def show_day(self, row: BoardRow, date: dt.date) -> None:
        """Show a day of a block on which nothing is due."""
        self.row, self.job, self.date = row, None, date
        self.title.setText(row.name)
        self.state.setText(day_year(date))
        self.form.hide()
        self.new.setVisible(self.session.at_today)
        self._tell([say(n) for n in row.notes if isinstance(n, Note)])

    def show_job(self, row: BoardRow, job: Job) -> None:
        """Show a job."""
        self.row, self.job, self.date = row, job, None
        self.title.setText(f"{row.name}: {job_title(job)}")
        self.state.setText(job_state(job, self.session.today))
        self.new.hide()
        self.form.show()
        self.problem.hide()
        feed = job.kind == "feed"
        self.placed_line.setVisible(feed)
        self.nitrogen.setVisible(feed)
        self.on.set_text(job.date.isoformat())
        self.what.set_text(job.what or "")
        self.person.set_text(job.person or "")
        self.placed.set_value(job.placed or "soil")
        self.nitrogen.set_text("" if job.n_kg_ha is None else number(job.n_kg_ha, 1))
        here = self.session.at_today
        self.done_button.setVisible(job.state != "done")
        self.done_button.setEnabled(here and job.date <= self.session.today)
        self.done_button.setToolTip(
            "" if job.date <= self.session.today else tr("This date has not come yet.")
        )
        self.skip.setVisible(here and job.state in ("due", "moved") and job.cycle_day is not None)
        self.forget.setVisible(here and job.entry_id > 0)
        self.forget.setText(
            tr("Take it away") if job.cycle_day is None else tr("As if nothing was entered")
        )
        for field in (self.on, self.what, self.person, self.nitrogen, self.placed):
            field.setEnabled(here)
        notes = [say(n) for n in row.notes if isinstance(n, Note)]
        self._tell([*cautions(job), *(n for n in notes if job.counts)])

    def _tell(self, sentences: list[str]) -> None:
        while (item := self.told.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        for sentence in sentences:
            self.told.addWidget(text(sentence, wrap=True))
        self.told.addStretch(1)

    def start(self) -> None:
        """Put the keyboard into the date."""
        if self.form.isVisible():
            self.on.edit.setFocus()
            self.on.edit.selectAll()

    # -- edits ----------------------------------------------------------------------------

    def _moved(self, typed: str) -> None:
        try:
            date = read_date(typed)
        except Refused as fault:
            self.on.refuse(say(fault))
            return
        self._change(date=date)

    def _nitrogen(self, typed: str) -> None:
        try:
            value = read_number(typed.replace(",", ".")) if typed else None
        except ValueError:
            self.nitrogen.refuse(tr("Kilograms of nitrogen a hectare, such as 30."))
            return
        self._change(n_kg_ha=value)

    def _done(self) -> None:
        self._change(done=True, skipped=False)

    def _skip(self) -> None:
        self._change(skipped=True, done=False)

    def move_job(self, row: BoardRow, job: Job, date: dt.date) -> None:
        """Move a job to another day."""
        self.show_job(row, job)
        self._change(date=date, skipped=False)

    def _change(self, **changed: Any) -> None:
        if self.row is None or self.job is None:
            return
        entry = work_edits.entry_of(self.job, **changed)
        work_edits.enter(self.session, self.row.name, entry, done=self._stored,
                         failed=self._failed())  # fmt: skip

    def _plan(self, kind: str) -> None:
        if self.row is None or self.date is None:
            return
        entry = FieldEntry(block_id=self.row.block_id, date=self.date, kind=kind)
        work_edits.enter(self.session, self.row.name, entry, done=self._stored,
                         failed=self.session.refused.emit)  # fmt: skip

    def _forget(self) -> None:
        if self.row is not None and self.job is not None:
            work_edits.remove(self.session, self.row.name, self.job, done=self._stored,
                              failed=self._failed())  # fmt: skip

    def _stored(self, _: object) -> None:
        self.stored.emit()

    def _failed(self) -> Callable[[WaterBudgetError], None]:
        job = self.job

        def tell(error: WaterBudgetError) -> None:
            if self.job is job and self.row is not None and job is not None:
                self.on.set_text(job.date.isoformat())
                self.problem.setText(say(error))
                self.problem.show()

        return tell
