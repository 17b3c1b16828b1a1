"""Known open formats, laid out as tables with plain headers so that one reader serves all.

By name: GHCN-Daily (fixed-width ``.dly``, the long CSV by year or station, and the wide CSV with
attributes), ISD-Lite, NASA POWER CSV, EPW, CF-NetCDF in the classic form, and any table with one
column of quantity names and one of values.  A gzip file, or a zip archive with one file (or one CSV
among others) in it, is opened first.

Sources: GHCN-Daily readme (NOAA NCEI), ISD-Lite format document (NOAA NCEI), header of the NASA
POWER daily CSV, EnergyPlus auxiliary programs (EPW data dictionary), all from memory.
"""

from __future__ import annotations

import gzip
import io
import re
import struct
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Iterable

from waterbudget.errors import Note, Refused
from waterbudget.weather import netcdf
from waterbudget.weather.asking import Asker
from waterbudget.weather.cells import kind_of, squeeze
from waterbudget.weather.roles import role_of
from waterbudget.weather.table import Table, lay_out
from waterbudget.weather.text import Text, is_zip, to_lines
from waterbudget.weather.words import plain, words

BROKEN_ZIP = (
    zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, OSError, ValueError, KeyError,
    struct.error,
)  # fmt: skip
"""What the zip reader raises on a damaged archive (NotImplementedError is a RuntimeError)."""

MOST_BYTES = 400_000_000

_GHCN_ID = r"[A-Z]{2}[A-Z0-9_\-]{9}"
_DLY = re.compile(rf"{_GHCN_ID}\d{{6}}[A-Z]{{4}}.{{5}}")
_LONG = re.compile(rf'"?{_GHCN_ID}"?,"?\d{{8}}"?,"?[A-Z0-9]{{4}}"?,-?\d+')
_ISD = re.compile(
    r"(?:19|20)\d{2} (?:0[1-9]|1[0-2]) (?:0[1-9]|[12]\d|3[01]) (?:[01]\d|2[0-4])(?:\s+-?\d+){8}\s*"
)
GHCN_HEADERS = {
    "TMAX": "Tmax (0.1 C)", "TMIN": "Tmin (0.1 C)", "TAVG": "Temp mean (0.1 C)",
    "PRCP": "Rain (0.1 mm)", "AWND": "Wind speed (0.1 m/s)", "TSUN": "Sunshine (min)",
    "RHAV": "RH mean (%)", "RHMX": "RH max (%)", "RHMN": "RH min (%)", "ADPT": "Dew point (0.1 C)",
}  # fmt: skip
ISD_HEADERS = [
    "year", "month", "day", "hour UTC", "Temp (0.1 C)", "Dew point (0.1 C)", "Pressure",
    "Wind direction", "Wind speed (0.1 m/s)", "Sky code", "Rain (0.1 mm)", "Rain 6 h code",
]  # fmt: skip
POWER_HEADERS = {
    "T2M_MAX": "Tmax", "T2M_MIN": "Tmin", "T2M": "Temp mean", "T2MDEW": "Dew point",
    "T2MWET": "Wet bulb", "RH2M": "RH mean", "WS2M": "Wind speed 2 m", "WS10M": "Wind speed 10 m",
    "ALLSKY_SFC_SW_DWN": "Solar radiation", "PRECTOTCORR": "Rain", "PRECTOT": "Rain",
}  # fmt: skip
EPW_COLUMNS: dict[int, tuple[str, str]] = {
    6: ("Temp (C)", "99.9"), 7: ("Dew point (C)", "99.9"), 8: ("RH (%)", "999"),
    13: ("Global radiation (Wh/m2)", "9999"), 21: ("Wind speed (m/s)", "999"),
    33: ("Rain (mm)", "999"),
}  # fmt: skip


def unpack(data: bytes, name: str) -> bytes:
    """Return what is inside a gzip file or a zip archive of one file; other bytes as they are."""
    if data[:2] == b"\x1f\x8b":
        try:
            with gzip.open(io.BytesIO(data)) as inside:
                return inside.read(MOST_BYTES)
        except (OSError, EOFError, zlib.error):
            raise Refused("weather.not_text", name=name, kind="broken compressed file") from None
    if is_zip(data):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as box:
                files = [i for i in box.infolist() if not i.is_dir()]
                known = {i.filename for i in files}
                office = {"[Content_Types].xml", "mimetype"} & known
                one = None if office else _the_table(files)
                if one is not None and one.file_size <= MOST_BYTES:
                    return box.read(one)
                if not office and len(files) > 1:
                    names = ", ".join(i.filename for i in files[:4])
                    raise Refused("weather.several_files", name=name, count=len(files), files=names)
        except BROKEN_ZIP:
            pass
    return data


