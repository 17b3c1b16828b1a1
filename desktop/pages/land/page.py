"""The land: a whole page of map to draw, cut and plant on.

The map stands left; the column at its right has four sections by plain words.  A section is made
when it is first opened.  One that wants the map has a method ``use_map(panel)``.
"""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QFocusEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QScrollArea, QStackedWidget, QVBoxLayout, QWidget

from desktop import theme
from desktop.mapview.panel import MapPanel
from desktop.mapview.workbench import CHOOSE, Workbench
from desktop.pages.land.outline import OutlinePanel
from desktop.pages.land.words import KEYS
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Tab
from desktop.wording import tr

COLUMN = 356
SECTIONS = {
    "outline": "",
    "hill": "desktop.pages.land.hill:HillPanel",
    "planting": "desktop.pages.land.planting:PlantingPanel",
    "below": "desktop.pages.land.underlays:UnderlaysPanel",
}
"""Name, and where the section is made."""


def section_words() -> dict[str, str]:
    """Return the sections' names as they are shown."""
    return {"outline": tr("Outline"), "hill": tr("Hill"), "planting": tr("Planting"),
            "below": tr("Pictures below")}  # fmt: skip


class LandPage(QWidget):
    """The land: a whole page of map to draw, cut and plant on.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    side_px = COLUMN
    """What lies over the page leaves this column at the right free."""

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self.outline = OutlinePanel(session)
        self.map = MapPanel(session, navigate, self.outline)
        self.map.canvas.set_edges_only(Settings().edges_only)
        self.bench = Workbench(self.map)
        self.outline.attach(self.bench)
        self.tabs: dict[str, Tab] = {}
        self.sections: dict[str, QWidget] = {}
        self._build()
        self._keys()
        self.show_section("outline")

    def _build(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        left = QVBoxLayout()
        left.setContentsMargins(0, 0, 0, 0)
        left.setSpacing(0)
        left.addWidget(self.map, 1)
        below = QWidget()
        line = QHBoxLayout(below)
        line.setContentsMargins(12, 3, 12, 4)
        line.addWidget(self.outline.words_below, 1)
        left.addWidget(below)
        row.addLayout(left, 1)
        side = QWidget()
        side.setProperty("role", "bar")
        side.setFixedWidth(COLUMN)
        column = QVBoxLayout(side)
        column.setContentsMargins(0, 4, 0, 0)
        column.setSpacing(0)
        names = QHBoxLayout()
        names.setContentsMargins(8, 0, 8, 0)
        names.setSpacing(2)
        for name, words in section_words().items():
            if not _is_made(SECTIONS[name]):
                continue
            tab = Tab(words, theme.BODY)
            tab.setAccessibleName(words)
            tab.clicked.connect(lambda _=False, name=name: self.show_section(name))
            names.addWidget(tab)
            self.tabs[name] = tab
        names.addStretch(1)
        column.addLayout(names)
        self.stack = QStackedWidget()
        column.addWidget(self.stack, 1)
        row.addWidget(side)
        self._add_section("outline", self.outline)

    def _keys(self) -> None:
        for word, letter in KEYS.items():
            key = QShortcut(QKeySequence(letter), self.map)
            key.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            key.activated.connect(lambda word=word: self._take(word))

    def _take(self, word: str) -> None:
        self.show_section("outline")
        self.bench.take(word)

    def _add_section(self, name: str, panel: QWidget) -> None:
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(panel)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.sections[name] = panel
        self.stack.addWidget(scroll)

    def show_section(self, name: str) -> None:
        """Open a section; ``outline``, ``hill``, ``planting`` or ``below``."""
        if name not in self.tabs:
            return
        if name not in self.sections:
            module, kind = SECTIONS[name].split(":")
            panel = getattr(importlib.import_module(module), kind)(self._session, self._navigate)
            self._add_section(name, panel)
            if hasattr(panel, "use_map"):
                panel.use_map(self.map)
        if name != "outline":
            self.bench.take(CHOOSE)
        self.stack.setCurrentIndex(list(self.sections).index(name))
        for other, tab in self.tabs.items():
            tab.setChecked(other == name)

    def show_what(self, section: str = "", tool: str = "") -> None:
        """Open a section, or take a tool up (see :mod:`desktop.mapview.workbench`)."""
        if section:
            self.show_section(section)
        if tool:
            self._take(tool)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The keyboard goes to the map."""
        self.map.canvas.setFocus()


def _is_made(where: str) -> bool:
    """Return whether a section is there to be opened."""
    return not where or importlib.util.find_spec(where.split(":")[0]) is not None
