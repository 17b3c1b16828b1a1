"""Hours, water and rights of the source as plain sums."""

import datetime as dt

import pytest

from waterbudget.supply import PumpLimits, Right, Source, Tank

SIX, EIGHTEEN = dt.time(6), dt.time(18)


@pytest.mark.parametrize(
    ("pump", "night", "hours", "longest"),
    [
        (PumpLimits("R"), False, 12.0, 12.0),
        (PumpLimits("R"), True, 24.0, 24.0),
        (PumpLimits("R", hours=9.0), True, 9.0, 9.0),
        (PumpLimits("R", None, None, dt.time(20), dt.time(6)), False, 0.0, 0.0),
        (PumpLimits("R", None, None, dt.time(20), dt.time(6)), True, 10.0, 10.0),
        (PumpLimits("R", None, None, dt.time(16), dt.time(8)), False, 4.0, 2.0),
        (PumpLimits("R", None, None, dt.time(5), dt.time(9, 50)), False, 3.75, 3.75),
    ],
)
def test_hours_of_a_pump(pump, night, hours, longest):
    source = Source(40.0, 10.0, SIX, EIGHTEEN, night, further=(pump,))
    assert source.day_hours("R") == hours
    assert source.longest_h("R") == longest


def test_water_of_a_day_is_flow_times_hours_and_nothing_while_it_stands_still():
    out = (True, False, *(True,) * 6)
    source = Source(40.0, 10.0, SIX, EIGHTEEN, False, first_runs=out)
    assert source.day_m3() == 400.0
    assert source.day_m3("", 0) == 400.0 and source.day_m3("", 1) == 0.0
    assert Source(None, 10.0, SIX, EIGHTEEN, False).day_m3() is None


def test_a_tank_loses_what_passes_its_brim_and_never_gives_what_it_has_not():
    can, morning = Tank(100.0, 2.0, 40.0).days_m3([10.0, 0.0, 500.0, 30.0])
    assert list(morning) == [40.0, 78.0, 100.0, 0.0]
    assert list(can) == [88.0, 126.0, 148.0, 48.0]


def test_the_smaller_right_holds():
    rights = (Right("week", 0, 3, 200.0), Right("week", 4, 6, 500.0), Right("year", 0, 6, 650.0))
    assert Source(None, None, SIX, EIGHTEEN, False, rights=rights).right_m3 == 650.0
    assert Source(None, None, SIX, EIGHTEEN, False).right_m3 is None


def test_cheap_hours_run_past_midnight():
    source = Source(None, None, SIX, EIGHTEEN, True, night_from=dt.time(22), night_to=SIX)
    cheap = source.cheap_quarters()
    assert cheap[:96].sum() == 8 * 4 and cheap[0] and not cheap[24] and cheap[88]
