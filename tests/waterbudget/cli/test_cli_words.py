"""Plain words out, odd words in: sentences, names, files in the way, exit codes."""

from __future__ import annotations

import datetime as dt
import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from own_et0_file import WEEK, write_own_et0

CODE_SPEAK = re.compile(
    r"\bNone\b|\bnan\b|\binf\b|\bTrue\b|\bFalse\b|Traceback|datetime|\{\w*\}|\bget_|"
    r"closure(?!_mm)|kernel|geodesic|\bCRS\b|\bDEM\b|\bTEW\b|\bREW\b|\d\.\d{5,}|\b1 (days|blocks)\b"
)


@pytest.fixture
def whole(cli, farm):
    write_own_et0(Path("s.csv"), dt.date(2025, 6, 1), 43, 4.5, {40: 3})
    cli("weather", farm, "s.csv", "--station", "house")
    cli("block", farm, "A", "--new", "area_ha=1.25", "flow_m3_h=20", "pruned_on=2025-02-05")
    cli("block", farm, "B", "--new")
    return farm


def test_answers_in_words_hold_no_code(cli, whole):
    write_own_et0(Path("one.csv"), WEEK, 1, 4.5, {})
    calls = [("week",), ("dry",), ("farm",), ("block",), ("block", "A"), ("check",),
             ("balance", "--block", "A"), ("et0",), ("record",), ("week", "--hand-out"),
             ("rain", "--on", "2025-07-13", "--mm", "-0"), ("weather", "one.csv")]  # fmt: skip
    for words in calls:
        call = (words[0], whole, *words[1:])
        answer = cli(*call)
        assert answer.code == 0, answer.err
        found = CODE_SPEAK.search(answer.out + answer.err)
        assert found is None, (call, found)


NAMES = [
    "Owl's tree",
    'the "big" one',
    "Ümlaut 日本",
    "-dash",
    "--two",
    "a=b",
    "50 %",
    "{0} %s",
    ".",
]


@pytest.mark.parametrize("name", NAMES)
def test_odd_names_are_names(cli, whole, name):
    made = cli("block", whole, "--new", *(["--"] if name.startswith("--") else []), name, "trees=9")
    assert made.code == 0, made.err
    names = [b["name"] for b in cli("block", whole, "--json").json]
    assert name in names
    option = ("--block", name) if not name.startswith("--") else (f"--block={name}",)
    assert cli("ran", whole, *option, "--on", "2025-07-10", "--hours", 1).code == 0
    assert cli("balance", whole, *option, "--json").code == 0
    assert cli("week", whole, "--pdf", "w.pdf").code == 0


def test_a_forgotten_name_is_not_a_block_called_area(cli, whole):
    answer = cli("block", whole, "--new", "area_ha=1.2")
    assert answer.code == 2 and "Name the block" in answer.err
    assert [b["name"] for b in cli("block", whole, "--json").json] == ["A", "B"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("week", "F", "--bogus"), "waterbudget --help"),
        (("week", "F", "--json", "--csv"), "not allowed with"),
        (("week", "F", "--pdf", "w.pdf", "--json"), "not allowed with"),
        (("balance", "F"), "--block"),
        (("balance", "F", "--block", "A", "--from", "2025-07-02", "--to", "2025-07-01"), "before"),
        (("et0", "F", "--station", "x"), "stations are: house"),
        (("rain", "F", "--on", "2025-07-01", "--mm", "3", "--gauge", " "), "needs a name"),
        (("rain", "F", "--on", "2025-07-01", "--mm", "1_0"), "not a number"),
        (("new", "g.gpkg", "--name", "g", "--at", "1_0,2"), "not a position"),
        (("block", "F", "A", "area_ha"), "KEY=VALUE"),
        (("block", "F", "A", "=3"), "KEY=VALUE"),
        (("block", "F", "--file", "b.csv", "A"), "not both"),
        (("ran", "F", "r.csv", "--block", "A"), "not both"),
        (("ran", "F", "--block", "A", "--on", "2025-07-01", "--again"), "--hours"),
        (("farm", "F", "pump_hours="), None),
        (("week", "."), "is a folder"),
        (("week", "F", "--on"), "expected one argument"),
    ],
)
def test_one_sentence_and_nothing_stored(cli, whole, words, says):
    before = Path(whole).read_bytes()
    answer = cli(*[whole if w == "F" else w for w in words])
    if says is None:
        assert answer.code == 0
        return
    assert answer.code == 2 and answer.out == "" and says in answer.err
    assert answer.err.count("\n") == 1
    assert Path(whole).read_bytes() == before


def test_a_line_end_in_a_cell_stays_out_of_the_sentence(cli, whole):
    Path("r.csv").write_text('block,date,hours\n"A\n\nB",2025-07-01,1\n')
    answer = cli("ran", whole, "r.csv")
    assert answer.code == 2 and answer.err.count("\n") == 1


