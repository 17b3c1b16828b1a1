"""Trees set out in a block: look, keep, mark, compare, carry to the field; ground without trees.

Looking stores nothing; every other function is one transaction and says what was before.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from waterbudget import english, terrain
from waterbudget.actions.land import _fields as height_fields
from waterbudget.actions.land import remembered_heights
from waterbudget.errors import Note, Refused
from waterbudget.orchard import Block
from waterbudget.outlines.sides import position_of
from waterbudget.planting import (
    Counts,
    Ground,
    LayoutFigures,
    Planting,
    count_states,
    figures_of,
    latest,
    layout_of,
    mark_lines,
    peg_rows,
    set_out,
)
from waterbudget.planting import files as tree_files
from waterbudget.planting.lay import coordinates
from waterbudget.records import LAND_KINDS, TREE_STATES, FarmData, LandMark, TreeMark
from waterbudget.season.blocks import living
from waterbudget.stage import defaults
from waterbudget.store import FarmFile

LAYOUT_KEYS = (
    "pattern", "spacing_m", "row_spacing_m", "row_bearing_deg", "row_fall_pct", "setback_m",
    "headland_m", "grid_lat", "grid_lon", "slope_pct", "aspect_deg",
)  # fmt: skip
LIVING = "living"
PEAK_ET0_MM = 6.0
"""Reference ET of a hot dry day where none is given [mm] (own estimate)."""
STEEP_PCT = 15.0
"""From this slope on the caution about steep ground is given [%] (own estimate)."""
FINEST_M, MOST_CELLS_A_SIDE = 1.0, 600
WIDEST_M = 100.0


@dataclass(frozen=True)
class SetOut:
    """A block's trees as they would stand.

    Attributes
    ----------
    counts : Counts
        Places, missing, replaced; by the marks of the block.
    marks : mapping of (row, number) to TreeMark
    """

    block: Block
    planting: Planting
    counts: Counts
    marks: Mapping[tuple[int, int], TreeMark]
    hectares: float
    notes: tuple[Note, ...]

    @property
    def per_ha(self) -> float:
        """Tree places over the block's plan area."""
        return self.planting.trees / self.hectares


def look_at_trees(
    file: FarmFile, name: str, changed: Mapping[str, Any] | None = None, *,
    heights: Path | None = None, unit: str | None = None, on: dt.date | None = None,
) -> SetOut:  # fmt: skip
    """Return where the trees of a block stand, with its own layout or some of it changed.

    Parameters
    ----------
    changed : mapping, optional
        Fields of :class:`waterbudget.planting.Layout`.
    heights : Path, optional
        A height file: slope and direction come from it; contour rows need one (the farm's own by
        default).
    on : datetime.date, optional
        Day by which trees set in later may bear.

    Raises
    ------
    Refused
        As :func:`waterbudget.planting.set_out`.
    AnswersNeeded
        ``height_unit``.
    """
    data = file.read()
    block = data.orchard.block(name)
    epsg = data.orchard.epsg
    if block.outline is None:
        raise Refused("planting.no_outline", block=block.name)
    layout = layout_of(block, epsg, **(changed or {}))
    if layout.pattern == "contour" and heights is None:
        own = remembered_heights(data, file.path)
        heights, unit = own if own is not None else (None, unit)
    ground = ground_under(block, epsg, layout.pattern, heights, unit)
    planting = set_out(
        block.outline, layout, epsg, name=block.name, ground=ground, kept=data.land_marks
    )
    marks = latest(m for m in data.tree_marks if m.block_id == block.id)
    counts = count_states(planting.trees, planting.in_row.tolist(), marks, on)
    notes = _notes(block, data, planting, counts, changed)
    return SetOut(block, planting, counts, marks, block.hectares or math.nan, notes)


