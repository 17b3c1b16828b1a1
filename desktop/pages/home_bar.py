"""One line over the week: how good the hours are, whether they are handed out, and ways out."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QPoint, QSize, Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QMenu, QSizePolicy, QWidget

from desktop import theme
from desktop.models.week import WeekTable
from desktop.pages.home_words import given_words
from desktop.widgets import Link
from desktop.wording import tr

if TYPE_CHECKING:
    from desktop.pages.home_exports import Exports


class WeekBar(QWidget):
    """The line over the week."""

    def __init__(
        self, hand_out: Callable[[], object], exports: Exports, needs: Callable[[], object],
        changes: Callable[[], object],
    ) -> None:  # fmt: skip
        super().__init__()
        self.setFixedHeight(26)
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 0, 8, 0)
        row.setSpacing(8)
        self.good = _Cut(tr("Hours are good to about ±20 %; a spade 30 cm deep beats them."))
        self.given = _Cut("", Qt.AlignmentFlag.AlignRight)
        self.changes = Link(tr("Old and new"), changes)
        self.changes.setToolTip(tr("What has changed since the week was handed out"))
        self.changes.hide()
        self.hand = Link(tr("Hand out this week"), hand_out)
        self.hand.setToolTip(tr("Stores the week as it is given to the people at the valves, with "
                                "number and time (Ctrl+H)"))  # fmt: skip
        self.out = Link(tr("Print / export"), self._menu)
        self._exports, self._needs = exports, needs
        row.addWidget(self.good)
        row.addStretch(1)
        row.addWidget(self.given)
        row.addWidget(self.changes)
        row.addWidget(self.hand)
        row.addWidget(self.out)

    def show_week(self, table: WeekTable, today: bool) -> None:
        """Show whether the week is handed out."""
        self.given.tell(given_words(table) if today else "")
        self.changes.setVisible(today and table.given is not None and table.changed_cells > 0)
        again = table.given is not None and table.given.first == table.on
        words = tr("Hand out again") if again else tr("Hand out this week")
        self.hand.setText(words)
        self.hand.updateGeometry()
        self.hand.setEnabled(today and bool(table.rows))
        self.out.setEnabled(today)

    def menu(self) -> QMenu:
        """Return what the week can be taken out as."""
        menu = QMenu(self)
        menu.addAction(tr("Sheet, calendar, message…\tCtrl+P"), self._exports.show)
        menu.addAction(tr("Week as a CSV file…"), self._exports.ask_csv)
        menu.addAction(tr("Copy the week\tCtrl+C"), self._exports.copy)
        menu.addSeparator()
        menu.addAction(tr("What the week still needs"), self._needs)
        return menu

    def _menu(self) -> None:
        self.menu().exec(self.out.mapToGlobal(QPoint(0, self.out.height())))


class _Cut(QLabel):
    """A quiet line that is cut with dots where there is no room; whole in its tip."""

    def __init__(self, words: str, align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft) -> None:
        super().__init__()
        self.setFont(theme.font(theme.SMALL, narrow=True))
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setProperty("role", "quiet")
        self.setAlignment(align | Qt.AlignmentFlag.AlignVCenter)
        self.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Preferred)
        self._whole = ""
        self.tell(words)

    def sizeHint(self) -> QSize:
        """Room for the whole line."""
        return QSize(self.fontMetrics().horizontalAdvance(self._whole) + 4, 20)

    def minimumSizeHint(self) -> QSize:
        """It may be cut."""
        return QSize(40, 20)

    def tell(self, words: str) -> None:
        """Show a line."""
        self._whole = words
        self.updateGeometry()
        self.setToolTip(words)
        self.setAccessibleName(words)
        self._cut()

    def _cut(self) -> None:
        metrics = self.fontMetrics()
        self.setText(metrics.elidedText(self._whole, Qt.TextElideMode.ElideRight, self.width()))

    def resizeEvent(self, event: object) -> None:
        """Cut it anew."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._cut()
