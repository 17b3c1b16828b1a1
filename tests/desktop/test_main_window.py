"""The window over the small farm: pages, keys, undo, status, help, files dropped, closing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QWidget
from small_farm import NOW

from desktop import main_window, wording
from desktop.main_window import MainWindow
from desktop.session import Session
from desktop.settings import Settings
from waterbudget.errors import Refused

Settle = Callable[[Session], None]


class PlainPage(QWidget):
    """Stands for the pages of others."""

    def __init__(self, session: Session, navigate: Any) -> None:
        super().__init__()
        self.shown: dict[str, Any] = {}

    def show_what(self, **what: Any) -> None:
        self.shown = what


@pytest.fixture
def window(
    empty_session: Session, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> Iterator[MainWindow]:
    own = {"welcome", "farm"}
    monkeypatch.setattr(main_window, "PlainPage", PlainPage, raising=False)
    plain = ("desktop.main_window", "PlainPage")
    pages = {k: v if k in own else plain for k, v in main_window.PAGES.items()}
    monkeypatch.setattr(main_window, "PAGES", pages)
    made = MainWindow(empty_session, Settings())
    qtbot.addWidget(made)
    made.resize(1280, 740)
    made.show()
    qtbot.waitExposed(made)
    yield made


@pytest.fixture
def on_farm(window: MainWindow, farm_path: Path, settle: Settle) -> MainWindow:
    window.session.open(farm_path)
    settle(window.session)
    return window


def set_pump(session: Session, hours: str) -> None:
    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.set_farm(file, {"pump_hours": hours}, now=now)

    def undo(file: Any, now: dt.datetime, _: Any) -> Any:
        from waterbudget import actions

        return actions.set_farm(file, {"pump_hours": "10"}, now=now)

    session.act("pump hours", do, undo, {"farm"})


def test_begins_on_the_welcome_page_without_a_head(window: MainWindow) -> None:
    assert window.page == "welcome"
    assert not window.head.isVisible()


def test_opens_home_and_names_the_farm(on_farm: MainWindow) -> None:
    assert on_farm.page == "home"
    assert on_farm.head.name.text() == "Test hill"
    assert on_farm.head.state.text() == "Mon 14 Jul"
    assert "Test hill" in on_farm.windowTitle()


def test_invented_farm_says_so_in_head_and_title(
    window: MainWindow, settle: Settle, tmp_path: Path
) -> None:
    from small_farm import small_farm

    window.session.open(small_farm(tmp_path / "i.gpkg", invented=True))
    settle(window.session)
    assert "(invented)" in window.head.name.text()
    assert "(invented)" in window.windowTitle()
    assert window.settings.recent == []  # the demo is no farm of the user's


def test_keys_and_mouse_open_the_pages(on_farm: MainWindow, qtbot: Any) -> None:
    for number, name in (
        (2, "blocks"),
        (8, "farm"),
        (3, "weather"),
        (4, "ran"),
        (5, "work"),
        (1, "home"),
    ):
        key = Qt.Key(Qt.Key.Key_0.value + number)
        qtbot.keyClick(on_farm, key, Qt.KeyboardModifier.AltModifier)
        assert on_farm.page == name
        assert on_farm.head.tabs[name].isChecked()
    qtbot.mouseClick(on_farm.head.tabs["farm"], Qt.MouseButton.LeftButton)
    assert on_farm.page == "farm"


def test_block_page_lies_under_blocks_and_chooses_the_block(on_farm: MainWindow) -> None:
    block = on_farm.session.data.orchard.block("Gully")  # type: ignore[union-attr]
    on_farm.navigate("block", block=block.id, field="soil")
    assert on_farm.session.selected == block.id
    assert on_farm.head.tabs["blocks"].isChecked()
    assert on_farm._pages["block"].shown == {"field": "soil"}  # type: ignore[attr-defined]


def test_undo_and_redo_with_keys(on_farm: MainWindow, qtbot: Any, settle: Settle) -> None:
    session = on_farm.session

    def hours() -> float | None:
        return session.data.orchard.pump_hours  # type: ignore[union-attr]

    set_pump(session, "7")
    settle(session)
    assert hours() == 7 and on_farm.head.undo.isVisible()
    assert "saved 07:02" in on_farm.head.state.text()
    control, shift = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
    qtbot.keyClick(on_farm, Qt.Key.Key_Z, control)
    settle(session)
    assert hours() == 10 and not on_farm.head.undo.isVisible()
    assert on_farm.status.words.text() == "Taken back: pump hours"
    qtbot.keyClick(on_farm, Qt.Key.Key_Z, control | shift)
    settle(session)
    assert hours() == 7


def test_refusal_is_one_sentence_until_something_is_done(
    on_farm: MainWindow, settle: Settle
) -> None:
    on_farm.session.refused.emit(Refused("farm.no_working_day"))
    assert on_farm.status.isVisible()
    assert on_farm.status.words.text().startswith("All seven days are days off")
    set_pump(on_farm.session, "7")
    settle(on_farm.session)
    assert not on_farm.status.isVisible()


def test_long_work_is_told_and_short_work_is_not(
    on_farm: MainWindow, qtbot: Any, settle: Settle
) -> None:
    import threading

    quick, go = threading.Event(), threading.Event()
    quick.set()
    for event in (quick, go):
        on_farm.session.worker.submit(event.wait, 5, label="Reading a long file")
    qtbot.wait(100)
    assert not on_farm.status.isVisible()
    qtbot.waitUntil(on_farm.status.isVisible, timeout=3000)
    assert on_farm.status.words.text() == "Reading a long file"
    go.set()
    settle(on_farm.session)
    qtbot.waitUntil(lambda: not on_farm.status.isVisible(), timeout=2000)


def test_the_wait_is_taken_away_when_another_job_ended_it(
    qtbot: Any, on_farm: MainWindow, settle: Settle
) -> None:
    """The line shows the first job's words; it is the second that leaves nothing to do."""
    status, metrics = on_farm.status, on_farm.status.words.fontMetrics()
    status.busy(True, "Reading a long file")
    qtbot.waitUntil(status.isVisible, timeout=3000)
    assert status.words.width() >= metrics.horizontalAdvance("Reading a long file")
    status.busy(True, "flow of Kiln")
    assert status.words.text() == "flow of Kiln"
    status.busy(True, "")
    status.busy(False)
    assert not status.isVisible()


