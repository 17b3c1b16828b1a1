"""Big runs of the balance: the same step, compiled where numba is installed (extra ``scale``).

:func:`run_big` is ``balance.run`` for very many columns (blocks, or years x blocks): it keeps only
the columns of the account that are asked for, 64-bit or 32-bit, and writes them again and again
into the same memory where it is handed back.  Everything is computed in 64-bit: in 32-bit a block
would now and then be watered a day early or late.  Without numba, numpy takes the same steps;
results agree to 1e-9 mm.

numba is imported at the first run and compiles for some seconds, once a machine; never call
this from the window's thread.  The app's own weeks and years run through ``balance.run``.
"""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from functools import cache
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from waterbudget import balance
from waterbudget.balance import Account, Drivers, State

ENTRIES = tuple(f.name for f in fields(Account))
KEPT = ("dr_mm", "transpiration_mm", "evaporation_mm", "drainage_mm", "ks")
SMALL_CELLS = 100_000  # days x blocks: below, a second thread costs more than it brings
LEAST = 64  # blocks of a part
PARTS_A_THREAD = 4  # so that a thread that was held up does not keep the other waiting


@dataclass(frozen=True)
class Kept:
    """Some columns of an account, in one piece of memory.

    Attributes
    ----------
    names : which columns of ``Account``
    values : ndarray, shape (names, days, blocks), 64-bit or 32-bit
    """

    names: tuple[str, ...]
    values: NDArray[Any]

    @classmethod
    def empty(
        cls, names: Sequence[str], days: int, blocks: int, stored: DTypeLike = np.float64
    ) -> Kept:
        """Return columns with nothing in them; ValueError for a name no account has."""
        unknown = [name for name in names if name not in ENTRIES]
        if unknown or np.dtype(stored) not in (np.float64, np.float32):
            raise ValueError(f"no such column or form: {unknown}, {stored}")
        return cls(tuple(names), np.empty((len(names), days, blocks), dtype=stored))

    def __getitem__(self, name: str) -> NDArray[Any]:
        """Return one column, shape (days, blocks)."""
        return self.values[self.names.index(name)]

    def account(self) -> Account:
        """Return all columns as an account over the same memory; all must have been kept."""
        return Account(**{name: self[name] for name in ENTRIES})


def run_big(
    drivers: Drivers,
    state: State,
    *,
    keep: Sequence[str] = KEPT,
    stored: DTypeLike = np.float64,
    out: Kept | None = None,
    threads: int | None = None,
) -> tuple[Kept, State]:
    """Run the balance over all days of ``drivers`` from ``state``, as ``balance.run`` does.

    Parameters
    ----------
    keep : names of ``Account`` columns
        What is kept [mm or -]; the fewer, the quicker.
    stored : float64 or float32
        How it is kept.
    out : Kept, optional
        Memory of an earlier run, used again; ``keep`` and ``stored`` are then its own.
    threads : int, optional
        As many as the machine has cores, one for small runs, where left out.

    Returns
    -------
    Kept, State
        The columns, and where the run stands after its last day, 64-bit.

    Raises
    ------
    ValueError
        For a name no account has, another form than the two, or ``out`` of another shape.
    """
    days, blocks = shape = drivers.et0_mm.shape
    kept = Kept.empty(keep, days, blocks, stored) if out is None else out
    if kept.values.shape[1:] != shape:
        raise ValueError(f"out holds {kept.values.shape[1:]} days and blocks, the run {shape}")
    kernel = _kernel()
    if kernel is None or 0 in shape:
        return kept, _with_numpy(drivers, state, kept)
    return kept, _compiled(kernel, drivers, state, kept, threads or _threads(shape))


def available() -> bool:
    """Whether numba is installed; does not import it."""
    return importlib.util.find_spec("numba") is not None


@cache
def _kernel() -> ModuleType | None:
    try:
        return importlib.import_module("waterbudget.compiled.kernel")
    except ImportError:  # not installed, or not for this numpy
        return None


def _threads(shape: tuple[int, ...]) -> int:
    if shape[0] * shape[1] < SMALL_CELLS:
        return 1
    counts = getattr(os, "sched_getaffinity", None)
    return len(counts(0)) if counts else os.cpu_count() or 1


