"""The coming month as the past years of the record would have made it, and two plans side by side.

Every past year that is known well enough lends its reference ET and rain of the same 30 days to
every block, from where the block stands this morning, with its stages as the clock expects them
(:func:`outlook`).  Years are columns beside the blocks in the one daily balance, so 40 years of 200
blocks are one run.

* **The plan as it stands**: the waterings of this week whatever comes, then every week anew on the
  same weekdays (more of them where rain spared some this week), as deep as the block's depletion
  of that morning and the use of a usual week ask for, no longer than the longest watering, and
  short by the same share where this week is short.  No week knows its own weather.  Mornings past
  the limit in rest or in a dry-down that is wanted do not count.
* **Water needed**: each block is refilled to where it is to end the week whenever the next day
  would pass its limit, on days on which it may be watered; the sum is ranked over the years.

A quantile of n years is the value of rank q (n + 1), held inside the years there are; fewer than
eight years are told (own estimate), and 80 and 90 % of fewer than 15 and 30 (own estimate).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance
from waterbudget.balance import Account, Drivers, State
from waterbudget.errors import Note
from waterbudget.orchard import ALL_STAGES
from waterbudget.plan import WEEK
from waterbudget.records import FARM_GAUGE
from waterbudget.season import AHEAD_DAYS, BlockSeason, Season, recorded_et0

Values = NDArray[np.float64]

FEWEST_YEARS = 8
YEARS_FOR = {80: 15, 90: 30}
SHARES = (50, 80, 90)
KNOWN_SHARE = 0.9
"""Of a past year's days, reference ET and rain must be on record for the year to count."""
_FILL, _REST = ALL_STAGES.index("fill"), ALL_STAGES.index("rest")
_MORNING_MM = 1e-3


@dataclass(frozen=True)
class PastYears:
    """Reference ET and rain of the same days in past years at one station.

    Attributes
    ----------
    years : tuple of int
        In which the days begin.
    et0_mm, rain_mm : ndarray, shape (days, years)
    """

    years: tuple[int, ...]
    et0_mm: Values
    rain_mm: Values


@dataclass(frozen=True)
class BlockRisk:
    """What the past years say of one block's coming days.

    Attributes
    ----------
    years : tuple of int
        Years run; none where nothing is known.
    chance_dry, chance_dry_in_fill : float or None
        Share of the years in which some morning is past the limit; in fruit fill alone. The second
        is None where the block is not in fruit fill on any of the days.
    dry_days, dry_days_in_fill : float or None
        Mornings past the limit, mean over the years.
    first_dry : datetime.date or None
        Earliest such morning of any year.
    need_m3, need_mm : mapping of 50, 80, 90 to float
        Water at the meter that so many per cent of the years do not exceed [m3], [mm].
    drained_mm : float or None
        Through the roots with the plan as it stands, mean over the years.
    chance_by_day : ndarray, shape (days,)
        Share of the years in which that morning is past the limit.
    dr_low_mm, dr_mid_mm, dr_high_mm : ndarray, shape (days,)
        Morning depletion of the 10th, 50th and 90th per cent of the years.
    """

    block: BlockSeason
    years: tuple[int, ...] = ()
    chance_dry: float | None = None
    chance_dry_in_fill: float | None = None
    dry_days: float | None = None
    dry_days_in_fill: float | None = None
    first_dry: dt.date | None = None
    need_mm: Mapping[int, float] | None = None
    need_m3: Mapping[int, float] | None = None
    drained_mm: float | None = None
    chance_by_day: Values | None = None
    dr_low_mm: Values | None = None
    dr_mid_mm: Values | None = None
    dr_high_mm: Values | None = None


@dataclass(frozen=True)
class Outlook:
    """The farm's coming days through the past years.

    Attributes
    ----------
    need_m3 : mapping of 50, 80, 90 to float
        Of all blocks together, ranked by the farm's own years.
    peak_m3_day : mapping of 50, 80, 90 to float
        The largest day of each year, ranked.
    """

    on: dt.date
    days: int
    blocks: tuple[BlockRisk, ...]
    years: tuple[int, ...]
    need_m3: Mapping[int, float]
    peak_m3_day: Mapping[int, float]
    notes: tuple[Note, ...]

    def block(self, name: str) -> BlockRisk:
        """Return one block's risk."""
        return next(b for b in self.blocks if b.block.block.name == name)


