"""What a block's outlets are made for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from waterbudget import tables
from waterbudget.orchard import Block

DEFAULT_SYSTEM = "micro"


@dataclass(frozen=True)
class Outlets:
    """Pressure the outlets are made for [kPa], exponent [-], spread of new ones [-]."""

    kpa: float
    exponent: float
    variation: float
    given: bool


def outlets_of(block: Block) -> Outlets:
    """Return what a block's outlets are made for: as given, else usual for its system."""
    usual = _usual()[block.system or DEFAULT_SYSTEM]
    kpa, x = block.outlet_kpa, block.outlet_exponent
    return Outlets(
        usual["outlet_kpa"] if kpa is None else kpa,
        usual["exponent"] if x is None else x,
        usual["variation"],
        kpa is not None and x is not None,
    )


@cache
def _usual() -> dict[str, dict[str, float]]:
    names = ("outlet_kpa", "exponent", "variation")
    return {r["system"]: {k: float(r[k]) for k in names} for r in tables.read("outlets")}
