"""Trees, dates and flows of the demo farm."""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pytest
import rasterio
import shapely

from waterbudget import season
from waterbudget.demo import hillside, maps, planting, weather
from waterbudget.demo.estate import unwatered
from waterbudget.demo.place import DEMO_DATE, FARM_SETTINGS
from waterbudget.orchard import BLOCK_KEYS, read_value

ROWS = {r["name"]: r for r in planting.rows()}


@pytest.fixture(scope="module")
def dry():
    return season.run(unwatered(weather.invent()), DEMO_DATE)


def test_every_block_has_its_row_and_only_known_keys():
    assert list(ROWS) == list(maps.utm())
    for row in ROWS.values():
        for key, text in row.items():
            if key != "name" and text:
                read_value(BLOCK_KEYS[key], text)


def test_every_stage_is_on_the_farm(dry):
    stages = {}
    for block in dry.blocks:
        stages.setdefault(dry.stage(block), []).append(block.block.name)
    assert {"pruned", "shoots", "bloom", "set", "fill", "harvest", "rest", "young"} <= set(stages)
    assert 3 <= len(stages["fill"]) <= 5
    assert stages["pruned"] == ["Wedge"]
    assert stages["young"] == ["New steps"]


def test_four_groups_pruned_together():
    names = [n for group in planting.PRUNED_TOGETHER for n in group]
    assert sorted([*names, "New steps"]) == sorted(ROWS)
    ends = []
    for group in planting.PRUNED_TOGETHER:
        days = [dt.date.fromisoformat(ROWS[n]["pruned_on"]) for n in group]
        assert (max(days) - min(days)).days <= 60
        ends.append((min(days), max(days)))
    for (_, last), (first, _) in itertools.pairwise(ends):
        assert last < first


def test_each_pruning_follows_a_finished_harvest(dry):
    for block in dry.blocks:
        for before, after in itertools.pairwise(block.clock.cycles):
            rest = before.starts.get("rest")
            if before.cycle.pruned_on < weather.STORY_DAY:
                continue
            assert rest is not None, (block.block.name, before.cycle.pruned_on)
            assert 8 <= (after.cycle.pruned_on - rest).days <= 50, block.block.name


def test_cycles_are_of_sensible_length_and_cover_the_record(dry):
    for block in dry.blocks:
        pruned = [c.pruned_on for c in block.block.cycles]
        if not pruned:
            continue
        gaps = np.diff([d.toordinal() for d in pruned])
        assert gaps.min() >= 230 and gaps.max() <= 310, block.block.name
        assert pruned[0] <= weather.STORY_DAY + dt.timedelta(days=31), block.block.name


def test_seen_dates_are_near_what_the_clock_says(dry):
    seen = 0
    for block in dry.blocks:
        for cycle in block.clock.cycles:
            for stage, model in cycle.model.items():
                found = getattr(cycle.cycle, f"seen_{stage}")
                assert abs((found - model).days) <= 10, (block.block.name, stage)
                seen += 1
    assert seen >= 15


def test_elevation_is_the_mean_of_the_cells_inside(tmp_path):
    path = tmp_path / "hillside.tif"
    hillside.write_height_file(path)
    with rasterio.open(path) as file:
        values = file.read(1)
        for name in ("Weir", "Broken cart", "Tin roof"):
            outline = maps.utm()[name]
            west, south, east, north = outline.bounds
            (top, left), (bottom, right) = file.index(west, north), file.index(east, south)
            inside = [
                values[row, column]
                for row in range(top, bottom + 1)
                for column in range(left, right + 1)
                if outline.contains(shapely.Point(file.xy(row, column)))
            ]
            assert len(inside) > 50
            assert float(ROWS[name]["elevation_m"]) == pytest.approx(np.mean(inside), abs=0.6)


def test_trees_fit_the_ground():
    for name, row in ROWS.items():
        per_ha = int(row["trees"]) / planting.hectares()[name]
        square = 10_000 / float(row["spacing_m"]) / float(row["row_spacing_m"])
        assert 0.88 * square < per_ha < 0.97 * square


def test_measured_flows_are_near_the_catalogue_and_under_the_pump():
    measured = 0
    for row in ROWS.values():
        catalogue = (
            int(row["trees"]) * float(row["outlets_per_tree"]) * float(row["outlet_l_h"]) / 1000
        )
        assert catalogue < float(FARM_SETTINGS["pump_m3_h"])
        if row["flow_m3_h"]:
            measured += 1
            assert 0.88 < float(row["flow_m3_h"]) / catalogue < 1.0
        else:
            assert row["flow_from"] == "catalogue"
    assert measured == 14


def test_two_soils_two_systems_two_people():
    for key, count in (("soil", 2), ("system", 2), ("valve_person", 2), ("flow_from", 3)):
        assert len({r[key] for r in ROWS.values()}) == count
    assert len({r["valve"] for r in ROWS.values()}) == 16