def past_years(season: Season, station_name: str) -> PastYears:
    """Return the past years of a station that know the coming days well enough.

    A day without reference ET stands in as the other years' mean; unknown rain counts as none.
    """
    nothing = PastYears((), np.zeros((AHEAD_DAYS, 0)), np.zeros((AHEAD_DAYS, 0)))
    station = season.orchard.station(station_name)
    record = season.data.records.get(station.name)
    et = recorded_et0(season.data, station)
    if record is None or et is None:
        return nothing
    rain = np.asarray(record.values["rain_mm"], dtype=float)
    own = np.array(["stand_in" not in codes for codes in et.made_from])
    found: list[tuple[int, Values, Values]] = []
    for year in range(et.first.year - 1, season.on.year + 1):
        begin = (_same_day(season.on, year) - et.first).days
        if begin < 0 or begin + AHEAD_DAYS > len(et) or begin + AHEAD_DAYS > len(rain):
            continue
        days = slice(begin, begin + AHEAD_DAYS)
        air = np.where(own[days], et.et0_mm[days], np.nan)
        wet = rain[days]
        if min(np.isfinite(air).mean(), np.isfinite(wet).mean()) >= KNOWN_SHARE:
            found.append((year, air, wet))
    if not found:
        return nothing
    air = np.stack([a for _, a, _ in found], axis=1)
    usual = np.nanmean(air, axis=1) if len(found) > 1 else np.full(AHEAD_DAYS, np.nanmean(air))
    air = np.where(np.isnan(air), np.where(np.isnan(usual), np.nanmean(air), usual)[:, None], air)
    wet = np.nan_to_num(np.stack([w for _, _, w in found], axis=1))
    return PastYears(tuple(y for y, _, _ in found), air, wet)


def _same_day(day: dt.date, year: int) -> dt.date:
    return day.replace(year=year, day=28) if (day.month, day.day) == (2, 29) else day.replace(
        year=year)  # fmt: skip


def outlook(season: Season, years: Mapping[str, PastYears] | None = None) -> Outlook:
    """Run the past years through every block from this morning.

    Parameters
    ----------
    season : Season
    years : mapping of station name to PastYears, optional
        As :func:`past_years` gives them; the caller may keep them while the record is the same.

    Returns
    -------
    Outlook
    """
    names = {b.station for b in season.blocks if b.station and "weather" not in b.missing}
    known = years if years is not None else {n: past_years(season, n) for n in sorted(names)}
    made: dict[int, BlockRisk] = {b.column: BlockRisk(b) for b in season.blocks}
    by_year: dict[int, Values] = {}
    for name in sorted(names):
        group = [b for b in season.blocks if b.station == name and "weather" not in b.missing]
        past = known[name]
        if not past.years:
            continue
        risks, m3 = _through_years(season, group, past)
        made |= {r.block.column: r for r in risks}
        for j, year in enumerate(past.years):
            by_year[year] = by_year.get(year, np.zeros(AHEAD_DAYS)) + m3[:, j]
    complete = [y for y in by_year if all(y in known[n].years for n in names)]
    sums = np.array([by_year[y].sum() for y in complete])
    peaks = np.array([by_year[y].max() for y in complete])
    return Outlook(
        season.on, AHEAD_DAYS, tuple(made[b.column] for b in season.blocks), tuple(complete),
        _ranked(sums), _ranked(peaks), _notes(known),
    )  # fmt: skip


def _notes(known: Mapping[str, PastYears]) -> tuple[Note, ...]:
    notes = []
    for name, past in sorted(known.items()):
        count = len(past.years)
        if not count:
            notes.append(Note.of("risk.no_years", station=name))
        elif count < FEWEST_YEARS:
            notes.append(Note.of("risk.few_years", station=name, count=count, wanted=FEWEST_YEARS))
        elif count < max(YEARS_FOR.values()):
            shares = [str(s) for s, n in YEARS_FOR.items() if count < n]
            notes.append(Note.of("risk.rough_shares", station=name, count=count,
                                 shares=", ".join(shares)))  # fmt: skip
    return tuple(notes)


