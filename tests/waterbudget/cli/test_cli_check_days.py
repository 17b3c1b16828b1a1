"""Days to check on the command line: listed by what they move, accepted, corrected."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from own_et0_file import write_own_et0

ODD = "2025-07-09"


@pytest.fixture
def odd(cli, farm):
    """Forty-odd days, one of them with ten times the rain of any other."""
    first = dt.date(2025, 6, 1)
    rain = dict.fromkeys((3, 9, 17, 20), 4) | {38: 62}
    write_own_et0(Path("s.csv"), first, 43, 4, rain)
    assert cli("weather", farm, "s.csv", "--station", "House").code == 0
    done = cli("block", farm, "A", "--new", "area_ha=1", "flow_m3_h=20", "soil=loam",
               "planted_on=2020-01-01")  # fmt: skip
    assert done.code == 0
    return farm


def rows(cli, farm, *more):
    return cli("days", farm, "--json", *more).json


def record_rain(cli, farm):
    return cli("record", farm, "--from", ODD, "--to", ODD, "--json").json[0]["rain_mm"]


def test_the_list_says_what_came_and_what_it_would_move(cli, odd):
    (row,) = rows(cli, odd)
    assert (row["from"], row["to"], row["what"]) == (ODD, ODD, "rain_ten_times")
    assert row["came"][0]["value"] == "62.0" and row["came"][0]["used"] is None
    assert row["by"] == "value" and row["moves_mm"] > 5
    assert row["blocks"][0]["block"] == "A" and row["blocks"][0]["mm"] == -row["moves_mm"]
    told = cli("days", odd).out
    assert "rain_mm 62.0" in told and "did a decimal point go missing?" in told
    assert "rain counted 0" in told


def test_accepting_takes_it_off_the_list(cli, odd):
    number = rows(cli, odd)[0]["ids"][0]
    assert cli("days", odd, "--accept", number, "--json").json == []
    assert cli("days", odd).out.startswith("Nothing to check")
    again = cli("days", odd, "--accept", 99)
    assert again.code == 2 and "no finding with number 99" in again.err


def test_the_others_leave_what_matters(cli, odd):
    answer = cli("days", odd, "--accept-others")
    assert answer.code == 0 and "0 findings accepted" in answer.err
    assert len(rows(cli, odd)) == 1


def test_a_correction_needs_a_reason_and_can_be_taken_back(cli, odd):
    bare = cli("days", odd, "--correct", ODD, "rain_mm=6.2")
    assert bare.code == 2 and "--why" in bare.err
    done = cli("days", odd, "--correct", ODD, "rain_mm=6.2", "--why", "slipped", "--json")
    assert done.code == 0 and done.json == []
    assert record_rain(cli, odd) == 6.2
    assert cli("days", odd, "--correct", ODD, "rain_mm=unknown", "--why", "x").code == 0
    assert record_rain(cli, odd) is None
    assert cli("days", odd, "--correct", ODD, "rain_mm=came").code == 0
    assert record_rain(cli, odd) is None  # as the import left it: 62 is not used


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--correct", ODD, "rain=3", "--why", "x"), "rain"),
        (("--correct", ODD, "rain_mm", "--why", "x"), "rain_mm"),
        (("--correct", ODD, "rain_mm=wet", "--why", "x"), "wet"),
        (("--correct", ODD, "rain_mm=900", "--why", "x"), "between"),
        (("--correct", "9 July", "rain_mm=3", "--why", "x"), "9 July"),
        (("--why", "x"), "--correct"), (("--station", "Moon"), "Moon"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_sentence_and_changes_nothing(cli, odd, words, said):
    answer = cli("days", odd, *words)
    assert answer.code == 2 and said in answer.err and len(answer.err.strip().splitlines()) == 1
    assert len(rows(cli, odd)) == 1


def test_a_missing_day_has_no_number_and_can_wait(cli, odd):
    first = dt.date(2025, 7, 15)  # the day before was never read
    write_own_et0(Path("more.csv"), first, 3, 4, {})
    assert cli("weather", odd, "more.csv").code == 0
    (gap,) = [r for r in rows(cli, odd) if not r["ids"]]
    assert (gap["from"], gap["to"], gap["what"]) == ("2025-07-14", "2025-07-14", "gap")
    assert gap["days"][0]["made_from"] == ["stand_in"] and gap["by"] == "rain_5mm"


def test_a_gap_filled_from_a_neighbour_is_named_as_far_as_the_week(cli, farm):
    """Two shelves 1.5 degC apart, 80 days; the upper one was silent for a day."""
    first = dt.date(2025, 4, 25)
    for name, cooler, silent in (("Low", 0.0, None), ("High", 1.5, 60)):
        lines = ["date,tmax_c,tmin_c,rain_mm"]
        for i in range(80):
            high, low = 26 + i % 5 - cooler, 13 + i % 3 - cooler
            if i != silent:
                lines.append(f"{first + dt.timedelta(days=i)},{high},{low},0")
        Path("t.csv").write_text("\n".join(lines) + "\n")
        assert cli("weather", farm, "t.csv", "--station", name).code == 0
    assert cli("block", farm, "A", "--new", "area_ha=1", "flow_m3_h=20", "station=High").code == 0
    gap = str(first + dt.timedelta(days=60))
    told = {r["date"]: r for r in cli("et0", farm, "--station", "High", "--json").json}[gap]
    assert set(told["made_from"]) == {"temp_only", "filled"} and told["rain_mm"] is None
    assert (told["tmax_c"], told["tmin_c"]) == pytest.approx((24.5, 11.5))  # 26 and 13, 1.5 less
    made = cli("week", farm, "--json").json["made_with"]
    assert made["stations"]["High"]["filled_from"] == ["Low"]
    assert made["block_stations"] == {"A": "High"}
    assert "1 day of High filled from Low." in cli("week", farm).out
    (row,) = rows(cli, farm, "--station", "High")
    assert row["filled_from"] == ["Low"] and row["what"] == "gap"
    assert "filled from Low" in cli("days", farm).out
