"""Bucket tests in a real window: typing, storing, taking back, going down the list."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from desktop.block_edits import block_of, set_keys
from desktop.dialogs.bucket import BucketDialog
from desktop.main_window import MainWindow
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Link

Settle = Callable[[Session], None]
KILN, RIDGE, GULLY, GATE = 1, 2, 3, 4


@pytest.fixture
def window(qtbot: QtBot, session: Session, settle: Settle) -> Iterator[MainWindow]:
    made = MainWindow(session, Settings())
    qtbot.addWidget(made)
    made.resize(1280, 740)
    made.show()
    settle(session)
    yield made


def lose_flow(session: Session, settle: Settle, block_id: int) -> None:
    """Take a block's flow away, so that one more lacks it."""
    block = block_of(session, block_id)
    assert block is not None
    set_keys(session, block, {"flow_m3_h": "", "flow_from": "", "outlet_l_h": ""})
    settle(session)


def opened(window: MainWindow) -> BucketDialog:
    dialog = window._bucket
    assert isinstance(dialog, BucketDialog)
    assert dialog.isVisible()
    return dialog


def type_in(qtbot: QtBot, edit: QLineEdit, words: str) -> None:
    qtbot.mouseClick(edit, Qt.MouseButton.LeftButton)
    edit.selectAll()
    qtbot.keyClicks(edit, words)


def type_catches(qtbot: QtBot, dialog: BucketDialog, *catches: tuple[str, str]) -> None:
    for (litres, seconds), typed in zip(dialog.lines, catches, strict=False):
        type_in(qtbot, litres, typed[0])
        type_in(qtbot, seconds, typed[1])


