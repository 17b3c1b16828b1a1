"""The water source in the week looked at: what is in order, what the right leaves, who walks."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from waterbudget import intake
from waterbudget.errors import Note
from waterbudget.orchard import FIRST_PUMP, Block, Orchard, Pump
from waterbudget.plan import WEEK, BlockLimits, PumpLimits, Right, Source, Tank
from waterbudget.records import FarmData
from waterbudget.season.result import BlockSeason, PastSet, Season
from waterbudget.supply import RightUse

_ALWAYS = (True,) * (WEEK + 1)


def water_source(known: FarmData, on: dt.date, past: Sequence[Sequence[PastSet]] = ()) -> Source:
    """Return what the source can carry in the seven days from ``on``.

    Parameters
    ----------
    past : sequence of sequence of PastSet
        What ran, block by block, oldest first; what counts against the water right.
    """
    farm = known.orchard
    first, *further = (_pump_limits(pump, on) for pump in farm.all_pumps())
    used = rights_used(known, on, past)
    day, night = farm.price_kwh, farm.price_kwh_night
    return Source(
        farm.pump_m3_h, farm.pump_hours, farm.work_from, farm.work_to, farm.night_sets,
        first_runs=first.runs, further=tuple(further), valves_a_day=valves_a_day(farm),
        tank=_tank(farm), rights=_rights(used, on), used=used,
        night_from=farm.night_from if night is not None else None,
        night_to=farm.night_to if night is not None else None,
        night_first=night is not None and (day is None or night < day),
    )  # fmt: skip


def _pump_limits(pump: Pump, on: dt.date) -> PumpLimits:
    runs = tuple(pump.runs_on(on + dt.timedelta(days=i)) for i in range(WEEK + 1))
    return PumpLimits(
        pump.name, pump.flow_m3_h, pump.hours, pump.runs_from, pump.runs_to,
        _ALWAYS if all(runs) else runs,
    )  # fmt: skip


def valves_a_day(farm: Orchard) -> int | None:
    """Most valves the people can open and close in a day; None where they are not said.

    ``people`` of them for ``people_hours`` each (without it, the hours of work).
    """
    if farm.people is None or not farm.minutes_a_valve:
        return None
    opens, closes = (t.hour + t.minute / 60 for t in (farm.work_from, farm.work_to))
    hours = closes - opens if farm.people_hours is None else farm.people_hours
    return math.floor(farm.people * hours * 60.0 / farm.minutes_a_valve + 1e-9)


def _tank(farm: Orchard) -> Tank | None:
    """Return the tank; one whose filling was never said is taken as full in the morning."""
    if farm.tank_m3 is None:
        return None
    now = farm.tank_m3 if farm.tank_now_m3 is None else farm.tank_now_m3
    return Tank(farm.tank_m3, farm.tank_fill_m3_h or 0.0, min(now, farm.tank_m3))


def rights_used(
    known: FarmData, on: dt.date, past: Sequence[Sequence[PastSet]]
) -> tuple[RightUse, ...]:
    """Return the rights that hold on ``on``: of the week from Monday, of the year from its month.

    What is left and what the meters say add up: every watering that ran counts as entered (cubic
    metres, else hours times flow), every handed-out one that nobody confirmed as planned.
    """
    farm = known.orchard
    found = []
    if farm.right_m3_week is not None:
        monday = on - dt.timedelta(days=on.weekday())
        sunday = monday + dt.timedelta(days=6)
        used = _drawn(known, past, monday, on)
        found.append(RightUse("week", monday, sunday, farm.right_m3_week, used))
    if farm.right_m3_year is not None:
        begins = _year_of(on, farm.right_from_month)
        ends = _year_of(begins + dt.timedelta(days=366 + 15), farm.right_from_month)
        used = _drawn(known, past, begins, on)
        found.append(
            RightUse("year", begins, ends - dt.timedelta(days=1), farm.right_m3_year, used)
        )
    return tuple(found)


def _year_of(day: dt.date, month: int) -> dt.date:
    """Return the first day of the right's year that ``day`` lies in."""
    return dt.date(day.year if day.month >= month else day.year - 1, month, 1)


def _drawn(
    known: FarmData, past: Sequence[Sequence[PastSet]], first: dt.date, on: dt.date
) -> float:
    """Water drawn from ``first`` to the eve of ``on`` [m3], blocks off the farm included."""
    total = 0.0
    for sets in past:
        for item in reversed(sets):
            if item.date < first:
                break
            if item.date < on:
                total += item.m3 or 0.0
    here = {b.id for b in known.orchard.blocks}
    gone = (r for r in known.ran if r.block_id not in here and first <= r.date < on)
    return total + sum(r.m3 or 0.0 for r in gone)


def _rights(used: Sequence[RightUse], on: dt.date) -> tuple[Right, ...]:
    """Cut what the rights leave into spans of the seven days."""
    spans = []
    for use in used:
        last = min(WEEK - 1, (use.last - on).days)
        spans.append(Right(use.kind, 0, last, max(0.0, use.left_m3)))
        if last < WEEK - 1:
            spans.append(Right(use.kind, last + 1, WEEK - 1, use.m3))
    return tuple(spans)


