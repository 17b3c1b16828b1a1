"""One block made ready for the balance: area, flow, clock, soil, past waterings, drivers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance, hydraulics, kc_climate, layout, salinity, stage, tables
from waterbudget.balance import Drivers
from waterbudget.cycle import LAPSE_C_PER_M, Clock, run_clock
from waterbudget.fieldwork import figure, nitrogen_dates
from waterbudget.orchard import ALL_STAGES, WEEKDAYS, Block, Orchard, Station
from waterbudget.plan import WEEK, BlockLimits
from waterbudget.planting import Counts, living_trees
from waterbudget.records import FarmData, GivenSet, Ran
from waterbudget.season import slope
from waterbudget.season.days import block_rain
from waterbudget.season.result import Flow, PastSet, StationDays
from waterbudget.season.source import with_source
from waterbudget.season.stations import Choice
from waterbudget.sensors import Judged, Pull
from waterbudget.soil import SoilNumbers, soil_numbers, texture_known, total_available_mm
from waterbudget.stage import DayNumbers

Values = NDArray[np.float64]

DEFAULT_SYSTEM = "micro"
LEAST_EFFICIENCY = 0.2  # as the key's bound: catches of a broken line must not ask for the sea
ASSUMED_CLIMATE = {
    "u2": {"wind_assumed", "temp_only", "stand_in"}, "rh": {"ea_tmin", "temp_only", "stand_in"},
}  # fmt: skip
"""Codes of days whose wind or humidity was not recorded."""


@dataclass(frozen=True)
class Prepared:
    """A block with everything its balance needs, on the season's days and 30 more.

    Attributes
    ----------
    efficiency : share of the meter's water that fills the roots in the week [-]
    net_share : the same on every day (less while leaching in rest), shape (days,)
    columns : mapping of Drivers field to ndarray of shape (days,) or scalar
    this_morning : what readings of the morning looked at pull the depletion to
    """

    block: Block
    missing: tuple[str, ...]
    clock: Clock
    numbers: DayNumbers
    soil: SoilNumbers
    flow: Flow
    hectares: float | None
    trees: int | None
    efficiency: float
    net_share: Values
    past: tuple[PastSet, ...]
    rain_flags: Mapping[dt.date, str]
    columns: Mapping[str, Any]
    station: str | None
    station_how: str
    readings: tuple[Judged, ...] = ()
    this_morning: Pull | None = None


@cache
def system_defaults() -> dict[str, dict[str, float]]:
    """Return the numbers of each watering system."""
    wanted = ("wetted_fraction", "efficiency", "loss_percolates", "set_hours_max", "set_hours_min")
    return {r["system"]: {k: float(r[k]) for k in wanted} for r in tables.read("systems")}


def efficiency(block: Block) -> float:
    """Share of the water at the meter that reaches the roots: one share for all losses.

    Given, else the lower of the system's default and the uniformity of the block's catches
    (never one times the other).
    """
    if block.efficiency is not None:
        return block.efficiency
    usual = system_defaults()[block.system or DEFAULT_SYSTEM]["efficiency"]
    even = uniformity(block)
    return usual if even is None else max(LEAST_EFFICIENCY, min(usual, even))


def uniformity(block: Block) -> float | None:
    """Low-quarter uniformity of the block's catches; None where none were typed."""
    return hydraulics.low_quarter_uniformity(block.catches) if block.catches else None


def loss_percolates(block: Block) -> float:
    """Share of the losses that goes down into the ground."""
    own = block.loss_percolates
    default = system_defaults()[block.system or DEFAULT_SYSTEM]["loss_percolates"]
    return default if own is None else own


def wetted_fraction(block: Block) -> float:
    """Share of the surface a watering wets."""
    own = block.wetted_fraction
    default = system_defaults()[block.system or DEFAULT_SYSTEM]["wetted_fraction"]
    return default if own is None else own


def root_share(block: Block) -> float:
    """Share of the soil the roots drink from: as wetted, or all of it under full cover."""
    if block.root_share is not None:
        return block.root_share
    return 1.0 if (block.system or DEFAULT_SYSTEM) == "overhead" else wetted_fraction(block)


def tree_count(block: Block, data: FarmData | None = None) -> int | None:
    """Number of trees: given, living ones where set out or marked, else area over the pattern.

    Parameters
    ----------
    data : FarmData, optional
        Holds the marks of missing trees and the ground kept free; without it both are left out.
    """
    if block.trees is not None:
        return block.trees
    if data is not None:
        counts = living(block, data)
        if counts is not None:
            return counts.living
    return layout.tree_count(block.hectares, block.pattern, block.spacing_m, block.row_spacing_m)


