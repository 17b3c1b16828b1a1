"""What a grower may say of a block's soil, salt, evenness and spacing, through the whole chain."""

import dataclasses

import numpy as np
import pytest
from orchard_samples import block, change, day, farm, net_week, pruned, record
from published_tables import inputs, of, rows

from waterbudget import balance, salinity, season, sheet, stage, texture
from waterbudget.balance import RAIN_WETS_ALL_MM, State
from waterbudget.errors import Refused
from waterbudget.orchard import Block
from waterbudget.records import Ran
from waterbudget.season import blocks as ready
from waterbudget.soil import soil_numbers

LAYOUT = {  # 110 mm among the roots, one coefficient of 1, slowing down at 0.4 where 5 mm are used
    "field_capacity": 0.26, "wilting_point": 0.15, "root_depth_m": 1.0, "root_share": 1.0,
    "kc_fixed": 1.0, "p_stress": 0.4, "full_on": day(-2),
}  # fmt: skip
SALT = {"salt_threshold_ds_m": 1.0, "salt_loss_pct": 19.0, "salt_ky": 1.15}
BEAN_KS = 0.9174  # 1 - 19 / (100 x 1.15) x 0.5, printed 0.92


# ---------------------------------------------------------------- salt


def used_share(one, dr_mm, et0=5.0):
    """The share of its use a block takes in a day that begins with that much missing."""
    run = season.run(farm(one, records={"Gate": record(et0=et0)}))
    today = run.drivers.rows(slice(run.on_index, run.on_index + 1))
    today = dataclasses.replace(today, irrigation_mm=np.zeros((1, 1)))
    start = State(*(np.array([v]) for v in (float(dr_mm), 0.0, False, 110.0)))
    account, _ = balance.run(today, start)
    assert run.drivers.taw_mm[run.on_index, 0] == pytest.approx(110.0)
    return float(account.transpiration_mm[0, 0]) / et0


EXAMPLE_39 = [
    (float(r["note"].split("Dr ")[1].split(" ")[0]), float(r["inputs"].split("ks_dry=")[1][:4]),
     float(r["printed"]))
    for r in of("salinity", "ks_both")
]  # fmt: skip


@pytest.mark.parametrize("dr, dry, salty", EXAMPLE_39)
def test_example_39_through_a_block(dr, dry, salty):
    """FAO-56 p. 182: dryness and salt together; ECe 1.5 given, or out of water of 1 dS/m."""
    assert used_share(block(**LAYOUT), dr) == pytest.approx(dry, abs=0.005)
    # salt leaves less to be used, and what uses less slows down later: et0 made good for it
    five = 5.0 / BEAN_KS
    measured = block(**LAYOUT, **SALT, soil_ec_ds_m=1.5)
    assert used_share(measured, dr, five) == pytest.approx(salty, abs=0.0096)
    by_water = block(**LAYOUT, **SALT, water_ec_ds_m=1.0)
    assert salinity.salt_numbers(by_water).ece == pytest.approx(1.5, abs=0.05)


def test_salt_is_off_until_the_grower_gives_a_threshold():
    salty = block(water_ec_ds_m=3.0, soil_ec_ds_m=6.0)
    assert salinity.salt_numbers(salty).ks == 1.0
    plain, told = (season.run(farm(b)) for b in (block(), salty))
    assert net_week(plain, "Ridge") == net_week(told, "Ridge")
    assert salinity.salt_numbers(block()).ece is None


def test_salt_slows_trees_and_leaves_the_soil_alone():
    """Micro-sprinklers on wet ground: only what the trees take gets less."""
    bare = {"system": "micro", "full_on": day(-1), "canopy_cover": 0.3}
    plain, salty = (
        season.run(farm(block(**bare, **more)))
        for more in ({}, {"soil_ec_ds_m": 3.0, "salt_threshold_ds_m": 1.5, "salt_loss_pct": 16.0})
    )
    i = plain.on_index
    share = salty.account.transpiration_mm[i, 0] / plain.account.transpiration_mm[i, 0]
    assert share == pytest.approx(1 - 0.16 * 1.5)
    free = [r.drivers.kc_max[i, 0] - r.drivers.kcb[i, 0] for r in (plain, salty)]
    assert free[0] == pytest.approx(free[1])


