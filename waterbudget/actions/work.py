"""Feeding and spraying: enter a job as planned, moved, done or left out; take it back; a file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from waterbudget import fieldwork
from waterbudget.actions.files import Row, csv_rows, need_columns, number_cell
from waterbudget.errors import Refused
from waterbudget.fieldwork import FEED, SOIL, SPRAY, WATER, Job
from waterbudget.orchard import Block, Cycle, fold, read_date
from waterbudget.records import FIELD_KINDS, FarmData, FieldEntry
from waterbudget.store import FarmFile

MOST_N_KG_HA = 300.0
"""More in one feeding is taken for a slip [kg N/ha] (own estimate)."""
NEAREST = "nearest"
"""Instead of a fixed day: the open one nearest to the date, else an extra job."""


@dataclass(frozen=True)
class JobDone:
    """What was entered of a job, and what it took the place of."""

    entry: FieldEntry
    replaced: FieldEntry | None = None


@dataclass(frozen=True)
class JobsDone:
    """How many jobs a file brought, and how many were there already."""

    added: int
    unchanged: int


def enter_job(
    file: FarmFile, block_name: str, job: FieldEntry, *, nearest: bool = False, now: dt.datetime
) -> JobDone:
    """Enter a job of a block: on another day, done, left out, or beside the fixed days.

    Parameters
    ----------
    job : FieldEntry
        Its ``block_id`` is looked up; with an ``id`` it takes the place of that entry, else of
        what is entered for its fixed day in the same cycle.
    nearest : bool
        The fixed day it stands for is the open one nearest to its date.

    Raises
    ------
    Refused
        Before the first pruning, done in the future, no such fixed day, two materials that must
        not share a tank.
    """
    with file.transaction(
        "job.entered", now=now, block=block_name, date=job.date, kind=job.kind,
        day=job.cycle_day, done=job.done, skipped=job.skipped,
    ) as open_file:  # fmt: skip
        return _enter(open_file, block_name, job, nearest, now)


def remove_job(
    file: FarmFile, block_name: str, kind: str, *, cycle_day: int | None = None,
    date: dt.date, now: dt.datetime,
) -> FieldEntry:  # fmt: skip
    """Take an entry away: of a fixed day in the cycle ``date`` lies in, else of that very date.

    Raises
    ------
    Refused
        Where nothing is entered.
    """
    with file.transaction(
        "job.removed", now=now, block=block_name, date=date, kind=kind, day=cycle_day
    ) as open_file:
        data = open_file.read()
        block = data.orchard.block(block_name)
        cycle = _cycle(block, date)
        found = [
            e for e in data.field_entries
            if e.block_id == block.id and e.kind == kind and block.cycle_on(e.date) == cycle
            and (e.cycle_day == cycle_day if cycle_day is not None else e.date == date)
        ]  # fmt: skip
        if not found:
            raise Refused("work.nothing_there", block=block.name)
        return open_file.drop_row(FieldEntry, found[-1].id)


def take_back_job(file: FarmFile, done: JobDone, *, now: dt.datetime) -> None:
    """Put things as they were before a job was entered (undo)."""
    with file.transaction("job.restored", now=now, date=done.entry.date) as open_file:
        open_file.drop_row(FieldEntry, done.entry.id)
        if done.replaced is not None:
            open_file.add_row(done.replaced)


def restore_job(file: FarmFile, entry: FieldEntry, *, now: dt.datetime) -> FieldEntry:
    """Put an entry that was taken away back (undo)."""
    with file.transaction("job.restored", now=now, date=entry.date) as open_file:
        return open_file.add_row(entry)


def import_jobs(file: FarmFile, path: Path, *, now: dt.datetime) -> JobsDone:
    """Read ``block,date,kind,cycle_day,what,placed,n_kg_ha,person,note`` of jobs done; all or none.

    Without a ``cycle_day`` a job stands for the open fixed day nearest to it, else beside them.

    Raises
    ------
    Refused
        Naming the line and what is wrong in it.
    """
    rows = _rows(path)
    added = unchanged = 0
    with file.transaction("jobs.imported", now=now, file=path.name, rows=len(rows)) as open_file:
        for line, row in rows:
            try:
                new = _read_row(row)
                if _held(open_file.read(), row["block"], new):
                    unchanged += 1
                    continue
                _enter(open_file, row["block"], new, new.cycle_day is None, now)
                added += 1
            except Refused as fault:
                raise Refused("csv.row", line=line, file=path.name, block=row["block"],
                              fault=fault) from None  # fmt: skip
    return JobsDone(added, unchanged)


def _enter(
    open_file: FarmFile, block_name: str, job: FieldEntry, nearest: bool, now: dt.datetime
) -> JobDone:
    data = open_file.read()
    block = data.orchard.block(block_name)
    job = replace(job, block_id=block.id, what=_words(job.what), person=_words(job.person),
                  note=_words(job.note))  # fmt: skip
    _check_kind(block, job, now)
    cycle = _cycle(block, job.date)
    jobs = [
        j for j in fieldwork.block_jobs(block, data.orchard, data.field_entries)
        if j.pruned_on == cycle.pruned_on
    ]  # fmt: skip
    if nearest and job.cycle_day is None:
        near = fieldwork.nearest(jobs, job.kind, job.date)
        job = replace(job, cycle_day=near.cycle_day if near is not None else None)
    _check_day(block, job, jobs)
    if job.what is not None and job.kind == FEED:
        fieldwork.tank_mix(fieldwork.materials_in(job.what) if job.placed == WATER else [])
    replaced = _in_its_place(data, block, job, cycle)
    if replaced is not None:
        open_file.drop_row(FieldEntry, replaced.id)
    return JobDone(open_file.add_row(replace(job, id=0)), replaced)


def _in_its_place(
    data: FarmData, block: Block, job: FieldEntry, cycle: Cycle
) -> FieldEntry | None:  # fmt: skip
    for e in data.field_entries:
        if e.block_id != block.id:
            continue
        if job.id and e.id == job.id:
            return e
        same = e.kind == job.kind and e.cycle_day == job.cycle_day
        if job.cycle_day is not None and same and block.cycle_on(e.date) == cycle:
            return e
        if job.cycle_day is None and not job.id and same and e.date == job.date:
            return e
    return None


def _cycle(block: Block, date: dt.date) -> Cycle:
    cycle = block.cycle_on(date)
    if cycle is None:
        raise Refused("work.before_pruning", block=block.name, date=date)
    return cycle


def _check_kind(block: Block, job: FieldEntry, now: dt.datetime) -> None:
    where: dict[str, Any] = {"block": block.name, "date": job.date}
    if job.kind not in FIELD_KINDS:
        raise Refused("work.kind", kind=job.kind, known=", ".join(FIELD_KINDS))
    if job.placed is not None and job.placed not in (SOIL, WATER):
        raise Refused("work.placed", value=job.placed, known=f"{SOIL}, {WATER}")
    if job.done and job.skipped:
        raise Refused("work.done_and_skipped", **where)
    if job.done and job.date > now.date():
        raise Refused("work.done_in_future", **where)
    if job.n_kg_ha is not None:
        if job.kind == SPRAY:
            raise Refused("work.nitrogen_of_spray", **where)
        if not 0 <= job.n_kg_ha <= MOST_N_KG_HA:
            raise Refused("work.nitrogen", value=job.n_kg_ha, **where)
    if job.skipped and job.cycle_day is None:
        raise Refused("work.extra_skipped", **where)


def _check_day(block: Block, job: FieldEntry, jobs: list[Job]) -> None:
    if job.cycle_day is None:
        return
    days = [j.cycle_day for j in jobs if j.kind == job.kind and j.cycle_day is not None]
    fixed = next((j.fixed_on for j in jobs if j.kind == job.kind and j.cycle_day == job.cycle_day),
                 None)  # fmt: skip
    if fixed is None:
        known = ", ".join(map(str, days)) or "–"
        raise Refused("work.no_such_day", block=block.name, day=job.cycle_day, known=known)
    off = abs((job.date - fixed).days)
    if off > fieldwork.figure("furthest_move_days"):
        raise Refused("work.too_far", block=block.name, date=job.date, days=off,
                      day=job.cycle_day, fixed=fixed)  # fmt: skip


def _words(text: str | None) -> str | None:
    return (" ".join(text.split()) or None) if text is not None else None


def _held(data: FarmData, block_name: str, new: FieldEntry) -> bool:
    block = data.orchard.block(block_name)
    same = replace(new, block_id=block.id, id=0)
    return any(
        replace(e, id=0, cycle_day=e.cycle_day if new.cycle_day is not None else None) == same
        for e in data.field_entries
    )


def _read_row(row: Mapping[str, str]) -> FieldEntry:
    day = number_cell(row, "cycle_day")
    return FieldEntry(
        block_id=0, date=read_date(row["date"], "date"), kind=fold(row["kind"]),
        cycle_day=int(day) if day is not None else None, done=True,
        what=_words(row.get("what")), placed=fold(row.get("placed", "")) or None,
        n_kg_ha=number_cell(row, "n_kg_ha"), person=_words(row.get("person")),
        note=_words(row.get("note")),
    )  # fmt: skip


def _rows(path: Path) -> list[Row]:
    def head_of(head: list[str]) -> list[str]:
        need_columns(path, head, ("block", "date", "kind"), ("kind",))
        return head

    return csv_rows(path, head_of)
