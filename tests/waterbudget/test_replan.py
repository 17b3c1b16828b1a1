"""The rest of a week handed out, planned anew: only what is left changes, and it says why."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from orchard_samples import (
    MONDAY,
    block,
    change,
    change_orchard,
    day,
    farm,
    forecast,
    handed_out,
    ran,
    record,
)

from waterbudget import paper, replan, season, sheet
from waterbudget.errors import Refused
from waterbudget.orchard import Cycle
from waterbudget.records import GivenSet, GivenWeek, MeterReading, Pin

TUE, WED, THU, FRI, SUN = (day(i) for i in (1, 2, 3, 4, 6))


def lived(data, on, **rain):
    """The farm on a later morning of the week handed out on Monday, its weather known."""
    wet = {day(int(name[1:])): mm for name, mm in rain.items()}
    week = handed_out(season.run(data, MONDAY))
    return replace(
        data, given=(week,), records={"Gate": record(last=on - dt.timedelta(days=1), rain=wet)}
    )


def compare(data, on):
    run = season.run(data, on)
    return run, replan.compare(data, run)


def row(found, name="Ridge"):
    return next(b for b in found.blocks if b.block == name)


def given_hours(data, number=1):
    return {s.date: s.hours for s in data.given[0].sets if s.block_id == number}


def test_rain_on_wednesday_credits_the_room_and_drains_the_rest():
    """18 mm with 10 mm of room where the roots drink from all the soil: 10 credited, 8 drained.

    Two days of 5 mm after a day known full make the room.
    """
    dry = block(system="overhead", root_share=1.0, kc_fixed=1.0, full_on=day(-1))
    weather = record(last=WED, rain={WED: 18.0}, et0=5.0)
    run = season.run(farm(dry, records={"Gate": weather}), THU)
    a, i = run.account, run.on_index - 1
    assert run.days[i] == WED
    assert a.dr_mm[i - 1, 0] == pytest.approx(10.0, abs=1e-6)
    assert a.drainage_mm[i, 0] == pytest.approx(8.0, abs=1e-6)
    used = float(a.evaporation_mm[i, 0] + a.transpiration_mm[i, 0])
    assert a.dr_mm[i - 1, 0] - (a.dr_mm[i, 0] - used) == pytest.approx(10.0, abs=1e-6)


def test_only_the_rest_of_the_week_changes_after_rain():
    data = lived(farm(block()), THU, d2=18.0)
    run, found = compare(data, THU)
    given = given_hours(data)
    assert found.days == (THU, FRI, day(5), SUN) and found.given.number == 1
    assert {(r.date, r.planned_hours) for r in found.ran} == {
        (d, h) for d, h in given.items() if d < THU
    }  # fmt: skip
    cells = {c.date: c for c in row(found).cells}
    assert set(cells) == set(found.days)
    for d, c in cells.items():
        assert c.old_hours == given.get(d, 0.0)
        planned = {day(s.day, THU): s.hours for s in run.block("Ridge").plan.sets}
        assert c.new_hours == planned.get(d, 0.0)
    assert found.total("new_hours") < found.total("old_hours")
    assert all("rain" in c.why for c in found.cells if c.changed)
    drained = float(run.account.drainage_mm[run.on_index - 1, 0])
    assert 0 < drained < 18
    assert row(found).causes["rain"] == pytest.approx(18.0 - drained)


def test_nothing_happened_nothing_to_tell():
    """The week just handed out, looked at again the same morning."""
    data = lived(farm(block()), MONDAY)
    _, found = compare(data, MONDAY)
    assert not found.changed and all(c.why == () for c in found.cells)
    assert found.total("old_hours") == found.total("new_hours") > 0


@pytest.mark.parametrize("soil", ["sandy-loam", "loam", "clay-loam"])
def test_a_missed_tuesday_is_made_up_by_friday_never_as_one_double_set(soil):
    whole = lived(farm(block(soil=soil)), WED)
    assert TUE in given_hours(whole)
    ridge = season.run(whole, WED)
    missed = replace(whole, ran=(ran(1, TUE, hours=0.0),))
    run, found = compare(missed, WED)
    friday = run.on_index + (FRI - WED).days
    had_it_run = float(ridge.account.dr_mm[friday, 0])
    assert float(run.account.dr_mm[friday, 0]) <= had_it_run + 0.5
    assert float(run.account.dr_mm[friday, 0]) <= float(run.limit_mm(0)[friday])
    hours = [s.hours for s in run.block("Ridge").plan.sets]
    assert max(hours) - min(hours) <= 0.25 + 1e-9
    assert max(hours) <= run.block("Ridge").limits.longest_h
    made_up = [c for c in row(found).cells if c.date <= FRI and c.new_hours > c.old_hours]
    assert len(made_up) >= 2  # over two days at least
    assert all("missed" in c.why for c in made_up)
    assert row(found).causes["missed"] == pytest.approx(
        -given_hours(whole)[TUE] * 20 * run.block("Ridge").efficiency / 10
    )


def test_less_water_by_the_meter_is_told_and_made_up():
    data = lived(farm(block()), THU)
    tuesday = given_hours(data)[TUE]
    monday = given_hours(data)[MONDAY]
    readings = (
        MeterReading(block_id=1, date=day(-1), m3=0.0, id=1),
        MeterReading(block_id=1, date=TUE, m3=0.8 * 20 * (monday + tuesday), id=2),
    )
    _, as_planned = compare(data, THU)
    run, found = compare(replace(data, meter_readings=readings), THU)
    share = run.block("Ridge").efficiency
    assert row(found).causes["meter"] == pytest.approx(-0.2 * 2 * (monday + tuesday) * share)
    assert {r.state for r in found.ran} == {"ran"}
    assert found.total("new_hours") > as_planned.total("new_hours")


def test_a_pin_is_told_as_fixed():
    data = lived(farm(block()), THU)
    _, found = compare(replace(data, pins=(Pin(1, FRI, 3.5),)), THU)
    cell = next(c for c in found.cells if c.date == FRI)
    assert (cell.new_hours, cell.why[0]) == (3.5, "fixed")


def test_a_pump_that_is_out_is_told():
    data = lived(farm(block(), pump_m3_h=40.0), THU)
    given = given_hours(data)
    last = max(d for d in given if d >= THU)
    out = change_orchard(data, pump_out_from=last, pump_out_to=last)
    _, found = compare(out, THU)
    cell = next(c for c in found.cells if c.date == last)
    assert cell.new_hours != cell.old_hours and "pump" in cell.why


def test_hotter_days_than_forecast_are_the_weather():
    data = farm(block(), forecasts={"Gate": forecast(MONDAY, et0=3.0)})
    week = handed_out(season.run(data, MONDAY))
    hot = replace(data, given=(week,), records={"Gate": record(last=WED, et0=4.5)})
    _, found = compare(hot, THU)
    assert row(found).causes["weather"] < -2
    assert any("weather" in c.why for c in found.cells if c.changed)


def test_station_out_or_file_late_goes_on_with_stand_ins_and_says_so():
    data = lived(farm(block()), THU)
    late = replace(data, records={"Gate": record(last=day(0))})
    run, found = compare(late, THU)
    assert found.blocks and row(found).old_hours > 0
    assert run.block("Ridge").plan.sets
    told = [n for n in found.notes if n.code == "replan.stand_in"]
    assert told and told[0].fields["last"] == day(0) and told[0].fields["days"] >= 2


def test_the_days_past_the_week_are_planned_and_not_corrected():
    _, found = compare(lived(farm(block()), THU), THU)
    assert [n.fields for n in found.notes if n.code == "replan.horizon"] == [
        {"planned_to": day(9), "last": SUN}
    ]
    assert found.days[-1] == SUN
    run = season.run(lived(farm(block()), THU), THU)
    assert all(s.date <= SUN for s in replan.rest(run, SUN))


def test_a_correction_holds_to_the_end_of_the_week_and_no_further():
    data = lived(farm(block()), THU, d2=18.0)
    run, _ = compare(data, THU)
    at = dt.datetime.combine(THU, dt.time(12))
    corrected = GivenWeek(2, THU, at, replan.rest(run, SUN), SUN)
    after = replace(data, given=(*data.given, corrected))
    again, same = compare(after, THU)
    assert same.given.number == 2 and not same.changed
    assert again.given == corrected
    monday = replace(after, records={"Gate": record(last=SUN, rain={WED: 18.0})})
    later = season.run(monday, day(7))
    assert later.given is None
    given = given_hours(data)
    counted = {s.date: s.planned_hours for s in later.block("Ridge").past}
    wanted = {d: h for d, h in given.items() if d < THU}
    wanted |= {s.date: s.hours for s in corrected.sets}
    assert {d: h for d, h in counted.items() if d >= MONDAY} == wanted
    assert season.run(monday, TUE).given.number == 1  # on Tuesday it was not known yet
    with pytest.raises(Refused, match=r"replan\.no_week"):
        replan.compare(monday, later)


def test_fruit_fill_comes_first_and_blocks_with_nothing_are_left_out():
    rest = block("Rest", 2, cycles=(Cycle(day(-20)),))
    idle = block("Idle", 3, flow_m3_h=None)
    data = lived(farm(rest, block(), idle), THU)
    _, found = compare(data, THU)
    names = [b.block for b in found.blocks]
    assert names[0] == "Ridge" and "Idle" not in names
    assert {d.date for b in found.blocks for d in b.cells} == set(found.days)


def test_a_setting_changed_is_told_as_other():
    data = lived(farm(block()), MONDAY)
    _, found = compare(change(data, "Ridge", kc_fixed=0.4), MONDAY)
    assert found.changed and {c.why for c in found.cells if c.changed} == {("other",)}


def test_a_week_given_whole_counts_seven_days():
    week = GivenWeek(
        1, MONDAY, dt.datetime(2026, 3, 2, 6), (GivenSet(1, TUE, dt.time(6), 2, 4, 40),)
    )
    assert week.last == SUN and week.covers(SUN) and not week.covers(day(7))
    assert not week.covers(day(-1))


def test_the_new_sheet_marks_the_lines_that_changed(tmp_path):
    data = lived(farm(block(), block("Low", 2, flow_m3_h=12.0)), THU, d2=18.0)
    run, found = compare(data, THU)
    at = dt.datetime.combine(THU, dt.time(12))
    corrected = GivenWeek(2, THU, at, replan.rest(run, SUN), SUN)
    after = season.run(replace(data, given=(*data.given, corrected)), THU)
    (page,) = sheet.valve_sheets(after, corrected)
    assert (page.number, page.first, page.last) == (2, THU, SUN)
    changed = {(x.block, x.date) for x in page.lines if x.changed}
    cells = {(c.block, c.date) for c in found.cells if c.new_hours}
    assert {(x.block, x.date) for x in page.lines} == cells
    moved = {
        (c.block, c.date) for c in found.cells
        if c.new_hours and (c.changed or c.new_start != c.old_start)
    }  # fmt: skip
    assert changed == moved and changed
    (first,) = sheet.valve_sheets(season.run(data, THU), data.given[0])
    assert first.last is None and not any(x.changed for x in first.lines)
    paper.write_week_pdf(after, tmp_path / "w.pdf", given=corrected)
    assert (tmp_path / "w.pdf").read_bytes().startswith(b"%PDF")
