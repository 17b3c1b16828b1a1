"""A station's days as they are used, with how each was made; and the same days as a table.

Grammar of certainty of a day: ``given`` (all measured, or an ET0 that came with the file),
``other`` (an input made from another reading), ``default`` (only the wind is assumed),
``missing`` (the day is stood in).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal

from desktop.models.week import gauges
from desktop.wording import day_year, fixed, number, tr, word
from waterbudget import sun
from waterbudget.records import FARM_GAUGE, FarmData, ForecastDay
from waterbudget.weather import DailyRecord

if TYPE_CHECKING:
    from waterbudget.season import Season, StationDays

Index = QModelIndex | QPersistentModelIndex
ROOT = QModelIndex()
Values = NDArray[np.float64]

CERTAINTY = ("given", "other", "default", "missing")
OTHER = {"rs_sun", "rs_trange", "ea_tmin", "ea_rhmean", "temp_only", "filled", "forecast"}
AHEAD = 7
QUANTITIES = ("tmin_c", "tmax_c", "rh_min", "rh_max", "u2_m_s", "rs_mj", "rain_mm")
"""Quantities that may be typed over, in the order of the table."""


@dataclass(frozen=True)
class Finding:
    """Something odd an import found on a day, as the page lists it.

    Attributes
    ----------
    value : str or None
        As it stood in the file.
    used : float or None
        What is used instead.
    """

    id: int
    date: dt.date
    what: str
    quantity: str | None
    value: str | None
    used: float | None
    accepted: bool


@dataclass(frozen=True)
class WeatherView:
    """One station, day by day; every array has shape (days,).

    Attributes
    ----------
    first : datetime.date
    past : int
        Number of days before the morning looked at; the rest are coming days.
    certainty : ndarray of int
        Index into :data:`CERTAINTY`.
    raw : mapping of quantity to ndarray
        The record as it stands (corrections and typed values in it); NaN where nothing is.
    clear_mj : ndarray
        The most the sun can give there [MJ/m2/d].
    """

    station: str
    station_id: int
    lat: float
    elevation_m: float | None
    first: dt.date
    past: int
    et0: Values
    rain: Values
    made: tuple[tuple[str, ...], ...]
    rule: tuple[str, ...]
    certainty: NDArray[np.int8]
    used: Mapping[str, Values]
    raw: Mapping[str, Values]
    clear_mj: Values
    record_first: dt.date | None
    record_last: dt.date | None
    flags: Mapping[dt.date, tuple[str, ...]] = field(default_factory=dict)
    filled_from: Mapping[dt.date, tuple[str, ...]] = field(default_factory=dict)

    @property
    def days(self) -> int:
        """Number of days, the coming ones included."""
        return len(self.et0)

    def date(self, day: int) -> dt.date:
        """Return the date of a day."""
        return self.first + dt.timedelta(days=day)

    def day(self, date: dt.date) -> int:
        """Return the day of a date."""
        return (date - self.first).days

    def counts(self) -> dict[str, int]:
        """Return how many past days there are of each certainty."""
        past = self.certainty[: self.past]
        return {name: int((past == i).sum()) for i, name in enumerate(CERTAINTY)}

    def gaps(self) -> list[tuple[int, int]]:
        """Return the runs of past days that are stood in: first and last day."""
        runs = []
        missing = [i for i in range(self.past) if self.certainty[i] == 3]
        for _, group in groupby(enumerate(missing), key=lambda pair: pair[1] - pair[0]):
            days = [day for _, day in group]
            runs.append((days[0], days[-1]))
        return runs


def weather_view(season: Season, data: FarmData, name: str) -> WeatherView | None:
    """Lay a station's days out; None where the season has none of it."""
    days = season.stations.get(name)
    if days is None:
        return None
    station = data.orchard.station(name)
    record = data.records.get(name)
    n = season.on_index + AHEAD
    lat = station.lat if station.lat is not None else data.orchard.lat
    high = station.elevation_m if station.elevation_m is not None else data.orchard.elevation_m
    ra = sun.extraterrestrial_mj(lat, sun.days_of_year(days.first, n))
    return WeatherView(
        station=name, station_id=station.id, lat=lat, elevation_m=high, first=days.first,
        past=season.on_index, et0=days.et0_mm[:n], rain=days.rain_mm[:n], made=days.made_from[:n],
        rule=days.stand_in_rule[:n], certainty=_certainty(days, n), used=_used(days, n),
        raw=_raw(record, days.first, n),
        clear_mj=np.broadcast_to(np.asarray(sun.clear_sky_mj(ra, high or 0.0)), (n,)),
        record_first=record.first if record is not None else None,
        record_last=record.last if record is not None else None,
        flags=record.flags if record is not None else {}, filled_from=days.filled_from,
    )  # fmt: skip


