"""The whole chain in one run: what it reads, what it must not read yet, that it hangs together."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
from orchard_samples import (
    FIRST,
    MONDAY,
    block,
    change,
    day,
    dr_morning,
    farm,
    forecast,
    handed_out,
    net_week,
    pruned,
    record,
)
from published_tables import rows

from waterbudget import season, sheet
from waterbudget.errors import Refused
from waterbudget.orchard import Cycle, Station
from waterbudget.records import ForecastDay, GivenSet, GivenWeek, Pin, Ran
from waterbudget.weather import Day

UNIT = {"kc_fixed": 1.0, "root_depth_m": 0.8}
"""One coefficient of 1: what the block takes is what the station says."""


def ridge(**changed):
    return block(**(UNIT | {"full_on": day(-4)} | changed))


def values(run, name="Ridge"):
    return next(r.values for r in sheet.week_rows(run) if r.values["block"] == name)


# ---------------------------------------------------------------- easy water by soil and roots


@pytest.mark.parametrize(
    "row", rows("easy_water"), ids=lambda r: f"{r['soil']} {r['root_depth_m']} {r['easy_mm']}"
)
def test_easy_water_as_tabled_and_the_days_it_lasts(row):
    """Spread over the block, from full, in a stage that may use that share."""
    one = block(
        soil=row["soil"], root_depth_m=float(row["root_depth_m"]), kc_fixed=1.0, full_on=day(-1),
        root_share=float(row["root_share"]), stage_numbers={"allowed_fill": float(row["allowed"])},
        p_stress=0.8, cycles=(Cycle(day(-170), seen_fill=day(-15), seen_harvest=None),),
    )  # fmt: skip
    etc = float(row["etc_mm"])
    cool = record(et0=etc, tmax=16.0, tmin=8.0)  # so cool that fruit fill goes on
    run = season.run(farm(one, records={"Gate": cool}, default_station="Gate"))
    allowed = run.drivers.allowed_mm[run.on_index, 0]
    assert allowed == pytest.approx(float(row["easy_mm"]), abs=0.051)
    assert allowed / etc == pytest.approx(float(row["days"]), abs=0.051)
    whole_days = int(float(row["easy_mm"]) / etc + 1e-9)
    assert run.block("Ridge").dryness.days_if_nothing_runs == whole_days + 1


def test_the_share_of_the_roots_is_the_wetted_share_unless_all_is_wetted():
    taw = {}
    for system in ("drip", "micro", "overhead", "basin"):
        run = season.run(farm(ridge(system=system, soil="sandy-loam")))
        taw[system] = float(run.drivers.taw_mm[0, 0])
    assert taw == pytest.approx({"drip": 33.6, "micro": 48.0, "overhead": 96.0, "basin": 48.0})
    streaky = season.run(farm(ridge(system="overhead", wetted_fraction=0.8)))
    assert streaky.drivers.taw_mm[0, 0] == pytest.approx(96.0)
    own = season.run(farm(ridge(system="drip", wetted_fraction=0.5)))
    assert own.drivers.taw_mm[0, 0] == pytest.approx(48.0)
    other = season.run(farm(ridge(system="drip", wetted_fraction=0.5, root_share=1.0)))
    assert other.drivers.taw_mm[0, 0] == pytest.approx(96.0)
    assert other.drivers.wetted_fraction[0] == 0.5


# ---------------------------------------------------------------- one simulated run


def test_one_day_of_rain_moves_week_balance_dry_list_and_map_together():
    """18 mm where 11.4 mm are missing: the room is filled, the rest drains, everywhere."""
    wet_day = day(-1)
    dry, wet = (
        season.run(farm(ridge(), records={"Gate": record(et0=3.8, rain=rain)}))
        for rain in ({}, {wet_day: 18.0})
    )
    row_dry, row_wet = values(dry), values(wet)
    assert row_dry["dr_start_mm"] == pytest.approx(11.4)
    assert row_wet["dr_start_mm"] == pytest.approx(3.8)  # full, less the day's own use
    need = [net_week(run, "Ridge") + values(run)["dr_end_mm"] for run in (dry, wet)]
    assert need[0] - need[1] == pytest.approx(7.6)
    assert net_week(wet, "Ridge") < net_week(dry, "Ridge")
    assert row_wet["drained_last_week_mm"] == pytest.approx(18 - 7.6)
    assert row_wet["easy_left_mm"] - row_dry["easy_left_mm"] == pytest.approx(7.6)
    day_dry, day_wet = (
        next(r for r in sheet.balance_rows(run, run.block("Ridge")) if r["date"] == wet_day)
        for run in (dry, wet)
    )
    assert (day_dry["rain_mm"], day_wet["rain_mm"]) == (0.0, 18.0)
    assert day_wet["drainage_mm"] == pytest.approx(10.4)
    assert day_wet["dr_mm"] == row_wet["dr_start_mm"]
    days = [next(iter(sheet.dry(run)))["days_if_nothing_runs"] for run in (dry, wet)]
    assert days == [1, 3]
    assert [r["dr_mm"] for run in (dry, wet) for r in sheet.dry(run)] == pytest.approx([11.4, 3.8])
    assert row_wet["net_mm"] == pytest.approx(sum(
        r["irrigation_mm"] for r in sheet.balance_rows(wet, wet.block("Ridge"), MONDAY)
    ))  # fmt: skip


def test_the_planned_week_is_the_end_of_the_account():
    run = season.run(farm(ridge()))
    assert run.days[-1] == day(6) and run.week == tuple(day(d) for d in range(7))
    assert len(run.days) == len(run.account.dr_mm) == len(run.drivers.et0_mm)
    assert np.abs(run.account.closure_mm).max() < 1e-9
    planned = {day(s.day): s.net_mm for s in run.block("Ridge").plan.sets}
    for r in sheet.balance_rows(run, run.block("Ridge"), MONDAY):
        assert r["irrigation_mm"] == pytest.approx(planned.get(r["date"], 0.0))
        assert "planned" in r["flags"]


def test_the_account_closes_on_every_block_and_day_of_a_mixed_farm():
    rng = np.random.default_rng(5)
    n = (MONDAY - FIRST).days
    rain = {FIRST + dt.timedelta(days=int(i)): float(rng.exponential(14)) for i in
            rng.choice(n, 40, replace=False)}  # fmt: skip
    cycles = (Cycle(day(-170)),)
    blocks = (
        block("Drip", 1, cycles=cycles, interception_mm=0.5, full_on=day(-40)),
        block("Slope", 2, cycles=cycles, system="overhead", curve_number=78.0),
        block("Young", 3, cycles=(), planted_on=dt.date(2025, 6, 1), system="micro"),
        block("Reach", 4, cycles=pruned(20), rain_reach=0.4, soil="clay", stones=0.3),
        block("Roots", 5, cycles=(*pruned(200), *pruned(30)), planted_on=dt.date(2025, 1, 1),
              stage_numbers={"root_depth_bloom": 0.3}),
        block("Fixed", 6, kc_fixed=0.85, kc_factor=1.1, system="basin"),
    )  # fmt: skip
    ran = tuple(
        Ran(int(rng.integers(1, 7)), FIRST + dt.timedelta(days=int(rng.integers(0, n))), hours=3.0)
        for _ in range(150)
    )
    data = farm(*blocks, records={"Gate": record(et0=rng.uniform(0, 8, n), rain=rain)}, ran=ran)
    run = season.run(data)
    a, d = run.account, run.drivers
    own = (
        a.dr_start_mm + a.evaporation_mm + a.transpiration_mm + d.runoff_mm + a.drainage_mm
        - d.rain_mm - d.irrigation_mm - a.correction_mm - a.dr_mm
    )  # fmt: skip
    assert np.abs(own).max() < 1e-9
    assert (a.dr_mm >= 0).all() and (a.dr_mm <= d.taw_mm + 1e-9).all()
    assert d.runoff_mm[:, 1].sum() > 10 and d.runoff_mm[:, [0, 2, 3, 4, 5]].sum() == 0
    assert a.correction_mm[:, 4].max() > 1  # roots grew shallow in bloom


# ---------------------------------------------------------------- a morning knows no later one


def later_things(data):
    """The same farm with all that came after ``MONDAY``'s morning."""
    gate = data.records["Gate"]
    longer = record(gate.first, day(9), et0=9.0, rain={MONDAY: 50.0, day(1): 40.0})
    for name, column in gate.values.items():
        longer.values[name][: len(column)] = column
    one = data.orchard.block("Ridge")
    cycle = dataclasses.replace(one.cycles[0], seen_harvest=MONDAY, harvest_end=day(3))
    after = forecast(day(1), et0=11.0, rain={2: 80.0})
    data = change(data, "Ridge", cycles=(cycle, Cycle(day(5))))
    return dataclasses.replace(
        data, records={"Gate": longer},
        forecasts={"Gate": (*data.forecasts["Gate"], *after)},
        rain_typed={"farm": {**data.rain_typed["farm"], MONDAY: 33.0, day(2): 21.0}},
        ran=(*data.ran, Ran(1, MONDAY, hours=9.0), Ran(1, day(2), m3=300.0)),
        given=(*data.given, GivenWeek(2, day(1), dt.datetime(2026, 3, 3, 6), (
            GivenSet(1, day(2), dt.time(6), 3.0, 5.0, 60.0),))),
    )  # fmt: skip


