"""Where every number of a block's week comes from.

:func:`origin` reads the very season the week is read from and returns the chain of one number:
its value as on the sheet, the rule in words (a code), its parts with their own source and
certainty, the row of the table a default stands in, the published method with its page, and what
was estimated on the way.  A part that is itself a number has an origin of its own, so any figure
of the week can be followed down to what was typed, measured or published.

Certainty has the grammar of the window: ``given``, ``other`` (from another source), ``default``,
``missing``; a number is as certain as the least certain thing it is made of.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from waterbudget import sheet
from waterbudget.errors import Note, Refused
from waterbudget.origin import air, ground, water
from waterbudget.origin.parts import (
    Certainty,
    DayPart,
    Origin,
    Part,
    Source,
    method_source,
    worst,
)
from waterbudget.season import BlockSeason, Season

__all__ = ["NUMBERS", "DayPart", "Origin", "Part", "Source", "origin", "origins"]

Maker = Callable[[Season, BlockSeason, Mapping[str, Any]], air.Made]

_NUMBERS: dict[str, tuple[str, str, Maker]] = {
    "stage": ("stage", "", air.stage_origin),
    "et0": ("et0_mm", "mm", air.et0),
    "kc": ("kc", "", air.kc),
    "etc": ("etc_mm", "mm", air.etc),
    "rain": ("rain_credited_mm", "mm", air.rain),
    "taw": ("taw_mm", "mm", ground.taw),
    "allowed": ("allowed_mm", "mm", ground.allowed),
    "dr_start": ("dr_start_mm", "mm", ground.dr_start),
    "made_good": ("made_good_mm", "mm", water.made_good),
    "lost": ("lost_mm", "mm", water.lost),
    "net": ("net_mm", "mm", water.net),
    "gross": ("gross_mm", "mm", water.gross),
    "area": ("area_ha", "ha", water.area),
    "m3": ("m3", "m3", water.m3),
    "flow": ("flow_m3_h", "m3/h", water.flow),
    "hours": ("hours", "h", water.hours),
    "trees": ("trees", "", water.trees),
    "litres": ("litres_per_tree", "L", water.litres),
}
"""Each number's column on the week's sheet, its unit, and who tells its parts."""

NUMBERS = tuple(_NUMBERS)
"""Every number that has an origin, in the water's order."""

_NEED_WEATHER = {"et0", "kc", "etc", "rain", "dr_start", "made_good", "lost",
                 "net", "gross", "m3", "hours", "litres"}  # fmt: skip


def origin(season: Season, block: BlockSeason, number: str) -> Origin:
    """Return where one number of a block's week comes from.

    Raises
    ------
    Refused
        ``origin.unknown_number`` naming the numbers there are.
    """
    if number not in _NUMBERS:
        raise Refused("origin.unknown_number", number=number, known=", ".join(NUMBERS))
    return _origin(season, block, number, _row(season, block), {})


def origins(season: Season, block: BlockSeason) -> tuple[Origin, ...]:
    """Return the origins of all numbers of a block's week."""
    row = _row(season, block)
    known: dict[str, Origin] = {}
    return tuple(_origin(season, block, number, row, known) for number in NUMBERS)


def _row(season: Season, block: BlockSeason) -> dict[str, Any]:
    """Return the block's week as on the sheet, with the two terms between use and need."""
    row = dict(sheet.week_row(season, block).values)
    row |= {"made_good_mm": None, "lost_mm": None}
    if row["net_mm"] is not None:
        row["made_good_mm"] = row["dr_start_mm"] - row["dr_end_mm"]
        taken = row["etc_mm"] + row["made_good_mm"] - row["rain_credited_mm"]
        row["lost_mm"] = row["net_mm"] - taken
    return row


def _origin(
    season: Season, block: BlockSeason, number: str, row: Mapping[str, Any],
    known: dict[str, Origin],
) -> Origin:  # fmt: skip
    if number in known:
        return known[number]
    column, unit, maker = _NUMBERS[number]
    lacks = number in _NEED_WEATHER and "weather" in block.missing
    parts, days, unsure = ([], [], []) if lacks else maker(season, block, row)
    if lacks:
        told = Note.of("origin.missing")
        parts = [Part("station", block.station, certainty="missing", told=told)]
    below = [
        _origin(season, block, part.number, row, known).certainty
        for part in parts if part.number and part.number != number
    ]  # fmt: skip
    made = Origin(
        number=number, value=row[column], unit=unit,
        certainty=_certainty(row[column], [p.certainty for p in parts] + below),
        method=Note.of(f"origin.method.{number}"), published=method_source(number),
        parts=tuple(parts), days=tuple(days), unsure=tuple(unsure),
    )  # fmt: skip
    known[number] = made
    return made


def _certainty(value: Any, parts: list[Certainty]) -> Certainty:
    return "missing" if value is None else worst(parts)
