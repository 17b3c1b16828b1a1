"""Where the numbers of a block come from, each with its certainty and the settings behind it.

Grammar of certainty: ``given`` (solid), ``other`` (hatched: from another source), ``default``
(open), ``missing`` (dots).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from desktop.models.keys import choice_word
from desktop.wording import day_short, fixed, number, tr, word

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

MONTH_DAYS = 30

KEYS_OF: dict[str, tuple[str, ...]] = {
    "area": ("area_ha",),
    "soil": (
        "soil",
        "stones",
        "field_capacity",
        "wilting_point",
        "sand_pct",
        "clay_pct",
        "organic_pct",
    ),
    "roots": ("root_depth_m", "rock_depth_m", "root_share"),
    "flow": ("flow_m3_h", "flow_from", "outlet_l_h", "outlets_per_tree"),
    "trees": ("trees", "pattern", "spacing_m", "row_spacing_m"),
    "canopy": ("canopy_cover", "height_m"),
    "efficiency": ("system", "efficiency", "catch_ml", "loss_percolates", "wetted_fraction"),
    "use": (
        "kc_factor",
        "kc_factor_from",
        "kc_factor_before",
        "kc_factor_why",
        "kc_fixed",
        "p_stress",
    ),
    "rain": ("gauge", "rain_reach", "interception_mm", "curve_number", "slope_pct"),
    "weather": ("station", "elevation_m"),
    "sets": ("set_hours_min", "set_hours_max", "target_dr_mm"),
    "valve": ("valve", "valve_person", "note"),
    "known_full": ("full_on", "dry_until"),
}
"""The settings a source's edit form offers; stage numbers are added where they belong."""

STAGE_KEYS_OF = {
    "use": ("kcb", "allowed"), "roots": ("root_depth",), "canopy": ("canopy",),
}  # fmt: skip


def source_title(key: str) -> str:
    """Return what the settings behind a source are called."""
    return {
        "area": tr("Hectares"), "soil": tr("Soil"), "roots": tr("Roots"), "flow": tr("Flow"),
        "trees": tr("Trees"), "canopy": tr("Canopy"), "efficiency": tr("System"),
        "use": tr("Use"), "rain": tr("Rain"), "weather": tr("Weather"),
        "sets": tr("Limits of a watering"), "valve": tr("Valve"),
        "known_full": tr("Known full, or kept dry"),
    }.get(key, tr("Settings"))  # fmt: skip


@dataclass(frozen=True)
class Source:
    """One line of "where the numbers come from".

    Attributes
    ----------
    key : str
        Of :data:`KEYS_OF`.
    mark : str
        ``given``, ``other``, ``default`` or ``missing``.
    note : str
        How it is known; the link that opens the settings.
    """

    key: str
    mark: str
    label: str
    value: str
    note: str


def keys_for(key: str, stage: str) -> tuple[str, ...]:
    """Return the settings behind a source, those of the stage included."""
    of_stage = tuple(f"{what}_{stage}" for what in STAGE_KEYS_OF.get(key, ()))
    return (*KEYS_OF[key], *of_stage)


def sources(season: Season, block: BlockSeason) -> list[Source]:
    """Return the sources of a block, in the water's order."""
    return [
        _soil(season, block), _roots(season, block), _flow(block), _efficiency(block),
        _canopy(season, block), _use(season, block), _area(block), _trees(block),
        _weather(season, block), _rain(season, block),
    ]  # fmt: skip


def _default(given: bool) -> tuple[str, str]:
    return ("given", tr("as entered")) if given else ("default", tr("default, not measured"))


def _soil(season: Season, block: BlockSeason) -> Source:
    soil = block.soil
    taw = float(season.drivers.taw_mm[season.on_index, block.column])
    value = choice_word("soil", soil.name)
    if soil.stones:
        value = tr("{0}, {1} % stones").format(value, number(soil.stones * 100, 0))
    value = tr("{0}: {1} mm").format(value, number(taw))
    marks = {
        "measured": ("given", tr("measured")),
        "by class": ("other", tr("by feel, figures of a table")),
        "by texture": ("other", tr("worked out from sand and clay")),
    }
    mark, note = marks.get(soil.given, ("default", tr("default, not measured")))
    return Source("soil", mark, tr("Soil"), value, note)


def _roots(season: Season, block: BlockSeason) -> Source:
    depth = float(block.numbers.root_depth_m[season.on_index])
    mark, note = _default(block.block.root_depth_m is not None)
    share = root_share(season, block)
    value = tr("{0} m, in {1} % of the soil").format(number(depth, 2), number(share * 100, 0))
    return Source("roots", mark, tr("Roots"), value, note)


def root_share(season: Season, block: BlockSeason) -> float:
    """Return the share of the soil the roots drink from, as it was used."""
    soil, i = block.soil, season.on_index
    held = 1000.0 * (soil.field_capacity - soil.wilting_point) * (1.0 - soil.stones)
    depth = float(block.numbers.root_depth_m[i])
    taw = float(season.drivers.taw_mm[i, block.column])
    return taw / (held * depth) if held * depth > 0 else 1.0


