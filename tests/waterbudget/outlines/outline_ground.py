"""A piece of ground for the outline tests, where areas are known by hand.

The farm lies on the central meridian of its UTM zone, where the scale is 0.9996 in every
direction, so a figure of A square metres on the grid has A / 0.9996**2 on the ground
(EPSG guidance note 7-2, transverse Mercator: scale factor at natural origin).
"""

from __future__ import annotations

import itertools
import json
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyproj

LAT, LON = -19.9, 33.0
NEAR = (LAT, LON)
EPSG = 32736
_TO_GRID = pyproj.Transformer.from_crs(4326, EPSG, always_xy=True)
EAST, NORTH = _TO_GRID.transform(LON, LAT)
GROUND = 1 / 0.9996**2
"""Square metres on the ground per square metre of the grid."""

Corners = Sequence[tuple[float, float]]

SQUARE: Corners = ((0, 0), (100, 0), (100, 100), (0, 100))
"""1 ha on the grid: 1.00080 ha on the ground."""
L_FIELD: Corners = ((0, 0), (200, 0), (200, 50), (100, 50), (100, 150), (0, 150))
"""2 ha on the grid: 2.00160 ha on the ground."""
POND: Corners = ((20, 20), (20, 40), (40, 40), (40, 20))
"""0.04 ha inside the square, clockwise."""
BOW_TIE: Corners = ((0, 0), (100, 100), (100, 0), (0, 100))


def ha(m2_on_grid: float) -> float:
    """Return hectares on the ground."""
    return m2_on_grid * GROUND / 10_000


def shift(corners: Corners, dx: float, dy: float = 0.0) -> list[tuple[float, float]]:
    """Return corners moved on the grid [m]."""
    return [(x + dx, y + dy) for x, y in corners]


def closed(corners: Corners) -> list[tuple[float, float]]:
    """Return corners with the first one again at the end."""
    return [*corners, corners[0]]


def grid(corners: Corners) -> list[tuple[float, float]]:
    """Return UTM coordinates [m] of local metres."""
    return [(EAST + x, NORTH + y) for x, y in corners]


def lonlat(corners: Corners, epsg: int = 4326) -> list[tuple[float, float]]:
    """Return longitude, latitude (or the coordinates of another system) of local metres."""
    move = pyproj.Transformer.from_crs(EPSG, epsg, always_xy=True)
    xs, ys = np.array(grid(corners)).T
    return [(float(x), float(y)) for x, y in zip(*move.transform(xs, ys), strict=True)]


def walked(corners: Corners, step: float = 2.0) -> list[tuple[float, float]]:
    """Return points every ``step`` metres along a closed ring of local metres."""
    ring = np.array(closed(corners), dtype=float)
    out: list[tuple[float, float]] = []
    for a, b in itertools.pairwise(ring):
        n = max(int(np.hypot(*(b - a)) / step), 1)
        out.extend((float(x), float(y)) for x, y in a + (b - a) * np.arange(n)[:, None] / n)
    return out


WALK = walked(SQUARE)
"""Round the square in steps of 2 m."""


# --- writers that write exactly what they are told, faults included ---------------------------


def polygon(*rings: Any) -> dict[str, Any]:
    """Return a GeoJSON polygon of rings as they stand."""
    return {"type": "Polygon", "coordinates": [[list(p) for p in ring] for ring in rings]}


def feature(geometry: Any, **properties: Any) -> dict[str, Any]:
    """Return a GeoJSON feature."""
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def geojson(path: Path, *features: dict[str, Any], **members: Any) -> Path:
    """Write a feature collection."""
    text = json.dumps({"type": "FeatureCollection", **members, "features": list(features)})
    path.write_text(text, encoding="utf-8")
    return path


def kml(path: Path, body: str) -> Path:
    """Write a KML document around placemarks."""
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2">'
        f"<Document>{body}</Document></kml>",
        encoding="utf-8",
    )
    return path


def coordinates(corners: Corners, height: str = "") -> str:
    """Return KML coordinates."""
    return " ".join(f"{x:.9f},{y:.9f}{height}" for x, y in corners)


def gpx(path: Path, *tracks: tuple[str, Sequence[Corners]], timed: bool = False,
        more: str = "") -> Path:  # fmt: skip
    """Write tracks, each a name and its segments."""
    out = ['<?xml version="1.0"?><gpx version="1.1" creator="test" '
           'xmlns="http://www.topografix.com/GPX/1/1">', more]  # fmt: skip
    second = 0
    for name, segments in tracks:
        out.append(f"<trk>{f'<name>{name}</name>' if name else ''}")
        for segment in segments:
            out.append("<trkseg>")
            for lon, lat in segment:
                second += 1
                time = f"<time>2025-03-01T08:{second // 60:02d}:{second % 60:02d}Z</time>"
                out.append(
                    f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}">{time if timed else ""}</trkpt>'
                )
            out.append("</trkseg>")
        out.append("</trk>")
    out.append("</gpx>")
    path.write_text("\n".join(out), encoding="utf-8")
    return path


