"""The command outlines: what was repaired is told."""

import json

import numpy as np
from shapely.geometry import Polygon, mapping

from waterbudget.outlines.geodesy import move

EAST, NORTH, EPSG = 468_600.0, 7_799_500.0, 32736


def test_what_was_repaired_is_told(cli, farm, tmp_path):
    spiked = [(0, 0), (100, 0), (100, 50), (300, 50), (100, 50), (100, 100), (0, 100)]
    corners = np.array([(EAST + x, NORTH + y) for x, y in spiked])
    shape = mapping(Polygon(move(corners, EPSG, 4326)))
    feature = {"type": "Feature", "properties": {"name": "Spit"}, "geometry": shape}
    text = json.dumps({"type": "FeatureCollection", "features": [feature]})
    (tmp_path / "a.geojson").write_text(text)
    answer = cli("outlines", farm, "a.geojson")
    assert answer.code == 0 and "Spit: Spikes without width taken off: 1." in answer.err
    again = cli("outlines", farm, "a.geojson", "--answer", "existing=replace", "--json").json
    block = next(b for b in again["blocks"] if b["name"] == "Spit")
    assert any("Spikes" in text for text in block["repaired"])


def test_a_look_tells_what_would_be_repaired_and_stores_nothing(cli, farm, tmp_path):
    spiked = [(0, 0), (100, 0), (100, 50), (300, 50), (100, 50), (100, 100), (0, 100)]
    corners = np.array([(EAST + x, NORTH + y) for x, y in spiked])
    shape = mapping(Polygon(move(corners, EPSG, 4326)))
    feature = {"type": "Feature", "properties": {"name": "Spit"}, "geometry": shape}
    (tmp_path / "a.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [feature]})
    )
    before = (tmp_path / farm).read_bytes()
    answer = cli("outlines", farm, "a.geojson", "--look")
    assert answer.code == 0 and "Spit: Spikes without width taken off: 1." in answer.err
    assert "Spit" in answer.out
    assert (tmp_path / farm).read_bytes() == before
    assert cli("outlines", farm, "a.geojson").code == 0
    assert (tmp_path / farm).read_bytes() != before
