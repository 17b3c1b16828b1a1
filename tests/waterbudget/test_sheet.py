"""The week and the other answers as rows: their columns, their sums, their sentences."""

import dataclasses
import datetime as dt
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard_samples import (
    MONDAY,
    block,
    change,
    day,
    farm,
    forecast,
    handed_out,
    pruned,
    record,
)

from waterbudget import english, season, sheet, tables
from waterbudget.errors import Note
from waterbudget.et0 import reference_et
from waterbudget.orchard import Station
from waterbudget.records import Pin, Ran

WEEK_COLUMNS = (
    "block", "stage", "days_from_pruning", "area_ha", "trees", "et0_mm", "kc", "etc_mm", "rain_mm",
    "rain_credited_mm", "net_mm", "gross_mm", "m3", "litres_per_tree", "hours", "hours_exact",
    "sets", "dr_start_mm", "dr_end_mm", "taw_mm", "allowed_mm", "drained_mm", "why", "flags",
)  # fmt: skip
SET_COLUMNS = ("date", "start", "hours", "mm", "m3", "pulses", "on_min", "off_min")
DRY_COLUMNS = (
    "block", "stage", "in_fill", "alarm", "dr_mm", "allowed_mm", "dry_days_so_far",
    "first_dry_day", "days_if_nothing_runs", "days_as_planned",
)  # fmt: skip
BALANCE_COLUMNS = (
    "date", "stage", "days_from_pruning", "et0_mm", "kcb", "ke", "ks", "etc_potential_mm", "etc_mm",
    "evaporation_mm", "transpiration_mm", "rain_mm", "irrigation_mm", "irrigation_gross_mm",
    "loss_mm", "runoff_mm", "drainage_mm", "correction_mm", "dr_start_mm", "dr_mm", "taw_mm",
    "raw_mm", "allowed_mm", "closure_mm", "flags",
)  # fmt: skip
RECORD_COLUMNS = (
    "date", "tmax_c", "tmin_c", "rh_max", "rh_min", "ea_kpa", "u2_m_s", "rs_mj", "sun_h", "rain_mm",
    "et0_given_mm", "flags",
)  # fmt: skip
ET0_COLUMNS = (
    "date", "et0_mm", "made_from", "tmax_c", "tmin_c", "rs_mj", "u2_m_s", "ea_kpa", "rain_mm",
)  # fmt: skip
TOTAL_DAY_COLUMNS = ("date", "pump_hours", "valves", "m3", "over_hours", "over_flow_m3_h",
                     "over_valves", "over_m3")  # fmt: skip
STAGES = ("pruned", "shoots", "bloom", "set", "lag", "fill", "harvest", "rest", "young")
MADE = ("given", "measured", "rs_sun", "rs_trange", "ea_tmin", "ea_rhmean", "wind_assumed",
        "t_range",
        "temp_only", "hourly", "filled", "forecast", "stand_in")  # fmt: skip


def mixed(**changed):
    """Blocks in every condition a sheet must survive."""
    blocks = (
        block("Rest", 1, cycles=pruned(300), valve="7", valve_person="Ann"),
        block("Fill", 2, valve="3", valve_person="Ann", outlet_l_h=8.0, flow_m3_h=None,
              outlets_per_tree=5.0),
        block("Young", 3, cycles=(), planted_on=dt.date(2025, 6, 1), system="micro", valve="1",
              valve_person="Ben", soil=None),
        block("No flow", 4, flow_m3_h=None, cycles=pruned(100)),
        block("No area", 5, area_ha=None, cycles=pruned(60)),
        block("No weather", 6, station="Empty", cycles=pruned(20)),
        block("Dry", 7, full_on=day(-12), kc_fixed=1.0, valve="2", valve_person="Ben",
              slope_pct=12.0),
        block("On purpose", 8, dry_until=day(20), cycles=pruned(310)),
        block("Nobody's", 9, cycles=pruned(90)),
    )  # fmt: skip
    fields = {
        "stations": (Station(name="Gate", id=1), Station(name="Empty", id=2)),
        "default_station": "Gate", "pump_m3_h": 40.0, "pump_hours": 9.0,
        "forecasts": {"Gate": forecast(MONDAY, 4, rain={1: 3.0})},
        "records": {"Gate": record(day(-90), without=[day(-4)], rain={day(-8): 45.0})},
        "ran": (Ran(1, day(-3), hours=2.0), Ran(7, day(-20), hours=0.0)),
    } | changed  # fmt: skip
    return farm(*blocks, **fields)


