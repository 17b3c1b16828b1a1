"""``week``: the sheet, the calendar file, the message, one line a watering."""

import csv
import datetime as dt
import io
from pathlib import Path

import icalendar
import pytest
from own_et0_file import write_own_et0

MONDAY = "2025-07-14"


@pytest.fixture
def whole(cli, farm):
    write_own_et0(Path("s.csv"), dt.date(2025, 6, 1), 43, 4.5, {40: 3})
    cli("weather", farm, "s.csv", "--station", "house")
    for name, valve, person in (("A", "2", "Ann"), ("B", "1", "Ben"), ("C", "3", "Ann")):
        cli("block", farm, name, "--new", "area_ha=1.25", "flow_m3_h=20", "pruned_on=2025-02-05",
            f"valve={valve}", f"valve_person={person}")  # fmt: skip
    return farm


def rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_the_list_of_waterings_adds_up_to_the_week(cli, whole):
    week = cli("week", whole, "--json").json
    found = rows(cli("week", whole, "--sets-csv").out)
    assert sum(float(r["hours"]) for r in found) == pytest.approx(week["totals"]["hours"], abs=0.01)
    assert {r["person"] for r in found} == {"Ann", "Ben"}
    own = rows(cli("week", whole, "--sets-csv", "--person", "ben").out)
    assert {r["block"] for r in own} == {"B"}
    assert not any(r["pump"] for r in own)


def test_sheet_and_pdf_are_one_paper_and_the_language_changes_it(cli, whole):
    assert cli("week", whole, "--sheet", "a.pdf").code == 0
    assert cli("week", whole, "--pdf", "b.pdf").code == 0
    assert cli("week", whole, "--sheet", "c.pdf", "--language", "es").code == 0
    a, b, c = (Path(f"{n}.pdf").read_bytes() for n in "abc")
    assert a == b != c


def test_the_week_handed_out_is_what_is_printed_until_another_is(cli, whole):
    cli("week", whole, "--hand-out")
    given = cli("week", whole, "--sets-csv").out
    assert cli("week", whole, "--sets-csv").err == ""
    cli("block", whole, "A", "kc_fixed=0.3")
    again = cli("week", whole, "--sets-csv")
    assert again.out == given and "number 1; the plan has changed" in again.err
    assert cli("week", whole, "--sets-csv", "--given", 1).out == given
    assert cli("week", whole, "--sets-csv", "--proposal").out != given
    assert cli("week", whole, "--hand-out", "--sheet", "w.pdf").code == 0
    new = cli("week", whole, "--sets-csv")
    assert new.err == "" and {r["number"] for r in rows(new.out)} == {"2"}
    assert cli("week", whole, "--sets-csv", "--given", 1).out == given


def test_the_calendar_file_holds_the_waterings(cli, whole):
    assert "waterings" in cli("week", whole, "--ics", "w.ics", "--language", "es").out
    events = icalendar.Calendar.from_ical(Path("w.ics").read_bytes()).walk("VEVENT")
    found = rows(cli("week", whole, "--sets-csv").out)
    hours = sum((e["DTEND"].dt - e["DTSTART"].dt).total_seconds() / 3600 for e in events)
    assert len(events) == len(found)
    assert hours == pytest.approx(sum(float(r["hours"]) for r in found))


def test_a_message_a_person(cli, whole):
    english, spanish = (cli("week", whole, "--message", *more).out
                        for more in ((), ("--language", "es")))  # fmt: skip
    assert english.count("Waterings ") == 2 and spanish.count("Riegos ") == 2
    assert "valve 2 A" in english and "válvula 2 A" in spanish
    assert "Ben" not in cli("week", whole, "--message", "--person", "Ann").out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--language", "es"), "go with --sheet"),
        (("--person", "Ann"), "go with --sheet"),
        (("--given", "1"), "go with --sheet"),
        (("--message", "--language", "xx"), "It speaks: en, es"),
        (("--message", "--person", "Cleo"), "valve people are: Ann, Ben"),
        (("--hand-out", "--sheet", "w.pdf", "--person", "Cleo"), "valve people are: Ann, Ben"),
        (("--message", "--given", "4"), "The numbers are: -"),
        (("--message", "--hand-out", "--proposal"), "Give one of"),
        (("--message", "--sets-csv"), "not allowed with"),
        (("--ics", "nowhere/w.ics"), "nowhere"),
        (("--hand-out", "--ics", "nowhere/w.ics"), "nowhere"),
    ],
)
def test_one_sentence_and_nothing_stored(cli, whole, words, says):
    before = Path(whole).read_bytes()
    answer = cli("week", whole, *words)
    assert answer.code == 2 and answer.out == "" and says in answer.err
    assert answer.err.count("\n") == 1
    assert Path(whole).read_bytes() == before


def test_a_number_and_another_morning_do_not_go_together(cli, whole):
    cli("week", whole, "--hand-out")
    answer = cli("week", whole, "--message", "--given", 1, "--on", "2025-07-10")
    assert answer.code == 2 and f"begins on {MONDAY}" in answer.err
