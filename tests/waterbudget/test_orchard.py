"""The orchard's data and its keys: what is typed, what is refused, what comes back."""

import dataclasses
import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import tables
from waterbudget.errors import Refused
from waterbudget.orchard import (
    ALL_STAGES,
    BLOCK_KEYS,
    FARM_KEYS,
    SOILS,
    STAGE_NUMBERS,
    SYSTEMS,
    WEEKDAYS,
    Block,
    Cycle,
    Key,
    Orchard,
    Station,
    fold,
    read_value,
    write_value,
)

D = dt.date(2026, 3, 2)
EVERY_KEY = {**BLOCK_KEYS, **FARM_KEYS}


def refused(code, what, *args, **fields):
    with pytest.raises(Refused) as caught:
        what(*args, **fields)
    assert caught.value.code == code
    return caught.value.fields


def value_of(key):
    if key.kind == "number":
        return st.floats(key.low, key.high, allow_nan=False)
    if key.kind == "whole":
        return st.integers(int(key.low), int(key.high))
    one_date = st.dates(dt.date(1990, 1, 1), dt.date(2100, 1, 1))
    return {
        "date": one_date,
        "dates": st.lists(one_date, min_size=1, max_size=4).map(lambda d: tuple(sorted(d))),
        "time": st.times().map(lambda t: t.replace(second=0, microsecond=0)),
        "choice": st.sampled_from(key.choices or ("?",)),
        "text": st.text(st.characters(whitelist_categories=("L", "N")), min_size=1, max_size=9),
        "yesno": st.booleans(),
        "weekdays": st.sets(st.sampled_from(WEEKDAYS), min_size=1, max_size=6).map(
            lambda days: tuple(d for d in WEEKDAYS if d in days)
        ),
    }[key.kind]


@given(st.sampled_from(sorted(EVERY_KEY)).map(EVERY_KEY.get).flatmap(
    lambda key: st.tuples(st.just(key), value_of(key))
))  # fmt: skip
def test_what_is_written_is_read_back(case):
    key, value = case
    assert read_value(key, write_value(key, value)) == value


