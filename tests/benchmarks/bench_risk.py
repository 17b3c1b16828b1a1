"""Seconds for the coming month through 40 past years: 16, 60 and 200 blocks, one year as the unit.

Run it with the project's python; nothing is asserted.
"""

from __future__ import annotations

import datetime as dt
import time

import numpy as np

from waterbudget import risk, season
from waterbudget.orchard import Block, Cycle, Orchard, Station
from waterbudget.records import FarmData
from waterbudget.weather import COLUMNS, DailyRecord

ON = dt.date(2025, 8, 11)
YEARS = 40


def farm(blocks: int) -> FarmData:
    """A farm of like blocks pruned on different days, and a long record with its own ET0."""
    first = dt.date(ON.year - YEARS - 1, 1, 1)
    days = (ON - first).days
    rng = np.random.default_rng(1)
    values = {name: np.full(days, np.nan) for name in COLUMNS}
    values["tmax_c"][:], values["tmin_c"][:] = 29.0, 17.0
    values["et0_given_mm"][:] = rng.normal(4.5, 1.0, days).clip(1.0)
    values["rain_mm"][:] = rng.gamma(0.2, 12.0, days)
    own = tuple(
        Block(
            name=f"B{k}", id=k, area_ha=1.0, soil="loam", flow_m3_h=30.0, spacing_m=4.0,
            system="micro", cycles=(Cycle(ON - dt.timedelta(days=20 + 7 * k % 190)),),
        )
        for k in range(1, blocks + 1)
    )  # fmt: skip
    return FarmData(
        Orchard(name="f", lat=-19.9, lon=32.7, epsg=32736, blocks=own, et0="given",
                stations=(Station(name="s", id=1, elevation_m=1000.0),)),
        records={"s": DailyRecord(first, values)},
    )  # fmt: skip


def main() -> None:
    """Print one line a farm."""
    for blocks in (16, 60, 200):
        run = season.run(farm(blocks))
        begin = time.perf_counter()
        years = {"s": risk.past_years(run, "s")}
        read = time.perf_counter() - begin
        one = {"s": risk.PastYears(years["s"].years[:1], years["s"].et0_mm[:, :1],
                                   years["s"].rain_mm[:, :1])}  # fmt: skip
        seconds = {}
        for name, some in (("one", one), ("all", years)):
            best = np.inf
            for _ in range(5):
                begin = time.perf_counter()
                risk.outlook(run, some)
                best = min(best, time.perf_counter() - begin)
            seconds[name] = best
        print(f"{blocks:4d} blocks x {len(years['s'].years)} years x 30 days: "
              f"{1000 * seconds['all']:.0f} ms, {seconds['all'] / seconds['one']:.1f} times one "
              f"year; years read from the record once: {1000 * read:.0f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
