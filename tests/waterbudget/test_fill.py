import datetime as dt
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from neighbour_samples import DAYS, READ, higher, record, weather
from neighbour_samples import FIRST as FIRST_DAY

from waterbudget.fill import (
    Filled,
    from_neighbours,
    line,
    stand_in_et0,
    stand_in_series,
    tried,
)

FIRST = dt.date(2022, 1, 1)
nan = np.nan


def years(n, of_day=lambda date: float(date.toordinal())):
    last = dt.date(FIRST.year + n - 1, 12, 31)
    dates = [FIRST + dt.timedelta(days=i) for i in range((last - FIRST).days + 1)]
    return np.array([of_day(d) for d in dates])


def index(year, month, day):
    return (dt.date(year, month, day) - FIRST).days


def test_no_gap_is_the_series_itself():
    series = years(1)
    out = stand_in_et0(FIRST, series, dt.date(2022, 3, 1), 7)
    assert isinstance(out, Filled)
    values, made, rule = out
    assert (values == series[59:66]).all()
    assert made == (None,) * 7
    assert rule == ("",) * 7


def test_calendar_day_takes_the_mean_of_the_other_years():
    series = years(3, lambda d: {2022: 3.0, 2023: 5.0, 2024: 100.0}[d.year])
    at = index(2024, 6, 10)
    series[at] = nan
    out = stand_in_et0(FIRST, series, dt.date(2024, 6, 9), 3)
    assert out.values.tolist() == [100.0, 4.0, 100.0]
    assert out.made == (None, "stand_in", None)
    assert out.rule == ("", "calendar", "")


def test_only_that_very_day_counts():
    series = years(4, lambda d: 400.0)
    for year, value in ((2022, 2.0), (2023, 3.0), (2025, 7.0)):
        series[index(year, 6, 10)] = value  # the days beside it say 400
    series[index(2024, 6, 10)] = nan
    out = stand_in_et0(FIRST, series, dt.date(2024, 6, 10), 1)
    assert out.rule == ("calendar",)
    assert out.values[0] == pytest.approx(4.0)


def test_one_year_that_knows_the_day_is_not_enough():
    series = years(3, lambda d: {2022: 2.0, 2023: 6.0, 2024: 9.0}[d.year])
    series[index(2023, 6, 10)] = nan  # known the day before and after, not on that day
    series[index(2024, 6, 10)] = nan
    out = stand_in_et0(FIRST, series, dt.date(2024, 6, 10), 1)
    assert out.rule == ("week",)
    assert out.values[0] == 9.0


def test_both_gaps_of_one_calendar_day_look_at_the_same_other_years():
    series = years(4, lambda d: {2022: 2.0, 2023: 4.0, 2024: 50.0, 2025: 60.0}[d.year])
    series[index(2024, 12, 31)] = series[index(2025, 12, 31)] = nan
    out = stand_in_et0(FIRST, series, FIRST, len(series))
    assert out.values[index(2024, 12, 31)] == out.values[index(2025, 12, 31)] == 3.0


def test_the_year_of_the_gap_itself_does_not_count_as_a_year():
    series = years(2, lambda d: {2022: 3.0, 2023: 9.0}[d.year])
    series[index(2023, 6, 10)] = nan
    out = stand_in_et0(FIRST, series, dt.date(2023, 6, 10), 1)
    assert out.rule == ("week",)
    assert out.values[0] == 9.0


def test_last_seven_known_days_before_and_never_a_stand_in_of_a_stand_in():
    series = np.array([50.0, 1, 2, 3, 4, nan, 5, 6, 7, nan, nan, 90.0])
    out = stand_in_series(FIRST, series, FIRST, 12)
    assert out.values[5] == pytest.approx(60 / 5)
    assert out.values[9] == out.values[10] == pytest.approx(4.0)
    assert out.rule[9] == "week"


def test_before_the_first_known_day_and_past_the_end():
    series = np.array([nan, nan, 2.0, 4.0])
    out = stand_in_series(FIRST, series, FIRST - dt.timedelta(days=2), 9)
    assert out.values.tolist() == [3.0] * 4 + [2.0, 4.0] + [3.0] * 3
    assert set(out.made[:4]) == {"stand_in"}


def test_nothing_known_stays_unknown():
    for series in (np.full(400, nan), np.array([])):
        out = stand_in_series(FIRST, series, FIRST, 3)
        assert np.isnan(out.values).all()
        assert out.made == (None,) * 3
        assert out.rule == ("none",) * 3


