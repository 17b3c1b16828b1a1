"""One month of a farm lived through in the window, with mouse and keys, day by day.

:class:`Month` is the grower's hands: what can be clicked and typed; ``month_life`` is the month.
Every evening what ran goes in as it truly ran; the meters are read as they truly stood.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import month_farm
from month_farm import FAST, FIRST
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QPainter
from PySide6.QtWidgets import QApplication, QLineEdit, QWidget

from desktop.main_window import MainWindow
from desktop.models.ran import DIAL, RAN
from desktop.models.week import BACK
from desktop.pages.home_week_layout import Spot
from desktop.pages.ran.page import DayButton
from desktop.pages.work.board import ROW, DayColumns
from desktop.session import Session
from desktop.settings import Settings
from waterbudget.fieldwork import Job
from waterbudget.records import GivenWeek

LEFT = Qt.MouseButton.LeftButton
RIGHT_M3 = 1900.0
"""The water right of the last week [m3]."""
TRIED_HOURS = 3.0


def day(number: int) -> dt.date:
    """Return a day of the month; 1 is its first Monday."""
    return FIRST + dt.timedelta(days=number - 1)


@dataclass
class Story:
    """What the month came to; the README is written from it, and the test checks it."""

    week_m3: dict[int, float] = field(default_factory=dict)
    rain_h: tuple[float, float] = (0.0, 0.0)
    rain_blocks: tuple[str, ...] = ()
    drained_mm: dict[str, float] = field(default_factory=dict)
    missed: tuple[str, dt.date, float] = ("", FIRST, 0.0)
    missed_rest: tuple[dict[dt.date, float], dict[dt.date, float]] = ({}, {})
    spray: tuple[dt.date, dict[dt.date, float], dict[dt.date, float]] = (FIRST, {}, {})
    drift_pct: float = 0.0
    flow_m3_h: tuple[float, float] = (0.0, 0.0)
    pump_h: tuple[float, float] = (0.0, 0.0)
    years: int = 0
    chance: dict[str, float] = field(default_factory=dict)
    tried_h: tuple[float, float] = (0.0, 0.0)
    dry_days: tuple[float, float] = (0.0, 0.0)
    asked_m3: float = 0.0
    shared_m3: float = 0.0
    gave: dict[str, tuple[float, str]] = field(default_factory=dict)
    whole: tuple[str, ...] = ()
    drawn_m3: float = 0.0
    jobs: dict[tuple[str, str, int | None], dt.date] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    undone: list[str] = field(default_factory=list)
    papers: list[GivenWeek] = field(default_factory=list)


class Month:
    """The grower's hands in the window.

    Parameters
    ----------
    qtbot : QtBot
    folder : Path
        Where the farm and the station's files lie.
    pictures : Path, optional
        Where pictures of the moments the story shows are kept.
    """

    def __init__(self, qtbot: Any, folder: Path, pictures: Path | None = None) -> None:
        self.qtbot, self.folder, self._folder = qtbot, folder, pictures
        self.now = dt.datetime.combine(FIRST - dt.timedelta(days=1), dt.time(18, 0))
        self.path = month_farm.month_farm(folder / "two-creeks.gpkg")
        self.meters = dict(month_farm.DIAL)
        self.flows = {b.name: float(b.flow_m3_h or 0.0) for b in month_farm.blocks()}
        self.truth: dict[tuple[str, dt.date], tuple[float, float]] = {}
        self.story = Story()
        self.refused: list[str] = []
        self.stored = 0
        self.dice = random.Random(1911)
        self.session = Session(clock=lambda: self.now)
        self.session.refused.connect(lambda e: self.refused.append(f"{self.now}: {e}"))
        self.session.changed.connect(self._count)
        self.window = MainWindow(self.session, Settings())
        qtbot.addWidget(self.window)
        self.window.resize(1280, 740)
        self.window.show()
        qtbot.waitExposed(self.window)
        self.window.navigate("open", path=self.path)
        self.settle()

    def _count(self, _: object) -> None:
        self.stored += 1

    # -- what is there --------------------------------------------------------------------

    @property
    def today(self) -> dt.date:
        """The day lived."""
        return self.now.date()

    @property
    def season(self) -> Any:
        """The season as the window shows it."""
        assert self.session.season is not None
        return self.session.season

    @property
    def data(self) -> Any:
        """The farm as the window shows it."""
        assert self.session.data is not None
        return self.session.data

    def page(self, name: str) -> Any:
        """Open a page by its tab and return it."""
        if self.window.page != name:
            self.click(self.window.head.tabs[name])
        self.settle()
        return self.window._pages[name]

    def settle(self) -> None:
        """Wait until everything asked for is done."""
        self.qtbot.waitUntil(lambda: self.session.idle, timeout=20000)
        QApplication.processEvents()  # what was built anew is shown

    def to_front(self) -> None:
        """Make the window the active one: the offscreen platform forgets it after a dialog."""
        self.window.activateWindow()
        self.qtbot.waitUntil(self.window.isActiveWindow)

    def click(self, widget: Any, at: QPoint | None = None) -> None:
        """Click a widget that can be seen and used, and wait for what it does."""
        assert widget.isVisible() and widget.isEnabled(), widget
        if at is None:
            at = widget.rect().center()
        self.qtbot.mouseClick(widget, LEFT, pos=at)
        self.settle()

    def type_in(self, edit: QLineEdit, words: str) -> None:
        """Type over a line and press Enter."""
        edit.setFocus()
        edit.selectAll()
        self.qtbot.keyClick(edit, Qt.Key.Key_Delete)
        self.qtbot.keyClicks(edit, words)
        self.qtbot.keyClick(edit, Qt.Key.Key_Return)
        self.settle()

    def picture(self, name: str, over: QWidget | None = None) -> None:
        """Keep a picture of the window, and of what lies over it, where pictures are asked for."""
        if self._folder is None:
            return
        self.window.status.clear()
        QApplication.processEvents()
        shown = self.window.grab()
        if over is not None:
            painter = QPainter(shown)
            painter.fillRect(shown.rect(), QColor(27, 36, 38, 110))
            corner = shown.rect().center() - over.rect().center()
            painter.drawPixmap(corner, over.grab())
            painter.end()
        shown.save(str(self._folder / f"{name}.png"))

    def state(self) -> tuple[Any, ...]:
        """Return all the farm holds and the week it leads to, to be compared."""
        data, season = self.data, self.season
        plan = tuple(
            (b.block.name, tuple((s.day, s.hours, s.start) for s in b.plan.sets),
             round(season.easy_left_mm(b.column), 9))
            for b in season.blocks
        )  # fmt: skip
        ran = sorted((r.block_id, r.date, r.hours or -1, r.m3 or -1) for r in data.ran)
        dials = sorted((m.block_id, m.date, m.m3, m.offset_m3) for m in data.meter_readings)
        jobs = sorted((f.block_id, f.date, f.kind, f.done, f.skipped) for f in data.field_entries)
        rain = {g: d for g, d in data.rain_typed.items() if d}
        given = tuple((w.first, w.sets) for w in data.given)  # a number is not used twice
        orchard = data.orchard
        source = (orchard.all_pumps(), orchard.right_m3_week)
        return plan, ran, dials, jobs, rain, given, source, data.pins

    # -- days -----------------------------------------------------------------------------

    def go_to(self, date: dt.date, time: dt.time = dt.time(6, 30)) -> None:
        """Let it become another day, the window left open."""
        self.now = dt.datetime.combine(date, time)
        self.session.look_at_clock()
        self.settle()
        assert self.session.at_today and self.session.day == date, "the window goes along"

    def wavering(self, what: str, do: Callable[[], object]) -> None:
        """Do something; at random moments take it back, look, and do it again."""
        before = self.state()
        do()
        self.settle()
        after = self.state()
        if self.dice.random() > 0.3 or before == after:
            return
        self.click(self.window.head.undo)
        assert self.state() == before, f"{what} is not whole when taken back"
        self.click(self.window.head.redo)
        assert self.state() == after, f"{what} is not whole when done again"
        self.story.undone.append(what)

    # -- the week -------------------------------------------------------------------------

    def hand_out(self) -> None:
        """Hand the week out from the home page."""
        home = self.page("home")
        self.wavering("handing out", lambda: self.click(home.bar.hand))
        week = self.data.given[-1]
        assert week.first == self.today
        assert str(week.number) in home.bar.given.text()
        self.story.papers.append(week)

    def old_and_new(self, picture: str | None = None) -> Any:
        """Open old and new, hand the corrected week out, and return what was shown."""
        home = self.page("home")
        self.click(home.bar.changes)
        dialog = home.changed
        found = dialog.found
        assert found is not None and found.changed and dialog.hand.isEnabled()
        if picture is not None:
            self.picture(picture, dialog)
        self.click(dialog.hand)
        assert not dialog.isVisible()
        if self.season.shared is None:
            assert not home.bar.changes.isVisible()
        self.story.papers.append(self.data.given[-1])
        return found

    def type_rain(self, mm: float) -> None:
        """Type today's rain on the home page: R, figures, Enter."""
        home = self.page("home")
        self.to_front()
        home.week.setFocus()

        def do() -> None:
            self.qtbot.keyClick(home.week, Qt.Key.Key_R)
            edit = QApplication.focusWidget()
            assert isinstance(edit, QLineEdit)
            edit.selectAll()
            self.qtbot.keyClicks(edit, f"{mm:g}")
            self.qtbot.keyClick(edit, Qt.Key.Key_Return)

        self.wavering("rain", do)
        assert self.data.rain_typed["farm"][self.today] == mm

    def attention(self) -> list[str]:
        """Return the sentences over the week, and keep them."""
        said = [item.sentence for item in self.page("home").items]
        self.story.told += [f"{self.today}: {s}" for s in said]
        return said

    def cell(self, name: str, date: dt.date) -> QPoint:
        """Return the middle of a cell of the week."""
        home = self.page("home")
        layout, table = home.week.layout_now(), home.table
        column = BACK + (date - self.today).days
        row = table.row_of[self.season.block(name).block.id]
        return layout.box(Spot("body", "day", row, column)).center().toPoint()

    # -- what ran -------------------------------------------------------------------------

    def planned(self, date: dt.date) -> dict[str, float]:
        """Return what was handed out for a day: hours by block."""
        names = {b.block.id: b.block.name for b in self.season.blocks}
        held: dict[str, float] = {}
        for week in self.data.given:
            if week.first <= date <= week.last:
                held = {names[s.block_id]: s.hours for s in week.sets if s.date == date}
        return held

    def ahead(self, block: str) -> dict[dt.date, float]:
        """Return the hours planned for a block from tomorrow on."""
        plan = self.season.block(block).plan
        return {self.today + dt.timedelta(days=s.day): s.hours for s in plan.sets
                if s.day > 0 and s.hours}  # fmt: skip

    def evening(self, ran: Mapping[str, float] | None = None, *, dials: bool = True) -> None:
        """Enter what ran today, in one pass; ``ran`` says what was otherwise than handed out."""
        self.now = dt.datetime.combine(self.today, dt.time(18, 40))
        self.session.look_at_clock()
        wanted = {**self.planned(self.today), **(ran or {})}
        for name, hours in wanted.items():
            m3 = round(hours * self.flows[name] * FAST[name], 1)
            self.meters[name] = round(self.meters[name] + m3, 1)
            self.truth[name, self.today] = (hours, m3)
        self.wavering("what ran", lambda: self._enter(wanted, dials))

    def _enter(self, wanted: Mapping[str, float], dials: bool) -> None:
        page = self.page("ran")
        button = next(b for b in page.findChildren(DayButton) if b.count.date == self.today
                      and b.isVisible())  # fmt: skip
        self.click(button)
        assert page.date == self.today
        for row, item in enumerate(page.model.rows):
            name = item.block.name
            if name in wanted:
                page.table.setCurrentIndex(page.model.index(row, RAN))
                if item.planned == wanted[name]:
                    self.qtbot.keyClick(page.table, Qt.Key.Key_Return)
                else:
                    self.figure(page, f"{wanted[name]:g}")
            if dials and (name in wanted or item.dial_before is None or not self.due(name)):
                page.table.setCurrentIndex(page.model.index(row, DIAL))
                self.figure(page, f"{self.meters[name]:.1f}")
        if page.store_button.isEnabled():
            self.click(page.store_button)
        assert not page.problem.isVisible(), page.problem.text()
        assert page.asking is None, "nothing here is doubtful"
        assert page.model.typed == 0

    def due(self, name: str) -> bool:
        """Return whether the meter stands where the farm last read it."""
        block = self.season.block(name).block.id
        read = [m.m3 for m in self.data.meter_readings if m.block_id == block]
        return bool(read) and read[-1] == self.meters[name]

    def figure(self, page: Any, typed: str) -> None:
        """Just type over the cell, and press Enter."""
        self.qtbot.keyClick(page.table, typed[0])
        editor = [w for w in page.table.viewport().findChildren(QLineEdit) if w.isVisible()][-1]
        self.qtbot.keyClicks(editor, typed[1:])
        self.qtbot.keyClick(editor, Qt.Key.Key_Return)
        state = page.table.State.EditingState
        self.qtbot.waitUntil(lambda: page.table.state() != state)

    # -- weather, source, field days, ahead -------------------------------------------------

    def station_file(self, first: dt.date, last: dt.date) -> None:
        """Bring the station's file in."""
        name = f"house-{first:%m-%d}.csv"
        path = month_farm.station_file(self.folder / name, first, last)
        self.window.navigate("import", paths=[path])
        self.settle()
        plate = self.window._importer.plate
        assert plate is not None and plate.questions is None, "known station: nothing to ask"
        self.click(plate.main)
        assert self.window._importer.plate is None

    def set_pump(self, pump: str, column: str, value: str) -> None:
        """Type over a cell of the pumps on the farm page."""
        farm = self.page("farm")
        cell = farm.source.pumps.cell(pump, column)
        self.wavering("pump", lambda: self.type_in(cell, value))
        assert not farm.source.pumps.wrong.isVisible(), farm.source.pumps.wrong.text()

    def set_right(self, m3: float | None) -> None:
        """Type the week's water right on the farm page."""
        farm = self.page("farm")
        edit = farm.source.rights.fields["right_m3_week"].edit
        self.wavering("right", lambda: self.type_in(edit, "" if m3 is None else f"{m3:g}"))
        assert self.data.orchard.right_m3_week == m3

    def job(self, kind: str, block: str, number: int | None) -> tuple[int, Job]:
        """Return the row of the board a job stands on, and the job."""
        board = self.page("work").board
        for k, row in enumerate(board.rows):
            for found in row.jobs:
                near = abs((found.date - self.today).days) < 30
                if (row.name, found.kind, found.cycle_day) == (block, kind, number) and near:
                    return k, found
        raise AssertionError((kind, block, number))

    def click_job(self, kind: str, block: str, number: int | None) -> Job:
        """Choose a job on the board."""
        page = self.page("work")
        row, found = self.job(kind, block, number)
        self.click(page.view, page.view.place(row, found).center().toPoint())
        assert page.card.job is not None and page.card.job.cycle_day == number
        return found

    def job_done(
        self, kind: str, block: str, number: int | None, fields: Mapping[str, str]
    ) -> None:  # fmt: skip
        """Mark a job done today."""
        card = self.page("work").card
        self.click_job(kind, block, number)
        for name, words in {"on": self.today.isoformat(), **fields}.items():
            edit = getattr(card, name).edit
            if edit.text() != words:
                self.type_in(edit, words)
        self.wavering("field day", lambda: self.click(card.done_button))
        assert not card.problem.isVisible(), card.problem.text()
        _, found = self.job(kind, block, number)
        assert found.state == "done" and found.date == self.today
        self.story.jobs[kind, block, number] = found.date

    def plan_spray(self, block: str, date: dt.date) -> None:
        """Plan an extra spraying on an empty day of the board."""
        page = self.page("work")
        at = DayColumns(page.board, page.view.width())
        row = next(k for k, r in enumerate(page.board.rows) if r.name == block)
        x = at.x(page.board.column(date) + 0.5)
        self.click(page.view, QPoint(int(x), row * ROW + 24))
        self.wavering("spraying planned", lambda: self.click(page.card.new_spray))
        assert self.job("spray", block, None)[1].date == date

    def reopen(self) -> None:
        """Close the farm for the night, and open it again from the list of farms."""
        before = self.state()
        self.to_front()
        self.qtbot.keyClick(self.window, Qt.Key.Key_W, Qt.KeyboardModifier.ControlModifier)
        self.settle()
        assert self.window.page == "welcome"
        self.window.navigate("open", path=self.path)
        self.settle()
        assert self.state() == before and self.window.page == "home"
