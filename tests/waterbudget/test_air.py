import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import air

temperatures = st.floats(-20, 50)


@given(temperatures, st.floats(0.01, 0.2))
def test_slope_is_the_slope_of_the_saturation_curve(t, step):
    rise = (air.saturation_kpa(t + step) - air.saturation_kpa(t - step)) / (2 * step)
    assert air.slope_kpa_c(t) == pytest.approx(rise, rel=1e-3)


@given(temperatures, st.floats(0, 25), st.floats(1, 100), st.floats(0, 1))
def test_vapour_pressure_from_humidity_is_never_above_saturation(tmin, spread, rh_max, share):
    tmax = tmin + spread
    ea = air.ea_from_rh(tmax, tmin, rh_max, rh_max * share)
    assert 0 < ea <= air.mean_saturation_kpa(tmax, tmin) * (1 + 1e-12)
    assert 0 < air.rh_min_from_ea(ea, tmax) <= 100


@given(temperatures)
def test_at_full_humidity_every_way_agrees(t):
    saturated = air.saturation_kpa(t)
    for ea in (
        air.ea_from_rh(t, t, 100, 100),
        air.ea_from_rh_max(t, 100),
        air.ea_from_rhmean(t, t, 100),
        air.ea_from_dew(t),
        air.ea_from_wet_dry(t, t, 101.3),
    ):
        assert ea == pytest.approx(saturated)


def test_boiling_water_and_thin_air():
    """Water boils at 100 degC under 101.3 kPa; half the air lies below about 5.5 km."""
    assert air.saturation_kpa(100.0) == pytest.approx(101.3, rel=0.02)
    assert air.pressure_kpa(5500) == pytest.approx(101.3 / 2, rel=0.03)


def test_wind_rises_with_height_and_stays_at_2_m():
    u2 = air.wind_at_2m(3.0, np.array([1.0, 2.0, 3.0, 10.0]))
    assert u2[1] == 3.0
    assert (np.diff(u2) < 0).all()
    assert np.isnan(air.wind_at_2m(3.0, 0.08))
    assert np.isnan(air.wind_at_2m(3.0, -1.0))


def test_numbers_and_arrays_and_gaps():
    assert air.saturation_kpa([10.0, np.nan])[0] == pytest.approx(1.228, abs=0.001)
    assert np.isnan(air.saturation_kpa([10.0, np.nan])[1])
    assert float(air.pressure_kpa(0)) == 101.3
