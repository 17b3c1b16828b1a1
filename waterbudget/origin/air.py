"""Origins of what the air, the trees and the sky do: et0, kc, etc, rain, stage."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from waterbudget import salinity, stage
from waterbudget.errors import Note
from waterbudget.origin.parts import Certainty, DayPart, Part, method_source, row_source
from waterbudget.plan import WEEK
from waterbudget.season import BlockSeason, Season, StationDays

MONTH_DAYS = 30
_STAND_IN = "stand_in"
_SURE = {("measured",), ("given",), ("hourly",)}

Made = tuple[list[Part], list[DayPart], list[Note]]


def stage_origin(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """By the block's own clock, or as seen."""
    cycle, name = b.cycle(season.on), season.stage(b)
    if cycle is None:
        told = Note.of("origin.never_pruned")
        return [Part("pruned_on", None, certainty="default", told=told)], [], []
    parts = [
        Part("pruned_on", cycle.cycle.pruned_on.isoformat(), certainty="given",
             told=Note.of("origin.entered")),
        Part("days_from_pruning", float((season.on - cycle.cycle.pruned_on).days), "d"),
    ]  # fmt: skip
    seen = name in cycle.seen
    began = cycle.starts.get(name)
    parts.append(
        Part("stage_since", began.isoformat() if began else None,
             certainty="given" if seen else "other",
             told=Note.of("origin.seen" if seen else "origin.by_heat"))
    )  # fmt: skip
    return parts, [], [] if seen else [Note.of("origin.not_seen")]


