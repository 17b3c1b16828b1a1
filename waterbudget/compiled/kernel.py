"""The step of ``balance`` for compiled runs; importing this module takes numba and a second.

The order of a day is the one written in ``balance``, operation for operation, so that nothing is
rounded otherwise.  Blocks are taken in tiles through all their days.  A tile lives in one scratch
array whose rows lie at fixed places: the compiler sees that no row runs into another, and with
``a if a < b else b`` in place of ``min`` it takes several blocks in one instruction.  In each such
line the value that may be NaN comes last, so that what is not known stays so, as in numpy.

Tiles are brought and taken away as plain memory, by address: a view of an array for every row
would be counted in and out and cost more than the day itself.  So the caller must see to it that
every table has the size it says (``compiled`` does).

The one compiled function lets other threads run (``nogil``) and takes a part of the blocks; a run
on two threads calls it twice.  There is no second, parallel form which could take the first one's
place in the folder where numba keeps what it compiled.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from waterbudget.balance import P_AT_MM, P_HIGH, P_LOW, P_PER_MM, RAIN_WETS_ALL_MM

TILE = 256  # blocks: long enough a piece of every day's row, small enough for the cache
ROW = TILE + 8  # numbers; rows a power of two apart would drive each other out of the cache
WIDE, NARROW = 8, 4  # bytes of a stored number
LINE = 64  # bytes the memory brings at once

# Rows of the scratch array, as places of their first block.  The account's entries come first, in
# the order of its columns, then the tables of ``DAILY`` and ``READINGS``.
(
    KS, KE, KR, DEMAND, EVAPORATION, TRANSPIRATION, DRAINAGE, CORRECTION, DR_START, DR, DE, RAW,
    CLOSURE, ET0, KCB, KC_MAX, FEW_WATER, FEW_RAIN, TAW, RAIN, RUNOFF, WATER, FACTOR, READ, SHARE,
    FLOOR, FULL, TEW, HARD, P_REST, P_SLOPE, WETTED, REACH, LEAVES, EVAPORATES, AFTER_RAIN, BEFORE,
    END,
) = range(0, 38 * ROW, ROW)  # fmt: skip
DAILY = ("et0_mm", "kcb", "kc_max", "few_water", "few_rain", "taw_mm", "rain_mm", "runoff_mm",
         "irrigation_mm", "kc_factor")  # fmt: skip
READINGS = ("read_mm", "read_share", "read_floor")


class Tables(NamedTuple):
    """Where the tables of days by blocks lie; meanings as in ``Drivers``."""

    blocks: int
    daily: Any  # addresses of ``DAILY``, 64-bit numbers
    strides: Any  # how many numbers further the next day lies: blocks, or 0 for one row
    full: int  # address, one byte each
    readings: Any  # addresses of ``READINGS``, 64-bit; looked at on days of ``read_days`` only
    read_days: Any  # (days,)
    entries: Any  # which columns of the account are kept, by their place in it
    kept: Any  # addresses of these
    bytes_kept: int  # ``WIDE`` or ``NARROW``


class Blocks(NamedTuple):
    """What does not change; shape (blocks,).  Meanings as in ``Drivers``."""

    tew_mm: Any
    rew_mm: Any
    p_stress: Any
    p_moves: Any
    wetted_fraction: Any
    rain_reach: Any
    interception_mm: Any
    single: Any


class Standing(NamedTuple):
    """The fields of ``State``, shape (blocks,); brought from the start to the end of the run."""

    dr_mm: Any
    de_mm: Any
    after_rain: Any
    taw_mm: Any


@intrinsic
def _move(typing: Any, to: Any, source: Any, size: Any) -> Any:
    """Copy ``size`` bytes from one address to another."""

    def write(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        byte = cgutils.voidptr_t
        ends = [builder.inttoptr(address, byte) for address in given[:2]]
        cgutils.raw_memcpy(builder, *ends, given[2], 1)
        return context.get_dummy_value()

    return types.void(types.int64, types.int64, types.int64), write


@intrinsic
def _fetch(typing: Any, address: Any) -> Any:
    """Ask for the memory at an address ahead of its use; harmless wherever it points."""

    def write(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        whole, byte = ir.IntType(32), cgutils.voidptr_t
        kind = ir.FunctionType(ir.VoidType(), [byte, whole, whole, whole])
        ask = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0")
        use = [ir.Constant(whole, v) for v in (0, 3, 1)]  # to read, to keep, data
        builder.call(ask, [builder.inttoptr(given[0], byte), *use])
        return context.get_dummy_value()

    return types.void(types.int64), write


@intrinsic
def _wide_at(typing: Any, address: Any) -> Any:
    """Take an address for that of 64-bit numbers."""
    return _pointer(types.float64)


@intrinsic
def _narrow_at(typing: Any, address: Any) -> Any:
    """Take an address for that of 32-bit numbers."""
    return _pointer(types.float32)


@intrinsic
def _marks_at(typing: Any, address: Any) -> Any:
    """Take an address for that of yes and no, a byte each."""
    return _pointer(types.uint8)


def _pointer(kind: Any) -> Any:
    def write(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        return builder.inttoptr(given[0], context.get_value_type(signature.return_type))

    return types.CPointer(kind)(types.int64), write


@numba.njit(error_model="numpy")
def _begin(s, first, n, taw, blocks, standing):  # type: ignore[no-untyped-def]
    """Lay what does not change and where the run stands into the scratch array."""
    for k in range(n):
        b = first + k
        slope = P_PER_MM if blocks.p_moves[b] else 0.0
        s[TEW + k] = blocks.tew_mm[b]
        s[HARD + k] = blocks.tew_mm[b] - blocks.rew_mm[b]
        s[P_SLOPE + k] = slope
        s[P_REST + k] = blocks.p_stress[b] + P_AT_MM * slope
        s[WETTED + k] = blocks.wetted_fraction[b]
        s[REACH + k] = blocks.rain_reach[b]
        s[LEAVES + k] = blocks.interception_mm[b]
        s[EVAPORATES + k] = 0.0 if blocks.single[b] else 1.0
        s[DR + k] = standing.dr_mm[b]
        s[DE + k] = standing.de_mm[b]
        s[AFTER_RAIN + k] = 1.0 if standing.after_rain[b] else 0.0
        before = standing.taw_mm[b]
        s[BEFORE + k] = taw[k] if np.isnan(before) else before


@numba.njit(error_model="numpy", forceinline=True)
def _morning(s, place, i, first, n, tables):  # type: ignore[no-untyped-def]
    """Lay what day ``i`` brings into the scratch array, which lies at ``place``."""
    for j in range(len(tables.daily)):
        source = tables.daily[j] + (i * tables.strides[j] + first) * WIDE
        _move(place + (ET0 + j * ROW) * WIDE, source, n * WIDE)
    at = i * tables.blocks + first
    full = _marks_at(tables.full + at)
    for k in range(n):
        s[FULL + k] = full[k]
    if tables.read_days[i]:
        for j in range(len(tables.readings)):
            source = tables.readings[j] + at * WIDE
            _move(place + (READ + j * ROW) * WIDE, source, n * WIDE)
    elif i > 0 and tables.read_days[i - 1]:
        s[READ:FULL] = 0.0


@numba.njit(error_model="numpy", forceinline=True)
def _tomorrow(i, first, n, tables):  # type: ignore[no-untyped-def]
    """Ask for what day ``i`` reads: days lie too far apart for the machine to foresee it."""
    for j in range(len(tables.daily)):
        source = tables.daily[j] + (i * tables.strides[j] + first) * WIDE
        for k in range(0, n * WIDE, LINE):
            _fetch(source + k)


@numba.njit(error_model="numpy", forceinline=True)
def _evening(s, place, i, first, n, tables):  # type: ignore[no-untyped-def]
    """Keep what is asked for of day ``i``."""
    at = (i * tables.blocks + first) * tables.bytes_kept
    for j in range(len(tables.entries)):
        row = place + tables.entries[j] * ROW * WIDE
        if tables.bytes_kept == WIDE:
            _move(tables.kept[j] + at, row, n * WIDE)
        else:
            source, to = _wide_at(row), _narrow_at(tables.kept[j] + at)
            for k in range(n):
                to[k] = np.float32(source[k])


@numba.njit(error_model="numpy")
def _day(s, n):  # type: ignore[no-untyped-def]
    """Take one day for all blocks of the tile; steps as numbered in ``balance``."""
    for k in range(n):
        et0, kcb, taw, tew = s[ET0 + k], s[KCB + k], s[TAW + k], s[TEW + k]
        rain, water, start = s[RAIN + k], s[WATER + k], s[DR + k]
        after_rain = 0.0 if water > 0.0 else s[AFTER_RAIN + k]
        after_rain = 1.0 if rain >= RAIN_WETS_ALL_MM else after_rain
        few_rain, few_water = s[FEW_RAIN + k], s[FEW_WATER + k]
        few = few_rain if after_rain > 0.5 else few_water
        most = s[LEAVES + k]
        leaves = most if most < rain else rain
        soaked = rain - leaves - s[RUNOFF + k]
        soaked = 0.0 if soaked < 0.0 else soaked
        reached = soaked * s[REACH + k]
        takes = kcb * s[FACTOR + k] * et0
        own = s[EVAPORATES + k] * s[FACTOR + k]

        # 1. roots, then a reading
        kept = taw / s[BEFORE + k]
        dr = start * (1.0 if kept > 1.0 else kept)
        apart = s[READ + k] - dr
        drier = 0.0 if apart < 0.0 else apart
        pull = s[SHARE + k] * (drier if s[FLOOR + k] > 0.0 else apart)
        correction = start - dr - pull
        dr = dr + pull

        # 3. surface
        dry = s[DE + k] - (soaked + water / s[WETTED + k])
        dry = 0.0 if dry < 0.0 else dry
        surface = tew - dry
        kr = surface / s[HARD + k]
        kr = 1.0 if kr > 1.0 else kr
        ke_free = s[KC_MAX + k] - kcb
        ke_free = (0.0 if ke_free < 0.0 else ke_free) * own
        ke_most = few * s[KC_MAX + k] * own
        ke = kr * ke_free
        ke = ke_most if ke_most < ke else ke

        # 2. the trees slow down
        air_takes = ke * et0
        demand = takes + air_takes
        p = s[P_REST + k] - s[P_SLOPE + k] * demand
        p = P_LOW if p < P_LOW else p
        p = P_HIGH if p > P_HIGH else p
        raw = p * taw
        ks = (taw - dr) / (taw - raw)
        ks = 0.0 if ks < 0.0 else ks
        ks = 1.0 if ks > 1.0 else ks

        # 3. roots
        room = dr - (reached + water)
        missing = 0.0 if room < 0.0 else room

        # 4. evaporation and transpiration
        held = taw - missing
        lies = few * surface
        evaporation = lies if lies < air_takes else air_takes
        evaporation = held if held < evaporation else evaporation
        transpiration = ks * takes
        left = held - evaporation
        transpiration = left if left < transpiration else transpiration
        end = missing + evaporation + transpiration
        de = dry + evaporation / few
        de = tew if de > tew else de

        # 5. known full
        full = s[FULL + k] > 0.0
        correction = correction + (end if full else 0.0)
        end = 0.0 if full else end
        de = 0.0 if full else de

        drainage = missing - room + (soaked - reached)
        evaporation = evaporation + leaves
        s[KS + k] = ks
        s[KE + k] = ke
        s[KR + k] = kr
        s[DEMAND + k] = demand
        s[EVAPORATION + k] = evaporation
        s[TRANSPIRATION + k] = transpiration
        s[DRAINAGE + k] = drainage
        s[CORRECTION + k] = correction
        s[DR_START + k] = start
        s[DR + k] = end
        s[DE + k] = de
        s[RAW + k] = raw
        s[CLOSURE + k] = (
            end - start + rain + water + correction - s[RUNOFF + k] - drainage - evaporation
            - transpiration
        )  # fmt: skip
        s[AFTER_RAIN + k] = after_rain
        s[BEFORE + k] = taw


@numba.njit(nogil=True, cache=True, error_model="numpy")
def run_part(start, stop, days, tables, blocks, standing):  # type: ignore[no-untyped-def]
    """Run blocks ``start`` to ``stop`` through all days.

    Parameters
    ----------
    start, stop, days : int
    tables, blocks, standing : Tables, Blocks, Standing
        Of all blocks; ``standing`` is brought to the end of the run.
    """
    s = np.ones(END)
    place = s.ctypes.data
    for first in range(start, stop, TILE):
        n = min(TILE, stop - first)
        s[READ:FULL] = 0.0
        _morning(s, place, 0, first, n, tables)
        _begin(s, first, n, s[TAW:RAIN], blocks, standing)
        for i in range(days):
            _morning(s, place, i, first, n, tables)
            if i + 1 < days:
                _tomorrow(i + 1, first, n, tables)
            _day(s, -(-n // 8) * 8)  # whole instructions
            _evening(s, place, i, first, n, tables)
        for k in range(n):
            standing.dr_mm[first + k] = s[DR + k]
            standing.de_mm[first + k] = s[DE + k]
            standing.after_rain[first + k] = s[AFTER_RAIN + k] > 0.5
            standing.taw_mm[first + k] = s[BEFORE + k]
