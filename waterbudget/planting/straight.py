"""Square, rectangle and triangle: a lattice on the slope, seen from above, cut by the outline.

Distances hold along the ground.  A block on an even slope is a tilted plane; the lattice lies on
it, so from above it is narrower in the direction of fall (and leans where the rows run askew).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.planting.model import MOST_PLACES, Array, Ground, Layout, Planting

HAIR = 0.005
"""What may lack of a distance to an edge [m]: no peg is set truer, and a row that stands right on
the line must not come and go with the last figure of a position (own estimate)."""
EDGE = 0.3
"""Share of a spacing kept to an edge where no setback is given (own estimate): with it as many
rows and trees stand as the ground gives room for, to about the nearest whole one."""
Kept = Sequence[tuple[BaseGeometry, float]]
"""Ground without trees: shape, and the distance kept free around it [m of the coordinates]."""


@dataclass(frozen=True)
class Frame:
    """Coordinates along (u) and across (v, to the right) the rows, around a middle."""

    x: float
    y: float
    sin: float
    cos: float

    @classmethod
    def of(cls, outline: BaseGeometry, bearing_deg: float) -> Frame:
        """Return the frame of rows at a bearing from the coordinates' north."""
        x0, y0, x1, y1 = outline.bounds
        angle = math.radians(bearing_deg % 360.0)
        return cls((x0 + x1) / 2, (y0 + y1) / 2, math.sin(angle), math.cos(angle))

    def to_uv(self, xy: Array) -> Array:
        """Return coordinates in the frame, shape (points, 2)."""
        x, y = xy[:, 0] - self.x, xy[:, 1] - self.y
        return np.column_stack([x * self.sin + y * self.cos, x * self.cos - y * self.sin])

    def to_xy(self, u: Array, v: Array) -> Array:
        """Return points of the frame in the farm's coordinates, shape (points, 2)."""
        x, y = u * self.sin + v * self.cos, u * self.cos - v * self.sin
        return np.column_stack([self.x + x, self.y + y])


def lattice(
    spacing_m: float, rows_m: float, along: float, across: float
) -> tuple[float, float, float]:
    """Return the plan steps of a lattice that is square-cornered on a tilted plane.

    Parameters
    ----------
    spacing_m, rows_m : float
        Along the ground [m].
    along, across : float
        Rise over run of the plane along the rows and to their right [-].

    Returns
    -------
    step : float
        Plan distance between trees in a row [m].
    shift, apart : float
        How far the next row is moved along the rows, and its plan distance [m].

    Notes
    -----
    On the plane z = along u + across v the row's direction is r = (1, 0, along) / |...|; the
    direction square to it in the plane is n x r with n = (-along, -across, 1) / |...|.  From
    above both are seen without their height.
    """
    down_row = math.hypot(1.0, along)
    normal = math.sqrt(1.0 + along**2 + across**2)
    shift, apart = along * across / (normal * down_row), down_row / normal
    return spacing_m / down_row, -shift * rows_m, apart * rows_m


def free(xy: Array, outline: BaseGeometry, setback: float, kept: Kept) -> np.ndarray:
    """Return which points may carry a tree: inside, off the edge, off roads, rocks and water."""
    shapely.prepare(outline)
    ok: np.ndarray = shapely.intersects_xy(outline, xy[:, 0], xy[:, 1])
    if setback > 0 and ok.any():
        ok = _away(xy, ok, outline.boundary, setback)
    for shape, width in kept:
        if ok.any():
            ok = _away(xy, ok, shape, width)
    return ok


def _away(xy: Array, ok: np.ndarray, shape: BaseGeometry, distance: float) -> np.ndarray:
    shapely.prepare(shape)
    at = np.flatnonzero(ok)
    points = shapely.points(xy[at])
    near = shapely.dwithin(shape, points, max(distance - HAIR, 0.0))
    found = ok.copy()
    found[at[near]] = False
    return found


