"""Read any weather file: bytes in, days out, or all questions at once, or one refusal.

The order of the work: bytes to lines (:mod:`text`), lines to a table (:mod:`table`, or a known
open format, :mod:`formats`), the time of each row (:mod:`timecols`, :mod:`stamps`,
:mod:`order`), which column is what (:mod:`columns`, :mod:`roles`), doubled rows
(:mod:`doubles`), numbers and units (:mod:`numbers`, :mod:`readings`, :mod:`guess`), rain
counters (:mod:`rain`), readings to days (:mod:`subdaily`), the sum of the hours'
reference ET (:mod:`hours`), what cannot be (:mod:`guards`).
The rules each part follows stand in its own first lines.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections import defaultdict
from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from waterbudget import air
from waterbudget.errors import Note, Refused
from waterbudget.weather import doubles, formats, guards, rain, subdaily
from waterbudget.weather.asking import Asker, parse_zone
from waterbudget.weather.cells import squeeze
from waterbudget.weather.columns import find_columns, find_station
from waterbudget.weather.dates import date_of
from waterbudget.weather.guess import Setting, clear_by_day
from waterbudget.weather.hours import Sky, add_hourly_sum
from waterbudget.weather.readings import Reading, read_columns
from waterbudget.weather.record import Day
from waterbudget.weather.result import Flagged, WeatherFile, gaps_between, missing_days
from waterbudget.weather.stamps import Stamps, is_daily, read_stamps
from waterbudget.weather.subdaily import COLUMN_OF, DayTable
from waterbudget.weather.table import Table
from waterbudget.weather.timecols import find_time
from waterbudget.weather.words import height_in, plain

Values = NDArray[np.float64]
HEIGHT_M = (0.3, 200.0)
DEW_C = (-40.0, 36.0)
DIGITS = 6
"""Decimals kept, so that a value read twice by two ways compares equal."""


def read_weather(
    data: bytes,
    *,
    name: str,
    answers: Mapping[str, str] | None = None,
    wind_height_m: float | None = None,
    lat: float | None = None,
    lon: float | None = None,
    elevation_m: float | None = None,
    time_zone: str | None = None,
    layout: Mapping[str, str] | None = None,
    remembered: Callable[[str], Mapping[str, str]] | None = None,
    forecast: bool = False,
) -> WeatherFile:
    """Read a weather file.

    Parameters
    ----------
    data : bytes
        The file as it is.
    name : str
        Its name, for messages only.
    answers : mapping
        Question key to answer; they win over what the file seems to say.
    wind_height_m : float
        Height of the anemometer [m], used where the file does not tell it.
    lat : float
        Latitude [deg], south negative; without it radiation and sunshine are checked loosely.
    lon : float
        Longitude [deg], west negative; without it no reference ET is summed from hours.
    elevation_m : float
        Of the station [m].
    time_zone : str
        Of the place (``Africa/Harare`` or ``+02:00``), for stamps in another zone and
        for the sun's noon.
    remembered : callable
        Given a ``layout_key``, returns the answers kept from an earlier file of that layout.
    layout : mapping
        Answers remembered from an earlier file; used where they answer a question that arises.
    forecast : bool
        A file of coming days: the checks that need a past record are left out.

    Returns
    -------
    WeatherFile

    Raises
    ------
    AnswersNeeded
        With all the questions at once.
    Refused
        ``weather.*`` where the file cannot be used as it is; ``answers.*`` for answers that fit
        no question.
    """
    place = _Place(lat, lon, elevation_m, wind_height_m, _zone(time_zone), forecast)
    return _read(data, name, Asker(answers, layout), place, remembered)


class _Place(NamedTuple):
    """What is known of the station from outside the file."""

    lat: float | None
    lon: float | None
    elevation_m: float | None
    wind_height_m: float | None
    zone: dt.tzinfo | None
    forecast: bool


def _read(
    data: bytes,
    name: str,
    asker: Asker,
    place: _Place,
    remembered: Callable[[str], Mapping[str, str]] | None,
) -> WeatherFile:
    table = formats.choose(formats.read_tables(data, name), asker)
    asker.sample = table.sample()[:4]
    key = layout_key(table)
    if remembered is not None:
        asker.remember(remembered(key))
    station = _keep_one_station(table, asker)
    cols = find_time(table, asker)
    stamps = read_stamps(table, cols, asker, place.zone)
    daily = is_daily(stamps)
    stamps.logger = _of_logger(table)
    if "date_order" not in asker.open:
        _refuse_far_dates(table, stamps)
    if daily:
        _day_stamped_next_morning(table, stamps, asker)
    step = 1440.0 if daily else subdaily.step_minutes(stamps.key)
    if "date_order" not in asker.open:
        _refuse_long_steps(table, stamps, daily)
    columns = find_columns(table, cols, asker, daily, station)
    rows = doubles.settle(table, stamps, [c.index for c in columns], asker, daily, step)
    day, minute, moment = stamps.day[rows], stamps.minute[rows], stamps.key[rows]
    setting = Setting(daily, step / 60.0, clear_by_day(place.lat, _day_of_year(day)))
    readings = read_columns(table, columns, asker, setting, stamps.keep[rows], (day, minute))
    _wind_to_2m(readings, table, asker, place.wind_height_m)
    flags = _mark_cells(readings, day)
    sky = Sky(place.lat, place.lon, place.elevation_m, stamps.zone or place.zone)
    days = _to_days(readings, day, minute, moment, daily, step, stamps, asker, sky)
    _ask_odd_sums(days, readings, daily, asker)
    days.flags += flags
    asker.finish()
    if not columns:
        known = ", ".join(n for n in table.names if n) or "-"
        raise Refused("weather.nothing_known", columns=known)
    guards.check(days, place.lat, place.elevation_m, place.forecast)
    notes = [*table.notes, *stamps.notes, *days.notes]
    notes += [Note.of("weather.note.answer_not_needed", key=k) for k in asker.unused()]
    return _finish(days, notes, asker, key, name)


def _zone(text: str | None) -> dt.tzinfo | None:
    if text is None or not text.strip():
        return None
    zone = parse_zone(text)
    if zone is None:
        raise Refused("answers.not_a_zone", key="time_zone", value=text)
    return zone


def layout_key(table: Table) -> str:
    """Return the fingerprint of a table's layout: header, units, separator."""
    shape = [plain(n) for n in table.names] + [plain(u) for u in table.units]
    text = "\x1f".join([*shape, table.separator, str(len(table.names))])
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _keep_one_station(table: Table, asker: Asker) -> int | None:
    """Keep the rows of one station (asked where there are several); return its column."""
    station = find_station(table)
    if station is None:
        return None
    names = list(dict.fromkeys(squeeze(c) for c in table.column(station)))
    names = [n for n in names if n]
    if len(names) > 40:
        return None
    first = [next(i for i, r in enumerate(table.rows) if squeeze(r[station]) == n) for n in names]
    chosen = asker.ask("which_station", tuple(names), sample=table.sample(first[:4])) or names[0]
    pairs = [
        (r, n) for r, n in zip(table.rows, table.at, strict=True) if squeeze(r[station]) == chosen
    ]
    table.rows = [r for r, _ in pairs]
    table.at = [n for _, n in pairs]
    table.short = set()
    return station


