"""The rest of a week planned anew: what was handed out beside what the plan says now, and why.

The plan always looks seven days ahead; a correction takes its days up to the last day of the week
handed out.  Days that have gone are as they ran.  Why a block changes is told in millimetres at
the roots against the plan of the morning the week was handed out: rain that fell (or is forecast
now and was not), waterings that did not run, water that ran other than planned, what the air
takes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from waterbudget import season as season_of
from waterbudget.errors import Note, Refused
from waterbudget.plan import QUARTER_H, WEEK
from waterbudget.records import FarmData, GivenSet, GivenWeek, given_on
from waterbudget.season import BlockSeason, Season

TELLING_MM = 0.5
"""A cause that moved less is not told (own estimate)."""
CAUSES = ("rain", "missed", "meter", "weather")
"""What is told in millimetres; ``pump``, ``fixed`` and ``other`` have no depth of their own."""


@dataclass(frozen=True)
class Cell:
    """One block and day of the rest of the week.

    Attributes
    ----------
    old_hours, new_hours : float
        As handed out, and as planned now [h]; 0 where nothing runs.
    why : tuple of str
        ``rain``, ``missed``, ``meter``, ``weather``, ``pump``, ``fixed`` or ``other``; empty
        where nothing changed.
    """

    block_id: int
    block: str
    date: dt.date
    old_hours: float
    new_hours: float
    old_start: dt.time | None
    new_start: dt.time | None
    old_m3: float | None
    new_m3: float | None
    why: tuple[str, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether the hours are others than handed out."""
        return abs(self.new_hours - self.old_hours) >= QUARTER_H / 2


@dataclass(frozen=True)
class RanCell:
    """One watering of a day that has gone, as it counts."""

    block: str
    date: dt.date
    state: str
    planned_hours: float | None
    hours: float | None
    m3: float | None


@dataclass(frozen=True)
class BlockChange:
    """The rest of the week of one block.

    Attributes
    ----------
    causes : mapping of cause to mm
        Water the roots have more (+) or less (-) than the plan handed out reckoned with.
    drained_mm : float
        Drained past the roots since the week was handed out.
    """

    block_id: int
    block: str
    old_hours: float
    new_hours: float
    old_m3: float
    new_m3: float
    causes: Mapping[str, float]
    drained_mm: float
    cells: tuple[Cell, ...]

    @property
    def changed(self) -> bool:
        """Whether any of its days is."""
        return any(c.changed for c in self.cells)


@dataclass(frozen=True)
class Replan:
    """The week as handed out beside the plan as it now stands.

    Attributes
    ----------
    given : GivenWeek
        The week that holds on ``on``.
    days : tuple of date
        What is left of it, ``on`` first.
    blocks : tuple of BlockChange
        Those with anything left to run, old or new.
    ran : tuple of RanCell
        Days of it that have gone.
    """

    on: dt.date
    given: GivenWeek
    days: tuple[dt.date, ...]
    blocks: tuple[BlockChange, ...]
    ran: tuple[RanCell, ...]
    notes: tuple[Note, ...]

    @property
    def cells(self) -> tuple[Cell, ...]:
        """All cells, block by block."""
        return tuple(c for b in self.blocks for c in b.cells)

    @property
    def changed(self) -> bool:
        """Whether anything is other than handed out."""
        return any(c.changed for c in self.cells)

    def total(self, what: str) -> float:
        """Return a sum over the blocks: ``old_hours``, ``new_hours``, ``old_m3`` or ``new_m3``."""
        return float(sum(getattr(b, what) for b in self.blocks))


def compare(data: FarmData, run: Season) -> Replan:
    """Lay the week handed out beside the plan of ``run`` for the days that are left of it.

    Parameters
    ----------
    data : FarmData
        What the farm file holds now.
    run : Season
        Run on the morning from which the week is corrected.

    Raises
    ------
    Refused
        ``replan.no_week`` where no week handed out covers that morning.
    """
    given = given_on(data.given, run.on)
    if given is None:
        raise Refused("replan.no_week", date=run.on)
    days = tuple(d for d in run.week if d <= given.last)
    before = season_of.run(data, given.first) if given.first < run.on else None
    old = _by_place(given.sets)
    blocks = [_block(run, before, b, days, old) for b in run.blocks]
    kept = tuple(b for b in blocks if any(c.old_hours or c.new_hours for c in b.cells))
    order = {b.block.id: run.stage(b) != "fill" for b in run.blocks}
    ran = tuple(
        RanCell(b.block.name, s.date, s.state, s.planned_hours, s.hours, s.m3)
        for b in run.blocks
        for s in b.past
        if given.first <= s.date < run.on
    )
    return Replan(
        run.on, given, days, tuple(sorted(kept, key=lambda b: order[b.block_id])), ran,
        _notes(run, given),
    )  # fmt: skip


def rest(run: Season, until: dt.date) -> tuple[GivenSet, ...]:
    """Return the planned sets up to ``until``, as they are handed out."""
    return tuple(
        GivenSet(b.block.id, run.on + dt.timedelta(days=s.day), s.start or dt.time(0, 0), s.hours,
                 s.mm, s.m3)
        for b in run.blocks
        for s in b.plan.sets
        if s.hours is not None and run.on + dt.timedelta(days=s.day) <= until
    )  # fmt: skip


Place = tuple[int, dt.date]


