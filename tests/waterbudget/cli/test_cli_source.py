"""The ``source`` command: its grammar, its answers, its refusals."""

from __future__ import annotations

import pytest


def test_the_whole_source(cli, farm):
    cli("block", farm, "A", "--new", "area_ha=1", "flow_m3_h=20")
    assert cli("source", farm, "pump_m3_h=40", "right_m3_year=9000", "people=2",
               "minutes_a_valve=15", "work_from=06:00", "work_to=16:00").code == 0  # fmt: skip
    assert cli("source", farm, "River", "--new", "flow_m3_h=25.5", "runs_from=20:00").code == 0
    cli("block", farm, "A", "pump=river")
    found = cli("source", farm, "--json").json
    assert found["first_pump"]["flow_m3_h"] == 40 and found["first_pump"]["blocks"] == []
    (river,) = found["pumps"]
    assert (river["name"], river["flow_m3_h"], river["blocks"]) == ("River", 25.5, ["A"])
    assert found["people"]["valves_a_day"] == 80
    (right,) = found["rights"]
    assert (right["kind"], right["m3"], right["used_m3"], right["left_m3"]) == (
        "year", 9000, 0, 9000)  # fmt: skip
    assert found["tank"] is None and len(found["cautions"]) == 2
    told = cli("source", farm).out
    assert "River" in told and "left 9000" in told and "licensed electrician" in told


def test_what_ran_is_taken_off_the_right(cli, farm):
    cli("block", farm, "A", "--new", "area_ha=1", "flow_m3_h=20")
    cli("rain", farm, "--on", "2025-07-12", "--mm", "0")
    cli("ran", farm, "--block", "A", "--on", "2025-07-10", "--m3", "81")
    cli("ran", farm, "--block", "A", "--on", "2025-07-11", "--m3", "19.5")
    (right,) = cli("source", farm, "right_m3_year=500", "--json").json["rights"]
    assert (right["used_m3"], right["left_m3"]) == (100.5, 399.5)


def test_options_and_settings_in_any_order(cli, farm):
    assert cli("source", farm, "--json", "River", "flow_m3_h=5", "--new").json["flow_m3_h"] == 5
    assert cli("source", farm, "River", "flow_m3_h=", "--json").json["flow_m3_h"] is None
    assert cli("source", farm, "--remove", "River").code == 0
    assert cli("source", farm, "--json").json["pumps"] == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("River", "foo=1"), "known ones: flow_m3_h"),
        (("River", "flow_m3_h=abc"), "flow_m3_h"),
        (("Lake", "flow_m3_h=1"), "known ones: River"),
        (("Lake",), "known ones: River"),
        (("River", "--new"), "already a pump River"),
        (("River", "--new", "--remove"), "cannot go together"),
        (("River", "--remove", "note=x"), "leave the settings out"),
        (("--new",), "need the name"),
        (("lat=3",), "known ones: pump_m3_h"),
        (("people=0",), "between"),
        (("people=1", "people=2"), "twice"),
        (("River", "word"), "KEY=VALUE"),
    ],
)
def test_refused_in_one_sentence(cli, farm, words, says):
    cli("source", farm, "River", "--new")
    before = cli("source", farm, "--json").out
    answer = cli("source", farm, *words)
    assert answer.code == 2 and answer.out == ""
    assert answer.err.count("\n") == 1
    if says != "KEY=VALUE":
        assert says in answer.err
    assert cli("source", farm, "--json").out == before