@pytest.fixture
def known_so_far():
    given = GivenWeek(1, day(-7), dt.datetime(2026, 2, 23, 6), (
        GivenSet(1, day(-5), dt.time(6), 3.0, 6.0, 60.0),
        GivenSet(1, day(-3), dt.time(6), 3.0, 6.0, 60.0),
        GivenSet(1, day(-1), dt.time(6), 3.0, 6.0, 60.0),
    ))  # fmt: skip
    return farm(
        ridge(cycles=(Cycle(day(-160), seen_fill=day(-9)),), full_on=day(-9)),
        forecasts={"Gate": forecast(MONDAY, et0=5.0, rain={2: 4.0})}, forecast_rain_credit=0.5,
        rain_typed={"farm": {day(-6): 2.0}}, ran=(Ran(1, day(-5), hours=2.5),), given=(given,),
    )  # fmt: skip


def test_a_past_morning_uses_nothing_that_came_later(known_so_far):
    before = season.run(known_so_far, MONDAY)
    after = season.run(later_things(known_so_far), MONDAY)
    assert sheet.week(after) == sheet.week(before)
    assert sheet.dry(after) == sheet.dry(before)
    for name in ("dr_mm", "etc_potential_mm", "drainage_mm"):
        np.testing.assert_array_equal(getattr(after.account, name), getattr(before.account, name))
    assert after.block("Ridge").past == before.block("Ridge").past
    assert after.block("Ridge").clock.cycles == before.block("Ridge").clock.cycles
    today = season.run(later_things(known_so_far))
    assert today.on == day(10)
    assert sheet.week(today) != sheet.week(before)


