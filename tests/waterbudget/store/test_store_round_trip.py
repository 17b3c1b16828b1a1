"""What is written is what is read, whatever it is."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon
from store_samples import EPSG, NOW, plain, square

from waterbudget.orchard import (
    BLOCK_KEYS,
    FARM_KEYS,
    STAGES,
    WEEKDAYS,
    Block,
    Cycle,
    Key,
    Orchard,
    Station,
    fold,
)
from waterbudget.records import (
    FARM_GAUGE,
    READING_KINDS,
    ForecastDay,
    GivenSet,
    GivenWeek,
    Pin,
    Ran,
    Reading,
)
from waterbudget.store import FarmFile
from waterbudget.weather import COLUMNS, DailyRecord, Day

DATES = st.dates(dt.date(2015, 1, 1), dt.date(2030, 12, 31))
TEXTS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12
).filter(lambda text: fold(text) != "")
NUMBERS = st.floats(-1e6, 1e6)


def values_of(key: Key) -> st.SearchStrategy[Any]:
    if key.name in ("feed_days", "spray_days"):
        days = st.lists(st.integers(1, 300), unique=True, max_size=4)
        return days.map(lambda found: ", ".join(map(str, sorted(found))) or "none")
    if key.name == "stage_order":
        return st.permutations(STAGES).map(lambda found: ", ".join(found[:3]))
    if key.kind == "number":
        return st.floats(key.low, key.high)
    if key.kind == "whole":
        return st.integers(int(key.low or 0), int(key.high or 9))
    if key.kind == "date":
        return DATES
    if key.kind == "choice":
        return st.sampled_from(key.choices)
    if key.kind == "yesno":
        return st.booleans()
    if key.kind == "weekdays":
        return st.lists(st.sampled_from(WEEKDAYS), unique=True, max_size=6).map(tuple)
    return TEXTS


def stage_numbers(keys: dict[str, Key]) -> st.SearchStrategy[dict[str, float]]:
    named = {name: values_of(key) for name, key in keys.items() if key.place == "stage"}
    return st.fixed_dictionaries({}, optional=named)


@st.composite
def cycles(draw: st.DrawFn) -> tuple[Cycle, ...]:
    found = []
    for pruned in sorted(draw(st.lists(DATES, unique=True, max_size=3))):
        gaps = draw(st.lists(st.none() | st.integers(1, 60), min_size=5, max_size=5))
        date, seen = pruned, []
        for gap in gaps:
            date += dt.timedelta(gap or 0)
            seen.append(None if gap is None else date)
        found.append(Cycle(pruned, *seen))
    return tuple(found)


@st.composite
def outlines(draw: st.DrawFn) -> Polygon | MultiPolygon | None:
    kind = draw(st.sampled_from(("none", "plain", "hole", "two parts")))
    x, y = draw(st.floats(3e5, 7e5)), draw(st.floats(7e6, 9e6))
    side = draw(st.floats(10, 500))
    if kind == "none":
        return None
    shell = square(x, y, side)
    if kind == "hole":
        return Polygon(shell.exterior, [square(x + side / 4, y + side / 4, side / 4).exterior])
    if kind == "two parts":
        return MultiPolygon([shell, square(x + 2 * side, y, side)])
    return shell


@st.composite
def blocks(draw: st.DrawFn, number: int, name: str) -> Block:
    fields: dict[str, Any] = {
        key: draw(st.none() | values_of(BLOCK_KEYS[key]))
        for key in BLOCK_KEYS
        if BLOCK_KEYS[key].place == "field"
    }
    catches = draw(st.none() | st.lists(st.integers(1, 900), min_size=4, max_size=9))
    fields["catch_ml"] = None if catches is None else " ".join(map(str, catches))
    if (fields["sand_pct"] or 0) + (fields["clay_pct"] or 0) > 100:
        fields["sand_pct"] = None
    for low, high in (("wilting_point", "field_capacity"), ("rew_mm", "tew_mm"),
                      ("set_hours_min", "set_hours_max")):  # fmt: skip
        a, b = fields[low], fields[high]
        if a is not None and b is not None and a >= b:
            fields[high] = None
    pruned = draw(cycles())
    if pruned and fields["planted_on"] and fields["planted_on"] > pruned[0].pruned_on:
        fields["planted_on"] = None
    return Block(
        name=name, id=number, cycles=pruned, outline=draw(outlines()),
        stage_numbers=draw(stage_numbers(BLOCK_KEYS)), **fields,
    )  # fmt: skip


@st.composite
def orchards(draw: st.DrawFn) -> Orchard:
    names = draw(st.lists(TEXTS, unique_by=fold, max_size=4))
    stations = draw(st.lists(TEXTS, unique_by=fold, max_size=3))
    fields = {
        name: value
        for name, key in FARM_KEYS.items()
        if key.place == "field" and key.kind != "time"
        and (value := draw(st.none() | values_of(key))) is not None
    }  # fmt: skip
    fields |= {"name": draw(TEXTS), "stage_numbers": draw(stage_numbers(FARM_KEYS))}
    for low, high in (("pump_out_from", "pump_out_to"), ("tank_now_m3", "tank_m3")):
        if low in fields and high in fields and fields[low] > fields[high]:
            del fields[low]
    return Orchard(
        lat=draw(st.floats(-80, 84)), lon=draw(st.floats(-180, 180)), epsg=EPSG,
        invented=draw(st.booleans()), work_from=draw(st.times(max_value=dt.time(5))),
        work_to=draw(st.times(min_value=dt.time(6))),
        blocks=tuple(draw(blocks(i, name)) for i, name in enumerate(names, 1)),
        stations=tuple(
            Station(name=name, id=i, lat=draw(st.none() | NUMBERS), lon=draw(st.none() | NUMBERS),
                    elevation_m=draw(st.none() | NUMBERS),
                    wind_height_m=draw(st.none() | st.floats(0.5, 20)))
            for i, name in enumerate(stations, 1)
        ),
        gauges=tuple(draw(st.lists(TEXTS.filter(lambda g: fold(g) != FARM_GAUGE),
                                   unique_by=fold, max_size=2))),
        **fields,
    )  # fmt: skip


@st.composite
def days(draw: st.DrawFn, first: dt.date) -> list[Day]:
    offsets = draw(st.lists(st.integers(0, 30), unique=True, max_size=8))
    return [
        Day(first + dt.timedelta(offset),
            draw(st.dictionaries(st.sampled_from(COLUMNS), NUMBERS | st.just(float("nan")))),
            tuple(draw(st.lists(TEXTS, max_size=2))))
        for offset in offsets
    ]  # fmt: skip


@st.composite
def rows(draw: st.DrawFn, orchard: Orchard) -> dict[str, Any]:
    """Everything a farm holds besides the orchard, in the order a snapshot has it."""
    ids = [b.id for b in orchard.blocks]
    cells = draw(st.lists(st.tuples(st.sampled_from(ids), DATES), unique=True, max_size=6)
                 if ids else st.just([]))  # fmt: skip
    hours = st.floats(0, 24)
    weeks = []
    for number in sorted(draw(st.lists(st.integers(1, 500), unique=True, max_size=3))):
        sets = [
            GivenSet(i, d, draw(st.times()), draw(hours), draw(hours), draw(st.none() | hours))
            for i, d in cells
        ]
        until = draw(st.none() | DATES)
        weeks.append(GivenWeek(number, draw(DATES), draw(st.datetimes()), tuple(sets), until))
    gauges = (*orchard.gauges, FARM_GAUGE)
    return {
        "days": {s.name: draw(days(draw(DATES))) for s in orchard.stations},
        "forecasts": {
            s.name: [
                ForecastDay(issued, day)
                for issued in sorted(draw(st.lists(DATES, unique=True, max_size=2)))
                for day in sorted(draw(days(issued)), key=lambda day: day.date)
            ]
            for s in orchard.stations
        },
        "rain": draw(st.dictionaries(
            st.sampled_from(gauges), st.dictionaries(DATES, hours, min_size=1, max_size=4))),
        "ran": [
            Ran(i, d, draw(st.none() | hours), draw(st.none() | hours))
            for i, d in sorted(cells) for _ in range(draw(st.integers(0, 2)))
        ],
        "given": weeks,
        "pins": [Pin(i, d, draw(hours), draw(st.none() | st.times())) for i, d in sorted(cells)],
        "readings": [
            Reading(i, d, draw(st.sampled_from(READING_KINDS)), draw(hours),
                    draw(st.none() | hours), draw(st.none() | TEXTS), draw(st.booleans()))
            for i, d in sorted(cells) for _ in range(draw(st.integers(0, 2)))
        ],
    }  # fmt: skip


def store(farm: FarmFile, orchard: Orchard, wanted: dict[str, Any]) -> None:
    with farm.transaction("stored", now=NOW):
        for station in orchard.stations:
            farm.add_days(station.id, wanted["days"][station.name], import_id=None)
            found = wanted["forecasts"][station.name]
            for issued, group in itertools.groupby(found, key=lambda f: f.issued):
                farm.add_forecast(station.id, issued, [f.day for f in group])
        for gauge, by_date in wanted["rain"].items():
            for date, mm in by_date.items():
                farm.type_rain(gauge, date, mm, NOW)
        by_cell = itertools.groupby(wanted["ran"], key=lambda r: (r.block_id, r.date))
        for (block, date), group in by_cell:
            farm.set_ran(block, date, list(group))
        for week in wanted["given"]:
            assert farm.add_given_week(week) == week.number
        for pin in wanted["pins"]:
            farm.set_pin(pin)
        by_cell = itertools.groupby(wanted["readings"], key=lambda r: (r.block_id, r.date))
        for (block, date), group in by_cell:
            farm.set_readings(block, date, list(group))


def known(day: Day) -> dict[str, float]:
    return {name: value for name, value in day.values.items() if value == value}


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_a_random_farm_reads_back_equal(data: st.DataObject) -> None:
    orchard = data.draw(orchards())
    wanted = data.draw(rows(orchard))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "farm.gpkg"
        with FarmFile.create(path, orchard, now=NOW) as farm:
            store(farm, orchard, wanted)
        with FarmFile.open(path, read_only=True) as farm:
            assert farm.check() == [] or names_unknown_station(orchard)
            got = plain(farm.read())

    farm_fields = got.pop("farm")
    for block, there in zip(farm_fields.pop("blocks"), orchard.blocks, strict=True):
        assert dataclasses.replace(block, outline_ha=None) == there
        assert (block.outline_ha is None) == (there.outline is None)
    assert farm_fields == {
        f.name: getattr(orchard, f.name) for f in dataclasses.fields(orchard) if f.name != "blocks"
    }
    assert got == {
        "records": {
            name: (record.first, dict(record.flags),
                   {c: [None if v != v else v for v in record.values[c]] for c in COLUMNS})
            for name, list_of_days in wanted["days"].items()
            if (record := DailyRecord.from_days(list_of_days)) is not None
        },
        "forecasts": {
            name: [(f.issued, f.day.date, known(f.day), f.day.flags) for f in found]
            for name, found in wanted["forecasts"].items() if found
        },
        "rain": wanted["rain"], "ran": wanted["ran"], "given": wanted["given"],
        "pins": wanted["pins"], "readings": wanted["readings"],
    }  # fmt: skip


def names_unknown_station(orchard: Orchard) -> bool:
    known = {fold(s.name) for s in orchard.stations}
    return any(b.station is not None and fold(b.station) not in known for b in orchard.blocks)


def test_outlines_come_back_as_drawn_with_their_area(path: Path) -> None:
    hole = Polygon(square().exterior, [square(500_010, 7_800_010, 20).exterior])
    tall = Polygon([(x, y, 900.0) for x, y in square(500_500).exterior.coords])
    drawn = (
        Block(name="plain", outline=square()),
        Block(name="one part", outline=MultiPolygon([square()])),
        Block(name="hole", outline=hole),
        Block(name="with heights", outline=tall),
    )
    with FarmFile.create(path, Orchard(name="x", lat=-19.9, lon=33, epsg=EPSG, blocks=drawn),
                         now=NOW) as farm:  # fmt: skip
        got = {b.name: b for b in farm.read().orchard.blocks}
    assert got["one part"].outline == square()
    assert got["hole"].outline == hole
    assert got["with heights"].outline == square(500_500)
    # on the central meridian a UTM metre is 0.9996 m, so 10,000 square metres are 1.0008 ha
    assert got["plain"].outline_ha == pytest.approx(1 / 0.9996**2, rel=2e-6)
    assert got["hole"].outline_ha == pytest.approx(0.96 / 0.9996**2, rel=2e-6)
