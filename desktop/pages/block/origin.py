"""Where one number of the week's sentence comes from, in words.

The chain itself is :mod:`waterbudget.origin`'s: value, rule, parts with their certainty, method,
what was estimated.  Here it is put into the language in use; only the choice of the days, which
is no number, is told here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from desktop.models.block_facts import WeekFacts
from desktop.models.keys import choice_word
from desktop.wording import (
    day_named,
    fixed,
    hours,
    number,
    say,
    thousands,
    tr,
    weekday,
    word,
)
from waterbudget import origin
from waterbudget.origin import DayPart, Origin, Part, Source

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

NUMBER_OF = {
    "takes": "etc", "missing": "made_good", "held": "taw", "limit": "allowed",
}  # fmt: skip
"""Number behind a key of the sentence; the others are numbers by their own name."""

EDITS: dict[str, tuple[str, ...]] = {
    "et0": ("weather",), "kc": ("use", "canopy"), "etc": ("use", "canopy"), "rain": ("rain",),
    "taw": ("soil", "roots"), "allowed": ("use",), "dr_start": ("known_full",),
    "made_good": ("known_full", "sets"), "gross": ("efficiency",), "area": ("area",),
    "m3": ("area",), "flow": ("flow",), "hours": ("flow",), "trees": ("trees",),
}  # fmt: skip
"""Sources whose settings may be changed beside a number."""


@dataclass(frozen=True)
class Line:
    """One line of a chain: what, how much, how it is known, and a key that opens its own chain.

    Attributes
    ----------
    mark : str
        ``given``, ``other``, ``default`` or ``missing``; empty where it is worked out here.
    """

    label: str
    value: str = ""
    key: str = ""
    strong: bool = False
    mark: str = ""
    told: str = ""


@dataclass
class Chain:
    """How one number came about.

    Attributes
    ----------
    lines : list of Line
        Its parts; the last one is the number itself.
    method, source : str
        How it is worked out, and who says so.
    unsure : list of str
        What was estimated on the way.
    edit : tuple of str
        Sources whose settings may be changed right here.
    links : list of (words, key)
    """

    title: str
    lines: list[Line] = field(default_factory=list)
    method: str = ""
    source: str = ""
    unsure: list[str] = field(default_factory=list)
    edit: tuple[str, ...] = ()
    links: list[tuple[str, str]] = field(default_factory=list)


def chain(season: Season, block: BlockSeason, facts: WeekFacts, key: str) -> Chain | None:
    """Return the chain of a number; None for a key that is no number of the week."""
    if key == "sets":
        return _sets(season, block, facts)
    wanted = NUMBER_OF.get(key, key)
    if wanted not in origin.NUMBERS:
        return None
    found = {o.number: o for o in origin.origins(season, block)}
    own = found[wanted]
    made = Chain(_capital(word(f"origin.name.{wanted}")), edit=EDITS.get(wanted, ()))
    made.lines = [_line(part, found) for part in own.parts]
    made.lines += [_day_line(own.number, day) for day in own.days]
    made.lines.append(
        Line(word(f"origin.name.{wanted}"), _figure(wanted, own.value, own.unit), strong=True)
    )
    made.method = say(own.method)
    made.source = "\n".join(_sources(own))
    made.unsure = [say(note) for note in own.unsure]
    made.links = _links(wanted)
    return made


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _line(part: Part, found: dict[str, Origin]) -> Line:
    sure = found[part.number].certainty if part.number else part.certainty
    return Line(
        label=word(f"origin.name.{part.name}"), value=_figure(part.name, part.value, part.unit),
        key=part.number, mark="" if sure == "worked" else sure,
        told=say(part.told) if part.told is not None else "",
    )  # fmt: skip


def _figure(name: str, value: float | str | None, unit: str) -> str:
    if value is None:
        return "–"
    if isinstance(value, str):
        return _text(name, value)
    return {
        "mm": tr("{0} mm").format(fixed(value)), "m3": tr("{0} m³").format(thousands(value)),
        "m3/h": tr("{0} m³/h").format(number(value, 2)), "ha": tr("{0} ha").format(
            number(value, 3)), "h": tr("{0} h").format(hours(value)),
        "L": tr("{0} L").format(thousands(value)), "L/h": tr("{0} L/h").format(number(value)),
        "m": tr("{0} m").format(number(value, 2)), "d": number(value, 0),
        "m3/m3": tr("{0} mm a metre").format(number(value * 1000, 0)),
    }.get(unit, number(value, 2))  # fmt: skip


def _text(name: str, value: str) -> str:
    if name == "stage":
        return word(f"stage.{value}")
    if name == "pattern":
        return choice_word("pattern", value)
    if name == "climate":
        return ""
    try:
        return day_named(dt.date.fromisoformat(value))
    except ValueError:
        return value


def _day_line(wanted: str, day: DayPart) -> Line:
    v = day.values
    if wanted == "etc":
        kc = v["etc"] / v["et0"] if v["et0"] > 0 else 0.0
        value = tr("{0} × {1} = {2}").format(fixed(v["et0"]), fixed(kc, 2), fixed(v["etc"]))
    elif wanted == "kc":
        value = tr("{0} × {1} + {2}").format(
            fixed(v["kcb"], 2), fixed(v["ks"], 2), fixed(v["ke"], 2)
        )
    else:
        value = tr("{0} mm").format(fixed(next(iter(v.values()))))
    told = ", ".join(word(f"made.{code}") for code in day.made_from)
    return Line(f"{weekday(day.date)} {day.date.day}", value, told=told)


def _sources(own: Origin) -> list[str]:
    """Return who says so: the method, then the tables that defaults were taken from."""
    lines = [_by(own.published)]
    held: dict[tuple[str, str], list[str]] = {}
    by_row: dict[tuple[str, str], Source] = {}
    for part in own.parts:
        if part.source is not None:
            row = (part.source.table, part.source.row)
            held.setdefault(row, []).append(word(f"origin.name.{part.name}"))
            by_row[row] = part.source
    return lines + [f"{_capital(', '.join(names))}: {_by(by_row[row])}"
                    for row, names in held.items()]  # fmt: skip


def _by(source: Source) -> str:
    where = f", {source.where}" if source.where else ""
    plain = {
        "arithmetic": tr("arithmetic"), "geometry": tr("geometry"), "own rule": tr("own rule"),
        "rule of the account": tr("rule of the account"),
    }.get(source.source, source.source)  # fmt: skip
    return f"{_capital(plain)}{where} ({_kind(source.kind)})."


def _kind(kind: str) -> str:
    return {
        "published": tr("published"), "common practice": tr("common practice"),
        "own estimate": tr("own estimate"),
    }.get(kind, kind)  # fmt: skip


def _links(wanted: str) -> list[tuple[str, str]]:
    weather, days = (tr("Weather"), "go:weather"), (tr("All days"), "go:days")
    return {
        "stage": [(tr("Dates of the cycle"), "go:cycle")],
        "et0": [weather], "kc": [days], "etc": [weather, days],
        "rain": [(tr("Change the share"), "go:farm"), weather],
        "dr_start": [(tr("Enter what ran"), "go:ran"), days],
        "made_good": [(tr("Enter what ran"), "go:ran"), days],
        "lost": [days], "net": [days],
    }.get(wanted, [])  # fmt: skip


def _sets(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("The waterings"), edit=("sets",))
    for item in facts.sets:
        what = tr("{0} mm at the roots").format(fixed(item.net_mm))
        if item.hours is not None:
            what = tr("{0} h, {1}").format(hours(item.hours), what)
        made.lines.append(Line(f"{weekday(item.date)} {item.date.day}", what))
    together = tr("{0} mm").format(fixed(facts.net_mm))
    made.lines.append(Line(tr("together"), together, strong=True))
    made.method = tr(
        "Every set of days of the week was tried. Chosen: none past its easy water if it can be, "
        "no watering longer than soil and outlets allow, nothing drained, then the fewest walks "
        "and the steadiest gaps, under the pump."
    )
    if not all(block.limits.may_water):
        off = [d for d, may in zip(season.week, block.limits.may_water, strict=True) if not may]
        made.unsure.append(tr("No watering on {0}.").format(", ".join(weekday(d) for d in off)))
    if block.plan.too_long_h > 0:
        made.unsure.append(tr("{0} h longer than {1} h, the longest one watering may be.").format(
            hours(block.plan.too_long_h), hours(block.limits.hours_max)
        ))  # fmt: skip
    if block.plan.past_limit_mm > 0:
        made.unsure.append(tr("Some mornings lie past the easy water all the same."))
    made.links = [(tr("Move or fix a watering on the week"), "go:home")]
    return made
