"""Make the frozen farm file of format 3: ``python tests/farms/make_v3.py``, in the project folder.

The file stands for all those that growers made with the third format, so it is made once and then
left alone.  It is the farm of format 2 with one row of everything the third format brought.  All
figures are invented.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

from make_v1 import NOW
from make_v2 import make_2
from shapely.geometry import LineString

from waterbudget.orchard import Pump
from waterbudget.records import (
    FieldEntry,
    Figure,
    LandMark,
    MeterReading,
    TreeMark,
    Underlay,
)
from waterbudget.store import FarmFile

PATH = Path(__file__).parent / "v3" / "farm.gpkg"
ON = dt.date(2026, 2, 25)


def make_3(path: Path) -> None:
    """Write the farm, in several transactions as a grower would."""
    make_2(path)
    with FarmFile.open(path) as farm:
        with farm.transaction("pump.set", now=NOW, pump="River"):
            first = farm.add_row(Pump(name="River", flow_m3_h=40.0, runs_from=dt.time(22),
                                      runs_to=dt.time(5, 30), out_from=ON))  # fmt: skip
            farm.put_row(Pump(name="River", id=first.id, flow_m3_h=45.5, hours=7.0, head_m=38.0,
                              runs_from=dt.time(22), runs_to=dt.time(5, 30)))  # fmt: skip
        with farm.transaction("job.done", now=NOW, block="Rock bank"):
            farm.add_row(
                FieldEntry(
                    block_id=1,
                    date=ON,
                    kind="feed",
                    cycle_day=110,
                    done=True,
                    what="nitrogen, granular",
                    placed="soil",
                    n_kg_ha=32.5,
                )
            )
            farm.add_row(FieldEntry(block_id=2, date=ON, kind="spray", cycle_day=30, skipped=True))
        with farm.transaction("ran.meter", now=NOW, block="Rock bank"):
            farm.add_row(MeterReading(block_id=1, date=ON, m3=1204.5))
        with farm.transaction("trees.marked", now=NOW, block="Rock bank"):
            farm.add_row(TreeMark(block_id=1, row=3, number=12, state="missing", date=ON))
        with farm.transaction("land.marked", now=NOW):
            line = LineString([(500_000, 7_800_000), (500_120.5, 7_800_040)])
            farm.add_row(LandMark(kind="road", shape=line, width_m=4.0, name="Upper track"))
            farm.add_row(Underlay(path="hill.tif", kind="heights", opacity=0.6, unit="ft"))
            farm.add_row(Figure(name="nursery.graft_share", value=0.9))
        with farm.transaction("farm.set", now=NOW, keys=["right_m3_week"]):
            farm.save_farm(right_m3_week=5200.0, night_from=dt.time(21), pump_out_from=ON,
                           people=2, feed_days="12, 50")  # fmt: skip


if __name__ == "__main__":
    if PATH.exists():
        sys.exit(f"{PATH} is frozen; it is not made again")
    PATH.parent.mkdir(exist_ok=True)
    make_3(PATH)
