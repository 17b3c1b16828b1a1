"""Readings of the soil in the season: laid along a block's days, and what they pulled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from waterbudget import sensors
from waterbudget.balance import Account, Drivers
from waterbudget.orchard import Block
from waterbudget.records import Reading
from waterbudget.season.blocks import Prepared
from waterbudget.sensors import FactorStep, Ground, Pulled
from waterbudget.soil import texture_known


def with_readings(made: Prepared, readings: Sequence[Reading], first: dt.date, n: int) -> Prepared:
    """Return a prepared block with its readings judged and laid along its days."""
    if not readings:
        return made
    known = "weather" not in made.missing
    judged, pulls = sensors.judge(readings, _ground(made, first, n))
    if not known:
        judged = tuple(replace(j, counts=False, why="no_weather") for j in judged)
    columns = dict(made.columns)
    if known and pulls:
        columns |= sensors.lay(pulls, first, n)
    return replace(made, columns=columns, readings=judged)


def _ground(made: Prepared, first: dt.date, n: int) -> Ground:
    block, columns = made.block, made.columns
    trees = np.ones(n, bool)
    if block.planted_on is not None:
        trees = np.arange(n) >= (block.planted_on - first).days
    named = block.soil is not None or texture_known(block)
    return Ground(
        first=first, soil=made.soil.name if named else None, taw_mm=columns["taw_mm"],
        root_depth_m=made.numbers.root_depth_m[:n], stress_share=float(columns["p_stress"]),
        rain_mm=columns["rain_mm"], watered_mm=columns["irrigation_mm"], trees=trees,
    )  # fmt: skip


def pulled(made: Prepared, k: int, drivers: Drivers, account: Account, first: dt.date) -> tuple[
    Pulled, ...
]:  # fmt: skip
    """Return the mornings on which readings pulled block ``k``, in order."""
    if "read_share" not in made.columns or drivers.read_mm is None or drivers.read_share is None:
        return ()
    floor = np.zeros_like(drivers.read_mm) if drivers.read_floor is None else drivers.read_floor
    found = []
    for row in np.flatnonzero(drivers.read_share[:, k] > 0):
        i = int(row)
        shrink = min(drivers.taw_mm[i, k] / drivers.taw_mm[i - 1, k], 1.0) if i else 1.0
        model, read = float(account.dr_start_mm[i, k] * shrink), float(drivers.read_mm[i, k])
        share, at_least = float(drivers.read_share[i, k]), bool(floor[i, k])
        apart = max(read - model, 0.0) if at_least else read - model
        found.append(Pulled(
            date=first + dt.timedelta(days=i), model_mm=model, read_mm=read, at_least=at_least,
            new_mm=model + share * apart, share=share, raw_mm=float(account.raw_mm[i, k]),
        ))  # fmt: skip
    return tuple(found)


def proposed(block: Block, found: Sequence[Pulled], on: dt.date) -> FactorStep | None:
    """Return the step of a block's local factor that its readings speak for, if any."""
    factor = 1.0 if block.kc_factor is None else block.kc_factor
    return sensors.factor_step(found, on, factor, block.kc_factor_from)
