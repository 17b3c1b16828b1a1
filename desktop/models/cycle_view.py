"""One block's cycle laid out for drawing: days, water left, bars, stages.  No Qt, no words.

Everything is read out of a :class:`~waterbudget.season.Season`; nothing is worked out here but
what a drawing needs (water left = what the roots can hold less what is missing).

Days count from the first day of the cycle; day ``i`` runs from its morning ``i`` to the next
morning ``i + 1``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.cycle import CycleDates
from waterbudget.fieldwork import block_jobs
from waterbudget.orchard import ALL_STAGES
from waterbudget.outlook import Spread
from waterbudget.stress import short_mornings

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

Values = NDArray[np.float64]
Marks = NDArray[np.bool_]

MARGIN_DAYS = 12
"""Days shown past the last stage, or past today."""
BEFORE_DAYS = 35
"""Days before today that are always shown."""
YOUNG_DAYS = 365
"""Days shown of a block that was never pruned."""


@dataclass(frozen=True)
class Watering:
    """One watering as a bar.

    Attributes
    ----------
    mm : depth at the roots [mm]; of one that did not run, what was planned (NaN: not known)
    state : ``ran``, ``missed``, ``not_confirmed``, ``planned`` or ``pinned``
    """

    day: int
    mm: float
    state: str
    hours: float | None = None


@dataclass(frozen=True)
class Span:
    """A stage from day ``first`` to before ``end``; ``seen``: its first day is no estimate."""

    stage: str
    first: int
    end: int
    seen: bool


@dataclass(frozen=True)
class Seen:
    """A stage the grower saw begin, and the day the clock alone gives it."""

    stage: str
    day: int
    clock: int | None


@dataclass(frozen=True)
class ReadMark:
    """What was read of the soil on a morning, as water left.

    Attributes
    ----------
    left_mm : water left as read [mm]
    was_mm : water left by the model before [mm]; NaN where the reading does not count
    at_least : less may be left than that
    """

    day: int
    left_mm: float
    counts: bool
    was_mm: float = float("nan")
    at_least: bool = False


@dataclass(frozen=True)
class WorkMark:
    """A feeding or spraying: its day, kind and state (see :class:`waterbudget.fieldwork.Job`)."""

    day: int
    kind: str
    state: str


@dataclass(frozen=True)
class CycleView:
    """What the charts draw.

    Attributes
    ----------
    first : datetime.date
        Day 0.
    today : int
        The morning looked at, as a day; may lie outside 0..days.
    taw, limit, slow : ndarray, shape (days,)
        Water the roots can hold; depletion at the limit; depletion at which the trees slow down
        [mm].  NaN where nothing is known.
    morning, watered, evening : ndarray, shape (days,)
        Water left in the morning, after the day's water, and at the day's end [mm].
    past : ndarray of bool
        Mornings past the limit.
    allowed_dry : ndarray of bool
        Mornings past the limit in rest, or in a dry-down the grower wants.
    rain, rain_whole : ndarray
        As counted, and as forecast before any credit [mm].
    rain_unknown, stood_in : ndarray of bool
        Days whose rain nobody knows, and whose weather is missing.
    low, high : ndarray
        Evening edges of the uncertainty of the days planned [mm left]; NaN elsewhere.
    """

    block: str
    first: dt.date
    today: int
    pruned: int | None
    taw: Values
    limit: Values
    slow: Values
    morning: Values
    watered: Values
    evening: Values
    past: Marks
    allowed_dry: Marks
    rain: Values
    rain_whole: Values
    rain_unknown: Marks
    stood_in: Marks
    waterings: tuple[Watering, ...]
    spans: tuple[Span, ...]
    seen: tuple[Seen, ...]
    read: tuple[ReadMark, ...] = ()
    work: tuple[WorkMark, ...] = ()
    low_morning: Values = field(default_factory=lambda: np.empty(0))
    low_evening: Values = field(default_factory=lambda: np.empty(0))
    high_morning: Values = field(default_factory=lambda: np.empty(0))
    high_evening: Values = field(default_factory=lambda: np.empty(0))
    high_watered: Values = field(default_factory=lambda: np.empty(0))

    def __len__(self) -> int:
        return len(self.taw)

    @property
    def days(self) -> int:
        """Number of days laid out."""
        return len(self.taw)

    def date(self, day: int) -> dt.date:
        """Return the date of a day."""
        return self.first + dt.timedelta(days=day)

    def day(self, date: dt.date) -> int:
        """Return the day of a date."""
        return (date - self.first).days

    @property
    def highest_mm(self) -> float:
        """Most water the roots can hold on any day shown [mm]."""
        return float(np.nanmax(self.taw)) if np.isfinite(self.taw).any() else 1.0

    def has_water(self) -> bool:
        """Tell whether there is a balance to draw."""
        return bool(np.isfinite(self.morning).any())


def cycle_view(
    season: Season, block: BlockSeason, *, back: int = 0, spread: Spread | None = None
) -> CycleView:
    """Lay out the cycle a block is in, or an earlier one.

    Parameters
    ----------
    back : int
        How many cycles back; 0 is the present one.
    spread : Spread, optional
        Edges of the planned days.
    """
    cycle, following = _cycle(season, block, back)
    first, end = _range(season, block, cycle, following)
    n = (end - first).days
    at = (first - season.first).days
    numbers = _numbers(season, block, at, n)
    today = (season.on - first).days
    view = CycleView(
        block=block.block.name, first=first, today=today,
        pruned=(cycle.cycle.pruned_on - first).days if cycle is not None else None,
        waterings=_waterings(season, block, first, n), spans=_spans(season, block, cycle, at, n),
        seen=_seen(cycle, first), read=_read(season, block, first, n),
        work=_work(season, block, first, n), **numbers,
    )  # fmt: skip
    return _with_spread(view, spread) if spread is not None and back == 0 else view


def _cycle(
    season: Season, block: BlockSeason, back: int
) -> tuple[CycleDates | None, CycleDates | None]:
    known = [c for c in block.clock.cycles if c.cycle.pruned_on <= season.on]
    if not known:
        return None, None
    at = max(0, len(known) - 1 - back)
    return known[at], known[at + 1] if at + 1 < len(known) else None


def _range(
    season: Season, block: BlockSeason, cycle: CycleDates | None, following: CycleDates | None
) -> tuple[dt.date, dt.date]:
    if cycle is None:
        first = max(season.first, season.on - dt.timedelta(days=YOUNG_DAYS))
        return first, season.on + dt.timedelta(days=MARGIN_DAYS)
    first = max(season.first, cycle.cycle.pruned_on)
    if following is None:  # a cycle just begun: the end of the one before is shown too
        first = max(season.first, min(first, season.on - dt.timedelta(days=BEFORE_DAYS)))
    if following is not None:
        return first, max(following.cycle.pruned_on, first + dt.timedelta(days=2))
    ends = [season.on + dt.timedelta(days=MARGIN_DAYS)]
    rest = cycle.starts.get("rest")
    if rest is not None:
        ends.append(rest + dt.timedelta(days=MARGIN_DAYS))
    elif cycle.starts:
        ends.append(max(cycle.starts.values()) + dt.timedelta(days=MARGIN_DAYS))
    last = season.first + dt.timedelta(days=len(block.clock.stage))
    return first, min(max(ends), last)


def _lay(values: Values, at: int, n: int) -> Values:
    """Return ``n`` values from row ``at``; NaN outside the rows."""
    out = np.full(n, np.nan)
    low, high = max(0, at), min(len(values), at + n)
    if high > low:
        out[low - at : high - at] = values[low:high]
    return out


def _numbers(season: Season, block: BlockSeason, at: int, n: int) -> Mapping[str, Any]:
    k, a, d = block.column, season.account, season.drivers
    if "weather" in block.missing:
        nothing = np.full(n, np.nan)
        names = ("taw", "limit", "slow", "morning", "watered", "evening", "rain", "rain_whole")
        marks = ("past", "allowed_dry", "rain_unknown", "stood_in")
        return {**dict.fromkeys(names, nothing), **{x: np.zeros(n, bool) for x in marks}}
    taw, dr_end = _lay(d.taw_mm[:, k], at, n), _lay(a.dr_mm[:, k], at, n)
    limit = _lay(season.limit_mm(k), at, n)
    start = _lay(a.dr_start_mm[:, k], at, n)
    used = _lay((a.evaporation_mm + a.transpiration_mm)[:, k], at, n)
    full = _lay(d.full[:, k].astype(float), at, n) > 0
    evening = taw - dr_end
    morning = np.clip(taw - start, 0.0, taw)
    watered = np.clip(np.where(full, morning, evening + used), morning, taw)
    for date in {p.date for p in block.pulled if p.counted_on == p.date}:  # may fall at once
        i = (date - season.first).days - at
        if 0 <= i < n and not full[i]:
            watered[i] = evening[i] + used[i]
    past = np.nan_to_num(short_mornings(start, limit)).astype(bool)
    return {
        "taw": _ahead_too(season, taw, at), "limit": _limit_ahead(season, k, limit, at),
        "slow": _lay(a.raw_mm[:, k], at, n), "morning": morning, "watered": watered,
        "evening": evening, "past": past, "allowed_dry": _allowed_dry(season, block, past, at, n),
        **_rain(season, block, at, n),
    }  # fmt: skip


def _ahead_too(season: Season, taw: Values, at: int) -> Values:
    """Carry the last known held water over the days past the plan that have a limit."""
    known = np.flatnonzero(np.isfinite(taw))
    if len(known):
        last = int(known[-1])
        end = season.on_index - at + len(season.ahead_limit_mm)
        taw[last + 1 : max(last + 1, end)] = taw[last]
    return taw


def _limit_ahead(season: Season, column: int, limit: Values, at: int) -> Values:
    ahead = season.ahead_limit_mm[:, column]
    begin = season.on_index - at
    for j, value in enumerate(ahead):
        if 0 <= begin + j < len(limit) and np.isnan(limit[begin + j]):
            limit[begin + j] = value
    return limit


def _allowed_dry(season: Season, block: BlockSeason, past: Marks, at: int, n: int) -> Marks:
    rest = ALL_STAGES.index("rest")
    out = past & (_lay(block.clock.stage.astype(float), at, n) == rest)
    until = block.block.dry_until
    if until is not None:
        last = (until - season.first).days - at
        begin = season.on_index - at
        out[max(0, begin) : max(0, last + 1)] |= past[max(0, begin) : max(0, last + 1)]
    return out


def _rain(season: Season, block: BlockSeason, at: int, n: int) -> Mapping[str, Any]:
    rain = _lay(season.drivers.rain_mm[:, block.column], at, n)
    station = season.stations.get(block.station or "")
    whole = np.full(n, np.nan)
    stood_in = np.zeros(n, bool)
    unknown = np.zeros(n, bool)
    today = season.on_index - at
    if station is not None:
        whole = _lay(station.rain_mm, at, n)
        for i in range(max(0, -at), min(n, len(station.made_from) - at, max(0, today))):
            stood_in[i] = "stand_in" in station.made_from[at + i]
    for date, flag in block.rain_flags.items():
        i = (date - season.first).days - at
        if 0 <= i < n:
            if flag == "rain_unknown":
                unknown[i] = True
            elif flag == "rain_typed" and i >= today:
                whole[i] = rain[i]
    return {"rain": rain, "rain_whole": whole, "rain_unknown": unknown, "stood_in": stood_in}


def _waterings(season: Season, block: BlockSeason, first: dt.date, n: int) -> tuple[Watering, ...]:
    found = []
    rate = block.limits.net_mm_per_hour
    for item in block.past:
        day = (item.date - first).days
        if not 0 <= day < n:
            continue
        if item.state == "missed":
            known = item.planned_hours is not None and rate is not None
            mm = (item.planned_hours or 0.0) * (rate or 0.0) if known else float("nan")
        else:
            mm = (item.gross_mm or 0.0) * block.efficiency
        found.append(Watering(day, mm, item.state, item.hours))
    for planned in block.plan.sets:
        day = (season.on - first).days + planned.day
        if 0 <= day < n:
            state = "pinned" if planned.pinned else "planned"
            found.append(Watering(day, planned.net_mm, state, planned.hours))
    return tuple(found)


def _read(season: Season, block: BlockSeason, first: dt.date, n: int) -> tuple[ReadMark, ...]:
    """Return the readings of the days shown: what counts together, what does not alone."""
    taw = season.drivers.taw_mm[:, block.column]

    def left(date: dt.date, missing: float) -> float:
        return float(taw[(date - season.first).days]) - missing

    found = [
        ReadMark((p.date - first).days, left(p.date, p.read_mm), True, left(p.date, p.model_mm),
                 p.at_least)
        for p in block.pulled
    ]  # fmt: skip
    found += [
        ReadMark((j.reading.date - first).days, left(j.reading.date, j.missing_mm), False,
                 at_least=j.at_least)
        for j in block.readings if not j.counts and j.missing_mm is not None
    ]  # fmt: skip
    return tuple(m for m in found if 0 <= m.day < n)


def _work(season: Season, block: BlockSeason, first: dt.date, n: int) -> tuple[WorkMark, ...]:
    """Return the field days of the days shown; of past cycles only what was entered."""
    now = block.block.cycle_on(season.on)
    jobs = block_jobs(block.block, season.orchard, season.data.field_entries)
    return tuple(
        WorkMark(day, j.kind, j.state) for j in jobs
        if 0 <= (day := (j.date - first).days) < n
        and (j.entry_id or (now is not None and j.pruned_on == now.pruned_on))
    )  # fmt: skip


def _spans(
    season: Season, block: BlockSeason, cycle: CycleDates | None, at: int, n: int
) -> tuple[Span, ...]:
    stage = block.clock.stage[max(0, at) : at + n]
    seen = set(cycle.seen) if cycle is not None else set()
    if cycle is not None and cycle.cycle.harvest_end is not None:
        seen.add("rest")
    spans: list[Span] = []
    edges = [0, *(np.flatnonzero(np.diff(stage)) + 1).tolist(), len(stage)]
    for i, j in pairwise(edges):
        if j > i:
            name = ALL_STAGES[stage[i]]
            spans.append(Span(name, i, j, name in seen or name in ("pruned", "young")))
    return tuple(spans)


def _seen(cycle: CycleDates | None, first: dt.date) -> tuple[Seen, ...]:
    if cycle is None:
        return ()
    found = []
    for stage in cycle.seen:
        date = getattr(cycle.cycle, f"seen_{stage}")
        clock = cycle.model.get(stage)
        found.append(Seen(stage, (date - first).days, (clock - first).days if clock else None))
    return tuple(found)


def _with_spread(view: CycleView, spread: Spread) -> CycleView:
    n, t = view.days, view.today
    edges: dict[str, Any] = {}
    pairs = {
        "low_morning": spread.dry_start_mm, "low_evening": spread.dry_end_mm,
        "high_morning": spread.wet_start_mm, "high_evening": spread.wet_end_mm,
    }  # fmt: skip
    for name, depletion in pairs.items():
        edges[name] = view.taw - _lay(depletion, -t, n)
    room = view.watered - view.morning
    edges["high_watered"] = np.minimum(view.taw, edges["high_morning"] + room * 1.2)
    return replace(view, **edges)
