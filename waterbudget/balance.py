"""The daily soil water balance: one day's step, and the run over days and blocks.

The order of a day, written down here and nowhere else:

1. changes of roots are put into the account; a root zone that shrinks keeps its share of dryness,
   one that grows brings soil at field capacity (FAO-56 example 38); then a reading of the soil,
   taken in the morning before the day's water, pulls the depletion by its share;
2. Ks is read from the depletion at the start of the day (FAO-56 example 37);
3. the day's rain and watering are added, what does not fit drains past the roots (example 38);
   on the surface likewise, and Kr is read from the wetted surface (example 35 prints De after
   the wetting as the start of the day; on a day without water the two are one, example 31);
4. evaporation and transpiration are taken;
5. a day known full sets the depletion to zero at its end.

The account ``dr_end - dr_start + rain + irrigation + correction - runoff - drainage -
evaporation - transpiration = 0`` is kept for every block and day (``closure_mm``).

All depths are [mm over the block plan area] except De, TEW and REW, which are [mm over the wetted
exposed surface].  Arrays are (days, blocks), 64-bit.  Method: dual crop coefficient, FAO-56 ch. 7
and 8 (Allen, Pereira, Raes & Smith 1998).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

Values = NDArray[np.float64]

RAIN_WETS_ALL_MM = 3.0  # rain of 3 to 4 mm wets the whole surface: FAO-56 Table 20, footnote
P_PER_MM, P_AT_MM, P_LOW, P_HIGH = 0.04, 5.0, 0.1, 0.8  # FAO-56 p. 162, as in soil.adjusted_p
STRETCH_CELLS = 40_000  # days x blocks made ready at once; more would leave the fast memory


@dataclass(frozen=True)
class Drivers:
    """Everything a run needs that does not depend on its own outcome.

    Daily arrays have shape (days, blocks); the rest (blocks,).

    Attributes
    ----------
    et0_mm, kcb : reference ET [mm] and basal coefficient [-]
    kc_max : upper limit of Kcb + Ke [-] (FAO-56 eq. 72)
    few_water, few_rain : share of the surface wetted and exposed after a watering, after rain [-]
    taw_mm : water the roots can hold [mm]
    allowed_mm : planning limit and alarm [mm]; not used by the step, carried for readers
    rain_mm, runoff_mm : as it fell, and what ran off [mm]
    irrigation_mm : net watering at the roots [mm]
    full : True on days known full at their end
    tew_mm, rew_mm : of the surface [mm over the wetted exposed surface]
    p_stress : share of TAW at which the trees slow down [-]
    p_moves : whether ``p_stress`` follows the day's demand (FAO-56 p. 162)
    wetted_fraction : share of the surface a watering wets [-]
    rain_reach : share of the rain that reaches the roots [-]
    interception_mm : rain kept on the leaves a rainy day [mm]
    kc_factor : local factor on the coefficients [-]; (days, blocks) where some block's is dated
    single : True where one coefficient is used (Ke = 0)
    read_mm, read_share : what readings say is missing [mm], and the share of the way the depletion
        is pulled there [0..1], (days, blocks), 0 and 0 where nothing was read; None: no reading
    read_floor : True where at least that much is missing: it never pulls to the wetter side
    """

    et0_mm: Values
    kcb: Values
    kc_max: Values
    few_water: Values
    few_rain: Values
    taw_mm: Values
    allowed_mm: Values
    rain_mm: Values
    runoff_mm: Values
    irrigation_mm: Values
    full: NDArray[np.bool_]
    tew_mm: Values
    rew_mm: Values
    p_stress: Values
    p_moves: NDArray[np.bool_]
    wetted_fraction: Values
    rain_reach: Values
    interception_mm: Values
    kc_factor: Values
    single: NDArray[np.bool_]
    read_mm: Values | None = None
    read_share: Values | None = None
    read_floor: NDArray[np.bool_] | None = None

    def columns(self, blocks: NDArray[np.int64] | slice) -> Drivers:
        """Return the drivers of some blocks only."""
        return Drivers(**{k: v[..., blocks] for k, v in self._arrays()})

    def rows(self, days: slice) -> Drivers:
        """Return the drivers of some days only."""
        return Drivers(**{k: v[days] if v.ndim == 2 else v for k, v in self._arrays()})

    def factor(self, day: int, block: int) -> float:
        """Return the local factor of a block on a day [-]."""
        row = self.kc_factor[day] if self.kc_factor.ndim == 2 else self.kc_factor
        return float(row[block])

    def _arrays(self) -> list[tuple[str, Any]]:
        held = [(f.name, getattr(self, f.name)) for f in fields(self)]
        return [(name, values) for name, values in held if values is not None]


@dataclass(frozen=True)
class State:
    """Where a run stands between two days; every array has shape (blocks,).

    Attributes
    ----------
    dr_mm : root zone depletion [mm]
    de_mm : surface depletion [mm over the wetted exposed surface]
    after_rain : True while the surface was last wetted by rain
    taw_mm : water the roots could hold on the last day; NaN before the first
    """

    dr_mm: Values
    de_mm: Values
    after_rain: NDArray[np.bool_]
    taw_mm: Values

    @classmethod
    def full(cls, blocks: int) -> State:
        """Return a start at field capacity."""
        return cls(
            np.zeros(blocks), np.zeros(blocks), np.ones(blocks, bool), np.full(blocks, np.nan)
        )


@dataclass(frozen=True)
class Account:
    """The run, day by day; every array has shape (days, blocks) [mm] unless said.

    Attributes
    ----------
    ks, ke, kr : [-]
    etc_potential_mm : (Kcb + Ke) ET0, before the trees slow down
    rain_mm .. correction_mm : the account's entries
    dr_start_mm, dr_mm : depletion at the start and at the end of the day
    raw_mm : depletion at which the trees slow down
    closure_mm : what the account misses; zero but for rounding
    """

    ks: Values
    ke: Values
    kr: Values
    etc_potential_mm: Values
    evaporation_mm: Values
    transpiration_mm: Values
    drainage_mm: Values
    correction_mm: Values
    dr_start_mm: Values
    dr_mm: Values
    de_mm: Values
    raw_mm: Values
    closure_mm: Values

    @classmethod
    def empty(cls, days: int, blocks: int, stored: DTypeLike = np.float64) -> Account:
        """Return an account with nothing in it, in one piece: sooner had than many small ones."""
        return cls(*np.empty((len(fields(cls)), days, blocks), dtype=stored))

    def rows(self, days: slice) -> Account:
        """Return some days only; writing to them writes to this account."""
        return Account(**{f.name: getattr(self, f.name)[days] for f in fields(self)})

    @property
    def etc_mm(self) -> Values:
        """Actual evaporation and transpiration [mm]."""
        return self.evaporation_mm + self.transpiration_mm


def run(
    drivers: Drivers,
    state: State,
    *,
    stored: DTypeLike = np.float64,
    out: Account | None = None,
) -> tuple[Account, State]:
    """Run the balance over all days of ``drivers`` from ``state``.

    Parameters
    ----------
    stored : float64 or float32
        How the account is stored; everything is computed in 64-bit all the same, because in
        32-bit some days a block would be watered a day early or late.
    out : Account, optional
        An account of an earlier run of this size, used again as it is stored.

    Returns
    -------
    Account, State
        The account, and where the run stands after its last day (64-bit).

    Raises
    ------
    ValueError
        Where ``out`` has another shape.
    """
    days, blocks = drivers.et0_mm.shape
    account = Account.empty(days, blocks, stored) if out is None else out
    if account.dr_mm.shape != (days, blocks):
        raise ValueError(f"out holds {account.dr_mm.shape}, the run {(days, blocks)}")
    straight = account.dr_mm.dtype == np.float64
    for rows, part, after in stretches(drivers, state, account if straight else None):
        state = after
        if not straight:
            for f in fields(Account):
                getattr(account, f.name)[rows] = getattr(part, f.name)
    return account, state


def stretches(
    drivers: Drivers, state: State, account: Account | None = None
) -> Iterator[tuple[slice, Account, State]]:
    """Run stretch by stretch: which days, their account, and where the run stands after them.

    Without an ``account`` to write to, all stretches are written to the same memory: read each
    before the next.
    """
    days, blocks = drivers.et0_mm.shape
    stretch = min(days, max(1, STRETCH_CELLS // max(1, blocks)))
    scratch = Account.empty(stretch, blocks) if account is None else account
    for i in range(0, days, max(1, stretch)):
        rows = slice(i, min(i + stretch, days))
        part = scratch.rows(slice(0, rows.stop - i) if account is None else rows)
        state = _days(drivers.rows(rows), state, part)
        yield rows, part, state


def step(d: Drivers, i: int, state: State, out: Account) -> State:
    """Take day ``i`` for all blocks, write it to row ``i`` of ``out``, return the new state."""
    return _days(d.rows(slice(i, i + 1)), state, out.rows(slice(i, i + 1)))


@dataclass(frozen=True)
class _Brought:
    """What a stretch of days brings whatever the soil is like; daily arrays are (days, blocks).

    Attributes
    ----------
    shrink : share of the depletion that stays when roots shrink [-]
    after_rain : the surface was last wetted by rain
    few : share of the surface wetted and exposed that day [-]
    on_leaves, beside : rain kept on the leaves, and soaking in beside the roots [mm]
    fills, wets : water for the root zone [mm], for the surface [mm over what is wetted of it]
    takes : what trees without stress take [mm]
    ke_free, ke_most : coefficient of evaporation from a wet surface as the air and as the wetted
        share allow it, after the local factor [-]
    hard_mm : what the surface loses with ever more difficulty, TEW - REW [mm]
    p_rest, p_slope : allowed share of TAW at no demand, and its fall with a mm of demand
    known_full : days on which some block is known full
    read : days on which a reading pulls some block
    """

    shrink: Values
    after_rain: NDArray[np.bool_]
    few: Values
    on_leaves: Values
    beside: Values
    fills: Values
    wets: Values
    takes: Values
    ke_free: Values
    ke_most: Values
    hard_mm: Values
    p_rest: Values
    p_slope: Values
    known_full: NDArray[np.bool_]
    read: NDArray[np.bool_]


def _brought(d: Drivers, state: State) -> _Brought:
    """Work out for all days of ``d`` at once what does not depend on the depletion."""
    taw = d.taw_mm
    before = np.vstack([np.where(np.isnan(state.taw_mm), taw[0], state.taw_mm)[None], taw[:-1]])
    wet_rain, watered = d.rain_mm >= RAIN_WETS_ALL_MM, d.irrigation_mm > 0
    after_rain = np.empty(wet_rain.shape, dtype=bool)
    last = state.after_rain
    for i in range(len(after_rain)):
        last = after_rain[i] = wet_rain[i] | (last & ~watered[i])
    few = np.where(after_rain, d.few_rain, d.few_water)
    on_leaves = np.minimum(d.rain_mm, d.interception_mm)
    soaked = np.maximum(d.rain_mm - on_leaves - d.runoff_mm, 0.0)
    reached = soaked * d.rain_reach
    evaporates = np.where(d.single, 0.0, d.kc_factor)
    p_slope = np.where(d.p_moves, P_PER_MM, 0.0)
    return _Brought(
        shrink=np.minimum(taw / before, 1.0),
        after_rain=after_rain,
        few=few,
        on_leaves=on_leaves,
        beside=soaked - reached,
        fills=reached + d.irrigation_mm,
        wets=soaked + d.irrigation_mm / d.wetted_fraction,
        takes=d.kcb * d.kc_factor * d.et0_mm,
        ke_free=np.maximum(d.kc_max - d.kcb, 0.0) * evaporates,
        ke_most=few * d.kc_max * evaporates,
        hard_mm=d.tew_mm - d.rew_mm,
        p_rest=d.p_stress + P_AT_MM * p_slope,
        p_slope=p_slope,
        known_full=np.asarray(d.full.any(axis=1)),
        read=_read_days(d),
    )


def _read_days(d: Drivers) -> NDArray[np.bool_]:
    if d.read_share is None:
        return np.zeros(len(d.et0_mm), dtype=bool)
    return np.asarray((d.read_share > 0).any(axis=1), dtype=bool)


def _days(d: Drivers, state: State, out: Account) -> State:
    """Take the days of ``d`` one after the other and write them to ``out``."""
    brought = _brought(d, state)
    dr, de = state.dr_mm, state.de_mm
    out.dr_start_mm[0] = dr
    for i in range(len(d.et0_mm)):
        dr, de = _day(d, brought, i, dr, de, out)
    out.dr_start_mm[1:] = out.dr_mm[:-1]
    out.drainage_mm[:] += brought.beside
    out.evaporation_mm[:] += brought.on_leaves
    out.closure_mm[:] = (
        out.dr_mm - out.dr_start_mm + d.rain_mm + d.irrigation_mm + out.correction_mm
        - d.runoff_mm - out.drainage_mm - out.evaporation_mm - out.transpiration_mm
    )  # fmt: skip
    return State(dr.copy(), de.copy(), brought.after_rain[-1], d.taw_mm[-1])


def _day(
    d: Drivers, b: _Brought, i: int, dr_start: Values, de: Values, out: Account
) -> tuple[Values, Values]:
    """Take day ``i`` from depletions ``dr_start`` and ``de``; return those of its end.

    Every entry is worked out in its own row of the account (``out=``), nothing is copied.
    """
    taw, takes, few = d.taw_mm[i], b.takes[i], b.few[i]

    # 1. roots that shrink keep their share of dryness
    dr = dr_start * b.shrink[i]
    correction = np.subtract(dr_start, dr, out=out.correction_mm[i])
    if b.read[i]:
        pull = _pull(d, i, dr)
        dr = dr + pull
        correction -= pull

    # 3. (surface) water enters the wetted exposed surface; Kr is read from it
    dry = np.maximum(de - b.wets[i], 0.0)
    surface = d.tew_mm - dry
    kr = np.minimum(surface / b.hard_mm, 1.0, out=out.kr[i])
    ke = np.minimum(kr * b.ke_free[i], b.ke_most[i], out=out.ke[i])

    # 2. the trees slow down by the depletion at the start of the day
    air_takes = ke * d.et0_mm[i]
    demand = np.add(takes, air_takes, out=out.etc_potential_mm[i])
    p = np.minimum(np.maximum(b.p_rest - b.p_slope * demand, P_LOW), P_HIGH)
    raw = np.multiply(p, taw, out=out.raw_mm[i])
    ks = np.minimum(np.maximum((taw - dr) / (taw - raw), 0.0), 1.0, out=out.ks[i])

    # 3. (roots) what does not fit drains
    room = dr - b.fills[i]
    missing = np.maximum(room, 0.0)
    np.subtract(missing, room, out=out.drainage_mm[i])

    # 4. evaporation, then transpiration, never more than is there
    held = taw - missing
    evaporates = np.minimum(air_takes, few * surface)
    evaporation = np.minimum(evaporates, held, out=out.evaporation_mm[i])
    transpiration = np.minimum(ks * takes, held - evaporation, out=out.transpiration_mm[i])
    end = np.add(missing + evaporation, transpiration, out=out.dr_mm[i])
    de = np.minimum(dry + evaporation / few, d.tew_mm, out=out.de_mm[i])

    # 5. a day known full
    if b.known_full[i]:
        full = d.full[i]
        correction[full] += end[full]
        end[full] = de[full] = 0.0
    return end, de


def _pull(d: Drivers, i: int, dr: Values) -> Values:
    """How far the readings of day ``i`` pull the depletion [mm], drier positive."""
    assert d.read_mm is not None and d.read_share is not None
    apart = d.read_mm[i] - dr
    if d.read_floor is not None:
        apart = np.where(d.read_floor[i], np.maximum(apart, 0.0), apart)
    return np.asarray(d.read_share[i] * apart)


def kc_max(kcb: Values, u2_m_s: Values, rh_min: Values, height_m: Values) -> Values:
    """Upper limit of Kcb + Ke [-] (FAO-56 eq. 72).

    Parameters
    ----------
    u2_m_s : wind at 2 m [m/s]; rh_min : lowest relative humidity of the day [%]
    height_m : [m]
    """
    climate = (0.04 * (u2_m_s - 2.0) - 0.004 * (rh_min - 45.0)) * (height_m / 3.0) ** 0.3
    return np.asarray(np.maximum(1.2 + climate, kcb + 0.05))


def exposed_wetted(
    cover: Values, wetted_fraction: Values | float, drip: NDArray[np.bool_] | bool
) -> tuple[Values, Values]:
    """Share of the surface both wetted and exposed, after a watering and after rain [-].

    FAO-56 eq. 75, and Table 20's footnote for drip under the canopy:
    ``fw (1 - 2/3 fc)``.
    """
    exposed = 1.0 - cover
    wetted = np.where(drip, wetted_fraction * (1.0 - 2.0 / 3.0 * cover), wetted_fraction)
    few_water = np.clip(np.minimum(exposed, wetted), 0.01, 1.0)
    return np.asarray(few_water), np.asarray(np.clip(exposed, 0.01, 1.0))


def runoff_mm(rain_mm: Values, curve_number: Values) -> Values:
    """Rain that runs off [mm] by the NRCS curve number; NaN number = off.

    Source: USDA NRCS, National Engineering Handbook part 630 ch. 10, initial abstraction 0.2 S
    (from memory).
    """
    number = np.where(np.isnan(curve_number), 100.0, curve_number)
    storage = 25400.0 / number - 254.0
    excess = np.maximum(rain_mm - 0.2 * storage, 0.0)
    ran = excess**2 / np.maximum(rain_mm + 0.8 * storage, 1e-9)
    return np.asarray(np.where(np.isnan(curve_number), 0.0, ran))
