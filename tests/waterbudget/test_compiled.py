"""Big runs: the compiled step is the step of the app, to the last digit that matters."""

import dataclasses
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_balance import any_drivers, fields_of

from waterbudget import balance, compiled
from waterbudget.balance import Account, Drivers, State
from waterbudget.compiled import ENTRIES, Kept, run_big

SAME = 1e-9


@pytest.fixture(params=["numpy", "compiled"])
def way(request, monkeypatch):
    """Both ways of ``run_big``; the compiled one where numba is installed."""
    if request.param == "numpy":
        monkeypatch.setattr(compiled, "_kernel", lambda: None)
    else:
        pytest.importorskip("numba")
        assert compiled._kernel() is not None
    return request.param


def orchards(blocks, days, seed, readings=True, dated=True):
    """Random blocks of every kind in random weather."""
    rng = np.random.default_rng(seed)

    def daily(low, high):
        return rng.uniform(low, high, (days, blocks))

    def each(low, high):
        return rng.uniform(low, high, blocks)

    def yes(share, *shape):
        return rng.random(shape) < share

    tew, taw = each(8, 30), each(20, 90) * daily(0.9, 1.1)
    made = Drivers(
        et0_mm=daily(0, 9), kcb=daily(0.1, 1.1), kc_max=daily(1.15, 1.3),
        few_water=daily(0.05, 0.5), few_rain=daily(0.3, 0.9), taw_mm=taw, allowed_mm=taw,
        rain_mm=daily(0, 40) * yes(0.2, days, blocks),
        runoff_mm=daily(0, 2) * yes(0.1, days, blocks),
        irrigation_mm=daily(2, 25) * yes(0.2, days, blocks), full=yes(0.02, days, blocks),
        tew_mm=tew, rew_mm=tew * each(0.1, 0.9), p_stress=each(0.2, 0.7), p_moves=yes(0.5, blocks),
        wetted_fraction=each(0.1, 1), rain_reach=each(0.5, 1), interception_mm=each(0, 2),
        kc_factor=daily(0.7, 1.2) if dated else each(0.7, 1.2), single=yes(0.3, blocks),
    )  # fmt: skip
    if readings:
        some = daily(0.1, 1) * yes(0.5, days, blocks) * yes(0.5, days, 1)
        made = dataclasses.replace(made, read_mm=daily(0, 1) * taw * (some > 0), read_share=some)
        if readings == "floor":
            made = dataclasses.replace(made, read_floor=yes(0.5, days, blocks))
    before = np.where(yes(0.5, blocks), np.nan, taw[0] * each(0.5, 2))
    return made, State(each(0, 1) * taw[0] * 0.9, each(0, 1) * tew, yes(0.5, blocks), before)


def alike(kept, end, drivers, start):
    whole, last = balance.run(drivers, start)
    for name in kept.names:
        np.testing.assert_allclose(
            kept[name], getattr(whole, name), rtol=0, atol=SAME, err_msg=name, equal_nan=True
        )
    for name, values in fields_of(last).items():
        np.testing.assert_allclose(getattr(end, name), values, rtol=0, atol=SAME, err_msg=name)


@settings(max_examples=60, deadline=None)
@given(any_drivers(), st.booleans())
def test_any_day_of_any_block_is_that_of_the_app(case, floored):
    pytest.importorskip("numba")
    drivers, start = case
    if floored and drivers.read_mm is not None:
        floor = drivers.read_mm > 20.0
        drivers = dataclasses.replace(drivers, read_floor=floor)
    alike(*run_big(drivers, start, keep=ENTRIES), drivers, start)


@pytest.mark.parametrize("readings", [False, True, "floor"])
@pytest.mark.parametrize("dated", [False, True])
@pytest.mark.parametrize("blocks", [1, 63, 64, 257, 700])
def test_tiles_whole_and_begun_threads_one_and_many(way, blocks, dated, readings):
    drivers, start = orchards(blocks, 40, blocks, readings, dated)
    for threads in (1, 3):
        alike(*run_big(drivers, start, keep=ENTRIES, threads=threads), drivers, start)


def test_a_run_changes_neither_its_start_nor_its_days(way):
    drivers, start = orchards(70, 20, 1)
    held = [v.copy() for v in fields_of(start).values()]
    run_big(drivers, start)
    for before, after in zip(held, fields_of(start).values(), strict=True):
        np.testing.assert_array_equal(before, after)


def test_a_run_may_be_cut_anywhere(way):
    drivers, start = orchards(70, 30, 2)
    whole, last = run_big(drivers, start)
    first, between = run_big(drivers.rows(slice(0, 11)), start)
    second, end = run_big(drivers.rows(slice(11, 30)), between)
    for name in whole.names:
        np.testing.assert_array_equal(np.vstack([first[name], second[name]]), whole[name])
    np.testing.assert_array_equal(end.dr_mm, last.dr_mm)