def _with_numpy(drivers: Drivers, state: State, kept: Kept) -> State:
    for rows, part, after in balance.stretches(drivers, state):
        state = after
        for name in kept.names:
            kept[name][rows] = getattr(part, name)
    return state


def _compiled(kernel: ModuleType, d: Drivers, state: State, kept: Kept, threads: int) -> State:
    days, blocks = d.et0_mm.shape
    end = State(*(np.array(getattr(state, f.name), dtype=_type(f.name)) for f in fields(State)))
    for f in fields(State):
        _sized(f.name, getattr(end, f.name), (blocks,))
    standing = kernel.Standing(*(getattr(end, name) for name in kernel.Standing._fields))
    each = kernel.Blocks(*(_whole(d, name, (blocks,)) for name in kernel.Blocks._fields))
    tables, held = _tables(kernel, d, kept)
    tiles = -(-blocks // kernel.TILE)
    parts = min(-(-blocks // LEAST), max(threads, min(tiles, threads * PARTS_A_THREAD)))
    parts = 1 if threads == 1 else parts
    cuts = [blocks * k // parts // 8 * 8 for k in range(parts)] + [blocks]

    def part(k: int) -> None:
        kernel.run_part(cuts[k], cuts[k + 1], days, tables, each, standing)

    if parts == 1:
        part(0)
    else:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(part, range(parts)))
    del held  # until here the addresses in the tables were good
    return end


def _tables(kernel: ModuleType, d: Drivers, kept: Kept) -> tuple[Any, list[NDArray[Any]]]:
    """Return where everything lies, and the arrays that must live as long as it is used."""
    days, blocks = shape = d.et0_mm.shape
    daily = [_whole(d, name, shape) for name in kernel.DAILY[:-1]]
    one_factor = d.kc_factor.ndim == 1
    daily.append(_whole(d, "kc_factor", (blocks,) if one_factor else shape))
    full = _whole(d, "full", shape)
    read_days, readings = np.zeros(days, dtype=bool), []
    if d.read_mm is not None and d.read_share is not None:
        read_days = np.any(d.read_share > 0, axis=1)
        floor = np.zeros(shape) if d.read_floor is None else d.read_floor
        values = (d.read_mm, d.read_share, floor)
        readings = [_ready(n, v, shape) for n, v in zip(kernel.READINGS, values, strict=True)]
    columns = [kept[name] for name in kept.names]
    for name, column in zip(kept.names, columns, strict=True):
        _sized(name, column, shape)
    return kernel.Tables(
        blocks=blocks,
        daily=_addresses(daily),
        strides=np.array([blocks] * 9 + [0 if one_factor else blocks], dtype=np.int64),
        full=full.ctypes.data,
        readings=_addresses(readings),
        read_days=read_days,
        entries=np.array([ENTRIES.index(name) for name in kept.names], dtype=np.int64),
        kept=_addresses(columns),
        bytes_kept=kept.values.itemsize,
    ), [*daily, full, *readings]


_MARKS = ("full", "after_rain", "p_moves", "single")


def _type(name: str) -> type:
    return bool if name in _MARKS else float


def _addresses(arrays: Sequence[NDArray[Any]]) -> NDArray[np.int64]:
    return np.array([a.ctypes.data for a in arrays], dtype=np.int64)


def _whole(d: Drivers, name: str, shape: tuple[int, ...]) -> NDArray[Any]:
    return _ready(name, getattr(d, name), shape)


def _ready(name: str, values: NDArray[Any], shape: tuple[int, ...]) -> NDArray[Any]:
    """Return values as the kernel reads them, spread where one row or column stands for all."""
    if values.shape != shape:
        values = np.broadcast_to(values, shape)
    ready = np.require(values, dtype=_type(name), requirements=["C", "A", "W"])
    _sized(name, ready, shape)
    return ready


def _sized(name: str, values: NDArray[Any], shape: tuple[int, ...]) -> None:
    if values.shape != shape or not values.flags.c_contiguous:
        raise ValueError(f"{name} is {values.shape}, not {shape} in one piece")
