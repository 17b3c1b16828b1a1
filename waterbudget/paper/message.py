"""The week as plain text, short enough for a message: per person, per day: valve, start, hours."""

from __future__ import annotations

import datetime as dt

from waterbudget import fieldwork
from waterbudget.paper.words import LANGUAGE, Words, hours_on_paper, parts
from waterbudget.records import GivenWeek
from waterbudget.season import Season
from waterbudget.sheet import DayMark, Sheet, SheetLine, in_order, valve_sheets

LONGEST = 1000
"""Letters a message should stay under."""


def messages(
    season: Season, *, given: GivenWeek | None = None, language: str = LANGUAGE,
    person: str | None = None,
) -> dict[str, str]:  # fmt: skip
    """Return one message a valve-person, by name.

    The waterings of a day stand by their start, those that open together in walking order.  A
    message that would be too long leaves out the blocks' names where the valve has one, then
    writes each day on one line; nothing to do is ever left out.

    Raises
    ------
    Refused
        ``sheet.no_person``, ``sheet.no_language``.
    """
    words = Words(language)
    found = {}
    for sheet in valve_sheets(season, given, person):
        texts = (_text(season, sheet, words, level) for level in range(3))
        text = next((t for t in texts if len(t) < LONGEST), None)
        found[sheet.person] = text or _text(season, sheet, words, 2)
    return found


def _text(season: Season, sheet: Sheet, words: Words, level: int) -> str:
    """Return a message; ``level`` 0 tells most, 2 takes the least room."""
    status = (
        words("message.status", number=sheet.number) if sheet.number is not None
        else words("message.proposal")
    )  # fmt: skip
    span = {"first": words.day(sheet.first), "last": words.day(sheet.until)}
    head = words("message.head", person=sheet.person, status=status, **span)
    lines = [" ".join(head.split()).replace(" ,", ",")]
    if season.orchard.invented:
        lines.append(words("message.invented"))
    every = in_order(sheet)
    days = sorted({*(x.date for x in every), *(m.date for m in sheet.marks)})
    for day in days:
        marks = [_mark(m, words) for m in sheet.marks if m.date == day]
        own = sorted((x for x in every if x.date == day), key=lambda x: (x.hours == 0, x.start))
        told = [_watering(x, words, level) for x in own]
        lines += _day(words.day(day), marks, told, level)
    if not every:
        lines.append(words("nothing"))
    if any(m.kind == fieldwork.SPRAY for m in sheet.marks) and level < 2:
        lines.append(words("caution.spray"))
    if season.orchard.phone_for_trouble:
        lines.append(words("message.call", phone=season.orchard.phone_for_trouble))
    return "\n".join(lines)


def _day(name: str, marks: list[str], told: list[str], level: int) -> list[str]:
    if level < 2:
        return [name, *marks, *told]
    return [f"{name}: " + "; ".join([*marks, *told])]


def _mark(mark: DayMark, words: Words) -> str:
    return words("mark_text", kind=words(f"mark.{mark.kind}"), blocks=", ".join(mark.blocks))


def name_of(x: SheetLine, words: Words, level: int = 0) -> str:
    """Return valve and block of a watering: ``valve 3 Ridge``, or ``V3`` alone."""
    if not x.valve:
        return x.block
    valve = x.valve
    if valve.isdecimal():  # a bare figure beside hours and clock would not be understood
        valve = words("message.valve", valve=valve) if level == 0 else f"V{valve}"
    return f"{valve} {x.block}" if level == 0 else valve


def _watering(x: SheetLine, words: Words, level: int) -> str:
    name = name_of(x, words, level)
    if x.hours == 0:
        return words("message.not_now", name=name, hours=_hours(x.was_hours or 0.0, level))
    text = f"{name} {x.start:%H:%M} {_hours(x.hours, level)}"
    if x.pulses > 1:
        short = f"{parts(x)}/{x.off_min}".replace(" ", "")
        text += f" ({words.pulses(x)})" if level == 0 else f" ({short})"
    if x.changed:
        was = [f"{x.was_start:%H:%M}"] if _moved(x.start, x.was_start) else []
        was += [_hours(x.was_hours, level)] if x.was_hours is not None else []
        more = words("message.was", hours=" ".join(was)) if was else words("new")
        text = f"* {text} ({more})"
    return text


def _moved(start: dt.time, was: dt.time | None) -> bool:
    return was is not None and was != start


def _hours(hours: float, level: int) -> str:
    return hours_on_paper(hours) if level < 2 else hours_on_paper(hours).replace(" ", "")
