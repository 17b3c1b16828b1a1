"""Weather in the farm file: days as they came, what the grower changed, forecasts, typed rain.

Three layers make a day as it is used, the upper one winning quantity by quantity: what the grower
corrected, what an import brought, what was typed for a day no import has brought yet.  So typed
figures give way to the station's own record when that arrives, and a correction never does.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from waterbudget.errors import Refused
from waterbudget.orchard import fold
from waterbudget.records import FARM_GAUGE, ForecastDay
from waterbudget.store.base import to_json
from waterbudget.store.farm import FarmRows
from waterbudget.store.faults import reading
from waterbudget.store.schema import columns_of
from waterbudget.weather import COLUMNS, HOURLY_NEEDS, HOURLY_SUM, DailyRecord, Day

Origin = Literal["import", "typed", "corrected"]
GROWER = "grower"


@dataclass(frozen=True)
class DayVersion:
    """One version of a station's day that was ever stored.

    Attributes
    ----------
    kind : str
        ``import`` (the whole day as it came), ``typed`` or ``corrected`` (one quantity; absent
        from ``day.values`` where it was set to unknown).
    at : datetime.datetime
        When it was stored.
    in_use : bool
    quantity : str or None
        Of a typed or corrected value.
    why, who : str or None
        Of a correction.
    import_id, import_name
        Of an import.
    """

    kind: Origin
    at: dt.datetime
    in_use: bool
    day: Day
    quantity: str | None = None
    why: str | None = None
    who: str | None = None
    import_id: int | None = None
    import_name: str | None = None


class DayRows(FarmRows):
    """Save and read the weather."""

    # ------------------------------------------------------------------ days as they came

    def add_days(
        self,
        station_id: int,
        days: Sequence[Day],
        *,
        import_id: int | None,
        replace: Iterable[dt.date] = (),
    ) -> None:
        """Store days of a record.

        A day equal to the one in use is not stored again.  Where another version is in use, the
        new one is stored beside it (once) and used only if its date is in ``replace``.
        """
        at = self._need_transaction()
        self._need_station(station_id)
        replaced = set(replace)
        used = self.stored_days(station_id)
        rows = []
        out_of_use = []
        for day in days:
            there = used.get(day.date)
            if there is not None and _same(there, day):
                continue
            in_use = there is None or day.date in replaced
            if not in_use and any(_same(v.day, day) for v in self.day_history(station_id, day.date)
                                  if v.kind == "import"):  # fmt: skip
                continue
            if in_use and there is not None:
                out_of_use.append((station_id, day.date.isoformat()))
            rows.append((station_id, *_day_row(day), import_id, at, int(in_use)))
        self._db.executemany(
            "UPDATE days SET in_use = 0 WHERE station_id = ? AND date = ? AND in_use = 1",
            out_of_use,
        )
        self._db.executemany(
            f"INSERT INTO days (station_id, date, {', '.join(COLUMNS)}, flags, import_id, at, "
            f"in_use) VALUES (?, ?{', ?' * len(COLUMNS)}, ?, ?, ?, ?)",
            rows,
        )
        self._touch(("days", station_id))

    def stored_days(self, station_id: int, *, corrected: bool = False) -> dict[dt.date, Day]:
        """Return the days in use of a station.

        Parameters
        ----------
        corrected : bool
            False: as they came, which is what a re-import is compared with.  True: with what
            the grower corrected and typed.
        """
        with self._lock, reading(self.path, "days"):
            columns = self._columns("days")
            days = {}
            for date, flags, *values in self._day_rows(station_id):
                known = _known(columns, values)
                date = dt.date.fromisoformat(date)
                days[date] = Day(date, known, _flags(flags))
            if corrected:
                for date, edits in self._edits(station_id).items():
                    days[date] = _edited(days.get(date, Day(date, {})), edits)
            return dict(sorted(days.items()))

    def day_history(self, station_id: int, date: dt.date) -> list[DayVersion]:
        """Return every version of a day that was ever stored, oldest first."""
        with self._lock, reading(self.path, "days"):
            columns = self._columns("days")
            found = []
            for at, in_use, import_id, name, flags, *values in self._db.execute(
                "SELECT d.at, d.in_use, d.import_id, i.name, d.flags, "
                + ", ".join(f"d.{c}" for c in columns)
                + " FROM days d LEFT JOIN imports i ON i.id = d.import_id "
                "WHERE d.station_id = ? AND d.date = ? ORDER BY d.id",
                (station_id, date.isoformat()),
            ):
                known = _known(columns, values)
                day = Day(date, known, _flags(flags))
                found.append(DayVersion("import", _time(at), bool(in_use), day,
                                        import_id=import_id, import_name=name))  # fmt: skip
            for quantity, value, kind, why, who, at, in_use in self._db.execute(
                "SELECT quantity, value, kind, why, who, at, in_use FROM day_edits "
                "WHERE station_id = ? AND date = ? ORDER BY id",
                (station_id, date.isoformat()),
            ):
                day = Day(date, {} if value is None else {quantity: float(value)})
                found.append(DayVersion(kind, _time(at), bool(in_use), day, quantity=quantity,
                                        why=why, who=who))  # fmt: skip
            return sorted(found, key=lambda version: version.at.isoformat())

    # ------------------------------------------------------------------ what the grower changed

    def correct_day(
        self,
        station_id: int,
        date: dt.date,
        quantity: str,
        value: float | None,
        why: str,
        now: dt.datetime,
    ) -> None:
        """Correct one quantity of a day; what came stays untouched beside it.

        Parameters
        ----------
        quantity : str
            One of the weather ``COLUMNS``.
        value : float or None
            None: the value that came is wrong and the right one is unknown.
        """
        self._edit_day(station_id, date, quantity, value, "corrected", why, now)

    def drop_correction(
        self, station_id: int, date: dt.date, quantity: str, now: dt.datetime
    ) -> None:
        """Go back to the value that came; the correction stays in the day's history."""
        self._need_transaction()
        self._close_edit(station_id, date, quantity)

    def type_temperatures(
        self,
        station_id: int,
        date: dt.date,
        tmin: float | None,
        tmax: float | None,
        now: dt.datetime,
    ) -> None:
        """Store the low and high [degC] typed for a day; None takes back what was typed.

        Over a value an import brought, the typed one counts as a correction.
        """
        self._need_transaction()
        came = self.stored_days(station_id).get(date)
        for quantity, value in (("tmin_c", tmin), ("tmax_c", tmax)):
            if value is None:
                self._close_edit(station_id, date, quantity)
                continue
            known = came is not None and quantity in came.values
            kind: Origin = "corrected" if known else "typed"
            self._edit_day(station_id, date, quantity, value, kind, "", now)

    def _edit_day(
        self,
        station_id: int,
        date: dt.date,
        quantity: str,
        value: float | None,
        kind: Origin,
        why: str,
        now: dt.datetime,
    ) -> None:
        self._need_transaction()
        self._need_station(station_id)
        if quantity not in COLUMNS:
            raise Refused("farmfile.no_such_quantity", quantity=quantity, known=", ".join(COLUMNS))
        self._close_edit(station_id, date, quantity)
        self._db.execute(
            "INSERT INTO day_edits (station_id, date, quantity, value, kind, why, who, at, in_use)"
            " VALUES (?,?,?,?,?,?,?,?,1)",
            (station_id, date.isoformat(), quantity, value, kind, why, GROWER, now.isoformat()),
        )

    def _close_edit(self, station_id: int, date: dt.date, quantity: str) -> None:
        self._touch(("days", station_id))
        self._db.execute(
            "UPDATE day_edits SET in_use = 0 "
            "WHERE station_id = ? AND date = ? AND quantity = ? AND in_use = 1",
            (station_id, date.isoformat(), quantity),
        )

    def _edits(self, station_id: int) -> dict[dt.date, dict[str, tuple[Origin, float | None]]]:
        found: dict[dt.date, dict[str, tuple[Origin, float | None]]] = {}
        for date, quantity, value, kind in self._db.execute(
            "SELECT date, quantity, value, kind FROM day_edits "
            "WHERE station_id = ? AND in_use = 1 ORDER BY date, id",
            (station_id,),
        ):
            edits = found.setdefault(dt.date.fromisoformat(date), {})
            edits[quantity] = (kind, None if value is None else float(value))
        return found

    # ------------------------------------------------------------------ rain typed in

    def type_rain(
        self, gauge: str | None, date: dt.date, mm: float | None, now: dt.datetime
    ) -> None:
        """Store the rain [mm] read off a gauge; None takes back what was typed.

        Parameters
        ----------
        gauge : str or None
            None: the farm's own.  A name that is not listed yet is listed.
        """
        self._need_transaction()
        name = FARM_GAUGE
        if gauge is not None and fold(gauge) != fold(FARM_GAUGE):
            name = self.add_gauge(gauge)
        self._touch("rain")
        self._db.execute(
            "UPDATE rain_typed SET in_use = 0 WHERE gauge = ? AND date = ? AND in_use = 1",
            (name, date.isoformat()),
        )
        if mm is not None:
            self._db.execute(
                "INSERT INTO rain_typed (gauge, date, mm, at, in_use) VALUES (?,?,?,?,1)",
                (name, date.isoformat(), mm, now.isoformat()),
            )

    def _read_rain(self) -> dict[str, Mapping[dt.date, float]]:
        def load() -> dict[str, Mapping[dt.date, float]]:
            found: dict[str, dict[dt.date, float]] = {}
            for gauge, date, mm in self._db.execute(
                "SELECT gauge, date, mm FROM rain_typed WHERE in_use = 1 ORDER BY gauge, date"
            ):
                found.setdefault(gauge, {})[dt.date.fromisoformat(date)] = float(mm)
            return dict(found)

        with reading(self.path, "rain_typed"):
            return self._cached("rain", load)

    # ------------------------------------------------------------------ forecasts

    def add_forecast(
        self,
        station_id: int,
        issued: dt.date,
        days: Sequence[Day],
        *,
        import_id: int | None = None,
    ) -> None:
        """Store coming days with the day they were issued.

        A day issued again on one date takes the place of the earlier one, which stays stored.
        """
        at = self._need_transaction()
        self._need_station(station_id)
        self._touch(("forecast", station_id))
        key = (station_id, issued.isoformat())
        self._db.executemany(
            "UPDATE forecasts SET in_use = 0 "
            "WHERE station_id = ? AND issued = ? AND date = ? AND in_use = 1",
            [(*key, day.date.isoformat()) for day in days],
        )
        self._db.executemany(
            f"INSERT INTO forecasts (station_id, issued, date, {', '.join(COLUMNS)}, flags, "
            f"import_id, at, in_use) VALUES (?, ?, ?{', ?' * len(COLUMNS)}, ?, ?, ?, 1)",
            [(*key, *_day_row(day), import_id, at) for day in days],
        )

    def _read_forecast(self, station_id: int) -> tuple[ForecastDay, ...]:
        def load() -> tuple[ForecastDay, ...]:
            columns = self._columns("forecasts")
            found = []
            for issued, date, flags, *values in self._db.execute(
                f"SELECT issued, date, flags, {', '.join(columns)} FROM forecasts "
                "WHERE station_id = ? AND in_use = 1 ORDER BY issued, date",
                (station_id,),
            ):
                known = _known(columns, values)
                day = Day(dt.date.fromisoformat(date), known, _flags(flags))
                found.append(ForecastDay(dt.date.fromisoformat(issued), day))
            return tuple(found)

        with reading(self.path, "forecasts"):
            return self._cached(("forecast", station_id), load)

    # ------------------------------------------------------------------ the record as used

    def _read_record(self, station_id: int) -> DailyRecord | None:
        with reading(self.path, "days"):
            return self._cached(("days", station_id), lambda: self._load_record(station_id))

    def _load_record(self, station_id: int) -> DailyRecord | None:
        rows = self._day_rows(station_id)
        edits = self._edits(station_id)
        dates = [dt.date.fromisoformat(row[0]) for row in rows]
        if not dates and not edits:
            return None
        first, last = min((*dates, *edits)), max((*dates, *edits))
        n = (last - first).days + 1
        table = np.full((len(COLUMNS), n), np.nan)
        flags = {date: _flags(row[1]) for date, row in zip(dates, rows, strict=True) if row[1]}
        if rows:
            at = np.array([date.toordinal() for date in dates]) - first.toordinal()
            kept = np.array([COLUMNS.index(name) for name in self._columns("days")])
            table[np.ix_(kept, at)] = np.array([row[2:] for row in rows], dtype=float).T
        for date, changes in edits.items():
            i = (date - first).days
            for quantity, (kind, value) in changes.items():
                row = COLUMNS.index(quantity)
                if kind == "typed" and not np.isnan(table[row, i]):
                    continue
                table[row, i] = np.nan if value is None else value
                if quantity in HOURLY_NEEDS:
                    table[COLUMNS.index(HOURLY_SUM), i] = np.nan
                if kind not in flags.get(date, ()):
                    flags[date] = (*flags.get(date, ()), kind)
        table.setflags(write=False)
        return DailyRecord(first, dict(zip(COLUMNS, table, strict=True)), flags)

    def _day_rows(self, station_id: int) -> list[tuple[Any, ...]]:
        return self._db.execute(
            f"SELECT date, flags, {', '.join(self._columns('days'))} FROM days "
            "WHERE station_id = ? AND in_use = 1",
            (station_id,),
        ).fetchall()

    def _columns(self, table: str) -> list[str]:
        """Return the quantities this file has a column for (an older one may lack the newest)."""

        def load() -> list[str]:
            there = columns_of(self._db, table)
            return [name for name in COLUMNS if name in there]

        return self._cached(("columns", table), load)


