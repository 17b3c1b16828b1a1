"""Days that cannot be: marked, not used, what was read is kept.

Limits (own estimate where no source is named):

- temperature -40 to 56 degC; low above high, or the same (unless on most days); mean outside low
  to high by more than 0.5;
- relative humidity 0 to 100 %, up to 105 counts as 100; lowest above highest;
- vapour pressure above saturation at the day's high (by more than 5 %);
- wind 0 to 40 m/s as a day's mean; 0.0 for three days or more (a stuck cup);
- radiation above 105 % of a clear sky's (FAO-56 eq. 37; without the elevation that of 2,500 m)
  or below 2 % of the radiation outside the air; sunshine longer than the day by over half an
  hour (FAO-56 eq. 34);
- rain below 0 or above 500 mm; 50 mm and more that is ten times the next largest of the file;
- reference ET 0 to 16 mm;
- high and low both the same for three days or more (five where the file has whole degrees), as
  long as such stretches are less than four fifths of the file; likewise humidity and radiation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from waterbudget import air, sun
from waterbudget.errors import Note
from waterbudget.weather.dates import date_of
from waterbudget.weather.record import HOURLY_NEEDS, HOURLY_SUM
from waterbudget.weather.result import Flagged
from waterbudget.weather.subdaily import DayTable

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]

LIMITS: dict[str, tuple[float, float]] = {
    "tmax_c": (-40.0, 56.0),
    "tmin_c": (-40.0, 56.0),
    "tmean_c": (-40.0, 56.0),
    "rh_max": (0.5, 105.0),
    "rh_min": (0.0, 105.0),
    "rh_mean": (0.5, 105.0),
    "ea_kpa": (0.01, 6.0),
    "u2_m_s": (0.0, 40.0),
    "rs_mj": (0.0, 45.0),
    "sun_h": (0.0, 24.0),
    "rain_mm": (0.0, 500.0),
    "et0_given_mm": (0.0, 16.0),
    "et0_hourly_mm": (0.0, 16.0),
}
HIGH_STATION_M = 2500.0
CLEAR_SLACK = 1.05
DARKEST_SHARE = 0.02
SUN_SLACK_H = 0.5
TEN_TIMES, BIG_RAIN_MM, WET_DAYS = 9.99, 50.0, 3
STUCK_DAYS, STUCK_WHOLE_DAYS = 3, 5


class _Marker:
    """Marks values of a day table and takes them out of use."""

    def __init__(self, table: DayTable) -> None:
        self.table = table

    def get(self, name: str) -> Values | None:
        return self.table.values.get(name)

    def take_out(self, bad: Flags, what: str, *names: str) -> None:
        """Mark every known value of ``names`` on the ``bad`` days and use it no more."""
        for i in np.flatnonzero(bad).tolist():
            date = date_of(self.table.day[i])
            for name in names:
                values = self.table.values.get(name)
                if values is None or np.isnan(values[i]):
                    continue
                value = round(float(values[i]), 4)
                self.table.flags.append(Flagged(date, what, name, value, None))
                values[i] = np.nan
                self._hours_hold_no_longer(i, name)

    def keep(self, odd: Flags, what: str, name: str, used: Values) -> None:
        """Mark values that stay in use (as ``used``)."""
        values = self.table.values[name]
        for i in np.flatnonzero(odd).tolist():
            date = date_of(self.table.day[i])
            value = round(float(values[i]), 4)
            self.table.flags.append(Flagged(date, what, name, value, float(used[i])))
            if values[i] != used[i]:
                self._hours_hold_no_longer(i, name)
            values[i] = used[i]

    def _hours_hold_no_longer(self, i: int, name: str) -> None:
        hours = self.table.values.get(HOURLY_SUM)
        if hours is not None and name in HOURLY_NEEDS:
            hours[i] = np.nan


def check(table: DayTable, lat: float | None, elevation_m: float | None, forecast: bool) -> None:
    """Mark and take out what cannot be; changes ``table``."""
    mark = _Marker(table)
    with np.errstate(invalid="ignore"):
        _limits(mark)
        _temperature(mark)
        _humidity(mark)
        if lat is not None:
            _sun(mark, lat, elevation_m)
        if not forecast:
            _rain(mark)
            _stuck(mark)


def _limits(mark: _Marker) -> None:
    for name, (low, high) in LIMITS.items():
        v = mark.get(name)
        if v is None:
            continue
        if name == "rain_mm":
            mark.take_out(v < 0.0, "negative_rain", name)
            mark.take_out(v > high, "rain_too_much", name)
            continue
        mark.take_out((v < low) | (v > high), "impossible", name)
        if name.startswith("rh_"):
            mark.keep(v > 100.0, "rh_capped", name, np.full(len(v), 100.0))


def _temperature(mark: _Marker) -> None:
    high, low, mean = mark.get("tmax_c"), mark.get("tmin_c"), mark.get("tmean_c")
    if high is not None and low is not None:
        mark.take_out(low > high + 1e-9, "low_above_high", "tmax_c", "tmin_c")
        flat = np.abs(high - low) < 1e-9
        if flat.any() and flat.sum() <= 0.5 * len(flat):
            mark.take_out(flat, "no_range", "tmax_c", "tmin_c")
    if mean is not None:
        above = mean > high + 0.5 if high is not None else np.zeros(len(mean), dtype=bool)
        below = mean < low - 0.5 if low is not None else np.zeros(len(mean), dtype=bool)
        mark.take_out(above | below, "mean_outside", "tmean_c")


def _humidity(mark: _Marker) -> None:
    high, low = mark.get("rh_max"), mark.get("rh_min")
    if high is not None and low is not None:
        mark.take_out(low > high + 1e-9, "rh_low_above_high", "rh_max", "rh_min")
    ea, tmax = mark.get("ea_kpa"), mark.get("tmax_c")
    if ea is not None and tmax is not None:
        mark.take_out(ea > 1.05 * air.saturation_kpa(tmax), "above_saturation", "ea_kpa")


def _sun(mark: _Marker, lat: float, elevation_m: float | None) -> None:
    first = mark.table.day.astype("datetime64[D]")
    doy = (first - first.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    outer = np.asarray(sun.extraterrestrial_mj(lat, doy))
    rs, hours = mark.get("rs_mj"), mark.get("sun_h")
    if rs is not None:
        height = HIGH_STATION_M if elevation_m is None else elevation_m
        clear = np.asarray(sun.clear_sky_mj(outer, height))
        mark.take_out(rs > CLEAR_SLACK * clear + 0.3, "above_clear_sky", "rs_mj")
        mark.take_out((rs < DARKEST_SHARE * outer) & (outer > 3.0), "too_dark", "rs_mj")
    if hours is not None:
        length = np.asarray(sun.day_length_h(lat, doy))
        mark.take_out(hours > length + SUN_SLACK_H, "longer_than_day", "sun_h")


def _rain(mark: _Marker) -> None:
    rain = mark.get("rain_mm")
    if rain is None:
        return
    known = np.sort(rain[~np.isnan(rain) & (rain > 0.0)])
    if len(known) <= WET_DAYS or known[-1] < BIG_RAIN_MM:
        return
    if known[-1] >= TEN_TIMES * known[-2]:
        mark.take_out(rain == known[-1], "rain_ten_times", "rain_mm")


def _runs(same: Flags, days: NDArray[np.int64], least: int) -> Flags:
    """Return the days that stand in a run of at least ``least`` equal days without a gap.

    ``same[i]`` tells that day i equals day i - 1.
    """
    joined = same.copy()
    joined[1:] &= np.diff(days) == 1
    inside = np.zeros(len(same), dtype=bool)
    start = 0
    for i in range(1, len(same) + 1):
        if i < len(same) and joined[i]:
            continue
        if i - start >= least:
            inside[start:i] = True
        start = i
    return inside


def _same(*columns: Values) -> Flags:
    """Return where a day has the same values as the day before in all columns."""
    same = np.ones(len(columns[0]), dtype=bool)
    same[0] = False
    for v in columns:
        same[1:] &= np.abs(np.diff(v)) < 1e-9
    return same


def _stuck(mark: _Marker) -> None:
    days = mark.table.day
    if len(days) < STUCK_DAYS:
        return
    high, low = mark.get("tmax_c"), mark.get("tmin_c")
    if high is not None and low is not None:
        _take_stuck(mark, _runs(_same(high, low), days, _least(high)), "tmax_c", "tmin_c")
    wind = mark.get("u2_m_s")
    if wind is not None:
        still = _runs(_same(wind) & (wind == 0.0), days, STUCK_DAYS)
        mark.take_out(still & (wind == 0.0), "wind_still", "u2_m_s")
    rh_high, rh_low = mark.get("rh_max"), mark.get("rh_min")
    if rh_high is not None and rh_low is not None:
        _take_stuck(mark, _runs(_same(rh_high, rh_low), days, _least(rh_low)), "rh_max", "rh_min")
    rs = mark.get("rs_mj")
    if rs is not None:
        _take_stuck(mark, _runs(_same(rs), days, _least(rs)), "rs_mj")
    rain = mark.get("rain_mm")
    if rain is not None:
        same = _runs(_same(rain), days, STUCK_WHOLE_DAYS) & (rain > 0.0)
        if same.any() and same.sum() <= 0.5 * len(days):
            mark.keep(same, "rain_same", "rain_mm", rain.copy())


def _least(values: Values) -> int:
    """Return how many equal days make a stuck sensor: more where numbers are whole."""
    whole = np.all((values == np.round(values)) | np.isnan(values))
    return STUCK_WHOLE_DAYS if whole else STUCK_DAYS


def _take_stuck(mark: _Marker, runs: Flags, *names: str) -> None:
    """Take stuck stretches out, unless most of the file is like that (normals, typed values)."""
    if not runs.any():
        return
    if runs.sum() > 0.8 * len(runs):
        mark.table.notes.append(Note.of("weather.note.all_the_same", quantity=", ".join(names)))
        return
    mark.take_out(runs, "stuck", *names)