@pytest.fixture(scope="module")
def run():
    return season.run(mixed())


@pytest.fixture(scope="module")
def answer(run):
    return sheet.week(run)


def plain(value):
    """Whether a value can go into JSON as it is (dates and times aside)."""
    if isinstance(value, dict):
        return all(plain(v) for v in value.values())
    if isinstance(value, list | tuple):
        return all(plain(v) for v in value)
    if isinstance(value, float):
        return math.isfinite(value) and type(value) is float
    return value is None or type(value) in (int, str, bool, dt.date, dt.time) or (
        isinstance(value, Note)
    )  # fmt: skip


def test_the_week_has_the_agreed_columns(answer):
    assert set(answer) == {
        "from", "days", "made_with", "blocks", "totals", "bound_gap", "avoidable_stress_avoided",
        "gave", "breaks",
    }  # fmt: skip
    assert answer["from"] == MONDAY and answer["days"] == [day(d) for d in range(7)]
    for row in answer["blocks"]:
        assert [c for c in row if c in WEEK_COLUMNS] == list(WEEK_COLUMNS), row["block"]
        assert row["stage"] in STAGES
        for one in row["sets"]:
            assert tuple(one) == SET_COLUMNS
    for one in answer["totals"]["days"]:
        assert tuple(one) == TOTAL_DAY_COLUMNS


def test_every_row_has_the_same_columns_so_that_they_make_a_table(answer):
    assert {tuple(r) for r in answer["blocks"]} == {sheet.WEEK_COLUMNS}


def test_no_number_is_a_nan_or_a_stranger(answer, run):
    for row in answer["blocks"]:
        bad = {k: v for k, v in row.items() if not plain(v)}
        assert not bad, (row["block"], bad)
    assert plain(answer["totals"])
    for row in (*sheet.dry(run), *sheet.balance_rows(run, run.block("Fill"))):
        assert plain(row), row


def test_fruit_fill_comes_first_then_the_order_of_the_farm(answer):
    assert [r["block"] for r in answer["blocks"]] == [
        "Fill", "Dry", "Rest", "Young", "No flow", "No area", "No weather", "On purpose",
        "Nobody's",
    ]  # fmt: skip


def test_a_block_that_misses_something_says_so_and_gives_what_it_can(answer):
    by = {r["block"]: r for r in answer["blocks"]}
    assert by["No flow"]["m3"] > 0 and by["No flow"]["hours"] is None
    assert by["No area"]["net_mm"] > 0 and by["No area"]["m3"] is None
    assert by["No weather"]["net_mm"] is None and by["No weather"]["sets"] == []
    assert by["Young"]["days_from_pruning"] is None and by["Fill"]["days_from_pruning"] == 160
    for name, code in (("No flow", "flow_missing"), ("No area", "area_missing"),
                       ("No weather", "weather_missing"), ("Young", "soil_default"),
                       ("Fill", "flow_catalogue"), ("Dry", "dry_in_fill"),
                       ("Dry", "runoff_not_counted"), ("Fill", "rain_unknown"),
                       ("Fill", "nothing_entered"), ("On purpose", "dry_allowed")):  # fmt: skip
        assert code in by[name]["flags"], (name, code)
    assert "nothing_entered" not in by["Rest"]["flags"]
    assert "flow_catalogue" not in by["Rest"]["flags"]


