"""Missing, replaced and young trees: what lives, and what bears."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from waterbudget import layout as distances
from waterbudget.orchard import Block
from waterbudget.planting.lay import count_places
from waterbudget.records import LandMark, TreeMark

NO_TREE = ("missing", "rock")
"""States of a place without a living tree."""
YOUNG = ("replaced", "young")
BEARS_AFTER_DAYS = 730
"""A grafted tree set in a gap bears from about the third year on (own estimate)."""

Place = tuple[int, int]


@dataclass(frozen=True)
class Counts:
    """Trees of a block.

    Attributes
    ----------
    places : int
    missing : int
        Places without a living tree, rock among them.
    replaced : int
        Living trees set in later, and others marked young, that do not bear yet.
    astray : int
        Marks that fit no place of the layout.
    """

    places: int
    missing: int = 0
    replaced: int = 0
    astray: int = 0

    @property
    def living(self) -> int:
        """Trees with an outlet that is needed."""
        return max(0, self.places - self.missing)

    @property
    def bearing(self) -> int:
        """Living trees less the young ones."""
        return max(0, self.living - self.replaced)


def is_set_out(block: Block) -> bool:
    """Return whether trees have been set out in a block and kept (its grid has a place)."""
    return block.grid_lat is not None and block.grid_lon is not None


def latest(marks: Iterable[TreeMark]) -> dict[Place, TreeMark]:
    """Return what holds at each place: the newest mark."""
    found: dict[Place, TreeMark] = {}
    for mark in sorted(marks, key=lambda m: (m.date, m.id)):
        found[(mark.row, mark.number)] = mark
    return found


def count_states(
    places: int, rows: Sequence[int] | None, marks: Mapping[Place, TreeMark],
    on: dt.date | None = None,
) -> Counts:  # fmt: skip
    """Count living and bearing trees.

    Parameters
    ----------
    places : int
        Tree places.
    rows : sequence of int or None
        Places in each row; None: not known, every mark counts.
    marks : mapping of (row, number) to TreeMark
    on : datetime.date, optional
        Day by which a tree set in later may have begun to bear; without it none has.
    """
    missing = replaced = astray = 0
    for (row, number), mark in marks.items():
        if rows is not None and not (1 <= row <= len(rows) and 1 <= number <= rows[row - 1]):
            astray += 1
        elif mark.state in NO_TREE:
            missing += 1
        elif mark.state in YOUNG and (on is None or (on - mark.date).days < BEARS_AFTER_DAYS):
            replaced += 1
    return Counts(places, missing, replaced, astray)


def living_trees(
    block: Block, marks: Iterable[TreeMark], epsg: int, kept: Sequence[LandMark] = ()
) -> Counts | None:
    """Return the trees of a block that is set out or marked; None where it is neither.

    A number of trees that was typed rules elsewhere; it is not looked at here.
    """
    mine = latest(m for m in marks if m.block_id == block.id)
    if not mine and not is_set_out(block):
        return None
    rows, places = count_places(block, epsg, kept)
    if places is None:
        places = distances.tree_count(
            block.hectares, block.pattern, block.spacing_m, block.row_spacing_m
        )
    return None if places is None else count_states(places, rows, mine)
