"""Where everything in the week stands: columns, rows, and which cell lies under a pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QFontMetricsF

from desktop import theme
from desktop.models.week import BACK, WeekTable
from desktop.wording import tr, word
from waterbudget.orchard import ALL_STAGES
from waterbudget.plan import WEEK

Area = Literal["body", "rain", "heat", "head", "foot", "none"]
Part = Literal["name", "stage", "bar", "day", "sum", "none"]

DAYS = BACK + WEEK
LINE_H, LOW_LINE_H, LOW = 19.0, 18.0, 540.0
"""Height of a line of head and foot, and in a window lower than ``LOW`` [px]."""
ROW_LEAST, ROW_MOST = 19.0, 28.0
BAR_W, BAR_H = 36.0, 12.0
_SIDE = 12.0
_DAY_MOST = 76.0
_NAME_GAP = 14.0


@dataclass(frozen=True)
class Spot:
    """A cell: ``row`` counts blocks, ``day`` counts columns from three days back."""

    area: Area
    part: Part = "none"
    row: int = -1
    day: int = -1


@dataclass(frozen=True)
class Layout:
    """The week laid out on a widget of a certain size.

    Attributes
    ----------
    edges : tuple of float
        Left edge of name, stage, bar, the ten days and the sum, then the right edge [px].
    head_rows : tuple of str
        ``day``, ``et0``, ``heat``, ``rain``.
    """

    width: float
    height: float
    edges: tuple[float, ...]
    row_h: float
    rows: int
    foot_rows: int
    scroll: float = 0.0
    line_h: float = LINE_H

    head_rows = ("day", "et0", "heat", "rain")

    @property
    def head_h(self) -> float:
        """Height of the head [px]."""
        return self.line_h * len(self.head_rows) + 5

    @property
    def foot_h(self) -> float:
        """Height of the foot [px]."""
        return self.line_h * self.foot_rows + 4

    @property
    def foot_top(self) -> float:
        """Where the foot begins: right below the last row where all rows fit."""
        rows = max(self.rows, 2)  # room for a word where there is no block
        return min(self.height - self.foot_h, self.head_h + rows * self.row_h + 1)

    @property
    def body(self) -> QRectF:
        """The part that scrolls."""
        return QRectF(0, self.head_h, self.width, max(self.foot_top - self.head_h, 0))

    @property
    def content_h(self) -> float:
        """Height of all rows [px]."""
        return self.rows * self.row_h

    def column(self, k: int) -> tuple[float, float]:
        """Return left edge and width of a column: 0 name, 1 stage, 2 bar, 3 to 12 days, 13 sum."""
        return self.edges[k], self.edges[k + 1] - self.edges[k]

    def row_top(self, row: int) -> float:
        """Return the top of a block's row [px]."""
        return self.head_h + row * self.row_h - self.scroll

    def box(self, spot: Spot) -> QRectF:
        """Return the pixels of a cell."""
        k = {"name": 0, "stage": 1, "bar": 2, "sum": 3 + DAYS}.get(spot.part, 3 + spot.day)
        left, wide = self.column(k)
        if spot.area == "body":
            return QRectF(left, self.row_top(spot.row), wide, self.row_h)
        if spot.area == "foot":
            return QRectF(left, self.foot_top + 3 + spot.row * self.line_h, wide, self.line_h)
        at = self.head_rows.index(spot.area) if spot.area in self.head_rows else spot.row
        return QRectF(left, at * self.line_h, wide, self.line_h)

    def hit(self, at: QPointF) -> Spot:
        """Return the cell under a pixel."""
        k = next((i for i in range(len(self.edges) - 1) if at.x() < self.edges[i + 1]), -1)
        if k < 0 or at.x() < self.edges[0] - _SIDE:
            return Spot("none")
        part: Part = ("name", "stage", "bar")[k] if k < 3 else ("day" if k < 3 + DAYS else "sum")  # type: ignore[assignment]
        day = k - 3 if part == "day" else -1
        if at.y() < self.head_h:
            row = min(int(at.y() // self.line_h), len(self.head_rows) - 1)
            name = self.head_rows[row]
            return Spot(name if name in ("rain", "heat") else "head", part, row, day)  # type: ignore[arg-type]
        if at.y() >= self.foot_top:
            return Spot("foot", part, int((at.y() - self.foot_top - 3) // self.line_h), day)
        row = int((at.y() - self.head_h + self.scroll) // self.row_h)
        return Spot("body", part, row, day) if 0 <= row < self.rows else Spot("none")


def foot_rows(table: WeekTable) -> int:
    """Return how many rows the foot has: one more where a day is over the pump."""
    return 3 if table.over_pump else 2


def lay_out(table: WeekTable, width: float, height: float, scroll: float = 0.0) -> Layout:
    """Lay a week out; rows shrink a little before they scroll."""
    body = QFontMetricsF(theme.font())
    bold = QFontMetricsF(theme.font(bold=True))
    names = [(bold if r.standing.in_fill else body).horizontalAdvance(r.name) for r in table.rows]
    unpruned = any("pruned_on" in r.missing for r in table.rows)
    widths = _widths(width, names, _stage_width(bold, unpruned))
    if widths[0] < max([*names, 60.0]) + _NAME_GAP:  # the stages give way first
        narrow = QFontMetricsF(theme.font(bold=True, narrow=True))
        widths = _widths(width, names, _stage_width(narrow, unpruned))
    edges = [_SIDE]
    for wide in widths:
        edges.append(edges[-1] + wide)
    foot = foot_rows(table)
    line = LOW_LINE_H if height < LOW else LINE_H
    plain = Layout(width, height, tuple(edges), ROW_LEAST, len(table.rows), foot, line_h=line)
    room = height - plain.head_h - plain.foot_h
    row_h = min(max(room / max(len(table.rows), 1), ROW_LEAST), ROW_MOST)
    row_h = float(int(row_h))
    most = max(len(table.rows) * row_h - max(room, 0.0), 0.0)
    return replace(plain, row_h=row_h, scroll=min(scroll, most))


def _stage_width(metrics: QFontMetricsF, unpruned: bool) -> float:
    words = [word(f"stage.{s}") for s in ALL_STAGES]
    return max(map(metrics.horizontalAdvance, [*words, *[tr("not pruned?")] * unpruned])) + 12


def _widths(width: float, names: Sequence[float], stage: float) -> list[float]:
    """Return the width of every column; what is left over goes to names, days and sum."""
    bar_words = QFontMetricsF(theme.font())
    longest = max(
        bar_words.horizontalAdvance(tr("today", "easy water lasts no longer than today")),
        bar_words.horizontalAdvance(tr("past", "block past its easy water")),
    )  # fmt: skip
    bar = BAR_W + 6 + longest + 8
    back, ahead, total = 40.0, 44.0, 56.0
    wanted_name = min(max([*names, 60.0]) + _NAME_GAP, 240.0)
    name = 84.0
    extra = width - _SIDE - 8 - (name + stage + bar + BACK * back + WEEK * ahead + total)
    if extra > 0:
        more = min(extra, max(wanted_name - name, 0.0))
        name += more
        extra -= more
        each = min(extra * 0.85 / DAYS, _DAY_MOST - ahead)
        back, ahead = back + each, ahead + each
        extra -= each * DAYS
        total += min(extra, 20.0)
        name += max(extra - 20.0, 0.0)
    elif extra < 0:  # names give way first, then the days
        name = max(name + extra, 64.0)
        short = name + stage + bar + BACK * back + WEEK * ahead + total + _SIDE + 8 - width
        each = min(max(short / DAYS, 0.0), 5.0)
        back, ahead = back - each, ahead - each
    return [name, stage, bar, *([back] * BACK), *([ahead] * WEEK), total]
