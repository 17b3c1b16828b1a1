"""The one gate every outline passes, drawn by mouse or imported.

Only what cannot change the water is repaired: the way round, corners set twice, ends that miss
each other by less than a metre, spikes thinner than a hand, heights.  The test for "cannot
change the water" is one rule: *the area counted round the corners (holes taken off) must be the
area of the repaired shape*.  An outline that only touches itself passes it; one that crosses
itself, or whose holes overlap, cannot, since then nobody can say which side is inside.
"""

from __future__ import annotations

import math
import re
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Note, Refused
from waterbudget.outlines.geodesy import (
    M2_PER_HA,
    Points,
    area_ha,
    move,
    polygons_of,
)

SMALLEST_M2 = 20.0
LARGEST_HA = 2000.0
DOUBLED_M = 0.01
GAP_M = 1.0
SPIKE_WIDTH_M = 0.10
SPIKE_DEGREES = 2.0
SAME_AREA = 1e-6
MOST_PASSES = 5
"""Share by which two ways of counting the area may differ (rounding only).

The other limits are own estimates: a corner cannot be placed better than a centimetre, a spike
thinner than ten centimetres holds no tree.
"""

Area: TypeAlias = Polygon | MultiPolygon


def check_shape(shape: BaseGeometry, epsg: int) -> tuple[Area, tuple[Note, ...]]:
    """Return the outline as it may be stored, and what was repaired.

    Parameters
    ----------
    shape : Polygon, MultiPolygon, or a LineString whose ends meet
        In the coordinates of ``epsg`` [m].
    epsg : int
        Projected coordinate system of the farm.

    Returns
    -------
    shape : Polygon or MultiPolygon
        Valid, shells counter-clockwise, holes clockwise, two-dimensional.
    notes : tuple of Note
        One per kind of repair; empty when nothing was touched.  A second pass never finds more.

    Raises
    ------
    Refused
        ``outlines.empty``, ``.not_numbers``, ``.open`` (ends more than a metre apart),
        ``.crosses`` (with lat, lon and corner), ``.holes``, ``.parts_overlap``, ``.too_small``
        (under 20 m2), ``.too_large`` (over 2000 ha).
    """
    found: dict[str, int] = {}
    if shape.has_z:
        found["outlines.heights_dropped"] = 1
        shape = shapely.force_2d(shape)
    whole = _repaired(shape, epsg, found)
    more = found
    for _ in range(MOST_PASSES):
        if not more:
            break
        more = {}  # taking it apart can bring two corners together: look again
        whole = _repaired(whole, epsg, more)
        for code, n in more.items():
            _count(found, code, n)
    if more and not whole.is_valid:
        raise _why_invalid(whole, [shapely.get_coordinates(whole)], epsg)
    hectares = area_ha(whole, epsg)
    if not math.isfinite(hectares):
        raise Refused("outlines.off_the_map")
    if hectares * M2_PER_HA < SMALLEST_M2:
        raise Refused("outlines.too_small", m2=round(hectares * M2_PER_HA, 1))
    if hectares > LARGEST_HA:
        raise Refused("outlines.too_large", ha=round(hectares))
    return whole, tuple(Note(code, {"count": n}) for code, n in found.items())


def _repaired(shape: BaseGeometry, epsg: int, found: dict[str, int]) -> Area:
    parts = [_rings(p) for p in _as_polygons(shape, found)]
    if not all(np.isfinite(ring).all() for rings in parts for ring in rings):
        raise Refused("outlines.not_numbers")
    polygons = [p for rings in parts for p in _one_part(rings, epsg, found)]
    return _together(polygons, found)


def _as_polygons(shape: BaseGeometry, found: dict[str, int]) -> tuple[Polygon, ...]:
    if isinstance(shape, LineString) and not shape.is_empty:
        xy = shapely.get_coordinates(shape)
        if not np.isfinite(xy).all():
            raise Refused("outlines.not_numbers")
        gap = float(np.hypot(*(xy[0] - xy[-1])))
        if gap > GAP_M:
            raise Refused("outlines.open", gap_m=round(gap, 1))
        if len(xy) < 3:
            raise Refused("outlines.too_few_corners", corners=len(xy))
        if gap > 0:
            _count(found, "outlines.closed")
        return (Polygon(xy),)
    polygons = polygons_of(shape)
    if not polygons:
        raise Refused("outlines.empty")
    return polygons


def _rings(polygon: Polygon) -> list[Points]:
    return [shapely.get_coordinates(r) for r in (polygon.exterior, *polygon.interiors)]


def _one_part(rings: list[Points], epsg: int, found: dict[str, int]) -> list[Polygon]:
    """Return the clean polygons of one part (none where nothing with an area is left)."""
    cleaned = []
    for number, ring in enumerate(rings):
        clean = _tidy(ring, found)
        if len(clean) < 3:
            if number == 0:
                return []
            _count(found, "outlines.empty_hole")
            continue
        cleaned.append(clean)
    turned = False
    for number, ring in enumerate(cleaned):
        if (signed_area(ring) < 0) == (number == 0) and signed_area(ring) != 0:
            cleaned[number] = ring[::-1]
            turned = True
    if turned:
        _count(found, "outlines.turned")
    polygon = Polygon(cleaned[0], cleaned[1:])
    if polygon.is_valid:
        return [polygon]
    counted = abs(signed_area(cleaned[0])) - sum(abs(signed_area(r)) for r in cleaned[1:])
    repaired = [p for p in _polygons_in(_made_valid(polygon)) if p.area > 0]
    area = sum(p.area for p in repaired)
    if abs(area - counted) > SAME_AREA * max(area, counted):
        raise _why_invalid(polygon, cleaned, epsg)
    _count(found, "outlines.touched_itself")
    return repaired


