"""What SQLite reports, turned into the few things that can be wrong with a farm file.

Every sentence the user may see about the file has its code here or where it is raised; the
texts are in ``tables/sentences/store.csv`` under ``farmfile.``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from waterbudget.errors import FarmFileError

_BY_CODE = {
    sqlite3.SQLITE_BUSY: "farmfile.in_use",
    sqlite3.SQLITE_LOCKED: "farmfile.in_use",
    sqlite3.SQLITE_READONLY: "farmfile.read_only",
    sqlite3.SQLITE_PERM: "farmfile.read_only",
    sqlite3.SQLITE_FULL: "farmfile.disk_full",
    sqlite3.SQLITE_IOERR: "farmfile.disk_fault",
    sqlite3.SQLITE_CORRUPT: "farmfile.damaged",
    sqlite3.SQLITE_NOTADB: "farmfile.not_a_farm",
    sqlite3.SQLITE_CANTOPEN: "farmfile.cannot_open",
}
"""By the low byte of SQLite's result code."""

_BY_EXTENDED_CODE = {
    sqlite3.SQLITE_READONLY_ROLLBACK: "farmfile.half_saved",
    sqlite3.SQLITE_READONLY_RECOVERY: "farmfile.half_saved",
    sqlite3.SQLITE_READONLY_CANTLOCK: "farmfile.half_saved",
    sqlite3.SQLITE_READONLY_DBMOVED: "farmfile.moved",
    sqlite3.SQLITE_READONLY_DIRECTORY: "farmfile.read_only",
}


def farm_error(code: str, path: Path, **fields: object) -> FarmFileError:
    """Build the error with the fields every sentence about the file may use."""
    return FarmFileError(code, file=path.name, path=str(path), folder=str(path.parent), **fields)


def as_farm_error(error: sqlite3.Error, path: Path) -> FarmFileError | None:
    """Return the plain error for what SQLite reported; None where it is a fault of the program."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:
        return None
    plain = _BY_EXTENDED_CODE.get(code) or _BY_CODE.get(code & 0xFF)
    return farm_error(plain, path) if plain else None


@contextmanager
def plainly(path: Path) -> Iterator[None]:
    """Turn SQLite's errors inside the block into farm-file errors.

    Raises
    ------
    FarmFileError
        In use, read-only, disk full, damaged ...
    """
    try:
        yield
    except sqlite3.Error as error:
        plain = as_farm_error(error, path)
        if plain is None:
            raise
        raise plain from error


@contextmanager
def reading(path: Path, table: str) -> Iterator[None]:
    """Like :func:`plainly`; a value or table that cannot be read also names its table.

    Raises
    ------
    FarmFileError
        ``farmfile.unreadable`` with the table, besides those of :func:`plainly`.
    """
    try:
        with plainly(path):
            yield
    except (sqlite3.OperationalError, ValueError, TypeError, KeyError) as error:
        raise farm_error("farmfile.unreadable", path, table=table, detail=str(error)) from error
