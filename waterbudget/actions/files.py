"""Files people bring: read them safely, tell what kind they are."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from pathlib import Path

from waterbudget.errors import Refused
from waterbudget.orchard import fold, read_number
from waterbudget.store import is_farm

MAX_BYTES = 256 * 1024 * 1024
_RASTERS = {".tif", ".tiff", ".jpg", ".jpeg", ".png", ".jp2", ".hgt"}
_OUTLINES = {".geojson", ".gpkg", ".shp", ".zip", ".kml", ".kmz", ".gpx", ".dxf", ".wkt"}


def read_file(path: Path) -> bytes:
    """Return the bytes of a file; Refused says in one sentence why not."""
    try:
        if path.is_dir():
            raise Refused("file.is_folder", file=str(path))
        if path.stat().st_size > MAX_BYTES:
            raise Refused("file.too_large", file=path.name, mb=MAX_BYTES // 1024 // 1024)
        return path.read_bytes()
    except FileNotFoundError:
        raise Refused("file.missing", file=str(path)) from None
    except OSError as fault:
        raise Refused("file.unreadable", file=str(path), why=fault.strerror or "") from None


def decode(data: bytes, name: str) -> str:
    """Return text from bytes: UTF-8, UTF-16 by its mark, else Latin-1."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encoding = "utf-16"
    else:
        encoding = "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\0" in text:
        raise Refused("file.not_text", file=name)
    return text.replace("\r\n", "\n").replace("\r", "\n")


Row = tuple[int, dict[str, str]]
"""Line of the file, and its cells by column."""


def csv_rows(path: Path, head_of: Callable[[list[str]], list[str]]) -> list[Row]:
    """Read a small CSV (comma, semicolon or tab); empty lines are passed over.

    Parameters
    ----------
    head_of : callable
        Takes the folded names of the first line, refuses what is missing or unknown, and returns
        the names to use.

    Raises
    ------
    Refused
        For a column that stands twice, a cell too many, or a file without rows.
    """
    text = decode(read_file(path), path.name)
    delimiter = max(",;\t", key=text.split("\n", 1)[0].count)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    head = head_of([fold(h) for h in next(reader, [])])
    twice = [h for h in head if h and head.count(h) > 1]
    if twice:
        raise Refused("csv.column_twice", file=path.name, column=twice[0])
    rows = []
    for cells in reader:
        if not any(c.strip() for c in cells):
            continue
        if any(c.strip() for c in cells[len(head) :]):
            raise Refused("csv.too_many_cells", line=reader.line_num, file=path.name)
        cells += [""] * (len(head) - len(cells))
        rows.append((reader.line_num, dict(zip(head, cells, strict=False))))
    if not rows:
        raise Refused("csv.empty", file=path.name)
    return rows


def need_columns(
    path: Path, head: list[str], every: tuple[str, ...], one_of: tuple[str, ...]
) -> None:
    """Refuse a head that lacks one of ``every``, or all of ``one_of`` (whose first is named)."""
    for column in every:
        if column not in head:
            raise Refused("csv.no_name_column", file=path.name, column=column)
    if not set(one_of) & set(head):
        raise Refused("csv.no_name_column", file=path.name, column=one_of[0])


def number_cell(row: Mapping[str, str], column: str) -> float | None:
    """Return the number in a cell, None where it is empty."""
    text = row.get(column, "").strip()
    if not text:
        return None
    try:
        return read_number(text)
    except ValueError:
        raise Refused("key.bad_number", key=column, value=text) from None


def recognise(path: Path) -> str:
    """Return what a file is: ``outlines``, ``weather``, ``ran``, ``readings``, ``underlay`` ...

    Raises
    ------
    Refused
        Where the file cannot be read.
    """
    suffix = path.suffix.lower()
    if is_farm(path):  # first: an open farm must never be read as plain bytes
        return "farm"
    if suffix in _OUTLINES:
        return "outlines"
    if suffix in _RASTERS:
        return "underlay"
    data = read_file(path)[:65536]
    if suffix == ".json" or data.lstrip()[:1] == b"{":
        return "outlines"
    try:
        text = decode(data, path.name)
    except Refused:
        return "weather"
    head = [c.strip().strip('"').lower() for c in _cells(text.split("\n", 1)[0])]
    if "block" in head and "date" in head and {"hours", "m3", "meter"} & set(head):
        return "ran"
    if "block" in head and "date" in head and {"kpa", "percent", "missing_mm"} & set(head):
        return "readings"
    from waterbudget.orchard import BLOCK_KEYS

    if {"name", "block"} & set(head) and len(set(head) & set(BLOCK_KEYS)) >= 1:
        return "blocks"
    from waterbudget.outlines import is_corner_list

    if is_corner_list(head) and not _DATES & set(head):
        return "outlines"
    return "weather"


_DATES = {"date", "datetime", "timestamp", "time", "day", "fecha", "dia"}
"""Headings no corner list has; a station's file may tell its latitude and longitude too."""


def _cells(line: str) -> list[str]:
    return line.split(max(",;\t", key=line.count))