def certainty_of(made: Sequence[str]) -> str:
    """Return how certain a day is by the codes it was made from."""
    if "stand_in" in made or not made:
        return "missing"
    if OTHER & set(made):
        return "other"
    return "default" if "wind_assumed" in made else "given"


def _certainty(days: StationDays, n: int) -> NDArray[np.int8]:
    codes = [CERTAINTY.index(certainty_of(made)) for made in days.made_from[:n]]
    return np.array(codes, dtype=np.int8)


def _used(days: StationDays, n: int) -> dict[str, Values]:
    return {
        "tmax_c": days.tmax_c[:n], "tmin_c": days.tmin_c[:n], "rs_mj": days.rs_mj[:n],
        "u2_m_s": days.u2_m_s[:n], "rh_min": days.rh_min[:n],
    }  # fmt: skip


def _raw(record: DailyRecord | None, first: dt.date, n: int) -> dict[str, Values]:
    names = (*QUANTITIES, "rh_mean", "ea_kpa", "sun_h", "et0_given_mm", "tmean_c")
    out = {name: np.full(n, np.nan) for name in names}
    if record is None:
        return out
    at = (record.first - first).days
    low, high = max(0, at), min(n, at + len(record))
    if high > low:
        for name in names:
            out[name][low:high] = record.values[name][low - at : high - at]
    return out


@dataclass(frozen=True)
class ForecastRow:
    """One coming day of one forecast."""

    issued: dt.date
    date: dt.date
    low_c: float | None
    high_c: float | None
    rain_mm: float | None
    et0_mm: float | None
    in_use: bool


def forecast_rows(data: FarmData, station: str) -> list[ForecastRow]:
    """Return every forecast day kept, newest issue first; the newest of a date is in use."""
    days: Sequence[ForecastDay] = data.forecasts.get(station, ())
    newest: dict[dt.date, dt.date] = {}
    for item in days:
        newest[item.day.date] = max(item.issued, newest.get(item.day.date, item.issued))
    record = data.records.get(station)
    rows = []
    for item in sorted(days, key=lambda f: (-f.issued.toordinal(), f.day.date)):
        v = item.day.values
        known = record is not None and bool(record.day(item.day.date))
        rows.append(ForecastRow(
            item.issued, item.day.date, v.get("tmin_c"), v.get("tmax_c"), v.get("rain_mm"),
            v.get("et0_given_mm"), newest[item.day.date] == item.issued and not known,
        ))  # fmt: skip
    return rows


def made_words(made: Sequence[str], rule: str = "") -> str:
    """Return how a day was made, in words."""
    if not made:
        return word("rule.none")
    words = ", ".join(word(f"made.{code}") for code in made)
    if "stand_in" in made and rule:
        return tr("{0}: {1}").format(words, word(f"rule.{rule}"))
    return words


def quantity_word(quantity: str | None) -> str:
    """Return what a quantity is called."""
    return {
        "tmin_c": tr("low"), "tmax_c": tr("high"), "rh_min": tr("lowest humidity"),
        "rh_max": tr("highest humidity"), "u2_m_s": tr("wind"), "rs_mj": tr("sun"),
        "rain_mm": tr("rain"), "rh_mean": tr("humidity"), "ea_kpa": tr("vapour pressure"),
        "sun_h": tr("sunshine"), "tmean_c": tr("mean temperature"),
        "et0_given_mm": tr("ET0 of the file"), "et0_hourly_mm": tr("ET0 hour by hour"),
    }.get(quantity or "", quantity or "")  # fmt: skip


