"""Blocks: all keys or none, cycles, names, CSV files, outlines drawn and taken away."""

from __future__ import annotations

import datetime as dt

import pytest
from shapely.geometry import Point, Polygon, box

from waterbudget import actions, outlines
from waterbudget.errors import Refused

D = dt.date


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


def cycles(file, name="Top"):
    return [c.pruned_on for c in file.read().orchard.block(name).cycles]


def test_all_keys_of_a_call_or_none(file, now):
    before = file.read()
    with refused("key.bad_choice"):
        actions.set_block(file, "Top", {"area_ha": "2", "soil": "cheese"}, now=now)
    assert file.read() == before
    block, _ = actions.set_block(file, "top ", {"area_ha": "2", "soil": "clay"}, now=now)
    assert (block.name, block.area_ha, block.soil) == ("Top", 2.0, "clay")
    block, _ = actions.set_block(file, "TOP", {"soil": ""}, now=now)
    assert (block.area_ha, block.soil) == (2.0, None)


@pytest.mark.parametrize(
    "name", ["high ridge", "  HIGH  Ridge ", "High\nRIDGE", "caf\u00e9", "CAFE\u0301"]
)
def test_one_name_one_block(file, now, name):
    for taken in ("High Ridge", "Cafe\u0301"):
        actions.set_block(file, taken, {}, new=True, now=now)
    with refused("block.exists"):
        actions.set_block(file, name, {}, new=True, now=now)


@pytest.mark.parametrize("name", ["", "   ", "\n"])
def test_a_block_needs_a_name(file, now, name):
    with refused("block.no_name"):
        actions.set_block(file, name, {}, new=True, now=now)


@pytest.mark.parametrize(
    ("key", "text"),
    [("area_ha", "1_000"), ("area_ha", "١"), ("area_ha", "0x10"), ("area_ha", "1,2"),
     ("area_ha", "inf"), ("area_ha", "1e999"), ("trees", "1.5"), ("pruned_on", "2025-7-1"),
     ("pruned_on", "1899-12-31"), ("pruned_on", "2200-01-01"), ("planted_on", "01/07/2025")],
)  # fmt: skip
def test_what_is_no_value_is_refused(file, now, key, text):
    before = file.read()
    with pytest.raises(Refused) as fault:
        actions.set_block(file, "Top", {key: text}, now=now)
    assert fault.value.fields["key"] == key
    assert file.read() == before


@pytest.mark.parametrize(
    ("key", "code"),
    [("pruned_on", "block.pruned_in_future"), ("seen_fill", "block.seen_in_future"),
     ("full_on", "block.seen_in_future"), ("planted_on", "block.seen_in_future")],
)  # fmt: skip
def test_what_has_not_come_cannot_have_been_seen(file, now, key, code):
    actions.set_block(file, "Low", {"pruned_on": "2025-02-01"}, now=now)
    pairs = {key: "2025-07-20"}
    with refused(code):
        actions.set_block(file, "Top" if key in ("pruned_on", "planted_on") else "Low", pairs,
                          now=now)  # fmt: skip


def test_an_end_of_harvest_may_be_planned(file, now):
    pairs = {"pruned_on": "2025-02-01", "harvest_end": "2025-09-30"}
    block, _ = actions.set_block(file, "Top", pairs, now=now)
    assert block.cycles[-1].harvest_end == D(2025, 9, 30)


def test_a_near_date_corrects_the_cycle_and_a_far_one_begins_another(file, now):
    actions.set_block(file, "Top", {"pruned_on": "2025-01-01"}, now=now)
    _, notes = actions.set_block(file, "Top", {"pruned_on": "2025-01-31"}, now=now)
    assert cycles(file) == [D(2025, 1, 31)] and not notes
    _, notes = actions.set_block(file, "Top", {"pruned_on": "2025-03-03"}, now=now)
    assert cycles(file) == [D(2025, 1, 31), D(2025, 3, 3)]
    assert [n.code for n in notes] == ["block.new_cycle"]
    with refused("block.pruned_before_last_cycle"):
        actions.set_block(file, "Top", {"pruned_on": "2025-01-31"}, now=now)
    actions.set_block(file, "Top", {"pruned_on": ""}, now=now)
    assert cycles(file) == [D(2025, 1, 31)]


def test_a_seen_date_belongs_to_the_cycle_it_falls_into(file, now):
    pairs = {"pruned_earlier": "2024-06-01", "pruned_on": "2025-03-01"}
    actions.set_block(file, "Top", pairs, now=now)
    actions.set_block(file, "Top", {"seen_bloom": "2024-09-01"}, now=now)
    actions.set_block(file, "Top", {"seen_bloom": "2025-05-20"}, now=now)
    old, new = file.read().orchard.block("Top").cycles
    assert (old.seen_bloom, new.seen_bloom) == (D(2024, 9, 1), D(2025, 5, 20))
    actions.set_block(file, "Top", {"seen_bloom": ""}, now=now)
    old, new = file.read().orchard.block("Top").cycles
    assert (old.seen_bloom, new.seen_bloom) == (D(2024, 9, 1), None)
    with refused("block.seen_before_pruning"):
        actions.set_block(file, "Top", {"seen_set": "2024-06-01"}, now=now)
    with refused("cycle.out_of_order"):
        pairs = {"seen_bloom": "2025-05-20", "seen_set": "2025-05-20"}
        actions.set_block(file, "Top", pairs, now=now)


