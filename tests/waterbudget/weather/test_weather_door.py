"""What the door gives besides the days: questions remembered, gaps, flags, comparison, speed."""

from __future__ import annotations

import datetime as dt
import time

import pytest
import weather_cases_units as units
from weather_building import COLUMNS, ISO, ONE, PLACE, D, expected, fixed, hourly, record, table

from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.weather import COLUMNS as QUANTITIES
from waterbudget.weather import Day, compare, read_weather

DAYS = record()
UNCLEAR = table(
    DAYS, ("Date", "Tmax (C)", "Wind"), [ISO, COLUMNS["tmax"], lambda d: fixed(d.wind * 3.6, 3)]
).encode()


def read(data: bytes | str, **given):
    data = data.encode() if isinstance(data, str) else data
    return read_weather(data, name="station.csv", **{**PLACE, **given})


def test_a_second_import_of_the_same_layout_is_silent() -> None:
    first = read(UNCLEAR, answers={"unit_wind": "km/h", "wind_height_m": "2"})
    assert first.answers == {"unit_wind": "km/h", "wind_height_m": "2"}
    kept = {first.layout_key: first.answers}
    later = record(9, D(2025, 3, 1))
    again = table(later, ("Date", "Tmax (C)", "Wind"),
                  [ISO, COLUMNS["tmax"], lambda d: fixed(d.wind * 3.6, 3)])  # fmt: skip
    second = read(again, remembered=lambda key: kept.get(key, {}))
    assert second.layout_key == first.layout_key
    assert second.answers == first.answers
    for day, true in zip(second.days, later, strict=True):
        assert day.values["u2_m_s"] == pytest.approx(true.wind, abs=2e-4)


def test_another_layout_is_asked_again() -> None:
    first = read(UNCLEAR, answers={"unit_wind": "km/h", "wind_height_m": "2"})
    kept = {first.layout_key: first.answers}
    other = UNCLEAR.replace(b"Wind", b"Wind mean")
    with pytest.raises(AnswersNeeded):
        read(other, remembered=lambda key: kept.get(key, {}))


def test_an_answer_given_wins_over_a_remembered_one() -> None:
    found = read(
        UNCLEAR, answers={"unit_wind": "m/s"}, layout={"unit_wind": "km/h", "wind_height_m": "2"}
    )
    assert found.days[0].values["u2_m_s"] == pytest.approx(DAYS[0].wind * 3.6, abs=1e-3)


def test_a_remembered_answer_never_overrules_the_rows() -> None:
    text = table(DAYS, cells=[lambda d: f"{d.date:%d/%m/%Y}", *list(COLUMNS.values())[1:]])
    found = read(text, layout={"date_order": "mdy", "unit_rain": "inch"})
    assert [d.date for d in found.days] == [d.date for d in DAYS]
    assert found.days[2].values["rain_mm"] == DAYS[2].rain
    assert found.answers == {}


def test_an_answer_not_needed_is_told() -> None:
    found = read(table(DAYS), answers={"unit_wind": "m/s", "time_zone": "UTC"})
    told = {n.fields["key"] for n in found.notes if n.code == "weather.note.answer_not_needed"}
    assert told == {"time_zone"}


def test_questions_show_rows_of_the_file_as_they_stand() -> None:
    with pytest.raises(AnswersNeeded) as caught:
        read(UNCLEAR)
    lines = UNCLEAR.decode().splitlines()
    for q in caught.value.questions:
        assert q.sample[:2] == (lines[0], lines[1])


def test_gaps_and_missing_days() -> None:
    rows = table([*DAYS[:4], *DAYS[7:9], *DAYS[10:]]).splitlines()
    rows[2] = rows[2].rsplit(",", 1)[0] + ","
    rows[3] = ",".join([rows[3].split(",")[0], "", *rows[3].split(",")[2:]])
    found = read("\n".join(rows) + "\n")
    assert found.gaps == (
        (DAYS[4].date, DAYS[6].date),
        (DAYS[9].date, DAYS[9].date),
    )
    assert found.missing["rain"] == (DAYS[1].date,)
    assert found.missing["temperature"] == (DAYS[2].date,)
    assert found.missing["wind"] == ()
    assert set(found.missing) == {"rain", "temperature", "humidity", "wind", "sun"}


def test_what_was_read_is_kept_beside_what_is_used() -> None:
    text = table(DAYS).replace(f",{DAYS[5].rain}\n", ",-4.2\n", 1)
    found = read(text)
    (flag,) = found.flags
    assert (flag.what, flag.quantity, flag.value, flag.used) == (
        "negative_rain",
        "rain_mm",
        -4.2,
        None,
    )
    day = next(d for d in found.days if d.date == flag.date)
    assert "rain_mm" not in day.values
    assert day.flags == ("negative_rain",)


def test_values_are_named_and_dated_as_promised() -> None:
    found = read(table(reversed(DAYS)))
    dates = [d.date for d in found.days]
    assert dates == sorted(set(dates))
    assert {q for d in found.days for q in d.values} <= set(QUANTITIES)


