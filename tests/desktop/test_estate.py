"""An estate from nothing, in the real window, with mouse and keys only: walk, neighbour, split,
hole, join, heights, flow, trees; then everything taken back and done again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from land_farm import hover
from PySide6.QtCore import QEvent, QObject, QPoint, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication, QDialog, QFileDialog, QMainWindow, QWidget
from pytestqt.qtbot import QtBot

from desktop import theme
from desktop.main_window import MainWindow
from desktop.mapview import MapCanvas
from desktop.pages.land import LandPage
from desktop.session import Session
from desktop.settings import Settings

Key, LEFT = Qt.Key, Qt.MouseButton.LeftButton
NONE, ALT = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.AltModifier
CONTROL = Qt.KeyboardModifier.ControlModifier
SAMPLES = Path(__file__).parents[2] / "sample_maps"
Settle = Callable[[Session], None]


class Strays(QObject):
    """Hears of widgets that were shown before they had a place, and so as windows."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[str] = []

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Note them."""
        if event.type() == QEvent.Type.Show and isinstance(watched, QWidget):
            known = isinstance(watched, QMainWindow | QDialog) or not watched.isWindow()
            popup = watched.windowType() in (Qt.WindowType.Popup, Qt.WindowType.ToolTip)
            if not known and not popup:
                self.heard.append(repr(watched))
        return False


class Grower:
    """Hands at the window."""

    def __init__(self, qtbot: QtBot, session: Session, settle: Settle) -> None:
        self.qtbot, self.session, self._settle = qtbot, session, settle
        self.window = MainWindow(session, Settings())
        qtbot.addWidget(self.window)
        self.window.resize(1280, 740)
        with qtbot.waitActive(self.window):
            self.window.show()

    @property
    def page(self) -> LandPage:
        """The land page."""
        page = self.window.stack.currentWidget()
        assert isinstance(page, LandPage)
        return page

    @property
    def canvas(self) -> MapCanvas:
        """Its map."""
        return self.page.map.canvas

    @property
    def said(self) -> str:
        """The line below the map."""
        return self.page.outline.words_below.text()

    def wait(self) -> None:
        """Wait until nothing more happens."""
        QApplication.processEvents()
        self._settle(self.session)
        QApplication.processEvents()

    def _hand(self) -> QWidget:
        """Return what has the keyboard; offscreen nobody gives it back to the window."""
        plate = QApplication.activeModalWidget()
        (plate or self.window).activateWindow()
        QApplication.processEvents()
        return QApplication.focusWidget() or plate or self.window

    def key(self, key: Qt.Key, held: Qt.KeyboardModifier = NONE) -> None:
        """Press a key where the keyboard is."""
        self.qtbot.keyClick(self._hand(), key, held)
        self.wait()

    def type(self, words: str) -> None:
        """Type where the keyboard is."""
        self.qtbot.keyClicks(self._hand(), words)

    def click(self, x: float, y: float, held: Qt.KeyboardModifier = NONE, off: int = 0) -> None:
        """Click a place of the ground, so many pixels beside it."""
        at = self.canvas.camera.to_screen(x, y).toPoint() + QPoint(off, -off)
        hover(self.canvas, at, held=held)
        self.qtbot.mouseClick(self.canvas, LEFT, held, at)
        self.wait()

    def press(self, widget: QWidget) -> None:
        """Click a widget, which must be there to be clicked."""
        assert widget.isVisible() and widget.isEnabled(), widget
        self.qtbot.mouseClick(widget, LEFT)
        self.wait()

    def names(self) -> list[str]:
        """Every block's name."""
        data = self.session.data
        assert data is not None
        return sorted(b.name for b in data.orchard.blocks)

    def block(self, name: str) -> Any:
        """A block as it is stored."""
        data = self.session.data
        assert data is not None
        return data.orchard.block(name)


@pytest.fixture
def grower(
    qtbot: QtBot, empty_session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Grower]:  # fmt: skip
    """A grower before the welcome page; the desktop's own file windows answer at once."""

    def answer(name: str, found: Any) -> None:
        monkeypatch.setattr(QFileDialog, name, lambda *a, **k: (found, ""))

    answer("getSaveFileName", str(tmp_path / "estate.gpkg"))
    answer("getOpenFileNames", [str(SAMPLES / "walk.gpx")])
    answer("getOpenFileName", str(SAMPLES / "hillside.tif"))
    strays = Strays()
    app = QApplication.instance()
    assert app is not None
    app.installEventFilter(strays)
    yield Grower(qtbot, empty_session, settle)
    app.removeEventFilter(strays)
    assert not strays.heard


