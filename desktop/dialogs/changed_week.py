"""The week as handed out beside the plan as it stands now, and one way to hand the new one out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.session import Session
from desktop.widgets import text
from desktop.wording import day_named, fixed, hours, say, thousands, tr, weekday, word
from waterbudget.errors import WaterBudgetError

if TYPE_CHECKING:
    from waterbudget.replan import BlockChange, Cell, Replan

WIDE, TALL = 1200, 620
ROW, HEAD, NAME, SUM, PAD = 26, 30, 168, 118, 10
DAY, WHY = 96, 180
"""Least widths of a day ("18.75 › 20.25" in bold) and of the reasons [px]."""
BESIDE = 196
"""Height of head, notes and buttons."""


class ChangedWeekDialog(QDialog):
    """Old and new hours by block and day.

    Parameters
    ----------
    window : QWidget
    session : Session
    hand_out : callable
        Stores the corrected week; gets what is to be done once it is stored.
    """

    def __init__(
        self, window: QWidget, session: Session,
        hand_out: Callable[[Callable[[Any], None]], object],
    ) -> None:  # fmt: skip
        super().__init__(window)
        self.session, self._store = session, hand_out
        self.found: Replan | None = None
        self.setWindowTitle(tr("Old and new"))
        self.setWindowModality(Qt.WindowModality.WindowModal)
        box = QVBoxLayout(self)
        box.setContentsMargins(26, 20, 26, 18)
        box.setSpacing(8)
        self.head = text(tr("What has changed since the week was handed out"), theme.TITLE,
                         bold=True)  # fmt: skip
        self.told = text(tr("Working out the week"), quiet=True, wrap=True)
        box.addWidget(self.head)
        box.addWidget(self.told)
        self.sheet = Changes()
        self.roll = QScrollArea()
        self.roll.setFrameShape(QFrame.Shape.NoFrame)
        self.roll.setWidgetResizable(True)
        self.roll.setWidget(self.sheet)
        box.addWidget(self.roll, 1)
        self.notes = text("", theme.SMALL, quiet=True, wrap=True)
        box.addWidget(self.notes)
        box.addLayout(self._buttons())
        room = window.size()
        self.resize(min(WIDE, room.width() - 60), min(TALL, room.height() - 60))
        self._ask()
        session.season_changed.connect(self._again)

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(12)
        row.addStretch(1)
        self.shut = QPushButton(tr("Close"))
        self.shut.clicked.connect(self.reject)
        self.hand = QPushButton(tr("Hand out the corrected week"))
        self.hand.setProperty("main", "true")
        self.hand.setEnabled(False)
        self.hand.clicked.connect(self._hand_out)
        for button in (self.shut, self.hand):
            button.setAutoDefault(False)
            row.addWidget(button)
        return row

    def _ask(self) -> None:
        season = self.session.season

        def read(file: Any) -> Any:
            from waterbudget import replan

            assert season is not None
            return replan.compare(file.read(), season)

        if season is not None:
            self.session.query(read, self._read, self._failed, key="replan")

    def _again(self, _: object) -> None:
        if self.isVisible():
            self._ask()

    def _failed(self, error: WaterBudgetError) -> None:
        self.told.setText(say(error))
        self.hand.setEnabled(False)

    def _read(self, found: Replan) -> None:
        self.found = found
        changed = [b for b in found.blocks if b.changed]
        stay = len(found.blocks) - len(changed)
        words = tr("Week {0}, handed out {1} {2}. Days before {3} are as they ran.").format(
            found.given.number, day_named(found.given.given_at.date()),
            f"{found.given.given_at:%H:%M}", day_named(found.on),
        )  # fmt: skip
        if not changed:
            words += " " + tr("The rest of the week stays as it was handed out.")
        elif stay == 1:
            words += " " + tr("1 block stays as it was.")
        elif stay:
            words += " " + tr("{0} blocks stay as they were.").format(stay)
        self.told.setText(words)
        self.sheet.show_week(found, changed)
        old, new = found.total("old_m3"), found.total("new_m3")
        sums = tr("At the meter {0} m³ were handed out, {1} m³ now.").format(
            thousands(old), thousands(new)
        )  # fmt: skip
        self.notes.setText(" ".join([sums, *(say(n) for n in found.notes)]))
        self.hand.setEnabled(found.changed)
        self._fit(HEAD + ROW * (len(changed) + 1) + 8)

    def _fit(self, table: int) -> None:
        """As tall as the table needs, the window leaving room."""
        parent = self.parentWidget()
        room = parent.height() - 40 if parent is not None else TALL
        self.resize(self.width(), max(300, min(table + BESIDE, room)))

    def _hand_out(self) -> None:
        self.hand.setEnabled(False)
        self._store(lambda _: self.accept())


class Changes(QWidget):
    """The table: old and new of every block that changes, the changed ones bold."""

    def __init__(self) -> None:
        super().__init__()
        self.found: Replan | None = None
        self.blocks: list[BlockChange] = []
        theme.watch().changed.connect(self.update)

    def show_week(self, found: Replan, blocks: list[BlockChange]) -> None:
        """Show the blocks that change."""
        self.found, self.blocks = found, blocks
        self.setMinimumHeight(HEAD + ROW * (len(blocks) + 1) + 8)
        self.setMinimumWidth(NAME + SUM + WHY + DAY * len(found.days))
        lines = [self.line(b) for b in blocks]
        self.setAccessibleName(tr("Old and new hours, block by block"))
        self.setAccessibleDescription(". ".join(lines))
        self.update()

    @staticmethod
    def line(block: BlockChange) -> str:
        """Return one block in words: "Kiln: Thu 17 Jul 4 h, now 2.5 h (rain)"."""
        parts = [
            tr("{0} {1} h, now {2} h ({3})").format(
                day_named(c.date), hours(c.old_hours), hours(c.new_hours), because([c])
            )
            for c in block.cells if c.changed
        ]  # fmt: skip
        return f"{block.block}: {', '.join(parts)}"

    def sizeHint(self) -> QSize:
        """Room for every row."""
        return QSize(WIDE - 60, HEAD + ROW * (len(self.blocks) + 1) + 8)

    def _columns(self) -> tuple[list[float], float, float]:
        """Return the left edges of the days, their width, and where the reasons begin."""
        assert self.found is not None
        count = len(self.found.days)
        reasons = max(float(WHY), self.width() * 0.2)
        wide = max(float(DAY), (self.width() - NAME - SUM - reasons) / max(1, count))
        wide = min(wide, 112.0)
        return [NAME + wide * i for i in range(count)], wide, NAME + wide * count + SUM

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint head, rows and sums."""
        if self.found is None or not self.blocks:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._head(painter)
        for i, block in enumerate(self.blocks):
            self._row(painter, HEAD + ROW * i, block, i)
        self._sums(painter, HEAD + ROW * len(self.blocks))

    def _head(self, painter: QPainter) -> None:
        assert self.found is not None
        c = theme.colours()
        edges, wide, reasons = self._columns()
        painter.setFont(theme.font(theme.SMALL))
        painter.setPen(QColor(c.quiet))
        middle = Qt.AlignmentFlag.AlignVCenter
        painter.drawText(QRectF(PAD, 0, NAME - PAD, HEAD), middle, tr("old › new, hours"))
        for x, day in zip(edges, self.found.days, strict=True):
            box, words = QRectF(x, 0, wide, HEAD), f"{weekday(day)} {day.day}"
            painter.drawText(box, middle | Qt.AlignmentFlag.AlignHCenter, words)
        box = QRectF(reasons - SUM, 0, SUM, HEAD)
        painter.drawText(box, middle | Qt.AlignmentFlag.AlignHCenter, tr("rest of week"))
        painter.drawText(QRectF(reasons, 0, self.width() - reasons, HEAD), middle, tr("why"))
        painter.fillRect(QRectF(0, HEAD - 1, self.width(), 1), QColor(c.line))

    def _row(self, painter: QPainter, y: int, block: BlockChange, i: int) -> None:
        c = theme.colours()
        edges, wide, reasons = self._columns()
        if i % 2:
            painter.fillRect(QRectF(0, y, self.width(), ROW), QColor(c.row))
        painter.setFont(theme.font(bold=True))
        painter.setPen(QColor(c.ink))
        self._words(painter, QRectF(PAD, y, NAME - PAD, ROW), block.block)
        for x, cell in zip(edges, block.cells, strict=True):
            pair(painter, QRectF(x, y, wide, ROW), cell.old_hours, cell.new_hours, cell.changed)
        differs = abs(block.new_hours - block.old_hours) >= 0.125
        box = QRectF(reasons - SUM, y, SUM, ROW)
        pair(painter, box, block.old_hours, block.new_hours, differs)
        painter.setFont(theme.font(theme.SMALL))
        painter.setPen(QColor(c.ink))
        room = QRectF(reasons, y, self.width() - reasons - 4, ROW)
        self._words(painter, room, because(list(block.cells)))

    def _sums(self, painter: QPainter, y: int) -> None:
        assert self.found is not None
        c = theme.colours()
        edges, wide, reasons = self._columns()
        painter.fillRect(QRectF(0, y, self.width(), 1.5), QColor(c.ink))
        painter.setFont(theme.font(bold=True))
        painter.setPen(QColor(c.ink))
        self._words(painter, QRectF(PAD, y, NAME - PAD, ROW), tr("all blocks"))
        for x, day in zip(edges, self.found.days, strict=True):
            old, new = self.day_sums(day)
            pair(painter, QRectF(x, y, wide, ROW), old, new, abs(new - old) >= 0.125)
        old, new = self.found.total("old_hours"), self.found.total("new_hours")
        pair(painter, QRectF(reasons - SUM, y, SUM, ROW), old, new, abs(new - old) >= 0.125)

    def day_sums(self, day: dt.date) -> tuple[float, float]:
        """Return the hours of a day over all blocks, old and new."""
        assert self.found is not None
        cells = [c for c in self.found.cells if c.date == day]
        return sum(c.old_hours for c in cells), sum(c.new_hours for c in cells)

    @staticmethod
    def _words(painter: QPainter, box: QRectF, words: str) -> None:
        metrics = QFontMetricsF(painter.font())
        shown = metrics.elidedText(words, Qt.TextElideMode.ElideRight, box.width())
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, shown)


