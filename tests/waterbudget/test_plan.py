"""The week's waterings: how many, on which days, how deep, how long, and when they start."""

import dataclasses
import datetime as dt
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard_samples import (
    MONDAY,
    block,
    by_day,
    change,
    change_orchard,
    day,
    farm,
    forecast,
    net_week,
    pruned,
    record,
)

from waterbudget import plan, season, sheet, shifts
from waterbudget.orchard import SOILS, SYSTEMS, WEEKDAYS
from waterbudget.plan import BlockLimits, BlockPlan, PlannedSet, Source
from waterbudget.records import Pin, Ran

SIX, EIGHTEEN = dt.time(6), dt.time(18)


def even(name="Ridge", number=1, **changed):
    """Sandy loam under drip in fruit fill, full last night: 11.76 mm of easy water, 3.8 a day."""
    fields = {"kc_fixed": 1.0, "root_depth_m": 0.8, "full_on": day(-1)} | changed
    return block(name, number, **fields)


def even_farm(*blocks, et0=3.8, **changed):
    fields = {"records": {"Gate": record(et0=et0)}} | changed
    return farm(*(blocks or (even(),)), **fields)


def days_of(run, name="Ridge"):
    return [s.day for s in run.block(name).plan.sets]


def row(run, name="Ridge"):
    return next(r.values for r in sheet.week_rows(run) if r.values["block"] == name)


# ---------------------------------------------------------------- the check case


@pytest.fixture(scope="module")
def checked():
    one = block(
        area_ha=1.2, trees=None, pattern="square", spacing_m=4.0, system="micro", outlet_l_h=50.0,
        outlets_per_tree=1.0, flow_m3_h=None, efficiency=0.85, kc_fixed=0.85, soil="loam",
        root_depth_m=0.8, root_share=1.0, full_on=day(-4), target_dr_mm=11.475,
    )  # fmt: skip
    return season.run(farm(one, forecasts={"Gate": forecast(MONDAY, rain={3: 8.0})},
                           forecast_rain_credit=1.0))  # fmt: skip


@pytest.mark.parametrize(
    ("what", "value"),
    [
        ("dr_start_mm", 11.475), ("et0_mm", 31.5), ("etc_mm", 26.775), ("rain_mm", 8.0),
        ("rain_credited_mm", 8.0), ("net_mm", 18.775), ("gross_mm", 22.088), ("m3", 265.06),
        ("litres_per_tree", 353.4), ("hours_exact", 7.068), ("dr_end_mm", 11.475),
        ("flow_m3_h", 37.5), ("trees", 750), ("kc", 0.85),
    ],
)  # fmt: skip
def test_the_check_case_of_common_practice_arithmetic(checked, what, value):
    assert row(checked)[what] == pytest.approx(value, rel=0.005)


def test_the_check_case_drains_nothing_and_is_given_in_quarter_hours(checked):
    values = row(checked)
    assert values["drained_mm"] == pytest.approx(0.0, abs=1e-6)
    assert values["hours"] == 7.0
    assert sum(s["hours"] for s in values["sets"]) == 7.0
    assert all(made == ("forecast", "given") or "given" in made
               for made in checked.stations["Gate"].made_from[checked.on_index :][:7])  # fmt: skip


# ---------------------------------------------------------------- even waterings


def test_sandy_loam_under_drip_is_watered_at_least_three_times_and_never_waits_past_its_limit():
    run = season.run(even_farm())
    sets = run.block("Ridge").plan.sets
    gaps = np.diff([s.day for s in sets])
    assert len(sets) >= 3
    assert max(gaps) <= 3.1
    assert max(s.net_mm for s in sets) <= 1.05 * min(s.net_mm for s in sets)
    limit = run.limit_mm(0)[run.on_index :]
    assert (run.account.dr_start_mm[run.on_index :, 0] <= limit + 0.01).all()
    assert run.block("Ridge").dryness.days_as_planned is None


def test_a_roomy_soil_is_watered_less_often():
    roomy = even_farm(even(soil="clay-loam", root_share=1.0))
    assert len(days_of(season.run(roomy))) < len(days_of(season.run(even_farm())))


