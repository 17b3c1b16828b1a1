"""Bucket tests: litres and seconds of a few outlets make the flow of a block.

The window's order ``bucket`` opens it (``navigate("bucket", block=...)``); what was typed for a
block stays while the window of the tests is open, so that one can go on and come back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.block_edits import block_of, set_keys
from desktop.session import Session
from desktop.widgets import Choice, Link, restyle, text
from desktop.wording import number, say, tr, word
from waterbudget.errors import Refused, WaterBudgetError
from waterbudget.hydraulics import BucketTest, bucket_flow_m3_h
from waterbudget.orchard import read_number

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason

ROWS = 5
WIDE = 560
DECIMALS = 3
"""A flow is stored to the litre an hour."""


class Incomplete(Exception):
    """Not enough is typed yet, or something that is no number; says so in one sentence."""

    def __init__(self, sentence: str, at: QLineEdit | None = None, *, wrong: bool = False) -> None:
        super().__init__(sentence)
        self.sentence, self.at, self.wrong = sentence, at, wrong


@dataclass
class _Draft:
    """What is typed for one block."""

    catches: list[tuple[str, str]] = field(default_factory=lambda: [("", "")] * ROWS)
    outlets: str = ""


class BucketDialog(QDialog):
    """One block's bucket test, and on to the next block without a flow.

    Parameters
    ----------
    window : QWidget
    session : Session
    navigate : callable
        The way to the columns where a meter's flow is typed.
    block : int, optional
        The block to begin with; the first one without a flow if not given.
    """

    def __init__(
        self, window: QWidget, session: Session, navigate: Callable[..., Any],
        block: int | None = None,
    ) -> None:  # fmt: skip
        super().__init__(window)
        self.session, self.navigate = session, navigate
        self.block_id: int | None = None
        self._drafts: dict[int, _Draft] = {}
        self._storing = False
        self.setWindowTitle(tr("Bucket test"))
        self.setWindowModality(Qt.WindowModality.WindowModal)
        self.setFixedWidth(WIDE)
        box = QVBoxLayout(self)
        box.setContentsMargins(26, 20, 26, 18)
        box.setSpacing(8)
        box.addLayout(self._head())
        box.addWidget(text(
            tr("Open the valve and wait until the pressure holds. Catch three to five outlets, "
               "near and far, high and low, and count the seconds."), wrap=True,
        ))  # fmt: skip
        box.addWidget(_caution())
        box.addLayout(self._lines())
        box.addWidget(self._answer(), 1)
        box.addLayout(self._buttons())
        undo = QShortcut(QKeySequence(QKeySequence.StandardKey.Undo), self)
        undo.activated.connect(session.undo_last)
        session.season_changed.connect(self._refresh)
        first = block if block is not None else self.next_block()
        blocks = self._blocks()
        self._show(first if first is not None else blocks[0].block.id if blocks else None)

    # -- building ------------------------------------------------------------------------

    def _head(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(4)
        row = QHBoxLayout()
        row.setSpacing(12)
        row.addWidget(text(tr("Bucket test"), theme.TITLE, bold=True))
        row.addStretch(1)
        self.choice = Choice([], tr("Block"))
        self.choice.setMinimumWidth(220)
        self.choice.chosen.connect(lambda value: self._show(int(value)))
        row.addWidget(self.choice)
        column.addLayout(row)
        self.known = text("", quiet=True, wrap=True)
        column.addWidget(self.known)
        return column

    def _lines(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(10)
        grid.setVerticalSpacing(4)
        grid.setColumnStretch(3, 1)
        for column, head in enumerate((tr("litres"), tr("seconds")), start=1):
            grid.addWidget(text(head, theme.SMALL, quiet=True), 0, column)
        self.lines: list[tuple[QLineEdit, QLineEdit]] = []
        for row in range(1, ROWS + 1):
            grid.addWidget(text(tr("Catch {0}").format(row)), row, 0)
            litres = self._edit(tr("Catch {0}, litres").format(row))
            seconds = self._edit(tr("Catch {0}, seconds").format(row))
            self.lines.append((litres, seconds))
            grid.addWidget(litres, row, 1)
            grid.addWidget(seconds, row, 2)
        grid.setRowMinimumHeight(ROWS + 1, 6)
        self.outlets = self._edit(tr("Outlets of the block"))
        label = text(tr("Outlets of the block"))
        label.setBuddy(self.outlets)
        self.outlets_from = text("", theme.SMALL, quiet=True, wrap=True)
        grid.addWidget(label, ROWS + 2, 0)
        grid.addWidget(self.outlets, ROWS + 2, 1)
        grid.addWidget(self.outlets_from, ROWS + 2, 2, 1, 2)
        return grid

    def _edit(self, name: str) -> QLineEdit:
        edit = QLineEdit()
        edit.setFont(theme.font())
        edit.setFixedWidth(110)
        edit.setAccessibleName(name)
        edit.setAcceptDrops(False)
        edit.textEdited.connect(lambda _: self._typed())
        edit.returnPressed.connect(self._store)
        return edit

    def _answer(self) -> QWidget:
        plate = QFrame()
        plate.setProperty("role", "plate")
        column = QVBoxLayout(plate)
        column.setContentsMargins(12, 8, 12, 8)
        self.told = text("", theme.LARGE, wrap=True)
        self.told.setMinimumHeight(46)
        column.addWidget(self.told)
        return plate

    def _buttons(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(8)
        row = QHBoxLayout()
        row.setSpacing(10)
        self.store = QPushButton(tr("Store the flow"))
        self.store.setProperty("main", "true")
        self.store.clicked.connect(self._store)
        self.next = QPushButton(tr("Next block without a flow"))
        self.next.clicked.connect(self._go_next)
        self.shut = QPushButton(tr("Close"))
        self.shut.clicked.connect(self.accept)
        for button in (self.store, self.next, self.shut):
            button.setAutoDefault(False)  # Enter in a line stores; it must not press another one
        row.addWidget(self.store)
        row.addWidget(self.next)
        row.addStretch(1)
        row.addWidget(self.shut)
        column.addLayout(row)
        self.meter = Link(tr("A meter or a catalogue instead: type the flow in the table"),
                          self._to_table)  # fmt: skip
        column.addWidget(self.meter)
        return column

    # -- which block ---------------------------------------------------------------------

    def _blocks(self) -> tuple[BlockSeason, ...]:
        return tuple(self.session.season.blocks) if self.session.season is not None else ()

    def next_block(self) -> int | None:
        """Return the next block down the list that still lacks a flow; None where none does."""
        blocks = self._blocks()
        ids = [b.block.id for b in blocks]
        at = ids.index(self.block_id) + 1 if self.block_id in ids else 0
        after = [b for b in (*blocks[at:], *blocks[:at]) if b.block.id != self.block_id]
        return next((b.block.id for b in after if "flow" in b.missing), None)

    def _go_next(self) -> None:
        found = self.next_block()
        if found is not None:
            self._show(found)

    def _show(self, block_id: int | None) -> None:
        """Show a block, with what was typed for it before."""
        self._keep()
        self.block_id = block_id
        found = self._found()
        if found is None:
            return
        draft = self._drafts.get(found.block.id) or _Draft(outlets=_outlets(found))
        for (litres, seconds), (one, other) in zip(self.lines, draft.catches, strict=True):
            litres.setText(one)
            seconds.setText(other)
        self.outlets.setText(draft.outlets)
        self._refresh()
        self.lines[0][0].setFocus()

    def _keep(self) -> None:
        if self.block_id is not None:
            catches = [(litres.text(), seconds.text()) for litres, seconds in self.lines]
            self._drafts[self.block_id] = _Draft(catches, self.outlets.text())

    def _found(self) -> BlockSeason | None:
        return next((b for b in self._blocks() if b.block.id == self.block_id), None)

    def _refresh(self, *_: object) -> None:
        """Show what is stored now; what is being typed is left alone."""
        blocks = self._blocks()
        self.choice.clear()
        for b in blocks:
            lacks = "flow" in b.missing
            words = tr("{0} – no flow yet").format(b.block.name) if lacks else b.block.name
            self.choice.addItem(words, str(b.block.id))
        self.choice.set_value(str(self.block_id))
        found = self._found()
        if found is not None:
            left = sum("flow" in b.missing for b in blocks)
            self.known.setText(_known(found) + " " + _left(left))
            self.outlets_from.setText(_outlets_from(found))
        self.next.setEnabled(self.next_block() is not None)
        self._typed()

    # -- what it comes to ----------------------------------------------------------------

    def _typed(self) -> None:
        """Say at once what the catches come to."""
        self._mark(None)
        try:
            found = self.made()
        except Incomplete as lack:
            self._say(lack.sentence, wrong=lack.wrong)
            self._mark(lack.at if lack.wrong else None)
        except WaterBudgetError as error:
            self._say(say(error), wrong=True)
        else:
            self._say(_result_words(found, sum(bool(a.text().strip()) for a, _ in self.lines)))
        self.store.setEnabled(self.session.at_today and not self._storing)
        if not self.session.at_today:
            self._say(tr("Only today's morning can be edited."))

    def made(self) -> BucketTest:
        """Return what the typed catches come to.

        Raises
        ------
        Incomplete
            Where something is not typed yet or is no number.
        Refused
            Where the numbers cannot be.
        """
        catches, rows = [], []
        for row, (litres, seconds) in enumerate(self.lines, start=1):
            typed = [edit.text().strip() for edit in (litres, seconds)]
            if not any(typed):
                continue
            if not all(typed):
                lacks = litres if not typed[0] else seconds
                raise Incomplete(tr("Catch {0} needs both litres and seconds.").format(row), lacks)
            catches.append((_number(litres), _number(seconds)))
            rows.append(row)
        if not catches:
            raise Incomplete(tr("Type litres and seconds of each catch."), self.lines[0][0])
        if not self.outlets.text().strip():
            raise Incomplete(tr("Type how many outlets the valve feeds."), self.outlets)
        try:
            return bucket_flow_m3_h(catches, _count(self.outlets))
        except Refused as error:
            if "row" in error.fields:  # the core counts the catches, the window its lines
                error.fields["row"] = rows[error.fields["row"] - 1]
            raise

    def _mark(self, wrong: QLineEdit | None) -> None:
        for edit in (*(e for line in self.lines for e in line), self.outlets):
            state = "true" if edit is wrong else ""
            if (edit.property("wrong") or "") != state:
                edit.setProperty("wrong", state)
                restyle(edit)

    def _say(self, words: str, *, wrong: bool = False) -> None:
        self.told.setText(words)
        self.told.setProperty("role", "wrong" if wrong else "")
        restyle(self.told)
        for edit in (*(e for line in self.lines for e in line), self.outlets):
            edit.setAccessibleDescription(words)

    # -- storing -------------------------------------------------------------------------

    def _store(self) -> None:
        found = block_of(self.session, self.block_id) if self.block_id is not None else None
        if found is None or self._storing or not self.session.at_today:
            return
        try:
            flow = self.made().flow_m3_h
        except Incomplete as lack:
            self._say(lack.sentence, wrong=True)
            self._mark(lack.at)
            (lack.at or self.outlets).setFocus()
            return
        except WaterBudgetError as error:
            self._say(say(error), wrong=True)
            return
        self._storing = True
        self.store.setEnabled(False)
        pairs = {"flow_m3_h": number(flow, DECIMALS), "flow_from": "bucket"}
        set_keys(self.session, found, pairs, done=partial(self._stored, found.id),
                 failed=self._failed)  # fmt: skip

    def _stored(self, block_id: int, _: object) -> None:
        self._storing = False
        self._refresh()
        if block_id == self.block_id:
            (self.next if self.next.isEnabled() else self.shut).setFocus()

    def _failed(self, error: WaterBudgetError) -> None:
        self._storing = False
        self._typed()
        self._say(say(error), wrong=True)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter presses the button the keyboard is on, as Space does."""
        pressed = self.focusWidget()
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and isinstance(pressed, QPushButton):
            pressed.click()
        else:
            super().keyPressEvent(event)

    def _to_table(self) -> None:
        self.accept()
        self.navigate("blocks", columns="watering")


