"""All blocks as the painter of tiles needs them: a frozen snapshot, and how a piece is painted.

Everything here may run outside the GUI thread.  One ``drawPolygon`` for a block: drawing paths
would keep Python's lock, and the window would wait for the painter.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QImage, QPainter, QPen, QTransform
from shapely.geometry.base import BaseGeometry

from desktop import theme
from desktop.mapview.camera import Bounds
from desktop.mapview.looks import EDGE_PX, GAP_PX, INK_PX, WHOLE_PX, swatch
from desktop.mapview.overlay import MapBlock
from desktop.mapview.shapes import Shape, keyhole, make_ready, rings_of
from desktop.models.standing import Look

SMOOTH_PX = 12.0
"""Blocks smaller than this on the screen are painted without smoothing their edges."""
HATCH_PX = 8.0
"""Blocks smaller than one step of a hatch are filled with its mean colour instead."""
TINY_PX = 5.5
"""Blocks smaller than this are painted as little boxes: nobody sees their shape."""
TRUE_INSET_PX = 24.0
"""Blocks at least this thick get the outline of fruit fill at its true distance from the edge."""
_LOOKS = tuple(Look)
_NUMBER = {look: k for k, look in enumerate(_LOOKS)}


def code_of(look: Look, in_fill: bool) -> int:
    """Return the place in the order of painting: fruit fill last, so its outline stays whole."""
    return _NUMBER[look] + (len(_LOOKS) if in_fill else 0)


@dataclass(frozen=True, eq=False)
class Scene:
    """Every block with an outline.

    Attributes
    ----------
    ids : tuple of int
    shapes : tuple of Shape
    codes : ndarray of int, shape (blocks,)
        See :func:`code_of`.
    boxes : ndarray, shape (blocks, 4)
        West, south, east, north [m].
    """

    ids: tuple[int, ...] = ()
    shapes: tuple[Shape, ...] = ()
    codes: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    boxes: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 4)))

    @classmethod
    def of(cls, ids: Sequence[int], shapes: Sequence[Shape], codes: Sequence[int]) -> Scene:
        """Put a scene together."""
        if not shapes:
            return cls()
        boxes = np.array([s.bounds for s in shapes])
        return cls(tuple(ids), tuple(shapes), np.array(codes, np.int64), boxes)

    @cached_property
    def tree(self) -> shapely.STRtree:
        """Finds the block under a point."""
        return shapely.STRtree([s.outline for s in self.shapes])

    @cached_property
    def bounds(self) -> Bounds | None:
        """The box of all blocks [m]."""
        return _around(self.boxes)

    @cached_property
    def corners(self) -> int:
        """How many corners all outlines have."""
        if not self.shapes:
            return 0
        outlines = np.array([s.outline for s in self.shapes], dtype=object)
        return int(shapely.get_num_coordinates(outlines).sum())

    @cached_property
    def _row_of(self) -> dict[int, int]:
        return {block: row for row, block in enumerate(self.ids)}

    def shape(self, block_id: int) -> Shape | None:
        """Return a block's shape."""
        row = self._row_of.get(block_id)
        return None if row is None else self.shapes[row]

    def at(self, x: float, y: float) -> int | None:
        """Return the block on a point of the ground [m], the last laid down of several."""
        if not self.ids:
            return None
        found = self.tree.query(shapely.Point(x, y), predicate="intersects")
        return self.ids[int(found.max())] if len(found) else None

    def changed(self, blocks: Sequence[MapBlock]) -> tuple[Scene, Bounds | None]:
        """Return the scene with these blocks instead, and the ground that looks different [m].

        What is the same is taken over, so that one edit among thousands costs little.
        """
        ids = tuple(b.id for b in blocks)
        codes = [code_of(b.standing.look, b.standing.in_fill) for b in blocks]
        rows, alike = self._row_of, ids == self.ids
        was = self.codes.tolist()
        shapes: list[Shape] = []
        fresh: list[int] = []
        grounds: list[Bounds] = []
        for k, block in enumerate(blocks):
            row = k if alike else rows.get(block.id)
            old = self.shapes[row] if row is not None else None
            assert block.outline is not None
            if old is not None and _same(old.outline, block.outline):
                shapes.append(old)
                if row is not None and was[row] != codes[k]:
                    grounds.append(old.bounds)
                continue
            shapes.append(Shape(block.outline))
            fresh.append(k)
            grounds += [shapes[k].bounds, *([old.bounds] if old is not None else [])]
        if alike and not fresh:
            made = Scene(ids, self.shapes, np.array(codes, np.int64), self.boxes)
            made.__dict__.update({n: v for n, v in self.__dict__.items() if n in _OF_THE_SHAPES})
        else:
            gone = () if alike else set(self.ids).difference(ids)
            grounds += [self.shapes[rows[block_id]].bounds for block_id in gone]
            if alike:
                made = Scene(
                    ids, tuple(shapes), np.array(codes, np.int64), self._boxes_with(shapes, fresh)
                )
            else:
                made = Scene.of(ids, shapes, codes)
        return made, _around(grounds)

    def _boxes_with(self, shapes: Sequence[Shape], fresh: Sequence[int]) -> NDArray[np.float64]:
        boxes = self.boxes.copy()
        for k in fresh:
            boxes[k] = shapes[k].bounds
        return boxes

    def inside(self, bounds: Bounds) -> NDArray[np.intp]:
        """Return the rows whose box meets a box of the ground, in the order of painting."""
        west, south, east, north = bounds
        b = self.boxes
        met = (b[:, 0] <= east) & (b[:, 2] >= west) & (b[:, 1] <= north) & (b[:, 3] >= south)
        rows = np.flatnonzero(met)
        return rows[np.argsort(self.codes[rows], kind="stable")]


