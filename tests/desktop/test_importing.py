"""One door for files: recognised, asked about, brought in, told, taken back."""

from __future__ import annotations

import datetime as dt
import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QWidget
from small_farm import LAT, LON, NOW, small_farm

from desktop.dialogs.importing import Importer
from desktop.dialogs.questions import Questions, choice_words, form_words
from desktop.session import Session
from desktop.settings import Settings
from waterbudget.errors import Question

Settle = Callable[[Session], None]


@pytest.fixture
def asked() -> list[tuple[str, dict[str, Any]]]:
    return []


@pytest.fixture
def importer(empty_session: Session, qtbot: Any, asked: Any) -> Iterator[Importer]:
    window = QWidget()
    qtbot.addWidget(window)
    window.resize(1280, 740)
    window.show()
    made = Importer(
        window, empty_session, Settings(), lambda page, **what: asked.append((page, what))
    )
    yield made
    if made.plate is not None:
        made.plate.hide()


@pytest.fixture
def on_farm(importer: Importer, farm_path: Path, settle: Settle) -> Importer:
    importer._session.open(farm_path)
    settle(importer._session)
    return importer


def outlines(path: Path, names: tuple[str, ...]) -> Path:
    """Write squares of about a hectare beside each other, near the farm."""
    features = []
    for i, name in enumerate(names):
        x, y, d = LON + 0.002 * i, LAT + 0.003, 0.001
        ring = [[x, y], [x + d, y], [x + d, y + d], [x, y + d], [x, y]]
        features.append({"type": "Feature", "properties": {"name": name},
                         "geometry": {"type": "Polygon", "coordinates": [ring]}})  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def said(importer: Importer) -> str:
    """Return everything that stands on the plate."""
    assert importer.plate is not None
    labels = importer.plate.findChildren(QLabel)
    return "\n".join(label.text() for label in labels if label.text() and not label.isHidden())


def names(importer: Importer) -> list[str]:
    assert importer._session.data is not None
    return [b.name for b in importer._session.data.orchard.blocks]


def test_outlines_are_told_and_taken_back(
    on_farm: Importer, tmp_path: Path, settle: Settle, qtbot: Any
) -> None:
    session = on_farm._session
    on_farm.start([outlines(tmp_path / "walk.geojson", ("North", "South"))])
    settle(session)
    assert "2 blocks" in said(on_farm) and "North" in said(on_farm)
    assert names(on_farm)[-2:] == ["North", "South"]
    qtbot.mouseClick(on_farm.plate.main, Qt.MouseButton.LeftButton)  # type: ignore[union-attr]
    assert on_farm.plate is None
    session.undo_last()
    settle(session)
    assert "North" not in names(on_farm) and len(names(on_farm)) == 4
    session.redo_next()
    settle(session)
    assert names(on_farm)[-2:] == ["North", "South"]


def test_question_is_asked_with_choices_and_cancel_stores_nothing(
    on_farm: Importer, tmp_path: Path, settle: Settle, qtbot: Any
) -> None:
    session = on_farm._session
    before = session.data.version  # type: ignore[union-attr]
    on_farm.start([outlines(tmp_path / "again.geojson", ("Kiln",))])
    settle(session)
    plate = on_farm.plate
    assert plate is not None and plate.questions is not None
    ask = plate.questions.asked[0]
    assert ask.question.key == "existing"
    assert [b.text() for b in ask.group.buttons()] == [  # type: ignore[union-attr]
        "Replace the old outlines", "Skip the new ones", "Take the new ones in under other names",
    ]  # fmt: skip
    qtbot.mouseClick(plate.main, Qt.MouseButton.LeftButton)
    assert ask.wrong.text() == "This needs an answer." and ask.wrong.isVisible()
    qtbot.keyClick(plate, Qt.Key.Key_Escape)
    settle(session)
    assert on_farm.plate is None
    assert session.data.version == before  # type: ignore[union-attr]


