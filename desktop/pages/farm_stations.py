"""The weather stations: name, place, height, height of the wind meter."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from desktop import theme
from desktop.pages.farm_cells import FarmCell
from desktop.session import Session
from desktop.widgets import Link, text
from desktop.wording import day_year, say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Orchard, Station

COLUMNS = ("name", "lat", "lon", "elevation_m", "wind_height_m")
WIDTHS = {"name": 116, "lat": 74, "lon": 74, "elevation_m": 60, "wind_height_m": 60}


def column_names() -> dict[str, str]:
    """Return the heads of the table."""
    return {
        "name": tr("Station"), "lat": tr("Latitude"), "lon": tr("Longitude"),
        "elevation_m": tr("Height, m"), "wind_height_m": tr("Wind at, m"),
    }  # fmt: skip


class StationCell(FarmCell):
    """One number or name of a station."""

    def __init__(self, column: str, station: Station, commit: Callable[..., None]) -> None:
        value = getattr(station, column)
        stored = "" if value is None else (value if column == "name" else f"{value:.10g}")
        super().__init__(stored, WIDTHS[column], figure=column != "name")
        self.column, self.station = column, station
        self.setPlaceholderText(tr("farm's") if column != "wind_height_m" else "–")
        self.setAccessibleName(f"{station.name}, {column_names()[column]}")
        self.editingFinished.connect(partial(commit, self))


class StationTable(QWidget):
    """Every station a row; new ones come with their first file."""

    def __init__(self, session: Session, navigate: Callable[..., None]) -> None:
        super().__init__()
        self._session = session
        self._shown: tuple[Station, ...] | None = None
        self._last: dict[str, Any] = {}
        self.cells: list[StationCell] = []
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 6, 0, 0)
        box.setSpacing(4)
        self._grid_box = QVBoxLayout()
        box.addLayout(self._grid_box)
        self.wrong = text("", theme.SMALL, wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.wrong.hide()
        box.addWidget(self.wrong)
        box.addWidget(Link(tr("Add records"), lambda: navigate("import", kind="weather")))
        box.addWidget(Link(tr("Add a forecast"), lambda: navigate("import", kind="forecast")))
        self._table: QWidget | None = None

    def show_farm(self, orchard: Orchard) -> None:
        """Show the stations, unless they are just being typed in."""
        data = self._session.data
        last = {n: r.last for n, r in data.records.items()} if data is not None else {}
        if orchard.stations == self._shown and last == self._last:
            return
        self._shown, self._last = orchard.stations, last
        if self._table is not None:
            self._grid_box.removeWidget(self._table)
            self._table.hide()
            self._table.deleteLater()
        self._table = QWidget()
        self._grid_box.addWidget(self._table)
        self._fill(QGridLayout(self._table), orchard, last)

    def _fill(self, grid: QGridLayout, orchard: Orchard, last: dict[str, Any]) -> None:
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(4)
        grid.setVerticalSpacing(0)
        self.cells = []
        if not orchard.stations:
            words = tr("No station yet: it comes with its first file, or with a low and high typed "
                       "on the home page.")  # fmt: skip
            grid.addWidget(text(words, quiet=True, wrap=True), 0, 0)
            return
        right = Qt.AlignmentFlag.AlignRight
        for column, (key, name) in enumerate(column_names().items()):
            head = text(name, theme.SMALL, bold=True)
            grid.addWidget(head, 0, column, Qt.AlignmentFlag.AlignLeft if key == "name" else right)
        for row, station in enumerate(orchard.stations, start=1):
            for column, key in enumerate(COLUMNS):
                cell = StationCell(key, station, self._commit)
                self.cells.append(cell)
                grid.addWidget(cell, 2 * row - 1, column)
            if station.name in last:
                until = tr("record to {0}").format(day_year(last[station.name]))
                grid.addWidget(text(until, theme.SMALL, quiet=True), 2 * row, 0, 1, len(COLUMNS))
        grid.setColumnStretch(len(COLUMNS), 1)

    def _commit(self, cell: StationCell) -> None:
        typed = cell.text().strip()
        if typed == cell.stored:
            return
        before = cell.stored
        cell.stored = typed
        self.wrong.hide()
        station, column = cell.station, cell.column
        value: Any = typed
        if column != "name":
            try:
                value = float(typed.replace(",", ".")) if typed else None
            except ValueError:
                self._refuse(cell, tr("{0} is not a number.").format(typed))
                cell.stored = before
                return
        elif not typed:
            self._refuse(cell, tr("A weather station needs a name: give it one."))
            cell.stored = before
            return
        self._store(cell, station, column, value)

    def _store(self, cell: StationCell, station: Station, column: str, value: Any) -> None:
        changed = {"new_name": value} if column == "name" else {column: value}
        back = (
            {"new_name": station.name} if column == "name" else {column: getattr(station, column)}
        )
        now_called = value if column == "name" else station.name

        def do(file: Any, now: Any) -> Any:
            from waterbudget import actions

            return actions.set_station(file, station.name, now=now, **changed)

        def undo(file: Any, now: Any, _: Any) -> Any:
            from waterbudget import actions

            return actions.set_station(file, now_called, now=now, **back)

        def refused(error: WaterBudgetError) -> None:
            self._refuse(cell, say(error))

        name = tr("station {0}").format(station.name)
        self._session.act(name, do, undo, {"farm", "weather"}, failed=refused)

    def _refuse(self, cell: StationCell, sentence: str) -> None:
        cell.refuse()
        self.wrong.setText(sentence)
        self.wrong.show()
