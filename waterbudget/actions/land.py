"""Heights from a height file into the blocks, and the flow over a block by height.

Looking (:func:`look_at_heights`, :func:`flow_over`, :func:`who_runs_together`) stores nothing;
:func:`store_heights` is one transaction.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from waterbudget import intake, pressure, terrain
from waterbudget.actions.underlays import stored_path, underlay_file
from waterbudget.cycle import LAPSE_C_PER_M
from waterbudget.errors import AnswersNeeded, Note, Refused
from waterbudget.keys import BLOCK_KEYS
from waterbudget.orchard import Block, Orchard
from waterbudget.pressure import Apart, BlockFlow, Lie
from waterbudget.records import FarmData, Underlay
from waterbudget.season import blocks as ready
from waterbudget.season.stations import choose
from waterbudget.soil import soil_numbers
from waterbudget.store import FarmFile
from waterbudget.terrain import HeightStats

FEET_RATIO, FEET_SLACK, FEET_LEAST_M = 1 / 0.3048, 0.15, 150.0
"""Heights so many times the farm's own, within 15 %, and 150 m off, may be feet (own estimate)."""
MOST_OF_IT = 0.5
"""A block of which the file covers less is not changed (own estimate)."""
FEW_CELLS = 9.0
"""With fewer cells in a block its slope is that of the land around (own estimate)."""
KEPT = ("elevation_m", "slope_pct", "aspect_deg")
"""What a height file gives a block."""
CAREFUL = ("terrace", "steep")
BARE_PCT = 99.5


@dataclass(frozen=True)
class BlockHill:
    """How one block lies.

    Attributes
    ----------
    plan_ha, slope_ha : float or None
        Plan area, and area along the slope [ha].
    slope_class : str or None
        ``any``, ``contour``, ``terrace`` or ``steep``.
    shift_c : float or None
        What its heights make it warmer (+) or cooler (-) than its station [degC].
    station, station_m : str or None, float or None
        The station it reads and that one's height.
    notes : tuple of Note
    """

    block_id: int
    name: str
    heights: HeightStats
    plan_ha: float | None
    slope_ha: float | None
    slope_class: str | None
    shift_c: float | None
    station: str | None
    station_m: float | None
    notes: tuple[Note, ...] = ()

    @property
    def usable(self) -> bool:
        """True where the file covers enough of it to be stored."""
        return self.heights.mean_m is not None and self.heights.covered >= MOST_OF_IT