def test_the_week_repeats_without_drainage_and_without_a_dry_morning():
    """Seven weeks run just as planned: the same waterings, nothing lost, never past the limit."""
    data, counts = even_farm(), []
    for week in range(7):
        on = day(7 * week)
        if week:
            ends = on - dt.timedelta(days=1)
            data = dataclasses.replace(data, records={"Gate": record(last=ends, et0=3.8)})
        run = season.run(data, on)
        sets = run.block("Ridge").plan.sets
        counts.append(len(sets))
        assert run.account.drainage_mm[run.on_index :].sum() < 0.2, week
        ran = tuple(Ran(1, day(s.day, on), m3=s.gross_mm * 10.0) for s in sets)
        data = dataclasses.replace(data, ran=data.ran + ran)
        assert run.block("Ridge").dryness.days_as_planned is None, week
    assert set(counts[1:]) == {3}
    assert run.account.drainage_mm[run.on_index - 42 :].sum() < 0.5


def test_the_default_target_is_one_days_use_where_the_soil_allows_it():
    """Watered on the last day, the day's own use is what is missing in the evening."""
    run = season.run(even_farm())
    assert run.block("Ridge").plan.target_dr_mm == pytest.approx(3.8, abs=0.4)
    assert row(run)["dr_end_mm"] == pytest.approx(run.block("Ridge").plan.target_dr_mm, abs=0.1)


def test_the_target_the_grower_sets_is_met():
    for target in (6.0, 10.0):
        run = season.run(even_farm(even(target_dr_mm=target, full_on=day(-3))))
        assert row(run)["dr_end_mm"] == pytest.approx(target, abs=0.15)


def test_a_target_wetter_than_a_day_takes_is_approached():
    run = season.run(even_farm(even(target_dr_mm=2.0, full_on=day(-3))))
    assert 3.8 - 1e-6 <= row(run)["dr_end_mm"] <= 2 * 3.8
    assert row(run)["drained_mm"] < 1.5


def test_a_block_that_needs_nothing_gets_nothing():
    wet = record(et0=3.8, rain={day(-1): 400.0})
    roomy = even(soil="clay-loam", root_share=1.0, root_depth_m=1.5, full_on=None)
    run = season.run(even_farm(roomy, records={"Gate": wet}))
    assert days_of(run) == []
    assert net_week(run, "Ridge") == 0.0
    assert row(run)["why"].code == "why.enough"


def test_a_need_too_small_for_a_walk_waits():
    """A quarter hour's water is missing; the shortest watering is half an hour."""
    run = season.run(even_farm(even(target_dr_mm=26.4, soil="clay-loam", root_share=1.0)))
    assert days_of(run) == []
    assert 0 < row(run)["dr_end_mm"] - 26.4 < 0.9


def test_daily_waterings_where_the_limit_is_less_than_a_days_use():
    shallow = even(soil="sand", root_depth_m=0.4, root_share=0.35)  # 3.7 mm of easy water
    run = season.run(even_farm(shallow, et0=8.0))
    assert days_of(run) == list(range(7))
    assert run.block("Ridge").plan.limit_below_day
    assert "limit_below_a_day" in sheet.flags(run, run.block("Ridge"))
    assert not season.run(even_farm()).block("Ridge").plan.limit_below_day


def test_no_watering_is_longer_than_the_system_allows_where_more_often_will_do():
    usual = season.run(even_farm(even(full_on=day(-3), flow_m3_h=12.0)))
    short = season.run(even_farm(even(full_on=day(-3), flow_m3_h=12.0, set_hours_max=5.0)))
    assert max(s.hours for s in usual.block("Ridge").plan.sets) > 5.25
    assert max(s.hours for s in short.block("Ridge").plan.sets) <= 5.25
    assert len(days_of(short)) > len(days_of(usual))
    assert row(short)["dr_end_mm"] == pytest.approx(row(usual)["dr_end_mm"], abs=1.0)
    assert "set_too_long" not in sheet.flags(short, short.block("Ridge"))


