"""Conversions against figures that are printed or defined, not against the factors themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget.units import UNITS, from_inside, to_inside

# quantity, unit, value, value inside, tolerance, where it stands
PRINTED = [
    ("temperature", "F", 32.0, 0.0, 1e-12, "definition"),
    ("temperature", "F", 212.0, 100.0, 1e-12, "definition"),
    ("temperature", "F", -40.0, -40.0, 1e-12, "definition"),
    ("temperature", "K", 273.15, 0.0, 1e-12, "definition"),
    ("temperature", "tenth_C", 304, 30.4, 1e-12, "definition"),
    ("temperature", "tenth_F", 860, 30.0, 1e-12, "definition"),
    ("wind", "km/h", 36.0, 10.0, 1e-12, "definition"),
    ("wind", "mph", 10.0, 4.4704, 1e-12, "definition"),
    ("wind", "knots", 1.0, 0.514, 5e-4, "FAO-56 annex 1: 1 knot = 0.5144 m/s"),
    ("wind", "km/day", 86.4, 1.0, 1e-12, "FAO-56 annex 1: 1 km/day = 0.01157 m/s"),
    ("wind", "miles/day", 53.6865, 1.0, 1e-5, "definition"),
    ("radiation", "W/m2", 1.0, 0.0864, 1e-12, "FAO-56 table 3"),
    ("radiation", "J/cm2", 100.0, 1.0, 1e-12, "FAO-56 table 3"),
    ("radiation", "langley", 1.0, 4.1868e-2, 5e-5, "FAO-56 table 3: 1 cal/cm2"),
    ("radiation", "kWh/m2", 1.0, 3.6, 1e-12, "definition"),
    ("vapour", "hPa", 23.4, 2.34, 1e-12, "definition"),
    ("vapour", "mmHg", 7.50062, 1.0, 1e-5, "definition"),
    ("rain", "inch", 1.0, 25.4, 1e-12, "definition"),
    ("rain", "hundredth_inch", 100, 25.4, 1e-12, "definition"),
    ("sun", "min", 90.0, 1.5, 1e-12, "definition"),
    ("humidity", "fraction", 0.63, 63.0, 1e-12, "definition"),
]


@pytest.mark.parametrize(("quantity", "unit", "value", "inside", "tol", "where"), PRINTED)
def test_printed(
    quantity: str, unit: str, value: float, inside: float, tol: float, where: str
) -> None:
    assert float(to_inside(quantity, unit, value)) == pytest.approx(inside, abs=tol), where


@given(
    st.sampled_from([(q, u) for q, units in UNITS.items() for u in units]),
    st.floats(-500, 5000, allow_nan=False),
)
def test_there_and_back(pair: tuple[str, str], value: float) -> None:
    quantity, unit = pair
    back = from_inside(quantity, unit, to_inside(quantity, unit, value))
    assert float(back) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_the_first_unit_is_the_one_used_inside() -> None:
    for quantity, units in UNITS.items():
        first = next(iter(units))
        assert float(to_inside(quantity, first, 12.5)) == 12.5


def test_unknown_stays_unknown() -> None:
    values = to_inside("wind", "km/h", [36.0, math.nan])
    assert np.isnan(values[1])
    assert values[0] == pytest.approx(10.0)


def test_an_unknown_unit_is_a_fault_of_the_caller() -> None:
    with pytest.raises(KeyError):
        to_inside("wind", "furlongs", 1.0)
