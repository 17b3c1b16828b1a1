"""Field days: the board, the card, drag and keys, undo, and the calendar file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import icalendar
import pytest
from PySide6.QtCore import QPoint, Qt
from small_farm import NOW

from desktop import wording
from desktop.models.cycle_view import cycle_view
from desktop.pages.work import WorkPage
from desktop.pages.work.board import ROW, DayColumns
from desktop.session import Session
from desktop.widgets import Link
from waterbudget.fieldwork import Job

Settle = Callable[[Session], None]
TODAY = NOW.date()


@pytest.fixture
def page(qtbot: Any, session: Session, settle: Settle) -> WorkPage:
    """The page of a farm whose block "Upper ridge" was pruned eight days ago."""

    def prune(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        pruned = TODAY - dt.timedelta(days=8)
        return actions.set_block(file, "Upper ridge", {"pruned_on": str(pruned)}, now=now)

    session.act("test", prune, None, ("blocks",))
    settle(session)
    made = WorkPage(session, lambda *_, **__: None)
    qtbot.addWidget(made)
    made.resize(1280, 670)
    made.show()
    qtbot.waitExposed(made)
    return made


def job(page: WorkPage, kind: str, day: int | None, block: str = "Upper ridge") -> tuple[int, Job]:
    assert page.board is not None
    for k, row in enumerate(page.board.rows):
        for j in row.jobs:
            if (
                row.name == block
                and (j.kind, j.cycle_day) == (kind, day)
                and (j.date > TODAY - dt.timedelta(days=14))
            ):
                return k, j
    raise AssertionError((kind, day))


def place(page: WorkPage, kind: str, day: int) -> QPoint:
    row, found = job(page, kind, day)
    return page.view.place(row, found).center().toPoint()


def click(qtbot: Any, page: WorkPage, at: QPoint) -> None:
    qtbot.mouseClick(page.view, Qt.MouseButton.LeftButton, pos=at)


def test_a_click_on_a_job_shows_its_card_with_the_cautions(qtbot: Any, page: WorkPage) -> None:
    click(qtbot, page, place(page, "spray", 10))
    assert page.card.title.text() == "Upper ridge: Spraying, day 10"
    said = [page.card.told.itemAt(i).widget().text() for i in range(page.card.told.count() - 1)]
    assert any("re-entry" in s and "label" in s for s in said)
    assert any("spray first" in s for s in said)
    assert not page.card.done_button.isEnabled()  # the day has not come


def test_a_job_is_dragged_to_another_day_and_taken_back(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle
) -> None:
    row, found = job(page, "spray", 20)
    start = page.view.place(row, found).center().toPoint()
    at = DayColumns(page.board, page.view.width())
    end = QPoint(int(start.x() + 3 * at.per_day), start.y())
    qtbot.mousePress(page.view, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(page.view, pos=end)
    qtbot.mouseRelease(page.view, Qt.MouseButton.LeftButton, pos=end)
    settle(session)
    _, moved = job(page, "spray", 20)
    assert (moved.state, moved.date) == ("moved", found.date + dt.timedelta(days=3))
    assert page.card.on.text() == moved.date.isoformat()
    session.undo_last()
    settle(session)
    assert job(page, "spray", 20)[1].state == "due"
    session.redo_next()
    settle(session)
    assert job(page, "spray", 20)[1].date == moved.date


def test_a_date_is_typed_with_the_keyboard_alone(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle
) -> None:
    page.view.setFocus()
    page.view.row = next(k for k, r in enumerate(page.board.rows) if r.name == "Upper ridge")
    for _ in range(8):
        qtbot.keyClick(page.view, Qt.Key.Key_Right)
        if page.card.job.cycle_day == 20 and page.card.job.date > TODAY:
            break
    qtbot.keyClick(page.view, Qt.Key.Key_Return)
    assert page.card.on.edit.hasFocus()
    when = page.card.job.date + dt.timedelta(days=2)
    qtbot.keyClicks(page.card.on.edit, when.isoformat())
    qtbot.keyClick(page.card.on.edit, Qt.Key.Key_Return)
    settle(session)
    assert job(page, "spray", 20)[1].date == when
    page.view.setFocus()
    qtbot.keyClick(page.view, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    settle(session)
    assert job(page, "spray", 20)[1].date == when - dt.timedelta(days=1)


def test_a_date_that_cannot_be_is_refused_on_the_card(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle
) -> None:
    click(qtbot, page, place(page, "spray", 20))
    for typed in ("soon", "2027-01-01", "2020-01-01"):
        page.card.on.edit.setFocus()
        page.card.on.edit.selectAll()
        qtbot.keyClicks(page.card.on.edit, typed)
        qtbot.keyClick(page.card.on.edit, Qt.Key.Key_Return)
        settle(session)
        assert page.card.problem.isVisible() or page.card.on.below.isVisible()
        assert job(page, "spray", 20)[1].state == "due"


def test_a_feeding_is_marked_done_with_its_amount(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle
) -> None:
    click(qtbot, page, place(page, "feed", 10))
    for field, typed in ((page.card.on, TODAY.isoformat()), (page.card.nitrogen, "30")):
        field.edit.setFocus()
        field.edit.selectAll()
        qtbot.keyClicks(field.edit, typed)
        qtbot.keyClick(field.edit, Qt.Key.Key_Return)
        settle(session)
    assert page.card.done_button.isEnabled()
    qtbot.mouseClick(page.card.done_button, Qt.MouseButton.LeftButton)
    settle(session)
    assert not page.card.problem.isVisible(), page.card.problem.text()
    _, found = job(page, "feed", 10)
    assert (found.state, found.date, found.n_kg_ha) == ("done", TODAY, 30.0)
    assert not page.card.done_button.isVisible()
    qtbot.mouseClick(page.card.forget, Qt.MouseButton.LeftButton)
    settle(session)
    assert job(page, "feed", 10)[1].state == "due"


def test_an_empty_day_takes_an_extra_job(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle
) -> None:
    row, _ = job(page, "feed", 10)
    at = DayColumns(page.board, page.view.width())
    day = page.board.column(TODAY) + 5
    click(qtbot, page, QPoint(int(at.x(day + 0.5)), row * ROW + 24))
    assert page.card.new.isVisible()
    qtbot.mouseClick(page.card.new_spray, Qt.MouseButton.LeftButton)
    settle(session)
    _, found = job(page, "spray", None)
    assert found.date == TODAY + dt.timedelta(days=5)
    assert page.card.job is not None and page.card.job.cycle_day is None


def test_what_comes_next_leads_to_the_job(qtbot: Any, page: WorkPage) -> None:
    links = [page.next.itemAt(i).widget() for i in range(page.next.count())]
    found = next(x for x in links if isinstance(x, Link) and "Upper ridge" in x.text())
    qtbot.mouseClick(found, Qt.MouseButton.LeftButton)
    assert page.card.job is not None and page.card.row.name == "Upper ridge"


def test_another_morning_cannot_be_edited(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle
) -> None:
    session.set_day(TODAY - dt.timedelta(days=2))
    settle(session)
    click(qtbot, page, place(page, "spray", 10))
    assert not page.card.on.isEnabled() and not page.card.skip.isVisible()
    assert not page.view.can_edit


def test_the_calendar_file_speaks_the_language_of_the_window(
    qtbot: Any, page: WorkPage, session: Session, settle: Settle, tmp_path: Any
) -> None:
    wording.use_language("es")
    page.write_ics(tmp_path / "labores.ics")
    settle(session)
    found = icalendar.Calendar.from_ical((tmp_path / "labores.ics").read_bytes())
    said = [str(e["SUMMARY"]) for e in found.walk("VEVENT")]
    assert "Upper ridge: Aplicación, día 10" in said


def test_the_blocks_chart_carries_the_marks(page: WorkPage, session: Session) -> None:
    block = session.season.block("Upper ridge")
    view = cycle_view(session.season, block)
    marks = {(m.kind, view.date(m.day)) for m in view.work}
    for kind, day in (("spray", 10), ("feed", 10), ("spray", 20)):
        assert (kind, TODAY + dt.timedelta(days=day - 8)) in marks
