"""What stands on which page of a person's week: rows, pages, columns; nothing is drawn here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from waterbudget.paper.words import Words, decimals_of, rounded_in_turn
from waterbudget.sheet import Sheet, SheetLine, in_order

MAX_ROWS = 28
"""Rows of a page: a watering takes one, one more where it is cut into parts or changed."""


@dataclass(frozen=True)
class Unit:
    """What is not torn apart: a watering with the row below it, or a line of a mark.

    Attributes
    ----------
    kind : str
        ``"watering"``, or the kind of a mark.
    m3 : float or None
        Volume as printed.
    """

    date: dt.date
    kind: str
    text: str = ""
    line: SheetLine | None = None
    m3: float | None = None

    @property
    def rows(self) -> int:
        """Rows it takes."""
        cut = self.line is not None and self.line.pulses > 1
        return 1 + cut + self.old

    @property
    def old(self) -> bool:
        """Whether it shows what it was before."""
        x = self.line
        return x is not None and x.hours > 0 and x.was_hours is not None


@dataclass(frozen=True)
class Page:
    """One page of a person's week.

    Attributes
    ----------
    number, of : int
        1 of 2.
    """

    sheet: Sheet
    units: tuple[Unit, ...]
    number: int
    of: int
    decimals: int

    @property
    def rows(self) -> int:
        """Rows on it."""
        return sum(u.rows for u in self.units)

    @property
    def lines(self) -> list[SheetLine]:
        """Waterings on it."""
        return [u.line for u in self.units if u.line is not None and u.line.hours > 0]

    @property
    def m3(self) -> float:
        """Sum of the volumes as printed on it [m3]."""
        return round(sum(u.m3 or 0.0 for u in self.units), self.decimals)

    def days(self) -> list[list[Unit]]:
        """Return what stands on it, day by day."""
        found: list[list[Unit]] = []
        for u in self.units:
            if found and found[-1][0].date == u.date:
                found[-1].append(u)
            else:
                found.append([u])
        return found


def pages(sheet: Sheet, words: Words, wrap: Callable[[str], list[str]]) -> list[Page]:
    """Cut a person's week into pages, between days where that is possible.

    Parameters
    ----------
    wrap : callable
        Cuts the text of a mark into lines that fit.
    """
    every = in_order(sheet)
    decimals = decimals_of(x.m3 for x in every)
    volumes = rounded_in_turn((x.m3 if x.hours else None for x in every), decimals)
    units: list[Unit] = []
    for day in sorted({*(x.date for x in every), *(m.date for m in sheet.marks)}):
        for m in sheet.marks:
            if m.date == day:
                text = words("mark_text", kind=words(f"mark.{m.kind}"), blocks=", ".join(m.blocks))
                units += [Unit(day, m.kind, part) for part in wrap(text)]
        units += [
            Unit(day, "watering", line=x, m3=v) for x, v in zip(every, volumes, strict=True)
            if x.date == day
        ]  # fmt: skip
    parts = _parts(units)
    return [
        Page(sheet, tuple(part), k, len(parts), decimals) for k, part in enumerate(parts, start=1)
    ]


def _parts(units: Sequence[Unit]) -> list[list[Unit]]:
    parts: list[list[Unit]] = [[]]
    used = 0
    for day in sorted({u.date for u in units}):
        of_day = [u for u in units if u.date == day]
        rows = sum(u.rows for u in of_day)
        if used and used + rows > MAX_ROWS:
            parts.append([])
            used = 0
        for u in of_day:
            if used + u.rows > MAX_ROWS:
                parts.append([])
                used = 0
            parts[-1].append(u)
            used += u.rows
    return parts


@dataclass(frozen=True)
class Column:
    """One column: its code, left edge and width [mm]."""

    code: str
    x: float
    width: float

    @property
    def end(self) -> float:
        """Right edge [mm]."""
        return self.x + self.width


_WIDTHS = {
    "day": 15.5, "valve": 15.0, "block": 0.0, "start": 16.5, "hours": 21.0, "m3": 14.5,
    "stop": 18.5, "kpa": 11.0, "pump": 13.0, "ran_hours": 14.0, "ran_start": 16.5,
    "ran_stop": 16.5,
}  # fmt: skip


def columns(left: float, width: float, *, kpa: bool, pump: bool) -> dict[str, Column]:
    """Return the columns of a page by code; the block's takes what is left of the width.

    Parameters
    ----------
    kpa, pump : bool
        Whether a pressure is to be seen, and whether there is more than one pump.
    """
    used = {c: w for c, w in _WIDTHS.items() if (c != "kpa" or kpa) and (c != "pump" or pump)}
    used["block"] = width - sum(used.values())
    found, x = {}, left
    for code, w in used.items():
        found[code] = Column(code, x, w)
        x += w
    return found
