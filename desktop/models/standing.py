"""How a block stands this morning, as the map and the week show it: a class and days left.

The five steps are by share of easy water; what is past its limit is hatched instead, thinly
where the dryness is allowed (rest, or a dry-down the grower wants).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season


class Look(Enum):
    """The classes of the map, fullest first."""

    FULL = "full"
    GOOD = "good"
    HALF = "half"
    LOW = "low"
    PAST = "past"
    DRY_ALLOWED = "dry_allowed"
    NO_DATA = "no_data"


STEPS = (Look.FULL, Look.GOOD, Look.HALF, Look.LOW)
"""The solid steps: a quarter of the easy water each."""


@dataclass(frozen=True)
class Standing:
    """A block this morning.

    Attributes
    ----------
    share : float
        Easy water left as a share of the limit, 0 to 1; 0 past it.
    left_mm : float
        Easy water left [mm]; negative past the limit.
    days : int or None
        Whole days until the first morning past the limit if nothing runs; 0 = past already;
        None where that is further off than the season looks, or nothing is known.
    """

    look: Look
    stage: str
    share: float = 0.0
    left_mm: float = 0.0
    limit_mm: float = 0.0
    days: int | None = None

    @property
    def in_fill(self) -> bool:
        """True in fruit fill."""
        return self.stage == "fill"


def standing(season: Season, block: BlockSeason) -> Standing:
    """Return how a block stands in the morning of the season's day."""
    stage = season.stage(block)
    if block.dryness is None:
        return Standing(Look.NO_DATA, stage)
    left = season.easy_left_mm(block.column)
    limit = left + float(season.account.dr_start_mm[season.on_index, block.column])
    share = min(max(left / limit, 0.0), 1.0) if limit > 0 else 0.0
    if block.dryness.dry:
        look = Look.DRY_ALLOWED if block.dryness.allowed_dry else Look.PAST
    else:
        look = step_of(share)
    return Standing(look, stage, share, left, limit, block.dryness.days_if_nothing_runs)


def step_of(share: float) -> Look:
    """Return the solid step of a share of easy water left."""
    for look, at_least in zip(STEPS, (0.75, 0.5, 0.25), strict=False):
        if share >= at_least:
            return look
    return Look.LOW
