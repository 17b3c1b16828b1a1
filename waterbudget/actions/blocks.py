"""Blocks: add, set, rename, draw, delete, put back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from shapely.geometry.base import BaseGeometry

from waterbudget import outlines
from waterbudget.actions.files import Row, csv_rows, need_columns
from waterbudget.actions.readings import factor_fields
from waterbudget.errors import Note, Refused
from waterbudget.orchard import BLOCK_KEYS, Block, Cycle, Orchard, fold, read_value
from waterbudget.records import FarmData
from waterbudget.store import FarmFile

SAME_CYCLE_DAYS = 30
"""A pruning date this close after the last one corrects it; a later one begins a new cycle."""

_SEEN = ("seen_bloom", "seen_set", "seen_fill", "seen_harvest", "harvest_end")


def set_block(
    file: FarmFile, name: str, pairs: Mapping[str, str], *, new: bool = False, now: dt.datetime
) -> tuple[Block, tuple[Note, ...]]:
    """Set keys of one block from text as typed (``""`` clears), or begin a block.

    Raises
    ------
    Refused
        For an unknown block, key or station, a name already taken, or a value that cannot be.
    """
    what, clean = "block.new" if new else "block.set", " ".join(name.split())
    factor = {} if new else factor_fields(file.read().orchard.block(name), pairs)
    with file.transaction(what, now=now, block=clean, keys=sorted(pairs), **factor) as open_file:
        data = open_file.read()
        before = _begin(data.orchard, name) if new else data.orchard.block(name)
        after, notes = changed_block(before, pairs, data, now.date())
        open_file.save_block(after)
        _keep_gauge(open_file, after, data.orchard)
    return file.read().orchard.block(after.name), notes


def _begin(orchard: Orchard, name: str) -> Block:
    return Block(name=free_name(orchard, name))


def free_name(orchard: Orchard, name: str, but: int = 0) -> str:
    """Return a block's name tidied, where no block but the one numbered ``but`` has it."""
    clean = " ".join(name.split())
    if not clean:
        raise Refused("block.no_name")
    for block in orchard.blocks:
        if fold(block.name) == fold(clean) and block.id != but:
            raise Refused("block.exists", block=block.name)
    return clean


def _keep_gauge(file: FarmFile, block: Block, orchard: Orchard) -> None:
    if block.gauge and fold(block.gauge) not in [fold(g) for g in orchard.gauges]:
        file.add_gauge(block.gauge)


def changed_block(
    block: Block, pairs: Mapping[str, str], data: FarmData, today: dt.date
) -> tuple[Block, tuple[Note, ...]]:
    """Return ``block`` with the keys of ``pairs`` set, checked; nothing is stored."""
    new: dict[str, Any] = {}
    numbers = dict(block.stage_numbers)
    cycle_pairs: dict[str, Any] = {}
    for key_name, text in pairs.items():
        key = BLOCK_KEYS.get(key_name)
        if key is None:
            known = ", ".join(k for k, v in BLOCK_KEYS.items() if v.place != "stage")
            raise Refused("key.unknown_block", key=key_name, known=known)
        value = read_value(key, text)
        if key.place == "stage":
            numbers.pop(key_name, None)
            if value is not None:
                numbers[key_name] = value
        elif key.place == "cycle":
            cycle_pairs[key_name] = value
        else:
            new[key_name] = _checked(block, key_name, value, data.orchard)
    if new.get("kc_factor_from") is not None and "kc_factor" in new:
        new.setdefault("kc_factor_before", block.kc_factor)  # what held so far goes on to hold
    cycles, notes = changed_cycles(block, cycle_pairs)
    after = replace(block, **new, cycles=cycles, stage_numbers=numbers)
    latest = max([today, *([last] if (last := data.last_day()) else [])]) + dt.timedelta(days=1)
    _not_ahead(block, after, pairs, latest)
    return after, notes


