"""The daily balance as the app runs it, and compiled (``waterbudget.compiled``), beside a C loop.

Run it with ``python tests/benchmarks/bench_kernel.py`` (``--big`` adds 100,000 blocks in portions,
``--whole`` the same in one piece, which needs 12 GB; ``--once`` takes every case once: a look
only).  8,000 x 30 is 40 years of weather for 200 blocks over 30
days, every year and block a column.  No block has soil readings.

Both sides get the same days, fill the same account (13 columns, 64-bit, new memory every time) and
take turns, so that a busy machine slows both; the best of the turns counts.  ``memory alone``
makes and fills an account and works out nothing: no run can be quicker.  The C is compiled in the
same run with ``gcc -O3 -march=native``; without gcc its rows are left out.  Before anything is
timed both results are laid side by side: more than 1e-9 apart is an error.  Nothing is asserted on
time.

The numba rows are ``run_big``; without numba they are left out.  Rows with ``32-bit`` compute in
64-bit and store in 32: numpy the whole account, numba the five columns ``run_big`` keeps by itself,
into memory used again from turn to turn.

Memory: ``in`` is what the days take, ``peak`` what the run takes on top, its account included.
"""

from __future__ import annotations

import argparse
import ctypes
import shutil
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from waterbudget import balance  # noqa: E402
from waterbudget import compiled as scale  # noqa: E402
from waterbudget.balance import Account, Drivers, State  # noqa: E402

CASES = ((20, 1095), (200, 1095), (8_000, 30), (10_000, 365))
BIG = (100_000, 365)
PORTION = 10_000  # blocks at once; more are taken in portions of as many, one after the other
SAME = 1e-9
GCC = ("gcc", "-O3", "-march=native", "-shared", "-fPIC", "-std=c11")

DAILY = ("et0_mm", "kcb", "kc_max", "few_water", "few_rain", "taw_mm", "rain_mm", "runoff_mm",
         "irrigation_mm")  # fmt: skip
EACH = ("tew_mm", "rew_mm", "p_stress", "wetted_fraction", "rain_reach", "interception_mm",
        "kc_factor")  # fmt: skip
MARKS = ("full", "p_moves", "single")

