"""Names on the map: small paper plates that never lie on each other.

Every block asks for a plate with its name and the days of easy water left.  Blocks that matter
most come first; each takes the place inside itself where a plate covers least of anything else.
Where no whole plate fits, a smaller one is tried; where none does, the name waits for a closer
look.  Places are found once for a zoom and only moved while the map is dragged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPainterPath

from desktop import theme

NAME_PX, DAYS_PX = 14, theme.SMALL
FRUIT_PX = 12.0
_PAD_X, _PAD_Y = 6.0, 2.0
_GAP = 5.0
_LEAST_INSIDE = {"tall": 0.80, "line": 0.60, "tight": 0.55, "name": 0.5, "small": 0.34}
"""Share of a plate that must lie on its own block, by kind."""


@dataclass(frozen=True)
class Wish:
    """One block that wants a plate.

    Attributes
    ----------
    path : QPainterPath
        The block [px].
    spots : sequence of QPointF
        Where the plate may stand; the first is the middle of the block [px].
    thick : float
        How thick the block is where it is thickest [px].
    rank : int
        Lower goes first.
    must : bool
        Draw it even where it covers others (the chosen block).
    """

    key: int
    name: str
    days: str
    fruit: bool
    path: QPainterPath
    spots: Sequence[QPointF]
    thick: float
    rank: int
    must: bool = False


@dataclass(frozen=True)
class Plate:
    """A plate that found its place [px]."""

    key: int
    kind: str
    box: QRectF
    name: str
    days: str
    fruit: bool

    def moved(self, dx: float, dy: float) -> Plate:
        """Return the plate somewhere else."""
        box = self.box.translated(dx, dy)
        return Plate(self.key, self.kind, box, self.name, self.days, self.fruit)


class Sizes:
    """How large plates come out in the fonts in use (asked once for a layout)."""

    def __init__(self) -> None:
        self.name = QFontMetricsF(theme.font(NAME_PX, bold=True))
        self.narrow = QFontMetricsF(theme.font(NAME_PX, bold=True, narrow=True))
        self.small = QFontMetricsF(theme.font(theme.SMALL, bold=True, narrow=True))
        self.days = QFontMetricsF(theme.font(DAYS_PX))

    def of(self, wish: Wish, kind: str) -> QSizeF:
        """Return the size of one kind of plate [px]."""
        fruit = FRUIT_PX + 3 if wish.fruit else 0.0
        days = self.days.horizontalAdvance(wish.days)
        if kind == "tall":
            wide = max(self.name.horizontalAdvance(wish.name) + fruit, days)
            return QSizeF(wide + 2 * _PAD_X, NAME_PX + DAYS_PX + 2 * _PAD_Y + 5)
        if kind == "line":
            wide = self.name.horizontalAdvance(wish.name) + fruit + _GAP + days
            return QSizeF(wide + 2 * _PAD_X, NAME_PX + 2 * _PAD_Y + 3)
        if kind == "tight":
            wide = self.narrow.horizontalAdvance(wish.name) + fruit + _GAP + days
            return QSizeF(wide + 2 * _PAD_X - 2, NAME_PX + 2 * _PAD_Y + 2)
        if kind == "name":
            wide = self.narrow.horizontalAdvance(wish.name) + fruit
            return QSizeF(wide + 2 * _PAD_X - 2, NAME_PX + 2 * _PAD_Y + 2)
        wide = self.small.horizontalAdvance(wish.name)
        return QSizeF(wide + 6, theme.SMALL + 4)


KINDS = ("tall", "line", "tight", "name", "small")


def place(wishes: Sequence[Wish]) -> list[Plate]:
    """Give every block the best plate there is room for."""
    sizes = Sizes()
    taken: list[QRectF] = []
    found = []
    for wish in sorted(wishes, key=lambda w: (not w.must, w.rank, w.key)):
        plate = _best(wish, sizes, taken)
        if plate is None and wish.must and wish.spots:
            plate = _at(wish, "line", sizes.of(wish, "line"), wish.spots[0])
        if plate is not None:
            found.append(plate)
            taken.append(plate.box.adjusted(-2, -2, 2, 2))
    return found


def _best(wish: Wish, sizes: Sizes, taken: Sequence[QRectF]) -> Plate | None:
    for kind in KINDS:
        size = sizes.of(wish, kind)
        # on a thin block a plate at one end leaves more of its colour in one piece
        to_the_end = 0.25 if wish.thick < 2.2 * size.height() else 0.0
        middle, reach = wish.spots[0], wish.path.boundingRect().width() / 2 + 1
        best, most = None, -1.0
        for spot in wish.spots:
            plate = _at(wish, kind, size, spot)
            if any(plate.box.intersects(other) for other in taken):
                continue
            share = _inside(plate.box, wish.path)
            worth = share + to_the_end * min(abs(spot.x() - middle.x()) / reach, 1.0)
            if share >= _LEAST_INSIDE[kind] and worth > most + 0.02:
                best, most = plate, worth
        if best is not None:
            return best
    return None


def _at(wish: Wish, kind: str, size: QSizeF, spot: QPointF) -> Plate:
    box = QRectF(
        round(spot.x() - size.width() / 2), round(spot.y() - size.height() / 2),
        round(size.width()), round(size.height()),
    )  # fmt: skip
    return Plate(wish.key, kind, box, wish.name, wish.days, wish.fruit)


def _inside(box: QRectF, path: QPainterPath) -> float:
    """Return which share of a box lies on the block, by 15 points."""
    if not path.boundingRect().intersects(box):
        return 0.0
    hits = 0
    for i in range(5):
        x = box.left() + box.width() * (0.04 + 0.23 * i)
        for j in range(3):
            hits += path.contains(QPointF(x, box.top() + box.height() * (0.06 + 0.44 * j)))
    return hits / 15


def paint(painter: QPainter, plate: Plate, chosen: bool = False) -> None:
    """Paint one plate."""
    colours = theme.colours()
    box = plate.box
    painter.setPen(QColor(colours.ink) if chosen else Qt.PenStyle.NoPen)
    painter.setBrush(QColor(colours.plate))
    edge = box.adjusted(0.5, 0.5, -0.5, -0.5) if chosen else box
    painter.drawRoundedRect(edge, 3, 3)
    painter.setPen(QColor(colours.ink))
    narrow = plate.kind in ("tight", "name", "small")
    px = theme.SMALL if plate.kind == "small" else NAME_PX
    font = theme.font(px, bold=True, narrow=narrow)
    metrics = QFontMetricsF(font)
    fruit = FRUIT_PX + 3 if plate.fruit and plate.kind != "small" else 0.0
    wide = metrics.horizontalAdvance(plate.name) + fruit
    days = QFontMetricsF(theme.font(DAYS_PX))
    painter.setFont(font)
    if plate.kind == "tall":
        left = box.center().x() - wide / 2
        base = box.top() + _PAD_Y + metrics.ascent() - 2
        under = box.bottom() - _PAD_Y - days.descent() + 1
        at = QPointF(box.center().x() - days.horizontalAdvance(plate.days) / 2, under)
    else:
        pad = {"small": 3.0, "line": _PAD_X}.get(plate.kind, _PAD_X - 1)
        left = box.left() + pad
        base = box.center().y() + (metrics.ascent() - metrics.descent()) / 2
        at = QPointF(box.right() - pad - days.horizontalAdvance(plate.days), base)
    if fruit:
        theme.paint_fruit(painter, QPointF(left + FRUIT_PX / 2, base - NAME_PX * 0.36), FRUIT_PX)
        painter.setPen(QColor(colours.ink))
    painter.drawText(QPointF(left + fruit, base), plate.name)
    if plate.kind in ("tall", "line", "tight"):
        painter.setFont(theme.font(DAYS_PX))
        painter.drawText(at, plate.days)
