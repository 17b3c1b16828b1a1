"""Cells to numbers: decimal commas, thousands, missing marks, traces, units behind the number.

Rules: with both a comma and a point in a number the last one is the decimal mark.  A lone comma
with other than three digits behind it is a decimal comma for its whole column; with exactly
three digits it follows the other columns of the file, and is asked where they do not tell.
What cannot be read as a number is kept as it stands and not used.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from waterbudget.weather.asking import Asker
from waterbudget.weather.cells import MISSING_WORDS, NUMBER, is_trace, squeeze

Values = NDArray[np.float64]

_CERTAIN_COMMA = re.compile(r"[-+−]?(?:\d*,(?:\d{1,2}|\d{4,})|0\d*,\d+|\d{4,},\d+|,\d+)(?!\d)\D*")
_MAYBE_COMMA = re.compile(r"[-+−]?[1-9]\d{0,2},\d{3}(?!\d)\D*")
_CERTAIN_POINT = re.compile(
    r"[-+−]?(?:\d*\.(?:\d{1,2}|\d{4,})|0\d*\.\d+|\d{4,}\.\d+|\.\d+)(?!\d)\D*"
)
_BEHIND = re.compile(rf"({NUMBER})\s*(.*)", re.DOTALL)
_CODE = re.compile(r"-?9{2,}(?:\.(?:0+|9+))?")
OTHER_CODES = frozenset((-6999.0, 6999.0, -7999.0, 7999.0, -32768.0, 32767.0, -8888.0, 8888.0))


@dataclass
class Numbers:
    """A column as numbers.

    Attributes
    ----------
    values : ndarray, shape (rows,)
        In the file's unit, NaN where nothing is known.
    marks : list of (row, what, text)
        Cells that were no plain number: ``trace``, ``unreadable``, ``marked``.
    units : tuple of str
        Units written behind the numbers.
    codes : dict of float to list of row
        Values of nothing but nines (and the like), which may be missing codes.
    """

    values: Values
    marks: list[tuple[int, str, str]] = field(default_factory=list)
    units: tuple[str, ...] = ()
    codes: dict[float, list[int]] = field(default_factory=dict)


def comma_kind(cells: Iterable[str]) -> tuple[bool, bool, bool]:
    """Return whether a column surely has decimal commas, may have them, has decimal points."""
    sure = maybe = point = False
    for cell in set(cells):
        text = squeeze(cell)
        if "," in text and "." not in text:
            sure = sure or _CERTAIN_COMMA.fullmatch(text) is not None
            maybe = maybe or _MAYBE_COMMA.fullmatch(text) is not None
        elif "." in text and "," not in text:
            point = point or _CERTAIN_POINT.fullmatch(text) is not None
        elif "." in text and "," in text:
            last_comma = text.rfind(",") > text.rfind(".")
            sure, point = sure or last_comma, point or not last_comma
    return sure, maybe, point


def decimal_marks(columns: dict[int, list[str]], asker: Asker) -> dict[int, str]:
    """Return for each column its decimal mark, ``","`` or ``"."``."""
    kinds = {i: comma_kind(cells) for i, cells in columns.items()}
    given = asker.given("decimal_mark", ("point", "comma"))
    any_comma = any(k[0] for k in kinds.values())
    any_point = any(k[2] for k in kinds.values())
    marks = {}
    for i, (sure, maybe, point) in kinds.items():
        if sure:
            marks[i] = ","
        elif maybe and not point:
            if given is not None:
                marks[i] = "," if given == "comma" else "."
            elif any_comma != any_point:
                marks[i] = "," if any_comma else "."
            else:
                text = next(squeeze(c) for c in columns[i] if _MAYBE_COMMA.fullmatch(squeeze(c)))
                answer = asker.ask("decimal_mark", ("point", "comma"), text=text)
                marks[i] = "," if answer == "comma" else "."
        else:
            marks[i] = "," if any_comma and not any_point else "."
    return marks


def parse(text: str, mark: str) -> float | None:
    """Return the number a text is, with the column's decimal mark; None where it is none."""
    text = text.replace("−", "-")
    text = re.sub(r"(?<=\d)[ '’\u00a0\u202f](?=\d{3})", "", text)
    comma, point = text.rfind(","), text.rfind(".")
    if comma >= 0 and point >= 0:
        text = text.replace("." if comma > point else ",", "")
        text = text.replace(",", ".")
    elif comma >= 0:
        grouped = re.fullmatch(r"[-+]?\d{1,3}(?:,\d{3})+", text) is not None
        many = text.count(",") > 1
        text = (
            text.replace(",", "") if grouped and (mark == "." or many) else text.replace(",", ".")
        )
    elif point >= 0:
        grouped = re.fullmatch(r"[-+]?[1-9]\d{0,2}(?:\.\d{3})+", text) is not None
        if grouped and (mark == "," or text.count(".") > 1):
            text = text.replace(".", "")
    if "_" in text:
        return None
    try:
        return float(text.replace("d", "e").replace("D", "e"))
    except ValueError:
        return None


def behind(text: str) -> str:
    """Return what stands behind the number in a cell."""
    match = _BEHIND.fullmatch(text)
    return match.group(2).strip() if match else ""


def _one(cell: str, mark: str) -> tuple[float, str, str]:
    """Return the value, what was odd (``""`` for nothing) and the unit behind it."""
    if mark == "." and "," not in cell and "_" not in cell:
        try:
            value = float(cell)
        except ValueError:
            pass
        else:
            return (value, "", "") if np.isfinite(value) else (np.nan, "", "")
    text = squeeze(cell)
    if not text or text.casefold() in MISSING_WORDS:
        return np.nan, "", ""
    read = parse(text, mark)
    if read is not None:
        return (read, "", "") if np.isfinite(read) else (np.nan, "", "")
    if is_trace(text):
        return 0.0, "trace", ""
    match = _BEHIND.fullmatch(text)
    read = parse(match.group(1), mark) if match else None
    if read is None or match is None or any(c.isdigit() for c in match.group(2).rstrip("2³²")):
        return np.nan, "unreadable", ""
    if re.fullmatch(r"[oOlI][.,oOlI]*", match.group(2)) and match.group(2) != "l":
        return np.nan, "unreadable", ""  # a letter typed for a digit
    return read, "behind", match.group(2).strip()


def read_numbers(cells: list[str], mark: str) -> Numbers:
    """Return a column of cells as numbers; each distinct text is read once."""
    of = {cell: _one(cell, mark) for cell in set(cells)}
    values = np.array([of[c][0] for c in cells], dtype=float)
    found = Numbers(values)
    odd = {c: o for c, o in of.items() if o[1]}
    units = {o[2] for o in odd.values() if o[1] == "behind"}
    found.units = tuple(sorted(units))
    codes = {c: o[0] for c, o in of.items() if _is_code(squeeze(c).replace(",", "."), o[0])}
    if odd or codes:
        for row, cell in enumerate(cells):
            if cell in odd:
                what = odd[cell][1]
                found.marks.append((row, what, squeeze(cell)))
            elif cell in codes:
                found.codes.setdefault(codes[cell], []).append(row)
    return found


def _is_code(text: str, value: float) -> bool:
    if _CODE.fullmatch(text.replace("−", "-").replace(" ", "")):
        return True
    return value in OTHER_CODES or (np.isfinite(value) and abs(value) > 1e15)
