"""Is a farm file whole?  Everything that could be wrong with it, as notes."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from waterbudget.errors import Note, Refused
from waterbudget.orchard import fold, read_value, write_value
from waterbudget.store import geopackage
from waterbudget.store.faults import farm_error, plainly
from waterbudget.store.imports import unpack
from waterbudget.store.opening import format_of
from waterbudget.store.schema import FIELD_KEYS, TABLES, columns_of

AT_MOST = 20
"""Notes of one kind; more would not help anyone."""


def find_faults(db: sqlite3.Connection, path: Path) -> list[Note]:
    """Look through the whole file.

    Returns
    -------
    list of Note
        Empty when it is whole.

    Raises
    ------
    FarmFileError
        It is in use, or no farm file at all.
    """
    with plainly(path):
        format_of(db, path)
        there = {row[0] for row in db.execute("SELECT name FROM sqlite_master")}
    notes = [Note.of("farmfile.table_missing", table=t) for t in TABLES if t not in there]
    if notes:
        return notes
    for look in (_pages, _keys, _outlines, _settings, _names, _lost_blocks, _originals):
        found = []
        try:
            for note in look(db):
                found.append(note)
                if len(found) == AT_MOST:
                    break
        except (sqlite3.DatabaseError, ValueError, TypeError) as error:
            if isinstance(error, sqlite3.DatabaseError) and not _is_damage(error):
                raise
            fault = farm_error("farmfile.damaged", path)
            found.append(Note(fault.code, fault.fields))
        notes += [note for note in found if note not in notes]
    return notes


def _is_damage(error: sqlite3.DatabaseError) -> bool:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)
    return code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)


def _pages(db: sqlite3.Connection) -> Iterator[Note]:
    for (line,) in db.execute(f"PRAGMA integrity_check({AT_MOST})"):
        if line != "ok":
            yield Note.of("farmfile.not_whole", detail=line)


def _keys(db: sqlite3.Connection) -> Iterator[Note]:
    for table, row, other, _ in db.execute("PRAGMA foreign_key_check"):
        yield Note.of("farmfile.dangling", table=table, row=row, other=other)


def _outlines(db: sqlite3.Connection) -> Iterator[Note]:
    for name, blob in db.execute(
        "SELECT name, CAST(geom AS BLOB) FROM blocks WHERE geom IS NOT NULL"
    ):
        try:
            shape = geopackage.to_shape(geopackage.wkb_of(blob))
        except (ValueError, TypeError):
            yield Note.of("farmfile.outline_unreadable", block=name)
            continue
        if shape.is_empty or not shape.is_valid:
            yield Note.of("farmfile.outline_unsound", block=name)


def _settings(db: sqlite3.Connection) -> Iterator[Note]:
    there = columns_of(db, "blocks")
    for name, key in FIELD_KEYS.items():
        if name not in there:
            continue
        query = f"SELECT name, {name} FROM blocks WHERE {name} IS NOT NULL"
        for block, value in db.execute(query):
            if not _readable(key, value):
                yield Note.of("farmfile.setting_unreadable", block=block, key=name, value=value)


def _readable(key: Any, value: Any) -> bool:
    try:
        text = write_value(key, float(value)) if key.kind == "number" else str(value)
        read_value(key, text)
    except (Refused, ValueError, TypeError):
        return False
    return True


def _names(db: sqlite3.Connection) -> Iterator[Note]:
    seen: set[str] = set()
    for (name,) in db.execute("SELECT name FROM blocks ORDER BY fid"):
        if fold(name) in seen:
            yield Note.of("farmfile.name_twice", block=name)
        seen.add(fold(name))
    stations = {fold(name) for (name,) in db.execute("SELECT name FROM stations")}
    named = db.execute("SELECT name, station FROM blocks WHERE station IS NOT NULL ORDER BY fid")
    for block, station in named:
        if fold(station) not in stations:
            yield Note.of("farmfile.station_unknown", block=block, station=station)


def _lost_blocks(db: sqlite3.Connection) -> Iterator[Note]:
    """Find blocks that another program deleted though waterings are on record for them."""
    for (name,) in db.execute(
        "SELECT name FROM block_ids WHERE removed_at IS NULL "
        "AND id NOT IN (SELECT fid FROM blocks) AND id IN "
        "(SELECT block_id FROM ran UNION SELECT block_id FROM given_sets "
        "UNION SELECT block_id FROM readings)"
    ):
        yield Note.of("farmfile.block_lost", block=name)


def _originals(db: sqlite3.Connection) -> Iterator[Note]:
    for name, sha256, packed in db.execute(
        "SELECT min(i.name), o.sha256, o.packed FROM originals o JOIN imports i USING (sha256) "
        "GROUP BY o.sha256"
    ):
        try:
            whole = hashlib.sha256(unpack(packed)).hexdigest() == sha256
        except (ValueError, TypeError):
            whole = False
        if not whole:
            yield Note.of("farmfile.original_damaged", name=name)
