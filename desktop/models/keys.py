"""What every setting of a block is called on the screen, in which group it stands, in which unit.

The settings themselves, their kind and bounds stand in :data:`waterbudget.orchard.BLOCK_KEYS`;
here are the words beside their plain names (:mod:`desktop.labels`): heads of columns, hints,
units, groups.  A test sees to it that every setting has some.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from desktop.labels import label
from desktop.wording import day_short, number, tr, word
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import ALL_STAGES, BLOCK_KEYS, STAGE_NUMBERS, Block, Key


@dataclass(frozen=True)
class KeyWords:
    """The words of one setting.

    Attributes
    ----------
    label : str
        As a row of a form names it.
    short : str
        As the head of a column names it.
    hint : str
        One line that says what to enter.
    """

    label: str
    short: str
    group: str
    hint: str = ""
    unit: str = ""


def group_name(group: str) -> str:
    """Return what a group of settings is called."""
    return {
        "overview": tr("Overview"), "planting": tr("Planting"), "cycle": tr("Cycle"),
        "watering": tr("Watering"), "soil": tr("Soil and roots"),
        "salt": tr("Salt"),
        "canopy": tr("Canopy and use"), "weather": tr("Weather"), "people": tr("Valve and notes"),
        "pipes": tr("Pipes and pressure"),
        "stages": tr("Stage numbers"),
    }[group]  # fmt: skip


def key_words(name: str) -> KeyWords:
    """Return the words of a setting, in the language in use."""
    key = BLOCK_KEYS[name]
    if key.place == "stage":
        return _stage_words(name)
    for table in (_planting, _cycle, _watering, _soil, _salt, _canopy, _weather, _people, _pipes):
        found = table().get(name)
        if found is not None:
            group = table.__name__.strip("_")
            unit = found[2] if len(found) > 2 else _unit(key)
            return KeyWords(label(name), found[0], group, found[1], unit)
    return KeyWords(label(name), label(name), "people", "", _unit(key))


def _unit(key: Key) -> str:
    return {"m3/h": "m³/h", "m3": "m³"}.get(key.unit, key.unit)


Rows = dict[str, tuple[str, ...]]


def _planting() -> Rows:
    return {
        "area_ha": (tr("Typed ha"), tr("Used while the block has no outline.")),
        "planted_on": (tr("Planted"), ""),
        "pattern": (tr("Pattern"), ""),
        "spacing_m": (tr("Tree to tree"), tr("Along the row.")),
        "row_spacing_m": (tr("Row to row"), tr("Between the rows.")),
        "trees": (tr("Trees"), tr("Counted; else worked out from the spacing.")),
        "row_bearing_deg": (tr("Rows to"), tr("0 north, 90 east.")),
        "row_fall_pct": (tr("Row fall"), ""),
        "setback_m": (tr("From the edge"), ""),
        "headland_m": (tr("Turning strip"), ""),
        "grid_lat": (tr("First lat."), ""),
        "grid_lon": (tr("First lon."), ""),
    }


def _cycle() -> Rows:
    return {
        "pruned_on": (tr("Pruned"), tr("A later date begins a new cycle.")),
        "pruned_earlier": (
            tr("Pruned before"), tr("Dates one after the other, with a semicolon between."),
        ),
        "seen_bloom": (tr("Bloom seen"), tr("First day seen in bloom.")),
        "seen_set": (tr("Set seen"), tr("First day seen in fruit set.")),
        "seen_fill": (tr("Fill seen"), tr("First day seen in fruit fill.")),
        "seen_harvest": (tr("Picking seen"), tr("First day of picking.")),
        "harvest_end": (tr("Picking ended"), tr("Last day of picking.")),
        "full_on": (tr("Known full"), tr("At the end of that day, as the spade showed.")),
        "dry_until": (tr("Dry until"), tr("A dry-down that is wanted: no watering, no alarm.")),
        "feed_days": (tr("Feeding days"), tr("Empty: as for the farm; none: no such days.")),
        "spray_days": (
            tr("Spraying days"),
            tr("Empty: as for the farm; none: no such days. The label and local rules come first."),
        ),
    }  # fmt: skip


def _watering() -> Rows:
    share = tr("0 to 1")
    return {
        "system": (tr("System"), ""),
        "flow_m3_h": (tr("Flow"), tr("Meter or bucket test.")),
        "flow_from": (tr("Flow from"), ""),
        "outlet_l_h": (tr("Outlet"), tr("From the catalogue.")),
        "outlets_per_tree": (tr("Outlets/tree"), ""),
        "efficiency": (tr("Reaches roots"), "", share),
        "catch_ml": (tr("Catches"), tr("Four cups or more, one figure each."), "ml"),
        "wetted_fraction": (tr("Wetted"), "", share),
        "loss_percolates": (tr("Losses down"), "", share),
        "set_hours_min": (tr("Shortest"), ""),
        "set_hours_max": (tr("Longest"), ""),
        "target_dr_mm": (tr("Week ends at"), tr("Empty: the rule of the program.")),
    }


def _soil() -> Rows:
    share, volume, laboratory = tr("0 to 1"), "m³/m³", tr("From a laboratory.")
    return {
        "soil": (tr("Soil"), ""),
        "field_capacity": (tr("Field capacity"), laboratory, volume),
        "wilting_point": (tr("Wilting point"), laboratory, volume),
        "stones": (tr("Stones"), "", share),
        "sand_pct": (tr("Sand"), laboratory),
        "clay_pct": (tr("Clay"), laboratory),
        "organic_pct": (tr("Organic"), laboratory),
        "rock_depth_m": (tr("To rock"), ""),
        "root_depth_m": (tr("Roots"), tr("Dig: where four fifths of the roots end.")),
        "root_share": (tr("Root share"), "", share),
        "p_stress": (tr("Slow down at"), "", share),
        "rain_reach": (tr("Rain reach"), "", share),
        "interception_mm": (tr("On leaves"), ""),
        "curve_number": (tr("Curve number"), tr("Empty: no runoff is counted.")),
        "slope_pct": (tr("Slope"), ""),
        "tew_mm": (tr("Top soil, all"), ""),
        "rew_mm": (tr("Top soil, easily"), ""),
    }


def _salt() -> Rows:
    laboratory = tr("From a laboratory.")
    return {
        "water_ec_ds_m": (tr("Water EC"), ""),
        "soil_ec_ds_m": (tr("Soil ECe"), laboratory),
        "salt_threshold_ds_m": (tr("Salt stood"), ""),
        "salt_loss_pct": (tr("Lost per dS/m"), ""),
        "salt_ky": (tr("Ky"), ""),
        "leaching": (tr("Leaching"), tr("Extra water that washes salt down, in rest only.")),
    }


def _canopy() -> Rows:
    return {
        "canopy_cover": (
            tr("Canopy"), tr("Shadow width over row distance, at noon."), tr("0 to 1"),
        ),
        "height_m": (tr("Height"), ""),
        "kc_factor": (tr("Kc, times"), "", "×"),
        "kc_factor_from": (tr("From"), tr("Empty: for all days.")),
        "kc_factor_before": (tr("Before"), "", "×"),
        "kc_factor_why": (tr("Why"), ""),
        "kc_fixed": (tr("Kc, fixed"), tr("In place of the stage numbers.")),
    }  # fmt: skip


def _weather() -> Rows:
    return {
        "station": (tr("Station"), ""),
        "gauge": (tr("Gauge"), tr("The gauge that stands for this block.")),
        "elevation_m": (tr("Elevation"), ""),
        "aspect_deg": (tr("Looks to"), tr("0 north, 90 east, 180 south.")),
    }


def _people() -> Rows:
    return {
        "valve": (tr("Valve"), ""),
        "valve_person": (tr("Valve person"), ""),
        "note": (tr("Note"), ""),
        "pump": (tr("Pump"), tr("Empty: the farm's first pump.")),
        "valve_order": (tr("Walk"), tr("1 is opened first.")),
        "meter": (tr("Meter"), ""),
    }


def _pipes() -> Rows:
    return {
        "pressure_group": (tr("Group"), tr("Groups do not run at once on one pump.")),
        "pressure_kpa": (tr("At the valve"), ""),
        "intake_mm_h": (tr("Takes in"), tr("Measured; else by soil and slope.")),
        "outlet_radius_m": (tr("Circle"), tr("Radius on the ground.")),
        "ground_cover": (tr("Ground"), ""),
        "outlet_exponent": (tr("Exponent"), tr("0.5 plain, near 0 compensated."), tr("0 to 1")),
        "outlet_kpa": (tr("Made for"), tr("From the catalogue.")),
        "lateral_mm": (tr("Row pipe"), ""),
        "main_mm": (tr("Main pipe"), ""),
        "main_m": (tr("Main length"), ""),
        "valve_lat": (tr("Valve lat."), ""),
        "valve_lon": (tr("Valve lon."), ""),
        "valve_elevation_m": (tr("Valve height"), ""),
    }


def _stage_words(name: str) -> KeyWords:
    what, stage = split_stage_key(name)
    unit = {"root_depth": "m"}.get(what, "")
    return KeyWords(label(name), word(f"stage.{stage}"), f"stages.{what}", "", unit)


def split_stage_key(name: str) -> tuple[str, str]:
    """Return the number and the stage of a key such as ``kcb_fill``."""
    what = next(w for w in STAGE_NUMBERS if name.startswith(f"{w}_"))
    return what, name.removeprefix(f"{what}_")


def keys_of(group: str) -> list[str]:
    """Return the settings of a group, in the order they are shown."""
    tables = {
        "planting": _planting, "cycle": _cycle, "watering": _watering, "soil": _soil,
        "salt": _salt, "canopy": _canopy, "weather": _weather, "people": _people,
        "pipes": _pipes,
    }  # fmt: skip
    if group in tables:
        return list(tables[group]())
    if group.startswith("stages."):
        what = group.removeprefix("stages.")
        return [f"{what}_{stage}" for stage in ALL_STAGES]
    return []


def choice_word(name: str, value: str) -> str:
    """Return the words of a value of a choice."""
    if name == "ground_cover":
        return tr("bare") if value == "bare" else tr("covered")
    if name == "flow_from":
        return word(f"flow.{value}")
    words = {
        "none": tr("none"), "in-rest": tr("in rest"),
        "drip": tr("drip"), "micro": tr("micro-sprinkler"), "overhead": tr("overhead sprinkler"),
        "basin": tr("basin"), "square": tr("square"), "rectangle": tr("rectangle"),
        "triangle": tr("triangle"), "contour": tr("along the contour"),
        "sand": tr("sand"), "loamy-sand": tr("loamy sand"), "sandy-loam": tr("sandy loam"),
        "loam": tr("loam"), "silt-loam": tr("silt loam"), "silt": tr("silt"),
        "sandy-clay-loam": tr("sandy clay loam"), "clay-loam": tr("clay loam"),
        "silty-clay-loam": tr("silty clay loam"), "sandy-clay": tr("sandy clay"),
        "silty-clay": tr("silty clay"), "clay": tr("clay"),
    }  # fmt: skip
    return words.get(value, value)


def value_of(block: Block, name: str) -> Any:
    """Return what a block has for a setting; None where nothing was said."""
    key = BLOCK_KEYS[name]
    if key.place == "stage":
        return block.stage_numbers.get(name)
    if key.place == "cycle":
        ordered = sorted(block.cycles, key=lambda c: c.pruned_on)
        if name == "pruned_earlier":
            return tuple(c.pruned_on for c in ordered[:-1]) or None
        return getattr(ordered[-1], name) if ordered else None
    return getattr(block, name)


def shown(name: str, value: Any) -> str:
    """Return a value as people read it; empty where nothing was said."""
    if value is None:
        return ""
    if BLOCK_KEYS[name].kind == "choice":
        return choice_word(name, value)
    if isinstance(value, tuple):
        return "; ".join(_day(d) for d in value)
    if isinstance(value, dt.date):
        return _day(value)
    if isinstance(value, float):
        return number(value, 3)
    return str(value)


def _day(day: dt.date) -> str:
    return f"{day_short(day)} {day.year}"


def named_error(error: WaterBudgetError) -> WaterBudgetError:
    """Return an error that names the setting in words instead of by its key."""
    fields = dict(error.fields)
    for field in ("key", "other_key"):
        name = fields.get(field)
        if isinstance(name, str) and name in BLOCK_KEYS:
            fields[field] = key_words(name).label
    if fields == error.fields:
        return error
    return type(error)(error.code, **fields) if _plain(error) else error


def _plain(error: WaterBudgetError) -> bool:
    return type(error).__name__ in ("Refused", "FarmFileError", "WaterBudgetError")
