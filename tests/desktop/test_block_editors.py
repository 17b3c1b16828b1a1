"""Editors of one value, and the words of every setting."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QTableView

from desktop import wording
from desktop.editors import DayEdit, LineEdit, PickEdit, make_editor, read_day, set_editor_text
from desktop.exports import safe, write_csv
from desktop.flow import Flow, Part, parts
from desktop.models.blocks import SETS
from desktop.models.keys import choice_word, key_words, named_error
from waterbudget.errors import Refused
from waterbudget.orchard import BLOCK_KEYS, Orchard

TODAY = dt.date(2025, 7, 14)
ORCHARD = Orchard(name="f", lat=0, lon=30, epsg=32636, gauges=("Stream",))


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("2025-02-05", dt.date(2025, 2, 5)), ("5 Feb 2025", dt.date(2025, 2, 5)),
        ("Wed 5 Feb 2025", dt.date(2025, 2, 5)), ("5.2.25", dt.date(2025, 2, 5)),
        ("5/2/2025", dt.date(2025, 2, 5)), ("5 feb", dt.date(2025, 2, 5)),
        ("1 December", dt.date(2024, 12, 1)), ("today", TODAY),
        ("yesterday", TODAY - dt.timedelta(days=1)), ("-3", TODAY - dt.timedelta(days=3)),
        ("14 Jul", TODAY), ("15 Jul", dt.date(2024, 7, 15)),
    ],
)  # fmt: skip
def test_days_are_read_as_people_write_them(typed: str, day: dt.date) -> None:
    assert read_day(typed, TODAY) == day


@pytest.mark.parametrize("typed", ["", "31 Feb 2025", "13/13/2025", "soon", "2025-13-01", "5 Xyz"])
def test_what_is_no_day_is_not_guessed(typed: str) -> None:
    assert read_day(typed, TODAY) is None


@given(st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31)))
def test_a_day_as_it_is_shown_is_read_back(day: dt.date) -> None:
    assert read_day(wording.day_year(day), TODAY) == day
    assert read_day(f"{wording.day_short(day)} {day.year}", TODAY) == day


def test_a_picked_day_reaches_the_core_as_iso(qtbot: Any) -> None:
    edit = DayEdit(TODAY)
    qtbot.addWidget(edit)
    edit.set_iso("2025-02-05")
    edit.show()
    edit.open_calendar()
    assert edit.calendar_open()
    with qtbot.waitSignal(edit.committed) as told:
        days = edit._calendar.findChild(QTableView)
        qtbot.keyClick(days, Qt.Key.Key_Right)
        qtbot.keyClick(days, Qt.Key.Key_Return)
    assert told.args == ["2025-02-06"]
    assert not edit.calendar_open()


def test_text_that_is_no_day_is_handed_on_for_the_core_to_refuse(qtbot: Any) -> None:
    edit = DayEdit(TODAY)
    qtbot.addWidget(edit)
    with qtbot.waitSignal(edit.committed) as told:
        qtbot.keyClicks(edit, "soon")
        qtbot.keyClick(edit, Qt.Key.Key_Return)
    assert told.args == ["soon"]


@pytest.mark.parametrize("name", sorted(BLOCK_KEYS))
def test_every_setting_has_words_an_editor_and_a_column(qtbot: Any, name: str) -> None:
    words = key_words(name)
    assert words.label and words.short
    assert words.label != name and "_" not in words.label
    assert words.group.partition(".")[0] in (
        "planting", "cycle", "watering", "soil", "salt", "canopy", "weather", "people", "stages",
        "pipes",
    )  # fmt: skip
    editor = make_editor(name, ORCHARD, TODAY)
    qtbot.addWidget(editor)
    assert editor.accessibleName().startswith(words.label)
    key = BLOCK_KEYS[name]
    if key.kind == "choice":
        assert isinstance(editor, PickEdit)
        assert {editor.itemData(i) for i in range(editor.count())} == {"", *key.choices}
    if key.kind == "date":
        assert isinstance(editor, DayEdit)


def test_every_setting_stands_in_a_ready_made_set() -> None:
    shown = {name for columns in SETS.values() for name in columns}
    assert set(BLOCK_KEYS) - shown == {"area_ha"}  # shown as the hectares of the block


def test_every_choice_has_words() -> None:
    for name, key in BLOCK_KEYS.items():
        for value in key.choices:
            assert "_" not in choice_word(name, value)
            assert choice_word(name, value) != "" and "-" not in choice_word(name, value).replace(
                "micro-sprinkler", ""
            )


def test_a_decimal_comma_is_taken_for_a_point(qtbot: Any) -> None:
    edit = LineEdit(BLOCK_KEYS["flow_m3_h"])
    qtbot.addWidget(edit)
    edit.setText("36,5")
    assert edit.value() == "36.5"
    note = LineEdit(BLOCK_KEYS["note"])
    qtbot.addWidget(note)
    note.setText("east, west")
    assert note.value() == "east, west"


def test_an_editor_that_was_not_touched_tells_nothing(qtbot: Any) -> None:
    edit = make_editor("flow_m3_h", ORCHARD, TODAY)
    qtbot.addWidget(edit)
    set_editor_text(edit, "36")
    with qtbot.assertNotEmitted(edit.committed):
        qtbot.keyClick(edit, Qt.Key.Key_Return)


def test_a_refused_setting_is_named_in_words() -> None:
    error = named_error(Refused("key.out_of_bounds", key="efficiency", value="85", low=0.2, high=1))
    assert error.fields["key"] == key_words("efficiency").label
    assert error.code == "key.out_of_bounds"


@pytest.mark.parametrize("cell", ["=1+1", "+cmd", "-2+3", "@x", "\t=1"])
def test_no_cell_of_an_export_starts_a_formula(cell: str) -> None:
    assert str(safe(cell)).startswith("'")


def test_plain_cells_of_an_export_stay_as_they_are(tmp_path: Any) -> None:
    assert [safe(c) for c in ("Kiln", "-3.5", 4.0, None, "36")] == ["Kiln", "-3.5", 4.0, "", "36"]
    path = tmp_path / "x.csv"
    write_csv(path, [["name"], ["Fußweg, oben"]])
    assert path.read_text(encoding="utf-8-sig").splitlines() == ["name", '"Fußweg, oben"']


def test_a_sentence_wraps_keeps_its_order_and_clicks(qtbot: Any) -> None:
    heard: list[str] = []
    flow = Flow(heard.append)
    qtbot.addWidget(flow)
    given_parts = {"mm": Part("26.8 mm", "takes"), "h": Part("11.6 h", "hours")}
    flow.set_parts(parts("The week takes {mm}, which is {h}.", given_parts))
    assert flow.text() == "The week takes 26.8 mm, which is 11.6 h."
    assert flow.heightForWidth(600) == flow.line
    assert flow.heightForWidth(150) >= 2 * flow.line
    flow.resize(600, flow.line)
    flow.show()
    first, second = flow.link("takes"), flow.link("hours")
    assert first is not None and second is not None
    assert first.geometry().right() < second.geometry().left()
    qtbot.mouseClick(second, Qt.MouseButton.LeftButton)
    qtbot.keyClick(first, Qt.Key.Key_Space)
    assert heard == ["hours", "takes"]
