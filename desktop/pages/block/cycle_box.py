"""The cycle of a block: when each stage begins, by heat, by days, and as seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtWidgets import QGridLayout, QWidget

from desktop import theme
from desktop.block_edits import set_keys
from desktop.editors import DayEdit
from desktop.models.keys import key_words, named_error, value_of
from desktop.pages.block.bits import KeyField, Section, link_to
from desktop.session import Session
from desktop.widgets import text
from desktop.wording import day_short, fixed, say, tr, word
from waterbudget import tables
from waterbudget.cycle import CycleDates
from waterbudget.errors import Note, WaterBudgetError
from waterbudget.orchard import BLOCK_KEYS, Block, write_value
from waterbudget.outlook import CycleOutlook, too_cool_for_clock

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

SEEN_KEY = {
    "pruned": "pruned_on", "bloom": "seen_bloom", "set": "seen_set", "fill": "seen_fill",
    "harvest": "seen_harvest", "rest": "harvest_end",
}  # fmt: skip
AHEAD = ("full_bloom", "fill", "harvest")
"""Events whose range is told."""
ROWS = ("pruned", "shoots", "bloom", "set", "lag", "fill", "harvest", "rest")


def cycle_section(
    session: Session, season: Season, block: BlockSeason, stored: Block,
    on_click: Callable[[str], object], back: int,
) -> Section:  # fmt: skip
    """Return the dates of a cycle, with places to enter what was seen."""
    section = Section(tr("Cycle"), tr("how it counts"), partial(on_click, "stage"))
    known = [c for c in block.clock.cycles if c.cycle.pruned_on <= season.on]
    cycle = known[max(0, len(known) - 1 - back)] if known else None
    _story(section, season, block, cycle)
    grid = section.grid()
    grid.setColumnStretch(3, 1)
    _table(grid, session, season, cycle, stored, back)
    ahead = text("", theme.SMALL, quiet=True, wrap=True)
    ahead.setObjectName("cycle-outlook")
    ahead.hide()
    section.add(ahead)
    problem = text("", theme.SMALL, wrap=True)
    problem.setProperty("role", "wrong")
    problem.setObjectName("cycle-problem")
    problem.hide()
    section.add(problem)
    if back == 0:
        for name in ("full_on", "dry_until"):
            section.add(KeyField(session, stored, name))
    if len(known) > 1:
        _others(section, known, back, on_click)
    return section


def _story(section: Section, season: Season, block: BlockSeason, cycle: CycleDates | None) -> None:
    if cycle is None:
        words = tr("Never pruned yet: the block counts as young. Enter the first pruning.")
        section.add(text(words, theme.SMALL, quiet=True, wrap=True))
        return
    words = harvest_text(cycle)
    if words:
        section.add(text(words, wrap=True))
    cool = too_cool_for_clock(season, block)
    if cool is not None:
        section.add(text(
            tr("The last 30 days had a mean of {0} °C here. Below 19 °C the clock is outside the "
               "climate it was made in: trust what you see.").format(fixed(cool)), wrap=True,
        ))  # fmt: skip


def harvest_text(cycle: CycleDates) -> str:
    """Return when the harvest begins, and what the second opinion says."""
    start, second = cycle.starts.get("harvest"), cycle.harvest_second
    if start is None:
        return ""
    if "harvest" in cycle.seen:
        return tr("Harvest since {0}, as seen.").format(day_short(start))
    if second is None or abs((second - start).days) <= 2:
        return tr("Harvest from about {0}.").format(day_short(start))
    return tr("Harvest from about {0}; counted straight from pruning, {1}.").format(
        day_short(start), day_short(second)
    )


def show_outlook(section: QWidget | None, words: str) -> None:
    """Show the dates ahead, once they are there, below the table."""
    label = section.findChild(type(text()), "cycle-outlook") if section is not None else None
    if label is not None:
        label.setText(words)
        label.setVisible(bool(words))


def outlook_text(
    season: Season, block: BlockSeason, found: CycleOutlook | None, habit: Note | None
) -> str:
    """Return between which days the stages ahead begin, and how the clock did before."""
    if found is None:
        return ""
    ranges = [
        tr("{0} {1} to {2}").format(word(f"stage.{s.stage}"), day_short(s.earliest),
                                    day_short(s.latest))
        for s in found.stages
        if s.stage in AHEAD and s.earliest is not None and s.latest is not None
        and s.latest >= season.on
    ]  # fmt: skip
    said = []
    if ranges:
        count = len(found.years)
        from_years = tr("With the temperatures of {0} past years: {1}.")
        said.append(from_years.format(count, ", ".join(ranges)) if count > 1 else
                    tr("Between: {0}.").format(", ".join(ranges)))  # fmt: skip
    if found.cool_c is not None and too_cool_for_clock(season, block) is None:
        said.append(say(Note.of("cycle.cool", mean=round(found.cool_c, 1))))
    if habit is not None:
        said.append(say(habit))
    return " ".join(said)


def _table(
    grid: QGridLayout, session: Session, season: Season, cycle: CycleDates | None, stored: Block,
    back: int,
) -> None:  # fmt: skip
    heads = (tr("stage"), tr("by heat"), tr("by days"), tr("seen on"))
    for column, head in enumerate(heads):
        grid.addWidget(text(head, theme.SMALL, quiet=True), 0, column)
    for at, stage in enumerate(ROWS, start=1):
        now = cycle is not None and back == 0 and season.on >= cycle.starts.get(stage, dt.date.max)
        name = text(word(f"stage.{stage}"), bold=stage == "fill", quiet=not now, wrap=True)
        grid.addWidget(name, at, 0)
        if cycle is not None:
            grid.addWidget(text(_by_heat(cycle, stage)), at, 1)
            grid.addWidget(text(_by_days(cycle, stage), quiet=True), at, 2)
        if stage in SEEN_KEY:
            widget = _seen_edit(grid, session, stored, SEEN_KEY[stage], cycle, back)
            grid.addWidget(widget, at, 3)


def _by_heat(cycle: CycleDates, stage: str) -> str:
    if stage == "pruned":
        return ""
    date = cycle.model.get(stage) or (cycle.starts.get(stage) if stage not in cycle.seen else None)
    return day_short(date) if date is not None else "–"


def _by_days(cycle: CycleDates, stage: str) -> str:
    first = next((r["days_from"] for r in tables.read("stages") if r["stage"] == stage), "")
    if not first or stage == "pruned":
        return ""
    return day_short(cycle.cycle.pruned_on + dt.timedelta(days=int(first)))


def _seen_edit(
    grid: QGridLayout, session: Session, stored: Block, name: str, cycle: CycleDates | None,
    back: int,
) -> QWidget:  # fmt: skip
    if back:  # an earlier cycle is only shown
        date = getattr(cycle.cycle, name) if cycle is not None else None
        return text(day_short(date) if date is not None else "")
    edit = DayEdit(session.today)
    edit.setObjectName(name)
    edit.setMinimumWidth(104)
    edit.setFont(theme.font(narrow=True))
    edit.setPlaceholderText(
        {"seen_harvest": tr("first pick"), "harvest_end": tr("last pick")}.get(name, tr("date"))
    )
    edit.setAccessibleName(key_words(name).label)
    edit.setAccessibleDescription(key_words(name).hint)
    edit.set_iso(write_value(BLOCK_KEYS[name], value_of(stored, name)))
    edit.setEnabled(session.at_today and (name == "pruned_on" or bool(stored.cycles)))
    edit.committed.connect(partial(_store, grid, session, stored, name))
    return edit


def _store(grid: QGridLayout, session: Session, stored: Block, name: str, typed: str) -> None:
    def refuse(error: WaterBudgetError) -> None:
        parent = grid.parentWidget()
        label = parent.findChild(type(text()), "cycle-problem") if parent is not None else None
        if label is not None:
            label.setText(say(named_error(error)))
            label.show()

    set_keys(session, stored, {name: typed}, failed=refuse)


def _others(
    section: Section, known: list[CycleDates], back: int, on_click: Callable[[str], object]
) -> None:
    section.add(text(tr("Other cycles"), theme.SMALL, quiet=True))
    for steps, cycle in enumerate(reversed(known)):
        pruned = cycle.cycle.pruned_on
        words = tr("pruned {0}").format(f"{day_short(pruned)} {pruned.year}")
        if steps == back:
            section.add(text(tr("{0}, shown").format(words), theme.SMALL, bold=True))
        else:
            section.add(link_to(words, on_click, f"cycle:{steps}"))
