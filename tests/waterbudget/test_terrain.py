"""Heights, slopes, contours and shade on surfaces whose answers are known."""

from __future__ import annotations

import math
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyproj
import pytest
from shapely.geometry import MultiPolygon, Polygon, box

from waterbudget import tables, terrain
from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.terrain import block_heights, contours, hillshade, slope_aspect

EPSG = 32736
EAST, NORTH = 500_000.0, 7_800_000.0  # on the central meridian: grid north is true north
SCALE = 0.9996
TAN20 = math.tan(math.radians(20))


def tif(
    path: Path,
    z: np.ndarray,
    *,
    left: float = EAST,
    top: float = NORTH,
    cell: float = 10.0,
    crs: str | None = f"EPSG:{EPSG}",
    nodata: float | None = None,
) -> Path:
    """Write a GeoTIFF of heights."""
    import rasterio
    from rasterio.transform import Affine

    rows, columns = z.shape[-2:]
    bands = z if z.ndim == 3 else z[None]
    settings = {"dtype": bands.dtype, "crs": crs, "nodata": nodata, "count": len(bands)}
    transform = Affine(cell, 0, left, 0, -cell, top)
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=columns, transform=transform, **settings
    ) as out:
        out.write(bands)
    return path


def plane(rows: int, columns: int, cell: float, tan: float, towards: float) -> np.ndarray:
    """Return heights of a plane that falls towards an azimuth [degrees]."""
    x = (np.arange(columns) + 0.5) * cell
    y = -(np.arange(rows) + 0.5)[:, None] * cell
    a = math.radians(towards)
    return 1000 - tan * (x * math.sin(a) + y * math.cos(a))


@pytest.mark.parametrize("towards", [0, 30, 90, 135, 200, 359])
def test_plane_of_twenty_degrees(towards: float) -> None:
    slope, aspect = slope_aspect(plane(9, 12, 5.0, TAN20, towards), 5.0, 5.0)
    assert slope == pytest.approx(np.full((9, 12), 36.397), abs=1e-3)
    assert aspect == pytest.approx(np.full((9, 12), towards), abs=1e-6)
    # area along the slope is 6.42 % more than on plan
    assert np.sqrt(1 + (slope.mean() / 100) ** 2) == pytest.approx(1.0642, abs=1e-4)


def test_cells_that_are_not_square() -> None:
    z = np.add.outer(-np.arange(6) * 2.0, np.arange(5) * 3.0)  # 3 a column up, 2 a row down
    slope, aspect = slope_aspect(z, 30.0, 10.0)
    assert slope == pytest.approx(np.full(z.shape, 100 * math.hypot(0.1, 0.2)))
    assert aspect == pytest.approx(np.full(z.shape, 180 + math.degrees(math.atan(0.5))))


def test_level_and_unknown() -> None:
    z = np.full((5, 5), 700.0)
    z[0, 0] = np.nan
    slope, aspect = slope_aspect(z, 10.0, 10.0)
    assert np.isnan(slope[1, 1])
    assert slope[3, 3] == 0
    assert np.isnan(aspect[3, 3])


def test_horn_weights() -> None:
    # one raised cell: its eastern neighbour sees 2 h / (8 cell) towards the west
    z = np.zeros((5, 5))
    z[2, 2] = 8.0
    slope, aspect = slope_aspect(z, 1.0, 1.0)
    assert slope[2, 3] == pytest.approx(200.0)
    assert aspect[2, 3] == pytest.approx(90.0)
    assert slope[1, 3] == pytest.approx(100 * math.hypot(1, 1))
    assert slope[2, 2] == 0


