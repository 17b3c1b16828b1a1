"""The plate over the window while a file is brought in: working, questions, what came of it."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QHBoxLayout,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from desktop import theme
from desktop.dialogs.outcome import Outcome
from desktop.dialogs.questions import Questions
from desktop.overlays import PATIENCE_MS
from desktop.widgets import Link, Mark, text
from desktop.wording import tr
from waterbudget.errors import Question

WIDE, TALL = 660, 560


class ImportPlate(QDialog):
    """Stands over the window; only one thing is shown at a time.

    Signals
    -------
    answered(dict)
        Literal answers of the questions shown.
    done_with(str)
        Closed; the page to go to, or an empty text.
    stopped()
        The user wants the work stopped.
    """

    answered = Signal(object)
    done_with = Signal(str)
    stopped = Signal()

    def __init__(self, window: QWidget, name: str) -> None:
        super().__init__(window)
        self.setWindowTitle(name)
        self.setWindowModality(Qt.WindowModality.WindowModal)
        self._box = QVBoxLayout(self)
        self._box.setContentsMargins(26, 22, 26, 20)
        self._box.setSpacing(8)
        self.head = text(name, theme.LEAD, bold=True, wrap=True)
        self._box.addWidget(self.head)
        self._name = name
        self._working = False
        self._content: QWidget | None = None
        self.questions: Questions | None = None
        self.main: QPushButton | None = None
        self._patience = QTimer(self, singleShot=True, interval=PATIENCE_MS)
        self._patience.timeout.connect(self.open)

    # -- what is shown ------------------------------------------------------------------

    def show_working(self) -> None:
        """Say that the file is being read; the plate itself appears after half a second."""
        body, box = self._body()
        bar = QProgressBar()
        bar.setRange(0, 0)
        bar.setTextVisible(False)
        box.addWidget(text(tr("Reading the file …")))
        box.addWidget(bar)
        box.addStretch()
        self._buttons(box, Link(tr("Stop"), self.stopped.emit))
        self._put(body, tr("Bringing in {0}").format(self._name), 170)
        self._working = True
        if not self.isVisible():
            self._patience.start()

    def show_questions(self, questions: Sequence[Question], suggestions: dict[str, str]) -> None:
        """Ask everything at once."""
        body, box = self._body()
        asked = Questions(questions, suggestions)
        box.addWidget(asked, 1)
        self.main = QPushButton(tr("Bring it in"))
        self.main.setProperty("main", "true")
        self.main.clicked.connect(self._answer)
        cancel = Link(tr("Cancel, store nothing"), lambda: self.done_with.emit(""))
        self._buttons(box, cancel, self.main)
        head = tr("A question about {0}") if len(questions) == 1 else tr("Questions about {0}")
        self._put(body, head.format(self._name), asked.tall(WIDE - 70) + 150, asked)
        self._appear()
        asked.asked[0].focus_first()

    def show_outcome(self, outcome: Outcome) -> None:
        """Say what came of it."""
        body, box = self._body()
        inner = QWidget()
        lines = QVBoxLayout(inner)
        lines.setContentsMargins(0, 0, 12, 0)
        lines.setSpacing(4)
        for at, words in enumerate(outcome.told):
            lines.addWidget(text(words, theme.LARGE if at == 0 else theme.BODY, wrap=True))
        for words in outcome.left:
            lines.addLayout(_marked("missing", words))
        for words in outcome.notes:
            lines.addWidget(text(words, theme.BODY, quiet=True, wrap=True))
        lines.addStretch()
        scroll = QScrollArea()
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        box.addWidget(scroll, 1)
        self.main = QPushButton(tr("Good"))
        self.main.setProperty("main", "true")
        self.main.clicked.connect(lambda: self.done_with.emit(""))
        see = Link(outcome.see, lambda: self.done_with.emit(outcome.page)) if outcome.see else None
        self._buttons(box, see, self.main)
        self._put(
            body, tr("{0} is in").format(self._name), lines.totalHeightForWidth(WIDE - 70) + 150
        )
        self._appear()
        self.main.setFocus()

    def show_refused(self, sentence: str) -> None:
        """Say why it could not be brought in; nothing was stored."""
        body, box = self._body()
        box.addLayout(_marked("cross", sentence))
        box.addWidget(text(tr("Nothing was stored."), quiet=True))
        box.addStretch()
        self.main = QPushButton(tr("Close"))
        self.main.clicked.connect(lambda: self.done_with.emit(""))
        self._buttons(box, self.main)
        self._put(body, tr("{0} could not be brought in").format(self._name), 220)
        self._appear()
        self.main.setFocus()

    def refuse_answer(self, key: str, sentence: str) -> bool:
        """Say at a question what is wrong with its answer; False where it is not asked."""
        if self.questions is None or not key:
            return False
        asked = self.questions
        if not any(a.question.key == key for a in asked.asked):
            return False
        answers = asked.answers()
        self.show_questions([a.question for a in asked.asked], answers)
        assert self.questions is not None
        return self.questions.refuse(key, sentence)

    # -- how it is shown ----------------------------------------------------------------

    def _answer(self) -> None:
        assert self.questions is not None
        if self.questions.complete():
            self.answered.emit(self.questions.answers())
        else:
            self.questions.show_missing()

    def _body(self) -> tuple[QWidget, QVBoxLayout]:
        body = QWidget()
        box = QVBoxLayout(body)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(6)
        return body, box

    def _buttons(self, box: QVBoxLayout, *buttons: QWidget | None) -> None:
        row = QHBoxLayout()
        row.setContentsMargins(0, 8, 0, 0)
        row.setSpacing(18)
        row.addStretch()
        for button in buttons:
            if button is not None:
                row.addWidget(button)
        box.addLayout(row)

    def _put(self, body: QWidget, head: str, wanted: int, asked: Questions | None = None) -> None:
        if self._content is not None:
            self._box.removeWidget(self._content)
            self._content.hide()
            self._content.deleteLater()
        self._content = body
        self._working = False
        self.questions = asked
        self._box.addWidget(body, 1)
        self.head.setText(head)
        parent = self.parentWidget()
        room = parent.height() - 60 if parent is not None else TALL
        self.resize(WIDE, max(min(wanted, TALL, room), 150))

    def _appear(self) -> None:
        self._patience.stop()
        if not self.isVisible():
            self.open()

    def reject(self) -> None:
        """Esc: stop the work, or close with nothing stored."""
        if self._working:
            self.stopped.emit()
        else:
            self.done_with.emit("")


def _marked(kind: str, words: str) -> QHBoxLayout:
    row = QHBoxLayout()
    row.setSpacing(10)
    mark = QVBoxLayout()
    mark.setContentsMargins(0, 3, 0, 0)
    mark.addWidget(Mark(kind), 0, Qt.AlignmentFlag.AlignTop)
    row.addLayout(mark)
    row.addWidget(text(words, wrap=True), 1)
    return row
