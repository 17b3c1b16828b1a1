"""The door itself: light to import, every code has its sentence, exports read back."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from string import Formatter

import pytest
from outline_cases import look, utm
from outline_ground import EPSG, L_FIELD, POND, SQUARE, grid, shift
from shapely.geometry import LinearRing, MultiPolygon, Polygon

from waterbudget import outlines, tables
from waterbudget.outlines import write_geojson, write_gpx

CODE = Path(outlines.__file__).parent


def test_heavy_libraries_wait_until_they_are_needed() -> None:
    code = "import sys, waterbudget.outlines; print(*sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                         cwd=Path(__file__).parents[3])  # fmt: skip
    loaded = set(out.stdout.split())
    assert not {"pyogrio", "geopandas", "pandas", "rasterio", "xml.sax.saxutils"} & loaded


def test_every_code_has_its_sentence() -> None:
    sentences = tables.sentences()
    used: dict[str, str] = {}
    for path in CODE.glob("*.py"):
        for code in re.findall(r'"(outlines\.[a-z0-9_]+)"', path.read_text(encoding="utf-8")):
            used[code] = path.name
    for code in ("outlines.ask_system", "outlines.ask_system_other"):
        used[code + "_suggested"] = "place.py"
    assert set(used) == {c for c in sentences if c.startswith("outlines.")}


@pytest.mark.parametrize("code", [c for c in tables.sentences() if c.startswith("outlines.")])
def test_sentence_is_one_plain_sentence(code: str) -> None:
    text = tables.sentences()[code]
    assert text.endswith((".", "?", "}"))
    assert not re.search(r"\b(CRS|DEM|geodesic|polygon|vertex|ring)\b", text)
    for _, name, spec, _ in Formatter().parse(text):
        assert name is None or (name.isidentifier() and not spec)


def test_geojson_export(tmp_path: Path) -> None:
    two = MultiPolygon([utm(SQUARE, POND), utm(shift(L_FIELD, 400))])
    write_geojson([("Ñ", two), ('"=1', utm(shift(SQUARE, 800)))], EPSG, tmp_path / "a.geojson")
    data = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))
    assert [f["properties"] for f in data["features"]] == [{"name": "Ñ"}, {"name": '"=1'}]
    assert [f["geometry"]["type"] for f in data["features"]] == ["MultiPolygon", "Polygon"]
    assert "crs" not in data  # RFC 7946: WGS84 alone
    x, y = data["features"][1]["geometry"]["coordinates"][0][0]
    assert (round(x, 3), round(y, 3)) == (33.008, -19.9)
    file = look(tmp_path / "a.geojson")
    assert [o.area_ha for o in file.outlines] == pytest.approx([2.9624, 1.0008], rel=1e-4)
    assert all(o.notes == () for o in file.outlines)


def test_geojson_export_runs_round_as_the_standard_says(tmp_path: Path) -> None:
    clockwise = Polygon(grid(SQUARE[::-1]), [grid(POND[::-1])])
    write_geojson([("A", clockwise)], EPSG, tmp_path / "a.geojson")
    data = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))
    shell, hole = data["features"][0]["geometry"]["coordinates"]
    assert LinearRing(shell).is_ccw  # RFC 7946, section 3.1.6
    assert not LinearRing(hole).is_ccw


def test_gpx_export(tmp_path: Path) -> None:
    blocks = [("A & <B>\x07", utm(SQUARE, POND)), ("C", utm(shift(L_FIELD, 400)))]
    write_gpx(blocks, EPSG, tmp_path / "a.gpx")
    root = ET.parse(tmp_path / "a.gpx").getroot()
    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"
    assert root.get("version") == "1.1"
    file = look(tmp_path / "a.gpx")
    assert [o.name for o in file.outlines] == ["A & <B>", "C"]
    assert [o.area_ha for o in file.outlines] == pytest.approx([0.96077, 2.0016], rel=1e-4)
    assert [o.holes for o in file.outlines] == [1, 0]
