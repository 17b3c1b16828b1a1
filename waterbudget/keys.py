"""The keys by which people set things, and how a typed value is read and written.

One registry (:data:`BLOCK_KEYS`, :data:`FARM_KEYS`, :data:`PUMP_KEYS`) says for every setting what
it is called, what kind of value it takes and inside which bounds.  The command line,
``blocks.csv``, the farm file and the window's tables all read that registry, so a new setting is
added in one place.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Any, Literal

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
GROUND_COVERS = ("bare", "covered")
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
        Key("pump", "text"),
        Key("pressure_group", "text"),
        Key("pressure_kpa", "number", 5, 1500, unit="kPa"),
        Key("valve_order", "whole", 1, 10_000),
        Key("meter", "text"),
        Key("intake_mm_h", "number", 0.2, 300, unit="mm/h"),
        Key("outlet_radius_m", "number", 0.05, 20, unit="m"),
        Key("ground_cover", "choice", choices=GROUND_COVERS),
        Key("feed_days", "text"),
        Key("spray_days", "text"),
        Key("outlet_exponent", "number", 0.0, 1.0),
        Key("outlet_kpa", "number", 5, 1500, unit="kPa"),
        Key("lateral_mm", "number", 4, 300, unit="mm"),
        Key("main_mm", "number", 10, 1000, unit="mm"),
        Key("main_m", "number", 0, 20_000, unit="m"),
        Key("valve_lat", "number", -90, 90),
        Key("valve_lon", "number", -180, 180),
        Key("valve_elevation_m", "number", -430, 5500, unit="m"),
        Key("aspect_deg", "number", 0, 360, unit="degrees"),
        Key("row_bearing_deg", "number", 0, 360, unit="degrees"),
        Key("row_fall_pct", "number", -10, 10, unit="%"),
        Key("setback_m", "number", 0, 100, unit="m"),
        Key("headland_m", "number", 0, 100, unit="m"),
        Key("grid_lat", "number", -90, 90),
        Key("grid_lon", "number", -180, 180),
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
        Key("pump_out_from", "date"),
        Key("pump_out_to", "date"),
        Key("right_m3_week", "number", 0, 1e7, unit="m3"),
        Key("right_m3_year", "number", 0, 1e9, unit="m3"),
        Key("right_from_month", "whole", 1, 12),
        Key("tank_m3", "number", 0.1, 1e7, unit="m3"),
        Key("tank_fill_m3_h", "number", 0, 5000, unit="m3/h"),
        Key("tank_now_m3", "number", 0, 1e7, unit="m3"),
        Key("price_kwh", "number", 0, 1e6),
        Key("price_kwh_night", "number", 0, 1e6),
        Key("night_from", "time"),
        Key("night_to", "time"),
        Key("wage_hour", "number", 0, 1e7),
        Key("currency", "text"),
        Key("people", "whole", 1, 200),
        Key("people_hours", "number", 0.25, 24, unit="h"),
        Key("minutes_a_valve", "number", 0, 240, unit="min"),
        Key("stage_order", "text"),
        Key("feed_days", "text"),
        Key("spray_days", "text"),
        Key("dry_before_h", "number", 0, 96, unit="h"),
        Key("dry_after_h", "number", 0, 96, unit="h"),
        Key("feed_rain_mm", "number", 1, 300, unit="mm"),
        Key("sun_on_slope", "yesno"),
    ),
    **_stage_keys(),
}
"""Settings of the whole farm."""

PUMP_KEYS: dict[str, Key] = _keys(
    Key("flow_m3_h", "number", 0.01, 5000, unit="m3/h"),
    Key("hours", "number", 0.25, 24, unit="h"),
    Key("head_m", "number", 0.5, 500, unit="m"),
    Key("efficiency", "number", 0.1, 1.0),
    Key("runs_from", "time"),
    Key("runs_to", "time"),
    Key("out_from", "date"),
    Key("out_to", "date"),
    Key("note", "text"),
)
"""Settings of a further pump; the farm's own keys describe the first one."""


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


LAST_CYCLE_DAY = 400
"""No cycle is longer."""


def cycle_days(text: str, key: str) -> tuple[int, ...]:
    """Read days after pruning such as ``"10, 45, 110"``, in order; empty or ``none``: no day.

    Raises
    ------
    Refused
        Naming the key and what is no day of a cycle.
    """
    if not text.strip() or text.strip().lower() in ("none", "no", "-"):
        return ()
    found = set()
    for part in re.split(r"[;,\s]+", text.strip(" ;,")):
        if not re.fullmatch(r"[0-9]{1,3}", part) or not 0 < int(part) <= LAST_CYCLE_DAY:
            raise Refused("key.cycle_days", key=key, value=part, last=LAST_CYCLE_DAY)
        found.add(int(part))
    return tuple(sorted(found))


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
