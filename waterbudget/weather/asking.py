"""Collect what a file leaves open, so that everything is asked at once.

A part of the reader that cannot know something calls :meth:`Asker.ask`.  It gets the answer
where one was given (or is remembered from a file of the same layout), else None, and goes on
with any stand-in; at the end :meth:`Asker.finish` raises all the open questions together.
"""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping, Sequence

from waterbudget.errors import AnswersNeeded, Question, Refused
from waterbudget.units import UNITS

ROLES = (
    "date", "tmax", "tmin", "temp", "rh_max", "rh_min", "rh", "dew", "ea", "wind", "rs", "sun",
    "rain", "et0",
)  # fmt: skip
"""What a column can be, as named in the keys ``column_<role>``."""

KEYS = (
    "date_order", "time_zone", "stamp", "wind_height_m", "which_station", "duplicate_days",
    "decimal_mark", "rain_kind", "mm_per_tip", "unlisted_days", "blank_rain",
    *(f"unit_{quantity}" for quantity in UNITS),
    *(f"column_{role}" for role in ROLES),
    *(f"nines_{role}" for role in ROLES[1:]),
)  # fmt: skip
"""Every key a question of a weather file can have."""

SAMPLE_ROWS = 4


def parse_zone(text: str) -> dt.tzinfo | None:
    """Return the zone of a name (``Africa/Harare``) or an offset (``+02:00``); None if neither."""
    text = text.strip()
    if text.upper() in ("UTC", "Z", "GMT"):
        return dt.UTC
    if text[:1] in "+-" and text[1:].replace(":", "").isdigit():
        digits = text[1:].replace(":", "")
        hours, minutes = (
            (int(digits[:-2]), int(digits[-2:])) if len(digits) > 2 else (int(digits), 0)
        )
        if hours <= 14 and minutes < 60:
            sign = -1 if text[0] == "-" else 1
            return dt.timezone(sign * dt.timedelta(hours=hours, minutes=minutes))
        return None
    try:
        return zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return None


class Asker:
    """Holds the answers given, and the questions still open.

    Parameters
    ----------
    answers : mapping
        Given for this file; they win over what the file seems to say.
    layout : mapping
        Remembered from an earlier file of the same layout; used only where a question arises.
    sample : sequence of str
        The rows shown with a question that brings none of its own.

    Raises
    ------
    Refused
        ``answers.unknown`` for a key no weather file is ever asked.
    """

    def __init__(
        self,
        answers: Mapping[str, str] | None = None,
        layout: Mapping[str, str] | None = None,
        sample: Sequence[str] = (),
    ) -> None:
        self._answers = {k.strip(): str(v).strip() for k, v in (answers or {}).items()}
        self._layout = {k: str(v) for k, v in (layout or {}).items()}
        for key in self._answers:
            if key not in KEYS:
                raise Refused("answers.unknown", key=key, known=", ".join(KEYS))
        self.sample = tuple(sample)[:SAMPLE_ROWS]
        self.used: dict[str, str] = {}
        self.open: dict[str, Question] = {}

    def remember(self, layout: Mapping[str, str]) -> None:
        """Add answers kept from an earlier file of the same layout."""
        self._layout = {**{k: str(v) for k, v in layout.items()}, **self._layout}

    def given(self, key: str, choices: Sequence[str] | None = None) -> str | None:
        """Return the answer given for this file (never a remembered one), checked."""
        value = self._answers.get(key)
        if value is None:
            return None
        if choices is not None:
            value = _one_of(key, value, choices)
        self.used[key] = value
        return value

    def ask(
        self,
        key: str,
        choices: Sequence[str] | None = None,
        sample: Sequence[str] | None = None,
        form: str | None = None,
        **fields: object,
    ) -> str | None:
        """Return the answer to a question that arose; None (and it is kept open) if there is none.

        The sentence of the question is ``weather.ask.<key>``.
        """
        value = self.given(key, choices)
        if value is not None:
            return value
        if key in self._layout and (choices is None or self._layout[key] in choices):
            self.used[key] = self._layout[key]
            return self._layout[key]
        if key not in self.open:
            rows = self.sample if sample is None else tuple(sample)[:SAMPLE_ROWS]
            self.open[key] = Question(
                key=key,
                code=f"weather.ask.{key}",
                fields=dict(fields),
                choices=None if choices is None else tuple(choices),
                format=form,
                sample=rows,
            )
        return None

    def ask_number(
        self, key: str, low: float, high: float, form: str, **fields: object
    ) -> float | None:
        """Ask for a number between ``low`` and ``high``."""
        text = self.ask(key, None, None, form, **fields)
        if text is None:
            return None
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            raise Refused("answers.not_a_number", key=key, value=text) from None
        if not low <= value <= high:
            raise Refused("key.out_of_bounds", key=key, value=text, low=low, high=high)
        return value

    def ask_zone(self) -> dt.tzinfo | None:
        """Ask for the time zone of the place."""
        text = self.ask("time_zone", form="time_zone")
        if text is None:
            return None
        zone = parse_zone(text)
        if zone is None:
            raise Refused("answers.not_a_zone", key="time_zone", value=text)
        return zone

    def unused(self) -> list[str]:
        """Return the keys answered for this file that nothing asked for."""
        return [key for key in self._answers if key not in self.used]

    def finish(self) -> None:
        """Raise all open questions together, if there are any."""
        if self.open:
            raise AnswersNeeded(tuple(self.open.values()))


def _one_of(key: str, value: str, choices: Sequence[str]) -> str:
    for choice in choices:
        if choice.casefold() == value.casefold():
            return choice
    raise Refused("answers.not_a_choice", key=key, value=value, choices=", ".join(choices))