@pytest.mark.parametrize("flow", [6.0, 3.0, 1.0])
def test_a_valve_too_small_for_the_need_gives_what_it_can_every_day(flow):
    run = season.run(even_farm(even(flow_m3_h=flow, set_hours_max=4.0, full_on=day(-3))))
    sets = run.block("Ridge").plan.sets
    assert [s.hours for s in sets] == [4.0] * 7
    assert run.block("Ridge").dryness.alarm
    assert "set_too_long" in sheet.flags(run, run.block("Ridge"))


def test_forecast_rain_counts_by_the_share_the_grower_trusts():
    nets = []
    for credit in (0.0, 0.5, 1.0):
        data = even_farm(forecasts={"Gate": forecast(MONDAY, et0=3.8, rain={2: 6.0})},
                         forecast_rain_credit=credit)  # fmt: skip
        run = season.run(data)
        assert row(run)["rain_mm"] == pytest.approx(6.0)
        assert row(run)["rain_credited_mm"] == pytest.approx(6.0 * credit)
        nets.append(net_week(run, "Ridge") - (3.8 - row(run)["dr_end_mm"]))
    assert nets[0] - nets[1] == pytest.approx(3.0, abs=0.05)
    assert nets[0] - nets[2] == pytest.approx(6.0, abs=0.05)


def test_no_forecast_no_rain():
    assert row(season.run(even_farm(forecast_rain_credit=1.0)))["rain_mm"] == 0.0


# ---------------------------------------------------------------- days, pins, dry-downs


def test_nobody_waters_on_a_day_off():
    data = even_farm(days_off=("tue", "thu", "sun"))
    run = season.run(data)
    off = {WEEKDAYS[day(d).weekday()] for d in days_of(run)} & {"tue", "thu", "sun"}
    assert not off
    assert days_of(run)


def test_a_pinned_watering_stays_and_the_others_make_up_for_it():
    free = season.run(even_farm())
    data = even_farm(pins=(Pin(1, day(1), 1.5, dt.time(9)),))
    run = season.run(data)
    by = by_day(run, "Ridge", lambda s: s)
    assert by[day(1)].hours == 1.5 and by[day(1)].pinned
    assert by[day(1)].start == dt.time(9)
    assert by[day(1)].net_mm == pytest.approx(1.5 * 20 * 0.9 / 10)
    assert not any(s.pinned for d, s in by.items() if d != day(1))
    others = [s.net_mm for d, s in by.items() if d != day(1)]
    assert max(others) == pytest.approx(min(others))
    assert net_week(run, "Ridge") - net_week(free, "Ridge") == pytest.approx(
        row(free)["dr_end_mm"] - row(run)["dr_end_mm"], abs=0.2
    )


def test_a_cell_pinned_to_nothing_stays_dry():
    run = season.run(
        even_farm(even(full_on=day(-4)), pins=tuple(Pin(1, day(d), 0) for d in (0, 1)))
    )
    assert not {0, 1} & set(days_of(run))
    assert run.block("Ridge").dryness.days_as_planned == 1
    assert run.block("Ridge").plan.past_limit_mm > 1


def test_a_pin_beats_a_day_off_and_a_dry_down():
    pins = (Pin(1, day(0), 2.0),)
    assert days_of(season.run(even_farm(days_off=("mon",), pins=pins)))[0] == 0
    run = season.run(even_farm(even(dry_until=day(30)), pins=pins))
    assert days_of(run) == [0]


def test_a_pin_of_another_week_does_nothing():
    assert (
        season.run(even_farm(pins=(Pin(1, day(7), 3.0), Pin(1, day(-1), 3.0)))).block("Ridge").plan
        == season.run(even_farm()).block("Ridge").plan
    )


def test_a_block_dried_down_on_purpose_is_kept_dry_until_then():
    run = season.run(even_farm(even(dry_until=day(3), full_on=day(-3))))
    assert days_of(run) and min(days_of(run)) >= 4
    never = season.run(even_farm(even(dry_until=day(40))))
    assert days_of(never) == [] and net_week(never, "Ridge") == 0
    assert row(never)["why"].code == "why.dry_until"


# ---------------------------------------------------------------- hours of the day, and the pump


