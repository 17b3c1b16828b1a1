"""The command trees."""

import datetime as dt
import json

import pytest
from shapely.geometry import box

from waterbudget.orchard import Block
from waterbudget.store import FarmFile

EAST, NORTH, NOW = 468_600.0, 7_799_500.0, dt.datetime(2025, 7, 14, 7)


@pytest.fixture
def planted(farm):
    outline = box(EAST, NORTH, EAST + 120, NORTH + 100)
    with FarmFile.open(farm) as file, file.transaction("block.new", now=NOW, block="Ridge"):
        file.save_block(Block(name="Ridge", outline=outline, spacing_m=4.0, outlet_l_h=40.0,
                              outlets_per_tree=1.0))  # fmt: skip
        file.save_block(Block(name="Bare", area_ha=1.0, spacing_m=4.0))
        file.save_block(Block(name="Open", outline=box(EAST, NORTH - 99, EAST + 9, NORTH - 50)))
    return farm


def test_trees_as_json(cli, planted):
    found = cli("trees", planted, "--block", "Ridge", "--json").json
    assert (found["pattern"], found["spacing_m"], found["rows"], found["trees"]) == (
        "square", 4.0, 25, 750)  # fmt: skip
    assert found["per_ha"] == pytest.approx(625, abs=1)
    assert (found["missing"], found["replaced"], found["living"]) == (0, 0, 750)
    assert found["row_length_m"] == pytest.approx(25 * 116, abs=0.5)
    first = found["points"][0]
    assert (first["row"], first["number"]) == (1, 1) and -19.91 < first["lat"] < -19.89
    other = cli("trees", planted, "--block", "Ridge", "--pattern", "triangle", "--spacing-m", "4",
                "--bearing", "90", "--setback-m", "3", "--headland-m", "6",
                "--json").json  # fmt: skip
    assert other["trees"] < 1.155 * 750 and other["bearing_deg"] == 90
    assert (other["setback_m"], other["headland_m"]) == (3, 6)


def test_store_mark_and_the_blocks_flow(cli, planted):
    done = cli("trees", planted, "--block", "Ridge", "--pattern", "triangle", "--store",
               "--mark", "2:3=missing", "--mark", "3:3=replaced", "--json").json  # fmt: skip
    assert (done["pattern"], done["missing"], done["replaced"]) == ("triangle", 1, 1)
    assert done["bearing"] == done["living"] - 1 == done["trees"] - 2
    kept = cli("block", planted, "Ridge", "--json").json
    assert kept["pattern"] == "triangle" and kept["grid_lat"] is not None
    again = cli("trees", planted, "--block", "Ridge", "--json").json
    assert again["trees"] == done["trees"] and again["missing"] == 1
    back = cli("trees", planted, "--block", "Ridge", "--mark", "2:3=living", "--json").json
    assert back["missing"] == 0


def test_files(cli, planted, tmp_path):
    for kind in ("gpx", "geojson", "csv", "pegs"):
        answer = cli("trees", planted, "--block", "Ridge", f"--{kind}", f"out.{kind}")
        assert answer.code == 0 and "750" in answer.out
    assert len(json.loads((tmp_path / "out.geojson").read_text())["features"]) == 750
    assert (tmp_path / "out.gpx").read_text().count("<wpt") == 750


def test_compare_and_words(cli, planted):
    found = cli("trees", planted, "--block", "Ridge", "--compare", "--peak-et0", "6", "--kc",
                "0.85", "--json").json  # fmt: skip
    assert [x["pattern"] for x in found["layouts"]] == ["square", "triangle", "rectangle"]
    assert found["layouts"][0]["litres_a_tree_peak_day"] == pytest.approx(81.6)
    answer = cli("trees", planted, "--block", "Ridge", "--compare")
    assert answer.code == 0 and "main" in answer.out
    answer = cli("trees", planted, "--block", "Ridge")
    assert "750 trees in 25 rows" in answer.out and "No slope is known" in answer.out


def test_roads(cli, planted, tmp_path):
    where = cli("trees", planted, "--block", "Ridge", "--json").json["points"]
    ends = [[where[i]["lon"], where[i]["lat"]] for i in (0, -1)]
    line = {"type": "LineString", "coordinates": ends}
    (tmp_path / "road.geojson").write_text(json.dumps(line))
    less = cli("trees", planted, "--block", "Ridge", "--road", "road.geojson", "--width-m", "5",
               "--json").json  # fmt: skip
    assert 700 < less["trees"] < 730
    listed = cli("trees", planted, "--drop", "1")
    assert listed.code == 0
    assert cli("trees", planted, "--block", "Ridge", "--json").json["trees"] == 750


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--block", "Open"], "distance between trees is not known"),
        (["--block", "Bare"], "no outline"),
        (["--block", "Nope"], "no block called Nope"),
        ([], "--block NAME"),
        (["--block", "Ridge", "--pattern", "rectangle"], "--row-spacing-m"),
        (["--block", "Ridge", "--pattern", "contour", "--row-spacing-m", "5"], "height file"),
        (["--block", "Ridge", "--spacing-m", "0.1"], "0.3 to 30"),
        (["--block", "Ridge", "--setback-m", "60"], "no tree fits"),
        (["--block", "Ridge", "--bearing", "north"], "bearing"),
        (["--block", "Ridge", "--mark", "99:1=missing"], "no tree 1 in row 99"),
        (["--block", "Ridge", "--mark", "1-1"], "ROW:NUMBER"),
        (["--block", "Ridge", "--road", "none.gpx"], "none.gpx"),
        (["--drop", "7"], "not there any more"),
    ],
)
def test_refused_in_one_sentence(cli, planted, words, said):
    answer = cli("trees", planted, *words)
    assert answer.code == 2 and said in answer.err and answer.out == ""
    assert answer.err.count("\n") == 1


@pytest.mark.parametrize(
    "words",
    [
        ["--pattern", "triangle", "--store", "--mark", "1:1=missing", "--mark", "99:1=missing"],
        ["--store", "--setback-m", "60"],
        ["--store", "--road", "none.gpx", "--pattern", "triangle"],
    ],
)
def test_a_refused_call_stores_nothing(cli, planted, words):
    before = cli("block", planted, "Ridge", "--json").json
    assert cli("trees", planted, "--block", "Ridge", *words).code == 2
    assert cli("block", planted, "Ridge", "--json").json == before
    assert cli("trees", planted, "--block", "Ridge", "--json").json["missing"] == 0


@pytest.mark.parametrize("kind", ["csv", "gpx", "geojson", "pegs", "heights"])
def test_the_farm_is_not_written_over(cli, planted, tmp_path, kind):
    before = (tmp_path / planted).read_bytes()
    answer = cli("trees", planted, "--block", "Ridge", f"--{kind}", planted)
    assert answer.code == 2 and "is the farm file itself" in answer.err
    assert (tmp_path / planted).read_bytes() == before


def test_a_folder_is_named_and_a_ph_that_cannot_be_is_refused(cli, planted):
    answer = cli("trees", planted, "--block", "Ridge", "--csv", ".")
    assert answer.code == 2 and answer.err.startswith(". cannot be written")
    for ph in ("-1", "20"):
        answer = cli("nursery", planted, "--block", "Ridge", "--plant-on", "2027-04-01", "--ph", ph)
        assert answer.code == 2 and answer.err == f"ph is {ph}; give a number from 0 to 14.\n"
