import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget.errors import Refused
from waterbudget.texture import saxton_rawls

TABLE = Path(__file__).parents[1] / "published" / "saxton_rawls_2006.csv"
PER_CENT = {"wilting_point", "field_capacity", "saturation", "available"}

with TABLE.open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['id']}-{r['quantity']}" for r in ROWS])
def test_table_3(row):
    soil = saxton_rawls(
        **{k: float(v) for k, v in (p.split("=") for p in row["inputs"].split(";"))}
    )
    if row["quantity"] == "available":
        value = soil.field_capacity - soil.wilting_point
    else:
        value = getattr(soil, row["quantity"])
    scale = 100.0 if row["quantity"] in PER_CENT else 1.0
    assert scale * float(value) == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


@given(st.floats(0, 100), st.floats(3, 50), st.floats(0.5, 5))
def test_less_water_at_each_harder_pull(sand, clay, organic):
    sand = min(sand, 100 - clay)
    soil = saxton_rawls(sand, clay, organic)
    assert 0 < soil.wilting_point < soil.field_capacity < soil.saturation < 0.75
    assert soil.ksat_mm_h > 0
    assert 0.6 < soil.bulk_density < 1.9


def test_packing_a_soil_closes_its_large_pores():
    loose, usual, packed = (saxton_rawls(40, 20, 2.5, factor) for factor in (0.9, 1.0, 1.2))
    assert loose.saturation > usual.saturation > packed.saturation
    assert loose.ksat_mm_h > usual.ksat_mm_h > packed.ksat_mm_h
    assert loose.field_capacity > usual.field_capacity > packed.field_capacity
    assert packed.wilting_point == usual.wilting_point
    assert packed.bulk_density == pytest.approx(1.2 * usual.bulk_density)


def test_arrays():
    soil = saxton_rawls(np.array([88.0, 40.0]), np.array([5.0, 20.0]))
    assert soil.field_capacity.shape == (2,)
    assert soil.field_capacity[0] < soil.field_capacity[1]


@pytest.mark.parametrize(
    "shares", [(110, 5), (50, 70), (80, 40), (-1, 10), (40, 20, 9), (40, 20, 2.5, 2.0),
               (float("nan"), 10)],
)  # fmt: skip
def test_shares_outside_the_equations_are_refused(shares):
    with pytest.raises(Refused) as told:
        saxton_rawls(*shares)
    assert told.value.code == "texture.out_of_range"
    assert told.value.fields["what"]