def wide_farm(seed):
    """Some blocks of all kinds under one pump."""
    rng = np.random.default_rng(seed)
    blocks = []
    for k in range(int(rng.integers(1, 7))):
        blocks.append(block(
            f"B{k}", k + 1, area_ha=float(rng.uniform(0.2, 3.0)),
            flow_m3_h=float(rng.uniform(5, 60)) if rng.random() < 0.9 else None,
            system=str(rng.choice(SYSTEMS)), soil=str(rng.choice(SOILS)),
            cycles=pruned(int(rng.integers(0, 300))) if rng.random() < 0.9 else (),
            root_depth_m=float(rng.uniform(0.3, 1.2)),
            full_on=day(-int(rng.integers(1, 9))),
            kc_fixed=float(rng.uniform(0.5, 1.1)) if rng.random() < 0.3 else None,
            target_dr_mm=float(rng.uniform(0, 15)) if rng.random() < 0.2 else None,
            dry_until=day(int(rng.integers(0, 5))) if rng.random() < 0.2 else None,
            rain_reach=float(rng.uniform(0.3, 1)) if rng.random() < 0.3 else None,
            curve_number=75.0 if rng.random() < 0.2 else None,
        ))  # fmt: skip
    off = tuple(d for d in WEEKDAYS if rng.random() < 0.2)[:5]
    days_off = off if rng.random() < 0.6 else ()
    pins = []
    for k in range(len(blocks)):
        for d in range(7):
            if rng.random() < 0.06:
                start = dt.time(int(rng.integers(0, 24)), 15) if rng.random() < 0.5 else None
                pins.append(Pin(k + 1, day(d), float(rng.integers(0, 17)) / 4, start))
    rain = {int(d): float(rng.uniform(0, 25)) for d in rng.integers(0, 7, 2)}
    return farm(
        *blocks, days_off=days_off, pins=tuple(pins),
        pump_m3_h=float(rng.uniform(30, 120)) if rng.random() < 0.8 else None,
        pump_hours=float(rng.uniform(4, 20)) if rng.random() < 0.7 else None,
        work_from=dt.time(int(rng.integers(4, 9)), 30), work_to=dt.time(int(rng.integers(12, 20))),
        night_sets=bool(rng.random() < 0.3), forecast_rain_credit=float(rng.uniform(0, 1)),
        records={"Gate": record(first=day(-20), et0=rng.uniform(2, 8, 20))},
        forecasts={"Gate": forecast(MONDAY, et0=float(rng.uniform(2, 8)), rain=rain)},
    )  # fmt: skip


def minutes(time):
    return time.hour * 60 + time.minute


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_any_week_keeps_its_promises(seed):
    data = wide_farm(seed)
    run, farm_ = season.run(data), data.orchard
    pins = {(p.block_id, (p.date - MONDAY).days): p for p in data.pins}
    for b in run.blocks:
        held = {s.day: s for s in b.plan.sets}
        free = [s for s in b.plan.sets if not s.pinned]
        for d in range(7):
            pin, s = pins.get((b.block.id, d)), held.get(d)
            known = b.flow.m3_h is not None
            if pin is not None and known:
                assert (s.hours if s else 0) == pin.hours
                assert s is None or pin.start is None or s.start == pin.start
            elif pin is not None:
                assert s is None  # hours mean nothing without a flow
            elif s is not None:
                assert WEEKDAYS[day(d).weekday()] not in farm_.days_off
                assert b.block.dry_until is None or day(d) > b.block.dry_until
        fed = {d for soak in b.limits.soaks for d in soak.days}  # one of its own may be made then
        depths = [s.net_mm for s in free if s.day not in fed]
        even = run.shared is None  # a shortage is shared as evenly as it allows, see test_share
        assert not depths or not even or max(depths) - min(depths) < 1e-9
        assert sum(s.net_mm for s in b.plan.sets) <= net_week(run, b.block.name) + 1e-9
        pinned = sum(s.net_mm for s in b.plan.sets if s.pinned)
        assert_rounding(b, free, net_week(run, b.block.name) - pinned, even)
    assert_hours(run, farm_)
    assert_account(run)


