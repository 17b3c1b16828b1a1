"""What the week still needs: one list with counts, the same block by block, and a way on for each.

It is shown first for a new farm and can be left and come back to at any point; hours stand for
every block that is ready.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QScrollArea,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.models.needs import (
    BLOCK_ROLE,
    CODES,
    FOR_HOURS,
    GROUP_ROLE,
    STATE_ROLE,
    NeedRow,
    NeedsModel,
    code_words,
    need_rows,
    quickest,
    state_words,
)
from desktop.models.week import WeekTable
from desktop.session import Session
from desktop.widgets import DropPlate, Link, Mark, paint_mark, rule, text
from desktop.wording import day_named, hours, number, thousands, tr

if TYPE_CHECKING:
    from waterbudget.actions import Need
    from waterbudget.records import FarmData

Navigate = Callable[..., None]
Index = QModelIndex | QPersistentModelIndex
_COLUMNS_OF = {"area": "overview", "pruned_on": "cycle", "flow": "watering", "soil": "soil"}
"""Columns of the block table in which a need can be typed."""
_ROW_H = 25


class NeedsView(QWidget):
    """The view; :meth:`show_week` fills it.

    Signals
    -------
    left()
        Back to map and week.
    """

    left = Signal()

    def __init__(self, session: Session, navigate: Navigate) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.model = NeedsModel()
        column = QVBoxLayout(self)
        column.setContentsMargins(20, 14, 20, 10)
        column.setSpacing(4)
        head = QHBoxLayout()
        head.setSpacing(14)
        head.addWidget(text(tr("What the week still needs"), theme.TITLE, bold=True))
        self.count = text(quiet=True)
        head.addWidget(self.count, 0, Qt.AlignmentFlag.AlignBottom)
        head.addStretch(1)
        self.back = Link(tr("Map and week"), self.left.emit)
        head.addWidget(self.back, 0, Qt.AlignmentFlag.AlignBottom)
        column.addLayout(head)
        line = QHBoxLayout()
        line.setSpacing(4)
        self.sentence = text(size=theme.LEAD)
        line.addWidget(self.sentence)
        self.quick = Link("", self._go_quick)
        self.quick.setFont(theme.font(theme.LEAD))
        line.addWidget(self.quick)
        line.addStretch(1)
        column.addLayout(line)
        column.addSpacing(8)
        body = QHBoxLayout()
        body.setSpacing(28)
        body.addWidget(self._build_list())
        body.addWidget(self._build_table(), 1)
        self.blank = QWidget()
        body.addWidget(self.blank, 1)
        column.addLayout(body, 1)
        column.addLayout(self._build_legend())
        self._quick_code = ""

    def _build_list(self) -> QWidget:
        side = QWidget()
        side.setFixedWidth(380)
        column = QVBoxLayout(side)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        self.drop = DropPlate(
            tr("drop any file here: walk, outlines, weather"),
            tr("or click to choose one; your original is kept"), height=84,
        )  # fmt: skip
        self.drop.dropped.connect(self._dropped)
        self.drop.clicked.connect(lambda: self.navigate("import"))
        column.addWidget(self.drop)
        inside = QWidget()
        self.list = QVBoxLayout(inside)
        self.list.setContentsMargins(0, 4, 6, 0)
        self.list.setSpacing(3)
        self.items: dict[str, _Item] = {}
        for code in CODES:
            if code == "area":
                self.list.addWidget(text(tr("needed for hours"), theme.SMALL, quiet=True))
            if code == "soil":
                self.list.addSpacing(6)
                self.list.addWidget(text(tr("makes the hours surer"), theme.SMALL, quiet=True))
            self.list.addWidget(rule())
            item = _Item(code, self._go)
            self.items[code] = item
            self.list.addWidget(item)
        self.list.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setWidget(inside)
        column.addWidget(scroll, 1)
        return side

    def _build_table(self) -> QWidget:
        self.table = _NeedsTable(self.model, self._open_cell)
        return self.table

    def _build_legend(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(8)
        for kind in ("given", "other", "default", "missing"):
            row.addWidget(Mark(kind, 12, width=20 if kind == "missing" else None))
            row.addWidget(text(state_words(kind), theme.SMALL, quiet=True))
            row.addSpacing(14)
        row.addStretch(1)
        return row

    # -- filling ------------------------------------------------------------------------------

    def show_week(self, table: WeekTable, needs: Sequence[Need], data: FarmData) -> None:
        """Show what is there and what is missing."""
        rows = need_rows(table, needs)
        self.model.show(rows)
        self.table.fit_columns()
        n = len(rows)
        held = tr("1 block in hand") if n == 1 else tr("{0} blocks in hand").format(n)
        self.count.setText(f"{held} · {summary(rows)}" if n else held)
        self.sentence.setText(_sentence(rows))
        quick = quickest(rows)
        self._quick_code = quick[0] if quick else ""
        self.quick.setVisible(quick is not None)
        if quick is not None:
            self.quick.setText(_quick_words(*quick))
            self.quick.updateGeometry()
        for need in needs:
            self.items[need.code].fill(need, rows, data)
        self.table.setVisible(bool(rows))
        self.blank.setVisible(not rows)

    # -- ways on ------------------------------------------------------------------------------

    def _dropped(self, paths: list[Path]) -> None:
        self.navigate("import", paths=paths)

    def _go_quick(self) -> None:
        self._go(self._quick_code)

    def _go(self, code: str) -> None:
        if code == "weather":
            self.navigate("import", kind="weather")
        elif code == "typed":
            yesterday = self.session.today - dt.timedelta(days=1)
            self.navigate("home", type_heat=yesterday)
        elif code == "pump":
            self.navigate("farm", field="pump_hours")
        elif code == "flow" and self.model.lacks(code):
            self.navigate("bucket")
        elif code in _COLUMNS_OF:
            none = code == "area" and self.model.rowCount() == 0
            self.navigate("blocks", columns=_COLUMNS_OF[code], new=none)

    def _open_cell(self, index: QModelIndex) -> None:
        block = index.data(BLOCK_ROLE)
        code = self.model.code(index.column())
        if code in ("weather", "pump"):
            self._go(code)
        elif code == "pruned_on":
            self.navigate("block", block=block, show="cycle")
        elif code is not None:
            self.navigate("block", block=block, edit=code)
        else:
            self.navigate("block", block=block)


def _sentence(rows: Sequence[NeedRow]) -> str:
    if not rows:
        return tr("No blocks yet: bring in a walk or outlines, or type names and hectares.")
    ready = sum(r.group == "ready" for r in rows)
    some = sum(r.group == "no_hours" for r in rows)
    nothing = len(rows) - ready - some
    if ready == len(rows):
        return tr("Nothing more: hours stand for every block.")
    parts = [tr("Hours stand for {0} of {1} blocks").format(ready, len(rows))]
    if some:
        parts.append(tr("mm and m³ for {0} more").format(some))
    if nothing:
        parts.append(tr("nothing yet for {0}").format(nothing))
    return ", ".join(parts) + ". " + tr("Quickest way on:")


def _quick_words(code: str, count: int) -> str:
    return {
        "area": tr("outline or hectares of {0}").format(count),
        "weather": tr("a weather file"),
        "pruned_on": tr("{0} pruning dates").format(count),
        "flow": tr("a bucket test at {0} valves").format(count),
    }.get(code, code_words(code))


def _detail(code: str, rows: Sequence[NeedRow], data: FarmData) -> str:
    blocks = data.orchard.blocks
    if not blocks and code in ("area", "flow", "soil"):
        return {
            "area": tr("a walk, outlines from any map, or typed"),
            "flow": tr("a meter, a bucket test, or the catalogue"),
            "soil": tr("loam stands in until it is felt"),
        }[code]
    if code == "area":
        drawn = sum(b.outline is not None for b in blocks)
        typed = sum(b.outline is None and b.area_ha is not None for b in blocks)
        return tr("{0} with an outline, {1} typed").format(drawn, typed)
    if code == "weather":
        last = data.last_day()
        return tr("no record yet") if last is None else tr("record ends {0}").format(
            day_named(last))  # fmt: skip
    if code == "pruned_on":
        return tr("without it the stage is not known")
    if code == "flow":
        sources = [b.flow_from or "meter" for b in blocks if b.flow_m3_h is not None]
        other = sum(r.states.get("flow") == "other" for r in rows)
        return tr("{0} metered, {1} by bucket, {2} catalogue").format(
            sources.count("meter"), sources.count("bucket"), other
        )  # fmt: skip
    if code == "soil":
        default = sum(r.states.get("soil") == "default" for r in rows)
        return tr("{0} stand at loam, the default").format(default)
    pump = data.orchard.pump_hours
    if pump is None:
        return tr("not typed yet: no limit is kept")
    return tr("{0} h a day, {1} m³ an hour").format(hours(pump), number(data.orchard.pump_m3_h))


class _Item(QWidget):
    """One line of the list: name, count, detail, link."""

    def __init__(self, code: str, go: Callable[[str], None]) -> None:
        super().__init__()
        self.code = code
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 2, 0, 2)
        row.setSpacing(8)
        words = QVBoxLayout()
        words.setSpacing(0)
        self.title = text(code_words(code), theme.LARGE, bold=True)
        self.detail = text(size=theme.SMALL, quiet=True, wrap=True)
        words.addWidget(self.title)
        words.addWidget(self.detail)
        row.addLayout(words, 1)
        side = QVBoxLayout()
        side.setSpacing(0)
        self.count = text(size=theme.LARGE)
        self.link = Link("", lambda: go(code))
        side.addWidget(self.count, 0, Qt.AlignmentFlag.AlignRight)
        side.addWidget(self.link, 0, Qt.AlignmentFlag.AlignRight)
        if code == "weather":  # many growers have no station
            by_hand = Link(tr("Type low, high, rain"), lambda: go("typed"))
            side.addWidget(by_hand, 0, Qt.AlignmentFlag.AlignRight)
        row.addLayout(side)

    def fill(self, need: Need, rows: Sequence[NeedRow], data: FarmData) -> None:
        """Show count, detail and link."""
        total, done = len(rows), need.done
        complete = total > 0 and done == total
        if self.code == "weather":
            complete = complete or (not total and data.last_day() is not None)
            self.count.setText(tr("for all") if complete else tr("missing"))
        elif self.code == "pump":
            orchard = data.orchard
            complete = bool(orchard.pump_hours and orchard.pump_m3_h)
            self.count.setText(tr("for all") if complete else tr("not typed"))
        else:
            self.count.setText(tr("{0} of {1}").format(done, total) if total else "")
        self.count.setFont(theme.font(theme.LARGE, bold=not complete and self.code in FOR_HOURS))
        self.detail.setText(_detail(self.code, rows, data))
        waits = not total and self.code in ("pruned_on", "flow", "soil")
        self.link.setVisible(not waits)
        self.link.setText(_link_words(self.code, total - done, complete, total))
        self.link.setAccessibleDescription(f"{code_words(self.code)}: {self.count.text()}")
        self.link.updateGeometry()


def _link_words(code: str, left: int, complete: bool, total: int) -> str:
    if not total and code == "area":
        return tr("Type names and hectares")
    if complete and code != "weather":
        return tr("See them") if code != "pump" else tr("Change")
    return {
        "area": tr("Type hectares"),
        "weather": tr("Add records"),
        "pruned_on": tr("Type {0} dates").format(left),
        "flow": tr("Enter bucket tests"),
        "soil": tr("Feel it: two minutes"),
        "pump": tr("Type hours a day"),
    }[code]


class _NeedsTable(QTableView):
    """Blocks down, needs across; Enter or a click goes where it can be given."""

    def __init__(self, model: NeedsModel, opened: Callable[[QModelIndex], None]) -> None:
        super().__init__()
        self._opened = opened
        self.setModel(model)
        self.setItemDelegate(_Delegate(self))
        self.setAccessibleName(tr("What the week still needs, block by block"))
        self.setShowGrid(False)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectItems)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(_ROW_H)
        self.setTabKeyNavigation(False)
        self.clicked.connect(opened)
        head = _Head(self)
        self.setHorizontalHeader(head)

    def fit_columns(self) -> None:
        """Share the width out."""
        model = self.model()
        width = max(self.viewport().width(), 400)
        names = [str(model.index(r, 0).data()) for r in range(model.rowCount())]
        metrics = self.fontMetrics()
        name = min(max([*(metrics.horizontalAdvance(n) for n in names), 60]) + 20, 200)
        figure = 56
        each = max((width - name - 3 * figure) // len(CODES), 44)
        for column in range(model.columnCount()):
            wide = name if column == 0 else (each if column <= len(CODES) else figure)
            self.setColumnWidth(column, wide)

    def resizeEvent(self, event: object) -> None:
        """Share the width out again."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self.fit_columns()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter opens."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.currentIndex().isValid():
            self._opened(self.currentIndex())
        else:
            super().keyPressEvent(event)


