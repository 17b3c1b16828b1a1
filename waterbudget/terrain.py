"""Heights from a height file (a DEM raster): per block, as contours, and as shade for the map.

Gradients are Horn's (Horn, B.K.P., 1981, "Hill shading and the reflectance map", Proceedings of
the IEEE 69, 14-47): weights 1 2 1 over a 3 x 3 neighbourhood.  The size of a cell is measured on
the ellipsoid row by row, so a file in degrees, in a UTM zone or in web-map metres gives the same
slope; aspect is turned from the grid's north to true north.  Cells at the border are worked out
with neighbours continued in a straight line.

Only raster kinds that hold their numbers themselves are opened, so no file can send the reader to
another one or to the network.  rasterio, exactextract and contourpy are imported on first use.
"""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, mapping
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused

Array = NDArray[np.float64]

BEGINNINGS = {
    b"II*\x00": "GTiff",
    b"MM\x00*": "GTiff",
    b"II+\x00": "GTiff",
    b"MM\x00+": "GTiff",
    b"EHFA": "HFA",
    b"ncol": "AAIGrid",
    b"UHL1": "DTED",
}
FEET = 0.3048
FLAT = 1e-3
MOST_CELLS = 4_000_000
MOST_LEVELS = 500
SUN_AZIMUTH, SUN_HEIGHT = 315.0, 45.0
"""Light from the upper left, the map maker's habit (common practice, no source)."""


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
        Direction the mean plane falls to, clockwise from true north [degrees]; None where flat.
    covered : float
        Share of the block that the file covers, 0 to 1.
    """

    mean_m: float | None
    min_m: float | None
    max_m: float | None
    slope_pct: float | None
    aspect_deg: float | None
    covered: float


NOTHING = HeightStats(None, None, None, None, None, 0.0)


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
    east, north = _gradient(z, cell_x_m, cell_y_m)
    slope = np.hypot(east, north)
    aspect = np.degrees(np.arctan2(-east, -north)) % 360
    return 100 * slope, np.where(slope > 0, aspect, np.nan)


def _gradient(z: Array, cell_x_m: float | Array, cell_y_m: float | Array) -> tuple[Array, Array]:
    """Return rise over run towards east and towards north."""
    p = np.pad(np.asarray(z, dtype=float), 1, mode="reflect", reflect_type="odd")
    nw, n, ne = p[:-2, :-2], p[:-2, 1:-1], p[:-2, 2:]
    w, e = p[1:-1, :-2], p[1:-1, 2:]
    sw, s, se = p[2:, :-2], p[2:, 1:-1], p[2:, 2:]
    east = ((ne + 2 * e + se) - (nw + 2 * w + sw)) / (8 * np.asarray(cell_x_m))
    north = ((nw + 2 * n + ne) - (sw + 2 * s + se)) / (8 * np.asarray(cell_y_m))
    return east, north


def block_heights(
    dem_path: Path, shapes: Sequence[BaseGeometry], epsg: int
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

    Raises
    ------
    Refused
        ``terrain.no_file``, ``.unreadable``, ``.no_system``, ``.not_heights``, ``.turned``.
    """
    with _opened(dem_path) as dem:
        crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
        move = pyproj.Transformer.from_crs(epsg, crs, always_xy=True)
        return tuple(_of_block(dem, crs, _moved(shape, move)) for shape in shapes)


def _of_block(dem: Any, crs: pyproj.CRS, shape: BaseGeometry) -> HeightStats:
    window = _window(dem, shape)
    if window is None:
        return NOTHING
    row, column, rows, columns = window
    z = _heights(dem, window)
    left, top, width, height = _grid(dem)
    left, top = left + column * width, top + row * height
    weight = _coverage(shape, (rows, columns), left, top, width, height)
    known = np.where(np.isfinite(z), weight, 0.0)
    if known.sum() == 0:
        return NOTHING
    cell_x, cell_y, turn = _cell_metres(crs, left, top, width, height, rows, columns)
    east, north = _gradient(z, cell_x, cell_y)
    sure = np.where(np.isfinite(east + north), weight, 0.0)
    slope = aspect = None
    if sure.sum() > 0:
        slope = 100 * _mean(np.hypot(east, north), sure)
        fall_e, fall_n = -_mean(east, sure), -_mean(north, sure)
        if math.hypot(fall_e, fall_n) > FLAT:
            aspect = (math.degrees(math.atan2(fall_e, fall_n)) + turn) % 360
    inside = known >= 0.5 if (known >= 0.5).any() else known > 0
    covered = known.sum() * abs(width * height) / shape.area
    return HeightStats(_mean(z, known), float(z[inside].min()), float(z[inside].max()),
                       slope, aspect, min(float(covered), 1.0))  # fmt: skip


