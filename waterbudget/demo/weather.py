"""Invented daily weather for the demo farm's station, and a forecast, that obey physics.

How a day comes about, in this order:

1. *Rain*: wet spells by a two-state chain whose chances follow the season; amounts are gamma
   distributed and read off a 0.2 mm tipping gauge.
2. *Sky*: the share of the clear-sky radiation that arrives; dark on rain days (darker the more
   it rains), hazy on dry days of the wet season, nearly clear in the dry season, never above 1.
3. *Temperature*: a season, a slow drift from day to day, cooler on rain days; the range between
   low and high grows with the open sky.
4. *Moisture*: the dew point lies a little under the low (far under it in the dry months, at it
   on rain days) and moves a little until the afternoon; both humidities follow from it.
5. *Wind*: log-normal about a season.

The monthly figures are made up (own estimate) for upland of about 1,050 m in the southern
tropics: one wet season, a cool dry winter, a hot dry spring.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.random import RandomState
from numpy.typing import NDArray

from waterbudget import air, sun
from waterbudget.demo.place import (
    DEMO_DATE,
    OLDER_YEARS,
    SEED,
    STATION_ELEVATION,
    STATION_LAT,
    YEARS,
)

Values = NDArray[np.float64]

MONTHS = {
    #              Jan   Feb   Mar   Apr   May   Jun   Jul   Aug   Sep   Oct   Nov   Dec
    "mean_c":     (23.0, 22.8, 22.5, 21.5, 19.8, 18.1, 17.9, 19.7, 22.4, 24.6, 24.6, 23.5),
    "range_c":    (9.6,  9.6,  10.2, 11.6, 13.2, 13.6, 13.8, 14.4, 14.6, 14.0, 11.8, 10.2),
    "rain_start": (0.40, 0.38, 0.24, 0.09, 0.03, 0.015, 0.01, 0.01, 0.02, 0.08, 0.22, 0.36),
    "rain_stay":  (0.62, 0.60, 0.52, 0.38, 0.20, 0.15, 0.10, 0.10, 0.20, 0.36, 0.50, 0.60),
    "rain_mm":    (12.5, 12.0, 10.0, 7.0,  4.0,  2.5,  2.0,  2.5,  4.0,  8.0,  10.5, 12.0),
    "clear":      (0.76, 0.77, 0.80, 0.87, 0.91, 0.91, 0.92, 0.93, 0.92, 0.88, 0.81, 0.76),
    "dew_gap_c":  (0.6,  0.6,  0.8,  1.2,  2.0,  2.6,  3.2,  4.4,  5.2,  4.6,  2.4,  0.9),
    "wind_m_s":   (1.3,  1.3,  1.3,  1.3,  1.3,  1.4,  1.6,  1.8,  2.1,  2.2,  1.8,  1.5),
}  # fmt: skip
"""By month: mean temperature, range of a clear day, chance of rain after a dry and after a wet
day, mean rain of a wet day, mean clearness of a dry day, dew point under the low, wind."""

HEADER = "date,tmax_C,tmin_C,rh_max_pct,rh_min_pct,wind_m_s_2m,solar_MJ_m2,rain_mm"

STORY_DAY = DEMO_DATE.replace(year=DEMO_DATE.year - YEARS)
FIRST_DAY = STORY_DAY.replace(year=STORY_DAY.year - OLDER_YEARS)
FORECAST_DAYS = 7
FORECAST_RAIN = {4: 3.0}
"""What the forecast promises on its fifth day [mm]."""

OUTAGE = (dt.date(2024, 2, 11), dt.date(2024, 2, 13))
"""The station was down: no rows at all."""

DEAD_SENSORS: Mapping[str, tuple[dt.date, dt.date]] = {
    "solar_MJ_m2": (dt.date(2023, 11, 3), dt.date(2023, 11, 10)),
    "rh_max_pct": (dt.date(2025, 5, 20), dt.date(2025, 5, 31)),
    "rh_min_pct": (dt.date(2025, 5, 20), dt.date(2025, 5, 31)),
    "rain_mm": (dt.date(2025, 7, 31), dt.date(2025, 7, 31)),
}
"""Columns that are blank from one day to another."""


@dataclass(frozen=True)
class Weather:
    """Unbroken days as they "really" were, before the station missed some.

    Every array has shape (days,): [degC], [%], [m/s at 2 m], [MJ/m2/d], [mm].
    """

    first: dt.date
    tmax: Values
    tmin: Values
    rh_max: Values
    rh_min: Values
    wind: Values
    solar: Values
    rain: Values

    def dates(self) -> list[dt.date]:
        """Return the date of every element."""
        return [self.first + dt.timedelta(days=i) for i in range(len(self.tmax))]


def invent() -> Weather:
    """Return the weather from :data:`FIRST_DAY` to the last day of the forecast."""
    older = _stretch(FIRST_DAY, (STORY_DAY - FIRST_DAY).days, RandomState(SEED + 1))
    story = _stretch(
        STORY_DAY, (DEMO_DATE - STORY_DAY).days + FORECAST_DAYS, RandomState(SEED), dry_end=True
    )
    names = [f.name for f in fields(Weather) if f.name != "first"]
    joined = {n: np.concatenate([getattr(older, n), getattr(story, n)]) for n in names}
    return Weather(FIRST_DAY, **joined)


def _stretch(first: dt.date, days: int, lots: RandomState, *, dry_end: bool = False) -> Weather:
    """Return some days; no rain on those of the forecast."""
    month = _by_day(first, days)
    rain = _rain(month, lots)
    if dry_end:
        rain[-FORECAST_DAYS:] = 0.0
    wet = rain > 0
    clear = _clearness(month["clear"], rain, lots)
    ra = sun.extraterrestrial_mj(STATION_LAT, sun.days_of_year(first, days))
    solar = np.floor(sun.clear_sky_mj(ra, STATION_ELEVATION) * clear * 100) / 100
    tmax, tmin = _temperature(month, wet, clear, lots)
    rh_max, rh_min = _humidity(month["dew_gap_c"], wet, tmax, tmin, lots)
    wind = np.round(month["wind_m_s"] * np.exp(lots.normal(-0.04, 0.28, days)), 1)
    return Weather(first, tmax, tmin, rh_max, rh_min, np.maximum(wind, 0.3), solar, rain)


def station_csv(weather: Weather) -> str:
    """Return the station's file up to the day before the demo date, with its gaps."""
    rows = [r for r in _rows(weather) if dt.date.fromisoformat(r["date"]) < DEMO_DATE]
    kept = []
    for row in rows:
        day = dt.date.fromisoformat(row["date"])
        if OUTAGE[0] <= day <= OUTAGE[1]:
            continue
        for column, (start, end) in DEAD_SENSORS.items():
            if start <= day <= end:
                row[column] = ""
        kept.append(row)
    return _csv(kept)


