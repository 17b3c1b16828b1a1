"""What a layout and a planting are, and the ground they lie on."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from waterbudget import layout as distances
from waterbudget.errors import Note, Refused
from waterbudget.keys import BLOCK_KEYS, PATTERNS

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

USUAL_FALL_PCT = 0.4
"""Fall of contour rows where none is given [%] (common practice, 0.3 to 0.5 to a safe outlet)."""
MOST_PLACES = 1_000_000
_BOUNDED = {
    "spacing_m": "spacing_m", "row_spacing_m": "row_spacing_m", "bearing_deg": "row_bearing_deg",
    "fall_pct": "row_fall_pct", "setback_m": "setback_m", "headland_m": "headland_m",
}  # fmt: skip


@dataclass(frozen=True)
class Layout:
    """How trees are to stand.

    Attributes
    ----------
    pattern : {"square", "rectangle", "triangle", "contour"}
    spacing_m : float
        Between trees in the row, along the ground [m].
    row_spacing_m : float or None
        Between rows, along the ground [m]; None: as the pattern has it.
    bearing_deg : float or None
        Of the rows, clockwise from true north [degrees]; None: along the longest side.
    fall_pct : float or None
        Of contour rows along themselves [%]; None: the usual fall.
    setback_m : float
        Kept free all along the edge, on the map [m].
    headland_m : float
        Kept free at both ends of a row, from the edge of the block along the row, on the map [m].
    origin : (float, float) or None
        Place of one tree, east and north in the farm's coordinates [m]; None: as close to the
        edge as setback and headland let it (three tenths of a spacing where there is none), with
        as much left over at both ends.

    Raises
    ------
    Refused
        ``planting.pattern``, ``key.out_of_range`` for a figure outside its bounds.
    """

    pattern: str
    spacing_m: float
    row_spacing_m: float | None = None
    bearing_deg: float | None = None
    fall_pct: float | None = None
    setback_m: float = 0.0
    headland_m: float = 0.0
    origin: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.pattern not in PATTERNS:
            raise Refused("planting.pattern", value=self.pattern, known=", ".join(PATTERNS))
        for name, key_name in _BOUNDED.items():
            value, key = getattr(self, name), BLOCK_KEYS[key_name]
            if value is None or name == "bearing_deg":
                continue
            if not math.isfinite(value) or not (key.low or 0.0) <= value <= (key.high or 0.0):
                raise Refused("planting.out_of_range", key=key_name, value=value, low=key.low,
                              high=key.high, unit=key.unit)  # fmt: skip
        if self.bearing_deg is not None and not abs(self.bearing_deg) <= 3600.0:
            raise Refused("planting.out_of_range", key="row_bearing_deg", value=self.bearing_deg,
                          low=0, high=360, unit="degrees")  # fmt: skip

    @property
    def between_rows_m(self) -> float:
        """Distance between rows along the ground [m].

        Raises
        ------
        Refused
            ``planting.no_row_spacing`` where the pattern leaves it open.
        """
        found = distances.row_distance_m(self.pattern, self.spacing_m, self.row_spacing_m)
        if found is None:
            raise Refused("planting.no_row_spacing", pattern=self.pattern)
        return found


@dataclass(frozen=True)
class Ground:
    """How the land under a block lies, as far as it is known.

    Attributes
    ----------
    slope_pct, aspect_deg : float or None
        Slope [%] and the direction it falls to, clockwise from true north [degrees].
    x, y, z_m : array or None
        Heights on a regular grid: east, shape (columns,), north, shape (rows,), both growing, in
        the farm's coordinates; heights [m], shape (rows, columns).
    """

    slope_pct: float | None = None
    aspect_deg: float | None = None
    x: Array | None = None
    y: Array | None = None
    z_m: Array | None = None


@dataclass(frozen=True)
class Planting:
    """Tree places, row by row and number by number.

    Attributes
    ----------
    layout : Layout
        With bearing, distance between rows and origin as used.
    x, y : array, shape (trees,)
        East and north in the farm's coordinates [m].
    row, number : array of int, shape (trees,)
        Rows from 1 on, the first at the left of one who looks along the rows (the uppermost of
        contour rows); numbers from 1 on along the bearing.
    along_m : array, shape (trees,)
        From the first tree of the row, along the ground [m].
    plan_spacing_m, plan_row_m : float
        The distances on the map (their means of contour rows) [m].
    scale : float
        Metres of the farm's coordinates in one metre on the map.
    turn_deg : float
        True bearing of the coordinates' north [degrees].
    """

    layout: Layout
    epsg: int
    x: Array
    y: Array
    row: Whole
    number: Whole
    along_m: Array
    plan_spacing_m: float
    plan_row_m: float
    scale: float = 1.0
    turn_deg: float = 0.0
    slope_pct: float | None = None
    aspect_deg: float | None = None
    notes: tuple[Note, ...] = field(default=())

    @property
    def trees(self) -> int:
        """Number of places."""
        return len(self.x)

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.row[-1]) if len(self.row) else 0

    @cached_property
    def starts(self) -> Whole:
        """Index of the first tree of every row, shape (rows,)."""
        return np.flatnonzero(np.diff(self.row, prepend=0))

    @cached_property
    def in_row(self) -> Whole:
        """Number of trees in every row, shape (rows,)."""
        return np.diff(np.append(self.starts, len(self.row)))

    @property
    def lengths_m(self) -> Array:
        """From the first to the last tree of every row along the ground [m], shape (rows,)."""
        ends = self.starts + self.in_row - 1
        return self.along_m[ends] if len(ends) else np.zeros(0)

    @property
    def row_length_m(self) -> float:
        """All rows together, first to last tree, along the ground [m]."""
        return float(self.lengths_m.sum())

    def at(self, row: int, number: int) -> int | None:
        """Return the index of a place by row and number; None where there is none."""
        if not 1 <= row <= self.rows or not 1 <= number <= self.in_row[row - 1]:
            return None
        return int(self.starts[row - 1]) + number - 1
