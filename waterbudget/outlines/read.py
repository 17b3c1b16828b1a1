"""The one way in: a file becomes outlines, questions, or a refusal; nothing is stored here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Note, Question, Refused
from waterbudget.orchard import fold
from waterbudget.outlines.build import Builder, LeftOut
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.gate import SMALLEST_M2, Area, thin_strip
from waterbudget.outlines.geodesy import area_ha, polygons_of
from waterbudget.outlines.model import Outline, OutlineFile, Raw, RawFile, Skipped
from waterbudget.outlines.names import give_names, next_free
from waterbudget.outlines.place import Placer, Position

MOST_CORNERS = 2_000_000
OVERLAP_SHARE = 0.01
SAME_SHARE = 0.95


def read_outlines(
    data_or_path: Path,
    *,
    epsg: int,
    near: Position | None = None,
    layer: str | None = None,
    name_column: str | None = None,
    crs: str | None = None,
    answers: Mapping[str, str] | None = None,
    existing: Mapping[str, BaseGeometry | None] | None = None,
) -> OutlineFile:
    """Read block outlines from a file of any of the known kinds.

    Parameters
    ----------
    data_or_path : Path
        A file, or a folder of shapefiles.
    epsg : int
        Projected system of the farm; the shapes come in it [m].
    near : (lat, lon) or None
        Where the farm lies; outlines more than 50 km off are asked about or left out.
    layer, name_column, crs : str or None
        As if answered beforehand (keys ``layer``, ``name_column``, ``crs``).
    answers : mapping or None
        Answers to earlier questions.
    existing : mapping of block name to shape or None
        Blocks already in the farm.

    Returns
    -------
    OutlineFile

    Raises
    ------
    Refused
        One reason, with what to do; also where no single outline can be used.
    AnswersNeeded
        Every question that can be told at this point.
    """
    desk = Desk(answers)
    layer = layer if layer is not None else desk.peek("layer")
    name_column = name_column if name_column is not None else desk.peek("name_column")
    file = _raw_file(Path(data_or_path), desk, layer, name_column)
    _check(file)
    name_notes = give_names(file.raws, name_column, desk)
    found, skipped = _shapes(file, desk, epsg, near, crs)
    known = existing or {}
    left_out = {s.name for s in skipped}
    coming = [raw.name or "" for raw in file.raws if raw.name not in left_out]
    met = _meet_existing(found, coming, known, desk)
    desk.settle()
    if not met.kept and not met.skipped:
        raise _nothing_usable(skipped)
    others = {n: s for n, s in known.items() if n not in met.replaced}
    return OutlineFile(
        outlines=tuple(met.kept),
        skipped=(*skipped, *met.skipped),
        notes=(*file.notes, *name_notes, *met.notes),
        warnings=(*file.warnings, *_warnings(met.kept, others)),
        answers=dict(desk.used),
    )


def _check(file: RawFile) -> None:
    """Leave single points alone, and refuse what holds nothing or far too much.

    Raises
    ------
    Refused
        ``outlines.nothing_in_file``, ``outlines.too_many_corners``.
    """
    points = [r for r in file.raws if r.points and not r.polygons]
    if points:
        file.raws = [r for r in file.raws if not (r.points and not r.polygons)]
        file.notes.append(Note.of("outlines.points_left", count=len(points)))
    if not file.raws:
        raise Refused("outlines.nothing_in_file")
    count = sum(len(ring) for raw in file.raws for rings in raw.polygons for ring in rings)
    if count > MOST_CORNERS:
        raise Refused("outlines.too_many_corners", count=count, limit=MOST_CORNERS)


def _shapes(
    file: RawFile, desk: Desk, epsg: int, near: Position | None, crs: str | None
) -> tuple[list[Outline], list[Skipped]]:
    """Return the outlines of a file; none while it is being asked where they lie."""
    mover = Placer(file, desk, epsg, near).mover(crs)
    if mover is None:
        return [], []
    if warning := mover.grid_warning():
        file.warnings.append(warning)
    return _build(Builder(mover, epsg, near, desk), file.raws, epsg)


def _raw_file(path: Path, desk: Desk, layer: str | None, name_column: str | None) -> RawFile:
    """Read a file by its kind; the readers are imported here, so the window starts without."""
    from waterbudget.outlines import corners, gdal, geojson, gpx, kml
    from waterbudget.outlines.source import open_source

    source = open_source(path)
    if source.kind == "geopackage":
        return gdal.read_geopackage(source, desk, layer)
    if source.kind == "shapefile":
        return gdal.read_shapefile(source, desk, layer)
    if source.kind == "dxf":
        return gdal.read_drawing(source, desk, layer)
    if source.kind == "kml":
        return kml.read(source, layer)
    if layer is not None:
        raise Refused("outlines.no_such_layer", layer=layer, known="-")
    if source.kind == "geojson":
        return geojson.read(source)
    if source.kind == "gpx":
        return gpx.read(source)
    if source.kind == "wkt":
        return corners.read_wkt(source)
    return corners.read_csv(source, desk, name_column)


def _build(builder: Builder, raws: Sequence[Raw], epsg: int) -> tuple[list[Outline], list[Skipped]]:
    found, skipped = [], []
    for raw in raws:
        name = raw.name or ""
        try:
            built = builder.shape(raw)
        except LeftOut as left:
            skipped.append(Skipped(name, left.why))
            continue
        if built is None:
            continue
        shape, notes = built
        polygons = polygons_of(shape)
        found.append(Outline(name, shape, area_ha(shape, epsg), len(polygons),
                             sum(len(p.interiors) for p in polygons), tuple(notes),
                             {k: v for k, v in raw.attributes.items() if v}))  # fmt: skip
    return found, skipped


def _nothing_usable(skipped: Sequence[Skipped]) -> Refused:
    if not skipped:
        return Refused("outlines.nothing_in_file")
    first = skipped[0]
    if len(skipped) == 1:
        return Refused(first.why.code, **{**first.why.fields, "name": first.name})
    return Refused("outlines.none_usable", count=len(skipped), name=first.name, why=first.why)


@dataclass
class _Met:
    """Outlines after they met the names the farm has."""

    kept: list[Outline] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    replaced: set[str] = field(default_factory=set)


def _meet_existing(
    found: Sequence[Outline],
    coming: Sequence[str],
    existing: Mapping[str, BaseGeometry | None],
    desk: Desk,
) -> _Met:
    """Settle names the farm has already: replace, skip or rename, as the person says.

    ``coming`` are the names of all that may still come of the file, so that this is asked
    together with what keeps some of them back; unless the names are being asked themselves.
    """
    known = {fold(name): name for name in existing}
    same = [known[fold(name)] for name in coming if fold(name) in known]
    if not same or any(q.key == "name_column" for q in desk.open):
        return _Met(list(found))
    fields = {"count": len(same), "names": ", ".join(same)}
    choices = ("replace", "skip", "rename")
    answer = desk.ask(Question("existing", "outlines.ask_existing", fields, choices))
    met = _Met()
    taken = set(known) | {fold(o.name) for o in found}
    for outline in found:
        old = known.get(fold(outline.name))
        if old is None or answer is None:
            met.kept.append(outline)
        elif answer == "skip":
            why = Note.of("outlines.name_exists", name=old)
            met.skipped.append(Skipped(outline.name, why))
        elif answer == "replace":
            met.replaced.add(old)
            met.kept.append(replace(outline, name=old))
        else:
            new = next_free(outline.name, taken)
            taken.add(fold(new))
            met.notes.append(Note.of("outlines.renamed", name=outline.name, new=new))
            met.kept.append(replace(outline, name=new))
    return met


def _warnings(found: Sequence[Outline], others: Mapping[str, BaseGeometry | None]) -> list[Note]:
    warnings: list[Note] = []
    for outline in found:
        if (width := thin_strip(outline.shape)) is not None:
            warnings.append(Note.of("outlines.thin", name=outline.name, width_m=width))
        if tiny := _tiny_pieces(outline.shape):
            warnings.append(Note.of("outlines.tiny_pieces", name=outline.name, count=tiny))
    old = [(name, shape) for name, shape in others.items() if shape and not shape.is_empty]
    warnings.extend(_overlaps([(o.name, o.shape) for o in found], old))
    return warnings


def _tiny_pieces(shape: Area) -> int:
    polygons = polygons_of(shape)
    tiny = sum(1 for p in polygons if p.area < SMALLEST_M2) if len(polygons) > 1 else 0
    rings = [shapely.polygons(r) for p in polygons for r in p.interiors]
    return tiny + sum(1 for hole in rings if hole.area < 1.0)


def _overlaps(
    new: Sequence[tuple[str, Area]], old: Sequence[tuple[str, BaseGeometry]]
) -> list[Note]:
    """Warn of shapes that lie on each other, new ones among themselves and on those there are."""
    names = [n for n, _ in (*new, *old)]
    shapes = np.array([s for _, s in (*new, *old)], dtype=object)
    if len(shapes) < 2:
        return []
    valid = np.ones(len(shapes), dtype=bool)  # new ones have passed the gate
    valid[len(new) :] = shapely.is_valid(shapes[len(new) :])
    tree = shapely.STRtree(shapes)
    first, second = tree.query(shapes[: len(new)], predicate="intersects")
    warnings = []
    for a, b in sorted({(min(i, j), max(i, j)) for i, j in zip(first, second, strict=True)}):
        if a == b or not (valid[a] and valid[b]):
            continue
        common = shapely.intersection(shapes[a], shapes[b]).area
        smaller = min(shapes[a].area, shapes[b].area)
        if common > SAME_SHARE * (shapes[a].area + shapes[b].area - common):
            warnings.append(Note.of("outlines.same_block", name=names[a], other=names[b]))
        elif common > OVERLAP_SHARE * smaller:
            warnings.append(Note.of("outlines.overlap", name=names[a], other=names[b],
                                    ha=round(common / 10_000, 3),
                                    percent=round(100 * common / smaller)))  # fmt: skip
    return warnings
