"""Which column names the blocks, and what each block is called."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from waterbudget.errors import Note, Question, Refused
from waterbudget.orchard import fold
from waterbudget.outlines.desk import Desk
from waterbudget.outlines.model import Raw

NAME_WORDS = (
    "name", "nombre", "nome", "nom", "block", "bloque", "bloco", "block name", "blockname",
    "lote", "lot", "lote no", "parcel", "parcela", "parcelle", "plot", "quadra", "talhao",
    "gleba", "field", "campo", "label", "title", "titulo", "etiqueta",
)  # fmt: skip
NUMBER_WORDS = ("id", "code", "codigo", "cod", "no", "number", "numero", "num", "nr", "fid",
                "objectid", "ref")  # fmt: skip
LONGEST = 80
MOST_EXAMPLES = 4


def plain(column: str) -> str:
    """Return a column heading without accents, case, units in brackets and joining signs."""
    text = re.sub(r"[\[(].*?[\])]", "", column)
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c))
    return " ".join(re.split(r"[\s_.\-/]+", text.strip().casefold())).strip()


def clean(name: str) -> str:
    """Return a name as it may be stored: one line, no control signs, at most 80 letters."""
    text = "".join(" " if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in name)
    return " ".join(text.split())[:LONGEST].strip()


def choose_column(
    rows: Sequence[Mapping[str, str]], wanted: str | None, desk: Desk
) -> tuple[str | None, list[Note]]:
    """Return the column that holds the names, None where there is none (or it is being asked).

    A heading that means "name" wins; else the only text column whose values all differ; else a
    numbering; several text columns equally good are asked.

    Raises
    ------
    Refused
        ``outlines.no_such_column`` where the wanted one is not there.
    """
    columns = list(dict.fromkeys(c for row in rows for c in row))
    if wanted is not None:
        return named_column(columns, wanted), []
    by_plain = {plain(c): c for c in reversed(columns)}
    for word in NAME_WORDS:
        column = by_plain.get(word)
        if column is not None and any(row.get(column, "").strip() for row in rows):
            return column, []
    texts = [c for c in columns if c not in ("folder", "Layer") and _could_name(c, rows)]
    if len(texts) == 1:
        return texts[0], [Note.of("outlines.name_column_taken", column=texts[0])]
    if texts:
        examples = tuple("; ".join(r.get(c, "") for c in texts) for r in rows[:MOST_EXAMPLES])
        fields = {"columns": ", ".join(texts)}
        question = Question(
            "name_column", "outlines.ask_name_column", fields, tuple(texts), sample=examples
        )
        return desk.ask(question), []
    for word in NUMBER_WORDS:
        column = by_plain.get(word)
        values = [row.get(column, "").strip() for row in rows] if column else []
        if column and all(values) and len(set(values)) == len(values):
            return column, [Note.of("outlines.name_column_taken", column=column)]
    return None, []


def named_column(columns: list[str], wanted: str) -> str:
    """Return the column a person named.

    Raises
    ------
    Refused
        ``outlines.no_such_column`` naming those there are.
    """
    for same in (lambda c: c == wanted, lambda c: fold(c) == fold(wanted),
                 lambda c: plain(c) == plain(wanted)):  # fmt: skip
        for column in columns:
            if same(column):
                return column
    raise Refused("outlines.no_such_column", column=wanted, known=", ".join(columns) or "-")


def _could_name(column: str, rows: Sequence[Mapping[str, str]]) -> bool:
    values = [row.get(column, "").strip() for row in rows]
    if not values or not all(values) or len({fold(v) for v in values}) < len(values):
        return False
    if plain(column) in NUMBER_WORDS or any(len(v) > LONGEST for v in values):
        return False
    return all(re.search(r"[^\W\d_]", v) and not _is_date(v) for v in values)


def _is_date(value: str) -> bool:
    return re.match(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}", value) is not None


def give_names(raws: Sequence[Raw], name_column: str | None, desk: Desk) -> list[Note]:
    """Give each feature a name, all different, and return what was decided on the way.

    The column the names came from is taken out of the features' attributes.
    """
    notes: list[Note] = []
    own = [clean(r.name or "") for r in raws]
    grouped = any(r.kind == "corners" for r in raws)  # the reader has used the column already
    if not grouped and (name_column is not None or not any(own)):
        column, notes = choose_column([r.attributes for r in raws], name_column, desk)
        if column is not None:
            own = [clean(r.attributes.pop(column, "")) for r in raws]
    taken = {fold(name) for name in own if name}
    used: set[str] = set()
    counter = 0
    for raw, name in zip(raws, own, strict=True):
        raw.name = name
        while not raw.name:
            counter += 1
            if fold(f"Block {counter}") not in taken:
                raw.name = f"Block {counter}"
        if fold(raw.name) in used:
            raw.name = next_free(name, taken | used)
            notes.append(Note.of("outlines.same_name", name=name, new=raw.name))
        used.add(fold(raw.name))
    if blanks := sum(1 for name in own if not name):
        notes.append(Note.of("outlines.names_given", count=blanks))
    return notes


def next_free(name: str, taken: Iterable[str]) -> str:
    """Return ``East 2``, ``East 3`` ..., the first that no folded name in ``taken`` has."""
    taken = set(taken)
    number = 2
    while True:
        tail = f" {number}"
        candidate = name[: LONGEST - len(tail)].rstrip() + tail
        if fold(candidate) not in taken:
            return candidate
        number += 1
