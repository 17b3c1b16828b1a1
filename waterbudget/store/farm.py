"""The farm's own settings, its stations and its gauges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

from waterbudget.errors import Refused
from waterbudget.orchard import FARM_KEYS, Orchard, Station, fold
from waterbudget.store import geopackage
from waterbudget.store.base import Part
from waterbudget.store.faults import reading

_LISTS = ("blocks", "stations", "gauges", "pumps", "stage_numbers")
FARM_FIELDS = tuple(f.name for f in fields(Orchard) if f.name not in _LISTS)
"""Fields of the orchard that stand in the ``farm`` table by their own name."""
_NUMBER = "number:"
"""Before the name of a stage number in the ``farm`` table."""
_KINDS = {"lat": "number", "lon": "number", "epsg": "whole", "invented": "yesno"}

_READ: dict[str, Callable[[str], Any]] = {
    "number": float,
    "whole": int,
    "yesno": lambda text: text == "yes",
    "time": dt.time.fromisoformat,
    "date": dt.date.fromisoformat,
    "weekdays": lambda text: tuple(text.split(",")) if text else (),
}
_WRITE: dict[str, Callable[[Any], str]] = {
    "number": lambda value: repr(float(value)),
    "yesno": lambda value: "yes" if value else "no",
    "time": lambda value: value.isoformat(),
    "date": lambda value: value.isoformat(),
    "weekdays": ",".join,
}


def _kind(name: str) -> str:
    return _KINDS.get(name) or FARM_KEYS[name].kind


class FarmRows(Part):
    """Save and read the farm itself, stations and gauges."""

    def save_farm(self, orchard: Orchard | None = None, /, **changed: Any) -> None:
        """Store the farm's own settings; blocks, stations and gauges are left as they are.

        Parameters
        ----------
        orchard : Orchard, optional
            All its own settings are stored.  Without it, those of the file with ``changed``.
        **changed
            Fields of :class:`~waterbudget.orchard.Orchard`, ``stage_numbers`` included.

        Raises
        ------
        Refused
            The coordinate system changes while outlines are stored in the old one.
        """
        self._need_transaction()
        if orchard is None:
            orchard = Orchard(**self._farm_fields())
        if changed:
            orchard = replace(orchard, **changed)
        before = dict(self._db.execute("SELECT key, value FROM farm"))
        wanted = {
            name: _WRITE.get(_kind(name), str)(value)
            for name in FARM_FIELDS
            if (value := getattr(orchard, name)) is not None
        }
        wanted |= {_NUMBER + key: repr(float(v)) for key, v in orchard.stage_numbers.items()}
        if before.get("epsg", wanted["epsg"]) != wanted["epsg"]:
            self._move_to(orchard.epsg)
        ours = [k for k in before if k in FARM_FIELDS or k.startswith(_NUMBER)]
        self._db.executemany("DELETE FROM farm WHERE key = ?", [(k,) for k in ours])
        self._db.executemany("INSERT INTO farm VALUES (?, ?)", list(wanted.items()))
        self._touch("farm")

    def _move_to(self, epsg: int) -> None:
        if self._db.execute("SELECT 1 FROM blocks WHERE geom IS NOT NULL LIMIT 1").fetchone():
            raise Refused("farmfile.outlines_elsewhere")
        geopackage.set_system(self._db, "blocks", epsg)
        self._touch("epsg")

    def add_station(self, station: Station) -> int:
        """Store a new station.

        Returns
        -------
        int
            Its id (``station.id`` where that is not 0).

        Raises
        ------
        Refused
            Another station has that name, or the name is empty.
        """
        self._need_transaction()
        self._check_station(station)
        self._touch("stations")
        cursor = self._db.execute(
            "INSERT INTO stations (id, name, lat, lon, elevation_m, wind_height_m) "
            "VALUES (?,?,?,?,?,?)",
            (station.id or None, *_station_row(station)),
        )
        return int(cursor.lastrowid or 0)

    def save_station(self, station: Station) -> int:
        """Store a station as it is now; blocks that name it follow a new name.

        Returns
        -------
        int
            Its id; one that is not in the file is added.
        """
        self._need_transaction()
        row = self._db.execute("SELECT name FROM stations WHERE id = ?", (station.id,)).fetchone()
        if row is None:
            return self.add_station(station)
        self._check_station(station)
        self._touch("stations")
        self._db.execute(
            "UPDATE stations SET name=?, lat=?, lon=?, elevation_m=?, wind_height_m=? WHERE id=?",
            (*_station_row(station), station.id),
        )
        if row[0] != station.name:
            self._follow_station(row[0], station.name)
        return station.id

    def delete_station(self, station_id: int) -> None:
        """Take out a station that holds no days.

        Raises
        ------
        Refused
            It holds days or forecasts: what came stays.
        """
        self._need_transaction()
        self._need_station(station_id)
        for table in ("days", "forecasts", "day_edits", "flags"):
            query = f"SELECT 1 FROM {table} WHERE station_id = ? LIMIT 1"
            if self._db.execute(query, (station_id,)).fetchone():
                raise Refused("farmfile.station_has_days", station_id=station_id)
        self._db.execute("DELETE FROM stations WHERE id = ?", (station_id,))
        self._touch("stations")

    def _follow_station(self, old: str, new: str) -> None:
        for block_id, name in self._db.execute("SELECT fid, station FROM blocks").fetchall():
            if name is not None and fold(name) == fold(old):
                self._db.execute("UPDATE blocks SET station = ? WHERE fid = ?", (new, block_id))
                self._touch(("block", block_id))
        default = self._farm_fields().get("default_station")
        if default is not None and fold(default) == fold(old):
            self._db.execute("UPDATE farm SET value = ? WHERE key = 'default_station'", (new,))
            self._touch("farm")

    def _check_station(self, station: Station) -> None:
        if not fold(station.name):
            raise Refused("farmfile.station_no_name")
        for station_id, name in self._db.execute("SELECT id, name FROM stations"):
            if station_id != station.id and fold(name) == fold(station.name):
                raise Refused("farmfile.station_name_taken", station=station.name)

    def add_gauge(self, name: str) -> str:
        """List a gauge (once).

        Returns
        -------
        str
            Its name as the file spells it.
        """
        self._need_transaction()
        for (known,) in self._db.execute("SELECT name FROM gauges"):
            if fold(known) == fold(name):
                return str(known)
        self._db.execute("INSERT INTO gauges (name) VALUES (?)", (name,))
        self._touch("gauges")
        return name

    def delete_gauge(self, name: str) -> None:
        """Take a gauge off the list; rain typed for it stays."""
        self._need_transaction()
        for gauge_id, known in self._db.execute("SELECT id, name FROM gauges").fetchall():
            if fold(known) == fold(name):
                self._db.execute("DELETE FROM gauges WHERE id = ?", (gauge_id,))
        self._touch("gauges")

    def _farm_fields(self) -> dict[str, Any]:
        with reading(self.path, "farm"):
            return self._cached("farm", self._load_farm)[0]

    def _version(self) -> int:
        with reading(self.path, "farm"):
            return self._cached("farm", self._load_farm)[1]

    def _load_farm(self) -> tuple[dict[str, Any], int]:
        stored = dict(self._db.execute("SELECT key, value FROM farm"))
        found: dict[str, Any] = {
            name: _READ.get(_kind(name), str)(stored[name])
            for name in FARM_FIELDS
            if name in stored
        }
        found["stage_numbers"] = {
            key.removeprefix(_NUMBER): float(value)
            for key, value in stored.items()
            if key.startswith(_NUMBER)
        }
        return found, int(stored["version"])

    def _read_stations(self) -> tuple[Station, ...]:
        def load() -> tuple[Station, ...]:
            rows = self._db.execute(
                "SELECT name, id, lat, lon, elevation_m, wind_height_m FROM stations ORDER BY id"
            )
            names = ("name", "id", "lat", "lon", "elevation_m", "wind_height_m")
            return tuple(Station(**dict(zip(names, row, strict=True))) for row in rows)

        with reading(self.path, "stations"):
            return self._cached("stations", load)

    def _read_gauges(self) -> tuple[str, ...]:
        def load() -> tuple[str, ...]:
            return tuple(row[0] for row in self._db.execute("SELECT name FROM gauges ORDER BY id"))

        with reading(self.path, "gauges"):
            return self._cached("gauges", load)


def _station_row(station: Station) -> tuple[Any, ...]:
    return (station.name, station.lat, station.lon, station.elevation_m, station.wind_height_m)
