"""Make the frozen farm file of format 2: ``python tests/farms/make_v2.py``, in the project folder.

The file stands for all those that growers made with the second format, so it is made once and
then left alone: later versions of the program must go on reading it.  It is the farm of format 1
with readings of the soil and a dated local factor.  All figures are invented.
"""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import replace
from pathlib import Path

from make_v1 import NOW, make

from waterbudget.records import Reading
from waterbudget.store import FarmFile

PATH = Path(__file__).parent / "v2" / "farm.gpkg"
READ_ON = dt.date(2026, 2, 27)


def make_2(path: Path) -> None:
    """Write the farm, in several transactions as a grower would."""
    make(path)
    with FarmFile.open(path) as farm:
        with farm.transaction("reading.entered", now=NOW, block="Rock bank"):
            wrong = Reading(1, READ_ON, "tensiometer", 280.0, 25.0, "T1")
            farm.set_readings(1, READ_ON, [wrong])
            right = replace(wrong, value=28.0, before_water=True)
            second = Reading(1, READ_ON, "tensiometer", 31.5, 25.0, "T2", True)
            farm.set_readings(1, READ_ON, [right, second])
            farm.set_readings(2, READ_ON, [Reading(2, READ_ON, "field", 12.25)])
        with farm.transaction("factor.set", now=NOW, block="Rock bank", old=1.0, new=0.95):
            block = replace(
                farm.read().orchard.blocks[0], kc_factor=0.95, kc_factor_before=1.0,
                kc_factor_from=dt.date(2026, 2, 20), kc_factor_why="three weeks of readings",
            )  # fmt: skip
            farm.save_block(block)


if __name__ == "__main__":
    if PATH.exists():
        sys.exit(f"{PATH} is frozen; it is not made again")
    PATH.parent.mkdir(exist_ok=True)
    make_2(PATH)
