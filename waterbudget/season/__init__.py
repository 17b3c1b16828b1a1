"""The whole chain in one call: the door for a reader.

weather -> reference ET -> cycle and stage -> soil -> balance -> stress and plan -> week.

:func:`run` takes a snapshot of the farm and a day, and returns a :class:`Season` in which week,
map, sheet and balance all read the same simulated run.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance, plan, shifts, stress
from waterbudget.balance import Account, Drivers, State
from waterbudget.errors import Note, Refused
from waterbudget.orchard import Block, fold
from waterbudget.plan import WEEK, BlockLimits, BlockPlan, Choices, Source
from waterbudget.records import FARM_GAUGE, FarmData, GivenWeek, Ran, given_on
from waterbudget.season import blocks as ready
from waterbudget.season import fieldwork, metering, sensed, sharing, standing
from waterbudget.season.bands import et0_bands, uncertainty_pct, week_band_pct
from waterbudget.season.blocks import Prepared
from waterbudget.season.days import AHEAD_DAYS, recorded_et0, station_days
from waterbudget.season.doubts import DayToCheck, Doubt, days_to_check
from waterbudget.season.result import (
    BlockSeason,
    Flow,
    GaveUp,
    PastSet,
    Season,
    SharedWeek,
    StationDays,
)
from waterbudget.season.source import out_of_order, water_source
from waterbudget.season.stations import choose

__all__ = [
    "BlockSeason", "Cache", "DayToCheck", "Doubt", "Flow", "GaveUp", "PastSet", "Season",
    "SharedWeek", "StationDays", "days_to_check", "default_day",
    "et0_bands", "recorded_et0", "run", "uncertainty_pct", "week_band_pct",
]  # fmt: skip

Values = NDArray[np.float64]

LONGEST_DAYS = 4 * 366
UNCONFIRMED_DAYS, START_MATTERS_DAYS, STALE_DAYS = 14, 60, 7
"""Days looked back for waterings not confirmed, after which an unknown start no longer matters, and
after which a record that ends is told: own estimates."""


@dataclass
class Cache:
    """What one open farm may keep between runs; anything in it can be thrown away.

    Only things that depend on nothing but their key are kept, so a run with a cache equals a run
    without.
    """

    stations: dict[Any, Any] = field(default_factory=dict)
    blocks: dict[Any, Any] = field(default_factory=dict)
    ran: tuple[Any, ...] = (None, None, (), {})
    metered: dict[str, Any] = field(default_factory=dict)
    rain: dict[str, Any] = field(default_factory=dict)
    days: dict[int, Any] = field(default_factory=dict)
    shared: dict[Any, Any] = field(default_factory=dict)


def default_day(data: FarmData) -> dt.date:
    """Return the day after the last day of record.

    Raises
    ------
    Refused
        Where there is no record at all.
    """
    last = data.last_day()
    if last is None:
        raise Refused("season.no_record")
    return last + dt.timedelta(days=1)


def run(
    data: FarmData, on: dt.date | None = None, *, since: dt.date | None = None,
    cache: Cache | None = None, quick: bool = False,
) -> Season:  # fmt: skip
    """Run the season up to the week that begins on ``on``.

    Parameters
    ----------
    data : FarmData
        Everything the farm file holds; what is dated on or after ``on`` is not used.
    on : datetime.date, optional
        The morning looked at; the day after the last day of record by default.
    since : datetime.date, optional
        Begin at least that early (the default is the record's start, four years back at most).
    cache : Cache, optional
        Kept by the caller between runs on the same farm.
    quick : bool
        Where a shortage is shared, the last shared plan of the cache may stand once more, pins
        apart (``Season.provisional``); the caller runs again without it to have the solved one.

    Raises
    ------
    Refused
        ``season.no_record`` where no day can be chosen.
    """
    on = on if on is not None else default_day(data)
    cache = cache if cache is not None else Cache()
    cache.shared["quick"] = quick
    data = metering.with_meters(data, on, cache.metered)
    entries, ran = _ran(data, on, cache)
    known = replace(replace(data, ran=()).as_known_on(on), ran=entries)
    first = _first_day(known, on, since)
    n = (on - first).days + WEEK + AHEAD_DAYS
    stations = _stations(data, known, on, first, cache)
    rain = _gauges(known, cache)
    prepared = [
        _prepare(b, known, ran.get(b.id, ()), rain, stations, on, first, n, cache)
        for b in known.orchard.blocks
    ]
    return _simulate(known, on, first, stations, prepared, cache)


def _first_day(known: FarmData, on: dt.date, since: dt.date | None) -> dt.date:
    starts = [r.first for r in known.records.values()]
    if not starts:  # a lone old rain entry does not reach back where a station does
        starts = [min(d) for d in known.rain_typed.values() if d]
    starts += [b.full_on for b in known.orchard.blocks if b.full_on is not None]
    earliest = min([*starts, on])
    wanted = on - dt.timedelta(days=LONGEST_DAYS)
    if since is not None:
        wanted = min(wanted, since)
    return max(earliest, wanted)


def _stations(
    data: FarmData, known: FarmData, on: dt.date, first: dt.date, cache: Cache
) -> dict[str, tuple[StationDays, Values, Values]]:
    result = {}
    fresh: dict[Any, Any] = {}
    farm = known.orchard
    records = tuple(id(data.records.get(s.name)) for s in farm.stations)  # neighbours fill gaps
    for station in farm.stations:
        forecast = data.forecasts.get(station.name)
        key = (records, id(forecast), station, farm.stations, on, first, farm.et0,
               farm.default_wind_m_s, farm.krs, farm.lat, farm.elevation_m, farm.epsg,
               farm.neighbour_rain)  # fmt: skip
        held = cache.stations.get(key)
        if held is None:
            held = (station_days(known, station, on, first), data.records, forecast)
        fresh[key] = held
        result[station.name] = held[0]
    if len(cache.stations) > 40:
        cache.stations.clear()
    cache.stations.update(fresh)
    return result


def _ran(
    data: FarmData, on: dt.date, cache: Cache
) -> tuple[tuple[Ran, ...], dict[int, tuple[Ran, ...]]]:
    """Return what ran before ``on``: all of it, and block by block."""
    held, held_on, entries, by_block = cache.ran
    if held is not data.ran or held_on != on:
        entries = tuple(entry for entry in data.ran if entry.date < on)
        lists: dict[int, list[Ran]] = {}
        for entry in entries:
            lists.setdefault(entry.block_id, []).append(entry)
        by_block = {block: tuple(own) for block, own in lists.items()}
        cache.ran = (data.ran, on, entries, by_block)
    return entries, by_block


def _gauges(known: FarmData, cache: Cache) -> dict[str, Mapping[dt.date, float]]:
    """Return the typed rain of every gauge; the very object of the last run where it is equal."""
    for gauge, days in known.rain_typed.items():
        if cache.rain.get(fold(gauge)) != days:
            cache.rain[fold(gauge)] = dict(days)
    return {fold(gauge): cache.rain[fold(gauge)] for gauge in known.rain_typed}


def _prepare(
    block: Block, known: FarmData, ran: tuple[Ran, ...],
    rain: Mapping[str, Mapping[dt.date, float]],
    stations: dict[str, tuple[StationDays, Values, Values]],
    on: dt.date, first: dt.date, n: int, cache: Cache,
) -> Prepared:  # fmt: skip
    """Make one block ready, or take it as it was where nothing it depends on has changed."""
    choice = choose(block, known.orchard)
    station = choice.station
    days, tmax, tmin = stations[station.name] if station is not None else (None, None, None)
    typed = [rain.get(fold(gauge)) for gauge in (FARM_GAUGE, block.gauge) if gauge]
    weeks = tuple(w.number for w in known.given if w.first < on)
    readings = tuple(r for r in known.readings if r.block_id == block.id)
    marks = tuple(m for m in known.tree_marks if m.block_id == block.id)
    farm = known.orchard
    about = (block, ran, readings, typed, weeks, dict(farm.stage_numbers),
             marks, known.land_marks, farm.epsg,
             farm.forecast_rain_credit, farm.kc_climate, farm.sun_on_slope, farm.lat, choice,
             ready.nitrogen_dates(block.id, known.field_entries),
             farm.elevation_m, on, first, n)  # fmt: skip
    held = cache.blocks.get(block.id)
    if held is not None and held[1] is days and held[0] == about:
        return held[2]  # type: ignore[no-any-return]
    temperatures = (tmax, tmin) if tmax is not None and tmin is not None else None
    own = replace(known, ran=ran)
    made = ready.prepare(block, own, choice, days, temperatures, on, first, n)
    made = sensed.with_readings(made, readings, on, first, n)
    cache.blocks[block.id] = (about, days, made, {})
    return made


def _kept(prepared: Sequence[Prepared], cache: Cache) -> list[dict[str, Any]]:
    """Return for each block a place where results that depend on it alone may be kept."""
    return [cache.blocks[p.block.id][3] for p in prepared]


def _field_week(
    p: Prepared, known: FarmData, longest_h: float, on: dt.date, first: dt.date,
    held: dict[str, Any],
) -> fieldwork.FieldWeek:  # fmt: skip
    """Work out a block's field days, or take them as they were."""
    about = (*fieldwork.about(p, known), longest_h)
    if held.get("field", (None,))[0] != about:
        held["field"] = (about, fieldwork.field_week(p, known, longest_h, on, first))
    return held["field"][1]  # type: ignore[no-any-return]


def _simulate(
    known: FarmData, on: dt.date, first: dt.date,
    stations: dict[str, tuple[StationDays, Values, Values]], prepared: list[Prepared],
    cache: Cache,
) -> Season:  # fmt: skip
    i_on = (on - first).days
    kept = _kept(prepared, cache)
    if not prepared:
        return _empty(known, on, first, stations)
    everything = ready.drivers(prepared)
    state = _past(everything, prepared, kept, i_on)
    limits, work = _limits(known, on, first, prepared, kept)
    source = _source(known, on, prepared)
    week = everything.rows(slice(i_on, i_on + WEEK))
    watered = [k for k, p in enumerate(prepared) if "weather" not in p.missing]
    given = _given(known, on)
    options, picks = standing.kept_as_handed_out(
        week, state, limits, kept, watered, source,
        standing.papers(given, prepared, everything.rain_mm[:i_on], on),
        *_chosen(week, state, limits, kept, watered, source),
        cache.days,
    )  # fmt: skip
    made_week = sharing.planned(
        sharing.Situation(
            known, on, prepared, everything.rows(slice(i_on, i_on + WEEK + AHEAD_DAYS)), state,
            limits, source, options, picks, watered, given,
        ), cache.days, cache.shared,
    )  # fmt: skip
    net, plans = made_week.net_mm, made_week.plans
    coming, _ = balance.run(replace(week, irrigation_mm=net), state)
    dry, _ = balance.run(_without_water(everything.rows(slice(i_on, None))), state)
    account = _account(kept, coming, i_on)
    drivers = everything.rows(slice(0, i_on + WEEK))
    water = drivers.irrigation_mm.copy(order="K")
    water[i_on:] = net
    drivers = replace(drivers, irrigation_mm=water)
    ahead = slice(i_on, i_on + AHEAD_DAYS)
    ahead_limit = np.maximum(everything.allowed_mm[ahead], dry.etc_potential_mm[:AHEAD_DAYS])
    season = Season(
        on=on, first=first, data=known, stations={k: s[0] for k, s in stations.items()},
        blocks=(), drivers=drivers, account=account, ahead_dr_mm=dry.dr_start_mm[:AHEAD_DAYS],
        ahead_limit_mm=ahead_limit, pump_days=made_week.pump_days, given=given,
        notes=_notes(known, on, first), pump_days_by_pump=made_week.by_pump, source=source,
        coming=everything.rows(slice(i_on, i_on + AHEAD_DAYS)), morning=state,
        provisional=made_week.provisional,
        shared=made_week.shared,
    )  # fmt: skip
    if_not = _if_not_run(everything, prepared, kept, i_on, first)
    made = tuple(
        replace(
            _block(season, k, p, limits[k], plans[k], if_not[k], kept[k]),
            work=fieldwork.after_plan(
                work[k], p, limits[k], k, drivers, account, known, on, first
            ),
        )
        for k, p in enumerate(prepared)
    )  # fmt: skip
    return replace(season, blocks=made)


def _limits(
    known: FarmData, on: dt.date, first: dt.date, prepared: Sequence[Prepared],
    kept: list[dict[str, Any]],
) -> tuple[list[BlockLimits], list[fieldwork.FieldWeek]]:  # fmt: skip
    """Return what holds for every block in the week, and its field days."""
    limits = [ready.limits(p.block, known.orchard, p.clock, on, known) for p in prepared]
    work = [
        _field_week(p, known, x.longest_h, on, first, held)
        for p, x, held in zip(prepared, limits, kept, strict=True)
    ]
    both = zip(limits, work, strict=True)
    return [fieldwork.with_field_days(x, w, on) for x, w in both], work


def _chosen(
    week: Drivers, state: State, limits: list[BlockLimits], kept: list[dict[str, Any]],
    watered: list[int], source: Source,
) -> tuple[list[Choices], list[int]]:  # fmt: skip
    """Choose the days of every block: first as if nothing were pinned, then the pinned ones.

    A pin moves only its own block, and of that block no more than the pin asks for.
    """
    free = [replace(x, pins={}, pin_starts={}) if x.pins else x for x in limits]

    def held(k: int, name: str, key: Any, keep: Any) -> Choices:
        found = kept[k].get(name)
        if found is None or found[0] != key:
            found = (key, plan.choices(week, state, key[0], k, keep))
            kept[k][name] = found
        return found[1]  # type: ignore[no-any-return]

    options = [held(k, "choices", (free[k],), None) for k in range(len(limits))]
    picks = [0] * len(limits)
    chosen = plan.choose([options[k] for k in watered], [free[k] for k in watered], source)
    for k, pick in zip(watered, chosen, strict=True):
        picks[k] = pick
    pinned = [k for k in watered if limits[k].pins]
    if not pinned:
        return options, picks
    for k in pinned:
        mask = options[k].masks[picks[k]]
        options[k] = held(k, "pinned", (limits[k], mask.tobytes()), mask)
    standing.choose_beside(pinned, watered, limits, source, options, picks)
    return options, picks


def _past(
    everything: Drivers, prepared: Sequence[Prepared], kept: list[dict[str, Any]], i_on: int
) -> State:
    """Run the past of the blocks that changed; the others are as they were."""
    todo = [k for k, held in enumerate(kept) if "past" not in held]
    if todo:
        some = everything.columns(np.array(todo)).rows(slice(0, i_on))
        account, state = balance.run(some, State.full(len(todo)))
        for j, k in enumerate(todo):
            sensed.put_right(prepared[k], account, state, j)
            kept[k]["past"] = (_column(account, j), _state_column(state, j))
    return State(*(np.array([held["past"][1][j] for held in kept]) for j in range(4)))


def _column(account: Account, j: int) -> dict[str, Values]:
    return {f: getattr(account, f)[:, j].copy() for f in Account.__dataclass_fields__}


def _state_column(state: State, j: int) -> tuple[float, float, bool, float]:
    return (state.dr_mm[j], state.de_mm[j], bool(state.after_rain[j]), state.taw_mm[j])


def _account(kept: list[dict[str, Any]], coming: Account, i_on: int) -> Account:
    """Lay the past of every block and the coming week into one account."""
    whole = {}
    for name in Account.__dataclass_fields__:
        days = np.empty((len(kept), i_on + len(coming.dr_mm)))  # a block's days side by side
        for k, held in enumerate(kept):
            days[k, :i_on] = held["past"][0][name]
        days[:, i_on:] = getattr(coming, name).T
        whole[name] = days.T
    return Account(**whole)


def _without_water(drivers: Drivers) -> Drivers:
    return replace(drivers, irrigation_mm=np.zeros_like(drivers.irrigation_mm))


def _source(known: FarmData, on: dt.date, prepared: Sequence[Prepared] = ()) -> Source:
    return water_source(known, on, [p.past for p in prepared])


def _given(known: FarmData, on: dt.date) -> GivenWeek | None:
    """Return the last week handed out that still covers ``on``."""
    return given_on(known.given, on)


def _if_not_run(
    everything: Drivers, prepared: list[Prepared], kept: list[dict[str, Any]], i_on: int,
    first: dt.date,
) -> list[float | None]:  # fmt: skip
    """Depletion this morning had the unconfirmed waterings of the last two weeks not run."""
    todo = [k for k, held in enumerate(kept) if "if_not" not in held]
    columns, water = [], []
    edge = max(0, i_on - UNCONFIRMED_DAYS)
    for k in todo:
        p = prepared[k]
        kept[k]["if_not"] = None
        own = everything.irrigation_mm[:i_on, k].copy()
        for s in p.past:
            i = (s.date - first).days
            if s.state == "not_confirmed" and edge <= i < i_on:
                own[i] = max(0.0, own[i] - (s.gross_mm or 0.0) * p.net_share[i])
                kept[k]["if_not"] = 0.0
        if kept[k]["if_not"] is not None:
            columns.append(k)
            water.append(own)
    if columns:
        some = everything.columns(np.array(columns)).rows(slice(0, i_on))
        some = replace(some, irrigation_mm=np.stack(water, axis=1))
        _, state = balance.run(some, State.full(len(columns)))
        for j, k in enumerate(columns):
            sensed.put_right(prepared[k], None, state, j)
            kept[k]["if_not"] = float(state.dr_mm[j])
    return [held["if_not"] for held in kept]


def _block(
    season: Season, k: int, p: Prepared, limits: Any, block_plan: BlockPlan, if_not: float | None,
    kept: dict[str, Any],
) -> BlockSeason:  # fmt: skip
    known_weather = "weather" not in p.missing
    result = BlockSeason(
        block=p.block, column=k, missing=p.missing, station=p.station, station_how=p.station_how,
        clock=p.clock, numbers=p.numbers, soil=p.soil, flow=p.flow, hectares=p.hectares,
        trees=p.trees, efficiency=p.efficiency, net_share=p.net_share, limits=limits, past=p.past,
        rain_flags=p.rain_flags, plan=block_plan if known_weather else replace(block_plan, sets=()),
        dryness=None, dr_if_not_run_mm=if_not, start=_start(season, k, p),
    )  # fmt: skip
    if not known_weather:
        return replace(result, readings=p.readings)
    a, d = season.account, season.drivers
    if p.readings:
        pulled = sensed.pulled(p, k, season)
        step = sensed.proposed(p.block, pulled, season.on)
        result = replace(result, readings=p.readings, pulled=pulled, factor_step=step)
    planned = d.irrigation_mm[season.on_index :, k].tobytes()
    if kept.get("dryness", (None,))[0] == planned:
        return replace(result, dryness=kept["dryness"][1])
    dryness = stress.judge(
        on_index=season.on_index, first=season.first, stage=p.clock.stage,
        dr_start_mm=a.dr_start_mm[:, k], dr_mm=a.dr_mm[:, k], limit_mm=season.limit_mm(k),
        taw_mm=d.taw_mm[:, k], drainage_mm=a.drainage_mm[:, k],
        water_mm=d.rain_mm[:, k] + d.irrigation_mm[:, k], correction_mm=a.correction_mm[:, k],
        dr_dry_mm=season.ahead_dr_mm[:, k], limit_ahead_mm=season.ahead_limit_mm[:, k],
        dry_until=p.block.dry_until,
    )  # fmt: skip
    kept["dryness"] = (planned, dryness)
    return replace(result, dryness=dryness)


def _start(season: Season, k: int, p: Prepared) -> Note | None:
    """Say how the starting depletion came about, until something known has replaced it."""
    i_on = season.on_index
    full_on = p.block.full_on
    if full_on is not None and season.first <= full_on < season.on:
        return Note.of("start.known_full", date=full_on)
    start = season.first
    if p.block.planted_on is not None and start < p.block.planted_on < season.on:
        start = p.block.planted_on
    since = (start - season.first).days
    if i_on - since >= START_MATTERS_DAYS:
        return None
    rain, d = season.drivers.rain_mm[since:i_on, k], season.drivers
    beside = np.maximum(rain - d.interception_mm[k], 0.0) * (1.0 - d.rain_reach[k])
    soaked = (rain > 0) & (season.account.drainage_mm[since:i_on, k] > beside + 1e-6)
    if soaked.any():
        return None
    return Note.of("start.assumed_full", date=start)


def _notes(known: FarmData, on: dt.date, first: dt.date) -> tuple[Note, ...]:
    notes = []
    last = known.last_day()
    if last is None:
        notes.append(Note.of("season.no_record_yet"))
    elif (on - last).days > STALE_DAYS:
        notes.append(Note.of("season.record_old", last=last, days=(on - last).days - 1))
    return (*notes, *out_of_order(known, on))


def _empty(
    known: FarmData, on: dt.date, first: dt.date,
    stations: dict[str, tuple[StationDays, Values, Values]],
) -> Season:  # fmt: skip
    n = (on - first).days + WEEK
    names = Drivers.__dataclass_fields__
    daily = {"full"} | {f for f in names if f.endswith("_mm") or f in ("kcb", "kc_max")}
    daily |= {"few_water", "few_rain"}
    daily -= {"tew_mm", "rew_mm", "interception_mm"}
    shapes: dict[str, Any] = {
        f: np.zeros((n, 0)) if f in daily else np.zeros(0)
        for f in names
        if not f.startswith("read_")
    }
    empty = Drivers(**shapes)
    nothing = np.zeros((AHEAD_DAYS, 0))
    source = _source(known, on)
    _, pump_days, by_pump = shifts.timetable([], [], source)
    return Season(
        on=on, first=first, data=known, stations={k: s[0] for k, s in stations.items()},
        blocks=(), drivers=empty, account=Account.empty(n, 0), ahead_dr_mm=nothing,
        ahead_limit_mm=nothing, pump_days=pump_days, given=_given(known, on),
        notes=_notes(known, on, first), pump_days_by_pump=by_pump, source=source,
    )  # fmt: skip