def test_from_the_list_of_needs_to_a_stored_flow_and_back(
    qtbot: QtBot, window: MainWindow, session: Session, settle: Settle
) -> None:
    window.navigate("home", needs=True)
    settle(session)
    link = window._pages["home"].needs.items["flow"].link  # type: ignore[attr-defined]
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    dialog = opened(window)
    assert dialog.block_id == GULLY
    assert dialog.outlets.text() == ""
    type_catches(qtbot, dialog, ("1", "72"), ("1,0", "60"), ("2", "180"))
    assert "outlets" in dialog.told.text()
    type_in(qtbot, dialog.outlets, "900")
    assert dialog.told.text() == "50 L/h an outlet, 45 m³/h for the block, spread 40 %"
    qtbot.keyClick(dialog.outlets, Qt.Key.Key_Return)
    settle(session)
    stored = block_of(session, GULLY)
    assert stored is not None
    assert (stored.flow_m3_h, stored.flow_from) == (45.0, "bucket")
    assert "45 m³/h, bucket test" in dialog.known.text()
    assert not dialog.next.isEnabled()
    assert dialog.focusWidget() is dialog.shut
    qtbot.keyClick(dialog.shut, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    settle(session)
    stored = block_of(session, GULLY)
    assert stored is not None
    assert (stored.flow_m3_h, stored.flow_from) == (None, None)
    assert "No flow" in dialog.known.text()
    qtbot.keyClick(dialog.shut, Qt.Key.Key_Return)
    assert not dialog.isVisible()


def test_down_the_list_of_blocks_without_a_flow_and_back_with_what_was_typed(
    qtbot: QtBot, window: MainWindow, session: Session, settle: Settle
) -> None:
    lose_flow(session, settle, KILN)
    window.navigate("bucket")
    dialog = opened(window)
    assert dialog.block_id == KILN
    type_catches(qtbot, dialog, ("1", "72"))
    assert dialog.told.text().endswith("one catch shows no spread")
    qtbot.mouseClick(dialog.next, Qt.MouseButton.LeftButton)
    assert dialog.block_id == GULLY
    assert dialog.lines[0][0].text() == ""
    assert dialog.focusWidget() is dialog.lines[0][0]
    qtbot.mouseClick(dialog.next, Qt.MouseButton.LeftButton)
    assert dialog.block_id == KILN
    assert dialog.lines[0][1].text() == "72"
    qtbot.mouseClick(dialog.store, Qt.MouseButton.LeftButton)
    settle(session)
    assert dialog.focusWidget() is dialog.next
    qtbot.keyClick(dialog.next, Qt.Key.Key_Return)
    assert dialog.block_id == GULLY
    assert not dialog.next.isEnabled()
    dialog.reject()


def test_from_the_block_table_with_the_outlets_filled_in(
    qtbot: QtBot, window: MainWindow, session: Session, settle: Settle
) -> None:
    window.navigate("blocks", columns="soil")
    link = window._pages["blocks"].bucket_link  # type: ignore[attr-defined]
    assert not link.isVisible()
    window.navigate("blocks", columns="watering", block=GATE)
    settle(session)
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    dialog = opened(window)
    assert dialog.block_id == GATE
    assert dialog.outlets.text() == "500"  # 0.8 ha at 4 x 4 m, one outlet a tree
    assert "catalogue" in dialog.known.text()
    qtbot.mouseClick(dialog.meter, Qt.MouseButton.LeftButton)
    assert not dialog.isVisible()


def test_from_the_settings_of_the_flow_on_a_blocks_own_page(
    qtbot: QtBot, window: MainWindow, session: Session, settle: Settle
) -> None:
    window.navigate("block", block=RIDGE, edit="flow")
    settle(session)
    panel = window._pages["block"].panel  # type: ignore[attr-defined]
    link = next(w for w in panel.findChildren(Link) if w.text() == "Enter a bucket test")
    link.setFocus()
    qtbot.keyClick(link, Qt.Key.Key_Return)
    assert opened(window).block_id == RIDGE
    opened(window).reject()


@pytest.mark.parametrize(
    ("catches", "outlets", "sentence"),
    [
        ([("1", "x")], "900", "x is no number"),
        ([("1", "")], "900", "Catch 1 needs both"),
        ([("1", "60")], "1,200", "1,200 is no whole number"),
        ([("1", "60")], "0", "at least 1"),
        ([("", ""), ("1", "60"), ("-1", "60")], "900", "Catch 3: litres and seconds"),
        ([("", ""), ("100", "60")], "900", "Catch 2 comes to 6000 L/h"),
        ([], "900", "Type litres and seconds"),
    ],
)
def test_what_cannot_be_is_told_and_not_stored(
    qtbot: QtBot, window: MainWindow, session: Session, settle: Settle,
    catches: list[tuple[str, str]], outlets: str, sentence: str,
) -> None:  # fmt: skip
    window.navigate("bucket", block=GULLY)
    dialog = opened(window)
    for (litres, seconds), typed in zip(dialog.lines, catches, strict=False):
        qtbot.keyClicks(litres, typed[0])
        qtbot.keyClicks(seconds, typed[1])
    type_in(qtbot, dialog.outlets, outlets)
    qtbot.keyClick(dialog.outlets, Qt.Key.Key_Return)
    settle(session)
    assert sentence in dialog.told.text()
    assert dialog.told.property("role") == "wrong"
    stored = block_of(session, GULLY)
    assert stored is not None and stored.flow_m3_h is None
    dialog.reject()


def test_every_line_has_a_name_and_the_keyboard_reaches_it(
    qtbot: QtBot, window: MainWindow, session: Session
) -> None:
    window.navigate("bucket", block=GULLY)
    dialog = opened(window)
    assert "clear of the pump" in " ".join(
        label.text() for label in dialog.findChildren(type(dialog.told))
    )
    edits = [edit for line in dialog.lines for edit in line] + [dialog.outlets]
    assert len({edit.accessibleName() for edit in edits}) == len(edits)
    assert dialog.focusWidget() is dialog.lines[0][0]
    for edit in [*edits[1:], dialog.store]:
        qtbot.keyClick(dialog.focusWidget(), Qt.Key.Key_Tab)
        assert dialog.focusWidget() is edit
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    assert not dialog.isVisible()


def test_only_todays_morning_stores(
    qtbot: QtBot, window: MainWindow, session: Session, settle: Settle
) -> None:
    session.set_day(session.today.replace(day=1))
    settle(session)
    window.navigate("bucket", block=GULLY)
    dialog = opened(window)
    type_catches(qtbot, dialog, ("1", "72"))
    type_in(qtbot, dialog.outlets, "900")
    assert not dialog.store.isEnabled()
    qtbot.keyClick(dialog.outlets, Qt.Key.Key_Return)
    settle(session)
    stored = block_of(session, GULLY)
    assert stored is not None and stored.flow_m3_h is None
    dialog.reject()
