"""Files people bring: read them safely, tell what kind they are."""

from __future__ import annotations

from pathlib import Path

from waterbudget.errors import Refused
from waterbudget.store import is_farm

MAX_BYTES = 256 * 1024 * 1024
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


def recognise(path: Path) -> str:
    """Return what a file is: ``outlines``, ``weather``, ``ran``, ``readings``, ``blocks`` ...

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
    data = read_file(path)[:65536]
    if suffix == ".json" or data.lstrip()[:1] == b"{":
        return "outlines"
    try:
        text = decode(data, path.name)
    except Refused:
        return "weather"
    head = [c.strip().strip('"').lower() for c in _cells(text.split("\n", 1)[0])]
    if "block" in head and "date" in head and {"hours", "m3"} & set(head):
        return "ran"
    if "block" in head and "date" in head and {"kpa", "percent", "missing_mm"} & set(head):
        return "readings"
    from waterbudget.orchard import BLOCK_KEYS

    if {"name", "block"} & set(head) and len(set(head) & set(BLOCK_KEYS)) >= 1:
        return "blocks"
    corners = {"lat", "latitude", "lon", "lng", "longitude", "x", "y", "wkt"}
    if len(corners & set(head)) >= 2 or "wkt" in head:
        return "outlines"
    return "weather"


def _cells(line: str) -> list[str]:
    return line.split(max(",;\t", key=line.count))
