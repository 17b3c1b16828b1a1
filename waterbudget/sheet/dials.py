"""Where a meter stands when a valve is to be closed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from waterbudget.orchard import Block
from waterbudget.records import GivenSet
from waterbudget.season import Season, metering

Place = tuple[int, dt.date]
"""A block and a day."""


@dataclass(frozen=True)
class Stop:
    """What the meter tells about the end of one watering.

    Attributes
    ----------
    m3 : float or None
        Figure on the dial when to close [m3]; None where the meter was never read.
    shared : bool
        Another block runs through the same meter at the same time: only the clock tells.
    """

    m3: float | None = None
    shared: bool = False


def stops(
    season: Season, sets: Sequence[GivenSet], first: dt.date,
    length: Callable[[GivenSet], dt.timedelta],
) -> Mapping[Place, Stop]:  # fmt: skip
    """Return where the meters stand at the end of each watering of a week.

    From the last reading before the week on, the water of every watering since is added: what ran
    or was handed out until the eve of the week, then the planned ones in the order they end.
    Readings of the week itself are left out, so that a week printed again shows the same figures.

    Parameters
    ----------
    first : datetime.date
        First day of the week.
    length : callable
        From opening to closing of a watering, pauses counted.
    """
    blocks = {b.block.id: b.block for b in season.blocks}
    by_meter: dict[str, list[GivenSet]] = {}
    for s in sets:
        if s.block_id in blocks:
            by_meter.setdefault(metering.meter_key(blocks[s.block_id]), []).append(s)
    found: dict[Place, Stop] = {}
    for own in by_meter.values():
        spans = sorted((_begin(s) + length(s), _begin(s), s.block_id, s) for s in own)
        dial = _before(season, blocks[own[0].block_id], first)
        for end, begin, block_id, s in spans:
            dial = dial + s.m3 if dial is not None and s.m3 is not None else None
            others = ((b, e) for e, b, other, _ in spans if other != block_id)
            shared = _overlap(begin, end, others)
            found[block_id, s.date] = Stop(None if shared else dial, shared)
    return found


def _begin(s: GivenSet) -> dt.datetime:
    return dt.datetime.combine(s.date, s.start)


def _overlap(
    begin: dt.datetime, end: dt.datetime, others: Iterable[tuple[dt.datetime, dt.datetime]]
) -> bool:  # fmt: skip
    return any(b < end and begin < e for b, e in others)


def _before(season: Season, block: Block, first: dt.date) -> float | None:
    """Return what a meter should show when a week begins [m3]; None where nothing is known."""
    readings = [m for m in metering.readings_of(season.data, block) if m.date < first]
    if not readings:
        return None
    last = readings[-1]
    ids = {b.id for b in metering.meter_blocks(season.data, block)}
    since = [
        s for b in season.blocks if b.block.id in ids for s in b.past
        if last.date < s.date < first and s.state != "missed"
    ]  # fmt: skip
    if any(s.m3 is None for s in since):
        return None
    return last.m3 + sum(s.m3 or 0.0 for s in since)
