"""The home page in a real window: mouse and keys, one farm file, one worker thread."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QGuiApplication, QMouseEvent
from PySide6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot
from small_farm import EAST, NORTH, NOW, small_farm

from desktop.models.week import BACK, WeekTable
from desktop.pages.home import HomePage
from desktop.pages.home_week_layout import Spot
from desktop.session import Session
from desktop.widgets import Link

KILN, RIDGE, GULLY, GATE = 1, 2, 3, 4
TODAY = NOW.date()
Settle = Callable[[Session], None]


class Going:
    """Remembers where the page wanted to go."""

    def __init__(self) -> None:
        self.to: list[tuple[str, dict[str, Any]]] = []

    def __call__(self, page: str, **what: Any) -> None:
        self.to.append((page, what))


@pytest.fixture
def going() -> Going:
    return Going()


@pytest.fixture
def page(qtbot: QtBot, session: Session, going: Going, settle: Settle) -> Iterator[HomePage]:
    made = HomePage(session, going)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    settle(session)
    made.exports.open_after = False
    made.week.setFocus()
    yield made
    settle(session)


def cell(page: HomePage, block: int, day: int) -> QPoint:
    """Return the middle of a cell of the week; day 0 is today."""
    layout, table = page.week.layout_now(), page.table
    assert layout is not None and table is not None
    return layout.box(Spot("body", "day", table.row_of[block], BACK + day)).center().toPoint()


def click(qtbot: QtBot, page: HomePage, at: QPoint) -> None:
    qtbot.mouseClick(page.week.viewport(), Qt.MouseButton.LeftButton, pos=at)


def typed(qtbot: QtBot, keys: str) -> QLineEdit:
    """Type into whatever has the focus now."""
    editor = QApplication.focusWidget()
    assert isinstance(editor, QLineEdit)
    qtbot.keyClicks(editor, keys)
    return editor


def told(page: HomePage) -> str:
    return page.foot.words.accessibleName() if not page.foot.words.isHidden() else ""


def hours(page: HomePage, block: int, day: int) -> float | None:
    assert page.table is not None
    found = page.table.cell(block, TODAY + dt.timedelta(days=day))
    assert found is not None
    return found.hours


# -- map and week -------------------------------------------------------------------------------


def test_choosing_in_the_map_chooses_in_the_week(
    qtbot: QtBot, page: HomePage, session: Session
) -> None:
    spot = page.map.canvas.camera.to_screen(EAST + 20, NORTH + 20).toPoint()
    qtbot.mouseClick(page.map.canvas, Qt.MouseButton.LeftButton, pos=spot)
    assert session.selected == KILN
    assert page.week.live.chosen == KILN


def test_choosing_in_the_week_chooses_in_the_map(
    qtbot: QtBot, page: HomePage, session: Session
) -> None:
    click(qtbot, page, cell(page, RIDGE, 2))
    assert session.selected == RIDGE
    assert page.map.canvas.selected == RIDGE
    qtbot.keyClick(page.week, Qt.Key.Key_Down)
    assert session.selected == page.map.canvas.selected != RIDGE


def with_rows(page: HomePage, count: int) -> WeekTable:
    """Return the week with its first block repeated, under ids from 100."""
    assert page.table is not None
    rows = tuple(replace(page.table.rows[0], block_id=100 + k) for k in range(count))
    return replace(page.table, rows=rows)


def test_a_block_out_of_sight_is_scrolled_to(page: HomePage) -> None:
    page.week.show_table(with_rows(page, 60))
    assert page.week.verticalScrollBar().maximum() > 0
    for block in (159, 100, 130):
        page.week.choose(block)
        layout = page.week.layout_now()
        assert layout is not None
        assert layout.body.contains(layout.box(Spot("body", "name", block - 100)))


def test_the_page_is_right_in_the_smallest_window(page: HomePage) -> None:
    """Twenty blocks stand without scrolling at 1280 x 740 (a head bar of 40 included)."""
    table = with_rows(page, 20)
    for size in ((1280, 700), (1366, 660)):
        page.resize(*size)
        page.week.show_table(table)
        QApplication.processEvents()
        assert page.week.verticalScrollBar().maximum() == 0, size
        assert 440 <= page.map.width() <= 560
        assert 720 <= page.week.width() <= 860


def test_double_click_on_a_name_opens_the_block(qtbot: QtBot, page: HomePage, going: Going) -> None:
    layout = page.week.layout_now()
    assert layout is not None and page.table is not None
    at = layout.box(Spot("body", "name", page.table.row_of[KILN])).center().toPoint()
    qtbot.mouseDClick(page.week.viewport(), Qt.MouseButton.LeftButton, pos=at)
    assert going.to == [("block", {"block": KILN})]


def test_enter_on_a_past_day_goes_to_what_ran(qtbot: QtBot, page: HomePage, going: Going) -> None:
    click(qtbot, page, cell(page, KILN, -2))
    qtbot.keyClick(page.week, Qt.Key.Key_Return)
    assert going.to == [("ran", {"date": TODAY - dt.timedelta(days=2)})]


# -- changing the week --------------------------------------------------------------------------


def test_hours_typed_over_a_cell_are_pinned_and_told(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    click(qtbot, page, cell(page, KILN, 1))
    qtbot.keyClicks(page.week, "5")
    editor = typed(qtbot, ".25")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(session)
    assert hours(page, KILN, 1) == 5.25
    assert session.data is not None
    assert [(p.block_id, p.hours) for p in session.data.pins] == [(KILN, 5.25)]
    assert told(page).startswith("Kiln: Tue 15 Jul now 5.25 h")
    assert "The pump on Tue 15 Jul" in told(page)
    session.undo_last()
    settle(session)
    assert session.data.pins == ()


def test_delete_keeps_a_day_dry_and_p_frees_it(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert page.table is not None and session.data is not None
    day = next(
        (c.date - TODAY).days for c in page.table.rows[page.table.row_of[KILN]].ahead if c.hours
    )
    click(qtbot, page, cell(page, KILN, day))
    qtbot.keyClick(page.week, Qt.Key.Key_Delete)
    settle(session)
    assert hours(page, KILN, day) is None
    assert [p.hours for p in session.data.pins] == [0.0]
    qtbot.keyClick(page.week, Qt.Key.Key_P)
    settle(session)
    assert session.data.pins == ()
    assert hours(page, KILN, day) is not None


def test_p_pins_a_cell_as_it_is(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert page.table is not None and session.data is not None
    day = next(
        (c.date - TODAY).days for c in page.table.rows[page.table.row_of[RIDGE]].ahead if c.hours
    )
    was = hours(page, RIDGE, day)
    click(qtbot, page, cell(page, RIDGE, day))
    qtbot.keyClick(page.week, Qt.Key.Key_P)
    settle(session)
    assert [(p.block_id, p.hours) for p in session.data.pins] == [(RIDGE, was)]


def drag(page: HomePage, qtbot: QtBot, a: QPoint, b: QPoint) -> None:
    port = page.week.viewport()
    qtbot.mousePress(port, Qt.MouseButton.LeftButton, pos=a)
    for k in range(1, 6):
        at = QPointF(a + (b - a) * k / 5)
        move = QMouseEvent(QEvent.Type.MouseMove, at, port.mapToGlobal(at),
                           Qt.MouseButton.NoButton, Qt.MouseButton.LeftButton,
                           Qt.KeyboardModifier.NoModifier)  # fmt: skip
        QApplication.sendEvent(port, move)
    qtbot.mouseRelease(port, Qt.MouseButton.LeftButton, pos=b)


def test_a_watering_is_dragged_to_another_day_in_one_step(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert page.table is not None and session.data is not None
    cells = page.table.rows[page.table.row_of[KILN]].ahead
    source = next(k for k, c in enumerate(cells) if c.hours)
    target = next(k for k, c in enumerate(cells) if not c.planned)
    was = cells[source].hours
    drag(page, qtbot, cell(page, KILN, source), cell(page, KILN, target))
    settle(session)
    assert hours(page, KILN, target) == was
    assert hours(page, KILN, source) is None
    assert {p.hours for p in session.data.pins} == {0.0, was}
    session.undo_last()
    settle(session)
    assert session.data.pins == ()
    assert hours(page, KILN, source) == was


def test_a_watering_is_moved_with_keys(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert page.table is not None
    cells = page.table.rows[page.table.row_of[KILN]].ahead
    source = next(k for k, c in enumerate(cells[:-1]) if c.hours and not cells[k + 1].planned)
    was = cells[source].hours
    click(qtbot, page, cell(page, KILN, source))
    qtbot.keyClick(page.week, Qt.Key.Key_Right, Qt.KeyboardModifier.AltModifier)
    settle(session)
    assert hours(page, KILN, source + 1) == was


def test_a_drag_that_ends_nowhere_changes_nothing(
    qtbot: QtBot, page: HomePage, session: Session
) -> None:
    assert page.table is not None and session.data is not None
    cells = page.table.rows[page.table.row_of[KILN]].ahead
    source = next(k for k, c in enumerate(cells) if c.hours)
    drag(page, qtbot, cell(page, KILN, source), cell(page, KILN, -2))
    assert session.idle and session.data.pins == ()


def test_nonsense_is_refused_in_one_sentence_and_stays_open(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    click(qtbot, page, cell(page, KILN, 1))
    qtbot.keyClicks(page.week, "9")
    editor = typed(qtbot, "9")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    assert "“99” is no number of hours" in told(page)
    assert editor.isVisible()
    qtbot.keyClick(editor, Qt.Key.Key_Escape)
    qtbot.waitUntil(page.week.hasFocus)
    assert session.data is not None and session.data.pins == ()


def test_what_was_typed_is_entered_by_a_click_elsewhere(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    click(qtbot, page, cell(page, KILN, 1))
    qtbot.keyClicks(page.week, "4")
    click(qtbot, page, cell(page, RIDGE, 3))
    settle(session)
    assert hours(page, KILN, 1) == 4.0


def test_hours_of_a_block_without_flow_say_what_is_missing(
    qtbot: QtBot, page: HomePage, session: Session
) -> None:
    click(qtbot, page, cell(page, GULLY, 1))
    qtbot.keyClicks(page.week, "3")
    assert "flow of Gully" in told(page)
    assert session.data is not None and session.data.pins == ()


def test_a_cleared_cell_is_the_plans_again(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert session.data is not None
    click(qtbot, page, cell(page, KILN, 1))
    qtbot.keyClicks(page.week, "5")
    qtbot.keyClick(typed(qtbot, ""), Qt.Key.Key_Return)
    settle(session)
    assert len(session.data.pins) == 1
    qtbot.waitUntil(page.week.hasFocus)
    qtbot.keyClick(page.week, Qt.Key.Key_Return)
    editor = typed(qtbot, "")
    qtbot.keyClick(editor, Qt.Key.Key_Backspace)  # the figure is marked as the field opens
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(session)
    assert session.data.pins == ()


def test_enter_without_a_change_stores_nothing(
    qtbot: QtBot, page: HomePage, session: Session
) -> None:
    for key in (Qt.Key.Key_Return, Qt.Key.Key_R, Qt.Key.Key_L):
        page.week.setFocus()
        click(qtbot, page, cell(page, KILN, 0))
        qtbot.keyClick(page.week, key)
        qtbot.keyClick(typed(qtbot, ""), Qt.Key.Key_Return)
    assert session.idle and session.undo.count() == 0


# -- rain, low and high -------------------------------------------------------------------------


def test_rain_of_today_is_typed_with_r_figures_enter(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    qtbot.keyClick(page.week, Qt.Key.Key_R)
    editor = typed(qtbot, "7,5")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(session)
    assert session.data is not None
    assert session.data.rain_typed == {"farm": {TODAY: 7.5}}
    assert page.table is not None and page.table.head[BACK].rain_mm == 7.5
    session.undo_last()
    settle(session)
    assert not session.data.rain_typed.get("farm")


def test_rain_of_a_day_back_is_typed_by_a_click(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    layout = page.week.layout_now()
    assert layout is not None
    click(qtbot, page, layout.box(Spot("rain", "day", -1, 1)).center().toPoint())
    editor = QApplication.focusWidget()
    assert isinstance(editor, QLineEdit)
    editor.selectAll()
    qtbot.keyClicks(editor, "12")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(session)
    assert session.data is not None
    assert session.data.rain_typed == {"farm": {TODAY - dt.timedelta(days=2): 12.0}}


def test_low_and_high_are_typed_with_l(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    qtbot.keyClick(page.week, Qt.Key.Key_L)
    editor = QApplication.focusWidget()
    assert isinstance(editor, QLineEdit)
    editor.selectAll()
    qtbot.keyClicks(editor, "9 24")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(session)
    assert session.data is not None
    day = session.data.records["house"].day(TODAY)
    assert (day["tmin_c"], day["tmax_c"]) == (9.0, 24.0)
    assert page.table is not None
    head = page.table.head[BACK]  # it counts from tomorrow on, but it must not seem lost
    assert (head.low_c, head.high_c, head.heat_from) == (9.0, 24.0, "typed")
    layout = page.week.layout_now()
    assert layout is not None
    click(qtbot, page, layout.box(Spot("heat", "day", -1, BACK)).center().toPoint())
    assert told(page).endswith("9 / 24 °C, counted from tomorrow on.")


def test_the_foot_tells_no_figures_of_before(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    click(qtbot, page, cell(page, KILN, 0))
    qtbot.keyClicks(page.week, "2")
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    settle(session)
    click(qtbot, page, cell(page, KILN, 1))
    click(qtbot, page, cell(page, KILN, 0))
    assert "2 h" in told(page) and "pinned" in told(page)
    session.undo_last()
    settle(session)
    assert told(page) and "pinned" not in told(page)


def test_each_gauge_has_its_own_rain(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    from desktop import block_edits

    block = block_edits.block_of(session, RIDGE)
    assert block is not None
    block_edits.set_keys(session, block, {"gauge": "Stream"})
    settle(session)
    page.week.setFocus()
    qtbot.keyClick(page.week, Qt.Key.Key_R)
    first = typed(qtbot, "4")
    qtbot.keyClick(first, Qt.Key.Key_Tab)
    second = typed(qtbot, "9")
    qtbot.keyClick(second, Qt.Key.Key_Return)
    settle(session)
    assert session.data is not None
    assert {g: d for g, d in session.data.rain_typed.items() if d} == {
        "farm": {TODAY: 4.0}, "Stream": {TODAY: 9.0}
    }  # fmt: skip


# -- handing out, taking out --------------------------------------------------------------------


def test_handing_out_shows_number_and_time_and_later_changes(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    qtbot.keyClick(page.week, Qt.Key.Key_H, Qt.KeyboardModifier.ControlModifier)
    settle(session)
    assert session.data is not None and [w.number for w in session.data.given] == [1]
    assert "07:02" in told(page) and "Week 1" in told(page)
    assert page.bar.given.accessibleName() == "week 1 handed out Mon 14 Jul 07:02"
    day = next(
        (c.date - TODAY).days
        for c in page.table.rows[page.table.row_of[KILN]].ahead if c.hours  # type: ignore[union-attr]
    )  # fmt: skip
    click(qtbot, page, cell(page, KILN, day))
    qtbot.keyClick(page.week, Qt.Key.Key_Delete)
    settle(session)
    assert "differ" in page.bar.given.accessibleName()
    assert page.table is not None
    changed = page.table.cell(KILN, TODAY + dt.timedelta(days=day))
    assert changed is not None and changed.changed
    session.undo_last()
    settle(session)
    session.undo_last()
    settle(session)
    assert session.data.given == ()


def test_the_week_is_copied_and_written(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle, tmp_path: Path
) -> None:
    qtbot.keyClick(page.week, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    lines = QGuiApplication.clipboard().text().splitlines()
    assert len(lines) == 1 + 4 + 2
    page.export("csv", tmp_path / "week.csv")
    page.export("pdf", tmp_path / "week.pdf")
    settle(session)
    assert (tmp_path / "week.csv").read_text("utf-8-sig").startswith("block,stage,2025-07-14")
    assert (tmp_path / "week.pdf").read_bytes().startswith(b"%PDF")


def test_a_file_that_cannot_be_written_is_one_sentence(
    page: HomePage, session: Session, settle: Settle, tmp_path: Path
) -> None:
    heard: list[object] = []
    session.refused.connect(heard.append)
    page.export("csv", tmp_path / "no such folder" / "week.csv")
    settle(session)
    assert [getattr(e, "code", "") for e in heard] == ["file.cannot_write"]


# -- the slider ---------------------------------------------------------------------------------


def test_keys_on_the_slider_go_through_the_days(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    slider = page.slider
    qtbot.keyClick(slider, Qt.Key.Key_Left)
    assert session.day == TODAY - dt.timedelta(days=1)
    qtbot.keyClick(slider, Qt.Key.Key_PageUp)
    assert session.day == TODAY - dt.timedelta(days=8)
    qtbot.keyClick(slider, Qt.Key.Key_PageDown)
    qtbot.keyClick(slider, Qt.Key.Key_Right)
    assert session.day == TODAY
    qtbot.keyClick(slider, Qt.Key.Key_Right)
    assert session.day == TODAY  # the days ahead belong to the plan
    qtbot.keyClick(slider, Qt.Key.Key_Home)
    assert session.day == slider.earliest
    settle(session)
    assert session.season is not None and session.season.on == slider.earliest
    qtbot.keyClick(page, Qt.Key.Key_T)
    settle(session)
    assert session.at_today


def test_dragging_the_slider_runs_the_newest_day_only(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    seen: list[dt.date] = []
    session.season_changed.connect(lambda s: seen.append(s.on))
    slider = page.slider
    days = [TODAY - dt.timedelta(days=k) for k in range(1, 25)]
    start = QPoint(round(slider.x_of(TODAY)), 20)
    qtbot.mousePress(slider, Qt.MouseButton.LeftButton, pos=start)
    for day in days:
        at = QPointF(slider.x_of(day), 20)
        slider.mouseMoveEvent(
            QMouseEvent(QEvent.Type.MouseMove, at, slider.mapToGlobal(at),
                        Qt.MouseButton.NoButton, Qt.MouseButton.LeftButton,
                        Qt.KeyboardModifier.NoModifier)
        )  # fmt: skip
    settle(session)
    assert session.season is not None and session.season.on == days[-1]
    assert len(seen) < len(days) / 2


def test_away_from_today_editing_and_printing_are_off(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle, tmp_path: Path
) -> None:
    session.set_day(TODAY - dt.timedelta(days=5))
    settle(session)
    banner = [w for w in page.band.findChildren(Link) if w.isVisible()]
    assert [b.text() for b in banner] == ["Back to today (T)"]
    click(qtbot, page, cell(page, KILN, 1))
    qtbot.keyClicks(page.week, "5")
    assert "come back to today" in told(page)
    qtbot.keyClick(page.week, Qt.Key.Key_Delete)
    qtbot.keyClick(page.week, Qt.Key.Key_P)
    page.hand_out()
    page.export("csv", tmp_path / "week.csv")
    page.map.set_editing(True)
    settle(session)
    assert session.data is not None and session.data.pins == () and session.data.given == ()
    assert not (tmp_path / "week.csv").exists()
    assert not page.map.editing
    qtbot.mouseClick(banner[0], Qt.MouseButton.LeftButton)
    settle(session)
    assert session.at_today


# -- sentences, needs ---------------------------------------------------------------------------


def test_at_most_three_sentences_each_with_a_way_on(page: HomePage) -> None:
    links = [w for w in page.band.findChildren(Link) if w.isVisible()]
    assert 1 <= len(links) <= 4  # the fourth opens the rest
    assert len(page.items) >= 1


def test_a_ready_farm_opens_on_map_and_week(page: HomePage) -> None:
    assert page.stack.currentIndex() == 0


def test_a_new_farm_opens_on_what_the_week_still_needs(
    qtbot: QtBot, empty_session: Session, going: Going, settle: Settle, tmp_path: Path
) -> None:
    path = small_farm(tmp_path / "new.gpkg", with_weather=False)
    page = HomePage(empty_session, going)
    qtbot.addWidget(page)
    page.resize(1280, 700)
    page.show()
    empty_session.open(path)
    settle(empty_session)
    assert page.stack.currentIndex() == 1
    assert page.needs.model.rowCount() == 4
    words = page.needs.items["weather"].count.text()
    assert words == "missing"
    link = page.needs.items["weather"].link
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    assert going.to == [("import", {"kind": "weather"})]
    by_hand = next(w for w in page.needs.items["weather"].findChildren(Link) if w is not link)
    qtbot.mouseClick(by_hand, Qt.MouseButton.LeftButton)
    page_name, what = going.to[-1]
    assert page_name == "home"
    page.show_what(**what)
    assert page.stack.currentIndex() == 0
    editor = typed(qtbot, "9 24")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(empty_session)
    assert empty_session.data is not None
    yesterday = empty_session.today - dt.timedelta(days=1)
    record = next(iter(empty_session.data.records.values()))
    assert record.day(yesterday)["tmax_c"] == 24.0
    page.show_needs(True)
    page.needs.left.emit()
    assert page.stack.currentIndex() == 0


def test_a_missing_thing_leads_to_its_field(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle, going: Going
) -> None:
    page.show_what(needs=True)
    settle(session)
    model = page.needs.model
    gully = next(r for r in range(model.rowCount()) if model.index(r, 0).data() == "Gully")
    table = page.needs.table
    table.setCurrentIndex(model.index(gully, 4))
    qtbot.keyClick(table, Qt.Key.Key_Return)
    assert going.to == [("block", {"block": GULLY, "edit": "flow"})]


def test_an_empty_map_offers_ways_but_does_not_ask_to_draw(
    qtbot: QtBot, empty_session: Session, going: Going, settle: Settle, tmp_path: Path
) -> None:
    empty_session.create(tmp_path / "bare.gpkg", name="Bare", lat=-19.9, lon=32.7)
    settle(empty_session)
    page = HomePage(empty_session, going)
    qtbot.addWidget(page)
    page.resize(1280, 700)
    page.show()
    page.show_needs(False)
    settle(empty_session)
    plate = page.map.empty
    assert plate.isVisible()
    words = [link.text() for link in plate.findChildren(Link)]
    assert words == ["Import a walk", "Type hectares", "Draw on a picture"]
    qtbot.mouseClick(plate.findChildren(Link)[1], Qt.MouseButton.LeftButton)
    assert going.to[-1][0] == "blocks"


# -- outlines -----------------------------------------------------------------------------------


def test_a_block_is_drawn_named_undone(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    panel, canvas = page.map, page.map.canvas
    panel.draw()
    canvas.zoom(0.5)
    for x, y in ((-150, 0), (-60, 0), (-60, 90), (-150, 90)):
        spot = canvas.camera.to_screen(EAST + x, NORTH + y).toPoint()
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=spot)
    qtbot.keyClick(canvas, Qt.Key.Key_Return)
    name = QApplication.focusWidget()
    assert isinstance(name, QLineEdit) and name.text() == "Block 5"
    qtbot.keyClicks(name, "Windy bench")
    qtbot.keyClick(name, Qt.Key.Key_Return)
    settle(session)
    assert session.data is not None
    drawn = session.data.orchard.block("Windy bench")
    assert drawn.outline_ha == pytest.approx(0.81, rel=0.05)
    assert session.selected == drawn.id
    session.undo_last()
    settle(session)
    assert len(session.data.orchard.blocks) == 4
    session.redo_next()
    settle(session)
    assert session.data.orchard.block("Windy bench").outline_ha == pytest.approx(drawn.outline_ha)


def test_an_outline_that_crosses_is_refused_and_marked(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    panel, canvas = page.map, page.map.canvas
    session.select(KILN)
    panel.set_editing(True)
    tool = canvas.tool
    assert tool is not None
    # the corner at the south-west is dragged across the edge on the other side
    corners = tool.parts[0][0]  # type: ignore[attr-defined]
    west_south = min(corners.tolist())
    qtbot.mousePress(canvas, Qt.MouseButton.LeftButton,
                     pos=canvas.camera.to_screen(*west_south).toPoint())  # fmt: skip
    at = QPointF(canvas.camera.to_screen(EAST + 110, NORTH + 130))
    canvas.mouseMoveEvent(
        QMouseEvent(QEvent.Type.MouseMove, at, canvas.mapToGlobal(at), Qt.MouseButton.NoButton,
                    Qt.MouseButton.LeftButton, Qt.KeyboardModifier.AltModifier)
    )  # fmt: skip
    qtbot.mouseRelease(canvas, Qt.MouseButton.LeftButton, pos=at.toPoint())
    settle(session)
    assert "cross" in panel.strip.words.text()
    assert canvas.wrong_at is not None
    assert session.undo.count() == 0
    qtbot.keyClick(canvas, Qt.Key.Key_Escape)
    assert canvas.wrong_at is None


def test_rename_and_delete_can_be_taken_back(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    panel = page.map
    session.select(RIDGE)
    panel.set_editing(True)
    panel.rename()
    name = QApplication.focusWidget()
    assert isinstance(name, QLineEdit)
    name.setText("kiln ")
    qtbot.keyClick(name, Qt.Key.Key_Return)
    settle(session)
    assert "Kiln" in panel.strip.words.text()  # the name is taken
    panel.rename()
    panel.strip.name.setText("High ridge")
    qtbot.keyClick(panel.strip.name, Qt.Key.Key_Return)
    settle(session)
    assert session.data is not None
    assert session.data.orchard.block("High ridge").id == RIDGE
    panel.delete()
    settle(session)
    assert len(session.data.orchard.blocks) == 3
    for _ in range(2):
        session.undo_last()
        settle(session)
    assert session.data.orchard.block("Upper ridge").id == RIDGE


def test_the_page_is_spoken(page: HomePage) -> None:
    """Everything that can take the focus has a name."""
    from PySide6.QtWidgets import QWidget

    unnamed = [
        w for w in page.findChildren(QWidget)
        if w.focusPolicy() != Qt.FocusPolicy.NoFocus
        and w.isVisibleTo(page)
        and not w.accessibleName()
        and not (isinstance(w, Link) and w.text())
        and type(w).__name__ not in ("QScrollArea", "QStackedWidget", "QHeaderView", "_Head")
        and not w.objectName().startswith("qt_")
    ]  # fmt: skip
    assert unnamed == []


def test_the_cursor_tells_what_a_cell_holds(qtbot: QtBot, page: HomePage) -> None:
    click(qtbot, page, cell(page, KILN, 0))
    said = page.week.accessibleDescription()
    assert said.startswith("Kiln, Mon 14 Jul:")
    qtbot.keyClick(page.week, Qt.Key.Key_Right)
    assert page.week.accessibleDescription().startswith("Kiln, Tue 15 Jul:")
    assert told(page) == page.week.accessibleDescription()


def test_a_long_sentence_is_cut_at_two_lines_and_stands_whole_in_its_tip(
    qtbot: QtBot, page: HomePage
) -> None:
    from desktop.pages.home_attention import Attention
    from desktop.pages.home_band import _TwoLines

    long = "Pump River is out of order from Tue 16 Sep 2025 to Wed 17 Sep 2025; these wait: " * 2
    page.band.show_items([Attention((0, k), long, "See the pumps", "farm") for k in range(3)])
    for width in (1280, 900, 1280):
        page.band.setFixedWidth(width)
        QApplication.processEvents()
        for label in page.band.findChildren(_TwoLines):
            if not label.isVisible():
                continue
            assert label.text().endswith("…") and label.text()[:-2] in long
            assert label.toolTip() == label.accessibleName() == long
            lines = label.fontMetrics().boundingRect(
                label.contentsRect(), Qt.TextFlag.TextWordWrap, label.text()
            )
            assert lines.height() <= label.height() + 1
    page.band.show_items([Attention((0, 0), "The record ends today.", "Add", "weather")])
    QApplication.processEvents()
    shown = [w for w in page.band.findChildren(_TwoLines) if w.isVisible()]
    assert [w.text() for w in shown] == ["The record ends today."]
