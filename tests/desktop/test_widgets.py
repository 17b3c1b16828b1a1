"""The small widgets: keyboard, refusing, dropping."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QLabel

from desktop import theme
from desktop.widgets import Choice, DropPlate, Field, Link, SentenceCard, text


def test_link_answers_mouse_enter_and_space(qtbot: Any) -> None:
    clicks: list[int] = []
    link = Link("See the block", lambda: clicks.append(1))
    qtbot.addWidget(link)
    link.show()
    qtbot.mouseClick(link, Qt.MouseButton.LeftButton)
    link.setFocus()
    qtbot.keyClick(link, Qt.Key.Key_Return)
    qtbot.keyClick(link, Qt.Key.Key_Space)
    assert len(clicks) == 3


def test_field_tells_once_when_it_is_left(qtbot: Any) -> None:
    field = Field("Pump runs at most", "h a day")
    qtbot.addWidget(field)
    field.show()
    field.set_text("10")
    told: list[str] = []
    field.committed.connect(told.append)
    field.edit.setFocus()
    field.edit.selectAll()
    qtbot.keyClicks(field.edit, "12.5")
    qtbot.keyClick(field.edit, Qt.Key.Key_Return)
    field.edit.clearFocus()
    assert told == ["12.5"]
    assert field.edit.accessibleName() == "Pump runs at most, h a day"


def test_field_refuses_below_the_line_and_forgives_when_typed_in(qtbot: Any) -> None:
    field = Field("Work begins", hint="hh:mm")
    qtbot.addWidget(field)
    field.show()
    field.refuse("25:00 is no time.")
    assert field.below.text() == "25:00 is no time." and field.below.isVisible()
    assert field.edit.property("wrong") == "true"
    qtbot.keyClicks(field.edit, "0")
    assert field.below.text() == "hh:mm"
    assert field.edit.property("wrong") != "true"


def test_escape_puts_back_what_is_stored(qtbot: Any) -> None:
    field = Field("Name")
    qtbot.addWidget(field)
    field.show()
    field.set_text("Kiln")
    told: list[str] = []
    field.committed.connect(told.append)
    qtbot.keyClicks(field.edit, "xyz")
    qtbot.keyClick(field.edit, Qt.Key.Key_Escape)
    qtbot.keyClick(field.edit, Qt.Key.Key_Return)
    assert field.text() == "Kiln" and told == []


def test_new_value_does_not_overwrite_what_is_being_typed(qtbot: Any) -> None:
    field = Field("Name")
    qtbot.addWidget(field)
    field.show()
    field.edit.setFocus()
    qtbot.waitUntil(field.edit.hasFocus)
    qtbot.keyClicks(field.edit, "half")
    field.set_text("other")
    assert field.text() == "half"


def test_choice_is_not_changed_by_the_wheel_and_tells_only_the_user(qtbot: Any) -> None:
    choice = Choice([("a", "first"), ("b", "second")], "Which")
    qtbot.addWidget(choice)
    told: list[str] = []
    choice.chosen.connect(told.append)
    choice.set_value("b")
    assert choice.value() == "b" and told == []


def test_drop_plate_hands_on_files(qtbot: Any, tmp_path: Path) -> None:
    plate = DropPlate("or drop any file here")
    qtbot.addWidget(plate)
    plate.show()
    dropped: list[Any] = []
    plate.dropped.connect(dropped.append)
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(tmp_path / "walk.gpx"))])
    left, none = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    plate.dropEvent(QDropEvent(QPointF(5, 5), Qt.DropAction.CopyAction, mime, left, none))
    assert dropped == [[tmp_path / "walk.gpx"]]


def test_names_are_never_read_as_markup(qtbot: Any) -> None:
    label = text("<b>Kiln</b>")
    card = SentenceCard("<i>Gully</i> is dry", "See")
    for widget in (label, card):
        qtbot.addWidget(widget)
    labels = [label, *card.findChildren(QLabel)]
    assert all(found.textFormat() == Qt.TextFormat.PlainText for found in labels)


def test_a_list_opens_whole(qtbot: Any, qapp: Any) -> None:
    """Every line of a short list can be read without scrolling."""
    theme.use(qapp, "light")
    box = Choice([("a", "worked out from the record"), ("b", "as it came"), ("c", "hour by hour")])
    qtbot.addWidget(box)
    box.show()
    box.showPopup()
    view = box.view()
    assert view.minimumHeight() >= sum(view.sizeHintForRow(row) for row in range(3))
    box.hidePopup()
