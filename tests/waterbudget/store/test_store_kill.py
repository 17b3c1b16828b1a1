"""A program killed while it saves loses nothing it had reported, and leaves no half state."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from store_samples import NOW, D, three_blocks

from waterbudget.store import FarmFile

SAVES = """
import dataclasses, datetime as dt, sys
from waterbudget.records import Pin, Ran
from waterbudget.store import FarmFile
now, day = dt.datetime(2026, 3, 2, 7, 30), dt.date(2026, 3, 1)
farm = FarmFile.open(sys.argv[1], hold=sys.argv[2] == "hold")
block = farm.read().orchard.blocks[0]
print("ready", flush=True)
for n in range(1, 201):
    with farm.transaction("save", now=now, n=n):
        farm.save_block(dataclasses.replace(block, trees=n))
        farm.set_ran(1, day, [Ran(1, day, hours=float(n))])
        farm.type_rain(None, day, float(n), now)
        farm.add_import("weather", f"{n}.csv", bytes([n]) * 9000)
        farm.set_pin(Pin(2, day, float(n)))
    print(n, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize("how", ["share", "hold"])
def test_kill_in_the_middle_of_200_saves(path: Path, how: str) -> None:
    FarmFile.create(path, three_blocks(), now=NOW).close()
    rng = random.Random(how)
    for wait_for in [0, *(rng.randrange(1, 190) for _ in range(5))]:
        with FarmFile.open(path) as farm:
            start = farm.version()
        child = subprocess.Popen([sys.executable, "-c", SAVES, str(path), how],
                                 stdout=subprocess.PIPE, text=True)  # fmt: skip
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        reported = [int(child.stdout.readline()) for _ in range(wait_for)]
        time.sleep(rng.uniform(0, 0.003))  # somewhere in one of the next saves
        child.send_signal(signal.SIGKILL)
        reported += [int(line) for line in child.stdout.read().split("\n")[:-1]]
        assert child.wait() == -signal.SIGKILL
        last = reported[-1] if reported else 0

        with FarmFile.open(path) as farm:
            assert farm.check() == []
            data = farm.read()
            saved = data.version - start
            # the kill may fall between the save and its report
            assert saved in (last, last + 1)
            names = [i.name for i in farm.imports()][-saved:] if saved else []
            changes = [fields["n"] for _, _, fields in farm.history(saved)]
        assert names == [f"{n}.csv" for n in range(1, saved + 1)]
        assert changes == list(range(saved, 0, -1))
        if saved:
            assert data.orchard.blocks[0].trees == saved
            assert [r.hours for r in data.ran] == [saved]
            assert data.rain_typed == {"farm": {D: saved}}
            assert [p.hours for p in data.pins] == [saved]
