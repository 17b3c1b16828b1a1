"""What the meters say of the waterings that ran: the balance follows them.

A dial is read after the water of its day.  The difference to the reading before is the water of
every watering since then: those entered, and those handed out that nobody entered.  Where they
are several it is shared by their water as it would be without the meter (hours times flow, or the
m3 entered), so that what ran adds up to the meter.  Blocks whose ``meter`` has the same name
share its difference in the same way.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from waterbudget.orchard import Block, fold
from waterbudget.records import FarmData, GivenSet, MeterReading, Ran
from waterbudget.season.blocks import flow

Place = tuple[int, dt.date]
"""A block and a day."""


@dataclass(frozen=True)
class Share:
    """One watering between two readings, as it counts without the meter.

    Attributes
    ----------
    index : int or None
        Of its entry in ``FarmData.ran``; None: handed out and not entered.
    weight : float
        Its water without the meter [m3].
    """

    block_id: int
    date: dt.date
    hours: float | None
    weight: float
    index: int | None


@dataclass(frozen=True)
class Step:
    """What ran through a meter from one reading to the next.

    Attributes
    ----------
    m3 : float
        The difference [m3].
    shares : tuple of Share
        The waterings it belongs to.
    """

    before: MeterReading
    reading: MeterReading
    m3: float
    shares: tuple[Share, ...]

    @property
    def expected_m3(self) -> float:
        """Water of those waterings without the meter [m3]."""
        return sum(s.weight for s in self.shares)


def meter_key(block: Block) -> str:
    """Return what tells one meter from another: its name, else its block."""
    return f"named {fold(block.meter)}" if block.meter and fold(block.meter) else f"of {block.id}"


def meter_blocks(data: FarmData, block: Block) -> tuple[Block, ...]:
    """Return the blocks that share the meter of ``block``, itself among them."""
    key = meter_key(block)
    return tuple(b for b in data.orchard.blocks if meter_key(b) == key)


def readings_of(data: FarmData, block: Block) -> list[MeterReading]:
    """Return what the meter of a block showed, oldest first."""
    ids = {b.id for b in meter_blocks(data, block)}
    return sorted((m for m in data.meter_readings if m.block_id in ids), key=_when)


def handed_out(data: FarmData, on: dt.date) -> dict[Place, GivenSet]:
    """Return the waterings handed out for days before ``on``, by the week that held on each."""
    days: dict[dt.date, dict[int, GivenSet]] = {}
    for week in sorted(data.given, key=lambda w: w.number):
        for i in range((week.last - week.first).days + 1):
            days.pop(week.first + dt.timedelta(days=i), None)
        for s in week.sets:
            if s.date < on:
                days.setdefault(s.date, {})[s.block_id] = s
    return {(block, date): s for date, own in sorted(days.items()) for block, s in own.items()}


def steps(data: FarmData, on: dt.date, block: Block | None = None) -> list[Step]:
    """Return what ran through the meters before ``on``, of all blocks or of one block's meter."""
    blocks = {b.id: b for b in data.orchard.blocks}
    wanted = meter_key(block) if block is not None else None
    by_meter: dict[str, list[MeterReading]] = {}
    for reading in data.meter_readings:
        key = meter_key(blocks[reading.block_id])
        if reading.date < on and wanted in (None, key):
            by_meter.setdefault(key, []).append(reading)
    if all(len(own) < 2 for own in by_meter.values()):
        return []
    shares = _by_meter(data, on, blocks)
    found = []
    for key, own in by_meter.items():
        own.sort(key=_when)
        for before, reading in pairwise(own):
            if reading.starts_new:
                continue
            m3 = max(0.0, reading.m3 - before.m3 + reading.offset_m3)
            mine = tuple(s for s in shares.get(key, ()) if before.date < s.date <= reading.date)
            found.append(Step(before, reading, m3, mine))
    return found


def _by_meter(data: FarmData, on: dt.date, blocks: Mapping[int, Block]) -> dict[str, list[Share]]:
    """Return every watering before ``on`` by the meter it ran through."""
    rates = {i: flow(b, data).m3_h for i, b in blocks.items()}
    found: dict[str, list[Share]] = {}
    entered = set()
    for index, r in enumerate(data.ran):
        entered.add((r.block_id, r.date))
        if r.date < on and r.block_id in blocks:
            m3 = r.m3 if r.m3 is not None else (r.hours or 0.0) * (rates[r.block_id] or 1.0)
            share = Share(r.block_id, r.date, r.hours, m3, index)
            found.setdefault(meter_key(blocks[r.block_id]), []).append(share)
    for (block_id, date), given in handed_out(data, on).items():
        if (block_id, date) not in entered and block_id in blocks:
            m3 = given.hours * (rates[block_id] or 1.0)
            share = Share(block_id, date, given.hours, m3, None)
            found.setdefault(meter_key(blocks[block_id]), []).append(share)
    return found


def with_meters(data: FarmData, on: dt.date, held: dict[str, Any] | None = None) -> FarmData:
    """Return the farm with the water of every watering as the meters measured it.

    What ran keeps its hours.  Water without any watering counts on the day of the reading.

    Parameters
    ----------
    held : dict, optional
        Kept by the caller between calls; nothing is worked out again where nothing it depends on
        has changed.
    """
    if not data.meter_readings:
        return data
    held = {} if held is None else held
    valves = tuple((b.id, b.meter, flow(b, data).m3_h) for b in data.orchard.blocks)
    about = (data.ran, data.meter_readings, data.given)
    known = held.get("about")
    same = known is not None and all(a is b for a, b in zip(known, about, strict=True))
    if not same or held["on"] != on or held["valves"] != valves:
        held.update(about=about, on=on, valves=valves, ran=_measured(data, on))
    return replace(data, ran=held["ran"])


def _measured(data: FarmData, on: dt.date) -> tuple[Ran, ...]:
    """Return what ran, with its water as measured."""
    found = steps(data, on)
    if not found:
        return data.ran
    ran: list[Ran] = list(data.ran)
    for step in found:
        expected = step.expected_m3
        if expected <= 0:
            if step.m3 > 0:
                ran.append(Ran(step.reading.block_id, step.reading.date, m3=step.m3))
            continue
        for s in step.shares:
            m3 = s.weight * step.m3 / expected
            if s.index is not None:
                ran[s.index] = replace(data.ran[s.index], m3=m3)
            else:
                ran.append(Ran(s.block_id, s.date, s.hours, m3))
    return tuple(ran)


def _when(reading: MeterReading) -> tuple[dt.date, int]:
    return reading.date, reading.id


def same_day(readings: Sequence[MeterReading], date: dt.date) -> MeterReading | None:
    """Return the reading of a day, the last one where there are several."""
    return next((m for m in reversed(readings) if m.date == date), None)
