"""Which unit a column without one can be in, by what is possible on earth where trees grow.

A unit is taken without asking only where every other one is impossible over the whole file;
then a note says so.  The bounds are generous and our own estimate:

- temperature: the mean of the file lies between 5 and 40 degC (no tree crop outside), no value
  outside -25 to 55 degC;
- humidity: some value above 2 % (so a column of 0.3 to 1.0 is a fraction);
- radiation: over at least 20 days the clearest day has between 35 % and 110 % of a clear sky's
  radiation; over fewer days only the upper bound counts;
- rain: no day above 500 mm, and over 30 days or more a mean below 40 mm a day;
- wind: the mean of the file between 0.15 and 15 m/s, no day above 40 m/s;
- reference ET: no day above 16 mm, and the mean of 10 or more days above 0.5 mm;
- sunshine: no day above 24 h, and over 20 days the longest above 3 h.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from waterbudget import sun
from waterbudget.units import UNITS, to_inside

Values = NDArray[np.float64]

CHOICES: dict[str, tuple[str, ...]] = {
    "temperature": ("C", "F", "K", "tenth_C"),
    "wind": ("m/s", "km/h", "mph", "knots", "km/day"),
    "radiation": ("MJ/m2", "W/m2", "kWh/m2", "Wh/m2", "langley", "J/cm2", "kJ/m2"),
    "vapour": ("kPa", "hPa", "mmHg"),
    "rain": ("mm", "inch", "tenth_mm", "cm"),
    "sun": ("h", "min", "tenth_h"),
    "humidity": ("%", "fraction", "tenth_%"),
    "et0": ("mm", "inch", "tenth_mm", "cm"),
}
"""The units a question offers."""

GUESSED: dict[str, tuple[str, ...]] = {**CHOICES, "rain": ("mm", "inch", "tenth_mm")}
"""The units weighed against each other before asking."""

CLEAR_SKY_SHARE = 0.85
"""Highest share of the outer radiation that reaches the ground in the highest clear air."""


class Setting(NamedTuple):
    """What is known about a file when its units are weighed.

    Attributes
    ----------
    daily : bool
        One value a day.
    step_h : float
        Hours between readings of a sub-daily file.
    clear_mj : ndarray or None
        Most the sun can bring on the day of each row [MJ/m2/d]; None without a latitude.
    """

    daily: bool
    step_h: float = 1.0
    clear_mj: Values | None = None


def clear_by_day(lat: float | None, day_of_year: Values) -> Values | None:
    """Return the most the sun can bring on each day [MJ/m2/d]; None without a latitude."""
    if lat is None:
        return None
    table = CLEAR_SKY_SHARE * sun.extraterrestrial_mj(lat, np.arange(0, 367))
    return table[day_of_year.astype(int)]


def possible(quantity: str, unit: str, values: Values, setting: Setting) -> bool:
    """Tell whether all of a column's values can be in a unit.

    Parameters
    ----------
    values : ndarray, shape (rows,)
        As in the file, missing codes taken out; NaN passed over.
    """
    there = ~np.isnan(values)
    known = values[there]
    if len(known) == 0 or unit not in UNITS[quantity]:
        return True
    if unit.startswith(("tenth_", "hundredth_")) and (known != np.round(known)).any():
        return False
    v = to_inside(quantity, unit, known)
    # one wild reading in a hundred says nothing about the unit
    high = float(np.quantile(v, 0.99)) if len(v) >= 20 else float(np.median(v))
    low = float(np.quantile(v, 0.01)) if len(v) >= 20 else float(np.median(v))
    mean = float(np.mean(np.clip(v, low, high)))
    if quantity == "temperature":
        return bool(5.0 <= mean <= 40.0 and low >= -25.0 and high <= 55.0)
    if quantity == "humidity":
        return bool(high <= 105.0 and high > (30.0 if unit == "tenth_%" else 2.0))
    if quantity == "wind":
        return bool(high <= 40.0 and (0.15 <= mean <= 15.0 or high == 0.0))
    if quantity == "radiation":
        clear = setting.clear_mj[there] if setting.clear_mj is not None else None
        return _possible_sun(unit, v, high, clear, setting)
    if quantity == "rain":
        top = float(v.max())
        if not setting.daily:
            return top <= 120.0
        return bool(top <= 500.0 and not (len(v) >= 30 and mean > 40.0))
    if quantity == "et0":
        return bool(high <= 16.0 and (mean >= 0.5 or len(v) < 10 or not setting.daily))
    if quantity == "sun":
        return bool(high <= 24.0 and (len(v) < 5 or high >= 1.0 or not setting.daily))
    return bool(0.3 <= mean <= 6.0)


def _possible_sun(
    unit: str, v: Values, high: float, clear: Values | None, setting: Setting
) -> bool:
    if not setting.daily:
        most = 1500.0 * 0.0864 if unit in ("W/m2", "kW/m2") else 5.0 * setting.step_h
        return high <= most
    if clear is None:
        return high <= 40.0 and (len(v) < 20 or high >= 5.0)
    share = v / np.maximum(clear, 0.1)
    top = float(np.quantile(share, 0.99)) if len(v) >= 20 else float(np.median(share))
    return top <= 1.1 and (len(v) < 20 or top >= 0.35)


def guess(quantity: str, values: Values, setting: Setting) -> str | None:
    """Return the only unit of :data:`GUESSED` the values can be in; None where several can."""
    left = [u for u in GUESSED[quantity] if possible(quantity, u, values, setting)]
    return left[0] if len(left) == 1 else None
