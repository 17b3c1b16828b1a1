"""From the corners of a file to shapes in the farm's metres, one feature at a time."""

from __future__ import annotations

import itertools
import math

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from waterbudget.errors import Note, Question, Refused
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.gate import GAP_M, Area, check_shape, signed_area
from waterbudget.outlines.geodesy import Points
from waterbudget.outlines.model import Raw
from waterbudget.outlines.place import Position, far_fields, spot_of
from waterbudget.outlines.systems import Mover
from waterbudget.outlines.walk import clean_walk

WALK_GAP_M = 20.0
WALK_GAP_SHARE = 0.1
OPEN_SHARE = 0.3
JOIN_TOLD_M = 20.0
"""Own estimates: a walk that ends within 20 m and a tenth of its length of the start came home;
a line whose ends lie further apart than 0.3 of its length is a road or a pipe, not an outline."""


class LeftOut(Exception):
    """This feature cannot be used; the note says why."""

    def __init__(self, code: str, **fields: object) -> None:
        self.why = Note(code, dict(fields))
        super().__init__(code)


class Builder:
    """Makes shapes of features, asking once whether open ones are to be closed."""

    def __init__(self, mover: Mover, epsg: int, near: Position | None, desk: Desk) -> None:
        self.mover, self.epsg, self.near, self.desk = mover, epsg, near, desk

    def shape(self, raw: Raw) -> tuple[Area, list[Note]] | None:
        """Return the shape and what was repaired; None while a question about it is open.

        Raises
        ------
        LeftOut
            With the reason.
        """
        if raw.bad is not None:
            raise LeftOut(raw.bad.code, **raw.bad.fields)
        if not any(len(ring) for rings in raw.polygons for ring in rings):
            raise LeftOut("outlines.no_geometry")
        if not all(np.isfinite(ring).all() for rings in raw.polygons for ring in rings):
            raise LeftOut("outlines.not_numbers")
        spot = spot_of(raw, self.mover, self.near)
        if not spot.fits:
            if spot.lat is None or spot.lon is None:
                raise LeftOut("outlines.off_the_map")
            raise LeftOut("outlines.far", **far_fields(spot))
        notes = list(raw.notes)
        if raw.turned:
            notes.append(Note.of("outlines.turned", count=1))
        parts = [
            [self.mover.metres(ring) for ring in rings]
            for rings in raw.polygons
            if rings and len(rings[0])
        ]
        if not all(np.isfinite(ring).all() for rings in parts for ring in rings):
            raise LeftOut("outlines.off_the_map")
        polygons = self._polygons(raw, parts, notes)
        if polygons is None:
            return None
        shape = polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)
        try:
            checked, repairs = check_shape(shape, self.epsg)
        except Refused as refusal:
            raise LeftOut(refusal.code, **refusal.fields) from None
        return checked, [*notes, *repairs]

    def _polygons(
        self, raw: Raw, parts: list[list[Points]], notes: list[Note]
    ) -> list[Polygon] | None:
        if raw.kind == "walk":
            parts = _segments(parts, notes)
        elif raw.kind == "line":
            parts = _merged(parts)
        closed: list[list[Points]] = []
        for rings in parts:
            done = []
            for written in rings:
                ring = self._closed(written, raw, notes)
                if ring is None:
                    return None
                if raw.kind == "walk":
                    ring, repairs = clean_walk(ring, raw.timed)
                    notes.extend(repairs)
                done.append(ring)
            closed.append(done)
        polygons = [_polygon(rings) for rings in closed]
        if raw.kind == "walk" and len(polygons) > 1:
            polygons = _nested(polygons, notes)
        return polygons

    def _closed(self, ring: Points, raw: Raw, notes: list[Note]) -> Points | None:
        """Return the ring without its closing corner, None while it is being asked.

        Raises
        ------
        LeftOut
            Where it is open and is not to be closed.
        """
        gap = math.dist(ring[0], ring[-1]) if len(ring) else 0.0
        if gap == 0 and len(ring) > 1:
            return ring[:-1]
        if raw.kind == "corners" or len(ring) < 3:
            return ring
        length = float(np.hypot(*np.diff(ring, axis=0).T).sum())
        tolerance = GAP_M
        if raw.kind == "walk":
            tolerance = max(GAP_M, min(WALK_GAP_M, WALK_GAP_SHARE * length))
        if gap <= tolerance:
            notes.append(Note.of("outlines.closed_gap", gap_m=round(gap, 1)))
            return ring
        if raw.kind in ("line", "walk") and gap > OPEN_SHARE * length:
            raise LeftOut("outlines.open_line", gap_m=round(gap))
        fields = {"name": raw.name or "", "gap_m": round(gap)}
        answer = self.desk.ask(Question("close", "outlines.ask_close", fields, ("yes", "no")))
        if answer is None:
            return None
        if answer == "no":
            raise LeftOut("outlines.open", gap_m=round(gap, 1))
        notes.append(Note.of("outlines.closed_gap", gap_m=round(gap, 1)))
        return ring


