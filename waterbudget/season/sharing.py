"""The week as it can be carried: the free choice where it fits, else one shared among the blocks.

Where every day of the freely chosen week fits its pump, the people, the tank and the water right,
nothing is changed.  Where it does not, :mod:`waterbudget.share` plans the blocks together, packed
by :mod:`waterbudget.season.packing`, and the result goes through the daily balance as any plan.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from waterbudget import balance, plan, share, shifts, stage, stress
from waterbudget.balance import Account, Drivers, State
from waterbudget.orchard import WEEKDAYS
from waterbudget.plan import QUARTER_H, WEEK, BlockLimits, BlockPlan, Choices, PlannedSet, Source
from waterbudget.records import FarmData, GivenWeek
from waterbudget.season.blocks import Prepared
from waterbudget.season.packing import squeezed
from waterbudget.season.result import GaveUp, SharedWeek, Values
from waterbudget.share import DAYS, Blocks, Budget, Shared, Supply
from waterbudget.shifts import PumpDay
from waterbudget.supply import slot

_SLACK = 1e-6


@dataclass(frozen=True)
class Situation:
    """Everything a week is planned from.

    Attributes
    ----------
    coming : Drivers from ``on``, at least 15 days, without watering
    state : where the blocks stand in the morning of ``on``
    options, picks : the choices of every block and the one freely picked
    watered : columns of blocks whose weather is known
    given : the week handed out, which a shared one keeps to where it can
    """

    known: FarmData
    on: dt.date
    prepared: Sequence[Prepared]
    coming: Drivers
    state: State
    limits: Sequence[BlockLimits]
    source: Source
    options: Sequence[Choices]
    picks: Sequence[int]
    watered: Sequence[int]
    given: GivenWeek | None


@dataclass(frozen=True)
class Planned:
    """The week as planned.

    Attributes
    ----------
    net_mm : ndarray, shape (7, blocks)
    plans : one a block, with starts
    pump_days, by_pump : of all pumps together, and by the pump's name
    shared : None where the free choice fits
    provisional : the shared plan before stands until it is solved anew
    """

    net_mm: Values
    plans: list[BlockPlan]
    pump_days: tuple[PumpDay, ...]
    by_pump: Mapping[str, tuple[PumpDay, ...]]
    shared: SharedWeek | None = None
    provisional: bool = False


def planned(s: Situation, held_days: dict[int, Any], held: dict[Any, Any]) -> Planned:
    """Plan the week: freely where that fits, else shared.

    Parameters
    ----------
    held_days, held : dict
        Kept by the caller between calls; only to be quick.
    """
    net = np.zeros((WEEK, len(s.prepared)))
    for k in s.watered:
        net[:, k] = s.options[k].depth_mm[s.picks[k]]
    plans = [plan.block_plan(s.options[k], s.picks[k], x, net[:, k])
             for k, x in enumerate(s.limits)]  # fmt: skip
    made, pump_days, by_pump = shifts.timetable(plans, s.limits, s.source, held_days)
    free = Planned(net, made, pump_days, by_pump)
    mine = [k for k in s.watered if _can_share(s.limits[k], s.source)]
    mine.sort(key=lambda k: s.limits[k].name)  # the order blocks were entered in must not matter
    wish = _wish_mm(s, net, mine)
    if not mine or (wish is net and not _too_much(free, s.source)):
        return free
    asked = _problem(s, free, wish, mine)
    placing = [(x.group, x.pump, x.on_min, x.off_min, x.pin_starts, x.dry_hours, x.hours_min)
               for x in (s.limits[k] for k in mine)]  # fmt: skip
    key = repr(_parts(asked)).encode() + repr((s.source, s.on, mine, placing)).encode()
    names = [s.limits[k].name for k in mine]
    if held.get("key") != key and held.get("quick") and held.get("names") == (s.on, names):
        stands = _with_pins(held["found"], asked[0])
        return replace(_as_planned(s, free, wish, mine, stands, held_days), provisional=True)
    if held.get("key") != key:
        found = share.share(*asked, _packing(s, mine, asked[0]))
        held.update(key=key, found=found, names=(s.on, names))
    return _as_planned(s, free, wish, mine, held["found"], held_days)


def _with_pins(found: Shared, blocks: Blocks) -> Shared:
    """Return a shared plan with what is pinned now in its place, and nothing on closed days."""
    pinned = ~np.isnan(blocks.pinned_h)
    stands = np.where(blocks.may[:WEEK], found.hours, 0.0)
    return replace(found, hours=np.where(pinned, np.nan_to_num(blocks.pinned_h), stands))


def _wish_mm(s: Situation, net_mm: Values, mine: Sequence[int]) -> Values:
    """Return the depths the blocks want, ``net_mm`` itself where no pump holds any of them back.

    Sets no longer than the pump runs in a day, and none while it is out of order, are part of every
    choice; where that leaves a block short, what it wants is chosen without, so that the shortage
    can be told and shared.
    """
    wish = net_mm
    week = s.coming.rows(slice(0, WEEK))
    for k in mine:
        limits, pick = s.limits[k], s.picks[k]
        cut = limits.own_hours_max is not None and s.options[k].too_long_h[pick] > _SLACK
        if not cut and limits.own_days is None:
            continue
        free = replace(limits, hours_max=limits.own_hours_max or limits.hours_max,
                       may_water=limits.own_days or limits.may_water)  # fmt: skip
        wanted = plan.choices(week, s.state, free, k).depth_mm[0]
        if wanted.sum() > net_mm[:, k].sum() + QUARTER_H * (limits.net_mm_per_hour or 0.0):
            wish = wish.copy() if wish is net_mm else wish
            wish[:, k] = wanted
    return wish


def _parts(asked: tuple[Blocks, Supply]) -> list[Any]:
    values = [v for part in asked for v in vars(part).values()]
    return [v.tobytes() if isinstance(v, np.ndarray) else v for v in values]


def _can_share(limits: BlockLimits, source: Source) -> bool:
    """Return whether a block can be watered at all; one that wants more than its pump cannot."""
    rate, most = limits.net_mm_per_hour, source.pump(limits.pump).m3_h
    if most is not None and (limits.flow_m3_h or 0.0) > most + _SLACK:
        return False
    days = limits.may_water if limits.own_days is None else limits.own_days
    return bool(rate and limits.longest_h > 0 and (any(days) or limits.pins))


def _too_much(free: Planned, source: Source) -> bool:
    """Return whether the freely chosen week is more than a day or the water right carries."""
    if any(d.over_hours > _SLACK or d.over_valves or d.over_m3 > _SLACK for d in free.pump_days):
        return True
    m3 = [d.m3 for d in free.pump_days]
    return any(sum(m3[r.first : r.last + 1]) > r.m3 + _SLACK for r in source.rights)


# ------------------------------------------------------------------ the problem in arrays


def _problem(
    s: Situation, free: Planned, wish_mm: Values, mine: Sequence[int]
) -> tuple[Blocks, Supply]:
    """Return the blocks that share and what the source can do, as arrays."""
    columns = np.array(mine)
    account, limit = _free_run(s, wish_mm, columns)
    limits = [s.limits[k] for k in mine]
    numbers = [_stage_numbers(s, k) for k in mine]
    first = np.array([x.priority for x in limits])
    use = account.etc_mm[:DAYS] - _on_leaves(s, columns)
    floor = np.array([n.floor for n in numbers])
    ends = (WEEK - 1, DAYS - 1)
    made = Blocks(
        dr_mm=s.state.dr_mm[columns], use_mm=use, rain_mm=_rain_at_roots(s, columns),
        limit_mm=limit, ends=ends, target_mm=account.dr_mm[list(ends)] + _SLACK,
        step_mm=share.steps_mm(use, floor), place=first.max() - first,
        weight=np.array([n.weight for n in numbers]),
        hectares=np.array([x.area_ha or 0.0 for x in limits]),
        rate_mm_h=np.array([x.net_mm_per_hour or 0.0 for x in limits]),
        flow_m3_h=np.array([x.flow_m3_h or 0.0 for x in limits]),
        shortest_h=np.array([x.hours_min for x in limits]),
        longest_h=np.array([x.longest_h for x in limits]),
        pulse_h=np.array([x.on_min / 60 if x.on_min else np.inf for x in limits]),
        may=_may(s, mine), pinned_h=_pinned(s, mine),
        before_mm=_before(s, free.net_mm, mine),
        most_mm=wish_mm[:, mine].sum(axis=0)
        + QUARTER_H * np.array([x.net_mm_per_hour or 0.0 for x in limits]),
        pump_cuts=np.array([x.own_hours_max is not None or x.own_days is not None for x in limits]),
    )  # fmt: skip
    supply = _supply(s, limits)
    return _with_feeds(s, free, mine, made, supply), supply


def _stage_numbers(s: Situation, k: int) -> stage.StageNumbers:
    p = s.prepared[k]
    return stage.numbers(
        p.clock.stage_on(s.on), s.known.orchard.stage_numbers, p.block.stage_numbers
    )


def _free_run(s: Situation, net_mm: Values, columns: Any) -> tuple[Account, Values]:
    """Run the free week and one like it through the balance; and the limit of 14 mornings."""
    days = s.coming.rows(slice(0, DAYS + 1)).columns(columns)
    water = np.zeros(days.et0_mm.shape)
    for j, k in enumerate(columns):
        water[:WEEK, j] = net_mm[:, k]
        mask = s.options[k].masks[s.picks[k]]
        again = mask & np.array(s.limits[k].may_water)
        if again.any():
            water[WEEK:DAYS, j] = again * (WEEK * s.options[k].daily_mm / again.sum())
    state = State(*(getattr(s.state, f)[columns] for f in State.__dataclass_fields__))
    account, _ = balance.run(replace(days, irrigation_mm=water), state)
    limit = np.maximum(days.allowed_mm, account.etc_potential_mm)[1:]
    for j, k in enumerate(columns):
        until = s.prepared[k].block.dry_until
        if until is not None:  # dried down on purpose: no morning of it counts
            limit[: max(0, (until - s.on).days), j] = np.inf
    return account, limit


def _on_leaves(s: Situation, columns: Any) -> Values:
    d = s.coming
    return np.minimum(d.rain_mm[:DAYS, columns], d.interception_mm[columns])


def _rain_at_roots(s: Situation, columns: Any) -> Values:
    d, days = s.coming, slice(0, DAYS)
    rain = d.rain_mm[days, columns] - _on_leaves(s, columns) - d.runoff_mm[days, columns]
    return np.asarray(np.maximum(rain, 0.0) * d.rain_reach[columns])


def _may(s: Situation, mine: Sequence[int]) -> Any:
    """Days of both weeks on which each block may be watered, shape (14, blocks)."""
    may = np.zeros((DAYS, len(mine)), dtype=bool)
    off = s.known.orchard.days_off
    for j, k in enumerate(mine):
        may[:WEEK, j] = s.limits[k].may_water
        until = s.prepared[k].block.dry_until
        for day in range(WEEK, DAYS):
            date = s.on + dt.timedelta(days=day)
            dry = until is not None and date <= until
            may[day, j] = WEEKDAYS[date.weekday()] not in off and not dry
    return may


def _pinned(s: Situation, mine: Sequence[int]) -> Values:
    """Return the hours the grower has fixed, shape (7, blocks), NaN where free."""
    pinned = np.full((WEEK, len(mine)), np.nan)
    for j, k in enumerate(mine):
        for day, hours in s.limits[k].pins.items():
            if 0 <= day < WEEK:
                pinned[day, j] = hours
    return pinned


def _with_feeds(
    s: Situation, free: Planned, mine: Sequence[int], made: Blocks, supply: Supply
) -> Blocks:
    """Hold the waterings that wash a feed in, first stages first, as far as the source goes."""
    for j in sorted(range(len(mine)), key=lambda j: (-made.place[j], j)):
        limits, held = s.limits[mine[j]], made.pinned_h.copy()
        for soak in limits.soaks:
            got = 0.0
            for x in (x for x in free.plans[mine[j]].sets if x.day in soak.days and x.hours):
                if got < soak.least_mm and np.isnan(held[x.day, j]):
                    held[x.day, j] = min(x.hours or 0.0, limits.longest_h)
                got += x.net_mm
        if limits.soaks:
            tried = replace(made, pinned_h=held)
            made = tried if share.pins_fit(tried, supply) else made
    return made


def _before(s: Situation, net_mm: Values, mine: Sequence[int]) -> Values:
    """Depths the shared week keeps to where it can: as handed out, else as freely chosen."""
    before = net_mm[:, mine].copy()
    if s.given is None:
        return before
    covered = [s.given.covers(s.on + dt.timedelta(days=d)) for d in range(WEEK)]
    before[covered] = 0.0
    column = {s.prepared[k].block.id: j for j, k in enumerate(mine)}
    for item in s.given.sets:
        day, j = (item.date - s.on).days, column.get(item.block_id)
        if j is not None and 0 <= day < WEEK and covered[day]:
            before[day, j] += item.mm * s.limits[mine[j]].efficiency
    return before


def _supply(s: Situation, limits: Sequence[BlockLimits]) -> Supply:
    source = s.source
    names = [p.name for p in source.pumps]
    open_h = np.zeros((DAYS, len(names)))
    for j, p in enumerate(source.pumps):
        open_h[:WEEK, j] = [source.day_hours(p.name, d) for d in range(WEEK)]
        open_h[WEEK:, j] = source.day_hours(p.name) if p.runs[WEEK] else 0.0
    most = source.valves_a_day
    return Supply(
        pump=np.array([names.index(x.pump) if x.pump in names else 0 for x in limits]),
        pump_m3_h=np.array([p.m3_h if p.m3_h is not None else np.inf for p in source.pumps]),
        open_h=open_h, budgets=_budgets(s),
        openings=None if most is None else np.full(DAYS, float(most)),
    )  # fmt: skip


def _budgets(s: Situation) -> tuple[Budget, ...]:
    """Return what rights and tank leave for spans of the 14 days."""
    found = []
    a_week = s.known.orchard.right_m3_week
    for r in s.source.rights:
        open_end = r.last >= WEEK - 1
        if r.kind == "year":
            found.append(Budget("right_year", r.first, DAYS - 1 if open_end else r.last, r.m3))
            continue
        last = r.last
        if open_end:  # the days of this right's week that lie past the seven
            last = min(DAYS - 1, r.last + (6 - (s.on + dt.timedelta(days=r.last)).weekday()))
            if a_week is not None and last < DAYS - 1:
                found.append(Budget("right_week", last + 1, DAYS - 1, a_week))
        found.append(Budget("right_week", r.first, last, r.m3))
    tank = s.source.tank
    if tank is not None:
        for a in range(WEEK):
            for b in range(a, DAYS):
                full = tank.now_m3 if a == 0 else tank.m3
                found.append(Budget("tank", a, b, full + 24.0 * tank.fill_m3_h * (b - a + 1)))
    return tuple(found)


def _packing(s: Situation, mine: Sequence[int], blocks: Blocks) -> share.Pack:
    """Return the exact packing of a day for the sharing."""

    def pack(
        day: int, hours: Values, most: Values, order: Sequence[int]
    ) -> tuple[Values, share.Starts]:
        items = []
        for j in order:
            x = s.limits[mine[j]]
            fixed = not np.isnan(blocks.pinned_h[day, j])
            item = PlannedSet(day, 0.0, 0.0, None, float(hours[j]), 0.0, 0.0, fixed,
                              x.pin_starts.get(day))  # fmt: skip
            items.append((replace(item, **plan.pulses_of_hours(float(hours[j]), x)), x))
        keep = [blocks.step_mm[0, j] <= _SLACK for j in order]  # stages that stay whole
        placed = squeezed(items, s.source, day, [float(most[j]) for j in order], keep)
        fits, starts = np.zeros(len(hours)), np.full(len(hours), -1, dtype=np.int64)
        for j, put in zip(order, placed, strict=True):
            if put is not None and put.start is not None:
                fits[j] = put.hours
                starts[j] = slot(put.start)
        return fits, starts

    return pack


# ------------------------------------------------------------------ the result as a plan


def _as_planned(
    s: Situation, free: Planned, wish_mm: Values, mine: Sequence[int], found: Shared,
    held_days: dict[int, Any],
) -> Planned:  # fmt: skip
    """Turn what was shared into plans with starts, and say who gave what."""
    net = free.net_mm.copy()
    for j, k in enumerate(mine):
        net[:, k] = found.hours[:, j] * (s.limits[k].net_mm_per_hour or 0.0)
    week = s.coming.rows(slice(0, WEEK))
    as_planned, _ = balance.run(replace(week, irrigation_mm=net), s.state)
    as_wished, _ = balance.run(replace(week, irrigation_mm=wish_mm), s.state)
    plans = [plan.block_plan(s.options[k], s.picks[k], x, net[:, k])
             for k, x in enumerate(s.limits)]  # fmt: skip
    gave = []
    for j, k in enumerate(mine):
        past = _past_limit(s, as_planned, k)
        less = float(wish_mm[:, k].sum() - net[:, k].sum())
        if less <= QUARTER_H * (s.limits[k].net_mm_per_hour or 0.0) + _SLACK:
            less = 0.0  # no more than rounding to quarter hours moves
        code = found.codes[j] if less > 0 else None
        if code == "pump_hours" and s.limits[k].own_days is not None:
            code = "pump_out"
        plans[k] = replace(plans[k], past_limit_mm=float(past.sum()), given_up_mm=less, limit=code)
        dry = int((past > 0).sum())
        wished = int((_past_limit(s, as_wished, k) > 0).sum())
        if less > 0 or dry > wished:
            per_mm = (s.limits[k].area_ha or 0.0) * 10.0 / s.limits[k].efficiency
            gave.append(GaveUp(s.limits[k].name, less, less * per_mm, code, dry, wished))
    made = shifts.timetable(plans, s.limits, s.source, held_days)
    if any(x.over for p in made[0] for x in p.sets):  # the very starts the sharing found
        made = shifts.timetable(_started(plans, mine, found), s.limits, s.source)
    order = sorted(gave, key=lambda g: (-g.given_up_m3, g.block))
    shared = SharedWeek(found.gap, found.avoided, tuple(order), found.breaks, found.solved)
    return Planned(net, *made, shared)


def _past_limit(s: Situation, account: Account, k: int) -> Values:
    """Millimetres past the limit in the seven mornings to come, those not on purpose."""
    mornings = account.dr_mm[:, k]
    allowed = s.coming.allowed_mm[1 : WEEK + 1, k]
    use = account.etc_potential_mm[:, k]
    past = np.maximum(mornings - np.maximum(allowed, np.append(use[1:], use[-1])), 0.0)
    until = s.prepared[k].block.dry_until
    if until is not None:
        past[: max(0, (until - s.on).days)] = 0.0
    return np.where(past > stress.TOLERANCE_MM, past, 0.0)


def _started(plans: list[BlockPlan], mine: Sequence[int], found: Shared) -> list[BlockPlan]:
    """Give every shared set the start it was packed at."""
    result = list(plans)
    for j, k in enumerate(mine):
        sets = []
        for item in plans[k].sets:
            quarter = int(found.starts[item.day, j])
            if item.start is None and quarter >= 0:
                item = replace(item, start=dt.time(quarter // 4, quarter % 4 * 15))
            sets.append(item)
        result[k] = replace(plans[k], sets=tuple(sets))
    return result
