"""One block edited -> map and week repainted, for many blocks.

Prints, side by side in one run: the season run again after the edit against the season from
nothing, and what the home page takes to lay out and paint both.  No asserts: read the ratios.

    python tests/benchmarks/bench_edit_repaint.py [blocks]
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))

from PySide6.QtWidgets import QApplication
from shapely import affinity

from desktop import theme
from desktop.mapview import MapBlock, MapCanvas
from desktop.models.standing import standing
from desktop.models.week import week_table
from desktop.pages.home_week import WeekView
from desktop.session import QUICK_FROM
from waterbudget import season
from waterbudget.demo import DEMO_DATE
from waterbudget.records import FarmData
from waterbudget.season import Cache, Season

TIMES = 7


def many(blocks: int) -> FarmData:
    """Return the demo farm with its blocks repeated side by side."""
    import datetime as dt
    from tempfile import TemporaryDirectory

    from waterbudget import demo

    with TemporaryDirectory() as folder:
        file = demo.build(Path(folder) / "farm.gpkg", now=dt.datetime(2025, 8, 11, 7))
        data = file.read()
        file.close()
    base = data.orchard.blocks
    made, ran = [], []
    for k in range(blocks):
        block, copy = base[k % len(base)], k // len(base)
        outline = affinity.translate(block.outline, copy % 4 * 1300, -(copy // 4) * 900)
        made.append(replace(block, id=k + 1, name=f"{block.name} {copy}", outline=outline))
        ran += [replace(r, block_id=k + 1) for r in data.ran if r.block_id == block.id]
    pump = (data.orchard.pump_m3_h or 100) * blocks / len(base)
    orchard = replace(data.orchard, blocks=tuple(made), pump_m3_h=pump)
    return replace(data, orchard=orchard, ran=tuple(ran))


def edited(data: FarmData, turn: int) -> FarmData:
    """Return the farm with the flow of one block changed."""
    blocks = list(data.orchard.blocks)
    block = blocks[turn]
    blocks[turn] = replace(block, flow_m3_h=20.0 + turn, flow_from="bucket")
    return replace(data, orchard=replace(data.orchard, blocks=tuple(blocks)))


def timed(do: Callable[[], object]) -> float:
    """Return how long something takes [ms]."""
    start = time.perf_counter()
    do()
    return (time.perf_counter() - start) * 1000


class Shown:
    """Map and week as the home page holds them."""

    def __init__(self, app: QApplication) -> None:
        self.app = app
        self.map, self.week = MapCanvas(), WeekView()
        self.map.resize(500, 560)
        self.week.resize(780, 560)
        self.map.show()
        self.week.show()
        app.processEvents()

    def show(self, made: Season, data: FarmData) -> None:
        """Lay out and paint one season in both."""
        self.week.show_table(week_table(made, data))
        self.map.show_blocks(
            [MapBlock(b.block.id, b.block.name, b.block.outline, standing(made, b), b.hectares)
             for b in made.blocks], data.orchard.epsg,
        )  # fmt: skip
        self.map.repaint()
        self.week.viewport().repaint()


def main(blocks: int) -> None:
    """Measure and print."""
    app = QApplication.instance() or QApplication([])
    assert isinstance(app, QApplication)
    theme.use(app, "light")
    data = many(blocks)
    whole = [timed(lambda: season.run(data, DEMO_DATE, cache=Cache())) for _ in range(2)]
    cache = Cache()
    shown = Shown(app)
    shown.show(season.run(data, DEMO_DATE, cache=cache), data)
    runs, paints, solves = [], [], []
    changed = data
    for turn in range(TIMES):
        changed = edited(changed, turn)  # on top of the last edit: one block differs, not two
        made: list[Season] = []
        quick = blocks > QUICK_FROM
        runs.append(
            timed(
                lambda d=changed, q=quick: made.append(
                    season.run(d, DEMO_DATE, cache=cache, quick=q)
                )
            )
        )
        paints.append(timed(lambda d=changed: shown.show(made[-1], d)))
        solves.append(timed(lambda d=changed: season.run(d, DEMO_DATE, cache=cache)))
    full, again, paint = min(whole), median(runs), median(paints)
    days = (DEMO_DATE - made[-1].first).days
    print(f"{blocks} blocks x {days} days")
    print(f"season from nothing            {full:8.1f} ms")
    print(f"season after one block edited  {again:8.1f} ms   1 : {full / again:.1f}")
    print(f"map and week painted           {paint:8.1f} ms")
    print(f"the shared week solved anew    {median(solves):8.1f} ms   (follows in the worker)")
    both = again + paint
    print(f"one block edited, repainted    {both:8.1f} ms   1 : {full / both:.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
