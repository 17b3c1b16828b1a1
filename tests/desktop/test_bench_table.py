"""The land page without a mouse: corners typed, inserted, taken away; sides and positions typed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from land_farm import KILN, RIDGE, land_farm, rect
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QLineEdit
from pytestqt.qtbot import QtBot
from small_farm import EAST, EPSG, NORTH

from desktop.mapview.tools import DrawTool
from desktop.pages.land import LandPage
from desktop.pages.land.corner_table import BEARING, LAT, LENGTH, LON, CornerModel, Ring
from desktop.session import Session
from waterbudget.outlines import sides

Key = Qt.Key
Settle = Callable[[Session], None]


@pytest.fixture
def session(empty_session: Session, tmp_path: Path, settle: Settle) -> Session:
    empty_session.open(land_farm(tmp_path / "land.gpkg"))
    settle(empty_session)
    return empty_session


@pytest.fixture
def page(qtbot: QtBot, session: Session) -> LandPage:
    made = LandPage(session, lambda *a, **k: None)
    qtbot.addWidget(made)
    made.resize(1280, 700)
    made.show()
    qtbot.waitExposed(made)
    return made


def outline(session: Session, name: str) -> Any:
    assert session.data is not None
    return session.data.orchard.block(name).outline


def row_at(page: LandPage, x: float, y: float) -> int:
    """Return the row of the corner at a place counted from the farm's corner [m]."""
    points = page.outline.table.corners.rings[0].points
    return int(np.hypot(*(points - np.array([EAST + x, NORTH + y])).T).argmin())


def type_over(qtbot: QtBot, page: LandPage, row: int, column: int, words: str) -> None:
    """Type into a cell with keys, as a person does."""
    table = page.outline.table
    table.setFocus()
    table.setCurrentIndex(table.corners.index(row, column))
    qtbot.keyClick(table, Key.Key_Return)
    editor = table.findChild(QLineEdit)
    assert editor is not None
    editor.selectAll()
    qtbot.keyClicks(editor, words)
    qtbot.keyClick(editor, Key.Key_Return)
    editing = QAbstractItemView.State.EditingState
    qtbot.waitUntil(lambda: table.state() != editing)


# -- the model ------------------------------------------------------------------------------------


def test_the_model_tells_sides_and_places() -> None:
    model = CornerModel()
    points = np.array([(EAST, NORTH), (EAST + 100, NORTH), (EAST + 100, NORTH + 50)])
    model.show([Ring(points)], EPSG)
    model.set_north("grid")
    assert [model.index(1, c).data() for c in (LENGTH, BEARING)] == ["100.0", "90.0"]
    lat, lon = sides.position_of((EAST, NORTH), EPSG)
    shown = [model.index(0, c).data().replace("−", "-") for c in (LAT, LON)]
    assert [float(s) for s in shown] == pytest.approx([lat, lon], abs=1e-6)
    assert model.index(0, LENGTH).data() != ""  # a closed ring comes back to its first corner
    model.show([Ring(points, closed=False)], EPSG)
    assert model.index(0, LENGTH).data() == ""
    assert not model.flags(model.index(0, LENGTH)) & Qt.ItemFlag.ItemIsEditable
    assert model.flags(model.index(0, LAT)) & Qt.ItemFlag.ItemIsEditable


def test_nonsense_in_a_cell_is_refused_in_words() -> None:
    model = CornerModel()
    model.show([Ring(np.array([(EAST, NORTH), (EAST + 100, NORTH), (EAST, NORTH + 50)]))], EPSG)
    codes: list[str] = []
    put: list[object] = []
    model.refused.connect(lambda fault: codes.append(fault.code))
    model.put.connect(lambda *a: put.append(a))
    for column, words in ((LENGTH, "long"), (LENGTH, "-4"), (BEARING, "500"), (LAT, "95"),
                          (LON, "here")):  # fmt: skip
        assert not model.setData(model.index(1, column), words)
    assert codes == ["bench.no_number", "bench.bad_length", "bench.bad_bearing",
                     "outlines.bad_position", "bench.no_number"]  # fmt: skip
    assert put == []


# -- a block's corners ----------------------------------------------------------------------------


