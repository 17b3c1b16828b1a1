"""The orchard as plain, frozen data.  Its settings are named in :mod:`waterbudget.keys`."""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.keys import (
    ALL_STAGES,
    BLOCK_KEYS,
    FARM_KEYS,
    FEWEST_CATCHES,
    FIRST_YEAR,
    FLOW_SOURCES,
    GROUND_COVERS,
    LAST_YEAR,
    LEACHING,
    PATTERNS,
    PUMP_KEYS,
    SOILS,
    STAGE_NUMBERS,
    STAGES,
    SYSTEMS,
    WEEKDAYS,
    Key,
    Kind,
    cycle_days,
    read_date,
    read_number,
    read_value,
    write_value,
)

__all__ = [
    "ALL_STAGES", "BLOCK_KEYS", "FARM_KEYS", "FEWEST_CATCHES", "FIRST_YEAR", "FLOW_SOURCES",
    "GROUND_COVERS", "LAST_YEAR", "LEACHING", "PATTERNS", "PUMP_KEYS", "SOILS", "STAGES",
    "STAGE_NUMBERS", "SYSTEMS", "WEEKDAYS", "Block", "Cycle", "Key", "Kind", "Orchard", "Pump",
    "Station", "cycle_days", "fold", "read_date", "read_number", "read_value", "write_value",
]  # fmt: skip


@dataclass(frozen=True)
class Cycle:
    """One cycle of a block: the day it was pruned and the stages the grower has seen begin.

    A seen date is the first day the block was seen in that stage.
    """

    pruned_on: dt.date
    seen_bloom: dt.date | None = None
    seen_set: dt.date | None = None
    seen_fill: dt.date | None = None
    seen_harvest: dt.date | None = None
    harvest_end: dt.date | None = None

    def __post_init__(self) -> None:
        before, before_key = self.pruned_on, "pruned_on"
        for f in fields(self)[1:]:
            value = getattr(self, f.name)
            if value is None:
                continue
            if value <= before:
                raise Refused("cycle.out_of_order", key=f.name, date=value,
                              other_key=before_key, other=before)  # fmt: skip
            before, before_key = value, f.name


