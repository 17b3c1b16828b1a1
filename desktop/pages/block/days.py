"""All days of a block's cycle as a table, with an export."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QDialog, QHBoxLayout, QHeaderView, QTableView, QVBoxLayout, QWidget

from desktop import theme
from desktop.exports import ask_and_write
from desktop.models.block_facts import day_account
from desktop.models.cycle_view import CycleView
from desktop.models.days import DaysModel
from desktop.widgets import Link, text
from desktop.wording import tr

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season


class DaysDialog(QDialog):
    """The account of every day."""

    def __init__(
        self, parent: QWidget, season: Season, block: BlockSeason, view: CycleView
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self.setWindowTitle(tr("{0}: all days, mm at the roots").format(block.block.name))
        dates = [view.date(i) for i in range(view.days)]
        accounts = [a for d in dates if (a := day_account(season, block, d)) is not None]
        self.model = DaysModel(accounts)
        self.table = QTableView()
        self.table.setModel(self.model)
        self.table.setAccessibleName(self.windowTitle())
        self.table.setFont(theme.font())
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setDefaultSectionSize(24)
        self.table.setAlternatingRowColors(True)
        self.table.setShowGrid(False)
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.table.setSelectionBehavior(QTableView.SelectionBehavior.SelectRows)
        box = QVBoxLayout(self)
        head = QHBoxLayout()
        head.addWidget(text(self.windowTitle(), theme.LEAD, bold=True))
        head.addStretch(1)
        name = f"{block.block.name}-days.csv"
        head.addWidget(Link(tr("Export as CSV"), lambda: ask_and_write(
            self, None, name, self.model.rows_for_file()
        )))  # fmt: skip
        head.addWidget(Link(tr("Close"), self.accept))
        box.addLayout(head)
        box.addWidget(self.table, 1)
        screen = QGuiApplication.primaryScreen().availableGeometry()
        self.resize(min(1240, screen.width() - 40), min(640, screen.height() - 60))
