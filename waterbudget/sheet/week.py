"""The week: one row of numbers and codes a block, its sums, and what it was made with."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from waterbudget import stress
from waterbudget.errors import Note
from waterbudget.plan import WEEK
from waterbudget.season import BlockSeason, Season, uncertainty_pct, week_band_pct
from waterbudget.season.source import block_pulses, week_notes
from waterbudget.sheet.costs import block_cost, cost_values, pulse_values, total_cost
from waterbudget.sheet.fielddays import field_days, field_flags
from waterbudget.sheet.shared import block_note, shared_notes, shared_values

MEASURED_KC_HIGH = 0.93  # guava, Petrolina: Rev. Bras. Frutic. 25(3) 2003, abstract


WEEK_COLUMNS = (
    "block", "stage", "days_from_pruning", "area_ha", "trees", "et0_mm", "kc", "etc_mm", "rain_mm",
    "rain_credited_mm", "net_mm", "gross_mm", "m3", "litres_per_tree", "hours", "hours_exact",
    "sets", "dr_start_mm", "dr_end_mm", "taw_mm", "allowed_mm", "runoff_mm", "drained_mm",
    "drained_last_week_mm", "easy_left_mm", "days_if_nothing_runs", "swing_mm", "swing_pct",
    "dr_if_not_run_mm", "flow_m3_h", "flow_from", "pump", "pulses", "cost", "given_up_mm", "limit",
    "gave", "start", "why", "flags", "field_days",
)  # fmt: skip
"""Columns of the ``week`` answer, in order."""


@dataclass(frozen=True)
class WeekRow:
    """One block's week; ``values`` holds the columns of the ``week`` answer."""

    block: BlockSeason
    values: Mapping[str, Any]


def stage_rank(season: Season, block: BlockSeason) -> tuple[int, int, int]:
    """Sort key of the week: fruit fill first, the rest in the farm's order."""
    first = 0 if season.stage(block) == "fill" else 1
    return (first, 0, block.column)


def week_rows(season: Season) -> list[WeekRow]:
    """Return the blocks of the week in the order they are shown."""
    ordered = sorted(season.blocks, key=lambda b: stage_rank(season, b))
    return [week_row(season, b) for b in ordered]


def week_row(season: Season, block: BlockSeason) -> WeekRow:
    """Return one block of the week."""
    return WeekRow(block, _week_values(season, block))


def _week_values(season: Season, b: BlockSeason) -> dict[str, Any]:
    i, k = season.on_index, b.column
    a, d = season.account, season.drivers
    week = slice(i, i + WEEK)
    if "weather" in b.missing:
        return _no_weather(season, b)
    net = float(d.irrigation_mm[week, k].sum())
    gross = net / b.efficiency
    m3 = gross * b.hectares * 10 if b.hectares else None
    et0 = float(d.et0_mm[week, k].sum())
    etc = float((a.evaporation_mm[week, k] + a.transpiration_mm[week, k]).sum())
    whole = _whole_rain(season, b)
    sets = b.plan.sets
    known = [s for s in sets if s.hours_exact is not None]
    hours_known = b.flow.m3_h is not None and b.hectares is not None
    return {
        "block": b.block.name,
        "stage": season.stage(b),
        "days_from_pruning": _day_count(season, b),
        "area_ha": b.hectares,
        "trees": b.trees,
        "et0_mm": et0,
        "kc": etc / et0 if et0 else None,
        "etc_mm": etc,
        "rain_mm": whole,
        "rain_credited_mm": float(d.rain_mm[week, k].sum()),
        "net_mm": net,
        "gross_mm": gross,
        "m3": m3,
        "litres_per_tree": m3 * 1000 / b.trees if m3 is not None and b.trees else None,
        "hours": sum(s.hours or 0.0 for s in sets) if hours_known else None,
        "hours_exact": m3 / b.flow.m3_h if m3 is not None and b.flow.m3_h else None,
        "sets": [_set(season, s) for s in sets],
        "dr_start_mm": float(a.dr_start_mm[i, k]),
        "dr_end_mm": float(a.dr_mm[i + WEEK - 1, k]),
        "taw_mm": float(d.taw_mm[i, k]),
        "allowed_mm": float(d.allowed_mm[i, k]),
        "runoff_mm": float(d.runoff_mm[week, k].sum()),
        "drained_mm": float(a.drainage_mm[week, k].sum()),
        "drained_last_week_mm": float(a.drainage_mm[max(0, i - 7) : i, k].sum()),
        "easy_left_mm": season.easy_left_mm(k),
        "days_if_nothing_runs": b.dryness.days_if_nothing_runs if b.dryness else None,
        "swing_mm": b.dryness.swing_mm if b.dryness else None,
        "swing_pct": 100 * b.dryness.swing_share if b.dryness else None,
        "dr_if_not_run_mm": b.dr_if_not_run_mm,
        "flow_m3_h": b.flow.m3_h,
        "flow_from": b.flow.source,
        "pump": season.orchard.pump_of(b.block).name or None,
        "pulses": pulse_values(season, b),
        "cost": cost_values(block_cost(season, b, m3), season.orchard.currency),
        "given_up_mm": b.given_up_mm,
        "limit": b.limit,
        "gave": block_note(season, b.block.name),
        "start": b.start,
        "why": why(season, b, net, gross, etc, len(known) or len(sets)),
        "flags": flags(season, b),
        "field_days": field_days(season, b),
    }