def test_views_of_drivers_and_one_row_for_all_days_are_read_rightly(way):
    drivers, start = orchards(150, 30, 3, dated=False)
    few = drivers.columns(slice(3, 149, 2)).rows(slice(None, None, 2))
    some = State(*(v[3:149:2] for v in fields_of(start).values()))
    alike(*run_big(few, some), few, some)
    one_rain = np.broadcast_to(drivers.rain_mm[:, :1], (30, 150))
    spread = dataclasses.replace(drivers, rain_mm=one_rain)
    alike(*run_big(spread, start), spread, start)


def test_what_is_not_known_stays_unknown(way):
    drivers, start = orchards(70, 12, 4)
    for name in ("et0_mm", "kcb", "rain_mm"):
        values = getattr(drivers, name).copy()
        values[5, ::3] = np.nan
        holed = dataclasses.replace(drivers, **{name: values}, full=np.zeros((12, 70), bool))
        kept, _ = run_big(holed, start, keep=("dr_mm", "transpiration_mm"))
        whole, _ = balance.run(holed, start)
        np.testing.assert_array_equal(np.isnan(kept["dr_mm"]), np.isnan(whole.dr_mm))
        assert np.isnan(kept["dr_mm"][5:, ::3]).all()


def test_stored_small_is_computed_whole(way):
    drivers, start = orchards(200, 300, 5)
    wide, last = run_big(drivers, start)
    small, end = run_big(drivers, start, stored=np.float32)
    assert small.values.dtype == np.float32 and small.values.nbytes * 2 == wide.values.nbytes
    np.testing.assert_array_equal(small.values, wide.values.astype(np.float32))
    np.testing.assert_array_equal(end.dr_mm, last.dr_mm)


def test_memory_of_an_earlier_run_is_used_again(way):
    drivers, start = orchards(80, 20, 6)
    kept = Kept.empty(("ks", "dr_mm"), 20, 80, np.float32)
    kept.values[:] = -1.0
    again, _ = run_big(drivers, start, out=kept)
    assert again is kept
    whole, _ = balance.run(drivers, start)
    np.testing.assert_array_equal(kept["ks"], whole.ks.astype(np.float32))


def test_all_columns_make_an_account_over_the_same_memory(way):
    drivers, start = orchards(5, 9, 7)
    kept, _ = run_big(drivers, start, keep=ENTRIES)
    account = kept.account()
    assert np.shares_memory(account.dr_mm, kept.values)
    np.testing.assert_array_equal(account.dr_start_mm[1:], account.dr_mm[:-1])
    np.testing.assert_array_equal(account.dr_start_mm[0], start.dr_mm)


def test_what_does_not_fit_is_refused_before_anything_runs(way):
    drivers, start = orchards(5, 9, 8)
    with pytest.raises(ValueError, match="no such column"):
        run_big(drivers, start, keep=("depletion",))
    with pytest.raises(ValueError, match="no such column or form"):
        run_big(drivers, start, stored=np.int32)
    with pytest.raises(ValueError, match="out holds"):
        run_big(drivers, start, out=Kept.empty(("dr_mm",), 9, 4))


def test_tables_of_the_wrong_size_never_reach_the_compiled_step():
    pytest.importorskip("numba")
    drivers, start = orchards(70, 9, 9)
    for wrong in ({"tew_mm": np.ones(69)}, {"rain_mm": np.ones((8, 70))}):
        with pytest.raises(ValueError):
            run_big(dataclasses.replace(drivers, **wrong), start)
    with pytest.raises(ValueError, match="dr_mm"):
        run_big(drivers, State.full(69))


def test_no_days_and_no_blocks_end_where_they_began(way):
    drivers, start = orchards(5, 9, 10)
    kept, end = run_big(drivers.rows(slice(0, 0)), start)
    assert kept["dr_mm"].shape == (0, 5)
    np.testing.assert_array_equal(end.dr_mm, start.dr_mm)


def test_numba_is_not_imported_before_the_first_run():
    code = (
        "import sys, waterbudget.compiled as c; c.available();"
        "sys.exit('numba' in sys.modules or 'llvmlite' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_run_of_the_app_may_store_small_and_use_memory_again():
    drivers, start = orchards(300, 200, 11)
    wide, last = balance.run(drivers, start)
    small, end = balance.run(drivers, start, stored=np.float32)
    for name, values in fields_of(wide).items():
        assert getattr(small, name).dtype == np.float32
        np.testing.assert_array_equal(getattr(small, name), values.astype(np.float32))
    np.testing.assert_array_equal(end.dr_mm, last.dr_mm)
    again, _ = balance.run(drivers, start, out=wide)
    assert again is wide
    with pytest.raises(ValueError, match="out holds"):
        balance.run(drivers, start, out=Account.empty(199, 300))
