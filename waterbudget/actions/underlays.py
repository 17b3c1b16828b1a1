"""Pictures and height files under the map: add, change, order, take away.

A file is known by its path as stored: relative to the farm file where it lies below its folder, so
that both can be moved together.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from waterbudget.errors import Note, Refused
from waterbudget.records import UNDERLAY_KINDS, Underlay
from waterbudget.store import FarmFile

FAR_KM = 50.0
"""A file that lies further from the farm is told of (own estimate)."""


def stored_path(path: Path, farm: Path) -> str:
    """Return a file's path as the farm file keeps it."""
    whole, folder = path.resolve(), farm.resolve().parent
    if whole.is_relative_to(folder):
        return whole.relative_to(folder).as_posix()
    return str(whole)


def underlay_file(row: Underlay, farm: Path) -> Path:
    """Return where the file of an underlay should be on this computer."""
    return farm.resolve().parent / row.path


def add_underlay(
    file: FarmFile, path: Path, kind: str | None = None, *, name: str | None = None,
    now: dt.datetime,
) -> tuple[Underlay, tuple[Note, ...]]:  # fmt: skip
    """Lay a picture or height file under the map, above those already there.

    Parameters
    ----------
    kind : {'picture', 'heights'}, optional
        By its bands where it is not given.

    Raises
    ------
    Refused
        It cannot be read, has no place, holds no heights where heights are wanted, or is laid
        there already; nothing is stored.
    AnswersNeeded
        ``underlay``: picture or heights, where the file does not tell.
    """
    from waterbudget import underlay

    kind = kind or underlay.kind_of(path)
    if kind not in UNDERLAY_KINDS:
        raise Refused("underlay.unreadable", file=path.name)
    orchard = file.read().orchard
    bounds = underlay.check(path, orchard.epsg)
    if kind == "heights":
        from waterbudget import terrain

        terrain.hillshade(path, orchard.epsg, 400)  # says by itself why it holds none
    stored = stored_path(path, file.path)
    with file.transaction("underlay.added", now=now, file=path.name) as open_file:
        rows = open_file.read().underlays
        if any(r.path == stored for r in rows):
            raise Refused("underlay.twice", file=path.name)
        place = max((r.place for r in rows), default=-1) + 1
        row = open_file.add_row(Underlay(path=stored, kind=kind, name=name, place=place))
    return row, _far(path, bounds, orchard)


def _far(path: Path, bounds: tuple[float, ...], orchard: Any) -> tuple[Note, ...]:
    from shapely.geometry import Point

    from waterbudget.outlines import from_lonlat

    home = from_lonlat(Point(orchard.lon, orchard.lat), orchard.epsg)
    west, south, east, north = bounds
    away = math.hypot(max(west - home.x, home.x - east, 0), max(south - home.y, home.y - north, 0))
    if away < FAR_KM * 1000:
        return ()
    return (Note.of("underlay.far", file=path.name, km=round(away / 1000)),)


def change_underlay(
    file: FarmFile, path: str, *, opacity: float | None = None, shown: bool | None = None,
    name: str | None = None, now: dt.datetime,
) -> Underlay:  # fmt: skip
    """Change how one underlay shows; return it as it was.

    Parameters
    ----------
    path : str
        As stored.
    opacity : float, optional
        0 (not seen) to 1.
    name : str, optional
        Empty text takes the name away.

    Raises
    ------
    Refused
        It is not laid there, or the opacity cannot be.
    """
    if opacity is not None and not 0 <= opacity <= 1:
        raise Refused("underlay.bad_opacity", percent=round(100 * opacity, 1))
    short = Path(path).name
    with file.transaction("underlay.changed", now=now, file=short) as open_file:
        before = _row(open_file, path)
        open_file.put_row(replace(
            before,
            opacity=before.opacity if opacity is None else opacity,
            shown=before.shown if shown is None else shown,
            name=before.name if name is None else (" ".join(name.split()) or None),
        ))  # fmt: skip
    return before


def order_underlays(file: FarmFile, paths: Sequence[str], *, now: dt.datetime) -> list[str]:
    """Lay the underlays in this order, lowest first; return the order before."""
    with file.transaction("underlay.ordered", now=now) as open_file:
        rows = {r.path: r for r in open_file.read().underlays}
        before = [r.path for r in sorted(rows.values(), key=lambda r: (r.place, r.id))]
        if sorted(paths) != sorted(rows):
            missing = next((p for p in paths if p not in rows), next(iter(rows), ""))
            raise Refused("underlay.not_there", file=Path(missing).name)
        for place, path in enumerate(paths):
            if rows[path].place != place:
                open_file.put_row(replace(rows[path], place=place))
    return before


def drop_underlay(file: FarmFile, path: str, *, now: dt.datetime) -> Underlay:
    """Take an underlay off the map (the file itself stays); return it as it was."""
    with file.transaction("underlay.dropped", now=now, file=Path(path).name) as open_file:
        return open_file.drop_row(Underlay, _row(open_file, path).id)


def put_underlay(file: FarmFile, row: Underlay, *, now: dt.datetime) -> Underlay:
    """Lay an underlay down again that was taken off (its file may be missing)."""
    with file.transaction("underlay.added", now=now, file=Path(row.path).name) as open_file:
        if any(r.path == row.path for r in open_file.read().underlays):
            raise Refused("underlay.twice", file=Path(row.path).name)
        return open_file.add_row(replace(row, id=0))


def _row(file: FarmFile, path: str) -> Underlay:
    for row in file.read().underlays:
        if row.path == path:
            return row
    raise Refused("underlay.not_there", file=Path(path).name)
