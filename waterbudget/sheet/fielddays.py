"""Feeding and spraying beside a block's week: rows, codes, and the sentence of it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from waterbudget.errors import Note
from waterbudget.fieldwork import DONE, FEED, SPRAY, Job
from waterbudget.plan import WEEK
from waterbudget.season import BlockSeason, Season

AHEAD_DAYS = 14


def job_row(job: Job) -> dict[str, Any]:
    """Return a job as the answers hold it."""
    return {
        "kind": job.kind, "date": job.date, "cycle_day": job.cycle_day, "day": job.day,
        "fixed_on": job.fixed_on, "state": job.state, "what": job.what, "placed": job.placed,
        "n_kg_ha": job.n_kg_ha, "person": job.person, "note": job.note,
        "cautions": list(job.cautions),
    }  # fmt: skip


def field_days(season: Season, b: BlockSeason) -> list[dict[str, Any]]:
    """Return a block's jobs of the planned week and the seven days after it."""
    return [job_row(j) for j in b.work.in_days(season.on, AHEAD_DAYS)]


def field_flags(season: Season, b: BlockSeason) -> list[str]:
    """Return the codes of what the field days of the week change."""
    jobs = b.work.in_days(season.on, WEEK)
    told = {n.code for n in b.work.notes}
    waits = any(n.code == "work.wait_rain" for j in jobs for n in j.cautions)
    found = {
        "keep_dry": bool(b.work.dry),
        "spray_day": any(j.kind == SPRAY for j in jobs),
        "feed_day": any(j.kind == FEED for j in jobs),
        "feed_waits": waits,
        "feed_not_washed_in": bool({"work.no_room", "work.not_washed_in"} & told),
        "nitrogen_drained": "work.nitrogen_drained" in told,
        "wets_spray": "work.pinned_wet" in told,
    }
    return [code for code, holds in found.items() if holds]


def field_note(season: Season, b: BlockSeason) -> Note | None:
    """Return the sentence that tells the week's field days; None where there are none."""
    jobs = [j for j in b.work.in_days(season.on, WEEK) if j.state != DONE]
    if not jobs and not b.work.dry:
        return None
    named = [Note("work.on", {"kind": Note(f"job.{j.kind}"), "date": j.date, "day": j.day})
             for j in jobs]  # fmt: skip
    dry = sorted(b.work.dry)
    if not dry:
        return Note("why.work", {"jobs": named})
    if not jobs:
        return Note("why.dry_days", {"dry": dry})
    return Note("why.work_dry", {"jobs": named, "dry": dry})


def days_kept_dry(b: BlockSeason) -> list[dt.date]:
    """Return the days of the week on which the block's leaves stay dry."""
    return sorted(b.work.dry)
