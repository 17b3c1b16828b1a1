"""The daily record of one station: unbroken days, one array a quantity, NaN where unknown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

COLUMNS = (
    "tmax_c", "tmin_c", "tmean_c", "rh_max", "rh_min", "rh_mean", "ea_kpa", "u2_m_s", "rs_mj",
    "sun_h", "rain_mm", "et0_given_mm", "et0_hourly_mm",
)  # fmt: skip
"""Quantities of a day: [degC], relative humidity [%], vapour pressure [kPa], wind at 2 m [m/s],
solar radiation [MJ/m2/d], sunshine [h], rain [mm], a reference ET that came with the file [mm],
the reference ET of the day's 24 hours summed [mm] (worked out when the file is read)."""

HOURLY_SUM = "et0_hourly_mm"
HOURLY_NEEDS = frozenset(
    ("tmax_c", "tmin_c", "tmean_c", "rh_max", "rh_min", "rh_mean", "ea_kpa", "u2_m_s", "rs_mj")
)
"""Where one of these is changed or not used, the sum of that day's hours holds no longer."""


@dataclass(frozen=True)
class Day:
    """One day of one station as it is used, before it stands in an array.

    Attributes
    ----------
    values : mapping
        Quantity (see :data:`COLUMNS`) to value; a quantity that is absent is unknown.
    flags : tuple of str
        Codes of what was found wrong or made another way that day.
    """

    date: dt.date
    values: Mapping[str, float]
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class DailyRecord:
    """Unbroken days from ``first``; a day nobody recorded is all NaN.

    Attributes
    ----------
    first : datetime.date
    values : mapping of str to ndarray, shape (days,)
        One array for each of :data:`COLUMNS`.
    flags : mapping of date to tuple of str
        Only for days that carry any.
    """

    first: dt.date
    values: Mapping[str, Values]
    flags: Mapping[dt.date, tuple[str, ...]] = field(default_factory=dict)

    @classmethod
    def from_days(cls, days: Iterable[Day]) -> DailyRecord | None:
        """Lay days (any order, no date twice) into arrays; None where there are none."""
        by_date = {day.date: day for day in days}
        if not by_date:
            return None
        first, last = min(by_date), max(by_date)
        n = (last - first).days + 1
        values = {name: np.full(n, np.nan) for name in COLUMNS}
        flags = {}
        for date, day in by_date.items():
            i = (date - first).days
            for name, value in day.values.items():
                values[name][i] = value
            if day.flags:
                flags[date] = day.flags
        return cls(first, values, flags)

    def __len__(self) -> int:
        return len(self.values["tmax_c"])

    @property
    def last(self) -> dt.date:
        """The last day that stands in the record."""
        return self.first + dt.timedelta(days=len(self) - 1)

    def before(self, day: dt.date) -> DailyRecord | None:
        """Return the record with only the days before ``day``; None where none is left."""
        n = (day - self.first).days
        if n <= 0:
            return None
        if n >= len(self):
            return self
        flags = {d: f for d, f in self.flags.items() if d < day}
        return DailyRecord(self.first, {k: v[:n] for k, v in self.values.items()}, flags)

    def day(self, date: dt.date) -> dict[str, float]:
        """Return the known values of one day (unknown ones left out)."""
        i = (date - self.first).days
        if not 0 <= i < len(self):
            return {}
        return {k: float(v[i]) for k, v in self.values.items() if not np.isnan(v[i])}
