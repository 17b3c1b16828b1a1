"""Everything the reader says has a sentence, and every field of the sentence is there."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest
from test_weather_collection import CASES

import waterbudget.weather
from waterbudget import tables
from waterbudget.errors import AnswersNeeded, Note, Question, Refused
from waterbudget.weather import read_weather
from waterbudget.weather.asking import KEYS

SOURCE = "\n".join(
    path.read_text(encoding="utf-8")
    for path in Path(waterbudget.weather.__file__).parent.glob("*.py")
)


def fields_of(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_code_in_the_source_has_a_sentence() -> None:
    codes = set(re.findall(r'"((?:weather|answers|key)\.[a-z0-9_.]+)"', SOURCE))
    codes = {c for c in codes if not c.startswith("waterbudget")}
    assert len(codes) > 40
    assert codes <= set(tables.sentences())


def test_every_question_has_a_sentence() -> None:
    assert {f"weather.ask.{key}" for key in KEYS} <= set(tables.sentences())


def test_every_mark_has_a_sentence() -> None:
    marks = set(re.findall(r'"([a-z_]+)",\s*(?:"[a-z_0-9]+"|COLUMN_OF)', SOURCE))
    said = {c.removeprefix("weather.flag.") for c in tables.sentences() if "weather.flag." in c}
    assert {"impossible", "rain_incomplete", "low_above_high"} <= marks & said


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.id)
def test_fields_fit(case) -> None:
    things: list[Note | Question | Refused] = []
    marks: set[str] = set()
    try:
        found = read_weather(case.bytes(), name=case.id, **case.given)
        things += found.notes
        marks = {f.what for f in found.flags}
    except AnswersNeeded as asked:
        things += asked.questions
    except Refused as refused:
        things.append(refused)
    for thing in things:
        text = tables.sentences()[thing.code]
        assert fields_of(text) <= set(thing.fields), thing.code
    for what in marks:
        assert f"weather.flag.{what}" in tables.sentences()
