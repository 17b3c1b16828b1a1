"""Pictures below: the list of pictures and height files laid under the map, the uppermost first."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QSpinBox, QVBoxLayout, QWidget

from desktop import theme, underlay_edits
from desktop.mapview import ground
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Link, restyle, rule, text
from desktop.wording import say, tr

if TYPE_CHECKING:
    from desktop.mapview.panel import MapPanel
    from waterbudget.records import Underlay

REST_MS = 350
"""A strength is stored that long after the last step of its field."""


class UnderlaysPanel(QWidget):
    """What lies under the map: strength, order, shown or not, add, take away.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self._keeper = ground.keeper(session)
        self.rows: dict[str, UnderlayRow] = {}
        self._map: MapPanel | None = None
        column = QVBoxLayout(self)
        column.setContentsMargins(14, 10, 14, 12)
        column.setSpacing(8)
        column.addWidget(text(tr("Pictures below"), theme.LARGE, bold=True))
        self.empty = text(
            tr("Nothing is laid under the map yet. An air picture or a scanned map that knows its "
               "place (GeoTIFF), or a height file, helps to draw the blocks."),
            quiet=True, wrap=True,
        )  # fmt: skip
        column.addWidget(self.empty)
        self._list = QVBoxLayout()
        self._list.setSpacing(6)
        column.addLayout(self._list)
        self.add_picture = Link(tr("Add a picture"), lambda: self._add("picture"))
        self.add_heights = Link(tr("Add a height file"), lambda: self._add("heights"))
        line = QHBoxLayout()
        line.setSpacing(16)
        line.addWidget(self.add_picture)
        line.addWidget(self.add_heights)
        line.addStretch(1)
        column.addLayout(line)
        self.edges = QCheckBox(tr("Only the edges of the blocks"))
        self.edges.setFont(theme.font())
        self.edges.setChecked(Settings().edges_only)
        self.edges.setToolTip(tr("The blocks are left open, so that what lies below shows"))
        self.edges.clicked.connect(self._edges_only)
        column.addWidget(self.edges)
        column.addWidget(
            text(tr("The files stay where they are and are only read. A file can also be dropped "
                    "on the window."), theme.SMALL, quiet=True, wrap=True)
        )  # fmt: skip
        column.addStretch(1)
        session.changed.connect(self.refresh)
        session.opened.connect(self.refresh)
        session.closed.connect(self.refresh)
        self._keeper.laid.connect(self.refresh)
        self.refresh()

    def use_map(self, panel: MapPanel) -> None:
        """Show the map what is chosen here."""
        self._map = panel

    def _edges_only(self, on: bool) -> None:
        Settings().edges_only = on
        if self._map is not None:
            self._map.canvas.set_edges_only(on)

    def refresh(self, _kinds: object = None) -> None:
        """Show the list as it stands in the farm file; what has the keyboard keeps it."""
        data = self._session.data
        found = data.underlays if data is not None else ()
        order = sorted(found, key=lambda r: (-r.place, -r.id))
        for path in set(self.rows) - {r.path for r in order}:
            row = self.rows.pop(path)
            self._list.removeWidget(row)
            row.hide()
            row.deleteLater()
        for at, underlay in enumerate(order):
            if underlay.path not in self.rows:
                self.rows[underlay.path] = UnderlayRow(self, underlay)
            row = self.rows[underlay.path]
            if self._list.indexOf(row) != at:
                self._list.removeWidget(row)
                self._list.insertWidget(at, row)
            row.show_row(underlay, self._keeper.state(underlay), at, len(order))
        self.empty.setVisible(not order)
        for link in (self.add_picture, self.add_heights):
            link.setEnabled(data is not None)

    def shift(self, path: str, by: int) -> None:
        """Move a file nearer to the top of the list (-1) or further down (+1)."""
        data = self._session.data
        if data is None:
            return
        paths = [r.path for r in sorted(data.underlays, key=lambda r: (r.place, r.id))]
        at = paths.index(path)
        to = at - by
        if 0 <= to < len(paths):
            paths[at], paths[to] = paths[to], paths[at]
            underlay_edits.order(self._session, paths)

    def _add(self, kind: str) -> None:
        ground.choose(self, self._session, kind)


