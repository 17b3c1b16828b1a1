"""The sun above the air: radiation outside the atmosphere, day length, clear sky, sunshine.

Every function takes numbers or arrays and gives arrays of the broadcast shape (a plain number in
gives a numpy float).  Latitude is in degrees, north positive, everywhere; nobody outside this
module handles radians.  NaN in gives NaN out.

Source: Allen, Pereira, Raes, Smith (1998) Crop evapotranspiration, FAO Irrigation and Drainage
Paper 56, chapter 3 ("FAO-56" below).
"""

from __future__ import annotations

import datetime as dt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget.errors import Refused

Values = NDArray[np.float64]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820
"""FAO-56 p. 46, under eq. 21."""

ANGSTROM_A, ANGSTROM_B = 0.25, 0.50
"""Share of the outer radiation on an overcast day, and what a full day of sun adds (p. 50)."""

KRS_INLAND, KRS_COAST = 0.16, 0.19
"""Coefficients of :func:`radiation_from_range` (FAO-56 p. 60) [degC^-0.5]."""


def _latitude_rad(lat_deg: ArrayLike) -> Values:
    lat = np.asarray(lat_deg, dtype=float)
    outside = ~((lat >= -90.0) & (lat <= 90.0))
    if outside.any():
        raise Refused("et0.latitude", value=float(lat[outside].flat[0]))
    return np.radians(lat)


def days_of_year(first: dt.date, days: int) -> NDArray[np.int64]:
    """Return the day of the year (1 Jan = 1) of each of ``days`` days from ``first``."""
    stamps = np.datetime64(first, "D") + np.arange(days)
    return (stamps - stamps.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1


def inverse_distance(day_of_year: ArrayLike) -> Values:
    """Return the inverse relative distance Earth-Sun [-] (FAO-56 eq. 23)."""
    return 1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * np.asarray(day_of_year, dtype=float))


def declination_rad(day_of_year: ArrayLike) -> Values:
    """Return the solar declination [rad] (FAO-56 eq. 24)."""
    j = np.asarray(day_of_year, dtype=float)
    return 0.409 * np.sin(2.0 * np.pi / 365.0 * j - 1.39)


def sunset_angle_rad(lat_deg: ArrayLike, day_of_year: ArrayLike) -> Values:
    """Return the sunset hour angle [rad] (FAO-56 eq. 25), 0 in polar night, pi in polar day."""
    cosine = -np.tan(_latitude_rad(lat_deg)) * np.tan(declination_rad(day_of_year))
    return np.arccos(np.clip(cosine, -1.0, 1.0))


def day_length_h(lat_deg: ArrayLike, day_of_year: ArrayLike) -> Values:
    """Return the daylight hours [h] (FAO-56 eq. 34)."""
    return 24.0 / np.pi * sunset_angle_rad(lat_deg, day_of_year)


def extraterrestrial_mj(lat_deg: ArrayLike, day_of_year: ArrayLike) -> Values:
    """Return the daily radiation outside the air, Ra [MJ/m2/d] (FAO-56 eq. 21).

    Raises
    ------
    Refused
        ``et0.latitude`` where the latitude is outside -90..90 degrees.
    """
    lat = _latitude_rad(lat_deg)
    tilt = declination_rad(day_of_year)
    sunset = sunset_angle_rad(lat_deg, day_of_year)
    path = sunset * np.sin(lat) * np.sin(tilt) + np.cos(lat) * np.cos(tilt) * np.sin(sunset)
    return 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * inverse_distance(day_of_year) * path