def forecast_csv(weather: Weather) -> str:
    """Return the forecast for the demo date and the six days after it, in the same columns."""
    rows = _rows(weather)[-FORECAST_DAYS:]
    for i, mm in FORECAST_RAIN.items():
        rows[i]["rain_mm"] = f"{mm:.1f}"
    return _csv(rows)


def _by_day(first: dt.date, days: int) -> dict[str, Values]:
    """Lay the monthly figures along the days, straight between the middles of the months."""
    middle = [dt.date(2023, m, 15).timetuple().tm_yday for m in range(1, 13)]
    at = np.array([middle[-1] - 365, *middle, middle[0] + 365], dtype=float)
    of_year = sun.days_of_year(first, days).astype(float)
    return {
        name: np.interp(of_year, at, [row[-1], *row, row[0]])  # type: ignore[arg-type]
        for name, row in MONTHS.items()
    }


def _rain(month: Mapping[str, Values], lots: RandomState) -> Values:
    days = len(month["rain_mm"])
    draw = lots.uniform(size=days)
    amount = np.minimum(lots.gamma(0.75, 1 / 0.75, days), 5.5)
    rain, wet = np.zeros(days), False
    for i in range(days):
        wet = bool(draw[i] < month["rain_stay" if wet else "rain_start"][i])
        if wet:
            rain[i] = max(0.2, round(amount[i] * month["rain_mm"][i] * 5) / 5)
    return rain


def _clearness(mean: Values, rain: Values, lots: RandomState) -> Values:
    """Return the share of the clear-sky radiation that arrives [-], 0.18 to 0.99."""
    days = len(rain)
    haze = lots.gamma(2.0, 0.5, days) * (0.99 - mean)
    dark = 0.34 + 0.22 * (1 - np.exp(-rain / 12.0)) + lots.normal(0, 0.07, days)
    after = np.concatenate([[0.0], 0.05 * (rain[:-1] > 5)])
    return np.clip(np.where(rain > 0, 1 - dark, 0.99 - haze - after), 0.18, 0.99)


def _temperature(
    month: Mapping[str, Values], wet: NDArray[np.bool_], clear: Values, lots: RandomState
) -> tuple[Values, Values]:
    drift, step = np.zeros(len(clear)), lots.normal(0, 0.95, len(clear))
    for i in range(1, len(clear)):
        drift[i] = 0.78 * drift[i - 1] + step[i]
    mean = month["mean_c"] + drift - np.where(wet, 0.9, -0.25)
    spread = month["range_c"] * (0.45 + 0.6 * clear) + lots.normal(0, 0.7, len(clear))
    spread = np.maximum(spread, 3.5)
    return np.round(mean + 0.5 * spread, 1), np.round(mean - 0.5 * spread, 1)


def _humidity(
    gap: Values, wet: NDArray[np.bool_], tmax: Values, tmin: Values, lots: RandomState
) -> tuple[Values, Values]:
    """Return the morning's and the afternoon's relative humidity [%], whole numbers."""
    days = len(gap)
    under = np.where(wet, 0.25, gap) * lots.gamma(4.0, 0.25, days)
    dew = tmin - under
    later = np.minimum(dew + lots.normal(0.2, 0.7, days), tmin + 1.5)
    at_dawn = 100 * air.saturation_kpa(dew) / air.saturation_kpa(tmin)
    at_noon = 100 * air.saturation_kpa(later) / air.saturation_kpa(tmax)
    rh_max = np.minimum(np.round(at_dawn), 100)
    return rh_max, np.minimum(np.round(at_noon), rh_max)


def _rows(weather: Weather) -> list[dict[str, str]]:
    columns = HEADER.split(",")[1:]
    values = (weather.tmax, weather.tmin, weather.rh_max, weather.rh_min, weather.wind,
              weather.solar, weather.rain)  # fmt: skip
    places = (1, 1, 0, 0, 1, 2, 1)
    return [
        {"date": day.isoformat()}
        | {
            name: f"{column[i]:.{digits}f}"
            for name, column, digits in zip(columns, values, places, strict=True)
        }
        for i, day in enumerate(weather.dates())
    ]


def _csv(rows: Iterable[Mapping[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, HEADER.split(","), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
