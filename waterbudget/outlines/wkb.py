"""Well-known binary and text, read to the corners just as they stand.

A general reader closes open rings and refuses others before anybody could name what is wrong;
here the corners come as written (OGC 06-103r4, sections 8.2 and 7; ISO and extended flags for
heights and measures).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from waterbudget.outlines.geodesy import Points

POINT, LINE, POLYGON, MANY = 1, 2, 3, (4, 5, 6, 7, 15, 16)
TRIANGLE = 17


class NotReadable(ValueError):
    """The geometry is broken or of a kind that is no outline (curves not yet drawn out)."""


@dataclass
class Found:
    """What a geometry holds: polygons (each a list of rings), lines, and loose points."""

    polygons: list[list[Points]] = field(default_factory=list)
    lines: list[list[Points]] = field(default_factory=list)
    points: list[tuple[float, float]] = field(default_factory=list)


def from_wkb(data: bytes) -> Found:
    """Return the corners of a geometry in well-known binary.

    Raises
    ------
    NotReadable
        Where the bytes break off or the kind is unknown.
    """
    found = Found()
    try:
        _geometry(data, 0, found, 0)
    except (struct.error, IndexError, KeyError, ValueError):
        raise NotReadable from None
    return found


def _geometry(data: bytes, at: int, found: Found, depth: int) -> int:
    if depth > 10:
        raise ValueError
    order = "<" if data[at] == 1 else ">"
    (code,) = struct.unpack_from(order + "I", data, at + 1)
    at += 5
    size = 2 + bool(code & 0x80000000) + bool(code & 0x40000000)
    if code & 0x20000000:
        at += 4
    code &= 0x0FFFFFFF
    size += {0: 0, 1: 1, 2: 1, 3: 2}[code // 1000]
    code %= 1000
    if code == POINT:
        x, y = struct.unpack_from(order + "dd", data, at)
        found.points.append((x, y))
        return at + 8 * size
    (count,) = struct.unpack_from(order + "I", data, at)
    at += 4
    if code == LINE:
        points, at = _points(data, at, order, count, size)
        found.lines.append([points])
    elif code in (POLYGON, TRIANGLE):
        rings = []
        for _ in range(count):
            (n,) = struct.unpack_from(order + "I", data, at)
            ring, at = _points(data, at + 4, order, n, size)
            rings.append(ring)
        if rings:
            found.polygons.append(rings)
    elif code in MANY:
        for _ in range(count):
            at = _geometry(data, at, found, depth + 1)
    else:
        raise ValueError
    return at


def _points(data: bytes, at: int, order: str, count: int, size: int) -> tuple[Points, int]:
    end = at + 8 * size * count
    values = np.frombuffer(data, dtype=order + "f8", count=size * count, offset=at)
    return values.reshape(-1, size)[:, :2].astype(float), end


_TOKEN = re.compile(r"\s*(?:([A-Za-z]+)|([(),])|([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?))")
_KINDS = ("POLYGON", "MULTIPOLYGON", "LINESTRING", "MULTILINESTRING", "POINT", "MULTIPOINT",
          "GEOMETRYCOLLECTION", "TRIANGLE", "LINEARRING")  # fmt: skip


class _Words:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0

    def next(self) -> str | float | None:
        """Return the next word, bracket or number; None at the end."""
        match = _TOKEN.match(self.text, self.at)
        if match is None:
            if self.text[self.at :].strip():
                raise NotReadable
            return None
        self.at = match.end()
        if match[3] is not None:
            return float(match[3])
        return match[2] or match[1].upper()

    def peek(self) -> str | float | None:
        """Return what comes next without taking it."""
        at = self.at
        word = self.next()
        self.at = at
        return word


def from_wkt(text: str) -> Found:
    """Return the corners of one geometry in well-known text.

    Raises
    ------
    NotReadable
        Where it is not well-known text, or something follows it.
    """
    words = _Words(text)
    found = Found()
    _read_geometry(words, found, 0)
    if words.next() is not None:
        raise NotReadable
    return found


def _read_geometry(words: _Words, found: Found, depth: int) -> None:
    kind = words.next()
    if kind not in _KINDS or depth > 10:
        raise NotReadable
    while words.peek() in ("Z", "M", "ZM"):
        words.next()
    if words.peek() == "EMPTY":
        words.next()
        return
    if kind == "GEOMETRYCOLLECTION":
        _list_of(words, lambda: _read_geometry(words, found, depth + 1))
    elif kind in ("POLYGON", "TRIANGLE"):
        found.polygons.append(_rings(words))
    elif kind == "MULTIPOLYGON":
        _list_of(words, lambda: found.polygons.append(_rings(words)))
    elif kind in ("LINESTRING", "LINEARRING"):
        found.lines.append([_corners(words)])
    elif kind == "MULTILINESTRING":
        found.lines.extend([ring] for ring in _rings(words))
    else:
        found.points.append((0.0, 0.0))
        _skip_points(words)


def _list_of(words: _Words, read: Callable[[], None]) -> None:
    if words.next() != "(":
        raise NotReadable
    while True:
        read()
        follows = words.next()
        if follows == ")":
            return
        if follows != ",":
            raise NotReadable


def _rings(words: _Words) -> list[Points]:
    rings: list[Points] = []
    _list_of(words, lambda: rings.append(_corners(words)))
    return rings


def _corners(words: _Words) -> Points:
    corners: list[tuple[float, float]] = []

    def one() -> None:
        numbers = []
        while (isinstance(word := words.peek(), float)
               or word in ("NAN", "INF", "INFINITY")):  # fmt: skip
            words.next()
            numbers.append(word if isinstance(word, float) else float("nan"))
        if not 2 <= len(numbers) <= 4:
            raise NotReadable
        corners.append((numbers[0], numbers[1]))

    _list_of(words, one)
    return np.array(corners, dtype=float).reshape(-1, 2)


def _skip_points(words: _Words) -> None:
    depth = 0
    while (word := words.next()) is not None:
        depth += (word == "(") - (word == ")")
        if depth == 0:
            return
    raise NotReadable
