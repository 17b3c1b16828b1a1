"""Outlines made ready for drawing: paths, boxes, corners, and where a name may stand."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from PySide6.QtCore import QPointF
from PySide6.QtGui import QPainterPath, QPolygonF
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from desktop.mapview.camera import Bounds

Points = NDArray[np.float64]
_ALONG = (0.5, 0.38, 0.62, 0.28, 0.72, 0.2, 0.8)
"""Where along the longer side of a block a name may stand."""
MANY_CORNERS = 400
"""An outline with more corners is made plainer before a place for its name is sought."""


@dataclass(frozen=True)
class Corner:
    """Which corner of an outline: part, ring (0 = outer edge), place in the ring."""

    part: int
    ring: int
    place: int


@dataclass(eq=False)
class Shape:
    """One outline.

    Attributes
    ----------
    outline : Polygon or MultiPolygon
        [m].
    """

    outline: BaseGeometry
    _spots: Points | None = field(default=None, repr=False)
    _thick: float = 0.0

    @cached_property
    def path(self) -> QPainterPath:
        """The outline as a path [m], holes left open."""
        path = QPainterPath()
        for rings in rings_of(self.outline):
            for ring in rings:
                path.addPolygon(polygon_of(ring))
                path.closeSubpath()
        return path

    @cached_property
    def _rings(self) -> list[list[Points]]:
        return rings_of(self.outline)

    @cached_property
    def whole(self) -> QPolygonF | None:
        """The outline as one polygon [m]; None where it has holes or several parts."""
        rings = self._rings
        return polygon_of(rings[0][0]) if len(rings) == 1 and len(rings[0]) == 1 else None

    @cached_property
    def keyholes(self) -> list[QPolygonF]:
        """One polygon for each part, to be filled with its holes left open [m]."""
        return [self.whole] if self.whole is not None else [keyhole(r) for r in self._rings]

    @cached_property
    def rings(self) -> list[QPolygonF]:
        """Every ring, for its edge [m]."""
        if self.whole is not None:
            return [self.whole]
        return [polygon_of(ring) for rings in self._rings for ring in rings]

    @cached_property
    def rough_thick(self) -> float:
        """How thick a rectangle of this area and girth is [m]: quick, for thousands of blocks."""
        area, half = self.outline.area, self.outline.length / 2
        return (half - math.sqrt(max(half**2 - 4 * area, 0.0))) / 2 if area else 0.0

    @cached_property
    def middle(self) -> tuple[float, float]:
        """Where its weight lies [m]."""
        at = self.outline.centroid
        return float(at.x), float(at.y)

    @cached_property
    def bounds(self) -> Bounds:
        """West, south, east, north [m]."""
        west, south, east, north = self.outline.bounds
        return float(west), float(south), float(east), float(north)

    @property
    def has_spots(self) -> bool:
        """True once :attr:`spots` were sought."""
        return self._spots is not None

    @property
    def spots(self) -> Points:
        """Points inside where a name may stand, the middle of the block first [m]."""
        if self._spots is None:
            self._spots, self._thick = _spots(self.outline)
        return self._spots

    def holds(self, points: Points) -> NDArray[np.bool_]:
        """Return which points lie on the block [m]."""
        shapely.prepare(self.outline)
        return np.asarray(shapely.contains_xy(self.outline, points[:, 0], points[:, 1]))

    @property
    def thick(self) -> float:
        """How thick the block is where it is thickest [m]."""
        if self._spots is None:
            self._spots, self._thick = _spots(self.outline)
        return self._thick


def make_ready(shapes: Sequence[Shape]) -> None:
    """Make many shapes ready for drawing at once, which is several times faster than singly."""
    fresh = [s for s in shapes if "whole" not in s.__dict__]
    if len(fresh) < 2:
        return
    outlines = np.array([s.outline for s in fresh], dtype=object)
    area, half = shapely.area(outlines), shapely.length(outlines) / 2
    thick = (half - np.sqrt(np.maximum(half**2 - 4 * area, 0.0))) / 2
    middle = shapely.get_coordinates(shapely.centroid(outlines))
    simple = (shapely.get_type_id(outlines) == 3) & (shapely.get_num_interior_rings(outlines) == 0)
    simple &= ~shapely.is_empty(outlines)
    points, index = shapely.get_coordinates(
        shapely.get_exterior_ring(outlines[simple]), return_index=True
    )
    ends = np.searchsorted(index, np.arange(simple.sum()), side="right").tolist()
    plain, start = points.tolist(), 0
    for shape, end in zip((s for s, k in zip(fresh, simple, strict=True) if k), ends, strict=True):
        shape.__dict__["whole"] = QPolygonF([QPointF(x, y) for x, y in plain[start : end - 1]])
        start = end
    if len(middle) == len(fresh):  # none is empty
        for shape, t, m in zip(fresh, thick.tolist(), middle.tolist(), strict=True):
            shape.__dict__["rough_thick"] = t
            shape.__dict__["middle"] = (m[0], m[1])


def rings_of(outline: BaseGeometry) -> list[list[Points]]:
    """Return the corners of every ring of every part, the closing corner left out."""
    parts = outline.geoms if isinstance(outline, MultiPolygon) else [outline]
    return [
        [shapely.get_coordinates(ring)[:-1] for ring in (part.exterior, *part.interiors)]
        for part in parts
        if isinstance(part, Polygon) and not part.is_empty
    ]


def outline_of(parts: Sequence[Sequence[Points]]) -> BaseGeometry:
    """Build an outline from the corners of its rings (may be invalid; the gate judges that)."""
    polygons = [Polygon(rings[0], list(rings[1:])) for rings in parts if len(rings[0]) >= 3]
    return polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)


def polygon_of(points: Iterable[Sequence[float]]) -> QPolygonF:
    """Return points as Qt's polygon."""
    plain = points.tolist() if isinstance(points, np.ndarray) else points
    return QPolygonF([QPointF(p[0], p[1]) for p in plain])


