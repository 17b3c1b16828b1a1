"""Sentences of the home page: what a cell says, and what a change has done.

They are shown in tips and in the line below the week, and spoken by a screen reader as the
cursor moves.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from desktop.models.standing import Look
from desktop.models.week import (
    BACK,
    AheadCell,
    BackCell,
    DayHead,
    WeekRow,
    WeekTable,
    pump_limit_h,
)
from desktop.pages.home_week_layout import Spot
from desktop.pages.home_week_paint import over_words
from desktop.wording import day_named, day_year, hours, number, thousands, tr, word

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season


def spot_sentence(table: WeekTable, spot: Spot | None) -> str:
    """Return what stands in a cell, in one or two sentences."""
    if spot is None:
        return ""
    if spot.area in ("rain", "heat") and spot.day >= 0:
        head = table.head[spot.day]
        return rain_sentence(table, head) if spot.area == "rain" else heat_sentence(head)
    if spot.area == "head" and spot.row == 1 and spot.day >= 0:
        return et0_sentence(table.head[spot.day])
    if spot.area == "foot" and spot.day >= BACK:
        return pump_sentence(table, spot.day)
    if spot.area != "body":
        return ""
    row = table.rows[spot.row]
    if spot.part != "day":
        return row_sentence(row)
    if spot.day < BACK:
        return back_sentence(row, row.back[spot.day])
    return ahead_sentence(table, row, row.ahead[spot.day - BACK])


def row_sentence(row: WeekRow) -> str:
    """Return how a block stands and what the week gives it."""
    standing = row.standing
    stage = word(f"stage.{standing.stage}")
    if standing.look is Look.NO_DATA:
        return tr("{0}, {1}: nothing is known of its water yet.").format(row.name, stage)
    if standing.left_mm < 0:
        words = tr("{0} mm past the easy water (RAW)").format(number(-standing.left_mm))
    else:
        words = tr("{0} of {1} mm easy water (RAW) left").format(
            number(standing.left_mm), number(standing.limit_mm)
        )  # fmt: skip
    first = tr("{0}, {1}: {2}.").format(row.name, stage, words)
    if row.hours is not None:
        total = tr("This week {0} h, {1} m³.").format(hours(row.hours), thousands(row.m3))
    elif row.m3 is not None:
        total = tr("This week {0} m³; no hours, its flow is missing.").format(thousands(row.m3))
    else:
        total = tr("No cubic metres, its hectares are missing.")
    if row.given_up_mm > 0:
        total += " " + tr(
            "It gives {0} mm at the roots to others; mornings past its limit: {1}."
        ).format(number(row.given_up_mm), row.dry_days)
    return f"{first} {total}"


def back_sentence(row: WeekRow, cell: BackCell) -> str:
    """Return what ran on a past day."""
    where = f"{row.name}, {day_named(cell.date)}: "
    if cell.state == "none":
        return where + tr("nothing ran.")
    if cell.state == "missed":
        if cell.planned_hours:
            return where + tr("did not run; {0} h were handed out.").format(
                hours(cell.planned_hours)
            )  # fmt: skip
        return where + tr("did not run.")
    figures = _figures(cell.hours, None, cell.m3)
    if cell.state == "not_confirmed":
        return where + tr("{0} handed out and not confirmed; counted as run.").format(figures)
    return where + tr("ran {0}.").format(figures)


def ahead_sentence(table: WeekTable, row: WeekRow, cell: AheadCell) -> str:
    """Return what is planned on a coming day."""
    where = f"{row.name}, {day_named(cell.date)}: "
    if not cell.planned:
        words = tr("kept dry, pinned.") if cell.pinned else tr("no watering.")
    else:
        words = tr("{0} planned").format(_figures(cell.hours, cell.mm, cell.m3))
        if cell.start is not None:
            words += ", " + tr("from {0}").format(f"{cell.start:%H:%M}")
        words += (", " + tr("pinned") if cell.pinned else "") + "."
        if cell.pulses > 1:
            words += " " + tr("The ground takes it only in {0} parts: {1} min on, {2} off.").format(
                cell.pulses, cell.on_min, cell.off_min
            )  # fmt: skip
        if cell.over:
            words += " " + tr("It finds no place within the pump and the hours of the day.")
    if cell.changed and table.given is not None:
        was = hours(cell.given.hours) if cell.given is not None else "0"
        words += " " + tr("Week {0} was handed out with {1} h here.").format(
            table.given.number, was
        )  # fmt: skip
    return where + words


def _figures(time: float | None, mm: float | None, m3: float | None) -> str:
    parts = []
    if time is not None:
        parts.append(tr("{0} h").format(hours(time)))
    if mm is not None:
        parts.append(tr("{0} mm at the meter").format(number(mm)))
    if m3 is not None:
        parts.append(tr("{0} m³").format(thousands(m3)))
    return ", ".join(parts)


def rain_sentence(table: WeekTable, head: DayHead) -> str:
    """Return the rain of a day and where it comes from."""
    where = tr("Rain on {0}: ").format(day_named(head.date))
    if head.rain_typed:
        parts = [
            f"{gauge_word(gauge)} {number(mm)} mm" for gauge, mm in head.rain_typed.items()
        ]  # fmt: skip
        typed = tr("{0}, typed.").format(", ".join(parts))
        return where + typed
    if head.rain_from == "unknown":
        return where + tr("not known, counted as 0 until you type it.")
    if head.rain_mm is None:
        return where + tr("nothing known yet.")
    source = tr("forecast") if head.rain_from == "forecast" else tr("station")
    return where + tr("{0} mm, {1}.").format(number(head.rain_mm), source)


def gauge_word(gauge: str) -> str:
    """Return a gauge's name as people say it."""
    return tr("farm", "the farm's own rain gauge") if gauge == "farm" else gauge