_OF_THE_SHAPES = ("tree", "bounds", "corners", "_row_of")


def _same(a: BaseGeometry, b: BaseGeometry) -> bool:
    return a is b or bool(shapely.equals_exact(a, b))


def _around(grounds: Sequence[Bounds] | NDArray[np.float64]) -> Bounds | None:
    if not len(grounds):
        return None
    boxes = np.array(grounds)
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def paint_scene(
    painter: QPainter, scene: Scene, bounds: Bounds, transform: QTransform, dpr: float
) -> None:
    """Paint the blocks that meet a box of the ground.

    Parameters
    ----------
    transform : QTransform
        From metres to the painter's pixels.
    dpr : float
        Device pixels for one pixel.
    """
    rows = scene.inside(bounds)
    codes = scene.codes[rows]
    pen = QPen(QColor(theme.colours().edge), 1.0)
    pen.setCosmetic(True)
    ink = QPen(QColor(theme.colours().ink), 1.0)
    ink.setCosmetic(True)
    boxes = scene.boxes[rows]
    size = np.maximum(boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]) * transform.m11()
    grade = (size >= HATCH_PX).astype(int) + (size >= SMOOTH_PX) - (size < TINY_PX)
    make_ready([scene.shapes[k] for k in rows[grade >= 0]])
    n = len(_LOOKS)
    for code in np.unique(codes):
        look = _LOOKS[code % n]
        for step in (-1, 0, 1, 2):
            these = (codes == code) & (grade == step)
            if not these.any():
                continue
            if step < 0:
                _paint_tiny(painter, boxes[these], transform, look, code >= n)
                continue
            shapes = [scene.shapes[k] for k in rows[these]]
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, step == 2)
            if not step:  # an edge would cover a tiny block: only fruit fill has one
                rim = ink if code >= n else QPen(Qt.PenStyle.NoPen)
                _paint_plain(painter, shapes, transform, rim, _mean_brush(look))
                continue
            brushes = theme.brushes(swatch(look), dpr)
            if code >= n:
                _paint_fruit_fill(painter, shapes, transform, brushes)
            elif swatch(look).hatch is None:
                _paint_plain(painter, shapes, transform, pen, brushes[0])
            else:
                _paint_hatched(painter, shapes, transform, pen, brushes)


def _paint_tiny(
    painter: QPainter, boxes: NDArray[np.float64], transform: QTransform, look: Look, fill: bool
) -> None:
    """Paint blocks of a few pixels, given by their boxes on the ground [m], all at once."""
    inset = 0.08 * (boxes[:, 2:] - boxes[:, :2])
    west, south = (boxes[:, :2] + inset).T
    east, north = (boxes[:, 2:] - inset).T
    x, y = west * transform.m11() + transform.dx(), north * transform.m22() + transform.dy()
    wide, high = (east - west) * transform.m11(), (south - north) * transform.m22()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setPen(QPen(QColor(theme.colours().ink), 1.0) if fill else Qt.PenStyle.NoPen)
    painter.setBrush(_mean_brush(look))
    painter.drawRects([QRectF(*b) for b in np.column_stack([x, y, wide, high]).tolist()])


def paint_edges(painter: QPainter, scene: Scene, bounds: Bounds, transform: QTransform) -> None:
    """Paint only the edges of the blocks that meet a box of the ground, over what lies below.

    Parameters
    ----------
    transform : QTransform
        From metres to the painter's pixels.
    """
    rows = scene.inside(bounds)
    make_ready([scene.shapes[k] for k in rows])
    in_fill = scene.codes[rows] >= len(_LOOKS)
    colours = theme.colours()
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setTransform(transform)
    for fill in (False, True):
        rings = [ring for k in rows[in_fill == fill] for ring in scene.shapes[k].rings]
        for colour, more in ((colours.paper, 3.0), (colours.ink, 0.0)):
            pen = QPen(QBrush(QColor(colour)), EDGE_PX[fill] + more, j=Qt.PenJoinStyle.RoundJoin)
            pen.setCosmetic(True)
            painter.setPen(pen)
            for ring in rings:
                painter.drawPolygon(ring)
    painter.resetTransform()