def test_printed_parts_add_up(answer):
    for row in answer["blocks"]:
        if row["hours"] is None:
            continue
        assert sum(s["hours"] for s in row["sets"]) == row["hours"], row["block"]
        assert all((4 * s["hours"]).is_integer() for s in row["sets"])
        exact = row["hours_exact"]
        assert abs(row["hours"] - exact) <= 0.125 + 1e-6, row["block"]
    totals = answer["totals"]
    hours = [r["hours"] for r in answer["blocks"] if r["hours"] is not None]
    assert totals["hours"] == sum(hours)
    assert totals["sets"] == sum(len(r["sets"]) for r in answer["blocks"])
    opened = [s for r in answer["blocks"] for s in r["sets"] if s["hours"] is not None]
    assert sum(d["valves"] for d in totals["days"]) == len(opened)
    assert sum(d["m3"] for d in totals["days"]) == pytest.approx(sum(s["m3"] for s in opened))
    for one in totals["days"]:
        of_day = [s for s in opened if s["date"] == one["date"]]
        assert one["valves"] == len(of_day)
        assert one["m3"] == pytest.approx(sum(s["m3"] for s in of_day))


def test_the_need_is_read_from_the_simulated_week(run, answer):
    for row in answer["blocks"]:
        if row["net_mm"] is None:
            continue
        days = sheet.balance_rows(run, run.block(row["block"]), MONDAY)
        assert len(days) == 7

        def add(column, days=days):
            return sum(r[column] for r in days)

        assert row["net_mm"] == pytest.approx(add("irrigation_mm"))
        assert row["gross_mm"] == pytest.approx(add("irrigation_gross_mm"))
        assert row["etc_mm"] == pytest.approx(add("etc_mm"))
        assert row["et0_mm"] == pytest.approx(add("et0_mm"))
        assert row["drained_mm"] == pytest.approx(add("drainage_mm"))
        assert row["dr_start_mm"] == days[0]["dr_start_mm"]
        assert row["dr_end_mm"] == days[-1]["dr_mm"]
        assert row["taw_mm"] == days[0]["taw_mm"]


def test_litres_a_tree_and_cubic_metres_are_those_of_the_need(answer):
    row = next(r for r in answer["blocks"] if r["block"] == "Fill")
    assert row["m3"] == pytest.approx(row["gross_mm"] * 10.0)  # a hectare
    assert row["litres_per_tree"] == pytest.approx(row["m3"] * 2.0)  # 500 trees
    assert row["hours_exact"] == pytest.approx(row["m3"] / 20.0)


def test_the_account_has_the_agreed_columns_and_closes(run):
    for b in run.blocks:
        rows = sheet.balance_rows(run, b)
        assert [r["date"] for r in rows] == list(run.days)
        for r in rows:
            assert tuple(r) == BALANCE_COLUMNS
            if "weather" in b.missing:
                assert r["et0_mm"] is None and "weather_missing" in r["flags"]
                continue
            assert abs(r["closure_mm"]) < 1e-9
            assert r["irrigation_gross_mm"] - r["loss_mm"] == pytest.approx(r["irrigation_mm"])
            assert r["etc_mm"] == pytest.approx(r["evaporation_mm"] + r["transpiration_mm"])


def test_part_of_the_account(run):
    rows = sheet.balance_rows(run, run.block("Fill"), day(-2), day(1))
    assert [r["date"] for r in rows] == [day(d) for d in (-2, -1, 0, 1)]
    assert ["planned" in r["flags"] for r in rows] == [False, False, True, True]
    assert all("forecast" in r["flags"] for r in rows[2:])


def test_days_past_the_limit_are_marked_in_the_account_just_as_the_alarm_counts_them(run):
    b = run.block("Dry")
    rows = sheet.balance_rows(run, b, end=MONDAY)
    marked = [r["date"] for r in rows if "dry" in r["flags"] and r["stage"] == "fill"]
    assert len(marked) == b.dryness.dry_days_so_far
    assert marked[-1] == MONDAY and b.dryness.first_dry_day in marked


