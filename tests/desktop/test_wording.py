"""Words: sentences for codes, numbers and dates, languages."""

from __future__ import annotations

import datetime as dt

import pytest

from desktop import labels, wording
from desktop.wording import day_named, day_year, fixed, hours, number, say, thousands, tr, word
from waterbudget.errors import AnswersNeeded, Note, Question, Refused
from waterbudget.orchard import BLOCK_KEYS, FARM_KEYS


def test_refused_setting_is_named_in_plain_words() -> None:
    said = say(Refused("key.out_of_bounds", key="pump_hours", value="99", low=0.25, high=24))
    assert said == "Pump runs at most is 99; it must lie between 0.25 and 24."


def test_sentence_inside_a_sentence() -> None:
    inner = Refused("key.bad_date", key="pruned_on", value="31/02")
    said = say(Refused("csv.row", line=4, file="b.csv", block="Kiln", fault=inner))
    assert said.startswith("b.csv, line 4 (Kiln): Pruned on is 31/02, which is not a date")
    assert ".. " not in said


def test_window_never_speaks_of_command_line_options() -> None:
    for thing in (Refused("station.name_needed"), Refused("station.which", known="a, b"),
                  Refused("season.no_record"), AnswersNeeded([Question("x", "y")])):  # fmt: skip
        assert "--" not in say(thing)


def test_unknown_code_and_missing_field_do_not_fail() -> None:
    assert say(Note("no.such_code", {"n": 3})) == "no.such_code (n: 3)"
    assert "…" in say(Refused("farmfile.exists"))


def test_words_for_codes() -> None:
    assert word("stage.fill") == "fruit fill"
    assert word("no.such_word") == "such word"


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(4.25, 2, "4.25"), (3.0, 2, "3"), (-2.125, 1, "−2.1"), (0.0001, 2, "0"), (-0.001, 1, "0"),
     (None, 1, "–"), (float("nan"), 1, "–"), (100.0, 0, "100")],
)  # fmt: skip
def test_number(value: float | None, digits: int, text: str) -> None:
    assert number(value, digits) == text


def test_fixed_hours_thousands() -> None:
    assert (fixed(3, 2), fixed(-0.001, 1), hours(11.75)) == ("3.00", "0.0", "11.75")
    assert thousands(3784.4) == "3\u202f784"


def test_dates_do_not_follow_the_machine() -> None:
    day = dt.date(2025, 7, 14)
    assert (day_named(day), day_year(day)) == ("Mon 14 Jul", "Mon 14 Jul 2025")


def test_language_changes_words_and_back(monkeypatch: pytest.MonkeyPatch) -> None:
    class Small(wording.Catalogue):
        def __init__(self, code: str) -> None:
            super().__init__(code)
            self.texts = {"Home": "Inicio", "verb|Open": "Abrir", "Open": "Abierto"}

    monkeypatch.setattr(wording, "Catalogue", Small)
    wording.use_language("es")
    assert tr("Home") == "Inicio"
    assert tr("Open", "verb") == "Abrir" and tr("Open") == "Abierto"
    assert tr("not in the catalogue {0}") == "not in the catalogue {0}"
    wording.use_language("en")
    assert tr("Home") == "Home"


def test_every_setting_has_a_plain_name() -> None:
    for of, keys in (("farm", FARM_KEYS), ("block", BLOCK_KEYS)):
        unnamed = [k for k in keys if labels.label(k, of) == k]
        assert unnamed == []