def _mean_brush(look: Look) -> QBrush:
    """Return one colour in the place of a hatch."""
    made = QImage(32, 32, QImage.Format.Format_RGB32)
    made.fill(QColor(theme.colours().map))
    painter = QPainter(made)
    for brush in theme.brushes(swatch(look)):
        painter.fillRect(0, 0, 32, 32, brush)
    painter.end()
    pixels = np.frombuffer(made.constBits(), np.uint8).reshape(32, 32, 4)
    blue, green, red, _ = (int(v) for v in pixels.mean(axis=(0, 1)))
    return QBrush(QColor(red, green, blue))


def _paint_plain(
    painter: QPainter, shapes: Iterable[Shape], transform: QTransform, pen: QPen, brush: QBrush
) -> None:
    painter.setTransform(transform)
    painter.setPen(pen)
    painter.setBrush(brush)
    draw = painter.drawPolygon
    for shape in shapes:
        if shape.whole is not None:
            draw(shape.whole)
        else:
            _paint_parts(painter, shape, pen, brush)
    painter.resetTransform()


def _paint_parts(painter: QPainter, shape: Shape, pen: QPen, brush: QBrush) -> None:
    """Paint a shape of several rings: filled with the holes left open, then its edges."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(brush)
    for part in shape.keyholes:
        painter.drawPolygon(part)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(pen)
    for ring in shape.rings:
        painter.drawPolygon(ring)
    painter.setBrush(brush)


def _paint_hatched(
    painter: QPainter, shapes: Iterable[Shape], transform: QTransform, pen: QPen,
    brushes: Sequence[QBrush],
) -> None:  # fmt: skip
    painter.resetTransform()  # a hatch must not be stretched with the ground
    for shape in shapes:
        painter.setPen(Qt.PenStyle.NoPen)
        for brush in brushes:
            painter.setBrush(brush)
            for part in shape.keyholes:
                painter.drawPolygon(transform.map(part))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(pen)
        for ring in shape.rings:
            painter.drawPolygon(transform.map(ring))


def _paint_fruit_fill(
    painter: QPainter, shapes: Sequence[Shape], transform: QTransform, brushes: Sequence[QBrush]
) -> None:
    colours = theme.colours()
    ink, paper = QBrush(QColor(colours.ink)), QBrush(QColor(colours.paper))
    ground = QBrush(QColor(colours.map))
    hatched = any(b.style() == Qt.BrushStyle.TexturePattern for b in brushes)
    inner = [ground, *brushes] if hatched and len(brushes) == 1 else brushes
    scale = transform.m11()
    painter.setPen(Qt.PenStyle.NoPen)
    rims = ((INK_PX, [paper]), (INK_PX + GAP_PX, inner))
    true = [s for s in shapes if s.rough_thick * scale >= TRUE_INSET_PX]
    for shape in shapes:
        thick = shape.rough_thick * scale
        if thick >= TRUE_INSET_PX or shape.whole is None:
            continue
        share = min(max(thick / WHOLE_PX, 0.3), 1.0)
        x, y = shape.middle
        painter.setTransform(transform)
        painter.setBrush(ink)
        painter.drawPolygon(shape.whole)
        for away, laid in rims if GAP_PX * share >= 1 else ((INK_PX + 1, inner),):
            k = max(1.0 - 2 * away * share / max(thick, 1.0), 0.15)
            nearer = QTransform(k, 0, 0, k, x * (1 - k), y * (1 - k)) * transform
            if len(laid) == 1 and not hatched:
                painter.setTransform(nearer)
                painter.setBrush(laid[0])
                painter.drawPolygon(shape.whole)
                continue
            painter.resetTransform()
            small = nearer.map(shape.whole)
            for brush in laid:
                painter.setBrush(brush)
                painter.drawPolygon(small)
    true += [s for s in shapes if s.whole is None and s not in true]
    painter.resetTransform()
    if true:
        _paint_true_insets(painter, true, transform, ink, paper, inner)


def _paint_true_insets(
    painter: QPainter, shapes: Sequence[Shape], transform: QTransform, ink: QBrush,
    paper: QBrush, inner: Sequence[QBrush],
) -> None:  # fmt: skip
    scale = transform.m11()
    outlines = np.array([s.outline for s in shapes], dtype=object)
    if shapely.get_num_coordinates(outlines).max() > 60:
        outlines = shapely.simplify(outlines, 0.2 / scale)
    share = np.clip([s.rough_thick * scale / WHOLE_PX for s in shapes], 0.3, 1.0)
    near = shapely.buffer(outlines, -INK_PX * share / scale, join_style="mitre")
    far = shapely.buffer(outlines, -(INK_PX + GAP_PX) * share / scale, join_style="mitre")
    for shape, first, second in zip(shapes, near, far, strict=True):
        painter.setBrush(ink)
        for part in shape.keyholes:
            painter.drawPolygon(transform.map(part))
        for outline, laid in ((first, [paper]), (second, inner)):
            parts = [transform.map(keyhole(rings)) for rings in rings_of(outline)]
            for brush in laid:
                painter.setBrush(brush)
                for part in parts:
                    painter.drawPolygon(part)


def rect_of(bounds: Bounds, transform: QTransform) -> QRectF:
    """Return the pixels a box of the ground takes."""
    west, south, east, north = bounds
    return QRectF(transform.map(QPointF(west, north)), transform.map(QPointF(east, south)))
