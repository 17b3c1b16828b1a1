"""GeoPackage, shapefile and drawing (DXF) through pyogrio.

GDAL opens anything it is shown, including files that send it elsewhere, so it is shown only a
copy, under a name of ours, alone in a new folder, whose kind was recognised beforehand.  The
drivers that could follow a path or an address are switched off as well, and so are its network
handlers.
"""

from __future__ import annotations

import os
import re
import sqlite3
import sys
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely
from shapely.geometry import Polygon

from waterbudget.errors import Note, Question, Refused
from waterbudget.orchard import fold
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.model import Raw, RawFile
from waterbudget.outlines.source import Source, connect_to_read
from waterbudget.outlines.systems import crs_from_code, crs_from_wkt
from waterbudget.outlines.wkb import NotReadable, from_wkb

DRIVERS_OFF = (
    "OGR_VRT VRT HTTP WFS OAPIF CSW OGCAPI Elasticsearch Carto AmigoCloud PLSCENES NGW EEDA GDALG "
    "GPSBabel WMS WCS WMTS STACIT STACTA MVT PMTiles ADBC AVCBin AVCE00 SQLite MapML DAAS EEDAI"
)
CONFIG = {
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": "{none}",
    "CPL_VSIL_CURL_NON_CACHED": "/",
    "OGR_SQLITE_LOAD_EXTENSIONS": None,
    "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
    "SPATIALITE_SECURITY": "strict",
    "SHAPE_RESTORE_SHX": "YES",
    "DXF_INLINE_BLOCKS": "FALSE",
    "DXF_CLOSED_LINE_AS_POLYGON": "FALSE",
    "OGR_ORGANIZE_POLYGONS": "DEFAULT",
    "GDAL_DISABLE_READDIR_ON_OPEN": "FALSE",
}
UNITS = {"m": 1.0, "cm": 0.01, "mm": 0.001, "km": 1000.0, "ft": 0.3048}
INSUNITS = {"1": "in", "2": "ft", "4": "mm", "5": "cm", "6": "m", "7": "km", "21": "ft"}
"""Group code 70 of ``$INSUNITS`` in a DXF header (DXF reference, HEADER section)."""


def _pyogrio() -> Any:
    """Return pyogrio, imported with the drivers that follow paths switched off."""
    if "pyogrio" not in sys.modules:
        before = os.environ.get("GDAL_SKIP")
        os.environ["GDAL_SKIP"] = DRIVERS_OFF
        try:
            import pyogrio
        finally:
            if before is None:
                del os.environ["GDAL_SKIP"]
            else:
                os.environ["GDAL_SKIP"] = before
    import pyogrio.raw

    pyogrio.set_gdal_config_options(CONFIG)
    return pyogrio


@contextmanager
def _alone() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="outlines-") as folder:
        yield Path(folder)


def _read_layer(
    path: Path, layer: str | None, encoding: str | None = None
) -> tuple[list[Raw], dict[str, Any]]:
    """Return the features of a layer and what GDAL says about it."""
    reader = _pyogrio().raw
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what it warns of is named at the gate
            meta, _, geometries, columns = reader.read(
                str(path), layer=layer, encoding=encoding, datetime_as_string=True
            )
    except Exception as problem:  # pyogrio raises many kinds, all meaning "cannot be read"
        if not type(problem).__module__.startswith("pyogrio") and not isinstance(
            problem, (ValueError, UnicodeError, RuntimeError)
        ):
            raise
        raise Refused("outlines.broken_file", why=_one_line(problem)) from None
    names = [str(n) for n in meta["fields"]]
    raws = []
    for place in range(len(geometries) if geometries is not None else 0):
        attributes = {n: _text(c[place]) for n, c in zip(names, columns, strict=True)}
        raws.append(_raw(geometries[place], place + 1, attributes))
    return raws, meta


def _raw(data: bytes | None, place: int, attributes: dict[str, str]) -> Raw:
    raw = Raw([], place=place, attributes=attributes)
    if data is None:
        return raw
    try:
        found = from_wkb(data)
    except NotReadable:
        raw.bad = Note.of("outlines.geometry_broken")
        return raw
    raw.polygons, raw.points = found.polygons, found.points
    if not found.polygons and found.lines:
        raw.polygons, raw.kind = found.lines, "line"
    return raw


def _text(value: Any) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, float) or getattr(getattr(value, "dtype", None), "kind", "") == "f":
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    return str(value)


