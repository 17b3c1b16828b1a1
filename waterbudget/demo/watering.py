"""What "really ran" on the demo farm over the last ten months: ``ran.csv``.

A careful grower who goes by the program's own balance: each morning the valve of every block is
opened that the day would take past most of what its stage may use, long enough to fill it again.
Nobody works on a Sunday, and the pump's day is shared, fruit fill first.  Then things go wrong
the way they do: the pump fails for a day, a valve is forgotten, a meter reads a little off.  In
the last days before the demo date a few things go wrong on purpose (see :func:`_story`), so that
the demo shows what the program is for.

Blocks with a meter are entered in cubic metres, the others in hours; 0 hours = did not run.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from dataclasses import dataclass

import numpy as np
from numpy.random import RandomState
from numpy.typing import NDArray

from waterbudget import season
from waterbudget.balance import Account, State, step
from waterbudget.demo.estate import unwatered
from waterbudget.demo.place import DEMO_DATE, SEED
from waterbudget.demo.weather import Weather
from waterbudget.season import BlockSeason, Season

Values = NDArray[np.float64]

FIRST_DAY = dt.date(2024, 10, 14)

OPENS_AT = 0.90
"""Share of the block's limit that the day may not take it past."""

FRIDAY, SATURDAY, SUNDAY = 4, 5, 6
SHORTEST_H = 1.0
TURN = ("fill", "bloom", "set", "harvest", "lag", "young", "shoots", "pruned", "rest")
"""Who gets the pump first."""

FORGOTTEN = 0.02
"""Share of the waterings that are simply forgotten."""

PUMP_DOWN = (dt.date(2025, 4, 29), dt.date(2025, 6, 17))
"""Nothing ran on these days."""

METER_SLIP, METER_SLIP_LIMIT = 0.015, 0.04
"""Usual and largest share by which a meter is off the hours of the valve."""

LAST_FILLED = {"Quarry lip": 4, "Owl tree": 5}
"""Filled so many days before the demo date, then the valve stayed shut: past the limit by then,
the first in fruit fill, the second in bloom."""

SHUT_EARLY = {"Sickle": 0.93, "Lookout": 0.91}
"""In fruit fill: shut so early that Monday finds them at this share of their limit."""

LEFT_OPEN = {"Weir": 9.0}
"""Left open so many hours too long on Saturday night: water drained past the roots [h]."""


@dataclass(frozen=True)
class Line:
    """One line of ``ran.csv``: hours of the valve, and what passed it."""

    block: str
    date: dt.date
    hours: float
    m3: float
    metered: bool


