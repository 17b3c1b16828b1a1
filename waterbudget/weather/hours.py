"""Reference ET summed over the hours of a day, where the file has every hour whole.

Rules:

- an hour counts where temperature, humidity (vapour pressure, dew point or relative humidity),
  wind and radiation each have readings in 75 % of its steps; a day has a sum only where all 24
  hours count; readings more than an hour apart give none;
- the hour's value is FAO-56 eq. 53; a night hour below 0 counts as it is, the sum is never
  below 0;
- the sun's place needs latitude, longitude and the clock: the clock is that of the time zone of
  the place (the stamps are in it, or were brought into it).  Without longitude or zone there is
  no value, and it is said.  A day on which the clocks change has none;
- where the middle of the radiation of most days lies more than 1.5 h from the sun's noon, the
  clock of the file is another one and no day has a value (own estimate; clouds of the afternoon
  move it by half an hour or so);
- at night Rs/Rso is that of two to three hours before sunset (FAO-56 p. 75): after midnight that
  of the evening before, or where that is not known of the same day's evening.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from waterbudget import air, sun
from waterbudget.errors import Note
from waterbudget.hourly import hourly_et0
from waterbudget.weather.dates import date_of
from waterbudget.weather.readings import Reading
from waterbudget.weather.record import HOURLY_SUM
from waterbudget.weather.subdaily import MEANS_NEED, DayTable

Values = NDArray[np.float64]
Days = NDArray[np.int64]

HOURS = 24
CLOCK_SLACK_H = 1.5
BEFORE_SUNSET_H = 2.5
SUNNY_MJ_D = 3.0
"""Days with less radiation do not tell where noon is [MJ/m2/d] (own estimate)."""


class Sky(NamedTuple):
    """Where the station stands under the sun: [deg], [deg, east positive], [m], its clock."""

    lat: float | None
    lon: float | None
    elevation_m: float | None
    zone: dt.tzinfo | None


def add_hourly_sum(
    table: DayTable,
    readings: dict[str, Reading],
    day: Days,
    minute: Values,
    steps: dict[int, float],
    sky: Sky,
) -> None:
    """Give the days of ``table`` the sum of their hours' reference ET where it can be known.

    Parameters
    ----------
    day, minute : ndarray, shape (rows,)
        Start or middle of each reading, on the clock of the place.
    steps : dict
        Minutes between readings of each day.
    """
    if len(table.day) == 0 or not _has_all(readings):
        return
    hours = _by_hour(table.day, readings, day, minute, steps)
    whole = np.all([np.isfinite(v).all(axis=1) for v in hours.values()], axis=0)
    if not whole.any():
        return
    if sky.lat is None or sky.lon is None or sky.zone is None:
        table.notes.append(Note.of("weather.note.hourly_no_place"))
        return
    offset = _offsets(table.day, sky.zone)
    j, clock = _day_of_year(table.day)[:, None], np.arange(HOURS) + 0.5
    angle = sun.solar_time_angle_rad(j, clock, sky.lon, 15.0 * offset[:, None])
    off = _clock_error_h(hours["rs"], angle, whole & np.isfinite(offset))
    if abs(off) > CLOCK_SLACK_H:
        table.notes.append(Note.of("weather.note.hourly_clock", hours=round(abs(off), 1)))
        return
    total = _sums(table.day, hours, j, angle, sky)
    table.values[HOURLY_SUM] = np.where(whole & np.isfinite(offset), total, np.nan)
    count = int(np.isfinite(table.values[HOURLY_SUM]).sum())
    if count:
        table.notes.append(Note.of("weather.note.hourly_days", count=count, of=len(table.day)))


def _has_all(readings: dict[str, Reading]) -> bool:
    moist = {"ea", "dew", "rh"} & readings.keys()
    return bool(moist) and {"temp", "wind", "rs"} <= readings.keys()


def _by_hour(
    days: Days, readings: dict[str, Reading], day: Days, minute: Values, steps: dict[int, float]
) -> dict[str, Values]:
    """Return ``t, ea, u2, rs`` [degC, kPa, m/s, MJ/m2/h], shape (days, 24); NaN if not whole."""
    at = np.searchsorted(days, day)
    ours = (at < len(days)) & (days[np.minimum(at, len(days) - 1)] == day)
    rows = np.flatnonzero(ours)
    at = at[rows]
    size = np.array([steps.get(int(d), 1440.0) for d in days])
    slot = np.floor(minute[rows] / size[at] + 1e-6).astype(np.int64)
    cell = at * HOURS + np.clip(minute[rows] // 60.0, 0, HOURS - 1).astype(np.int64)
    shape = (len(days), HOURS)
    need = np.where(size <= 60.0, MEANS_NEED * 60.0 / size, np.inf)[:, None]

    def mean(values: Values) -> Values:
        known = np.isfinite(values)
        pairs = np.unique(cell[known] * 100000 + slot[known]) // 100000
        steps_there = np.bincount(pairs, minlength=shape[0] * HOURS).reshape(shape)
        count = np.bincount(cell[known], minlength=shape[0] * HOURS).reshape(shape)
        total = np.bincount(cell[known], values[known], minlength=shape[0] * HOURS).reshape(shape)
        return np.where(steps_there >= need - 1e-9, total / np.maximum(count, 1), np.nan)

    def of(role: str) -> Values:
        r = readings[role]
        a_day = 1440.0 / size[at] if r.per_interval else 1.0
        return np.asarray(r.values[rows] * a_day, dtype=float)

    warm = of("temp")
    if "ea" in readings:
        moist = of("ea")
    elif "dew" in readings:
        moist = np.asarray(air.ea_from_dew(of("dew")), dtype=float)
    else:
        moist = np.asarray(air.saturation_kpa(warm), dtype=float) * of("rh") / 100.0
    t, ea = mean(warm), mean(moist)
    ea = np.minimum(ea, air.saturation_kpa(t))
    return {"t": t, "ea": ea, "u2": mean(of("wind")), "rs": mean(of("rs")) / HOURS}


def _offsets(days: Days, zone: dt.tzinfo) -> Values:
    """Return the clock's hours ahead of UTC on each day; NaN where the clocks change."""
    found = np.full(len(days), np.nan)
    for i, d in enumerate(days.tolist()):
        ends = [dt.datetime.combine(date_of(d + k), dt.time(), tzinfo=zone) for k in (0, 1)]
        first, last = (moment.utcoffset() for moment in ends)
        if first is not None and first == last:
            found[i] = first.total_seconds() / 3600.0
    return found