C_SOURCE = r"""
/* Days by blocks, blocks side by side in memory; a tile of blocks is taken through all its days. */
#define TILE 256
#define MIN(a, b) ((a) < (b) ? (a) : (b))
#define MAX(a, b) ((a) > (b) ? (a) : (b))
#define IN(name, table, place, first) const double *name = table[place] + (first)
#define OUT(name, place, first) double *name = out[place] + (first)
enum {ET0, KCB, KC_MAX, FEW_WATER, FEW_RAIN, TAW, RAIN, RUNOFF, IRRIGATION};
enum {TEW, REW, P, WETTED, REACH, LEAVES, FACTOR};
enum {KS, KE, KR, DEMAND, EVAPORATION, TRANSPIRATION, DRAINAGE, CORRECTION, DR_START, DR, DE, RAW,
      CLOSURE};
typedef unsigned char mark;

/* What a tile of blocks keeps from one day to the next, and what does not change. */
struct tile {
    double dr[TILE], de[TILE], taw[TILE], wet[TILE];
    double moves[TILE], own[TILE];
};

static void one_day(long n, long at, long first, struct tile *restrict t, const double *const *day,
                    const double *const *each, const mark *restrict full, double *const *out)
{
    IN(et0, day, ET0, at); IN(kcb_in, day, KCB, at); IN(kc_max, day, KC_MAX, at);
    IN(few_water, day, FEW_WATER, at); IN(few_rain, day, FEW_RAIN, at); IN(taw, day, TAW, at);
    IN(rain, day, RAIN, at); IN(runoff, day, RUNOFF, at); IN(irrigation, day, IRRIGATION, at);
    IN(tew, each, TEW, first); IN(rew, each, REW, first); IN(p_in, each, P, first);
    IN(wetted, each, WETTED, first); IN(reach, each, REACH, first);
    IN(leaves_in, each, LEAVES, first); IN(factor, each, FACTOR, first);
    OUT(ks_out, KS, at); OUT(ke_out, KE, at); OUT(kr_out, KR, at); OUT(demand_out, DEMAND, at);
    OUT(evaporation_out, EVAPORATION, at); OUT(transpiration_out, TRANSPIRATION, at);
    OUT(drainage_out, DRAINAGE, at); OUT(correction_out, CORRECTION, at);
    OUT(start_out, DR_START, at); OUT(dr_out, DR, at); OUT(de_out, DE, at); OUT(raw_out, RAW, at);
    OUT(closure_out, CLOSURE, at);
    double known[TILE];
    for (long k = 0; k < n; k++)
        known[k] = full[at + k];

#pragma GCC ivdep
    for (long k = 0; k < n; k++) {
        double water = irrigation[k], kcb = kcb_in[k] * factor[k], room_for = taw[k];
        double start = t->dr[k], kept = room_for / t->taw[k];
        double dr = start * MIN(kept, 1.0), correction = start - dr;

        double wet = water > 0.0 ? 0.0 : t->wet[k];
        wet = rain[k] >= 3.0 ? 1.0 : wet;
        double few = few_water[k], few_wide = few_rain[k];
        few = wet > 0.5 ? few_wide : few;
        double leaves = MIN(rain[k], leaves_in[k]);
        double soaked = rain[k] - leaves - runoff[k], reached = soaked * reach[k];

        double left = t->de[k] - (soaked + water / wetted[k]);
        double surface = tew[k] - MAX(left, 0.0);
        double kr = surface / (tew[k] - rew[k]);
        kr = MAX(kr, 0.0);
        kr = MIN(kr, 1.0);
        double air = kc_max[k] - kcb_in[k];
        double ke = kr * (MAX(air, 0.0) * t->own[k]), most = few * kc_max[k] * t->own[k];
        ke = MIN(ke, most);

        double demand = (kcb + ke) * et0[k];
        double p = p_in[k] + t->moves[k] * (0.04 * (5.0 - demand));
        p = MAX(p, 0.1);
        p = MIN(p, 0.8);
        double raw = p * room_for, ks = (room_for - dr) / (room_for - raw);
        ks = MAX(ks, 0.0);
        ks = MIN(ks, 1.0);

        double room = dr - reached - water, drains = MAX(-room, 0.0);
        room = MAX(room, 0.0);
        double evaporates = ke * et0[k], held = few * surface, there = room_for - room;
        evaporates = MIN(evaporates, held);
        evaporates = MIN(evaporates, there);
        double takes = ks * kcb * et0[k];
        there -= evaporates;
        takes = MIN(takes, there);
        double end = room + evaporates + takes, open = tew[k] - surface + evaporates / few;
        open = MIN(open, tew[k]);
        correction += known[k] * end;
        end *= 1.0 - known[k];
        open *= 1.0 - known[k];

        double drainage = drains + (soaked - reached), evaporation = evaporates + leaves;
        ks_out[k] = ks;
        ke_out[k] = ke;
        kr_out[k] = kr;
        demand_out[k] = demand;
        evaporation_out[k] = evaporation;
        transpiration_out[k] = takes;
        drainage_out[k] = drainage;
        correction_out[k] = correction;
        start_out[k] = start;
        dr_out[k] = end;
        de_out[k] = open;
        raw_out[k] = raw;
        closure_out[k] = end - start + rain[k] + water + correction - runoff[k] - drainage
                         - evaporation - takes;
        t->dr[k] = end;
        t->de[k] = open;
        t->wet[k] = wet;
        t->taw[k] = room_for;
    }
}

void run(long days, long blocks, long from, long to, const double *const *day,
         const double *const *each, const mark *full, const mark *p_moves, const mark *single,
         double *dr, double *de, mark *after_rain, double *taw, double *const *out)
{
    for (long first = from; first < to; first += TILE) {
        long n = MIN(TILE, to - first);
        struct tile t;
        for (long k = 0; k < n; k++) {
            long b = first + k;
            t.dr[k] = dr[b];
            t.de[k] = de[b];
            t.wet[k] = after_rain[b];
            t.taw[k] = taw[b] == taw[b] ? taw[b] : day[TAW][b];
            t.moves[k] = p_moves[b];
            t.own[k] = single[b] ? 0.0 : each[FACTOR][b];
        }
        for (long i = 0; i < days; i++)
            one_day(n, i * blocks + first, first, &t, day, each, full, out);
        for (long k = 0; k < n; k++) {
            dr[first + k] = t.dr[k];
            de[first + k] = t.de[k];
            after_rain[first + k] = t.wet[k] > 0.5;
            taw[first + k] = t.taw[k];
        }
    }
}
"""

Run = Callable[[Drivers, State], tuple[Account, State]]


