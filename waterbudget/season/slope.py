"""The sun on a block's slope, where the farm counts it: a factor on each day's reference ET."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from waterbudget import slope_sun
from waterbudget.orchard import Block, Orchard, Station
from waterbudget.season.result import BlockSeason, Season, StationDays

Values = NDArray[np.float64]


def counts(block: Block, orchard: Orchard) -> bool:
    """Return whether a block's reference ET is taken to its slope.

    The farm asks for it, and the block says how steep it is and where it falls to.
    """
    known = block.slope_pct is not None and block.aspect_deg is not None
    return orchard.sun_on_slope and known and bool(block.slope_pct)


def et0_factor(
    block: Block, orchard: Orchard, station: Station | None, days: StationDays | None, n: int
) -> Values | None:
    """Return the factor on the station's reference ET [-], shape (n,); None where it stays."""
    if days is None or not counts(block, orchard):
        return None
    assert block.slope_pct is not None and block.aspect_deg is not None
    lat = orchard.lat if station is None or station.lat is None else station.lat
    high = station.elevation_m if station is not None else None
    if high is None:
        high = orchard.elevation_m or 0.0
    return slope_sun.et0_factor(
        days.first, days.et0_mm[:n], days.rs_mj[:n], days.tmax_c[:n], days.tmin_c[:n],
        days.u2_m_s[:n], lat=lat, elevation_m=high,
        slope_pct=block.slope_pct, aspect_deg=block.aspect_deg,
    )  # fmt: skip


def on_slopes(season: Season, blocks: Sequence[BlockSeason], day: int) -> Values:
    """Return the factor that blocks' reference ET carries on a day of the season [-]."""
    found = np.ones(len(blocks))
    for j, b in enumerate(blocks):
        station = season.stations.get(b.station or "")
        if station is None or not counts(b.block, season.orchard):
            continue
        flat = float(station.et0_mm[day])
        if flat > 0.0:
            found[j] = season.drivers.et0_mm[day, b.column] / flat
    return found
