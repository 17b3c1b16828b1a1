"""Columns of cells to readings in the units used inside; units are found, weighed or asked.

Rules: an answer given for this file wins, then the unit in the header, in the row of units, or
behind the numbers, then the unit of a sister column, then the only unit possible (told in a
note); else it is asked.  A unit that the header claims but the values cannot be in is asked
too.  Numbers of nothing but nines are missing where they are no possible value; where they are
possible but stand far off from everything else it is asked.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Note, Refused
from waterbudget.units import UNITS, to_inside
from waterbudget.weather.asking import Asker
from waterbudget.weather.cells import DRY_WORDS, squeeze
from waterbudget.weather.columns import Column
from waterbudget.weather.guess import CHOICES, Setting, guess
from waterbudget.weather.numbers import Numbers, behind, decimal_marks, read_numbers
from waterbudget.weather.rain import RUNNING, from_counter, judge, listed_counter
from waterbudget.weather.roles import QUANTITY_OF
from waterbudget.weather.table import Table
from waterbudget.weather.words import plain, unit_in_header, unit_of

Values = NDArray[np.float64]

CODE_LIMITS: dict[str, tuple[float, float]] = {
    "temperature": (-60.0, 60.0), "wind": (0.0, 75.0), "radiation": (-1.0, 130.0),
    "vapour": (0.0, 8.0), "rain": (0.0, 600.0), "sun": (0.0, 24.0), "humidity": (0.0, 105.0),
    "et0": (-1.0, 16.0),
}  # fmt: skip
"""Outside these (in the units used inside) a number of nines is a missing code."""

RAIN_RATES = {"mm/h": 1.0, "in/h": 25.4}
"""Rain per hour: times the hours between readings it is the rain of the interval [mm]."""

_A_DAY = re.compile(r"/d(?![a-z])|/day|/dia|/jour|/j(?![a-z])|/24h|(?:d|day|dia|j)-1|perday")
RAIN_TIPS = "tips"
TIP_MM = (0.01, 5.0)
RUN_UNITS = {"km": "km/day", "miles": "miles/day"}
"""Wind run of an interval: summed over the day it is a run of the day."""


@dataclass
class Reading:
    """One quantity of every row.

    Attributes
    ----------
    values : ndarray, shape (rows,)
        In the unit used inside; NaN where unknown.
    unit : str
        The unit of the file.
    cells : list of str
        As they stand in the file.
    marks : list of (row, what, text)
        Cells that were no plain number.
    per_interval : bool
        Each value is the sum over its interval (so a day's value is the sum, not the mean).
    """

    role: str
    column: Column
    values: Values
    unit: str
    cells: list[str]
    marks: list[tuple[int, str, str]] = field(default_factory=list)
    per_interval: bool = False


def read_columns(
    table: Table,
    columns: list[Column],
    asker: Asker,
    setting: Setting,
    keep: NDArray[np.int64],
    moments: tuple[NDArray[np.int64], Values],
) -> dict[str, Reading]:
    """Return the readings by role, for the kept rows (days and minutes in ``moments``)."""
    rows = keep.tolist()
    cells = {c.index: [table.rows[i][c.index] for i in rows] for c in columns}
    for c in columns:
        if c.role == "sun":
            cells[c.index] = [_clock_hours(x) for x in cells[c.index]]
        if c.role == "rain":
            cells[c.index] = [_dry_word(x) for x in cells[c.index]]
    marks = decimal_marks(cells, asker)
    numbers = {c.index: read_numbers(cells[c.index], marks[c.index]) for c in columns}
    units = _find_units(table, columns, numbers, asker, setting, moments)
    found: dict[str, Reading] = {}
    for column in columns:
        quantity = QUANTITY_OF[column.role]
        unit = units[column.index]
        raw = numbers[column.index]
        reading = Reading(column.role, column, raw.values.copy(), unit, cells[column.index])
        if column.role == "rain":
            table.notes += _blank_rain(reading, raw, asker, moments[0])
        if unit == RAIN_TIPS:
            size = asker.ask_number("mm_per_tip", *TIP_MM, form="number_mm", column=column.name)
            reading.values = raw.values * (size or 0.2)
        elif unit in RAIN_RATES:
            reading.values = raw.values * RAIN_RATES[unit] * setting.step_h
        elif unit in RUN_UNITS:
            reading.values = to_inside("wind", RUN_UNITS[unit], raw.values)
        elif unit in UNITS[quantity]:
            reading.values = to_inside(quantity, unit, raw.values)
        _take_out_codes(reading, raw, quantity, asker)
        reading.marks = _marks(reading, raw, quantity)
        reading.per_interval = _is_sum(column, unit, quantity)
        found[column.role] = reading
    return found


def _clock_hours(cell: str) -> str:
    """Return sunshine written as hours and minutes (7:30) as hours."""
    found = re.fullmatch(r"\s*(\d{1,2}):([0-5]\d)(?::\d\d)?\s*", cell)
    return f"{int(found.group(1)) + int(found.group(2)) / 60.0:.4f}" if found else cell


def _dry_word(cell: str) -> str:
    """Return 0 for a word that says it did not rain."""
    return "0" if squeeze(cell).casefold() in DRY_WORDS else cell


def _is_sum(column: Column, unit: str, quantity: str) -> bool:
    """Tell whether readings are sums over their interval."""
    if quantity in ("rain", "sun", "et0"):
        return True
    if quantity == "wind":
        return unit in RUN_UNITS
    if quantity != "radiation" or unit in ("W/m2", "kW/m2"):
        return False
    text = plain(f"{column.name} {column.unit_text}").replace(" ", "")
    return _A_DAY.search(text) is None


def _blank_rain(reading: Reading, raw: Numbers, asker: Asker, day: NDArray[np.int64]) -> list[Note]:
    """Ask whether blanks and dashes are days without rain where no zero is written at all.

    A counter read only when it tips is turned into the rain of its tips first.
    """
    v = raw.values
    empty = [i for i, c in enumerate(reading.cells) if squeeze(c) in ("", "-", "--", "---", ".")]
    if len(empty) < 3 or not (v > 0.0).any() or (v == 0.0).any() or len(empty) < 0.2 * len(v):
        return []
    answer = asker.ask("blank_rain", ("no_rain", "missing"), column=reading.column.name)
    if answer != "no_rain":
        return []
    notes: list[Note] = []
    known = np.flatnonzero(~np.isnan(v))
    if asker.given("rain_kind") is None and listed_counter(v[known]):
        made = from_counter(v[known], day[known], reading.column.name)
        raw.values[known] = np.nan_to_num(made.values)
        notes = made.notes
    raw.values[empty] = 0.0
    reading.values = raw.values.copy()
    return notes


def _marks(reading: Reading, raw: Numbers, quantity: str) -> list[tuple[int, str, str]]:
    role = reading.role
    kept = []
    for row, what, text in raw.marks:
        if what == "trace" and role != "rain":
            reading.values[row] = np.nan
            what = "unreadable"
        if what == "behind":
            tail = behind(text)
            if unit_of(tail, quantity) or not tail.strip(" °º.'"):
                continue
            if role == "rain" and tail.strip().casefold() == "t" and raw.values[row] == 0.0:
                what = "trace"
            else:
                what = "marked"
        kept.append((row, what, text))
    return kept


def _far_off(code: float, values: Values) -> bool:
    """Tell whether a value stands far away from all others."""
    others = values[~np.isnan(values) & (values != code)]
    if len(others) == 0:
        return True
    low, high = float(others.min()), float(others.max())
    span = max(high - low, abs(high) * 0.3, 1e-9)
    return code > high + 2.0 * span or code < low - 2.0 * span


def _take_out_codes(reading: Reading, raw: Numbers, quantity: str, asker: Asker) -> None:
    low, high = CODE_LIMITS[quantity]
    for code, rows in raw.codes.items():
        inside = float(reading.values[rows[0]])
        if low <= inside <= high and reading.unit in UNITS[quantity]:
            if not _far_off(code, raw.values):
                continue
            answer = asker.ask(
                f"nines_{reading.role}", ("missing", "value"),
                column=reading.column.name, value=reading.cells[rows[0]].strip(), count=len(rows),
            )  # fmt: skip
            if answer == "value":
                continue
        reading.values[rows] = np.nan


def _find_units(
    table: Table,
    columns: list[Column],
    numbers: dict[int, Numbers],
    asker: Asker,
    setting: Setting,
    moments: tuple[NDArray[np.int64], Values],
) -> dict[int, str]:
    by_quantity: dict[str, list[Column]] = defaultdict(list)
    for column in columns:
        by_quantity[QUANTITY_OF[column.role]].append(column)
    units: dict[int, str] = {}
    tenths = False
    order = sorted(by_quantity, key=lambda q: q != "temperature")
    for quantity in order:
        group = by_quantity[quantity]
        said = {c.index: _said(table, c, numbers[c.index], quantity) for c in group}
        given = asker.given(f"unit_{quantity}", _choices(quantity))
        clean = {c.index: _without_codes(numbers[c.index]) for c in group}
        if quantity == "rain":
            clean = {c.index: _depths(clean[c.index], moments, setting, c) for c in group}
        if given:
            units.update({c.index: given for c in group})
            tenths = tenths or given.startswith("tenth")
            continue
        open_ = []
        for c in group:
            unit = said[c.index] or next((u for u in said.values() if u), None)
            odd = unit is not None and _absurd(quantity, unit, clean[c.index], setting)
            if unit is None or odd or _a_day_in_hours(quantity, c, setting):
                open_.append(c)
            else:
                units[c.index] = _fraction_or(quantity, unit, clean[c.index], c, table)
        if open_:
            unit = _weigh(table, quantity, open_, said, clean, asker, setting, tenths)
            units.update({c.index: unit for c in open_})
        tenths = tenths or any(units[c.index].startswith("tenth") for c in group)
    return units


def _a_day_in_hours(quantity: str, column: Column, setting: Setting) -> bool:
    """Tell whether readings of hours claim to be sums of a day (mm/day)."""
    text = plain(f"{column.name} {column.unit_text}").replace(" ", "")
    return not setting.daily and quantity in ("rain", "et0") and _A_DAY.search(text) is not None


def _choices(quantity: str) -> tuple[str, ...]:
    extra = tuple(u for u in UNITS[quantity] if u not in CHOICES[quantity])
    return (*CHOICES[quantity], *extra, *((RAIN_TIPS,) if quantity == "rain" else ()))


def _said(table: Table, column: Column, raw: Numbers, quantity: str) -> str | None:
    """Return the unit that header, units row or cells name."""
    header = table.names[column.index]
    unit = unit_of(column.unit_text, quantity) or unit_in_header(column.unit_text, quantity)
    unit = unit or unit_in_header(header, quantity)
    if unit is None:
        behind_them = {u for text in raw.units if (u := unit_of(text, quantity))}
        if len(behind_them) > 1:
            two = sorted(behind_them)
            raise Refused("weather.mixed_units", column=column.name, unit=two[0], other=two[1])
        unit = next(iter(behind_them), None)
    if unit is None and quantity == "rain" and "tip" in plain(header):
        return RAIN_TIPS
    if (
        unit is None
        and quantity == "sun"
        and re.search(r"\b(hours?|horas?|heures?)\b", plain(header))
    ):
        return "h"
    return unit


def _without_codes(raw: Numbers) -> Values:
    values = raw.values.copy()
    for code, rows in raw.codes.items():
        if _far_off(code, raw.values):
            values[rows] = np.nan
    return values


def _depths(
    values: Values, moments: tuple[NDArray[np.int64], Values], setting: Setting, column: Column
) -> Values:
    """Return the rain itself where a column is a running total: units are weighed on it."""
    day, minute = moments
    if judge(values, day, minute, setting.daily, column.name) != RUNNING:
        return values
    there = np.flatnonzero(~np.isnan(values))
    found = np.full(len(values), np.nan)
    step = np.diff(values[there])
    found[there[1:]] = np.where(step < 0.0, values[there[1:]], step)
    return found


def _fraction_or(quantity: str, unit: str, values: Values, column: Column, table: Table) -> str:
    """Let a humidity that claims per cent but never passes 1 be the fraction it is."""
    if quantity != "humidity" or np.isnan(values).all():
        return unit
    most = float(np.nanmax(values))
    right = {"%": "fraction"} if most <= 1.0 else {"fraction": "%"} if 2.0 < most <= 105.0 else {}
    if unit in right and (unit != "%" or len(values) >= 3):
        note = Note.of("weather.note.unit_other", column=column.name, said=unit, unit=right[unit])
        table.notes.append(note)
        return right[unit]
    return unit


def _absurd(quantity: str, unit: str, values: Values, setting: Setting) -> bool:
    """Tell whether most values are impossible in the unit the header claims."""
    known = values[~np.isnan(values)]
    if len(known) < 2 or unit not in UNITS[quantity]:
        return False
    v = to_inside(quantity, unit, known)
    middle, high = float(np.median(v)), float(np.quantile(v, 0.9))
    if quantity == "temperature":
        as_c = unit == "F" and 5.0 <= float(np.mean(known)) <= 40.0
        return not -45.0 <= middle <= 57.0 or as_c
    if quantity == "radiation" and setting.daily:
        most = 45.0 if setting.clear_mj is None else 1.15 * float(np.max(setting.clear_mj))
        dim = len(known) >= 10 and float(v.max()) < 3.0
        return middle > most or dim
    if quantity == "radiation":
        return unit in ("W/m2", "kW/m2") and high > 140.0
    top = {"wind": 40.0, "et0": 16.0, "sun": 24.0, "vapour": 8.0}.get(quantity)
    if quantity == "rain":
        wet = v[v > 0.0]
        return len(wet) >= 3 and float(np.median(wet)) > 150.0 and setting.daily
    return top is not None and middle > top


def _weigh(
    table: Table,
    quantity: str,
    columns: list[Column],
    said: dict[int, str | None],
    clean: dict[int, Values],
    asker: Asker,
    setting: Setting,
    tenths: bool,
) -> str:
    """Return the only possible unit, or ask; the first choice stands in for an open answer."""
    values = np.concatenate([clean[c.index] for c in columns])
    clear = setting.clear_mj
    if clear is not None:
        setting = setting._replace(clear_mj=np.tile(clear, len(columns)))
    claimed = [said[c.index] for c in columns if said[c.index]]
    names = ", ".join(c.name for c in columns)
    if not claimed:
        unit = guess(quantity, values, setting)
        if unit and not (tenths and quantity in ("rain", "wind")):
            code = "weather.note.unit_taken"
            table.notes.append(Note.of(code, column=names, unit=unit))
            return unit
        if not np.any(values[~np.isnan(values)]) and quantity != "temperature":
            return CHOICES[quantity][0]  # nothing, or nothing but zeros: the unit does not matter
    choices = (*CHOICES[quantity], *(("tenth_m/s",) if quantity == "wind" and tenths else ()))
    answer = asker.ask(f"unit_{quantity}", choices, column=names)
    return answer or CHOICES[quantity][0]
