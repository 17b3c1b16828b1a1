"""Layouts kept, marks, comparisons and exports on a farm file, with their way back."""

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, box

from waterbudget import actions
from waterbudget.errors import Refused
from waterbudget.orchard import Block
from waterbudget.records import LandMark

EPSG, EAST, NORTH = 32736, 468_600.0, 7_799_500.0


@pytest.fixture
def hill(bare, now, tmp_path):
    """A block of 1.2 ha on a slope of a fifth that falls to the south, and its height file."""
    block = Block(name="Ridge", outline=box(EAST, NORTH, EAST + 120, NORTH + 100), spacing_m=4.0)
    with bare.transaction("block.new", now=now, block="Ridge"):
        bare.save_block(block)
    return bare


@pytest.fixture
def heights(tmp_path) -> Path:
    import rasterio
    from rasterio.transform import Affine

    path = tmp_path / "land.tif"
    z = np.repeat((1000 + 0.2 * (250 - (np.arange(60) + 0.5) * 5.0))[:, None], 60, axis=1)
    with rasterio.open(path, "w", driver="GTiff", height=60, width=60, count=1, dtype="float64",
                       crs=f"EPSG:{EPSG}", transform=Affine(5, 0, EAST - 90, 0, -5, NORTH + 200),
                       ) as out:  # fmt: skip
        out.write(z[None])
    return path


def ridge(file):
    return file.read().orchard.block("Ridge")


def test_a_layout_is_kept_and_taken_back(hill, now):
    before = ridge(hill)
    was, made = actions.store_layout(
        hill, "Ridge", {"pattern": "triangle", "setback_m": 3.0}, now=now
    )
    kept = ridge(hill)
    assert (kept.pattern, kept.setback_m, kept.row_spacing_m) == ("triangle", 3.0, None)
    assert kept.row_bearing_deg == pytest.approx(made.planting.layout.bearing_deg, abs=1e-5)
    again = actions.look_at_trees(hill, "Ridge")
    assert again.planting.trees == made.planting.trees
    assert (
        np.hypot(again.planting.x - made.planting.x, again.planting.y - made.planting.y).max()
        < 1e-3
    )
    other = actions.set_block(hill, "Ridge", {"valve": "V3"}, now=now)[0]
    assert other.valve == "V3"
    actions.put_layout_back(hill, was, now=now)
    back = ridge(hill)
    assert (back.pattern, back.setback_m, back.grid_lat) == (
        None,
        None,
        None,
    ) and back.valve == "V3"
    assert before.spacing_m == back.spacing_m


def test_storing_with_a_height_file_keeps_the_slope_it_was_laid_on(hill, now, heights):
    _, made = actions.store_layout(hill, "Ridge", {"pattern": "square", "bearing_deg": 90.0},
                                   heights=heights, now=now)  # fmt: skip
    kept = ridge(hill)
    assert kept.slope_pct == pytest.approx(20.0, abs=0.1) and kept.aspect_deg in (180.0, 0.0)
    assert made.planting.plan_row_m == pytest.approx(4 / 1.0198, abs=0.001)
    assert actions.look_at_trees(hill, "Ridge").planting.trees == made.planting.trees


def test_contour_rows_take_the_height_file_that_is_remembered(hill, now, heights):
    wanted = {"pattern": "contour", "row_spacing_m": 5.0}
    with pytest.raises(Refused) as no:
        actions.look_at_trees(hill, "Ridge", wanted)
    assert no.value.code == "planting.no_heights"
    actions.store_heights(hill, heights, now=now)
    made = actions.look_at_trees(hill, "Ridge", wanted)
    assert made.planting.trees == pytest.approx(1.2 * 500 * 1.0198, rel=0.06)
    actions.store_layout(hill, "Ridge", wanted, now=now)
    assert (ridge(hill).pattern, ridge(hill).row_spacing_m) == ("contour", 5.0)
    codes = [n.code for n in actions.look_at_trees(hill, "Ridge").notes]
    assert "planting.contour_count" in codes and "planting.steep" in codes


