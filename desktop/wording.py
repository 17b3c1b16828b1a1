"""Words for the screen: translation, sentences for the core's codes, numbers and dates.

``tr("literal {0}").format(value)`` is the only way to a text on the screen, always with a
literal: a test collects the literals and compares them with the catalogues in ``languages/``
(an f-string would pass unseen, so the test refuses one).  ``say`` and ``word`` do the same for
the codes the core raises and returns; their English stands in the core's sentence tables.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PySide6.QtCore import QCoreApplication, QLocale, QTranslator

from waterbudget.errors import Note, Question, WaterBudgetError

CONTEXT = "desktop"
LANGUAGES = {"en": "English", "es": "Español"}
"""Code and own name of every language there is a catalogue for (English needs none)."""

_FOLDER = Path(__file__).parent / "languages"

OWN_SENTENCES = {
    "planting.no_spacing": "{block}: type the distance between trees in the row first.",
    "planting.no_row_spacing": "Type the distance between rows first.",
    "planting.no_heights": "{block}: contour rows need a height file: choose one under Hill first.",
    "planting.bad_mark": "Type row and number of the tree, or click it on the plan.",
    "nursery.no_trees": "{block}: the number of trees is not known: type the trees wanted.",
    "desktop.unexpected": "Something went wrong inside the program; nothing was stored. "
    "What is known of it stands in {log}.",
    "desktop.no_farm": "No farm is open.",
    "answers.needed": "The file can be read once a few questions are answered.",
    "station.name_needed": "Give the weather station a name.",
    "station.which": "There are several weather stations; choose one: {known}.",
    "season.no_record": "There is no weather record yet: bring in a station file or type rain.",
    "block.area_with_outline": "{block} has an outline, so its hectares come from there.",
    "ran.entered_already": "{block} has {was} entered for {date} already.",
    "outlines.letters_supposed": "The file does not say how its letters are written, Western "
    "European was supposed; where names look wrong, rename the blocks.",
    "farmfile.exists": "{path} is there already and was left as it is: choose another name.",
    "answers.not_a_number": "{value} is no number; write it with a decimal point, such as 2.5.",
    "answers.out_of_range": "{value} must lie between {low} and {high}.",
    "weather.ask.date_order": "Dates such as {text} can be read in more than one order: what "
    "comes first?",
    "weather.ask.blank_rain": "No zero is written in column {column}: what does an empty place "
    "mean?",
    "weather.ask.decimal_mark": "What is the comma in {text}?",
    "weather.ask.rain_kind": "What is the rain in column {column}?",
    "weather.ask.unlisted_days": "Only days with rain are listed: what of the days between?",
    "import.station_name": "Which weather station is this file from? Give it a name of its own.",
    "import.station_which": "Which weather station is this file from?",
    "import.coming_days": "The file runs to {first}, and those days have not come yet. What is it?",
    "answer.import_station.+": "Another station, new here",
}
"""Sentences for what only the window can meet or must say without command line options."""


class Catalogue(QTranslator):
    """One language read from ``languages/<code>.json``: English text to text.

    A text with a note stands there as ``"note|text"``.
    """

    def __init__(self, code: str) -> None:
        super().__init__()
        self.code = code
        path = _FOLDER / f"{code}.json"
        self.texts: dict[str, str] = (
            json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
        )

    def isEmpty(self) -> bool:
        """Tell Qt whether there is anything in here."""
        return not self.texts

    def translate(
        self, context: str, text: str, about: str | None = None, number: int = -1
    ) -> str:  # fmt: skip
        """Return the text in this language, or as it is where the catalogue lacks it."""
        if about and (found := self.texts.get(f"{about}|{text}")):
            return found
        return self.texts.get(text) or text


class _State:
    catalogue: Catalogue | None = None
    language = "en"


def language() -> str:
    """Return the code of the language in use."""
    return _State.language


def system_language() -> str:
    """Return the language of the desktop where there is a catalogue for it, else English."""
    code = QLocale.system().name().split("_")[0]
    return code if code in LANGUAGES else "en"


def use_language(code: str) -> None:
    """Switch the language; windows are built anew by whoever asks for this."""
    app = QCoreApplication.instance()
    if _State.catalogue is not None and app is not None:
        app.removeTranslator(_State.catalogue)
    _State.catalogue, _State.language = None, "en"
    if code != "en" and code in LANGUAGES:
        _State.catalogue, _State.language = Catalogue(code), code
        if app is not None:
            app.installTranslator(_State.catalogue)


def tr(text: str, about: str = "") -> str:
    """Return a literal text in the language in use.

    Parameters
    ----------
    text : str
        A literal, with ``{0}`` or ``{name}`` for what is put in afterwards.
    about : str
        A literal note where the same English text needs two translations.
    """
    return QCoreApplication.translate(CONTEXT, text, about or None)


def say(thing: Note | WaterBudgetError | Question) -> str:
    """Return the sentence for what the core returned or raised."""
    template = template_of(thing.code)
    if template is None:
        rest = ", ".join(f"{k}: {plain(v)}" for k, v in thing.fields.items())
        return f"{thing.code} ({rest})" if rest else thing.code
    translated = QCoreApplication.translate(CONTEXT, template)
    values = _Fields({k: _field(k, v) for k, v in thing.fields.items()})
    try:
        return translated.format_map(values)
    except (ValueError, TypeError, AttributeError, IndexError, KeyError):
        return _by_value(translated, thing.fields)


def template_of(code: str) -> str | None:
    """Return the English sentence of a code with its fields still open; the window's own wins."""
    from waterbudget.tables import sentences  # only when there is something to say

    return OWN_SENTENCES.get(code) or sentences().get(code)


