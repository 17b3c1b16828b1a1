"""Plain exports of blocks: GeoJSON (RFC 7946) and GPX 1.1 tracks."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from waterbudget.outlines.geodesy import Points, polygons_of, to_lonlat

DECIMALS = 9
"""Of a degree: a tenth of a millimetre."""


def write_geojson(blocks: Sequence[tuple[str, BaseGeometry]], epsg: int, path: Path) -> None:
    """Write blocks as a feature collection, one feature a block, with its name.

    Parameters
    ----------
    blocks : sequence of (name, Polygon or MultiPolygon)
        In the coordinates of ``epsg``.
    """
    features = []
    for name, shape in blocks:
        polygons = [
            [_pairs(ring) for ring in (p.exterior, *p.interiors)]
            for p in polygons_of(shapely.orient_polygons(to_lonlat(shape, epsg)))
        ]
        single = len(polygons) == 1
        geometry = {
            "type": "Polygon" if single else "MultiPolygon",
            "coordinates": polygons[0] if single else polygons,
        }
        features.append({"type": "Feature", "properties": {"name": name}, "geometry": geometry})
    text = json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False)
    Path(path).write_text(text + "\n", encoding="utf-8")


def write_gpx(blocks: Sequence[tuple[str, BaseGeometry]], epsg: int, path: Path) -> None:
    """Write blocks as tracks, one track a block, one closed segment a ring.

    Parameters
    ----------
    blocks : sequence of (name, Polygon or MultiPolygon)
        In the coordinates of ``epsg``.
    """
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="waterbudget" xmlns="http://www.topografix.com/GPX/1/1">',
    ]
    for name, shape in blocks:
        lines.append(f"  <trk><name>{escape(name)}</name>")
        for polygon in polygons_of(to_lonlat(shape, epsg)):
            for ring in (polygon.exterior, *polygon.interiors):
                points = "".join(
                    f'<trkpt lat="{lat:.{DECIMALS}f}" lon="{lon:.{DECIMALS}f}"/>'
                    for lon, lat in shapely.get_coordinates(ring)
                )
                lines.append(f"    <trkseg>{points}</trkseg>")
        lines.append("  </trk>")
    lines.append("</gpx>")
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")


def escape(text: str) -> str:
    """Return text as it may stand in XML 1.0 (control signs have no way to be written there)."""
    text = re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]", "", text)
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _pairs(ring: BaseGeometry) -> list[list[float]]:
    corners: Points = shapely.get_coordinates(ring)
    return [[round(float(lon), DECIMALS), round(float(lat), DECIMALS)] for lon, lat in corners]
