"""How far off reference ET may be by what it was made from, and with it the hours of a week."""

from __future__ import annotations

from functools import cache

import numpy as np

from waterbudget import tables
from waterbudget.plan import WEEK
from waterbudget.season.result import BlockSeason, Season

KC_PCT, FLOW_PCT = 15.0, 7.0
"""How far the coefficient and the flow may be off: own estimate.  With measured ET0, 10 %, the
hours are good to about 20 % (root of the sum of squares); ET0 is wider where days stand in."""


@cache
def et0_bands() -> dict[str, float]:
    """Return how far a day's reference ET may be off by its code [%]."""
    return {row["code"]: float(row["band_pct"]) for row in tables.read("et0_bands")}


def week_band_pct(season: Season, station: str) -> float | None:
    """Return how far the reference ET of the coming week may be off [%]; None where none is.

    Days of one way are off to the same side more often than not, so a week is no surer than its
    days (own estimate).
    """
    i = season.on_index
    days = season.stations[station].band_pct[i : i + WEEK]
    known = days[np.isfinite(days)]
    return float(np.sqrt(np.mean(known**2))) if len(known) else None


def uncertainty_pct(season: Season, block: BlockSeason | None = None) -> int:
    """Return how far the hours of the week may be off [%], to the next 5.

    Parameters
    ----------
    block : BlockSeason, optional
        Of that block only; the widest of all blocks where it is left out.
    """
    names = {b.station for b in ([block] if block is not None else season.blocks)}
    found = [week_band_pct(season, name) for name in names if name and name in season.stations]
    band = max((b for b in found if b is not None), default=et0_bands()["measured"])
    return 5 * round(float(np.sqrt(band**2 + KC_PCT**2 + FLOW_PCT**2)) / 5)