def _one_line(problem: Exception) -> str:
    text = " ".join(str(problem).split())
    text = re.split(r"(?<=\w)\.? ?; |\. ", text)[0].rstrip(".")  # its first sentence is enough
    return re.sub(r"(/[^\s'\"]+)+/", "", text)[:120]


# --- GeoPackage -------------------------------------------------------------------------------


def read_geopackage(source: Source, desk: Desk, layer: str | None) -> RawFile:
    """Read one layer of a GeoPackage, from a copy made by the database's own backup.

    Raises
    ------
    Refused
        ``outlines.broken_file``, ``outlines.no_such_layer``, ``outlines.no_layers``.
    AnswersNeeded
        ``layer`` where several could hold the outlines.
    """
    assert source.path is not None
    with _alone() as folder:
        copy = folder / "layers.gpkg"
        try:
            with closing(connect_to_read(source.path)) as db, closing(sqlite3.connect(copy)) as to:
                db.backup(to)
        except sqlite3.DatabaseError as problem:
            raise Refused("outlines.broken_file", why=_one_line(problem)) from None
        try:
            layers = [(str(n), str(t)) for n, t in _pyogrio().list_layers(str(copy))]
        except Exception as problem:
            if not type(problem).__module__.startswith("pyogrio"):
                raise
            raise Refused("outlines.broken_file", why=_one_line(problem)) from None
        chosen = _choose_layer(layers, desk, layer)
        raws, meta = _read_layer(copy, chosen)
    crs = _meta_crs(meta)
    return RawFile("geopackage", raws, crs, "declared" if crs is not None else "none")


def _choose_layer(layers: list[tuple[str, str]], desk: Desk, layer: str | None) -> str:
    if layer is not None:
        return named_layer([n for n, _ in layers], layer)
    areas = [n for n, t in layers if "Polygon" in t or "Surface" in t]
    loose = [n for n, t in layers if t in ("Unknown", "None") or "Collection" in t]
    lines = [n for n, t in layers if "LineString" in t or "Curve" in t]
    able = areas or [n for n in loose if n not in areas] or lines
    if not able:
        raise Refused("outlines.no_layers")
    if len(able) == 1:
        return able[0]
    chosen = desk.ask(
        Question("layer", "outlines.ask_layer", {"layers": ", ".join(able)}, tuple(able))
    )
    if chosen is None:
        desk.settle()
    assert chosen is not None
    return chosen


def named_layer(known: list[str], wanted: str) -> str:
    """Return the layer a person named.

    Raises
    ------
    Refused
        ``outlines.no_such_layer`` naming those there are.
    """
    for same in (lambda n: n == wanted, lambda n: fold(n) == fold(wanted)):
        for name in known:
            if same(name):
                return name
    raise Refused("outlines.no_such_layer", layer=wanted, known=", ".join(known))


def _meta_crs(meta: dict[str, Any]) -> pyproj.CRS | None:
    text = meta.get("crs")
    if not text:
        return None
    return crs_from_code(text) or crs_from_wkt(text)


# --- shapefile --------------------------------------------------------------------------------


def read_shapefile(source: Source, desk: Desk, layer: str | None) -> RawFile:
    """Read one shapefile; index, table and system may be missing.

    Raises
    ------
    Refused
        ``outlines.broken_file``, ``outlines.no_such_layer``.
    AnswersNeeded
        ``layer`` where a folder or an archive holds several.
    """
    names = sorted(source.shapes)
    if layer is not None:
        names = [named_layer(names, layer)]
    if len(names) > 1:
        question = Question(
            "layer", "outlines.ask_layer", {"layers": ", ".join(names)}, tuple(names)
        )
        chosen = desk.ask(question)
        if chosen is None:
            desk.settle()
        names = [str(chosen)]
    files = source.shapes[names[0]]
    encoding, notes = _table_encoding(files, desk.peek("encoding"))
    with _alone() as folder:
        for suffix, data in files.items():
            if suffix != ".prj":
                (folder / f"layer{suffix}").write_bytes(data)
        raws, _ = _read_layer(folder / "layer.shp", None, encoding)
    for raw in raws:
        if ".dbf" not in files:
            raw.attributes.pop("FID", None)
    crs = crs_from_wkt(_definition(files[".prj"])) if ".prj" in files else None
    if crs is None:
        code = "outlines.system_missing" if ".prj" not in files else "outlines.prj_not_understood"
        notes.append(Note.of(code))
    return RawFile("shapefile", raws, crs, "declared" if crs is not None else "none", notes=notes)