def _made_valid(polygon: Polygon) -> BaseGeometry:
    """Return shell less holes; where the shell crosses itself the area comes out different."""
    return shapely.make_valid(polygon, method="structure", keep_collapsed=False)


def _together(polygons: list[Polygon], found: dict[str, int]) -> Area:
    if not polygons:
        raise Refused("outlines.too_small", m2=0.0)
    if len(polygons) == 1:
        whole: BaseGeometry = polygons[0]
    else:
        whole = MultiPolygon(polygons)
        if not whole.is_valid:
            united = shapely.union_all(polygons)
            if abs(united.area - whole.area) > SAME_AREA * whole.area:
                raise Refused("outlines.parts_overlap", m2=round(whole.area - united.area, 1))
            _count(found, "outlines.parts_joined")
            whole = united
    kept = _polygons_in(whole)
    return shapely.orient_polygons(kept[0] if len(kept) == 1 else MultiPolygon(kept))


def _polygons_in(shape: BaseGeometry) -> list[Polygon]:
    parts = list(shapely.get_parts(shape))
    nested = [p for g in parts if not isinstance(g, Polygon) for p in shapely.get_parts(g)]
    return [g for g in (*parts, *nested) if isinstance(g, Polygon) and not g.is_empty]


def _tidy(ring: Points, found: dict[str, int]) -> Points:
    """Return the corners without the closing one, none set twice, no spikes."""
    if len(ring) > 1 and (ring[0] == ring[-1]).all():
        ring = ring[:-1]
    while True:
        before = len(ring)
        ring = without_repeats(ring, DOUBLED_M)
        if len(ring) < before:
            _count(found, "outlines.doubled_corners", before - len(ring))
        clean = _without_spikes(ring)
        if len(clean) == len(ring):
            return ring
        _count(found, "outlines.spikes", len(ring) - len(clean))
        ring = clean


def without_repeats(ring: Points, step_m: float) -> Points:
    """Return an unclosed ring without corners nearer than ``step_m`` to the one before."""
    if len(ring) < 2:
        return ring
    steps = np.hypot(*np.diff(np.vstack([ring, ring[:1]]), axis=0).T)
    if (steps >= step_m).all():
        return ring
    kept = [0]
    for i in range(1, len(ring)):
        if math.dist(ring[i], ring[kept[-1]]) >= step_m:
            kept.append(i)
    while len(kept) > 1 and math.dist(ring[kept[-1]], ring[0]) < step_m:
        kept.pop()
    return ring[kept]


def _without_spikes(ring: Points) -> Points:
    """Return an unclosed ring without corners where it runs out and back on its own track."""
    if len(ring) < 4:
        return ring
    to_before = np.roll(ring, 1, axis=0) - ring
    to_after = np.roll(ring, -1, axis=0) - ring
    cross = to_before[:, 0] * to_after[:, 1] - to_before[:, 1] * to_after[:, 0]
    dot = (to_before * to_after).sum(axis=1)
    longer = np.maximum(np.hypot(*to_before.T), np.hypot(*to_after.T))
    sharp = np.abs(np.arctan2(cross, dot)) < math.radians(SPIKE_DEGREES)
    thin = np.abs(cross) < SPIKE_WIDTH_M * longer
    small = np.abs(cross) / 2 < 5e-4 * abs(signed_area(ring))
    spikes = np.flatnonzero(sharp & thin & small)
    if not len(spikes):
        return ring
    apart = [spikes[0]]  # neighbours are looked at again once these are gone
    for i in spikes[1:]:
        if i - apart[-1] > 2 and len(ring) - (i - apart[0]) > 2:
            apart.append(i)
    return np.delete(ring, apart, axis=0)


def signed_area(ring: Points) -> float:
    """Return the plane area [m2] round the corners, positive counter-clockwise."""
    with np.errstate(over="ignore", invalid="ignore"):  # huge numbers are refused later
        x, y = (ring - ring[0]).T  # so the side that closes the ring adds nothing
        return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2)


def _count(found: dict[str, int], code: str, n: int = 1) -> None:
    found[code] = found.get(code, 0) + n


def _why_invalid(polygon: BaseGeometry, rings: list[Points], epsg: int) -> Refused:
    """Return the refusal that names the place."""
    reason = shapely.is_valid_reason(polygon)
    match = re.search(r"\[(\S+) (\S+)\]", reason)
    spot = np.array([[float(match[1]), float(match[2])]] if match else rings[0][:1])
    lon, lat = move(spot, epsg, 4326)[0]
    code = "outlines.crosses"
    if reason.lower().startswith(("hole", "holes")):
        code = "outlines.holes"
    corners = np.vstack(rings)
    corner = int(np.hypot(*(corners - spot[0]).T).argmin()) + 1
    lat, lon = round(float(lat), 6), round(float(lon), 6)
    return Refused(code, lat=lat, lon=lon, where=f"{lat:.5f}, {lon:.5f}", corner=corner)


def thin_strip(shape: Area) -> float | None:
    """Return the mean width [m] of an outline too narrow to be a block, else None.

    Own estimate: narrower than 3 m on average, twice the area over the edge.
    """
    width = 2 * shape.area / shape.length
    return round(width, 1) if width < 3.0 else None
