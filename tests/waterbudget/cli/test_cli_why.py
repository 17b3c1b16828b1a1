"""``why``: where the numbers of a block's week come from; and the keys that came with it."""

import pytest

from waterbudget.origin import NUMBERS


@pytest.fixture
def watered(cli, farm, tmp_path):
    rows = [f"2025-06-{d:02d},31.0,18.0,0.0,4.5" for d in range(1, 31)]
    (tmp_path / "station.csv").write_text(
        "\n".join(["date,tmax_c,tmin_c,rain_mm,et0_mm", *rows]), encoding="utf-8"
    )
    assert cli("farm", farm, "et0=given", "pump_head_m=60", "kc_climate=yes").code == 0
    assert cli("block", farm, "A", "--new", "area_ha=1.2", "system=micro", "sand_pct=60",
               "clay_pct=12", "rock_depth_m=0.6", "catch_ml=47 42 45 24", "flow_m3_h=37.5",
               "trees=750", "pruned_on=2025-01-10").code == 0  # fmt: skip
    assert cli("weather", farm, "station.csv", "--station", "Gate").code == 0
    return farm


def test_one_number_down_to_its_sources(cli, watered):
    got = cli("why", watered, "--block", "A", "--number", "taw").out
    assert "water the roots can hold (TAW)" in got
    assert "worked out from 60 % sand and 12 % clay; Saxton & Rawls (2006)" in got
    assert "down to the rock" in got and "p. 162" in got
    as_json = cli("why", watered, "--block", "A", "--number", "hours", "--json").json
    week = cli("week", watered, "--json").json["blocks"][0]
    assert as_json["value"] == week["hours"] > 0
    assert [p["number"] for p in as_json["parts"]] == ["m3", "flow", None]
    assert as_json["unsure"][0]["text"].startswith("Hours are good to about")


def test_all_numbers_in_the_order_of_the_water(cli, watered):
    found = cli("why", watered, "--block", "A", "--json").json
    assert [o["number"] for o in found] == list(NUMBERS)
    assert all(o["method"] and o["published"]["source"] for o in found)
    text = cli("why", watered, "--block", "A").out
    assert all(f"{number} (" in text for number in NUMBERS)
    assert "evenness of 4 catches" in text and "{" not in text and "origin." not in text


def test_what_cannot_be_asked(cli, watered):
    got = cli("why", watered, "--block", "A", "--number", "moon")
    assert got.code == 2 and "choose one of: stage, et0" in got.err
    assert cli("why", watered, "--block", "B").code == 2


def test_the_new_keys_are_kept_and_refused_in_one_sentence(cli, watered):
    shown = cli("block", watered, "A", "--json").json
    assert (shown["sand_pct"], shown["catch_ml"]) == (60.0, "47 42 45 24")
    assert cli("farm", watered, "--json").json["kc_climate"] is True
    energy = cli("week", watered, "--json").json["totals"]
    assert energy["energy_kwh"] == pytest.approx(energy["m3"] * 0.2725)
    for pair, told in (("clay_pct=45", "more than 100 %"), ("catch_ml=1 2", "4 catches or more"),
                       ("leaching=always", "none, in-rest")):  # fmt: skip
        got = cli("block", watered, "A", pair)
        assert got.code == 2 and told in got.err and got.err.count("\n") == 1
