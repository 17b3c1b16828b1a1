"""The block's own clock: thermal time from pruning, seen dates, half-open stages."""

import datetime as dt
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget.cycle import day_count_stage, degree_days, run_clock
from waterbudget.orchard import STAGES, Cycle

PRUNED = dt.date(2025, 1, 10)
ORDER = {stage: i for i, stage in enumerate(STAGES)}


def at(days):
    return PRUNED + dt.timedelta(days=days)


def steady(mean_c, days, half_span=6.0):
    return np.full(days, mean_c + half_span), np.full(days, mean_c - half_span)


def clock(mean_c=24.0, days=420, first=PRUNED, cycle=None, **seen):
    return run_clock([cycle or Cycle(PRUNED, **seen)], first, *steady(mean_c, days))


def starts(run, cycle=0):
    pruned = run.cycles[cycle].cycle.pruned_on
    return {stage: (date - pruned).days for stage, date in run.cycles[cycle].starts.items()}


def stages(run):
    return [STAGES[i] if i < len(STAGES) else "young" for i in run.stage]


# the degree-hours of the three models (Acta Horticulturae 1166, paper 22) / 24, predicted at one
# constant mean temperature: printed in whole days by the author of the table
@pytest.mark.parametrize(
    ("mean_c", "bloom", "harvest", "second"),
    [
        (28, 55, 144, 151), (26, 61, 161, 165), (24, 69, 182, 182), (22, 79, 210, 202),
        (20, 93, 247, 228), (18, 113, 301, 261), (16, 143, 386, 306),
    ],
)  # fmt: skip
def test_days_to_bloom_and_harvest_at_one_temperature(mean_c, bloom, harvest, second):
    run = clock(mean_c)
    dates = run.cycles[0]
    assert (dates.full_bloom - PRUNED).days == pytest.approx(bloom, abs=1)
    assert starts(run)["harvest"] == pytest.approx(harvest, abs=1)
    assert (dates.harvest_second - PRUNED).days == pytest.approx(second, abs=1)


def test_at_24_degrees_bloom_on_day_69_to_71_and_harvest_on_182():
    run = clock(24.0)
    assert 69 <= (run.cycles[0].full_bloom - PRUNED).days <= 71
    assert starts(run)["harvest"] == 182
    assert abs((run.cycles[0].harvest_second - PRUNED).days - 182) <= 1


def test_at_20_degrees_bloom_on_day_93_and_harvest_between_228_and_247():
    run = clock(20.0)
    assert (run.cycles[0].full_bloom - PRUNED).days == 93
    assert starts(run)["harvest"] == 247
    assert (run.cycles[0].harvest_second - PRUNED).days == 228


def test_at_24_degrees_every_stage_begins_where_the_day_table_says():
    table = {"pruned": 0, "shoots": 14, "bloom": 50, "set": 80, "lag": 136, "fill": 150,
             "harvest": 182, "rest": 225}  # fmt: skip
    found = starts(clock(24.0))
    assert found.keys() == table.keys()
    for stage, days in table.items():
        assert found[stage] == pytest.approx(days, abs=2), stage


def test_the_plain_day_table_is_half_open():
    edges = [(-1, "young"), (0, "pruned"), (13, "pruned"), (14, "shoots"), (49, "shoots"),
             (50, "bloom"), (79, "bloom"), (80, "set"), (135, "set"), (136, "lag"), (149, "lag"),
             (150, "fill"), (181, "fill"), (182, "harvest"), (224, "harvest"), (225, "rest"),
             (900, "rest")]  # fmt: skip
    for days, stage in edges:
        assert day_count_stage(days) == stage, days


def test_cold_nights_and_hot_days_do_not_average_out():
    """Below the base a night gives nothing: 4 degC nights are worth more than their mean says."""
    tmax, tmin = np.array([14.0]), np.array([0.0])
    assert degree_days(tmax, tmin, 9.11)[0] > 0.5  # the mean, 7 degC, is below the base


def test_heat_is_capped_at_a_mean_of_30():
    hot, hotter = degree_days(*steady(31.0, 2), 8.48), degree_days(*steady(39.0, 2), 8.48)
    assert hot.tolist() == hotter.tolist() == [pytest.approx(30 - 8.48)] * 2


