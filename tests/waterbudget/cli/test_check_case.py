"""The check case, through the very commands the README shows.

Common practice arithmetic: 1.2 ha, 750 trees, ET0 4.5 mm, Kc 0.85, 8 mm of rain, efficiency 0.85
give 26.8 mm, 18.8 net, 22.1 gross, 265.1 m3, 353 L per tree and 7.07 h.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from own_et0_file import WEEK, write_own_et0


@pytest.fixture
def week(cli, farm):
    write_own_et0(Path("station.csv"), dt.date(2025, 6, 1), 43, 4.5, {})
    write_own_et0(Path("forecast.csv"), WEEK, 7, 4.5, {3: 8})
    assert cli("farm", farm, "forecast_rain_credit=1").code == 0
    keys = ("area_ha=1.2 pattern=square spacing_m=4 system=micro outlet_l_h=50 "
             "outlets_per_tree=1 efficiency=0.85 kc_fixed=0.85 soil=loam root_depth_m=0.8 "
             "root_share=1 target_dr_mm=11.475 full_on=2025-07-10")  # fmt: skip
    assert cli("block", farm, "A", "--new", *keys.split()).code == 0
    assert cli("weather", farm, "station.csv", "--station", "house").code == 0
    assert cli("weather", farm, "forecast.csv", "--forecast").code == 0
    answer = cli("week", farm, "--json")
    assert answer.code == 0, answer.err
    return answer.json


@pytest.mark.parametrize(
    ("key", "printed"),
    [("etc_mm", 26.775), ("net_mm", 18.775), ("gross_mm", 22.09), ("m3", 265.1),
     ("litres_per_tree", 353.4), ("hours_exact", 7.07), ("dr_start_mm", 11.475),
     ("dr_end_mm", 11.475), ("trees", 750), ("rain_credited_mm", 8), ("kc", 0.85)],
)  # fmt: skip
def test_printed_value(week, key, printed):
    assert week["blocks"][0][key] == pytest.approx(printed, rel=0.005)


def test_sets_are_quarter_hours_that_add_up(week):
    sets = week["blocks"][0]["sets"]
    hours = [s["hours"] for s in sets]
    assert all(h * 4 == int(h * 4) for h in hours)
    assert max(hours) - min(hours) <= 0.25
    assert sum(hours) == week["blocks"][0]["hours"]
    assert abs(sum(hours) - week["blocks"][0]["hours_exact"]) <= 0.125
    assert sum(s["m3"] for s in sets) == pytest.approx(sum(hours) * 37.5)


def test_every_day_is_marked_as_given(cli, farm, week):
    rows = cli("et0", farm, "--json").json
    assert len(rows) == 43
    assert {tuple(r["made_from"]) for r in rows} == {("given",)}
    assert {r["et0_mm"] for r in rows} == {4.5}


def test_net_is_what_the_account_says(cli, farm, week):
    block = week["blocks"][0]
    need = (block["dr_start_mm"] - block["dr_end_mm"] + block["etc_mm"]
            - block["rain_credited_mm"] + block["runoff_mm"] + block["drained_mm"])  # fmt: skip
    assert block["net_mm"] == pytest.approx(need, abs=1e-9)
    rows = cli("balance", farm, "--block", "a", "--json").json
    coming = [r for r in rows if r["date"] >= week["from"]]
    assert sum(r["irrigation_mm"] for r in coming) == pytest.approx(block["net_mm"], abs=1e-9)
    assert max(abs(r["closure_mm"]) for r in rows) < 1e-9


def test_a_week_handed_out_is_kept_and_counted(cli, farm, week):
    given = cli("week", farm, "--hand-out", "--json").json["given"]
    assert given["number"] == 1
    later = cli("balance", farm, "--block", "A", "--on", "2025-07-21", "--json").json
    by_day = {r["date"]: r for r in later}
    handed = {s["date"]: s for s in week["blocks"][0]["sets"]}
    for date, item in handed.items():
        assert "not_confirmed" in by_day[date]["flags"]
        assert by_day[date]["irrigation_gross_mm"] == pytest.approx(item["mm"])


def test_metered_water_beats_planned(cli, farm, week):
    cli("week", farm, "--hand-out")
    date = week["blocks"][0]["sets"][0]["date"]
    assert cli("ran", farm, "--block", "A", "--on", date, "--m3", "100").code == 0
    rows = cli("balance", farm, "--block", "A", "--on", "2025-07-21", "--json").json
    row = next(r for r in rows if r["date"] == date)
    assert row["irrigation_gross_mm"] == pytest.approx(100 / 12)
    assert row["irrigation_mm"] == pytest.approx(100 / 12 * 0.85)
    assert "not_confirmed" not in row["flags"]
