"""Every day of a block's cycle as a table: the account in full, newest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from desktop.models.block_facts import DayAccount
from desktop.wording import day_year, fixed, tr, word

Index = QModelIndex | QPersistentModelIndex
ROOT = QModelIndex()
Column = tuple[str, str, Callable[[DayAccount], Any]]


def columns() -> list[Column]:
    """Return head, name in a file, and reader of every column."""
    return [
        (tr("day"), "date", lambda a: a.date), (tr("stage"), "stage", lambda a: a.stage),
        (tr("ET0"), "et0_mm", lambda a: a.et0),
        (tr("left, morning"), "left_start_mm", lambda a: a.left_start),
        (tr("rain"), "rain_mm", lambda a: a.rain),
        (tr("watering"), "watering_mm", lambda a: a.watering),
        (tr("trees took"), "trees_mm", lambda a: a.trees),
        (tr("soil took"), "soil_mm", lambda a: a.soil),
        (tr("drained"), "drained_mm", lambda a: a.drained),
        (tr("ran off"), "ran_off_mm", lambda a: a.ran_off),
        (tr("put right"), "correction_mm", lambda a: a.other),
        (tr("left, next morning"), "left_end_mm", lambda a: a.left_end),
        (tr("roots can hold"), "can_hold_mm", lambda a: a.taw),
        (tr("easy water"), "easy_mm", lambda a: a.limit),
        (tr("ET0 made from"), "made_from", lambda a: a.made_from),
    ]  # fmt: skip


class DaysModel(QAbstractTableModel):
    """Days of one block, newest first."""

    def __init__(self, days: Sequence[DayAccount]) -> None:
        super().__init__()
        self.days = sorted(days, key=lambda a: a.date, reverse=True)
        self.columns = columns()

    def rowCount(self, parent: Index = ROOT) -> int:
        """Return the number of days."""
        return 0 if parent.isValid() else len(self.days)

    def columnCount(self, parent: Index = ROOT) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else len(self.columns)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:  # fmt: skip
        """Return the head of a column."""
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return self.columns[section][0]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell."""
        value = self.columns[index.column()][2](self.days[index.row()])
        if role == Qt.ItemDataRole.DisplayRole:
            return shown(value)
        if role == Qt.ItemDataRole.TextAlignmentRole and isinstance(value, float):
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return None

    def rows_for_file(self) -> list[list[Any]]:
        """Return head and rows as they go into a CSV, oldest first."""
        head = [name for _, name, _ in self.columns]
        rows = [[_plain(read(day)) for _, _, read in self.columns] for day in reversed(self.days)]
        return [head, *rows]


def shown(value: Any) -> str:
    """Return a cell as people read it."""
    if isinstance(value, dt.date):
        return day_year(value)
    if isinstance(value, tuple):
        return ", ".join(word(f"made.{code}") for code in value)
    if isinstance(value, float):
        return fixed(value) if abs(value) >= 0.005 else "–"
    return word(f"stage.{value}")


def _plain(value: Any) -> Any:
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, tuple):
        return " ".join(value)
    return round(value, 3) if isinstance(value, float) else value
