"""The map without a session: camera, shapes, names, lines of equal height, painting, tools."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QImage, QMouseEvent, QPainter, QPainterPath, QPixmap
from pytestqt.qtbot import QtBot
from shapely.geometry import MultiPolygon, Point, Polygon, box

from desktop import theme
from desktop.mapview import MapBlock, MapCanvas, plates
from desktop.mapview.camera import Camera, round_length
from desktop.mapview.contours import Heights, trace
from desktop.mapview.looks import paint_block
from desktop.mapview.shapes import (
    Shape,
    crossing,
    nearest_corner,
    nearest_edge,
    outline_of,
    rings_of,
)
from desktop.mapview.tools import CornerTool, DrawTool
from desktop.models.standing import Look, Standing

EPSG = 32736
EAST, NORTH = 468_600.0, 7_799_500.0
GOOD = Standing(Look.GOOD, "shoots", 0.6, 12.0, 20.0, 3)
FILL = Standing(Look.FULL, "fill", 0.9, 18.0, 20.0, 4)
PAST = Standing(Look.PAST, "bloom", 0.0, -3.0, 20.0, 0)


def square(x: float, y: float, wide: float, high: float | None = None) -> Polygon:
    return box(EAST + x, NORTH + y, EAST + x + wide, NORTH + y + (high or wide))


# -- camera -------------------------------------------------------------------------------------

cameras = st.builds(
    Camera, st.floats(-1e5, 1e6), st.floats(-1e5, 8e6), st.floats(0.002, 15), st.floats(100, 2000),
    st.floats(100, 2000),
)  # fmt: skip


@given(cameras, st.floats(0, 2000), st.floats(0, 2000))
def test_a_pixel_goes_to_the_ground_and_back(camera: Camera, x: float, y: float) -> None:
    back = camera.to_screen(*camera.to_ground(QPointF(x, y)))
    assert math.isclose(back.x(), x, abs_tol=1e-3) and math.isclose(back.y(), y, abs_tol=1e-3)
    mapped = camera.transform.map(QPointF(*camera.to_ground(QPointF(x, y))))
    assert math.isclose(mapped.x(), x, abs_tol=1e-2) and math.isclose(mapped.y(), y, abs_tol=1e-2)


@given(cameras, st.floats(0, 2000), st.floats(0, 2000), st.floats(0.2, 5))
def test_zooming_keeps_the_ground_under_the_pointer(
    camera: Camera, x: float, y: float, factor: float
) -> None:
    before, after = camera, camera.zoomed(factor, QPointF(x, y))
    a, b = before.to_ground(QPointF(x, y)), after.to_ground(QPointF(x, y))
    assert math.dist(a, b) * after.scale < 1e-3


def test_north_is_up() -> None:
    camera = Camera(0, 0, 1, 100, 100)
    assert camera.to_screen(0, 10).y() < camera.to_screen(0, 0).y()
    assert camera.to_screen(10, 0).x() > camera.to_screen(0, 0).x()


@given(st.floats(1, 5000), st.floats(1, 5000))
def test_fitting_shows_the_whole_box(wide: float, high: float) -> None:
    camera = Camera(width=480, height=520).fitted((10, 20, 10 + wide, 20 + high), margin=24)
    shown = camera.box((10, 20, 10 + wide, 20 + high))
    assert shown.left() >= 23.9 and shown.right() <= 456.1
    assert shown.top() >= 23.9 and shown.bottom() <= 496.1


@pytest.mark.parametrize(
    ("longest", "length"), [(237, 200), (200, 200), (199, 100), (7, 5), (0.9, 0.5), (1000, 1000)]
)
def test_the_scale_bar_has_a_round_length(longest: float, length: float) -> None:
    assert round_length(longest) == pytest.approx(length)


# -- shapes -------------------------------------------------------------------------------------


def test_edges_that_cross_are_found_with_the_place() -> None:
    bow = np.array([(0, 0), (10, 10), (10, 0), (0, 10)], dtype=float)
    at = crossing(bow)
    assert at is not None and math.dist(at, (5, 5)) < 1e-9
    assert crossing(np.array([(0, 0), (10, 0), (10, 10), (0, 10)], dtype=float)) is None


def test_while_drawing_the_edge_back_to_the_start_does_not_count() -> None:
    points = np.array([(0, 0), (10, 0), (10, 10), (5, -5)], dtype=float)
    assert crossing(points, closed=False) is not None
    open_line = np.array([(0, 0), (10, 0), (10, 10), (20, -5)], dtype=float)
    assert crossing(open_line, closed=False) is None


def test_rings_come_apart_and_together_again() -> None:
    ring = Polygon(square(0, 0, 100).exterior, [square(40, 40, 10).exterior])
    two = MultiPolygon([ring, square(200, 0, 50)])
    parts = rings_of(two)
    assert [len(p) for p in parts] == [2, 1]
    assert outline_of(parts).equals(two)


def test_nearest_corner_and_edge() -> None:
    parts = rings_of(Polygon([(0, 0), (10, 0), (10, 10), (0, 10)]))
    corner, away = nearest_corner(parts, 9, 11)
    assert tuple(parts[0][0][corner.place]) == (10, 10) and away == pytest.approx(math.sqrt(2))
    after, spot, away = nearest_edge(parts, 5, -1)
    assert spot == pytest.approx((5, 0)) and away == pytest.approx(1)
    ring = parts[0][0]
    ends = {tuple(ring[after.place]), tuple(ring[(after.place + 1) % 4])}
    assert ends == {(0, 0), (10, 0)}


def test_a_name_stands_on_its_block_even_where_the_middle_is_a_hole() -> None:
    ring = Polygon(square(0, 0, 100).exterior, [square(30, 30, 40).exterior])
    shape = Shape(ring)
    assert all(ring.covers(Point(spot)) for spot in shape.spots)
    crescent = Point(0, 0).buffer(50).difference(Point(30, 0).buffer(45))
    assert all(crescent.buffer(1e-6).covers(Point(s)) for s in Shape(crescent).spots)


# -- names --------------------------------------------------------------------------------------


def wish(key: int, x: float, y: float, wide: float, high: float, name: str = "Upper ridge",
         must: bool = False) -> plates.Wish:  # fmt: skip
    shape = Shape(box(x, y, x + wide, y + high))
    return plates.Wish(key, name, "4 d", False, shape.holds, shape.spots, (wide, high),
                       shape.thick, 1, must)  # fmt: skip


boxes = st.lists(
    st.tuples(st.floats(0, 400), st.floats(0, 400), st.floats(8, 200), st.floats(8, 120)),
    min_size=1, max_size=25,
)  # fmt: skip


@settings(deadline=None, max_examples=40)
@given(boxes)
def test_plates_never_lie_on_each_other(qapp: object, places: list[tuple[float, ...]]) -> None:
    found = plates.place([wish(k, *place) for k, place in enumerate(places)])
    assert len({p.key for p in found}) == len(found)
    for i, a in enumerate(found):
        assert not any(a.box.intersects(b.box) for b in found[i + 1 :])


def test_a_large_block_gets_name_and_days_inside_itself(qapp: object) -> None:
    (plate,) = plates.place([wish(1, 50, 50, 200, 150)])
    assert plate.kind == "tall" and plate.days == "4 d"
    assert plate.box.left() >= 50 and plate.box.right() <= 250
    assert plate.box.top() >= 50 and plate.box.bottom() <= 200


def test_a_tiny_block_waits_for_a_closer_look_unless_it_is_chosen(qapp: object) -> None:
    assert plates.place([wish(1, 0, 0, 9, 9)]) == []
    (plate,) = plates.place([wish(1, 0, 0, 9, 9, must=True)])
    assert plate.name == "Upper ridge"


# -- lines of equal height ----------------------------------------------------------------------


def grid(f: Callable[[np.ndarray, np.ndarray], np.ndarray], n: int = 101) -> Heights:
    x = np.arange(n, dtype=float)
    xx, yy = np.meshgrid(x, x[::-1])
    return Heights(f(xx, yy), 0.0, float(n - 1), 1.0, 1.0)


def length(pieces: np.ndarray) -> float:
    return float(np.hypot(pieces[:, 2] - pieces[:, 0], pieces[:, 3] - pieces[:, 1]).sum())


def test_a_slope_has_straight_lines_across_it() -> None:
    found = trace(grid(lambda x, y: y * 0.5), step_m=10)
    lines = np.vstack([found.thin, found.strong])
    assert length(found.thin) + length(found.strong) == pytest.approx(100 * 5, rel=1e-3)
    assert set(np.round(lines[:, 1]).tolist()) == {0.0, 20.0, 40.0, 60.0, 80.0}
    assert np.allclose(lines[:, 1], lines[:, 3])
    assert set(np.round(found.strong[:, 1]).tolist()) == {0.0}


def test_a_cone_has_rings() -> None:
    found = trace(grid(lambda x, y: np.hypot(x - 50, y - 50)), step_m=10)
    want = 2 * math.pi * sum(r for r in (10, 20, 30, 40))
    inner = [p for p in np.vstack([found.thin, found.strong])
             if math.hypot(p[0] - 50, p[1] - 50) < 45]  # fmt: skip
    assert length(np.array(inner)) == pytest.approx(want, rel=0.01)


def test_unknown_ground_has_no_lines() -> None:
    heights = grid(lambda x, y: np.where(x > 50, np.nan, y))
    lines = np.vstack([(found := trace(heights, step_m=10)).thin, found.strong])
    assert len(lines) and lines[:, [0, 2]].max() <= 50
    assert len(trace(grid(lambda x, y: np.full_like(x, np.nan))).thin) == 0


# -- painting -----------------------------------------------------------------------------------


def painted(look: Look, in_fill: bool) -> QImage:
    """Return a block of 100 x 80 px at (10, 10) as it is painted."""
    image = QImage(120, 100, QImage.Format.Format_RGB32)
    image.fill(QColor(theme.colours().map))
    path = QPainterPath()
    path.addRect(10, 10, 100, 80)
    painter = QPainter(image)
    paint_block(painter, path, look, in_fill, 1.0)
    painter.end()
    return image


def colour(image: QImage | QPixmap, x: int, y: int) -> str:
    shown = image.toImage() if isinstance(image, QPixmap) else image
    return shown.pixelColor(x, y).name().upper()


@pytest.mark.parametrize(
    ("look", "ground"),
    [(Look.FULL, "#0B4A50"), (Look.GOOD, "#2F7A7B"), (Look.HALF, "#7FAFA3"), (Look.LOW, "#DCC690")],
)
def test_the_four_steps_are_solid(qapp: object, look: Look, ground: str) -> None:
    image = painted(look, False)
    assert {colour(image, x, y) for x in range(20, 100, 7) for y in range(20, 80, 7)} == {ground}


def test_past_the_limit_is_hatched_dark_on_pale(qapp: object) -> None:
    image = painted(Look.PAST, False)
    seen = [image.pixelColor(x, y) for x in range(14, 106) for y in range(14, 86)]
    pale = sum(c.lightness() > 220 for c in seen) / len(seen)
    dark = sum(c.lightness() < 110 for c in seen) / len(seen)
    assert 0.4 < pale < 0.85 and 0.1 < dark < 0.5


def test_dry_and_allowed_is_thinner_and_no_data_is_dotted(qapp: object) -> None:
    ground = QColor(theme.colours().map).lightness()

    def inked(look: Look) -> float:
        image = painted(look, False)
        seen = [image.pixelColor(x, y).lightness() for x in range(14, 106) for y in range(14, 86)]
        return sum(v < ground - 25 for v in seen) / len(seen)

    assert 0.02 < inked(Look.NO_DATA) < inked(Look.DRY_ALLOWED) < inked(Look.PAST)


def test_fruit_fill_has_four_pixels_of_ink_and_two_of_paper_inside(qapp: object) -> None:
    image = painted(Look.FULL, True)
    row = [colour(image, x, 50) for x in range(10, 20)]
    assert row[:4] == [theme.LIGHT.ink] * 4
    assert row[4:6] == [theme.LIGHT.paper] * 2
    assert set(row[6:]) == {"#0B4A50"}
    assert colour(image, 9, 50) == theme.LIGHT.map


# -- the canvas ---------------------------------------------------------------------------------


@pytest.fixture
def canvas(qtbot: QtBot) -> MapCanvas:
    made = MapCanvas()
    qtbot.addWidget(made)
    made.resize(500, 500)
    ring = Polygon(square(200, 0, 100).exterior, [square(240, 40, 20).exterior])
    made.show_blocks(
        [MapBlock(1, "Kiln", square(0, 0, 150, 100), FILL, 1.5),
         MapBlock(2, "Ring", ring, GOOD, 0.96),
         MapBlock(3, "Tank", square(0, 150, 300, 60), PAST, 1.8)],
        EPSG,
    )  # fmt: skip
    made.show()
    qtbot.waitExposed(made)
    return made


def on(canvas: MapCanvas, x: float, y: float) -> QPoint:
    return canvas.camera.to_screen(EAST + x, NORTH + y).toPoint()


def test_everything_is_in_sight_at_first(canvas: MapCanvas) -> None:
    for corner in canvas.corners():
        assert canvas.rect().contains(canvas.camera.to_screen(*corner).toPoint())


def test_a_click_chooses_and_the_bare_ground_chooses_nothing(
    qtbot: QtBot, canvas: MapCanvas
) -> None:
    heard: list[object] = []
    canvas.chosen.connect(heard.append)
    for x, y in ((20, 20), (220, 20), (250, 50), (20, 170), (-40, -40)):
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, x, y))
    assert heard == [1, 2, None, 3, None]  # the third click falls into the hole


def test_a_double_click_opens(qtbot: QtBot, canvas: MapCanvas) -> None:
    with qtbot.waitSignal(canvas.opened) as heard:
        qtbot.mouseDClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, 20, 20))
    assert heard.args == [1]


def drag(canvas: MapCanvas, a: QPoint, b: QPoint, qtbot: QtBot,
         button: Qt.MouseButton = Qt.MouseButton.LeftButton) -> None:  # fmt: skip
    qtbot.mousePress(canvas, button, pos=a)
    for k in range(1, 5):
        at = QPointF(a + (b - a) * k / 4)
        none = Qt.KeyboardModifier.NoModifier
        move = QMouseEvent(QEvent.Type.MouseMove, at, canvas.mapToGlobal(at),
                           Qt.MouseButton.NoButton, button, none)  # fmt: skip
        canvas.mouseMoveEvent(move)
    qtbot.mouseRelease(canvas, button, pos=b)


def test_dragging_moves_the_ground_and_chooses_nothing(qtbot: QtBot, canvas: MapCanvas) -> None:
    heard: list[object] = []
    canvas.chosen.connect(heard.append)
    before = canvas.camera
    drag(canvas, QPoint(100, 400), QPoint(160, 370), qtbot)
    assert canvas.camera.x == pytest.approx(before.x - 60 / before.scale)
    assert canvas.camera.y == pytest.approx(before.y - 30 / before.scale)
    assert heard == []


def test_keys_zoom_move_and_show_everything(qtbot: QtBot, canvas: MapCanvas) -> None:
    start = canvas.camera
    qtbot.keyClick(canvas, Qt.Key.Key_Plus)
    assert canvas.camera.scale > start.scale
    qtbot.keyClick(canvas, Qt.Key.Key_Minus)
    assert canvas.camera.scale == pytest.approx(start.scale)
    qtbot.keyClick(canvas, Qt.Key.Key_Right)
    assert canvas.camera.x > start.x
    qtbot.keyClick(canvas, Qt.Key.Key_0)
    assert canvas.camera == start


def test_the_view_stays_when_only_the_standing_changes(canvas: MapCanvas, qtbot: QtBot) -> None:
    qtbot.keyClick(canvas, Qt.Key.Key_Plus)
    before = canvas.camera
    blocks = [MapBlock(b.id, b.name, b.outline, PAST, b.hectares) for b in canvas.blocks]
    canvas.show_blocks(blocks, EPSG)
    assert canvas.camera == before


def test_the_view_stays_while_the_first_block_is_drawn(qtbot: QtBot) -> None:
    made = MapCanvas()
    qtbot.addWidget(made)
    made.resize(500, 500)
    made.show()
    made.show_blocks((), EPSG, (EAST + 100, NORTH + 100))
    made.set_tool(DrawTool(made))
    before = made.camera
    assert before.bounds[0] < EAST < before.bounds[2]
    made.show_blocks([MapBlock(1, "First", square(0, 0, 150), GOOD)], EPSG)
    assert made.camera == before
    made.show_blocks((), 0)
    made.show_blocks((), EPSG, (EAST + 100, NORTH + 100))
    made.show_blocks([MapBlock(1, "Far", square(9000, 0, 150), GOOD)], EPSG)
    assert made.camera != before and made.camera.bounds[0] < EAST + 9000 < made.camera.bounds[2]


def test_edges_of_blocks_chosen_together_lie_below_the_names(canvas: MapCanvas) -> None:
    plate = next(p for p in canvas._placed() if p.key == 1)
    edge = canvas.camera.to_screen(EAST + 75, NORTH).y()
    canvas._plates = (
        canvas.camera.scale,
        canvas._plates[1],  # type: ignore[index]
        [plate.moved(0, round(edge - plate.box.center().y()))],
    )
    (laid,) = canvas._placed()
    inside = laid.box.toRect().adjusted(4, 4, -4, -4)
    before = canvas.grab().toImage()
    canvas.mark([1, 3])
    after = canvas.grab().toImage()
    assert after.copy(inside) == before.copy(inside)
    assert after != before  # the dashes are seen elsewhere


def test_the_map_shows_its_blocks_in_their_colours(canvas: MapCanvas) -> None:
    picture = canvas.grab()
    inside = on(canvas, 205, 80)
    assert colour(picture, inside.x() + 2, inside.y()) == "#2F7A7B"
    hole = on(canvas, 250, 50)
    assert colour(picture, hole.x(), hole.y()) == theme.LIGHT.map


def test_choosing_a_block_out_of_sight_moves_there(canvas: MapCanvas) -> None:
    canvas.pan(5000, 0)
    canvas.select(2)
    assert canvas.rect().contains(on(canvas, 250, 80))


# -- drawing ------------------------------------------------------------------------------------


def test_drawing_by_clicks_with_live_area(qtbot: QtBot, canvas: MapCanvas) -> None:
    words: list[str] = []
    canvas.hinted.connect(words.append)
    canvas.set_tool(DrawTool(canvas))
    for x, y in ((-20, -100), (80, -100), (80, -20), (-20, -20)):
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, x, y))
    assert words[-1].startswith("0.8")
    with qtbot.waitSignal(canvas.drawn) as heard:
        qtbot.keyClick(canvas, Qt.Key.Key_Return)
    outline = heard.args[0]
    assert outline.area == pytest.approx(8000, rel=0.03)
    assert len(outline.exterior.coords) == 5


def test_a_click_on_the_first_corner_closes(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.set_tool(DrawTool(canvas))
    spots = [on(canvas, x, y) for x, y in ((-20, -100), (80, -100), (80, -20))]
    with qtbot.waitSignal(canvas.drawn):
        for spot in (*spots, spots[0]):
            qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=spot)


def test_backspace_takes_back_and_esc_gives_up(qtbot: QtBot, canvas: MapCanvas) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    for x, y in ((-20, -100), (80, -100), (80, -20)):
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, x, y))
    qtbot.keyClick(canvas, Qt.Key.Key_Backspace)
    assert len(tool.points) == 2
    qtbot.keyClick(canvas, Qt.Key.Key_Return)  # two corners are no outline
    assert len(tool.points) == 2
    qtbot.keyClick(canvas, Qt.Key.Key_Escape)
    assert tool.points == []


def test_corners_nearby_are_caught_so_neighbours_share_an_edge(
    qtbot: QtBot, canvas: MapCanvas
) -> None:
    tool = DrawTool(canvas)
    canvas.set_tool(tool)
    near = on(canvas, 150, 100) + QPoint(5, -4)
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=near)
    assert tool.points[0] == (EAST + 150, NORTH + 100)
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.AltModifier, near)
    assert tool.points[1] != (EAST + 150, NORTH + 100)


def test_crossing_edges_are_marked_while_drawing(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.set_tool(DrawTool(canvas))
    for x, y in ((-30, -100), (90, -100), (90, -20), (20, -140)):
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, x, y))
    assert canvas.wrong_at is not None
    assert canvas.wrong_at[1] == pytest.approx(NORTH - 100, abs=2)
    qtbot.keyClick(canvas, Qt.Key.Key_Backspace)
    assert canvas.wrong_at is None


def test_an_outline_can_be_drawn_with_the_keyboard_alone(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.set_tool(DrawTool(canvas))
    with qtbot.waitSignal(canvas.drawn) as heard:
        for key in (Qt.Key.Key_Space, Qt.Key.Key_Right, Qt.Key.Key_Space, Qt.Key.Key_Down,
                    Qt.Key.Key_Space, Qt.Key.Key_Return):  # fmt: skip
            qtbot.keyClick(canvas, key)
    side = 60 / canvas.camera.scale
    assert heard.args[0].area == pytest.approx(side**2 / 2, rel=1e-6)


# -- corners ------------------------------------------------------------------------------------


@pytest.fixture
def corners(canvas: MapCanvas) -> CornerTool:
    canvas.select(1)
    tool = CornerTool(canvas)
    canvas.set_tool(tool)
    return tool


def test_a_corner_is_dragged(qtbot: QtBot, canvas: MapCanvas, corners: CornerTool) -> None:
    with qtbot.waitSignal(canvas.reshaped) as heard:
        drag(canvas, on(canvas, 0, 0), on(canvas, -30, -30), qtbot)
    block, outline = heard.args
    assert block == 1
    west, south, _, _ = outline.bounds
    assert west == pytest.approx(EAST - 30, abs=2) and south == pytest.approx(NORTH - 30, abs=2)
    assert canvas.shape(1).outline.equals(square(0, 0, 150, 100))  # stored by whoever listens


def test_a_double_click_on_an_edge_sets_a_corner(
    qtbot: QtBot, canvas: MapCanvas, corners: CornerTool
) -> None:
    with qtbot.waitSignal(canvas.reshaped) as heard:
        qtbot.mouseDClick(canvas, Qt.MouseButton.LeftButton, pos=on(canvas, 75, 0))
    outline = heard.args[1]
    assert len(outline.exterior.coords) == 6
    assert outline.equals(square(0, 0, 150, 100))


def test_keys_walk_nudge_insert_and_take_away(
    qtbot: QtBot, canvas: MapCanvas, corners: CornerTool
) -> None:
    heard: list[Polygon] = []
    canvas.reshaped.connect(lambda _, outline: heard.append(outline))
    qtbot.keyClick(canvas, Qt.Key.Key_N)
    before = canvas.camera
    qtbot.keyClick(canvas, Qt.Key.Key_Right)
    assert canvas.camera == before and heard == []  # the corner moves, not the map
    qtbot.keyClick(canvas, Qt.Key.Key_Escape)  # put back
    assert outline_of(corners.parts).equals(square(0, 0, 150, 100))
    qtbot.keyClick(canvas, Qt.Key.Key_Insert)
    assert len(heard[-1].exterior.coords) == 6
    qtbot.keyClick(canvas, Qt.Key.Key_Delete)
    assert len(heard[-1].exterior.coords) == 5


def test_three_corners_are_the_least(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.show_blocks(
        [MapBlock(9, "Wedge", Polygon([(EAST, NORTH), (EAST + 90, NORTH), (EAST, NORTH + 90)]),
                  GOOD)], EPSG,
    )  # fmt: skip
    canvas.select(9)
    canvas.set_tool(CornerTool(canvas))
    qtbot.keyClick(canvas, Qt.Key.Key_N)
    with qtbot.assertNotEmitted(canvas.reshaped):
        qtbot.keyClick(canvas, Qt.Key.Key_Delete)


def test_blocks_without_outline_are_shown_along_the_foot(qtbot: QtBot, canvas: MapCanvas) -> None:
    canvas.show_blocks([*canvas.blocks, MapBlock(7, "Far gate", None, GOOD, 0.8)], EPSG)
    canvas.grab()
    with qtbot.waitSignal(canvas.chosen) as heard:
        qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=QPoint(20, canvas.height() - 45))
    assert heard.args == [7]
