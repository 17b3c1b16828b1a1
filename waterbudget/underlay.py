"""Pictures and height files laid under the map, brought into the farm's metres.

A raster of any system is warped once into a copy of our own (:func:`prepare`): four bands of bytes,
tiled, with overviews, so that any piece of it is read in a few milliseconds.  The person's file is
only read.  What a byte means is settled there too: colour tables, grey, 16-bit and decimal numbers
(stretched between the 2nd and the 98th percentile, the usual practice, no source), alpha, nodata.

A file is opened only with the reader its first bytes ask for, and files beside it are not looked
at (an overview or side file could send the reader elsewhere); only a plain world file of six
numbers and a ``.prj`` are read, here.  rasterio is imported on first use.
"""

from __future__ import annotations

import contextlib
import hashlib
import math
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from waterbudget import rasters
from waterbudget.errors import AnswersNeeded, Question, Refused

Bytes = NDArray[np.uint8]
Bounds = tuple[float, float, float, float]
"""West, south, east, north [m]."""
Progress = Callable[[int, int], None]

BEGINNINGS = (
    (b"II*\x00", "GTiff"), (b"MM\x00*", "GTiff"), (b"II+\x00", "GTiff"), (b"MM\x00+", "GTiff"),
    (b"\x89PNG", "PNG"), (b"\xff\xd8\xff", "JPEG"), (b"\x00\x00\x00\x0cjP  ", "JP2OpenJPEG"),
    (b"EHFA", "HFA"), (b"ncols", "AAIGrid"), (b"NCOLS", "AAIGrid"), (b"UHL1", "DTED"),
)  # fmt: skip
MOST_PIXELS = 2_500_000_000
"""A larger raster is refused."""
MOST_WHOLE_PIXELS = 400_000_000
"""A PNG or JPEG, which must be unpacked whole, is refused beyond this."""
COPY_SIDE = 16_384
"""Longest side of a copy; a larger raster is copied coarser (own estimate: fine enough to draw)."""
PLAIN_PIXELS = 40_000_000
"""Copies up to this many pixels are not compressed, larger ones are."""
STRETCH = (2.0, 98.0)
SAMPLE_SIDE = 1000
FAR_M = 200_000.0
"""A picture without a system of its own is taken to be in the farm's when it lies this near."""
FEET = 0.3048
VERSION = 1
"""Of the copies; a change makes them again."""


@dataclass(frozen=True)
class Copy:
    """A raster brought into the farm's metres.

    Attributes
    ----------
    path : Path
        In the cache folder.
    bounds : (west, south, east, north)
        [m].
    pixel_m : float
        Ground under a pixel of the copy [m].
    """

    path: Path
    bounds: Bounds
    pixel_m: float


def kind_of(path: Path) -> str:
    """Return ``picture`` or ``heights`` by the bands of a raster.

    Raises
    ------
    Refused
        As :func:`prepare`.
    AnswersNeeded
        ``underlay`` for a single band of whole numbers, which can be either.
    """
    with _opened(path) as raster:
        colours = {c.name for c in raster.colorinterp}
        if raster.count != 1 or raster.dtypes[0] in ("uint8", "int8") or "palette" in colours:
            return "picture"
        if raster.dtypes[0].startswith("float"):
            return "heights"
        raise AnswersNeeded([
            Question("underlay", "underlay.ask_kind", {"file": path.name},
                     ("picture", "heights"))
        ])  # fmt: skip


def check(path: Path, epsg: int) -> Bounds:
    """Return where a raster lies in the farm's metres.

    Raises
    ------
    Refused
        As :func:`prepare`.
    """
    with _opened(path) as raster, _laid(raster, path, epsg, "nearest") as laid:
        west, south, east, north = laid.bounds
        return float(west), float(south), float(east), float(north)


def prepare(path: Path, epsg: int, folder: Path, progress: Progress | None = None) -> Copy:
    """Return the copy of a picture in the farm's metres; made where there is none yet.

    Parameters
    ----------
    path : Path
        Any raster of :data:`BEGINNINGS`; only read.
    epsg : int
        Projected system of the farm.
    folder : Path
        The cache; made where it is missing.
    progress : callable, optional
        Gets (done, of) between pieces; may raise to stop.

    Raises
    ------
    Refused
        ``underlay.no_file``, ``.unreadable``, ``.nowhere`` (no place or no system),
        ``.too_large``, ``.no_room`` (the cache cannot be written).
    """
    target = folder / _name_of(path, epsg)
    if not target.is_file():
        with _opened(path) as raster:
            palette = raster.count == 1 and _palette(raster) is not None
            with _laid(raster, path, epsg, "nearest" if palette else "bilinear") as laid:
                _write(raster, laid, path, target, progress)
    with _env(), rasters.reader().open(target, driver="GTiff") as made:
        west, south, east, north = made.bounds
        return Copy(target, (west, south, east, north), float(made.transform.a))


