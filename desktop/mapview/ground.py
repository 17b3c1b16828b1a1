"""What lies under the blocks: a height file traced into lines, a picture that knows its place.

Which files those are is remembered by the program (a farm file holds no paths of one computer).
Reading is slow and happens in the worker thread.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QFileDialog, QWidget

from desktop.mapview.camera import Bounds
from desktop.mapview.contours import Contours, Heights, read_heights, trace
from desktop.session import Session
from desktop.settings import Settings
from desktop.wording import tr
from waterbudget.errors import Refused, WaterBudgetError
from waterbudget.orchard import Orchard

MOST_PIXELS = 3000
"""Longest side of a picture as it is held; a larger one is read coarser."""


@dataclass(frozen=True)
class Picture:
    """A picture of the ground in the farm's metres."""

    image: QImage
    bounds: Bounds


@dataclass(frozen=True)
class Ground:
    """What the map lays under the blocks; a fault says which file could not be read."""

    contours: Contours | None = None
    picture: Picture | None = None
    fault: WaterBudgetError | None = None


def home_of(orchard: Orchard) -> tuple[float, float]:
    """Return where the farm lies [m]."""
    from shapely.geometry import Point

    from waterbudget.outlines import from_lonlat

    spot = from_lonlat(Point(orchard.lon, orchard.lat), orchard.epsg)
    return float(spot.x), float(spot.y)


def place_of(fault: WaterBudgetError, epsg: int) -> tuple[float, float] | None:
    """Return the point of the ground a refused outline names [m]."""
    lat, lon = fault.fields.get("lat"), fault.fields.get("lon")
    if lat is None or lon is None:
        return None
    from shapely.geometry import Point

    from waterbudget.outlines import from_lonlat

    spot = from_lonlat(Point(float(lon), float(lat)), epsg)
    return float(spot.x), float(spot.y)


def read_ground(orchard: Orchard, farm: Path | None) -> Ground:
    """Read what is known to lie under a farm (in the worker thread)."""
    settings = Settings()
    heights = settings.ground(farm, "heights") if farm is not None else None
    photo = settings.ground(farm, "picture") if farm is not None else None
    contours, picture, fault = None, None, None
    try:
        if heights is not None:
            contours = trace(_from_file(heights, orchard.epsg))
        elif orchard.invented:
            contours = _invented(orchard)
        if photo is not None:
            picture = read_picture(photo, orchard.epsg)
    except WaterBudgetError as known:
        fault = known
    return Ground(contours, picture, fault)


def _from_file(path: Path, epsg: int) -> Heights:
    from rasterio.errors import RasterioError

    try:
        return read_heights(path, epsg)
    except (RasterioError, OSError, ValueError):
        raise Refused("desktop.no_heights", file=path.name) from None


def _invented(orchard: Orchard) -> Contours | None:
    """Return the demo's own hill, so that the demo needs no file."""
    from waterbudget.demo import hillside, place

    if orchard.epsg != place.EPSG or orchard.name != place.FARM_NAME:
        return None
    half = place.CELL / 2
    grid = Heights(hillside.height_grid(), place.EAST0 + half, place.NORTH0 + place.DEPTH - half,
                   place.CELL, place.CELL)  # fmt: skip
    return trace(grid)


def read_picture(path: Path, epsg: int) -> Picture:
    """Read a picture that knows its place, in the farm's metres and no finer than needed.

    Raises
    ------
    Refused
        It cannot be read, or does not say where it lies.
    """
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.errors import RasterioError
    from rasterio.vrt import WarpedVRT

    try:
        with rasterio.open(path) as source:
            if source.crs is None or source.transform.is_identity:
                raise Refused("desktop.picture_nowhere", file=path.name)
            with WarpedVRT(source, crs=f"EPSG:{epsg}", resampling=Resampling.bilinear,
                           add_alpha=source.count in (1, 3)) as laid:  # fmt: skip
                coarse = max(1.0, max(laid.width, laid.height) / MOST_PIXELS)
                shape = (max(1, round(laid.height / coarse)), max(1, round(laid.width / coarse)))
                bands = [1, 2, 3] if laid.count >= 3 else [1, 1, 1]
                rgb = laid.read(bands, out_shape=(3, *shape), resampling=Resampling.average)
                seen = laid.read(laid.count, out_shape=shape) if laid.count in (2, 4) else None
                west, south, east, north = laid.bounds
    except (RasterioError, OSError, ValueError):
        raise Refused("desktop.no_picture", file=path.name) from None
    if rgb.dtype != np.uint8:
        top = max(float(rgb.max()), 1.0)
        rgb = (rgb.astype(float) / top * 255).astype(np.uint8)
    alpha = np.full(shape, 255, np.uint8) if seen is None else seen.astype(np.uint8)
    pixels = np.ascontiguousarray(np.dstack([*rgb, alpha]))
    image = QImage(pixels.data, shape[1], shape[0], 4 * shape[1], QImage.Format.Format_RGBA8888)
    return Picture(image.copy(), (west, south, east, north))


def choose(parent: QWidget, session: Session, kind: str, then: Callable[[], None]) -> None:
    """Ask for a ``heights`` or ``picture`` file, remember it, and go on."""
    if session.path is None:
        return
    settings = Settings()
    title = tr("A height file of the farm") if kind == "heights" else tr(
        "A picture of the farm that knows its place")  # fmt: skip
    kinds = tr("Maps and pictures (*.tif *.tiff *.jpg *.jpeg *.png *.asc *.vrt);;All files (*)")
    chosen, _ = QFileDialog.getOpenFileName(parent, title, settings.folder("import"), kinds)
    if chosen:
        settings.set_folder("import", Path(chosen).parent)
        settings.set_ground(session.path, kind, Path(chosen))
        then()
