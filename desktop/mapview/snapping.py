"""Corners and edges of the blocks pull the pointer, so that neighbours can share an edge.

A corner pulls before an edge does; Alt holds both off.  What was caught is shown: a ring for a
corner, a lozenge for an edge.
"""

from __future__ import annotations

import weakref
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF
from shapely.geometry import Point

from desktop import theme
from desktop.wording import tr
from waterbudget.outlines import bench

if TYPE_CHECKING:
    from desktop.mapview.canvas import MapCanvas
    from desktop.mapview.overlay import MapBlock

SNAP_PX = 10.0
"""How near the pointer must come."""
MARK_PX = 9.0


@dataclass(frozen=True)
class Snap:
    """What the pointer was pulled to.

    Attributes
    ----------
    at : tuple of float
        [m].
    kind : str
        ``"corner"`` or ``"edge"``.
    block : MapBlock
    """

    at: tuple[float, float]
    kind: str
    block: MapBlock

    def words(self) -> str:
        """Return where it is."""
        if self.kind == "corner":
            return tr("On a corner of {0}.").format(self.block.name)
        return tr("On the edge of {0}.").format(self.block.name)


@dataclass
class _Known:
    blocks: tuple[MapBlock, ...]
    there: list[MapBlock]
    catcher: bench.Catcher
    rows: dict[int, int]


_KNOWN: weakref.WeakKeyDictionary[MapCanvas, _Known] = weakref.WeakKeyDictionary()


def _known(canvas: MapCanvas) -> _Known:
    """Return the blocks with an outline, made ready once for as long as the outlines stay."""
    kept = _KNOWN.get(canvas)
    if kept is None or kept.blocks is not canvas.blocks:
        there = [b for b in canvas.blocks if b.outline is not None]
        same = kept is not None and len(kept.there) == len(there) and all(
            a.outline is b.outline for a, b in zip(kept.there, there, strict=True))  # fmt: skip
        catcher = kept.catcher if kept is not None and same else bench.Catcher(
            [b.outline for b in there if b.outline is not None])  # fmt: skip
        kept = _Known(canvas.blocks, there, catcher, {b.id: k for k, b in enumerate(there)})
        _KNOWN[canvas] = kept
    return kept


def snap(
    canvas: MapCanvas, ground: tuple[float, float], reach_px: float = SNAP_PX,
    leave: Collection[int] = (),
) -> Snap | None:  # fmt: skip
    """Return what pulls a point of the ground, by corners first.

    Parameters
    ----------
    leave : collection of int
        Blocks that do not pull (the one whose corner is moved, and those that go along).
    """
    known = _known(canvas)
    out = {known.rows[i] for i in leave if i in known.rows}
    found = known.catcher.catch(*ground, reach_px / canvas.camera.scale, out)
    if found is None:
        return None
    return Snap((found.x, found.y), found.kind, known.there[found.number])


def blocks_touching(canvas: MapCanvas, at: tuple[float, float]) -> list[MapBlock]:
    """Return the blocks whose edge runs through a point of the ground."""
    known = _known(canvas)
    return [known.there[k] for k in known.catcher.near(*at, bench.SAME_M)
            if (o := known.there[k].outline) is not None
            and o.boundary.distance(Point(at)) <= bench.SAME_M]  # fmt: skip


def paint_snap(painter: QPainter, at: QPointF, kind: str = "corner") -> None:
    """Show that a corner (ring) or an edge (lozenge) was caught."""
    colours = theme.colours()
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for ink, wide in ((colours.paper, 4.5), (colours.ink, 2.0)):
        painter.setPen(QPen(QColor(ink), wide))
        if kind == "corner":
            painter.drawEllipse(at, MARK_PX, MARK_PX)
        else:
            x, y, r = at.x(), at.y(), MARK_PX + 1
            painter.drawPolygon(QPolygonF([QPointF(x, y - r), QPointF(x + r, y),
                                           QPointF(x, y + r), QPointF(x - r, y)]))  # fmt: skip
