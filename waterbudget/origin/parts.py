"""What a number's origin is made of: frozen, codes and figures only."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from waterbudget import tables
from waterbudget.errors import Note

Certainty = Literal["given", "other", "default", "missing", "worked"]
_WORST: tuple[Certainty, ...] = ("worked", "given", "other", "default", "missing")


@dataclass(frozen=True)
class Source:
    """Who says so: one row of a packaged table.

    Attributes
    ----------
    table, row : str
        Name of the table and of the row in it.
    kind : str
        ``published``, ``common practice`` or ``own estimate``.
    """

    table: str
    row: str
    source: str
    where: str
    kind: str
    note: str


@dataclass(frozen=True)
class Part:
    """One thing a number is made of.

    Attributes
    ----------
    name : str
        Word code ``origin.name.<name>``.
    certainty : str
        ``given`` (entered or measured), ``other`` (from another source), ``default``,
        ``missing``; ``worked`` where it was worked out and has parts of its own.
    told : Note or None
        How it is known.
    number : str
        Set where the part is itself a number with an origin.
    """

    name: str
    value: float | str | None
    unit: str = ""
    certainty: Certainty = "worked"
    told: Note | None = None
    source: Source | None = None
    number: str = ""


@dataclass(frozen=True)
class DayPart:
    """One of the seven days: its figures by word code, and the codes of what it was made from."""

    date: dt.date
    values: dict[str, float]
    made_from: tuple[str, ...] = ()


@dataclass(frozen=True)
class Origin:
    """Where one number of a block's week comes from.

    Attributes
    ----------
    value : float, str or None
        As on the week's sheet; None where it cannot be known.
    certainty : str
        The worst of its own parts and of the numbers it is made of.
    method : Note
        The rule in words.
    published : Source
        Who says so, with the page.
    unsure : tuple of Note
        What was estimated on the way.
    """

    number: str
    value: float | str | None
    unit: str
    certainty: Certainty
    method: Note
    published: Source
    parts: tuple[Part, ...]
    days: tuple[DayPart, ...] = ()
    unsure: tuple[Note, ...] = ()


def worst(found: list[Certainty]) -> Certainty:
    """Return the least certain of several."""
    return max(found, key=_WORST.index, default="worked")


def row_source(table: str, key: str, row: str) -> Source:
    """Return the source of the row of a packaged table whose column ``key`` is ``row``.

    "as above" is followed up to the row that says it.
    """
    rows = tables.read(table)
    at = next(i for i, r in enumerate(rows) if r[key] == row)
    source, where = _followed(rows, at)
    return Source(table, row, source, where, rows[at]["kind"], rows[at]["note"])


def _followed(rows: tuple[dict[str, str], ...], at: int) -> tuple[str, str]:
    source, where = rows[at]["source"], rows[at]["where"]
    if at == 0 or not source.startswith("as above"):
        return source, where
    above, there = _followed(rows, at - 1)
    own = "" if where.startswith("as above") else where
    return above + source.removeprefix("as above"), "; ".join(w for w in (there, own) if w)


def method_source(number: str) -> Source:
    """Return the published method behind a number."""
    return row_source("methods", "number", number)
