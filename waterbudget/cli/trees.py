"""Planting: tree places, and the nursery before them."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from waterbudget import actions, english
from waterbudget.cli import output
from waterbudget.cli.commands import _now, _open
from waterbudget.errors import Note, Refused
from waterbudget.nursery import NurseryPlan, SiteRange, figures
from waterbudget.orchard import read_number

STEPS = {"sow": "sow", "prick": "prick out into bags", "graft": "graft", "plant": "plant out"}
QUANTITIES = {"elevation_m": "height above the sea", "ph": "pH of the soil",
              "light_h": "sunlight a day", "mean_c": "mean temperature",
              "rain_mm": "rain of the last year"}  # fmt: skip


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
    made = command("nursery", "raise the plants of a block: dates back from planting, amounts")
    made.add_argument("--block", required=True, metavar="NAME")
    made.add_argument("--plant-on", required=True, type=kinds.day, metavar="DATE")
    made.add_argument("--trees", type=int, metavar="N", help="in place of the block's own number")
    made.add_argument("--ph", type=kinds.number, metavar="V", help="of the soil, for the site")
    made.add_argument(
        "--figure", action="append", type=kinds.pair, default=[], metavar="NAME=VALUE",
        help="keep your own figure for the nursery; empty goes back to the usual one",
    )  # fmt: skip
    kinds.json(made)


def nursery(call: Namespace) -> int:
    """Print what raising the trees of a block takes, and how its site stands."""
    with _open(call, read_only=not call.figure) as file:
        if call.figure:
            given = {n: _figure(n, text) for n, text in call.figure}
            actions.set_nursery_figures(file, given, now=_now())
        data = file.read()
    block, plan = actions.raise_for_block(data, call.block, call.plant_on, trees=call.trees)
    site = actions.site_of(data, block, ph=call.ph)
    notes = actions.nursery_notes(plan, block, data.last_day())
    own = actions.own_figures(data)
    if call.json:
        output.as_json(_values(block.name, plan, site, notes, own))
    else:
        _print(block.name, plan, site, notes)
    return 0


def _figure(name: str, text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return read_number(text)
    except ValueError:
        raise Refused("key.bad_number", key=name, value=text) from None


def _values(
    name: str, plan: NurseryPlan, site: tuple[SiteRange, ...], notes: list[Note],
    own: dict[str, float],
) -> dict[str, Any]:  # fmt: skip
    return {
        "block": name, "trees": plan.trees,
        "steps": [
            {"step": s.name, "date": s.date, "earliest": s.earliest, "latest": s.latest,
             "plants": s.plants}
            for s in plan.steps
        ],
        "seeds": plan.seeds, "cells": plan.cells, "trays": plan.trays, "bags": plan.bags,
        "grafts": plan.grafts, "stakes": plan.stakes, "bag_litres": plan.bag_l,
        "soil_litres": plan.soil_l, "husk_litres": plan.husk_l, "holes_m3": plan.holes_m3,
        "figures": {
            n: {"value": own.get(n, f.value), "unit": f.unit, "from": "own" if n in own else f.kind}
            for n, f in figures().items()
        },
        "site": [
            {"quantity": r.quantity, "value": r.value, "low": r.low, "high": r.high,
             "unit": r.unit, "stands": r.stands, "source": r.source, "kind": r.kind}
            for r in site
        ],
        "notes": notes,
    }  # fmt: skip


def _print(name: str, plan: NurseryPlan, site: tuple[SiteRange, ...], notes: list[Note]) -> None:
    print(f"{name}: {plan.trees:,} trees")
    output.table(
        ["step", "on", "between", "and", "plants"],
        [[STEPS[s.name], s.date, s.earliest, s.latest, s.plants] for s in plan.steps],
    )
    print(f"{plan.seeds:,} seeds in {plan.trays:,} trays, {plan.bags:,} bags of "
          f"{plan.bag_l:.1f} L: {plan.soil_l:,.0f} L soil and {plan.husk_l:,.0f} L rice husk, "
          f"{plan.stakes:,} stakes.")  # fmt: skip
    print(f"Holes: {plan.holes_m3:,.1f} m3 of ground to move.")
    print("\nThe site")
    output.table(
        ["", "here", "from", "to", "", "as", "source"],
        [
            [QUANTITIES[r.quantity], "" if r.value is None else f"{r.value:.4g}", f"{r.low:g}",
             f"{r.high:g}", english.sentence(Note.of(f"site.{r.stands}")), r.note, r.source]
            for r in site
        ],
    )  # fmt: skip
    for note in notes:
        print(english.sentence(note))
