"""Readings of the soil: enter, remove, bring in a file; and the local factor they speak for."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from waterbudget.actions.files import Row, csv_rows, need_columns, number_cell
from waterbudget.errors import Refused
from waterbudget.orchard import BLOCK_KEYS, Block, fold, read_date, read_value
from waterbudget.records import READING_KINDS, FarmData, Reading
from waterbudget.sensors import same_place
from waterbudget.store import FarmFile

COLUMN_OF = {"tensiometer": "kpa", "capacitance": "percent", "field": "missing_mm"}
"""What the value of each kind of reading is called where it is typed."""

HIGHEST = {"tensiometer": 100.0, "capacitance": 100.0, "field": 500.0}
DEEPEST_CM = 300.0
HISTORY_ROWS = 1_000_000


@dataclass(frozen=True)
class ReadingsDone:
    """How many readings a file brought, and how many were there already."""

    added: int
    unchanged: int


@dataclass(frozen=True)
class FactorChange:
    """One change of a block's local factor, as the history holds it.

    Attributes
    ----------
    since : datetime.date or None
        From when it counts; None = over the whole run.
    """

    at: dt.datetime
    block: str
    since: dt.date | None
    old: float
    new: float
    why: str | None


def enter_reading(
    file: FarmFile, block_name: str, date: dt.date, kind: str, value: float, *,
    depth_cm: float | None = None, sensor: str | None = None, before_water: bool = False,
    now: dt.datetime,
) -> tuple[Reading, ...]:  # fmt: skip
    """Enter one reading of a block's soil; a second one of the same sensor and day replaces it.

    Parameters
    ----------
    kind : str
        ``tensiometer`` [kPa], ``capacitance`` [% of the sensor's own span] or ``field`` [mm
        missing].
    before_water : bool
        It was taken before the water of its day.

    Returns
    -------
    tuple of Reading
        All readings of that block and day.

    Raises
    ------
    Refused
        For a figure that cannot be.
    """
    data = file.read()
    block = data.orchard.block(block_name)
    new = _checked(
        Reading(block.id, date, kind, value, depth_cm, _name(sensor), before_water),
        block, data, now,
    )  # fmt: skip
    if any(replace(r, id=0) == new for r in _held(data, block, date)):
        return _held(data, block, date)
    figure = {COLUMN_OF[kind]: value}
    with file.transaction(
        "reading.entered", now=now, block=block.name, date=date, **figure
    ) as open_file:
        held = _held(open_file.read(), block, date)
        kept = [r for r in held if not same_place(r, new)]
        open_file.set_readings(block.id, date, [*kept, new])
    return _held(file.read(), block, date)


def remove_reading(
    file: FarmFile, block_name: str, date: dt.date, *, kind: str | None = None,
    depth_cm: float | None = None, sensor: str | None = None, now: dt.datetime,
) -> tuple[Reading, ...]:  # fmt: skip
    """Take the readings of a block's day away; of one kind, depth or sensor where these are said.

    Returns
    -------
    tuple of Reading
        What was taken away.

    Raises
    ------
    Refused
        Where there is nothing like that.
    """
    block = file.read().orchard.block(block_name)
    name = _name(sensor)

    def meant(r: Reading) -> bool:
        return (
            kind in (None, r.kind)
            and depth_cm in (None, r.depth_cm)
            and (name is None or (r.sensor is not None and fold(r.sensor) == fold(name)))
        )

    with file.transaction("reading.removed", now=now, block=block.name, date=date) as open_file:
        held = _held(open_file.read(), block, date)
        gone = tuple(r for r in held if meant(r))
        if not gone:
            raise Refused("reading.nothing_there", block=block.name, date=date)
        open_file.set_readings(block.id, date, [r for r in held if not meant(r)])
    return gone


def put_readings(
    file: FarmFile, block_name: str, date: dt.date, readings: Sequence[Reading], *,
    now: dt.datetime,
) -> None:  # fmt: skip
    """Put a day's readings back exactly as they were (undo)."""
    block = file.read().orchard.block(block_name)
    with file.transaction("reading.restored", now=now, block=block.name, date=date) as open_file:
        open_file.set_readings(block.id, date, readings)


def import_readings(file: FarmFile, path: Path, *, now: dt.datetime) -> ReadingsDone:
    """Read ``block,date,kpa,percent,missing_mm,depth_cm,sensor,before_water`` rows; all or none.

    Of the three figures every row gives one.  A reading that is stored already is left as it is;
    another figure of the same sensor and day replaces it.

    Raises
    ------
    Refused
        Naming the line and what is wrong in it.
    """
    rows = _rows(path)
    added = unchanged = 0
    with file.transaction("readings.imported", now=now, file=path.name, rows=len(rows)) as open_:
        data = open_.read()
        held: dict[tuple[int, dt.date], list[Reading]] = {}
        for r in data.readings:
            held.setdefault((r.block_id, r.date), []).append(replace(r, id=0))
        touched: set[tuple[int, dt.date]] = set()
        for line, row in rows:
            new = _read_row(line, row, data, path.name, now)
            day = held.setdefault((new.block_id, new.date), [])
            if new in day:
                unchanged += 1
                continue
            day[:] = [*(r for r in day if not same_place(r, new)), new]
            touched.add((new.block_id, new.date))
            added += 1
        for block_id, date in sorted(touched):
            open_.set_readings(block_id, date, held[block_id, date])
    return ReadingsDone(added, unchanged)


