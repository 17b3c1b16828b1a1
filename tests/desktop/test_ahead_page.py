"""The page "Ahead": strips of chance, the block's month, another plan beside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt

from desktop.charts.ahead import HEAD, ROW
from desktop.pages.ahead import AheadPage
from desktop.session import Session

Settle = Callable[[Session], None]


@pytest.fixture
def page(session: Session, qtbot: Any, settle: Settle) -> Iterator[AheadPage]:
    made = AheadPage(session, lambda page, **what: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    settle(session)
    yield made


def test_every_block_has_its_strip_and_few_years_are_told(page: AheadPage) -> None:
    assert page.view is not None
    assert len(page.view.rows) == len(page._session.data.orchard.blocks)  # type: ignore[union-attr]
    assert "past years" in page.notes.text() or "past year" in page.notes.text()


def test_a_click_chooses_the_block_everywhere(page: AheadPage, qtbot: Any) -> None:
    assert page.view is not None
    wanted = page.view.rows[1]
    qtbot.mouseClick(page.strips, Qt.MouseButton.LeftButton,
                     pos=QPoint(60, int(HEAD + ROW * 1.5)))  # fmt: skip
    assert page._session.selected == wanted.id
    assert page.name.text() == wanted.name
    assert page.fan.row is wanted
    page.strips.setFocus()
    qtbot.keyClick(page.strips, Qt.Key.Key_Down)
    assert page._session.selected == page.view.rows[2].id
    assert wanted.name not in page.strips.accessibleDescription()


def test_another_plan_is_laid_beside_and_nothing_is_stored(
    page: AheadPage, qtbot: Any, settle: Settle
) -> None:
    session = page._session
    before = session.data
    edit = page.trying.hours.edit
    edit.setFocus()
    edit.selectAll()
    qtbot.keyClicks(edit, "1")
    qtbot.mouseClick(page.trying.go, Qt.MouseButton.LeftButton)
    settle(session)
    assert page.changed is not None and page.view is not None
    assert page.changed.hours < page.view.hours
    assert page.strips.other is page.changed
    assert session.data is before and session.undo.count() == 0
    assert page.trying.back.isVisible()
    page.trying.back.click()
    assert page.strips.other is None


def test_what_cannot_be_tried_is_said_below(page: AheadPage, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(page.trying.go, Qt.MouseButton.LeftButton)
    assert page.trying.wrong.isVisible()
    page.trying.hours.edit.setText("300")
    qtbot.mouseClick(page.trying.go, Qt.MouseButton.LeftButton)
    settle(page._session)
    assert "300" in page.trying.wrong.text()
    assert page.changed is None and page.trying.go.isEnabled()


def test_one_block_that_runs_dry_is_told_by_its_name(page: AheadPage) -> None:
    from dataclasses import replace

    from desktop.pages.ahead.page import _lead

    assert page.view is not None
    rows = [replace(r, chance_in_fill=0.4 if i == 0 else 0.0) for i, r in enumerate(page.view.rows)]
    view = replace(page.view, rows=tuple(rows), years=tuple(range(2010, 2025)))
    assert f"{rows[0].name}, in fruit fill, runs dry in 40 % of the years" in _lead(view)
    both = [replace(r, chance_in_fill=0.4) for r in rows]
    assert f"{len(both)} blocks in fruit fill" in _lead(replace(view, rows=tuple(both)))