def living(block: Block, data: FarmData) -> Counts | None:
    """Living and bearing trees of a block set out or marked; None for other blocks."""
    return living_trees(block, data.tree_marks, data.orchard.epsg, data.land_marks)


def flow(block: Block, data: FarmData | None = None) -> Flow:
    """Flow of a block's valve: given, else outlets times their flow (catalogue if not said)."""
    if block.flow_m3_h is not None:
        return Flow(block.flow_m3_h, block.flow_from)
    if block.outlet_l_h is None:
        return Flow(None, None)
    trees = tree_count(block, data)
    if trees is None:
        return Flow(None, None)
    per_tree = block.outlets_per_tree if block.outlets_per_tree is not None else 1.0
    return Flow(trees * per_tree * block.outlet_l_h / 1000.0, block.flow_from or "catalogue")


def prepare(
    block: Block, data: FarmData, choice: Choice, days: StationDays | None,
    temperatures: tuple[Values, Values] | None, on: dt.date, first: dt.date, n: int,
) -> Prepared:  # fmt: skip
    """Make one block ready; ``n`` days from ``first`` reach 30 days past the week."""
    station = choice.station
    clock = block_clock(block, data.orchard, station, temperatures, first, n)
    climate = None
    if data.orchard.kc_climate and days is not None:
        climate = mean_climate(days, len(clock.stage))
    numbers = stage.day_numbers(block, data.orchard.stage_numbers, clock, climate)
    soil = soil_numbers(block)
    past, gross = past_waterings(block, data, on, first, n)
    rain, whole, flags = block_rain(data, block, days, on, first, n)
    known = days is not None and bool(np.isfinite(days.et0_mm[:n]).all())
    columns = _columns(block, numbers, soil, clock, days if known else None, rain, whole, n)
    turned = slope.et0_factor(block, data.orchard, station, days if known else None, n)
    if turned is not None:
        columns["et0_mm"] = columns["et0_mm"] * turned
    net_share = efficiency(block) * (1.0 - leaching(block, clock, data)[:n])
    columns["irrigation_mm"] = gross * net_share
    columns["full"] = np.zeros(n)
    if block.full_on is not None and 0 <= (block.full_on - first).days < n:
        columns["full"][(block.full_on - first).days] = 1.0
    if block.planted_on is not None and block.planted_on > first:
        columns["full"][: min(n, (block.planted_on - first).days)] = 1.0  # no trees yet
    return Prepared(
        block=block, missing=_missing(block, known, data), clock=clock, numbers=numbers, soil=soil,
        flow=flow(block, data), hectares=block.hectares, trees=tree_count(block, data),
        efficiency=float(net_share[(on - first).days]), net_share=net_share, past=past,
        rain_flags=flags, columns=columns,
        station=station.name if station is not None else None, station_how=choice.how,
    )  # fmt: skip


def leaching(block: Block, clock: Clock, data: FarmData) -> Values:
    """Share of each day's watering that is to wash salt down: in rest, where it is asked for.

    Never within three weeks of nitrogen, which would go down with it (own estimate).
    """
    salt = salinity.salt_numbers(block)
    share = salt.leaching if salt.applied and salt.leaching is not None else 0.0
    found = np.where(clock.stage == ALL_STAGES.index("rest"), share, 0.0)
    for fed_on in nitrogen_dates(block.id, data.field_entries) if share else ():
        at = (fed_on - clock.first).days
        found[max(0, at) : max(0, at + int(figure("n_leaching_days")))] = 0.0
    return found


def mean_climate(days: StationDays, n: int) -> tuple[Values, Values]:
    """Return a station's wind [m/s] and lowest humidity [%], means of 30 days, on ``n`` days.

    Only what was recorded (or forecast) counts; NaN where nothing was in all that time.
    """
    found = []
    for name, values in (("u2", days.u2_m_s), ("rh", days.rh_min)):
        guessed = [bool(ASSUMED_CLIMATE[name] & set(made)) for made in days.made_from]
        known = np.full(n, np.nan)
        m = min(n, len(values))
        known[:m] = np.where(guessed, np.nan, values)[:m]
        found.append(kc_climate.running_mean(known))
    return found[0], found[1]


