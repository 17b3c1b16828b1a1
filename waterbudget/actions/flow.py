"""The flow a block's meter measured, taken for the flow it is planned with."""

from __future__ import annotations

import datetime as dt

from waterbudget.actions.blocks import set_block
from waterbudget.errors import Refused
from waterbudget.orchard import Block
from waterbudget.season import Season
from waterbudget.store import FarmFile


def accept_flow(file: FarmFile, season: Season, block_name: str, *, now: dt.datetime) -> Block:
    """Plan a block with its metered flow from now on; it is marked as measured by meter.

    Raises
    ------
    Refused
        ``flow.none_proposed`` where no watering has both hours and metered water.
    """
    block = season.block(block_name)
    found = block.drift
    if found is None:
        raise Refused("flow.none_proposed", block=block.block.name)
    pairs = {"flow_m3_h": f"{found.metered_m3_h:.3f}", "flow_from": "meter"}
    return set_block(file, block.block.name, pairs, now=now)[0]
