"""What really ran and the rest of the week, as a user's shell sees it."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import pytest
from own_et0_file import write_own_et0

MONDAY = dt.date(2025, 7, 14)
START = dt.date(2025, 6, 1)


def day(i: int) -> str:
    return str(MONDAY + dt.timedelta(days=i))


@pytest.fixture
def farm(cli, farm):
    write_own_et0(Path("s.csv"), START, 43, 4.5, {})
    cli("weather", farm, "s.csv", "--station", "house")
    for name in ("A", "B"):
        cli("block", farm, name, "--new", "area_ha=1", "flow_m3_h=20", "pruned_on=2025-02-05",
            "system=drip", "soil=loam")  # fmt: skip
    return farm


def weather_to(cli, farm, last: int, rain=None) -> None:
    days = (MONDAY - START).days + last + 1
    wet = {(MONDAY - START).days + i: mm for i, mm in (rain or {}).items()}
    write_own_et0(Path("more.csv"), START, days, 4.5, wet)
    assert cli("weather", farm, "more.csv", "--station", "house").code == 0


def test_a_meter_from_reading_to_reading(cli, farm):
    first = cli("ran", farm, "--block", "A", "--on", day(-3), "--meter", 1000)
    assert first.code == 0 and "first reading" in first.err
    answer = cli("ran", farm, "--block", "A", "--on", day(-2), "--hours", 2, "--meter", 1034)
    assert answer.out == f"A, {day(-2)}: the meter at 1034 m3: 34.0 m3 since {day(-3)}.\n"
    assert "15 % less" in answer.err and "clogged" in answer.err and "low pressure" in answer.err
    row = next(r for r in cli("balance", farm, "--block", "A", "--from", day(-2), "--to", day(-2),
                              "--json").json)  # fmt: skip
    assert row["irrigation_gross_mm"] == pytest.approx(3.4)
    week = cli("week", farm, "--on", day(0), "--json").json
    flags = {b["block"]: b["flags"] for b in week["blocks"]}
    assert "flow_low" in flags["A"] and "flow_low" not in flags["B"]


def test_a_question_then_its_answers(cli, farm):
    cli("ran", farm, "--block", "A", "--on", day(-3), "--meter", 18940)
    call = ("ran", farm, "--block", "A", "--on", day(-2), "--meter", 112)
    asked = cli(*call)
    assert asked.code == 3 and "--answer meter=rolled | new | wrong" in asked.err
    assert "went backwards, from 18940 m3" in asked.err
    as_json = cli(*call, "--json")
    assert as_json.code == 3
    assert [q["key"] for q in as_json.json["questions"]] == ["meter"]
    more = cli(*call, "--answer", "meter=new")
    assert more.code == 3 and "new_start" in more.err and "old_last" in more.err
    assert cli("ran", farm, "--list", "--json").json["meters"] == []
    done = cli(*call, "--answer", "meter=new", "--answer", "new_start=100", "--answer",
               "old_last=18950")  # fmt: skip
    assert done.code == 0 and "22.0 m3 since" in done.out


def test_minutes_in_a_file(cli, farm):
    Path("ran.csv").write_text(f"block,date,hours\nA,{day(-2)},150\n")
    asked = cli("ran", farm, "ran.csv")
    assert asked.code == 3 and f"hours:A:{day(-2)}" in asked.err
    assert cli("ran", farm, "ran.csv", "--answer", f"hours:A:{day(-2)}=minutes").code == 0
    rows = cli("ran", farm, "--list", "--json").json["rows"]
    assert [(r["block"], r["hours"], r["m3"], r["how"]) for r in rows] == [("A", 2.5, 50, "hours")]


def test_the_list_adds_up_to_the_meters_and_tells_the_right_used(cli, farm):
    cli("farm", farm, "right_m3_year=1000", "right_from_month=7", "right_m3_week=200")
    for i, dial in ((-20, 0), (-12, 58), (-3, 130)):
        cli("ran", farm, "--block", "A", "--on", day(i), "--hours", 3, "--meter", dial)
    cli("ran", farm, "--block", "B", "--on", day(-13), "--m3", 40)
    found = cli("ran", farm, "--list", "--from", day(-19), "--json").json
    by_block = {r["block"]: r["m3"] for r in found["by_block"]}
    assert by_block == pytest.approx({"A": 130, "B": 40})
    assert found["meters"] == [
        {"meter": "A", "blocks": ["A"], "from": day(-20), "to": day(-3), "m3": 130}
    ]
    assert sum(r["m3"] for r in found["by_month"]) == pytest.approx(found["total"][0]["m3"])
    assert found["total"][0]["m3"] == pytest.approx(170)
    right = {r["right"]: r for r in found["rights"]}
    assert right["year"]["used_m3"] == pytest.approx(170) and right["year"]["from"] == "2025-07-01"
    assert right["year"]["used_pct"] == pytest.approx(17)
    july = cli("ran", farm, "--list", "--from", "2025-07-01", "--to", "2025-07-04", "--block", "A",
               "--json").json  # fmt: skip
    assert [r["date"] for r in july["rows"]] == [day(-12)]
    table = cli("ran", farm, "--list", "--csv")
    rows = list(csv.DictReader(io.StringIO(table.out)))
    assert sum(float(r["m3"]) for r in rows if r["date"] >= day(-19)) == pytest.approx(170)
    words = cli("ran", farm, "--list")
    assert "Meter A (A): 130.0 m3" in words.out and "17 %" in words.out


def test_the_metered_flow_can_be_taken(cli, farm):
    refused = cli("ran", farm, "--block", "A", "--accept-flow")
    assert refused.code == 2 and "no metered flow" in refused.err
    for i in (-4, -3, -2):
        cli("ran", farm, "--block", "A", "--on", day(i), "--hours", 2, "--m3", 45)
    found = cli("ran", farm, "--list", "--json").json["flow"]
    assert [(f["block"], f["verdict"]) for f in found] == [("A", "high")]
    assert "leak" in found[0]["said"]
    assert cli("ran", farm, "--block", "A", "--accept-flow").code == 0
    block = cli("block", farm, "A", "--json").json
    assert (block["flow_m3_h"], block["flow_from"]) == (22.5, "meter")


def test_the_rest_of_the_week_after_rain(cli, farm):
    none = cli("replan", farm, "--on", day(3))
    assert none.code == 2 and "hand out a week first" in none.err
    assert cli("week", farm, "--on", day(0), "--hand-out").code == 0
    same = cli("replan", farm, "--on", day(0), "--hand-out")
    assert same.code == 0 and "stays as it was" in same.out
    weather_to(cli, farm, 2, {2: 25.0})
    found = cli("replan", farm, "--on", day(3), "--json").json
    assert found["days"] == [day(3), day(4), day(5), day(6)] and found["changed"]
    assert found["totals"]["new_hours"] < found["totals"]["old_hours"]
    assert all(r["date"] < day(3) for r in found["ran"]) and found["ran"]
    assert "rain" in {w for b in found["blocks"] for d in b["days"] for w in d["why"]}
    for b in found["blocks"]:
        assert sum(d["new_hours"] for d in b["days"]) == pytest.approx(b["new_hours"])
    words = cli("replan", farm, "--on", day(3), "--hand-out")
    assert words.code == 0 and "Handed out as number 2" in words.out and " > " in words.out
    again = cli("replan", farm, "--on", day(3), "--json").json
    assert not again["changed"] and again["week"]["number"] == 2
    assert again["week"]["last"] == day(6)


@pytest.mark.parametrize(
    "words",
    [("--list", "--hours", 1), ("--meter", 5, "--m3", 4, "--block", "A", "--on", "2025-07-10"),
     ("--accept-flow",), ("--from", "2025-07-10"), ("--block", "A", "--meter", 4),
     ("--remove", "--meter", 5, "--block", "A", "--on", "2025-07-10")],
)  # fmt: skip
def test_calls_that_cannot_be(cli, farm, words):
    answer = cli("ran", farm, *words)
    assert answer.code == 2 and answer.err.strip() and not answer.out