def _missing(block: Block, weather_known: bool, data: FarmData) -> tuple[str, ...]:
    missing = []
    if block.hectares is None:
        missing.append("area")
    if not weather_known:
        missing.append("weather")
    if not block.cycles and block.planted_on is None:
        missing.append("pruned_on")
    if flow(block, data).m3_h is None:
        missing.append("flow")
    if block.soil is None and block.field_capacity is None and not texture_known(block):
        missing.append("soil")
    return tuple(missing)


def block_clock(
    block: Block, orchard: Orchard, station: Station | None,
    temperatures: tuple[Values, Values] | None, first: dt.date, n: int,
) -> Clock:  # fmt: skip
    """Run a block's clock at the block's own elevation (0.65 degC cooler every 100 m up)."""
    if temperatures is None:
        nothing = np.full(n + 370, np.nan)
        return run_clock(block.cycles, first, nothing, nothing)
    tmax, tmin = temperatures
    low = None
    if station is not None:
        low = station.elevation_m if station.elevation_m is not None else orchard.elevation_m
    shift = 0.0
    if block.elevation_m is not None and low is not None:
        shift = (block.elevation_m - low) * LAPSE_C_PER_M
    return run_clock(block.cycles, first, tmax + shift, tmin + shift)


def _columns(
    block: Block, numbers: DayNumbers, soil: SoilNumbers, clock: Clock,
    days: StationDays | None, rain: Values, whole: Values, n: int,
) -> dict[str, Any]:  # fmt: skip
    fixed = block.kc_fixed is not None
    salt = salinity.salt_numbers(block).ks
    free = np.full(n, block.kc_fixed) if block.kc_fixed is not None else numbers.kcb[:n]
    kcb = free * salt  # dryness comes on top of it day by day (FAO-56 eq. 92)
    cover, height = numbers.cover[:n], numbers.height_m[:n]
    u2 = days.u2_m_s[:n] if days is not None else np.full(n, np.nan)
    dry_air = days.rh_min[:n] if days is not None else np.full(n, np.nan)
    u2 = np.where(np.isnan(u2), 2.0, u2)
    dry_air = np.where(np.isnan(dry_air), 45.0, dry_air)
    wets = wetted_fraction(block)
    drip = (block.system or DEFAULT_SYSTEM) == "drip"
    few_water, few_rain = balance.exposed_wetted(cover, wets, drip)
    taw = total_available_mm(
        soil.field_capacity, soil.wilting_point, numbers.root_depth_m[:n], soil.stones,
        root_share(block),
    )  # fmt: skip
    leaves = block.interception_mm or 0.0
    number = np.full(n, block.curve_number if block.curve_number is not None else np.nan)
    below_leaves = np.maximum(rain - leaves, 0.0)
    return {
        "et0_mm": days.et0_mm[:n] if days is not None else np.zeros(n),
        "kcb": kcb,
        # what the soil loses is what it would lose without salt
        "kc_max": balance.kc_max(free, u2, dry_air, height) - (free - kcb),
        "few_water": few_water,
        "few_rain": few_rain,
        "taw_mm": taw,
        "allowed_mm": numbers.allowed[:n] * taw,
        "rain_mm": rain,
        "whole_rain_mm": whole,
        "runoff_mm": balance.runoff_mm(below_leaves, number),
        "tew_mm": np.float64(soil.tew_mm),
        "rew_mm": np.float64(soil.rew_mm),
        "p_stress": np.float64(stage.P_STRESS if block.p_stress is None else block.p_stress),
        "p_moves": np.float64(1.0),
        "wetted_fraction": np.float64(wets),
        "rain_reach": np.float64(1.0 if block.rain_reach is None else block.rain_reach),
        "interception_mm": np.float64(leaves),
        "kc_factor": kc_factor(block, clock.first, n),
        "single": np.float64(fixed),
    }


def kc_factor(block: Block, first: dt.date, n: int) -> Values | np.float64:
    """Local factor on the coefficients [-]: one number, or a day each where it has a date."""
    own = 1.0 if block.kc_factor is None else block.kc_factor
    if block.kc_factor_from is None:
        return np.float64(own)
    before = 1.0 if block.kc_factor_before is None else block.kc_factor_before
    days = np.arange(n) >= (block.kc_factor_from - first).days
    return np.where(days, own, before)


_MAY_BE_DAILY = ("kc_factor", "read_mm", "read_share", "read_floor")
"""Of some blocks a number a day, of others one number."""


