"""What a season says beside its numbers: how far off the week may be, and whether the clock holds.

Reference ET is good to about 10 % where it is measured, less where days are forecast, filled or
stand in (:attr:`~waterbudget.season.StationDays.band_pct`), and the depth a valve gives to about 20 % (own estimate: wind
that is assumed, an uneven pressure, outlets that wear).  So the planned week of a block is run
twice more: with more taken and less given, and with less taken and more given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from waterbudget import balance
from waterbudget.balance import RAIN_WETS_ALL_MM, State
from waterbudget.cycle import COOL_LIMIT_C, LAPSE_C_PER_M
from waterbudget.season import BlockSeason, Season

Values = NDArray[np.float64]

ET0_SHARE = 0.10
HOURS_SHARE = 0.20
MONTH_DAYS = 30


@dataclass(frozen=True)
class Spread:
    """The depletion of one block over the days planned, between two edges.

    Attributes
    ----------
    dry_start_mm, dry_end_mm : ndarray, shape (planned days,)
        Morning and evening depletion with more taken and less given [mm].
    wet_start_mm, wet_end_mm : ndarray, shape (planned days,)
        With less taken and more given [mm].
    """

    dry_start_mm: Values
    dry_end_mm: Values
    wet_start_mm: Values
    wet_end_mm: Values


def week_spread(
    season: Season, column: int, *, et0_share: float | None = None,
    hours_share: float = HOURS_SHARE,
) -> Spread:  # fmt: skip
    """Run the planned week of one block drier and wetter.

    Parameters
    ----------
    season : Season
    column : int
        The block's column.
    et0_share, hours_share : float
        By how much reference ET and the depth of the waterings may be off [-]; that of
        reference ET day by day as its making says where it is left out.
    """
    i = season.on_index
    week = season.drivers.columns(np.array([column, column])).rows(slice(i, None))
    sides = np.array([1.0, -1.0])
    changed = replace(
        week,
        et0_mm=week.et0_mm * (1.0 + sides * _et0_share(season, column, et0_share)),
        irrigation_mm=week.irrigation_mm * (1.0 - sides * hours_share),
    )
    account, _ = balance.run(changed, _morning(season, column))
    return Spread(
        account.dr_start_mm[:, 0], account.dr_mm[:, 0],
        account.dr_start_mm[:, 1], account.dr_mm[:, 1],
    )  # fmt: skip


def _et0_share(season: Season, column: int, given: float | None) -> Values:
    """Return by how much each planned day's reference ET may be off, shape (days, 1)."""
    days = len(season.drivers.et0_mm) - season.on_index
    station = season.stations.get(season.blocks[column].station or "")
    if given is not None or station is None:
        return np.full((days, 1), ET0_SHARE if given is None else given)
    band = station.band_pct[season.on_index : season.on_index + days]
    return np.where(np.isfinite(band), band / 100.0, ET0_SHARE)[:, None]


def _morning(season: Season, column: int) -> State:
    """Return where the block stands in the morning looked at, twice."""
    i = season.on_index
    if i == 0:
        return State.full(2)
    drivers, account = season.drivers, season.account
    water = drivers.irrigation_mm[:i, column] > 0
    soaked = drivers.rain_mm[:i, column] >= RAIN_WETS_ALL_MM
    wetted = np.flatnonzero(water | soaked)
    after_rain = bool(soaked[wetted[-1]]) if len(wetted) else True
    return State(
        np.repeat(account.dr_mm[i - 1, column], 2), np.repeat(account.de_mm[i - 1, column], 2),
        np.repeat(after_rain, 2), np.repeat(drivers.taw_mm[i - 1, column], 2),
    )  # fmt: skip


def recent_mean_c(season: Season, block: BlockSeason) -> float | None:
    """Return the mean temperature at a block over the last 30 days; None where nothing is known.

    Parameters
    ----------
    season : Season
    block : BlockSeason
        At its own elevation where that and the station's are known.

    Returns
    -------
    float or None
        [degC]
    """
    days = season.stations.get(block.station or "")
    if days is None:
        return None
    i = season.on_index
    month = slice(max(0, i - MONTH_DAYS), i)
    means = (days.tmax_c[month] + days.tmin_c[month]) / 2
    if not np.isfinite(means).any():
        return None
    station = season.orchard.station(days.name)
    low = station.elevation_m if station.elevation_m is not None else season.orchard.elevation_m
    shift = 0.0
    if low is not None and block.block.elevation_m is not None:
        shift = (block.block.elevation_m - low) * LAPSE_C_PER_M
    return float(np.nanmean(means)) + shift


def too_cool_for_clock(season: Season, block: BlockSeason) -> float | None:
    """Return the last month's mean [degC] where it lies below what the clock was fitted for."""
    mean = recent_mean_c(season, block)
    return mean if mean is not None and mean < COOL_LIMIT_C else None
