"""Edits of the weather as pages make them: each one transaction, with its undo."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from desktop.jobs import Done, Failed
from desktop.models.weather import Finding, quantity_word
from desktop.session import Session
from desktop.wording import day_named, tr
from waterbudget.records import FARM_GAUGE

if TYPE_CHECKING:
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


def correct_day(
    session: Session, station_id: int, date: dt.date, quantity: str, value: float | None, why: str,
    *, accept: Finding | None = None, done: Done | None = None, failed: Failed | None = None,
) -> None:  # fmt: skip
    """Correct one figure of a day; None goes back to what came.

    Parameters
    ----------
    accept : Finding, optional
        The finding that is settled by it.
    """

    def do(file: FarmFile, now: dt.datetime) -> Any:
        before = [v for v in file.day_history(station_id, date)
                  if v.quantity == quantity and v.in_use]  # fmt: skip
        with file.transaction("weather.corrected", now=now, date=date, quantity=quantity):
            if value is None:
                file.drop_correction(station_id, date, quantity, now)
            else:
                file.correct_day(station_id, date, quantity, value, why, now)
            if accept is not None:
                file.accept_flag(accept.id)
        return before

    def undo(file: FarmFile, now: dt.datetime, before: Any) -> Any:
        with file.transaction("weather.corrected", now=now, date=date, quantity=quantity):
            file.drop_correction(station_id, date, quantity, now)
            for version in before:
                old = version.day.values.get(quantity)
                file.correct_day(station_id, date, quantity, old, version.why or "", now)
            if accept is not None:
                file.accept_flag(accept.id, False)

    label = tr("{0} of {1}").format(quantity_word(quantity), day_named(date))
    session.act(label, do, undo, WEATHER, done=done, failed=failed)


def accept_findings(
    session: Session, findings: Sequence[Finding], *, done: Done | None = None
) -> None:  # fmt: skip
    """Say that what stands in is right."""
    ids = [f.id for f in findings]

    def put(accepted: bool) -> Callable[..., Any]:
        def do(file: FarmFile, now: dt.datetime, *_: Any) -> Any:
            with file.transaction("weather.accepted", now=now, flags=len(ids)):
                for number in ids:
                    file.accept_flag(number, accepted)

        return do

    label = tr("accept {0}").format(day_named(findings[0].date))
    if len(ids) > 1:
        label = tr("accept {0} entries").format(len(ids))
    session.act(label, put(True), put(False), WEATHER, done=done)
