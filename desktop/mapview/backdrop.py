"""What lies behind the live things: tiles of 512 pixels, painted ahead by one worker thread.

A tile holds the pictures below and, on farms with many blocks, the blocks too.  Tiles belong to
one zoom; after a step of the wheel the old ones are laid down scaled until the new ones are there,
and those are asked for only when the wheel has rested.  A changed block spoils only its own
corner of the tiles it lies on.  Below everything lies one small picture of the whole farm, so that
looking from further away shows no bare ground.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from PySide6.QtCore import QLineF, QObject, QPointF, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QColor, QImage, QPainter, QPen, QTransform

from desktop import theme
from desktop.mapview.camera import Bounds, Camera
from desktop.mapview.contours import Contours
from desktop.mapview.layers import Layer, Readers
from desktop.mapview.scene import Scene, paint_edges, paint_scene, rect_of
from desktop.mapview.workshop import Wish, Workshop

TILE = 512
SETTLE_MS = 55
"""New tiles are asked for that long after the last step of zooming."""
STILL_MS = 120
"""Names, and the picture of the whole farm, wait until the map has lain still that long."""
KEEP_BYTES = 96 * 1024 * 1024
OVERVIEW_PX = 1024
"""Longest side of the picture of the whole farm."""
REMEMBERED = 40
"""Changes remembered for tiles that were at work meanwhile."""
EDGE_PX = 3.0
"""Blocks reach that far over their outline."""

Key = tuple[float, float, int, int]
"""Scale, device pixels for a pixel, column, row."""
EVERYTHING: Bounds = (-math.inf, -math.inf, math.inf, math.inf)


@dataclass(frozen=True, eq=False)
class Plan:
    """What is to be painted; frozen, so that the thread may read it."""

    scene: Scene
    layers: tuple[Layer, ...]
    with_blocks: bool
    number: int = 0
    edges_only: bool = False


@dataclass
class Tile:
    """A painted piece, and which part of its ground has changed since (None: nothing)."""

    image: QImage
    stale: Bounds | None = None


@dataclass(frozen=True)
class Piece:
    """Where a picture lies: origin [px of the whole ground at this scale], scale, size [px]."""

    x: float
    y: float
    scale: float
    wide: int
    high: int
    dpr: float

    @property
    def bounds(self) -> Bounds:
        """Its ground [m]."""
        s = self.scale
        return self.x / s, -(self.y + self.high) / s, (self.x + self.wide) / s, -self.y / s

    @property
    def transform(self) -> QTransform:
        """From metres to its pixels."""
        return QTransform(self.scale, 0, 0, -self.scale, -self.x, -self.y)


def piece_of(key: Key) -> Piece:
    """Return where a tile lies."""
    scale, dpr, column, row = key
    return Piece(column * TILE, row * TILE, scale, TILE, TILE, dpr)


def paint_piece(
    plan: Plan, readers: Readers, piece: Piece, base: QImage | None, stale: Bounds | None
) -> QImage:
    """Paint one piece (in the worker thread).

    Parameters
    ----------
    base, stale : optional
        The piece as it was, and the part of its ground to paint anew.
    """
    size = QSize(round(piece.wide * piece.dpr), round(piece.high * piece.dpr))
    if base is not None and stale is not None and base.size() == size:
        image = base.copy()
    else:
        image, stale = QImage(size, QImage.Format.Format_RGB32), None
    image.setDevicePixelRatio(piece.dpr)
    transform, bounds = piece.transform, piece.bounds
    painter = QPainter(image)
    box = QRectF(0, 0, piece.wide, piece.high)
    if stale is not None:
        bounds = meeting(bounds, stale) or bounds
        box = QRectF(rect_of(bounds, transform).adjusted(-1, -1, 1, 1).toAlignedRect())
        painter.setClipRect(box)
        bounds = grown(bounds, (EDGE_PX + 1) / piece.scale)
    painter.fillRect(box, QColor(theme.colours().map))
    for layer in plan.layers:
        painter.setOpacity(layer.opacity)
        _paint_layer(painter, layer, readers, piece, bounds)
    painter.setOpacity(1.0)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    for layer in plan.layers:
        if layer.contours is not None:
            painter.setOpacity(max(layer.opacity, 0.35))
            paint_contours(painter, layer.contours, bounds, transform)
    painter.setOpacity(1.0)
    if plan.with_blocks:
        seen = grown(bounds, EDGE_PX / piece.scale)
        if plan.edges_only:
            paint_edges(painter, plan.scene, seen, transform)
        else:
            paint_scene(painter, plan.scene, seen, transform, piece.dpr)
    painter.end()
    return image


def _paint_layer(
    painter: QPainter, layer: Layer, readers: Readers, piece: Piece, bounds: Bounds
) -> None:
    """Paint the part of a layer inside a box of the ground."""
    fine = piece.scale * piece.dpr
    wide, high = (bounds[2] - bounds[0]) * fine, (bounds[3] - bounds[1]) * fine
    found = readers.read(layer, bounds, max(wide, 1), max(high, 1))
    if found is None:
        return
    image, ground = found
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    if layer.image is None:
        painter.drawImage(rect_of(ground, piece.transform), image)
        return
    shown = meeting(ground, bounds)
    if shown is not None:
        painter.drawImage(rect_of(shown, piece.transform), image, part_of(image, ground, shown))


def paint_contours(
    painter: QPainter, contours: Contours, bounds: Bounds, transform: QTransform
) -> None:
    """Paint the lines of equal height that meet a box of the ground."""
    colour = QColor(theme.colours().contour)
    west, south, east, north = bounds
    scale = np.array([transform.m11(), transform.m22()] * 2)
    move = np.array([transform.dx(), transform.dy()] * 2)
    for pieces, wide in ((contours.thin, 1.0), (contours.strong, 1.8)):
        x, y = pieces[:, [0, 2]], pieces[:, [1, 3]]
        near = (
            (x.max(axis=1) >= west) & (x.min(axis=1) <= east)
            & (y.max(axis=1) >= south) & (y.min(axis=1) <= north)
        )  # fmt: skip
        points = pieces[near] * scale + move
        painter.setPen(QPen(colour, wide, c=Qt.PenCapStyle.RoundCap))
        painter.drawLines([QLineF(*p) for p in points.tolist()])


def part_of(image: QImage, ground: Bounds, shown: Bounds) -> QRectF:
    """Return the pixels of a picture that show a part of its ground."""
    across, down = image.width() / (ground[2] - ground[0]), image.height() / (ground[3] - ground[1])
    return QRectF((shown[0] - ground[0]) * across, (ground[3] - shown[3]) * down,
                  (shown[2] - shown[0]) * across, (shown[3] - shown[1]) * down)  # fmt: skip


def meeting(a: Bounds, b: Bounds) -> Bounds | None:
    """Return what two boxes share."""
    west, south, east, north = max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])
    return (west, south, east, north) if west < east and south < north else None


def covers(a: Bounds, b: Bounds) -> bool:
    """Tell whether one box holds another."""
    return a[0] <= b[0] and a[1] <= b[1] and a[2] >= b[2] and a[3] >= b[3]


def grown(a: Bounds, by: float) -> Bounds:
    """Return a box with a margin [m]."""
    return a[0] - by, a[1] - by, a[2] + by, a[3] + by


def around(a: Bounds | None, b: Bounds | None) -> Bounds | None:
    """Return the box round two boxes."""
    if a is None or b is None:
        return a or b
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


@dataclass
class _Changes:
    """What changed lately, for tiles that were at work at the time."""

    known: list[tuple[int, Bounds]] = field(default_factory=list)
    forgotten: int = 0

    def note(self, number: int, bounds: Bounds) -> None:
        self.known.append((number, bounds))
        while len(self.known) > REMEMBERED:
            self.forgotten = self.known.pop(0)[0]

    def since(self, number: int, ground: Bounds) -> Bounds | None:
        if number < self.forgotten:
            return EVERYTHING
        found = None
        for when, bounds in self.known:
            if when > number and meeting(bounds, ground) is not None:
                found = around(found, bounds)
        return found


class Backdrop(QObject):
    """The tiles of one map.

    Signals
    -------
    changed()
        Something new can be laid down.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.plan = Plan(Scene(), (), False)
        self.shop = Workshop(self)
        self.shop.done.connect(self._done)
        self.aside = Workshop(self)
        self.aside.done.connect(self._done)
        self.camera = Camera()
        self.dpr = 1.0
        self.edges_only = False
        self.extra: Callable[[], Sequence[Wish]] = tuple
        self._readers, self._readers_aside = Readers(), Readers()
        self._tiles: OrderedDict[Key, Tile] = OrderedDict()
        self._changes = _Changes()
        self._whole: tuple[Piece, Tile] | None = None
        self._complete: float | None = None
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(SETTLE_MS)
        self._rest.timeout.connect(self._ask)
        self._still = QTimer(self)
        self._still.setSingleShot(True)
        self._still.setInterval(STILL_MS)
        self._still.timeout.connect(self._ask_aside)

    @property
    def active(self) -> bool:
        """True where anything is painted ahead."""
        return bool(self.plan.layers) or self.plan.with_blocks

    @property
    def resting(self) -> bool:
        """True unless the zoom was changed a moment ago."""
        return not self._rest.isActive()

    # -- what is shown ----------------------------------------------------------------------

    def show(
        self, scene: Scene, layers: Sequence[Layer], with_blocks: bool,
        changed: Bounds | None = EVERYTHING,
    ) -> None:  # fmt: skip
        """Paint this from now on; ``changed`` is the ground that looks different [m]."""
        number = self.plan.number + 1
        self.plan = Plan(scene, tuple(layers), with_blocks, number, self.edges_only)
        if changed is not None:
            self._changes.note(number, changed)
            for key, tile in self._tiles.items():
                ground = grown(piece_of(key).bounds, EDGE_PX / key[0])
                if meeting(changed, ground) is not None:
                    tile.stale = around(tile.stale, grown(changed, EDGE_PX / key[0]))
            if self._whole is not None:
                self._whole[1].stale = around(self._whole[1].stale, changed)
        if not self.active:
            self._tiles.clear()
            self._whole = self._complete = None
        self._ask()

    def forget(self) -> None:
        """Throw every tile away (the colours, or how blocks are painted, have changed)."""
        self._tiles.clear()
        self._whole = self._complete = None
        self.show(self.plan.scene, self.plan.layers, self.plan.with_blocks)

    def look(self, camera: Camera, dpr: float) -> None:
        """Look from here: a move asks for tiles at once, a change of zoom after a rest."""
        zoomed = camera.scale != self.camera.scale or dpr != self.dpr
        self.camera, self.dpr = camera, dpr
        if not self.active:
            return
        self.aside.want([])
        self._still.start()
        if zoomed:
            self.shop.want([])
            self._rest.start()
        elif self.resting:
            self._ask()

    def crisp(self) -> bool:
        """True where every tile in sight is there and up to date."""
        tiles = [self._tiles.get(key) for key in self._in_sight()] if self.active else []
        return all(tile is not None and tile.stale is None for tile in tiles)

    @property
    def idle(self) -> bool:
        """True where nothing is being painted or about to be asked for."""
        timers = self._rest.isActive() or self._still.isActive()
        return self.shop.idle and self.aside.idle and not timers

    def stop(self) -> None:
        """End the painting threads."""
        self._rest.stop()
        self._still.stop()
        self.shop.stop()
        self.aside.stop()

    # -- asking -----------------------------------------------------------------------------

    def _in_sight(self, around_px: float = 0.0) -> list[Key]:
        camera = self.camera
        x = camera.x * camera.scale - camera.width / 2
        y = -camera.y * camera.scale - camera.height / 2
        columns = range(math.floor((x - around_px) / TILE),
                        math.floor((x + camera.width + around_px) / TILE) + 1)  # fmt: skip
        rows = range(math.floor((y - around_px) / TILE),
                     math.floor((y + camera.height + around_px) / TILE) + 1)  # fmt: skip
        middle = (x + camera.width / 2) / TILE - 0.5, (y + camera.height / 2) / TILE - 0.5
        found = [(camera.scale, self.dpr, c, r) for c in columns for r in rows]
        return sorted(found, key=lambda k: math.hypot(k[2] - middle[0], k[3] - middle[1]))

    def _ask(self) -> None:
        if not self.resting:
            return
        wishes: list[Wish] = []
        if self.active:
            from desktop.mapview.warmth import warm_up

            warm_up()
            seen = self._in_sight()
            wishes += self._wishes(seen)
            known = set(seen)
            wishes += self._wishes([k for k in self._in_sight(TILE / 2) if k not in known])
        self.shop.want(wishes)
        self._still.start()

    def _ask_aside(self) -> None:
        """Ask for what may come later, in a thread of its own, once no tile waits for the lock."""
        if not (self.crisp() or self.shop.idle):
            self._still.start()
            return
        self.aside.want([*self.extra(), *self._overview()] if self.active else [])

    def _wishes(self, keys: Sequence[Key]) -> list[Wish]:
        wishes: list[Wish] = []
        plan = self.plan
        for key in keys:
            tile = self._tiles.get(key)
            if tile is not None and tile.stale is None:
                continue
            base = tile.image if tile is not None else None
            stale = tile.stale if tile is not None else None
            work = partial(paint_piece, plan, self._readers, piece_of(key), base, stale)
            wishes.append((("tile", plan.number, key), work))
        return wishes

    def _overview(self) -> list[Wish]:
        bounds = self.plan.scene.bounds if self.plan.with_blocks else None
        for layer in self.plan.layers:
            bounds = around(bounds, layer.bounds)
        if bounds is None:
            return []
        west, south, east, north = bounds
        scale = OVERVIEW_PX / max(east - west, north - south, 1.0)
        wide, high = math.ceil((east - west) * scale), math.ceil((north - south) * scale)
        piece = Piece(west * scale, -north * scale, scale, max(wide, 1), max(high, 1), 1.0)
        base = stale = None
        if self._whole is not None and self._whole[0] == piece:
            if self._whole[1].stale is None:
                return []
            base, stale = self._whole[1].image, self._whole[1].stale
        work = partial(paint_piece, self.plan, self._readers_aside, piece, base, stale)
        return [(("whole", self.plan.number, piece), work)]

    def _done(self, key: object, result: object) -> None:
        assert isinstance(key, tuple)
        if not isinstance(result, QImage) or not self.active:
            return
        kind, number, which = key
        if kind not in ("tile", "whole"):
            return
        if kind == "whole":
            self._whole = which, Tile(result, self._changes.since(number, which.bounds))
        else:
            ground = piece_of(which).bounds
            stale = self._changes.since(number, grown(ground, EDGE_PX / which[0]))
            self._tiles[which] = Tile(result, stale)
            self._tiles.move_to_end(which)
            self._let_go()
            if stale is not None:
                self._ask()
        self.changed.emit()

    def _let_go(self) -> None:
        seen = set(self._in_sight())
        room = KEEP_BYTES - sum(t.image.sizeInBytes() for t in self._tiles.values())
        for key in list(self._tiles):
            if room >= 0:
                return
            if key in seen or (key[0] == self._complete and len(self._tiles) < 2 * len(seen)):
                continue
            room += self._tiles.pop(key).image.sizeInBytes()

    # -- laying down ------------------------------------------------------------------------

    def paint(self, painter: QPainter) -> None:
        """Lay down what there is for this view."""
        if not self.active:
            return
        camera, dpr = self.camera, self.dpr
        seen = self._in_sight()
        there = [key for key in seen if key in self._tiles]
        if len(there) == len(seen):
            self._complete = camera.scale
        else:
            self._paint_old(painter)
        x = round((camera.x * camera.scale - camera.width / 2) * dpr) / dpr
        y = round((-camera.y * camera.scale - camera.height / 2) * dpr) / dpr
        for key in there:
            spot = QPointF(key[2] * TILE - x, key[3] * TILE - y)
            painter.drawImage(spot, self._tiles[key].image)
            self._tiles.move_to_end(key)

    def _paint_old(self, painter: QPainter) -> None:
        """Lay down the whole farm, then the last tiles that filled the view, both scaled."""
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, False)
        covered = False
        old = self._complete
        view = self.camera.bounds
        pieces = []
        if old is not None and old != self.camera.scale:
            pieces = [(piece_of(k), t.image) for k, t in self._tiles.items()
                      if k[0] == old and meeting(piece_of(k).bounds, view) is not None]  # fmt: skip
            room = sum(_area(meeting(p.bounds, view)) for p, _ in pieces)
            covered = room >= 0.999 * _area(view)
        if not covered and self._whole is not None:
            self._lay(painter, self._whole[0].bounds, self._whole[1].image, view)
        for piece, image in pieces:
            self._lay(painter, piece.bounds, image, view)

    def _lay(self, painter: QPainter, bounds: Bounds, image: QImage, view: Bounds) -> None:
        """Lay down the part of a picture that is in sight, scaled."""
        shown = meeting(bounds, view)
        if shown is None:
            return
        painter.drawImage(self.camera.box(shown), image, part_of(image, bounds, shown))


def _area(bounds: Bounds | None) -> float:
    return (bounds[2] - bounds[0]) * (bounds[3] - bounds[1]) if bounds is not None else 0.0
