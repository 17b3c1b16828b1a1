"""Tables whose rows are one frozen dataclass each (``schema.ROWS``): add, put another, take out.

Nothing is overwritten: a row that is changed or taken away goes out of use and stays.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeVar

import shapely

from waterbudget.errors import Refused
from waterbudget.store.base import Part
from waterbudget.store.faults import reading
from waterbudget.store.schema import ROWS, row_fields

Row = TypeVar("Row")

_TABLES = {kind: table for table, kind in ROWS.items()}
_WRITE: dict[str, Callable[[Any], Any]] = {
    "bool": int,
    "dt.date": lambda value: value.isoformat(),
    "dt.time": lambda value: value.isoformat(),
    "BaseGeometry": shapely.to_wkb,
}
_READ: dict[str, Callable[[Any], Any]] = {
    "float": float,
    "bool": bool,
    "dt.date": dt.date.fromisoformat,
    "dt.time": dt.time.fromisoformat,
    "BaseGeometry": shapely.from_wkb,
}


class OwnRows(Part):
    """Save and read the rows of :data:`~waterbudget.store.schema.ROWS`."""

    def add_row(self, row: Row) -> Row:
        """Store a new row and return it with its id.

        A given id is kept where no row ever had it.
        """
        at = self._need_transaction()
        table = _TABLES[type(row)]
        block_id = getattr(row, "block_id", None)
        if block_id is not None:
            self._need_block(block_id)
        columns = row_fields(type(row))
        values = [
            None if (value := getattr(row, name)) is None else _WRITE.get(plain, _same)(value)
            for name, plain, _ in columns
        ]
        names = ", ".join(name for name, _, _ in columns)
        marks = ", ".join("?" * (len(columns) + 3))
        number = getattr(row, "id", 0) or None
        query = f"SELECT 1 FROM {table} WHERE id = ?"
        if number is not None and self._db.execute(query, (number,)).fetchone():
            number = None  # what was taken out stays as it was; it comes back as a new row
        cursor = self._db.execute(
            f"INSERT INTO {table} (id, {names}, at, in_use) VALUES ({marks})",
            (number, *values, at, 1),
        )
        self._touch(table)
        return replace(row, id=int(cursor.lastrowid or 0))  # type: ignore[type-var]

    def drop_row(self, kind: type[Row], number: int) -> Row:
        """Take a row out of use and return it as it was.

        Raises
        ------
        Refused
            There is no such row in use.
        """
        self._need_transaction()
        table = _TABLES[kind]
        found: Row | None = next((r for r in self._read_rows(table) if r.id == number), None)
        if found is None:
            raise Refused("farmfile.row_gone", table=table, number=number)
        self._db.execute(f"UPDATE {table} SET in_use = 0 WHERE id = ?", (number,))
        self._touch(table)
        return found

    def put_row(self, row: Row) -> Row:
        """Store ``row`` in the place of the one with its id; the old one stays, out of use."""
        self.drop_row(type(row), row.id)  # type: ignore[attr-defined]
        return self.add_row(replace(row, id=0))  # type: ignore[type-var]

    def _read_rows(self, table: str) -> tuple[Any, ...]:
        kind = ROWS[table]
        columns = row_fields(kind)

        def load() -> tuple[Any, ...]:
            names = ", ".join(name for name, _, _ in columns)
            where = "in_use = 1"
            if any(name == "block_id" for name, _, _ in columns):
                where += " AND block_id IN (SELECT fid FROM blocks)"
            found = []
            for number, *values in self._db.execute(
                f"SELECT id, {names} FROM {table} WHERE {where} ORDER BY id"
            ):
                given = {
                    name: None if value is None else _READ.get(plain, _same)(value)
                    for (name, plain, _), value in zip(columns, values, strict=True)
                }
                found.append(kind(id=number, **given))
            return tuple(found)

        with reading(self.path, table):
            return self._cached(table, load)


def _same(value: Any) -> Any:
    return value
