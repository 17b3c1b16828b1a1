"""The orchard as plain, frozen data, and the keys by which people set it.

One registry (:data:`BLOCK_KEYS`, :data:`FARM_KEYS`) says for every setting what it is called,
what kind of value it takes and inside which bounds.  The command line, ``blocks.csv``, the farm
file and the window's tables all read that registry, so a new setting is added in one place.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Literal

from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused

Kind = Literal["number", "whole", "date", "dates", "time", "choice", "text", "yesno", "weekdays"]

STAGES = ("pruned", "shoots", "bloom", "set", "lag", "fill", "harvest", "rest")
ALL_STAGES = (*STAGES, "young")
SYSTEMS = ("drip", "micro", "overhead", "basin")
PATTERNS = ("square", "rectangle", "triangle", "contour")
FLOW_SOURCES = ("meter", "bucket", "catalogue")
SOILS = (
    "sand", "loamy-sand", "sandy-loam", "loam", "silt-loam", "silt", "sandy-clay-loam",
    "clay-loam", "silty-clay-loam", "sandy-clay", "silty-clay", "clay",
)  # fmt: skip
LEACHING = ("none", "in-rest")
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
FIRST_YEAR, LAST_YEAR = 1900, 2199
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
FEWEST_CATCHES = 4
"""A low quarter needs a quarter of at least one can; 18 or more are usual."""
STAGE_NUMBERS = ("kcb", "allowed", "canopy", "root_depth", "weight", "floor")


@dataclass(frozen=True)
class Key:
    """One setting: its name, kind, bounds, unit, and where it is kept.

    Attributes
    ----------
    place : str
        ``"field"`` a field of the dataclass, ``"cycle"`` a date of the block's cycle,
        ``"stage"`` a stage number such as ``kcb_fill``.
    """

    name: str
    kind: Kind
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    unit: str = ""
    place: str = "field"


def _keys(*keys: Key) -> dict[str, Key]:
    return {k.name: k for k in keys}


def _stage_keys() -> dict[str, Key]:
    bounds = {"kcb": (0.0, 1.4), "allowed": (0.05, 0.9), "canopy": (0.01, 1.0),
              "root_depth": (0.05, 3.0), "weight": (0.0, 10.0), "floor": (0.0, 1.0)}  # fmt: skip
    return {
        f"{what}_{stage}": Key(f"{what}_{stage}", "number", *bounds[what], place="stage")
        for what in STAGE_NUMBERS
        for stage in ALL_STAGES
    }


BLOCK_KEYS: dict[str, Key] = {
    **_keys(
        Key("area_ha", "number", 0.001, 2000, unit="ha"),
        Key("pruned_on", "date", place="cycle"),
        Key("pruned_earlier", "dates", place="cycle"),
        Key("seen_bloom", "date", place="cycle"),
        Key("seen_set", "date", place="cycle"),
        Key("seen_fill", "date", place="cycle"),
        Key("seen_harvest", "date", place="cycle"),
        Key("harvest_end", "date", place="cycle"),
        Key("planted_on", "date"),
        Key("pattern", "choice", choices=PATTERNS),
        Key("spacing_m", "number", 0.3, 30, unit="m"),
        Key("row_spacing_m", "number", 0.3, 30, unit="m"),
        Key("trees", "whole", 1, 1_000_000),
        Key("system", "choice", choices=SYSTEMS),
        Key("outlet_l_h", "number", 0.1, 5000, unit="L/h"),
        Key("outlets_per_tree", "number", 0.1, 50),
        Key("flow_m3_h", "number", 0.01, 2000, unit="m3/h"),
        Key("flow_from", "choice", choices=FLOW_SOURCES),
        Key("wetted_fraction", "number", 0.02, 1.0),
        Key("root_share", "number", 0.02, 1.0),
        Key("efficiency", "number", 0.2, 1.0),
        Key("catch_ml", "text"),
        Key("loss_percolates", "number", 0.0, 1.0),
        Key("soil", "choice", choices=SOILS),
        Key("field_capacity", "number", 0.02, 0.7),
        Key("wilting_point", "number", 0.005, 0.5),
        Key("stones", "number", 0.0, 0.9),
        Key("sand_pct", "number", 0.0, 100.0, unit="%"),
        Key("clay_pct", "number", 0.0, 60.0, unit="%"),
        Key("organic_pct", "number", 0.0, 8.0, unit="%"),
        Key("rock_depth_m", "number", 0.05, 10.0, unit="m"),
        Key("root_depth_m", "number", 0.05, 3.0, unit="m"),
        Key("tew_mm", "number", 1, 60, unit="mm"),
        Key("rew_mm", "number", 0.5, 30, unit="mm"),
        Key("p_stress", "number", 0.05, 0.9),
        Key("rain_reach", "number", 0.0, 1.0),
        Key("interception_mm", "number", 0.0, 5.0, unit="mm"),
        Key("curve_number", "number", 20, 100),
        Key("slope_pct", "number", 0.0, 150.0, unit="%"),
        Key("water_ec_ds_m", "number", 0.0, 20.0, unit="dS/m"),
        Key("soil_ec_ds_m", "number", 0.0, 40.0, unit="dS/m"),
        Key("salt_threshold_ds_m", "number", 0.0, 20.0, unit="dS/m"),
        Key("salt_loss_pct", "number", 0.0, 60.0, unit="%"),
        Key("salt_ky", "number", 0.1, 3.0),
        Key("leaching", "choice", choices=LEACHING),
        Key("elevation_m", "number", -430, 5500, unit="m"),
        Key("station", "text"),
        Key("gauge", "text"),
        Key("canopy_cover", "number", 0.01, 1.0),
        Key("height_m", "number", 0.2, 15, unit="m"),
        Key("kc_fixed", "number", 0.05, 1.6),
        Key("kc_factor", "number", 0.3, 2.0),
        Key("kc_factor_from", "date"),
        Key("kc_factor_before", "number", 0.3, 2.0),
        Key("kc_factor_why", "text"),
        Key("full_on", "date"),
        Key("target_dr_mm", "number", 0.0, 500, unit="mm"),
        Key("dry_until", "date"),
        Key("set_hours_min", "number", 0.25, 24, unit="h"),
        Key("set_hours_max", "number", 0.25, 24, unit="h"),
        Key("valve", "text"),
        Key("valve_person", "text"),
        Key("note", "text"),
    ),
    **_stage_keys(),
}
"""Settings of a block.  ``pruned_on`` is the current cycle; ``pruned_earlier`` the ones before."""

FARM_KEYS: dict[str, Key] = {
    **_keys(
        Key("name", "text"),
        Key("elevation_m", "number", -430, 5500, unit="m"),
        Key("time_zone", "text"),
        Key("pump_m3_h", "number", 0.01, 5000, unit="m3/h"),
        Key("pump_hours", "number", 0.25, 24, unit="h"),
        Key("pump_head_m", "number", 0.5, 500, unit="m"),
        Key("pump_efficiency", "number", 0.1, 1.0),
        Key("work_from", "time"),
        Key("work_to", "time"),
        Key("days_off", "weekdays"),
        Key("night_sets", "yesno"),
        Key("forecast_rain_credit", "number", 0.0, 1.0),
        Key("et0", "choice", choices=("computed", "given", "hourly")),
        Key("default_station", "text"),
        Key("default_wind_m_s", "number", 0.5, 10, unit="m/s"),
        Key("krs", "number", 0.1, 0.25),
        Key("neighbour_rain", "yesno"),
        Key("kc_climate", "yesno"),
        Key("phone_for_trouble", "text"),
    ),
    **_stage_keys(),
}
"""Settings of the whole farm."""


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
    stage_numbers: Mapping[str, float] = field(default_factory=dict)
    blocks: tuple[Block, ...] = ()
    stations: tuple[Station, ...] = ()
    gauges: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.work_to <= self.work_from:
            raise Refused("farm.work_hours", start=self.work_from, end=self.work_to)
        if len(self.days_off) >= len(WEEKDAYS):
            raise Refused("farm.no_working_day")
        if self.forecast_rain_credit < 0 or self.forecast_rain_credit > 1:
            raise Refused("key.out_of_bounds", key="forecast_rain_credit",
                          value=self.forecast_rain_credit, low=0, high=1)  # fmt: skip

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


def read_value(key: Key, text: str) -> Any:
    """Turn what a person typed for ``key`` into a value; empty text means None (cleared).

    Raises
    ------
    Refused
        Naming the key, what was typed, and what would be accepted.
    """
    text = text.strip()
    if not text:
        return None
    if key.kind in ("number", "whole"):
        return _number(key, text)
    if key.kind == "date":
        return read_date(text, key.name)
    if key.kind == "dates":
        return tuple(sorted(read_date(part, key.name) for part in re.split(r"[;, ]+", text)))
    if key.kind == "time":
        match = re.fullmatch(r"(\d{1,2}):(\d{2})", text)
        if not match or int(match[1]) > 23 or int(match[2]) > 59:
            raise Refused("key.bad_time", key=key.name, value=text)
        return dt.time(int(match[1]), int(match[2]))
    if key.kind == "yesno":
        if text.lower() in ("yes", "true", "1", "on"):
            return True
        if text.lower() in ("no", "false", "0", "off"):
            return False
        raise Refused("key.bad_yesno", key=key.name, value=text)
    if key.kind == "choice":
        wanted = text.lower().replace(" ", "-").replace("_", "-")
        if wanted not in key.choices:
            choices = ", ".join(key.choices)
            raise Refused("key.bad_choice", key=key.name, value=text, choices=choices)
        return wanted
    if key.kind == "weekdays":
        return _weekdays(key, text)
    return " ".join(text.split())


def write_value(key: Key, value: Any) -> str:
    """Return ``value`` as text that :func:`read_value` reads back unchanged."""
    if value is None:
        return ""
    if key.kind == "yesno":
        return "yes" if value else "no"
    if key.kind == "time":
        return f"{value:%H:%M}"
    if key.kind == "date":
        return str(value.isoformat())
    if key.kind == "dates":
        return ";".join(d.isoformat() for d in value)
    if key.kind == "weekdays":
        return ",".join(value)
    if key.kind == "number":
        return repr(float(value)).removesuffix(".0")
    return str(value)


def read_date(text: str, key: str = "date") -> dt.date:
    """Read an ISO date; Refused names the key and the text."""
    try:
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text.strip()):
            raise ValueError
        date = dt.date.fromisoformat(text.strip())
    except ValueError:
        raise Refused("key.bad_date", key=key, value=text) from None
    if not FIRST_YEAR <= date.year <= LAST_YEAR:
        raise Refused("key.far_date", key=key, value=text, first=FIRST_YEAR, last=LAST_YEAR)
    return date


def read_number(text: str) -> float:
    """Read a number written with a decimal point; ValueError for anything else."""
    if not _NUMBER.fullmatch(text.strip()) or not math.isfinite(value := float(text)):
        raise ValueError(text)
    return value + 0.0  # never minus zero


def _number(key: Key, text: str) -> float | int:
    try:
        value = read_number(text)
    except ValueError:
        raise Refused("key.bad_number", key=key.name, value=text) from None
    if (key.low is not None and value < key.low) or (key.high is not None and value > key.high):
        raise Refused("key.out_of_bounds", key=key.name, value=text, low=key.low, high=key.high)
    if key.kind == "whole":
        if value != int(value):
            raise Refused("key.bad_whole", key=key.name, value=text)
        return int(value)
    return value


def _weekdays(key: Key, text: str) -> tuple[str, ...] | None:
    if text.lower() == "none":
        return ()
    found = []
    for part in re.split(r"[;, ]+", text.lower()):
        if part[:3] not in WEEKDAYS:
            raise Refused("key.bad_choice", key=key.name, value=part, choices=", ".join(WEEKDAYS))
        found.append(part[:3])
    return tuple(day for day in WEEKDAYS if day in found)
