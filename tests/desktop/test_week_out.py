"""Every way the week goes out, with mouse and keys: sheet, calendar, message, list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QFileDialog
from pytestqt.qtbot import QtBot

from desktop import wording
from desktop.block_edits import block_of, set_keys
from desktop.dialogs.week_out import WeekOutDialog
from desktop.models.ran import ran_rows
from desktop.pages.home import HomePage
from desktop.session import Session
from desktop.settings import Settings

Settle = Callable[[Session], None]
KILN, RIDGE, GATE = 1, 2, 4


@pytest.fixture
def page(qtbot: QtBot, session: Session, settle: Settle) -> Iterator[HomePage]:
    people = ((KILN, {"valve_person": "Ann", "valve_order": "2"}), (RIDGE, {"valve_person": "Ben"}),
              (GATE, {"valve_person": "Ann", "valve_order": "1"}))  # fmt: skip
    for number, keys in people:
        block = block_of(session, number)
        assert block is not None
        set_keys(session, block, keys)
        settle(session)
    made = HomePage(session, lambda *_, **__: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    settle(session)
    made.exports.open_after = False
    yield made
    settle(session)


def opened(qtbot: QtBot, page: HomePage, settle: Settle) -> WeekOutDialog:
    if page.exports.dialog is None:
        page.week.setFocus()
        qtbot.keyClick(page.week, Qt.Key.Key_P, Qt.KeyboardModifier.ControlModifier)
    else:
        page.exports.show()
    settle(page.session)
    dialog = page.exports.dialog
    assert isinstance(dialog, WeekOutDialog) and dialog.isVisible()
    return dialog


def pick(dialog: WeekOutDialog, choice: Any, at: int, settle: Settle) -> None:
    choice.setCurrentIndex(at)
    choice.activated.emit(at)
    settle(dialog.session)


def hand_out(session: Session, settle: Settle) -> None:
    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions, season

        return actions.hand_out(file, season.run(file.read(), now.date()), now=now)

    session.act("test", do, None, ("plan",))
    settle(session)


def test_the_message_is_shown_and_copied_in_the_language_chosen(
    qtbot: QtBot, page: HomePage, settle: Settle
) -> None:
    dialog = opened(qtbot, page, settle)
    shown = dialog.message.toPlainText()
    assert shown.count("Waterings ") == 2 and "valve" not in dialog.told.text()
    assert "2 messages" in dialog.count.text()
    pick(dialog, dialog.language, dialog.language.findData("es"), settle)
    pick(dialog, dialog.person, dialog.person.findText("Ben"), settle)
    qtbot.mouseClick(dialog.copy, Qt.MouseButton.LeftButton)
    copied = QGuiApplication.clipboard().text()
    assert copied.startswith("Riegos Ben") and "Ann" not in copied
    assert copied == dialog.message.toPlainText()
    assert Settings().sheet_language == "es"
    assert wording.language() == "en"


@pytest.mark.parametrize(
    ("button", "name", "begins"),
    [("save", "w.pdf", b"%PDF"), ("calendar", "w.ics", b"BEGIN:VCALENDAR"),
     ("list", "w.csv", b"\xef\xbb\xbfperson,date,start")],
)  # fmt: skip
def test_a_file_is_written_by_a_click(
    button: str, name: str, begins: bytes, qtbot: QtBot, page: HomePage, settle: Settle,
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    asked: list[str] = []

    def answer(_: Any, title: str, proposed: str, kinds: str) -> tuple[str, str]:
        asked.append(f"{title} {proposed} {kinds}")
        return str(tmp_path / name), ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", answer)
    dialog = opened(qtbot, page, settle)
    qtbot.mouseClick(getattr(dialog, button), Qt.MouseButton.LeftButton)
    settle(page.session)
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert len(asked) == 1 and Path(name).suffix in asked[0]


def test_the_sheet_is_opened_to_be_printed(
    qtbot: QtBot, page: HomePage, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    from PySide6.QtGui import QDesktopServices

    seen: list[str] = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: seen.append(url.toLocalFile()))
    page.exports.open_after = True
    dialog = opened(qtbot, page, settle)
    qtbot.keyClick(dialog.paper, Qt.Key.Key_Space)
    settle(page.session)
    assert [Path(p).read_bytes()[:4] for p in seen] == [b"%PDF"]


def test_a_week_handed_out_keeps_its_figures_until_the_plan_is_asked_for(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    assert "proposal" in opened(qtbot, page, settle).told.text()
    page.exports.dialog.reject()
    hand_out(session, settle)
    dialog = opened(qtbot, page, settle)
    assert dialog.which.count() == 1 and "no. 1" in dialog.which.currentText()
    given = dialog.message.toPlainText()
    dialog.reject()
    kiln = block_of(session, KILN)
    assert kiln is not None
    set_keys(session, kiln, {"kc_fixed": "0.3"})
    settle(session)
    dialog = opened(qtbot, page, settle)
    assert dialog.message.toPlainText() == given and "changed" in dialog.told.text()
    pick(dialog, dialog.which, dialog.which.findData("proposal"), settle)
    assert dialog.message.toPlainText() != given


def test_it_is_off_while_another_morning_is_shown(
    qtbot: QtBot, page: HomePage, session: Session, settle: Settle
) -> None:
    session.set_day(session.today - dt.timedelta(days=3))
    settle(session)
    page.exports.show()
    assert page.exports.dialog is None


def test_what_ran_is_typed_in_the_order_of_the_sheet(
    page: HomePage, session: Session, settle: Settle
) -> None:
    hand_out(session, settle)
    assert session.data is not None and session.season is not None
    from waterbudget import sheet

    given = session.data.given[0]
    for date in sorted({s.date for s in given.sets}):
        typed = [r.block.name for r in ran_rows(session.data, session.season, date) if r.planned]
        sheets = sheet.valve_sheets(session.season, given)
        printed = [x.block for one in sheets for x in one.lines if x.date == date]
        assert typed == printed
    names = [b.block.name for b in session.season.blocks]
    assert names.index("Kiln") < names.index("Far gate")  # not merely the farm's own order
    both = [r.block.name for r in ran_rows(session.data, session.season, session.today)]
    assert both.index("Far gate") < both.index("Kiln") or "Far gate" not in both
