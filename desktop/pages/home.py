"""The home page: map left, week right, day slider across the foot.

Choosing a block in one chooses it in the other.  Above them up to three sentences that need the
grower.  A farm that is not ready shows what the week still needs instead, and can be switched
between the two at any point.

Keys on the whole page: R types rain, L low and high, P pins, T goes to today, Ctrl+H hands the
week out, Ctrl+C copies it, Ctrl+P makes the sheet.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QFocusEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import QSplitter, QStackedWidget, QVBoxLayout, QWidget

from desktop import block_edits
from desktop.mapview import MapPanel
from desktop.models.week import BACK, WeekTable, week_given, week_table
from desktop.pages import home_edits
from desktop.pages.home_attention import Attention, attention
from desktop.pages.home_band import Band
from desktop.pages.home_bar import WeekBar
from desktop.pages.home_exports import Exports
from desktop.pages.home_foot import Foot
from desktop.pages.home_needs import NeedsView
from desktop.pages.home_week import WeekView
from desktop.pages.home_week_layout import Spot
from desktop.pages.home_words import change_sentence
from desktop.session import Session
from desktop.wording import day_named, tr

if TYPE_CHECKING:
    from waterbudget.actions import Need
    from waterbudget.records import GivenWeek
    from waterbudget.season import Season

Navigate = Callable[..., None]
MAP_SHARE = 0.392
"""The map's share of the width: about 500 of 1280."""

TALL = 690
"""Lower windows get a lower band and slider, so that twenty blocks still stand unscrolled."""


@dataclass
class _Change:
    """A change of one cell that is on its way, to be told once its season is there."""

    block: int
    date: dt.date
    before: Season | None