@dataclass(frozen=True)
class Hill:
    """All blocks on a height file."""

    file: str
    unit: str | None
    blocks: tuple[BlockHill, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class HeightsDone:
    """What storing heights changed, so that it can be taken back.

    Attributes
    ----------
    before : tuple of Block
        As they were.
    added : Underlay or None
        The height file, where it was not remembered yet.
    put : Underlay or None
        The row as it was, where only its unit was added.
    """

    hill: Hill
    before: tuple[Block, ...]
    added: Underlay | None
    put: Underlay | None = None


def look_at_heights(data: FarmData, path: Path, *, unit: str | None = None) -> Hill:
    """Return how the blocks lie on a height file.

    Parameters
    ----------
    unit : {"m", "ft"} or None
        Of its heights, where the file does not say.

    Raises
    ------
    Refused
        It is no height file, or reaches no block.
    AnswersNeeded
        ``height_unit``.
    """
    orchard = data.orchard
    drawn = [b for b in orchard.blocks if b.outline is not None]
    if not drawn:
        raise Refused("hill.no_outline")
    shapes = [b.outline for b in drawn if b.outline is not None]
    found = terrain.block_heights(path, shapes, orchard.epsg, unit=unit)
    if all(h.mean_m is None for h in found):
        raise Refused("hill.elsewhere", file=path.name)
    if unit is None and _may_be_feet(orchard, found) and not terrain.says_its_unit(path):
        raise AnswersNeeded([terrain.unit_question(path.name)])
    blocks = tuple(_lies(b, h, orchard) for b, h in zip(drawn, found, strict=True))
    left = [b.name for b in orchard.blocks if b.outline is None]
    notes = [Note.of("hill.without_outline", blocks=left)] if left else []
    if any(b.slope_class in CAREFUL for b in blocks):
        notes.append(Note.of("hill.caution"))
    return Hill(path.name, unit, blocks, tuple(notes))


def _may_be_feet(orchard: Orchard, found: tuple[HeightStats, ...]) -> bool:
    """Return whether heights fit the farm's own only if they are feet."""
    known = [orchard.elevation_m, *(s.elevation_m for s in orchard.stations)]
    own = [m for m in known if m is not None]
    heights = [h.mean_m for h in found if h.mean_m is not None]
    if not own or not heights:
        return False
    farm, file = sum(own) / len(own), sum(heights) / len(heights)
    if abs(file - farm) < FEET_LEAST_M or farm <= 0:
        return False
    return abs(file / farm / FEET_RATIO - 1.0) < FEET_SLACK


def _lies(block: Block, h: HeightStats, orchard: Orchard) -> BlockHill:
    station = choose(block, orchard).station
    high = None
    if station is not None:
        high = orchard.elevation_m if station.elevation_m is None else station.elevation_m
    shift = None
    if h.mean_m is not None and high is not None:
        shift = (h.mean_m - high) * LAPSE_C_PER_M
    plan = block.hectares
    slope_ha = plan * h.area_ratio if plan is not None and h.area_ratio is not None else None
    kind = terrain.slope_class(h.slope_pct) if h.slope_pct is not None else None
    return BlockHill(
        block_id=block.id, name=block.name, heights=h, plan_ha=plan, slope_ha=slope_ha,
        slope_class=kind, shift_c=shift, station=station.name if station is not None else None,
        station_m=high, notes=tuple(_notes(block, h)),
    )  # fmt: skip


def _notes(block: Block, h: HeightStats) -> list[Note]:
    name = block.name
    if h.mean_m is None:
        return [Note.of("hill.not_covered", block=name)]
    notes = []
    if h.covered < MOST_OF_IT:
        notes.append(Note.of("hill.too_little", block=name, percent=round(100 * h.covered)))
    elif 100 * h.covered < BARE_PCT:
        notes.append(Note.of("hill.part_covered", block=name, percent=round(100 * h.covered)))
    if h.cells < FEW_CELLS:
        notes.append(Note.of("hill.coarse", block=name, cells=round(h.cells, 1)))
    if h.one_way is not None and h.one_way < terrain.ONE_WAY:
        notes.append(Note.of("hill.several_sides", block=name))
    return notes + intake_notes(replace(block, slope_pct=h.slope_pct))


def intake_notes(block: Block) -> list[Note]:
    """Tell where a block's outlets bring more than its soil takes in on its slope."""
    rate = intake.rate_of(block, ready.wetted_fraction(block), ready.flow(block).m3_h)
    highest = intake.highest_of(block, soil_numbers(block).name)
    pulses = intake.pulses(rate, highest) if rate is not None and highest is not None else None
    if pulses is None:
        return []
    return [Note.of("hill.intake", block=block.name, rate_mm_h=round(pulses.rate_mm_h, 1),
                    highest_mm_h=round(pulses.highest_mm_h, 1), on=pulses.on_min,
                    off=pulses.off_min)]  # fmt: skip


def store_heights(
    file: FarmFile, path: Path, *, unit: str | None = None, now: dt.datetime
) -> HeightsDone:
    """Write elevation, slope and direction of the blocks, and remember the height file.

    Blocks the file covers to less than half stay as they were; a block that falls to several
    sides gets no direction.

    Raises
    ------
    Refused, AnswersNeeded
        As :func:`look_at_heights`; nothing is stored.
    """
    hill = look_at_heights(file.read(), path, unit=unit)
    usable = {b.block_id: b.heights for b in hill.blocks if b.usable}
    if not usable:
        raise Refused("hill.elsewhere", file=path.name)
    names = [b.name for b in hill.blocks if b.usable]
    stored = stored_path(path, file.path)
    with file.transaction("land.heights", now=now, file=path.name, blocks=names) as open_file:
        data = open_file.read()
        before = tuple(b for b in data.orchard.blocks if b.id in usable)
        for block in before:
            open_file.save_block(replace(block, **_fields(usable[block.id])))
        row = next((r for r in data.underlays if r.path == stored), None)
        added = None
        if row is None:
            place = max((r.place for r in data.underlays), default=-1) + 1
            added = open_file.add_row(
                Underlay(path=stored, kind="heights", place=place, shown=False, unit=unit)
            )
        elif unit is not None and row.unit != unit:
            open_file.put_row(replace(row, unit=unit))
            return HeightsDone(hill, before, None, row)
    return HeightsDone(hill, before, added)


def _fields(h: HeightStats) -> dict[str, Any]:
    steepest = BLOCK_KEYS["slope_pct"].high or 0.0
    one_way = h.one_way is not None and h.one_way >= terrain.ONE_WAY
    return {
        "elevation_m": None if h.mean_m is None else round(h.mean_m, 1),
        "slope_pct": None if h.slope_pct is None else min(round(h.slope_pct, 1), steepest),
        "aspect_deg": round(h.aspect_deg) % 360.0 if one_way and h.aspect_deg is not None else None,
    }


def take_back_heights(file: FarmFile, done: HeightsDone, *, now: dt.datetime) -> None:
    """Put the blocks back as they were before :func:`store_heights`, and forget the file."""
    with file.transaction("land.heights_back", now=now, file=done.hill.file) as open_file:
        data = open_file.read()
        there = {b.id: b for b in data.orchard.blocks}
        for block in done.before:
            if block.id in there:
                own: dict[str, Any] = {
                    k: getattr(block, k) for k in ("elevation_m", "slope_pct", "aspect_deg")
                }
                open_file.save_block(replace(there[block.id], **own))
        rows = data.underlays
        if done.added is not None and (
            row := next((r for r in rows if r.path == done.added.path), None)
        ):
            open_file.drop_row(Underlay, row.id)
        if done.put is not None and (
            row := next((r for r in rows if r.path == done.put.path), None)
        ):
            open_file.put_row(replace(row, unit=done.put.unit))


def remembered_heights(data: FarmData, farm: Path) -> tuple[Path, str | None] | None:
    """Return the farm's height file, the uppermost that is there, and its unit; None without."""
    rows = [r for r in data.underlays if r.kind == "heights"]
    for row in sorted(rows, key=lambda r: -r.place):
        path = underlay_file(row, farm)
        if path.is_file():
            return path, row.unit
    return None


def flow_over(
    file: FarmFile, name: str, *, heights: Path | None = None, unit: str | None = None
) -> BlockFlow:
    """Return what the places of a block get, on the farm's own height file where none is given.

    Raises
    ------
    Refused, AnswersNeeded
        As :func:`waterbudget.pressure.block_flow`.
    """
    data = file.read()
    block = data.orchard.block(name)
    gone: tuple[Note, ...] = ()
    if heights is None:
        own = remembered_heights(data, file.path)
        if own is not None:
            heights, unit = own[0], unit or own[1]
        elif missing := [r for r in data.underlays if r.kind == "heights"]:
            gone = (Note.of("hill.file_gone", file=missing[0].path),)
    valve = ready.flow(block, data)
    found = pressure.block_flow(
        block, data.orchard.epsg, heights=heights, unit=unit, flow_m3_h=valve.m3_h,
        flow_from=valve.source, trees=ready.tree_count(block, data),
    )  # fmt: skip
    return replace(found, notes=(*gone, *found.notes))


@dataclass(frozen=True)
class Together:
    """Pairs that should not share a pump, groups that may, and blocks whose height is not known."""

    apart: tuple[Apart, ...]
    groups: tuple[tuple[str, tuple[str, ...]], ...]
    unknown: tuple[str, ...]


def who_runs_together(data: FarmData, hill: Hill | None = None) -> Together:
    """Return which blocks should not share a pump, by the heights of valves and ground.

    Parameters
    ----------
    hill : Hill, optional
        Heights just looked at; they stand in where a block has none of its own stored.
    """
    looked = {b.block_id: b.heights.mean_m for b in hill.blocks} if hill is not None else {}
    lies, unknown = [], []
    for block in data.orchard.blocks:
        height = block.valve_elevation_m
        if height is None:
            height = block.elevation_m if block.elevation_m is not None else looked.get(block.id)
        if height is None:
            unknown.append(block.name)
            continue
        lies.append(Lie(
            name=block.name, pump=data.orchard.pump_of(block).name, group=block.pressure_group,
            height_m=height, outlets=pressure.outlets_of(block), held_kpa=block.pressure_kpa,
        ))  # fmt: skip
    return Together(pressure.apart(lies), pressure.together(lies), tuple(unknown))
