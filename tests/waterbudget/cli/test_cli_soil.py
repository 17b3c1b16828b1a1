"""Commands about the soil as read and the cycle as seen."""

from __future__ import annotations

import datetime as dt

import pytest
from own_et0_file import write_own_et0

FIRST, LAST = dt.date(2025, 3, 1), dt.date(2025, 7, 13)


@pytest.fixture
def watched(cli, farm, tmp_path) -> str:
    days = (LAST - FIRST).days + 1
    write_own_et0(tmp_path / "s.csv", FIRST, days, 4.5, {})
    assert cli("weather", farm, "s.csv", "--station", "House").code == 0
    assert cli("block", farm, "Top", "--new", "area_ha=1", "flow_m3_h=20", "soil=sandy-loam",
               "system=drip", "pruned_on=2025-02-10", "full_on=2025-07-09").code == 0  # fmt: skip
    return farm


def test_a_reading_is_entered_listed_and_taken_away(cli, watched):
    call = ("reading", watched, "--block", "Top", "--on", "2025-07-12")
    done = cli(*call, "--kpa", 30, "--depth-cm", 25, "--sensor", "T1")
    assert (done.code, done.out) == (0, "Top, 2025-07-12: 30 kPa at 25 cm (T1).\n")
    listed = cli("readings", watched, "--block", "top", "--json").json
    (row,) = listed["readings"]
    assert (row["kind"], row["value"], row["unit"], row["counts"]) == (
        "tensiometer", 30, "kPa", True)  # fmt: skip
    (pull,) = listed["pulls"]
    assert pull["new_mm"] == pytest.approx(0.6 * pull["model_mm"] + 0.4 * row["missing_mm"])
    account = cli("balance", watched, "--block", "Top", "--json").json
    day = next(r for r in account if r["date"] == "2025-07-12")
    assert day["correction_mm"] == pytest.approx(pull["correction_mm"])
    assert "reading" in day["flags"]
    assert max(abs(r["closure_mm"]) for r in account) < 1e-9
    text = cli("readings", watched).out
    assert "30 kPa" in text and "counts" in text
    assert cli(*call, "--remove").out == "Top, 2025-07-12: 30 kPa at 25 cm (T1) taken away.\n"
    assert cli("readings", watched).out == "No readings.\n"
    assert cli(*call, "--remove").code == 2


def test_a_dropped_reading_says_why(cli, watched):
    assert cli("ran", watched, "--block", "Top", "--on", "2025-07-11", "--hours", 2).code == 0
    assert (
        cli("reading", watched, "--block", "Top", "--on", "2025-07-12", "--missing-mm", 9).code == 0
    )
    (row,) = cli("readings", watched, "--json").json["readings"]
    assert not row["counts"] and "24 hours" in row["reason"]
    assert cli("readings", watched, "--json").json["pulls"] == []


@pytest.mark.parametrize(
    "words",
    [
        ("--block", "Top", "--on", "2025-07-12"), ("--on", "2025-07-12", "--kpa", "3"),
        ("--block", "Top", "--on", "2025-07-12", "--kpa", "3", "--percent", "4"),
        ("--block", "Top", "--on", "2025-07-12", "--kpa", "3", "--remove"),
        ("--block", "Top", "--on", "2025-07-12", "--kpa", "300"),
        ("--block", "Nope", "--on", "2025-07-12", "--kpa", "3"),
        ("--block", "Top", "--on", "2031-07-12", "--kpa", "3"),
        ("r.csv", "--block", "Top"), ("missing.csv",),
    ],
)  # fmt: skip
def test_calls_that_are_refused_in_one_sentence(cli, watched, words):
    done = cli("reading", watched, *words)
    assert (done.code, done.out) == (2, "")
    assert done.err.count("\n") == 1 and done.err.strip()[-1] in ".?"
    assert cli("readings", watched).out == "No readings.\n"


def test_a_file_of_readings(cli, watched, tmp_path):
    (tmp_path / "r.csv").write_text("block,date,percent,sensor\nTop,2025-07-11,70,C1\n")
    assert cli("reading", watched, "r.csv").out == "Readings: 1 added, 0 as they were.\n"
    assert "70 %" in cli("readings", watched).out


def test_a_proposed_factor_is_accepted_with_its_reason(cli, watched):
    for day in ("2025-06-26", "2025-07-03"):
        cli("reading", watched, "--block", "Top", "--on", day, "--missing-mm", 0)
    none = cli("readings", watched, "--block", "Top", "--accept")
    assert none.code == 2 and "propose no factor" in none.err
    cli("block", watched, "Top", "full_on=")
    cli("reading", watched, "--block", "Top", "--on", "2025-07-10", "--missing-mm", 0)
    (step,) = cli("readings", watched, "--json").json["proposed"]
    assert (step["old"], step["new"]) == (1, 0.95)
    done = cli(
        "readings", watched, "--block", "Top", "--accept", "--why", "spade, three weeks", "--json"
    )
    (change,) = done.json["factors"]
    assert (change["date"], change["old"], change["new"], change["reason"]) == (
        "2025-07-14", 1, 0.95, "spade, three weeks")  # fmt: skip
    assert done.json["proposed"] == []
    block = cli("block", watched, "Top", "--json").json
    assert (block["kc_factor"], block["kc_factor_from"]) == (0.95, "2025-07-14")
    assert cli("readings", watched, "--accept").code == 2
    assert cli("readings", watched, "--why", "x").code == 2


def test_the_cycle_as_clock_range_day_count_and_seen(cli, watched):
    cli("block", watched, "Top", "seen_bloom=2025-04-06")
    found = cli("cycle", watched, "--block", "top", "--json").json
    assert (found["pruned_on"], found["days_from_pruning"]) == ("2025-02-10", 154)
    by_stage = {s["stage"]: s for s in found["stages"]}
    assert by_stage["bloom"]["seen"] == by_stage["bloom"]["date"] == "2025-04-06"
    assert by_stage["harvest"]["day_count"] == "2025-08-11"
    assert by_stage["harvest"]["earliest"] <= by_stage["harvest"]["latest"]
    text = cli("cycle", watched, "--block", "Top").out
    assert "fruit fill" in text and "half the branches in flower" in text
    assert "No past year is on record" in text


def test_a_block_never_pruned_is_told(cli, farm):
    cli("block", farm, "Young", "--new", "area_ha=1")
    cli("rain", farm, "--on", "2025-07-12", "--mm", 3)
    done = cli("cycle", farm, "--block", "Young")
    assert (done.code, done.out) == (0, "Young was never pruned, so there is no cycle yet.\n")
    assert cli("cycle", farm, "--block", "Young", "--json").json["stages"] == []
    assert cli("cycle", farm, "--block", "Nope").code == 2
