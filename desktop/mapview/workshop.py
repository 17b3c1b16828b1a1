"""One thread that paints for a map: the newest list of wishes replaces the one before.

Unlike the farm's worker it touches no farm file.  It is started with the first wish and ends with
the widget it works for, or with the program.
"""

from __future__ import annotations

import sys
import threading
import weakref
from collections import deque
from collections.abc import Callable, Hashable, Sequence
from typing import Any

from PySide6.QtCore import QCoreApplication, QObject, Qt, Signal
from shiboken6 import isValid

from desktop.jobs import log_fault
from desktop.tidy import Tidy

Wish = tuple[Hashable, Callable[[], Any]]
"""What it is for, and the work."""


class _State:
    """What thread and owner share; the thread keeps nothing else alive."""

    def __init__(self) -> None:
        self.wake = threading.Condition()
        self.wishes: deque[Wish] = deque()
        self.results: deque[tuple[Hashable, Any]] = deque()
        self.open = True
        self.at_work: Hashable | None = None
        self.owner: Callable[[], Workshop | None] = lambda: None

    def close(self) -> None:
        """Ask the thread to end."""
        with self.wake:
            self.open = False
            self.wishes.clear()
            self.wake.notify()


class _Post(QObject):
    """Carries results to the GUI thread.

    One for the whole program: a thread must never speak to an object that belongs to a window,
    for the window may be deleted at that very moment.
    """

    sent = Signal(object)
    _only: _Post | None = None

    @classmethod
    def office(cls) -> _Post:
        """Return the one there is (made on the GUI thread)."""
        if cls._only is None:
            cls._only = cls()
            cls._only.sent.connect(_deliver, Qt.ConnectionType.QueuedConnection)
        return cls._only


def _deliver(state: _State) -> None:
    owner = state.owner()
    while state.results:
        key, result = state.results.popleft()
        if state.open and owner is not None and isValid(owner):
            owner.done.emit(key, result)


class Workshop(QObject):
    """Does the work wished for, in order.

    Signals
    -------
    done(key, result)
        On the thread of the owner; the result is None where the work failed (it is logged).
    """

    done = Signal(object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        Tidy.begin()
        self._state = _State()
        self._state.owner = weakref.ref(self)
        self._thread: threading.Thread | None = None
        self._post = _Post.office()
        self.destroyed.connect(self._state.close)
        app = QCoreApplication.instance()
        if app is not None:
            app.aboutToQuit.connect(self._state.close)

    def want(self, wishes: Sequence[Wish]) -> None:
        """Put these wishes in the place of those not begun; what is at work is not begun twice."""
        with self._state.wake:
            at_work = self._state.at_work
            self._state.wishes = deque(w for w in wishes if w[0] != at_work)
            self._state.wake.notify()
        if self._thread is None and wishes:
            sys.setswitchinterval(min(sys.getswitchinterval(), SWITCH_S))
            self._thread = threading.Thread(
                target=_loop, args=(self._state, self._post), name="map-painter", daemon=True
            )
            self._thread.start()

    @property
    def idle(self) -> bool:
        """True where nothing waits or is at work."""
        state = self._state
        return not state.wishes and state.at_work is None and not state.results

    def stop(self, wait_s: float = 5.0) -> None:
        """End the thread after what it is at."""
        self._state.close()
        if self._thread is not None:
            self._thread.join(wait_s)


SWITCH_S = 0.001
"""Longest time this thread keeps Python's lock while the window waits for it."""


def _loop(state: _State, post: _Post) -> None:
    while True:
        with state.wake:
            while not state.wishes and state.open:
                state.wake.wait()
            if not state.open:
                return
            key, work = state.wishes.popleft()
            state.at_work = key
        try:
            result = work()
        except Exception as fault:  # the thread lives on; what failed stays unpainted
            log_fault(fault)
            result = None
        with state.wake:
            state.results.append((key, result))
            state.at_work = None
        if not state.open:
            return
        post.sent.emit(state)
        del result, work
