"""The exact packing of one day for a shared week: sets give way to the room there is.

Sets are placed quarter hour by quarter hour as in :mod:`waterbudget.shifts`, from the morning on or
from both ends of the day, whichever carries more.  One that finds no place is shortened to the
longest gap; then every set grows into the gaps that are left, before it and after it, a quarter
hour a turn, those that were shortened first.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

from waterbudget.plan import QUARTER_H, BlockLimits, PlannedSet, Source, pulses_of_hours
from waterbudget.shifts import Board
from waterbudget.supply import slot

Item = tuple[PlannedSet, BlockLimits]

MANY = 60  # past this many sets a day one way of placing is tried


def squeezed(
    items: Sequence[Item], source: Source, day: int, most_h: Sequence[float] | None = None,
    keep: Sequence[bool] | None = None,
) -> list[PlannedSet | None]:  # fmt: skip
    """Place sets, shortened as far as they must be to find a place.

    Parameters
    ----------
    items : sequence
        In the order in which they are placed.
    most_h : sequence of float, optional
        Hours each set may grow to where, once all are placed, there is room beside it.
    keep : sequence of bool, optional
        Sets that are placed before the others but pinned ones, because they are to stay whole.

    Returns
    -------
    list of PlannedSet or None
        With start and hours; None where not even the shortest set worth a walk fits.  Pinned ones
        keep their hours and are marked where they do not fit.
    """
    made: list[PlannedSet | None] = [None] * len(items)
    by_pump: dict[str, list[int]] = {}
    kept = [False] * len(items) if keep is None else list(keep)
    for j in sorted(range(len(items)), key=lambda j: (not items[j][0].pinned, not kept[j])):
        by_pump.setdefault(source.pump(items[j][1].pump).name, []).append(j)
    for name, own in by_pump.items():
        board = Board(source, source.pump(name), day)
        most = None if most_h is None else [most_h[j] for j in own]
        for j, item in zip(own, _filled(board, [items[j] for j in own], most), strict=True):
            made[j] = item
    return made


def _filled(
    board: Board, items: Sequence[Item], most_h: Sequence[float] | None
) -> list[PlannedSet | None]:
    """Place all sets in a few ways and return the one that carries the most water."""
    best: tuple[float, list[PlannedSet | None]] | None = None
    wanted = sum(_volume(item, limits) for item, limits in items)
    for late in (False, True) if len(items) <= MANY else (False,):
        board.clear(None)
        made = [_one_by_one(board, item, limits, late) for item, limits in items]
        if most_h is not None:
            _grow(board, made, items, most_h)
        volume = sum(_volume(m, x) for m, (_, x) in zip(made, items, strict=True) if m is not None)
        if best is None or volume > best[0] + 1e-9:
            best = (volume, made)
        if volume >= wanted - 1e-9:
            break
    assert best is not None
    return best[1]


def _volume(item: PlannedSet, limits: BlockLimits) -> float:
    return float(item.hours or 0.0) * float(limits.flow_m3_h or 0.0)


def _least(limits: BlockLimits) -> int:
    return max(1, math.ceil(limits.hours_min / QUARTER_H - 1e-9))


def _one_by_one(
    board: Board, item: PlannedSet, limits: BlockLimits, late: bool
) -> PlannedSet | None:
    """Place one set with the longest hours, its own at most, that find a place; or None.

    As early as it goes; with ``late``, where it cannot begin with the day, as late as it goes, so
    that long sets from the left and others from the right leave few gaps between them.
    """
    if item.pinned or item.start is not None:
        return board.put(item, limits)
    low, high = _least(limits) - 1, round(float(item.hours or 0.0) / QUARTER_H)
    least = low + 1
    tried = high  # most sets fit whole
    while low < high:
        if board.fits(_of_length(item, limits, tried), limits):
            low = tried
        else:
            high = tried - 1
        tried = (low + high + 1) // 2
    if low < least:
        return None
    fits = _of_length(item, limits, low)
    return board.put(fits, limits, late=late and not board.begins(fits, limits))


def _grow(
    board: Board, placed: list[PlannedSet | None], items: Sequence[Item], most_h: Sequence[float]
) -> None:
    """Let placed sets grow, in place, a quarter hour a turn while there is room beside them.

    Those that were shortened grow back first; then all grow as far as they may.
    """
    wanted = [float(item.hours or 0.0) for item, _ in items]
    for upto in (wanted, most_h):
        growing = [
            j for j, now in enumerate(placed)
            if now is not None and now.start is not None and not now.over
            and not items[j][0].pinned and not items[j][1].on_min
        ]  # fmt: skip
        while growing:
            growing = [j for j in growing if _grown(board, placed, items[j][1], j, upto[j])]


def _grown(
    board: Board, placed: list[PlannedSet | None], limits: BlockLimits, j: int, most_h: float
) -> bool:
    """Let one set grow by a quarter hour, in place: after it, else before it."""
    now = placed[j]
    assert now is not None
    assert now.start is not None
    length = round(float(now.hours or 0.0) / QUARTER_H)
    if (length + 1) * QUARTER_H > most_h + 1e-9:
        return False
    first = slot(now.start)
    if board.extend(first + length, limits):
        placed[j] = _of_length(now, limits, length + 1)
        return True
    if first > 0 and board.starts[first - 1] and board.extend(first - 1, limits):
        at = (first - 1) * 15
        earlier = replace(now, start=dt.time(at // 60, at % 60))
        placed[j] = _of_length(earlier, limits, length + 1)
        return True
    return False


def _of_length(item: PlannedSet, limits: BlockLimits, quarters: int) -> PlannedSet:
    """Return a set of another length, with the pulses that needs."""
    hours = quarters * QUARTER_H
    pulses = {"pulses": 1, "on_min": 0, "off_min": 0} | pulses_of_hours(hours, limits)
    return replace(item, hours=hours, **pulses)
