"""The files in ``sample_maps`` are what the generator writes."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest
import rasterio

from waterbudget.demo import __main__ as script
from waterbudget.demo import files, hillside

FOLDER = Path(__file__).parents[3] / "sample_maps"
NUMBER = re.compile(r"-?\d+\.?\d*")


def same_but_for_the_last_digit(left: str, right: str) -> None:
    """Compare two texts number by number; a number may differ by one in its last place."""
    assert NUMBER.sub("#", left) == NUMBER.sub("#", right)
    for a, b in zip(NUMBER.findall(left), NUMBER.findall(right), strict=True):
        if a != b:
            places = len(a.partition(".")[2])
            assert abs(float(a) - float(b)) <= 1.01 * 10.0**-places, (a, b)


@pytest.mark.parametrize("name", files.texts())
def test_the_file_is_as_written(name):
    there = (FOLDER / name).read_text(encoding="utf-8")
    same_but_for_the_last_digit(there, files.texts()[name])


def test_the_comparison_sees_a_change():
    same_but_for_the_last_digit("1.25 h", "1.26 h")
    with pytest.raises(AssertionError):
        same_but_for_the_last_digit("1.25 h", "1.35 h")
    with pytest.raises(AssertionError):
        same_but_for_the_last_digit("1.25 h", "1.25 m")


def test_the_height_file_is_as_written():
    with rasterio.open(FOLDER / files.HEIGHTS) as file:
        assert np.abs(file.read(1) - hillside.height_grid()).max() < 0.11


def test_nothing_else_lies_there():
    assert {p.name for p in FOLDER.iterdir()} == {*files.texts(), files.HEIGHTS}
    assert set(files.CONTENTS) | {"README.md"} == {*files.texts(), files.HEIGHTS}


def test_names_agree_between_the_files():
    outlines = json.loads((FOLDER / "outlines.geojson").read_text(encoding="utf-8"))
    names = {f["properties"]["name"] for f in outlines["features"]}
    with (FOLDER / "blocks.csv").open(encoding="utf-8") as file:
        assert {r["name"] for r in csv.DictReader(file)} == names
    with (FOLDER / "ran.csv").open(encoding="utf-8") as file:
        assert {r["block"] for r in csv.DictReader(file)} <= names


def test_the_script_writes_them_all(tmp_path):
    assert script.main([str(tmp_path / "maps")]) == 0
    assert {p.name for p in (tmp_path / "maps").iterdir()} == {p.name for p in FOLDER.iterdir()}


def test_the_script_wants_a_folder(capsys):
    assert script.main([]) == 2
    assert "folder" in capsys.readouterr().err
