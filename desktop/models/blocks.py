"""The block table: one row a block, a column for every setting and for what the season says.

A cell knows how certain it is (:data:`MARK`): ``given``, ``other``, ``default``, ``missing``,
``derived`` (worked out, not to be typed over).  Editing goes out by a signal: the page makes the
undo step.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QPersistentModelIndex,
    QSortFilterProxyModel,
    Qt,
    Signal,
)

from desktop.models.keys import key_words, keys_of, shown, split_stage_key, value_of
from desktop.models.standing import Look, Standing, standing
from desktop.wording import fixed, hours, number, thousands, tr, word
from waterbudget import stage as stages
from waterbudget import tables
from waterbudget.orchard import ALL_STAGES, BLOCK_KEYS, STAGE_NUMBERS, Block, write_value
from waterbudget.records import FarmData

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

Index = QModelIndex | QPersistentModelIndex
ROOT = QModelIndex()

MARK = Qt.ItemDataRole.UserRole + 1
SORT = Qt.ItemDataRole.UserRole + 2
COLUMN = Qt.ItemDataRole.UserRole + 3
STANDING = Qt.ItemDataRole.UserRole + 4
BLOCK_ID = Qt.ItemDataRole.UserRole + 5

DERIVED = ("hectares", "stage", "day", "easy", "days_left", "week_hours", "week_m3", "missing")
"""Columns that no setting stands behind; ``hectares`` may be typed where there is no outline."""

SETS: dict[str, tuple[str, ...]] = {
    "overview": ("hectares", "valve", "pruned_on", "stage", "day", "easy", "days_left",
                 "week_hours", "flow_m3_h", "soil", "missing"),
    "planting": ("hectares", *keys_of("planting")[1:]),
    "cycle": tuple(k for k in keys_of("cycle") if k != "pruned_earlier"),
    "watering": tuple(keys_of("watering")),
    "soil": tuple(keys_of("soil")),
    "salt": tuple(keys_of("salt")),
    "canopy": (*keys_of("canopy"), *keys_of("weather")),
    "people": ("pruned_earlier", *keys_of("people")),
    "pipes": tuple(keys_of("pipes")),
    **{f"stages.{what}": tuple(keys_of(f"stages.{what}")) for what in STAGE_NUMBERS},
}  # fmt: skip
"""Ready-made sets of columns."""


@dataclass(frozen=True)
class Cell:
    """One cell: what is shown, what an editor begins with, how it sorts, how certain it is."""

    text: str
    edit: str = ""
    sort: Any = None
    mark: str = "given"
    tip: str = ""


def head_of(column: str) -> str:
    """Return the head of a column."""
    own = {
        "hectares": tr("Hectares"), "stage": tr("Stage"), "day": tr("Day"),
        "easy": tr("Easy water"), "days_left": tr("Lasts"), "week_hours": tr("Week, h"),
        "week_m3": tr("Week, m³"), "missing": tr("Still needed"), "name": tr("Block"),
    }  # fmt: skip
    if column in own:
        return own[column]
    words = key_words(column)
    if BLOCK_KEYS[column].unit:
        return tr("{0}, {1}").format(words.short, words.unit)
    return words.short


def need_word(code: str) -> str:
    """Return what a block still needs, in words."""
    return {
        "area": tr("hectares"), "weather": tr("weather"), "flow": tr("flow"),
        "pruned_on": tr("pruning date"), "soil": tr("soil"),
    }.get(code, code)  # fmt: skip


def default_of(season: Season, block: BlockSeason, name: str) -> Any:
    """Return what stands in where a block says nothing; None where nothing does."""
    i, k, d = season.on_index, block.column, season.drivers
    if BLOCK_KEYS[name].place == "stage":
        return _stage_default(season, block, name)
    plain = {
        "trees": block.trees, "flow_m3_h": block.flow.m3_h, "flow_from": block.flow.source,
        "efficiency": block.efficiency, "soil": block.soil.name, "stones": 0.0,
        "field_capacity": block.soil.field_capacity, "wilting_point": block.soil.wilting_point,
        "root_depth_m": float(block.numbers.root_depth_m[i]), "tew_mm": block.soil.tew_mm,
        "rew_mm": block.soil.rew_mm, "canopy_cover": float(block.numbers.cover[i]),
        "height_m": float(block.numbers.height_m[i]), "kc_factor": 1.0, "system": "micro",
        "station": block.station, "set_hours_min": block.limits.hours_min,
        "set_hours_max": block.limits.hours_max, "target_dr_mm": round(block.plan.target_dr_mm, 1),
        "wetted_fraction": float(d.wetted_fraction[k]), "p_stress": float(d.p_stress[k]),
        "rain_reach": float(d.rain_reach[k]), "interception_mm": float(d.interception_mm[k]),
    }  # fmt: skip
    if name == "loss_percolates":
        rows = {r["system"]: r for r in tables.read("systems")}
        return float(rows[block.block.system or "micro"][name])
    if name == "root_share":
        held = 1000 * (block.soil.field_capacity - block.soil.wilting_point)
        held *= (1 - block.soil.stones) * float(block.numbers.root_depth_m[i])
        return float(d.taw_mm[i, k]) / held if held else None
    return plain.get(name)


@lru_cache(maxsize=2000)
def _stage_number(what: str, stage: str, farm: tuple[tuple[str, float], ...]) -> float | None:
    found = stages.numbers(stage, dict(farm), {})
    return {
        "kcb": found.kcb_end, "allowed": found.allowed, "canopy": found.canopy,
        "root_depth": found.root_depth_m, "weight": found.weight, "floor": found.floor,
    }[what]  # fmt: skip


def _stage_default(season: Season, block: BlockSeason, name: str) -> float | None:
    what, stage = split_stage_key(name)
    return _stage_number(what, stage, tuple(sorted(season.orchard.stage_numbers.items())))


class BlockTable(QAbstractTableModel):
    """Blocks as they are stored now, with the season of the morning shown beside them.

    Parameters
    ----------
    days_word : callable
        Says how long a block's easy water lasts, as the map does.

    Signals
    -------
    typed(int, str, str)
        Block id, column and the text typed; nothing is stored yet.
    """

    typed = Signal(int, str, str)

    def __init__(self, days_word: Callable[[Standing], str]) -> None:
        super().__init__()
        self._days_word = days_word
        self.columns: tuple[str, ...] = ("name", *SETS["overview"])
        self.blocks: tuple[Block, ...] = ()
        self.season: Season | None = None
        self.editable = True
        self._of: dict[int, BlockSeason] = {}
        self._standing: dict[int, Standing] = {}
        self._week: dict[int, Mapping[str, Any]] = {}
        self._cells: dict[tuple[int, str], Cell] = {}

    # -- content ---------------------------------------------------------------------------

    def set_farm(self, data: FarmData | None, season: Season | None, *, editable: bool) -> None:
        """Show another state of the farm; rows stay where the blocks are the same."""
        from waterbudget.sheet import week_rows

        blocks = data.orchard.blocks if data is not None else ()
        same = [b.id for b in blocks] == [b.id for b in self.blocks]
        if not same:
            self.beginResetModel()
        self.blocks, self.season, self.editable = blocks, season, editable
        self._of = {b.block.id: b for b in season.blocks} if season is not None else {}
        self._standing = (
            {i: standing(season, b) for i, b in self._of.items()} if season is not None else {}
        )
        rows = week_rows(season) if season is not None and season.blocks else []
        self._week = {r.block.block.id: r.values for r in rows}
        self._cells.clear()
        if not same:
            self.endResetModel()
        elif blocks:
            last = self.index(len(blocks) - 1, len(self.columns) - 1)
            self.dataChanged.emit(self.index(0, 0), last)

    def set_columns(self, columns: Sequence[str]) -> None:
        """Show other columns beside the name."""
        self.beginResetModel()
        self.columns = ("name", *(c for c in columns if c != "name"))
        self.endResetModel()

    def block_at(self, row: int) -> Block:
        """Return the block of a row."""
        return self.blocks[row]

    def row_of(self, block_id: int) -> int | None:
        """Return the row of a block."""
        return next((i for i, b in enumerate(self.blocks) if b.id == block_id), None)

    def needs(self, block: Block) -> tuple[str, ...]:
        """Return what a block still needs."""
        found = self._of.get(block.id)
        return found.missing if found is not None else ()

    def cell(self, block: Block, column: str) -> Cell:
        """Return a cell."""
        found = self._cells.get((block.id, column))
        if found is None:
            found = self._cells[block.id, column] = self._make(block, column)
        return found

    def _make(self, block: Block, column: str) -> Cell:
        if column == "name":
            return Cell(block.name, block.name, block.name.casefold())
        if column == "hectares":
            return self._hectares(block)
        if column in DERIVED:
            return self._derived(block, column)
        return self._setting(block, column)

    def _hectares(self, block: Block) -> Cell:
        if block.outline_ha is not None:
            return Cell(number(block.outline_ha, 2), "", block.outline_ha, "derived",
                        tr("From the outline: change it on the map."))  # fmt: skip
        if block.area_ha is None:
            return Cell("", "", -math.inf, "missing", tr("Type hectares, or draw an outline."))
        typed = write_value(BLOCK_KEYS["area_ha"], block.area_ha)
        return Cell(number(block.area_ha, 2), typed, block.area_ha, "given", tr("As typed."))

    def _derived(self, block: Block, column: str) -> Cell:
        found, season = self._of.get(block.id), self.season
        if found is None or season is None:
            return Cell("", sort=-math.inf, mark="derived")
        week = self._week.get(block.id, {})
        stand = self._standing[block.id]
        if column == "stage":
            at = ALL_STAGES.index(stand.stage)
            return Cell(word(f"stage.{stand.stage}"), "", at, "derived")
        if column == "day":
            cycle = found.cycle(season.on)
            if cycle is None:
                return Cell("–", sort=-1, mark="derived")
            count = (season.on - cycle.cycle.pruned_on).days
            return Cell(str(count), sort=count, mark="derived", tip=tr("Days since pruning."))
        if column == "missing":
            words = ", ".join(need_word(m) for m in found.missing)
            return Cell(words, sort=len(found.missing), mark="missing" if words else "derived")
        return self._water(column, stand, week)

    def _water(self, column: str, stand: Standing, week: Mapping[str, Any]) -> Cell:
        if column == "easy":
            if stand.look is Look.NO_DATA:
                return Cell("", sort=-math.inf, mark="missing")
            text = tr("{0} mm").format(fixed(stand.left_mm))
            tip = tr("{0} of {1} mm easy water this morning").format(
                fixed(stand.left_mm), fixed(stand.limit_mm)
            )
            return Cell(text, sort=stand.left_mm, mark="derived", tip=tip)
        if column == "days_left":
            return _days_left(stand, self._days_word(stand))
        value = week.get("hours" if column == "week_hours" else "m3")
        if value is None:
            return Cell("–", sort=-1.0, mark="derived")
        text = hours(value) if column == "week_hours" else thousands(value)
        return Cell(text, sort=value, mark="derived")

    def _setting(self, block: Block, column: str) -> Cell:
        value = value_of(block, column)
        edit = write_value(BLOCK_KEYS[column], value)
        if value is not None:
            return Cell(shown(column, value), edit, _sortable(value), "given")
        found = self._of.get(block.id)
        if self._needed(block, column):
            return Cell("", "", _sortable(None), "missing", tr("Still needed."))
        default = None
        if found is not None and self.season is not None:
            default = default_of(self.season, found, column)
        if default is None:
            return Cell("", "", _sortable(None), "given")
        return Cell(shown(column, default), "", _sortable(default), "default",
                    tr("Default, or worked out; type over it to say otherwise."))  # fmt: skip

    def _needed(self, block: Block, column: str) -> bool:
        need = {"flow_m3_h": "flow"}.get(column, column)
        return need in self.needs(block)

    # -- Qt's side --------------------------------------------------------------------------

    def rowCount(self, parent: Index = ROOT) -> int:
        """Return the number of blocks."""
        return 0 if parent.isValid() else len(self.blocks)

    def columnCount(self, parent: Index = ROOT) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else len(self.columns)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:  # fmt: skip
        """Return the head of a column, with its full name as the tip."""
        if orientation != Qt.Orientation.Horizontal or not 0 <= section < len(self.columns):
            return None
        column = self.columns[section]
        if role == Qt.ItemDataRole.DisplayRole:
            return head_of(column)
        if role == Qt.ItemDataRole.ToolTipRole and column in BLOCK_KEYS:
            words = key_words(column)
            head = f"{words.label}, {words.unit}" if words.unit else words.label
            return f"{head}. {words.hint}" if words.hint else head
        if role == Qt.ItemDataRole.TextAlignmentRole:
            right = self._is_number(column)
            side = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        return None

    @staticmethod
    def _is_number(column: str) -> bool:
        if column in BLOCK_KEYS:
            return BLOCK_KEYS[column].kind in ("number", "whole")
        return column in ("hectares", "day", "days_left", "week_hours", "week_m3", "easy")

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell in one of its roles."""
        if not index.isValid():
            return None
        block, column = self.blocks[index.row()], self.columns[index.column()]
        cell = self.cell(block, column)
        if role == Qt.ItemDataRole.DisplayRole:
            return cell.text
        if role == Qt.ItemDataRole.EditRole:
            return cell.edit
        if role == Qt.ItemDataRole.ToolTipRole:
            return cell.tip or None
        if role == Qt.ItemDataRole.TextAlignmentRole:
            right = self._is_number(column)
            side = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        if role == Qt.ItemDataRole.AccessibleDescriptionRole:
            return {"missing": tr("missing"), "default": tr("default")}.get(cell.mark, cell.tip)
        own: dict[int, Any] = {MARK: cell.mark, SORT: cell.sort, COLUMN: column, BLOCK_ID: block.id,
               STANDING: self._standing.get(block.id)}  # fmt: skip
        return own.get(role)

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Tell what may be typed over."""
        base = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        if not index.isValid() or not self.editable:
            return base
        column = self.columns[index.column()]
        block = self.blocks[index.row()]
        if column == "hectares" and block.outline_ha is None:
            return base | Qt.ItemFlag.ItemIsEditable
        if column == "area_ha" and block.outline_ha is not None:
            return base
        if column in DERIVED:
            return base
        return base | Qt.ItemFlag.ItemIsEditable

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        """Tell what was typed; the cell follows when it is stored."""
        if role != Qt.ItemDataRole.EditRole or not index.isValid():
            return False
        block, column = self.blocks[index.row()], self.columns[index.column()]
        text = str(value).strip()
        if text == self.cell(block, column).edit:
            return False
        self.typed.emit(block.id, "area_ha" if column == "hectares" else column, text)
        return True

    def rows_for_file(self) -> list[list[str]]:
        """Return every setting of every block as ``blocks.csv`` holds it."""
        used = [
            name for name in BLOCK_KEYS
            if any(value_of(b, name) is not None for b in self.blocks)
        ]  # fmt: skip
        rows = [["name", *used]]
        for block in self.blocks:
            outlined = block.outline is not None
            rows.append([block.name, *(
                "" if name == "area_ha" and outlined
                else write_value(BLOCK_KEYS[name], value_of(block, name)) for name in used
            )])  # fmt: skip
        return rows


def _days_left(stand: Standing, words: str) -> Cell:
    """Return how long the easy water lasts; ``words`` as the map has them."""
    order = {Look.NO_DATA: -math.inf, Look.PAST: -1.0, Look.DRY_ALLOWED: -0.5}
    far = 99.0 if stand.days is None else float(stand.days)
    sort = order.get(stand.look, far)
    return Cell(words, sort=sort, mark="derived", tip=tr("If nothing runs."))


def _sortable(value: Any) -> tuple[int, Any]:
    if value is None:
        return (2, "")
    if isinstance(value, bool | int | float):
        return (0, float(value))
    if isinstance(value, dt.date):
        return (0, float(value.toordinal()))
    if isinstance(value, tuple):
        return (0, float(value[0].toordinal()))
    return (1, str(value).casefold())


class BlockFilter(QSortFilterProxyModel):
    """Sorts by what a cell means, and keeps the rows that are looked for."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.only = "all"
        self.setSortRole(SORT)

    def look_for(self, text: str) -> None:
        """Keep rows in which every word stands somewhere."""
        self.words = text.casefold().split()
        self.invalidate()

    def set_only(self, only: str) -> None:
        """Keep ``all``, those in ``fill``, ``past`` their limit, or with something ``missing``."""
        self.only = only
        self.invalidate()

    def filterAcceptsRow(self, source_row: int, source_parent: Index) -> bool:
        """Tell whether a row is kept."""
        model = self.sourceModel()
        assert isinstance(model, BlockTable)
        block = model.block_at(source_row)
        stand = model.data(model.index(source_row, 0), STANDING)
        if self.only == "fill" and (stand is None or not stand.in_fill):
            return False
        if self.only == "past" and (stand is None or stand.look is not Look.PAST):
            return False
        if self.only == "missing" and not model.needs(block):
            return False
        if not self.words:
            return True
        shown_columns = {*model.columns, "valve", "stage", "valve_person", "note"}
        text = " ".join(model.cell(block, c).text for c in shown_columns).casefold()
        return all(word_ in text for word_ in self.words)

    def lessThan(self, left: Index, right: Index) -> bool:
        """Compare by meaning; what is unknown comes last."""
        a, b = left.data(SORT), right.data(SORT)
        try:
            return bool(a < b)
        except TypeError:
            return str(a) < str(b)
