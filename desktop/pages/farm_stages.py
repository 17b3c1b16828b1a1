"""The stage table every block starts from: defaults with their source, and the farm's own."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QGridLayout, QLineEdit, QSizePolicy, QVBoxLayout, QWidget

from desktop import theme
from desktop.labels import label, number_labels
from desktop.session import Session
from desktop.widgets import restyle, rule, text
from desktop.wording import language, number, say, tr, word
from waterbudget import tables
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import ALL_STAGES, STAGE_NUMBERS, Orchard

SetFarm = Callable[[dict[str, str], Callable[[WaterBudgetError], None]], None]
CELL = 86


def default_words(stage: str) -> dict[str, str]:
    """Return what stands in for each number of a stage while the farm sets none."""
    row = next(r for r in tables.read("stages") if r["stage"] == stage)
    start, end = float(row["kcb_start"]), float(row["kcb_end"])
    kcb = number(start, 2) if start == end else f"{number(start, 2)}–{number(end, 2)}"
    return {
        "kcb": kcb, "allowed": number(float(row["allowed"]), 2), "canopy": tr("by age"),
        "root_depth": "0.4, 0.8", "weight": number(float(row["weight"]), 2),
        "floor": number(float(row["floor"]), 2),
    }  # fmt: skip


def source_words(stage: str) -> tuple[str, str]:
    """Return where a stage's defaults come from, short and whole."""
    rows = {r["stage"]: r for r in tables.read("stages")}
    row, before = rows[stage], None
    for name in ALL_STAGES:
        if name == stage:
            break
        if not rows[name]["source"].startswith("as above"):
            before = rows[name]
    source, where = row["source"], row["where"]
    if source.startswith("as above") and before is not None:
        source = before["source"] + source.removeprefix("as above")
        where = before["where"] if where == "as above" else where
    kind = {"own estimate": tr("own estimate"), "published": tr("published"),
            "common practice": tr("common practice")}.get(row["kind"], row["kind"])  # fmt: skip
    whole = ". ".join(p for p in (source, where, row["note"]) if p)
    short = f"{kind}: {row['note'] or where}" if language() == "en" else kind
    return short, f"{kind}. {whole}."


class Cell(QLineEdit):
    """One number of the table; empty = the default, which stands there in quiet ink."""

    def __init__(self, key: str, commit: Callable[[Cell], None]) -> None:
        super().__init__()
        self.key, self.stored = key, ""
        self.setProperty("bare", "true")
        self.setFont(theme.font())
        self.setFixedWidth(CELL)
        self.setAcceptDrops(False)
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setAccessibleName(label(key, "farm"))
        self.editingFinished.connect(partial(commit, self))
        self.textEdited.connect(self.accept)

    def show_stored(self, value: str, default: str) -> None:
        """Show what the farm has set, or the default."""
        self.setPlaceholderText(default)
        self.setAccessibleDescription(tr("Default {0}").format(default))
        if not (self.hasFocus() and self.isModified()):
            self.stored = value
            self.setText(value)
            self.setFont(theme.font(bold=bool(value)))
            self.accept()

    def accept(self) -> None:
        """Take the mark of a refusal away."""
        if self.property("wrong") == "true":
            self.setProperty("wrong", "")
            restyle(self)

    def refuse(self) -> None:
        """Mark it as refused."""
        self.setProperty("wrong", "true")
        restyle(self)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape puts back what is stored; up and down move through the table."""
        if event.key() == Qt.Key.Key_Escape and self.text() != self.stored:
            self.setText(self.stored)
            self.setModified(False)
            self.accept()
        elif event.key() in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self._beside(1 if event.key() == Qt.Key.Key_Down else -1)
        else:
            super().keyPressEvent(event)

    def _beside(self, step: int) -> None:
        parent = self.parentWidget()
        if not isinstance(parent, StageTable):
            return
        what, _, stage = self.key.rpartition("_")
        at = ALL_STAGES.index(stage) + step
        if 0 <= at < len(ALL_STAGES):
            parent.cells[f"{what}_{ALL_STAGES[at]}"].setFocus()


class StageTable(QWidget):
    """Nine stages by six numbers.

    Parameters
    ----------
    set_farm : callable
        Gets key and text, and what to do with a refusal.
    """

    def __init__(self, session: Session, set_farm: SetFarm) -> None:
        super().__init__()
        self._session, self._set_farm = session, set_farm
        self.cells: dict[str, Cell] = {}
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(4)
        grid = QGridLayout()
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(0)
        grid.addWidget(text(tr("Stage"), bold=True), 0, 0)
        names = number_labels()
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom
        for column, what in enumerate(STAGE_NUMBERS, start=1):
            head = text(names[what], theme.SMALL, bold=True, wrap=True)
            head.setFixedWidth(CELL)
            head.setAlignment(right)
            grid.addWidget(head, 0, column, right)
        grid.addWidget(text(tr("Where the default comes from"), theme.SMALL, bold=True), 0,
                       len(STAGE_NUMBERS) + 1)  # fmt: skip
        grid.addWidget(rule(), 1, 0, 1, len(STAGE_NUMBERS) + 2)
        for row, stage in enumerate(ALL_STAGES, start=2):
            self._row(grid, row, stage)
        grid.setColumnMinimumWidth(0, 110)
        grid.setColumnStretch(len(STAGE_NUMBERS) + 1, 1)
        outer.addLayout(grid)
        self.wrong = text("", wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.wrong.hide()
        outer.addWidget(self.wrong)

    def _row(self, grid: QGridLayout, row: int, stage: str) -> None:
        grid.addWidget(text(word(f"stage.{stage}"), bold=stage == "fill"), row, 0)
        for column, what in enumerate(STAGE_NUMBERS, start=1):
            cell = Cell(f"{what}_{stage}", self._commit)
            self.cells[cell.key] = cell
            grid.addWidget(cell, row, column)
        short, whole = source_words(stage)
        source = text(short, theme.SMALL, quiet=True)
        source.setToolTip(whole)
        source.setMinimumWidth(80)
        source.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        source.setContentsMargins(10, 0, 0, 0)
        grid.addWidget(source, row, len(STAGE_NUMBERS) + 1)

    def show_farm(self, orchard: Orchard) -> None:
        """Show the farm's own numbers over the defaults."""
        for stage in ALL_STAGES:
            defaults = default_words(stage)
            for what in STAGE_NUMBERS:
                key = f"{what}_{stage}"
                own = orchard.stage_numbers.get(key)
                self.cells[key].show_stored("" if own is None else f"{own:g}", defaults[what])

    def _commit(self, cell: Cell) -> None:
        typed = cell.text().strip()
        if typed == cell.stored:
            return
        cell.stored = typed
        cell.setModified(False)
        self.wrong.hide()

        def refused(error: WaterBudgetError) -> None:
            cell.refuse()
            self.wrong.setText(say(error))
            self.wrong.show()

        self._set_farm({cell.key: typed}, refused)
