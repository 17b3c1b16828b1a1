"""The week out of the program: sheet, calendar file, message, CSV, clipboard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QUrl
from PySide6.QtGui import QDesktopServices, QGuiApplication
from PySide6.QtWidgets import QFileDialog, QWidget

from desktop.exports import Way, write_csv
from desktop.models.week import WeekTable, week_given, week_table
from desktop.models.week_text import as_clipboard, as_csv, week_rows
from desktop.session import Session
from desktop.settings import Settings
from desktop.wording import tr, word
from waterbudget.errors import Refused

if TYPE_CHECKING:
    from waterbudget.records import GivenWeek
    from waterbudget.season import Season

ENDINGS = {"csv": "csv", "pdf": "pdf", "ics": "ics", "sets": "csv"}


class Exports:
    """Takes the week of the open farm out; only while today is shown."""

    def __init__(self, parent: QWidget, session: Session) -> None:
        self._parent, self._session = parent, session
        self.open_after = True
        self.dialog: Any = None

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

    def show(self) -> None:
        """Open the plate with every way out."""
        table = self._table()
        if table is None:
            return
        from desktop.dialogs.week_out import WeekOutDialog

        self.dialog = WeekOutDialog(self._parent.window(), self._session, table, self)
        self.dialog.open()

    def given(self, way: Way) -> GivenWeek | None:
        """Return the week handed out that is printed; None where the proposal is."""
        session = self._session
        if way.proposal or session.data is None:
            return None
        return week_given(session.data, session.day)

    def ask_csv(self) -> None:
        """Ask where, then write the week as CSV."""
        self.ask("csv")

    def ask(self, kind: str, way: Way | None = None) -> None:
        """Ask where, then write the week as a file: ``csv``, ``pdf``, ``ics`` or ``sets``."""
        table = self._table()
        if table is None:
            return
        title, kinds = {
            "csv": (tr("Week as a CSV file"), tr("CSV files (*.csv)")),
            "pdf": (tr("Sheet for the valves"), tr("PDF files (*.pdf)")),
            "ics": (tr("Calendar file"), tr("Calendar files (*.ics)")),
            "sets": (tr("Waterings as a CSV file"), tr("CSV files (*.csv)")),
        }[kind]
        settings, ending = Settings(), ENDINGS[kind]
        names = {"sets": tr("waterings {0}")}
        name = names.get(kind, tr("week {0}")).format(table.on.isoformat()) + f".{ending}"
        proposed = str(Path(settings.folder("export")) / name)
        chosen, _ = QFileDialog.getSaveFileName(self._parent, title, proposed, kinds)
        if chosen:
            path = Path(chosen)
            if not path.suffix:
                path = path.with_suffix(f".{ending}")
            settings.set_folder("export", path.parent)
            self.write(kind, path, way)

    def print_out(self, way: Way) -> None:
        """Write the sheet aside and open it with the program that prints PDF files here."""
        table = self._table()
        if table is None:
            return
        import tempfile

        folder = Path(tempfile.mkdtemp(prefix="week-"))
        self.write("pdf", folder / (tr("week {0}").format(table.on.isoformat()) + ".pdf"), way)

    def write(self, kind: str, path: Path, way: Way | None = None) -> None:
        """Write the week to a file in the worker thread, then say where it is."""
        table, session = self._table(), self._session
        if table is None:
            return
        season, how = session.season, way or Way()
        assert season is not None
        text = as_csv(self.rows(table)) if kind == "csv" else ""
        given, now = self.given(how), session.now

        def work(_: Any) -> Path:
            try:
                if kind == "csv":
                    path.write_text(text, encoding="utf-8-sig", newline="")
                elif kind == "sets":
                    _write_sets(season, given, path, how)
                elif kind == "ics":
                    _write_calendar(season, given, path, how, now)
                else:
                    from waterbudget.paper import write_week_pdf

                    write_week_pdf(
                        season, path, given=given, language=how.spoken, person=how.person
                    )
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


def _write_sets(season: Season, given: GivenWeek | None, path: Path, how: Way) -> None:
    """Write one line a watering."""
    from waterbudget import sheet

    found = sheet.set_rows(sheet.valve_sheets(season, given, how.person))
    write_csv(path, [sheet.SET_COLUMNS, *(tuple(row.values()) for row in found)])


def _write_calendar(
    season: Season, given: GivenWeek | None, path: Path, how: Way, now: Any
) -> None:  # fmt: skip
    from waterbudget import ical, paper

    found = paper.watering_entries(season, given=given, language=how.spoken, person=how.person)
    name = paper.Words(how.spoken)("calendar", farm=season.orchard.name)
    ical.write(path, found, now=now, name=name)