@pytest.mark.parametrize("what", ["record", "forecast", "typed", "ran", "seen", "given"])
def test_each_kind_of_later_news_matters_once_its_day_has_come(known_so_far, what):
    """The counterpart: the same news changes a later morning, so the test above is no accident."""
    on = day(4)
    news = later_things(known_so_far)
    part = {
        "record": {"records": news.records},
        "forecast": {"forecasts": news.forecasts},
        "typed": {"rain_typed": news.rain_typed},
        "ran": {"ran": news.ran},
        "seen": {"orchard": news.orchard},
        "given": {"given": news.given},
    }[what]
    with_it = season.run(dataclasses.replace(known_so_far, **part), on)
    assert sheet.week(with_it) != sheet.week(season.run(known_so_far, on))


def test_a_forecast_is_used_by_its_issue_date():
    two = (*forecast(day(-1), et0=3.0), *forecast(MONDAY, et0=6.0))
    for order in (two, two[::-1]):
        data = farm(ridge(), forecasts={"Gate": tuple(order)})
        assert values(season.run(data))["et0_mm"] == pytest.approx(42.0)
    early = season.run(farm(ridge(), forecasts={"Gate": two}), day(-1))
    assert values(early)["et0_mm"] == pytest.approx(21.0)
    assert early.stations["Gate"].forecast_issued == day(-1)


def test_the_record_takes_the_place_of_the_forecast():
    data = farm(ridge(), forecasts={"Gate": forecast(day(-7), et0=9.0, rain={5: 30.0})})
    run = season.run(data)
    i = run.on_index
    assert run.drivers.et0_mm[i - 7 : i, 0].tolist() == [4.5] * 7
    assert run.drivers.rain_mm[:i, 0].sum() == 0


# ---------------------------------------------------------------- what ran


def ran_days(run):
    return {s.date: s for s in run.block("Ridge").past}


