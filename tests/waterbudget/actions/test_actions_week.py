"""The week: cells fixed, handed out, taken back; what then counts as run."""

from __future__ import annotations

import datetime as dt

import pytest

from waterbudget import actions, season, sheet
from waterbudget.errors import Refused
from waterbudget.records import Pin

ON = dt.date(2025, 7, 14)


def day(i):
    return ON + dt.timedelta(days=i)


def week(file, name="Top", on=ON):
    run = season.run(file.read(), on)
    return next(r.values for r in sheet.week_rows(run) if r.values["block"] == name)


def hours(row):
    return {s["date"]: s["hours"] for s in row["sets"]}


def hand_out(file, now, on=ON):
    return actions.hand_out(file, season.run(file.read(), on), now=now)


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


def test_a_fixed_cell_is_planned_and_counted(file, now):
    actions.pin(file, "top", day(1), 3.1, start=dt.time(9, 0), now=now)
    actions.pin(file, "top", day(2), 0, now=now)
    row = week(file)
    fixed = next(s for s in row["sets"] if s["date"] == day(1))
    assert (fixed["hours"], fixed["start"], fixed["m3"]) == (3.0, dt.time(9, 0), 60)
    assert day(2) not in hours(row)
    run = season.run(file.read(), ON)
    net = run.drivers.irrigation_mm[run.on_index + 1, run.block("Top").column]
    assert net == pytest.approx(60 / 10 * 0.9)  # drip, 0.9 of the meter, 1 ha
    actions.pin(file, "top", day(1), None, now=now)
    assert {p.date for p in file.read().pins} == {day(2)}


@pytest.mark.parametrize("wrong", [-0.25, 24.5])
def test_hours_that_cannot_be(file, now, wrong):
    with refused("pin.bad_hours"):
        actions.pin(file, "Top", ON, wrong, now=now)
    block = file.read().orchard.block("Top")
    with refused("pin.bad_hours"):
        cells = {day(0): None, day(1): Pin(block.id, day(1), wrong)}
        actions.pin_days(file, "Top", cells, now=now)
    assert file.read().pins == ()


def test_a_watering_moved_is_one_change_that_can_be_undone(file, now):
    block = file.read().orchard.block("Top")
    actions.pin(file, "Top", day(0), 2, now=now)
    moved = {day(0): Pin(block.id, day(0), 0), day(3): Pin(block.id, day(3), 2)}
    before = actions.pin_days(file, "Top", moved, now=now)
    assert hours(week(file))[day(3)] == 2 and day(0) not in hours(week(file))
    back = {d: next((p for p in before if p.date == d), None) for d in moved}
    actions.pin_days(file, "Top", back, now=now)
    assert [(p.date, p.hours) for p in file.read().pins] == [(day(0), 2)]


def test_handing_out_keeps_number_time_and_sets(file, now):
    planned = hours(week(file))
    given = hand_out(file, now)
    assert (given.number, given.first, given.given_at) == (1, ON, now)
    block = file.read().orchard.block("Top")
    assert {s.date: s.hours for s in given.sets if s.block_id == block.id} == planned
    assert hand_out(file, now + dt.timedelta(hours=1)).number == 2
    assert season.run(file.read(), ON).given.number == 2
    assert [w.number for w in file.read().given] == [1, 2]


def test_later_changes_are_shown_against_the_week_given(file, now):
    hand_out(file, now)
    assert "changed_since_given" not in week(file)["flags"]
    actions.set_block(file, "Top", {"kc_fixed": "0.4"}, now=now)
    assert "changed_since_given" in week(file)["flags"]
    assert "changed_since_given" not in week(file, "Low")["flags"]


def gross_on(file, date, on, name="Top"):
    run = season.run(file.read(), on)
    block = run.block(name)
    rows = sheet.balance_rows(run, block, date, date)
    return rows[0]["irrigation_gross_mm"], rows[0]["flags"]


def test_what_nobody_confirmed_counts_as_run_until_something_is_entered(file, now):
    planned = hours(week(file))
    first, second = sorted(planned)[:2]
    hand_out(file, now)
    later = day(7)
    mm, told = gross_on(file, first, later)
    assert mm == pytest.approx(planned[first] * 20 / 10) and "not_confirmed" in told
    row = week(file, on=later)
    assert "not_confirmed" in row["flags"]
    assert row["dr_if_not_run_mm"] > row["dr_start_mm"]
    actions.enter_ran(file, "Top", first, hours=0, now=now)
    actions.enter_ran(file, "Top", second, m3=30, now=now)
    mm, told = gross_on(file, first, later)
    assert mm == 0 and "missed" in told and "not_confirmed" not in told
    assert gross_on(file, second, later)[0] == pytest.approx(3)


def test_the_newest_week_given_counts(file, now):
    hand_out(file, now)
    actions.set_block(file, "Top", {"kc_fixed": "0.5"}, now=now)
    actions.pin(file, "Top", day(2), 7, now=now)
    hand_out(file, now)
    assert gross_on(file, day(2), day(7))[0] == pytest.approx(14)


def test_a_week_taken_back_never_ran(file, now):
    given = hand_out(file, now)
    date = sorted(hours(week(file)))[0]
    actions.take_back(file, given.number, now=now)
    assert gross_on(file, date, day(7))[0] == 0
    assert season.run(file.read(), ON).given is None
    assert hand_out(file, now).number == given.number + 1


def test_there_must_be_hours_to_hand_out(bare, now, own_et0_file):
    actions.set_block(bare, "Top", {"area_ha": "1"}, new=True, now=now)
    actions.import_weather(
        bare, own_et0_file("s.csv", dt.date(2025, 6, 1), 43), station="S", now=now
    )
    with refused("week.nothing_to_hand_out"):
        hand_out(bare, now)
    assert bare.read().given == ()


def test_no_watering_is_longer_than_outlets_and_day_allow(file, now):
    actions.set_block(file, "Top", {"system": "micro", "flow_m3_h": "8"}, now=now)
    row = week(file)
    assert row["dr_start_mm"] > row["allowed_mm"]  # six dry weeks: it wants all it can get
    assert max(hours(row).values()) <= 6 and "set_too_long" in row["flags"]
    actions.set_farm(file, {"work_from": "06:00", "work_to": "09:30"}, now=now)
    assert max(hours(week(file)).values()) <= 3.5
    actions.set_farm(file, {"pump_hours": "2"}, now=now)
    assert max(hours(week(file)).values()) <= 2