@pytest.mark.parametrize("ec, share, workable", [(0.7, 0.103, True), (3.2, 0.744, False)])
def test_leaching_at_a_soil_of_one_and_a_half(ec, share, workable):
    found = salinity.salt_numbers(block(water_ec_ds_m=ec, leaching="in-rest"))
    assert found.leaching == pytest.approx(share, abs=0.0005)
    assert found.workable is workable and found.applied is workable
    assert not salinity.salt_numbers(block(water_ec_ds_m=ec)).applied


def test_salt_is_washed_down_in_rest_only_and_the_roots_get_their_need():
    one = {"water_ec_ds_m": 1.2, "full_on": day(-3), "kc_fixed": 0.8}
    for cycles, gross_more in ((pruned(240), 1 / (1 - 1.2 / 6.3)), (pruned(160), 1.0)):
        plain, washed = (
            sheet.week_row(run, run.block("Ridge")).values
            for run in (
                season.run(farm(block(cycles=cycles, leaching=how, **one)))
                for how in (None, "in-rest")
            )
        )
        assert washed["net_mm"] == pytest.approx(plain["net_mm"]) and plain["net_mm"] > 0
        assert washed["gross_mm"] == pytest.approx(plain["gross_mm"] * gross_more)
        assert washed["m3"] == pytest.approx(plain["m3"] * gross_more)


def test_what_ran_while_leaching_fills_less_and_the_account_shows_the_meter():
    data = farm(block(cycles=pruned(240), water_ec_ds_m=1.2, leaching="in-rest"),
                ran=(Ran(block_id=1, date=day(-2), m3=100.0),))  # fmt: skip
    run = season.run(data)
    row = next(r for r in sheet.balance_rows(run, run.block("Ridge")) if r["date"] == day(-2))
    assert row["irrigation_gross_mm"] == pytest.approx(10.0)
    assert row["irrigation_mm"] == pytest.approx(10.0 * 0.9 * (1 - 1.2 / 6.3))
    later = season.run(change(data, "Ridge", cycles=(*pruned(240), *pruned(1))))
    row = next(r for r in sheet.balance_rows(later, later.block("Ridge")) if r["date"] == day(-2))
    assert row["irrigation_gross_mm"] == pytest.approx(10.0)  # the block is bare by now


# ---------------------------------------------------------------- soil and rock

HELD = [
    r for r in rows("saxton_rawls_2006") if r["quantity"] in ("field_capacity", "wilting_point")
]


@pytest.mark.parametrize("row", HELD, ids=lambda r: f"{r['id']} {r['quantity']}")
def test_sand_and_clay_of_a_block_give_the_printed_soil(row):
    one = Block(name="x", **inputs(row))
    found = soil_numbers(one)
    assert 100 * getattr(found, row["quantity"]) == pytest.approx(float(row["printed"]), abs=0.5)
    assert found.given == "by texture"
    assert found.name == row["id"].removeprefix("sr2006-")
    assert soil_numbers(dataclasses.replace(one, organic_pct=None)) == found  # 2.5 %


def test_what_was_measured_beats_texture_and_texture_beats_feel():
    sandy = Block(name="x", soil="clay", sand_pct=65, clay_pct=10)
    assert soil_numbers(sandy).field_capacity == pytest.approx(0.18, abs=0.005)
    assert soil_numbers(sandy).name == "clay"
    half = dataclasses.replace(sandy, clay_pct=None)
    assert soil_numbers(half).given == "by class"
    measured = dataclasses.replace(sandy, field_capacity=0.25, wilting_point=0.12)
    assert (soil_numbers(measured).field_capacity, soil_numbers(measured).given) == (
        0.25, "measured",
    )  # fmt: skip
    assert (
        "soil" not in season.run(farm(block(soil=None, sand_pct=40, clay_pct=20))).blocks[0].missing
    )
    with pytest.raises(Refused) as caught:
        Block(name="x", sand_pct=70, clay_pct=40)
    assert caught.value.code == "block.sand_and_clay"


