"""What a season is once it has been run: frozen, and enough for every page, sheet and export."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget import drift
from waterbudget.balance import Account, Drivers, State
from waterbudget.cycle import Clock, CycleDates
from waterbudget.drift import Drift, Timed
from waterbudget.errors import Note
from waterbudget.orchard import ALL_STAGES, Block, Orchard
from waterbudget.plan import WEEK, BlockLimits, BlockPlan, Source
from waterbudget.records import FarmData, GivenWeek
from waterbudget.season.fielddays import FieldDays
from waterbudget.sensors import FactorStep, Judged, Pulled
from waterbudget.share import Break
from waterbudget.shifts import PumpDay
from waterbudget.soil import SoilNumbers
from waterbudget.stage import DayNumbers
from waterbudget.stress import Dryness

Values = NDArray[np.float64]


@dataclass(frozen=True)
class StationDays:
    """One station's days from the season's first to 30 days past its week.

    Attributes
    ----------
    et0_mm : ndarray, shape (days,)
        Without gaps as far as anything is known; NaN where nothing is.
    made_from : tuple of tuple of str
        Codes of each day; ``stand_in`` where the day is bridged.
    rain_mm : ndarray
        Of the record, or of the forecast (whole, before any credit); NaN where unknown.
    tmax_c, tmin_c, u2_m_s, rh_min, rs_mj : ndarray
        As used for ET0; NaN where not used.
    band_pct : ndarray
        How far ET0 of the day may be off either way [%]; wider where it is filled or stands in.
    filled_from : mapping of date to tuple of str
        Neighbours whose readings filled something that day (any day, also before ``first``).
    rain_from : mapping of date to str
        Neighbour whose rain stands in, where the grower allows that.
    """

    name: str
    first: dt.date
    et0_mm: Values
    made_from: tuple[tuple[str, ...], ...]
    stand_in_rule: tuple[str, ...]
    rain_mm: Values
    tmax_c: Values
    tmin_c: Values
    u2_m_s: Values
    rh_min: Values
    rs_mj: Values
    record_last: dt.date | None
    forecast_issued: dt.date | None
    band_pct: Values
    filled_from: Mapping[dt.date, tuple[str, ...]] = field(default_factory=dict)
    rain_from: Mapping[dt.date, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Flow:
    """What a block's valve delivers [m3/h], and where that figure comes from (None: not said)."""

    m3_h: float | None
    source: str | None


@dataclass(frozen=True)
class PastSet:
    """One watering of a past day as counted.

    Attributes
    ----------
    state : str
        ``"ran"``, ``"missed"`` (entered as not run) or ``"not_confirmed"``.
    planned_hours : float or None
        What had been handed out for that day.
    timed : bool
        Its m3 were measured beside its hours, not worked out from them.
    """

    date: dt.date
    state: str
    hours: float | None
    m3: float | None
    gross_mm: float | None
    planned_hours: float | None = None
    timed: bool = False


@dataclass(frozen=True)
class BlockSeason:
    """One block through the season; day arrays are columns of the season's account.

    Attributes
    ----------
    column : int
        Its column in ``Season.account`` and ``Season.drivers``.
    missing : tuple of str
        What is still needed: ``area``, ``weather``, ``flow``, ``pruned_on``, ``soil``.
    station : str or None
        The station it reads; ``station_how`` why that one (``own``, ``farm``, ``only``,
        ``nearest``, ``first``).
    trees : int or None
    efficiency : float
        Share of the meter's water that fills the roots in the week looked at.
    net_share : ndarray
        The same on every day; differs only where salt is washed down in rest.
    dr_if_not_run_mm : float or None
        Depletion this morning had the unconfirmed waterings not run.
    start : Note or None
        How the starting depletion came about, while it still matters.
    readings : tuple of Judged
        Readings of its soil, and which of them count; ``pulled`` what they did to the depletion.
    factor_step : FactorStep or None
        A step of the local factor that three weeks of readings speak for.
    work : FieldDays
        Feeding and spraying of its cycle, and what they ask of the week.
    """

    block: Block
    column: int
    missing: tuple[str, ...]
    station: str | None
    clock: Clock
    numbers: DayNumbers
    soil: SoilNumbers
    flow: Flow
    hectares: float | None
    trees: int | None
    efficiency: float
    net_share: Values
    limits: BlockLimits
    past: tuple[PastSet, ...]
    rain_flags: Mapping[dt.date, str]
    plan: BlockPlan
    dryness: Dryness | None
    dr_if_not_run_mm: float | None
    start: Note | None
    station_how: str = "own"
    readings: tuple[Judged, ...] = ()
    pulled: tuple[Pulled, ...] = ()
    factor_step: FactorStep | None = None
    work: FieldDays = field(default_factory=FieldDays)

    @property
    def drift(self) -> Drift | None:
        """Metered against planned flow over the last waterings; None where none was metered."""
        timed = [
            Timed(s.hours, s.m3, assumed=s.hours == s.planned_hours)
            for s in self.past
            if s.timed and s.hours is not None and s.m3 is not None
        ]
        return drift.judge(self.flow.m3_h, timed)

    @property
    def given_up_mm(self) -> float:
        """Water at the roots given up to others this week [mm]."""
        return self.plan.given_up_mm

    @property
    def limit(self) -> str | None:
        """Code of the limit it was given up to; None without any."""
        return self.plan.limit

    def cycle(self, day: dt.date) -> CycleDates | None:
        """Return what the clock says of the cycle the block is in on ``day``."""
        past = [c for c in self.clock.cycles if c.cycle.pruned_on <= day]
        return past[-1] if past else None


