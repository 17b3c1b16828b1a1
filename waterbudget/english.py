"""English sentences for codes: the words of the command line.

The texts stand in ``tables/sentences/*.csv``; the window translates the same texts, so there is
one list.  A field is written into its sentence as people write it: dates ISO, numbers short.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from waterbudget import tables
from waterbudget.errors import AnswersNeeded, Note, Question, WaterBudgetError

Speaks = Note | Question | WaterBudgetError


def sentence(thing: Speaks, texts: Mapping[str, str] | None = None) -> str:
    """Return the sentence of a note, question or error.

    Parameters
    ----------
    texts : mapping, optional
        Code to text in another language; English where it is left out.
    """
    if isinstance(thing, AnswersNeeded):
        return " ".join(sentence(q, texts) for q in thing.questions)
    return fill(thing.code, thing.fields, texts)


def fill(code: str, fields: Mapping[str, Any], texts: Mapping[str, str] | None = None) -> str:
    """Return the text of ``code`` with its fields written in."""
    known = tables.sentences() if texts is None else texts
    text = known.get(code)
    if text is None:
        inside = ", ".join(f"{k} {written(v, texts)}" for k, v in fields.items())
        return f"{code}: {inside}" if inside else code
    words = {k: written(v, texts, key=k) for k, v in fields.items()}
    try:
        return text.format_map(words)
    except (KeyError, IndexError, ValueError):
        return text


def written(value: Any, texts: Mapping[str, str] | None = None, key: str = "") -> str:
    """Return a field as people write it."""
    if isinstance(value, Note | Question | WaterBudgetError):
        return sentence(value, texts).rstrip(".")
    if key == "stage" and isinstance(value, str):
        return word(f"stage.{value}", texts)
    if key == "quantity" and isinstance(value, str):
        return ", ".join(word(f"quantity.{part}", texts) for part in value.split(", "))
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, bool):
        return word("yes" if value else "no", texts)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, list | tuple | set | frozenset):
        return ", ".join(written(v, texts) for v in value)
    return "" if value is None else one_line(str(value))


def number(value: float) -> str:
    """Return a figure as people write it: as it is to two decimals, else one (below 1: two).

    Bounds, shares and quarter hours (0.05, 24.25) are thus told as they are.
    """
    if abs(value) >= 1000 or value == round(value, 2):
        return f"{value:.6g}"
    if abs(value) >= 1:
        return f"{value:.1f}".removesuffix(".0")
    return f"{round(value, 2):g}" if abs(value) >= 0.05 else f"{value:.2g}"


def one_line(text: str) -> str:
    """Return text without line ends and other control characters, so that it stays a sentence."""
    return (
        text
        if text.isprintable()
        else " ".join("".join(c if c.isprintable() else " " for c in text).split())
    )


def word(code: str, texts: Mapping[str, str] | None = None) -> str:
    """Return the word for a code (``stage.fill`` -> "fruit fill"); the code itself if unknown."""
    known = tables.sentences() if texts is None else texts
    return known.get(code, code.rsplit(".", 1)[-1].replace("_", " "))