def _notes(
    block: Block, data: FarmData, planting: Planting, counts: Counts,
    changed: Mapping[str, Any] | None,
) -> tuple[Note, ...]:  # fmt: skip
    notes = list(planting.notes)
    if counts.astray:
        notes.append(Note.of("planting.astray", count=counts.astray))
    slope = planting.slope_pct if planting.slope_pct is not None else block.slope_pct
    if slope is not None and slope > STEEP_PCT:
        notes.append(Note.of("planting.steep"))
    if block.trees is not None and block.trees != counts.living:
        notes.append(Note.of("planting.typed_wins", block=block.name, typed=block.trees,
                             living=counts.living))  # fmt: skip
    elif block.trees is None and not changed and planting.layout.pattern == "contour":
        week = living(block, data)
        if week is not None and week.living != counts.living:
            notes.append(Note.of("planting.contour_count", trees=week.living))
    return tuple(notes)


def ground_under(
    block: Block, epsg: int, pattern: str, heights: Path | None, unit: str | None
) -> Ground:
    """Return how the land lies: from a height file, else as the block has it stored."""
    if heights is None or block.outline is None:
        return Ground(block.slope_pct, block.aspect_deg)
    if pattern != "contour":
        found = terrain.block_heights(heights, [block.outline], epsg, unit=unit)[0]
        if found.mean_m is None or found.slope_pct is None:
            raise Refused("planting.heights_short", block=block.name)
        kept = height_fields(found)  # as they would be stored, so that both count alike
        return Ground(kept["slope_pct"], kept["aspect_deg"])
    scale, _ = coordinates(block.outline, epsg)
    x0, y0, x1, y1 = block.outline.bounds
    cell = max(FINEST_M, max(x1 - x0, y1 - y0) / MOST_CELLS_A_SIDE) * scale
    x = np.arange(x0 - 3 * cell, x1 + 4 * cell, cell)
    y = np.arange(y0 - 3 * cell, y1 + 4 * cell, cell)
    points = np.column_stack([a.ravel() for a in np.meshgrid(x, y)])
    z, file_cell = terrain.heights_at(heights, points, epsg, unit=unit)
    if not np.isfinite(z).any():
        raise Refused("planting.heights_short", block=block.name)
    grid = _smooth(z.reshape(len(y), len(x)), max(1, round(file_cell / cell / 2)))
    return Ground(block.slope_pct, block.aspect_deg, x, y, grid)


def _smooth(z: np.ndarray, reach: int) -> np.ndarray:
    """Round off the folds between a height file's cells: a mean over one cell, both ways.

    The grid goes on in a straight line beyond its edge, so that a plane stays one.
    """
    for _ in range(2):
        for axis in (0, 1):
            width = [(reach, reach) if a == axis else (0, 0) for a in (0, 1)]
            most = z.shape[axis] - 1
            if reach > most:
                continue
            padded = np.pad(z, width, mode="reflect", reflect_type="odd")
            windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=axis)
            z = windows.mean(axis=-1)
    return z


# -- keeping a layout -------------------------------------------------------------------------


def store_layout(
    file: FarmFile, name: str, changed: Mapping[str, Any] | None = None, *,
    heights: Path | None = None, unit: str | None = None, now: dt.datetime,
) -> tuple[Block, SetOut]:  # fmt: skip
    """Keep a layout in its block, with the place of its grid (and the slope, from a height file).

    Returns
    -------
    before : Block
    made : SetOut

    Raises
    ------
    Refused, AnswersNeeded
        As :func:`look_at_trees`; nothing is stored.
    """
    made = look_at_trees(file, name, changed, heights=heights, unit=unit, on=now.date())
    layout = made.planting.layout
    lat, lon = position_of(layout.origin or (0.0, 0.0), made.planting.epsg)
    given = layout_of(made.block, made.planting.epsg, **(changed or {})).row_spacing_m
    new: dict[str, Any] = {
        "pattern": layout.pattern, "spacing_m": layout.spacing_m,
        "row_spacing_m": given,
        "row_bearing_deg": round((layout.bearing_deg or 0.0) % 360.0, 6),
        "row_fall_pct": layout.fall_pct, "setback_m": layout.setback_m,
        "headland_m": layout.headland_m, "grid_lat": round(lat, 9), "grid_lon": round(lon, 9),
    }  # fmt: skip
    if heights is not None and layout.pattern != "contour":
        new |= {"slope_pct": made.planting.slope_pct, "aspect_deg": made.planting.aspect_deg}
    with file.transaction("planting.layout", now=now, block=made.block.name,
                          trees=made.planting.trees) as open_file:  # fmt: skip
        open_file.save_block(replace(made.block, **new))
    return made.block, made


