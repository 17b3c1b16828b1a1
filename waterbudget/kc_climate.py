"""Crop coefficients of the standard climate, taken to the wind and dryness of a place.

Tabled coefficients hold for wind of 2 m/s and a lowest humidity of 45 %.  The stage table of this
program was measured where guava grows, so the farm key ``kc_climate`` is off unless the grower
sets it; then every stage number (default, farm's or block's) is read as one of the standard
climate.  ``kc_fixed`` and ``kc_factor`` are the grower's own and are never touched.

Source: Allen et al. (1998) FAO Irrigation and Drainage Paper 56, eq. 62 p. 121 (Kc mid), 65 p. 125
(Kc end), 68 and 70 p. 136 (Kcb): one form, with the limits 1 to 6 m/s, 20 to 80 % and 0.1 to 10 m,
for coefficients of 0.45 and more.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

STANDARD_WIND_M_S, STANDARD_RH_MIN = 2.0, 45.0
WIND_LIMITS, RH_LIMITS, HEIGHT_LIMITS = (1.0, 6.0), (20.0, 80.0), (0.1, 10.0)
LEAST_ADJUSTED = 0.45
"""Smaller coefficients are mostly bare soil and are left as they are (FAO-56 eq. 65 and 70)."""
MEAN_DAYS = 30
"""The equations ask for means of a stage; the mean of the last 30 days stands for it (own rule)."""


def climate_term(u2_m_s: ArrayLike, rh_min: ArrayLike, height_m: ArrayLike) -> Values:
    """Return what a climate adds to a coefficient of the standard one [-].

    Parameters
    ----------
    u2_m_s : array_like
        Mean wind at 2 m [m/s].
    rh_min : array_like
        Mean of the lowest relative humidity of the days [%].
    height_m : array_like
        Height of the crop [m].
    """
    wind = np.clip(np.asarray(u2_m_s, dtype=float), *WIND_LIMITS) - STANDARD_WIND_M_S
    damp = np.clip(np.asarray(rh_min, dtype=float), *RH_LIMITS) - STANDARD_RH_MIN
    tall = np.clip(np.asarray(height_m, dtype=float), *HEIGHT_LIMITS)
    return np.asarray((0.04 * wind - 0.004 * damp) * (tall / 3.0) ** 0.3)


def adjusted(kc: ArrayLike, u2_m_s: ArrayLike, rh_min: ArrayLike, height_m: ArrayLike) -> Values:
    """Return coefficients taken from the standard climate to this one [-].

    As they are where wind or humidity is not known (NaN), or below :data:`LEAST_ADJUSTED`.
    """
    kc = np.asarray(kc, dtype=float)
    term = climate_term(u2_m_s, rh_min, height_m)
    moves = (kc >= LEAST_ADJUSTED) & np.isfinite(term)
    return np.where(moves, kc + np.where(moves, term, 0.0), kc)


def running_mean(values: ArrayLike, days: int = MEAN_DAYS) -> Values:
    """Return for each day the mean of what is known of it and the ``days - 1`` before.

    NaN where nothing is known in all that time.
    """
    values = np.asarray(values, dtype=float)
    known = np.isfinite(values)
    total = np.cumsum(np.where(known, values, 0.0))
    count = np.cumsum(known)
    total[days:] -= total[:-days].copy()
    count[days:] -= count[:-days].copy()
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
