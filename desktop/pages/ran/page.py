"""What ran: a whole day in one pass, the days that wait at the left."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QHideEvent, QKeySequence, QPainter, QPaintEvent, QShortcut
from PySide6.QtWidgets import (
    QAbstractButton,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.block_edits import block_of, set_keys
from desktop.lazy import WhenShown
from desktop.models.ran import DayCount, Entry, RanModel, day_counts, drift_words
from desktop.pages.ran.table import RanTable
from desktop.session import Session
from desktop.widgets import Link, SentenceCard, paint_focus, text
from desktop.wording import day_named, day_year, fixed, number, say, thousands, tr
from waterbudget.errors import AnswersNeeded, WaterBudgetError

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason
    from waterbudget.store import FarmFile

LIST = 236
DRIFTS = 2
Entries = dict[str, tuple[Entry, ...]]


class DayButton(QAbstractButton):
    """One day of the list: its date, and what is known of it."""

    def __init__(self, count: DayCount, today: dt.date) -> None:
        super().__init__()
        self.count = count
        self.setCheckable(True)
        self.setAutoExclusive(True)
        self.setFixedHeight(26)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the focus to the table
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        name = day_named(count.date)
        self.name = tr("today, {0}").format(name) if count.date == today else name
        self.below = count_text(count)
        self.setAccessibleName(f"{self.name}: {self.below}")

    def sizeHint(self) -> QSize:
        """Fill the list."""
        return QSize(LIST - 14, 26)

    def enterEvent(self, event: QEvent) -> None:  # type: ignore[override]
        """Show that it can be clicked."""
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        """Show it as before."""
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Date at the left, counts at the right; what waits is bold with a hollow mark."""
        c, painter, rect = theme.colours(), QPainter(self), QRectF(self.rect())
        if self.isChecked() or self.underMouse():
            painter.fillRect(rect, QColor(c.chosen if self.isChecked() else c.row))
        if self.isChecked():
            painter.fillRect(QRectF(0, 0, 3, rect.height()), QColor(c.ink))
        waits = self.count.open > 0
        painter.setFont(theme.font(bold=waits or self.isChecked()))
        painter.setPen(QColor(c.ink))
        room = rect.adjusted(10, 0, -8, 0)
        painter.drawText(
            room, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, self.name
        )
        painter.setFont(theme.font(theme.SMALL, bold=waits))
        painter.setPen(QColor(c.ink if waits else c.quiet))
        painter.drawText(
            room, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, self.below
        )
        if self.hasFocus():
            paint_focus(painter, self)


