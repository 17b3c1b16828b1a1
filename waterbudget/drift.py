"""Does a block's valve still give what it is planned with: metered over planned flow.

Rule of practice for the metered over the planned water of a set (no source): 0.95 to 1.05 is
good, 0.90 to 1.10 wants a look, past that there is a fault to find before the next one.  Here
nothing is said within 8 %, from there to 10 % it is a look, from 10 % on it needs the grower.
The middle one of the last five waterings is taken: one figure typed wrong moves nothing, a step
shows with the third watering after it, a slow change as soon as the middle has crossed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

LAST = 5
"""Waterings looked at."""
SILENT_PCT, FAULT_PCT = 8.0, 10.0
"""Off the planned flow [%]: nothing is said below the first (own estimate), a fault past the other
(common practice, no source)."""
STOPPED_EARLY, RAN_ON = 0.7, 1.3
"""Metered over planned water past which a watering nobody timed did not run its hours (own
estimate)."""
_EPS = 1e-9


@dataclass(frozen=True)
class Timed:
    """One watering with its hours and its metered water.

    Attributes
    ----------
    assumed : bool
        Nobody took its hours down; they are those handed out.
    """

    hours: float
    m3: float
    assumed: bool = False


@dataclass(frozen=True)
class Drift:
    """How far the metered flow is from the planned one.

    Attributes
    ----------
    verdict : str
        ``even``, ``look``, ``low`` or ``high``.
    planned_m3_h, metered_m3_h : float
    pct : float
        Metered against planned [%], negative where it gives less.
    count : int
        Waterings it rests on.
    """

    verdict: str
    planned_m3_h: float
    metered_m3_h: float
    pct: float
    count: int


def judge(flow_m3_h: float | None, sets: Sequence[Timed]) -> Drift | None:
    """Compare the flow of the last waterings with the planned one; None where none can be.

    Parameters
    ----------
    flow_m3_h : float or None
        What the block is planned with [m3/h].
    sets : sequence of Timed
        Oldest first.
    """
    if not flow_m3_h:
        return None
    ratios = []
    for s in sets:
        if s.hours <= 0 or s.m3 <= 0:
            continue
        ratio = s.m3 / (s.hours * flow_m3_h)
        if not s.assumed or STOPPED_EARLY <= ratio <= RAN_ON:
            ratios.append(ratio)
    if not ratios:
        return None
    last = ratios[-LAST:]
    ratio = median(last)
    pct = 100.0 * (ratio - 1.0)
    if abs(pct) <= SILENT_PCT + _EPS:
        verdict = "even"
    elif abs(pct) < FAULT_PCT - _EPS:
        verdict = "look"
    else:
        verdict = "low" if pct < 0 else "high"
    return Drift(verdict, flow_m3_h, round(ratio * flow_m3_h, 3), pct, len(last))
