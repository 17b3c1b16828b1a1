"""The four weeks of the made-up month, one function each."""

from __future__ import annotations

import datetime as dt

from month import RIGHT_M3, TRIED_HOURS, Month, day
from month_farm import DAYS, RAIN


def live(m: Month) -> None:
    """Live the month."""
    m.evening()  # Sunday: what the meters show before it begins
    week_of_rain(m)
    week_of_spraying(m)
    week_of_the_pump(m)
    week_of_the_right(m)
    m.go_to(day(DAYS + 1))
    m.station_file(day(22), day(DAYS))
    m.attention()


def monday(m: Month, number: int) -> None:
    """Bring in the week's file and hand the week out."""
    m.go_to(day(number))
    if number > 1:
        m.station_file(day(number - 7), day(number - 1))
    m.attention()
    m.story.week_m3[number] = sum(d.m3 for d in m.season.pump_days)
    m.hand_out()


def days(m: Month, *numbers: int) -> None:
    """Live plain days: a morning, an evening."""
    for number in numbers:
        m.go_to(day(number))
        m.evening()


def week_of_rain(m: Month) -> None:
    """18 mm on the Wednesday; only what is left of the week changes."""
    monday(m, 1)
    m.picture("month_1_handed_out")
    m.evening()
    m.go_to(day(2))
    m.attention()
    table = m.page("home").table
    moved = {r.name for r in table.rows if any(c.changed for c in r.ahead)}
    assert moved <= {"Long row"}, f"only its meter was off the plan: {moved}"
    m.evening()
    days(m, 3)
    m.now = dt.datetime.combine(day(3), dt.time(20, 5))
    m.type_rain(RAIN[day(3)])
    m.go_to(day(4))
    m.attention()
    row = m.season.on_index - 1
    m.story.drained_mm = {
        b.block.name: float(m.season.account.drainage_mm[row, b.column]) for b in m.season.blocks
    }
    found = m.old_and_new("month_2_rain")
    m.story.rain_h = found.total("old_hours"), found.total("new_hours")
    m.story.rain_blocks = tuple(b.block for b in found.blocks if b.changed)
    days(m, 4, 5, 6)
    m.reopen()


def week_of_spraying(m: Month) -> None:
    """Day 10 carries both in New cut; Long row misses a watering; Steps is sprayed between."""
    monday(m, 8)
    m.job_done("feed", "New cut", 10, {"nitrogen": "30", "what": "nitrogen", "person": "Pio"})
    m.evening()
    m.go_to(day(9))
    m.click_job("spray", "New cut", 10)
    m.picture("month_3_field_days")
    m.job_done("spray", "New cut", 10, {"what": "mite control", "person": "Pio"})
    m.story.missed = ("Long row", day(9), m.planned(day(9))["Long row"])
    m.evening({"Long row": 0.0})
    m.go_to(day(10))
    m.attention()
    found = m.old_and_new()
    cells = [c for b in found.blocks if b.block == "Long row" for c in b.cells]
    m.story.missed_rest = (
        {c.date: c.old_hours for c in cells if c.old_hours},
        {c.date: c.new_hours for c in cells if c.new_hours},
    )
    m.evening()
    m.go_to(day(11))
    before = m.ahead("Steps")
    sprayed = min(before)
    m.plan_spray("Steps", sprayed)
    m.story.spray = (sprayed, before, m.ahead("Steps"))
    m.attention()
    if m.page("home").bar.changes.isVisible():
        m.old_and_new()
    m.evening(dials=False)
    for number in (12, 13):
        m.go_to(day(number))
        if day(number) == sprayed:
            m.job_done("spray", "Steps", None, {"what": "fruit fly control", "person": "Pio"})
        m.evening(dials=number == 13)
    m.go_to(day(14))
    take_metered_flow(m)


def week_of_the_pump(m: Month) -> None:
    """The river pump stands for two days; another plan is tried and left."""
    monday(m, 15)
    m.evening()
    m.go_to(day(16))
    before = river_hours(m)
    m.set_pump("River", "out_from", day(16).isoformat())
    m.set_pump("River", "out_to", day(17).isoformat())
    m.story.pump_h = before, river_hours(m)
    m.attention()
    m.old_and_new("month_4_pump_out")
    m.evening()
    days(m, 17)
    m.go_to(day(18))
    look_ahead(m)
    m.evening()
    m.go_to(day(19))
    m.job_done("spray", "New cut", 20, {"what": "mite control", "person": "Pio"})
    m.evening(dials=False)
    days(m, 20)
    m.go_to(day(21))


def week_of_the_right(m: Month) -> None:
    """Less water may be drawn than the week asks for; rain comes on the Thursday."""
    m.go_to(day(22))
    m.station_file(day(15), day(21))
    m.story.asked_m3 = sum(d.m3 for d in m.season.pump_days)
    m.set_right(RIGHT_M3)
    m.story.shared_m3 = m.story.week_m3[22] = sum(d.m3 for d in m.season.pump_days)
    shared = m.season.shared
    assert shared is not None
    m.story.gave = {
        g.block: (g.given_up_m3, m.season.stage(m.season.block(g.block)))
        for g in shared.gave if g.given_up_mm > 0
    }  # fmt: skip
    m.story.whole = tuple(
        b.block.name for b in m.season.blocks if b.block.name not in m.story.gave
    )  # fmt: skip
    m.attention()
    m.hand_out()
    m.picture("month_5_short_right")
    m.evening()
    days(m, 23, 24, 25)
    m.now = dt.datetime.combine(day(25), dt.time(20, 0))
    m.type_rain(RAIN[day(25)])
    m.go_to(day(26))
    m.attention()
    if m.page("home").bar.changes.isVisible():
        m.old_and_new()
    m.evening()
    days(m, 27)
    m.go_to(day(28))
    farm = m.page("farm")
    assert farm.source.rights.used.isVisible() and "left" in farm.source.rights.used.text()
    (use,) = m.season.source.used
    m.story.drawn_m3 = use.used_m3
    m.set_right(None)


def river_hours(m: Month) -> float:
    """Return what the river pump runs today and tomorrow."""
    return sum(d.hours for d in m.season.pump_days_by_pump["River"][:2])


def take_metered_flow(m: Month) -> None:
    """Plan with what the meter of Long row measures."""
    page = m.page("ran")
    card = page.drifts.itemAt(0).widget()
    assert "Long row" in card.sentence.text()
    before = m.season.block("Long row")
    m.story.drift_pct = before.drift.pct
    m.wavering("metered flow", lambda: m.click(card.link))
    after = m.season.block("Long row")
    assert after.flow.source == "meter" and page.drifts.count() == 0
    m.story.flow_m3_h = before.flow.m3_h, after.flow.m3_h


def look_ahead(m: Month) -> None:
    """Look at the coming month through past years, and at a week of fewer pump hours."""
    page = m.page("ahead")
    m.settle()
    assert page.view is not None
    m.story.years = len(page.view.years)
    m.story.chance = {r.name: r.chance_in_fill for r in page.view.rows
                      if r.chance_in_fill is not None}  # fmt: skip
    before = m.state()
    edit = page.trying.hours.edit
    edit.setFocus()
    edit.selectAll()
    m.qtbot.keyClicks(edit, f"{TRIED_HOURS:g}")
    m.click(page.trying.go)
    assert page.changed is not None and m.state() == before, "trying stores nothing"
    both = page.view, page.changed
    m.story.tried_h = both[0].hours, both[1].hours
    m.story.dry_days = tuple(sum(r.dry_days for r in v.rows) for v in both)
    m.picture("month_6_ahead")
    m.click(page.trying.back)
    assert page.changed is None