def _refuse_long_steps(table: Table, stamps: Stamps, daily: bool) -> None:
    days = np.unique(stamps.day)
    if not daily or len(days) < 3:
        return
    gaps = np.diff(days)
    line, text = table.at[0], table.raw[table.at[0] - 1][:80]
    if float(np.median(gaps)) >= 28.0 and float(gaps.min()) >= 28.0:
        raise Refused("weather.monthly", line=line, text=text)
    if len(gaps) >= 4 and gaps.min() >= 2 and np.mean(gaps == np.median(gaps)) > 0.7:
        raise Refused("weather.rows_apart", line=line, text=text, days=int(np.median(gaps)))


FAR_DAYS, VERY_FAR_DAYS, BACK_DAYS = 45, 300, 7
"""A date this far from the rows before and after it is wrong where the rows go on there."""


def _refuse_far_dates(table: Table, stamps: Stamps) -> None:
    """Refuse a row, or a few, that leave the sequence of dates by far and come back to it.

    A typing error in the year or a logger that lost its clock; else the record would begin or
    end on a day nobody measured.
    """
    day = stamps.day
    jumps = np.flatnonzero(np.abs(np.diff(day)) > FAR_DAYS)
    if len(jumps) > 2 + 0.1 * len(day):
        return  # the rows stand in another order than that of time
    for a, b in zip(jumps.tolist(), jumps[1:].tolist(), strict=False):
        out = abs(int(day[a + 1] - day[a]))
        lone = day[a + 1] == day[b] or b - a <= 3
        few = b - a <= 0.1 * len(day) and out > VERY_FAR_DAYS
        if abs(int(day[b + 1] - day[a])) <= BACK_DAYS and (lone or few) and len(day) > 4:
            _date_far_off(table, stamps, a + 1, out)
    if len(jumps) and len(day) > 4:  # the first row or the last, with nothing on its other side
        for at, beside in ((0, 1), (len(day) - 1, len(day) - 2)):
            out = abs(int(day[at] - day[beside]))
            if out > 10 * VERY_FAR_DAYS:
                _date_far_off(table, stamps, at, out)


