"""Readings of the soil in the season: laid along a block's days, and what they pulled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from waterbudget import sensors
from waterbudget.balance import Account, State
from waterbudget.orchard import Block
from waterbudget.records import Reading
from waterbudget.season.blocks import Prepared
from waterbudget.season.result import Season
from waterbudget.sensors import FactorStep, Ground, Pull, Pulled
from waterbudget.soil import texture_known


def with_readings(
    made: Prepared, readings: Sequence[Reading], on: dt.date, first: dt.date, n: int
) -> Prepared:
    """Return a prepared block with its readings judged and laid along its days."""
    if not readings:
        return made
    judged, pulls = sensors.judge(readings, _ground(made, first, n))
    if "weather" in made.missing:
        judged = tuple(replace(j, counts=False, why="no_weather") for j in judged)
        return replace(made, readings=judged)
    today = [p for p in pulls if p.date == on and on > first]
    before = [p for p in pulls if p not in today]
    columns = dict(made.columns)
    if before:
        columns |= sensors.lay(before, first, n)
    return replace(made, columns=columns, readings=judged, this_morning=today[0] if today else None)


def put_right(made: Prepared, account: Account | None, state: State, j: int) -> None:
    """Let this morning's readings pull the end of the past in column ``j``, in place."""
    if made.this_morning is None:
        return
    pull = made.this_morning.moves(float(state.dr_mm[j]))
    state.dr_mm[j] += pull
    if account is not None:
        account.dr_mm[-1, j] += pull
        account.correction_mm[-1, j] -= pull


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


def pulled(made: Prepared, k: int, season: Season) -> tuple[Pulled, ...]:
    """Return the mornings on which readings pulled block ``k``, in order."""
    drivers, account = season.drivers, season.account
    found = []
    if "read_share" in made.columns and drivers.read_mm is not None:
        assert drivers.read_share is not None and drivers.read_floor is not None
        for row in np.flatnonzero(drivers.read_share[:, k] > 0):
            i = int(row)
            shrink = min(drivers.taw_mm[i, k] / drivers.taw_mm[i - 1, k], 1.0) if i else 1.0
            read, share = float(drivers.read_mm[i, k]), float(drivers.read_share[i, k])
            pull = Pull(season.days[i], read, share, bool(drivers.read_floor[i, k]))
            model = float(account.dr_start_mm[i, k] * shrink)
            found.append(_told(pull, model, float(account.raw_mm[i, k]), pull.date))
    if made.this_morning is not None:
        pull, i = made.this_morning, season.on_index
        new = float(account.dr_start_mm[i, k])
        # the account shows the morning as put right: the model's figure is the pull undone
        still = pull.at_least and new >= pull.missing_mm
        model = new if still else (new - pull.share * pull.missing_mm) / (1.0 - pull.share)
        found.append(_told(pull, model, float(account.raw_mm[i, k]), season.days[i - 1]))
    return tuple(found)


def _told(pull: Pull, model: float, raw: float, counted_on: dt.date) -> Pulled:
    return Pulled(
        date=pull.date, model_mm=model, read_mm=pull.missing_mm, share=pull.share, raw_mm=raw,
        new_mm=model + pull.moves(model), at_least=pull.at_least, counted_on=counted_on,
    )  # fmt: skip


def proposed(block: Block, found: Sequence[Pulled], on: dt.date) -> FactorStep | None:
    """Return the step of a block's local factor that its readings speak for, if any."""
    factor = 1.0 if block.kc_factor is None else block.kc_factor
    return sensors.factor_step(found, on, factor, block.kc_factor_from)
