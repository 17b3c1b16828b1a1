"""The other answers as rows: blocks short of water, the account, the record, reference ET."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

import numpy as np

from waterbudget import stress
from waterbudget.orchard import ALL_STAGES
from waterbudget.season import BlockSeason, Season
from waterbudget.weather import DailyRecord

DRY_AHEAD_DAYS = 7

RECORD_COLUMNS = (
    "tmax_c", "tmin_c", "rh_max", "rh_min", "ea_kpa", "u2_m_s", "rs_mj", "sun_h", "rain_mm",
    "et0_given_mm",
)  # fmt: skip

_NEED_WEATHER = (
    "et0_mm", "kcb", "ke", "ks", "etc_potential_mm", "etc_mm", "evaporation_mm",
    "transpiration_mm", "irrigation_mm", "irrigation_gross_mm", "loss_mm", "runoff_mm",
    "drainage_mm", "correction_mm", "dr_start_mm", "dr_mm", "raw_mm", "closure_mm",
)  # fmt: skip
"""Columns of the account that nothing is known of while a block has no weather."""


def dry(season: Season) -> list[dict[str, Any]]:
    """Return blocks short of water now or within the week, fruit fill first."""
    rows = []
    for b in season.blocks:
        d = b.dryness
        if d is None:
            continue
        soon = d.days_if_nothing_runs is not None and d.days_if_nothing_runs < DRY_AHEAD_DAYS
        if not (d.dry or d.days_as_planned is not None or soon):
            continue
        stage = season.stage(b)
        i = season.on_index
        values = {
            "block": b.block.name,
            "stage": stage,
            "in_fill": d.in_fill,
            "alarm": d.alarm,
            "dr_mm": float(season.account.dr_start_mm[i, b.column]),
            "allowed_mm": float(season.drivers.allowed_mm[i, b.column]),
            "dry_days_so_far": d.dry_days_so_far,
            "first_dry_day": d.first_dry_day,
            "days_if_nothing_runs": d.days_if_nothing_runs,
            "days_as_planned": d.days_as_planned,
            "on_purpose": d.allowed_dry,
            "drained_mm": d.drained_mm,
            "swing_mm": d.swing_mm,
        }
        rows.append(((d.rank, stress.order(stage), b.column), values))
    return [values for _, values in sorted(rows, key=lambda r: r[0])]


def balance_rows(
    season: Season, b: BlockSeason, start: dt.date | None = None, end: dt.date | None = None
) -> list[dict[str, Any]]:
    """Return a block's account day by day, the planned week included."""
    station = season.stations.get(b.station or "")
    gross = _gross_by_day(season, b)
    unconfirmed = {s.date for s in b.past if s.state == "not_confirmed"}
    missed = {s.date for s in b.past if s.state == "missed"}
    rows = []
    a, d, k = season.account, season.drivers, b.column
    unknown = dict.fromkeys(_NEED_WEATHER) if "weather" in b.missing else {}
    for i, day in enumerate(season.days):
        if (start is not None and day < start) or (end is not None and day > end):
            continue
        made = station.made_from[i] if station is not None else ()
        codes = [c for c in made if c in ("stand_in", "forecast")]
        codes += [b.rain_flags[day]] if day in b.rain_flags else []
        codes += ["not_confirmed"] if day in unconfirmed else []
        codes += ["missed"] if day in missed else []
        codes += ["reading"] if any(p.counted_on == day for p in b.pulled) else []
        codes += ["planned"] if i >= season.on_index else []
        codes += (
            ["dry"] if stress.short_mornings(a.dr_start_mm[i, k], season.limit_mm(k)[i]) else []
        )
        count = int(b.clock.days_from_pruning[i])
        rows.append({
            "date": day,
            "stage": ALL_STAGES[b.clock.stage[i]],
            "days_from_pruning": count if count >= 0 else None,
            "et0_mm": float(d.et0_mm[i, k]),
            "kcb": float(d.kcb[i, k] * d.factor(i, k)),
            "ke": float(a.ke[i, k]),
            "ks": float(a.ks[i, k]),
            "etc_potential_mm": float(a.etc_potential_mm[i, k]),
            "etc_mm": float(a.evaporation_mm[i, k] + a.transpiration_mm[i, k]),
            "evaporation_mm": float(a.evaporation_mm[i, k]),
            "transpiration_mm": float(a.transpiration_mm[i, k]),
            "rain_mm": float(d.rain_mm[i, k]),
            "irrigation_mm": float(d.irrigation_mm[i, k]),
            "irrigation_gross_mm": gross[i],
            "loss_mm": gross[i] - float(d.irrigation_mm[i, k]),
            "runoff_mm": float(d.runoff_mm[i, k]),
            "drainage_mm": float(a.drainage_mm[i, k]),
            "correction_mm": float(a.correction_mm[i, k]),
            "dr_start_mm": float(a.dr_start_mm[i, k]),
            "dr_mm": float(a.dr_mm[i, k]),
            "taw_mm": float(d.taw_mm[i, k]),
            "raw_mm": float(a.raw_mm[i, k]),
            "allowed_mm": float(d.allowed_mm[i, k]),
            "closure_mm": float(a.closure_mm[i, k]),
            **unknown,
            "flags": [*codes, "weather_missing"] if unknown else codes,
        })  # fmt: skip
    return rows


def _gross_by_day(season: Season, b: BlockSeason) -> list[float]:
    net = season.drivers.irrigation_mm[:, b.column]
    return [float(v) / float(share) for v, share in zip(net, b.net_share, strict=False)]


def record_rows(
    record: DailyRecord | None, start: dt.date | None = None, end: dt.date | None = None
) -> list[dict[str, Any]]:
    """Return a station's record as it is used, day by day."""
    rows: list[dict[str, Any]] = []
    for day in _days(record, start, end):
        assert record is not None
        values = record.day(day)
        row = {c: values.get(c) for c in RECORD_COLUMNS}
        rows.append({"date": day, **row, "flags": list(record.flags.get(day, ()))})
    return rows


def et0_rows(
    et: Any, record: DailyRecord, start: dt.date | None = None, end: dt.date | None = None
) -> list[dict[str, Any]]:
    """Return a station's reference ET day by day, with what each was made from."""
    rows = []
    for day in _days(record, start, end):
        i = (day - et.first).days
        numbers = {
            c: _number(getattr(et, c)[i]) for c in ("tmax_c", "tmin_c", "rs_mj", "u2_m_s", "ea_kpa")
        }
        rows.append({
            "date": day, "et0_mm": _number(et.et0_mm[i]), "made_from": list(et.made_from[i]),
            **numbers, "rain_mm": record.day(day).get("rain_mm"),
        })  # fmt: skip
    return rows


def _days(
    record: DailyRecord | None, start: dt.date | None, end: dt.date | None
) -> Iterable[dt.date]:
    if record is None:
        return
    for i in range(len(record)):
        day = record.first + dt.timedelta(days=i)
        if (start is None or day >= start) and (end is None or day <= end):
            yield day


def _number(value: Any) -> float | None:
    return None if np.isnan(value) else float(value)
