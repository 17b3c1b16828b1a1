"""Blocks short of water, each judged in its own stage; fruit fill is the alarm.

A morning is short when the depletion before the day's water is past the block's limit
(``allowed_mm``).  The same dryness in rest, or in a dry-down the grower wants, is no alarm.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from waterbudget.orchard import ALL_STAGES

Values = NDArray[np.float64]

TOLERANCE_MM = 2e-3
SWING_DAYS = 3
SWING_SHARE = 0.40  # of the held water within three days: own estimate
SUDDEN_MM = 15.0  # water on a block past its limit: own estimate
TELL_DRAINED_MM = 1.0
_ORDER = {"fill": 0, "bloom": 1, "set": 1}


@dataclass(frozen=True)
class Dryness:
    """How one block stands in the morning of the day looked at, and what is coming.

    Attributes
    ----------
    dry : past the limit this morning
    alarm : dry in fruit fill now or within the week as planned, and not on purpose
    dry_days_so_far : mornings past the limit in the present stage, this one included
    first_dry_day : first morning of the present dry spell, else the first one coming as planned
    days_if_nothing_runs : days until the first morning past the limit without water (0 = now)
    days_as_planned : the same with the week as planned; None = not within the week
    drained_mm : past the roots in the seven days before
    drains_mm : will drain in the coming seven days as planned
    swing_mm, swing_share : largest change of the water in the root zone within three days, over
        the seven days before and the seven coming [mm], [share of TAW]
    sudden : a dry-then-wet swing in fruit fill or harvest
    """

    in_fill: bool
    dry: bool
    alarm: bool
    allowed_dry: bool
    dry_days_so_far: int
    first_dry_day: dt.date | None
    days_if_nothing_runs: int | None
    days_as_planned: int | None
    drained_mm: float
    drains_mm: float
    swing_mm: float
    swing_share: float
    sudden: bool

    @property
    def rank(self) -> tuple[int, int, int]:
        """Sort key: fruit fill first, then bloom and set; worst first."""
        soon = self.days_as_planned if self.days_as_planned is not None else 99
        place = 0 if self.alarm else (1 if self.in_fill else 2)
        return (place, 0 if self.dry else 1, soon)


def short_mornings(dr_start_mm: Values, limit_mm: Values) -> NDArray[np.bool_]:
    """Return where the depletion before the day's water is past the limit."""
    return dr_start_mm > limit_mm + TOLERANCE_MM


def largest_swing(dr_mm: Values, days: int = SWING_DAYS) -> float:
    """Largest change of depletion between two evenings at most ``days`` apart [mm]."""
    if len(dr_mm) < 2:
        return 0.0
    best = 0.0
    for gap in range(1, days + 1):
        if len(dr_mm) > gap:
            best = max(best, float(np.max(np.abs(dr_mm[gap:] - dr_mm[:-gap]))))
    return best


def judge(
    *, on_index: int, first: dt.date, stage: NDArray[np.int8], dr_start_mm: Values, dr_mm: Values,
    limit_mm: Values, taw_mm: Values, drainage_mm: Values, water_mm: Values,
    correction_mm: Values,
    dr_dry_mm: Values, limit_ahead_mm: Values, dry_until: dt.date | None,
) -> Dryness:  # fmt: skip
    """Judge one block on the morning of day ``on_index``.

    Parameters
    ----------
    stage, dr_start_mm, dr_mm, limit_mm, taw_mm, drainage_mm, water_mm, correction_mm : ndarray
        Shape (days,): the simulated run to the end of the planned week; ``water_mm`` is rain and
        net watering, corrections are not counted as swings.
    dr_dry_mm, limit_ahead_mm : ndarray, shape (ahead,)
        Morning depletion from that day on if nothing runs, and the limit on those days.
    dry_until : datetime.date or None
        A dry-down the grower wants.
    """
    i = on_index
    on = first + dt.timedelta(days=i)
    name = ALL_STAGES[stage[i]]
    short = short_mornings(dr_start_mm, limit_mm)
    on_purpose = dry_until is not None and on <= dry_until
    allowed_dry = on_purpose or name == "rest"
    coming = np.flatnonzero(short[i:])
    planned = int(coming[0]) if len(coming) else None
    nothing = np.flatnonzero(short_mornings(dr_dry_mm, limit_ahead_mm))
    dry = bool(short[i])
    wanted_dry = (dry_until - on).days if dry_until is not None else -1
    fill_soon = [k for k in coming if k > wanted_dry and ALL_STAGES[stage[i + k]] == "fill"]
    week = slice(max(0, i - 7), len(dr_mm))
    swing = largest_swing((dr_mm + np.cumsum(correction_mm))[week])
    share = swing / float(taw_mm[i]) if taw_mm[i] > 0 else 0.0
    ripe = name in ("fill", "harvest")
    sudden = ripe and bool(np.any(short[week] & (water_mm[week] >= SUDDEN_MM)))
    return Dryness(
        in_fill=name == "fill",
        dry=dry,
        alarm=bool(fill_soon),
        allowed_dry=allowed_dry,
        dry_days_so_far=_days_so_far(short, stage, i),
        first_dry_day=_first_dry(short, first, i, planned),
        days_if_nothing_runs=int(nothing[0]) if len(nothing) else None,
        days_as_planned=planned,
        drained_mm=float(drainage_mm[max(0, i - 7) : i].sum()),
        drains_mm=float(drainage_mm[i:].sum()),
        swing_mm=swing,
        swing_share=share,
        sudden=sudden or (ripe and share > SWING_SHARE),
    )


def order(stage: str) -> int:
    """Return the place of a stage among alarms: fruit fill, then bloom and set, then the rest."""
    return _ORDER.get(stage, 2)


def _days_so_far(short: NDArray[np.bool_], stage: NDArray[np.int8], i: int) -> int:
    same = i
    while same > 0 and stage[same - 1] == stage[i]:
        same -= 1
    return int(short[same : i + 1].sum())


def _first_dry(
    short: NDArray[np.bool_], first: dt.date, i: int, planned: int | None
) -> dt.date | None:
    if short[i]:
        j = i
        while j > 0 and short[j - 1]:
            j -= 1
        return first + dt.timedelta(days=j)
    return first + dt.timedelta(days=i + planned) if planned is not None else None
