"""The calendar command: what it shows, and how field days are entered."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import icalendar
import pytest
from own_et0_file import WEEK, write_own_et0


@pytest.fixture
def ridge(cli, farm):
    write_own_et0(Path("station.csv"), dt.date(2025, 5, 1), 74, 4.5, {})
    assert cli("weather", farm, "station.csv", "--station", "Gate").code == 0
    pruned = WEEK - dt.timedelta(days=8)
    keys = f"area_ha=1 system=overhead flow_m3_h=100 soil=loam trees=400 pruned_on={pruned}"
    assert cli("block", farm, "Ridge", "--new", *keys.split()).code == 0
    return farm


def jobs(answer):
    return {(e["code"], e["cycle_day"]): e for e in answer.json["events"] if e["kind"] == "job"}


def test_a_watering_without_a_flow_is_told_by_its_water(cli, ridge):
    assert cli("block", ridge, "Bare", "--new", "area_ha=1", "soil=loam").code == 0
    answer = cli("calendar", ridge, "--on", WEEK, "--block", "Bare")
    planned = [line for line in answer.out.splitlines() if "watering planned" in line]
    assert planned
    assert all(line.endswith(" m3") for line in planned)


def test_the_calendar_names_jobs_stages_waterings_and_prunings(cli, ridge):
    answer = cli("calendar", ridge, "--on", WEEK, "--to", "2025-11-30", "--json")
    found = jobs(answer)
    assert found["spray", 10]["date"] == "2025-07-16"
    assert found["feed", 10]["date"] == "2025-07-15"  # overhead water: the day before
    assert [found["feed", d]["date"] for d in (45, 110)] == ["2025-08-20", "2025-10-24"]
    assert [found["spray", d]["date"] for d in (20, 30)] == ["2025-07-26", "2025-08-05"]
    kinds = {e["kind"] for e in answer.json["events"]}
    assert kinds == {"job", "stage", "watering", "pruning"}
    block = answer.json["blocks"][0]
    assert block["dry_days"] == ["2025-07-16"]
    assert "work.label" in [c["code"] for c in block["field_days"][1]["cautions"]]
    said = cli("calendar", ridge, "--on", WEEK, "--block", "ridge").out
    assert "feeding, day 9, for day 10" in said and "Follow the label first" in said


def test_the_week_carries_the_field_days(cli, ridge):
    block = cli("week", ridge, "--on", WEEK, "--json").json["blocks"][0]
    assert [j["date"] for j in block["field_days"]] == ["2025-07-15", "2025-07-16", "2025-07-26"]
    assert {"keep_dry", "feed_day", "spray_day"} <= set(block["flags"])
    assert "2025-07-16" not in [s["date"] for s in block["sets"]]
    assert "leaves are kept dry on 2025-07-16" in cli("week", ridge, "--on", WEEK).out


def test_jobs_are_done_moved_left_out_and_taken_away(cli, ridge):
    words = ("--block", "Ridge", "--kind", "spray")
    assert cli("calendar", ridge, "--block", "Ridge", "--done", "feed", "--on", "2025-07-15",
               "--n-kg-ha", "30", "--what", "manure").code == 0  # fmt: skip
    assert cli("calendar", ridge, *words, "--move", "10", "--on", "2025-07-18").code == 0
    assert cli("calendar", ridge, *words, "--skip", "20", "--on", "2025-07-26").code == 0
    assert cli("calendar", ridge, "--block", "Ridge", "--extra", "spray", "--on",
               "2025-08-01").code == 0  # fmt: skip
    answer = cli("calendar", ridge, "--on", "2025-07-16", "--json")
    assert answer.code == 0, answer.err
    found = jobs(answer)
    assert (found["feed", 10]["state"], found["feed", 10]["n_kg_ha"]) == ("done", 30)
    assert (found["spray", 10]["state"], found["spray", 10]["date"]) == ("moved", "2025-07-18")
    assert found["spray", 20]["state"] == "skipped"
    assert found["spray", None]["date"] == "2025-08-01"
    nitrogen = answer.json["blocks"][0]["nitrogen"]
    assert nitrogen["fed_on"] == "2025-07-15" and nitrogen["drained_mm"] < 1e-6
    assert cli("calendar", ridge, *words, "--remove", "10", "--on", "2025-07-18").code == 0
    assert cli("calendar", ridge, *words, "--remove", "--on", "2025-08-01").code == 0
    found = jobs(cli("calendar", ridge, "--on", WEEK, "--json"))
    assert found["spray", 10]["state"] == "due" and ("spray", None) not in found


@pytest.mark.parametrize("words", [
    ("--move", "10", "--on", "2025-07-18"), ("--done", "feed", "--on", "2025-07-15"),
    ("--block", "Ridge", "--kind", "feed", "--move", "10"),
    ("--block", "Nobody", "--done", "feed", "--on", "2025-07-15"), ("--kind", "feed"),
    ("--mix", "calcium nitrate", "magnesium sulfate"), ("--from", "2025-08-01", "--to",
     "2025-07-01"),
])  # fmt: skip
def test_what_cannot_be_is_refused_with_a_sentence(cli, ridge, words):
    answer = cli("calendar", ridge, *words)
    assert answer.code == 2 and answer.err.strip().endswith(".")


def test_a_mix_that_stays_clear_and_hard_water(cli, ridge):
    out = cli("calendar", ridge, "--mix", "calcium nitrate", "urea", "--ca", "3.1").out
    assert "jar" in out and "3.1 me/L" in out


def test_the_calendar_file_and_the_csv(cli, ridge):
    assert cli("calendar", ridge, "--on", WEEK, "--ics", "field.ics").code == 0
    found = icalendar.Calendar.from_ical(Path("field.ics").read_bytes())
    spray = next(e for e in found.walk("VEVENT") if "spray-" in e["UID"] and "day10" in e["UID"])
    assert spray["DTSTART"].dt == dt.date(2025, 7, 16)
    assert "re-entry" in spray["DESCRIPTION"]
    uids = [str(e["UID"]) for e in found.walk("VEVENT")]
    assert len(uids) == len(set(uids))
    rows = list(csv.DictReader(io.StringIO(cli("calendar", ridge, "--on", WEEK, "--csv").out)))
    assert ("2025-07-16", "spray") in [(r["date"], r["code"]) for r in rows]


def test_a_mix_as_json_and_one_of_nothing(cli, ridge):
    found = cli("calendar", ridge, "--mix", "urea", "potassium nitrate", "--json").json
    assert found["refused"] is False and "jar" in found["notes"][0]
    empty = cli("calendar", ridge, "--mix", " ")
    assert empty.code == 2 and "Name the materials" in empty.err
    negative = cli("calendar", ridge, "--mix", "urea", "--ca", "-1")
    assert negative.code == 2 and "-1 me/L" in negative.err
