"""The farm's history, a line for each change."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from desktop.labels import label
from desktop.wording import day_named, number, plain, tr


def change_words(what: str, fields: Mapping[str, Any]) -> str:
    """Return one change in words; an unknown kind is shown by its code."""
    words = (_farm_texts() | _day_texts() | _land_texts()).get(what)
    if words is None:
        return what.replace(".", " ").replace("_", " ")
    of = "farm" if what.startswith("farm.") else "block"
    if what == "week.pinned" and fields.get("hours") is None:
        words = tr("{block}: {date} free again")
    if what == "ran.day" and fields.get("blocks") == 1:
        words = tr("What ran on {date}, 1 block")
    if what == "rain.typed" and fields.get("mm") is None:
        words = tr("Rain of {date} taken away, gauge {gauge}")
    values = _Values({k: _value(k, v, of) for k, v in fields.items()})
    return words.format_map(values)


def _farm_texts() -> dict[str, str]:
    return {
        "farm.created": tr("The farm was begun"),
        "farm.set": tr("Farm: {keys}"),
        "station.set": tr("Station {station} set"),
        "pump.new": tr("Pump {pump} begun"),
        "pump.set": tr("Pump {pump} set"),
        "pump.removed": tr("Pump {pump} taken off"),
        "pump.restored": tr("Pump {pump} put back as it was"),
        "block.new": tr("Block {block} begun"),
        "block.saved": tr("Block {block} stored"),
        "block.set": tr("{block}: {keys}"),
        "block.drawn": tr("Block {block} drawn"),
        "block.outline": tr("{block}: outline changed"),
        "block.outlines": tr("Outlines changed: {blocks}"),
        "block.corner": tr("Corners moved: {blocks}"),
        "block.closed": tr("{block}: gaps to its neighbours closed"),
        "block.hole": tr("{block}: a piece cut out"),
        "block.split": tr("{block} split into {first} and {second}"),
        "block.joined": tr("{gone} joined to {block}"),
        "block.renamed": tr("{block} is now called {to}"),
        "block.deleted": tr("Block {block} taken off"),
        "block.restored": tr("{block} put back as it was"),
        "blocks.csv": tr("{blocks} blocks set from {file}"),
        "outlines.imported": tr("Outlines brought in from {file}"),
    }


def _day_texts() -> dict[str, str]:
    return {
        "weather.imported": tr("{added} new days of {station} from {file}"),
        "forecast.imported": tr("Forecast of {station} from {file}"),
        "rain.typed": tr("Rain of {date}: {mm} mm, gauge {gauge}"),
        "temperature.typed": tr("Low and high of {date} typed"),
        "ran.entered": tr("{block}: what ran on {date}"),
        "ran.day": tr("What ran on {date}, {blocks} blocks"),
        "ran.meter": tr("{block}: meter at {m3} m³ on {date}"),
        "ran.imported": tr("{rows} rows of what ran from {file}"),
        "reading.entered": tr("{block}: reading of the soil, {date}"),
        "reading.removed": tr("{block}: reading of {date} taken away"),
        "reading.restored": tr("{block}: readings of {date} as before"),
        "readings.imported": tr("Readings of the soil from {file}"),
        "factor.set": tr("{block}: Kc times {new}, before {old}, from {date}: {why}"),
        "job.entered": tr("{block}: field day, {date}"),
        "job.removed": tr("{block}: field day of {date} taken away"),
        "job.restored": tr("Field day of {date} as before"),
        "jobs.imported": tr("{rows} field days from {file}"),
    }


def _land_texts() -> dict[str, str]:
    return {
        "land.heights": tr("Heights from {file}: {blocks}"),
        "land.heights_back": tr("Heights from {file} taken back"),
        "planting.layout": tr("{block}: {trees} tree places set out"),
        "planting.layout_back": tr("{block}: layout of the trees as before"),
        "planting.marks": tr("{block}: {count} tree places marked"),
        "planting.marks_back": tr("{block}: marks of tree places as before"),
        "planting.land_mark": tr("Road, rock or water added"),
        "planting.land_marks": tr("Roads, rocks or water from {file}"),
        "planting.land_mark_gone": tr("Road, rock or water taken away"),
        "underlay.added": tr("{file} laid under the map"),
        "underlay.changed": tr("{file} shown otherwise"),
        "underlay.ordered": tr("Order of the pictures below the map"),
        "underlay.dropped": tr("{file} taken off the map"),
        "week.pinned": tr("{block}: {date} fixed at {hours} h"),
        "week.handed_out": tr("Week from {first} handed out"),
        "week.corrected": tr("Rest of week {corrects} handed out anew from {first}"),
        "week.taken_back": tr("Week {number} taken back"),
        "copy.saved": tr("Copy saved as {path}"),
        "import.withdrawn": tr("{file} taken back"),
    }


class _Values(dict[str, str]):
    def __missing__(self, key: str) -> str:
        return "…"


def _value(name: str, value: Any, of: str) -> str:
    if name == "keys" and isinstance(value, list):
        names = [label(k, of) for k in value]
        more = tr(" and {0} more").format(len(names) - 3) if len(names) > 3 else ""
        return ", ".join(names[:3]) + more
    if isinstance(value, str) and name in ("date", "first", "issued"):
        try:
            return day_named(dt.date.fromisoformat(value))
        except ValueError:
            return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        return number(float(value), 2)
    return plain(value)
