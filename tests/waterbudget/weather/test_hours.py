"""The sum of a day's hours: beside the daily equation, beside another library, and when not."""

import datetime as dt

import numpy as np
import pytest
import refet
from weather_building import PLACE, D, record
from weather_cases_subdaily import HEADER, render, rows

from waterbudget import et0
from waterbudget.weather import DailyRecord, read_weather

LON, ZONE = 31.0, "Africa/Harare"
HERE = {**PLACE, "lon": LON, "time_zone": ZONE}
DAYS = record(6)


def read(text, **given):
    return read_weather(text.encode(), name="hours", **{**HERE, **given})


def sums(found):
    return {d.date: d.values.get("et0_hourly_mm") for d in found.days}


def codes(found):
    return {n.code for n in found.notes}


@pytest.fixture(scope="module")
def hourly_file():
    return read(render(rows(DAYS)))


def test_the_sum_lies_near_the_daily_equation(hourly_file):
    days = DailyRecord.from_days(hourly_file.days)
    daily = et0.reference_et(days, lat=PLACE["lat"], elevation_m=PLACE["elevation_m"]).et0_mm
    summed = days.values["et0_hourly_mm"]
    assert len(daily) == 6 and np.isfinite(summed).all()
    assert np.abs(summed / daily - 1.0).max() < 0.10
    assert np.abs(summed - daily).min() > 1e-3  # another equation, not the daily one again
    assert "weather.note.hourly_days" in codes(hourly_file)


def another_library(day):
    """Return refet's hours of a day with the paper's wind term by day and night, and the inputs."""
    t, rh, wind, watts = np.array([v[1:5] for v in rows([day])]).T
    ea, rs = 0.6108 * np.exp(17.27 * t / (t + 237.3)) * rh / 100.0, watts * 3600e-6
    begin = [v[0] - dt.timedelta(hours=2) for v in rows([day])]
    h = refet.Hourly(
        tmean=t, rs=rs, uz=wind, zw=2.0, elev=PLACE["elevation_m"], lat=PLACE["lat"], lon=LON,
        doy=np.array([b.timetuple().tm_yday for b in begin]),
        time=np.array([b.hour for b in begin]), ea=ea,
    )  # fmt: skip
    heat = h.rn * np.where(h.rn < 0, 0.5, 0.1)
    each = refet.calcs.etsz(rn=h.rn, g=heat, tmean=h.tmean, u2=h.u2, vpd=h.vpd,
                            es_slope=h.es_slope, psy=h.psy, cn=37.0, cd=0.34)  # fmt: skip
    return each, h.ra, (t, ea, wind, rs)


@pytest.mark.parametrize("day", DAYS, ids=lambda d: d.date.isoformat())
def test_the_sum_is_near_that_of_another_library(hourly_file, day):
    """It takes a clear sky at night and at low sun, which cools the grass more."""
    theirs, ra, inputs = another_library(day)
    assert 0.0 < sums(hourly_file)[day.date] - theirs.sum() < 0.3
    assert sums(hourly_file)[day.date] == pytest.approx(float(theirs.sum()), rel=0.08)
    high = ra > 2.0
    ours = et0.hourly_et0(*inputs, ra, elevation_m=PLACE["elevation_m"])
    assert high.sum() >= 10
    assert ours[high] == pytest.approx(theirs[high], rel=2e-3)


def test_a_day_with_an_hour_missing_has_none_and_the_others_keep_theirs(hourly_file):
    gone = (DAYS[3].date, 11)
    left = [r for r in rows(DAYS) if (r[0].date(), r[0].hour) != gone]
    found = sums(read(render(left)))
    assert found.pop(DAYS[3].date) is None
    assert found == {d: v for d, v in sums(hourly_file).items() if d != DAYS[3].date}


@pytest.mark.parametrize("column", [1, 2, 3, 4])
def test_an_hour_without_one_quantity_is_not_whole(column):
    lines = render(rows(DAYS)).splitlines()
    cells = lines[1 + 3 * 24 + 11].split(",")
    cells[column] = ""
    lines[1 + 3 * 24 + 11] = ",".join(cells)
    found = sums(read("\n".join(lines) + "\n"))
    assert found[DAYS[3].date] is None
    assert sum(v is not None for v in found.values()) == 5


