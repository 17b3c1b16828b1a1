"""Blocks cut, joined and reshaped: one transaction each, and back exactly as it was."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
import shapely
from shapely.geometry import LineString, Polygon, box

from waterbudget import actions
from waterbudget.errors import Refused
from waterbudget.outlines import bench
from waterbudget.store import FarmFile

EAST, NORTH = 468_600.0, 7_799_500.0


def rect(x: float, y: float, wide: float, high: float) -> Polygon:
    return box(EAST + x, NORTH + y, EAST + x + wide, NORTH + y + high)


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


ACROSS = LineString([(EAST + 70, NORTH - 5), (EAST + 70, NORTH + 105)])


@pytest.fixture
def land(file: FarmFile, now: dt.datetime) -> FarmFile:
    """Two blocks side by side; Top has settings, cycles and waterings."""
    actions.set_outline(file, "Top", rect(0, 0, 100, 100), now=now)
    actions.set_outline(file, "Low", rect(100, 0, 60, 100), now=now)
    keys = {"trees": "625", "pruned_on": "2025-06-10", "kcb_fill": "0.7", "valve": "V1"}
    actions.set_block(file, "Top", {k: v for k, v in keys.items() if k != "kcb_fill"}, now=now)
    actions.enter_ran(file, "Top", dt.date(2025, 7, 8), hours=3.0, now=now)
    actions.enter_ran(file, "Top", dt.date(2025, 7, 10), m3=60.0, now=now)
    return file


def state(file: FarmFile):
    """Everything but the number that counts edits; rows of what ran without their numbers."""
    data = file.read()
    ran = sorted((r.block_id, r.date, r.hours or 0, r.m3 or 0) for r in data.ran)
    return replace(data, version=0, ran=()), ran


def history(file: FarmFile) -> int:
    return file.read().version


def test_a_cut_shares_what_belongs_to_the_ground(land: FarmFile, now: dt.datetime) -> None:
    before, at = state(land), history(land)
    done = actions.split_block(land, "Top", ACROSS, ("Top", "Top east"), now=now)
    assert history(land) == at + 1
    old, new = done.after
    assert (old.name, new.name) == ("Top", "Top east") and old.id == done.before[0].id
    assert old.hectares == pytest.approx(0.7, rel=2e-3)
    assert new.hectares == pytest.approx(0.3, rel=2e-3)
    assert old.flow_m3_h + new.flow_m3_h == pytest.approx(20)
    assert old.flow_m3_h / old.hectares == pytest.approx(new.flow_m3_h / new.hectares, rel=1e-3)
    assert old.trees + new.trees == 625 and old.trees == pytest.approx(437.5, abs=1)
    for key in ("soil", "system", "cycles", "valve", "stage_numbers"):
        assert getattr(old, key) == getattr(new, key) == getattr(done.before[0], key)
    assert {n.code for n in done.notes} == {"land.shared_water", "land.split_ran"}
    actions.put_back(land, done, now=now)
    assert state(land) == before and history(land) == at + 2


def test_both_parts_got_the_millimetres_of_the_whole(land: FarmFile, now: dt.datetime) -> None:
    done = actions.split_block(land, "Top", ACROSS, ("Top", "Top east"), now=now)
    ran = land.read().ran
    for day in (dt.date(2025, 7, 8), dt.date(2025, 7, 10)):
        depths = []
        for block in done.after:
            (entry,) = [r for r in ran if r.block_id == block.id and r.date == day]
            m3 = entry.m3 if entry.m3 is not None else entry.hours * block.flow_m3_h
            depths.append(m3 / block.hectares)
        assert depths[0] == pytest.approx(depths[1], rel=1e-3)
        assert depths[0] == pytest.approx(60 / done.before[0].hectares, rel=1e-3)


def test_a_cut_is_refused_whole(land: FarmFile, now: dt.datetime) -> None:
    before = state(land), history(land)
    beside = LineString([(EAST - 10, NORTH - 20), (EAST + 200, NORTH - 20)])
    with refused("bench.no_cut"):
        actions.split_block(land, "Top", beside, ("Top", "East"), now=now)
    for names in (("Top", "Low"), ("Low", "East"), ("East", "EAST"), ("Top", "top")):
        with refused("block.exists"):
            actions.split_block(land, "Top", ACROSS, names, now=now)
    with refused("block.no_name"):
        actions.split_block(land, "Top", ACROSS, ("Top", " "), now=now)
    actions.set_block(land, "Bare", {}, new=True, now=now)
    with refused("bench.no_outline"):
        actions.split_block(land, "Bare", ACROSS, ("Bare", "East"), now=now)
    actions.delete_block(land, "Bare", now=now)
    assert state(land) == before[0]


def test_joining_keeps_the_first_and_comes_apart_again(land: FarmFile, now: dt.datetime) -> None:
    actions.set_block(land, "Low", {"soil": "clay", "trees": "375"}, now=now)
    actions.enter_ran(land, "Low", dt.date(2025, 7, 9), hours=2.0, now=now)
    before, at = state(land), history(land)
    done = actions.merge_blocks(land, "Top", "Low", now=now)
    assert history(land) == at + 1
    (whole,) = done.after
    assert [b.name for b in land.read().orchard.blocks] == ["Top"]
    assert whole.outline.equals(rect(0, 0, 160, 100))
    assert (whole.soil, whole.trees, whole.flow_m3_h) == ("loam", 1000, 40)
    codes = {n.code: n for n in done.notes}
    assert "soil" in codes["land.joined_differ"].fields["keys"]
    assert "land.joined_flow" in codes
    actions.put_back(land, done, now=now)
    assert state(land) == before


def test_blocks_apart_or_one_block_are_not_joined(land: FarmFile, now: dt.datetime) -> None:
    with refused("bench.one_block"):
        actions.merge_blocks(land, "Top", "top", now=now)
    actions.set_outline(land, "Low", rect(130, 0, 60, 100), now=now)
    before = state(land)
    with refused("bench.apart"):
        actions.merge_blocks(land, "Top", "Low", now=now)
    assert state(land) == before


def test_a_piece_is_cut_out_and_put_back(land: FarmFile, now: dt.datetime) -> None:
    before = state(land)
    done = actions.cut_hole(land, "Top", rect(40, 40, 20, 20), now=now)
    assert done.after[0].hectares == pytest.approx(0.96, rel=2e-3)
    actions.put_back(land, done, now=now)
    assert state(land) == before
    with refused("bench.hole_outside"):
        actions.cut_hole(land, "Top", rect(90, 40, 20, 20), now=now)


def test_a_shared_corner_moves_in_both_or_in_those_named(land: FarmFile, now: dt.datetime) -> None:
    before, at = state(land), history(land)
    here, there = (EAST + 100, NORTH + 100), (EAST + 110, NORTH + 108)
    done = actions.move_shared_corner(land, here, there, now=now)
    assert {b.name for b in done.after} == {"Top", "Low"} and history(land) == at + 1
    top, low = (land.read().orchard.block(n).outline for n in ("Top", "Low"))
    assert top.intersection(low).area < 1e-6
    assert shapely.union_all([top, low]).geom_type == "Polygon"
    actions.put_back(land, done, now=now)
    assert state(land) == before
    alone = actions.move_shared_corner(land, here, there, blocks=["Top"], now=now)
    assert [b.name for b in alone.after] == ["Top"]


def test_a_move_that_would_spoil_a_neighbour_names_it(land: FarmFile, now: dt.datetime) -> None:
    before = state(land)
    with pytest.raises(Refused) as fault:
        actions.move_shared_corner(land, (EAST + 100, NORTH + 100), (EAST + 200, NORTH + 60),
                                   now=now)  # fmt: skip
    assert (fault.value.code, fault.value.fields["block"]) == ("bench.not_valid_after", "Low")
    assert state(land) == before


def test_several_outlines_in_one_step_all_or_none(land: FarmFile, now: dt.datetime) -> None:
    before, at = state(land), history(land)
    bow = Polygon([(EAST, NORTH), (EAST + 50, NORTH + 50), (EAST + 50, NORTH), (EAST, NORTH + 50)])
    with refused("outlines.crosses"):
        actions.set_outlines(land, {"Top": rect(0, 0, 90, 90), "Low": bow}, now=now)
    assert state(land) == before
    done = actions.set_outlines(
        land, {"Top": rect(0, 0, 90, 90), "Low": rect(90, 0, 50, 50)}, now=now
    )
    assert history(land) == at + 1 and len(done.after) == 2
    actions.put_back(land, done, now=now)
    assert state(land) == before


def test_gaps_to_neighbours_are_closed_and_told(land: FarmFile, now: dt.datetime) -> None:
    actions.set_outline(land, "Low", rect(100.8, 0.4, 60, 100), now=now)
    before = state(land)
    done = actions.close_gaps(land, "Low", 1.0, now=now)
    assert done.notes[0].fields["count"] == 2
    shared = done.after[0].outline.intersection(land.read().orchard.block("Top").outline)
    assert shared.length == pytest.approx(100) and shared.area < 1e-6
    actions.put_back(land, done, now=now)
    assert state(land) == before
    with refused("bench.nothing_near"):
        actions.close_gaps(land, "Low", 0.2, now=now)
    for reach in (0.0, -1.0, 30.0, float("nan")):
        with refused("bench.bad_reach"):
            actions.close_gaps(land, "Low", reach, now=now)


def test_a_line_from_corner_to_corner_cuts(land: FarmFile, now: dt.datetime) -> None:
    line = bench.corner_line(land.read().orchard.block("Top").outline, 1, 3)
    done = actions.split_block(land, "Top", line, ("Top", "Half"), now=now)
    assert [b.hectares for b in done.after] == pytest.approx([0.5, 0.5], rel=2e-3)
    low = land.read().orchard.block("Low").outline
    for pair in ((1, 1), (0, 2), (1, 9)):
        with refused("bench.corner_numbers"):
            bench.corner_line(low, *pair)
