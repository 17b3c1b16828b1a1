"""The exact packing of one day for a shared week: sets give way to the room there is.

Sets are placed quarter hour by quarter hour as in :mod:`waterbudget.shifts`; one that finds no
place is shortened, and one with room right after it may grow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from waterbudget.plan import QUARTER_H, BlockLimits, PlannedSet, Source, pulses_of_hours
from waterbudget.shifts import _Board
from waterbudget.supply import slot


def squeezed(
    items: Sequence[tuple[PlannedSet, BlockLimits]], source: Source, day: int,
    most_h: Sequence[float] | None = None,
) -> list[PlannedSet | None]:  # fmt: skip
    """Place sets in the order given, each shortened as far as it must be to find a place.

    Parameters
    ----------
    most_h : sequence of float, optional
        Hours each set may grow to where, once all are placed, there is room right after it.

    Returns
    -------
    list of PlannedSet or None
        With start and hours; None where not even the shortest set worth a walk fits.  Pinned ones
        keep their hours and are marked where they do not fit.
    """
    boards: dict[str, _Board] = {}
    made: list[PlannedSet | None] = []
    for item, limits in items:
        pump = source.pump(limits.pump)
        if pump.name not in boards:
            boards[pump.name] = _Board(source, pump, day)
        fixed = item.pinned or item.start is not None
        fits = item if fixed else _shortened(boards[pump.name], item, limits)
        made.append(None if fits is None else boards[pump.name].put(fits, limits))
    if most_h is None:
        return made
    for j, (item, limits) in enumerate(items):
        now = made[j]
        if now is not None and not item.pinned and not limits.on_min:
            made[j] = _grown(boards[source.pump(limits.pump).name], now, limits, most_h[j])
    return made


def _shortened(board: _Board, item: PlannedSet, limits: BlockLimits) -> PlannedSet | None:
    """Return the set with the longest hours, its own at most, that find a place; or None."""
    least = max(1, math.ceil(limits.hours_min / QUARTER_H - 1e-9))
    low, high = least - 1, round(float(item.hours or 0.0) / QUARTER_H)
    tried = high  # most sets fit whole
    while low < high:
        if board.fits(_of_length(item, limits, tried), limits):
            low = tried
        else:
            high = tried - 1
        tried = (low + high + 1) // 2
    return _of_length(item, limits, low) if low >= least else None


def _grown(board: _Board, item: PlannedSet, limits: BlockLimits, most_h: float) -> PlannedSet:
    """Return a placed set made longer, up to ``most_h``, while there is room right after it."""
    if item.start is None or item.over:
        return item
    length = round(float(item.hours or 0.0) / QUARTER_H)
    first = slot(item.start)
    while (length + 1) * QUARTER_H <= most_h + 1e-9 and board.extend(first + length, limits):
        length += 1
    return _of_length(item, limits, length)


def _of_length(item: PlannedSet, limits: BlockLimits, quarters: int) -> PlannedSet:
    """Return a set of another length, with the pulses that needs."""
    hours = quarters * QUARTER_H
    pulses = {"pulses": 1, "on_min": 0, "off_min": 0} | pulses_of_hours(hours, limits)
    return replace(item, hours=hours, **pulses)
