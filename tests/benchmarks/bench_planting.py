"""How long setting trees out takes, beside one million bare containment tests of the same outline.

Run it by hand; it prints milliseconds and the ratio measured side by side.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import shapely
from shapely.geometry import Point

from waterbudget.planting import Ground, Layout, set_out

EAST, NORTH, EPSG = 468_600.0, 7_799_500.0, 32736


def best(call: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of several runs [ms]."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        found.append((time.perf_counter() - start) * 1000)
    return min(found)


def main() -> None:
    """Print the comparison: about 20,000 trees in an outline of 200 corners."""
    outline = Point(EAST, NORTH).buffer(320, quad_segs=50)
    points = np.random.default_rng(1).uniform(-320, 320, (1_000_000, 2))
    points += np.array([EAST, NORTH])
    shapely.prepare(outline)
    bare = best(lambda: shapely.contains_xy(outline, points[:, 0], points[:, 1]), 3)
    x = np.arange(EAST - 330, EAST + 330, 2.0)
    y = np.arange(NORTH - 330, NORTH + 330, 2.0)
    across, up = np.meshgrid(x - EAST, y - NORTH)
    z = 1000 + 0.2 * up - 20 * np.exp(-(across**2 + up**2) / 20_000)
    hill = Ground(x=x, y=y, z_m=z)
    print(f"a million containment tests: {bare:.0f} ms")
    for pattern in ("square", "triangle", "contour"):
        layout = Layout(pattern, 4.0, 4.0 if pattern == "contour" else None, 31.0, setback_m=3.0,
                        headland_m=5.0)  # fmt: skip
        ground = hill if pattern == "contour" else Ground(20.0, 180.0)
        trees = set_out(outline, layout, EPSG, ground=ground).trees
        took = best(lambda p=layout, g=ground: set_out(outline, p, EPSG, ground=g))
        print(f"{pattern}: {trees:,} trees in {took:.0f} ms, {took / bare:.2f} of it")


if __name__ == "__main__":
    main()
