"""What goes wrong gets one sentence, exit code 2, and stores nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from own_et0_file import WEEK, write_own_et0


def same(farm: str) -> bytes:
    return Path(farm).read_bytes()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("farm", "F", "pump=3"), "pump is not a farm setting"),
        (("farm", "F", "pump_m3_h=many"), "not a number"),
        (("farm", "F", "pump_m3_h=nan"), "not a number"),
        (("farm", "F", "pump_hours=25"), "between"),
        (("farm", "F", "work_from=20:00", "work_to=06:00"), "before it begins"),
        (("farm", "F", "time_zone=Mars/Base"), "no time zone"),
        (("farm", "F", "default_station=X"), "no station"),
        (("farm", "F", "pump_hours=4", "pump_hours=5"), "twice"),
        (("block", "F", "Nobody"), "no block called Nobody"),
        (("block", "F", "A", "colour=red"), "colour is not a block setting"),
        (("block", "F", "A", "area_ha=-1"), "between"),
        (("block", "F", "A", "pruned_on=2025-02-30"), "not a date"),
        (("block", "F", "A", "pruned_on=2093-02-03"), "future"),
        (("block", "F", "A", "seen_fill=2025-02-03"), "needs a pruning date"),
        (("block", "F", "A", "soil=moon-dust"), "choose one of"),
        (("block", "F", "A", "station=X"), "no station"),
        (("block", "F", "A", "field_capacity=0.2", "wilting_point=0.24"), "must be below"),
        (("block", "F", " a ", "--new"), "already"),
        (("block", "F", "--file", "none.csv"), "no file"),
        (("rain", "F", "--on", "2025-07-14", "--mm", "-3"), "cannot be"),
        (("rain", "F", "--on", "14.7.2025", "--mm", "3"), "not a date"),
        (("ran", "F", "--block", "A", "--on", "2025-07-01"), "--hours"),
        (
            (
                "ran",
                "F",
                "--block",
                "A",
                "--on",
                "2025-07-01",
                "--hours",
                "45",
                "--answer",
                "hours=hours",
            ),
            "longer than a day",
        ),
        (("ran", "F", "--block", "A", "--on", "2025-07-01", "--remove"), "nothing is entered"),
        (("ran", "F", "none.csv"), "no file"),
        (("week", "F"), "no weather record"),
        (("weather", "F", "none.csv", "--station", "s"), "no file"),
        (("outlines", "F", "none.geojson"), "no file"),
        (("record", "F"), "no weather station"),
        (("balance", "F", "--block", "Z"), "no block"),
        (("week", "nothere.gpkg"), "nothere.gpkg"),
        (("wek", "F"), "invalid choice"),
        (("new", "F", "--name", "again", "--at", "1,2"), "F"),
        (("new", "g.gpkg", "--name", "g", "--at", "100,2"), "not on the globe"),
        (("new", "g.gpkg", "--name", "g", "--at", "here"), "not a position"),
    ],
)
def test_refused(cli, farm, words, says):
    cli("block", farm, "A", "--new", "area_ha=1")
    before = same(farm)
    answer = cli(*[farm if w == "F" else w for w in words])
    assert answer.code == 2
    assert answer.out == ""
    assert len(answer.err.strip().splitlines()) == 1
    assert (farm if says == "F" else says) in answer.err
    assert same(farm) == before
    assert not Path("g.gpkg").exists()


def test_all_keys_of_a_call_or_none(cli, farm):
    cli("block", farm, "A", "--new", "area_ha=1")
    assert cli("block", farm, "A", "area_ha=2", "soil=cheese").code == 2
    assert cli("block", farm, "A", "--json").json["area_ha"] == 1


def test_a_bad_row_names_its_line_and_stores_nothing(cli, farm):
    Path("blocks.csv").write_text("name,area_ha,soil\nA,1.0,loam\nB,2.0,cheese\n")
    answer = cli("block", farm, "--file", "blocks.csv")
    assert answer.code == 2
    assert "line 3 (B)" in answer.err
    assert cli("block", farm, "--json").json == []


def test_questions_come_all_at_once_with_exit_3(cli, farm):
    Path("s.csv").write_text(
        "date,tmax,tmin,wind,rain_mm\n"
        + "".join(f"2025-07-{d:02d},24,12,2.5,0\n" for d in range(1, 14))
    )
    answer = cli("weather", farm, "s.csv", "--station", "s", "--json")
    assert answer.code == 3
    asked = {q["key"]: q for q in answer.json["questions"]}
    assert "wind_height_m" in asked
    assert asked["wind_height_m"]["choices"] is None and asked["wind_height_m"]["format"]
    words = cli("weather", farm, "s.csv", "--station", "s")
    assert words.code == 3 and "--answer wind_height_m=" in words.err and words.out == ""
    given = [w for k, q in asked.items() for w in
             ("--answer", f"{k}={'2' if q['choices'] is None else q['choices'][0]}")]  # fmt: skip
    assert cli("weather", farm, "s.csv", "--station", "s", *given).code == 0
    assert cli("weather", farm, "s.csv", "--station", "s", "--json").json["unchanged"] == 13


def test_an_unknown_answer_is_refused(cli, farm):
    write_own_et0(Path("s.csv"), WEEK, 20, 4.0, {})
    answer = cli("weather", farm, "s.csv", "--station", "s", "--answer", "colour=red")
    assert answer.code == 2 and "colour" in answer.err


def test_changed_days_are_asked_about_and_both_stay(cli, farm):
    write_own_et0(Path("s.csv"), WEEK, 5, 4.0, {})
    assert cli("weather", farm, "s.csv", "--station", "s", "--json").json["added"] == 5
    write_own_et0(Path("s.csv"), WEEK, 7, 4.0, {2: 11})
    answer = cli("weather", farm, "s.csv", "--station", "s", "--json")
    assert answer.code == 3
    assert answer.json["questions"][0]["choices"] == ["keep", "replace"]
    kept = cli(
        "weather", farm, "s.csv", "--station", "s", "--answer", "changed=keep", "--json"
    ).json
    assert (kept["added"], kept["unchanged"], len(kept["changed"])) == (2, 4, 1)
    assert cli("record", farm, "--json").json[2]["rain_mm"] == 0
    assert cli("weather", farm, "s.csv", "--station", "s", "--answer", "changed=replace").code == 0
    assert cli("record", farm, "--json").json[2]["rain_mm"] == 11


def test_entering_twice_is_one_entry_and_another_figure_is_refused(cli, farm):
    cli("block", farm, "A", "--new", "area_ha=1", "flow_m3_h=20")
    enter = ("ran", farm, "--block", "A", "--on", "2025-07-01")
    assert cli(*enter, "--hours", "2.5").code == 0
    assert cli(*enter, "--hours", "2.5").code == 0
    answer = cli(*enter, "--hours", "3")
    assert answer.code == 2 and "--again" in answer.err
    assert cli(*enter, "--hours", "3", "--again").out.strip().endswith("2.5 h, 3 h.")
    assert cli(*enter, "--remove").code == 0
    assert cli(*enter, "--remove").code == 2


def test_a_clean_copy_passes_check_and_a_broken_one_does_not(cli, farm):
    assert cli("check", farm).code == 0
    data = bytearray(Path(farm).read_bytes())
    data[5000:9000] = b"x" * 4000
    Path("broken.gpkg").write_bytes(bytes(data))
    answer = cli("check", "broken.gpkg")
    assert answer.code == 2 and answer.err.strip()


def test_help_and_no_words_are_not_errors(cli):
    assert cli("--help").code == 0
    assert cli().code == 0
    assert "week" in cli("week", "--help").out
