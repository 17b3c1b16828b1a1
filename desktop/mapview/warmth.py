"""Everything the painting threads will touch of Qt, touched once on the GUI thread beforehand.

PySide makes its classes and enumerations when they are first used; two threads doing that at the
same time bring the process down.  So one small picture with every way of painting in it is made
before the first thread starts.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from shapely.geometry import Point, box

from desktop.mapview.backdrop import Piece, Plan, paint_piece
from desktop.mapview.camera import Camera
from desktop.mapview.contours import Contours
from desktop.mapview.layers import Layer, Readers, shade_image
from desktop.mapview.names import make_names
from desktop.mapview.overlay import MapBlock
from desktop.mapview.scene import Scene
from desktop.models.standing import Look, Standing


@cache
def warm_up() -> None:
    """Paint one of everything (once for the whole program)."""
    blocks: list[MapBlock] = []
    for k, look in enumerate(Look):
        for stage in ("fill", "rest"):
            for side in (5.0, 7.0, 10.0, 40.0):
                outline = box(k * 50, 0, k * 50 + side, side)
                if stage == "rest":
                    outline = outline.difference(Point(k * 50 + side / 2, side / 2).buffer(1))
                blocks.append(MapBlock(len(blocks), "x", outline, Standing(look, stage)))
    scene, _ = Scene().changed(blocks)
    line = np.array([[0.0, 0.0, 40.0, 40.0]])
    lines = Contours(1.0, line, line)
    shade = shade_image(np.array([[1, 180], [250, 0]], np.uint8))
    layer = Layer((0.0, 0.0, 40.0, 40.0), 0.5, image=shade, contours=lines)
    plan = Plan(scene, (layer,), True)
    piece = Piece(0.0, -40.0, 1.0, 400, 40, 1.0)
    image = paint_piece(plan, Readers(), piece, None, None)
    paint_piece(plan, Readers(), piece, image, (0.0, 0.0, 20.0, 20.0))
    paint_piece(replace(plan, edges_only=True), Readers(), piece, None, None)
    camera = Camera(200.0, 20.0, 4.0, 1600.0, 200.0)
    make_names(scene, {b.id: b for b in blocks}, camera, blocks[-1].id, 1.0)
