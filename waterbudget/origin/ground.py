"""Origins of what the soil holds and misses: taw, allowed, dr_start."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from waterbudget import stage
from waterbudget.errors import Note
from waterbudget.origin.air import Made, rain_unsure
from waterbudget.origin.parts import Certainty, Part, Source, method_source, row_source
from waterbudget.season import BlockSeason, Season
from waterbudget.season.blocks import DEFAULT_SYSTEM, root_share
from waterbudget.soil import texture_known

LOOK_BACK_DAYS = 7


def taw(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """(Field capacity - wilting point) x stones x roots x share."""
    soil, block = b.soil, b.block
    certainty, told, source = _soil_known(b)
    depth = float(b.numbers.root_depth_m[season.on_index])
    share = root_share(block)
    parts = [
        Part("field_capacity", soil.field_capacity, "m3/m3", *_own(
            block.field_capacity, certainty, told, source)),
        Part("wilting_point", soil.wilting_point, "m3/m3", *_own(
            block.wilting_point, certainty, told, source)),
        Part("stones", soil.stones, "", *_entered(block.stones)),
        _roots(season, b, depth),
        Part("root_share", share, "", *_share(b)),
    ]  # fmt: skip
    unsure = [] if soil.given != "default" else [Note.of("origin.soil_default")]
    if block.root_depth_m is None and parts[3].certainty == "default":
        unsure.append(Note.of("origin.roots_default"))
    return parts, [], unsure


Known = tuple[Certainty, Note, Source | None]


def _entered(value: Any) -> Known:
    if value is None:
        return "default", Note.of("origin.default"), None
    return "given", Note.of("origin.entered"), None


def _own(value: Any, certainty: Certainty, told: Note, source: Source | None) -> Known:
    return _entered(value) if value is not None else (certainty, told, source)


def _soil_known(b: BlockSeason) -> Known:
    """Return how field capacity and wilting point are known where they were not measured."""
    if texture_known(b.block):
        told = Note.of("origin.by_texture", sand=b.block.sand_pct, clay=b.block.clay_pct)
        return "other", told, method_source("texture")
    source = row_source("soils", "soil", b.soil.name)
    if b.block.soil is not None:
        return "other", Note.of("origin.by_class"), source
    return "default", Note.of("origin.default"), source


def _share(b: BlockSeason) -> Known:
    """Return how the share of the soil with roots is known: given, else as the ground is wetted."""
    block, system = b.block, b.block.system or DEFAULT_SYSTEM
    if block.root_share is not None:
        return "given", Note.of("origin.entered"), None
    if system == "overhead":
        return "default", Note.of("origin.whole_floor"), None
    if block.wetted_fraction is not None:
        return "given", Note.of("origin.as_wetted"), None
    return "default", Note.of("origin.as_wetted"), row_source("systems", "system", system)


def _roots(season: Season, b: BlockSeason, depth: float) -> Part:
    block, name = b.block, season.stage(b)
    rock = block.rock_depth_m
    if rock is not None and depth >= rock:
        return Part("root_depth", depth, "m", "given", Note.of("origin.to_rock"))
    staged = f"root_depth_{name}"
    if block.root_depth_m is not None or staged in block.stage_numbers:
        return Part("root_depth", depth, "m", "given", Note.of("origin.entered"))
    if staged in season.orchard.stage_numbers:
        return Part("root_depth", depth, "m", "given", Note.of("origin.entered_farm"))
    return Part("root_depth", depth, "m", "default", Note.of("origin.roots_by_cycle"))


def allowed(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """The stage's share of what the roots hold."""
    name = season.stage(b)
    own = stage.numbers(name, season.orchard.stage_numbers, b.block.stage_numbers)
    given = own.given["allowed"]
    source = row_source("stages", "stage", name) if given == "default" else None
    code = {"block": "origin.entered", "farm": "origin.entered_farm"}.get(given)
    told = Note.of("origin.of_stage", stage=name) if code is None else Note.of(code)
    parts = [
        Part("taw", row["taw_mm"], "mm", number="taw"),
        Part("allowed_share", own.allowed, "", "default" if code is None else "given", told,
             source),
    ]  # fmt: skip
    return parts, [], [Note.of("origin.below_a_day")] if b.plan.limit_below_day else []


def dr_start(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """The account of the last seven days: missing then + taken - rain - watered + lost."""
    i, k = season.on_index, b.column
    a, d = season.account, season.drivers
    j = max(0, i - LOOK_BACK_DAYS)
    week = slice(j, i)
    before = float(a.dr_start_mm[j, k])
    told = Note.of("origin.on_morning", date=season.days[j])
    parts = [
        Part("missing_before", before, "mm", told=told),
        Part("took", float(a.etc_mm[week, k].sum()), "mm"),
        Part("rained", float(d.rain_mm[week, k].sum()), "mm", _rain_certainty(season, b)),
        Part("watered", float(d.irrigation_mm[week, k].sum()), "mm", _water_certainty(season, b)),
        Part("drained", float((a.drainage_mm + d.runoff_mm)[week, k].sum()), "mm"),
        Part("corrected", -float(a.correction_mm[week, k].sum()), "mm"),
        Part("taw", row["taw_mm"], "mm", number="taw"),
    ]  # fmt: skip
    return parts, [], _account_unsure(season, b)


def _rain_certainty(season: Season, b: BlockSeason) -> Certainty:
    flags = [b.rain_flags.get(day) for day in season.days[: season.on_index][-LOOK_BACK_DAYS:]]
    return "missing" if "rain_unknown" in flags else "given"


def _water_certainty(season: Season, b: BlockSeason) -> Certainty:
    recent = [s.state for s in b.past if (season.on - s.date).days <= LOOK_BACK_DAYS]
    return "other" if "not_confirmed" in recent else "given"


def _account_unsure(season: Season, b: BlockSeason) -> list[Note]:
    found = []
    if b.start is not None:
        found.append(b.start)
    recent = [s for s in b.past if (season.on - s.date).days <= 14]
    unconfirmed = sum(s.state == "not_confirmed" for s in recent)
    if unconfirmed:
        found.append(Note.of("origin.unconfirmed", count=unconfirmed))
    if not recent:
        found.append(Note.of("origin.nothing_ran"))
    if b.pulled:
        found.append(Note.of("origin.pulled", count=len(b.pulled), date=b.pulled[-1].date))
    return found + rain_unsure(season, b)
