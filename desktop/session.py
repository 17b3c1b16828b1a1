"""The open farm: a frozen snapshot, its season, what is chosen, and the undo stack.

Pages know each other only through this.  Every edit goes through :meth:`Session.act`, which does
it in the worker thread, reads the farm again, runs the season again and then tells what kind of
thing changed; ``data`` and ``season`` always belong together.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QStandardPaths, Signal
from PySide6.QtGui import QUndoStack

import waterbudget
from desktop.commands import ActCommand
from desktop.jobs import Done, Failed, Job, Report, Worker, is_there
from desktop.wording import tr
from waterbudget.errors import WaterBudgetError

if TYPE_CHECKING:
    from waterbudget.records import FarmData
    from waterbudget.season import BlockSeason, Season
    from waterbudget.store import FarmFile

Clock = Callable[[], dt.datetime]


@dataclass
class _Answer:
    """What one trip to the worker brings back; data and season of the same moment."""

    result: Any
    data: FarmData
    season: Season | None
    on: dt.date
    fault: WaterBudgetError | None = None
    today: dt.date | None = None
    file: FarmFile | None = None


QUICK_FROM = 20
"""With more blocks than this an edit shows the shared plan before, and the solved one follows."""


class Session(QObject):
    """The open farm.

    Signals
    -------
    opened(), closed()
    season_changed(Season)
        The season of the day shown is there (again).
    changed(frozenset of str)
        After an edit, before ``season_changed``: kinds out of ``blocks``, ``outlines``,
        ``weather``, ``ran``, ``plan``, ``farm``.
    selection_changed(int or None), day_changed(date)
    busy(bool, str), progressed(int, int)
    told(str)
        One line for the status place.
    refused(WaterBudgetError)
        An edit that was not stored, for the status place.
    """

    opened = Signal()
    closed = Signal()
    season_changed = Signal(object)
    changed = Signal(object)
    selection_changed = Signal(object)
    day_changed = Signal(object)
    busy = Signal(bool, str)
    progressed = Signal(int, int)
    told = Signal(str)
    refused = Signal(object)

    def __init__(
        self, *, clock: Clock = dt.datetime.now, worker: Worker | None = None,
        parent: QObject | None = None,
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self._clock = clock
        self.worker = worker or Worker(self)
        self.worker.busy.connect(self.busy)
        self.undo = QUndoStack(self)
        self._pending = 0
        self._later: list[Callable[[], None]] = []
        self._file: FarmFile | None = None
        self._cache: Any = None
        self._clear()

    def _clear(self) -> None:
        self.path: Path | None = None
        self.data: FarmData | None = None
        self.season: Season | None = None
        self.selected: int | None = None
        self.saved_at: dt.datetime | None = None
        self._today: dt.date | None = None
        self._day: dt.date | None = None

    # -- what is open ----------------------------------------------------------------

    @property
    def is_open(self) -> bool:
        """True while a farm is open."""
        return self.data is not None

    @property
    def today(self) -> dt.date:
        """The day it is: the clock's, or the demo's own day for an invented farm."""
        return self._today or self._clock().date()

    @property
    def day(self) -> dt.date:
        """The morning shown."""
        return self._day or self.today

    @property
    def at_today(self) -> bool:
        """True unless another morning is looked at; editing and printing are for today."""
        return self.day == self.today

    @property
    def now(self) -> dt.datetime:
        """The clock's time, for what is stored; on the demo's own day in an invented farm."""
        now = self._clock()
        if self.data is not None and self.data.orchard.invented:
            return dt.datetime.combine(self.today, now.time())
        return now

    @property
    def selected_block(self) -> BlockSeason | None:
        """The chosen block in the season of the day shown."""
        if self.season is None or self.selected is None:
            return None
        return next((b for b in self.season.blocks if b.block.id == self.selected), None)

    @property
    def idle(self) -> bool:
        """True where nothing is waiting, running or about to be told."""
        return self.worker.idle and not self._later

    # -- open, create, close ------------------------------------------------------------

    def open(self, path: str | Path, *, failed: Failed | None = None) -> None:
        """Open a farm file in place of the one that is open; that one stays if this fails."""
        from_where = Path(path)
        self._open_with(lambda: _open_file(from_where), failed)

    def create(
        self, path: str | Path, *, name: str, lat: float, lon: float,
        elevation_m: float | None = None, replace: bool = False, failed: Failed | None = None,
    ) -> None:  # fmt: skip
        """Begin a new farm file and open it."""
        now, where = self.now, Path(path)

        def make() -> FarmFile:
            from waterbudget import actions

            actions.new_farm(where, name=name, lat=lat, lon=lon, elevation_m=elevation_m,
                             replace=replace, now=now).close()  # fmt: skip
            return _open_file(where)

        self._open_with(make, failed)

    def open_demo(
        self, folder: Path | None = None, *, again: bool = False, failed: Failed | None = None
    ) -> None:  # fmt: skip
        """Open the working copy of the demo estate; it is built where there is none."""
        path = demo_path(folder)
        clock = self._clock
        ours = self.path is not None and self.path == path

        def make() -> FarmFile:
            if again or not path.exists():
                from waterbudget import demo

                path.parent.mkdir(parents=True, exist_ok=True)
                if ours and self._file is not None:
                    self._file.close()
                now = dt.datetime.combine(demo.DEMO_DATE, clock().time())
                demo.build(path, now=now, replace=True).close()
            return _open_file(path)

        self._open_with(make, failed)

    def _open_with(self, make: Callable[[], FarmFile], failed: Failed | None) -> None:
        clock = self._clock

        def work() -> _Answer:
            from waterbudget.season import Cache

            before, path_before = self._file, self.path
            if before is not None:
                before.close()  # the same file may be opened again
            try:
                file = make()
                data = file.read()
            except BaseException:
                if before is not None and path_before is not None:
                    self._file = _open_file(path_before)
                raise
            self._file, self._cache = file, Cache()
            today = _today(data, clock)
            return _Answer(file, data, None, today, today=today, file=file)

        self.worker.submit(work, done=self._opened, failed=failed or self.refused.emit,
                           label=tr("Opening the farm"))  # fmt: skip

    def _opened(self, answer: _Answer) -> None:
        assert answer.file is not None
        if self.is_open:
            self._clear()
            self.closed.emit()
        self.undo.clear()
        self.path = Path(answer.file.path)
        self.data, self.season = answer.data, None
        self._today = self._day = answer.today
        self.selected = None
        self.opened.emit()
        self._run_season(answer.on)

    def close(self) -> None:
        """Close the farm; what was asked for so far is still stored."""

        def work() -> None:
            if self._file is not None:
                self._file.close()
            self._file = None

        self.worker.submit(work)
        if self.is_open:
            self._clear()
            self.undo.clear()
            self.closed.emit()

    def stop(self) -> None:
        """Close the farm and end the worker thread (at the end of the program)."""
        self.close()
        self.worker.stop()

    # -- what is looked at ----------------------------------------------------------------

    def set_day(self, day: dt.date) -> None:
        """Look at another morning; its season follows (the newest wish wins)."""
        if day == self.day or not self.is_open:
            return
        self._day = day
        self.day_changed.emit(day)
        self._run_season(day)

    def go_to_today(self) -> None:
        """Look at today again."""
        self.set_day(self.today)

    def look_at_clock(self) -> None:
        """Go on to the new day where the window stayed open over midnight."""
        if self.data is None or self.data.orchard.invented:
            return
        if self._turned(self._clock().date()):
            self._run_season(self.day)

    def _turned(self, today: dt.date | None) -> bool:
        """Take the day it is now; who looks at today goes along, who looks back stays there."""
        if today is None or today == self._today:
            return False
        along, self._today = self.at_today, today
        if along:
            self._day = today
        self.day_changed.emit(self.day)
        return True

    def select(self, block_id: int | None) -> None:
        """Choose a block, everywhere."""
        if block_id != self.selected:
            self.selected = block_id
            self.selection_changed.emit(block_id)

    def _run_season(self, on: dt.date) -> None:
        data = self.data
        assert data is not None

        def work() -> Season:
            from waterbudget import season

            return season.run(data, on, cache=self._cache)

        def done(found: Season) -> None:
            if self.is_open and found.on == self.day:
                self.season = found
                self.season_changed.emit(found)

        self.worker.submit(work, done=done, failed=self.refused.emit, key="season",
                           label=tr("Working out the week"))  # fmt: skip

    # -- edits ----------------------------------------------------------------------------

    def act(
        self, label: str, do: Callable[..., Any],
        undo: Callable[[FarmFile, dt.datetime, Any], Any] | None = None,
        kinds: Iterable[str] = (), done: Done | None = None, failed: Failed | None = None,
        progress: Report | bool | None = None,
    ) -> Job:  # fmt: skip
        """Do an edit: one action of the core, one transaction, one undo step.

        Parameters
        ----------
        label : str
            The edit in a few words, as the undo line says it: "flow of Kiln".
        do : callable
            ``do(file, now) -> result`` in the worker thread (``do(file, now, progress=...)``
            where ``progress`` is given).
        undo : callable, optional
            ``undo(file, now, result)``; without it the edit is not on the undo stack.
        kinds : iterable of str
            What changes: ``blocks``, ``outlines``, ``weather``, ``ran``, ``plan``, ``work``,
            ``farm``.
        done : callable, optional
            Gets the result once it is stored (before the season is there again).
        failed : callable, optional
            Gets the error instead of the ``refused`` signal: for the field it belongs to, or for
            the questions of :class:`~waterbudget.errors.AnswersNeeded`.
        progress : callable or True, optional
            ``progress(done, of)`` on the GUI thread; True: only the status line.
        """
        changes = frozenset(kinds)

        def finished(answer: _Answer) -> None:
            if undo is not None:
                self.undo.push(ActCommand(self, label, do, undo, changes, answer.result))
            self._took(answer, changes)
            if done is not None and is_there(done):
                done(answer.result)

        def stepped(at: int, of: int) -> None:
            self.progressed.emit(at, of)
            if callable(progress):
                progress(at, of)

        return self._trip(do, finished, failed or self.refused.emit, label,
                          stepped if progress else None)  # fmt: skip

    def query(
        self, fn: Callable[[FarmFile], Any], done: Done, failed: Failed | None = None,
        key: str | None = None,
    ) -> Job:  # fmt: skip
        """Read something from the farm file in the worker thread; nothing may be stored."""

        def work() -> Any:
            return fn(self._need_file())

        return self.worker.submit(work, done=done, failed=failed or self.refused.emit, key=key)

    def undo_last(self) -> None:
        """Take the last edit back (once edits that are on their way are stored)."""
        self._when_settled(self.undo.undo)

    def redo_next(self) -> None:
        """Do again what was taken back."""
        self._when_settled(self.undo.redo)

    def replay(self, command: ActCommand, do: Callable[..., Any], *, forward: bool) -> None:
        """Carry out an undo or redo; called by the command itself."""

        def finished(answer: _Answer) -> None:
            if forward:
                command.result = answer.result
            self._took(answer, command.kinds)
            said = tr("Done again: {0}") if forward else tr("Taken back: {0}")
            self.told.emit(said.format(command.text()))

        def failed(error: WaterBudgetError) -> None:
            command.quiet = True  # put the stack back to where the file is
            if forward:
                self.undo.undo()
            else:
                self.undo.redo()
            self.refused.emit(error)

        self._trip(do, finished, failed, command.text(), None)

    def _when_settled(self, step: Callable[[], None]) -> None:
        if self._pending:
            self._later.append(step)
        else:
            step()

    def _trip(
        self, do: Callable[..., Any], finished: Callable[[_Answer], None], failed: Failed,
        label: str, progress: Report | None,
    ) -> Job:  # fmt: skip
        now, day = self.now, self.day

        def work(**step: Any) -> _Answer:
            file = self._need_file()
            return self._read_again(do(file, now, **step), file, day)

        def after(answer: _Answer) -> None:
            try:
                self.saved_at = now
                finished(answer)
            finally:
                self._settle()

        def fell(error: WaterBudgetError) -> None:
            try:
                failed(error)
            finally:
                self._settle()

        self._pending += 1
        return self.worker.submit(work, done=after, failed=fell, label=label, progress=progress)

    def _settle(self) -> None:
        self._pending -= 1
        if not self._pending and self._later:
            self._later.pop(0)()

    def _read_again(self, result: Any, file: FarmFile, day: dt.date) -> _Answer:
        from waterbudget import season

        data = file.read()
        answer = _Answer(result, data, None, day, today=_today(data, self._clock))
        try:
            many = len(data.orchard.blocks) > QUICK_FROM
            answer.season = season.run(data, day, cache=self._cache, quick=many)
        except WaterBudgetError as fault:  # the edit is stored all the same
            answer.fault = fault
        return answer

    def _took(self, answer: _Answer, kinds: frozenset[str]) -> None:
        self.data = answer.data
        self._turned(answer.today)
        fresh = answer.season is not None and answer.on == self.day
        if fresh:
            self.season = answer.season
        if self.selected not in {b.id for b in answer.data.orchard.blocks}:
            self.select(None)  # the chosen block went with an undo: nothing may act on it
        self.changed.emit(kinds)
        if fresh:
            self.season_changed.emit(answer.season)
            if answer.season is not None and answer.season.provisional:
                self._run_season(self.day)  # the solved plan follows
        elif answer.fault is not None:
            self.refused.emit(answer.fault)
        else:
            self._run_season(self.day)

    def _need_file(self) -> FarmFile:
        if self._file is None:
            raise WaterBudgetError("desktop.no_farm")
        return self._file


def demo_path(folder: Path | None = None) -> Path:
    """Return where the working copy of the demo lies; every version of the demo has its own."""
    if folder is None:
        place = QStandardPaths.StandardLocation.AppDataLocation
        folder = Path(QStandardPaths.writableLocation(place))
    return folder / f"demo-{demo_version()}.gpkg"


def demo_version() -> str:
    """Return a short mark of what the demo is made of, read without importing it."""
    mark = 0
    made_of = Path(waterbudget.__file__).parent / "demo"
    for path in sorted(made_of.iterdir()):
        if path.suffix in (".py", ".csv"):
            mark = zlib.crc32(path.read_bytes(), mark)
    return f"{mark:08x}"


def _open_file(path: Path) -> FarmFile:
    from waterbudget.store import FarmFile

    return FarmFile.open(path, hold=True)


def _today(data: FarmData, clock: Clock) -> dt.date:
    if data.orchard.invented:
        from waterbudget.demo import DEMO_DATE

        return DEMO_DATE
    return clock().date()
