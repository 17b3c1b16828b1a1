"""What ran, the weeks handed out, and the cells of the week the grower fixed.

Rows of a block that was deleted stay in the file and are left out of the snapshot; they are back
when the block is saved again under its id.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import lru_cache, partial

from waterbudget.errors import Refused
from waterbudget.records import GivenSet, GivenWeek, Pin, Ran
from waterbudget.store.base import Part
from waterbudget.store.faults import reading

_LIVE = "block_id IN (SELECT fid FROM blocks)"


class WorkRows(Part):
    """Save and read what was done and handed out."""

    def set_ran(self, block_id: int, date: dt.date, entries: Sequence[Ran]) -> None:
        """Store what ran on a block that day, in place of what was entered before.

        Earlier entries stay in the file, out of use.  No entries: nothing is known of that day.

        Parameters
        ----------
        entries : sequence of Ran
            Their hours and m3 count; block and date are the ones named here.
        """
        at = self._need_transaction()
        self._need_block(block_id)
        self._touch("ran", ("ran", block_id))
        self._db.execute(
            "UPDATE ran SET in_use = 0 WHERE block_id = ? AND date = ? AND in_use = 1",
            (block_id, date.isoformat()),
        )
        self._db.executemany(
            "INSERT INTO ran (block_id, date, hours, m3, at, in_use) VALUES (?,?,?,?,?,1)",
            [(block_id, date.isoformat(), e.hours, e.m3, at) for e in entries],
        )

    def _read_ran(self) -> tuple[Ran, ...]:
        def load() -> tuple[Ran, ...]:
            ids = [row[0] for row in self._db.execute("SELECT fid FROM blocks ORDER BY fid")]
            missing = [i for i in ids if ("ran", i) not in self._cache]
            found: dict[int, list[Ran]] = {i: [] for i in missing}
            only = f" AND block_id IN ({', '.join('?' * len(missing))})"
            few = len(missing) <= 50
            for block_id, date, hours, m3, number in self._db.execute(
                "SELECT block_id, date, hours, m3, id FROM ran WHERE in_use = 1"
                f"{only if few else ''} ORDER BY block_id, date, id",
                missing if few else (),
            ):
                if block_id in found:
                    found[block_id].append(Ran(block_id, _date(date), hours, m3, number))
            for block_id, entries in found.items():
                self._cache["ran", block_id] = tuple(entries)
            return tuple(entry for i in ids for entry in self._cache["ran", i])

        with reading(self.path, "ran"):
            return self._cached("ran", load)

    def add_given_week(self, week: GivenWeek) -> int:
        """Store a week as it was handed out.

        Returns
        -------
        int
            Its number: ``week.number``, or the next one where that is 0.

        Raises
        ------
        Refused
            That number was handed out before.
        """
        self._need_transaction()
        number = week.number
        if not number:
            row = self._db.execute("SELECT ifnull(max(number), 0) + 1 FROM given_weeks").fetchone()
            number = int(row[0])
        elif self._db.execute("SELECT 1 FROM given_weeks WHERE number = ?", (number,)).fetchone():
            raise Refused("farmfile.week_number_taken", number=number)
        for block_id in {s.block_id for s in week.sets}:
            self._need_block(block_id)
        self._touch("given")
        self._db.execute(
            "INSERT INTO given_weeks (number, first, given_at, until, in_use) VALUES (?,?,?,?,1)",
            (
                number,
                week.first.isoformat(),
                week.given_at.isoformat(),
                week.until.isoformat() if week.until is not None else None,
            ),
        )
        self._db.executemany(
            "INSERT INTO given_sets (number, block_id, date, start, hours, mm, m3) "
            "VALUES (?,?,?,?,?,?,?)",
            [
                (number, s.block_id, s.date.isoformat(), s.start.isoformat(), s.hours, s.mm, s.m3)
                for s in week.sets
            ],
        )
        return number

    def take_back_week(self, number: int, *, again: bool = False) -> None:
        """Say that a week was not handed out after all (``again=True``: that it was).

        It stays in the file, and its number is not used for another.
        """
        self._need_transaction()
        self._touch("given")
        self._db.execute("UPDATE given_weeks SET in_use = ? WHERE number = ?", (int(again), number))

    def _read_given(self) -> tuple[GivenWeek, ...]:
        def load() -> tuple[GivenWeek, ...]:
            weeks = self._db.execute(
                "SELECT number, first, given_at, until FROM given_weeks WHERE in_use = 1 "
                "ORDER BY number"
            ).fetchall()
            return tuple(
                GivenWeek(number, _date(first), dt.datetime.fromisoformat(given_at),
                          self._cached(("given", number), partial(self._load_sets, number)),
                          _date(until) if until is not None else None)
                for number, first, given_at, until in weeks
            )  # fmt: skip

        with reading(self.path, "given_weeks"):
            return self._cached("given", load)

    def _load_sets(self, number: int) -> tuple[GivenSet, ...]:
        return tuple(
            GivenSet(block_id, _date(date), _clock(start), hours, mm, m3)
            for block_id, date, start, hours, mm, m3 in self._db.execute(
                "SELECT block_id, date, start, hours, mm, m3 FROM given_sets "
                f"WHERE number = ? AND {_LIVE} ORDER BY id",
                (number,),
            )
        )

    def set_pin(self, pin: Pin) -> None:
        """Fix one cell of the week, in place of what it was fixed to before."""
        self._need_transaction()
        self._need_block(pin.block_id)
        self._touch("pins")
        start = pin.start.isoformat() if pin.start is not None else None
        self._db.execute(
            "INSERT OR REPLACE INTO pins (block_id, date, hours, start) VALUES (?,?,?,?)",
            (pin.block_id, pin.date.isoformat(), pin.hours, start),
        )

    def clear_pins(
        self,
        block_id: int | None = None,
        date: dt.date | None = None,
        *,
        before: dt.date | None = None,
    ) -> None:
        """Free cells again: of a block, of a day, those before a day; all where none is said."""
        self._need_transaction()
        self._touch("pins")
        self._db.execute(
            "DELETE FROM pins WHERE (?1 IS NULL OR block_id = ?1) AND (?2 IS NULL OR date = ?2) "
            "AND (?3 IS NULL OR date < ?3)",
            (block_id, date and date.isoformat(), before and before.isoformat()),
        )

    def _read_pins(self) -> tuple[Pin, ...]:
        def load() -> tuple[Pin, ...]:
            return tuple(
                Pin(block_id, _date(date), hours, None if start is None else _clock(start))
                for block_id, date, hours, start in self._db.execute(
                    f"SELECT block_id, date, hours, start FROM pins WHERE {_LIVE} "
                    "ORDER BY block_id, date"
                )
            )

        with reading(self.path, "pins"):
            return self._cached("pins", load)


# the same few thousand days and clock times stand in a hundred thousand rows
_date = lru_cache(maxsize=10_000)(dt.date.fromisoformat)
_clock = lru_cache(maxsize=1500)(dt.time.fromisoformat)