def keyhole(rings: Sequence[Points]) -> QPolygonF:
    """Return a ring and its holes as one polygon that leaves the holes open when it is filled."""
    start = rings[0][:1]
    pieces = [rings[0], start]
    for hole in rings[1:]:
        pieces += [hole, hole[:1], start]
    return polygon_of(np.vstack(pieces) if len(rings) > 1 else rings[0])


def crossing(points: Points, closed: bool = True) -> tuple[float, float] | None:
    """Return a point where the edges of a ring cross each other; None where they do not.

    Parameters
    ----------
    points : ndarray, shape (corners, 2)
    closed : bool
        False while it is drawn: the edge back to the first corner does not count yet.
    """
    n = len(points)
    if n < 3 + (not closed):
        return None
    a = points if closed else points[:-1]
    b = np.roll(points, -1, axis=0) if closed else points[1:]
    edges = shapely.linestrings(np.stack([a, b], axis=1))
    tree = shapely.STRtree(edges)
    first, second = tree.query(edges, predicate="crosses")
    pairs = first < second
    if not pairs.any():
        return None
    at = shapely.intersection(edges[first[pairs][0]], edges[second[pairs][0]])
    spot = shapely.get_coordinates(at)[0]
    return float(spot[0]), float(spot[1])


def nearest_corner(parts: Sequence[Sequence[Points]], x: float, y: float) -> tuple[Corner, float]:
    """Return the corner nearest to a point, and how far it is [m]."""
    best, away = Corner(0, 0, 0), float("inf")
    for p, rings in enumerate(parts):
        for r, ring in enumerate(rings):
            gaps = np.hypot(ring[:, 0] - x, ring[:, 1] - y)
            k = int(gaps.argmin())
            if gaps[k] < away:
                best, away = Corner(p, r, k), float(gaps[k])
    return best, away


def nearest_edge(
    parts: Sequence[Sequence[Points]], x: float, y: float
) -> tuple[Corner, tuple[float, float], float]:
    """Return the corner an edge starts from, the nearest point on it, and how far it is [m]."""
    best, spot, away = Corner(0, 0, 0), (x, y), float("inf")
    for p, rings in enumerate(parts):
        for r, ring in enumerate(rings):
            start, step = ring, np.roll(ring, -1, axis=0) - ring
            length2 = np.maximum((step**2).sum(axis=1), 1e-12)
            t = np.clip(((np.array([x, y]) - start) * step).sum(axis=1) / length2, 0, 1)
            on = start + step * t[:, None]
            gaps = np.hypot(on[:, 0] - x, on[:, 1] - y)
            k = int(gaps.argmin())
            if gaps[k] < away:
                best, away = Corner(p, r, k), float(gaps[k])
                spot = (float(on[k, 0]), float(on[k, 1]))
    return best, spot, away


def _spots(outline: BaseGeometry) -> tuple[Points, float]:
    parts = [p for p in shapely.get_parts(outline) if not p.is_empty]
    if not parts:
        return np.zeros((0, 2)), 0.0
    largest = max(parts, key=lambda p: p.area)
    if shapely.get_num_coordinates(largest) > MANY_CORNERS:
        plainer = largest.simplify(math.sqrt(largest.area) / 200)
        largest = plainer if isinstance(plainer, Polygon) and not plainer.is_empty else largest
    filled = Polygon(largest.exterior)
    circle = shapely.maximum_inscribed_circle(largest, max(largest.length / 400, 0.5))
    middle = shapely.get_coordinates(circle)[0]
    found = [(float(middle[0]), float(middle[1]))]
    west, south, east, north = filled.bounds
    wide = east - west >= north - south
    for share in _ALONG:
        at = west + (east - west) * share if wide else south + (north - south) * share
        line = (
            shapely.LineString([(at, south - 1), (at, north + 1)])
            if wide
            else shapely.LineString([(west - 1, at), (east + 1, at)])
        )
        cut = [g for g in shapely.get_parts(largest.intersection(line)) if g.length > 0]
        if cut:
            spot = max(cut, key=lambda g: g.length).centroid
            found.append((float(spot.x), float(spot.y)))
    return np.array(found), 2 * float(circle.length)
