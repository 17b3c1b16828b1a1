"""Areas, lengths and positions against figures from elsewhere."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from outline_ground import EPSG, GROUND, L_FIELD, LAT, LON, POND, SQUARE, grid
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from waterbudget.errors import Refused
from waterbudget.outlines import area_ha, from_lonlat, perimeter_m, to_lonlat, utm_epsg

PUBLISHED = Path(__file__).parents[2] / "published"


def strip_m2(south: float, north: float, width: float) -> float:
    """Return the area between two parallels and two meridians on WGS84.

    Closed form of the authalic zone (Snyder, J.P., 1987, Map Projections: A Working Manual,
    USGS Professional Paper 1395, equation 3-12): a different way than geodesic polygons.
    """
    a, f = 6378137.0, 1 / 298.257223563
    e = math.sqrt(f * (2 - f))

    def q(lat: float) -> float:
        s = math.sin(math.radians(lat))
        return (1 - e * e) * (
            s / (1 - e * e * s * s) - math.log((1 - e * s) / (1 + e * s)) / (2 * e)
        )

    return a * a / 2 * (q(north) - q(south)) * math.radians(width)


def test_published_polygon() -> None:
    rows = list(csv.DictReader((PUBLISHED / "geodesic_polygon.csv").open(encoding="utf-8")))
    polygon = Polygon([(float(r["lon"]), float(r["lat"])) for r in rows])
    # the ring runs round the pole, so it is measured in degrees, not in a zone
    assert area_ha(polygon, 4326) * 1e4 == pytest.approx(13376856682207.4, rel=1e-12)
    assert perimeter_m(polygon, 4326) == pytest.approx(14710425.407, abs=0.001)


@pytest.mark.parametrize("lat", [-79.0, -35.5, -19.9, 0.0, 23.4, 51.0, 83.0])
@pytest.mark.parametrize("side", [0.0005, 0.02])
def test_area_of_a_graticule_cell(lat: float, side: float) -> None:
    lon = 31.1
    steps = np.linspace(0, side, 21)  # parallels are no geodesics: cut them short
    ring = [(lon + s, lat) for s in steps] + [(lon + side - s, lat + side) for s in steps]
    epsg = utm_epsg(lat, lon)
    shape = from_lonlat(Polygon(ring), epsg)
    assert area_ha(shape, epsg) * 1e4 == pytest.approx(strip_m2(lat, lat + side, side), rel=2e-6)


def test_scale_of_the_grid_is_taken_out() -> None:
    # 1 ha on the grid at the central meridian, scale 0.9996
    assert area_ha(Polygon(grid(SQUARE)), EPSG) == pytest.approx(1.000800, abs=2e-6)
    assert perimeter_m(Polygon(grid(SQUARE)), EPSG) == pytest.approx(400 / 0.9996, rel=1e-6)
    # the same square 250 km east of it: scale 0.9996 (1 + 250^2 / (2 * 6378^2)) = 1.000368
    east = [(x + 250_000, y) for x, y in grid(SQUARE)]
    assert area_ha(Polygon(east), EPSG) == pytest.approx(1 / 1.000368**2, abs=1e-5)


def test_holes_and_parts() -> None:
    holed = Polygon(grid(SQUARE), [grid(POND)])
    both = MultiPolygon([holed, Polygon([(x + 500, y) for x, y in grid(L_FIELD)])])
    assert area_ha(both, EPSG) == pytest.approx(2.96 * GROUND, rel=1e-6)
    assert perimeter_m(holed, EPSG) == pytest.approx(480 / 0.9996, rel=1e-6)
    assert perimeter_m(LineString(grid(SQUARE)), EPSG) == pytest.approx(300 / 0.9996, rel=1e-6)


def test_way_round_does_not_matter() -> None:
    there = Polygon(grid(SQUARE), [grid(POND)])
    back = Polygon(grid(SQUARE[::-1]), [grid(POND)])
    assert area_ha(there, EPSG) == area_ha(back, EPSG)


def test_there_and_back_again() -> None:
    shape = Polygon(grid(L_FIELD))
    again = from_lonlat(to_lonlat(shape, EPSG), EPSG)
    assert again.equals_exact(shape, 1e-6)
    middle = to_lonlat(Point(grid([(0, 0)])[0]), EPSG)
    assert (middle.x, middle.y) == pytest.approx((LON, LAT), abs=1e-9)  # longitude first


@pytest.mark.parametrize(
    ("lat", "lon", "epsg"),
    [(-19.9, 32.7, 32736), (0.0, 0.0, 32631), (-0.1, -0.1, 32730), (10, 180, 32660),
     (10, -180, 32601), (-22, -47, 32723), (51.5, -0.1, 32630)],
)  # fmt: skip
def test_zone(lat: float, lon: float, epsg: int) -> None:
    assert utm_epsg(lat, lon) == epsg


@pytest.mark.parametrize("at", [(91, 0), (-85, 0), (0, 181), (math.nan, 0), (0, math.inf)])
def test_no_zone(at: tuple[float, float]) -> None:
    with pytest.raises(Refused, match="bad_position"):
        utm_epsg(*at)


def test_nothing_has_no_area() -> None:
    assert area_ha(Polygon(), EPSG) == 0
    assert area_ha(box(0, 0, 0, 0).boundary, EPSG) == 0
