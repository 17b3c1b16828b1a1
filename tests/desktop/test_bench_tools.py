"""The map's hand tools on a canvas alone: paths, snapping, freehand, along an edge, corners."""

from __future__ import annotations

import math

import pytest
from land_farm import ALT, CONTROL, SHIFT, click, drag, hover, on, rect
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot
from shapely.geometry import LineString, Polygon
from small_farm import EAST, EPSG, NORTH

from desktop.mapview import MapBlock, MapCanvas
from desktop.mapview.shapes import Corner
from desktop.mapview.tools import CornerTool, DrawTool, HoleTool, MeasureTool, SplitTool
from desktop.models.standing import Look, Standing
from waterbudget.errors import Refused

GOOD = Standing(Look.GOOD, "shoots", 0.6, 12.0, 20.0, 3)
Key = Qt.Key


@pytest.fixture
def canvas(qtbot: QtBot) -> MapCanvas:
    made = MapCanvas()
    qtbot.addWidget(made)
    made.resize(600, 600)
    made.show_blocks(
        [MapBlock(1, "Kiln", rect(0, 0, 100, 100), GOOD, 1.0),
         MapBlock(2, "Ridge", rect(100, 0, 100, 100), GOOD, 1.0),
         MapBlock(3, "Tank", rect(0, 180, 200, 60), GOOD, 1.2)],
        EPSG,
    )  # fmt: skip
    made.show()
    qtbot.waitExposed(made)
    return made


def place(x: float, y: float) -> tuple[float, float]:
    return EAST + x, NORTH + y


# -- snapping -------------------------------------------------------------------------------------


def test_edges_catch_too_and_the_line_says_whose(qtbot: QtBot, canvas: MapCanvas) -> None:
    words: list[str] = []
    canvas.hinted.connect(words.append)
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    near = on(canvas, 60, 100) + QPoint(0, -6)
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=near)
    assert tool.points[0][1] == pytest.approx(NORTH + 100, abs=1e-6)
    hover(canvas, on(canvas, 0, 180) + QPoint(-5, 4))
    assert "On a corner of Tank." in words[-1]
    hover(canvas, on(canvas, 100, 180) + QPoint(0, 5))
    assert "On the edge of Tank." in words[-1]
    hover(canvas, on(canvas, 100, 180) + QPoint(0, 5), held=ALT)
    assert "Tank" not in words[-1]


def test_a_corner_pulls_before_a_nearer_edge(qtbot: QtBot, canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, 0, 180) + QPoint(7, 1))
    assert tool.points == [place(0, 180)]


# -- drawing --------------------------------------------------------------------------------------


