"""The open farm file: everything outside this package goes through :class:`FarmFile`."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from waterbudget.errors import FarmFileError, Note, Refused
from waterbudget.orchard import Orchard
from waterbudget.records import FarmData, ForecastDay
from waterbudget.store import schema, upgrade
from waterbudget.store.blocks import BlockRows
from waterbudget.store.checking import find_faults
from waterbudget.store.copying import copy_checked
from waterbudget.store.days import DayRows
from waterbudget.store.faults import farm_error, plainly, reading
from waterbudget.store.imports import ImportRows
from waterbudget.store.opening import (
    connect,
    format_of,
    make_writable,
    need_file,
    need_folder,
    put_in_place,
    recover,
    remove_part,
    temporary_beside,
)
from waterbudget.store.readings import ReadingRows
from waterbudget.store.rows import OwnRows
from waterbudget.store.work import WorkRows
from waterbudget.weather import DailyRecord


class FarmFile(BlockRows, DayRows, ImportRows, ReadingRows, OwnRows, WorkRows):
    """One farm file, open.  Use it with ``with``; close it when done.

    Any thread may use it; reads and transactions of different threads wait for each other.

    Attributes
    ----------
    path : pathlib.Path
    read_only : bool
    notes : list of Note
        What opening it had to do (an upgrade).
    """

    read_only: bool = False

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        super().__init__(db, path)
        self.notes: list[Note] = []

    @classmethod
    def create(
        cls,
        path: str | PathLike[str],
        orchard: Orchard,
        *,
        replace: bool = False,
        hold: bool = False,
        now: dt.datetime,
    ) -> Self:
        """Make a farm file with this orchard (its blocks, stations and gauges too) and open it.

        It is made under another name in the same folder and renamed when it is whole.

        Parameters
        ----------
        replace : bool
            Put it in the place of a farm file that is there; of nothing else.
        hold : bool
            As in :meth:`open`.
        now : datetime.datetime
            Local time.

        Raises
        ------
        FarmFileError
            There is a file already, it is open in another program, no such folder, read-only,
            disk full; what was there is untouched and nothing is left behind.
        """
        path = Path(path)
        need_folder(path)
        if path.exists():
            _need_replaceable(path, replace)
        made = temporary_beside(path)
        try:
            _make(cls, made, path, orchard, now)
            put_in_place(made, path, replace=replace)
        finally:
            remove_part(made)
        return cls.open(path, hold=hold)

    @classmethod
    def open(
        cls, path: str | PathLike[str], *, hold: bool = False, read_only: bool = False
    ) -> Self:
        """Open a farm file.

        Parameters
        ----------
        hold : bool
            Keep it to ourselves until it is closed: any other program that wants to read or
            write it is told at once that it is in use.
        read_only : bool
            Nothing is written, not even beside it.

        Raises
        ------
        FarmFileError
            Missing, no farm file, in use, read-only (without ``read_only``), newer than the
            program, damaged; nothing is changed.
        """
        path = Path(path)
        need_file(path)
        try:
            db = connect(path, "ro" if read_only else "rw")
            try:
                return cls._opened(db, path, hold=hold, read_only=read_only)
            except BaseException:
                db.close()
                raise
        except FarmFileError as error:
            if error.code == "farmfile.half_saved" and read_only and recover(path):
                return cls.open(path, read_only=True)
            raise

    @classmethod
    def _opened(cls, db: sqlite3.Connection, path: Path, *, hold: bool, read_only: bool) -> Self:
        found = format_of(db, path)
        upgrade.need_known(found, path)
        notes: list[Note] = []
        if not read_only:
            make_writable(db, path, hold=hold)
            notes = upgrade.bring_up_to_date(db, path, found)
        elif found < upgrade.current_format():
            older, db = db, upgrade.in_memory(db, path, found)
            older.close()
        if read_only:
            db.execute("PRAGMA query_only = ON")
        farm = cls(db, path)
        farm.read_only = read_only
        farm.notes = notes
        return farm

    def close(self) -> None:
        """Close the file and let others have it."""
        with self._lock:
            self._cache.clear()
            self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def read(self) -> FarmData:
        """Return everything the file holds, as used, in one consistent state.

        Only what changed since the last call is read again.  Inside a transaction it shows what
        has been saved so far.  Arrays are read-only; mappings are shared and must not be changed.

        Raises
        ------
        FarmFileError
            In use, damaged, or a value in it cannot be read.
        Refused
            A block's settings contradict each other (another program changed them).
        """
        with self._lock, plainly(self.path):
            began = not self._db.in_transaction
            if began:
                self._db.execute("BEGIN")
            try:
                if began:
                    self._db.execute("SELECT 1 FROM farm").fetchone()  # the state begins here
                    self._notice_others()
                return self._read_all()
            finally:
                if began and self._db.in_transaction:
                    self._db.execute("COMMIT")

    def _read_all(self) -> FarmData:
        stations = self._read_stations()
        records: dict[str, DailyRecord] = {}
        forecasts: dict[str, tuple[ForecastDay, ...]] = {}
        for station in stations:
            if (record := self._read_record(station.id)) is not None:
                records[station.name] = record
            if days := self._read_forecast(station.id):
                forecasts[station.name] = days
        orchard = Orchard(
            **self._farm_fields(),
            blocks=self._read_blocks(),
            stations=stations,
            gauges=self._read_gauges(),
            pumps=self._read_rows("pumps"),
        )
        return FarmData(
            orchard=orchard,
            records=records,
            forecasts=forecasts,
            rain_typed=dict(self._read_rain()),
            ran=self._read_ran(),
            given=self._read_given(),
            pins=self._read_pins(),
            readings=self._read_readings(),
            version=self._version(),
            field_entries=self._read_rows("field_entries"),
            meter_readings=self._read_rows("meter_readings"),
            tree_marks=self._read_rows("tree_marks"),
            land_marks=self._read_rows("land_marks"),
            underlays=self._read_rows("underlays"),
            figures=self._read_rows("figures"),
        )

    def version(self) -> int:
        """Return the number of changes stored so far, without reading anything else."""
        with self._lock, reading(self.path, "farm"):
            row = self._db.execute("SELECT value FROM farm WHERE key = 'version'").fetchone()
            return int(row[0])

    def history(self, limit: int = 100) -> list[tuple[dt.datetime, str, Mapping[str, Any]]]:
        """Return the last changes, newest first: when, what, fields (dates as ISO text)."""
        with self._lock, reading(self.path, "history"):
            rows = self._db.execute(
                "SELECT at, what, fields FROM history ORDER BY id DESC LIMIT ?", (limit,)
            )
            return [
                (dt.datetime.fromisoformat(at), what, json.loads(fields))
                for at, what, fields in rows
            ]

    def backup_to(self, path: str | PathLike[str]) -> None:
        """Write a copy to a new file and check it; whoever calls gives it its dated name.

        Raises
        ------
        FarmFileError
            A file is there already, no such folder, read-only, disk full, or the copy is not
            whole; nothing is left behind.
        """
        with self._lock:
            if self._db.in_transaction:
                raise RuntimeError("a copy is made between transactions")
            copy_checked(self._db, self.path, Path(path))

    def check(self) -> list[Note]:
        """Return what is wrong with the file; an empty list when it is whole."""
        with self._lock:
            notes = find_faults(self._db, self.path)
            if any(note.code == "farmfile.table_missing" for note in notes):
                return notes
            try:
                self.read()
            except Refused as error:
                if error.code not in {note.code for note in notes}:
                    notes.append(Note(error.code, error.fields))
            return notes


def _make(kind: type[FarmFile], made: Path, path: Path, orchard: Orchard, now: dt.datetime) -> None:
    """Write the new farm to ``made``; errors name ``path``."""
    with plainly(path):
        try:
            db = connect(made, "rwc")
        except FarmFileError as error:
            raise farm_error("farmfile.read_only", path) from error
        farm = kind(db, path)
        try:
            db.execute("BEGIN")
            schema.build(db, orchard.epsg, now)
            start = {"format": schema.FORMAT, "format_version": upgrade.current_format()}
            db.executemany("INSERT INTO farm VALUES (?,?)", [*start.items(), ("version", 0)])
            db.execute("COMMIT")
            with farm.transaction("farm.created", now=now, name=orchard.name):
                farm.save_farm(orchard)
                for station in orchard.stations:
                    farm.add_station(station)
                for gauge in orchard.gauges:
                    farm.add_gauge(gauge)
                for block in orchard.blocks:
                    farm.save_block(block)
                for pump in orchard.pumps:
                    farm.add_row(pump)
        finally:
            farm.close()


def _need_replaceable(path: Path, replace: bool) -> None:
    """Refuse to replace anything but a farm file that nobody is using."""
    if not replace:
        raise farm_error("farmfile.exists", path)
    if path.stat().st_size == 0:
        return
    try:
        with plainly(path), closing(connect(path, "rw")) as db:
            format_of(db, path)
            db.execute("BEGIN EXCLUSIVE")
            db.execute("ROLLBACK")
    except FarmFileError as error:
        if error.code in ("farmfile.not_a_farm", "farmfile.other_geopackage"):
            raise farm_error("farmfile.replaces_other", path) from error
        raise
