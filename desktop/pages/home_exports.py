"""The week out of the program: sheet as PDF, CSV, clipboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QUrl
from PySide6.QtGui import QDesktopServices, QGuiApplication
from PySide6.QtWidgets import QFileDialog, QWidget

from desktop.models.week import WeekTable, week_given, week_table
from desktop.models.week_text import as_clipboard, as_csv, week_rows
from desktop.session import Session
from desktop.settings import Settings
from desktop.wording import tr, word
from waterbudget.errors import Refused


class Exports:
    """Takes the week of the open farm out; only while today is shown."""

    def __init__(self, parent: QWidget, session: Session) -> None:
        self._parent, self._session = parent, session
        self.open_after = True

    def _table(self) -> WeekTable | None:
        session = self._session
        if session.season is None or session.data is None:
            return None
        if not session.at_today:
            session.told.emit(tr("Printing is off while another morning is shown; press T."))
            return None
        return week_table(session.season, session.data)

    def rows(self, table: WeekTable) -> list[list[str]]:
        """Return the week as rows of cells."""
        heads = {
            "block": tr("block"), "stage": tr("stage"), "hours": tr("hours"), "m3": tr("m³"),
            "pump": tr("pump hours"), "valves": tr("valves to open"),
        }  # fmt: skip
        return week_rows(table, stage_word=lambda s: word(f"stage.{s}"), head=heads.__getitem__)

    def copy(self) -> None:
        """Put the week on the clipboard, as a spreadsheet pastes it."""
        table = self._table()
        if table is not None:
            QGuiApplication.clipboard().setText(as_clipboard(self.rows(table)))
            self._session.told.emit(tr("The week is on the clipboard."))

    def ask_csv(self) -> None:
        """Ask where, then write the week as CSV."""
        self._ask("csv", tr("Week as a CSV file"), tr("CSV files (*.csv)"))

    def ask_pdf(self) -> None:
        """Ask where, then write the sheet as PDF."""
        self._ask("pdf", tr("Sheet for the valves"), tr("PDF files (*.pdf)"))

    def _ask(self, kind: str, title: str, kinds: str) -> None:
        table = self._table()
        if table is None:
            return
        settings = Settings()
        name = tr("week {0}").format(table.on.isoformat()) + f".{kind}"
        proposed = str(Path(settings.folder("export")) / name)
        chosen, _ = QFileDialog.getSaveFileName(self._parent, title, proposed, kinds)
        if chosen:
            path = Path(chosen)
            if not path.suffix:
                path = path.with_suffix(f".{kind}")
            settings.set_folder("export", path.parent)
            self.write(kind, path)

    def write(self, kind: str, path: Path) -> None:
        """Write the week to a file in the worker thread, then say where it is."""
        table, session = self._table(), self._session
        if table is None:
            return
        season, data = session.season, session.data
        assert season is not None and data is not None
        text = as_csv(self.rows(table)) if kind == "csv" else ""
        given = week_given(data, table.on) if not table.changed_cells else None

        def work(_: Any) -> Path:
            if kind == "pdf":
                from waterbudget.paper import write_week_pdf

                write_week_pdf(season, path, given=given)
                return path
            try:
                path.write_text(text, encoding="utf-8-sig", newline="")
            except OSError as fault:
                raise Refused(
                    "file.cannot_write", file=str(path), why=fault.strerror or ""
                ) from None
            return path

        session.query(work, self._written)

    def _written(self, path: Path) -> None:
        self._session.told.emit(tr("Written: {0}").format(str(path)))
        if path.suffix == ".pdf" and self.open_after:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))