def _same(one: Day, other: Day) -> bool:
    return _day_row(one) == _day_row(other)


def _day_row(day: Day) -> tuple[Any, ...]:
    """Return date, one value a column (None where unknown) and the flags."""
    values = [day.values.get(name) for name in COLUMNS]
    known = [None if value is None or value != value else float(value) for value in values]
    return (day.date.isoformat(), *known, to_json(day.flags) if day.flags else None)


def _known(columns: Sequence[str], values: Sequence[float | None]) -> dict[str, float]:
    """Return the quantities that are known."""
    pairs = zip(columns, values, strict=True)
    return {name: float(value) for name, value in pairs if value is not None}


def _edited(day: Day, edits: Mapping[str, tuple[Origin, float | None]]) -> Day:
    values, flags = dict(day.values), day.flags
    for quantity, (kind, value) in edits.items():
        if kind == "typed" and quantity in values:
            continue
        values.pop(quantity, None)
        if quantity in HOURLY_NEEDS:
            values.pop(HOURLY_SUM, None)
        if value is not None:
            values[quantity] = value
        if kind not in flags:
            flags = (*flags, kind)
    return Day(day.date, values, flags)


def _flags(text: str | None) -> tuple[str, ...]:
    return tuple(json.loads(text)) if text else ()


def _time(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)
