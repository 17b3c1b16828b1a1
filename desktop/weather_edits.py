"""Edits of the weather as pages make them: each one transaction, with its undo."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from desktop.jobs import Done, Failed
from desktop.models.weather import quantity_word
from desktop.session import Session
from desktop.wording import day_named, tr
from waterbudget.records import FARM_GAUGE

if TYPE_CHECKING:
    from waterbudget.season import DayToCheck
    from waterbudget.store import FarmFile

WEATHER = ("weather",)


def type_rain(
    session: Session, date: dt.date, gauge: str, mm: float | None, *, done: Done | None = None,
    failed: Failed | None = None,
) -> None:  # fmt: skip
    """Type the rain of a day at a gauge; None takes it back."""
    assert session.data is not None
    before = session.data.gauge_days(gauge).get(date)

    def put(value: float | None) -> Callable[..., Any]:
        def do(file: FarmFile, now: dt.datetime, *_: Any) -> Any:
            from waterbudget import actions

            name = None if gauge == FARM_GAUGE else gauge
            return actions.type_rain(file, date, value, gauge=name, now=now)

        return do

    session.act(tr("rain of {0}").format(day_named(date)), put(mm), put(before), WEATHER,
                done=done, failed=failed)  # fmt: skip


def type_temperatures(
    session: Session, date: dt.date, low: float | None, high: float | None, station: str | None,
    *, done: Done | None = None, failed: Failed | None = None,
) -> None:  # fmt: skip
    """Type low and high of a day; undo brings back what was typed before."""
    record = session.data.records.get(station or "") if session.data is not None else None
    known = record is not None and {"typed", "corrected"} & set(record.flags.get(date, ()))
    before = record.day(date) if record is not None and known else {}

    def put(tmin: float | None, tmax: float | None) -> Callable[..., Any]:
        def do(file: FarmFile, now: dt.datetime, *_: Any) -> Any:
            from waterbudget import actions

            return actions.type_temperatures(file, date, tmin, tmax, station=station, now=now)

        return do

    session.act(
        tr("low and high of {0}").format(day_named(date)), put(low, high),
        put(before.get("tmin_c"), before.get("tmax_c")), WEATHER, done=done, failed=failed,
    )  # fmt: skip


Figure = tuple[dt.date, str, float | None]
"""Day, quantity, and the right figure."""


def correct_day(
    session: Session, station_id: int, date: dt.date, quantity: str, value: float | None, why: str,
    *, settles: Sequence[int] = (), done: Done | None = None, failed: Failed | None = None,
) -> None:  # fmt: skip
    """Correct one figure of a day; None goes back to what came.

    Parameters
    ----------
    settles : sequence of int
        Findings that are settled by it.
    """
    label = tr("{0} of {1}").format(quantity_word(quantity), day_named(date))
    correct_days(session, station_id, [(date, quantity, value)], why, label, settles=settles,
                 done=done, failed=failed)  # fmt: skip


def correct_days(
    session: Session, station_id: int, figures: Sequence[Figure], why: str, label: str, *,
    settles: Sequence[int] = (), done: Done | None = None, failed: Failed | None = None,
) -> None:  # fmt: skip
    """Correct figures of one or several days in one step; None goes back to what came."""

    def do(file: FarmFile, now: dt.datetime) -> Any:
        from waterbudget import actions

        before = [
            [v for v in file.day_history(station_id, date) if v.quantity == quantity and v.in_use]
            for date, quantity, _ in figures
        ]
        place = next(s.name for s in file.read().orchard.stations if s.id == station_id)
        settled = list(actions.correct_days(file, place, figures, why, now=now))
        extra = [n for n in settles if n not in settled]
        if extra:
            actions.accept_flags(file, extra, now=now)
        return before, [*settled, *extra]

    def undo(file: FarmFile, now: dt.datetime, result: Any) -> Any:
        before, settled = result
        date = figures[0][0]
        with file.transaction("weather.corrected", now=now, date=date, quantity=figures[0][1]):
            for (day, quantity, _), versions in zip(figures, before, strict=True):
                file.drop_correction(station_id, day, quantity, now)
                for version in versions:
                    old = version.day.values.get(quantity)
                    file.correct_day(station_id, day, quantity, old, version.why or "", now)
            for number in settled:
                file.accept_flag(number, False)

    session.act(label, do, undo, WEATHER, done=done, failed=failed)


def accept_checks(
    session: Session, checks: Sequence[DayToCheck], *, done: Done | None = None
) -> None:  # fmt: skip
    """Say that what stands in is right, for the days of some rows in one step."""
    ids = [number for check in checks for number in check.ids]

    def put(accepted: bool) -> Callable[..., Any]:
        def do(file: FarmFile, now: dt.datetime, *_: Any) -> Any:
            from waterbudget import actions

            actions.accept_flags(file, ids, accepted=accepted, now=now)

        return do

    label = tr("accept {0}").format(day_named(checks[0].dates[0]))
    if len(checks) > 1:
        label = tr("accept {0} entries").format(len(checks))
    session.act(label, put(True), put(False), WEATHER, done=done)
