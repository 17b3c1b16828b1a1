"""Setting trees out in a block: pattern, distances, direction; count, marks, files, nursery."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.pages.land.before_planting import BeforePlanting
from desktop.pages.land.tree_plan import RowDial, TreePlan, TreesOnMap
from desktop.session import Session
from desktop.widgets import Choice, Field, Link, restyle, rule, text
from desktop.wording import fixed, number, say, thousands, tr, word
from waterbudget.errors import Note, Refused, WaterBudgetError
from waterbudget.orchard import PATTERNS, Block, read_number

if TYPE_CHECKING:
    from desktop.mapview.panel import MapPanel
    from waterbudget.actions import SetOut
    from waterbudget.planting import LayoutFigures
    from waterbudget.store import FarmFile

SIDE_BY_SIDE = 760
STATES = ("missing", "replaced", "young", "rock", "living")
LABEL = 136


class PlantingPanel(QWidget):
    """Set trees out in the chosen block, look, keep, mark, carry to the field.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self.made: SetOut | None = None
        self._block_id: int | None = None
        self._large: TreesOnMap | None = None
        self._changed: dict[str, Any] = {}
        self._tried: tuple[Any, ...] = ()
        self._build()
        session.opened.connect(self._fresh)
        session.closed.connect(self._fresh)
        session.changed.connect(lambda _: self._stored_changed())
        session.selection_changed.connect(lambda _: self._fresh())
        self._fresh()

    # -- what it is made of -----------------------------------------------------------------

    def _build(self) -> None:
        self.head = text("", theme.LARGE, bold=True, wrap=True)
        self.count = text("", wrap=True)
        self.wrong = text("", wrap=True)
        self.wrong.setProperty("role", "wrong")
        self.plan = TreePlan()
        self.plan.picked.connect(self._picked)
        self.notes = text("", theme.SMALL, wrap=True)
        left = QVBoxLayout()
        left.setSpacing(6)
        left.addWidget(self.plan, 1)
        self._marks = self._marking()
        left.addWidget(self._marks)
        left.addWidget(self.notes)
        left.addStretch(0)
        self._side = QWidget()
        right = QVBoxLayout(self._side)
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(5)
        right.addWidget(self._settings())
        right.addWidget(rule())
        right.addWidget(self._comparison())
        right.addWidget(rule())
        right.addWidget(self._files())
        right.addWidget(rule())
        self.before = BeforePlanting(self._session)
        right.addWidget(self.before)
        right.addStretch(1)
        self._halves = QBoxLayout(QBoxLayout.Direction.TopToBottom)
        self._halves.setSpacing(14)
        self._halves.addLayout(left, 1)
        self._halves.addWidget(self._side, 1)
        self.body = QWidget()
        self.body.setLayout(self._halves)
        self._halves.setContentsMargins(0, 0, 0, 0)
        box = QVBoxLayout(self)
        box.setContentsMargins(14, 10, 14, 10)
        box.setSpacing(6)
        for widget in (self.head, self.count, self.wrong):
            box.addWidget(widget)
        box.addWidget(self.body, 1)
        box.addStretch(0)

    def _settings(self) -> QWidget:
        held = QWidget()
        column = QVBoxLayout(held)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(5)
        self.pattern = Choice([(p, word(f"pattern.{p}")) for p in PATTERNS], tr("Pattern"))
        self.pattern.chosen.connect(lambda value: self._try_pattern(value))
        line = QHBoxLayout()
        line.setSpacing(8)
        label = text(tr("Pattern"))
        label.setFixedWidth(LABEL)
        line.addWidget(label)
        line.addWidget(self.pattern)
        line.addStretch(1)
        column.addLayout(line)

        def field(name: str, words: str, unit: str) -> Field:
            made = Field(words, unit, width=64, label_width=LABEL)
            made.committed.connect(lambda typed: self._try_typed(name, typed))
            column.addWidget(made)
            self.fields[name] = made
            return made

        self.fields: dict[str, Field] = {}
        field("spacing_m", tr("In the row"), "m")
        field("row_spacing_m", tr("Between rows"), "m")
        field("setback_m", tr("Free along the edge"), "m")
        field("headland_m", tr("Free at row ends"), "m")
        field("fall_pct", tr("Fall of the rows"), "%")
        turn = QHBoxLayout()
        turn.setSpacing(8)
        words = QVBoxLayout()
        words.setSpacing(3)
        bearing = Field(tr("Rows point to"), "°", width=64, label_width=LABEL)
        bearing.committed.connect(lambda typed: self._try_typed("bearing_deg", typed))
        self.fields["bearing_deg"] = bearing
        words.addWidget(bearing)
        self.longest = Link(tr("Along the longest side"), lambda: self._try({"bearing_deg": None}))
        words.addWidget(self.longest)
        words.addStretch(1)
        turn.addLayout(words)
        self.dial = RowDial()
        self.dial.turned.connect(lambda degrees: self._try({"bearing_deg": degrees}))
        turn.addWidget(self.dial)
        turn.addStretch(1)
        column.addLayout(turn)
        keep = QHBoxLayout()
        keep.setSpacing(12)
        self.keep = QPushButton(tr("Keep in the block"))
        self.keep.setProperty("main", "true")
        self.keep.clicked.connect(lambda: self.store())
        self.as_stored = Link(tr("As it was"), self._fresh)
        keep.addWidget(self.keep)
        keep.addWidget(self.as_stored)
        keep.addStretch(1)
        column.addLayout(keep)
        return held

    def _marking(self) -> QWidget:
        held = QWidget()
        row = QHBoxLayout(held)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(5)
        self.row = _short(tr("Row"), 42)
        self.number = _short(tr("Number in the row"), 42)
        self.state = Choice([(s, word(f"tree.{s}")) for s in STATES], tr("What is there"))
        self.mark = Link(tr("Mark"), lambda: self.mark_tree())
        for edit in (self.row, self.number):
            edit.returnPressed.connect(lambda: self.mark_tree())
        across: tuple[QWidget, ...] = (
            text(tr("Row")), self.row, text(tr("tree")), self.number, self.state, self.mark
        )  # fmt: skip
        for widget in across:
            row.addWidget(widget)
        row.addStretch(1)
        return held

    def _comparison(self) -> QWidget:
        held = QWidget()
        column = QVBoxLayout(held)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        line = QHBoxLayout()
        line.setSpacing(6)
        self.compare = Link(tr("Side by side"), lambda: self.show_comparison())
        self.peak = _short(tr("ET0 of a peak day, mm"), 42, "6")
        self.kc = _short(tr("Kc of a peak day"), 46, "0.85")
        for edit in (self.peak, self.kc):
            edit.returnPressed.connect(lambda: self.show_comparison())
        across: tuple[QWidget, ...] = (
            self.compare, text(tr("peak ET0"), quiet=True), self.peak,
            text(tr("mm, Kc"), quiet=True), self.kc,
        )  # fmt: skip
        for widget in across:
            line.addWidget(widget)
        line.addStretch(1)
        column.addLayout(line)
        self.figures = QWidget()
        self._grid = QGridLayout(self.figures)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setHorizontalSpacing(10)
        self._grid.setVerticalSpacing(2)
        column.addWidget(self.figures)
        self.pipe = text("", theme.SMALL, quiet=True, wrap=True)
        column.addWidget(self.pipe)
        for widget in (self.figures, self.pipe):
            widget.hide()
        return held

    def _files(self) -> QWidget:
        held = QWidget()
        line = QHBoxLayout(held)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(10)
        line.addWidget(text(tr("Write")))
        self.exports: dict[str, Link] = {}
        for kind, words in (("gpx", "GPX"), ("geojson", "GeoJSON"), ("csv", "CSV"),
                            ("pegs", tr("pegging sheet"))):  # fmt: skip
            link = Link(words)
            link.clicked.connect(partial(self._write_clicked, kind))
            line.addWidget(link)
            self.exports[kind] = link
        line.addStretch(1)
        return held

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Plan beside the settings where there is room."""
        wide = self.width() >= SIDE_BY_SIDE
        self._halves.setDirection(QBoxLayout.Direction.LeftToRight if wide
                                  else QBoxLayout.Direction.TopToBottom)  # fmt: skip
        self.plan.setMinimumHeight(320 if wide else 210)
        self.plan.setMaximumHeight(520 if wide else 260)
        self._side.setMaximumWidth(460 if wide else 16_777_215)
        super().resizeEvent(event)

    def showEvent(self, event: QShowEvent) -> None:
        """Look again at what changed meanwhile."""
        super().showEvent(event)
        self._on_map(self.made)
        self._look()

    def hideEvent(self, event: QHideEvent) -> None:
        """The large map is for another section now."""
        super().hideEvent(event)
        self._on_map(None)

    def use_map(self, panel: MapPanel) -> None:
        """Show the trees on this map too."""
        self._large = TreesOnMap(panel.canvas)

    def _on_map(self, made: SetOut | None) -> None:
        if self._large is not None:
            self._large.show_trees(made if self.isVisible() else None)

    # -- the block ----------------------------------------------------------------------------

    @property
    def block(self) -> Block | None:
        """The chosen block as it is stored."""
        data, chosen = self._session.data, self._session.selected
        if data is None:
            return None
        return next((b for b in data.orchard.blocks if b.id == chosen), None)

    def _fresh(self) -> None:
        """Show the chosen block's own layout."""
        self._changed, self._tried = {}, ()
        self.made = None
        for widget in (self.figures, self.pipe):
            widget.hide()
        block = self.block
        self._block_id = block.id if block is not None else None
        self.body.setVisible(block is not None and block.outline is not None)
        self.wrong.hide()
        self.count.hide()
        self.plan.show_trees(None)
        self._on_map(None)
        self.before.show_block(None)
        if block is None or block.outline is None:
            self.head.setText("" if block is None else block.name)
            self.count.setText(
                tr("Choose a block with an outline to set trees out in it.") if block is None
                else tr("{0} has no outline yet: draw or bring one in first.").format(block.name)
            )  # fmt: skip
            self.count.show()
            return
        self.head.setText(block.name)
        self._show_settings(block)
        self.before.show_block(block)
        self._look()

    def _stored_changed(self) -> None:
        block = self.block
        if block is None or block.id != self._block_id:
            self._fresh()
        elif self.isVisible():
            if not self._changed:
                self._show_settings(block)
            self._look()
        self.before.stored_changed()

    def _show_settings(self, block: Block) -> None:
        pattern = block.pattern or ("rectangle" if block.row_spacing_m else "square")
        self.pattern.set_value(pattern)
        for name, value in (
            ("spacing_m", block.spacing_m), ("row_spacing_m", block.row_spacing_m),
            ("setback_m", block.setback_m), ("headland_m", block.headland_m),
            ("fall_pct", block.row_fall_pct), ("bearing_deg", block.row_bearing_deg),
        ):  # fmt: skip
            self.fields[name].set_text(number(value, 2) if value is not None else "")
        self._fields_of(pattern)

    def _fields_of(self, pattern: str) -> None:
        self.fields["fall_pct"].setVisible(pattern == "contour")
        self.dial.setVisible(pattern != "contour")
        self.longest.setVisible(pattern != "contour")

    # -- trying --------------------------------------------------------------------------------

    def _try_pattern(self, pattern: str) -> None:
        self._fields_of(pattern)
        own = self._typed("row_spacing_m") if pattern in ("rectangle", "contour") else None
        if own is None:
            self.fields["row_spacing_m"].set_text("")
        self._try({"pattern": pattern, "row_spacing_m": own})

    def _typed(self, name: str) -> float | None:
        try:
            return read_number(self.fields[name].text())
        except ValueError:
            return None

    def _try_typed(self, name: str, typed: str) -> None:
        field = self.fields[name]
        value: float | None = None
        if typed.strip():
            try:
                value = read_number(typed)
            except ValueError:
                field.refuse(tr("{0} is no number.").format(typed.strip()[:20]))
                return
        if value is None and name in ("setback_m", "headland_m"):
            value = 0.0
        self._try({name: value})

    def _try(self, changed: dict[str, Any]) -> None:
        self._changed |= changed
        self._look()

    def _look(self) -> None:
        block = self.block
        if block is None or block.outline is None or not self.isVisible():
            return
        changed, name, on = dict(self._changed), block.name, self._session.today

        def look(file: FarmFile) -> tuple[SetOut, list[tuple[Any, float]]]:
            from waterbudget import actions

            made = actions.look_at_trees(file, name, changed, on=on)
            return made, [(m.shape, m.width_m) for m in file.read().land_marks]

        self._session.query(look, self._show, self._refuse, key="planting")

    def _show(self, found: tuple[SetOut, list[tuple[Any, float]]]) -> None:
        made, bare = found
        if made.block.id != self._session.selected:
            return
        self.made = made
        p, c = made.planting, made.counts
        self.wrong.hide()
        self.count.setText(
            tr("{0} trees in {1} rows, {2} per ha, {3} m of rows. Missing {4}, young {5}, "
               "living {6}.").format(thousands(p.trees), p.rows, fixed(made.per_ha, 0),
                                     thousands(p.row_length_m), c.missing, c.replaced,
                                     thousands(c.living))
        )  # fmt: skip
        self.count.show()
        bearing = p.layout.bearing_deg or 0.0
        self.dial.set_bearing(bearing)
        self.fields["bearing_deg"].set_text(number(bearing, 1))
        if not self.fields["row_spacing_m"].text():
            rows = number(p.layout.between_rows_m, 2)
            self.fields["row_spacing_m"].edit.setPlaceholderText(rows)
        self.notes.setText("\n".join(say(n) for n in made.notes))
        self._show_plan(True)
        self.plan.show_trees(made, bare)
        self._on_map(made)
        self._enable(True)
        self.before.set_trees(p.trees)
        if self.figures.isVisible():
            self.show_comparison()

    def _enable(self, on: bool) -> None:
        today = self._session.at_today
        self.keep.setEnabled(on and today)
        self.mark.setEnabled(on and today and not self._changed)
        self.mark.setToolTip(tr("Keep the layout first.") if self._changed else "")
        self.compare.setEnabled(on)
        self.as_stored.setEnabled(bool(self._changed))
        for link in self.exports.values():
            link.setEnabled(on)

    def _refuse(self, error: WaterBudgetError) -> None:
        self.made = None
        self.count.hide()
        self.wrong.setText(say(error))
        self.wrong.show()
        restyle(self.wrong)
        self.notes.setText("")
        self.plan.show_trees(None)
        self._on_map(None)
        self._show_plan(False)
        self._enable(False)

    def _show_plan(self, on: bool) -> None:
        """Leave no empty room where there are no trees to see."""
        for widget in (self.plan, self._marks, self.notes):
            widget.setVisible(on)
        self._halves.setStretch(0, int(on))

    # -- keeping --------------------------------------------------------------------------------

    def store(self) -> None:
        """Keep the layout in the block; one undo takes it back."""
        block = self.block
        if block is None:
            return
        changed, name = dict(self._changed), block.name

        def do(file: FarmFile, now: Any) -> Any:
            from waterbudget import actions

            return actions.store_layout(file, name, changed, now=now)

        def undo(file: FarmFile, now: Any, result: Any) -> Any:
            from waterbudget import actions

            actions.put_layout_back(file, result[0], now=now)

        def done(result: Any) -> None:
            self._changed = {}
            self._session.told.emit(
                tr("{0}: {1} tree places kept.").format(name, thousands(result[1].planting.trees))
            )

        self._session.act(tr("trees of {0}").format(name), do, undo, ("blocks",), done=done,
                          failed=self._refuse)  # fmt: skip

    # -- marks ----------------------------------------------------------------------------------

    def _picked(self, row: int, number: int) -> None:
        self.row.setText(str(row))
        self.number.setText(str(number))

    def mark_tree(self) -> None:
        """Mark the tree whose row and number stand in the fields; one undo takes it back."""
        block, made = self.block, self.made
        if block is None or made is None or self._changed:
            return
        name, state = block.name, self.state.value()
        typed = (self.row.text().strip(), self.number.text().strip())
        if not all(t.isdecimal() for t in typed):
            self._told_wrong(Refused("planting.bad_mark", value=":".join(typed)))
            return
        row, place = int(typed[0]), int(typed[1])

        def do(file: FarmFile, now: Any) -> Any:
            from waterbudget import actions

            return actions.mark_trees(file, name, [(row, place, state)], places=made.planting,
                                      now=now)  # fmt: skip

        def undo(file: FarmFile, now: Any, result: Any) -> Any:
            from waterbudget import actions

            actions.put_marks_back(file, result, now=now)

        label = tr("tree {0} of row {1}, {2}").format(place, row, name)
        self.plan.choose(row, place)
        self._session.act(label, do, undo, ("blocks",), failed=self._told_wrong)

    def _told_wrong(self, error: WaterBudgetError) -> None:
        self.wrong.setText(say(error))
        self.wrong.show()
        restyle(self.wrong)

    # -- side by side ---------------------------------------------------------------------------

    def show_comparison(self) -> None:
        """Set the layout beside the other patterns."""
        block = self.block
        if block is None:
            return
        try:
            peak, kc = read_number(self.peak.text()), read_number(self.kc.text())
        except ValueError:
            typed = f"{self.peak.text()[:9]}, {self.kc.text()[:9]}"
            self._told_wrong(Refused("planting.peak", what="ET0, Kc", value=typed, low=0, high=20))
            return
        changed, name = dict(self._changed), block.name

        def look(file: FarmFile) -> tuple[LayoutFigures, ...]:
            from waterbudget import actions

            layouts = actions.usual_layouts(file, name, changed)
            return actions.compare_layouts(file, name, layouts, peak_et0_mm=peak, kc=kc)

        self._session.query(look, self._show_figures, self._told_wrong, key="planting-figures")

    def _show_figures(self, found: tuple[LayoutFigures, ...]) -> None:
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        heads = ("", *(word(f"pattern.{f.pattern}") for f in found))
        lines = [
            heads,
            (tr("distances, m"), *(f"{number(f.spacing_m, 2)} × {number(f.row_spacing_m, 2)}"
                                   for f in found)),
            (tr("trees"), *(thousands(f.trees) for f in found)),
            (tr("rows, m"), *(thousands(f.row_length_m) for f in found)),
            (tr("pipe, m"), *(thousands(f.pipe_m) for f in found)),
            (tr("L a tree, peak day"), *(fixed(f.litres_tree_day, 0) for f in found)),
            (tr("m³, peak day"), *(fixed(f.m3_day, 0) for f in found)),
        ]  # fmt: skip
        for at, line in enumerate(lines):
            for column, words in enumerate(line):
                label = text(words, theme.BODY if column or not at else theme.SMALL,
                             bold=at == 0, quiet=column == 0, narrow=True,
                             wrap=column == 0)  # fmt: skip
                if column:
                    label.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self._grid.addWidget(label, at, column)
        self._grid.setColumnStretch(0, 1)
        self.pipe.setText(say(Note.of("planting.pipe")))
        for widget in (self.figures, self.pipe):
            widget.show()

    # -- files ----------------------------------------------------------------------------------

    def _write_clicked(self, kind: str, _checked: bool = False) -> None:
        self.ask_and_write(kind)

    def ask_and_write(self, kind: str) -> None:
        """Ask where, then write the places or the pegging sheet."""
        if self.made is None:
            return
        made, ending = self.made, "txt" if kind == "pegs" else kind
        kinds = {"gpx": "GPX (*.gpx)", "geojson": "GeoJSON (*.geojson)", "csv": "CSV (*.csv)",
                 "pegs": tr("Text to read (*.txt);;A line a peg (*.csv)")}  # fmt: skip
        name = f"{made.block.name} {tr('pegs') if kind == 'pegs' else tr('trees')}.{ending}"
        chosen, _ = QFileDialog.getSaveFileName(self, tr("Export"), name, kinds[kind])
        if not chosen:
            return
        path = Path(chosen)

        def write(_: FarmFile) -> None:
            from waterbudget import actions

            if kind == "pegs":
                actions.write_pegs(made, path, say)
            else:
                actions.write_trees(made, path, kind)

        self._session.query(
            write, lambda _: self._session.told.emit(tr("Written: {0}").format(path.name)),
            self._told_wrong,
        )  # fmt: skip


def _short(name: str, wide: int, shown: str = "") -> QLineEdit:
    field = QLineEdit(shown)
    field.setFont(theme.font())
    field.setFixedWidth(wide)
    field.setAccessibleName(name)
    return field
