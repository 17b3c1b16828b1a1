"""The side of a block's page: this week, a day's account, where the numbers come from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from desktop import theme
from desktop.models.block_facts import DayAccount, WeekFacts, last_drained
from desktop.pages.block.bits import Section, figure, link_to, row
from desktop.pages.block.sources import sources
from desktop.widgets import Mark, rule, text
from desktop.wording import day_named, fixed, hours, number, thousands, tr, weekday

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

Click = Callable[[str], object]


def week_section(season: Season, block: BlockSeason, facts: WeekFacts | None) -> Section:
    """Return this week's waterings, with their sum."""
    section = Section(tr("Waterings this week"))
    if facts is None or not facts.sets:
        section.add(text(tr("None is needed.") if facts is not None else tr("Not known."),
                         quiet=True))  # fmt: skip
        return section
    grid = section.grid()
    grid.setColumnStretch(0, 1)
    for column, head in enumerate((tr("start"), tr("h"), tr("mm"), tr("m³")), start=1):
        grid.addWidget(figure(head, quiet=True, size=theme.SMALL), 0, column)
    for at, item in enumerate(facts.sets, start=1):
        today = item.date == season.on
        day = tr("today") if today else f"{weekday(item.date)} {item.date.day}"
        start = f"{item.start:%H:%M}" if item.start is not None else "–"
        row(grid, at, (
            text(day + (" ◥" if item.pinned else ""), bold=True), figure(start),
            figure(fixed(item.hours, 2)), figure(fixed(item.mm)), figure(thousands(item.m3)),
        ))  # fmt: skip
        if item.over:
            grid.itemAtPosition(at, 1).widget().setFont(theme.font(bold=True))  # type: ignore[union-attr]
    at = len(facts.sets) + 1
    grid.addWidget(rule(), at, 0, 1, 5)
    total = sum(s.m3 or 0.0 for s in facts.sets) if facts.m3 is not None else None
    row(
        grid,
        at + 1,
        (
            text(tr("sum"), quiet=True),
            None,
            figure(fixed(facts.hours, 2), bold=True),
            figure(fixed(sum(s.mm for s in facts.sets)), bold=True),
            figure(thousands(total), bold=True),
        ),
    )
    notes = _week_notes(block, facts)
    if notes:
        section.add(text(notes, theme.SMALL, quiet=True, wrap=True))
    return section


def _week_notes(block: BlockSeason, facts: WeekFacts) -> str:
    notes = []
    if any(s.over for s in facts.sets):
        notes.append(tr("A start in bold does not fit into the day or under the pump."))
    if block.plan.too_long_h > 0:
        notes.append(
            tr("{0} h longer than one watering may be.").format(hours(block.plan.too_long_h))
        )
    if block.plan.limit_below_day:
        notes.append(tr("Easy water is less than one day takes, so it is watered daily."))
    return " ".join(notes)


def figures_section(season: Season, block: BlockSeason, facts: WeekFacts | None) -> QWidget:
    """Return what each tree gets, what drained and how even it is."""
    box = QWidget()
    column = QVBoxLayout(box)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(0)
    if facts is not None and facts.litres_per_tree is not None and facts.sets:
        each = facts.litres_per_tree / len(facts.sets)
        _figure(column, tr("Each tree"), tr("{0} L").format(thousands(facts.litres_per_tree)),
                tr("{0} L a watering").format(thousands(each)))  # fmt: skip
    dry = block.dryness
    if dry is not None:
        last = last_drained(season, block)
        below = tr("last: {0} mm, {1}").format(fixed(last[1]), day_named(last[0])) if last else ""
        _figure(
            column,
            tr("Drained past the roots, 7 days"),
            tr("{0} mm").format(fixed(dry.drained_mm)),
            below,
        )
        _figure(
            column,
            tr("Largest change in 3 days"),
            tr("{0} mm").format(fixed(dry.swing_mm)),
            tr("{0} % of what the roots hold").format(number(dry.swing_share * 100, 0)),
        )
    if block.dr_if_not_run_mm is not None:
        taw = float(season.drivers.taw_mm[season.on_index, block.column])
        _figure(column, tr("Had the unconfirmed not run"),
                tr("{0} mm").format(fixed(max(0.0, taw - block.dr_if_not_run_mm))),
                tr("left this morning"))  # fmt: skip
    return box


def _figure(column: QVBoxLayout, label: str, value: str, below: str) -> None:
    line = QHBoxLayout()
    line.setContentsMargins(0, 0, 0, 0)
    line.addWidget(text(label, quiet=True, wrap=True), 1)
    line.addWidget(figure(value, bold=True, size=theme.LARGE))
    column.addLayout(line)
    if below:
        column.addWidget(figure(below, quiet=True, size=theme.SMALL))
    column.addSpacing(6)


def account_section(
    season: Season, account: DayAccount | None, on_all: Callable[[], object]
) -> Section:
    """Return one day's account; its printed parts add up (what rounding leaves is the trees')."""
    if account is None:
        return Section(tr("The day’s account"))
    title = _account_title(account.date, season.on)
    section = Section(title, tr("all days"), on_all)
    grid = section.grid()
    grid.setColumnStretch(0, 1)
    lines = account_lines(account)
    for at, (label, figure_text) in enumerate(lines[:-1]):
        row(grid, at, (text(label, quiet=True), figure(figure_text)))
    at = len(lines)
    grid.addWidget(rule(), at, 0, 1, 2)
    row(grid, at + 1, (text(lines[-1][0], bold=True), figure(lines[-1][1], bold=True)))
    return section


