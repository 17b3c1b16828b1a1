"""The week on the home page: a table one can type into, drag in, and walk through with keys.

It shows a :class:`~desktop.models.week.WeekTable` and asks for changes by signals; nothing is
stored here.  Painting is in ``home_week_paint``, geometry in ``home_week_layout``.

Keys: arrows move, figures type hours, Enter opens a cell, Delete keeps a day dry, P pins and
unpins, Alt+Left and Alt+Right move a watering by a day, R types rain, L low and high.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

from PySide6.QtCore import QEvent, QPointF, QRect, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import (
    QAccessible,
    QAccessibleAnnouncementEvent,
    QFocusEvent,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
)
from PySide6.QtWidgets import QAbstractScrollArea, QFrame, QToolTip, QWidget

from desktop import theme
from desktop.models.week import BACK, AheadCell, WeekTable
from desktop.pages.home_typing import CellEditor, RainEditor
from desktop.pages.home_week_layout import DAYS, HEAD_ROW, ROW_LEAST, Layout, Spot, lay_out
from desktop.pages.home_week_paint import Live, WeekPainter
from desktop.pages.home_words import spot_sentence
from desktop.widgets import paint_focus
from desktop.wording import hours, number, tr
from waterbudget.plan import WEEK

DRAG_PX = 6.0


class WeekView(QAbstractScrollArea):
    """The week.

    Signals
    -------
    chosen(int), opened(int)
        A block's row was chosen, its name opened.
    hours_typed(int, date, float)
        Hours for one block and day; 0 keeps it dry.
    pin_asked(int, date)
        Pin the cell as it is, or take its pin away.
    moved(int, date, date)
        Move a watering from one day to another.
    rain_typed(date, dict of gauge to mm or None), heat_typed(date, float or None, float or None)
    ran_asked(date)
        A past cell was opened.
    said(str)
        What the cell under the cursor holds.
    refused(str)
        What was typed cannot be, in one sentence.
    """

    chosen = Signal(int)
    opened = Signal(int)
    hours_typed = Signal(int, object, float)
    pin_asked = Signal(int, object)
    moved = Signal(int, object, object)
    rain_typed = Signal(object, object)
    heat_typed = Signal(object, object, object)
    ran_asked = Signal(object)
    said = Signal(str)
    refused = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.table: WeekTable | None = None
        self.live = Live()
        self._layout: Layout | None = None
        self._press: tuple[QPointF, Spot] | None = None
        self._editor: QWidget | None = None
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.viewport().setMouseTracking(True)
        self.setAccessibleName(tr("The week, block by block"))
        self.verticalScrollBar().valueChanged.connect(self._scrolled)
        theme.watch().changed.connect(self._lay_out)

    def sizeHint(self) -> QSize:
        """About 770 wide."""
        return QSize(770, 560)

    def minimumSizeHint(self) -> QSize:
        """Room for every column."""
        return QSize(640, 200)

    # -- what is shown ------------------------------------------------------------------------

    def show_table(self, table: WeekTable | None, editable: bool = True) -> None:
        """Show a week; the cursor stays on its block and day."""
        block = self._cursor_block()
        self.table, self.live.editable = table, editable
        spot = self.live.cursor
        if table is None:
            self.live.cursor = None
        elif spot is not None and spot.area == "body":
            row = table.row_of.get(block) if block is not None else None
            self.live.cursor = replace(spot, row=row) if row is not None else None
        if table is not None and self.live.chosen not in table.row_of:
            self.live.chosen = None
        self.live.drag_from = self.live.drag_to = self.live.hover = None
        self._lay_out()

    def _cursor_block(self) -> int | None:
        spot = self.live.cursor
        if self.table is None or spot is None or not 0 <= spot.row < len(self.table.rows):
            return None
        return self.table.rows[spot.row].block_id

    def choose(self, block_id: int | None) -> None:
        """Mark a block's row as chosen, and scroll to it."""
        if block_id == self.live.chosen:
            return
        self.live.chosen = block_id
        row = self.table.row_of.get(block_id) if self.table and block_id is not None else None
        if row is not None:
            spot = self.live.cursor
            if spot is None or spot.area != "body" or spot.row != row:
                day = spot.day if spot is not None and spot.part == "day" else BACK
                self.live.cursor = Spot("body", "day", row, day)
            self._reveal(row)
        self.viewport().update()

    def layout_now(self) -> Layout | None:
        """Return where everything stands now."""
        return self._layout

    def _lay_out(self) -> None:
        if self.table is None:
            self._layout = None
        else:
            size = self.viewport().size()
            scroll = float(self.verticalScrollBar().value())
            laid = lay_out(self.table, size.width(), size.height(), scroll)
            hidden = max(round(laid.content_h - laid.body.height() + 1), 0)
            bar = self.verticalScrollBar()
            if laid.row_h > ROW_LEAST or hidden <= 1:
                hidden = 0
            bar.blockSignals(True)
            bar.setRange(0, hidden)
            bar.setPageStep(round(laid.body.height()))
            bar.setSingleStep(round(laid.row_h))
            bar.blockSignals(False)
            self._layout = replace(laid, scroll=float(bar.value()))
        self.viewport().update()

    def _scrolled(self) -> None:
        self.close_editor()
        self._lay_out()

    def _reveal(self, row: int) -> None:
        laid = self._layout
        if laid is None:
            return
        top, bar = row * laid.row_h, self.verticalScrollBar()
        if top < bar.value():
            bar.setValue(int(top))
        elif top + laid.row_h > bar.value() + laid.body.height():
            bar.setValue(round(top + laid.row_h - laid.body.height() + 1))

    # -- painting -----------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the week."""
        painter = QPainter(self.viewport())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.table is None or self._layout is None:
            painter.fillRect(self.viewport().rect(), theme.colours().paper)
            return
        self.live.focus = self.hasFocus()
        dpr = self.devicePixelRatioF()
        WeekPainter(painter, self.table, self._layout, self.live, dpr).paint()
        if self.hasFocus() and self.live.cursor is None:
            paint_focus(painter, self.viewport())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Lay it out anew."""
        self.close_editor()
        self._lay_out()
        super().resizeEvent(event)

    # -- mouse --------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Put the cursor there; a planned watering can be dragged from there."""
        if self._layout is None or event.button() != Qt.MouseButton.LeftButton:
            return
        self.close_editor()
        spot = self._layout.hit(event.position())
        self._press = (event.position(), spot)
        if spot.area in ("body", "rain", "heat"):
            self.go(spot)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag a watering along its row, or show what can be typed over."""
        if self._layout is None:
            return
        spot = self._layout.hit(event.position())
        if self._press is not None and event.buttons() & Qt.MouseButton.LeftButton:
            self._drag(event.position(), spot)
        elif spot != self.live.hover:
            self.live.hover = spot
            self.viewport().update()

    def _drag(self, at: QPointF, spot: Spot) -> None:
        assert self._press is not None
        start, source = self._press
        far = abs(at.x() - start.x()) >= DRAG_PX
        if self.live.drag_from is None and far and self._can_drag(source):
            self.live.drag_from = source
        if self.live.drag_from is not None:
            inside = spot.part == "day" and spot.day >= BACK and spot.day != source.day
            self.live.drag_to = Spot("body", "day", source.row, spot.day) if inside else None
            shape = Qt.CursorShape.ClosedHandCursor
            self.viewport().setCursor(shape if inside else Qt.CursorShape.ForbiddenCursor)
            self.viewport().update()

    def _can_drag(self, spot: Spot) -> bool:
        cell = self._ahead(spot)
        return self.live.editable and cell is not None and cell.hours is not None

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Drop a dragged watering; a click on rain or low and high opens it."""
        source, target = self.live.drag_from, self.live.drag_to
        pressed, self._press = self._press, None
        self.live.drag_from = self.live.drag_to = None
        self.viewport().unsetCursor()
        self.viewport().update()
        if source is not None:
            if target is not None:
                self._move(source, target.day)
            return
        if pressed is not None and pressed[1].area in ("rain", "heat"):
            self._open_editor(pressed[1])

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Open what was clicked."""
        self._press = None
        if self._layout is not None and event.button() == Qt.MouseButton.LeftButton:
            spot = self._layout.hit(event.position())
            if spot.area == "body":
                self._activate(spot)

    def leaveEvent(self, event: QEvent) -> None:
        """Nothing is under the mouse any more."""
        self.live.hover = None
        self.viewport().update()
        super().leaveEvent(event)

    def viewportEvent(self, event: QEvent) -> bool:
        """Say in a tip what a cell holds."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            if self.table is not None and self._layout is not None:
                spot = self._layout.hit(QPointF(event.pos()))
                words = spot_sentence(self.table, spot)
                box = self._layout.box(spot).toRect() if words else QRect()
                QToolTip.showText(event.globalPos(), words, self.viewport(), box)
            return True
        if event.type() == QEvent.Type.Leave:
            self.leaveEvent(event)
        return super().viewportEvent(event)

    # -- keys ---------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Walk, type, pin, clear, move."""
        if self.table is None or not self.table.rows:
            super().keyPressEvent(event)
            return
        key, alt = event.key(), event.modifiers() & Qt.KeyboardModifier.AltModifier
        spot = self.live.cursor or Spot("body", "day", 0, BACK)
        steps = {
            Qt.Key.Key_Left: (0, -1), Qt.Key.Key_Right: (0, 1),
            Qt.Key.Key_Up: (-1, 0), Qt.Key.Key_Down: (1, 0),
        }  # fmt: skip
        if alt and key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            self._move(spot, spot.day + (1 if key == Qt.Key.Key_Right else -1))
        elif key in steps and not alt:
            self.go(self._stepped(spot, *steps[Qt.Key(key)]))
        elif key == Qt.Key.Key_Home:
            self.go(Spot("body", "name", max(spot.row, 0)))
        elif key == Qt.Key.Key_End:
            self.go(Spot("body", "day", max(spot.row, 0), DAYS - 1))
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._activate(spot)
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self._clear(spot)
        elif re.fullmatch(r"[0-9.,]", event.text()) and not event.modifiers() & (
            Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier
        ):
            self._open_editor(spot, event.text())
        else:
            super().keyPressEvent(event)

    def _stepped(self, spot: Spot, down: int, right: int) -> Spot:
        """Return the cell next to one; rain and low and high lie above the first row."""
        assert self.table is not None
        last = len(self.table.rows) - 1
        if spot.area in ("rain", "heat"):
            if right:
                return replace(spot, day=min(max(spot.day + right, 0), BACK))
            if down > 0:
                return (
                    replace(spot, area="rain") if spot.area == "heat"
                    else Spot("body", "day", 0, spot.day)
                )  # fmt: skip
            return replace(spot, area="heat")
        if right:
            place = -1 if spot.part != "day" else spot.day
            place = min(max(place + right, -1), DAYS - 1)
            part = "day" if place >= 0 else "name"
            return Spot("body", part, max(spot.row, 0), place)  # type: ignore[arg-type]
        if down < 0 and spot.row <= 0 and spot.part == "day" and spot.day <= BACK:
            return Spot("rain", "day", -1, spot.day)
        return replace(spot, row=min(max(spot.row + down, 0), last))

    def pin_here(self) -> None:
        """Pin the cell under the cursor as it is, or take its pin away."""
        cell = self._ahead(self.live.cursor)
        if cell is None or not self._may_edit():
            return
        block = self._cursor_block()
        if block is not None:
            self.pin_asked.emit(block, cell.date)

    def type_rain(self) -> None:
        """Open the rain of the cursor's day, else of today."""
        self._open_editor(self._head_spot("rain"))

    def type_heat(self) -> None:
        """Open low and high of the cursor's day, else of today."""
        self._open_editor(self._head_spot("heat"))

    def _head_spot(self, area: str) -> Spot:
        spot = self.live.cursor
        day = spot.day if spot is not None and 0 <= spot.day <= BACK else BACK
        return Spot(area, "day", -1, day)  # type: ignore[arg-type]

    # -- what cells do ------------------------------------------------------------------------

    def go(self, spot: Spot) -> None:
        """Put the cursor on a cell, choose its block, and say what it holds."""
        assert self.table is not None
        if spot.area == "body" and spot.part in ("stage", "bar", "sum"):
            spot = Spot("body", "name", spot.row)
        if spot.area in ("rain", "heat") and not 0 <= spot.day <= BACK:
            return
        self.live.cursor = spot
        if spot.area == "body":
            self._reveal(spot.row)
            block = self.table.rows[spot.row].block_id
            if block != self.live.chosen:
                self.live.chosen = block
                self.chosen.emit(block)
        self.viewport().update()
        words = spot_sentence(self.table, spot)
        self.setAccessibleDescription(words)
        if QAccessible.isActive():
            QAccessible.updateAccessibility(QAccessibleAnnouncementEvent(self, words))
        self.said.emit(words)

    def _ahead(self, spot: Spot | None) -> AheadCell | None:
        if self.table is None or spot is None or spot.area != "body" or spot.part != "day":
            return None
        if not BACK <= spot.day < BACK + WEEK or not 0 <= spot.row < len(self.table.rows):
            return None
        return self.table.rows[spot.row].ahead[spot.day - BACK]

    def _may_edit(self) -> bool:
        if not self.live.editable:
            self.refused.emit(tr("Press T to come back to today; earlier mornings stay as they "
                                 "were."))  # fmt: skip
        return self.live.editable

    def _activate(self, spot: Spot) -> None:
        assert self.table is not None
        if spot.area in ("rain", "heat"):
            self._open_editor(spot)
        elif spot.part == "day" and spot.day < BACK:
            self.ran_asked.emit(self.table.days[spot.day])
        elif spot.part == "day":
            self._open_editor(spot)
        else:
            self.opened.emit(self.table.rows[max(spot.row, 0)].block_id)

    def _clear(self, spot: Spot) -> None:
        cell = self._ahead(spot)
        if cell is not None and (cell.planned or not cell.pinned) and self._may_edit():
            self._type_hours(spot, 0.0)

    def _move(self, source: Spot, day: int) -> None:
        cell = self._ahead(source)
        if cell is None or cell.hours is None or not BACK <= day < DAYS or not self._may_edit():
            return
        assert self.table is not None
        block = self.table.rows[source.row].block_id
        self.live.cursor = replace(source, day=day)
        self.moved.emit(block, cell.date, self.table.days[day])

    def _type_hours(self, spot: Spot, value: float) -> None:
        assert self.table is not None
        self.hours_typed.emit(
            self.table.rows[spot.row].block_id, self.table.days[spot.day], value
        )  # fmt: skip

    # -- typing -------------------------------------------------------------------------------

    def close_editor(self) -> None:
        """Give up what is being typed."""
        editor, self._editor = self._editor, None
        if editor is not None:
            editor.hide()
            editor.deleteLater()

    def _open_editor(self, spot: Spot, text: str = "") -> None:
        if self.table is None or self._layout is None or not self._may_edit():
            return
        self.close_editor()
        if spot.area == "body":
            self._reveal(spot.row)
            self._edit_hours(spot, text)
        elif spot.area == "rain":
            self._edit_rain(spot, text)
        elif spot.area == "heat":
            self._edit_heat(spot, text)

    def _edit_hours(self, spot: Spot, text: str) -> None:
        cell = self._ahead(spot)
        assert self.table is not None and self._layout is not None
        if cell is None:
            return
        if cell.planned and cell.hours is None or "flow" in self.table.rows[spot.row].missing:
            self.refused.emit(tr("Hours need the flow of {0}; type it on the block's page.").format(
                self.table.rows[spot.row].name))  # fmt: skip
            return
        box = self._layout.box(spot)
        name = tr("Hours for {0}").format(self.table.rows[spot.row].name)
        editor = CellEditor(self.viewport(), text or hours(cell.hours or 0), name, bool(text))
        editor.entered.connect(lambda typed: self._entered_hours(spot, typed))
        self._show_editor(editor, box)

    def _entered_hours(self, spot: Spot, typed: str) -> None:
        value = read_hours(typed)
        if value is None:
            self.refused.emit(
                tr("“{0}” is no number of hours from 0 to 24; type 4.25 or 4:15.").format(typed)
            )
            return
        self._end_typing()
        self._type_hours(spot, value)

    def _edit_rain(self, spot: Spot, text: str) -> None:
        assert self.table is not None and self._layout is not None
        head = self.table.head[spot.day]
        box = self._layout.box(spot)
        held = {g: number(v) for g, v in head.rain_typed.items()}
        if len(self.table.gauges) == 1:
            gauge = self.table.gauges[0]
            shown = held.get(gauge, number(head.rain_mm) if head.rain_from == "record" else "")
            editor = CellEditor(self.viewport(), text or shown, tr("Rain, mm"), bool(text))
            editor.entered.connect(lambda typed: self._entered_rain(spot, {gauge: typed}))
            self._show_editor(editor, box)
            return
        many = RainEditor(self.viewport(), self.table.gauges, held, text)
        many.entered.connect(lambda typed: self._entered_rain(spot, typed))
        self._show_editor(many, QRectF(box.left(), box.top(), 0, 0))

    def _entered_rain(self, spot: Spot, typed: dict[str, str]) -> None:
        assert self.table is not None
        head = self.table.head[spot.day]
        values: dict[str, float | None] = {}
        for gauge, text in typed.items():
            mm = read_number(text)
            if text.strip() and (mm is None or not 0 <= mm <= 500):
                self.refused.emit(tr("“{0}” is no rain in mm; type a figure.").format(text))
                return
            if mm != head.rain_typed.get(gauge) and (text.strip() or gauge in head.rain_typed):
                values[gauge] = mm
        self._end_typing()
        if values:
            self.rain_typed.emit(head.date, values)

    def _edit_heat(self, spot: Spot, text: str) -> None:
        assert self.table is not None and self._layout is not None
        head = self.table.head[spot.day]
        known = head.heat_from == "record" and head.low_c is not None and head.high_c is not None
        shown = f"{number(head.low_c)} {number(head.high_c)}" if known else ""
        name = tr("Low and high, °C, with a space between")
        editor = CellEditor(self.viewport(), text or shown, name, bool(text), placeholder="9 24")
        editor.entered.connect(lambda typed: self._entered_heat(spot, typed))
        box = self._layout.box(spot)
        self._show_editor(editor, box.adjusted(-10, 0, 10, 0))

    def _entered_heat(self, spot: Spot, typed: str) -> None:
        assert self.table is not None
        pair = read_pair(typed)
        if pair is None:
            self.refused.emit(
                tr("“{0}” is no low and high; type them with a space between, as in 9 24.").format(
                    typed
                )
            )
            return
        self._end_typing()
        self.heat_typed.emit(self.table.head[spot.day].date, *pair)

    def _show_editor(self, editor: QWidget, box: QRectF) -> None:
        self._editor = editor
        size = editor.sizeHint()
        wide, high = max(box.width(), size.width()), max(box.height(), HEAD_ROW + 4, size.height())
        left = box.center().x() - wide / 2 if box.width() else box.left()
        left = min(max(left, 0), self.viewport().width() - wide)
        top = box.center().y() - high / 2 if box.height() else box.top()
        editor.setGeometry(round(left), round(max(top, 0)), round(wide), round(high))
        editor.given_up.connect(self._end_typing)  # type: ignore[attr-defined]
        editor.show()
        editor.setFocus()

    def _end_typing(self) -> None:
        self.close_editor()
        QTimer.singleShot(0, self._take_focus)

    def _take_focus(self) -> None:
        if self.isVisible() and self._editor is None:
            self.setFocus()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show the cursor."""
        if self.table is not None and self.table.rows and self.live.cursor is None:
            row = self.table.row_of.get(self.live.chosen or -1, 0)
            self.live.cursor = Spot("body", "day", row, BACK)
        self.viewport().update()
        super().focusInEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Hide the cursor."""
        self.viewport().update()
        super().focusOutEvent(event)


