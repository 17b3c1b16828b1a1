"""Packaged CSV tables: one row one number, with where it comes from.

Every table of numbers carries the columns ``source, where, kind, note``; ``kind`` is one of
``published``, ``common practice`` or ``own estimate``.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources


@cache
def read(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of ``tables/<name>.csv`` as dicts of text."""
    text = resources.files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


@cache
def sentences() -> dict[str, str]:
    """Return every sentence by its code, from ``tables/sentences/*.csv`` (columns code,text)."""
    found: dict[str, str] = {}
    folder = resources.files(__name__).joinpath("sentences")
    for path in sorted(folder.iterdir(), key=lambda p: p.name):
        if path.name.endswith(".csv"):
            for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
                found[row["code"]] = row["text"]
    return found


@cache
def words(language: str) -> dict[str, str]:
    """Return the words of the printed week by their code, from ``tables/words/<language>.csv``."""
    return {row["code"]: row["text"] for row in read(f"words/{language}")}


@cache
def languages() -> tuple[str, ...]:
    """Return the languages the printed week speaks, by their codes (``en``, ``es``)."""
    folder = resources.files(__name__).joinpath("words")
    return tuple(sorted(p.name[:-4] for p in folder.iterdir() if p.name.endswith(".csv")))
