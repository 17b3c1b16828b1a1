"""Block outlines: read from any sensible file, checked at one gate, measured on the ellipsoid.

The order of work is the order of the modules: ``source`` gets at the bytes and tells the kind;
``geojson``, ``kml``, ``gpx``, ``corners`` and ``gdal`` return the corners as they stand in the
file; ``names`` gives each outline a name; ``place`` decides where the numbers belong; ``build``
and ``walk`` make shapes of them; ``gate`` lets through only what may be stored.
"""

from waterbudget.outlines.corners import is_corner_list
from waterbudget.outlines.export import write_geojson, write_gpx
from waterbudget.outlines.gate import check_shape
from waterbudget.outlines.geodesy import area_ha, from_lonlat, perimeter_m, to_lonlat, utm_epsg
from waterbudget.outlines.model import Outline, OutlineFile, Skipped
from waterbudget.outlines.read import read_outlines

__all__ = [
    "Outline",
    "OutlineFile",
    "Skipped",
    "area_ha",
    "check_shape",
    "from_lonlat",
    "is_corner_list",
    "perimeter_m",
    "read_outlines",
    "to_lonlat",
    "utm_epsg",
    "write_geojson",
    "write_gpx",
]
