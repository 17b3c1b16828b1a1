"""Words of field days."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from desktop.wording import day_named, day_short, hours, number, say, tr, word
from waterbudget.fieldwork import Job

if TYPE_CHECKING:
    from waterbudget.agenda import Event


def job_name(job: Job) -> str:
    """Return "Spraying" or "Feeding"."""
    return tr("Spraying") if job.kind == "spray" else tr("Feeding")


def job_title(job: Job) -> str:
    """Return "Spraying, day 20"."""
    if job.cycle_day is None:
        return tr("{0}, extra, day {1}").format(job_name(job), job.day)
    return tr("{0}, day {1}").format(job_name(job), job.cycle_day)


def job_state(job: Job, today: dt.date) -> str:
    """Return what became of a job, in a few words."""
    when = day_named(job.date)
    if job.state == "done":
        return tr("done {0}").format(when)
    if job.state == "skipped":
        return tr("left undone")
    if job.state == "moved" and job.fixed_on is not None:
        return tr("{0}, moved from {1}").format(when, day_short(job.fixed_on))
    if job.before_spray and job.fixed_on is not None:
        return tr("{0}, a day before the spraying").format(when)
    if job.date < today:
        return tr("was due {0}").format(when)
    return tr("due {0}").format(when)


def event_words(event: Event) -> str:
    """Return an event of the calendar file in a few words."""
    job = event.job
    if job is not None:
        more = [w for w in (job.what, nitrogen(job)) if w]
        state = "" if job.state == "due" else word(f"job.state.{job.state}")
        return ", ".join(w for w in (job_title(job), state, *more) if w)
    if event.kind == "stage":
        return tr("{0} begins").format(word(f"stage.{event.code}"))
    if event.kind == "pruning":
        return tr("pruned")
    return tr("watering {0} h").format(hours(event.hours))


def nitrogen(job: Job) -> str:
    """Return the nitrogen of a feeding in words."""
    return "" if job.n_kg_ha is None else tr("{0} kg N/ha").format(number(job.n_kg_ha, 1))


def cautions(job: Job) -> list[str]:
    """Return what to mind, as sentences."""
    return [say(n) for n in job.cautions]
