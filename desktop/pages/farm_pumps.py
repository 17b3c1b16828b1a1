"""The water source on the farm page: every pump a row, the right, the tank, people, prices."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from desktop import theme
from desktop.pages.farm_cells import FarmCell
from desktop.pages.farm_keys import Keys, SetFarm
from desktop.session import Session
from desktop.widgets import Link, text
from desktop.wording import day_year, say, thousands, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import FARM_KEYS, FIRST_PUMP, PUMP_KEYS, Orchard, Pump, write_value

if TYPE_CHECKING:
    from waterbudget.season import Season

COLUMNS = ("name", "flow_m3_h", "hours", "head_m", "efficiency", "runs_from", "runs_to",
           "out_from", "out_to", "note")  # fmt: skip
WIDTHS = {"name": 130, "flow_m3_h": 70, "hours": 62, "head_m": 62, "efficiency": 74,
          "runs_from": 66, "runs_to": 66, "out_from": 100, "out_to": 100, "note": 170}  # fmt: skip
OF_THE_FARM = {"head_m": "pump_head_m", "efficiency": "pump_efficiency",
               "out_from": "pump_out_from", "out_to": "pump_out_to"}  # fmt: skip
"""Cells of the first pump and the farm's keys they stand for; flow and hours stand above."""


def column_names() -> dict[str, tuple[str, str]]:
    """Return the heads of the table and what each is about."""
    return {
        "name": (tr("Pump"), ""),
        "flow_m3_h": (tr("m³/h"), tr("What it delivers.")),
        "hours": (tr("h a day"), tr("Runs at most.")),
        "head_m": (tr("Lift, m"), tr("Lift, pressure and friction together: what the week takes "
                                     "from the line is worked out of it.")),
        "efficiency": (tr("Gives back"), tr("Pump and motor together, 0.1 to 1; empty: 0.6.")),
        "runs_from": (tr("Runs from"), tr("Clock hours it may run in, past midnight too.")),
        "runs_to": (tr("to"), tr("Clock hours it may run in, past midnight too.")),
        "out_from": (tr("Stands from"), tr("First day it stands still, as 2026-03-09.")),
        "out_to": (tr("to"), tr("Last day it stands still; empty: until further notice.")),
        "note": (tr("Note"), ""),
    }  # fmt: skip


def _shown(pump: Pump, column: str) -> str:
    if column == "name":
        return pump.name
    return write_value(PUMP_KEYS[column], getattr(pump, column))


class PumpCell(FarmCell):
    """One setting of a pump."""

    def __init__(self, column: str, pump: Pump, commit: Callable[..., None]) -> None:
        super().__init__(_shown(pump, column), WIDTHS[column],
                         figure=column not in ("name", "note"))  # fmt: skip
        self.column, self.pump = column, pump
        self.setPlaceholderText({"efficiency": "0.6", "note": ""}.get(column, "–"))
        head, hint = column_names()[column]
        called = pump.name or tr("First pump")
        self.setAccessibleName(f"{called}, {hint or head}")
        self.setToolTip(hint)
        self.editingFinished.connect(partial(commit, self))


