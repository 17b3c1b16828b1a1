"""Sixteen block outlines that lie along the contours of the invented hillside.

A block is drawn the way such blocks come about: its long edges follow two contours (a track falls
a little across them, so the levels differ from end to end), its ends are a gully or a track up
the hill, its corners are rounded where a tractor turns.  Rock is left out as a hole; a wet
hollow splits one block in two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import RandomState
from shapely import Polygon, affinity, make_valid, set_precision
from shapely.geometry.base import BaseGeometry

from waterbudget.demo import hillside
from waterbudget.demo.hillside import Values
from waterbudget.demo.place import EAST0, NORTH0, SEED


@dataclass(frozen=True)
class End:
    """The line that ends a block: a gully's side, or a track up the hill.

    Attributes
    ----------
    bearing : float
        Of a track, where it meets the ring 900 m down from the top [rad].
    lean : float
        How the track's bearing grows with each 100 m down [rad].
    gully : str
        Name of the gully; then ``offset`` [m], positive east, is the way from its middle.
    """

    bearing: float = 0.0
    lean: float = 0.0
    gully: str = ""
    offset: float = 0.0

    def line(self) -> tuple[Values, Values]:
        """Return east and north of the line, from the top downwards [m]."""
        down = np.arange(300.0, 1500.0, 8.0)
        if self.gully:
            bearing = hillside.GULLIES[self.gully].at(down) + self.offset / down
        else:
            bend = 0.012 * np.sin(down / 47.0 + 9.0 * self.bearing)
            bearing = self.bearing + self.lean * (down - 900.0) / 100.0 + bend
        return hillside.from_polar(down, bearing)


@dataclass(frozen=True)
class Hole:
    """Ground inside a block that is not planted.

    Attributes
    ----------
    along, across : float
        Where it lies: share of the way from west to east and from the lower to the upper edge.
    length, width : float
        [m]
    """

    along: float
    across: float
    length: float
    width: float


@dataclass(frozen=True)
class Drawing:
    """How one block is drawn.

    Attributes
    ----------
    low, high : tuple of float
        Level of the lower and the upper edge at the west and the east end [m above the sea].
    west, east : End
    holes : tuple of Hole
    split : End or None
        Middle line of the hollow that splits the block in two.
    """

    name: str
    low: tuple[float, float]
    high: tuple[float, float]
    west: End
    east: End
    holes: tuple[Hole, ...] = ()
    split: End | None = None


_MIDDLE_EAST, _MIDDLE_WEST = (End(gully="middle", offset=m) for m in (23.0, -23.0))

DRAWINGS = (
    Drawing("Weir", (919, 917.5), (931, 928), _MIDDLE_EAST, End(-0.20, 0.03)),
    Drawing("Long bench", (915, 917.5), (925.5, 925.5), End(-0.155, 0.03), End(0.105, 0.02),
            holes=(Hole(0.47, 0.04, 66, 40),)),
    Drawing("Sickle", (934, 931), (949, 951), End(gully="middle", offset=20), End(-0.155, -0.03)),
    Drawing("Blue gate", (929.5, 930), (949, 944), End(-0.125, -0.03), End(0.045, 0.02)),
    Drawing("Bee wall", (951.5, 954), (969, 969.5), _MIDDLE_EAST, End(-0.165, 0.012)),
    Drawing("Clay pit", (953, 948), (970.5, 967), End(-0.143, 0.012), End(0.035, 0.035),
            holes=(Hole(0.62, 0.5, 30, 20),)),
    Drawing("Quarry lip", (973, 972.5), (991, 988), _MIDDLE_EAST, End(-0.083, -0.04),
            holes=(Hole(0.50, 0.47, 54, 19),)),
    Drawing("Wedge", (974.5, 972.5), (1001, 983), End(-0.058, -0.04), End(0.085, 0.005)),
    Drawing("Kettle", (919, 920), (930.5, 930), End(-0.588, -0.02), _MIDDLE_WEST),
    Drawing("Broken cart", (934, 935), (946, 951), End(-0.585, -0.03), _MIDDLE_WEST,
            split=End(-0.455, -0.05)),
    Drawing("Owl tree", (951.5, 952), (973, 966), End(-0.675, 0.0), End(-0.555, 0.03)),
    Drawing("Swallow", (953.5, 954.5), (969.5, 974), End(-0.53, 0.03), _MIDDLE_WEST),
    Drawing("New steps", (978, 971.5), (995, 986), End(-0.685, -0.02), End(-0.49, 0.03)),
    Drawing("Morning side", (1067.5, 1065), (1084, 1078), End(0.03, 0.03),
            End(gully="east", offset=-28)),
    Drawing("Lookout", (1062.5, 1065), (1084, 1091), _MIDDLE_EAST, End(-0.005, 0.03)),
    Drawing("Tin roof", (1063, 1067), (1081.5, 1087), End(-0.575, 0.04), End(-0.385, 0.02)),
)  # fmt: skip
"""The blocks, from the stream upwards, the middle of the hill first."""


def outlines() -> dict[str, BaseGeometry]:
    """Return every block's outline by its name, in the farm's UTM zone [m], to the centimetre."""
    lots = RandomState(SEED)
    return {d.name: _place(_draw(d, lots)) for d in DRAWINGS}


def down_at(level: Values, bearing: Values) -> Values:
    """Return how far down from the top a level is met along a bearing [m], by halving."""
    upper, lower = np.full(bearing.shape, 230.0), np.full(bearing.shape, 1500.0)
    for _ in range(50):
        middle = (upper + lower) / 2
        above = hillside.height(*hillside.from_polar(middle, bearing)) > level
        upper, lower = np.where(above, middle, upper), np.where(above, lower, middle)
    return np.asarray((upper + lower) / 2)


def _draw(drawing: Drawing, lots: RandomState) -> BaseGeometry:
    """Return the outline on the hillside's own metres."""
    shape = _band(drawing, lots).intersection(_between(drawing.west, drawing.east))
    shape = _largest(make_valid(shape)).buffer(-7.0).buffer(6.0)
    if drawing.split is not None:
        gap = End(drawing.split.bearing - 0.010, drawing.split.lean)
        other = End(drawing.split.bearing + 0.010, drawing.split.lean - 0.004)
        shape = shape.difference(_between(gap, other)).buffer(-4.0).buffer(4.0)
    for hole in drawing.holes:
        shape = shape.difference(_hole(drawing, hole, lots))
    return shape.buffer(2.5).buffer(-5.0).buffer(2.5).simplify(0.5)


