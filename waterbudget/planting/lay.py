"""Set trees out in a block: the layout as stored, the lie of the land, the ground kept free."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from waterbudget import layout as distances
from waterbudget.errors import Note, Refused
from waterbudget.orchard import Block
from waterbudget.outlines import area_ha
from waterbudget.outlines.geodesy import polygons_of
from waterbudget.outlines.sides import place_at, side
from waterbudget.planting.contour import lay_contour
from waterbudget.planting.model import Ground, Layout, Planting
from waterbudget.planting.straight import lay_straight
from waterbudget.records import LandMark

PLAIN = 0.02
"""Corners that move an edge by less than this share of the block's size do not make a side."""
MEASURED_OVER = 200.0


def layout_of(block: Block, epsg: int, **changed: Any) -> Layout:
    """Return the layout a block has, with some of it changed.

    Parameters
    ----------
    **changed
        Fields of :class:`Layout`; a pattern without a distance between rows of its own takes the
        block's only where the block has the same pattern.

    Raises
    ------
    Refused
        ``planting.no_spacing`` where no distance between trees is known; as :class:`Layout`.
    """
    pattern = changed.get("pattern") or block.pattern or (
        "rectangle" if block.row_spacing_m is not None else "square")  # fmt: skip
    origin = None
    if block.grid_lat is not None and block.grid_lon is not None:
        origin = place_at(block.grid_lat, block.grid_lon, epsg)
    same = block.pattern in (None, pattern)
    held: dict[str, Any] = {
        "spacing_m": block.spacing_m, "row_spacing_m": block.row_spacing_m if same else None,
        "bearing_deg": block.row_bearing_deg, "fall_pct": block.row_fall_pct,
        "setback_m": block.setback_m or 0.0, "headland_m": block.headland_m or 0.0,
        "origin": origin,
    }  # fmt: skip
    held |= changed
    held["pattern"] = pattern
    if held["spacing_m"] is None:
        raise Refused("planting.no_spacing", block=block.name)
    moved = {"pattern", "bearing_deg", "spacing_m", "row_spacing_m", "setback_m", "headland_m"}
    if "origin" not in changed and any(
        k in changed and changed[k] != _own(block, k) for k in moved
    ):
        held["origin"] = None  # another grid begins anew at the edge
    return Layout(**held)


def _own(block: Block, name: str) -> Any:
    key = {"bearing_deg": "row_bearing_deg"}.get(name, name)
    value = getattr(block, key)
    return (value or 0.0) if name in ("setback_m", "headland_m") else value


def set_out(
    outline: BaseGeometry | None, layout: Layout, epsg: int, *, name: str = "",
    ground: Ground | None = None, kept: Iterable[LandMark] = (),
) -> Planting:  # fmt: skip
    """Return the tree places of a layout inside an outline.

    Parameters
    ----------
    outline : Polygon or MultiPolygon or None
        In the farm's coordinates.
    name : str
        Of the block, for what is told.
    ground : Ground, optional
        Contour rows need its grid of heights.
    kept : iterable of LandMark
        Roads, rocks and water.

    Raises
    ------
    Refused
        ``planting.no_outline``, ``.no_heights``, ``.no_row_spacing``, ``.no_room``,
        ``.too_many``, ``.flat``, ``.heights_short``.
    """
    if outline is None or not polygons_of(outline):
        raise Refused("planting.no_outline", block=name)
    ground = ground or Ground()
    scale, turn = coordinates(outline, epsg)
    bare = [(m.shape, m.width_m / 2.0 * scale) for m in kept if _near(m, outline)]
    if layout.pattern == "contour":
        if ground.z_m is None:
            raise Refused("planting.no_heights", block=name)
        made = lay_contour(outline, layout, ground, bare, epsg, scale, turn, name)
    else:
        if layout.bearing_deg is None:
            layout = replace(layout, bearing_deg=longest_side_deg(outline, epsg))
        layout = replace(layout, bearing_deg=(layout.bearing_deg or 0.0) % 360.0)
        made = lay_straight(outline, layout, ground, bare, epsg, scale, turn)
    if not made.trees:
        raise Refused("planting.no_room", block=name)
    return replace(made, notes=(*_slope_notes(made), *made.notes))


