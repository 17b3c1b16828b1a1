"""The one way in: a file becomes outlines, questions, or a refusal; nothing is stored here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from waterbudget.errors import Note, Question, Refused
from waterbudget.orchard import fold
from waterbudget.outlines import corners, gdal, geojson, gpx, kml
from waterbudget.outlines.build import Builder, LeftOut
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.gate import SMALLEST_M2, Area, thin_strip
from waterbudget.outlines.geodesy import area_ha, polygons_of
from waterbudget.outlines.model import Outline, OutlineFile, Raw, RawFile, Skipped
from waterbudget.outlines.names import give_names, next_free, unique_existing
from waterbudget.outlines.place import Placer, Position
from waterbudget.outlines.source import Source, open_source

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
    file = _raw_file(open_source(Path(data_or_path)), desk, layer, name_column)
    _leave_points(file)
    if not file.raws:
        raise Refused("outlines.nothing_in_file")
    count = sum(len(ring) for raw in file.raws for rings in raw.polygons for ring in rings)
    if count > MOST_CORNERS:
        raise Refused("outlines.too_many_corners", count=count, limit=MOST_CORNERS)
    names, name_notes = give_names(file.raws, name_column, desk)
    for raw, name in zip(file.raws, names, strict=True):
        raw.name = name
    mover = Placer(file, desk, epsg, near).mover(crs)
    found: list[Outline] = []
    skipped: list[Skipped] = []
    if mover is not None:
        builder = Builder(mover, epsg, near, desk)
        found, skipped = _build(builder, file.raws, epsg)
        if warning := mover.grid_warning():
            file.warnings.append(warning)
    found, more_skipped, exist_notes, replaced = _meet_existing(found, existing or {}, desk)
    desk.settle()
    if not found and not more_skipped:
        raise _nothing_usable(skipped)
    warnings = [*file.warnings, *_warnings(found, existing or {}, replaced)]
    notes = (*file.notes, *name_notes, *exist_notes)
    return OutlineFile(
        tuple(found), (*skipped, *more_skipped), notes, tuple(warnings), dict(desk.used)
    )


def _leave_points(file: RawFile) -> None:
    """Leave features that are only points alone, and say how many."""
    points = [r for r in file.raws if r.points and not r.polygons]
    if points:
        file.raws = [r for r in file.raws if not (r.points and not r.polygons)]
        file.notes.append(Note.of("outlines.points_left", count=len(points)))


def _raw_file(source: Source, desk: Desk, layer: str | None, name_column: str | None) -> RawFile:
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


def _meet_existing(
    found: list[Outline], existing: Mapping[str, BaseGeometry | None], desk: Desk
) -> tuple[list[Outline], list[Skipped], list[Note], set[str]]:
    """Settle names the farm has already: replace, skip or rename, as the person says."""
    known = unique_existing(existing)
    same = [o for o in found if fold(o.name) in known]
    if not same:
        return found, [], [], set()
    names = ", ".join(known[fold(o.name)] for o in same)
    question = Question("existing", "outlines.ask_existing", {"count": len(same), "names": names},
                        ("replace", "skip", "rename"))  # fmt: skip
    answer = desk.ask(question)
    if answer is None:
        return found, [], [], set()
    kept: list[Outline] = []
    skipped: list[Skipped] = []
    notes: list[Note] = []
    replaced: set[str] = set()
    taken = set(known) | {fold(o.name) for o in found}
    for outline in found:
        old = known.get(fold(outline.name))
        if old is None:
            kept.append(outline)
        elif answer == "skip":
            skipped.append(Skipped(outline.name, Note.of("outlines.name_exists", name=old)))
        elif answer == "replace":
            replaced.add(old)
            kept.append(_renamed(outline, old))
        else:
            new = next_free(outline.name, taken)
            taken.add(fold(new))
            notes.append(Note.of("outlines.renamed", name=outline.name, new=new))
            kept.append(_renamed(outline, new))
    return kept, skipped, notes, replaced


def _renamed(outline: Outline, name: str) -> Outline:
    return Outline(name, outline.shape, outline.area_ha, outline.parts, outline.holes,
                   outline.notes, outline.attributes)  # fmt: skip


def _warnings(
    found: Sequence[Outline], existing: Mapping[str, BaseGeometry | None], replaced: set[str]
) -> list[Note]:
    warnings: list[Note] = []
    for outline in found:
        if (width := thin_strip(outline.shape)) is not None:
            warnings.append(Note.of("outlines.thin", name=outline.name, width_m=width))
        if tiny := _tiny_pieces(outline.shape):
            warnings.append(Note.of("outlines.tiny_pieces", name=outline.name, count=tiny))
    others = [(n, s) for n, s in existing.items()
              if s is not None and not s.is_empty and n not in replaced]  # fmt: skip
    warnings.extend(_overlaps([(o.name, o.shape) for o in found], others))
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
    valid = shapely.is_valid(shapes)
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