class HomePage(QWidget):
    """Map, week, slider; or what the week still needs."""

    def __init__(self, session: Session, navigate: Navigate) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.table: WeekTable | None = None
        self.items: list[Attention] = []
        self._change: _Change | None = None
        self.changed: Any = None
        self._first_look = True
        self._build()
        self._connect()
        self._keys()
        if session.season is not None:
            self._season_changed(session.season)

    # -- building -----------------------------------------------------------------------------

    def _build(self) -> None:
        self.band = Band(self._go, self.session.go_to_today)
        self.map = MapPanel(self.session, self.navigate)
        self.week = WeekView()
        self.exports = Exports(self, self.session)
        self.bar = WeekBar(self.hand_out, self.exports, lambda: self.show_needs(True),
                           self.show_changes)  # fmt: skip
        self.foot = Foot()
        self.slider = self.foot.slider
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.bar)
        column.addWidget(self.week, 1)
        self.splitter = QSplitter(Qt.Orientation.Horizontal)
        self.splitter.setChildrenCollapsible(False)
        self.splitter.setHandleWidth(4)
        self.splitter.setStyleSheet("QSplitter::handle { background: transparent; image: none; }")
        self.splitter.addWidget(self.map)
        self.splitter.addWidget(right)
        self._moved_by_hand = False
        self.splitter.splitterMoved.connect(self._splitter_moved)
        self.farm = QWidget()
        whole = QVBoxLayout(self.farm)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addWidget(self.band)
        whole.addWidget(self.splitter, 1)
        whole.addWidget(self.foot)
        self.needs = NeedsView(self.session, self.navigate)
        self.stack = QStackedWidget()
        self.stack.addWidget(self.farm)
        self.stack.addWidget(self.needs)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(self.stack)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        QWidget.setTabOrder(self.band, self.week)
        QWidget.setTabOrder(self.week, self.map.canvas)
        QWidget.setTabOrder(self.map.canvas, self.slider)

    def _connect(self) -> None:
        session, week = self.session, self.week
        session.season_changed.connect(self._season_changed)
        session.selection_changed.connect(self._selection_changed)
        session.day_changed.connect(self._day_changed)
        session.opened.connect(self._opened)
        session.refused.connect(self._forget_change)
        week.chosen.connect(session.select)
        week.opened.connect(self._open_block)
        week.hours_typed.connect(self._type_hours)
        week.freed.connect(self._free)
        week.pin_asked.connect(self._toggle_pin)
        week.moved.connect(self._move)
        week.rain_typed.connect(self._type_rain)
        week.heat_typed.connect(self._type_heat)
        week.ran_asked.connect(self._open_ran)
        week.said.connect(self._said)
        week.refused.connect(self._week_refused)
        self.slider.day_wanted.connect(session.set_day)
        self.needs.left.connect(self._leave_needs)

    def _keys(self) -> None:
        for keys, do in (
            ("R", self.week.type_rain), ("L", self.week.type_heat), ("P", self.week.pin_here),
            ("T", self.session.go_to_today), ("Ctrl+H", self.hand_out),
            ("Ctrl+C", self.exports.copy), ("Ctrl+P", self.exports.show),
        ):  # fmt: skip
            shortcut = QShortcut(QKeySequence(keys), self.farm)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(do)

    # -- filling ------------------------------------------------------------------------------

    def _opened(self) -> None:
        self._first_look = True
        self._change = None
        self.foot.tell("")

    def _season_changed(self, season: Season) -> None:
        session = self.session
        if session.data is None:
            return
        today = session.at_today
        self.table = week_table(season, session.data if today else None)
        self.week.show_table(self.table, editable=today)
        self.week.choose(session.selected)
        self.bar.show_week(self.table, today)
        self.slider.set_day(season.on)
        self._span(season)
        if today:
            self.items = attention(season, session.data, self.table)
            self.band.show_items(self.items)
            if self._first_look and not any(row.hours is not None for row in self.table.rows):
                self.show_needs(True)
            self._first_look = False
            if self.stack.currentIndex() == 1:
                self._ask_needs(season)
        else:
            self.band.show_past(season.on)
        self._tell_change(season)

    def _span(self, season: Season) -> None:
        if self.session.at_today:
            running = [c.pruned_on for b in season.blocks if (c := b.block.cycle_on(season.on))]
            self.slider.set_span(min(running, default=None), season.first, season.on)
        chosen = self.session.selected_block
        if chosen is None or not chosen.clock.cycles:
            self.slider.set_stages("", ())
            return
        stages = sorted(
            (day, stage) for cycle in chosen.clock.cycles for stage, day in cycle.starts.items()
        )
        self.slider.set_stages(chosen.block.name, tuple(stages))

    def _ask_needs(self, season: Season) -> None:
        data = self.session.data

        def read(_: Any) -> tuple[Need, ...]:
            from waterbudget import actions

            assert data is not None
            return actions.needs(data, season)

        self.session.query(read, self._needs_read, key="needs")

    def _needs_read(self, needs: tuple[Need, ...]) -> None:
        if self.table is not None and self.session.data is not None:
            self.needs.show_week(self.table, needs, self.session.data)

    def _selection_changed(self, block_id: int | None) -> None:
        self.week.choose(block_id)
        if self.session.season is not None:
            self._span(self.session.season)
        self.foot.tell("")

    def _day_changed(self, day: dt.date) -> None:
        self.slider.set_day(day)
        self.week.close_editor()
        if not self.session.at_today:
            self.map.set_editing(False)
            self.band.show_past(day)

    # -- ways on ------------------------------------------------------------------------------

    def show_what(
        self, needs: bool = False, show_day: dt.date | None = None,
        type_rain: dt.date | None = None, type_heat: dt.date | None = None, draw: bool = False,
        changed: bool = False,
    ) -> None:  # fmt: skip
        """Show the needs, put the cursor on a day, open its rain or its heat, or begin to draw."""
        self.show_needs(needs)
        if self.table is None:
            return
        if show_day is not None and show_day in self.table.days:
            row = self.table.row_of.get(self.session.selected or -1, 0)
            self.week.setFocus()
            self.week.go(Spot("body", "day", row, self.table.days.index(show_day)))
        if type_rain is not None and type_rain in self.table.days[: BACK + 1]:
            self.week.go(Spot("rain", "day", -1, self.table.days.index(type_rain)))
            self.week.type_rain()
        if type_heat is not None and type_heat in self.table.days[: BACK + 1]:
            self.week.go(Spot("heat", "day", -1, self.table.days.index(type_heat)))
            self.week.type_heat()
        if draw:
            self.map.draw()
        if changed:
            self.show_changes()

    def show_needs(self, on: bool) -> None:
        """Switch between what the week still needs, and map and week."""
        self.stack.setCurrentIndex(1 if on else 0)
        if on:
            self.needs.setFocus()
            if self.session.season is not None:
                self._ask_needs(self.session.season)

    def _leave_needs(self) -> None:
        self.show_needs(False)
        self.week.setFocus()

    def _go(self, page: str, what: dict[str, Any]) -> None:
        if page == "home":
            self.show_what(**what)
        else:
            self.navigate(page, **what)

    def _open_block(self, block_id: int) -> None:
        self.navigate("block", block=block_id)

    def _open_ran(self, date: dt.date) -> None:
        self.navigate("ran", date=date)

    # -- changes ------------------------------------------------------------------------------

    def _type_hours(self, block_id: int, date: dt.date, value: float) -> None:
        block = block_edits.block_of(self.session, block_id)
        if block is not None:
            self._expect(block_id, date)
            home_edits.type_hours(self.session, block, date, value)

    def _toggle_pin(self, block_id: int, date: dt.date) -> None:
        block = block_edits.block_of(self.session, block_id)
        cell = self.table.cell(block_id, date) if self.table is not None else None
        if block is None or cell is None:
            return
        if cell.planned and cell.hours is None:
            self.foot.tell(tr("A pin needs hours, and the flow of {0} is missing.").format(
                block.name), strong=True)  # fmt: skip
            return
        if cell.pinned:
            self._free(block_id, date)
        else:
            self._expect(block_id, date)
            label = tr("{0} pinned on {1}").format(block.name, day_named(date))
            home_edits.set_cells(self.session, label, block, {date: cell.hours or 0.0})

    def _free(self, block_id: int, date: dt.date) -> None:
        block = block_edits.block_of(self.session, block_id)
        cell = self.table.cell(block_id, date) if self.table is not None else None
        if block is not None and cell is not None and cell.pinned:
            self._expect(block_id, date)
            label = tr("pin of {0} on {1} taken away").format(block.name, day_named(date))
            home_edits.set_cells(self.session, label, block, {date: None})

    def _move(self, block_id: int, source: dt.date, target: dt.date) -> None:
        block = block_edits.block_of(self.session, block_id)
        if block is None or self.table is None:
            return
        moved, there = self.table.cell(block_id, source), self.table.cell(block_id, target)
        if moved is None or moved.hours is None or there is None:
            return
        self._expect(block_id, target)
        home_edits.move(self.session, block, source, target, moved.hours, there.hours or 0.0)

    def _type_rain(self, date: dt.date, typed: dict[str, float | None]) -> None:
        home_edits.type_rain(self.session, date, typed)

    def _type_heat(self, date: dt.date, low: float | None, high: float | None) -> None:
        home_edits.type_heat(self.session, date, low, high)

    def hand_out(self) -> None:
        """Store this week as it is given to the people at the valves."""
        if self.session.season is None or self.table is None or not self.session.at_today:
            return
        home_edits.hand_out(self.session, self._handed_out)

    def show_changes(self) -> None:
        """Lay the week handed out beside the plan as it stands now."""
        from desktop.dialogs.changed_week import ChangedWeekDialog

        if self.session.season is None or not self.session.at_today:
            return
        if self.changed is not None:
            self.changed.deleteLater()
        self.changed = ChangedWeekDialog(self.window(), self.session, self._hand_out_rest)
        self.changed.open()

    def _hand_out_rest(self, done: Callable[[Any], None]) -> None:
        def told(week: GivenWeek) -> None:
            done(week)
            self._handed_out(week)

        home_edits.hand_out_rest(self.session, told)

    def _handed_out(self, week: GivenWeek) -> None:
        words = tr("Week {0} is handed out with {1} waterings, {2} at {3}. Ctrl+Z takes it back.")
        day, time = day_named(week.given_at.date()), f"{week.given_at:%H:%M}"
        self.foot.tell(words.format(week.number, len(week.sets), day, time), strong=True)

    def _expect(self, block_id: int, date: dt.date) -> None:
        self._change = _Change(block_id, date, self.session.season)

    def _forget_change(self, _: object) -> None:
        self._change = None

    def _tell_change(self, season: Season) -> None:
        change, self._change = self._change, None
        if change is None:
            self.foot.tell_again(self.week.words_here())
            return
        if change.before is season or season.on != self.session.today:
            self._change = change
            return
        self.foot.tell(change_sentence(change.before, season, change.block, change.date),
                       strong=True)  # fmt: skip

    def _said(self, words: str) -> None:
        self.foot.tell(words)

    def _week_refused(self, words: str) -> None:
        self.foot.tell(words, strong=True)

    # -- sizes and focus ----------------------------------------------------------------------

    def _splitter_moved(self) -> None:
        self._moved_by_hand = True

    def resizeEvent(self, event: Any) -> None:
        """Share the width between map and week until somebody moves the line."""
        super().resizeEvent(event)
        tall = self.height() >= TALL
        self.foot.slider.set_tall(tall)
        self.band.set_tall(tall)
        if not self._moved_by_hand:
            left = round(self.width() * MAP_SHARE)
            self.splitter.setSizes([left, self.width() - left])

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the focus on to the week."""
        super().focusInEvent(event)
        if self.stack.currentIndex() == 0:
            QTimer.singleShot(0, self._focus_week)

    def _focus_week(self) -> None:
        if self.hasFocus():
            self.week.setFocus()

    # -- for tests and the window -------------------------------------------------------------

    def given(self) -> GivenWeek | None:
        """Return the week handed out that covers the day shown."""
        data = self.session.data
        return week_given(data, self.session.day) if data is not None else None

    def export(self, kind: str, path: Path) -> None:
        """Write the week to a file: ``csv``, ``pdf``, ``ics`` or ``sets``."""
        self.exports.write(kind, path)
