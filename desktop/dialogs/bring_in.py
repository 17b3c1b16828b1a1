"""The work behind the one door for files; everything here runs in the worker thread.

The heavy parts of the core are imported inside the functions for that reason.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from desktop.jobs import Report
from waterbudget.errors import AnswersNeeded, Question, Refused
from waterbudget.orchard import Orchard, fold

if TYPE_CHECKING:
    from waterbudget.records import FarmData
    from waterbudget.store import FarmFile

STATION, STATION_NEW, IMPORT_AS = "import_station", "import_station_new", "import_as"
LARGEST_FORECAST = 500_000
"""Larger files are records [bytes]."""
NEW = "+"
"""Stands for "another station, new here" among the stations' names."""


@dataclass(frozen=True)
class Look:
    """What a first look at a file told.

    Attributes
    ----------
    kind : str
        ``outlines``, ``weather``, ``ran``, ``blocks`` or ``farm``.
    forecast : bool
        The user has said that it is one.
    place : (lat, lon) or None
        Where the outlines of the file lie.
    """

    kind: str
    forecast: bool = False
    place: tuple[float, float] | None = None


@dataclass
class Brought:
    """What an import gave, and what is needed to take it back."""

    result: Any
    import_id: int | None = None
    forecast: bool = False
    names: list[str] = field(default_factory=list)


def first_look(path: Path, wanted: str, *, need_place: bool) -> Look:
    """Recognise a file; where a farm is still to be begun, find where it lies."""
    from waterbudget import actions

    kind = "weather" if wanted == "forecast" else (wanted or actions.recognise(path))
    place = _place_of(path) if need_place and kind == "outlines" else None
    return Look(kind, wanted == "forecast", place)


def _place_of(path: Path) -> tuple[float, float] | None:
    """Return the middle of a file of outlines, None where it does not say."""
    from shapely.geometry import MultiPoint

    from waterbudget import outlines

    mercator = 3857
    try:
        found = outlines.read_outlines(path, epsg=mercator, answers={})
    except AnswersNeeded:
        return None
    middle = MultiPoint([o.shape.centroid for o in found.outlines]).centroid
    place = outlines.to_lonlat(middle, mercator)
    return round(place.y, 5), round(place.x, 5)


def early_questions(look: Look, orchard: Orchard) -> list[Question]:
    """Return what must be known before a weather file can be read: which station it is from."""
    if look.kind != "weather":
        return []
    known = [s.name for s in orchard.stations]
    if not known:
        return [Question(STATION, "import.station_name", format="name")]
    if len(known) == 1 or orchard.default_station:
        return []
    return [Question(STATION, "import.station_which", choices=(*known, NEW))]


def bring_in(
    look: Look, path: Path, answers: Mapping[str, str], file: FarmFile, today: dt.date,
    now: dt.datetime, progress: Report | None = None,
) -> Brought:  # fmt: skip
    """Do the import: one action of the core, one transaction."""
    from waterbudget import actions

    if progress is not None:
        file = cast("FarmFile", _Stoppable(file, progress))
    if look.kind == "outlines":
        found = actions.import_outlines(file, path, answers=dict(answers), now=now)
        return Brought(found, names=[o.name for o in found.blocks])
    if look.kind == "blocks":
        blocks = actions.import_blocks_csv(file, path, now=now)
        return Brought(blocks, names=[b.name for b in blocks])
    if look.kind == "ran":
        return Brought(actions.import_ran(file, path, answers=dict(answers), now=now))
    if look.kind == "readings":
        return Brought(actions.import_readings(file, path, now=now))
    if look.kind == "underlay":
        return Brought(actions.add_underlay(file, path, answers.get("underlay"), now=now))
    given = dict(answers)
    station = given.pop(STATION, None)
    new_name = given.pop(STATION_NEW, None)
    as_what = given.pop(IMPORT_AS, None)
    if station == NEW:
        if new_name is None:
            raise AnswersNeeded([Question(STATION_NEW, "import.station_name", format="name")])
        station = new_name
    forecast = look.forecast or as_what == "forecast"
    if not forecast and as_what is None:
        forecast = _is_forecast(file, path, given, today)
    done = actions.import_weather(
        file, path, station=station, forecast=forecast, answers=given, now=now
    )
    return Brought(done, file.imports()[-1].id, forecast)


