"""What the home page shows of the map: canvas, legend, and the tools while outlines are edited."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget
from shapely.geometry.base import BaseGeometry

from desktop import block_edits, theme
from desktop.mapview import edits, ground
from desktop.mapview.canvas import MapCanvas
from desktop.mapview.legend import Legend
from desktop.mapview.overlay import MapBlock
from desktop.mapview.tools import CornerTool, DrawTool
from desktop.models.standing import Look, Standing, standing
from desktop.session import Session
from desktop.widgets import Link, text
from desktop.wording import fixed, say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Block

if TYPE_CHECKING:
    from waterbudget.season import Season

Navigate = Callable[..., None]
_UNKNOWN = Standing(Look.NO_DATA, "young")


class MapPanel(QWidget):
    """The map of the open farm.

    Signals
    -------
    editing_changed(bool)
        Outlines are being edited, or no longer.
    """

    editing_changed = Signal(bool)

    def __init__(self, session: Session, navigate: Navigate) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self._drawn: BaseGeometry | None = None
        self._ground_of: object = None
        self.canvas = MapCanvas()
        self.strip = _Strip(self)
        self.empty = _EmptyPlate(self.canvas, navigate, lambda: self.choose_ground("picture"))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.strip)
        column.addWidget(self.canvas, 1)
        column.addWidget(Legend())
        self.corner = _Corner(self.canvas, self)
        self.canvas.installEventFilter(self)
        self.canvas.chosen.connect(session.select)
        self.canvas.opened.connect(lambda block: navigate("block", block=block))
        self.canvas.drawn.connect(self._ask_name)
        self.canvas.reshaped.connect(self._reshape)
        self.canvas.hinted.connect(self.strip.hint)
        session.season_changed.connect(self.refresh)
        session.changed.connect(self._changed)
        session.selection_changed.connect(self._selected)
        session.closed.connect(self._closed)
        self.strip.hide()
        self.refresh()

    # -- what is shown ------------------------------------------------------------------------

    def refresh(self, _season: object = None) -> None:
        """Show the blocks as they stand in the session's season."""
        data, season = self.session.data, self.session.season
        if data is None:
            self.canvas.show_blocks((), 0)
            return
        stands = _standings(season)
        blocks = [
            MapBlock(b.id, b.name, b.outline, stands.get(b.id, _UNKNOWN), b.hectares)
            for b in data.orchard.blocks
        ]
        home = ground.home_of(data.orchard) if not any(b.outline for b in blocks) else None
        self.canvas.show_blocks(blocks, data.orchard.epsg, home)
        self.canvas.select(self.session.selected)
        if isinstance(self.canvas.tool, CornerTool) and not self.canvas.tool.changed:
            self.canvas.tool.reload()
        self.empty.setVisible(self.canvas.empty and not self.editing)
        self.empty.place()
        self._lay_ground()
        self.corner.refresh()

    def _changed(self, kinds: frozenset[str]) -> None:
        if "outlines" in kinds or "blocks" in kinds:
            self.canvas.mark_wrong(None)
        if self.session.season is None:
            self.refresh()

    def _closed(self) -> None:
        self.set_editing(False)
        self._ground_of = None
        self.canvas.set_ground(None, None)

    def _selected(self, block_id: int | None) -> None:
        self.canvas.select(block_id)
        if isinstance(self.canvas.tool, CornerTool):
            self.canvas.come_near(block_id)
        self.strip.refresh()

    def _lay_ground(self) -> None:
        data = self.session.data
        if data is None or self._ground_of == self.session.path:
            return
        self._ground_of = self.session.path
        orchard = data.orchard
        self.session.worker.submit(
            ground.read_ground, orchard, self.session.path, done=self._ground_read, key="ground",
        )  # fmt: skip

    def _ground_read(self, found: ground.Ground) -> None:
        self.canvas.set_ground(found.contours, found.picture)
        if found.fault is not None:
            self.session.refused.emit(found.fault)

    def choose_ground(self, kind: str) -> None:
        """Ask for a height file (``heights``) or a picture to lay under the blocks."""

        def then() -> None:
            self._ground_of = None
            self._lay_ground()
            if kind == "picture" and self.canvas.empty:
                self.draw()

        ground.choose(self, self.session, kind, then)

    # -- editing ------------------------------------------------------------------------------

    @property
    def editing(self) -> bool:
        """True while outlines are edited."""
        return self.canvas.tool is not None

    def set_editing(self, on: bool) -> None:
        """Take the tools up, or put them down."""
        if on and not self.session.at_today:
            self.session.told.emit(tr("Outlines are edited while today is shown; press T."))
            on = False
        if on == self.editing:
            return
        self._drawn = None
        self.canvas.set_tool(CornerTool(self.canvas) if on else None)
        if on:
            self.canvas.come_near(self.session.selected)
        self.strip.setVisible(on)
        self.strip.show_tools()
        self.empty.setVisible(self.canvas.empty and not on)
        self.corner.refresh()
        self.canvas.setFocus()
        self.editing_changed.emit(on)

    def draw(self) -> None:
        """Begin a new outline."""
        if not self.editing:
            self.set_editing(True)
        if not self.editing:
            return
        self.canvas.set_tool(DrawTool(self.canvas))
        self.strip.refresh()
        self.canvas.setFocus()

    def correct(self) -> None:
        """Go back from drawing to moving corners."""
        self._drawn = None
        self.canvas.set_tool(CornerTool(self.canvas))
        self.strip.show_tools()
        self.canvas.setFocus()

    def _ask_name(self, outline: BaseGeometry) -> None:
        fault = self._fault(outline)
        if fault is not None:
            self._refuse(fault)
            return
        self._drawn = outline
        self.strip.ask_name(tr("Name of the new block"), self._free_name(), self._keep_drawn)
        notes = self._overlaps(outline, None)
        if notes:
            self.strip.hint(notes)

    def _keep_drawn(self, name: str) -> None:
        if self._drawn is None:
            return

        def done(block: Block) -> None:
            self.correct()
            self.session.select(block.id)

        edits.draw(self.session, name, self._drawn, done, self._refuse)

    def _reshape(self, block_id: int, outline: BaseGeometry) -> None:
        block = block_edits.block_of(self.session, block_id)
        if block is None:
            return
        fault = self._fault(outline)
        if fault is not None:
            self._refuse(fault)
            if isinstance(self.canvas.tool, CornerTool):
                self.canvas.tool.changed = True  # it stays in hand, to be mended or put back
                self.strip.hint(f"{say(fault)} {tr('Not stored; Esc puts it back.')}", wrong=True)
            return
        edits.reshape(self.session, block.name, outline, self._refuse)
        self.strip.hint(self._overlaps(outline, block_id))

    def _fault(self, outline: BaseGeometry) -> WaterBudgetError | None:
        """Ask the core's gate before anything is sent to be stored (it takes a millisecond)."""
        from waterbudget.outlines import check_shape

        try:
            check_shape(outline, self.canvas.epsg)
        except WaterBudgetError as fault:
            return fault
        return None

    def _refuse(self, fault: WaterBudgetError) -> None:
        self.strip.hint(say(fault), wrong=True)
        at = ground.place_of(fault, self.canvas.epsg)
        if at is not None:
            self.canvas.mark_wrong(at)

    def _overlaps(self, outline: BaseGeometry, own: int | None) -> str:
        """Return a word on neighbours it lies over (told, not refused: a hectare may be shared)."""
        for block in self.canvas.blocks:
            if block.id == own or block.outline is None or not block.outline.intersects(outline):
                continue
            square = block.outline.intersection(outline).area
            if square > max(0.005 * outline.area, 20.0):
                return tr("It lies over {0} by {1} ha.").format(
                    block.name, fixed(square / 10_000, 2)
                )  # fmt: skip
        return ""

    def _free_name(self) -> str:
        taken = {b.name.casefold() for b in self.canvas.blocks}
        n = len(taken) + 1
        while tr("Block {0}").format(n).casefold() in taken:
            n += 1
        return tr("Block {0}").format(n)

    def rename(self) -> None:
        """Give the chosen block another name."""
        block = self._chosen()
        if block is not None:
            self.strip.ask_name(
                tr("New name of {0}").format(block.name), block.name, partial(self._renamed, block)
            )

    def _renamed(self, block: Block, name: str) -> None:
        self.strip.show_tools()
        if name != block.name:
            block_edits.rename_block(self.session, block, name, failed=self._refuse)

    def delete(self) -> None:
        """Take the chosen block off the farm; undo brings it back."""
        block = self._chosen()
        if block is not None:
            self.session.select(None)
            block_edits.delete_blocks(self.session, [block])
            self.session.told.emit(
                tr("{0} is off the farm; Ctrl+Z brings it back.").format(block.name)
            )

    def _chosen(self) -> Block | None:
        if self.session.selected is None:
            return None
        return block_edits.block_of(self.session, self.session.selected)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keep plates in their places; Esc on an idle tool ends editing."""
        if watched is self.canvas and event.type() == QEvent.Type.Resize:
            self.empty.place()
            self.corner.place()
        return super().eventFilter(watched, event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the plates in their places."""
        super().resizeEvent(event)
        self.empty.place()
        self.corner.place()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc that no tool took: from drawing to corners, from corners out of editing."""
        if event.key() == Qt.Key.Key_Escape and self.editing:
            if isinstance(self.canvas.tool, DrawTool):
                self.correct()
            else:
                self.set_editing(False)
        else:
            super().keyPressEvent(event)


def _standings(season: Season | None) -> dict[int, Standing]:
    if season is None:
        return {}
    return {b.block.id: standing(season, b) for b in season.blocks}


class _Corner(QWidget):
    """Over the map's corner: zoom, everything, edit outlines."""

    def __init__(self, canvas: MapCanvas, panel: MapPanel) -> None:
        super().__init__(canvas)
        self._panel = panel
        row = QHBoxLayout(self)
        row.setContentsMargins(6, 2, 6, 2)
        row.setSpacing(4)
        self.edit = Link(tr("Edit outlines"), lambda: panel.set_editing(True))
        row.addWidget(self.edit)
        for words, name, do in (
            ("+", tr("Nearer"), lambda: canvas.zoom(1.5)),
            ("−", tr("Further away"), lambda: canvas.zoom(1 / 1.5)),
            (tr("all", "show the whole farm"), tr("Show every block"), canvas.fit),
        ):
            link = Link(words, do)
            link.setAccessibleName(name)
            link.setToolTip(name)
            row.addWidget(link)

    def refresh(self) -> None:
        """Leave the edit link out while editing, and where there is nothing to edit."""
        panel = self._panel
        self.setVisible(not panel.empty.isVisibleTo(panel.canvas))
        self.edit.setVisible(not panel.editing)
        self.edit.setEnabled(panel.session.at_today)
        self.place()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A plate, so that the words stay readable on any ground."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.colours().plate))
        painter.drawRoundedRect(self.rect(), 3, 3)

    def place(self) -> None:
        """Stand in the upper right corner."""
        self.adjustSize()
        parent = self.parentWidget()
        if parent is not None:
            self.move(parent.width() - self.width() - 6, 6)


