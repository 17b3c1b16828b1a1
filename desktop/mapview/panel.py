"""What the home page shows of the map: canvas, legend, and the tools while outlines are edited."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget
from shapely.geometry.base import BaseGeometry

from desktop import block_edits
from desktop.mapview import edits, ground
from desktop.mapview.canvas import MapCanvas
from desktop.mapview.legend import Legend
from desktop.mapview.overlay import MapBlock
from desktop.mapview.panel_parts import Corner, EmptyPlate, Strip, ToolStrip
from desktop.mapview.pointing import Pointing
from desktop.mapview.tools import CornerTool, DrawTool, PathTool
from desktop.models.standing import Look, Standing, standing
from desktop.session import Session
from desktop.wording import fixed, say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Block

if TYPE_CHECKING:
    from waterbudget.season import Season

Navigate = Callable[..., None]
_UNKNOWN = Standing(Look.NO_DATA, "young")


class MapPanel(QWidget):
    """The map of the open farm.

    Parameters
    ----------
    strip : ToolStrip, optional
        Where the tools speak; without it a strip of its own above the map.

    Signals
    -------
    editing_changed(bool)
        Outlines are being edited, or no longer.
    """

    editing_changed = Signal(bool)

    def __init__(
        self, session: Session, navigate: Navigate, strip: ToolStrip | None = None
    ) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.together = True
        self._was_shown = self._stale = False
        self.take_draw: Callable[[], object] | None = None
        self._drawn: BaseGeometry | None = None
        self.keeper = ground.keeper(session)
        self.canvas = MapCanvas()
        own = Strip(self)
        self.own_strip = strip is None
        self.strip: Any = strip if strip is not None else own
        self.empty = EmptyPlate(self.canvas, navigate, lambda: self.choose_ground("picture"))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(own)
        column.addWidget(self.canvas, 1)
        self.legend = Legend()
        column.addWidget(self.legend)
        self.corner = Corner(self.canvas, self)
        self.pointing = Pointing(self.canvas)
        self.canvas.installEventFilter(self)
        self.canvas.chosen.connect(session.select)
        self.canvas.opened.connect(lambda block: navigate("block", block=block))
        self.canvas.drawn.connect(self._ask_name)
        self.canvas.reshaped.connect(self._reshape)
        self.canvas.hinted.connect(lambda words: self.strip.hint(words))
        session.season_changed.connect(self.refresh)
        session.changed.connect(self._changed)
        session.selection_changed.connect(self._selected)
        session.closed.connect(self._closed)
        self.keeper.laid.connect(self._laid)
        self._laid()
        own.hide()
        self.refresh()

    # -- what is shown ------------------------------------------------------------------------

    def refresh(self, _season: object = None) -> None:
        """Show the blocks as they stand in the session's season; a hidden map waits."""
        if self._was_shown and not self.isVisible():
            self._stale = True
            return
        self._stale = False
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
        self.corner.refresh()

    def _changed(self, kinds: frozenset[str]) -> None:
        if "outlines" in kinds or "blocks" in kinds:
            self.canvas.mark_wrong(None)
        if self.session.season is None:
            self.refresh()

    def _closed(self) -> None:
        self.set_editing(False)
        self.canvas.set_layers(())

    def _selected(self, block_id: int | None) -> None:
        self.canvas.select(block_id)
        if isinstance(self.canvas.tool, CornerTool):
            self.canvas.come_near(block_id)
        self.strip.refresh()

    def _laid(self) -> None:
        self.canvas.set_layers(self.keeper.layers)

    def choose_ground(self, kind: str) -> None:
        """Ask for a height file (``heights``) or a picture to lay under the blocks."""

        def then() -> None:
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
        self.canvas.set_tool(self.corner_tool() if on else None)
        if on:
            self.canvas.come_near(self.session.selected)
        self.strip.show_editing(on)
        self.strip.show_tools()
        self.empty.setVisible(self.canvas.empty and not on)
        self.corner.refresh()
        self.canvas.setFocus()
        self.editing_changed.emit(on)

    def draw(self) -> None:
        """Begin a new outline."""
        if self.take_draw is not None:
            self.take_draw()
            return
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
        self.canvas.set_tool(self.corner_tool())
        self.strip.show_tools()
        self.canvas.setFocus()

    def give_up(self) -> None:
        """Give a name up: what was drawn stays in hand on the land page, else it goes."""
        self._drawn = None
        self.strip.show_tools()
        if isinstance(self.canvas.tool, DrawTool) and self.own_strip:
            self.correct()
        self.canvas.setFocus()

    def corner_tool(self) -> CornerTool:
        """Return the tool that moves corners of the chosen block."""
        tool = CornerTool(self.canvas, self._move_together)
        tool.together = self.together
        return tool

    def _move_together(self, block_id: int, moves: list[tuple[edits.Place, edits.Place]]) -> None:
        """Store moves of corners in every block that touches them."""
        tool = self.canvas.tool
        if isinstance(tool, CornerTool) and not self._sound(tool.outline()):
            return

        def failed(fault: WaterBudgetError) -> None:
            if isinstance(tool, CornerTool):
                tool.reload()
            self.refuse(fault)

        block = block_edits.block_of(self.session, block_id)
        if block is not None:
            edits.move_corners(self.session, block.name, moves, failed)

    def _sound(self, outline: BaseGeometry) -> bool:
        """Look at an outline in hand before it is stored; a bad one stays in hand."""
        fault = self._fault(outline)
        if fault is None:
            return True
        self.refuse(fault)
        if isinstance(self.canvas.tool, CornerTool):
            self.canvas.tool.not_kept()  # it stays in hand, to be mended or put back
            self.strip.hint(f"{say(fault)} {tr('Not stored; Esc puts it back.')}", wrong=True)
        return False

    def _ask_name(self, outline: BaseGeometry) -> None:
        fault = self._fault(outline)
        if fault is not None:
            self.refuse(fault)
            return
        self._drawn = outline
        wanted = [(tr("Name of the new block"), self.free_name())]
        self.strip.ask_names(wanted, self._keep_drawn)
        notes = self._overlaps(outline, None)
        if notes:
            self.strip.hint(notes)

    def _keep_drawn(self, name: str) -> None:
        if self._drawn is None:
            return

        def done(block: Block) -> None:
            self._drawn = None
            if self.own_strip:
                self.correct()
            elif isinstance(self.canvas.tool, PathTool):
                self.canvas.tool.clear()
                self.strip.show_tools()
                self.canvas.setFocus()
            self.session.select(block.id)

        edits.draw(self.session, name, self._drawn, done, self.refuse)

    def _reshape(self, block_id: int, outline: BaseGeometry) -> None:
        block = block_edits.block_of(self.session, block_id)
        if block is None:
            return
        if not self._sound(outline):
            return
        edits.reshape(self.session, block.name, outline, self.refuse)
        self.strip.hint(self._overlaps(outline, block_id))

    def _fault(self, outline: BaseGeometry) -> WaterBudgetError | None:
        """Ask the core's gate before anything is sent to be stored (it takes a millisecond)."""
        from waterbudget.outlines import check_shape

        try:
            check_shape(outline, self.canvas.epsg)
        except WaterBudgetError as fault:
            return fault
        return None

    def refuse(self, fault: WaterBudgetError) -> None:
        """Say why something was not stored, and mark the place."""
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

    def free_name(self) -> str:
        """Return a name no block has."""
        taken = {b.name.casefold() for b in self.canvas.blocks}
        n = len(taken) + 1
        while tr("Block {0}").format(n).casefold() in taken:
            n += 1
        return tr("Block {0}").format(n)

    def rename(self) -> None:
        """Give the chosen block another name."""
        block = self._chosen()
        if block is not None:
            wanted = [(tr("New name of {0}").format(block.name), block.name)]
            self.strip.ask_names(wanted, partial(self._renamed, block))

    def _renamed(self, block: Block, name: str) -> None:
        self.strip.show_tools()
        if name != block.name:
            block_edits.rename_block(self.session, block, name, failed=self.refuse)

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

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what changed while the map was hidden."""
        super().showEvent(event)
        self._was_shown = True
        if self._stale:
            self.refresh()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the plates in their places."""
        super().resizeEvent(event)
        self.empty.place()
        self.corner.place()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc that no tool took: from drawing to corners, from corners out of editing."""
        if event.key() == Qt.Key.Key_Escape and self.editing:
            if isinstance(self.canvas.tool, DrawTool) and self.own_strip:
                self.correct()
            else:
                self.set_editing(False)
        else:
            super().keyPressEvent(event)


def _standings(season: Season | None) -> dict[int, Standing]:
    if season is None:
        return {}
    return {b.block.id: standing(season, b) for b in season.blocks}
