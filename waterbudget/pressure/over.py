"""What each place of one block gets."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from waterbudget import hydraulics, layout, terrain
from waterbudget.errors import Note, Refused
from waterbudget.hydraulics import FRICTION_EXPONENT, KPA_PER_M
from waterbudget.orchard import Block
from waterbudget.outlines import from_lonlat
from waterbudget.pressure.outlets import Outlets, outlets_of

Values = NDArray[np.float64]

MOST_PLACES = 3_000
FINEST_M = 2.0
MEASURED, CATALOGUE = ("meter", "bucket"), "catalogue"
CONTOUR_PCT = 5.0
"""On steeper ground rows are taken to follow the contour where their bearing is not said
(own estimate)."""
GOOD, FAIR = 0.90, 0.80
"""Low-quarter uniformity: above 0.90 good, to 0.80 fair (common practice, no source)."""
ROUNDS = 40
NOT_MAPPED = 0.999


@dataclass(frozen=True)
class BlockFlow:
    """What a block's places get.

    Attributes
    ----------
    share : ndarray, shape (rows, columns)
        Of the flow the outlets are made for [-], the first row in the north; NaN outside the
        block and where the height file does not reach.
    left_m, top_m, cell_m : float
        Upper left corner and size of its cells, in the farm's coordinates [m].
    mean, lowest, highest : float
        Of ``share`` [-].
    low_quarter : float
        Mean of the quarter of the block that gets least over the mean of all [-].
    design_uniformity : float
        With the spread of new outlets (Keller & Karmeli) [-].
    flow_m3_h, flow_from : float or None, str or None
        What the valve gives: as measured or entered, else the catalogue's times ``mean``.
    valve_m, valve_kpa : float or None, float
        Height of the valve (None without heights) and pressure at it.
    low_kpa, high_kpa : float
        Pressure at the places with least and most.
    above_m, below_m : float
        The highest place over the valve and the lowest under it [m].
    row_loss_kpa, main_loss_kpa : float or None
        Largest friction in a row, friction of the pipe to the valve; None where not known.
    covered : float
        Share of the block the height file covers.
    """

    block: str
    share: Values
    left_m: float
    top_m: float
    cell_m: float
    mean: float
    lowest: float
    highest: float
    low_quarter: float
    design_uniformity: float
    flow_m3_h: float | None
    flow_from: str | None
    valve_m: float | None
    valve_kpa: float
    low_kpa: float
    high_kpa: float
    above_m: float
    below_m: float
    row_loss_kpa: float | None
    main_loss_kpa: float | None
    covered: float
    outlets: Outlets
    notes: tuple[Note, ...] = ()

    @property
    def measured(self) -> bool:
        """True where the flow was measured and the map only shares it out."""
        return self.flow_from in MEASURED

    @property
    def of_mean(self) -> Values:
        """What each place gets of the block's mean [-], shape as ``share``."""
        return self.share / self.mean if self.mean > 0 else self.share

    @property
    def evenness(self) -> str:
        """``good``, ``fair`` or ``poor``."""
        if self.low_quarter > GOOD:
            return "good"
        return "fair" if self.low_quarter >= FAIR else "poor"


@dataclass(frozen=True)
class _Ground:
    """Places inside a block: their middle, height over the valve, and where they lie in a row."""

    points: Values
    inside: NDArray[np.bool_]
    above_m: Values
    left_m: float
    top_m: float
    cell_m: float
    valve: Point | None
    valve_m: float | None
    covered: float


@dataclass(frozen=True)
class _Rows:
    """How far along its row pipe each place lies."""

    share: Values
    length_m: Values
    outlets: NDArray[np.int64] = field(repr=False)


