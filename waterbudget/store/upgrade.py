"""Format versions of the farm file, and the steps from one to the next.

Format history
--------------
1
    The first one (the tables in ``schema.py`` but ``readings``).
2
    Readings of the soil: the table ``readings``.
3
    Further pumps, field work, meter readings, tree places, ground without trees, underlays,
    figures of practice: the tables of ``schema.ROWS``.

To make format 4: write ``def _to_4(db)`` that changes the tables of a format-3 file, append it to
:data:`STEPS`, freeze a file of the old format under ``tests/farms/v3`` if it is not there, and say
above what changed.  A step runs inside a transaction with foreign keys off (SQLite's way of
changing tables); the keys are checked afterwards.  A new setting in the registries needs no step.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from waterbudget.errors import Note
from waterbudget.store import geopackage
from waterbudget.store.copying import copy_checked
from waterbudget.store.faults import farm_error, plainly
from waterbudget.store.schema import READINGS, ROWS, missing_columns, row_statements

Step = Callable[[sqlite3.Connection], None]


def _to_2(db: sqlite3.Connection) -> None:
    """Give readings of the soil their table."""
    for statement in READINGS:
        db.execute(statement)
    geopackage.register_attributes(db, "readings")


def _to_3(db: sqlite3.Connection) -> None:
    """Give pumps, field work, meters, trees, ground, underlays and figures their tables."""
    for statement in row_statements():
        db.execute(statement)
    for table in ROWS:
        geopackage.register_attributes(db, table)


STEPS: list[Step] = [_to_2, _to_3]
"""``STEPS[0]`` turns format 1 into 2, and so on."""


def current_format() -> int:
    """Return the format this version of the program writes."""
    return 1 + len(STEPS)


def need_known(found: int, path: Path) -> None:
    """Refuse a format newer than the program.

    Raises
    ------
    FarmFileError
    """
    if found > current_format():
        raise farm_error("farmfile.newer_version", path, found=found, known=current_format())


def in_memory(db: sqlite3.Connection, path: Path, found: int) -> sqlite3.Connection:
    """Return an upgraded copy in memory, for reading an older file that must not be changed."""
    copy = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    with plainly(path):
        db.backup(copy)
        _run(copy, path, found)
    return copy


def bring_up_to_date(db: sqlite3.Connection, path: Path, found: int) -> list[Note]:
    """Upgrade a file that is open for writing; a copy in the old format stays beside it.

    The steps run on a copy in memory first, so a step that fails never touches the farm.

    Returns
    -------
    list of Note
        That it was upgraded, and the name of the copy.

    Raises
    ------
    FarmFileError
        A step failed, or there is no room for the copy; the farm is as it was.
    """
    if found == current_format():
        _add_columns(db, path)
        return []
    in_memory(db, path, found).close()
    kept = _free_name(path, found)
    copy_checked(db, path, kept)
    with plainly(path):
        _run(db, path, found)
    return [Note.of("farmfile.upgraded", file=path.name, copy=kept.name, format=current_format())]


def _free_name(path: Path, found: int) -> Path:
    kept = path.with_name(f"{path.stem}.format-{found}{path.suffix}")
    number = 2
    while kept.exists():
        kept = path.with_name(f"{path.stem}.format-{found}-{number}{path.suffix}")
        number += 1
    return kept


def _run(db: sqlite3.Connection, path: Path, found: int) -> None:
    db.execute("PRAGMA foreign_keys = OFF")  # has no effect inside a transaction
    db.execute("BEGIN IMMEDIATE")
    try:
        for step in STEPS[found - 1 :]:
            step(db)
        for statement in missing_columns(db):
            db.execute(statement)
        db.execute("UPDATE farm SET value = ? WHERE key = 'format_version'", (current_format(),))
        _note_in_history(db, found)
        if db.execute("PRAGMA foreign_key_check").fetchone():
            raise farm_error("farmfile.upgrade_failed", path, found=found, known=current_format())
        db.execute("COMMIT")
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        if code in (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT):
            raise farm_error(
                "farmfile.upgrade_failed", path, found=found, known=current_format()
            ) from error
        raise
    finally:
        if db.in_transaction:
            db.execute("ROLLBACK")
        db.execute("PRAGMA foreign_keys = ON")


def _note_in_history(db: sqlite3.Connection, found: int) -> None:
    """Write a history row, at the time of the last change (nobody said what time it is)."""
    db.execute("UPDATE farm SET value = CAST(value AS INTEGER) + 1 WHERE key = 'version'")
    db.execute(
        "INSERT INTO history (at, what, fields, version) SELECT h.at, 'farm.upgraded', ?, f.value "
        "FROM history h, farm f WHERE f.key = 'version' ORDER BY h.id DESC LIMIT 1",
        (f'{{"found": {found}, "format": {current_format()}}}',),
    )


def _add_columns(db: sqlite3.Connection, path: Path) -> None:
    """Give settings that are newer than the file their columns."""
    with plainly(path):
        statements = missing_columns(db)
        if not statements:
            return
        db.execute("BEGIN IMMEDIATE")
        try:
            for statement in statements:
                db.execute(statement)
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
