"""The parts of the OGC GeoPackage standard a farm file uses, written with sqlite3 alone.

OGC GeoPackage Encoding Standard, version 1.3 (document 12-128r17): application id and version,
spatial reference systems, contents (clause 1.1), geometry columns and the binary form of a
geometry (clause 2.1).  No spatial index: a farm has few blocks, and one that another program
added is kept right by the functions registered in :func:`add_functions`.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
import struct

import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

APPLICATION_ID = 0x47504B47
"""``GPKG`` in ASCII."""
USER_VERSION = 10300
"""Version 1.3 of the standard."""

_TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
"""

_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_HEAD = struct.Struct("<2sBBi4d")


def add_tables(db: sqlite3.Connection, epsg: int) -> None:
    """Make the standard's tables, with WGS84, the two undefined systems and the farm's own.

    Parameters
    ----------
    db : sqlite3.Connection
        Inside a transaction.
    epsg : int
        The farm's projected system.
    """
    for statement in _TABLES.split(";"):
        if statement.strip():
            db.execute(statement)
    undefined = "INSERT INTO gpkg_spatial_ref_sys VALUES (?,?,'NONE',?,'undefined',?)"
    db.execute(undefined, ("Undefined Cartesian SRS", -1, -1, "undefined Cartesian coordinates"))
    db.execute(undefined, ("Undefined geographic SRS", 0, 0, "undefined geographic coordinates"))
    add_system(db, 4326)
    add_system(db, epsg)


def add_system(db: sqlite3.Connection, epsg: int) -> None:
    """Describe a coordinate system in the file, once (WKT 1, as the standard asks)."""
    known = db.execute("SELECT 1 FROM gpkg_spatial_ref_sys WHERE srs_id = ?", (epsg,)).fetchone()
    if known:
        return
    from pyproj import CRS  # not needed to open a farm, so not imported with the package

    crs = CRS.from_epsg(epsg)
    row = (crs.name, epsg, "EPSG", epsg, crs.to_wkt("WKT1_GDAL"), None)
    db.execute("INSERT INTO gpkg_spatial_ref_sys VALUES (?,?,?,?,?,?)", row)


def register_features(db: sqlite3.Connection, table: str, column: str, epsg: int) -> None:
    """Register a table of multipolygons."""
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
        "VALUES (?, 'features', ?, ?)",
        (table, table, epsg),
    )
    db.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, ?, 'MULTIPOLYGON', ?, 0, 0)",
        (table, column, epsg),
    )


def register_attributes(db: sqlite3.Connection, table: str) -> None:
    """Register a table without geometry."""
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?,'attributes',?)",
        (table, table),
    )


def set_system(db: sqlite3.Connection, table: str, epsg: int) -> None:
    """Say that the table's outlines are in another system now."""
    add_system(db, epsg)
    for registry in ("gpkg_contents", "gpkg_geometry_columns"):
        db.execute(f"UPDATE {registry} SET srs_id = ? WHERE table_name = ?", (epsg, table))


def set_changed(db: sqlite3.Connection, table: str, now: dt.datetime) -> None:
    """Stamp the time of the last change of a registered table."""
    if now.tzinfo is not None:
        now = now.astimezone(dt.UTC)
    stamp = f"{now:%Y-%m-%dT%H:%M:%S}.{now.microsecond // 1000:03d}Z"
    db.execute("UPDATE gpkg_contents SET last_change = ? WHERE table_name = ?", (stamp, table))


def set_bounds(db: sqlite3.Connection, table: str, column: str) -> None:
    """Bring the bounds of a table's outlines up to date (NULL where there is none)."""
    blobs = db.execute(f"SELECT {column} FROM {table} WHERE {column} IS NOT NULL")
    boxes = [box for (blob,) in blobs if (box := bounds(blob)) is not None]
    whole: tuple[float | None, ...] = (None, None, None, None)
    if boxes:
        low_x, high_x, low_y, high_y = zip(*boxes, strict=True)
        whole = (min(low_x), min(low_y), max(high_x), max(high_y))
    db.execute(
        "UPDATE gpkg_contents SET min_x=?, min_y=?, max_x=?, max_y=? WHERE table_name = ?",
        (*whole, table),
    )


def to_blob(shape: BaseGeometry, epsg: int) -> bytes:
    """Write a polygon as the standard's binary multipolygon, with its envelope.

    Parameters
    ----------
    shape : shapely Polygon or MultiPolygon
        Not empty; heights are dropped.
    """
    flat = shapely.force_2d(shape)
    if flat.geom_type == "Polygon":
        flat = MultiPolygon([flat])
    low_x, low_y, high_x, high_y = flat.bounds
    head = _HEAD.pack(b"GP", 0, 0b0000_0011, epsg, low_x, high_x, low_y, high_y)
    return head + bytes(shapely.to_wkb(flat, byte_order=1))


def wkb_of(blob: bytes) -> bytes:
    """Return the well-known binary inside a GeoPackage geometry.

    Raises
    ------
    ValueError
        Not the standard's binary form.
    """
    if len(blob) < 8 or blob[:2] != b"GP" or blob[3] & 0b0010_0000:
        raise ValueError("not a GeoPackage geometry")
    size = _ENVELOPE_BYTES.get(blob[3] >> 1 & 0b111)
    if size is None:
        raise ValueError("unknown envelope")
    return blob[8 + size :]


def to_shape(wkb: bytes) -> BaseGeometry:
    """Read an outline; a multipolygon of one part comes back as the plain polygon.

    Raises
    ------
    ValueError
        Not a polygon, or not readable.
    """
    try:
        shape = shapely.from_wkb(wkb)
    except shapely.errors.ShapelyError as error:
        raise ValueError(str(error)) from error
    if shape is None or shape.geom_type not in ("Polygon", "MultiPolygon"):
        raise ValueError("not a polygon")
    if shape.has_z:
        shape = shapely.force_2d(shape)
    if shape.geom_type == "MultiPolygon" and len(shape.geoms) == 1:
        return shape.geoms[0]
    return shape


def bounds(blob: bytes) -> tuple[float, float, float, float] | None:
    """Return low x, high x, low y, high y of a GeoPackage geometry; None where it is empty."""
    try:
        if blob[3] >> 1 & 0b111:
            found = struct.unpack_from("<4d" if blob[3] & 1 else ">4d", blob, 8)
        else:
            low_x, low_y, high_x, high_y = to_shape(wkb_of(blob)).bounds
            found = (low_x, high_x, low_y, high_y)
    except (ValueError, IndexError, struct.error):
        return None
    return found if all(value == value for value in found) else None  # NaN: an empty shape


def add_functions(db: sqlite3.Connection) -> None:
    """Register the functions that another program's spatial index calls when a block changes."""

    def side(number: int) -> object:
        def of(blob: bytes | None) -> float | None:
            box = bounds(blob) if blob else None
            return box[number] if box else None

        return of

    for number, name in enumerate(("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY")):
        db.create_function(name, 1, side(number), deterministic=True)  # type: ignore[arg-type]
    db.create_function(
        "ST_IsEmpty",
        1,
        lambda blob: None if blob is None else int(bounds(blob) is None),
        deterministic=True,
    )
