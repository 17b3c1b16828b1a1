import datetime as dt
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget.fill import Filled, stand_in_et0, stand_in_series

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