def test_the_dry_list_has_the_agreed_columns_and_order(run):
    rows = sheet.dry(run)
    for r in rows:
        assert [c for c in r if c in DRY_COLUMNS] == list(DRY_COLUMNS)
    names = [r["block"] for r in rows]
    assert {"Fill", "Dry"} == set(names[:2]) and rows[0]["alarm"] is rows[1]["alarm"] is True
    assert not any(r["alarm"] for r in rows[2:])
    assert "No weather" not in names
    listed = {b.block.name for b in run.blocks if b.dryness and b.dryness.dry}
    assert listed <= set(names)
    assert {r["block"]: r["on_purpose"] for r in rows}.get("On purpose") is True


def test_the_record_and_the_reference_et_have_the_agreed_columns():
    gate = mixed().records["Gate"]
    rows = sheet.record_rows(gate, day(-5), day(-3))
    assert [tuple(r) for r in rows] == [RECORD_COLUMNS] * 3
    assert rows[0]["tmax_c"] == 30.0 and rows[0]["rh_max"] is None
    assert all(v is None for k, v in rows[1].items() if k not in ("date", "flags"))  # the gap
    et = reference_et(gate, lat=-19.9, elevation_m=900.0, mode="given")
    rows = sheet.et0_rows(et, gate, day(-5), day(-3))
    assert [tuple(r) for r in rows] == [ET0_COLUMNS] * 3
    assert rows[0]["made_from"] == ["given"] and rows[0]["et0_mm"] == 4.5
    assert rows[1]["et0_mm"] is None and rows[1]["made_from"] == []
    assert sheet.record_rows(None) == []


def test_made_with_names_every_day_and_stand_in(run, answer):
    made = answer["made_with"]
    gate = made["stations"]["Gate"]
    assert gate["record_to"] == day(-1) and gate["forecast_issued"] == MONDAY
    assert gate["coming_days"]["forecast"] == 4 and gate["coming_days"]["stand_in"] == 3
    assert gate["last_seven_days"] == {"given": 6, "stand_in": 1}
    for days in run.stations["Gate"].made_from:
        assert set(days) <= set(MADE)
    assert made["uncertainty_pct"] == 20


# ---------------------------------------------------------------- sentences


def farms():
    """Farms that between them bring every kind of sentence."""
    yield mixed()
    yield mixed(pins=tuple(Pin(2, day(d), 0.0) for d in range(7)), pump_hours=1.0)
    yield farm(block(soil="sand", root_depth_m=0.4, full_on=day(-2)), block("Sea", 2, gauge="x"),
               rain_typed={"x": {day(-2): 80.0}})  # fmt: skip
    yield mixed(pins=(Pin(1, day(1), 9.0), Pin(7, day(1), 9.0)), pump_m3_h=20.0)
    yield farm(block(full_on=day(-3), set_hours_max=0.5), stations=(Station(name="Gate", id=1),))
    yield farm(block(stage_numbers={"allowed_fill": 0.9}, root_share=1.0, full_on=day(-1)))
    yield farm(block(cycles=()), block("Q", 2, cycles=pruned(60), full_on=day(-20)))


def test_every_sentence_of_a_week_is_there_and_filled_in():
    codes = set()
    for data in farms():
        run = season.run(data)
        for row in sheet.week_rows(run):
            codes.add(row.values["why"].code)
            for thing in (row.values["why"], row.values["start"]):
                if thing is not None:
                    text = english.sentence(thing)
                    assert thing.code in tables.sentences(), thing.code
                    assert "{" not in text and thing.code not in text, text
            for flag in row.values["flags"]:
                codes.add(flag)
                assert f"flag.{flag}" in tables.sentences(), flag
        for note in sheet.made_with(run)["notes"]:
            assert "{" not in english.sentence(note)
    wanted = {
        "why.no_weather", "why.dry_until", "why.enough", "why.past_limit", "why.even",
        "dry_in_fill", "dry_in_bloom", "set_too_long", "over_the_day", "drained",
    }  # fmt: skip
    assert wanted <= codes