def _no_weather(season: Season, b: BlockSeason) -> dict[str, Any]:
    i, k = season.on_index, b.column
    return {
        **dict.fromkeys(WEEK_COLUMNS),  # the same order in every row: they make one table
        "block": b.block.name, "stage": season.stage(b),
        "days_from_pruning": _day_count(season, b), "area_ha": b.hectares, "trees": b.trees,
        "sets": [], "taw_mm": float(season.drivers.taw_mm[i, k]),
        "allowed_mm": float(season.drivers.allowed_mm[i, k]), "flow_m3_h": b.flow.m3_h,
        "flow_from": b.flow.source, "why": Note.of("why.no_weather"),
        "flags": [f"{code}_missing" for code in b.missing] + field_flags(season, b),
        "field_days": field_days(season, b),
    }  # fmt: skip


def _day_count(season: Season, b: BlockSeason) -> int | None:
    count = int(b.clock.days_from_pruning[season.on_index])
    return count if count >= 0 else None


def _whole_rain(season: Season, b: BlockSeason) -> float:
    """Rain forecast (or typed) for the week before any credit [mm]."""
    station = season.stations.get(b.station or "")
    typed = season.data.gauge_days(b.block.gauge or "farm")
    total = 0.0
    for j, day in enumerate(season.week):
        if day in typed:
            total += typed[day]
        elif station is not None:
            mm = station.rain_mm[season.on_index + j]
            total += 0.0 if np.isnan(mm) else float(mm)
    return total


def _set(season: Season, s: Any) -> dict[str, Any]:
    return {
        "date": season.on + dt.timedelta(days=s.day),
        "start": s.start,
        "hours": s.hours,
        "mm": s.mm,
        "m3": s.m3,
        "pulses": s.pulses,
        "on_min": s.on_min,
        "off_min": s.off_min,
    }


def why(season: Season, b: BlockSeason, net: float, gross: float, etc: float, count: int) -> Note:
    """Return the one sentence that explains a block's week."""
    i, k = season.on_index, b.column
    start = float(season.account.dr_start_mm[i, k])
    rain = float(season.drivers.rain_mm[i : i + WEEK, k].sum())
    fields: dict[str, Any] = {
        "stage": season.stage(b), "etc": etc, "missing": start, "rain": rain, "net": net,
        "gross": gross, "count": count, "each": net / count if count else 0.0,
        "allowed": float(season.drivers.allowed_mm[i, k]), "left": season.easy_left_mm(k),
        "past": -season.easy_left_mm(k), "until": b.block.dry_until, "less": b.given_up_mm,
    }  # fmt: skip
    if b.block.dry_until is not None and b.block.dry_until >= season.on:
        return Note("why.dry_until", fields)
    if not count:
        return Note("why.gave_all" if b.given_up_mm > 0 else "why.enough", fields)
    if b.dryness is not None and b.dryness.dry:
        return Note("why.past_limit", fields)
    if b.given_up_mm > 0:
        return Note("why.gave", fields)
    if b.plan.limit_below_day:
        return Note("why.daily", fields)
    return Note("why.even" if count > 1 else "why.one", fields)


