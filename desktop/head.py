"""The head bar: whose farm, which page, what day it is, when it was last saved."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QWidget

from desktop import theme
from desktop.session import Session
from desktop.widgets import Link, Tab, text
from desktop.wording import day_named, tr

HEIGHT = 40


def page_names() -> dict[str, str]:
    """Return the pages of the head bar, in order, with their names."""
    return {
        "home": tr("Home"),
        "blocks": tr("Blocks"),
        "weather": tr("Weather"),
        "ran": tr("What ran"),
        "work": tr("Field days"),
        "ahead": tr("Ahead"),
        "land": tr("Land"),
        "farm": tr("Farm"),
    }


class HeadBar(QWidget):
    """Estate name left, pages in the middle, day and saving on the right.

    Parameters
    ----------
    on_page : callable
        Gets the page's key.
    """

    def __init__(self, session: Session, on_page: Callable[[str], object]) -> None:
        super().__init__()
        self._session = session
        self.setFixedHeight(HEIGHT)
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 0, 16, 0)
        row.setSpacing(10)
        self.name = text(size=theme.LARGE, bold=True)
        self.name.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row.addWidget(self.name, 5)
        self.tabs: dict[str, Tab] = {}
        for at, (key, words) in enumerate(page_names().items(), start=1):
            tab = Tab(words)
            tab.setToolTip(tr("Alt+{0}").format(at))
            tab.setAccessibleName(words)
            tab.clicked.connect(lambda _=False, k=key: on_page(k))
            self.tabs[key] = tab
            row.addWidget(tab)
            row.addSpacing(12)
        right = QHBoxLayout()
        right.setSpacing(8)
        right.addStretch(1)
        self.undo = Link(tr("Undo"), session.undo_last)
        self.redo = Link(tr("Redo"), session.redo_next)
        self.state = text(quiet=True)
        for widget in (self.undo, self.redo, self.state):
            right.addWidget(widget)
        row.addLayout(right, 6)
        session.undo.indexChanged.connect(self.refresh)
        session.changed.connect(self.refresh)
        session.season_changed.connect(self.refresh)
        self.refresh()

    def refresh(self, _: object = None) -> None:
        """Show the farm's name, the day, and when the last edit was stored."""
        s, stack = self._session, self._session.undo
        for link, can, words in (
            (self.undo, stack.canUndo(), stack.undoText()),
            (self.redo, stack.canRedo(), stack.redoText()),
        ):
            link.setVisible(can)
            link.setToolTip(words)
            link.setAccessibleDescription(words)
        if s.data is None:
            self.name.setText("")
            self.state.setText("")
            return
        farm = s.data.orchard
        name = tr("{0} (invented)").format(farm.name) if farm.invented else farm.name
        self.name.setText(name)
        self.name.setToolTip(str(s.path or ""))
        parts = [day_named(s.today)]
        if s.saved_at is not None:
            parts.append(tr("saved {0}").format(f"{s.saved_at:%H:%M}"))
        self.state.setText("  ·  ".join(parts))

    def show_page(self, key: str | None) -> None:
        """Underline the open page."""
        for name, tab in self.tabs.items():
            tab.setAutoExclusive(False)
            tab.setChecked(name == key)
            tab.setAutoExclusive(True)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The bar's own ground."""
        QPainter(self).fillRect(QRectF(self.rect()), QColor(theme.colours().bar))
