"""The week on its way out: the sheet, a calendar file, a message, one line a watering."""

from __future__ import annotations

import datetime as dt
import sys
from argparse import Namespace
from pathlib import Path
from typing import Any

from waterbudget import english, ical, sheet
from waterbudget.cli import output
from waterbudget.errors import Note, Refused
from waterbudget.records import FarmData, GivenWeek
from waterbudget.season import Season


def options(week: Any, form: Any) -> None:
    """Add the ways out to the ``week`` command.

    Parameters
    ----------
    form : argparse group
        Of answers that exclude each other.
    """
    form.add_argument("--sheet", "--pdf", dest="sheet", type=Path, metavar="FILE",
                      help="write the paper for the valves: one A4 page a person")  # fmt: skip
    form.add_argument("--ics", type=Path, metavar="FILE", help="write a calendar file (RFC 5545)")
    form.add_argument("--message", action="store_true", help="short text to send, one a person")
    form.add_argument("--sets-csv", action="store_true", help="CSV, one line a watering")
    week.add_argument("--language", metavar="en|es", help="of paper, message and calendar")
    week.add_argument("--person", metavar="NAME", help="only this valve-person's")
    week.add_argument("--given", type=int, metavar="N", help="the week handed out as number N")
    week.add_argument("--proposal", action="store_true",
                      help="as planned now, even where the week was handed out")  # fmt: skip


def asked(options: Namespace) -> bool:
    """Return whether a way out is asked for; a file's place is looked at first.

    Raises
    ------
    Refused
    """
    found = bool(options.sheet or options.ics or options.message or options.sets_csv)
    named = options.language is not None or options.person is not None
    if not found and (named or options.given is not None or options.proposal):
        raise Refused("usage.sheet_options")
    if (options.given is not None) + options.hand_out + options.proposal > 1:
        raise Refused("usage.given_or_out")
    path = options.sheet or options.ics
    if found:
        from waterbudget import paper

        paper.Words(options.language or paper.LANGUAGE)
        if path is not None:
            paper.need_place(path)
    return found


def morning(data: FarmData, options: Namespace) -> dt.date | None:
    """Return the morning to look at: that of the week asked for by its number, else ``--on``.

    Raises
    ------
    Refused
    """
    if options.given is None:
        found: dt.date | None = options.on
        return found
    week = next((w for w in data.given if w.number == options.given), None)
    if week is None:
        known = ", ".join(str(w.number) for w in data.given) or "-"
        raise Refused("sheet.no_week", number=options.given, known=known)
    if options.on is not None and options.on != week.first:
        raise Refused("usage.given_on", number=week.number, first=week.first)
    return week.first


def handed_out(run: Season, options: Namespace) -> GivenWeek | None:
    """Return the week to print as it was handed out: the one asked for, or this morning's."""
    if options.given is not None:
        return next((w for w in run.data.given if w.number == options.given), None)
    given = run.given
    if options.proposal or given is None or given.first != run.on:
        return None
    if any("changed_since_given" in sheet.flags(run, b) for b in run.blocks):
        note = Note("sheet.as_given", {"number": given.number})
        print(english.sentence(note), file=sys.stderr)
    return given


def write(run: Season, given: GivenWeek | None, options: Namespace, now: dt.datetime) -> None:
    """Write or print the way out that is asked for.

    Raises
    ------
    Refused
    """
    from waterbudget import paper

    language, person = options.language or paper.LANGUAGE, options.person
    if options.sheet is not None:
        paper.write_week_pdf(run, options.sheet, given=given, language=language, person=person)
        print(f"{options.sheet}: the week from {given.first if given else run.on}.")
    elif options.ics is not None:
        found = paper.watering_entries(run, given=given, language=language, person=person)
        name = paper.Words(language)("calendar", farm=run.orchard.name)
        ical.write(options.ics, found, now=now, name=name)
        print(f"{options.ics}: {len(found)} waterings.")
    elif options.message:
        texts = paper.messages(run, given=given, language=language, person=person)
        print("\n\n".join(texts.values()) or paper.Words(language)("nothing"))
    else:
        output.write_csv(sheet.set_rows(sheet.valve_sheets(run, given, person)))
