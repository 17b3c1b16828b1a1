"""Above map and week: up to three sentences, or the banner while another morning is looked at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QMenu, QWidget

from desktop import theme
from desktop.mapview import swatch
from desktop.models.standing import Look
from desktop.pages.home_attention import SHOWN, Attention
from desktop.pages.home_words import past_banner
from desktop.widgets import Link, text
from desktop.wording import tr

HEIGHT, LOW_HEIGHT = 56, 48
ROOMY = 1100
"""Three sentences stand side by side from this width on [px]."""
Go = Callable[[str, dict[str, Any]], object]


class Band(QWidget):
    """The sentences that need the grower."""

    def __init__(self, go: Go, to_today: Callable[[], object]) -> None:
        super().__init__()
        self._go, self._to_today = go, to_today
        self._items: list[Attention] = []
        self.setFixedHeight(HEIGHT)
        self.setAccessibleName(tr("What needs you today"))
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(12, 6, 12, 6)
        self._row.setSpacing(10)
        self._shown: object = None
        self._most = SHOWN

    def set_tall(self, tall: bool) -> None:
        """Take less room in a low window."""
        self.setFixedHeight(HEIGHT if tall else LOW_HEIGHT)
        self._row.setContentsMargins(12, 6 if tall else 3, 12, 6 if tall else 3)

    def show_items(self, items: Sequence[Attention]) -> None:
        """Show the worst three; a link opens the rest."""
        most = SHOWN if self.width() >= ROOMY else SHOWN - 1
        if self._shown == (most, list(items)):
            return
        self._shown, self._items, self._most = (most, list(items)), list(items), most
        self._clear()
        if not items:
            quiet = text(tr("Nothing needs you today."), theme.LARGE)
            quiet.setContentsMargins(6, 0, 0, 0)
            self._row.addWidget(quiet)
            self._row.addStretch(1)
            return
        for k, item in enumerate(items[:most]):
            self._row.addWidget(_Card(item, self._go, strong=k == 0), 1)
        for _ in range(most - len(items[:most])):
            self._row.addStretch(1)
        left = len(items) - most
        if left > 0:
            more = Link(tr("{0} more").format(left), self._show_rest)
            self._row.addWidget(more)
            self._more = more

    def show_past(self, day: dt.date) -> None:
        """Show the banner of another morning."""
        if self._shown == day:
            return
        self._shown = day
        self._clear()
        plate = QFrame()
        plate.setProperty("role", "plate")
        row = QHBoxLayout(plate)
        row.setContentsMargins(14, 4, 14, 4)
        row.setSpacing(16)
        row.addWidget(text(past_banner(day), theme.LARGE, bold=True, wrap=True), 1)
        row.addWidget(Link(tr("Back to today (T)"), self._to_today))
        self._row.addWidget(plate, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Show two sentences where there is no room for three."""
        super().resizeEvent(event)
        if isinstance(self._shown, tuple):
            self.show_items(self._items)

    def _clear(self) -> None:
        while self._row.count():
            item = self._row.takeAt(0)
            widget = item.widget() if item is not None else None
            if widget is not None:
                widget.hide()
                widget.deleteLater()

    def _show_rest(self) -> None:
        menu = QMenu(self)
        for item in self._items[self._most :]:
            action = menu.addAction(f"{item.sentence}  →  {item.action}")
            action.triggered.connect(lambda _=False, i=item: self._go(i.page, dict(i.what)))
        menu.exec(self._more.mapToGlobal(QPoint(0, self._more.height())))


class _Card(QFrame):
    """One sentence with its link, and a swatch of what it is about."""

    def __init__(self, item: Attention, go: Go, *, strong: bool) -> None:
        super().__init__()
        self.setProperty("role", "plate")
        self.setAccessibleName(item.sentence)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 8, 0)
        row.setSpacing(8)
        row.addWidget(_Stripe(item.mark))
        sentence = text(item.sentence, theme.BODY, bold=strong, wrap=True, narrow=True)
        sentence.setToolTip(item.sentence)
        row.addWidget(sentence, 1)
        link = Link(item.action, lambda: go(item.page, dict(item.what)))
        link.setAccessibleDescription(item.sentence)
        row.addWidget(link)


class _Stripe(QWidget):
    """The edge of a card in the grammar of the map and of certainty."""

    def __init__(self, mark: Look | str) -> None:
        super().__init__()
        self._mark = mark
        self.setFixedWidth(12)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Hatched, dotted, open or solid."""
        painter = QPainter(self)
        box = self.rect().adjusted(4, 5, -1, -5)
        if isinstance(self._mark, Look):
            for brush in theme.brushes(swatch(self._mark), self.devicePixelRatioF()):
                painter.fillRect(box, brush)
        elif self._mark in ("missing", "other"):
            painter.fillRect(box, theme.hatch(self._mark, theme.colours().ink))
        elif self._mark == "open":
            pen = painter.pen()
            pen.setColor(QColor(theme.colours().quiet))
            pen.setStyle(Qt.PenStyle.DashLine)
            painter.setPen(pen)
            painter.drawRect(box)
        else:
            painter.fillRect(box, QColor(theme.colours().ink))
