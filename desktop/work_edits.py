"""Edits of field days: one transaction each, with its undo."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from desktop.jobs import Done, Failed
from desktop.session import Session
from desktop.wording import day_named, tr
from waterbudget.fieldwork import Job
from waterbudget.records import FieldEntry

if TYPE_CHECKING:
    from waterbudget.store import FarmFile

WORK = ("work",)


def entry_of(job: Job, **changed: Any) -> FieldEntry:
    """Return a job as it would be entered, with some of it changed."""
    fields: dict[str, Any] = {
        "block_id": job.block_id, "date": job.date, "kind": job.kind, "cycle_day": job.cycle_day,
        "done": job.state == "done", "skipped": job.state == "skipped", "what": job.what,
        "placed": job.placed, "n_kg_ha": job.n_kg_ha, "person": job.person, "note": job.note,
        "id": job.entry_id,
    }  # fmt: skip
    return FieldEntry(**fields | changed)


def enter(
    session: Session, block_name: str, entry: FieldEntry, *, done: Done | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Enter a job: planned, moved, done or left out."""

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.enter_job(file, block_name, entry, now=now)

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.take_back_job(file, result, now=now)

    label = tr("field day of {0}, {1}").format(block_name, day_named(entry.date))
    session.act(label, do, undo, WORK, done=done, failed=failed)


def remove(
    session: Session, block_name: str, job: Job, *, done: Done | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Forget what was entered of a job: a fixed day stands where it was."""

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.remove_job(
            file, block_name, job.kind, cycle_day=job.cycle_day, date=job.date, now=now
        )

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        from waterbudget import actions

        return actions.restore_job(file, result, now=now)

    label = tr("field day of {0}, {1}").format(block_name, day_named(job.date))
    session.act(label, do, undo, WORK, done=done, failed=failed)
