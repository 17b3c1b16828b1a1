"""What the week still needs: one list with counts, block by block."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from waterbudget.records import FarmData
from waterbudget.season import Season


@dataclass(frozen=True)
class Need:
    """One thing the week needs.

    Attributes
    ----------
    code : str
        ``area``, ``weather``, ``pruned_on``, ``flow``, ``soil`` or ``pump``.
    needed_for_hours : bool
        False for what only makes the hours surer.
    blocks : mapping of block name to certainty
        ``given``, ``other`` (from another source), ``default`` or ``missing``.
    """

    code: str
    needed_for_hours: bool
    blocks: Mapping[str, str]

    @property
    def done(self) -> int:
        """For how many blocks it is there."""
        return sum(state in ("given", "other") for state in self.blocks.values())


def needs(data: FarmData, season: Season | None) -> tuple[Need, ...]:
    """Return what is there and what is missing, in the order a grower meets it."""
    names = [b.name for b in data.orchard.blocks]
    by_name = {b.block.name: b for b in season.blocks} if season is not None else {}

    def each(code: str, have: str = "given") -> dict[str, str]:
        missing = {n for n, b in by_name.items() if code in b.missing}
        return {n: "missing" if n in missing or n not in by_name else have for n in names}

    flow = each("flow")
    for name, b in by_name.items():
        if flow[name] == "given" and b.flow.source == "catalogue":
            flow[name] = "other"
    soil = {n: "default" if s == "missing" else s for n, s in each("soil").items()}
    pump = "given" if data.orchard.pump_m3_h and data.orchard.pump_hours else "default"
    return (
        Need("area", True, each("area")),
        Need("weather", True, each("weather")),
        Need("pruned_on", True, each("pruned_on")),
        Need("flow", True, flow),
        Need("soil", False, soil),
        Need("pump", False, dict.fromkeys(names, pump)),
    )