def test_block_on_a_plane(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(40, 50, 10.0, TAN20 / SCALE, 200))
    block = box(EAST + 100, NORTH - 200, EAST + 200, NORTH - 100)
    (found,) = block_heights(path, [block], EPSG)
    a = math.radians(200)
    middle = 1000 - TAN20 / SCALE * (150 * math.sin(a) - 150 * math.cos(a))
    assert found.mean_m == pytest.approx(middle, abs=0.01)
    assert found.slope_pct == pytest.approx(36.397, abs=0.01)
    assert found.aspect_deg == pytest.approx(200, abs=0.01)
    assert found.covered == pytest.approx(1)
    # highest and lowest cell centre inside
    reach = 45 * TAN20 / SCALE * (abs(math.sin(a)) + abs(math.cos(a)))
    assert found.max_m == pytest.approx(middle + reach, abs=0.01)
    assert found.min_m == pytest.approx(middle - reach, abs=0.01)


def test_mean_counts_the_share_of_each_cell(tmp_path: Path) -> None:
    z = np.full((10, 10), 100.0)
    z[:, 5:] = 200.0
    path = tif(tmp_path / "a.tif", z)
    # 4 m on the low side, 12 m on the high side
    block = box(EAST + 46, NORTH - 60, EAST + 62, NORTH - 40)
    (found,) = block_heights(path, [block], EPSG)
    assert found.mean_m == pytest.approx(175.0)


def test_holes_and_parts_count(tmp_path: Path) -> None:
    z = np.full((20, 20), 100.0)
    z[8:12, 8:12] = 500.0  # a rock, cut out of the block
    z[0:2, 18:20] = 300.0  # the second part
    path = tif(tmp_path / "a.tif", z)
    rock = box(EAST + 80, NORTH - 120, EAST + 120, NORTH - 80).exterior.coords
    block = Polygon(box(EAST + 40, NORTH - 160, EAST + 160, NORTH - 40).exterior.coords, [rock])
    corner = box(EAST + 180, NORTH - 20, EAST + 200, NORTH)
    found, both = block_heights(path, [block, MultiPolygon([block, corner])], EPSG)
    assert found.mean_m == pytest.approx(100.0)
    assert both.mean_m == pytest.approx((12800 * 100 + 400 * 300) / 13200)


def test_block_smaller_than_a_cell(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(9, 9, 90.0, 0.1, 90), cell=90.0)
    (found,) = block_heights(path, [box(EAST + 400, NORTH - 410, EAST + 410, NORTH - 400)], EPSG)
    assert found.mean_m == pytest.approx(1000 - 0.1 * 405)
    assert found.slope_pct == pytest.approx(10 * SCALE, rel=1e-4)


def test_where_the_file_does_not_reach(tmp_path: Path) -> None:
    z = plane(20, 20, 10.0, 0.1, 0)
    z[:, :5] = -9999
    path = tif(tmp_path / "a.tif", z, nodata=-9999)
    away = box(EAST + 5000, NORTH, EAST + 5100, NORTH + 100)
    hole = box(EAST + 5, NORTH - 100, EAST + 25, NORTH - 80)
    half = box(EAST + 20, NORTH - 100, EAST + 80, NORTH - 40)
    outside, unknown, partly = block_heights(path, [away, hole, half], EPSG)
    for found in (outside, unknown):
        assert found == terrain.NOTHING
    assert partly.covered == pytest.approx(0.5)
    assert partly.slope_pct == pytest.approx(10, rel=1e-3)


@pytest.mark.parametrize("system", [4326, 3857, 32735])
def test_other_systems_give_the_same_slope(system: int, tmp_path: Path) -> None:
    """A plane on the ground, written in degrees, web-map metres and the neighbour's zone."""
    to = pyproj.Transformer.from_crs(EPSG, system, always_xy=True)
    back = pyproj.Transformer.from_crs(system, EPSG, always_xy=True)
    x0, y0 = to.transform(EAST, NORTH)
    cell = (to.transform(EAST + 20, NORTH)[0] - x0) * 1.0
    left, top = x0 - 60 * cell, y0 + 60 * cell
    xs = left + (np.arange(120) + 0.5) * cell
    ys = top - (np.arange(120) + 0.5) * cell
    east, north = back.transform(*np.meshgrid(xs, ys))
    tan, towards = 0.25, math.radians(70)
    along = (east - EAST) * math.sin(towards) + (north - NORTH) * math.cos(towards)
    z = 1000 - tan / SCALE * along
    path = tif(tmp_path / "a.tif", z, left=left, top=top, cell=cell, crs=f"EPSG:{system}")
    (found,) = block_heights(path, [box(EAST - 150, NORTH - 150, EAST + 150, NORTH + 150)], EPSG)
    # the grid's scale divides the plan, so a rise per grid metre is 0.9996 of it on the ground
    assert found.slope_pct == pytest.approx(25.0, rel=2e-3)
    assert found.aspect_deg == pytest.approx(70, abs=0.15)
    assert found.mean_m == pytest.approx(1000, abs=0.2)


