"""Positions, areas and lengths: between degrees and the farm's metres, and on the ellipsoid.

Outlines are kept in a UTM zone; areas and lengths are geodesic on WGS84 (Karney, C.F.F., 2013,
"Algorithms for geodesics", Journal of Geodesy 87, 43-55, as in PROJ), so the scale of the
projection never enters a hectare.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TypeVar, cast

import numpy as np
import pyproj
import pyproj.network
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused

Shape = TypeVar("Shape", bound=BaseGeometry)
Points = NDArray[np.float64]
"""Corners, one a row: x (east or longitude), y (north or latitude)."""

M2_PER_HA = 10_000.0


def utm_epsg(lat: float, lon: float) -> int:
    """Return the EPSG code of the WGS84 UTM zone a position lies in.

    Parameters
    ----------
    lat, lon : float
        [decimal degrees], south and west negative.

    Raises
    ------
    Refused
        ``outlines.bad_position`` where it is no position on which UTM is defined (84 N to 80 S).

    Notes
    -----
    Plain six-degree zones; the exceptions around Norway and Svalbard are left out, since every
    area here is geodesic and so does not depend on the zone.
    """
    if not (math.isfinite(lat) and math.isfinite(lon) and -80 <= lat <= 84 and -180 <= lon <= 180):
        raise Refused("outlines.bad_position", lat=lat, lon=lon)
    zone = min(int((lon + 180) // 6) + 1, 60)
    return (32600 if lat >= 0 else 32700) + zone


@lru_cache(maxsize=1)
def ellipsoid() -> pyproj.Geod:
    """Return the WGS84 ellipsoid."""
    return pyproj.Geod(ellps="WGS84")


@lru_cache(maxsize=64)
def _transformer(source: int, target: int) -> pyproj.Transformer:
    pyproj.network.set_network_enabled(False)
    return pyproj.Transformer.from_crs(source, target, always_xy=True)


def move(points: Points, source: int, target: int) -> Points:
    """Return corners of one EPSG system in another; what cannot be moved becomes infinite."""
    if source == target or not len(points):
        return points
    x, y = _transformer(source, target).transform(points[:, 0], points[:, 1])
    return np.column_stack([x, y])


def to_lonlat(shape: Shape, epsg: int) -> Shape:
    """Return a shape of the farm's coordinates as WGS84 longitude, latitude [degrees]."""
    return cast(Shape, shapely.transform(shape, lambda xy: move(xy, epsg, 4326)))


def from_lonlat(shape: Shape, epsg: int) -> Shape:
    """Return a shape of WGS84 longitude, latitude [degrees] in the farm's coordinates [m]."""
    return cast(Shape, shapely.transform(shape, lambda xy: move(xy, 4326, epsg)))


def polygons_of(shape: BaseGeometry) -> tuple[Polygon, ...]:
    """Return the polygons of a polygon or multipolygon (none for anything else)."""
    if isinstance(shape, Polygon):
        return () if shape.is_empty else (shape,)
    if isinstance(shape, MultiPolygon):
        return tuple(p for p in shape.geoms if not p.is_empty)
    return ()


def area_ha(shape: BaseGeometry, epsg: int) -> float:
    """Return the geodesic plan area [ha] of a polygon or multipolygon, holes taken off.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        In the coordinates of ``epsg``.
    epsg : int
        Projected coordinate system of the farm.
    """
    total = 0.0
    for polygon in polygons_of(to_lonlat(shape, epsg)):
        total += _ring_m2(shapely.get_coordinates(polygon.exterior))
        total -= sum(_ring_m2(shapely.get_coordinates(hole)) for hole in polygon.interiors)
    return total / M2_PER_HA


def perimeter_m(shape: BaseGeometry, epsg: int) -> float:
    """Return the geodesic length [m] of all edges of a shape, holes included."""
    lonlat = to_lonlat(shape, epsg)
    if polygons := polygons_of(lonlat):
        rings = [r for p in polygons for r in (p.exterior, *p.interiors)]
    else:
        rings = [g for g in shapely.get_parts(lonlat) if isinstance(g, LineString)]
    geod = ellipsoid()
    return float(sum(geod.line_length(*shapely.get_coordinates(r).T) for r in rings))


def _ring_m2(lonlat: Points) -> float:
    area, _ = ellipsoid().polygon_area_perimeter(lonlat[:, 0], lonlat[:, 1])
    return abs(float(area))


def distance_km(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    """Return the geodesic distance [km] between two positions [degrees]."""
    *_, metres = ellipsoid().inv(lon1, lat1, lon2, lat2)
    return float(metres) / 1000
