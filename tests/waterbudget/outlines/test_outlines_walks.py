"""Walks (GPX) with stops, knots, jumps and broken ends."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from outline_cases import Right, check_right, write
from outline_ground import L_FIELD, POND, WALK, closed, gpx, lonlat, walked
from shapely.geometry import Polygon

rng = np.random.default_rng(7)
STOP = [(float(100 + x), float(50 + y)) for x, y in rng.normal(0, 1.2, (25, 2))]
_at = WALK.index((100.0, 50.0))
STOPPED = [*WALK[:_at], *STOP, *WALK[_at:]]
JUMPED = [*WALK[:30], (400.0, 900.0), *WALK[30:]]
KNOT = [(60.0, 0.0), (64.0, 4.0), (60.0, 6.0), (58.0, 3.0), (63.0, -1.0)]
KNOTTED = [*WALK[:30], *KNOT, *WALK[33:]]
OVERSHOT = [*WALK, (0.0, 0.0), (6.0, 1.0), (12.0, -1.0), (14.0, 1.5)]
SHORT_OF_HOME = WALK[:-5]  # the last point lies 12 m from the first
ROUGH = [
    (x + float(dx), y + float(dy))
    for (x, y), dx, dy in zip(
        walked(L_FIELD, 1.5), *rng.normal(0, 0.3, (2, len(walked(L_FIELD, 1.5)))), strict=True
    )
]


FILES: dict[str, Right] = {
    "walk": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(WALK)])),
        {"A": 10000},
        told=["outlines.closed_gap"],
    ),
    "walk with a shaky hand": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(ROUGH)])), {"A": Polygon(ROUGH).area}
    ),
    "walk with a stop": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(STOPPED)]), timed=True),
        {"A": 10000},
        told=["outlines.walk_stops"],
    ),
    "walk with a stop, no times": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(STOPPED)])),
        {"A": 10000},
        told=["outlines.walk_stops"],
    ),
    "walk with repeats": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat([p for p in WALK for _ in range(3)])])),
        {"A": 10000},
        told=["outlines.walk_repeats"],
    ),
    "walk with a jump": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(JUMPED)])),
        {"A": 10000},
        told=["outlines.walk_jumps"],
    ),
    "walk with a knot": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(KNOTTED)])),
        {"A": 10000},
        told=["outlines.walk_knots"],
    ),
    "walk past its start": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(OVERSHOT)])),
        {"A": 10000},
        told=["outlines.walk_knots"],
    ),
    "walk that stops short of home": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(SHORT_OF_HOME)])),
        {"A": 10000},
        told=["outlines.closed_gap"],
    ),
    "walk in three segments": Right(
        lambda f: gpx(
            f / "a.gpx", ("A", [lonlat(WALK[:70]), lonlat(WALK[70:90]), lonlat(WALK[90:])])
        ),
        {"A": 10000},
        told=["outlines.segments_joined"],
    ),
    "walk with a segment lost between": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(WALK[:55]), lonlat(WALK[75:])])),
        {"A": 10000},
        told=["outlines.segments_joined", "outlines.segment_gap"],
    ),
    "walk round the block and its pond": Right(
        lambda f: gpx(f / "a.gpx", ("A", [lonlat(WALK), lonlat(walked(POND, 1))])),
        {"A": 9600},
        told=["outlines.walked_holes"],
        parts_holes=(1, 1),
    ),
    "waypoints and a route": Right(
        lambda f: write(
            "a.gpx",
            "<gpx><wpt lat='-19.9' lon='33'><name>Pump</name></wpt><rte><name>R"
            "</name>"
            + "".join(
                f"<rtept lat='{y}' lon='{x}'><name>p</name></rtept>"
                for x, y in lonlat(closed(L_FIELD))
            )
            + "</rte></gpx>",
        )(f),
        {"R": 20000},
        told=["outlines.points_left"],
    ),
    "walk cut off by an empty battery": Right(
        lambda f: write("a.gpx", gpx(f / "b.gpx", ("A", [lonlat(WALK)])).read_bytes()[:-60])(f),
        {"A": 10000},
        warned=["outlines.cut_off"],
    ),
    "the way home beside the walk": Right(
        lambda f: gpx(
            f / "a.gpx",
            ("A", [lonlat(WALK)]),
            ("Home", [lonlat([(0, 0), (800, 0), (900, 700), (2000, 900)])]),
        ),
        {"A": 10000},
        skipped={"Home": "outlines.open_line"},
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_read_right(name: str, tmp_path: Path) -> None:
    check_right(FILES[name], tmp_path)
