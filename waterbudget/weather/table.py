"""Lines of text to a table: which separator, where the readings begin, which rows are names.

Rules: the separator is the one under which most sample lines look like readings and have the
same number of cells.  Rows above the first readings are the header (names, and below them a row
of units or of "Max, Min, Avg"); what stands higher is preamble.  Below, comment lines, blank
lines and repeated headers are passed over; a line of totals is left out and told; a last line
that was cut off is left out and told.  A line with more cells than the header is refused.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from waterbudget.errors import Note, Refused
from waterbudget.weather.cells import is_data, kind_of, squeeze
from waterbudget.weather.fixed import cut_at, places_of, words_by_place
from waterbudget.weather.header import (
    COMMENT,
    HEADER_ROWS,
    clean_head,
    fit_names,
    is_comment,
    read_header,
    row_role,
)
from waterbudget.weather.roles import role_of
from waterbudget.weather.text import Text
from waterbudget.weather.words import plain

SEPARATORS = ("\t", ";", "|", ",")
BLANKS, FIXED = "blanks", "fixed"
SAMPLE_LINES = 60


@dataclass
class Table:
    """A file laid out as columns.

    Attributes
    ----------
    names : list of str
        One a column, ``""`` where there is none.
    units : list of str
        From a row of units, ``""`` where there is none.
    rows : list of list of str
        The readings, each row as long as ``names``.
    at : list of int
        The line of the file each row stands in (1 = first).
    raw : list of str
        All lines of the file.
    short : set of int
        Positions in ``rows`` of lines with fewer cells than the header.
    """

    names: list[str]
    units: list[str]
    rows: list[list[str]]
    at: list[int]
    raw: list[str]
    separator: str
    has_header: bool
    preamble: list[str] = field(default_factory=list)
    short: set[int] = field(default_factory=set)
    notes: list[Note] = field(default_factory=list)

    def sample(self, rows: list[int] | None = None) -> tuple[str, ...]:
        """Return a few lines as they stand: the header's last and the first (or given) rows."""
        if not self.at:
            return ()
        picked = [self.at[i] for i in (rows if rows is not None else range(3)) if i < len(self.at)]
        lines = [self.raw[n - 1] for n in picked]
        if self.has_header and rows is None:
            head = [n for n in range(self.at[0] - 1, 0, -1) if self.raw[n - 1].strip()]
            if head:
                lines.insert(0, self.raw[head[0] - 1])
        return tuple(lines)

    def column(self, index: int) -> list[str]:
        """Return the cells of one column."""
        return [row[index] for row in self.rows]


def _cells(line: str, separator: str) -> list[str]:
    if separator == BLANKS:
        return line.split()
    if '"' in line:
        try:
            return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
        except csv.Error:
            pass
    return line.split(separator)


def _score(lines: list[str], separator: str) -> tuple[float, int]:
    """Return how much the lines look like readings under a separator, and their usual length."""
    rows = [_cells(line, separator) for line in lines]
    good = [row for row in rows if len(row) >= 2 and is_data(row)]
    if not good:
        return 0.0, 0
    usual, times = Counter(len(row) for row in good).most_common(1)[0]
    kinds = [kind_of(c) for row in good for c in row]
    words = kinds.count("word") / len(kinds)
    return len(good) / len(rows) * (0.5 + 0.5 * times / len(good)) * (1.0 - words), usual


