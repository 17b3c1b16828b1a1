"""Flow by height and friction, and how even a system waters.

Pressure is in kPa, height and friction in metres of water, pipe bores in mm, flow in the unit
each function names.  Numbers or arrays in, arrays out.

Sources: the discharge law q = k P^x and the uniformity terms after Keller & Bliesner (2000)
Sprinkle and Trickle Irrigation and Keller & Karmeli (1974), read second hand; Hazen-Williams and
the Christiansen factor after general handbooks (from memory, held against worked numbers).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from waterbudget.errors import Refused
from waterbudget.orchard import BLOCK_KEYS

Values = NDArray[np.float64]

KPA_PER_M = 9.81
"""Pressure of one metre of water [kPa]."""

PLAIN_OUTLET, COMPENSATED_OUTLET = 0.5, 0.05
"""Exponents x of q = k P^x (common practice: plain about 0.5, compensated 0 to 0.1)."""

SMOOTH_PLASTIC = 150.0
"""Hazen-Williams C of plastic pipe (common practice)."""

FRICTION_EXPONENT = 1.852
"""How friction grows with flow in Hazen-Williams."""

FEWEST_CANS = 4
"""A low quarter needs a quarter: at least four catches (18 or more are usual)."""


def pressure_at_height_kpa(pressure_kpa: ArrayLike, height_above_m: ArrayLike) -> Values:
    """Return the pressure that is left at a height above the reference [kPa], never below 0."""
    lost = KPA_PER_M * np.asarray(height_above_m, dtype=float)
    return np.maximum(np.asarray(pressure_kpa, dtype=float) - lost, 0.0)


def flow_share(
    pressure_kpa: ArrayLike, reference_kpa: ArrayLike, exponent: ArrayLike = PLAIN_OUTLET
) -> Values:
    """Return the share of its reference flow that an outlet gives at a pressure, (P/P0)^x.

    Without pressure there is no flow, whatever the exponent.
    """
    ratio = np.asarray(pressure_kpa, dtype=float) / np.asarray(reference_kpa, dtype=float)
    return np.where(ratio > 0.0, ratio ** np.asarray(exponent, dtype=float), ratio * 0.0)


def flow_share_at_height(
    height_above_m: ArrayLike, reference_kpa: ArrayLike, exponent: ArrayLike = PLAIN_OUTLET
) -> Values:
    """Return the share of its flow an outlet gives above (+) or below (-) the reference height.

    Parameters
    ----------
    height_above_m : array_like
        Height of the outlet above the point where ``reference_kpa`` was measured [m].
    """
    left = pressure_at_height_kpa(reference_kpa, height_above_m)
    return flow_share(left, reference_kpa, exponent)


def height_for_flow_share(
    share: ArrayLike, reference_kpa: ArrayLike, exponent: ArrayLike = PLAIN_OUTLET
) -> Values:
    """Return how far above the reference an outlet gives that share of its flow [m].

    Negative is below.  The exponent must be above 0.
    """
    x = np.asarray(exponent, dtype=float)
    if not (x > 0.0).all():
        raise Refused("hydraulics.exponent", value=float(x.min()))
    ratio = np.asarray(share, dtype=float) ** (1.0 / x)
    return np.asarray(reference_kpa, dtype=float) / KPA_PER_M * (1.0 - ratio)


def friction_loss_m(
    length_m: ArrayLike,
    flow_m3_h: ArrayLike,
    bore_mm: ArrayLike,
    roughness_c: ArrayLike = SMOOTH_PLASTIC,
) -> Values:
    """Return the friction of a pipe without outlets [m of water] (Hazen-Williams, SI form).

    hf = 10.67 L Q^1.852 / (C^1.852 d^4.87), with m and m3/s.
    """
    q = np.asarray(flow_m3_h, dtype=float) / 3600.0
    d = np.asarray(bore_mm, dtype=float) / 1000.0
    share = (q / np.asarray(roughness_c, dtype=float)) ** FRICTION_EXPONENT
    return 10.67 * np.asarray(length_m, dtype=float) * share / d**4.87


def friction_loss_field_form_m(
    length_m: ArrayLike,
    flow_l_s: ArrayLike,
    bore_mm: ArrayLike,
    roughness_c: ArrayLike = SMOOTH_PLASTIC,
) -> Values:
    """Return the same friction by the form in litres a second and millimetres [m of water].

    hf = L (279000 Q / (C D^2.63))^1.852.  Both printed forms carry rounded constants and differ
    by 0.4 %; :func:`friction_loss_m` is the one in use.
    """
    d = np.asarray(bore_mm, dtype=float)
    c = np.asarray(roughness_c, dtype=float)
    inside = 279_000.0 * np.asarray(flow_l_s, dtype=float) / (c * d**2.63)
    return np.asarray(length_m, dtype=float) * inside**FRICTION_EXPONENT


def lateral_factor(outlets: int, exponent: float = FRICTION_EXPONENT) -> float:
    """Return the share of a plain pipe's friction that a pipe with even outlets has.

    The Christiansen factor as the exact sum (the usual closed form gives 1.005 for one outlet);
    equal outlets, the first one full spacing from the inlet.
    """
    if outlets < 1:
        raise Refused("hydraulics.outlets", value=outlets)
    reach = np.arange(1, outlets + 1, dtype=float) / outlets
    return float((reach**exponent).sum() / outlets)


def lateral_loss_m(
    length_m: float,
    inlet_m3_h: float,
    bore_mm: float,
    outlets: int,
    roughness_c: float = SMOOTH_PLASTIC,
) -> float:
    """Return the friction from the inlet to the end of a lateral with even outlets [m]."""
    plain = friction_loss_m(length_m, inlet_m3_h, bore_mm, roughness_c)
    return float(plain) * lateral_factor(outlets)


def low_quarter_uniformity(catches: ArrayLike) -> float:
    """Return the low-quarter distribution uniformity of catch cans or outlet flows [-].

    Mean of the lowest quarter over the mean of all.  A quarter that is no whole number of cans is
    rounded up (15 cans: the lowest 4).

    Raises
    ------
    Refused
        ``hydraulics.catches`` for fewer than four, a negative or unknown one, or nothing at all.
    """
    values = np.sort(np.asarray(catches, dtype=float).ravel())
    if len(values) < FEWEST_CANS or not (values >= 0.0).all() or values.sum() <= 0.0:
        raise Refused("hydraulics.catches", count=len(values), fewest=FEWEST_CANS)
    quarter = math.ceil(len(values) / 4)
    return float(values[:quarter].mean() / values.mean())


def design_uniformity(
    variation: ArrayLike, outlets_per_tree: ArrayLike, lowest_flow: ArrayLike, mean_flow: ArrayLike
) -> Values:
    """Return the design emission uniformity (1 - 1.27 v / sqrt(n)) q_min / q_mean [-].

    Parameters
    ----------
    variation : array_like
        Coefficient of variation of new outlets [-].
    """
    spread = 1.27 * np.asarray(variation, dtype=float)
    shared = 1.0 - spread / np.sqrt(np.asarray(outlets_per_tree, dtype=float))
    return shared * np.asarray(lowest_flow, dtype=float) / np.asarray(mean_flow, dtype=float)


@dataclass(frozen=True)
class BucketTest:
    """What a bucket test says of a block.

    Attributes
    ----------
    flow_m3_h : float
        Flow of the block [m3/h].
    outlet_l_h : float
        Mean flow of one outlet [L/h].
    spread_pct : float
        Largest catch less the smallest, of their mean [%]; 0 for a single catch.
    """

    flow_m3_h: float
    outlet_l_h: float
    spread_pct: float


def bucket_flow_m3_h(catches: Sequence[tuple[float, float]], outlets: float) -> BucketTest:
    """Return the flow of a block from the water a few of its outlets gave into a bucket.

    The mean of the catches, each as litres an hour, times the number of outlets.

    Parameters
    ----------
    catches : sequence of (litres, seconds)
        One outlet each [L], [s].
    outlets : float
        How many outlets the valve feeds.

    Raises
    ------
    Refused
        ``hydraulics.bucket_*`` for no catch, one that is not above 0, an outlet or a block beyond
        the bounds of ``outlet_l_h`` and ``flow_m3_h``, or less than one outlet.
    """
    if not catches:
        raise Refused("hydraulics.bucket_nothing")
    if not (math.isfinite(outlets) and outlets >= 1.0):
        raise Refused("hydraulics.bucket_outlets", value=float(outlets))
    flows = [_catch_l_h(row, *catch) for row, catch in enumerate(catches, start=1)]
    mean = sum(flows) / len(flows)
    block = mean * outlets / 1000.0
    low, high = _bounds("flow_m3_h")
    if not low <= block <= high:
        raise Refused("hydraulics.bucket_flow", flow_m3_h=block, low=low, high=high)
    return BucketTest(block, mean, 100.0 * (max(flows) - min(flows)) / mean)


def _catch_l_h(row: int, litres: float, seconds: float) -> float:
    if not (math.isfinite(litres) and math.isfinite(seconds) and litres > 0.0 and seconds > 0.0):
        raise Refused("hydraulics.bucket_catch", row=row)
    flow = litres / seconds * 3600.0
    low, high = _bounds("outlet_l_h")
    if not low <= flow <= high:
        raise Refused("hydraulics.bucket_outlet", row=row, outlet_l_h=flow, low=low, high=high)
    return flow


def _bounds(key: str) -> tuple[float, float]:
    """Return what the setting of a block accepts, so that a test can be stored."""
    found = BLOCK_KEYS[key]
    assert found.low is not None and found.high is not None
    return found.low, found.high
