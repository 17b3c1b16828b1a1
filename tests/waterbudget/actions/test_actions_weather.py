"""Weather: imports, changed days, forecasts, rain and temperatures typed by hand."""

from __future__ import annotations

import datetime as dt
import math

import pytest

from waterbudget import actions, season
from waterbudget.errors import AnswersNeeded, Refused

FIRST, TODAY = dt.date(2025, 6, 1), dt.date(2025, 7, 14)


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


def et0_on(file, day):
    return file.read().records["House"].day(day)["et0_given_mm"]


def test_a_second_import_adds_keeps_and_asks(file, now, own_et0_file):
    same = actions.import_weather(file, own_et0_file("a.csv", FIRST, 45), now=now)
    assert (same.station, same.added, same.unchanged, same.changed) == ("House", 2, 43, ())
    other = own_et0_file("b.csv", dt.date(2025, 7, 10), 3, et0=6)
    before = file.read()
    with pytest.raises(AnswersNeeded) as asked:
        actions.import_weather(file, other, now=now)
    (question,) = asked.value.questions
    assert (question.key, question.choices) == ("changed", ("keep", "replace"))
    assert "2025-07-10  et0_given_mm: 4.5 -> 6" in question.sample
    assert file.read() == before


@pytest.mark.parametrize(("answer", "used"), [("keep", 4.5), ("replace", 6.0)])
def test_both_versions_of_a_changed_day_stay(file, now, own_et0_file, answer, used):
    day = dt.date(2025, 7, 10)
    done = actions.import_weather(
        file, own_et0_file("b.csv", day, 1, et0=6), answers={"changed": answer}, now=now
    )
    assert done.changed == ((day, answer),) and et0_on(file, day) == used
    station = file.read().orchard.station("House")
    history = file.day_history(station.id, day)
    assert sorted(v.day.values["et0_given_mm"] for v in history) == [4.5, 6.0]
    assert [v.day.values["et0_given_mm"] for v in history if v.in_use] == [used]


def test_a_third_answer_is_refused(file, now, own_et0_file):
    with refused("answers.not_a_choice"):
        actions.import_weather(file, own_et0_file("b.csv", FIRST, 1, et0=6),
                               answers={"changed": "both"}, now=now)  # fmt: skip


def test_a_station_name_is_needed_once(bare, now, own_et0_file):
    path = own_et0_file("a.csv", FIRST, 3)
    for name in (None, " "):
        with refused("station.name_needed"):
            actions.import_weather(bare, path, station=name, now=now)
    actions.import_weather(bare, path, station="One", now=now)
    assert actions.import_weather(bare, path, now=now).station == "One"
    actions.import_weather(bare, path, station="Two", now=now)
    with refused("station.which"):
        actions.import_weather(bare, path, now=now)
    assert actions.import_weather(bare, path, station=" oNE ", now=now).unchanged == 3


@pytest.mark.parametrize(
    ("more", "code"),
    [({"lat": 91.0, "lon": 0.0}, "farm.bad_position"),
     ({"elevation_m": 6000.0}, "key.out_of_bounds"),
     ({"wind_height_m": 0.1}, "key.out_of_bounds")],
)  # fmt: skip
def test_a_station_that_cannot_stand_there(file, now, own_et0_file, more, code):
    before = file.read()
    with refused(code):
        actions.import_weather(file, own_et0_file("a.csv", FIRST, 50), now=now, **more)
    assert file.read() == before


def test_a_record_that_runs_past_tomorrow_is_refused_and_stores_nothing(file, now, own_et0_file):
    before = file.read()
    with pytest.raises(Refused) as caught:
        actions.import_weather(file, own_et0_file("ahead.csv", TODAY, 4), now=now)
    assert caught.value.code == "weather.days_to_come"
    late = now.date() + dt.timedelta(days=2)
    fields = caught.value.fields
    assert fields["date"] == late
    assert fields["count"] == (TODAY + dt.timedelta(days=3) - late).days + 1
    assert file.read() == before
    done = actions.import_weather(file, own_et0_file("ahead.csv", TODAY, 4), forecast=True, now=now)
    assert done.days == 4


def coming(file, on):
    run = season.run(file.read(), on)
    week = slice(run.on_index, run.on_index + 7)
    return run.drivers.et0_mm[week, 0].tolist(), run.stations["House"].forecast_issued


def test_forecasts_are_kept_with_their_day_of_issue(file, now, own_et0_file):
    for first, et0 in ((dt.date(2025, 7, 10), 8), (dt.date(2025, 7, 13), 2)):
        path = own_et0_file(f"{first}.csv", first, 14, et0=et0)
        actions.import_weather(file, path, station="House", forecast=True, now=now)
    assert coming(file, dt.date(2025, 7, 9)) == ([4.5] * 7, None)
    assert coming(file, dt.date(2025, 7, 12)) == ([8] * 7, dt.date(2025, 7, 10))
    assert coming(file, TODAY) == ([2] * 7, dt.date(2025, 7, 13))
    assert file.read().last_day() == dt.date(2025, 7, 13)  # a forecast is no record


