"""Which column holds what, and where a person must say so.

Rules: a header decides.  Two columns of one kind are asked about, except that of two wind
columns the one nearest 2 m is taken, and of two columns with the same readings the first (both
told).  Where no header tells of any quantity, every kind is asked for with
the columns that hold numbers as choices (and the units of wind, sun and rain with them).  What is
not recognised is left out and named.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np

from waterbudget.errors import Note
from waterbudget.units import UNITS, to_inside
from waterbudget.weather.asking import Asker
from waterbudget.weather.cells import kind_of, squeeze
from waterbudget.weather.guess import CHOICES
from waterbudget.weather.numbers import comma_kind, read_numbers
from waterbudget.weather.roles import QUANTITY_OF, role_of
from waterbudget.weather.table import Table
from waterbudget.weather.timecols import TimeColumns, profile
from waterbudget.weather.vocabulary import MEAN, words_of
from waterbudget.weather.words import height_in, plain, unit_in_header, unit_of, words

NONE, SUM = "none", "sum"
ASKED_DAILY = ("tmax", "tmin", "rh_max", "rh_min", "wind", "rs", "rain", "et0")
ASKED_UNITS = ("wind", "rs", "rain")
ASKED_HOURLY = ("temp", "rh", "wind", "rs", "rain")
_STATION = words_of(
    "station estacion estacao site sitio stid posto poste stationid gauge pluviometro stn wmo "
    "usaf locality localidad"
)  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column that is used.

    Attributes
    ----------
    index : int
        Position in the table.
    role : str
        See :data:`~waterbudget.weather.asking.ROLES`.
    name : str
        Its header as a person sees it (its number where it has none).
    unit_text : str
        What the row of units says.
    height_m : float or None
        Of the anemometer, where the header says it.
    """

    index: int
    role: str
    name: str
    unit_text: str = ""
    height_m: float | None = None


def label(table: Table, index: int) -> str:
    """Return the name of a column as it is shown and answered: header, or number from 1."""
    name = squeeze(re.sub(r"\s+", " ", table.names[index]))
    if not name:
        return str(index + 1)
    twins = [i for i, n in enumerate(table.names) if squeeze(n) == squeeze(table.names[index])]
    return name if len(twins) == 1 else f"{name} [{index + 1}]"


def find_station(table: Table) -> int | None:
    """Return the column that names the station, if there is one with more than one name."""
    for i, name in enumerate(table.names):
        tokens = words(name)
        if not set(tokens[:2]) & _STATION and plain(name) not in ("id", "name", "nombre", "nom"):
            continue
        if role_of(name).role is not None or profile(table, i).kind in ("date", "time"):
            continue
        cells = [squeeze(c) for c in table.column(i)]
        several = len(set(cells) - {""})
        named = not any("." in c or "," in c for c in cells if c[:1].isdigit())
        if 1 < several <= len(cells) / 2 and named:
            return i
    return None


def find_columns(
    table: Table, cols: TimeColumns, asker: Asker, daily: bool, station: int | None
) -> list[Column]:
    """Return the columns to use; questions are left with the asker, notes with the table."""
    by_role: dict[str, list[Column]] = defaultdict(list)
    either: list[tuple[Column, tuple[str, ...]]] = []
    ignored, free = [], []
    for i in range(len(table.names)):
        if i in cols.taken() or i == station:
            continue
        shown = label(table, i)
        p = profile(table, i)
        said = role_of(table.names[i], table.units[i])
        numeric = p.kind in ("number", "marked", "blank") or (
            said.role == "sun" and p.kind == "time"
        )
        numeric = numeric or (said.role is not None and _has_numbers(table, i))
        if said.role == "wind" and _is_wind_part(table, i):
            ignored.append(shown)
            continue
        height = height_in(f"{table.names[i]} {table.units[i]}") if said.role == "wind" else None
        column = Column(i, said.role or "", shown, table.units[i], height)
        if said.role and numeric:
            by_role[said.role].append(column)
        elif said.either and numeric:
            either.append((column, said.either))
        else:
            if table.names[i] or p.kind != "blank":
                ignored.append(shown)
            if numeric and p.kind != "blank" and not said.other and not said.role:
                free.append(column)
    if free and not any(by_role.values()):  # a header in a tongue we do not read
        free = sorted([*free, *(c for c, _ in either)], key=lambda c: c.index)
        either = []
    if not by_role["rain"] and not any("rain" in roles for _, roles in either):
        either += [(c, ("rain",)) for c in free if any(by_role.values()) and _may_be_rain(table, c)]
    chosen = _settle_either(either, by_role, asker, ignored)
    if not any(by_role.values()) and not chosen and not either:
        chosen += _ask_all(free, asker, daily)
    if daily:
        _lone_temperature(by_role, asker)
    for role, found in list(by_role.items()):
        if (
            daily
            and role in _PAIRS
            and len(found) > 1
            and not any(by_role[r] for r in _PAIRS[role])
        ):
            chosen += _pair(_PAIRS[role], found, asker)
        else:
            chosen += _one_of(role, found, table, asker)
    taken = {c.name for c in chosen}
    left = [n for n in dict.fromkeys(ignored) if n not in taken]
    if left:
        table.notes.append(Note.of("weather.note.ignored", columns=", ".join(left)))
    return chosen


