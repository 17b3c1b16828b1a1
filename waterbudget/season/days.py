"""The weather side of a season: record, forecast and stand-ins laid on one line of days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from waterbudget import fill
from waterbudget.et0 import ReferenceEt, reference_et
from waterbudget.orchard import Block, Orchard, Station
from waterbudget.records import FARM_GAUGE, FarmData
from waterbudget.season.result import StationDays
from waterbudget.weather import DailyRecord, Day

Values = NDArray[np.float64]

AHEAD_DAYS = 30
CLOCK_AHEAD_DAYS = 400


def station_days(
    data: FarmData, station: Station, on: dt.date, first: dt.date
) -> tuple[StationDays, Values, Values]:
    """Return a station's days, and its low and high far enough ahead for the cycle clock.

    Parameters
    ----------
    data : FarmData
        As known on ``on``.
    first : datetime.date
        First day of the season.

    Returns
    -------
    StationDays
        Days ``first`` to ``on + 36``.
    tmax_c, tmin_c : ndarray, shape (days to on + 400,)
        With stand-ins; NaN where nothing is known.
    """
    record = data.records.get(station.name)
    issues = sorted(data.forecasts.get(station.name, ()), key=lambda f: f.issued)
    forecast = {f.day.date: f for f in issues if f.day.values}  # the newest issue of a day counts
    joined, from_forecast = _join(record, {d: f.day for d, f in forecast.items()}, on)
    n = (on - first).days + 7 + AHEAD_DAYS
    issued = max((f.issued for f in forecast.values()), default=None)
    last = record.last if record is not None else None
    if joined is None:
        nothing = np.full(n, np.nan)
        long = np.full(n - AHEAD_DAYS + CLOCK_AHEAD_DAYS, np.nan)
        empty = StationDays(station.name, first, nothing, ((),) * n, ("none",) * n, nothing,
                            nothing, nothing, nothing, nothing, nothing, None, issued)  # fmt: skip
        return empty, long, long
    et = _reference(joined, station, data.orchard)
    filled = fill.stand_in_series(et.first, et.et0_mm, first, n)
    made = _made(et, from_forecast, filled.made, first)
    days = StationDays(
        name=station.name, first=first, et0_mm=filled.values, made_from=made,
        stand_in_rule=filled.rule, rain_mm=_lay(joined.first, joined.values["rain_mm"], first, n),
        tmax_c=_lay(et.first, et.tmax_c, first, n), tmin_c=_lay(et.first, et.tmin_c, first, n),
        u2_m_s=_lay(et.first, et.u2_m_s, first, n), rh_min=_lay(et.first, et.rh_min, first, n),
        rs_mj=_lay(et.first, et.rs_mj, first, n),
        record_last=last, forecast_issued=issued,
    )  # fmt: skip
    for date in from_forecast:
        i = (date - first).days
        if 0 <= i < (on - first).days:
            days.rain_mm[i] = np.nan
    tmax, tmin = _clock_temperatures(joined, et, first, n - AHEAD_DAYS + CLOCK_AHEAD_DAYS)
    return days, tmax, tmin


def _reference(record: DailyRecord, station: Station, orchard: Orchard) -> ReferenceEt:
    lat = station.lat if station.lat is not None else orchard.lat
    high = station.elevation_m if station.elevation_m is not None else orchard.elevation_m
    return reference_et(
        record, lat=lat, elevation_m=high, mode=orchard.et0,
        wind_default_m_s=orchard.default_wind_m_s, krs=orchard.krs,
    )  # fmt: skip


def _join(
    record: DailyRecord | None, forecast: Mapping[dt.date, Day], on: dt.date
) -> tuple[DailyRecord | None, set[dt.date]]:
    """Put forecast days after (or into holes of) the record; the record always wins."""
    wanted = {d: day for d, day in forecast.items() if record is None or not record.day(d)}
    if not wanted:
        return record, set()
    days = list(wanted.values())
    if record is not None:
        for i in range(len(record)):
            date = record.first + dt.timedelta(days=i)
            if date not in wanted:
                days.append(Day(date, record.day(date), record.flags.get(date, ())))
    return DailyRecord.from_days(days), set(wanted)


def _made(
    et: ReferenceEt, from_forecast: set[dt.date], stand_in: tuple[str | None, ...], first: dt.date
) -> tuple[tuple[str, ...], ...]:
    result: list[tuple[str, ...]] = []
    for i, bridged in enumerate(stand_in):
        date = first + dt.timedelta(days=i)
        j = (date - et.first).days
        if bridged is not None or not 0 <= j < len(et.made_from):
            result.append(("stand_in",) if bridged is not None else ())
            continue
        parts = et.made_from[j]
        if date in from_forecast:
            parts = ("forecast", *(p for p in parts if p not in ("forecast", "measured")))
        result.append(parts)
    return tuple(result)


def _lay(own_first: dt.date, values: Values, first: dt.date, n: int) -> Values:
    out = np.full(n, np.nan)
    shift = (own_first - first).days
    i0, i1 = max(0, shift), min(n, shift + len(values))
    if i1 > i0:
        out[i0:i1] = values[i0 - shift : i1 - shift]
    return out


def _clock_temperatures(
    record: DailyRecord, et: ReferenceEt, first: dt.date, n: int
) -> tuple[Values, Values]:
    mean = record.values["tmean_c"]
    tmax = np.where(np.isnan(et.tmax_c), mean, et.tmax_c)
    tmin = np.where(np.isnan(et.tmin_c), mean, et.tmin_c)
    return (
        fill.stand_in_series(et.first, tmax, first, n).values,
        fill.stand_in_series(et.first, tmin, first, n).values,
    )


def station_of(block: Block, orchard: Orchard) -> Station | None:
    """Return the station a block reads: its own, the farm's, the only one, else the first."""
    wanted = block.station or orchard.default_station
    if wanted is not None:
        return orchard.station(wanted)
    return orchard.stations[0] if orchard.stations else None


