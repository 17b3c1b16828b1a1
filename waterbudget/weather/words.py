"""The words people write over columns, in English, Spanish, Portuguese and French.

Vocabulary of the trade and of weather services, common practice, no source.  Two doors:
:func:`role_of` (what is in a column) and :func:`unit_of` (in which unit).
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from waterbudget.weather.vocabulary import (
    MAX,
    MEAN,
    MIN,
    OTHER_STATS,
    UNIT_NAMES,
    words_of,
)

_SPLIT_STAT = re.compile(
    r"(t|temp|temperature|temperatura|ta|rh|hr|ur|hum|humidity|h|ws|wind|dew|td|tair|airt|rs|dewpoint|u)"
    r"(max|min|mean|avg|med|moy|mx|mn|maxima|minima|media|prom|maximum|minimum)"
)
_SHORT = {"tx": "t max", "tn": "t min", "tm": "t mean", "tg": "t mean", "rhx": "rh max",
          "rhn": "rh min", "tmp": "temp", "temps": "temps"}  # fmt: skip


@lru_cache(maxsize=8192)
def plain(text: str) -> str:
    """Return text in small letters without accents, raised digits or odd signs."""
    text = re.sub(r"[°ºᵒ˚]", " deg ", text).replace("µ", "u").replace("‰", "permille")
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = re.sub(r"m[^\s]{1,3}?xim", "maxim", re.sub(r"m[^\s]{1,3}?nim", "minim", text))
    text = text.replace("−", "-").replace("–", "-").replace("⁄", "/").replace("·", ".")
    return re.sub(r"\s+", " ", text.casefold()).strip()


def words(text: str) -> list[str]:
    """Return the words and numbers of a header, compounds such as ``Tmax`` taken apart."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    found: list[str] = []
    bare = re.sub(r"\b\d+[ -]?min(?:utes?)?\b", " ", plain(text))  # "10 min" is a time
    for token in re.findall(r"[a-z]+|\d+(?:\.\d+)?", bare):
        split = _SPLIT_STAT.fullmatch(token)
        if token in _SHORT:
            found.extend(_SHORT[token].split())
        elif split:
            found.extend(split.groups())
        else:
            found.append(token)
    return found


def is_stat(cell: str) -> bool:
    """Tell whether a header cell says only Max, Min, Avg, Tot ..."""
    tokens = re.findall(r"[a-z]+", plain(cell))
    return bool(tokens) and all(t in MAX | MIN | MEAN | OTHER_STATS for t in tokens)


_LOOKUP = {
    quantity: {form: unit for unit, forms in units.items() for form in forms.split()}
    for quantity, units in UNIT_NAMES.items()
}
_ANY_UNIT = frozenset(form for forms in _LOOKUP.values() for form in forms) | words_of(
    "degrees deg degree hectopascals mg/l v volts volt dbm ts rn yyyy-mm-dd dd/mm/yyyy "
    "mm/dd/yyyy hh:mm yyyymmdd dd-mm-yyyy cbar nan lst unitless none yyyy dd mm hh jj/mm/aaaa "
    "dd/mm/aaaa hhmm"
)


def _squeezed(text: str) -> str:
    text = plain(text).replace("degrees", "").replace("degree", "").replace("grados", "")
    text = re.sub(r"\bdeg\b|\bgraus\b|\bgrau\b|\bdegres\b|\bdegre\b|\bo(?=c\b)", "", text)
    text = text.encode("ascii", "ignore").decode()
    return re.sub(r"[\s_^()\[\]{}'’]|\.(?=[a-z(-]|$)", "", text).strip(",;:")


def unit_of(text: str, quantity: str) -> str | None:
    """Return the unit a piece of text names for a quantity; None where it names none."""
    if not text or not text.strip():
        return None
    key = _squeezed(text)
    return _LOOKUP[quantity].get(key) or _LOOKUP[quantity].get(key.replace("*", ""))


def is_unit_word(cell: str) -> bool:
    """Tell whether a header cell holds only a unit (or a date form)."""
    inner = re.fullmatch(r"\s*[\[({](.*)[\])}]\s*", cell)
    text = inner.group(1) if inner else cell
    if any(c.isalpha() and ord(c) > 0x2FF for c in plain(text)):
        return False  # a name in another script
    key = _squeezed(text)
    return key in _ANY_UNIT or _date_form(plain(cell)) is not None


def _date_form(text: str) -> str | None:
    day, month, year, part = "[dj]{1,2}", "m{1,3}", "[yaj]{1,4}", "[-/. ]?"
    for order, form in (
        ("dmy", (day, month, year)),
        ("mdy", (month, day, year)),
        ("ymd", (year, month, day)),
    ):
        if re.search(rf"\b{part.join(form)}\b", text):
            return order
    return None


def date_order_said(header: str) -> str | None:
    """Return the order a header tells (``DD/MM/YYYY``): ``dmy``, ``mdy`` or ``ymd``."""
    return _date_form(plain(header))


@lru_cache(maxsize=4096)
def unit_in_header(header: str, quantity: str) -> str | None:
    """Return the unit a header names for a quantity: in brackets, or among its last words."""
    for inside in re.findall(r"[\[({]([^\])}]*(?:\([^)]*\))?[^\])}]*)[\])}]", header):
        for piece in (inside, *re.split(r"[,;]", inside)):
            if unit := unit_of(piece, quantity):
                return unit
    if "/" in header and (unit := unit_of(header.split("/", 1)[1], quantity)):
        return unit
    outside = re.sub(r"[\[({].*?[\])}]", " ", header)
    outside = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", outside)
    split = [t for t in re.split(r"[\s_,;:]+", outside) if t]
    stats = MAX | MIN | MEAN | OTHER_STATS
    tokens = [(i, t) for i, t in enumerate(split) if plain(t) not in stats]
    for end in range(len(tokens), 0, -1):
        for start in range(max(0, end - 4), end):
            if tokens[start][0] == 0 and end - start == 1:
                continue  # a leading "T", "HR" or "W" is a name, not a unit
            for glue in ("", "/", " "):
                if unit := unit_of(glue.join(t for _, t in tokens[start:end]), quantity):
                    return unit
    return None


_HEIGHT = re.compile(
    r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,2})?)\s?_?(?:m|mts|metros|metres|meters)"
    r"(?![a-z0-9/.²^-]|\s*/|\s*s\b)"
)


def height_in(text: str) -> float | None:
    """Return the height [m] a header names (``10 m``, ``WS2M``, ``u2``); None for none."""
    low = plain(re.sub(r"[\[({].*?(?:/|s-1|s\b).*?[\])}]", " ", text))
    found = _HEIGHT.search(low)
    if found is None:
        found = re.search(r"(?:^|[^a-z])u_?(2|10)(?![\d.])", low)
    if found is None:
        return None
    height = float(found.group(1).replace(",", "."))
    return height if 0.5 <= height <= 100 else None
