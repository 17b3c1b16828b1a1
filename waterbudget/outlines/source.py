"""Get at the bytes of a file without opening anything else.

The kind is told by content, the suffix only decides between text formats that look alike.
Sizes are limited before anything is unpacked, archives are read member by member in memory, and
no path from inside a file is ever opened.  A database is recognised through ``sqlite3`` *first*:
a plain ``open`` and ``close`` of the farm file would drop the locks our own process holds on it.
"""

from __future__ import annotations

import io
import json
import re
import sqlite3
import zipfile
import zlib
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from waterbudget.errors import Refused

LARGEST_MB = 64
MOST_MEMBERS = 1000
MB = 1024 * 1024
SHAPE_SUFFIXES = (".shp", ".shx", ".dbf", ".prj", ".cpg")


@dataclass
class Source:
    """A file by what is in it.

    Attributes
    ----------
    kind : str
        geojson, geopackage, shapefile, kml, gpx, dxf, csv or wkt.
    data : bytes
        The content; empty for a GeoPackage.
    path : Path or None
        The GeoPackage.
    shapes : mapping of layer name to mapping of suffix to bytes
        The files of each shapefile.
    """

    kind: str
    data: bytes = b""
    path: Path | None = None
    shapes: dict[str, dict[str, bytes]] = field(default_factory=dict)