def _account_title(day: dt.date, on: dt.date) -> str:
    if (on - day).days == 1:
        return tr("Account of yesterday, mm at the roots")
    if day == on:
        return tr("Account of today, mm at the roots")
    return tr("Account of {0}, mm at the roots").format(day_named(day))


def account_lines(a: DayAccount) -> list[tuple[str, str]]:
    """Return the lines of a day's account as printed."""
    rain_names = {
        "rain_typed": tr("rain, typed from the gauge"), "rain_unknown": tr("rain, unknown"),
        "rain_from_station": tr("rain, from the station"),
    }  # fmt: skip
    parts = [
        (rain_names.get(a.rain_from or "", tr("rain")), a.rain, +1),
        (tr("watering"), a.watering, +1),
        (tr("put right by a reading"), a.read, +1),
        (tr("known full, or roots changed"), a.other, +1),
        (tr("ran off"), a.ran_off, -1),
        (tr("drained past the roots"), a.drained, -1),
        (tr("the bare soil took"), a.soil, -1),
    ]
    start, end = round(a.left_start, 1), round(a.left_end, 1)
    shown = [(label, round(mm, 1), sign) for label, mm, sign in parts if abs(mm) >= 0.05]
    trees = start + sum(mm * sign for _, mm, sign in shown) - end
    shown.append((tr("the trees took"), round(trees, 1), -1))
    lines = [(tr("left in the morning"), fixed(start))]
    lines += [(label, _signed(s * mm)) for label, mm, s in shown]
    last = tr("left the next morning")
    return [*lines, (last, fixed(end))]


def _signed(mm: float) -> str:
    if abs(mm) < 0.05:
        return fixed(0.0)
    return f"{'+' if mm > 0 else '−'} {fixed(abs(mm))}"


def sources_section(season: Season, block: BlockSeason, on_click: Click) -> Section:
    """Return where the numbers come from; each opens its settings."""
    section = Section(tr("Where the numbers come from"))
    grid = section.grid()
    grid.setColumnStretch(2, 1)
    grid.setVerticalSpacing(3)
    for at, source in enumerate(sources(season, block)):
        mark = Mark(source.mark, 11)
        holder = QVBoxLayout()
        holder.setContentsMargins(0, 4, 0, 0)
        holder.addWidget(mark)
        holder.addStretch(1)
        grid.addLayout(holder, at, 0)
        label = text(source.label, quiet=True)
        grid.addWidget(label, at, 1, Qt.AlignmentFlag.AlignTop)
        words = QVBoxLayout()
        words.setContentsMargins(0, 0, 0, 0)
        words.setSpacing(0)
        words.addWidget(text(source.value, wrap=True))
        link = link_to(source.note, on_click, f"edit:{source.key}")
        link.setAccessibleName(f"{source.label}: {source.value}, {source.note}")
        line = QHBoxLayout()
        line.setContentsMargins(0, 0, 0, 0)
        line.addWidget(link)
        line.addStretch(1)
        words.addLayout(line)
        grid.addLayout(words, at, 2)
    return section


def lately_section(season: Season, block: BlockSeason, on_click: Click, count: int) -> Section:
    """Return what ran lately, newest first."""
    section = Section(tr("Ran lately"), tr("enter what ran"), partial(on_click, "go:ran"))
    past = [s for s in block.past if s.date < season.on][-count:][::-1]
    if not past:
        section.add(text(tr("Nothing is entered or handed out."), quiet=True))
        return section
    grid = section.grid()
    grid.setColumnStretch(1, 1)
    for column, head in enumerate((tr("h"), tr("mm"), tr("m³")), start=2):
        grid.addWidget(figure(head, quiet=True, size=theme.SMALL), 0, column)
    words = {"missed": tr("did not run"), "not_confirmed": tr("not confirmed")}
    for at, item in enumerate(past, start=1):
        ran = item.state != "missed"
        row(grid, at, (
            day_named(item.date), text(words.get(item.state, ""), quiet=True),
            figure(fixed(item.hours, 2) if ran else "0"),
            figure(fixed(item.gross_mm) if ran else ""), figure(thousands(item.m3) if ran else ""),
        ))  # fmt: skip
    return section


def day_line(season: Season, account: DayAccount, pruned: dt.date | None) -> str:
    """Return one day in one line, for the foot of the chart."""
    day = day_named(account.date)
    if pruned is not None and account.date >= pruned:
        day = tr("{0}, day {1}").format(day, (account.date - pruned).days)
    bits = [
        tr("{0} mm left of {1}").format(fixed(account.left_start), fixed(account.taw)),
        tr("ET0 {0}").format(fixed(account.et0)),
        tr("used {0}").format(fixed(account.trees + account.soil)),
    ]
    if account.rain >= 0.05:
        bits.append(tr("rain {0}").format(fixed(account.rain)))
    if account.watering >= 0.05:
        bits.append(tr("watering {0}").format(fixed(account.watering)))
    if abs(account.read) >= 0.05:
        sign = "+" if account.read > 0 else "−"
        bits.append(tr("put right by a reading {0}").format(f"{sign}{fixed(abs(account.read))}"))
    if account.drained >= 0.05:
        bits.append(tr("drained {0}").format(fixed(account.drained)))
    if account.past_limit:
        bits.append(tr("past the limit"))
    return f"{day}:  " + " · ".join(bits)
