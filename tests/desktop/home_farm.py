"""A week with something of everything, in memory, for the tests of the home page."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

from small_farm import NOW, small_farm

from waterbudget import season
from waterbudget.records import FarmData, GivenSet, GivenWeek, Pin, Ran
from waterbudget.season import Season
from waterbudget.store import FarmFile

ON = NOW.date()
KILN, RIDGE, GULLY, GATE = 1, 2, 3, 4


def day(offset: int) -> dt.date:
    """Return a day counted from the Monday looked at."""
    return ON + dt.timedelta(days=offset)


def farm_data(folder: Path) -> FarmData:
    """Return the small farm with waterings that ran, were missed, and were not confirmed."""
    path = small_farm(folder / "home.gpkg")
    with FarmFile.open(path) as farm:
        data = farm.read()
    ran = (Ran(KILN, day(-3), hours=4.0, id=1), Ran(KILN, day(-2), hours=0.0, id=2),
           Ran(RIDGE, day(-1), m3=54.0, id=3), Ran(KILN, day(-9), hours=6.0, id=4))  # fmt: skip
    sets = (GivenSet(KILN, day(-2), dt.time(6), 3.0, 12.0, 108.0),
            GivenSet(RIDGE, day(-3), dt.time(6), 2.5, 9.0, 90.0))  # fmt: skip
    week = GivenWeek(1, day(-7), dt.datetime.combine(day(-7), dt.time(7)), sets)
    return replace(data, ran=ran, given=(week,))


def with_pins(data: FarmData, *pins: Pin) -> FarmData:
    """Return the farm with these pins."""
    return replace(data, pins=pins)


def run(data: FarmData, on: dt.date = ON) -> Season:
    """Run the season."""
    return season.run(data, on)


def hand_out(data: FarmData, made: Season, number: int = 2) -> FarmData:
    """Return the farm with the week of a season handed out."""
    sets = tuple(
        GivenSet(b.block.id, made.on + dt.timedelta(days=s.day), s.start or dt.time(6), s.hours,
                 s.mm, s.m3)
        for b in made.blocks for s in b.plan.sets if s.hours is not None
    )  # fmt: skip
    week = GivenWeek(number, made.on, dt.datetime.combine(made.on, dt.time(6, 55)), sets)
    return replace(data, given=(*data.given, week))