def open_source(path: Path) -> Source:
    """Recognise a file or a folder of shapefiles.

    Raises
    ------
    Refused
        ``outlines.no_file``, ``.unreadable``, ``.empty_file``, ``.too_big``, ``.is_farm``,
        ``.unknown_kind``, ``.bad_zip``, ``.zip_too_big``.
    """
    if re.match(r"(?i)(/vsi|[a-z][a-z0-9+.-]+:/)", str(path)):
        raise Refused("outlines.not_a_file", file=str(path))
    try:
        if path.is_dir():
            return _folder(path)
        if not path.is_file():
            raise Refused("outlines.no_file", file=path.name)
        size = path.stat().st_size
        if size == 0:
            raise Refused("outlines.empty_file", file=path.name)
        if size > LARGEST_MB * MB:
            raise Refused("outlines.too_big", file=path.name, mb=size // MB, limit=LARGEST_MB)
        if _is_database(path):
            return Source("geopackage", path=path)
        data = path.read_bytes()
    except OSError as problem:
        raise Refused("outlines.unreadable", file=path.name, why=problem.strerror) from None
    return _recognise(data, path)


def _recognise(data: bytes, path: Path) -> Source:
    if data[:4] == b"PK\x03\x04":
        return _archive(data, path.name)
    if data[:4] == b"\x00\x00\x27\x0a" or path.suffix.lower() in SHAPE_SUFFIXES[1:]:
        return _shapefile_beside(path)
    return Source(kind_of_text(data, path.name), data)


def kind_of_text(data: bytes, name: str) -> str:
    """Return the kind of a text file by how it begins, then by its suffix."""
    head = data[:4096]
    if head[:22] == b"AutoCAD Binary DXF\r\n\x1a\x00":
        return "dxf"
    start = head.removeprefix(b"\xef\xbb\xbf")
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
        start = start.decode("utf-16", errors="replace").encode()
    start = start.lstrip()
    if start[:1] == b"<":
        root = re.search(rb"<\s*(?:[\w.-]+:)?(gpx|kml|document|placemark|folder)\b", start, re.I)
        if root is None:
            raise Refused("outlines.unknown_kind", file=name)
        return "gpx" if root[1].lower() == b"gpx" else "kml"
    if start[:1] in (b"{", b"\x1e"):
        return "geojson"
    if re.match(rb"(?:999\s+.*\s+)*0\s+SECTION\b", start):
        return "dxf"
    shape_words = rb"(?i)(SRID\s*=\s*\d+\s*;)?\s*(MULTI)?(POLYGON|LINESTRING|SURFACE|CURVE|POINT)"
    if re.match(shape_words + rb"|(?i:GEOMETRYCOLLECTION)", start):
        return "wkt"
    if b"\x00" in start or Path(name).suffix.lower() not in (".csv", ".txt", ".tsv", ".asc", ""):
        raise Refused("outlines.unknown_kind", file=name)
    return "csv"


def _is_database(path: Path) -> bool:
    """Tell whether SQLite can read it; refuse a farm file of this program."""
    try:
        with closing(connect_to_read(path)) as db:
            tables = {row[0].lower() for row in db.execute("SELECT name FROM sqlite_master")}
            farm = "farm" in tables and _has_format(db)
    except sqlite3.DatabaseError as problem:
        foreign = "not a database" in str(problem)
        if "locked" in str(problem) or (path.suffix.lower() == ".gpkg" and not foreign):
            raise Refused("outlines.unreadable", file=path.name, why=str(problem)) from None
        return False
    if farm:
        raise Refused("outlines.is_farm", file=path.name)
    if "gpkg_contents" not in tables:
        raise Refused("outlines.unknown_kind", file=path.name)
    return True


def _has_format(db: sqlite3.Connection) -> bool:
    """Tell a farm file of this program from somebody's layer called farm."""
    try:
        return db.execute("SELECT 1 FROM farm WHERE key = 'format'").fetchone() is not None
    except sqlite3.OperationalError:
        return False


def connect_to_read(path: Path) -> sqlite3.Connection:
    """Open a database without ever writing to it.

    Raises
    ------
    Refused
        ``outlines.busy`` where another program is writing to it.
    sqlite3.DatabaseError
        Where it is no database.
    """
    address = path.resolve().as_uri()
    db = sqlite3.connect(f"{address}?mode=ro", uri=True, timeout=1)
    try:
        db.execute("SELECT count(*) FROM sqlite_master")
    except sqlite3.OperationalError as problem:
        db.close()
        if "locked" in str(problem):
            raise Refused("outlines.busy", file=path.name) from None
        # its folder cannot be written, so there is no place for a lock: read what is there
        db = sqlite3.connect(f"{address}?mode=ro&immutable=1", uri=True)
    except sqlite3.DatabaseError:
        db.close()
        raise
    return db


def _folder(path: Path) -> Source:
    shapes = {}
    for file in sorted(path.iterdir()):
        if file.suffix.lower() == ".shp" and file.is_file():
            shapes[file.stem] = _siblings(file)
    if not shapes:
        raise Refused("outlines.no_shapes_in_folder", file=path.name)
    return Source("shapefile", shapes=shapes)


def _shapefile_beside(path: Path) -> Source:
    shp = path if path.suffix.lower() == ".shp" else path.with_suffix(".shp")
    if not shp.is_file():
        upper = path.with_suffix(".SHP")
        if not upper.is_file():
            raise Refused("outlines.no_shp", file=path.name)
        shp = upper
    return Source("shapefile", shapes={shp.stem: _siblings(shp)})


def _siblings(shp: Path) -> dict[str, bytes]:
    found, total = {}, 0
    for file in shp.parent.iterdir():
        suffix = file.suffix.lower()
        if file.stem != shp.stem or suffix not in SHAPE_SUFFIXES or not file.is_file():
            continue
        total += file.stat().st_size
        if total > LARGEST_MB * MB:
            raise Refused("outlines.too_big", file=shp.name, mb=total // MB, limit=LARGEST_MB)
        found[suffix] = file.read_bytes()
    return found


def _archive(data: bytes, name: str) -> Source:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = _members(archive, name)
            return _from_members(archive, members, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError):
        raise Refused("outlines.bad_zip", file=name) from None
    except RuntimeError:  # zipfile's word for a password
        raise Refused("outlines.zip_locked", file=name) from None


def _members(archive: zipfile.ZipFile, name: str) -> list[zipfile.ZipInfo]:
    members = [
        m
        for m in archive.infolist()
        if not m.is_dir() and not PurePosixPath(m.filename).name.startswith(("._", "."))
    ]
    if len(members) > MOST_MEMBERS:
        raise Refused("outlines.zip_too_many", file=name, count=len(members), limit=MOST_MEMBERS)
    return members


def _from_members(archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], name: str) -> Source:
    budget = _Budget(archive, name)
    by_suffix: dict[str, list[zipfile.ZipInfo]] = {}
    for member in members:
        by_suffix.setdefault(PurePosixPath(member.filename).suffix.lower(), []).append(member)
    if ".shp" in by_suffix:
        shapes = {}
        for shp in by_suffix[".shp"]:
            stem = str(PurePosixPath(shp.filename).with_suffix(""))
            shapes[PurePosixPath(stem).name] = {
                suffix: budget.read(m)
                for suffix in SHAPE_SUFFIXES
                for m in by_suffix.get(suffix, ())
                if str(PurePosixPath(m.filename).with_suffix("")) == stem
            }
        return Source("shapefile", shapes=shapes)
    if ".kml" in by_suffix:
        first = sorted(by_suffix[".kml"], key=lambda m: (m.filename.lower() != "doc.kml",
                                                         m.filename.count("/")))[0]  # fmt: skip
        data = budget.read(first)
        return Source(kind_of_text(data, first.filename), data)
    texts = [m for s in (".geojson", ".json", ".gpx", ".dxf", ".wkt", ".csv", ".txt")
             for m in by_suffix.get(s, ())]  # fmt: skip
    if len(texts) != 1:
        raise Refused("outlines.zip_which", file=name, count=len(texts))
    data = budget.read(texts[0])
    return Source(kind_of_text(data, texts[0].filename), data)


class _Budget:
    """Unpacks members as long as their real (not only their stated) size stays in bounds."""

    def __init__(self, archive: zipfile.ZipFile, name: str) -> None:
        self.archive, self.name, self.left = archive, name, LARGEST_MB * MB

    def read(self, member: zipfile.ZipInfo) -> bytes:
        with self.archive.open(member) as stream:
            data = stream.read(self.left + 1)
        self.left -= len(data)
        if self.left < 0:
            raise Refused("outlines.zip_too_big", file=self.name, limit=LARGEST_MB)
        return data


def decode(data: bytes, encoding: str | None) -> tuple[str, str]:
    """Return text and the encoding it was read in.

    UTF-8 and UTF-16 are recognised; anything else is taken as Western European unless
    ``encoding`` says otherwise.

    Raises
    ------
    Refused
        ``outlines.bad_encoding`` where the named encoding does not fit or does not exist.
    """
    if encoding is not None:
        try:
            return data.decode(encoding), encoding
        except (LookupError, UnicodeError, ValueError):
            raise Refused("outlines.bad_encoding", value=encoding) from None
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace"), "utf-16"
    try:
        return data.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "cp1252"


def load_json(data: bytes) -> object:
    """Return parsed JSON; NaN and Infinity stay what they are, to be named later.

    Raises
    ------
    Refused
        ``outlines.bad_json`` with the line, ``outlines.too_deep``.
    """
    text, _ = decode(data, None)
    try:
        return json.loads(text)
    except json.JSONDecodeError as problem:
        raise Refused("outlines.bad_json", line=problem.lineno, column=problem.colno) from None
    except RecursionError:
        raise Refused("outlines.too_deep") from None