def test_every_corner_of_the_texture_triangle_holds_water():
    for sand in range(0, 101, 5):
        for clay in range(0, min(60, 100 - sand) + 1, 5):
            for organic in (0.0, 8.0):
                found = soil_numbers(
                    Block(name="x", sand_pct=sand, clay_pct=clay, organic_pct=organic)
                )
                assert 0 < found.wilting_point < found.field_capacity < 0.7
                assert 0 < found.rew_mm < found.tew_mm


def test_classes_of_the_triangle():
    wanted = {
        (20, 60): "clay", (60, 28): "sandy-clay-loam", (5, 45): "silty-clay",
        (82, 8): "loamy-sand", (33, 33): "clay-loam", (40, 20): "loam", (60, 5): "sandy-loam",
        (10, 8): "silt",
    }  # fmt: skip
    assert {k: texture.soil_class(*k) for k in wanted} == wanted


def test_roots_end_at_the_rock_and_stones_hold_nothing():
    soil = {"soil": "sandy-loam", "root_share": 1.0}
    deep, rocky, stony = (
        season.run(farm(block(**soil, **more))).drivers.taw_mm[-1, 0]
        for more in ({}, {"rock_depth_m": 0.5}, {"rock_depth_m": 0.5, "stones": 0.3})
    )
    assert (deep, rocky, stony) == pytest.approx((96.0, 60.0, 42.0))
    for own in ({"root_depth_m": 0.9}, {"stage_numbers": {"root_depth_fill": 0.9}}):
        run = season.run(farm(block(**soil, **own, rock_depth_m=0.35)))
        assert run.drivers.taw_mm.max() == pytest.approx(0.12 * 350)


# ---------------------------------------------------------------- evenness, trees, defaults

CANS = next(r for r in rows("hydraulics") if r["id"] == "du-lq-15cans")
TYPED = CANS["inputs"].removeprefix("catches=")


def test_catches_give_the_one_efficiency():
    even = float(CANS["printed"])
    one = block(system="micro", catch_ml=TYPED)
    assert ready.uniformity(one) == pytest.approx(even)
    assert ready.efficiency(one) == pytest.approx(even)
    given = block(system="micro", catch_ml=TYPED, efficiency=0.8)
    assert ready.efficiency(given) == 0.8
    good = block(system="micro", catch_ml="50, 49; 51 50 50")
    assert ready.efficiency(good) == 0.85  # not 0.85 times 0.98
    run = season.run(farm(one))
    row = sheet.week_row(run, run.block("Ridge")).values
    assert row["gross_mm"] == pytest.approx(row["net_mm"] / even) and row["net_mm"] > 0


@pytest.mark.parametrize("typed", ["1 2 3", "4 5 6 x", "0 0 0 0", "-1 2 3 4"])
def test_catches_that_are_none(typed):
    with pytest.raises(Refused) as caught:
        Block(name="x", catch_ml=typed)
    assert caught.value.code == "block.catches"


DENSITY = [r for r in of("layout", "trees_per_ha") if r["id"].startswith("density")]


@pytest.mark.parametrize("row", DENSITY, ids=lambda r: f"{r['id']} {r['inputs']}")
def test_trees_of_a_block_by_its_spacing(row):
    pairs = dict(part.split("=") for part in row["inputs"].split(";"))
    spacing = {k: float(v) for k, v in pairs.items() if k != "pattern"}
    one = block(trees=None, pattern=pairs["pattern"], area_ha=100.0, **spacing)
    assert ready.tree_count(one) == pytest.approx(100 * float(row["printed"]), abs=1)


def test_defaults_lie_in_the_printed_ranges():
    for row in rows("fao56_defaults"):
        low, high = float(row["low"]), float(row["high"])
        value = {
            "wetted_fraction": lambda r: ready.system_defaults()[r["of"]]["wetted_fraction"],
            "rain_wets_all_mm": lambda r: RAIN_WETS_ALL_MM,
            "p_stress": lambda r: stage.P_STRESS,
        }[row["quantity"]](row)
        assert low <= value <= high, row