@pytest.mark.parametrize("name", sorted(EVERY_KEY))
def test_nothing_typed_means_not_said(name):
    assert read_value(EVERY_KEY[name], "  ") is None
    assert write_value(EVERY_KEY[name], None) == ""


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("area_ha", "1,2", "key.bad_number"), ("area_ha", "nan", "key.bad_number"),
        ("area_ha", "inf", "key.bad_number"), ("area_ha", "0", "key.out_of_bounds"),
        ("stones", "0.95", "key.out_of_bounds"), ("trees", "3.5", "key.bad_whole"),
        ("pruned_on", "02/03/2026", "key.bad_date"), ("pruned_on", "2026-02-30", "key.bad_date"),
        ("pruned_on", "20260302", "key.bad_date"), ("work_from", "25:00", "key.bad_time"),
        ("work_from", "6", "key.bad_time"), ("night_sets", "maybe", "key.bad_yesno"),
        ("soil", "mud", "key.bad_choice"), ("days_off", "someday", "key.bad_choice"),
        ("pruned_earlier", "2025-01-01;soon", "key.bad_date"),
        ("kcb_fill", "1.5", "key.out_of_bounds"), ("forecast_rain_credit", "1.1",
                                                   "key.out_of_bounds"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(name, text, code):
    fields = refused(code, read_value, EVERY_KEY[name], text)
    assert fields["key"] == name
    wrong = "soon" if ";" in text else text
    assert fields["value"] in (wrong, wrong.strip())


def test_ways_of_typing():
    assert read_value(BLOCK_KEYS["soil"], "Sandy Loam") == "sandy-loam"
    assert read_value(BLOCK_KEYS["soil"], "sandy_loam") == "sandy-loam"
    assert read_value(FARM_KEYS["days_off"], "Sunday, sat") == ("sat", "sun")
    assert read_value(FARM_KEYS["days_off"], "none") == ()
    assert read_value(FARM_KEYS["night_sets"], "ON") is True
    assert read_value(BLOCK_KEYS["note"], "  two   words ") == "two words"
    assert read_value(BLOCK_KEYS["pruned_earlier"], "2025-05-01 2024-05-01") == (
        dt.date(2024, 5, 1), dt.date(2025, 5, 1),
    )  # fmt: skip


def test_every_key_of_a_dataclass_has_its_field():
    blocks = {f.name for f in dataclasses.fields(Block)}
    cycles = {f.name for f in dataclasses.fields(Cycle)} | {"pruned_earlier"}
    orchards = {f.name for f in dataclasses.fields(Orchard)}
    for name, key in BLOCK_KEYS.items():
        assert name in {"field": blocks, "cycle": cycles, "stage": {name}}[key.place], name
    for name, key in FARM_KEYS.items():
        assert key.place == "stage" or name in orchards, name
    stage_keys = {f"{what}_{stage}" for what in STAGE_NUMBERS for stage in ALL_STAGES}
    for keys in (BLOCK_KEYS, FARM_KEYS):
        assert {n for n, k in keys.items() if k.place == "stage"} == stage_keys


def test_the_choices_have_their_rows_in_the_tables():
    assert [r["soil"] for r in tables.read("soils")] == list(SOILS)
    assert [r["system"] for r in tables.read("systems")] == list(SYSTEMS)
    assert [r["stage"] for r in tables.read("stages")] == list(ALL_STAGES)


def test_every_refusal_here_has_its_sentence():
    texts = tables.sentences()
    for code in ("key.bad_number", "key.out_of_bounds", "key.bad_whole", "key.bad_date",
                 "key.bad_time", "key.bad_yesno", "key.bad_choice", "cycle.out_of_order",
                 "block.wilting_above_capacity", "block.rew_above_tew", "block.set_hours",
                 "block.pruned_before_planted", "farm.work_hours", "farm.no_working_day",
                 "block.unknown", "station.none", "station.which", "station.unknown"):  # fmt: skip
        assert code in texts, code


@pytest.mark.parametrize(
    ("code", "fields"),
    [
        ("block.wilting_above_capacity", {"field_capacity": 0.2, "wilting_point": 0.2}),
        ("block.rew_above_tew", {"tew_mm": 9.0, "rew_mm": 9.0}),
        ("block.set_hours", {"set_hours_min": 3.0, "set_hours_max": 2.0}),
        ("block.pruned_before_planted", {"planted_on": D, "cycles": (Cycle(D - dt.timedelta(1)),)}),
    ],
)
def test_a_block_that_contradicts_itself_is_refused(code, fields):
    assert refused(code, Block, name="Gully", **fields)["block"] == "Gully"


def test_dates_of_a_cycle_follow_each_other():
    later = [D + dt.timedelta(days=10 * i) for i in range(1, 6)]
    Cycle(D, *later)
    Cycle(D, None, later[1], None, later[3])
    fields = refused("cycle.out_of_order", Cycle, D, seen_set=later[3], seen_fill=later[1])
    assert (fields["key"], fields["other_key"]) == ("seen_fill", "seen_set")
    assert refused("cycle.out_of_order", Cycle, D, seen_bloom=D)["other_key"] == "pruned_on"


def test_the_outline_beats_the_typed_hectares():
    assert Block(name="x", area_ha=2.0).hectares == 2.0
    assert Block(name="x", area_ha=2.0, outline_ha=1.5).hectares == 1.5
    assert Block(name="x").hectares is None


def test_the_cycle_of_a_day():
    first, second = Cycle(D), Cycle(D + dt.timedelta(days=200))
    block = Block(name="x", cycles=(second, first))
    assert block.cycle_on(D - dt.timedelta(days=1)) is None
    assert block.cycle_on(D) is first
    assert block.cycle_on(D + dt.timedelta(days=199)) is first
    assert block.cycle_on(D + dt.timedelta(days=200)) is second


def an_orchard(**changed):
    return Orchard(**{"name": "x", "lat": 0.0, "lon": 0.0, "epsg": 32736} | changed)


def test_an_orchard_that_cannot_work_is_refused():
    refused("farm.work_hours", an_orchard, work_from=dt.time(18), work_to=dt.time(6))
    refused("farm.no_working_day", an_orchard, days_off=WEEKDAYS)
    refused("key.out_of_bounds", an_orchard, forecast_rain_credit=1.2)


def test_names_are_found_however_they_are_typed():
    here = an_orchard(blocks=(Block(name="Top  Ridge"),), stations=(Station(name="Gate"),))
    assert here.block("  top ridge ").name == "Top  Ridge"
    assert here.station("GATE").name == "Gate"
    assert fold("  Straße\t7 ") == fold("STRASSE 7")
    assert refused("block.unknown", here.block, "Ridge")["known"] == "Top  Ridge"
    assert refused("station.unknown", here.station, "Hill")["known"] == "Gate"


def test_which_station_is_meant():
    one, two = Station(name="Gate"), Station(name="Hill")
    assert an_orchard(stations=(one,)).station() is one
    assert an_orchard(stations=(one, two), default_station="hill").station() is two
    refused("station.none", an_orchard().station)
    assert (
        refused("station.which", an_orchard(stations=(one, two)).station)["known"] == "Gate, Hill"
    )


def test_a_key_knows_its_unit_and_bounds():
    assert BLOCK_KEYS["flow_m3_h"] == Key("flow_m3_h", "number", 0.01, 2000, unit="m3/h")
    for key in EVERY_KEY.values():
        if key.kind in ("number", "whole"):
            assert key.low is not None and key.high is not None and key.low < key.high, key.name
        if key.kind == "choice":
            assert key.choices, key.name
