"""Days to check: what came and is odd, what stands in; and days that are missing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

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
from desktop.models.weather import (
    Finding,
    WeatherView,
    made_words,
    quantity_unit,
    quantity_word,
)
from desktop.widgets import Link, rule, text
from desktop.wording import day_named, day_short, fixed, number, tr, word

WIDTHS = (30, 128, 300, 210, 190)
MOST = 80


@dataclass(frozen=True)
class Gap:
    """Days that are missing in the record."""

    first: dt.date
    last: dt.date
    late: bool


def gaps_of(view: WeatherView, days: int = 400) -> list[Gap]:
    """Return the gaps of the last ``days`` days, newest first; ``late``: the record just ends."""
    found = []
    for a, b in view.gaps():
        if view.past - b <= days:
            late = view.record_last is None or view.date(a) > view.record_last
            found.append(Gap(view.date(a), view.date(b), late))
    return found[::-1]


class Badge(QWidget):
    """The number of a row, as it stands on the chart."""

    def __init__(self, number_text: str) -> None:
        super().__init__()
        self.words = number_text
        self.setFixedSize(20, 20)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw a disc with the number, or a dotted square for days that are missing."""
        painter, c = QPainter(self), theme.colours()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if not self.words:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
            box = QRectF(3, 3, 13, 13)
            painter.fillRect(box, theme.hatch("missing", c.ink))
            painter.setPen(QColor(c.ink))
            painter.drawRect(box)
            return
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(c.ink))
        painter.drawEllipse(QPointF(10, 10), 9, 9)
        painter.setPen(QColor(c.paper))
        painter.setFont(theme.font(theme.SMALL, bold=True))
        painter.drawText(QRectF(0, 0, 20, 20), Qt.AlignmentFlag.AlignCenter, self.words)


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
        self.grid.setColumnStretch(4, 2)
        self.buttons = QHBoxLayout()
        self.buttons.setSpacing(10)
        self.grid.addLayout(self.buttons, 0, 5, 2, 1, Qt.AlignmentFlag.AlignVCenter)
        self.grid.setColumnMinimumWidth(5, 210)

    def put(self, column: int, first: QWidget | str, second: str = "") -> None:
        """Put two lines of text into a column."""
        upper = text(first) if isinstance(first, str) else first
        self.grid.addWidget(upper, 0, column)
        if second:
            self.grid.addWidget(text(second, theme.SMALL, quiet=True, wrap=True), 1, column)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Show the day above."""
        self.chosen.emit()


class Checks(QWidget):
    """The list.

    Signals
    -------
    accept(list of Finding), corrected(Finding, float), rain_wanted(date), day_wanted(date)
    """

    accept = Signal(object)
    corrected = Signal(object, float)
    rain_wanted = Signal(object)
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
        for column, words in ((1, tr("day")), (2, tr("what came, and why it is odd")),
                              (3, tr("what stands in")), (4, tr("ET0 as used"))):  # fmt: skip
            self.head.grid.addWidget(text(words, theme.SMALL, quiet=True), 0, column)
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

    def fill(
        self, view: WeatherView, findings: Sequence[Finding], gaps: Sequence[Gap], *,
        editable: bool,
    ) -> None:  # fmt: skip
        """Show what is to be checked."""
        while (item := self.list.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self.rows = []
        for at, finding in enumerate(findings[:MOST], start=1):
            self._add(self._finding(view, at, finding, editable))
        for gap in gaps[: MOST - len(self.rows)]:
            self._add(self._gap(view, gap, editable))
        if not self.rows:
            self.list.addWidget(
                text(tr("Nothing to check: every day that came is used as it came."), quiet=True)
            )
        self.head.setVisible(bool(self.rows))
        self.list.addStretch(1)

    def _add(self, row: Row) -> None:
        self.rows.append(row)
        self.list.addWidget(row)
        self.list.addWidget(rule())

    def _finding(self, view: WeatherView, at: int, item: Finding, editable: bool) -> Row:
        row = Row()
        row.chosen.connect(lambda: self.day_wanted.emit(item.date))
        row.put(0, Badge(str(at)))
        row.put(1, text(day_named(item.date), bold=True), str(item.date.year))
        row.put(2, _came(item), word(f"weather.flag.{item.what}"))
        unit = quantity_unit(item.quantity)
        used = tr("{0} {1}").format(number(item.used, 2), unit) if item.used is not None else ""
        row.put(3, text(used or tr("nothing"), bold=True))
        day = view.day(item.date)
        if 0 <= day < view.days:
            row.put(4, text(fixed(float(view.et0[day])), bold=True), made_words(view.made[day]))
        if editable:
            self._finding_actions(row, item)
        row.setAccessibleName(f"{day_named(item.date)}: {word(f'weather.flag.{item.what}')}")
        return row

    def _finding_actions(self, row: Row, item: Finding) -> None:
        row.buttons.addStretch(1)
        line = QLineEdit()
        line.setFixedWidth(70)
        line.setPlaceholderText(quantity_unit(item.quantity))
        line.setAccessibleName(tr("Right figure, {0}").format(quantity_word(item.quantity)))
        line.hide()
        link = Link(tr("Correct"), lambda: _open(link, line))
        line.returnPressed.connect(lambda: self._correct(item, line))
        button = QPushButton(tr("Accept"))
        button.clicked.connect(lambda: self.accept.emit([item]))
        if item.quantity:
            row.buttons.addWidget(line)
            row.buttons.addWidget(link)
        row.buttons.addWidget(button)

    def _correct(self, item: Finding, line: QLineEdit) -> None:
        try:
            value = float(line.text().replace(",", "."))
        except ValueError:
            line.selectAll()
            return
        self.corrected.emit(item, value)

    def _gap(self, view: WeatherView, gap: Gap, editable: bool) -> Row:
        row = Row()
        row.chosen.connect(lambda: self.day_wanted.emit(gap.last))
        row.put(0, Badge(""))
        same = gap.first == gap.last
        days = (gap.last - gap.first).days + 1
        name = day_named(gap.first) if same else tr("{0} to {1}").format(
            day_short(gap.first), day_short(gap.last)
        )  # fmt: skip
        row.put(1, text(name, bold=True), tr("{0} days").format(days) if not same else "")
        why = tr("not in the record yet") if gap.late else tr("missing in the record")
        row.put(2, tr("nothing came"), why)
        day = view.day(gap.first)
        rain = view.rain[day : day + days]
        known = int((rain == rain).sum())
        row.put(
            3,
            text(
                tr("rain counted 0") if not known else tr("rain known on {0}").format(known),
                bold=True,
            ),
        )
        row.put(4, text(fixed(float(view.et0[day])), bold=True),
                made_words(view.made[day], view.rule[day]))  # fmt: skip
        row.buttons.addStretch(1)
        if editable:
            want = partial(self.rain_wanted.emit, gap.first)
            row.buttons.addWidget(Link(tr("Type rain, low and high"), want))
        return row


def _open(link: Link, line: QLineEdit) -> None:
    link.hide()
    line.show()
    line.setFocus()


def _came(item: Finding) -> QLabel:
    if item.value in (None, "", "None"):
        return text(quantity_word(item.quantity) or tr("the day"))
    words = tr("{0} {1} {2}").format(quantity_word(item.quantity), item.value,
                                     quantity_unit(item.quantity))  # fmt: skip
    label = text(words.strip())
    try:
        taken = item.used is not None and abs(float(item.value) - item.used) < 1e-6
    except (TypeError, ValueError):
        taken = False
    if not taken:
        font = label.font()
        font.setStrikeOut(True)
        label.setFont(font)
        label.setProperty("role", "wrong")
    return label
