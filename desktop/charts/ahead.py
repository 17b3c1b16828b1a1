"""The coming month block by block: how many past years would be past the limit each morning."""

from __future__ import annotations

import datetime as dt

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from desktop import theme
from desktop.charts.ink import (
    RIGHT,
    DayAxis,
    Letters,
    dashes,
    nice_step,
    past_ink,
    pen,
    unsure_ground,
)
from desktop.models.ahead import AheadRow, AheadView
from desktop.wording import day_short, fixed, number, thousands, tr, word

HEAD, ROW, TWO_ROW = 40.0, 25.0, 36.0
NAME, STAGE, TAIL = 132.0, 112.0, 236.0


def percent(share: float | None) -> str:
    """Return a share as whole per cent; a dash where nothing is known."""
    return "–" if share is None else tr("{0} %").format(f"{100 * share:.0f}")


class ChanceStrips(QWidget):
    """One strip a block: the height of a day is the share of past years past the limit.

    Signals
    -------
    chosen(int)
        A block was clicked or walked to with the keys.
    """

    chosen = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.view: AheadView | None = None
        self.other: AheadView | None = None
        self.block: int | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(tr("Chance of every block to be past its limit, day by day"))
        theme.watch().changed.connect(self.update)

    def set_view(self, view: AheadView | None, other: AheadView | None = None) -> None:
        """Show the coming days; ``other`` is the plan laid beside."""
        self.view, self.other = view, other
        self.setFixedHeight(int(HEAD + self._row_height() * len(view.rows if view else ()) + 6))
        self.update()

    def set_block(self, block: int | None) -> None:
        """Mark a block."""
        self.block = block
        row = self.view.row(block) if self.view else None
        if row is not None:
            self.setAccessibleDescription(_spoken(row))
        self.update()

    def sizeHint(self) -> QSize:
        """Return a size that suits the smallest window."""
        return QSize(800, self.height())

    def _row_height(self) -> float:
        return TWO_ROW if self.other is not None else ROW

    def _axis(self) -> DayAxis:
        assert self.view is not None
        return DayAxis(self.view.on, 0, self.view.days, NAME + STAGE, self.width() - TAIL)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the days, then row by row."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c = theme.colours()
        painter.fillRect(self.rect(), QColor(c.paper))
        if self.view is None:
            return
        letters = Letters(painter)
        self._head(painter, letters)
        for at, row in enumerate(self.view.rows):
            self._row(painter, letters, row, HEAD + at * self._row_height())
        if self.hasFocus():
            painter.setPen(pen(c.link, 2.0))
            painter.drawLine(QPointF(0, self.height() - 2.0),
                             QPointF(float(self.width()), self.height() - 2.0))  # fmt: skip

    def _head(self, painter: QPainter, letters: Letters) -> None:
        c, axis = theme.colours(), self._axis()
        letters.put(4, 32, tr("Block"), ink=c.quiet)
        letters.put(NAME, 32, tr("Stage"), ink=c.quiet)
        for x, words in ((158, tr("dry in fill")), (90, tr("dry days")), (6, tr("m³, 8 of 10"))):
            letters.put(self.width() - x, 32, words, ink=c.quiet, align=RIGHT)
        for day in axis.mondays():
            painter.setPen(pen(c.line))
            at = axis.x(day)
            painter.drawLine(QPointF(at, 20), QPointF(at, self.height() - 4))
            letters.put(at + 3, 32, day_short(axis.date(day)), ink=c.quiet)

    def _row(self, painter: QPainter, letters: Letters, row: AheadRow, top: float) -> None:
        c, height, axis = theme.colours(), self._row_height(), self._axis()
        if row.id == self.block:
            painter.fillRect(QRectF(0, top, self.width(), height), QColor(c.chosen))
        base = top + 17
        letters.put(
            4, base, row.name, bold=row.stage == "fill", inside=QRectF(4, top, NAME - 8, 24)
        )
        letters.put(NAME, base, word(f"stage.{row.stage}"), ink=c.quiet)
        changed = self.other.row(row.id) if self.other is not None else None
        lanes = [(row, top + 3, ROW - 6)]
        if changed is not None:
            lanes = [(row, top + 2, 14.0), (changed, top + 19, 14.0)]
        for at, (one, y, tall) in enumerate(lanes):
            self._lane(painter, axis, one, y, tall, outlined=at == 1)
            self._figures(letters, one, y + tall - 3, bold=at == 1)
        painter.setPen(pen(c.line))
        painter.drawLine(QPointF(0, top + height), QPointF(self.width(), top + height))

    def _lane(
        self, painter: QPainter, axis: DayAxis, row: AheadRow, y: float, tall: float, *,
        outlined: bool,
    ) -> None:  # fmt: skip
        c = theme.colours()
        painter.setPen(pen(c.line))
        painter.drawLine(QPointF(axis.left, y + tall), QPointF(axis.right, y + tall))
        if row.by_day is None:
            painter.fillRect(QRectF(axis.left, y, axis.right - axis.left, tall),
                             theme.hatch("missing"))  # fmt: skip
            return
        for day, share in enumerate(row.by_day):
            if day < len(row.in_fill) and row.in_fill[day]:
                painter.fillRect(QRectF(axis.x(day), y + tall, axis.per_day, 2), QColor(c.ink))
            if share <= 0:
                continue
            area = QRectF(axis.x(day) + 0.5, y + tall * (1 - share), axis.per_day - 1, tall * share)
            if outlined:
                painter.setPen(pen(past_ink(), 1.5))
                painter.drawRect(area)
            else:
                painter.fillRect(area, QColor(past_ink()))

    def _figures(self, letters: Letters, row: AheadRow, base: float, *, bold: bool) -> None:
        right = float(self.width())
        worst = row.chance_in_fill
        letters.put(right - 158, base, percent(worst) if row.in_fill.any() else "", align=RIGHT,
                    bold=bold or bool(worst and worst >= 0.2))  # fmt: skip
        letters.put(right - 90, base, "–" if row.dry_days is None else fixed(row.dry_days, 1),
                    align=RIGHT, bold=bold)  # fmt: skip
        need = row.need_m3[80] if row.need_m3 else None
        letters.put(right - 6, base, thousands(need), align=RIGHT, bold=bold)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose the block under the pointer."""
        at = int((event.position().y() - HEAD) // self._row_height())
        if self.view is not None and 0 <= at < len(self.view.rows):
            self.chosen.emit(self.view.rows[at].id)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up and Down walk from block to block."""
        step = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
        if self.view is None or step is None or not self.view.rows:
            super().keyPressEvent(event)
            return
        ids = [r.id for r in self.view.rows]
        at = ids.index(self.block) + step if self.block in ids else 0
        self.chosen.emit(ids[min(max(at, 0), len(ids) - 1)])