def orchards(blocks: int, days: int, seed: int = 7) -> tuple[Drivers, State]:
    """Return invented orchards of every kind: dry and wet months, waterings, moving roots."""
    rng = np.random.default_rng(seed)
    season = np.sin(np.arange(days)[:, None] / 58.0)

    def daily(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (days, blocks))

    def each(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, blocks)

    def sometimes(share: float, *shape: int) -> np.ndarray:
        return rng.random(shape) < share

    exposed, wetted = each(0.3, 0.8), each(0.2, 1.0)
    kcb = np.clip(0.6 + 0.2 * season + daily(-0.02, 0.02), 0.1, None)
    rain = daily(0.0, 25.0) * sometimes(0.12, days, blocks)
    drivers = Drivers(
        et0_mm=4.5 + 1.5 * season + daily(-1.0, 1.0),
        kcb=kcb,
        kc_max=np.maximum(1.2 + daily(-0.05, 0.1), kcb + 0.05),
        few_water=np.broadcast_to(np.minimum(exposed, wetted), (days, blocks)).copy(),
        few_rain=np.broadcast_to(exposed, (days, blocks)).copy(),
        taw_mm=each(20.0, 90.0) * (1.0 + 0.1 * season),
        allowed_mm=np.zeros((days, blocks)),
        rain_mm=rain,
        runoff_mm=0.1 * np.maximum(rain - 15.0, 0.0),
        irrigation_mm=daily(3.0, 14.0) * sometimes(0.25, days, blocks),
        full=sometimes(0.002, days, blocks),
        tew_mm=each(12.0, 30.0),
        rew_mm=each(4.0, 10.0),
        p_stress=each(0.3, 0.6),
        p_moves=sometimes(0.9, blocks),
        wetted_fraction=wetted,
        rain_reach=each(0.7, 1.0),
        interception_mm=each(0.0, 1.0),
        kc_factor=each(0.8, 1.2),
        single=sometimes(0.05, blocks),
    )
    return drivers, State.full(blocks)


def compiled(folder: str) -> ctypes.CDLL | None:
    """Compile the C loop; None where there is no gcc."""
    if shutil.which("gcc") is None:
        return None
    source, library = Path(folder, "step.c"), Path(folder, "step.so")
    source.write_text(C_SOURCE, encoding="utf-8")
    subprocess.run([*GCC, str(source), "-o", str(library), "-lm"], check=True)
    return ctypes.CDLL(str(library))


def _table(arrays: list[np.ndarray]) -> ctypes.Array:
    assert all(a.flags.c_contiguous for a in arrays)
    return (ctypes.c_void_p * len(arrays))(*(a.ctypes.data for a in arrays))