def _through_years(
    season: Season, group: Sequence[BlockSeason], past: PastYears
) -> tuple[list[BlockRisk], Values]:
    """Run one station's blocks through its years; also return m3 needed, (days, years)."""
    n = len(past.years)
    columns = np.array([b.column for b in group])
    wide = np.repeat(columns, n)  # block after block, its years side by side
    drivers, state = _laid_out(season, wide, past, len(group))
    account, _ = _as_it_stands(season, group, n, drivers, state)
    limit = np.maximum(drivers.allowed_mm, account.etc_potential_mm)
    past_limit = account.dr_start_mm > limit + _MORNING_MM
    past_limit &= ~np.repeat(_dry_allowed(season, group), n, axis=1)
    water = _refilled(season, group, n, drivers, state)
    risks, m3 = [], np.zeros((AHEAD_DAYS, n))
    for j, b in enumerate(group):
        own = slice(j * n, (j + 1) * n)
        gross = water[:, own] / b.efficiency
        risks.append(_of_block(season, b, past, past_limit[:, own], account, own, gross))
        m3 += gross * (b.hectares or 0.0) * 10.0
    return risks, m3


def _laid_out(
    season: Season, wide: NDArray[np.int64], past: PastYears, blocks: int
) -> tuple[Drivers, State]:
    """Lay the years beside the blocks: drivers and morning of every block in every year."""
    assert season.coming is not None
    assert season.morning is not None
    drivers = season.coming.columns(wide)
    columns, n = wide[:: len(past.years)], len(past.years)
    factor = np.repeat(_slope_factor(season, columns), n, axis=1)
    rain = np.tile(past.rain_mm, (1, blocks))
    fell = _typed(season, columns).repeat(n, axis=1)
    rain = np.where(fell, drivers.rain_mm, rain)
    numbers = [season.blocks[k].block.curve_number for k in columns]
    number = np.repeat([np.nan if c is None else c for c in numbers], n)
    below = np.maximum(rain - drivers.interception_mm, 0.0)
    drivers = replace(
        drivers,
        et0_mm=np.tile(past.et0_mm, (1, blocks)) * factor,
        rain_mm=rain,
        runoff_mm=balance.runoff_mm(below, number),
        irrigation_mm=np.zeros_like(rain),
    )
    m = season.morning
    state = State(m.dr_mm[wide], m.de_mm[wide], m.after_rain[wide], m.taw_mm[wide])
    return drivers, state