def _spoken(row: AheadRow) -> str:
    words = tr("{0}: past its limit in {1} of the years; {2} dry days; {3} m³ in 8 years of 10")
    return words.format(
        row.name, percent(row.chance), number(row.dry_days),
        thousands(row.need_m3[80]) if row.need_m3 else "–",
    )  # fmt: skip


class MonthFan(QWidget):
    """Water missing in one block over the coming days: most of the years, and the middle one."""

    def __init__(self) -> None:
        super().__init__()
        self.row: AheadRow | None = None
        self.other: AheadRow | None = None
        self.on = dt.date(2000, 1, 1)
        self.setMinimumHeight(170)
        self.setAccessibleName(tr("Water missing over the coming days, through the past years"))
        theme.watch().changed.connect(self.update)

    def set_row(self, on: dt.date, row: AheadRow | None, other: AheadRow | None = None) -> None:
        """Show a block; ``other`` is the plan laid beside."""
        self.on, self.row, self.other = on, row, other
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint limit, band and middle year."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c, row = theme.colours(), self.row
        painter.fillRect(self.rect(), QColor(c.paper))
        if row is None or row.mid is None or row.low is None or row.high is None:
            return
        days = len(row.mid)
        axis = DayAxis(self.on, 0, days - 1, 40, self.width() - 8)
        tops = [row.high.max(), row.limit.max()]
        tops += [self.other.high.max()] if self.other and self.other.high is not None else []
        most = float(max(tops)) * 1.08 + 1.0
        low_y, top_y = self.height() - 22.0, 20.0

        def y(mm: float) -> float:
            return top_y + mm / most * (low_y - top_y)

        letters = Letters(painter)
        letters.put(2, 13, tr("mm missing"), ink=c.quiet)
        step = nice_step(most, 4)
        for k in range(int(most / step) + 1):
            painter.setPen(pen(c.line))
            painter.drawLine(QPointF(axis.left, y(k * step)), QPointF(axis.right, y(k * step)))
            letters.put(axis.left - 5, y(k * step) + 4, f"{k * step:g}", ink=c.quiet, align=RIGHT)
        band = [QPointF(axis.x(i), y(v)) for i, v in enumerate(row.low)]
        band += [QPointF(axis.x(i), y(v)) for i, v in reversed(list(enumerate(row.high)))]
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(unsure_ground())
        painter.drawPolygon(QPolygonF(band))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        self._line(painter, axis, y, row.mid, dashes(c.planned_edge, 2.0, 4, 2))
        if self.other is not None and self.other.mid is not None:
            self._line(painter, axis, y, self.other.mid, pen(c.ink, 2.0))
        self._line(painter, axis, y, row.limit[:days], pen(past_ink(), 1.5))
        letters.put(axis.right, y(float(row.limit[days - 1])) + 14, tr("limit"), ink=past_ink(),
                    align=RIGHT)  # fmt: skip
        for day in axis.mondays():
            whole = QRectF(axis.left, 0, axis.right - axis.left, 10)
            letters.put(
                axis.x(day), self.height() - 6, day_short(axis.date(day)), ink=c.quiet, inside=whole
            )

    @staticmethod
    def _line(painter: QPainter, axis: DayAxis, y: object, values: object, ink: object) -> None:
        assert callable(y)
        points = [QPointF(axis.x(i), y(float(v))) for i, v in enumerate(np.asarray(values))]
        painter.setPen(ink)  # type: ignore[arg-type]
        painter.drawPolyline(QPolygonF(points))