def because(cells: list[Cell]) -> str:
    """Return why cells changed, in a few words."""
    codes = dict.fromkeys(code for c in cells for code in c.why)
    return ", ".join(word(f"replan.cause.{code}") for code in codes)


def pair(painter: QPainter, box: QRectF, old: float, new: float, changed: bool) -> None:
    """Paint old and new side by side: "4 › 2.5", the new one bold; one quiet figure if alike."""
    c = theme.colours()
    plain, bold = theme.font(), theme.font(bold=True)
    if not changed:
        painter.setFont(plain)
        painter.setPen(QColor(c.quiet))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, _figure(new) if new else "·")
        return
    was, now = f"{_figure(old)} › ", _figure(new)
    left = QFontMetricsF(plain).horizontalAdvance(was)
    whole = left + QFontMetricsF(bold).horizontalAdvance(now)
    x = box.center().x() - whole / 2
    frame = QRectF(x - 6, box.top() + 3.5, whole + 12, box.height() - 7)
    painter.setPen(QColor(c.planned_edge))
    painter.setBrush(QColor(c.planned))
    painter.drawRoundedRect(frame, 3, 3)
    y = box.center().y() + QFontMetricsF(plain).capHeight() / 2
    painter.setFont(plain)
    painter.setPen(QColor(c.quiet))
    painter.drawText(QPointF(x, y), was)
    painter.setFont(bold)
    painter.setPen(QColor(c.planned_ink))
    painter.drawText(QPointF(x + left, y), now)
    painter.setBrush(Qt.BrushStyle.NoBrush)


def _figure(value: float) -> str:
    return hours(value) if abs(value * 4 - round(value * 4)) < 1e-6 else fixed(value, 2)
