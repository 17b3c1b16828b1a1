"""A sentence in which some words can be clicked, wrapped like any other text."""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from PySide6.QtCore import QPointF, QSize
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.widgets import Link


@dataclass(frozen=True)
class Part:
    """A piece of a sentence; one with a key can be clicked."""

    text: str
    key: str = ""


def parts(template: str, given: Mapping[str, str | Part | Sequence[Part]]) -> list[Part]:
    """Put parts into a template: ``"The week takes {takes}."``."""
    found: list[Part] = []
    for before, name, _, _ in string.Formatter().parse(template):
        if before:
            found.append(Part(before))
        if name is None:
            continue
        value = given[name]
        if isinstance(value, Part):
            found.append(value)
        elif isinstance(value, str):
            found.append(Part(value))
        else:
            found.extend(value)
    return found


def plain_text(sentence: Sequence[Part]) -> str:
    """Return a sentence without its links."""
    return "".join(part.text for part in sentence)


@dataclass
class _Piece:
    text: str
    x: float
    y: float


class Flow(QWidget):
    """A sentence with links in it.

    Parameters
    ----------
    on_click : callable
        Gets the key of the part that was clicked.
    """

    def __init__(
        self, on_click: Callable[[str], object], size: int = theme.LEAD, *, bold: bool = False
    ) -> None:  # fmt: skip
        super().__init__()
        self._on_click, self._size, self._bold = on_click, size, bold
        self._parts: list[Part] = []
        self._links: list[Link] = []
        self._pieces: list[_Piece] = []
        self._font = theme.font(size, bold=bold)
        self.line = int(QFontMetricsF(self._font).height() + 4)
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def set_parts(self, sentence: Sequence[Part]) -> None:
        """Show another sentence."""
        if list(sentence) == self._parts:
            return
        self._parts = list(sentence)
        for link in self._links:
            link.setParent(None)
            link.deleteLater()
        self._links = []
        for part in self._parts:
            if part.key:
                on_click = partial(self._on_click, part.key)
                link = Link(part.text, on_click, self._size, bold=self._bold, parent=self)
                link.setObjectName(part.key)
                link.show()
                self._links.append(link)
        self.setAccessibleName(plain_text(self._parts))
        self._lay(self.width())
        self.updateGeometry()
        self.update()

    def link(self, key: str) -> Link | None:
        """Return the link of a key."""
        return next((x for x in self._links if x.objectName() == key), None)

    def text(self) -> str:
        """Return the sentence without its links."""
        return plain_text(self._parts)

    def heightForWidth(self, width: int) -> int:
        """Return how high the sentence is at a width."""
        return self._lay(width, place=False)

    def sizeHint(self) -> QSize:
        """Return a size with the lines it has now."""
        return QSize(400, self._lay(max(self.width(), 200), place=False))

    def minimumSizeHint(self) -> QSize:
        """Return the smallest size."""
        return QSize(160, self.line)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap again."""
        high = self._lay(self.width())
        if high != self.height():
            self.setFixedHeight(high)
        super().resizeEvent(event)

    def _tokens(self) -> list[tuple[str, Link | None, bool]]:
        """Return words: text, link or None, and whether a space stands before it."""
        found: list[tuple[str, Link | None, bool]] = []
        links = iter(self._links)
        space = False
        for part in self._parts:
            if part.key:
                found.append((part.text, next(links), space))
                space = False
                continue
            if part.text.startswith(" "):
                space = True
            words = part.text.split(" ")
            for i, word in enumerate(words):
                if word:
                    found.append((word, None, space or i > 0))
                    space = False
            space = part.text.endswith(" ") or (space and not part.text.strip())
        return found

    def _lay(self, width: int, place: bool = True) -> int:
        metrics = QFontMetricsF(self._font)
        gap = metrics.horizontalAdvance(" ")
        x, line = 0.0, 0
        pieces: list[_Piece] = []
        groups = _groups(self._tokens())
        for group in groups:
            wide = sum(metrics.horizontalAdvance(t) for t, _, _ in group)
            lead = gap if group[0][2] and x > 0 else 0.0
            if x > 0 and x + lead + wide > width:
                x, line, lead = 0.0, line + 1, 0.0
            x += lead
            for text, link, _ in group:
                if place and link is not None:
                    link.move(round(x), line * self.line)
                    link.resize(link.sizeHint())
                if link is None:
                    pieces.append(_Piece(text, x, line * self.line + 2 + metrics.ascent()))
                x += metrics.horizontalAdvance(text)
        if place:
            self._pieces = pieces
        return (line + 1) * self.line

    def paintEvent(self, event: QPaintEvent) -> None:
        """Write the words that are no links."""
        painter = QPainter(self)
        painter.setFont(self._font)
        painter.setPen(QColor(theme.colours().ink))
        for piece in self._pieces:
            painter.drawText(QPointF(piece.x, piece.y), piece.text)


def _groups(
    tokens: Sequence[tuple[str, Link | None, bool]],
) -> list[list[tuple[str, Link | None, bool]]]:
    """Return tokens that may not be torn apart together."""
    groups: list[list[tuple[str, Link | None, bool]]] = []
    for token in tokens:
        if groups and not token[2]:
            groups[-1].append(token)
        else:
            groups.append([token])
    return groups
