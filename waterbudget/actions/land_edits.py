"""Blocks cut, joined and reshaped on the map: several blocks in one transaction.

Every edit returns a :class:`LandDone`; :func:`put_back` takes it back exactly.

What a cut does with the books (own choice): the larger part keeps the block's number and with it
readings, handed-out weeks, pins and field days.  Settings and cycles go to both.  Flow and trees
belong to the ground and are shared by area; what ran goes to both - hours as they were, cubic
metres shared - so that both parts got the millimetres the whole got.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget import outlines
from waterbudget.actions.blocks import free_name
from waterbudget.errors import Note, Refused
from waterbudget.orchard import BLOCK_KEYS, Block, fold
from waterbudget.outlines import bench
from waterbudget.records import FarmData, Ran
from waterbudget.store import FarmFile

_OWN = frozenset({"id", "name", "outline", "outline_ha", "area_ha", "flow_m3_h", "trees", "note",
                  "valve", "valve_order", "valve_lat", "valve_lon", "valve_elevation_m",
                  "elevation_m", "slope_pct", "aspect_deg"})  # fmt: skip
"""Fields in which two blocks may differ without a word when they are joined."""


@dataclass(frozen=True)
class LandDone:
    """What an edit on the map did.

    Attributes
    ----------
    before : tuple of Block
        The blocks that changed or went, as they were.
    after : tuple of Block
        The blocks that changed or are new, as they are.
    ran : tuple of Ran
        What ran on the changed blocks before, where entries were shared out.
    notes : tuple of Note
    """

    before: tuple[Block, ...]
    after: tuple[Block, ...]
    ran: tuple[Ran, ...] = ()
    notes: tuple[Note, ...] = ()


def split_block(
    file: FarmFile, name: str, line: LineString, names: tuple[str, str], *, now: dt.datetime
) -> LandDone:
    """Cut a block along a line.

    Parameters
    ----------
    line : LineString
        From edge to edge, in the farm's coordinates [m].
    names : tuple of str
        Of the larger part (it keeps the block's number; its name may stay), and of the other.

    Raises
    ------
    Refused
        As :func:`waterbudget.outlines.bench.split_in_two`, or for a name that is taken.
    """
    data = file.read()
    orchard = data.orchard
    block = orchard.block(name)
    parts = bench.split_in_two(_outline(block), line, orchard.epsg)
    first, second = (free_name(orchard, n, but=block.id) for n in names)
    if fold(first) == fold(second):
        raise Refused("block.exists", block=first)
    hectares = [outlines.area_ha(p, orchard.epsg) for p in parts]
    share = hectares[0] / sum(hectares)
    water = _shared(block, share)
    kept = replace(block, name=first, outline=parts[0], outline_ha=None, **water[0])
    new = replace(block, id=0, name=second, outline=parts[1], outline_ha=None, **water[1])
    with file.transaction(
        "block.split", now=now, block=block.name, first=first, second=second
    ) as open_file:
        open_file.save_block(kept)
        new_id = open_file.save_block(new)
        before = _share_ran(open_file, data, block.id, new_id, share)
    after = file.read().orchard
    notes = [Note.of("land.split_ran", block=first)]
    if any(v is not None for v in water[0].values()):
        notes.insert(0, Note.of("land.shared_water"))
    return LandDone((block,), (after.block(first), after.block(second)), before, tuple(notes))


def _shared(block: Block, share: float) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return flow and trees of the two parts; what is not known stays so."""
    flow, trees = block.flow_m3_h, block.trees
    one = None if trees is None else round(trees * share)
    kept: dict[str, Any] = {
        "flow_m3_h": None if flow is None else round(flow * share, 3), "trees": one,
    }  # fmt: skip
    new: dict[str, Any] = {
        "flow_m3_h": None if flow is None else round(flow - kept["flow_m3_h"], 3),
        "trees": None if trees is None or one is None else trees - one,
    }
    return kept, new


def _share_ran(
    file: FarmFile, data: FarmData, old: int, new: int, share: float
) -> tuple[Ran, ...]:  # fmt: skip
    """Enter what ran on the whole for both parts; return the entries as they were."""
    entries = tuple(r for r in data.ran if r.block_id == old)
    by_day: dict[dt.date, list[Ran]] = {}
    for entry in entries:
        by_day.setdefault(entry.date, []).append(entry)
    for day, those in by_day.items():
        if any(r.m3 for r in those):
            file.set_ran(old, day, [replace(r, id=0, m3=_times(r.m3, share)) for r in those])
        file.set_ran(new, day, [
            replace(r, id=0, block_id=new, m3=_times(r.m3, 1 - share)) for r in those])  # fmt: skip
    return entries


def _times(value: float | None, share: float) -> float | None:
    return None if value is None else round(value * share, 3)


def merge_blocks(file: FarmFile, name: str, other: str, *, now: dt.datetime) -> LandDone:
    """Join a block with a neighbour; settings, cycles and what ran stay the first one's.

    Raises
    ------
    Refused
        As :func:`waterbudget.outlines.bench.merge`, or for one block named twice.
    """
    orchard = file.read().orchard
    block, gone = orchard.block(name), orchard.block(other)
    if block.id == gone.id:
        raise Refused("bench.one_block")
    joined, gap = bench.merge(_outline(block), _outline(gone), orchard.epsg)
    notes = [Note.of("land.joined", block=block.name, gone=gone.name)]
    water: dict[str, Any] = {}
    for key in ("flow_m3_h", "trees"):
        mine, theirs = getattr(block, key), getattr(gone, key)
        if mine is not None and theirs is not None:
            water[key] = mine + theirs
    if water:
        notes.append(Note.of("land.joined_flow"))
    if differ := _differ(block, gone):
        notes.append(Note.of("land.joined_differ", block=block.name, gone=gone.name,
                             keys=", ".join(differ)))  # fmt: skip
    if gap:
        notes.append(Note.of("land.closed_gap", gap_m=round(gap, 2)))
    with file.transaction("block.joined", now=now, block=block.name, gone=gone.name) as open_file:
        open_file.save_block(replace(block, outline=joined, outline_ha=None, **water))
        open_file.delete_block(gone.id)
    after = file.read().orchard.block(block.name)
    return LandDone((block, gone), (after,), notes=tuple(notes))


def _differ(a: Block, b: Block) -> list[str]:
    """Return the settings in which two blocks differ, by their keys; the most telling first."""
    found = [f.name for f in fields(Block)
             if f.name not in _OWN and getattr(a, f.name) != getattr(b, f.name)]  # fmt: skip
    cycles = ["pruned_on"] if "cycles" in found else []
    numbers = sorted(k for k in {*a.stage_numbers, *b.stage_numbers}
                     if a.stage_numbers.get(k) != b.stage_numbers.get(k))  # fmt: skip
    return cycles + [k for k in found if k in BLOCK_KEYS] + numbers


def cut_hole(file: FarmFile, name: str, piece: Polygon, *, now: dt.datetime) -> LandDone:
    """Cut a piece out of the inside of a block (a rock, a pond, a yard)."""
    orchard = file.read().orchard
    block = orchard.block(name)
    shape = bench.cut_hole(_outline(block), piece, orchard.epsg)
    return _store(file, {block.name: shape}, "block.hole", now, block=block.name)


def move_shared_corner(
    file: FarmFile, at: tuple[float, float], to: tuple[float, float], *, now: dt.datetime,
    blocks: Iterable[str] | None = None,
) -> LandDone:  # fmt: skip
    """Move a corner in all blocks that touch it (or in those named), so they stay touching.

    Raises
    ------
    Refused
        ``bench.no_corner``; ``bench.not_valid_after`` naming the block it would spoil.
    """
    return move_shared_corners(file, [(at, to)], now=now, blocks=blocks)


def move_shared_corners(
    file: FarmFile, moves: Sequence[tuple[tuple[float, float], tuple[float, float]]], *,
    now: dt.datetime, blocks: Iterable[str] | None = None,
) -> LandDone:  # fmt: skip
    """Move several corners, one after the other, in one step (see :func:`move_shared_corner`)."""
    orchard = file.read().orchard
    wanted = None if blocks is None else {orchard.block(b).name for b in blocks}
    shapes: dict[str, Any] = {
        b.name: b.outline for b in orchard.blocks
        if b.outline is not None and (wanted is None or b.name in wanted)
    }  # fmt: skip
    changed: dict[str, Any] = {}
    try:
        for at, to in moves:
            changed |= bench.move_shared({**shapes, **changed}, at, to, orchard.epsg)
    except Refused as fault:
        raise _named(fault) from None
    return _store(file, changed, "block.corner", now, blocks=", ".join(sorted(changed)))


def _named(fault: Refused) -> Refused:
    spoiled = fault.fields.get("key")
    if spoiled is None:
        return fault
    where = {k: v for k, v in fault.fields.items() if k in ("lat", "lon")}
    if fault.code in ("outlines.crosses", "outlines.holes"):
        return Refused("bench.not_valid_after", block=spoiled, **where)
    return Refused(fault.code, **{k: v for k, v in fault.fields.items() if k != "key"})


def set_outlines(
    file: FarmFile, shapes: Mapping[str, BaseGeometry], *, now: dt.datetime
) -> LandDone:  # fmt: skip
    """Give several blocks other outlines in one step; all or none."""
    orchard = file.read().orchard
    changed: dict[str, Any] = {}
    for name, shape in shapes.items():
        changed[orchard.block(name).name] = outlines.check_shape(shape, orchard.epsg)[0]
    return _store(file, changed, "block.outlines", now, blocks=", ".join(sorted(changed)))


def close_gaps(file: FarmFile, name: str, reach_m: float, *, now: dt.datetime) -> LandDone:
    """Lay a block's edge on its neighbours wherever it nearly runs there.

    Parameters
    ----------
    reach_m : float
        How far a corner may move: more than 0, at most 20 [m].

    Raises
    ------
    Refused
        ``bench.bad_reach``, ``bench.nothing_near`` where no edge is within reach.
    """
    if not 0 < reach_m <= 20:
        raise Refused("bench.bad_reach", reach_m=reach_m)
    orchard = file.read().orchard
    block = orchard.block(name)
    others = [b.outline for b in orchard.blocks if b.id != block.id and b.outline is not None]
    shape, moved = bench.close_on(_outline(block), others, reach_m, orchard.epsg)
    if not moved:
        raise Refused("bench.nothing_near", block=block.name, reach_m=reach_m)
    done = _store(file, {block.name: shape}, "block.closed", now, block=block.name)
    return replace(done, notes=(Note.of("land.closed", block=block.name, count=moved),))


def _store(
    file: FarmFile, shapes: Mapping[str, Any], what: str, now: dt.datetime, **told: Any
) -> LandDone:  # fmt: skip
    before = tuple(file.read().orchard.block(name) for name in shapes)
    with file.transaction(what, now=now, **told) as open_file:
        for block in before:
            open_file.save_block(replace(block, outline=shapes[block.name], outline_ha=None))
    after = file.read().orchard
    return LandDone(before, tuple(after.block(b.name) for b in before))


def put_back(file: FarmFile, done: LandDone, *, now: dt.datetime) -> None:
    """Take an edit on the map back: every block as it was, new ones gone, what ran as before."""
    was = {b.id for b in done.before}
    names = ", ".join(b.name for b in done.before)
    with file.transaction("block.restored", now=now, block=names) as open_file:
        for block in done.after:
            if block.id not in was:
                open_file.delete_block(block.id)
        for block in done.before:
            open_file.save_block(block)
        _ran_back(open_file, done.ran)


def _ran_back(file: FarmFile, entries: Sequence[Ran]) -> None:
    for block_id, day in dict.fromkeys((r.block_id, r.date) for r in entries):
        those = [r for r in entries if (r.block_id, r.date) == (block_id, day)]
        if any(r.m3 for r in those):
            file.set_ran(block_id, day, those)


def _outline(block: Block) -> Any:
    if block.outline is None:
        raise Refused("bench.no_outline", block=block.name)
    return block.outline