def _typed(season: Season, columns: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Coming days whose rain was already read at a block's gauge; (days, blocks).

    The week is planned with that rain, so every year has it too.
    """
    typed = np.zeros((AHEAD_DAYS, len(columns)), dtype=bool)
    for j, k in enumerate(columns):
        own = season.blocks[k].block.gauge
        for gauge in {FARM_GAUGE, own or FARM_GAUGE}:
            for date in season.data.gauge_days(gauge):
                if 0 <= (date - season.on).days < AHEAD_DAYS:
                    typed[(date - season.on).days, j] = True
    return typed


def _slope_factor(season: Season, columns: NDArray[np.int64]) -> Values:
    """Share of the station's reference ET a block takes, where slopes count; 1 elsewhere."""
    assert season.coming is not None
    i = season.on_index
    share = np.ones((AHEAD_DAYS, len(columns)))
    for at, k in enumerate(columns):
        station = season.stations.get(season.blocks[k].station or "")
        if station is None:
            continue
        flat = station.et0_mm[i : i + AHEAD_DAYS]
        own = season.coming.et0_mm[:, k]
        m = min(len(flat), AHEAD_DAYS)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = own[:m] / flat[:m]
        share[:m, at] = np.where(np.isfinite(ratio) & (ratio > 0), ratio, 1.0)
    return share


def _dry_allowed(season: Season, group: Sequence[BlockSeason]) -> NDArray[np.bool_]:
    """Mornings on which a block may be dry: in rest, or dried down on purpose; (days, blocks)."""
    i = season.on_index
    allowed = np.zeros((AHEAD_DAYS, len(group)), dtype=bool)
    for j, b in enumerate(group):
        stages = b.clock.stage[i : i + AHEAD_DAYS]
        allowed[: len(stages), j] = stages == _REST
        if b.block.dry_until is not None:
            allowed[: max(0, (b.block.dry_until - season.on).days + 1), j] = True
    return allowed


def _as_it_stands(
    season: Season, group: Sequence[BlockSeason], n: int, drivers: Drivers, state: State
) -> tuple[Account, State]:
    """Run this week's waterings, then every week's anew as it would be planned."""
    i = season.on_index
    columns = np.array([b.column for b in group])
    water = np.zeros_like(drivers.et0_mm)
    water[:WEEK] = np.repeat(season.drivers.irrigation_mm[i : i + WEEK, columns], n, axis=1)
    account = Account.empty(*water.shape)
    usual = _use(season, columns, drivers, _usual(drivers.et0_mm, len(columns), n))
    for first in range(0, AHEAD_DAYS, WEEK):
        days = slice(first, min(first + WEEK, AHEAD_DAYS))
        if first:
            takes = usual[first : first + WEEK].sum(axis=0)
            water[days] = _planned_anew(season, group, n, state.dr_mm, takes)[: days.stop - first]
        some = replace(drivers, irrigation_mm=water).rows(days)
        made, state = balance.run(some, state)
        for name in Account.__dataclass_fields__:
            getattr(account, name)[days] = getattr(made, name)
    return account, state


def _usual(et0_mm: Values, blocks: int, n: int) -> Values:
    """Return the years' mean of every block's reference ET, in the place of each year's own."""
    mean = et0_mm.reshape(AHEAD_DAYS, blocks, n).mean(axis=2)
    return np.asarray(np.repeat(mean, n, axis=1))


def _use(season: Season, columns: NDArray[np.int64], drivers: Drivers, et0_mm: Values) -> Values:
    """Use of each coming day at a reference ET [mm], (30 days and a week more, columns).

    What bare soil adds to the trees' own use is taken to be as in the week planned.
    """
    i = season.on_index
    week = slice(i, i + WEEK)
    et0 = season.drivers.et0_mm[week, columns].sum(axis=0)
    assert season.coming is not None
    kcb = (season.coming.kcb * season.coming.kc_factor)[:WEEK, columns].mean(axis=0)
    share = season.account.etc_potential_mm[week, columns].sum(axis=0) / np.maximum(et0, 1e-9)
    bare = np.repeat(np.maximum(share - kcb, 0.0), et0_mm.shape[1] // len(columns))
    daily = et0_mm * (drivers.kcb * drivers.kc_factor + bare)
    return np.vstack([daily, np.repeat(daily[-1:], WEEK, axis=0)])


def _planned_anew(
    season: Season, group: Sequence[BlockSeason], n: int, dr_mm: Values, takes_mm: Values
) -> Values:
    """Equal waterings on the block's weekdays that bring it to its target [mm], (7, columns)."""
    water = np.zeros((WEEK, len(dr_mm)))
    for j, b in enumerate(group):
        own = slice(j * n, (j + 1) * n)
        days = _weekdays(b, float(takes_mm[own].mean()), float(season.ahead_limit_mm[0, b.column]))
        if not days:
            continue
        net = sum(s.net_mm for s in b.plan.sets)
        given_up = b.plan.given_up_mm if b.plan.limit != "pump_out" else 0.0  # of this week alone
        share = net / (net + given_up) if net > 0 else 1.0
        rate = b.limits.net_mm_per_hour
        most = np.inf if rate is None else b.limits.longest_h * rate
        lacking = np.maximum(dr_mm[own] + takes_mm[own] - b.plan.target_dr_mm, 0.0)
        water[days, own] = np.minimum(share * lacking / len(days), most)
    return water


def _weekdays(b: BlockSeason, takes_mm: float, limit_mm: float) -> list[int]:
    """Return the days a usual week of the block is watered on.

    Those of this week where they are enough for the easy water; else (rain spared some this week)
    as many as that asks for, spread over the days it may be watered on.
    """
    days = sorted({s.day for s in b.plan.sets if s.net_mm > 0})
    may = [d for d in range(WEEK) if b.limits.may_water[d]]
    wanted = min(len(may), math.ceil(takes_mm / max(limit_mm, 1e-9) - 1e-6))
    if len(days) >= wanted:
        return days
    return [may[k * len(may) // wanted] for k in range(wanted)]


def _refilled(
    season: Season, group: Sequence[BlockSeason], n: int, drivers: Drivers, state: State
) -> Values:
    """Water at the roots that keeps every block inside its limit in every year [mm]."""
    target = np.repeat([b.plan.target_dr_mm for b in group], n)
    may = np.array([[b.limits.may_water[d % WEEK] for d in range(AHEAD_DAYS)] for b in group]).T
    allowed = np.repeat(may, n, axis=1)
    water = np.zeros_like(drivers.et0_mm)
    out = Account.empty(1, water.shape[1])
    columns = np.array([b.column for b in group])
    expects = _use(season, columns, drivers, drivers.et0_mm)
    for day in range(AHEAD_DAYS):
        dr = np.maximum(state.dr_mm - drivers.rain_mm[day] * drivers.rain_reach, 0.0)
        closed = np.repeat(~may[min(day + 1, AHEAD_DAYS - 1)], n)
        ahead = expects[day] + np.where(closed, expects[day + 1], 0.0)
        due = allowed[day] & (dr + ahead > drivers.allowed_mm[day])
        water[day] = np.where(due, np.maximum(dr + expects[day] - target, 0.0), 0.0)
        water[day] = np.minimum(water[day], dr + expects[day])
        today = replace(drivers.rows(slice(day, day + 1)), irrigation_mm=water[day : day + 1])
        state = balance.step(today, 0, state, out)
    return water


def _of_block(
    season: Season, b: BlockSeason, past: PastYears, late: NDArray[np.bool_], account: Account,
    own: slice, gross: Values,
) -> BlockRisk:  # fmt: skip
    i = season.on_index
    in_fill = b.clock.stage[i : i + AHEAD_DAYS] == _FILL
    by_day = late.mean(axis=1)
    dry = np.flatnonzero(late.any(axis=1))
    dr = np.sort(account.dr_start_mm[:, own], axis=1)
    need = _ranked(gross.sum(axis=0))
    m3 = {s: mm * b.hectares * 10.0 for s, mm in need.items()} if b.hectares else None
    filled = late[in_fill]
    return BlockRisk(
        b, past.years,
        chance_dry=float(late.any(axis=0).mean()),
        chance_dry_in_fill=float(filled.any(axis=0).mean()) if in_fill.any() else None,
        dry_days=float(late.sum(axis=0).mean()),
        dry_days_in_fill=float(filled.sum(axis=0).mean()) if in_fill.any() else None,
        first_dry=season.on + dt.timedelta(days=int(dry[0])) if len(dry) else None,
        need_mm=need, need_m3=m3,
        drained_mm=float(account.drainage_mm[:, own].sum(axis=0).mean()),
        chance_by_day=by_day,
        dr_low_mm=_at_rank(dr, 0.1), dr_mid_mm=_at_rank(dr, 0.5),
        dr_high_mm=_at_rank(dr, 0.9),
    )  # fmt: skip


def _ranked(values: Values) -> dict[int, float]:
    if not len(values):
        return {}
    ordered = np.sort(values)
    return {s: float(_at_rank(ordered, s / 100.0)) for s in SHARES}


def _at_rank(ordered: Values, share: float) -> Values:
    """Return the values of rank ``share (n + 1)`` along the last axis, held inside the ranks."""
    last = ordered.shape[-1] - 1
    rank = min(max(share * (last + 2) - 1.0, 0.0), float(last))
    low = int(rank)
    high = min(low + 1, last)
    part = rank - low
    return np.asarray(ordered[..., low] * (1.0 - part) + ordered[..., high] * part)
