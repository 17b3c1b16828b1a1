"""What a stage means for the water: coefficient, allowed depletion, roots, canopy, weight.

The defaults stand in ``tables/stages.csv``; a number set for the farm beats the default, a number
set for the block beats both.  The weight on fruit fill is a *smaller allowed depletion and first
place when water is short*, with a modest rise of the coefficient.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from waterbudget import kc_climate, tables
from waterbudget.cycle import Clock
from waterbudget.orchard import ALL_STAGES, Block

Values = NDArray[np.float64]

KC_MIN = 0.15  # Allen & Pereira 2009; from memory
DENSITY_MULTIPLIER = 1.5  # trees; from memory
FIRST_ROOT_DEPTH_M, ROOT_DEPTH_M = 0.4, 0.8  # guava, first cycle and later: growers' web source
YOUNG_YEARS = 3
P_STRESS = 0.50  # where the trees slow down; citrus in FAO-56 Table 22 p. 163


@dataclass(frozen=True)
class StageNumbers:
    """The numbers of one stage for one block.

    Attributes
    ----------
    kcb_start, kcb_end : float
        Basal coefficient of a mature block at the start and the end of the stage.
    allowed : float
        Share of the water the roots can hold that may be used before it is watered.
    weight : float
        How much a short day counts.
    floor : float
        Share of its need the stage keeps when water is short.
    given : mapping of str to str
        For each number ``"default"``, ``"farm"`` or ``"block"``.
    """

    stage: str
    kcb_start: float
    kcb_end: float
    allowed: float
    weight: float
    floor: float
    priority: int
    canopy: float | None
    root_depth_m: float | None
    given: Mapping[str, str]


@cache
def defaults() -> dict[str, dict[str, str]]:
    """Return the rows of the stage table by stage code."""
    return {row["stage"]: row for row in tables.read("stages")}


def numbers(stage: str, farm: Mapping[str, float], block: Mapping[str, float]) -> StageNumbers:
    """Return the numbers of ``stage`` after the farm's and the block's own settings."""
    row = defaults()[stage]
    given = {}

    def pick(what: str) -> float | None:
        key = f"{what}_{stage}"
        for name, own in (("block", block), ("farm", farm)):
            if key in own:
                given[what] = name
                return own[key]
        given[what] = "default"
        return None

    kcb, allowed = pick("kcb"), pick("allowed")
    weight, floor = pick("weight"), pick("floor")
    return StageNumbers(
        stage=stage,
        kcb_start=float(row["kcb_start"]) if kcb is None else kcb,
        kcb_end=float(row["kcb_end"]) if kcb is None else kcb,
        allowed=float(row["allowed"]) if allowed is None else allowed,
        weight=float(row["weight"]) if weight is None else weight,
        floor=float(row["floor"]) if floor is None else floor,
        priority=int(row["priority"]),
        canopy=pick("canopy"),
        root_depth_m=pick("root_depth"),
        given=given,
    )


def place(stage: str, first: tuple[str, ...] = ()) -> int:
    """Return the place of a stage when water is short: 1 is the last to give.

    Parameters
    ----------
    first : tuple of str
        The farm's own order, the last to give first; what it leaves out follows in the order of
        the table, and ``young`` stands beside ``shoots`` unless it is named.
    """
    table = {name: int(row["priority"]) for name, row in defaults().items()}
    if not first:
        return table[stage]
    named = first if "young" in first or stage != "young" else (*first, "young")
    if stage == "young" and "young" not in first and "shoots" in first:
        return first.index("shoots") + 1
    if stage in first:
        return first.index(stage) + 1
    left = sorted({table[name] for name in table if name not in named} | {table[stage]})
    return len(first) + 1 + left.index(table[stage])


def canopy_density(cover: Values | float, height_m: Values | float) -> Values:
    """Density coefficient Kd [-] of a canopy (Allen & Pereira 2009; form from memory).

    Parameters
    ----------
    cover : ndarray or float
        Share of the ground shaded at noon [0..1].
    height_m : ndarray or float [m]
    """
    cover = np.asarray(cover, dtype=float)
    by_height = cover ** (1.0 / (1.0 + np.asarray(height_m, dtype=float)))
    return np.asarray(np.minimum(1.0, np.minimum(DENSITY_MULTIPLIER * cover, by_height)))


def kcb_from_canopy(
    cover: float, height_m: float, *, resistance_factor: float = 0.75, u2_m_s: float = 2.0,
    rh_min: float = 45.0, floor_cover: float | None = None,
) -> float:  # fmt: skip
    """Basal coefficient from canopy cover alone (Allen & Pereira 2009; form from memory).

    Parameters
    ----------
    cover : float
        Share of the ground shaded at noon [0..1].
    resistance_factor : float
        Fr, 0.75 for guava (own estimate, 0.65 to 0.90).
    floor_cover : float or None
        Coefficient of a living ground cover, where there is one.
    """
    climate = (0.04 * (u2_m_s - 2) - 0.004 * (rh_min - 45)) * (height_m / 3) ** 0.3
    full = resistance_factor * (min(1.0 + 0.1 * height_m, 1.20) + climate)
    density = float(canopy_density(cover, height_m))
    if floor_cover is not None:
        return floor_cover + density * max(full - floor_cover, (full - floor_cover) / 2)
    return KC_MIN + density * (full - KC_MIN)


def scaled_kcb(kcb: Values, cover: Values, height_m: Values, mature_cover: float) -> Values:
    """Scale a mature block's basal coefficient by canopy; never above the mature value."""
    share = canopy_density(cover, height_m) / canopy_density(mature_cover, height_m)
    return np.asarray(KC_MIN + (kcb - KC_MIN) * np.minimum(1.0, share))