@pytest.mark.parametrize(
    "words", [("week",), ("check",), ("block", "A", "trees=3"), ("week", "--json")]
)
@pytest.mark.parametrize("kind", ["text", "empty", "other", "newer", "cut", "none"])
def test_files_that_are_no_farm_are_left_alone(cli, whole, words, kind):
    path = Path(f"{kind}.gpkg")
    if kind == "text":
        path.write_text("my notes")
    elif kind == "empty":
        path.touch()
    elif kind == "other":
        with sqlite3.connect(path) as db:
            db.execute("CREATE TABLE farm (x)")
        db.close()
    elif kind in ("newer", "cut"):
        path.write_bytes(Path(whole).read_bytes())
    if kind == "newer":
        with sqlite3.connect(path) as db:
            db.execute("UPDATE farm SET value = 99 WHERE key = 'format_version'")
        db.close()
    if kind == "cut":
        os.truncate(path, path.stat().st_size // 2)
    before = path.read_bytes() if kind != "none" else b""
    answer = cli(words[0], path, *words[1:])
    assert answer.code == 2 and answer.out == "" and answer.err.count("\n") == 1
    assert path.name in answer.err
    assert path.exists() == (kind != "none") and (kind == "none" or path.read_bytes() == before)


def test_in_use_by_another_program(cli, whole):
    script = ("import sqlite3, sys; db = sqlite3.connect(sys.argv[1], isolation_level=None); "
              "db.execute('BEGIN EXCLUSIVE'); print('held', flush=True); input()")  # fmt: skip
    other = subprocess.Popen([sys.executable, "-c", script, whole], stdin=subprocess.PIPE,
                             stdout=subprocess.PIPE, text=True)  # fmt: skip
    try:
        assert other.stdout is not None and other.stdout.readline() == "held\n"
        for words in (("week", whole), ("block", whole, "A", "trees=3")):
            answer = cli(*words)
            assert answer.code == 2 and answer.out == "" and "another program" in answer.err
    finally:
        other.communicate("\n")
    assert cli("block", whole, "A", "--json").json["trees"] is None


@pytest.mark.parametrize("target", ["nowhere/w.pdf", "."])
def test_a_paper_that_cannot_be_written_hands_nothing_out(cli, whole, target):
    before = Path(whole).read_bytes()
    answer = cli("week", whole, "--hand-out", "--pdf", target)
    assert answer.code == 2 and answer.out == "" and answer.err.count("\n") == 1
    assert Path(whole).read_bytes() == before


def test_the_week_given_is_named_when_it_is_looked_at_again(cli, whole):
    assert cli("week", whole, "--hand-out", "--pdf", "w.pdf").code == 0
    assert Path("w.pdf").read_bytes().startswith(b"%PDF")
    week = cli("week", whole, "--json").json
    assert week["made_with"]["given_number"] == 1
    assert "Handed out as number 1 on" in cli("week", whole).out
    assert cli("week", whole, "--hand-out", "--json").json["given"]["number"] == 2
    cli("block", whole, "A", "kc_fixed=0.3")
    week = cli("week", whole, "--json").json
    (a,) = [b for b in week["blocks"] if b["block"] == "A"]
    assert "changed_since_given" in a["flags"]


def test_demo_is_written_over_only_when_it_is_said(cli):
    cli("new", "d.gpkg", "--name", "Mine", "--at", "-19.9,32.7")
    first = Path("d.gpkg").read_bytes()
    assert cli("demo", "d.gpkg").code == 2 and Path("d.gpkg").read_bytes() == first
    assert cli("demo", "d.gpkg", "--replace").code == 0
    assert len(cli("block", "d.gpkg", "--json").json) >= 14
    Path("notes.txt").write_text("mine")
    assert cli("demo", "notes.txt", "--replace").code == 2
    assert Path("notes.txt").read_text() == "mine"
    assert cli("check", "d.gpkg").code == 0


def test_an_unexpected_fault_is_one_sentence_and_a_log(cli, whole, monkeypatch, tmp_path):
    from waterbudget import season

    def broken(*_):
        raise RuntimeError("boom")

    monkeypatch.setattr(season, "run", broken)
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path))
    answer = cli("week", whole, "--json")
    assert answer.code == 1 and answer.out == "" and answer.err.count("\n") == 1
    (log,) = tmp_path.glob("waterbudget-*.log")
    assert "boom" in log.read_text() and str(log) in answer.err


def test_it_runs_from_anywhere_and_starts_light(whole, tmp_path):
    script = (
        "import sys\nfrom waterbudget.cli import main\n"
        f"code = main(['week', {str(tmp_path / whole)!r}])\n"
        "heavy = {'pandas', 'pyet', 'geopandas', 'rasterio', 'timezonefinder', 'fpdf', 'PySide6'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\nsys.exit(code)\n"
    )
    root = Path(__file__).parents[3]
    done = subprocess.run([sys.executable, "-c", script], cwd="/", text=True, capture_output=True,
                          env=os.environ | {"PYTHONPATH": str(root)}, check=False)  # fmt: skip
    assert done.returncode == 0 and "the week from Monday 2025-07-14" in done.stdout
    assert done.stderr.strip().splitlines()[-1] == "[]"