class _Stoppable:
    """A farm file that looks, before it stores anything, whether the user has said stop."""

    def __init__(self, file: FarmFile, progress: Report) -> None:
        self._file, self._progress = file, progress

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def transaction(self, *what: Any, **fields: Any) -> Any:
        """Begin to store, unless it was stopped."""
        self._progress(1, 1)
        return self._file.transaction(*what, **fields)


def _is_forecast(file: FarmFile, path: Path, given: Mapping[str, str], today: dt.date) -> bool:
    """Tell whether a small weather file holds coming days; asked where it holds both kinds."""
    from waterbudget.actions.files import read_file
    from waterbudget.weather import read_weather

    data = read_file(path)
    if len(data) > LARGEST_FORECAST:
        return False
    orchard = file.read().orchard
    known = {k: v for k, v in given.items() if k != "changed"}
    try:
        days = read_weather(
            data, name=path.name, answers=known, lat=orchard.lat, time_zone=orchard.time_zone,
            elevation_m=orchard.elevation_m, remembered=file.remembered_answers, forecast=True,
        ).days  # fmt: skip
    except (AnswersNeeded, Refused):
        return False  # the import itself will say so
    if not days or days[-1].date < today + dt.timedelta(days=1):
        return False
    if days[0].date >= today:
        return True
    raise AnswersNeeded([
        Question(IMPORT_AS, "import.coming_days", {"first": days[-1].date},
                 choices=("record", "forecast"))
    ])  # fmt: skip


def take_back(
    look: Look, path: Path, before: FarmData, brought: Brought, file: FarmFile, now: dt.datetime
) -> None:  # fmt: skip
    """Undo an import: outlines and settings as they were, days out of use, entries as before."""
    if look.kind == "weather":
        with file.transaction("import.withdrawn", now=now, file=path.name) as open_file:
            if brought.import_id is not None:
                open_file.withdraw_import(brought.import_id)
    elif look.kind == "ran":
        _ran_as_before(before, path, file, now)
    elif look.kind == "readings":
        _readings_as_before(before, path, file, now)
    elif look.kind == "underlay":
        from waterbudget import actions

        actions.drop_underlay(file, brought.result[0].path, now=now)
    else:
        known = {fold(b.name): b for b in before.orchard.blocks}
        current = file.read().orchard
        with file.transaction("import.withdrawn", now=now, file=path.name) as open_file:
            for name in brought.names:
                old = known.get(fold(name))
                if old is not None:
                    open_file.save_block(old)
                else:
                    open_file.delete_block(current.block(name).id)


def _ran_as_before(before: FarmData, path: Path, file: FarmFile, now: dt.datetime) -> None:
    def by_day(data: FarmData) -> dict[tuple[int, dt.date], list[Any]]:
        found: dict[tuple[int, dt.date], list[Any]] = {}
        for entry in data.ran:
            found.setdefault((entry.block_id, entry.date), []).append(entry)
        return found

    current = file.read()
    from waterbudget.records import MeterReading

    old, new = by_day(before), by_day(current)
    known = {m.id for m in before.meter_readings}
    with file.transaction("import.withdrawn", now=now, file=path.name) as open_file:
        for key in new.keys() - old.keys():
            open_file.set_ran(*key, [])
        for reading in current.meter_readings:
            if reading.id not in known:
                open_file.drop_row(MeterReading, reading.id)


def _readings_as_before(before: FarmData, path: Path, file: FarmFile, now: dt.datetime) -> None:
    def by_day(data: FarmData) -> dict[tuple[int, dt.date], list[Any]]:
        found: dict[tuple[int, dt.date], list[Any]] = {}
        for reading in data.readings:
            found.setdefault((reading.block_id, reading.date), []).append(reading)
        return found

    old, new = by_day(before), by_day(file.read())
    with file.transaction("import.withdrawn", now=now, file=path.name) as open_file:
        for key, readings in new.items():
            if old.get(key) != readings:
                open_file.set_readings(*key, old.get(key, []))
