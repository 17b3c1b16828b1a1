"""The week on its way out: paper for the valves, a message, calendar entries.

The language is an argument; the words stand in ``tables/words/<language>.csv``.  The PDF library
is heavy and is loaded only when a sheet is drawn.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from waterbudget.errors import Refused
from waterbudget.paper.entries import watering_entries
from waterbudget.paper.message import messages
from waterbudget.paper.words import LANGUAGE, Words, hours_on_paper
from waterbudget.records import GivenWeek
from waterbudget.season import Season
from waterbudget.sheet import valve_sheets

__all__ = [
    "LANGUAGE", "Words", "hours_on_paper", "messages", "need_place", "watering_entries",
    "write_week_pdf",
]  # fmt: skip


def write_week_pdf(
    season: Season, path: Path, *, given: GivenWeek | None = None, language: str = LANGUAGE,
    person: str | None = None,
) -> None:  # fmt: skip
    """Write the sheets of a week, one page (or more) a valve-person.

    Parameters
    ----------
    given : GivenWeek, optional
        A week that was handed out; the proposal where it is left out.
    language : str
        One of :func:`waterbudget.tables.languages`.
    person : str, optional
        Only this one's.

    Raises
    ------
    Refused
        ``file.cannot_write``; ``sheet.no_person``, ``sheet.no_language``.
    """
    from waterbudget.paper.page import drawn

    words = Words(language)
    sheets = valve_sheets(season, given, person)
    _write(path, drawn(season, sheets, words, given).output())


def need_place(path: Path) -> None:
    """Refuse a place no sheet can be written to, before anything is stored for it."""
    if path.exists() and not path.is_file():
        if path.is_dir():
            raise Refused("file.is_folder", file=str(path))
        return
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent):
            pass
    except OSError as fault:
        raise Refused("file.cannot_write", file=str(path), why=fault.strerror or "") from None


def _write(path: Path, data: bytes) -> None:
    """Write whole or not at all: a full disk leaves the sheet that was there."""
    need_place(path)
    part = path.with_name(f".{path.name}.part")
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        part.write_bytes(data)
        part.replace(path)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise Refused("file.cannot_write", file=str(path), why=fault.strerror or "") from None
