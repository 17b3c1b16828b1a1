"""Readings of the soil at the side of a block's page: what was read, what it did, a new one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QCheckBox, QGridLayout, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from desktop import theme
from desktop.editors import DayEdit, read_day
from desktop.pages.block.bits import Section, figure, row
from desktop.reading_edits import accept_factor, enter_reading, remove_reading
from desktop.session import Session
from desktop.widgets import Choice, Link, restyle, text
from desktop.wording import day_named, fixed, number, say, tr, word
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Block
from waterbudget.outlook import step_note
from waterbudget.records import READING_KINDS, FarmData, Reading
from waterbudget.sensors import Judged

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason

UNITS = {"tensiometer": "kPa", "capacitance": "%", "field": "mm"}


@dataclass
class Typing:
    """What the form keeps from one reading to the next, while the side is laid out anew."""

    open: bool = False
    kind: str = READING_KINDS[0]
    depth: str = ""
    sensor: str = ""
    before_water: bool = True
    focus: bool = False


def judged_readings(data: FarmData, block: BlockSeason) -> list[Judged]:
    """Return a block's readings, newest first; those of later days are not looked at."""
    known = {j.reading.id: j for j in block.readings}
    own = [r for r in data.readings if r.block_id == block.block.id]
    found = [known.get(r.id) or Judged(r, None, counts=False, why="later") for r in own]
    return sorted(found, key=lambda j: (j.reading.date, j.reading.id), reverse=True)


def readings_section(
    session: Session, block: BlockSeason, stored: Block, typing: Typing, count: int,
    again: Callable[[], object],
) -> Section:  # fmt: skip
    """Return the readings of a block with a place to enter one.

    Parameters
    ----------
    typing : Typing
        Kept by the page.
    count : int
        How many readings are listed.
    again : callable
        Lays the side out anew.
    """

    def toggle() -> None:
        typing.open = typing.focus = not typing.open
        again()

    can = session.at_today
    words = (tr("close") if typing.open else tr("enter one")) if can else ""
    section = Section(tr("Readings of the soil"), words, toggle)
    section.setObjectName("readings")
    if can and typing.open:
        form = ReadingForm(session, stored, typing)
        section.add(form)
        if typing.focus:
            typing.focus = False
            QTimer.singleShot(0, form.value, form.value.setFocus)  # once it is laid out
    if block.factor_step is not None:
        _propose(section, session, block, stored)
    data = session.data
    judged = judged_readings(data, block)[:count] if data is not None else []
    if not judged and not typing.open:
        section.add(text(tr("None yet. A tensiometer, a sensor or a spade corrects the balance."),
                         quiet=True, wrap=True))  # fmt: skip
    grid = section.grid()
    grid.setColumnStretch(0, 1)
    at = 0
    for item in judged:
        at = _line(grid, at, session, block, stored, item, can)
    return section


def _line(
    grid: QGridLayout, at: int, session: Session, block: BlockSeason, stored: Block, item: Judged,
    can: bool,
) -> int:  # fmt: skip
    r = item.reading
    name = f"{number(r.value)} {UNITS[r.kind]}"
    if r.depth_cm is not None:
        name = tr("{0} at {1} cm").format(name, number(r.depth_cm))
    if r.sensor:
        name = f"{name}, {r.sensor}"
    missing = ""
    if item.missing_mm is not None:
        missing = tr("{0} mm").format(fixed(item.missing_mm)) + ("+" if item.at_least else "")
    remove: QWidget | None = None
    if can:
        link = Link(tr("remove"), partial(remove_reading, session, stored, r), theme.SMALL)
        link.setAccessibleName(tr("Remove the reading {0} of {1}").format(name, day_named(r.date)))
        remove = link
    label = text(f"{day_named(r.date)}  {name}", quiet=not item.counts, wrap=True)
    row(grid, at, (label, figure(missing, quiet=not item.counts), remove))
    below = text(_effect(block, item), theme.SMALL, quiet=True, wrap=True)
    grid.addWidget(below, at + 1, 0, 1, 3)
    return at + 2


def _effect(block: BlockSeason, item: Judged) -> str:
    """Return what a reading did, or why it does not count."""
    if not item.counts:
        return word(f"reading.why.{item.why}")
    pull = next((p for p in block.pulled if p.date == item.reading.date), None)
    if pull is None:
        return word("reading.why.counts")
    return tr("missing by the balance {0}, counted as {1} mm").format(
        fixed(pull.model_mm), fixed(pull.new_mm)
    )


def _propose(section: Section, session: Session, block: BlockSeason, stored: Block) -> None:
    step = block.factor_step
    assert step is not None
    why = say(step_note(block, step))
    section.add(text(why, wrap=True))
    problem = text("", theme.SMALL, wrap=True)
    problem.setProperty("role", "wrong")
    problem.hide()

    def refuse(error: WaterBudgetError) -> None:
        problem.setText(say(error))
        problem.show()

    words = tr("Take {0} from today on").format(number(step.new, 2))
    link = Link(words, lambda: accept_factor(session, stored, step.new, why, failed=refuse))
    link.setObjectName("take-factor")
    link.setEnabled(session.at_today)
    line = QHBoxLayout()
    line.setContentsMargins(0, 0, 0, 4)
    line.addWidget(link)
    line.addStretch(1)
    section.box.addLayout(line)
    section.add(problem)


