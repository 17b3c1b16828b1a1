"""A walk round a block with a GPS receiver, made into one ring.

Standing still leaves a ball of points, a bad fix leaves a jump, the last metres run past the
start, and a detour round a tree leaves a small knot.  Each is repaired only where it hardly
changes the area, and told; a walk that really crosses itself is left as it is, so that the gate
names the crossing.  The limits are own estimates from what hand-held receivers do (about 3 to
5 m in the open).
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LinearRing, Polygon

from waterbudget.errors import Note
from waterbudget.outlines.gate import signed_area, without_repeats
from waterbudget.outlines.geodesy import Points

REPEAT_M = 0.05
STOP_RADIUS_M = 5.0
STOP_POINTS = 6
JUMP_TIMES = 10.0
JUMP_LEAST_M = 30.0
KNOT_SHARE = 0.01
KNOTS_SHARE = 0.02
MOST_KNOTS = 200
MOST_CROSSINGS = 5000


def clean_walk(ring: Points, timed: bool) -> tuple[Points, list[Note]]:
    """Return the walk as an unclosed ring, and what was repaired.

    Parameters
    ----------
    ring : array, shape (n, 2)
        [m], in the order walked.
    timed : bool
        The points carry times, so they were logged while walking, not placed by hand.
    """
    notes = []
    before = len(ring)
    ring = without_repeats(ring, REPEAT_M)
    if len(ring) < before:
        notes.append(Note.of("outlines.walk_repeats", count=before - len(ring)))
    ring, jumps = _without_jumps(ring)
    if jumps:
        notes.append(Note.of("outlines.walk_jumps", count=jumps))
    if len(ring) < 4:
        return ring, notes
    if timed or not LinearRing(ring).is_simple:
        ring, stops = _without_stops(ring)
        if stops:
            notes.append(Note.of("outlines.walk_stops", count=stops))
    ring, knots, m2 = _without_knots(ring)
    if knots:
        notes.append(Note.of("outlines.walk_knots", count=knots, m2=round(m2, 1)))
    return ring, notes


def _without_jumps(ring: Points) -> tuple[Points, int]:
    """Drop single points far off a track whose neighbours lie together."""
    jumps = 0
    while len(ring) > 4:
        to_before = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T)
        to_after = np.roll(to_before, -1)
        across = np.hypot(*(np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)).T)
        step = float(np.median(to_before))
        away = np.minimum(to_before, to_after)
        far = (away > JUMP_TIMES * step) & (away > JUMP_LEAST_M) & (across < away / 2)
        hits = np.flatnonzero(far & (across < 3 * max(step, 1.0)))
        if not len(hits):
            break
        ring = np.delete(ring, hits[away[hits].argmax()], axis=0)
        jumps += 1
    return ring, jumps


def _without_stops(ring: Points) -> tuple[Points, int]:
    """Put one point in place of each ball of points round a spot where the walker stood."""
    kept: list[Points] = []
    stops, i = 0, 0
    while i < len(ring):
        j = _ball_end(ring, i)
        ball = ring[i:j]
        if len(ball) >= STOP_POINTS:
            path = float(np.hypot(*np.diff(ball, axis=0).T).sum())
            moved = float(np.hypot(*(ball[-1] - ball[0])))
            if path > 3 * max(moved, 1.0):
                kept.append(np.median(ball, axis=0))
                stops += 1
                i = j
                continue
        kept.append(ring[i])
        i += 1
    return (np.array(kept), stops) if stops and len(kept) >= 3 else (ring, 0)


def _ball_end(ring: Points, start: int) -> int:
    """Return the index after the last of the points that stay within reach of the first."""
    end = start + 1
    while end < len(ring) and np.hypot(*(ring[end] - ring[start])) <= STOP_RADIUS_M:
        end += 1
    return end


def _without_knots(ring: Points) -> tuple[Points, int, float]:
    """Cut off small loops where the walk crosses itself, the start and end included."""
    whole = abs(signed_area(ring))
    knots, lost, work = 0, 0.0, ring
    while knots <= MOST_KNOTS:
        crossing = _first_crossing(work)
        if crossing is None:
            return work, knots, lost
        i, j, spot = crossing
        inner = np.vstack([spot, work[i + 1 : j + 1]])
        outer = np.vstack([spot, work[j + 1 :], work[: i + 1]])
        small, large = sorted((inner, outer), key=lambda r: abs(signed_area(r)))
        area = abs(signed_area(small))
        lost += area
        if area > KNOT_SHARE * whole or lost > KNOTS_SHARE * whole or len(large) < 3:
            break
        work = without_repeats(large, REPEAT_M)
        knots += 1
    return ring, 0, 0.0


def _first_crossing(ring: Points) -> tuple[int, int, Points] | None:
    """Return two edges (by their first corner) that cross or touch, and where."""
    if len(ring) < 4 or Polygon(ring).is_valid:
        return None
    ends = np.roll(ring, -1, axis=0)
    edges = shapely.linestrings(np.stack([ring, ends], axis=1))
    first, second = shapely.STRtree(edges).query(edges, predicate="intersects")
    n = len(ring)
    apart = (second - first > 1) & ~((first == 0) & (second == n - 1))
    pairs = np.column_stack([first[apart], second[apart]])
    if not len(pairs):
        return None
    # the shortest loop first: nested knots come apart from the inside
    span = pairs[:, 1] - pairs[:, 0]
    i, j = pairs[np.minimum(span, n - span).argmin()]
    where = shapely.intersection(edges[i], edges[j])
    return int(i), int(j), shapely.get_coordinates(where)[:1]
