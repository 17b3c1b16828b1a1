"""The weather side of a season: record, forecast and stand-ins laid on one line of days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from waterbudget import fill
from waterbudget.et0 import ReferenceEt, reference_et
from waterbudget.fill import NeighbourFill
from waterbudget.orchard import Block, Orchard, Station
from waterbudget.records import FARM_GAUGE, FarmData
from waterbudget.season.bands import et0_bands
from waterbudget.season.result import StationDays
from waterbudget.season.stations import neighbours
from waterbudget.weather import DailyRecord, Day

Values = NDArray[np.float64]

AHEAD_DAYS = 30
CLOCK_AHEAD_DAYS = 400


@dataclass(frozen=True)
class _Made:
    """A station's days with everything that can be known of them, and how it came about."""

    record: DailyRecord
    et: ReferenceEt
    forecast: set[dt.date]
    fill: NeighbourFill | None
    neighbours: Sequence[tuple[str, DailyRecord]]


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
    n = (on - first).days + 7 + AHEAD_DAYS
    issued = max((f.issued for f in issues if f.day.values), default=None)
    last = record.last if record is not None else None
    known = _know(data, station, on)
    rain, rain_from = _rain(data, station, known, on, first, n)
    if known is None:
        nothing = np.full(n, np.nan)
        long = np.full(n - AHEAD_DAYS + CLOCK_AHEAD_DAYS, np.nan)
        empty = StationDays(station.name, first, nothing, ((),) * n, ("none",) * n, rain,
                            nothing, nothing, nothing, nothing, nothing, None, issued, nothing,
                            rain_from=rain_from)  # fmt: skip
        return empty, long, long
    et = known.et
    filled = fill.stand_in_series(et.first, et.et0_mm, first, n)
    made = _made(et, known.forecast, filled.made, first)
    days = StationDays(
        name=station.name, first=first, et0_mm=filled.values, made_from=made,
        stand_in_rule=filled.rule, rain_mm=rain,
        tmax_c=_lay(et.first, et.tmax_c, first, n), tmin_c=_lay(et.first, et.tmin_c, first, n),
        u2_m_s=_lay(et.first, et.u2_m_s, first, n), rh_min=_lay(et.first, et.rh_min, first, n),
        rs_mj=_lay(et.first, et.rs_mj, first, n),
        record_last=last, forecast_issued=issued,
        band_pct=_bands(data, station, known, made, filled.rule, first),
        filled_from=known.fill.stations if known.fill is not None else {}, rain_from=rain_from,
    )  # fmt: skip
    tmax, tmin = _clock_temperatures(known.record, et, first, n - AHEAD_DAYS + CLOCK_AHEAD_DAYS)
    return days, tmax, tmin


def recorded_et0(data: FarmData, station: Station) -> ReferenceEt | None:
    """Return reference ET of a station's days up to its last day of record, gaps bridged.

    The same days and codes as a season has; None where the station has no record.
    """
    record = data.records.get(station.name)
    if record is None:
        return None
    known = _know(replace(data, forecasts={}), station, record.last + dt.timedelta(days=1))
    if known is None:
        return None
    et = known.et
    bridged = fill.stand_in_series(et.first, et.et0_mm, et.first, len(et))
    made = tuple(
        own if stood is None else (stood,)
        for own, stood in zip(et.made_from, bridged.made, strict=True)
    )
    return replace(et, et0_mm=bridged.values, made_from=made)


def record_used(data: FarmData, station: Station, on: dt.date) -> DailyRecord | None:
    """Return a station's record with its neighbours' help, as it is used on ``on``."""
    known = _know(replace(data, forecasts={}), station, on)
    return known.record if known is not None else None


def _know(data: FarmData, station: Station, on: dt.date) -> _Made | None:
    """Put record, neighbours and forecast together; None where there is nothing at all."""
    record = data.records.get(station.name)
    others = [
        (s.name, there) for s in neighbours(station, data.orchard)
        if (r := data.records.get(s.name)) is not None and (there := r.before(on)) is not None
    ]  # fmt: skip
    helped = None
    if record is not None and others:
        helped = fill.from_neighbours(record, others, given_first=data.orchard.et0 == "given")
    if helped is not None:
        record = helped.record
    issues = sorted(data.forecasts.get(station.name, ()), key=lambda f: f.issued)
    forecast = {f.day.date: f.day for f in issues if f.day.values}  # the newest of a day counts
    joined, from_forecast = _join(record, forecast, on)
    if joined is None:
        return None
    et = reference_of(joined, station, data.orchard)
    if helped is not None:
        et = replace(et, made_from=_relabelled(et, helped))
    return _Made(joined, et, from_forecast, helped, others)