def heat_sentence(head: DayHead) -> str:
    """Return low and high of a day."""
    where = tr("Low and high on {0}: ").format(day_named(head.date))
    if head.low_c is None and head.high_c is None:
        return where + tr("not known.")
    words = f"{number(head.low_c)} / {number(head.high_c)} °C"
    if head.heat_from == "forecast":
        words += ", " + tr("forecast")
    if head.heat_from == "typed":
        words += ", " + tr("counted from tomorrow on")
    return where + words + "."


def et0_sentence(head: DayHead) -> str:
    """Return what the air takes on a day and where the figure comes from."""
    where = tr("What the air takes (ET0) on {0}: ").format(day_named(head.date))
    if head.et0_mm is None:
        return where + tr("not known.")
    source = {
        "record": tr("from the record"),
        "forecast": tr("from the forecast"),
        "stand_in": tr("stands in: nobody has measured or forecast that day"),
    }[head.et0_from]
    return where + tr("{0} mm, {1}.").format(number(head.et0_mm), source)


def pump_sentence(table: WeekTable, day: int) -> str:
    """Return the pump's day."""
    foot = table.foot[day]
    words = tr("{0}: the pump runs {1} h for {2} valves, {3} m³.").format(
        day_named(foot.date), hours(foot.pump_hours), foot.valves, thousands(foot.m3)
    )  # fmt: skip
    if foot.pumps:
        each = [tr("{0}: {1} h, {2} m³").format(n or tr("First pump"), hours(h), thousands(m3))
                for n, h, m3 in foot.pumps]  # fmt: skip
        words = tr("{0}: the pumps run {1} h for {2} valves, {3} m³.").format(
            day_named(foot.date), hours(foot.pump_hours), foot.valves, thousands(foot.m3)
        ) + " " + "; ".join(each) + "."  # fmt: skip
    if foot.over_m3 > 0:
        words += " " + tr("The tank is {0} m³ short that day.").format(thousands(foot.over_m3))
    if foot.over_valves > 0:
        words += " " + tr("Valves more than the people can open: {0}.").format(foot.over_valves)
    if foot.over_hours > 0 or foot.over_flow_m3_h > 0:
        words += " " + tr("That is {0} too much: move a watering or pin a shorter one.").format(
            over_words(foot)
        )  # fmt: skip
    return words


