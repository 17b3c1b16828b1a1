"""Settle which of day and month comes first, by the rows, by their sequence, or by asking."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from waterbudget.errors import Note, Refused
from waterbudget.weather.asking import Asker
from waterbudget.weather.dates import NO_DAY, Days, Parts, date_of, day_number, steps_ok, to_day

CHOICES = ("dmy", "mdy", "ymd")


class DateColumn:
    """The dates of all rows, each distinct text read once."""

    def __init__(self, texts: list[str], parts: dict[str, Parts], lines: list[int]) -> None:
        self.texts = texts
        self.parts = parts
        self.lines = lines

    def days(self, order: str) -> Days:
        """Return the day number of each row under an order."""
        of = {text: to_day(p, order) for text, p in self.parts.items()}
        return np.array([of[t] for t in self.texts], dtype=np.int64)

    def orders(self) -> tuple[str, ...]:
        """Return the orders all rows can stand in.

        Raises
        ------
        Refused
            ``weather.mixed_dates`` where dates are written in two ways.
        """
        left: tuple[str, ...] | None = None
        first = ""
        for text, p in self.parts.items():
            mine = p.orders if p.day == NO_DAY else ("fixed",)
            if left is None:
                left, first = mine, text
                continue
            both = tuple(o for o in left if o in mine)
            if not both:
                i, j = self.texts.index(first), self.texts.index(text)
                raise Refused(
                    "weather.mixed_dates",
                    line=self.lines[i], text=first, other_line=self.lines[j], other_text=text,
                )  # fmt: skip
            left = both
        return left or ("fixed",)


def settle(
    dates: DateColumn,
    minutes: NDArray[np.float64],
    said: str | None,
    asker: Asker,
    notes: list[Note],
    sample: tuple[str, ...],
) -> Days:
    """Return the day of each row.

    Raises
    ------
    Refused
        ``weather.no_such_date``, ``weather.mixed_dates``.
    """
    days = _settle(dates, minutes, said, asker, notes, sample)
    _refuse_swapped(dates, days, minutes)
    return days


def _refuse_swapped(dates: DateColumn, days: Days, minutes: NDArray[np.float64]) -> None:
    """Refuse dates of which a spreadsheet has turned day and month round where it could.

    Known by this: as read the days jump about, but with day and month exchanged on the days up
    to the twelfth they follow each other.
    """
    share, _, steps = steps_ok(days, minutes)
    if share >= 0.9 or steps < 10:
        return
    unique = {d: date_of(d) for d in np.unique(days).tolist()}
    late = np.mean([unique[d].day > 12 for d in days.tolist()])
    if late < 0.2 or late > 0.9:
        return
    turned = {
        d: day_number(x.year, x.day, x.month) if x.day <= 12 else d for d, x in unique.items()
    }
    other = np.array([turned[d] for d in days.tolist()], dtype=np.int64)
    if steps_ok(other, minutes)[0] >= 0.95:
        i = int(np.flatnonzero(other != days)[0])
        raise Refused("weather.swapped_dates", line=dates.lines[i], text=dates.texts[i])


def _settle(
    dates: DateColumn,
    minutes: NDArray[np.float64],
    said: str | None,
    asker: Asker,
    notes: list[Note],
    sample: tuple[str, ...],
) -> Days:
    orders = dates.orders()
    answer = asker.given("date_order", CHOICES)
    if orders == ("fixed",):
        return _existing(dates, "fixed")
    for fixed in (answer, said):
        if fixed in orders and (fixed == answer or (dates.days(fixed) != NO_DAY).all()):
            return _existing(dates, fixed)
    whole = [o for o in orders if (dates.days(o) != NO_DAY).all()]
    if len(whole) == 1:
        return dates.days(whole[0])
    if not whole:
        return _refuse_missing(dates, orders)
    if "ymd" in whole and "ydm" in whole:
        return dates.days("ymd")
    by_sequence = _by_sequence(dates, minutes, whole)
    if by_sequence:
        days = dates.days(by_sequence)
        notes.append(
            Note.of(
                f"weather.note.order_{by_sequence}",
                first=date_of(days.min()).isoformat(),
                last=date_of(days.max()).isoformat(),
            )
        )
        return days
    choices = tuple(o for o in CHOICES if o in whole)
    text = dates.texts[0]
    return dates.days(asker.ask("date_order", choices, sample=sample, text=text) or choices[0])


def _existing(dates: DateColumn, order: str) -> Days:
    days = dates.days(order)
    bad = np.flatnonzero(days == NO_DAY)
    if len(bad):
        i = int(bad[0])
        raise Refused("weather.no_such_date", line=dates.lines[i], text=dates.texts[i])
    return days


def _refuse_missing(dates: DateColumn, orders: tuple[str, ...]) -> Days:
    """Refuse, naming the line that is wrong under the order most rows agree with."""
    best = min(orders, key=lambda o: int((dates.days(o) == NO_DAY).sum()))
    return _existing(dates, best)


def _by_sequence(dates: DateColumn, minutes: NDArray[np.float64], orders: list[str]) -> str | None:
    """Return the only order under which the days follow each other."""
    found = {o: steps_ok(dates.days(o), minutes) for o in orders}
    subdaily = bool(len(np.unique(minutes)) > 2)
    ranked = sorted(orders, key=lambda o: found[o][0], reverse=True)
    best, others = ranked[0], ranked[1:]
    share, _, steps = found[best]
    enough = steps >= (1 if subdaily else 3)
    if not enough or share < 0.8 or any(found[o][0] > 0.3 for o in others):
        return None
    for o in others:  # the first of each month, read the other way round, is a row of days
        firsts = {date_of(d).day for d in np.unique(dates.days(o))}
        if firsts == {1} and not subdaily:
            return None
    return best
