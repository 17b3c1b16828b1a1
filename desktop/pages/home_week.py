"""The week on the home page: a table one can type into, drag in, and walk through with keys.

It shows a :class:`~desktop.models.week.WeekTable` and asks for changes by signals; nothing is
stored here.  Painting is in ``home_week_paint``, geometry in ``home_week_layout``.

Keys: arrows move, figures type hours, Enter opens a cell, Delete keeps a day dry, P pins and
unpins, Alt+Left and Alt+Right move a watering by a day, R types rain, L low and high.
"""

from __future__ import annotations

import re
from dataclasses import replace

from PySide6.QtCore import QEvent, QPointF, QRect, QSize, Qt, Signal
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
from desktop.pages.home_typing import WeekTyping
from desktop.pages.home_week_layout import DAYS, ROW_LEAST, Layout, Spot, lay_out
from desktop.pages.home_week_paint import Live, WeekPainter
from desktop.pages.home_words import spot_sentence
from desktop.widgets import paint_focus
from desktop.wording import tr
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
    freed(int, date)
        The hours of a cell were cleared: the plan may choose again.
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
    freed = Signal(int, object)
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
        self.typing = WeekTyping(self)
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
        return QSize(680, 200)

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
        if not self.typing.leave():
            return
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
        cell = self.ahead(spot)
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
        cell = self.ahead(self.live.cursor)
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

    def words_here(self) -> str:
        """Return what the cell under the cursor holds now."""
        if self.table is None or self.live.cursor is None:
            return ""
        return spot_sentence(self.table, self.live.cursor)

    def ahead(self, spot: Spot | None) -> AheadCell | None:
        """Return the coming cell at a spot."""
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
        cell = self.ahead(spot)
        if cell is not None and (cell.planned or not cell.pinned) and self._may_edit():
            self._type_hours(spot, 0.0)

    def _move(self, source: Spot, day: int) -> None:
        cell = self.ahead(source)
        if cell is None or cell.hours is None or not BACK <= day < DAYS or not self._may_edit():
            return
        assert self.table is not None
        block = self.table.rows[source.row].block_id
        self.live.cursor = replace(source, day=day)
        self.moved.emit(block, cell.date, self.table.days[day])

    def _type_hours(self, spot: Spot, value: float) -> None:
        assert self.table is not None
        block = self.table.rows[spot.row].block_id
        self.hours_typed.emit(block, self.table.days[spot.day], value)

    # -- typing -------------------------------------------------------------------------------

    def close_editor(self) -> None:
        """Give up what is being typed."""
        self.typing.close()

    def _open_editor(self, spot: Spot, text: str = "") -> None:
        if self.table is None or self._layout is None or not self._may_edit():
            return
        if spot.area == "body":
            self._reveal(spot.row)
        self.typing.open(spot, text)

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