def test_29_february_takes_the_28th_of_the_other_years():
    series = years(3, lambda d: float(d.month * 100 + d.day))  # 2024 is a leap year
    series[index(2024, 2, 28)] = 999.0  # its own year does not count
    series[index(2024, 2, 29)] = nan
    out = stand_in_series(FIRST, series, dt.date(2024, 2, 29), 1)
    assert out.rule == ("calendar",)
    assert out.values[0] == 228.0


def test_days_after_february_keep_their_date_in_a_leap_year():
    """Counted from New Year they would be a day off."""
    series = years(3, lambda d: float(d.month * 100 + d.day))
    series[index(2024, 2, 28) : index(2024, 3, 3)] = nan
    out = stand_in_series(FIRST, series, dt.date(2024, 2, 28), 4)
    assert out.values.tolist() == [228.0, 228.0, 301.0, 302.0]


def test_a_long_series_keeps_the_season():
    """A gap in the hot season is not filled with the cool one."""
    series = years(3, lambda d: 5.0 + 2.0 * np.cos((d.timetuple().tm_yday - 15) / 58.1))
    tail = stand_in_et0(FIRST, series[: index(2024, 7, 1)], dt.date(2024, 7, 1), 184)
    assert set(tail.rule) == {"calendar"}
    assert np.abs(tail.values - series[index(2024, 7, 1) :]).max() < 0.15


@given(
    st.lists(st.one_of(st.none(), st.floats(0, 12)), min_size=1, max_size=60),
    st.integers(-20, 70),
    st.integers(1, 40),
)
def test_every_day_is_known_as_soon_as_one_is(values, offset, days):
    series = np.array([nan if v is None else v for v in values])
    start = FIRST + dt.timedelta(days=offset)
    out = stand_in_series(FIRST, series, start, days)
    known = series[np.isfinite(series)]
    assert np.isfinite(out.values).all() == bool(len(known))
    if len(known):
        assert known.min() - 1e-9 <= out.values.min()
        assert out.values.max() <= known.max() + 1e-9
    for i, (made, rule) in enumerate(zip(out.made, out.rule, strict=True)):
        own = 0 <= offset + i < len(series) and np.isfinite(series[offset + i])
        assert (rule == "") == own
        assert (made == "stand_in") == (rule in ("calendar", "week"))


def test_fast_enough_to_run_on_every_edit():
    series = years(3)
    series[-30:] = nan
    took = []
    for _ in range(5):
        begin = time.perf_counter()
        stand_in_et0(FIRST, series, FIRST, len(series) + 7)
        took.append(time.perf_counter() - begin)
    assert min(took) < 0.010


# ---------------------------------------------------------------- a neighbour by a straight line


def test_a_line_gives_back_what_the_neighbour_sees():
    """300 m higher: 2 degC cooler at noon, wind 1.3 times and 0.2 more (no noise: to the digit)."""
    low = weather()
    own, gone = higher(low), [40, 41, 150]
    out = from_neighbours(record(own, without=gone), [("Valley", record(low))])
    for name in ("tmax_c", "tmin_c", "u2_m_s", "rs_mj", "rh_max", "rh_min"):
        assert out.record.values[name] == pytest.approx(own[name]), name
    days = [FIRST_DAY + dt.timedelta(days=i) for i in gone]
    assert sorted(out.quantities) == days == sorted(out.stations)
    assert set(out.quantities[days[0]]) == {*READ} - {"rain_mm"}
    assert out.stations[days[0]] == ("Valley",)
    assert [d for d, flags in out.record.flags.items() if "filled" in flags] == days
    (wind,) = out.lines["u2_m_s"]
    assert (wind.slope, wind.offset) == pytest.approx((1.3, 0.2))
    assert (wind.r2, wind.days) == (pytest.approx(1.0), DAYS - 3)


def test_rain_is_never_made_by_a_line():
    low = weather()
    out = from_neighbours(record(higher(low), without=[40]), [("Valley", record(low))])
    assert np.isnan(out.record.values["rain_mm"][40])
    only_rain = record(higher(low), without=[40], quantities=["rain_mm"])
    assert from_neighbours(only_rain, [("Valley", record(low))]) is None


