"""Python's collector of unused objects, kept on the GUI thread.

It runs in whichever thread happens to make the next object.  A widget caught in a ring of
references would then be destroyed by a working thread, which brings the process down.  So it is
switched off and called from a timer of the GUI thread, at the same thresholds.
"""

from __future__ import annotations

import gc

from PySide6.QtCore import QObject, QTimer

EVERY_MS = 500


class Tidy(QObject):
    """Collects on the GUI thread from now on; one for the whole program."""

    _only: Tidy | None = None

    def __init__(self) -> None:
        super().__init__()
        gc.disable()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.collect)
        self._timer.start(EVERY_MS)

    @classmethod
    def begin(cls) -> None:
        """Begin, where that was not done yet (on the GUI thread)."""
        if cls._only is None:
            cls._only = cls()

    def collect(self) -> None:
        """Collect the generations whose time has come."""
        count, limit = gc.get_count(), gc.get_threshold()
        for generation in (2, 1, 0):
            if limit[generation] and count[generation] > limit[generation]:
                gc.collect(generation)
                return
