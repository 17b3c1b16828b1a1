"""The block table: everything the map offers, and every setting of every block."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QFileDialog, QLineEdit

from desktop.editors import DayEdit, PickEdit
from desktop.models.blocks import MARK, SETS
from desktop.pages.blocks import BlocksPage
from desktop.pages.blocks.columns import ColumnsDialog
from desktop.session import Session
from waterbudget.orchard import Block

Settle = Callable[[Session], None]


@pytest.fixture
def went() -> list[tuple[str, dict[str, Any]]]:
    return []


@pytest.fixture
def page(
    qtbot: Any, session: Session, went: list[tuple[str, dict[str, Any]]]
) -> BlocksPage:  # fmt: skip
    made = BlocksPage(session, lambda name, **what: went.append((name, what)))
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    return made


def stored(session: Session, name: str) -> Block:
    assert session.data is not None
    return session.data.orchard.block(name)


def go_to(page: BlocksPage, session: Session, name: str, column: str) -> Any:
    """Put the cursor on a cell; return the half of the table it lies in."""
    view = page.table.names if column == "name" else page.table.cells
    row = page.model.row_of(stored(session, name).id)
    assert row is not None
    source = page.model.index(row, page.model.columns.index(column))
    view.setCurrentIndex(page.table.filter.mapFromSource(source))
    view.setFocus()
    return view


def cell(page: BlocksPage, session: Session, name: str, column: str) -> Any:
    row = page.model.row_of(stored(session, name).id)
    return page.model.index(row, page.model.columns.index(column))


def names(page: BlocksPage) -> list[str]:
    return [page.table.filter.index(r, 0).data() for r in range(page.table.filter.rowCount())]


def editor_in(view: Any, kind: type) -> Any:
    found = [w for w in view.viewport().findChildren(kind) if w.isVisible()]
    assert found, "no editor is open"
    return found[-1]


def type_over(qtbot: Any, view: Any, text: str, kind: type = QLineEdit) -> None:
    """Type over the cell the cursor is on, as a person would: just begin to type."""
    qtbot.keyClick(view, Qt.Key.Key_F2)
    editor = editor_in(view, kind)
    editor.selectAll()
    qtbot.keyClicks(editor, text)
    finish(qtbot, view, editor)


def finish(qtbot: Any, view: Any, editor: Any) -> None:
    """Press Enter and wait until the editor is gone (Qt hands the text on in its own time)."""
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: view.state() != view.State.EditingState)


# -- typing over a cell ----------------------------


def test_a_number_is_typed_over_stored_and_taken_back(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    before = stored(session, "Kiln")
    type_over(qtbot, go_to(page, session, "Kiln", "flow_m3_h"), "31.5")
    settle(session)
    assert stored(session, "Kiln").flow_m3_h == 31.5
    assert cell(page, session, "Kiln", "flow_m3_h").data() == "31.5"
    session.undo_last()
    settle(session)
    assert stored(session, "Kiln") == before
    session.redo_next()
    settle(session)
    assert stored(session, "Kiln").flow_m3_h == 31.5


def test_typing_a_figure_begins_to_edit(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    view = go_to(page, session, "Gully", "flow_m3_h")
    qtbot.keyClick(view, "2")
    editor = editor_in(view, QLineEdit)
    qtbot.keyClicks(editor, "4")
    finish(qtbot, view, editor)
    settle(session)
    assert stored(session, "Gully").flow_m3_h == 24.0


def test_a_date_is_typed_as_people_write_it(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    type_over(qtbot, go_to(page, session, "Gully", "pruned_on"), "3 may", DayEdit)
    settle(session)
    assert stored(session, "Gully").cycles[-1].pruned_on == dt.date(2025, 5, 3)


def test_a_column_is_typed_in_one_go_and_makes_room(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    view = go_to(page, session, "Gully", "pruned_on")
    column, row = view.currentIndex().column(), view.currentIndex().row()
    view.horizontalHeader().resizeSection(column, 30)
    type_over(qtbot, view, "3 may", DayEdit)
    settle(session)
    assert (view.currentIndex().row(), view.currentIndex().column()) == (row + 1, column)
    assert view.hasFocus()
    assert view.columnWidth(column) >= view.sizeHintForColumn(column)


def test_the_way_to_the_first_block_is_ready_to_type(page: BlocksPage) -> None:
    page.show_what(columns="overview", new=True)
    assert page.name.hasFocus()


def test_a_choice_is_picked_and_stored_at_once(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    view = go_to(page, session, "Gully", "soil")
    qtbot.keyClick(view, Qt.Key.Key_F2)
    editor = editor_in(view, PickEdit)
    at = editor.findData("clay-loam")
    editor.setCurrentIndex(at)
    editor.activated.emit(at)
    settle(session)
    assert stored(session, "Gully").soil == "clay-loam"


def test_del_empties_a_cell(qtbot: Any, page: BlocksPage, session: Session, settle: Settle) -> None:
    view = go_to(page, session, "Kiln", "valve")
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    settle(session)
    assert stored(session, "Kiln").valve is None


def test_what_cannot_be_is_refused_in_words_and_the_cell_stays(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    type_over(qtbot, go_to(page, session, "Kiln", "flow_m3_h"), "lots")
    settle(session)
    assert stored(session, "Kiln").flow_m3_h == 36.0
    assert page.problem.isVisible()
    assert "Flow of the valve" in page.problem.text()
    assert cell(page, session, "Kiln", "flow_m3_h").data() == "36"


def test_hectares_are_typed_only_where_there_is_no_outline(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    editable = Qt.ItemFlag.ItemIsEditable
    assert not cell(page, session, "Kiln", "hectares").flags() & editable
    assert cell(page, session, "Far gate", "hectares").flags() & editable
    type_over(qtbot, go_to(page, session, "Far gate", "hectares"), "0,9")
    settle(session)
    assert stored(session, "Far gate").area_ha == 0.9


def test_a_stage_number_of_one_block_is_typed_over(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    page.show_set("stages.kcb")
    assert cell(page, session, "Kiln", "kcb_fill").data(MARK) == "default"
    assert cell(page, session, "Kiln", "kcb_fill").data() == "0.75"
    type_over(qtbot, go_to(page, session, "Kiln", "kcb_fill"), "0.8")
    settle(session)
    assert stored(session, "Kiln").stage_numbers == {"kcb_fill": 0.8}
    assert cell(page, session, "Kiln", "kcb_fill").data(MARK) == "given"


def test_certainty_of_a_cell(page: BlocksPage, session: Session) -> None:
    assert cell(page, session, "Kiln", "flow_m3_h").data(MARK) == "given"
    assert cell(page, session, "Gully", "flow_m3_h").data(MARK) == "missing"
    assert cell(page, session, "Kiln", "stage").data(MARK) == "derived"
    page.show_set("soil")
    assert cell(page, session, "Kiln", "field_capacity").data(MARK) == "default"
    assert cell(page, session, "Kiln", "field_capacity").data() == "0.22"


# -- blocks come and go ----------------------------


def test_a_block_is_added_by_name_and_hectares_with_the_keyboard(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    qtbot.keyClick(page, Qt.Key.Key_N, Qt.KeyboardModifier.ControlModifier)
    assert page.name.hasFocus()
    qtbot.keyClicks(page.name, "New bench")
    qtbot.keyClick(page.name, Qt.Key.Key_Tab)
    qtbot.keyClicks(page.hectares, "1,2")
    qtbot.keyClick(page.hectares, Qt.Key.Key_Return)
    settle(session)
    assert stored(session, "New bench").area_ha == 1.2
    assert "New bench" in names(page)
    assert session.selected == stored(session, "New bench").id
    session.undo_last()
    settle(session)
    assert "New bench" not in names(page)


def test_a_name_that_is_taken_is_refused(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    qtbot.keyClicks(page.name, " kiln ")
    qtbot.keyClick(page.name, Qt.Key.Key_Return)
    settle(session)
    assert page.problem.isVisible()
    assert len(names(page)) == 4
    assert page.name.text() == " kiln "  # what was typed is still there


def test_a_block_is_renamed_in_place(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    number = stored(session, "Kiln").id
    type_over(qtbot, go_to(page, session, "Kiln", "name"), "Old kiln")
    settle(session)
    assert stored(session, "Old kiln").id == number
    session.undo_last()
    settle(session)
    assert stored(session, "Kiln").id == number


def test_a_deleted_block_comes_back_exactly(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    before = stored(session, "Kiln")
    view = go_to(page, session, "Kiln", "name")
    qtbot.keyClick(view, Qt.Key.Key_Delete, Qt.KeyboardModifier.ControlModifier)
    settle(session)
    assert "Kiln" not in names(page)
    session.undo_last()
    settle(session)
    assert stored(session, "Kiln") == before
    assert "Kiln" in names(page)


# -- sorting, finding, columns ----------------------------


def test_sorting_is_by_meaning_and_the_unknown_comes_last(page: BlocksPage) -> None:
    at = page.model.columns.index("pruned_on")
    page.table.cells.sortByColumn(at, Qt.SortOrder.AscendingOrder)
    assert names(page) == ["Far gate", "Kiln", "Upper ridge", "Gully"]
    at = page.model.columns.index("flow_m3_h")
    page.table.cells.sortByColumn(at, Qt.SortOrder.AscendingOrder)
    assert names(page)[-1] == "Gully"


def test_finding_and_filtering(qtbot: Any, page: BlocksPage) -> None:
    qtbot.keyClick(page, Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClicks(page.search, "RIDGE")
    assert names(page) == ["Upper ridge"]
    page.search.clear()
    page._show_only("missing")
    assert "Gully" in names(page) and "Kiln" not in names(page)
    page._show_only("fill")
    assert names(page) == ["Far gate"]


def test_chosen_columns_are_shown_and_remembered(
    qtbot: Any, page: BlocksPage, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def choose(dialog: ColumnsDialog) -> int:
        dialog._all(False)
        dialog.ticks["kc_factor"].setChecked(True)
        dialog.ticks["week_hours"].setChecked(True)
        return 1

    monkeypatch.setattr(ColumnsDialog, "exec", choose)
    page._choose_columns()
    assert page.model.columns == ("name", "week_hours", "kc_factor")
    again = BlocksPage(session, lambda *_, **__: None)
    qtbot.addWidget(again)
    again.show_set("own")
    assert again.model.columns == ("name", "week_hours", "kc_factor")


def test_every_ready_made_set_can_be_shown(page: BlocksPage) -> None:
    for name in SETS:
        page.show_set(name)
        assert page.model.columns == ("name", *SETS[name])
        for row in range(page.model.rowCount()):
            for column in range(page.model.columnCount()):
                assert isinstance(page.model.index(row, column).data(), str)


def test_arrows_cross_between_the_halves(qtbot: Any, page: BlocksPage, session: Session) -> None:
    view = go_to(page, session, "Kiln", "name")
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert page.table.cells.hasFocus()
    assert page.table.cells.currentIndex().column() == 1
    qtbot.keyClick(page.table.cells, Qt.Key.Key_Left)
    assert page.table.names.hasFocus()


def test_choosing_here_chooses_everywhere_and_back(
    qtbot: Any, page: BlocksPage, session: Session
) -> None:
    go_to(page, session, "Gully", "name")
    assert session.selected == stored(session, "Gully").id
    session.select(stored(session, "Kiln").id)
    assert page.table.names.currentIndex().siblingAtColumn(0).data() == "Kiln"


def test_enter_opens_the_block(
    qtbot: Any, page: BlocksPage, session: Session, went: list[tuple[str, dict[str, Any]]]
) -> None:
    view = go_to(page, session, "Gully", "stage")
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert went == [("block", {"block": stored(session, "Gully").id})]


# -- files ----------------------------


def test_what_is_exported_can_be_brought_in_again_and_changes_nothing(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle, tmp_path: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    path = tmp_path / "blocks.csv"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(path), ""))
    page._export()
    rows = list(csv.DictReader(path.open(encoding="utf-8-sig")))
    assert [r["name"] for r in rows] == names(page)
    assert session.data is not None
    before = session.data.orchard.blocks

    def bring_in(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.import_blocks_csv(file, path, now=now)

    session.act("test", bring_in, None, ("blocks",))
    settle(session)
    assert session.data.orchard.blocks == before


def test_chosen_cells_go_to_the_clipboard(qtbot: Any, page: BlocksPage, session: Session) -> None:
    view = go_to(page, session, "Kiln", "valve")
    qtbot.keyClick(view, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QApplication.clipboard().text() == "V1"


def test_another_morning_cannot_be_typed_over(
    page: BlocksPage, session: Session, settle: Settle
) -> None:
    session.set_day(dt.date(2025, 7, 1))
    settle(session)
    assert not cell(page, session, "Kiln", "flow_m3_h").flags() & Qt.ItemFlag.ItemIsEditable
    assert not page.add.isEnabled()


def test_an_outline_is_taken_away_its_hectares_stay_and_undo_brings_it_back(
    qtbot: Any, page: BlocksPage, session: Session, settle: Settle
) -> None:
    before = stored(session, "Kiln")
    go_to(page, session, "Kiln", "name")
    qtbot.mouseClick(page.outline_link, Qt.MouseButton.LeftButton)
    settle(session)
    after = stored(session, "Kiln")
    assert after.outline is None
    assert after.hectares == pytest.approx(before.hectares, abs=1e-3)
    assert not page.outline_link.isEnabled()
    session.undo_last()
    settle(session)
    assert stored(session, "Kiln") == before
    assert page.outline_link.isEnabled()