def block_rain(
    data: FarmData, block: Block, station: StationDays | None, on: dt.date, first: dt.date, n: int
) -> tuple[Values, Values, dict[dt.date, str]]:
    """Rain on one block: typed at its gauge, else the farm's, else the station's, else unknown.

    Returns
    -------
    rain_mm : ndarray, shape (n,)
        As counted: unknown past rain is 0, coming rain times the farm's credit.
    whole_mm : ndarray, shape (n,)
        The same before the credit.
    flags : dict of date to str
        ``rain_unknown``, ``rain_typed`` or ``rain_from_station``.
    """
    whole = station.rain_mm[:n].copy() if station is not None else np.full(n, np.nan)
    if len(whole) < n:
        whole = np.concatenate([whole, np.full(n - len(whole), np.nan)])
    flags: dict[dt.date, str] = {}
    i_on = (on - first).days
    gauges = [block.gauge] if block.gauge else []
    for gauge in (FARM_GAUGE, *gauges):
        for date, mm in data.gauge_days(gauge).items():
            i = (date - first).days
            if 0 <= i < n:
                whole[i] = mm
                flags[date] = "rain_typed"
    if gauges and data.gauge_days(gauges[0]):
        for known in np.flatnonzero(np.isfinite(whole[:i_on])):
            date = first + dt.timedelta(days=int(known))
            flags.setdefault(date, "rain_from_station")
    for gap in np.flatnonzero(np.isnan(whole[:i_on])):
        flags[first + dt.timedelta(days=int(gap))] = "rain_unknown"
    whole = np.where(np.isnan(whole), 0.0, whole)
    rain = whole.copy()
    for i in range(i_on, n):
        if flags.get(first + dt.timedelta(days=i)) != "rain_typed":
            rain[i] *= data.orchard.forecast_rain_credit
    return rain, whole, flags
