"""A month's effective rain against the handbook's table."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_tables import inputs, label, rows

from waterbudget import effective_rain


@pytest.mark.parametrize("row", rows("effective_rain"), ids=label)
def test_as_tabled(row):
    value = float(getattr(effective_rain, row["quantity"])(**inputs(row)))
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


@given(st.floats(0, 500), st.floats(0, 300), st.floats(10, 200))
def test_never_more_than_it_rained_or_than_is_used(rain, etc, depth):
    found = float(effective_rain.monthly_effective_mm(rain, etc, depth))
    assert 0.0 <= found <= min(rain, etc) + 1e-12


def test_a_deeper_watering_leaves_more_room():
    shallow, usual, deep = effective_rain.monthly_effective_mm(100.0, 150.0, [20.0, 75.0, 150.0])
    assert shallow < usual < deep


def test_no_daily_account_reads_it():
    import ast
    from pathlib import Path

    for path in Path(effective_rain.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import | ast.ImportFrom):
                assert "effective_rain" not in ast.unparse(node), path
