"""How fast and how good the shared week is.  Run: python tests/benchmarks/bench_share.py

Invented blocks in every stage on one pump that is asked for a tenth more than it can pack.  For
each size, in one run: seconds of the linear model, the diving, the days (with the exact packing)
and the rule of thumb; the distance to the model's bound with and without the exact packing (the
bound knows flows and hours, not the timetable); the same of the rule of thumb; and the share of
the avoidable stress avoided.  Processor time, so that a busy machine does not tell.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent.parent / "waterbudget"))

from share_samples import blocks_of, packer, source_of, supply_of

from waterbudget import share
from waterbudget.share import dive as dive_of
from waterbudget.share import prices, roll
from waterbudget.share.model import Model

SIZES = (50, 200, 500)
LOAD = 1.1


def timed(what: Callable[[], Any]) -> tuple[float, Any]:
    """Return the processor seconds of a call, and its result."""
    start = time.process_time()
    result = what()
    return time.process_time() - start, result


def main() -> None:
    """Print one line a size."""
    head = ("blocks", "model", "diving", "days", "of it packing", "whole", "gap hours",
            "gap packed", "gap thumb", "avoided")  # fmt: skip
    print("  ".join(f"{h:>13}" for h in head))
    for n in SIZES:
        blocks = blocks_of(n)
        supply = supply_of(blocks, LOAD)
        pack, packing = packer(blocks, source_of(supply)), [0.0]

        def counted(*args: Any, pack: Any = pack, packing: list[float] = packing) -> Any:
            seconds, result = timed(lambda: pack(*args))
            packing[0] += seconds
            return result

        model = Model(blocks, supply, prices(blocks))
        lp, _ = timed(model.solve)
        diving, stays = timed(lambda m=model: dive_of(m))
        days, _ = timed(lambda m=model, s=stays, p=counted: roll(m, s, p))
        in_days = packing[0]
        whole, packed = timed(lambda b=blocks, s=supply, p=pack: share.share(b, s, p))
        hours = share.share(blocks, supply)
        thumb = (packed.greedy_cost - packed.bound) / (packed.bound + packed.base)
        figures = (
            f"{n}", f"{lp:.2f} s", f"{diving:.2f} s", f"{days:.2f} s", f"{in_days:.2f} s",
            f"{whole:.2f} s", f"{hours.gap:.1%}", f"{packed.gap:.1%}", f"{thumb:.0%}",
            f"{packed.avoided:.1%}",
        )  # fmt: skip
        print("  ".join(f"{f:>13}" for f in figures))


if __name__ == "__main__":
    main()
