"""Whatever is written in any format comes back with the same name and the same area."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from outline_cases import look, packed
from outline_ground import EAST, EPSG, GROUND, NORTH, closed, coordinates, dxf, shapefile
from shapely.geometry import Polygon

from waterbudget.orchard import fold
from waterbudget.outlines import to_lonlat, write_geojson, write_gpx

Block = tuple[str, Polygon]


@st.composite
def simple_polygon(draw: st.DrawFn) -> Polygon:
    """Draw a star-shaped polygon of 0.1 to 60 ha, sometimes with a hole."""
    count = draw(st.integers(3, 12))
    size = draw(st.floats(40, 500))
    radii = draw(st.lists(st.floats(0.4, 1.0), min_size=count, max_size=count))
    turn = draw(st.floats(0, math.tau))
    angles = turn + np.arange(count) * math.tau / count
    x, y = draw(st.floats(-20_000, 20_000)), draw(st.floats(-20_000, 20_000))
    middle = np.array([EAST + x, NORTH + y])
    ring = (
        middle + size * np.column_stack([np.cos(angles), np.sin(angles)]) * np.array(radii)[:, None]
    )
    hole = []
    if draw(st.booleans()):
        hole = [middle + 0.1 * size * np.column_stack([np.cos(angles), np.sin(angles)])[::-1]]
    polygon = Polygon(ring, hole)
    return polygon if polygon.is_valid else Polygon(ring)


names = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Co", "Cn", "Zl", "Zp")),
    min_size=1, max_size=20,
).map(lambda s: " ".join(s.split())).filter(bool)  # fmt: skip
blocks = st.lists(st.tuples(names, simple_polygon()), min_size=1, max_size=3,
                  unique_by=lambda b: fold(b[0]))  # fmt: skip


def degrees(polygon: Polygon) -> list[list[tuple[float, float]]]:
    """Return the rings in longitude and latitude."""
    moved = to_lonlat(polygon, EPSG)
    return [list(r.coords) for r in (moved.exterior, *moved.interiors)]


def as_geojson(folder: Path, given_blocks: Sequence[Block]) -> Path:
    write_geojson(given_blocks, EPSG, folder / "a.geojson")
    return folder / "a.geojson"


def as_gpx(folder: Path, given_blocks: Sequence[Block]) -> Path:
    write_gpx(given_blocks, EPSG, folder / "a.gpx")
    return folder / "a.gpx"


def as_kml(folder: Path, given_blocks: Sequence[Block]) -> Path:
    out = []
    for name, polygon in given_blocks:
        rings = degrees(polygon)
        out.append(f"<Placemark><name>{escape(name)}</name><Polygon>")
        for number, ring in enumerate(rings):
            side = "innerBoundaryIs" if number else "outerBoundaryIs"
            out.append(f"<{side}><LinearRing><coordinates>{coordinates(ring)}</coordinates>"
                       f"</LinearRing></{side}>")  # fmt: skip
        out.append("</Polygon></Placemark>")
    text = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{"".join(out)}</Document></kml>'
    (folder / "a.kml").write_text(text, encoding="utf-8")
    return folder / "a.kml"


def as_wkt_table(folder: Path, given_blocks: Sequence[Block]) -> Path:
    rows = ["name,wkt"]
    for name, polygon in given_blocks:
        quoted = name.replace('"', '""')
        rows.append(f'"{quoted}","{to_lonlat(polygon, EPSG).wkt}"')
    (folder / "a.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder / "a.csv"


def as_geopackage(folder: Path, given_blocks: Sequence[Block]) -> Path:
    (folder / "land.gpkg").unlink(missing_ok=True)
    return packed(folder, {"land": list(given_blocks)})


def as_shapefile(folder: Path, given_blocks: Sequence[Block]) -> Path:
    rings = []
    for _, polygon in given_blocks:
        whole = [polygon.exterior, *polygon.interiors]
        # the shell clockwise, as the format wants it
        rings.append([list(r.coords)[:: 1 if r.is_ccw == bool(i) else -1]
                      for i, r in enumerate(whole)])  # fmt: skip
    names_of = [n for n, _ in given_blocks]
    return shapefile(folder / "a", rings, names_of, epsg=EPSG, encoding="utf-8", cpg=True)


def check(path: Path, given_blocks: Sequence[Block], *, named: bool = True, holes: bool = True,
          **more: object) -> None:  # fmt: skip
    """Compare names (folded, cut) and areas, to 0.1 %."""
    file = look(path, **more)
    assert len(file.outlines) == len(given_blocks)
    for outline, (name, polygon) in zip(file.outlines, given_blocks, strict=True):
        if named:
            assert outline.name == name
        flat = polygon.area if holes else Polygon(polygon.exterior).area
        # the scale grows by at most 5e-6 over the 20 km east and west of the meridian
        assert outline.area_ha == pytest.approx(flat * GROUND / 1e4, rel=1e-3)


@pytest.mark.parametrize(
    "write", [as_geojson, as_gpx, as_kml, as_wkt_table, as_geopackage, as_shapefile]
)
def test_round_trip(write: Callable[[Path, Sequence[Block]], Path], tmp_path: Path) -> None:
    slow = write in (as_geopackage, as_shapefile)

    @settings(max_examples=25 if slow else 60, deadline=None,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(blocks)
    def property_holds(given_blocks: Sequence[Block]) -> None:
        if write is as_shapefile:
            assume(all(len(n.encode()) <= 60 for n, _ in given_blocks))
        check(write(tmp_path, given_blocks), given_blocks)

    property_holds()


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(blocks)
def test_corner_list_round_trip(tmp_path_factory: pytest.TempPathFactory,
                                given_blocks: Sequence[Block]) -> None:  # fmt: skip
    path = tmp_path_factory.mktemp("corners") / "a.csv"
    rows = ["name;lat;lon"]
    for name, polygon in given_blocks:
        quoted = name.replace('"', '""')
        rows.extend(f'"{quoted}";{y:.9f};{x:.9f}' for x, y in degrees(polygon)[0][:-1])
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    check(path, given_blocks, holes=False)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(blocks)
def test_drawing_round_trip(tmp_path_factory: pytest.TempPathFactory,
                            given_blocks: Sequence[Block]) -> None:  # fmt: skip
    folder = tmp_path_factory.mktemp("drawing")
    lines = [("b", closed(list(p.exterior.coords)[:-1]), False) for _, p in given_blocks]
    path = dxf(folder / "a.dxf", *lines, units=6)
    check(path, given_blocks, named=False, holes=False, crs=f"EPSG:{EPSG}")


def test_json_is_plain(tmp_path: Path) -> None:
    square = Polygon([(EAST, NORTH), (EAST + 100, NORTH), (EAST, NORTH + 100)])
    assert json.loads(as_geojson(tmp_path, [("A", square)]).read_text(encoding="utf-8"))