def _relabelled(et: ReferenceEt, helped: NeighbourFill) -> tuple[tuple[str, ...], ...]:
    """Let a day be ``filled`` where its ET0 rests on a neighbour, and only there."""
    made = list(et.made_from)
    for date, quantities in helped.quantities.items():
        i = (date - et.first).days
        if not 0 <= i < len(made) or "given" not in made[i]:
            continue
        gone = "given" if "et0_given_mm" in quantities else fill.FILLED
        made[i] = tuple(code for code in made[i] if code != gone)
    return tuple(made)


def _rain(
    data: FarmData, station: Station, known: _Made | None, on: dt.date, first: dt.date, n: int
) -> tuple[Values, dict[dt.date, str]]:
    """Rain of the record, of the forecast for coming days, of a neighbour only where allowed."""
    rain = np.full(n, np.nan)
    if known is not None:
        rain = _lay(known.record.first, known.record.values["rain_mm"], first, n)
        for date in known.forecast:
            if 0 <= (i := (date - first).days) < (on - first).days:
                rain[i] = np.nan
    stood: dict[dt.date, str] = {}
    if not data.orchard.neighbour_rain:
        return rain, stood
    past = (on - first).days
    for other in neighbours(station, data.orchard):
        record = data.records.get(other.name)
        if record is None:
            continue
        theirs = _lay(record.first, record.values["rain_mm"], first, n)
        for i in np.flatnonzero(np.isnan(rain[:past]) & np.isfinite(theirs[:past])).tolist():
            rain[i] = theirs[i]
            stood[first + dt.timedelta(days=i)] = other.name
    return rain, stood


def _bands(
    data: FarmData, station: Station, known: _Made, made: Sequence[Sequence[str]],
    rules: Sequence[str], first: dt.date,
) -> Values:  # fmt: skip
    """Return how far reference ET of each day may be off either way [%].

    By its codes the largest of ``tables/et0_bands.csv``.  Filled and stood-in days have their
    own error instead, found by making known days that way, beside that of a measured day (root of
    the sum of squares); the table's figure only where that could not be tried.
    """
    table = et0_bands()
    base = table["measured"]
    own = _own_days(known)
    middle = float(np.nanmean(own)) if np.isfinite(own).any() else np.nan
    stand_in = {
        rule: float(np.hypot(base, 100.0 * miss / middle))
        for rule, miss in fill.tried(known.et.first, own).items()
    }
    lines: dict[tuple[str, ...], float] = {}
    out = np.full(len(made), np.nan)
    for i, codes in enumerate(made):
        if not codes:
            continue
        if fill.STAND_IN in codes:
            out[i] = stand_in.get(rules[i], table[fill.STAND_IN])
            continue
        out[i] = max(table[c] for c in codes if c != fill.FILLED or len(codes) == 1)
        if fill.FILLED in codes and known.fill is not None:
            what = known.fill.quantities[first + dt.timedelta(days=i)]
            if what not in lines:
                lines[what] = _line_band(data, station, known, what, own, base)
            out[i] = max(lines[what], out[i] if len(codes) > 1 else 0.0)
    return out


def _own_days(known: _Made) -> Values:
    """Return reference ET of the days the station itself has recorded."""
    own = known.et.et0_mm.copy()
    theirs = [*known.forecast, *(known.fill.quantities if known.fill is not None else ())]
    for date in theirs:
        own[(date - known.et.first).days] = np.nan
    return own


def _line_band(
    data: FarmData, station: Station, known: _Made, what: Sequence[str], own: Values, base: float
) -> float:
    """Return the band of days on which ``what`` came from neighbours [%]."""
    assert known.fill is not None
    record = data.records[station.name]
    said = fill.as_neighbours_say(record, known.neighbours, known.fill.lines, what)
    et = reference_of(said, station, data.orchard)
    as_read = _lay(known.et.first, own, record.first, len(record))
    off = et.et0_mm - as_read
    for name in what:  # where the neighbour did not know it the next step of the ladder came in
        off[np.isnan(said.values[name])] = np.nan
    tried = np.isfinite(off)
    if tried.sum() < fill.TRIED_DAYS:
        return et0_bands()[fill.FILLED]
    miss = float(np.sqrt(np.mean(off[tried] ** 2)))
    return float(np.hypot(base, 100.0 * miss / float(np.mean(as_read[tried]))))


def reference_of(record: DailyRecord, station: Station, orchard: Orchard) -> ReferenceEt:
    """Return reference ET of a record of a station, under the farm's settings."""
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
        ``rain_unknown``, ``rain_typed``, ``rain_from_station`` or ``rain_neighbour``.
    """
    whole = station.rain_mm[:n].copy() if station is not None else np.full(n, np.nan)
    if len(whole) < n:
        whole = np.concatenate([whole, np.full(n - len(whole), np.nan)])
    flags: dict[dt.date, str] = {}
    if station is not None:
        flags |= dict.fromkeys(station.rain_from, "rain_neighbour")
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
