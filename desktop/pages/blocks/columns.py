"""Choosing the columns of the block table."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QGridLayout,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.labels import label, number_labels
from desktop.models.blocks import DERIVED, head_of
from desktop.models.keys import group_name, keys_of
from desktop.widgets import Link, text
from desktop.wording import tr
from waterbudget.orchard import STAGE_NUMBERS

SHOWN = ("planting", "cycle", "watering", "soil", "salt", "canopy", "weather", "people",
         "pipes")  # fmt: skip
ACROSS = 4


class ColumnsDialog(QDialog):
    """A tick for every column, group by group."""

    def __init__(self, parent: QWidget, chosen: Sequence[str]) -> None:
        super().__init__(parent)
        self.setWindowTitle(tr("Columns of the block table"))
        self.ticks: dict[str, QCheckBox] = {}
        box = QVBoxLayout(self)
        box.setSpacing(10)
        box.addWidget(text(self.windowTitle(), theme.LEAD, bold=True))
        inside = QWidget()
        grid = QGridLayout(inside)
        grid.setHorizontalSpacing(26)
        grid.setVerticalSpacing(14)
        groups = [(tr("From the season"), list(DERIVED)), *(
            (group_name(g), keys_of(g)) for g in SHOWN
        )]  # fmt: skip
        groups += [(number_labels()[w], keys_of(f"stages.{w}")) for w in STAGE_NUMBERS]
        for at, (title, names) in enumerate(groups):
            column = self._group(title, names, set(chosen))
            grid.addLayout(column, at // ACROSS, at % ACROSS)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setWidget(inside)
        box.addWidget(scroll, 1)
        box.addLayout(self._buttons())
        screen = QGuiApplication.primaryScreen().availableGeometry()
        self.resize(min(1040, screen.width() - 40), min(620, screen.height() - 60))

    def _group(self, title: str, names: Sequence[str], chosen: set[str]) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(1)
        column.addWidget(text(title, bold=True))
        for name in names:
            tick = QCheckBox(head_of(name) if name in DERIVED else label(name))
            tick.setFont(theme.font())
            tick.setChecked(name in chosen)
            column.addWidget(tick)
            self.ticks[name] = tick
        column.addStretch(1)
        return column

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.addWidget(Link(tr("none"), lambda: self._all(False)))
        row.addWidget(Link(tr("all"), lambda: self._all(True)))
        row.addStretch(1)
        cancel, show = QPushButton(tr("Cancel")), QPushButton(tr("Show these"))
        show.setProperty("main", "true")
        show.setDefault(True)
        cancel.clicked.connect(self.reject)
        show.clicked.connect(self.accept)
        row.addWidget(cancel)
        row.addWidget(show)
        return row

    def _all(self, ticked: bool) -> None:
        for tick in self.ticks.values():
            tick.setChecked(ticked)

    def chosen(self) -> list[str]:
        """Return the columns ticked, in their order."""
        return [name for name, tick in self.ticks.items() if tick.isChecked()]
