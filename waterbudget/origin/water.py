"""Origins of what is given: net, gross, m3, hours, litres, flow, area, trees."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from waterbudget import salinity
from waterbudget import season as season_of
from waterbudget.errors import Note
from waterbudget.origin.air import Made
from waterbudget.origin.parts import Certainty, DayPart, Part, method_source, row_source
from waterbudget.plan import WEEK
from waterbudget.season import BlockSeason, Season
from waterbudget.season.blocks import DEFAULT_SYSTEM, efficiency, living, uniformity

LEAST_TOLD_MM = 0.05


def net(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Taken + missing made good - rain + lost."""
    parts = [
        Part("etc", row["etc_mm"], "mm", number="etc"),
        Part("made_good", row["made_good_mm"], "mm", number="made_good"),
        Part("rain", -row["rain_credited_mm"], "mm", number="rain"),
        Part("lost", row["lost_mm"], "mm", number="lost"),
    ]
    return parts, [], []


def made_good(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """What is missing this morning less what may be missing when the week ends."""
    own = b.block.target_dr_mm is not None
    told = Note.of("origin.target_entered" if own else "origin.target_rule")
    parts = [
        Part("dr_start", row["dr_start_mm"], "mm", number="dr_start"),
        Part("dr_end", -row["dr_end_mm"], "mm", "given" if own else "worked", told),
    ]
    return parts, [], []


def lost(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """What finds no room among the roots, and what runs off."""
    week, k = slice(season.on_index, season.on_index + WEEK), b.column
    a, d = season.account, season.drivers
    parts = [
        Part("drains", float(a.drainage_mm[week, k].sum()), "mm"),
        Part("runs_off", float(d.runoff_mm[week, k].sum()), "mm"),
        Part("corrected", -float(a.correction_mm[week, k].sum()), "mm"),
    ]
    lines = [
        DayPart(day, {"lost": float(a.drainage_mm[i, k] + d.runoff_mm[i, k])})
        for i, day in enumerate(season.week, start=season.on_index)
        if a.drainage_mm[i, k] + d.runoff_mm[i, k] >= LEAST_TOLD_MM
    ]
    return parts, lines, []


def gross(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Net over the one share that reaches the roots; less while leaching in rest."""
    block = b.block
    parts = [Part("net", row["net_mm"], "mm", number="net"), _efficiency(b)]
    salt = salinity.salt_numbers(block)
    unsure = []
    base = efficiency(block)
    if b.efficiency < base:
        parts.append(Part("leaching", 1.0 - b.efficiency / base, "", "given",
                          Note.of("origin.leaching_on"), method_source("salt")))  # fmt: skip
    elif salt.leaching is not None and not salt.workable:
        unsure.append(Note.of("origin.leaching_not_workable", ec=block.water_ec_ds_m))
    elif salt.leaching:
        unsure.append(Note.of("origin.leaching_shown", pct=100.0 * salt.leaching))
    return parts, [], unsure


def _efficiency(b: BlockSeason) -> Part:
    block, even = b.block, uniformity(b.block)
    share = efficiency(block)
    if block.efficiency is not None:
        return Part("efficiency", share, "", "given", Note.of("origin.entered"))
    system = block.system or DEFAULT_SYSTEM
    if even is not None and share < float(_system(system)["efficiency"]):
        told = Note.of("origin.by_catches", count=len(block.catches))
        return Part("efficiency", share, "", "given", told, method_source("uniformity"))
    told = Note.of("origin.of_system" if block.system else "origin.default")
    return Part("efficiency", share, "", "default", told, row_source("systems", "system", system))


def _system(name: str) -> Mapping[str, str]:
    from waterbudget import tables

    return next(r for r in tables.read("systems") if r["system"] == name)


def m3(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Gross x hectares x 10."""
    return [Part("gross", row["gross_mm"], "mm", number="gross"),
            Part("area", row["area_ha"], "ha", number="area")], [], []  # fmt: skip


def hours(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Volume over flow, in quarter hours."""
    parts = [Part("m3", row["m3"], "m3", number="m3"),
             Part("flow", row["flow_m3_h"], "m3/h", number="flow"),
             Part("hours_exact", row["hours_exact"], "h")]  # fmt: skip
    return parts, [], [Note.of("origin.spread", pct=season_of.uncertainty_pct(season, b))]


def litres(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Volume over trees."""
    return [Part("m3", row["m3"], "m3", number="m3"),
            Part("trees", row["trees"], "", number="trees")], [], []  # fmt: skip


def flow(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """As measured, else outlets times their flow."""
    block, told = b.block, Note.of(f"flow.{b.flow.source}")
    catalogue = b.flow.source == "catalogue"
    unsure = [Note.of("origin.catalogue")] if catalogue else []
    how: Certainty = "other" if catalogue else "given"
    if b.flow.m3_h is None:
        return [Part("flow_of_valve", None, "m3/h", "missing", Note.of("origin.missing"))], [], []
    if block.flow_m3_h is not None:
        return [Part("flow_of_valve", block.flow_m3_h, "m3/h", how, told)], [], unsure
    per_tree: tuple[Certainty, Note] = (
        ("given", Note.of("origin.entered")) if block.outlets_per_tree is not None
        else ("default", Note.of("origin.default"))
    )  # fmt: skip
    parts = [
        Part("outlet", block.outlet_l_h, "L/h", how, told),
        Part("outlets_per_tree", block.outlets_per_tree or 1.0, "", *per_tree),
        Part("trees", b.trees, "", number="trees"),
    ]
    return parts, [], unsure


def area(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """The outline's, else as typed."""
    if b.hectares is None:
        return [Part("hectares", None, "ha", "missing", Note.of("origin.missing"))], [], []
    code = "origin.outline" if b.block.outline is not None else "origin.entered"
    return [Part("hectares", b.hectares, "ha", "given", Note.of(code))], [], []


def trees(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Typed, else places set out less the missing, else hectares over the ground of one tree."""
    block = b.block
    if block.trees is not None:
        return [Part("counted", block.trees, "", "given", Note.of("origin.entered"))], [], []
    if b.trees is None:
        return [Part("counted", None, "", "missing", Note.of("origin.missing"))], [], []
    counts = living(block, season.data)
    if counts is not None:
        parts = [Part("places", counts.places, "", "worked", Note.of("origin.set_out"))]
        if counts.missing:
            parts.append(Part("missing_trees", -counts.missing, "", "given",
                              Note.of("origin.marked")))  # fmt: skip
        return parts, [], []
    entered = ("given", Note.of("origin.entered"))
    parts = [Part("area", b.hectares, "ha", number="area"),
             Part("spacing", block.spacing_m, "m", *entered)]  # type: ignore[arg-type]  # fmt: skip
    if block.row_spacing_m is not None:
        parts.append(Part("row_spacing", block.row_spacing_m, "m", *entered))  # type: ignore[arg-type]
    else:
        parts.append(Part("pattern", block.pattern or "square", "",
                          *(entered if block.pattern else  # type: ignore[arg-type]
                            ("default", Note.of("origin.default")))))  # fmt: skip
    return parts, [], []