def read_number(text: str) -> float | None:
    """Return a figure typed with a point or a comma; None where it is none."""
    try:
        value = float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        return None
    return value if abs(value) < 1e6 else None


def read_hours(text: str) -> float | None:
    """Return hours typed as 4.25, 4,25, 4:15 or 4h15, to the quarter hour; None where they are none."""
    text = text.strip().lower().removesuffix("h").strip()
    if not text:
        return 0.0
    clock = re.fullmatch(r"(\d{1,2})\s*[:h]\s*([0-5]?\d)", text)
    value = int(clock[1]) + int(clock[2]) / 60 if clock else read_number(text)
    if value is None or not 0 <= value <= 24:
        return None
    return round(value * 4) / 4


def read_pair(text: str) -> tuple[float | None, float | None] | None:
    """Return low and high typed as ``9 24``, ``9/24`` or ``9-24``; nothing typed clears both."""
    if not text.strip():
        return (None, None)
    match = re.fullmatch(r"\s*(-?[\d.,]+)\s*(?:[/;\s]|\s-\s|-)\s*(-?[\d.,]+)\s*", text)
    if match is None:
        return None
    low, high = read_number(match[1]), read_number(match[2])
    if low is None or high is None or not -60 <= low <= high <= 65:
        return None
    return low, high