def test_feet_are_turned_into_metres(tmp_path: Path) -> None:
    import rasterio

    path = tif(tmp_path / "a.tif", np.full((9, 9), 1000.0))
    with rasterio.open(path, "r+") as dem:
        dem.units = ("ft",)
    (found,) = block_heights(path, [box(EAST, NORTH - 90, EAST + 90, NORTH)], EPSG)
    assert found.mean_m == pytest.approx(304.8)


def test_a_map_in_feet_is_asked_and_the_answer_rules(tmp_path: Path) -> None:
    # EPSG 2264: state plane in US survey feet, which says nothing of heights
    z = np.full((40, 40), 1000.0)
    to = pyproj.Transformer.from_crs(32617, 2264, always_xy=True)
    left, top = to.transform(EAST, 3_900_000)
    path = tif(tmp_path / "a.tif", z, left=left, top=top, cell=30.0, crs="EPSG:2264")
    block = box(EAST + 50, 3_899_800, EAST + 250, 3_899_950)
    with pytest.raises(AnswersNeeded) as asked:
        block_heights(path, [block], 32617)
    assert [q.key for q in asked.value.questions] == ["height_unit"]
    assert not terrain.says_its_unit(path)
    (feet,) = block_heights(path, [block], 32617, unit="ft")
    (metres,) = block_heights(path, [block], 32617, unit="m")
    assert (feet.mean_m, metres.mean_m) == pytest.approx((304.8, 1000.0))
    with pytest.raises(Refused) as no:
        block_heights(path, [block], 32617, unit="yard")
    assert no.value.code == "terrain.unit"
    picture, _ = hillshade(path, 32617, 400)  # a shade asks nothing
    assert picture.max() == 181


def test_a_map_system_with_heights_says_their_unit(tmp_path: Path) -> None:
    # UTM with NAVD88 heights in US survey feet
    path = tif(tmp_path / "a.tif", np.full((20, 20), 1000.0), crs="EPSG:26917+6360", top=3_900_000)
    (found,) = block_heights(path, [box(EAST, 3_899_800, EAST + 200, 3_900_000)], 26917)
    assert found.mean_m == pytest.approx(304.8006, abs=1e-3)
    assert terrain.says_its_unit(path)


def test_a_unit_nobody_knows_is_asked(tmp_path: Path) -> None:
    import rasterio

    path = tif(tmp_path / "a.tif", np.full((9, 9), 1000.0))
    with rasterio.open(path, "r+") as dem:
        dem.units = ("furlong",)
    with pytest.raises(AnswersNeeded):
        block_heights(path, [box(EAST, NORTH - 90, EAST + 90, NORTH)], EPSG)


def test_single_band_pictures_are_no_heights(tmp_path: Path) -> None:
    import rasterio

    rng = np.random.default_rng(1)
    air = tif(tmp_path / "air.tif", rng.integers(0, 60_000, (20, 20)).astype("uint16"))
    painted = tif(tmp_path / "p.tif", np.zeros((20, 20), "uint16"))
    with rasterio.open(painted, "r+") as dem:
        dem.colorinterp = [rasterio.enums.ColorInterp.red]
    for path in (air, painted):
        with pytest.raises(Refused) as no:
            block_heights(path, [box(EAST, NORTH - 90, EAST + 90, NORTH)], EPSG)
        assert no.value.code == "terrain.not_heights"


