"""Typing in the week: small fields that open over a cell, and how figures are read."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QApplication, QFrame, QGridLayout, QLineEdit, QWidget

from desktop import theme
from desktop.pages.home_week_layout import LINE_H, Spot
from desktop.pages.home_words import gauge_word
from desktop.widgets import text as label
from desktop.wording import hours, number, tr

if TYPE_CHECKING:
    from desktop.pages.home_week import WeekView


class CellEditor(QLineEdit):
    """One figure typed over a cell.

    Signals
    -------
    entered(str)
        Enter, Tab, or a click elsewhere after something was typed.
    given_up()
        Esc, or a click elsewhere with nothing changed.
    """

    entered = Signal(str)
    given_up = Signal()

    def __init__(
        self, parent: QWidget, shown: str, name: str, typed: bool, placeholder: str = ""
    ) -> None:
        super().__init__(shown, parent)
        self._before = "" if typed else shown
        self.setFont(theme.font())
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.setAccessibleName(name)
        self.setPlaceholderText(placeholder)
        self.setMaxLength(12)
        self.setStyleSheet("QLineEdit { padding: 0 1px; min-height: 0; }")
        if typed:
            self.setCursorPosition(len(shown))
        else:
            self.selectAll()

    @property
    def changed(self) -> bool:
        """True where something was typed."""
        return self.text() != self._before

    def sizeHint(self) -> QSize:
        """Small."""
        return QSize(40, 22)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter and Tab enter what was typed, Esc gives up."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Tab):
            if self.changed:
                self.entered.emit(self.text())
            else:
                self.given_up.emit()
        elif event.key() == Qt.Key.Key_Escape:
            self.given_up.emit()
        else:
            super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Keep Tab, which enters here."""
        if (
            event.type() == QEvent.Type.KeyPress
            and isinstance(event, QKeyEvent)
            and event.key() == Qt.Key.Key_Tab
        ):
            self.keyPressEvent(event)
            return True
        return super().event(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Give up where nothing was changed; what was typed stays open until it is entered."""
        super().focusOutEvent(event)
        if not self.changed and self.isVisible():
            self.given_up.emit()


class RainEditor(QFrame):
    """Rain of one day for several gauges.

    Signals
    -------
    entered(dict of gauge to text)
    given_up()
    """

    entered = Signal(object)
    given_up = Signal()

    def __init__(
        self, parent: QWidget, gauges: Sequence[str], held: Mapping[str, str], first: str
    ) -> None:
        super().__init__(parent)
        self.setProperty("role", "plate")
        self.setAccessibleName(tr("Rain by gauge, mm"))
        self._edits: dict[str, QLineEdit] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 6, 8, 6)
        grid.setVerticalSpacing(3)
        for row, gauge in enumerate(gauges):
            edit = QLineEdit(held.get(gauge, ""))
            edit.setFont(theme.font())
            edit.setFixedWidth(56)
            edit.setAlignment(Qt.AlignmentFlag.AlignRight)
            edit.setAccessibleName(tr("Rain at {0}, mm").format(gauge_word(gauge)))
            edit.installEventFilter(self)
            grid.addWidget(label(gauge_word(gauge)), row, 0)
            grid.addWidget(edit, row, 1)
            grid.addWidget(label("mm", quiet=True), row, 2)
            self._edits[gauge] = edit
        edits = list(self._edits.values())
        if first:
            edits[0].setText(first)
        else:
            edits[0].selectAll()
        self.setFocusProxy(edits[0])

    def eventFilter(self, watched: object, event: QEvent) -> bool:
        """Enter in any field enters all, Esc gives up, leaving them all gives up."""
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self.entered.emit({gauge: edit.text() for gauge, edit in self._edits.items()})
                return True
            if event.key() == Qt.Key.Key_Escape:
                self.given_up.emit()
                return True
        if event.type() == QEvent.Type.FocusOut:
            QTimer.singleShot(0, self._look_for_focus)
        return False

    def _look_for_focus(self) -> None:
        held = QApplication.focusWidget()
        if self.isVisible() and held not in self._edits.values():
            self.given_up.emit()


class WeekTyping:
    """Opens the fields over a :class:`WeekView` and hands on what was typed."""

    def __init__(self, view: WeekView) -> None:
        self._view = view
        self.editor: CellEditor | RainEditor | None = None

    def open(self, spot: Spot, text: str) -> None:
        """Open the field that belongs to a cell; ``text`` was typed already."""
        self.close()
        if spot.area == "body":
            self._hours(spot, text)
        elif spot.area == "rain":
            self._rain(spot, text)
        elif spot.area == "heat":
            self._heat(spot, text)

    def leave(self) -> bool:
        """Enter what is being typed; False where it was refused and stays open."""
        if isinstance(self.editor, CellEditor) and self.editor.changed:
            self.editor.entered.emit(self.editor.text())
            return self.editor is None
        self.close()
        return True

    def close(self) -> None:
        """Give up what is being typed."""
        editor, self.editor = self.editor, None
        if editor is not None:
            editor.hide()
            editor.deleteLater()

    def _box(self, spot: Spot) -> QRectF:
        layout = self._view.layout_now()
        assert layout is not None
        return layout.box(spot)

    # -- hours --------------------------------------------------------------------------------

    def _hours(self, spot: Spot, text: str) -> None:
        view, cell = self._view, self._view.ahead(spot)
        assert view.table is not None
        if cell is None:
            return
        row = view.table.rows[spot.row]
        if (cell.planned and cell.hours is None) or "flow" in row.missing:
            view.refused.emit(
                tr("Hours need the flow of {0}; type it on the block's page.").format(row.name)
            )
            return
        name = tr("Hours for {0}").format(row.name)
        editor = CellEditor(view.viewport(), text or hours(cell.hours or 0), name, bool(text))
        editor.entered.connect(lambda typed: self._entered_hours(spot, typed))
        self._show(editor, self._box(spot))

    def _entered_hours(self, spot: Spot, typed: str) -> None:
        view = self._view
        assert view.table is not None
        block, date = view.table.rows[spot.row].block_id, view.table.days[spot.day]
        if not typed.strip():
            self._end()
            view.freed.emit(block, date)
            return
        value = read_hours(typed)
        if value is None:
            view.refused.emit(
                tr("“{0}” is no number of hours from 0 to 24; type 4.25 or 4:15.").format(typed)
            )
            return
        self._end()
        view.hours_typed.emit(block, date, value)

    # -- rain, low and high -------------------------------------------------------------------

    def _rain(self, spot: Spot, text: str) -> None:
        table, parent = self._view.table, self._view.viewport()
        assert table is not None
        head = table.head[spot.day]
        held = {g: number(v) for g, v in head.rain_typed.items()}
        if len(table.gauges) == 1:
            gauge = table.gauges[0]
            shown = held.get(gauge, number(head.rain_mm) if head.rain_from == "record" else "")
            editor = CellEditor(parent, text or shown, tr("Rain, mm"), bool(text))
            editor.entered.connect(lambda typed: self._entered_rain(spot, {gauge: typed}))
            self._show(editor, self._box(spot))
            return
        many = RainEditor(parent, table.gauges, held, text)
        many.entered.connect(lambda typed: self._entered_rain(spot, typed))
        box = self._box(spot)
        self._show(many, QRectF(box.left(), box.top(), 0, 0))

    def _entered_rain(self, spot: Spot, typed: dict[str, str]) -> None:
        view = self._view
        assert view.table is not None
        head = view.table.head[spot.day]
        values: dict[str, float | None] = {}
        for gauge, text in typed.items():
            mm = read_number(text)
            if text.strip() and (mm is None or not 0 <= mm <= 500):
                view.refused.emit(tr("“{0}” is no rain in mm; type a figure.").format(text))
                return
            if mm != head.rain_typed.get(gauge) and (text.strip() or gauge in head.rain_typed):
                values[gauge] = mm
        self._end()
        if values:
            view.rain_typed.emit(head.date, values)

    def _heat(self, spot: Spot, text: str) -> None:
        view = self._view
        assert view.table is not None
        head = view.table.head[spot.day]
        known = (
            head.heat_from in ("record", "typed")
            and head.low_c is not None
            and head.high_c is not None
        )
        shown = f"{number(head.low_c)} {number(head.high_c)}" if known else ""
        name = tr("Low and high, °C, with a space between")
        editor = CellEditor(view.viewport(), text or shown, name, bool(text), placeholder="9 24")
        editor.entered.connect(lambda typed: self._entered_heat(spot, typed))
        self._show(editor, self._box(spot).adjusted(-10, 0, 10, 0))

    def _entered_heat(self, spot: Spot, typed: str) -> None:
        view = self._view
        assert view.table is not None
        pair = read_pair(typed)
        if pair is None:
            view.refused.emit(
                tr("“{0}” is no low and high; type them with a space between, as in 9 24.").format(
                    typed
                )
            )
            return
        self._end()
        view.heat_typed.emit(view.table.head[spot.day].date, *pair)

    # -- the field itself ---------------------------------------------------------------------

    def _show(self, editor: CellEditor | RainEditor, box: QRectF) -> None:
        self.editor = editor
        port, size = self._view.viewport(), editor.sizeHint()
        wide, high = max(box.width(), size.width()), max(box.height(), LINE_H + 4, size.height())
        left = box.center().x() - wide / 2 if box.width() else box.left()
        left = min(max(left, 0), port.width() - wide)
        top = box.center().y() - high / 2 if box.height() else box.top()
        editor.setGeometry(round(left), round(max(top, 0)), round(wide), round(high))
        editor.given_up.connect(self._end)
        editor.show()
        editor.setFocus()

    def _end(self) -> None:
        self.close()
        QTimer.singleShot(0, self._view, self._take_focus)

    def _take_focus(self) -> None:
        if self._view.isVisible() and self.editor is None:
            self._view.setFocus()


def read_number(text: str) -> float | None:
    """Return a figure typed with a point or a comma; None where it is none."""
    try:
        value = float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        return None
    return value if abs(value) < 1e6 else None


def read_hours(text: str) -> float | None:
    """Return hours typed as 4.25, 4,25, 4:15 or 4h15, to the quarter hour; None for anything else.

    Returns
    -------
    float or None
        [h], 0 to 24.
    """
    text = text.strip().lower().removesuffix("h").strip()
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
