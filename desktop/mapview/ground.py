"""What the open farm lays under its blocks: read once, in a thread of its own, for every map.

The list stands in the farm file; a picture is brought into the farm's metres as a copy in the
program's cache folder, never touching the person's file.  What could not be read is kept with its
reason, for the list to tell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QStandardPaths, Signal
from PySide6.QtWidgets import QFileDialog, QWidget

from desktop import underlay_edits
from desktop.jobs import Worker
from desktop.mapview.contours import Heights, trace
from desktop.mapview.layers import Layer, shade_image
from desktop.session import Session
from desktop.settings import Settings
from desktop.wording import tr
from waterbudget.errors import WaterBudgetError
from waterbudget.orchard import Orchard

if TYPE_CHECKING:
    from waterbudget.records import Underlay

MOST_CELLS = 450
"""Longest side of the grid of heights that is traced into lines."""
SHADE_PIXELS = 2_000_000
CACHE_BYTES = 2_000_000_000
"""What the copies of pictures may take on disk."""


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


def cache_folder() -> Path:
    """Return where copies of pictures lie."""
    place = QStandardPaths.StandardLocation.CacheLocation
    return Path(QStandardPaths.writableLocation(place)) / "underlays"


def read_layer(path: Path, kind: str, epsg: int, folder: Path) -> Layer:
    """Read one file (in a worker thread).

    Raises
    ------
    Refused
        It is missing, cannot be read, or holds no heights.
    """
    from waterbudget import underlay

    if kind == "picture":
        copy = underlay.prepare(path, epsg, folder)
        underlay.forget(folder, CACHE_BYTES)
        return Layer(copy.bounds, copy=copy)
    from waterbudget import terrain

    shade, bounds = terrain.hillshade(path, epsg, SHADE_PIXELS)
    z, (west, south, east, north) = underlay.read_heights(path, epsg, MOST_CELLS)
    dx, dy = (east - west) / z.shape[1], (north - south) / z.shape[0]
    lines = trace(Heights(z, west + dx / 2, north - dy / 2, dx, dy))
    return Layer(bounds, image=shade_image(shade), contours=lines)


def invented_hill(orchard: Orchard) -> Layer | None:
    """Return the height lines of the demo's own hill, so that the demo needs no file."""
    from waterbudget.demo import hillside, place

    if orchard.epsg != place.EPSG or orchard.name != place.FARM_NAME:
        return None
    half = place.CELL / 2
    grid = Heights(hillside.height_grid(), place.EAST0 + half, place.NORTH0 + place.DEPTH - half,
                   place.CELL, place.CELL)  # fmt: skip
    bounds = (place.EAST0, place.NORTH0, place.EAST0 + grid.z.shape[1] * place.CELL,
              place.NORTH0 + place.DEPTH)  # fmt: skip
    return Layer(bounds, contours=trace(grid))


@dataclass(frozen=True)
class _Wanted:
    """A file as it is to be read; another one as soon as the file changes."""

    path: Path
    kind: str
    epsg: int
    stamp: tuple[int, int] | None

    @classmethod
    def of(cls, path: Path, kind: str, epsg: int) -> _Wanted:
        try:
            seen = path.stat()
        except OSError:
            return cls(path, kind, epsg, None)
        return cls(path, kind, epsg, (seen.st_size, seen.st_mtime_ns))