@pytest.mark.parametrize("gone", [{"lon": None}, {"time_zone": None}, {"lat": None}])
def test_without_place_or_clock_there_is_none_and_it_is_said(gone):
    found = read(render(rows(DAYS)), **gone)
    assert set(sums(found).values()) == {None}
    assert "weather.note.hourly_no_place" in codes(found)


def test_without_radiation_nothing_is_said():
    header = HEADER.replace(",Solar (W/m2)", "")
    found = read(render([(*r[:4], r[5]) for r in rows(DAYS)], header=header), lon=None)
    assert not {c for c in codes(found) if "hourly" in c}


def test_quarter_hours_stamps_at_the_end_sums_and_world_time_give_the_same(hourly_file):
    want = sums(hourly_file)
    at_end = render(rows(DAYS), shift=60)
    mega = render([(t, a, b, c, d * 3600e-6, e) for t, a, b, c, d, e in rows(DAYS)],
                  header=HEADER.replace("Solar (W/m2)", "Solar (MJ/m2)"))  # fmt: skip
    world = render(
        rows(DAYS),
        lambda t: (t - dt.timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%SZ"),
    )
    for text in (at_end, mega, world):
        found = sums(read(text))
        assert found.keys() == want.keys()
        assert all(found[d] == pytest.approx(want[d], abs=0.01) for d in want)
    quarters = sums(read(render(rows(DAYS, 15))))
    assert all(quarters[d] == pytest.approx(want[d], rel=0.03) for d in want)
    assert set(sums(read(render([r for r in rows(DAYS) if r[0].hour % 3 == 0]))).values()) == {None}


def test_one_quarter_of_an_hour_may_be_missing_two_may_not():
    def without(n):
        gone = [dt.datetime.combine(DAYS[2].date, dt.time(9, 15 * i)) for i in range(n)]
        return sums(read(render([r for r in rows(DAYS, 15) if r[0] not in gone])))[DAYS[2].date]

    assert without(1) is not None
    assert without(2) is None


def test_the_clock_of_another_zone_is_found_by_the_sun():
    found = read(render(rows(DAYS)), time_zone="America/Sao_Paulo")
    assert set(sums(found).values()) == {None}
    assert "weather.note.hourly_clock" in codes(found)


def test_a_day_on_which_the_clocks_change_has_none():
    days = record(6, D(2025, 4, 3))
    dull = [(t, a, b, c, d / 2, e) for t, a, b, c, d, e in rows(days)]
    found = sums(read(render(dull), lon=147.0, lat=-36.0, time_zone="Australia/Sydney"))
    assert [d for d, v in found.items() if v is None] == [D(2025, 4, 6)]


def test_a_quantity_taken_out_takes_the_sum_with_it():
    bright = [(t, a, b, c, d * 1.6, e) for t, a, b, c, d, e in rows(DAYS)]
    found = read(render(bright))
    out = {f.date for f in found.flags if f.quantity == "rs_mj" and f.used is None}
    assert out
    assert {d for d, v in sums(found).items() if v is None} == out


def test_wind_takes_the_sum_up_and_a_cold_still_night_never_below_zero(hourly_file):
    windy = sums(read(render([(t, a, b, c * 2, d, e) for t, a, b, c, d, e in rows(DAYS)])))
    assert all(windy[d] > v * 1.05 for d, v in sums(hourly_file).items())
    dark = sums(read(render([(t, 1.0 + a / 50, 99.9, 0.3, d / 40, e)
                             for t, a, b, c, d, e in rows(DAYS)])))  # fmt: skip
    assert all(v is None or v >= 0.0 for v in dark.values())


def test_a_dull_evening_keeps_the_night_after_it_warmer(hourly_file):
    """Clouds before sunset hold the heat of the night, so the next morning loses less."""
    evening = DAYS[1].date
    dull = [(t, a, b, c, d / 3 if t.date() == evening and t.hour >= 14 else d, e)
            for t, a, b, c, d, e in rows(DAYS)]  # fmt: skip
    clear, found = sums(hourly_file), sums(read(render(dull)))
    assert found[evening] < clear[evening]
    assert 0.005 < found[DAYS[2].date] - clear[DAYS[2].date] < 0.2
    assert all(found[d.date] == clear[d.date] for d in (DAYS[0], *DAYS[3:]))
