"""Imported files as they came, the answers given with them, and what was found odd in them."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from waterbudget.errors import Refused
from waterbudget.store.base import Part, to_json
from waterbudget.store.faults import reading

FlagRow = tuple[dt.date, str, str | None, str | None, Any]
"""Date, what was found, quantity, the value as text, whether (or what) was used."""


@dataclass(frozen=True)
class StoredImport:
    """One import that was made.

    Attributes
    ----------
    kind : str
        ``weather``, ``forecast``, ``outlines`` ... as the caller named it.
    name : str
        Of the file.
    answers : mapping of str to str
    withdrawn : bool
        Taken back since.
    """

    id: int
    kind: str
    name: str
    sha256: str
    at: dt.datetime
    layout_key: str | None
    answers: Mapping[str, Any]
    withdrawn: bool


@dataclass(frozen=True)
class StoredFlag:
    """Something an import found odd on one day.

    Attributes
    ----------
    what : str
        Code of the finding.
    value : str or None
        As it stood in the file.
    used : Any
        As the import gave it: whether, or with what, the day was used.
    accepted : bool
        The grower has looked at it and said it is right.
    """

    id: int
    import_id: int | None
    date: dt.date
    what: str
    quantity: str | None
    value: str | None
    used: Any
    accepted: bool


class ImportRows(Part):
    """Save and read imports, remembered answers and flags."""

    def add_import(
        self,
        kind: str,
        name: str,
        data: bytes,
        sha256: str | None = None,
        answers: Mapping[str, Any] | None = None,
        layout_key: str | None = None,
        now: dt.datetime | None = None,
    ) -> int:
        """Keep an imported file as it came, compressed; the same bytes are kept once.

        Parameters
        ----------
        sha256 : str, optional
            Where the caller knows it already; it must be that of ``data``.
        answers, layout_key
            What :meth:`remembered_answers` gives back for the next file of this layout; an empty
            layout key remembers nothing.
        now : datetime.datetime, optional
            The time of the transaction where it is left out.

        Returns
        -------
        int
            Id of the import.
        """
        at = self._need_transaction()
        digest = hashlib.sha256(data).hexdigest()
        if sha256 not in (None, digest):
            raise ValueError("sha256 is not that of the data")
        self._keep_original(data, digest)
        cursor = self._db.execute(
            "INSERT INTO imports (kind, name, sha256, at, layout_key, answers) "
            "VALUES (?,?,?,?,?,?)",
            (
                kind,
                name,
                digest,
                now.isoformat() if now else at,
                layout_key or None,
                to_json(dict(answers or {})),
            ),
        )
        return int(cursor.lastrowid or 0)

    def _keep_original(self, data: bytes, sha256: str) -> None:
        known = self._db.execute("SELECT 1 FROM originals WHERE sha256 = ?", (sha256,)).fetchone()
        if known is None:
            row = (sha256, len(data), zlib.compress(data))
            self._db.execute("INSERT INTO originals VALUES (?,?,?)", row)

    def original(self, import_id: int) -> bytes:
        """Return an imported file as it came.

        Raises
        ------
        Refused
            No such import.
        """
        with self._lock, reading(self.path, "originals"):
            row = self._db.execute(
                "SELECT o.packed FROM imports i JOIN originals o USING (sha256) WHERE i.id = ?",
                (import_id,),
            ).fetchone()
            if row is None:
                raise Refused("farmfile.no_such_import", import_id=import_id)
            return unpack(row[0])

    def imports(self) -> list[StoredImport]:
        """Return every import ever made, oldest first."""
        with self._lock, reading(self.path, "imports"):
            return [
                StoredImport(number, kind, name, sha256, dt.datetime.fromisoformat(at), layout,
                             json.loads(answers), withdrawn is not None)
                for number, kind, name, sha256, at, layout, answers, withdrawn in self._db.execute(
                    "SELECT id, kind, name, sha256, at, layout_key, answers, withdrawn_at "
                    "FROM imports ORDER BY id"
                )
            ]  # fmt: skip

    def remembered_answers(self, layout_key: str) -> dict[str, Any]:
        """Return the answers last given for files of this layout (empty where there are none)."""
        with self._lock, reading(self.path, "imports"):
            row = self._db.execute(
                "SELECT answers FROM imports WHERE layout_key = ? AND withdrawn_at IS NULL "
                "ORDER BY id DESC LIMIT 1",
                (layout_key,),
            ).fetchone()
            return dict(json.loads(row[0])) if row else {}

    def withdraw_import(self, import_id: int) -> None:
        """Take back the days and forecasts of an import; versions stored before are used again.

        The original and every row of it stay in the file, out of use.
        """
        at = self._need_transaction()
        self._db.execute(
            "UPDATE imports SET withdrawn_at = ? WHERE id = ? AND withdrawn_at IS NULL",
            (at, import_id),
        )
        for table, key in (("days", ("station_id", "date")),
                           ("forecasts", ("station_id", "issued", "date"))):  # fmt: skip
            rows = self._db.execute(
                f"SELECT {', '.join(key)} FROM {table} WHERE import_id = ? AND in_use = 1",
                (import_id,),
            ).fetchall()
            where = " AND ".join(f"{column} = ?" for column in key)
            self._db.execute(f"UPDATE {table} SET in_use = 0 WHERE import_id = ?", (import_id,))
            self._db.executemany(
                f"UPDATE {table} SET in_use = 1 WHERE id = (SELECT max(t.id) FROM {table} t "
                f"LEFT JOIN imports i ON i.id = t.import_id WHERE {where} "
                "AND i.withdrawn_at IS NULL)",
                rows,
            )
            part = "days" if table == "days" else "forecast"
            self._touch(*{(part, row[0]) for row in rows})

    def add_flags(self, import_id: int | None, station_id: int, found: Sequence[FlagRow]) -> None:
        """Store what an import found odd: date, what, quantity, value as text, used."""
        self._need_transaction()
        self._need_station(station_id)
        self._db.executemany(
            "INSERT INTO flags (import_id, station_id, date, what, quantity, value, used) "
            "VALUES (?,?,?,?,?,?,?)",
            [
                (import_id, station_id, date.isoformat(), what, quantity, value, to_json(used))
                for date, what, quantity, value, used in found
            ],
        )

    def list_flags(self, station_id: int) -> list[StoredFlag]:
        """Return the flags of a station in order of date; those of withdrawn imports left out."""
        with self._lock, reading(self.path, "flags"):
            return [
                StoredFlag(number, import_id, dt.date.fromisoformat(date), what, quantity, value,
                           json.loads(used), accepted is not None)
                for number, import_id, date, what, quantity, value, used, accepted
                in self._db.execute(
                    "SELECT f.id, f.import_id, f.date, f.what, f.quantity, f.value, f.used, "
                    "f.accepted_at FROM flags f LEFT JOIN imports i ON i.id = f.import_id "
                    "WHERE f.station_id = ? AND i.withdrawn_at IS NULL ORDER BY f.date, f.id",
                    (station_id,),
                )
            ]  # fmt: skip

    def accept_flag(self, flag_id: int, accepted: bool = True) -> None:
        """Note that the grower has looked at a flag and said it is right (or takes that back)."""
        at = self._need_transaction()
        self._db.execute(
            "UPDATE flags SET accepted_at = ? WHERE id = ?", (at if accepted else None, flag_id)
        )


def unpack(packed: bytes) -> bytes:
    """Return the bytes of an original.

    Raises
    ------
    ValueError
        It cannot be unpacked.
    """
    try:
        return zlib.decompress(packed)
    except zlib.error as error:
        raise ValueError(str(error)) from error
