"""What was really done and handed out, and everything a farm file holds, as frozen data.

:class:`FarmData` is the one snapshot that the season is computed from: two equal snapshots give
the same week.  Nothing in here knows where it was stored.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from shapely.geometry.base import BaseGeometry

from waterbudget.orchard import Block, Cycle, Orchard, fold
from waterbudget.weather import DailyRecord, Day

READING_KINDS = ("tensiometer", "capacitance", "field")
"""Ways to look at the soil."""

FARM_GAUGE = "farm"
"""Name of the gauge that rain typed without a gauge belongs to."""


@dataclass(frozen=True)
class Ran:
    """One watering that really ran, as it was entered: hours, or cubic metres off the meter.

    ``hours == 0`` means "did not run".
    """

    block_id: int
    date: dt.date
    hours: float | None = None
    m3: float | None = None
    id: int = 0


@dataclass(frozen=True)
class GivenSet:
    """One watering of a week that was handed out."""

    block_id: int
    date: dt.date
    start: dt.time
    hours: float
    mm: float
    m3: float | None


GIVEN_DAYS = 7
"""Days a week handed out holds for, where it does not say otherwise."""


@dataclass(frozen=True)
class GivenWeek:
    """A week as it was handed out to the valve staff; never changed afterwards.

    On the days it covers it takes the place of every week with a lower number.

    Attributes
    ----------
    until : datetime.date or None
        Last day it covers, of a correction for the rest of a week; None: the seventh.
    """

    number: int
    first: dt.date
    given_at: dt.datetime
    sets: tuple[GivenSet, ...]
    until: dt.date | None = None

    @property
    def last(self) -> dt.date:
        """Last day it covers."""
        return self.until or self.first + dt.timedelta(days=GIVEN_DAYS - 1)

    def covers(self, day: dt.date) -> bool:
        """Return whether it says what runs on ``day``."""
        return self.first <= day <= self.last


def given_on(given: Sequence[GivenWeek], day: dt.date) -> GivenWeek | None:
    """Return the week handed out that holds on ``day``: the newest that covers it."""
    weeks = [w for w in given if w.covers(day)]
    return max(weeks, key=lambda w: w.number) if weeks else None


@dataclass(frozen=True)
class Pin:
    """A cell of the week the grower has fixed: ``hours`` on that day (0 = keep it dry)."""

    block_id: int
    date: dt.date
    hours: float
    start: dt.time | None = None


@dataclass(frozen=True)
class Reading:
    """One look at the soil of a block.

    Attributes
    ----------
    kind : str
        One of :data:`READING_KINDS`.
    value : float
        Of a tensiometer [kPa]; of a capacitance sensor [% of its own span: 100 = full, a night
        after a soaking; 0 = where the trees slow down]; of a field reading, by spade, hand or
        oven, what is missing in the root zone [mm].
    depth_cm : float or None
        Where the sensor sits.
    before_water : bool
        Taken before the water of its day, if there was any.
    """

    block_id: int
    date: dt.date
    kind: str
    value: float
    depth_cm: float | None = None
    sensor: str | None = None
    before_water: bool = False
    id: int = 0


FIELD_KINDS = ("feed", "spray")
"""Jobs in a block that water has to give way to, or to follow."""


@dataclass(frozen=True, kw_only=True)
class FieldEntry:
    """One feeding or spraying of a block, planned on another day than the fixed one, or done.

    Attributes
    ----------
    kind : str
        One of :data:`FIELD_KINDS`.
    cycle_day : int or None
        The fixed day after pruning it stands for; None for one beside the fixed days.
    skipped : bool
        The fixed day falls away.
    what : str or None
        General class of the product, in the grower's words.
    placed : str or None
        ``"soil"`` or ``"water"`` (fed with the irrigation) of a feeding.
    n_kg_ha : float or None
        Nitrogen given [kg/ha].
    """

    block_id: int
    date: dt.date
    kind: str
    cycle_day: int | None = None
    done: bool = False
    skipped: bool = False
    what: str | None = None
    placed: str | None = None
    n_kg_ha: float | None = None
    person: str | None = None
    note: str | None = None
    id: int = 0


@dataclass(frozen=True, kw_only=True)
class MeterReading:
    """What a block's water meter showed.

    Attributes
    ----------
    m3 : float
        On its dial [m3].
    starts_new : bool
        Counting begins here: nothing is taken from the reading before.
    offset_m3 : float
        Added to the difference to the reading before [m3]: a whole round of the dial where it
        went past its last figure; of a new meter the old one's last figure less the new one's
        first.
    """

    block_id: int
    date: dt.date
    m3: float
    starts_new: bool = False
    offset_m3: float = 0.0
    note: str | None = None
    id: int = 0


TREE_STATES = ("missing", "replaced", "young", "rock")


@dataclass(frozen=True, kw_only=True)
class TreeMark:
    """What was seen at one tree place of a block, by its row and its number in the row."""

    block_id: int
    row: int
    number: int
    state: str
    date: dt.date
    id: int = 0


LAND_KINDS = ("road", "rock", "water", "other")


@dataclass(frozen=True, kw_only=True)
class LandMark:
    """Ground inside the blocks that carries no trees: a road, a rock, a watercourse.

    Attributes
    ----------
    shape : shapely geometry
        Line or polygon, in the farm's projected coordinates [m].
    width_m : float
        Full width kept free along a line, or around a polygon's edge twice over [m].
    """

    kind: str
    shape: BaseGeometry
    width_m: float = 0.0
    name: str | None = None
    id: int = 0


UNDERLAY_KINDS = ("picture", "heights")


@dataclass(frozen=True, kw_only=True)
class Underlay:
    """A picture or height file laid under the map; the file itself stays where it is.

    Attributes
    ----------
    path : str
        Relative to the farm file's folder where it lies below it, else absolute.
    opacity : float
        0 (not seen) to 1.
    place : int
        Order, lowest first.
    unit : str or None
        ``"m"`` or ``"ft"``, where a height file did not say and the grower did.
    """

    path: str
    kind: str
    name: str | None = None
    opacity: float = 1.0
    place: int = 0
    shown: bool = True
    unit: str | None = None
    id: int = 0


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A figure of common practice the grower has changed, such as ``nursery.losses_share``."""

    name: str
    value: float
    id: int = 0