def read_heights(path: Path, epsg: int, most_side: int) -> tuple[NDArray[np.float64], Bounds]:
    """Return heights in the farm's metres, no finer than needed.

    Parameters
    ----------
    most_side : int
        Longest side of the grid, in cells.

    Returns
    -------
    z : array, shape (rows, columns)
        [m], the first row in the north, NaN where unknown.
    bounds : (west, south, east, north)
        [m].

    Raises
    ------
    Refused
        As :func:`prepare`.
    """
    from rasterio.enums import Resampling

    with _opened(path) as raster, _laid(raster, path, epsg, "bilinear", heights=True) as laid:
        shape = _shrunk(laid.height, laid.width, most_side)
        z = laid.read(1, out_shape=shape, resampling=Resampling.average).astype(float)
        scale, offset, unit = raster.scales[0], raster.offsets[0], str(raster.units[0] or "")
        west, south, east, north = laid.bounds
    z = z * scale + offset
    if unit.lower() in ("ft", "feet", "foot", "us-ft", "us survey foot"):
        z = z * FEET
    return np.where(np.abs(z) < 12_000, z, np.nan), (west, south, east, north)


class Reader:
    """One copy, open; to be used and closed in one thread."""

    def __init__(self, copy: Copy) -> None:
        self.copy = copy
        with _env():
            self._file = rasters.reader().open(copy.path, driver="GTiff")

    def read(self, bounds: Bounds, width: int, height: int) -> tuple[Bytes, Bounds] | None:
        """Return the pixels of the copy inside a box of the ground.

        Parameters
        ----------
        bounds : (west, south, east, north)
            [m].
        width, height : int
            Pixels for the whole box; a part of the box gets its share.

        Returns
        -------
        pixels : array of uint8, shape (rows, columns, 4)
            Red, green, blue (already multiplied by alpha), alpha; first row in the north.
        bounds : (west, south, east, north)
            Of these pixels [m].  None for both where the copy does not reach.
        """
        from rasterio.enums import Resampling
        from rasterio.windows import Window

        file, size = self._file, self.copy.pixel_m
        left, _, _, top = self.copy.bounds
        west, south, east, north = bounds
        c0 = max(math.floor((west - left) / size), 0)
        c1 = min(math.ceil((east - left) / size), file.width)
        r0 = max(math.floor((top - north) / size), 0)
        r1 = min(math.ceil((top - south) / size), file.height)
        if c1 <= c0 or r1 <= r0:
            return None
        columns = _at_most((c1 - c0) * size / (east - west) * width, c1 - c0)
        rows = _at_most((r1 - r0) * size / (north - south) * height, r1 - r0)
        with _env():
            bands = file.read(window=Window(c0, r0, c1 - c0, r1 - r0), out_shape=(4, rows, columns),
                              resampling=Resampling.bilinear)  # fmt: skip
        box = (left + c0 * size, top - r1 * size, left + c1 * size, top - r0 * size)
        return np.ascontiguousarray(np.moveaxis(bands, 0, -1)), box

    def close(self) -> None:
        """Close the copy."""
        self._file.close()


def _at_most(wanted: float, there: int) -> int:
    """Return how many pixels to read: no more than there are, the painter enlarges better."""
    return max(1, min(math.ceil(wanted), there))


def forget(folder: Path, keep_bytes: int) -> None:
    """Take the copies used longest ago out of the cache until it is small enough.

    Parameters
    ----------
    keep_bytes : int
        Size the cache may keep [bytes].
    """
    files = [(f.stat().st_atime, f.stat().st_size, f) for f in folder.glob("*.tif")]
    room = keep_bytes
    for _, size, file in sorted(files, reverse=True):
        room -= size
        if room < 0:
            with contextlib.suppress(OSError):
                file.unlink()


# -- making the copy ------------------------------------------------------------------------------


def _name_of(path: Path, epsg: int) -> str:
    """Return the name of a file's copy: another one as soon as the file changes."""
    try:
        seen = path.stat()
    except OSError:
        raise Refused("underlay.no_file", file=path.name) from None
    what = f"{VERSION}|{path.resolve()}|{seen.st_size}|{seen.st_mtime_ns}|{epsg}"
    return hashlib.sha256(what.encode()).hexdigest()[:24] + ".tif"


