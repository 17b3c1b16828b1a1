"""What ran: one entry, a day in one pass, a file."""

from __future__ import annotations

import datetime as dt

import pytest

from waterbudget import actions, season
from waterbudget.errors import Refused

DAY = dt.date(2025, 7, 8)


def entered(file, name="Top", day=DAY):
    block = file.read().orchard.block(name)
    return [(r.hours, r.m3) for r in file.read().ran if r.block_id == block.id and r.date == day]


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


def test_one_entry_a_second_one_and_none(file, now):
    actions.enter_ran(file, "Top", DAY, hours=2.5, now=now)
    version = file.version()
    actions.enter_ran(file, "Top", DAY, hours=2.5, now=now)
    assert entered(file) == [(2.5, None)] and file.version() == version
    with refused("ran.entered_already"):
        actions.enter_ran(file, "Top", DAY, m3=50, now=now)
    actions.enter_ran(file, "Top", DAY, m3=50, again=True, now=now)
    assert entered(file) == [(2.5, None), (None, 50)]
    actions.enter_ran(file, "Top", DAY, remove=True, now=now)
    assert entered(file) == []
    with refused("ran.nothing_there"):
        actions.enter_ran(file, "Top", DAY, remove=True, now=now)


def test_missed_is_not_unknown(file, now):
    actions.enter_ran(file, "Top", DAY, hours=0, now=now)
    assert entered(file) == [(0, None)] and entered(file, "Low") == []


@pytest.mark.parametrize(
    ("figure", "code"),
    [({"hours": -1}, "ran.bad_figure"), ({"hours": 1, "m3": -1}, "ran.bad_figure"),
     ({"hours": 24.25, "answers": {"hours": "hours"}}, "ran.too_many_hours"),
     ({"hours": 24.25, "answers": {"hours": "maybe"}}, "answers.not_a_choice"),
     ({"hours": float("nan")}, "ran.bad_figure"), ({"m3": 3001}, "ran.too_much_water"),
     ({}, "ran.hours_or_m3")],
)  # fmt: skip
def test_what_cannot_have_run(file, now, figure, code):
    with refused(code):
        actions.enter_ran(file, "Top", DAY, now=now, **figure)
    assert entered(file) == []


def test_two_waterings_together_fit_into_a_day(file, now):
    actions.enter_ran(file, "Top", DAY, hours=13, now=now)
    with refused("ran.too_many_hours"):
        actions.enter_ran(file, "Top", DAY, hours=13, again=True, now=now)
    assert entered(file) == [(13, None)]


def test_a_day_far_ahead_has_not_come(file, now):
    with refused("ran.in_future"):
        actions.enter_ran(file, "Top", dt.date(2025, 8, 14), hours=1, now=now)


def test_a_whole_day_takes_the_place_of_what_was_there(file, now):
    actions.enter_ran(file, "Top", DAY, hours=9, now=now)
    day = {"Top": [(2, None), (None, 30)], "low": [(0, None)]}
    actions.enter_day(file, DAY, day, now=now)
    assert entered(file) == [(2, None), (None, 30)] and entered(file, "Low") == [(0, None)]
    with refused("block.unknown"):
        actions.enter_day(file, DAY, {"Top": [(5, None)], "Nobody": [(1, None)]}, now=now)
    assert entered(file) == [(2, None), (None, 30)]


def write(tmp_path, text):
    path = tmp_path / "ran.csv"
    path.write_bytes(text.encode())
    return path


def test_a_file_twice_is_one_file(file, now, tmp_path):
    path = write(
        tmp_path, "\ufeffBlock, Date ,hours,m3\r\n TOP,2025-07-08,2,\r\nLow,2025-07-08,,31.5\r\n"
    )
    first = actions.import_ran(file, path, now=now)
    second = actions.import_ran(file, path, now=now)
    assert (first.added, first.unchanged, second.added, second.unchanged) == (2, 0, 0, 2)
    assert entered(file) == [(2, None)] and entered(file, "Low") == [(None, 31.5)]


def test_two_rows_of_a_day_are_two_waterings(file, now, tmp_path):
    path = write(tmp_path, "block,date,hours\nTop,2025-07-08,2\nTop,2025-07-08,2\n")
    assert actions.import_ran(file, path, now=now).added == 2
    assert entered(file) == [(2, None), (2, None)]
    assert actions.import_ran(file, path, now=now).unchanged == 2


def test_the_meter_beats_the_clock_and_it_is_told(file, now, tmp_path):
    done = actions.import_ran(file, write(tmp_path, "block,date,hours,m3\nTop,2025-07-08,2,47\n"),
                              now=now)  # fmt: skip
    assert entered(file) == [(2, 47)]
    run = season.run(file.read(), DAY + dt.timedelta(days=1))
    assert run.block("Top").past[-1].m3 == 47
    assert [(n.code, n.fields["rows"]) for n in done.notes] == [("ran.both_given", 1)]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("block,date,hours\nTop,2025-07-08,1\nNobody,2025-07-08,1\n", "csv.row"),
        ("block,date,hours\nTop,8.7.2025,1\n", "csv.row"),
        ("block,date,hours\nTop,2025-07-08,1,5\n", "csv.too_many_cells"),  # a decimal comma
        ("block;date;hours\nTop;2025-07-08;1,5\n", "csv.row"),
        ("block,date,hours,m3\nTop,2025-07-08,,\n", "csv.row"),
        ("block,date,hours,m3\nTop,2025-07-08,-2,40\n", "csv.row"),
        ("block,date,hours,hours\nTop,2025-07-08,1,2\n", "csv.column_twice"),
        ("block,date\nTop,2025-07-08\n", "csv.no_name_column"),
        ("block,hours\nTop,1\n", "csv.no_name_column"),
        ("block,date,hours\n", "csv.empty"),
        ("", "csv.no_name_column"),
        ("block,date,hours\nLow,2025-07-08,1\nTop,2025-07-07,9\n", "ran.other_entry"),
        ("block,date,hours\nTop,2025-07-08,13\nTop,2025-07-08,12\n", "ran.too_many_hours"),
    ],
)
def test_all_rows_or_none(file, now, tmp_path, text, code):
    actions.enter_ran(file, "Top", dt.date(2025, 7, 7), hours=1, now=now)
    before = file.read()
    with refused(code):
        actions.import_ran(file, write(tmp_path, text), now=now)
    assert file.read() == before
