"""Watering a placed feed in: sets made for it."""

import numpy as np
import pytest

from waterbudget.balance import Account
from waterbudget.soak import Soak, with_soaks

MASKS = np.array([[(m >> k) & 1 for k in range(7)] for m in range(128)], dtype=bool)
FREE = np.ones(7, dtype=bool)


def bare(missing):
    account = Account.empty(7, 1)
    account.dr_start_mm[:, 0] = missing
    return account


def made(soak, missing, shortest=1.0, longest=99.0, free=FREE):
    possible = MASKS[~(MASKS & ~free).any(axis=1)]
    masks, soaking = with_soaks(possible, free, (soak,), shortest, longest, bare(missing))
    assert not (masks & (soaking > 0)).any()  # a day has one watering
    return {tuple(row) for row in soaking if row.any()}


def test_one_watering_brings_what_is_aimed_at():
    found = made(Soak((2, 3), 8.0, 10.0, 12.0), 40.0)
    assert found == {(0, 0, 10, 0, 0, 0, 0), (0, 0, 0, 10, 0, 0, 0)}


def test_where_the_longest_set_is_too_short_the_next_day_follows():
    found = made(Soak((2, 3), 8.0, 10.0, 12.0), 40.0, longest=6.0)
    assert (0, 0, 6, 4, 0, 0, 0) in found
    assert max(max(row) for row in found) <= 6.0


@pytest.mark.parametrize("room", [0.0, 3.0, 5.0, 9.0])
def test_never_more_than_is_missing_nor_a_set_not_worth_a_walk(room):
    for row in made(Soak((2, 3), 8.0, 10.0, 12.0), room, shortest=4.0, longest=6.0):
        assert sum(row) <= room and min(v for v in row if v) >= 4.0


def test_a_closed_day_is_left_out():
    free = FREE.copy()
    free[2] = False
    assert made(Soak((2, 3), 8.0, 10.0, 12.0), 40.0, free=free) == {(0, 0, 0, 10, 0, 0, 0)}
