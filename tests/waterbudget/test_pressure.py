"""Flow over a block by height and friction, against hand sums; who goes on one pump."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from waterbudget import pressure, tables
from waterbudget.errors import Refused
from waterbudget.orchard import Block
from waterbudget.outlines import to_lonlat
from waterbudget.pressure import Lie, Outlets

EPSG = 32736
EAST, NORTH = 500_000.0, 7_800_000.0
PLAIN = Outlets(100.0, 0.5, 0.05, True)


def block(**changed: Any) -> Block:
    """A hectare with plain outlets made for 100 kPa and nothing known of its pipes."""
    fields: dict[str, Any] = {
        "outline": box(EAST, NORTH, EAST + 100, NORTH + 100), "outline_ha": 1.0,
        "outlet_kpa": 100.0, "outlet_exponent": 0.5, "system": "drip", "spacing_m": 4.0,
        "pattern": "square", "outlet_l_h": 50.0,
    } | changed  # fmt: skip
    return Block(name="Kiln", **fields)


def ramp(path: Path, rise_pct: float, base: float = 1000.0, cell: float = 10.0) -> Path:
    """A height file that rises to the north from ``base`` at the block's southern edge."""
    import rasterio
    from rasterio.transform import Affine

    rows, columns = 30, 30
    top = NORTH + 200
    y = top - (np.arange(rows) + 0.5) * cell
    z = np.repeat((base + rise_pct / 100 * (y - NORTH))[:, None], columns, axis=1)
    with rasterio.open(path, "w", driver="GTiff", height=rows, width=columns, count=1,
                       dtype="float64", crs=f"EPSG:{EPSG}",
                       transform=Affine(cell, 0, EAST - 100, 0, -cell, top)) as out:  # fmt: skip
        out.write(z[None])
    return path


def share_at(found: pressure.BlockFlow, north: float) -> float:
    row = int((found.top_m - north) / found.cell_m)
    return float(np.nanmean(found.share[row]))


def test_four_metres_above_and_below(tmp_path: Path) -> None:
    # agronomy: 100 kPa, exponent 0.5: 0.78 of the flow 4 m above, 1.18 of it 4 m below
    up = ramp(tmp_path / "up.tif", 8.0)
    found = pressure.block_flow(block(valve_elevation_m=1000.0), EPSG, heights=up)
    assert share_at(found, NORTH + 50) == pytest.approx(0.78, abs=0.01)
    assert found.above_m == pytest.approx(8.0, abs=0.15)
    found = pressure.block_flow(block(valve_elevation_m=1008.0), EPSG, heights=up)
    assert share_at(found, NORTH + 50) == pytest.approx(1.18, abs=0.01)


def test_the_mean_is_that_of_a_hand_sum(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 6.0)
    found = pressure.block_flow(block(valve_elevation_m=1000.0), EPSG, heights=up)
    # six strips of 1 m height: their middles lie 0.5, 1.5 .. 5.5 m above the valve
    strips = [0.975, 0.923, 0.869, 0.810, 0.747, 0.679]
    assert found.mean == pytest.approx(sum(strips) / 6, rel=0.02)
    # the upper quarter, 4.5 to 6 m above: its middle at 5.25 m gives 0.696
    assert found.low_quarter == pytest.approx(0.696 / (sum(strips) / 6), rel=0.02)
    assert found.lowest == pytest.approx(math.sqrt(1 - 0.0981 * 6), rel=0.02)
    assert found.design_uniformity == pytest.approx(
        (1 - 1.27 * 0.05) * found.lowest / found.mean, rel=1e-6
    )
    assert found.evenness == "fair"


def test_compensated_outlets_hardly_care(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 8.0)
    found = pressure.block_flow(
        block(valve_elevation_m=1000.0, outlet_exponent=0.05), EPSG, heights=up
    )
    assert found.lowest > 0.92
    assert found.evenness == "good"


def test_pressure_at_the_valve_lifts_every_place(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 8.0)
    found = pressure.block_flow(
        block(valve_elevation_m=1000.0, pressure_kpa=139.24), EPSG, heights=up
    )
    # 139.24 kPa less 4 m of water is 100 kPa
    assert share_at(found, NORTH + 50) == pytest.approx(1.0, abs=0.01)
    assert not any(n.code == "pressure.at_valve_unknown" for n in found.notes)


def test_the_valves_height_from_its_place_or_the_middle(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 8.0)
    from shapely.geometry import Point

    at = to_lonlat(Point(EAST + 50, NORTH), EPSG)
    found = pressure.block_flow(block(valve_lat=at.y, valve_lon=at.x), EPSG, heights=up)
    assert found.valve_m == pytest.approx(1000.0, abs=0.01)
    middle = pressure.block_flow(block(), EPSG, heights=up)
    assert middle.valve_m == pytest.approx(1004.0, abs=0.05)
    assert "pressure.valve_unknown" in [n.code for n in middle.notes]


