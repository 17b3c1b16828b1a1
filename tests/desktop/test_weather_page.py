"""The weather page: how days were made, what is to be checked, typing and correcting."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QLineEdit, QPushButton

from desktop.models.weather import certainty_of, forecast_rows, weather_view
from desktop.pages.weather import WeatherPage
from desktop.pages.weather.page import facts_of
from desktop.session import Session
from desktop.widgets import Link
from desktop.wording import day_short
from waterbudget.weather import Day

Settle = Callable[[Session], None]
ODD = dt.date(2025, 7, 9)
GAP = dt.date(2025, 7, 2)


@pytest.fixture
def odd(session: Session, settle: Settle) -> Session:
    """The session with two odd entries, two days without anything, and two forecasts."""

    def spoil(file: Any, now: dt.datetime) -> None:
        station = file.read().orchard.stations[0].id
        with file.transaction("test", now=now):
            file.add_flags(None, station, [
                (ODD, "rain_ten_times", "rain_mm", "62.0", 6.2),
                (dt.date(2025, 6, 20), "stuck", "rh_max", "100", None),
            ])  # fmt: skip
            for date in (GAP, GAP + dt.timedelta(days=1)):
                for name in ("tmax_c", "tmin_c", "rh_max", "rh_min", "u2_m_s", "rs_mj", "rain_mm"):
                    file.correct_day(station, date, name, None, "test", now)
            for issued in (dt.date(2025, 7, 13), dt.date(2025, 7, 14)):
                days = [Day(issued + dt.timedelta(days=i), {"tmax_c": 28.0, "tmin_c": 14.0,
                                                            "rain_mm": float(i)})
                        for i in range(3)]  # fmt: skip
                file.add_forecast(station, issued, days)

    session.act("test", spoil, None, ("weather",))
    settle(session)
    return session


@pytest.fixture
def page(qtbot: Any, odd: Session, settle: Settle) -> WeatherPage:
    made = WeatherPage(odd, lambda *_, **__: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    settle(odd)
    qtbot.waitExposed(made)
    return made


def value(session: Session, date: dt.date, quantity: str) -> float | None:
    assert session.data is not None
    return session.data.records["house"].day(date).get(quantity)


def entries(page: WeatherPage) -> list[dt.date]:
    """Days on which something odd came, as listed."""
    return [check.dates[0] for check in page.found if check.ids]


def with_two_small(session: Session, settle: Settle) -> None:
    """One more finding that moves next to nothing."""

    def more(file: Any, now: dt.datetime) -> None:
        station = file.read().orchard.stations[0].id
        with file.transaction("test", now=now):
            file.add_flags(None, station, [(dt.date(2025, 6, 25), "wind_still", "u2_m_s", "2.0",
                                            None)])  # fmt: skip

    session.act("test", more, None, ("weather",))
    settle(session)


def button_of(row: Any, words: str) -> QPushButton:
    return next(b for b in row.findChildren(QPushButton) if b.text() == words)


def texts_of(row: Any) -> str:
    return " | ".join(label.text() for label in row.findChildren(QLabel))


# -- how days are made ----------------------------


@pytest.mark.parametrize(
    ("made", "certainty"),
    [
        (("measured",), "given"), (("given",), "given"), (("wind_assumed",), "default"),
        (("rs_trange", "wind_assumed"), "other"), (("temp_only",), "other"),
        (("stand_in",), "missing"), ((), "missing"), (("forecast",), "other"),
    ],
)  # fmt: skip
def test_certainty_of_a_day(made: tuple[str, ...], certainty: str) -> None:
    assert certainty_of(made) == certainty


def test_days_without_weather_are_a_gap(odd: Session) -> None:
    assert odd.season is not None and odd.data is not None
    view = weather_view(odd.season, odd.data, "house")
    assert view is not None
    first = view.day(GAP)
    assert view.gaps() == [(first, first + 1)]
    assert view.counts()["missing"] == 2
    assert sum(view.counts().values()) == view.past
    assert np.isfinite(view.et0[first])  # stood in, not nothing
    assert np.isnan(view.rain[first])


def test_the_sun_never_gives_more_than_a_clear_day(odd: Session) -> None:
    assert odd.season is not None and odd.data is not None
    view = weather_view(odd.season, odd.data, "house")
    assert view is not None
    # Ra at 20 degrees south: 24.2 in July, 41.9 in December (FAO-56 Annex 2, Table 2.6)
    winter = view.clear_mj[view.day(dt.date(2025, 6, 21))]
    summer = view.clear_mj[view.day(dt.date(2024, 12, 21))]
    assert 0.75 * 24 < winter < 0.80 * 25
    assert 0.75 * 41 < summer < 0.80 * 43


# -- what the page tells ----------------------------


def test_it_says_what_is_to_be_checked_and_what_is_missing(page: WeatherPage) -> None:
    text = page.sentence.text()
    assert "Of 2 entries to check, one moves a block by 1 mm or more" in text
    assert "2 days are missing" in text
    assert page.check_tab.text() == "Days to check (3)"
    assert len(page.checks.rows) == 3
    assert page.checks.rows[0].accessibleName().startswith("Wed 9 Jul")  # rain first


def test_the_days_told_begin_where_the_account_begins(page: WeatherPage) -> None:
    view = page.view
    assert view is not None
    long_record = replace(view, record_first=view.first - dt.timedelta(days=3000))
    told = facts_of(long_record)
    began = view.first - dt.timedelta(days=3000)
    assert f"record since {day_short(began)} {began.year}" in told
    assert f"{view.past} days since {day_short(view.first)} {view.first.year}" in told
    assert "record since" not in facts_of(replace(view, record_first=view.first))


def test_a_record_that_stopped_is_told(page: WeatherPage, odd: Session, settle: Settle) -> None:
    odd.set_day(odd.today + dt.timedelta(days=4))
    settle(odd)
    assert "has sent nothing since Sun 13 Jul" in page.sentence.text()


def test_where_nothing_is_to_be_checked_the_days_are_shown(
    qtbot: Any, session: Session, settle: Settle
) -> None:
    page = WeatherPage(session, lambda *_, **__: None)
    qtbot.addWidget(page)
    page.show()
    settle(session)
    assert page.stack.currentWidget() is page.table


def test_a_click_on_a_row_shows_its_day_above(qtbot: Any, page: WeatherPage) -> None:
    assert page.view is not None
    page.set_window(100, 40)
    qtbot.mouseClick(page.checks.rows[0], Qt.MouseButton.LeftButton)
    assert page.days.chosen == page.view.day(ODD)
    assert page.end - page.length <= page.days.chosen < page.end


# -- accepting and correcting ----------------------------


def test_accepting_takes_an_entry_off_the_list_and_undo_brings_it_back(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    button = page.checks.rows[0].findChild(QPushButton)
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    settle(odd)
    assert entries(page) == [dt.date(2025, 6, 20)]
    odd.undo_last()
    settle(odd)
    assert entries(page) == [ODD, dt.date(2025, 6, 20)]


def test_accepting_the_others_is_one_step(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    """Two that move little are accepted in one go; the rain that moves much stays."""
    with_two_small(odd, settle)
    assert page.accept_link.text() == "Accept the other 2"
    steps = odd.undo.count()
    qtbot.mouseClick(page.accept_link, Qt.MouseButton.LeftButton)
    settle(odd)
    assert entries(page) == [ODD]
    assert not page.accept_link.isVisible()
    assert odd.undo.count() == steps + 1
    odd.undo_last()
    settle(odd)
    assert len(entries(page)) == 3


def test_a_right_figure_is_typed_into_the_list(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    before = value(odd, ODD, "rain_mm")
    row = page.checks.rows[0]
    link = next(x for x in row.findChildren(Link) if x.text() == "Correct")
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    line = row.findChild(QLineEdit)
    assert line.hasFocus()
    qtbot.keyClicks(line, "6,5")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    settle(odd)
    assert value(odd, ODD, "rain_mm") == 6.5
    assert ODD not in entries(page)
    odd.undo_last()
    settle(odd)
    assert value(odd, ODD, "rain_mm") == before
    assert ODD in entries(page)


def test_rows_stand_by_what_they_would_move_and_say_so(page: WeatherPage) -> None:
    """62 mm of rain where none is known fill the roots; a wet sensor weeks ago hardly counts."""
    moved = [check.moves_mm for check in page.found]
    assert moved == sorted(moved, reverse=True) and moved[0] > 5
    first = texts_of(page.checks.rows[0])
    assert "rain 62 mm" in first and "no part in ET0" in first
    assert f"{moved[0]:.1f} mm" in first and page.found[0].blocks[0][0] in first
    assert page.days.marks[0] == (ODD, ODD)


def test_days_that_are_missing_can_wait(qtbot: Any, page: WeatherPage) -> None:
    at = next(i for i, check in enumerate(page.found) if check.missing)
    assert page.found[at].dates == (GAP, GAP + dt.timedelta(days=1))
    qtbot.mouseClick(button_of(page.checks.rows[at], "Wait"), Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: len(page.checks.rows) == 2)
    assert not any(check.missing for check in page.found)
    assert page.check_tab.text() == "Days to check (2)"


def test_a_swapped_low_and_high_are_put_right_in_one_step(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    date = dt.date(2025, 7, 10)

    def swap(file: Any, now: dt.datetime) -> None:
        station = file.read().orchard.stations[0].id
        with file.transaction("test", now=now):
            for name, came in (("tmax_c", "11.5"), ("tmin_c", "26.5")):
                file.correct_day(station, date, name, None, "test", now)
                file.add_flags(None, station, [(date, "low_above_high", name, came, None)])

    odd.act("test", swap, None, ("weather",))
    settle(odd)
    at = next(i for i, c in enumerate(page.found) if c.what == "low_above_high")
    assert "swapped" in texts_of(page.checks.rows[at])
    link = next(x for x in page.checks.rows[at].findChildren(Link) if x.text() == "Swap")
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    settle(odd)
    assert (value(odd, date, "tmin_c"), value(odd, date, "tmax_c")) == (11.5, 26.5)
    assert date not in entries(page)
    odd.undo_last()
    settle(odd)
    assert value(odd, date, "tmax_c") is None and date in entries(page)


def test_several_figures_are_corrected_in_the_table(qtbot: Any, page: WeatherPage) -> None:
    row = next(i for i, c in enumerate(page.found) if c.what == "stuck")
    page.checks.days_wanted.emit(page.found[row].dates[0])
    assert page.stack.currentWidget() is page.table
    day = page.model.day_of(page.table.currentIndex().row())
    assert page.view is not None and page.view.date(day) == dt.date(2025, 6, 20)


def cell_of(page: WeatherPage, date: dt.date, column: str) -> Any:
    assert page.view is not None
    row = page.model.row_of(page.view.day(date))
    return page.model.index(row, page.model.columns.index(column))


def test_a_figure_of_the_table_is_typed_over_and_del_goes_back(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    date = dt.date(2025, 7, 11)
    came = value(odd, date, "tmax_c")
    page.show_tab(1)
    page.table.setCurrentIndex(cell_of(page, date, "tmax_c"))
    page.table.setFocus()
    qtbot.keyClick(page.table, Qt.Key.Key_F2)
    editor = [w for w in page.table.viewport().findChildren(QLineEdit) if w.isVisible()][-1]
    editor.selectAll()
    qtbot.keyClicks(editor, "29.5")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: page.table.state() != page.table.State.EditingState)
    settle(odd)
    assert value(odd, date, "tmax_c") == 29.5
    assert "corrected" in cell_of(page, date, "remarks").data()
    page.table.setCurrentIndex(cell_of(page, date, "tmax_c"))
    qtbot.keyClick(page.table, Qt.Key.Key_Delete)
    settle(odd)
    assert value(odd, date, "tmax_c") == came


def test_days_to_come_stand_under_the_forecasts_only(page: WeatherPage, odd: Session) -> None:
    assert page.model.index(0, 0).data().startswith("Mon 14 Jul")


# -- typing ----------------------------


def test_rain_is_typed_with_the_keyboard_and_taken_back(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    page.show_what(tab="type", date=GAP)
    assert page.typing.isVisible() and page.typing.rain.hasFocus()
    qtbot.keyClicks(page.typing.rain, "4,5")
    qtbot.keyClick(page.typing.rain, Qt.Key.Key_Return)
    settle(odd)
    assert odd.data is not None
    assert odd.data.gauge_days("farm")[GAP] == 4.5
    odd.undo_last()
    settle(odd)
    assert GAP not in odd.data.gauge_days("farm")


def test_low_and_high_are_typed_for_a_day_that_is_missing(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    date = odd.today
    page.show_what(tab="type", date=date)
    qtbot.keyClicks(page.typing.low, "12")
    qtbot.keyClicks(page.typing.high, "27.5")
    qtbot.mouseClick(page.typing.store_button, Qt.MouseButton.LeftButton)
    settle(odd)
    assert value(odd, date, "tmin_c") == 12.0
    assert value(odd, date, "tmax_c") == 27.5
    odd.undo_last()
    settle(odd)
    assert value(odd, date, "tmax_c") is None


def test_a_low_above_the_high_is_refused_in_words(
    qtbot: Any, page: WeatherPage, odd: Session, settle: Settle
) -> None:
    page.show_what(tab="type", date=odd.today)
    qtbot.keyClicks(page.typing.low, "28")
    qtbot.keyClicks(page.typing.high, "12")
    qtbot.keyClick(page.typing.high, Qt.Key.Key_Return)
    settle(odd)
    assert page.typing.problem.isVisible()
    assert "swapped" in page.typing.problem.text()
    assert value(odd, odd.today, "tmin_c") is None


def test_figures_that_are_none_are_marked(qtbot: Any, page: WeatherPage) -> None:
    page.show_what(tab="type", date=GAP)
    qtbot.keyClicks(page.typing.rain, "wet")
    qtbot.keyClick(page.typing.rain, Qt.Key.Key_Return)
    assert page.typing.rain.property("wrong") == "true"


def test_escape_closes_the_row(qtbot: Any, page: WeatherPage) -> None:
    page.show_what(tab="type", date=GAP)
    qtbot.keyClick(page.typing.rain, Qt.Key.Key_Escape)
    assert not page.typing.isVisible()


# -- forecasts ----------------------------


def test_the_newest_forecast_of_a_day_is_in_use_and_the_older_is_kept(odd: Session) -> None:
    assert odd.data is not None
    rows = forecast_rows(odd.data, "house")
    assert len(rows) == 6
    assert rows[0].issued > rows[-1].issued
    of_monday = [r for r in rows if r.date == dt.date(2025, 7, 14)]
    assert [(r.issued.day, r.in_use) for r in of_monday] == [(14, True), (13, False)]
    # the record has the thirteenth itself
    assert [r.in_use for r in rows if r.date == dt.date(2025, 7, 13)] == [False]


def test_the_export_holds_every_day_once(page: WeatherPage, odd: Session) -> None:
    rows = page.model.rows_for_file()
    assert rows[0][0] == "date"
    dates = [r[0] for r in rows[1:]]
    assert dates == sorted(set(dates))
    assert dates[-1] == odd.today.isoformat()