@dataclass(frozen=True, kw_only=True)
class Block:
    """One block as the grower has described it; None means "not said", never zero.

    Attributes
    ----------
    outline : shapely Polygon or MultiPolygon or None
        In the farm's projected coordinates [m].
    outline_ha : float or None
        Geodesic area of ``outline`` [ha], worked out when the block is read.
    area_ha : float or None
        Typed hectares; used only while there is no outline.
    kc_factor, kc_factor_from, kc_factor_before : float or None, datetime.date or None, ...
        Local factor on the coefficients: of the whole run, or from a date on; then
        ``kc_factor_before`` holds before it (1 where it is not said).
    stage_numbers : mapping
        Overrides such as ``{"kcb_fill": 0.8}``.
    catch_ml : str or None
        Catches of outlets or cans as typed, ``"47 42 45 24"`` [ml]; see :attr:`catches`.
    """

    name: str
    id: int = 0
    outline: BaseGeometry | None = None
    outline_ha: float | None = None
    area_ha: float | None = None
    cycles: tuple[Cycle, ...] = ()
    planted_on: dt.date | None = None
    pattern: str | None = None
    spacing_m: float | None = None
    row_spacing_m: float | None = None
    trees: int | None = None
    system: str | None = None
    outlet_l_h: float | None = None
    outlets_per_tree: float | None = None
    flow_m3_h: float | None = None
    flow_from: str | None = None
    wetted_fraction: float | None = None
    root_share: float | None = None
    efficiency: float | None = None
    catch_ml: str | None = None
    loss_percolates: float | None = None
    soil: str | None = None
    field_capacity: float | None = None
    wilting_point: float | None = None
    stones: float | None = None
    sand_pct: float | None = None
    clay_pct: float | None = None
    organic_pct: float | None = None
    rock_depth_m: float | None = None
    root_depth_m: float | None = None
    tew_mm: float | None = None
    rew_mm: float | None = None
    p_stress: float | None = None
    rain_reach: float | None = None
    interception_mm: float | None = None
    curve_number: float | None = None
    slope_pct: float | None = None
    water_ec_ds_m: float | None = None
    soil_ec_ds_m: float | None = None
    salt_threshold_ds_m: float | None = None
    salt_loss_pct: float | None = None
    salt_ky: float | None = None
    leaching: str | None = None
    elevation_m: float | None = None
    station: str | None = None
    gauge: str | None = None
    canopy_cover: float | None = None
    height_m: float | None = None
    kc_fixed: float | None = None
    kc_factor: float | None = None
    kc_factor_from: dt.date | None = None
    kc_factor_before: float | None = None
    kc_factor_why: str | None = None
    full_on: dt.date | None = None
    target_dr_mm: float | None = None
    dry_until: dt.date | None = None
    set_hours_min: float | None = None
    set_hours_max: float | None = None
    valve: str | None = None
    valve_person: str | None = None
    note: str | None = None
    pump: str | None = None
    pressure_group: str | None = None
    pressure_kpa: float | None = None
    valve_order: int | None = None
    meter: str | None = None
    intake_mm_h: float | None = None
    outlet_radius_m: float | None = None
    ground_cover: str | None = None
    feed_days: str | None = None
    spray_days: str | None = None
    outlet_exponent: float | None = None
    outlet_kpa: float | None = None
    lateral_mm: float | None = None
    main_mm: float | None = None
    main_m: float | None = None
    valve_lat: float | None = None
    valve_lon: float | None = None
    valve_elevation_m: float | None = None
    aspect_deg: float | None = None
    row_bearing_deg: float | None = None
    row_fall_pct: float | None = None
    setback_m: float | None = None
    headland_m: float | None = None
    grid_lat: float | None = None
    grid_lon: float | None = None
    stage_numbers: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        fc, wp = self.field_capacity, self.wilting_point
        if fc is not None and wp is not None and wp >= fc:
            raise Refused("block.wilting_above_capacity", block=self.name, wp=wp, fc=fc)
        if self.tew_mm is not None and self.rew_mm is not None and self.rew_mm >= self.tew_mm:
            raise Refused("block.rew_above_tew", block=self.name, rew=self.rew_mm, tew=self.tew_mm)
        sand, clay = self.sand_pct, self.clay_pct
        if sand is not None and clay is not None and sand + clay > 100.0:
            raise Refused("block.sand_and_clay", block=self.name, sand=sand, clay=clay)
        if self.catch_ml is not None and len(_catches(self.name, self.catch_ml)) < FEWEST_CATCHES:
            raise Refused("block.catches", block=self.name, fewest=FEWEST_CATCHES)
        low, high = self.set_hours_min, self.set_hours_max
        if low is not None and high is not None and low > high:
            raise Refused("block.set_hours", block=self.name, low=low, high=high)
        _check_days(self.feed_days, self.spray_days)
        for cycle in self.cycles:
            if self.planted_on is not None and cycle.pruned_on < self.planted_on:
                raise Refused("block.pruned_before_planted", block=self.name,
                              pruned=cycle.pruned_on, planted=self.planted_on)  # fmt: skip

    @property
    def hectares(self) -> float | None:
        """Plan area [ha]: the outline's where there is one, else the typed one."""
        return self.outline_ha if self.outline_ha is not None else self.area_ha

    @property
    def catches(self) -> tuple[float, ...]:
        """The catches of :attr:`catch_ml` [ml]; none where none were typed."""
        return () if self.catch_ml is None else _catches(self.name, self.catch_ml)

    def cycle_on(self, day: dt.date) -> Cycle | None:
        """Return the cycle the block is in on ``day`` (the last pruning on or before it)."""
        past = [c for c in self.cycles if c.pruned_on <= day]
        return max(past, key=lambda c: c.pruned_on) if past else None


def _check_days(feed_days: str | None, spray_days: str | None) -> None:
    for key, text in (("feed_days", feed_days), ("spray_days", spray_days)):
        if text is not None:
            cycle_days(text, key)