def test_a_seen_date_needs_a_pruning(file, now):
    with refused("block.seen_without_cycle"):
        actions.set_block(file, "Top", {"seen_bloom": "2025-05-20"}, now=now)


def test_a_station_must_be_there_and_a_gauge_is_made(file, now):
    with refused("station.unknown"):
        actions.set_block(file, "Top", {"station": "Nowhere"}, now=now)
    block, _ = actions.set_block(file, "Top", {"station": " HOUSE", "gauge": "hill"}, now=now)
    assert block.station == "House"
    assert file.read().orchard.gauges == ("hill",)


def test_another_programs_save_in_between_is_not_lost(file, now, monkeypatch):
    """The block is read inside the transaction, not before it."""
    began = type(file)._begin

    def late(self, what, at, fields):
        began(self, what, at, fields)
        if what == "block.set":  # what another program had saved just before
            self._db.execute("UPDATE blocks SET soil = 'clay' WHERE name = 'Top'")
            self._cache.clear()

    monkeypatch.setattr(type(file), "_begin", late)
    block, _ = actions.set_block(file, "Top", {"trees": "333"}, now=now)
    assert (block.soil, block.trees) == ("clay", 333)


CSV_CASES = [
    ("name,area_ha\nTop,2\nNew,3\n", [("Top", 2), ("New", 3)]),
    ("\ufeffname,area_ha\r\nTop,2\r\n", [("Top", 2)]),
    ("Block;area_ha\ntop ;2\n", [("Top", 2)]),
    ('name,area_ha\n"East, upper",4\n\n', [("East, upper", 4)]),
    ("name,area_ha,soil\nTop,,clay\n", [("Top", 1)]),  # an empty cell changes nothing
]


@pytest.mark.parametrize(("text", "areas"), CSV_CASES)
def test_blocks_csv(file, now, tmp_path, text, areas):
    path = tmp_path / "blocks.csv"
    path.write_bytes(text.encode())
    done = actions.import_blocks_csv(file, path, now=now)
    assert [(b.name, b.area_ha) for b in done] == areas


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("name,area_ha\nTop,2\nB,-1\n", "csv.row", 3),
        ("name,area_ha\nTop,2\n top,3\n", "csv.block_twice", 3),
        ("name,area_ha\n,2\n", "csv.no_name", 2),
        ("name,area_ha\nTop,2,3\n", "csv.too_many_cells", 2),
        ("name,area_ha,area_ha\nTop,2,3\n", "csv.column_twice", None),
        ("name,colour\nTop,red\n", "csv.unknown_column", None),
        ("area_ha\n2\n", "csv.no_name_column", None),
        ("name,area_ha\n", "csv.empty", None),
        ("name,station\nTop,Nowhere\n", "csv.row", 2),
        ("name,area_ha\nTop,2\0\n", "file.not_text", None),
    ],
)
def test_a_bad_blocks_csv_stores_nothing(file, now, tmp_path, text, code, line):
    path = tmp_path / "blocks.csv"
    path.write_text(text)
    before = file.read()
    with refused(code) as fault:
        actions.import_blocks_csv(file, path, now=now)
    assert fault.value.fields.get("line") == line
    assert file.read() == before


def test_drawn_moved_and_taken_away(file, now):
    orchard = file.read().orchard
    here = outlines.from_lonlat(Point(orchard.lon, orchard.lat), orchard.epsg)
    x, y = here.x, here.y
    drawn = actions.draw_block(file, "Drawn", box(x, y, x + 100, y + 100), now=now)
    assert drawn.hectares == pytest.approx(1.0, rel=2e-3)
    with refused("block.area_with_outline"):
        actions.set_block(file, "Drawn", {"area_ha": "3"}, now=now)
    bow = Polygon([(x, y), (x + 100, y + 100), (x + 100, y), (x, y + 100)])
    with pytest.raises(Refused):
        actions.set_outline(file, "Drawn", bow, now=now)
    assert file.read().orchard.block("Drawn") == drawn
    bare = actions.set_outline(file, "Drawn", None, now=now)
    assert bare.outline is None and bare.hectares == pytest.approx(drawn.hectares, abs=1e-4)


def test_rename_delete_and_put_back(file, now):
    with refused("block.exists"):
        actions.rename_block(file, "Top", "low", now=now)
    assert actions.rename_block(file, "Top", "TOP", now=now).name == "TOP"
    actions.enter_ran(file, "TOP", D(2025, 7, 1), hours=2, now=now)
    before = file.read()
    gone = actions.delete_block(file, "TOP", now=now)
    assert [b.name for b in file.read().orchard.blocks] == ["Low"] and not file.read().ran
    assert actions.restore_block(file, gone, now=now) == gone
    assert file.read().orchard == before.orchard and file.read().ran == before.ran
