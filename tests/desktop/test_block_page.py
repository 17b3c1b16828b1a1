"""One block: the sentence and where its numbers come from, editing in place, the cycle."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from PySide6.QtCore import Qt
from small_farm import NOW

from desktop.block_edits import set_keys
from desktop.editors import DayEdit
from desktop.models.block_facts import alarm, day_account, week_facts
from desktop.pages.block import BlockPage
from desktop.pages.block.bits import KeyField
from desktop.pages.block.side import account_lines
from desktop.pages.block.words import alarm_text, week_sentence
from desktop.session import Session
from desktop.widgets import Link
from waterbudget.orchard import Block

Settle = Callable[[Session], None]
FILL = "Kiln"


def stored(session: Session, name: str) -> Block:
    assert session.data is not None
    return session.data.orchard.block(name)


@pytest.fixture
def went() -> list[tuple[str, dict[str, Any]]]:
    return []


@pytest.fixture
def page(
    qtbot: Any, session: Session, settle: Settle, went: list[tuple[str, dict[str, Any]]]
) -> BlockPage:  # fmt: skip
    session.select(stored(session, FILL).id)
    made = BlockPage(session, lambda name, **what: went.append((name, what)))
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    settle(session)
    qtbot.waitExposed(made)
    return made


def number_of(text: str) -> float:
    found = re.search(r"-?\d+(?:\.\d+)?", text.replace("\u202f", "").replace("−", "-"))
    assert found is not None, text
    return float(found[0])


def link(page: BlockPage, key: str) -> Link:
    found = page.head.sentence.link(key)
    assert found is not None, page.head.sentence.text()
    return found


# -- the sentence ----------------------------


def test_the_printed_numbers_of_the_sentence_add_up(page: BlockPage) -> None:
    takes, net = number_of(link(page, "takes").text()), number_of(link(page, "net").text())
    missing = number_of(link(page, "missing").text())
    text = page.head.sentence.text()
    if "may be used" in text:
        missing = -missing
    rain = number_of(link(page, "rain").text()) if "of rain is counted" in text else 0.0
    drains = page.head.sentence.link("lost")
    lost = number_of(drains.text()) if drains is not None else 0.0
    assert net == pytest.approx(takes + missing - rain + lost, abs=1e-6)


def test_the_sentence_tells_the_week_the_sheet_has(page: BlockPage, session: Session) -> None:
    season = session.season
    assert season is not None
    block = season.block(FILL)
    facts = week_facts(season, block)
    assert facts is not None and facts.sets
    net = season.drivers.irrigation_mm[season.on_index :, block.column].sum()
    assert number_of(link(page, "net").text()) == pytest.approx(net, abs=0.06)
    assert number_of(link(page, "m3").text()) == pytest.approx(facts.m3, abs=0.6)
    assert str(len(facts.sets)) in link(page, "sets").text()


@pytest.mark.parametrize("key", ["takes", "net", "gross", "m3", "hours", "sets", "rain", "missing"])
def test_every_number_opens_its_origin_and_escape_comes_back(
    qtbot: Any, page: BlockPage, key: str
) -> None:
    words = link(page, key)
    qtbot.mouseClick(words, Qt.MouseButton.LeftButton)
    assert page.stack.currentWidget() is page.panel
    assert page.panel.title.text()
    qtbot.keyClick(page.panel, Qt.Key.Key_Escape)
    assert page.stack.currentWidget() is not page.panel
    assert link(page, key).hasFocus()


def test_a_number_in_a_chain_opens_its_own_chain(qtbot: Any, page: BlockPage) -> None:
    qtbot.mouseClick(link(page, "hours"), Qt.MouseButton.LeftButton)
    inner = next(x for x in page.panel.findChildren(Link) if "m³" in x.text())
    qtbot.keyClick(inner, Qt.Key.Key_Return)
    assert page.panel.showing == "m3"
    assert "Cubic" in page.panel.title.text()


def test_a_block_without_flow_says_so_and_its_words_open_the_flow(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    session.select(stored(session, "Gully").id)
    settle(session)
    assert "so no hours" in page.head.sentence.text()
    qtbot.mouseClick(link(page, "edit:flow"), Qt.MouseButton.LeftButton)
    field = next(f for f in page.panel.findChildren(KeyField) if f.name == "flow_m3_h")
    qtbot.keyClicks(field.editor, "24,5")
    qtbot.keyClick(field.editor, Qt.Key.Key_Return)
    settle(session)
    assert stored(session, "Gully").flow_m3_h == 24.5
    assert "so no hours" not in page.head.sentence.text()


# -- alarms ----------------------------


def test_a_dry_block_in_fruit_fill_is_told_with_cause_and_remedy(page: BlockPage) -> None:
    assert page.head.alarm_row.isVisible()
    words = page.head.alarm.text()
    assert words.startswith("Past easy water since")
    assert "no watering" in words
    assert "brings it back" in words or "does not bring it back" in words


def test_the_alarm_opens_what_ran(
    qtbot: Any, page: BlockPage, went: list[tuple[str, dict[str, Any]]]
) -> None:
    words = page.head.alarm.link("go:ran")
    assert words is not None
    qtbot.mouseClick(words, Qt.MouseButton.LeftButton)
    assert went == [("ran", {})]


def test_a_watering_that_did_not_run_is_named_as_the_cause(
    page: BlockPage, session: Session, settle: Settle
) -> None:
    from waterbudget import actions

    today = session.today

    def full_then_missed(file: Any, now: dt.datetime) -> None:
        day = today - dt.timedelta(days=8)
        actions.set_block(file, FILL, {"full_on": day.isoformat()}, now=now)
        actions.enter_ran(file, FILL, today - dt.timedelta(days=2), hours=0.0, now=now)

    session.act("test", full_then_missed, None, ("ran", "blocks"))
    settle(session)
    season = session.season
    assert season is not None
    found = alarm(season, season.block(FILL))
    assert found is not None and found.cause == "missed"
    assert "the watering of Saturday did not run" in alarm_text(found, season.on)


def test_rest_past_its_easy_water_is_no_alarm(
    page: BlockPage, session: Session, settle: Settle
) -> None:
    set_keys(session, stored(session, FILL), {"harvest_end": "2025-06-30"})
    settle(session)
    season = session.season
    assert season is not None
    assert season.stage(season.block(FILL)) == "rest"
    assert alarm(season, season.block(FILL)) is None
    assert "allowed in rest" in page.head.alarm.text()


# -- the account ----------------------------


def test_the_printed_lines_of_every_day_add_up(session: Session) -> None:
    season = session.season
    assert season is not None
    block = season.block("Far gate")
    for back in range(1, 120):
        account = day_account(season, block, season.on - dt.timedelta(days=back))
        assert account is not None
        lines = account_lines(account)
        start, *parts, end = [number_of(v.replace("− ", "-").replace("+ ", "")) for _, v in lines]
        assert start + sum(parts) == pytest.approx(end, abs=1e-6), account.date


def test_choosing_a_day_on_the_chart_shows_its_account(qtbot: Any, page: BlockPage) -> None:
    page.chart.setFocus()
    qtbot.keyClick(page.chart, Qt.Key.Key_PageUp)
    assert page.view is not None
    day = page.view.date(page.view.today - 7)
    titles = [w.accessibleName() for w in page.findChildren(type(page).mro()[1])]
    assert any(f"{day.day} Jul" in t and "Account" in t for t in titles)


# -- editing in place ----------------------------


def open_form(page: BlockPage, source: str, name: str) -> KeyField:
    page._click(f"edit:{source}")
    return next(f for f in page.panel.findChildren(KeyField) if f.name == name)


def test_a_figure_typed_in_place_changes_the_week_and_can_be_taken_back(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    before, words = stored(session, FILL), page.head.sentence.text()
    field = open_form(page, "flow", "flow_m3_h")
    field.editor.selectAll()  # type: ignore[union-attr]
    qtbot.keyClicks(field.editor, "18")
    qtbot.keyClick(field.editor, Qt.Key.Key_Return)
    settle(session)
    assert stored(session, FILL).flow_m3_h == 18.0
    assert page.head.sentence.text() != words
    session.undo_last()
    settle(session)
    assert stored(session, FILL) == before
    assert page.head.sentence.text() == words


def test_what_cannot_be_is_refused_in_words_and_nothing_is_stored(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    before = stored(session, FILL)
    field = open_form(page, "efficiency", "efficiency")
    field.editor.selectAll()  # type: ignore[union-attr]
    qtbot.keyClicks(field.editor, "85")
    qtbot.keyClick(field.editor, Qt.Key.Key_Return)
    settle(session)
    assert stored(session, FILL) == before
    assert field.below.isVisible()
    assert "between" in field.below.text()
    assert "efficiency" not in field.below.text()  # the setting is named in words


def test_another_soil_is_picked_from_a_list(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    field = open_form(page, "soil", "soil")
    editor = field.editor
    at = editor.findData("clay-loam")  # type: ignore[union-attr]
    editor.setCurrentIndex(at)  # type: ignore[union-attr]
    editor.activated.emit(at)  # type: ignore[union-attr]
    settle(session)
    assert stored(session, FILL).soil == "clay-loam"


# -- the cycle ----------------------------


def seen_edit(page: BlockPage, name: str) -> DayEdit:
    found = page.findChild(DayEdit, name)
    assert isinstance(found, DayEdit)
    return found


def test_a_seen_date_is_typed_as_people_write_it_and_moves_the_clock(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    edit = seen_edit(page, "seen_fill")
    qtbot.keyClicks(edit, "28 jun")
    qtbot.keyClick(edit, Qt.Key.Key_Return)
    settle(session)
    assert stored(session, FILL).cycles[-1].seen_fill == dt.date(2025, 6, 28)
    assert page.view is not None
    span = next(s for s in page.view.spans if s.stage == "fill")
    assert span.seen
    assert page.view.date(span.first) == dt.date(2025, 6, 28)
    assert [s.stage for s in page.view.seen] == ["fill"]


def test_a_later_pruning_begins_a_new_cycle_and_the_old_one_can_be_looked_at(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    edit = seen_edit(page, "pruned_on")
    edit.selectAll()
    qtbot.keyClicks(edit, "10 jul 2025")
    qtbot.keyClick(edit, Qt.Key.Key_Return)
    settle(session)
    assert [c.pruned_on for c in stored(session, FILL).cycles] == [
        dt.date(2025, 1, 20), dt.date(2025, 7, 10),
    ]  # fmt: skip
    old = next(x for x in page.findChildren(Link) if "20 Jan 2025" in x.text() and x.isVisible())
    qtbot.keyClick(old, Qt.Key.Key_Return)
    assert page.view is not None
    assert page.view.first == dt.date(2025, 1, 20)
    assert page.view.date(page.view.days) == dt.date(2025, 7, 10)


def test_a_date_out_of_order_is_refused_below_the_table(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    edit = seen_edit(page, "seen_harvest")
    qtbot.keyClicks(edit, "2025-01-02")
    qtbot.keyClick(edit, Qt.Key.Key_Return)
    settle(session)
    assert stored(session, FILL).cycles[-1].seen_harvest is None
    from PySide6.QtWidgets import QLabel

    told = page.findChild(QLabel, "cycle-problem")
    assert isinstance(told, QLabel)
    assert told.isVisible()
    assert "pruning date" in told.text()


# -- moving about ----------------------------


def test_keys_and_links_lead_to_the_next_block_and_back(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    assert page.head.name.text() == FILL
    qtbot.keyClick(page.chart, Qt.Key.Key_PageDown, Qt.KeyboardModifier.ControlModifier)
    settle(session)
    assert page.head.name.text() == "Upper ridge"
    qtbot.mouseClick(page.head.before, Qt.MouseButton.LeftButton)
    settle(session)
    assert page.head.name.text() == FILL


def test_another_morning_cannot_be_edited(
    page: BlockPage, session: Session, settle: Settle
) -> None:
    session.set_day(NOW.date() - dt.timedelta(days=10))
    settle(session)
    assert not seen_edit(page, "seen_fill").isEnabled()
    field = open_form(page, "flow", "flow_m3_h")
    assert not field.editor.isEnabled()


def test_the_side_takes_two_columns_where_there_is_room(qtbot: Any, page: BlockPage) -> None:
    page.resize(1920, 1000)
    qtbot.waitUntil(lambda: page.second_holder.isVisible() and page.stack.width() > 600)
    page.resize(1280, 700)  # in one step, as a window is that is no longer full screen
    qtbot.waitUntil(lambda: not page.second_holder.isVisible() and page.stack.width() < 400)
    assert page.width() == 1280


def test_a_farm_without_weather_says_what_to_do(
    qtbot: Any, empty_session: Session, settle: Settle, tmp_path: Any
) -> None:
    from small_farm import small_farm

    empty_session.open(small_farm(tmp_path / "bare.gpkg", with_weather=False))
    settle(empty_session)
    season = empty_session.season
    assert season is not None
    page = BlockPage(empty_session, lambda *_, **__: None)
    qtbot.addWidget(page)
    page.show()
    settle(empty_session)
    sentence = week_sentence(season, season.block(FILL), week_facts(season, season.block(FILL)))
    assert any(p.key == "go:weather" for p in sentence)
    assert page.view is not None and not page.view.has_water()


def test_a_missed_watering_leads_to_its_own_day(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle,
    went: list[tuple[str, dict[str, Any]]],
) -> None:  # fmt: skip
    from waterbudget import actions

    missed = session.today - dt.timedelta(days=2)

    def enter(file: Any, now: dt.datetime) -> None:
        day = session.today - dt.timedelta(days=8)
        actions.set_block(file, FILL, {"full_on": day.isoformat()}, now=now)
        actions.enter_ran(file, FILL, missed, hours=0.0, now=now)

    session.act("test", enter, None, ("ran", "blocks"))
    settle(session)
    words = page.head.alarm.link("go:ran")
    assert words is not None
    qtbot.mouseClick(words, Qt.MouseButton.LeftButton)
    assert went == [("ran", {"date": missed})]


def test_a_page_nobody_looks_at_waits_until_it_is_shown(
    qtbot: Any, page: BlockPage, session: Session, settle: Settle
) -> None:
    words = page.head.sentence.text()
    page.hide()
    set_keys(session, stored(session, FILL), {"efficiency": "0.5"})
    settle(session)
    assert page.head.sentence.text() == words
    page.show()
    assert page.head.sentence.text() != words


@pytest.mark.parametrize(
    ("takes", "missing", "rain", "lost"),
    [
        (26.78, 4.04, 0.0, 0.0), (26.75, 4.05, 7.96, 0.0), (31.249, -6.151, 0.0, 0.749),
        (19.95, 3.55, 8.05, 1.25), (33.333, 0.0, 3.333, 0.333),
    ],
)  # fmt: skip
def test_the_printed_numbers_add_up_whatever_the_rounding(
    session: Session, takes: float, missing: float, rain: float, lost: float
) -> None:
    from dataclasses import replace

    season = session.season
    assert season is not None
    facts = week_facts(season, season.block(FILL))
    assert facts is not None
    told = replace(facts, takes_mm=takes, missing_mm=missing, rain_mm=rain, lost_mm=lost,
                   net_mm=takes + missing - rain + lost)  # fmt: skip
    sentence = week_sentence(season, season.block(FILL), told)
    text = "".join(p.text for p in sentence)
    figures = {p.key: number_of(p.text) for p in sentence if re.search(r"\d", p.text) and p.key}
    sign = -1 if "may be used" in text else 1
    total = figures["takes"] + sign * figures.get("missing", 0.0)
    total += figures.get("lost", 0.0) - figures.get("rain", 0.0)
    assert total == pytest.approx(figures["net"], abs=1e-6), text