class _Strip(QFrame):
    """Above the map while editing: what can be done, and what the tool wants next."""

    def __init__(self, panel: MapPanel) -> None:
        super().__init__()
        self._panel = panel
        self._keep: Callable[[str], Any] | None = None
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 4, 10, 4)
        column.setSpacing(2)
        self.tools = QWidget()
        row = QHBoxLayout(self.tools)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(10)
        self.draw = Link(tr("Draw a block"), panel.draw)
        self.corners = Link(tr("Move corners"), panel.correct)
        self.rename = Link(tr("Rename"), panel.rename)
        self.delete = Link(tr("Delete block"), panel.delete)
        self.heights = Link(tr("Height file"), lambda: panel.choose_ground("heights"))
        self.picture = Link(tr("Picture"), lambda: panel.choose_ground("picture"))
        self.done = Link(tr("Done", "editing outlines is over"), lambda: panel.set_editing(False))
        for link in (self.draw, self.corners, self.rename, self.delete, self.heights,
                     self.picture):  # fmt: skip
            row.addWidget(link)
        row.addStretch(1)
        row.addWidget(self.done)
        self.naming = QWidget()
        line = QHBoxLayout(self.naming)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(8)
        self.question = text()
        self.name = QLineEdit()
        self.name.setFont(theme.font())
        self.name.setMaxLength(60)
        self.name.returnPressed.connect(self._named)
        line.addWidget(self.question)
        line.addWidget(self.name, 1)
        line.addWidget(Link(tr("Keep"), self._named))
        line.addWidget(Link(tr("Give up"), self._give_up))
        self.words = text(size=theme.SMALL, quiet=True, wrap=True)
        self.words.setMinimumHeight(32)
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        column.addWidget(self.tools)
        column.addWidget(self.naming)
        column.addWidget(self.words)
        self.naming.hide()

    def show_tools(self) -> None:
        """Show the tools instead of the name."""
        self._keep = None
        self.naming.hide()
        self.tools.show()
        self.refresh()

    def refresh(self) -> None:
        """Offer only what can be done now."""
        drawing = isinstance(self._panel.canvas.tool, DrawTool)
        chosen = self._panel.session.selected is not None and not drawing
        self.draw.setVisible(not drawing)
        self.corners.setVisible(drawing)
        self.rename.setEnabled(chosen)
        self.delete.setEnabled(chosen)

    def hint(self, words: str, wrong: bool = False) -> None:
        """Say what the tool wants next, or what was refused."""
        from desktop.widgets import restyle

        if not words:
            return
        self.words.setText(words)
        self.words.setProperty("role", "wrong" if wrong else "quiet")
        restyle(self.words)

    def ask_name(self, question: str, shown: str, keep: Callable[[str], Any]) -> None:
        """Ask for a name."""
        self._keep = keep
        self.question.setText(question)
        self.name.setAccessibleName(question)
        self.name.setText(shown)
        self.name.selectAll()
        self.tools.hide()
        self.naming.show()
        self.name.setFocus()

    def _named(self) -> None:
        name = " ".join(self.name.text().split())
        if name and self._keep is not None:
            self._keep(name)

    def _give_up(self) -> None:
        self.show_tools()
        if isinstance(self._panel.canvas.tool, DrawTool):
            self._panel.correct()
        self._panel.canvas.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc gives a name up."""
        if event.key() == Qt.Key.Key_Escape and self.naming.isVisible():
            self._give_up()
        else:
            super().keyPressEvent(event)


class _EmptyPlate(QFrame):
    """On a map without outlines: three ways on, none of which asks to draw out of nothing."""

    def __init__(self, canvas: MapCanvas, navigate: Navigate, picture: Callable[[], None]) -> None:
        super().__init__(canvas)
        self.setProperty("role", "plate")
        column = QVBoxLayout(self)
        column.setContentsMargins(20, 12, 20, 8)
        column.setSpacing(0)
        title = text(tr("No outlines yet"), theme.LARGE, bold=True)
        title.setContentsMargins(3, 0, 0, 8)
        column.addWidget(title)
        for words, below, do in (
            (tr("Import a walk"), tr("a track walked round the blocks, or outlines from any map"),
             lambda: navigate("import", kind="outlines")),
            (tr("Type hectares"), tr("hours stand without a map; outlines can come later"),
             lambda: navigate("blocks", columns="overview", new=True)),
            (tr("Draw on a picture"), tr("a map or air picture that knows its place"), picture),
        ):  # fmt: skip
            column.addWidget(Link(words, do))
            under = text(below, theme.SMALL, quiet=True)
            under.setContentsMargins(3, 0, 0, 8)
            column.addWidget(under)
        self.hide()

    def place(self) -> None:
        """Stand in the middle of the map."""
        self.adjustSize()
        parent = self.parentWidget()
        if parent is not None:
            self.move((parent.width() - self.width()) // 2, (parent.height() - self.height()) // 3)