def _the_table(files: list[zipfile.ZipInfo]) -> zipfile.ZipInfo | None:
    """Return the one file of an archive that can be the table; None where several can."""
    real = [
        i for i in files
        if not i.filename.startswith("__MACOSX/") and i.filename.rsplit("/", 1)[-1][:1] != "."
    ]  # fmt: skip
    tables = [i for i in real if i.filename.casefold().endswith((".csv", ".tsv"))]
    left = real if len(real) == 1 else tables
    return left[0] if len(left) == 1 else None


def read_tables(data: bytes, name: str) -> dict[str, Table]:
    """Return the table a file holds, or one for each of its stations.

    Raises
    ------
    Refused
        See :func:`waterbudget.weather.text.to_lines` and :func:`waterbudget.weather.table.lay_out`.
    """
    data = unpack(data, name)
    if data.startswith(b"CDF"):
        return netcdf.read_tables(data, name)
    if data.startswith(b"\x89HDF"):
        raise Refused("weather.netcdf4", name=name)
    text = to_lines(data, name)
    full = [line for line in text.lines if line.strip()]
    if _all(_DLY, full):
        return _ghcn(_dly_values(text), text, name)
    if _all(_LONG, full[1:] if len(full) > 1 and not _LONG.match(full[0]) else full):
        return _ghcn(_long_values(text), text, name)
    if _all(_ISD, full, whole=True):
        return {"": _isd(text)}
    if full[0].startswith("LOCATION,") and any(x.startswith("DATA PERIODS") for x in full[:20]):
        return {"": _epw(text)}
    table = lay_out(text, name)
    if any("-END HEADER-" in line for line in table.preamble):
        _power(table)
    elif {"STATION", "DATE"} <= set(table.names) and any(
        n.endswith("_ATTRIBUTES") for n in table.names
    ):
        _wide_ghcn(table)
    return {"": _pivot(table)}


def choose(tables: dict[str, Table], asker: Asker) -> Table:
    """Return the table of the one station, asked for where there are several."""
    if len(tables) == 1:
        return next(iter(tables.values()))
    names = tuple(tables)
    firsts = [t.raw[t.at[0] - 1][:120] for t in tables.values() if t.at]
    answer = asker.ask("which_station", names, sample=firsts)
    return tables[answer or names[0]]


