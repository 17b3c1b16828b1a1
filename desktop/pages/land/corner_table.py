"""The corners as a table: side and bearing from the corner before, latitude, longitude.

It shows what is being drawn, else the chosen block, and everything in it can be typed over: a
table is the way for whom a map is one opaque thing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView

from desktop import theme
from desktop.mapview.handtool import Place
from desktop.mapview.shapes import Corner, Points
from desktop.wording import fixed, tr
from waterbudget.errors import Refused, WaterBudgetError
from waterbudget.outlines import sides
from waterbudget.outlines.corners import read_angle, read_number

Index = QModelIndex | QPersistentModelIndex
NUMBER, LENGTH, BEARING, LAT, LON = range(5)


@dataclass(frozen=True)
class Ring:
    """One ring of the table.

    Attributes
    ----------
    label : str
        Before the number of each corner; nothing for the outer edge.
    """

    points: Points
    closed: bool = True
    part: int = 0
    ring: int = 0
    label: str = ""


class CornerModel(QAbstractTableModel):
    """The corners of the rings shown.

    Signals
    -------
    put(Corner, object)
        A corner was typed somewhere else [m].
    refused(WaterBudgetError)
    """

    put = Signal(object, object)
    refused = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.epsg = 0
        self.north = "true"
        self.rings: tuple[Ring, ...] = ()
        self._starts = np.zeros(1, int)

    def show(self, rings: Sequence[Ring], epsg: int) -> None:
        """Show other corners."""
        new = sum(len(r.points) for r in rings)
        if new == self.rowCount() and len(rings) == len(self.rings):
            self._take(rings, epsg)
            if new:
                self.dataChanged.emit(self.index(0, 0), self.index(new - 1, LON))
            return
        self.beginResetModel()
        self._take(rings, epsg)
        self.endResetModel()

    def _take(self, rings: Sequence[Ring], epsg: int) -> None:
        self.rings, self.epsg = tuple(rings), epsg
        self._starts = np.cumsum([0, *(len(r.points) for r in rings)])

    def set_north(self, north: str) -> None:
        """Count bearings from another north."""
        self.north = north
        if self.rowCount():
            self.dataChanged.emit(self.index(0, BEARING), self.index(self.rowCount() - 1, BEARING))

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        """One row a corner."""
        return 0 if parent.isValid() else int(self._starts[-1])

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        """Number, side, bearing, latitude, longitude."""
        return 0 if parent.isValid() else 5

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        """Name the columns."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return (tr("No.", "number of a corner"), tr("side m"), tr("bearing °"),
                    tr("latitude"), tr("longitude"))[section]  # fmt: skip
        if role == Qt.ItemDataRole.ToolTipRole and section in (LENGTH, BEARING):
            return tr("From the corner before, on the level")
        return None

    def corner(self, row: int) -> Corner:
        """Return which corner a row shows."""
        k = int(np.searchsorted(self._starts, row, side="right")) - 1
        ring = self.rings[k]
        return Corner(ring.part, ring.ring, row - int(self._starts[k]))

    def row_of(self, corner: Corner) -> int | None:
        """Return the row of a corner."""
        for k, ring in enumerate(self.rings):
            if (ring.part, ring.ring) == (corner.part, corner.ring):
                return int(self._starts[k]) + corner.place
        return None

    def _here(self, row: int) -> tuple[Ring, int]:
        k = int(np.searchsorted(self._starts, row, side="right")) - 1
        return self.rings[k], row - int(self._starts[k])

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Tell a cell."""
        if not index.isValid():
            return None
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        if role not in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return None
        ring, place = self._here(index.row())
        if index.column() == NUMBER:
            return f"{ring.label}{place + 1}"
        here = tuple(ring.points[place].tolist())
        if index.column() in (LAT, LON):
            lat, lon = sides.position_of(here, self.epsg)
            return fixed(lat if index.column() == LAT else lon, 6)
        if place == 0 and not ring.closed:
            return ""
        before = tuple(ring.points[place - 1].tolist())
        length, bearing = sides.side(before, here, self.epsg, self.north)
        return fixed(length, 1) if index.column() == LENGTH else fixed(bearing % 360, 1)

    def flags(self, index: Index) -> Qt.ItemFlag:
        """All but the number can be typed over; the first corner drawn has no side yet."""
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        ring, place = self._here(index.row())
        no_side = place == 0 and not ring.closed and index.column() in (LENGTH, BEARING)
        if index.column() != NUMBER and not no_side:
            flags |= Qt.ItemFlag.ItemIsEditable
        return flags

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        """Take what was typed; the corner goes where that puts it."""
        if str(value).strip() == self.data(index):
            return False
        try:
            at = self._typed(index.row(), index.column(), str(value))
        except WaterBudgetError as fault:
            self.refused.emit(fault)
            return False
        self.put.emit(self.corner(index.row()), at)
        return True

    def _typed(self, row: int, column: int, text: str) -> Place:
        ring, place = self._here(row)
        here = tuple(ring.points[place].tolist())
        value = read_angle(text) if column in (LAT, LON) else read_number(text.rstrip("°m "))
        if value is None:
            raise Refused("bench.no_number", value=text[:40])
        if column in (LAT, LON):
            lat, lon = sides.position_of(here, self.epsg)
            return sides.place_at(*((value, lon) if column == LAT else (lat, value)), self.epsg)
        before = tuple(ring.points[place - 1].tolist())
        length, bearing = sides.side(before, here, self.epsg, self.north)
        wanted = (value, bearing) if column == LENGTH else (length, value)
        return sides.corner_from(before, *wanted, self.epsg, self.north)


class CornerTable(QTableView):
    """The table; Insert sets a corner after the marked one, Delete takes the marked one away.

    Signals
    -------
    walked(Corner)
        Another row is marked.
    insert_asked(Corner), delete_asked(Corner)
    """

    walked = Signal(object)
    insert_asked = Signal(object)
    delete_asked = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.corners = CornerModel()
        self.setModel(self.corners)
        self.setFont(theme.font(theme.SMALL, narrow=True))
        self.setAccessibleName(tr("Corners of the outline"))
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectItems)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setAlternatingRowColors(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(22)
        head = self.horizontalHeader()
        head.setFont(theme.font(theme.SMALL))
        head.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        head.setSectionResizeMode(NUMBER, QHeaderView.ResizeMode.Fixed)
        self.setColumnWidth(NUMBER, 44)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.selectionModel().currentRowChanged.connect(self._walked)

    def _walked(self, now: QModelIndex, _: QModelIndex) -> None:
        if now.isValid():
            self.walked.emit(self.corners.corner(now.row()))

    def show_rings(self, rings: Sequence[Ring], epsg: int) -> None:
        """Show other corners; the marked place in the table stays as far as it can."""
        was = self.currentIndex()
        row, column = was.row(), was.column()
        self.corners.show(rings, epsg)
        rows = self.corners.rowCount()
        if row >= 0 and rows and not self.currentIndex().isValid():
            self.setCurrentIndex(self.corners.index(min(row, rows - 1), column))

    def current(self) -> Corner | None:
        """Return the marked corner."""
        row = self.currentIndex().row()
        return self.corners.corner(row) if 0 <= row < self.corners.rowCount() else None

    def mark(self, corner: Corner | None) -> None:
        """Mark a corner's row."""
        row = self.corners.row_of(corner) if corner is not None else None
        if row is not None and row != self.currentIndex().row():
            column = max(self.currentIndex().column(), LENGTH)
            self.setCurrentIndex(self.corners.index(row, column))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Insert, Delete, Enter to type; the rest is Qt's."""
        corner = self.current()
        if event.key() == Qt.Key.Key_Insert and corner is not None:
            self.insert_asked.emit(corner)
        elif event.key() == Qt.Key.Key_Delete and corner is not None:
            self.delete_asked.emit(corner)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and (
            self.state() != QAbstractItemView.State.EditingState
        ):
            self.edit(self.currentIndex())
        else:
            super().keyPressEvent(event)
