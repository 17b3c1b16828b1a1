"""Conversions at the edges: every unit a file may speak, to the one unit used inside.

Inside there is one unit for each quantity: temperature [degC], wind [m/s], radiation
[MJ/m2/d], vapour pressure [kPa], rain and reference ET [mm], sunshine [h], relative humidity
[%].  Every conversion is ``value * factor + offset``.

Sources: the SI definitions (BIPM, The International System of Units, 9th ed. 2019, and its
conversion tables): inch 25.4 mm, mile 1609.344 m, international knot 1852 m/h, 0 degC =
273.15 K, 0 degF = 459.67 degR.  Thermochemical langley 41840 J/m2.  mmHg 133.322 Pa.
FAO-56 table 3 prints the same radiation factors rounded.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

MILE_M = 1609.344
NAUTICAL_MILE_M = 1852.0
INCH_MM = 25.4
LANGLEY_MJ_M2 = 0.04184
SECONDS_A_DAY = 86400.0


class Unit(NamedTuple):
    """How a unit becomes the one used inside: ``value * factor + offset``."""

    factor: float
    offset: float = 0.0


UNITS: dict[str, dict[str, Unit]] = {
    "temperature": {
        "C": Unit(1.0),
        "F": Unit(5.0 / 9.0, -160.0 / 9.0),
        "K": Unit(1.0, -273.15),
        "tenth_C": Unit(0.1),
        "hundredth_C": Unit(0.01),
        "tenth_F": Unit(0.5 / 9.0, -160.0 / 9.0),
    },
    "wind": {
        "m/s": Unit(1.0),
        "km/h": Unit(1.0 / 3.6),
        "mph": Unit(MILE_M / 3600.0),
        "knots": Unit(NAUTICAL_MILE_M / 3600.0),
        "km/day": Unit(1000.0 / SECONDS_A_DAY),
        "miles/day": Unit(MILE_M / SECONDS_A_DAY),
        "tenth_m/s": Unit(0.1),
        "cm/s": Unit(0.01),
    },
    "radiation": {
        "MJ/m2": Unit(1.0),
        "W/m2": Unit(SECONDS_A_DAY / 1e6),
        "kW/m2": Unit(SECONDS_A_DAY / 1e3),
        "langley": Unit(LANGLEY_MJ_M2),
        "J/cm2": Unit(0.01),
        "kJ/m2": Unit(0.001),
        "J/m2": Unit(1e-6),
        "Wh/m2": Unit(0.0036),
        "kWh/m2": Unit(3.6),
    },
    "vapour": {
        "kPa": Unit(1.0),
        "hPa": Unit(0.1),
        "Pa": Unit(0.001),
        "mmHg": Unit(0.133322),
        "tenth_hPa": Unit(0.01),
    },
    "rain": {
        "mm": Unit(1.0),
        "inch": Unit(INCH_MM),
        "cm": Unit(10.0),
        "m": Unit(1000.0),
        "tenth_mm": Unit(0.1),
        "hundredth_inch": Unit(INCH_MM / 100.0),
    },
    "sun": {
        "h": Unit(1.0),
        "min": Unit(1.0 / 60.0),
        "s": Unit(1.0 / 3600.0),
        "tenth_h": Unit(0.1),
    },
    "humidity": {
        "%": Unit(1.0),
        "fraction": Unit(100.0),
        "tenth_%": Unit(0.1),
    },
    "et0": {
        "mm": Unit(1.0),
        "inch": Unit(INCH_MM),
        "cm": Unit(10.0),
        "tenth_mm": Unit(0.1),
    },
}
"""For each quantity its units, the one used inside first.  ``MJ/m2`` is for one day."""


def to_inside(quantity: str, unit: str, values: ArrayLike) -> Values:
    """Return ``values`` in the unit used inside.

    Parameters
    ----------
    quantity : str
        A key of :data:`UNITS`.
    unit : str
        One of its units.
    values : array_like
        NaN stays NaN.

    Returns
    -------
    ndarray
        Same shape.

    Raises
    ------
    KeyError
        For a quantity or unit that is not in the table (a fault of the caller).
    """
    factor, offset = UNITS[quantity][unit]
    given = np.asarray(values, dtype=float)
    return given if factor == 1.0 and offset == 0.0 else given * factor + offset


def from_inside(quantity: str, unit: str, values: ArrayLike) -> Values:
    """Return values in the unit used inside as ``unit`` (the way back of :func:`to_inside`)."""
    factor, offset = UNITS[quantity][unit]
    return (np.asarray(values, dtype=float) - offset) / factor