def test_the_map_system_that_fits_the_farm_is_proposed(
    on_farm: Importer, tmp_path: Path, settle: Settle, qtbot: Any
) -> None:
    path = tmp_path / "plain.csv"
    corners = ((468_600, 7_800_000), (468_700, 7_800_000), (468_700, 7_800_100))
    rows = "\n".join(f"Metres,{x},{y}" for x, y in corners)
    path.write_text("block,easting,northing\n" + rows + "\n")
    on_farm.start([path])
    settle(on_farm._session)
    plate = on_farm.plate
    assert plate is not None and plate.questions is not None
    (ask,) = plate.questions.asked
    assert ask.field is not None and ask.field.text() == "EPSG:32736"
    qtbot.mouseClick(plate.main, Qt.MouseButton.LeftButton)
    settle(on_farm._session)
    assert "Metres" in names(on_farm) and "One block, 0.5 ha." in said(on_farm)


def test_answer_goes_on(on_farm: Importer, tmp_path: Path, settle: Settle, qtbot: Any) -> None:
    session = on_farm._session
    on_farm.start([outlines(tmp_path / "again.geojson", ("Kiln",))])
    settle(session)
    plate = on_farm.plate
    buttons = plate.questions.asked[0].group.buttons()  # type: ignore[union-attr]
    qtbot.mouseClick(buttons[2], Qt.MouseButton.LeftButton)
    qtbot.mouseClick(plate.main, Qt.MouseButton.LeftButton)  # type: ignore[union-attr]
    settle(session)
    assert len(names(on_farm)) == 5 and names(on_farm)[0] == "Kiln"


def weather_file(path: Path, first: dt.date, days: int, head: str = "date,tmax_c,tmin_c,rain_mm"):
    rows = [f"{first + dt.timedelta(days=i)},{26 + i % 3},12,{i % 5}" for i in range(days)]
    path.write_text("\n".join([head, *rows]) + "\n")
    return path


def answer_all(importer: Importer, settle: Settle, **answers: str) -> list[str]:
    """Answer question after question; return the keys that were asked."""
    keys: list[str] = []
    while importer.plate is not None and importer.plate.questions is not None:
        plate = importer.plate
        if not plate.questions.isVisible():
            break
        for ask in plate.questions.asked:
            keys.append(ask.question.key)
            wanted = answers.get(ask.question.key, "")
            if ask.group is not None:
                values = [b.property("value") for b in ask.group.buttons()]
                pick = values.index(wanted) if wanted in values else 0
                ask.group.buttons()[pick].setChecked(True)
            elif wanted:
                ask.field.edit.setText(wanted)
        plate.main.click()
        settle(importer._session)
    return keys


def test_first_weather_file_asks_for_the_station_and_later_ones_do_not(
    importer: Importer, tmp_path: Path, settle: Settle
) -> None:
    session = importer._session
    session.open(small_farm(tmp_path / "dry.gpkg", with_weather=False))
    settle(session)
    assert session.data is not None
    file = weather_file(tmp_path / "hill_top.csv", dt.date(2025, 6, 1), 30)
    importer.start([file])
    settle(session)
    answer_all(importer, settle)
    assert session.data.records and session.data.last_day() == dt.date(2025, 6, 30)
    assert "30 days" in said(importer)
    session.undo_last()
    settle(session)
    assert not session.data.records


def test_coming_days_are_kept_as_a_forecast(
    on_farm: Importer, tmp_path: Path, settle: Settle
) -> None:
    session = on_farm._session
    on_farm.start([weather_file(tmp_path / "coming.csv", NOW.date(), 7)])
    settle(session)
    answer_all(on_farm, settle)
    assert session.data is not None
    assert session.data.last_day() == NOW.date() - dt.timedelta(days=1)
    assert [len(days) for days in session.data.forecasts.values()] == [7]
    assert "forecast" in said(on_farm)


def test_changed_days_are_asked_about(on_farm: Importer, tmp_path: Path, settle: Settle) -> None:
    session = on_farm._session
    on_farm.start([weather_file(tmp_path / "again.csv", dt.date(2025, 7, 1), 10)])
    settle(session)
    assert "changed" in answer_all(on_farm, settle, changed="keep")
    assert "10 were kept as stored" in said(on_farm)


