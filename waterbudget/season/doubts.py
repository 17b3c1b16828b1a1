"""Days to check, ranked by the millimetres they would move a block by.

A finding of an import (a :class:`Doubt`) says what came and why it was not used as it came.  How
much it matters is found by running the account of the station's blocks again, with the value as
it was read in the place of what is used, up to the morning looked at.

Where there is no value to run with, something else is tried, and the row says what (``by``):

=============  ==================================================================================
value          the value as it was read
swapped        low and high the other way round (the low came above the high)
without        the value is used as it came: the account without it
rain_5mm       5 mm of rain on the last of the days whose rain is unknown
et0_band       reference ET higher by as much as the way the days were made may be off
old            more than 400 days ago: not run, taken as 0
=============  ==================================================================================

Approximations: waterings, stages and the climate limit of the coefficients stay as they are; of a
station that feeds more than 40 blocks 40 are run, fruit fill first; a block whose rain was typed
that day does not read the station's and is not moved by it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance
from waterbudget.balance import Drivers, State
from waterbudget.et0 import ReferenceEt
from waterbudget.season.days import record_used, reference_of
from waterbudget.season.result import BlockSeason, Season, StationDays
from waterbudget.season.slope import on_slopes
from waterbudget.weather import HOURLY_NEEDS, HOURLY_SUM, DailyRecord

Values = NDArray[np.float64]
By = Literal["value", "swapped", "without", "rain_5mm", "et0_band", "old"]

LOOK_BACK_DAYS = 400
MOST_BLOCKS = 40
RAIN_TRIED_MM = 5.0
COLUMNS_AT_ONCE = 256
NO_FIGURE = ("unreadable", "reading_impossible", "incomplete")
"""Findings whose value is a cell of the file or a count, not a figure of the day."""
GAP, LATE, RAIN_GAP = "gap", "late", "rain_gap"
"""Days nobody recorded, days after the end of the record, days without rain only."""


@dataclass(frozen=True)
class Doubt:
    """One finding of an import on one day, still open.

    Attributes
    ----------
    value : str or None
        As it was read: in the unit used inside, or the cell of the file (:data:`NO_FIGURE`).
    used : float or None
        What the import took instead.
    """

    id: int
    date: dt.date
    what: str
    quantity: str | None
    value: str | None
    used: float | None


@dataclass(frozen=True)
class DayToCheck:
    """Neighbouring days with the same finding, or without weather.

    Attributes
    ----------
    dates : tuple of datetime.date
        Without a hole between them.
    ids : tuple of int
        Of the findings; empty for days that are missing.
    what : str
        Code of the finding, or ``gap``, ``late`` (the record ends before them), ``rain_gap``.
    came : tuple of Doubt
    made_from, stand_in_rule : of each day
    et0_sent, et0_used : tuple of (float or None)
        Reference ET of each day [mm] with the value as it came, and as it is used.
    rain_used : tuple of (float or None)
        Rain of the station of each day; None where it is unknown and counts 0.
    moves_mm : float
        The most it would move a block's missing water by, this way or that [mm].
    by : str
        With what that was found; see the module.
    blocks : tuple of (str, float)
        The blocks moved most, and by how much: above 0 more water would be missing.
    """

    station: str
    dates: tuple[dt.date, ...]
    ids: tuple[int, ...]
    what: str
    came: tuple[Doubt, ...]
    made_from: tuple[tuple[str, ...], ...]
    stand_in_rule: tuple[str, ...]
    filled_from: tuple[str, ...]
    et0_sent: tuple[float | None, ...]
    et0_used: tuple[float | None, ...]
    rain_used: tuple[float | None, ...]
    moves_mm: float
    by: By
    blocks: tuple[tuple[str, float], ...]

    @property
    def missing(self) -> bool:
        """Whether nothing came (so there is nothing to accept)."""
        return not self.ids


@dataclass
class _Group:
    """Days that make one row, and how the account would run otherwise."""

    dates: tuple[dt.date, ...]
    what: str
    came: tuple[Doubt, ...] = ()
    by: By = "et0_band"
    sent: dict[dt.date, float] = field(default_factory=dict)
    trials: list[_Trial] = field(default_factory=list)


@dataclass(frozen=True)
class _Trial:
    """One way the account might run: other reference ET, or other rain, on some days."""

    by: By
    et0: Mapping[int, float]
    rain: Mapping[int, float]


def days_to_check(
    season: Season, station: str, doubts: Sequence[Doubt], settled: Collection[dt.date] = ()
) -> tuple[DayToCheck, ...]:
    """Return the days of a station to look at, those that matter most first.

    Parameters
    ----------
    doubts : sequence of Doubt
        Those not accepted; findings on or after the morning looked at are left out.
    settled : collection of datetime.date
        Days with a finding the grower accepted: what they lack is known, and no gap.
    """
    days, place = season.stations[station], season.orchard.station(station)
    own = season.data.records.get(station)
    used = record_used(season.data, place, season.on)
    if own is None or used is None:
        return ()
    groups = _groups([d for d in doubts if d.date < season.on])
    groups += _missing(season, days, own, {*settled, *(d.date for d in doubts)})
    _try_values(groups, days, used, lambda record: reference_of(record, place, season.orchard))
    for group in groups:
        _try_bands(group, season, days)
    moved = _run(groups, season, station)
    rows = [_row(g, season, days, m) for g, m in zip(groups, moved, strict=True)]
    newest = season.on.toordinal()
    return tuple(
        sorted(rows, key=lambda r: (-round(r.moves_mm, 6), newest - r.dates[-1].toordinal()))
    )


def _groups(doubts: Sequence[Doubt]) -> list[_Group]:
    """Put findings of one kind on neighbouring days together."""
    by_day: dict[tuple[str, dt.date], list[Doubt]] = {}
    for doubt in doubts:
        by_day.setdefault((doubt.what, doubt.date), []).append(doubt)
    groups: list[list[tuple[dt.date, list[Doubt]]]] = []
    last: tuple[str, frozenset[str | None], dt.date] | None = None
    for what, date in sorted(by_day):
        found = by_day[what, date]
        kind = frozenset(d.quantity for d in found)
        if last is None or last != (what, kind, date - dt.timedelta(days=1)):
            groups.append([])
        groups[-1].append((date, found))
        last = (what, kind, date)
    return [
        _Group(tuple(d for d, _ in g), g[0][1][0].what, tuple(x for _, found in g for x in found))
        for g in groups
    ]


def _missing(
    season: Season, days: StationDays, own: DailyRecord, told: Collection[dt.date]
) -> list[_Group]:
    """Return the runs of past days without weather, or without rain alone."""
    start = max(own.first, days.first, season.on - dt.timedelta(days=LOOK_BACK_DAYS))
    kinds: list[tuple[dt.date, str]] = []
    for k in range((season.on - start).days):
        date = start + dt.timedelta(days=k)
        values = own.day(date)
        i = (date - days.first).days
        air = {"tmax_c", "tmin_c"} <= values.keys() or "et0_given_mm" in values
        if date > own.last:
            kinds.append((date, LATE))
        elif not air and date not in told:
            kinds.append((date, GAP))
        elif "rain_mm" not in values and np.isnan(days.rain_mm[i]) and date not in told:
            kinds.append((date, RAIN_GAP))
    groups: list[_Group] = []
    for date, kind in kinds:
        if groups and groups[-1].what == kind and (date - groups[-1].dates[-1]).days == 1:
            groups[-1].dates = (*groups[-1].dates, date)
        else:
            groups.append(_Group((date,), kind))
    return groups


def _figure(doubt: Doubt) -> float | None:
    if doubt.what in NO_FIGURE or doubt.value is None:
        return None
    try:
        return float(doubt.value)
    except ValueError:
        return None


def _instead(group: _Group) -> tuple[By, dict[tuple[dt.date, str], float]]:
    """Return what to put in the place of what is used; empty where there is no figure."""
    found: dict[tuple[dt.date, str], float] = {}
    kept = True
    for doubt in group.came:
        value = _figure(doubt)
        if value is None or doubt.quantity is None:
            continue
        kept = kept and doubt.used is not None and abs(doubt.used - value) < 1e-6
        found[doubt.date, doubt.quantity] = value
    if found and kept:
        return "without", dict.fromkeys(found, np.nan)
    if group.what == "low_above_high":
        other = {"tmax_c": "tmin_c", "tmin_c": "tmax_c"}
        return "swapped", {(d, other.get(q, q)): v for (d, q), v in found.items()}
    return "value", found


def _try_values(
    groups: Sequence[_Group], days: StationDays, used: DailyRecord,
    reference: Callable[[DailyRecord], ReferenceEt],
) -> None:  # fmt: skip
    """Work reference ET out once more for every finding, as few times as days allow."""
    layers: list[dict[tuple[dt.date, str], float]] = []
    members: list[list[tuple[_Group, By]]] = []
    for group in groups:
        by, instead = _instead(group)
        rain = {d: v for (d, q), v in instead.items() if q == "rain_mm"}
        if rain:
            at = {(d - days.first).days: 0.0 if np.isnan(v) else v for d, v in rain.items()}
            group.trials.append(_Trial(by, {}, at))
        other = {k: v for k, v in instead.items() if k[1] != "rain_mm"}
        if not other:
            continue
        dates = {d for d, _ in other}
        at_layer = next((i for i, layer in enumerate(layers)
                         if not dates & {d for d, _ in layer}), len(layers))  # fmt: skip
        if at_layer == len(layers):
            layers.append({})
            members.append([])
        layers[at_layer] |= other
        members[at_layer].append((group, by))
    for layer, inside in zip(layers, members, strict=True):
        et = reference(_with(used, layer))
        for group, by in inside:
            _set_sent(group, by, et, days)


def _with(record: DailyRecord, instead: Mapping[tuple[dt.date, str], float]) -> DailyRecord:
    """Return the days from the first to the last that change, changed."""
    dates = [d for d, _ in instead]
    first, n = min(dates), (max(dates) - min(dates)).days + 1
    at = (first - record.first).days
    values = {}
    for name, series in record.values.items():
        values[name] = np.full(n, np.nan)
        low, high = max(0, at), min(len(series), at + n)
        if high > low:
            values[name][low - at : high - at] = series[low:high]
    for (date, name), value in instead.items():
        values[name][(date - first).days] = value
        if name in ("rh_max", "rh_min", "rh_mean") and np.isfinite(value):
            values["ea_kpa"][(date - first).days] = np.nan  # the reading itself is to count
        if name in HOURLY_NEEDS:
            values[HOURLY_SUM][(date - first).days] = np.nan
    return DailyRecord(first, values)


def _set_sent(group: _Group, by: By, et: ReferenceEt, days: StationDays) -> None:
    changed = {}
    for date in group.dates:
        value = float(et.et0_mm[(date - et.first).days])
        if np.isfinite(value):
            group.sent[date] = value
            changed[(date - days.first).days] = value
    if changed:
        group.trials.append(_Trial(by, changed, {}))


def _try_bands(group: _Group, season: Season, days: StationDays) -> None:
    """Where no figure came: what the way the days are made may be off, and 5 mm of rain."""
    if group.trials:
        return
    at = [(d - days.first).days for d in group.dates]
    at = [i for i in at if 0 <= i < season.on_index]
    more = {i: float(days.et0_mm[i] * (1 + days.band_pct[i] / 100)) for i in at
            if np.isfinite(days.et0_mm[i]) and np.isfinite(days.band_pct[i])}  # fmt: skip
    if more and group.what != RAIN_GAP and not _only_rain(group):
        group.trials.append(_Trial("et0_band", more, {}))
    unknown = [i for i in at if np.isnan(days.rain_mm[i])]
    if unknown and (not group.came or _only_rain(group)):
        group.trials.append(_Trial("rain_5mm", {}, {unknown[-1]: RAIN_TRIED_MM}))


def _only_rain(group: _Group) -> bool:
    return bool(group.came) and all(d.quantity == "rain_mm" for d in group.came)


def _blocks(season: Season, station: str) -> list[BlockSeason]:
    mine = [b for b in season.blocks if b.station == station and "weather" not in b.missing]
    mine.sort(key=lambda b: season.stage(b) != "fill")
    return mine[:MOST_BLOCKS]


def _run(
    groups: Sequence[_Group], season: Season, station: str
) -> list[list[tuple[By, Values, list[BlockSeason]]]]:
    """Run every trial to the morning looked at; how far each moves the blocks [mm]."""
    blocks = _blocks(season, station)
    oldest = season.on_index - LOOK_BACK_DAYS
    todo: list[tuple[int, int, _Trial]] = []
    result: list[list[tuple[By, Values, list[BlockSeason]]]] = [[] for _ in groups]
    for g, group in enumerate(groups):
        for trial in group.trials:
            days = [*trial.et0, *trial.rain]
            if max(days) < max(oldest, 0):
                group.by = "old"
            elif blocks:
                todo.append((max(0, min(days)), g, trial))
    todo.sort(key=lambda t: (t[0], t[1]))
    at_once = max(1, COLUMNS_AT_ONCE // max(1, len(blocks)) - 1)
    for k in range(0, len(todo), at_once):
        some = todo[k : k + at_once]
        moved = _moved([t for *_, t in some], season, blocks, some[0][0])
        for (_, g, trial), mm in zip(some, moved, strict=True):
            result[g].append((trial.by, mm, blocks))
    return result


def _moved(
    trials: Sequence[_Trial], season: Season, blocks: Sequence[BlockSeason], start: int
) -> list[Values]:
    """Return the change of depletion on the last evening of each trial, shape (blocks,) each.

    The account as it is runs along from the same start, so only the change counts.
    """
    columns = np.array([b.column for b in blocks], dtype=np.int64)
    past = season.drivers.rows(slice(start, season.on_index)).columns(columns)
    copies = len(trials) + 1
    many = Drivers(**{
        f.name: np.tile(v, (1, copies) if v.ndim == 2 else copies)
        for f in fields(past) if (v := getattr(past, f.name)) is not None
    })  # fmt: skip
    et0, rain, runoff = many.et0_mm.copy(), many.rain_mm.copy(), many.runoff_mm.copy()
    for j, trial in enumerate(trials, start=1):
        own = slice(j * len(blocks), (j + 1) * len(blocks))
        for i, value in trial.et0.items():
            if i >= start:
                et0[i - start, own] = value * on_slopes(season, blocks, i)
        for i, value in trial.rain.items():
            if i < start:
                continue
            date = season.first + dt.timedelta(days=i)
            reads = [k for k, b in enumerate(blocks) if b.rain_flags.get(date) != "rain_typed"]
            here = np.array(reads, dtype=np.int64) + own.start
            rain[i - start, here] = value
            runoff[i - start, here] = _runoff(value, [blocks[k] for k in reads])
    many = replace(many, et0_mm=et0, rain_mm=rain, runoff_mm=runoff)
    account, _ = balance.run(many, _state(season, columns, start, copies))
    last = account.dr_mm[-1].reshape(copies, len(blocks))
    return [last[j] - last[0] for j in range(1, copies)]


def _runoff(rain: float, blocks: Sequence[BlockSeason]) -> Values:
    numbers = [np.nan if b.block.curve_number is None else b.block.curve_number for b in blocks]
    leaves = np.array([b.block.interception_mm or 0.0 for b in blocks])
    return balance.runoff_mm(np.maximum(rain - leaves, 0.0), np.array(numbers, dtype=float))


def _state(season: Season, columns: NDArray[np.int64], start: int, copies: int) -> State:
    """Return where the blocks stood before day ``start``, once for each copy."""
    if start == 0:
        return State.full(len(columns) * copies)
    account, drivers = season.account, season.drivers
    after_rain = []
    for k in columns:
        soaked = drivers.rain_mm[:start, k] >= balance.RAIN_WETS_ALL_MM
        wetted = np.flatnonzero(soaked | (drivers.irrigation_mm[:start, k] > 0))
        after_rain.append(bool(soaked[wetted[-1]]) if len(wetted) else True)
    return State(
        np.tile(account.dr_mm[start - 1, columns], copies),
        np.tile(account.de_mm[start - 1, columns], copies),
        np.tile(np.array(after_rain, dtype=bool), copies),
        np.tile(drivers.taw_mm[start - 1, columns], copies),
    )


def _row(
    group: _Group, season: Season, days: StationDays,
    moved: Sequence[tuple[By, Values, list[BlockSeason]]],
) -> DayToCheck:  # fmt: skip
    by, mm, blocks = group.by, np.zeros(0), []
    for trial_by, trial_mm, trial_blocks in moved:
        if not len(mm) or np.abs(trial_mm).max() > np.abs(mm).max():
            by, mm, blocks = trial_by, trial_mm, trial_blocks
    order = np.argsort(-np.abs(mm), kind="stable")[:3].tolist()
    at = [(d - days.first).days for d in group.dates]
    inside = [0 <= i < len(days.et0_mm) for i in at]

    def laid(values: Values) -> tuple[float | None, ...]:
        return tuple(
            float(values[i]) if ok and np.isfinite(values[i]) else None
            for i, ok in zip(at, inside, strict=True)
        )

    neighbours = {n for d in group.dates for n in days.filled_from.get(d, ())}
    return DayToCheck(
        station=days.name, dates=group.dates, ids=tuple(d.id for d in group.came),
        what=group.what, came=group.came,
        made_from=tuple(days.made_from[i] if ok else () for i, ok in zip(at, inside, strict=True)),
        stand_in_rule=tuple(
            days.stand_in_rule[i] if ok else "" for i, ok in zip(at, inside, strict=True)
        ),
        filled_from=tuple(sorted(neighbours)),
        et0_sent=tuple(group.sent.get(d) for d in group.dates), et0_used=laid(days.et0_mm),
        rain_used=laid(days.rain_mm), moves_mm=float(np.abs(mm).max()) if len(mm) else 0.0, by=by,
        blocks=tuple((blocks[k].block.name, float(mm[k])) for k in order),
    )  # fmt: skip