@pytest.mark.parametrize("mark", [-9999.0, -32768.0, 3.4e38, -3.4e38])
def test_undeclared_marks_for_no_data(mark: float, tmp_path: Path) -> None:
    z = plane(20, 20, 10.0, 0.1, 0)
    z[:, :5] = mark
    path = tif(tmp_path / "a.tif", z)
    (found,) = block_heights(path, [box(EAST, NORTH - 100, EAST + 100, NORTH)], EPSG)
    assert found.covered == pytest.approx(0.5)
    assert found.min_m > 900


def test_area_along_the_slope_and_which_way(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(40, 40, 10.0, TAN20 / SCALE, 200))
    block = box(EAST + 100, NORTH - 300, EAST + 300, NORTH - 100)
    (found,) = block_heights(path, [block], EPSG)
    assert found.area_ratio == pytest.approx(1.0642, abs=1e-4)
    assert found.one_way == pytest.approx(1.0, abs=1e-6)
    assert found.cells == pytest.approx(400)
    # a roof: as steep everywhere, but falling to both sides
    x = (np.arange(40) + 0.5) * 10.0
    roof = np.repeat((1000 - TAN20 / SCALE * np.abs(x - 200))[None], 40, axis=0)
    (found,) = block_heights(tif(tmp_path / "b.tif", roof), [block], EPSG)
    assert found.one_way is None or found.one_way < terrain.ONE_WAY
    assert found.slope_pct > 30
    assert found.area_ratio > 1.05


@pytest.mark.parametrize(
    "slope, kind",
    [(0, "any"), (5, "any"), (5.1, "contour"), (15, "contour"), (15.1, "terrace"), (30, "terrace"),
     (30.1, "steep"), (150, "steep")],
)  # fmt: skip
def test_slope_classes(slope: float, kind: str) -> None:
    assert terrain.slope_class(slope) == kind
    assert f"hill.class.{kind}" in tables.sentences()


def test_heights_at_points_lie_on_the_plane(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(40, 40, 10.0, 0.3, 150))
    rng = np.random.default_rng(2)
    points = np.column_stack([EAST + rng.uniform(10, 390, 50), NORTH - rng.uniform(10, 390, 50)])
    z, cell = terrain.heights_at(path, points, EPSG)
    a = math.radians(150)
    rise = (points[:, 0] - EAST) * math.sin(a) + (points[:, 1] - NORTH) * math.cos(a)
    assert z == pytest.approx(1000 - 0.3 * rise, abs=1e-6)
    assert cell == pytest.approx(10.0, rel=1e-3)
    outside, _ = terrain.heights_at(path, np.array([[EAST - 50, NORTH]]), EPSG)
    assert np.isnan(outside).all()


def test_very_fine_files_are_averaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from waterbudget.terrain import blocks

    path = tif(tmp_path / "a.tif", plane(300, 300, 1.0, 0.2, 90), cell=1.0)
    block = box(EAST + 20, NORTH - 250, EAST + 250, NORTH - 20)
    (fine,) = block_heights(path, [block], EPSG)
    monkeypatch.setattr(blocks, "MOST_CELLS", 5_000)
    (coarse,) = block_heights(path, [block], EPSG)
    assert coarse.cells < 6000 < fine.cells
    assert coarse.mean_m == pytest.approx(fine.mean_m, abs=0.05)
    assert coarse.slope_pct == pytest.approx(fine.slope_pct, rel=1e-3)
    assert coarse.covered == pytest.approx(1.0, abs=1e-3)


