"""Readings of the soil in the farm file: a block's day is replaced whole, earlier rows stay."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from waterbudget.records import Reading
from waterbudget.store.base import Part
from waterbudget.store.faults import reading


class ReadingRows(Part):
    """Save and read readings of the soil."""

    def set_readings(self, block_id: int, date: dt.date, readings: Sequence[Reading]) -> None:
        """Store the readings of a block's day, in place of what was entered before.

        Earlier rows stay in the file, out of use.

        Parameters
        ----------
        readings : sequence of Reading
            Block and date are the ones named here.
        """
        at = self._need_transaction()
        self._need_block(block_id)
        self._touch("readings")
        self._db.execute(
            "UPDATE readings SET in_use = 0 WHERE block_id = ? AND date = ? AND in_use = 1",
            (block_id, date.isoformat()),
        )
        self._db.executemany(
            "INSERT INTO readings (block_id, date, kind, value, depth_cm, sensor, before_water, "
            "at, in_use) VALUES (?,?,?,?,?,?,?,?,1)",
            [
                (block_id, date.isoformat(), r.kind, r.value, r.depth_cm, r.sensor,
                 int(r.before_water), at)
                for r in readings
            ],
        )  # fmt: skip

    def _read_readings(self) -> tuple[Reading, ...]:
        def load() -> tuple[Reading, ...]:
            rows = self._db.execute(
                "SELECT block_id, date, kind, value, depth_cm, sensor, before_water, id "
                "FROM readings WHERE in_use = 1 AND block_id IN (SELECT fid FROM blocks) "
                "ORDER BY block_id, date, id"
            )
            return tuple(
                Reading(block_id, dt.date.fromisoformat(date), kind, float(value), depth, sensor,
                        bool(before), number)
                for block_id, date, kind, value, depth, sensor, before, number in rows
            )  # fmt: skip

        with reading(self.path, "readings"):
            return self._cached("readings", load)