def flags(season: Season, b: BlockSeason) -> list[str]:
    """Return the codes of what a careful reader of this block's hours must know."""
    found = [f"{code}_missing" for code in b.missing if code not in ("soil",)]
    if "soil" in b.missing:
        found.append("soil_default")
    d = b.dryness
    if d is not None:
        found += _dryness_flags(season, b)
    if b.flow.source == "catalogue":
        found.append("flow_catalogue")
    recent = [s for s in b.past if (season.on - s.date).days <= 14]
    if b.drift is not None and b.drift.verdict != "even":
        found.append(f"flow_{b.drift.verdict}")
    if any(s.state == "not_confirmed" for s in recent):
        found.append("not_confirmed")
    if not recent and b.flow.m3_h is not None:
        found.append("nothing_entered")
    farm = season.orchard
    if len(farm.stations) > 1 and b.station_how in ("nearest", "first"):
        found.append("station_nearest" if b.station_how == "nearest" else "station_assumed")
    past = [season.on - dt.timedelta(days=i) for i in range(1, 8)]
    station = season.stations.get(b.station or "")
    if station is not None and any(day in station.filled_from for day in past):
        found.append("weather_filled")
    if b.start is not None and b.start.code == "start.assumed_full":
        found.append("start_assumed")
    if b.plan.limit_below_day:
        found.append("limit_below_a_day")
    if b.plan.too_long_h > 0:
        found.append("set_too_long")
    if any(s.over for s in b.plan.sets):
        found.append("over_the_day")
    found += ["gave_water"] if b.given_up_mm > 0 else []
    found += ["pulses"] if block_pulses(season, b) is not None else []
    past_rain = [f for day, f in b.rain_flags.items() if (season.on - day).days in range(1, 15)]
    if "rain_neighbour" in past_rain:
        found.append("rain_neighbour")
    if "rain_unknown" in past_rain:
        found.append("rain_unknown")
    slope = b.block.slope_pct
    if slope is not None and slope > 5 and b.block.curve_number is None:
        found.append("runoff_not_counted")
    if b.block.root_share is None and b.block.rain_reach is None:
        found.append("rain_upper_bound")
    found += field_flags(season, b)
    found += ["factor_proposed"] if b.factor_step is not None else []
    found += _changes_since_given(season, b)
    return found


def _dryness_flags(season: Season, b: BlockSeason) -> list[str]:
    d = b.dryness
    assert d is not None
    found = []
    stage = season.stage(b)
    if d.alarm:
        found.append("dry_in_fill")
    elif d.dry and d.allowed_dry:
        found.append("dry_allowed")
    elif d.dry:
        found.append(f"dry_in_{stage}" if stage in ("bloom", "set") else "dry")
    elif d.days_as_planned is not None and not d.allowed_dry:
        found.append("dry_this_week")
    if d.drained_mm >= stress.TELL_DRAINED_MM:
        found.append("drained")
    if d.sudden:
        found.append("dry_then_wet")
    return found


def _changes_since_given(season: Season, b: BlockSeason) -> list[str]:
    if season.given is None:
        return []
    planned = {
        (season.on + dt.timedelta(days=s.day), s.hours) for s in b.plan.sets if s.hours is not None
    }
    given = {
        (s.date, s.hours) for s in season.given.sets
        if s.block_id == b.block.id and s.date >= season.on
    }  # fmt: skip
    last = season.given.last
    return ["changed_since_given"] if {p for p in planned if p[0] <= last} != given else []


