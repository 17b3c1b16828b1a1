"""Tables of one dataclass a row: what goes in comes back, and what goes out stays in the file."""

from __future__ import annotations

import datetime as dt
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from waterbudget.errors import Refused
from waterbudget.orchard import Block, Orchard, Pump
from waterbudget.records import TreeMark
from waterbudget.store import FarmFile
from waterbudget.store.schema import ROWS, row_fields

NOW = dt.datetime(2026, 3, 2, 6)
VALUES: dict[str, st.SearchStrategy[Any]] = {
    "int": st.integers(-(10**6), 10**6),
    "float": st.floats(-1e9, 1e9).map(lambda v: v + 0.0),  # a file keeps no minus zero
    "str": st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=12),
    "bool": st.booleans(),
    "dt.date": st.dates(dt.date(1990, 1, 1), dt.date(2100, 1, 1)),
    "dt.time": st.times().map(lambda t: t.replace(fold=0)),
    "BaseGeometry": st.lists(
        st.tuples(st.floats(1e5, 9e5), st.floats(1e5, 9e6)), min_size=2, max_size=5
    ).map(LineString),
}


@st.composite
def rows(draw: st.DrawFn) -> Any:
    kind = ROWS[draw(st.sampled_from(sorted(ROWS)))]
    fields = {
        name: 1 if name == "block_id"
        else draw(st.none() | VALUES[plain] if none else VALUES[plain])
        for name, plain, none in row_fields(kind)
    }  # fmt: skip
    return kind(**fields)


def a_farm(path: Path) -> FarmFile:
    orchard = Orchard(name="f", lat=-19.9, lon=32.7, epsg=32736, blocks=(Block(name="A", id=1),))
    return FarmFile.create(path, orchard, replace=True, now=NOW)


def held(file: FarmFile) -> list[Any]:
    data = file.read()
    return [*data.orchard.pumps,
            *(r for t in ROWS if t != "pumps" for r in getattr(data, t))]  # fmt: skip


@settings(max_examples=40, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
@given(st.lists(rows(), max_size=8))
def test_rows_come_back_as_they_went_in(tmp_path: Path, wanted: list[Any]) -> None:
    path = tmp_path / "f.gpkg"
    with a_farm(path) as file, file.transaction("x", now=NOW):
        for row in wanted:
            file.add_row(row)
    with FarmFile.open(path, read_only=True) as file:
        found = [replace(r, id=0) for r in held(file)]
        assert file.check() == []
    assert sorted(map(repr, found)) == sorted(repr(w) for w in wanted)


def test_a_row_put_in_the_place_of_another_leaves_it_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "f.gpkg"
    with a_farm(path) as file:
        with file.transaction("x", now=NOW):
            first = file.add_row(Pump(name="River", flow_m3_h=40.0))
        with file.transaction("x", now=NOW):
            second = file.put_row(replace(first, flow_m3_h=45.0))
        assert file.read().orchard.pumps == (second,)
        with file.transaction("x", now=NOW):
            assert file.drop_row(Pump, second.id) == second
            with pytest.raises(Refused, match=r"farmfile\.row_gone"):
                file.drop_row(Pump, second.id)
        with file.transaction("x", now=NOW):
            again = file.add_row(second)  # undone: it comes back as a row of its own
        assert replace(again, id=0) == replace(second, id=0)
    with closing(sqlite3.connect(path)) as db:
        flows = db.execute("SELECT flow_m3_h, in_use FROM pumps ORDER BY id").fetchall()
    assert flows == [(40.0, 0), (45.0, 0), (45.0, 1)]


def test_a_row_of_a_block_that_is_gone_is_refused(tmp_path: Path) -> None:
    mark = TreeMark(block_id=7, row=1, number=1, state="missing", date=dt.date(2026, 1, 1))
    with a_farm(tmp_path / "f.gpkg") as file:
        with pytest.raises(Refused, match=r"farmfile\.block_gone"), file.transaction("x", now=NOW):
            file.add_row(mark)
        assert file.read().tree_marks == ()
