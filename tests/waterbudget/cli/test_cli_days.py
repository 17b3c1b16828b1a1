"""What counts on which day: the past knows nothing later, gaps are bridged and said, clocks run."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from own_et0_file import WEEK, write_own_et0

ON = str(WEEK)


def block(cli, farm, name, *keys):
    answer = cli("block", farm, name, "--new", "area_ha=1", "flow_m3_h=20", *keys)
    assert answer.code == 0, answer.err


def station(cli, farm, first, days, et0, rain=None, name="h"):
    write_own_et0(Path("s.csv"), first, days, et0, rain or {})
    answer = cli("weather", farm, "s.csv", "--station", name)
    assert answer.code == 0, answer.err


def balance(cli, farm, name, *more):
    rows = cli("balance", farm, "--block", name, *more, "--json").json
    return {r["date"]: r for r in rows}


@pytest.fixture
def two_pasts(cli):
    """One farm as it stood on the morning of 14 July, one that knows what came after."""
    for farm, days in (("then.gpkg", 225), ("later.gpkg", 260)):
        cli("new", farm, "--name", "Ridge", "--at", "-19.9,32.7")
        station(cli, farm, dt.date(2024, 12, 1), days, 4, {40: 22, 219: 6, 226: 30})
        block(cli, farm, "A", "pruned_on=2025-02-01", "seen_bloom=2025-04-20", "system=drip")
        block(cli, farm, "B", "pruned_on=2025-05-01", "gauge=hill")
        cli("ran", farm, "--block", "A", "--on", "2025-07-12", "--hours", 4)
        cli("rain", farm, "--on", "2025-07-10", "--mm", 7, "--gauge", "hill")
    later = "later.gpkg"
    for words in (
        ("ran", "--block", "A", "--on", ON, "--hours", 5),
        ("rain", "--on", ON, "--mm", 70), ("rain", "--on", ON, "--mm", 70, "--gauge", "hill"),
        ("block", "A", f"seen_set={ON}", "full_on=2025-07-20"),
        ("block", "B", "pruned_on=2025-08-05"),
        ("week", "--on", "2025-07-21", "--hand-out"),
    ):  # fmt: skip
        assert cli(words[0], later, *words[1:]).code == 0
    write_own_et0(Path("f.csv"), dt.date(2025, 7, 15), 7, 9, {2: 30})
    assert cli("weather", later, "f.csv", "--forecast").code == 0
    return "then.gpkg", later


@pytest.mark.parametrize("words", [("week",), ("dry",), ("balance", "--block", "A"),
                                   ("balance", "--block", "B")])  # fmt: skip
def test_a_past_morning_knows_nothing_later(cli, two_pasts, words):
    then, later = (cli(words[0], farm, *words[1:], "--on", ON, "--json").json for farm in two_pasts)
    assert then == later
    now = cli(words[0], two_pasts[1], *words[1:], "--on", "2025-07-15", "--json").json
    assert now != later  # one day on it is seen


def test_the_default_day_follows_the_record_not_the_forecast(cli, farm):
    assert cli("week", farm).code == 2
    station(cli, farm, dt.date(2024, 2, 29), 1, 4)
    write_own_et0(Path("f.csv"), dt.date(2024, 3, 4), 7, 9, {})
    cli("weather", farm, "f.csv", "--forecast")
    assert cli("week", farm, "--json").json["from"] == "2024-03-01"


@pytest.mark.parametrize(("days_later", "told"), [(7, False), (8, True), (400, True)])
def test_a_record_older_than_a_week_is_pointed_out(cli, farm, days_later, told):
    station(cli, farm, dt.date(2025, 6, 1), 30, 4)
    block(cli, farm, "A")
    on = dt.date(2025, 6, 30) + dt.timedelta(days=days_later)
    answer = cli("week", farm, "--on", on)
    assert answer.code == 0 and ("The record ends on 2025-06-30" in answer.out) == told


@pytest.mark.parametrize("on", ["1899-12-31", "2200-01-01", "0001-01-01", "9999-12-31", "2025-2-1"])
def test_a_day_out_of_all_bounds_is_refused(cli, farm, on):
    answer = cli("week", farm, "--on", on)
    assert answer.code == 2 and answer.out == "" and answer.err.count("\n") == 1


def rising(first: dt.date, days: int, holes: set[dt.date]) -> None:
    """ET0 of 3.00, 3.01 ...: every day is another figure."""
    lines = ["date,et0_mm,rain_mm"]
    for i in range(days):
        date = first + dt.timedelta(days=i)
        if date not in holes:
            lines.append(f"{date},{3 + i / 100:.2f},0")
    Path("s.csv").write_text("\n".join(lines) + "\n")


def test_a_gap_takes_the_mean_of_the_calendar_day_in_other_years(cli, farm):
    hole = dt.date(2025, 4, 15)
    rising(dt.date(2023, 1, 1), 900, {hole})
    cli("weather", farm, "s.csv", "--station", "h")
    block(cli, farm, "A", "kc_fixed=0.8")
    day = balance(cli, farm, "A")[str(hole)]
    assert day["et0_mm"] == pytest.approx((4.04 + 7.70) / 2)  # 15 April 2023 and 2024
    assert {"stand_in", "rain_unknown"} <= set(day["flags"]) and day["rain_mm"] == 0
    (told,) = [r for r in cli("et0", farm, "--json").json if r["date"] == str(hole)]
    assert (told["made_from"], told["rain_mm"]) == (["stand_in"], None)


def test_with_one_other_year_a_gap_takes_the_last_seven_days(cli, farm):
    hole = dt.date(2024, 4, 15)
    rising(dt.date(2023, 1, 1), 500, {hole, hole + dt.timedelta(days=1)})
    cli("weather", farm, "s.csv", "--station", "h")
    block(cli, farm, "A", "kc_fixed=0.8")
    rows = balance(cli, farm, "A")
    for date in ("2024-04-15", "2024-04-16"):  # 8 to 14 April; a stand-in makes no stand-in
        assert rows[date]["et0_mm"] == pytest.approx((7.63 + 7.69) / 2)


def test_the_calendar_is_cut_where_the_past_view_ends(cli, farm):
    hole = dt.date(2024, 4, 15)
    rising(dt.date(2022, 1, 1), 1300, {hole})
    cli("weather", farm, "s.csv", "--station", "h")
    block(cli, farm, "A", "kc_fixed=0.8")
    seen = balance(cli, farm, "A", "--on", "2024-05-01")[str(hole)]["et0_mm"]
    later = balance(cli, farm, "A", "--on", "2025-05-01")[str(hole)]["et0_mm"]
    assert seen == pytest.approx((4.04 + 7.69) / 2)
    assert later == pytest.approx((4.04 + 7.69 + 15.00) / 3)


def test_a_start_assumed_is_named_until_a_known_day_replaces_it(cli, farm):
    station(cli, farm, dt.date(2025, 6, 24), 20, 4)
    block(cli, farm, "A")
    block(cli, farm, "B", "full_on=2025-07-12")
    rows = {b["block"]: b for b in cli("week", farm, "--json").json["blocks"]}
    assert rows["A"]["start"] == "assumed full on 2025-06-24"
    assert "start_assumed" in rows["A"]["flags"] and "start_assumed" not in rows["B"]["flags"]
    assert rows["B"]["start"] == "known full on 2025-07-12"
    full = balance(cli, farm, "B")["2025-07-12"]
    assert full["dr_mm"] == 0 and full["correction_mm"] > 0


def test_two_stations_each_feed_their_blocks(cli, farm):
    station(cli, farm, dt.date(2025, 6, 1), 43, 4, name="Low")
    station(cli, farm, dt.date(2025, 6, 1), 43, 6, name="High")
    block(cli, farm, "A", "station=low")
    block(cli, farm, "B", "station=HIGH")
    block(cli, farm, "C")
    rows = {b["block"]: b for b in cli("week", farm, "--json").json["blocks"]}
    assert {n: r["et0_mm"] for n, r in rows.items()} == {"A": 28, "B": 42, "C": 28}
    assert "station_assumed" in rows["C"]["flags"] and "station_assumed" not in rows["A"]["flags"]
    cli("farm", farm, "default_station=high")
    rows = {b["block"]: b for b in cli("week", farm, "--json").json["blocks"]}
    assert rows["C"]["et0_mm"] == 42 and "station_assumed" not in rows["C"]["flags"]


def test_a_higher_block_is_later_and_a_seen_date_overrides(cli):
    farm = "hill.gpkg"
    cli("new", farm, "--name", "Hill", "--at", "-19.9,32.7", "--elevation", 900)
    days = [dt.date(2024, 12, 1) + dt.timedelta(days=i) for i in range(225)]
    Path("t.csv").write_text(
        "date,tmax_c,tmin_c,rain_mm\n" + "".join(f"{d},{28 + d.day % 3},16,0\n" for d in days)
    )
    cli("weather", farm, "t.csv", "--station", "h")
    for name, keys in (("Low", ()), ("High", ("elevation_m=1300",)),
                       ("Seen", ("seen_bloom=2025-04-01", "seen_fill=2025-06-20"))):  # fmt: skip
        block(cli, farm, name, "pruned_on=2025-01-01", *keys)

    def begins(name, stage):
        rows = balance(cli, farm, name)
        return min((d for d, r in rows.items() if r["stage"] == stage), default="never")

    assert begins("Low", "bloom") < begins("High", "bloom") < "2025-04-01"
    assert begins("Seen", "bloom") == "2025-04-01" and begins("Seen", "fill") == "2025-06-20"
    assert begins("Low", "pruned") == begins("High", "pruned") == "2025-01-01"
    cli("block", farm, "Seen", "seen_fill=")
    assert begins("Seen", "fill") > "2025-07-01"


def test_kc_factor_is_exact_and_stage_numbers_reach_the_account(cli, farm):
    station(cli, farm, dt.date(2025, 6, 1), 43, 4)
    block(cli, farm, "A", "soil=sandy loam", "root_depth_m=1", "stones=0.25", "root_share=0.5")
    one = balance(cli, farm, "A")["2025-06-02"]
    assert one["taw_mm"] == pytest.approx(1000 * (0.22 - 0.10) * 0.75 * 0.5)
    cli("block", farm, "A", "kc_factor=1.2")
    two = balance(cli, farm, "A")["2025-06-02"]
    assert two["kcb"] == pytest.approx(one["kcb"] * 1.2, rel=1e-12)
    cli("block", farm, "A", "kc_factor=", "kc_fixed=0.7")
    three = balance(cli, farm, "A")["2025-06-02"]
    assert (three["kcb"], three["ke"]) == (0.7, 0)
    for where, value in (("farm", 0.3), ("block", 0.2)):
        words = ("A",) if where == "block" else ()
        cli(where, farm, *words, f"allowed_young={value}")
        day = balance(cli, farm, "A")["2025-06-02"]
        assert day["allowed_mm"] == pytest.approx(value * day["taw_mm"])
    cli("block", farm, "A", "allowed_young=")
    day = balance(cli, farm, "A")["2025-06-02"]
    assert day["allowed_mm"] == pytest.approx(0.3 * day["taw_mm"])


def test_one_day_of_rain_moves_all_four(cli, farm):
    station(cli, farm, dt.date(2025, 6, 1), 43, 4)
    block(cli, farm, "A", "pruned_on=2025-01-20", "full_on=2025-07-07")

    def answers():
        week = cli("week", farm, "--json").json["blocks"][0]
        dry = cli("dry", farm, "--json").json
        paper = cli("week", farm).out
        return week["net_mm"], dry, paper, balance(cli, farm, "A")["2025-07-13"]["dr_mm"]

    before = answers()
    cli("rain", farm, "--on", "2025-07-12", "--mm", 14)
    for old, new in zip(before, answers(), strict=True):
        assert old != new
