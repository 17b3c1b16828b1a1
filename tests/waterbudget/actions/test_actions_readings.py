"""Readings of the soil: entered, replaced, taken away, from a file; the factor with its log."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from waterbudget import actions, season
from waterbudget.errors import Refused
from waterbudget.records import Reading

DAY = dt.date(2025, 7, 8)


def held(file, name="Top", day=DAY):
    block = file.read().orchard.block(name)
    return [(r.kind, r.value, r.depth_cm, r.sensor, r.before_water) for r in file.read().readings
            if r.block_id == block.id and r.date == day]  # fmt: skip


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


def enter(file, now, value=28.0, kind="tensiometer", **more):
    return actions.enter_reading(file, "Top", DAY, kind, value, now=now, **more)


def test_a_second_reading_of_one_sensor_takes_the_place_of_the_first(file, now):
    enter(file, now, sensor=" T1 ", depth_cm=25.0)
    version = file.version()
    enter(file, now, sensor="T1", depth_cm=25.0)
    assert file.version() == version
    enter(file, now, 31.0, sensor="t1", depth_cm=25.0, before_water=True)
    assert held(file) == [("tensiometer", 31.0, 25.0, "t1", True)]
    enter(file, now, 29.0, sensor="T2", depth_cm=25.0)
    enter(file, now, 18.0, sensor="T1", depth_cm=55.0)
    found = enter(file, now, 12.0, "field")
    assert len(found) == len(held(file)) == 4
    assert held(file, "Low") == [] and held(file, day=DAY + dt.timedelta(1)) == []
    assert file.history(1)[0][1:] == ("reading.entered", {
        "block": "Top", "date": "2025-07-08", "missing_mm": 12.0})  # fmt: skip


def test_readings_are_taken_away_by_what_is_said_of_them_and_put_back(file, now):
    for value, sensor, depth in ((28.0, "T1", 25.0), (31.0, "T2", 25.0), (15.0, "T2", 55.0)):
        enter(file, now, value, sensor=sensor, depth_cm=depth)
    before = [r for r in file.read().readings if r.date == DAY]
    gone = actions.remove_reading(file, "top", DAY, sensor="t2", depth_cm=55.0, now=now)
    assert [r.value for r in gone] == [15.0] and len(held(file)) == 2
    actions.remove_reading(file, "Top", DAY, now=now)
    assert held(file) == []
    with refused("reading.nothing_there"):
        actions.remove_reading(file, "Top", DAY, now=now)
    actions.put_readings(file, "Top", DAY, before, now=now)
    assert [v for _, v, *_ in held(file)] == [28.0, 31.0, 15.0]
    with refused("reading.nothing_there"):
        actions.remove_reading(file, "Top", DAY, kind="field", now=now)


@pytest.mark.parametrize(
    ("kind", "value", "more", "code"),
    [
        ("tensiometer", 101, {}, "reading.kpa"), ("tensiometer", -1, {}, "reading.kpa"),
        ("tensiometer", float("nan"), {}, "reading.kpa"),
        ("capacitance", 101, {}, "reading.percent"), ("field", -0.1, {}, "reading.missing_mm"),
        ("field", 501, {}, "reading.missing_mm"), ("spoon", 5, {}, "reading.kind"),
        ("field", 5, {"depth_cm": 0.0}, "reading.depth"),
        ("field", 5, {"depth_cm": 301.0}, "reading.depth"),
    ],
)  # fmt: skip
def test_what_cannot_have_been_read(file, now, kind, value, more, code):
    with refused(code):
        enter(file, now, value, kind, **more)
    assert held(file) == []


def test_a_reading_is_not_from_tomorrows_tomorrow(file, now):
    for days, ok in ((1, True), (2, False)):
        date = now.date() + dt.timedelta(days)
        if ok:
            actions.enter_reading(file, "Top", date, "field", 5.0, now=now)
        else:
            with refused("reading.in_future"):
                actions.enter_reading(file, "Top", date, "field", 5.0, now=now)


def test_readings_of_a_deleted_block_are_back_with_it(file, now):
    enter(file, now)
    block = actions.delete_block(file, "Top", now=now)
    assert file.read().readings == ()
    actions.restore_block(file, block, now=now)
    assert len(held(file)) == 1


CSV = """block,date,kpa,percent,missing_mm,depth_cm,sensor,before_water
Top,2025-07-08,28,,,25,T1,yes
top,2025-07-08,31.5,,,25,T2,
Low,2025-07-09,,60,,,,no
Low,2025-07-10,,,12.25,,,
"""


def test_a_file_of_readings_comes_in_whole_and_once(file, now, tmp_path):
    path = tmp_path / "r.csv"
    path.write_text(CSV)
    assert actions.recognise(path) == "readings"
    assert actions.import_readings(file, path, now=now) == actions.ReadingsDone(4, 0)
    version = [(r.id, r.value) for r in file.read().readings]
    assert actions.import_readings(file, path, now=now) == actions.ReadingsDone(0, 4)
    assert [(r.id, r.value) for r in file.read().readings] == version
    assert held(file) == [("tensiometer", 28.0, 25.0, "T1", True),
                          ("tensiometer", 31.5, 25.0, "T2", False)]  # fmt: skip
    path.write_text("block;date;kpa;depth_cm;sensor\nTop;2025-07-08;33;25;T2\n")
    assert actions.import_readings(file, path, now=now) == actions.ReadingsDone(1, 0)
    assert [v for _, v, *_ in held(file)] == [28.0, 33.0]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("block,date,kpa\nTop,2025-07-08,28\nNope,2025-07-08,3\n", "block.unknown"),
        ("block,date,kpa,percent\nTop,2025-07-08,28,50\n", "reading.one_figure"),
        ("block,date,kpa\nTop,2025-07-08,\n", "reading.one_figure"),
        ("block,date,kpa\nTop,2025-07-08,280\n", "reading.kpa"),
        ("block,date,kpa\nTop,2025-07-08,dry\n", "key.bad_number"),
        ("block,date,kpa\nTop,08/07/2025,28\n", "key.bad_date"),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_stored(file, now, tmp_path, text, code):
    path = tmp_path / "r.csv"
    path.write_text(text)
    with refused("csv.row") as caught:
        actions.import_readings(file, path, now=now)
    assert caught.value.fields["fault"].code == code
    assert caught.value.fields["line"] == text.count("\n")
    assert file.read().readings == ()


@pytest.mark.parametrize(
    ("text", "code"),
    [("date,kpa\n2025-07-08,3\n", "csv.no_name_column"), ("block,date\n", "csv.no_name_column"),
     ("block,date,kpa\n", "csv.empty"), ("block,date,kpa,kpa\nTop,1,2,3\n", "csv.column_twice"),
     ("block,date,kpa\nTop,2025-07-08,28,7\n", "csv.too_many_cells")],
)  # fmt: skip
def test_files_that_cannot_be_readings(file, now, tmp_path, text, code):
    path = tmp_path / "r.csv"
    path.write_text(text)
    with refused(code):
        actions.import_readings(file, path, now=now)


# ---------------------------------------------------------------- the factor


def test_a_factor_is_accepted_with_date_old_new_and_reason(file, now):
    since = dt.date(2025, 7, 1)
    actions.accept_factor(file, "Top", 0.95, since=since, why="three  weeks", now=now)
    later = now + dt.timedelta(days=30)
    block = actions.accept_factor(file, "Top", 0.9, since=dt.date(2025, 7, 12), why="again",
                                  now=later)  # fmt: skip
    assert (block.kc_factor, block.kc_factor_from, block.kc_factor_before, block.kc_factor_why) == (
        0.9, dt.date(2025, 7, 12), 0.95, "again")  # fmt: skip
    log = [(c.at, c.since, c.old, c.new, c.why) for c in actions.factor_changes(file, "top")]
    assert log == [(now, since, 1.0, 0.95, "three weeks"),
                   (later, dt.date(2025, 7, 12), 0.95, 0.9, "again")]  # fmt: skip
    assert actions.factor_changes(file, "Low") == ()


def test_a_factor_set_by_hand_is_in_the_log_too(file, now):
    actions.set_block(file, "Top", {"kc_factor": "0.95", "valve": "3"}, now=now)
    actions.set_block(file, "Top", {"valve": "4"}, now=now)
    actions.set_block(file, "Top", {"kc_factor": "0.9", "kc_factor_from": "2025-07-01",
                                    "kc_factor_why": "spade"}, now=now)  # fmt: skip
    log = [(c.since, c.old, c.new, c.why) for c in actions.factor_changes(file)]
    assert log == [(None, 1.0, 0.95, None), (dt.date(2025, 7, 1), 0.95, 0.9, "spade")]
    block = file.read().orchard.block("Top")
    assert block.kc_factor_before == 0.95
    actions.set_block(file, "Top", {"kc_factor": "", "kc_factor_from": ""}, now=now)
    assert actions.factor_changes(file)[-1].new == 1.0


def test_a_factor_needs_a_reason_and_its_bounds(file, now):
    since = dt.date(2025, 7, 1)
    with refused("factor.no_reason"):
        actions.accept_factor(file, "Top", 0.9, since=since, why="  ", now=now)
    with refused("key.out_of_bounds"):
        actions.accept_factor(file, "Top", 2.1, since=since, why="x", now=now)
    assert file.read().orchard.block("Top").kc_factor is None


def test_nine_tenths_takes_nine_tenths_from_its_day_on(file, now):
    actions.set_block(file, "Top", {"kc_fixed": "0.8", "pruned_on": "2025-02-01"}, now=now)
    was = season.run(file.read())
    actions.accept_factor(file, "Top", 0.9, since=DAY, why="spade", now=now)
    run = season.run(file.read())
    i, column = (DAY - run.first).days, run.block("Top").column
    took, had = (r.account.etc_potential_mm[:, column] for r in (run, was))
    assert took[i - 1] == had[i - 1]
    assert took[i:] == pytest.approx(0.9 * had[i:], rel=1e-12)


def test_undo_of_a_factor_puts_the_block_back(file, now):
    before = file.read().orchard.block("Top")
    actions.accept_factor(file, "Top", 0.9, since=DAY, why="spade", now=now)
    actions.restore_block(file, before, now=now)
    assert file.read().orchard.block("Top") == before


def test_ids_alone_tell_stored_readings_apart(file, now):
    enter(file, now)
    (stored,) = file.read().readings
    block = file.read().orchard.block("Top")
    assert replace(stored, id=0) == Reading(block.id, DAY, "tensiometer", 28.0)
