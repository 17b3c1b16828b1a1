"""How fast the balance and the season are.  Run: python tests/benchmarks/bench_balance.py

All figures of one run stand side by side, so that a slow machine slows both sides of a ratio.  The
plain Python loop is the same day for one block after the other, without numpy and with the same
account kept, run on some of the blocks and scaled; its account is compared with ours first, so
that it is the same step.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from waterbudget import balance, season
from waterbudget.balance import Account, Drivers, State
from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.records import FarmData, Ran
from waterbudget.weather import COLUMNS, DailyRecord

FIRST = dt.date(2023, 1, 1)
PLAIN_BLOCKS = 20


def drivers(days: int, blocks: int, seed: int = 0) -> Drivers:
    """Random days for random blocks."""
    rng = np.random.default_rng(seed)

    def daily(low: float, high: float) -> Any:
        return rng.uniform(low, high, (days, blocks))

    def each(low: float, high: float) -> Any:
        return rng.uniform(low, high, blocks)

    rain = np.where(rng.random((days, blocks)) < 0.2, rng.exponential(8, (days, blocks)), 0.0)
    water = np.where(rng.random((days, blocks)) < 0.3, daily(0, 15), 0.0)
    return Drivers(
        et0_mm=daily(0, 9), kcb=daily(0.3, 0.9), kc_max=daily(1.1, 1.3),
        few_water=daily(0.1, 0.5), few_rain=daily(0.5, 0.9),
        taw_mm=np.repeat(each(20, 80)[None], days, axis=0), allowed_mm=daily(5, 20), rain_mm=rain,
        runoff_mm=np.where(rain > 20, 0.1 * rain, 0.0), irrigation_mm=water,
        full=np.zeros((days, blocks), bool), tew_mm=each(10, 20), rew_mm=each(4, 9),
        p_stress=each(0.4, 0.6), p_moves=np.ones(blocks, bool), wetted_fraction=each(0.3, 1),
        rain_reach=each(0.8, 1), interception_mm=each(0, 0.5), kc_factor=each(0.9, 1.1),
        single=np.zeros(blocks, bool),
    )  # fmt: skip


def plain_loop(d: Drivers, k: int) -> list[tuple[float, ...]]:
    """Run one block in plain Python; return its account, day by day in the order of Account."""
    days = len(d.et0_mm)
    held = {f.name: getattr(d, f.name) for f in dataclasses.fields(Drivers)}
    own = {name: v[..., k].tolist() for name, v in held.items() if v is not None}
    tew, rew, fw = own["tew_mm"], own["rew_mm"], own["wetted_fraction"]
    reach, leaf, factor, p_stress = (
        own[n] for n in ("rain_reach", "interception_mm", "kc_factor", "p_stress")
    )
    dr = de = 0.0
    after_rain, taw_before, rows = True, None, []
    for i in range(days):
        taw, et0, kcb = own["taw_mm"][i], own["et0_mm"][i], own["kcb"][i]
        rain, runoff, water = own["rain_mm"][i], own["runoff_mm"][i], own["irrigation_mm"][i]
        start = dr
        if taw_before is not None and taw_before > taw:
            dr = dr * taw / taw_before
        correction = start - dr
        if rain >= 3.0:
            after_rain = True
        elif water > 0:
            after_rain = False
        few = own["few_rain"][i] if after_rain else own["few_water"][i]
        on_leaves = min(rain, leaf)
        soaked = rain - on_leaves - runoff
        de = max(de - soaked - water / fw, 0.0)
        kr = min(max((tew - de) / (tew - rew), 0.0), 1.0)
        top = own["kc_max"][i]
        ke = 0.0 if own["single"] else factor * min(kr * max(top - kcb, 0.0), few * top)
        kcb = kcb * factor
        demand = (kcb + ke) * et0
        p = p_stress + (0.04 * (5.0 - demand) if own["p_moves"] else 0.0)
        raw = min(max(p, 0.1), 0.8) * taw
        ks = min(max((taw - dr) / (taw - raw), 0.0), 1.0)
        reached = soaked * reach
        room = dr - reached - water
        drainage = max(-room, 0.0) + soaked - reached
        room = max(room, 0.0)
        evaporation = min(ke * et0, few * (tew - de), taw - room)
        transpiration = min(ks * kcb * et0, taw - room - evaporation)
        dr = room + evaporation + transpiration
        de = min(de + evaporation / few, tew)
        evaporation += on_leaves
        if own["full"][i]:
            correction, dr, de = correction + dr, 0.0, 0.0
        missing = (dr - start + rain + water + correction
                   - runoff - drainage - evaporation - transpiration)  # fmt: skip
        taw_before = taw
        rows.append((ks, ke, kr, demand, evaporation, transpiration, drainage, correction, start,
                     dr, de, raw, missing))  # fmt: skip
    return rows


def best(what: Callable[[], Any], times: int = 5) -> float:
    """Return the shortest of a few runs [s]."""
    took = []
    for _ in range(times):
        begin = time.perf_counter()
        what()
        took.append(time.perf_counter() - begin)
    return min(took)


def compare(days: int, blocks: int) -> float:
    """Print our run beside the plain loop; return how many times faster it is."""
    d = drivers(days, blocks)
    some = min(blocks, PLAIN_BLOCKS)
    account, _ = balance.run(d, State.full(blocks))
    ours = np.stack([getattr(account, f.name)[:, :some] for f in dataclasses.fields(Account)])
    for k in range(some):
        assert np.abs(ours[:, :, k] - np.array(plain_loop(d, k)).T).max() < 1e-9
    missing = float(np.abs(account.closure_mm).max())
    assert missing < 1e-9
    del account
    took, plain = np.inf, np.inf
    for _ in range(5):  # by turns: a busy moment hits both
        took = min(took, best(lambda: balance.run(d, State.full(blocks)), 1))
        plain = min(plain, best(lambda: [plain_loop(d, k) for k in range(some)], 1))
    plain *= blocks / some
    print(f"balance {blocks:6d} blocks x {days:4d} days: {took:8.3f} s, "
          f"{blocks * days / took:12,.0f} block-days/s, plain loop {plain:8.2f} s, "
          f"ratio {plain / took:6.1f}, account misses {missing:.0e} mm")  # fmt: skip
    return plain / took


def farm(blocks: int, years: int) -> FarmData:
    """A farm of several years: pruned every 240 days, watered every third day."""
    rng = np.random.default_rng(1)
    n = 365 * years
    season_of = np.cos(2 * np.pi * np.arange(n) / 365)
    values = {name: np.full(n, np.nan) for name in COLUMNS}
    values["tmax_c"] = 27 + 4 * season_of + rng.normal(0, 1.5, n)
    values["tmin_c"] = values["tmax_c"] - 9 - 3 * rng.random(n)
    values["rh_max"][:], values["rh_min"][:], values["u2_m_s"][:] = 90.0, 50.0, 2.0
    values["rs_mj"] = 18 + 4 * season_of + rng.normal(0, 2, n)
    values["rain_mm"] = np.where(rng.random(n) < 0.2, rng.exponential(8, n), 0.0)
    made = []
    for k in range(blocks):
        prunings = range((k * 13) % 200, n, 240)
        made.append(Block(
            name=f"Block {k}", id=k + 1, area_ha=1 + 0.01 * (k % 50),
            planted_on=dt.date(2018, 1, 1),
            cycles=tuple(Cycle(FIRST + dt.timedelta(days=p)) for p in prunings),
            system=("drip", "micro")[k % 2], soil=("loam", "sandy-loam")[k % 2], flow_m3_h=20.0,
            elevation_m=900.0 + k,
        ))  # fmt: skip
    ran = tuple(
        Ran(k + 1, FIRST + dt.timedelta(days=d), hours=2.0)
        for k in range(blocks) for d in range(0, n, 3)
    )  # fmt: skip
    orchard = Orchard(
        name="Invented", lat=-19.0, lon=33.0, epsg=32736, elevation_m=950.0,
        pump_m3_h=20.0 * blocks,
        blocks=tuple(made), stations=(Station(name="Gate", id=1, elevation_m=950.0),),
    )  # fmt: skip
    return FarmData(orchard=orchard, records={"Gate": DailyRecord(FIRST, values)}, ran=ran)


def edited(data: FarmData, factor: float) -> FarmData:
    """The same farm with one block changed from the first day on."""
    blocks = list(data.orchard.blocks)
    blocks[3] = dataclasses.replace(blocks[3], kc_factor=factor)
    return dataclasses.replace(
        data, orchard=dataclasses.replace(data.orchard, blocks=tuple(blocks))
    )


def seasons() -> None:
    """Print a whole season and the edit of one block."""
    season.run(farm(4, 1))  # imports done
    for blocks in (60, 200):
        data = farm(blocks, 3)
        whole = best(lambda data=data: season.run(data), 2)
        cache = season.Cache()
        season.run(data, cache=cache)
        edits = [edited(data, 0.9 + 0.005 * j) for j in range(10)]
        after = iter(edits)
        one = best(lambda: season.run(next(after), cache=cache), len(edits))
        print(f"season  {blocks:6d} blocks x    3 years: {whole:8.3f} s, "
              f"one block edited {1000 * one:6.1f} ms, ratio {whole / one:5.1f}")  # fmt: skip


def main() -> None:
    """Print everything."""
    for days, blocks in ((1095, 1), (1095, 200), (365, 10_000)):
        compare(days, blocks)
    seasons()


if __name__ == "__main__":
    main()
