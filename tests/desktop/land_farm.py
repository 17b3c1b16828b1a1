"""A farm of blocks that touch, and hands for the map: the tests of the land page."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from pytestqt.qtbot import QtBot
from shapely.geometry import Polygon, box
from small_farm import EAST, NORTH, NOW, small_farm

from desktop.mapview import MapCanvas
from waterbudget import actions
from waterbudget.store import FarmFile

KILN, RIDGE, GULLY, GATE = 1, 2, 3, 4
NONE, ALT = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.AltModifier
SHIFT, CONTROL = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier


def land_farm(path: Path) -> Path:
    """Write the small farm with Upper ridge beside Kiln: one edge, two corners in common."""
    small_farm(path)
    with FarmFile.open(path) as file:
        actions.set_outline(file, "Upper ridge", rect(120, 0, 100, 90), now=NOW)
        actions.enter_ran(file, "Kiln", dt.date(2025, 7, 10), hours=3.0, now=NOW)
    return path


def rect(x: float, y: float, wide: float, high: float) -> Polygon:
    """Return a rectangle counted from the farm's corner [m]."""
    return box(EAST + x, NORTH + y, EAST + x + wide, NORTH + y + high)


def on(canvas: MapCanvas, x: float, y: float) -> QPoint:
    """Return the pixel of a place counted from the farm's corner [m]."""
    return canvas.camera.to_screen(EAST + x, NORTH + y).toPoint()


def click(qtbot: QtBot, canvas: MapCanvas, x: float, y: float, held=NONE) -> None:
    """Click a place."""
    qtbot.mouseClick(canvas, Qt.MouseButton.LeftButton, held, on(canvas, x, y))


def hover(canvas: MapCanvas, at: QPoint, buttons=Qt.MouseButton.NoButton, held=NONE) -> None:
    """Move the pointer there, as the window system tells it."""
    from PySide6.QtWidgets import QApplication

    event = QMouseEvent(QEvent.Type.MouseMove, QPointF(at), canvas.mapToGlobal(QPointF(at)),
                        Qt.MouseButton.NoButton, buttons, held)  # fmt: skip
    QApplication.sendEvent(canvas, event)


def drag(qtbot: QtBot, canvas: MapCanvas, way: list[QPoint], held=NONE) -> None:
    """Press at the first point, go along the others, let go at the last."""
    qtbot.mousePress(canvas, Qt.MouseButton.LeftButton, held, way[0])
    for at in way[1:]:
        hover(canvas, at, Qt.MouseButton.LeftButton, held)
    qtbot.mouseRelease(canvas, Qt.MouseButton.LeftButton, held, way[-1])