def _near(mark: LandMark, outline: BaseGeometry) -> bool:
    reach = mark.width_m + 1.0
    x0, y0, x1, y1 = outline.bounds
    a0, b0, a1, b1 = mark.shape.bounds
    return bool(a0 <= x1 + reach and a1 >= x0 - reach and b0 <= y1 + reach and b1 >= y0 - reach)


def _slope_notes(made: Planting) -> list[Note]:
    if made.layout.pattern == "contour":
        return []
    if not made.slope_pct:
        return [Note.of("planting.level" if made.slope_pct == 0 else "planting.slope_unknown")]
    told: dict[str, Any] = {
        "slope_pct": round(made.slope_pct, 1), "spacing_m": made.layout.spacing_m,
        "plan_m": round(made.plan_spacing_m, 2), "rows_m": round(made.layout.between_rows_m, 2),
        "plan_rows_m": round(made.plan_row_m, 2),
    }  # fmt: skip
    if made.aspect_deg is None:
        return [Note.of("planting.slope_across", **told)]
    return [Note.of("planting.slope", aspect=round(made.aspect_deg), **told)]


def coordinates(outline: BaseGeometry, epsg: int) -> tuple[float, float]:
    """Return metres of the coordinates in one on the map, and the true bearing of their north."""
    x0, y0, x1, y1 = outline.bounds
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    half = MEASURED_OVER / 2
    length, bearing = side((x, y - half), (x, y + half), epsg)
    return MEASURED_OVER / length, (bearing + 180.0) % 360.0 - 180.0


def longest_side_deg(outline: BaseGeometry, epsg: int) -> float:
    """Return the true bearing of the longest side of an outline, 0 to 180 [degrees].

    Corners of a walk that hardly turn do not end a side.  Of equally long sides the one with the
    smallest bearing counts, so the answer does not hang on where the outline begins.
    """
    plain = shapely.simplify(outline, PLAIN * math.sqrt(outline.area))
    parts = polygons_of(plain) or polygons_of(outline)
    _, turn = coordinates(outline, epsg)
    found: list[tuple[float, float]] = []
    for part in parts:
        corners = shapely.get_coordinates(part.exterior)
        dx, dy = np.diff(corners, axis=0).T
        bearing = (np.degrees(np.arctan2(dx, dy)) + turn) % 180.0
        bearing = np.where(bearing > 180.0 - 1e-6, 0.0, bearing)
        found += zip(np.hypot(dx, dy).tolist(), bearing.tolist(), strict=True)
    longest = max(length for length, _ in found)
    return round(min(b for length, b in found if length > longest * (1 - 1e-6)), 6) % 180.0


def count_places(
    block: Block, epsg: int, kept: Sequence[LandMark] = ()
) -> tuple[tuple[int, ...] | None, int | None]:
    """Return the trees in each row of a block as it is set out, and all of them.

    Contour rows cannot be laid without a height file at hand: theirs is the ground that may
    carry trees over the ground of a tree, and None for the rows.  (None, None) where nothing can
    be known.
    """
    if block.outline is None or block.spacing_m is None:
        return None, None
    try:
        layout = layout_of(block, epsg)
        shapes = tuple(m for m in kept if _near(m, block.outline))
        if layout.pattern == "contour":
            return None, _by_ground(block, layout, epsg, shapes)
        rows = _row_counts(block.outline, layout, epsg, block.slope_pct, block.aspect_deg, shapes)
    except Refused:
        return None, None
    return rows, sum(rows)


@lru_cache(maxsize=4096)
def _row_counts(
    outline: BaseGeometry, layout: Layout, epsg: int, slope_pct: float | None,
    aspect_deg: float | None, kept: tuple[LandMark, ...],
) -> tuple[int, ...]:  # fmt: skip
    made = set_out(outline, layout, epsg, ground=Ground(slope_pct, aspect_deg), kept=kept)
    return tuple(made.in_row.tolist())


def _by_ground(block: Block, layout: Layout, epsg: int, kept: tuple[LandMark, ...]) -> int | None:
    assert block.outline is not None
    scale, _ = coordinates(block.outline, epsg)
    room = shapely.buffer(block.outline, -layout.setback_m * scale)
    for mark in kept:
        room = shapely.difference(room, shapely.buffer(mark.shape, mark.width_m / 2 * scale))
    rows = float(distances.plan_distance_m(layout.between_rows_m, block.slope_pct or 0.0))
    return max(1, round(area_ha(room, epsg) * 1e4 / (layout.spacing_m * rows)))
