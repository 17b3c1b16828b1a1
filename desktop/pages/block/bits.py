"""Small pieces the side of a block's page is laid out with: sections, rows of figures, forms."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from desktop import theme
from desktop.block_edits import set_keys
from desktop.editors import Editor, LineEdit, editor_text, make_editor, set_editor_text
from desktop.models.blocks import default_of
from desktop.models.keys import key_words, shown, value_of
from desktop.session import Session
from desktop.widgets import Link, restyle, rule, text
from desktop.wording import say, tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import BLOCK_KEYS, Block, write_value

RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


class Section(QWidget):
    """A heading with a line below, and what stands under it."""

    def __init__(self, title: str, link: str = "", on_link: Callable[[], object] | None = None):
        super().__init__()
        self.box = QVBoxLayout(self)
        self.box.setContentsMargins(0, 0, 0, 0)
        self.box.setSpacing(3)
        head = QHBoxLayout()
        head.setContentsMargins(0, 0, 0, 0)
        self.title = text(title, bold=True, wrap=True)
        head.addWidget(self.title, 1)
        if link:
            head.addWidget(Link(link, on_link, theme.SMALL), 0, Qt.AlignmentFlag.AlignTop)
        self.box.addLayout(head)
        self.box.addWidget(rule())
        self.setAccessibleName(title)

    def add(self, widget: QWidget) -> None:
        """Put a widget below."""
        self.box.addWidget(widget)

    def grid(self) -> QGridLayout:
        """Put a grid below, for figures in columns."""
        grid = QGridLayout()
        grid.setContentsMargins(0, 1, 0, 0)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(2)
        self.box.addLayout(grid)
        return grid


def figure(
    words: str, *, bold: bool = False, quiet: bool = False, size: int = theme.BODY
) -> QLabel:
    """Return a figure that stands at the right of its column."""
    label = text(words, size, bold=bold, quiet=quiet)
    label.setAlignment(RIGHT)
    return label


def row(grid: QGridLayout, at: int, cells: Sequence[QWidget | str | None]) -> None:
    """Put cells into a row of a grid; text goes left."""
    for column, cell in enumerate(cells):
        if cell is None:
            continue
        grid.addWidget(text(cell) if isinstance(cell, str) else cell, at, column)


class KeyField(QWidget):
    """One setting of a block, edited in place: label, editor, unit, one line of help below.

    Signals
    -------
    stored()
    """

    stored = Signal()

    def __init__(
        self, session: Session, block: Block, name: str, *, label: bool = True, hint: bool = True
    ) -> None:  # fmt: skip
        super().__init__()
        assert session.data is not None
        self.session, self.block, self.name = session, block, name
        words = key_words(name)
        self._hint = words.hint if hint else ""
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(1)
        if label:
            box.addWidget(text(words.label, theme.SMALL, quiet=True, wrap=True))
        line = QHBoxLayout()
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(6)
        self.editor: Editor = make_editor(name, session.data.orchard, session.today)
        self.editor.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        line.addWidget(self.editor, 1)
        if words.unit:
            line.addWidget(text(words.unit, quiet=True))
        box.addLayout(line)
        self.below = text(self._hint, theme.SMALL, quiet=True, wrap=True)
        self.below.setVisible(bool(self._hint))
        box.addWidget(self.below)
        set_editor_text(self.editor, write_value(BLOCK_KEYS[name], value_of(block, name)))
        self._show_default()
        self.editor.committed.connect(self._store)
        self.editor.setEnabled(session.at_today)

    def _show_default(self) -> None:
        """Show, where nothing is entered, what stands in."""
        season = self.session.season
        found = (
            next((b for b in season.blocks if b.block.id == self.block.id), None)
            if season
            else None
        )
        if season is None or found is None or not isinstance(self.editor, LineEdit):
            return
        default = default_of(season, found, self.name)
        if default is not None:
            self.editor.setPlaceholderText(tr("default {0}").format(shown(self.name, default)))

    def _store(self, typed: str) -> None:
        set_keys(self.session, self.block, {self.name: typed}, done=lambda _: self._took(),
                 failed=self.refuse)  # fmt: skip

    def _took(self) -> None:
        self._mark("", self._hint)
        self.stored.emit()

    def refuse(self, error: WaterBudgetError) -> None:
        """Say below what is wrong; nothing was stored."""
        self._mark("true", say(error))

    def _mark(self, wrong: str, words: str) -> None:
        self.editor.setProperty("wrong", wrong)
        restyle(self.editor)
        self.below.setText(words)
        self.below.setProperty("role", "wrong" if wrong else "quiet")
        self.below.setVisible(bool(words))
        restyle(self.below)
        self.editor.setAccessibleDescription(words)

    def value(self) -> str:
        """Return what stands in the editor."""
        return editor_text(self.editor)


def clear(layout: QVBoxLayout | QGridLayout) -> None:
    """Take everything out of a layout."""
    while (item := layout.takeAt(0)) is not None:
        widget, inner = item.widget(), item.layout()
        if widget is not None:
            widget.hide()
            widget.deleteLater()
        elif isinstance(inner, QVBoxLayout | QGridLayout | QHBoxLayout):
            clear(inner)  # type: ignore[arg-type]


def link_to(words: str, do: Callable[[str], object], key: str, size: int = theme.SMALL) -> Link:
    """Return a link that hands a key on."""
    return Link(words, partial(do, key), size)
