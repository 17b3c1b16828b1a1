"""The farm page: pump and hours, weather stations, the stage table, copies, history, look."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from desktop import theme
from desktop.labels import label
from desktop.pages.farm_file import FileSection
from desktop.pages.farm_keys import FarmKeys, WeatherKeys
from desktop.pages.farm_pumps import SourceSection
from desktop.pages.farm_stages import StageTable
from desktop.pages.farm_stations import StationTable
from desktop.session import Session
from desktop.widgets import rule, text
from desktop.wording import tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import FARM_KEYS, write_value


class FarmPage(QWidget):
    """Everything that belongs to the whole farm; stored as it is typed."""

    def __init__(self, session: Session, navigate: Callable[..., None]) -> None:
        super().__init__()
        self._session = session
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.setContentsMargins(16, 14, 16, 16)
        column.setSpacing(18)
        self._scroll = scroll
        self.keys = FarmKeys(self.set_farm)
        self.weather = WeatherKeys(self.set_farm)
        self.stations = StationTable(session, navigate)
        self.file = FileSection(session, navigate)
        self.source = SourceSection(session, self.set_farm)
        self.stages = StageTable(session, self.set_farm)
        across = QHBoxLayout()
        across.setSpacing(36)
        across.addLayout(_section(tr("Water and hours"), self.keys), 4)
        across.addLayout(_section(tr("Weather"), self.weather, self.stations), 5)
        across.addLayout(_section(tr("This farm's file"), self.file), 4)
        column.addLayout(across)
        column.addLayout(_section(tr("Water source"), self.source))
        column.addLayout(
            _section(tr("Stages: the numbers every block starts from"), self.stages)
        )  # fmt: skip
        below = text(
            tr("Type over a number to change it for the whole farm; clear it to go back to the "
               "default. A block can have numbers of its own."), theme.SMALL, quiet=True,
        )  # fmt: skip
        column.addWidget(below)
        column.addStretch()
        scroll.setWidget(inner)
        outer.addWidget(scroll)
        session.changed.connect(self._refresh)
        session.opened.connect(self._refresh)
        self._refresh()

    def _refresh(self, _: object = None) -> None:
        data = self._session.data
        if data is None:
            return
        self.keys.show_farm(data.orchard)
        self.weather.show_farm(data.orchard)
        self.stations.show_farm(data.orchard)
        self.source.show_farm(data.orchard)
        self.stages.show_farm(data.orchard)
        self.file.refresh()

    def show_what(self, field: str = "") -> None:
        """Put the keyboard on a setting."""
        cell = self.source.pumps.of_key(field)
        if cell is not None:
            self._scroll.ensureWidgetVisible(cell)
            cell.setFocus()
        for part in (self.keys, self.weather, *self.source.keys):
            found = part.fields.get(field)
            if found is not None:
                self._scroll.ensureWidgetVisible(found)
                found.edit.setFocus()
                found.edit.selectAll()

    def set_farm(
        self, pairs: dict[str, str], refused: Callable[[WaterBudgetError], None]
    ) -> None:  # fmt: skip
        """Store settings of the farm; what is refused is said where it was typed."""
        data = self._session.data
        if data is None:
            return
        before: dict[str, str] = {}
        for name in pairs:
            key = FARM_KEYS[name]
            if key.place == "stage":
                own = data.orchard.stage_numbers.get(name)
                before[name] = "" if own is None else repr(own)
            else:
                before[name] = write_value(key, getattr(data.orchard, name))

        def do(file: Any, now: Any) -> Any:
            from waterbudget import actions

            return actions.set_farm(file, pairs, now=now)

        def undo(file: Any, now: Any, _: Any) -> Any:
            from waterbudget import actions

            return actions.set_farm(file, before, now=now)

        name = ", ".join(label(k, "farm") for k in pairs)
        self._session.act(name, do, undo, {"farm"}, failed=refused)


def _section(head: str, *widgets: QWidget) -> QVBoxLayout:
    box = QVBoxLayout()
    box.setSpacing(8)
    box.addWidget(text(head, theme.LARGE, bold=True))
    box.addWidget(rule())
    for widget in widgets:
        box.addWidget(widget)
    box.addStretch()
    return box