def _write(
    raster: Any, laid: Any, path: Path, target: Path, progress: Progress | None
) -> None:  # fmt: skip
    from rasterio.errors import RasterioError

    colours = _Colours(raster, laid)
    part = target.with_suffix(f".{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _write_pieces(laid, colours, part, progress)
        part.replace(target)
    except RasterioError:
        raise Refused("underlay.unreadable", file=path.name) from None
    except OSError as fault:
        raise Refused("underlay.no_room", folder=str(target.parent), why=fault.strerror or "") \
            from None  # fmt: skip
    finally:
        part.unlink(missing_ok=True)


def _write_pieces(laid: Any, colours: _Colours, part: Path, progress: Progress | None) -> None:
    from rasterio.enums import Resampling
    from rasterio.windows import Window

    rasterio = rasters.reader()
    plain = laid.width * laid.height <= PLAIN_PIXELS
    packed = {} if plain else {"compress": "deflate", "zlevel": 1, "predictor": 2}
    form = {
        "driver": "GTiff", "width": laid.width, "height": laid.height, "count": 4,
        "dtype": "uint8", "crs": laid.crs, "transform": laid.transform, "tiled": True,
        "blockxsize": 512, "blockysize": 512, "interleave": "pixel", "photometric": "RGB",
        "ALPHA": "PREMULTIPLIED", "BIGTIFF": "IF_SAFER", **packed,
    }  # fmt: skip
    step = 1024
    spots = [(c, r) for r in range(0, laid.height, step) for c in range(0, laid.width, step)]
    with rasterio.open(part, "w", **form) as made:
        for k, (column, row) in enumerate(spots):
            if progress is not None:
                progress(k, len(spots))
            wide, high = min(step, laid.width - column), min(step, laid.height - row)
            piece = Window(column, row, wide, high)
            made.write(colours.of(laid, piece), window=piece)
    with rasterio.open(part, "r+", driver="GTiff") as made:
        longest = max(made.width, made.height)
        levels: list[int] = []
        while longest / 2 ** len(levels) > 256:
            levels.append(2 ** (len(levels) + 1))
        if levels:
            made.build_overviews(levels, Resampling.average)


class _Colours:
    """How the bands of one raster become red, green, blue and alpha."""

    def __init__(self, raster: Any, laid: Any) -> None:
        self.table = _palette(raster) if raster.count == 1 else None
        names = [c.name for c in raster.colorinterp]
        bands = [names.index(n) + 1 for n in ("red", "green", "blue") if n in names]
        alpha = [k + 1 for k, n in enumerate(names) if n == "alpha"]
        if len(bands) != 3:
            seen = [k for k in range(1, raster.count + 1) if k not in alpha]
            bands = seen[:3] if len(seen) >= 3 else [seen[0] if seen else 1]
        self.bands, self.alpha = bands, alpha[0] if alpha else laid.count
        self.low, self.high = 0.0, 255.0
        if raster.dtypes[0] != "uint8":
            self.low, self.high = self._span(laid)

    def _span(self, laid: Any) -> tuple[float, float]:
        shape = _shrunk(laid.height, laid.width, SAMPLE_SIDE)
        shown = laid.read(self.bands, out_shape=(len(self.bands), *shape)).astype(float)
        seen = laid.read(self.alpha, out_shape=shape) > 0
        values = shown[:, seen]
        values = values[np.isfinite(values)]
        if not values.size:
            return 0.0, 1.0
        low, high = (float(v) for v in np.percentile(values, STRETCH))
        return (low, high) if high > low else (low - 1.0, low + 1.0)

    def of(self, laid: Any, window: Any) -> Bytes:
        """Return one piece, shape (4, rows, columns), colours multiplied by alpha."""
        if self.table is not None:
            index = laid.read(1, window=window)
            pixels = np.moveaxis(self.table[index], -1, 0).astype(np.uint16)
            alpha = np.where(laid.read(self.alpha, window=window) > 0, pixels[3], 0)
            colours = pixels[:3]
        else:
            read = laid.read(self.bands, window=window)
            alpha = self._alpha(laid.read(self.alpha, window=window))
            if read.dtype != np.uint8:
                plain = np.nan_to_num(read.astype(np.float32), nan=self.low)
                stretched = (plain - self.low) * (255.0 / (self.high - self.low))
                alpha = np.where(np.isfinite(read).all(axis=0), alpha, 0)
                read = np.clip(np.rint(stretched), 0, 255)
            colours = np.broadcast_to(read, (3, *read.shape[1:])).astype(np.uint16)
        alpha = alpha.astype(np.uint16)
        return np.concatenate([(colours * alpha + 127) // 255, alpha[None]]).astype(np.uint8)

    @staticmethod
    def _alpha(read: NDArray[Any]) -> NDArray[Any]:
        """Return alpha as bytes; a wider band counts as seen where it is not 0."""
        return read if read.dtype == np.uint8 else np.where(read > 0, 255, 0)


def _palette(raster: Any) -> Bytes | None:
    if raster.colorinterp[0].name != "palette" or raster.dtypes[0] not in ("uint8", "uint16"):
        return None
    table = np.zeros((65536 if raster.dtypes[0] == "uint16" else 256, 4), np.uint8)
    for value, colour in raster.colormap(1).items():
        table[value] = colour
    return table


def _shrunk(rows: int, columns: int, most: int) -> tuple[int, int]:
    coarse = max(1.0, max(rows, columns) / most)
    return max(2, round(rows / coarse)), max(2, round(columns / coarse))


# -- opening ----------------------------------------------------------------------------------


@contextmanager
def _laid(
    raster: Any, path: Path, epsg: int, how: str, *, heights: bool = False
) -> Iterator[Any]:  # fmt: skip
    """Lay a raster into the farm's metres, with square pixels and a band that says what is seen."""
    from rasterio.enums import Resampling
    from rasterio.errors import RasterioError
    from rasterio.transform import Affine
    from rasterio.vrt import WarpedVRT
    from rasterio.warp import calculate_default_transform

    crs, place = _system(raster, path, epsg)
    target = f"EPSG:{epsg}"
    try:
        if crs == rasters.reader().crs.CRS.from_epsg(epsg) and _is_plain(place):
            where, width, height = place, raster.width, raster.height
        else:
            where, width, height = _grid(calculate_default_transform, crs, target, raster, place)
        shrink = max(1.0, max(width, height) / COPY_SIDE)
        width, height = max(1, round(width / shrink)), max(1, round(height / shrink))
        where = Affine(where.a * shrink, 0, where.c, 0, where.e * shrink, where.f)
        more: dict[str, Any] = {"dtype": "float32", "nodata": math.nan} if heights else {}
        has_alpha = any(c.name == "alpha" for c in raster.colorinterp)
        if not heights and not has_alpha:
            more["add_alpha"] = True
        laid = WarpedVRT(
            raster, src_crs=crs, src_transform=place, crs=target, transform=where, width=width,
            height=height, resampling=Resampling[how], **more,
        )  # fmt: skip
    except (RasterioError, ValueError):
        raise Refused("underlay.nowhere", file=path.name) from None
    with contextlib.closing(laid):
        try:
            yield laid
        except RasterioError:
            raise Refused("underlay.unreadable", file=path.name) from None


def _is_plain(place: Any) -> bool:
    return place.b == 0 == place.d and place.a > 0 and abs(place.a + place.e) < 1e-6 * place.a


def _grid(default: Any, crs: Any, target: str, raster: Any, place: Any) -> tuple[Any, int, int]:
    """Return the grid a raster is laid on: square pixels over all its corners and edges."""
    if place.b == 0 == place.d:
        left, top = place.c, place.f
        right, bottom = place * (raster.width, raster.height)
        box = (min(left, right), min(top, bottom), max(left, right), max(top, bottom))
        return default(crs, target, raster.width, raster.height, *box)  # type: ignore[no-any-return]
    w, h = raster.width, raster.height
    corners = [place * spot for spot in ((0, 0), (w, 0), (w, h), (0, h))]
    xs, ys = [c[0] for c in corners], [c[1] for c in corners]
    # a turned picture lies askew in its box: as many pixels as keep their size
    size = math.sqrt(abs(place.a * place.e - place.b * place.d))
    wide, high = math.ceil((max(xs) - min(xs)) / size), math.ceil((max(ys) - min(ys)) / size)
    return default(crs, target, wide, high, min(xs), min(ys), max(xs), max(ys))  # type: ignore[no-any-return]


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """Open a raster with the one reader its first bytes ask for."""
    path = Path(path)
    if not path.is_file():
        raise Refused("underlay.no_file", file=path.name)
    driver = _driver(path)
    rasterio = rasters.reader()
    from rasterio.errors import RasterioError

    with _env():
        try:
            raster = rasterio.open(path.resolve(), driver=driver)
        except (RasterioError, OSError):
            raise Refused("underlay.unreadable", file=path.name) from None
        with contextlib.closing(raster):
            most = MOST_WHOLE_PIXELS if driver in ("PNG", "JPEG") else MOST_PIXELS
            if raster.width * raster.height > most:
                mega = most // 1_000_000
                raise Refused("underlay.too_large", file=path.name, megapixels=mega)
            if raster.count == 0 or "complex" in raster.dtypes[0]:
                raise Refused("underlay.unreadable", file=path.name)
            try:
                yield raster
            except RasterioError:
                raise Refused("underlay.unreadable", file=path.name) from None


def _driver(path: Path) -> str:
    try:
        with path.open("rb") as file:
            start = file.read(12)
    except OSError:
        raise Refused("underlay.unreadable", file=path.name) from None
    for beginning, driver in BEGINNINGS:
        if start.startswith(beginning):
            return driver
    if path.suffix.lower() == ".hgt":
        return "SRTMHGT"  # nothing but numbers, told by its name
    raise Refused("underlay.unreadable", file=path.name)


def _system(raster: Any, path: Path, epsg: int) -> tuple[Any, Any]:
    """Return the system and the place of a raster: its own, else from the files beside it."""
    crs_of = rasters.reader().crs.CRS
    place, crs = raster.transform, raster.crs
    if raster.gcps[0] and raster.gcps[1] is not None and place.is_identity:
        from rasterio.transform import from_gcps

        place, crs = from_gcps(raster.gcps[0]), raster.gcps[1]
    if place.is_identity:
        place = _world_file(path)
    if place is None:
        raise Refused("underlay.nowhere", file=path.name)
    if crs is None:
        crs = _prj(path)
    if crs is None and _near_farm(place * (raster.width / 2, raster.height / 2), epsg):
        crs = crs_of.from_epsg(epsg)
    if crs is None or not (crs.is_projected or crs.is_geographic):
        raise Refused("underlay.nowhere", file=path.name)
    return crs, place


def _near_farm(middle: tuple[float, float], epsg: int) -> bool:
    """Tell whether numbers without a system read well in the farm's own."""
    area = pyproj.CRS.from_epsg(epsg).area_of_use
    if area is None:
        return False
    move = pyproj.Transformer.from_crs(epsg, 4326, always_xy=True)
    lon, lat = move.transform(*middle)
    inside = area.west - 2 <= lon <= area.east + 2 and area.south <= lat <= area.north
    return bool(inside and abs(middle[0]) > FAR_M / 2)


def _world_file(path: Path) -> Any:
    """Return the place six numbers beside a picture give, None where there are none."""
    from rasterio.transform import Affine

    suffix = path.suffix
    short = f".{suffix[1:2]}{suffix[-1:]}w" if len(suffix) > 2 else ".wld"
    for beside in (path.with_suffix(short), path.with_suffix(suffix + "w"),
                   path.with_suffix(".wld"), path.with_suffix(short.upper())):  # fmt: skip
        try:
            if beside.stat().st_size > 2000:
                continue
            numbers = [float(v) for v in beside.read_text("ascii").split()]
        except (OSError, ValueError):
            continue
        if len(numbers) == 6 and all(math.isfinite(v) for v in numbers):
            a, d, b, e, c, f = numbers  # of the middle of the first pixel
            return Affine(a, b, c - a / 2 - b / 2, d, e, f - d / 2 - e / 2)
    return None


def _prj(path: Path) -> Any:
    beside = path.with_suffix(".prj")
    try:
        if beside.stat().st_size > 20_000:
            return None
        text = beside.read_text("utf-8", errors="replace")
        if "GRID" in text.upper():  # it could name a grid file of another place
            return None
        return rasters.reader().crs.CRS.from_wkt(pyproj.CRS.from_wkt(text).to_wkt("WKT2_2019"))
    except (OSError, pyproj.exceptions.CRSError, ValueError):
        return None


def _env() -> Any:
    """Return GDAL's surroundings: nothing beside a file is read, a small block cache."""
    return rasters.reader().Env(
        GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR", GDAL_PAM_ENABLED="NO", GDAL_CACHEMAX=64,
        CPL_VSIL_CURL_ALLOWED_EXTENSIONS="{none}", GTIFF_SRS_SOURCE="GEOKEYS",
    )  # fmt: skip