@dataclass(frozen=True)
class ForecastDay:
    """One coming day of a forecast, with the day the forecast was issued."""

    issued: dt.date
    day: Day


@dataclass(frozen=True)
class FarmData:
    """Everything a farm file holds, as used.

    Attributes
    ----------
    records : mapping of station name to DailyRecord
        The days in use (typed low/high included).
    forecasts : mapping of station name to tuple of ForecastDay
    rain_typed : mapping of gauge name to mapping of date to mm
    given : tuple of GivenWeek
        In order of their number.
    version : int
        Grows by one with every change stored; two snapshots with one version are equal.
    assume_planned : bool
        Prunings that are still ahead count (a plan tried out); never so in a farm file.
    """

    orchard: Orchard
    records: Mapping[str, DailyRecord] = field(default_factory=dict)
    forecasts: Mapping[str, tuple[ForecastDay, ...]] = field(default_factory=dict)
    rain_typed: Mapping[str, Mapping[dt.date, float]] = field(default_factory=dict)
    ran: tuple[Ran, ...] = ()
    given: tuple[GivenWeek, ...] = ()
    pins: tuple[Pin, ...] = ()
    version: int = 0
    readings: tuple[Reading, ...] = ()
    field_entries: tuple[FieldEntry, ...] = ()
    meter_readings: tuple[MeterReading, ...] = ()
    tree_marks: tuple[TreeMark, ...] = ()
    land_marks: tuple[LandMark, ...] = ()
    underlays: tuple[Underlay, ...] = ()
    figures: tuple[Figure, ...] = ()
    assume_planned: bool = False

    def figure(self, name: str, default: float) -> float:
        """Return a figure of common practice: the grower's own, else ``default``."""
        return next((f.value for f in self.figures if f.name == name), default)

    def last_day(self) -> dt.date | None:
        """Return the last day of record (forecasts left out; typed rain where no station is)."""
        lasts = [r.last for r in self.records.values()]
        if not lasts:
            lasts = [max(days) for days in self.rain_typed.values() if days]
        return max(lasts) if lasts else None

    def as_known_on(self, day: dt.date) -> FarmData:
        """Return only what was known in the morning of ``day``.

        Nothing dated on or after ``day`` is left: record, typed rain, what ran, seen dates,
        known-full days; of the forecasts those issued later are gone, and of the weeks handed
        out those that begin later.  Only rain typed for ``day`` itself, and readings of its soil,
        stay while nothing later is known, for then ``day`` is today and they are this morning's.
        """
        records = {}
        for name, record in self.records.items():
            cut = record.before(day)
            if cut is not None:
                records[name] = cut
        blocks = tuple(_block_known(b, day, self.assume_planned) for b in self.orchard.blocks)
        return replace(
            self,
            orchard=replace(self.orchard, blocks=blocks),
            records=records,
            forecasts={
                s: tuple(f for f in days if f.issued <= day) for s, days in self.forecasts.items()
            },
            rain_typed={
                g: {d: mm for d, mm in days.items() if d < day or (d == day and self._is_now(day))}
                for g, days in self.rain_typed.items()
            },
            ran=tuple(r for r in self.ran if r.date < day),
            given=tuple(w for w in self.given if w.first <= day),
            readings=self._read_by(day),
            field_entries=tuple(
                replace(f, done=False) if f.done and not self._done_by(f, day) else f
                for f in self.field_entries
            ),
            meter_readings=tuple(m for m in self.meter_readings if m.date < day),
            tree_marks=tuple(t for t in self.tree_marks if t.date <= day),
        )

    def _done_by(self, entry: FieldEntry, day: dt.date) -> bool:
        """Return whether a job is known as done on ``day``; one of its own only if it is today."""
        return entry.date < day or (entry.date == day and self._is_now(day))

    def _read_by(self, day: dt.date) -> tuple[Reading, ...]:
        """Return the readings known in the morning of ``day``, its own only while it is today."""
        now = self._is_now(day) and all(r.date <= day for r in self.readings)
        if all(r.date < day for r in self.readings):
            return self.readings
        return tuple(r for r in self.readings if r.date < day or (now and r.date == day))

    def _is_now(self, day: dt.date) -> bool:
        """Return whether neither a record nor typed rain reaches past the eve of ``day``."""
        typed = [max(days) for days in self.rain_typed.values() if days]
        return all(r.last < day for r in self.records.values()) and max(typed, default=day) <= day

    def gauge_days(self, gauge: str) -> Mapping[dt.date, float]:
        """Return the typed rain of a gauge (empty where it has none)."""
        for name, days in self.rain_typed.items():
            if fold(name) == fold(gauge):
                return days
        return {}


_CYCLE_DATES = tuple(f.name for f in fields(Cycle))


def _block_known(block: Block, day: dt.date, planned: bool = False) -> Block:
    if block.kc_factor_from is not None and block.kc_factor_from > day:
        block = replace(block, kc_factor=block.kc_factor_before, kc_factor_from=None)
    dates = [getattr(c, name) for c in block.cycles for name in _CYCLE_DATES]
    if all(d is None or d < day for d in (*dates, block.full_on)):
        return block
    cycles = []
    for cycle in block.cycles:
        if cycle.pruned_on > day and not planned:
            continue
        seen: dict[str, Any] = {
            name: None
            for name in ("seen_bloom", "seen_set", "seen_fill", "seen_harvest", "harvest_end")
            if (d := getattr(cycle, name)) is not None and d >= day
        }
        cycles.append(replace(cycle, **seen))
    full_on = block.full_on if block.full_on is not None and block.full_on < day else None
    return replace(block, cycles=tuple(cycles), full_on=full_on)
