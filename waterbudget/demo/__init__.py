"""The demo farm: an invented hill, sixteen blocks, three years of weather, ten months of watering.

A seeded generator makes everything from scratch, the same on every machine (to the rounding that
is written): ``place`` says where and when, ``hillside`` is the ground, ``blocks`` and ``maps``
the outlines, ``planting`` the trees and pruning dates, ``weather`` the station, ``watering`` what
ran.  :func:`build` makes the farm file through the same public actions as everybody else, from
the very files that :func:`write_samples` writes; ``python -m waterbudget.demo sample_maps``
writes those.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from tempfile import TemporaryDirectory

from waterbudget import actions
from waterbudget.demo import place
from waterbudget.demo.files import commands, write_samples
from waterbudget.demo.place import DEMO_DATE
from waterbudget.store import FarmFile

__all__ = ["DEMO_DATE", "build", "commands", "write_samples"]


def build(path: Path, *, now: dt.datetime, replace: bool = False) -> FarmFile:
    """Write the demo farm to ``path`` and return it open.

    Parameters
    ----------
    now : datetime.datetime
        The time the actions are noted under.
    replace : bool
        Put it in the place of a file that is there already.

    Raises
    ------
    Refused
        Where the file is there already (without ``replace``) or cannot be written.
    """
    with TemporaryDirectory() as name:
        folder = Path(name)
        write_samples(folder)
        farm = actions.new_farm(
            path, name=place.FARM_NAME, lat=place.LAT, lon=place.LON,
            elevation_m=place.STATION_ELEVATION, invented=True, replace=replace, now=now,
        )  # fmt: skip
        try:
            _fill(farm, folder, now)
        except BaseException:
            farm.close()
            raise
    return farm


def _fill(farm: FarmFile, folder: Path, now: dt.datetime) -> None:
    actions.set_farm(farm, place.FARM_SETTINGS, now=now)
    actions.import_outlines(farm, folder / "outlines.geojson", now=now)
    actions.import_blocks_csv(farm, folder / "blocks.csv", now=now)
    actions.import_weather(
        farm, folder / "station.csv", station=place.STATION_NAME, lat=place.STATION_LAT,
        lon=place.STATION_LON, elevation_m=place.STATION_ELEVATION, now=now,
    )  # fmt: skip
    actions.import_weather(
        farm, folder / "forecast.csv", station=place.STATION_NAME, forecast=True, now=now
    )
    actions.import_ran(farm, folder / "ran.csv", now=now)
