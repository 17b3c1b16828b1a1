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
    m.story.planned_m3[number] = sum(d.m3 for d in m.season.pump_days)
    m.hand_out()


def week_of_rain(m: Month) -> None:
    """18 mm on the Wednesday; only what is left of the week changes."""
    monday(m, 1)
    m.picture("month_1_handed_out")
    m.evening()
    m.go_to(day(2))
    m.evening()
    m.go_to(day(3))
    m.evening()
    m.now = dt.datetime.combine(day(3), dt.time(20, 5))
    m.type_rain(RAIN[day(3)])
    m.go_to(day(4))
    m.attention()
    found = m.old_and_new("month_2_rain")
    m.story.rain_old_h, m.story.rain_new_h = found.total("old_hours"), found.total("new_hours")
    for b in m.season.blocks:
        row = m.season.on_index - 1
        m.story.rain_drained_mm[b.block.name] = float(m.season.account.drainage_mm[row, b.column])
    for number in (4, 5, 6):
        m.go_to(day(number))
        m.evening()
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
    m.story.before_miss = {c.date: c.old_hours for c in cells}
    m.story.after_miss = {c.date: c.new_hours for c in cells}
    m.evening()
    m.go_to(day(11))
    sprayed = min(d for d, hours in ahead(m, "Steps").items() if hours)
    before = ahead(m, "Steps")
    m.plan_spray("Steps", sprayed)
    m.story.clash = (sprayed, before, ahead(m, "Steps"))
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
    before = sum(d.m3 for d in m.season.pump_days_by_pump["River"][:2])
    m.set_pump("River", "out_from", day(16).isoformat())
    m.set_pump("River", "out_to", day(17).isoformat())
    m.story.pump_old_m3 = before
    m.story.pump_new_m3 = sum(d.m3 for d in m.season.pump_days_by_pump["River"][:2])
    m.attention()
    m.old_and_new("month_4_pump_out")
    m.evening()
    m.go_to(day(17))
    m.evening()
    m.go_to(day(18))
    look_ahead(m)
    m.evening()
    m.go_to(day(19))
    m.job_done("spray", "New cut", 20, {"what": "mite control", "person": "Pio"})
    m.evening(dials=False)
    m.go_to(day(20))
    m.evening()
    m.go_to(day(21))


def week_of_the_right(m: Month) -> None:
    """Less water may be drawn than the week asks for; rain comes on the Thursday."""
    m.go_to(day(22))
    m.station_file(day(15), day(21))
    m.story.right_free_m3 = sum(d.m3 for d in m.season.pump_days)
    m.set_right(RIGHT_M3)
    m.story.right_m3 = sum(d.m3 for d in m.season.pump_days)
    shared = m.season.shared
    assert shared is not None
    m.story.gave = {
        g.block: (g.given_up_m3, g.given_up_mm, m.season.stage(m.season.block(g.block)))
        for g in shared.gave if g.given_up_mm > 0
    }  # fmt: skip
    m.attention()
    m.hand_out()
    m.picture("month_5_short_right")
    for number in (22, 23, 24, 25):
        m.go_to(day(number))
        m.evening()
    m.now = dt.datetime.combine(day(25), dt.time(20, 0))
    m.type_rain(RAIN[day(25)])
    m.go_to(day(26))
    m.attention()
    if m.page("home").bar.changes.isVisible():
        m.old_and_new()
    m.evening()
    m.go_to(day(27))
    m.evening()
    m.go_to(day(28))
    m.set_right(None)


def ahead(m: Month, block: str) -> dict[dt.date, float]:
    """Return the hours planned for a block from today on."""
    plan = m.season.block(block).plan
    return {m.today + dt.timedelta(days=s.day): s.hours for s in plan.sets if s.day > 0}


def take_metered_flow(m: Month) -> None:
    """Plan with what the meter of Long row measures."""
    page = m.page("ran")
    card = page.drifts.itemAt(0).widget()
    assert "Long row" in card.sentence.text()
    m.story.drift_pct = m.season.block("Long row").drift.pct
    m.wavering("metered flow", lambda: m.click(card.link))
    assert m.season.block("Long row").flow.source == "meter"


def look_ahead(m: Month) -> None:
    """Look at the coming month through past years, and at a week of fewer pump hours."""
    page = m.page("ahead")
    m.settle()
    assert page.view is not None and not page.notes.text().startswith("No past")
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
    now, then = page.view, page.changed
    m.story.tried = (now.hours, then.hours, now.m3, then.m3)
    m.picture("month_6_ahead")
    m.click(page.trying.back)
    assert page.changed is None
