"""Sides of an outline in the words of a tape and a compass: length, bearing, corner by corner.

All lengths and bearings are on the ellipsoid (see :mod:`waterbudget.outlines.geodesy`).  A
bearing is counted clockwise from north: from *true* north, or from *grid* north, the straight-up
of the farm's map system, which leans away from true north by up to some two degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.outlines.geodesy import Points, area_ha, ellipsoid, move, perimeter_m

LONGEST_SIDE_M = 20_000.0
NORTHS = ("true", "grid")

Place = tuple[float, float]
"""East and north in the farm's map system [m]."""


@dataclass(frozen=True)
class Size:
    """Plan area [ha] and length all round, holes included [m]."""

    hectares: float
    perimeter_m: float


@dataclass(frozen=True)
class CornerRow:
    """One corner as a line of a table.

    Attributes
    ----------
    length_m, bearing_deg : float
        Of the side that leads here from the corner before (the last one, for the first).
    lat, lon : float
        [decimal degrees].
    """

    number: int
    length_m: float
    bearing_deg: float
    lat: float
    lon: float


def size_of(shape: BaseGeometry, epsg: int) -> Size:
    """Return area and perimeter of an outline; of fewer than three corners nothing is known."""
    return Size(area_ha(shape, epsg), perimeter_m(shape, epsg))


def size_of_corners(corners: Points, epsg: int) -> Size:
    """Return the size of an outline that is being drawn.

    Parameters
    ----------
    corners : ndarray, shape (corners, 2)
        [m], the closing corner left out; fewer than three have no area.
    """
    if len(corners) < 3:
        total = sum(side(tuple(a), tuple(b), epsg)[0]
                    for a, b in pairwise(corners))  # fmt: skip
        return Size(0.0, total)
    return size_of(Polygon(corners), epsg)


def north_turn(at: Place, epsg: int) -> float:
    """Return the true bearing of grid north at a place [degrees], east positive."""
    lonlat = move(np.array([at, (at[0], at[1] + 1000.0)]), epsg, 4326)
    turn, *_ = ellipsoid().inv(*lonlat[0], *lonlat[1])
    return float(turn)


def side(start: Place, end: Place, epsg: int, north: str = "true") -> tuple[float, float]:
    """Return length [m] and bearing [degrees, 0 to 360] from one corner to another."""
    if start == end:
        return 0.0, 0.0
    (lon1, lat1), (lon2, lat2) = move(np.array([start, end]), epsg, 4326)
    bearing, _, length = ellipsoid().inv(lon1, lat1, lon2, lat2)
    turn = north_turn(start, epsg) if _known(north) == "grid" else 0.0
    return float(length), float(bearing - turn) % 360.0


def corner_from(
    start: Place, length_m: float, bearing_deg: float, epsg: int, north: str = "true"
) -> Place:
    """Return the corner at the end of a side of known length and bearing.

    Parameters
    ----------
    length_m : float
        Along the level, not along the slope [m].
    bearing_deg : float
        Clockwise from north, -360 to 360 [degrees].
    north : str
        ``"true"`` or ``"grid"``.

    Raises
    ------
    Refused
        ``bench.bad_length``, ``bench.bad_bearing``, ``bench.bad_north``.
    """
    if not 0 < length_m <= LONGEST_SIDE_M:
        raise Refused("bench.bad_length", length_m=length_m, longest_m=LONGEST_SIDE_M)
    if not -360.0 <= bearing_deg <= 360.0:
        raise Refused("bench.bad_bearing", bearing=bearing_deg)
    turn = north_turn(start, epsg) if _known(north) == "grid" else 0.0
    ((lon, lat),) = move(np.array([start]), epsg, 4326)
    lon, lat, _ = ellipsoid().fwd(lon, lat, bearing_deg + turn, length_m)
    ((x, y),) = move(np.array([[lon, lat]]), 4326, epsg)
    return float(x), float(y)


def _known(north: str) -> str:
    if north not in NORTHS:
        raise Refused("bench.bad_north", north=north, known=", ".join(NORTHS))
    return north


def place_at(lat: float, lon: float, epsg: int) -> Place:
    """Return the place of a position.

    Raises
    ------
    Refused
        ``outlines.bad_position``.
    """
    if not (-80 <= lat <= 84 and -180 <= lon <= 180):
        raise Refused("outlines.bad_position", lat=lat, lon=lon)
    ((x, y),) = move(np.array([[lon, lat]]), 4326, epsg)
    if not (math.isfinite(x) and math.isfinite(y)):
        raise Refused("outlines.bad_position", lat=lat, lon=lon)
    return float(x), float(y)


def position_of(at: Place, epsg: int) -> tuple[float, float]:
    """Return latitude and longitude of a place [decimal degrees]."""
    ((lon, lat),) = move(np.array([at]), epsg, 4326)
    return float(lat), float(lon)


def corner_rows(ring: Points, epsg: int, north: str = "true", closed: bool = True,
                first: int = 1) -> list[CornerRow]:  # fmt: skip
    """Return the corners of a ring as lines of a table.

    Parameters
    ----------
    ring : ndarray, shape (corners, 2)
        [m], the closing corner left out.
    closed : bool
        False while it is drawn: no side leads to the first corner yet.
    first : int
        Number of the first corner.
    """
    rows = []
    for i, here in enumerate(ring):
        lat, lon = position_of(tuple(here), epsg)
        length, bearing = 0.0, 0.0
        if i > 0 or closed:
            length, bearing = side(tuple(ring[i - 1]), tuple(here), epsg, north)
        rows.append(CornerRow(first + i, length, bearing, lat, lon))
    return rows


def slope_length(plan_m: NDArray[np.float64], heights_m: NDArray[np.float64]) -> float:
    """Return the length along the ground [m] of a line of which heights are known on the way.

    Parameters
    ----------
    plan_m : ndarray, shape (points,)
        Level distance from the start [m], growing.
    heights_m : ndarray, shape (points,)
        [m]; NaN where unknown makes the whole unknown (NaN).
    """
    return float(np.hypot(np.diff(plan_m), np.diff(heights_m)).sum())