def block_flow(
    block: Block, epsg: int, *, heights: Path | None = None, unit: str | None = None,
    flow_m3_h: float | None = None, flow_from: str | None = None, trees: int | None = None,
) -> BlockFlow:  # fmt: skip
    """Return what the places of a block get.

    Parameters
    ----------
    block : Block
        Its outline, outlets, pipes and valve.
    epsg : int
        Projected system of the farm.
    heights : Path, optional
        A height file; without it only friction counts.
    unit : {"m", "ft"} or None
        Of its heights, where the file does not say.
    flow_m3_h, flow_from : float or None, str or None
        Of the valve, and where that figure is from.
    trees : int or None

    Raises
    ------
    Refused
        ``pressure.no_area``, ``pressure.no_heights_here``, and as
        :func:`waterbudget.terrain.block_heights`.
    AnswersNeeded
        ``height_unit``.
    """
    made = outlets_of(block)
    notes: list[Note] = []
    ground = _ground(block, epsg, heights, unit, notes)
    per_tree = block.outlets_per_tree or 1.0
    places = trees * per_tree if trees else None
    outlet_l_h = flow_m3_h * 1000.0 / places if flow_m3_h and places else block.outlet_l_h
    rows = _rows(block, ground, per_tree, trees)
    if block.lateral_mm is None or rows is None or outlet_l_h is None:
        rows = None
        notes.append(Note.of("pressure.no_row_pipe", block=block.name))
    stands = flow_m3_h is not None and flow_from != CATALOGUE
    found = _solve(block, made, ground, rows, outlet_l_h, flow_m3_h, stands)
    share, kpa, valve_kpa, row_loss, main_loss = found
    mean = float(share.mean())
    whole = np.full(ground.inside.shape, np.nan)
    whole[ground.inside] = share
    flow = flow_m3_h if stands or flow_m3_h is None else flow_m3_h * mean
    result = BlockFlow(
        block=block.name, share=whole, left_m=ground.left_m, top_m=ground.top_m,
        cell_m=ground.cell_m, mean=mean, lowest=float(share.min()), highest=float(share.max()),
        low_quarter=_low_quarter(share), design_uniformity=_design(made, per_tree, share, mean),
        flow_m3_h=flow, flow_from=flow_from, valve_m=ground.valve_m, valve_kpa=valve_kpa,
        low_kpa=float(kpa.min()), high_kpa=float(kpa.max()),
        above_m=float(max(ground.above_m.max(), 0.0)),
        below_m=float(max(-ground.above_m.min(), 0.0)) + 0.0, row_loss_kpa=row_loss,
        main_loss_kpa=main_loss, covered=ground.covered, outlets=made,
    )  # fmt: skip
    return _told(block, result, notes)


def _low_quarter(share: Values) -> float:
    if len(share) < hydraulics.FEWEST_CANS or share.sum() <= 0.0:
        return 1.0 if share.sum() > 0.0 else 0.0
    return hydraulics.low_quarter_uniformity(share)


def _design(made: Outlets, per_tree: float, share: Values, mean: float) -> float:
    if mean <= 0.0:
        return 0.0
    several = max(per_tree, 1.0)
    return float(hydraulics.design_uniformity(made.variation, several, share.min(), mean))


def _ground(
    block: Block, epsg: int, heights: Path | None, unit: str | None, notes: list[Note]
) -> _Ground:  # fmt: skip
    """Lay places over the block and read their heights against the valve's."""
    shape = block.outline
    if shape is None:
        if block.hectares is None:
            raise Refused("pressure.no_area", block=block.name)
        side = math.sqrt(block.hectares * 10_000.0)
        shape, heights = box(0.0, 0.0, side, side), None
        notes.append(Note.of("pressure.no_outline", block=block.name))
    west, south, east, north = shape.bounds
    cell = max(math.sqrt(shape.area / MOST_PLACES), FINEST_M)
    cell = min(cell, max(east - west, north - south))
    columns, rows = math.ceil((east - west) / cell), math.ceil((north - south) / cell)
    x = west + (np.arange(columns) + 0.5) * cell
    y = north - (np.arange(rows) + 0.5) * cell
    mesh = np.meshgrid(x, y)
    inside = shapely.contains_xy(shape, *mesh)
    if not inside.any():
        middle = shape.representative_point()
        inside[np.abs(y - middle.y).argmin(), np.abs(x - middle.x).argmin()] = True
    points = np.column_stack([mesh[0][inside], mesh[1][inside]])
    valve = None
    if block.outline is not None and block.valve_lat is not None and block.valve_lon is not None:
        valve = from_lonlat(Point(block.valve_lon, block.valve_lat), epsg)
    if heights is None:
        notes.append(Note.of("pressure.no_heights", block=block.name))
        level = np.zeros(len(points))
        return _Ground(points, inside, level, west, north, cell, valve, None, 1.0)
    z, _ = terrain.heights_at(heights, points, epsg, unit=unit)
    known = np.isfinite(z)
    if not known.any():
        raise Refused("pressure.no_heights_here", block=block.name, file=heights.name)
    inside[inside] = known
    valve_m = _valve_height(block, valve, heights, epsg, unit, float(z[known].mean()), notes)
    return _Ground(points[known], inside, z[known] - valve_m, west, north, cell, valve, valve_m,
                   float(known.mean()))  # fmt: skip