def test_what_the_meter_says_beats_the_hours():
    data = farm(ridge(full_on=day(-5)))
    by_hours, by_meter, both = (
        season.run(dataclasses.replace(data, ran=(Ran(1, day(-2), hours, m3),)))
        for hours, m3 in ((4.0, None), (None, 53.0), (4.0, 53.0))
    )
    assert ran_days(by_hours)[day(-2)].m3 == pytest.approx(80.0)
    assert ran_days(by_meter)[day(-2)].hours == pytest.approx(53 / 20)
    assert ran_days(both)[day(-2)].m3 == 53.0
    assert dr_morning(by_meter, "Ridge") == dr_morning(both, "Ridge")
    assert dr_morning(by_meter, "Ridge") - dr_morning(by_hours, "Ridge") == pytest.approx(
        (80 - 53) * 0.9 / 10, abs=0.02
    )


def test_less_at_the_meter_is_missing_by_the_exact_difference():
    """212 of 265 m3 on 1.2 ha: a fifth less water, and just that much more missing."""
    one = ridge(area_ha=1.2, efficiency=0.85, system="micro", root_share=1.0, soil="loam",
                full_on=day(-12))  # fmt: skip
    full, less = (season.run(farm(one, ran=(Ran(1, day(-3), m3=m3),))) for m3 in (265.0, 212.0))
    i = full.on_index - 3
    applied = [float(r.drivers.irrigation_mm[i, 0]) for r in (full, less)]
    assert applied[1] / applied[0] == pytest.approx(0.8)
    assert less.account.dr_mm[i, 0] - full.account.dr_mm[i, 0] == pytest.approx(
        applied[0] - applied[1]
    )


def test_a_watering_entered_as_missed_counts_nothing_and_is_told():
    quiet, missed = (
        season.run(farm(ridge(), ran=ran)) for ran in ((), (Ran(1, day(-2), hours=0.0),))
    )
    assert dr_morning(missed, "Ridge") == dr_morning(quiet, "Ridge")
    assert ran_days(missed)[day(-2)].state == "missed"
    flags = {r["date"]: r["flags"] for r in sheet.balance_rows(missed, missed.block("Ridge"))}
    assert "missed" in flags[day(-2)] and "missed" not in flags[day(-3)]
    assert "nothing_entered" in values(quiet)["flags"]
    assert "nothing_entered" not in values(missed)["flags"]


def test_two_waterings_of_one_day_add_up():
    twice = season.run(
        farm(ridge(full_on=day(-9)), ran=(Ran(1, day(-2), 2.0), Ran(1, day(-2), 1.0)))
    )
    once = season.run(farm(ridge(full_on=day(-9)), ran=(Ran(1, day(-2), 3.0),)))
    assert dr_morning(twice, "Ridge") == pytest.approx(dr_morning(once, "Ridge"))
    assert len(twice.block("Ridge").past) == 2


@pytest.fixture
def week_given():
    """A week handed out a week ago with three waterings of 2 h; nobody confirmed any."""
    sets = tuple(GivenSet(1, day(d), dt.time(6), 2.0, 4.0, 40.0) for d in (-6, -4, -2))
    week = GivenWeek(1, day(-7), dt.datetime(2026, 2, 23, 6), sets)
    return farm(ridge(full_on=day(-8)), given=(week,))


def test_a_handed_out_watering_nobody_confirmed_counts_as_run(week_given):
    run = season.run(week_given)
    ran = season.run(dataclasses.replace(week_given, given=(), ran=tuple(
        Ran(1, day(d), m3=40.0) for d in (-6, -4, -2))))  # fmt: skip
    dry = season.run(dataclasses.replace(week_given, given=()))
    assert dr_morning(run, "Ridge") == pytest.approx(dr_morning(ran, "Ridge"))
    b = run.block("Ridge")
    assert {s.state for s in b.past} == {"not_confirmed"}
    assert b.dr_if_not_run_mm == pytest.approx(dr_morning(dry, "Ridge"))
    assert b.dr_if_not_run_mm > dr_morning(run, "Ridge") + 5
    assert "not_confirmed" in values(run)["flags"]
    assert ran.block("Ridge").dr_if_not_run_mm is None