def find_separator(lines: list[str], name: str) -> str:
    """Return the separator of a table.

    Raises
    ------
    Refused
        ``weather.no_table`` where no line looks like readings.
    """
    full = [line for line in lines if line.strip() and not line.lstrip().startswith(COMMENT)]
    if lines and (said := re.fullmatch(r"\s*\"?sep=(.)\"?\s*", lines[0], re.IGNORECASE)):
        return said.group(1)
    start = max(0, len(full) // 2 - SAMPLE_LINES // 2) if len(full) > SAMPLE_LINES else 0
    sample = full[start : start + SAMPLE_LINES]
    scores = [(*_score(sample, s), s) for s in SEPARATORS]
    blank_score, blank_usual = _score(sample, BLANKS)
    best = max(scores, key=lambda s: s[0])
    if best[0] > 0.25 and (best[0] >= blank_score * 0.9 or best[1] >= blank_usual):
        return best[2]
    if blank_score > 0.0:
        return BLANKS
    if best[0] > 0.0:
        return best[2]
    raise _no_readings(lines, name)


def _no_readings(lines: list[str], name: str) -> Refused:
    first = next((line for line in lines if line.strip()), "")
    cells = max((_cells(first, s) for s in (*SEPARATORS, BLANKS)), key=len)
    names = [c for c in cells if len(c) < 40 and role_of(c).role is not None]
    few = sum(1 for line in lines if line.strip()) <= HEADER_ROWS
    code = "weather.header_only" if few and names else "weather.no_table"
    return Refused(code, name=name, text=first[:80])


def _split_all(text: Text, separator: str) -> list[tuple[int, list[str]]]:
    """Return (line number, cells) of every line; quoted cells may run over lines."""
    lines = text.lines
    if separator == BLANKS or not any('"' in line for line in lines):
        part: Callable[[str], list[str]] = (
            str.split if separator == BLANKS else lambda s: s.split(separator)
        )
        return [(i, part(line)) for i, line in enumerate(lines, 1)]
    found, last = [], 0
    reader = csv.reader((line + "\n" for line in lines), delimiter=separator, skipinitialspace=True)
    try:
        for row in reader:
            found.append((last + 1, row))
            if any(c.count("\n") > 3 for c in row):  # a stray quote swallowed lines
                raise csv.Error
            last = reader.line_num
    except csv.Error:
        return [(i, line.replace('"', "").split(separator)) for i, line in enumerate(lines, 1)]
    return found


def _find_start(rows: list[tuple[int, list[str]]]) -> int | None:
    """Return the position of the first row of readings."""
    usual = Counter(
        len(cells) for _, cells in rows[:2000] if len(cells) > 1 and is_data(cells)
    ).most_common(1)
    if not usual:
        return None
    for i, (_, cells) in enumerate(rows):
        if len(cells) < 0.6 * usual[0][0] or not is_data(cells) or is_comment(cells):
            continue
        after = [c for _, c in rows[i + 1 : i + 6] if any(x.strip() for x in c)]
        if not after or any(is_data(c) and abs(len(c) - len(cells)) <= 1 for c in after):
            return i
    return None


def lay_out(text: Text, name: str) -> Table:
    """Return the table a text file holds.

    Raises
    ------
    Refused
        ``weather.no_table``, ``weather.header_only``, ``weather.uneven_line`` or
        ``weather.second_header``.
    """
    separator = find_separator(text.lines, name)
    rows = _split_all(text, separator)
    start = _find_start(rows)
    if start is None:
        raise _no_readings(text.lines, name)
    if separator == BLANKS:
        return _lay_out_blanks(text, rows, start)
    head = clean_head(rows[:start], separator)
    data = rows[start:]
    width = max(
        Counter(len(c) for _, c in data if is_data(c[:40])).most_common(1)[0][0]
        if len(data) < 400
        else Counter(len(c) for _, c in data).most_common(1)[0][0],
        1,
    )
    names, units, used = read_header(head, width)
    if used and _filled_width(names) == width - 1 and (fit := _fit(names, units, data, width)):
        names, units = fit
    elif used:
        width = _filled_width(names) or width
    names, units = names[:width], units[:width]
    table = Table(names, units, [], [], text.lines, separator, bool(used))
    table.preamble = [text.lines[n - 1] for n, _ in rows[:start] if n not in used]
    _take_rows(table, data, width, text.whole)
    return table


def _fit(
    names: list[str], units: list[str], data: list[tuple[int, list[str]]], width: int
) -> tuple[list[str], list[str]] | None:
    """Return names and units for rows that have one cell more, where its place is clear."""
    rows = [c for _, c in data if len(c) == width and c[-1].strip()]
    fitted = fit_names(names[: width - 1], rows) if rows else None
    if fitted is None:
        return None
    at = fitted.index("")
    return fitted, [*units[:at], "", *units[at : width - 1]]


def _filled_width(names: list[str]) -> int:
    return max((i + 1 for i, n in enumerate(names) if n.strip()), default=0)


def _take_rows(table: Table, data: list[tuple[int, list[str]]], width: int, whole: bool) -> None:
    left_out: list[int] = []
    header = [plain(n) for n in table.names]
    final = data[-1][0]
    for n, cells in data:
        size = len(cells)
        if size > width:
            if any(c.strip() for c in cells[width:]):
                _refuse_long(table, n, cells, width)
            cells = cells[:width]
        first = cells[0].lstrip()[:1] if cells else ""
        if size == width and first.isdigit():
            table.rows.append(cells)
            table.at.append(n)
            continue
        if not any(c.strip() for c in cells) or is_comment(cells):
            continue
        if not is_data(cells) and not (size >= width and _date_somewhere(cells)):
            if [plain(squeeze(c)) for c in cells] != header[: len(cells)]:
                left_out.append(n)
            continue
        if size < width:
            if n == final:
                table.notes.append(
                    Note.of("weather.note.cut_off", line=n, text=table.raw[n - 1][:60])
                )
                continue
            table.short.add(len(table.rows))
            cells = cells + [""] * (width - size)
        table.rows.append(cells)
        table.at.append(n)
    _tell_left_out(table, left_out)
    if table.short:
        lines = [table.at[i] for i in sorted(table.short)]
        table.notes.append(Note.of("weather.note.short_lines", count=len(lines), line=lines[0]))
        for i in table.short:
            _drop_cut_value(table, i)
    if not whole and table.rows:
        _drop_cut_value(table, len(table.rows) - 1)
    if not table.rows:
        raise Refused("weather.header_only", name="", text="")


def _date_somewhere(cells: list[str]) -> bool:
    return any(kind_of(c) == "date" for c in cells[:3])


def _refuse_long(table: Table, line: int, cells: list[str], width: int) -> None:
    comma = table.separator == ","
    code = (
        "weather.decimal_comma_clash" if comma and len(cells) > width + 1 else "weather.uneven_line"
    )
    raise Refused(code, line=line, cells=len(cells), expected=width, text=table.raw[line - 1][:80])


def _tell_left_out(table: Table, lines: list[int]) -> None:
    inside = [n for n in lines if table.at and n < table.at[-1]]
    names = [n for n in inside if _looks_like_names(table.raw[n - 1], table)]
    if names:
        raise Refused("weather.second_header", line=names[0], text=table.raw[names[0] - 1][:80])
    if lines:
        first = table.raw[lines[0] - 1].strip()[:60]
        table.notes.append(
            Note.of("weather.note.lines_left_out", count=len(lines), line=lines[0], text=first)
        )


def _looks_like_names(line: str, table: Table) -> bool:
    cells = [squeeze(c) for c in _cells(line, table.separator)]
    filled = [c for c in cells if c]
    return (
        table.has_header
        and len(filled) >= max(3, len(table.names) - 1)
        and all(kind_of(c) == "word" for c in filled)
        and row_role(cells) == "names"
    )


def _drop_cut_value(table: Table, i: int) -> None:
    """Drop the last value of a line that ends in the middle of it (fewer decimals than all)."""
    row = table.rows[i]
    filled = [k for k, c in enumerate(row) if c.strip()]
    if not filled or len(table.rows) < 4:
        return
    column = filled[-1]

    def decimals(cell: str) -> int:
        found = re.search(r"[.,](\d*)$", squeeze(cell))
        return len(found.group(1)) if found else -1

    others = [decimals(r[column]) for k, r in enumerate(table.rows) if k != i and r[column].strip()]
    if others and min(others) >= 0 and decimals(row[column]) < min(others):
        note = Note.of("weather.note.cut_value", line=table.at[i], value=squeeze(row[column]))
        table.notes.append(note)
        table.rows[i] = [*row[:column], "", *row[column + 1 :]]


def _lay_out_blanks(text: Text, rows: list[tuple[int, list[str]]], start: int) -> Table:
    """Lay out columns kept apart by blanks, by count or (with empty places) by position."""
    body = [(n, c) for n, c in rows[start:] if c and not is_comment(c)]
    data = [(n, c) for n, c in body if is_data(c)]
    counts = Counter(len(c) for _, c in data)
    width = counts.most_common(1)[0][0]
    last = len(data[-1][1])
    cut_off = last < width and counts[last] == 1 and len(counts) == 2
    head = [(n, c) for n, c in clean_head(rows[:start], BLANKS) if c]
    if len(counts) == 1 or cut_off:
        full = [(n, c) for n, c in head if len(c) == width]
        less = [(n, c) for n, c in head if len(c) == width - 1]
        if full or not head:
            return _finish_blanks(text, read_header(full, width), body, width, BLANKS)
        if less:
            names, units, used = read_header(less, width - 1)
            fit = _fit(names, units, data, width)
            if fit:
                return _finish_blanks(text, (*fit, used), body, width, BLANKS)
    return _lay_out_places(text, head, body, data, width)


def _lay_out_places(
    text: Text,
    head: list[tuple[int, list[str]]],
    body: list[tuple[int, list[str]]],
    data: list[tuple[int, list[str]]],
    width: int,
) -> Table:
    """Lay out by the place in the line; refuse where lines or names do not keep to places."""
    flat = {n: text.lines[n - 1].expandtabs() for n, _ in (*head, *body)}
    places = places_of([flat[n] for n, _ in data])
    uneven = [n for n, c in data if len(c) != width]
    if len(places) < max(len(c) for _, c in data):
        n = uneven[0] if uneven else data[0][0]
        _refuse_uneven(text, n, len(dict(data)[n]), width)
    marks = re.compile(r"^(\s*)(#+|//|%+|!+)")
    bare = [(n, marks.sub(lambda m: " " * len(m.group(0)), flat[n])) for n, _ in head]
    header = read_header([(n, words_by_place(line, places)) for n, line in bare], len(places))
    cut = [(n, cut_at(flat[n], places)) for n, _ in body]
    for i, name in enumerate(header[0]):
        kinds = {kind_of(c[i]) for _, c in cut if i < len(c)}
        if header[2] and not name and not kinds <= {"time", "blank", "missing"}:
            _refuse_uneven(text, max(header[2]), len(head[-1][1]), len(places))
    return _finish_blanks(text, header, cut, len(places), FIXED)


def _refuse_uneven(text: Text, line: int, cells: int, expected: int) -> None:
    shown = text.lines[line - 1].strip()[:80]
    raise Refused("weather.uneven_line", line=line, cells=cells, expected=expected, text=shown)


def _finish_blanks(
    text: Text,
    header: tuple[list[str], list[str], set[int]],
    body: list[tuple[int, list[str]]],
    width: int,
    separator: str,
) -> Table:
    names, units, used = header
    table = Table(names[:width], units[:width], [], [], text.lines, separator, bool(used))
    first = body[0][0]
    table.preamble = [line for n, line in enumerate(text.lines[: first - 1], 1) if n not in used]
    _take_rows(table, body, width, text.whole)
    return table
