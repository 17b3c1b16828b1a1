"""Words, dates and figures as they stand on the paper of a language."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from waterbudget import tables
from waterbudget.errors import Refused
from waterbudget.sheet import SheetLine

LANGUAGE = "en"


class Words:
    """The words of one language.

    Raises
    ------
    Refused
        ``sheet.no_language``.
    """

    def __init__(self, language: str = LANGUAGE) -> None:
        if language not in tables.languages():
            raise Refused("sheet.no_language", language=language, known=list(tables.languages()))
        self.language = language
        self._texts = tables.words(language)

    def __call__(self, code: str, **fields: Any) -> str:
        """Return the text of a code with its fields written in."""
        return self._texts[code].format_map(fields)

    def day(self, day: dt.date) -> str:
        """Return a day as ``MON 2``."""
        return f"{self(f'day.{day.weekday()}')} {day.day}"

    def span(self, first: dt.date, last: dt.date, *, year: bool = True) -> str:
        """Return two days as ``MON 2 to SUN 8 March 2026``."""
        month = self(f"month.{last.month}")
        begins = self.day(first)
        if first.month != last.month:
            begins += " " + self(f"month.{first.month}")
        ends = f"{self.day(last)} {month}" + (f" {last.year}" if year else "")
        return self("span", first=begins, last=ends)

    def waterings(self, count: int) -> str:
        """Return how many waterings there are."""
        return self("waterings.one" if count == 1 else "waterings.many", count=count)

    def pulses(self, line: SheetLine) -> str:
        """Return the parts a watering runs in: ``2 × 30 + 15 min, 60 min between``."""
        return self("pulses", parts=parts(line), off=line.off_min)


def parts(line: SheetLine) -> str:
    """Return the minutes of a watering's parts, the last shorter where it is: ``2 × 30 + 15``."""
    whole, rest = divmod(round(line.hours * 60), line.on_min)
    return f"{whole} × {line.on_min}" + (f" + {rest}" if rest else "")


def hours_on_paper(hours: float) -> str:
    """Return hours as they are read at the valve: ``4 h 15``."""
    minutes = round(hours * 60)
    return f"{minutes // 60} h {minutes % 60:02d}"


def figure(value: float, decimals: int = 0) -> str:
    """Return a volume with its thousands apart: ``1 234``."""
    return f"{value:,.{decimals}f}".replace(",", " ")


def decimals_of(volumes: Iterable[float | None]) -> int:
    """Return the decimals volumes are printed with [m3]: 1 where one of them is under 10."""
    return 1 if any(v is not None and 0 < v < 10 for v in volumes) else 0


def rounded_in_turn(volumes: Iterable[float | None], decimals: int) -> list[float | None]:
    """Round volumes one after the other so that they add up to their rounded sum [m3]."""
    found: list[float | None] = []
    exact = printed = 0.0
    for v in volumes:
        if v is None:
            found.append(None)
            continue
        exact += v
        found.append(round(round(exact, decimals) - printed, decimals))
        printed = round(exact, decimals)
    return found
