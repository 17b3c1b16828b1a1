"""Names of blocks on farms with many: placed and painted ahead, then only laid down.

The same plates as on a small farm (:mod:`desktop.mapview.plates`), but only for the blocks in
sight, and as ready pictures, so that a frame lays them down in no time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QImage, QPainter

from desktop.mapview import plates
from desktop.mapview.camera import Bounds, Camera
from desktop.mapview.looks import days_word
from desktop.mapview.overlay import MapBlock
from desktop.mapview.scene import Scene
from desktop.mapview.shapes import Points, Shape
from desktop.models.standing import Look

LEAST_NAMED_PX = 14.0
"""Blocks smaller than this carry no name."""
LEAST_ROOM_PX2 = 500.0
"""Nor do blocks whose box is smaller than this, where there are many [px2]."""
MOST = 120
"""Names shown at a time; the blocks that matter most come first."""
BEYOND = 0.25
"""Share of the view that is looked at beyond its edges."""


@dataclass(frozen=True)
class Name:
    """One plate, painted; ``middle`` is its place on the ground [m]."""

    key: int
    image: QImage
    middle: tuple[float, float]
    wide: float
    high: float

    def box(self, camera: Camera) -> QRectF:
        """Return its pixels in a view."""
        at = camera.to_screen(*self.middle)
        return QRectF(
            round(at.x() - self.wide / 2), round(at.y() - self.high / 2), self.wide, self.high
        )  # fmt: skip


def wish_of(block: MapBlock, shape: Shape, camera: Camera, chosen: bool) -> plates.Wish:
    """Return what a block asks for."""
    box = camera.box(shape.bounds)
    standing = block.standing
    rank = (0 if standing.in_fill else 1) + (0 if standing.look is Look.PAST else 2)
    return plates.Wish(
        block.id, block.name, days_word(standing), standing.in_fill,
        partial(on_block, shape, camera), camera.many_to_screen(shape.spots),
        (box.width(), box.height()), shape.thick * camera.scale, rank, chosen,
    )  # fmt: skip


def on_block(shape: Shape, camera: Camera, pixels: Points) -> NDArray[np.bool_]:
    """Tell which pixels of a view lie on a block."""
    return shape.holds(camera.many_to_ground(pixels))


def looked_at(camera: Camera) -> Bounds:
    """Return the ground whose names are made for a view: somewhat more than is in sight."""
    west, south, east, north = camera.bounds
    more_x, more_y = (east - west) * BEYOND, (north - south) * BEYOND
    return west - more_x, south - more_y, east + more_x, north + more_y


def named_rows(scene: Scene, camera: Camera, chosen: int | None) -> list[int]:
    """Return the rows of the blocks that may carry a name in a view: the largest, the chosen."""
    rows = scene.inside(looked_at(camera))
    sides = (scene.boxes[rows, 2:] - scene.boxes[rows, :2]) * camera.scale
    room = sides[:, 0] * sides[:, 1]
    fit = (sides.max(axis=1, initial=0.0) >= LEAST_NAMED_PX) & (room >= LEAST_ROOM_PX2)
    picked = [int(r) for r in rows[fit][np.argsort(-room[fit], kind="stable")][:MOST]]
    return picked + [int(r) for r in rows if scene.ids[r] == chosen and int(r) not in picked]


def make_spots(shapes: Sequence[Shape]) -> None:
    """Find where names may stand; remembered by the shapes."""
    for shape in shapes:
        shape.spots  # noqa: B018 - worked out once


def make_names(
    scene: Scene, blocks: Mapping[int, MapBlock], camera: Camera, chosen: int | None, dpr: float
) -> list[Name]:
    """Place and paint the names of a view (in the painting thread)."""
    picked = named_rows(scene, camera, chosen)
    wishes = [
        wish_of(blocks[scene.ids[r]], scene.shapes[r], camera, scene.ids[r] == chosen)
        for r in picked
        if scene.ids[r] in blocks
    ]
    return [_painted(plate, camera, plate.key == chosen, dpr) for plate in plates.place(wishes)]


def _painted(plate: plates.Plate, camera: Camera, chosen: bool, dpr: float) -> Name:
    box = plate.box
    image = QImage(round((box.width() + 1) * dpr), round((box.height() + 1) * dpr),
                   QImage.Format.Format_ARGB32_Premultiplied)  # fmt: skip
    image.setDevicePixelRatio(dpr)
    image.fill(0)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    at = QRectF(0, 0, box.width(), box.height())
    plates.paint(painter, replace(plate, box=at), chosen=chosen)
    painter.end()
    middle = camera.to_ground(QPointF(box.center()))
    return Name(plate.key, image, middle, box.width(), box.height())