def _catches(block: str, text: str) -> tuple[float, ...]:
    """Return catches written one after the other, with blanks, commas or semicolons between."""
    try:
        found = tuple(read_number(part) for part in re.split(r"[;,\s]+", text.strip()))
    except ValueError:
        raise Refused("block.catches", block=block, fewest=FEWEST_CATCHES) from None
    if min(found) < 0.0 or max(found) <= 0.0:
        raise Refused("block.catches", block=block, fewest=FEWEST_CATCHES)
    return found


@dataclass(frozen=True, kw_only=True)
class Station:
    """A weather station (station always means weather here)."""

    name: str
    id: int = 0
    lat: float | None = None
    lon: float | None = None
    elevation_m: float | None = None
    wind_height_m: float | None = None


@dataclass(frozen=True, kw_only=True)
class Pump:
    """A pump or other intake that lifts water to some of the blocks.

    Attributes
    ----------
    hours : float or None
        Longest time it may run in a day [h].
    runs_from, runs_to : datetime.time or None
        Clock hours inside which it may run; past midnight where ``runs_to`` is the earlier.
    out_from, out_to : datetime.date or None
        First and last day it stands still; without a last day, until further notice.
    """

    name: str
    id: int = 0
    flow_m3_h: float | None = None
    hours: float | None = None
    head_m: float | None = None
    efficiency: float | None = None
    runs_from: dt.time | None = None
    runs_to: dt.time | None = None
    out_from: dt.date | None = None
    out_to: dt.date | None = None
    note: str | None = None

    def runs_on(self, day: dt.date) -> bool:
        """Return whether it is in order on ``day``."""
        if self.out_from is None or day < self.out_from:
            return True
        return self.out_to is not None and day > self.out_to


FIRST_PUMP = ""
"""Name of the pump that the farm's own keys describe."""


