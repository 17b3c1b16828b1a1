import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import salinity

TABLE = Path(__file__).parents[1] / "published" / "salinity.csv"
with TABLE.open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


def ks_both(ks_dry, **salt):
    return ks_dry * salinity.ks_salinity(**salt)


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['id']}-{i}" for i, r in enumerate(ROWS)])
def test_published_value(row):
    inputs = {k: float(v) for k, v in (part.split("=") for part in row["inputs"].split(";"))}
    function = ks_both if row["quantity"] == "ks_both" else getattr(salinity, row["quantity"])
    assert float(function(**inputs)) == pytest.approx(
        float(row["printed"]), abs=float(row["tolerance"]), rel=0
    )


def test_salt_below_the_threshold_does_nothing_and_far_above_stops_the_crop():
    ks = salinity.ks_salinity([0.0, 1.5, 1.6, 60.0], 1.5, 9.6, 0.85)
    assert ks[:2].tolist() == [1.0, 1.0]
    assert 0.9 < ks[2] < 1.0
    assert ks[3] == 0.0


@given(st.floats(0.01, 5), st.floats(0.01, 0.9))
def test_the_requirement_of_fao_29_undoes_the_salinity_of_fao_56(ec, share):
    ece = salinity.ece_from_water(ec, share)
    assert salinity.leaching_requirement(ec, ece) == pytest.approx(share, rel=1e-6)


def test_water_too_salty_for_the_soil_wanted():
    share = salinity.leaching_requirement([0.0, 1.0, 7.4, 7.5, 9.0], 1.5)
    assert share[0] == 0.0
    assert share[1] < salinity.WORKABLE_LEACHING < 1 < share[2]
    assert np.isinf(share[3:]).all()
    assert np.isinf(salinity.depth_with_leaching(100.0, share[2:])).all()
    assert np.isinf(salinity.ece_from_water(1.0, 0.0))
    assert salinity.ece_from_water(0.0, 0.0) == 0.0