def _definition(prj: bytes) -> str:
    return prj.decode("utf-8-sig", errors="replace").strip().strip("\x00")


def _table_encoding(files: dict[str, bytes], given: str | None) -> tuple[str | None, list[Note]]:
    """Return the encoding of the names, and a note where it had to be supposed."""
    table = files.get(".dbf", b"")
    if given is not None:
        try:
            b"".decode(given)
        except LookupError:
            raise Refused("outlines.bad_encoding", value=given) from None
        return given, []
    if files.get(".cpg", b"").strip():
        return None, []
    if len(table) < 33 or table[32:].isascii():
        return None, []
    body = table[int.from_bytes(table[8:10], "little") :]
    try:
        body.decode("utf-8")
        return "UTF-8", []
    except UnicodeDecodeError:
        if table[29] not in (0, 0x57):
            return None, []
        return "CP1252", [Note.of("outlines.letters_supposed")]


# --- drawing ----------------------------------------------------------------------------------


def read_drawing(source: Source, desk: Desk, layer: str | None) -> RawFile:
    """Read the closed lines of one layer of a DXF drawing; texts inside an outline name it.

    Raises
    ------
    Refused
        ``outlines.broken_file``, ``outlines.no_closed_lines``, ``outlines.no_such_layer``.
    AnswersNeeded
        ``layer`` where closed lines lie on several, ``units`` where the drawing does not say
        that it is in metres.
    """
    with _alone() as folder:
        copy = folder / "drawing.dxf"
        copy.write_bytes(source.data)
        raws, _ = _read_layer(copy, "entities")
    closed = [r for r in raws if _is_closed(r)]
    left = sum(1 for r in raws if r.polygons) - len(closed)
    if not closed:
        raise Refused("outlines.no_closed_lines")
    layers = sorted({r.attributes.get("Layer", "") for r in closed})
    if layer is not None:
        chosen: str | None = named_layer(layers, layer)
    elif len(layers) == 1:
        chosen = layers[0]
    else:
        chosen = desk.ask(
            Question("layer", "outlines.ask_layer", {"layers": ", ".join(layers)}, tuple(layers))
        )
    scale = _drawing_units(source.data, desk)
    if chosen is not None:
        closed = [r for r in closed if r.attributes.get("Layer", "") == chosen]
    # a hatch lies on the line round it: only where there is no line is it an outline
    closed = [r for r in closed if r.kind == "line"] or closed
    texts = [(r.attributes["Text"], r.points[0]) for r in raws
             if r.points and r.attributes.get("Text")]  # fmt: skip
    for place, raw in enumerate(closed, start=1):
        raw.place, raw.name = place, _text_inside(raw, texts)
        raw.attributes = {k: v for k, v in raw.attributes.items() if k == "Layer" and v}
    notes = [Note.of("outlines.open_lines_left", count=left)] if left else []
    return RawFile("drawing", closed, metres_per_unit=scale, notes=notes)


def _text_inside(raw: Raw, texts: list[tuple[str, tuple[float, float]]]) -> str | None:
    """Return the text written inside an outline, where there is just one."""
    ring = raw.polygons[0][0]
    if len(ring) < 4 or not np.isfinite(ring).all() or not texts:
        return None
    inside = shapely.contains_xy(Polygon(ring), [p for _, p in texts])
    found = [text for (text, _), hit in zip(texts, inside, strict=True) if hit]
    return found[0] if len(found) == 1 else None


def _is_closed(raw: Raw) -> bool:
    if raw.kind == "polygon":
        return bool(raw.polygons)
    return len(raw.polygons) == 1 and len(line := raw.polygons[0][0]) > 3 and bool(
        (line[0] == line[-1]).all()
    )  # fmt: skip


def _drawing_units(data: bytes, desk: Desk) -> float:
    match = re.search(rb"\$INSUNITS\s+70\s+(\d+)", data[:200_000])
    said = INSUNITS.get(match[1].decode(), "") if match else ""
    if said == "m" and "units" not in desk.given:
        return 1.0
    code = "outlines.ask_units_said" if said else "outlines.ask_units"
    answer = desk.ask(Question("units", code, {"said": said}, tuple(UNITS)))
    return UNITS.get(answer or "m", 1.0)
