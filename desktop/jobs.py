"""Background work: one worker thread, callbacks on the GUI thread.

The farm file's connection and every run of the season live in that one thread, so work on the
farm happens one piece after the other and nothing needs a lock.  Under one ``key`` the newest
piece of work wins: older ones that have not begun are dropped, the answer of one that is running
is ignored.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QStandardPaths, Qt, Signal
from shiboken6 import isValid

from waterbudget.errors import Cancelled, WaterBudgetError

Done = Callable[[Any], None]
Failed = Callable[[WaterBudgetError], None]
Report = Callable[[int, int], None]


class Unexpected(WaterBudgetError):
    """A fault of the program itself; what is known of it stands in the log file."""

    def __init__(self, log: Path) -> None:
        super().__init__("desktop.unexpected", log=str(log))


def log_path() -> Path:
    """Return the file that unexpected faults are written to."""
    folder = Path(QStandardPaths.writableLocation(QStandardPaths.StandardLocation.AppDataLocation))
    return folder / "faults.log"


def log_fault(fault: BaseException) -> Path:
    """Write a fault with its traceback to the log file; return where."""
    import logging
    import traceback

    path = log_path()
    text = "".join(traceback.format_exception(fault))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as log:
            log.write(f"{dt.datetime.now().isoformat(timespec='seconds')}\n{text}\n")
    except OSError:
        logging.getLogger("desktop").exception("the log file could not be written")
    logging.getLogger("desktop").error(text)
    return path


def is_there(callback: Callable[..., Any]) -> bool:
    """Tell whether the widget a bound callback belongs to was not closed in the meantime."""
    owner = getattr(callback, "__self__", None)
    return not isinstance(owner, QObject) or isValid(owner)


class Job:
    """One piece of work.

    Attributes
    ----------
    label : str
        What the user is told while it runs longer than half a second.
    can_cancel : bool
        True where the work reports its progress and so can be stopped between two steps.
    """

    def __init__(
        self, work: Callable[[], Any], done: Done | None, failed: Failed | None,
        key: str | None, progress: Report | None, label: str,
    ) -> None:  # fmt: skip
        self.work, self.done, self.failed = work, done, failed
        self.key, self.progress, self.label = key, progress, label
        self.can_cancel = progress is not None
        self._cancelled = threading.Event()

    def cancel(self) -> None:
        """Stop at the next step; ``failed`` gets Cancelled, also where it has not begun."""
        self._cancelled.set()

    @property
    def cancelled(self) -> bool:
        """True once :meth:`cancel` was called."""
        return self._cancelled.is_set()


class Worker(QObject):
    """One thread that does the work in the order it was asked for.

    Signals
    -------
    busy(bool, str)
        True with the label of the job that begins, False when nothing is left to do.
    """

    busy = Signal(bool, str)
    _ended = Signal(object, object, object)
    _stepped = Signal(object, int, int)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._waiting: deque[Job] = deque()
        self._wake = threading.Condition()
        self._running: Job | None = None
        self._open = True
        queued = Qt.ConnectionType.QueuedConnection
        self._ended.connect(self._on_ended, queued)
        self._stepped.connect(self._on_stepped, queued)
        self._unfinished = 0
        self._newest: dict[str, Job] = {}
        self._thread = threading.Thread(target=self._loop, name="waterbudget-worker", daemon=True)
        self._thread.start()

    @property
    def running(self) -> Job | None:
        """The job at work now."""
        return self._running

    @property
    def idle(self) -> bool:
        """True where nothing waits, runs, or has a callback outstanding."""
        return self._unfinished == 0

    def submit(
        self, fn: Callable[..., Any], *args: Any, done: Done | None = None,
        failed: Failed | None = None, key: str | None = None,
        progress: Report | None = None, label: str = "",
    ) -> Job:  # fmt: skip
        """Ask for ``fn(*args)`` to be done in the worker thread.

        Parameters
        ----------
        done : callable, optional
            Gets the result, on the GUI thread.
        failed : callable, optional
            Gets the error, on the GUI thread: what the core refused, asked or cancelled as it
            is, anything else as :class:`Unexpected` after it was logged.
        key : str, optional
            The newest job of a key wins.
        progress : callable, optional
            Called on the GUI thread with (done, of); ``fn`` then gets a keyword ``progress``,
            to be called between steps, which raises Cancelled when the job was cancelled.
        label : str
            What is being done, for the status line.
        """
        job = Job(lambda: None, done, failed, key, progress, label)
        if progress is None:
            job.work = lambda: fn(*args)
        else:
            job.work = lambda: fn(*args, progress=lambda a, b: self._step(job, a, b))
        with self._wake:
            if key is not None:
                for old in [j for j in self._waiting if j.key == key]:
                    self._waiting.remove(old)
                    self._unfinished -= 1
                self._newest[key] = job
            self._waiting.append(job)
            self._unfinished += 1
            self._wake.notify()
        return job

    def stop(self, wait_s: float = 10.0) -> None:
        """Do what was asked for so far (never cut a transaction short), then end the thread."""
        with self._wake:
            self._open = False
            self._wake.notify()
        self._thread.join(wait_s)

    def _loop(self) -> None:
        while True:
            with self._wake:
                while not self._waiting and self._open:
                    self._wake.wait()
                if not self._waiting:
                    return
                job = self._running = self._waiting.popleft()
            result, error = None, None
            try:
                if job.cancelled:
                    raise Cancelled
                self._say(self.busy, True, job.label)
                result = job.work()
            except WaterBudgetError as known:
                error = known
            except Exception as fault:  # the one place where nothing may pass: the thread lives on
                error = Unexpected(log_fault(fault))
            with self._wake:
                self._running = None
            self._say(self._ended, job, result, error)

    def _say(self, signal: Any, *what: Any) -> None:
        try:
            signal.emit(*what)
        except RuntimeError:  # the window is gone already; nobody is left to tell
            return

    def _step(self, job: Job, at: int, of: int) -> None:
        if job.cancelled:
            raise Cancelled
        self._stepped.emit(job, at, of)

    def _overtaken(self, job: Job) -> bool:
        return job.key is not None and self._newest.get(job.key) is not job

    def _on_stepped(self, job: Job, at: int, of: int) -> None:
        if job.progress is not None and not self._overtaken(job):
            job.progress(at, of)

    def _on_ended(self, job: Job, result: Any, error: WaterBudgetError | None) -> None:
        try:
            if not self._overtaken(job):
                if error is None and job.done is not None and is_there(job.done):
                    job.done(result)
                elif error is not None and job.failed is not None and is_there(job.failed):
                    job.failed(error)
        finally:
            self._unfinished -= 1
            if self._unfinished == 0:
                self.busy.emit(False, "")
