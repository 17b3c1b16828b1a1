"""Reference ET of one hour: FAO-56 Penman-Monteith for periods shorter than a day.

The days of a file of readings are summed from it (:mod:`waterbudget.weather`); the daily equation
and the choice between the two stand in :mod:`waterbudget.et0`.

Rs/Rso is held in 0.3..1, as for a day (ASCE-EWRI 2005; the paper prints the upper limit only):
in the first minutes of the sun it says little.

Source: Allen, Pereira, Raes, Smith (1998) Crop evapotranspiration, FAO Irrigation and Drainage
Paper 56 ("FAO-56"), chapter 4, p. 74 to 75.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget import air, sun

Values = NDArray[np.float64]

ALBEDO = 0.23
"""Share of the sun that grass throws back (FAO-56 p. 51)."""

STEFAN_BOLTZMANN = 4.903e-9
"""[MJ/K4/m2/d] (FAO-56 p. 52)."""

LEAST_CLEAR_SHARE = 0.3
"""Rs/Rso is never taken lower [-] (ASCE-EWRI 2005)."""


def net_longwave_mj(
    tmax_c: ArrayLike,
    tmin_c: ArrayLike,
    ea_kpa: ArrayLike,
    clear_share: ArrayLike,
    hours: float = 24.0,
) -> Values:
    """Return the net outgoing longwave radiation [MJ/m2 per period] (FAO-56 eq. 39).

    Parameters
    ----------
    clear_share : array_like
        Rs / Rso [-]; above 1 counts as 1.
    hours : float
        Length of the period [h].
    """
    kelvin4 = (
        (np.asarray(tmax_c, dtype=float) + 273.16) ** 4
        + (np.asarray(tmin_c, dtype=float) + 273.16) ** 4
    ) / 2.0
    damp = 0.34 - 0.14 * np.sqrt(np.asarray(ea_kpa, dtype=float))
    cloud = 1.35 * np.minimum(np.asarray(clear_share, dtype=float), 1.0) - 0.35
    return STEFAN_BOLTZMANN * hours / 24.0 * kelvin4 * damp * cloud


def hourly_et0(
    t_c: ArrayLike,
    ea_kpa: ArrayLike,
    u2_m_s: ArrayLike,
    rs_mj: ArrayLike,
    ra_mj: ArrayLike,
    *,
    elevation_m: float,
    night_clear_share: ArrayLike = 0.6,
) -> Values:
    """Return the hourly FAO-56 Penman-Monteith reference ET [mm/h] (eq. 53).

    Keeps the paper's 0.34 in the wind term by day and night (the later ASCE form has 0.24 and
    0.96).  A night hour may come out slightly below 0 (dew); sum before cutting at 0.

    Parameters
    ----------
    t_c, ea_kpa, u2_m_s, rs_mj : array_like
        Means of the hour, and the radiation of the hour [MJ/m2/h].
    ra_mj : array_like
        Radiation outside the air in that hour, :func:`sun.extraterrestrial_period_mj` [MJ/m2/h].
        0 makes it a night hour (soil heat flow 0.5 of net radiation, else 0.1: eq. 45, 46).
    night_clear_share : array_like
        Rs/Rso at night, as it was two or three hours before sunset; without that 0.4 to 0.6 in
        humid, 0.7 to 0.8 in dry air (FAO-56 p. 75; 0.8 in its example 19).
    """
    t, u2, rs, ra = (np.asarray(v, dtype=float) for v in (t_c, u2_m_s, rs_mj, ra_mj))
    day = ra > 0.0
    rso = sun.clear_sky_mj(np.where(day, ra, 1.0), elevation_m)
    clear = np.maximum(np.where(day, rs / rso, night_clear_share), LEAST_CLEAR_SHARE)
    rn = (1.0 - ALBEDO) * rs - net_longwave_mj(t, t, ea_kpa, clear, hours=1.0)
    heat = np.where(day, 0.1, 0.5) * rn
    slope = air.slope_kpa_c(t)
    gamma = air.psychrometric_kpa_c(air.pressure_kpa(elevation_m))
    dry = air.saturation_kpa(t) - np.asarray(ea_kpa, dtype=float)
    top = 0.408 * slope * (rn - heat) + gamma * 37.0 / (t + 273.0) * u2 * dry
    return top / (slope + gamma * (1.0 + 0.34 * u2))
