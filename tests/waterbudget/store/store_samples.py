"""Farms for the tests of the store, and how two snapshots are compared."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
from typing import Any

import numpy as np
from shapely.geometry import Polygon

from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.records import FarmData, GivenSet, GivenWeek, Pin, Ran, Reading
from waterbudget.store import FarmFile
from waterbudget.tables import sentences
from waterbudget.weather import COLUMNS, Day

NOW = dt.datetime(2026, 3, 2, 7, 30)
D = dt.date(2026, 3, 1)
EPSG = 32736


def square(x: float = 500_000.0, y: float = 7_800_000.0, side: float = 100.0) -> Polygon:
    return Polygon([(x, y), (x + side, y), (x + side, y + side), (x, y + side)])


def orchard(*blocks: Block, **changed: Any) -> Orchard:
    fields: dict[str, Any] = {"name": "Invented farm", "lat": -19.9, "lon": 32.7, "epsg": EPSG}
    fields |= {"stations": (Station(name="Ridge"),)} | changed
    return Orchard(**fields, blocks=blocks)


def three_blocks() -> Orchard:
    return orchard(
        Block(name="North", outline=square(), system="drip", trees=625,
              cycles=(Cycle(dt.date(2025, 9, 1), seen_bloom=dt.date(2025, 10, 20)),)),
        Block(name="Ñandú 2", outline=square(500_300), soil="clay-loam", station="Ridge"),
        Block(name="Low", area_ha=1.2, kc_fixed=0.85, stage_numbers={"kcb_fill": 0.8}),
    )  # fmt: skip


def day(date: dt.date, **values: float) -> Day:
    return Day(date, values)


def week(number: int, *block_ids: int, first: dt.date = D) -> GivenWeek:
    sets = tuple(GivenSet(i, first, dt.time(6, 15), 3.25, 9.5, 40.5) for i in block_ids)
    return GivenWeek(number, first, NOW, sets)


def fill(farm: FarmFile) -> None:
    """Put a little of everything into a farm of three blocks."""
    with farm.transaction("filled", now=NOW):
        data = b"date;rain\n2026-02-27;3\n"
        number = farm.add_import("weather", "ridge.csv", data, hashlib.sha256(data).hexdigest(),
                                 {"decimal": ","}, "layout-1", NOW)  # fmt: skip
        days = [day(D - dt.timedelta(n), tmax_c=30.0 + n, rain_mm=float(n)) for n in range(1, 6)]
        farm.add_days(1, days, import_id=number)
        farm.add_flags(number, 1, [(D - dt.timedelta(1), "rain_high", "rain_mm", "300", None)])
        farm.add_forecast(1, D, [day(D + dt.timedelta(1), et0_given_mm=4.5)], import_id=number)
        farm.type_rain(None, D, 4.0, NOW)
        farm.set_ran(1, D, [Ran(1, D, hours=2.0), Ran(1, D, m3=11.5)])
        farm.set_ran(2, D, [Ran(2, D, hours=0.0)])
        farm.add_given_week(week(0, 1, 2))
        farm.set_pin(Pin(2, D, 1.5, dt.time(7)))
        farm.set_readings(1, D, [Reading(1, D, "tensiometer", 28.5, 25.0, "T1", True)])


def plain(data: FarmData) -> dict[str, Any]:
    """Return a snapshot as plain values that ``==`` compares (NaN as None; row ids left out)."""
    orchard = dataclasses.replace(data.orchard)
    return {
        "farm": {f.name: getattr(orchard, f.name) for f in dataclasses.fields(orchard)},
        "records": {
            name: (record.first, dict(record.flags),
                   {c: [None if np.isnan(v) else float(v) for v in record.values[c]]
                    for c in COLUMNS})
            for name, record in data.records.items()
        },
        "forecasts": {
            name: [(f.issued, f.day.date, dict(f.day.values), f.day.flags) for f in days]
            for name, days in data.forecasts.items()
        },
        "rain": {gauge: dict(days) for gauge, days in data.rain_typed.items()},
        "ran": [dataclasses.replace(r, id=0) for r in data.ran],
        "given": list(data.given),
        "pins": list(data.pins),
        "readings": [dataclasses.replace(r, id=0) for r in data.readings],
    }  # fmt: skip


def said(error: WaterBudgetError) -> str:
    """Return the sentence of an error, filled in; fails where it has none."""
    text = sentences()[error.code].format(**error.fields)
    assert text.endswith("."), text
    return text
