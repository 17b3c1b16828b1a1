"""Working on outlines by hand: cut, join, close on neighbours, follow an edge, move together.

Plane geometry in the farm's metres.  Every function returns new shapes that have passed the gate
(:func:`~waterbudget.outlines.gate.check_shape`), or refuses in one sentence; none changes what it
was given.  Lengths, bearings and areas: :mod:`waterbudget.outlines.sides`.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.outlines.gate import DOUBLED_M, Area, check_shape
from waterbudget.outlines.geodesy import Points, polygons_of

SAME_M = 0.02
"""Corners of two blocks this near to each other are one place (the gate's own step is 1 cm)."""
REACH_M = 0.05
"""A cutting line is drawn on by this much at both ends, so that one that ends on the edge cuts."""
GAP_M = 0.5
"""Two blocks this near are joined over the gap (own estimate: less than half a wheel track)."""
LEAST_SHARED_M = 0.5
"""Two blocks that share less edge than this only touch in a corner (own estimate)."""

Key = TypeVar("Key", bound=Hashable)


def split(shape: Area, line: LineString, epsg: int) -> tuple[Area, ...]:
    """Return the pieces a line cuts an outline into, the largest first; holes stay holes.

    Raises
    ------
    Refused
        ``bench.line_crosses_itself``, ``bench.no_cut`` where the line does not run across,
        ``bench.too_small_piece`` where a piece is no block.
    """
    return tuple(_passed(p, epsg) for p in _pieces(shape, line))


def split_in_two(shape: Area, line: LineString, epsg: int) -> tuple[Area, Area]:
    """Return what lies on the two sides of a line, the larger side first.

    A line that crosses an outline more than once leaves several pieces on one side; they stay
    together as one outline of several parts.

    Raises
    ------
    Refused
        As :func:`split`; ``bench.no_sides`` where every piece lies on the same side.
    """
    pieces = _pieces(shape, line)
    left = shapely.buffer(line, 2 * REACH_M, single_sided=True, cap_style="flat")
    on_left = [p.intersection(left).area > p.intersection(
        shapely.buffer(line, -2 * REACH_M, single_sided=True, cap_style="flat")).area
        for p in pieces]  # fmt: skip
    sides = [[p for p, here in zip(pieces, on_left, strict=True) if here is which]
             for which in (True, False)]  # fmt: skip
    if not all(sides):
        raise Refused("bench.no_sides")
    whole = [side[0] if len(side) == 1 else shapely.union_all(side) for side in sides]
    whole.sort(key=lambda s: -s.area)
    return _passed(whole[0], epsg), _passed(whole[1], epsg)


def corner_line(shape: BaseGeometry, first: int, second: int) -> LineString:
    """Return the line from one corner of the outer edge to another, counted from 1.

    Raises
    ------
    Refused
        ``bench.corner_numbers``.
    """
    ring = rings_of(shape)[0]
    if first == second or not all(1 <= n <= len(ring) for n in (first, second)):
        raise Refused("bench.corner_numbers", last=len(ring))
    return LineString([ring[first - 1], ring[second - 1]])


def _pieces(shape: Area, line: LineString) -> list[Polygon]:
    if len(line.coords) < 2 or line.length == 0:
        raise Refused("bench.no_cut")
    if not line.is_simple:
        raise Refused("bench.line_crosses_itself")
    knife = _drawn_on(line)
    found: list[Polygon] = []
    for part in polygons_of(shape):
        corners = shapely.multipoints(shapely.get_coordinates(part))
        through = shapely.snap(knife, corners, DOUBLED_M)  # the gate makes one corner of two
        edges = shapely.union_all([part.boundary, through])
        cells = shapely.get_parts(shapely.polygonize([edges]))
        found += [c for c in cells if part.contains(c.representative_point())]
    if len(found) <= len(polygons_of(shape)):
        raise Refused("bench.no_cut")
    return sorted(found, key=lambda p: -p.area)


def _drawn_on(line: LineString) -> LineString:
    """Return the line a little longer at both ends."""
    xy = shapely.get_coordinates(line)
    for end, inner in ((0, 1), (-1, -2)):
        step = xy[end] - xy[inner]
        xy[end] = xy[end] + step / np.hypot(*step) * REACH_M
    return LineString(xy)


def _passed(shape: BaseGeometry, epsg: int) -> Area:
    try:
        return check_shape(shape, epsg)[0]
    except Refused as fault:
        if fault.code == "outlines.too_small":
            raise Refused("bench.too_small_piece", m2=fault.fields["m2"]) from None
        raise


def merge(first: Area, second: Area, epsg: int) -> tuple[Area, float]:
    """Return two outlines as one, and the widest gap that was closed between them [m].

    Raises
    ------
    Refused
        ``bench.apart`` (with the gap) where they lie further apart than half a metre,
        ``bench.touch_in_a_corner`` where they share no edge.
    """
    gap = float(first.distance(second))
    if gap > GAP_M:
        raise Refused("bench.apart", gap_m=round(gap, 1))
    closed = 0.0
    united = first.union(second)
    if len(polygons_of(united)) >= len(polygons_of(first)) + len(polygons_of(second)):
        near = close_on(second, [first], GAP_M, epsg)[0]
        united = first.union(near)
        closed = gap
    elif first.intersection(second).length < LEAST_SHARED_M:
        raise Refused("bench.touch_in_a_corner")
    if len(polygons_of(united)) >= len(polygons_of(first)) + len(polygons_of(second)):
        raise Refused("bench.touch_in_a_corner")
    return _passed(_without_slits(united), epsg), closed


def _without_slits(shape: BaseGeometry) -> BaseGeometry:
    """Return a union without the hair-thin holes that two edges set by hand leave between them."""
    parts = []
    for part in polygons_of(shape):
        holes = [h for h in part.interiors if 2 * Polygon(h).area / h.length > 2 * SAME_M]
        parts.append(Polygon(part.exterior, holes))
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def cut_hole(shape: Area, hole: Polygon, epsg: int) -> Area:
    """Return an outline with a piece cut out of its inside; a hole it meets grows by it.

    Raises
    ------
    Refused
        What the gate finds wrong with the piece; ``bench.hole_outside`` where it does not lie
        inside; ``bench.nothing_left``.
    """
    piece = check_shape(hole, epsg)[0]
    shells = [Polygon(p.exterior) for p in polygons_of(shape)]
    if not any(s.buffer(-SAME_M).contains(piece) for s in shells):
        raise Refused("bench.hole_outside")
    left = shape.difference(piece)
    if left.is_empty:
        raise Refused("bench.nothing_left")
    if left.equals(shape):
        raise Refused("bench.hole_is_there")
    return _passed(left, epsg)


# -- catching corners and edges -------------------------------------------------------------------


@dataclass(frozen=True)
class Catch:
    """A corner or an edge near a point.

    Attributes
    ----------
    x, y : float
        The place on it [m].
    kind : str
        ``"corner"`` or ``"edge"``.
    number : int
        Which of the shapes it belongs to.
    away_m : float
        How far it is.
    """

    x: float
    y: float
    kind: str
    number: int
    away_m: float


class Catcher:
    """Finds the corner or edge nearest to a point among many outlines.

    Parameters
    ----------
    shapes : sequence of Polygon or MultiPolygon
    """

    def __init__(self, shapes: Sequence[BaseGeometry]) -> None:
        self._shapes = list(shapes)
        self._tree = shapely.STRtree(self._shapes)
        self._rings: dict[int, list[Points]] = {}

    def catch(
        self, x: float, y: float, reach_m: float, leave: Collection[int] = ()
    ) -> Catch | None:
        """Return the nearest corner within reach, else the nearest edge, else None.

        Parameters
        ----------
        leave : collection of int
            Shapes that are left out.
        """
        near = [k for k in self.near(x, y, reach_m) if k not in leave]
        corners = [c for k in near for c in self._corners(k, x, y) if c.away_m <= reach_m]
        if corners:
            return min(corners, key=lambda c: c.away_m)
        edges = [c for k in near for c in self._edges(k, x, y) if c.away_m <= reach_m]
        return min(edges, key=lambda c: c.away_m) if edges else None

    def near(self, x: float, y: float, reach_m: float) -> list[int]:
        """Return which shapes come within reach of a point."""
        return [int(k) for k in self._tree.query(Point(x, y), "dwithin", reach_m)]

    def _of(self, k: int) -> list[Points]:
        if k not in self._rings:
            self._rings[k] = rings_of(self._shapes[k])
        return self._rings[k]

    def _corners(self, k: int, x: float, y: float) -> list[Catch]:
        found = []
        for ring in self._of(k):
            gaps = np.hypot(ring[:, 0] - x, ring[:, 1] - y)
            i = int(gaps.argmin())
            found.append(Catch(float(ring[i, 0]), float(ring[i, 1]), "corner", k, float(gaps[i])))
        return found

    def _edges(self, k: int, x: float, y: float) -> list[Catch]:
        found = []
        for ring in self._of(k):
            on, gaps = _on_edges(ring, x, y)
            i = int(gaps.argmin())
            found.append(Catch(float(on[i, 0]), float(on[i, 1]), "edge", k, float(gaps[i])))
        return found


def rings_of(shape: BaseGeometry) -> list[Points]:
    """Return the corners of every ring, the closing corner left out."""
    return [
        shapely.get_coordinates(ring)[:-1]
        for part in polygons_of(shape)
        for ring in (part.exterior, *part.interiors)
    ]


def _on_edges(ring: Points, x: float, y: float) -> tuple[Points, Points]:
    """Return the nearest place on each edge (from each corner to the next) and how far it is."""
    step = np.roll(ring, -1, axis=0) - ring
    length2 = np.maximum((step**2).sum(axis=1), 1e-12)
    t = np.clip(((np.array([x, y]) - ring) * step).sum(axis=1) / length2, 0, 1)
    on = ring + step * t[:, None]
    return on, np.hypot(on[:, 0] - x, on[:, 1] - y)


def close_on(
    shape: Area, neighbours: Sequence[BaseGeometry], reach_m: float, epsg: int
) -> tuple[Area, int]:
    """Return an outline whose edge lies on its neighbours wherever it nearly did.

    Corners go to the neighbour's corner, else edge, within reach; neighbours' corners within
    reach of an edge become corners of it, so that the two edges run together.

    Returns
    -------
    shape : Polygon or MultiPolygon
    moved : int
        Corners moved or set.
    """
    catcher = Catcher(neighbours)
    others = np.vstack([np.zeros((0, 2)), *[r for n in neighbours for r in rings_of(n)]])
    others = others[shapely.dwithin(shapely.points(others), shape.boundary, reach_m)]
    moved = 0

    def closed(ring: Points) -> Points:
        nonlocal moved
        new = ring.copy()
        for i, (x, y) in enumerate(ring):
            found = catcher.catch(x, y, reach_m)
            if found is not None and found.away_m > 1e-6:
                new[i] = found.x, found.y
                moved += 1
        for x, y in others:
            _, gaps = _on_edges(new, x, y)
            i = int(gaps.argmin())
            at_corner = np.hypot(new[:, 0] - x, new[:, 1] - y).min() <= SAME_M
            if gaps[i] <= reach_m and not at_corner:
                new = np.insert(new, i + 1, (x, y), axis=0)
                moved += 1
        return new

    parts = [
        Polygon(closed(shapely.get_coordinates(p.exterior)[:-1]),
                [closed(shapely.get_coordinates(h)[:-1]) for h in p.interiors])
        for p in polygons_of(shape)
    ]  # fmt: skip
    if moved == 0:
        return shape, 0
    return _passed(parts[0] if len(parts) == 1 else MultiPolygon(parts), epsg), moved


def follow(
    shape: BaseGeometry, start: tuple[float, float], end: tuple[float, float],
    *, other_way: bool = False,
) -> Points:  # fmt: skip
    """Return the corners along an outline's edge from one point of it to another.

    Parameters
    ----------
    start, end : tuple of float
        Points on the edge, or close to it: the nearest places of the edge are taken [m].
    other_way : bool
        Go the longer way round.

    Returns
    -------
    ndarray, shape (points, 2)
        First and last are the places on the edge.

    Raises
    ------
    Refused
        ``bench.two_edges`` where the points lie on different rings, ``bench.one_place`` where
        they are the same.
    """
    rings = [LineString(np.vstack([r, r[:1]])) for r in rings_of(shape)]
    nearest = [min(range(len(rings)), key=lambda k: rings[k].distance(Point(p)))
               for p in (start, end)]  # fmt: skip
    if nearest[0] != nearest[1]:
        raise Refused("bench.two_edges")
    ring = rings[nearest[0]]
    a, b = (float(ring.project(Point(p))) for p in (start, end))
    if abs(a - b) < SAME_M or abs(abs(a - b) - ring.length) < SAME_M:
        raise Refused("bench.one_place")
    straight = _along(ring, min(a, b), max(a, b))
    around = _around(ring, max(a, b), min(a, b))
    ways = [straight if a < b else straight[::-1], around if a > b else around[::-1]]
    ways.sort(key=lambda w: float(np.hypot(*np.diff(w, axis=0).T).sum()))
    return ways[1 if other_way else 0]


def _along(ring: LineString, a: float, b: float) -> Points:
    return shapely.get_coordinates(_substring(ring, a, b))


def _around(ring: LineString, a: float, b: float) -> Points:
    """Return the way from ``a`` over the ring's end to ``b``."""
    pieces = [shapely.get_coordinates(_substring(ring, s, e))
              for s, e in ((a, ring.length), (0.0, b)) if e - s > 1e-9]  # fmt: skip
    whole = np.vstack(pieces)
    again = np.append(True, np.hypot(*np.diff(whole, axis=0).T) > 1e-9)
    return np.asarray(whole[again])


def _substring(ring: LineString, a: float, b: float) -> BaseGeometry:
    from shapely.ops import substring

    return substring(ring, a, b)


# -- corners that blocks share --------------------------------------------------------------------


def sharing(
    shapes: Mapping[Key, Area], at: tuple[float, float], reach_m: float = SAME_M
) -> tuple[Key, ...]:
    """Return which outlines have a corner, or an edge, at a place."""
    return tuple(k for k, shape in shapes.items()
                 if shapely.dwithin(shape.boundary, Point(at), reach_m))  # fmt: skip


def move_shared(
    shapes: Mapping[Key, Area], at: tuple[float, float], to: tuple[float, float], epsg: int,
) -> dict[Key, Area]:  # fmt: skip
    """Move a corner in every outline that touches it, so that touching neighbours stay touching.

    A neighbour whose edge runs through the corner without one of its own gets one there.

    Parameters
    ----------
    at, to : tuple of float
        Where the corner is and where it goes [m].

    Returns
    -------
    dict
        The outlines that changed.

    Raises
    ------
    Refused
        ``bench.no_corner`` where no outline has a corner there; what the gate finds wrong with an
        outline after the move (``key`` names which).
    """
    if not any(np.hypot(*(r - np.array(at)).T).min() <= SAME_M
               for s in shapes.values() for r in rings_of(s)):  # fmt: skip
        raise Refused("bench.no_corner")
    changed: dict[Key, Area] = {}
    for key in sharing(shapes, at):
        parts = [
            Polygon(moved_ring(shapely.get_coordinates(p.exterior)[:-1], at, to),
                    [moved_ring(shapely.get_coordinates(h)[:-1], at, to) for h in p.interiors])
            for p in polygons_of(shapes[key])
        ]  # fmt: skip
        try:
            changed[key] = check_shape(
                parts[0] if len(parts) == 1 else MultiPolygon(parts), epsg
            )[0]  # fmt: skip
        except Refused as fault:
            raise Refused(fault.code, **{**fault.fields, "key": key}) from None
    return changed


def moved_ring(ring: Points, at: tuple[float, float], to: tuple[float, float]) -> Points:
    """Return a ring with the corner at a place moved; one on an edge is set there first."""
    gaps = np.hypot(ring[:, 0] - at[0], ring[:, 1] - at[1])
    if gaps.min() <= SAME_M:
        new = ring.copy()
        new[int(gaps.argmin())] = to
        return new
    _, away = _on_edges(ring, *at)
    i = int(away.argmin())
    return np.insert(ring, i + 1, to, axis=0) if away[i] <= SAME_M else ring