def _lone_temperature(by_role: dict[str, list[Column]], asker: Asker) -> None:
    """Ask whether a plain temperature beside a lone low (or high) is the day's high (or low)."""
    highs, lows, plain_ones = (by_role[r] for r in ("tmax", "tmin", "temp"))
    if len(plain_ones) != 1 or bool(highs) == bool(lows) or set(words(plain_ones[0].name)) & MEAN:
        return
    role = "tmin" if highs else "tmax"
    name = plain_ones[0].name
    if asker.ask(f"column_{role}", (name, NONE)) == name:
        by_role[role] = [replace(plain_ones[0], role=role)]
        by_role["temp"] = []


def _is_wind_part(table: Table, index: int) -> bool:
    """Tell whether a column is the east or north part of the wind (u beside v), not its speed."""
    heads = [(words(n) or [""])[0] for n in table.names]
    return heads[index] in ("u", "v") and {"u", "v"} <= set(heads)


def _may_be_rain(table: Table, column: Column) -> bool:
    """Tell whether numbers under an unknown name could be rain: noughts and a few depths."""
    values = read_numbers(table.column(column.index), ".").values
    known = values[~np.isnan(values)]
    wet = known[known > 0.0]
    return (
        len(known) >= 5
        and not (known < 0.0).any()
        and bool((known == 0.0).any())
        and len(np.unique(wet)) >= 3
        and bool((wet != np.round(wet)).any())
        and float(known.max()) < 500.0
    )


def _has_numbers(table: Table, index: int) -> bool:
    """Tell whether a column of words ("dry") still holds numbers."""
    cells = [squeeze(c) for c in table.column(index)]
    kinds = [kind_of(c) for c in cells if c]
    return (
        kinds.count("word") < len(kinds)
        and "date" not in kinds
        and any(k in ("number", "marked") for k in kinds)
    )


def _settle_either(
    either: list[tuple[Column, tuple[str, ...]]],
    by_role: dict[str, list[Column]],
    asker: Asker,
    ignored: list[str],
) -> list[Column]:
    """Ask what a column is whose header fits two quantities."""
    chosen: list[Column] = []
    same = [c for c, roles in either if roles == ("rain",)]
    if len(same) > 1 and not by_role["rain"]:  # one question for all that may be the rain
        answer = asker.ask("column_rain", (*(c.name for c in same), NONE))
        picked = same[0].name if answer is None else answer
        chosen += [replace(c, role="rain") for c in same if c.name == picked]
        ignored += [c.name for c in same if c.name != picked]
        either = [e for e in either if e[0] not in same]
    for column, roles in either:
        answers = {}
        for role in roles:
            if not by_role[role]:
                answers[role] = asker.ask(f"column_{role}", (column.name, NONE))
                if answers[role] == column.name:
                    break
        named = [r for r, a in answers.items() if a == column.name]
        open_ = [r for r, a in answers.items() if a is None]
        if named or open_:  # what else to ask is found out as if it were the first
            chosen.append(replace(column, role=(named or open_)[0]))
        else:
            ignored.append(column.name)
    return chosen


def _ask_all(free: list[Column], asker: Asker, daily: bool) -> list[Column]:
    """Ask for every quantity which column it is, and with it what else would be asked then."""
    choices = (*(c.name for c in free), NONE)
    if not free:
        return []
    chosen = []
    for role in ASKED_DAILY if daily else ASKED_HOURLY:
        answer = asker.ask(f"column_{role}", choices)
        if answer is None and role in ASKED_UNITS:
            quantity = QUANTITY_OF[role]
            asker.ask(f"unit_{quantity}", CHOICES[quantity], column="-")
        if answer is None and role == "wind":
            asker.ask("wind_height_m", form="number_m", column="-")
        if answer is not None and answer != NONE:
            column = next(c for c in free if c.name == answer)
            height = height_in(column.name) if role == "wind" else None
            chosen.append(replace(column, role=role, height_m=height))
    return chosen


_PAIRS = {"temp": ("tmax", "tmin"), "rh": ("rh_max", "rh_min")}
"""What two or more columns of one plain name may be, one row a day."""


def _pair(roles: tuple[str, ...], found: list[Column], asker: Asker) -> list[Column]:
    """Ask which of several columns with one name is the day's high and which its low."""
    chosen = []
    for role in roles:
        answer = asker.ask(f"column_{role}", (*(c.name for c in found), NONE))
        chosen += [replace(c, role=role) for c in found if c.name == answer]
    return chosen