def _caution() -> QWidget:
    return text(
        tr("Keep hands and feet clear of the pump, and have dry hands at the switch."),
        bold=True, wrap=True,
    )  # fmt: skip


def _outlets(found: BlockSeason) -> str:
    """Return trees times outlets a tree where both are known, as text to begin with."""
    each = found.block.outlets_per_tree
    if found.trees is None or each is None:
        return ""
    return str(max(round(found.trees * each), 1))


def _outlets_from(found: BlockSeason) -> str:
    each = found.block.outlets_per_tree
    if found.trees is None:
        return tr("count those the valve feeds")
    if each is None:
        return tr("{0} trees; outlets a tree are not known").format(found.trees)
    return tr("{0} trees, outlets a tree: {1}").format(found.trees, number(each, 2))


def _known(found: BlockSeason) -> str:
    flow = found.flow
    if flow.m3_h is None:
        return tr("No flow is stored for it.")
    how = word(f"flow.{flow.source}")
    return tr("Stored now: {0} m³/h, {1}.").format(number(flow.m3_h, 2), how)


def _left(count: int) -> str:
    if not count:
        return tr("Every block has a flow.")
    one = tr("1 block has no flow yet.")
    return one if count == 1 else tr("{0} blocks have no flow yet.").format(count)


def _result_words(found: BucketTest, catches: int) -> str:
    each, block = number(found.outlet_l_h, 1), number(found.flow_m3_h, 2)
    if catches < 2:
        return tr("{0} L/h an outlet, {1} m³/h for the block; one catch shows no spread").format(
            each, block
        )
    return tr("{0} L/h an outlet, {1} m³/h for the block, spread {2} %").format(
        each, block, number(found.spread_pct, 0)
    )


def _number(edit: QLineEdit) -> float:
    """Return the number in a line; a decimal comma is read as one."""
    try:
        return read_number(edit.text().strip().replace(",", "."))
    except ValueError:
        words = tr("{0} is no number.").format(edit.text().strip())
        raise Incomplete(words, edit, wrong=True) from None


def _count(edit: QLineEdit) -> float:
    """Return a count; a comma or a point in it could mean thousands, so neither is taken."""
    typed = "".join(edit.text().split())
    if not (typed.isascii() and typed.isdigit()):
        words = tr("{0} is no whole number: type the outlets without point or comma.").format(
            edit.text().strip()
        )
        raise Incomplete(words, edit, wrong=True)
    return float(typed)
