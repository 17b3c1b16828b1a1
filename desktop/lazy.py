"""Pages that nobody looks at do not follow every change; they catch up when they are shown."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject
from PySide6.QtWidgets import QWidget


class WhenShown(QObject):
    """Refreshes a page now if it is on the screen, else as soon as it is.

    Parameters
    ----------
    page : QWidget
    refresh : callable
    """

    def __init__(self, page: QWidget, refresh: Callable[[], object]) -> None:
        super().__init__(page)
        self._page, self._refresh = page, refresh
        self._stale = False
        page.installEventFilter(self)

    def ask(self, *_: object) -> None:
        """Refresh, now or later; whatever a signal brings along is left aside."""
        self._stale = not self._page.isVisible()
        if not self._stale:
            self._refresh()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Catch up when the page is shown."""
        if event.type() == QEvent.Type.Show and self._stale:
            self._stale = False
            self._refresh()
        return False
