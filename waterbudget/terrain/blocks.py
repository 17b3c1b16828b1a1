"""Heights, slope and aspect of each block."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.terrain.opened import grid, heights, opened, unit_metres

Array = NDArray[np.float64]

FLAT = 1e-3

MOST_CELLS = 4_000_000
"""More cells than this under one block are averaged first."""
ONE_WAY = 0.5
"""Below this share a block falls to several sides and its direction says little (own estimate)."""
CLASSES = ((5.0, "any"), (15.0, "contour"), (30.0, "terrace"), (math.inf, "steep"))
"""Upper end of each slope class [%] and its code (own estimate; no limit for guava is known)."""


@dataclass(frozen=True)
class HeightStats:
    """Heights and slope of one block; None where the height file does not reach.

    Attributes
    ----------
    mean_m, min_m, max_m : float or None
        Elevation [m]; the mean weighted by how much of each cell lies in the block.
    slope_pct : float or None
        Mean slope [%].
    aspect_deg : float or None
        Direction the block falls to, clockwise from true north [degrees]: the circular mean over
        the cells, each by its steepness and its share in the block; None where flat.
    covered : float
        Share of the block that the file covers, 0 to 1.
    one_way : float or None
        1 where every cell falls the same way, 0 where the falls cancel (a ridge, a hollow) [-].
    area_ratio : float or None
        Area along the slope over plan area [-]: 1.0642 on a plane of 20 degrees.
    cells : float
        How many of the file's cells lie in the block.
    """

    mean_m: float | None
    min_m: float | None
    max_m: float | None
    slope_pct: float | None
    aspect_deg: float | None
    covered: float
    one_way: float | None = None
    area_ratio: float | None = None
    cells: float = 0.0


NOTHING = HeightStats(None, None, None, None, None, 0.0)


def slope_class(slope_pct: float) -> str:
    """Return the class of a slope: any, contour, terrace or steep.

    To 5 % any layout; to 15 % rows on the contour and a grassed alley; to 30 % bench or single
    terraces and drip; steeper ground is not planted, or worked by hand only, after a look at the
    law (own estimate).  A slope on the border belongs to the gentler class.
    """
    return next(code for top, code in CLASSES if slope_pct <= top)


def slope_aspect(z: Array, cell_x_m: float | Array, cell_y_m: float | Array) -> tuple[Array, Array]:
    """Return slope and aspect of a grid of heights by Horn's method.

    Parameters
    ----------
    z : array, shape (rows, columns)
        Heights [m], the first row in the north; NaN where unknown.
    cell_x_m, cell_y_m : float, or array of shape (rows, 1)
        Width and height of a cell [m].

    Returns
    -------
    slope_pct : array, shape (rows, columns)
        [%]; NaN where a neighbour is unknown.
    aspect_deg : array, shape (rows, columns)
        Direction of fall, clockwise from the grid's north [degrees]; NaN where level.
    """
    east, north = gradient(z, cell_x_m, cell_y_m)
    slope = np.hypot(east, north)
    aspect = np.degrees(np.arctan2(-east, -north)) % 360
    return 100 * slope, np.where(slope > 0, aspect, np.nan)


def gradient(z: Array, cell_x_m: float | Array, cell_y_m: float | Array) -> tuple[Array, Array]:
    """Return rise over run towards east and towards north."""
    p = np.pad(np.asarray(z, dtype=float), 1, mode="reflect", reflect_type="odd")
    nw, n, ne = p[:-2, :-2], p[:-2, 1:-1], p[:-2, 2:]
    w, e = p[1:-1, :-2], p[1:-1, 2:]
    sw, s, se = p[2:, :-2], p[2:, 1:-1], p[2:, 2:]
    east = ((ne + 2 * e + se) - (nw + 2 * w + sw)) / (8 * np.asarray(cell_x_m))
    north = ((nw + 2 * n + ne) - (sw + 2 * s + se)) / (8 * np.asarray(cell_y_m))
    return east, north


def block_heights(
    dem_path: Path, shapes: Sequence[BaseGeometry], epsg: int, *, unit: str | None = None
) -> tuple[HeightStats, ...]:
    """Return heights, slope and aspect of each block.

    Parameters
    ----------
    dem_path : Path
        A single-band raster of heights.
    shapes : sequence of Polygon or MultiPolygon
        In the farm's coordinates.
    epsg : int
        Projected system of the farm.
    unit : {"m", "ft"} or None
        Of the file's heights, where it does not say.

    Raises
    ------
    Refused
        ``terrain.no_file``, ``.unreadable``, ``.no_system``, ``.not_heights``, ``.turned``.
    AnswersNeeded
        ``height_unit`` where nothing tells whether the heights are metres or feet.
    """
    with opened(dem_path) as dem:
        metres = unit_metres(dem, unit)
        crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
        move = pyproj.Transformer.from_crs(epsg, crs, always_xy=True)
        return tuple(_of_block(dem, crs, _moved(shape, move), metres) for shape in shapes)


def _of_block(dem: Any, crs: pyproj.CRS, shape: BaseGeometry, metres: float) -> HeightStats:
    window = _window(dem, shape)
    if window is None:
        return NOTHING
    row, column, rows, columns = window
    left, top, width, height = grid(dem)
    left, top = left + column * width, top + row * height
    shrink = math.ceil(math.sqrt(rows * columns / MOST_CELLS))
    if shrink > 1:
        rows, columns = max(rows // shrink, 2), max(columns // shrink, 2)
        width, height = width * window[3] / columns, height * window[2] / rows
    z = heights(dem, window, (rows, columns) if shrink > 1 else None, metres)
    weight = _coverage(shape, (rows, columns), left, top, width, height)
    known = np.where(np.isfinite(z), weight, 0.0)
    if known.sum() == 0:
        return NOTHING
    cell_x, cell_y, turn = _cell_metres(crs, left, top, width, height, rows, columns)
    east, north = gradient(z, cell_x, cell_y)
    sure = np.where(np.isfinite(east + north), weight, 0.0)
    slope = aspect = one_way = ratio = None
    if sure.sum() > 0:
        rise = np.hypot(east, north)
        slope, ratio = 100 * _mean(rise, sure), _mean(np.hypot(1.0, rise), sure)
        fall_e, fall_n = -_mean(east, sure), -_mean(north, sure)
        plane = math.hypot(fall_e, fall_n)
        if plane > FLAT:
            aspect = (math.degrees(math.atan2(fall_e, fall_n)) + turn) % 360
            one_way = min(plane * 100 / slope, 1.0)
    inside = known >= 0.5 if (known >= 0.5).any() else known > 0
    covered = known.sum() * abs(width * height) / shape.area
    return HeightStats(_mean(z, known), float(z[inside].min()), float(z[inside].max()),
                       slope, aspect, min(float(covered), 1.0), one_way, ratio,
                       float(known.sum()))  # fmt: skip


def _mean(values: Array, weight: Array) -> float:
    use = weight > 0
    return float(np.average(values[use], weights=weight[use]))


def _window(dem: Any, shape: BaseGeometry) -> tuple[int, int, int, int] | None:
    """Return row, column, rows, columns of the cells under a shape, with two more around."""
    if shape.is_empty or not np.isfinite(shape.bounds).all():
        return None
    x0, y0, x1, y1 = shape.bounds
    left, top, width, height = grid(dem)
    columns = sorted(((x0 - left) / width, (x1 - left) / width))
    rows = sorted(((y0 - top) / height, (y1 - top) / height))
    c0, c1 = max(math.floor(columns[0]) - 2, 0), min(math.ceil(columns[1]) + 2, dem.width)
    r0, r1 = max(math.floor(rows[0]) - 2, 0), min(math.ceil(rows[1]) + 2, dem.height)
    return (r0, c0, r1 - r0, c1 - c0) if c1 - c0 > 1 and r1 - r0 > 1 else None


def _coverage(
    shape: BaseGeometry, size: tuple[int, int], left: float, top: float, width: float, height: float
) -> Array:
    """Return the share of each cell that lies in a shape."""
    rows, columns = size
    try:
        from exactextract import exact_extract
        from exactextract.raster import NumPyRasterSource
    except ImportError:
        return _sampled_coverage(shape, size, left, top, width, height)
    bottom, right = top + rows * height, left + columns * width
    raster = NumPyRasterSource(np.zeros(size), left, bottom, right, top)
    feature = {"type": "Feature", "properties": {}, "geometry": mapping(shape)}
    found = exact_extract(raster, [feature], ["cell_id", "coverage"])[0]["properties"]
    weight = np.zeros(rows * columns)
    weight[np.asarray(found["cell_id"], dtype=int)] = found["coverage"]
    return weight.reshape(size)


def _sampled_coverage(
    shape: BaseGeometry, size: tuple[int, int], left: float, top: float, width: float, height: float
) -> Array:
    """Return the share of each cell that lies in a shape, from 8 x 8 points a cell."""
    fine = 8
    rows, columns = size
    xs = left + (np.arange(columns * fine) + 0.5) * width / fine
    weight = np.zeros(size)
    for row in range(rows):
        ys = top + (row * fine + np.arange(fine) + 0.5) * height / fine
        hits = shapely.contains_xy(shape, *np.meshgrid(xs, ys))
        weight[row] = hits.reshape(fine, columns, fine).mean(axis=(0, 2))
    return weight


def _cell_metres(
    crs: pyproj.CRS, left: float, top: float, width: float, height: float, rows: int, columns: int
) -> tuple[Array, Array, float]:
    """Return the width and height of the cells of each row [m], and the grid's north [degrees].

    Measured on the ellipsoid at the middle column.
    """
    move = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    x = np.full(rows, left + columns / 2 * width)
    y = top + (np.arange(rows) + 0.5) * height
    lon, lat = move.transform(x, y)
    lon_e, lat_e = move.transform(x + width, y)
    lon_n, lat_n = move.transform(x, y - height)
    geod = pyproj.Geod(ellps="WGS84")
    *_, wide = geod.inv(lon, lat, lon_e, lat_e)
    north, _, high = geod.inv(lon, lat, lon_n, lat_n)
    middle = rows // 2
    return np.asarray(wide)[:, None], np.asarray(high)[:, None], float(north[middle])


def _moved(shape: BaseGeometry, move: pyproj.Transformer) -> BaseGeometry:
    return shapely.transform(shape, lambda xy: np.column_stack(move.transform(*xy.T)))


def whole_slopes(dem_path: Path, *, unit: str | None = None) -> tuple[Array, Array, Array]:
    """Return heights, slope and aspect of every cell of a height file.

    Returns
    -------
    z_m, slope_pct, aspect_deg : array, shape (rows, columns)
        [m], [%], clockwise from true north [degrees]; NaN where unknown, aspect also where level.

    Raises
    ------
    Refused, AnswersNeeded
        As :func:`block_heights`; ``terrain.too_fine`` for more than 16 million cells.
    """
    with opened(dem_path) as dem:
        if dem.width * dem.height > 4 * MOST_CELLS:
            raise Refused("terrain.too_fine", file=Path(dem.name).name)
        z = heights(dem, (0, 0, dem.height, dem.width), None, unit_metres(dem, unit))
        crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
        cell_x, cell_y, turn = _cell_metres(crs, *grid(dem), dem.height, dem.width)
    slope, aspect = slope_aspect(z, cell_x, cell_y)
    return z, slope, (aspect + turn) % 360.0


def heights_at(
    dem_path: Path, points: Array, epsg: int, *, unit: str | None = None
) -> tuple[Array, float]:
    """Return the heights at points, straight between the four cell centres around each.

    Parameters
    ----------
    points : array, shape (points, 2)
        East and north in the farm's coordinates [m].

    Returns
    -------
    z_m : array, shape (points,)
        [m]; NaN where the file does not reach or a cell around is unknown.
    cell_m : float
        Size of the file's cells there [m].

    Raises
    ------
    Refused, AnswersNeeded
        As :func:`block_heights`.
    """
    with opened(dem_path) as dem:
        metres = unit_metres(dem, unit)
        crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
        move = pyproj.Transformer.from_crs(epsg, crs, always_xy=True)
        x, y = move.transform(points[:, 0], points[:, 1])
        left, top, width, height = grid(dem)
        column = (np.asarray(x) - left) / width - 0.5
        row = (np.asarray(y) - top) / height - 0.5
        z = np.full(len(points), np.nan)
        inside = (column > -0.5) & (column < dem.width - 0.5)
        inside &= (row > -0.5) & (row < dem.height - 0.5)
        if not inside.any():
            return z, math.nan
        c0, r0 = int(max(column[inside].min(), 0)), int(max(row[inside].min(), 0))
        c1 = min(int(column[inside].max()) + 2, dem.width)
        r1 = min(int(row[inside].max()) + 2, dem.height)
        if (r1 - r0) * (c1 - c0) > 4 * MOST_CELLS:
            raise Refused("terrain.too_fine", file=Path(dem.name).name)
        around = heights(dem, (r0, c0, r1 - r0, c1 - c0), None, metres)
        z[inside] = _between(around, row[inside] - r0, column[inside] - c0)
        wide, _, _ = _cell_metres(crs, left + c0 * width, top + r0 * height, width, height, 1, 1)
        return z, float(wide[0, 0])


def _between(z: Array, row: Array, column: Array) -> Array:
    """Return heights between cell centres; beyond the outermost centres that of the edge."""
    row, column = np.clip(row, 0, z.shape[0] - 1), np.clip(column, 0, z.shape[1] - 1)
    r, c = row.astype(int), column.astype(int)
    below, right = np.minimum(r + 1, z.shape[0] - 1), np.minimum(c + 1, z.shape[1] - 1)
    down, across = row - r, column - c
    upper = z[r, c] * (1 - across) + z[r, right] * across
    lower = z[below, c] * (1 - across) + z[below, right] * across
    result: Array = upper * (1 - down) + lower * down
    return result