def lay_straight(
    outline: BaseGeometry, layout: Layout, ground: Ground, kept: Kept, epsg: int, scale: float,
    turn_deg: float,
) -> Planting:  # fmt: skip
    """Set out a straight pattern.

    Parameters
    ----------
    outline : Polygon or MultiPolygon
        In the farm's coordinates.
    layout : Layout
        Its bearing given.
    kept : sequence of (shape, distance)

    Raises
    ------
    Refused
        ``planting.too_many``.
    """
    assert layout.bearing_deg is not None
    frame = Frame.of(outline, layout.bearing_deg - turn_deg)
    along, across = _rises(layout.bearing_deg, ground)
    plan = lattice(layout.spacing_m, layout.between_rows_m, along, across)
    step, shift, apart = (d * scale for d in plan)
    uv = frame.to_uv(shapely.get_coordinates(outline))
    low, high = uv.min(axis=0), uv.max(axis=0)
    setback, headland = layout.setback_m * scale, layout.headland_m * scale
    u0, v0 = _first(layout, frame, (low, high), (step, apart), (setback, headland))
    j = np.arange(math.ceil((low[1] - v0) / apart - 1e-9),
                  math.floor((high[1] - v0) / apart + 1e-9) + 1)  # fmt: skip
    many = math.floor((high[0] - low[0]) / step) + 2
    if len(j) * many > 8 * MOST_PLACES:
        raise Refused("planting.too_many", most=MOST_PLACES)
    offset = u0 + j * shift + (np.where(j % 2 == 1, step / 2, 0.0)
                               if layout.pattern == "triangle" else 0.0)  # fmt: skip
    first = np.ceil((low[0] - offset) / step - 1e-9)
    u = (offset + first * step)[:, None] + np.arange(many) * step
    v = np.broadcast_to((v0 + j * apart)[:, None], u.shape)
    line = np.broadcast_to(j[:, None], u.shape).ravel()
    u, v = u.ravel(), v.ravel()
    xy = frame.to_xy(u, v)
    ok = free(xy, outline, setback, kept)
    if headland > 0 and ok.any():
        ok &= _off_ends(u, line, j, v0 + j * apart, frame, outline, headland, (low[0], high[0]))
    if ok.sum() > MOST_PLACES:
        raise Refused("planting.too_many", most=MOST_PLACES)
    u, line, xy = u[ok], line[ok], xy[ok]
    row = np.unique(line, return_inverse=True)[1].astype(np.int64) + 1
    starts = np.flatnonzero(np.diff(row, prepend=0))
    counts = np.diff(np.append(starts, len(row)))
    begin = np.repeat(starts, counts)
    origin = frame.to_xy(np.array([u0]), np.array([v0]))[0]
    used = replace(layout, origin=(float(origin[0]), float(origin[1])),
                   row_spacing_m=layout.between_rows_m)  # fmt: skip
    return Planting(
        layout=used, epsg=epsg, x=xy[:, 0], y=xy[:, 1], row=row,
        number=np.arange(len(row)) - begin + 1,
        along_m=(u - u[begin]) / scale * math.hypot(1.0, along) if len(u) else u,
        plan_spacing_m=plan[0], plan_row_m=plan[2], scale=scale, turn_deg=turn_deg,
        slope_pct=ground.slope_pct, aspect_deg=ground.aspect_deg,
    )  # fmt: skip


def _first(
    layout: Layout, frame: Frame, span: tuple[Array, Array], steps: tuple[float, float],
    kept: tuple[float, float],
) -> tuple[float, float]:  # fmt: skip
    """Return the place of one tree in the frame: the one given, or evenly between the edges."""
    if layout.origin is not None:
        u, v = frame.to_uv(np.array([layout.origin]))[0]
        return float(u), float(v)
    (low, high), (step, apart), (setback, headland) = span, steps, kept
    turns = step / 2 if layout.pattern == "triangle" else step  # two rows share its places
    u0 = _begin(low[0], high[0], turns, max(setback, headland) or EDGE * turns)
    return u0, _begin(low[1], high[1], apart, setback or EDGE * apart)


def _begin(low: float, high: float, step: float, margin: float) -> float:
    """Return where the first tree stands so that as much is left over at both ends."""
    room = high - low
    return low + (room - max(0, math.floor((room - 2 * margin) / step + 1e-9)) * step) / 2


def _rises(bearing_deg: float, ground: Ground) -> tuple[float, float]:
    """Return rise over run along the rows and to their right."""
    if not ground.slope_pct:
        return 0.0, 0.0
    slope = ground.slope_pct / 100.0
    if ground.aspect_deg is None:
        return 0.0, slope  # rows across the slope, as they should run
    apart = math.radians(ground.aspect_deg - bearing_deg)
    return -slope * math.cos(apart), -slope * math.sin(apart)


def _off_ends(
    u: Array, line: np.ndarray, lines: np.ndarray, v: Array, frame: Frame, outline: BaseGeometry,
    headland: float, span: tuple[float, float],
) -> np.ndarray:  # fmt: skip
    """Return which points lie at least a headland from where their row leaves the block."""
    low, high = span[0] - 1.0, span[1] + 1.0
    ends = np.stack([frame.to_xy(np.full(len(v), e), v) for e in (low, high)], axis=1)
    pieces, of_row = shapely.get_parts(
        shapely.intersection(shapely.linestrings(ends), outline), return_index=True
    )
    keep = shapely.get_type_id(pieces) == 1
    pieces, of_row = pieces[keep], of_row[keep]
    if not len(pieces):
        return np.zeros(len(u), dtype=bool)
    u_of = frame.to_uv(shapely.get_coordinates(pieces))[:, 0]
    at = np.append(0, np.cumsum(shapely.get_num_coordinates(pieces)))[:-1]
    start, end = np.minimum.reduceat(u_of, at), np.maximum.reduceat(u_of, at)
    wide = 2.0 * (high - low)
    key = of_row * wide + (start - low)
    order = np.argsort(key, kind="stable")
    mine = (line - lines[0]) * wide + (u - low)
    found = np.searchsorted(key[order], mine + 1e-6, side="right") - 1
    piece = order[np.maximum(found, 0)]
    same = (found >= 0) & (of_row[piece] == line - lines[0])
    inside = (u - start[piece] >= headland - HAIR) & (end[piece] - u >= headland - HAIR)
    result: np.ndarray = same & inside
    return result
