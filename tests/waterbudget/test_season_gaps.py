"""Gaps of a station that has a neighbour: filled by line, labelled as far as the week sheet."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from neighbour_samples import DAYS, FIRST, higher, record, weather
from orchard_samples import block, change_orchard, farm

from waterbudget import season, sheet
from waterbudget.orchard import Station
from waterbudget.outlook import week_spread

ON = FIRST + dt.timedelta(days=DAYS)
GAPS = (100, 101, 180)
STATIONS = (Station(name="Hill", id=1, elevation_m=900.0),
            Station(name="Valley", id=2, elevation_m=600.0))  # fmt: skip


def two(gaps=GAPS, *, valley=True, noise=0.0, **changed):
    low = weather()
    records = {"Hill": record(higher(low, noise), without=gaps)}
    if valley:
        records["Valley"] = record(low)
    fields = {"et0": "computed", "stations": STATIONS, "records": records} | changed
    return farm(block(station="Hill"), **fields)


def date(i):
    return FIRST + dt.timedelta(days=i)


@pytest.fixture(scope="module")
def run():
    return season.run(two(), ON)


def test_a_gap_has_the_reference_et_the_station_would_have_read(run):
    """The stations differ by a straight line, so nothing is lost in the gaps."""
    whole = season.run(two(gaps=()), ON).stations["Hill"]
    hill = run.stations["Hill"]
    assert hill.et0_mm[:DAYS] == pytest.approx(whole.et0_mm[:DAYS], abs=1e-9)
    for i in GAPS:
        assert hill.made_from[i] == ("filled",)
        assert hill.filled_from[date(i)] == ("Valley",)
    assert hill.made_from[99] == ("measured",)
    alone = season.run(two(valley=False), ON).stations["Hill"]
    assert alone.made_from[100] == ("stand_in",)
    assert abs(alone.et0_mm[100] - whole.et0_mm[100]) > 0.05


def test_rain_of_the_gap_stays_unknown_and_counts_nothing(run):
    hill = run.stations["Hill"]
    assert np.isnan(hill.rain_mm[list(GAPS)]).all() and not hill.rain_from
    row = next(r for r in sheet.balance_rows(run, run.blocks[0]) if r["date"] == date(180))
    assert row["rain_mm"] == 0.0 and "rain_unknown" in row["flags"]


def test_a_neighbours_rain_stands_in_only_where_the_grower_says_so():
    wet = int(np.flatnonzero(weather()["rain_mm"][90:] > 0)[0]) + 90
    data = two(gaps=(wet,))
    assert np.isnan(season.run(data, ON).stations["Hill"].rain_mm[wet])
    allowed = season.run(change_orchard(data, neighbour_rain=True), ON)
    assert allowed.stations["Hill"].rain_mm[wet] == 12.0
    assert allowed.stations["Hill"].rain_from == {date(wet): "Valley"}
    assert allowed.blocks[0].rain_flags[date(wet)] == "rain_neighbour"
    assert allowed.drivers.rain_mm[wet, 0] == 12.0


def test_rain_typed_at_a_gauge_goes_before_a_neighbours():
    data = two(gaps=(180,), neighbour_rain=True, rain_typed={"farm": {date(180): 3.0}})
    run = season.run(data, ON)
    assert run.drivers.rain_mm[180, 0] == 3.0
    assert run.blocks[0].rain_flags[date(180)] == "rain_typed"


def test_the_week_says_how_much_was_filled_and_from_whom(run):
    made = sheet.made_with(run)
    hill = made["stations"]["Hill"]
    assert (hill["filled_days"], hill["filled_from"]) == (3, ["Valley"])
    assert hill["last_seven_days"] == {"measured": 6, "filled": 1}
    assert made["stations"]["Valley"]["filled_days"] == 0
    assert made["block_stations"] == {"Ridge": "Hill"}
    assert "weather_filled" in sheet.week_rows(run)[0].values["flags"]
    early = season.run(two(gaps=(100,)), ON)
    assert "weather_filled" not in sheet.week_rows(early)[0].values["flags"]


def test_a_filled_day_has_a_wider_band_the_worse_the_line():
    """A measured day is good to 10 %; a line without error adds nothing to it."""
    sure, rough = (season.run(two(noise=n), ON).stations["Hill"] for n in (0.0, 0.8))
    assert sure.band_pct[99] == rough.band_pct[99] == 10.0
    assert sure.band_pct[100] == pytest.approx(10.0, abs=1e-6)
    assert 11.0 < rough.band_pct[100] < rough.band_pct[DAYS]  # and a stand-in is worse still
    assert rough.made_from[DAYS] == ("stand_in",)


def test_the_hours_are_less_sure_where_days_stand_in(run):
    """10, 15 and 7 % make 19: told as 20.  The seven days to come stand in here."""
    band = sheet.made_with(run)["stations"]["Hill"]["et0_band_pct"]
    assert band > 15.0
    assert sheet.made_with(run)["uncertainty_pct"] >= 25
    spread = week_spread(run, 0)
    narrow = week_spread(run, 0, et0_share=0.10)
    assert spread.dry_end_mm[-1] > narrow.dry_end_mm[-1] + 0.5
    assert spread.wet_end_mm[-1] <= narrow.wet_end_mm[-1]


def test_a_past_morning_knows_no_later_day_of_the_neighbour():
    """On day 50 the two have too little in common for a line; the gap of day 40 stands in."""
    data = two(gaps=(40,))
    then = season.run(data, date(50)).stations["Hill"]
    assert then.made_from[40] == ("stand_in",)
    assert season.run(data, date(70)).stations["Hill"].made_from[40] == ("filled",)


def test_a_record_that_is_late_goes_on_by_its_neighbour():
    low = weather()
    own = {name: series[:170] for name, series in higher(low).items()}
    data = two(gaps=())
    data.records["Hill"] = record(own)
    hill = season.run(data, ON).stations["Hill"]
    assert hill.record_last == date(169)
    assert {hill.made_from[i] for i in range(170, DAYS)} == {("filled",)}
    whole = season.run(two(gaps=()), ON).stations["Hill"].et0_mm
    assert hill.et0_mm[170:DAYS] == pytest.approx(whole[170:DAYS], abs=1e-9)


def test_the_clock_runs_on_the_filled_temperatures():
    """A gap of the cold half: the plain mean of the days before would be too warm."""
    whole = season.run(two(gaps=()), ON)
    filled = season.run(two(gaps=range(60, 100)), ON)
    assert (filled.blocks[0].clock.stage == whole.blocks[0].clock.stage).all()


def test_a_change_at_the_neighbour_is_seen_through_the_cache():
    kept = season.Cache()
    data = two()
    before = season.run(data, ON, cache=kept)
    low = weather()
    low["rs_mj"][100] = 24.0
    records = dict(data.records) | {"Valley": record(low)}
    changed = two()
    changed.records.update(records)
    after = season.run(changed, ON, cache=kept)
    fresh = season.run(changed, ON)
    assert after.stations["Hill"].et0_mm[100] != before.stations["Hill"].et0_mm[100]
    assert (after.account.dr_mm == fresh.account.dr_mm).all()


def test_the_et0_answer_agrees_with_the_season(run):
    data = two()
    et = season.recorded_et0(data, data.orchard.station("Hill"))
    hill = run.stations["Hill"]
    assert et.et0_mm == pytest.approx(hill.et0_mm[:DAYS])
    assert et.made_from == hill.made_from[:DAYS]


def test_the_et0_answer_of_a_record_that_is_late_knows_no_later_day_either():
    low = weather()
    own = {name: series[:170] for name, series in higher(low, 0.8).items()}
    data = two(noise=0.8)
    data.records["Hill"] = record(own, without=(100,))
    et = season.recorded_et0(data, data.orchard.station("Hill"))
    then = season.run(data, date(170)).stations["Hill"]
    assert et.et0_mm[100] == then.et0_mm[100] and "filled" in et.made_from[100]


def test_where_the_file_brings_its_own_et0_a_filled_one_is_not_called_given():
    low = weather()
    own = {name: series for name, series in low.items() if name in ("tmax_c", "tmin_c")}
    own["et0_given_mm"] = low["rs_mj"] / 5
    hill = record(own, without=(100,), quantities=("tmax_c", "tmin_c", "et0_given_mm"))
    data = two(records={"Hill": hill, "Valley": record(low | {"et0_given_mm": low["rs_mj"] / 4})},
               et0="given")  # fmt: skip
    days = season.run(data, ON).stations["Hill"]
    assert days.made_from[100] == ("filled",) and days.made_from[99] == ("given",)
    assert days.et0_mm[100] == pytest.approx(low["rs_mj"][100] / 5)


def test_a_day_with_its_own_et0_and_a_filled_high_is_given():
    low = weather()
    hill = record(low | {"et0_given_mm": low["rs_mj"] / 5}, without=(100,), quantities=("tmax_c",))
    data = two(records={"Hill": hill, "Valley": record(low)}, et0="given")
    days = season.run(data, ON).stations["Hill"]
    assert days.made_from[100] == ("given",)
