"""Doubtful figures are asked about before anything is stored: one plate, all questions at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from desktop import theme
from desktop.dialogs.questions import Questions
from desktop.widgets import Link, text
from desktop.wording import tr
from waterbudget.errors import Question

WIDE, TALL = 620, 520


class AskDialog(QDialog):
    """Questions over the window; Esc leaves everything as it was typed.

    Parameters
    ----------
    window : QWidget
    head : str
    questions : sequence of Question
    answered : callable
        Gets key and literal answer of every question.
    """

    def __init__(
        self, window: QWidget, head: str, questions: Sequence[Question],
        answered: Callable[[dict[str, str]], object],
    ) -> None:  # fmt: skip
        super().__init__(window)
        self._answered = answered
        self.setWindowTitle(head)
        self.setWindowModality(Qt.WindowModality.WindowModal)
        box = QVBoxLayout(self)
        box.setContentsMargins(26, 22, 26, 20)
        box.setSpacing(8)
        box.addWidget(text(head, theme.LEAD, bold=True, wrap=True))
        self.questions = Questions(questions, {})
        box.addWidget(self.questions, 1)
        row = QHBoxLayout()
        row.setContentsMargins(0, 8, 0, 0)
        row.setSpacing(18)
        row.addStretch()
        row.addWidget(Link(tr("Cancel, store nothing"), self.reject))
        self.main = QPushButton(tr("Store it"))
        self.main.setProperty("main", "true")
        self.main.setAutoDefault(False)
        self.main.clicked.connect(self._store)
        row.addWidget(self.main)
        box.addLayout(row)
        wanted = self.questions.tall(WIDE - 70) + 150
        self.resize(WIDE, max(min(wanted, TALL, window.height() - 60), 200))
        self.questions.asked[0].focus_first()

    def _store(self) -> None:
        if not self.questions.complete():
            self.questions.show_missing()
            return
        self.accept()
        self._answered(self.questions.answers())
