"""Rows along the contour with a little fall: level lines of a tilted picture of the land.

A row that falls by f along itself is a line on which z + f s does not change, s being the way
along it.  Here s is counted along one direction, the contour's mean direction in the block, so
all rows are level lines of F = z + f s; where a row bends away by an angle its fall is f times
the cosine of it.  The step of F from a row to the next is chosen where the land is steepest, so
that no two rows come closer on the ground than asked; where it is gentler and they part by two
distances or more, short rows are laid between.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Note, Refused
from waterbudget.planting.model import (
    MOST_PLACES,
    USUAL_FALL_PCT,
    Array,
    Ground,
    Layout,
    Planting,
)
from waterbudget.planting.straight import Kept, free

FLAT_PCT = 0.5
"""On less mean slope there is no contour to follow (own estimate)."""
STEEPEST_SHARE = 98.0
"""Percentile of the steepness along a row that sets the step: single bad cells do not."""
MOST_BETWEEN, FEWEST_IN_SHORT = 6, 4
"""Short rows between two rows at most, less one; trees that make a short row worth laying."""
LEAST_SHARE = 0.9
"""Trees that come closer than this share of the smaller distance are left out."""
MOST_ROWS = 5000
GRADE_SLACK = 0.75


@dataclass(frozen=True)
class _Land:
    x: Array
    y: Array
    z: Array
    f: Array
    rate: Array
    inside: np.ndarray
    along: tuple[float, float]
    scale: float
    lines: Any

    def between(self, values: Array, xy: Array) -> Array:
        """Return values of the grid at points, straight between its four corners around."""
        c = np.clip((xy[:, 0] - self.x[0]) / (self.x[1] - self.x[0]), 0, len(self.x) - 1 - 1e-9)
        r = np.clip((xy[:, 1] - self.y[0]) / (self.y[1] - self.y[0]), 0, len(self.y) - 1 - 1e-9)
        i, j = r.astype(int), c.astype(int)
        a, b = c - j, r - i
        low = values[i, j] * (1 - a) + values[i, j + 1] * a
        high = values[i + 1, j] * (1 - a) + values[i + 1, j + 1] * a
        found: Array = low * (1 - b) + high * b
        return found


def lay_contour(
    outline: BaseGeometry, layout: Layout, ground: Ground, kept: Kept, epsg: int, scale: float,
    turn_deg: float, name: str = "",
) -> Planting:  # fmt: skip
    """Set out rows along the contour; numbers as :class:`Planting` has them, row 1 uppermost.

    Raises
    ------
    Refused
        ``planting.flat``, ``planting.heights_short``, ``planting.too_many``.
    """
    fall = USUAL_FALL_PCT if layout.fall_pct is None else layout.fall_pct
    land, slope_pct, aspect = _land(outline, layout, ground, fall, scale, turn_deg, name)
    rows_m = layout.between_rows_m
    pieces: list[tuple[Array, Array, int]] = []
    for at, (level, share) in enumerate(_levels(land, rows_m)):
        for spots, way in _row(land, outline, layout, kept, level, share, scale):
            pieces.append((spots, way, at))
    if not pieces:
        raise Refused("planting.no_room", block=name)
    xy = np.concatenate([p[0] for p in pieces])
    along = np.concatenate([p[1] for p in pieces])
    line = np.concatenate([np.full(len(p[0]), p[2]) for p in pieces])
    if len(xy) > MOST_PLACES:
        raise Refused("planting.too_many", most=MOST_PLACES)
    z = land.between(land.z, xy)
    ok = _not_crowded(xy, z, scale, LEAST_SHARE * min(layout.spacing_m, rows_m))
    xy, along, line = xy[ok], along[ok], line[ok]
    row = np.unique(line, return_inverse=True)[1].astype(np.int64) + 1
    starts = np.flatnonzero(np.diff(row, prepend=0))
    counts = np.diff(np.append(starts, len(row)))
    begin = np.repeat(starts, counts)
    dx, dy = land.along
    bearing = (math.degrees(math.atan2(dx, dy)) + turn_deg) % 360.0
    used = replace(layout, bearing_deg=bearing, fall_pct=fall, row_spacing_m=rows_m,
                   origin=(float(xy[0, 0]), float(xy[0, 1])))  # fmt: skip
    plan = rows_m / math.hypot(1.0, slope_pct / 100.0)
    notes = [
        Note.of("planting.contour", fall_pct=fall, rows_m=rows_m, slope_pct=round(slope_pct, 1))
    ]
    if abs(fall) > GRADE_SLACK:
        notes.append(Note.of("planting.steep_rows", fall_pct=fall))
    return Planting(
        layout=used, epsg=epsg, x=xy[:, 0], y=xy[:, 1], row=row,
        number=np.arange(len(row)) - begin + 1, along_m=along - along[begin],
        plan_spacing_m=layout.spacing_m / math.hypot(1.0, fall / 100.0), plan_row_m=plan,
        scale=scale, turn_deg=turn_deg, slope_pct=slope_pct, aspect_deg=aspect,
        notes=tuple(notes),
    )  # fmt: skip


def _land(
    outline: BaseGeometry, layout: Layout, ground: Ground, fall_pct: float, scale: float,
    turn_deg: float, name: str,
) -> tuple[_Land, float, float]:  # fmt: skip
    """Return the tilted picture of the land, its mean slope [%] and the direction of fall."""
    from contourpy import contour_generator

    assert ground.x is not None and ground.y is not None and ground.z_m is not None
    x, y, z = ground.x, ground.y, ground.z_m
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, *np.meshgrid(x, y))
    x0, y0, x1, y1 = outline.bounds
    reaches = x[0] <= x0 and x[-1] >= x1 and y[0] <= y0 and y[-1] >= y1
    if not reaches or not inside.any() or not np.isfinite(z[inside]).all():
        raise Refused("planting.heights_short", block=name)
    z = _filled(z)
    cell = float(x[1] - x[0]) / scale
    up_n, up_e = (np.asarray(g) for g in np.gradient(z, cell))
    down = np.array([-up_e[inside].mean(), -up_n[inside].mean()])
    steep = float(np.hypot(*down))
    slope_pct = 100.0 * float(np.hypot(up_e[inside], up_n[inside]).mean())
    if steep * 100.0 < FLAT_PCT:
        raise Refused("planting.flat", block=name, slope_pct=round(slope_pct, 1))
    dx, dy = down[1] / steep, -down[0] / steep
    wanted = layout.bearing_deg if layout.bearing_deg is not None else 90.0
    angle = math.radians(wanted - turn_deg)
    if dx * math.sin(angle) + dy * math.cos(angle) < 0:
        dx, dy = -dx, -dy
    tilt = fall_pct / 100.0
    way = ((x[None, :] - x.mean()) * dx + (y[:, None] - y.mean()) * dy) / scale
    f_e, f_n = up_e + tilt * dx, up_n + tilt * dy
    size = np.maximum(np.hypot(f_e, f_n), 1e-9)
    rise = (up_e * f_e + up_n * f_n) / size  # of the land, square to the rows
    rate = np.maximum(size, 1e-4) / np.hypot(1.0, rise)
    aspect = (math.degrees(math.atan2(down[0], down[1])) + turn_deg) % 360.0
    f = z + tilt * way
    land = _Land(x, y, z, f, rate, inside, (dx, dy), scale, contour_generator(x, y, f))
    return land, slope_pct, aspect


def _filled(z: Array) -> Array:
    """Carry known heights on to unknown places outside the block, along rows, then columns."""
    z = z.copy()
    for values in (z, z.T):
        for line in values:
            known = np.flatnonzero(np.isfinite(line))
            if len(known) and len(known) < len(line):
                line[:] = np.interp(np.arange(len(line)), known, line[known])
    return np.where(np.isfinite(z), z, float(np.nanmean(z)))


def _levels(land: _Land, rows_m: float) -> Iterator[tuple[float, tuple[float, int] | None]]:
    """Yield the level of every row from the top down.

    With a short row comes the step of F it lies in, and in how many parts it cuts it.
    """
    f, rate = land.f[land.inside], land.rate[land.inside]
    order = np.argsort(-f)
    f, rate = f[order], rate[order]
    widest = float(rate.max()) * rows_m

    def step_below(level: float) -> float:
        i, j = np.searchsorted(-f, [-level, -(level - widest)])
        near = rate[i:j] if j > i else rate[max(0, i - 1) : i + 1]
        return rows_m * float(np.percentile(near, STEEPEST_SHARE))

    level = float(f[0]) - step_below(float(f[0])) / 2.0
    for _ in range(MOST_ROWS):
        if level < f[-1]:
            return
        yield level, None
        step = step_below(level)
        shares = {(j / k, k) for k in range(2, MOST_BETWEEN + 1) for j in range(1, k)}
        for share, k in sorted(shares):
            yield level - share * step, (step, k)
        level -= step
    raise Refused("planting.too_many", most=MOST_PLACES)


def _row(
    land: _Land, outline: BaseGeometry, layout: Layout, kept: Kept, level: float,
    between: tuple[float, int] | None, scale: float,
) -> list[tuple[Array, Array]]:  # fmt: skip
    """Return the trees of one level, piece by piece in the order of the row.

    Returns
    -------
    list of (xy, along)
        Points, shape (trees, 2), and their way from the row's beginning along the ground [m].
    """
    if between is not None and not _parts_enough(land, layout, level, between):
        return []
    found = []
    for line in _lines(land, level):
        xy, ground = _dense(land, line, layout.spacing_m, scale)
        if len(xy) < 2:
            continue
        ok = free(xy, outline, layout.setback_m * scale, kept)
        ok &= _off_ends(xy, outline, layout.headland_m * scale)
        if between is not None:
            step, k = between
            wide = step / land.between(land.rate, xy) / layout.between_rows_m
            ok &= np.floor(wide + 1e-6) == k
        for a, b in _runs(ok):
            trees = _along(ground[a], ground[b], layout)
            if len(trees) < (FEWEST_IN_SHORT if between is not None else 1):
                continue
            spots = np.column_stack([np.interp(trees, ground, xy[:, i]) for i in (0, 1)])
            found.append((spots, trees))
    return _joined(found, land)


def _parts_enough(land: _Land, layout: Layout, level: float, between: tuple[float, int]) -> bool:
    """Return whether the rows part far enough anywhere for this short row."""
    step, k = between
    near = land.inside & (np.abs(land.f - level) <= step)
    return bool((step / land.rate[near] >= k * layout.between_rows_m - 1e-6).any())


def _joined(pieces: list[tuple[Array, Array]], land: _Land) -> list[tuple[Array, Array]]:
    """Order the pieces of a row along it; each begins where the one before ended, by the gap."""
    dx, dy = land.along
    pieces.sort(key=lambda p: float(p[0][0] @ (dx, dy)))
    found: list[tuple[Array, Array]] = []
    for xy, along in pieces:
        start = 0.0
        if found:
            last_xy, last = found[-1]
            gap = xy[0] - last_xy[-1]
            rise = np.diff(land.between(land.z, np.array([last_xy[-1], xy[0]])))[0]
            start = float(last[-1] + math.hypot(math.hypot(*gap) / land.scale, rise))
        found.append((xy, along - along[0] + start))
    return found


def _lines(land: _Land, level: float) -> list[Array]:
    dx, dy = land.along
    lines = land.lines.lines(level)
    turned = [line if (line[-1] - line[0]) @ (dx, dy) >= 0 else line[::-1] for line in lines]
    return [np.asarray(line, dtype=float) for line in turned if len(line) > 1]


def _dense(land: _Land, line: Array, spacing_m: float, scale: float) -> tuple[Array, Array]:
    """Return a line with a point at least every eighth of a spacing, and its way on the ground."""
    way = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    many = max(2, math.ceil(way[-1] / (spacing_m * scale / 8)) + 1)
    at = np.union1d(np.linspace(0.0, way[-1], many), way)
    xy = np.column_stack([np.interp(at, way, line[:, i]) for i in (0, 1)])
    z = land.between(land.z, xy)
    steps = np.hypot(np.hypot(*np.diff(xy, axis=0).T) / scale, np.diff(z))
    return xy, np.append(0.0, np.cumsum(steps))


def _off_ends(xy: Array, outline: BaseGeometry, headland: float) -> np.ndarray:
    """Return which points of a line lie a headland from where it enters and leaves the block."""
    if headland <= 0:
        return np.ones(len(xy), dtype=bool)
    way = np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))
    ok = np.zeros(len(xy), dtype=bool)
    for a, b in _runs(shapely.intersects_xy(outline, xy[:, 0], xy[:, 1])):
        ok[a : b + 1] = (way[a : b + 1] - way[a] >= headland) & (
            way[b] - way[a : b + 1] >= headland
        )
    return ok


def _runs(ok: np.ndarray) -> list[tuple[int, int]]:
    """Return first and last index of every run of True."""
    edge = np.diff(np.concatenate([[0], ok.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1) - 1
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True) if b > a]


def _along(start: float, end: float, layout: Layout) -> Array:
    """Return where trees stand on a run of ground from ``start`` to ``end`` [m]."""
    half = layout.spacing_m / 2.0
    begin = start + max(0.0, half - max(layout.setback_m, layout.headland_m))
    many = math.floor((end - begin) / layout.spacing_m + 1e-9) + 1
    return np.asarray(begin + np.arange(max(0, many)) * layout.spacing_m, dtype=np.float64)


def _not_crowded(xy: Array, z: Array, scale: float, least_m: float) -> np.ndarray:
    """Return which trees stay: of two that come too close on the ground the later one goes."""
    ok = np.ones(len(xy), dtype=bool)
    points = shapely.points(xy)
    first, second = shapely.STRtree(points).query(
        points, predicate="dwithin", distance=least_m * scale
    )
    pairs = first < second
    first, second = first[pairs], second[pairs]
    apart = np.hypot(np.hypot(*(xy[first] - xy[second]).T) / scale, z[first] - z[second])
    close = apart < least_m - 1e-9
    for i, j in sorted(zip(first[close].tolist(), second[close].tolist(), strict=True)):
        if ok[i] and ok[j]:
            ok[j] = False
    return ok