def test_what_is_entered_beats_what_was_handed_out(week_given):
    entered = (Ran(1, day(-6), hours=0.0), Ran(1, day(-4), hours=1.0))
    run = season.run(dataclasses.replace(week_given, ran=entered))
    found = ran_days(run)
    assert [found[day(d)].state for d in (-6, -4, -2)] == ["missed", "ran", "not_confirmed"]
    assert found[day(-6)].planned_hours == found[day(-4)].planned_hours == 2.0
    i = run.on_index
    assert run.drivers.irrigation_mm[[i - 6, i - 4, i - 2], 0].tolist() == pytest.approx(
        [0.0, 20 * 0.9 / 10, 4.0 * 0.9]
    )
    nor = season.run(dataclasses.replace(week_given, ran=(*entered, Ran(1, day(-2), hours=0.0))))
    assert run.block("Ridge").dr_if_not_run_mm == pytest.approx(dr_morning(nor, "Ridge"))
    assert nor.block("Ridge").dr_if_not_run_mm is None


def test_a_week_handed_out_again_takes_the_place_of_the_rest_of_the_old_one(week_given):
    again = GivenWeek(2, day(-4), dt.datetime(2026, 2, 26, 6), (
        GivenSet(1, day(-3), dt.time(6), 3.0, 6.0, 60.0),))  # fmt: skip
    run = season.run(dataclasses.replace(week_given, given=(*week_given.given, again)))
    assert {d: s.m3 for d, s in ran_days(run).items()} == {day(-6): 40.0, day(-3): 60.0}


def test_todays_handed_out_watering_has_not_run_yet():
    week = GivenWeek(1, MONDAY, dt.datetime(2026, 3, 2, 6), (
        GivenSet(1, MONDAY, dt.time(6), 2.0, 4.0, 40.0),))  # fmt: skip
    assert season.run(farm(ridge(), given=(week,))).block("Ridge").past == ()


def test_changes_since_the_week_was_handed_out_are_told():
    data = farm(ridge())
    week = handed_out(season.run(data))
    same = season.run(dataclasses.replace(data, given=(week,)))
    assert same.given == week
    assert "changed_since_given" not in values(same)["flags"]
    pinned = dataclasses.replace(data, given=(week,), pins=(Pin(1, day(1), 5.0),))
    assert "changed_since_given" in values(season.run(pinned))["flags"]
    assert season.run(dataclasses.replace(data, given=(week,)), day(7)).given is None


# ---------------------------------------------------------------- gaps and stand-ins


def test_a_day_nobody_recorded_has_a_stand_in_and_unknown_rain_that_is_told():
    gap = day(-3)
    data = farm(ridge(), records={"Gate": record(et0=np.r_[np.full(179, 4.0), [5.0, 6.0, 7.0]],
                                                 without=[gap])})  # fmt: skip
    run = season.run(data)
    i = run.on_index - 3
    assert run.drivers.et0_mm[i, 0] == pytest.approx(4.0)  # the seven days before it
    assert run.stations["Gate"].made_from[i] == ("stand_in",)
    assert run.stations["Gate"].stand_in_rule[i] == "week"
    assert run.drivers.rain_mm[i, 0] == 0.0
    assert run.block("Ridge").rain_flags[gap] == "rain_unknown"
    row = next(r for r in sheet.balance_rows(run, run.block("Ridge")) if r["date"] == gap)
    assert {"stand_in", "rain_unknown"} <= set(row["flags"])
    assert "rain_unknown" in values(run)["flags"]
    told = season.run(farm(ridge())).block("Ridge")
    assert "rain_unknown" not in told.rain_flags.values()


def test_a_gap_takes_that_very_calendar_day_of_two_other_years():
    first = dt.date(2023, 1, 1)
    n = (MONDAY - first).days
    dates = [first + dt.timedelta(days=k) for k in range(n)]
    et0 = np.array([2.0 if d.day == 20 else 7.0 for d in dates])
    gap = dt.date(2026, 2, 20)
    run = season.run(farm(ridge(), records={"Gate": record(first, et0=et0, without=[gap])}))
    i = (gap - run.first).days
    assert run.drivers.et0_mm[i, 0] == 2.0
    assert run.stations["Gate"].stand_in_rule[i] == "calendar"


def test_the_coming_days_without_a_forecast_stand_in_and_say_by_which_rule():
    run = season.run(farm(ridge()))
    made = sheet.made_with(run)["stations"]["Gate"]
    assert made["coming_days"] == {"stand_in": 7}
    assert made["coming_stand_in"] == {"week": 7}
    forecasted = season.run(farm(ridge(), forecasts={"Gate": forecast(MONDAY, 4)}))
    made = sheet.made_with(forecasted)["stations"]["Gate"]
    assert made["coming_days"]["forecast"] == 4 and made["coming_days"]["stand_in"] == 3
    assert made["forecast_issued"] == MONDAY