def assert_rounding(b, free, net, even):
    if b.flow.m3_h is None:
        assert all(s.hours is None and s.start is None for s in b.plan.sets)
        return
    hours = [s.hours for s in free]
    assert all(h > 0 and (4 * h).is_integer() for h in hours)
    fed = {d for soak in b.limits.soaks for d in soak.days}
    like = [s.hours for s in free if s.day not in fed]
    assert not like or not even or max(like) - min(like) <= 0.25
    assert sum(hours) == pytest.approx(net / b.limits.net_mm_per_hour, abs=0.125 + 1e-6)
    for s in b.plan.sets:
        assert s.m3 == pytest.approx(s.hours * b.flow.m3_h)
        assert s.mm == pytest.approx(s.m3 / (b.hectares * 10))
        assert s.gross_mm * b.efficiency == pytest.approx(s.net_mm)


def assert_hours(run, farm_):
    """Work hours, pump and starts, set by set and quarter hour by quarter hour."""
    opens, closes = minutes(farm_.work_from), minutes(farm_.work_to)
    ends = opens + 24 * 60 if farm_.night_sets else closes
    for d, pump_day in enumerate(run.pump_days):
        use, over = np.zeros(3 * 96), False
        sets = [(b, s) for b in run.blocks for s in b.plan.sets if s.day == d and s.hours]
        for b, s in sets:
            at, length = minutes(s.start), round(s.hours * 60)
            use[at // 15 : (at + length) // 15] += b.flow.m3_h
            over = over or s.over
            if not s.over:
                assert opens <= at < closes and at + length <= ends
        assert pump_day.valves == len(sets)
        assert pump_day.m3 == pytest.approx(sum(s.m3 for _, s in sets))
        if over or not sets:
            continue
        assert pump_day.over_flow_m3_h == pump_day.over_hours == 0
        assert pump_day.hours == pytest.approx(np.count_nonzero(use) / 4)
        assert farm_.pump_m3_h is None or use.max() <= farm_.pump_m3_h + 1e-6
        assert farm_.pump_hours is None or pump_day.hours <= farm_.pump_hours


def assert_account(run):
    """The week's need is the simulated run's own: nothing is worked out a second time."""
    assert np.abs(run.account.closure_mm).max() < 1e-9
    for r in sheet.week_rows(run):
        v = r.values
        net = (
            v["dr_start_mm"] - v["dr_end_mm"] + v["etc_mm"] - v["rain_credited_mm"]
            + v["runoff_mm"] + v["drained_mm"]
        )  # fmt: skip
        correction = run.account.correction_mm[run.on_index :, r.block.column].sum()
        assert v["net_mm"] + correction == pytest.approx(net, abs=1e-8)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000))
def test_the_same_farm_gives_the_same_week(seed):
    first, second = season.run(wide_farm(seed)), season.run(wide_farm(seed))
    assert [b.plan for b in first.blocks] == [b.plan for b in second.blocks]
    assert first.pump_days == second.pump_days


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_the_order_in_which_the_blocks_were_entered_does_not_matter(seed, random):
    data = wide_farm(seed)
    blocks = list(data.orchard.blocks)
    random.shuffle(blocks)
    one, other = season.run(data), season.run(change_orchard(data, blocks=tuple(blocks)))
    for b in one.blocks:
        assert other.block(b.block.name).plan == b.plan


def test_blocks_the_pump_cannot_carry_together_take_turns():
    two = (even(flow_m3_h=30.0), even("Gully", 2, flow_m3_h=30.0))
    wide = season.run(even_farm(*two, pump_m3_h=60.0, days_off=("mon", "tue", "wed", "fri")))
    narrow = season.run(even_farm(*two, pump_m3_h=40.0, days_off=("mon", "tue", "wed", "fri")))

    def starts(run):
        return {s.start for b in run.blocks for s in b.plan.sets if s.day == 3}

    assert starts(wide) == {SIX}
    assert len(starts(narrow)) == 2
    assert not any(s.over for b in narrow.blocks for s in b.plan.sets)