def test_wind_to_two_metres_as_fao56_example_14_prints_it() -> None:
    text = "Date,Tmax (C),Wind 10 m (m/s)\n2025-01-10,29.1,3.2\n"
    assert read(text).days[0].values["u2_m_s"] == pytest.approx(2.4, abs=0.05)


def test_the_height_in_the_file_is_followed_and_a_clash_told() -> None:
    found = read("Date,Tmax (C),Wind 10 m (m/s)\n2025-01-10,29.1,3.2\n", wind_height_m=2.0)
    assert found.days[0].values["u2_m_s"] == pytest.approx(2.4, abs=0.05)
    assert "weather.note.wind_height" in {n.code for n in found.notes}


@pytest.mark.parametrize("height", [0.0, -2.0, 900.0])
def test_a_wind_height_that_cannot_be_is_refused(height: float) -> None:
    with pytest.raises(Refused, match="wind_height_m"):
        read("Date,Tmax (C),Wind (m/s)\n2025-01-10,29.1,3.2\n", wind_height_m=height)


def test_no_wind_question_where_only_et0_and_rain_are_given() -> None:
    found = read(units.GIVEN_ET0)
    assert set(found.days[0].values) == {"et0_given_mm", "rain_mm"}


def test_radiation_is_judged_by_latitude_height_and_season() -> None:
    june = table(
        record(6, D(2025, 6, 10)),
        ("Date", "Tmax (C)", "Solar (MJ/m2)"),
        [
            ISO,
            COLUMNS["tmax"],
            lambda d: "27.5" if d.date.day == 12 else f"14.{d.date.day - 10}",
        ],
    )
    assert {f.what for f in read(june, lat=-30.0).flags} == {"above_clear_sky"}
    assert not read(june, lat=30.0).flags


def test_a_forecast_is_read_without_the_checks_that_need_a_past() -> None:
    same = table(
        DAYS[:7],
        ("Date", "Tmax (C)", "Tmin (C)", "Wind 2 m (m/s)", "Rain (mm)"),
        [ISO, lambda d: "29.5", lambda d: "18.5" if d.date.day < 13 else "18.0", lambda d: "0.0",
         lambda d: "0"],
    )  # fmt: skip
    assert read(same, forecast=True).flags == ()
    assert "wind_still" in {f.what for f in read(same).flags}


def day(date: dt.date, **values: float) -> Day:
    return Day(date, values)


def test_compare_sorts_new_days() -> None:
    a, b, c, d = (D(2025, 1, 1) + i * ONE for i in range(4))
    stored = {
        a: day(a, rain_mm=1.0, tmax_c=30.0),
        b: day(b, rain_mm=2.0),
        c: day(c, rain_mm=3.0),
    }
    new = [
        day(a, rain_mm=1.0 + 5e-7, tmax_c=30.0),
        day(b, rain_mm=2.0, tmax_c=31.0),
        day(c, rain_mm=3.2),
        day(d, rain_mm=0.0),
    ]
    found = compare(stored, new)
    assert found.unchanged == (stored[a],)
    assert found.changed == ((stored[b], new[1]), (stored[c], new[2]))
    assert found.added == (new[3],)


def test_reading_twice_changes_nothing() -> None:
    first, second = read(table(DAYS)), read(table(DAYS).replace("\n", "\r\n"))
    found = compare({d.date: d for d in first.days}, second.days)
    assert len(found.unchanged) == len(DAYS)
    assert not found.added
    assert not found.changed


def test_half_a_day_is_never_stored_so_the_next_file_changes_nothing() -> None:
    days = record(6)
    lines = ["Time,Temp (C),Rain (mm)"] + [
        f"{d.date} {m // 60:02d}:{m % 60:02d},{t:.2f},{rain:.3f}"
        for d in days
        for m, t, _, _, _, rain in hourly(d)
    ]
    monday = read("\n".join(lines[:-13]) + "\n")
    tuesday = read("\n".join(lines) + "\n")
    found = compare({d.date: d for d in monday.days}, tuesday.days)
    assert [d.date for d in found.added] == [days[-1].date]
    assert not found.changed


def test_thirty_years_and_a_year_of_five_minutes_are_read_quickly() -> None:
    """Processor time, so that a loaded machine does not fail it (0.3 s and 1.5 s measured)."""
    daily = table(record(10958, D(1995, 1, 1))).encode()
    start = time.process_time()
    assert len(read(daily).days) == 10958
    assert time.process_time() - start < 3.0
    lines = ["Time,Temp (C),RH (%),Rain (mm)"]
    for d in record(365, D(2024, 1, 1)):
        lines += [
            f"{d.date} {m // 60:02d}:{m % 60:02d},{t:.2f},{rh:.1f},{rain:.3f}"
            for m, t, rh, _, _, rain in hourly(d, 5)
        ]
    data = ("\n".join(lines) + "\n").encode()
    start = time.process_time()
    assert len(read(data).days) == 365
    assert time.process_time() - start < 4.0


def test_expected_helper_covers_every_quantity() -> None:
    """The collection compares all seven quantities of the invented record."""
    assert len(expected(DAYS[:1])[DAYS[0].date]) == 7