@dataclass(frozen=True, kw_only=True)
class Orchard:
    """The farm: where it lies, its water source and hours, its blocks, stations and gauges.

    Attributes
    ----------
    lat, lon : float
        [decimal degrees], south and west negative.
    epsg : int
        Projected coordinate system the outlines are stored in (UTM of the farm).
    days_off : tuple of str
        Weekday codes on which nobody opens valves.
    neighbour_rain : bool
        Where a station's rain is unknown, the rain of a neighbour station may stand in.
    neighbour_rain : bool
        Where a station's rain is unknown, the rain of a neighbour station may stand in.
    """

    name: str
    lat: float
    lon: float
    epsg: int
    invented: bool = False
    elevation_m: float | None = None
    time_zone: str | None = None
    pump_m3_h: float | None = None
    pump_hours: float | None = None
    pump_head_m: float | None = None
    pump_efficiency: float | None = None
    work_from: dt.time = dt.time(6, 0)
    work_to: dt.time = dt.time(18, 0)
    days_off: tuple[str, ...] = ()
    night_sets: bool = False
    forecast_rain_credit: float = 0.0
    et0: str = "computed"
    default_station: str | None = None
    default_wind_m_s: float = 2.0
    krs: float | None = None
    neighbour_rain: bool = False
    kc_climate: bool = False
    phone_for_trouble: str | None = None
    pump_out_from: dt.date | None = None
    pump_out_to: dt.date | None = None
    right_m3_week: float | None = None
    right_m3_year: float | None = None
    right_from_month: int = 1
    tank_m3: float | None = None
    tank_fill_m3_h: float | None = None
    tank_now_m3: float | None = None
    price_kwh: float | None = None
    price_kwh_night: float | None = None
    night_from: dt.time | None = None
    night_to: dt.time | None = None
    wage_hour: float | None = None
    currency: str | None = None
    people: int | None = None
    people_hours: float | None = None
    minutes_a_valve: float | None = None
    stage_order: str | None = None
    feed_days: str | None = None
    spray_days: str | None = None
    dry_before_h: float = 12.0
    dry_after_h: float = 24.0
    feed_rain_mm: float = 25.0
    sun_on_slope: bool = False
    stage_numbers: Mapping[str, float] = field(default_factory=dict)
    blocks: tuple[Block, ...] = ()
    stations: tuple[Station, ...] = ()
    gauges: tuple[str, ...] = ()
    pumps: tuple[Pump, ...] = ()

    def __post_init__(self) -> None:
        if self.work_to <= self.work_from:
            raise Refused("farm.work_hours", start=self.work_from, end=self.work_to)
        if len(self.days_off) >= len(WEEKDAYS):
            raise Refused("farm.no_working_day")
        if self.forecast_rain_credit < 0 or self.forecast_rain_credit > 1:
            raise Refused("key.out_of_bounds", key="forecast_rain_credit",
                          value=self.forecast_rain_credit, low=0, high=1)  # fmt: skip
        _check_days(self.feed_days, self.spray_days)
        self.stages_first()
        first, last = self.pump_out_from, self.pump_out_to
        if first is not None and last is not None and last < first:
            raise Refused("source.first_out_days", first=first, last=last)
        if self.tank_m3 is not None and (self.tank_now_m3 or 0.0) > self.tank_m3:
            raise Refused("source.tank_over", full=self.tank_m3, now=self.tank_now_m3)

    def stages_first(self) -> tuple[str, ...]:
        """Return the farm's own order of stages when water is short, the last to give first.

        Raises
        ------
        Refused
            ``farm.stage_order`` where a word is no stage or stands there twice.
        """
        named: list[str] = []
        for part in (self.stage_order or "").replace(";", ",").split(","):
            word = part.strip().casefold()
            if not word:
                continue
            if word not in ALL_STAGES or word in named:
                raise Refused("farm.stage_order", word=part.strip())
            named.append(word)
        return tuple(named)

    def all_pumps(self) -> tuple[Pump, ...]:
        """Return the farm's own pump (named :data:`FIRST_PUMP`) and the further ones."""
        first = Pump(
            name=FIRST_PUMP, flow_m3_h=self.pump_m3_h, hours=self.pump_hours,
            head_m=self.pump_head_m, efficiency=self.pump_efficiency,
            out_from=self.pump_out_from, out_to=self.pump_out_to,
        )  # fmt: skip
        return (first, *self.pumps)

    def pump_of(self, block: Block) -> Pump:
        """Return the pump that feeds a block: the one it names, else the farm's own."""
        pumps = self.all_pumps()
        if block.pump is None:
            return pumps[0]
        return next((p for p in pumps if fold(p.name) == fold(block.pump)), pumps[0])

    def block(self, name: str) -> Block:
        """Return the block called ``name`` (trimmed, case folded); Refused where there is none."""
        wanted = fold(name)
        for block in self.blocks:
            if fold(block.name) == wanted:
                return block
        if not self.blocks:
            raise Refused("block.none", block=name)
        raise Refused("block.unknown", block=name, known=", ".join(b.name for b in self.blocks))

    def station(self, name: str | None = None) -> Station:
        """Return the named station, or the only / default one where no name is given."""
        if name is None:
            if self.default_station is not None:
                name = self.default_station
            elif len(self.stations) == 1:
                return self.stations[0]
            elif not self.stations:
                raise Refused("station.none")
            else:
                raise Refused("station.which", known=", ".join(s.name for s in self.stations))
        for station in self.stations:
            if fold(station.name) == fold(name):
                return station
        if not self.stations:
            raise Refused("station.none_called", station=name)
        known = ", ".join(s.name for s in self.stations)
        raise Refused("station.unknown", station=name, known=known)


def fold(name: str) -> str:
    """Return the form in which two names count as the same."""
    return unicodedata.normalize("NFC", " ".join(name.split()).casefold())


def walk_key(block: Block) -> tuple[float, tuple[tuple[int, int, str], ...], str]:
    """Return what puts blocks into the order their valves are walked in.

    The place given (``valve_order``) counts first, then the valve's name with its figures read as
    numbers (2 before 10), then the block's; blocks without a place or valve come last.
    """
    order = float(block.valve_order) if block.valve_order is not None else math.inf
    parts = re.split(r"(\d+)", fold(block.valve or ""))
    valve = tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p)
    return order, valve or ((2, 0, ""),), fold(block.name)