class UnderlayRow(QWidget):
    """One file: its name, whether it shows, how strongly, its place in the order."""

    def __init__(self, panel: UnderlaysPanel, underlay: Underlay) -> None:
        super().__init__()
        self._panel, self._underlay = panel, underlay
        self._session = panel._session
        name = underlay.name or Path(underlay.path).name
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(3)
        self.shown = QCheckBox(name)
        self.shown.setFont(theme.font(bold=True))
        self.shown.setToolTip(underlay.path)
        self.shown.setAccessibleName(tr("{0} shown on the map").format(name))
        self.shown.clicked.connect(self._show)
        column.addWidget(self.shown)
        kind = tr("hills: shade and height lines") if underlay.kind == "heights" else tr("picture")
        self.kind = text(kind, theme.SMALL, quiet=True)
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(REST_MS)
        self._rest.timeout.connect(self._store)
        self.strength = QSpinBox()
        self.strength.setFont(theme.font())
        self.strength.setRange(0, 100)
        self.strength.setSingleStep(10)
        self.strength.setSuffix(" %")
        self.strength.setFixedWidth(64)
        self.strength.setKeyboardTracking(False)
        self.strength.setAccessibleName(tr("How strongly {0} shows, percent").format(name))
        self.strength.setToolTip(tr("How strongly it shows; the up and down keys change it"))
        self.strength.valueChanged.connect(lambda _: self._rest.start())
        self.up = Link(tr("up", "nearer to the top of the list"), lambda: self._move(-1))
        self.down = Link(tr("down", "further from the top of the list"), lambda: self._move(1))
        self.off = Link(tr("take off", "a picture off the map"), self._drop)
        for link, words in ((self.up, tr("{0} further up")), (self.down, tr("{0} further down")),
                            (self.off, tr("Take {0} off the map"))):  # fmt: skip
            link.setAccessibleName(words.format(name))
        line = QHBoxLayout()
        line.setContentsMargins(26, 0, 0, 0)
        line.setSpacing(12)
        for widget in (self.strength, self.up, self.down, self.off):
            line.addWidget(widget)
        line.addStretch(1)
        column.addLayout(line)
        self.words = text("", theme.SMALL, wrap=True)
        below = QVBoxLayout()
        below.setContentsMargins(26, 0, 0, 4)
        below.setSpacing(2)
        below.addWidget(self.kind)
        below.addWidget(self.words)
        column.addLayout(below)
        column.addWidget(rule())

    def show_row(self, underlay: Underlay, state: Any, at: int, of: int) -> None:
        """Show the row as it is stored."""
        self._underlay = underlay
        self.shown.setChecked(underlay.shown)
        if not self._rest.isActive():
            self.strength.blockSignals(True)
            self.strength.setValue(round(underlay.opacity * 100))
            self.strength.blockSignals(False)
        self.up.setEnabled(at > 0)
        self.down.setEnabled(at < of - 1)
        wrong = state is not None and state != "reading"
        words = tr("being made ready …") if state == "reading" else say(state) if wrong else ""
        self.words.setText(words)
        self.words.setVisible(bool(words))
        role = "wrong" if wrong else "quiet"
        if self.words.property("role") != role:
            self.words.setProperty("role", role)
            restyle(self.words)

    def _show(self, on: bool) -> None:
        underlay_edits.change(self._session, self._underlay, shown=on)

    def _store(self) -> None:
        opacity = self.strength.value() / 100
        if round(opacity, 2) != round(self._underlay.opacity, 2):
            underlay_edits.change(self._session, self._underlay, opacity=opacity)

    def _move(self, by: int) -> None:
        self._panel.shift(self._underlay.path, by)

    def _drop(self) -> None:
        underlay_edits.drop(self._session, self._underlay)
        name = Path(self._underlay.path).name
        self._session.told.emit(tr("{0} is off the map; Ctrl+Z brings it back.").format(name))
        self._panel.add_picture.setFocus()
