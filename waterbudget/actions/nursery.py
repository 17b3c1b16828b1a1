"""Before planting: raising the plants of a block, and the grower's own figures for it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np

from waterbudget import nursery
from waterbudget.cycle import LAPSE_C_PER_M
from waterbudget.errors import Note, Refused
from waterbudget.nursery import PREFIX, NurseryPlan, SiteRange
from waterbudget.orchard import Block
from waterbudget.records import FarmData, Figure
from waterbudget.season.blocks import tree_count
from waterbudget.season.stations import choose
from waterbudget.store import FarmFile

MOST_TREES = 1_000_000
YEAR_DAYS = 365


def own_figures(data: FarmData) -> dict[str, float]:
    """Return the nursery figures the grower has changed, by name."""
    return {f.name.removeprefix(PREFIX): f.value for f in data.figures if f.name.startswith(PREFIX)}


def set_nursery_figures(
    file: FarmFile, values: Mapping[str, float | None], *, now: dt.datetime
) -> dict[str, float]:
    """Store the grower's own nursery figures; None goes back to the usual one.

    Returns
    -------
    dict
        What those figures were before (the grower's own ones only), for taking it back.

    Raises
    ------
    Refused
        For an unknown figure or one outside its bounds; nothing is stored.
    """
    for name, value in values.items():
        known = nursery.figures().get(name)
        usual = known.value if known is not None else 0.0
        nursery.checked(name, usual if value is None else value)
    with file.transaction("nursery.figures", now=now, figures=sorted(values)) as open_file:
        held = {f.name: f for f in open_file.read().figures}
        before = {}
        for name, value in values.items():
            old = held.get(PREFIX + name)
            if old is not None:
                before[name] = old.value
                open_file.drop_row(Figure, old.id)
            if value is not None:
                open_file.add_row(Figure(name=PREFIX + name, value=value))
    return before


def raise_for_block(
    data: FarmData, block_name: str, plant_on: dt.date, *, trees: int | None = None
) -> tuple[Block, NurseryPlan]:
    """Return what raising the trees of a block takes, with the grower's own figures.

    Raises
    ------
    Refused
        ``nursery.no_trees`` where the number of trees is not known; ``nursery.bad_trees``.
    """
    block = data.orchard.block(block_name)
    count = trees if trees is not None else tree_count(block, data)
    if count is None:
        raise Refused("nursery.no_trees", block=block.name)
    if not 1 <= count <= MOST_TREES:
        raise Refused("nursery.bad_trees", block=block.name, trees=count)
    return block, nursery.raise_plants(count, plant_on, own_figures(data))


def nursery_notes(plan: NurseryPlan, block: Block, on: dt.date | None) -> list[Note]:
    """Return what goes with a plan: whose figures, a date gone by, steep ground."""
    notes = [Note.of("nursery.practice")]
    sow = plan.step("sow").date
    if on is not None and sow < on:
        notes.insert(0, Note.of("nursery.late", sow=sow, on=on))
    if block.slope_pct is not None and block.slope_pct > 15:
        notes.append(Note.of("nursery.slope"))
    return notes


def site_of(data: FarmData, block: Block, *, ph: float | None = None) -> tuple[SiteRange, ...]:
    """Compare a block's site with the favourable ranges and those of other sources.

    Light is the mean of the sunshine hours on record, temperature and rain those of the last
    whole year on record; what is not known is not judged.

    Raises
    ------
    Refused
        ``nursery.bad_figure`` for a pH that cannot be.
    """
    if ph is not None and not 0.0 <= ph <= 14.0:
        raise Refused("nursery.bad_figure", figure="ph", value=f"{ph:g}", low=0, high=14)
    orchard = data.orchard
    height = block.elevation_m if block.elevation_m is not None else orchard.elevation_m
    values: dict[str, float | None] = {"elevation_m": height, "ph": ph}
    station = choose(block, orchard).station
    record = data.records.get(station.name) if station is not None else None
    if record is not None:
        sun = np.asarray(record.values["sun_h"], dtype=float)
        if np.isfinite(sun).sum() >= YEAR_DAYS // 2:
            values["light_h"] = float(np.nanmean(sun))
        if len(record) >= YEAR_DAYS:
            last = slice(len(record) - YEAR_DAYS, None)
            high, low = record.values["tmax_c"][last], record.values["tmin_c"][last]
            middle = (np.asarray(high) + np.asarray(low)) / 2.0
            rain = np.asarray(record.values["rain_mm"][last])
            if np.isfinite(middle).mean() > 0.9:
                values["mean_c"] = float(np.nanmean(middle)) + _shift(data, block)
            if np.isfinite(rain).mean() > 0.9:
                values["rain_mm"] = float(np.nansum(rain))
    return nursery.site_sheet(values)


def _shift(data: FarmData, block: Block) -> float:
    station = choose(block, data.orchard).station
    low = station.elevation_m if station is not None else None
    low = low if low is not None else data.orchard.elevation_m
    if block.elevation_m is None or low is None:
        return 0.0
    return (block.elevation_m - low) * LAPSE_C_PER_M


__all__ = [
    "nursery_notes", "own_figures", "raise_for_block", "set_nursery_figures", "site_of",
]  # fmt: skip