def _not_ahead(before: Block, after: Block, pairs: Mapping[str, str], latest: dt.date) -> None:
    """Refuse what cannot have been seen or done yet."""
    for cycle in after.cycles:
        if cycle.pruned_on > latest:
            raise Refused("block.pruned_in_future", block=before.name, pruned=cycle.pruned_on)
        for key in _SEEN[:-1]:  # an end of harvest may be planned
            if key in pairs and (day := getattr(cycle, key)) is not None and day > latest:
                raise Refused("block.seen_in_future", block=before.name, key=key, date=day)
    for key in ("planted_on", "full_on"):
        if key in pairs and (date := getattr(after, key)) is not None and date > latest:
            raise Refused("block.seen_in_future", block=before.name, key=key, date=date)


def _checked(block: Block, key: str, value: Any, orchard: Orchard) -> Any:
    if key == "area_ha" and value is not None and block.outline is not None:
        raise Refused("block.area_with_outline", block=block.name)
    if key == "station" and value is not None:
        return orchard.station(value).name
    if key == "pump" and value is not None:
        return _pump_name(orchard, value)
    return value


def _pump_name(orchard: Orchard, name: str) -> str:
    found = next((p.name for p in orchard.pumps if fold(p.name) == fold(name)), None)
    if found is None:
        known = ", ".join(p.name for p in orchard.pumps) or "-"
        raise Refused("source.block_pump", pump=name, known=known)
    return found


def changed_cycles(
    block: Block, pairs: Mapping[str, Any]
) -> tuple[tuple[Cycle, ...], tuple[Note, ...]]:
    """Return the block's cycles after setting cycle keys, oldest first.

    A pruning date more than 30 days after the last one begins a new cycle and the old ones stay;
    an earlier or nearer one corrects the last cycle's date; clearing it takes the last cycle
    away.  A seen date goes to the cycle it falls into.
    """
    cycles = sorted(block.cycles, key=lambda c: c.pruned_on)
    notes: list[Note] = []
    if "pruned_earlier" in pairs:
        last = cycles[-1:] if cycles else []
        known = {c.pruned_on: c for c in cycles[:-1]}
        cycles = [known.get(d, Cycle(d)) for d in pairs["pruned_earlier"] or ()] + last
    if "pruned_on" in pairs:
        cycles = _pruned(block, cycles, pairs["pruned_on"], notes)
    dates = [c.pruned_on for c in cycles]
    if dates != sorted(set(dates)):
        raise Refused("block.cycles_order", block=block.name)
    for key in _SEEN:
        if key in pairs:
            cycles = _seen(block, cycles, key, pairs[key])
    return tuple(cycles), tuple(notes)


def _pruned(
    block: Block, cycles: list[Cycle], day: dt.date | None, notes: list[Note]
) -> list[Cycle]:
    if day is None:
        return cycles[:-1]
    if not cycles:
        return [Cycle(day)]
    last = cycles[-1]
    if (day - last.pruned_on).days > SAME_CYCLE_DAYS:
        notes.append(Note.of("block.new_cycle", block=block.name, pruned=day,
                             before=last.pruned_on))  # fmt: skip
        return [*cycles, Cycle(day)]
    if len(cycles) > 1 and day <= cycles[-2].pruned_on:
        raise Refused("block.pruned_before_last_cycle", block=block.name, pruned=day,
                      before=cycles[-2].pruned_on)  # fmt: skip
    return [*cycles[:-1], replace(last, pruned_on=day)]


def _seen(block: Block, cycles: list[Cycle], key: str, day: dt.date | None) -> list[Cycle]:
    if not cycles:
        if day is None:
            return cycles
        raise Refused("block.seen_without_cycle", block=block.name, key=key)
    k = len(cycles) - 1
    if day is not None:
        inside = [i for i, c in enumerate(cycles) if c.pruned_on < day]
        if not inside:
            raise Refused("block.seen_before_pruning", block=block.name, key=key, date=day,
                          pruned=cycles[0].pruned_on)  # fmt: skip
        k = inside[-1]
    seen: dict[str, Any] = {key: day}
    return [*cycles[:k], replace(cycles[k], **seen), *cycles[k + 1 :]]


