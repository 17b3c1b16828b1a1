"""A snapshot is whole and current, however it was put together from what was read before."""

from __future__ import annotations

import dataclasses
import datetime as dt
import sqlite3
import tempfile
import threading
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from store_samples import NOW, D, day, fill, orchard, plain, square, three_blocks, week

from waterbudget.errors import Refused
from waterbudget.orchard import Block, Station
from waterbudget.records import Pin, Ran, Reading
from waterbudget.store import FarmFile

LATER = D + dt.timedelta(1)


def rename_station(farm: FarmFile, n: int) -> None:
    farm.save_station(Station(name=f"Ridge {n}", id=1, wind_height_m=2.0))


def edit_block(farm: FarmFile, n: int) -> None:
    block = next((b for b in farm.read().orchard.blocks if b.id == n % 3 + 1), None)
    if block is not None:
        farm.save_block(dataclasses.replace(block, note=f"note {n}", outline=square(5e5, 7.8e6, n)))


def delete_or_restore(farm: FarmFile, n: int) -> None:
    block_id = n % 3 + 1
    if any(b.id == block_id for b in farm.read().orchard.blocks):
        farm.delete_block(block_id)
    else:
        farm.save_block(Block(name=f"back {n}", id=block_id))


def run(farm: FarmFile, n: int) -> None:
    for block in farm.read().orchard.blocks[:1]:
        farm.set_ran(block.id, D, [Ran(block.id, D, hours=float(n))])


def hand_out(farm: FarmFile, n: int) -> None:
    farm.add_given_week(week(0, *(b.id for b in farm.read().orchard.blocks)))


def take_back(farm: FarmFile, n: int) -> None:
    farm.take_back_week(n % 4, again=n % 2 == 0)


def pin(farm: FarmFile, n: int) -> None:
    for block in farm.read().orchard.blocks[-1:]:
        farm.set_pin(Pin(block.id, D, float(n)))


def read_soil(farm: FarmFile, n: int) -> None:
    for block in farm.read().orchard.blocks[-1:]:
        farm.set_readings(block.id, D, [Reading(block.id, D, "field", float(n))] * (n % 3))


EDITS = {
    "station": rename_station,
    "block": edit_block,
    "gone or back": delete_or_restore,
    "new block": lambda farm, n: farm.save_block(Block(name=f"new {farm.version()}", trees=n)),
    "ran": run,
    "given": hand_out,
    "taken back": take_back,
    "pin": pin,
    "reading": read_soil,
    "unpin": lambda farm, n: farm.clear_pins(),
    "farm": lambda farm, n: farm.save_farm(pump_hours=float(n)),
    "days": lambda farm, n: farm.add_days(1, [day(LATER, rain_mm=n)], import_id=1, replace=[LATER]),
    "correction": lambda farm, n: farm.correct_day(1, LATER, "rain_mm", float(n), "", NOW),
    "low and high": lambda farm, n: farm.type_temperatures(1, LATER, n, n + 10.0, NOW),
    "forecast": lambda farm, n: farm.add_forecast(1, D, [day(LATER, rain_mm=n)]),
    "typed rain": lambda farm, n: farm.type_rain(f"gauge {n % 2}", D, float(n), NOW),
    "withdrawn": lambda farm, n: farm.withdraw_import(1),
}


class Stop(Exception):
    pass


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(st.sampled_from(sorted(EDITS)), st.integers(1, 9), st.booleans()),
                min_size=1, max_size=12))  # fmt: skip
