"""The row to type rain, low and high of a day."""

from __future__ import annotations

import datetime as dt

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QPushButton, QVBoxLayout, QWidget

from desktop.editors import DayEdit, read_day
from desktop.models.week import gauges
from desktop.session import Session
from desktop.weather_edits import type_rain, type_temperatures
from desktop.widgets import Choice, Link, restyle, text
from desktop.wording import day_named, say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.records import FARM_GAUGE


class TypingRow(QWidget):
    """One day: rain at a gauge, low and high of the station.

    Signals
    -------
    closed()
    """

    closed = Signal()

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.station: str | None = None
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 2, 0, 2)
        box.setSpacing(2)
        row = QHBoxLayout()
        row.setSpacing(8)
        self.day = DayEdit(session.today)
        self.day.setFixedWidth(132)
        self.day.setAccessibleName(tr("Day"))
        self.gauge = Choice([], tr("Gauge"))
        self.rain, self.low, self.high = (QLineEdit() for _ in range(3))
        for edit, name in ((self.rain, tr("Rain, mm")), (self.low, tr("Low, °C")),
                           (self.high, tr("High, °C"))):  # fmt: skip
            edit.setFixedWidth(64)
            edit.setAccessibleName(name)
            edit.returnPressed.connect(self.store)
        self.store_button = QPushButton(tr("Store"))
        self.store_button.clicked.connect(self.store)
        row.addWidget(self.day)
        row.addSpacing(10)
        row.addWidget(text(tr("rain")))
        row.addWidget(self.rain)
        row.addWidget(text(tr("mm at"), quiet=True))
        row.addWidget(self.gauge)
        row.addSpacing(10)
        row.addWidget(text(tr("low")))
        row.addWidget(self.low)
        row.addWidget(text(tr("high")))
        row.addWidget(self.high)
        row.addWidget(text("°C", quiet=True))
        row.addSpacing(6)
        row.addWidget(self.store_button)
        row.addWidget(Link(tr("Close"), self.closed.emit))
        row.addStretch(1)
        box.addLayout(row)
        self.problem = text("", wrap=True)
        self.problem.setProperty("role", "wrong")
        self.problem.hide()
        box.addWidget(self.problem)

    def open(self, station: str | None, date: dt.date | None = None) -> None:
        """Get ready for a day (yesterday by default)."""
        self.station = station
        self.day.today = self.session.today
        day = date or self.session.today - dt.timedelta(days=1)
        self.day.set_iso(day.isoformat())
        chosen = self.gauge.value()
        self.gauge.clear()
        if self.session.data is not None:
            for name in gauges(self.session.data.orchard):
                self.gauge.addItem(tr("the farm's gauge") if name == FARM_GAUGE else name, name)
        self.gauge.set_value(chosen or FARM_GAUGE)
        for edit in (self.rain, self.low, self.high):
            edit.clear()
        self.problem.hide()
        self.show()
        self.rain.setFocus()

    def store(self) -> None:
        """Store what is filled in; each is one step that can be taken back."""
        date = read_day(self.day.text(), self.session.today)
        figures = [self._figure(e) for e in (self.rain, self.low, self.high)]
        if date is None or any(f == "wrong" for f in figures):
            self._say(tr("Type a day and plain figures.") if date is None else "")
            return
        rain, low, high = (None if isinstance(f, str) else f for f in figures)
        if rain is None and low is None and high is None:
            self.rain.setFocus()
            return
        self.problem.hide()
        if rain is not None:
            type_rain(self.session, date, self.gauge.value(), rain, failed=self._failed,
                      done=lambda _: self._stored(date))  # fmt: skip
        if low is not None or high is not None:
            type_temperatures(self.session, date, low, high, self.station, failed=self._failed,
                              done=lambda _: self._stored(date))  # fmt: skip

    def _stored(self, date: dt.date) -> None:
        self.session.told.emit(tr("Typed for {0}.").format(day_named(date)))
        for edit in (self.rain, self.low, self.high):
            edit.clear()
        self.rain.setFocus()

    def _figure(self, edit: QLineEdit) -> float | str | None:
        typed = edit.text().strip().replace(",", ".")
        wrong = False
        value: float | str | None = None
        if typed:
            try:
                value = float(typed)
            except ValueError:
                wrong, value = True, "wrong"
        edit.setProperty("wrong", "true" if wrong else "")
        restyle(edit)
        return value

    def _failed(self, error: WaterBudgetError) -> None:
        self._say(say(error))

    def _say(self, words: str) -> None:
        self.problem.setText(words)
        self.problem.setVisible(bool(words))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape closes the row."""
        if event.key() == Qt.Key.Key_Escape:
            self.closed.emit()
        else:
            super().keyPressEvent(event)
