"""The water source on the farm page: pumps as rows, the right, the tank, people and prices."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from farm_steps import orchard, type_in
from PySide6.QtCore import Qt

from desktop.models.week import week_table
from desktop.pages.farm import FarmPage
from desktop.pages.home_attention import attention
from desktop.pages.home_words import pump_sentence
from desktop.session import Session
from desktop.wording import day_named

Settle = Callable[[Session], None]


@pytest.fixture
def page(session: Session, qtbot: Any, settle: Settle) -> Iterator[FarmPage]:
    made = FarmPage(session, lambda page, **what: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    settle(session)
    yield made


def begin(page: FarmPage, qtbot: Any, settle: Settle, name: str) -> None:
    type_in(qtbot, page.source.pumps.new, name)
    settle(page._session)


def test_a_further_pump_is_begun_set_renamed_and_taken_off(
    page: FarmPage, qtbot: Any, settle: Settle
) -> None:
    table = page.source.pumps
    begin(page, qtbot, settle, "River")
    assert [p.name for p in orchard(page).pumps] == ["River"]
    type_in(qtbot, table.cell("River", "flow_m3_h"), "60")
    settle(page._session)
    type_in(qtbot, table.cell("River", "runs_from"), "20:00")
    settle(page._session)
    (pump,) = orchard(page).pumps
    assert (pump.flow_m3_h, pump.runs_from) == (60.0, dt.time(20))
    type_in(qtbot, table.cell("River", "name"), "Creek")
    settle(page._session)
    assert [p.name for p in orchard(page).pumps] == ["Creek"]
    qtbot.mouseClick(table.links["Creek"], Qt.MouseButton.LeftButton)
    settle(page._session)
    assert orchard(page).pumps == ()
    page._session.undo_last()
    settle(page._session)
    page._session.undo_last()
    settle(page._session)
    (pump,) = orchard(page).pumps
    assert (pump.name, pump.flow_m3_h, pump.runs_from) == ("River", 60.0, dt.time(20))
    for _ in range(3):
        page._session.undo_last()
        settle(page._session)
    assert orchard(page).pumps == ()


def test_what_cannot_be_is_said_below_and_not_stored(
    page: FarmPage, qtbot: Any, settle: Settle
) -> None:
    table = page.source.pumps
    begin(page, qtbot, settle, "River")
    begin(page, qtbot, settle, "river")
    assert "already a pump River" in table.wrong.text()
    cell = table.cell("River", "out_from")
    type_in(qtbot, cell, "next week")
    settle(page._session)
    assert "next week" in table.wrong.text() and cell.property("wrong") == "true"
    assert orchard(page).pumps[0].out_from is None
    qtbot.keyClick(cell, Qt.Key.Key_Escape)


def test_the_first_pump_out_of_order_is_the_farms_own_setting(
    page: FarmPage, qtbot: Any, settle: Settle
) -> None:
    day = page._session.today
    type_in(qtbot, page.source.pumps.cell("", "out_from"), day.isoformat())
    settle(page._session)
    type_in(qtbot, page.source.pumps.cell("", "out_to"), day.isoformat())
    settle(page._session)
    assert orchard(page).pump_out_from == day
    season = page._session.season
    assert season is not None
    told = home_told(page)
    (pump,) = [a for a in told if a.what == {"field": "pump_out_from"}]
    assert "out of order" in pump.sentence and pump.page == "farm"
    assert f"until {day_named(day)}; these wait:" in pump.sentence
    assert str(day.year) not in pump.sentence  # a card holds two lines
    page.show_what(**pump.what)
    assert page.source.pumps.cell("", "out_from").hasFocus()
    first = (day - season.on).days
    assert season.pump_days[first].hours == 0
    page._session.undo_last()
    page._session.undo_last()
    settle(page._session)
    assert orchard(page).pump_out_from is None


def test_what_is_left_of_the_right_stands_below_it(
    page: FarmPage, qtbot: Any, settle: Settle
) -> None:
    rights = page.source.rights
    assert not rights.used.isVisible()
    name, eve = orchard(page).blocks[0].name, page._session.today - dt.timedelta(days=1)
    enter_metered(page._session, name, eve, 21.5)
    settle(page._session)
    type_in(qtbot, rights.fields["right_m3_year"].edit, "800")
    settle(page._session)
    season = page._session.season
    assert season is not None and season.source is not None
    (use,) = season.source.used
    assert use.used_m3 == pytest.approx(21.5) and use.left_m3 == pytest.approx(778.5)
    assert rights.used.isVisible()
    assert "778 left" in rights.used.text()
    assert not [a for a in home_told(page) if a.what == {"field": "right_m3_year"}]
    type_in(qtbot, rights.fields["right_m3_year"].edit, "22")
    settle(page._session)
    season = page._session.season
    assert season is not None
    over = sum(p.m3 for p in season.pump_days) > 1.0
    assert bool([a for a in home_told(page) if a.what == {"field": "right_m3_year"}]) is over


def home_told(page: FarmPage) -> list[Any]:
    season, data = page._session.season, page._session.data
    assert season is not None and data is not None
    return attention(season, data, week_table(season))


def enter_metered(session: Session, block: str, day: dt.date, m3: float) -> None:
    from waterbudget import actions

    session.act(
        "ran",
        lambda file, now: actions.enter_ran(file, block, day, m3=m3, now=now),
        lambda file, now, _: actions.enter_ran(file, block, day, remove=True, now=now),
        {"ran"},
    )


def test_the_foot_of_the_week_tells_the_pumps_apart(
    page: FarmPage, qtbot: Any, settle: Settle
) -> None:
    begin(page, qtbot, settle, "River")
    from waterbudget import actions

    name = orchard(page).blocks[0].name
    page._session.act(
        "pump",
        lambda file, now: actions.set_block(file, name, {"pump": "River"}, now=now),
        lambda file, now, _: actions.set_block(file, name, {"pump": ""}, now=now),
        {"blocks"},
    )
    settle(page._session)
    season = page._session.season
    assert season is not None
    table = week_table(season)
    for k, foot in enumerate(table.foot):
        if foot.pump_hours is None:
            continue
        assert sum(h for _, h, _ in foot.pumps) == pytest.approx(foot.pump_hours)
        words = pump_sentence(table, k)
        assert "River: " in words and "First pump: " in words
