"""Readings of the soil on a block's page: typed with keys and mouse, shown, taken back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel
from small_farm import NOW

from desktop.dialogs.bring_in import Look, bring_in, take_back
from desktop.models.block_facts import day_account
from desktop.models.cycle_view import cycle_view
from desktop.pages.block import BlockPage
from desktop.pages.block.readings_box import ReadingForm
from desktop.pages.block.side import account_lines
from desktop.session import Session
from desktop.widgets import Link
from waterbudget import actions
from waterbudget.records import Reading

Settle = Callable[[Session], None]
TODAY = NOW.date()
NAME = "Kiln"


@pytest.fixture
def page(qtbot: Any, session: Session, settle: Settle) -> BlockPage:
    assert session.data is not None
    session.select(session.data.orchard.block(NAME).id)
    made = BlockPage(session, lambda *_, **__: None)
    qtbot.addWidget(made)
    made.resize(1900, 1000)
    made.show()
    settle(session)
    qtbot.waitExposed(made)
    return made


def words(page: BlockPage, name: str = "readings") -> str:
    labels = page.findChild(object, name).findChildren(QLabel)
    return " | ".join(label.text() for label in labels if label.isVisible())


def form(page: BlockPage) -> ReadingForm:
    found = page.findChild(ReadingForm)
    assert found is not None
    return found


def click(qtbot: Any, page: BlockPage, text: str) -> None:
    section = page.findChild(object, "readings")
    link = next(x for x in section.findChildren(Link) if x.text() == text)
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)


def open_form(qtbot: Any, page: BlockPage) -> None:
    click(qtbot, page, "enter one")
    at_the_figure(qtbot, page)


def at_the_figure(qtbot: Any, page: BlockPage) -> None:
    qtbot.waitUntil(lambda: form(page).isVisible() and page.focusWidget() is form(page).value)


def stored(session: Session) -> list[Reading]:
    assert session.data is not None
    return list(session.data.readings)


def morning(session: Session) -> float:
    season = session.season
    assert season is not None
    return float(season.account.dr_start_mm[season.on_index, season.block(NAME).column])


def pick(qtbot: Any, page: BlockPage, kind: str) -> None:
    choice = form(page).kind
    at = choice.findData(kind)
    choice.setCurrentIndex(at)
    choice.activated.emit(at)


def put(session: Session, settle: Settle, *readings: tuple[int, str, float]) -> None:
    for ago, kind, value in readings:
        date = TODAY - dt.timedelta(days=ago)
        session.act("x", lambda f, now, d=date, k=kind, v=value: actions.enter_reading(
            f, NAME, d, k, v, before_water=True, now=now))  # fmt: skip
        settle(session)


def test_a_reading_is_typed_counts_and_is_taken_back(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    assert "None yet" in words(page)
    before = morning(session)
    open_form(qtbot, page)
    pick(qtbot, page, "field")
    qtbot.keyClicks(form(page).value, "30,5")
    qtbot.keyClick(form(page).value, Qt.Key.Key_Return)
    settle(session)
    (reading,) = stored(session)
    assert (reading.kind, reading.value, reading.date) == ("field", 30.5, TODAY)
    assert reading.before_water and reading.depth_cm is None
    assert morning(session) == pytest.approx(0.4 * before + 0.6 * 30.5)
    assert "30.5 mm" in words(page) and f"counted as {morning(session):.1f} mm" in words(page)
    assert form(page).kind.value() == "field"  # ready for the next one
    session.undo_last()
    settle(session)
    assert stored(session) == [] and morning(session) == pytest.approx(before)
    session.redo_next()
    settle(session)
    assert len(stored(session)) == 1
    click(qtbot, page, "remove")
    settle(session)
    assert stored(session) == []


def test_a_tensiometer_keeps_its_place_for_the_next_reading(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    open_form(qtbot, page)
    typed = form(page)
    qtbot.keyClicks(typed.value, "28")
    qtbot.keyClicks(typed.deep, "25")
    qtbot.keyClicks(typed.sensor, "T1")
    qtbot.mouseClick(typed.save, Qt.MouseButton.LeftButton)
    settle(session)
    (reading,) = stored(session)
    assert (reading.kind, reading.depth_cm, reading.sensor) == ("tensiometer", 25.0, "T1")
    again = form(page)
    assert (again.value.text(), again.deep.text(), again.sensor.text()) == ("", "25", "T1")
    at_the_figure(qtbot, page)
    assert "28 kPa at 25 cm, T1" in words(page)


@pytest.mark.parametrize(("typed", "told"), [("", "plain figure"), ("dry", "plain figure"),
                                             ("280", "centibar")])  # fmt: skip
def test_what_cannot_be_is_said_below_and_nothing_is_stored(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle, typed: str, told: str
) -> None:
    open_form(qtbot, page)
    qtbot.keyClicks(form(page).value, typed)
    qtbot.keyClick(form(page).value, Qt.Key.Key_Return)
    settle(session)
    assert told in form(page).problem.text() and form(page).problem.isVisible()
    assert stored(session) == []


def test_a_reading_that_does_not_count_says_why(
    page: BlockPage, session: Session, settle: Settle
) -> None:
    put(session, settle, (1, "tensiometer", 90.0))
    assert "80 kPa" in words(page)


def test_another_morning_shows_readings_but_takes_none(
    page: BlockPage, session: Session, settle: Settle
) -> None:
    put(session, settle, (3, "field", 20.0))
    session.set_day(TODAY - dt.timedelta(days=5))
    settle(session)
    assert "not known that morning" in words(page)
    links = [x.text() for x in page.findChild(object, "readings").findChildren(Link)]
    assert links == []


def test_three_wet_weeks_propose_a_factor_the_grower_takes(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    put(session, settle, *((ago, "field", 0.0) for ago in (2, 9, 16)))
    block = session.selected_block
    assert block is not None
    counted = [j.why for j in block.readings]
    assert counted == ["counts"] * 3, counted
    link = page.findChild(Link, "take-factor")
    assert link is not None and "0.95" in words(page)
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    settle(session)
    assert session.data is not None
    found = session.data.orchard.block(NAME)
    assert (found.kc_factor, found.kc_factor_from) == (0.95, TODAY)
    assert found.kc_factor_why
    assert page.findChild(Link, "take-factor") is None
    session.undo_last()
    settle(session)
    assert session.data.orchard.block(NAME).kc_factor is None


def test_the_days_account_and_the_chart_know_the_reading(
    page: BlockPage, session: Session, settle: Settle
) -> None:
    put(session, settle, (3, "field", 35.0), (2, "tensiometer", 95.0))
    season, block = session.season, session.selected_block
    assert season is not None and block is not None
    (pull,) = block.pulled
    account = day_account(season, block, pull.date)
    assert account is not None
    assert account.read == pytest.approx(pull.model_mm - pull.new_mm)
    assert account.other == pytest.approx(0)
    lines = dict(account_lines(account))
    assert lines["put right by a reading"].lstrip("+− ") == f"{abs(account.read):.1f}"
    view = cycle_view(season, block)
    (mark,) = view.read  # 95 kPa says nothing: no mark
    assert (view.date(mark.day), mark.counts) == (pull.date, True)
    assert mark.left_mm == pytest.approx(view.taw[mark.day] - 35.0)
    assert mark.was_mm == pytest.approx(view.taw[mark.day] - pull.model_mm)
    plain = page.grab()
    assert not plain.isNull()


def test_the_dates_ahead_are_told_as_a_range(page: BlockPage, session: Session) -> None:
    found = page.cycle.findChild(QLabel, "cycle-outlook") if page.cycle is not None else None
    assert found is not None and found.isVisible()
    assert " to " in found.text()


def test_a_file_of_readings_comes_in_and_is_taken_back(
    session: Session, settle: Settle, tmp_path: Any
) -> None:
    put(session, settle, (5, "field", 12.0))
    day = TODAY - dt.timedelta(days=5)
    path = tmp_path / "r.csv"
    path.write_text(f"block,date,missing_mm,kpa\n{NAME},{day},14,\n{NAME},{TODAY},,30\n")
    before = session.data
    look = Look("readings", False, None)
    session.act("x", lambda f, now: bring_in(look, path, {}, f, TODAY, now))
    settle(session)
    assert [(r.date, r.value) for r in stored(session)] == [(day, 14.0), (TODAY, 30.0)]
    session.act("x", lambda f, now: take_back(look, path, before, None, f, now))
    settle(session)
    assert [(r.date, r.value) for r in stored(session)] == [(day, 12.0)]
