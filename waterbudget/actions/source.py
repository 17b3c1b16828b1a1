"""The water source: further pumps, and the farm's keys that belong to it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from waterbudget.actions.farm import set_farm
from waterbudget.errors import Refused
from waterbudget.orchard import FARM_KEYS, PUMP_KEYS, Orchard, Pump, fold, read_value
from waterbudget.store import FarmFile

SOURCE_KEYS = (
    "pump_m3_h", "pump_hours", "pump_head_m", "pump_efficiency", "pump_out_from", "pump_out_to",
    "work_from", "work_to", "night_sets", "people", "people_hours", "minutes_a_valve",
    "right_m3_week", "right_m3_year", "right_from_month", "tank_m3", "tank_fill_m3_h",
    "tank_now_m3", "price_kwh", "price_kwh_night", "night_from", "night_to", "wage_hour",
    "currency",
)  # fmt: skip
"""Keys of the farm that describe its water source."""


def set_source(file: FarmFile, pairs: Mapping[str, str], *, now: dt.datetime) -> Orchard:
    """Set the farm's keys of the water source from text as typed; all of a call or none.

    Raises
    ------
    Refused
        For a key that does not belong to the source, or a value that cannot be.
    """
    for key in pairs:
        if key not in SOURCE_KEYS:
            raise Refused("source.bad_farm_key", key=key, known=", ".join(SOURCE_KEYS))
    return set_farm(file, pairs, now=now)


def find_pump(orchard: Orchard, name: str) -> Pump:
    """Return a further pump by its name; Refused where there is none."""
    for pump in orchard.pumps:
        if fold(pump.name) == fold(name):
            return pump
    if not orchard.pumps:
        raise Refused("source.none", pump=name)
    raise Refused("source.unknown", pump=name, known=", ".join(p.name for p in orchard.pumps))


def set_pump(
    file: FarmFile, name: str, pairs: Mapping[str, str], *, new: bool = False,
    new_name: str | None = None, now: dt.datetime,
) -> Pump:  # fmt: skip
    """Set keys of a further pump from text as typed (``""`` clears), begin it, or rename it.

    Blocks that it feeds follow a new name.

    Raises
    ------
    Refused
        For an unknown pump or key, a name taken, or a value that cannot be.
    """
    clean = " ".join(name.split())
    with file.transaction("pump.new" if new else "pump.set", now=now, pump=clean,
                          keys=sorted(pairs)) as open_file:  # fmt: skip
        orchard = open_file.read().orchard
        if new:
            made = open_file.add_row(changed_pump(Pump(name=_free(orchard, name)), pairs))
        else:
            before = find_pump(orchard, name)
            after = changed_pump(before, pairs)
            if new_name is not None:
                after = replace(after, name=_free(orchard, new_name, but=before.id))
            made = open_file.put_row(after)
            if made.name != before.name:
                _follow(open_file, orchard, before.name, made.name)
    return find_pump(file.read().orchard, made.name)


def _follow(file: FarmFile, orchard: Orchard, old: str, new: str) -> None:
    for block in orchard.blocks:
        if block.pump is not None and fold(block.pump) == fold(old):
            file.save_block(replace(block, pump=new))


def changed_pump(pump: Pump, pairs: Mapping[str, str]) -> Pump:
    """Return ``pump`` with the keys of ``pairs`` set, checked; nothing is stored."""
    changed: dict[str, Any] = {}
    for name, text in pairs.items():
        key = PUMP_KEYS.get(name)
        if key is None:
            raise Refused("source.bad_key", key=name, known=", ".join(PUMP_KEYS))
        changed[name] = read_value(key, text)
    after = replace(pump, **changed)
    first, last = after.out_from, after.out_to
    if first is not None and last is not None and last < first:
        raise Refused("source.out_days", pump=after.name, first=first, last=last)
    return after


def _free(orchard: Orchard, name: str, but: int = 0) -> str:
    clean = " ".join(name.split())
    if not clean:
        raise Refused("source.no_name")
    if "=" in clean or clean in PUMP_KEYS or clean in FARM_KEYS:
        raise Refused("source.name_like_key", name=clean)
    for pump in orchard.pumps:
        if fold(pump.name) == fold(clean) and pump.id != but:
            raise Refused("source.exists", pump=pump.name)
    return clean


def remove_pump(file: FarmFile, name: str, *, now: dt.datetime) -> Pump:
    """Take a further pump off the farm; what it was stays in the file and can be put back.

    Raises
    ------
    Refused
        For an unknown pump, or one that still feeds blocks.
    """
    with file.transaction("pump.removed", now=now, pump=" ".join(name.split())) as open_file:
        orchard = open_file.read().orchard
        pump = find_pump(orchard, name)
        fed = [b.name for b in orchard.blocks if b.pump and fold(b.pump) == fold(pump.name)]
        if fed:
            raise Refused("source.feeds", pump=pump.name, blocks=", ".join(fed))
        return open_file.drop_row(Pump, pump.id)


def restore_pump(
    file: FarmFile, pump: Pump, *, called: str | None = None, now: dt.datetime
) -> Pump:
    """Put a further pump back as it was (undo of an edit or a removal).

    Parameters
    ----------
    called : str, optional
        The name it goes by now, where that is another one.
    """
    with file.transaction("pump.restored", now=now, pump=pump.name) as open_file:
        orchard = open_file.read().orchard
        wanted = fold(called or pump.name)
        here = next((p for p in orchard.pumps if fold(p.name) == wanted), None)
        if here is None:
            _free(orchard, pump.name)
            open_file.add_row(pump)
        else:
            open_file.put_row(replace(pump, id=here.id))
            if here.name != pump.name:
                _follow(open_file, orchard, here.name, pump.name)
    return find_pump(file.read().orchard, pump.name)
