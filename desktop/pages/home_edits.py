"""Edits made in the week: each one action of the core with its undo."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from desktop.session import Session
from desktop.wording import day_named, hours, tr
from waterbudget.orchard import Block
from waterbudget.records import Pin

if TYPE_CHECKING:
    from waterbudget.season import Season

Done = Callable[[Any], None]


def set_cells(
    session: Session, label: str, block: Block, cells: Mapping[dt.date, float | None]
) -> None:
    """Pin cells of one block to hours (0 keeps a day dry); None frees a cell."""
    name = block.name
    pins = {
        date: None if value is None else Pin(block.id, date, value) for date, value in cells.items()
    }

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.pin_days(file, name, pins, now=now)

    def undo(file: Any, now: dt.datetime, before: tuple[Pin, ...]) -> None:
        from waterbudget import actions

        was: dict[dt.date, Pin | None] = dict.fromkeys(pins)
        was.update({p.date: p for p in before})
        actions.pin_days(file, name, was, now=now)

    session.act(label, do, undo, ("plan",))


def type_hours(session: Session, block: Block, date: dt.date, value: float) -> None:
    """Fix the hours of a block on a day."""
    label = tr("{0} h for {1} on {2}").format(hours(value), block.name, day_named(date))
    set_cells(session, label, block, {date: value})


def move(
    session: Session, block: Block, source: dt.date, target: dt.date, moved: float, there: float
) -> None:
    """Move a watering to another day; what was planned there already is added to it."""
    label = tr("watering of {0} moved to {1}").format(block.name, day_named(target))
    set_cells(session, label, block, {source: 0.0, target: min(moved + there, 24.0)})


def type_rain(session: Session, date: dt.date, typed: Mapping[str, float | None]) -> None:
    """Store rain by gauge; None takes what was typed away."""
    assert session.data is not None
    before = {g: session.data.gauge_days(g).get(date) for g in typed}

    def store(file: Any, now: dt.datetime, values: Mapping[str, float | None]) -> None:
        from waterbudget import actions

        for gauge, mm in values.items():
            actions.type_rain(file, date, mm, gauge=gauge, now=now)

    label = tr("rain on {0}").format(day_named(date))
    session.act(
        label, lambda file, now: store(file, now, typed),
        lambda file, now, _: store(file, now, before), ("weather",),
    )  # fmt: skip


def type_heat(session: Session, date: dt.date, low: float | None, high: float | None) -> None:
    """Store low and high of a day."""
    station = _station(session)
    before = _known_heat(session, station, date)

    def store(file: Any, now: dt.datetime, pair: tuple[float | None, float | None]) -> None:
        from waterbudget import actions

        actions.type_temperatures(file, date, *pair, station=station, now=now)

    label = tr("low and high on {0}").format(day_named(date))
    session.act(
        label, lambda file, now: store(file, now, (low, high)),
        lambda file, now, _: store(file, now, before), ("weather",),
    )  # fmt: skip


def _station(session: Session) -> str | None:
    """Return the station whose low and high the week shows."""
    assert session.data is not None
    orchard = session.data.orchard
    if orchard.default_station is not None or not orchard.stations:
        return orchard.default_station
    return orchard.stations[0].name


def _known_heat(
    session: Session, station: str | None, date: dt.date
) -> tuple[float | None, float | None]:
    assert session.data is not None
    record = session.data.records.get(station or "")
    day = record.day(date) if record is not None else {}
    return day.get("tmin_c"), day.get("tmax_c")


def _solved(file: Any, shown: Season) -> Season:
    """Return the week to hand out: solved, where a quick plan is still on the screen."""
    from waterbudget import season

    return season.run(file.read(), shown.on) if shown.provisional else shown


def hand_out(session: Session, done: Done) -> None:
    """Store this week as it is given to the people at the valves."""
    season = session.season
    assert season is not None

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.hand_out(file, _solved(file, season), now=now)

    def undo(file: Any, now: dt.datetime, week: Any) -> None:
        from waterbudget import actions

        actions.take_back(file, week.number, now=now)

    session.act(tr("handing out of the week"), do, undo, ("plan", "ran"), done=done)


def hand_out_rest(session: Session, done: Done) -> None:
    """Store what is left of the week handed out as it is planned now."""
    season = session.season
    assert season is not None

    def do(file: Any, now: dt.datetime) -> Any:
        from waterbudget import actions

        return actions.hand_out_rest(file, _solved(file, season), now=now)

    def undo(file: Any, now: dt.datetime, week: Any) -> None:
        from waterbudget import actions

        actions.take_back(file, week.number, now=now)

    session.act(tr("handing out of the corrected week"), do, undo, ("plan", "ran"), done=done)
