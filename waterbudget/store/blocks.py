"""Blocks in the farm file: one row each, their cycles and stage numbers beside it."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Refused
from waterbudget.orchard import Block, Cycle, fold
from waterbudget.outlines import area_ha
from waterbudget.store import geopackage
from waterbudget.store.base import Part
from waterbudget.store.faults import reading
from waterbudget.store.schema import CYCLE_COLUMNS, FIELD_KEYS, columns_of


class BlockRows(Part):
    """Save, delete and read blocks."""

    def save_block(self, block: Block) -> int:
        """Store a block as it is now; one without an id is new.

        An id that is not in the file is used as it is (a deleted block comes back under its own
        id, together with what ran on it).

        Returns
        -------
        int
            The block's id.

        Raises
        ------
        Refused
            Another block has that name, the name is empty, the outline is no sound polygon, or
            two cycles begin on one day.
        """
        self._need_transaction()
        self._check(block)
        columns = list(FIELD_KEYS)
        values = [_to_sql(getattr(block, name)) for name in columns]
        outline = None
        if block.outline is not None:
            outline = geopackage.to_blob(block.outline, self._epsg())
        block_id = block.id or self._new_block_id(block.name)
        self._touch(("block", block_id))
        if not self._is_there(block_id):
            self._blocks_come_or_go()
        before = self._outline_of(block_id)
        self._db.execute(
            f"INSERT INTO blocks (fid, geom, name, {', '.join(columns)}) "
            f"VALUES (?, ?, ?{', ?' * len(columns)}) ON CONFLICT (fid) DO UPDATE SET "
            f"geom = excluded.geom, name = excluded.name, "
            + ", ".join(f"{name} = excluded.{name}" for name in columns),
            (block_id, outline, block.name, *values),
        )
        self._db.execute(
            "INSERT INTO block_ids (id, name) VALUES (?, ?) ON CONFLICT (id) DO UPDATE "
            "SET name = excluded.name, removed_at = NULL",
            (block_id, block.name),
        )
        self._rename(block_id, block.name)
        self._save_cycles(block_id, block)
        if outline != before:
            self._outlines_touched = True
        return block_id

    def delete_block(self, block_id: int) -> None:
        """Take a block out of the farm; what ran on it stays, and is back if it is saved again."""
        at = self._need_transaction()
        self._need_block(block_id)
        self._db.execute("UPDATE block_ids SET removed_at = ? WHERE id = ?", (at, block_id))
        self._db.execute("DELETE FROM blocks WHERE fid = ?", (block_id,))
        self._rename(block_id, None)
        self._touch(("block", block_id))
        self._blocks_come_or_go()
        self._outlines_touched = True

    def _is_there(self, block_id: int) -> bool:
        query = "SELECT 1 FROM blocks WHERE fid = ?"
        return self._db.execute(query, (block_id,)).fetchone() is not None

    def _blocks_come_or_go(self) -> None:
        """What ran, weeks and pins of a block are seen only while the block is there."""
        weeks = [part for part in self._cache if isinstance(part, tuple) and part[0] == "given"]
        self._touch("ran", "given", "pins", "readings", *weeks)

    def _new_block_id(self, name: str) -> int:
        # one id can stand in either table: blocks drawn by another program are not listed
        self._db.execute("INSERT INTO block_ids (id, name) SELECT 1 + max("
                         "(SELECT ifnull(max(id), 0) FROM block_ids), "
                         "(SELECT ifnull(max(fid), 0) FROM blocks)), ?", (name,))  # fmt: skip
        return int(self._db.execute("SELECT max(id) FROM block_ids").fetchone()[0])

    def _outline_of(self, block_id: int) -> bytes | None:
        row = self._db.execute("SELECT geom FROM blocks WHERE fid = ?", (block_id,)).fetchone()
        return row[0] if row else None

    def _save_cycles(self, block_id: int, block: Block) -> None:
        self._db.execute("DELETE FROM cycles WHERE block_id = ?", (block_id,))
        self._db.execute("DELETE FROM block_numbers WHERE block_id = ?", (block_id,))
        self._db.executemany(
            f"INSERT INTO cycles (block_id, {', '.join(CYCLE_COLUMNS)}) VALUES (?,?,?,?,?,?,?)",
            [
                (block_id, *(_to_sql(getattr(cycle, name)) for name in CYCLE_COLUMNS))
                for cycle in block.cycles
            ],
        )
        self._db.executemany(
            "INSERT INTO block_numbers (block_id, key, value) VALUES (?,?,?)",
            [(block_id, key, value) for key, value in block.stage_numbers.items()],
        )

    def _check(self, block: Block) -> None:
        if not fold(block.name):
            raise Refused("farmfile.block_no_name")
        if self._names().get(fold(block.name), block.id) != block.id:
            raise Refused("farmfile.block_name_taken", block=block.name)
        if block.outline is not None and not _sound(block.outline):
            raise Refused("farmfile.bad_outline", block=block.name)
        starts = [cycle.pruned_on for cycle in block.cycles]
        for date in starts:
            if starts.count(date) > 1:
                raise Refused("farmfile.pruned_twice", block=block.name, date=date)

    def _names(self) -> dict[str, int]:
        """Return the ids by folded name; kept up to date while blocks are saved."""

        def load() -> dict[str, int]:
            return {fold(n): i for i, n in self._db.execute("SELECT fid, name FROM blocks")}

        return self._cached("names", load)

    def _rename(self, block_id: int, name: str | None) -> None:
        self._touched.add("names")  # forgotten if the transaction fails
        names = self._names()
        for old in [n for n, i in names.items() if i == block_id]:
            del names[old]
        if name is not None:
            names[fold(name)] = block_id

    def _read_blocks(self) -> tuple[Block, ...]:
        with reading(self.path, "blocks"):
            ids = [row[0] for row in self._db.execute("SELECT fid FROM blocks ORDER BY fid")]
            missing = [i for i in ids if ("block", i) not in self._cache]
            if missing:
                self._load_blocks(missing if len(missing) <= 50 else None)
            return tuple(self._cache["block", i] for i in ids)

    def _load_blocks(self, only: Sequence[int] | None) -> None:
        marks = f" IN ({', '.join('?' * len(only))})" if only is not None else " IS NOT NULL"
        given = tuple(only or ())
        cycles: dict[int, list[Cycle]] = {}
        for row in self._db.execute(
            f"SELECT block_id, {', '.join(CYCLE_COLUMNS)} FROM cycles WHERE block_id{marks} "
            "ORDER BY block_id, pruned_on",
            given,
        ):
            cycles.setdefault(row[0], []).append(Cycle(*(_date(text) for text in row[1:])))  # type: ignore[arg-type]
        numbers: dict[int, dict[str, float]] = {}
        for block_id, key, value in self._db.execute(
            f"SELECT block_id, key, value FROM block_numbers WHERE block_id{marks}", given
        ):
            numbers.setdefault(block_id, {})[key] = float(value)
        there = columns_of(self._db, "blocks")
        columns = [name for name in FIELD_KEYS if name in there]
        readers = [_READERS.get(FIELD_KEYS[name].kind, str) for name in columns]
        epsg = self._epsg()
        for block_id, name, geom, *values in self._db.execute(
            f"SELECT fid, name, geom, {', '.join(columns)} FROM blocks WHERE fid{marks}", given
        ):
            fields: dict[str, Any] = {
                column: None if value is None else read(value)
                for column, read, value in zip(columns, readers, values, strict=True)
            }
            if geom is not None:
                fields["outline"], fields["outline_ha"] = _outline(geopackage.wkb_of(geom), epsg)
            self._cache["block", block_id] = Block(
                name=name,
                id=block_id,
                cycles=tuple(cycles.get(block_id, ())),
                stage_numbers=numbers.get(block_id, {}),
                **fields,
            )

    def _epsg(self) -> int:
        return self._cached("epsg", lambda: read_epsg(self._db))


def read_epsg(db: sqlite3.Connection) -> int:
    """Return the system the outlines are stored in."""
    row = db.execute("SELECT value FROM farm WHERE key = 'epsg'").fetchone()
    if row is None:
        raise ValueError("epsg")
    return int(row[0])


def _date(text: str | None) -> dt.date | None:
    return None if text is None else dt.date.fromisoformat(text)


_READERS: dict[str, Any] = {"number": float, "whole": int, "date": dt.date.fromisoformat}


def _to_sql(value: Any) -> Any:
    return value.isoformat() if isinstance(value, dt.date) else value


def _sound(shape: BaseGeometry) -> bool:
    return shape.geom_type in ("Polygon", "MultiPolygon") and not shape.is_empty and shape.is_valid


@lru_cache(maxsize=20_000)
def _outline(wkb: bytes, epsg: int) -> tuple[BaseGeometry, float]:
    """Read an outline and its geodesic area [ha]; the same outline is worked out once."""
    shape = geopackage.to_shape(wkb)
    return shape, area_ha(shape, epsg)