def test_a_snapshot_equals_a_fresh_reading_after_any_edits(
    edits: list[tuple[str, int, bool]],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "farm.gpkg"
        with FarmFile.create(path, three_blocks(), now=NOW) as farm:
            fill(farm)
            version = farm.read().version
            for name, n, fails in edits:
                before = plain(farm.read())
                try:
                    with farm.transaction(name, now=NOW):
                        EDITS[name](farm, n)
                        inside = plain(farm.read())
                        if fails:
                            raise Stop
                except Stop:
                    assert plain(farm.read()) == before
                else:
                    version += 1
                    assert plain(farm.read()) == inside
                with FarmFile.open(path, read_only=True) as other:
                    fresh = other.read()
                    assert other.check() == []
                assert plain(farm.read()) == plain(fresh)
                assert farm.read().version == fresh.version == version


def test_an_edit_of_one_block_leaves_the_rest_unread(farm: FarmFile) -> None:
    before = farm.read()
    with farm.transaction("edit", now=NOW):
        farm.save_block(dataclasses.replace(before.orchard.blocks[0], note="new"))
    queries: list[str] = []
    farm._db.set_trace_callback(queries.append)
    after = farm.read()
    farm._db.set_trace_callback(None)
    assert after.orchard.blocks[0].note == "new"
    assert after.orchard.blocks[1] is before.orchard.blocks[1]
    assert after.records["Ridge"] is before.records["Ridge"]
    assert not [q for q in queries if " days " in q or " ran " in q or " given_sets " in q]


def test_a_change_by_another_program_is_seen(farm: FarmFile, path: Path) -> None:
    farm.read()
    other = sqlite3.connect(path)
    with other:
        other.execute("UPDATE blocks SET name = 'Renamed in a map program' WHERE fid = 1")
        other.execute("UPDATE days SET rain_mm = 77 WHERE date = '2026-02-28'")
    other.close()
    assert farm.read().orchard.blocks[0].name == "Renamed in a map program"
    assert farm.read().records["Ridge"].day(dt.date(2026, 2, 28))["rain_mm"] == 77


def test_every_action_is_one_version_and_one_history_row(farm: FarmFile) -> None:
    version = farm.version()
    with farm.transaction("block.saved", now=NOW, block="Low", date=D, hours=1.5) as same:
        assert same is farm
        farm.save_block(Block(name="A"))
        farm.save_block(Block(name="B"))
    with pytest.raises(Stop), farm.transaction("never", now=NOW):
        farm.save_block(Block(name="C"))
        raise Stop
    assert farm.version() == version + 1
    assert farm.history(2) == [
        (NOW, "block.saved", {"block": "Low", "date": "2026-03-01", "hours": 1.5}),
        (NOW, "filled", {}),
    ]
    assert [b.name for b in farm.read().orchard.blocks][3:] == ["A", "B"]


def test_saving_outside_or_twice_inside_a_transaction_is_a_mistake(farm: FarmFile) -> None:
    with pytest.raises(RuntimeError):
        farm.save_block(Block(name="A"))
    with pytest.raises(RuntimeError), farm.transaction("a", now=NOW):
        farm.save_farm(pump_hours=3.0)
        with farm.transaction("b", now=NOW):
            pass
    assert farm.read().orchard.pump_hours is None


def test_arrays_of_a_snapshot_cannot_be_changed(farm: FarmFile) -> None:
    with pytest.raises(ValueError, match="read-only"):
        farm.read().records["Ridge"].values["rain_mm"][0] = 5


def test_threads_wait_for_each_other(farm: FarmFile) -> None:
    """Ten threads save and read; every save counts and no reader meets half a save."""
    halves: list[Any] = []

    def work(n: int) -> None:
        for _ in range(5):
            with farm.transaction("both", now=NOW):
                for block_id in (1, 2):
                    farm.set_pin(Pin(block_id, D, float(n)))
            hours = {p.hours for p in farm.read().pins}
            if len(hours) != 1:
                halves.append(hours)

    before = farm.version()
    threads = [threading.Thread(target=work, args=(n,)) for n in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert halves == []
    assert farm.version() == before + 50


def test_a_deleted_block_comes_back_with_what_ran_on_it(farm: FarmFile) -> None:
    before = farm.read()
    with farm.transaction("delete", now=NOW):
        farm.delete_block(1)
    gone = farm.read()
    assert {r.block_id for r in gone.ran} == {2}
    assert {s.block_id for s in gone.given[0].sets} == {2}
    with farm.transaction("other", now=NOW):
        assert farm.save_block(Block(name="Other")) == 4  # an id is never used again
        farm.delete_block(4)
    with farm.transaction("undo", now=NOW):
        assert farm.save_block(before.orchard.blocks[0]) == 1
    assert plain(farm.read()) == plain(before)
    assert farm.check() == []
    with sqlite3.connect(farm.path) as other:
        other.execute("DELETE FROM blocks WHERE fid = 1")
    other.close()
    assert "farmfile.block_lost" in {note.code for note in farm.check()}


def test_what_ran_before_stays_on_file(farm: FarmFile) -> None:
    with farm.transaction("ran", now=NOW):
        farm.set_ran(1, D, [Ran(1, D, hours=5.0)])
    assert [r.hours for r in farm.read().ran if r.block_id == 1] == [5.0]
    rows = farm._db.execute("SELECT hours, m3, in_use FROM ran WHERE block_id = 1 ORDER BY id")
    assert rows.fetchall() == [(2.0, None, 0), (None, 11.5, 0), (5.0, None, 1)]


def test_a_week_handed_out_is_never_changed(farm: FarmFile) -> None:
    with farm.transaction("again", now=NOW):
        assert farm.add_given_week(week(0, 1)) == 2
        assert farm.add_given_week(week(9, 1)) == 9
    with pytest.raises(Refused, match="week_number_taken"), farm.transaction("x", now=NOW):
        farm.add_given_week(week(2, 3))
    with farm.transaction("undo", now=NOW):
        farm.take_back_week(9)
        assert farm.add_given_week(week(0, 1)) == 10
    assert [w.number for w in farm.read().given] == [1, 2, 10]


def test_pins_are_cleared_by_block_by_day_and_before_a_day(farm: FarmFile) -> None:
    def pins_left(**which: Any) -> set[tuple[int, int]]:
        with farm.transaction("pins", now=NOW):
            for block_id in (1, 2):
                for n in (0, 1):
                    farm.set_pin(Pin(block_id, D + dt.timedelta(n), 1.0))
            farm.clear_pins(**which)
        return {(p.block_id, (p.date - D).days) for p in farm.read().pins}

    assert pins_left(block_id=1) == {(2, 0), (2, 1)}
    assert pins_left(date=D) == {(1, 1), (2, 1)}
    assert pins_left(block_id=1, date=D) == {(1, 1), (2, 0), (2, 1)}
    assert pins_left(before=LATER) == {(1, 1), (2, 1)}
    assert pins_left() == set()


@pytest.mark.parametrize("name", ["north", " NORTH ", "ñandú  2", "ÑANDÚ 2"])
def test_two_blocks_cannot_share_a_name(farm: FarmFile, name: str) -> None:
    with pytest.raises(Refused, match="block_name_taken"), farm.transaction("x", now=NOW):
        farm.save_block(Block(name=name))


def test_a_name_is_free_again_after_a_rename_a_deletion_or_a_rollback(farm: FarmFile) -> None:
    north = farm.read().orchard.blocks[0]
    with pytest.raises(Stop), farm.transaction("x", now=NOW):
        farm.save_block(dataclasses.replace(north, name="South"))
        raise Stop
    with pytest.raises(Refused, match="block_name_taken"), farm.transaction("x", now=NOW):
        farm.save_block(Block(name="North"))
    with farm.transaction("x", now=NOW):
        farm.save_block(dataclasses.replace(north, name="South"))
        farm.save_block(Block(name="North"))
        farm.delete_block(3)
        farm.save_block(Block(name="LOW"))
    assert [b.name for b in farm.read().orchard.blocks] == ["South", "Ñandú 2", "North", "LOW"]


@pytest.mark.parametrize(
    "outline",
    [square().boundary, square().centroid, square().difference(square()),
     type(square())([(0, 0), (10, 10), (10, 0), (0, 10)])],
    ids=["line", "point", "empty", "crossing"],
)  # fmt: skip
def test_an_outline_that_is_none_is_refused(farm: FarmFile, outline: Any) -> None:
    with pytest.raises(Refused, match="bad_outline"), farm.transaction("x", now=NOW):
        farm.save_block(Block(name="A", outline=outline))
    assert len(farm.read().orchard.blocks) == 3


def test_rows_need_a_block_and_a_station_that_are_there(farm: FarmFile) -> None:
    for save in (
        lambda: farm.set_ran(99, D, [Ran(99, D, hours=1.0)]),
        lambda: farm.set_pin(Pin(99, D, 1.0)),
        lambda: farm.add_given_week(week(0, 99)),
        lambda: farm.delete_block(99),
    ):
        with pytest.raises(Refused, match="block_gone"), farm.transaction("x", now=NOW):
            save()
    with pytest.raises(Refused, match="station_gone"), farm.transaction("x", now=NOW):
        farm.add_days(99, [day(D)], import_id=None)


def test_blocks_follow_a_station_that_is_renamed(farm: FarmFile) -> None:
    with farm.transaction("x", now=NOW):
        farm.save_farm(default_station="RIDGE")
        farm.save_station(Station(name="Crest", id=1))
    got = farm.read()
    assert [b.station for b in got.orchard.blocks] == [None, "Crest", None]
    assert got.orchard.default_station == "Crest"
    assert list(got.records) == ["Crest"]


def test_a_station_with_days_stays(farm: FarmFile) -> None:
    with farm.transaction("x", now=NOW):
        new = farm.add_station(Station(name="Valley"))
    with pytest.raises(Refused, match="station_has_days"), farm.transaction("x", now=NOW):
        farm.delete_station(1)
    with farm.transaction("x", now=NOW):
        farm.delete_station(new)
    assert [s.name for s in farm.read().orchard.stations] == ["Ridge"]


def test_the_farm_moves_only_while_it_has_no_outlines(path: Path) -> None:
    with FarmFile.create(path, orchard(Block(name="A", area_ha=1.0)), now=NOW) as farm:
        assert farm.read().orchard.epsg == 32736
        with farm.transaction("x", now=NOW):
            farm.save_farm(epsg=32719)
            farm.save_block(Block(name="A", id=1, outline=square()))
        systems = farm._db.execute("SELECT srs_id FROM gpkg_geometry_columns").fetchall()
        assert systems == [(32719,)]
        (blob,) = farm._db.execute("SELECT geom FROM blocks").fetchone()
        assert int.from_bytes(blob[4:8], "little") == 32719
        with pytest.raises(Refused, match="outlines_elsewhere"), farm.transaction("x", now=NOW):
            farm.save_farm(epsg=32736)
        assert farm.read().orchard.epsg == 32719
