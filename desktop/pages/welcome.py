"""The first page: look at the demo, start my orchard, open a farm, or drop any file."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QMetaObject, Qt, QTimer
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme, wording
from desktop.pages.hill import Hill
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import DropPlate, Link, rule, text
from desktop.wording import tr
from waterbudget.errors import WaterBudgetError

if TYPE_CHECKING:
    from desktop.pages.new_farm import NewFarmForm

COLUMN, LEFT = 500, 96
RECENT_SHOWN = 3


class WelcomePage(QWidget):
    """Three ways to begin; leave and come back at any point."""

    def __init__(self, session: Session, navigate: Callable[..., None]) -> None:
        super().__init__()
        self._session, self._navigate = session, navigate
        self._settings = Settings()
        self._form: NewFarmForm | None = None
        self._then: QMetaObject.Connection | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.hill = Hill()
        self.hill.setParent(self)
        self.hill.hide()
        QTimer.singleShot(0, self._draw_hill)  # the words first
        across = QHBoxLayout(self)
        across.setContentsMargins(0, 0, 16, 0)
        across.setSpacing(0)
        column = QVBoxLayout()
        column.setContentsMargins(LEFT - 30, 24, 0, 16)
        column.setSpacing(0)
        left = QWidget()
        left.setLayout(column)
        left.setFixedWidth(COLUMN + LEFT)
        self._scroll = QScrollArea()
        self._scroll.setWidget(left)
        self._scroll.setWidgetResizable(True)
        self._scroll.setFixedWidth(COLUMN + LEFT + 12)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        across.addWidget(self._scroll)
        across.addStretch()
        across.addLayout(self._languages())
        column.addStretch(3)
        head = text(tr("Even water, block by block."), 34, bold=True)
        below = text(tr("Three ways to begin. Leave at any point; it keeps what you gave."),
                     theme.LARGE, quiet=True, wrap=True)  # fmt: skip
        for label in (head, below):
            label.setContentsMargins(30, 0, 0, 6)
            column.addWidget(label)
        column.addSpacing(26)
        self._choices(column)
        column.addLayout(_indented(rule()))
        column.addSpacing(20)
        self.drop = DropPlate(
            tr("or drop any file here: walk, outlines, weather"),
            tr("Or click to choose one. The kind is recognised, your original is kept."),
        )
        self.drop.clicked.connect(self._choose_file)
        self.drop.dropped.connect(self._dropped)
        column.addLayout(_indented(self.drop))
        column.addStretch(4)
        keys = text(tr("Keys 1, 2, 3.   F1 explains every page."), theme.SMALL, quiet=True)
        column.addSpacing(8)
        column.addLayout(_indented(keys))

    def _choices(self, column: QVBoxLayout) -> None:
        self.demo = _Way(
            "1", tr("Look at the demo"),
            tr("An invented farm on a hill: 16 blocks, three years of weather, a week to print."),
            tr("A working copy: change what you like. “Invented” stands on every page."),
            self.open_demo,
        )  # fmt: skip
        self.begin = _Way(
            "2",
            tr("Start my orchard"),
            tr("With what you have: a walk, hectares, or a picture to draw on."),
            tr("Weather and flow can come later; each block opens when it is ready."),
            self.show_form,
        )
        self.open = _Way(
            "3", tr("Open a farm"), tr("A farm file on this computer or on a stick."),
            tr("No internet is needed, now or later."), self.open_farm,
        )  # fmt: skip
        for recent in self._settings.recent[:RECENT_SHOWN]:
            link = Link(recent.stem, partial(self._navigate, "open", path=recent))
            link.setToolTip(str(recent))
            link.setAccessibleDescription(str(recent))
            self.open.recent.insertWidget(self.open.recent.count() - 1, link)
        for way in (self.demo, self.begin, self.open):
            column.addLayout(_indented(rule()))
            column.addWidget(way)

    def _languages(self) -> QVBoxLayout:
        box = QVBoxLayout()
        box.setContentsMargins(0, 12, 0, 0)
        row = QHBoxLayout()
        row.setSpacing(16)
        for code, name in wording.LANGUAGES.items():
            if code == wording.language():
                row.addWidget(text(name, bold=True))
            else:
                row.addWidget(Link(name, partial(self._navigate, "language", code=code)))
        box.addLayout(row)
        box.addStretch()
        return box

    def _draw_hill(self) -> None:
        self.hill.show()
        self.hill.lower()

    def resizeEvent(self, event: object) -> None:
        """The drawing lies under everything."""
        self.hill.from_x = self._scroll.width() - 20
        self.hill.setGeometry(self.rect())
        self.hill.lower()

    # -- the three ways ------------------------------------------------------------------

    def open_demo(self) -> None:
        """Open the working copy of the demo."""
        self._navigate("demo")

    @property
    def form(self) -> NewFarmForm:
        """The few lines a new farm needs, built when they are first wanted."""
        if self._form is None:
            from desktop.pages.new_farm import NewFarmForm

            self._form = NewFarmForm(self._create)
            self.begin.words.addWidget(self._form)
            order = (self.begin.link, *self._form.tab_order(), self.open.link)
            for first, second in pairwise(order):
                QWidget.setTabOrder(first, second)
        return self._form

    def show_form(self) -> None:
        """Unfold the few lines a new farm needs."""
        self.form.show()
        self.begin.say(False)
        self.form.name.edit.setFocus()

    def open_farm(self) -> None:
        """Choose a farm file."""
        self._navigate("open")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """1, 2 and 3 choose; Escape folds the form up again."""
        if event.key() == Qt.Key.Key_1:
            self.open_demo()
        elif event.key() == Qt.Key.Key_2:
            self.show_form()
        elif event.key() == Qt.Key.Key_3:
            self.open_farm()
        elif event.key() == Qt.Key.Key_Escape and self._form is not None:
            self._form.hide()
            self.begin.say(True)
            self.setFocus()
        else:
            super().keyPressEvent(event)

    def show_what(self, place: tuple[float, float] | None = None, paths: Any = None) -> None:
        """Open the form with the place taken from a file, which is brought in afterwards."""
        self.show_form()
        if place is not None:
            self.form.set_place(*place)
        if paths:
            self.form.set_files(paths)

    # -- files ---------------------------------------------------------------------------

    def _choose_file(self) -> None:
        self._navigate("import")

    def _dropped(self, paths: list[Path]) -> None:
        self._navigate("import", paths=paths)

    def _create(self, given: dict[str, Any], files: list[Path]) -> None:
        from PySide6.QtWidgets import QFileDialog

        folder = self._settings.folder("open")
        stem = "".join(c if c.isalnum() else "-" for c in given["name"].lower()).strip("-")
        chosen, _ = QFileDialog.getSaveFileName(
            self, tr("Keep the farm file as"), str(Path(folder) / f"{stem or 'farm'}.gpkg"),
            tr("Farm files (*.gpkg)"),
        )  # fmt: skip
        if not chosen:
            return
        path = Path(chosen)
        self._settings.set_folder("open", path.parent)
        self.begin_at(path.with_suffix(".gpkg"), given, files, replace=path.exists())

    def begin_at(
        self, path: Path, given: dict[str, Any], files: list[Path], *, replace: bool = False
    ) -> None:  # fmt: skip
        """Begin the farm at ``path``; the file that gave its place is brought in after that."""
        self._then = None
        if files:
            bring_in = partial(self._navigate, "import", paths=files)
            once = Qt.ConnectionType.SingleShotConnection
            self._then = self._session.opened.connect(bring_in, once)
        self._session.create(path, **given, replace=replace, failed=self._not_created)

    def _not_created(self, error: WaterBudgetError) -> None:
        if self._then is not None:
            self._session.opened.disconnect(self._then)
            self._then = None
        self.form.refuse(error)


class _Way(QWidget):
    """One of the three choices: number, link, two lines."""

    def __init__(
        self, number: str, head: str, first: str, second: str, on_click: Callable[[], object]
    ) -> None:  # fmt: skip
        super().__init__()
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 12, 0, 14)
        row.setSpacing(12)
        figure = text(number, 20, quiet=True)
        figure.setFixedWidth(18)
        top_left = Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft
        row.addWidget(figure, 0, top_left)
        self.words = QVBoxLayout()
        self.words.setSpacing(1)
        self.link = Link(head, on_click, 20, bold=True)
        self.link.setAccessibleDescription(f"{first} {second}")
        self.words.addWidget(self.link, 0, Qt.AlignmentFlag.AlignLeft)
        self._lines = [text(first, 14, wrap=True), text(second, 14, wrap=True, quiet=True)]
        for line in self._lines:
            self.words.addWidget(line)
        self.recent = QHBoxLayout()
        self.recent.setSpacing(14)
        self.recent.addStretch()
        self.words.addLayout(self.recent)
        row.addLayout(self.words, 1)

    def say(self, shown: bool) -> None:
        """Show or hide the two lines."""
        for line in self._lines:
            line.setVisible(shown)


def _indented(widget: QWidget) -> QHBoxLayout:
    row = QHBoxLayout()
    row.setContentsMargins(30, 0, 0, 0)
    row.addWidget(widget)
    return row