def _by_place(sets: Sequence[GivenSet]) -> dict[Place, list[GivenSet]]:
    found: dict[Place, list[GivenSet]] = {}
    for s in sets:
        found.setdefault((s.block_id, s.date), []).append(s)
    return found


def _block(
    run: Season, before: Season | None, b: BlockSeason, days: Sequence[dt.date],
    old: Mapping[Place, list[GivenSet]],
) -> BlockChange:  # fmt: skip
    new = _by_place(rest(run, days[-1]))
    causes, drained = _causes(run, before, b, days)
    told = sorted(
        (c for c in causes if abs(causes[c]) >= TELLING_MM), key=lambda c: -abs(causes[c])
    )
    pump = run.orchard.pump_of(b.block)
    cells = []
    for date in days:
        was, now = old.get((b.block.id, date), []), new.get((b.block.id, date), [])
        cell = Cell(
            b.block.id, b.block.name, date, _sum(was, "hours") or 0.0, _sum(now, "hours") or 0.0,
            min((s.start for s in was), default=None), min((s.start for s in now), default=None),
            _sum(was, "m3"), _sum(now, "m3"),
        )  # fmt: skip
        cells.append(_with_why(cell, told, b, (date - run.on).days, pump.runs_on(date)))
    return BlockChange(
        b.block.id, b.block.name, sum(c.old_hours for c in cells), sum(c.new_hours for c in cells),
        sum(c.old_m3 or 0.0 for c in cells), sum(c.new_m3 or 0.0 for c in cells), causes, drained,
        tuple(cells),
    )  # fmt: skip


def _with_why(cell: Cell, told: Sequence[str], b: BlockSeason, day: int, pump_runs: bool) -> Cell:
    if not cell.changed:
        return cell
    why = ["fixed"] if day in b.limits.pins else []
    why += ["pump"] if not pump_runs else []
    why += told
    values: dict[str, Any] = {f: getattr(cell, f) for f in Cell.__dataclass_fields__}
    return Cell(**{**values, "why": tuple(why) or ("other",)})


def _sum(sets: Sequence[GivenSet], what: str) -> float | None:
    known = [getattr(s, what) for s in sets if getattr(s, what) is not None]
    return float(sum(known)) if known else None


def _causes(
    run: Season, before: Season | None, b: BlockSeason, days: Sequence[dt.date]
) -> tuple[dict[str, float], float]:
    """Return what moved the block's water against the plan handed out [mm], and what drained."""
    causes = dict.fromkeys(CAUSES, 0.0)
    if before is None or "weather" in b.missing:
        return causes, 0.0
    was = next((x for x in before.blocks if x.block.id == b.block.id), None)
    if was is None or "weather" in was.missing:
        return causes, 0.0
    at, to = before.on, days[-1]
    i, j, n = (at - run.first).days, before.on_index, min(WEEK, (to - at).days + 1)
    now_d, was_d = run.drivers, before.drivers
    now_a, was_a = run.account, before.account
    k, m = b.column, was.column
    more_drained = 0.0
    for x in range(n):
        past = at + dt.timedelta(days=x) < run.on
        rain = now_d.rain_mm[i + x, k] - was_d.rain_mm[j + x, m]
        rain -= now_d.runoff_mm[i + x, k] - was_d.runoff_mm[j + x, m]
        causes["rain"] += float(rain)
        if past and rain > 0:
            more_drained += max(
                0.0, float(now_a.drainage_mm[i + x, k] - was_a.drainage_mm[j + x, m])
            )
        air = now_d.et0_mm[i + x, k] - was_d.et0_mm[j + x, m]
        causes["weather"] -= float(air * now_d.kcb[i + x, k])
    if causes["rain"] > 0:
        causes["rain"] = max(0.0, causes["rain"] - more_drained)
    _watered(run, b, at, causes)
    since = slice(i, run.on_index)
    return causes, float(now_a.drainage_mm[since, k].sum())


def _watered(run: Season, b: BlockSeason, at: dt.date, causes: dict[str, float]) -> None:
    """Count waterings that did not run, and water other than planned."""
    if b.hectares is None or b.flow.m3_h is None:
        return
    net = b.flow.m3_h / (b.hectares * 10.0)
    planned: dict[dt.date, float] = {}
    given: dict[dt.date, float] = {}
    missed = set()
    for s in b.past:
        if at <= s.date < run.on:
            planned[s.date] = (s.planned_hours or 0.0) * net
            given[s.date] = given.get(s.date, 0.0) + (s.gross_mm or 0.0)
            missed |= {s.date} if s.state == "missed" else set()
    for date, mm in planned.items():
        share = float(b.net_share[(date - run.first).days])
        off = (given[date] - mm) * share
        causes["missed" if date in missed and given[date] == 0 else "meter"] += off


def _notes(run: Season, given: GivenWeek) -> tuple[Note, ...]:
    found = []
    if run.week[-1] > given.last:
        found.append(Note.of("replan.horizon", planned_to=run.week[-1], last=given.last))
    for name, s in run.stations.items():
        stood_in = [
            d for d in run.week if "stand_in" in s.made_from[(d - s.first).days]
        ] + [
            run.on - dt.timedelta(days=x) for x in range(1, WEEK + 1)
            if run.on_index >= x and "stand_in" in s.made_from[run.on_index - x]
        ]  # fmt: skip
        if stood_in and s.record_last is not None:
            found.append(Note.of("replan.stand_in", station=name, last=s.record_last,
                                 days=len(stood_in)))  # fmt: skip
    return tuple(found)