def word(code: str) -> str:
    """Return the word for a code: ``word("stage.fill")`` gives "fruit fill"."""
    text = template_of(code)
    if text is None:
        return code.rsplit(".", 1)[-1].replace("_", " ")
    return QCoreApplication.translate(CONTEXT, text)


def _field(name: str, value: Any) -> str:
    """Return a field of a sentence; codes of settings and stages become words."""
    if isinstance(value, str):
        if name in ("key", "other_key"):
            from desktop.labels import label

            return label(value)
        if name == "stage":
            return word(f"stage.{value}")
        if name == "quantity":
            return ", ".join(word(f"quantity.{part}") for part in value.split(", "))
    if isinstance(value, WaterBudgetError | Note | Question):
        return say(value).rstrip(".")
    if isinstance(value, list | tuple) and any(isinstance(v, Note) for v in value):
        return ", ".join(_field(name, v) for v in value)
    return plain(value)


class _Fields(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "…"


def _by_value(template: str, fields: Mapping[str, Any]) -> str:
    """Fill in a sentence that formats its numbers itself (``{mm:.1f}``)."""
    try:
        return template.format_map(fields)
    except (ValueError, TypeError, AttributeError, IndexError, KeyError):
        return template


def plain(value: Any) -> str:
    """Return a field's value as people read it."""
    if value is None:
        return "–"
    if isinstance(value, WaterBudgetError | Note | Question):
        return say(value)
    if isinstance(value, bool):
        return tr("yes") if value else tr("no")
    if isinstance(value, float):
        return number(value, 2)
    if isinstance(value, dt.datetime):
        return f"{day_year(value.date())} {value:%H:%M}"
    if isinstance(value, dt.date):
        return day_year(value)
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, list | tuple | set | frozenset):
        return ", ".join(plain(v) for v in value)
    return str(value)


# -- numbers and dates ------------------------------------------------------------------


def number(value: float | None, digits: int = 1) -> str:
    """Return a number with at most ``digits`` decimals, no trailing zeros; "–" for none."""
    if value is None or value != value:
        return "–"
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text.replace("-", "−")


def fixed(value: float | None, digits: int = 1) -> str:
    """Return a number with exactly ``digits`` decimals, for columns that line up."""
    if value is None or value != value:
        return "–"
    text = f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) != 0 else text.lstrip("-")


def hours(value: float | None) -> str:
    """Return hours as on the screen: 4.25, 3, 2.5."""
    return number(value, 2)


def thousands(value: float | None) -> str:
    """Return a whole number with narrow spaces: 3 784."""
    if value is None or value != value:
        return "–"
    return f"{value:,.0f}".replace(",", "\u202f").replace("-", "−")


def weekday(day: dt.date) -> str:
    """Return Mon, Tue, ..."""
    names = (tr("Mon"), tr("Tue"), tr("Wed"), tr("Thu"), tr("Fri"), tr("Sat"), tr("Sun"))
    return names[day.weekday()]


def month(day: dt.date) -> str:
    """Return Jan, Feb, ..."""
    names = (
        tr("Jan"), tr("Feb"), tr("Mar"), tr("Apr"), tr("May"), tr("Jun"),
        tr("Jul"), tr("Aug"), tr("Sep"), tr("Oct"), tr("Nov"), tr("Dec"),
    )  # fmt: skip
    return names[day.month - 1]


def day_short(day: dt.date) -> str:
    """Return "14 Jul"."""
    return f"{day.day} {month(day)}"


def day_named(day: dt.date) -> str:
    """Return "Mon 14 Jul"."""
    return f"{weekday(day)} {day_short(day)}"


def day_year(day: dt.date) -> str:
    """Return "Mon 14 Jul 2025"."""
    return f"{day_named(day)} {day.year}"
