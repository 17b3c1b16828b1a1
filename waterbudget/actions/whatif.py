"""Two plans side by side: the farm as it is, and with something changed; nothing is stored."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from waterbudget import risk, season
from waterbudget.actions.blocks import changed_block
from waterbudget.actions.farm import changed_farm
from waterbudget.errors import Refused
from waterbudget.records import FarmData
from waterbudget.risk import Outlook
from waterbudget.season import Cache, Season

TRIED_AHEAD_DAYS = 365


@dataclass(frozen=True)
class SideBySide:
    """The week and the month ahead, as the farm stands and as changed."""

    season: Season
    outlook: Outlook
    changed: Season
    changed_outlook: Outlook


def side_by_side(
    data: FarmData, on: dt.date | None, changes: Sequence[tuple[str, str]], *,
    cache: Cache | None = None,
) -> SideBySide:  # fmt: skip
    """Run the farm as it is and with settings changed, without storing anything.

    Parameters
    ----------
    changes : sequence of (key, value)
        A setting of the farm (``pump_hours``) or of a block (``Block name:pruned_on``), and its
        value as typed.

    Raises
    ------
    Refused
        ``whatif.nothing_changed``; an unknown block or key, or a value that cannot be.
    """
    if not changes:
        raise Refused("whatif.nothing_changed")
    now = season.run(data, on, cache=cache)
    then = season.run(changed_farm_data(data, changes, now.on), now.on)
    years = {
        name: risk.past_years(now, name)
        for name in sorted({b.station for b in now.blocks if b.station})
    }
    extra = sorted({b.station for b in then.blocks if b.station} - set(years))
    years |= {name: risk.past_years(then, name) for name in extra}
    return SideBySide(now, risk.outlook(now, years), then, risk.outlook(then, years))


def changed_farm_data(data: FarmData, changes: Sequence[tuple[str, str]], on: dt.date) -> FarmData:
    """Return the farm with settings changed, checked as when stored.

    Prunings up to a year ahead may be tried; they count as planned.
    """
    farm = {key: value for key, value in changes if ":" not in key}
    by_block: dict[str, dict[str, str]] = {}
    for key, value in changes:
        if ":" in key:
            name, _, own = key.rpartition(":")
            by_block.setdefault(data.orchard.block(name).name, {})[own.strip()] = value
    after = changed_farm(data.orchard, farm) if farm else data.orchard
    tried = replace(data, orchard=after, assume_planned=True)
    latest = on + dt.timedelta(days=TRIED_AHEAD_DAYS)
    blocks = []
    for block in after.blocks:
        pairs = by_block.get(block.name)
        blocks.append(block if pairs is None else changed_block(block, pairs, tried, latest)[0])
    return replace(tried, orchard=replace(after, blocks=tuple(blocks)))
