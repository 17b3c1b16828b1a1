"""Salt: how much it slows the trees, and how much water washes it down.

Electrical conductivities are in dS/m: ``ece`` of the saturated soil extract, ``ec_water`` of the
irrigation water.

Of guava neither threshold nor loss is published (FAO-56 table 23 has no line; it is said to stand
1.5 to 1.8 dS/m): salt slows a block only where the grower gives both numbers.  The leaching share
is shown where the water's salinity is known, and added to waterings only in rest and only where
the grower asks for it (``leaching=in-rest``): water that must drain has no place in fruit fill.

Sources: Allen et al. (1998) FAO Irrigation and Drainage Paper 56, p. 177 to 182 ("FAO-56");
Ayers & Westcot (1985) FAO Irrigation and Drainage Paper 29 rev. 1 ("FAO-29").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget.orchard import Block

Values = NDArray[np.float64]

WORKABLE_LEACHING = 0.5
"""A leaching share above this cannot be brought out in practice (own estimate)."""

USUAL_LEACHING = 0.15
"""Share that drains where only the water's salinity is known (FAO-29 and FAO-56 p. 182: 0.15 to
0.20; from memory for FAO-29)."""

SOIL_WANTED = 1.5
"""Soil salinity to hold where no threshold is given [dS/m]: guava is said to stand 1.5 to 1.8
(own estimate)."""

UNKNOWN_KY = 1.0
"""Yield response where none is known (FAO-56 p. 181, wording from memory)."""


@dataclass(frozen=True)
class SaltNumbers:
    """What salt means for one block.

    Attributes
    ----------
    ece : float or None
        Salinity of the soil extract [dS/m]; None where nothing is known.
    measured : bool
        The soil's salinity was given; else it was worked out from the water's.
    ks : float
        Share of its use that salt leaves to the trees [-]; 1 where the grower gives no threshold.
    leaching : float or None
        Share of the water at the roots that must drain (inf: no amount does); None where the
        water's salinity is not known.
    workable : bool
        That share can be brought out in practice.
    applied : bool
        It is added to waterings in rest.
    """

    ece: float | None
    measured: bool
    ks: float
    leaching: float | None
    workable: bool
    applied: bool


def salt_numbers(block: Block) -> SaltNumbers:
    """Return what salt means for a block, from what its grower has said."""
    water, measured = block.water_ec_ds_m, block.soil_ec_ds_m is not None
    ece = block.soil_ec_ds_m
    if ece is None and water is not None:
        ece = float(ece_from_water(water, USUAL_LEACHING))
    threshold, loss = block.salt_threshold_ds_m, block.salt_loss_pct
    ks = 1.0
    if ece is not None and threshold is not None and loss is not None:
        ky = UNKNOWN_KY if block.salt_ky is None else block.salt_ky
        ks = float(ks_salinity(ece, threshold, loss, ky))
    share = None
    if water is not None:
        share = float(leaching_requirement(water, SOIL_WANTED if threshold is None else threshold))
    workable = share is not None and share <= WORKABLE_LEACHING
    applied = workable and block.leaching == "in-rest"
    return SaltNumbers(ece, measured, ks, share, workable, applied)


def ece_from_water(ec_water: ArrayLike, leaching_share: ArrayLike) -> Values:
    """Return the soil salinity that a water leads to in the long run [dS/m] (FAO-56 eq. 93).

    Parameters
    ----------
    leaching_share : array_like
        Share of the water at the roots that drains past them [-], above 0.  With none the salt
        only gathers: inf.
    """
    share = np.asarray(leaching_share, dtype=float)
    water = np.asarray(ec_water, dtype=float)
    gathers = (1.0 + share) / np.where(share > 0.0, share, 1.0) * water / 5.0
    return np.where(share > 0.0, gathers, np.where(water > 0.0, np.inf, 0.0))


def ks_salinity(ece: ArrayLike, threshold: ArrayLike, loss_pct: ArrayLike, ky: ArrayLike) -> Values:
    """Return the share of its water use salt leaves to a crop, 0 to 1 (FAO-56 eq. 91).

    Multiply with the share that dryness leaves (FAO-56 eq. 92).

    Parameters
    ----------
    threshold : array_like
        Salinity at which the yield begins to fall [dS/m].
    loss_pct : array_like
        Yield lost for each dS/m above it [%].
    ky : array_like
        Yield response factor [-].
    """
    over = np.maximum(np.asarray(ece, dtype=float) - np.asarray(threshold, dtype=float), 0.0)
    loss = np.asarray(loss_pct, dtype=float) / (np.asarray(ky, dtype=float) * 100.0) * over
    return np.clip(1.0 - loss, 0.0, 1.0)


def leaching_requirement(ec_water: ArrayLike, ece_wanted: ArrayLike) -> Values:
    """Return the share of the water that must drain to hold a soil salinity [-].

    LR = ECw / (5 ECe - ECw) (FAO-29; formula also in FAO-56 p. 180).  Water too salty for that
    soil gives 1 or more, or inf: no amount of it does.  Above :data:`WORKABLE_LEACHING` it is
    not workable.
    """
    water = np.asarray(ec_water, dtype=float)
    room = 5.0 * np.asarray(ece_wanted, dtype=float) - water
    share = water / np.where(room > 0.0, room, 1.0)
    return np.where(room > 0.0, share, np.where(water > 0.0, np.inf, 0.0))


def depth_with_leaching(need_mm: ArrayLike, leaching_share: ArrayLike) -> Values:
    """Return the depth that covers a need and leaves that share to drain [mm] (FAO-29).

    AW = ET / (1 - LR); inf where the share is 1 or more.
    """
    left = 1.0 - np.asarray(leaching_share, dtype=float)
    depth = np.asarray(need_mm, dtype=float) / np.where(left > 0.0, left, 1.0)
    return np.where(left > 0.0, depth, np.inf)
