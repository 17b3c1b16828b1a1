"""Coordinate systems: named by EPSG code or by the text beside a file, never by a file or link.

A definition can smuggle in the path of a grid file; such clauses are not followed.  Where PROJ
knows of a better way between two systems that needs a grid which is not here, and the difference
is more than two metres, that is told.
"""

from __future__ import annotations

import re
import warnings
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
import pyproj.aoi
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from waterbudget.errors import Note, Refused
from waterbudget.outlines.geodesy import Points

TOLD_FROM_M = 2.0
ROUGH_FROM_M = 5.0


@lru_cache(maxsize=1)
def WGS84() -> pyproj.CRS:  # noqa: N802 - the name everybody knows it by
    """Return WGS84 longitude and latitude."""
    return pyproj.CRS.from_epsg(4326)


@lru_cache(maxsize=64)
def _epsg(code: int) -> pyproj.CRS | None:
    try:
        return pyproj.CRS.from_epsg(code)
    except CRSError:
        return None


def crs_from_code(text: str) -> pyproj.CRS | None:
    """Return the system for ``EPSG:32736``, ``32736``, a URN of it, or CRS84; else None."""
    text = text.strip()
    if re.search(r"CRS\s*:?\s*84$", text, re.I):
        return WGS84()
    prefix = r"(?:(?:urn:(?:ogc|x-ogc):def:crs:)?EPSG\s*:\s*(?:[\d.]*:)?)?"
    match = re.fullmatch(prefix + r"(\d{4,6})", text, re.I)
    return _epsg(int(match[1])) if match else None


def asked_crs(text: str) -> pyproj.CRS:
    """Return the system a person named.

    Raises
    ------
    Refused
        ``outlines.bad_system`` where it is no known EPSG code of places on the ground.
    """
    crs = crs_from_code(text)
    if crs is None or not _is_of_the_ground(crs):
        raise Refused("outlines.bad_system", value=text[:40])
    return crs


def crs_from_wkt(text: str) -> pyproj.CRS | None:
    """Return the system a definition describes, or None where it cannot be trusted."""
    if re.search(r"(nadgrids|geoidgrids)\s*=\s*(?!@null)", text, re.I) or len(text) > 20_000:
        return None
    try:
        crs = pyproj.CRS.from_wkt(text)
    except CRSError:
        return None
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if not _is_of_the_ground(crs):
        return None
    code = crs.to_epsg(min_confidence=70)
    return (_epsg(code) or crs) if code else crs


def _is_of_the_ground(crs: pyproj.CRS) -> bool:
    """Tell whether positions in a system can be turned into latitude and longitude."""
    if not (crs.is_geographic or crs.is_projected):
        return False
    try:
        pyproj.Transformer.from_crs(crs, WGS84(), always_xy=True)
    except ProjError:
        return False
    return True


def name_of(crs: pyproj.CRS) -> str:
    """Return ``EPSG:n`` where the system has a code, else its name."""
    code = crs.to_epsg(min_confidence=70)
    return f"EPSG:{code}" if code else crs.name


class Mover:
    """Moves corners of a file's system to degrees and to the farm's metres.

    Parameters
    ----------
    crs : pyproj.CRS
        Of the file.
    epsg : int
        Of the farm.
    near : (lat, lon) or None
        Where the farm lies: the transformation made for that area is taken.
    scale : float
        Multiplies the numbers first (drawing units to the units of ``crs``).
    swapped : bool
        The file has its two numbers the other way round.
    """

    def __init__(
        self,
        crs: pyproj.CRS,
        epsg: int,
        near: tuple[float, float] | None,
        *,
        scale: float = 1.0,
        swapped: bool = False,
    ) -> None:
        pyproj.network.set_network_enabled(False)
        self.crs, self.epsg, self.near = crs, epsg, near
        self.scale, self.swapped = scale, swapped
        area: Any = None  # the type stubs name two classes for one thing
        if near is not None:
            lat, lon = near
            area = pyproj.aoi.AreaOfInterest(max(lon - 1, -180), max(lat - 1, -90),
                                  min(lon + 1, 180), min(lat + 1, 90))  # fmt: skip
        self._area = area
        self._to = {
            target: pyproj.Transformer.from_crs(crs, target, always_xy=True, area_of_interest=area)
            for target in (4326, epsg)
        }

    def lonlat(self, points: Points) -> Points:
        """Return longitude, latitude [degrees]; infinite where it cannot be."""
        return self._move(points, 4326)

    def metres(self, points: Points) -> Points:
        """Return the farm's coordinates [m]; infinite where it cannot be."""
        return self._move(points, self.epsg)

    def _move(self, points: Points, target: int) -> Points:
        if not len(points):
            return points
        x, y = points.T * self.scale
        if self.swapped:
            x, y = y, x
        if self.crs.is_geographic:
            wrong = ~((np.abs(x) <= 180) & (np.abs(y) <= 90))
            x, y = np.where(wrong, np.inf, x), np.where(wrong, np.inf, y)
        return np.column_stack(self._to[target].transform(x, y))

    def grid_warning(self) -> Note | None:
        """Return a warning where positions can be metres off, by the accuracy PROJ gives.

        Either because a grid is missing here that would win more than two metres, or because
        nobody knows the system better than five.
        """
        if self.crs.to_epsg() == 4326 or self.crs.equals(pyproj.CRS.from_epsg(self.epsg)):
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it warns of the very thing that is told below
            group = TransformerGroup(
                self.crs, self.epsg, always_xy=True, area_of_interest=self._area
            )
        missing = [op.accuracy for op in group.unavailable_operations if op.accuracy >= 0]
        have = group.transformers[0].accuracy if group.transformers else -1.0
        system = name_of(self.crs)
        if not group.best_available and missing:
            if have < 0:
                return Note.of("outlines.grid_missing_unknown", system=system)
            if have - min(missing) > TOLD_FROM_M:
                return Note.of("outlines.grid_missing", system=system, metres=round(have))
        if have > ROUGH_FROM_M:
            return Note.of("outlines.position_rough", system=system, metres=round(have))
        return None