def corner_of(outline: Any, x: float, y: float) -> tuple[float, float]:
    """Return the corner nearest to a place counted from the outline's lower left [m]."""
    west, south, *_ = outline.bounds
    points = np.array(outline.exterior.coords)
    nearest = points[np.hypot(points[:, 0] - west - x, points[:, 1] - south - y).argmin()]
    return float(nearest[0]), float(nearest[1])


def begin_with_a_walk(g: Grower) -> None:
    """The welcome page by keys, then a walk brought in, then the land page."""
    g.key(Key.Key_2)
    g.type("Hill estate")
    g.key(Key.Key_Tab)
    g.type("-17.3552, 33.2125")
    g.key(Key.Key_Return)
    g.key(Key.Key_O, CONTROL)
    assert QApplication.activeModalWidget() is not None
    g.key(Key.Key_Return)
    assert g.names() == ["Lookout", "Swallow", "Weir"]
    g.key(Key.Key_7, ALT)
    assert "Click a block on the map" in g.page.outline.size_line.text()


def draw_a_neighbour(g: Grower) -> None:
    """Along Weir's upper edge by two clicks beside it, then up and back."""
    weir = g.block("Weir").outline
    start, end = corner_of(weir, 147, 93), corner_of(weir, 257, 69)
    g.key(Key.Key_D)
    g.key(Key.Key_Plus)
    g.click(*start, off=4)
    assert g.said.startswith("On a corner of Weir")
    g.key(Key.Key_F)
    g.click(*end, off=4)
    g.key(Key.Key_F)
    g.click(end[0] + 10, end[1] + 90, ALT)
    g.click(start[0] + 5, start[1] + 85, ALT)
    g.key(Key.Key_Return)
    assert "Enter keeps it" in g.said
    g.type("Kopje")
    g.key(Key.Key_Return)
    kopje = g.block("Kopje").outline
    assert 115 < kopje.intersection(weir).length < 125 and kopje.intersection(weir).area < 1e-6
    assert g.block("Kopje").hectares == pytest.approx(1.09, abs=0.03)


def split_it(g: Grower) -> None:
    """A line from outside to outside; the column tells how long it is."""
    middle = g.block("Kopje").outline.centroid
    g.key(Key.Key_S)
    g.click(middle.x - 20, middle.y + 70, ALT)
    hover(g.canvas, g.canvas.camera.to_screen(middle.x - 20, middle.y - 80).toPoint(), held=ALT)
    length, rest = g.page.outline.size_line.text().split(" ", 1)
    assert float(length) == pytest.approx(150, abs=1.5) and rest == "m so far"
    g.click(middle.x - 5, middle.y - 80, ALT)
    g.key(Key.Key_Return)
    g.key(Key.Key_Return)
    assert g.names() == ["Kopje", "Kopje 2", "Lookout", "Swallow", "Weir"]
    assert g.page.bench.word == "choose"  # done once: the next click chooses


def cut_a_hole(g: Grower) -> None:
    """With Kopje chosen and the tool in hand, a click on Weir means Weir."""
    west, south, *_ = g.block("Weir").outline.bounds
    before = g.block("Weir").hectares
    g.key(Key.Key_K)
    x, y = west + 60, south + 85
    g.click(x, y)
    assert g.session.selected == g.block("Weir").id
    for dx, dy in ((-8, -8), (9, -7), (8, 8), (-7, 9)):
        g.click(x + dx, y + dy, ALT)
    g.key(Key.Key_Return)
    weir = g.block("Weir")
    assert len(weir.outline.interiors) == 1
    assert before - weir.hectares == pytest.approx(0.027, abs=0.003)
    g.key(Key.Key_Escape)


def join_and_take_it_back(g: Grower) -> None:
    """Two halves chosen with Ctrl, joined by J and Enter, parted again by an undo."""
    for name, held in (("Kopje", NONE), ("Kopje 2", CONTROL)):
        at = g.block(name).outline.representative_point()
        g.click(at.x, at.y, held)
    assert g.page.outline.title.text() == "2 blocks"
    g.key(Key.Key_J)
    g.key(Key.Key_Return)
    assert g.names() == ["Kopje", "Lookout", "Swallow", "Weir"]
    g.key(Key.Key_Z, CONTROL)
    assert "Kopje 2" in g.names()


