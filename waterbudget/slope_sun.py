"""The sun on a slope: how much more or less radiation the ground of a hillside gets than flat land.

A day's radiation is split into direct and diffuse by how clear the day was, the direct part turned
onto the slope by the geometry of the sun's path, and sky and ground in front added:

    Rs_slope / Rs = fB KB / tau + fi KD / tau + albedo (1 - fi)

with tau = Rs / Ra, KB and KD its direct and diffuse parts, fB the radiation outside the air on the
slope over that on the flat, fi = (1 + cos s) / 2 the part of the sky the slope sees.  Source:
Allen, Trezza & Tasumi (2006) "Analytical integrated functions for daily solar radiation on
slopes", Agricultural and Forest Meteorology 139, 55-73 (split and sum; from memory); the plain sky
after Liu & Jordan (1963).  fB is summed over the day here in steps of five minutes, so that a sun
that rises or sets behind the slope needs no list of cases.

A millimetre is a litre on a square metre of *plan* area, and a square metre of plan carries
1 / cos(s) of slope: the factors here are per plan area, so that two facing sides of a hill under a
sun overhead get together what flat land gets.

What it changes in reference ET is the net short-wave part alone (FAO-56 eq. 6 and 38): the long
waves depend on how clear the sky is, and the sky is the same.  Shade from other hills is not
counted.
"""

from __future__ import annotations

import datetime as dt
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget import air, sun
from waterbudget.errors import Refused

Values = NDArray[np.float64]

STEPS = 288
"""Of five minutes in a day."""
GROUND_ALBEDO = 0.23
"""What the ground in front throws back: grass (FAO-56 p. 51)."""
LEAST_FACTOR, LARGEST_FACTOR = 0.3, 3.0
"""A steep side in its winter is held inside these, for the sky is never as plain (own estimate)."""
DAYS_OF_YEAR = 366


def direct_share(clearness: ArrayLike) -> Values:
    """Return the direct part of a day's radiation, KB / tau [-].

    Parameters
    ----------
    clearness : array_like
        tau = Rs / Ra [-].
    """
    tau = np.clip(np.asarray(clearness, dtype=float), 0.0, 1.0)
    clear = 1.56 * tau - 0.55
    middle = 0.022 - 0.280 * tau + 0.828 * tau**2 + 0.765 * tau**3
    direct = np.where(tau >= 0.42, clear, np.where(tau > 0.175, middle, 0.016 * tau))
    share = direct / np.where(tau > 0.0, tau, 1.0)
    return np.clip(np.where(np.isnan(tau), np.nan, share), 0.0, 1.0)


def direct_ratio(
    lat_deg: float, slope_pct: float, aspect_deg: float, day_of_year: ArrayLike
) -> Values:
    """Return radiation outside the air on a slope over that on the flat, per slope area [-].

    Parameters
    ----------
    aspect_deg : float
        Direction the slope falls to, clockwise from north [degrees].
    day_of_year : array_like, shape (days,)

    Returns
    -------
    ndarray, shape (days,)
        1 on days without sun.

    Raises
    ------
    Refused
        ``et0.latitude``.
    """
    days = np.atleast_1d(np.asarray(day_of_year, dtype=float))
    tilt = sun.declination_rad(days)[:, None]
    if not -90.0 <= lat_deg <= 90.0:
        raise Refused("et0.latitude", value=lat_deg)
    lat, hour = np.radians(lat_deg), (np.arange(STEPS) + 0.5) * 2 * np.pi / STEPS - np.pi
    up = np.sin(lat) * np.sin(tilt) + np.cos(lat) * np.cos(tilt) * np.cos(hour)
    east = -np.cos(tilt) * np.sin(hour)
    north = np.cos(lat) * np.sin(tilt) - np.sin(lat) * np.cos(tilt) * np.cos(hour)
    rise, towards = slope_pct / 100.0, np.radians(aspect_deg)
    onto = up + rise * (east * np.sin(towards) + north * np.cos(towards))
    onto /= np.hypot(1.0, rise)
    shines = up > 0.0
    flat = np.where(shines, up, 0.0).sum(axis=1)
    slope = np.where(shines & (onto > 0.0), onto, 0.0).sum(axis=1)
    return np.where(flat > 0.0, slope / np.where(flat > 0.0, flat, 1.0), 1.0)