class Keeper(QObject):
    """Reads what lies under the farm and tells its maps.

    Signals
    -------
    laid()
        The layers, what is being read, or what could not be read has changed.
    """

    laid = Signal()

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._session = session
        self._worker: Worker | None = None
        self._read: dict[_Wanted, Layer | WaterBudgetError] = {}
        self._reading: set[_Wanted] = set()
        self._hill: Layer | None = None
        self._hill_of: object = None
        self._rows: tuple[Underlay, ...] = ()
        self._made: dict[tuple[object, float], Layer] = {}
        self.layers: tuple[Layer, ...] = ()
        session.opened.connect(self.refresh)
        session.changed.connect(self.refresh)
        session.closed.connect(self._closed)
        self.refresh()

    def refresh(self, _kinds: object = None) -> None:
        """Read what is new in the list."""
        data = self._session.data
        if data is None or self._session.path is None:
            return
        self._rows = tuple(sorted(data.underlays, key=lambda r: (r.place, r.id)))
        for row in self._rows:
            wanted = self._wanted(row)
            if row.shown and wanted not in self._read and wanted not in self._reading:
                self._submit(wanted)
        heights = any(r.shown and r.kind == "heights" for r in self._rows)
        if data.orchard.invented and not heights and self._hill_of != self._session.path:
            self._hill_of = self._session.path
            self._need_worker().submit(invented_hill, data.orchard, done=self._hill_read)
        self._lay()

    def state(self, row: Underlay) -> WaterBudgetError | str | None:
        """Return why a file cannot be shown, ``"reading"``, or None where all is well."""
        wanted = self._wanted(row)
        if wanted in self._reading:
            return "reading"
        found = self._read.get(wanted)
        if isinstance(found, WaterBudgetError):
            return found
        if wanted.stamp is None:
            from waterbudget.errors import Refused

            return Refused("underlay.no_file", file=wanted.path.name)
        return None

    @property
    def idle(self) -> bool:
        """True where nothing is being read."""
        return not self._reading and (self._worker is None or self._worker.idle)

    def _wanted(self, row: Underlay) -> _Wanted:
        data, farm = self._session.data, self._session.path
        assert data is not None and farm is not None
        return _Wanted.of(farm.resolve().parent / row.path, row.kind, data.orchard.epsg)

    def _need_worker(self) -> Worker:
        if self._worker is None:
            self._worker = Worker(self)
        return self._worker

    def _submit(self, wanted: _Wanted) -> None:
        self._reading.add(wanted)

        def take(found: Layer | WaterBudgetError) -> None:
            self._reading.discard(wanted)
            self._read[wanted] = found
            if isinstance(found, WaterBudgetError) and self._session.is_open:
                self._session.refused.emit(found)
            self._lay()

        self._need_worker().submit(
            read_layer, wanted.path, wanted.kind, wanted.epsg, cache_folder(), done=take,
            failed=take,
        )  # fmt: skip

    def _hill_read(self, found: Layer | None) -> None:
        self._hill = found
        self._lay()

    def _lay(self) -> None:
        if self._session.data is None:
            return
        layers = []
        for row in self._rows:
            found = self._read.get(self._wanted(row)) if row.shown else None
            if isinstance(found, Layer) and row.opacity > 0:
                layers.append(self._at(found, row.opacity))
        heights = any(r.shown and r.kind == "heights" for r in self._rows)
        if self._hill is not None and self._hill_of == self._session.path and not heights:
            layers.append(self._at(self._hill, 1.0))
        self.layers = tuple(layers)
        self.laid.emit()

    def _at(self, found: Layer, opacity: float) -> Layer:
        """Return a layer at its strength; the same one every time, so that nothing is repainted."""
        key = (found, opacity)
        if key not in self._made:
            self._made[key] = replace(found, opacity=opacity)
        return self._made[key]

    def _closed(self) -> None:
        self._made.clear()
        self._rows, self.layers = (), ()
        self._read.clear()
        self._reading.clear()
        self._hill = self._hill_of = None
        if self._worker is not None:
            self._worker.stop(0)
            self._worker = None
        self.laid.emit()


def keeper(session: Session) -> Keeper:
    """Return the one keeper of a session."""
    found = session.findChild(Keeper)
    return found if isinstance(found, Keeper) else Keeper(session)


def choose(
    parent: QWidget, session: Session, kind: str, then: Callable[[], None] | None = None
) -> None:
    """Ask for a ``heights`` or ``picture`` file, lay it down (undo takes it away), and go on."""
    if session.path is None:
        return
    settings = Settings()
    title = tr("A height file of the farm") if kind == "heights" else tr(
        "A picture of the farm that knows its place")  # fmt: skip
    kinds = tr("Maps and pictures (*.tif *.tiff *.jpg *.jpeg *.png *.jp2 *.img *.asc *.hgt)")
    chosen, _ = QFileDialog.getOpenFileName(
        parent, title, settings.folder("import"), f"{kinds};;{tr('All files (*)')}"
    )
    if chosen:
        settings.set_folder("import", Path(chosen).parent)
        underlay_edits.add(session, Path(chosen), kind, then=then)