def with_source(
    made: BlockLimits, block: Block, orchard: Orchard, on: dt.date, soil: str, wetted: float
) -> BlockLimits:
    """Return a block's limits with its pump, its pressure group and what its soil takes in.

    Parameters
    ----------
    soil : class of its soil
    wetted : share of the ground a watering wets
    """
    pump = orchard.pump_of(block)
    runs = tuple(pump.runs_on(on + dt.timedelta(days=i)) for i in range(WEEK))
    source = water_source_of(pump, orchard, on)
    run_h = source.longest_h(pump.name)
    longest = min(made.hours_max, run_h)
    pulses = pulses_of(block, soil, wetted, made.flow_m3_h)
    on_min, off_min = (pulses.on_min, pulses.off_min) if pulses is not None else (0, 0)
    if on_min:
        longest = min(longest, _longest_in_pulses(run_h, on_min, off_min))
    return replace(
        made, pump=pump.name, group=block.pressure_group, on_min=on_min, off_min=off_min,
        hours_max=longest, hours_min=min(made.hours_min, longest),
        own_hours_max=made.hours_max if longest < made.hours_max else None,
        may_water=tuple(a and b for a, b in zip(made.may_water, runs, strict=True)),
        own_days=None if all(runs) else made.may_water,
    )  # fmt: skip


def water_source_of(pump: Pump, orchard: Orchard, on: dt.date) -> Source:
    """Return a source with one pump in it, for its hours alone."""
    made = Source(None, orchard.pump_hours, orchard.work_from, orchard.work_to, orchard.night_sets)
    return made if pump.name == FIRST_PUMP else replace(made, further=(_pump_limits(pump, on),))


def _longest_in_pulses(day_h: float, on_min: int, off_min: int) -> float:
    """Most hours of water that fit into a day cut into pulses [h]."""
    parts = max(1, math.floor((day_h * 60.0 + off_min) / (on_min + off_min) + 1e-9))
    return parts * on_min / 60.0


def pulses_of(
    block: Block, soil: str, wetted: float, flow_m3_h: float | None
) -> intake.Pulses | None:
    """Return the pulses a block's waterings are cut into; None where the soil takes them whole."""
    rate = intake.rate_of(block, wetted, flow_m3_h)
    most = intake.highest_of(block, soil)
    return None if rate is None or most is None else intake.pulses(rate, most)


def block_pulses(season: Season, b: BlockSeason) -> intake.Pulses | None:
    """Return the pulses of a block of the season; None where its ground takes the water whole."""
    wets = float(season.drivers.wetted_fraction[b.column])
    return pulses_of(b.block, b.soil.name, wets, b.flow.m3_h)


def out_of_order(known: FarmData, on: dt.date) -> Iterator[Note]:
    """Name every pump that stands still in the week, the days, and how many blocks wait."""
    orchard = known.orchard
    for pump in orchard.all_pumps():
        days = [on + dt.timedelta(days=i) for i in range(WEEK)]
        out = [d for d in days if not pump.runs_on(d)]
        waiting = [b.name for b in orchard.blocks if orchard.pump_of(b).name == pump.name]
        if not out or not waiting:
            continue
        names = ", ".join(waiting[:3]) + (", ..." if len(waiting) > 3 else "")
        last = pump.out_to or out[-1]
        fields = {"pump": pump.name, "first": out[0], "last": last, "blocks": names}
        code = "source.out" if pump.name else "source.first_out"
        yield Note(code if pump.out_to is not None else f"{code}_open", fields)


def week_notes(season: Season) -> Iterator[Note]:
    """Tell what the week asks of the source past what it has, and whose water comes in pulses."""
    yield from _over_right(season)
    asked = [p for p in season.pump_days if p.over_m3 > 0]
    if asked:
        short = sum(p.over_m3 for p in asked)
        yield Note.of("source.over_tank", count=len(asked), m3=f"{short:.0f}")
    walked = [p for p in season.pump_days if p.over_valves > 0]
    if walked:
        more = sum(p.over_valves for p in walked)
        yield Note.of("source.over_people", days=len(walked), count=more)
    found = [(b, p) for b in season.blocks if (p := block_pulses(season, b)) is not None]
    if found:
        b, p = max(found, key=lambda pair: pair[1].rate_mm_h / pair[1].highest_mm_h)
        fields = {"block": b.block.name, "rate": f"{p.rate_mm_h:.1f}",
                  "most": f"{p.highest_mm_h:.1f}", "on": p.on_min, "off": p.off_min,
                  "count": len(found)}  # fmt: skip
        yield Note("source.pulses" if len(found) == 1 else "source.pulses_more", fields)


def _over_right(season: Season) -> Iterator[Note]:
    if season.source is None:
        return
    for right in season.source.rights:
        days = range(right.first, right.last + 1)
        wanted = sum(season.pump_days[d].m3 for d in days)
        if wanted > right.m3 + 0.5:
            yield Note.of(
                f"source.over_{right.kind}", first=season.week[right.first],
                last=season.week[right.last], wanted=f"{wanted:.0f}", left=f"{right.m3:.0f}",
                more=f"{wanted - right.m3:.0f}",
            )  # fmt: skip
