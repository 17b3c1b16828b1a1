"""Stage numbers: whose setting wins, canopy, roots, and the coefficient day by day."""

import datetime as dt
import itertools

import numpy as np
import pytest
from orchard_samples import block
from published_tables import rows

from waterbudget import stage, tables
from waterbudget.cycle import run_clock
from waterbudget.orchard import ALL_STAGES, STAGES, Block, Cycle

PRUNED = dt.date(2025, 1, 10)


def clock(cycles=(Cycle(PRUNED),), first=PRUNED, days=260):
    return run_clock(cycles, first, np.full(days, 30.0), np.full(days, 18.0))


def numbers(one, run, farm=None):
    return stage.day_numbers(one, farm or {}, run)


def on(run, values, name):
    """The value in the middle of a stage."""
    here = np.flatnonzero(run.stage == ALL_STAGES.index(name))
    return float(values[here[len(here) // 2]])


@pytest.mark.parametrize("row", rows("canopy_kcb"), ids=lambda r: f"{r['cover']} {r['kcb']}")
def test_coefficient_by_canopy(row):
    value = stage.kcb_from_canopy(
        float(row["cover"]), float(row["height_m"]),
        resistance_factor=float(row["resistance_factor"]),
    )  # fmt: skip
    assert value == pytest.approx(float(row["kcb"]), abs=float(row["tolerance"]))


CITRUS = [r for r in rows("citrus_canopy") if r["tolerance"] != "skip"]


@pytest.mark.parametrize("row", CITRUS, ids=lambda r: f"{r['id']} {r['quantity']}")
def test_citrus_by_its_canopy(row):
    """FAO-56 table 12, footnote 21: a tall tree's full cover is 1.2 times its Fr."""
    value = stage.kcb_from_canopy(
        float(row["cover"]), float(row["height_m"]), resistance_factor=float(row["kcb_full"]) / 1.2
    )
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


def test_the_citrus_rows_left_out_say_why():
    left = [r for r in rows("citrus_canopy") if r["tolerance"] == "skip"]
    assert len(CITRUS) == 6 and len(left) == 12
    assert all("2 fc" in r["note"] or "footnote 22" in r["note"] for r in left)


def test_wind_and_dry_air_raise_the_full_coefficient():
    """FAO-56 example 29's climate (2.2 m/s, 30 %) on a 3 m canopy: 0.008 + 0.06 more."""
    still, windy = (
        stage.kcb_from_canopy(1.0, 3.0, resistance_factor=1.0, u2_m_s=u, rh_min=rh)
        for u, rh in ((2.0, 45.0), (2.2, 30.0))
    )
    assert windy - still == pytest.approx(0.068, abs=1e-9)


def test_a_living_cover_keeps_the_bare_strip_from_counting():
    bare = stage.kcb_from_canopy(0.3, 2.0)
    covered = stage.kcb_from_canopy(0.3, 2.0, floor_cover=0.6)
    assert covered > 0.6 > bare
    thirsty = stage.kcb_from_canopy(0.7, 3.0, floor_cover=0.95)
    assert thirsty == pytest.approx(0.95 - 0.9147 * 0.05 / 2, abs=1e-4)  # only half of it


def test_the_block_beats_the_farm_and_the_farm_the_default():
    farm, own = {"kcb_fill": 0.70, "allowed_fill": 0.30}, {"kcb_fill": 0.80}
    found = stage.numbers("fill", farm, own)
    assert (found.kcb_start, found.kcb_end, found.allowed, found.floor) == (0.8, 0.8, 0.3, 1.0)
    assert found.given["kcb"] == "block"
    assert found.given["allowed"] == "farm"
    assert found.given["weight"] == "default"
    assert stage.numbers("rest", farm, own).kcb_start == 0.50


def test_fruit_fill_weighs_most_and_may_dry_least():
    own = {s: stage.numbers(s, {}, {}) for s in ALL_STAGES}
    assert max(own, key=lambda s: own[s].weight) == "fill"
    assert min(own, key=lambda s: own[s].allowed) == "fill"
    assert min(own, key=lambda s: own[s].priority) == "fill"
    assert max(own, key=lambda s: own[s].kcb_end) == "fill"
    floors = {s: own[s].floor for s in STAGES}
    assert floors == {"pruned": 0.7, "shoots": 0.7, "bloom": 1.0, "set": 1.0, "lag": 0.8,
                      "fill": 1.0, "harvest": 0.9, "rest": 0.5}  # fmt: skip


def test_the_stage_table_is_the_agreed_one():
    """Single coefficient, allowed share, order when short; the basal one is 0.10 less."""
    wanted = {
        "pruned": (0.60, 0.60, 0.50, 6), "shoots": (0.65, 0.75, 0.50, 5),
        "bloom": (0.78, 0.78, 0.40, 2), "set": (0.80, 0.80, 0.40, 3),
        "lag": (0.80, 0.80, 0.45, 4), "fill": (0.85, 0.85, 0.35, 1),
        "harvest": (0.78, 0.78, 0.40, 3), "rest": (0.60, 0.60, 0.60, 7),
    }  # fmt: skip
    for name, (start, end, allowed, priority) in wanted.items():
        own = stage.numbers(name, {}, {})
        assert (own.allowed, own.priority) == (allowed, priority), name
        assert own.kcb_start == pytest.approx(start - 0.10)
        assert own.kcb_end == pytest.approx(end - 0.10)
    for row in tables.read("stages"):
        assert row["source"] and row["kind"] in ("published", "common practice", "own estimate")


def test_a_mature_block_takes_the_table_value_at_every_stage():
    run = clock()
    found = numbers(block(cycles=(Cycle(PRUNED),)), run)
    for name in STAGES:
        if name != "shoots":
            assert on(run, found.kcb, name) == pytest.approx(
                float(stage.defaults()[name]["kcb_start"])
            )
    shoots = found.kcb[run.stage == ALL_STAGES.index("shoots")]
    assert (np.diff(shoots) > 0).all()
    assert 0.55 <= shoots[0] < shoots[-1] <= 0.65


def test_a_default_canopy_after_pruning_lowers_no_coefficient():
    """The table value of a mature block already includes pruning."""
    run = clock()
    plain = numbers(block(cycles=(Cycle(PRUNED),)), run)
    assert plain.cover[0] == pytest.approx(0.20)
    assert plain.cover[90] == pytest.approx(0.55)
    assert plain.kcb[0] == pytest.approx(0.50)


def test_a_measured_canopy_counts_and_never_lifts_above_the_mature_value():
    run = clock()
    thin = numbers(block(cycles=(Cycle(PRUNED),), canopy_cover=0.2, height_m=1.6), run)
    wide = numbers(block(cycles=(Cycle(PRUNED),), canopy_cover=0.95), run)
    assert on(run, thin.kcb, "fill") == pytest.approx(0.377, abs=0.001)
    assert on(run, wide.kcb, "fill") == pytest.approx(0.75)
    one = numbers(block(cycles=(Cycle(PRUNED),), stage_numbers={"canopy_set": 0.2}), run)
    assert on(run, one.kcb, "set") < 0.45
    assert on(run, one.kcb, "lag") == pytest.approx(0.70)


def test_a_young_block_grows_with_its_years():
    planted = dt.date(2024, 1, 1)
    run = run_clock([], planted, np.full(1200, 30.0), np.full(1200, 18.0))
    found = numbers(Block(name="x", planted_on=planted), run)
    first, second, third = (found.kcb[d] for d in (100, 500, 1000))
    assert 0.15 < first < second < third < 0.70
    assert found.cover[[100, 500, 1000]].tolist() == [0.05, 0.22, 0.50]
    assert (found.root_depth_m == 0.4).all()
    unknown = numbers(Block(name="x"), run)
    assert (unknown.cover == 0.50).all()


def test_kcb_stays_above_the_bare_soil_value_at_any_canopy():
    run = clock()
    for cover, height in itertools.product((0.01, 0.1, 0.6, 1.0), (0.2, 2.0, 12.0)):
        found = numbers(block(cycles=(Cycle(PRUNED),), canopy_cover=cover, height_m=height), run)
        assert (found.kcb >= stage.KC_MIN - 1e-12).all()
        assert (found.kcb <= 0.75 + 1e-12).all()


def test_roots_are_shallow_in_the_first_cycle_only():
    young = dt.date(2023, 6, 1)
    first, second = Cycle(PRUNED), Cycle(PRUNED + dt.timedelta(days=230))
    run = run_clock([first, second], PRUNED - dt.timedelta(days=20), *(np.full(400, 24.0),) * 2)
    found = numbers(block(cycles=(first, second), planted_on=young), run)
    assert set(found.root_depth_m[:250]) == {0.4}
    assert set(found.root_depth_m[250:]) == {0.8}
    old = numbers(block(cycles=(first,), planted_on=dt.date(2015, 1, 1)), run)
    assert set(old.root_depth_m[20:]) == {0.8}
    unknown = numbers(block(cycles=(first,), planted_on=None), run)
    assert set(unknown.root_depth_m[20:]) == {0.8}


def test_a_root_depth_of_the_block_or_of_a_stage():
    run = clock()
    own = numbers(block(cycles=(Cycle(PRUNED),), root_depth_m=0.55), run)
    assert set(own.root_depth_m) == {0.55}
    staged = numbers(block(cycles=(Cycle(PRUNED),)), run, {"root_depth_fill": 0.6})
    assert on(run, staged.root_depth_m, "fill") == 0.6
    assert on(run, staged.root_depth_m, "lag") == 0.8