def test_only_what_is_missing_is_filled():
    """A dead sun sensor leaves the day's own temperatures in use."""
    low = weather()
    own = higher(low)
    out = from_neighbours(
        record(own, without=[60], quantities=["rs_mj"]), [("Valley", record(low))]
    )
    assert out.quantities == {FIRST_DAY + dt.timedelta(days=60): ("rs_mj",)}
    assert out.record.values["rs_mj"][60] == pytest.approx(own["rs_mj"][60])
    assert out.record.values["tmax_c"][60] == own["tmax_c"][60]


@pytest.mark.parametrize(("days", "filled"), [(61, True), (60, False)])
def test_sixty_days_that_both_know_are_needed(days, filled):
    """Of 61 days one is the gap: 60 are known to both."""
    low = weather(days=days)
    out = from_neighbours(record(higher(low), without=[5]), [("Valley", record(low))])
    assert (out is not None) == filled


def test_a_neighbour_that_explains_too_little_is_not_asked():
    """Half of the wind is its own: some 40 % explained, where 70 are asked for."""
    low = weather()
    own = higher(low) | {"u2_m_s": 0.5 * (low["u2_m_s"] + weather(seed=99)["u2_m_s"])}
    share = np.corrcoef(own["u2_m_s"], low["u2_m_s"])[0, 1] ** 2
    assert 0.2 < share < 0.65
    out = from_neighbours(record(own, without=[40]), [("Valley", record(low))])
    assert np.isnan(out.record.values["u2_m_s"][40]) and np.isfinite(out.record.values["rs_mj"][40])
    assert "u2_m_s" not in out.lines


def test_a_line_that_falls_is_no_line():
    low = weather()
    own = {name: -series for name, series in low.items()}
    assert line("Valley", own["tmax_c"], low["tmax_c"]) is None
    assert line("Valley", low["tmax_c"], low["tmax_c"]).r2 == pytest.approx(1.0)
    assert line("Valley", low["tmax_c"], np.full(DAYS, 20.0)) is None  # a stuck neighbour


def test_of_two_neighbours_the_better_one_that_knows_the_day():
    low = weather()
    own = higher(low, noise=0.3)
    near, far = record(own, without=[40]), record(low)
    out = from_neighbours(record(own, without=[40, 90]), [("Far", far), ("Near", near)])
    d40, d90 = (FIRST_DAY + dt.timedelta(days=i) for i in (40, 90))
    assert out.stations[d40] == ("Far",)  # the better one was silent too
    assert out.record.values["tmax_c"][90] == pytest.approx(own["tmax_c"][90])
    assert out.lines["tmax_c"][0].station == "Near"
    assert "Near" in out.stations[d90]


def test_days_before_and_after_the_own_record_are_filled_too():
    low = weather()
    own = higher(low)
    late = {name: series[80:170] for name, series in own.items()}
    mine = record(late, first=FIRST_DAY + dt.timedelta(days=80))
    out = from_neighbours(mine, [("Valley", record(low))])
    assert out.record.first == FIRST_DAY and len(out.record) == DAYS
    assert out.record.values["tmin_c"] == pytest.approx(own["tmin_c"])
    assert len(out.quantities) == DAYS - 90


def test_nothing_is_passed_that_cannot_be():
    low = weather()
    own = higher(low) | {"u2_m_s": low["u2_m_s"] - 1.5}
    low["u2_m_s"][40] = 0.2  # the line would go below no wind
    out = from_neighbours(record(own, without=[40]), [("Valley", record(low))])
    assert out.record.values["u2_m_s"][40] == 0.0


def test_a_file_of_reference_et_alone_is_filled_by_its_own_line():
    low = weather()
    gate = {"tmax_c": np.full(DAYS, np.nan), "et0_given_mm": low["rs_mj"] / 5.0}
    mine = record(gate, without=[40], quantities=["et0_given_mm"])
    other = record(low | {"et0_given_mm": low["rs_mj"] / 4.0})
    out = from_neighbours(mine, [("Valley", other)])
    assert out.record.values["et0_given_mm"][40] == pytest.approx(low["rs_mj"][40] / 5.0)


def test_how_far_off_a_stand_in_is_was_found_on_known_days():
    """Even days 4 and odd days 6: the mean of seven is 4.857 or 5.143, so 1.143 off each time."""
    series = np.where(np.arange(400) % 2, 6.0, 4.0)
    found = tried(FIRST_DAY, series)
    assert found["week"] == pytest.approx(1.142857, abs=1e-5)
    assert "calendar" not in found  # no day has two other years
    assert tried(FIRST_DAY, series[:36]) == {}  # 29 days could be tried
