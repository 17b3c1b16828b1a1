"""The weather page: years as strips, some days in detail, and below them what is to be checked,
all days, and the forecasts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QStackedWidget, QVBoxLayout, QWidget

from desktop import theme
from desktop.charts import StationDays, YearStrips, past_ink
from desktop.exports import ask_and_write
from desktop.flow import Flow, Part, parts
from desktop.lazy import WhenShown
from desktop.models.weather import DaysTable, Finding, WeatherView, forecast_rows, weather_view
from desktop.pages.weather.checks import BIG_MM, Checks
from desktop.pages.weather.tables import DaysView, ForecastTable
from desktop.pages.weather.typing_row import TypingRow
from desktop.session import Session
from desktop.weather_edits import accept_checks, correct_day, correct_days, type_rain
from desktop.widgets import Link, Tab, paint_mark, text
from desktop.wording import day_named, day_short, number, say, thousands, tr
from waterbudget.errors import WaterBudgetError

if TYPE_CHECKING:
    from waterbudget.season import DayToCheck, Season

WINDOW = 40
STALE_DAYS = 1


class Legend(QWidget):
    """The grammar of certainty, in one line."""

    def __init__(self) -> None:
        super().__init__()
        self.setFixedHeight(18)
        self.items = (
            ("dot", tr("measured")), ("ring", tr("stands in")), ("cross", tr("came, not used")),
            ("other", tr("from another reading")), ("default", tr("assumed")),
            ("missing", tr("missing, stood in")), ("line", tr("most the sun can give here")),
        )  # fmt: skip
        self.setAccessibleName(", ".join(words for _, words in self.items))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw mark and words, one after the other."""
        painter, c = QPainter(self), theme.colours()
        font = theme.font(theme.SMALL)
        x = 0.0
        for kind, words in self.items:
            x = self._mark(painter, kind, x)
            painter.setFont(font)
            painter.setPen(QColor(c.quiet))
            painter.drawText(QRectF(x, 0, 400, 18), Qt.AlignmentFlag.AlignVCenter, words)
            x += QFontMetrics(font).horizontalAdvance(words) + 18

    @staticmethod
    def _mark(painter: QPainter, kind: str, x: float) -> float:
        c = theme.colours()
        painter.save()
        if kind in ("dot", "ring"):
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(QColor(c.ink) if kind == "ring" else Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.ink if kind == "dot" else c.paper))
            painter.drawEllipse(QRectF(x + 1, 6, 5, 5) if kind == "dot" else QRectF(x, 5.5, 6, 6))
            wide = 12.0
        elif kind == "cross":
            theme.paint_cross(painter, QRectF(x, 5, 8, 8), past_ink())
            wide = 14.0
        elif kind == "line":
            painter.setPen(QColor(c.quiet))
            for i in range(5):
                painter.drawLine(int(x + i * 4), 9, int(x + i * 4 + 1), 9)
            wide = 24.0
        else:
            paint_mark(painter, QRectF(x, 4, 18, 10), kind)
            wide = 24.0
        painter.restore()
        return x + wide