def test_measured_flow_wins_and_is_only_shared_out(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 8.0)
    for source in ("meter", "bucket"):
        found = pressure.block_flow(block(valve_elevation_m=1000.0), EPSG, heights=up,
                                    flow_m3_h=27.5, flow_from=source, trees=625)  # fmt: skip
        assert found.flow_m3_h == 27.5
        assert np.nanmean(found.of_mean) == pytest.approx(1.0)
        assert "pressure.measured" in [n.code for n in found.notes]
    typed = pressure.block_flow(block(valve_elevation_m=1000.0), EPSG, heights=up, flow_m3_h=27.5)
    assert typed.flow_m3_h == 27.5 and not typed.measured
    assert "pressure.as_entered" in [n.code for n in typed.notes]
    found = pressure.block_flow(block(valve_elevation_m=1000.0), EPSG, heights=up,
                                flow_m3_h=31.25, flow_from="catalogue", trees=625)  # fmt: skip
    assert found.flow_m3_h == pytest.approx(31.25 * found.mean)
    assert found.mean < 0.8


def test_friction_alone_without_a_height_file() -> None:
    found = pressure.block_flow(
        block(lateral_mm=20.0, row_bearing_deg=90.0), EPSG, flow_m3_h=31.25, flow_from="meter",
        trees=625,
    )  # fmt: skip
    # 50 m of 20 mm pipe, 12 outlets (50 / 4, even half down) of 50 L/h: 0.6 m3/h = 0.167 L/s.
    # Field form: 50 (279000 x 0.1667 / (150 x 20^2.63))^1.852 = 0.947 m, times 0.394 for 12
    assert found.row_loss_kpa == pytest.approx(9.81 * 0.947 * 0.394, rel=0.02)
    codes = [n.code for n in found.notes]
    assert "pressure.no_heights" in codes and "pressure.no_row_pipe" not in codes
    # ends of rows get least; rows are fed from the middle
    middle, end = found.share[10, found.share.shape[1] // 2], found.share[10, 0]
    assert end == pytest.approx(math.sqrt(1 - found.row_loss_kpa / 100), abs=0.002)
    assert middle == pytest.approx(1.0, abs=0.01)


def test_a_valve_at_one_end_makes_the_rows_long() -> None:
    from shapely.geometry import Point

    at = to_lonlat(Point(EAST, NORTH + 50), EPSG)
    short = pressure.block_flow(block(lateral_mm=20.0, row_bearing_deg=90.0), EPSG,
                                flow_m3_h=31.25, flow_from="meter", trees=625)  # fmt: skip
    long = pressure.block_flow(
        block(lateral_mm=20.0, row_bearing_deg=90.0, valve_lat=at.y, valve_lon=at.x), EPSG,
        flow_m3_h=31.25, flow_from="meter", trees=625,
    )  # fmt: skip
    # twice the length with twice the flow: about 2^2.85
    assert long.row_loss_kpa == pytest.approx(7.2 * short.row_loss_kpa, rel=0.12)


def test_catalogue_flow_and_friction_come_to_agree() -> None:
    pipes = {"lateral_mm": 14.0, "row_bearing_deg": 90.0, "main_mm": 60.0, "main_m": 400.0}
    found = pressure.block_flow(block(**pipes), EPSG, flow_m3_h=31.25, flow_from="catalogue",
                                trees=625)  # fmt: skip
    measured = pressure.block_flow(block(**pipes), EPSG, flow_m3_h=found.flow_m3_h,
                                   flow_from="meter", trees=625)  # fmt: skip
    # the pipes know nothing of where the figure came from: with that flow the losses are the same
    assert measured.main_loss_kpa == pytest.approx(found.main_loss_kpa, rel=0.01)
    assert measured.row_loss_kpa == pytest.approx(found.row_loss_kpa, rel=0.01)
    assert measured.valve_kpa == 100.0  # it got there
    assert found.flow_m3_h == pytest.approx(31.25 * found.mean)
    assert found.valve_kpa == pytest.approx(100.0 - found.main_loss_kpa)


def test_rows_follow_the_contour_where_nothing_is_said(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 8.0)
    found = pressure.block_flow(block(lateral_mm=14.0, valve_elevation_m=1004.0), EPSG, heights=up,
                                flow_m3_h=31.25, flow_from="meter", trees=625)  # fmt: skip
    # rows run east and west: along one the flow falls to its ends, on one height
    row = found.share[found.share.shape[0] // 2]
    assert row[0] < row[len(row) // 2] and row[-1] < row[len(row) // 2]


def test_part_covered_dry_and_not_there(tmp_path: Path) -> None:
    up = ramp(tmp_path / "up.tif", 8.0)
    wide = box(EAST, NORTH, EAST + 400, NORTH + 100)
    found = pressure.block_flow(block(outline=wide, valve_elevation_m=1000.0), EPSG, heights=up)
    assert found.covered == pytest.approx(0.5, abs=0.02)
    assert np.isnan(found.share[:, -1]).all()
    assert "pressure.part_covered" in [n.code for n in found.notes]
    high = pressure.block_flow(block(valve_elevation_m=992.0, outlet_kpa=90.0), EPSG, heights=up)
    dry = next(n for n in high.notes if n.code == "pressure.dry_places")
    # 90 kPa lift water 9.17 m: what lies above 1001.17 m is dry, of 8 m of rise
    assert dry.fields["percent"] == pytest.approx(100 * (8 - 1.17) / 8, abs=2)
    assert high.evenness == "poor"
    away = box(EAST + 5000, NORTH, EAST + 5100, NORTH + 100)
    with pytest.raises(Refused) as no:
        pressure.block_flow(block(outline=away), EPSG, heights=up)
    assert no.value.code == "pressure.no_heights_here"


def test_hectares_alone_and_nothing_at_all(tmp_path: Path) -> None:
    found = pressure.block_flow(block(outline=None, outline_ha=None, area_ha=1.0), EPSG,
                                heights=ramp(tmp_path / "up.tif", 8.0))  # fmt: skip
    assert found.valve_m is None
    assert "pressure.no_outline" in [n.code for n in found.notes]
    with pytest.raises(Refused) as no:
        pressure.block_flow(block(outline=None, outline_ha=None), EPSG)
    assert no.value.code == "pressure.no_area"
    tiny = box(EAST, NORTH, EAST + 0.5, NORTH + 0.5)
    assert pressure.block_flow(block(outline=tiny), EPSG).mean == pytest.approx(1.0)


def test_usual_outlets_are_told() -> None:
    found = pressure.block_flow(block(outlet_kpa=None, outlet_exponent=None), EPSG)
    assert (found.outlets.kpa, found.outlets.exponent) == (100.0, 0.5)
    assert "pressure.usual_outlets" in [n.code for n in found.notes]
    for note in found.notes:
        assert tables.sentences()[note.code].format_map(note.fields)


def lies(*heights: float, **changed: Any) -> list[Lie]:
    fields: dict[str, Any] = {"pump": "", "group": None, "outlets": PLAIN} | changed
    return [Lie(name=f"B{i}", height_m=h, **fields) for i, h in enumerate(heights)]


def test_more_than_ten_metres_or_too_much_flow_apart() -> None:
    found = pressure.apart(lies(1000.0, 1010.5, 1002.0))
    assert [(p.upper, p.lower, p.why) for p in found] == [
        ("B1", "B0", "height"), ("B1", "B2", "flow"),
    ]  # fmt: skip
    # 4 m at 100 kPa: 2 m down 1.09, 2 m up 0.90 of the flow (agronomy's figures)
    (four,) = pressure.apart(lies(1000.0, 1004.0))
    assert (four.why, four.height_m) == ("flow", 4.0)
    assert four.flow_pct == pytest.approx(100 * (1.09 - 0.90), abs=1.0)


def test_little_between_them_is_fine() -> None:
    # 1 m at 100 kPa is 5 % of flow; compensated outlets stand 9 m
    assert pressure.apart(lies(1000.0, 1001.0)) == ()
    steady = Outlets(200.0, 0.05, 0.05, True)
    assert pressure.apart(lies(1000.0, 1009.0, outlets=steady)) == ()
    assert len(pressure.apart(lies(1000.0, 1011.0, outlets=steady))) == 1
    # where the pressure is set at each valve only the ten metres count
    assert pressure.apart(lies(1000.0, 1009.0, held_kpa=120.0)) == ()


def test_other_pumps_and_groups_do_not_meet() -> None:
    high, low = lies(1030.0, 1000.0)
    import dataclasses

    assert pressure.apart([high, dataclasses.replace(low, pump="Dam")]) == ()
    split = [dataclasses.replace(high, group="a"), dataclasses.replace(low, group="b")]
    assert pressure.apart(split) == ()
    one = [dataclasses.replace(high, group="a"), dataclasses.replace(low, group="A")]
    assert len(pressure.apart(one)) == 1


def test_groups_hold_no_pair_that_must_not_meet() -> None:
    rng = np.random.default_rng(4)
    blocks = lies(*rng.uniform(980, 1040, 25))
    groups = pressure.together(blocks)
    bad = {frozenset((p.upper, p.lower)) for p in pressure.apart(blocks)}
    assert sorted(n for _, names in groups for n in names) == sorted(b.name for b in blocks)
    for _, names in groups:
        assert not any(frozenset((a, b)) in bad for a in names for b in names if a != b)
