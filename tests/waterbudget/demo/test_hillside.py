"""The invented hillside and its height file."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio

from waterbudget.demo import hillside
from waterbudget.demo.place import CELL, DEPTH, EAST0, NORTH0, WIDTH


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("heights") / "hillside.tif"
    hillside.write_height_file(path)
    return path


def test_reaches_from_900_to_1250_m():
    grid = hillside.height_grid()
    assert 895 <= grid.min() <= 910
    assert 1235 <= grid.max() <= 1255
    assert grid.shape == (120, 160)


def test_no_cliff_and_no_step_between_cells():
    north, east = np.gradient(hillside.height_grid(), CELL)
    slope = np.hypot(north, east)
    assert slope.max() < 1.0
    assert 0.15 < slope.mean() < 0.35


def test_gullies_lie_below_the_ground_beside_them():
    for gully in hillside.GULLIES.values():
        down = np.arange(700.0, 1000.0, 50.0)
        middle = hillside.height(*hillside.from_polar(down, gully.at(down)))
        for side in (-60.0, 60.0):
            beside = hillside.height(*hillside.from_polar(down, gully.at(down) + side / down))
            assert np.all(middle < beside - 2.0)


def test_polar_and_back():
    down, bearing = np.array([300.0, 900.0]), np.array([-0.7, 0.2])
    again = hillside.to_polar(*hillside.from_polar(down, bearing))
    assert np.allclose(again, (down, bearing))


def test_height_file_lies_where_it_should(file):
    with rasterio.open(file) as heights:
        assert heights.crs.to_epsg() == 32736
        assert heights.res == (CELL, CELL)
        assert tuple(heights.bounds) == (EAST0, NORTH0, EAST0 + WIDTH, NORTH0 + DEPTH)
        values = heights.read(1)
    at = hillside.height(795.0, 405.0)
    row, column = int((DEPTH - 405.0) // CELL), int(795.0 // CELL)
    assert values[row, column] == pytest.approx(float(at), abs=0.051)


def test_height_file_is_small(file):
    assert file.stat().st_size < 120_000
