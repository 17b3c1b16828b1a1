"""How far off the week may be, and whether the clock is outside its climate."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from waterbudget import season
from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.outlook import recent_mean_c, too_cool_for_clock, week_spread
from waterbudget.records import FarmData, Ran
from waterbudget.weather import DailyRecord, Day

ON = dt.date(2025, 7, 14)


def farm(high_c: float = 29.0, low_c: float = 17.0, elevation_m: float | None = None) -> FarmData:
    first = ON - dt.timedelta(days=120)
    days = [
        Day(first + dt.timedelta(days=i), {
            "tmax_c": high_c, "tmin_c": low_c, "et0_given_mm": 4.0 + (i % 5) / 4,
            "rain_mm": 12.0 if i in (80, 111) else 0.0,
        })
        for i in range(120)
    ]  # fmt: skip
    block = Block(
        name="Kiln", id=1, area_ha=1.0, soil="loam", flow_m3_h=30.0, spacing_m=4.0, system="micro",
        cycles=(Cycle(first),), elevation_m=elevation_m,
    )  # fmt: skip
    orchard = Orchard(
        name="f", lat=-19.9, lon=32.7, epsg=32736, blocks=(block,),
        stations=(Station(name="s", id=1, elevation_m=1000.0),), et0="given",
    )  # fmt: skip
    ran = tuple(Ran(1, ON - dt.timedelta(days=n), hours=4.0) for n in (2, 9, 16, 30))
    return FarmData(orchard, records={"s": DailyRecord.from_days(days)}, ran=ran)


def test_without_any_spread_it_is_the_week_itself() -> None:
    run = season.run(farm())
    same = week_spread(run, 0, et0_share=0.0, hours_share=0.0)
    week = run.account.dr_mm[run.on_index :, 0]
    np.testing.assert_allclose(same.dry_end_mm, week, atol=1e-12)
    np.testing.assert_allclose(same.wet_end_mm, week, atol=1e-12)


def test_the_week_lies_between_its_edges_which_widen() -> None:
    run = season.run(farm())
    edges = week_spread(run, 0)
    week = run.account.dr_mm[run.on_index :, 0]
    assert (edges.dry_end_mm >= week - 1e-9).all()
    assert (edges.wet_end_mm <= week + 1e-9).all()
    width = edges.dry_end_mm - edges.wet_end_mm
    assert width[0] > 0.1
    assert width[-1] > width[0]


def test_both_edges_begin_where_the_block_stands() -> None:
    run = season.run(farm())
    edges = week_spread(run, 0)
    start = run.account.dr_start_mm[run.on_index, 0]
    assert edges.dry_start_mm[0] == pytest.approx(start)
    assert edges.wet_start_mm[0] == pytest.approx(start)


def test_mean_temperature_is_taken_at_the_height_of_the_block() -> None:
    level = season.run(farm(elevation_m=1000.0))
    high = season.run(farm(elevation_m=1600.0))
    assert recent_mean_c(level, level.blocks[0]) == pytest.approx(23.0)
    # 0.65 degC cooler every 100 m up (standard atmosphere)
    assert recent_mean_c(high, high.blocks[0]) == pytest.approx(23.0 - 3.9)


def test_cool_ground_is_told_and_warm_ground_is_not() -> None:
    warm, cool = season.run(farm()), season.run(farm(high_c=24.0, low_c=12.0))
    assert too_cool_for_clock(warm, warm.blocks[0]) is None
    assert too_cool_for_clock(cool, cool.blocks[0]) == pytest.approx(18.0)


def test_nothing_is_said_where_no_temperature_is_known() -> None:
    data = farm()
    bare = DailyRecord.from_days(
        [Day(ON - dt.timedelta(days=n), {"et0_given_mm": 4.0}) for n in range(1, 60)]
    )
    run = season.run(replace(data, records={"s": bare}))
    assert recent_mean_c(run, run.blocks[0]) is None
