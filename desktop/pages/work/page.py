"""Field days: feeding and spraying on one calendar with the water."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from desktop import theme
from desktop.charts.jobs import paint_job
from desktop.lazy import WhenShown
from desktop.models.work import Board, board
from desktop.pages.work.board import BoardHead, BoardView
from desktop.pages.work.card import JobCard
from desktop.pages.work.words import event_words, job_title
from desktop.session import Session
from desktop.settings import Settings
from desktop.widgets import Link, text
from desktop.wording import day_named, say, tr, word
from waterbudget.fieldwork import Job

if TYPE_CHECKING:
    from waterbudget.agenda import Event
    from waterbudget.ical import Entry

SIDE = 326
NEXT_LINES = 6


class JobMark(QWidget):
    """A mark of the board, for the legend."""

    def __init__(self, kind: str, state: str) -> None:
        super().__init__()
        self.kind, self.state = kind, state
        self.setFixedSize(16, 16)

    def sizeHint(self) -> QSize:
        """A mark's size."""
        return QSize(16, 16)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the mark."""
        paint_job(QPainter(self), QRectF(1, 1, 14, 14), self.kind, self.state)


class Swatch(QWidget):
    """A piece of a bar or a ground of the board, for the legend."""

    def __init__(self, kind: str) -> None:
        super().__init__()
        self.kind = kind
        self.setFixedSize(18, 14)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint it as the board does."""
        painter, c = QPainter(self), theme.colours()
        if self.kind == "dry":
            painter.fillRect(QRectF(1, 0, 16, 14), theme.hatch("dry"))
            return
        painter.setPen(QColor(c.planned_edge if self.kind == "planned" else c.quiet))
        painter.setBrush(QColor(c.planned if self.kind == "planned" else c.quiet))
        painter.drawRect(QRectF(1, 5, 15, 5))