def test_what_cannot_be_used_is_one_sentence(
    on_farm: Importer, tmp_path: Path, settle: Settle
) -> None:
    bad = tmp_path / "b.csv"
    bad.write_text("name,pruned_on\nKiln,31/02/2025\n")
    on_farm.start([bad])
    settle(on_farm._session)
    assert "Pruned on is 31/02/2025, which is not a date" in said(on_farm)
    assert "Nothing was stored." in said(on_farm)
    assert on_farm._session.undo.count() == 0


def test_stop_before_it_is_stored_stores_nothing(
    on_farm: Importer, tmp_path: Path, settle: Settle, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from waterbudget.actions import outlines as reading

    session = on_farm._session
    begun, go = threading.Event(), threading.Event()
    read_outlines = reading.outlines.read_outlines

    def slow(*args: Any, **more: Any) -> Any:
        begun.set()
        go.wait(5)
        return read_outlines(*args, **more)

    monkeypatch.setattr(reading.outlines, "read_outlines", slow)
    told: list[str] = []
    session.told.connect(told.append)
    on_farm.start([outlines(tmp_path / "w.geojson", ("North",))])
    qtbot.waitUntil(begun.is_set, timeout=5000)
    qtbot.waitUntil(lambda: on_farm.plate.isVisible(), timeout=3000)  # type: ignore[union-attr]
    assert "Bringing in w.geojson" in said(on_farm)
    qtbot.keyClick(on_farm.plate, Qt.Key.Key_Escape)
    go.set()
    settle(session)
    assert told == ["Stopped; nothing was stored."] and on_farm.plate is None
    assert "North" not in names(on_farm)


def test_several_files_come_one_after_the_other(
    on_farm: Importer, tmp_path: Path, settle: Settle
) -> None:
    session = on_farm._session
    ran = tmp_path / "ran.csv"
    ran.write_text("block,date,hours\nKiln,2025-07-10,3.5\nKiln,2025-07-12,0\n")
    on_farm.start([outlines(tmp_path / "w.geojson", ("North",)), ran])
    settle(session)
    assert "North" in said(on_farm)
    on_farm.plate.main.click()  # type: ignore[union-attr]
    settle(session)
    assert "2 entries" in said(on_farm)
    assert session.data is not None and len(session.data.ran) == 2
    session.undo_last()
    settle(session)
    assert session.data.ran == () and "North" in names(on_farm)


def test_without_a_farm_the_place_is_taken_from_the_file(
    importer: Importer, tmp_path: Path, settle: Settle, asked: Any
) -> None:
    path = outlines(tmp_path / "walk.geojson", ("North",))
    importer.start([path])
    settle(importer._session)
    (page, what), *rest = asked
    assert page == "welcome" and not rest and what["paths"] == [path]
    assert what["place"] == pytest.approx((LAT + 0.0035, LON + 0.0005), abs=1e-4)


def test_a_farm_dropped_is_opened(
    importer: Importer, farm_path: Path, settle: Settle, asked: Any
) -> None:
    importer.start([farm_path])
    settle(importer._session)
    assert asked == [("open", {"path": farm_path})]


def test_questions_show_rows_form_and_refusal(qtbot: Any) -> None:
    questions = Questions(
        [Question("wind_height_m", "x.wind", format="number_m", sample=("a;b", "1;2")),
         Question("yes_no", "x.yes", choices=("yes", "no"))], {"wind_height_m": "2"},
    )  # fmt: skip
    qtbot.addWidget(questions)
    questions.show()
    assert not questions.complete()
    assert questions.answers() == {"wind_height_m": "2"}
    texts = [label.text() for label in questions.findChildren(QLabel)]
    assert "a;b\n1;2" in texts and "A number of metres, such as 2" in texts
    assert questions.refuse("wind_height_m", "2 is too low.")
    assert not questions.refuse("other", "x")
    assert questions.asked[0].field.below.text() == "2 is too low."  # type: ignore[union-attr]
    questions.asked[1].group.buttons()[1].setChecked(True)  # type: ignore[union-attr]
    assert questions.answers()["yes_no"] == "no" and questions.complete()


def test_answers_have_plain_words() -> None:
    assert choice_words("changed", "keep") == "Keep what is stored"
    assert choice_words("layer", "blocks_2024") == "blocks_2024"
    assert form_words("epsg").endswith("EPSG:32736")
    assert form_words(None) == ""
