"""A farm of five blocks, ten years of weather, and what really came in a month, for its story.

Place, names and weather are invented.  The month is September 2025, Monday 1 to Sunday 28.
"""

from __future__ import annotations

import datetime as dt
import math
import random
from pathlib import Path

from shapely.geometry import box

from waterbudget.orchard import Block, Cycle, Orchard, Pump, Station
from waterbudget.store import FarmFile
from waterbudget.weather import Day

FIRST = dt.date(2025, 9, 1)
"""The Monday the month begins on."""
DAYS = 28
YEARS = 10
RAIN = {dt.date(2025, 9, 3): 18.0, dt.date(2025, 9, 25): 7.0}
"""What fell in the month [mm]."""
FAST = {"Kettle": 0.99, "Long row": 0.86, "Steps": 1.01, "New cut": 1.0, "Old hut": 0.98}
"""What a block's meter measures of its planned flow; one has outlets that clog."""
DIAL = {"Kettle": 18940.0, "Long row": 7312.5, "Steps": 402.0, "New cut": 55.0, "Old hut": 9810.0}
"""What the meters showed on the eve of the month [m3]."""
LAT, LON, EPSG = -19.9, 32.7, 32736
EAST, NORTH = 468_600.0, 7_799_500.0


def weather_days(first: dt.date, last: dt.date) -> list[Day]:
    """Return invented days: cool and dry by the middle of the year, storms around its turn."""
    dice = random.Random(11)
    days, date = [], FIRST - dt.timedelta(days=366 * YEARS)
    while date <= last:
        swing = math.cos((date.timetuple().tm_yday - 15) / 365 * 2 * math.pi)  # 1 in January
        warm, wet, depth = dice.gauss(0, 1.5), dice.random(), dice.expovariate(1 / 11)
        rain = round(depth, 1) if wet < 0.16 + 0.16 * swing else 0.0
        if date >= FIRST:
            rain = RAIN.get(date, 0.0)
        values = {
            "tmax_c": round(27.0 + 2.5 * swing + warm - min(rain, 12) / 3, 1),
            "tmin_c": round(14.5 + 3.5 * swing + warm / 2, 1),
            "rh_max": 88.0, "rh_min": round(42.0 + 8 * swing - warm, 0), "u2_m_s": 2.0,
            "rs_mj": round(20.5 + 3.0 * swing - min(rain, 12) / 2, 1), "rain_mm": rain,
        }  # fmt: skip
        if date >= first:
            days.append(Day(date, values))
        date += dt.timedelta(days=1)
    return days


def station_file(path: Path, first: dt.date, last: dt.date) -> Path:
    """Write what the station measured from ``first`` to ``last``, as its logger does."""
    names = ("tmax_c", "tmin_c", "rh_max", "rh_min", "u2_m_s", "rs_mj", "rain_mm")
    lines = ["date," + ",".join(names)]
    for day in weather_days(first, last):
        lines.append(",".join([day.date.isoformat(), *(str(day.values[n]) for n in names)]))
    path.write_text("\n".join(lines) + "\n")
    return path


def blocks() -> tuple[Block, ...]:
    """Return two blocks in fruit fill, one at fruit set, one just pruned, one at rest."""
    plain = {
        "outlets_per_tree": 1.0, "pattern": "square", "spacing_m": 4.0, "flow_from": "bucket",
        "soil": "sandy-loam", "gauge": "farm", "set_hours_min": 1.0,
        "full_on": dt.date(2025, 8, 29)
    }  # fmt: skip
    micro = {**plain, "system": "micro", "outlet_l_h": 50.0, "efficiency": 0.85,
             "wetted_fraction": 0.5}  # fmt: skip
    over = {**plain, "system": "overhead", "outlet_l_h": 60.0, "efficiency": 0.75}

    def at(column: int, row: int) -> object:
        x, y = EAST + 150 * column, NORTH - 120 * row
        return box(x, y, x + 130, y + 100)

    def pruned(*days: dt.date) -> tuple[Cycle, ...]:
        return tuple(Cycle(d) for d in days)

    return (
        Block(name="Kettle", outline=at(0, 0), cycles=pruned(dt.date(2025, 1, 28)), valve="1",
              flow_m3_h=40.0, valve_person="Rosa", **micro),
        Block(name="Long row", outline=at(1, 0), cycles=pruned(dt.date(2025, 2, 12)), valve="2",
              flow_m3_h=30.0, pump="River", valve_person="Rosa", **micro),
        Block(name="Steps", outline=at(0, 1), cycles=pruned(dt.date(2025, 4, 24)), valve="3",
              flow_m3_h=48.0, valve_person="Rosa", **{**over, "full_on": dt.date(2025, 8, 22)}),
        Block(name="New cut", outline=at(1, 1), cycles=pruned(dt.date(2025, 8, 30)), valve="4",
              flow_m3_h=42.0, pump="River", valve_person="Pio",
              **{**over, "full_on": dt.date(2025, 8, 21)}),
        Block(name="Old hut", outline=at(2, 1), cycles=pruned(dt.date(2024, 9, 14)), valve="5",
              flow_m3_h=40.0, valve_person="Pio", **micro),
    )  # fmt: skip


def month_farm(path: Path) -> Path:
    """Write the farm as it stands on the eve of the month."""
    eve = dt.datetime.combine(FIRST - dt.timedelta(days=1), dt.time(17))
    orchard = Orchard(
        name="Two creeks", lat=LAT, lon=LON, epsg=EPSG, elevation_m=1040.0, pump_m3_h=60.0,
        pump_hours=12.0, pump_head_m=45.0, time_zone="Africa/Harare", people=2, people_hours=9.0,
        minutes_a_valve=10.0, days_off=("sun",), price_kwh=0.12, wage_hour=1.5, currency="coins",
        blocks=blocks(), stations=(Station(name="house", elevation_m=1040.0, wind_height_m=2.0),),
        pumps=(Pump(name="River", flow_m3_h=45.0, hours=12.0, head_m=38.0),),
    )  # fmt: skip
    with FarmFile.create(path, orchard, now=eve) as farm:
        station = farm.read().orchard.stations[0]
        first = FIRST - dt.timedelta(days=365 * YEARS)
        days = weather_days(first, FIRST - dt.timedelta(days=1))
        with farm.transaction("weather.imported", now=eve, file="house.csv", station="house",
                              added=len(days)) as open_farm:  # fmt: skip
            number = open_farm.add_import("record", "house.csv", b"date\n", now=eve)
            open_farm.add_days(station.id, days, import_id=number)
    return path
