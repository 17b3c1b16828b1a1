"""An invented hillside, 900 to 1,250 m, as a smooth formula and as a height file.

The formula is a stream at the foot, a lower slope that can be planted, a steep rocky step, a
shelf that can be planted, and a rocky crest; the whole is bent into spurs and cut by gullies.
Nothing is drawn by lot here: the same numbers come out on every machine but for the last digit
of the floating point.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget.demo.place import CELL, DEPTH, EAST0, EPSG, NORTH0, WIDTH

Values = NDArray[np.float64]


TOP_EAST, TOP_NORTH, STRETCH = 1000.0, 1240.0, 1.30
"""The top of the hill [m] and how much longer than wide the hill is, west-east."""


@dataclass(frozen=True)
class Gully:
    """A gully that runs down the hill.

    Attributes
    ----------
    bearing : float
        Angle at the top of the hill, clockwise from west over south is negative to positive:
        0 is due south, negative west of it [rad].
    lean, bend, wave : float
        How the bearing changes on the way down: evenly, as an arc, and as small turns [rad].
    depth, width : float
        How deep it is cut and how far its sides reach [m].
    """

    bearing: float
    lean: float
    bend: float
    wave: float
    depth: float
    width: float

    def at(self, down: ArrayLike) -> Values:
        """Return the bearing of the gully [rad] at the distance ``down`` from the top [m]."""
        t = np.asarray(down, dtype=float) / 1200.0
        return np.asarray(
            self.bearing
            + self.lean * (t - 0.5)
            + self.bend * np.sin(np.pi * t)
            + self.wave * np.sin(13.0 * t + 7.0 * self.bearing)
        )


GULLIES = {
    "west": Gully(bearing=-0.93, lean=0.16, bend=0.05, wave=0.018, depth=9, width=22),
    "middle": Gully(bearing=-0.28, lean=-0.22, bend=-0.06, wave=0.020, depth=12, width=25),
    "east": Gully(bearing=0.36, lean=0.14, bend=0.07, wave=0.022, depth=9, width=22),
}

_STEPS = (
    (0, 1.000), (60, 0.992), (200, 0.900), (390, 0.560), (585, 0.462), (650, 0.345),
    (1080, 0.066), (1220, 0.014), (1700, 0.000),
)  # fmt: skip
"""Distance down from the top [m] and the share of the hill's height left there."""

_SPURS = ((-1.22, 0.16, 70.0), (-0.60, 0.17, 105.0), (0.06, 0.20, 95.0), (0.66, 0.15, 60.0))
"""Bearing [rad], half width [rad] and reach [m] of the spurs between the gullies."""


def to_polar(east: ArrayLike, north: ArrayLike) -> tuple[Values, Values]:
    """Return the distance down from the top [m, west-east shortened] and the bearing [rad]."""
    x = (np.asarray(east, dtype=float) - TOP_EAST) / STRETCH
    y = TOP_NORTH - np.asarray(north, dtype=float)
    return np.asarray(np.hypot(x, y)), np.asarray(np.arctan2(x, y))


def from_polar(down: ArrayLike, bearing: ArrayLike) -> tuple[Values, Values]:
    """Return east and north [m] of points given as :func:`to_polar` gives them."""
    d, b = np.asarray(down, dtype=float), np.asarray(bearing, dtype=float)
    return np.asarray(TOP_EAST + STRETCH * d * np.sin(b)), np.asarray(TOP_NORTH - d * np.cos(b))


def height(east: ArrayLike, north: ArrayLike) -> Values:
    """Return the height of the ground.

    Parameters
    ----------
    east, north : array_like
        [m] from the south-west corner of the hillside, of one shape.

    Returns
    -------
    ndarray
        [m above the sea], of that shape.
    """
    x, y = np.broadcast_arrays(np.asarray(east, dtype=float), np.asarray(north, dtype=float))
    down, bearing = to_polar(x, y)
    return np.asarray(_smooth_height(down, bearing) + _roughness(x, y))


def _smooth_height(down: Values, bearing: Values) -> Values:
    grow = np.clip((down - 150.0) / 500.0, 0.0, 1.0)
    reach = sum(r * np.exp(-(((bearing - b) / w) ** 2)) for b, w, r in _SPURS)
    z = 900.0 + 356.0 * _profile(down - grow * (reach - 45.0) * (1.0 - 0.35 * grow**2))
    for gully in GULLIES.values():
        fade = np.clip((down - 260.0) / 350.0, 0.0, 1.0) * np.clip((1420 - down) / 300.0, 0.1, 1.0)
        off = down * (bearing - gully.at(down))
        z = z - gully.depth * fade * np.exp(-((off / gully.width) ** 2))
    return np.asarray(z)


def _profile(down: Values) -> Values:
    """Share of the hill's height left at ``down`` [m], smooth through ``_STEPS``."""
    at = np.array([float(s[0]) for s in _STEPS])
    left = np.array([s[1] for s in _STEPS])
    slopes = np.diff(left) / np.diff(at)
    turn = 32.0
    out = left[0] + slopes[0] * (down - at[0])
    for knot, change in zip(at[1:-1], np.diff(slopes), strict=True):
        out = out + change * turn * np.logaddexp(0.0, (down - knot) / turn)
    return np.asarray(out)


def _roughness(x: Values, y: Values) -> Values:
    """Low swells that keep contours from running parallel [m]."""
    return np.asarray(
        2.4 * np.sin(x / 83.0 + 0.9 * np.sin(y / 107.0)) * np.cos(y / 91.0 + x / 210.0)
        + 1.4 * np.sin(x / 43.0 - y / 57.0 + 1.3)
        + 0.7 * np.cos(x / 27.0 + y / 33.0)
    )


def height_grid() -> Values:
    """Return heights at the cell middles, north row first, rounded to 0.1 m [m]."""
    east = np.arange(CELL / 2, WIDTH, CELL)
    north = np.arange(DEPTH - CELL / 2, 0.0, -CELL)
    return np.asarray(np.round(height(*np.meshgrid(east, north)), 1))


def write_height_file(path: Path) -> None:
    """Write the heights as a GeoTIFF (32-bit floats, deflate) in the farm's UTM zone."""
    import rasterio  # heavy: only when the file is written
    from rasterio.crs import CRS
    from rasterio.transform import from_origin

    grid = height_grid().astype("float32")
    with rasterio.open(
        path, "w", driver="GTiff", width=grid.shape[1], height=grid.shape[0], count=1,
        dtype="float32", crs=CRS.from_epsg(EPSG), nodata=-9999.0, compress="deflate",
        predictor=3, zlevel=9, transform=from_origin(EAST0, NORTH0 + DEPTH, CELL, CELL),
    ) as file:  # fmt: skip
        file.write(grid, 1)
        file.update_tags(1, content="height above the sea, m; an invented hill")
