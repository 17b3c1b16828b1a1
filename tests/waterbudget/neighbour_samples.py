"""Two invented stations that see one weather: nothing here computes anything the tests check."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np

from waterbudget.weather import COLUMNS, DailyRecord

FIRST = dt.date(2025, 9, 1)
DAYS = 182
READ = ("tmax_c", "tmin_c", "rh_max", "rh_min", "u2_m_s", "rs_mj", "rain_mm")


def weather(seed: int = 7, days: int = DAYS) -> dict[str, np.ndarray]:
    """One weather, as the station in the valley reads it."""
    chance = np.random.default_rng(seed)
    cloud = chance.uniform(0.0, 1.0, days)
    warm = 24.0 + np.cumsum(chance.normal(0, 0.5, days)).clip(-5, 5)
    return {
        "tmax_c": warm + 8.0 - 4.0 * cloud, "tmin_c": warm - 7.0 + 3.0 * cloud,
        "rh_max": 75.0 + 20.0 * cloud, "rh_min": 30.0 + 30.0 * cloud,
        "u2_m_s": chance.uniform(1.0, 4.0, days), "rs_mj": 25.0 - 13.0 * cloud,
        "rain_mm": np.where(cloud > 0.8, 12.0, 0.0),
    }  # fmt: skip


def record(
    values: dict[str, np.ndarray], *, first: dt.date = FIRST, without: Iterable[int] = (),
    quantities: Iterable[str] = READ,
) -> DailyRecord:  # fmt: skip
    """A record of these values; the ``quantities`` of the days ``without`` were not read."""
    n = len(values["tmax_c"])
    table = {name: np.full(n, np.nan) for name in COLUMNS}
    for name, series in values.items():
        table[name][:] = series
    for name in quantities:
        table[name][list(without)] = np.nan
    return DailyRecord(first, table)


def higher(values: dict[str, np.ndarray], noise: float = 0.0) -> dict[str, np.ndarray]:
    """The same weather 300 m higher: cooler, windier, the sun as below."""
    chance = np.random.default_rng(11)
    n = len(values["tmax_c"])
    moved = {
        "tmax_c": values["tmax_c"] - 2.0, "tmin_c": 0.9 * values["tmin_c"],
        "u2_m_s": 1.3 * values["u2_m_s"] + 0.2, "rs_mj": 0.95 * values["rs_mj"],
    }  # fmt: skip
    return values | {k: v + noise * chance.normal(0, 1, n) for k, v in moved.items()}