def put_layout_back(file: FarmFile, before: Block, *, now: dt.datetime) -> None:
    """Put the layout of a block back as it was."""
    with file.transaction("planting.layout_back", now=now, block=before.name) as open_file:
        block = next(b for b in open_file.read().orchard.blocks if b.id == before.id)
        was: dict[str, Any] = {k: getattr(before, k) for k in LAYOUT_KEYS}
        open_file.save_block(replace(block, **was))


# -- missing and replaced trees ---------------------------------------------------------------


@dataclass(frozen=True)
class MarksDone:
    """What marking changed."""

    block: str
    dropped: tuple[TreeMark, ...]
    added: tuple[TreeMark, ...]


def read_mark(text: str) -> tuple[int, int, str]:
    """Read ``12:7=missing`` as row, number and state.

    Raises
    ------
    Refused
        ``planting.bad_mark``.
    """
    place, _, state = text.replace(" ", "").lower().partition("=")
    row, colon, number = place.partition(":")
    known = (*TREE_STATES, LIVING)
    if not (colon and row.isdecimal() and number.isdecimal() and state in known):
        raise Refused("planting.bad_mark", value=text[:40])
    return int(row), int(number), state


def check_marks(made: Planting, block: str, marks: Sequence[tuple[int, int, str]]) -> None:
    """Refuse marks of places that are not there, or of no known state; nothing is stored.

    Raises
    ------
    Refused
        ``planting.no_place``, ``planting.bad_mark``.
    """
    for row, number, state in marks:
        if made.at(row, number) is None:
            most = int(made.in_row[row - 1]) if 1 <= row <= made.rows else 0
            raise Refused("planting.no_place", block=block, row=row, number=number,
                          rows=made.rows, most=most)  # fmt: skip
        if state not in (*TREE_STATES, LIVING):
            raise Refused("planting.bad_mark", value=state[:40])


def mark_trees(
    file: FarmFile, name: str, marks: Sequence[tuple[int, int, str]], *,
    places: Planting | None = None, date: dt.date | None = None, now: dt.datetime,
) -> MarksDone:  # fmt: skip
    """Note at tree places that the tree is missing, replaced, young, no tree for rock, or alive.

    ``living`` takes every mark of the place away.

    Parameters
    ----------
    places : Planting, optional
        The block's trees; without it they are set out to see that the places exist.
    date : datetime.date, optional
        Day it was seen; the day of ``now`` by default.

    Raises
    ------
    Refused
        ``planting.no_place``, ``planting.bad_mark``; nothing is stored.
    """
    made = places if places is not None else look_at_trees(file, name).planting
    block = file.read().orchard.block(name)
    on = date or now.date()
    check_marks(made, block.name, marks)
    wanted = {(row, number): state for row, number, state in marks}
    with file.transaction("planting.marks", now=now, block=block.name,
                          count=len(wanted)) as open_file:  # fmt: skip
        dropped = [
            m for m in open_file.read().tree_marks
            if m.block_id == block.id and (m.row, m.number) in wanted
            and (m.date == on or wanted[(m.row, m.number)] == LIVING)
        ]  # fmt: skip
        for mark in dropped:
            open_file.drop_row(TreeMark, mark.id)
        added = [
            open_file.add_row(TreeMark(block_id=block.id, row=row, number=number, state=state,
                                       date=on))
            for (row, number), state in wanted.items() if state != LIVING
        ]  # fmt: skip
    return MarksDone(block.name, tuple(dropped), tuple(added))


def put_marks_back(file: FarmFile, done: MarksDone, *, now: dt.datetime) -> None:
    """Take marking back."""
    with file.transaction("planting.marks_back", now=now, block=done.block) as open_file:
        added = {replace(m, id=0) for m in done.added}  # numbers change when marks come back
        for mark in open_file.read().tree_marks:
            if replace(mark, id=0) in added:
                open_file.drop_row(TreeMark, mark.id)
        for mark in done.dropped:
            open_file.add_row(replace(mark, id=0))