def test_rain_that_was_only_forecast_never_fell():
    """The record ends four days ago; what was forecast then for the days since is not counted."""
    data = farm(
        ridge(full_on=day(-9)), records={"Gate": record(last=day(-5))}, forecast_rain_credit=1.0,
        forecasts={"Gate": forecast(day(-4), 11, et0=5.0, rain={1: 20.0, 5: 7.0})},
    )  # fmt: skip
    run = season.run(data, MONDAY)
    i = run.on_index
    assert run.drivers.rain_mm[i - 4 : i, 0].tolist() == [0.0] * 4
    assert run.block("Ridge").rain_flags[day(-3)] == "rain_unknown"
    assert run.drivers.rain_mm[i + 1, 0] == 7.0  # tomorrow it still may


def test_typed_rain_beats_the_station_and_the_blocks_own_gauge_the_farms():
    typed = {"farm": {day(-2): 5.0, day(-3): 7.0}, "Hill": {day(-2): 9.0}}
    data = farm(
        ridge(), block("Hill", 2, gauge="hill", **UNIT), rain_typed=typed,
        records={"Gate": record(rain={day(-2): 1.0, day(-4): 2.0})},
    )  # fmt: skip
    run = season.run(data)
    i, hill = run.on_index, run.block("Hill")
    assert run.drivers.rain_mm[i - 4 : i, 0].tolist() == [2.0, 7.0, 5.0, 0.0]
    assert run.drivers.rain_mm[i - 4 : i, hill.column].tolist() == [2.0, 7.0, 9.0, 0.0]
    assert run.block("Ridge").rain_flags == {day(-2): "rain_typed", day(-3): "rain_typed"}
    assert hill.rain_flags[day(-4)] == "rain_from_station"


def test_a_farm_without_a_station_has_no_hours_and_says_why():
    run = season.run(farm(ridge(), stations=(), records={}, rain_typed={"farm": {day(-1): 4.0}}))
    b = run.block("Ridge")
    assert run.on == MONDAY and "weather" in b.missing and b.dryness is None
    assert b.plan.sets == () and values(run)["why"].code == "why.no_weather"
    assert "weather_missing" in values(run)["flags"]


def test_each_block_reads_its_own_station():
    stations = (Station(name="Gate", id=1, elevation_m=900.0), Station(name="Top", id=2))
    data = farm(
        ridge(), block("High", 2, station="top", **UNIT), stations=stations,
        records={"Gate": record(et0=4.0), "Top": record(et0=6.0)},
    )  # fmt: skip
    run = season.run(data)
    assert values(run)["et0_mm"] == pytest.approx(28.0)
    assert values(run, "High")["et0_mm"] == pytest.approx(42.0)


# ---------------------------------------------------------------- the start, the day, the notes


def test_the_start_is_named_until_something_known_replaces_it():
    def start(**changed):
        records = changed.pop("records", {"Gate": record(day(-30))})
        return season.run(farm(ridge(**changed), records=records)).block("Ridge").start

    assert start(full_on=None).code == "start.assumed_full"
    assert start(full_on=None).fields == {"date": day(-30)}
    assert start(full_on=day(-4)).code == "start.known_full"
    assert start(full_on=None, records={"Gate": record(day(-60))}) is None
    assert start(full_on=None, records={"Gate": record(day(-59))}) is not None
    soaked = {"Gate": record(day(-30), rain={day(-10): 90.0})}
    assert start(full_on=None, records=soaked) is None
    drizzle = {"Gate": record(day(-30), rain={day(-10): 2.0})}
    assert start(full_on=None, records=drizzle).code == "start.assumed_full"
    assert start(full_on=None, records=drizzle, rain_reach=0.5).code == "start.assumed_full"


def test_the_start_is_full():
    run = season.run(farm(ridge(full_on=None), records={"Gate": record(day(-2), et0=3.0)}))
    assert run.first == day(-2)
    assert run.account.dr_start_mm[0, 0] == 0.0
    assert dr_morning(run, "Ridge") == pytest.approx(6.0)


def test_the_day_is_the_one_after_the_record_unless_it_is_given():
    data = farm(ridge())
    assert season.default_day(data) == season.run(data).on == MONDAY
    assert season.run(data, day(3)).on == day(3)
    with pytest.raises(Refused) as caught:
        season.run(farm(ridge(), records={}))
    assert caught.value.code == "season.no_record"


