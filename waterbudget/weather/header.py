"""The rows above the readings: names, groups over names, units, "Max, Min, Avg"."""

from __future__ import annotations

import re

from waterbudget.weather.cells import is_data, kind_of, squeeze
from waterbudget.weather.roles import role_of
from waterbudget.weather.words import is_stat, is_unit_word, plain

COMMENT = ("#", "//", "%", "!", "*")
HEADER_ROWS = 4

Line = tuple[int, list[str]]


def is_comment(cells: list[str]) -> bool:
    """Tell whether a line is a remark and not readings."""
    first = next((c.strip() for c in cells if c.strip()), "")
    return first.startswith(COMMENT) and kind_of(first) != "missing"


def clean_head(rows: list[tuple[int, list[str]]], separator: str) -> list[tuple[int, list[str]]]:
    """Take comment marks off lines above the readings (a header may be commented out)."""
    cleaned = []
    for n, cells in rows:
        if is_comment(cells) and cells:
            first = re.sub(r"^\s*(#+|//|%+|!+|\*+)\s*", "", cells[0])
            cells = [first, *cells[1:]] if first or len(cells) > 1 else []
        cleaned.append((n, cells))
    return cleaned


def row_role(cells: list[str]) -> str:
    """Return what a row above the readings is: ``names``, ``units``, ``stats`` or ``blank``."""
    filled = [c for c in map(squeeze, cells) if c]
    if not filled:
        return "blank"
    units = sum(is_unit_word(c) for c in filled)
    stats = sum(is_stat(c) for c in filled)
    if stats > 0.5 * len(filled):
        return "stats"
    if units >= 0.5 * len(filled) and not any(role_of(c).role for c in filled):
        return "units"
    return "names"


def read_header(
    head: list[tuple[int, list[str]]], width: int
) -> tuple[list[str], list[str], set[int]]:
    """Return names, units and the lines they came from, out of the rows above the readings."""
    found: list[tuple[str, list[str]]] = []
    used: set[int] = set()
    for n, cells in reversed(head[-12:]):
        filled = sum(1 for c in cells if c.strip())
        if filled == 0:
            if found and any(role == "names" for role, _ in found):
                break
            continue
        role = row_role(cells)
        lone = filled < 2 and width > 1 and not (role != "names" and len(cells) >= width)
        if lone or len(cells) > width + 3 or len(found) >= HEADER_ROWS:
            break
        have_names = any(r == "names" for r, _ in found)
        if have_names and not _is_group(cells, found, width):
            break
        if role == "names" and not have_names and filled < 0.5 * width and not found:
            break
        found.append((role, [squeeze(c) for c in cells] + [""] * (width - len(cells))))
        used.add(n)
    found.reverse()
    wide = max([width, *(len(c) for _, c in found)])
    units = [""] * wide
    parts: list[list[str]] = [[] for _ in range(wide)]
    lower = [cells for role, cells in found if role != "units"]
    for role, cells in found:
        cells = cells + [""] * (wide - len(cells))
        if role == "units":
            units = [u or c for u, c in zip(units, cells, strict=True)]
            continue
        if cells is not lower[-1]:
            cells = _fill_right(cells, lower[-1])
        for i, c in enumerate(cells):
            if c:
                parts[i].append(c)
    if not any(any(p) for p in parts):
        return [""] * width, units[:width], set()
    return [" ".join(p) for p in parts], units, used


def _is_group(cells: list[str], found: list[tuple[str, list[str]]], width: int) -> bool:
    """Tell whether a row above the names groups them (Temperature over Max and Min)."""
    names = next(c for r, c in reversed(found) if r == "names")
    filled = [c for c in names if c]
    twins = len({plain(c) for c in filled}) < len(filled)
    holes = any(c.strip() and not n for c, n in zip(cells, names, strict=False))
    leaning = any(_needs_more(c) for c in filled)
    return (twins or holes or leaning) and 2 <= len(cells) <= width + 1 and not is_data(cells)


def _needs_more(name: str) -> bool:
    """Tell whether a name says only Max, Min, Mean (with a unit) or only a unit."""
    bare = re.sub(r"[\[({].*?[\])}]", " ", name)
    return is_stat(bare) or (is_unit_word(name) and role_of(name).role is None)


def _fill_right(cells: list[str], below: list[str]) -> list[str]:
    """Let a group name reach over the columns to its right that have only a lower name."""
    filled, last = [], ""
    for i, c in enumerate(cells):
        if c:
            last = c
        reach = i < len(below) and below[i] != ""
        filled.append(c or (last if reach else ""))
    return filled


def fit_names(names: list[str], rows: list[list[str]]) -> list[str] | None:
    """Return names for rows of one cell more, where it is clear which cell has no name.

    That is a clock beside the date, or a row number before it; None where it is not clear.
    """
    kinds = [[kind_of(row[i]) if i < len(row) else "blank" for row in rows[:50]] for i in (0, 1)]
    if all(k == "date" for k in kinds[0]) and all(k == "time" for k in kinds[1]):
        return [names[0], "", *names[1:]]
    numbered = [squeeze(row[0]) for row in rows[:50]]
    counts = all(c.isdigit() for c in numbered) and len(set(numbered)) == len(numbered)
    if counts and all(k == "date" for k in kinds[1]):
        return ["", *names]
    return None