class WorkPage(QWidget):
    """Field days: feeding and spraying on one calendar with the water.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.board: Board | None = None
        self._build()
        self.later = WhenShown(self, self._refresh)
        session.season_changed.connect(self.later.ask)
        session.closed.connect(self._closed)
        self._refresh()

    # -- building ------------------------------------------------------------------------

    def _build(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 10, 16, 8)
        row.setSpacing(16)
        left = QVBoxLayout()
        left.setSpacing(4)
        top = QHBoxLayout()
        top.addWidget(text(tr("Field days"), theme.TITLE, bold=True))
        top.addStretch(1)
        self.export = Link(tr("Calendar file (.ics)"), self.ask_ics)
        top.addWidget(self.export)
        left.addLayout(top)
        self.view = BoardView()
        self.head = BoardHead(self.view)
        left.addWidget(self.head)
        self.roll = QScrollArea()
        self.roll.setWidgetResizable(True)
        self.roll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.roll.setWidget(self.view)
        left.addWidget(self.roll, 1)
        left.addLayout(self._legend())
        row.addLayout(left, 1)
        side = QWidget()
        side.setFixedWidth(SIDE)
        column = QVBoxLayout(side)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addWidget(text(tr("What comes next"), theme.LEAD, bold=True))
        self.next = QVBoxLayout()
        self.next.setSpacing(1)
        column.addLayout(self.next)
        self.card = JobCard(self.session)
        column.addWidget(self.card, 1)
        row.addWidget(side)
        self.setFocusProxy(self.view)
        self.view.job_chosen.connect(self.card.show_job)
        self.view.day_chosen.connect(self.card.show_day)
        self.view.job_moved.connect(self.card.move_job)
        self.view.opened.connect(self.card.start)

    def _legend(self) -> QHBoxLayout:
        line = QHBoxLayout()
        line.setSpacing(5)
        signs: list[tuple[QWidget, str]] = [
            (JobMark("feed", "due"), tr("feeding")), (JobMark("spray", "due"), tr("spraying")),
            (JobMark("feed", "done"), tr("done")), (JobMark("spray", "moved"), tr("moved")),
            (JobMark("feed", "skipped"), tr("left undone")),
            (Swatch("planned"), tr("watering planned")), (Swatch("ran"), tr("ran")),
            (Swatch("dry"), tr("no overhead water")),
        ]  # fmt: skip
        for sign, words in signs:
            line.addWidget(sign)
            line.addWidget(text(words, theme.SMALL, quiet=True))
            line.addSpacing(8)
        line.addStretch(1)
        return line

    # -- what is shown -------------------------------------------------------------------

    def show_what(self, *, block: str | None = None, job: Job | None = None, **_: Any) -> None:
        """Show the board, and a job where one is named."""
        self._refresh()
        if block is not None and job is not None:
            self.view.choose_named(block, job)

    def _closed(self) -> None:
        self.board = None
        self.view.board = None
        self.card.show_nothing()
        self.head.update()
        self.view.update()

    def _refresh(self) -> None:
        season = self.session.season
        if season is None:
            return
        self.board = board(season)
        self.view.can_edit = self.session.at_today
        self.view.show_board(self.board)
        self._fill_next()
        chosen = self.view.chosen
        if chosen is not None:
            self.card.show_job(*chosen)
        elif self.card.date is not None and self.card.row is not None:
            self._day_again(self.card.row.block_id, self.card.date)
        else:
            self.card.show_nothing()

    def _day_again(self, block_id: int, date: dt.date) -> None:
        """Show a day again; a job that was just planned there is chosen."""
        assert self.board is not None
        for k, row in enumerate(self.board.rows):
            if row.block_id == block_id:
                job = next((j for j in row.jobs if j.date == date), None)
                if job is not None:
                    self.view.choose(k, job)
                else:
                    self.card.show_day(row, date)

    def _fill_next(self) -> None:
        assert self.board is not None
        while (item := self.next.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        lines = self.board.coming[: self._lines()]
        if not lines:
            self.next.addWidget(text(tr("Nothing in the next six weeks."), quiet=True))
        for name, job in lines:
            words = f"{day_named(job.date)}  {name}: {job_title(job)}"
            late = job.date < self.session.today
            link = Link(words, partial(self._pick, name, job), bold=late)
            if late:
                link.setToolTip(tr("Was due; say if it was done."))
            self.next.addWidget(link)
        more = len(self.board.coming) - len(lines)
        if more > 0:
            self.next.addWidget(text(tr("and {0} more").format(more), quiet=True))

    def _lines(self) -> int:
        return NEXT_LINES if self.height() < 800 else 2 * NEXT_LINES

    def _pick(self, name: str, job: Job) -> None:
        self.view.choose_named(name, job)
        chosen = self.view.chosen
        if chosen is not None:
            at = self.view.place(self.view.row, chosen[1]).center().toPoint()
            self.roll.ensureVisible(at.x(), at.y(), 40, 60)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A taller page lists more of what comes next."""
        super().resizeEvent(event)
        if self.board is not None:
            self._fill_next()

    # -- out of the program ---------------------------------------------------------------

    def ask_ics(self) -> None:
        """Ask where, then write the calendar file."""
        if self.session.season is None:
            return
        settings = Settings()
        proposed = str(Path(settings.folder("export")) / tr("field days.ics"))
        kinds = tr("Calendar files (*.ics)")
        chosen, _ = QFileDialog.getSaveFileName(self, tr("Calendar file"), proposed, kinds)
        if chosen:
            path = Path(chosen)
            path = path if path.suffix else path.with_suffix(".ics")
            settings.set_folder("export", path.parent)
            self.write_ics(path)

    def write_ics(self, path: Path) -> None:
        """Write jobs, stages, waterings and prunings of the next six weeks."""
        season, now = self.session.season, self.session.now
        assert season is not None

        def work(_: Any) -> int:
            from waterbudget import agenda, ical

            first, last = agenda.span(season, season.on, None)
            found = agenda.events(season, season.blocks, first, last)
            name = season.orchard.name
            ical.write(path, [entry(e, name) for e in found], now=now, name=name)
            return len(found)

        def done(count: int) -> None:
            self.session.told.emit(tr("Written: {0}, {1} entries").format(path.name, count))

        self.session.query(work, done)


def entry(event: Event, farm: str) -> Entry:
    """Return an event as a calendar file holds it, in the language of the window."""
    from waterbudget import agenda

    kind = word(f"job.{event.code}") if event.job is not None else event_words(event)
    return agenda.calendar_entry(event, farm, event_words(event), kind, map(say, event.notes))
