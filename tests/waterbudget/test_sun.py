import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import sun
from waterbudget.errors import Refused

latitudes = st.floats(-90, 90)
days = st.integers(1, 366)


@given(latitudes, days)
def test_radiation_and_day_length_stay_in_nature(lat, day):
    ra, length = sun.extraterrestrial_mj(lat, day), sun.day_length_h(lat, day)
    assert 0 <= length <= 24
    assert -1e-9 <= ra <= 48.6  # a pole at solstice: 0.082 x 1440 x 1.033 x sin(0.409) = 48.5
    assert (ra < 1e-9) == (length == 0) or length < 0.5


@given(st.floats(-66, 66), days)
def test_the_hours_of_a_day_add_up_to_the_day(lat, day):
    clock = np.arange(24) + 0.5
    angles = sun.solar_time_angle_rad(day, clock, 20.0, 15.0)
    hours = sun.extraterrestrial_period_mj(lat, day, angles)
    assert hours.sum() == pytest.approx(float(sun.extraterrestrial_mj(lat, day)), rel=0.001)


@given(st.floats(0, 60))
def test_the_two_hemispheres_share_the_day(lat):
    together = sun.day_length_h(lat, 200) + sun.day_length_h(-lat, 200)
    assert together == pytest.approx(24.0)


def test_longest_day_and_noon_sun_by_season():
    j = np.arange(1, 366)
    assert j[np.argmax(sun.day_length_h(45, j))] == pytest.approx(172, abs=2)
    assert j[np.argmax(sun.day_length_h(-20, j))] in range(353, 358)
    assert sun.noon_elevation_deg(23.4, 172) == pytest.approx(90, abs=0.3)
    assert sun.noon_elevation_deg(80, 1) < 0


def test_arrays_broadcast_latitude_against_day():
    grid = sun.extraterrestrial_mj(np.array([[-20.0], [0.0]]), np.array([15, 196, 350]))
    assert grid.shape == (2, 3)
    assert grid[0, 0] > grid[0, 1]


@pytest.mark.parametrize("lat", [90.5, -123.0, float("nan")])
def test_a_latitude_off_the_globe_is_refused(lat):
    with pytest.raises(Refused) as told:
        sun.extraterrestrial_mj(lat, 100)
    assert told.value.code == "et0.latitude"


def test_sunshine_longer_than_the_day_is_a_whole_day_and_polar_night_is_dark():
    assert sun.radiation_from_sunshine(30.0, 12.4, 12.1) == pytest.approx(22.5)
    assert sun.radiation_from_sunshine(0.0, 0.0, 0.0) == 0.0
    assert np.isnan(sun.radiation_from_sunshine(30.0, np.nan, 12.0))


def test_a_low_above_the_high_gives_no_radiation_to_use():
    assert np.isnan(sun.radiation_from_range(40.0, 14.0, 20.0))
    assert sun.radiation_from_range(40.0, 25.0, 16.0, krs=0.19) == pytest.approx(22.8)


def test_days_of_year_cross_leap_years():
    assert sun.days_of_year(dt.date(2024, 2, 28), 3).tolist() == [59, 60, 61]
    assert sun.days_of_year(dt.date(2024, 12, 30), 3).tolist() == [365, 366, 1]
    assert sun.days_of_year(dt.date(2023, 12, 31), 2).tolist() == [365, 1]
