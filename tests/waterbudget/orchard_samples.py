"""Small farms for the tests of the chain from cycle to sheet: nothing here computes anything."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.records import FarmData, ForecastDay, GivenSet, GivenWeek, Ran
from waterbudget.season import Season
from waterbudget.weather import COLUMNS, DailyRecord, Day

MONDAY = dt.date(2026, 3, 2)
FIRST = dt.date(2025, 9, 1)
GIVEN_AT = dt.datetime(2026, 3, 2, 6, 30)


def day(days: int, start: dt.date = MONDAY) -> dt.date:
    return start + dt.timedelta(days=days)


def record(
    first: dt.date = FIRST, last: dt.date = MONDAY - dt.timedelta(days=1), *,
    et0: float | Sequence[float] | None = 4.5, tmax: float = 30.0, tmin: float = 18.0,
    rain: Mapping[dt.date, float] | None = None, without: Sequence[dt.date] = (),
) -> DailyRecord:  # fmt: skip
    """A record of like days that bring their own ET0; ``without`` days were not recorded."""
    n = (last - first).days + 1
    values = {name: np.full(n, np.nan) for name in COLUMNS}
    values["tmax_c"][:], values["tmin_c"][:], values["rain_mm"][:] = tmax, tmin, 0.0
    if et0 is not None:
        values["et0_given_mm"][:] = et0
    for date, mm in (rain or {}).items():
        values["rain_mm"][(date - first).days] = mm
    for date in without:
        for name in COLUMNS:
            values[name][(date - first).days] = np.nan
    return DailyRecord(first, values)


def forecast(
    issued: dt.date, days: int = 7, *, et0: float = 4.5, rain: Mapping[int, float] | None = None
) -> tuple[ForecastDay, ...]:
    rain = rain or {}
    return tuple(
        ForecastDay(issued, Day(day(i, issued), {"et0_given_mm": et0, "rain_mm": rain.get(i, 0.0)}))
        for i in range(days)
    )


def pruned(days_ago: int, on: dt.date = MONDAY, **seen: dt.date) -> tuple[Cycle, ...]:
    return (Cycle(on - dt.timedelta(days=days_ago), **seen),)


def block(name: str = "Ridge", number: int = 1, **changed: Any) -> Block:
    """A watered, measured block in fruit fill on ``MONDAY`` (at the even 24 degC)."""
    fields: dict[str, Any] = {
        "area_ha": 1.0, "cycles": pruned(160), "planted_on": dt.date(2018, 1, 1),
        "system": "drip", "soil": "sandy-loam", "flow_m3_h": 20.0, "trees": 500,
        "stage_numbers": {},
    } | changed  # fmt: skip
    return Block(name=name, id=number, **fields)


def farm(*blocks: Block, **changed: Any) -> FarmData:
    """A farm with one station; keys of Orchard and of FarmData may be changed alike."""
    orchard: dict[str, Any] = {
        "name": "Invented farm", "lat": -19.9, "lon": 32.7, "epsg": 32736, "elevation_m": 900.0,
        "et0": "given", "stations": (Station(name="Gate", id=1, elevation_m=900.0),),
    }  # fmt: skip
    data: dict[str, Any] = {"records": {"Gate": record()}}
    for key, value in changed.items():
        (data if key in FarmData.__dataclass_fields__ else orchard)[key] = value
    return FarmData(orchard=Orchard(**orchard, blocks=blocks), **data)


def change(data: FarmData, name: str, **changed: Any) -> FarmData:
    """The same farm with one block changed."""
    blocks = tuple(replace(b, **changed) if b.name == name else b for b in data.orchard.blocks)
    return replace(data, orchard=replace(data.orchard, blocks=blocks))


def change_orchard(data: FarmData, **changed: Any) -> FarmData:
    return replace(data, orchard=replace(data.orchard, **changed))


def ran(number: int, date: dt.date, hours: float | None = None, m3: float | None = None) -> Ran:
    return Ran(number, date, hours, m3)


def handed_out(season: Season, number: int = 1, given_at: dt.datetime | None = None) -> GivenWeek:
    """The week of a season as it would be stored when it is handed out."""
    sets = tuple(
        GivenSet(b.block.id, day(s.day, season.on), s.start or dt.time(0), s.hours or 0.0, s.mm,
                 s.m3)
        for b in season.blocks
        for s in b.plan.sets
        if s.hours is not None
    )  # fmt: skip
    at = given_at or dt.datetime.combine(season.on, dt.time(6, 30))
    return GivenWeek(number, season.on, at, sets)


def dr_morning(season: Season, name: str) -> float:
    """Depletion of a block in the morning looked at [mm]."""
    return float(season.account.dr_start_mm[season.on_index, season.block(name).column])


def net_week(season: Season, name: str) -> float:
    """Water at the roots in the planned week [mm]."""
    return float(season.drivers.irrigation_mm[season.on_index :, season.block(name).column].sum())


def by_day(season: Season, name: str, of: Callable[[Any], Any]) -> dict[dt.date, Any]:
    return {day(s.day, season.on): of(s) for s in season.block(name).plan.sets}
