"""Feeding and spraying days: dates, order, dry leaves, washing in, nitrogen, what may share a tank.

Dates 10/20/30 and 10/45/110, the dry hours, 8 to 12 mm within 48 h and 25 mm of rain: common
practice, no source.  Constant 18 degC: half of the branches flower 1073 / (18 - 8.48) = 112.7
days after pruning (guava, Kaohsiung: Acta Hort. 1166, paper 22), so day 110 comes before it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from orchard_samples import (
    MONDAY,
    block,
    change,
    change_orchard,
    day,
    farm,
    forecast,
    pruned,
    record,
)

from waterbudget import fieldwork, season, shifts
from waterbudget.errors import Refused
from waterbudget.fieldwork import tank_mix
from waterbudget.orchard import Cycle, cycle_days
from waterbudget.records import FieldEntry


def jobs_of(data, name="Ridge"):
    own = data.orchard.block(name)
    return fieldwork.block_jobs(own, data.orchard, data.field_entries)


def dates_of(data, kind):
    return [j.date for j in jobs_of(data) if j.kind == kind and j.counts]


def codes(job):
    return [n.code for n in job.cautions]


def entry(**changed):
    return FieldEntry(**{"block_id": 1, "date": MONDAY, "kind": "feed"} | changed)


def water(run, name="Ridge"):
    """Depth at the roots on the seven days [mm]."""
    column = run.block(name).column
    return run.drivers.irrigation_mm[run.on_index :, column]


# -- dates ------------------------------------------------------------------------------------


def test_the_fixed_days_are_counted_from_pruning():
    data = farm(block(cycles=(Cycle(dt.date(2026, 2, 20)),)))
    assert dates_of(data, "spray") == [dt.date(2026, 3, 2), dt.date(2026, 3, 12),
                                       dt.date(2026, 3, 22)]  # fmt: skip
    assert dates_of(data, "feed") == [dt.date(2026, 3, 2), dt.date(2026, 4, 6),
                                      dt.date(2026, 6, 10)]  # fmt: skip


@pytest.mark.parametrize("text, days", [("none", []), ("", []), ("60; 7", [7, 60])])
def test_own_days_take_the_place_of_the_usual_ones(text, days):
    data = farm(block(cycles=pruned(3), feed_days=text), feed_days="99")
    assert [d - day(-3) for d in dates_of(data, "feed")] == [dt.timedelta(days=d) for d in days]
    data = farm(block(cycles=pruned(3)), feed_days="99")
    assert dates_of(data, "feed") == [day(96)]


@pytest.mark.parametrize("text", ["0", "401", "10, soon", "-3", "4.5"])
def test_days_that_are_none_are_refused_when_the_block_is_built(text):
    for build in (lambda: block(spray_days=text), lambda: farm(spray_days=text)):
        with pytest.raises(Refused) as fault:
            build()
        assert fault.value.code == "key.cycle_days"


def test_days_are_read_in_order_and_once():
    assert cycle_days("45, 10;110 10", "feed_days") == (10, 45, 110)


def test_a_new_pruning_ends_the_days_of_the_old_cycle():
    data = farm(block(cycles=(*pruned(42), *pruned(5))))
    assert day(3) not in dates_of(data, "feed")  # day 45 of the cycle before
    assert day(5) in [j.date for j in jobs_of(data) if j.cycle_day == 10]


def test_entries_move_skip_and_confirm_the_fixed_days():
    data = farm(block(cycles=pruned(8)), field_entries=(
        entry(date=day(4), cycle_day=10, id=1), entry(kind="spray", date=day(2), cycle_day=10,
        skipped=True, id=2), entry(date=day(-2), done=True, n_kg_ha=12.0, id=3),
    ))  # fmt: skip
    found = {(j.kind, j.cycle_day): j for j in jobs_of(data)}
    assert (found["feed", 10].state, found["feed", 10].date) == ("moved", day(4))
    assert found["feed", 10].fixed_on == day(2)
    assert found["spray", 10].state == "skipped"
    assert (found["feed", None].state, found["feed", None].day) == ("done", 6)
    assert found["feed", 45].state == "due"


# -- order of day 10 --------------------------------------------------------------------------


def test_day_10_of_an_overhead_block_is_fed_the_day_before():
    data = farm(block(system="overhead", cycles=pruned(8)))
    found = {(j.kind, j.cycle_day): j for j in season.run(data).block("Ridge").work.jobs}
    assert found["spray", 10].date == day(2)
    assert found["feed", 10].date == day(1)
    assert "work.order_eve" in codes(found["feed", 10])
    assert found["feed", 45].date == day(37)  # nothing else is moved


def test_day_10_of_a_drip_block_sprays_first():
    data = farm(block(cycles=pruned(8)))
    found = [j for j in season.run(data).block("Ridge").work.jobs if j.cycle_day == 10]
    assert [j.kind for j in found] == ["spray", "feed"]
    assert {j.date for j in found} == {day(2)}
    assert all("work.order_both" in codes(j) for j in found)


def test_every_spraying_carries_the_caution_of_the_label():
    run = season.run(farm(block(cycles=pruned(12)), field_entries=(
        entry(kind="spray", cycle_day=10, date=day(-2), done=True),)))  # fmt: skip
    for job in run.block("Ridge").work.jobs:
        assert ("work.label" in codes(job)) == (job.kind == "spray")


# -- dry leaves -----------------------------------------------------------------------------


@pytest.mark.parametrize("sprayed", [10, 20, 30])
def test_an_overhead_block_has_no_water_in_the_24_hours_after_each_spraying(sprayed):
    shallow = {"cycles": pruned(sprayed - 3), "flow_m3_h": 120.0, "root_depth_m": 0.15}
    overhead = block(system="overhead", feed_days="none", **shallow)  # daily, were it free
    free = season.run(farm(replace(overhead, spray_days="none")))
    assert 3 in [s.day for s in free.block("Ridge").plan.sets]
    run = season.run(farm(overhead))
    dawn = dt.datetime.combine(day(3), dt.time(6))
    assert run.block("Ridge").plan.sets
    for s in run.block("Ridge").plan.sets:
        start = dt.datetime.combine(day(s.day), s.start)
        end = start + dt.timedelta(hours=s.hours)
        assert end <= dawn - dt.timedelta(hours=12) or start >= dawn + dt.timedelta(hours=24)
    drip = season.run(farm(block(cycles=pruned(sprayed - 3))))
    assert drip.block("Ridge").work.dry == {}
    assert all(drip.block("Ridge").limits.may_water)


def test_a_long_watering_closes_the_eve_too_and_says_why():
    overhead = block(system="overhead", cycles=pruned(17), flow_m3_h=120.0)
    found = season.run(change(farm(overhead, night_sets=True), "Ridge", set_hours_max=13.0))
    found = found.block("Ridge")
    assert sorted(found.work.dry) == [day(2), day(3)]
    assert [n.code for n in found.work.notes] == ["work.day_dry"]
    found = season.run(farm(overhead)).block("Ridge")
    assert sorted(found.work.dry) == [day(3)]


def test_on_the_eve_a_watering_ends_before_the_dry_hours_begin():
    """Hours from 05:00: dry from 17:00 of the eve; nights would begin after that."""
    ridge = block(system="overhead", cycles=pruned(8), full_on=day(-3), flow_m3_h=60.0)
    data = farm(ridge, records={"Gate": dry_start()}, work_from=dt.time(5), night_sets=True)
    found = season.run(data).block("Ridge")
    assert found.limits.dry_hours == {1: ((17.0, 53.0),)}
    assert "work.hours_dry" in [n.code for n in found.work.notes]
    eve = next(s for s in found.plan.sets if s.day == 1)  # the feed of day 10 is washed in then
    assert dt.datetime.combine(day(1), eve.start) + dt.timedelta(hours=eve.hours) <= (
        dt.datetime.combine(day(1), dt.time(17))
    )
    late = replace(found.limits, pins={1: 3.0})
    plans, _ = shifts.schedule(
        [replace(found.plan, sets=(replace(eve, start=dt.time(15), hours=3.0),))],
        [late],
        season.run(data).source,
    )
    assert plans[0].sets[0].over


def test_a_longer_dry_time_closes_the_day_after():
    overhead = block(system="overhead", cycles=pruned(17), flow_m3_h=120.0)
    found = season.run(farm(overhead, dry_after_h=36.0)).block("Ridge")
    assert sorted(found.work.dry) == [day(3), day(4)]


def test_a_spraying_left_out_closes_nothing():
    data = farm(block(system="overhead", cycles=pruned(17)), field_entries=(
        entry(kind="spray", cycle_day=20, date=day(3), skipped=True),))  # fmt: skip
    assert not season.run(data).block("Ridge").work.dry


# -- washing in -------------------------------------------------------------------------------


def dry_start(days_ago=40):
    """Days without rain that leave something missing in the root zone."""
    return record(first=day(-days_ago), et0=5.0)


@pytest.mark.parametrize("system, wets", [("drip", 0.35), ("micro", 0.5), ("overhead", 1.0)])
def test_a_placed_feed_gets_8_mm_within_48_hours_and_never_more_than_is_missing(system, wets):
    ridge = block(system=system, cycles=pruned(8), full_on=day(-3), flow_m3_h=60.0)
    run = season.run(farm(ridge, records={"Gate": dry_start()}))
    feed = next(j for j in run.block("Ridge").work.jobs if j.kind == "feed")
    at = (feed.date - MONDAY).days
    depth, column = water(run), run.block("Ridge").column
    assert depth[at : at + 2].sum() / wets >= 8.0
    sets = {s.day: s for s in run.block("Ridge").plan.sets}
    gross = sum(s.mm for d, s in sets.items() if at <= d <= at + 1)
    rounded = gross * run.block("Ridge").efficiency
    assert rounded / wets >= 8.0
    missing = run.account.dr_start_mm[run.on_index :, column]
    assert np.all(depth[at : at + 2] <= missing[at : at + 2] + 1e-6)
    assert run.account.drainage_mm[run.on_index + at : run.on_index + at + 2, column].sum() < 1e-6


def test_without_the_feed_the_same_week_brings_less_on_those_days():
    ridge = block(cycles=pruned(8), full_on=day(-2), spray_days="none", flow_m3_h=60.0)
    data = farm(ridge, records={"Gate": record(first=day(-40), et0=2.5)})
    fed, not_fed = season.run(data), season.run(change(data, "Ridge", feed_days="none"))
    assert water(fed)[2:4].sum() >= 8.0 * 0.35 > water(not_fed)[2:4].sum()


def test_a_full_soil_gets_nothing_and_says_so():
    ridge = block(cycles=pruned(10), full_on=day(-1), spray_days="none", flow_m3_h=60.0)
    run = season.run(farm(ridge, records={"Gate": record(first=day(-40), et0=0.3)}))
    assert [n.code for n in run.block("Ridge").work.notes] == ["work.no_room"]
    assert run.account.drainage_mm[run.on_index :, 0].sum() < 1e-6


def test_a_feed_with_the_water_asks_for_none():
    ridge = block(cycles=pruned(8), spray_days="none", flow_m3_h=60.0)
    data = farm(ridge, field_entries=(entry(date=day(2), cycle_day=10, placed="water"),))
    assert not season.run(data).block("Ridge").limits.soaks
    assert season.run(farm(ridge)).block("Ridge").limits.soaks


@pytest.mark.parametrize("rain, waits", [(24.0, False), (25.0, True)])
def test_no_feed_before_heavy_rain(rain, waits):
    ridge = block(cycles=pruned(8), spray_days="none", flow_m3_h=60.0)
    data = farm(ridge, forecasts={"Gate": forecast(MONDAY, rain={3: rain})})
    found = season.run(data).block("Ridge")
    assert ("work.wait_rain" in codes(found.work.jobs[0])) == waits
    assert bool(found.limits.soaks) != waits


def test_yesterdays_feed_still_wants_its_water_today():
    ridge = block(cycles=pruned(11), spray_days="none", full_on=day(-4), flow_m3_h=60.0)
    data = farm(ridge, records={"Gate": dry_start()})
    assert water(season.run(data))[0] / 0.35 >= 8.0


def test_far_from_pruning_nothing_changes():
    far = farm(block(cycles=pruned(160)), records={"Gate": dry_start()})
    none = change_orchard(far, feed_days="none", spray_days="none")
    np.testing.assert_array_equal(water(season.run(far)), water(season.run(none)))


# -- the wrong stage ---------------------------------------------------------------------------


def on_land(celsius, days_ago):
    days = record(first=day(-days_ago), tmax=celsius + 6, tmin=celsius - 6)
    return season.run(farm(block(cycles=pruned(days_ago)), records={"Gate": days}))


def test_day_110_before_bloom_on_cool_land_is_told_and_not_moved():
    run = on_land(18.0, 100)
    job = next(j for j in run.block("Ridge").work.jobs if j.cycle_day == 110)
    told = next(n for n in job.cautions if n.code == "work.before_bloom")
    assert told.fields["bloom"] - job.pruned_on in (dt.timedelta(112), dt.timedelta(113))
    assert job.date == day(10)


def test_day_110_in_warm_land_is_in_its_stage():
    for celsius in (24.0, 27.0):
        for job in on_land(celsius, 100).block("Ridge").work.jobs:
            assert not {"work.before_bloom", "work.other_stage"} & set(codes(job))


# -- nitrogen ---------------------------------------------------------------------------------


def test_20_mm_at_30_mg_a_litre_carry_6_kg_a_hectare():
    assert fieldwork.nitrogen_lost_kg_ha(20.0, 30.0) == pytest.approx(6.0)


def test_what_drains_after_nitrogen_is_counted_for_14_days():
    rain = {day(-30): 60.0, day(-9): 160.0}
    ridge = block(root_share=1.0, cycles=pruned(60))
    data = farm(ridge, records={"Gate": record(first=day(-60), rain=rain)}, field_entries=(
        entry(date=day(-10), done=True, n_kg_ha=40.0),))  # fmt: skip
    run = season.run(data)
    found = run.block("Ridge").work.nitrogen
    i = run.on_index
    assert found.drained_mm == pytest.approx(run.account.drainage_mm[i - 10 : i, 0].sum())
    assert found.drained_mm > 10.0 and found.alarm
    assert found.lost_kg_ha == pytest.approx(0.3 * (found.drained_mm + found.coming_mm))
    assert "work.nitrogen_drained" in [n.code for n in run.block("Ridge").work.notes]
    old = replace(data, field_entries=(entry(date=day(-14), done=True),))
    assert season.run(old).block("Ridge").work.nitrogen is None
    none = replace(data, field_entries=(entry(date=day(-10), done=True, n_kg_ha=0.0),))
    assert season.run(none).block("Ridge").work.nitrogen is None


def test_no_leaching_within_three_weeks_of_nitrogen():
    salty = block(cycles=pruned(240), leaching="in-rest", water_ec_ds_m=1.2, soil_ec_ds_m=1.5)
    data = farm(salty)
    with_it = season.run(data).block("Ridge").efficiency
    fed = replace(data, field_entries=(entry(date=day(-20), done=True, n_kg_ha=30.0),))
    long_ago = replace(data, field_entries=(entry(date=day(-21), done=True, n_kg_ha=30.0),))
    assert season.run(long_ago).block("Ridge").efficiency == with_it
    assert season.run(fed).block("Ridge").efficiency > with_it


# -- one tank ---------------------------------------------------------------------------------


@pytest.mark.parametrize("mix, code", [
    (("calcium nitrate", "magnesium sulfate"), "mix.calcium_sulfate"),
    (("potassium sulphate", "Calcium Nitrate"), "mix.calcium_sulfate"),
    (("calcium nitrate", "monoammonium phosphate"), "mix.calcium_phosphate"),
    (("nitrato de calcio", "ácido fosfórico"), "mix.calcium_phosphate"),
    (("magnesium sulfate", "monopotassium phosphate"), "mix.magnesium_phosphate"),
    (("nitrato cálcico", "sulfato de potasio"), "mix.calcium_sulfate"),
])  # fmt: skip
def test_what_falls_out_as_a_solid_is_refused(mix, code):
    with pytest.raises(Refused) as fault:
        tank_mix(mix)
    assert fault.value.code == code


@pytest.mark.parametrize("mix", [
    ("calcium nitrate", "potassium nitrate", "urea"), ("magnesium sulfate", "potassium nitrate"),
    ("monoammonium phosphate", "urea"), ("magnesium nitrate", "calcium nitrate"),
])  # fmt: skip
def test_the_rest_passes_with_a_jar_test(mix):
    assert [n.code for n in tank_mix(mix)] == ["mix.jar_test"]


def test_hard_water_is_told_above_2_5_me():
    assert [n.code for n in tank_mix(["urea"], ca_me_l=2.5, hco3_me_l=2.6)] == [
        "mix.jar_test", "mix.bicarbonate"]  # fmt: skip
    assert tank_mix(["urea"], ca_me_l=3.0)[1].code == "mix.hard_water"
