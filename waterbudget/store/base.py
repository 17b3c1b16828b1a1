"""What the parts of an open farm file share: one connection, one lock, one cache, one transaction.

The cache holds what was read, part by part.  A write drops the parts it touches; a change made by
another program (``PRAGMA data_version``) drops everything.  So a snapshot after one edit reads
only that one thing again.
"""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
import threading
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Self, TypeVar

from waterbudget.errors import Refused
from waterbudget.store import geopackage
from waterbudget.store.faults import as_farm_error

T = TypeVar("T")


class Part:
    """Base of the parts of a farm file.

    Parameters
    ----------
    db : sqlite3.Connection
        Opened by :mod:`waterbudget.store.opening`.
    path : pathlib.Path
    """

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        self._db = db
        self.path = path
        self._lock = threading.RLock()
        self._cache: dict[Hashable, Any] = {}
        self._touched: set[Hashable] = set()
        self._now: dt.datetime | None = None
        self._outlines_touched = False
        self._data_version = -1

    @contextmanager
    def transaction(self, what: str, *, now: dt.datetime, **fields: Any) -> Iterator[Self]:
        """Store everything done inside, or nothing.

        One history row is written and the version grows by one.

        Parameters
        ----------
        what : str
            Code of the user's action.
        now : datetime.datetime
            Local time of the action.
        **fields
            What the history should tell about it (kept as JSON; dates as ISO text).

        Yields
        ------
        FarmFile
            The file itself; its saving methods work only in here.

        Raises
        ------
        FarmFileError
            In use, read-only, disk full ...; nothing was stored.
        """
        with self._lock:
            if self._now is not None:
                raise RuntimeError("a transaction is already open")
            try:
                self._begin(what, now, fields)
                yield self
                self._finish(now)
                self._db.execute("COMMIT")
            except BaseException as error:
                self._roll_back()
                plain = (
                    as_farm_error(error, self.path) if isinstance(error, sqlite3.Error) else None
                )
                if plain is not None:
                    raise plain from error
                raise
            finally:
                self._now = None
                self._touched.clear()
                self._outlines_touched = False

    def _begin(self, what: str, now: dt.datetime, fields: Mapping[str, Any]) -> None:
        self._db.execute("BEGIN IMMEDIATE")
        self._notice_others()
        self._now = now
        self._touch("farm")
        self._db.execute("UPDATE farm SET value = CAST(value AS INTEGER) + 1 WHERE key = 'version'")
        self._db.execute(
            "INSERT INTO history (at, what, fields, version) SELECT ?, ?, ?, CAST(value AS INTEGER)"
            " FROM farm WHERE key = 'version'",
            (now.isoformat(), what, to_json(dict(fields))),
        )

    def _finish(self, now: dt.datetime) -> None:
        if self._outlines_touched:
            geopackage.set_bounds(self._db, "blocks", "geom")
        if any(isinstance(part, tuple) and part[0] == "block" for part in self._touched):
            geopackage.set_changed(self._db, "blocks", now)

    def _roll_back(self) -> None:
        for part in self._touched:
            self._cache.pop(part, None)
        # SQLite has already rolled back by itself after a full disk or a failed write
        if self._db.in_transaction:
            with suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")

    def _touch(self, *parts: Hashable) -> None:
        """Forget what was read of these parts: they are about to change."""
        self._touched.update(parts)
        for part in parts:
            self._cache.pop(part, None)

    def _cached(self, part: Hashable, load: Callable[[], T]) -> T:
        if part not in self._cache:
            self._cache[part] = load()
        found: T = self._cache[part]
        return found

    def _notice_others(self) -> None:
        """Forget everything read if another program has changed the file since."""
        (version,) = self._db.execute("PRAGMA data_version").fetchone()
        if version != self._data_version:
            self._cache.clear()
            self._data_version = version

    def _need_transaction(self) -> str:
        """Return the time of the running transaction as it is stored."""
        if self._now is None:
            raise RuntimeError("saving needs an open transaction")
        return self._now.isoformat()

    def _need_block(self, block_id: int) -> None:
        """Refuse a block that is gone; make sure rows may point at it."""
        row = self._db.execute("SELECT name FROM blocks WHERE fid = ?", (block_id,)).fetchone()
        if row is None:
            raise Refused("farmfile.block_gone", block_id=block_id)
        # a block drawn by another program is not listed yet
        self._db.execute("INSERT OR IGNORE INTO block_ids (id, name) VALUES (?, ?)",
                         (block_id, row[0]))  # fmt: skip

    def _need_station(self, station_id: int) -> None:
        found = self._db.execute("SELECT 1 FROM stations WHERE id = ?", (station_id,)).fetchone()
        if found is None:
            raise Refused("farmfile.station_gone", station_id=station_id)


def to_json(value: Any) -> str:
    """Write a plain value as JSON; dates and times become ISO text."""
    return json.dumps(value, default=str, ensure_ascii=False)
