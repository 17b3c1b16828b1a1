"""The demo farm file: built by actions, and by the printed commands from ``sample_maps``."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from waterbudget import actions, cli, demo
from waterbudget.demo import files
from waterbudget.demo.estate import unwatered
from waterbudget.demo.weather import invent
from waterbudget.errors import Refused
from waterbudget.store import FarmFile

FOLDER = Path(__file__).parents[3] / "sample_maps"
NOW = dt.datetime(2025, 8, 11, 7, 2)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    path = tmp_path_factory.mktemp("built") / "hill.gpkg"
    demo.build(path, now=NOW).close()
    return path


@pytest.fixture(scope="module")
def typed(tmp_path_factory):
    path = tmp_path_factory.mktemp("typed") / "hill.gpkg"
    for command in demo.commands(str(path), str(FOLDER)):
        assert cli.main(command) == 0, command
    return path


def read(path):
    with FarmFile.open(path) as file:
        return file.read()


def test_the_farm_is_marked_invented_and_whole(built):
    with FarmFile.open(built) as file:
        data = file.read()
        assert actions.check(file) == ()
    assert data.orchard.invented
    assert data.orchard.epsg == 32736
    assert data.orchard.time_zone == "Africa/Maputo"
    assert len(data.orchard.blocks) == 16
    assert data.last_day() == demo.DEMO_DATE - dt.timedelta(days=1)


def test_nothing_is_missing_for_the_week(built, capsys):
    assert cli.main(["week", str(built), "--json"]) == 0
    week = json.loads(capsys.readouterr().out)
    assert week["from"] == demo.DEMO_DATE.isoformat()
    assert len(week["blocks"]) == 16
    assert all(b["hours"] is not None for b in week["blocks"])
    assert sum(b["hours"] for b in week["blocks"]) > 100


def test_the_commands_give_the_same_farm(built, typed):
    one, other = read(built), read(typed)
    plain = replace(one.orchard, invented=False, blocks=(), stations=())
    assert plain == replace(other.orchard, blocks=(), stations=())
    assert one.orchard.stations == other.orchard.stations
    for a, b in zip(one.orchard.blocks, other.orchard.blocks, strict=True):
        assert a.outline.equals(b.outline)
        assert replace(a, outline=None, id=0) == replace(b, outline=None, id=0)
    assert [(r.date, r.hours, r.m3) for r in one.ran] == [
        (r.date, r.hours, r.m3) for r in other.ran
    ]
    for name, record in one.records.items():
        for quantity, values in record.values.items():
            assert np.array_equal(values, other.records[name].values[quantity], equal_nan=True)


def test_the_commands_give_the_same_week(built, typed, capsys):
    weeks = []
    for path in (built, typed):
        assert cli.main(["week", str(path), "--json"]) == 0
        weeks.append(json.loads(capsys.readouterr().out))
    assert weeks[0] == weeks[1]


def test_what_ran_was_worked_out_on_the_farm_that_is_built(built):
    stored, memory = read(built), unwatered(invent())
    for a, b in zip(stored.orchard.blocks, memory.orchard.blocks, strict=True):
        assert a.outline_ha == pytest.approx(b.outline_ha, rel=1e-3)
        assert replace(a, outline=None, outline_ha=None, id=0) == replace(
            b, outline=None, outline_ha=None, id=0
        )


def test_the_dry_list_tells_the_story(built, capsys):
    assert cli.main(["dry", str(built), "--json"]) == 0
    told = {b["block"]: b for b in json.loads(capsys.readouterr().out)}
    assert told["Quarry lip"]["in_fill"] and told["Quarry lip"]["alarm"]
    assert told["Quarry lip"]["dr_mm"] > told["Quarry lip"]["allowed_mm"]
    assert not told.get("Broken cart", {"alarm": False})["alarm"]


def test_a_file_that_is_there_is_kept(tmp_path):
    path = tmp_path / "mine.gpkg"
    path.write_text("my own notes")
    with pytest.raises(Refused):
        demo.build(path, now=NOW)
    assert path.read_text() == "my own notes"


def test_the_readme_shows_the_commands():
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    for command in files.commands("hill.gpkg", "sample_maps"):
        words = [f'"{w}"' if " " in w else w for w in command]
        assert "waterbudget " + " ".join(words) in text
