"""Names on the map: small paper plates that never lie on each other.

Every block asks for a plate with its name and the days of easy water left.  Blocks that matter
most come first; each takes the place inside itself where a plate covers least of anything else.
Where no whole plate fits, a smaller one is tried; where none does, the name waits for a closer
look.  Places are found once for a zoom and only moved while the map is dragged.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter

from desktop import theme

Points = NDArray[np.float64]

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
    inside : callable
        Tells of points [px], shape (points, 2), which lie on the block.
    spots : ndarray, shape (spots, 2)
        Where the plate may stand; the first is the middle of the block [px].
    size : tuple of float
        Width and height of the block's box [px].
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
    inside: Callable[[Points], NDArray[np.bool_]]
    spots: Points
    size: tuple[float, float]
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
    """How large plates come out in the fonts in use; remembered, for texts seldom change."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str, bool, str], tuple[float, float]] = {}
        self.name = QFontMetricsF(theme.font(NAME_PX, bold=True))
        self.narrow = QFontMetricsF(theme.font(NAME_PX, bold=True, narrow=True))
        self.small = QFontMetricsF(theme.font(theme.SMALL, bold=True, narrow=True))
        self.days = QFontMetricsF(theme.font(DAYS_PX))

    def of(self, wish: Wish, kind: str) -> tuple[float, float]:
        """Return width and height of one kind of plate [px]."""
        key = (wish.name, wish.days, wish.fruit, kind)
        if key not in self._known:
            size = self._measure(wish, kind)
            self._known[key] = (size.width(), size.height())
        return self._known[key]

    def _measure(self, wish: Wish, kind: str) -> QSizeF:
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


_WITH_DAYS = ("tall", "line", "tight")
_TRIES = (
    ("tall", "line", "tight", "name", "small"), ("tall", "tight", "name", "small"),
    ("tight", "name", "small"),
)  # fmt: skip
"""Kinds of plates, largest first; smaller ones for all where that gives more blocks their days."""


_GRID = np.array([(x, y) for x in (-0.46, -0.23, 0.0, 0.23, 0.46) for y in (-0.44, 0.0, 0.44)])
"""Points of a plate that are looked at, in shares of its width and height."""
_NUDGES = np.array([(0.0, 0.0), (0.0, -7.0), (0.0, 7.0)])


Known = dict[tuple[int, str, float, float], tuple[Points, Points]]
"""Spots and shares inside worked out before, for one zoom and one set of outlines."""


def place(
    wishes: Sequence[Wish], known: Known | None = None, sizes: Sizes | None = None
) -> list[Plate]:
    """Give every block the best plate there is room for.

    Parameters
    ----------
    known : dict, optional
        Kept by the caller for as long as zoom and outlines stay.
    sizes : Sizes, optional
        Kept by the caller for as long as the fonts stay.
    """
    known = known if known is not None else {}
    sizes = sizes if sizes is not None else Sizes()
    best: list[Plate] = []
    for kinds in _TRIES:
        found = _lay(wishes, kinds, sizes, known)
        if not best or _score(found) > _score(best):
            best = found
        if sum(p.kind in _WITH_DAYS for p in found) == len(wishes):
            break
    return best


def _score(plates: Sequence[Plate]) -> int:
    return sum(4 if p.kind in _WITH_DAYS else (2 if p.kind == "name" else 1) for p in plates)


def _lay(
    wishes: Sequence[Wish], kinds: Sequence[str], sizes: Sizes, known: Known
) -> list[Plate]:  # fmt: skip
    taken = np.zeros((0, 4))
    found = []
    for wish in sorted(wishes, key=lambda w: (not w.must, w.rank, w.key)):
        plate = _best(wish, kinds, sizes, taken, known)
        if plate is None and wish.must and len(wish.spots):
            plate = _at(wish, "line", sizes.of(wish, "line"), wish.spots[0])
        if plate is not None:
            found.append(plate)
            box = plate.box
            taken = np.vstack([taken, [box.left(), box.top(), box.right(), box.bottom()]])
    return found


def _best(
    wish: Wish, kinds: Sequence[str], sizes: Sizes, taken: Points, known: Known
) -> Plate | None:  # fmt: skip
    room = wish.size[0] * wish.size[1]
    for kind in kinds:
        wide, high = sizes.of(wish, kind)
        if wide * high * _LEAST_INSIDE[kind] > room:
            continue
        key = (wish.key, kind, wide, high)
        if key not in known:
            known[key] = _worth(wish, kind, wide, high)
        away, worth = known[key]
        spots = wish.spots[0] + away
        worth = np.where(_hits(spots, wide, high, taken), -1.0, worth)
        best = int(worth.argmax())
        if worth[best] > 0:
            return _at(wish, kind, (wide, high), spots[best])
    return None


def _worth(wish: Wish, kind: str, wide: float, high: float) -> tuple[Points, Points]:
    """Return the spots, counted from the first, and what each is worth (-1: too little inside)."""
    spots = (wish.spots[:, None, :] + _NUDGES).reshape(-1, 2)
    points = spots[:, None, :] + _GRID * np.array([wide, high])
    share = wish.inside(points.reshape(-1, 2)).reshape(len(spots), -1).mean(axis=1)
    # on a thin block a plate at one end leaves more of its colour in one piece
    to_the_end = 0.25 if wish.thick < 2.2 * high else 0.0
    reach = np.abs(spots[:, 0] - wish.spots[0, 0]) / (wish.size[0] / 2 + 1)
    worth = np.asarray(share + to_the_end * np.minimum(reach, 1.0))
    worth[share < _LEAST_INSIDE[kind]] = -1.0
    return spots - wish.spots[0], worth


def _hits(spots: Points, wide: float, high: float, taken: Points) -> NDArray[np.bool_]:
    """Return at which spots a plate would come nearer than two pixels to another."""
    x, y = spots[:, :1], spots[:, 1:]
    left, top, right, bottom = taken.T
    return np.asarray(
        (
            (x - wide / 2 - 2 < right) & (x + wide / 2 + 2 > left)
            & (y - high / 2 - 2 < bottom) & (y + high / 2 + 2 > top)
        ).any(axis=1)
    )  # fmt: skip


def _at(wish: Wish, kind: str, size: tuple[float, float], spot: Points) -> Plate:
    wide, high = size
    box = QRectF(
        round(spot[0] - wide / 2), round(spot[1] - high / 2), round(wide), round(high)
    )  # fmt: skip
    return Plate(wish.key, kind, box, wish.name, wish.days, wish.fruit)


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
