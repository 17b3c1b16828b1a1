"""Copies of an open farm file, made through SQLite and checked before they count."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from waterbudget.errors import FarmFileError
from waterbudget.store.faults import farm_error, plainly
from waterbudget.store.opening import connect, need_folder, put_in_place, remove_part
from waterbudget.store.opening import temporary_beside as beside
from waterbudget.store.schema import TABLES


def copy_checked(db: sqlite3.Connection, source: Path, path: Path) -> None:
    """Write a copy of the open file to ``path`` and check it.

    Parameters
    ----------
    db : sqlite3.Connection
        Not inside a transaction.
    source : pathlib.Path
        The open file.
    path : pathlib.Path
        Nothing may be there.

    Raises
    ------
    FarmFileError
        Something is there, there is no room, or the copy is not whole; nothing is left behind.
    """
    need_folder(path)
    if path.exists():
        raise farm_error("farmfile.exists", path)
    made = beside(path)
    try:
        try:
            copy = connect(made, "rwc")
        except FarmFileError as error:
            raise farm_error("farmfile.read_only", path) from error
        try:
            _copy(db, source, copy, path)
        finally:
            copy.close()
        put_in_place(made, path, replace=False)
    finally:
        remove_part(made)


def _copy(db: sqlite3.Connection, source: Path, copy: sqlite3.Connection, path: Path) -> None:
    with plainly(source):
        db.execute("BEGIN")  # one state: the counts are those of what is copied
        counts = _counts(db)
    try:
        with plainly(path):
            db.backup(copy)
            whole = copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            if not whole or _counts(copy) != counts:
                raise farm_error("farmfile.bad_copy", path, source=source.name)
    finally:
        if db.in_transaction:
            db.execute("ROLLBACK")


def _counts(db: sqlite3.Connection) -> list[int]:
    there = {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    return [
        int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
        for table in TABLES
        if table in there
    ]