def _day_of_year(days: Days) -> Values:
    dates = days.astype("datetime64[D]")
    return (dates - dates.astype("datetime64[Y]").astype("datetime64[D]")).astype(float) + 1.0


def _clock_error_h(rs: Values, angle: Values, sure: NDArray[np.bool_]) -> float:
    """Return how far the middle of the radiation lies from the sun's noon, usually [h]."""
    total = rs.sum(axis=1)
    told = sure & (total >= SUNNY_MJ_D)
    if not told.any():
        return 0.0
    east = (rs[told] * np.sin(angle[told])).sum(axis=1)
    noon = (rs[told] * np.cos(angle[told])).sum(axis=1)
    return float(np.median(np.arctan2(east, noon))) * 12.0 / np.pi


def _sums(days: Days, hours: dict[str, Values], j: Values, angle: Values, sky: Sky) -> Values:
    """Return the sum of each day's 24 hours [mm/d]."""
    assert sky.lat is not None
    height = sky.elevation_m or 0.0
    ra = sun.extraterrestrial_period_mj(sky.lat, j, angle, hours=1.0)
    evening = sun.sunset_angle_rad(sky.lat, j)[:, 0] - np.pi / 12.0 * BEFORE_SUNSET_H
    turned = (angle + np.pi) % (2.0 * np.pi) - np.pi
    which = np.argmin(np.abs(turned - evening[:, None]), axis=1)[:, None]
    light = np.take_along_axis(hours["rs"], which, axis=1)[:, 0]
    clear_light = sun.clear_sky_mj(np.take_along_axis(ra, which, axis=1)[:, 0], height)
    share = np.full(len(days), np.nan)
    np.divide(light, clear_light, out=share, where=clear_light > 0.0)
    share = np.clip(share, 0.0, 1.0)
    before = np.full(len(days), np.nan)
    follows = np.diff(days) == 1
    before[1:][follows] = share[:-1][follows]
    before = np.where(np.isnan(before), share, before)
    night = np.where(turned < 0.0, before[:, None], share[:, None])
    each = hourly_et0(hours["t"], hours["ea"], hours["u2"], hours["rs"], ra,
                      elevation_m=height, night_clear_share=night)  # fmt: skip
    return np.maximum(each.sum(axis=1), 0.0)
