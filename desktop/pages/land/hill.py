"""The hill: a height file under the blocks, how each lies, and what its places get."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QHideEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QBoxLayout,
    QHBoxLayout,
    QHeaderView,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.pages.land.hill_flow import FlowView
from desktop.session import Session
from desktop.widgets import Link, text
from desktop.wording import fixed, number, say, tr, word
from waterbudget.errors import AnswersNeeded, Refused, WaterBudgetError

if TYPE_CHECKING:
    from desktop.mapview.panel import MapPanel
    from waterbudget.actions.land import BlockHill, Hill, Together
    from waterbudget.store import FarmFile

SIDE_BY_SIDE = 860
"""Narrower than this the flow stands below the table [px]."""
NARROW = 560
"""Narrower than this the buttons stand one below the other and the areas are left out [px]."""
AREAS = (4, 5)
ROW, MOST_ROWS, FEW_ROWS = 26, 12, 7
WINDS = 8


def wind(degrees: float | None) -> str:
    """Return a direction by the eight winds."""
    if degrees is None:
        return "–"
    names = (tr("N"), tr("NE"), tr("E"), tr("SE"), tr("S"), tr("SW"), tr("W"), tr("NW"))
    return names[round(degrees / 45.0) % WINDS]


def _heads() -> list[str]:
    return [tr("Block"), tr("Height m"), tr("Slope %"), tr("Falls to"), tr("Flat ha"),
            tr("Slope ha"), tr("Lies")]  # fmt: skip


class HillTable(QTableWidget):
    """A row for each block with an outline."""

    def __init__(self) -> None:
        super().__init__(0, 7)
        self.setHorizontalHeaderLabels(_heads())
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(ROW)
        self.setShowGrid(False)
        self.setAlternatingRowColors(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.horizontalHeader().setHighlightSections(False)
        self.horizontalHeader().setMinimumSectionSize(24)
        left = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        for column in (0, 6):
            if (head := self.horizontalHeaderItem(column)) is not None:
                head.setTextAlignment(left)
        self.setAccessibleName(tr("How the blocks lie"))
        self.setTabKeyNavigation(False)

    def lay_out(self, narrow: bool) -> None:
        """Fit the columns: without the areas where there is little room."""
        header = self.horizontalHeader()
        header.setStretchLastSection(not narrow)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        if narrow:
            header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        for column in AREAS:
            self.setColumnHidden(column, narrow)
        for column, words in enumerate(_heads()):
            head = self.horizontalHeaderItem(column)
            if head is not None:
                head.setText({1: "m", 2: "%"}.get(column, words) if narrow else words)
                head.setToolTip(words)
        rows = min(self.rowCount(), FEW_ROWS if narrow else MOST_ROWS)
        self.setMinimumHeight(header.sizeHint().height() + rows * ROW + 4)
        self.setMaximumHeight(self.minimumHeight() if narrow else 16_777_215)

    def fill(self, blocks: tuple[BlockHill, ...]) -> None:
        """Show the blocks."""
        self.setRowCount(len(blocks))
        for at, b in enumerate(blocks):
            h = b.heights
            kind = word(f"hill.short.{b.slope_class}") if b.slope_class else "–"
            cells = (
                b.name, fixed(h.mean_m, 0), fixed(h.slope_pct, 0), wind(h.aspect_deg),
                fixed(b.plan_ha, 2), fixed(b.slope_ha, 2), kind,
            )  # fmt: skip
            for column, words in enumerate(cells):
                item = QTableWidgetItem(words)
                item.setFont(theme.font(bold=column == 0))
                item.setData(Qt.ItemDataRole.UserRole, b.block_id)
                if column in (1, 2, 4, 5):
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                elif column == 3:
                    item.setTextAlignment(Qt.AlignmentFlag.AlignCenter)
                if h.mean_m is None:
                    item.setForeground(QColor(theme.colours().quiet))
                item.setToolTip(block_words(b))
                self.setItem(at, column, item)

    def block_at(self, row: int) -> int | None:
        """Return the block of a row."""
        item = self.item(row, 0)
        return None if item is None else int(item.data(Qt.ItemDataRole.UserRole))

    def choose(self, block_id: int | None) -> None:
        """Mark a block's row."""
        for row in range(self.rowCount()):
            if self.block_at(row) == block_id:
                self.setCurrentCell(row, 0)
                return
        self.setCurrentCell(-1, -1)


