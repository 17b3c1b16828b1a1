"""The air: vapour pressure, air pressure, the psychrometric constant, wind at 2 m.

Every function takes numbers or arrays and gives arrays of the broadcast shape (a plain number in
gives a numpy float).  NaN in gives NaN out.  Relative humidity is in percent.

Source: Allen, Pereira, Raes, Smith (1998) Crop evapotranspiration, FAO Irrigation and Drainage
Paper 56, chapter 3 ("FAO-56" below).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

PSYCHROMETER_FAN, PSYCHROMETER_NATURAL, PSYCHROMETER_INDOOR = 0.000662, 0.000800, 0.001200
"""Coefficients of the wet-bulb instrument, by how air passes it [1/degC] (FAO-56 p. 38)."""

ROUGH_GRASS_M = 5.42
"""Third constant of the wind profile over clipped grass (FAO-56 eq. 47)."""


def saturation_kpa(t_c: ArrayLike) -> Values:
    """Return the saturation vapour pressure at a temperature [kPa] (FAO-56 eq. 11)."""
    t = np.asarray(t_c, dtype=float)
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


def slope_kpa_c(t_c: ArrayLike) -> Values:
    """Return the slope of the saturation curve [kPa/degC] (FAO-56 eq. 13)."""
    t = np.asarray(t_c, dtype=float)
    return 4098.0 * saturation_kpa(t) / (t + 237.3) ** 2


def pressure_kpa(elevation_m: ArrayLike) -> Values:
    """Return the usual air pressure at a height above the sea [kPa] (FAO-56 eq. 7)."""
    z = np.asarray(elevation_m, dtype=float)
    return 101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26


def psychrometric_kpa_c(pressure_kpa: ArrayLike) -> Values:
    """Return the psychrometric constant for an air pressure [kPa/degC] (FAO-56 eq. 8)."""
    return 0.665e-3 * np.asarray(pressure_kpa, dtype=float)


def mean_saturation_kpa(tmax_c: ArrayLike, tmin_c: ArrayLike) -> Values:
    """Return the day's saturation vapour pressure, es [kPa] (FAO-56 eq. 12)."""
    return (saturation_kpa(tmax_c) + saturation_kpa(tmin_c)) / 2.0


def ea_from_rh(
    tmax_c: ArrayLike, tmin_c: ArrayLike, rh_max: ArrayLike, rh_min: ArrayLike
) -> Values:
    """Return the vapour pressure of the air from the day's humidity range [kPa] (eq. 17)."""
    morning = saturation_kpa(tmin_c) * np.asarray(rh_max, dtype=float) / 100.0
    afternoon = saturation_kpa(tmax_c) * np.asarray(rh_min, dtype=float) / 100.0
    return (morning + afternoon) / 2.0


def ea_from_rh_max(tmin_c: ArrayLike, rh_max: ArrayLike) -> Values:
    """Return the vapour pressure from the morning humidity alone [kPa] (FAO-56 eq. 18)."""
    return saturation_kpa(tmin_c) * np.asarray(rh_max, dtype=float) / 100.0


def ea_from_rhmean(tmax_c: ArrayLike, tmin_c: ArrayLike, rh_mean: ArrayLike) -> Values:
    """Return the vapour pressure from the day's mean humidity [kPa] (FAO-56 eq. 19)."""
    return mean_saturation_kpa(tmax_c, tmin_c) * np.asarray(rh_mean, dtype=float) / 100.0


def ea_from_dew(dew_c: ArrayLike) -> Values:
    """Return the vapour pressure from the dew point [kPa] (FAO-56 eq. 14)."""
    return saturation_kpa(dew_c)


def ea_from_wet_dry(
    dry_c: ArrayLike,
    wet_c: ArrayLike,
    pressure_kpa: ArrayLike,
    instrument: float = PSYCHROMETER_FAN,
) -> Values:
    """Return the vapour pressure from dry and wet bulb [kPa] (FAO-56 eq. 15 and 16)."""
    gap = np.asarray(dry_c, dtype=float) - np.asarray(wet_c, dtype=float)
    return saturation_kpa(wet_c) - instrument * np.asarray(pressure_kpa, dtype=float) * gap


def rh_min_from_ea(ea_kpa: ArrayLike, tmax_c: ArrayLike) -> Values:
    """Return the lowest relative humidity of the day [%], at most 100 (FAO-56 eq. 10)."""
    return np.minimum(100.0 * np.asarray(ea_kpa, dtype=float) / saturation_kpa(tmax_c), 100.0)


def wind_at_2m(u_m_s: ArrayLike, height_m: ArrayLike) -> Values:
    """Return the wind at 2 m from wind measured at another height [m/s] (FAO-56 eq. 47).

    At 2 m itself the factor is exactly 1 (the equation's own is 1.0002).  Below some 0.1 m the
    profile has no meaning: NaN.
    """
    u = np.asarray(u_m_s, dtype=float)
    z = np.asarray(height_m, dtype=float)
    inside = 67.8 * z - ROUGH_GRASS_M
    factor = 4.87 / np.log(np.where(inside > 1.0, inside, np.nan))
    return u * np.where(z == 2.0, 1.0, factor)