def solar_time_angle_rad(
    day_of_year: ArrayLike, clock_mid_h: ArrayLike, lon_deg: ArrayLike, zone_lon_deg: ArrayLike
) -> Values:
    """Return the sun's hour angle at the middle of a period [rad] (FAO-56 eq. 31 to 33).

    Parameters
    ----------
    clock_mid_h : array_like
        Standard clock time at the middle of the period [h]: 14.5 for 14:00 to 15:00.
    lon_deg, zone_lon_deg : array_like
        Longitude of the place and of the middle of its time zone [deg], **east** positive (the
        paper counts them west).
    """
    b = 2.0 * np.pi * (np.asarray(day_of_year, dtype=float) - 81.0) / 364.0
    season_h = 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    east_h = (np.asarray(lon_deg, dtype=float) - np.asarray(zone_lon_deg, dtype=float)) / 15.0
    return np.pi / 12.0 * (np.asarray(clock_mid_h, dtype=float) + east_h + season_h - 12.0)


def extraterrestrial_period_mj(
    lat_deg: ArrayLike, day_of_year: ArrayLike, angle_mid_rad: ArrayLike, hours: ArrayLike = 1.0
) -> Values:
    """Return the radiation outside the air in a period of the day [MJ/m2] (FAO-56 eq. 28 to 30).

    Parameters
    ----------
    angle_mid_rad : array_like
        From :func:`solar_time_angle_rad`.
    hours : array_like
        Length of the period [h].  The part before sunrise and after sunset counts nothing.
    """
    lat = _latitude_rad(lat_deg)
    tilt = declination_rad(day_of_year)
    sunset = sunset_angle_rad(lat_deg, day_of_year)
    middle = (np.asarray(angle_mid_rad, dtype=float) + np.pi) % (2.0 * np.pi) - np.pi
    half = np.pi * np.asarray(hours, dtype=float) / 24.0
    start = np.clip(middle - half, -sunset, sunset)
    end = np.clip(middle + half, -sunset, sunset)
    path = (end - start) * np.sin(lat) * np.sin(tilt) + np.cos(lat) * np.cos(tilt) * (
        np.sin(end) - np.sin(start)
    )
    strength = 12.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * inverse_distance(day_of_year)
    return strength * path


def clear_sky_mj(ra_mj: ArrayLike, elevation_m: ArrayLike) -> Values:
    """Return the radiation of a cloudless day, Rso [MJ/m2/d] (FAO-56 eq. 37)."""
    return (0.75 + 2e-5 * np.asarray(elevation_m, dtype=float)) * np.asarray(ra_mj, dtype=float)


def radiation_from_sunshine(
    ra_mj: ArrayLike,
    sun_h: ArrayLike,
    day_length_h: ArrayLike,
    a: float = ANGSTROM_A,
    b: float = ANGSTROM_B,
) -> Values:
    """Return the radiation at the ground from hours of sunshine [MJ/m2/d] (FAO-56 eq. 35).

    Sunshine a little longer than the day (rounding) counts as the whole day; a day without
    daylight has no sunshine to divide.
    """
    hours = np.asarray(sun_h, dtype=float)
    length = np.asarray(day_length_h, dtype=float)
    share = np.minimum(hours / np.where(length > 0.0, length, np.inf), 1.0)
    return (a + b * share) * np.asarray(ra_mj, dtype=float)


def radiation_from_range(
    ra_mj: ArrayLike, tmax_c: ArrayLike, tmin_c: ArrayLike, krs: float = KRS_INLAND
) -> Values:
    """Return the radiation at the ground from the day's temperature range (FAO-56 eq. 50).

    Parameters
    ----------
    krs : float
        0.16 inland, 0.19 on a coast [degC^-0.5] (FAO-56 p. 60).

    Returns
    -------
    ndarray
        [MJ/m2/d]; NaN where the highest is below the lowest temperature.
    """
    spread = np.asarray(tmax_c, dtype=float) - np.asarray(tmin_c, dtype=float)
    root = np.sqrt(np.where(spread >= 0.0, spread, np.nan))
    return krs * root * np.asarray(ra_mj, dtype=float)


def noon_elevation_deg(lat_deg: ArrayLike, day_of_year: ArrayLike) -> Values:
    """Return the height of the sun above the horizon at noon [deg] (FAO-56 eq. 101).

    Below 0 the sun does not rise that day.
    """
    return 90.0 - np.degrees(np.abs(_latitude_rad(lat_deg) - declination_rad(day_of_year)))
