"""Field days entered, moved, left out, taken back and brought in."""

from __future__ import annotations

import datetime as dt

import pytest

from waterbudget import actions, fieldwork
from waterbudget.errors import Refused
from waterbudget.orchard import Block, Cycle, Orchard
from waterbudget.records import FieldEntry
from waterbudget.store import FarmFile

NOW = dt.datetime(2026, 3, 2, 7, 0)
PRUNED = dt.date(2026, 2, 10)


@pytest.fixture
def open_file(tmp_path):
    blocks = (Block(name="Ridge", area_ha=1.0, cycles=(Cycle(PRUNED),)), Block(name="Bare"))
    orchard = Orchard(name="Farm", lat=-19.9, lon=32.7, epsg=32736, blocks=blocks)
    with FarmFile.create(tmp_path / "f.gpkg", orchard, now=NOW) as file:
        yield file


def job(date=dt.date(2026, 2, 22), kind="feed", **more):
    return FieldEntry(block_id=0, date=date, kind=kind, **more)


def enter(file, entry, name="Ridge", **more):
    return actions.enter_job(file, name, entry, now=NOW, **more)


def held(file):
    return file.read().field_entries


def test_a_job_done_stands_for_the_nearest_fixed_day(open_file):
    done = enter(open_file, job(done=True, n_kg_ha=20.0), nearest=True)
    assert (done.entry.cycle_day, done.replaced) == (10, None)
    far = enter(open_file, job(PRUNED + dt.timedelta(days=2), kind="spray"), nearest=True)
    assert far.entry.cycle_day == 10
    extra = enter(open_file, job(dt.date(2026, 2, 28), done=True), nearest=True)
    assert extra.entry.cycle_day is None  # day 45 is 27 days off, and day 10 is done


def test_a_second_entry_takes_the_place_of_the_first_and_undo_puts_it_back(open_file):
    first = enter(open_file, job(cycle_day=10)).entry
    second = enter(open_file, job(dt.date(2026, 2, 25), cycle_day=10, done=True))
    assert second.replaced == first
    assert [e.date for e in held(open_file)] == [dt.date(2026, 2, 25)]
    actions.take_back_job(open_file, second, now=NOW)
    assert [e.date for e in held(open_file)] == [dt.date(2026, 2, 22)]


def test_taking_an_entry_away_and_putting_it_back(open_file):
    enter(open_file, job(cycle_day=10, what="compost"))
    gone = actions.remove_job(open_file, "Ridge", "feed", cycle_day=10, date=NOW.date(), now=NOW)
    assert held(open_file) == ()
    actions.restore_job(open_file, gone, now=NOW)
    assert [e.what for e in held(open_file)] == ["compost"]
    with pytest.raises(Refused):
        actions.remove_job(open_file, "Ridge", "spray", cycle_day=10, date=NOW.date(), now=NOW)


@pytest.mark.parametrize("entry, name, code", [
    (job(dt.date(2026, 2, 9)), "Ridge", "work.before_pruning"),
    (job(), "Bare", "work.before_pruning"),
    (job(), "Nowhere", "block.unknown"),
    (job(dt.date(2026, 3, 3), done=True), "Ridge", "work.done_in_future"),
    (job(cycle_day=11), "Ridge", "work.no_such_day"),
    (job(dt.date(2026, 5, 30), cycle_day=10), "Ridge", "work.too_far"),
    (job(kind="prune"), "Ridge", "work.kind"),
    (job(placed="leaf"), "Ridge", "work.placed"),
    (job(done=True, skipped=True, cycle_day=10), "Ridge", "work.done_and_skipped"),
    (job(skipped=True), "Ridge", "work.extra_skipped"),
    (job(n_kg_ha=3000.0), "Ridge", "work.nitrogen"),
    (job(kind="spray", n_kg_ha=3.0), "Ridge", "work.nitrogen_of_spray"),
    (job(placed="water", what="calcium nitrate + magnesium sulfate"), "Ridge",
     "mix.calcium_sulfate"),
])  # fmt: skip
def test_nonsense_is_refused_and_nothing_stored(open_file, entry, name, code):
    before = open_file.version()
    with pytest.raises(Refused) as fault:
        enter(open_file, entry, name)
    assert fault.value.code == code
    assert held(open_file) == () and open_file.version() == before


def test_a_file_of_jobs_is_brought_in_once_and_whole(open_file, tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("block,date,kind,what,n_kg_ha,person\nRidge,2026-02-20,feed,manure,25,Ana\n"
                    "ridge,2026-02-20,spray,,,\n")  # fmt: skip
    assert actions.import_jobs(open_file, path, now=NOW) == actions.JobsDone(2, 0)
    assert actions.import_jobs(open_file, path, now=NOW) == actions.JobsDone(0, 2)
    jobs = fieldwork.block_jobs(open_file.read().orchard.block("Ridge"), open_file.read().orchard,
                                held(open_file))  # fmt: skip
    done = {(j.kind, j.cycle_day) for j in jobs if j.state == "done"}
    assert done == {("feed", 10), ("spray", 10)}
    path.write_text("block,date,kind\nRidge,2026-02-25,feed\nRidge,2027-01-01,spray\n")
    with pytest.raises(Refused) as fault:
        actions.import_jobs(open_file, path, now=NOW)
    assert fault.value.fields["line"] == 3
    assert len(held(open_file)) == 2