def quantity_unit(quantity: str | None) -> str:
    """Return the unit of a quantity."""
    return {
        "tmin_c": "°C", "tmax_c": "°C", "tmean_c": "°C", "rh_min": "%", "rh_max": "%",
        "rh_mean": "%", "u2_m_s": "m/s", "rs_mj": "MJ/m²", "rain_mm": "mm", "ea_kpa": "kPa",
        "sun_h": "h", "et0_given_mm": "mm", "et0_hourly_mm": "mm",
    }.get(quantity or "", "")  # fmt: skip


# -- the days as a table -----------------------------------------------------------------------

MARK = Qt.ItemDataRole.UserRole + 1
DATE = Qt.ItemDataRole.UserRole + 2


class DaysTable(QAbstractTableModel):
    """A station's days, newest first; figures may be typed over.

    Signals
    -------
    typed(date, str, object)
        Date, quantity or ``gauge:NAME``, and the value (None: as it came).
    """

    typed = Signal(object, str, object)

    def __init__(self) -> None:
        super().__init__()
        self.view: WeatherView | None = None
        self.editable = True
        self.gauges: tuple[str, ...] = ()
        self._rain_typed: Mapping[str, Mapping[dt.date, float]] = {}
        self._findings: dict[dt.date, list[Finding]] = {}
        self.columns: list[str] = ["date", *QUANTITIES, "et0", "made", "remarks"]

    def set_view(self, view: WeatherView | None, data: FarmData | None, *, editable: bool) -> None:
        """Show a station's days."""
        self.beginResetModel()
        self.view, self.editable = view, editable
        self.gauges = gauges(data.orchard) if data is not None else ()
        self._rain_typed = {g: data.gauge_days(g) for g in self.gauges} if data is not None else {}
        typed = [f"gauge:{g}" for g in self.gauges]
        self.columns = ["date", *QUANTITIES, *typed, "et0", "made", "remarks"]
        self.endResetModel()

    def set_findings(self, findings: Sequence[Finding]) -> None:
        """Show what the imports found odd."""
        self._findings = {}
        for item in findings:
            self._findings.setdefault(item.date, []).append(item)
        if self.view is not None and self.rowCount():
            last = self.index(self.rowCount() - 1, len(self.columns) - 1)
            self.dataChanged.emit(self.index(0, 0), last)

    def day_of(self, row: int) -> int:
        """Return the day of a row."""
        assert self.view is not None
        return self._last - row

    def row_of(self, day: int) -> int:
        """Return the row of a day."""
        assert self.view is not None
        return self._last - day

    @property
    def _last(self) -> int:
        """Today: coming days stand under the forecasts."""
        return min(self.view.past, self.view.days - 1) if self.view is not None else -1

    def rowCount(self, parent: Index = ROOT) -> int:
        """Return the number of days."""
        return 0 if parent.isValid() else self._last + 1

    def columnCount(self, parent: Index = ROOT) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() else len(self.columns)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:  # fmt: skip
        """Return the head of a column."""
        if orientation != Qt.Orientation.Horizontal or not 0 <= section < len(self.columns):
            return None
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(self._align(section) | Qt.AlignmentFlag.AlignVCenter)
        if role == Qt.ItemDataRole.DisplayRole:
            return self._head(self.columns[section])
        return None

    @staticmethod
    def _head(column: str) -> str:
        heads = {
            "date": tr("day"), "tmin_c": tr("low °C"), "tmax_c": tr("high °C"),
            "rh_min": tr("RH low %"), "rh_max": tr("RH high %"), "u2_m_s": tr("wind m/s"),
            "rs_mj": tr("sun MJ/m²"), "rain_mm": tr("rain mm"), "et0": tr("ET0 mm"),
            "made": tr("ET0 made from"), "remarks": tr("remarks"),
        }  # fmt: skip
        if column.startswith("gauge:"):
            gauge = column.removeprefix("gauge:")
            return tr("gauge mm") if gauge == FARM_GAUGE else tr("{0} mm").format(gauge)
        return heads[column]

    def _align(self, column: int) -> Qt.AlignmentFlag:
        left = self.columns[column] in ("date", "made", "remarks")
        return Qt.AlignmentFlag.AlignLeft if left else Qt.AlignmentFlag.AlignRight

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Tell what may be typed over: figures of days that are over."""
        base = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        if not index.isValid() or self.view is None or not self.editable:
            return base
        column = self.columns[index.column()]
        past = self.day_of(index.row()) <= self.view.past
        if past and (column in QUANTITIES or column.startswith("gauge:")):
            return base | Qt.ItemFlag.ItemIsEditable
        return base

    def value(self, row: int, column: str) -> float | None:
        """Return a figure as it is stored."""
        assert self.view is not None
        day = self.day_of(row)
        if column.startswith("gauge:"):
            return self._rain_typed[column.removeprefix("gauge:")].get(self.view.date(day))
        source = self.view.et0 if column == "et0" else self.view.raw[column]
        found = float(source[day])
        return None if math.isnan(found) else found

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return a cell in one of its roles."""
        if not index.isValid() or self.view is None:
            return None
        day, column = self.day_of(index.row()), self.columns[index.column()]
        if role == Qt.ItemDataRole.DisplayRole:
            return self._text(index.row(), day, column)
        if role == Qt.ItemDataRole.EditRole:
            value = (
                self.value(index.row(), column)
                if column not in ("date", "made", "remarks")
                else None
            )
            return "" if value is None else number(value, 2).replace("−", "-")
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(self._align(index.column()) | Qt.AlignmentFlag.AlignVCenter)
        if role == MARK:
            return self._mark(day, column)
        if role == DATE:
            return self.view.date(day)
        if role == Qt.ItemDataRole.ToolTipRole and column in ("made", "remarks"):
            return self._text(index.row(), day, column) or None
        return None

    def _text(self, row: int, day: int, column: str) -> str:
        assert self.view is not None
        if column == "date":
            return day_year(self.view.date(day))
        if column == "made":
            words = made_words(self.view.made[day], self.view.rule[day])
            names = self.view.filled_from.get(self.view.date(day))
            return tr("{0}: {1}").format(words, ", ".join(names)) if names else words
        if column == "remarks":
            return self._remarks(day)
        value = self.value(row, column)
        digits = 0 if column in ("rh_min", "rh_max") else 1
        return "" if value is None else fixed(value, digits)

    def _remarks(self, day: int) -> str:
        assert self.view is not None
        date = self.view.date(day)
        words = []
        for item in self._findings.get(date, ()):
            what = word(f"weather.flag.{item.what}")
            came = f"{quantity_word(item.quantity)} {item.value}" if item.value else what
            words.append(tr("{0}: {1}").format(came, what) if item.value else what)
        for code in self.view.flags.get(date, ()):
            if code in ("typed", "corrected"):
                words.append({"typed": tr("typed in"), "corrected": tr("corrected")}[code])
        if day >= self.view.past and not words:
            words.append(tr("today"))
        return "; ".join(words)

    def _mark(self, day: int, column: str) -> str:
        assert self.view is not None
        if column == "et0":
            return CERTAINTY[int(self.view.certainty[day])]
        if column in QUANTITIES:
            raw = self.view.raw[column][day]
            if math.isnan(raw):
                return "missing" if day < self.view.past else "none"
            date = self.view.date(day)
            if any(f.quantity == column and not f.accepted for f in self._findings.get(date, ())):
                return "other"
        return "given"

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        """Tell what was typed; the cell follows when it is stored."""
        if role != Qt.ItemDataRole.EditRole or self.view is None:
            return False
        column, text = self.columns[index.column()], str(value).strip().replace(",", ".")
        date = self.view.date(self.day_of(index.row()))
        before = self.data(index, Qt.ItemDataRole.EditRole)
        if text == before:
            return False
        try:
            figure = float(text) if text else None
        except ValueError:
            return False
        self.typed.emit(date, column, figure)
        return True

    def rows_for_file(self) -> list[list[Any]]:
        """Return head and rows as they go into a CSV, oldest first."""
        names = [
            "date",
            *QUANTITIES,
            *(c.replace(":", "_") for c in self.columns if c.startswith("gauge:")),
            "et0_mm",
            "made_from",
        ]
        rows: list[list[Any]] = [names]
        if self.view is None:
            return rows
        figures = [c for c in self.columns if c in QUANTITIES or c.startswith("gauge:")]
        for day in range(self._last + 1):
            row = self.row_of(day)
            cells = [self.value(row, c) for c in (*figures, "et0")]
            rows.append([self.view.date(day).isoformat(), *cells, " ".join(self.view.made[day])])
        return rows