def _polygon(rings: list[Points]) -> Polygon:
    shell, *holes = rings
    if len(shell) < 3:
        raise LeftOut("outlines.too_few_corners", corners=len(shell))
    # the way round is no fault of the grower's, so the gate gets it right way round
    holes = [h for h in holes if len(h) >= 3]
    return Polygon(_turn(shell, True), [_turn(h, False) for h in holes])


def _turn(ring: Points, left: bool) -> Points:
    return ring if (signed_area(ring) >= 0) == left else ring[::-1]


def _segments(parts: list[list[Points]], notes: list[Note]) -> list[list[Points]]:
    """Join the segments of a walk in their order, unless each comes home on its own."""
    segments = [rings[0] for rings in parts if len(rings[0])]
    if len(segments) <= 1:
        return [segments] if segments else parts
    if all(_comes_home(s) for s in segments):
        return [[s] for s in segments]
    gaps = [math.dist(a[-1], b[0]) for a, b in itertools.pairwise(segments)]
    notes.append(Note.of("outlines.segments_joined", count=len(segments)))
    if max(gaps) > JOIN_TOLD_M:
        notes.append(Note.of("outlines.segment_gap", gap_m=round(max(gaps))))
    return [[np.vstack(segments)]]


def _comes_home(ring: Points) -> bool:
    if len(ring) < 4:
        return False
    length = float(np.hypot(*np.diff(ring, axis=0).T).sum())
    return math.dist(ring[0], ring[-1]) <= max(GAP_M, min(WALK_GAP_M, WALK_GAP_SHARE * length))


def _merged(parts: list[list[Points]]) -> list[list[Points]]:
    """Join lines that meet end to end."""
    lines = [rings[0] for rings in parts if len(rings[0]) >= 2]
    if len(lines) <= 1:
        return parts
    merged = shapely.line_merge(shapely.multilinestrings([shapely.linestrings(a) for a in lines]))
    return [[shapely.get_coordinates(line)] for line in shapely.get_parts(merged)]


def _nested(polygons: list[Polygon], notes: list[Note]) -> list[Polygon]:
    """Make a hole of each walked ring that lies inside another."""
    ordered = sorted(polygons, key=lambda p: -p.area)
    shells: list[tuple[Polygon, list[Polygon]]] = []
    for polygon in ordered:
        for shell, holes in shells:
            if shell.is_valid and polygon.is_valid and shell.contains(polygon):
                holes.append(polygon)
                break
        else:
            shells.append((polygon, []))
    if count := sum(len(holes) for _, holes in shells):
        notes.append(Note.of("outlines.walked_holes", count=count))
    return [
        Polygon(s.exterior, [shapely.reverse(h.exterior) for h in holes]) for s, holes in shells
    ]