# -- side by side -----------------------------------------------------------------------------


def usual_layouts(
    file: FarmFile, name: str, changed: Mapping[str, Any]
) -> tuple[dict[str, Any], ...]:
    """Return the layouts worth a comparison: the one at hand, then the other straight patterns.

    A rectangle has rows five quarters of the spacing apart where no distance is given.
    """
    data = file.read()
    block = data.orchard.block(name)
    mine = layout_of(block, data.orchard.epsg, **changed)
    found = [dict(changed)]
    for pattern in ("square", "triangle", "rectangle"):
        if pattern != mine.pattern:
            rows = None if pattern != "rectangle" else mine.row_spacing_m or 1.25 * mine.spacing_m
            found.append({**changed, "pattern": pattern, "row_spacing_m": rows})
    return tuple(found)


def compare_layouts(
    file: FarmFile, name: str, layouts: Sequence[Mapping[str, Any]], *,
    heights: Path | None = None, unit: str | None = None, peak_et0_mm: float | None = None,
    kc: float | None = None,
) -> tuple[LayoutFigures, ...]:  # fmt: skip
    """Set layouts of one block side by side.

    Parameters
    ----------
    layouts : sequence of mapping
        Of each, the fields of :class:`waterbudget.planting.Layout` that differ from the block's.
    peak_et0_mm, kc : float, optional
        Of a day at the peak; 6 mm (own estimate) and the largest of the packaged stages.

    Raises
    ------
    Refused
        As :func:`look_at_trees`; ``planting.peak``.
    """
    et0 = PEAK_ET0_MM if peak_et0_mm is None else peak_et0_mm
    factor = peak_kc() if kc is None else kc
    for what, value, high in (("ET0", et0, 20.0), ("Kc", factor, 1.6)):
        if not 0.0 < value <= high:
            raise Refused("planting.peak", what=what, value=value, low=0, high=high)
    found = []
    for changed in layouts:
        made = look_at_trees(file, name, changed, heights=heights, unit=unit)
        found.append(figures_of(made.planting, made.hectares, et0, factor))
    return tuple(found)


def peak_kc() -> float:
    """Return the largest coefficient of the packaged stages [-]."""
    return max(float(row["kc_end"]) for row in defaults().values())


# -- to the field -----------------------------------------------------------------------------


def write_trees(made: SetOut, path: Path, kind: str | None = None) -> None:
    """Write the tree places as ``gpx``, ``geojson`` or ``csv``, by the file's ending if not said.

    Raises
    ------
    Refused
        ``planting.unwritable``.
    """
    kind = kind or Path(path).suffix.lstrip(".").lower()
    try:
        if kind == "gpx":
            tree_files.write_gpx(made.planting, path, made.marks, made.block.name)
        elif kind in ("geojson", "json"):
            tree_files.write_geojson(made.planting, path, made.marks, made.block.name)
        else:
            tree_files.write_csv(made.planting, path, made.marks)
    except OSError as fault:
        raise _unwritable(path, fault) from None


def write_pegs(
    made: SetOut, path: Path, say: Callable[[Note], str] = english.sentence
) -> None:  # fmt: skip
    """Write the pegging sheet: one line a peg as CSV, else as text to read.

    Raises
    ------
    Refused
        ``planting.unwritable``.
    """
    path = Path(path)
    text = pegs_csv(made) if path.suffix.lower() == ".csv" else pegs_text(made, say)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise _unwritable(path, fault) from None


def _unwritable(path: Path, fault: OSError) -> Refused:
    name = Path(path).name or str(path)
    return Refused("planting.unwritable", file=name, why=fault.strerror or "")


def pegs_csv(made: SetOut) -> str:
    """Return the pegging sheet with a line a peg."""
    lines = ["row,number,from_start_m,step_m,bearing_deg,lat,lon,east_m,north_m"]
    for row in peg_rows(made.planting):
        lines += [
            f"{row.row},{p.number},{p.from_start_m:.3f},{p.step_m:.3f},{p.bearing_deg:.2f},"
            f"{p.lat:.9f},{p.lon:.9f},{p.east_m:.3f},{p.north_m:.3f}"
            for p in row.pegs
        ]
    return "\n".join(lines) + "\n"