def ran_csv(weather: Weather) -> str:
    """Return ``ran.csv``: block, date, and hours or cubic metres."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["block", "date", "hours", "m3"])
    for line in what_ran(weather):
        by_meter = line.metered and line.hours > 0
        entry = ("", f"{line.m3:.1f}") if by_meter else (f"{line.hours:g}", "")
        writer.writerow([line.block, line.date.isoformat(), *entry])
    return text.getvalue()


def what_ran(weather: Weather) -> list[Line]:
    """Return every watering, by day, then in the order of the blocks."""
    dry = season.run(unwatered(weather), DEMO_DATE)
    drivers, state = dry.drivers, State.full(len(dry.blocks))
    account = Account.empty(len(dry.days), len(dry.blocks))
    lots, lines = RandomState(SEED + 2), []
    for i, day in enumerate(dry.days[: dry.on_index]):
        if day >= FIRST_DAY:
            today = _day(dry, day, state, account.etc_potential_mm[i - 1], lots)
            for block, line in today:
                gross = line.m3 / ((block.hectares or 1.0) * 10.0)
                drivers.irrigation_mm[i, block.column] = gross * block.efficiency
            lines += [line for _, line in today]
        state = step(drivers, i, state, account)
    return lines


def _day(
    dry: Season, day: dt.date, state: State, use: Values, lots: RandomState
) -> list[tuple[BlockSeason, Line]]:
    """Return what was entered for one day.

    Parameters
    ----------
    use : ndarray, shape (blocks,)
        What each block took yesterday [mm], the guess for today.
    """
    farm, entered = dry.orchard, []
    room = (farm.pump_m3_h or 0.0) * (farm.pump_hours or 0.0)
    needs = [_need(dry, day, block, state, float(use[block.column])) for block in dry.blocks]
    for need in sorted(needs, key=lambda n: (TURN.index(n.stage), n.block.column)):
        block, flow = need.block, need.block.flow.m3_h or 0.0
        forgot = lots.uniform() < FORGOTTEN
        slip = 1 + np.clip(lots.normal(0, METER_SLIP), -METER_SLIP_LIMIT, METER_SLIP_LIMIT)
        hours = None if day.weekday() == SUNDAY else need.hours()
        if hours is not None and (day in PUMP_DOWN or forgot):
            hours = 0.0
        if hours is not None and hours * flow > room:
            hours = None
        planned, hours = hours or 0.0, _story(need, day, hours)
        if hours is None:
            continue
        room -= min(hours, planned) * flow
        metered = block.block.flow_from == "meter"
        m3 = round(hours * flow * (slip if metered else 1.0), 1)
        entered.append((block, Line(block.block.name, day, hours, m3, metered)))
    return sorted(entered, key=lambda pair: pair[0].column)


@dataclass(frozen=True)
class _Need:
    """How one block stands in one morning.

    Attributes
    ----------
    missing_mm, limit_mm, use_mm : depletion, its limit, a day's use [mm]
    days : days until somebody can well open the valve again
    rate : depth an hour of watering brings to the roots [mm/h]
    """

    block: BlockSeason
    stage: str
    missing_mm: float
    limit_mm: float
    use_mm: float
    days: float
    rate: float

    def due(self) -> bool:
        """Return whether the day would take the block past most of its limit."""
        return self.missing_mm + self.days * self.use_mm > OPENS_AT * self.limit_mm

    def hours(self) -> float | None:
        """Return how long the rule opens the valve, in quarter hours; None = not today."""
        if not self.due() or (self.block.block.dry_until is not None and self.stage == "rest"):
            return None
        hours = self.fill_hours()
        return hours if hours >= SHORTEST_H else None

    def fill_hours(self) -> float:
        """Return the hours that fill the block, no longer than the system allows."""
        return _quarters(min(self.missing_mm / self.rate, self.block.limits.hours_max))


def _need(dry: Season, day: dt.date, block: BlockSeason, state: State, use: float) -> _Need:
    drivers, k, i = dry.drivers, block.column, (day - dry.first).days
    return _Need(
        block=block,
        stage=dry.stage(block, day),
        missing_mm=max(0.0, float(state.dr_mm[k] - drivers.rain_mm[i, k])),
        limit_mm=max(float(drivers.allowed_mm[i, k]), use),
        use_mm=use,
        days={FRIDAY: 1.5, SATURDAY: 2.0}.get(day.weekday(), 1.0),
        rate=block.limits.net_mm_per_hour or 1.0,
    )


def _story(need: _Need, day: dt.date, hours: float | None) -> float | None:
    """Bend the rule's hours in the last days before the demo date."""
    name, left = need.block.block.name, (DEMO_DATE - day).days
    if name in LAST_FILLED and left == LAST_FILLED[name]:
        return need.fill_hours()
    if name in LAST_FILLED and left < LAST_FILLED[name]:
        return 0.0 if need.due() and hours is not None else None
    if name in SHUT_EARLY and left == 3:
        return hours if need.missing_mm + need.use_mm > need.limit_mm else None
    if name in SHUT_EARLY and left == 2:
        wanted = need.missing_mm + left * need.use_mm - SHUT_EARLY[name] * need.limit_mm
        hours = _quarters(min(wanted, need.missing_mm) / need.rate)
        return hours if hours >= 0.5 else None
    if name in LEFT_OPEN and left == 2:
        return need.fill_hours() + LEFT_OPEN[name]
    return hours


def _quarters(hours: float) -> float:
    return round(hours * 4) / 4
