"""The raster reader, imported on first use; heights and pictures are opened through it."""

from __future__ import annotations

import os
from functools import lru_cache
from typing import Any

import pyproj


@lru_cache(maxsize=1)
def reader() -> Any:
    """Return rasterio, free of data paths another program has set and of the network."""
    for name in ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA"):
        os.environ.pop(name, None)
    import rasterio
    import rasterio.crs

    pyproj.network.set_network_enabled(False)
    return rasterio
