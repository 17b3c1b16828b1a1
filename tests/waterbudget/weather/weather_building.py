"""Small builders of weather files: one invented record, rendered in many ways."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

D = dt.date
ONE = dt.timedelta(days=1)

PLACE: dict[str, Any] = {"lat": -19.9, "elevation_m": 1100.0}
"""Where the invented station stands."""


@dataclass(frozen=True)
class True_:
    """One invented day, in the units used inside (wind at 2 m)."""

    date: dt.date
    tmax: float
    tmin: float
    rh_max: float
    rh_min: float
    wind: float
    rs: float
    rain: float


def record(n: int = 24, first: dt.date = D(2025, 1, 10)) -> list[True_]:
    """Return an invented record, no two days alike, all of it possible."""
    days = []
    for i in range(n):
        wet = i % 5 == 2 or i % 7 == 3
        days.append(
            True_(
                first + i * ONE,
                round(29.0 + 2.5 * math.sin(i / 2.3) - 3.0 * wet, 1),
                round(17.4 + 1.3 * math.sin(i / 3.1 + 1.0), 1),
                round(88.0 + 6.0 * math.sin(i / 1.7), 0),
                round(42.0 + 7.0 * math.cos(i / 2.1) + 12.0 * wet, 0),
                round(1.8 + 0.7 * math.sin(i / 1.3), 2),
                round(23.0 + 2.0 * math.sin(i / 1.9) - 8.0 * wet, 1),
                round((3.2 + 2.3 * (i % 4) + 0.4 * (i % 37)) * wet, 1),
            )
        )
    return days


def fixed(value: float, digits: int = 1) -> str:
    """Return a number with a fixed count of decimals."""
    return f"{value:.{digits}f}"


def comma(text: str) -> str:
    """Return a number with a decimal comma."""
    return text.replace(".", ",")


Cell = Callable[[True_], str]

ISO: Cell = lambda d: d.date.isoformat()  # noqa: E731
COLUMNS: dict[str, Cell] = {
    "date": ISO,
    "tmax": lambda d: fixed(d.tmax),
    "tmin": lambda d: fixed(d.tmin),
    "rh_max": lambda d: fixed(d.rh_max, 0),
    "rh_min": lambda d: fixed(d.rh_min, 0),
    "wind": lambda d: fixed(d.wind, 2),
    "rs": lambda d: fixed(d.rs),
    "rain": lambda d: fixed(d.rain),
}
HEADER = ("Date", "Tmax (C)", "Tmin (C)", "RH max (%)", "RH min (%)", "Wind 2 m (m/s)",
          "Solar (MJ/m2)", "Rain (mm)")  # fmt: skip


def table(
    days: Iterable[True_],
    header: Sequence[str] | None = HEADER,
    cells: Sequence[Cell] | None = None,
    separator: str = ",",
    end: str = "\n",
) -> str:
    """Render days as a table of text."""
    cells = list(COLUMNS.values()) if cells is None else cells
    lines = [] if header is None else [separator.join(header)]
    lines += [separator.join(c(d) for c in cells) for d in days]
    return end.join(lines) + end


def hourly(day: True_, step: int = 60) -> list[tuple[int, float, float, float, float, float]]:
    """Return (minute, temperature, RH, wind, W/m2, rain) of a day whose extremes are the day's.

    The warmest reading is exactly ``tmax``, the coldest ``tmin``; the rain falls from 15:00 on
    in four equal parts; the sun is a half sine from 6 to 18 h scaled to the day's total.
    """
    n = 1440 // step
    minutes = [i * step for i in range(n)]
    shape = [math.cos((m - 14 * 60) / 1440 * 2 * math.pi) for m in minutes]
    top, low = max(shape), min(shape)
    sun = [max(0.0, math.sin((m + step / 2 - 360) / 720 * math.pi)) if 360 <= m < 1080 else 0.0
           for m in minutes]  # fmt: skip
    scale = day.rs / (sum(sun) * step * 60e-6)
    wet = [m for m in minutes if m >= 900][:4]
    rows = []
    for m, s, light in zip(minutes, shape, sun, strict=True):
        share = (s - low) / (top - low)
        rows.append(
            (
                m,
                day.tmin + (day.tmax - day.tmin) * share,
                day.rh_max - (day.rh_max - day.rh_min) * share,
                day.wind,
                light * scale,
                day.rain / 4 if m in wet else 0.0,
            )
        )
    return rows


@dataclass(frozen=True)
class Case:
    """One file and what reading it must give.

    Attributes
    ----------
    days : mapping of date to mapping of quantity to value
        Compared within ``tolerance``; ``None`` means the quantity must be unknown.
    count : int
        Number of days.
    flags : set of (date, what)
        Must all be there (``only_flags``: and no others).
    notes : set of str
        Codes (without ``weather.note.``) that must be there.
    asks : mapping of question key to choices (None = free)
        All the questions, no more and no fewer.
    refused : str
        Code, and ``where`` the fields that must be in it.
    """

    id: str
    data: bytes | str
    given: dict[str, Any] = field(default_factory=dict)
    days: dict[dt.date, dict[str, float | None]] | None = None
    count: int | None = None
    flags: set[tuple[dt.date, str]] = field(default_factory=set)
    only_flags: bool = True
    notes: set[str] = field(default_factory=set)
    asks: dict[str, tuple[str, ...] | None] | None = None
    refused: str | None = None
    where: dict[str, Any] = field(default_factory=dict)
    tolerance: float = 1e-5
    gaps: int | None = None

    def bytes(self) -> bytes:
        """Return the file."""
        return self.data.encode() if isinstance(self.data, str) else self.data


NAMES = {"tmax": "tmax_c", "tmin": "tmin_c", "rh_max": "rh_max", "rh_min": "rh_min",
         "wind": "u2_m_s", "rs": "rs_mj", "rain": "rain_mm"}  # fmt: skip


def expected(days: Iterable[True_], *quantities: str) -> dict[dt.date, dict[str, float | None]]:
    """Return what reading must give for days and quantities (all where none is named)."""
    picked = quantities or tuple(NAMES)
    return {d.date: {NAMES[q]: getattr(d, q) for q in picked} for d in days}
