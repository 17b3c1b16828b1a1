"""One block: what is wrong, the sentence that explains the week, the cycle, and the side."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QPoint, QSize, Qt, QTimer
from PySide6.QtGui import QKeyEvent, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QHBoxLayout,
    QScrollArea,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from desktop.block_edits import block_of
from desktop.charts import CycleChart, CycleStrip
from desktop.lazy import WhenShown
from desktop.models.block_facts import WeekFacts, alarm, day_account, week_facts
from desktop.models.cycle_view import CycleView, cycle_view
from desktop.pages.block import side
from desktop.pages.block.bits import clear
from desktop.pages.block.cycle_box import cycle_section, outlook_text, show_outlook
from desktop.pages.block.days import DaysDialog
from desktop.pages.block.head import Head
from desktop.pages.block.origin import chain
from desktop.pages.block.panel import Panel
from desktop.pages.block.readings_box import Typing, fresh, readings_section
from desktop.pages.block.words import week_sentence
from desktop.session import Session
from desktop.widgets import rule, text
from desktop.wording import tr

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

SIDE, WIDE_SIDE, WIDE_FROM, MARGINS = 296, 620, 1640, 30
LATELY, LATELY_WIDE = 8, 14
READINGS = 6


class SideStack(QStackedWidget):
    """The side: two columns wide where there is room, and never in the way of a smaller window."""

    def __init__(self) -> None:
        super().__init__()
        self.wide = False
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored)
        self.setMaximumWidth(SIDE + MARGINS)

    def set_wide(self, wide: bool) -> bool:
        """Take one column or two; True where that is a change."""
        if wide == self.wide:
            return False
        self.wide = wide
        self.setMaximumWidth((WIDE_SIDE if wide else SIDE) + MARGINS)
        self.updateGeometry()
        return True

    def sizeHint(self) -> QSize:
        """Return the width wanted."""
        return QSize((WIDE_SIDE if self.wide else SIDE) + MARGINS, 200)

    def minimumSizeHint(self) -> QSize:
        """Return the width of one column."""
        return QSize(SIDE + MARGINS, 80)


class BlockPage(QWidget):
    """The page of one block.

    Parameters
    ----------
    session : Session
    navigate : callable
        ``navigate(page, **what)``.
    """

    def __init__(self, session: Session, navigate: Callable[..., Any]) -> None:
        super().__init__()
        self.session, self.navigate = session, navigate
        self.block: BlockSeason | None = None
        self.facts: WeekFacts | None = None
        self.view: CycleView | None = None
        self.cycle: QWidget | None = None
        self.outlook: tuple[Season, str] | None = None
        self.typing = Typing()
        self._back = 0
        self._asked = 0
        self._build()
        self.later = WhenShown(self, self._refresh)
        session.season_changed.connect(self.later.ask)
        session.selection_changed.connect(self._selected)
        for keys, step in (
            ("Ctrl+PgUp", -1),
            ("Ctrl+PgDown", 1),
            ("Alt+Left", -1),
            ("Alt+Right", 1),
        ):
            shortcut = QShortcut(QKeySequence(keys), self, partial(self.go, step))
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        self._refresh()

    # -- building ------------------------------------------------------------------------

    def _build(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(16, 10, 0, 6)
        row.setSpacing(0)
        left = QVBoxLayout()
        left.setSpacing(4)
        self.head = Head(self._click, self.go)
        self.chart, self.strip = CycleChart(), CycleStrip()
        self.foot = text("", 12, quiet=True)
        self.foot.setMinimumWidth(10)
        left.addWidget(self.head)
        left.addWidget(self.chart, 1)
        left.addWidget(self.strip)
        left.addWidget(self.foot)
        row.addLayout(left, 1)
        row.addSpacing(16)
        self.line = rule()
        self.line.setMinimumHeight(0)
        self.line.setMaximumHeight(16_777_215)
        self.line.setFixedWidth(1)
        row.addWidget(self.line)
        self.stack = SideStack()
        self.stack.setContentsMargins(14, 0, 6, 0)
        self._build_side()
        row.addWidget(self.stack)
        self._join()

    def _build_side(self) -> None:
        self.roll = QScrollArea()
        self.roll.setWidgetResizable(True)
        self.roll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        inside = QWidget()
        columns = QHBoxLayout(inside)
        columns.setContentsMargins(0, 0, 8, 0)
        columns.setSpacing(28)
        self.first, self.second = QVBoxLayout(), QVBoxLayout()
        for column in (self.first, self.second):
            column.setContentsMargins(0, 0, 0, 8)
            column.setSpacing(14)
        columns.addLayout(self.first, 1)
        self.second_holder = QWidget()
        self.second_holder.setLayout(self.second)
        columns.addWidget(self.second_holder, 1)
        self.roll.setWidget(inside)
        self.panel = Panel()
        self.panel.closed.connect(self._close_panel)
        self.panel.wanted.connect(self._click)
        self.stack.addWidget(self.roll)
        self.stack.addWidget(self.panel)

    def _join(self) -> None:
        self.chart.window_changed.connect(self.strip.set_window)
        self.strip.window_changed.connect(self.chart.set_window)
        self.chart.day_chosen.connect(lambda _: self._fill_side())
        self.strip.day_chosen.connect(self.chart.choose)
        self.chart.hovered.connect(self._hover)
        self.chart.stage_clicked.connect(lambda _: self._show_cycle())

    # -- what is shown -------------------------------------------------------------------

    def show_what(self, *, edit: str = "", show: str = "", **_: Any) -> None:
        """Open a source's settings (``edit="flow"``) or a part of the side (``show="cycle"``)."""
        if edit:
            self._click(f"edit:{edit}")
        if show:
            self._click(f"go:{show}")

    def go(self, step: int) -> None:
        """Show the next or the previous block."""
        season = self.session.season
        if season is None or not season.blocks:
            return
        ids = [b.block.id for b in season.blocks]
        at = ids.index(self.block.block.id) if self.block is not None else 0
        self.session.select(ids[(at + step) % len(ids)])

    def _selected(self, block_id: int | None) -> None:
        if block_id is not None:
            self._back = 0
            self.stack.setCurrentWidget(self.roll)
            self.later.ask()

    def _refresh(self) -> None:
        season = self.session.season
        if season is None:
            return
        found = self.session.selected_block
        if found is None:
            found = season.blocks[0] if season.blocks else None
        other = self.block is None or found is None or found.block.id != self.block.block.id
        self.block = found
        if found is None:
            self._show_nothing()
            return
        self.facts = week_facts(season, found)
        if other:
            self._back, self.typing, self.outlook = 0, fresh(self.typing), None
        self.head.show_block(season, found, alarm(season, found),
                             week_sentence(season, found, self.facts))  # fmt: skip
        self._draw(season, found, forget=other)
        self._fill_side()
        if self.stack.currentWidget() is self.panel:
            self._click(self.panel.showing, again=True)

    def _show_nothing(self) -> None:
        self.facts, self.view = None, None
        self.head.show_nothing()
        self.chart.empty_text = tr(
            "There is no block yet. Draw one on the map, bring in a walk, or "
            "type a name and hectares under Blocks."
        )
        self.chart.set_view(None)
        self.strip.set_view(None)
        clear(self.first)
        clear(self.second)

    def _draw(self, season: Season, block: BlockSeason, *, forget: bool) -> None:
        self.view = cycle_view(season, block, back=self._back)
        self.chart.empty_text = tr(
            "No weather is known for this block: bring in a station file, or "
            "type low, high and rain on the home page."
        )
        if forget:
            self.chart.chosen = None
        self.strip.set_view(self.view)
        self.chart.set_view(self.view)
        self.strip.set_window(self.chart.start, self.chart.end)
        self._tell_foot()
        if self._back == 0 and "weather" not in block.missing:
            self._ask_spread(season, block)
        if self._back == 0:
            self._ask_outlook(season, block)

    def _ask_spread(self, season: Season, block: BlockSeason) -> None:
        self._asked += 1
        asked, column = self._asked, block.column

        def work(_file: Any) -> Any:
            from waterbudget.outlook import week_spread

            return week_spread(season, column)

        def done(spread: Any) -> None:
            if asked == self._asked and self.block is not None and self._back == 0:
                self.view = cycle_view(season, self.block, spread=spread)
                self.strip.set_view(self.view)
                self.chart.set_view(self.view)

        self.session.query(work, done, key="spread")

    def _ask_outlook(self, season: Season, block: BlockSeason) -> None:
        """Ask for the dates ahead: the clock is run once for every past year."""

        def work(_file: Any) -> Any:
            from waterbudget.outlook import clock_habit, cycle_outlook

            return cycle_outlook(season, block), clock_habit(block)

        def done(found: Any) -> None:
            if self.session.season is season and self.block is block and self._back == 0:
                self.outlook = (season, outlook_text(season, block, *found))
                show_outlook(self.cycle, self.outlook[1])

        self.session.query(work, done, key="outlook")

    def _tell_foot(self, words: str = "") -> None:
        legend = tr(
            "Dotted ground: weather missing, stood in.   Hatched stage: by heat, not seen.   "
            "Pale blue: hotter, or cooler, than planned."
        )
        if self.view is not None and self.view.read:
            legend += "   " + tr("Diamond: the soil as read, hollow where not used.")
        self.foot.setText(words or legend)

    def _hover(self, day: int) -> None:
        season, block, view = self.session.season, self.block, self.view
        if day < 0 or season is None or block is None or view is None:
            self._tell_foot()
            return
        account = day_account(season, block, view.date(day))
        cycle = block.cycle(view.date(day))
        if account is not None:
            pruned = cycle.cycle.pruned_on if cycle is not None else None
            self._tell_foot(side.day_line(season, account, pruned))
        else:
            self._tell_foot()

    # -- the side ------------------------------------------------------------------------

    def _fill_side(self) -> None:
        season, block = self.session.season, self.block
        if season is None or block is None:
            return
        stored = block_of(self.session, block.block.id)
        at = self.roll.verticalScrollBar().value()
        clear(self.first)
        clear(self.second)
        wide = self._wide()
        self.second_holder.setVisible(wide)
        second = self.second if wide else self.first
        self.first.addWidget(side.week_section(season, block, self.facts))
        self.first.addWidget(side.figures_section(season, block, self.facts))
        self.first.addWidget(side.account_section(season, self._account(), self._show_days))
        second.addWidget(side.sources_section(season, block, self._click))
        if stored is not None:
            self.cycle = cycle_section(self.session, season, block, stored, self._click, self._back)
            second.addWidget(self.cycle)
            if self.outlook is not None and self.outlook[0] is season and self._back == 0:
                show_outlook(self.cycle, self.outlook[1])
            self.first.addWidget(readings_section(
                self.session, block, stored, self.typing, READINGS, self._fill_side
            ))  # fmt: skip
        count = LATELY_WIDE if wide else LATELY
        self.first.addWidget(side.lately_section(season, block, self._click, count))
        self.first.addStretch(1)
        self.second.addStretch(1)
        QTimer.singleShot(0, lambda: self.roll.verticalScrollBar().setValue(at))

    def _account(self) -> Any:
        season, block = self.session.season, self.block
        assert season is not None and block is not None
        day = season.on.fromordinal(season.on.toordinal() - 1)
        if self.view is not None and self.chart.chosen is not None:
            day = self.view.date(self.chart.chosen)
        return day_account(season, block, day)

    def _wide(self) -> bool:
        return self.width() >= WIDE_FROM

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Lay the side out in two columns where there is room."""
        super().resizeEvent(event)
        if self.stack.set_wide(self._wide()):
            self._fill_side()

    def _click(self, key: str, again: bool = False) -> None:
        """Follow a link: a number's origin, a source's settings, a page, an earlier cycle."""
        kind, _, what = key.partition(":")
        if kind == "go":
            self._go_to(what)
        elif kind == "cycle":
            self._show_cycle_of(int(what))
        elif kind == "edit":
            self._show_form(what, again)
        else:
            self._show_origin(key)

    def _go_to(self, what: str) -> None:
        if what == "cycle":
            self._show_cycle()
        elif what == "days":
            self._show_days()
        elif what == "ran":
            self._go_to_ran()
        elif what == "bucket" and self.block is not None:
            self.navigate("bucket", block=self.block.block.id)
        elif what == "weather" and self.block is not None:
            self.navigate("weather", station=self.block.station)
        else:
            self.navigate(what)

    def _go_to_ran(self) -> None:
        """Open the day that is the cause of an alarm, else the oldest that waits."""
        season, block = self.session.season, self.block
        found = alarm(season, block) if season is not None and block is not None else None
        missed = found is not None and found.cause == "missed"
        self.navigate("ran", **({"date": found.cause_day} if missed and found is not None else {}))

    def _show_origin(self, key: str) -> None:
        season, block = self.session.season, self.block
        if season is None or block is None or self.facts is None:
            return
        stored = block_of(self.session, block.block.id)
        made = chain(season, block, self.facts, key)
        if made is not None and stored is not None:
            self.panel.show_chain(self.session, stored, season.stage(block), key, made)
            self.stack.setCurrentWidget(self.panel)

    def _show_form(self, source: str, again: bool) -> None:
        season, block = self.session.season, self.block
        if season is None or block is None:
            return
        if again and self.panel.isAncestorOf(self.focusWidget() or self):
            return  # the form is being typed in; it holds what was stored
        stored = block_of(self.session, block.block.id)
        if stored is None:
            return
        self.panel.show_form(self.session, stored, season.stage(block), source)
        self.stack.setCurrentWidget(self.panel)

    def _close_panel(self) -> None:
        key = self.panel.showing
        self.stack.setCurrentWidget(self.roll)
        link = self.head.sentence.link(key)
        (link or self.chart).setFocus()

    def _show_cycle(self) -> None:
        self.stack.setCurrentWidget(self.roll)
        QTimer.singleShot(0, self._scroll_to_cycle)

    def _scroll_to_cycle(self) -> None:
        inside = self.roll.widget()
        if inside is None or self.cycle is None:
            return
        top = self.cycle.mapTo(inside, QPoint(0, 0)).y()
        self.roll.verticalScrollBar().setValue(top)

    def _show_cycle_of(self, back: int) -> None:
        self._back = back
        if self.session.season is not None and self.block is not None:
            self._draw(self.session.season, self.block, forget=True)
            self._fill_side()

    def _show_days(self) -> None:
        if self.session.season is not None and self.block is not None and self.view is not None:
            DaysDialog(self, self.session.season, self.block, self.view).exec()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape closes the panel."""
        if event.key() == Qt.Key.Key_Escape and self.stack.currentWidget() is self.panel:
            self._close_panel()
        else:
            super().keyPressEvent(event)