def test_days_are_chosen_so_that_the_pump_is_loaded_evenly():
    blocks = [even(f"B{k}", k + 1, full_on=day(-1 - k % 3)) for k in range(6)]
    run = season.run(even_farm(*blocks, pump_m3_h=20.0, pump_hours=12.0, work_to=dt.time(20)))
    hours = [p.hours for p in run.pump_days]
    assert sum(h > 0 for h in hours) == 7
    assert max(hours) <= 1.6 * sum(hours) / 7


SOURCE = Source(40.0, 10.0, SIX, EIGHTEEN, False)


def limits_of(name, flow=20.0, **changed):
    fields = {"name": name, "priority": 3, "flow_m3_h": flow, "area_ha": 1.0, "efficiency": 0.9,
              "hours_min": 0.5, "hours_max": 12.0} | changed  # fmt: skip
    return BlockLimits(**fields)


def plan_of(*sets):
    return BlockPlan(tuple(sets), 0.0, False, 0.0, 0.0)


def set_of(hours, day_=0, **changed):
    fields = {"day": day_, "net_mm": 1.0, "gross_mm": 1.0, "hours_exact": hours, "hours": hours,
              "mm": 1.0, "m3": hours * 20.0} | changed  # fmt: skip
    return PlannedSet(**fields)


def place(source, *pairs):
    plans, days = shifts.schedule([plan_of(s) for _, s in pairs], [b for b, _ in pairs], source)
    return [p.sets[0] for p in plans], days


def test_the_more_important_stage_opens_first():
    rest, fill = limits_of("A", 40.0, priority=7), limits_of("B", 40.0, priority=1)
    (late, early), _ = place(SOURCE, (rest, set_of(3.0)), (fill, set_of(2.0)))
    assert early.start == SIX and late.start == dt.time(8)


def test_more_than_the_pump_gives_at_once_is_marked_and_told():
    (only,), days = place(SOURCE, (limits_of("A", 55.0), set_of(2.0)))
    assert only.over and only.start == SIX
    assert days[0].over_flow_m3_h == pytest.approx(15.0)


def test_more_hours_than_the_pump_runs_are_marked_and_told():
    sets = [(limits_of(f"B{k}", 30.0), set_of(4.0)) for k in range(3)]
    placed, days = place(SOURCE, *sets)
    assert [s.over for s in placed] == [False, False, True]
    assert days[0].hours == 12.0 and days[0].over_hours == 2.0


def test_a_watering_past_the_end_of_work_is_marked_unless_sets_run_at_night():
    long_ = (limits_of("A"), set_of(13.0))
    (by_day_,), days = place(Source(None, None, SIX, EIGHTEEN, False), long_)
    assert by_day_.over and days[0].over_hours == 1.0
    (by_night,), days = place(Source(None, None, SIX, EIGHTEEN, True), long_)
    assert not by_night.over and days[0].over_hours == 0.0


def test_what_no_longer_fits_before_midnight_never_starts_in_the_morning_of_its_day():
    """Ten waterings of three hours, one after the other: the last would begin at nine next day."""
    sets = [(limits_of(f"B{k}", 40.0), set_of(3.0)) for k in range(10)]
    placed, days = place(Source(40.0, 24.0, SIX, EIGHTEEN, False), *sets)
    starts = [s.start for s in placed]
    assert starts == sorted(starts)
    assert [s.over for s in placed] == [False] * 4 + [True] * 6
    assert days[0].over_hours == 18.0 and days[0].over_flow_m3_h == 0.0


@pytest.mark.parametrize(
    ("at", "over"),
    [(dt.time(5, 45), True), (SIX, False), (dt.time(16), False), (dt.time(16, 15), True),
     (dt.time(22), True)],
)  # fmt: skip
def test_a_start_the_grower_fixed_stays_and_is_marked_outside_the_hours_of_work(at, over):
    (only,), _ = place(Source(None, None, SIX, EIGHTEEN, False),
                       (limits_of("A"), set_of(2.0, pinned=True, start=at)))  # fmt: skip
    assert only.start == at
    assert only.over is over


def test_a_fixed_start_comes_before_the_others_are_placed():
    pinned = set_of(4.0, pinned=True, start=dt.time(7))
    (free, fixed), _ = place(
        SOURCE, (limits_of("A", 40.0, priority=1), set_of(2.0)), (limits_of("B", 30.0), pinned)
    )
    assert fixed.start == dt.time(7)
    assert free.start == dt.time(11)


