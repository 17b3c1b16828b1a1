"""Questions of an import: collected, so that all are asked at once, and answered by key."""

from __future__ import annotations

from collections.abc import Mapping

from waterbudget.errors import AnswersNeeded, Question, Refused

KEYS = ("layer", "name_column", "crs", "units", "swap", "close", "existing", "encoding")
"""Every key an outline import may ask (``encoding`` is never asked, but may be given)."""


class Desk:
    """Takes the answers given and the questions still open.

    Parameters
    ----------
    answers : mapping or None
        Key to answer, as given by the person.

    Raises
    ------
    Refused
        ``answers.unknown`` for a key no outline import asks.
    """

    def __init__(self, answers: Mapping[str, str] | None = None) -> None:
        self.given = {k: str(v).strip() for k, v in (answers or {}).items()}
        for key in self.given:
            if key not in KEYS:
                raise Refused("answers.unknown", key=key, known=", ".join(KEYS))
        self.used: dict[str, str] = {}
        self.open: list[Question] = []

    def peek(self, key: str) -> str | None:
        """Return an answer given without being asked, and count it as used."""
        if (value := self.given.get(key)) is not None:
            self.used[key] = value
        return value

    def ask(self, question: Question) -> str | None:
        """Return the answer, or None with the question noted down.

        Raises
        ------
        Refused
            ``answers.not_a_choice`` where the answer is none of the choices.
        """
        value = self.given.get(question.key)
        if value is None:
            if all(q.key != question.key for q in self.open):
                self.open.append(question)
            return None
        if question.choices is not None:
            for choice in question.choices:
                if choice.strip().casefold() == value.casefold():
                    self.used[question.key] = choice
                    return choice
            choices = ", ".join(question.choices)
            raise Refused("answers.not_a_choice", key=question.key, value=value, choices=choices)
        self.used[question.key] = value
        return value

    def settle(self) -> None:
        """Raise AnswersNeeded where a question is open."""
        if self.open:
            raise AnswersNeeded(self.open)
