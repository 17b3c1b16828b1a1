"""The hill in a real window: a height file looked at, kept and taken back; the flow of a block."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QFileDialog
from pytestqt.qtbot import QtBot
from small_farm import EAST, EPSG, NORTH

from desktop import theme, wording
from desktop.pages.land.hill import HillPanel
from desktop.session import Session

Settle = Callable[[Session], None]
KILN, RIDGE, GULLY = 1, 2, 3


def ramp(path: Path, rise: float = 0.2, times: float = 1.0) -> Path:
    """Land that falls to the west, 1040 m at the western edge of Kiln."""
    import rasterio
    from rasterio.transform import Affine

    x = -100 + (np.arange(50) + 0.5) * 10.0
    z = np.repeat(((1040 + rise * x) * times)[None], 50, axis=0)
    where = Affine(10, 0, EAST - 100, 0, -10, NORTH + 250)
    with rasterio.open(path, "w", driver="GTiff", height=50, width=50, count=1, dtype="float64",
                       crs=f"EPSG:{EPSG}", transform=where) as out:  # fmt: skip
        out.write(z[None])
    return path


@pytest.fixture
def panel(qtbot: QtBot, session: Session, settle: Settle) -> Iterator[HillPanel]:
    made = HillPanel(session, lambda *a, **k: None)
    qtbot.addWidget(made)
    made.resize(1280, 660)
    made.show()
    settle(session)
    yield made


def choose(
    qtbot: QtBot, panel: HillPanel, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *a, **k: (str(path), ""))
    qtbot.mouseClick(panel.choose, Qt.MouseButton.LeftButton)


def cells(panel: HillPanel, row: int) -> list[str]:
    return [panel.table.item(row, c).text() for c in range(panel.table.columnCount())]


def test_choose_look_keep_and_take_back(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    assert not panel.store.isEnabled() and panel.table.rowCount() == 0
    choose(qtbot, panel, ramp(tmp_path / "land.tif"), monkeypatch)
    settle(session)
    assert panel.file_name.text() == "land.tif"
    assert [panel.table.item(r, 0).text() for r in range(3)] == ["Kiln", "Upper ridge", "Gully"]
    # Kiln: its middle 60 m east of its edge, so 12 m up; a fifth of slope, falling west
    assert cells(panel, 0)[1:4] == ["1052", "20", "W"]
    assert "terracing" in panel.caution.text()
    assert "Far gate" in panel.caution.text()
    before = session.data
    assert before.orchard.block("Kiln").elevation_m is None and not before.underlays
    qtbot.mouseClick(panel.store, Qt.MouseButton.LeftButton)
    settle(session)
    kiln = session.data.orchard.block("Kiln")
    assert (kiln.elevation_m, kiln.slope_pct, kiln.aspect_deg) == (1052.0, 20.0, 270.0)
    assert session.data.underlays[0].path == "land.tif"
    session.undo_last()
    settle(session)
    assert session.data.orchard == before.orchard and not session.data.underlays
    session.redo_next()
    settle(session)
    assert session.data.orchard.block("Kiln").slope_pct == 20.0


def test_the_remembered_file_is_there_again(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    choose(qtbot, panel, ramp(tmp_path / "land.tif"), monkeypatch)
    settle(session)
    panel.store.setFocus()
    qtbot.keyClick(panel.store, Qt.Key.Key_Space)
    settle(session)
    other = HillPanel(session, lambda *a, **k: None)
    qtbot.addWidget(other)
    other.show()
    settle(session)
    assert other.file_name.text() == "land.tif" and other.table.rowCount() == 3


def test_a_row_chooses_the_block_and_shows_its_flow(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    choose(qtbot, panel, ramp(tmp_path / "land.tif"), monkeypatch)
    settle(session)
    item = panel.table.visualItemRect(panel.table.item(0, 0)).center()
    qtbot.mouseClick(panel.table.viewport(), Qt.MouseButton.LeftButton, pos=item)
    settle(session)
    assert session.selected == KILN
    assert "Kiln: uneven, 36 m³/h (bucket test)" in panel.flow.head.text()
    assert "12 m" in panel.flow.said.text() or "11." in panel.flow.said.text()
    assert "Upper ridge" in panel.flow.apart.text()
    # high ground in the east gets least, low in the west most
    steps = panel.flow.map.steps()
    middle = steps[steps.shape[0] // 2]
    assert middle[1] == 0 and middle[-2] == 4
    assert sorted(middle[middle >= 0]) == list(middle[middle >= 0])
    picture = panel.flow.map.grab().toImage()
    colours = {picture.pixelColor(QPoint(x, picture.height() // 2)).name()
               for x in range(0, picture.width(), 3)}  # fmt: skip
    for step in theme.STEPS:
        assert QColor(step).name() in colours
    qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    settle(session)
    assert session.selected == RIDGE and panel.flow.map.flow.block == "Upper ridge"
    session.select(GULLY)
    settle(session)
    assert panel.table.currentRow() == 2


def test_flow_without_a_height_file_says_so(
    panel: HillPanel, session: Session, settle: Settle
) -> None:
    session.select(KILN)
    settle(session)
    assert "no height file" in panel.flow.below.text()
    assert panel.flow.map.isVisible()
    session.select(None)
    settle(session)
    assert not panel.flow.map.isVisible() and "Choose a block" in panel.flow.said.text()


def test_feet_are_asked_and_answered(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    choose(qtbot, panel, ramp(tmp_path / "ft.tif", times=1 / 0.3048), monkeypatch)
    settle(session)
    assert panel.question.isVisible() and panel.table.rowCount() == 0
    qtbot.mouseClick(panel.feet, Qt.MouseButton.LeftButton)
    settle(session)
    assert not panel.question.isVisible()
    assert cells(panel, 0)[1] == "1052"
    qtbot.mouseClick(panel.store, Qt.MouseButton.LeftButton)
    settle(session)
    assert session.data.underlays[0].unit == "ft"


def test_no_height_file_is_refused_in_a_sentence(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    wrong = tmp_path / "walk.tif"
    wrong.write_text("not a raster")
    choose(qtbot, panel, wrong, monkeypatch)
    settle(session)
    assert "walk.tif" in panel.wrong.text() and panel.wrong.isVisible()
    assert not panel.store.isEnabled()
    choose(qtbot, panel, ramp(tmp_path / "land.tif"), monkeypatch)
    settle(session)
    assert not panel.wrong.isVisible()


def test_closed_and_dark(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch, qapp: object,
) -> None:  # fmt: skip
    choose(qtbot, panel, ramp(tmp_path / "land.tif"), monkeypatch)
    session.select(KILN)
    settle(session)
    theme.use(qapp, "dark")
    panel.grab()
    session.close()
    settle(session)
    assert panel.table.rowCount() == 0 and not panel.store.isEnabled()
    theme.use(qapp, "light")


def test_spanish_and_narrow(
    qtbot: QtBot, session: Session, settle: Settle, tmp_path: Path, qapp: object
) -> None:
    wording.use_language("es")
    panel = HillPanel(session, lambda *a, **k: None)
    qtbot.addWidget(panel)
    panel.resize(700, 640)
    panel.show()
    settle(session)
    panel.show_file(ramp(tmp_path / "land.tif"))
    settle(session)
    session.select(KILN)
    settle(session)
    assert "desparejo" in panel.flow.head.text()
    assert cells(panel, 0)[3] == "O"
    assert panel.flow.mapTo(panel, QPoint(0, 0)).y() > panel.table.geometry().bottom()


def test_in_the_column_of_the_land_page_nothing_is_cut(
    qtbot: QtBot, session: Session, settle: Settle, tmp_path: Path
) -> None:
    from desktop.pages.land.page import LandPage

    page = LandPage(session, lambda *a, **k: None)
    qtbot.addWidget(page)
    page.resize(1280, 690)
    page.show()
    qtbot.mouseClick(page.tabs["hill"], Qt.MouseButton.LeftButton)
    panel = page.sections["hill"]
    assert isinstance(panel, HillPanel)
    settle(session)
    panel.show_file(ramp(tmp_path / "land.tif"))
    session.select(KILN)
    settle(session)
    assert panel.width() <= page.stack.width()
    assert panel.table.horizontalScrollBar().maximum() == 0
    assert panel.table.isColumnHidden(4) and "along the slope" in panel.about.text()
    for button in (panel.choose, panel.store):
        assert button.width() >= button.sizeHint().width()


def test_other_height_files_under_the_map_are_offered(
    qtbot: QtBot, panel: HillPanel, session: Session, settle: Settle, tmp_path: Path,
) -> None:  # fmt: skip
    from desktop import underlay_edits

    for name, rise in (("low.tif", 0.1), ("high.tif", 0.2)):
        underlay_edits.add(session, ramp(session.path.parent / name, rise), "heights")
        settle(session)
    assert panel.file_name.text() == "low.tif" and cells(panel, 0)[2] == "10"
    (link,) = panel.laid_links
    assert link.text() == "high.tif"
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    settle(session)
    assert panel.file_name.text() == "high.tif" and cells(panel, 0)[2] == "20"
    assert [shown.text() for shown in panel.laid_links] == ["low.tif"]


def test_pump_groups_of_one_are_said_in_words(session: Session) -> None:
    from desktop.pages.land.hill import group_words
    from waterbudget.actions.land import Together
    from waterbudget.pressure import Apart

    apart = (Apart("Kiln", "Gully", "", 30.0, 20.0, "height"),)
    alone = Together(apart, (("", ("Kiln",)), ("", ("Gully",))), ())
    assert group_words(alone).startswith("No two of these blocks")
    several = Together(apart, (("", ("Kiln", "Ridge")), ("", ("Gully",))), ())
    assert group_words(several).splitlines()[1:] == ["   Kiln, Ridge"]
