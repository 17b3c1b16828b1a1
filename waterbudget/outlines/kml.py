"""KML 2.x (also inside KMZ): placemarks in any depth of folders; heights are dropped.

Links to other files (``NetworkLink``, overlays) are counted and told, never opened.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np

from waterbudget.errors import Note
from waterbudget.outlines.geodesy import Points
from waterbudget.outlines.model import Raw, RawFile
from waterbudget.outlines.safexml import parse
from waterbudget.outlines.source import Source
from waterbudget.outlines.systems import WGS84


class _Tree:
    """Builds a tree of the elements, without namespaces."""

    def __init__(self) -> None:
        self.builder = ET.TreeBuilder()
        self.start = self.builder.start
        self.end = self.builder.end
        self.data = self.builder.data


def read(source: Source, layer: str | None = None) -> RawFile:
    """Read every placemark that holds a polygon or a line.

    Parameters
    ----------
    layer : str or None
        Take only the folder of this name (and what is inside it).

    Raises
    ------
    Refused
        ``outlines.bad_xml``, ``outlines.xml_doctype``.
    """
    tree = _Tree()
    broken = parse(source.data, tree)
    if broken is not None:
        raise broken
    root = tree.builder.close()
    file = RawFile("kml", [], WGS84(), "standard")
    points = 0
    for folders, placemark in _placemarks(root, ()):
        raw = _raw(placemark, len(file.raws) + 1)
        if raw is None:
            points += 1
            continue
        if folders:
            raw.attributes.setdefault("folder", " / ".join(folders))
        if layer is None or layer.casefold() in (f.casefold() for f in folders):
            file.raws.append(raw)
    if points:
        file.notes.append(Note.of("outlines.points_left", count=points))
    if links := sum(1 for _ in root.iter("NetworkLink")):
        file.notes.append(Note.of("outlines.links_left", count=links))
    return file


def _placemarks(
    element: ET.Element, folders: tuple[str, ...]
) -> list[tuple[tuple[str, ...], ET.Element]]:
    found = []
    for child in element:
        if child.tag == "Placemark":
            found.append((folders, child))
        elif child.tag in ("Folder", "Document", "kml"):
            name = (child.findtext("name") or "").strip()
            inside = (*folders, name) if child.tag == "Folder" and name else folders
            found.extend(_placemarks(child, inside))
    if element.tag == "Placemark":
        found.append((folders, element))
    return found


def _raw(placemark: ET.Element, place: int) -> Raw | None:
    """Return the outline of a placemark; None where it only marks a point."""
    raw = Raw([], place=place, name=(placemark.findtext("name") or "").strip() or None)
    for data in placemark.iter("Data"):
        raw.attributes[data.get("name", "")] = (data.findtext("value") or "").strip()
    for data in placemark.iter("SimpleData"):
        raw.attributes[data.get("name", "")] = (data.text or "").strip()
    raw.attributes.pop("", None)
    for polygon in placemark.iter("Polygon"):
        sides = [*polygon.iter("outerBoundaryIs"), *polygon.iter("innerBoundaryIs")]
        rings = [_ring(r) for side in sides for r in side.iter("LinearRing")]
        if rings:
            raw.polygons.append(rings)
    if not raw.polygons:
        lines = [line for tag in ("LineString", "LinearRing") for line in placemark.iter(tag)]
        raw.polygons = [[_ring(line)] for line in lines]
        raw.kind = "line"
    if not raw.polygons and (tracks := list(placemark.iter("Track"))):
        raw.polygons = [[_track(t)] for t in tracks]
        raw.kind, raw.timed = "walk", any(t.find("when") is not None for t in tracks)
    if not raw.polygons and any(placemark.iter("Point")):
        return None
    return raw


def _ring(element: ET.Element) -> Points:
    text = re.sub(r"\s*,\s*", ",", element.findtext("coordinates") or "")
    return _points([word.split(",") for word in text.split()])


def _track(element: ET.Element) -> Points:
    return _points([(coord.text or "").split() for coord in element.iter("coord")])


def _points(corners: list[list[str]]) -> Points:
    pairs = [(_number(c, 0), _number(c, 1)) for c in corners]
    return np.array(pairs, dtype=float).reshape(-1, 2)


def _number(corner: list[str], index: int) -> float:
    try:
        return float(corner[index])
    except (ValueError, IndexError):
        return math.nan
