"""Washing a placed feed into the ground: sets of days with one watering made for it, and its cost.

The planner weighs them among all others in millimetres: one lacking, or one that would drain,
counts 10; one more than the feed should get counts 1, for even waterings that stay in the root
zone matter more (own estimates).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waterbudget.balance import Account

Values = NDArray[np.float64]

_LACKING_COST, _DEEP_COST = 10.0, 1.0
"""Weighted millimetres of the plan for each lacking or carried too deep: own estimates."""


@dataclass(frozen=True)
class Soak:
    """Water wanted within a few days to wash a placed feed in (net mm over the block).

    Attributes
    ----------
    days : tuple of int
        Days of the week on any of which it may come; water and rain of all of them count.
    least_mm, aim_mm, most_mm : float
        Wanted at least, aimed at where a watering is made for it, and best not passed.
    """

    days: tuple[int, ...]
    least_mm: float
    aim_mm: float
    most_mm: float


def with_soaks(
    possible: NDArray[np.bool_], free: NDArray[np.bool_], soaks: Sequence[Soak],
    shortest_mm: float, longest_mm: float, bare: Account,
) -> tuple[NDArray[np.bool_], Values]:  # fmt: skip
    """Add to the sets of days those with waterings of its own to wash a feed in.

    One is enough as a rule; where the longest set allowed brings too little, the next days follow.

    Parameters
    ----------
    possible : ndarray of bool, shape (sets, 7)
    free : ndarray of bool, shape (7,)
        Days that may be chosen.
    shortest_mm : float
        Of the shortest set worth a walk; where less is missing no watering is made [mm].
    longest_mm : float
        Of the longest set allowed [mm].
    bare : Account
        The week of the one block without free waterings, shape (7, 1).

    Returns
    -------
    masks : ndarray of bool, shape (more sets, 7)
        Days of equal waterings.
    soaking : ndarray, shape (more sets, 7)
        The waterings made for the feed: never more than is missing that morning [mm].
    """
    masks, soaking = [possible], [np.zeros(possible.shape)]
    for soak in soaks:
        for first in soak.days:
            made = _made_for(soak, first, free, shortest_mm, longest_mm, bare.dr_start_mm[:, 0])
            if not made[first]:
                continue
            others = possible[~possible[:, made > 0].any(axis=1)]
            masks.append(others)
            soaking.append(np.tile(made, (len(others), 1)))
    return np.vstack(masks), np.vstack(soaking)


def _made_for(
    soak: Soak, first: int, free: NDArray[np.bool_], shortest_mm: float, longest_mm: float,
    missing_mm: Values,
) -> Values:  # fmt: skip
    """Return the waterings that wash a feed in from a day on, shape (7,) [mm]."""
    made = np.zeros(len(missing_mm))
    for day in (d for d in soak.days if d >= first):
        wanted = max(soak.aim_mm - made.sum(), shortest_mm)
        depth = min(wanted, longest_mm, float(missing_mm[day]) - made.sum())
        if free[day] and depth > 0 and depth >= shortest_mm:
            made[day] = depth
        if not made[first] or made.sum() >= soak.least_mm - 1e-9:
            break
    return made


def soak_cost(
    soaks: Sequence[Soak], depth: Values, account: Account, bare: Account, rain_mm: Values
) -> Values:
    """Weigh feeds that are not washed in, or washed too far.

    Parameters
    ----------
    depth : ndarray, shape (sets, 7)
        All water of the days at the roots [mm].
    account : Account
        The week of every set of days, shape (7, sets).
    rain_mm : ndarray, shape (7,)

    Returns
    -------
    ndarray, shape (sets,)
    """
    cost = np.zeros(len(depth))
    for soak in soaks:
        days = list(soak.days)
        got = depth[:, days].sum(axis=1) + rain_mm[days].sum()
        room = float(bare.dr_start_mm[days, 0].max())
        deep = account.drainage_mm[days].sum(axis=0) - bare.drainage_mm[days].sum()
        lacking = np.maximum(min(soak.least_mm, room) - got, 0.0)
        cost += _LACKING_COST * (lacking + np.maximum(deep, 0.0))
        cost += _DEEP_COST * np.maximum(got - soak.most_mm, 0.0)
    return cost
