"""What each tool can be told without the mouse: typed sides, corner numbers, names."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from desktop import theme
from desktop.mapview.tools import PathTool
from desktop.mapview.workbench import ALONG, CHOOSE, CORNERS, CUT, DRAW, JOIN, MEASURE, SPLIT
from desktop.widgets import Choice, Link, text
from desktop.wording import say, tr
from waterbudget.errors import Refused, WaterBudgetError
from waterbudget.outlines.corners import read_angle, read_number

if TYPE_CHECKING:
    from desktop.pages.land.outline import OutlinePanel


def line(name: str, wide: int, shown: str = "") -> QLineEdit:
    """Return a short field."""
    field = QLineEdit(shown)
    field.setFont(theme.font())
    field.setFixedWidth(wide)
    field.setAccessibleName(name)
    return field


class Row(QWidget):
    """Widgets side by side."""

    def __init__(self, *widgets: QWidget) -> None:
        super().__init__()
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(6)
        for widget in widgets:
            row.addWidget(widget)
        row.addStretch(1)


class Boxes(QWidget):
    """The rows of the tool in hand."""

    def __init__(self, panel: OutlinePanel) -> None:
        super().__init__()
        self._panel = panel
        self._blocks: list[str] = []
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        self._rows: list[tuple[QWidget, frozenset[str]]] = []

        def add(widget: QWidget, *words: str) -> None:
            column.addWidget(widget)
            self._rows.append((widget, frozenset(words)))

        paths = (DRAW, CUT, SPLIT, ALONG, MEASURE)
        self._sides(add, paths)
        self._start(add, paths)
        self._follow(add)
        self._split(add)
        self._join(add)
        self._corners(add)
        self.show_for(CHOOSE)

    # -- the rows -----------------------------------------------------------------------------

    def _sides(self, add: Callable[..., None], paths: tuple[str, ...]) -> None:
        self.length = line(tr("Length of the side, m"), 62)
        self.bearing = line(tr("Bearing of the side, degrees"), 56)
        self.north = Choice(
            (("true", tr("true north")), ("grid", tr("map north"))), tr("Bearings count from")
        )
        self.north.currentIndexChanged.connect(
            lambda _: self._panel.table.corners.set_north(self.north.value())
        )
        for field in (self.length, self.bearing):
            field.returnPressed.connect(self.set_side)
        add(Row(text(tr("Side")), self.length, text(tr("m at")), self.bearing, text("°"),
                Link(tr("Set"), self.set_side)), *paths)  # fmt: skip
        add(Row(text(tr("from"), quiet=True), self.north), *paths, CORNERS)
        note = text(tr("A compass shows magnetic north: add its declination first."),
                    theme.SMALL, quiet=True, wrap=True)  # fmt: skip
        add(note, DRAW)

    def _start(self, add: Callable[..., None], paths: tuple[str, ...]) -> None:
        self.lat = line(tr("Latitude of a corner"), 92)
        self.lon = line(tr("Longitude of a corner"), 92)
        self.lat.setPlaceholderText(tr("latitude"))
        self.lon.setPlaceholderText(tr("longitude"))
        for field in (self.lat, self.lon):
            field.returnPressed.connect(self.set_place)
        add(Row(text(tr("Corner")), self.lat, self.lon, Link(tr("Set"), self.set_place)), *paths)
        self.finish = Link(tr("Finish"), self._finish)
        self.back = Link(tr("Last one back"), self._back)
        add(Row(self.finish, self.back), *paths)

    def _follow(self, add: Callable[..., None]) -> None:
        self.along = Choice((), tr("Block whose edge is followed"))
        self.along_from = line(tr("From corner number"), 40)
        self.along_to = line(tr("To corner number"), 40)
        self.other_way = QCheckBox(tr("the other way round"))
        self.other_way.setFont(theme.font())
        self.other_way.toggled.connect(self._other_way)
        self.along_to.returnPressed.connect(self.follow)
        add(Row(text(tr("Edge of")), self.along), ALONG)
        add(Row(text(tr("from corner")), self.along_from, text(tr("to")), self.along_to,
                Link(tr("Follow"), self.follow)), ALONG)  # fmt: skip
        add(self.other_way, ALONG)

    def _split(self, add: Callable[..., None]) -> None:
        self.split_from = line(tr("From corner number"), 40)
        self.split_to = line(tr("To corner number"), 40)
        self.split_to.returnPressed.connect(self.split)
        add(Row(text(tr("From corner")), self.split_from, text(tr("to corner")), self.split_to,
                Link(tr("Split"), self.split)), SPLIT)  # fmt: skip

    def _join(self, add: Callable[..., None]) -> None:
        self.stays = Choice((), tr("Block that stays"))
        self.goes = Choice((), tr("Block that goes into it"))
        add(Row(text(tr("Stays")), self.stays), JOIN)
        add(Row(text(tr("Goes into it")), self.goes), JOIN)
        add(Row(Link(tr("Join"), self.join)), JOIN)

    def _corners(self, add: Callable[..., None]) -> None:
        self.together = QCheckBox(tr("Touching neighbours move along"))
        self.together.setFont(theme.font())
        self.together.setChecked(True)
        self.together.toggled.connect(self._together)
        add(self.together, CORNERS)
        self.reach = line(tr("Close gaps up to, m"), 48, "1")
        self.reach.returnPressed.connect(self.close_gaps)
        add(Row(text(tr("Close gaps up to")), self.reach, text(tr("m")),
                Link(tr("Close"), self.close_gaps)), CORNERS)  # fmt: skip

    # -- showing ------------------------------------------------------------------------------

    def show_for(self, word: str) -> None:
        """Show the rows of a tool."""
        for widget, words in self._rows:
            widget.setVisible(word in words)
        self.setVisible(any(word in words for _, words in self._rows))
        self.refresh()

    def refresh(self) -> None:
        """Offer the blocks there are; the two chosen on the map stand in the fields of a join."""
        bench = self._panel.bench
        if bench is None:
            return
        names = [b.name for b in bench.canvas.blocks if b.outline is not None]
        if names != self._blocks:
            self._blocks = names
            for choice in (self.along, self.stays, self.goes):
                before = choice.value() if choice.count() else ""
                choice.blockSignals(True)
                choice.clear()
                for name in names:
                    choice.addItem(name, name)
                choice.set_value(before)
                choice.blockSignals(False)
        by_id = {b.id: b.name for b in bench.canvas.blocks}
        marked = [by_id[i] for i in bench.panel.pointing.marked if i in by_id]
        for choice, name in zip((self.stays, self.goes), marked, strict=False):
            choice.set_value(name)
        tool = bench.canvas.tool
        held = isinstance(tool, PathTool) and bool(tool.points)
        self.finish.setEnabled(held)
        self.back.setEnabled(held)

    # -- doing --------------------------------------------------------------------------------

    def _tool(self) -> PathTool | None:
        tool = self._panel.bench.canvas.tool if self._panel.bench is not None else None
        return tool if isinstance(tool, PathTool) else None

    def _try(self, do: Callable[[], object]) -> bool:
        try:
            do()
        except WaterBudgetError as fault:
            self._panel.hint(say(fault), wrong=True)
            return False
        return True

    def _number(self, field: QLineEdit, angle: bool = False) -> float:
        words = field.text().strip().rstrip("°m ")
        value = read_angle(words) if angle else read_number(words)
        if value is None:
            field.setFocus()
            raise Refused("bench.no_number", value=field.text()[:40])
        return value

    def _whole(self, field: QLineEdit) -> int:
        value = self._number(field)
        if value != int(value):
            raise Refused("bench.no_number", value=field.text()[:40])
        return int(value)

    def set_side(self) -> None:
        """Set a corner by side and bearing."""
        tool = self._tool()

        def add() -> None:
            assert tool is not None
            length, bearing = self._number(self.length), self._number(self.bearing)
            tool.add_side(length, bearing, self.north.value())

        if tool is not None and self._try(add):
            self.length.setFocus()
            self.length.selectAll()

    def set_place(self) -> None:
        """Set a corner by latitude and longitude."""
        from waterbudget.outlines import sides

        tool = self._tool()
        if tool is not None and self._try(lambda: tool.add([sides.place_at(
                self._number(self.lat, True), self._number(self.lon, True),
                tool.canvas.epsg)])):  # fmt: skip
            self.lat.clear()
            self.lon.clear()
            self.lat.setFocus()

    def _finish(self) -> None:
        if (tool := self._tool()) is not None:
            tool.end()

    def _back(self) -> None:
        if (tool := self._tool()) is not None:
            tool.take_back()

    def _other_way(self, on: bool) -> None:
        if (tool := self._tool()) is not None:
            tool.other_way = on

    def follow(self) -> None:
        """Go along a neighbour from corner to corner."""
        tool, bench = self._tool(), self._panel.bench
        if tool is None or bench is None:
            return
        outline = next((b.outline for b in bench.canvas.blocks if b.name == self.along.value()),
                       None)  # fmt: skip
        if outline is not None:
            self._try(lambda: tool.follow_corners(
                outline, self._whole(self.along_from), self._whole(self.along_to)))  # fmt: skip

    def split(self) -> None:
        """Split from corner to corner."""
        bench = self._panel.bench
        if bench is not None:
            self._try(lambda: bench.split_by_corners(
                self._whole(self.split_from), self._whole(self.split_to)))  # fmt: skip

    def join(self) -> None:
        """Join the two blocks named."""
        if self._panel.bench is not None:
            self._panel.bench.join(self.stays.value(), self.goes.value())

    def _together(self, on: bool) -> None:
        bench = self._panel.bench
        if bench is not None:
            bench.set_together(on)

    def close_gaps(self) -> None:
        """Close gaps to the neighbours."""
        bench = self._panel.bench
        if bench is not None:
            self._try(lambda: bench.close_gaps(self._number(self.reach)))
