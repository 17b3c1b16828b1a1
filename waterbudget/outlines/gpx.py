"""GPX 1.0 and 1.1: each track or route is one outline; waypoints are left alone.

The segments of a track are joined in their order.  Where every segment closes on itself, each is
a part of its own; a part that lies inside another is a hole.
"""

from __future__ import annotations

import math

import numpy as np

from waterbudget.errors import Note
from waterbudget.outlines.geodesy import Points
from waterbudget.outlines.model import Raw, RawFile
from waterbudget.outlines.safexml import parse
from waterbudget.outlines.source import Source
from waterbudget.outlines.systems import WGS84


class _Reader:
    """Builds tracks as the elements come by."""

    def __init__(self) -> None:
        self.tracks: list[Raw] = []
        self.points: list[tuple[float, float]] = []
        self.segments: list[Points] = []
        self.track: Raw | None = None
        self.in_point = False
        self.waypoints = 0
        self.unread = 0
        self.text: list[str] = []

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.text = []
        if tag in ("trk", "rte"):
            self.track = Raw([], kind="walk", place=len(self.tracks) + 1)
            self.segments, self.points = [], []
        elif tag in ("trkpt", "rtept"):
            self.in_point = True
            self.points.append((_number(attributes.get("lon")), _number(attributes.get("lat"))))
        elif tag == "wpt":
            self.waypoints += 1
            self.in_point = True

    def data(self, text: str) -> None:
        self.text.append(text)

    def end(self, tag: str) -> None:
        if tag in ("trkpt", "rtept", "wpt"):
            self.in_point = False
        elif self.track is None:
            return
        elif tag == "time" and self.in_point:
            self.track.timed = True
        elif tag in ("name", "desc", "cmt", "type", "number", "src") and not self.in_point:
            text = "".join(self.text).strip()
            if tag == "name":
                self.track.name = self.track.name or text
            elif text:
                self.track.attributes.setdefault(tag, text)
        elif tag == "trkseg":
            self._segment()
        elif tag in ("trk", "rte"):
            self.finish()

    def _segment(self) -> None:
        if self.points:
            self.segments.append(np.array(self.points, dtype=float))
        self.points = []

    def finish(self) -> None:
        """Close the track at hand."""
        if self.track is None:
            return
        self._segment()
        self.track.polygons = [[segment] for segment in self.segments]
        self.tracks.append(self.track)
        self.track = None


def _number(text: str | None) -> float:
    try:
        return float(text) if text is not None else math.nan
    except ValueError:
        return math.nan


def read(source: Source) -> RawFile:
    """Read the tracks and routes of a GPX file.

    Raises
    ------
    Refused
        ``outlines.bad_xml`` where nothing can be read before the file breaks off.
    """
    reader = _Reader()
    broken = parse(source.data, reader)
    reader.finish()
    file = RawFile("gpx", reader.tracks, WGS84(), "standard")
    if broken is not None:
        if not any(raw.polygons for raw in reader.tracks):
            raise broken
        file.warnings.append(Note.of("outlines.cut_off", line=broken.fields["line"]))
    if reader.waypoints:
        file.notes.append(Note.of("outlines.points_left", count=reader.waypoints))
    return file
