"""Raising the plants: dates and amounts by hand from the figures of common practice."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from orchard_samples import block, farm

from waterbudget import actions, nursery
from waterbudget.errors import Refused
from waterbudget.orchard import Orchard
from waterbudget.store import FarmFile

PLANT_ON = dt.date(2026, 6, 1)
NOW = dt.datetime(2026, 1, 5, 7)


def test_dates_count_back_from_the_day_of_planting() -> None:
    plan = nursery.raise_plants(500, PLANT_ON)
    assert [s.name for s in plan.steps] == ["sow", "prick", "graft", "plant"]
    # 122 days before 1 June is 30 January; 75 more is 16 November; 38 more is 9 October
    assert plan.step("graft").date == dt.date(2026, 1, 30)
    assert plan.step("prick").date == dt.date(2025, 11, 16)
    assert plan.step("sow").date == dt.date(2025, 10, 9)
    sow = plan.step("sow")
    assert (sow.earliest, sow.latest) == (
        dt.date(2025, 8, 20),
        dt.date(2025, 11, 16),
    )  # 285 and 197 days


def test_amounts_go_up_with_every_loss() -> None:
    plan = nursery.raise_plants(500, PLANT_ON)
    # 5 % spare: 525; 0.85 of the grafts take and 0.97 of them are good: 637; 0.95 live in the
    # bag: 671; two seeds at 0.75 leave one cell in sixteen empty: 716 cells, six trays of 128
    assert plan.step("plant").plants == 525
    assert (plan.grafts, plan.bags, plan.cells, plan.seeds, plan.trays) == (637, 671, 716, 1432, 6)
    # a bag 9 cm across and 30 cm deep holds 1.909 L, two parts of three are soil
    assert plan.bag_l == pytest.approx(1.9085, abs=1e-4)
    assert plan.soil_l == pytest.approx(671 * 1.9085 * 2 / 3, rel=1e-4)
    assert plan.husk_l == pytest.approx(plan.soil_l / 2)
    assert plan.stakes == 525
    assert plan.holes_m3 == pytest.approx(500 * 0.0100531, rel=1e-4)


@given(st.integers(1, 50_000), st.floats(0.3, 1.0), st.floats(0.2, 1.0))
def test_never_fewer_are_raised_than_are_wanted(trees: int, takes: float, sprouts: float) -> None:
    plan = nursery.raise_plants(
        trees, PLANT_ON, {"graft_share": takes, "germination_share": sprouts}
    )
    assert plan.seeds >= plan.cells >= plan.bags >= plan.grafts >= plan.step("plant").plants
    assert plan.step("plant").plants >= trees
    assert plan.grafts * takes >= plan.step("plant").plants
    assert plan.trays * 128 >= plan.cells


def test_own_figures_are_kept_and_go_back(tmp_path: Path) -> None:
    orchard = Orchard(name="f", lat=-19.9, lon=32.7, epsg=32736, blocks=(block(trees=500),))
    with FarmFile.create(tmp_path / "f.gpkg", orchard, now=NOW) as file:
        actions.set_nursery_figures(file, {"graft_days": 120.0, "tray_cells": 72}, now=NOW)
        _, plan = actions.raise_for_block(file.read(), "Ridge", PLANT_ON)
        assert plan.step("graft").date == dt.date(2026, 2, 1)
        assert plan.step("graft").earliest == plan.step("graft").latest
        assert plan.trays == 10
        old = actions.set_nursery_figures(file, {"graft_days": None}, now=NOW)
        assert old == {"graft_days": 120.0}
        assert actions.own_figures(file.read()) == {"tray_cells": 72.0}
        with pytest.raises(Refused) as fault:
            actions.set_nursery_figures(file, {"tray_cells": 50, "graft_share": 2.0}, now=NOW)
        assert fault.value.code == "nursery.bad_figure"
        assert actions.own_figures(file.read()) == {"tray_cells": 72.0}


def test_a_block_without_a_number_of_trees_is_asked_for_one() -> None:
    data = farm(block(trees=None, spacing_m=None))
    with pytest.raises(Refused) as fault:
        actions.raise_for_block(data, "Ridge", PLANT_ON)
    assert fault.value.code == "nursery.no_trees"
    assert actions.raise_for_block(data, "Ridge", PLANT_ON, trees=80)[1].trees == 80


def test_the_site_stands_in_its_ranges() -> None:
    site = nursery.site_sheet({"elevation_m": 1600.0, "ph": 6.0, "light_h": None})
    stands = {(r.quantity, r.low, r.high): r.stands for r in site}
    assert stands["elevation_m", 800.0, 1500.0] == "above"
    assert stands["elevation_m", 0.0, 2000.0] == "inside"
    assert stands["ph", 5.5, 6.5] == "inside"
    assert stands["light_h", 6.0, 6.5] == "unknown"


def test_late_sowing_and_steep_ground_are_told() -> None:
    plan = nursery.raise_plants(10, PLANT_ON)
    steep = block(slope_pct=25.0)
    codes = [n.code for n in actions.nursery_notes(plan, steep, dt.date(2025, 12, 1))]
    assert codes == ["nursery.late", "nursery.practice", "nursery.slope"]
