"""Monthly effective rain: a check of a month's sum, used in no daily account.

The daily account credits rain day by day up to the room among the roots; a monthly formula beside
it only says whether a month is of the usual size.

Source: USDA SCS Technical Release 21, as in USDA NRCS National Engineering Handbook part 623
ch. 2 (1993); constants read in published code, the factor of the net depth from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

MM_PER_INCH = 25.4
USUAL_DEPTH_MM = 75.0


def depth_factor(net_depth_mm: ArrayLike) -> Values:
    """Return the storage factor of a usual net watering [-] (from memory); 1 at about 75 mm."""
    d = np.asarray(net_depth_mm, dtype=float) / MM_PER_INCH
    return np.asarray(0.531747 + 0.295164 * d - 0.057697 * d**2 + 0.003804 * d**3)


def monthly_effective_mm(
    rain_mm: ArrayLike, etc_mm: ArrayLike, net_depth_mm: ArrayLike = USUAL_DEPTH_MM
) -> Values:
    """Return the part of a month's rain that a crop can use [mm/month].

    Parameters
    ----------
    rain_mm, etc_mm : array_like
        Rain and crop use of the month [mm/month].
    net_depth_mm : array_like
        What one watering usually refills [mm].

    Returns
    -------
    ndarray
        Never more than it rained or than the crop uses, never below 0.
    """
    rain, etc = np.asarray(rain_mm, dtype=float), np.asarray(etc_mm, dtype=float)
    by_rain = 0.70917 * (rain / MM_PER_INCH) ** 0.82416 - 0.11556
    by_use = 10.0 ** (0.02426 * etc / MM_PER_INCH)
    found = depth_factor(net_depth_mm) * by_rain * by_use * MM_PER_INCH
    return np.asarray(np.clip(found, 0.0, np.minimum(rain, etc)))
