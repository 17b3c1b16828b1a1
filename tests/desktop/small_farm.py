"""A farm of four blocks for the tests of the window."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

from shapely.geometry import box

from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.store import FarmFile
from waterbudget.weather import Day

NOW = dt.datetime(2025, 7, 14, 7, 2)
"""The clock of these tests: a Monday morning."""
LAT, LON, EPSG = -19.9, 32.7, 32736
EAST, NORTH = 468_600.0, 7_799_500.0


def weather_days(last: dt.date, count: int = 420) -> list[Day]:
    """Return plain days up to ``last``: warm and dry, a wet day every ninth."""
    days = []
    for i in range(count):
        date = last - dt.timedelta(days=count - 1 - i)
        swing = math.sin(i / 58)
        values = {
            "tmax_c": 27 + 4 * swing, "tmin_c": 14 + 3 * swing, "rh_max": 88.0,
            "rh_min": 40.0 - 8 * swing, "u2_m_s": 2.0, "rs_mj": 19 + 4 * swing,
            "rain_mm": 9.0 if i % 9 == 0 else 0.0,
        }  # fmt: skip
        days.append(Day(date, values))
    return days


def small_farm(path: Path, *, with_weather: bool = True, invented: bool = False) -> Path:
    """Write a farm of four blocks: fill, shoots, never pruned and without flow, hectares only."""
    watered = {
        "system": "micro", "outlet_l_h": 50.0, "outlets_per_tree": 1.0, "pattern": "square",
        "spacing_m": 4.0, "flow_m3_h": 36.0, "flow_from": "bucket", "efficiency": 0.85,
        "soil": "sandy-loam", "wetted_fraction": 0.6, "gauge": "farm",
    }  # fmt: skip
    blocks = (
        Block(name="Kiln", outline=box(EAST, NORTH, EAST + 120, NORTH + 90),
              cycles=(Cycle(dt.date(2025, 1, 20)),), valve="V1", **watered),
        Block(name="Upper ridge", outline=box(EAST + 140, NORTH, EAST + 240, NORTH + 110),
              cycles=(Cycle(dt.date(2025, 6, 2)),), valve="V2", **watered),
        Block(name="Gully", outline=box(EAST, NORTH - 130, EAST + 100, NORTH - 20)),
        Block(name="Far gate", area_ha=0.8, cycles=(Cycle(dt.date(2024, 11, 1)),),
              **{**watered, "flow_from": "catalogue", "soil": None}),
    )  # fmt: skip
    orchard = Orchard(
        name="Test hill", lat=LAT, lon=LON, epsg=EPSG, elevation_m=1040.0, pump_m3_h=80.0,
        pump_hours=10.0, time_zone="Africa/Harare", blocks=blocks, invented=invented,
        stations=(Station(name="house", elevation_m=1040.0, wind_height_m=2.0),),
    )  # fmt: skip
    with FarmFile.create(path, orchard, now=NOW) as farm:
        if with_weather:
            station = farm.read().orchard.stations[0]
            days = weather_days(NOW.date() - dt.timedelta(days=1))
            with farm.transaction("weather.imported", now=NOW, file="house.csv") as open_farm:
                number = open_farm.add_import("record", "house.csv", b"date\n", now=NOW)
                open_farm.add_days(station.id, days, import_id=number)
    return path