def accept_factor(
    file: FarmFile, block_name: str, factor: float, *, since: dt.date, why: str, now: dt.datetime
) -> Block:
    """Give a block another local factor from a day on; before it the one held so far counts.

    Raises
    ------
    Refused
        For a factor out of bounds, or without a reason.
    """
    key = BLOCK_KEYS["kc_factor"]
    value = read_value(key, repr(float(factor)))
    reason = " ".join(why.split())
    block = file.read().orchard.block(block_name)
    if not reason:
        raise Refused("factor.no_reason", block=block.name)
    old = 1.0 if block.kc_factor is None else block.kc_factor
    after = replace(
        block, kc_factor=value, kc_factor_from=since, kc_factor_before=old, kc_factor_why=reason
    )
    fields = {"block": block.name, "date": since, "old": old, "new": value, "why": reason}
    with file.transaction("factor.set", now=now, **fields) as open_file:
        open_file.save_block(after)
    return file.read().orchard.block(block.name)


def factor_fields(block: Block, pairs: Mapping[str, str]) -> dict[str, Any]:
    """Return what the history keeps of a factor set by hand: date, old, new, reason."""
    if not any(name.startswith("kc_factor") for name in pairs):
        return {}
    new = pairs.get("kc_factor")
    return {
        "date": pairs.get("kc_factor_from", block.kc_factor_from),
        "old": 1.0 if block.kc_factor is None else block.kc_factor,
        "new": block.kc_factor if new is None else new,
        "why": pairs.get("kc_factor_why", block.kc_factor_why),
    }


def factor_changes(file: FarmFile, block_name: str | None = None) -> tuple[FactorChange, ...]:
    """Return every change of a local factor, oldest first; of one block or of all."""
    found = []
    for at, what, fields in file.history(HISTORY_ROWS):
        if what not in ("factor.set", "block.set") or "new" not in fields:
            continue
        if block_name is not None and fold(str(fields["block"])) != fold(block_name):
            continue
        found.append(FactorChange(
            at, str(fields["block"]), _date_of(fields.get("date")), _factor_of(fields.get("old")),
            _factor_of(fields.get("new")), fields.get("why") or None,
        ))  # fmt: skip
    return tuple(found[::-1])


def _factor_of(value: Any) -> float:
    """Return a factor as the history holds it: a number, or text as typed; 1 where cleared."""
    try:
        return 1.0 if value in (None, "") else float(value)
    except ValueError:
        return float("nan")


def _date_of(value: Any) -> dt.date | None:
    text = value.strip() if isinstance(value, str) else ""
    return dt.date.fromisoformat(text) if text else None


def _held(data: FarmData, block: Block, date: dt.date) -> tuple[Reading, ...]:
    return tuple(r for r in data.readings if r.block_id == block.id and r.date == date)


def _name(sensor: str | None) -> str | None:
    return (" ".join(sensor.split()) or None) if sensor is not None else None


def _checked(reading: Reading, block: Block, data: FarmData, now: dt.datetime) -> Reading:
    if reading.kind not in READING_KINDS:
        raise Refused("reading.kind", kind=reading.kind, known=", ".join(READING_KINDS))
    value, high = reading.value, HIGHEST[reading.kind]
    if not math.isfinite(value) or not 0 <= value <= high:
        raise Refused(f"reading.{COLUMN_OF[reading.kind]}", block=block.name, date=reading.date,
                      value=value)  # fmt: skip
    depth = reading.depth_cm
    if depth is not None and not 0 < depth <= DEEPEST_CM:
        raise Refused("reading.depth", block=block.name, date=reading.date, value=depth)
    latest = max([now.date(), *([last] if (last := data.last_day()) else [])])
    if reading.date > latest + dt.timedelta(days=1):
        raise Refused("reading.in_future", block=block.name, date=reading.date)
    return reading


def _read_row(
    line: int, row: Mapping[str, str], data: FarmData, file_name: str, now: dt.datetime
) -> Reading:
    try:
        block = data.orchard.block(row["block"])
        date = read_date(row["date"], "date")
        given = [(k, v) for k, c in COLUMN_OF.items() if (v := number_cell(row, c)) is not None]
        if len(given) != 1:
            raise Refused("reading.one_figure", block=block.name, date=date)
        (kind, value), depth = given[0], number_cell(row, "depth_cm")
        before = fold(row.get("before_water", "")) in ("yes", "true", "1")
        made = Reading(block.id, date, kind, value, depth, _name(row.get("sensor")), before)
        return _checked(made, block, data, now)
    except Refused as fault:
        raise Refused("csv.row", line=line, file=file_name, block=row["block"],
                      fault=fault) from None  # fmt: skip


def _rows(path: Path) -> list[Row]:
    def head_of(head: list[str]) -> list[str]:
        need_columns(path, head, ("block", "date"), tuple(COLUMN_OF.values()))
        return head

    return csv_rows(path, head_of)