def _date_far_off(table: Table, stamps: Stamps, at: int, days: int) -> None:
    row = int(stamps.keep[at])
    text = date_of(int(stamps.day[at])).isoformat()
    raise Refused("weather.date_far_off", line=table.at[row], text=text, days=days)


def _of_logger(table: Table) -> bool:
    """Tell whether the header is a data logger's (it counts its records)."""
    return bool({"record", "rn", "ts"} & {plain(x) for x in (*table.names, *table.units)})


def _day_stamped_next_morning(table: Table, stamps: Stamps, asker: Asker) -> None:
    """Ask whether a logger's day, stamped 00:00, is the day that begins or the day that ended."""
    if not stamps.clocked or stamps.minute.any() or not stamps.logger:
        return
    if asker.ask("stamp", ("start", "end")) == "end":
        stamps.day = stamps.day - 1
        stamps.key = stamps.key - 1440.0


def _day_of_year(day: NDArray[np.int64]) -> Values:
    days = day.astype("datetime64[D]")
    years = days.astype("datetime64[Y]").astype("datetime64[D]")
    return (days - years).astype(float) + 1.0


def _wind_to_2m(
    readings: dict[str, Reading], table: Table, asker: Asker, wind_height_m: float | None
) -> None:
    """Bring the wind to 2 m (FAO-56 eq. 47); the height is never assumed."""
    wind = readings.get("wind")
    if wind is None or np.isnan(wind.values).all():
        return
    answer = asker.given("wind_height_m")
    own = wind.column.height_m or _height_in_preamble(table)
    height = None
    if answer is None and own is not None:
        height = own
        if wind_height_m is not None and abs(wind_height_m - own) > 0.05:
            table.notes.append(Note.of("weather.note.wind_height", file=own, given=wind_height_m))
    elif answer is None and wind_height_m is not None:
        height = wind_height_m
        if not HEIGHT_M[0] <= height <= HEIGHT_M[1]:
            low, high = HEIGHT_M
            raise Refused(
                "key.out_of_bounds", key="wind_height_m", value=height, low=low, high=high
            )
    if height is None:
        height = asker.ask_number(
            "wind_height_m", *HEIGHT_M, form="number_m", column=wind.column.name
        )
    if height is not None:
        wind.values = np.asarray(air.wind_at_2m(wind.values, height), dtype=float)


def _height_in_preamble(table: Table) -> float | None:
    for line in table.preamble:
        text = plain(line)
        if re.search(r"anemo|wind|vient|vento|vent\b", text) and re.search(
            r"height|altura|hauteur|alt\b|above|heigth", text
        ):
            height = height_in(text)
            if height is not None:
                return height
    return None


def _mark_cells(readings: dict[str, Reading], day: NDArray[np.int64]) -> list[Flagged]:
    """Return the marks of cells that were no plain number (one a day and kind)."""
    flags: dict[tuple[int, str, str], Flagged] = {}
    for role, r in readings.items():
        for row, what, text in r.marks:
            d = int(day[row])
            value = float(r.values[row])
            used = None if what == "unreadable" or np.isnan(value) else round(value, 4)
            flag = Flagged(date_of(d), what, COLUMN_OF[role], text, used)
            flags.setdefault((d, what, role), flag)
    return list(flags.values())


