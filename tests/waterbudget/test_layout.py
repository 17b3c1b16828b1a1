import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import layout
from waterbudget.orchard import PATTERNS

TABLE = Path(__file__).parents[1] / "published" / "layout.csv"
with TABLE.open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['id']}-{i}" for i, r in enumerate(ROWS)])
def test_worked_value(row):
    pairs = (part.split("=") for part in row["inputs"].split(";"))
    inputs = {k: v if k == "pattern" else float(v) for k, v in pairs}
    value = getattr(layout, row["quantity"])(**inputs)
    assert float(value) == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]), rel=0)


@pytest.mark.parametrize("pattern", [*PATTERNS, None])
def test_two_distances_rule_whatever_the_pattern(pattern):
    assert layout.trees_per_ha(pattern, 3.0, 6.0) == layout.trees_per_ha("rectangle", 3.0, 6.0)


def test_what_one_distance_can_tell():
    assert layout.trees_per_ha(None, 4.0) == 625
    assert layout.trees_per_ha("triangle", 4.0) / 625 == pytest.approx(1.1547, abs=5e-5)
    assert layout.trees_per_ha("rectangle", 4.0) is None
    assert layout.trees_per_ha("contour", 4.0) is None
    assert layout.trees_per_ha("square", None) is None
    assert layout.tree_count(None, "square", 4.0) is None
    assert layout.tree_count(1.0, "contour", 4.0) is None


@given(st.floats(0.01, 100), st.floats(1, 12), st.floats(1, 12))
def test_count_times_ground_is_the_area(area, spacing, rows):
    count = layout.tree_count(area, "rectangle", spacing, rows)
    ground = layout.ground_of_a_tree_m2("rectangle", spacing, rows)
    assert isinstance(count, int)
    assert abs(count * ground - area * 10_000) <= ground / 2 + 1e-6


@given(st.floats(0.1, 500), st.floats(0, 150))
def test_slope_and_plan_undo_each_other(distance, slope):
    plan = layout.plan_distance_m(distance, slope)
    assert plan <= distance
    assert layout.slope_distance_m(plan, slope) == pytest.approx(distance)
