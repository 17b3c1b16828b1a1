"""Weather: station files, forecasts, rain and temperatures typed by hand."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from waterbudget.actions.farm import check_position
from waterbudget.actions.files import read_file
from waterbudget.errors import AnswersNeeded, Note, Question, Refused
from waterbudget.orchard import Orchard, Station, fold
from waterbudget.records import FARM_GAUGE
from waterbudget.store import FarmFile
from waterbudget.weather import (
    HOURLY_SUM,
    Comparison,
    Day,
    Flagged,
    WeatherFile,
    compare,
    read_weather,
)

CHANGED = "changed"
CHOICES = ("keep", "replace")
SAMPLE_ROWS = 5


@dataclass(frozen=True)
class WeatherDone:
    """What a weather import did.

    Attributes
    ----------
    days : number of days in the file
    missing : quantity to dates in the file that lack it
    added, unchanged : number of days
    changed : days that differ from what was stored, with what was done (``keep``, ``replace``)
    """

    station: str
    days: int
    first: dt.date
    last: dt.date
    rain_mm: float
    gaps: tuple[tuple[dt.date, dt.date], ...]
    missing: Mapping[str, tuple[dt.date, ...]]
    flags: tuple[Flagged, ...]
    notes: tuple[Note, ...]
    added: int
    unchanged: int
    changed: tuple[tuple[dt.date, str], ...]


def import_weather(
    file: FarmFile, path: Path, *, station: str | None = None, lat: float | None = None,
    lon: float | None = None, elevation_m: float | None = None,
    wind_height_m: float | None = None, forecast: bool = False,
    answers: Mapping[str, str] | None = None, now: dt.datetime,
) -> WeatherDone:  # fmt: skip
    """Read a station file (or a forecast) and store its days.

    New days are added, equal ones kept, changed ones asked about (``changed``); what the grower
    answers is remembered for the next file of the same layout.

    Raises
    ------
    AnswersNeeded, Refused
        With nothing stored.
    """
    given = dict(answers or {})
    on_change = given.pop(CHANGED, None)
    if on_change is not None and on_change not in CHOICES:
        raise Refused("answers.not_a_choice", key=CHANGED, value=on_change,
                      choices=", ".join(CHOICES))  # fmt: skip
    orchard = file.read().orchard
    place = station_for(orchard, station, lat, lon, elevation_m, wind_height_m)
    data = read_file(path)
    found = read_weather(
        data, name=path.name, answers=given, wind_height_m=place.wind_height_m,
        lat=place.lat if place.lat is not None else orchard.lat,
        lon=place.lon if place.lon is not None else orchard.lon,
        elevation_m=place.elevation_m if place.elevation_m is not None else orchard.elevation_m,
        time_zone=orchard.time_zone, remembered=file.remembered_answers, forecast=forecast,
    )  # fmt: skip
    if not found.days:
        raise Refused("weather.no_days", file=path.name)
    if forecast:
        return _forecast(file, path, data, place, found, now)
    _refuse_days_to_come(found, path, now)
    stored = file.stored_days(place.id) if place.id else {}
    used = file.stored_days(place.id, corrected=True) if place.id else {}
    against = compare(stored, found.days)
    if against.changed and on_change is None:
        raise AnswersNeeded([_changed_question(against)])
    replaced = [new.date for _, new in against.changed] if on_change == "replace" else []
    with file.transaction("weather.imported", now=now, file=path.name, station=place.name,
                          added=len(against.added),
                          changed=len(against.changed)) as open_file:  # fmt: skip
        station_id = open_file.save_station(place) if place.id else open_file.add_station(place)
        import_id = open_file.add_import("record", path.name, data, answers=found.answers,
                                         layout_key=found.layout_key)  # fmt: skip
        summed = _newly_summed(stored, found.days, against)
        replaced += [day.date for day in summed]
        days = [*against.added, *(new for _, new in against.changed), *summed]
        open_file.add_days(station_id, days, import_id=import_id, replace=replaced)
        open_file.add_flags(import_id, station_id, [
            (f.date, f.what, f.quantity, str(f.value), f.used) for f in found.flags
        ])  # fmt: skip
    typed = [d.date for d in against.added if "typed" in used.get(d.date, d).flags]
    if typed:
        note = Note.of("weather.typed_replaced", days=len(typed), first=min(typed))
        found = replace(found, notes=(*found.notes, note))
    return _done(place.name, found, len(against.added), len(against.unchanged),
                 tuple((new.date, on_change or "") for _, new in against.changed))  # fmt: skip


def _refuse_days_to_come(found: WeatherFile, path: Path, now: dt.datetime) -> None:
    """Refuse a record that runs past tomorrow: a wrong clock, or a forecast.

    One day is allowed for zones of the world and for a file cut after midnight.
    """
    ahead = [d.date for d in found.days if d.date > now.date() + dt.timedelta(days=1)]
    if ahead:
        raise Refused("weather.days_to_come", name=path.name, count=len(ahead), date=ahead[0])


def station_for(
    orchard: Orchard, name: str | None, lat: float | None, lon: float | None,
    elevation_m: float | None, wind_height_m: float | None,
) -> Station:  # fmt: skip
    """Return the station a file belongs to, with what was said of it; id 0 where it is new."""
    if name is None:
        if not orchard.stations:
            raise Refused("station.name_needed")
        place = orchard.station()
    else:
        clean = " ".join(name.split())
        if not clean:
            raise Refused("station.name_needed")
        same = [s for s in orchard.stations if fold(s.name) == fold(clean)]
        place = same[0] if same else Station(name=clean)
    if lat is not None and lon is not None:
        check_position(lat, lon)
        place = replace(place, lat=lat, lon=lon)
    if elevation_m is not None:
        if not -430 <= elevation_m <= 5500:
            raise Refused("key.out_of_bounds", key="elevation", value=elevation_m, low=-430,
                          high=5500)  # fmt: skip
        place = replace(place, elevation_m=elevation_m)
    if wind_height_m is not None:
        if not 0.5 <= wind_height_m <= 50:
            raise Refused("key.out_of_bounds", key="wind-height", value=wind_height_m, low=0.5,
                          high=50)  # fmt: skip
        place = replace(place, wind_height_m=wind_height_m)
    return place


def _newly_summed(
    stored: Mapping[dt.date, Day], days: Sequence[Day], against: Comparison
) -> list[Day]:
    """Return days with the readings as stored whose hours are summed now or come out another way.

    Nothing is asked about them: no reading differs.
    """
    same = {day.date for day in against.unchanged}
    return [
        day for day in days
        if day.date in same and HOURLY_SUM in day.values
        and abs(stored[day.date].values.get(HOURLY_SUM, -1.0) - day.values[HOURLY_SUM]) > 1e-6
    ]  # fmt: skip


def _changed_question(against: Comparison) -> Question:
    sample = []
    for old, new in against.changed[:SAMPLE_ROWS]:
        for quantity in sorted({*old.values, *new.values}):
            a, b = old.values.get(quantity), new.values.get(quantity)
            if a is None or b is None or abs(a - b) > 1e-6:
                sample.append(f"{old.date}  {quantity}: {_text(a)} -> {_text(b)}")
    return Question(
        CHANGED, "weather.changed_days",
        {"days": len(against.changed), "first": against.changed[0][1].date},
        choices=CHOICES, sample=tuple(sample[: 2 * SAMPLE_ROWS]),
    )  # fmt: skip


def _text(value: float | None) -> str:
    return "nothing" if value is None else f"{value:g}"


def _forecast(
    file: FarmFile, path: Path, data: bytes, place: Station, found: WeatherFile, now: dt.datetime
) -> WeatherDone:
    issued = found.days[0].date
    with file.transaction("forecast.imported", now=now, file=path.name, station=place.name,
                          issued=issued) as open_file:  # fmt: skip
        station_id = open_file.save_station(place) if place.id else open_file.add_station(place)
        number = open_file.add_import("forecast", path.name, data, answers=found.answers,
                                      layout_key=found.layout_key)  # fmt: skip
        open_file.add_forecast(station_id, issued, found.days, import_id=number)
    return _done(place.name, found, len(found.days), 0, ())


def _done(
    station: str, found: WeatherFile, added: int, unchanged: int,
    changed: tuple[tuple[dt.date, str], ...],
) -> WeatherDone:  # fmt: skip
    return WeatherDone(
        station=station, days=len(found.days), first=found.days[0].date,
        last=found.days[-1].date, rain_mm=_rain(found.days), gaps=found.gaps,
        missing=found.missing, flags=found.flags, notes=found.notes, added=added,
        unchanged=unchanged, changed=changed,
    )  # fmt: skip


def _rain(days: Sequence[Day]) -> float:
    return math.fsum(d.values["rain_mm"] for d in days if "rain_mm" in d.values)


def type_rain(
    file: FarmFile, date: dt.date, mm: float | None, *, gauge: str | None = None, now: dt.datetime
) -> tuple[Note, ...]:
    """Type the rain of a day at a gauge (the farm's own by default); None takes it away.

    Raises
    ------
    Refused
        For rain that cannot be or a day that has not come.
    """
    if mm is not None and not (math.isfinite(mm) and 0 <= mm <= 500):
        raise Refused("rain.bad_depth", mm=mm, date=date)
    name = " ".join((FARM_GAUGE if gauge is None else gauge).split())
    if not name:
        raise Refused("rain.no_gauge_name")
    data = file.read()
    _not_ahead(date, data.last_day(), now)
    known = [FARM_GAUGE, *data.orchard.gauges]
    same = [g for g in known if fold(g) == fold(name)]
    notes: tuple[Note, ...] = ()
    if not same:
        notes = (Note.of("rain.new_gauge", gauge=name),)
    with file.transaction("rain.typed", now=now, date=date, mm=mm, gauge=name) as open_file:
        open_file.type_rain(same[0] if same else name, date, mm, now)
    return notes


def type_temperatures(
    file: FarmFile, date: dt.date, tmin_c: float | None, tmax_c: float | None, *,
    station: str | None = None, now: dt.datetime,
) -> None:  # fmt: skip
    """Type the low and high of a day; a farm without a station gets one called ``farm``.

    Raises
    ------
    Refused
        Where the low is above the high or either cannot be.
    """
    for value in (tmin_c, tmax_c):
        if value is not None and not (math.isfinite(value) and -30 <= value <= 56):
            raise Refused("temperature.cannot_be", value=value, date=date)
    if tmin_c is not None and tmax_c is not None and tmin_c > tmax_c:
        raise Refused("temperature.low_above_high", low=tmin_c, high=tmax_c, date=date)
    data = file.read()
    _not_ahead(date, data.last_day(), now)
    orchard = data.orchard
    known = bool(orchard.stations) or station is not None
    place = orchard.station(station) if known else Station(name=FARM_GAUGE)
    with file.transaction("temperature.typed", now=now, date=date, low=tmin_c,
                          high=tmax_c) as open_file:  # fmt: skip
        station_id = place.id or open_file.add_station(place)
        open_file.type_temperatures(station_id, date, tmin_c, tmax_c, now)


def _not_ahead(date: dt.date, last: dt.date | None, now: dt.datetime) -> None:
    latest = max([now.date(), *([last] if last else [])]) + dt.timedelta(days=1)
    if date > latest:
        raise Refused("weather.in_future", date=date)
