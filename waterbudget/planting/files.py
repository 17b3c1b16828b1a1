"""Tree places as files, and roads, rocks and water from files.

GPX 1.1, GeoJSON (RFC 7946) and CSV; positions are WGS84.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.outlines import from_lonlat
from waterbudget.outlines.export import DECIMALS, escape
from waterbudget.planting.model import Planting
from waterbudget.planting.pegs import positions
from waterbudget.records import TreeMark

LARGEST_BYTES = 50_000_000
Marks = Mapping[tuple[int, int], TreeMark]
COLUMNS = ("row", "number", "state", "lat", "lon", "east_m", "north_m", "along_m")


def _rows(planting: Planting, marks: Marks) -> list[tuple[Any, ...]]:
    lat, lon = positions(planting)
    states = [
        mark.state if (mark := marks.get((int(r), int(n)))) is not None else "living"
        for r, n in zip(planting.row, planting.number, strict=True)
    ]
    return list(zip(
        planting.row.tolist(), planting.number.tolist(), states,
        np.round(lat, DECIMALS).tolist(), np.round(lon, DECIMALS).tolist(),
        np.round(planting.x, 3).tolist(), np.round(planting.y, 3).tolist(),
        np.round(planting.along_m, 3).tolist(), strict=True,
    ))  # fmt: skip


def write_csv(planting: Planting, path: Path, marks: Marks) -> None:
    """Write a line a tree place: row, number, state, position, farm metres, way along the row."""
    with Path(path).open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(_rows(planting, marks))


def write_geojson(planting: Planting, path: Path, marks: Marks, block: str) -> None:
    """Write a point a tree place, with row, number, state and farm metres."""
    features = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, lat]},
         "properties": {"block": block, "row": row, "number": number, "state": state,
                        "east_m": x, "north_m": y, "along_m": along}}
        for row, number, state, lat, lon, x, y, along in _rows(planting, marks)
    ]  # fmt: skip
    text = json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False)
    Path(path).write_text(text + "\n", encoding="utf-8")


def write_gpx(planting: Planting, path: Path, marks: Marks, block: str) -> None:
    """Write a waypoint a tree place, named by row and number: ``12-7``."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="waterbudget" xmlns="http://www.topografix.com/GPX/1/1">',
    ]
    for row, number, state, lat, lon, *_ in _rows(planting, marks):
        about = "" if state == "living" else f"<type>{state}</type>"
        lines.append(f'  <wpt lat="{lat:.{DECIMALS}f}" lon="{lon:.{DECIMALS}f}">'
                     f"<name>{row}-{number}</name><desc>{escape(block)}</desc>{about}</wpt>"
                     )  # fmt: skip
    lines.append("</gpx>")
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")


def mark_lines(path: Path, epsg: int) -> list[tuple[BaseGeometry, str | None]]:
    """Read lines and areas of a GeoJSON or GPX file: a road, a rock, a watercourse.

    Returns
    -------
    list of (shape, name)
        In the farm's coordinates.

    Raises
    ------
    Refused
        ``planting.mark_file`` where the file is neither or holds nothing of the kind.
    """
    path = Path(path)
    if not path.is_file() or path.stat().st_size > LARGEST_BYTES:
        raise Refused("planting.mark_file", file=path.name)
    data = path.read_bytes()
    try:
        found = _of_gpx(path) if data.lstrip()[:1] == b"<" else _of_geojson(json.loads(data))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        raise Refused("planting.mark_file", file=path.name) from None
    shapes = []
    for shape, name in found:
        points = np.asarray(shape.boundary.coords if isinstance(shape, Polygon) else shape.coords)
        if not (np.abs(points[:, 0]) <= 180).all() or not (np.abs(points[:, 1]) <= 84).all():
            raise Refused("planting.mark_file", file=path.name)
        shapes.append((from_lonlat(shape, epsg), name))
    if not shapes:
        raise Refused("planting.mark_file", file=path.name)
    return shapes


def _of_gpx(path: Path) -> list[tuple[BaseGeometry, str | None]]:
    from waterbudget.outlines.gpx import read
    from waterbudget.outlines.source import open_source

    return [
        (LineString(points), raw.name or None)
        for raw in read(open_source(path)).raws
        for rings in raw.polygons
        for points in rings
        if len(points) > 1
    ]


def _of_geojson(value: Any) -> list[tuple[BaseGeometry, str | None]]:
    """Return lines and polygons, however they are wrapped; points are left alone."""
    kind = value["type"]
    if kind == "FeatureCollection":
        return [found for feature in value["features"] for found in _of_geojson(feature)]
    if kind == "Feature":
        name = (value.get("properties") or {}).get("name")
        named = str(name)[:80] if name else None
        return [(shape, named) for shape, _ in _of_geojson(value["geometry"])]
    if kind == "GeometryCollection":
        return [found for part in value["geometries"] for found in _of_geojson(part)]
    many = {"LineString": [value.get("coordinates")], "MultiLineString": value.get("coordinates")}
    if kind in many:
        return [(LineString(_flat(c)), None) for c in many[kind] if len(c) > 1]
    if kind in ("Polygon", "MultiPolygon"):
        parts = [value["coordinates"]] if kind == "Polygon" else value["coordinates"]
        return [(Polygon(_flat(p[0]), [_flat(h) for h in p[1:]]), None) for p in parts]
    return []


def _flat(points: Any) -> list[tuple[float, float]]:
    flat = [(float(p[0]), float(p[1])) for p in points]
    if not all(math.isfinite(v) for p in flat for v in p):
        raise ValueError("a corner is no number")
    return flat