def test_no_block_no_hours():
    assert shifts.schedule([], [], SOURCE) == ([], (shifts.PumpDay(0.0, 0, 0.0, 0.0, 0.0),) * 7)


def test_rounding_carries_the_remainder_forward():
    """Three waterings of 1.4 h are 4.2 h: 1.5, 1.25, 1.5 h and not three times 1.5."""
    options = plan.Choices(
        np.array([[True] * 3 + [False] * 4]), np.zeros((1, 7)), np.zeros(1, dtype=np.int64),
        np.zeros(1), np.zeros(1), np.zeros(1), False, 4.0,
    )  # fmt: skip
    net = np.array([1.4 * 20 * 0.9 / 10] * 3 + [0.0] * 4)
    made = plan.block_plan(options, 0, limits_of("A"), net)
    assert [s.hours for s in made.sets] == [1.5, 1.25, 1.5]
    assert [s.hours_exact for s in made.sets] == pytest.approx([1.4] * 3)


def test_without_flow_millimetres_and_cubic_metres_only():
    run = season.run(even_farm(even(flow_m3_h=None)))
    sets = run.block("Ridge").plan.sets
    assert sets and all(s.hours is None and s.start is None for s in sets)
    assert all(s.m3 == pytest.approx(s.net_mm / 0.9 * 10) for s in sets)
    values = row(run)
    assert values["hours"] is None and values["hours_exact"] is None
    assert values["m3"] == pytest.approx(values["gross_mm"] * 10)
    assert "flow_missing" in values["flags"]


def test_without_hectares_millimetres_only():
    run = season.run(even_farm(even(area_ha=None)))
    values = row(run)
    assert values["net_mm"] > 0 and values["m3"] is None and values["hours"] is None
    assert "area_missing" in values["flags"]


def test_every_choice_of_days_is_weighed():
    """All sets of free days, each once sparing the drain and once not."""
    run = season.run(even_farm(days_off=("wed",)))
    week = run.drivers.rows(slice(run.on_index, None))
    i = run.on_index
    state = plan.State(run.account.dr_mm[i - 1], run.account.de_mm[i - 1],
                       np.array([True]), run.drivers.taw_mm[i - 1])  # fmt: skip
    options = plan.choices(week, state, run.block("Ridge").limits, 0)
    assert len(options.masks) == 2 * 64
    assert not options.masks[:, 2].any()
    assert (np.diff(options.rank) >= 0).all()
    assert len({tuple(m) for m in options.masks}) == 64
    for mask, depth in itertools.islice(zip(options.masks, options.depth_mm, strict=True), 20):
        assert set(np.flatnonzero(depth)) <= set(np.flatnonzero(mask))


def test_a_longer_walk_is_not_made_for_a_millimetre():
    """Changing the local factor a little does not change the number of waterings."""
    counts = {len(days_of(season.run(change(even_farm(), "Ridge", kc_factor=f))))
              for f in (0.97, 0.98, 0.99, 1.0)}  # fmt: skip
    assert counts == {3}


def test_moving_one_watering_leaves_the_other_blocks_and_days_alone():
    """A pin moves its own block only, and of that block no more than it asks for."""
    blocks = [even(f"B{k}", k + 1, full_on=day(-1 - k % 3)) for k in range(6)]
    data = even_farm(*blocks, pump_m3_h=20.0, pump_hours=17.0, work_to=dt.time(23))
    before = season.run(data)
    assert before.shared is None
    own = [s.day for s in before.block("B0").plan.sets]
    to = next(d for d in range(7) if d not in own and d + 1 not in own)
    hours = before.block("B0").plan.sets[0].hours
    pins = (Pin(1, day(own[0]), 0.0), Pin(1, day(to), hours))
    after = season.run(dataclasses.replace(data, pins=pins))
    for k in range(1, 6):
        assert days_of(after, f"B{k}") == days_of(before, f"B{k}")
    kept = [s.day for s in after.block("B0").plan.sets]
    assert to in kept and own[0] not in kept
    assert len(set(kept) - {to} - set(own[1:])) <= 1
