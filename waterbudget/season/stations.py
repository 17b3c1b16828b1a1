"""Which station a block reads, and which stations are neighbours.

A block reads its own station, else the farm's, else the only one, else the nearest, else the
first.  Nearest: plan distance from the middle of the block's outline (without an outline, from the
place of the farm), and 100 m of height count as 1 km on the flat, because temperature changes
with height long before it does with distance (own estimate).  A station without a position is
never the nearest; where none has one the first is read.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal, NamedTuple

from shapely.geometry import Point

from waterbudget.orchard import Block, Orchard, Station
from waterbudget.outlines import from_lonlat

How = Literal["own", "farm", "only", "nearest", "first"]
KM_PER_M_OF_HEIGHT = 1.0 / 100.0


class Choice(NamedTuple):
    """The station a block reads, and why that one."""

    station: Station | None
    how: How


def choose(block: Block, orchard: Orchard) -> Choice:
    """Return the station a block reads."""
    if block.station is not None:
        return Choice(orchard.station(block.station), "own")
    if orchard.default_station is not None:
        return Choice(orchard.station(orchard.default_station), "farm")
    if not orchard.stations:
        return Choice(None, "first")
    if len(orchard.stations) == 1:
        return Choice(orchard.stations[0], "only")
    placed = [s for s in orchard.stations if s.lat is not None and s.lon is not None]
    if not placed:
        return Choice(orchard.stations[0], "first")
    middle = block.outline.centroid if block.outline is not None else None
    here = (middle.x, middle.y) if middle is not None else _metres(
        orchard.lat, orchard.lon, orchard.epsg
    )  # fmt: skip
    high = block.elevation_m
    return Choice(min(placed, key=lambda s: _apart_km(here, high, s, orchard.epsg)), "nearest")


def neighbours(station: Station, orchard: Orchard) -> tuple[Station, ...]:
    """Return the other stations, nearest first; those without a position last, in their order."""
    others = tuple(s for s in orchard.stations if s.name != station.name)
    if station.lat is None or station.lon is None or len(others) < 2:
        return others
    here = _metres(station.lat, station.lon, orchard.epsg)
    placed = [s for s in others if s.lat is not None and s.lon is not None]
    placed.sort(key=lambda s: _apart_km(here, station.elevation_m, s, orchard.epsg))
    return (*placed, *(s for s in others if s.lat is None or s.lon is None))


def _apart_km(here: tuple[float, float], high: float | None, station: Station, epsg: int) -> float:
    assert station.lat is not None and station.lon is not None
    x, y = _metres(station.lat, station.lon, epsg)
    flat = float(((here[0] - x) ** 2 + (here[1] - y) ** 2) ** 0.5) / 1000.0
    climb = 0.0
    if high is not None and station.elevation_m is not None:
        climb = abs(high - station.elevation_m) * KM_PER_M_OF_HEIGHT
    return flat + climb


@lru_cache(maxsize=256)
def _metres(lat: float, lon: float, epsg: int) -> tuple[float, float]:
    there = from_lonlat(Point(lon, lat), epsg)
    return there.x, there.y
