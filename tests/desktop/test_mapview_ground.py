"""What lies under the blocks: height files and pictures, read in the farm's metres."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot
from rasterio.transform import from_origin
from rasterio.warp import transform_bounds
from small_farm import EAST, EPSG, NORTH

from desktop.mapview import MapCanvas, ground
from desktop.mapview.contours import read_heights, trace
from desktop.mapview.panel import MapPanel
from desktop.session import Session
from desktop.settings import Settings
from waterbudget.errors import Refused

WIDE, CELL = 60, 10.0
BOUNDS = (EAST - 200, NORTH - 300, EAST - 200 + WIDE * CELL, NORTH - 300 + WIDE * CELL)


pytestmark = pytest.mark.filterwarnings(
    "ignore::PendingDeprecationWarning", "ignore::rasterio.errors.NotGeoreferencedWarning"
)


def heights(path: Path, *, degrees: bool = False) -> Path:
    """Write a slope that climbs a metre every ten metres to the north."""
    rows = np.arange(WIDE)[::-1].astype("float32")
    z = np.repeat(rows[:, None], WIDE, axis=1)
    west, south, east, north = BOUNDS
    where = from_origin(west, north, CELL, CELL)
    system = f"EPSG:{EPSG}"
    if degrees:
        w, s, e, n = transform_bounds(system, "EPSG:4326", west, south, east, north)
        where, system = from_origin(w, n, (e - w) / WIDE, (n - s) / WIDE), "EPSG:4326"
    with rasterio.open(path, "w", driver="GTiff", width=WIDE, height=WIDE, count=1,
                       dtype="float32", crs=system, transform=where) as file:  # fmt: skip
        file.write(z, 1)
    return path


@pytest.mark.parametrize("degrees", [False, True])
def test_heights_are_read_in_the_farms_metres(tmp_path: Path, degrees: bool) -> None:
    grid = read_heights(heights(tmp_path / "hill.tif", degrees=degrees), EPSG)
    lines = trace(grid, step_m=20)
    y = np.vstack([lines.thin, lines.strong])[:, 1]
    expected = NORTH - 300 + 20 * CELL + CELL / 2  # the 20 m line
    nearest = y[np.abs(y - expected).argmin()]
    assert nearest == pytest.approx(expected, abs=1.0 if not degrees else 6.0)
    assert grid.west == pytest.approx(BOUNDS[0] + CELL / 2, abs=8)


def test_a_file_that_holds_no_heights_is_refused_by_name(tmp_path: Path, session: Session) -> None:
    path = tmp_path / "notes.tif"
    path.write_text("not a picture")
    assert session.path is not None and session.data is not None
    Settings().set_ground(session.path, "heights", path)
    found = ground.read_ground(session.data.orchard, session.path)
    assert found.contours is None
    assert isinstance(found.fault, Refused) and found.fault.fields["file"] == "notes.tif"


def test_a_picture_without_a_place_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "photo.png"
    with rasterio.open(path, "w", driver="PNG", width=4, height=4, count=3, dtype="uint8") as file:
        file.write(np.zeros((3, 4, 4), np.uint8))
    with pytest.raises(Refused) as refused:
        ground.read_picture(path, EPSG)
    assert refused.value.code == "desktop.picture_nowhere"


def test_a_picture_lies_where_it_belongs(tmp_path: Path, qtbot: QtBot) -> None:
    path = tmp_path / "air.tif"
    west, south, _, north = BOUNDS
    pixels = np.zeros((3, WIDE, WIDE), np.uint8)
    pixels[0, :, : WIDE // 2] = 200  # the western half is red
    pixels[2, :, WIDE // 2 :] = 200  # the eastern half is blue
    with rasterio.open(path, "w", driver="GTiff", width=WIDE, height=WIDE, count=3, dtype="uint8",
                       crs=f"EPSG:{EPSG}",
                       transform=from_origin(west, north, CELL, CELL)) as file:  # fmt: skip
        file.write(pixels)
    picture = ground.read_picture(path, EPSG)
    assert picture.bounds == pytest.approx(BOUNDS, abs=1)
    canvas = MapCanvas()
    qtbot.addWidget(canvas)
    canvas.resize(300, 300)
    canvas.set_ground(None, picture)  # an empty map looks at its picture
    shown = canvas.grab().toImage()
    left = canvas.camera.to_screen(west + 50, south + 300).toPoint()
    right = canvas.camera.to_screen(west + 550, south + 300).toPoint()
    assert QColor(shown.pixel(left)).red() > 150 > QColor(shown.pixel(left)).blue()
    assert QColor(shown.pixel(right)).blue() > 150 > QColor(shown.pixel(right)).red()


def test_the_map_takes_up_a_remembered_height_file(
    tmp_path: Path, qtbot: QtBot, session: Session, settle: Callable[[Session], None]
) -> None:
    assert session.path is not None
    Settings().set_ground(session.path, "heights", heights(tmp_path / "hill.tif"))
    panel = MapPanel(session, lambda *_, **__: None)
    qtbot.addWidget(panel)
    panel.resize(500, 600)
    panel.show()
    settle(session)
    bare = MapCanvas()
    qtbot.addWidget(bare)
    bare.resize(panel.canvas.size())
    bare.show_blocks(panel.canvas.blocks, EPSG)
    assert panel.canvas.grab().toImage() != bare.grab().toImage()