def drivers(prepared: Sequence[Prepared]) -> Drivers:
    """Stack prepared blocks side by side; in memory a block's days lie together."""
    names = [n for n in Drivers.__dataclass_fields__ if any(n in p.columns for p in prepared)]
    own = {name: [p.columns.get(name, np.float64(0.0)) for p in prepared] for name in names}
    stacked: dict[str, Any] = {
        name: np.stack(np.broadcast_arrays(*columns) if name in _MAY_BE_DAILY else columns).T
        for name, columns in own.items()
    }
    for name in ("full", "p_moves", "single", "read_floor"):
        if name in stacked:
            stacked[name] = stacked[name].astype(bool)
    return Drivers(**stacked)


def past_waterings(
    block: Block, data: FarmData, on: dt.date, first: dt.date, n: int
) -> tuple[tuple[PastSet, ...], Values]:
    """Return what ran before ``on`` as counted, and its depth at the meter [mm] by day.

    An entry beats a handed-out watering; a handed-out one nobody confirmed counts as run.
    """
    gross = np.zeros(n)
    handed = _handed_out(block, data, on)
    entered: dict[dt.date, list[Ran]] = {}
    for entry in data.ran:
        if entry.block_id == block.id and entry.date < on:
            entered.setdefault(entry.date, []).append(entry)
    rate, hectares = flow(block, data).m3_h, block.hectares
    found = []
    for date in sorted({*entered, *handed}):
        if date in entered:
            planned = handed[date].hours if date in handed else None
            sets = [_counted(e, rate, hectares, planned) for e in entered[date]]
        else:
            given = handed[date]
            sets = [PastSet(date, "not_confirmed", given.hours, given.m3, given.mm, given.hours)]
        found += sets
        i = (date - first).days
        if 0 <= i < n:
            gross[i] += sum(s.gross_mm or 0.0 for s in sets)
    return tuple(found), gross


def _counted(
    entry: Ran, rate: float | None, hectares: float | None, planned: float | None
) -> PastSet:
    m3 = entry.m3
    if m3 is None and entry.hours is not None and rate is not None:
        m3 = entry.hours * rate
    hours = entry.hours
    if hours is None and m3 is not None and rate:
        hours = m3 / rate
    gross = m3 / (hectares * 10.0) if m3 is not None and hectares else None
    nothing = (entry.m3 if entry.m3 is not None else entry.hours) == 0
    timed = entry.hours is not None and entry.m3 is not None
    return PastSet(entry.date, "missed" if nothing else "ran", hours, m3, gross, planned, timed)


def _handed_out(block: Block, data: FarmData, on: dt.date) -> dict[dt.date, GivenSet]:
    """Return the block's waterings of past days by the week that was valid on each."""
    result: dict[dt.date, GivenSet] = {}
    for week in sorted(data.given, key=lambda w: w.number):
        result = {d: s for d, s in result.items() if not week.covers(d)}
        for item in week.sets:
            if item.block_id == block.id and item.date < on:
                result[item.date] = item
    return result


def limits(
    block: Block, orchard: Orchard, clock: Clock, on: dt.date, pins: FarmData
) -> BlockLimits:
    """Return what holds for a block in the week from ``on``."""
    own = system_defaults()[block.system or DEFAULT_SYSTEM]
    name = clock.stage_on(on)
    today = (on - clock.first).days
    days = [on + dt.timedelta(days=i) for i in range(WEEK)]
    may = tuple(
        WEEKDAYS[d.weekday()] not in orchard.days_off
        and not (block.dry_until is not None and d <= block.dry_until)
        for d in days
    )
    mine = {(p.date - on).days: p for p in pins.pins if p.block_id == block.id}
    longest = own["set_hours_max"] if block.set_hours_max is None else block.set_hours_max
    shortest = own["set_hours_min"] if block.set_hours_min is None else block.set_hours_min
    made = BlockLimits(
        name=block.name, priority=stage.place(name, orchard.stages_first()),
        flow_m3_h=flow(block, pins).m3_h, area_ha=block.hectares,
        efficiency=efficiency(block) * (1.0 - float(leaching(block, clock, pins)[today])),
        hours_min=min(shortest, longest), hours_max=longest, may_water=may,
        pins={i: p.hours for i, p in mine.items()},
        pin_starts={i: p.start for i, p in mine.items() if p.start is not None},
        target_dr_mm=block.target_dr_mm,
    )  # fmt: skip
    soil = soil_numbers(block).name
    return with_source(made, block, orchard, on, soil, wetted_fraction(block))
