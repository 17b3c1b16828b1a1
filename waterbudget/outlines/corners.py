"""Corner lists (one row a corner) and well-known text, as delimited or plain text files."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from waterbudget.errors import Note, Refused
from waterbudget.orchard import fold
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.model import Raw, RawFile
from waterbudget.outlines.names import NAME_WORDS, named_column, plain
from waterbudget.outlines.source import Source, decode
from waterbudget.outlines.systems import asked_crs
from waterbudget.outlines.wkb import NotReadable, from_wkt

LAT = ("lat", "latitude", "latitud", "breite", "y lat")
LON = ("lon", "long", "lng", "longitude", "longitud", "laenge", "x lon")
EAST = ("x", "east", "easting", "este", "leste", "e", "x m", "utm e", "utm x", "coord x", "xcoord")
NORTH = ("y", "north", "northing", "norte", "n", "y m", "utm n", "utm y", "coord y", "ycoord")
TEXT = ("wkt", "geometry", "geom", "the geom", "geometria", "shape")
PART = ("part", "parte", "ring")
ORDER = ("corner", "corner no", "point", "point no", "vertex", "no", "nr", "number", "order", "seq",
         "esquina", "punto", "vertice", "orden", "numero")  # fmt: skip
DELIMITERS = (";", "\t", "|", ",")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


@dataclass
class _Columns:
    x: str
    y: str
    degrees: bool


def read_csv(source: Source, desk: Desk, name_column: str | None) -> RawFile:
    """Read a corner list, or a table with one geometry in well-known text a row.

    Raises
    ------
    Refused
        ``outlines.csv_columns`` where no pair of coordinate columns is found,
        ``outlines.csv_value`` naming line, column and value.
    """
    text, encoding = decode(source.data, desk.peek("encoding"))
    notes = [Note.of("outlines.letters_supposed")] if encoding == "cp1252" else []
    columns, rows = _table(text)
    sample = tuple(line for line in text.splitlines() if line.strip())[:4]
    by_plain = {plain(c): c for c in reversed(columns)}
    text_column = next((by_plain[w] for w in TEXT if w in by_plain), None)
    if text_column is not None:
        raws = [_text_row(row, text_column, line) for line, row in rows]
        return RawFile("csv", raws, degrees_if_plausible=True, notes=notes, sample=sample)
    found = _coordinates(by_plain)
    if found is None:
        raise Refused("outlines.csv_columns", columns=", ".join(columns)[:120])
    name = _grouping(columns, by_plain, rows, name_column)
    part = next((by_plain[w] for w in PART if w in by_plain and by_plain[w] != name), None)
    order = next((by_plain[w] for w in ORDER if w in by_plain and by_plain[w] not in (name, part)),
                 None)  # fmt: skip
    raws, moved = _groups(rows, found, name, part, order)
    if moved:
        notes.append(Note.of("outlines.corners_ordered", column=order, count=moved))
    return RawFile("csv", raws, degrees_if_plausible=True, notes=notes, sample=sample)


def _table(text: str) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """Return the headings and the rows with their line numbers."""
    lines = text.splitlines()
    start = next((i for i, line in enumerate(lines)
                  if line.strip() and not line.lstrip().startswith("#")), None)  # fmt: skip
    if start is None:
        raise Refused("outlines.csv_columns", columns="-")
    if re.fullmatch(r"sep=.", lines[start].strip()):
        start += 1
    head = lines[start] if start < len(lines) else ""
    delimiter = next((d for d in DELIMITERS if d in head), ",")
    csv.field_size_limit(64 * 1024 * 1024)
    reader = csv.reader(lines[start:], delimiter=delimiter)
    rows: list[tuple[int, dict[str, str]]] = []
    columns: list[str] = []
    try:
        for cells in reader:
            if not columns:
                columns = [c.strip() for c in cells]
            elif any(c.strip() for c in cells):
                values = dict(zip(columns, (c.strip() for c in cells), strict=False))
                rows.append((start + reader.line_num, values))
    except csv.Error:
        raise Refused("outlines.csv_broken", line=start + reader.line_num) from None
    return columns, rows


def is_corner_list(columns: Sequence[str]) -> bool:
    """Tell whether the headings are those of a corner list or of well-known text."""
    by_plain = {plain(c): c for c in columns}
    return _coordinates(by_plain) is not None or any(w in by_plain for w in TEXT)


def _coordinates(by_plain: Mapping[str, str]) -> _Columns | None:
    lat = next((by_plain[w] for w in LAT if w in by_plain), None)
    lon = next((by_plain[w] for w in LON if w in by_plain), None)
    if lat is not None and lon is not None:
        return _Columns(lon, lat, True)
    east = next((by_plain[w] for w in EAST if w in by_plain), None)
    north = next((by_plain[w] for w in NORTH if w in by_plain), None)
    return _Columns(east, north, False) if east is not None and north is not None else None


def _grouping(
    columns: Sequence[str],
    by_plain: Mapping[str, str],
    rows: Sequence[tuple[int, Mapping[str, str]]],
    wanted: str | None,
) -> str | None:
    """Return the column that says which block a corner belongs to."""
    if wanted is not None:
        return named_column(list(columns), wanted)
    for word in (*NAME_WORDS, "id", "code", "codigo"):
        if word in by_plain:
            values = {fold(v) for _, row in rows if (v := row.get(by_plain[word], ""))}
            if values and len(values) * 3 <= len(rows):  # a name a corner is the corner's number
                return by_plain[word]
    return None


def _groups(
    rows: Sequence[tuple[int, Mapping[str, str]]],
    columns: _Columns,
    name: str | None,
    part: str | None,
    order: str | None,
) -> tuple[list[Raw], int]:
    """Return the outlines, and how many had their corners put in the order they are numbered."""
    raws: list[Raw] = []
    corners: list[list[list[tuple[float, float]]]] = []
    numbers: list[list[list[str]]] = []
    last_name, last_part = None, None
    for line, row in rows:
        this = row.get(name, "") if name else ""
        this = this or last_name or ""
        this_part = row.get(part, "") if part else ""
        point = (_cell(row, columns.x, line, columns.degrees),
                 _cell(row, columns.y, line, columns.degrees))  # fmt: skip
        if not raws or fold(this) != fold(last_name or ""):
            skip = {columns.x, columns.y, name, part}
            attributes = {k: v for k, v in row.items() if k not in skip}
            raws.append(Raw([], "corners", len(raws) + 1, this or None, attributes))
            corners.append([[]])
            numbers.append([[]])
        elif this_part != last_part:
            corners[-1].append([])
            numbers[-1].append([])
        corners[-1][-1].append(point)
        numbers[-1][-1].append(row.get(order, "") if order else "")
        last_name, last_part = this, this_part
    moved = 0
    for raw, parts, given in zip(raws, corners, numbers, strict=True):
        turns = [_turn(numbered) for numbered in given]
        moved += any(turn is not None for turn in turns)
        raw.polygons = [
            [np.array(points, dtype=float).reshape(-1, 2)[slice(None) if turn is None else turn]]
            for points, turn in zip(parts, turns, strict=True)
        ]
    return raws, moved


def _turn(numbers: Sequence[str]) -> list[int] | None:
    """Return the order of corners by their numbers; None where they stand in it, or have none."""
    if not all(re.fullmatch(r"\d{1,6}", n) for n in numbers):
        return None
    found = [int(n) for n in numbers]
    if len(set(found)) < len(found) or found == sorted(found):
        return None
    if found == sorted(found, reverse=True):
        return None  # counted down: the same ring the other way round
    return sorted(range(len(found)), key=lambda k: found[k])


def _cell(row: Mapping[str, str], column: str, line: int, degrees: bool) -> float:
    text = row.get(column, "")
    value = read_angle(text) if degrees or re.search(r"[°º'\"NSEWO]", text) else read_number(text)
    if value is None:
        raise Refused("outlines.csv_value", line=line, column=column, value=text[:40])
    return value


def read_number(text: str) -> float | None:
    """Return a number with a decimal point or comma; None where it is none."""
    text = text.strip().replace("\u00a0", "").replace(" ", "").replace("\u2212", "-")
    if "," in text and "." in text:
        thousands = "," if text.rfind(".") > text.rfind(",") else "."
        text = text.replace(thousands, "")
    text = text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return None


def read_angle(text: str) -> float | None:
    """Return degrees from ``-19.9``, ``19°54'00.5"S``, ``S 19 54.5`` and the like.

    ``O`` counts as west (oeste, ouest); None where it is no angle.
    """
    text = text.strip().replace("\u2212", "-").upper()
    if not re.search(r"\d\s+\d", text) and (number := read_number(text)) is not None:
        return number
    text = re.sub(r"(?<=\d)\s*(DEG|MIN|SEC|D|M|S(?=\s*[NSEWO]$))", " ", text)
    letters = re.findall(r"[A-Z]", text)
    parts = _NUMBER.findall(text)
    left = re.sub(r"[°º˚'’′\"”″:NSEWO\s+\-]", "", _NUMBER.sub("", text))
    if not 1 <= len(parts) <= 3 or len(letters) > 1 or left or text.rfind("-") > 0:
        return None
    values = [float(p.replace(",", ".")) for p in parts]
    if any(v >= 60 for v in values[1:]) or any(v != int(v) for v in values[:-1]):
        return None
    angle = sum(v / 60**i for i, v in enumerate(values))
    negative = text.startswith("-") or (letters and letters[0] in "SWO")
    return -angle if negative else angle


def _text_row(row: Mapping[str, str], column: str, line: int) -> Raw:
    raw = Raw([], place=line, attributes={k: v for k, v in row.items() if k != column})
    _into(raw, row.get(column, ""))
    return raw


def _into(raw: Raw, text: str) -> None:
    text = re.sub(r"(?i)^\s*SRID\s*=\s*\d+\s*;", "", text)
    if not text.strip():
        return
    try:
        found = from_wkt(text)
    except NotReadable:
        raw.bad = Note.of("outlines.geometry_broken")
        return
    raw.polygons, raw.points = found.polygons, found.points
    if not found.polygons and found.lines:
        raw.polygons, raw.kind = found.lines, "line"


def read_wkt(source: Source) -> RawFile:
    """Read geometries in well-known text, one after another."""
    text, _ = decode(source.data, None)
    srids = set(re.findall(r"(?i)SRID\s*=\s*(\d+)", text))
    raws = []
    for place, piece in enumerate(_pieces(text), start=1):
        raw = Raw([], place=place)
        _into(raw, piece)
        raws.append(raw)
    if len(srids) == 1:
        return RawFile("wkt", raws, asked_crs(srids.pop()), "declared")
    return RawFile("wkt", raws, degrees_if_plausible=True, sample=(text.strip()[:200],))


def _pieces(text: str) -> list[str]:
    """Split at the points where every bracket is closed again."""
    pieces, depth, start = [], 0, 0
    for match in re.finditer(r"[()]", text):
        depth += 1 if match[0] == "(" else -1
        if depth == 0:
            pieces.append(text[start : match.end()].strip().lstrip(";").strip())
            start = match.end()
    if rest := text[start:].strip().strip(";"):
        pieces.append(rest)
    return pieces
