"""A made-up month in the window, day by day; what ran adds up to the meters at its end.

Pictures and the README's section are made anew by ``draw_month.py``.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import month_farm
import numpy as np
import pytest
from month import RIGHT_M3, Month, day
from month_farm import DAYS, RAIN
from month_life import live
from month_story import HEAD, words

from desktop import wording
from desktop.pages.farm_history import change_words
from waterbudget.cli import main
from waterbudget.store import FarmFile

ROOT = Path(__file__).parents[2]
BLOCKS = tuple(month_farm.DIAL)


@pytest.fixture
def lived(qtbot: Any, tmp_path: Path) -> Iterator[Month]:
    """The farm after its month, still open in the window."""
    pictures = os.environ.get("MONTH_PICTURES")
    m = Month(qtbot, tmp_path, Path(pictures) if pictures else None)
    live(m)
    yield m
    m.window.close()


def test_a_month_is_lived(lived: Month, capsys: pytest.CaptureFixture[str]) -> None:
    m = lived
    assert m.refused == []
    what_ran_is_what_the_meters_measured(m)
    the_account_closes(m)
    the_events_did_what_they_should(m)
    m.window.close()
    m.settle()
    the_history_is_complete(m)
    from_the_command_line(m, capsys)
    the_readme_tells_it(m)


def metered(m: Month) -> dict[str, float]:
    """What every meter measured in the month, by its own dial [m3]."""
    return {n: m.meters[n] - month_farm.DIAL[n] for n in BLOCKS}


def what_ran_is_what_the_meters_measured(m: Month) -> None:
    """The window counts for every block what its dial went on by, and the hours that ran."""
    assert m.today == day(DAYS + 1)
    for name, m3 in metered(m).items():
        past = [s for s in m.season.block(name).past if s.date >= day(1)]
        assert sum(s.m3 for s in past) == pytest.approx(m3, abs=0.05), name
        hours = [h for (n, _), (h, _) in m.truth.items() if n == name]
        assert sum(s.hours for s in past) == pytest.approx(sum(hours)), name
        assert all(s.state in ("ran", "missed") for s in past), "nothing waits for a word"
    page = m.page("ran")
    assert page.waiting.text() == "No day waits."
    ran = {(n, d): h for (n, d), (h, _) in m.truth.items() if h > 0}
    for back in range(1, DAYS + 1):
        date = m.today - dt.timedelta(days=back)
        page.show_day(date)
        rows = {r.block.name: r for r in page.model.rows}
        wanted = {n: h for (n, d), h in ran.items() if d == date}
        assert {n for n, r in rows.items() if r.state == "ran"} == set(wanted)
        total = page.model.totals()
        assert total["hours"] == pytest.approx(sum(wanted.values())), date


def the_account_closes(m: Month) -> None:
    """Every day of every block, to less than a billionth of a millimetre."""
    account = m.season.account
    assert np.abs(account.closure_mm).max() < 1e-9
    month = slice((day(1) - m.season.first).days, (day(DAYS + 1) - m.season.first).days)
    for b in m.season.blocks:
        gross = sum(s.gross_mm for s in b.past if s.date >= day(1))
        net = m.season.drivers.irrigation_mm[month, b.column].sum()
        assert net == pytest.approx(gross * b.efficiency), b.block.name
    rain = m.season.drivers.rain_mm[month].sum(axis=0)
    assert rain == pytest.approx(np.full(len(BLOCKS), sum(RAIN.values())))


def the_events_did_what_they_should(m: Month) -> None:
    """Rain takes away, a missed watering is made up, sprayed leaves stay dry, fill comes first."""
    s = m.story
    corrected = {week.first for week in s.papers}
    assert {day(n) for n in (1, 4, 8, 10, 11, 15, 16, 22, 26)} <= corrected
    assert s.rain_h[1] < s.rain_h[0] and m.truth["Kettle", day(3)][0] > 0
    _, _, hours = s.missed
    old, new = s.missed_rest
    assert sum(new.values()) == pytest.approx(sum(old.values()) + hours, abs=1.0)
    assert max(new.values()) < 2 * hours and max(new) <= day(14)
    sprayed, before, after = s.spray
    assert before[sprayed] > 0 and sprayed not in after
    ran = {(n, d) for (n, d), (h, _) in m.truth.items() if h > 0}
    for (kind, block, _), date in s.jobs.items():
        if kind == "spray":
            assert (block, date) not in ran, "no overhead water on a day sprayed"
    assert s.jobs["feed", "New cut", 10] == s.jobs["spray", "New cut", 10] - dt.timedelta(days=1)
    assert s.pump_h[0] > 0 == s.pump_h[1]
    for block in ("Long row", "New cut"):
        assert not {(block, day(16)), (block, day(17))} & ran
    assert s.asked_m3 > RIGHT_M3 >= s.shared_m3
    assert "fill" not in {stage for _, stage in s.gave.values()} and s.gave
    assert s.drawn_m3 <= RIGHT_M3
    week = sum(v for (_, d), (_, v) in m.truth.items() if day(22) <= d <= day(27))
    assert s.drawn_m3 == pytest.approx(week, abs=0.05)
    assert s.years >= 9 and set(s.chance) == {"Kettle", "Long row"}
    assert s.tried_h[1] < s.tried_h[0] and s.dry_days[1] > s.dry_days[0]
    assert s.flow_m3_h[1] == pytest.approx(s.flow_m3_h[0] * month_farm.FAST["Long row"], rel=2e-3)
    assert len(set(s.undone)) >= 5, "undo and redo were tried on many kinds of edits"


def the_history_is_complete(m: Month) -> None:
    """Every edit, every undo and every redo is one line, and each is said in words."""
    with FarmFile.open(m.path) as file:
        lines = file.history(10_000)
    assert len(lines) == m.stored + 2  # the farm was begun, its weather brought in
    assert [at for at, _, _ in lines] == sorted((at for at, _, _ in lines), reverse=True)
    for _, what, fields in lines:
        said = change_words(what, fields)
        assert "…" not in said and not re.fullmatch(r"[a-z ]+", said), said


def from_the_command_line(m: Month, capsys: pytest.CaptureFixture[str]) -> None:
    """The same file, without the window."""
    path = str(m.path)
    assert main(["check", path]) == 0, capsys.readouterr().out
    capsys.readouterr()
    span = ["--from", day(1).isoformat(), "--to", day(DAYS).isoformat()]
    assert main(["ran", path, "--list", "--json", *span]) == 0
    told = json.loads(capsys.readouterr().out)
    for row in told["by_block"]:
        assert row["m3"] == pytest.approx(metered(m)[row["block"]], abs=0.05)
    assert told["total"][0]["m3"] == pytest.approx(sum(metered(m).values()), abs=0.1)
    assert {r["meter"]: r["m3"] for r in told["meters"]} == pytest.approx(metered(m), abs=0.05)
    assert sum(r["m3"] for r in told["rows"]) == pytest.approx(told["total"][0]["m3"])


def the_readme_tells_it(m: Month) -> None:
    """The README's section is the one written from this month, word for word."""
    wording.use_language("en")
    made = words(m)
    target = os.environ.get("MONTH_WORDS")
    if target:
        Path(target).write_text(made, encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    if HEAD in readme and not target:
        assert made.strip() in readme, "run tests/desktop/draw_month.py"
