"""The coming month through past years whose weather is known by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from orchard_samples import MONDAY, block, day, farm, record

from waterbudget import actions, risk, season
from waterbudget.errors import Refused
from waterbudget.records import FarmData

BEGINS = dt.date(2015, 1, 1)
EVE = MONDAY - dt.timedelta(days=1)


def record_of(march: Mapping[int, float], rain: Mapping[dt.date, float] | None = None):
    """Eleven years of 4.5 mm a day; the given years took other figures in March."""
    days = (EVE - BEGINS).days + 1
    et0 = np.full(days, 4.5)
    for year, figure in march.items():
        begin = (dt.date(year, 3, 1) - BEGINS).days
        et0[begin : begin + 40] = figure
    return record(BEGINS, EVE, et0=list(et0), rain=rain)


def a_farm(march: Mapping[int, float] | None = None, rain=None, **changed) -> FarmData:
    own = {"kc_fixed": 0.8, "full_on": EVE, "soil": "loam", **changed}
    return farm(block(**own), records={"Gate": record_of(march or {}, rain)})


def test_the_chance_is_the_share_of_years_that_were_harder() -> None:
    run = season.run(a_farm({2016: 12.0, 2019: 12.0, 2022: 12.0}))
    found = risk.outlook(run)
    (one,) = found.blocks
    assert one.years == tuple(range(2015, 2026))
    assert one.chance_dry_in_fill == pytest.approx(3 / 11)
    assert one.chance_dry == pytest.approx(3 / 11)
    assert one.first_dry is not None and MONDAY < one.first_dry < day(8)
    assert one.dry_days_in_fill is not None and one.dry_days >= one.dry_days_in_fill > 0  # type: ignore[operator]
    assert not any(n.code == "risk.few_years" for n in found.notes)


def test_like_years_ask_for_what_a_month_takes() -> None:
    run = season.run(a_farm())
    (one,) = risk.outlook(run).blocks
    assert one.need_mm is not None and one.need_m3 is not None
    assert one.need_mm[50] == pytest.approx(one.need_mm[90])
    # 30 days of 4.5 mm at Kc 0.8 are 108 mm at the roots; what is left in the soil is at most
    # what the roots may be short of
    limit = float(run.limit_mm(0)[run.on_index])
    at_roots = one.need_mm[50] * run.blocks[0].efficiency
    assert 108.0 - limit - 4.0 <= at_roots <= 108.0 + 1e-6
    assert one.need_m3[50] == pytest.approx(one.need_mm[50] * 10.0)
    assert one.chance_dry == 0.0


def test_water_needed_is_ranked_over_the_years() -> None:
    march = {year: 3.0 + 0.3 * k for k, year in enumerate(range(2015, 2026))}
    run = season.run(a_farm(march))
    all_years = risk.past_years(run, "Gate")
    assert len(all_years.years) == 11
    alone = {
        year: risk.outlook(run, {"Gate": _only(all_years, year)}).blocks[0].need_mm[50]  # type: ignore[index]
        for year in all_years.years
    }
    need = risk.outlook(run, {"Gate": all_years}).blocks[0].need_mm
    assert need is not None
    ordered = sorted(alone.values())
    assert need[50] == pytest.approx(ordered[5])  # rank 6 of 11
    assert need[80] == pytest.approx(ordered[8] + 0.6 * (ordered[9] - ordered[8]))  # rank 9.6
    assert need[50] < need[80] < need[90]


def _only(years: risk.PastYears, year: int) -> risk.PastYears:
    j = years.years.index(year)
    return risk.PastYears((year,), years.et0_mm[:, [j]], years.rain_mm[:, [j]])


def test_rain_of_a_past_year_lowers_its_need_and_drains_past_the_plan() -> None:
    wet = {dt.date(2018, 3, d): 20.0 for d in range(2, 31, 3)}
    dry = risk.outlook(season.run(a_farm())).blocks[0]
    run = season.run(a_farm(rain=wet))
    years = risk.past_years(run, "Gate")
    rainy = risk.outlook(run, {"Gate": _only(years, 2018)}).blocks[0]
    assert rainy.need_mm[50] < 0.2 * dry.need_mm[50]  # type: ignore[index]
    assert rainy.drained_mm > 40.0  # type: ignore[operator]
    assert dry.drained_mm == pytest.approx(0.0, abs=1e-6)


def test_rain_read_at_the_gauge_this_morning_fell_in_every_year() -> None:
    known = a_farm(full_on=EVE - dt.timedelta(days=4))
    wet = replace(known, rain_typed={"farm": {MONDAY: 12.0}})
    elsewhere = replace(known, rain_typed={"Far gate": {MONDAY: 12.0}})
    dry, rainy, other = (risk.outlook(season.run(f)).blocks[0] for f in (known, wet, elsewhere))
    saved = (dry.need_mm[50] - rainy.need_mm[50]) * dry.block.efficiency  # type: ignore[index]
    assert 6.0 < saved <= 12.0 + 1e-6
    assert rainy.chance_by_day is not None
    assert not rainy.chance_by_day[:7].any()  # the week planned with that rain holds
    assert other.need_mm == dry.need_mm


def test_few_years_are_told_and_none_says_nothing() -> None:
    short = a_farm()
    some = replace(short, records={"Gate": record(dt.date(2022, 1, 1), EVE)})
    told = risk.outlook(season.run(some))
    assert [n.code for n in told.notes] == ["risk.few_years"]
    assert told.notes[0].fields["count"] == 4
    none = replace(short, records={"Gate": record(dt.date(2025, 9, 1), EVE)})
    told = risk.outlook(season.run(none))
    assert [n.code for n in told.notes] == ["risk.no_years"]
    assert told.blocks[0].chance_dry is None and told.need_m3 == {}


def test_a_year_with_holes_does_not_count() -> None:
    holes = [dt.date(2017, 3, d) for d in range(3, 9)]
    data = a_farm()
    gappy = record(BEGINS, EVE, without=holes)
    run = season.run(replace(data, records={"Gate": gappy}))
    assert 2017 not in risk.past_years(run, "Gate").years
    assert 2018 in risk.past_years(run, "Gate").years


def test_rest_may_be_dry() -> None:
    run = season.run(a_farm(dict.fromkeys(range(2015, 2026), 9.0), cycles=(), dry_until=day(60)))
    assert risk.outlook(run).blocks[0].chance_dry == 0.0


def test_two_plans_side_by_side_store_nothing() -> None:
    data = farm(
        block("Ridge", 1, kc_fixed=0.8, flow_m3_h=20.0, set_hours_max=12.0),
        block("Bank", 2, kc_fixed=0.8, flow_m3_h=20.0, set_hours_max=12.0),
        records={"Gate": record_of({})}, pump_m3_h=20.0, pump_hours=12.0,
    )  # fmt: skip
    both = actions.side_by_side(data, MONDAY, [("pump_hours", "2")])
    assert sum(p.hours for p in both.changed.pump_days) < sum(
        p.hours for p in both.season.pump_days
    )
    assert data.orchard.pump_hours == 12.0
    dry_now = sum(b.dry_days or 0 for b in both.outlook.blocks)
    assert sum(b.dry_days or 0 for b in both.changed_outlook.blocks) > dry_now


def test_a_later_pruning_can_be_tried() -> None:
    data = a_farm(cycles=block().cycles)
    later = day(10)
    both = actions.side_by_side(data, MONDAY, [("Ridge:pruned_on", later.isoformat())])
    now, then = both.season.blocks[0], both.changed.blocks[0]
    i = both.season.on_index
    assert both.season.stage(now) == "fill"
    assert now.clock.stage[i + 12] != then.clock.stage[i + 12]
    assert then.clock.days_from_pruning[i + 12] == 2


@pytest.mark.parametrize(
    "changes, code",
    [([], "whatif.nothing_changed"), ([("pump_speed", "3")], "key.unknown_farm"),
     ([("Nowhere:trees", "3")], "block.unknown")],
)  # fmt: skip
def test_what_cannot_be_tried_is_refused(changes, code) -> None:
    with pytest.raises(Refused) as fault:
        actions.side_by_side(a_farm(), MONDAY, changes)
    assert fault.value.code == code
