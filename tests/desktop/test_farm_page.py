"""The farm page: every setting, stations, stage table, copy, check, history."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from farm_steps import orchard, type_in
from PySide6.QtCore import Qt

from desktop.pages.farm import FarmPage
from desktop.pages.farm_history import change_words
from desktop.pages.farm_stages import default_words, source_words
from desktop.session import Session
from waterbudget.orchard import ALL_STAGES, FARM_KEYS

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


def test_every_setting_of_the_farm_has_its_place(page: FarmPage) -> None:
    shown = {
        *page.keys.fields,
        *page.weather.fields,
        *page.stages.cells,
        *page.keys.flags,
        *page.weather.flags,
        *page.source.names,
        "days_off",
        "et0",
        "default_station",
    }
    assert shown == set(FARM_KEYS)


def test_typed_setting_is_stored_and_undone(page: FarmPage, qtbot: Any, settle: Settle) -> None:
    type_in(qtbot, page.keys.fields["pump_hours"].edit, "7.5")
    settle(page._session)
    assert orchard(page).pump_hours == 7.5
    page._session.undo_last()
    settle(page._session)
    assert orchard(page).pump_hours == 10.0
    assert page.keys.fields["pump_hours"].text() == "10"


def test_clearing_goes_back_to_the_default(page: FarmPage, qtbot: Any, settle: Settle) -> None:
    type_in(qtbot, page.keys.fields["pump_hours"].edit, "")
    settle(page._session)
    assert orchard(page).pump_hours is None
    assert page.keys.fields["pump_hours"].edit.placeholderText() == "no limit"


def test_refusal_stands_below_the_line(page: FarmPage, qtbot: Any, settle: Settle) -> None:
    heard: list[Any] = []
    page._session.refused.connect(heard.append)
    field = page.keys.fields["work_to"]
    type_in(qtbot, field.edit, "05:00")
    settle(page._session)
    assert field.below.text().startswith("The working day would end at 05:00")
    assert heard == []  # said once, where it was typed
    assert page._session.undo.count() == 0


def test_days_off_and_night(page: FarmPage, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(page.keys.days["sun"], Qt.MouseButton.LeftButton)
    settle(page._session)
    qtbot.mouseClick(page.keys.night, Qt.MouseButton.LeftButton)
    settle(page._session)
    assert orchard(page).days_off == ("sun",) and orchard(page).night_sets
    page._session.undo_last()
    page._session.undo_last()
    settle(page._session)
    assert orchard(page).days_off == () and not page.keys.days["sun"].isChecked()
    assert not page.keys.night.isChecked()


def test_stage_number_for_the_farm_and_back(page: FarmPage, qtbot: Any, settle: Settle) -> None:
    cell = page.stages.cells["allowed_fill"]
    assert cell.text() == "" and cell.placeholderText() == "0.35"
    type_in(qtbot, cell, "0.3")
    settle(page._session)
    assert orchard(page).stage_numbers == {"allowed_fill": 0.3}
    type_in(qtbot, cell, "3")
    settle(page._session)
    assert page.stages.wrong.text() == (
        "Easy share (RAW), fruit fill is 3; it must lie between 0.05 and 0.9."
    )
    assert orchard(page).stage_numbers == {"allowed_fill": 0.3}
    type_in(qtbot, cell, "")
    settle(page._session)
    assert orchard(page).stage_numbers == {}
    assert not page.stages.wrong.isVisible()


def test_arrow_keys_walk_down_the_stage_table(page: FarmPage, qtbot: Any) -> None:
    page.stages.cells["kcb_bloom"].setFocus()
    qtbot.keyClick(page.stages.cells["kcb_bloom"], Qt.Key.Key_Down)
    assert page.window().focusWidget() is page.stages.cells["kcb_set"]


def test_every_stage_says_where_its_default_comes_from() -> None:
    for stage in ALL_STAGES:
        short, whole = source_words(stage)
        assert "as above" not in whole and len(whole) > 30 and short
        assert all(default_words(stage).values())


def test_station_is_renamed_and_moved_and_put_back(
    page: FarmPage, qtbot: Any, settle: Settle
) -> None:
    def cell(column: str) -> Any:
        return next(c for c in page.stations.cells if c.column == column)

    type_in(qtbot, cell("elevation_m"), "1055")
    settle(page._session)
    type_in(qtbot, cell("name"), "hill top")
    settle(page._session)
    station = orchard(page).stations[0]
    assert (station.name, station.elevation_m) == ("hill top", 1055.0)
    page._session.undo_last()
    page._session.undo_last()
    settle(page._session)
    station = orchard(page).stations[0]
    assert (station.name, station.elevation_m) == ("house", 1040.0)
    type_in(qtbot, cell("lat"), "south")
    assert page.stations.wrong.text() == "south is not a number."


def test_copy_is_written_checked_and_its_date_shown(
    page: FarmPage, settle: Settle, tmp_path: Path
) -> None:
    from waterbudget.store import FarmFile

    assert page.file.copied.text() == "No copy was made yet."
    stick = tmp_path / "stick"
    stick.mkdir()
    page.file.save_copy(stick)
    settle(page._session)
    (copy,) = stick.iterdir()
    assert copy.name == "test-hill-2025-07-14.gpkg"
    assert str(copy) in page.file.said.text()
    assert page.file.copied.text() == "Last copy Mon 14 Jul 2025."
    with FarmFile.open(copy) as farm:
        assert farm.read().orchard.blocks[0].name == "Kiln"
    page.file.save_copy(tmp_path / "nowhere")
    settle(page._session)
    assert "There is no folder" in page.file.said.text()


def test_check_says_that_the_file_is_whole(page: FarmPage, settle: Settle) -> None:
    page.file.check_file()
    settle(page._session)
    assert page.file.said.text() == "The file is whole and every day's account closes."


def test_history_is_told_newest_first(page: FarmPage, qtbot: Any, settle: Settle) -> None:
    type_in(qtbot, page.keys.fields["pump_hours"].edit, "7.5")
    settle(page._session)
    lines = page.file.lines.text().splitlines()
    assert lines[0] == "14 Jul 07:02  Farm: Pump runs at most"
    assert lines[-1].endswith("The farm was begun")


def test_history_words() -> None:
    keys = {"block": "Kiln", "keys": ["soil", "stones", "trees", "valve"]}
    assert change_words("block.set", keys) == (
        "Kiln: Soil by feel, Stones, share of volume, Trees and 1 more"
    )
    rain = {"date": "2025-07-14", "mm": 2.5, "gauge": "farm"}
    assert change_words("rain.typed", rain) == "Rain of Mon 14 Jul: 2.5 mm, gauge farm"
    assert change_words("rain.typed", {**rain, "mm": None}).startswith("Rain of Mon 14 Jul taken")
    assert change_words("new.kind_of_thing", {}) == "new kind of thing"


def test_page_can_open_on_a_setting(page: FarmPage) -> None:
    page.show_what(field="default_wind_m_s")
    assert page.window().focusWidget() is page.weather.fields["default_wind_m_s"].edit
    assert dt.date(2025, 7, 14) == page._session.today


def test_one_block_that_ran_is_one_block_in_the_history() -> None:
    day = {"date": "2025-07-14", "blocks": 1}
    assert change_words("ran.day", day) == "What ran on Mon 14 Jul, 1 block"
    assert change_words("ran.day", {**day, "blocks": 2}) == "What ran on Mon 14 Jul, 2 blocks"
