"""The panel that takes the side's place: where a number comes from, or the settings behind it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from desktop import theme
from desktop.pages.block.bits import KeyField, Section, clear, figure
from desktop.pages.block.origin import Chain, Line
from desktop.pages.block.sources import keys_for, source_title
from desktop.session import Session
from desktop.widgets import Link, Mark, rule, text
from desktop.wording import tr, word
from waterbudget.orchard import Block

WIDEST = 430


class Panel(QWidget):
    """One number's origin, or one source's settings.

    Signals
    -------
    closed()
    wanted(str)
        A link inside was clicked.
    """

    closed = Signal()
    wanted = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.showing = ""
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(4)
        head = QHBoxLayout()
        head.setContentsMargins(0, 0, 0, 0)
        self.title = text("", theme.LARGE, bold=True, wrap=True)
        self.back = Link(tr("‹ back"), self.closed.emit)
        self.back.setToolTip(tr("Escape"))
        head.addWidget(self.title, 1)
        head.addWidget(self.back, 0, Qt.AlignmentFlag.AlignTop)
        box.addLayout(head)
        box.addWidget(rule(strong=True))
        self.roll = QScrollArea()
        self.roll.setWidgetResizable(True)
        self.roll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inside = QWidget()
        self.body = QVBoxLayout(inside)
        self.body.setContentsMargins(0, 4, 8, 8)
        self.body.setSpacing(9)
        inside.setMaximumWidth(WIDEST)
        self.roll.setWidget(inside)
        box.addWidget(self.roll, 1)

    def show_chain(self, session: Session, block: Block, stage: str, key: str, made: Chain) -> None:
        """Show where a number comes from."""
        self.showing = key
        self.title.setText(made.title)
        self.setAccessibleName(made.title)
        clear(self.body)
        self.body.addWidget(_lines(made, self.wanted.emit))
        for words, quiet in ((made.method, False), (made.source, True)):
            if words:
                self.body.addWidget(text(words, quiet=quiet, wrap=True))
        if made.unsure:
            section = Section(tr("Estimated or unsure"))
            for words in made.unsure:
                section.add(text(words, wrap=True))
            self.body.addWidget(section)
        if made.links:
            self.body.addWidget(_links(made.links, self.wanted.emit))
        for source in made.edit:
            self._add_form(session, block, stage, source)
        self.body.addStretch(1)
        self.back.setFocus()

    def show_form(self, session: Session, block: Block, stage: str, source: str) -> None:
        """Show the settings behind a source."""
        self.showing = f"edit:{source}"
        self.title.setText(source_title(source))
        self.setAccessibleName(source_title(source))
        clear(self.body)
        first = self._add_form(session, block, stage, source, heading=False)
        self.body.addStretch(1)
        if first is not None:
            first.editor.setFocus()

    def _add_form(
        self, session: Session, block: Block, stage: str, source: str, heading: bool = True
    ) -> KeyField | None:  # fmt: skip
        names = [
            name for name in keys_for(source, stage)
            if not (name == "area_ha" and block.outline is not None)
        ]  # fmt: skip
        if not names:
            self.body.addWidget(text(tr("The outline gives the hectares: change it on the map."),
                                     wrap=True))  # fmt: skip
            self.body.addWidget(_links([(tr("Map"), "go:home")], self.wanted.emit))
            return None
        section = Section(source_title(source)) if heading else None
        fields = [KeyField(session, block, name) for name in names]
        for made in fields:
            if section is not None:
                section.add(made)
            else:
                self.body.addWidget(made)
        if source == "flow":
            way = _links([(tr("Enter a bucket test"), "go:bucket")], self.wanted.emit)
            (section.add if section is not None else self.body.addWidget)(way)
        if section is not None:
            self.body.addWidget(section)
        if not session.at_today:
            self.body.addWidget(
                text(tr("Only today's morning can be edited."), quiet=True, wrap=True)
            )
        return fields[0]

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape goes back."""
        if event.key() == Qt.Key.Key_Escape:
            self.closed.emit()
        else:
            super().keyPressEvent(event)


def _lines(made: Chain, on_click: Callable[[str], object]) -> QWidget:
    holder = QWidget()
    grid = QGridLayout(holder)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(8)
    grid.setVerticalSpacing(2)
    grid.setColumnStretch(1, 1)
    top = Qt.AlignmentFlag.AlignTop
    at = 0
    for line in made.lines:
        if line.strong and at:
            grid.addWidget(rule(), at, 0, 1, 3)
            at += 1
        if line.mark:
            grid.addLayout(_mark(line.mark), at, 0)
        grid.addLayout(_words(line), at, 1)
        if line.key:
            link = Link(line.value, partial(on_click, line.key))
            link.setAccessibleName(f"{line.label}: {line.value}")
            grid.addWidget(link, at, 2, Qt.AlignmentFlag.AlignRight | top)
        else:
            grid.addWidget(figure(line.value, bold=line.strong), at, 2, top)
        at += 1
    return holder


def _mark(kind: str) -> QVBoxLayout:
    column = QVBoxLayout()
    column.setContentsMargins(0, 4, 0, 0)
    mark = Mark(kind, 11)
    mark.setToolTip(word(f"origin.certainty.{kind}"))
    mark.setAccessibleName(word(f"origin.certainty.{kind}"))
    column.addWidget(mark)
    column.addStretch(1)
    return column


def _words(line: Line) -> QVBoxLayout:
    column = QVBoxLayout()
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(0)
    column.addWidget(text(line.label, bold=line.strong, quiet=not line.strong, wrap=True))
    if line.told:
        column.addWidget(text(line.told, theme.SMALL, quiet=True, wrap=True))
    return column


def _links(links: list[tuple[str, str]], on_click: Callable[[str], object]) -> QWidget:
    holder = QWidget()
    column = QVBoxLayout(holder)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(0)
    for words, key in links:
        line = QHBoxLayout()
        line.setContentsMargins(0, 0, 0, 0)
        line.addWidget(Link(words, partial(on_click, key)))
        line.addStretch(1)
        column.addLayout(line)
    return holder
