"""The board: a row a block, a column a day; stages above, field days and waterings below."""

from __future__ import annotations

import datetime as dt

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from desktop import theme
from desktop.charts.ink import CENTRE, Letters, dashes, pen
from desktop.charts.jobs import paint_job
from desktop.models.work import Board, BoardRow, urgent
from desktop.pages.work.words import job_state, job_title
from desktop.wording import month, number, tr, weekday, word
from waterbudget.fieldwork import Job

NAME = 122.0
ROW, RIBBON = 40, 15.0
HEAD = 74
MARK = 7.0


class DayColumns:
    """Where the days of a board stand across a width."""

    def __init__(self, board: Board, width: float) -> None:
        self.board, self.left = board, NAME
        self.per_day = max((width - NAME) / board.days, 4.0)

    def x(self, day: float) -> float:
        """Return the left edge of a day."""
        return self.left + day * self.per_day

    def day(self, x: float) -> int:
        """Return the day under a place."""
        return int((x - self.left) // self.per_day)


class BoardView(QWidget):
    """The rows; a job can be clicked, dragged to another day, and reached with the keyboard.

    Signals
    -------
    job_chosen(object, object)
        Row and job.
    day_chosen(object, object)
        Row and date of a cell without a job.
    job_moved(object, object, object)
        Row, job and its new date.
    opened()
        Enter was pressed on a job.
    resized()
    """

    job_chosen = Signal(object, object)
    day_chosen = Signal(object, object)
    job_moved = Signal(object, object, object)
    opened = Signal()
    resized = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.board: Board | None = None
        self.row, self.cell = 0, -1
        self.job_key: tuple[object, ...] | None = None
        self._drag: tuple[BoardRow, Job] | None = None
        self._over: int | None = None
        self.can_edit = True
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(tr("Field days by block and day"))
        theme.watch().changed.connect(self.update)

    def show_board(self, board: Board) -> None:
        """Show a board; the chosen job stays chosen while it is there."""
        self.board = board
        self.row = min(self.row, max(0, len(board.rows) - 1))
        self.setFixedHeight(max(1, len(board.rows)) * ROW + 2)
        self.update()
        self.resized.emit()

    def sizeHint(self) -> QSize:
        """As wide as there is room."""
        return QSize(800, 400)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Tell the head how wide a day is now."""
        super().resizeEvent(event)
        self.resized.emit()

    # -- what is chosen ------------------------------------------------------------------

    @property
    def chosen(self) -> tuple[BoardRow, Job] | None:
        """The chosen job and its row."""
        if self.board is None or not self.board.rows or self.job_key is None:
            return None
        row = self.board.rows[self.row]
        job = next((j for j in row.jobs if _key(j) == self.job_key), None)
        return (row, job) if job is not None else None

    def choose(self, row: int, job: Job) -> None:
        """Choose a job."""
        self.row, self.job_key, self.cell = row, _key(job), -1
        assert self.board is not None
        self.setAccessibleDescription(
            f"{self.board.rows[row].name}: {job_title(job)}, "
            f"{job_state(job, self.board.date(self.board.today))}"
        )
        self.job_chosen.emit(self.board.rows[row], job)
        self.update()

    def choose_named(self, name: str, job: Job) -> None:
        """Choose a job of a block by name."""
        if self.board is None:
            return
        for k, row in enumerate(self.board.rows):
            if row.name == name:
                self.choose(k, job)

    def place(self, row: int, job: Job) -> QRectF:
        """Return where a job's mark stands."""
        assert self.board is not None
        at = DayColumns(self.board, self.width())
        beside = [j for j in self.board.rows[row].jobs if j.date == job.date]
        step = min(MARK * 1.6, at.per_day / 2) if len(beside) > 1 else 0.0
        shift = (beside.index(job) - (len(beside) - 1) / 2) * step
        x = at.x(self.board.column(job.date) + 0.5) + shift
        y = row * ROW + RIBBON + 9
        return QRectF(x - MARK, y - MARK, 2 * MARK, 2 * MARK)

    # -- painting -------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the rows that are seen."""
        painter, c = QPainter(self), theme.colours()
        board = self.board
        if board is None:
            return
        at = DayColumns(board, self.width())
        for k, row in enumerate(board.rows):
            if not event.rect().intersects(QRectF(0, k * ROW, self.width(), ROW).toRect()):
                continue
            self._paint_row(painter, at, k, row)
        painter.setPen(pen(c.ink, 2.0))
        x = at.x(board.today)
        painter.drawLine(QPointF(x, 0), QPointF(x, self.height()))
        if self._drag is not None and self._over is not None:
            painter.setPen(dashes(c.link, 1.5, 3, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(at.x(self._over), self.row * ROW + RIBBON, at.per_day,
                                    ROW - RIBBON - 1))  # fmt: skip

    def _paint_row(self, painter: QPainter, at: DayColumns, k: int, row: BoardRow) -> None:
        c, top = theme.colours(), float(k * ROW)
        board = at.board
        if k % 2:
            painter.fillRect(QRectF(0, top, self.width(), ROW), QColor(c.row))
        letters = Letters(painter)
        letters.put(2, top + 15, row.name, bold=True, px=theme.BODY, narrow=True,
                    inside=QRectF(2, top, NAME - 8, ROW), force=True)  # fmt: skip
        for day in range(board.days):
            if board.date(day).weekday() == 0:
                painter.setPen(pen(c.line, 1.0))
                painter.drawLine(QPointF(at.x(day), top), QPointF(at.x(day), top + ROW))
        self._ribbon(painter, at, row, top)
        for day in row.dry:
            if 0 <= day < board.days:
                area = QRectF(at.x(day), top + RIBBON, at.per_day, ROW - RIBBON - 1)
                painter.fillRect(area, theme.hatch("dry"))
        self._waterings(painter, at, row, top)
        chosen = self.chosen
        if k == self.row and self.cell >= 0:
            painter.setPen(dashes(c.quiet, 1.0, 2, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(at.x(self.cell), top + RIBBON, at.per_day, ROW - RIBBON - 1))
        for job in row.jobs:
            if 0 <= board.column(job.date) < board.days:
                own = chosen is not None and chosen[0] is row and chosen[1] is job
                paint_job(painter, self.place(k, job), job.kind, job.state, urgent=urgent(job),
                          chosen=own, focus=self.hasFocus())  # fmt: skip

    def _ribbon(self, painter: QPainter, at: DayColumns, row: BoardRow, top: float) -> None:
        c = theme.colours()
        for stage, first, end in row.stages:
            area = QRectF(at.x(first), top + 1, (end - first) * at.per_day, RIBBON - 2)
            fill = stage == "fill"
            painter.fillRect(area, QColor(c.ink if fill else c.bar))
            own = Letters(painter)
            own.put(area.left() + 4, area.bottom() - 2, word(f"stage.{stage}"),
                    ink=c.paper if fill else c.quiet, narrow=True, bold=fill,
                    inside=area.adjusted(4, 0, -2, 0))  # fmt: skip
            painter.setPen(pen(c.paper, 2.0))
            painter.drawLine(area.topRight(), area.bottomRight())
        for day in row.pruned:
            x = at.x(day)
            painter.setPen(pen(c.ink, 2.0))
            painter.drawLine(QPointF(x, top + 1), QPointF(x, top + ROW - 2))

    def _waterings(self, painter: QPainter, at: DayColumns, row: BoardRow, top: float) -> None:
        c = theme.colours()
        for w in row.waterings:
            bar = QRectF(at.x(w.day) + 2.5, top + ROW - 8, at.per_day - 5, 5)
            if w.state == "missed":
                theme.paint_cross(painter, bar.adjusted(2, -1, -2, 1), c.quiet)
                continue
            planned = w.state == "planned"
            painter.setBrush(QColor(c.planned) if planned else QColor(c.quiet))
            painter.setPen(pen(c.planned_edge if planned else c.quiet, 1.0))
            if w.state == "not_confirmed":
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.setPen(dashes(c.quiet, 1.0, 2, 1))
            painter.drawRect(bar)

    # -- mouse and keys ---------------------------------------------------------------------

    def job_at(self, where: QPointF) -> tuple[int, Job] | None:
        """Return the row and the job under a place."""
        if self.board is None:
            return None
        k = int(where.y() // ROW)
        if not 0 <= k < len(self.board.rows):
            return None
        near = [(abs(self.place(k, j).center().x() - where.x()), i, j)
                for i, j in enumerate(self.board.rows[k].jobs)
                if self.place(k, j).adjusted(-1, -3, 1, 3).contains(where)]  # fmt: skip
        return (k, min(near)[2]) if near else None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose what is under the mouse; a job can then be dragged."""
        if self.board is None or event.button() != Qt.MouseButton.LeftButton:
            return
        found = self.job_at(event.position())
        if found is not None:
            self.choose(*found)
            row = self.board.rows[found[0]]
            if self.can_edit and found[1].state in ("due", "moved"):
                self._drag = (row, found[1])
            return
        k = int(event.position().y() // ROW)
        day = DayColumns(self.board, self.width()).day(event.position().x())
        if 0 <= k < len(self.board.rows) and 0 <= day < self.board.days:
            self.row, self.job_key, self.cell = k, None, day
            self.day_chosen.emit(self.board.rows[k], self.board.date(day))
            self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Show where a dragged job would fall, or what is under the mouse."""
        if self.board is None:
            return
        if self._drag is not None:
            day = DayColumns(self.board, self.width()).day(event.position().x())
            self._over = day if 0 <= day < self.board.days else None
            self.update()
            return
        found = self.job_at(event.position())
        self.setCursor(Qt.CursorShape.PointingHandCursor if found else Qt.CursorShape.ArrowCursor)
        if found is not None:
            today = self.board.date(self.board.today)
            words = f"{job_title(found[1])}: {job_state(found[1], today)}"
            QToolTip.showText(event.globalPosition().toPoint(), words, self)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let a dragged job fall."""
        drag, over = self._drag, self._over
        self._drag = self._over = None
        self.update()
        if drag is not None and over is not None and self.board is not None:
            date = self.board.date(over)
            if date != drag[1].date:
                self.job_moved.emit(drag[0], drag[1], date)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and right: from job to job; up and down: rows; Enter opens, Alt moves a day."""
        board, key = self.board, event.key()
        if board is None or not board.rows:
            super().keyPressEvent(event)
            return
        sideways = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(Qt.Key(key))
        if key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            step = -1 if key == Qt.Key.Key_Up else 1
            self._row_step(step)
        elif sideways is not None and event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            chosen = self.chosen
            if chosen is not None and self.can_edit and chosen[1].state in ("due", "moved"):
                row, job = chosen
                self.job_moved.emit(row, job, job.date + dt.timedelta(days=sideways))
        elif sideways is not None:
            self._job_step(sideways)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.chosen is not None:
            self.opened.emit()
        else:
            super().keyPressEvent(event)

    def _shown(self, k: int) -> list[Job]:
        assert self.board is not None
        return [j for j in self.board.rows[k].jobs if 0 <= self.board.column(j.date)
                < self.board.days]  # fmt: skip

    def _job_step(self, step: int) -> None:
        jobs, chosen = self._shown(self.row), self.chosen
        if not jobs:
            return
        if chosen is None or chosen[1] not in jobs:
            self.choose(self.row, jobs[0 if step > 0 else -1])
            return
        at = min(max(jobs.index(chosen[1]) + step, 0), len(jobs) - 1)
        self.choose(self.row, jobs[at])

    def _row_step(self, step: int) -> None:
        assert self.board is not None
        k = self.row + step
        while 0 <= k < len(self.board.rows):
            jobs = self._shown(k)
            if jobs:
                self.choose(k, jobs[0])
                return
            k += step


class BoardHead(QWidget):
    """Days, months and rain above the board."""

    def __init__(self, rows: BoardView) -> None:
        super().__init__()
        self.rows = rows
        self.setFixedHeight(HEAD)
        rows.resized.connect(self.update)
        theme.watch().changed.connect(self.update)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint rain as bars, then the days."""
        board = self.rows.board
        if board is None:
            return
        painter, c = QPainter(self), theme.colours()
        at, letters = DayColumns(board, self.rows.width()), Letters(painter)
        self._rain(painter, letters, at)
        for day in range(board.days):
            date, x = board.date(day), at.x(day + 0.5)
            today = day == board.today
            if today:
                painter.fillRect(QRectF(at.x(day), HEAD - 34, at.per_day, 34), QColor(c.chosen))
            quiet = c.ink if date.weekday() < 6 or today else c.quiet
            letters.put(x, HEAD - 5, str(date.day), ink=quiet, bold=today, align=CENTRE,
                        narrow=True, force=True)  # fmt: skip
            letters.put(x, HEAD - 20, weekday(date)[:1], ink=c.quiet, align=CENTRE, narrow=True,
                        force=True)  # fmt: skip
            if date.day == 1 or (day == 0 and date.day < 25):
                letters.put(at.x(day) + 2, 13, f"{month(date)} {date.year}", ink=c.ink, bold=True)
        painter.setPen(pen(c.ink, 1.0))
        painter.drawLine(QPointF(0, HEAD - 0.5), QPointF(self.rows.width(), HEAD - 0.5))

    def _rain(self, painter: QPainter, letters: Letters, at: DayColumns) -> None:
        """Draw what fell solid, what is forecast open; heavy rain carries its figure."""
        c, board = theme.colours(), at.board
        most = max([mm for mm in board.rain_mm if mm], default=0.0)
        letters.put(4, HEAD - 38, tr("rain, mm"), ink=c.quiet)
        scale = 20.0 / max(most, 10.0)
        for day, mm in enumerate(board.rain_mm):
            if mm is None or mm < 0.05:
                continue
            height = max(1.5, mm * scale)
            bar = QRectF(at.x(day) + 2, HEAD - 36 - height, at.per_day - 4, height)
            if day < board.today:
                painter.fillRect(bar, QColor(c.quiet))
            else:
                painter.setPen(dashes(c.quiet, 1.0, 2, 2))
                painter.drawRect(bar)
            if mm >= 5:
                letters.put(at.x(day + 0.5), bar.top() - 2, number(mm, 0), ink=c.ink, align=CENTRE)


def _key(job: Job) -> tuple[object, ...]:
    """What tells a job from the others of its block, also once it has been edited."""
    if job.cycle_day is None:
        return (job.kind, job.pruned_on, job.date)
    return (job.kind, job.pruned_on, job.cycle_day)