class _Head(QHeaderView):
    """Heads of two lines at most, in the middle of their columns."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.setFixedHeight(40)

    def paintSection(self, painter: QPainter, rect: object, section: int) -> None:
        """Paint the words and a line below."""
        box = QRectF(rect)  # type: ignore[call-overload]
        colours = theme.colours()
        painter.save()
        painter.fillRect(box, QColor(colours.paper))
        painter.fillRect(QRectF(box.left(), box.bottom() - 1, box.width(), 1), QColor(colours.line))
        painter.setFont(theme.font(theme.SMALL, bold=True))
        painter.setPen(QColor(colours.ink))
        words = str(self.model().headerData(section, Qt.Orientation.Horizontal) or "")
        align = Qt.AlignmentFlag.AlignBottom | Qt.TextFlag.TextWordWrap
        if section == 0:
            align |= Qt.AlignmentFlag.AlignLeft
        elif section > len(CODES):
            align |= Qt.AlignmentFlag.AlignRight
        else:
            align |= Qt.AlignmentFlag.AlignHCenter
        painter.drawText(box.adjusted(2, 2, -8 if section > len(CODES) else -2, -4), align, words)
        painter.restore()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint as Qt does."""
        super().paintEvent(event)


class _Delegate(QStyledItemDelegate):
    """Paints marks of certainty, and figures boxed where hours stand."""

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Paint one cell."""
        colours = theme.colours()
        box = QRectF(option.rect)  # type: ignore[attr-defined]
        painter.save()
        if index.row() % 2:
            painter.fillRect(box, QColor(colours.row))
        state, group = index.data(STATE_ROLE), index.data(GROUP_ROLE)
        if state is not None:
            wide, high = (26.0, 15.0) if state == "missing" else (12.0, 12.0)
            middle = box.center()
            mark = QRectF(round(middle.x() - wide / 2), round(middle.y() - high / 2), wide, high)
            paint_mark(painter, mark, state)
        else:
            self._figure(painter, box, index, group)
        self._group_line(painter, box, index)
        if option.state & QStyle.StateFlag.State_HasFocus:  # type: ignore[attr-defined]
            painter.setPen(QColor(colours.link))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(box.adjusted(1, 1, -2, -2), 3, 3)
        painter.restore()

    def _figure(self, painter: QPainter, box: QRectF, index: Index, group: str) -> None:
        colours = theme.colours()
        first = index.column() == 0
        bold = index.column() == len(CODES) + 1 and group == "ready"
        painter.setFont(theme.font(bold=bold))
        painter.setPen(QColor(colours.ink))
        words = str(index.data() or "")
        if not first and group == "nothing":
            painter.fillRect(box.adjusted(6, 6, -6, -6), theme.hatch("missing", colours.line))
            return
        align = Qt.AlignmentFlag.AlignVCenter
        align |= Qt.AlignmentFlag.AlignLeft if first else Qt.AlignmentFlag.AlignRight
        inner = box.adjusted(2 if first else 0, 0, -8, 0)
        shown = painter.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight,
                                                 int(inner.width()))  # fmt: skip
        painter.drawText(inner, align, shown)

    def _group_line(self, painter: QPainter, box: QRectF, index: Index) -> None:
        """A line where another group begins."""
        row = index.row()
        if row == 0:
            return
        above = index.model().index(row - 1, 0).data(GROUP_ROLE)
        if above != index.data(GROUP_ROLE):
            painter.fillRect(QRectF(box.left(), box.top(), box.width(), 1.5),
                             QColor(theme.colours().ink))  # fmt: skip

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """One line."""
        return QSize(60, _ROW_H)


def summary(rows: Sequence[NeedRow]) -> str:
    """Return the hours and water there are so far."""
    time = sum(r.row.hours or 0.0 for r in rows)
    m3 = sum(r.row.m3 or 0.0 for r in rows)
    return tr("{0} h and {1} m³ so far").format(hours(time), thousands(m3))
