"""The invented weather obeys physics and looks like a station's file."""

from __future__ import annotations

import csv
import datetime as dt

import numpy as np
import pytest

from waterbudget import air, sun
from waterbudget.demo import weather
from waterbudget.demo.place import DEMO_DATE, STATION_ELEVATION, STATION_LAT

DAYS = weather.invent()
MONTH = np.array([d.month for d in DAYS.dates()])
MEAN = (DAYS.tmax + DAYS.tmin) / 2


def rows(text):
    return list(csv.DictReader(text.splitlines()))


def clear_sky():
    j = sun.days_of_year(DAYS.first, len(MEAN))
    return sun.clear_sky_mj(sun.extraterrestrial_mj(STATION_LAT, j), STATION_ELEVATION)


def test_radiation_never_above_a_clear_sky():
    share = DAYS.solar / clear_sky()
    assert share.max() <= 1.0
    assert share.max() > 0.95
    assert share.min() > 0.1


def test_rain_days_are_darker_than_dry_days():
    share = DAYS.solar / clear_sky()
    wet = np.isin(MONTH, (12, 1, 2))
    assert share[wet & (DAYS.rain > 0)].mean() < share[wet & (DAYS.rain == 0)].mean() - 0.1
    assert share[DAYS.rain > 20].mean() < share[(DAYS.rain > 0) & (DAYS.rain < 2)].mean()


def test_humidity_fits_one_body_of_air():
    assert np.all(DAYS.rh_min <= DAYS.rh_max)
    assert DAYS.rh_max.max() <= 100 and DAYS.rh_min.min() > 5
    dawn = air.saturation_kpa(DAYS.tmin) * DAYS.rh_max / 100
    noon = air.saturation_kpa(DAYS.tmax) * DAYS.rh_min / 100
    assert np.all(dawn <= air.saturation_kpa(DAYS.tmin) + 1e-9)
    assert np.abs(np.log(noon / dawn)).max() < 0.35
    assert np.corrcoef(noon, dawn)[0, 1] > 0.9


def test_the_dew_point_is_near_the_low_when_it_rains_and_far_in_the_dry_months():
    dawn = air.saturation_kpa(DAYS.tmin) * DAYS.rh_max / 100
    x = np.log(dawn / 0.6108)
    under = DAYS.tmin - 237.3 * x / (17.27 - x)
    assert under[DAYS.rain > 0].mean() < 1.0
    assert under[np.isin(MONTH, (8, 9))].mean() > 3.0


def test_high_above_low_every_day():
    assert np.all(DAYS.tmax - DAYS.tmin >= 3.0)
    assert DAYS.tmin.min() > 3.0
    assert DAYS.tmax.max() < 38.0


def test_months_are_warm_enough_for_the_clock():
    months = [MEAN[m == MONTH].mean() for m in range(1, 13)]
    assert 17.0 <= min(months) <= 19.5
    assert 23.5 <= max(months) <= 26.0


def test_one_wet_and_one_dry_season():
    years = len(DAYS.rain) / 365.25
    yearly = DAYS.rain.sum() / years
    wet = DAYS.rain[np.isin(MONTH, (11, 12, 1, 2, 3))].sum() / years
    dry = DAYS.rain[np.isin(MONTH, (6, 7, 8))].sum() / years
    assert 650 < yearly < 1150
    assert wet > 0.75 * yearly
    assert dry < 20


def test_rain_comes_in_spells_and_off_a_tipping_gauge():
    wet = (DAYS.rain > 0) & np.isin(MONTH, (12, 1, 2))
    after_wet = wet[1:][wet[:-1]].mean()
    season = wet[np.isin(MONTH, (12, 1, 2))].mean()
    assert after_wet > season + 0.05
    assert np.allclose(DAYS.rain * 5, np.round(DAYS.rain * 5))
    assert 40 < DAYS.rain.max() < 100


def test_wind_is_skewed_and_light():
    assert DAYS.wind.min() >= 0.3
    assert 1.2 < DAYS.wind.mean() < 2.2
    assert DAYS.wind.mean() > np.median(DAYS.wind)


def test_station_file_ends_the_day_before_and_covers_twelve_years():
    found = [dt.date.fromisoformat(r["date"]) for r in rows(weather.station_csv(DAYS))]
    assert found[-1] == DEMO_DATE - dt.timedelta(days=1)
    assert found[0] == DEMO_DATE.replace(year=DEMO_DATE.year - 12)
    assert found == sorted(set(found))


def test_station_file_has_an_outage_and_dead_sensors_and_nothing_else_missing():
    found = {dt.date.fromisoformat(r["date"]): r for r in rows(weather.station_csv(DAYS))}
    first, last = min(found), max(found)
    every = {first + dt.timedelta(days=i) for i in range((last - first).days + 1)}
    assert sorted(every - set(found)) == [dt.date(2024, 2, d) for d in (11, 12, 13)]
    blank = {}
    for day, row in found.items():
        for column, text in row.items():
            if not text:
                blank.setdefault(column, []).append(day)
    assert {c: len(d) for c, d in blank.items()} == {
        "solar_MJ_m2": 8, "rh_max_pct": 12, "rh_min_pct": 12, "rain_mm": 1,
    }  # fmt: skip


def test_forecast_is_the_week_from_the_demo_date_with_some_rain():
    found = rows(weather.forecast_csv(DAYS))
    dates = [dt.date.fromisoformat(r["date"]) for r in found]
    assert dates == [DEMO_DATE + dt.timedelta(days=i) for i in range(7)]
    assert sum(float(r["rain_mm"]) for r in found) == pytest.approx(3.0)
    assert all(all(r.values()) for r in found)


def test_the_same_weather_every_time():
    again = weather.invent()
    assert weather.station_csv(again) == weather.station_csv(DAYS)
