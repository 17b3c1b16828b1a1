"""Undo: one command per user edit, which is one action of the core and one transaction.

Qt's undo stack keeps the order; the work itself is done by the session in the worker thread.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from PySide6.QtGui import QUndoCommand

if TYPE_CHECKING:
    from desktop.session import Session

Do = Callable[..., Any]
Undo = Callable[[Any, dt.datetime, Any], Any]


class ActCommand(QUndoCommand):
    """One edit that is already stored when the command is pushed.

    Parameters
    ----------
    do : callable
        ``do(file, now) -> result``, also used to do it again.
    undo : callable
        ``undo(file, now, result)``.
    kinds : frozenset of str
        What kind of thing changes.
    """

    def __init__(
        self, session: Session, label: str, do: Do, undo: Undo, kinds: frozenset[str], result: Any
    ) -> None:  # fmt: skip
        super().__init__(label)
        self._session = session
        self._do, self._undo = do, undo
        self.kinds = kinds
        self.result = result
        self.quiet = True  # the push that follows the stored edit must not do it twice

    def redo(self) -> None:
        """Do it again (not on the first call: Qt calls redo when a command is pushed)."""
        if self.quiet:
            self.quiet = False
            return
        self._session.replay(self, lambda file, now: self._do(file, now), forward=True)

    def undo(self) -> None:
        """Take it back."""
        if self.quiet:
            self.quiet = False
            return
        result = self.result
        self._session.replay(self, lambda file, now: self._undo(file, now, result), forward=False)
