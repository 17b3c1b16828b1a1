"""The week's waterings as entries of a calendar file."""

from __future__ import annotations

import datetime as dt

from waterbudget.ical import Entry
from waterbudget.paper.message import name_of
from waterbudget.paper.words import LANGUAGE, Words, decimals_of, figure, hours_on_paper
from waterbudget.records import GivenWeek
from waterbudget.season import Season
from waterbudget.sheet import SheetLine, valve_sheets


def watering_entries(
    season: Season, *, given: GivenWeek | None = None, language: str = LANGUAGE,
    person: str | None = None,
) -> list[Entry]:  # fmt: skip
    """Return every watering of a week with its beginning and end, by time; no alarms.

    Their names are those of the same waterings in the calendar of the blocks, so that a second
    file changes the entries that are there.

    Raises
    ------
    Refused
        ``sheet.no_person``, ``sheet.no_language``.
    """
    words = Words(language)
    farm = "".join(c if c.isalnum() else "-" for c in season.orchard.name.lower())
    lines = [x for sheet in valve_sheets(season, given, person) for x in sheet.lines]
    lines.sort(key=lambda x: (x.date, x.start, x.block))
    return [
        Entry(
            uid=f"{x.block_id}-watering-planned-{x.date:%Y%m%d}@{farm}",
            start=dt.datetime.combine(x.date, x.start), end=x.ends,
            summary=words(
                "calendar.summary", name=name_of(x, words), hours=hours_on_paper(x.hours)
            ),
            description="\n".join(_more(x, words)), place=x.block, kinds=(words("calendar.kind"),),
        )
        for x in lines
    ]  # fmt: skip


def _more(x: SheetLine, words: Words) -> list[str]:
    told = []
    if x.pulses > 1:
        told.append(words.pulses(x))
    if x.m3 is not None:
        about = "~" if x.from_catalogue else ""
        told.append(words("calendar.m3", m3=about + figure(x.m3, decimals_of([x.m3]))))
    if x.pressure_kpa is not None:
        told.append(words("calendar.kpa", kpa=f"{x.pressure_kpa:g}"))
    if x.pump:
        told.append(words("calendar.pump", pump=x.pump))
    return told