@dataclass(frozen=True)
class GaveUp:
    """What one block gave in a shared week, and what it costs it.

    Attributes
    ----------
    given_up_mm, given_up_m3 : at the roots [mm], at the meter [m3]
    limit : code of the limit, None where only its days were moved
    dry_days, dry_days_free : mornings past the limit as planned, and as freely chosen
    """

    block: str
    given_up_mm: float
    given_up_m3: float
    limit: str | None
    dry_days: int
    dry_days_free: int


@dataclass(frozen=True)
class SharedWeek:
    """A week in which the source could not carry all that was chosen freely.

    Attributes
    ----------
    bound_gap : how far the plan may be from the best, as a share of the bound
    avoidable_stress_avoided : share of the stress without water that the plan avoids, 0 to 1
    gave : who gave how much, the most water first
    breaks : limits that no plan keeps, and by how much
    solved : False where a simple rule (by stage, then by need) made the better plan
    """

    bound_gap: float
    avoidable_stress_avoided: float
    gave: tuple[GaveUp, ...]
    breaks: tuple[Break, ...]
    solved: bool


@dataclass(frozen=True)
class Season:
    """The whole chain run once: week, map, sheet and balance all read this.

    Attributes
    ----------
    on : datetime.date
        The morning looked at; the record up to the day before is known.
    first : datetime.date
        Date of row 0 of ``account`` and ``drivers``; their last row is the seventh planned day.
    account, drivers : shape (days, blocks)
        Columns of blocks with missing weather are all zero.
    ahead_dr_mm, ahead_limit_mm : ndarray, shape (30, blocks)
        Morning depletion from ``on`` if nothing runs, and the limit.
    pump_days : tuple of PumpDay, length 7
        Of all pumps together; ``pump_days_by_pump`` by the pump's name (``""`` the first).
    source : Source
        What the water source can carry in the week, and what the water right leaves.
    coming : Drivers, shape (30, blocks)
        The days from ``on`` without any watering; ``morning`` where the blocks stand then.
    provisional : bool
        The shared plan is the one before, until it is solved anew.
    """

    on: dt.date
    first: dt.date
    data: FarmData
    stations: Mapping[str, StationDays]
    blocks: tuple[BlockSeason, ...]
    drivers: Drivers
    account: Account
    ahead_dr_mm: Values
    ahead_limit_mm: Values
    pump_days: tuple[PumpDay, ...]
    given: GivenWeek | None
    notes: tuple[Note, ...]
    pump_days_by_pump: Mapping[str, tuple[PumpDay, ...]] = field(default_factory=dict)
    source: Source | None = None
    coming: Drivers | None = None
    morning: State | None = None
    provisional: bool = False
    shared: SharedWeek | None = None

    @property
    def bound_gap(self) -> float | None:
        """Distance of a shared week to its bound, as a share; None where nothing was shared."""
        return self.shared.bound_gap if self.shared is not None else None

    @property
    def avoidable_stress_avoided(self) -> float | None:
        """Share of the avoidable stress a shared week avoids; None where nothing was shared."""
        return self.shared.avoidable_stress_avoided if self.shared is not None else None

    @property
    def orchard(self) -> Orchard:
        """The orchard as known on the day looked at."""
        return self.data.orchard

    @property
    def on_index(self) -> int:
        """Row of ``on``."""
        return (self.on - self.first).days

    @property
    def days(self) -> tuple[dt.date, ...]:
        """Dates of all rows."""
        return tuple(self.first + dt.timedelta(days=i) for i in range(len(self.account.dr_mm)))

    @property
    def week(self) -> tuple[dt.date, ...]:
        """The seven planned days."""
        return tuple(self.on + dt.timedelta(days=i) for i in range(WEEK))

    def block(self, name: str) -> BlockSeason:
        """Return a block by name; Refused where there is none."""
        wanted = self.orchard.block(name)
        return next(b for b in self.blocks if b.block.id == wanted.id)

    def stage(self, block: BlockSeason, day: dt.date | None = None) -> str:
        """Return the stage code of a block on a day (default: the day looked at)."""
        i = ((day or self.on) - self.first).days
        return ALL_STAGES[block.clock.stage[i]]

    def limit_mm(self, column: int) -> Values:
        """Limit of every morning [mm]: the allowed depletion, never below a day's use."""
        return np.maximum(
            self.drivers.allowed_mm[:, column], self.account.etc_potential_mm[:, column]
        )

    def easy_left_mm(self, column: int) -> float:
        """Easy water left in the morning of ``on`` [mm]; negative past the limit."""
        i = self.on_index
        limit, start = self.limit_mm(column)[i], self.account.dr_start_mm[i, column]
        return float(limit - start)
