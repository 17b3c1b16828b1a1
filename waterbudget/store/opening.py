"""Open a farm file with sqlite3: find out what it is, make sure it can be written, put it in place.

The file itself is never opened in any other way here: on most systems, closing a second handle of
one's own process drops the locks SQLite holds on it.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote

from waterbudget.errors import FarmFileError
from waterbudget.store import geopackage
from waterbudget.store.faults import farm_error, plainly
from waterbudget.store.schema import FORMAT

TIMEOUT_S = 1.5
"""How long to wait for another program that is saving [s]."""
BESIDE = ("-journal", "-wal", "-shm")
"""Files SQLite keeps beside a database while it is written."""


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """Open a connection; ``mode`` is ``ro``, ``rw`` or ``rwc`` (make the file).

    Raises
    ------
    FarmFileError
        The file cannot be opened, is in use, or is no database.
    """
    with plainly(path):
        db = sqlite3.connect(
            _uri(path, mode), uri=True, timeout=TIMEOUT_S, isolation_level=None,
            check_same_thread=False, cached_statements=256,
        )  # fmt: skip
        try:
            for setting in ("foreign_keys = ON", "synchronous = FULL", "cell_size_check = ON"):
                db.execute(f"PRAGMA {setting}")  # the second one looks into the file
        except sqlite3.Error:
            db.close()
            raise
    geopackage.add_functions(db)
    return db


def _uri(path: Path, mode: str) -> str:
    name = path.absolute().as_posix()
    return f"file://{'' if name.startswith('/') else '/'}{quote(name)}?mode={mode}"


def need_file(path: Path) -> None:
    """Refuse a path where there is no file.

    Raises
    ------
    FarmFileError
    """
    if path.is_dir():
        raise farm_error("farmfile.is_folder", path)
    if not path.exists():
        raise farm_error("farmfile.missing", path)


def need_folder(path: Path) -> None:
    """Refuse a path that no file can be made at.

    Raises
    ------
    FarmFileError
    """
    if path.is_dir():
        raise farm_error("farmfile.is_folder", path)
    if not path.parent.is_dir():
        raise farm_error("farmfile.no_folder", path)


def format_of(db: sqlite3.Connection, path: Path) -> int:
    """Return the format version of a farm file.

    Raises
    ------
    FarmFileError
        It is another kind of file.
    """
    with plainly(path):
        (application,) = db.execute("PRAGMA application_id").fetchone()
        tables = {row[0] for row in db.execute("SELECT name FROM sqlite_master")}
        if application != geopackage.APPLICATION_ID:
            raise farm_error("farmfile.not_a_farm", path)
        found: dict[str, str] = {}
        if "farm" in tables:
            with suppress(sqlite3.OperationalError):  # a map layer called "farm": other columns
                found = dict(db.execute("SELECT key, value FROM farm WHERE key LIKE 'format%'"))
    if found.get("format") != FORMAT:
        raise farm_error("farmfile.other_geopackage", path)
    try:
        return int(found["format_version"])
    except (KeyError, ValueError):
        raise farm_error("farmfile.damaged", path) from None


def is_farm(path: Path) -> bool:
    """Tell whether a file is a farm file of any format; whoever has it open is not disturbed.

    A database that someone is writing to cannot be looked into and counts as one.
    """
    if not path.is_file():
        return False
    try:
        db = connect(path, "ro")
        try:
            format_of(db, path)
        finally:
            db.close()
    except FarmFileError as error:
        return error.code in ("farmfile.in_use", "farmfile.half_saved")
    return True


def recover(path: Path) -> bool:
    """Let SQLite undo a save that a crash cut short; False where the place cannot be written."""
    try:
        db = connect(path, "rw")
        try:
            db.execute("SELECT count(*) FROM sqlite_master").fetchone()
        finally:
            db.close()
    except (sqlite3.Error, FarmFileError):
        return False
    return True


def make_writable(db: sqlite3.Connection, path: Path, *, hold: bool) -> None:
    """Make sure that a save can succeed here, and keep the file to ourselves if asked.

    Raises
    ------
    FarmFileError
        Another program has the file, or the file or its folder is read-only.
    """
    with plainly(path):
        # a map program may have left it in another mode
        (mode,) = db.execute("PRAGMA journal_mode = DELETE").fetchone()
        if mode != "delete":
            raise farm_error("farmfile.in_use", path)
        if hold:
            db.execute("PRAGMA locking_mode = EXCLUSIVE")
        db.execute("BEGIN EXCLUSIVE" if hold else "BEGIN IMMEDIATE")
        try:
            # a real change (rolled back): it makes the journal, which fails in a read-only folder
            db.execute("UPDATE farm SET value = value || ' ' WHERE key = 'version'")
        except sqlite3.Error as error:
            if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_CANTOPEN:
                raise farm_error("farmfile.read_only", path) from error
            raise
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")


def temporary_beside(path: Path) -> Path:
    """Return a name in the same folder that nothing has."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")


def put_in_place(made: Path, path: Path, *, replace: bool) -> None:
    """Give a finished file its name, whole or not at all.

    Raises
    ------
    FarmFileError
        There is a file of that name already (without ``replace``).
    """
    if not replace and path.exists():
        raise farm_error("farmfile.exists", path)
    for ending in BESIDE:  # of a file that is no more: SQLite would apply it to the new one
        path.with_name(path.name + ending).unlink(missing_ok=True)
    try:
        if replace:
            made.replace(path)
        else:
            _name_it(made, path)
    except OSError as error:
        raise farm_error("farmfile.cannot_open", path) from error
    _settle_folder(path.parent)


def _name_it(made: Path, path: Path) -> None:
    """Rename, but never over a file that appeared meanwhile, where the disk can promise that."""
    try:
        os.link(made, path)
    except FileExistsError:
        raise farm_error("farmfile.exists", path) from None
    except OSError:  # no hard links (a memory stick)
        made.rename(path)
    else:
        made.unlink()


def _settle_folder(folder: Path) -> None:
    """Make sure the new name is on the disk too (where folders can be synced)."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def remove_part(made: Path) -> None:
    """Clear away what an attempt left."""
    for ending in ("", *BESIDE):
        with suppress(OSError):
            made.with_name(made.name + ending).unlink(missing_ok=True)