def test_harvest_lasts_43_days_unless_its_end_is_known():
    found = starts(clock(24.0))
    assert found["rest"] - found["harvest"] == 43
    run = clock(24.0, harvest_end=at(200))
    assert run.stage_on(at(200)) == "harvest"  # its last day
    assert run.stage_on(at(201)) == "rest"


def test_harvest_that_ended_before_the_clock_says_it_began():
    run = clock(20.0, harvest_end=at(210))
    assert run.stage_on(at(209)) == "fill"
    assert "harvest" not in run.cycles[0].starts
    assert run.stage_on(at(211)) == "rest"


@pytest.mark.parametrize("stage", ["bloom", "set", "fill", "harvest"])
@pytest.mark.parametrize("shift", [-15, 12])
def test_a_seen_date_overrides_the_clock_both_ways(stage, shift):
    model = clock(24.0)
    seen = at(starts(model)[stage] + shift)
    run = clock(24.0, **{f"seen_{stage}": seen})
    assert run.stage_on(seen) == stage
    assert ORDER[run.stage_on(seen - dt.timedelta(days=1))] < ORDER[stage]
    assert run.cycles[0].starts[stage] == seen
    assert run.cycles[0].seen == (stage,)
    assert run.cycles[0].model[stage] == model.cycles[0].starts[stage]
    assert not clock(24.0).cycles[0].seen


def test_what_follows_a_seen_date_is_counted_from_it():
    """Bloom seen 10 days late puts full bloom and all behind it 10 days later."""
    model = starts(clock(24.0))
    run = starts(clock(24.0, seen_bloom=at(model["bloom"] + 10)))
    for stage in ("set", "lag", "fill", "harvest", "rest"):
        assert run[stage] - model[stage] == pytest.approx(10, abs=1), stage


def test_fill_seen_late_keeps_the_block_in_lag_until_then():
    run = clock(24.0, seen_fill=at(170))
    assert {run.stage_on(at(d)) for d in range(150, 170)} == {"lag"}
    assert run.stage_on(at(170)) == "fill"


def test_all_dates_seen():
    seen = {"seen_bloom": at(40), "seen_set": at(66), "seen_fill": at(170), "seen_harvest": at(190),
            "harvest_end": at(215)}  # fmt: skip
    run = clock(24.0, **seen)
    found = starts(run)
    assert (found["bloom"], found["set"], found["fill"], found["harvest"], found["rest"]) == (
        40, 66, 170, 190, 216,
    )  # fmt: skip
    assert run.cycles[0].seen == ("bloom", "set", "fill", "harvest")


def test_unknown_temperatures_make_the_clock_the_day_table():
    unknown = np.full(420, np.nan)
    run = run_clock([Cycle(PRUNED)], PRUNED, unknown, unknown)
    for i, stage in enumerate(stages(run)):
        near = {day_count_stage(i + k) for k in (-2, -1, 0, 1, 2)}
        assert stage in near, i
    assert starts(run)["harvest"] == 182


def test_a_gap_in_the_temperatures_counts_as_24_degrees():
    tmax, tmin = steady(24.0, 420)
    tmax[30:60] = tmin[30:60] = np.nan
    gappy = run_clock([Cycle(PRUNED)], PRUNED, tmax, tmin)
    assert starts(gappy)["harvest"] == 182


def test_a_low_above_its_high_is_turned_round():
    tmax, tmin = steady(24.0, 420)
    assert (run_clock([Cycle(PRUNED)], PRUNED, tmin, tmax).stage == clock(24.0).stage).all()


def test_before_the_first_pruning_it_is_young():
    run = clock(24.0, first=at(-30), days=100)
    assert stages(run)[:30] == ["young"] * 30
    assert run.days_from_pruning[:30].tolist() == [-1] * 30
    assert run.days_from_pruning[30:33].tolist() == [0, 1, 2]
    assert run.stage_on(at(0)) == "pruned"
    never = run_clock([], PRUNED, *steady(24.0, 50))
    assert set(stages(never)) == {"young"}
    assert never.cycles == ()


def test_a_cycle_begun_before_the_record_is_carried_in():
    run = clock(24.0, first=at(160), days=30)
    assert len(run.stage) == 30
    assert run.stage_on(at(160)) == "fill"
    assert run.days_from_pruning[0] == 160
    assert run.cycles[0].starts["pruned"] == PRUNED