def test_the_record_takes_the_place_of_the_forecast(file, now, own_et0_file):
    actions.import_weather(file, own_et0_file("f.csv", TODAY, 7, et0=8), forecast=True, now=now)
    actions.import_weather(file, own_et0_file("r.csv", TODAY, 2, et0=5), now=now)
    run = season.run(file.read(), dt.date(2025, 7, 17))
    et0 = dict(zip(run.days, run.drivers.et0_mm[:, 0], strict=True))
    wanted = [5, 5, 8]
    assert [et0[TODAY + dt.timedelta(days=i)] for i in range(3)] == wanted


def rain_on(file, name, day):
    run = season.run(file.read(), TODAY)
    block = run.block(name)
    return run.drivers.rain_mm[(day - run.first).days, block.column], block.rain_flags.get(day)


def test_rain_is_taken_from_the_blocks_gauge_then_the_farms_then_the_stations(file, now):
    day, next_day = dt.date(2025, 7, 10), dt.date(2025, 7, 11)
    notes = actions.type_rain(file, day, 9, gauge=" hill ", now=now)
    assert [n.code for n in notes] == ["rain.new_gauge"]
    actions.set_block(file, "Low", {"gauge": "HILL"}, now=now)
    assert actions.type_rain(file, day, 5, now=now) == ()
    assert actions.type_rain(file, next_day, 3, now=now) == ()
    assert rain_on(file, "Top", day) == (5, "rain_typed")
    assert rain_on(file, "Low", day) == (9, "rain_typed")
    assert rain_on(file, "Low", next_day)[0] == 3
    assert rain_on(file, "Top", dt.date(2025, 7, 12)) == (0, None)
    actions.type_rain(file, day, None, gauge="hill", now=now)
    assert rain_on(file, "Low", day)[0] == 5


@pytest.mark.parametrize("mm", [-0.1, 500.1, float("nan"), float("inf")])
def test_rain_that_cannot_be(file, now, mm):
    with refused("rain.bad_depth"):
        actions.type_rain(file, TODAY, mm, now=now)


def test_rain_needs_a_gauge_with_a_name_and_a_day_that_has_come(file, now):
    with refused("rain.no_gauge_name"):
        actions.type_rain(file, TODAY, 3, gauge="  ", now=now)
    with refused("weather.in_future"):
        actions.type_rain(file, TODAY + dt.timedelta(days=2), 3, now=now)


def test_typed_temperatures_make_a_station_where_there_is_none(bare, now):
    for i in range(3):
        actions.type_temperatures(bare, TODAY - dt.timedelta(days=1 + i), 11, 26, now=now)
    record = bare.read().records["farm"]
    assert (len(record), record.day(TODAY - dt.timedelta(days=1))) == (
        3, {"tmin_c": 11, "tmax_c": 26})  # fmt: skip
    with refused("temperature.low_above_high"):
        actions.type_temperatures(bare, TODAY, 26, 11, now=now)
    with refused("temperature.cannot_be"):
        actions.type_temperatures(bare, TODAY, 11, 66, now=now)


def hourly_file(path, days=3):
    """Write a station's hours: the sun is a half sine from 6 to 18 h."""
    lines = ["Time,Temp (C),RH (%),Wind 2 m (m/s),Solar (W/m2),Rain (mm)"]
    for i in range(24 * days):
        t = dt.datetime.combine(FIRST, dt.time()) + dt.timedelta(hours=i)
        light = max(0.0, 600.0 * math.sin((t.hour + 0.5 - 6.0) / 12.0 * math.pi))
        warm = 20.0 + 7.0 * math.cos((t.hour - 14) / 12.0 * math.pi) + i / 100
        lines.append(f"{t:%Y-%m-%d %H:%M},{warm:.2f},{70 - warm:.1f},2.0,{light:.1f},0.0")
    path.write_text("\n".join(lines) + "\n")
    return path


def test_the_hours_are_summed_once_the_clock_is_known_and_used_where_chosen(file, now, tmp_path):
    path = hourly_file(tmp_path / "hours.csv")
    actions.set_farm(file, {"time_zone": ""}, now=now)
    place = {"station": "Gate", "lat": -19.9, "lon": 31.0, "elevation_m": 900}
    told = actions.import_weather(file, path, **place, now=now)
    assert "weather.note.hourly_no_place" in [n.code for n in told.notes]
    assert "et0_hourly_mm" not in file.read().records["Gate"].day(FIRST)
    actions.set_farm(file, {"time_zone": "Africa/Harare"}, now=now)
    done = actions.import_weather(file, path, station="Gate", now=now)
    assert (done.added, done.unchanged, done.changed) == (0, 3, ())
    record = file.read().records["Gate"]
    assert 3.0 < record.day(FIRST)["et0_hourly_mm"] < 5.5
    before = season.run(file.read(), TODAY).stations["Gate"]
    actions.set_farm(file, {"et0": "hourly"}, now=now)
    after = season.run(file.read(), TODAY).stations["Gate"]
    at = (FIRST - after.first).days
    assert (before.made_from[at], after.made_from[at]) == (("measured",), ("hourly",))
    assert after.et0_mm[at] == pytest.approx(record.day(FIRST)["et0_hourly_mm"])
    assert after.et0_mm[at] == pytest.approx(before.et0_mm[at], rel=0.1)