class WeatherPage(QWidget):
    """Records, gaps, how each day was made, typed rain, forecasts.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.station: str | None = None
        self.view: WeatherView | None = None
        self.found: tuple[DayToCheck, ...] = ()
        self.waiting: set[tuple[str, tuple[dt.date, ...]]] = set()
        self.end, self.length = 0, WINDOW
        self.model = DaysTable()
        self._build()
        self._join()
        if session.season is not None:
            self._refresh()

    # -- building ------------------------------------------------------------------------

    def _build(self) -> None:
        box = QVBoxLayout(self)
        box.setContentsMargins(16, 10, 16, 6)
        box.setSpacing(3)
        box.addLayout(self._head())
        self.facts = text("", quiet=True)
        box.addWidget(self.facts)
        self.sentence = Flow(self._click)
        box.addWidget(self.sentence)
        self.typing = TypingRow(self.session)
        self.typing.hide()
        box.addWidget(self.typing)
        self.legend = Legend()
        self.years, self.days = YearStrips(), StationDays()
        for widget in (self.legend, self.years, self.days):
            box.addWidget(widget)
        box.addLayout(self._tabs())
        self.checks, self.table, self.forecasts = Checks(), DaysView(self.model), ForecastTable()
        self.stack = QStackedWidget()
        for below in (self.checks, self.table, self.forecasts):
            self.stack.addWidget(below)
        box.addWidget(self.stack, 1)
        self.problem = text("", wrap=True)
        self.problem.setProperty("role", "wrong")
        self.problem.hide()
        box.addWidget(self.problem)
        self.setFocusProxy(self.days)

    def _head(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(12)
        row.addWidget(text(tr("Weather"), theme.TITLE, bold=True))
        self.stations = QHBoxLayout()
        self.stations.setSpacing(2)
        row.addLayout(self.stations)
        row.addStretch(1)
        for words, do in (
            (tr("Type rain or low and high"), self._type),
            (tr("Add records"), lambda: self.navigate("import", kind="weather")),
            (tr("Add a forecast"), lambda: self.navigate("import", kind="forecast")),
            (tr("Export as CSV"), self._export),
        ):  # fmt: skip
            row.addWidget(Link(words, do), 0, Qt.AlignmentFlag.AlignBottom)
        return row

    def _tabs(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setContentsMargins(-8, 0, 0, 0)
        row.setSpacing(2)
        self.check_tab, self.days_tab = (
            Tab(tr("Days to check"), theme.BODY),
            Tab(tr("All days"), theme.BODY),
        )
        self.forecast_tab = Tab(tr("Forecasts"), theme.BODY)
        for at, tab in enumerate((self.check_tab, self.days_tab, self.forecast_tab)):
            tab.setFixedHeight(30)
            tab.clicked.connect(partial(self.show_tab, at))
            row.addWidget(tab)
        self.check_tab.setChecked(True)
        row.addStretch(1)
        self.accept_link = Link(tr("Accept all"), self._accept_all)
        row.addWidget(self.accept_link)
        return row

    def _join(self) -> None:
        session = self.session
        session.season_changed.connect(WhenShown(self, self._refresh).ask)
        self.years.window_wanted.connect(lambda end: self.set_window(end, self.length))
        self.days.window_wanted.connect(self.set_window)
        self.days.day_chosen.connect(self._day_chosen)
        self.table.day_moved.connect(self._row_moved)
        self.typing.closed.connect(self._close_typing)
        self.checks.accept.connect(partial(accept_checks, session))
        self.checks.corrected.connect(self._correct)
        self.checks.swapped.connect(self._swap)
        self.checks.days_wanted.connect(self._correct_in_table)
        self.checks.rain_wanted.connect(self._type)
        self.checks.wait.connect(self._wait)
        self.checks.day_wanted.connect(self._show_date)
        self.model.typed.connect(self._typed)

    # -- what is shown -------------------------------------------------------------------

    def show_what(
        self, *, station: str | None = None, date: dt.date | None = None, tab: str = "", **_: Any
    ) -> None:  # fmt: skip
        """Show a station, a day, a tab (``check``, ``days``, ``forecasts``), or ``tab="type"``."""
        if station is not None and station != self.station:
            self.station = station
            self._refresh()
        if date is not None:
            self._show_date(date)
        if tab in ("check", "days", "forecasts"):
            self.show_tab(("check", "days", "forecasts").index(tab))
        elif tab == "type":
            self._type(date)

    def show_tab(self, at: int) -> None:
        """Show days to check, all days or forecasts."""
        (self.check_tab, self.days_tab, self.forecast_tab)[at].setChecked(True)
        self.stack.setCurrentIndex(at)
        others = self._others()
        words = tr("Accept all") if len(others) == len(self._open_findings()) else tr(
            "Accept the other {0}"
        ).format(len(others))  # fmt: skip
        self.accept_link.setText(words)
        self.accept_link.updateGeometry()
        self.accept_link.setVisible(at == 0 and len(others) > 1 and self.session.at_today)

    def set_window(self, end: int, length: int) -> None:
        """Show ``length`` days up to ``end``."""
        if self.view is None:
            return
        self.length = length
        self.end = min(max(end, min(length, self.view.days)), self.view.days)
        self.years.set_window(self.end, length)
        self.days.set_window(self.end, length)

    def _refresh(self) -> None:
        season, data = self.session.season, self.session.data
        if season is None or data is None:
            return
        names = [s.name for s in data.orchard.stations]
        if self.station not in names:
            default = data.orchard.default_station
            self.station = default if default in names else (names[0] if names else None)
        self._show_stations(names)
        before = self.view
        self.view = weather_view(season, data, self.station) if self.station is not None else None
        at_end = before is None or self.view is None or before.station != self.view.station
        self.model.set_view(self.view, data, editable=self.session.at_today)
        self.years.set_view(self.view)
        self.days.set_view(self.view)
        rows = forecast_rows(data, self.station) if self.station is not None else []
        self.forecasts.fill(rows)
        self.forecast_tab.setText(tr("Forecasts ({0})").format(len({r.issued for r in rows})))
        self.forecast_tab.updateGeometry()
        if self.view is not None:
            self.set_window(self.view.days if at_end else self.end, self.length)
        for widget in (self.legend, self.years, self.days, self.stack):
            widget.setVisible(self.view is not None)
        for tab in (self.check_tab, self.days_tab, self.forecast_tab):
            tab.setVisible(self.view is not None)
        self._ask_findings(at_end)

    def _show_stations(self, names: list[str]) -> None:
        while (item := self.stations.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        if len(names) < 2:
            return
        for name in names:
            tab = Tab(name, theme.BODY)
            tab.setFixedHeight(32)
            tab.setChecked(name == self.station)
            tab.clicked.connect(partial(self._choose_station, name))
            self.stations.addWidget(tab)

    def _choose_station(self, name: str) -> None:
        self.station = name
        self._refresh()

    def _ask_findings(self, first: bool) -> None:
        view, season = self.view, self.session.season
        if view is None or season is None or not view.station_id:
            self._show_findings([], (), first=first)
            return
        number_, name = view.station_id, view.station

        def done(answer: tuple[list[Finding], tuple[DayToCheck, ...]]) -> None:
            if self.view is not None and self.view.station_id == number_:
                self._show_findings(*answer, first=first)

        self.session.query(lambda file: _look(file, number_, name, season), done, key="findings")

    def _show_findings(
        self, findings: list[Finding], found: tuple[DayToCheck, ...], *, first: bool = False
    ) -> None:
        self.model.set_findings(findings)
        self.found = tuple(c for c in found if (c.station, c.dates) not in self.waiting)
        self.days.set_marks([(c.dates[0], c.dates[-1]) for c in self.found])
        self.checks.fill(self.found, editable=self.session.at_today)
        count = len(self.found)
        words = tr("Days to check ({0})").format(count) if count else tr("Days to check")
        self.check_tab.setText(words)
        self.check_tab.updateGeometry()
        if first:  # where nothing is to be checked the days themselves are shown
            self.show_tab(0 if count else 1)
        else:
            self.show_tab(self.stack.currentIndex())
        self._tell()

    def _open_findings(self) -> list[DayToCheck]:
        """Rows on which something came, so that it can be accepted."""
        return [c for c in self.found if not c.missing]

    def _others(self) -> list[DayToCheck]:
        """Rows that may be accepted in one go: those that move little, else all of them."""
        small = [c for c in self._open_findings() if c.moves_mm < BIG_MM]
        return small or self._open_findings()

    def _tell(self) -> None:
        view, data = self.view, self.session.data
        if view is None or data is None:
            self.facts.setText("")
            self.sentence.set_parts(
                parts(
                    tr(
                        "There is no weather station yet. {add}, or {type}: a farm without a "
                        "station can type rain, low and high."
                    ),
                    {
                        "add": Part(tr("Bring in a station file"), "import"),
                        "type": Part(tr("type them"), "type"),
                    },
                )
            )
            return
        self.facts.setText(facts_of(view))
        self.sentence.set_parts(self._sentence(view))

    def _sentence(self, view: WeatherView) -> list[Part]:
        told: list[Part] = []
        season = self.session.season
        if view.record_last is None:
            told += parts(tr("Nothing has come from this station. "), {})
        elif season is not None and (season.on - view.record_last).days > STALE_DAYS:
            told += parts(tr("The station has sent nothing since {day}. "),
                          {"day": day_named(view.record_last)})  # fmt: skip
        else:
            told += parts(tr("The record reaches to yesterday. "), {})
        entries = self._open_findings()
        big = sum(c.moves_mm >= BIG_MM for c in entries)
        if len(entries) == 1:
            told += parts(tr("{one} is to be checked. "), {"one": Part(tr("One entry"), "check")})
        elif entries:
            words = Part(tr("{0} entries").format(len(entries)), "check")
            if big > 1:
                told += parts(tr("Of {entries} to check, {big} move a block by 1 mm or more. "),
                              {"entries": words, "big": number(big, 0)})  # fmt: skip
            elif big:
                told += parts(tr("Of {entries} to check, one moves a block by 1 mm or more. "),
                              {"entries": words})  # fmt: skip
            else:
                told += parts(tr("{entries} are to be checked; none moves a block by 1 mm. "),
                              {"entries": words})  # fmt: skip
        gaps = [c for c in self.found if c.missing and c.what != "rain_gap"]
        if gaps:
            days = sum(len(c.dates) for c in gaps)
            filled = sum(len(c.dates) for c in gaps if c.filled_from)
            words = Part(tr("{0} days").format(days), "check")
            if days == 1:
                told += parts(tr("{one} is missing and stood in."),
                              {"one": Part(tr("One day"), "check")})  # fmt: skip
            elif filled == days:
                told += parts(tr("{days} are missing and filled from a neighbour station."),
                              {"days": words})  # fmt: skip
            else:
                told += parts(tr("{days} are missing and stood in."), {"days": words})
        return told

    def _click(self, key: str) -> None:
        if key == "check":
            self.show_tab(0)
        elif key == "type":
            self._type()
        elif key == "import":
            self.navigate("import", kind="weather")

    def _show_date(self, date: dt.date) -> None:
        if self.view is not None:
            day = self.view.day(date)
            if not self.end - self.length <= day < self.end:
                self.set_window(day + self.length // 2, self.length)
            self.days.chosen = day
            self.days.update()

    def _day_chosen(self, day: int) -> None:
        if self.stack.currentWidget() is self.table and self.view is not None:
            row = max(self.model.row_of(day), 0)
            index = self.model.index(row, max(self.table.currentIndex().column(), 0))
            self.table.setCurrentIndex(index)

    def _row_moved(self, date: dt.date) -> None:
        self._show_date(date)

    # -- edits ---------------------------------------------------------------------------

    def _type(self, date: object = None) -> None:
        self.typing.open(self.station, date if isinstance(date, dt.date) else None)

    def _close_typing(self) -> None:
        self.typing.hide()
        self.days.setFocus()

    def _typed(self, date: dt.date, column: str, value: float | None) -> None:
        self.problem.hide()
        if column.startswith("gauge:"):
            type_rain(self.session, date, column.removeprefix("gauge:"), value, failed=self._failed)
        elif self.view is not None:
            correct_day(self.session, self.view.station_id, date, column, value,
                        tr("typed over in the table"), failed=self._failed)  # fmt: skip

    def _correct(self, check: DayToCheck, value: float) -> None:
        if self.view is not None and check.came[0].quantity:
            correct_day(self.session, self.view.station_id, check.dates[0],
                        check.came[0].quantity, value, tr("checked"), settles=check.ids,
                        failed=self._failed)  # fmt: skip

    def _swap(self, check: DayToCheck) -> None:
        """Put low and high the right way round, in one step."""
        other = {"tmax_c": "tmin_c", "tmin_c": "tmax_c"}
        figures = [(d.date, other[d.quantity], float(d.value)) for d in check.came
                   if d.quantity in other and d.value is not None]  # fmt: skip
        if self.view is not None and figures:
            label = tr("low and high of {0}").format(day_named(check.dates[0]))
            correct_days(self.session, self.view.station_id, figures, tr("were swapped"), label,
                         settles=check.ids, failed=self._failed)  # fmt: skip

    def _correct_in_table(self, date: dt.date) -> None:
        """Several figures are typed over in the table of all days."""
        self.show_tab(1)
        self._show_date(date)
        if self.view is not None:
            self._day_chosen(self.view.day(date))
            self.table.setFocus()

    def _wait(self, check: DayToCheck) -> None:
        """Leave days that are only late off the list."""
        self.waiting.add((check.station, check.dates))
        self._ask_findings(False)

    def _accept_all(self) -> None:
        if self._others():
            accept_checks(self.session, self._others())

    def _failed(self, error: WaterBudgetError) -> None:
        self.problem.setText(say(error))
        self.problem.show()

    def _export(self) -> None:
        if self.station is not None:
            ask_and_write(self, self.session, f"{self.station}.csv", self.model.rows_for_file())


def _look(
    file: Any, station_id: int, name: str, season: Season
) -> tuple[list[Finding], tuple[DayToCheck, ...]]:
    """Read the findings of a station and rank its days; runs in the worker."""
    from waterbudget import actions

    return _findings(file, station_id), actions.days_to_check(file, station=name, run=season)


def _findings(file: Any, station_id: int) -> list[Finding]:
    return [
        Finding(
            f.id,
            f.date,
            f.what,
            f.quantity,
            None if f.value in (None, "None") else str(f.value),
            float(f.used)
            if isinstance(f.used, int | float) and not isinstance(f.used, bool)
            else None,
            f.accepted,
        )
        for f in file.list_flags(station_id)
    ]


def facts_of(view: WeatherView) -> str:
    """Return what the record holds, and how the days of the account were made."""
    counts = view.counts()
    bits = [view.station]
    if view.elevation_m is not None:
        bits.append(tr("{0} m").format(thousands(view.elevation_m)))
    since = view.first
    if view.record_first is not None and view.record_first < since:
        first = view.record_first
        bits.append(tr("record since {0} {1}").format(day_short(first), first.year))
    other = counts["other"] + counts["default"]
    bits.append(
        tr("{0} days since {1} {2}").format(thousands(view.past), day_short(since), since.year)
    )
    bits.append(tr("{0} measured, {1} made another way, {2} stood in").format(
        thousands(counts["given"]), thousands(other), thousands(counts["missing"])
    ))  # fmt: skip
    return "  ·  ".join(bits)
