"""The week as the home page shows it: one frozen table made from one season.

Nothing here knows Qt or words; the page paints it, the clipboard and the tests read it.  Rows
come fruit fill first, then in the order of the blocks; columns are three days back (what ran)
and seven ahead (what is planned).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from desktop.models.standing import Standing, standing
from waterbudget.orchard import Orchard, fold
from waterbudget.plan import WEEK, PlannedSet
from waterbudget.records import FARM_GAUGE, FarmData, GivenSet, GivenWeek, given_on

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, PastSet, Season, StationDays

BACK = 3
CHANGED_H = 0.125  # half of the quarter hour that hours are rounded to


@dataclass(frozen=True)
class BackCell:
    """What ran on one block on one past day.

    Attributes
    ----------
    state : str
        ``none``, ``ran``, ``missed`` or ``not_confirmed``.
    hours, m3 : float or None
        Sum of the day.
    planned_hours : float or None
        What had been handed out.
    """

    date: dt.date
    state: str = "none"
    hours: float | None = None
    m3: float | None = None
    planned_hours: float | None = None
    times: int = 0


@dataclass(frozen=True)
class AheadCell:
    """One cell of the coming week.

    Attributes
    ----------
    hours : float or None
        None where nothing is planned, or where the flow is missing (then ``mm`` stands).
    pinned : bool
        Fixed by the grower; with no hours: kept dry.
    given : GivenSet or None
        What was handed out for that day.
    changed : bool
        A week is handed out and this cell is not as it was given.
    """

    date: dt.date
    hours: float | None = None
    mm: float | None = None
    m3: float | None = None
    start: dt.time | None = None
    pinned: bool = False
    over: bool = False
    given: GivenSet | None = None
    changed: bool = False
    pulses: int = 1
    on_min: int = 0
    off_min: int = 0

    @property
    def planned(self) -> bool:
        """True where a watering is planned."""
        return self.mm is not None


@dataclass(frozen=True)
class WeekRow:
    """One block.

    Attributes
    ----------
    given_up_mm : float
        Water at the roots it gives to others this week, where not all fits.
    dry_days : int
        Mornings past its limit in a shared week, 0 where nothing is shared.
    """

    block_id: int
    name: str
    standing: Standing
    back: tuple[BackCell, ...]
    ahead: tuple[AheadCell, ...]
    missing: tuple[str, ...]
    given_up_mm: float = 0.0
    dry_days: int = 0

    @property
    def hours(self) -> float | None:
        """Sum of the hours planned [h]; None where weather, area or flow is missing."""
        sets = [c for c in self.ahead if c.planned]
        if not {"weather", "area", "flow"}.isdisjoint(self.missing):
            return None
        if any(c.hours is None for c in sets):
            return None
        return sum(c.hours or 0.0 for c in sets)

    @property
    def m3(self) -> float | None:
        """Sum of the water planned at the meter [m3]; None where the area is missing."""
        sets = [c for c in self.ahead if c.planned]
        if "area" in self.missing or "weather" in self.missing or any(c.m3 is None for c in sets):
            return None
        return sum(c.m3 or 0.0 for c in sets)

    @property
    def mm(self) -> float | None:
        """Sum of the depths planned at the meter [mm]; None where nothing is known."""
        if "weather" in self.missing:
            return None
        return sum(c.mm or 0.0 for c in self.ahead if c.planned)


@dataclass(frozen=True)
class DayHead:
    """The weather of one column.

    Attributes
    ----------
    et0_from : str
        ``record``, ``forecast``, ``stand_in`` or ``none``.
    rain_from : str
        ``record``, ``typed``, ``forecast``, ``unknown`` (a past day nobody measured) or ``none``.
    rain_typed : mapping of gauge to mm
        What was typed for that day, gauge by gauge.
    heat_from : str
        ``record``, ``typed`` (today's, which counts from tomorrow on), ``forecast``,
        ``stand_in`` or ``none``.
    """

    date: dt.date
    et0_mm: float | None
    et0_from: str
    rain_mm: float | None
    rain_from: str
    rain_typed: Mapping[str, float]
    low_c: float | None
    high_c: float | None
    heat_from: str


@dataclass(frozen=True)
class DayFoot:
    """The pump and the people of one column; ``pump_hours`` is None on past days.

    ``pumps`` holds name (empty: the first), hours and m3 of each, where there are several.
    """

    date: dt.date
    pump_hours: float | None
    valves: int
    m3: float
    over_hours: float = 0.0
    over_flow_m3_h: float = 0.0
    over_valves: int = 0
    over_m3: float = 0.0
    pumps: tuple[tuple[str, float, float], ...] = ()

    @property
    def over(self) -> bool:
        """True where the day asks more than pump, people or tank can give."""
        return self.over_hours > 0 or self.over_flow_m3_h > 0 or self.over_m3 > 0 or (
            self.over_valves > 0)  # fmt: skip


@dataclass(frozen=True)
class WeekTable:
    """Everything the week shows.

    Attributes
    ----------
    days : tuple of date, length 10
        Three back, then seven ahead.
    editable_rain : tuple of date
        Today and the days back, whose rain and low and high may be typed.
    gauges : tuple of str
        The farm's gauge first; more than one where blocks read their own.
    given : GivenWeek or None
        The last week handed out that covers the first day.
    """

    on: dt.date
    days: tuple[dt.date, ...]
    rows: tuple[WeekRow, ...]
    head: tuple[DayHead, ...]
    foot: tuple[DayFoot, ...]
    pump_limit_h: float | None
    gauges: tuple[str, ...]
    given: GivenWeek | None

    @property
    def editable_rain(self) -> tuple[dt.date, ...]:
        """Days whose rain, low and high may be typed in place."""
        return self.days[: BACK + 1]

    @cached_property
    def row_of(self) -> dict[int, int]:
        """Row number of each block id."""
        return {row.block_id: i for i, row in enumerate(self.rows)}

    @property
    def in_fill(self) -> int:
        """How many rows, from the top, are in fruit fill."""
        return sum(row.standing.in_fill for row in self.rows)

    @property
    def over_pump(self) -> bool:
        """True where any day is over the pump."""
        return any(f.over_hours > 0 or f.over_flow_m3_h > 0 for f in self.foot)

    @property
    def hours(self) -> float:
        """Sum of the hours there are [h]."""
        return sum(row.hours or 0.0 for row in self.rows)

    @property
    def et0_mm(self) -> float | None:
        """What the air takes in the coming seven days [mm]."""
        ahead = [h.et0_mm for h in self.head[BACK:]]
        return None if any(v is None for v in ahead) else sum(v or 0.0 for v in ahead)

    @property
    def changed_cells(self) -> int:
        """How many cells differ from the week as handed out."""
        return sum(cell.changed for row in self.rows for cell in row.ahead)

    def cell(self, block_id: int, date: dt.date) -> AheadCell | None:
        """Return a cell of the coming week."""
        row, day = self.row_of.get(block_id), (date - self.on).days
        if row is None or not 0 <= day < WEEK:
            return None
        return self.rows[row].ahead[day]


def week_table(season: Season, data: FarmData | None = None) -> WeekTable:
    """Lay a season out as the week is shown.

    Parameters
    ----------
    data : FarmData, optional
        What the farm file holds now: today's typed rain and a week handed out this morning are
        no part of a season, which only knows what was known before.  Left out when an earlier
        morning is looked at.
    """
    data = data if data is not None else season.data
    days = tuple(season.on + dt.timedelta(days=i) for i in range(-BACK, WEEK))
    given = week_given(data, season.on)
    handed: dict[tuple[int, dt.date], GivenSet] = {}
    for item in given.sets if given is not None else ():
        handed[item.block_id, item.date] = item
    bare = _bare_cells(season, given)
    rows = [_row(season, block, handed, bare) for block in season.blocks]
    rows.sort(key=lambda row: not row.standing.in_fill)  # the sort is stable: block order stays
    return WeekTable(
        on=season.on, days=days, rows=tuple(rows), head=_heads(season, data, days),
        foot=_feet(season, rows, days), pump_limit_h=pump_limit_h(season),
        gauges=gauges(data.orchard), given=given,
    )  # fmt: skip


def week_given(data: FarmData, day: dt.date) -> GivenWeek | None:
    """Return the last week handed out that covers ``day``."""
    return given_on(data.given, day)


def gauges(orchard: Orchard) -> tuple[str, ...]:
    """Return the gauges rain may be typed for, the farm's own first."""
    found = {fold(FARM_GAUGE): FARM_GAUGE}
    for name in (*orchard.gauges, *(b.gauge for b in orchard.blocks if b.gauge)):
        found.setdefault(fold(name), name)
    return tuple(found.values())


@dataclass(frozen=True)
class _Bare:
    """Cells nothing stands in, shared by every row (most of a week is empty)."""

    back: tuple[BackCell, ...]
    ahead: tuple[AheadCell, ...]
    covered: tuple[bool, ...]


def _bare_cells(season: Season, given: GivenWeek | None) -> _Bare:
    ahead = [season.on + dt.timedelta(days=i) for i in range(WEEK)]
    return _Bare(
        tuple(BackCell(season.on + dt.timedelta(days=i)) for i in range(-BACK, 0)),
        tuple(AheadCell(day) for day in ahead),
        tuple(given is not None and day <= given.last for day in ahead),
    )


def _row(
    season: Season, block: BlockSeason, handed: Mapping[tuple[int, dt.date], GivenSet],
    bare: _Bare,
) -> WeekRow:  # fmt: skip
    past: dict[dt.date, list[PastSet]] = {}
    edge = bare.back[0].date
    for item in reversed(block.past):  # oldest first
        if item.date < edge:
            break
        past.setdefault(item.date, []).insert(0, item)
    sets = {s.day: s for s in block.plan.sets}
    ahead = []
    for day, cell in enumerate(bare.ahead):
        item_ahead, was = sets.get(day), handed.get((block.block.id, cell.date))
        pinned = day in block.limits.pins
        if item_ahead is None and was is None and not pinned:
            ahead.append(cell)
        else:
            ahead.append(_ahead(cell.date, item_ahead, pinned, was, bare.covered[day]))
    return WeekRow(
        block_id=block.block.id, name=block.block.name, standing=standing(season, block),
        back=tuple(_back(c.date, past[c.date]) if c.date in past else c for c in bare.back),
        ahead=tuple(ahead), missing=block.missing, given_up_mm=block.given_up_mm,
        dry_days=_dry_days(season, block),
    )  # fmt: skip


def _dry_days(season: Season, block: BlockSeason) -> int:
    gave = season.shared.gave if season.shared is not None else ()
    return next((g.dry_days for g in gave if g.block == block.block.name), 0)


def _back(date: dt.date, sets: Sequence[PastSet]) -> BackCell:
    ran = [s for s in sets if s.state != "missed"]
    state = ran[0].state if ran else "missed"
    planned = [s.planned_hours for s in sets if s.planned_hours is not None]
    return BackCell(
        date, state, _total(s.hours for s in ran), _total(s.m3 for s in ran),
        planned[0] if planned else None, len(ran),
    )  # fmt: skip


def _total(values: object) -> float | None:
    known = [float(v) for v in values if v is not None]  # type: ignore[attr-defined]
    return sum(known) if known else None


def _ahead(
    date: dt.date, item: PlannedSet | None, pinned: bool, handed: GivenSet | None, covers: bool
) -> AheadCell:
    hours = item.hours if item is not None else None
    was = handed.hours if handed is not None else 0.0
    known = item is None or hours is not None
    changed = covers and known and abs((hours or 0.0) - was) > CHANGED_H
    if item is None:
        return AheadCell(date, pinned=pinned, given=handed, changed=changed)
    return AheadCell(
        date, hours, item.mm, item.m3, item.start, item.pinned, item.over, handed, changed,
        item.pulses, item.on_min, item.off_min,
    )  # fmt: skip


def _heads(season: Season, data: FarmData, days: Sequence[dt.date]) -> tuple[DayHead, ...]:
    name = season.orchard.default_station
    known = list(season.stations.values())
    station = next((s for s in known if s.name == name), known[0] if known else None)
    return tuple(_head(season, data, station, day) for day in days)


def _head(season: Season, data: FarmData, station: StationDays | None, day: dt.date) -> DayHead:
    typed = {
        gauge: mm
        for gauge in gauges(data.orchard)
        if (mm := data.gauge_days(gauge).get(day)) is not None
    }
    past = day < season.on
    et0 = rain = low = high = None
    made: tuple[str, ...] = ()
    if station is not None and 0 <= (i := (day - season.first).days) < len(station.et0_mm):
        et0, rain = _known(station.et0_mm[i]), _known(station.rain_mm[i])
        low, high = _known(station.tmin_c[i]), _known(station.tmax_c[i])
        made = station.made_from[i]
    source = "none" if et0 is None else _source(made)
    if FARM_GAUGE in typed:
        rain, rain_from = typed[FARM_GAUGE], "typed"
    elif rain is not None:
        rain_from = "forecast" if not past else "record"
    else:
        rain_from = "unknown" if past else "none"
    heat = "none" if low is None and high is None else ("record" if past else source)
    if day == season.on and (typed_heat := _typed_heat(data, station, day)):
        low, high, heat = typed_heat.get("tmin_c"), typed_heat.get("tmax_c"), "typed"
    return DayHead(day, et0, source, rain, rain_from, typed, low, high, heat)


def _typed_heat(data: FarmData, station: StationDays | None, day: dt.date) -> dict[str, float]:
    """Return low and high of a day as they stand on record, also where they do not count yet."""
    orchard = data.orchard
    names = [station.name] if station is not None else [s.name for s in orchard.stations[:1]]
    record = data.records.get(names[0]) if names else None
    known = record.day(day) if record is not None else {}
    return {k: v for k, v in known.items() if k in ("tmin_c", "tmax_c")}


def _known(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _source(made: Sequence[str]) -> str:
    if "stand_in" in made:
        return "stand_in"
    return "forecast" if "forecast" in made else "record"


def pump_limit_h(season: Season) -> float | None:
    """Return the hours a day of all pumps together [h]; None where one of them has no limit."""
    hours = [pump.hours for pump in season.orchard.all_pumps()]
    known = [h for h in hours if h is not None]
    return sum(known) if len(known) == len(hours) else None


def _feet(
    season: Season, rows: Sequence[WeekRow], days: Sequence[dt.date]
) -> tuple[DayFoot, ...]:  # fmt: skip
    feet = []
    for k, day in enumerate(days[:BACK]):
        cells = [row.back[k] for row in rows]
        feet.append(DayFoot(day, None, sum(c.times for c in cells), sum(c.m3 or 0 for c in cells)))
    several = season.pump_days_by_pump if len(season.pump_days_by_pump) > 1 else {}
    for i, (day, pump) in enumerate(zip(days[BACK:], season.pump_days, strict=True)):
        pumps = tuple((name, own[i].hours, own[i].m3) for name, own in several.items())
        feet.append(
            DayFoot(day, pump.hours, pump.valves, pump.m3, pump.over_hours, pump.over_flow_m3_h,
                    pump.over_valves, pump.over_m3, pumps)
        )  # fmt: skip
    return tuple(feet)