def _mean(values: Array, weight: Array) -> float:
    use = weight > 0
    return float(np.average(values[use], weights=weight[use]))


def _window(dem: Any, shape: BaseGeometry) -> tuple[int, int, int, int] | None:
    """Return row, column, rows, columns of the cells under a shape, with two more around."""
    if shape.is_empty or not np.isfinite(shape.bounds).all():
        return None
    x0, y0, x1, y1 = shape.bounds
    left, top, width, height = _grid(dem)
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


def contours(dem_path: Path, epsg: int, step_m: float) -> list[LineString]:
    """Return lines of equal height in the farm's coordinates.

    Parameters
    ----------
    dem_path : Path
        A single-band raster of heights; a large one is read at a coarser grid.
    epsg : int
        Projected system of the farm.
    step_m : float
        Height between two lines [m].

    Returns
    -------
    list of LineString
        Their third coordinate is the height [m].

    Raises
    ------
    Refused
        As :func:`block_heights`, and ``terrain.bad_step`` where the step is no height or would
        give more than 500 levels.
    """
    with _opened(dem_path) as dem:
        crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
        z, left, top, width, height = _coarse(dem, MOST_CELLS)
    low, high = float(np.nanmin(z)), float(np.nanmax(z))
    if not step_m > 0 or (high - low) / step_m > MOST_LEVELS:
        raise Refused("terrain.bad_step", step_m=step_m, range_m=round(high - low))
    from contourpy import contour_generator

    x = left + (np.arange(z.shape[1]) + 0.5) * width
    y = top + (np.arange(z.shape[0]) + 0.5) * height
    generator = contour_generator(x, y, np.ma.masked_invalid(z))
    move = pyproj.Transformer.from_crs(crs, epsg, always_xy=True)
    found = []
    for number in range(math.ceil(low / step_m), math.floor(high / step_m) + 1):
        level = number * step_m
        lines: Any = generator.lines(level)
        for line in lines:
            east, north = move.transform(line[:, 0], line[:, 1])
            corners = np.column_stack([east, north, np.full(len(line), level)])
            if len(corners) > 1 and np.isfinite(corners).all():
                found.append(LineString(corners))
    return found


def hillshade(
    dem_path: Path, epsg: int, max_pixels: int
) -> tuple[NDArray[np.uint8], tuple[float, float, float, float]]:
    """Return a shaded picture of the land in the farm's coordinates.

    Parameters
    ----------
    max_pixels : int
        The picture has at most this many pixels.

    Returns
    -------
    picture : array of uint8, shape (rows, columns)
        1 dark to 255 bright, 0 where nothing is known; the first row in the north.
    bounds : (west, south, east, north)
        [m].

    Raises
    ------
    Refused
        As :func:`block_heights`.
    """
    with _opened(dem_path) as dem:
        z, bounds = _in_farm_grid(dem, epsg, max(int(max_pixels), 4))
    west, south, east, north = bounds
    rows, columns = z.shape
    rise_e, rise_n = _gradient(z, (east - west) / columns, (north - south) / rows)
    azimuth, above = math.radians(SUN_AZIMUTH), math.radians(SUN_HEIGHT)
    light = (
        math.sin(above)
        - math.cos(above) * (rise_e * math.sin(azimuth) + rise_n * math.cos(azimuth))
    ) / np.sqrt(1 + rise_e**2 + rise_n**2)
    shade = 1 + 254 * np.clip(light, 0, 1)
    return np.where(np.isfinite(shade), shade, 0).round().astype(np.uint8), bounds


