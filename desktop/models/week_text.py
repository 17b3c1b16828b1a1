"""The week as text: for the clipboard and for a CSV file.

A spreadsheet takes a cell that begins with ``=``, ``+``, ``-`` or ``@`` for a formula; names
people typed may begin so, and get an apostrophe in front.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

from desktop.models.week import WeekTable

_DANGER = ("=", "+", "-", "@")


def safe_cell(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula and that stays one cell."""
    flat = " ".join(text.replace("\t", " ").splitlines())
    return f"'{flat}" if flat.lstrip().startswith(_DANGER) else flat


def week_rows(
    table: WeekTable, *, stage_word: Callable[[str], str], head: Callable[[str], str]
) -> list[list[str]]:
    """Return head, blocks and sums of the coming week as rows of cells.

    Parameters
    ----------
    stage_word, head : callable
        Words for a stage code, and for the columns ``block``, ``stage``, ``hours``, ``m3``,
        ``pump``, ``valves``.
    """
    ahead = table.days[-7:]
    rows = [
        [head("block"), head("stage"), *(d.isoformat() for d in ahead), head("hours"), head("m3")]
    ]
    for row in table.rows:
        rows.append(
            [
                safe_cell(row.name),
                safe_cell(stage_word(row.standing.stage)),
                *(_figure(c.hours) if c.hours else "" for c in row.ahead),
                _figure(row.hours),
                _figure(row.m3, 1),
            ]
        )
    feet = table.foot[-7:]
    hours = sum(f.pump_hours or 0.0 for f in feet)
    m3 = sum(f.m3 for f in feet)
    rows.append([head("pump"), "", *(_figure(f.pump_hours) for f in feet), _figure(hours),
                 _figure(m3, 1)])  # fmt: skip
    valves = sum(f.valves for f in feet)
    rows.append([head("valves"), "", *(str(f.valves) for f in feet), str(valves), ""])
    return rows


def as_csv(rows: list[list[str]]) -> str:
    """Return rows as comma-separated text."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()


def as_clipboard(rows: list[list[str]]) -> str:
    """Return rows as a spreadsheet pastes them: one line a row, tabs between cells."""
    return "".join("\t".join(row) + "\n" for row in rows)


def _figure(value: float | None, digits: int = 2) -> str:
    if value is None:
        return ""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return text or "0"
