"""Water a soil can hold: FAO-56 as printed, and what a block is given where it says nothing."""

import itertools

import numpy as np
import pytest
from published_tables import inputs, label, of, rows

from waterbudget import soil
from waterbudget.errors import Refused
from waterbudget.orchard import SOILS, Block


def taw(field_capacity, wilting_point, root_depth_m):
    return soil.total_available_mm(field_capacity, wilting_point, root_depth_m)


def raw(field_capacity, wilting_point, root_depth_m, p):
    return soil.readily_available_mm(taw(field_capacity, wilting_point, root_depth_m), p)


PUBLIC = {"taw": taw, "raw": raw, "tew": soil.total_evaporable_mm, "p": soil.adjusted_p}


@pytest.mark.parametrize("row", of("fao56_soil", *PUBLIC), ids=label)
def test_as_printed(row):
    value = float(PUBLIC[row["quantity"]](**inputs(row)))
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("fao56_table19"), ids=lambda r: r["soil"])
def test_our_soils_lie_inside_the_printed_ranges(row):
    numbers = soil.soil_numbers(Block(name="x", soil=row["soil"]))
    assert soil.classes()[row["soil"]]["kind"] == "published"

    def inside(value, name, unit=""):
        assert float(row[f"{name}_low{unit}"]) <= value <= float(row[f"{name}_high{unit}"]), name

    inside(numbers.field_capacity, "field_capacity")
    inside(numbers.wilting_point, "wilting_point")
    inside(round(numbers.field_capacity - numbers.wilting_point, 6), "available")
    inside(numbers.rew_mm, "rew", "_mm")
    inside(round(numbers.tew_mm, 6), "tew", "_mm")


def test_every_class_a_block_may_name_has_its_row():
    assert set(soil.classes()) == set(SOILS)
    printed = {r["soil"] for r in rows("fao56_table19")}
    estimated = {s for s, r in soil.classes().items() if r["kind"] == "own estimate"}
    assert estimated == set(SOILS) - printed == {"sandy-clay-loam", "clay-loam", "sandy-clay"}


def test_stones_and_the_share_of_the_roots_lower_what_is_held():
    assert soil.total_available_mm(0.27, 0.12, 0.8) == pytest.approx(120.0)
    assert soil.total_available_mm(0.27, 0.12, 0.8, stones=0.25) == pytest.approx(90.0)
    assert soil.total_available_mm(0.27, 0.12, 0.8, root_share=0.35) == pytest.approx(42.0)
    deep = soil.total_available_mm(0.27, 0.12, np.array([0.4, 0.8]), 0.25, 0.35)
    assert deep.tolist() == pytest.approx([15.75, 31.5])


def test_p_is_kept_between_a_tenth_and_eight_tenths():
    assert float(soil.adjusted_p(0.5, 30.0)) == 0.1
    assert float(soil.adjusted_p(0.7, 0.0)) == 0.8


def test_what_is_measured_beats_the_class_and_says_so():
    by_class = soil.soil_numbers(Block(name="x", soil="clay"))
    assert (by_class.field_capacity, by_class.given) == (0.36, "by class")
    half = soil.soil_numbers(Block(name="x", soil="clay", field_capacity=0.39))
    assert (half.field_capacity, half.wilting_point, half.given) == (0.39, 0.21, "by class")
    whole = soil.soil_numbers(Block(name="x", soil="clay", field_capacity=0.3, wilting_point=0.1))
    assert (whole.field_capacity, whole.wilting_point, whole.given) == (0.3, 0.1, "measured")
    assert whole.tew_mm == pytest.approx(25.0)
    none = soil.soil_numbers(Block(name="x", stones=0.3))
    assert (none.name, none.given, none.stones) == ("loam", "default", 0.3)


def test_a_wilting_point_above_the_capacity_of_the_class_is_refused():
    with pytest.raises(Refused) as caught:
        soil.soil_numbers(Block(name="Gully", soil="sand", wilting_point=0.2))
    assert caught.value.code == "block.wilting_above_capacity"
    assert caught.value.fields == {"block": "Gully", "wp": 0.2, "fc": 0.12}


@pytest.mark.parametrize(
    ("name", "tew", "rew"), itertools.product(SOILS, (None, 3.0), (None, 2.5, 12.0))
)
def test_the_free_part_is_always_less_than_the_whole(name, tew, rew):
    if tew is not None and rew is not None and rew >= tew:
        with pytest.raises(Refused):
            Block(name="x", soil=name, tew_mm=tew, rew_mm=rew)
        return
    numbers = soil.soil_numbers(Block(name="x", soil=name, tew_mm=tew, rew_mm=rew))
    assert 0 < numbers.rew_mm < numbers.tew_mm
