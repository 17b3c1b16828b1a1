"""What lies under the blocks: read once, laid where it belongs, listed, changed and taken back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QImage
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from rasterio.transform import from_origin
from rasterio.warp import transform_bounds
from small_farm import EAST, EPSG, NORTH

from desktop import theme, underlay_edits
from desktop.mapview import MapBlock, MapCanvas, ground
from desktop.mapview.layers import shade_image
from desktop.mapview.panel import MapPanel
from desktop.models.standing import Look, Standing
from desktop.pages.land.underlays import UnderlaysPanel
from desktop.session import Session
from waterbudget.errors import Refused

WIDE, CELL = 60, 10.0
BOUNDS = (EAST - 200, NORTH - 300, EAST - 200 + WIDE * CELL, NORTH - 300 + WIDE * CELL)
Settle = Callable[[Session], None]

pytestmark = pytest.mark.filterwarnings(
    "ignore::PendingDeprecationWarning", "ignore::rasterio.errors.NotGeoreferencedWarning"
)


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ground, "cache_folder", lambda: tmp_path / "cache")


def write(path: Path, pixels: np.ndarray, *, degrees: bool = False) -> Path:
    west, south, east, north = BOUNDS
    where, system = from_origin(west, north, CELL, CELL), f"EPSG:{EPSG}"
    if degrees:
        w, s, e, n = transform_bounds(system, "EPSG:4326", west, south, east, north)
        where, system = from_origin(w, n, (e - w) / WIDE, (n - s) / WIDE), "EPSG:4326"
    with rasterio.open(path, "w", driver="GTiff", width=WIDE, height=WIDE, count=pixels.shape[0],
                       dtype=pixels.dtype, crs=system, transform=where) as file:  # fmt: skip
        file.write(pixels)
    return path


def heights(path: Path, *, degrees: bool = False) -> Path:
    """Write a slope that climbs a metre every ten metres to the north."""
    rows = np.arange(WIDE)[::-1].astype("float32")
    return write(path, np.repeat(rows[:, None], WIDE, axis=1)[None], degrees=degrees)


def two_halves(path: Path) -> Path:
    """Write a picture that is red in the west and blue in the east."""
    pixels = np.zeros((3, WIDE, WIDE), np.uint8)
    pixels[0, :, : WIDE // 2], pixels[2, :, WIDE // 2 :] = 200, 200
    return write(path, pixels)


def canvas_with(qtbot: QtBot, layers: list[object], wide: int = 300) -> MapCanvas:
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(wide, 300)
    canvas.show()
    canvas.set_layers(layers)  # an empty map looks at its picture
    return canvas


def shown(qtbot: QtBot, canvas: MapCanvas) -> QImage:
    """Return the map once every tile in sight is there."""
    qtbot.waitUntil(lambda: canvas.backdrop.resting and canvas.backdrop.crisp(), timeout=8000)
    return canvas.grab().toImage()


def at(image: QImage, canvas: MapCanvas, x: float, y: float) -> QColor:
    spot = canvas.camera.to_screen(x, y).toPoint()
    return QColor(image.pixel(spot))


@pytest.mark.parametrize("degrees", [False, True])
def test_height_lines_lie_where_the_heights_are(tmp_path: Path, degrees: bool) -> None:
    path = heights(tmp_path / "hill.tif", degrees=degrees)
    layer = ground.read_layer(path, "heights", EPSG, tmp_path)
    assert layer.contours is not None
    y = np.vstack([layer.contours.thin, layer.contours.strong])[:, 1]
    expected = NORTH - 300 + 20 * CELL + CELL / 2  # the 20 m line
    nearest = y[np.abs(y - expected).argmin()]
    assert nearest == pytest.approx(expected, abs=1.0 if not degrees else 6.0)


def test_a_picture_lies_where_it_belongs(tmp_path: Path, qtbot: QtBot) -> None:
    layer = ground.read_layer(two_halves(tmp_path / "air.tif"), "picture", EPSG, tmp_path)
    assert layer.bounds == pytest.approx(BOUNDS, abs=1)
    canvas = canvas_with(qtbot, [layer])
    image = shown(qtbot, canvas)
    west, south, _, _ = BOUNDS
    left, right = (at(image, canvas, west + d, south + 300) for d in (50, 550))
    assert left.red() > 150 > left.blue() and right.blue() > 150 > right.red()
    canvas.zoom(7.0)
    image = shown(qtbot, canvas)
    for away in (-12, 12):
        colour = at(image, canvas, west + 300 + away, south + 300)
        assert (colour.red() > colour.blue()) == (away < 0)


def test_opacity_lets_the_paper_show_through(tmp_path: Path, qtbot: QtBot) -> None:
    from dataclasses import replace

    layer = ground.read_layer(two_halves(tmp_path / "air.tif"), "picture", EPSG, tmp_path)
    canvas = canvas_with(qtbot, [replace(layer, opacity=0.5)])
    colour = at(shown(qtbot, canvas), canvas, BOUNDS[0] + 50, BOUNDS[1] + 300)
    paper = QColor(theme.colours().map)
    assert colour.red() == pytest.approx((200 + paper.red()) / 2, abs=3)
    assert colour.blue() == pytest.approx(paper.blue() / 2, abs=3)


@pytest.mark.parametrize("tiled", [False, True])
def test_only_the_edges_let_the_picture_show(
    tmp_path: Path, qtbot: QtBot, tiled: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shapely.geometry import box

    from desktop.mapview import canvas as canvas_module

    if tiled:
        monkeypatch.setattr(canvas_module, "MANY", 0)
    layer = ground.read_layer(two_halves(tmp_path / "air.tif"), "picture", EPSG, tmp_path)
    canvas = canvas_with(qtbot, [layer])
    west, south = BOUNDS[0], BOUNDS[1]
    standing = Standing(Look.GOOD, "fill", 0.6, 12.0, 20.0, 3)
    block = MapBlock(1, "", box(west + 50, south + 50, west + 250, south + 550), standing)
    canvas.show_blocks([block], EPSG)
    assert canvas.tiled == tiled
    inside = (west + 100, south + 100)
    filled = at(shown(qtbot, canvas), canvas, *inside)
    assert filled.name().upper() == "#2F7A7B"
    canvas.set_edges_only(True)
    image = shown(qtbot, canvas)
    open_ = at(image, canvas, *inside)
    assert open_.red() > 150 and open_.blue() < 60
    edge = canvas.camera.to_screen(west + 50, south + 300).toPoint()
    row = [QColor(image.pixel(edge.x() + d, edge.y())) for d in range(-4, 5)]
    assert any(c.name().upper() == theme.colours().ink.upper() for c in row)
    canvas.set_edges_only(False)
    assert at(shown(qtbot, canvas), canvas, *inside) == filled


def test_scale_and_height_lines_stand_on_a_plate_over_pictures(
    tmp_path: Path, qtbot: QtBot
) -> None:
    layer = ground.read_layer(two_halves(tmp_path / "air.tif"), "picture", EPSG, tmp_path)
    canvas = canvas_with(qtbot, [layer])
    for layers, colour in (([layer], theme.colours().plate), ([], theme.colours().map)):
        canvas.set_layers(layers)
        image = shown(qtbot, canvas)
        assert QColor(image.pixel(8, canvas.height() - 28)).name().upper() == colour.upper()


def test_the_upper_picture_covers_the_lower(tmp_path: Path, qtbot: QtBot) -> None:
    red = ground.read_layer(two_halves(tmp_path / "a.tif"), "picture", EPSG, tmp_path)
    green = np.zeros((3, WIDE, WIDE), np.uint8)
    green[1] = 180
    over = ground.read_layer(write(tmp_path / "b.tif", green), "picture", EPSG, tmp_path)
    for layers, wanted in (([red, over], "green"), ([over, red], "red")):
        canvas = canvas_with(qtbot, layers)
        colour = at(shown(qtbot, canvas), canvas, BOUNDS[0] + 50, BOUNDS[1] + 300)
        assert getattr(colour, wanted)() > 150


def test_shade_darkens_slopes_away_from_the_light_and_leaves_flat_ground() -> None:
    image = shade_image(np.array([[20, 180, 250, 0]], np.uint8))
    alpha = [image.pixelColor(x, 0).alpha() for x in range(4)]
    assert alpha[0] > 100 and alpha[1] == 0 and alpha[2] > 80 and alpha[3] == 0
    assert image.pixelColor(0, 0).red() == 0 and image.pixelColor(2, 0).red() > 240


# -- the session ----------------------------------------------------------------------------------


def laid(qtbot: QtBot, session: Session, settle: Settle, path: Path, kind: str) -> ground.Keeper:
    keeper = ground.keeper(session)
    underlay_edits.add(session, path, kind)
    settle(session)
    qtbot.waitUntil(lambda: keeper.idle, timeout=8000)
    return keeper


def test_the_map_takes_up_what_is_laid_and_undo_takes_it_away(
    tmp_path: Path, qtbot: QtBot, session: Session, settle: Settle
) -> None:
    panel = MapPanel(session, lambda *_, **__: None)
    qtbot.addWidget(panel)
    panel.resize(500, 600)
    panel.show()
    settle(session)
    bare = shown(qtbot, panel.canvas)
    keeper = laid(qtbot, session, settle, heights(tmp_path / "hill.tif"), "heights")
    assert len(panel.canvas.layers) == 1 and panel.canvas.layers == keeper.layers
    assert shown(qtbot, panel.canvas) != bare
    session.undo_last()
    settle(session)
    assert panel.canvas.layers == ()
    assert not panel.canvas.backdrop.active
    session.redo_next()
    settle(session)
    assert len(panel.canvas.layers) == 1


def test_an_edit_of_a_block_leaves_the_layers_as_they_are(
    tmp_path: Path, qtbot: QtBot, session: Session, settle: Settle
) -> None:
    keeper = laid(qtbot, session, settle, two_halves(tmp_path / "air.tif"), "picture")
    before = keeper.layers[0]
    session.changed.emit(frozenset({"blocks"}))
    assert keeper.layers[0] is before


def test_a_missing_file_is_told_and_the_rest_is_shown(
    tmp_path: Path, qtbot: QtBot, session: Session, settle: Settle
) -> None:
    gone = two_halves(tmp_path / "air.tif")
    laid(qtbot, session, settle, heights(tmp_path / "hill.tif"), "heights")
    keeper = laid(qtbot, session, settle, gone, "picture")
    assert len(keeper.layers) == 2
    path = session.path
    session.close()
    settle(session)
    assert keeper.layers == ()
    gone.unlink()
    heard: list[object] = []
    session.refused.connect(heard.append)
    session.open(path)
    settle(session)
    qtbot.waitUntil(lambda: keeper.idle, timeout=8000)
    assert len(keeper.layers) == 1
    assert [e.code for e in heard if isinstance(e, Refused)] == ["underlay.no_file"]
    panel = UnderlaysPanel(session, lambda *_, **__: None)
    qtbot.addWidget(panel)
    assert "air.tif" in panel.rows["air.tif"].words.text()
    assert panel.rows["hill.tif"].words.text() == ""


def test_the_list_is_worked_with_the_keyboard(
    tmp_path: Path, qtbot: QtBot, session: Session, settle: Settle
) -> None:
    for name in ("a.tif", "b.tif"):
        laid(qtbot, session, settle, two_halves(tmp_path / name), "picture")
    panel = UnderlaysPanel(session, lambda *_, **__: None)
    qtbot.addWidget(panel)
    panel.resize(340, 500)
    panel.show()
    qtbot.waitExposed(panel)

    def order() -> list[str]:
        rows = sorted(panel.rows.items(), key=lambda item: item[1].y())
        return [path for path, _ in rows]

    assert order() == ["b.tif", "a.tif"]  # the last one laid down lies on top
    row = panel.rows["a.tif"]
    QTest.keyClick(row.up, Qt.Key.Key_Return)
    settle(session)
    panel.layout().activate()
    assert [r.path for r in sorted(session.data.underlays, key=lambda r: r.place)] == [
        "b.tif", "a.tif"]  # fmt: skip
    assert not row.up.isEnabled() and row.down.isEnabled()
    QTest.keyClick(row.shown, Qt.Key.Key_Space)
    settle(session)
    assert not _row(session, "a.tif").shown and len(ground.keeper(session).layers) == 1
    row.strength.setFocus()
    QTest.keyClick(row.strength, Qt.Key.Key_Down)
    QTest.keyClick(row.strength, Qt.Key.Key_Down)
    qtbot.waitUntil(lambda: session.idle and _row(session, "a.tif").opacity == 0.8, timeout=5000)
    session.undo_last()
    settle(session)
    assert _row(session, "a.tif").opacity == 1.0 and row.strength.value() == 100
    QTest.keyClick(row.off, Qt.Key.Key_Return)
    settle(session)
    assert list(panel.rows) == ["b.tif"]
    session.undo_last()
    settle(session)
    assert set(panel.rows) == {"a.tif", "b.tif"}


def _row(session: Session, path: str) -> object:
    assert session.data is not None
    return next(r for r in session.data.underlays if r.path == path)


# -- tiles ----------------------------------------------------------------------------------------


def many(count: int = 400, look: Look = Look.GOOD) -> list[MapBlock]:
    from shapely.geometry import box

    blocks = []
    for k in range(count):
        x, y = EAST + 50 * (k % 20), NORTH + 50 * (k // 20)
        blocks.append(MapBlock(k + 1, f"B{k}", box(x, y, x + 46, y + 46),
                               Standing(look, "shoots", 0.6, 12.0, 20.0, 3), 0.2))  # fmt: skip
    return blocks


def test_many_blocks_come_as_tiles_in_their_colours(qtbot: QtBot) -> None:
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(600, 600)
    canvas.show()
    canvas.show_blocks(many(), EPSG)
    assert canvas.tiled
    canvas.zoom(3.0)
    image = shown(qtbot, canvas)
    assert at(image, canvas, EAST + 450 + 5, NORTH + 500 + 4).name().upper() == "#2F7A7B"
    assert at(image, canvas, EAST + 448, NORTH + 520).name().upper() == theme.colours().map.upper()


@pytest.mark.parametrize("size_px", [4.6, 6.5])
def test_tiny_blocks_keep_colour_place_and_the_rim_of_fruit_fill(
    qtbot: QtBot, size_px: float
) -> None:
    from dataclasses import replace

    blocks = many()
    blocks[0] = replace(blocks[0], standing=replace(blocks[0].standing, stage="fill"))
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(300, 300)
    canvas.show()
    canvas.show_blocks(blocks, EPSG)
    canvas.zoom(size_px / 46 / canvas.camera.scale)
    corner = canvas.camera.to_screen(EAST, NORTH)
    canvas.pan(150 - corner.x(), 150 - corner.y())
    image = shown(qtbot, canvas)
    assert at(image, canvas, EAST + 223, NORTH + 223).name().upper() == "#2F7A7B"
    spot = canvas.camera.to_screen(EAST + 23, NORTH + 23).toPoint()
    near = [QColor(image.pixel(spot.x() + x, spot.y() + y)).name().upper()
            for x in range(-4, 5) for y in range(-4, 5)]  # fmt: skip
    assert theme.colours().ink.upper() in near
    assert theme.colours().ink.upper() not in [
        QColor(image.pixel(spot.x() + 40 + x, spot.y() - 30 + y)).name().upper()
        for x in range(-4, 5) for y in range(-4, 5)
    ]  # fmt: skip


@pytest.mark.parametrize("in_fill", [False, True])
@pytest.mark.parametrize("look", list(Look))
def test_a_tile_looks_like_the_map_of_a_small_farm(qtbot: QtBot, look: Look, in_fill: bool) -> None:
    from shapely.geometry import box

    standing = Standing(look, "fill" if in_fill else "shoots", 0.6, 12.0, 20.0, 3)
    block = MapBlock(1, "", box(EAST, NORTH, EAST + 80, NORTH + 60), standing)
    images = []
    for few in (True, False):
        canvas = MapCanvas()
        qtbot.addWidget(canvas)
        canvas.resize(300, 260)
        canvas.show()
        far = [] if few else [
            MapBlock(9 + k, "", box(EAST + 9000 + k, NORTH, EAST + 9001 + k, NORTH + 1), standing)
            for k in range(301)
        ]  # fmt: skip
        canvas.show_blocks([block], EPSG)
        canvas.show_blocks([block, *far], EPSG)
        canvas.camera = canvas.camera.fitted((EAST, NORTH, EAST + 80, NORTH + 60))
        canvas.backdrop.look(canvas.camera, 1.0)
        assert canvas.tiled != few
        canvas._names = []
        canvas._plates = (canvas.camera.scale, (0.0, 0.0), [])
        images.append(shown(qtbot, canvas))
    grey = [np.array([[QColor(i.pixel(x, y)).lightness() for x in range(30, 270, 2)]
                      for y in range(50, 210, 2)], float) for i in images]  # fmt: skip
    assert abs(grey[0].mean() - grey[1].mean()) < 3.0
    if look in (Look.FULL, Look.GOOD, Look.HALF, Look.LOW):
        assert (np.abs(grey[0] - grey[1]) > 40).mean() < 0.03


def test_one_changed_block_repaints_only_its_own_ground(qtbot: QtBot) -> None:
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(600, 600)
    canvas.show()
    blocks = many()
    canvas.show_blocks(blocks, EPSG)
    before = shown(qtbot, canvas)
    old = blocks[210]
    west, south, east, north = old.outline.bounds
    blocks[210] = MapBlock(old.id, old.name, old.outline,
                           Standing(Look.LOW, "shoots", 0.1, 2.0, 20.0, 1), 0.2)  # fmt: skip
    canvas.show_blocks(blocks, EPSG)
    assert not canvas.backdrop.crisp()
    stale = [t for t in canvas.backdrop._tiles.values() if t.stale is not None]
    assert 0 < len(stale) < len(canvas.backdrop._tiles)
    after = shown(qtbot, canvas)
    middle = (west + east) / 2, (south + north) / 2
    assert at(before, canvas, *middle).name().upper() == "#2F7A7B"
    assert at(after, canvas, *middle).name().upper() == "#DCC690"
    other = (west - 50 + 23, south + 23)
    assert at(after, canvas, *other) == at(before, canvas, *other)


def test_after_a_step_of_the_wheel_the_old_tiles_stay_until_the_new_are_there(
    qtbot: QtBot,
) -> None:
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(600, 600)
    canvas.show()
    canvas.show_blocks(many(), EPSG)
    shown(qtbot, canvas)
    canvas.zoom(1.2)
    canvas.zoom(1.2)
    assert not canvas.backdrop.resting and not canvas.backdrop.crisp()
    at_once = canvas.grab().toImage()
    inside = at(at_once, canvas, EAST + 500 + 8, NORTH + 500 + 6)
    assert inside.name().upper() == "#2F7A7B"
    shown(qtbot, canvas)


def test_many_blocks_are_hit_and_named(qtbot: QtBot) -> None:
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(600, 600)
    canvas.show()
    canvas.show_blocks(many(), EPSG)
    canvas.zoom(4.0)
    shown(qtbot, canvas)
    qtbot.waitUntil(lambda: len(canvas._names) > 5, timeout=8000)
    boxes = [name.box(canvas.camera) for name in canvas._names]
    assert not any(a.intersects(b) for k, a in enumerate(boxes) for b in boxes[k + 1 :])
    heard: list[object] = []
    canvas.chosen.connect(heard.append)
    spot = canvas.camera.to_screen(EAST + 50 * 9 + 3, NORTH + 50 * 10 + 3).toPoint()
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=spot)
    assert heard == [210]
