"""The tables of a farm file, format 3.

A table that any map or table program may want to show is registered with the standard
(``blocks`` as features; ``cycles``, ``stations``, ``days``, ... as attributes).  The columns of
``blocks``, ``days`` and ``forecasts`` follow the registries (``BLOCK_KEYS``, weather ``COLUMNS``):
a setting that is added there gets its column when a file is next opened for writing, and needs no
new format.  A setting that is renamed or changes its meaning needs a step in ``upgrade.py``.

Nothing that came from outside is ever overwritten: rows go out of use (``in_use = 0``) and stay.

=============  ====================================================================================
farm           key, value: the farm's own settings, ``format_version``, ``version``
blocks         one feature a block, one column a setting; area is never stored for an outline
block_ids      every block there ever was; what ran, weeks and pins point here
cycles         prunings and seen dates of a block
block_numbers  stage numbers a block overrides
stations       weather stations
gauges         rain gauges
originals      imported files as they came, compressed, each once
imports        every import: file, answers given, the layout they belong to
days           days of record as they came; the row in use is marked
day_edits      what the grower corrected or typed over a day, quantity by quantity
forecasts      coming days with the day they were issued
rain_typed     rain typed in, by gauge
flags          what an import found odd, and whether the grower accepted it
ran            waterings that ran
given_weeks    weeks handed out
given_sets     their waterings
pins           cells of the week the grower fixed
readings       readings of the soil, by block and day
pumps          further pumps
field_entries  feeding and spraying: moved, skipped, done
meter_readings what the blocks' meters showed
tree_marks     missing and replaced trees
land_marks     roads, rocks and watercourses inside the blocks
underlays      pictures and height files laid under the map
figures        figures of common practice the grower has changed
history        one row for every change stored
=============  ====================================================================================
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from dataclasses import fields

from waterbudget.keys import BLOCK_KEYS, Key
from waterbudget.orchard import Pump
from waterbudget.records import (
    FieldEntry,
    Figure,
    LandMark,
    MeterReading,
    TreeMark,
    Underlay,
)
from waterbudget.store import geopackage
from waterbudget.weather import COLUMNS

FORMAT = "guava water budget farm"
"""Value of the ``format`` key: what tells a farm from any other GeoPackage."""

_SQL_TYPES = {"number": "REAL", "whole": "INTEGER", "date": "DATE", "yesno": "BOOLEAN"}

FIELD_KEYS: dict[str, Key] = {k: key for k, key in BLOCK_KEYS.items() if key.place == "field"}
"""Settings that have a column of their own in ``blocks``."""
CYCLE_COLUMNS = (
    "pruned_on", "seen_bloom", "seen_set", "seen_fill", "seen_harvest", "harvest_end",
)  # fmt: skip

ATTRIBUTES = (
    "cycles", "stations", "gauges", "days", "day_edits", "forecasts", "rain_typed", "ran",
    "given_weeks", "given_sets", "readings", "pumps", "field_entries", "meter_readings",
    "tree_marks", "land_marks", "underlays", "figures", "history",
)  # fmt: skip
"""Tables registered with the standard besides ``blocks``."""

TABLES = (
    "farm", "blocks", "block_ids", "block_numbers", "originals", "imports", "flags", "pins",
    *ATTRIBUTES,
)  # fmt: skip


def _weather_columns() -> str:
    return ", ".join(f"{name} REAL" for name in COLUMNS)


def _block_columns() -> str:
    return ", ".join(f"{name} {sql_type(key)}" for name, key in FIELD_KEYS.items())


def sql_type(key: Key) -> str:
    """Return the column type a setting is stored in."""
    return _SQL_TYPES.get(key.kind, "TEXT")


READINGS = (
    """CREATE TABLE readings (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  block_id INTEGER NOT NULL REFERENCES block_ids(id), date DATE NOT NULL, kind TEXT NOT NULL,
  value REAL NOT NULL, depth_cm REAL, sensor TEXT, before_water BOOLEAN NOT NULL, at TEXT NOT NULL,
  in_use BOOLEAN NOT NULL)""",
    "CREATE INDEX readings_in_use ON readings (block_id, date) WHERE in_use = 1",
)
"""The table that format 2 brought, and its index."""

_ROW_TYPES = {
    "int": "INTEGER", "float": "REAL", "str": "TEXT", "bool": "BOOLEAN", "dt.date": "DATE",
    "dt.time": "TEXT", "BaseGeometry": "BLOB",
}  # fmt: skip

ROWS: dict[str, type] = {
    "pumps": Pump, "field_entries": FieldEntry, "meter_readings": MeterReading,
    "tree_marks": TreeMark, "land_marks": LandMark, "underlays": Underlay, "figures": Figure,
}  # fmt: skip
"""Tables of format 3 whose rows are one frozen dataclass each, column by field."""


def row_fields(kind: type) -> list[tuple[str, str, bool]]:
    """Return name, type and "may be nothing" of the columns of a table in :data:`ROWS`."""
    found = []
    for f in fields(kind):
        plain, _, none = str(f.type).partition(" | ")
        found += [(f.name, plain, bool(none))] if f.name != "id" else []
    return found


def row_statements() -> list[str]:
    """Return what makes the tables of :data:`ROWS`."""
    made = []
    for table, kind in ROWS.items():
        columns = [
            f"{name} {_ROW_TYPES[plain]}"
            + ("" if none else " NOT NULL")
            + (" REFERENCES block_ids(id)" if name == "block_id" else "")
            for name, plain, none in row_fields(kind)
        ]
        made.append(
            f"CREATE TABLE {table} (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
            f"{', '.join(columns)}, at TEXT NOT NULL, in_use BOOLEAN NOT NULL)"
        )
    return made


_STATEMENTS = f"""
CREATE TABLE farm (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE blocks (
  fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom MULTIPOLYGON, name TEXT NOT NULL,
  {_block_columns()});
CREATE TABLE block_ids (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, name TEXT NOT NULL, removed_at TEXT);
CREATE TABLE cycles (
  id INTEGER PRIMARY KEY NOT NULL,
  block_id INTEGER NOT NULL REFERENCES blocks(fid) ON DELETE CASCADE,
  pruned_on DATE NOT NULL, seen_bloom DATE, seen_set DATE, seen_fill DATE, seen_harvest DATE,
  harvest_end DATE, UNIQUE (block_id, pruned_on));
CREATE TABLE block_numbers (
  block_id INTEGER NOT NULL REFERENCES blocks(fid) ON DELETE CASCADE, key TEXT NOT NULL,
  value REAL NOT NULL, PRIMARY KEY (block_id, key));
CREATE TABLE stations (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, name TEXT NOT NULL, lat REAL, lon REAL,
  elevation_m REAL, wind_height_m REAL);
CREATE TABLE gauges (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, name TEXT NOT NULL);
CREATE TABLE originals (sha256 TEXT NOT NULL PRIMARY KEY, size INTEGER NOT NULL,
  packed BLOB NOT NULL);
CREATE TABLE imports (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL,
  sha256 TEXT NOT NULL REFERENCES originals(sha256), at TEXT NOT NULL, layout_key TEXT,
  answers TEXT NOT NULL, withdrawn_at TEXT);
CREATE TABLE days (
  id INTEGER PRIMARY KEY NOT NULL, station_id INTEGER NOT NULL REFERENCES stations(id),
  date DATE NOT NULL, {_weather_columns()}, flags TEXT,
  import_id INTEGER REFERENCES imports(id), at TEXT NOT NULL, in_use BOOLEAN NOT NULL);
CREATE UNIQUE INDEX days_in_use ON days (station_id, date) WHERE in_use = 1;
CREATE INDEX days_by_import ON days (import_id);
CREATE TABLE day_edits (
  id INTEGER PRIMARY KEY NOT NULL, station_id INTEGER NOT NULL REFERENCES stations(id),
  date DATE NOT NULL, quantity TEXT NOT NULL, value REAL, kind TEXT NOT NULL, why TEXT NOT NULL,
  who TEXT NOT NULL, at TEXT NOT NULL, in_use BOOLEAN NOT NULL);
CREATE UNIQUE INDEX day_edits_in_use ON day_edits (station_id, date, quantity) WHERE in_use = 1;
CREATE TABLE forecasts (
  id INTEGER PRIMARY KEY NOT NULL, station_id INTEGER NOT NULL REFERENCES stations(id),
  issued DATE NOT NULL, date DATE NOT NULL, {_weather_columns()}, flags TEXT,
  import_id INTEGER REFERENCES imports(id), at TEXT NOT NULL, in_use BOOLEAN NOT NULL);
CREATE UNIQUE INDEX forecasts_in_use ON forecasts (station_id, issued, date) WHERE in_use = 1;
CREATE TABLE rain_typed (
  id INTEGER PRIMARY KEY NOT NULL, gauge TEXT NOT NULL, date DATE NOT NULL, mm REAL,
  at TEXT NOT NULL, in_use BOOLEAN NOT NULL);
CREATE UNIQUE INDEX rain_in_use ON rain_typed (gauge, date) WHERE in_use = 1;
CREATE TABLE flags (
  id INTEGER PRIMARY KEY NOT NULL, import_id INTEGER REFERENCES imports(id),
  station_id INTEGER NOT NULL REFERENCES stations(id), date DATE NOT NULL, what TEXT NOT NULL,
  quantity TEXT, value TEXT, used TEXT NOT NULL, accepted_at TEXT);
CREATE TABLE ran (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  block_id INTEGER NOT NULL REFERENCES block_ids(id), date DATE NOT NULL, hours REAL, m3 REAL,
  at TEXT NOT NULL, in_use BOOLEAN NOT NULL);
CREATE INDEX ran_in_use ON ran (block_id, date) WHERE in_use = 1;
CREATE TABLE given_weeks (
  number INTEGER PRIMARY KEY NOT NULL, first DATE NOT NULL, given_at TEXT NOT NULL,
  in_use BOOLEAN NOT NULL, until DATE);
CREATE TABLE given_sets (
  id INTEGER PRIMARY KEY NOT NULL, number INTEGER NOT NULL REFERENCES given_weeks(number),
  block_id INTEGER NOT NULL REFERENCES block_ids(id), date DATE NOT NULL, start TEXT NOT NULL,
  hours REAL NOT NULL, mm REAL NOT NULL, m3 REAL);
CREATE INDEX given_sets_by_week ON given_sets (number);
CREATE TABLE pins (
  block_id INTEGER NOT NULL REFERENCES block_ids(id), date DATE NOT NULL, hours REAL NOT NULL,
  start TEXT, PRIMARY KEY (block_id, date));
CREATE TABLE history (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, at TEXT NOT NULL, what TEXT NOT NULL,
  fields TEXT NOT NULL, version INTEGER NOT NULL);
{";".join(READINGS)};
"""


def build(db: sqlite3.Connection, epsg: int, now: dt.datetime) -> None:
    """Make every table of an empty farm file.

    Parameters
    ----------
    db : sqlite3.Connection
        Inside a transaction, on an empty file.
    epsg : int
        The farm's projected system.
    """
    db.execute(f"PRAGMA application_id = {geopackage.APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {geopackage.USER_VERSION}")
    geopackage.add_tables(db, epsg)
    for statement in _STATEMENTS.split(";"):
        if statement.strip():
            db.execute(statement)
    for statement in row_statements():
        db.execute(statement)
    geopackage.register_features(db, "blocks", "geom", epsg)
    geopackage.set_changed(db, "blocks", now)
    for table in ATTRIBUTES:
        geopackage.register_attributes(db, table)
        geopackage.set_changed(db, table, now)


def columns_of(db: sqlite3.Connection, table: str) -> set[str]:
    """Return the names of the columns a table has in this file."""
    return {row[1] for row in db.execute(f"PRAGMA table_info({table})")}


def missing_columns(db: sqlite3.Connection) -> list[str]:
    """Return the statements that add the columns of settings newer than the file."""
    wanted = {"blocks": {name: sql_type(key) for name, key in FIELD_KEYS.items()}}
    wanted["days"] = wanted["forecasts"] = dict.fromkeys(COLUMNS, "REAL")
    wanted |= {
        table: {n: _ROW_TYPES[plain] for n, plain, none in row_fields(kind) if none}
        for table, kind in ROWS.items()
    }
    wanted["given_weeks"] = {"until": "DATE"}
    statements = []
    for table, columns in wanted.items():
        there = columns_of(db, table)
        statements += [
            f"ALTER TABLE {table} ADD COLUMN {name} {kind}"
            for name, kind in columns.items()
            if name not in there
        ]
    return statements