def made_with(season: Season) -> dict[str, Any]:
    """Return what the week was made with: record, forecast, stand-ins, settings."""
    days = season.week
    stations = {}
    for name, s in season.stations.items():
        i = season.on_index
        codes = Counter(c for made in s.made_from[i : i + WEEK] for c in made)
        past = Counter(c for made in s.made_from[max(0, i - 7) : i] for c in made)
        rules = Counter(r for r in s.stand_in_rule[i : i + WEEK] if r)
        stations[name] = {
            "record_to": s.record_last,
            "forecast_issued": s.forecast_issued,
            "coming_days": dict(codes),
            "coming_stand_in": dict(rules),
            "last_seven_days": dict(past),
            "et0_band_pct": week_band_pct(season, name),
            "filled_days": sum(day < season.on for day in s.filled_from),
            "filled_from": _names(s.filled_from, season.on),
            "rain_from": sorted(set(s.rain_from.values())),
        }
    return {
        "on": season.on,
        "last_day": days[-1],
        "et0": season.orchard.et0,
        "stations": stations,
        "forecast_rain_credit": season.orchard.forecast_rain_credit,
        "block_stations": {b.block.name: b.station for b in season.blocks},
        "uncertainty_pct": uncertainty_pct(season),
        "given_number": season.given.number if season.given else None,
        "notes": [*season.notes, *week_notes(season), *shared_notes(season), *_use_note(season)],
    }


def _names(filled: Mapping[dt.date, tuple[str, ...]], on: dt.date) -> list[str]:
    return sorted({name for day, names in filled.items() if day < on for name in names})


def _use_note(season: Season) -> list[Note]:
    """Tell where the dual coefficient asks for more than was ever measured on guava."""
    above = {}
    week = slice(season.on_index, season.on_index + WEEK)
    for b in season.blocks:
        et0 = float(season.drivers.et0_mm[week, b.column].sum())
        a, k = season.account, b.column
        etc = float((a.evaporation_mm[week, k] + a.transpiration_mm[week, k]).sum())
        kc = etc / et0 if et0 else 0.0
        if kc > MEASURED_KC_HIGH and b.block.kc_fixed is None:
            above[b.block.name] = kc
    if not above:
        return []
    worst = max(above, key=lambda name: above[name])
    fields = {"count": len(above), "block": worst, "kc": f"{above[worst]:.2f}"}
    return [Note("week.kc_above_measured", fields)]


def totals(season: Season) -> dict[str, Any]:
    """Return the sums of the week and what each day asks of the pump."""
    found = week_rows(season)
    rows = [r.values for r in found]
    farm = season.orchard
    spent = total_cost(season, {r.block.column: r.values["m3"] for r in found})

    def add(key: str) -> float:
        return sum(r[key] for r in rows if r[key] is not None)

    return {
        "hours": add("hours"),
        "hours_exact": add("hours_exact"),
        "m3": add("m3"),
        "sets": sum(len(r["sets"]) for r in rows),
        "pump_m3_h": farm.pump_m3_h,
        "pump_hours": farm.pump_hours,
        "energy_kwh": spent.energy_kwh,
        "cost": cost_values(spent, farm.currency),
        "pumps": [
            {"pump": name or None, "hours": sum(p.hours for p in pump_days),
             "m3": sum(p.m3 for p in pump_days), "hours_by_day": [p.hours for p in pump_days]}
            for name, pump_days in season.pump_days_by_pump.items()
        ],
        "days": [
            {
                "date": day, "pump_hours": p.hours, "valves": p.valves, "m3": p.m3,
                "over_hours": p.over_hours, "over_flow_m3_h": p.over_flow_m3_h,
                "over_valves": p.over_valves, "over_m3": p.over_m3,
            }
            for day, p in zip(season.week, season.pump_days, strict=True)
        ],
    }  # fmt: skip


def week(season: Season) -> dict[str, Any]:
    """Return the whole answer of the ``week`` command."""
    return {
        "from": season.on,
        "days": list(season.week),
        "made_with": made_with(season),
        "blocks": [dict(r.values) for r in week_rows(season)],
        "totals": totals(season),
        **shared_values(season),
    }