def _flow(block: BlockSeason) -> Source:
    flow = block.flow
    if flow.m3_h is None:
        return Source("flow", "missing", tr("Flow"), tr("missing: mm and m³ only"),
                      tr("enter meter or bucket test"))  # fmt: skip
    mark = "other" if flow.source == "catalogue" else "given"
    value = tr("{0} m³/h").format(number(flow.m3_h, 2))
    return Source("flow", mark, tr("Flow"), value, word(f"flow.{flow.source}"))


def _efficiency(block: BlockSeason) -> Source:
    mark, note = _default(block.block.efficiency is not None)
    system = block.block.system
    value = tr("{0} % reaches the roots").format(number(block.efficiency * 100, 0))
    if block.block.efficiency is None and system is not None:
        note = tr("default for {0}").format(choice_word("system", system))
    return Source("efficiency", mark, tr("System"), value, note)


def _canopy(season: Season, block: BlockSeason) -> Source:
    cover = float(block.numbers.cover[season.on_index])
    own = block.block.canopy_cover is not None
    stage = season.stage(block)
    own = own or f"canopy_{stage}" in {**season.orchard.stage_numbers, **block.block.stage_numbers}
    mark, note = _default(own)
    value = tr("{0} % shadow at noon").format(number(cover * 100, 0))
    return Source("canopy", mark, tr("Canopy"), value, note)


def _use(season: Season, block: BlockSeason) -> Source:
    i, k = season.on_index, block.column
    if block.block.kc_fixed is not None:
        return Source(
            "use",
            "given",
            tr("Use"),
            tr("Kc {0}").format(number(block.block.kc_fixed, 2)),
            tr("one fixed coefficient"),
        )
    stage = season.stage(block)
    own = f"kcb_{stage}" in {**season.orchard.stage_numbers, **block.block.stage_numbers}
    mark, note = _default(own)
    value = tr("Kcb {0}").format(fixed(float(season.drivers.kcb[i, k]), 2))
    return Source("use", mark, tr("Use"), value, note if own else tr("default of the stage"))


def _area(block: BlockSeason) -> Source:
    if block.hectares is None:
        return Source(
            "area", "missing", tr("Hectares"), tr("missing: mm only"), tr("type hectares")
        )
    note = tr("from the outline") if block.block.outline is not None else tr("typed")
    value = tr("{0} ha").format(number(block.hectares, 2))
    return Source("area", "given", tr("Hectares"), value, note)


def _trees(block: BlockSeason) -> Source:
    if block.trees is None:
        return Source("trees", "missing", tr("Trees"), tr("not known"), tr("count or spacing"))
    own = block.block.trees is not None
    note = tr("as entered") if own else tr("from the spacing")
    return Source("trees", "given" if own else "other", tr("Trees"), str(block.trees), note)


def _weather(season: Season, block: BlockSeason) -> Source:
    days = season.stations.get(block.station or "")
    if days is None or "weather" in block.missing:
        return Source("weather", "missing", tr("Weather"), tr("no record"), tr("choose a station"))
    i = season.on_index
    month = days.made_from[max(0, i - MONTH_DAYS) : i]
    stood = [n for n, made in enumerate(month) if "stand_in" in made]
    other = [n for n, made in enumerate(month) if made not in (("measured",), ("given",))]
    first = season.on - dt.timedelta(days=len(month))
    if stood:
        value = tr("{0} of {1} days stood in").format(len(stood), len(month))
        note = tr("{0}: {1}").format(days.name, days_text(first, stood))
        return Source("weather", "missing", tr("Weather"), value, note)
    if other:
        value = tr("{0} of {1} days made another way").format(len(other), len(month))
        return Source("weather", "other", tr("Weather"), value, days.name)
    return Source("weather", "given", tr("Weather"), tr("{0} days measured").format(len(month)),
                  days.name)  # fmt: skip


def days_text(first: dt.date, days: Iterable[int]) -> str:
    """Return a few days as text: "27 Jun, 12 Jul, …"."""
    found = list(days)
    words = ", ".join(day_short(first + dt.timedelta(days=n)) for n in found[:3])
    return words + (" …" if len(found) > 3 else "")


def _rain(season: Season, block: BlockSeason) -> Source:
    month = [season.on - dt.timedelta(days=n) for n in range(1, MONTH_DAYS + 1)]
    flags = [block.rain_flags.get(day) for day in month]
    unknown, typed = flags.count("rain_unknown"), flags.count("rain_typed")
    gauge = block.block.gauge
    if unknown:
        return Source("rain", "missing", tr("Rain"),
                      tr("{0} of {1} days unknown, counted 0").format(unknown, MONTH_DAYS),
                      gauge or tr("no gauge of its own"))  # fmt: skip
    if typed:
        value = tr("{0} of {1} days typed").format(typed, MONTH_DAYS)
        return Source("rain", "given", tr("Rain"), value, gauge or tr("the farm's gauge"))
    mark = "other" if gauge else "given"
    return Source(
        "rain", mark, tr("Rain"), tr("from the station"), gauge or tr("no gauge of its own")
    )
