"""Readings of the soil: what they say is missing, which count, how far they pull, the factor."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orchard_samples import MONDAY, block, change, day, dr_morning, farm, pruned, ran, record

from waterbudget import balance, season, sensors, sheet, tables
from waterbudget.balance import State
from waterbudget.orchard import SOILS
from waterbudget.records import READING_KINDS, FarmData, Reading
from waterbudget.sensors import Ground, Judged, Pulled, factor_step, judge, used_share

DAYS = 10
FIRST = day(-DAYS)


def ground(**changed: Any) -> Ground:
    """Ten dry days of 100 mm held, roots to 80 cm, slow from half of it on."""
    fields: dict[str, Any] = {
        "first": FIRST, "soil": "sandy-loam", "taw_mm": np.full(DAYS, 100.0),
        "root_depth_m": np.full(DAYS, 0.8), "stress_share": 0.5, "rain_mm": np.zeros(DAYS),
        "watered_mm": np.zeros(DAYS), "trees": np.ones(DAYS, bool),
    } | changed  # fmt: skip
    return Ground(**fields)


def kpa(value: float, ago: int = 3, **more: Any) -> Reading:
    return Reading(1, day(-ago), "tensiometer", value, **({"depth_cm": 25.0} | more))


def percent(value: float, ago: int = 3, **more: Any) -> Reading:
    return Reading(1, day(-ago), "capacitance", value, **more)


def spade(value: float, ago: int = 3, **more: Any) -> Reading:
    return Reading(1, day(-ago), "field", value, **more)


def wet(ago: int, mm: float) -> np.ndarray:
    values = np.zeros(DAYS)
    values[DAYS - ago] = mm
    return values


def only(*readings: Reading, **changed: Any) -> Judged:
    found, _ = judge(readings, ground(**changed))
    assert len(found) == 1
    return found[0]


def reasons(*readings: Reading, **changed: Any) -> list[str]:
    return [j.why for j in judge(readings, ground(**changed))[0]]


# ---------------------------------------------------------------- what a reading says is missing


@pytest.mark.parametrize(
    ("soil", "suction", "share"),
    [
        ("sandy-loam", 0, 0.0), ("sandy-loam", 10, 0.0), ("sandy-loam", 17.5, 0.175),
        ("sandy-loam", 25, 0.35), ("sandy-loam", 30, 0.475), ("sandy-loam", 35, 0.60),
        ("sandy-loam", 60, 0.60), ("loamy-sand", 15, 0.35), ("loam", 35, 0.35),
        ("loam", 50, 0.60), ("clay-loam", 45, 0.35), ("clay", 50, 0.35), ("clay", 60, 0.475),
    ],
)  # fmt: skip
def test_a_tension_is_a_share_of_the_held_water(soil: str, suction: float, share: float) -> None:
    assert used_share(soil, suction) == pytest.approx(share)


@pytest.mark.parametrize("soil", SOILS)
def test_every_soil_has_its_tensions_in_order(soil: str) -> None:
    full, low, high = sensors.tensions()[soil]
    assert 0 < full < low < high < sensors.LAST_KPA


def test_the_two_shares_are_the_allowed_depletions_of_fill_and_rest() -> None:
    allowed = {r["stage"]: float(r["allowed"]) for r in tables.read("stages")}
    assert (allowed["fill"], allowed["rest"]) == (sensors.LOW_USED, sensors.HIGH_USED)


def test_what_each_kind_says_is_missing() -> None:
    assert only(kpa(25)).missing_mm == pytest.approx(35)
    assert only(kpa(60)).missing_mm == pytest.approx(60)
    assert only(kpa(60)).at_least and not only(kpa(35)).at_least
    assert only(percent(100)).missing_mm == 0
    assert only(percent(20)).missing_mm == pytest.approx(0.8 * 50)
    assert only(percent(0)).at_least and not only(percent(1)).at_least
    assert only(spade(17.5)).missing_mm == 17.5
    assert only(spade(140)).missing_mm == 100


# ---------------------------------------------------------------- which count


@pytest.mark.parametrize(
    ("changed", "reading", "why"),
    [
        ({}, kpa(30), "counts"),
        ({"watered_mm": wet(4, 3.0)}, kpa(30), "after_water"),
        ({"watered_mm": wet(5, 3.0)}, kpa(30), "counts"),
        ({"rain_mm": wet(4, 2.0)}, kpa(30), "after_water"),
        ({"rain_mm": wet(4, 1.9)}, kpa(30), "counts"),
        ({"watered_mm": wet(3, 3.0)}, kpa(30), "water_that_day"),
        ({"watered_mm": wet(3, 3.0)}, kpa(30, before_water=True), "counts"),
        ({"watered_mm": wet(4, 3.0)}, kpa(30, before_water=True), "after_water"),
        ({"watered_mm": wet(4, 3.0)}, spade(9), "after_water"),
        ({"trees": np.zeros(DAYS, bool)}, kpa(30), "no_trees"),
        ({}, kpa(30, depth_cm=40.0), "counts"),
        ({}, kpa(30, depth_cm=41.0), "deep"),
        ({}, kpa(9, depth_cm=55.0), "deep_wet"),
        ({}, percent(60, depth_cm=55.0), "deep"),
        ({}, kpa(30, depth_cm=None), "counts"),
        ({}, kpa(80), "counts"),
        ({}, kpa(80.5), "air_inside"),
        ({"soil": None}, kpa(30), "no_soil"),
        ({"soil": None}, percent(60), "counts"),
        ({}, kpa(30, ago=DAYS + 1), "outside"),
    ],
)
def test_a_reading_counts_or_is_told_why_not(
    changed: dict[str, Any], reading: Reading, why: str
) -> None:
    found, pulls = judge([reading], ground(**changed))
    assert [j.why for j in found] == [why]
    assert found[0].counts == (why == "counts") == bool(pulls)


def test_of_several_sensors_at_least_two_must_agree() -> None:
    at = [kpa(v, sensor=f"T{v}") for v in (20, 25, 26, 34)]  # 23.3, 35, 37.5 and 57.5 mm
    assert reasons(*at[1:3]) == ["counts", "counts"]
    assert reasons(at[0], at[3]) == ["disagrees", "disagrees"]
    assert reasons(*at[:3]) == ["counts"] * 3
    assert reasons(at[1], at[2], kpa(12, sensor="low")) == ["counts", "counts", "disagrees"]
    _, pulls = judge([at[1], at[2], kpa(12, sensor="low")], ground())
    assert [p.missing_mm for p in pulls] == [pytest.approx((35 + 37.5) / 2)]
    two_and_two = [kpa(v, sensor=str(v)) for v in (11, 12, 33, 34)]
    assert reasons(*two_and_two) == ["disagrees"] * 4
    _, pulls = judge(two_and_two, ground())
    assert pulls == []


def test_one_wet_sensor_that_does_not_count_does_not_vote() -> None:
    assert reasons(kpa(30), kpa(90)) == ["counts", "air_inside"]


def test_a_spade_counts_before_sensors_and_weighs_more() -> None:
    found, pulls = judge([kpa(30), spade(20), spade(24)], ground())
    assert [j.why for j in found] == ["field_counts", "counts", "counts"]
    assert [(p.missing_mm, p.share) for p in pulls] == [(22.0, 0.6)]
    assert judge([kpa(30)], ground())[1][0].share == 0.4


# ---------------------------------------------------------------- in the run


def dried(**changed: Any) -> FarmData:
    """A block known full ten days ago that nobody watered since, in fruit fill."""
    return farm(block(**({"full_on": day(-10), "cycles": pruned(160)} | changed)))


def read_at(data: FarmData, *readings: Reading) -> FarmData:
    return dataclasses.replace(data, readings=tuple(readings))


def row(run: season.Season, date: dt.date) -> dict[str, Any]:
    rows = sheet.balance_rows(run, run.block("Ridge"))
    return next(r for r in rows if r["date"] == date)


def test_a_reading_lifts_the_depletion_by_the_rule_and_the_account_says_so() -> None:
    """60 kPa in fruit fill on sandy loam: at least 60 % of 33.6 mm."""
    early = dried(full_on=day(-4))
    plain = season.run(early)
    run = season.run(read_at(early, kpa(60, ago=2)))
    model = row(plain, day(-2))["dr_start_mm"]
    read = 0.6 * 33.6
    assert model < read
    wanted = 0.6 * model + 0.4 * read
    found = row(run, day(-2))
    assert found["dr_start_mm"] == pytest.approx(model)
    assert found["correction_mm"] == pytest.approx(model - wanted)
    assert found["dr_start_mm"] - found["correction_mm"] == pytest.approx(wanted)
    assert "reading" in found["flags"] and "reading" not in row(plain, day(-2))["flags"]
    assert row(run, day(-1))["correction_mm"] == 0
    assert dr_morning(run, "Ridge") > dr_morning(plain, "Ridge")
    (pulled,) = run.block("Ridge").pulled
    assert (pulled.date, pulled.new_mm) == (day(-2), pytest.approx(wanted))
    assert pulled.model_mm == pytest.approx(model)


def test_at_least_never_pulls_to_the_wetter_side() -> None:
    plain = season.run(dried())
    run = season.run(read_at(dried(), kpa(60, ago=1)))
    assert row(plain, day(-1))["dr_start_mm"] > 0.6 * 33.6
    np.testing.assert_array_equal(run.account.dr_mm, plain.account.dr_mm)
    (pulled,) = run.block("Ridge").pulled
    assert pulled.new_mm == pulled.model_mm and pulled.off == 0


def test_a_reading_less_than_24_hours_after_water_is_dropped() -> None:
    watered = dataclasses.replace(dried(), ran=(ran(1, day(-3), hours=1.0),))
    plain, run = season.run(watered), season.run(read_at(watered, kpa(12, ago=2)))
    np.testing.assert_array_equal(run.account.dr_mm, plain.account.dr_mm)
    assert [j.why for j in run.block("Ridge").readings] == ["after_water"]
    kept = season.run(read_at(watered, kpa(12, ago=1)))
    assert dr_morning(kept, "Ridge") < dr_morning(plain, "Ridge")


def test_this_mornings_reading_moves_todays_plan_but_not_a_past_view() -> None:
    early = dried(full_on=day(-2))
    need = [
        season.run(read_at(early, *r)).drivers.irrigation_mm[-7:].sum()
        for r in ((), (spade(30, ago=0),))
    ]
    assert need[1] > need[0] + 5
    plain, run = season.run(early), season.run(read_at(early, spade(30, ago=0)))
    morning = 0.4 * dr_morning(plain, "Ridge") + 0.6 * 30
    assert dr_morning(run, "Ridge") == pytest.approx(morning)
    assert run.block("Ridge").dryness.dry and not plain.block("Ridge").dryness.dry
    (pulled,) = run.block("Ridge").pulled
    assert pulled.model_mm == pytest.approx(dr_morning(plain, "Ridge"))
    assert (pulled.new_mm, pulled.date) == (pytest.approx(morning), MONDAY)
    yesterday = row(run, day(-1))
    assert yesterday["correction_mm"] == pytest.approx(pulled.model_mm - morning)
    assert "reading" in yesterday["flags"] and "reading" not in row(run, MONDAY)["flags"]
    assert np.abs(run.account.closure_mm).max() < 1e-9
    looked_back = season.run(read_at(early, spade(30, ago=0)), day(-1))
    assert looked_back.block("Ridge").readings == ()
    later_known = read_at(early, spade(30, ago=1), spade(2, ago=0))
    assert season.run(later_known, day(-1)).block("Ridge").readings == ()


def test_without_weather_a_reading_is_kept_and_not_used() -> None:
    bare = farm(block(), records={}, stations=())
    run = season.run(read_at(bare, kpa(30)), MONDAY)
    assert [j.why for j in run.block("Ridge").readings] == ["no_weather"]
    assert run.drivers.read_share is None


def test_a_soil_that_is_not_given_has_no_tensions() -> None:
    run = season.run(read_at(dried(soil=None), kpa(30)))
    assert [j.why for j in run.block("Ridge").readings] == ["no_soil"]
    textured = dried(soil=None, sand_pct=65.0, clay_pct=10.0)
    run = season.run(read_at(textured, kpa(30)))
    assert [j.why for j in run.block("Ridge").readings] == ["counts"]


def test_a_reading_of_one_block_leaves_the_other_alone() -> None:
    two = farm(block("Ridge", 1, full_on=day(-4)), block("Foot", 2, full_on=day(-4)))
    plain, run = season.run(two), season.run(read_at(two, spade(30)))
    np.testing.assert_array_equal(run.account.dr_mm[:, 1], plain.account.dr_mm[:, 1])
    assert dr_morning(run, "Ridge") != dr_morning(plain, "Ridge")


def test_a_cache_notices_readings() -> None:
    cache = season.Cache()
    data = dried()
    for readings in ((), (spade(5),), (spade(30),), (spade(30), kpa(20, ago=1)), ()):
        now = read_at(data, *readings)
        kept, fresh = season.run(now, cache=cache), season.run(now)
        np.testing.assert_array_equal(kept.account.dr_mm, fresh.account.dr_mm)
        assert kept.block("Ridge").readings == fresh.block("Ridge").readings
        assert kept.block("Ridge").pulled == fresh.block("Ridge").pulled


HIGH = {"tensiometer": 100.0, "capacitance": 100.0, "field": 200.0}


@st.composite
def any_reading(draw: st.DrawFn) -> Reading:
    kind = draw(st.sampled_from(READING_KINDS))
    return Reading(
        draw(st.integers(1, 3)), day(-draw(st.integers(0, 60))), kind,
        draw(st.floats(0, HIGH[kind])), draw(st.none() | st.floats(1, 120)),
        draw(st.none() | st.sampled_from(("A", "B"))), draw(st.booleans()),
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    st.lists(any_reading(), max_size=12),
    st.dictionaries(st.integers(1, 60), st.floats(0, 60), max_size=6),
    st.lists(st.tuples(st.integers(1, 3), st.integers(1, 60)), max_size=6, unique=True),
)
def test_the_account_closes_with_any_readings(
    readings: list[Reading], rain: dict[int, float], ran_on: list[tuple[int, int]]
) -> None:
    blocks = (
        block("Ridge", 1, cycles=pruned(160)), block("Foot", 2, cycles=(), system="overhead"),
        block("Moved", 3, cycles=(*pruned(200), *pruned(30)), planted_on=dt.date(2025, 1, 1),
              stage_numbers={"root_depth_shoots": 0.3}, full_on=day(-20)),
    )  # fmt: skip
    data = farm(
        *blocks, records={"Gate": record(rain={day(-k): mm for k, mm in rain.items()})},
        ran=tuple(ran(b, day(-ago), hours=3.0) for b, ago in ran_on), readings=tuple(readings),
    )  # fmt: skip
    run = season.run(data)
    assert np.abs(run.account.closure_mm).max() < 1e-9
    assert (run.account.dr_mm > -1e-9).all()
    assert (run.account.dr_mm <= run.drivers.taw_mm + 1e-9).all()
    judged = [j for b in run.blocks for j in b.readings]
    assert len(judged) == len(readings)
    assert all(j.missing_mm is not None for j in judged if j.counts)


def test_a_run_in_parts_pulls_as_the_whole_does() -> None:
    readings = (spade(25, ago=12), kpa(60, ago=9), percent(40, ago=5))
    two = farm(block("Ridge", 1, full_on=day(-20)), block("Foot", 2, kc_factor=0.9,
                                                          kc_factor_from=day(-8)))  # fmt: skip
    drivers = season.run(read_at(two, *readings)).drivers
    whole, end = balance.run(drivers, State.full(2))
    assert np.count_nonzero(drivers.read_share) == 3
    state, n = State.full(2), len(drivers.et0_mm)
    for cut in (slice(0, n - 16), slice(n - 16, n - 13), slice(n - 13, n)):
        part, state = balance.run(drivers.rows(cut), state)
        np.testing.assert_array_equal(part.dr_mm, whole.dr_mm[cut])
    alone, _ = balance.run(drivers.columns(np.array([1])), State.full(1))
    np.testing.assert_array_equal(alone.dr_mm[:, 0], whole.dr_mm[:, 1])
    np.testing.assert_array_equal(state.dr_mm, end.dr_mm)


# ---------------------------------------------------------------- the factor


def off(ago: int, share: float) -> Pulled:
    return Pulled(day(-ago), 10.0, 10.0 + 20 * share, 0.0, 0.4, 20.0, day(-ago))


def weeks(*shares: float) -> list[Pulled]:
    """One reading a week, the oldest first."""
    return [off(17 - 7 * k, share) for k, share in enumerate(shares)]


@pytest.mark.parametrize(
    ("pulled", "factor", "new"),
    [
        (weeks(0.16, 0.2, 0.3), 1.0, 1.05), (weeks(-0.16, -0.2, -0.3), 1.0, 0.95),
        (weeks(0.16, 0.15, 0.3), 1.0, None), (weeks(0.2, -0.2, 0.2), 1.0, None),
        (weeks(0.2, 0.2), 1.0, None), (weeks(0.3, 0.3, 0.3), 1.15, 1.2),
        (weeks(0.3, 0.3, 0.3), 1.2, None), (weeks(-0.3, -0.3, -0.3), 0.85, 0.8),
        (weeks(-0.3, -0.3, -0.3), 0.8, None), ([], 1.0, None),
        ([*weeks(0.3, 0.3, 0.3), off(2, -0.9)], 1.0, None),
    ],
)  # fmt: skip
def test_three_one_sided_weeks_propose_a_step(
    pulled: list[Pulled], factor: float, new: float | None
) -> None:
    step = factor_step(pulled, MONDAY, factor)
    assert (step.new if step else None) == new


def test_nothing_is_proposed_until_three_weeks_after_the_last_change() -> None:
    shares = weeks(0.3, 0.3, 0.3)
    assert factor_step(shares, MONDAY, 1.0, day(-18)) is not None
    assert factor_step(shares, MONDAY, 1.0, day(-17)) is None


def test_a_dry_run_of_readings_proposes_on_the_season_and_applies_nothing() -> None:
    watered = tuple(ran(1, day(-ago), hours=8.0) for ago in range(4, 41, 4))
    data = dataclasses.replace(dried(full_on=day(-40)), ran=watered)
    dry = [spade(26, ago=ago) for ago in (2, 10, 18)]
    run = season.run(read_at(data, *dry))
    found = run.block("Ridge")
    assert [p.date for p in found.pulled] == [day(-18), day(-10), day(-2)]
    assert found.factor_step is not None and found.factor_step.new == 1.05
    assert run.drivers.kc_factor[0] == 1.0
    assert "factor_proposed" in sheet.week_row(run, found).values["flags"]


# ---------------------------------------------------------------- a factor with a date


def test_a_factor_of_nine_tenths_takes_nine_tenths_exactly() -> None:
    plain = farm(block(kc_fixed=0.8))
    less = change(plain, "Ridge", kc_factor=0.9)
    wanted, got = (season.run(d).account.etc_potential_mm for d in (plain, less))
    np.testing.assert_allclose(got, 0.9 * wanted, rtol=1e-15)


def test_a_dated_factor_holds_from_its_date_on() -> None:
    plain = farm(block(kc_fixed=0.8))
    dated = change(plain, "Ridge", kc_factor=0.9, kc_factor_from=day(-5))
    run, was = season.run(dated), season.run(plain)
    i = run.on_index - 5
    took, had = run.account.etc_potential_mm[:, 0], was.account.etc_potential_mm[:, 0]
    np.testing.assert_array_equal(took[:i], had[:i])
    np.testing.assert_allclose(took[i:], 0.9 * had[i:], rtol=1e-15)
    kept = change(dated, "Ridge", kc_factor_before=1.1)
    np.testing.assert_allclose(
        season.run(kept).account.etc_potential_mm[:i, 0], 1.1 * had[:i], rtol=1e-15
    )
    assert row(run, day(-5))["kcb"] == pytest.approx(0.72)
    assert row(run, day(-6))["kcb"] == pytest.approx(0.8)


def test_a_factor_that_begins_later_is_not_known_yet() -> None:
    data = farm(block(kc_factor=0.9, kc_factor_from=day(3), kc_factor_before=1.1))
    assert season.run(data).drivers.factor(0, 0) == 1.1
    assert season.run(data).drivers.factor(-1, 0) == 1.1
    today = farm(block(kc_factor=0.9, kc_factor_from=MONDAY))
    assert season.run(today).drivers.factor(-1, 0) == 0.9


def test_dated_and_plain_factors_stand_side_by_side() -> None:
    data = farm(
        block("Ridge", 1, kc_factor=0.9, kc_factor_from=day(-5)), block("Foot", 2, kc_factor=1.1)
    )
    run = season.run(data)
    assert [run.drivers.factor(0, k) for k in (0, 1)] == [1.0, 1.1]
    assert [run.drivers.factor(-1, k) for k in (0, 1)] == [0.9, 1.1]
    assert np.abs(run.account.closure_mm).max() < 1e-9
