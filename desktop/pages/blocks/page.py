"""All blocks: add, rename, delete, type over any setting, choose columns, bring in and export."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QDialog, QHBoxLayout, QLineEdit, QPushButton, QVBoxLayout, QWidget

from desktop import theme
from desktop.block_edits import (
    add_block,
    block_of,
    delete_blocks,
    drop_outline,
    rename_block,
    set_keys,
)
from desktop.exports import ask_and_write
from desktop.labels import number_labels
from desktop.lazy import WhenShown
from desktop.mapview import days_word
from desktop.models.blocks import SETS, BlockTable
from desktop.models.keys import group_name
from desktop.pages.blocks.columns import ColumnsDialog
from desktop.pages.blocks.table import BlockTableView
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Choice, Link, Tab, restyle, text
from desktop.wording import number, say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import STAGE_NUMBERS

TABS = (
    "overview",
    "planting",
    "cycle",
    "watering",
    "soil",
    "salt",
    "canopy",
    "people",
    "pipes",
    "stages",
    "own",
)


class BlocksPage(QWidget):
    """The block table and everything that can be done with it.

    Parameters
    ----------
    session : Session
    navigate : callable
        ``navigate(page, **what)``.
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.settings = Settings()
        self.model = BlockTable(days_word)
        self.table = BlockTableView(session, self.model)
        self.set = "overview"
        self._build()
        self.model.typed.connect(self._typed)
        self.table.opened.connect(self._open)
        self.table.wants_delete.connect(self._delete)
        self.table.chosen_changed.connect(self._chosen)
        later = WhenShown(self, self._refresh)
        session.season_changed.connect(later.ask)
        session.changed.connect(later.ask)
        session.selection_changed.connect(self.table.choose)
        find = QShortcut(QKeySequence("Ctrl+F"), self, self.search.setFocus)
        find.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        new = QShortcut(QKeySequence("Ctrl+N"), self, self.name.setFocus)
        new.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        self.setFocusProxy(self.table.cells)
        self._refresh()
        self.table.lay_out()

    # -- building ------------------------------------------------------------------------

    def _build(self) -> None:
        box = QVBoxLayout(self)
        box.setContentsMargins(16, 10, 16, 8)
        box.setSpacing(4)
        box.addLayout(self._head())
        box.addLayout(self._tabs())
        self.sub = self._stage_tabs()
        box.addWidget(self.sub)
        box.addWidget(self.table, 1)
        self.problem = text("", wrap=True)
        self.problem.setProperty("role", "wrong")
        self.problem.hide()
        box.addWidget(self.problem)
        box.addLayout(self._foot())

    def _head(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(14)
        row.addWidget(text(tr("Blocks"), theme.TITLE, bold=True))
        self.count = text("", quiet=True)
        self.count.setContentsMargins(0, 0, 0, 5)
        row.addWidget(self.count, 0, Qt.AlignmentFlag.AlignBottom)
        row.addStretch(1)
        self.search = QLineEdit()
        self.search.setPlaceholderText(tr("find a block (Ctrl+F)"))
        self.search.setAccessibleName(tr("Find a block"))
        self.search.setClearButtonEnabled(True)
        self.search.setFixedWidth(190)
        self.search.textChanged.connect(self._look_for)
        self.only = Choice(
            [
                ("all", tr("all blocks")),
                ("fill", tr("in fruit fill")),
                ("past", tr("past easy water")),
                ("missing", tr("something still needed")),
            ],
            tr("Which blocks"),
        )
        self.only.chosen.connect(self._show_only)
        for words, do in (
            (tr("Choose columns"), self._choose_columns),
            (tr("Bring in blocks or outlines"), self._bring_in),
            (tr("Export as CSV"), self._export),
        ):  # fmt: skip
            row.addWidget(Link(words, do), 0, Qt.AlignmentFlag.AlignBottom)
        row.addSpacing(6)
        row.addWidget(self.search)
        row.addWidget(self.only)
        return row

    def _tabs(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(2)
        row.setContentsMargins(-8, 0, 0, 0)
        self.tabs: dict[str, Tab] = {}
        for name in TABS:
            tab = Tab(tr("My columns") if name == "own" else group_name(name), theme.BODY)
            tab.setFixedHeight(32)
            tab.clicked.connect(partial(self.show_set, name))
            self.tabs[name] = tab
            row.addWidget(tab)
        row.addStretch(1)
        self.bucket_link = Link(tr("Enter bucket tests"), self._bucket_tests)
        row.addWidget(self.bucket_link)
        return row

    def _stage_tabs(self) -> QWidget:
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(-8, 0, 0, 0)
        row.setSpacing(2)
        self.stage_tabs: dict[str, Tab] = {}
        for what in STAGE_NUMBERS:
            tab = Tab(number_labels()[what], theme.BODY)
            tab.setFixedHeight(30)
            tab.clicked.connect(partial(self.show_set, f"stages.{what}"))
            self.stage_tabs[what] = tab
            row.addWidget(tab)
        row.addStretch(1)
        holder.hide()
        return holder

    def _foot(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(8)
        row.addWidget(text(tr("New block"), bold=True))
        self.name, self.hectares = QLineEdit(), QLineEdit()
        self.name.setPlaceholderText(tr("name"))
        self.name.setAccessibleName(tr("Name of the new block"))
        self.name.setFixedWidth(170)
        self.hectares.setPlaceholderText(tr("hectares"))
        self.hectares.setAccessibleName(tr("Hectares of the new block"))
        self.hectares.setFixedWidth(90)
        self.add = QPushButton(tr("Add"))
        for edit in (self.name, self.hectares):
            edit.returnPressed.connect(self._add)
        self.add.clicked.connect(self._add)
        row.addWidget(self.name)
        row.addWidget(self.hectares)
        row.addWidget(text(tr("ha"), quiet=True))
        row.addWidget(self.add)
        row.addSpacing(16)
        row.addWidget(text(tr("the outline can come later"), quiet=True))
        row.addStretch(1)
        self.open_link = Link(tr("Open block"), self._open_chosen)
        self.map_link = Link(tr("On the map"), lambda: self.navigate("home"))
        self.outline_link = Link(tr("Take the outline away"), self._drop_outline)
        self.rename_link = Link(tr("Rename"), self._rename)
        self.delete_link = Link(tr("Delete"), self._delete)
        self.open_link.setToolTip(tr("Enter"))
        self.rename_link.setToolTip(tr("F2 on the name"))
        self.delete_link.setToolTip(tr("Ctrl+Del"))
        for link in (
            self.open_link, self.map_link, self.rename_link, self.outline_link, self.delete_link,
        ):  # fmt: skip
            row.addWidget(link)
        return row

    # -- what is shown -------------------------------------------------------------------

    def show_what(self, *, columns: str = "", only: str = "", new: bool = False, **_: Any) -> None:
        """Show a set of columns, or only some blocks; begin a new block."""
        if new:
            self.name.setFocus()
        if columns:
            self.show_set(columns)
        if only:
            self.only.set_value(only)
            self._show_only(only)

    def show_set(self, name: str) -> None:
        """Show one of the ready-made sets of columns, or the user's own."""
        if name == "own" and not self.settings.block_columns:
            self._choose_columns()
            return
        if name == "stages":
            name = "stages.kcb"
        self.set = name
        tab, _, what = name.partition(".")
        self.tabs[tab].setChecked(True)
        self.sub.setVisible(tab == "stages")
        if what:
            self.stage_tabs[what].setChecked(True)
        chosen = self.table.names.currentIndex().data() if self.table.names.currentIndex() else None
        columns = self.settings.block_columns if name == "own" else SETS[name]
        self.model.set_columns(columns)
        self.bucket_link.setVisible("flow_m3_h" in columns)
        if chosen is not None:
            self.table.choose(self.session.selected)

    def _refresh(self) -> None:
        data, season = self.session.data, self.session.season
        self.tabs[self.set.partition(".")[0]].setChecked(True)
        before = [b.id for b in self.model.blocks]
        self.model.set_farm(data, season, editable=self.session.at_today)
        blocks = self.model.blocks
        hectares = sum(b.hectares or 0.0 for b in blocks)
        one = tr("1 block")
        many = one if len(blocks) == 1 else tr("{0} blocks").format(len(blocks))
        self.count.setText(
            tr("{0}, {1} ha").format(many, number(hectares, 2 if hectares < 10 else 1))
        )
        for widget in (self.name, self.hectares, self.add, self.rename_link, self.delete_link):
            widget.setEnabled(self.session.at_today)
        self._tell_outline()
        if before != [b.id for b in blocks]:
            self.table.choose(self.session.selected)

    def _look_for(self, words: str) -> None:
        self.table.filter.look_for(words)

    def _show_only(self, only: str) -> None:
        self.table.filter.set_only(only)

    def _chosen(self, block_id: int | None) -> None:
        if block_id is not None:
            self.session.select(int(block_id))
        self._tell_outline()

    def _tell_outline(self) -> None:
        """Offer to take an outline away only where there is one."""
        chosen = self.session.selected
        block = block_of(self.session, chosen) if chosen is not None else None
        there = block is not None and block.outline is not None
        self.outline_link.setEnabled(there and self.session.at_today)

    # -- edits ---------------------------------------------------------------------------

    def _typed(self, block_id: int, column: str, typed: str) -> None:
        block = block_of(self.session, block_id)
        if block is None:
            return
        self._say("")
        if column == "name":
            rename_block(self.session, block, typed, failed=self._refused)
        else:
            set_keys(self.session, block, {column: typed}, failed=self._refused)

    def _refused(self, error: WaterBudgetError) -> None:
        self._say(say(error))

    def _say(self, words: str) -> None:
        self.problem.setText(words)
        self.problem.setVisible(bool(words))

    def _add(self) -> None:
        name = self.name.text().strip()
        if not name:
            self.name.setProperty("wrong", "true")
            restyle(self.name)
            self.name.setFocus()
            return
        self.name.setProperty("wrong", "")
        restyle(self.name)
        self._say("")
        hectares = self.hectares.text().strip().replace(",", ".")

        def done(block: Any) -> None:
            self.name.clear()
            self.hectares.clear()
            self.name.setFocus()
            self.session.select(block.id)
            self.session.told.emit(tr("{0} is added.").format(block.name))

        add_block(self.session, name, hectares, done=done, failed=self._refused)

    def _rename(self) -> None:
        if self.session.selected is not None:
            self.table.edit(self.session.selected, "name")

    def _drop_outline(self) -> None:
        chosen = self.session.selected
        block = block_of(self.session, chosen) if chosen is not None else None
        if block is not None and block.outline is not None:
            drop_outline(self.session, block, failed=self._refused)

    def _delete(self) -> None:
        chosen = [block_of(self.session, i) for i in self.table.chosen_blocks()]
        blocks = [b for b in chosen if b is not None]
        if not blocks or not self.session.at_today:
            return
        names = ", ".join(b.name for b in blocks[:3]) + (" …" if len(blocks) > 3 else "")

        def done(_: Any) -> None:
            self.session.told.emit(tr("{0} deleted. Ctrl+Z brings it back.").format(names))

        delete_blocks(self.session, blocks, done=done)

    def _open(self, block_id: int) -> None:
        self.navigate("block", block=block_id)

    def _open_chosen(self) -> None:
        index = self.table.names.currentIndex()
        if index.isValid() and self.session.selected is not None:
            self._open(self.session.selected)

    def _bucket_tests(self) -> None:
        """Begin with the chosen block, else with the first that lacks a flow."""
        chosen = self.table.names.currentIndex().isValid() and self.session.selected is not None
        self.navigate("bucket", **({"block": self.session.selected} if chosen else {}))

    # -- columns, files ------------------------------------------------------------------

    def _choose_columns(self) -> None:
        dialog = ColumnsDialog(self, self.model.columns)
        if dialog.exec() == QDialog.DialogCode.Accepted and dialog.chosen():
            self.settings.block_columns = dialog.chosen()
            self.show_set("own")
        else:
            self.tabs[self.set.partition(".")[0]].setChecked(True)

    def _bring_in(self) -> None:
        self.navigate("import")

    def _export(self) -> None:
        ask_and_write(self, self.session, "blocks.csv", self.model.rows_for_file())
