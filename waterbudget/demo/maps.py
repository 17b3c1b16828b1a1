"""The demo's outlines as files: GeoJSON as drawn, GPX as walked."""

from __future__ import annotations

import datetime as dt
import json
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
import shapely
from numpy.random import RandomState
from pyproj import Transformer
from shapely import LinearRing
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from waterbudget.demo import blocks, hillside
from waterbudget.demo.place import EAST0, EPSG, NORTH0, SEED

WALKED = ("Weir", "Swallow", "Lookout")
"""Blocks somebody walked round with a receiver in the hand."""

WALK_STARTS = dt.datetime(2024, 5, 14, 6, 10, tzinfo=dt.UTC)
PACE_M, STEP_S = 5.5, 5
"""A point every 5 s or so of a slow walk."""

NOISE_M, NOISE_LIMIT_M = 0.35, 0.65
"""Usual and largest slip of a walked point, each way [m]: never 1 m off in all."""


@cache
def utm() -> dict[str, BaseGeometry]:
    """Return every block's outline in the farm's UTM zone [m]."""
    return blocks.outlines()


@cache
def lonlat() -> dict[str, BaseGeometry]:
    """Return every block's outline as longitude, latitude, to seven decimals (1 cm)."""
    return {
        name: shapely.transform(shape, lambda xy: np.round(_to_lonlat(xy), 7))
        for name, shape in utm().items()
    }


def outlines_geojson() -> str:
    """Return ``outlines.geojson`` (RFC 7946: WGS 84, outer rings anticlockwise)."""
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": _geometry(shape)}
        for name, shape in lonlat().items()
    ]
    lines = ",\n".join(json.dumps(f, separators=(",", ":")) for f in features)
    return f'{{"type":"FeatureCollection","features":[\n{lines}\n]}}\n'


def walk_gpx() -> str:
    """Return ``walk.gpx`` (GPX 1.1): three blocks walked, each point slipping by under 1 m."""
    lots, time, tracks = RandomState(SEED + 1), WALK_STARTS, []
    for name in WALKED:
        points = []
        for lon, lat, height in _walk(utm()[name], lots):
            time += dt.timedelta(seconds=STEP_S)
            points.append(
                f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{height:.1f}</ele>'
                f"<time>{time:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>"
            )
        time += dt.timedelta(minutes=12)
        inside = "\n".join(points)
        tracks.append(f"<trk><name>{escape(name)}</name><trkseg>\n{inside}\n</trkseg></trk>")
    body = "\n".join(tracks)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="waterbudget demo (invented)" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"{body}\n</gpx>\n"
    )


def _walk(shape: BaseGeometry, lots: RandomState) -> list[tuple[float, float, float]]:
    """Return longitude, latitude, height of the points of one walk, almost back to its start."""
    ring = shape.exterior
    paces = np.arange(0.0, ring.length - 0.3 * PACE_M, PACE_M)
    paces = paces + lots.uniform(-0.8, 0.8, paces.size)
    at = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.abs(paces)))
    slip = np.zeros_like(at)
    push = lots.normal(0, NOISE_M * 0.5, at.shape)
    for i in range(1, len(at)):
        slip[i] = 0.85 * slip[i - 1] + push[i]
    at = at + np.clip(slip, -NOISE_LIMIT_M, NOISE_LIMIT_M)
    height = hillside.height(at[:, 0] - EAST0, at[:, 1] - NORTH0)
    lon, lat = _to_lonlat(at).T
    return list(zip(lon.tolist(), lat.tolist(), height.tolist(), strict=True))


def _geometry(shape: BaseGeometry) -> dict[str, Any]:
    parts = [orient(part) for part in getattr(shape, "geoms", [shape])]
    rings = [
        [
            [[round(x, 7), round(y, 7)] for x, y in ring.coords]
            for ring in (p.exterior, *p.interiors)
        ]
        for p in parts
    ]
    if len(parts) == 1:
        return {"type": "Polygon", "coordinates": rings[0]}
    return {"type": "MultiPolygon", "coordinates": rings}


def _positions(ring: LinearRing) -> list[list[float]]:
    return [[round(x, 7), round(y, 7)] for x, y in ring.coords]


@cache
def _transformer() -> Transformer:
    return Transformer.from_crs(EPSG, 4326, always_xy=True)


def _to_lonlat(xy: np.ndarray) -> np.ndarray:
    return np.column_stack(_transformer().transform(xy[:, 0], xy[:, 1]))
