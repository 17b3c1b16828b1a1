"""Above map and week: up to three sentences, or the banner while another morning is looked at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QMenu, QWidget

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
            self._row.addWidget(_Card(item, self._go, strong=k == 0), 2)
        if len(items) == 1:
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
        row.addWidget(_TwoLines(item.sentence, strong), 1)
        link = Link(item.action, lambda: go(item.page, dict(item.what)))
        link.setAccessibleDescription(item.sentence)
        row.addWidget(link)


class _TwoLines(QLabel):
    """A sentence on two lines at most; a longer one ends in dots and stands whole in its tip."""

    def __init__(self, words: str, strong: bool) -> None:
        super().__init__()
        self.whole = words
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setFont(theme.font(theme.BODY, bold=strong, narrow=True))
        self.setWordWrap(True)
        self.setToolTip(words)
        self.setAccessibleName(words)
        self.setText(words)
        self.setMinimumWidth(60)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Cut it where two lines do not hold it."""
        super().resizeEvent(event)
        words = self.whole.split(" ")
        count = len(words)
        while count > 1 and not self._holds(self._first(words, count)):
            count -= 1
        shown = self._first(words, count)
        if shown != self.text():
            self.setText(shown)

    def sizeHint(self) -> QSize:
        """Two lines: what is asked for does not depend on what is shown."""
        return QSize(240, 2 * self.fontMetrics().lineSpacing())

    def minimumSizeHint(self) -> QSize:
        """It may be cut."""
        return QSize(60, self.fontMetrics().lineSpacing())

    def heightForWidth(self, width: int) -> int:
        """Two lines, at any width."""
        return 2 * self.fontMetrics().lineSpacing()

    def _first(self, words: list[str], count: int) -> str:
        return self.whole if count == len(words) else " ".join(words[:count]).rstrip(",.;:") + " …"

    def _holds(self, words: str) -> bool:
        room = QRect(0, 0, self.contentsRect().width(), 1000)
        needed = self.fontMetrics().boundingRect(room, Qt.TextFlag.TextWordWrap, words)
        return needed.height() <= 2 * self.fontMetrics().lineSpacing() + 1


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