def test_a_typed_side_moves_the_corner_and_its_neighbour(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    session.select(KILN)
    page.outline.boxes.north.set_value("grid")
    page.outline.table.corners.set_north("grid")
    page.bench.take("corners")
    row = row_at(page, 120, 90)
    model = page.outline.table.corners
    before = model.index(row, BEARING).data()
    type_over(qtbot, page, row, LENGTH, "95" if before == "0.0" else "130")
    settle(session)
    kiln, ridge = outline(session, "Kiln"), outline(session, "Upper ridge")
    assert kiln.intersection(ridge).area < 1e-6 and kiln.union(ridge).geom_type == "Polygon"
    assert not kiln.equals(rect(0, 0, 120, 90)) and not ridge.equals(rect(120, 0, 100, 90))
    session.undo_last()
    settle(session)
    assert outline(session, "Kiln").equals(rect(0, 0, 120, 90))
    assert outline(session, "Upper ridge").equals(rect(120, 0, 100, 90))


def test_a_typed_latitude_moves_the_corner_alone_when_asked(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    session.select(RIDGE)
    page.bench.take("corners")
    page.outline.boxes.together.setChecked(False)
    row = row_at(page, 120, 0)
    lat, _ = sides.position_of((EAST + 120, NORTH - 10), EPSG)
    type_over(qtbot, page, row, LAT, f"{lat:.7f}")
    settle(session)
    assert outline(session, "Kiln").equals(rect(0, 0, 120, 90))
    assert outline(session, "Upper ridge").bounds[1] == pytest.approx(NORTH - 10, abs=0.05)


def test_degrees_minutes_and_seconds_are_read(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    session.select(KILN)
    row = row_at(page, 0, 0)
    lat, _ = sides.position_of((EAST, NORTH - 20), EPSG)
    minutes = (abs(lat) - int(abs(lat))) * 60
    seconds = (minutes - int(minutes)) * 60
    index = page.outline.table.corners.index(row, LAT)
    words = f"{int(abs(lat))}°{int(minutes)}'{seconds:.3f}\"S"
    page.outline.table.corners.setData(index, words)
    settle(session)
    assert outline(session, "Kiln").bounds[1] == pytest.approx(NORTH - 20, abs=0.05)


def test_insert_and_delete_in_the_table(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    table = page.outline.table
    session.select(KILN)
    table.setFocus()
    table.setCurrentIndex(table.corners.index(row_at(page, 0, 0), LENGTH))
    qtbot.keyClick(table, Key.Key_Insert)
    settle(session)
    assert len(outline(session, "Kiln").exterior.coords) - 1 == 5
    assert page.bench.word == "corners"
    qtbot.keyClick(table, Key.Key_Delete)
    settle(session)
    assert len(outline(session, "Kiln").exterior.coords) - 1 == 4
    for _ in range(2):
        session.undo_last()
        settle(session)
    assert outline(session, "Kiln").equals(rect(0, 0, 120, 90))


def test_the_marked_row_is_the_marked_corner(
    qtbot: QtBot, page: LandPage, session: Session
) -> None:
    session.select(KILN)
    page.bench.take("corners")
    table, tool = page.outline.table, page.map.canvas.tool
    table.setCurrentIndex(table.corners.index(2, LENGTH))
    assert tool is not None and tool.current.place == 2  # type: ignore[attr-defined]
    page.map.canvas.setFocus()
    qtbot.keyClick(page.map.canvas, Key.Key_N)
    page.outline.refresh()
    assert table.currentIndex().row() == 3


# -- what is drawn --------------------------------------------------------------------------------


def test_a_block_is_made_from_typed_numbers_only(
    qtbot: QtBot, page: LandPage, session: Session, settle: Settle
) -> None:
    """First corner by position, three sides by tape and compass: 60 x 40 m."""
    page.bench.take("draw")
    boxes = page.outline.boxes
    boxes.length.setText("60")
    boxes.bearing.setText("90")
    qtbot.keyClick(boxes.bearing, Key.Key_Return)
    assert "first corner" in page.outline.words_below.text()
    lat, lon = sides.position_of((EAST + 300, NORTH), EPSG)
    boxes.lat.setText(f"{lat:.7f}")
    boxes.lon.setText(f"{lon:.7f}")
    qtbot.keyClick(boxes.lon, Key.Key_Return)
    for length, bearing in (("60", "90"), ("40", "0"), ("60.0 m", "270°")):
        boxes.length.setText(length)
        boxes.bearing.setText(bearing)
        qtbot.keyClick(boxes.bearing, Key.Key_Return)
    assert page.outline.size_line.text() == "0.24 ha, 200 m round"
    table = page.outline.table.corners
    assert [table.index(r, LENGTH).data() for r in range(4)] == ["", "60.0", "40.0", "60.0"]
    boxes.finish.click()
    qtbot.keyClick(page.outline.naming.lines[0], Key.Key_Return)
    settle(session)
    assert session.data is not None
    new = max(session.data.orchard.blocks, key=lambda b: b.id)
    assert new.outline_ha == pytest.approx(0.24, rel=1e-3)


def test_the_table_mends_what_is_being_drawn(qtbot: QtBot, page: LandPage) -> None:
    page.bench.take("draw")
    tool = page.map.canvas.tool
    assert isinstance(tool, DrawTool)
    tool.add([(EAST + 300, NORTH), (EAST + 350, NORTH), (EAST + 350, NORTH + 50)])
    type_over(qtbot, page, 1, LENGTH, "80")
    assert tool.points[1][0] - EAST == pytest.approx(380, abs=0.2)
    table = page.outline.table
    table.setCurrentIndex(table.corners.index(0, LAT))
    qtbot.keyClick(table, Key.Key_Insert)
    assert len(tool.points) == 4
    qtbot.keyClick(table, Key.Key_Delete)
    assert len(tool.points) == 3
    page.outline.boxes.back.click()
    assert len(tool.points) == 2


def test_along_a_neighbour_by_corner_numbers(qtbot: QtBot, page: LandPage) -> None:
    page.bench.take("along")
    boxes, tool = page.outline.boxes, page.map.canvas.tool
    assert isinstance(tool, DrawTool)
    boxes.along.set_value("Kiln")
    boxes.along_from.setText("1")
    boxes.along_to.setText("2")
    qtbot.keyClick(boxes.along_to, Key.Key_Return)
    assert len(tool.points) == 2
    tool.clear()
    boxes.other_way.setChecked(True)
    boxes.follow()
    assert len(tool.points) == 4
    boxes.along_to.setText("9")
    boxes.follow()
    assert page.outline.words_below.text() == "Type two different corner numbers out of 1 to 4."
