"""Rows that stand for the same moment."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Note, Refused
from waterbudget.weather.asking import Asker
from waterbudget.weather.cells import kind_of, squeeze
from waterbudget.weather.dates import date_of
from waterbudget.weather.stamps import Stamps
from waterbudget.weather.table import Table

Rows = NDArray[np.int64]


def _groups(key: NDArray[np.float64]) -> list[list[int]]:
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    twin = np.flatnonzero(np.diff(sorted_key) == 0.0)
    groups: list[list[int]] = []
    for t in twin.tolist():
        a, b = int(order[t]), int(order[t + 1])
        if groups and groups[-1][-1] == a:
            groups[-1].append(b)
        else:
            groups.append([a, b])
    return groups


def _merge(rows: list[list[str]]) -> list[str] | None:
    """Return one row that holds what all rows say; None where they contradict each other."""
    merged = list(rows[0])
    for row in rows[1:]:
        for i, cell in enumerate(row):
            if kind_of(cell) in ("blank", "missing"):
                continue
            if kind_of(merged[i]) in ("blank", "missing"):
                merged[i] = cell
            elif squeeze(merged[i]) != squeeze(cell):
                return None
    return merged


def _clock_went_back(stamps: Stamps, groups: list[list[int]], step: float) -> bool:
    """Tell whether the doubles are the hours of a clock put back, once or twice a year."""
    pairs = [g for g in groups if len(g) == 2]
    if len(pairs) != len(groups) or not groups:
        return False
    days = {int(stamps.day[g[0]]) for g in groups}
    years = (stamps.day.max() - stamps.day.min()) / 365.0 + 1.0
    if len(days) > 2 * years:
        return False
    back = np.diff(stamps.key)
    jumps = back[back < 0.0]
    for d in days:
        size = sum(1 for g in groups if int(stamps.day[g[0]]) == d) * step
        if not 25.0 <= size <= 65.0:
            return False
    return len(jumps) >= len(days) and bool(np.all(jumps >= -65.0))


def settle(
    table: Table, stamps: Stamps, used: list[int], asker: Asker, daily: bool, step: float
) -> Rows:
    """Return the positions (into ``stamps.keep``) to use, in order of time.

    Doubles that say the same, or fill each other's blanks, become one row (told); doubles that
    contradict each other are asked about; an hour doubled by the clocks going back stays.
    """
    order = np.argsort(stamps.key, kind="stable")
    groups = _groups(stamps.key)
    if not groups:
        return order
    if not daily and _clock_went_back(stamps, groups, step):
        date = date_of(int(stamps.day[groups[0][0]])).isoformat()
        stamps.notes.append(Note.of("weather.note.clock_back", date=date))
        return order
    _refuse_half_clock(stamps, groups, daily, table)
    drop: set[int] = set()
    differing: list[list[int]] = []
    for group in groups:
        rows = [table.rows[int(stamps.keep[i])] for i in group]
        merged = _merge([[row[j] for j in used] for row in rows])
        if merged is None:
            differing.append(group)
            continue
        for j, cell in zip(used, merged, strict=True):
            rows[0][j] = cell
        drop.update(group[1:])
    if drop:
        date = date_of(int(stamps.day[min(drop)])).isoformat()
        stamps.notes.append(Note.of("weather.note.doubles_same", count=len(drop), date=date))
    if differing:
        at = [int(stamps.keep[i]) for i in differing[0]]
        date = date_of(int(stamps.day[differing[0][0]])).isoformat()
        answer = asker.ask(
            "duplicate_days", ("first", "last"), sample=table.sample(at),
            count=len(differing), date=date, lines=", ".join(str(table.at[i]) for i in at),
        )  # fmt: skip
        for group in differing:
            drop.update(group[:-1] if answer == "last" else group[1:])
        if answer:
            note = Note.of(
                "weather.note.doubles_chosen", count=len(differing), which=answer, date=date
            )
            stamps.notes.append(note)
    return np.array([i for i in order.tolist() if i not in drop], dtype=np.int64)


def _refuse_half_clock(stamps: Stamps, groups: list[list[int]], daily: bool, table: Table) -> None:
    """Refuse hours 1 to 12 written twice a day, and many rows a day without a time."""
    many = len(groups) > 0.3 * len(np.unique(stamps.key))
    if not daily and many and stamps.minute.max() < 780.0 and len(np.unique(stamps.minute)) > 6:
        line = table.at[int(stamps.keep[groups[0][1]])]
        raise Refused("weather.half_clock", line=line)
    if daily and many and np.mean([len(g) for g in groups]) > 4.0:
        line = table.at[int(stamps.keep[groups[0][1]])]
        raise Refused("weather.no_times", line=line)