def test_f1_helps_and_escape_closes(on_farm: MainWindow, qtbot: Any) -> None:
    on_farm.navigate("farm")
    qtbot.keyClick(on_farm, Qt.Key.Key_F1)
    assert on_farm.help is not None and on_farm.help.isVisible()
    assert on_farm.help.head.text() == "Farm"
    qtbot.keyClick(on_farm.help, Qt.Key.Key_Escape)
    assert not on_farm.help.isVisible()


def test_every_page_has_help() -> None:
    from desktop.help import help_for

    texts = {help_for(page)[1] for page in main_window.PAGES}
    assert len(texts) == len(main_window.PAGES)


def test_files_dropped_anywhere_are_brought_in(
    on_farm: MainWindow, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[Any] = []
    monkeypatch.setattr(MainWindow, "_import", lambda self, paths=None, kind="": seen.append(paths))
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile("/tmp/walk.gpx"), QUrl("https://example.org/x")])
    event = QDropEvent(QPointF(300, 300), Qt.DropAction.CopyAction, mime,
                       Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)  # fmt: skip
    on_farm.dropEvent(event)
    qtbot.waitUntil(lambda: bool(seen))
    assert seen == [[Path("/tmp/walk.gpx")]]


def test_language_switch_builds_everything_again(
    on_farm: MainWindow, qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Small(wording.Catalogue):
        def __init__(self, code: str) -> None:
            super().__init__(code)
            self.texts = {"Home": "Inicio", "Water and hours": "Agua y horas"}

    monkeypatch.setattr(wording, "Catalogue", Small)
    on_farm.navigate("farm")
    on_farm.navigate("language", code="es")
    qtbot.waitUntil(lambda: on_farm.head.tabs["home"].text() == "Inicio")
    assert on_farm.page == "farm"
    set_pump(on_farm.session, "7")  # pages that are gone must not be told
    settle(on_farm.session)
    assert on_farm.settings.language == "es"
    on_farm.activateWindow()  # the offscreen platform forgets it
    qtbot.waitUntil(on_farm.isActiveWindow)
    qtbot.keyClick(on_farm, Qt.Key.Key_1, Qt.KeyboardModifier.AltModifier)
    assert on_farm.page == "home"


def test_the_clock_is_looked_at_while_the_window_is_open(
    on_farm: MainWindow, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = NOW + dt.timedelta(days=1)
    monkeypatch.setattr(on_farm.session, "_clock", lambda: later)
    assert on_farm._clock.isActive()
    on_farm._clock.timeout.emit()
    settle(on_farm.session)
    assert on_farm.session.season is not None
    assert on_farm.session.at_today and on_farm.session.season.on == later.date()
    assert "15 Jul" in on_farm.head.state.text()


def test_light_switch_is_kept(on_farm: MainWindow) -> None:
    on_farm.navigate("light", mode="dark")
    assert Settings().light == "dark"
    on_farm.navigate("light", mode="light")


def test_closing_the_farm_goes_back_to_welcome_with_the_recent_one(
    on_farm: MainWindow, settle: Settle, farm_path: Path, qtbot: Any
) -> None:
    qtbot.keyClick(on_farm, Qt.Key.Key_W, Qt.KeyboardModifier.ControlModifier)
    settle(on_farm.session)
    assert on_farm.page == "welcome"
    assert Settings().recent == [farm_path]


def test_closing_the_window_stores_what_is_being_typed(
    on_farm: MainWindow, qtbot: Any, farm_path: Path
) -> None:
    from waterbudget.store import FarmFile

    on_farm.navigate("farm", field="pump_hours")
    edit = on_farm._pages["farm"].keys.fields["pump_hours"].edit  # type: ignore[attr-defined]
    qtbot.waitUntil(edit.hasFocus)
    qtbot.keyClicks(edit, "6")
    on_farm.close()
    with FarmFile.open(farm_path) as farm:
        assert farm.read().orchard.pump_hours == 6
    assert Settings().window is not None
    assert NOW.date() == dt.date(2025, 7, 14)
