"""What can go wrong, as a code and fields.

The core speaks no language: an error, a question or a note is a *code* (``"weather.bad_date"``)
with the *fields* its sentence needs (``line=14, value="31/02/2025"``).  ``english.py`` and the
window's wording turn codes into sentences; the texts live in ``tables/sentences/*.csv``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Note:
    """Something worth telling that stops nothing.

    Attributes
    ----------
    code : str
        Key of the sentence.
    fields : dict
        Values the sentence names.
    """

    code: str
    fields: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, code: str, **fields: Any) -> Note:
        """Build a note from keyword fields."""
        return cls(code, fields)


@dataclass(frozen=True)
class Question:
    """Something an import cannot know and must not guess.

    Attributes
    ----------
    key : str
        Name under which the answer is given (``--answer key=value``).
    code, fields
        The sentence that says what is unclear.
    choices : tuple of str or None
        The literal values accepted; None means free text.
    format : str or None
        For free text: the code of the expected form (``"number_m"``, ``"date_iso"`` ...).
    sample : tuple of str
        A few rows of the file as they stand there.
    """

    key: str
    code: str
    fields: dict[str, Any] = field(default_factory=dict)
    choices: tuple[str, ...] | None = None
    format: str | None = None
    sample: tuple[str, ...] = ()


class WaterBudgetError(Exception):
    """Root of everything this package raises on purpose.

    Parameters
    ----------
    code : str
        Key of the sentence.
    **fields
        Values the sentence names (line, column, date, block ...).
    """

    def __init__(self, code: str, **fields: Any) -> None:
        self.code = code
        self.fields = fields
        super().__init__(code, fields)

    def __str__(self) -> str:
        inside = ", ".join(f"{k}={v!r}" for k, v in self.fields.items())
        return f"{self.code}({inside})"


class Refused(WaterBudgetError):
    """The input cannot be used as it is; nothing was stored."""


class FarmFileError(Refused):
    """The farm file itself cannot be opened, read or written."""


class AnswersNeeded(WaterBudgetError):
    """The file can be read once these questions are answered; nothing was stored.

    Parameters
    ----------
    questions : sequence of Question
        All of them at once.
    """

    def __init__(self, questions: Sequence[Question]) -> None:
        self.questions = tuple(questions)
        super().__init__("answers.needed", keys=[q.key for q in self.questions])


class Cancelled(WaterBudgetError):
    """The user stopped a long piece of work; nothing was stored."""

    def __init__(self) -> None:
        super().__init__("work.cancelled")