@lru_cache(maxsize=512)
def _year(lat_deg: float, slope_pct: float, aspect_deg: float) -> Values:
    """Return the direct ratio of every day of a year."""
    ratio = direct_ratio(lat_deg, slope_pct, aspect_deg, np.arange(1, DAYS_OF_YEAR + 1))
    ratio.flags.writeable = False
    return ratio


def radiation_factor(
    lat_deg: float, slope_pct: float, aspect_deg: float, day_of_year: ArrayLike,
    clearness: ArrayLike,
) -> Values:  # fmt: skip
    """Return a day's radiation on a slope over that on the flat, per plan area [-].

    Parameters
    ----------
    day_of_year : array_like of int, shape (days,)
        1 to 366.
    clearness : array_like, shape (days,)
        Rs / Ra [-]; NaN gives NaN.
    """
    days = np.asarray(day_of_year, dtype=int)
    direct = direct_share(clearness)
    level = 1.0 / np.hypot(1.0, slope_pct / 100.0)  # cosine of the slope
    sky = (1.0 + level) / 2.0
    turned = _year(float(lat_deg), float(slope_pct), float(aspect_deg))[days - 1]
    found = turned * direct + sky * (1.0 - direct) + GROUND_ALBEDO * (1.0 - sky)
    return np.clip(found / level, LEAST_FACTOR, LARGEST_FACTOR)


def et0_change_mm(
    rs_mj: ArrayLike, factor: ArrayLike, tmax_c: ArrayLike, tmin_c: ArrayLike, u2_m_s: ArrayLike,
    elevation_m: float,
) -> Values:  # fmt: skip
    """Return what another short-wave radiation adds to a day's reference ET [mm/d].

    The radiation term of FAO-56 eq. 6 for the change of Rns alone:
    0.408 slope / (slope + gamma (1 + 0.34 u2)) x 0.77 Rs (factor - 1).
    """
    tmean = (np.asarray(tmax_c, dtype=float) + np.asarray(tmin_c, dtype=float)) / 2.0
    curve = air.slope_kpa_c(tmean)
    gamma = air.psychrometric_kpa_c(air.pressure_kpa(elevation_m))
    weight = curve / (curve + gamma * (1.0 + 0.34 * np.asarray(u2_m_s, dtype=float)))
    more = (1.0 - GROUND_ALBEDO) * np.asarray(rs_mj, dtype=float)
    return 0.408 * weight * more * (np.asarray(factor, dtype=float) - 1.0)


def et0_factor(
    first: dt.date, et0_mm: Values, rs_mj: Values, tmax_c: Values, tmin_c: Values, u2_m_s: Values,
    *, lat: float, elevation_m: float, slope_pct: float, aspect_deg: float,
) -> Values:  # fmt: skip
    """Return the factor on each day's reference ET on a slope [-].

    A day whose sun, temperatures or wind are not known has the clearness and the part of the sun
    in its ET0 that the known days have in the middle; where no day is known it stays as it is.

    Parameters
    ----------
    first : datetime.date
    et0_mm, rs_mj, tmax_c, tmin_c, u2_m_s : ndarray, shape (days,)
        Of the station, on the flat.

    Returns
    -------
    ndarray, shape (days,)
    """
    days = sun.days_of_year(first, len(et0_mm))
    outside = sun.extraterrestrial_mj(lat, days)
    tau = np.where(outside > 0.0, rs_mj / np.where(outside > 0.0, outside, 1.0), np.nan)
    per_unit = et0_change_mm(rs_mj, 2.0, tmax_c, tmin_c, u2_m_s, elevation_m)  # of a doubled sun
    share = per_unit / np.where(et0_mm > 0.0, et0_mm, np.nan)
    known = np.isfinite(tau) & np.isfinite(share)
    if not known.any():
        return np.ones(len(et0_mm))
    tau = np.where(known, tau, float(np.median(tau[known])))
    share = np.where(known, share, float(np.median(share[known])))
    factor = radiation_factor(lat, slope_pct, aspect_deg, days, tau)
    return np.maximum(1.0 + share * (factor - 1.0), 0.0)
