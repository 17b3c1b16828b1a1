"""The first page: three ways, the small form, keys."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt
from small_farm import small_farm

from desktop.pages.new_farm import read_place
from desktop.pages.welcome import WelcomePage
from desktop.session import Session
from waterbudget.errors import Refused

Settle = Callable[[Session], None]


@pytest.fixture
def asked() -> list[tuple[str, dict[str, Any]]]:
    return []


@pytest.fixture
def page(
    empty_session: Session, qtbot: Any, asked: list[tuple[str, dict[str, Any]]]
) -> Iterator[WelcomePage]:
    made = WelcomePage(empty_session, lambda page, **what: asked.append((page, what)))
    qtbot.addWidget(made)
    made.resize(1280, 740)
    made.show()
    qtbot.waitExposed(made)
    yield made


def test_keys_choose(page: WelcomePage, qtbot: Any, asked: Any) -> None:
    qtbot.keyClick(page, Qt.Key.Key_1)
    qtbot.keyClick(page, Qt.Key.Key_3)
    qtbot.keyClick(page, Qt.Key.Key_2)
    assert asked == [("demo", {}), ("open", {})]
    assert page.form.isVisible()
    qtbot.keyClick(page.form.name.edit, Qt.Key.Key_Escape)
    assert not page.form.isVisible()


@pytest.mark.parametrize(
    ("typed", "place"),
    [("-19.9, 32.7", (-19.9, 32.7)), ("-19.9 32.7", (-19.9, 32.7)), ("19;32", (19.0, 32.0)),
     ("19.9 S, 32.7 E", (-19.9, 32.7)), ("19.9S 32.7W", (-19.9, -32.7)), ("N5 O73,5", (5.0, -73.5)),
     ("-19,9; 32,7", (-19.9, 32.7)), ("-19.9°, 32.7°", (-19.9, 32.7)),
     ("19°54'00.0\"S 32°42'00.0\"E", (-19.9, 32.7)), ("−5,5, −74,25", (-5.5, -74.25)),
     ("", None), ("19.9", None), ("here, there", None), ("1 2 3", None),
     ("32.7 E, 19.9 S", None), ("S -19.9, 32.7", None)],
)  # fmt: skip
def test_read_place(typed: str, place: tuple[float, float] | None) -> None:
    found = read_place(typed)
    assert (found is None) if place is None else (found == pytest.approx(place))


def test_form_says_at_the_line_what_is_wrong(page: WelcomePage, qtbot: Any) -> None:
    page.show_form()
    form = page.form
    form.submit()
    assert form.name.below.text() == "The farm needs a name."
    qtbot.keyClicks(form.name.edit, "My hill")
    form.submit()
    assert "latitude and longitude" in form.place.below.text()
    qtbot.keyClicks(form.place.edit, "-19.9, 32.7")
    qtbot.keyClicks(form.height_.edit, "high")
    form.submit()
    assert "metres" in form.height_.below.text()
    form.refuse(Refused("farm.too_near_pole", lat=-88.0))
    assert "too near a pole" in form.place.below.text()


def test_new_farm_is_written_and_opened(
    page: WelcomePage, tmp_path: Path, settle: Settle, empty_session: Session, asked: Any
) -> None:
    given = {"name": "My hill", "lat": -19.9, "lon": 32.7, "elevation_m": 1040.0}
    page.begin_at(tmp_path / "my-hill.gpkg", given, [Path("walk.gpx")])
    settle(empty_session)
    assert empty_session.data is not None
    assert empty_session.data.orchard.name == "My hill"
    assert asked == [("import", {"paths": [Path("walk.gpx")]})]


def test_what_cannot_be_begun_is_said_in_the_form(
    page: WelcomePage, tmp_path: Path, settle: Settle, empty_session: Session, asked: Any
) -> None:
    page.show_form()
    given = {"name": "My hill", "lat": 88.0, "lon": 32.7, "elevation_m": None}
    page.begin_at(tmp_path / "pole.gpkg", given, [])
    settle(empty_session)
    assert "too near a pole" in page.form.place.below.text()
    assert not (tmp_path / "pole.gpkg").exists()
    given = {"name": "My hill", "lat": -19.9, "lon": 32.7, "elevation_m": None}
    page.begin_at(tmp_path / "nowhere" / "hill.gpkg", given, [Path("walk.gpx")])
    settle(empty_session)
    assert "There is no folder" in page.form.name.below.text()
    empty_session.open(small_farm(tmp_path / "another.gpkg"))
    settle(empty_session)
    assert asked == []  # a file meant for the farm that failed is not brought into another


def test_place_from_a_file(page: WelcomePage) -> None:
    page.show_what(place=(-17.35, 33.21), paths=[Path("outlines.geojson")])
    assert page.form.place.text() == "-17.35000, 33.21000"
    assert "outlines.geojson" in page.form.place.below.text()


def test_everything_can_be_reached_with_tab(page: WelcomePage, qtbot: Any) -> None:
    page.show_form()
    seen: list[Any] = []
    page.demo.link.setFocus()
    for _ in range(20):
        seen.append(page.window().focusWidget())
        qtbot.keyClick(page.window().focusWidget(), Qt.Key.Key_Tab)
    wanted = (page.demo.link, page.begin.link, page.form.name.edit, page.form.place.edit,
              page.form.height_.edit, page.form.button, page.open.link, page.drop)  # fmt: skip
    order = [seen.index(widget) for widget in wanted]
    assert order == sorted(order)
