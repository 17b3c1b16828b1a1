"""Field days: the calendar of feeding and spraying, stages, waterings and prunings."""

from __future__ import annotations

import csv
import datetime as dt
import sys
from argparse import Namespace
from pathlib import Path
from typing import Any

from waterbudget import actions, agenda, english, fieldwork, ical, season, sheet
from waterbudget.agenda import Event
from waterbudget.cli import output
from waterbudget.cli.commands import _now, _open
from waterbudget.errors import Refused
from waterbudget.records import FIELD_KINDS, FieldEntry
from waterbudget.season import BlockSeason, Season

COLUMNS = (
    "date", "block", "kind", "code", "first", "last", "day", "cycle_day", "state", "what",
    "n_kg_ha", "start", "hours", "m3", "said",
)  # fmt: skip


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
    made = command("calendar", "feeding and spraying days, stages, waterings and prunings")
    made.add_argument("--block", metavar="NAME")
    made.add_argument("--on", type=kinds.day, metavar="DATE", help="the morning looked at, or "
                      "the date of what is entered")  # fmt: skip
    made.add_argument("--from", dest="start", type=kinds.day, metavar="D", help="first day")
    made.add_argument("--to", dest="end", type=kinds.day, metavar="D", help="last day")
    form = kinds.json(made, csv=True)
    form.add_argument("--ics", type=Path, metavar="FILE", help="write an iCalendar file")
    edit = made.add_mutually_exclusive_group()
    edit.add_argument("--done", choices=FIELD_KINDS, help="enter a job as done on --on")
    edit.add_argument("--extra", choices=FIELD_KINDS, help="plan one beside the fixed days")
    edit.add_argument("--move", type=int, metavar="DAY", help="do the job of this day on --on")
    edit.add_argument("--skip", type=int, metavar="DAY", help="leave the job of this day out")
    edit.add_argument("--remove", type=int, metavar="DAY", nargs="?", const=0,
                      help="forget what is entered for this day, or on --on")  # fmt: skip
    edit.add_argument("--jobs", type=Path, metavar="jobs.csv", help="bring in jobs done")
    edit.add_argument("--mix", nargs="+", metavar="MATERIAL", help="may these share a tank? "
                      "General chemical names, each in quotes")  # fmt: skip
    made.add_argument("--kind", choices=FIELD_KINDS)
    made.add_argument("--what", metavar="TEXT", help="class of the product in general words")
    made.add_argument("--placed", choices=(fieldwork.SOIL, fieldwork.WATER))
    made.add_argument("--n-kg-ha", type=kinds.number, metavar="V", help="nitrogen given")
    made.add_argument("--person", metavar="NAME")
    made.add_argument("--note", metavar="TEXT")
    made.add_argument("--ca", type=kinds.number, metavar="ME_L", help="calcium of the water")
    made.add_argument("--hco3", type=kinds.number, metavar="ME_L", help="its bicarbonate")


def calendar(options: Namespace) -> int:
    """Show the calendar, or enter a job."""
    if options.mix is not None:
        return _mix(options)
    if options.jobs is not None:
        with _open(options) as file:
            done = actions.import_jobs(file, options.jobs, now=_now())
        print(f"Jobs: {done.added} added, {done.unchanged} as they were.")
        return 0
    asked = (options.done, options.extra, options.move, options.skip, options.remove)
    if any(value is not None for value in asked):
        return _edit(options)
    if options.kind is not None:
        raise Refused("usage.calendar_edit")
    with _open(options, read_only=True) as file:
        data = file.read()
    if options.block is not None:
        data.orchard.block(options.block)
    run = season.run(data, options.on)
    blocks = run.blocks if options.block is None else (run.block(options.block),)
    first, last = agenda.span(run, options.start, options.end)
    if last < first:
        raise Refused("usage.span", first=first, last=last)
    found = agenda.events(run, blocks, first, last)
    if options.json:
        output.as_json(answer(run, blocks, found, first, last))
    elif options.csv:
        _as_csv(found)
    elif options.ics is not None:
        name = run.orchard.name
        ical.write(options.ics, [entry(e, name) for e in found], now=_now(), name=name)
        print(f"{options.ics}: {len(found)} entries from {first} to {last}.")
    else:
        _print(run, blocks, found)
    return 0


def _mix(options: Namespace) -> int:
    """Say whether materials may share a tank."""
    if not any(m.strip() for m in options.mix):
        raise Refused("mix.nothing")
    notes = fieldwork.tank_mix(options.mix, ca_me_l=options.ca, hco3_me_l=options.hco3)
    said = [english.sentence(note) for note in notes]
    if options.json:
        output.as_json({"materials": options.mix, "refused": False, "notes": said})
    else:
        print("\n".join(said))
    return 0


def answer(
    run: Season, blocks: Any, found: list[Event], first: dt.date, last: dt.date
) -> dict[str, Any]:
    """Return the calendar as the JSON answer."""
    return {
        "on": run.on, "from": first, "to": last,
        "blocks": [
            {
                "block": b.block.name, "stage": run.stage(b),
                "field_days": [_job_row(j) for j in agenda.all_jobs(run, b)
                               if first <= j.date <= last],
                "dry_days": sorted(b.work.dry), "nitrogen": _nitrogen_row(b),
                "notes": [english.sentence(n) for n in b.work.notes],
            }
            for b in blocks
        ],
        "events": [_event_row(e) for e in found],
    }  # fmt: skip


def _nitrogen_row(b: BlockSeason) -> dict[str, Any] | None:
    found = b.work.nitrogen
    if found is None:
        return None
    return {"fed_on": found.fed_on, "drained_mm": found.drained_mm, "coming_mm": found.coming_mm,
            "lost_kg_ha": found.lost_kg_ha, "alarm": found.alarm}  # fmt: skip


