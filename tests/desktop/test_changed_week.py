"""Old and new: the week as handed out beside the plan as it stands, and handing out the rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from desktop.dialogs.changed_week import Changes, because
from desktop.pages.home import HomePage
from desktop.pages.home_attention import attention
from desktop.session import Session

Settle = Callable[[Session], None]
BACK_DAYS = 3


@pytest.fixture
def page(qtbot: QtBot, session: Session, settle: Settle) -> Iterator[HomePage]:
    """Home, three days after the week was handed out and with a watering that did not run."""
    first = session.today - dt.timedelta(days=BACK_DAYS)

    def live(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions, season

        moment = dt.datetime.combine(first, dt.time(7))
        week = actions.hand_out(file, season.run(file.read(), first), now=moment)
        missed = min(week.sets, key=lambda s: s.date)
        name = next(b.name for b in file.read().orchard.blocks if b.id == missed.block_id)
        actions.enter_ran(file, name, missed.date, hours=0, now=now)
        return week

    settle(session)
    session.act("test", live, None, ("plan", "ran"))
    settle(session)
    made = HomePage(session, lambda *_, **__: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    settle(session)
    yield made
    settle(session)


def open_changes(qtbot: QtBot, page: HomePage, settle: Settle) -> Any:
    qtbot.mouseClick(page.bar.changes, Qt.MouseButton.LeftButton)
    settle(page.session)
    return page.changed


def test_it_is_offered_only_while_the_plan_is_another(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert page.table is not None and page.table.changed_cells > 0
    assert page.bar.changes.isVisible()
    session.set_day(session.today - dt.timedelta(days=1))
    settle(session)
    assert not page.bar.changes.isVisible()


def test_the_grower_is_told_with_one_way_on(page: HomePage, session: Session) -> None:
    assert session.season is not None and session.data is not None and page.table is not None
    found = [
        a for a in attention(session.season, session.data, page.table) if a.what.get("changed")
    ]
    assert len(found) == 1 and str(page.table.changed_cells) in found[0].sentence
    page._go(found[0].page, found[0].what)
    assert page.changed.isVisible()


def test_old_and_new_stand_side_by_side(qtbot: QtBot, page: HomePage, settle: Settle) -> None:
    dialog = open_changes(qtbot, page, settle)
    found = dialog.found
    assert found is not None and found.changed
    last = page.session.today - dt.timedelta(days=BACK_DAYS) + dt.timedelta(days=6)
    assert found.days[0] == page.session.today and found.days[-1] == last
    assert page.table is not None
    for block in found.blocks:
        for c in block.cells:
            cell = page.table.cell(c.block_id, c.date)
            assert cell is not None
            assert c.new_hours == (cell.hours or 0.0)
            assert c.old_hours == (cell.given.hours if cell.given is not None else 0.0)
            assert c.changed == cell.changed
    sheet = dialog.sheet
    assert isinstance(sheet, Changes)
    assert {b.block for b in sheet.blocks} == {b.block for b in found.blocks if b.changed}
    changed = next(c for c in found.cells if c.changed)
    assert because([changed]) and because([changed]) in sheet.accessibleDescription()
    assert dialog.hand.isEnabled()


def test_the_corrected_week_is_handed_out_and_taken_back(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    dialog = open_changes(qtbot, page, settle)
    wanted = {(c.block_id, c.date): c.new_hours for c in dialog.found.cells if c.new_hours}
    qtbot.mouseClick(dialog.hand, Qt.MouseButton.LeftButton)
    settle(session)
    assert not dialog.isVisible()
    assert session.data is not None and page.table is not None
    week = session.data.given[-1]
    assert week.number == 2 and week.first == session.today
    assert {(s.block_id, s.date): s.hours for s in week.sets} == wanted
    assert page.table.changed_cells == 0 and not page.bar.changes.isVisible()
    assert "2" in page.foot.words.accessibleName()
    session.undo_last()
    settle(session)
    assert [w.number for w in session.data.given] == [1]
    assert page.table.changed_cells > 0 and page.bar.changes.isVisible()


def test_escape_closes_it_and_nothing_is_stored(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    dialog = open_changes(qtbot, page, settle)
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    settle(session)
    assert session.data is not None and len(session.data.given) == 1
    assert not dialog.isVisible()


def test_long_figures_stay_inside_their_day(qtbot: QtBot, page: HomePage, settle: Settle) -> None:
    from PySide6.QtGui import QFontMetricsF

    from desktop import theme

    dialog = open_changes(qtbot, page, settle)
    edges, wide, reasons = dialog.sheet._columns()
    assert all(b - a >= wide for a, b in pairwise(edges))
    was = QFontMetricsF(theme.font()).horizontalAdvance("18.75 › ")
    whole = was + QFontMetricsF(theme.font(bold=True)).horizontalAdvance("20.25") + 12
    assert whole <= wide and whole <= reasons - edges[-1] - wide
    assert reasons + 180 <= dialog.sheet.width()
