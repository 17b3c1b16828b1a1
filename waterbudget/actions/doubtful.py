"""What was typed of a watering and cannot be taken as it stands: asked about, never guessed.

Questions are keyed by what is unclear (``hours``, ``long``, ``m3``, ``meter``, ``digits``,
``new_start``, ``old_last``); where a whole day or a file is entered the block and the day stand
behind it, and an answer without them holds for all.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from waterbudget.errors import AnswersNeeded, Question, Refused
from waterbudget.orchard import Block, read_number
from waterbudget.records import FarmData, MeterReading
from waterbudget.season import metering
from waterbudget.season.blocks import DEFAULT_SYSTEM, flow, system_defaults

Entry = tuple[float | None, float | None]
"""Hours, cubic metres off the meter; at least one of the two."""

LONGEST_H = 24.0
LONG_H = 20.0
MUCH_MORE = 1.5
"""Water past what the flow gives in the hours by this factor is asked about (own estimate)."""
MINUTES = 60.0
NEAR = 0.2
DIGITS = (3, 9)


@dataclass
class Doubts:
    """Answers as far as they are given, and the questions that came up.

    Parameters
    ----------
    single : bool
        One entry of one block: questions need not name them.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    single: bool = True
    questions: list[Question] = field(default_factory=list)

    def ask(
        self, what: str, block: Block, date: dt.date, choices: tuple[str, ...] | None = None,
        form: str | None = None, told: Mapping[str, object] | None = None,
    ) -> str | None:  # fmt: skip
        """Return the answer to a question; None where it still has to be asked."""
        key = what if self.single else f"{what}:{block.name}:{date}"
        answer = self.answers.get(key, self.answers.get(what, "")).strip()
        if answer and (choices is None or answer in choices):
            return answer
        if answer and choices is not None:
            raise Refused("answers.not_a_choice", key=key, value=answer, choices=", ".join(choices))
        named = {"block": block.name, "date": date, **(told or {})}
        question = Question(key, f"ran.ask.{what}", named, choices, form)
        if all(q.key != key for q in self.questions):
            self.questions.append(question)
        return None

    def settle(self) -> None:
        """Raise what is left to ask, all at once.

        Raises
        ------
        AnswersNeeded
        """
        if self.questions:
            raise AnswersNeeded(self.questions)


def entry(
    doubts: Doubts, block: Block, date: dt.date, figures: Entry, planned: float | None
) -> Entry:
    """Return what was typed as it is to be stored, asking where it is doubtful.

    Parameters
    ----------
    planned : float or None
        Hours handed out for that day.

    Raises
    ------
    Refused
        Where the answer says that the figure is wrong, or it is longer than a day.
    """
    hours, m3 = figures
    if hours is not None:
        hours = _hours(doubts, block, date, hours, planned)
    rate = flow(block).m3_h
    took = hours if hours is not None else planned
    if m3 and rate:
        gives = rate * (took if took else LONGEST_H)
        if m3 > MUCH_MORE * gives:
            _much(doubts, block, date, m3, gives, took if took else LONGEST_H)
    return hours, m3


def _hours(
    doubts: Doubts, block: Block, date: dt.date, hours: float, planned: float | None
) -> float:
    minutes = planned is not None and planned > 0 and (
        abs(hours / (MINUTES * planned) - 1.0) <= NEAR + 1e-9
    )  # fmt: skip
    if hours > LONGEST_H or minutes:
        choices = ("minutes", "hours")
        told = {"hours": hours, "of_hours": round(hours / MINUTES, 2)}
        answer = doubts.ask("hours", block, date, choices, told=told)
        if answer == "minutes":
            return round(hours / MINUTES, 4)
        if answer == "hours" and hours > LONGEST_H:
            raise Refused("ran.too_many_hours", block=block.name, date=date, hours=hours)
        return hours
    if hours >= LONG_H:
        told = {"hours": hours, "longest": longest_h(block)}
        answer = doubts.ask("long", block, date, ("yes", "no"), told=told)
        if answer == "no":
            raise Refused("ran.type_again", block=block.name, date=date)
    return hours


def longest_h(block: Block) -> float:
    """Return the longest set of a block: its own, or what is usual with its outlets [h]."""
    own = block.set_hours_max
    usual = system_defaults()[block.system or DEFAULT_SYSTEM]["set_hours_max"]
    return usual if own is None else own