def c_run(library: ctypes.CDLL, threads: int) -> Run:
    """Return a run like ``balance.run``; every thread takes its share of the blocks."""

    def run(d: Drivers, state: State) -> tuple[Account, State]:
        days, blocks = d.et0_mm.shape
        account = Account.empty(days, blocks)
        end = State(*(getattr(state, f.name).copy() for f in fields(State)))
        day = _table([getattr(d, name) for name in DAILY])
        each = _table([getattr(d, name) for name in EACH])
        out = _table([getattr(account, f.name) for f in fields(Account)])
        marks = [ctypes.c_void_p(getattr(d, name).ctypes.data) for name in MARKS]
        states = [ctypes.c_void_p(getattr(end, f.name).ctypes.data) for f in fields(State)]

        def part(first: int, last: int) -> None:
            sizes = (ctypes.c_long(v) for v in (days, blocks, first, last))
            library.run(*sizes, day, each, *marks, *states, out)

        cuts = [blocks * k // threads for k in range(threads + 1)]
        if threads == 1:
            part(0, blocks)
        else:
            with ThreadPoolExecutor(threads) as pool:
                list(pool.map(part, cuts[:-1], cuts[1:]))
        return account, end

    return run


def numba_run(threads: int) -> Run:
    """Return a compiled run with all columns in new memory, as the C has them."""

    def run(d: Drivers, state: State) -> tuple[Account, State]:
        kept, end = scale.run_big(d, state, keep=scale.ENTRIES, threads=threads)
        return kept.account(), end

    return run


def numba_small() -> Run:
    """Return a compiled run that keeps little, in 32-bit, in memory used again."""
    held: list[scale.Kept] = []

    def run(d: Drivers, state: State) -> None:
        if held and held[0].values.shape[1:] != d.et0_mm.shape:
            held.clear()
        out = held[0] if held else None
        kept, _ = scale.run_big(d, state, stored=np.float32, out=out, threads=2)
        held[:] = [kept]

    run.forget = held.clear
    return run


def numpy_small(d: Drivers, state: State) -> tuple[Account, State]:
    """Run numpy and store in 32-bit."""
    return balance.run(d, state, stored=np.float32)


def memory_alone(d: Drivers, state: State) -> tuple[Account, State]:
    """Make an account and fill it, no more."""
    account = Account.empty(*d.et0_mm.shape)
    for f in fields(Account):
        getattr(account, f.name).fill(0.0)
    return account, state


def apart(one: Run, other: Run, drivers: Drivers, state: State) -> float:
    """Return how far two runs differ at most, over every column and the state at the end."""
    (a, end_a), (b, end_b) = one(drivers, state), other(drivers, state)
    pairs = [(getattr(a, f.name), getattr(b, f.name)) for f in fields(Account)]
    pairs += [(getattr(end_a, n), getattr(end_b, n)) for n in ("dr_mm", "de_mm", "taw_mm")]
    assert (end_a.after_rain == end_b.after_rain).all()
    return max(float(np.abs(x - y).max()) for x, y in pairs)


def seconds(run: Run, drivers: Drivers, state: State, portions: int) -> float:
    """Return the time of one turn."""
    began = time.perf_counter()
    for _ in range(portions):
        run(drivers, state)
    return time.perf_counter() - began


def peak_bytes(run: Run, drivers: Drivers, state: State) -> int:
    """Return the memory a run takes on top of its days."""
    getattr(run, "forget", lambda: None)()
    tracemalloc.start()
    run(drivers, state)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def repeated(drivers: Drivers, state: State, times: int) -> tuple[Drivers, State]:
    """Return the same blocks several times side by side."""
    held = {f.name: getattr(drivers, f.name) for f in fields(Drivers)}
    wide = {n: np.concatenate([v] * times, axis=-1) for n, v in held.items() if v is not None}
    return Drivers(**wide), State.full(len(state.dr_mm) * times)


def case(blocks: int, days: int, runs: dict[str, Run], turns: int, whole: bool = False) -> None:
    """Print the rows of one size."""
    portions = max(1, blocks // PORTION)
    drivers, state = orchards(blocks // portions, days)
    for name, run in runs.items():
        if run is memory_alone or "32-bit" in name:
            continue
        far = apart(runs["numpy"], run, drivers, state)
        if not far <= SAME:
            raise SystemExit(f"{name} is {far:g} apart from numpy")
    if whole:
        drivers, state = repeated(drivers, state, portions)
        portions = 1
    held = (getattr(drivers, f.name) for f in fields(Drivers))
    given = sum(v.nbytes for v in held if v is not None)
    best = dict.fromkeys(runs, np.inf)
    for _ in range(turns):
        for name, run in runs.items():
            best[name] = min(best[name], seconds(run, drivers, state, portions))
    note = f" (in {portions} portions)" if portions > 1 else ""
    print(f"\n{blocks:,} blocks x {days:,} days{note}")
    base = best.get("C, 2 threads", np.nan)
    for name, run in runs.items():
        rate = blocks * days / best[name] / 1e6
        print(
            f"  {name:<17} {best[name]:9.4f} s {rate:8.1f} M block-days/s  "
            f"{best['numpy'] / best[name]:6.2f} times numpy  {best[name] / base:6.2f} of C's time  "
            f"in {given / 1e6:7.1f} MB  peak {peak_bytes(run, drivers, state) / 1e6:7.1f} MB",
            flush=True,
        )


def main() -> None:
    """Print every case."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--big", action="store_true", help="also 100,000 blocks x 365 days")
    parser.add_argument("--whole", action="store_true", help="that in one piece, and nothing else")
    parser.add_argument("--once", action="store_true", help="every case once: a look only")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        runs: dict[str, Run] = {"numpy": balance.run}
        library = compiled(folder)
        if library is None:
            print("no gcc here: numpy alone")
        else:
            runs |= {f"C, {n} thread{'s' * (n > 1)}": c_run(library, n) for n in (1, 2)}
        runs["numpy, 32-bit"] = numpy_small
        if scale.available():
            runs |= {f"numba, {n} thread{'s' * (n > 1)}": numba_run(n) for n in (1, 2)}
            runs["numba, 2, 32-bit"] = numba_small()
        else:
            print('no numba here (pip install -e ".[scale]"): its rows are left out')
        runs["memory alone"] = memory_alone
        cases = (BIG,) if asked.whole else (*CASES, *((BIG,) if asked.big else ()))
        for blocks, days in cases:
            turns = 1 if asked.once else int(max(3, min(60, 6e7 / (blocks * days))))
            case(blocks, days, runs, turns, asked.whole)


if __name__ == "__main__":
    main()