def et0(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """Seven days of the block's station."""
    days = _station(season, b)
    how: Certainty = "given" if b.station_how in ("own", "farm", "only") else "default"
    told = Note.of(f"origin.station.{b.station_how}")
    parts = [Part("station", b.station, certainty="missing" if b.station is None else how,
                  told=told)]  # fmt: skip
    if days is None:
        return parts, [], []
    parts.append(Part("record_to", days.record_last.isoformat() if days.record_last else None,
                      certainty="given" if days.record_last else "missing"))  # fmt: skip
    parts += _on_the_slope(season, b, days)
    if days.forecast_issued is not None:
        parts.append(Part("forecast_of", days.forecast_issued.isoformat(), certainty="other"))
    i, k = season.on_index, b.column
    lines = [
        DayPart(day, {"et0": float(season.drivers.et0_mm[i + j, k])}, days.made_from[i + j])
        for j, day in enumerate(season.week)
    ]
    sure = float(sum(made in _SURE for made in days.made_from[i : i + WEEK]))
    parts.append(Part("sure_days", sure, "d", _days_certainty(days, i)))
    return parts, lines, _weather_unsure(days, i)


def _on_the_slope(season: Season, b: BlockSeason, days: StationDays) -> list[Part]:
    """Return the station's own sum and the factor of the slope, where the farm counts it."""
    if not (season.orchard.sun_on_slope and b.block.slope_pct and b.block.aspect_deg is not None):
        return []
    week = slice(season.on_index, season.on_index + WEEK)
    flat = float(days.et0_mm[week].sum())
    here = float(season.drivers.et0_mm[week, b.column].sum())
    factor = here / flat if flat > 0 else 1.0
    return [Part("et0_flat", flat, "mm", "other"),
            Part("sun_on_slope", factor, certainty="given", told=Note.of("origin.entered_farm"),
                 source=method_source("sun_on_slope"))]  # fmt: skip


def _station(season: Season, b: BlockSeason) -> StationDays | None:
    return None if "weather" in b.missing else season.stations.get(b.station or "")


def _days_certainty(days: StationDays, i: int) -> Certainty:
    week = days.made_from[i : i + WEEK]
    if any(_STAND_IN in made for made in week):
        return "missing"
    return "given" if all(made in _SURE for made in week) else "other"


def _weather_unsure(days: StationDays, i: int) -> list[Note]:
    found = []
    spans = (("origin.coming", i, min(i + WEEK, len(days.made_from))),
             ("origin.past", max(0, i - MONTH_DAYS), i))  # fmt: skip
    for code, a, z in spans:
        counts = Counter(c for made in days.made_from[a:z] for c in made if made not in _SURE)
        for made, count in counts.most_common():
            found.append(Note.of(code, count=count, of=z - a, made=Note.of(f"made.{made}")))
    return found


def kc(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """The stage's number by canopy, climate, salt and dryness, and the wet soil."""
    i, k = season.on_index, b.column
    a, d = season.account, season.drivers
    week = slice(i, i + WEEK)
    parts = [_coefficient(season, b)]
    unsure: list[Note] = []
    parts += _kc_modifiers(season, b, unsure)
    share = float(a.ks[week, k].mean())
    parts.append(Part("ks", share, told=Note.of("origin.week_mean")))
    if b.block.kc_fixed is None:
        parts.append(Part("ke", float(a.ke[week, k].mean()), told=Note.of("origin.week_mean")))
    lines = [
        DayPart(day, {"kcb": float(d.kcb[i + j, k]) * d.factor(i + j, k),
                      "ks": float(a.ks[i + j, k]), "ke": float(a.ke[i + j, k])})
        for j, day in enumerate(season.week)
    ]  # fmt: skip
    return parts, lines, unsure


def _coefficient(season: Season, b: BlockSeason) -> Part:
    """Return the tree factor of today, or the fixed one."""
    if b.block.kc_fixed is not None:
        return Part("kc_fixed", b.block.kc_fixed, certainty="given", told=Note.of("origin.entered"))
    name, kcb = season.stage(b), float(b.numbers.kcb[season.on_index])
    own = stage.numbers(name, season.orchard.stage_numbers, b.block.stage_numbers)
    told = {"block": "origin.entered", "farm": "origin.entered_farm"}.get(own.given["kcb"])
    if told is not None:
        return Part("kcb", kcb, certainty="given", told=Note.of(told))
    source = row_source("stages", "stage", name)
    return Part("kcb", kcb, certainty="default", told=Note.of("origin.of_stage", stage=name),
                source=source)  # fmt: skip


def _kc_modifiers(season: Season, b: BlockSeason, unsure: list[Note]) -> list[Part]:
    parts: list[Part] = []
    i, block = season.on_index, b.block
    fixed = block.kc_fixed is not None
    own = block.canopy_cover is not None or any(
        f"canopy_{season.stage(b)}" in held
        for held in (block.stage_numbers, season.orchard.stage_numbers)
    )
    if not fixed and (own or season.stage(b) == "young"):
        source = None if own else row_source("canopy", "age", "young")
        parts.append(Part("canopy", float(b.numbers.cover[i]), certainty="given" if own
                          else "default", told=Note.of("origin.entered" if own
                          else "origin.default"), source=source))  # fmt: skip
    factor = season.drivers.factor(i, b.column)
    if factor != 1.0:
        parts.append(Part("kc_factor", factor, certainty="given", told=Note.of("origin.entered")))
    if season.orchard.kc_climate and not fixed:
        parts.append(Part("climate", "kc_climate", certainty="given", source=method_source(
            "climate"), told=Note.of("origin.entered_farm")))  # fmt: skip
    salt = salinity.salt_numbers(block)
    if salt.ks < 1.0:
        told = Note.of("origin.salt_measured" if salt.measured else "origin.salt_by_water",
                       ece=salt.ece)  # fmt: skip
        parts.append(Part("ks_salt", salt.ks, certainty="given" if salt.measured else "other",
                          told=told, source=method_source("salt")))  # fmt: skip
    elif salt.ece is not None and block.salt_threshold_ds_m is None:
        unsure.append(Note.of("origin.salt_off", ece=salt.ece))
    return parts


def etc(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """ET0 times Kc, day by day."""
    i, k = season.on_index, b.column
    a, d = season.account, season.drivers
    parts = [Part("et0", row["et0_mm"], "mm", number="et0"), Part("kc", row["kc"], number="kc"),
             Part("trees_take", float(a.transpiration_mm[i : i + WEEK, k].sum()), "mm"),
             Part("soil_takes", float(a.evaporation_mm[i : i + WEEK, k].sum()), "mm")]  # fmt: skip
    lines = [
        DayPart(day, {"et0": float(d.et0_mm[i + j, k]), "etc": float(a.etc_mm[i + j, k])})
        for j, day in enumerate(season.week)
    ]
    return parts, lines, []


def rain(season: Season, b: BlockSeason, row: Mapping[str, Any]) -> Made:
    """What is forecast or typed for the week, times the farm's credit."""
    i, k = season.on_index, b.column
    days = _station(season, b)
    issued = days.forecast_issued if days is not None else None
    typed = [day for day in season.week if b.rain_flags.get(day) == "rain_typed"]
    if typed:
        told, how = Note.of("origin.rain_typed", count=len(typed)), "given"
    elif issued is not None:
        told, how = Note.of("origin.rain_forecast", date=issued), "other"
    else:
        told, how = Note.of("origin.no_forecast"), "missing"
    credit = season.orchard.forecast_rain_credit
    parts = [
        Part("rain_coming", row["rain_mm"], "mm", how, told),  # type: ignore[arg-type]
        Part("credit", credit, certainty="given" if credit else "default",
             told=Note.of("origin.entered_farm" if credit else "origin.default")),
    ]  # fmt: skip
    lines = [
        DayPart(day, {"rain": float(season.drivers.rain_mm[i + j, k])})
        for j, day in enumerate(season.week) if season.drivers.rain_mm[i + j, k] > 0
    ]  # fmt: skip
    return parts, lines, rain_unsure(season, b)


def rain_unsure(season: Season, b: BlockSeason) -> list[Note]:
    """Tell of rain of the last month that is not known."""
    past = [b.rain_flags.get(day) for day in season.days[: season.on_index][-MONTH_DAYS:]]
    unknown = past.count("rain_unknown")
    return [Note.of("origin.rain_unknown", count=unknown, of=len(past))] if unknown else []