def import_blocks_csv(file: FarmFile, path: Path, *, now: dt.datetime) -> tuple[Block, ...]:
    """Set or begin blocks from a CSV with a ``name`` column and block keys as headers.

    An empty cell leaves a key as it is.  All rows or none.

    Raises
    ------
    Refused
        Naming the line and the block.
    """
    rows = _csv_rows(path)
    with file.transaction("blocks.csv", now=now, file=path.name, blocks=len(rows)) as open_file:
        data = open_file.read()
        changed = _changed_rows(rows, data, path.name, now.date())
        for after in changed:
            open_file.save_block(after)
            _keep_gauge(open_file, after, data.orchard)
    result = file.read().orchard
    return tuple(result.block(b.name) for b in changed)


def _changed_rows(
    rows: list[tuple[int, dict[str, str]]], data: FarmData, file_name: str, today: dt.date
) -> list[Block]:
    """Return the blocks as the rows of a file set them."""
    known = {fold(b.name): b for b in data.orchard.blocks}
    changed: dict[str, Block] = {}
    for line, row in rows:
        name = " ".join(row.pop("name").split())
        if not name:
            raise Refused("csv.no_name", line=line, file=file_name)
        folded = fold(name)
        if folded in changed:
            raise Refused("csv.block_twice", line=line, file=file_name, block=name)
        block = known.get(folded) or Block(name=name)
        pairs = {k: v for k, v in row.items() if v.strip()}
        try:
            after, _ = changed_block(block, pairs, data, today)
        except Refused as fault:
            raise Refused("csv.row", line=line, file=file_name, block=name, fault=fault) from None
        changed[folded] = after
    return list(changed.values())


def _csv_rows(path: Path) -> list[Row]:
    def head_of(head: list[str]) -> list[str]:
        if "block" in head and "name" not in head:
            head[head.index("block")] = "name"
        need_columns(path, head, ("name",), ("name",))
        unknown = [h for h in head if h != "name" and h not in BLOCK_KEYS]
        if unknown:
            known = ", ".join(k for k, v in BLOCK_KEYS.items() if v.place != "stage")
            raise Refused("csv.unknown_column", file=path.name, column=unknown[0], known=known)
        return head

    return csv_rows(path, head_of)


def draw_block(file: FarmFile, name: str, shape: BaseGeometry, *, now: dt.datetime) -> Block:
    """Begin a block from an outline drawn on the map (farm metres)."""
    orchard = file.read().orchard
    clean, _ = outlines.check_shape(shape, orchard.epsg)
    block = Block(name=free_name(orchard, name), outline=clean)
    with file.transaction("block.drawn", now=now, block=block.name) as open_file:
        open_file.save_block(block)
    return file.read().orchard.block(block.name)


def set_outline(
    file: FarmFile, name: str, shape: BaseGeometry | None, *, now: dt.datetime
) -> Block:
    """Give a block another outline, or take its outline away (typed hectares stand again)."""
    orchard = file.read().orchard
    block = orchard.block(name)
    clean = None if shape is None else outlines.check_shape(shape, orchard.epsg)[0]
    area = block.area_ha
    if clean is None and area is None and block.outline_ha is not None:
        area = round(block.outline_ha, 4)
    with file.transaction("block.outline", now=now, block=block.name) as open_file:
        open_file.save_block(replace(block, outline=clean, outline_ha=None, area_ha=area))
    return file.read().orchard.block(name)


def rename_block(file: FarmFile, name: str, new_name: str, *, now: dt.datetime) -> Block:
    """Give a block another name."""
    orchard = file.read().orchard
    block = orchard.block(name)
    after = replace(block, name=free_name(orchard, new_name, but=block.id))
    with file.transaction("block.renamed", now=now, block=block.name, to=after.name) as open_file:
        open_file.save_block(after)
    return file.read().orchard.block(after.name)


def delete_block(file: FarmFile, name: str, *, now: dt.datetime) -> Block:
    """Take a block off the farm; what it had stays in the history and can be put back."""
    block = file.read().orchard.block(name)
    with file.transaction("block.deleted", now=now, block=block.name) as open_file:
        open_file.delete_block(block.id)
    return block


def restore_block(file: FarmFile, block: Block, *, now: dt.datetime) -> Block:
    """Put a block back exactly as it was, under its own number (undo of an edit or a delete)."""
    with file.transaction("block.restored", now=now, block=block.name) as open_file:
        open_file.save_block(block)
    return file.read().orchard.block(block.name)


FIELD_NAMES = tuple(f.name for f in fields(Block))