def _all(pattern: re.Pattern[str], lines: list[str], whole: bool = False) -> bool:
    match = pattern.fullmatch if whole else pattern.match
    sample = [*lines[:20], *lines[len(lines) // 2 : len(lines) // 2 + 20]]
    return bool(sample) and all(match(line) for line in sample)


# station, date text, element, value text, line
_Value = tuple[str, str, str, str, int]


def _ghcn_cell(element: str, value: str, measured: str, quality: str) -> str | None:
    value = value.strip()
    if value in ("", "-9999"):
        return None
    if quality.strip():
        return f"quality mark {quality.strip()}: {value}"
    if element == "PRCP" and measured.strip() == "T":
        return "T"
    return value


def _dly_values(text: Text) -> Iterable[_Value]:
    for n, line in enumerate(text.lines, 1):
        if not line.strip():
            continue
        station, year, month, element = line[:11], line[11:15], line[15:17], line[17:21]
        if not _DLY.match(line):
            raise Refused(
                "weather.uneven_line", line=n, cells=len(line), expected=269, text=line[:80]
            )
        for d in range(31):
            part = line[21 + 8 * d : 29 + 8 * d]
            cell = _ghcn_cell(element, part[:5], part[5:6], part[6:7])
            if cell is not None:
                yield station, f"{year}-{month}-{d + 1:02d}", element, cell, n


def _long_values(text: Text) -> Iterable[_Value]:
    for n, line in enumerate(text.lines, 1):
        if not line.strip() or (n == 1 and not _LONG.match(line)):
            continue
        cells = [squeeze(c) for c in line.split(",")]
        if len(cells) < 4 or not _LONG.match(line):
            raise Refused(
                "weather.uneven_line", line=n, cells=len(cells), expected=8, text=line[:80]
            )
        measured, quality = (*cells[4:6], "", "")[:2]
        cell = _ghcn_cell(cells[2], cells[3], measured, quality)
        date = cells[1]
        if cell is not None:
            yield cells[0], f"{date[:4]}-{date[4:6]}-{date[6:]}", cells[2], cell, n


def _ghcn(values: Iterable[_Value], text: Text, name: str) -> dict[str, Table]:
    by_station: dict[str, dict[str, dict[str, tuple[str, int]]]] = defaultdict(dict)
    for station, date, element, cell, line in values:
        by_station[station].setdefault(date, {})[element] = (cell, line)
    tables = {}
    for station, dates in by_station.items():
        elements = [e for e in GHCN_HEADERS if any(e in day for day in dates.values())]
        table = Table(["Date", *(GHCN_HEADERS[e] for e in elements)], [""] * (1 + len(elements)),
                      [], [], text.lines, "GHCN-Daily", True)  # fmt: skip
        for date in sorted(dates):
            day = dates[date]
            if "PRCP" not in day and "MDPR" in day:
                day["PRCP"] = (f"{day['MDPR'][0]} several days", day["MDPR"][1])
                if "PRCP" not in elements:
                    elements.append("PRCP")
                    table.names.append(GHCN_HEADERS["PRCP"])
                    table.units.append("")
            cells = [day.get(e, ("", 0))[0] for e in elements]
            if any(cells):
                table.rows.append([date, *cells])
                table.at.append(max(line for _, line in day.values()))
        for row in table.rows:
            row += [""] * (len(table.names) - len(row))
        others = sorted({e for day in dates.values() for e in day} - set(elements) - {"MDPR"})
        if others:
            table.notes.append(Note.of("weather.note.ignored", columns=", ".join(others)))
        if table.rows:
            tables[station] = table
    if not tables:
        raise Refused("weather.no_days", file=name)
    return tables


def _wide_ghcn(table: Table) -> None:
    """Give the wide GHCN-Daily CSV its units (tenths, where the numbers show it) and marks."""
    where = {n: i for i, n in enumerate(table.names)}
    temps = [where[n] for n in ("TMAX", "TMIN", "TAVG") if n in where]
    cells = [squeeze(r[i]) for i in temps for r in table.rows if squeeze(r[i])]
    whole = bool(cells) and all(re.fullmatch(r"-?\d+", c) for c in cells)
    tenths = whole and sum(float(c) for c in cells) / len(cells) > 125.0
    for element, header in GHCN_HEADERS.items():
        if element not in where:
            continue
        i, marks = where[element], where.get(f"{element}_ATTRIBUTES")
        if tenths:
            table.names[i] = header
        else:
            table.names[i] = re.sub(r"\s*\(.*\)", "", header)
        if marks is None:
            continue
        for row in table.rows:
            measured, quality = (*squeeze(row[marks]).split(","), "", "")[:2]
            if squeeze(row[i]):
                row[i] = _ghcn_cell(element, squeeze(row[i]), measured, quality) or ""


def _isd(text: Text) -> Table:
    rows, at = [], []
    for n, line in enumerate(text.lines, 1):
        cells = line.split()
        if not cells:
            continue
        if len(cells) != 12:
            if n == len(text.lines):
                continue
            raise Refused(
                "weather.uneven_line", line=n, cells=len(cells), expected=12, text=line[:80]
            )
        rows.append(cells)
        at.append(n)
    table = Table(list(ISD_HEADERS), [""] * 12, rows, at, text.lines, "ISD-Lite", True)
    hourly = sum(r[10] != "-9999" for r in rows)
    if hourly < 0.5 * len(rows) and any(r[11] != "-9999" for r in rows):
        _six_hours(table)
    for r in rows:
        for i in range(4, 12):
            if r[i] == "-9999":
                r[i] = ""
        if r[10] == "-1":
            r[10] = "T"
    return table


def _six_hours(table: Table) -> None:
    """Write rain of six hours at its last hour and none on the five before."""
    for k, row in enumerate(table.rows):
        if row[11] == "-9999":
            continue
        row[10] = row[11]
        for before in table.rows[max(0, k - 5) : k]:
            if before[10] == "-9999" and before[11] == "-9999":
                before[10] = "0"
    table.notes.append(Note.of("weather.note.six_hours"))


def _epw(text: Text) -> Table:
    start = next(n for n, x in enumerate(text.lines) if x.startswith("DATA PERIODS")) + 1
    names = ["year", "month", "day", "hour", *(h for h, _ in EPW_COLUMNS.values())]
    table = Table(names, [""] * len(names), [], [], text.lines, "EPW", True)
    for n, line in enumerate(text.lines[start:], start + 1):
        cells = [c.strip() for c in line.split(",")]
        if len(cells) < 22:
            if n == len(text.lines) or not line.strip():
                continue
            raise Refused(
                "weather.uneven_line", line=n, cells=len(cells), expected=35, text=line[:80]
            )
        picked = [
            "" if len(cells) <= i or _is(cells[i], gone) else cells[i]
            for i, (_, gone) in EPW_COLUMNS.items()
        ]
        table.rows.append([*cells[:4], *picked])
        table.at.append(n)
    if not table.rows:
        raise Refused("weather.header_only", name="", text=text.lines[0][:80])
    years = {r[0] for r in table.rows}
    if len(years) > 1:
        table.notes.append(Note.of("weather.note.typical_year", years=len(years)))
    return table


def _is(cell: str, gone: str) -> bool:
    try:
        return float(cell) >= float(gone)
    except ValueError:
        return False


def _power(table: Table) -> None:
    """Give the columns of a NASA POWER file plain names and the units its header tells."""
    units: dict[str, str] = {}
    hourly_utc = any("UTC" in line for line in table.preamble)
    for line in table.preamble:
        found = re.match(r"\s*([A-Z][A-Z0-9_]+)\s+.*\(([^()]*)\)\s*$", line)
        if found:
            units[found.group(1)] = found.group(2)
    for i, name in enumerate(table.names):
        if name in POWER_HEADERS:
            unit = units.get(name)
            table.names[i] = POWER_HEADERS[name]
            table.units[i] = table.units[i] or unit or ""
        elif name == "HR" and hourly_utc:
            table.names[i] = "hour UTC"
        elif name == "HR":
            table.names[i] = "hour"


def _pivot(table: Table) -> Table:
    """Turn rows of (time, quantity, value) into rows of times, where a table is like that."""
    value = [i for i, n in enumerate(table.names) if set(words(n)) & _VALUE_WORDS]
    if len(value) != 1:
        return table
    for i in range(len(table.names)):
        cells = {squeeze(c) for c in table.column(i)} if i != value[0] else set()
        if not 1 <= len(cells) <= 30 or any(kind_of(c) != "word" for c in cells):
            continue
        if sum(role_of(c).role is not None for c in cells) >= 0.5 * len(cells):
            return _wide(table, i, value[0])
    return table


_VALUE_WORDS = frozenset(
    ["value", "valor", "valeur", "reading", "measurement", "result", "lectura"]
)


def _wide(table: Table, names: int, value: int) -> Table:
    unit = next(
        (i for i, n in enumerate(table.names) if plain(n).startswith(("unit", "unid"))), None
    )
    others = [i for i in range(len(table.names)) if i not in (names, value, unit)
              and not role_of(table.names[i]).other]  # fmt: skip
    quantities = list(dict.fromkeys(squeeze(r[names]) for r in table.rows))
    units = dict.fromkeys(quantities, "")
    made: dict[tuple[str, ...], list[str]] = {}
    at: dict[tuple[str, ...], int] = {}
    twice: list[tuple[list[str], int]] = []
    for row, line in zip(table.rows, table.at, strict=True):
        key = tuple(row[i] for i in others)
        q = quantities.index(squeeze(row[names]))
        if unit is not None:
            units[quantities[q]] = units[quantities[q]] or squeeze(row[unit])
        cells = made.setdefault(key, [""] * len(quantities))
        at.setdefault(key, line)
        if cells[q] and squeeze(cells[q]) != squeeze(row[value]):
            again = [""] * len(quantities)
            again[q] = row[value]
            twice.append(([*key, *again], line))
        cells[q] = row[value]
    return Table(
        [*(table.names[i] for i in others), *quantities],
        [*(table.units[i] for i in others), *(units[q] for q in quantities)],
        [[*key, *cells] for key, cells in made.items()] + [row for row, _ in twice],
        [*at.values(), *(line for _, line in twice)],
        table.raw, table.separator, table.has_header, table.preamble, set(), table.notes,
    )  # fmt: skip
