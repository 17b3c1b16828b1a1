"""Which blocks should not run together on one pump, and which may."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from waterbudget import hydraulics
from waterbudget.errors import Note
from waterbudget.orchard import fold
from waterbudget.pressure.outlets import Outlets

APART_M, APART_PCT = 10.0, 15.0
"""Blocks further apart in height, or in what they would get, do not share a pump (own estimate)."""


@dataclass(frozen=True)
class Lie:
    """Where a block lies, for the question what runs together.

    Attributes
    ----------
    height_m : float
        Of its valve, else of its ground.
    held_kpa : float or None
        Pressure that is set at its valve.
    """

    name: str
    pump: str
    group: str | None
    height_m: float
    outlets: Outlets
    held_kpa: float | None = None


@dataclass(frozen=True)
class Apart:
    """Two blocks that should not run together on one pump.

    Attributes
    ----------
    height_m : float
        Between them [m].
    flow_pct : float
        By how much the lower one's outlets would give more, of the flow they are made for [%].
    why : str
        ``height`` or ``flow``.
    """

    upper: str
    lower: str
    pump: str
    height_m: float
    flow_pct: float
    why: str

    @property
    def note(self) -> Note:
        """What to tell of it."""
        height = round(self.height_m, 1)
        if self.why == "height":
            return Note.of("pressure.apart.height", upper=self.upper, lower=self.lower,
                           height_m=height)  # fmt: skip
        return Note.of("pressure.apart.flow", upper=self.upper, lower=self.lower,
                       flow_pct=round(self.flow_pct), height_m=height)  # fmt: skip


def apart(blocks: Sequence[Lie]) -> tuple[Apart, ...]:
    """Return the pairs that should not share a pump, the furthest apart first.

    Blocks of two pumps, or of two groups, do not run together anyhow.
    """
    found = []
    for a, b in combinations(blocks, 2):
        if fold(a.pump) != fold(b.pump) or (a.group and b.group and fold(a.group) != fold(b.group)):
            continue
        upper, lower = (a, b) if a.height_m >= b.height_m else (b, a)
        height, flow = upper.height_m - lower.height_m, _flow_apart_pct(upper, lower)
        why = "height" if height > APART_M else "flow" if flow > APART_PCT else ""
        if why:
            found.append(Apart(upper.name, lower.name, a.pump, height, flow, why))
    return tuple(sorted(found, key=lambda p: (-p.height_m, p.upper, p.lower)))


def _flow_apart_pct(upper: Lie, lower: Lie) -> float:
    """Return how much more the lower gets on one pressure that suits the middle [%].

    Nothing where the pressure is set at both valves.
    """
    if upper.held_kpa is not None and lower.held_kpa is not None:
        return 0.0
    half = (upper.height_m - lower.height_m) / 2.0
    up = hydraulics.flow_share_at_height(half, upper.outlets.kpa, upper.outlets.exponent)
    down = hydraulics.flow_share_at_height(-half, lower.outlets.kpa, lower.outlets.exponent)
    return 100.0 * float(down - up)


def together(blocks: Sequence[Lie]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return groups that may run together: (pump, names), from the highest down.

    Each begins with the highest block left and takes every lower one that may run with all of it.
    """
    bad = {frozenset((fold(p.upper), fold(p.lower))) for p in apart(blocks)}
    groups: list[list[Lie]] = []
    for b in sorted(blocks, key=lambda x: (fold(x.pump), -x.height_m, x.name)):
        for group in groups:
            same = fold(group[0].pump) == fold(b.pump) and (
                fold(group[0].group or "") == fold(b.group or "")
            )
            if same and all(frozenset((fold(m.name), fold(b.name))) not in bad for m in group):
                group.append(b)
                break
        else:
            groups.append([b])
    return tuple((g[0].pump, tuple(m.name for m in g)) for g in groups)