def test_the_sentence_of_a_week_tells_its_own_numbers(run, answer):
    row = next(r for r in answer["blocks"] if r["block"] == "Fill")
    fields = row["why"].fields
    assert fields["net"] == pytest.approx(row["net_mm"])
    assert fields["gross"] == pytest.approx(row["gross_mm"])
    assert fields["etc"] == pytest.approx(row["etc_mm"])
    assert fields["missing"] == pytest.approx(row["dr_start_mm"])
    assert fields["count"] == len(row["sets"])
    assert fields["each"] * fields["count"] == pytest.approx(row["net_mm"])


# ---------------------------------------------------------------- paper for the valves


def lines(sheets):
    return [line for one in sheets for line in one.lines]


def test_one_sheet_a_person_by_day_in_walking_order_and_nothing_lost(run, answer):
    sheets = sheet.valve_sheets(run)
    assert [s.person for s in sheets] == ["", "Ann", "Ben"]
    for one in sheets:
        keys = [(x.date, x.valve, x.block) for x in one.lines]
        assert keys == sorted(keys)
        assert one.number is None and one.first == MONDAY
    planned = [(r["block"], s["date"], s["hours"]) for r in answer["blocks"] for s in r["sets"]
               if s["hours"] is not None]  # fmt: skip
    assert sorted((x.block, x.date, x.hours) for x in lines(sheets)) == sorted(planned)
    assert sum(x.hours for x in lines(sheets)) == pytest.approx(answer["totals"]["hours"])
    by_block = {x.block: x for x in lines(sheets)}
    assert by_block["Fill"].in_fill and by_block["Fill"].from_catalogue
    assert by_block["Fill"].valve == "3"
    assert not by_block["Rest"].in_fill if "Rest" in by_block else True
    assert not by_block["Dry"].from_catalogue
    assert all(x.litres_per_tree == pytest.approx(x.m3 * 2) for x in lines(sheets))


def test_a_handed_out_week_is_printed_as_it_was_given():
    data = mixed()
    given_week = dataclasses.replace(handed_out(season.run(data)), number=12)
    later = season.run(change(data, "Fill", kc_factor=0.5))
    sheets = sheet.valve_sheets(later, given_week)
    assert {s.number for s in sheets} == {12}
    assert {s.given_at for s in sheets} == {given_week.given_at}
    assert sorted((x.block, x.date, x.start, x.hours) for x in lines(sheets)) == sorted(
        (later.blocks[s.block_id - 1].block.name, s.date, s.start, s.hours) for s in given_week.sets
    )
    assert lines(sheets) != lines(sheet.valve_sheets(later))


def test_a_block_deleted_since_is_left_out_of_the_paper():
    data = mixed()
    week = handed_out(season.run(data))
    blocks = tuple(b for b in data.orchard.blocks if b.name != "Fill")
    fewer = season.run(
        dataclasses.replace(data, orchard=dataclasses.replace(data.orchard, blocks=blocks))
    )
    assert "Fill" not in {x.block for x in lines(sheet.valve_sheets(fewer, week))}


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_any_farm_gives_a_whole_sheet(seed):
    rng = np.random.default_rng(seed)
    pins = tuple(
        Pin(int(rng.integers(1, 9)), day(d), float(rng.integers(0, 13)) / 2)
        for d in range(7) if rng.random() < 0.4
    )  # fmt: skip
    data = mixed(
        pins=pins, pump_m3_h=float(rng.uniform(10, 80)), pump_hours=float(rng.uniform(1, 20)),
        night_sets=bool(rng.random() < 0.5),
        records={"Gate": record(day(-30), et0=rng.uniform(0, 9, 30))},
    )  # fmt: skip
    run = season.run(data)
    answer = sheet.week(run)
    for row in answer["blocks"]:
        assert all(plain(v) for v in row.values()), row
    test_printed_parts_add_up_without_pins = [r for r in answer["blocks"] if r["hours"] is not None]
    for row in test_printed_parts_add_up_without_pins:
        assert sum(s["hours"] for s in row["sets"]) == row["hours"]
    assert sum(x.hours for x in lines(sheet.valve_sheets(run))) == pytest.approx(
        answer["totals"]["hours"]
    )
