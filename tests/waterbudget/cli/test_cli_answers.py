"""Every answer has the keys it promises, CSV the same columns, and the sums hold from outside.

The identities are checked on the printed JSON alone, on farms of every kind: systems, pumps, days
off, forecasts, gaps, measured soils, missing flows.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import itertools
import random
import re
from pathlib import Path

import pytest

ON = dt.date(2025, 7, 14)


def words(text: str) -> list[str]:
    return text.split()


WEEK = words(
    "block stage days_from_pruning area_ha trees et0_mm kc etc_mm rain_mm rain_credited_mm net_mm "
    "gross_mm m3 litres_per_tree hours hours_exact sets dr_start_mm dr_end_mm taw_mm allowed_mm "
    "drained_mm why flags"
)
BALANCE = words(
    "date stage days_from_pruning et0_mm kcb ke ks etc_potential_mm etc_mm evaporation_mm "
    "transpiration_mm rain_mm irrigation_mm irrigation_gross_mm loss_mm runoff_mm drainage_mm "
    "correction_mm dr_start_mm dr_mm taw_mm raw_mm allowed_mm closure_mm flags"
)
RECORD = words(
    "date tmax_c tmin_c rh_max rh_min ea_kpa u2_m_s rs_mj sun_h rain_mm et0_given_mm flags"
)
ET0 = words("date et0_mm made_from tmax_c tmin_c rs_mj u2_m_s ea_kpa rain_mm")
DRY = words(
    "block stage in_fill alarm dr_mm allowed_mm dry_days_so_far first_dry_day "
    "days_if_nothing_runs days_as_planned"
)
WEATHER = words("station days first last rain_mm gaps missing flags notes added unchanged changed")
STAGES = set(words("pruned shoots bloom set lag fill harvest rest young"))
MADE = set(
    words(
        "given measured rs_sun rs_trange ea_tmin ea_rhmean wind_assumed t_range temp_only hourly "
        "filled forecast stand_in"
    )
)


def write_station(path: str, days: int, lots: random.Random, gaps: float = 0.0) -> None:
    lines = ["date,tmax_c,tmin_c,rh_max,rh_min,wind_m_s,rs_mj,rain_mm"]
    for i in range(days, 0, -1):
        if i not in (1, days) and lots.random() < gaps:
            continue
        rain = round(lots.random() * 40, 1) if lots.random() < 0.2 else 0
        lines.append(
            f"{ON - dt.timedelta(days=i)},{22 + lots.random() * 10:.1f},"
            f"{8 + lots.random() * 8:.1f},{lots.randint(80, 98)},{lots.randint(25, 60)},"
            f"{1 + lots.random() * 3:.1f},{12 + lots.random() * 10:.1f},{rain}"
        )
    Path(path).write_text("\n".join(lines) + "\n")


def write_forecast(path: str, days: int, et0: float, rain: float) -> None:
    lines = ["date,et0_mm,rain_mm"]
    lines += [f"{ON + dt.timedelta(days=i)},{et0},{rain if i == 2 else 0}" for i in range(days)]
    Path(path).write_text("\n".join(lines) + "\n")


FARM = {
    "work_from": ["05:00", "06:30", "07:10"], "work_to": ["12:00", "17:50", "21:00"],
    "days_off": ["", "sun", "mon,wed,fri,sun"], "night_sets": ["yes", "no"],
    "forecast_rain_credit": ["0", "0.4", "1"], "pump_m3_h": ["", "20", "120"],
    "pump_hours": ["", "6", "16"],
}  # fmt: skip
ALWAYS = {
    "area_ha": [0.3, 1, 2.5], "system": ["drip", "micro", "overhead", "basin"],
    "soil": ["sand", "loam", "clay", "sandy-loam"],
}  # fmt: skip
OFTEN = {"flow_m3_h": [4, 15, 40], "pruned_on": [ON - dt.timedelta(days=d) for d in (6, 60, 170)]}
SELDOM = {
    "kc_fixed": [0.6, 0.9], "kc_factor": [0.8, 1.3], "stones": [0.2, 0.6], "root_share": [0.3, 1],
    "root_depth_m": [0.3, 1.2], "target_dr_mm": [5, 40], "rain_reach": [0.5],
    "interception_mm": [1], "curve_number": [75], "canopy_cover": [0.2, 0.9],
    "set_hours_max": [1, 2.6, 8], "spacing_m": [4], "trees": [333], "efficiency": [0.6, 1],
    "allowed_fill": [0.1, 0.6], "wetted_fraction": [0.1, 0.9], "dry_until": ["2025-07-16"],
    "full_on": ["2025-07-12"], "elevation_m": [1300],
}  # fmt: skip


def any_farm(cli, farm: str, seed: int) -> dict[str, dict[str, object]]:
    """Set up a farm that nobody would think of; return what each block was given."""
    lots = random.Random(seed)
    pairs = [f"{k}={lots.choice(v)}" for k, v in FARM.items()]
    assert cli("farm", farm, *pairs).code == 0
    write_station("s.csv", lots.choice([3, 60, 400]), lots, gaps=0.03)
    assert cli("weather", farm, "s.csv", "--station", "h", "--wind-height", 2).code == 0
    if lots.random() < 0.6:
        write_forecast("f.csv", lots.choice([3, 7, 10]), lots.choice([2, 5, 8]), 20)
        assert cli("weather", farm, "f.csv", "--forecast").code == 0
    given = {}
    for name in "ABC":
        keys = {k: lots.choice(v) for k, v in ALWAYS.items()}
        keys |= {k: lots.choice(v) for k, v in OFTEN.items() if lots.random() < 0.8}
        keys |= {k: lots.choice(v) for k, v in SELDOM.items() if lots.random() < 0.25}
        answer = cli("block", farm, name, "--new", *(f"{k}={v}" for k, v in keys.items()))
        assert answer.code == 0, answer.err
        given[name] = keys
        for i in range(1, 12):
            if lots.random() < 0.3:
                date, hours = ON - dt.timedelta(days=i), lots.choice([0, 2, 5])
                assert cli("ran", farm, "--block", name, "--on", date, "--hours", hours).code == 0
    return given


def need(week: dict) -> float:
    return (week["dr_start_mm"] - week["dr_end_mm"] + week["etc_mm"] - week["rain_credited_mm"]
            + week["runoff_mm"] + week["drained_mm"])  # fmt: skip


def minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


@pytest.mark.parametrize("seed", range(8))
def test_what_is_printed_adds_up(cli, farm, seed):
    given = any_farm(cli, farm, seed)
    week = cli("week", farm, "--json").json
    settings = cli("farm", farm, "--json").json
    assert {b["block"] for b in week["blocks"]} == set(given)
    for b in week["blocks"]:
        rows = cli("balance", farm, "--block", b["block"], "--json").json
        coming = [r for r in rows if r["date"] in week["days"]]
        check_account(rows)
        check_week(b, coming)
        check_sets(b, settings, given[b["block"]])
    totals = week["totals"]
    assert totals["m3"] == pytest.approx(sum(b["m3"] for b in week["blocks"]), abs=1e-9)
    assert sum(d["valves"] for d in totals["days"]) == sum(
        s["hours"] is not None for b in week["blocks"] for s in b["sets"]
    )


def check_account(rows):
    for r in rows:
        gap = (r["dr_mm"] - r["dr_start_mm"] + r["rain_mm"] + r["irrigation_mm"]
               + r["correction_mm"] - r["runoff_mm"] - r["drainage_mm"] - r["evaporation_mm"]
               - r["transpiration_mm"])  # fmt: skip
        assert abs(gap) < 1e-9 and abs(r["closure_mm"]) < 1e-9, r
        assert r["etc_mm"] == pytest.approx(r["evaporation_mm"] + r["transpiration_mm"], abs=1e-9)
        assert r["loss_mm"] == pytest.approx(r["irrigation_gross_mm"] - r["irrigation_mm"])
        assert -1e-9 <= r["dr_mm"] <= r["taw_mm"] + 1e-9 and 0 <= r["ks"] <= 1
    for one, following in itertools.pairwise(rows):
        assert one["dr_mm"] == pytest.approx(following["dr_start_mm"], abs=1e-9)


def check_week(b, coming):
    assert len(coming) == 7
    assert b["net_mm"] == pytest.approx(need(b), abs=1e-9)
    for key, column in (("net_mm", "irrigation_mm"), ("etc_mm", "etc_mm"), ("et0_mm", "et0_mm"),
                        ("rain_credited_mm", "rain_mm"), ("drained_mm", "drainage_mm"),
                        ("gross_mm", "irrigation_gross_mm")):  # fmt: skip
        assert b[key] == pytest.approx(sum(r[column] for r in coming), abs=1e-9), key
    assert (b["dr_start_mm"], b["dr_end_mm"]) == (coming[0]["dr_start_mm"], coming[-1]["dr_mm"])
    assert b["m3"] == pytest.approx(b["gross_mm"] * b["area_ha"] * 10, abs=1e-9)
    if b["trees"]:
        assert b["litres_per_tree"] == pytest.approx(b["m3"] * 1000 / b["trees"])
    else:
        assert b["litres_per_tree"] is None


def check_sets(b, settings, given):
    hours = [s["hours"] for s in b["sets"]]
    if b["flow_m3_h"] is None:
        assert b["hours"] is None and b["hours_exact"] is None and set(hours) <= {None}
        return
    assert b["hours_exact"] == pytest.approx(b["m3"] / b["flow_m3_h"], abs=1e-9)
    assert sum(hours) == b["hours"] and abs(b["hours"] - b["hours_exact"]) <= 0.125 + 1e-9
    longest = {"drip": 12, "micro": 6, "overhead": 4, "basin": 4}[given["system"]]
    assert all(h <= given.get("set_hours_max", longest) for h in hours)
    if not {"feed_day", "gave_water"} & set(b["flags"]):  # a feed has a watering of its own
        assert not hours or max(hours) - min(hours) <= 0.25
    for s in b["sets"]:
        weekday = dt.date.fromisoformat(s["date"]).weekday()
        assert words("mon tue wed thu fri sat sun")[weekday] not in settings["days_off"]
        assert s["date"] > str(given.get("dry_until", ""))
        assert (s["hours"] * 4) % 1 == 0 and s["m3"] == pytest.approx(s["hours"] * b["flow_m3_h"])
        assert s["mm"] == pytest.approx(s["m3"] / b["area_ha"] / 10)
        if "over_the_day" not in b["flags"]:
            start = minutes(s["start"])
            assert minutes(settings["work_from"]) <= start < minutes(settings["work_to"])
            if not settings["night_sets"]:
                assert start + s["hours"] * 60 <= minutes(settings["work_to"])


@pytest.fixture
def whole(cli, farm):
    write_station("s.csv", 60, random.Random(5), gaps=0.05)
    write_forecast("f.csv", 4, 5, 3)
    cli("weather", farm, "s.csv", "--station", "h", "--wind-height", "2")
    cli("weather", farm, "f.csv", "--forecast")
    cli("block", farm, "A", "--new", "area_ha=1", "flow_m3_h=20", "pruned_on=2025-01-20")
    cli("block", farm, "Bare", "--new")
    return farm


ASK = {
    "week": ((), WEEK), "balance": (("--block", "A"), BALANCE), "record": ((), RECORD),
    "et0": ((), ET0),
}  # fmt: skip


@pytest.mark.parametrize("command", ASK)
def test_json_and_csv_have_the_columns_promised(cli, whole, command):
    more, columns = ASK[command]
    found = cli(command, whole, *more, "--json").json
    rows = found["blocks"] if command == "week" else found
    printed = list(csv.DictReader(io.StringIO(cli(command, whole, *more, "--csv").out)))
    assert len(printed) == len(rows)
    for row, line in zip(rows, printed, strict=True):
        assert set(columns) <= set(row)
        assert list(line) == list(row)
        for key, value in row.items():
            if value is None:
                assert line[key] == ""
            elif isinstance(value, int | float):
                assert float(line[key]) == value
    if command != "week":
        assert set(rows[0]) == set(columns)


def test_codes_are_those_promised(cli, whole):
    rows = cli("balance", whole, "--block", "A", "--json").json
    assert {r["stage"] for r in rows} <= STAGES and len({r["stage"] for r in rows}) > 1
    et0 = cli("et0", whole, "--json").json
    assert {code for r in et0 for code in r["made_from"]} <= MADE
    assert any(r["made_from"] == ["stand_in"] and r["rain_mm"] is None for r in et0)
    week = cli("week", whole, "--json").json
    assert list(week) == [
        "from", "days", "made_with", "blocks", "totals", "bound_gap", "avoidable_stress_avoided",
        "gave", "breaks",
    ]  # fmt: skip
    assert week["days"] == [f"2025-07-{d}" for d in range(14, 21)] and week["from"] == "2025-07-14"
    assert week["made_with"]["stations"]["h"]["coming_days"] == {
        "forecast": 4, "given": 4, "stand_in": 3}  # fmt: skip
    dry = cli("dry", whole, "--json").json
    assert dry and all(set(DRY) <= set(row) for row in dry)


def test_a_weather_import_answers_with_everything(cli, farm):
    write_station("s.csv", 60, random.Random(5), gaps=0.1)
    done = cli("weather", farm, "s.csv", "--station", "h", "--wind-height", 2, "--json").json
    assert list(done) == WEATHER
    assert done["gaps"] and all(len(g) == 2 and g[0] <= g[1] for g in done["gaps"])
    again = cli("weather", farm, "s.csv", "--json").json
    assert (again["added"], again["unchanged"]) == (0, done["days"])


def test_nothing_known_is_null_not_zero(cli, farm):
    Path("rain.csv").write_text("date,rain_mm\n2025-07-12,3\n2025-07-13,0\n")
    cli("weather", farm, "rain.csv", "--station", "h")
    cli("block", farm, "A", "--new")
    (row,) = cli("week", farm, "--json").json["blocks"]
    empty = {k for k, v in row.items() if v is None}
    assert {"area_ha", "et0_mm", "kc", "etc_mm", "net_mm", "m3", "hours", "dr_start_mm"} <= empty
    assert row["sets"] == [] and "weather_missing" in row["flags"]
    for day in cli("balance", farm, "--block", "A", "--json").json:
        assert day["rain_mm"] is not None and day["taw_mm"] > 0
        assert {day[k] for k in ("et0_mm", "etc_mm", "dr_mm", "ks", "drainage_mm")} == {None}
    record = cli("record", farm, "--json").json
    assert record[0]["rain_mm"] == 3 and record[0]["tmax_c"] is None
    assert {r["et0_mm"] for r in cli("et0", farm, "--json").json} == {None}
    assert "nothing can be said of: A" in cli("dry", farm).out


def test_numbers_carry_no_noise(cli, whole):
    for call in (("week",), ("balance", "--block", "A"), ("et0",), ("dry",)):
        out = cli(call[0], whole, *call[1:], "--json").out
        assert not re.search(r"\d\.\d{13,}|\de-1\d|NaN|Infinity", out)


@pytest.mark.parametrize("name", ["=1+2", "+A", "-B", "@C", "\tD", "E,;\"'", "None"])
def test_no_cell_starts_a_formula(cli, whole, name):
    assert cli("block", whole, name, "--new", "area_ha=1", "flow_m3_h=9").code == 0
    (line,) = [
        row for row in csv.DictReader(io.StringIO(cli("week", whole, "--csv").out))
        if row["block"].lstrip("'") == name.strip().lstrip("'")
    ]  # fmt: skip
    for cell in line.values():
        if cell[:1] in ("=", "+", "-", "@"):
            float(cell)  # a negative number is no formula
    rows = cli("balance", whole, "--block", name, "--json")
    assert rows.code == 0, rows.err
