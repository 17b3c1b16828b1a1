"""The hand tools of the land page by their plain words, and what becomes of their work."""

from __future__ import annotations

from functools import partial
from typing import Any

from PySide6.QtCore import QObject, Signal
from shapely.geometry import LineString, Polygon

from desktop import block_edits
from desktop.mapview import edits, slope
from desktop.mapview.handtool import Place, Tool
from desktop.mapview.join import JoinTool
from desktop.mapview.panel import MapPanel
from desktop.mapview.tools import CornerTool, DrawTool, HoleTool, MeasureTool, PathTool, SplitTool
from desktop.wording import say, tr
from waterbudget.errors import Refused, WaterBudgetError
from waterbudget.orchard import Block
from waterbudget.outlines import bench

CHOOSE, DRAW, CORNERS, SPLIT, JOIN, CUT, ALONG, MEASURE = WORDS = (
    "choose", "draw", "corners", "split", "join", "cut", "along", "measure",
)  # fmt: skip


class Workbench(QObject):
    """Takes tools up and puts them down.

    Signals
    -------
    taken(str)
        Another tool is in hand.
    corners_changed()
        The corners in hand changed, or others are in hand.
    """

    taken = Signal(str)
    corners_changed = Signal()

    def __init__(self, panel: MapPanel) -> None:
        super().__init__(panel)
        self.panel, self.session, self.canvas = panel, panel.session, panel.canvas
        self.word = CHOOSE
        self._straight = DRAW
        panel.take_draw = lambda: self.take(DRAW)
        panel.pointing.choose_several()
        panel.pointing.marked_changed.connect(self._marked)
        panel.editing_changed.connect(lambda on: None if on else self.take(CHOOSE))
        self.session.selection_changed.connect(self._selected)
        self.session.season_changed.connect(lambda _: self.corners_changed.emit())
        self.session.day_changed.connect(self._day_changed)

    # -- tools --------------------------------------------------------------------------------

    def take(self, word: str) -> None:
        """Take a tool up by its word (``choose`` puts the one in hand down)."""
        if word not in (CHOOSE, MEASURE) and not self.session.at_today:
            self.session.told.emit(tr("Outlines are edited while today is shown; press T."))
            word = CHOOSE
        if word == ALONG:
            self._along()
            return
        self.word = word
        if word not in (CHOOSE, JOIN) and len(self.panel.pointing.marked) > 1:
            selected = self.session.selected
            self.panel.pointing.mark([] if selected is None else [selected])
        tool = self._make(word)
        if isinstance(tool, PathTool):
            tool.changed = self.corners_changed.emit
        self.canvas.set_tool(tool)
        if word == CORNERS:
            self.canvas.come_near(self.session.selected)
        self.panel.empty.setVisible(self.canvas.empty and tool is None)
        self.panel.corner.refresh()
        self.panel.strip.show_tools()
        self.tell()
        self.canvas.setFocus()

    def _day_changed(self, _: object) -> None:
        if not self.session.at_today and self.word not in (CHOOSE, MEASURE):
            self.take(CHOOSE)

    def tell(self) -> None:
        """Say what the tool in hand wants, and which one it is."""
        tool = self.canvas.tool
        self.panel.strip.hint(tool.hint() if tool is not None else self._chosen_hint())
        self.taken.emit(self.word)
        self.corners_changed.emit()

    def _chosen_hint(self) -> str:
        n = len(self.panel.pointing.marked)
        if n > 1:
            return tr("{0} blocks chosen; Ctrl and a click adds one or takes it off.").format(n)
        return tr("Click a block; Shift and a drag choose several by a box, 0 shows everything.")

    def _make(self, word: str) -> Tool | None:
        canvas = self.canvas
        if word == DRAW:
            return DrawTool(canvas)
        if word == CORNERS:
            return self.panel.corner_tool()
        if word == SPLIT:
            return SplitTool(canvas, self.ask_split)
        if word == CUT:
            return HoleTool(canvas, self.cut_out)
        if word == MEASURE:
            return MeasureTool(canvas, self._ask_slope)
        if word == JOIN:
            return JoinTool(canvas, self.panel.pointing, self.join_marked)
        return None

    def _along(self) -> None:
        """Go along a neighbour's edge, or straight again: a way of drawing, no tool of its own."""
        if not isinstance(self.canvas.tool, DrawTool | SplitTool):
            self.take(DRAW)
        tool = self.canvas.tool
        if isinstance(tool, PathTool):
            tool.set_following(not tool.following)
            if self.word != ALONG:
                self._straight = self.word
            self.word = ALONG if tool.following else self._straight
            self.tell()
        self.canvas.setFocus()

    # -- what is chosen -----------------------------------------------------------------------

    def block(self) -> Block | None:
        """Return the chosen block."""
        if self.session.selected is None:
            return None
        return block_edits.block_of(self.session, self.session.selected)

    def _selected(self, block_id: int | None) -> None:
        if len(self.panel.pointing.marked) <= 1 and self.word != JOIN:
            self.panel.pointing.mark([] if block_id is None else [block_id])
        self.corners_changed.emit()

    def _marked(self) -> None:
        marked = self.panel.pointing.marked
        if marked and self.session.selected not in marked:
            self.session.select(marked[0])
        if self.word in (CHOOSE, JOIN):
            self.tell()

    def chosen(self) -> list[Block]:
        """Return the blocks chosen together."""
        marked = self.panel.pointing.marked
        if len(marked) <= 1:
            one = self.block()
            return [] if one is None else [one]
        data = self.session.data
        by_id = {b.id: b for b in data.orchard.blocks} if data is not None else {}
        return [by_id[i] for i in marked if i in by_id]

    def delete(self) -> None:
        """Take the chosen blocks off the farm; one undo brings them all back."""
        blocks = self.chosen()
        if len(blocks) <= 1:
            self.panel.delete()
            return
        self.panel.pointing.mark([])
        self.session.select(None)
        block_edits.delete_blocks(self.session, blocks)
        self.session.told.emit(
            tr("{0} blocks are off the farm; Ctrl+Z brings them back.").format(len(blocks))
        )

    # -- split, join, cut out, close ----------------------------------------------------------

    def ask_split(self, line: LineString) -> None:
        """Ask for the names of the two parts, then split."""
        block = self.block()
        if block is None or block.outline is None:
            self._say(Refused("bench.no_outline", block="" if block is None else block.name))
            return
        try:
            bench.split_in_two(block.outline, line, self.canvas.epsg)
        except WaterBudgetError as fault:
            self.panel.refuse(fault)
            return
        wanted = [(tr("Name of the larger part"), block.name),
                  (tr("Name of the other part"), self._second_name(block.name))]  # fmt: skip
        self.panel.strip.ask_names(wanted, partial(self._split, block.name, line))

    def _split(self, name: str, line: LineString, first: str, second: str) -> None:
        edits.split(self.session, name, line, (first, second), self._done, self.panel.refuse)

    def _second_name(self, name: str) -> str:
        taken = {b.name.casefold() for b in self.canvas.blocks}
        n = 2
        while f"{name} {n}".casefold() in taken:
            n += 1
        return f"{name} {n}"

    def split_by_corners(self, first: int, second: int) -> None:
        """Split the chosen block from one of its numbered corners to another."""
        block = self.block()
        if block is None or block.outline is None:
            self.panel.strip.hint(tr("Choose a block first."), wrong=True)
            return
        try:
            line = bench.corner_line(block.outline, first, second)
        except WaterBudgetError as fault:
            self.panel.refuse(fault)
            return
        if isinstance(self.canvas.tool, PathTool):
            self.canvas.tool.put([(float(x), float(y)) for x, y in line.coords])
        self.ask_split(line)

    def join_marked(self) -> None:
        """Join the two blocks chosen on the map."""
        two = self.chosen()
        if len(two) != 2:
            self.panel.strip.hint(tr("Choose two blocks to join."), wrong=True)
            return
        self.join(two[0].name, two[1].name)

    def join(self, stays: str, goes: str) -> None:
        """Join two blocks by their names."""
        edits.join(self.session, stays, goes, self._done, self.panel.refuse)

    def cut_out(self, piece: Polygon) -> None:
        """Cut a piece out of the chosen block."""
        block = self.block()
        if block is None:
            self.panel.strip.hint(tr("Choose a block first."), wrong=True)
            return
        edits.cut_out(self.session, block.name, piece, self._done, self.panel.refuse)

    def set_together(self, on: bool) -> None:
        """Let touching neighbours move along, or not."""
        self.panel.together = on
        if isinstance(self.canvas.tool, CornerTool):
            self.canvas.tool.together = on

    def close_gaps(self, reach_m: float) -> None:
        """Lay the chosen block's edge on its neighbours."""
        block = self.block()
        if block is None:
            self.panel.strip.hint(tr("Choose a block first."), wrong=True)
            return
        edits.close_gaps(self.session, block.name, reach_m, self.panel.refuse)

    def _done(self, result: Any) -> None:
        self.panel.strip.show_tools()
        if isinstance(self.canvas.tool, PathTool):
            self.canvas.tool.clear()
        after = result.after[0]
        self.panel.pointing.mark([])
        self.session.select(after.id)
        if self.word in (SPLIT, JOIN, ALONG):
            self.take(CHOOSE)  # done once; the next click chooses again
        self.panel.strip.hint(edits.tell(result.notes) or tr("Stored."))
        self.canvas.setFocus()

    def _say(self, fault: WaterBudgetError) -> None:
        self.panel.strip.hint(say(fault), wrong=True)

    # -- measuring ----------------------------------------------------------------------------

    def _ask_slope(self, points: list[Place]) -> None:
        """Ask the worker for the length along the ground."""
        data, path = self.session.data, self.session.path
        if data is None:
            return

        def done(found: slope.Ground) -> None:
            if isinstance(self.canvas.tool, MeasureTool):
                self.canvas.tool.tell(points, found.length_m, found.words())

        def failed(fault: WaterBudgetError) -> None:
            if isinstance(self.canvas.tool, MeasureTool):
                self.canvas.tool.tell(points, None, say(fault))

        self.session.worker.submit(slope.along_ground, data, path, points, done=done,
                                   failed=failed, key="slope")  # fmt: skip

    # -- corners from the table ---------------------------------------------------------------

    def hold_corners(self) -> CornerTool | None:
        """Take the corners of the chosen block in hand."""
        if not isinstance(self.canvas.tool, CornerTool):
            self.take(CORNERS)
        tool = self.canvas.tool
        return tool if isinstance(tool, CornerTool) and tool.parts else None
