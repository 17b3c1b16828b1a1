"""Three years of measured grass (FLUXNET2015 site US-AR1) through the functions of a user's week.

It is a switchgrass field under rain, not a watered guava orchard: the test says that weather file,
reference ET, daily account and stress work together on a real field, nothing about guava's
coefficients.  Kcb 0.85, roots 1.0 m, available water 0.13, p 0.5, TEW 18 mm, REW 8 mm and cover 0.7
were fixed beforehand and none was tuned.  What remained to be chosen, and why:

- **Low and high.**  The file has the day's mean only.  The range comes from the measured sun by
  FAO-56 eq. 50 turned round, range = (Rs / (0.16 Ra))^2, with the paper's coefficient for inland
  places, laid evenly about the measured mean.  On six days the importer takes the sun out (above
  a clear sky, or too dark to be true); there the range is the neighbours' and the sun is estimated
  from it.  The choice hardly matters: one range of 8, 12 or 16 degrees for all days passes too.
- **Moisture.**  The equation uses the deficit es - ea.  The deficit was measured, so ea is es by
  eq. 12 less the measured deficit.  Taking ea at the mean temperature instead would enlarge the
  deficit by the curvature that eq. 12 puts into es (13 % more ET0, monthly r 0.75).
- **Wind** was measured at 3 m (the source's own settings file) and is brought to 2 m by eq. 47.
- **Start.**  The soil on the first day is not known.  The year 2009, in the same workbook, runs
  ahead; a full and an empty start on 1 January 2009 are one by 2010.  Tried first was a start full
  on 1 January 2010: it meets none of the three bars (total 15.4 % over, monthly r 0.78, storage r
  0.47), because it gives away 109 mm that were not there.
- **p** is held at 0.5 as it was given.  Where it follows the day's demand, as it does in the app,
  total and storage pass and monthly r is 0.798, just under the bar.
- **Height** 1.0 m; it enters only the upper limit of Kcb + Ke (0.3 m changes the total by less
  than 0.1 %).  All of the soil is wetted by rain; no run-off, nothing held on leaves.

What the figures cannot show: rain was 1,542 mm and nearly all of it evaporated, so the total says
more about the rain than about Kcb.  The soil water is the data set's shallowest sensor alone.
From May to July 2012 no flux was measured, in April half of it: the data set filled them.  Over
the other 32 months the modelled total is 18 % over, monthly r 0.87.  One Kcb for all the year
takes too much from October to March, when this grass is dead straw, and misses that water in
summer.
"""

import datetime as dt
import re
from pathlib import Path

import measured_grass as field
import numpy as np
import pytest

TOTAL_BAR, MONTHLY_BAR, STORAGE_BAR, CLOSED_MM = 0.15, 0.8, 0.6, 1e-9
CHART = field.FILE.with_suffix(".svg")


@pytest.fixture(scope="module")
def grass():
    return field.grass()


def test_the_file_is_read_as_any_station_file():
    found = field.read()
    assert (found.days[0].date, len(found.days)) == (dt.date(2009, 1, 1), 1461)
    assert found.answers == {} and found.gaps == ()
    first = found.days[0].values  # 3.14 m/s at 3 m; 123.1 W/m2 over a day
    assert first["u2_m_s"] == pytest.approx(3.14 * 0.921, abs=0.005)
    assert first["rs_mj"] == pytest.approx(10.636, abs=0.001)
    assert sum(d.values["rain_mm"] for d in found.days) == pytest.approx(2034.1, abs=0.1)
    assert {f.what for f in found.flags} == {"above_clear_sky", "too_dark"}
    assert len(found.flags) == 6


def test_et0_is_known_on_every_day_and_says_what_it_is_made_from():
    record, et = field.reference()
    assert np.isfinite(et.et0_mm).all()
    estimated = [i for i, made in enumerate(et.made_from) if made != ("measured",)]
    assert {et.made_from[i] for i in estimated} == {("rs_trange",)} and len(estimated) == 6
    np.testing.assert_allclose((et.tmax_c + et.tmin_c) / 2, record.values["tmean_c"])


def test_the_total_is_near_the_measured_one(grass):
    assert len(grass.measured) == 1096 and grass.measured.sum() == pytest.approx(1433, abs=1)
    assert grass.total_ratio == pytest.approx(1.0, abs=TOTAL_BAR)


def test_months_go_up_and_down_with_the_measured_ones(grass):
    assert len(grass.monthly(grass.measured)) == 36
    assert grass.monthly_r >= MONTHLY_BAR


def test_storage_goes_up_and_down_with_the_soil_water(grass):
    assert np.isfinite(grass.soil_water_pct).all()
    assert grass.storage_r >= STORAGE_BAR


def test_the_account_closes_every_day_and_over_the_three_years(grass):
    assert grass.closure < CLOSED_MM
    began = grass.storage[0] - (grass.rain - grass.drainage - grass.modelled)[0]
    change = (grass.rain - grass.drainage - grass.modelled).sum()
    assert grass.storage[-1] - began == pytest.approx(change, abs=1e-6)


def test_the_start_is_forgotten_before_the_comparison_begins(grass):
    empty = field.grass(start_share=1.0)
    assert np.abs(empty.storage - grass.storage).max() < 0.01


@pytest.mark.parametrize("range_c", [8.0, 12.0, 16.0])
def test_any_sensible_range_of_temperature_passes_too(range_c):
    other = field.grass(range_c=range_c)
    assert other.total_ratio == pytest.approx(1.0, abs=TOTAL_BAR)
    assert other.monthly_r >= MONTHLY_BAR and other.storage_r >= STORAGE_BAR


def test_where_p_follows_the_demand_total_and_storage_pass(grass):
    moving = field.grass(p_moves=True)
    assert moving.total_ratio == pytest.approx(1.0, abs=TOTAL_BAR)
    assert moving.storage_r >= STORAGE_BAR
    assert grass.monthly_r > moving.monthly_r > 0.79  # short of the bar: see above


def test_the_measured_months_alone_are_as_far_off_as_is_written_down(grass):
    """The text above must not get better or worse than the numbers."""
    month = grass.dates.astype("datetime64[M]")
    share = {m: grass.measured_share[month == m].mean() for m in np.unique(month)}
    filled = [str(m) for m, s in share.items() if s < 0.75]
    assert filled == ["2012-04", "2012-05", "2012-06", "2012-07"]
    measured = grass.parts(np.array([share[m] >= 0.75 for m in month]))
    assert measured.total_ratio == pytest.approx(1.18, abs=0.005)
    assert measured.monthly_r == pytest.approx(0.87, abs=0.005)


def test_the_chart_shows_these_figures(grass):
    text = re.sub(r"<[^>]+>", " ", Path(CHART).read_text(encoding="utf-8"))
    assert f"{grass.modelled.sum():,.0f} mm modelled" in text
    assert f"{grass.measured.sum():,.0f} mm measured" in text
    assert f"r {grass.monthly_r:.2f}" in text and f"r {grass.storage_r:.2f}" in text
    assert "CC BY 4.0" in text
