"""The land page's column for outlines: tool words, size, what the tool can be told, corners."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from desktop import theme
from desktop.mapview.handtool import Place, size_words
from desktop.mapview.panel_parts import Names
from desktop.mapview.shapes import Corner, rings_of
from desktop.mapview.tools import (
    CornerTool,
    DrawTool,
    HoleTool,
    MeasureTool,
    PathTool,
    SplitTool,
)
from desktop.mapview.workbench import CHOOSE, Workbench
from desktop.pages.land.boxes import Boxes
from desktop.pages.land.corner_table import CornerTable, Ring
from desktop.pages.land.words import Words
from desktop.session import Session
from desktop.widgets import Link, restyle, rule, text
from desktop.wording import fixed, say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.outlines import sides


class OutlinePanel(QWidget):
    """Draw, cut and mend outlines; also where the map's tools speak."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.bench: Workbench | None = None
        self.words_below = text(size=theme.SMALL, quiet=True, wrap=True)
        """The one line under the map; the page puts it there."""
        self.words_below.setFixedHeight(34)
        self._sized: tuple[object, str] = (None, "")
        self.tools = Words(lambda word: self._take(word))
        self.title = text(size=theme.LARGE, bold=True)
        self.size_line = text(quiet=True, wrap=True)
        self.naming = Names(self._give_up, upright=True)
        self.boxes = Boxes(self)
        self.table = CornerTable()
        self.table.corners.refused.connect(self._refused)
        self.table.corners.put.connect(self._put)
        self.table.walked.connect(self._walked)
        self.table.insert_asked.connect(self.insert)
        self.table.delete_asked.connect(self.take_away)
        self._build()

    def _build(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(12, 8, 12, 8)
        column.setSpacing(6)
        column.addWidget(self.tools)
        column.addWidget(rule())
        head = QHBoxLayout()
        head.addWidget(self.title)
        head.addStretch(1)
        self.rename = Link(tr("Rename"), lambda: self._panel_do("rename"))
        self.delete = Link(tr("Delete"), lambda: self.bench.delete() if self.bench else None)
        head.addWidget(self.rename)
        head.addSpacing(6)
        head.addWidget(self.delete)
        column.addLayout(head)
        column.addWidget(self.size_line)
        column.addWidget(self.naming)
        column.addWidget(self.boxes)
        foot = QHBoxLayout()
        foot.addWidget(text(tr("Corners"), bold=True))
        foot.addStretch(1)
        self.insert_link = Link(tr("Set one after"), self._insert_marked)
        self.away_link = Link(tr("Take it away"), self._take_marked_away)
        foot.addWidget(self.insert_link)
        foot.addSpacing(6)
        foot.addWidget(self.away_link)
        column.addLayout(foot)
        column.addWidget(self.table, 1)
        last = QHBoxLayout()
        self.undo = Link(tr("Undo"), self.session.undo_last)
        self.redo = Link(tr("Redo"), self.session.redo_next)
        last.addWidget(self.undo)
        last.addSpacing(10)
        last.addWidget(self.redo)
        last.addStretch(1)
        column.addLayout(last)
        stack = self.session.undo
        stack.canUndoChanged.connect(self.undo.setEnabled)
        stack.canRedoChanged.connect(self.redo.setEnabled)
        self.undo.setEnabled(stack.canUndo())
        self.redo.setEnabled(stack.canRedo())

    def attach(self, bench: Workbench) -> None:
        """Work for these tools."""
        self.bench = bench
        bench.taken.connect(self._taken)
        bench.corners_changed.connect(self.refresh)
        bench.canvas.hinted.connect(lambda _: self._show_size())
        bench.tell()

    # -- what the map's tools say (see ToolStrip) ----------------------------------------------

    def hint(self, words: str, wrong: bool = False) -> None:
        """Say what the tool wants next, or what was refused."""
        if not words:
            return
        self.words_below.setText(words)
        self.words_below.setProperty("role", "wrong" if wrong else "quiet")
        restyle(self.words_below)

    def ask_names(self, wanted: Sequence[tuple[str, str]], keep: Callable[..., Any]) -> None:
        """Ask for names."""
        self.boxes.hide()
        self.hint(
            tr("Type a name or keep the one that stands there; Enter keeps it, Esc goes back.")
        )
        self.naming.ask(wanted, keep)

    def show_tools(self) -> None:
        """Show the tool's box instead of the names."""
        self.naming.hide()
        self.boxes.show_for(self.bench.word if self.bench is not None else CHOOSE)

    def show_editing(self, on: bool) -> None:
        """The column is always there."""

    def _give_up(self) -> None:
        if self.bench is not None:
            self.bench.panel.give_up()

    def _panel_do(self, what: str) -> None:
        if self.bench is not None:
            getattr(self.bench.panel, what)()

    def _take(self, word: str) -> None:
        if self.bench is not None:
            self.bench.take(word)

    # -- what is shown --------------------------------------------------------------------------

    def _taken(self, word: str) -> None:
        self.tools.show_word(word)
        self.boxes.show_for(word)
        self.refresh()

    def refresh(self) -> None:
        """Show the corners in hand, else the chosen block's."""
        if self.bench is None:
            return
        tool, block = self.bench.canvas.tool, self.bench.block()
        several = len(self.bench.chosen())
        path = self._path_words(tool)
        if path:
            self.title.setText(path)
        elif several > 1:
            self.title.setText(tr("{0} blocks").format(several))
        else:
            self.title.setText(block.name if block is not None else tr("No block chosen"))
        self.rename.setVisible(block is not None and several <= 1 and not path)
        self.delete.setVisible(block is not None and not path)
        self.table.show_rings(self._rings(), self.bench.canvas.epsg)
        held = self.table.corners.rowCount() > 0
        self.insert_link.setEnabled(held)
        self.away_link.setEnabled(held)
        if isinstance(tool, CornerTool):
            self.table.mark(tool.current)
        self.boxes.refresh()
        self._show_size()

    def _path_words(self, tool: object) -> str:
        """Return what is being set corner by corner; nothing while a block is at hand."""
        if isinstance(tool, HoleTool):
            return tr("Piece to cut out") if tool.points else ""
        if isinstance(tool, SplitTool):
            return tr("Line to split along") if tool.points else ""
        if isinstance(tool, DrawTool):
            return tr("New outline")
        return tr("Measured line") if isinstance(tool, MeasureTool) else ""

    def _rings(self) -> list[Ring]:
        assert self.bench is not None
        tool = self.bench.canvas.tool
        if isinstance(tool, PathTool) and (tool.points or isinstance(tool, MeasureTool)):
            return [Ring(np.array(tool.points).reshape(-1, 2), closed=False)]
        if isinstance(tool, DrawTool) and not isinstance(tool, HoleTool):
            return []
        parts = tool.parts if isinstance(tool, CornerTool) else None
        if parts is None:
            shape = self.bench.canvas.shape(self.session.selected)
            parts = rings_of(shape.outline) if shape is not None else []
        found = []
        for p, rings in enumerate(parts):
            for r, ring in enumerate(rings):
                label = "" if p == 0 else tr("part {0}, ").format(p + 1)
                if r:
                    label += tr("hole {0}, ").format(r)
                found.append(Ring(ring, True, p, r, label))
        return found

    def _show_size(self) -> None:
        assert self.bench is not None
        tool, epsg = self.bench.canvas.tool, self.bench.canvas.epsg
        words = ""
        if isinstance(tool, DrawTool) and tool.points:
            words = size_words(tool.size())
        elif isinstance(tool, SplitTool) and tool.points:
            words = tr("{0} m so far").format(fixed(tool.length_m(), 1))
        elif isinstance(tool, MeasureTool):
            words = tr("{0} m on the level").format(fixed(tool.level_m(), 1))
            if tool.slope_m is not None:
                words += ", " + tr("{0} m along the ground").format(fixed(tool.slope_m, 1))
        elif isinstance(tool, DrawTool) and not isinstance(tool, HoleTool):
            words = tr("no corners yet")
        elif isinstance(tool, CornerTool) and tool.parts:
            words = size_words(tool.size())
            if tool.changed:
                self.table.show_rings(self._rings(), epsg)
            self.table.mark(tool.current)
        else:
            words = self._chosen_size()
        self.size_line.setText(words or self._nothing_words())

    def _nothing_words(self) -> str:
        """Return what to do where there is no size to tell."""
        assert self.bench is not None
        if self.bench.block() is not None:
            return tr("no outline yet: press D and draw it, or bring in a walk")
        if self.bench.canvas.empty:
            return tr("Press D and draw the first block, or drop a walk on the window.")
        return tr("Click a block on the map to see its corners; D draws a new one.")

    def _chosen_size(self) -> str:
        assert self.bench is not None
        blocks = self.bench.chosen()
        if len(blocks) > 1:
            return tr("{0} ha together").format(fixed(sum(b.hectares or 0.0 for b in blocks), 2))
        if not blocks or blocks[0].outline is None:
            return ""
        if self._sized[0] is not blocks[0].outline:
            size = sides.size_of(blocks[0].outline, self.bench.canvas.epsg)
            self._sized = (blocks[0].outline, size_words(size))
        return self._sized[1]

    # -- the table --------------------------------------------------------------------------------

    def _refused(self, fault: WaterBudgetError) -> None:
        self.hint(say(fault), wrong=True)

    def _path(self) -> PathTool | None:
        tool = self.bench.canvas.tool if self.bench is not None else None
        return tool if isinstance(tool, PathTool) and tool.points else None

    def _put(self, corner: Corner, at: Place) -> None:
        assert self.bench is not None
        path = self._path()
        if path is not None:
            path.put([at if k == corner.place else p for k, p in enumerate(path.points)])
        elif (tool := self.bench.hold_corners()) is not None:
            tool.put_corner(corner, at)
        self.table.setFocus()

    def insert(self, corner: Corner) -> None:
        """Set a corner in the middle of the side after this one."""
        assert self.bench is not None
        path = self._path()
        if path is not None:
            points, k = list(path.points), corner.place
            after = points[(k + 1) % len(points)]
            middle = ((points[k][0] + after[0]) / 2, (points[k][1] + after[1]) / 2)
            path.put([*points[: k + 1], middle, *points[k + 1 :]])
        elif (tool := self.bench.hold_corners()) is not None:
            tool.insert_after(corner)
        self.table.setFocus()

    def take_away(self, corner: Corner) -> None:
        """Take a corner away."""
        assert self.bench is not None
        path = self._path()
        if path is not None:
            path.put([p for k, p in enumerate(path.points) if k != corner.place])
        elif (tool := self.bench.hold_corners()) is not None:
            tool.take_away(corner)
        self.table.setFocus()

    def _insert_marked(self) -> None:
        corner = self.table.current()
        self.insert(corner if corner is not None else Corner(0, 0, 0))

    def _take_marked_away(self) -> None:
        corner = self.table.current()
        if corner is None:
            self.hint(tr("Mark a corner in the table first."), wrong=True)
            return
        self.take_away(corner)

    def _walked(self, corner: Corner) -> None:
        tool = self.bench.canvas.tool if self.bench is not None else None
        if isinstance(tool, CornerTool) and tool.current != corner:
            tool.current = corner
            tool.canvas.update()
