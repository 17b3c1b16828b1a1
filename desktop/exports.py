"""Tables written to a file: CSV no cell of which can start a formula; how the week goes out."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import QFileDialog, QWidget

from desktop.session import Session
from desktop.wording import language, tr

RISKY = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Way:
    """How the week goes out.

    Attributes
    ----------
    language : str
        Of paper, message and calendar; empty: that of the window.
    person : str or None
        Only this valve-person's.
    proposal : bool
        As planned now, even where the week was handed out.
    """

    language: str = ""
    person: str | None = None
    proposal: bool = False

    @property
    def spoken(self) -> str:
        """Language in use."""
        return self.language or language()


def safe(cell: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula."""
    if isinstance(cell, str) and cell.startswith(RISKY):
        try:
            float(cell)
        except ValueError:
            return "'" + cell
    return "" if cell is None else cell


def write_csv(path: Path, rows: Iterable[Sequence[Any]]) -> None:
    """Write rows to a file (UTF-8 with a mark, so that spreadsheets read it)."""
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.writer(out)
        for row in rows:
            writer.writerow([safe(cell) for cell in row])


def ask_and_write(
    parent: QWidget, session: Session | None, name: str, rows: Iterable[Sequence[Any]]
) -> Path | None:  # fmt: skip
    """Ask where, write, and tell; None where nothing was written."""
    chosen, _ = QFileDialog.getSaveFileName(parent, tr("Export"), name, tr("CSV files (*.csv)"))
    if not chosen:
        return None
    path = Path(chosen)
    try:
        write_csv(path, rows)
    except OSError as fault:
        if session is not None:
            session.told.emit(tr("{0} cannot be written: {1}").format(path.name, fault.strerror))
        return None
    if session is not None:
        session.told.emit(tr("Written: {0}").format(path.name))
    return path
