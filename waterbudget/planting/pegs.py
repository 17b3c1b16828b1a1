"""A pegging sheet: per row where it begins, how it runs, and where on the string the pegs stand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from waterbudget.outlines.geodesy import ellipsoid, move
from waterbudget.planting.model import Planting


@dataclass(frozen=True)
class Peg:
    """One tree place on the string.

    Attributes
    ----------
    from_start_m, step_m : float
        From the row's first tree, and from the peg before, along the ground [m].
    bearing_deg : float
        From the peg before, clockwise from true north [degrees]; of the first, to the second.
    """

    number: int
    from_start_m: float
    step_m: float
    bearing_deg: float
    lat: float
    lon: float
    east_m: float
    north_m: float


@dataclass(frozen=True)
class PegRow:
    """One row for string and pegs.

    Attributes
    ----------
    length_m : float
        From the first to the last peg along the ground [m].
    bearing_deg : float
        From the first to the last peg [degrees].
    from_last_m, from_last_deg : float or None
        Level distance [m] and bearing from the first tree of the row before; None for the first
        row.
    """

    row: int
    length_m: float
    bearing_deg: float
    from_last_m: float | None
    from_last_deg: float | None
    pegs: tuple[Peg, ...]


def positions(planting: Planting) -> tuple[np.ndarray, np.ndarray]:
    """Return latitude and longitude of every place [degrees]."""
    lonlat = move(np.column_stack([planting.x, planting.y]), planting.epsg, 4326)
    return lonlat[:, 1], lonlat[:, 0]


def peg_rows(planting: Planting) -> tuple[PegRow, ...]:
    """Return the pegging sheet of a planting, row by row."""
    lat, lon = positions(planting)
    geod = ellipsoid()
    n = planting.trees
    here, next_ = np.arange(n - 1), np.arange(1, n)
    steps_deg = np.zeros(n)
    if n > 1:
        steps_deg[1:], _, _ = geod.inv(lon[here], lat[here], lon[next_], lat[next_])
    found: list[PegRow] = []
    starts = planting.starts
    for row, (a, count) in enumerate(zip(starts, planting.in_row, strict=True), start=1):
        b = int(a) + int(count) - 1
        a = int(a)
        bearing, _, _ = geod.inv(lon[a], lat[a], lon[b], lat[b])
        lone = b == a
        bearing = (planting.layout.bearing_deg or 0.0) if lone else bearing
        before_m = before_deg = None
        if row > 1:
            last = int(starts[row - 2])
            before_deg, _, before_m = geod.inv(lon[last], lat[last], lon[a], lat[a])
        pegs = tuple(
            Peg(
                int(planting.number[i]), float(planting.along_m[i]),
                float(planting.along_m[i] - planting.along_m[i - 1]) if i > a else 0.0,
                float(bearing if lone else steps_deg[max(i, a + 1)]) % 360.0,
                float(lat[i]), float(lon[i]), float(planting.x[i]), float(planting.y[i]),
            )
            for i in range(a, b + 1)
        )  # fmt: skip
        found.append(PegRow(
            row, float(planting.along_m[b]), float(bearing) % 360.0,
            None if before_m is None else float(before_m),
            None if before_deg is None or math.isnan(before_deg) else float(before_deg) % 360.0,
            pegs,
        ))  # fmt: skip
    return tuple(found)
