"""Heights from a height file (a DEM raster): per block, as contours, and as shade for the map.

Gradients are Horn's (Horn, B.K.P., 1981, "Hill shading and the reflectance map", Proceedings of
the IEEE 69, 14-47): weights 1 2 1 over a 3 x 3 neighbourhood.  The size of a cell is measured on
the ellipsoid row by row, so a file in degrees, in a UTM zone or in web-map metres gives the same
slope; aspect is turned from the grid's north to true north.  Cells at the border are worked out
with neighbours continued in a straight line.

``opened`` opens and checks a file, ``blocks`` looks at blocks and points, ``picture`` draws.
rasterio, exactextract and contourpy are imported on first use.
"""

from waterbudget.terrain.blocks import (
    CLASSES,
    NOTHING,
    ONE_WAY,
    HeightStats,
    block_heights,
    heights_at,
    slope_aspect,
    slope_class,
    whole_slopes,
)
from waterbudget.terrain.opened import opened, says_its_unit, unit_question
from waterbudget.terrain.picture import contours, hillshade

__all__ = [
    "CLASSES", "NOTHING", "ONE_WAY", "HeightStats", "block_heights", "contours", "heights_at",
    "hillshade", "opened", "says_its_unit", "slope_aspect", "slope_class", "unit_question",
    "whole_slopes",
]  # fmt: skip
