"""Read the tables of ``tests/published`` for the tests of this folder."""

from __future__ import annotations

import csv
from pathlib import Path

PUBLISHED = Path(__file__).parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def inputs(row: dict[str, str]) -> dict[str, float]:
    """The ``inputs`` cell, ``a=1;b=2``."""
    pairs = (part.split("=") for part in row["inputs"].split(";"))
    return {name: float(value) for name, value in pairs}


def label(row: dict[str, str]) -> str:
    return " ".join(row[c] for c in ("id", "quantity", "inputs") if c in row)


def of(name: str, *quantities: str) -> list[dict[str, str]]:
    found = [r for r in rows(name) if r["quantity"] in quantities]
    assert found, (name, quantities)
    return found