def _one_of(role: str, found: list[Column], table: Table, asker: Asker) -> list[Column]:
    """Return the one column of a role, asking where two claim it."""
    filled = [c for c in found if any(x.strip() for x in table.column(c.index))] or found[:1]
    if len(filled) < 2:
        return filled
    if role == "rain" and all(_PART_OF_DAY.search(plain(c.name)) for c in filled):
        answer = asker.ask("column_rain", (*(c.name for c in filled), SUM, NONE))
        picked = [c for c in filled if c.name == answer]
        return picked if answer in (*(c.name for c in filled), NONE) else [_added_up(filled, table)]
    answer = asker.given(f"column_{role}", (*(c.name for c in filled), NONE))
    if answer is not None:
        return [c for c in filled if c.name == answer]
    if role == "wind" and all(c.height_m is not None for c in filled):
        heights = sorted(filled, key=lambda c: abs((c.height_m or 0.0) - 2.0))
        table.notes.append(Note.of("weather.note.nearest_wind", column=heights[0].name))
        return heights[:1]
    better = _preferred(role, filled)
    if better is not None:
        others = ", ".join(c.name for c in filled if c is not better)
        table.notes.append(Note.of("weather.note.ignored", columns=others))
        return [better]
    twin = _same_in_other_units(role, filled, table)
    if twin is not None:
        table.notes.append(Note.of("weather.note.twin_columns", column=twin.name))
        return [twin]
    first = [squeeze(c) for c in table.column(filled[0].index)]
    if all([squeeze(c) for c in table.column(o.index)] == first for o in filled[1:]):
        table.notes.append(Note.of("weather.note.twin_columns", column=filled[0].name))
        return filled[:1]
    answer = asker.ask(f"column_{role}", (*(c.name for c in filled), NONE))
    if answer is None:
        return filled[:1]
    return [c for c in filled if c.name == answer]


_PART_OF_DAY = re.compile(
    r"(?<![a-z])(?:am|pm|a\.m\.|p\.m\.|morning|afternoon|evening|night|day ?time|manana|tarde|"
    r"noche|manha|noite|madrugada|matin|apres-midi|soir|nuit|"
    r"\d{1,2} ?(?:h|hrs?|:00|:30|utc))(?![a-z])"
)
"""A rain column of a part of the day: its day is the sum with its sisters."""


def _added_up(found: list[Column], table: Table) -> Column:
    """Put a column with the sum of several columns into a table; unknown where one is."""
    cells = [table.column(c.index) for c in found]
    mark = "," if any(comma_kind(c)[0] for c in cells) else "."
    total = np.sum([read_numbers(c, mark).values for c in cells], axis=0)
    for row, value in zip(table.rows, total.tolist(), strict=True):
        row.append("" if np.isnan(value) else f"{value:.4f}".replace(".", mark))
    table.names.append(table.names[found[0].index])
    table.units.append(table.units[found[0].index])
    return replace(found[0], index=len(table.names) - 1, name=" + ".join(c.name for c in found))


def _preferred(role: str, found: list[Column]) -> Column | None:
    """Return the one plain column among totals that run on, wind runs, sums of light."""
    if role == "rain":
        plain_ones = [c for c in found if not _running_name(c.name)]
    elif role == "wind":
        plain_ones = [
            c for c in found if not {"run", "recorrido", "percorrido"} & set(words(c.name))
        ]
    elif role == "rs":
        plain_ones = [
            c for c in found
            if "W/m2" in (unit_of(c.unit_text, "radiation"), unit_in_header(c.name, "radiation"))
        ]  # fmt: skip
    else:
        return None
    return plain_ones[0] if len(plain_ones) == 1 else None


def _same_in_other_units(role: str, found: list[Column], table: Table) -> Column | None:
    """Return the column in the unit used inside, where all hold one thing in other units."""
    quantity = QUANTITY_OF[role]
    units = [
        unit_of(c.unit_text, quantity) or unit_in_header(table.names[c.index], quantity)
        for c in found
    ]
    if None in units or len(set(units)) < len(units) or not set(units) <= set(UNITS[quantity]):
        return None
    values = []
    for column, unit in zip(found, units, strict=True):
        cells = table.column(column.index)
        mark = "," if comma_kind(cells)[0] else "."
        values.append(to_inside(quantity, unit or "", read_numbers(cells, mark).values))
    for other in values[1:]:
        both = ~np.isnan(values[0]) & ~np.isnan(other)
        off = np.abs(values[0][both] - other[both])
        if not both.any() or float(np.median(off)) > 0.02 * max(
            1.0, float(np.abs(other[both]).max())
        ):
            return None
    inside = next(iter(UNITS[quantity]))
    return found[units.index(inside)] if inside in units else found[0]


def _running_name(name: str) -> bool:
    """Tell whether a rain column's name speaks of a longer sum (month, year, event, counter)."""
    tokens = words(name)
    return any(
        t.startswith(("cum", "acum", "month", "mes", "year", "ano", "annee", "event", "storm",
                      "season", "running", "counter", "contador", "compteur", "ytd", "since",
                      "week", "seman", "semaine"))
        for t in tokens
    )  # fmt: skip