def _in_farm_grid(
    dem: Any, epsg: int, max_pixels: int
) -> tuple[Array, tuple[float, float, float, float]]:
    """Return the heights on a grid of the farm's system, and its bounds."""
    from rasterio.transform import Affine
    from rasterio.warp import Resampling, calculate_default_transform, reproject

    z, left, top, width, height = _coarse(dem, max_pixels)
    rows, columns = z.shape
    source = Affine(width, 0, left, 0, height, top)
    target = f"EPSG:{epsg}"
    bounds = (left, top + rows * height, left + columns * width, top)
    transform, across, down = calculate_default_transform(dem.crs, target, columns, rows, *bounds)
    shrink = max(math.sqrt(across * down / max_pixels), 1.0)
    across, down = max(int(across / shrink), 2), max(int(down / shrink), 2)
    transform = Affine(transform.a * shrink, 0, transform.c, 0, transform.e * shrink, transform.f)
    out = np.full((down, across), np.nan)
    reproject(z, out, src_transform=source, src_crs=dem.crs, dst_transform=transform,
              dst_crs=target, src_nodata=np.nan, dst_nodata=np.nan,
              resampling=Resampling.bilinear)  # fmt: skip
    west, north = transform.c, transform.f
    return out, (west, north + down * transform.e, west + across * transform.a, north)


def _coarse(dem: Any, most: int) -> tuple[Array, float, float, float, float]:
    """Return all heights, averaged to at most so many cells: left, top, cell width and height."""
    shrink = max(math.sqrt(dem.width * dem.height / most), 1.0)
    rows, columns = max(int(dem.height / shrink), 2), max(int(dem.width / shrink), 2)
    left, top, width, height = _grid(dem)
    z = _heights(dem, (0, 0, dem.height, dem.width), (rows, columns))
    if not np.isfinite(z).any():
        raise Refused("terrain.not_heights", file=Path(dem.name).name)
    return z, left, top, width * dem.width / columns, height * dem.height / rows


def _grid(dem: Any) -> tuple[float, float, float, float]:
    """Return the upper left corner and the size of a cell (the height negative)."""
    return dem.transform.c, dem.transform.f, dem.transform.a, dem.transform.e


def _heights(
    dem: Any, window: tuple[int, int, int, int], size: tuple[int, int] | None = None
) -> Array:
    """Return heights [m], NaN where unknown."""
    from rasterio.enums import Resampling
    from rasterio.windows import Window

    row, column, rows, columns = window
    read = dem.read(1, window=Window(column, row, columns, rows), out_shape=size, masked=True,
                    resampling=Resampling.average)  # fmt: skip
    z: Array = np.ma.filled(read.astype(float), np.nan)
    z = z * dem.scales[0] + dem.offsets[0]
    if str(dem.units[0] or "").lower() in ("ft", "feet", "foot", "us-ft", "us survey foot"):
        z = z * FEET
    return np.where(np.abs(z) < 12_000, z, np.nan)


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """Open a height file and check that it is one."""
    path = Path(path)
    if not path.is_file():
        raise Refused("terrain.no_file", file=path.name)
    rasterio = _rasterio()
    from rasterio.errors import RasterioError

    try:
        dem = rasterio.open(path.resolve(), driver=_kind(path))
    except (RasterioError, OSError):
        raise Refused("terrain.unreadable", file=path.name) from None
    with contextlib.closing(dem):
        if dem.crs is None:
            raise Refused("terrain.no_system", file=path.name)
        if dem.count != 1 or dem.dtypes[0] in ("uint8", "complex64", "complex128"):
            raise Refused("terrain.not_heights", file=path.name)
        _, _, width, height = _grid(dem)
        if dem.transform.b or dem.transform.d or width <= 0 or height >= 0:
            raise Refused("terrain.turned", file=path.name)
        try:
            yield dem
        except RasterioError:
            raise Refused("terrain.unreadable", file=path.name) from None


def _kind(path: Path) -> str:
    """Return the raster kind a file begins like, so that nothing else is tried on it."""
    with path.open("rb") as file:
        start = file.read(4)
    kind = BEGINNINGS.get(start) or BEGINNINGS.get(start.lower())
    if kind is None and path.suffix.lower() == ".hgt":
        kind = "SRTMHGT"  # nothing but numbers, told by its name
    if kind is None:
        raise Refused("terrain.unreadable", file=path.name)
    return kind


@lru_cache(maxsize=1)
def _rasterio() -> Any:
    """Import rasterio free of data paths another program has set."""
    for name in ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA"):
        os.environ.pop(name, None)
    import rasterio

    pyproj.network.set_network_enabled(False)
    return rasterio


def _moved(shape: BaseGeometry, move: pyproj.Transformer) -> BaseGeometry:
    return shapely.transform(shape, lambda xy: np.column_stack(move.transform(*xy.T)))
