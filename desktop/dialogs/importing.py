"""One door for files: recognise, ask what must be asked, bring it in, say what came of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QWidget

from desktop.dialogs.bring_in import (
    STATION,
    bring_in,
    early_questions,
    first_look,
    take_back,
)
from desktop.dialogs.import_plate import ImportPlate
from desktop.dialogs.outcome import outcome
from desktop.jobs import Job
from desktop.session import Session
from desktop.settings import Settings
from desktop.wording import say, tr
from waterbudget.errors import AnswersNeeded, Cancelled, WaterBudgetError

if TYPE_CHECKING:
    from desktop.dialogs.bring_in import Look
    from waterbudget.store import FarmFile

KINDS = {
    "outlines": frozenset({"blocks", "outlines"}), "blocks": frozenset({"blocks"}),
    "weather": frozenset({"weather"}), "ran": frozenset({"ran"}),
    "readings": frozenset({"ran"}), "underlay": frozenset({"underlays"}),
}  # fmt: skip


class Importer(QObject):
    """Brings files in, one after the other, each in one plate over the window.

    Parameters
    ----------
    window : QWidget
        The plate lies over it.
    """

    def __init__(
        self, window: QWidget, session: Session, settings: Settings,
        navigate: Callable[..., None],
    ) -> None:  # fmt: skip
        super().__init__(window)
        self._window, self._session, self._navigate = window, session, navigate
        self._settings = settings
        self._waiting: list[Path] = []
        self._kind = ""
        self._look: Look | None = None
        self._path = Path()
        self._answers: dict[str, str] = {}
        self._job: Job | None = None
        self.plate: ImportPlate | None = None

    def start(self, paths: list[Path], kind: str = "") -> None:
        """Bring in files.

        Parameters
        ----------
        kind : str
            ``outlines``, ``weather``, ``forecast``, ``ran`` or ``blocks`` where the user has said
            so; recognised otherwise.
        """
        self._waiting += paths
        self._kind = kind
        if self.plate is None:
            self._next()

    def _next(self) -> None:
        if self.plate is not None:
            self.plate.hide()
            self.plate.deleteLater()
            self.plate = None
        if not self._waiting:
            return
        self._path, self._answers, self._look = self._waiting.pop(0), {}, None
        path, wanted = self._path, self._kind
        is_open = self._session.is_open
        self._job = self._session.worker.submit(
            lambda: first_look(path, wanted, need_place=not is_open), done=self._looked,
            failed=self._failed, label=tr("Looking at {0}").format(path.name),
        )  # fmt: skip

    def _looked(self, look: Look) -> None:
        self._look = look
        if look.kind == "farm":
            self._waiting.clear()
            self._navigate("open", path=self._path)
            return
        if not self._session.is_open:
            files = [self._path, *self._waiting]
            self._waiting.clear()
            self._navigate("welcome", place=look.place, paths=files)
            return
        data = self._session.data
        assert data is not None
        questions = early_questions(look, data.orchard)
        if questions:
            self._ask(questions, {STATION: self._path.stem.replace("_", " ")})
        else:
            self._bring_in()

    def _bring_in(self) -> None:
        """Do the import in the worker with the answers so far."""
        look, path, answers = self._look, self._path, dict(self._answers)
        today = self._session.today
        assert look is not None and self._session.data is not None
        before = self._session.data

        def do(file: FarmFile, now: dt.datetime, progress: Any = None) -> Any:
            return bring_in(look, path, answers, file, today, now, progress)

        def undo(file: FarmFile, now: dt.datetime, done: Any) -> None:
            take_back(look, path, before, done, file, now)

        self._plate().show_working()
        self._job = self._session.act(
            tr("bringing in {0}").format(path.name), do, undo, KINDS[look.kind],
            done=self._done, failed=self._failed, progress=True,
        )  # fmt: skip

    def _done(self, done: Any) -> None:
        assert self._look is not None
        self._plate().show_outcome(outcome(self._look.kind, done.result, done.forecast))

    def _failed(self, error: WaterBudgetError) -> None:
        if isinstance(error, Cancelled):
            self._session.told.emit(say(error))
            self._next()
        elif isinstance(error, AnswersNeeded):
            self._ask(list(error.questions), {})
        elif not self._plate().refuse_answer(str(error.fields.get("key", "")), say(error)):
            self._plate().show_refused(say(error))

    def _ask(self, questions: list[Any], suggestions: dict[str, str]) -> None:
        self._plate().show_questions(questions, suggestions)

    def _answered(self, answers: dict[str, str]) -> None:
        self._answers.update(answers)
        self._bring_in()

    def _plate(self) -> ImportPlate:
        if self.plate is None:
            self.plate = ImportPlate(self._window, self._path.name)
            self.plate.answered.connect(self._answered)
            self.plate.done_with.connect(self._finished)
            self.plate.stopped.connect(self._stop)
        return self.plate

    def _finished(self, page: str) -> None:
        self._next()
        if page:
            self._navigate(page)

    def _stop(self) -> None:
        if self._job is not None:
            self._job.cancel()
