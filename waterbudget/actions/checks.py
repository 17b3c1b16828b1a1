"""Days to check: what an import found odd is accepted, or the right figure is put in.

What came stays as it came: a correction is a new row beside it, an acceptance a date on the
finding.  Both can be taken back.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from waterbudget import season
from waterbudget.errors import Refused
from waterbudget.orchard import fold
from waterbudget.season import DayToCheck, Doubt, Season
from waterbudget.store import FarmFile, StoredFlag
from waterbudget.weather import COLUMNS

OTHERS_UNDER_MM = 1.0
"""Days that would move no block by as much are "the others" (own estimate: less than a third of a
day's use)."""

POSSIBLE: dict[str, tuple[float, float]] = {
    "tmax_c": (-40.0, 56.0), "tmin_c": (-40.0, 56.0), "tmean_c": (-40.0, 56.0),
    "rh_max": (1.0, 100.0), "rh_min": (0.0, 100.0), "rh_mean": (1.0, 100.0),
    "ea_kpa": (0.01, 6.0), "u2_m_s": (0.0, 40.0), "rs_mj": (0.0, 45.0), "sun_h": (0.0, 24.0),
    "rain_mm": (0.0, 500.0), "et0_given_mm": (0.0, 16.0),
    "et0_hourly_mm": (0.0, 16.0),
}  # fmt: skip
"""What may be typed for a day; the same bounds as for a station file."""

Figure = tuple[dt.date, str, float | None]
"""Day, quantity (one of the weather ``COLUMNS``) and the right figure."""


def days_to_check(
    file: FarmFile, *, on: dt.date | None = None, station: str | None = None,
    run: Season | None = None,
) -> tuple[DayToCheck, ...]:  # fmt: skip
    """Return the days to check, of one station or of all, those that matter most first.

    Parameters
    ----------
    on : datetime.date, optional
        The morning looked at; the day after the record where it is left out.
    run : Season, optional
        The season of that morning where the caller has it already.
    """
    run = run if run is not None else season.run(file.read(), on)
    stations = [run.orchard.station(station)] if station is not None else run.orchard.stations
    found: list[DayToCheck] = []
    for s in stations:
        flags = file.list_flags(s.id)
        settled = {f.date for f in flags if f.accepted}
        found += season.days_to_check(run, s.name, _doubts(flags), settled)
    return tuple(sorted(found, key=lambda row: -round(row.moves_mm, 6)))


def _doubts(flags: Sequence[StoredFlag]) -> list[Doubt]:
    return [
        Doubt(f.id, f.date, f.what, f.quantity,
              None if f.value in (None, "None", "") else str(f.value), _number(f.used))
        for f in flags if not f.accepted
    ]  # fmt: skip


def _number(used: object) -> float | None:
    known = isinstance(used, int | float) and not isinstance(used, bool)
    return float(used) if known else None  # type: ignore[arg-type]


def accept_flag(file: FarmFile, flag_id: int, *, now: dt.datetime) -> None:
    """Say that one finding is settled: what stands in is right.

    Raises
    ------
    Refused
        Where there is no such finding.
    """
    accept_flags(file, [flag_id], now=now)


def accept_flags(
    file: FarmFile, flag_ids: Sequence[int], *, accepted: bool = True, now: dt.datetime
) -> None:
    """Settle several findings in one step, or open them again."""
    known = {f.id for s in file.read().orchard.stations for f in file.list_flags(s.id)}
    for number in flag_ids:
        if number not in known:
            raise Refused("days.no_such_flag", number=number)
    with file.transaction("weather.accepted", now=now, flags=len(flag_ids)) as open_file:
        for number in flag_ids:
            open_file.accept_flag(number, accepted)


def others(rows: Sequence[DayToCheck], under_mm: float = OTHERS_UNDER_MM) -> tuple[int, ...]:
    """Return the findings of the days that would move no block by ``under_mm`` or more."""
    return tuple(number for row in rows if row.moves_mm < under_mm for number in row.ids)


def accept_others(
    file: FarmFile, *, on: dt.date | None = None, station: str | None = None,
    under_mm: float = OTHERS_UNDER_MM, now: dt.datetime,
) -> tuple[int, ...]:  # fmt: skip
    """Settle every finding that would move no block by ``under_mm`` or more; return their ids."""
    ids = others(days_to_check(file, on=on, station=station), under_mm)
    if ids:
        accept_flags(file, ids, now=now)
    return ids


def correct_day(
    file: FarmFile, station: str | None, date: dt.date, quantity: str, value: float | None,
    why: str, *, now: dt.datetime,
) -> tuple[int, ...]:  # fmt: skip
    """Put the right figure of a day in the place of what came, which stays stored.

    Parameters
    ----------
    station : str or None
        None: the farm's only or default one.
    quantity : str
        One of the weather ``COLUMNS``.
    value : float or None
        None: what came is wrong and the right figure is unknown.

    Returns
    -------
    tuple of int
        The findings that are settled by it.

    Raises
    ------
    Refused
        For an unknown quantity, a figure that cannot be, a low above the high, or a day to come.
    """
    return correct_days(file, station, [(date, quantity, value)], why, now=now, back=False)


def correct_days(
    file: FarmFile, station: str | None, figures: Sequence[Figure], why: str, *, back: bool = True,
    now: dt.datetime,
) -> tuple[int, ...]:  # fmt: skip
    """Correct several figures in one step, all or none; see :func:`correct_day`.

    Parameters
    ----------
    figures : sequence of (date, quantity, value)
    back : bool
        Whether None goes back to the figure that came; else it says that none is right.
    """
    data = file.read()
    place = data.orchard.station(station)
    record = next((r for n, r in data.records.items() if fold(n) == fold(place.name)), None)
    last = max([now.date(), *([d] if (d := data.last_day()) else [])])
    there: dict[dt.date, dict[str, float]] = {}
    for date, quantity, value in figures:
        day = there.setdefault(date, dict(record.day(date)) if record is not None else {})
        _check(date, quantity, value, last)
        day.pop(quantity, None)
        if value is not None:
            day[quantity] = value
    for date, day in there.items():
        if day.get("tmin_c", -99.0) > day.get("tmax_c", 99.0):
            raise Refused("temperature.low_above_high", low=day["tmin_c"], high=day["tmax_c"],
                          date=date)  # fmt: skip
    named = {(date, quantity) for date, quantity, value in figures if value is not None or not back}
    settled = tuple(
        f.id for f in file.list_flags(place.id) if (f.date, f.quantity) in named and not f.accepted
    )
    date, quantity, _ = figures[0]
    with file.transaction("weather.corrected", now=now, date=date, quantity=quantity) as open_file:
        for date, quantity, value in figures:
            if value is None and back:
                open_file.drop_correction(place.id, date, quantity, now)
            else:
                open_file.correct_day(place.id, date, quantity, value, why, now)
        for number in settled:
            open_file.accept_flag(number)
    return settled


def _check(date: dt.date, quantity: str, value: float | None, last: dt.date) -> None:
    if quantity not in COLUMNS:
        raise Refused("farmfile.no_such_quantity", quantity=quantity, known=", ".join(COLUMNS))
    if date > last:
        raise Refused("weather.in_future", date=date)
    if value is None:
        return
    low, high = POSSIBLE[quantity]
    if not (math.isfinite(value) and low <= value <= high):
        raise Refused("days.cannot_be", quantity=quantity, value=value, date=date, low=low,
                      high=high)  # fmt: skip


def drop_correction(
    file: FarmFile, station: str | None, date: dt.date, quantity: str, *, now: dt.datetime
) -> None:
    """Go back to the figure that came; the correction stays in the day's history."""
    place = file.read().orchard.station(station)
    with file.transaction("weather.corrected", now=now, date=date, quantity=quantity) as open_file:
        open_file.drop_correction(place.id, date, quantity, now)
