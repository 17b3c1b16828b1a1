"""The coming month as the page "Ahead" shows it: plain numbers made in the worker thread."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Note

if TYPE_CHECKING:
    from waterbudget.records import FarmData
    from waterbudget.risk import BlockRisk, Outlook
    from waterbudget.season import Season

Values = NDArray[np.float64]


@dataclass(frozen=True)
class AheadRow:
    """One block's coming days.

    Attributes
    ----------
    in_fill : ndarray of bool, shape (days,)
        Days on which the clock expects fruit fill.
    by_day : ndarray or None
        Share of the years in which that morning is past the limit.
    hours, m3 : float or None
        Of the week planned.
    """

    id: int
    name: str
    stage: str
    in_fill: NDArray[np.bool_]
    years: int
    by_day: Values | None
    chance: float | None
    chance_in_fill: float | None
    dry_days: float | None
    need_m3: Mapping[int, float] | None
    hours: float | None
    m3: float | None
    low: Values | None
    mid: Values | None
    high: Values | None
    limit: Values


@dataclass(frozen=True)
class AheadView:
    """The farm's coming days, as it stands or as changed."""

    on: dt.date
    days: int
    years: tuple[int, ...]
    rows: tuple[AheadRow, ...]
    need_m3: Mapping[int, float]
    peak_m3: Mapping[int, float]
    notes: tuple[Note, ...] = ()
    changes: tuple[tuple[str, str], ...] = field(default=())

    def row(self, block_id: int | None) -> AheadRow | None:
        """Return a block's row."""
        return next((r for r in self.rows if r.id == block_id), None)

    @property
    def hours(self) -> float:
        """Hours of the whole week."""
        return sum(r.hours or 0.0 for r in self.rows)

    @property
    def m3(self) -> float:
        """Water of the whole week [m3]."""
        return sum(r.m3 or 0.0 for r in self.rows)


def make_view(
    season: Season, outlook: Outlook, changes: Sequence[tuple[str, str]] = ()
) -> AheadView:
    """Return what the page shows, fruit fill first."""
    from waterbudget import sheet

    rows = []
    for made in sheet.week_rows(season):
        b = made.block
        rows.append(_row(season, outlook.blocks[b.column], made.values["hours"]))
    return AheadView(
        outlook.on, outlook.days, outlook.years, tuple(rows), outlook.need_m3,
        outlook.peak_m3_day, outlook.notes, tuple(changes),
    )  # fmt: skip


def _row(season: Season, risk: BlockRisk, hours: float | None) -> AheadRow:
    from waterbudget.orchard import ALL_STAGES

    b, i = risk.block, season.on_index
    days = len(season.ahead_limit_mm)
    stages = b.clock.stage[i : i + days]
    m3 = sum(s.m3 or 0.0 for s in b.plan.sets) if b.plan.sets else 0.0
    return AheadRow(
        b.block.id, b.block.name, season.stage(b), stages == ALL_STAGES.index("fill"),
        len(risk.years), risk.chance_by_day, risk.chance_dry, risk.chance_dry_in_fill,
        risk.dry_days, risk.need_m3, hours, m3 if hours is not None else None, risk.dr_low_mm,
        risk.dr_mid_mm, risk.dr_high_mm, season.ahead_limit_mm[:, b.column],
    )  # fmt: skip


def look_ahead(season: Season, kept: dict[Any, Any]) -> AheadView:
    """Run the past years through the season shown (in the worker); years are kept."""
    from waterbudget import risk

    key = (season.on, *sorted((n, id(r)) for n, r in season.data.records.items()))
    if kept.get("key") != key:
        names = sorted({b.station for b in season.blocks if b.station})
        kept["years"] = {n: risk.past_years(season, n) for n in names}
        kept["key"], kept["records"] = key, dict(season.data.records)
    return make_view(season, risk.outlook(season, kept["years"]))


def try_changes(
    data: FarmData, on: dt.date, changes: Sequence[tuple[str, str]]
) -> tuple[AheadView, AheadView]:
    """Run the farm as it is and changed (in the worker); nothing is stored."""
    from waterbudget import actions

    both = actions.side_by_side(data, on, changes)
    return make_view(both.season, both.outlook), make_view(
        both.changed, both.changed_outlook, changes
    )