def lay_heights_under(g: Grower) -> None:
    """The height file from the column; a measured line then knows the slope."""
    g.press(g.page.tabs["below"])
    below = g.page.sections["below"]
    g.press(below.add_heights)  # type: ignore[attr-defined]
    g.qtbot.waitUntil(lambda: bool(g.canvas.layers), timeout=10000)
    row = next(iter(below.rows.values()))  # type: ignore[attr-defined]
    assert row.strength.lineEdit().width() > 30 and row.strength.text() == "100 %"
    west, south, *_ = g.block("Weir").outline.bounds
    g.canvas.setFocus()
    g.key(Key.Key_M)
    g.click(west, south + 150, ALT)
    g.click(west + 250, south + 200, ALT)
    assert "m along the ground" in g.page.outline.size_line.text()
    g.key(Key.Key_Escape)
    g.key(Key.Key_Escape)


def look_at_the_hill(g: Grower) -> None:
    """The file laid under the map is there already; heights kept, flow on the map itself."""
    g.press(g.page.tabs["hill"])
    hill: Any = g.page.sections["hill"]
    assert hill.file_name.text() == "hillside.tif" and not hill.laid_links
    g.press(hill.store)
    assert g.block("Weir").elevation_m == pytest.approx(924, abs=6)
    g.canvas.setFocus()
    at = g.block("Kopje").outline.representative_point()
    g.click(at.x, at.y)
    g.click(at.x, at.y)
    assert hill.flow.said.text().startswith("Its places get") and hill.flow.map.isHidden()
    assert steps_seen(g) >= 3
    assert g.page.map.legend._items()[0] == ("words", "Kopje gets")
    g.press(g.page.tabs["outline"])
    assert steps_seen(g) == 0
    assert g.page.map.legend._items()[0] == ("scale", "Easy water left")


def steps_seen(g: Grower) -> int:
    """Return how many of the solid steps of the flow are seen on the chosen block."""
    g.qtbot.waitUntil(g.canvas.backdrop.crisp, timeout=10000)
    image, shape = g.canvas.grab().toImage(), g.canvas.shape(g.session.selected)
    assert shape is not None
    box = g.canvas.camera.box(shape.bounds).toRect()
    seen = {image.pixelColor(x, y).rgb() for x in range(box.left(), box.right(), 2)
            for y in range(box.top(), box.bottom(), 2)}  # fmt: skip
    return len(seen & {QColor(step).rgb() for step in theme.STEPS})


def only_the_edges(g: Grower) -> None:
    """Over a picture the blocks are left open, and stay so in the next window."""
    g.press(g.page.tabs["below"])
    below: Any = g.page.sections["below"]
    g.press(below.edges)
    assert g.canvas.edges_only and Settings().edges_only
    g.press(below.edges)
    assert not g.canvas.edges_only and not Settings().edges_only


def set_trees_out(g: Grower) -> None:
    """Spacing typed, trees counted, kept in the block."""
    g.press(g.page.tabs["planting"])
    planting: Any = g.page.sections["planting"]
    for name in ("spacing_m", "row_spacing_m"):
        planting.fields[name].edit.setFocus()
        g.type("5")
        g.key(Key.Key_Return)
    trees = planting.made.planting.trees
    assert trees / (g.block("Kopje").hectares * 400) == pytest.approx(1.02, abs=0.05)  # 1/cos slope
    x, y = planting.made.planting.x[7], planting.made.planting.y[7]
    at = g.canvas.camera.to_screen(float(x), float(y)).toPoint()
    g.qtbot.waitUntil(g.canvas.backdrop.crisp, timeout=10000)
    assert g.canvas.grab().toImage().pixelColor(at).name().upper() == theme.colours().ink.upper()
    g.press(planting.keep)
    assert g.block("Kopje").spacing_m == 5.0


def as_built(block: Any) -> Any:
    """Return a block without its number: a block brought in again has a new one."""
    return replace(block, id=0)


def test_an_estate_is_built_from_nothing(grower: Grower) -> None:
    g = grower
    begin_with_a_walk(g)
    draw_a_neighbour(g)
    split_it(g)
    cut_a_hole(g)
    join_and_take_it_back(g)
    lay_heights_under(g)
    look_at_the_hill(g)
    only_the_edges(g)
    set_trees_out(g)
    built = g.session.data
    assert built is not None
    g.canvas.setFocus()
    for _ in range(30):
        if not g.session.undo.canUndo():
            break
        g.key(Key.Key_Z, CONTROL)
    assert g.names() == [] and not g.session.data.underlays  # type: ignore[union-attr]
    for _ in range(30):
        if not g.session.undo.canRedo():
            break
        g.key(Key.Key_Y, CONTROL)
    again = g.session.data
    assert again is not None
    assert [as_built(b) for b in again.orchard.blocks] == [
        as_built(b) for b in built.orchard.blocks
    ]