def test_without_exactextract(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    z = plane(30, 30, 10.0, 0.3, 45)
    path = tif(tmp_path / "a.tif", z)
    block = Polygon([(EAST + 33, NORTH - 41), (EAST + 251, NORTH - 77), (EAST + 140, NORTH - 260)])
    (exact,) = block_heights(path, [block], EPSG)
    monkeypatch.setitem(sys.modules, "exactextract", None)
    (sampled,) = block_heights(path, [block], EPSG)
    assert sampled.mean_m == pytest.approx(exact.mean_m, abs=0.05)
    assert sampled.slope_pct == pytest.approx(exact.slope_pct, abs=0.01)
    assert sampled.covered == pytest.approx(1, abs=2e-3)


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdal-bin is not installed")
def test_against_gdaldem(tmp_path: Path) -> None:
    import rasterio

    rng = np.random.default_rng(3)
    x, y = np.meshgrid(np.arange(80), np.arange(60))
    z = 1000 + 60 * np.sin(x / 9) + 40 * np.cos(y / 7) + rng.normal(0, 1, x.shape)
    path = tif(tmp_path / "a.tif", z.astype("float32"))
    for what, more in (("slope", ["-p"]), ("aspect", [])):
        subprocess.run(["gdaldem", what, path, tmp_path / f"{what}.tif", *more, "-q"], check=True)
    slope, aspect = slope_aspect(z.astype("float32"), 10.0, 10.0)
    with rasterio.open(tmp_path / "slope.tif") as theirs:
        assert slope[1:-1, 1:-1] == pytest.approx(theirs.read(1)[1:-1, 1:-1], abs=0.01)
    with rasterio.open(tmp_path / "aspect.tif") as theirs:
        turn = (aspect - theirs.read(1) + 180) % 360 - 180
        assert np.abs(turn[1:-1, 1:-1]).max() < 0.01


def cone(cells: int, cell: float, top: float, tan: float) -> np.ndarray:
    """Return a cone with its tip in the middle."""
    at = (np.arange(cells) + 0.5) * cell - cells * cell / 2
    return top - tan * np.hypot(*np.meshgrid(at, at))


def test_contours_of_a_cone_are_circles(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", cone(200, 5.0, 1210.0, 0.2), cell=5.0)
    lines = contours(path, EPSG, 20)
    levels = {}
    for line in lines:
        (level,) = {z for _, _, z in line.coords}
        levels.setdefault(level, []).append(line)
    assert {1120, 1140, 1160, 1180, 1200} <= set(levels)
    assert all(level % 20 == 0 for level in levels)
    for level in (1120, 1160, 1200):
        (ring,) = levels[level]
        radius = (1210 - level) / 0.2
        assert ring.is_ring
        assert Polygon(ring).area == pytest.approx(math.pi * radius**2, rel=0.01)
        middle = Polygon(ring).centroid
        assert (middle.x, middle.y) == pytest.approx((EAST + 500, NORTH - 500), abs=0.5)


def test_contours_leave_gaps_where_nothing_is_known(tmp_path: Path) -> None:
    z = cone(100, 5.0, 1210.0, 0.2)
    z[40:60, :50] = np.nan
    lines = contours(tif(tmp_path / "a.tif", z, cell=5.0), EPSG, 20)
    gap = box(EAST + 20, NORTH - 295, EAST + 240, NORTH - 205)
    assert not any(line.intersects(gap) for line in lines)


def test_contours_of_a_file_in_degrees(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", plane(100, 100, 1.0, 1.0, 180), left=33.0, top=-19.9,
               cell=0.0002, crs="EPSG:4326")  # fmt: skip
    lines = contours(path, EPSG, 10)
    assert len(lines) == 9
    # they run east-west, ten rows of 0.0002 degrees (22.14 m) apart
    north = sorted(line.centroid.y for line in lines)
    assert np.diff(north) == pytest.approx(np.full(8, 221.4), abs=0.3)


@pytest.mark.parametrize("step", [0, -5, math.nan, 0.001])
def test_contour_step_must_fit(step: float, tmp_path: Path) -> None:
    with pytest.raises(Refused) as no:
        contours(tif(tmp_path / "a.tif", cone(50, 5.0, 1000.0, 0.2)), EPSG, step)
    assert no.value.code == "terrain.bad_step"


def test_hillshade_of_flat_and_facing_land(tmp_path: Path) -> None:
    flat, bounds = hillshade(tif(tmp_path / "a.tif", np.full((40, 50), 900.0)), EPSG, 10_000)
    assert bounds == pytest.approx((EAST, NORTH - 400, EAST + 500, NORTH))
    # sun 45 degrees high on level land: 1 + 254 sin 45
    assert set(np.unique(flat)) == {181}
    facing, _ = hillshade(tif(tmp_path / "b.tif", plane(40, 50, 10.0, 1.0, 315)), EPSG, 10_000)
    away, _ = hillshade(tif(tmp_path / "c.tif", plane(40, 50, 10.0, 1.0, 135)), EPSG, 10_000)
    assert set(np.unique(facing)) == {255}
    assert set(np.unique(away)) == {1}


def test_hillshade_keeps_to_its_size_and_leaves_the_unknown_empty(tmp_path: Path) -> None:
    z = cone(600, 5.0, 1500.0, 0.3)
    z[:, :60] = np.nan
    picture, bounds = hillshade(tif(tmp_path / "a.tif", z, cell=5.0), EPSG, 20_000)
    assert picture.dtype == np.uint8
    assert 15_000 < picture.size <= 20_000
    assert bounds == pytest.approx((EAST, NORTH - 3000, EAST + 3000, NORTH), abs=30)
    assert (picture[:, 0] == 0).all()
    assert (picture[:, picture.shape[1] // 2] > 0).all()


def test_hillshade_of_a_file_in_degrees_lies_right(tmp_path: Path) -> None:
    path = tif(tmp_path / "a.tif", np.full((50, 50), 500.0), left=33.0, top=-19.9, cell=0.0002,
               crs="EPSG:4326")  # fmt: skip
    _, (west, south, east, north) = hillshade(path, EPSG, 10_000)
    assert west == pytest.approx(500_000, abs=25)
    assert east - west == pytest.approx(1046, abs=25)
    assert north - south == pytest.approx(1107, abs=25)
    assert north == pytest.approx(7_799_585, abs=25)


def test_refusals(tmp_path: Path) -> None:
    picture = np.zeros((3, 5, 5), dtype="uint8")
    vrt = tmp_path / "d.vrt"
    vrt.write_text('<VRTDataset rasterXSize="1" rasterYSize="1"></VRTDataset>')
    hidden = tmp_path / "e.tif"
    hidden.write_bytes(vrt.read_bytes())
    cases = {
        "terrain.no_file": tmp_path / "none.tif",
        "terrain.not_heights": tif(tmp_path / "b.tif", picture),
        "terrain.no_system": tif(tmp_path / "c.tif", np.zeros((5, 5)), crs=None),
        "terrain.unreadable": vrt,
    }
    for code, path in [*cases.items(), ("terrain.unreadable", hidden)]:
        with pytest.raises(Refused) as no:
            block_heights(path, [box(0, 0, 1, 1)], EPSG)
        assert no.value.code == code
    with pytest.raises(Refused) as no:
        hillshade(tif(tmp_path / "f.tif", np.full((5, 5), np.nan)), EPSG, 100)
    assert no.value.code == "terrain.not_heights"


def test_turned_files_are_refused(tmp_path: Path) -> None:
    import rasterio
    from rasterio.transform import Affine

    path = tmp_path / "a.tif"
    with rasterio.open(path, "w", driver="GTiff", height=5, width=5, count=1, dtype="float32",
                       crs=f"EPSG:{EPSG}", transform=Affine(8, 6, EAST, 6, -8, NORTH)):  # fmt: skip
        pass
    with pytest.raises(Refused) as no:
        contours(path, EPSG, 5)
    assert no.value.code == "terrain.turned"


def test_light_to_import_and_every_code_has_its_sentence() -> None:
    code = "import sys, waterbudget.terrain; print(*sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                         cwd=Path(__file__).parents[2])  # fmt: skip
    assert not {"rasterio", "exactextract", "contourpy", "pandas"} & set(out.stdout.split())
    parts = Path(terrain.__file__).parent.glob("*.py")
    source = "".join(part.read_text(encoding="utf-8") for part in parts)
    for key in tables.sentences():
        if key.startswith("terrain."):
            assert f'"{key}"' in source
