"""Make the frozen farm file of format 1: ``python tests/farms/make_v1.py``, in the project folder.

The file stands for all those that growers made with the first format, so it is made once and then
left alone: later versions of the program must go on reading it.  All figures are invented.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

from shapely.geometry import MultiPolygon, Polygon

from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.records import GivenSet, GivenWeek, Pin, Ran
from waterbudget.store import FarmFile
from waterbudget.weather import Day

PATH = Path(__file__).parent / "v1" / "farm.gpkg"
NOW = dt.datetime(2026, 3, 2, 6, 45)
FIRST = dt.date(2026, 1, 20)
MONDAY = dt.date(2026, 3, 2)


def rectangle(x: float, y: float, wide: float, high: float) -> Polygon:
    """Return a rectangle from its lower left corner [m]."""
    return Polygon([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)])


def blocks() -> tuple[Block, ...]:
    """Return one block with a rock bank inside, one in two parts, one without an outline."""
    hole = rectangle(500_040, 7_800_040, 20, 20)
    bank = Polygon(rectangle(500_000, 7_800_000, 120, 100).exterior, [hole.exterior])
    parts = MultiPolygon(
        [rectangle(500_300, 7_800_000, 60, 50), rectangle(500_300, 7_800_080, 60, 50)]
    )
    return (
        Block(
            name="Rock bank", outline=bank, system="micro", trees=720, soil="clay-loam",
            efficiency=0.85, flow_m3_h=36.0, flow_from="bucket", station="Ridge", gauge="Hilltop",
            planted_on=dt.date(2019, 11, 5), stage_numbers={"kcb_fill": 0.82, "allowed_fill": 0.3},
            cycles=(
                Cycle(dt.date(2025, 2, 10), seen_bloom=dt.date(2025, 4, 2),
                      harvest_end=dt.date(2025, 10, 20)),
                Cycle(dt.date(2025, 11, 3), seen_bloom=dt.date(2025, 12, 20)),
            ),
        ),
        Block(name="Dos partes", outline=parts, system="drip", full_on=dt.date(2026, 2, 26),
              note="Señal: válvula azul"),
        Block(name="No outline", area_ha=1.2, kc_fixed=0.85, target_dr_mm=11.475),
    )  # fmt: skip


def days() -> list[Day]:
    """Return forty days; rain on every fifth, the tenth day missing."""
    found = []
    for n in range(40):
        if n == 9:
            continue
        values = {"tmax_c": 28.0 + n % 4, "tmin_c": 16.0 + n % 3, "rs_mj": 20.5}
        if n != 20:
            values["rain_mm"] = 6.0 if n % 5 == 0 else 0.0
        found.append(Day(FIRST + dt.timedelta(n), values, ("rs_high",) if n == 3 else ()))
    return found


def make(path: Path) -> None:
    """Write the farm, in several transactions as a grower would."""
    orchard = Orchard(
        name="Frozen farm", lat=-19.9, lon=33.0, epsg=32736, invented=True, elevation_m=1010.0,
        time_zone="Africa/Maputo", pump_m3_h=60.0, pump_hours=10.0, work_from=dt.time(5, 30),
        days_off=("sun",), blocks=blocks(),
        stations=(Station(name="Ridge", lat=-19.9, lon=33.0, wind_height_m=2.0),),
    )  # fmt: skip
    with FarmFile.create(path, orchard, now=NOW) as farm:
        with farm.transaction("weather.imported", now=NOW, station="Ridge"):
            number = farm.add_import("weather", "ridge.csv", b"date;tmax\n2026-01-20;28,0\n",
                                     answers={"decimal": ","}, layout_key="semicolon")  # fmt: skip
            farm.add_days(1, days(), import_id=number)
            farm.add_flags(number, 1, [(FIRST + dt.timedelta(3), "rs_high", "rs_mj", "41", None)])
            farm.add_forecast(1, MONDAY, [Day(MONDAY, {"et0_given_mm": 4.5, "rain_mm": 8.0})])
        with farm.transaction("day.corrected", now=NOW):
            farm.correct_day(1, FIRST + dt.timedelta(5), "rain_mm", 16.0, "gauge spilled", NOW)
        with farm.transaction("rain.typed", now=NOW):
            farm.type_rain("Hilltop", dt.date(2026, 3, 1), 12.5, NOW)
        with farm.transaction("ran.entered", now=NOW):
            farm.set_ran(1, dt.date(2026, 2, 24), [Ran(1, dt.date(2026, 2, 24), hours=3.5)])
            farm.set_ran(1, dt.date(2026, 2, 24), [Ran(1, dt.date(2026, 2, 24), hours=3.25)])
            farm.set_ran(2, dt.date(2026, 2, 25), [Ran(2, dt.date(2026, 2, 25), m3=41.0)])
        with farm.transaction("week.handed_out", now=NOW):
            sets = (GivenSet(1, MONDAY, dt.time(5, 30), 3.25, 9.75, 117.0),
                    GivenSet(2, MONDAY, dt.time(9, 0), 2.5, 8.0, None))  # fmt: skip
            farm.add_given_week(GivenWeek(0, MONDAY, NOW, sets))
            farm.set_pin(Pin(2, dt.date(2026, 3, 4), 0.0))


if __name__ == "__main__":
    if PATH.exists():
        sys.exit(f"{PATH} is frozen; it is not made again")
    PATH.parent.mkdir(exist_ok=True)
    make(PATH)
