"""A station file that brings its own reference ET."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

WEEK = dt.date(2025, 7, 14)


def write_own_et0(
    path: Path, first: dt.date, days: int, et0: float, rain: dict[int, float]
) -> None:
    lines = ["date,et0_mm,rain_mm"]
    for i in range(days):
        lines.append(f"{first + dt.timedelta(days=i)},{et0},{rain.get(i, 0)}")
    path.write_text("\n".join(lines) + "\n")
