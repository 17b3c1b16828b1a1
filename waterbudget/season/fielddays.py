"""Feeding and spraying of one block as a season holds them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from waterbudget import fieldwork
from waterbudget.errors import Note
from waterbudget.fieldwork import DryWindow, Job


@dataclass(frozen=True)
class Nitrogen:
    """What drained after the last nitrogen of a block.

    Attributes
    ----------
    drained_mm : float
        From that day to the eve of the day looked at, 14 days at most [mm].
    coming_mm : float
        More of it in the planned week, inside the same 14 days [mm].
    lost_kg_ha : float
        An example: at 30 mg N/L in what drains [kg/ha].
    """

    fed_on: dt.date
    drained_mm: float
    coming_mm: float
    lost_kg_ha: float

    @property
    def alarm(self) -> bool:
        """Whether more drained, or will, than is good."""
        return self.drained_mm + self.coming_mm > fieldwork.figure("n_drained_mm")


@dataclass(frozen=True)
class FieldDays:
    """Feeding and spraying of one block, as the week has to know them.

    Attributes
    ----------
    jobs : tuple of Job
        Of the cycle the block is in, cautions filled in.
    dry : mapping of date to DryWindow
        Days of the planned week on which an overhead block gets no water.
    notes : tuple of Note
        What the plan could not do for them.
    """

    jobs: tuple[Job, ...] = ()
    dry: Mapping[dt.date, DryWindow] = field(default_factory=dict)
    nitrogen: Nitrogen | None = None
    notes: tuple[Note, ...] = ()

    def in_days(self, first: dt.date, days: int) -> tuple[Job, ...]:
        """Return the jobs that count of ``days`` days from ``first``."""
        last = first + dt.timedelta(days=days - 1)
        return tuple(j for j in self.jobs if j.counts and first <= j.date <= last)
