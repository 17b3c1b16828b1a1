"""Energy of pumping."""

import pytest
from published_tables import inputs, label, rows

from waterbudget import cost


@pytest.mark.parametrize("row", rows("cost"), ids=label)
def test_as_worked(row):
    value = getattr(cost, row["quantity"])(**inputs(row))
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


def test_power_times_hours_is_energy():
    hours = 7.0
    assert cost.pumping_kw(37.5, 45.0, 0.55) * hours == pytest.approx(
        cost.pumping_kwh(37.5 * hours, 45.0, 0.55)
    )
