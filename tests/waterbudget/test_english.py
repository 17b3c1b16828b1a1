"""Sentences for codes: figures as they are, one line each, every field filled."""

from __future__ import annotations

import datetime as dt

import pytest

from waterbudget import english
from waterbudget.errors import AnswersNeeded, Note, Question, Refused


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.05, "0.05"), (0.25, "0.25"), (24.25, "24.25"), (0.24, "0.24"), (26.775, "26.8"),
     (18.0, "18"), (63.99999, "64"), (0.3432, "0.34"), (0.9999, "1"), (-4.4444, "-4.4"),
     (0.0, "0"), (1234.567, "1234.57"), (500.1, "500.1")],
)  # fmt: skip
def test_figures_are_told_short_and_true(value, text):
    assert english.written(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(dt.date(2025, 7, 1), "2025-07-01"), (dt.datetime(2025, 7, 1, 6, 5), "2025-07-01 06:05"),
     (dt.time(6, 5), "06:05"), (True, "yes"), (None, ""), (["a", 2], "a, 2"), (7, "7"),
     ("two\nlines\t", "two lines")],
)  # fmt: skip
def test_fields_are_written_as_people_write_them(value, text):
    assert english.written(value) == text


def test_a_bound_and_two_close_shares_are_not_rounded_into_each_other():
    low = Refused("key.out_of_bounds", key="allowed_fill", value="0.01", low=0.05, high=0.9)
    assert "between 0.05 and 0.9" in english.sentence(low)
    soil = Refused("block.wilting_above_capacity", block="A", wp=0.24, fc=0.2)
    assert "wilting point 0.24 must be below field capacity 0.2;" in english.sentence(soil)


def test_a_fault_inside_a_row_is_one_sentence():
    inner = Refused("key.bad_choice", key="soil", value="cheese", choices="sand, loam")
    row = Refused("csv.row", line=3, file="b.csv", block="A", fault=inner)
    assert english.sentence(row) == (
        "b.csv, line 3 (A): soil cannot be cheese; choose one of: sand, loam. Nothing was stored."
    )


def test_stages_are_words_in_every_sentence():
    note = Note.of("why.enough", stage="fill", left=12.0, etc=20.0)
    assert english.sentence(note).startswith("fruit fill: 12 mm")


def test_all_questions_are_asked():
    one, two = (Question(k, "weather.changed_days", {"days": n, "first": dt.date(2025, 7, n)})
                for k, n in (("a", 1), ("b", 2)))  # fmt: skip
    text = english.sentence(AnswersNeeded([one, two]))
    assert "2025-07-01" in text and "2025-07-02" in text


def test_another_language_and_a_code_without_a_sentence():
    texts = {"why.enough": "{stage}: bastan {left} mm", "stage.fill": "llenado"}
    note = Note.of("why.enough", stage="fill", left=1.25)
    assert english.sentence(note, texts) == "llenado: bastan 1.25 mm"
    assert english.fill("not.there", {"a": 1}) == "not.there: a 1"
    assert english.word("not.there_yet") == "there yet"