def _job_row(job: fieldwork.Job) -> dict[str, Any]:
    row = sheet.job_row(job)
    return {**row, "cautions": [{"code": n.code, "said": english.sentence(n)} for n in
                                job.cautions]}  # fmt: skip


def _event_row(event: Event) -> dict[str, Any]:
    row = agenda.event_row(event)
    return {**row, "cautions": [n.code for n in event.notes], "said": said(event)}


def said(event: Event) -> str:
    """Return an event in a few words."""
    job = event.job
    if job is not None:
        day = f"day {job.day}" if job.cycle_day in (None, job.day) else (
            f"day {job.day}, for day {job.cycle_day}")  # fmt: skip
        more = [w for w in (job.what, _nitrogen(job)) if w]
        state = "" if job.state == fieldwork.DUE else english.word(f"job.state.{job.state}")
        return ", ".join(w for w in (english.word(f"job.{job.kind}"), day, state, *more) if w)
    if event.kind == "stage":
        sure = "seen" if event.seen else f"expected {event.first} to {event.last}"
        begins = f"{english.word(f'stage.{event.code}')} begins"
        return begins if event.first == event.last and not event.seen else f"{begins}, {sure}"
    if event.kind == "pruning":
        return "pruned"
    hours = "" if event.hours is None else f" {round(event.hours, 2):g} h"
    if event.hours is None and event.m3:
        hours = f" {event.m3:.0f} m3"
    at = "" if event.start is None else f" at {event.start:%H:%M}"
    words = {"planned": "watering planned", "ran": "watered", "missed": "watering missed",
             "not_confirmed": "watering handed out, not confirmed"}  # fmt: skip
    return f"{words[event.code]}{at}{hours}"


def _nitrogen(job: fieldwork.Job) -> str:
    return "" if job.n_kg_ha is None else f"{job.n_kg_ha:g} kg N/ha"


def entry(event: Event, farm: str) -> ical.Entry:
    """Return an event as a calendar file holds it, in English."""
    kind = english.word(f"job.{event.code}") if event.job is not None else event.kind
    notes = [english.sentence(n) for n in event.notes]
    return agenda.calendar_entry(event, farm, said(event), kind, notes)


def _as_csv(found: list[Event]) -> None:
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(COLUMNS)
    for event in found:
        row = {**agenda.event_row(event), "said": said(event)}
        writer.writerow([_cell(row[name]) for name in COLUMNS])


def _cell(value: Any) -> Any:
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@"):
        return f"'{value}"  # no spreadsheet takes it for a formula
    return "" if value is None else value


def _print(run: Season, blocks: Any, found: list[Event]) -> None:
    if not found:
        print("Nothing in these days.")
        return
    output.table(["date", "block", ""], [[f"{e.date:%a} {e.date}", e.block, said(e)]
                                         for e in found])  # fmt: skip
    told: dict[str, None] = {}
    for b in blocks:
        for line in block_lines(run, b, found):
            told.setdefault(line)
    if told:
        print()
    for line in told:
        print(line)


def block_lines(run: Season, b: BlockSeason, found: list[Event]) -> list[str]:
    """Return the cautions of a block's jobs in the days shown, those of all blocks said once."""
    general = ("work.label", "work.water_in", "work.fertigation", "work.water_after")
    shown = [e.job for e in found if e.job is not None and e.block_id == b.block.id]
    lines = []
    for job in b.work.jobs:
        if job not in shown or job.date < run.on - dt.timedelta(days=agenda.BACK_DAYS):
            continue
        for note in job.cautions:
            text = english.sentence(note)
            lines.append(text if note.code in general else f"{b.block.name}: {text}")
    return [*lines, *(f"{b.block.name}: {english.sentence(n)}" for n in b.work.notes)]


def _edit(options: Namespace) -> int:
    moved = options.move if options.move is not None else options.skip
    kind = options.done or options.extra or options.kind
    if options.block is None or kind is None:
        raise Refused("usage.calendar_edit")
    now = _now()
    with _open(options) as file:
        date = options.on
        if date is None and options.skip is not None:
            date = _fixed(file.read(), options.block, kind, options.skip, now.date())
        if date is None and options.remove:
            date = now.date()
        if date is None:
            raise Refused("usage.calendar_on")
        if options.remove is not None:
            gone = actions.remove_job(
                file, options.block, kind, cycle_day=options.remove or None, date=date, now=now
            )
            print(f"{options.block}: {english.word(f'job.{kind}')} of {gone.date} taken away.")
            return 0
        entry_ = FieldEntry(
            block_id=0, date=date, kind=kind, cycle_day=moved, done=options.done is not None,
            skipped=options.skip is not None, what=options.what, placed=options.placed,
            n_kg_ha=options.n_kg_ha, person=options.person, note=options.note,
        )  # fmt: skip
        done = actions.enter_job(file, options.block, entry_, nearest=options.done is not None,
                                 now=now)  # fmt: skip
        data = file.read()
    block = data.orchard.block(options.block)
    job = next(j for j in fieldwork.block_jobs(block, data.orchard, data.field_entries)
               if j.entry_id == done.entry.id)  # fmt: skip
    event = Event(block.name, block.id, "job", job.date, job.kind, job.date, job.date, job=job)
    print(f"{block.name}, {job.date}: {said(event)}.")
    return 0


def _fixed(data: Any, name: str, kind: str, day: int, today: dt.date) -> dt.date:
    """Return the date of a fixed day in the block's last cycle."""
    block = data.orchard.block(name)
    cycle = block.cycle_on(today) or max(block.cycles, key=lambda c: c.pruned_on, default=None)
    if cycle is None:
        raise Refused("work.before_pruning", block=block.name, date=today)
    return cycle.pruned_on + dt.timedelta(days=day)