def test_an_old_record_is_pointed_out():
    assert season.run(farm(ridge()), day(6)).notes == ()
    (note,) = season.run(farm(ridge()), day(7)).notes
    assert note.code == "season.record_old"
    assert note.fields == {"last": day(-1), "days": 7}  # days without a record


def test_a_farm_without_blocks_runs():
    run = season.run(farm())
    assert run.blocks == () and run.account.dr_mm.shape == (len(run.days), 0)
    assert sheet.week(run)["blocks"] == [] and sheet.dry(run) == []
    assert len(run.pump_days) == 7


def test_four_years_are_run_at_most_unless_more_is_asked_for():
    long = {"Gate": record(dt.date(2019, 1, 1))}
    assert season.run(farm(ridge(), records=long)).first == MONDAY - dt.timedelta(days=4 * 366)
    since = season.run(farm(ridge(), records=long), since=dt.date(2020, 1, 1))
    assert since.first == dt.date(2020, 1, 1)


def test_higher_blocks_are_cooler_and_slower():
    data = farm(
        block("Low", 1, elevation_m=900.0), block("High", 2, elevation_m=1500.0),
        records={"Gate": record(FIRST)},
    )  # fmt: skip
    run = season.run(data)
    low, high = (run.block(n).cycle(MONDAY).full_bloom for n in ("Low", "High"))
    assert 15 < (high - low).days < 40  # 3.9 degrees cooler


def test_two_blocks_pruned_60_days_apart_have_their_own_stage_and_dates():
    data = farm(block("A", 1, cycles=pruned(160)), block("B", 2, cycles=pruned(100)))
    run = season.run(data)
    a, b = run.block("A"), run.block("B")
    assert (run.stage(a), run.stage(b)) == ("fill", "set")
    assert run.drivers.kcb[run.on_index].tolist() == pytest.approx([0.75, 0.70])
    moved = season.run(change(data, "B", cycles=pruned(60)))
    assert moved.stage(moved.block("B")) == "bloom"
    assert moved.block("A").clock.cycles == a.clock.cycles
    np.testing.assert_array_equal(moved.account.dr_mm[:, 0], run.account.dr_mm[:, 0])


def test_flow_and_trees_from_what_is_given():
    run = season.run(farm(
        ridge(), block("B", 2, flow_m3_h=None, outlet_l_h=8.0, outlets_per_tree=2.0),
        block("C", 3, flow_m3_h=None, trees=None, spacing_m=4.0, pattern="triangle",
              outlet_l_h=50.0),
        block("D", 4, flow_m3_h=None, trees=None),
    ))  # fmt: skip
    a, b, c, d = run.blocks
    assert (a.flow.m3_h, a.flow.source) == (20.0, None)  # nobody said where it comes from
    said = season.run(farm(ridge(flow_from="bucket"))).block("Ridge").flow
    assert (said.m3_h, said.source) == (20.0, "bucket")
    assert (b.flow.m3_h, b.flow.source) == (8.0, "catalogue")
    assert c.trees == 722 and c.flow.m3_h == pytest.approx(36.1)
    assert (d.flow.m3_h, d.trees) == (None, None) and "flow" in d.missing
    assert "flow_catalogue" in values(run, "B")["flags"]


def test_a_local_factor_scales_the_use_exactly():
    plain, scaled = (season.run(farm(ridge(kc_factor=f, full_on=day(-2)))) for f in (None, 0.9))
    i = plain.on_index - 1
    assert scaled.account.etc_mm[i, 0] == pytest.approx(0.9 * plain.account.etc_mm[i, 0])


def test_a_typed_day_of_forecast_values_does_not_leak_between_stations():
    """A forecast of one station says nothing about another."""
    stations = (Station(name="Gate", id=1), Station(name="Top", id=2))
    coming = (ForecastDay(MONDAY, Day(MONDAY, {"et0_given_mm": 9.0})),)
    run = season.run(farm(
        ridge(), block("High", 2, station="Top", **UNIT), stations=stations,
        records={"Gate": record(), "Top": record()}, forecasts={"Gate": coming},
        default_station="Gate",
    ))  # fmt: skip
    i = run.on_index
    assert run.drivers.et0_mm[i].tolist() == pytest.approx([9.0, 4.5])
