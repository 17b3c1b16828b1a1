"""What the readers hand over, and what the door gives back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import pyproj
from shapely.geometry import MultiPolygon, Polygon

from waterbudget.errors import Note
from waterbudget.outlines.geodesy import Points

Kind = Literal["polygon", "line", "walk", "corners"]


@dataclass(frozen=True)
class Outline:
    """One outline that may be stored.

    Attributes
    ----------
    shape : Polygon or MultiPolygon
        In the farm's projected coordinates [m], valid.
    area_ha : float
        Geodesic [ha], holes taken off.
    parts, holes : int
    notes : tuple of Note
        What was repaired in this outline.
    attributes : mapping
        The other columns of the file, as text.
    """

    name: str
    shape: Polygon | MultiPolygon
    area_ha: float
    parts: int
    holes: int
    notes: tuple[Note, ...] = ()
    attributes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Skipped:
    """One outline that was left out, and why."""

    name: str
    why: Note


@dataclass(frozen=True)
class OutlineFile:
    """What a file gave: outlines, what was left out, and what the person should see first.

    Attributes
    ----------
    notes : tuple of Note
        About the file as a whole (how it was read, names given).
    warnings : tuple of Note
        Overlaps, same block twice, strips, positions that may be metres off.
    answers : mapping
        The answers that were used.
    """

    outlines: tuple[Outline, ...]
    skipped: tuple[Skipped, ...] = ()
    notes: tuple[Note, ...] = ()
    warnings: tuple[Note, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)


@dataclass(eq=False)
class Raw:
    """One feature as it stands in the file, in the file's own coordinates.

    Attributes
    ----------
    polygons : list of list of array, shape (n, 2)
        Each polygon a list of rings (shell, holes), or one line, just as written.
    kind : str
        ``polygon``, ``line`` (an outline only if its ends meet), ``walk`` (GPS), ``corners``
        (a list that is never closed in the file).
    place : int
        Position in the file, from 1.
    timed : bool
        A walk whose points carry times, so a person stood still somewhere.
    turned : bool
        A ring runs the other way round than the format's standard says.
    points : list of (x, y)
        Loose points (a text in a drawing); elsewhere only their number counts.
    bad : Note or None
        Why it cannot be used, found while reading.
    """

    polygons: list[list[Points]]
    kind: Kind = "polygon"
    place: int = 0
    name: str | None = None
    attributes: dict[str, str] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)
    timed: bool = False
    turned: bool = False
    points: list[tuple[float, float]] = field(default_factory=list)
    bad: Note | None = None


@dataclass(eq=False)
class RawFile:
    """Everything a reader found.

    Attributes
    ----------
    crs : pyproj.CRS or None
        As declared by the file or fixed by the format's standard.
    crs_from : str
        ``standard`` (the format allows no other), ``declared``, or ``none``.
    degrees_if_plausible : bool
        Without a system, numbers that can be degrees are taken as WGS84.
    metres_per_unit : float
        Of a drawing; 1 elsewhere.
    """

    kind: str
    raws: list[Raw]
    crs: pyproj.CRS | None = None
    crs_from: Literal["standard", "declared", "none"] = "none"
    degrees_if_plausible: bool = False
    metres_per_unit: float = 1.0
    notes: list[Note] = field(default_factory=list)
    warnings: list[Note] = field(default_factory=list)
    sample: tuple[str, ...] = ()