class ReadingForm(QWidget):
    """One reading to enter: kind, figure, where, when."""

    def __init__(self, session: Session, block: Block, typing: Typing) -> None:
        super().__init__()
        self.session, self.block, self.typing = session, block, typing
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 6)
        box.setSpacing(4)
        kinds = [(k, word(f"reading.kind.{k}")) for k in READING_KINDS]
        self.kind = Choice(kinds, tr("Kind of reading"))
        self.kind.set_value(typing.kind)
        self.kind.chosen.connect(self._kind)
        self.day = DayEdit(session.today)
        self.day.setAccessibleName(tr("Day of the reading"))
        self.day.set_iso(session.today.isoformat())
        self.value, self.deep, self.sensor = (QLineEdit() for _ in range(3))
        self.unit = text("", quiet=True)
        for edit, wide in ((self.value, 64), (self.deep, 52)):
            edit.setFixedWidth(wide)
            edit.setAlignment(Qt.AlignmentFlag.AlignRight)
        for edit in (self.value, self.deep, self.sensor):
            edit.setFont(theme.font())
            edit.returnPressed.connect(self.store)
        self.deep.setText(typing.depth)
        self.deep.setAccessibleName(tr("Depth of the sensor, cm"))
        self.sensor.setText(typing.sensor)
        self.sensor.setPlaceholderText(tr("its name"))
        self.sensor.setAccessibleName(tr("Name of the sensor"))
        self.before = QCheckBox(tr("read before that day’s water"))
        self.before.setFont(theme.font())
        self.before.setChecked(typing.before_water)
        self.save = Link(tr("Store"), self.store)
        self.hint = text("", theme.SMALL, quiet=True, wrap=True)
        self.problem = text("", theme.SMALL, wrap=True)
        self.problem.setProperty("role", "wrong")
        self.problem.hide()
        self._lay(box)
        self._kind(typing.kind)

    def _lay(self, box: QVBoxLayout) -> None:
        box.addWidget(self.kind)
        self.at = text(tr("at"), quiet=True)
        self.cm = text(tr("cm"), quiet=True)
        for widgets in (
            (self.value, self.unit, self.at, self.deep, self.cm, self.sensor),
            (self.day, self.save),
        ):
            line = QHBoxLayout()
            line.setContentsMargins(0, 0, 0, 0)
            line.setSpacing(6)
            for widget in widgets:
                line.addWidget(widget, 1 if widget in (self.sensor, self.day) else 0)
            box.addLayout(line)
        box.addWidget(self.before)
        box.addWidget(self.hint)
        box.addWidget(self.problem)

    def _kind(self, kind: str) -> None:
        self.typing.kind = kind
        units = {
            "tensiometer": tr("kPa"), "capacitance": tr("% of its span"),
            "field": tr("mm missing"),
        }  # fmt: skip
        hints = {
            "tensiometer": tr("Read it in the morning; within a day of water it is not used."),
            "capacitance": tr("100 = full, the night after a soaking; 0 = where its daily fall "
                              "slackens. Not the % of volume."),
            "field": tr("What the root zone lacks by spade, hand or oven; it weighs more."),
        }  # fmt: skip
        self.unit.setText(units[kind])
        self.value.setAccessibleName(units[kind])
        self.hint.setText(hints[kind])
        for widget in (self.deep, self.sensor, self.at, self.cm):
            widget.setVisible(kind != "field")

    def store(self) -> None:
        """Store the reading; what is wrong is said below."""
        typing = self.typing
        typing.depth, typing.sensor = self.deep.text().strip(), self.sensor.text().strip()
        typing.before_water = self.before.isChecked()
        date = read_day(self.day.text(), self.session.today)
        value, depth = _figure(self.value), _figure(self.deep)
        if date is None or value in (None, "wrong") or depth == "wrong":
            self._say(tr("Type a day and a plain figure."))
            return
        assert isinstance(value, float)
        field = typing.kind == "field"
        reading = Reading(
            self.block.id, date, typing.kind, value,
            None if field or not isinstance(depth, float) else depth,
            None if field else typing.sensor or None, typing.before_water,
        )  # fmt: skip
        self.problem.hide()
        typing.focus = True
        enter_reading(self.session, self.block, reading, done=lambda _: self._stored(date),
                      failed=lambda error: self._say(say(error)))  # fmt: skip

    def _stored(self, date: dt.date) -> None:
        self.session.told.emit(tr("Reading of {0} stored.").format(day_named(date)))

    def _say(self, words: str) -> None:
        self.problem.setText(words)
        self.problem.show()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape empties the figure."""
        if event.key() == Qt.Key.Key_Escape and self.value.text():
            self.value.clear()
        else:
            super().keyPressEvent(event)


def _figure(edit: QLineEdit) -> float | str | None:
    """Return the figure typed, None where nothing is, ``"wrong"`` where it is none."""
    typed = edit.text().strip().replace(",", ".")
    found: float | str | None = None
    if typed:
        try:
            found = float(typed)
        except ValueError:
            found = "wrong"
    edit.setProperty("wrong", "true" if found == "wrong" else "")
    restyle(edit)
    return found


def fresh(typing: Typing) -> Typing:
    """Return the form as another block finds it: closed, with the kind kept."""
    return replace(typing, open=False, depth="", sensor="", focus=False)