def test_freehand_follows_the_drag_and_is_one_step(qtbot: QtBot, canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    way = [on(canvas, 50 + 35 * math.cos(t / 10), 140 + 30 * math.sin(t / 10)) for t in range(60)]
    drag(qtbot, canvas, way, ALT)
    assert 6 < len(tool.points) < 60
    line = LineString(tool.points)
    wanted = 5.9 * (35 + 30) / 2
    assert line.length == pytest.approx(wanted, rel=0.1)
    qtbot.keyClick(canvas, Key.Key_Backspace)
    assert tool.points == []
    qtbot.keyClick(canvas, Key.Key_Z, CONTROL | SHIFT)
    assert len(tool.points) > 6
    with qtbot.waitSignal(canvas.drawn) as heard:
        qtbot.keyClick(canvas, Key.Key_Return)
    assert heard.args[0].area == pytest.approx(math.pi * 35 * 30, rel=0.1)


def test_undo_keys_mean_corners_while_drawing(qtbot: QtBot, canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    assert not tool.wants_undo()
    for x, y in ((20, 120), (60, 120), (60, 150)):
        click(qtbot, canvas, x, y)
    assert tool.wants_undo()
    qtbot.keyClick(canvas, Key.Key_Z, CONTROL)
    assert len(tool.points) == 2
    qtbot.keyClick(canvas, Key.Key_Y, CONTROL)
    assert len(tool.points) == 3
    click(qtbot, canvas, 20, 150)
    qtbot.keyClick(canvas, Key.Key_Y, CONTROL)  # nothing is left to be set again
    assert len(tool.points) == 4


def test_a_side_by_length_and_bearing(qtbot: QtBot, canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    with pytest.raises(Refused, match="no_first_corner"):
        tool.add_side(40, 90)
    click(qtbot, canvas, 20, 120)
    x0, y0 = tool.points[0]
    for length, bearing in ((60, 90), (40, 0), (60, 270)):
        tool.add_side(length, bearing, "grid")
    x, y = tool.points[-1]
    assert (x - x0, y - y0) == pytest.approx((0, 40), abs=0.05)
    assert tool.size().hectares == pytest.approx(0.24, rel=1e-3)


def test_space_sets_corners_without_a_mouse(qtbot: QtBot, canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    qtbot.keyClick(canvas, Key.Key_Space)
    qtbot.keyClick(canvas, Key.Key_Right)
    qtbot.keyClick(canvas, Key.Key_Space)
    qtbot.keyClick(canvas, Key.Key_Up)
    qtbot.keyClick(canvas, Key.Key_Space)
    with qtbot.waitSignal(canvas.drawn) as heard:
        qtbot.keyClick(canvas, Key.Key_Return)
    assert heard.args[0].area == pytest.approx(0.5 * (60 / canvas.camera.scale) ** 2, rel=0.25)


def test_along_a_neighbour_takes_its_corners(qtbot: QtBot, canvas: MapCanvas) -> None:
    """From Kiln's lower left round its upper corners, as one step."""
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    qtbot.keyClick(canvas, Key.Key_F)
    click(qtbot, canvas, 0, 60)
    hover(canvas, on(canvas, 60, 100))
    canvas.grab()  # the way ahead is painted
    click(qtbot, canvas, 60, 100)
    assert [(round(x - EAST), round(y - NORTH)) for x, y in tool.points] == [
        (0, 60), (0, 100), (60, 100)]  # fmt: skip
    qtbot.keyClick(canvas, Key.Key_Backspace)
    assert len(tool.points) == 1
    qtbot.keyClick(canvas, Key.Key_O)
    click(qtbot, canvas, 60, 100)
    assert [(round(x - EAST), round(y - NORTH)) for x, y in tool.points] == [
        (0, 60), (0, 0), (100, 0), (100, 100), (60, 100)]  # fmt: skip
    qtbot.keyClick(canvas, Key.Key_F)
    click(qtbot, canvas, 30, 140, ALT)
    assert len(tool.points) == 6


def test_beside_an_edge_nothing_is_followed(qtbot: QtBot, canvas: MapCanvas) -> None:
    words: list[str] = []
    canvas.hinted.connect(words.append)
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    tool.set_following(True)
    click(qtbot, canvas, 50, 140)
    assert tool.points == [] and words[-1] == "Click on the edge of a neighbour."


def test_along_an_edge_by_corner_numbers(canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    outline = canvas.blocks[2].outline
    assert outline is not None
    tool.follow_corners(outline, 1, 3)
    assert len(tool.points) == 3
    with pytest.raises(Refused, match="corner_numbers"):
        tool.follow_corners(outline, 1, 9)


# -- split, cut out, measure ----------------------------------------------------------------------


def test_the_line_of_a_split_is_handed_on(qtbot: QtBot, canvas: MapCanvas) -> None:
    lines: list[LineString] = []
    canvas.select(1)
    canvas.set_tool(SplitTool(canvas, lines.append))
    click(qtbot, canvas, 50, -12)
    qtbot.keyClick(canvas, Key.Key_Return)  # one point is no line
    assert lines == []
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, 55, 120))
    qtbot.mouseDClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, 55, 120))
    assert len(lines) == 1 and lines[0].crosses(rect(0, 0, 100, 100))


def test_without_a_chosen_block_the_first_click_chooses(qtbot: QtBot, canvas: MapCanvas) -> None:
    heard: list[object] = []
    canvas.chosen.connect(heard.append)
    for tool in (SplitTool(canvas, heard.append), HoleTool(canvas, heard.append)):
        canvas.set_tool(tool)
        click(qtbot, canvas, 150, 50)
        assert heard.pop() == 2 and tool.points == []


def test_a_piece_to_cut_out_is_handed_on(qtbot: QtBot, canvas: MapCanvas) -> None:
    pieces: list[Polygon] = []
    canvas.select(1)
    canvas.set_tool(HoleTool(canvas, pieces.append))
    for x, y in ((30, 30), (60, 30), (60, 60), (30, 60), (30, 30)):
        click(qtbot, canvas, x, y)
    assert pieces[0].area == pytest.approx(900, rel=0.05)


def test_measuring_counts_the_sides_and_asks_for_the_ground(
    qtbot: QtBot, canvas: MapCanvas
) -> None:
    asked: list[list[tuple[float, float]]] = []
    words: list[str] = []
    canvas.hinted.connect(words.append)
    tool = MeasureTool(canvas, asked.append)
    canvas.set_tool(tool)
    for x, y in ((0, 0), (100, 0), (100, 100)):
        click(qtbot, canvas, x, y)
    assert tool.level_m() == pytest.approx(200, abs=0.1)
    assert [len(a) for a in asked] == [2, 3]
    tool.tell(asked[0], 140.0, "old")  # about corners that are no longer all
    assert tool.slope_m is None
    tool.tell(asked[1], 215.0, "215 m along the ground.")
    assert tool.slope_m == 215.0 and "along the ground" in words[-1]
    click(qtbot, canvas, 0, 100)
    assert tool.slope_m is None
    qtbot.keyClick(canvas, Key.Key_Escape)
    assert tool.points == []


# -- corners --------------------------------------------------------------------------------------


def test_a_corner_is_held_twelve_pixels_off(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.select(3)
    tool = CornerTool(canvas)
    canvas.set_tool(tool)
    corner = on(canvas, 0, 240)
    with qtbot.waitSignal(canvas.reshaped) as heard:
        drag(qtbot, canvas, [corner + QPoint(-9, -8), corner + QPoint(-30, -20)], ALT)
    assert heard.args[0] == 3 and heard.args[1].area > rect(0, 180, 200, 60).area
    qtbot.mousePress(canvas, Qt.MouseButton.LeftButton, pos=corner + QPoint(60, 60))
    assert not tool._dragging
    qtbot.mouseRelease(canvas, Qt.MouseButton.LeftButton, pos=corner + QPoint(60, 60))


def test_touching_neighbours_go_along(qtbot: QtBot, canvas: MapCanvas) -> None:
    moved: list[tuple[int, list[tuple[tuple[float, float], tuple[float, float]]]]] = []
    shaped: list[object] = []
    canvas.reshaped.connect(lambda *a: shaped.append(a))
    canvas.select(1)
    tool = CornerTool(canvas, lambda block, moves: moved.append((block, moves)))
    canvas.set_tool(tool)
    way = [on(canvas, 100, 100), on(canvas, 95, 112), on(canvas, 90, 120)]
    drag(qtbot, canvas, way)
    ((block, ((was, to),)),) = moved
    assert block == 1 and was == place(100, 100) and shaped == []
    assert to == pytest.approx(place(90, 120), abs=1.0)
    tool.reload()
    drag(qtbot, canvas, way, ALT)  # Alt leaves them
    assert len(moved) == 1 and len(shaped) == 1
    tool.reload()
    tool.together = False
    drag(qtbot, canvas, way)
    assert len(moved) == 1 and len(shaped) == 2
    tool.reload()
    tool.together = True
    drag(qtbot, canvas, [on(canvas, 0, 0), on(canvas, -20, -20)])  # nobody touches there
    assert len(moved) == 1 and len(shaped) == 3


def test_a_small_move_of_a_shared_corner_is_not_pulled_back(
    qtbot: QtBot, canvas: MapCanvas
) -> None:
    moved: list[object] = []
    canvas.select(1)
    tool = CornerTool(canvas, lambda block, moves: moved.append(moves))
    canvas.set_tool(tool)
    start = on(canvas, 100, 100)
    drag(qtbot, canvas, [start, start + QPoint(2, -3), start + QPoint(3, -5)])
    ((_, to),) = moved[0]  # type: ignore[misc]
    assert to != place(100, 100)


def test_keys_walk_nudge_and_keep_corners_together(qtbot: QtBot, canvas: MapCanvas) -> None:
    moved: list[list[object]] = []
    canvas.select(1)
    tool = CornerTool(canvas, lambda block, moves: moved.append(moves))
    canvas.set_tool(tool)
    for _ in range(4):
        qtbot.keyClick(canvas, Key.Key_N)
        if tool.parts[0][0][tool.current.place].tolist() == list(place(100, 0)):
            break
    for _ in range(3):
        qtbot.keyClick(canvas, Key.Key_Down, SHIFT)
    assert moved == []
    qtbot.keyClick(canvas, Key.Key_Return)
    ((was, to),) = moved[0]
    assert was == place(100, 0)
    assert NORTH - to[1] == pytest.approx(30 / canvas.camera.scale, rel=0.01)


def test_what_was_not_stored_stays_in_hand(qtbot: QtBot, canvas: MapCanvas) -> None:
    moved: list[list[object]] = []
    canvas.select(1)
    tool = CornerTool(canvas, lambda block, moves: moved.append(moves))
    canvas.set_tool(tool)
    drag(qtbot, canvas, [on(canvas, 100, 100), on(canvas, 90, 120)])
    tool.not_kept()
    drag(qtbot, canvas, [on(canvas, 90, 120), on(canvas, 110, 125)])
    ((was, _),) = moved[-1]
    assert was == place(100, 100)  # still counted from what is stored


def test_the_table_moves_inserts_and_takes_away(qtbot: QtBot, canvas: MapCanvas) -> None:
    shaped: list[Polygon] = []
    canvas.reshaped.connect(lambda _, outline: shaped.append(outline))
    canvas.select(3)
    tool = CornerTool(canvas)
    canvas.set_tool(tool)
    tool.put_corner(Corner(0, 0, 0), place(220, 170))
    tool.insert_after(Corner(0, 0, 1))
    tool.take_away(Corner(0, 0, 2))
    assert [len(s.exterior.coords) - 1 for s in shaped] == [4, 5, 4]


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_every_tool_paints(qapp: object, qtbot: QtBot, canvas: MapCanvas, mode: str) -> None:
    from desktop import theme

    theme.use(qapp, mode)  # type: ignore[arg-type]
    canvas.select(1)
    plain = canvas.grab().toImage()
    for tool in (DrawTool(canvas), SplitTool(canvas, print), HoleTool(canvas, print),
                 MeasureTool(canvas, lambda _: None), CornerTool(canvas)):  # fmt: skip
        canvas.set_tool(tool)
        for x, y in ((20, 120), (60, 120)):
            click(qtbot, canvas, x, y)
        hover(canvas, on(canvas, 100, 178))
        assert canvas.grab().toImage() != plain
    canvas.set_tool(None)
