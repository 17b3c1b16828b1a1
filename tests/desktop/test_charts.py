"""Charts: what is laid out, and what mouse, wheel and keys do to it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QWheelEvent
from PySide6.QtWidgets import QApplication

from desktop import theme
from desktop.charts import CycleChart, CycleStrip, StationDays, YearStrips
from desktop.charts.ink import DayAxis, Letters
from desktop.models.cycle_view import CycleView, cycle_view
from desktop.models.weather import weather_view
from desktop.session import Session
from waterbudget.outlook import week_spread


def view_of(session: Session, name: str, **more: object) -> CycleView:
    assert session.season is not None
    return cycle_view(session.season, session.season.block(name), **more)  # type: ignore[arg-type]


@pytest.fixture
def chart(qtbot: object, session: Session) -> CycleChart:
    made = CycleChart()
    qtbot.addWidget(made)  # type: ignore[attr-defined]
    made.resize(900, 420)
    made.set_view(view_of(session, "Kiln"))
    made.show()
    return made


def turn(widget: object, where: QPointF, steps: int) -> None:
    event = QWheelEvent(
        where, widget.mapToGlobal(where), QPoint(), QPoint(0, 120 * steps),  # type: ignore[attr-defined]
        Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase,
        False,
    )  # fmt: skip
    QApplication.sendEvent(widget, event)  # type: ignore[arg-type]


def image_of(widget: object) -> QImage:
    return widget.grab().toImage()  # type: ignore[attr-defined]


# -- what is laid out ----------------------------


@pytest.mark.parametrize("name", ["Kiln", "Upper ridge", "Gully", "Far gate"])
def test_water_left_stays_between_wilting_point_and_full(session: Session, name: str) -> None:
    view = view_of(session, name)
    known = np.isfinite(view.morning)
    assert known.sum() > 30
    assert (view.morning[known] >= -1e-9).all()
    assert (view.watered[known] >= view.morning[known] - 1e-9).all()
    assert (view.watered[known] <= view.taw[known] + 1e-9).all()
    assert (view.evening[known] <= view.watered[known] + 1e-9).all()


def test_one_evening_is_the_next_morning(session: Session) -> None:
    view = view_of(session, "Kiln")
    days = [i for i in range(view.days - 1)
            if np.isfinite(view.morning[i + 1]) and view.taw[i] == view.taw[i + 1]]  # fmt: skip
    np.testing.assert_allclose(view.evening[days], view.morning[[i + 1 for i in days]], atol=1e-9)


def test_past_the_limit_is_what_the_season_says_of_that_morning(session: Session) -> None:
    season = session.season
    assert season is not None
    block = season.block("Kiln")
    view = view_of(session, "Kiln")
    limit = season.limit_mm(block.column)
    for day in range(view.days):
        i = (view.date(day) - season.first).days
        if 0 <= i < len(season.account.dr_mm):
            assert view.past[day] == (season.account.dr_start_mm[i, block.column] > limit[i] + 1e-6)
    assert view.past.any()


def test_stages_follow_each_other_without_a_hole(session: Session) -> None:
    view = view_of(session, "Kiln")
    assert view.spans[0].first == 0
    assert view.spans[-1].end == view.days
    assert all(a.end == b.first for a, b in zip(view.spans, view.spans[1:], strict=False))


def test_a_cycle_just_begun_still_shows_a_month_back(session: Session) -> None:
    for block in ("Kiln", "Upper ridge", "Far gate", "Gully"):
        view = view_of(session, block)
        assert view.today >= 30
        assert view.days - view.today >= 10


def test_the_edges_of_the_week_lie_around_it(session: Session) -> None:
    season = session.season
    assert season is not None
    block = season.block("Kiln")
    view = view_of(session, "Kiln", spread=week_spread(season, block.column))
    week = slice(view.today, view.today + 7)
    assert (view.low_evening[week] <= view.evening[week] + 1e-9).all()
    assert (view.high_evening[week] >= view.evening[week] - 1e-9).all()
    assert np.isnan(view.low_evening[: view.today]).all()


# -- mouse, wheel and keys ----------------------------


def test_it_opens_on_thirty_days_back_and_ten_ahead(chart: CycleChart) -> None:
    assert chart.view is not None
    assert chart.end - chart.start == pytest.approx(40)
    assert chart.view.today - chart.start == pytest.approx(30)


def test_the_wheel_zooms_around_the_day_under_the_mouse(chart: CycleChart) -> None:
    where = QPointF(500, 200)
    before = chart.axis.day(where.x())
    turn(chart, where, 2)
    assert chart.end - chart.start < 35
    assert chart.axis.day(where.x()) == pytest.approx(before, abs=0.05)
    turn(chart, where, -30)
    assert chart.view is not None
    assert (chart.start, chart.end) == (0, chart.view.days)


def test_dragging_moves_the_days_and_does_not_choose_one(qtbot: object, chart: CycleChart) -> None:
    turn(chart, QPointF(500, 200), 2)
    start = chart.start
    day = chart.axis.day(600)
    qtbot.mousePress(chart, Qt.MouseButton.LeftButton, pos=QPoint(600, 150))  # type: ignore[attr-defined]
    for x in (640, 700, 760):
        move = QPointF(x, 150)
        QApplication.sendEvent(chart, _move(chart, move))
    qtbot.mouseRelease(chart, Qt.MouseButton.LeftButton, pos=QPoint(760, 150))  # type: ignore[attr-defined]
    assert chart.start < start
    assert chart.axis.day(760) == pytest.approx(day, abs=0.1)
    assert chart.chosen is None


def _move(widget: object, where: QPointF) -> object:
    from PySide6.QtCore import QEvent
    from PySide6.QtGui import QMouseEvent

    return QMouseEvent(
        QEvent.Type.MouseMove, where, widget.mapToGlobal(where),  # type: ignore[attr-defined]
        Qt.MouseButton.NoButton, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier,
    )  # fmt: skip


def test_a_click_chooses_the_day_under_it(qtbot: object, chart: CycleChart) -> None:
    wanted = int(chart.start) + 12
    with qtbot.waitSignal(chart.day_chosen) as told:  # type: ignore[attr-defined]
        x = int(chart.axis.x(wanted + 0.5))
        qtbot.mouseClick(chart, Qt.MouseButton.LeftButton, pos=QPoint(x, 180))  # type: ignore[attr-defined]
    assert told.args == [wanted]


def test_a_click_on_the_ribbon_tells_the_stage(qtbot: object, chart: CycleChart) -> None:
    assert chart.view is not None
    today = chart.view.today
    span = next(s for s in chart.view.spans if s.first <= today < s.end)
    with qtbot.waitSignal(chart.stage_clicked) as told:  # type: ignore[attr-defined]
        x = int(chart.axis.x(today + 0.5))
        qtbot.mouseClick(chart, Qt.MouseButton.LeftButton, pos=QPoint(x, 20))  # type: ignore[attr-defined]
    assert told.args == [span.stage]


def test_keys_walk_the_days_and_come_back_to_today(qtbot: object, chart: CycleChart) -> None:
    assert chart.view is not None
    today = chart.view.today
    for key, expected in (
        (Qt.Key.Key_Left, today - 1), (Qt.Key.Key_PageUp, today - 8), (Qt.Key.Key_Right, today - 7),
        (Qt.Key.Key_Home, 0), (Qt.Key.Key_T, today),
    ):  # fmt: skip
        qtbot.keyClick(chart, key)  # type: ignore[attr-defined]
        assert chart.chosen == expected
        assert chart.start <= expected <= chart.end


def test_the_strip_moves_the_window_of_the_chart(
    qtbot: object, session: Session, chart: CycleChart
) -> None:
    strip = CycleStrip()
    qtbot.addWidget(strip)  # type: ignore[attr-defined]
    strip.resize(900, strip.height())
    strip.set_view(chart.view)
    chart.window_changed.connect(strip.set_window)
    strip.window_changed.connect(chart.set_window)
    strip.set_window(chart.start, chart.end)
    strip.show()
    middle = strip.frame_area().center()
    start = chart.start
    qtbot.mousePress(strip, Qt.MouseButton.LeftButton, pos=middle.toPoint())  # type: ignore[attr-defined]
    for step in range(1, 6):
        QApplication.sendEvent(strip, _move(strip, middle - QPointF(20 * step, 0)))
    qtbot.mouseRelease(strip, Qt.MouseButton.LeftButton, pos=middle.toPoint())  # type: ignore[attr-defined]
    assert chart.start == pytest.approx(start - 100 / strip.axis.per_day, abs=0.5)
    assert (strip.start, strip.end) == (chart.start, chart.end)


# -- what is painted ----------------------------


def colours_in(image: QImage, area: QRectF) -> set[str]:
    return {
        QColor(image.pixel(x, y)).name()
        for x in range(int(area.left()), int(area.right()))
        for y in range(int(area.top()), int(area.bottom()))
    }


def test_columns_past_the_limit_are_hatched_and_the_others_are_not(chart: CycleChart) -> None:
    view = chart.view
    assert view is not None
    image = image_of(chart)
    shown = range(int(chart.start) + 1, view.today)
    past = [d for d in shown if view.past[d] and view.past[d - 1] and not view.allowed_dry[d]]
    fine = [d for d in shown if not view.past[d - 1 : d + 2].any()]
    assert past
    low = chart.water_area().bottom() - 24

    def column(day: int) -> QRectF:
        return QRectF(chart.axis.x(day) + 2, low, chart.axis.per_day - 4, 20)

    assert theme.PAST_GROUND.lower() in colours_in(image, column(past[0]))
    if fine:
        assert theme.PAST_GROUND.lower() not in colours_in(image, column(fine[-1]))


def test_it_paints_in_the_dark_too(chart: CycleChart) -> None:
    light = image_of(chart)
    theme.use(QApplication.instance(), "dark")  # type: ignore[arg-type]
    dark = image_of(chart)
    corner = QColor(dark.pixel(2, 2)).name()
    assert corner == theme.DARK.paper.lower()
    assert light != dark


def test_nothing_to_draw_says_so(qtbot: object) -> None:
    made = CycleChart()
    qtbot.addWidget(made)  # type: ignore[attr-defined]
    made.empty_text = "nothing here"
    made.resize(400, 300)
    made.set_view(None)
    painted = image_of(made)
    made.empty_text = ""
    assert painted != image_of(made)


def test_two_texts_never_lie_on_each_other(qapp: object) -> None:
    image = QImage(300, 60, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    letters = Letters(painter)
    assert letters.put(10, 30, "easy water") is not None
    assert letters.put(40, 34, "rain") is None
    assert letters.put(200, 30, "rain") is not None
    painter.end()


def test_a_text_too_wide_for_its_place_is_left_out(qapp: object) -> None:
    image = QImage(300, 60, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    letters = Letters(painter)
    assert letters.put(10, 30, "a long stage name", inside=QRectF(10, 10, 30, 30)) is None
    put = letters.put(190, 30, "rain", inside=QRectF(100, 10, 100, 30))
    painter.end()
    assert put is not None
    assert put.right() <= 202


def test_mondays_and_months_of_an_axis() -> None:
    axis = DayAxis(dt.date(2025, 7, 1), 0, 40, 0, 400)
    assert [axis.date(d).weekday() for d in axis.mondays()] == [0] * 5
    assert [axis.date(d) for d in axis.months()] == [dt.date(2025, 7, 1), dt.date(2025, 8, 1)]
    assert axis.day(axis.x(12.5)) == pytest.approx(12.5)


# -- the station's charts ----------------------------


def test_a_click_on_the_years_asks_for_that_day(qtbot: object, session: Session) -> None:
    assert session.season is not None and session.data is not None
    view = weather_view(session.season, session.data, "house")
    assert view is not None
    years = YearStrips()
    qtbot.addWidget(years)  # type: ignore[attr-defined]
    years.resize(1000, years.height())
    years.set_view(view)
    years.resize(1000, years.height())
    years.show()
    place = QPoint(700, int(years.height() - 20))
    day = years.day_at(place.x(), place.y())
    assert day is not None
    with qtbot.waitSignal(years.window_wanted) as told:  # type: ignore[attr-defined]
        qtbot.mouseClick(years, Qt.MouseButton.LeftButton, pos=place)  # type: ignore[attr-defined]
    assert told.args == [day + years.length // 2]


def test_the_years_end_with_the_coming_week(session: Session) -> None:
    assert session.season is not None and session.data is not None
    view = weather_view(session.season, session.data, "house")
    assert view is not None
    assert view.date(view.past) == session.season.on
    assert view.days - view.past == 7


def test_days_can_be_walked_and_more_of_them_shown(qtbot: object, session: Session) -> None:
    assert session.season is not None and session.data is not None
    days = StationDays()
    qtbot.addWidget(days)  # type: ignore[attr-defined]
    days.resize(1000, days.height())
    days.set_view(weather_view(session.season, session.data, "house"))
    assert days.view is not None
    days.window_wanted.connect(days.set_window)
    days.set_window(days.view.days, 40)
    days.show()
    qtbot.keyClick(days, Qt.Key.Key_Left)  # type: ignore[attr-defined]
    assert days.chosen == days.view.past - 2
    for _ in range(7):
        qtbot.keyClick(days, Qt.Key.Key_PageUp)  # type: ignore[attr-defined]
    assert days.chosen == days.view.past - 51
    assert days.chosen in days.shown
    qtbot.keyClick(days, Qt.Key.Key_Minus)  # type: ignore[attr-defined]
    assert days.length == 47