def _to_days(
    readings: dict[str, Reading],
    day: NDArray[np.int64],
    minute: Values,
    moment: Values,
    daily: bool,
    step: float,
    stamps: Stamps,
    asker: Asker,
    sky: Sky,
) -> DayTable:
    r = readings.get("rain")
    if r is not None and len(readings) == 1 and rain.only_events(r.values, day):
        return _listed_rain(r, day, asker)
    if daily:
        made = rain.settle(r.values, day, minute, True, r.column.name, asker) if r else None
        return _daily(readings, day, made)
    notes: list[Note] = []
    kind = rain.judge(r.values, day, minute, False, r.column.name) if r else None
    fell = r.values if r and kind == rain.DEPTH else None
    end = subdaily.stamps_at_end(day, minute, stamps, step, fell, asker, notes)
    if end:
        shifted = day * 1440.0 + minute - step / 2.0
        day = np.floor(shifted / 1440.0).astype(np.int64)
        minute = shifted - day * 1440.0
    made = rain.settle(r.values, day, minute, False, r.column.name, asker) if r else None
    if r and made:
        r.values = made.values
    table = subdaily.make_days(readings, made, day, minute, moment, step)
    steps = subdaily.day_steps(day, moment, step)
    add_hourly_sum(table, readings, day, minute, steps, sky)
    table.notes += notes + (made.notes if made else [])
    return table


def _daily(
    readings: dict[str, Reading], day: NDArray[np.int64], made: rain.Rain | None
) -> DayTable:
    table = DayTable(day.copy())
    for role, r in readings.items():
        values = r.values.copy()
        if role == "dew":
            if "ea" in readings:
                continue
            for row in np.flatnonzero((values < DEW_C[0]) | (values > DEW_C[1])).tolist():
                date = date_of(int(day[row]))
                table.flags.append(
                    Flagged(date, "impossible", "ea_kpa", r.cells[row].strip(), None)
                )
                values[row] = np.nan
            values = np.asarray(air.ea_from_dew(values))
        table.values[COLUMN_OF[role]] = np.array(values, dtype=float)
    if made is not None:
        table.values["rain_mm"] = made.values.copy()
        table.notes += made.notes
        for row in made.several:
            value = round(float(made.values[row]), 4)
            date = date_of(int(day[row]))
            table.flags.append(Flagged(date, "rain_of_several_days", "rain_mm", value, value))
    return table


def _listed_rain(r: Reading, day: NDArray[np.int64], asker: Asker) -> DayTable:
    """Return the days of a list that names only wet days (or single showers)."""
    made = rain.settle_listed(r.values, day, r.column.name, asker)
    days, index = np.unique(day, return_inverse=True)
    total = np.bincount(index, np.nan_to_num(made.values)).astype(float)
    answer = asker.ask("unlisted_days", ("no_rain", "unknown"), column=r.column.name)
    if answer != "no_rain":
        return DayTable(days, {"rain_mm": total}, notes=made.notes)
    whole = np.arange(days[0], days[-1] + 1)
    values = np.zeros(len(whole))
    values[days - days[0]] = total
    note = Note.of("weather.note.unlisted_dry", count=len(whole) - len(days))
    return DayTable(whole, {"rain_mm": values}, notes=[*made.notes, note])


def _ask_odd_sums(days: DayTable, readings: dict[str, Reading], daily: bool, asker: Asker) -> None:
    """Ask the radiation's unit where sums over the day come out impossible."""
    r = readings.get("rs")
    v = days.values.get("rs_mj")
    if daily or r is None or v is None or np.isnan(v).all():
        return
    if float(np.nanmedian(v)) > 45.0 and "unit_radiation" not in asker.used:
        from waterbudget.weather.guess import CHOICES

        asker.ask("unit_radiation", CHOICES["radiation"], column=r.column.name)


def _finish(days: DayTable, notes: list[Note], asker: Asker, key: str, name: str) -> WeatherFile:
    by_date: dict[dt.date, list[str]] = defaultdict(list)
    for f in days.flags:
        if f.what not in by_date[f.date]:
            by_date[f.date].append(f.what)
    columns = {q: np.round(v, DIGITS).tolist() for q, v in days.values.items()}
    out = []
    for i, d in enumerate(days.day.tolist()):
        date = date_of(d)
        values = {q: v[i] for q, v in columns.items() if v[i] == v[i]}
        if values or by_date.get(date):
            out.append(Day(date, values, tuple(by_date.get(date, ()))))
    if not out:
        raise Refused("weather.no_days", file=name)
    kept = {day.date for day in out}
    flags = sorted((f for f in days.flags if f.date in kept), key=lambda f: (f.date, f.quantity))
    return WeatherFile(
        days=tuple(out),
        flags=tuple(flags),
        notes=tuple(notes),
        answers=dict(asker.used),
        layout_key=key,
        gaps=gaps_between([day.date for day in out]),
        missing=missing_days(out),
    )