def test_marks_come_and_go(hill, now):
    done = actions.mark_trees(hill, "Ridge", [(1, 2, "missing"), (2, 2, "replaced")], now=now)
    made = actions.look_at_trees(hill, "Ridge", on=now.date())
    assert (made.counts.missing, made.counts.replaced) == (1, 1)
    assert made.counts.living == made.planting.trees - 1
    over = actions.mark_trees(hill, "Ridge", [(1, 2, "living"), (2, 2, "missing")], now=now)
    assert {(m.row, m.state) for m in hill.read().tree_marks} == {(2, "missing")}
    actions.put_marks_back(hill, over, now=now)
    assert {(m.row, m.state) for m in hill.read().tree_marks} == {(1, "missing"), (2, "replaced")}
    actions.put_marks_back(hill, done, now=now)
    assert not hill.read().tree_marks
    for bad in ([(99, 1, "missing")], [(1, 99, "missing")], [(1, 1, "asleep")]):
        with pytest.raises(Refused):
            actions.mark_trees(hill, "Ridge", [(1, 1, "missing"), *bad], now=now)
    assert not hill.read().tree_marks
    assert actions.read_mark(" 12:7=Missing") == (12, 7, "missing")


def test_a_comparison_of_the_usual_layouts(hill, now):
    found = actions.compare_layouts(hill, "Ridge", actions.usual_layouts(hill, "Ridge", {}))
    assert [f.pattern for f in found] == ["square", "triangle", "rectangle"]
    square, triangle, rectangle = found
    assert triangle.trees > square.trees > rectangle.trees
    assert triangle.row_length_m > square.row_length_m > rectangle.row_length_m
    assert rectangle.row_spacing_m == 5.0
    with pytest.raises(Refused):
        actions.compare_layouts(hill, "Ridge", [{}], peak_et0_mm=-1.0)


def test_ground_without_trees_comes_and_goes(hill, now):
    road = LandMark(kind="road", width_m=6.0,
                    shape=LineString([(EAST, NORTH + 50), (EAST + 120, NORTH + 50)]))  # fmt: skip
    whole = actions.look_at_trees(hill, "Ridge").planting.trees
    kept = actions.add_land_mark(hill, road, now=now)
    assert actions.look_at_trees(hill, "Ridge").planting.trees == whole - 30
    row = actions.drop_land_mark(hill, kept.id, now=now)
    actions.add_land_mark(hill, row, now=now)
    actions.drop_land_mark(hill, kept, now=now)
    assert actions.look_at_trees(hill, "Ridge").planting.trees == whole
    with pytest.raises(Refused):
        actions.drop_land_mark(hill, kept.id, now=now)
    with pytest.raises(Refused):
        actions.add_land_mark(hill, LandMark(kind="sea", shape=road.shape), now=now)
    with pytest.raises(Refused):
        actions.add_land_mark(hill, LandMark(kind="road", shape=road.shape, width_m=-2), now=now)


def test_pegging_sheets(hill, tmp_path):
    made = actions.look_at_trees(hill, "Ridge", {"pattern": "triangle"})
    actions.write_pegs(made, tmp_path / "pegs.txt")
    text = (tmp_path / "pegs.txt").read_text()
    assert text.count("Row ") == made.planting.rows and "0.00, 4.00, 8.00" in text
    actions.write_pegs(made, tmp_path / "pegs.csv")
    lines = (tmp_path / "pegs.csv").read_text().splitlines()
    assert len(lines) == made.planting.trees + 1
    steps = [float(line.split(",")[3]) for line in lines[1:]]
    assert sum(steps) == pytest.approx(made.planting.row_length_m, abs=0.1)
    with pytest.raises(Refused):
        actions.write_pegs(made, tmp_path / "nowhere" / "pegs.txt")
    with pytest.raises(Refused):
        actions.write_trees(made, tmp_path / "nowhere" / "t.gpx")