def empty(box: QVBoxLayout) -> None:
    """Take every widget out of a layout."""
    while (item := box.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.hide()
            widget.deleteLater()


def count_text(count: DayCount) -> str:
    """Return what is known of a day, in a few words."""
    if count.open:
        return tr("{0} not confirmed").format(count.open)
    if count.missed:
        return tr("{0} ran, {1} missed").format(count.ran, count.missed)
    return tr("{0} ran").format(count.ran) if count.ran else tr("nothing")


class RanPage(QWidget):
    """Enter what ran.

    Parameters
    ----------
    session : Session
    navigate : callable
    """

    stored = Signal()

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.model = RanModel()
        self.table = RanTable(self.model)
        self.date: dt.date | None = None
        self.asking: Any = None
        self._build()
        self._join()
        if session.data is not None:
            self.show_day(self._first_day())

    # -- building ------------------------------------------------------------------------

    def _build(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 10, 16, 8)
        row.setSpacing(20)
        left = QVBoxLayout()
        left.setSpacing(4)
        left.addWidget(text(tr("What ran"), theme.TITLE, bold=True))
        self.waiting = text("", quiet=True, wrap=True)
        left.addWidget(self.waiting)
        self.roll = QScrollArea()
        self.roll.setWidgetResizable(True)
        self.roll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inside = QWidget()
        self.list = QVBoxLayout(inside)
        self.list.setContentsMargins(0, 4, 4, 0)
        self.list.setSpacing(0)
        self.roll.setWidget(inside)
        left.addWidget(self.roll, 1)
        holder = QWidget()
        holder.setLayout(left)
        holder.setFixedWidth(LIST)
        left.setContentsMargins(0, 0, 0, 0)
        row.addWidget(holder)
        right = QVBoxLayout()
        right.setSpacing(6)
        right.addLayout(self._head())
        words = tr(
            "Enter: as planned.  0: did not run.  4.25: hours.  212 m3: off the meter.  "
            "3 + 2: two waterings.  7 h = 212 m3: both.  →: what the meter shows.  "
            "Ctrl+Enter stores the day."
        )
        self.hint = text(words, theme.SMALL, quiet=True, wrap=True)
        right.addWidget(self.hint)
        right.addWidget(self.table, 1)
        self.problem = text("", wrap=True)
        self.problem.setProperty("role", "wrong")
        self.problem.hide()
        right.addWidget(self.problem)
        self.drifts = QVBoxLayout()
        self.drifts.setSpacing(4)
        right.addLayout(self.drifts)
        right.addLayout(self._foot())
        row.addLayout(right, 1)
        self.setFocusProxy(self.table)

    def _head(self) -> QHBoxLayout:
        line = QHBoxLayout()
        line.setSpacing(12)
        self.title = text("", theme.LEAD, bold=True)
        self.back = Link(tr("‹ day before"), lambda: self._chosen(self.back, -1))
        self.forward = Link(tr("day after ›"), lambda: self._chosen(self.forward, 1))
        for link in (self.back, self.forward):
            link.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.back.setToolTip(tr("PgUp"))
        self.forward.setToolTip(tr("PgDn"))
        line.addWidget(self.title)
        line.addSpacing(8)
        line.addWidget(self.back)
        line.addWidget(self.forward)
        line.addStretch(1)
        line.addWidget(Link(tr("Bring in ran.csv"), lambda: self.navigate("import", kind="ran")))
        return line

    def _foot(self) -> QHBoxLayout:
        line = QHBoxLayout()
        line.setSpacing(12)
        self.sums = text("", quiet=True)
        line.addWidget(self.sums)
        line.addStretch(1)
        self.forget = Link(tr("Forget what I typed"))
        self.rest = QPushButton(tr("The rest as planned"))
        self.store_button = QPushButton(tr("Store the day"))
        self.store_button.setProperty("main", "true")
        self.store_button.setToolTip(tr("Ctrl+Enter"))
        buttons: tuple[QAbstractButton, ...] = (self.forget, self.rest, self.store_button)
        for button in buttons:
            button.clicked.connect(self.table.setFocus)  # they go dead once they are pressed
        self.forget.clicked.connect(self.model.forget)
        self.rest.clicked.connect(self.model.rest_as_planned)
        self.store_button.clicked.connect(self.store)
        for widget in (self.forget, self.rest, self.store_button):
            line.addWidget(widget)
        return line

    def _join(self) -> None:
        session = self.session
        self.later = WhenShown(self, self._refresh)
        session.season_changed.connect(self.later.ask)
        session.changed.connect(self._changed)
        self.model.pending_changed.connect(self._tell)
        self.model.not_a_figure.connect(self._wrong)
        self.table.past_end.connect(self.store)
        self.table.store_wanted.connect(self.store)
        self.table.day_step.connect(self.step)
        for keys, step in (("Alt+Left", -1), ("Alt+Right", 1)):
            short = QShortcut(QKeySequence(keys), self, partial(self.step, step))
            short.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)

    # -- what is shown -------------------------------------------------------------------

    def show_what(self, *, date: dt.date | None = None, **_: Any) -> None:
        """Show a day, or the oldest that waits."""
        self.show_day(date or self._first_day())

    def _first_day(self) -> dt.date:
        """Return the oldest day that waits, else yesterday."""
        data, today = self.session.data, self.session.today
        if data is None:
            return today - dt.timedelta(days=1)
        counts = day_counts(data, today, season=self.session.season)
        waiting = [c.date for c in counts if c.open]
        return min(waiting) if waiting else today - dt.timedelta(days=1)

    def step(self, days: int) -> None:
        """Show the day before or after."""
        if self.date is not None:
            self.show_day(self.date + dt.timedelta(days=days))

    def _day_clicked(self, button: DayButton, _: bool = False) -> None:
        self._chosen(button, date=button.count.date)

    def _chosen(self, by: QWidget, step: int = 0, date: dt.date | None = None) -> None:
        """Show the day that was clicked, ready to type; keys stay where they were pressed."""
        by_keys = by.hasFocus()
        if date is None:
            self.step(step)
        else:
            self.show_day(date)
        if not by_keys:
            self.table.setFocus()

    def show_day(self, date: dt.date) -> None:
        """Show a day; what was typed on another is stored first."""
        if date > self.session.today:
            return
        if self.model.typed and date != self.date:
            self.store()
        self.date = date
        self._fill()

    def _changed(self, kinds: frozenset[str]) -> None:
        if kinds & {"ran", "blocks", "outlines", "plan"}:
            self.later.ask()

    def _refresh(self) -> None:
        if self.session.data is not None:
            self.date = self.date or self._first_day()
            self._fill()

    def _fill(self) -> None:
        data = self.session.data
        if data is None or self.date is None:
            return
        row = self.table.currentIndex().row()
        same = self.model.date == self.date
        self.model.set_day(data, self.session.season, self.date)
        if same and 0 <= row < self.model.rowCount():
            self.table.setCurrentIndex(self.model.index(row, self.table.currentIndex().column()))
        self.title.setText(day_year(self.date))
        self.forward.setEnabled(self.date < self.session.today)
        self.problem.hide()
        self._fill_list()
        self._fill_drifts()
        self._tell()

    def _fill_drifts(self) -> None:
        """Say which meters are off the planned flow, worst first, each with one way on."""
        empty(self.drifts)
        season = self.session.season
        if season is None or not self.session.at_today:
            return
        off = [b for b in season.blocks if b.drift is not None and b.drift.verdict != "even"]
        off.sort(key=lambda b: -abs(b.drift.pct if b.drift is not None else 0.0))
        for b in off[:DRIFTS]:
            assert b.drift is not None
            action = tr("Plan with the metered {0} m³/h").format(number(b.drift.metered_m3_h))
            card = SentenceCard(drift_words(b), action, partial(self._take_flow, b))
            self.drifts.addWidget(card)

    def _take_flow(self, block: BlockSeason) -> None:
        now = block_of(self.session, block.block.id)
        if now is not None and block.drift is not None:
            flow = f"{block.drift.metered_m3_h:.3f}"
            set_keys(self.session, now, {"flow_m3_h": flow, "flow_from": "meter"})

    def _fill_list(self) -> None:
        assert self.session.data is not None
        counts = day_counts(
            self.session.data, self.session.today, season=self.session.season
        )  # fmt: skip
        had_focus = isinstance(self.focusWidget(), DayButton)
        empty(self.list)
        for count in counts:
            button = DayButton(count, self.session.today)
            button.setChecked(count.date == self.date)
            button.clicked.connect(partial(self._day_clicked, button))
            self.list.addWidget(button)
            if had_focus and count.date == self.date:
                button.show()
                button.setFocus()
        self.list.addStretch(1)
        waiting = sum(c.open > 0 for c in counts)
        words = tr("{0} days wait for your word; until then they count as run.").format(waiting)
        one = tr("1 day waits for your word; until then it counts as run.")
        nothing = tr("No day waits.")
        self.waiting.setText(nothing if not waiting else one if waiting == 1 else words)

    def _tell(self) -> None:
        sums, typed = self.model.totals(), self.model.typed
        count = int(sums["blocks"])
        words = (
            tr("1 block, {1} h, {2} m³ at the meter") if count == 1
            else tr("{0} blocks, {1} h, {2} m³ at the meter")
        )  # fmt: skip
        self.sums.setText(words.format(count, fixed(sums["hours"], 2), thousands(sums["m3"])))
        self.store_button.setEnabled(typed > 0)
        self.forget.setVisible(typed > 0)
        open_rows = any(
            r.planned is not None and not r.entered and r.block.id not in self.model.pending
            for r in self.model.rows
        )  # fmt: skip
        self.rest.setEnabled(open_rows)

    def _wrong(self, block: str, typed: str) -> None:
        words = tr(
            "{0}: {1} is neither hours nor m³. Type 4.25, or 212 m3, or 0 where it did not run."
        )
        self.problem.setText(words.format(block, typed))
        self.problem.show()

    # -- storing -------------------------------------------------------------------------

    def store(self) -> None:
        """Store everything typed on this day in one go."""
        if self.model.typed and self.date is not None:
            entries, dials = self.model.to_store(), self.model.dials_to_store()
            self.model.forget()
            self._put(self.date, entries, dials, {})

    def _put(
        self, date: dt.date, entries: Entries, dials: dict[str, float | None],
        answers: dict[str, str],
    ) -> None:  # fmt: skip
        self.problem.hide()
        count = len({*entries, *dials})

        def do(file: FarmFile, now: dt.datetime, *_: Any) -> Any:
            from waterbudget import actions

            return actions.enter_day(file, date, entries, dials=dials, answers=answers, now=now)

        def undo(file: FarmFile, now: dt.datetime, held: Any) -> Any:
            from waterbudget import actions

            return actions.put_day(file, date, held, now=now)

        def done(_: Any) -> None:
            one, many = tr("{0} stored, 1 block."), tr("{0} stored, {1} blocks.")
            self.session.told.emit((one if count == 1 else many).format(day_named(date), count))
            self.stored.emit()

        def failed(error: WaterBudgetError) -> None:
            self._keep(date, entries, dials)
            if isinstance(error, AnswersNeeded):
                self._ask(error, date, entries, dials, answers)
                return
            self.problem.setText(say(error))
            self.problem.show()

        self.session.act(tr("what ran on {0}").format(day_named(date)), do, undo, ("ran",),
                         done=done, failed=failed)  # fmt: skip

    def _keep(
        self, date: dt.date, entries: Entries, dials: dict[str, float | None]
    ) -> None:  # fmt: skip
        """Put what was typed back into its lines: nothing of it is stored."""
        if self.date == date:
            ids = {r.block.name: r.block.id for r in self.model.rows}
            self.model.pending = {ids[n]: e for n, e in entries.items() if n in ids}
            self.model.dials = {ids[n]: m3 for n, m3 in dials.items() if n in ids}
            self.table.viewport().update()
            self._tell()

    def _ask(
        self, asked: AnswersNeeded, date: dt.date, entries: Entries,
        dials: dict[str, float | None], answers: dict[str, str],
    ) -> None:  # fmt: skip
        """Ask about doubtful figures; the day is stored once they are answered."""
        from desktop.dialogs.ask import AskDialog

        def answered(given: dict[str, str]) -> None:
            self.model.forget()
            self._put(date, entries, dials, {**answers, **given})

        head = tr("Before {0} is stored").format(day_named(date))
        self.asking = AskDialog(self.window(), head, asked.questions, answered)
        self.asking.open()

    def hideEvent(self, event: QHideEvent) -> None:
        """Leaving the page stores what was typed."""
        if self.session.is_open:
            self.store()
        super().hideEvent(event)
