"""What the week still needs, block by block, as the needs view shows it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from desktop.models.week import WeekRow, WeekTable
from desktop.wording import fixed, number, thousands, tr

if TYPE_CHECKING:
    from waterbudget.actions import Need

Index = QModelIndex | QPersistentModelIndex

CODES = ("area", "weather", "pruned_on", "flow", "soil", "pump")
FOR_HOURS = CODES[:4]
GROUPS = ("ready", "no_hours", "nothing")
STATE_ROLE = Qt.ItemDataRole.UserRole + 1
"""Certainty of a cell: ``given``, ``other``, ``default`` or ``missing``; None for figures."""
GROUP_ROLE = Qt.ItemDataRole.UserRole + 2
BLOCK_ROLE = Qt.ItemDataRole.UserRole + 3


@dataclass(frozen=True)
class NeedRow:
    """One block: how sure each thing is, and what the week can say of it already."""

    row: WeekRow
    states: dict[str, str]

    @property
    def group(self) -> str:
        """``ready`` (hours stand), ``no_hours`` (mm and m3 stand) or ``nothing``."""
        if any(self.states.get(code) == "missing" for code in FOR_HOURS if code != "flow"):
            return "nothing"
        return "no_hours" if self.row.hours is None else "ready"


def need_rows(table: WeekTable, needs: Sequence[Need]) -> list[NeedRow]:
    """Return the blocks, those with hours first, each group in the week's order."""
    rows = [
        NeedRow(row, {n.code: n.blocks.get(row.name, "missing") for n in needs})
        for row in table.rows
    ]
    return sorted(rows, key=lambda r: GROUPS.index(r.group))


def quickest(rows: Sequence[NeedRow]) -> tuple[str, int] | None:
    """Return the one thing that brings most blocks their hours, and how many."""
    alone: Counter[str] = Counter()
    for row in rows:
        missing = [c for c in FOR_HOURS if row.states.get(c) == "missing"]
        if len(missing) == 1:
            alone[missing[0]] += 1
    if not alone:
        missing_any: Counter[str] = Counter(
            c for row in rows for c in FOR_HOURS if row.states.get(c) == "missing"
        )
        alone = missing_any
    return alone.most_common(1)[0] if alone else None


def code_words(code: str) -> str:
    """Return the plain name of a need."""
    return {
        "area": tr("Outline or hectares"),
        "weather": tr("Weather, or typed rain"),
        "pruned_on": tr("Pruning date"),
        "flow": tr("Flow"),
        "soil": tr("Soil by feel"),
        "pump": tr("Pump hours"),
    }[code]


def state_words(state: str) -> str:
    """Return the word for a certainty."""
    return {
        "given": tr("given"),
        "other": tr("stands in, from another source"),
        "default": tr("default, not measured"),
        "missing": tr("missing"),
    }.get(state, state)


class NeedsModel(QAbstractTableModel):
    """Rows = blocks; columns = name, the six needs, hours, mm, m3."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[NeedRow] = []

    def show(self, rows: list[NeedRow]) -> None:
        """Show these blocks."""
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return the number of blocks."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        """Return name, needs, and three figures."""
        return 1 + len(CODES) + 3

    def code(self, column: int) -> str | None:
        """Return which need a column shows."""
        return CODES[column - 1] if 1 <= column <= len(CODES) else None

    def lacks(self, code: str) -> bool:
        """Return whether any block still lacks it."""
        return any(row.states.get(code) == "missing" for row in self.rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return figures as text, needs as a certainty, and words for a screen reader."""
        row = self.rows[index.row()]
        code = self.code(index.column())
        if role == BLOCK_ROLE:
            return row.row.block_id
        if role == GROUP_ROLE:
            return row.group
        if role == STATE_ROLE:
            return row.states.get(code) if code is not None else None
        if role in (Qt.ItemDataRole.AccessibleTextRole, Qt.ItemDataRole.ToolTipRole):
            if code is not None:
                state = state_words(row.states.get(code, ""))
                return f"{row.row.name}, {code_words(code)}: {state}"
            return f"{row.row.name}: {self._figure(row, index.column())}"
        if role == Qt.ItemDataRole.DisplayRole and code is None:
            return self._figure(row, index.column())
        return None

    def _figure(self, row: NeedRow, column: int) -> str:
        if column == 0:
            return row.row.name
        if row.group == "nothing":
            return ""
        if column == len(CODES) + 1:
            return fixed(row.row.hours, 2) if row.row.hours is not None else "?"
        if column == len(CODES) + 2:
            return number(row.row.mm, 0)
        return thousands(row.row.m3)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return the head of a column."""
        if orientation != Qt.Orientation.Horizontal or role != Qt.ItemDataRole.DisplayRole:
            return None
        code = self.code(section)
        if code is not None:
            return code_words(code)
        return (tr("Block"), tr("h"), tr("mm"), tr("m³"))[max(section - len(CODES), 0)]
