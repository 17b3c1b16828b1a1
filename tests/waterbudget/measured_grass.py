"""The field of ``tests/published/us_ar1_daily.csv`` taken through the public functions.

Used by the test and by the chart (``tests/published/draw_us_ar1.py``).  Why each choice was made
stands in :mod:`test_measured_grass`.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
from pathlib import Path

import numpy as np

from waterbudget import air, balance, sun
from waterbudget.et0 import ReferenceEt, reference_et
from waterbudget.soil import total_available_mm
from waterbudget.weather import DailyRecord, WeatherFile, read_weather

FILE = Path(__file__).parents[1] / "published" / "us_ar1_daily.csv"
LAT, ELEVATION_M, WIND_HEIGHT_M = 36.4267, 611.0, 3.0
COMPARED_FROM = dt.date(2010, 1, 1)  # the year before only settles the start

KCB, ROOT_DEPTH_M, AVAILABLE, P, COVER = 0.85, 1.0, 0.13, 0.5, 0.7
TEW_MM, REW_MM = 18.0, 8.0
HEIGHT_M = 1.0  # of the stand; enters only the upper limit of Kcb + Ke


@dataclasses.dataclass(frozen=True)
class Grass:
    """Daily values from ``COMPARED_FROM``, [mm] unless said."""

    dates: np.ndarray
    et0: np.ndarray
    rain: np.ndarray
    drainage: np.ndarray
    modelled: np.ndarray
    measured: np.ndarray
    measured_share: np.ndarray
    storage: np.ndarray
    soil_water_pct: np.ndarray
    closure: float
    """Largest miss of the account on any day, the year before included."""

    @property
    def total_ratio(self) -> float:
        return float(self.modelled.sum() / self.measured.sum())

    def monthly(self, values: np.ndarray) -> np.ndarray:
        month = self.dates.astype("datetime64[M]")
        return np.array([values[month == m].sum() for m in np.unique(month)])

    @property
    def monthly_r(self) -> float:
        return r(self.monthly(self.modelled), self.monthly(self.measured))

    @property
    def storage_r(self) -> float:
        return r(self.storage, self.soil_water_pct)

    def parts(self, keep: np.ndarray) -> Grass:
        """The days of ``keep`` only."""
        cut = {
            f.name: v[keep]
            for f in dataclasses.fields(self)
            if isinstance(v := getattr(self, f.name), np.ndarray)
        }
        return dataclasses.replace(self, **cut)


def r(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.corrcoef(a, b)[0, 1])


def read() -> WeatherFile:
    """The file as a grower's own station file would be read."""
    return read_weather(
        FILE.read_bytes(), name=FILE.name, lat=LAT, elevation_m=ELEVATION_M,
        wind_height_m=WIND_HEIGHT_M,
    )  # fmt: skip


def column(name: str) -> np.ndarray:
    """A column the importer has no use for; NaN where the cell is empty."""
    with FILE.open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return np.array([float(row[name] or "nan") for row in rows])


def range_from_sun(record: DailyRecord) -> np.ndarray:
    """High less low [degC] by FAO-56 eq. 50 turned round; over days without sun the neighbours'."""
    ra = sun.extraterrestrial_mj(LAT, sun.days_of_year(record.first, len(record)))
    found = (record.values["rs_mj"] / (sun.KRS_INLAND * ra)) ** 2
    days, known = np.arange(len(found)), np.isfinite(found)
    return np.interp(days, days[known], found[known])


def with_high_and_low(record: DailyRecord, range_c: np.ndarray | float) -> DailyRecord:
    """Complete the record: the range about the measured mean, the deficit as it was measured."""
    mean = record.values["tmean_c"]
    high, low = mean + range_c / 2, mean - range_c / 2
    ea = air.mean_saturation_kpa(high, low) - column("vpd_kpa")
    more = {"tmax_c": high, "tmin_c": low, "ea_kpa": ea}
    return dataclasses.replace(record, values={**record.values, **more})


def reference(range_c: float | None = None) -> tuple[DailyRecord, ReferenceEt]:
    record = DailyRecord.from_days(read().days)
    assert record is not None
    record = with_high_and_low(record, range_from_sun(record) if range_c is None else range_c)
    return record, reference_et(record, lat=LAT, elevation_m=ELEVATION_M)


def grass(
    *, range_c: float | None = None, p_moves: bool = False, start_share: float = 0.0,
    first: dt.date | None = None,
) -> Grass:  # fmt: skip
    """Run the account from ``first`` (the file's own first day) and compare from 2010.

    ``range_c`` replaces the path to high and low by one range for all days; ``start_share`` is
    the share of the water that is gone on the first day.
    """
    record, et = reference(range_c)
    begin = 0 if first is None else (first - record.first).days
    drivers = _drivers(record, et, p_moves).rows(slice(begin, None))
    taw = drivers.taw_mm[0]
    start = dataclasses.replace(
        balance.State.full(1), dr_mm=start_share * taw, de_mm=start_share * drivers.tew_mm
    )
    account, _ = balance.run(drivers, start)
    skip = (COMPARED_FROM - record.first).days
    own = skip - begin
    return Grass(
        dates=np.datetime64(COMPARED_FROM, "D") + np.arange(len(record) - skip),
        et0=et.et0_mm[skip:], rain=record.values["rain_mm"][skip:],
        drainage=account.drainage_mm[own:, 0], modelled=account.etc_mm[own:, 0],
        measured=column("actual_et_mm")[skip:],
        measured_share=column("actual_et_measured_share")[skip:],
        storage=(taw - account.dr_mm[own:])[:, 0],
        soil_water_pct=column("soil_water_pct")[skip:],
        closure=float(np.abs(account.closure_mm).max()),
    )  # fmt: skip


def _drivers(record: DailyRecord, et: ReferenceEt, p_moves: bool) -> balance.Drivers:
    days = len(record)

    def daily(value: float) -> np.ndarray:
        return np.full((days, 1), value)

    kcb, taw = daily(KCB), daily(float(total_available_mm(AVAILABLE, 0.0, ROOT_DEPTH_M)))
    few_water, few_rain = balance.exposed_wetted(daily(COVER), 1.0, False)
    upper = balance.kc_max(kcb, et.u2_m_s[:, None], et.rh_min[:, None], daily(HEIGHT_M))
    return balance.Drivers(
        et0_mm=et.et0_mm[:, None], kcb=kcb, kc_max=upper, few_water=few_water, few_rain=few_rain,
        taw_mm=taw, allowed_mm=P * taw, rain_mm=record.values["rain_mm"][:, None],
        runoff_mm=daily(0.0), irrigation_mm=daily(0.0), full=np.zeros((days, 1), bool),
        tew_mm=np.array([TEW_MM]), rew_mm=np.array([REW_MM]), p_stress=np.array([P]),
        p_moves=np.array([p_moves]), wetted_fraction=np.ones(1), rain_reach=np.ones(1),
        interception_mm=np.zeros(1), kc_factor=np.ones(1), single=np.zeros(1, bool),
    )  # fmt: skip