def pegs_text(made: SetOut, say: Callable[[Note], str] = english.sentence) -> str:
    """Return the pegging sheet in words, a paragraph a row."""
    planting = made.planting
    bends = planting.layout.pattern == "contour"
    lines = [say(Note.of("peg.head", block=made.block.name, rows=planting.rows,
                         trees=planting.trees))]  # fmt: skip
    lines += [say(n) for n in planting.notes] + [say(Note.of("peg.compass")), ""]
    for row in peg_rows(planting):
        first = row.pegs[0]
        lines.append(say(Note.of("peg.row", row=row.row, trees=len(row.pegs),
                                 length=f"{row.length_m:.2f}", bearing=f"{row.bearing_deg:.1f}"))
                     + " " + say(Note.of("peg.start", lat=f"{first.lat:.7f}",
                                         lon=f"{first.lon:.7f}")))  # fmt: skip
        if row.from_last_m is not None and row.from_last_deg is not None:
            lines.append("  " + say(Note.of(
                "peg.from_last", last=row.row - 1, distance=f"{row.from_last_m:.2f}",
                bearing=f"{row.from_last_deg:.1f}")))  # fmt: skip
        if bends:
            pegs = "; ".join(f"{p.from_start_m:.2f} > {p.bearing_deg:.0f}" for p in row.pegs[1:])
        else:
            pegs = ", ".join(f"{p.from_start_m:.2f}" for p in row.pegs)
        lines.append("  " + say(Note.of("peg.bends" if bends else "peg.pegs", pegs=pegs)))
    return "\n".join(lines) + "\n"


# -- ground without trees ---------------------------------------------------------------------


def add_land_marks(
    file: FarmFile, path: Path, *, kind: str = "road", width_m: float = 0.0, now: dt.datetime
) -> tuple[LandMark, ...]:
    """Bring in roads, rocks or water from a GeoJSON or GPX file.

    Raises
    ------
    Refused
        ``planting.mark_file``, ``planting.mark_kind``, ``planting.mark_width``.
    """
    shapes = mark_lines(path, file.read().orchard.epsg)
    marks = [LandMark(kind=kind, shape=shape, width_m=width_m, name=name) for shape, name in shapes]
    for mark in marks:
        _check_mark(mark)
    with file.transaction("planting.land_marks", now=now, file=Path(path).name) as open_file:
        return tuple(open_file.add_row(mark) for mark in marks)


def add_land_mark(file: FarmFile, mark: LandMark, *, now: dt.datetime) -> LandMark:
    """Keep a road, a rock or a watercourse, with its shape in the farm's coordinates.

    Raises
    ------
    Refused
        ``planting.mark_kind``, ``planting.mark_width``.
    """
    _check_mark(mark)
    with file.transaction("planting.land_mark", now=now, kind=mark.kind) as open_file:
        return open_file.add_row(replace(mark, id=0))


def _check_mark(mark: LandMark) -> None:
    if mark.kind not in LAND_KINDS:
        raise Refused("planting.mark_kind", value=mark.kind, known=", ".join(LAND_KINDS))
    if not 0.0 <= mark.width_m <= WIDEST_M:
        raise Refused("planting.mark_width", value=mark.width_m)


def drop_land_mark(file: FarmFile, mark: int | LandMark, *, now: dt.datetime) -> LandMark:
    """Take a road, rock or watercourse away, by its number or as it was; the row comes back.

    Raises
    ------
    Refused
        ``planting.mark_gone``.
    """
    rows = file.read().land_marks
    if isinstance(mark, LandMark):  # numbers change when a row comes back
        same = (m for m in rows if replace(m, id=0) == replace(mark, id=0))
        found = next((m for m in rows if m == mark), None) or next(same, None)
    else:
        found = next((m for m in rows if m.id == mark), None)
    if found is None:
        raise Refused("planting.mark_gone")
    with file.transaction("planting.land_mark_gone", now=now) as open_file:
        return open_file.drop_row(LandMark, found.id)