def _much(
    doubts: Doubts, block: Block, date: dt.date, m3: float, gives: float, hours: float
) -> None:
    told = {"m3": round(m3), "gives": round(gives), "hours": round(hours, 2)}
    answer = doubts.ask("m3", block, date, ("yes", "no"), told=told)
    if answer == "no":
        raise Refused("ran.type_again", block=block.name, date=date)


def dial(
    doubts: Doubts, data: FarmData, block: Block, date: dt.date, m3: float,
    also: Sequence[MeterReading] = (),
) -> MeterReading:  # fmt: skip
    """Return a reading of a meter as it is to be stored, asking where it went backwards.

    Parameters
    ----------
    also : sequence of MeterReading
        Readings on their way with this one, not stored yet.

    Raises
    ------
    Refused
        For a figure that cannot be, or one past the reading that came after it.
    """
    if not math.isfinite(m3) or m3 < 0:
        raise Refused("ran.bad_figure", block=block.name, date=date, value=m3)
    ids = {b.id for b in metering.meter_blocks(data, block)}
    known = [*metering.readings_of(data, block), *(m for m in also if m.block_id in ids)]
    before = max((m for m in known if m.date < date), key=lambda m: m.date, default=None)
    after = min((m for m in known if m.date > date), key=lambda m: m.date, default=None)
    reading = MeterReading(block_id=block.id, date=date, m3=m3)
    if before is not None and m3 < before.m3:
        reading = _backwards(doubts, block, reading, before)
    if after is not None and not after.starts_new and m3 > after.m3 + after.offset_m3:
        raise Refused("ran.meter_past_next", block=block.name, date=date, m3=plain(m3),
                      next=after.date, next_m3=plain(after.m3))  # fmt: skip
    return reading


def _backwards(
    doubts: Doubts, block: Block, reading: MeterReading, before: MeterReading
) -> MeterReading:
    date = reading.date
    told: dict[str, object] = {
        "m3": plain(reading.m3), "was": plain(before.m3), "was_on": before.date,
        "meter": block.meter or block.name,
    }  # fmt: skip
    answer = doubts.ask("meter", block, date, ("rolled", "new", "wrong"), told=told)
    if answer == "wrong":
        raise Refused("ran.type_again", block=block.name, date=date)
    if answer == "rolled":
        digits = _number(doubts, "digits", block, date, "digits", told)
        if digits is None:
            return reading
        if (
            digits != int(digits)
            or not DIGITS[0] <= digits <= DIGITS[1]
            or (10.0**digits <= before.m3)
        ):
            raise Refused("ran.meter_digits", block=block.name, digits=digits, was=told["was"])
        return _with_offset(reading, 10.0**digits)
    if answer == "new":
        start = _number(doubts, "new_start", block, date, "number_m3", told)
        last = _number(doubts, "old_last", block, date, "number_m3", told)
        if start is None or last is None:
            return reading
        if start > reading.m3 or last < before.m3:
            raise Refused(
                "ran.meter_new", block=block.name, start=plain(start), last=plain(last), **told
            )
        return _with_offset(reading, last - start)
    return reading


def plain(m3: float) -> int | str:
    """Return a dial's figure as it stands there, however long."""
    return int(m3) if m3 == int(m3) else f"{m3:.1f}"


def _with_offset(reading: MeterReading, offset: float) -> MeterReading:
    return MeterReading(
        block_id=reading.block_id, date=reading.date, m3=reading.m3, offset_m3=offset
    )


def _number(
    doubts: Doubts, what: str, block: Block, date: dt.date, form: str, told: Mapping[str, object]
) -> float | None:
    text = doubts.ask(what, block, date, None, form, told)
    if text is None:
        return None
    try:
        return read_number(text)
    except ValueError:
        raise Refused("answers.not_a_number", key=what, value=text) from None


def measured(doubts: Doubts, data: FarmData, reading: MeterReading) -> None:
    """Ask where the meter measured much more than what ran since the reading before can give.

    Parameters
    ----------
    data : FarmData
        With the reading in it, and with what ran.
    """
    block = next(b for b in data.orchard.blocks if b.id == reading.block_id)
    found = metering.steps(data, reading.date + dt.timedelta(days=1), block)
    step = next((s for s in found if s.reading.date == reading.date), None)
    rate = flow(block, data).m3_h
    if step is None or not rate:
        return
    hours = sum(s.hours or s.weight / rate for s in step.shares)
    gives = step.expected_m3
    if gives <= 0:
        hours = LONGEST_H * (reading.date - step.before.date).days
        gives = rate * hours
    if step.m3 > MUCH_MORE * gives:
        _much(doubts, block, reading.date, step.m3, gives, hours)