class PumpTable(QWidget):
    """Every pump a row, the farm's own first; the last line begins another."""

    def __init__(self, session: Session, set_farm: SetFarm) -> None:
        super().__init__()
        self._session, self._set_farm = session, set_farm
        self._shown: tuple[Pump, ...] | None = None
        self.cells: list[PumpCell] = []
        self.links: dict[str, Link] = {}
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 2, 0, 0)
        box.setSpacing(4)
        self._grid_box = QVBoxLayout()
        box.addLayout(self._grid_box)
        self.new = QLineEdit()
        self.new.setFont(theme.font())
        self.new.setFixedWidth(190)
        self.new.setPlaceholderText(tr("name of a further pump"))
        self.new.setAccessibleName(tr("Name of a further pump"))
        self.new.setAcceptDrops(False)
        self.new.returnPressed.connect(self._begin)
        row = QHBoxLayout()
        row.setSpacing(10)
        row.addWidget(self.new)
        self.add = Link(tr("Add the pump"), self._begin)
        row.addWidget(self.add)
        row.addStretch()
        box.addLayout(row)
        self.wrong = text("", theme.SMALL, wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.wrong.hide()
        box.addWidget(self.wrong)
        self._table: QWidget | None = None

    def cell(self, pump: str, column: str) -> PumpCell:
        """Return a cell by the name of its pump (empty: the first) and its column."""
        return next(c for c in self.cells if (c.pump.name, c.column) == (pump, column))

    def of_key(self, key: str) -> PumpCell | None:
        """Return the cell of the first pump that stands for a key of the farm, if there is one."""
        column = next((c for c, k in OF_THE_FARM.items() if k == key), None)
        return self.cell(FIRST_PUMP, column) if column is not None and self.cells else None

    def show_farm(self, orchard: Orchard) -> None:
        """Show the pumps, unless nothing about them changed."""
        pumps = orchard.all_pumps()
        if pumps == self._shown:
            return
        self._shown = pumps
        if self._table is not None:
            self._grid_box.removeWidget(self._table)
            self._table.hide()
            self._table.deleteLater()
        self._table = QWidget()
        self._grid_box.addWidget(self._table)
        self._fill(QGridLayout(self._table), pumps)

    def _fill(self, grid: QGridLayout, pumps: tuple[Pump, ...]) -> None:
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(6)
        grid.setVerticalSpacing(2)
        self.cells, self.links = [], {}
        left, right = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight
        for column, (key, (name, hint)) in enumerate(column_names().items()):
            head = text(name, theme.SMALL, bold=True)
            head.setToolTip(hint)
            head.setContentsMargins(8 if key == "note" else 0, 0, 8, 0)
            grid.addWidget(head, 0, column, left if key in ("name", "note") else right)
        for row, pump in enumerate(pumps, start=1):
            for column, key in enumerate(COLUMNS):
                if pump.name == FIRST_PUMP and key not in OF_THE_FARM:
                    self._fixed(grid, row, column, key, pump)
                    continue
                cell = PumpCell(key, pump, self._commit)
                self.cells.append(cell)
                grid.addWidget(cell, row, column)
            if pump.name != FIRST_PUMP:
                link = Link(tr("take off"), partial(self._remove, pump), theme.SMALL)
                link.setAccessibleName(tr("Take pump {0} off the farm").format(pump.name))
                self.links[pump.name] = link
                grid.addWidget(link, row, len(COLUMNS))
        grid.setColumnStretch(len(COLUMNS) + 1, 1)

    def _fixed(self, grid: QGridLayout, row: int, column: int, key: str, pump: Pump) -> None:
        """Show what of the first pump is typed elsewhere on the page, or is not its own."""
        if key in ("runs_from", "runs_to", "note"):
            return
        words = tr("First pump") if key == "name" else _shown(pump, key) or "–"
        label = text(words, quiet=key != "name")
        label.setToolTip("" if key == "name" else tr("Typed above, under water and hours."))
        side = Qt.AlignmentFlag.AlignLeft if key == "name" else Qt.AlignmentFlag.AlignRight
        label.setContentsMargins(8, 0, 6, 0)
        grid.addWidget(label, row, column, side | Qt.AlignmentFlag.AlignVCenter)

    # -- edits -----------------------------------------------------------------------

    def _commit(self, cell: PumpCell) -> None:
        typed = cell.text().strip()
        if typed == cell.stored:
            return
        cell.stored = typed
        self.wrong.hide()

        def refused(error: WaterBudgetError) -> None:
            cell.refuse()
            self._say(error)

        if cell.pump.name == FIRST_PUMP:
            self._set_farm({OF_THE_FARM[cell.column]: typed}, refused)
        elif cell.column == "name":
            self._act(cell.pump, {}, refused, new_name=typed)
        else:
            self._act(cell.pump, {cell.column: typed}, refused)

    def _act(
        self, pump: Pump, pairs: dict[str, str], refused: Callable[[WaterBudgetError], None],
        new_name: str | None = None,
    ) -> None:  # fmt: skip
        def do(file: Any, now: Any) -> Any:
            from waterbudget import actions

            return actions.set_pump(file, pump.name, pairs, new_name=new_name, now=now)

        def undo(file: Any, now: Any, made: Any) -> Any:
            from waterbudget import actions

            return actions.restore_pump(file, pump, called=made.name, now=now)

        name = tr("pump {0}").format(pump.name)
        self._session.act(name, do, undo, {"farm", "blocks"}, failed=refused)

    def _begin(self) -> None:
        name = self.new.text().strip()
        if not name:
            self.new.setFocus()
            return
        self.wrong.hide()

        def do(file: Any, now: Any) -> Any:
            from waterbudget import actions

            return actions.set_pump(file, name, {}, new=True, now=now)

        def undo(file: Any, now: Any, made: Any) -> Any:
            from waterbudget import actions

            return actions.remove_pump(file, made.name, now=now)

        self._session.act(tr("pump {0}").format(name), do, undo, {"farm"}, failed=self._say)
        self.new.clear()

    def _remove(self, pump: Pump) -> None:
        self.wrong.hide()

        def do(file: Any, now: Any) -> Any:
            from waterbudget import actions

            return actions.remove_pump(file, pump.name, now=now)

        def undo(file: Any, now: Any, _: Any) -> Any:
            from waterbudget import actions

            return actions.restore_pump(file, pump, now=now)

        name = tr("pump {0} taken off").format(pump.name)
        self._session.act(name, do, undo, {"farm"}, failed=self._say)

    def _say(self, error: WaterBudgetError) -> None:
        self.wrong.setText(say(error))
        self.wrong.show()


class RightKeys(Keys):
    """The water right, what is used and left of it, and the tank."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__(set_farm)
        self.line("right_m3_week", "m³", placeholder=tr("no limit"))
        self.line("right_m3_year", "m³", placeholder=tr("no limit"))
        self.line("right_from_month", placeholder="1")
        self.used = text("", theme.SMALL, wrap=True)
        self.box.addWidget(self.used)

    def show_season(self, season: Season | None) -> None:
        """Show what was drawn under each right before the morning shown, and what is left."""
        source = season.source if season is not None else None
        lines = []
        for use in source.used if source is not None else ():
            words = tr("This week: {0} m³ used, {1} left.") if use.kind == "week" else tr(
                "Since {2}: {0} m³ used, {1} left.")  # fmt: skip
            lines.append(words.format(
                thousands(use.used_m3), thousands(use.left_m3), day_year(use.first)))  # fmt: skip
        self.used.setText("\n".join(lines))
        self.used.setVisible(bool(lines))


class TankKeys(Keys):
    """The tank, and the people at the valves."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__(set_farm)
        self.line("tank_m3", "m³", placeholder=tr("no tank"))
        self.line("tank_fill_m3_h", "m³/h")
        self.line("tank_now_m3", "m³", placeholder=tr("full"))


class PeopleKeys(Keys):
    """The people at the valves and their time."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__(set_farm)
        self.line("people", placeholder=tr("no limit"))
        self.line("people_hours", "h", placeholder=tr("as work"))
        self.line("minutes_a_valve", "min", tr("Walk, open and close."))


class PriceKeys(Keys):
    """Energy and wages; any currency."""

    def __init__(self, set_farm: SetFarm) -> None:
        super().__init__(set_farm)
        self.line("currency", width=90)
        self.line("price_kwh")
        self.line("price_kwh_night")
        self.line("night_from", placeholder="22:00")
        self.line("night_to", placeholder="06:00")
        self.line("wage_hour")


class SourceSection(QWidget):
    """Pumps, right, tank, people and prices under one head."""

    def __init__(self, session: Session, set_farm: SetFarm) -> None:
        super().__init__()
        self._session = session
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(10)
        self.pumps = PumpTable(session, set_farm)
        column.addWidget(self.pumps)
        self.rights, self.tank = RightKeys(set_farm), TankKeys(set_farm)
        self.people, self.prices = PeopleKeys(set_farm), PriceKeys(set_farm)
        across = QHBoxLayout()
        across.setSpacing(36)
        for parts in ((self.rights,), (self.tank, self.people), (self.prices,)):
            side = QVBoxLayout()
            side.setSpacing(14)
            for part in parts:
                side.addWidget(part)
            side.addStretch()
            across.addLayout(side, 1)
        column.addLayout(across)
        self.caution = text(
            tr("Before work on a pump: switch off and lock; wiring is for a licensed electrician; "
               "guards stay on. The licence and the local office decide what may be drawn. Nobody "
               "alone at a tank or reservoir."), theme.SMALL, quiet=True, wrap=True,
        )  # fmt: skip
        column.addWidget(self.caution)
        session.season_changed.connect(self.rights.show_season)

    @property
    def keys(self) -> tuple[Keys, ...]:
        """All parts that hold settings of the farm as lines."""
        return (self.rights, self.tank, self.people, self.prices)

    @property
    def names(self) -> set[str]:
        """Every setting of the farm that stands in this section."""
        found = {name for part in self.keys for name in part.fields}
        return (found | set(OF_THE_FARM.values())) & set(FARM_KEYS)

    def show_farm(self, orchard: Orchard) -> None:
        """Show what is stored."""
        self.pumps.show_farm(orchard)
        for part in self.keys:
            part.show_farm(orchard)
        self.rights.show_season(self._session.season)
