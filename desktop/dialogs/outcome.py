"""What came of an import, as a few lines: told first, then what was left out, then the notes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from desktop.wording import day_year, number, say, tr

if TYPE_CHECKING:
    from waterbudget.actions import OutlinesDone, RanDone, ReadingsDone, WeatherDone
    from waterbudget.errors import Note
    from waterbudget.orchard import Block
    from waterbudget.records import Underlay

LISTED = 40
"""So many lines of one kind are written out; the rest is counted."""


@dataclass
class Outcome:
    """Lines of a summary.

    Attributes
    ----------
    told : what is in the farm now
    left : what was left out or looks odd
    notes : how the file was read
    page : the page where it can be seen, and ``see`` the words of the link
    """

    told: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    page: str = "home"
    see: str = ""


def of_weather(done: WeatherDone, forecast: bool) -> Outcome:
    """Tell what a station file or forecast brought."""
    out = Outcome(page="weather", see=tr("See the days"))
    span = tr("{0} days, {1} to {2}").format(done.days, day_year(done.first), day_year(done.last))
    out.told.append(f"{done.station}: {span}.")
    if forecast:
        out.told.append(tr("Kept as a forecast; the record takes its place when it comes."))
    else:
        out.told.append(
            tr("{0} new, {1} there already and the same, {2} that differ.").format(
                done.added, done.unchanged, len(done.changed)
            )
        )
    out.told.append(tr("Rain in all: {0} mm.").format(number(done.rain_mm)))
    if done.changed:
        kept = sum(what == "keep" for _, what in done.changed)
        out.left.append(
            tr("Of the days that differ {0} were kept as stored, {1} replaced; both stay on "
               "record.").format(kept, len(done.changed) - kept)
        )  # fmt: skip
    if done.gaps:
        gaps = ", ".join(_gap(a, b) for a, b in done.gaps[:6])
        more = tr(" and {0} more").format(len(done.gaps) - 6) if len(done.gaps) > 6 else ""
        out.left.append(tr("No days for: {0}.").format(gaps + more))
    names = {
        "rain": tr("rain"), "temperature": tr("temperature"), "humidity": tr("humidity"),
        "wind": tr("wind"), "sun": tr("sun"),
    }  # fmt: skip
    for what, days in done.missing.items():
        if days:
            out.left.append(tr("{0} days without {1}.").format(len(days), names.get(what, what)))
    if done.flags:
        out.left.append(tr("{0} values look odd and wait on the weather page.")
                        .format(len(done.flags)))  # fmt: skip
    out.notes = [say(note) for note in done.notes]
    return out


def of_outlines(done: OutlinesDone) -> Outcome:
    """Tell which blocks have an outline now, and what was left out and why."""
    out = Outcome(see=tr("See them on the map"))
    hectares = sum(o.area_ha for o in done.blocks)
    count, size = len(done.blocks), number(hectares, 2)
    out.told.append(
        tr("One block, {0} ha.").format(size) if count == 1
        else tr("{0} blocks, {1} ha.").format(count, size)
    )  # fmt: skip
    names = _few([f"{o.name} {number(o.area_ha, 2)}" for o in done.blocks])
    out.told.append(",  ".join(names))
    out.left += _few([f"{s.name}: {say(s.why)}" for s in done.skipped])
    out.left += [say(note) for note in done.warnings]
    out.notes = [say(note) for note in done.notes]
    out.notes += _few([f"{o.name}: {say(n)}" for o in done.blocks for n in o.notes])
    return out


def of_ran(done: RanDone) -> Outcome:
    """Tell how many entries a file of what ran brought."""
    words = tr("{0} entries of what ran are new, {1} were there already.")
    return Outcome([words.format(done.added, done.unchanged)], page="ran", see=tr("See what ran"))


def of_readings(done: ReadingsDone) -> Outcome:
    """Tell how many readings of the soil a file brought."""
    words = tr("{0} readings of the soil are new, {1} were there already.")
    return Outcome([words.format(done.added, done.unchanged)], page="block",
                   see=tr("See the block"))  # fmt: skip


def of_blocks(done: Sequence[Block]) -> Outcome:
    """Tell which blocks a table of blocks has set."""
    names = ", ".join(b.name for b in done)
    return Outcome([tr("{0} blocks set: {1}.").format(len(done), names)], page="blocks",
                   see=tr("See the blocks"))  # fmt: skip


def of_underlay(done: tuple[Underlay, Sequence[Note]]) -> Outcome:
    """Tell that a picture or height file lies under the map now."""
    row, notes = done
    name = Path(row.path).name
    words = (
        tr("{0} is laid under the map as hills: shade and height lines.")
        if row.kind == "heights"
        else tr("{0} is laid under the map.")
    )
    return Outcome([words.format(name), *(say(n) for n in notes)], page="land",
                   see=tr("See the map"))  # fmt: skip


def outcome(kind: str, done: Any, forecast: bool = False) -> Outcome:
    """Return the summary of an import of any kind."""
    if kind == "weather":
        return of_weather(done, forecast)
    if kind == "outlines":
        return of_outlines(done)
    if kind == "readings":
        return of_readings(done)
    if kind == "underlay":
        return of_underlay(done)
    return of_ran(done) if kind == "ran" else of_blocks(done)


def _gap(first: dt.date, last: dt.date) -> str:
    if first == last:
        return day_year(first)
    return tr("{0} to {1}").format(day_year(first), day_year(last))


def _few(lines: list[str]) -> list[str]:
    if len(lines) <= LISTED:
        return lines
    return [*lines[:LISTED], tr("and {0} more").format(len(lines) - LISTED)]
