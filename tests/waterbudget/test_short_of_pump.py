"""A pump that runs too short a day, or not at all: who gave what is told, feeds give way."""

import dataclasses
import datetime as dt

import numpy as np
import pytest
from orchard_samples import MONDAY, block, change_orchard, day, farm, pruned, record

from waterbudget import english, season, sheet
from waterbudget.orchard import Pump

AGES = {"rest": 300, "fill": 165, "bloom": 70, "set": 110, "shoots": 30}
"""Days from pruning at an even 24 degC."""


def stages(*names, **changed):
    """One even block of each stage, full three nights ago, on one pump."""
    made = [
        block(name.title(), i + 1, cycles=pruned(AGES[name]), kc_fixed=0.9, root_depth_m=0.8,
              full_on=day(-3), flow_m3_h=18.0)
        for i, name in enumerate(names)
    ]  # fmt: skip
    return farm(*made, **({"records": {"Gate": record(et0=4.5)}, "pump_m3_h": 18.0} | changed))


def hours(run):
    return sum(s.hours for b in run.blocks for s in b.plan.sets)


def said(run):
    return " ".join(english.sentence(n) for n in sheet.made_with(run)["notes"])


def too_few_hours():
    data = stages("fill", "rest")
    whole = hours(season.run(data))
    return season.run(change_orchard(data, pump_hours=round(4 * whole / 7 / 3) / 4))


def test_a_set_cut_by_the_pumps_day_is_a_shortage_and_told():
    run = too_few_hours()
    free = season.run(stages("fill", "rest"))
    fill, rest = run.block("Fill"), run.block("Rest")
    assert fill.limit == rest.limit == "pump_hours"
    wanted = hours(free) * fill.limits.net_mm_per_hour
    planned = hours(run) * fill.limits.net_mm_per_hour
    # daily sets may end the week a little drier than fewer, longer ones
    assert fill.given_up_mm + rest.given_up_mm == pytest.approx(wanted - planned, rel=0.3)
    lacks = {b.code: b.amount for b in run.shared.breaks}
    assert lacks["pump_hours"] == pytest.approx((hours(free) - hours(run)) * 0.75, rel=0.5)
    gave = {g.block: g for g in run.shared.gave}
    assert gave["Fill"].dry_days > gave["Fill"].dry_days_free == 0
    assert "pump hours short" in said(run) and "h of pump are short" in said(run)


def test_the_sentence_of_a_block_that_gives_does_not_say_it_needs_nothing():
    rows = {r["block"]: r for r in sheet.week(too_few_hours())["blocks"]}
    assert not rows["Rest"]["sets"] and rows["Rest"]["why"].code == "why.gave_all"
    assert rows["Fill"]["sets"] and rows["Fill"]["why"].code in ("why.gave", "why.past_limit")
    for row in rows.values():
        assert "{" not in english.sentence(row["why"])


def test_hours_that_are_short_of_nothing_are_no_shortage():
    data = stages("fill", pump_hours=4.0)
    run = season.run(data)
    assert max(s.hours for s in run.block("Fill").plan.sets) <= 4.0
    assert run.shared is None and run.block("Fill").given_up_mm == 0


def test_a_pump_out_all_week_says_what_each_block_goes_without():
    data = stages("fill", "rest")
    whole = season.run(data)
    run = season.run(change_orchard(data, pump_out_from=MONDAY))
    for b in run.blocks:
        assert not b.plan.sets and b.limit == "pump_out"
        wanted = sum(s.net_mm for s in whole.block(b.block.name).plan.sets)
        assert b.given_up_mm == pytest.approx(wanted, rel=0.25)
    assert "pump out of order" in said(run)
    assert {g.block: g.dry_days for g in run.shared.gave}["Fill"] >= 4


def test_the_other_pump_is_not_touched_by_it():
    data = stages("fill", "rest")
    blocks = data.orchard.blocks
    two = change_orchard(data, blocks=(blocks[0], block("Rest", 2, cycles=blocks[1].cycles,
                         kc_fixed=0.9, root_depth_m=0.8, full_on=day(-3), pump="River")),
                         pumps=(Pump(name="River", flow_m3_h=28.0),))  # fmt: skip
    run = season.run(change_orchard(two, pump_out_from=MONDAY))
    assert run.block("Fill").limit == "pump_out" and run.block("Rest").limit is None
    assert run.block("Rest").plan.sets


def test_few_hands_are_named_even_where_the_hours_would_do():
    data = stages("fill", "bloom", "rest", pump_m3_h=None)
    run = season.run(change_orchard(data, people=1, people_hours=1.0, minutes_a_valve=60.0))
    assert {b.limit for b in run.blocks if b.given_up_mm > 0} == {"people"}


def test_no_set_grows_on_water_a_later_day_of_the_right_is_to_have():
    data = stages("fill", "bloom", "set", pump_m3_h=40.0, pump_hours=8.0)
    takes = sum(p.m3 for p in season.run(data).pump_days)
    run = season.run(change_orchard(data, right_m3_week=0.6 * takes))
    fill = run.block("Fill")
    assert fill.given_up_mm <= 0.25 * fill.limits.net_mm_per_hour + 1e-6
    assert sum(p.m3 for p in run.pump_days) <= 0.6 * takes + 1e-6


def test_a_feed_gives_way_to_the_pump_and_is_no_pin_of_the_growers():
    data = stages("shoots", "shoots", "fill", pump_hours=2.0)
    due = (dt.date(2026, 3, 4) - dt.timedelta(days=45),)
    blocks = [
        block(f"{b.name}{b.id}", b.id, cycles=pruned((MONDAY - due[0]).days), soil="sandy-loam",
              root_depth_m=0.8, full_on=day(-3), flow_m3_h=18.0)
        if i < 2 else b
        for i, b in enumerate(data.orchard.blocks)
    ]  # fmt: skip
    run = season.run(change_orchard(data, blocks=tuple(blocks)))
    assert run.shared is not None and not [b for b in run.shared.breaks if b.pinned]
    assert all(p.over_hours == 0 for p in run.pump_days)
    assert "pinned" not in said(run)
    for b in run.blocks:
        assert all(s.hours <= b.limits.longest_h for s in b.plan.sets)
    assert np.abs(run.account.closure_mm).max() < 1e-9


def test_a_pressure_group_set_in_an_open_farm_packs_the_shared_week_anew():
    data = stages("fill", "bloom", "set", "shoots", pump_m3_h=40.0, pump_hours=5.0)
    cache = season.Cache()
    before = season.run(data, cache=cache)
    assert before.shared is not None
    blocks = tuple(
        dataclasses.replace(b, pressure_group="low" if i % 2 else "high")
        for i, b in enumerate(data.orchard.blocks)
    )
    grouped = change_orchard(data, blocks=blocks)
    held, fresh = season.run(grouped, cache=cache), season.run(grouped)
    plans = [{b.block.name: b.plan.sets for b in r.blocks} for r in (held, fresh)]
    assert plans[0] == plans[1]
