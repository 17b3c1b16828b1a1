"""The outlines: valid, apart, irregular, and lying along the contours."""

from __future__ import annotations

import itertools
import json
import re

import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely.geometry import shape

from waterbudget.demo import hillside, maps
from waterbudget.demo.place import EAST0, NORTH0, STATION_LAT, STATION_LON

UTM = maps.utm()


def parts(outline):
    return list(getattr(outline, "geoms", [outline]))


def angle_between(a, b):
    """Angle between two lines without a direction [degrees], 0 to 90."""
    turn = abs(a - b) % 180.0
    return min(turn, 180.0 - turn)


def long_axis(part):
    """Direction of the longer side of the tightest box [degrees], and how long to how wide."""
    corners = np.array(part.minimum_rotated_rectangle.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    length = np.hypot(*sides.T)
    east, north = sides[int(length.argmax())]
    return float(np.degrees(np.arctan2(north, east))), float(length.max() / length.min())


def test_sixteen_valid_blocks_of_believable_size():
    assert len(UTM) == 16
    for name, outline in UTM.items():
        assert outline.is_valid, name
        assert 0.6 <= outline.area / 1e4 <= 2.4, name
        assert all(p.area > 2000 for p in parts(outline)), name


def test_no_overlap_and_room_for_a_track():
    for (a, one), (b, other) in itertools.combinations(UTM.items(), 2):
        assert one.distance(other) >= 3.5, (a, b)


def test_two_with_a_hole_and_one_in_two_parts():
    holes = {n: sum(len(p.interiors) for p in parts(o)) for n, o in UTM.items()}
    assert {n for n, h in holes.items() if h} == {"Quarry lip", "Clay pit"}
    assert [n for n, o in UTM.items() if len(parts(o)) == 2] == ["Broken cart"]
    for name in ("Quarry lip", "Clay pit"):
        rock = shapely.Polygon(UTM[name].interiors[0])
        assert 300 < rock.area < 1500


def fall(part):
    """Mean downhill direction inside a part [degrees], and mean slope [-]."""
    west, south, east, north = part.bounds
    x, y = np.meshgrid(np.arange(west, east, 6.0), np.arange(south, north, 6.0))
    inside = shapely.contains_xy(part, x, y)
    x, y = x[inside] - EAST0, y[inside] - NORTH0
    dx = (hillside.height(x + 2, y) - hillside.height(x - 2, y)) / 4
    dy = (hillside.height(x, y + 2) - hillside.height(x, y - 2)) / 4
    return float(np.degrees(np.arctan2(dy.mean(), dx.mean()))), float(np.hypot(dx, dy).mean())


def test_blocks_lie_along_the_contours():
    across, reach = [], []
    for outline in UTM.values():
        for part in parts(outline):
            axis, ratio = long_axis(part)
            if ratio > 1.3:
                across.append(angle_between(axis, fall(part)[0]))
                reach.append(ratio)
    assert len(across) >= 13
    assert np.mean(np.abs(np.cos(np.radians(across)))) < 0.2  # 0 = square to the fall
    assert min(across) > 60
    assert np.mean(reach) > 1.8


def test_a_block_spans_far_less_height_than_a_straight_climb_of_its_length():
    for name, outline in UTM.items():
        for part in parts(outline):
            ring = shapely.get_coordinates(shapely.segmentize(part.exterior, 5.0))
            z = hillside.height(ring[:, 0] - EAST0, ring[:, 1] - NORTH0)
            assert z.max() - z.min() < 30, name


def test_slopes_can_be_planted():
    for name, outline in UTM.items():
        assert 0.06 < fall(outline)[1] < 0.32, name


def test_no_grid():
    axes = [long_axis(max(parts(o), key=lambda p: p.area))[0] for o in UTM.values()]
    turned = [angle_between(a, b) for a, b in itertools.combinations(axes, 2)]
    assert max(turned) > 35
    assert np.mean(turned) > 10
    areas = np.array([o.area for o in UTM.values()])
    assert areas.std() / areas.mean() > 0.2
    for outline in UTM.values():
        box = outline.minimum_rotated_rectangle
        assert outline.area / box.area < 0.9


def test_geojson_follows_the_standard():
    data = json.loads(maps.outlines_geojson())
    assert data["type"] == "FeatureCollection"
    assert "crs" not in data
    assert [f["properties"]["name"] for f in data["features"]] == list(UTM)
    for feature in data["features"]:
        geometry = shape(feature["geometry"])
        assert geometry.is_valid
        for part in parts(geometry):
            assert part.exterior.is_ccw
            assert not any(hole.is_ccw for hole in part.interiors)
    numbers = re.findall(r"-?\d+\.\d+", maps.outlines_geojson())
    assert max(len(n.split(".")[1]) for n in numbers) <= 7


def test_geojson_lies_round_the_station_and_keeps_the_areas():
    earth = Geod(ellps="WGS84")
    data = json.loads(maps.outlines_geojson())
    for feature in data["features"]:
        geometry = shape(feature["geometry"])
        at = geometry.centroid
        assert earth.inv(STATION_LON, STATION_LAT, at.x, at.y)[2] < 1000
        area = abs(earth.geometry_area_perimeter(geometry)[0])
        assert area == pytest.approx(UTM[feature["properties"]["name"]].area, rel=0.002)


def walked():
    for track in re.findall(r"<trk>.*?</trk>", maps.walk_gpx(), re.S):
        name = re.search(r"<name>(.*?)</name>", track)[1]
        points = re.findall(r'lat="(.*?)" lon="(.*?)"', track)
        yield name, np.array([(float(lon), float(lat)) for lat, lon in points])


def test_walk_slips_less_than_a_metre_but_slips():
    lonlat = maps.lonlat()
    tracks = dict(walked())
    assert tuple(tracks) == maps.WALKED
    for name, points in tracks.items():
        metres = np.array([111_320 * np.cos(np.radians(STATION_LAT)), 110_650])
        ring = shapely.LinearRing(shapely.get_coordinates(lonlat[name].exterior) * metres)
        off = shapely.distance(ring, shapely.points(points * metres))
        assert 0.05 < off.mean() < 0.6
        assert off.max() < 1.0
        gap = np.hypot(*((points[0] - points[-1]) * metres))
        assert gap < 10.0
        walked_area = shapely.Polygon(points * metres).area
        assert walked_area == pytest.approx(shapely.Polygon(ring).area, rel=0.03)


def test_times_of_the_walk_go_forward():
    times = re.findall(r"<time>(.*?)</time>", maps.walk_gpx())
    assert times == sorted(set(times))
