"""Catalogues: every text on the screen goes through translation, and what a language lacks."""

from __future__ import annotations

import ast
import json
import string
from pathlib import Path

import pytest

from desktop import wording
from waterbudget.tables import sentences

DESKTOP = Path(wording.__file__).parent
COMPLETE: tuple[str, ...] = ()
"""Languages in which nothing may be missing (while pages are still written, none)."""
NEARLY = 0.95
"""Share of all texts every catalogue has at least."""

CALLS = {"tr", "translate"}


def called(function: ast.expr) -> str:
    """Return the name of a translation function; of Qt's own only, ``str.translate`` is another."""
    if isinstance(function, ast.Name):
        return function.id
    if isinstance(function, ast.Attribute) and isinstance(function.value, ast.Name):
        return function.attr if function.value.id == "QCoreApplication" else ""
    return ""


def texts_of(path: Path) -> tuple[set[str], list[str]]:
    """Return the literals of the translation calls in a file, and the calls without a literal."""
    found: set[str] = set()
    wrong: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        name = called(node.func)
        if name not in CALLS:
            continue
        words = node.args[1:] if name == "translate" else node.args
        if words and isinstance(words[0], ast.Constant) and isinstance(words[0].value, str):
            about = words[1] if len(words) > 1 else None
            note = f"{about.value}|" if isinstance(about, ast.Constant) and about.value else ""
            found.add(note + words[0].value)
        else:
            wrong.append(f"{path.name}:{node.lineno}")
    return found, wrong


def all_texts() -> set[str]:
    """Return every text that can reach the screen."""
    core = {c: t for c, t in sentences().items() if not c.startswith("usage.")}
    found = set({**core, **wording.OWN_SENTENCES}.values())
    for path in DESKTOP.rglob("*.py"):
        found |= texts_of(path)[0]
    return {text for text in found if any(c.isalpha() for c in text)}


def fields(text: str) -> set[str]:
    """Return the names put into a text."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def test_only_literals_are_translated() -> None:
    wrong = [w for path in DESKTOP.rglob("*.py") if path.name != "wording.py"
             for w in texts_of(path)[1]]  # fmt: skip
    assert wrong == []


def catalogue(code: str) -> dict[str, str]:
    texts = json.loads((DESKTOP / "languages" / f"{code}.json").read_text(encoding="utf-8"))
    assert isinstance(texts, dict)
    return texts


def test_every_catalogue_has_a_name() -> None:
    codes = {path.stem for path in (DESKTOP / "languages").glob("*.json")}
    assert codes == set(wording.LANGUAGES) - {"en"}


@pytest.mark.parametrize("code", sorted(set(wording.LANGUAGES) - {"en"}))
def test_translations_keep_what_is_put_in(code: str) -> None:
    wrong = [k for k, v in catalogue(code).items() if fields(k.split("|")[-1]) != fields(v)]
    assert wrong == []


@pytest.mark.parametrize("code", sorted(set(wording.LANGUAGES) - {"en"}))
def test_nearly_everything_is_translated(code: str) -> None:
    texts = all_texts()
    assert len(texts & set(catalogue(code))) >= NEARLY * len(texts)


@pytest.mark.parametrize("code", COMPLETE)
def test_nothing_is_missing_in_a_complete_language(code: str) -> None:
    missing = sorted(all_texts() - set(catalogue(code)))
    assert missing == [], f"{len(missing)} texts are missing in {code}.json"


@pytest.mark.parametrize("code", COMPLETE)
def test_no_translation_is_left_over(code: str) -> None:
    assert sorted(set(catalogue(code)) - all_texts()) == []
