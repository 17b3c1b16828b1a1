"""Where and when the demo farm lies: every constant that more than one part of it needs.

Everything is invented: the hill, the names, the people, the weather.  The corner was laid in
open upland in the southern tropics only because a farm must lie somewhere for its sun, its time
zone and its map projection to be right; no real ground looks like this.
"""

from __future__ import annotations

import datetime as dt

FARM_NAME = "Demo hill"
LAT, LON = -17.352, 33.214
"""Middle of the farm [decimal degrees]."""

EPSG = 32736
"""UTM zone 36 south, in which the hillside is drawn."""

EAST0, NORTH0 = 521_900.0, 8_080_900.0
"""South-west corner of the hillside [m, UTM]."""

WIDTH, DEPTH, CELL = 1600.0, 1200.0, 10.0
"""Size of the hillside west-east and south-north, and of one cell of the height file [m]."""

DEMO_DATE = dt.date(2025, 8, 11)
"""The Monday the demo opens on; the record ends the day before."""

YEARS = 3
"""Years of daily weather before :data:`DEMO_DATE` in which the story happens."""

OLDER_YEARS = 9
"""Years of daily weather before those, so that past years can speak of the coming month."""

STATION_NAME = "Middle shelf"
STATION_LAT, STATION_LON, STATION_ELEVATION = -17.3505, 33.2138, 1050.0
"""Where it stands [decimal degrees, m above the sea]; also taken as the farm's elevation."""

FARM_SETTINGS = {
    "pump_m3_h": "120",
    "pump_hours": "16",
    "work_from": "05:00",
    "work_to": "21:00",
    "days_off": "sun",
}
"""Settings of the farm as they would be typed: one pump, nobody opens valves on a Sunday."""

SEED = 20250811
"""Seed of everything that is drawn by lot."""
