"""What ran: a whole day in one pass, with the keyboard, in one transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit

from desktop.models.ran import (
    DIAL,
    M3,
    RAN,
    NotAFigure,
    counted,
    day_counts,
    ran_rows,
    read_figures,
    write_figures,
)
from desktop.models.week import week_table
from desktop.pages.home_attention import attention
from desktop.pages.ran import RanPage
from desktop.pages.ran.page import DayButton
from desktop.session import Session

Settle = Callable[[Session], None]


@pytest.fixture
def handed(session: Session, settle: Settle) -> Session:
    """The session after the week before was handed out, a week ago."""
    first = session.today - dt.timedelta(days=7)

    def hand_out(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions, season

        moment = dt.datetime.combine(first, dt.time(7))
        return actions.hand_out(file, season.run(file.read(), first), now=moment)

    session.act("test", hand_out, None, ("plan",))
    settle(session)
    assert session.data is not None and session.data.given
    return session


@pytest.fixture
def page(qtbot: Any, handed: Session) -> RanPage:
    made = RanPage(handed, lambda *_, **__: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    made.table.setFocus()
    return made


def entries(session: Session, date: dt.date) -> dict[str, list[tuple[Any, Any]]]:
    assert session.data is not None
    names = {b.id: b.name for b in session.data.orchard.blocks}
    found: dict[str, list[tuple[Any, Any]]] = {}
    for entry in session.data.ran:
        if entry.date == date:
            found.setdefault(names[entry.block_id], []).append((entry.hours, entry.m3))
    return found


def type_figure(qtbot: Any, page: RanPage, text: str) -> None:
    """Just type, as a person would, and press Enter."""
    row = page.table.currentIndex().row()
    qtbot.keyClick(page.table, text[0])
    editor = [w for w in page.table.viewport().findChildren(QLineEdit) if w.isVisible()][-1]
    qtbot.keyClicks(editor, text[1:])
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: page.table.state() != page.table.State.EditingState)
    assert row >= 0


# -- figures ----------------------------


@pytest.mark.parametrize(
    ("typed", "figures"),
    [
        ("4.25", [(4.25, None)]), ("4,25", [(4.25, None)]), ("4.25 h", [(4.25, None)]),
        ("212 m3", [(None, 212.0)]), ("212m³", [(None, 212.0)]), ("212 m", [(None, 212.0)]),
        ("3 + 2.5", [(3.0, None), (2.5, None)]), ("3+40 m3", [(3.0, None), (None, 40.0)]),
        ("7 h = 212 m3", [(7.0, 212.0)]), ("7,25=212", [(7.25, 212.0)]),
        ("0", [(0.0, None)]), ("no", [(0.0, None)]), ("", []), ("  ", []), (".5", [(0.5, None)]),
    ],
)  # fmt: skip
def test_figures_are_read_as_they_are_typed(typed: str, figures: list[Any]) -> None:
    assert read_figures(typed) == figures


@pytest.mark.parametrize(
    "typed", ["x", "4 hours or so", "-3", "3 +", "0 + 3", "1.2.3", "5 km", "7 = ", "= 3"]
)
def test_what_is_no_figure_is_not_guessed(typed: str) -> None:
    with pytest.raises(NotAFigure):
        read_figures(typed)


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 95)), min_size=1, max_size=3))
def test_figures_as_they_are_shown_are_read_back(given_figures: list[tuple[bool, int]]) -> None:
    figures = [(None, q / 4) if m3 else (q / 4, None) for m3, q in given_figures]
    shown = write_figures(figures)
    back = read_figures(shown)
    assert [h for h, _ in back] == [h for h, _ in figures]
    for (_, a), (_, b) in zip(back, figures, strict=True):
        assert (a is None) == (b is None)
        assert a is None or a == pytest.approx(b, abs=0.06)  # m3 are shown with one decimal


# -- the day in one pass ----------------------------


def test_it_opens_on_the_oldest_day_that_waits(page: RanPage, handed: Session) -> None:
    assert handed.data is not None
    waiting = [c.date for c in day_counts(handed.data, handed.today) if c.open]
    assert waiting
    assert page.date == min(waiting)
    state = page.model.rows[page.table.currentIndex().row()].state
    assert state == "not_confirmed"


def test_enter_takes_the_planned_hours_and_the_last_enter_stores_the_day(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    planned = {r.block.name: r.planned for r in page.model.rows if r.planned is not None}
    assert planned
    assert entries(handed, date) == {}
    for _ in range(page.model.rowCount()):
        qtbot.keyClick(page.table, Qt.Key.Key_Return)
    settle(handed)
    assert entries(handed, date) == {name: [(h, None)] for name, h in planned.items()}
    assert handed.data is not None
    assert next(c for c in day_counts(handed.data, handed.today) if c.date == date).open == 0


def test_one_block_is_told_as_one(page: RanPage, monkeypatch: pytest.MonkeyPatch) -> None:
    for blocks, said in ((1.0, "1 block, 2.00 h, "), (2.0, "2 blocks, 2.00 h, ")):
        sums = {"blocks": blocks, "hours": 2.0, "m3": 50.0}
        monkeypatch.setattr(page.model, "totals", lambda sums=sums: sums)
        page._tell()
        assert page.sums.text().startswith(said)


def test_the_whole_day_is_one_step_that_can_be_taken_back(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None and handed.data is not None
    version, steps = handed.data.version, handed.undo.count()
    page.table.setCurrentIndex(page.model.index(0, RAN))
    type_figure(qtbot, page, "0")
    type_figure(qtbot, page, "212 m3")
    type_figure(qtbot, page, "3 + 2")
    assert entries(handed, date) == {}  # nothing is stored while the day is typed
    qtbot.keyClick(page.table, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    settle(handed)
    names = [r.block.name for r in page.model.rows[:3]]
    assert entries(handed, date) == {
        names[0]: [(0.0, None)], names[1]: [(None, 212.0)], names[2]: [(3.0, None), (2.0, None)],
    }  # fmt: skip
    assert handed.data.version == version + 1
    assert handed.undo.count() == steps + 1
    handed.undo_last()
    settle(handed)
    assert entries(handed, date) == {}


def test_typing_does_not_move_the_rows_about(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    before = [r.block.name for r in page.model.rows]
    page.table.setCurrentIndex(page.model.index(0, RAN))
    type_figure(qtbot, page, "1")
    assert page.table.currentIndex().row() == 1
    assert [r.block.name for r in page.model.rows] == before


def test_what_is_no_figure_is_told_and_left_alone(
    qtbot: Any, page: RanPage, handed: Session
) -> None:
    page.table.setCurrentIndex(page.model.index(0, RAN))
    type_figure(qtbot, page, "4x")
    assert page.problem.isVisible()
    assert page.model.rows[0].block.name in page.problem.text()
    assert page.model.pending == {}


def test_the_rest_as_planned_leaves_what_is_typed(
    qtbot: Any, page: RanPage, handed: Session
) -> None:
    page.table.setCurrentIndex(page.model.index(0, RAN))
    type_figure(qtbot, page, "1.5")
    qtbot.mouseClick(page.rest, Qt.MouseButton.LeftButton)
    first = page.model.rows[0].block.id
    assert page.model.pending[first] == ((1.5, None),)
    for row in page.model.rows[1:]:
        if row.planned is not None:
            assert page.model.pending[row.block.id] == ((row.planned, None),)
    assert not page.rest.isEnabled()


def test_going_to_another_day_stores_this_one(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    qtbot.keyClick(page.table, Qt.Key.Key_Return)
    qtbot.keyClick(page.table, Qt.Key.Key_PageDown)
    settle(handed)
    assert page.date == date + dt.timedelta(days=1)
    assert len(entries(handed, date)) == 1
    qtbot.keyClick(page.table, Qt.Key.Key_PageUp)
    assert page.date == date


def test_leaving_the_page_stores_what_was_typed(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    qtbot.keyClick(page.table, Qt.Key.Key_Return)
    page.hide()
    settle(handed)
    assert len(entries(handed, date)) == 1


def test_minutes_typed_as_hours_are_asked_about_and_nothing_is_stored_before(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    page.table.setCurrentIndex(page.model.index(0, RAN))
    type_figure(qtbot, page, "90")
    page.store()
    settle(handed)
    first = page.model.rows[0].block
    assert entries(handed, date) == {}
    assert page.asking is not None and page.asking.isVisible()
    assert page.asking.questions.asked[0].question.fields["of_hours"] == 1.5
    qtbot.keyClick(page.asking, Qt.Key.Key_Escape)
    assert page.model.pending[first.id] == ((90.0, None),)  # as it was typed, and not stored
    page.store()
    settle(handed)
    minutes, _ = page.asking.questions.asked[0].group.buttons()
    assert minutes.text() == "Minutes"
    qtbot.mouseClick(minutes, Qt.MouseButton.LeftButton)
    qtbot.mouseClick(page.asking.main, Qt.MouseButton.LeftButton)
    settle(handed)
    assert entries(handed, date) == {first.name: [(1.5, None)]}
    assert page.model.pending == {}


def test_a_refused_figure_keeps_what_was_typed(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    page.table.setCurrentIndex(page.model.index(0, RAN))
    type_figure(qtbot, page, "99999 m3")
    page.store()
    settle(handed)
    assert entries(handed, date) == {}
    assert page.problem.isVisible() and "300 mm" in page.problem.text()
    assert page.model.pending[page.model.rows[0].block.id] == ((None, 99999.0),)


def test_the_meter_is_typed_beside_the_hours_and_the_water_follows_it(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    first = page.model.rows[0].block
    page.show_day(date - dt.timedelta(days=1))
    row = next(i for i, r in enumerate(page.model.rows) if r.block.id == first.id)
    page.table.setCurrentIndex(page.model.index(row, RAN))
    qtbot.keyClick(page.table, Qt.Key.Key_Right)
    assert page.table.currentIndex().column() == DIAL
    type_figure(qtbot, page, "18940")
    assert page.table.currentIndex().column() == DIAL
    page.store()
    settle(handed)
    page.show_day(date)
    settle(handed)
    row = next(i for i, r in enumerate(page.model.rows) if r.block.id == first.id)
    hours = page.model.rows[row].planned
    assert hours is not None
    wanted = round(0.8 * hours * 36.0, 1)
    page.table.setCurrentIndex(page.model.index(row, DIAL))
    type_figure(qtbot, page, str(18940 + wanted))
    assert page.model.data(page.model.index(row, M3)).startswith(str(round(wanted))[:2])
    page.store()
    settle(handed)
    assert handed.data is not None and handed.season is not None
    assert {m.m3 for m in handed.data.meter_readings} == {18940.0, 18940 + wanted}
    past = {s.date: s for b in handed.season.blocks if b.block.id == first.id for s in b.past}
    assert past[date].m3 == pytest.approx(wanted) and past[date].state == "ran"
    shown = page.model.rows[row]
    assert shown.state == "ran" and counted(shown)[1] == pytest.approx(wanted)
    handed.undo_last()
    settle(handed)
    assert [m.m3 for m in handed.data.meter_readings] == [18940.0]


def test_a_meter_that_went_backwards_is_asked_about_step_by_step(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    date = page.date
    assert date is not None
    first = page.model.rows[0].block.name

    def before(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.enter_meter(file, first, date - dt.timedelta(days=1), 18940, now=now)

    handed.act("test", before, None, ("ran",))
    settle(handed)
    page.table.setCurrentIndex(page.model.index(0, DIAL))
    type_figure(qtbot, page, "112")
    page.store()
    settle(handed)
    asked = page.asking.questions.asked
    assert [b.text() for b in asked[0].group.buttons()][1] == "It is a new meter"
    qtbot.mouseClick(asked[0].group.buttons()[1], Qt.MouseButton.LeftButton)
    qtbot.mouseClick(page.asking.main, Qt.MouseButton.LeftButton)
    settle(handed)
    fields = [a.field.edit for a in page.asking.questions.asked]
    for field, figure in zip(fields, ("100", "18950"), strict=True):
        qtbot.keyClicks(field, figure)
    qtbot.mouseClick(page.asking.main, Qt.MouseButton.LeftButton)
    settle(handed)
    assert handed.data is not None
    assert [m.offset_m3 for m in handed.data.meter_readings] == [0.0, 18850.0]


def test_a_meter_off_the_planned_flow_is_told_and_its_flow_can_be_taken(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    def low(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        for back in (6, 5, 4):
            date = handed.today - dt.timedelta(days=back)
            actions.enter_ran(file, "Kiln", date, hours=2, m3=60, again=True, now=now)

    handed.act("test", low, None, ("ran",))
    settle(handed)
    assert handed.season is not None and handed.data is not None
    told = attention(handed.season, handed.data, week_table(handed.season, handed.data))
    assert any("Kiln gives 17 % less by its meter" in a.sentence for a in told)
    card = page.drifts.itemAt(0).widget()
    assert "17 % less" in card.sentence.text() and "30 m3/h" in card.sentence.text()
    qtbot.mouseClick(card.link, Qt.MouseButton.LeftButton)
    settle(handed)
    assert handed.data is not None
    kiln = handed.data.orchard.block("Kiln")
    assert (kiln.flow_m3_h, kiln.flow_from) == (30.0, "meter")
    assert page.drifts.count() == 0
    handed.undo_last()
    settle(handed)
    assert handed.data.orchard.block("Kiln").flow_m3_h == 36.0


def test_tomorrow_cannot_be_entered(page: RanPage, handed: Session) -> None:
    page.show_day(handed.today)
    page.step(1)
    assert page.date == handed.today
    assert not page.forward.isEnabled()


def test_a_day_of_the_list_can_be_clicked(qtbot: Any, page: RanPage, handed: Session) -> None:
    wanted = handed.today - dt.timedelta(days=3)
    button = next(b for b in page.findChildren(DayButton) if b.count.date == wanted)
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert page.date == wanted


# -- what is counted ----------------------------


def test_after_a_click_the_next_key_goes_to_the_table(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    """Storing builds the list anew and turns the button off: the focus must not wander off."""
    qtbot.keyClick(page.table, Qt.Key.Key_Return)
    other = next(
        b for b in page.findChildren(DayButton) if b.isVisible() and b.count.date != page.date
    )
    qtbot.mouseClick(other, Qt.MouseButton.LeftButton)
    settle(handed)
    assert page.table.hasFocus()
    qtbot.mouseClick(page.back, Qt.MouseButton.LeftButton)
    assert page.table.hasFocus()
    qtbot.mouseClick(page.rest, Qt.MouseButton.LeftButton)
    qtbot.mouseClick(page.store_button, Qt.MouseButton.LeftButton)
    settle(handed)
    assert page.table.hasFocus()


def test_keys_in_the_list_stay_in_the_list(
    qtbot: Any, page: RanPage, handed: Session, settle: Settle
) -> None:
    chosen = next(
        b for b in page.findChildren(DayButton) if b.isVisible() and b.count.date != page.date
    )
    chosen.setFocus(Qt.FocusReason.TabFocusReason)
    qtbot.keyClick(chosen, Qt.Key.Key_Space)
    settle(handed)
    focus = page.focusWidget()
    assert isinstance(focus, DayButton) and focus.count.date == page.date


def test_metered_water_gives_hours_and_millimetres(handed: Session) -> None:
    assert handed.data is not None and handed.season is not None
    rows = ran_rows(handed.data, handed.season, handed.today)
    kiln = next(r for r in rows if r.block.name == "Kiln")  # 36 m3/h on 1.08 ha or so
    from dataclasses import replace

    h, m3, mm = counted(replace(kiln, entered=((None, 90.0),)))
    assert (h, m3) == (pytest.approx(2.5), 90.0)
    assert kiln.hectares is not None
    assert mm == pytest.approx(90.0 / kiln.hectares / 10)


def test_a_block_without_flow_counts_what_is_known(handed: Session) -> None:
    assert handed.data is not None and handed.season is not None
    rows = ran_rows(handed.data, handed.season, handed.today)
    gully = next(r for r in rows if r.block.name == "Gully")
    from dataclasses import replace

    assert counted(replace(gully, entered=((2.0, None),))) == (2.0, None, None)
    assert counted(gully) == (None, None, None)
