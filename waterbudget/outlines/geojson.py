"""GeoJSON: RFC 7946, with the ``crs`` member of the 2008 specification understood."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np

from waterbudget.errors import Note, Refused
from waterbudget.outlines.gate import signed_area
from waterbudget.outlines.geodesy import Points
from waterbudget.outlines.model import Raw, RawFile
from waterbudget.outlines.source import Source, decode, load_json
from waterbudget.outlines.systems import WGS84, crs_from_code

GEOMETRIES = ("Polygon", "MultiPolygon", "LineString", "MultiLineString", "Point", "MultiPoint",
              "GeometryCollection")  # fmt: skip


def read(source: Source) -> RawFile:
    """Read every feature with a polygon or a line.

    Raises
    ------
    Refused
        ``outlines.bad_json``, ``outlines.not_geojson``.
    """
    tops = _load(source.data)
    raws = [_raw(f, place) for place, f in enumerate(_features(tops), start=1)]
    declared = _declared(tops)
    if declared is None:
        for raw in raws:
            raw.turned = raw.kind == "polygon" and _against_the_standard(raw)
        return RawFile("geojson", raws, WGS84(), "standard")
    crs = crs_from_code(declared)
    if crs is None:
        note = Note.of("outlines.system_not_understood", value=declared[:80])
        return RawFile("geojson", raws, notes=[note])
    return RawFile("geojson", raws, crs, "declared")


def _load(data: bytes) -> list[Any]:
    """Return the top objects: one, or one a line (a GeoJSON text sequence)."""
    try:
        return [load_json(data)]
    except Refused:
        text, _ = decode(data, None)
        lines = [line.strip("\x1e \t\r") for line in text.split("\n")]
        try:
            tops = [json.loads(line) for line in lines if line]
        except (json.JSONDecodeError, RecursionError):
            tops = []
        if len(tops) > 1 and all(isinstance(t, dict) for t in tops):
            return tops
        raise


def _features(tops: list[Any]) -> Iterator[dict[str, Any]]:
    for top in tops:
        kind = top.get("type") if isinstance(top, dict) else None
        if kind == "FeatureCollection" and isinstance(top.get("features"), list):
            yield from (f for f in top["features"] if isinstance(f, dict))
        elif kind == "Feature":
            yield top
        elif kind in GEOMETRIES:
            yield {"geometry": top}
        else:
            raise Refused("outlines.not_geojson", value=str(kind)[:40])


def _declared(tops: list[Any]) -> str | None:
    """Return the name in a 2008 ``crs`` member (a link is named, never followed)."""
    for top in tops:
        member = top.get("crs")
        if isinstance(member, dict):
            properties = member.get("properties")
            if isinstance(properties, dict):
                for key in ("name", "code", "href"):
                    if key in properties:
                        return str(properties[key])
            return "?"
    return None


def _raw(feature: dict[str, Any], place: int) -> Raw:
    properties = feature.get("properties")
    attributes = {} if not isinstance(properties, dict) else {
        str(k): _text(v) for k, v in properties.items()
    }  # fmt: skip
    if "id" in feature and "id" not in attributes:
        attributes["id"] = _text(feature["id"])
    raw = Raw([], place=place, attributes=attributes)
    try:
        lines = _collect(feature.get("geometry"), raw, depth=0)
    except (TypeError, ValueError, LookupError):
        raw.bad = Note.of("outlines.geometry_broken")
        return raw
    if not raw.polygons and lines:
        raw.polygons, raw.kind = lines, "line"
    return raw


def _collect(geometry: Any, raw: Raw, depth: int) -> list[list[Points]]:
    """Put the polygons of a geometry into ``raw`` and return its lines."""
    if geometry is None:
        return []
    if not isinstance(geometry, dict) or depth > 10:
        raise ValueError
    kind, coordinates = geometry.get("type"), geometry.get("coordinates") or []
    lines: list[list[Points]] = []
    if kind == "Polygon":
        raw.polygons.append(_rings(coordinates))
    elif kind == "MultiPolygon":
        raw.polygons.extend(_rings(rings) for rings in coordinates)
    elif kind == "LineString":
        lines.append([_points(coordinates)])
    elif kind == "MultiLineString":
        lines.extend([_points(line)] for line in coordinates)
    elif kind == "GeometryCollection":
        for part in geometry["geometries"]:
            lines.extend(_collect(part, raw, depth + 1))
    elif kind == "Point":
        raw.points.append((0.0, 0.0))
    elif kind == "MultiPoint":
        raw.points.extend((0.0, 0.0) for _ in coordinates)
    else:
        raise ValueError
    return lines


def _rings(coordinates: Any) -> list[Points]:
    return [_points(ring) for ring in coordinates]


def _points(corners: Any) -> Points:
    pairs = [(corner[0], corner[1]) for corner in corners or ()]
    if not all(isinstance(v, (int, float)) or v is None for pair in pairs for v in pair):
        raise ValueError
    return np.array(pairs, dtype=float).reshape(-1, 2)


def _against_the_standard(raw: Raw) -> bool:
    """Tell whether a ring runs the other way round than RFC 7946 section 3.1.6 says."""
    for rings in raw.polygons:
        for number, ring in enumerate(rings):
            if len(ring) > 2 and (signed_area(ring) < 0) == (number == 0):
                return True
    return False


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return json.dumps(value, ensure_ascii=False) if isinstance(value, (dict, list)) else str(value)
