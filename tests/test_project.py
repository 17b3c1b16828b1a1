"""What holds for the project as a whole: layers, tables, sentences, README."""

from __future__ import annotations

import ast
import csv
import re
import shlex
import string
import subprocess
import sys
from pathlib import Path

import pytest

from waterbudget import tables
from waterbudget.cli import main

ROOT = Path(__file__).parent.parent
SOURCES = sorted([*ROOT.glob("waterbudget/**/*.py"), *ROOT.glob("desktop/**/*.py")])
KINDS = {"published", "common practice", "own estimate"}


def test_every_module_imports_only_from_lower_rows():
    lint = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([lint], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:]


def test_top_level_holds_what_the_readme_promises():
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    top = {line.split("/")[0] for line in listed if line and not line.startswith(".")}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "desktop", "waterbudget",
                   "tests", "sample_maps"}  # fmt: skip


@pytest.mark.parametrize(
    "path", sorted(ROOT.glob("waterbudget/tables/*.csv")), ids=lambda p: p.stem
)
def test_every_number_says_where_it_comes_from(path):
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert rows
    for row in rows:
        assert row["kind"] in KINDS, row
        assert row["source"], row
        assert None not in row, row


def _spoken() -> set[tuple[str, str]]:
    """Codes passed to Refused, FarmFileError, Note and Question anywhere in the source."""
    found = set()
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = ast.unparse(node.func)
            at = 1 if name == "Question" else 0
            if name not in ("Refused", "FarmFileError", "Note", "Note.of", "Question", "_refuse"):
                continue
            if len(node.args) > at and isinstance(node.args[at], ast.Constant):
                code = node.args[at].value
                if isinstance(code, str):
                    found.add((code, f"{path.relative_to(ROOT)}:{node.lineno}"))
    return found


def test_every_code_has_its_sentence():
    from desktop.wording import OWN_SENTENCES

    known = {**tables.sentences(), **OWN_SENTENCES}
    missing = sorted(f"{where} {code}" for code, where in _spoken() if code not in known)
    assert not missing


def test_sentences_are_sentences():
    for code, text in tables.sentences().items():
        fields = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
        assert all(name.isidentifier() for name in fields), code
        assert "  " not in text and text == text.strip(), code


def test_no_code_stands_twice():
    seen: dict[str, str] = {}
    for path in sorted(ROOT.glob("waterbudget/tables/sentences/*.csv")):
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
            assert row["code"] not in seen, (row["code"], path.name, seen.get(row["code"]))
            seen[row["code"]] = path.name


def _readme_commands() -> list[list[str]]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^\$WB (.+)$", text, re.MULTILINE)
    return [shlex.split(line) for line in lines]


def test_the_readme_week_can_be_followed(tmp_path, monkeypatch, capsys):
    (tmp_path / "sample_maps").symlink_to(ROOT / "sample_maps")
    monkeypatch.chdir(tmp_path)
    commands = _readme_commands()
    assert len(commands) >= 8
    for words in commands:
        assert main(words) == 0, (words, capsys.readouterr().err)
    out = capsys.readouterr().out
    shown = re.search(r"```text\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    assert shown is not None
    assert shown.group(1).strip() in out
    assert (tmp_path / "week.pdf").read_bytes().startswith(b"%PDF")


def test_ci_runs_the_readmes_test_command():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    assert ".venv/bin/python -m pytest" in readme
    assert ".venv/bin/python -m pytest" in script
    packages = re.search(r"--no-install-recommends ([a-z0-9 .-]+) &&", readme)
    assert packages is not None
    missing = [p for p in packages.group(1).split() if p not in script]
    assert not missing


def test_modules_stay_readable():
    long = {
        str(p.relative_to(ROOT)): n
        for p in SOURCES
        if (n := len(p.read_text(encoding="utf-8").splitlines())) > 600
    }
    assert not long
    main_window = ROOT / "desktop/main_window.py"
    assert len(main_window.read_text(encoding="utf-8").splitlines()) <= 350
