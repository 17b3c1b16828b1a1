"""Planting in a real window: tried, turned, kept, marked, compared, written, taken back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QFileDialog
from pytestqt.qtbot import QtBot
from shapely.geometry import LineString
from small_farm import EAST, NORTH, NOW

from desktop import theme, wording
from desktop.pages.land.planting import PlantingPanel
from desktop.session import Session
from waterbudget.records import LandMark

Settle = Callable[[Session], None]
KILN, RIDGE, GULLY, GATE = 1, 2, 3, 4
LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def panel(qtbot: QtBot, session: Session, settle: Settle) -> Iterator[PlantingPanel]:
    made = PlantingPanel(session, lambda *a, **k: None)
    qtbot.addWidget(made)
    made.resize(380, 1500)
    made.show()
    session.select(KILN)
    settle(session)
    yield made


def kiln(session: Session):
    return session.data.orchard.block("Kiln")


def type_in(qtbot: QtBot, field, words: str) -> None:
    field.edit.setFocus()
    field.edit.selectAll()
    qtbot.keyClicks(field.edit, words)
    qtbot.keyClick(field.edit, Qt.Key.Key_Return)


def test_blocks_without_outline_say_what_to_do(
    panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    # 120 x 90 m at 4 x 4 m: 30 x 22 with half a spacing free at the edges
    assert panel.made.planting.trees == 660 and "660 trees in 22 rows" in panel.count.text()
    session.select(GATE)
    settle(session)
    assert "Far gate has no outline" in panel.count.text() and not panel.body.isVisible()
    session.select(None)
    settle(session)
    assert "Choose a block" in panel.count.text()
    session.select(GULLY)
    settle(session)
    assert "distance between trees" in panel.wrong.text() and panel.body.isVisible()
    assert not panel.keep.isEnabled()


def test_tried_kept_and_taken_back(
    qtbot: QtBot, panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    before = kiln(session)
    panel.pattern.setFocus()
    qtbot.keyClick(panel.pattern, Qt.Key.Key_Down)
    qtbot.keyClick(panel.pattern, Qt.Key.Key_Down)
    panel.pattern.activated.emit(panel.pattern.currentIndex())
    settle(session)
    assert panel.made.planting.layout.pattern == "triangle"
    assert panel.made.planting.trees > 1.1 * 660
    assert panel.fields["row_spacing_m"].edit.placeholderText() == "3.46"
    type_in(qtbot, panel.fields["setback_m"], "5")
    settle(session)
    fewer = panel.made.planting.trees
    assert kiln(session) == before and not panel.mark.isEnabled()
    qtbot.mouseClick(panel.keep, LEFT)
    settle(session)
    kept = kiln(session)
    assert (kept.pattern, kept.setback_m) == ("triangle", 5.0) and kept.grid_lat is not None
    assert panel.made.planting.trees == fewer and panel.mark.isEnabled()
    session.undo_last()
    settle(session)
    assert kiln(session) == before and panel.made.planting.trees == 660
    session.redo_next()
    settle(session)
    assert kiln(session).pattern == "triangle"


def test_rows_turned_by_hand_keys_and_along_the_longest_side(
    qtbot: QtBot, panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    assert panel.dial.bearing == pytest.approx(90.1, abs=0.1)
    middle = panel.dial.rect().center()
    qtbot.mousePress(panel.dial, LEFT, pos=middle + QPoint(20, -20))
    qtbot.mouseRelease(panel.dial, LEFT, pos=middle + QPoint(20, -20))
    settle(session)
    assert panel.made.planting.layout.bearing_deg == pytest.approx(45.0, abs=4)
    now = panel.dial.bearing
    qtbot.keyClick(panel.dial, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    settle(session)
    assert panel.made.planting.layout.bearing_deg == pytest.approx(now + 15)
    assert panel.fields["bearing_deg"].text() == f"{now + 15:g}"
    type_in(qtbot, panel.fields["bearing_deg"], "12.5")
    settle(session)
    assert panel.dial.bearing == 12.5
    qtbot.mouseClick(panel.longest, LEFT)
    settle(session)
    assert panel.dial.bearing == pytest.approx(90.1, abs=0.1)
    type_in(qtbot, panel.fields["spacing_m"], "6")
    settle(session)
    assert panel.made.planting.layout.spacing_m == 6.0
    qtbot.mouseClick(panel.as_stored, LEFT)
    settle(session)
    assert panel.made.planting.trees == 660 and panel.fields["spacing_m"].text() == "4"
    type_in(qtbot, panel.fields["spacing_m"], "four")
    assert "no number" in panel.fields["spacing_m"].below.text()


def test_a_missing_tree_by_click_and_by_number(
    qtbot: QtBot, panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    at = panel.plan.place_of(5, 7).toPoint()
    qtbot.mouseClick(panel.plan, LEFT, pos=at)
    assert (panel.row.text(), panel.number.text()) == ("5", "7")
    qtbot.mouseClick(panel.mark, LEFT)
    settle(session)
    (mark,) = session.data.tree_marks
    assert (mark.row, mark.number, mark.state, mark.date) == (5, 7, "missing", NOW.date())
    assert "Missing 1" in panel.count.text() and "living 659" in panel.count.text()
    assert session.selected_block.trees == 659
    qtbot.keyClick(panel.plan, Qt.Key.Key_Right)
    assert panel.number.text() == "8"
    panel.state.set_value("replaced")
    qtbot.keyClick(panel.number, Qt.Key.Key_Return)
    settle(session)
    assert "young 1" in panel.count.text()
    panel.row.setText("99")
    qtbot.mouseClick(panel.mark, LEFT)
    settle(session)
    assert "no tree 8 in row 99" in panel.wrong.text() and len(session.data.tree_marks) == 2
    session.undo_last()
    settle(session)
    session.undo_last()
    settle(session)
    assert not session.data.tree_marks and "Missing 0" in panel.count.text()


def test_side_by_side(
    qtbot: QtBot, panel: PlantingPanel, session: Session, settle: Settle
) -> None:  # fmt: skip
    qtbot.mouseClick(panel.compare, LEFT)
    settle(session)
    grid = panel._grid
    words = [grid.itemAt(i).widget().text() for i in range(grid.count())]
    assert words[1:4] == ["square", "triangle", "rectangle"]
    assert "82" in words and "660" in words  # 6 mm x 0.85 over 16 m2
    panel.kc.setText("x")
    qtbot.keyClick(panel.kc, Qt.Key.Key_Return)
    assert "peak day" in panel.wrong.text()


def test_a_road_is_seen_and_kept_free(
    panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    way = LineString([(EAST + 61, NORTH - 9), (EAST + 61, NORTH + 99)])
    road = LandMark(kind="road", width_m=8.0, shape=way)

    def add(file, now):
        from waterbudget import actions

        return actions.add_land_mark(file, road, now=now)

    session.act("road", add, None, ("farm",))
    settle(session)
    assert panel.made.planting.trees == 660 - 2 * 22
    panel.grab()


def test_files_are_written(
    qtbot: QtBot, panel: PlantingPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    for kind in ("gpx", "geojson", "csv", "pegs"):
        path = tmp_path / f"out.{kind}"
        monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *a, p=path, **k: (str(p), ""))
        qtbot.mouseClick(panel.exports[kind], LEFT)
        settle(session)
        assert path.stat().st_size > 2000
    wording.use_language("es")
    qtbot.mouseClick(panel.exports["pegs"], LEFT)
    settle(session)
    assert "Hoja de estacado" in path.read_text(encoding="utf-8")


def test_contour_rows_ask_for_heights(
    panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    panel.pattern.set_value("contour")
    panel.pattern.activated.emit(panel.pattern.currentIndex())
    settle(session)
    assert panel.fields["fall_pct"].isVisible() and not panel.dial.isVisible()
    assert "height file" in panel.wrong.text()


def test_before_planting(
    qtbot: QtBot, panel: PlantingPanel, session: Session, settle: Settle
) -> None:
    before = panel.before
    qtbot.mouseClick(before.open, LEFT)
    settle(session)
    type_in(qtbot, before.plant_on, "2026-11-15")
    settle(session)
    # from planting back: 122 days in the nursery after grafting, 75 in the bag, 22 + 16 before
    words = " ".join(before.steps.words())
    assert "16 Jul 2026" in words and "2 May 2026" in words and "25 Mar 2026" in words
    assert "seeds" in before.amounts.text() and "693 stakes" in before.amounts.text()
    assert any("800" in w for w in before.site.words())
    type_in(qtbot, before.trees, "100")
    settle(session)
    assert "105 stakes" in before.amounts.text()
    qtbot.mouseClick(before.more, LEFT)
    settle(session)
    type_in(qtbot, before.edits["spare_share"], "0.1")
    settle(session)
    assert "110 stakes" in before.amounts.text()
    session.undo_last()
    settle(session)
    assert "105 stakes" in before.amounts.text() and not session.data.figures
    type_in(qtbot, before.edits["spare_share"], "7")
    settle(session)
    assert "0.5" in before.edits["spare_share"].below.text()
    type_in(qtbot, before.plant_on, "soon")
    assert "2026-11-15" in before.plant_on.below.text()


def test_spanish_dark_narrow_wide_and_closed(
    qtbot: QtBot, session: Session, settle: Settle, qapp: object
) -> None:
    wording.use_language("es")
    theme.use(qapp, "dark")
    panel = PlantingPanel(session, lambda *a, **k: None)
    qtbot.addWidget(panel)
    panel.show()
    session.select(KILN)
    settle(session)
    assert panel.minimumSizeHint().width() <= 356
    panel.show_comparison()
    panel.before.open.click()
    settle(session)
    panel.before.more.click()
    settle(session)
    assert panel.minimumSizeHint().width() <= 356
    panel.resize(1100, 800)
    qtbot.waitUntil(
        lambda: panel.keep.mapTo(panel, QPoint(0, 0)).x() > panel.plan.geometry().right()
    )
    panel.grab()
    assert "660 árboles" in panel.count.text()
    session.close()
    settle(session)
    assert not panel.body.isVisible()
    theme.use(qapp, "light")
