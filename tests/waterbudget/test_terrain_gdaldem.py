"""Slope and aspect beside gdaldem's, on two real height files.

The same cell sizes give the same figures.  Ours measures cells on the ellipsoid, so on a file in
degrees the width of a cell shrinks with the latitude, which gdaldem's single scale cannot know;
and we turn the aspect from the grid's north to the true one.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pyproj
import pytest

from waterbudget.terrain import slope_aspect, whole_slopes

HERE = Path(__file__).parents[1] / "published" / "heights"
A_DEGREE = 111_120.0
"""Metres in a degree as gdaldem is told (its manual)."""
STARS = Path("/usr/lib/R/site-library/stars/tif/olinda_dem_utm25s.tif")
GRIDS = {"olinda": 1.0, "jacksboro": A_DEGREE}


def bands(path: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray, float, float]:
    """Heights, gdaldem's slope and aspect, and the size of a cell in the file's unit."""
    import rasterio

    with rasterio.open(path) as file:
        z, slope, aspect = file.read().astype(float)
        cell = file.transform.a, -file.transform.e
    return z, np.where(slope < 0, np.nan, slope), np.where(aspect < 0, np.nan, aspect), *cell


def heights_alone(path: Path, into: Path) -> Path:
    import rasterio

    with rasterio.open(path) as file:
        profile = file.profile | {"count": 1}
        with rasterio.open(into, "w", **profile) as out:
            out.write(file.read(1), 1)
    return into


def turn(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.abs((a - b + 180) % 360 - 180)


@pytest.mark.parametrize("name", GRIDS)
def test_with_the_same_cells_the_figures_are_the_same(name: str) -> None:
    z, theirs, their_aspect, wide, high = bands(HERE / f"{name}.tif")
    slope, aspect = slope_aspect(z, wide * GRIDS[name], high * GRIDS[name])
    inside = np.isfinite(theirs)
    assert inside.sum() == 38 * 38
    assert np.abs(slope - theirs)[inside].max() < 1e-4
    steep = np.isfinite(their_aspect)
    assert steep.sum() > 1000
    assert turn(aspect, their_aspect)[steep].max() < 1e-3


def test_on_a_utm_file_only_the_zones_scale_and_north_differ(tmp_path: Path) -> None:
    path = heights_alone(HERE / "olinda.tif", tmp_path / "a.tif")
    _, slope, aspect = whole_slopes(path)
    _, theirs, their_aspect, _, _ = bands(HERE / "olinda.tif")
    steep = theirs > 2
    # 210 km from the middle of its zone: scale 1.00014, north 0.26 degrees off
    at = pyproj.Proj("EPSG:32725").get_factors(-34.905, -7.97)
    assert slope[steep] / theirs[steep] == pytest.approx(at.meridional_scale, abs=2e-5)
    lean = ((aspect - their_aspect + 180) % 360 - 180)[steep & np.isfinite(their_aspect)]
    assert lean == pytest.approx(at.meridian_convergence, abs=0.02)


def test_on_a_file_in_degrees_the_width_of_a_cell_explains_the_rest(tmp_path: Path) -> None:
    path = heights_alone(HERE / "jacksboro.tif", tmp_path / "a.tif")
    _, slope, aspect = whole_slopes(path)
    _, theirs, their_aspect, wide, high = bands(HERE / "jacksboro.tif")
    known = np.isfinite(theirs) & np.isfinite(their_aspect)
    ratio = slope[known] / theirs[known]
    # a degree of longitude at 36.6 N is 0.803 of one of latitude, so slopes to the east and west
    # are up to 1.25 of what one scale for both makes of them
    assert ratio.min() > 0.999 and 1.2 < ratio.max() < 1.25
    assert turn(aspect, their_aspect)[known].max() < 6.4
    # gdaldem's own rises, each over the true length of its cell, are ours
    geod = pyproj.Geod(ellps="WGS84")
    lat = 36.73291666666667 - (200 + np.arange(40) + 0.5) * high
    across = np.array([geod.inv(0, la, wide, la)[2] for la in lat])[:, None]
    down = np.array([geod.inv(0, la - high / 2, 0, la + high / 2)[2] for la in lat])[:, None]
    east = theirs * np.sin(np.radians(their_aspect)) * wide * A_DEGREE / across
    north = theirs * np.cos(np.radians(their_aspect)) * high * A_DEGREE / down
    assert np.hypot(east, north)[known] == pytest.approx(slope[known], rel=1e-4)
    assert turn(np.degrees(np.arctan2(east, north)), aspect)[known].max() < 0.01


def whole_file(name: str, into: Path) -> Path:
    """The whole file where the package that carries it is installed."""
    if name == "olinda":
        if not STARS.exists():
            pytest.skip("r-cran-stars is not installed")
        return Path(shutil.copy(STARS, into / "olinda.tif"))
    found = importlib.util.find_spec("matplotlib")
    if found is None or found.origin is None:
        pytest.skip("matplotlib is not installed")
    import rasterio
    from rasterio.transform import Affine

    data = np.load(Path(found.origin).parent / "mpl-data/sample_data/jacksboro_fault_dem.npz")
    z, path = data["elevation"], into / "jacksboro.tif"
    transform = Affine(float(data["dx"]), 0, float(data["xmin"]), 0, -float(data["dy"]),
                       float(data["ymin"]))  # fmt: skip
    with rasterio.open(path, "w", driver="GTiff", height=z.shape[0], width=z.shape[1], count=1,
                       dtype=z.dtype, crs="EPSG:4326", transform=transform) as out:  # fmt: skip
        out.write(z, 1)
    return path


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdal-bin is not installed")
@pytest.mark.parametrize("name", GRIDS)
def test_the_whole_files_where_they_are_installed(name: str, tmp_path: Path) -> None:
    import rasterio

    path = whole_file(name, tmp_path)
    more = [] if GRIDS[name] == 1.0 else ["-s", "111120"]
    found = {}
    for what, options in (("slope", ["-p", *more]), ("aspect", [])):
        out = tmp_path / f"{what}.tif"
        subprocess.run(["gdaldem", what, path, out, *options, "-q"], check=True)
        with rasterio.open(out) as file:
            values = file.read(1).astype(float)
        found[what] = np.where(values < 0, np.nan, values)
    with rasterio.open(path) as file:
        z, cell = file.read(1).astype(float), (file.transform.a, -file.transform.e)
    slope, aspect = slope_aspect(z, cell[0] * GRIDS[name], cell[1] * GRIDS[name])
    known = np.isfinite(found["slope"])
    assert np.abs(slope - found["slope"])[known].max() < 1e-3
    known &= np.isfinite(found["aspect"])
    assert turn(aspect, found["aspect"])[known].max() < 1e-2
    _, true_slope, _ = whole_slopes(path)
    ratio = true_slope[known] / found["slope"][known]
    assert ratio.min() > 0.999 and ratio.max() < 1.25
