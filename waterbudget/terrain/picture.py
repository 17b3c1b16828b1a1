"""Lines of equal height and a shaded picture of the land, for the map."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray
from shapely.geometry import LineString

from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.terrain.blocks import MOST_CELLS, gradient
from waterbudget.terrain.opened import FEET, grid, heights, opened, unit_metres

Array = NDArray[np.float64]

MOST_LEVELS = 500
SUN_AZIMUTH, SUN_HEIGHT = 315.0, 45.0
"""Light from the upper left, the map maker's habit (common practice, no source)."""


def contours(
    dem_path: Path, epsg: int, step_m: float, *, unit: str | None = None
) -> list[LineString]:
    """Return lines of equal height in the farm's coordinates.

    Parameters
    ----------
    dem_path : Path
        A single-band raster of heights; a large one is read at a coarser grid.
    epsg : int
        Projected system of the farm.
    step_m : float
        Height between two lines [m].
    unit : {"m", "ft"} or None
        Of the file's heights, where it does not say.

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
    with opened(dem_path) as dem:
        crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
        z, left, top, width, height = _coarse(dem, MOST_CELLS, unit_metres(dem, unit))
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
    dem_path: Path, epsg: int, max_pixels: int, *, unit: str | None = None
) -> tuple[NDArray[np.uint8], tuple[float, float, float, float]]:
    """Return a shaded picture of the land in the farm's coordinates.

    Parameters
    ----------
    max_pixels : int
        The picture has at most this many pixels.
    unit : {"m", "ft"} or None
        Of the file's heights; a shade need not be exact, so one on a map in feet that says
        nothing is taken as feet without asking.

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
    with opened(dem_path) as dem:
        try:
            metres = unit_metres(dem, unit)
        except AnswersNeeded:
            metres = FEET
        z, bounds = _in_farm_grid(dem, epsg, max(int(max_pixels), 4), metres)
    west, south, east, north = bounds
    rows, columns = z.shape
    rise_e, rise_n = gradient(z, (east - west) / columns, (north - south) / rows)
    azimuth, above = math.radians(SUN_AZIMUTH), math.radians(SUN_HEIGHT)
    light = (
        math.sin(above)
        - math.cos(above) * (rise_e * math.sin(azimuth) + rise_n * math.cos(azimuth))
    ) / np.sqrt(1 + rise_e**2 + rise_n**2)
    shade = 1 + 254 * np.clip(light, 0, 1)
    return np.where(np.isfinite(shade), shade, 0).round().astype(np.uint8), bounds


def _in_farm_grid(
    dem: Any, epsg: int, max_pixels: int, metres: float
) -> tuple[Array, tuple[float, float, float, float]]:
    """Return the heights on a grid of the farm's system, and its bounds."""
    from rasterio.transform import Affine
    from rasterio.warp import Resampling, calculate_default_transform, reproject

    z, left, top, width, height = _coarse(dem, max_pixels, metres)
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


def _coarse(dem: Any, most: int, metres: float) -> tuple[Array, float, float, float, float]:
    """Return all heights, averaged to at most so many cells: left, top, cell width and height."""
    shrink = max(math.sqrt(dem.width * dem.height / most), 1.0)
    rows, columns = max(int(dem.height / shrink), 2), max(int(dem.width / shrink), 2)
    left, top, width, height = grid(dem)
    z = heights(dem, (0, 0, dem.height, dem.width), (rows, columns), metres)
    if not np.isfinite(z).any():
        raise Refused("terrain.not_heights", file=Path(dem.name).name)
    return z, left, top, width * dem.width / columns, height * dem.height / rows
