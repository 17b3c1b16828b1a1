"""What lies under the blocks, ready to draw: pictures in the farm's metres, shade, height lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QImage

from desktop.mapview.camera import Bounds
from desktop.mapview.contours import Contours

if TYPE_CHECKING:
    from waterbudget.underlay import Copy, Reader

_FORM = QImage.Format.Format_RGBA8888_Premultiplied  # made here, not in a thread: see warmth
FLAT = 180
"""How bright level ground comes out of the shading, of 255 (sine of 45 degrees)."""
SHADOW, GLOSS = 0.62, 0.45
"""How strongly the darkest and the brightest slopes cover the map."""


@dataclass(frozen=True, eq=False)
class Layer:
    """One thing laid under the blocks.

    Attributes
    ----------
    bounds : (west, south, east, north)
        [m].
    copy : Copy, optional
        A picture, read from its copy piece by piece.
    image : QImage, optional
        A small picture held whole (the shade of the hills).
    """

    bounds: Bounds
    opacity: float = 1.0
    copy: Copy | None = None
    image: QImage | None = None
    contours: Contours | None = None


class Readers:
    """Copies kept open for one painting thread."""

    def __init__(self, most: int = 4) -> None:
        self._most = most
        self._open: dict[object, Reader] = {}

    def read(
        self, layer: Layer, bounds: Bounds, wide: float, high: float
    ) -> tuple[QImage, Bounds] | None:
        """Return the part of a layer inside a box of the ground, and where it lies."""
        if layer.image is not None:
            return layer.image, layer.bounds
        if layer.copy is None:
            return None
        reader = self._reader(layer.copy)
        found = reader.read(bounds, round(wide), round(high)) if reader is not None else None
        return None if found is None else (image_of(found[0]), found[1])

    def _reader(self, copy: Copy) -> Reader | None:
        known = self._open.get(copy.path)
        if known is None:
            from rasterio.errors import RasterioError

            from waterbudget.underlay import Reader

            try:
                known = Reader(copy)
            except (RasterioError, OSError):  # the cache was emptied under our feet
                return None
            while len(self._open) >= self._most:
                self._open.pop(next(iter(self._open))).close()
            self._open[copy.path] = known
        return known


def image_of(pixels: NDArray[np.uint8]) -> QImage:
    """Return pixels (rows, columns, 4), colours multiplied by alpha, as Qt's picture."""
    rows, columns, _ = pixels.shape
    return QImage(pixels.data, columns, rows, 4 * columns, _FORM).copy()


def shade_image(shade: NDArray[np.uint8]) -> QImage:
    """Return the shade of the hills: dark over slopes away from the light, bright towards it.

    Parameters
    ----------
    shade : array of uint8, shape (rows, columns)
        1 dark to 255 bright, 0 where nothing is known.
    """
    value = shade.astype(np.float32)
    dark = np.clip((FLAT - value) / FLAT, 0, 1) * SHADOW
    bright = np.clip((value - FLAT) / (255 - FLAT), 0, 1) * GLOSS
    alpha = np.where(shade == 0, 0, np.maximum(dark, bright)) * 255
    white = np.where((bright > 0) & (shade > 0), alpha, 0)
    pixels = np.stack([white, white, white, alpha], axis=-1)
    return image_of(np.ascontiguousarray(np.rint(pixels).astype(np.uint8)))