def _band(drawing: Drawing, lots: RandomState) -> Polygon:
    """Return the strip between the two long edges, longer than the block at both ends."""
    ends = [hillside.to_polar(*end.line())[1] for end in (drawing.west, drawing.east)]
    bearing = np.arange(ends[0].min() - 0.02, ends[1].max() + 0.02, 0.006)
    share = np.linspace(0.0, 1.0, bearing.size)
    edges = []
    for west, east in (drawing.low, drawing.high):
        waver = 0.35 * np.sin(share * lots.uniform(9, 16) + lots.uniform(0, 6.28))
        waver = waver + 0.2 * np.sin(share * lots.uniform(25, 40) + lots.uniform(0, 6.28))
        level = west + (east - west) * share + waver
        edges.append(np.column_stack(hillside.from_polar(down_at(level, bearing), bearing)))
    return Polygon(np.vstack([edges[0], edges[1][::-1]])).buffer(0)


def _between(west: End, east: End) -> Polygon:
    left, right = (np.column_stack(end.line()) for end in (west, east))
    return Polygon(np.vstack([left, right[::-1]])).buffer(0)


def _largest(shape: BaseGeometry) -> BaseGeometry:
    return max(getattr(shape, "geoms", [shape]), key=lambda part: part.area)


def _hole(drawing: Drawing, hole: Hole, lots: RandomState) -> Polygon:
    """Return a lumpy oval whose long axis lies along the contour."""
    ends = [hillside.to_polar(*end.line())[1].mean() for end in (drawing.west, drawing.east)]
    bearing = np.array([ends[0] + (ends[1] - ends[0]) * hole.along])
    low = np.array([drawing.low[0] + (drawing.low[1] - drawing.low[0]) * hole.along])
    high = np.array([drawing.high[0] + (drawing.high[1] - drawing.high[0]) * hole.along])
    down = down_at(low + (high - low) * hole.across, bearing)
    east, north = hillside.from_polar(down, bearing)
    turn = np.linspace(0.0, 2 * np.pi, 15)[:-1]
    reach = 1.0 + 0.13 * np.sin(2 * turn + lots.uniform(0, 6.28)) + lots.uniform(-0.1, 0.1, 14)
    lump = Polygon(np.column_stack([np.cos(turn) * reach, np.sin(turn) * reach]))
    lump = affinity.scale(lump, hole.length / 2, hole.width / 2, origin=(0, 0))
    lump = affinity.rotate(lump, along_contour(float(east[0]), float(north[0])), origin=(0, 0))
    return affinity.translate(lump, float(east[0]), float(north[0]))


def along_contour(east: float, north: float) -> float:
    """Return the direction of the contour at a point, counted from east to north [degrees]."""
    step = 5.0
    slope_east = hillside.height(east + step, north) - hillside.height(east - step, north)
    slope_north = hillside.height(east, north + step) - hillside.height(east, north - step)
    return float(np.degrees(np.arctan2(slope_east, -slope_north)) % 180.0)


def _place(shape: BaseGeometry) -> BaseGeometry:
    """Move a shape to UTM and round it to the centimetre."""
    return set_precision(affinity.translate(shape, EAST0, NORTH0), 0.01)