def dxf(
    path: Path,
    *lines: tuple[str, Corners, bool],
    units: int | None = None,
    texts: Sequence[tuple[str, float, float]] = (),
    hatches: Sequence[Corners] = (),
) -> Path:
    """Write light polylines: layer, corners, closed flag."""
    out = []
    if units is not None:
        out += ["0", "SECTION", "2", "HEADER", "9", "$INSUNITS", "70", str(units), "0", "ENDSEC"]
    out += ["0", "SECTION", "2", "ENTITIES"]
    for layer, corners, shut in lines:
        out += ["0", "LWPOLYLINE", "8", layer, "90", str(len(corners)), "70", str(int(shut))]
        for x, y in corners:
            out += ["10", f"{x:.6f}", "20", f"{y:.6f}"]
    for corners in hatches:
        out += ["0", "HATCH", "8", "blocks", "100", "AcDbEntity", "100", "AcDbHatch", "10", "0"]
        out += ["20", "0", "30", "0", "2", "SOLID", "70", "1", "71", "0", "91", "1", "92", "2"]
        out += ["72", "0", "73", "1", "93", str(len(corners))]
        for x, y in corners:
            out += ["10", f"{x:.6f}", "20", f"{y:.6f}"]
        out += ["97", "0", "75", "0", "76", "1", "98", "0"]
    for text, x, y in texts:
        out += ["0", "TEXT", "8", "names", "10", str(x), "20", str(y), "40", "2", "1", text]
    out += ["0", "ENDSEC", "0", "EOF"]
    path.write_text("\n".join(out) + "\n", encoding="utf-8")
    return path


def shapefile(path: Path, rings_of: Sequence[Sequence[Corners] | None],
              names: Sequence[str] | None = None, *, epsg: int | None = None,
              encoding: str = "utf-8", cpg: bool = False, index: bool = True) -> Path:  # fmt: skip
    """Write a polygon shapefile ring by ring, just as told (Esri white paper, July 1998)."""
    records, index_rows, at = b"", b"", 50
    for number, rings in enumerate(rings_of, start=1):
        content = _shape(rings)
        words = len(content) // 2
        records += struct.pack(">ii", number, words) + content
        index_rows += struct.pack(">ii", at, words)
        at += 4 + words
    box = _box([r for rings in rings_of if rings for r in rings])
    for suffix, body in ((".shp", records), (".shx", index_rows)):
        if suffix == ".shx" and not index:
            continue
        head = struct.pack(">iiiiiii", 9994, 0, 0, 0, 0, 0, 50 + len(body) // 2)
        head += struct.pack("<ii8d", 1000, 5, *box, 0, 0, 0, 0)
        path.with_suffix(suffix).write_bytes(head + body)
    if names is not None:
        path.with_suffix(".dbf").write_bytes(_table(names, encoding))
    if cpg:
        path.with_suffix(".cpg").write_text(encoding)
    if epsg is not None:
        wkt = pyproj.CRS.from_epsg(epsg).to_wkt("WKT1_ESRI")
        path.with_suffix(".prj").write_text(wkt)
    return path.with_suffix(".shp")


def _box(rings: Sequence[Corners]) -> tuple[float, float, float, float]:
    points = np.array([p for r in rings for p in r] or [(0, 0)], dtype=float)
    return (*points.min(axis=0), *points.max(axis=0))


def _shape(rings: Sequence[Corners] | None) -> bytes:
    if rings is None:
        return struct.pack("<i", 0)
    count = sum(len(r) for r in rings)
    out = struct.pack("<i4dii", 5, *_box(rings), len(rings), count)
    start = 0
    for ring in rings:
        out += struct.pack("<i", start)
        start += len(ring)
    return out + b"".join(struct.pack("<dd", *p) for ring in rings for p in ring)


def _table(names: Sequence[str], encoding: str) -> bytes:
    width = 60
    rows = b"".join(b" " + n.encode(encoding).ljust(width)[:width] for n in names)
    head = struct.pack("<B3BIHH20x", 3, 125, 1, 1, len(names), 65, width + 1)
    return (
        head
        + b"BLOCK".ljust(11, b"\0")
        + b"C"
        + bytes(4)
        + bytes([width, 0])
        + bytes(14)
        + (b"\r" + rows + b"\x1a")
    )