def _valve_height(
    block: Block, valve: Point | None, heights: Path, epsg: int, unit: str | None, middle: float,
    notes: list[Note],
) -> float:  # fmt: skip
    if block.valve_elevation_m is not None:
        return block.valve_elevation_m
    if valve is not None:
        (found,), _ = terrain.heights_at(heights, np.array([[valve.x, valve.y]]), epsg, unit=unit)
        if np.isfinite(found):
            return float(found)
    notes.append(Note.of("pressure.valve_unknown", block=block.name, height_m=round(middle, 1)))
    return middle


def _rows(block: Block, ground: _Ground, per_tree: float, trees: int | None) -> _Rows | None:
    """Return where each place lies along its row pipe; None where the trees are not known."""
    spacing = block.spacing_m
    between = None
    if spacing is not None:
        between = layout.row_distance_m(block.pattern, spacing, block.row_spacing_m)
    if (spacing is None or between is None) and trees:
        spacing = between = math.sqrt(len(ground.points) * ground.cell_m**2 / trees)
    if spacing is None or between is None:
        return None
    bearing = math.radians(_bearing(block, ground))
    along = ground.points @ np.array([math.sin(bearing), math.cos(bearing)])
    across = ground.points @ np.array([math.cos(bearing), -math.sin(bearing)])
    fed_at = (along.min() + along.max()) / 2.0
    if ground.valve is not None:
        fed_at = ground.valve.x * math.sin(bearing) + ground.valve.y * math.cos(bearing)
        fed_at = min(max(fed_at, along.min()), along.max())
    row = np.floor((across - across.min()) / max(between, ground.cell_m)).astype(int)
    first, last = np.full(row.max() + 1, np.inf), np.full(row.max() + 1, -np.inf)
    half = ground.cell_m / 2.0
    np.minimum.at(first, row, along - half)
    np.maximum.at(last, row, along + half)
    head = np.clip(fed_at, first, last)[row]
    end = np.where(along >= head, last[row], first[row])
    length = np.maximum(np.abs(end - head), half)
    share = np.clip(np.abs(along - head) / length, 0.0, 1.0)
    count = np.maximum(np.round(length / spacing * per_tree), 1).astype(np.int64)
    return _Rows(share, length, count)


def _bearing(block: Block, ground: _Ground) -> float:
    """Direction of the rows from north [degrees]: given, else the contour, else the long side."""
    if block.row_bearing_deg is not None:
        return block.row_bearing_deg
    if ground.valve_m is not None and len(ground.points) > 3:
        middle = ground.points.mean(axis=0)
        plane = np.column_stack([ground.points - middle, np.ones(len(ground.points))])
        (east, north, _), *_ = np.linalg.lstsq(plane, ground.above_m, rcond=None)
        if 100.0 * math.hypot(east, north) > CONTOUR_PCT:
            return (math.degrees(math.atan2(-east, -north)) + 90.0) % 180.0
    hull: BaseGeometry = shapely.MultiPoint(ground.points).minimum_rotated_rectangle
    if hull.geom_type != "Polygon":
        return 0.0
    corners = np.asarray(hull.exterior.coords)  # type: ignore[attr-defined]
    sides = np.diff(corners, axis=0)
    east, north = sides[np.hypot(*sides.T).argmax()]
    return math.degrees(math.atan2(east, north)) % 180.0