def change_sentence(before: Season | None, after: Season, block_id: int, date: dt.date) -> str:
    """Return in one line what a change of one cell did to the block and to the pump."""
    new = _block(after, block_id)
    if new is None:
        return ""
    old = _block(before, block_id) if before is not None else None
    parts = [f"{new.block.name}: " + _cell_change(old, new, after, date)]
    parts.append(_block_change(new, after))
    if before is not None:
        parts += _others_changed(before, after, block_id)
    day = (date - after.on).days
    if 0 <= day < len(after.pump_days):
        pump = after.pump_days[day]
        limit = pump_limit_h(after)
        there = hours(pump.hours)
        if pump.over_hours > 0:
            said = tr("The pump on {0}: {1} h, {2} h too many.").format(
                day_named(date), there, hours(pump.over_hours)
            )  # fmt: skip
        elif limit is not None:
            said = tr("The pump on {0}: {1} of {2} h.").format(
                day_named(date), there, hours(limit)
            )  # fmt: skip
        else:
            said = tr("The pump on {0}: {1} h.").format(day_named(date), there)
        parts.append(said)
    return " ".join(parts)


def _others_changed(before: Season, after: Season, block_id: int) -> list[str]:
    """Say how many other blocks the plan has moved to make room."""
    was = {b.block.id: _hours_by_day(b) for b in before.blocks}
    moved = [
        b for b in after.blocks
        if b.block.id != block_id and was.get(b.block.id, {}) != _hours_by_day(b)
    ]  # fmt: skip
    if not moved:
        return []
    if len(moved) == 1:
        return [tr("{0} moves with it.").format(moved[0].block.name)]
    return [tr("{0} other blocks move with it.").format(len(moved))]


def _hours_by_day(block: BlockSeason) -> dict[int, float | None]:
    return {s.day: s.hours for s in block.plan.sets}


def _block(season: Season, block_id: int) -> BlockSeason | None:
    return next((b for b in season.blocks if b.block.id == block_id), None)


def _cell_change(old: BlockSeason | None, new: BlockSeason, after: Season, date: dt.date) -> str:
    day = (date - after.on).days
    now = next((s.hours for s in new.plan.sets if s.day == day), None) or 0.0
    total = sum(s.hours or 0.0 for s in new.plan.sets)
    week = tr("the week {0} h").format(hours(total))
    if old is not None:
        was = sum(s.hours or 0.0 for s in old.plan.sets)
        if abs(was - total) > 1e-6:
            week = tr("the week {0} h, was {1}").format(hours(total), hours(was))
    return tr("{0} now {1} h, {2}.").format(day_named(date), hours(now), week)


def _block_change(new: BlockSeason, after: Season) -> str:
    judged = new.dryness
    if judged is None:
        return tr("Nothing is known of its water yet.")
    if judged.days_as_planned is not None and not judged.allowed_dry:
        when = after.on + dt.timedelta(days=judged.days_as_planned)
        if judged.days_as_planned == 0:
            return tr("It is past its easy water this morning.")
        return tr("It runs past its easy water by the morning of {0}.").format(day_named(when))
    if judged.drains_mm > 1.0:
        return tr("It stays inside its easy water; {0} mm drain away.").format(
            number(judged.drains_mm)
        )  # fmt: skip
    return tr("It stays inside its easy water all week.")


def given_words(table: WeekTable) -> str:
    """Return which week is handed out, and whether it still stands as it was."""
    if table.given is None:
        return tr("not handed out yet")
    at = table.given.given_at
    words = tr("week {0} handed out {1} {2}").format(
        table.given.number, day_named(at.date()), f"{at:%H:%M}"
    )  # fmt: skip
    n = table.changed_cells
    if n == 1:
        words += " · " + tr("1 cell differs now")
    elif n:
        words += " · " + tr("{0} cells differ now").format(n)
    return words


def past_banner(day: dt.date) -> str:
    """Return what the banner says while an earlier morning is looked at."""
    return tr("You see the morning of {0}, with what was known then. "
              "Editing and printing are off.").format(day_year(day))  # fmt: skip
