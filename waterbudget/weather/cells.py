"""What one cell of a table looks like: a number, a date, a time, a missing mark or a word."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Literal

from waterbudget.weather.vocabulary import words_of

Kind = Literal["blank", "missing", "number", "marked", "date", "time", "word"]

MISSING_WORDS = words_of(
    "na n/a nan null none nil nd n.d. n.d s/d sd m missing miss faltante falta ausente "
    "manquant mq msg void x ? . .. ... - -- --- ---- * ** *** **** / // /// //// _ __ #n/a "
    "#value! #div/0! #ref! #null! #num! inf -inf +inf 1.#qnan -1.#ind no_data nodata no-data "
    "bad error err --.- -.- ---.- blank empty s.d. s.d n/d sin sem"
) | {"no data", "sin dato", "sin datos", "sem dados", "not available", "–", "—", "− −"}

DRY_WORDS = words_of("nil dry seco seca sec nulo nula nula. nada zero cero trocken droog") | {
    "no rain", "sin lluvia", "no llovio", "no llovió", "sem chuva", "pas de pluie", "no precip"
}  # fmt: skip
"""What observers write for a day without rain."""

TRACE_WORDS = words_of("t tr tr. trace traces traza trazas traco tracos ip inap ipp inapp")
_TRACE_BELOW = re.compile(r"<\s*0?[.,]\d+\s*(mm)?")

NUMBER = (
    r"[-+−]?(?:\d{1,3}(?:[ '’\u00a0\u202f]\d{3})+(?:[.,]\d+)?"
    r"|\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:\.\d{3})+,\d+"
    r"|\d{1,3}(?:,\d{3}){2,}|\d{1,3}(?:\.\d{3}){2,}"
    r"|\d+(?:[.,]\d*)?|[.,]\d+)(?:[eEdD][-+]?\d{1,3})?"
)
_NUMBER = re.compile(NUMBER)
_MARKED = re.compile(rf"({NUMBER})\s*([^\d\s.,;|][^;|]{{0,13}})")
TIME = re.compile(
    r"(\d{1,2})\s*[:h]\s*(\d{2})?(?:\s*[:m]\s*(\d{2})(?:[.,]\d+)?\s*s?)?"
    r"\s*([ap]\.?\s?(?:m\.?)?)?(?:\s*(Z|UTC|GMT|[-+]\d{2}:?\d{2}|[-+]\d{2}))?",
    re.IGNORECASE,
)
_DATE = re.compile(
    r"(?:[^\W\d]{2,12}\.?,?\s+)?"  # a weekday
    r"(?:\d{1,4}\s?[-/.\s]\s?\d{1,2}\s?[-/.\s]\s?\d{1,4}"
    r"|\d{1,4}(?:st|nd|rd|th|er|º|°|o)?\s*[-/.,\s]?\s*(?:de\s+)?[^\W\d]{3,12}\.?\s*[-/.,\s]?\s*(?:del?\s+)?\d{2,4}"
    r"|[^\W\d]{3,12}\.?[-/.\s]\s*\d{1,2}(?:st|nd|rd|th)?[-/.,\s]\s*\d{2,4}"
    r"|(?:1[89]|20|21)\d{2}[-/.][0-3]\d{2}"  # year and day of the year
    r"|(?:1[6-9]|20|21)\d{2}[01]\d[0-3]\d(?:\d{2}|\d{4}|\d{6})?)"
    r"(?:T\d{4}(?:\d{2})?(?:[.,]\d+)?(?:Z|[-+]\d{2}:?\d{2})?"
    r"|(?:\s*[T,]\s*|\s+)\d{1,2}\s*[:h]\s*\d{0,2}.{0,20})?",
)


def squeeze(cell: str) -> str:
    """Return a cell without blanks and quotes around it."""
    return cell.strip().strip("\"'").strip().strip("\u00a0\u200b\ufeff")


@lru_cache(maxsize=65536)
def kind_of(cell: str) -> Kind:
    """Return what a cell looks like (``marked``: a number with a unit or a mark behind it)."""
    cell = squeeze(cell)
    if not cell:
        return "blank"
    low = cell.casefold()
    if low in MISSING_WORDS:
        return "missing"
    if _DATE.fullmatch(cell):
        return "date"
    if _NUMBER.fullmatch(cell):
        return "number"
    if TIME.fullmatch(cell) and not cell.isdigit():
        return "time"
    if low in TRACE_WORDS or _TRACE_BELOW.fullmatch(low):
        return "missing"
    if _MARKED.fullmatch(cell):
        return "marked"
    return "word"


def is_trace(cell: str) -> bool:
    """Tell whether a cell says that rain fell but too little to measure."""
    low = squeeze(cell).casefold()
    return low in TRACE_WORDS or _TRACE_BELOW.fullmatch(low) is not None


def is_data(cells: list[str]) -> bool:
    """Tell whether a row looks like readings and not like names, units or prose."""
    kinds = [kind_of(c) for c in cells]
    filled = [k for k in kinds if k != "blank"]
    if len(filled) < 2 and len(cells) < 3:
        return False
    hard = sum(k in ("number", "date", "time") for k in filled)
    soft = sum(k in ("missing", "marked") for k in filled)
    if "date" in filled and hard + soft >= 1 and len(filled) >= 1:
        return hard + soft >= 0.4 * len(filled)
    return hard >= 2 and hard + soft >= 0.6 * len(filled)
