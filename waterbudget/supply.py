"""What the water source can carry in a week: pumps, people, the tank and the water right.

Plain data with the sums that follow from it; nothing is chosen here.  Whoever plans asks
:meth:`Source.day_hours`, :meth:`Source.day_m3` and :attr:`Source.right_m3`; whoever places
waterings asks :meth:`Source.open_quarters`, quarter hour by quarter hour.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

WEEK = 7
QUARTER_H = 0.25
SLOTS = 96
"""Quarter hours of a day."""


@dataclass(frozen=True)
class PumpLimits:
    """One pump in the week planned.  None means "no limit is kept".

    Attributes
    ----------
    name : str
        ``""`` for the one that the farm's own keys describe.
    m3_h : flow it lifts [m3/h]
    hours : longest time it may run in a day [h]
    runs_from, runs_to : clock hours inside which it may run, past midnight where the second is
        not the later one
    runs : tuple of bool, length 8
        Whether it is in order on each of the seven days and the one after.
    """

    name: str = ""
    m3_h: float | None = None
    hours: float | None = None
    runs_from: dt.time | None = None
    runs_to: dt.time | None = None
    runs: tuple[bool, ...] = (True,) * (WEEK + 1)


@dataclass(frozen=True)
class Tank:
    """A tank or small reservoir that every pump draws from.

    Attributes
    ----------
    m3 : what it holds when full [m3]
    fill_m3_h : what flows in, day and night [m3/h]
    now_m3 : what is in it in the morning of the first day [m3]
    """

    m3: float
    fill_m3_h: float
    now_m3: float

    def days_m3(self, drawn_m3: Sequence[float]) -> tuple[Values, Values]:
        """Follow the store day by day.

        Parameters
        ----------
        drawn_m3 : sequence of float, length n
            What is wanted of it on each day [m3].

        Returns
        -------
        can_m3, morning_m3 : ndarray, shape (n,)
            What each day can draw (the morning's store and the day's inflow), and what is in it
            each morning.  What flows in past the brim is lost; what is not there is not drawn.
        """
        can, morning = np.zeros(len(drawn_m3)), np.zeros(len(drawn_m3))
        store = min(self.now_m3, self.m3)
        for day, wanted in enumerate(drawn_m3):
            morning[day] = store
            can[day] = store + 24.0 * self.fill_m3_h
            store = min(self.m3, can[day] - min(wanted, can[day]))
        return can, morning


@dataclass(frozen=True)
class Right:
    """What a water right leaves for some of the seven days.

    Attributes
    ----------
    kind : ``"week"`` or ``"year"``
    first, last : first and last day it holds for (0 to 6)
    m3 : what may be drawn in them altogether [m3]; never below nothing
    """

    kind: str
    first: int
    last: int
    m3: float


@dataclass(frozen=True)
class RightUse:
    """A water right and what was drawn under it.

    Attributes
    ----------
    kind : ``"week"`` (from Monday) or ``"year"``
    first, last : first and last day it holds for
    m3 : the right [m3]
    used_m3 : ran, or handed out and not said to have failed, before the day looked at [m3]
    left_m3 : what is left of it; negative where more was drawn [m3]
    """

    kind: str
    first: dt.date
    last: dt.date
    m3: float
    used_m3: float

    @property
    def left_m3(self) -> float:
        """What is left of the right [m3]."""
        return self.m3 - self.used_m3


@dataclass(frozen=True)
class Source:
    """The pumps and the people: what a day can carry.  None means "no limit is kept".

    Attributes
    ----------
    pump_m3_h, pump_hours : of the farm's first pump [m3/h, h]
    work_from, work_to : hours in which people open valves
    night_sets : waterings may run on past the people's hours
    first_runs : as ``PumpLimits.runs``, of the first pump
    further : the other pumps
    valves_a_day : most waterings the people can open and close in a day
    tank : Tank or None
    rights : what the weekly and the yearly water right leave for the seven days; a week (from
        Monday) or year that ends within them gives two spans
    used : the rights themselves and what was drawn under them before the first day
    night_from, night_to : hours with a price of their own; None where there are none
    night_first : waterings are put into those hours where all still find a place
    """

    pump_m3_h: float | None
    pump_hours: float | None
    work_from: dt.time
    work_to: dt.time
    night_sets: bool
    first_runs: tuple[bool, ...] = (True,) * (WEEK + 1)
    further: tuple[PumpLimits, ...] = ()
    valves_a_day: int | None = None
    tank: Tank | None = None
    rights: tuple[Right, ...] = ()
    used: tuple[RightUse, ...] = ()
    night_from: dt.time | None = None
    night_to: dt.time | None = None
    night_first: bool = True

    @property
    def pumps(self) -> tuple[PumpLimits, ...]:
        """All pumps, the farm's first one first."""
        first = PumpLimits("", self.pump_m3_h, self.pump_hours, runs=self.first_runs)
        return (first, *self.further)

    def pump(self, name: str = "") -> PumpLimits:
        """Return a pump by its name; the first one where there is none of that name."""
        return next((p for p in self.further if p.name == name), self.pumps[0])

    @property
    def right_m3(self) -> float | None:
        """Most that may be drawn in the seven days under the water right [m3]."""
        kinds = {r.kind for r in self.rights}
        left = [sum(r.m3 for r in self.rights if r.kind == kind) for kind in kinds]
        return min(left) if left else None

    def people_quarters(self) -> tuple[int, int, int]:
        """Return the quarter hours in which the people come and go, and the last that may run.

        Counted from midnight of the day; the last is past ``SLOTS`` where nights are used.
        """
        comes, goes = slot(self.work_from), slot(self.work_to, down=True)
        return comes, goes, comes + SLOTS if self.night_sets else goes

    def open_quarters(self, pump: PumpLimits, day: int) -> NDArray[np.bool_]:
        """Return the quarter hours of a day, and of the night after it, that a pump may run in.

        Shape (288,): the day, the next one, and one in which nothing runs.
        """
        comes, _, ends = self.people_quarters()
        quarters = np.arange(3 * SLOTS)
        may = (quarters >= comes) & (quarters < ends)
        if pump.runs_from is not None and pump.runs_to is not None:
            a, b = slot(pump.runs_from), slot(pump.runs_to, down=True)
            hour = quarters % SLOTS
            may &= (hour >= a) & (hour < b) if a < b else (hour >= a) | (hour < b)
        elif pump.runs_from is not None:
            may &= quarters >= slot(pump.runs_from)
        elif pump.runs_to is not None:
            may &= quarters < slot(pump.runs_to, down=True)
        may[:SLOTS] &= pump.runs[day]
        may[SLOTS:] &= pump.runs[day + 1]
        return np.asarray(may)

    def day_hours(self, name: str = "", day: int | None = None) -> float:
        """Longest time a pump can run on a day [h]; of a day in order where none is named."""
        pump = self.pump(name)
        if day is None:
            ready = PumpLimits(pump.name, pump.m3_h, pump.hours, pump.runs_from, pump.runs_to)
            open_h = float(self.open_quarters(ready, 0).sum()) * QUARTER_H
        else:
            open_h = float(self.open_quarters(pump, day).sum()) * QUARTER_H
        return min(open_h, 24.0 if pump.hours is None else pump.hours)

    def longest_h(self, name: str = "") -> float:
        """Longest watering without a rest that a day in order has room for [h]."""
        pump = self.pump(name)
        ready = PumpLimits(pump.name, pump.m3_h, pump.hours, pump.runs_from, pump.runs_to)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], self.open_quarters(ready, 0), [0]))))
        longest = float((edges[1::2] - edges[::2]).max(initial=0)) * QUARTER_H
        return min(longest, 24.0 if pump.hours is None else pump.hours)

    def day_m3(self, name: str = "", day: int | None = None) -> float | None:
        """Most water a pump can lift on a day [m3]; None where its flow is not known."""
        flow = self.pump(name).m3_h
        return None if flow is None else flow * self.day_hours(name, day)

    def cheap_quarters(self) -> NDArray[np.bool_]:
        """Return the quarter hours of cheap electricity, shape (288,); all False without any."""
        hour = np.arange(3 * SLOTS) % SLOTS
        if self.night_from is None or self.night_to is None:
            return np.zeros(3 * SLOTS, dtype=bool)
        a, b = slot(self.night_from), slot(self.night_to, down=True)
        return np.asarray((hour >= a) & (hour < b) if a < b else (hour >= a) | (hour < b))


def slot(time: dt.time, down: bool = False) -> int:
    """Return the quarter hour a time falls in: rounded up, or down."""
    minutes = time.hour * 60 + time.minute
    return minutes // 15 if down else math.ceil(minutes / 15)
