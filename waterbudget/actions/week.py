"""The week: pin a cell, hand the week out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from waterbudget import replan
from waterbudget.errors import Refused
from waterbudget.records import GivenSet, GivenWeek, Pin
from waterbudget.season import Season
from waterbudget.store import FarmFile


def pin(
    file: FarmFile, block_name: str, date: dt.date, hours: float | None, *,
    start: dt.time | None = None, now: dt.datetime,
) -> None:  # fmt: skip
    """Fix the hours of a block on a day (0 keeps it dry); None takes the pin away.

    Raises
    ------
    Refused
        For an unknown block or hours outside 0 to 24.
    """
    block = file.read().orchard.block(block_name)
    if hours is not None and not 0 <= hours <= 24:
        raise Refused("pin.bad_hours", block=block.name, date=date, hours=hours)
    with file.transaction("week.pinned", now=now, block=block.name, date=date,
                          hours=hours) as open_file:  # fmt: skip
        if hours is None:
            open_file.clear_pins(block.id, date)
        else:
            open_file.set_pin(Pin(block.id, date, round(hours * 4) / 4, start))


def pin_days(
    file: FarmFile, block_name: str, cells: Mapping[dt.date, Pin | None], *, now: dt.datetime
) -> tuple[Pin, ...]:
    """Fix or free several cells of one block at once: a watering moved from day to day.

    Parameters
    ----------
    cells : mapping of date to Pin or None
        None frees the cell; hours and start count, block and date are the ones named here.

    Returns
    -------
    tuple of Pin
        What those cells were fixed to before, for taking it back.

    Raises
    ------
    Refused
        For an unknown block or hours outside 0 to 24.
    """
    data = file.read()
    block = data.orchard.block(block_name)
    for date, wanted in cells.items():
        if wanted is not None and not 0 <= wanted.hours <= 24:
            raise Refused("pin.bad_hours", block=block.name, date=date, hours=wanted.hours)
    before = tuple(p for p in data.pins if p.block_id == block.id and p.date in cells)
    with file.transaction("week.pinned", now=now, block=block.name,
                          dates=sorted(cells)) as open_file:  # fmt: skip
        for date, wanted in cells.items():
            if wanted is None:
                open_file.clear_pins(block.id, date)
            else:
                hours = round(wanted.hours * 4) / 4
                open_file.set_pin(Pin(block.id, date, hours, wanted.start))
    return before


def take_back(file: FarmFile, number: int, *, now: dt.datetime) -> None:
    """Say that a week was not handed out after all; its number is not used again."""
    with file.transaction("week.taken_back", now=now, number=number) as open_file:
        open_file.take_back_week(number)


def hand_out_rest(file: FarmFile, season: Season, *, now: dt.datetime) -> GivenWeek:
    """Store what is left of the week handed out as ``season`` plans it now, and return it.

    It has the next number, begins on the morning of ``season`` and ends with the week it
    corrects; the days before stay as they were handed out.

    Raises
    ------
    Refused
        Where no week handed out covers that morning, or nothing is other than it was given.
    """
    data = file.read()
    found = replan.compare(data, season)
    if not found.changed:
        raise Refused("replan.same")
    last = found.given.last
    week = GivenWeek(0, season.on, now, replan.rest(season, last), last)
    told = {"first": season.on, "last": last, "corrects": found.given.number}
    with file.transaction("week.corrected", now=now, **told) as open_file:
        number = open_file.add_given_week(week)
    return next(w for w in file.read().given if w.number == number)


def hand_out(file: FarmFile, season: Season, *, now: dt.datetime) -> GivenWeek:
    """Store the week of ``season`` as it is given to the valve staff, and return it.

    Raises
    ------
    Refused
        Where the week holds no watering with hours.
    """
    sets = tuple(
        GivenSet(
            block.block.id, season.on + dt.timedelta(days=s.day), s.start or dt.time(0, 0),
            s.hours, s.mm, s.m3,
        )
        for block in season.blocks
        for s in block.plan.sets
        if s.hours is not None
    )  # fmt: skip
    if not sets and not any("flow" not in b.missing for b in season.blocks):
        raise Refused("week.nothing_to_hand_out")
    week = GivenWeek(0, season.on, now, sets)
    with file.transaction("week.handed_out", now=now, first=season.on,
                          sets=len(sets)) as open_file:  # fmt: skip
        number = open_file.add_given_week(week)
    return next(w for w in file.read().given if w.number == number)
