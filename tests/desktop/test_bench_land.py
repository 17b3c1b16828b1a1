"""The land page with mouse and keys: every tool stores one step that can be taken back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from land_farm import ALT, CONTROL, GULLY, KILN, RIDGE, SHIFT, click, drag, hover, land_farm, on
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot
from small_farm import EAST, EPSG, NORTH, NOW

from desktop.mapview.tools import CornerTool, DrawTool, MeasureTool
from desktop.pages.land import LandPage
from desktop.session import Session
from desktop.widgets import Link

Key = Qt.Key
Settle = Callable[[Session], None]


@pytest.fixture
def session(empty_session: Session, tmp_path: Path, settle: Settle) -> Session:
    empty_session.open(land_farm(tmp_path / "land.gpkg"))
    settle(empty_session)
    return empty_session


@pytest.fixture
def page(qtbot: QtBot, session: Session, settle: Settle) -> LandPage:
    went: list[Any] = []
    made = LandPage(session, lambda *a, **k: went.append((a, k)))
    qtbot.addWidget(made)
    made.resize(1280, 700)
    with qtbot.waitActive(made):
        made.show()
    settle(session)
    made.map.canvas.setFocus()
    return made


def names(session: Session) -> list[str]:
    assert session.data is not None
    return sorted(b.name for b in session.data.orchard.blocks)


def outline(session: Session, name: str) -> Any:
    assert session.data is not None
    return session.data.orchard.block(name).outline


def said(page: LandPage) -> str:
    return page.outline.words_below.text()


def back_and_forth(session: Session, settle: Settle, look: Callable[[], Any], before: Any) -> None:
    """Undo is exactly as before, redo as after."""
    after = look()
    session.undo_last()
    settle(session)
    assert look() == before
    session.redo_next()
    settle(session)
    assert look() == after


def shapes(session: Session) -> dict[str, str | None]:
    assert session.data is not None
    return {b.name: None if b.outline is None else shapely.normalize(b.outline).wkt
            for b in session.data.orchard.blocks}  # fmt: skip


def test_letters_take_the_tools_and_esc_puts_them_down(qtbot: QtBot, page: LandPage) -> None:
    canvas = page.map.canvas
    for letter, word in ((Key.Key_D, "draw"), (Key.Key_C, "corners"), (Key.Key_S, "split"),
                         (Key.Key_J, "join"), (Key.Key_K, "cut"), (Key.Key_M, "measure"),
                         (Key.Key_F, "along")):  # fmt: skip
        qtbot.keyClick(canvas, letter)
        assert page.bench.word == word
        assert page.outline.tools.words[word].isChecked()
    qtbot.keyClick(canvas, Key.Key_Escape)
    assert page.bench.word == "choose" and canvas.tool is None


def test_words_take_the_tools_too(qtbot: QtBot, page: LandPage) -> None:
    for word, button in page.outline.tools.words.items():
        button.setFocus()
        qtbot.keyClick(button, Key.Key_Return)
        assert page.bench.word == word


def test_a_block_is_drawn_beside_its_neighbour(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas, before = page.map.canvas, shapes(session)
    qtbot.keyClick(canvas, Key.Key_D)
    for x, y in ((0, 90), (120, 90), (120, 130), (0, 130)):
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, x, y) + QPoint(3, 3))
    assert page.outline.title.text() == "New outline"
    assert page.outline.size_line.text().startswith("0.4")
    assert page.outline.table.corners.rowCount() == 4
    qtbot.keyClick(canvas, Key.Key_Return)
    name = QApplication.focusWidget()
    assert name is page.outline.naming.lines[0]
    page.outline.naming.lines[0].setText("Bench top")
    qtbot.keyClick(page.outline.naming.lines[0], Key.Key_Return)
    settle(session)
    drawn = outline(session, "Bench top")
    assert drawn.intersection(outline(session, "Kiln")).length == pytest.approx(120, abs=0.01)
    back_and_forth(session, settle, lambda: shapes(session), before)
    assert isinstance(canvas.tool, DrawTool) and canvas.tool.points == []  # the next one


def test_a_block_is_split_and_put_together_by_undo(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas, before = page.map.canvas, shapes(session)
    session.select(KILN)
    qtbot.keyClick(canvas, Key.Key_S)
    click(qtbot, canvas, 80, -10, ALT)
    click(qtbot, canvas, 80, 100, ALT)
    qtbot.keyClick(canvas, Key.Key_Return)
    larger, other = page.outline.naming.lines
    assert (larger.text(), other.text()) == ("Kiln", "Kiln 2")
    other.setText("Kiln east")
    qtbot.keyClick(other, Key.Key_Return)
    settle(session)
    assert names(session) == ["Far gate", "Gully", "Kiln", "Kiln east", "Upper ridge"]
    assert outline(session, "Kiln").area == pytest.approx(80 * 90, rel=0.02)
    assert session.data is not None
    east = session.data.orchard.block("Kiln east")
    assert [r.hours for r in session.data.ran if r.block_id == east.id] == [3.0]
    assert "both parts" in said(page)
    back_and_forth(session, settle, lambda: shapes(session), before)


def test_a_line_that_does_not_cross_is_refused_in_words(
    qtbot: QtBot, page: LandPage, session: Session
) -> None:
    canvas = page.map.canvas
    session.select(KILN)
    qtbot.keyClick(canvas, Key.Key_S)
    click(qtbot, canvas, -20, -12, ALT)
    click(qtbot, canvas, 60, 40, ALT)
    qtbot.keyClick(canvas, Key.Key_Return)
    assert said(page).startswith("The line does not run right across")
    assert page.outline.words_below.property("role") == "wrong"
    assert not page.outline.naming.isVisible()
    assert session.undo.count() == 0


def test_a_name_given_up_leaves_the_line_in_hand(
    qtbot: QtBot, page: LandPage, session: Session
) -> None:
    canvas = page.map.canvas
    session.select(KILN)
    qtbot.keyClick(canvas, Key.Key_S)
    click(qtbot, canvas, 80, -10, ALT)
    click(qtbot, canvas, 80, 100, ALT)
    qtbot.keyClick(canvas, Key.Key_Return)
    qtbot.keyClick(page.outline.naming.lines[1], Key.Key_Escape)
    assert not page.outline.naming.isVisible()
    assert canvas.tool is not None and len(canvas.tool.points) == 2  # type: ignore[attr-defined]


def test_splitting_by_two_corner_numbers(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    boxes = page.outline.boxes
    session.select(KILN)
    page.bench.take("split")
    boxes.split_from.setText("1")
    boxes.split_to.setText("3")
    qtbot.keyClick(boxes.split_to, Key.Key_Return)
    qtbot.keyClick(page.outline.naming.lines[1], Key.Key_Return)
    settle(session)
    assert outline(session, "Kiln 2").area == pytest.approx(120 * 90 / 2, rel=1e-3)
    boxes.split_to.setText("17")
    boxes.split()
    assert said(page) == "Type two different corner numbers out of 1 to 3."
    boxes.split_to.setText("x")
    boxes.split()
    assert said(page).startswith('"x" is no number')


def test_two_blocks_are_joined_by_clicks(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas, before = page.map.canvas, shapes(session)
    qtbot.keyClick(canvas, Key.Key_J)
    click(qtbot, canvas, 20, 20)
    assert said(page).startswith("Kiln stays")
    click(qtbot, canvas, 200, 20)
    assert (page.outline.boxes.stays.value(), page.outline.boxes.goes.value()) == (
        "Kiln", "Upper ridge")  # fmt: skip
    qtbot.keyClick(canvas, Key.Key_Return)
    settle(session)
    assert names(session) == ["Far gate", "Gully", "Kiln"]
    assert outline(session, "Kiln").equals(shapely.box(EAST, NORTH, EAST + 220, NORTH + 90))
    assert "Upper ridge" in said(page)
    back_and_forth(session, settle, lambda: shapes(session), before)


def test_joining_by_names_and_a_refusal(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    page.bench.take("join")
    boxes = page.outline.boxes
    boxes.stays.set_value("Kiln")
    boxes.goes.set_value("Gully")
    boxes.join()
    settle(session)
    assert "20 m apart" in said(page)
    boxes.goes.set_value("Upper ridge")
    boxes.join()
    settle(session)
    assert names(session) == ["Far gate", "Gully", "Kiln"]


def test_a_piece_is_cut_out(qtbot: QtBot, page: LandPage, session: Session, settle: Settle) -> None:
    canvas, before = page.map.canvas, shapes(session)
    session.select(KILN)
    qtbot.keyClick(canvas, Key.Key_K)
    for x, y in ((40, 30), (70, 30), (70, 60), (40, 60)):
        click(qtbot, canvas, x, y, ALT)
    qtbot.keyClick(canvas, Key.Key_Return)
    settle(session)
    assert outline(session, "Kiln").area == pytest.approx(120 * 90 - 900, rel=0.01)
    back_and_forth(session, settle, lambda: shapes(session), before)
    labels = [page.outline.table.corners.index(r, 0).data() for r in range(8)]
    assert labels == ["1", "2", "3", "4", "hole 1, 1", "hole 1, 2", "hole 1, 3", "hole 1, 4"]


def test_a_shared_corner_moves_in_both_blocks(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas, before = page.map.canvas, shapes(session)
    session.select(KILN)
    qtbot.keyClick(canvas, Key.Key_C)
    qtbot.keyClick(canvas, Key.Key_0)
    drag(qtbot, canvas, [on(canvas, 120, 90), on(canvas, 125, 100), on(canvas, 128, 108)])
    settle(session)
    kiln, ridge = outline(session, "Kiln"), outline(session, "Upper ridge")
    assert kiln.intersection(ridge).area < 1e-6
    assert kiln.union(ridge).geom_type == "Polygon"
    assert kiln.area != pytest.approx(120 * 90, rel=1e-3)
    assert ridge.area != pytest.approx(100 * 90, rel=1e-3)
    assert session.undo.count() == 1
    back_and_forth(session, settle, lambda: shapes(session), before)


def test_a_move_that_spoils_the_neighbour_is_refused_and_put_back(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas, before = page.map.canvas, shapes(session)
    session.select(KILN)
    qtbot.keyClick(canvas, Key.Key_C)
    qtbot.keyClick(canvas, Key.Key_0)
    drag(
        qtbot,
        canvas,
        [on(canvas, 120, 90), on(canvas, 240, 50)],
    )
    settle(session)
    assert shapes(session) == before
    assert "Upper ridge" in said(page)
    tool = canvas.tool
    assert isinstance(tool, CornerTool)
    assert np.isclose(tool.parts[0][0], np.array([EAST + 120, NORTH + 90])).all(axis=1).any()


def test_gaps_are_closed(qtbot: QtBot, page: LandPage, session: Session, settle: Settle) -> None:
    from waterbudget import actions

    moved = shapely.box(EAST + 120.7, NORTH + 0.3, EAST + 220, NORTH + 90.2)
    session.act("gap", lambda file, now: actions.set_outline(file, "Upper ridge", moved, now=now),
                kinds=("outlines",))  # fmt: skip
    settle(session)
    session.select(RIDGE)
    page.bench.take("corners")
    page.outline.boxes.reach.setText("1,0")
    qtbot.keyClick(page.outline.boxes.reach, Key.Key_Return)
    settle(session)
    shared = outline(session, "Upper ridge").intersection(outline(session, "Kiln"))
    assert shared.length == pytest.approx(90, abs=0.01)


def test_a_box_chooses_several_and_ctrl_adds(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas, before = page.map.canvas, shapes(session)
    camera = canvas.camera
    drag(qtbot, canvas, [on(canvas, -20, 120), on(canvas, 50, 50), on(canvas, 230, 20)], SHIFT)
    assert canvas.camera == camera
    assert page.map.pointing.marked == [KILN, RIDGE]
    assert page.outline.title.text() == "2 blocks"
    assert page.outline.size_line.text() == "1.98 ha together"
    click(qtbot, canvas, 50, -60, CONTROL)
    assert set(page.map.pointing.marked) == {KILN, RIDGE, GULLY}
    click(qtbot, canvas, 20, 20, CONTROL)
    assert set(page.map.pointing.marked) == {RIDGE, GULLY}
    page.bench.delete()
    settle(session)
    assert names(session) == ["Far gate", "Kiln"]
    session.undo_last()
    settle(session)
    assert shapes(session) == before


def test_measuring_says_that_no_heights_are_known(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    canvas = page.map.canvas
    qtbot.keyClick(canvas, Key.Key_M)
    click(qtbot, canvas, 0, 0)
    click(qtbot, canvas, 120, 0)
    settle(session)
    assert said(page).startswith("120.0 m on the level.")
    assert "No height file" in said(page)
    assert page.outline.size_line.text() == "120.0 m on the level"


def test_measuring_along_a_slope_from_a_height_file(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle, tmp_path: Path
) -> None:
    """A plane that rises 30 % to the east: 120 m on the level are 125.3 m along the ground."""
    import rasterio
    from rasterio.transform import from_origin

    from waterbudget.records import Underlay

    z = np.tile((np.arange(80) * 5.0 + 2.5) * 0.3 + 900, (80, 1)).astype("float32")
    with rasterio.open(tmp_path / "hill.tif", "w", driver="GTiff", width=80, height=80, count=1,
                       dtype="float32", crs=f"EPSG:{EPSG}",
                       transform=from_origin(EAST - 100, NORTH + 200, 5, 5)) as file:  # fmt: skip
        file.write(z, 1)

    def add(file: Any, now: Any) -> None:
        with file.transaction("underlay.added", now=NOW) as open_file:
            open_file.add_row(Underlay(path="hill.tif", kind="heights"))

    session.act("hill", add, kinds=("farm",))
    settle(session)
    canvas = page.map.canvas
    page.bench.take("measure")
    click(qtbot, canvas, 0, 0)
    click(qtbot, canvas, 120, 0)
    settle(session)
    assert isinstance(canvas.tool, MeasureTool)
    assert canvas.tool.slope_m == pytest.approx(120 * 1.0440, abs=0.3)
    assert "125.3 m along the ground, 36.0 m up." in said(page)
    click(qtbot, canvas, 900, 0)  # beyond the file
    settle(session)
    assert canvas.tool.slope_m is None and "does not reach" in said(page)


def test_the_pointer_tells_its_place(qtbot: QtBot, page: LandPage) -> None:
    canvas, where = page.map.canvas, page.map.pointing.where
    assert where is not None
    hover(canvas, on(canvas, 60, 40))
    assert where.isVisible() and where.words.startswith("−19.9")
    lat, lon = where.words.split(", ")
    assert len(lat.split(".")[1]) == len(lon.split(".")[1]) == 6


def test_pinching_zooms_at_the_fingers(qtbot: QtBot, page: LandPage) -> None:
    from PySide6.QtCore import QPointF
    from PySide6.QtGui import QNativeGestureEvent, QPointingDevice

    canvas = page.map.canvas
    before, at = canvas.camera, QPointF(200, 150)
    event = QNativeGestureEvent(Qt.NativeGestureType.ZoomNativeGesture,
                                QPointingDevice.primaryPointingDevice(), 2, at, at, at, 0.25,
                                QPointF())  # fmt: skip
    QApplication.sendEvent(canvas, event)
    assert canvas.camera.scale == pytest.approx(before.scale * 1.25)
    assert canvas.camera.to_ground(at) == pytest.approx(before.to_ground(at))


def test_away_from_today_nothing_is_edited(
    page: LandPage, session: Session, settle: Settle
) -> None:
    import datetime as dt

    told: list[str] = []
    session.told.connect(told.append)
    session.set_day(session.today - dt.timedelta(days=3))
    settle(session)
    for word in ("draw", "corners", "split", "cut", "join"):
        page.bench.take(word)
        assert page.map.canvas.tool is None and page.bench.word == "choose"
    page.bench.take("measure")
    assert isinstance(page.map.canvas.tool, MeasureTool)
    assert told


def test_undo_in_the_column(qtbot: QtBot, page: LandPage, session: Session, settle: Settle) -> None:
    assert not page.outline.undo.isEnabled()
    page.bench.join("Kiln", "Upper ridge")
    settle(session)
    qtbot.mouseClick(page.outline.undo, Qt.MouseButton.LeftButton)
    settle(session)
    assert "Upper ridge" in names(session)
    assert page.outline.redo.isEnabled()


def test_everything_has_a_name(page: LandPage) -> None:
    for word in ("draw", "corners", "split", "join", "along"):
        page.bench.take(word)
        unnamed = [
            w for w in page.findChildren(QWidget)
            if w.focusPolicy() != Qt.FocusPolicy.NoFocus and w.isVisibleTo(page)
            and not w.accessibleName() and not (isinstance(w, Link) and w.text())
            and not (hasattr(w, "text") and w.text())
            and type(w).__name__ not in ("QScrollArea", "QStackedWidget", "QHeaderView")
            and not w.objectName().startswith("qt_")
        ]  # fmt: skip
        assert unnamed == []


def test_a_hidden_map_waits_and_catches_up(
    page: LandPage, session: Session, settle: Settle
) -> None:
    page.hide()
    page.bench.join("Kiln", "Upper ridge")
    settle(session)
    assert len(page.map.canvas.blocks) == 4
    page.show()
    assert [b.name for b in page.map.canvas.blocks] == ["Kiln", "Gully", "Far gate"]


def test_an_estate_from_nothing(
    qtbot: QtBot, empty_session: Session, tmp_path: Path, settle: Settle
) -> None:
    """An empty farm: a block typed, its neighbour drawn along it, split, a rock cut out."""
    session = empty_session
    session.create(tmp_path / "new.gpkg", name="New hill", lat=-19.9, lon=32.7)
    settle(session)
    page = LandPage(session, lambda *a, **k: None)
    qtbot.addWidget(page)
    page.resize(1280, 700)
    with qtbot.waitActive(page):
        page.show()
    canvas, boxes, keep = page.map.canvas, page.outline.boxes, page.outline.naming
    assert page.map.empty.isVisible()
    canvas.setFocus()
    qtbot.keyClick(canvas, Key.Key_D)
    assert not page.map.empty.isVisible()
    boxes.lat.setText("-19.9")
    boxes.lon.setText("32.7")
    qtbot.keyClick(boxes.lon, Key.Key_Return)
    for length, bearing in (("120", "90"), ("80", "0"), ("120", "270")):
        boxes.length.setText(length)
        boxes.bearing.setText(bearing)
        qtbot.keyClick(boxes.bearing, Key.Key_Return)
    boxes.finish.click()
    keep.lines[0].setText("West")
    qtbot.keyClick(keep.lines[0], Key.Key_Return)
    settle(session)
    canvas.fit()
    canvas.zoom(0.5)
    west = outline(session, "West")
    low, high = west.bounds[:2], west.bounds[2:]
    spot = canvas.camera.to_screen

    def press(x: float, y: float, held: Any = ALT) -> None:
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, held, spot(x, y).toPoint())

    press(high[0] - 1, low[1] + 0.2, Qt.KeyboardModifier.NoModifier)
    qtbot.keyClick(canvas, Key.Key_F)
    press(high[0] - 0.3, high[1] - 0.3, Qt.KeyboardModifier.NoModifier)
    qtbot.keyClick(canvas, Key.Key_F)
    press(high[0] + 60, high[1])
    press(high[0] + 60, low[1])
    qtbot.keyClick(canvas, Key.Key_Return)
    keep.lines[0].setText("East")
    qtbot.keyClick(keep.lines[0], Key.Key_Return)
    settle(session)
    assert west.intersection(outline(session, "East")).length == pytest.approx(80, abs=0.5)
    session.select(next(b.id for b in canvas.blocks if b.name == "West"))
    qtbot.keyClick(canvas, Key.Key_S)
    press(low[0] + 60, low[1] - 15)
    press(low[0] + 60, high[1] + 15)
    qtbot.keyClick(canvas, Key.Key_Return)
    qtbot.keyClick(keep.lines[1], Key.Key_Return)
    settle(session)
    assert names(session) == ["East", "West", "West 2"]
    session.select(next(b.id for b in canvas.blocks if b.name == "East"))
    qtbot.keyClick(canvas, Key.Key_K)
    middle = outline(session, "East").centroid
    for dx, dy in ((-8, -8), (8, -8), (8, 8), (-8, 8)):
        press(middle.x + dx, middle.y + dy)
    qtbot.keyClick(canvas, Key.Key_Return)
    settle(session)
    assert len(outline(session, "East").interiors) == 1
    for _ in range(4):
        session.undo_last()
        settle(session)
    assert names(session) == [] and page.map.canvas.empty
