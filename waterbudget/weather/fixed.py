"""Columns that are kept apart by their place in the line."""

from __future__ import annotations

import re
from itertools import pairwise

Place = tuple[int, int]


def places_of(lines: list[str]) -> list[Place]:
    """Return (start, end) of each column: stretches where some line has a mark.

    Columns are parted by places where every line is blank.
    """
    width = max((len(line) for line in lines), default=0)
    used = [False] * (width + 1)
    for line in lines:
        for match in re.finditer(r"\S+", line):
            for i in range(match.start(), match.end()):
                used[i] = True
    places, start = [], None
    for i, mark in enumerate(used):
        if mark and start is None:
            start = i
        elif not mark and start is not None:
            places.append((start, i))
            start = None
    return places


def cut_at(line: str, places: list[Place]) -> list[str]:
    """Return the cells of a line cut half-way between columns."""
    edges = [0, *((a[1] + b[0]) // 2 for a, b in pairwise(places)), None]
    return [line[a:b].strip() for a, b in pairwise(edges)]


def words_by_place(line: str, places: list[Place]) -> list[str]:
    """Give each word of a header line to the column it stands over, or nearest to."""
    found: list[list[str]] = [[] for _ in places]
    for match in re.finditer(r"\S+", line):
        a, b = match.span()

        def far(place: Place, a: int = a, b: int = b) -> float:
            overlap = min(b, place[1]) - max(a, place[0])
            return -overlap if overlap > 0 else -overlap + 0.1

        best = min(range(len(places)), key=lambda i: far(places[i]))
        found[best].append(match.group())
    return [" ".join(words) for words in found]
