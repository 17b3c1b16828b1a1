"""The farm as a whole: begin one, set its numbers, copy it, check it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from waterbudget import outlines, season
from waterbudget.errors import Note, Refused
from waterbudget.orchard import FARM_KEYS, Orchard, Station, read_value
from waterbudget.store import FarmFile

CLOSURE_MM = 1e-9


def new_farm(
    path: Path, *, name: str, lat: float, lon: float, elevation_m: float | None = None,
    invented: bool = False, replace: bool = False, now: dt.datetime,
) -> FarmFile:  # fmt: skip
    """Begin a farm file and return it open.

    Parameters
    ----------
    lat, lon : float
        Where the farm lies [decimal degrees], south and west negative.
    elevation_m : float, optional
    replace : bool
        Put it in the place of a file that is there already.

    Raises
    ------
    Refused
        For a position that is not on the globe, or where the file cannot be made.
    """
    name = " ".join(name.split())
    if not name:
        raise Refused("farm.no_name")
    check_position(lat, lon)
    if elevation_m is not None and not -430 <= elevation_m <= 5500:
        raise Refused("key.out_of_bounds", key="elevation_m", value=elevation_m, low=-430,
                      high=5500)  # fmt: skip
    orchard = Orchard(
        name=name, lat=lat, lon=lon, epsg=outlines.utm_epsg(lat, lon), invented=invented,
        elevation_m=elevation_m, time_zone=zone_at(lat, lon),
    )  # fmt: skip
    return FarmFile.create(path, orchard, replace=replace, now=now)


def check_position(lat: float, lon: float) -> None:
    """Refuse a position that is not on the globe or where no orchard can be."""
    if not (math.isfinite(lat) and math.isfinite(lon)):
        raise Refused("farm.bad_position", lat=lat, lon=lon)
    if not -90 <= lat <= 90 or not -180 <= lon <= 180:
        raise Refused("farm.bad_position", lat=lat, lon=lon)
    if abs(lat) > 80:
        raise Refused("farm.too_near_pole", lat=lat)


def zone_at(lat: float, lon: float) -> str | None:
    """Return the name of the time zone at a place (IANA), None at sea."""
    from timezonefinder import TimezoneFinder  # heavy: only when a farm is begun

    return TimezoneFinder().timezone_at(lng=lon, lat=lat)


def set_farm(file: FarmFile, pairs: Mapping[str, str], *, now: dt.datetime) -> Orchard:
    """Set farm-wide numbers from text as typed; ``""`` clears a key back to its default.

    All keys of a call or none.

    Raises
    ------
    Refused
        For an unknown key or a value that cannot be.
    """
    with file.transaction("farm.set", now=now, keys=sorted(pairs)) as open_file:
        open_file.save_farm(changed_farm(open_file.read().orchard, pairs))
    return file.read().orchard


def changed_farm(orchard: Orchard, pairs: Mapping[str, str]) -> Orchard:
    """Return the orchard with the keys of ``pairs`` set, checked."""
    new: dict[str, Any] = {}
    numbers = dict(orchard.stage_numbers)
    defaults = {f.name: f.default for f in fields(Orchard)}
    for key_name, text in pairs.items():
        key = FARM_KEYS.get(key_name)
        if key is None:
            raise Refused("key.unknown_farm", key=key_name, known=", ".join(_plain_keys()))
        value = read_value(key, text)
        if key.place == "stage":
            numbers.pop(key_name, None)
            if value is not None:
                numbers[key_name] = value
            continue
        if key_name == "name" and value is None:
            raise Refused("farm.no_name")
        if key_name == "time_zone" and value is not None:
            _check_zone(value)
        if key_name == "default_station" and value is not None:
            value = orchard.station(value).name
        new[key_name] = defaults[key_name] if value is None else value
    return replace(orchard, **new, stage_numbers=numbers)


def _plain_keys() -> list[str]:
    return [k for k, key in FARM_KEYS.items() if key.place == "field"]


def _check_zone(name: str) -> None:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise Refused("farm.unknown_zone", zone=name) from None


def set_station(
    file: FarmFile, name: str, *, new_name: str | None = None, now: dt.datetime, **changed: Any
) -> Station:
    """Change a station's position, height or wind height (numbers, None clears)."""
    station = file.read().orchard.station(name)
    after = replace(station, name=new_name or station.name, **changed)
    if after.lat is not None and after.lon is not None:
        check_position(after.lat, after.lon)
    with file.transaction("station.set", now=now, station=after.name) as open_file:
        open_file.save_station(after)
    return file.read().orchard.station(after.name)


def copy_name(orchard: Orchard, day: dt.date, taken: tuple[str, ...] = ()) -> str:
    """Return a dated file name for a copy that is not in ``taken``."""
    stem = "".join(c if c.isalnum() else "-" for c in orchard.name.lower()).strip("-") or "farm"
    name, n = f"{stem}-{day.isoformat()}.gpkg", 1
    while name in taken:
        n += 1
        name = f"{stem}-{day.isoformat()}-{n}.gpkg"
    return name


def save_copy(file: FarmFile, folder: Path, *, now: dt.datetime) -> Path:
    """Write a dated copy into ``folder``, check it, and note the date in the farm.

    Raises
    ------
    FarmFileError
        Where the folder cannot be written to or the copy is not whole.
    """
    if not folder.is_dir():
        raise Refused("copy.no_folder", folder=str(folder))
    taken = tuple(p.name for p in folder.glob("*.gpkg"))
    target = folder / copy_name(file.read().orchard, now.date(), taken)
    file.backup_to(target)
    with file.transaction("copy.saved", now=now, path=str(target)):
        pass
    return target


def check(file: FarmFile) -> tuple[Note, ...]:
    """Say everything that is wrong with the farm file; nothing where it is whole.

    The file itself is checked, then the season is run and every day's account must close.
    """
    found = list(file.check())
    if found:
        return tuple(found)
    data = file.read()
    if data.last_day() is None or not data.orchard.blocks:
        return ()
    result = season.run(data)
    worst = np.abs(result.account.closure_mm).max(axis=0)
    for block in result.blocks:
        if worst[block.column] > CLOSURE_MM:
            found.append(Note.of("check.account_open", block=block.block.name,
                                 mm=float(worst[block.column])))  # fmt: skip
    return tuple(found)