def block_words(b: BlockHill) -> str:
    """Return all that is to be said on how a block lies, a sentence a line."""
    lines = []
    if b.slope_class:
        lines.append(f"{b.name}: {word(f'hill.class.{b.slope_class}')}.")
    if b.plan_ha is not None and b.slope_ha is not None:
        lines.append(
            tr("{0} ha flat on the map, which water counts by; {1} ha along the slope.").format(
                fixed(b.plan_ha, 2), fixed(b.slope_ha, 2))
        )  # fmt: skip
    if b.shift_c is not None and b.station is not None:
        lines.append(
            tr("Its clock counts {0} °C against {1}, for the height between.").format(
                ("+" if b.shift_c >= 0.05 else "") + number(b.shift_c), b.station)
        )  # fmt: skip
    return "\n".join([*lines, *(say(n) for n in b.notes)])


class HillPanel(QWidget):
    """Choose a height file, look, keep; and the flow over the chosen block.

    Parameters
    ----------
    session : Session
    navigate : callable
        ``navigate("block", block_id)`` opens a block's own page.
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self.path: Path | None = None
        self.unit: str | None = None
        self.hill: Hill | None = None
        self._together: Together | None = None
        self._stale = True
        self._build()
        session.opened.connect(self._opened)
        session.closed.connect(self._closed)
        session.changed.connect(self._changed)
        session.selection_changed.connect(self._selected)
        theme.watch().changed.connect(self._recolour)

    # -- what it is made of ---------------------------------------------------------------

    def _build(self) -> None:
        self.file_name = text(tr("No height file yet"), quiet=True)
        self.laid = text("", theme.SMALL, quiet=True)
        self.laid_links: list[Link] = []
        self.choose = QPushButton(tr("Choose a height file"))
        self.choose.clicked.connect(self.ask_file)
        self.store = QPushButton(tr("Keep in the blocks"))
        self.store.setProperty("main", "true")
        self.store.clicked.connect(self.store_heights)
        self.store.setEnabled(False)
        self._top = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._top.setSpacing(6)
        self._title = text(tr("Hill"), theme.LEAD, bold=True)
        self._top.addWidget(self._title)
        self._top.addWidget(self.file_name, 1)
        self._others = QHBoxLayout()
        self._others.setSpacing(10)
        self._others.addWidget(self.laid)
        self.laid.hide()
        self._top.addLayout(self._others)
        self._top.addWidget(self.choose)
        self._top.addWidget(self.store)
        self.caution = text("", wrap=True)
        self.wrong = text("", wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.question = QWidget()
        asked = QHBoxLayout(self.question)
        asked.setContentsMargins(0, 0, 0, 0)
        asked.setSpacing(14)
        self._asked = text("", wrap=True)
        self.metres = Link(word("answer.height_unit.m"), lambda: self._answer("m"))
        self.feet = Link(word("answer.height_unit.ft"), lambda: self._answer("ft"))
        asked.addWidget(self._asked, 1)
        asked.addWidget(self.metres)
        asked.addWidget(self.feet)
        self.table = HillTable()
        self.table.itemSelectionChanged.connect(self._row_moved)
        self.table.hide()
        self.about = text("", theme.SMALL, wrap=True)
        self.groups = text("", theme.SMALL, wrap=True)
        left = QVBoxLayout()
        left.setSpacing(6)
        left.addWidget(self.table, 1)
        left.addWidget(self.about)
        left.addWidget(self.groups)
        self.flow = FlowView()
        self._halves = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._halves.setSpacing(18)
        self._halves.addLayout(left, 5)
        self._halves.addWidget(self.flow, 4)
        box = QVBoxLayout(self)
        box.setContentsMargins(14, 10, 14, 10)
        box.setSpacing(6)
        box.addLayout(self._top)
        for widget in (self.caution, self.wrong, self.question):
            widget.hide()
            box.addWidget(widget)
        box.addLayout(self._halves, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Put the flow below the table where there is no room beside it."""
        wide = self.width() >= SIDE_BY_SIDE
        way = QBoxLayout.Direction.LeftToRight if wide else QBoxLayout.Direction.TopToBottom
        self._halves.setDirection(way)
        narrow = self.width() < NARROW
        self._top.setDirection(QBoxLayout.Direction.TopToBottom if narrow
                               else QBoxLayout.Direction.LeftToRight)  # fmt: skip
        self._title.setVisible(not narrow)
        self.table.lay_out(narrow)
        super().resizeEvent(event)

    def showEvent(self, event: QShowEvent) -> None:
        """Look again at what changed meanwhile."""
        super().showEvent(event)
        self._refresh()
        self.flow.show_on_map(True)

    def hideEvent(self, event: QHideEvent) -> None:
        """The large map is for another section now."""
        super().hideEvent(event)
        self.flow.show_on_map(False)

    def use_map(self, panel: MapPanel) -> None:
        """Show the flow of the chosen block on this map."""
        self.flow.use_map(panel)

    # -- the farm ---------------------------------------------------------------------------

    def _opened(self) -> None:
        self._closed()
        self._refresh()

    def _closed(self) -> None:
        self.path = self.unit = self.hill = self._together = None
        self._stale = True
        self.file_name.setText(tr("No height file yet"))
        self.table.setRowCount(0)
        self.table.hide()
        self.store.setEnabled(False)
        for label in (self.about, self.groups):
            label.setText("")
        for widget in (self.caution, self.wrong, self.question):
            widget.hide()
        self.flow.show_nothing(tr("Choose a block with an outline to see what its places get."))

    def _changed(self, _kinds: object) -> None:
        self._stale = True
        self._refresh()

    def _refresh(self) -> None:
        if not self._stale or not self.isVisible() or not self._session.is_open:
            return
        self._stale = False
        path, unit = self.path, self.unit

        def read(file: FarmFile) -> tuple[Path, str | None] | None:
            from waterbudget import actions

            return (path, unit) if path else actions.remembered_heights(file.read(), file.path)

        self._session.query(read, self._found, key="hill-file")

    def _show_laid(self) -> None:
        """Offer the other height files that lie under the map already."""
        for link in self.laid_links:
            self._others.removeWidget(link)
            link.hide()
            link.deleteLater()
        self.laid_links = []
        data, farm = self._session.data, self._session.path
        if data is None or farm is None:
            return
        for row in sorted(data.underlays, key=lambda r: -r.place):
            path = farm.resolve().parent / row.path
            if row.kind != "heights" or path == self.path or not path.is_file():
                continue
            link = Link(row.name or path.name, partial(self.show_file, path, row.unit), theme.SMALL)
            self._others.addWidget(link)
            self.laid_links.append(link)
        self.laid.setText(tr("Also under the map:"))
        self.laid.setVisible(bool(self.laid_links))

    def _found(self, found: tuple[Path, str | None] | None) -> None:
        if found is None:
            self._show_flow()
        else:
            self.show_file(*found)

    # -- a height file ------------------------------------------------------------------------

    def ask_file(self) -> None:
        """Let the grower choose a height file."""
        from PySide6.QtWidgets import QFileDialog

        from desktop.settings import Settings

        folder = Settings().folder("import")
        kinds = tr("Height files (*.tif *.tiff *.asc *.img *.hgt *.dt0 *.dt1 *.dt2)")
        chosen, _ = QFileDialog.getOpenFileName(
            self, tr("Choose a height file"), folder, f"{kinds};;" + tr("All files (*)")
        )
        if chosen:
            self.show_file(Path(chosen))

    def show_file(self, path: Path, unit: str | None = None) -> None:
        """Look at the blocks on a height file; nothing is stored."""

        def look(file: FarmFile) -> tuple[Hill, Together]:
            from waterbudget import actions

            data = file.read()
            hill = actions.look_at_heights(data, path, unit=unit)
            return hill, actions.who_runs_together(data, hill)

        def done(found: tuple[Hill, Together]) -> None:
            self.path, self.unit = path, unit
            self._show_hill(*found)

        def failed(error: WaterBudgetError) -> None:
            if isinstance(error, AnswersNeeded):
                self._asking = path
                self._asked.setText(say(error.questions[0]))
                self.wrong.hide()
                self.question.show()
            else:
                self._refuse(error)

        self._session.query(look, done, failed, key="hill")

    def _answer(self, unit: str) -> None:
        self.show_file(self._asking, unit)

    def _refuse(self, error: WaterBudgetError) -> None:
        self.question.hide()
        self.wrong.setText(say(error))
        self.wrong.show()

    def _show_hill(self, hill: Hill, together: Together) -> None:
        self.hill, self._together = hill, together
        for widget in (self.wrong, self.question):
            widget.hide()
        self.file_name.setText(hill.file)
        self._show_laid()
        self.caution.setText(" ".join(say(n) for n in hill.notes))
        self.caution.setVisible(bool(hill.notes))
        self.store.setEnabled(any(b.usable for b in hill.blocks) and self._session.at_today)
        self.table.blockSignals(True)
        self.table.fill(hill.blocks)
        self.table.lay_out(self.width() < NARROW)
        self.table.choose(self._session.selected)
        self.table.blockSignals(False)
        self.table.show()
        self.groups.setText(group_words(together))
        self._show_flow()

    def store_heights(self) -> None:
        """Write height, slope and direction into the blocks; one undo takes it back."""
        path, unit = self.path, self.unit
        if path is None:
            return

        def do(file: FarmFile, now: Any) -> Any:
            from waterbudget import actions

            return actions.store_heights(file, path, unit=unit, now=now)

        def undo(file: FarmFile, now: Any, result: Any) -> Any:
            from waterbudget import actions

            actions.take_back_heights(file, result, now=now)

        def done(result: Any) -> None:
            count = len(result.before)
            self._session.told.emit(tr("Heights kept in {0} blocks.").format(count))

        self._session.act(tr("heights from {0}").format(path.name), do, undo,
                          ("blocks", "farm"), done=done, failed=self._refuse)  # fmt: skip

    # -- the chosen block -----------------------------------------------------------------------

    def _row_moved(self) -> None:
        block_id = self.table.block_at(self.table.currentRow())
        if block_id is not None and block_id != self._session.selected:
            self._session.select(block_id)

    def _selected(self, block_id: int | None) -> None:
        self.table.blockSignals(True)
        self.table.choose(block_id)
        self.table.blockSignals(False)
        if self.isVisible():
            self._show_flow()

    def _show_flow(self) -> None:
        data, chosen = self._session.data, self._session.selected
        block = next((b for b in data.orchard.blocks if b.id == chosen), None) if data else None
        lying = (
            next((b for b in self.hill.blocks if b.block_id == chosen), None)
            if (self.hill is not None)
            else None
        )
        self.about.setText(block_words(lying) if lying is not None else "")
        self.about.setVisible(lying is not None)
        if block is None:
            self.flow.show_nothing(tr("Choose a block with an outline to see what its places get."))
            return
        path, unit, name, outline = self.path, self.unit, block.name, block.outline
        hill = self.hill

        def read(file: FarmFile) -> tuple[Any, Any]:
            from waterbudget import actions

            try:
                found = actions.flow_over(file, name, heights=path, unit=unit)
            except Refused as error:
                if error.code != "pressure.no_heights_here":
                    raise
                found = actions.flow_over(file, name, heights=None)
            return found, actions.who_runs_together(file.read(), hill)

        self._session.query(
            read, lambda found: self.flow.show_flow(found[0], outline, found[1]),
            lambda error: self.flow.show_nothing(say(error)), key="hill-flow",
        )  # fmt: skip

    def _recolour(self) -> None:
        if self.hill is not None:
            self.table.blockSignals(True)
            self.table.fill(self.hill.blocks)
            self.table.choose(self._session.selected)
            self.table.blockSignals(False)


def group_words(together: Together) -> str:
    """Return which blocks may share a pump; nothing where all may."""
    if not together.apart:
        return ""
    several = [(pump, names) for pump, names in together.groups if len(names) > 1]
    if not several:
        return tr("No two of these blocks should share a pump without a regulator, for the height "
                  "between them.")  # fmt: skip
    lines = [tr("May run at once on one pump without a regulator:")]
    for pump, names in several:
        lines.append("   " + (f"{pump}: " if pump else "") + ", ".join(names))
    return "\n".join(lines)
