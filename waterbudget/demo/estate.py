"""The demo farm put together in memory from its own files' rows, without the importers.

Used to work out what "really ran" (:mod:`waterbudget.demo.watering`) with the program's own
balance.  The farm file itself is built by :func:`waterbudget.demo.build` through the actions.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterator
from typing import Any

from waterbudget.demo import maps, place, planting
from waterbudget.demo.weather import Weather, forecast_csv, station_csv
from waterbudget.orchard import BLOCK_KEYS, FARM_KEYS, Block, Cycle, Orchard, Station, read_value
from waterbudget.records import FarmData, ForecastDay
from waterbudget.weather import DailyRecord, Day

_COLUMNS = {
    "tmax_c": "tmax_C", "tmin_c": "tmin_C", "rh_max": "rh_max_pct", "rh_min": "rh_min_pct",
    "u2_m_s": "wind_m_s_2m", "rs_mj": "solar_MJ_m2", "rain_mm": "rain_mm",
}  # fmt: skip


def unwatered(weather: Weather) -> FarmData:
    """Return the farm with everything but what ran."""
    record = DailyRecord.from_days(_days(station_csv(weather)))
    assert record is not None
    forecast = tuple(ForecastDay(place.DEMO_DATE, day) for day in _days(forecast_csv(weather)))
    station = Station(
        name=place.STATION_NAME, id=1, lat=place.STATION_LAT, lon=place.STATION_LON,
        elevation_m=place.STATION_ELEVATION,
    )  # fmt: skip
    settings = {key: read_value(FARM_KEYS[key], text) for key, text in place.FARM_SETTINGS.items()}
    orchard = Orchard(
        name=place.FARM_NAME, lat=place.LAT, lon=place.LON, epsg=place.EPSG, invented=True,
        elevation_m=place.STATION_ELEVATION, stations=(station,),
        blocks=tuple(_block(i, row) for i, row in enumerate(planting.rows(), 1)), **settings,
    )  # fmt: skip
    return FarmData(
        orchard=orchard,
        records={place.STATION_NAME: record},
        forecasts={place.STATION_NAME: forecast},
    )


def _days(text: str) -> Iterator[Day]:
    for row in csv.DictReader(text.splitlines()):
        values = {name: float(row[column]) for name, column in _COLUMNS.items() if row[column]}
        yield Day(dt.date.fromisoformat(row["date"]), values)


def _block(number: int, row: dict[str, str]) -> Block:
    name = row["name"]
    values: dict[str, Any] = {
        key: read_value(BLOCK_KEYS[key], text)
        for key, text in row.items()
        if key != "name" and text
    }
    cycles = [Cycle(day) for day in values.pop("pruned_earlier", ())]
    dates = {
        key: values.pop(key) for key, spec in BLOCK_KEYS.items()
        if spec.place == "cycle" and key in values
    }  # fmt: skip
    if dates:
        cycles.append(Cycle(**dates))
    return Block(
        name=name, id=number, outline=maps.utm()[name], outline_ha=planting.hectares()[name],
        cycles=tuple(cycles), **values,
    )  # fmt: skip