def test_a_new_pruning_starts_a_new_cycle_and_the_old_one_stays():
    again = at(240)
    run = run_clock([Cycle(again), Cycle(PRUNED)], PRUNED, *steady(24.0, 500))
    assert [c.cycle.pruned_on for c in run.cycles] == [PRUNED, again]
    assert run.stage_on(again - dt.timedelta(days=1)) == "rest"
    assert run.stage_on(again) == "pruned"
    assert run.days_from_pruning[240] == 0
    assert starts(run, 1)["harvest"] == starts(run, 0)["harvest"] == 182


def test_pruned_again_in_the_middle_of_fruit_fill():
    run = run_clock([Cycle(PRUNED), Cycle(at(160))], PRUNED, *steady(24.0, 400))
    assert run.stage_on(at(159)) == "fill"
    assert run.stage_on(at(160)) == "pruned"
    assert "harvest" not in run.cycles[0].starts


def test_seen_dates_belong_to_their_own_cycle():
    first = Cycle(PRUNED, seen_bloom=at(40))
    run = run_clock([first, Cycle(at(240))], PRUNED, *steady(24.0, 500))
    assert starts(run, 0)["bloom"] == 40
    assert starts(run, 1)["bloom"] == starts(clock(24.0))["bloom"]


def test_two_blocks_pruned_60_days_apart_stand_in_different_stages():
    tmax, tmin = steady(24.0, 500)
    early = run_clock([Cycle(PRUNED)], PRUNED, tmax, tmin)
    late = run_clock([Cycle(at(60))], PRUNED, tmax, tmin)
    for i in range(60, 225):
        assert early.stage[i] != late.stage[i], i
    moved = run_clock([Cycle(at(70))], PRUNED, tmax, tmin)
    assert (moved.stage != late.stage).any()
    assert (early.stage == run_clock([Cycle(PRUNED)], PRUNED, tmax, tmin).stage).all()


def test_colder_is_never_earlier():
    warm, cool = starts(clock(25.0)), starts(clock(21.0))
    for stage in ("shoots", "bloom", "set", "lag", "fill", "harvest"):
        assert cool[stage] > warm[stage]


seen_gaps = st.lists(st.integers(1, 90), min_size=5, max_size=5)
which = st.lists(st.booleans(), min_size=5, max_size=5)


@given(
    st.lists(st.tuples(st.integers(60, 300), seen_gaps, which), min_size=0, max_size=3),
    st.integers(0, 2**32 - 1),
    st.integers(-200, 200),
)
def test_within_a_cycle_no_stage_goes_backward(prunings, seed, offset):
    cycles, date = [], PRUNED
    names = ("seen_bloom", "seen_set", "seen_fill", "seen_harvest", "harvest_end")
    for gap, gaps, used in prunings:
        dates = itertools.accumulate(gaps, initial=date.toordinal())
        seen = {
            name: dt.date.fromordinal(d)
            for name, d, use in zip(names, list(dates)[1:], used, strict=True)
            if use
        }
        cycles.append(Cycle(date, **seen))
        date += dt.timedelta(days=gap)
    rng = np.random.default_rng(seed)
    mean = rng.uniform(8, 32, 500)
    mean[rng.random(500) < 0.1] = np.nan
    run = run_clock(
        cycles, at(offset), mean + rng.uniform(0, 9, 500), mean - rng.uniform(0, 9, 500)
    )
    assert len(run.stage) == len(run.within) == len(run.days_from_pruning) == 500
    assert ((run.within >= 0) & (run.within <= 1)).all()
    count = run.days_from_pruning
    for i in range(1, 500):
        if count[i] > 0 and count[i - 1] >= 0:
            assert count[i] == count[i - 1] + 1
            assert run.stage[i] >= run.stage[i - 1]
            if run.stage[i] == run.stage[i - 1]:
                assert run.within[i] >= run.within[i - 1] - 1e-12
    for cycle in run.cycles:
        later = [c.pruned_on for c in cycles if c.pruned_on > cycle.cycle.pruned_on]
        end = min([*later, at(offset + 500)])
        for stage in ("bloom", "set", "fill", "harvest"):
            seen = getattr(cycle.cycle, f"seen_{stage}")
            stop = cycle.cycle.harvest_end
            if seen is not None and at(offset) <= seen < end and (stop is None or seen <= stop):
                assert run.stage_on(seen) == stage