@dataclass(frozen=True)
class DayNumbers:
    """Day by day, what the stages give one block; every array has shape (days,).

    Attributes
    ----------
    kcb : basal coefficient after canopy and the local factor [-]
    cover : share of the ground shaded at noon [-]
    allowed : share of the held water that may be used [-]
    root_depth_m : [m]
    height_m : [m]
    """

    kcb: Values
    cover: Values
    allowed: Values
    root_depth_m: Values
    height_m: Values


def day_numbers(
    block: Block, farm: Mapping[str, float], clock: Clock,
    climate: tuple[Values, Values] | None = None,
) -> DayNumbers:  # fmt: skip
    """Lay the stage numbers along the days of a block's clock.

    Parameters
    ----------
    climate : (u2_m_s, rh_min), optional
        Wind [m/s] and lowest humidity [%] of every day of the clock (NaN: not known): the
        coefficients are then taken from the standard climate to this one (FAO-56 eq. 70).
    """
    own = [numbers(s, farm, block.stage_numbers) for s in ALL_STAGES]
    index = clock.stage
    start = np.array([s.kcb_start for s in own])[index]
    end = np.array([s.kcb_end for s in own])[index]
    kcb = start + (end - start) * clock.within
    allowed = np.array([s.allowed for s in own])[index]
    cover, height, measured = canopy(block, clock, [s.canopy for s in own])
    if climate is not None:
        kcb = kc_climate.adjusted(kcb, *climate, height)
    young = index == ALL_STAGES.index("young")
    mature = max(float(r["canopy_cover"]) for r in tables.read("canopy") if r["age"] == "pruned")
    scaled = scaled_kcb(kcb, cover, height, mature)
    kcb = np.where(measured | young, scaled, kcb)
    return DayNumbers(kcb, cover, allowed, _roots(block, clock, own), height)


def canopy(
    block: Block, clock: Clock, by_stage: list[float | None]
) -> tuple[Values, Values, NDArray[np.bool_]]:
    """Return cover [-], height [m], and whether the cover was measured, for every day."""
    n = len(clock.stage)
    days = {age: _canopy_table(age) for age in ("pruned", "young")}
    at, cover, _ = days["pruned"]
    count = np.maximum(clock.days_from_pruning, 0)
    result = np.interp(count, at, cover)
    height = np.full(n, days["pruned"][2][-1])
    young = clock.days_from_pruning < 0
    if young.any():
        at, cover, tall = days["young"]
        years = np.full(n, at[-1])
        if block.planted_on is not None:
            age = (clock.first - block.planted_on).days + np.arange(n)
            years = np.clip(age / 365.25, 0, at[-1])
        slot = np.searchsorted(at, years, side="right") - 1
        result = np.where(young, cover[slot], result)
        height = np.where(young, tall[slot], height)
    measured = np.zeros(n, dtype=bool)
    for i, value in enumerate(by_stage):
        if value is not None:
            here = clock.stage == i
            result, measured = np.where(here, value, result), measured | here
    if block.canopy_cover is not None:
        result, measured = np.full(n, block.canopy_cover), np.ones(n, dtype=bool)
    if block.height_m is not None:
        height = np.full(n, block.height_m)
    return result, height, measured


@cache
def _canopy_table(age: str) -> tuple[Values, Values, Values]:
    rows = [r for r in tables.read("canopy") if r["age"] == age]
    at, cover, height = (
        np.array([float(r[c]) for r in rows]) for c in ("at", "canopy_cover", "height_m")
    )
    return at, cover, height


def default_root_depth_m(block: Block, day: dt.date) -> float:
    """Root depth where none is given [m]: shallow while young and in the first cycle."""
    pruned = sorted(c.pruned_on for c in block.cycles if c.pruned_on <= day)
    if not pruned:
        return FIRST_ROOT_DEPTH_M
    if len(pruned) > 1 or block.planted_on is None:
        return ROOT_DEPTH_M
    age = pruned[0] - block.planted_on
    return FIRST_ROOT_DEPTH_M if age.days < YOUNG_YEARS * 365 else ROOT_DEPTH_M


def _roots(block: Block, clock: Clock, own: list[StageNumbers]) -> Values:
    """Return the root depth of every day [m]; never deeper than rock."""
    n = len(clock.stage)
    rock = np.inf if block.rock_depth_m is None else block.rock_depth_m
    if block.root_depth_m is not None:
        return np.full(n, min(block.root_depth_m, rock))
    result = np.empty(n)
    edges = [0]
    for cycle in block.cycles:
        i = (cycle.pruned_on - clock.first).days
        if 0 < i < n:
            edges.append(i)
    edges = sorted(set(edges))
    for i, j in zip(edges, [*edges[1:], n], strict=True):
        result[i:j] = default_root_depth_m(block, clock.first + dt.timedelta(days=i))
    for i, stage in enumerate(own):
        if stage.root_depth_m is not None:
            result = np.where(clock.stage == i, stage.root_depth_m, result)
    return np.minimum(result, rock)