def _solve(
    block: Block, made: Outlets, ground: _Ground, rows: _Rows | None, outlet_l_h: float | None,
    flow_m3_h: float | None, stands: bool,
) -> tuple[Values, Values, float, float | None, float | None]:  # fmt: skip
    """Return shares, pressures [kPa], pressure at the valve, row and main friction [kPa].

    Friction grows with the flow and the flow falls with friction: both are brought together.  A
    flow that was measured or entered is what it is, friction and all: it reached the valve, so
    the pipe to it takes nothing from the pressure there.
    """
    unit_row = np.zeros(len(ground.points))
    if rows is not None and outlet_l_h is not None and block.lateral_mm is not None:
        unit_row = _row_loss_m(rows, outlet_l_h, block.lateral_mm)
    main_known = None not in (block.main_mm, block.main_m, flow_m3_h)
    unit_main = 0.0
    if main_known:
        assert block.main_m is not None and block.main_mm is not None and flow_m3_h is not None
        unit_main = float(hydraulics.friction_loss_m(block.main_m, flow_m3_h, block.main_mm))

    def at(part: float) -> tuple[float, float, Values, Values]:
        carried = part**FRICTION_EXPONENT
        free = made.kpa if stands else max(made.kpa - KPA_PER_M * unit_main * carried, 0.0)
        start = free if block.pressure_kpa is None else block.pressure_kpa
        lost = ground.above_m + unit_row * carried
        kpa = hydraulics.pressure_at_height_kpa(start, lost)
        return carried, start, kpa, hydraulics.flow_share(kpa, made.kpa, made.exponent)

    part = 1.0
    if not stands:  # the more flows the more is lost: one flow fits, found by halving
        low, high = 0.0, float(at(0.0)[3].mean())
        for _ in range(ROUNDS):
            part = (low + high) / 2.0
            low, high = (part, high) if float(at(part)[3].mean()) > part else (low, part)
    carried, start, kpa, share = at(part)
    row_loss = float(KPA_PER_M * unit_row.max() * carried) if rows is not None else None
    main_loss = KPA_PER_M * unit_main * carried if main_known else None
    return share, kpa, float(start), row_loss, main_loss


def _row_loss_m(rows: _Rows, outlet_l_h: float, bore_mm: float) -> Values:
    """Return the friction up to each place of its row at the outlets' full flow [m]."""
    pairs, which = np.unique(
        np.column_stack([rows.length_m, rows.outlets]), axis=0, return_inverse=True
    )
    ends = np.array([
        hydraulics.lateral_loss_m(length, count * outlet_l_h / 1000.0, bore_mm, int(count))
        for length, count in pairs
    ])  # fmt: skip
    gone = 1.0 - (1.0 - rows.share) ** (FRICTION_EXPONENT + 1.0)
    return np.asarray(ends[which.ravel()] * gone, dtype=float)


def _told(block: Block, found: BlockFlow, notes: list[Note]) -> BlockFlow:
    """Add what the grower should know."""

    made, name = found.outlets, block.name
    if not made.given:
        notes.append(Note.of("pressure.usual_outlets", block=name, kpa=made.kpa, x=made.exponent))
    if block.pressure_kpa is None:
        notes.append(Note.of("pressure.at_valve_unknown", block=name, kpa=made.kpa))
    if found.covered < NOT_MAPPED:
        notes.append(Note.of("pressure.part_covered", block=name,
                             percent=round(100 * found.covered)))  # fmt: skip
    if found.measured:
        notes.append(Note.of("pressure.measured", block=name, flow_m3_h=found.flow_m3_h))
    elif found.flow_m3_h is not None and found.flow_from != CATALOGUE:
        notes.append(Note.of("pressure.as_entered", block=name, flow_m3_h=found.flow_m3_h))
    elif found.flow_m3_h is not None:
        notes.append(Note.of("pressure.by_catalogue", block=name, flow_m3_h=found.flow_m3_h,
                             percent=round(100 * found.mean)))  # fmt: skip
    dry = float((found.share[np.isfinite(found.share)] <= 0.0).mean())
    if dry > 0.0:
        notes.append(Note.of("pressure.dry_places", block=name, percent=math.ceil(100 * dry)))
    if found.evenness != "good":
        notes.append(Note.of("pressure.uneven", block=name))
    notes.append(Note.of("pressure.caution"))
    return replace(found, notes=tuple(notes))
