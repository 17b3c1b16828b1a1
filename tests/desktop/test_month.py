"""A made-up month in the window, day by day; what ran adds up to the meters at its end."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from month import Month
from month_life import live


def test_a_month_is_lived(qtbot: Any, tmp_path: Path) -> None:
    m = Month(qtbot, tmp_path, lambda w, n: w.grab().save(f"/tmp/month/{n}.png"))
    try:
        live(m)
    finally:
        s=m.story
        for k,v in vars(s).items():
            if k!="handed": print(k, v)
        print(m.refused, m.stored)
        for i,w in enumerate(m.whats): print(i,w, end="; ")
