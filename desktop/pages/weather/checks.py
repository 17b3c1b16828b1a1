"""Days to check, those that would move a block most first: what came and what stands in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.models.weather import made_words, quantity_unit, quantity_word
from desktop.widgets import Link, rule, text
from desktop.wording import day_named, day_short, fixed, number, tr, word

if TYPE_CHECKING:
    from waterbudget.season import DayToCheck, Doubt

WIDTHS = (26, 116, 220, 190, 152, 150)
BUTTONS = 176
MOST = 80
SHOWN_FIGURES = 3
BIG_MM = 1.0
"""A row that moves a block by this much is worth a look of its own."""


class Badge(QWidget):
    """The number of a row, as it stands on the chart."""

    def __init__(self, number_text: str) -> None:
        super().__init__()
        self.words = number_text
        self.setFixedSize(22, 22)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw a disc with the number."""
        painter, c = QPainter(self), theme.colours()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(c.ink))
        painter.drawEllipse(QPointF(11, 11), 10, 10)
        painter.setPen(QColor(c.paper))
        painter.setFont(theme.font(theme.SMALL, bold=True))
        painter.drawText(QRectF(0, 0, 22, 22), Qt.AlignmentFlag.AlignCenter, self.words)


class Row(QWidget):
    """One line of the list.

    Signals
    -------
    chosen()
    """

    chosen = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.grid = QGridLayout(self)
        self.grid.setContentsMargins(0, 3, 0, 3)
        self.grid.setHorizontalSpacing(12)
        self.grid.setVerticalSpacing(0)
        for column, width in enumerate(WIDTHS):
            self.grid.setColumnMinimumWidth(column, width)
        self.grid.setColumnStretch(2, 3)
        self.grid.setColumnStretch(3, 2)
        self.grid.setColumnStretch(5, 2)
        self.buttons = QHBoxLayout()
        self.buttons.setSpacing(10)
        self.grid.addLayout(self.buttons, 0, 6, 2, 1, Qt.AlignmentFlag.AlignVCenter)
        self.grid.setColumnMinimumWidth(6, BUTTONS)

    def put(self, column: int, first: QWidget | str, second: QWidget | str = "") -> None:
        """Put two lines into a column."""
        upper = text(first) if isinstance(first, str) else first
        self.grid.addWidget(upper, 0, column, Qt.AlignmentFlag.AlignTop)
        if second:
            lower = second if isinstance(second, QWidget) else text(
                second, theme.SMALL, quiet=True, wrap=True
            )  # fmt: skip
            self.grid.addWidget(lower, 1, column, Qt.AlignmentFlag.AlignTop)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Show the day above."""
        self.chosen.emit()


class Checks(QWidget):
    """The list.

    Signals
    -------
    accept(list of DayToCheck), corrected(DayToCheck, float), swapped(DayToCheck),
    days_wanted(date) to correct in the table of all days, rain_wanted(date), wait(DayToCheck),
    day_wanted(date)
    """

    accept = Signal(object)
    corrected = Signal(object, float)
    swapped = Signal(object)
    days_wanted = Signal(object)
    rain_wanted = Signal(object)
    wait = Signal(object)
    day_wanted = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[Row] = []
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(2)
        self.head = Row()
        self.head.grid.addWidget(QWidget(), 0, 0)
        self.head.buttons.addWidget(QWidget())
        heads = (tr("day"), tr("what came, and why it is odd"), tr("what stands in"),
                 tr("ET0 as sent, as used"), tr("would move today's water by"))  # fmt: skip
        for column, words in enumerate(heads, start=1):
            self.head.grid.addWidget(text(words, theme.SMALL, quiet=True), 0, column)
        self.head.grid.setContentsMargins(0, 3, 20, 3)  # margin and scroll bar of the list
        box.addWidget(self.head)
        box.addWidget(rule())
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inside = QWidget()
        self.list = QVBoxLayout(inside)
        self.list.setContentsMargins(0, 0, 10, 0)
        self.list.setSpacing(0)
        scroll.setWidget(inside)
        box.addWidget(scroll, 1)

    def fill(self, found: Sequence[DayToCheck], *, editable: bool) -> None:
        """Show what is to be checked, in the order given."""
        while (item := self.list.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self.rows = []
        for at, check in enumerate(found[:MOST], start=1):
            row = self._row(at, check, editable)
            self.rows.append(row)
            self.list.addWidget(row)
            self.list.addWidget(rule())
        if len(found) > MOST:
            self.list.addWidget(text(tr("{0} more, which move less.").format(len(found) - MOST),
                                     quiet=True))  # fmt: skip
        if not self.rows:
            self.list.addWidget(
                text(tr("Nothing to check: every day that came is used as it came."), quiet=True)
            )
        self.head.setVisible(bool(self.rows))
        self.list.addStretch(1)

    def _row(self, at: int, check: DayToCheck, editable: bool) -> Row:
        row = Row()
        row.chosen.connect(lambda: self.day_wanted.emit(check.dates[-1]))
        row.put(0, Badge(str(at)))
        count = len(check.dates)
        under = str(check.dates[-1].year) if count == 1 else tr("{0} days").format(count)
        row.put(1, text(days_words(check), bold=True), under)
        row.put(2, came_label(check), word(f"weather.flag.{check.what}"))
        stands, how = stands_in_words(check)
        row.put(3, text(stands, bold=True, wrap=True), how)
        if _only_rain(check):
            row.put(4, text(tr("no part in ET0"), theme.SMALL, quiet=True))
        else:
            row.put(4, _sent(check), text(_figures(check.et0_used), bold=True))
        row.put(5, text(tr("{0} mm").format(fixed(check.moves_mm)), bold=True), moved_words(check))
        if editable:
            self._actions(row, check)
        row.setAccessibleName(f"{days_words(check)}: {word(f'weather.flag.{check.what}')}")
        return row

    def _actions(self, row: Row, check: DayToCheck) -> None:
        row.buttons.addStretch(1)
        if check.missing:
            row.buttons.addWidget(Link(tr("Type it"),
                                       lambda: self.rain_wanted.emit(check.dates[-1])))  # fmt: skip
            wait = QPushButton(tr("Wait"))
            wait.setToolTip(tr("Leaves it off the list until the farm is opened again."))
            wait.clicked.connect(lambda: self.wait.emit(check))
            row.buttons.addWidget(wait)
            return
        if check.by == "swapped" and check.et0_sent != (None,) * len(check.dates):
            row.buttons.addWidget(Link(tr("Swap"), lambda: self.swapped.emit(check)))
        self._correcting(row, check)
        accept = QPushButton(tr("Accept"))
        accept.clicked.connect(lambda: self.accept.emit([check]))
        row.buttons.addWidget(accept)

    def _correcting(self, row: Row, check: DayToCheck) -> None:
        """One figure is typed here, several in the table of all days."""
        if len(check.came) != 1 or not check.came[0].quantity:
            row.buttons.addWidget(Link(tr("Correct"),
                                       lambda: self.days_wanted.emit(check.dates[0])))  # fmt: skip
            return
        quantity = check.came[0].quantity
        line = QLineEdit()
        line.setFixedWidth(64)
        line.setPlaceholderText(quantity_unit(quantity))
        line.setAccessibleName(tr("Right figure, {0}").format(quantity_word(quantity)))
        line.hide()
        link = Link(tr("Correct"), lambda: _open(link, line))
        line.returnPressed.connect(lambda: self._correct(check, line))
        row.buttons.addWidget(line)
        row.buttons.addWidget(link)

    def _correct(self, check: DayToCheck, line: QLineEdit) -> None:
        try:
            value = float(line.text().replace(",", "."))
        except ValueError:
            line.selectAll()
            return
        self.corrected.emit(check, value)


def _open(link: Link, line: QLineEdit) -> None:
    link.hide()
    line.show()
    line.setFocus()


def days_words(check: DayToCheck) -> str:
    """Return the day or days of a row, in words."""
    first, last = check.dates[0], check.dates[-1]
    if first == last:
        return day_named(first)
    if (last - first) == dt.timedelta(days=1):
        return tr("{0} and {1}").format(day_short(first), day_short(last))
    return tr("{0} to {1}").format(day_short(first), day_short(last))


def _only_rain(check: DayToCheck) -> bool:
    return check.what == "rain_gap" or (
        bool(check.came) and all(d.quantity == "rain_mm" for d in check.came)
    )


def _kept(doubt: Doubt) -> bool:
    """Whether the figure is used as it came."""
    try:
        return doubt.used is not None and abs(float(doubt.value or "") - doubt.used) < 1e-6
    except ValueError:
        return False


def came_label(check: DayToCheck) -> QLabel:
    """Return what came, struck through where it is not used."""
    came = [d for d in check.came if d.value is not None]
    if not came:
        if not check.came:
            return text(tr("nothing came"))
        return text(quantity_word(check.came[0].quantity) or tr("the day"))
    words = []
    for quantity in dict.fromkeys(d.quantity for d in came):
        values = list(dict.fromkeys(_short(d.value) for d in came if d.quantity == quantity))
        shown = ", ".join(values[:SHOWN_FIGURES]) + (" …" if len(values) > SHOWN_FIGURES else "")
        words.append(f"{quantity_word(quantity)} {shown} {quantity_unit(quantity)}".strip())
    label = text(", ".join(words), wrap=True)
    if not all(_kept(d) for d in came):
        font = label.font()
        font.setStrikeOut(True)
        label.setFont(font)
        label.setProperty("role", "wrong")
    return label


def _short(value: str | None) -> str:
    try:
        return number(float(value or ""), 2)
    except ValueError:
        return value or ""


def stands_in_words(check: DayToCheck) -> tuple[str, str]:
    """Return what stands in, and how it was made."""
    used = [d for d in check.came if d.used is not None]
    if used:
        first = used[0]
        unit = quantity_unit(first.quantity)
        how = tr("used as it came") if _kept(first) else ""
        return f"{number(first.used or 0.0, 2)} {unit}".strip(), how
    known = [r for r in check.rain_used if r is not None]
    rain = tr("rain {0} mm").format(number(sum(known), 1)) if known else tr("rain counted 0")
    if _only_rain(check):
        return rain, ""
    made = check.made_from[-1]
    how = made_words(made, check.stand_in_rule[-1])
    if check.filled_from:
        how = tr("filled from {0}").format(", ".join(check.filled_from))
    stands = tr("{0} mm").format(_figures(check.et0_used))
    return (tr("{0}, {1}").format(stands, rain) if check.missing else stands), how


def _figures(values: Sequence[float | None]) -> str:
    words = [fixed(v) if v is not None else "–" for v in values]
    if len(set(words)) == 1:
        return words[0]
    return ", ".join(words[:SHOWN_FIGURES]) + (" …" if len(words) > SHOWN_FIGURES else "")


def _sent(check: DayToCheck) -> QLabel:
    """Return reference ET with what came, struck through; "none" where there is none."""
    if all(v is None for v in check.et0_sent):
        return text(tr("none"), quiet=True)
    if check.by == "swapped":
        return text(tr("{0} swapped").format(_figures(check.et0_sent)))
    label = text(_figures(check.et0_sent))
    if check.by != "without":
        font = label.font()
        font.setStrikeOut(True)
        label.setFont(font)
        label.setProperty("role", "wrong")
    return label


def moved_words(check: DayToCheck) -> str:
    """Return which block is moved, and by what that was found."""
    if not check.blocks:
        return word(f"days.by.{check.by}") if check.by == "old" else tr("no block")
    names = check.blocks[0][0]
    if check.by == "rain_5mm":
        return tr("for each 5 mm of rain, {0}").format(names)
    if check.by == "et0_band":
        return tr("if ET0 is as far off as it may be, {0}").format(names)
    if len(check.blocks) > 1 and abs(check.blocks[1][1]) >= 0.05:
        name, mm = check.blocks[1]
        return tr("{0}; {1}: {2}").format(names, name, fixed(abs(mm)))
    return names
