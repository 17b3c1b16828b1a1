"""Open a height file: only kinds that hold their own numbers, only heights, in metres.

Only raster kinds that hold their numbers themselves are opened, so no file can send the reader to
another one or to the network.  rasterio is imported on first use.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from waterbudget import rasters
from waterbudget.errors import AnswersNeeded, Question, Refused

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

FEET, SURVEY_FEET = 0.3048, 1200 / 3937
"""Metres in a foot: international (exact by definition), and of the United States' surveys."""

UNITS = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0,
    "ft": FEET, "feet": FEET, "foot": FEET,
    "us-ft": SURVEY_FEET, "us survey foot": SURVEY_FEET, "us survey feet": SURVEY_FEET,
    "ftus": SURVEY_FEET, "foot_us": SURVEY_FEET, "us foot": SURVEY_FEET,
    "cm": 0.01, "centimetre": 0.01, "centimeter": 0.01, "dm": 0.1, "decimetre": 0.1,
    "decimeter": 0.1,
}  # fmt: skip
"""Metres in one unit of height, by the names height files carry."""

NO_HEIGHTS = ("uint8", "int8", "complex64", "complex128", "complex_int16")
ANSWERS = ("m", "ft")
UNDECLARED = (-9998.0, 1e6)
"""Figures beyond these are marks for "no data", also where the file does not declare them."""
LOWEST, HIGHEST = -500.0, 9_000.0
"""Heights of land lie between these [m] (a little beyond the lowest shore and highest summit)."""
MOST_UNREAL = 0.01
"""Share of the figures that may lie outside before a file counts as no heights (own estimate)."""


def grid(dem: Any) -> tuple[float, float, float, float]:
    """Return the upper left corner and the size of a cell (the height negative)."""
    return dem.transform.c, dem.transform.f, dem.transform.a, dem.transform.e


def unit_metres(dem: Any, unit: str | None = None) -> float:
    """Return the metres in one unit of height of a file.

    What the file says rules: the unit of its band, then the vertical part of its map system.
    A file that says nothing is in metres, unless its map is in feet: then it is asked.

    Parameters
    ----------
    unit : {"m", "ft"} or None
        The grower's answer; it rules over everything.

    Raises
    ------
    AnswersNeeded
        ``height_unit``.
    Refused
        ``terrain.unit`` for an answer that is neither.
    """
    if unit is not None:
        if unit not in ANSWERS:
            raise Refused("terrain.unit", value=unit, choices=", ".join(ANSWERS))
        return UNITS[unit]
    stated, known = stated_metres(dem)
    if known:
        return 1.0 if stated is None else stated
    raise AnswersNeeded([unit_question(Path(dem.name).name)])


def stated_metres(dem: Any) -> tuple[float | None, bool]:
    """Return the metres in one unit as the file says (None: silent), and whether silence will do.

    A silent file on a map in metres or degrees is in metres; one on a map in feet may be either,
    and so may one whose unit nobody knows.
    """
    said = " ".join(str(dem.units[0] or "").lower().split())
    if said:
        return UNITS.get(said), said in UNITS
    crs = pyproj.CRS.from_wkt(dem.crs.to_wkt())
    up = [a for part in (crs, *crs.sub_crs_list) for a in part.axis_info
          if a.direction.lower() == "up"]  # fmt: skip
    if up:
        return float(up[0].unit_conversion_factor), True
    across = crs.axis_info[0].unit_name.lower() if crs.axis_info else "metre"
    return None, "foot" not in across and "feet" not in across


def says_its_unit(path: Path) -> bool:
    """Return whether a height file itself says in what unit its heights are."""
    with opened(path) as dem:
        return stated_metres(dem)[0] is not None


def unit_question(file: str) -> Question:
    """Return the question in which unit a file's heights are."""
    return Question("height_unit", "terrain.ask.unit", {"file": file}, choices=ANSWERS)


def heights(
    dem: Any,
    window: tuple[int, int, int, int],
    size: tuple[int, int] | None = None,
    metres: float | None = None,
) -> Array:
    """Return heights [m], NaN where unknown.

    Parameters
    ----------
    window : (row, column, rows, columns)
    size : (rows, columns), optional
        Averaged to so many cells.
    metres : float, optional
        Of one unit, from :func:`unit_metres`.

    Raises
    ------
    Refused
        ``terrain.not_heights`` where more than 1 % of the figures are no heights of any land.
    """
    from rasterio.enums import Resampling
    from rasterio.windows import Window

    row, column, rows, columns = window
    read = dem.read(1, window=Window(column, row, columns, rows), out_shape=size, masked=True,
                    resampling=Resampling.average)  # fmt: skip
    z: Array = np.ma.filled(read.astype(float), np.nan)
    z = np.where((z <= UNDECLARED[0]) | (z >= UNDECLARED[1]), np.nan, z)
    z = z * dem.scales[0] + dem.offsets[0]
    z = z * (unit_metres(dem) if metres is None else metres)
    unreal = (z < LOWEST) | (z > HIGHEST)
    if unreal.sum() > MOST_UNREAL * np.isfinite(z).sum():
        raise Refused("terrain.not_heights", file=Path(dem.name).name)
    return np.where(unreal, np.nan, z)


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a height file and check that it is one."""
    path = Path(path)
    if not path.is_file():
        raise Refused("terrain.no_file", file=path.name or str(path))
    rasterio = rasters.reader()
    from rasterio.errors import RasterioError

    try:
        dem = rasterio.open(path.resolve(), driver=_kind(path))
    except (RasterioError, OSError):
        raise Refused("terrain.unreadable", file=path.name) from None
    with contextlib.closing(dem):
        if dem.crs is None or not (dem.crs.is_geographic or dem.crs.is_projected):
            raise Refused("terrain.no_system", file=path.name)
        if dem.count != 1 or dem.dtypes[0] in NO_HEIGHTS or _coloured(dem):
            raise Refused("terrain.not_heights", file=path.name)
        _, _, width, height = grid(dem)
        if dem.transform.b or dem.transform.d or width <= 0 or height >= 0:
            raise Refused("terrain.turned", file=path.name)
        try:
            yield dem
        except RasterioError:
            raise Refused("terrain.unreadable", file=path.name) from None


def _coloured(dem: Any) -> bool:
    """Return whether the figures stand for colours."""
    return dem.colorinterp[0].name in ("palette", "red", "green", "blue", "alpha")


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
