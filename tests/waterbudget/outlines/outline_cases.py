"""The kinds of hard file, and builders of files with one fault each.

Areas are worked out by hand on the grid (see ``outline_ground.py``); a hectare on the grid is
1.00080 ha on the ground.  Every file is made here, corner by corner, so the fault in it can be
read.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from outline_ground import EPSG, NEAR, closed, feature, geojson, grid, ha, lonlat, polygon
from shapely.geometry import Polygon

from waterbudget import tables
from waterbudget.errors import Note, Question, Refused
from waterbudget.outlines import OutlineFile, read_outlines

Build = Callable[[Path], Path]


@dataclass
class Right:
    """A file that is read: name to m2 on the grid, and what is told."""

    build: Build
    m2: dict[str, float]
    told: Sequence[str] = ()
    warned: Sequence[str] = ()
    skipped: dict[str, str] = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)
    parts_holes: tuple[int, int] | None = None


@dataclass
class Asked:
    """A file that asks, and what it gives once answered."""

    build: Build
    answers: dict[str, str]
    m2: dict[str, float]
    suggested: str | None = None
    more: dict[str, Any] = field(default_factory=dict)


@dataclass
class No:
    """A file that is refused."""

    build: Build
    code: str
    more: dict[str, Any] = field(default_factory=dict)


def write(name: str, text: str | bytes) -> Build:
    """Return a builder of one file."""

    def build(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return build


def fields(*shapes: tuple[str | None, Any], name: str = "name") -> Build:
    """Return a builder of a GeoJSON file: block name and geometry."""
    features = [feature(g, **({} if n is None else {name: n})) for n, g in shapes]
    return lambda folder: geojson(folder / "blocks.geojson", *features)


def area(*rings: Any) -> dict[str, Any]:
    """Return a GeoJSON polygon of rings given in local metres, closed."""
    return polygon(*(lonlat(closed(r)) for r in rings))


def zipped(name: str, build: Build, *, inside: str = "") -> Build:
    """Return a builder of an archive of everything ``build`` makes."""

    def make(folder: Path) -> Path:
        (folder / "in").mkdir()
        build(folder / "in")
        with zipfile.ZipFile(folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted((folder / "in").iterdir()):
                archive.write(file, f"{inside}{file.name}")
        return folder / name

    return make


def multi(*polygons: dict[str, Any]) -> dict[str, Any]:
    """Return a GeoJSON multipolygon."""
    return {"type": "MultiPolygon", "coordinates": [p["coordinates"] for p in polygons]}


def line(corners: Any) -> dict[str, Any]:
    """Return a GeoJSON line."""
    return {"type": "LineString", "coordinates": [list(p) for p in lonlat(corners)]}


def csv(columns: str, rows: Sequence[Sequence[object]], *, sep: str = ",") -> Build:
    """Return a builder of a delimited file."""
    text = columns + "\n" + "\n".join(sep.join(str(c) for c in row) for row in rows) + "\n"
    return write("corners.csv", text)


def packed(folder: Path, layers: dict[str, list[tuple[str, Any]]], epsg: int = EPSG) -> Path:
    """Write a GeoPackage of layers of named shapes."""
    import geopandas

    for layer, rows in layers.items():
        frame = geopandas.GeoDataFrame(
            {"name": [n for n, _ in rows]}, geometry=[g for _, g in rows], crs=epsg
        )
        frame.to_file(folder / "land.gpkg", layer=layer, driver="GPKG")
    return folder / "land.gpkg"


def utm(*rings: Any) -> Polygon:
    """Return a polygon in the farm's grid."""
    return Polygon(grid(rings[0]), [grid(r) for r in rings[1:]])


def look(path: Path, **more: Any) -> OutlineFile:
    """Read a file as the farm of these tests would."""
    return read_outlines(path, **{"epsg": EPSG, "near": NEAR, **more})


def check_areas(file: OutlineFile, m2: dict[str, float]) -> None:
    """Compare names and areas, to 0.1 %."""
    assert {o.name for o in file.outlines} == set(m2)
    for outline in file.outlines:
        assert outline.area_ha == pytest.approx(ha(m2[outline.name]), rel=1e-3)
        assert outline.shape.is_valid


def spoken(thing: Note | Question | Refused) -> str:
    """Return the sentence with its fields; fails where one is missing."""
    return tables.sentences()[thing.code].format(**thing.fields)


def check_right(case: Right, folder: Path) -> None:
    """Read a file and compare everything the case says."""
    file = look(case.build(folder), **case.more)
    check_areas(file, case.m2)
    for note in (*file.notes, *file.warnings, *(n for o in file.outlines for n in o.notes)):
        assert spoken(note)
    for left in file.skipped:
        assert spoken(left.why)
    told = {n.code for n in file.notes} | {n.code for o in file.outlines for n in o.notes}
    assert set(case.told) <= told
    assert sorted(n.code for n in file.warnings) == sorted(case.warned)
    assert {s.name: s.why.code for s in file.skipped} == case.skipped
    if case.parts_holes is not None:
        assert (file.outlines[0].parts, file.outlines[0].holes) == case.parts_holes
