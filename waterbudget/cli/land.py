"""The land: heights under the blocks, flow by height."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import Any

from waterbudget import actions, english
from waterbudget.actions.land import BlockHill, HeightsDone, Hill, Together
from waterbudget.cli import output
from waterbudget.cli.commands import _now, _open, _pairs
from waterbudget.errors import Refused
from waterbudget.pressure import Apart, BlockFlow


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
    made = command("terrain", "how the blocks lie on a height file; --store keeps it")
    made.add_argument("heights", type=Path, metavar="FILE", help="a height file, such as a GeoTIFF")
    made.add_argument("--store", action="store_true",
                      help="write elevation, slope and direction into the blocks")  # fmt: skip
    made.add_argument("--answer", action="append", default=[], type=kinds.pair,
                      metavar="KEY=VALUE")  # fmt: skip
    kinds.json(made)
    made = command("flow", "what the places of a block get, by height and friction")
    made.add_argument("--block", required=True, metavar="NAME")
    made.add_argument("--heights", type=Path, metavar="FILE",
                      help="a height file; the farm's own by default")  # fmt: skip
    made.add_argument("--answer", action="append", default=[], type=kinds.pair,
                      metavar="KEY=VALUE")  # fmt: skip
    kinds.json(made)


def _unit(options: Namespace) -> str | None:
    answers = _pairs(options.answer)
    wrong = next((key for key in answers if key != "height_unit"), None)
    if wrong is not None:
        raise Refused("hill.no_such_answer", key=wrong)
    return answers.get("height_unit")


def terrain(options: Namespace) -> int:
    """Show how the blocks lie, and keep it where that is asked for."""
    unit = _unit(options)
    done: HeightsDone | None = None
    with _open(options, read_only=not options.store) as file:
        if options.store:
            done = actions.store_heights(file, options.heights, unit=unit, now=_now())
            hill = done.hill
        else:
            hill = actions.look_at_heights(file.read(), options.heights, unit=unit)
        together = actions.who_runs_together(file.read(), hill)
    if options.json:
        output.as_json(hill_values(hill, together) | {"stored": _stored(done)})
    else:
        _print_hill(hill, together, done)
    return 0


def _stored(done: HeightsDone | None) -> list[str]:
    return [b.name for b in done.before] if done is not None else []


def hill_values(hill: Hill, together: Together) -> dict[str, Any]:
    """Return the blocks on a height file as JSON holds them."""
    return {
        "file": hill.file,
        "blocks": [_block_values(b) for b in hill.blocks],
        "not_on_one_pump": [_apart_values(p) for p in together.apart],
        "may_run_together": [
            {"pump": pump or None, "blocks": names} for pump, names in together.groups
        ],
        "height_unknown": together.unknown,
        "notes": hill.notes,
    }


def _block_values(b: BlockHill) -> dict[str, Any]:
    h = b.heights
    return {
        "block": b.name, "elevation_m": h.mean_m, "lowest_m": h.min_m, "highest_m": h.max_m,
        "slope_pct": h.slope_pct, "aspect_deg": h.aspect_deg, "one_way": h.one_way,
        "plan_ha": b.plan_ha, "slope_ha": b.slope_ha, "slope_class": b.slope_class,
        "advice": english.word(f"hill.class.{b.slope_class}") if b.slope_class else None,
        "station": b.station, "station_elevation_m": b.station_m, "temperature_shift_c": b.shift_c,
        "covered": h.covered, "notes": b.notes,
    }  # fmt: skip


def _apart_values(p: Apart) -> dict[str, Any]:
    return {
        "upper": p.upper, "lower": p.lower, "pump": p.pump or None, "height_m": p.height_m,
        "flow_pct": p.flow_pct, "why": p.why, "text": english.sentence(p.note),
    }  # fmt: skip


def _print_hill(hill: Hill, together: Together, done: HeightsDone | None) -> None:
    output.table(
        ["block", "height m", "from", "to", "slope %", "falls to", "plan ha", "slope ha",
         "against station", ""],
        [
            [b.name, _one(b.heights.mean_m), _one(b.heights.min_m), _one(b.heights.max_m),
             _one(b.heights.slope_pct), compass(b.heights.aspect_deg), _two(b.plan_ha),
             _two(b.slope_ha), "" if b.shift_c is None else f"{b.shift_c:+.1f} C",
             english.word(f"hill.class.{b.slope_class}") if b.slope_class else ""]
            for b in hill.blocks
        ],
    )  # fmt: skip
    for note in (*(n for b in hill.blocks for n in b.notes), *hill.notes):
        print(english.sentence(note))
    _print_together(together)
    if done is not None:
        print(f"Stored in {len(done.before)} of {len(hill.blocks)} blocks.")
    else:
        print("Nothing stored; --store writes height, slope and direction into the blocks.")


def _print_together(together: Together) -> None:
    if together.apart:
        print("May run together on one pump:")
        for pump, names in together.groups:
            print(f"  {pump + ': ' if pump else ''}{', '.join(names)}")
        first = together.apart[0]
        print(english.sentence(first.note))
        if len(together.apart) > 1:
            print(f"{len(together.apart) - 1} more such pairs (--json lists them).")


def compass(degrees: float | None) -> str:
    """Return a direction by the eight winds."""
    if degrees is None:
        return ""
    return ("N", "NE", "E", "SE", "S", "SW", "W", "NW")[round(degrees / 45.0) % 8]


def flow(options: Namespace) -> int:
    """Show what the places of a block get."""
    unit = _unit(options)
    with _open(options, read_only=True) as file:
        found = actions.flow_over(file, options.block, heights=options.heights, unit=unit)
        together = actions.who_runs_together(file.read())
    mine = [p for p in together.apart if found.block in (p.upper, p.lower)]
    if options.json:
        output.as_json(flow_values(found) | {"not_on_one_pump": [_apart_values(p) for p in mine]})
    else:
        _print_flow(found, mine)
    return 0


def flow_values(found: BlockFlow) -> dict[str, Any]:
    """Return the flow over a block as JSON holds it; the map row by row from the north."""
    return {
        "block": found.block, "flow_m3_h": found.flow_m3_h, "flow_from": found.flow_from,
        "measured": found.measured, "mean_share": found.mean, "lowest_share": found.lowest,
        "highest_share": found.highest, "low_quarter": found.low_quarter,
        "evenness": found.evenness, "design_uniformity": found.design_uniformity,
        "valve_m": found.valve_m, "valve_kpa": found.valve_kpa, "low_kpa": found.low_kpa,
        "high_kpa": found.high_kpa, "above_m": found.above_m, "below_m": found.below_m,
        "row_loss_kpa": found.row_loss_kpa, "main_loss_kpa": found.main_loss_kpa,
        "outlet_kpa": found.outlets.kpa, "outlet_exponent": found.outlets.exponent,
        "covered": found.covered,
        "map": {"left_m": found.left_m, "top_m": found.top_m, "cell_m": found.cell_m,
                "share": [[float(v) for v in row] for row in found.share]},
        "notes": found.notes,
    }  # fmt: skip


def _print_flow(found: BlockFlow, apart: list[Apart]) -> None:
    flow = "not known" if found.flow_m3_h is None else f"{found.flow_m3_h:.1f} m3/h"
    how = english.word(f"flow.{found.flow_from}") if found.flow_m3_h is not None else ""
    print(f"{found.block}: {flow}{f' ({how})' if how else ''}, "
          f"{english.word(f'pressure.even.{found.evenness}')}")  # fmt: skip
    low = found.lowest / found.mean if found.mean else 0
    high = found.highest / found.mean if found.mean else 0
    output.table(
        ["", ""],
        [
            ["least and most of the block's mean", f"{low:.2f} to {high:.2f}"],
            ["lowest quarter of the mean", f"{found.low_quarter:.2f}"],
            ["design uniformity", f"{found.design_uniformity:.2f}"],
            ["share of what the outlets are made for", f"{found.mean:.2f}"],
            ["pressure at the valve", f"{found.valve_kpa:.0f} kPa"],
            ["pressure in the block", f"{found.low_kpa:.0f} to {found.high_kpa:.0f} kPa"],
            ["highest place over the valve", f"{found.above_m:.1f} m"],
            ["lowest place under the valve", f"{found.below_m:.1f} m"],
            ["friction in the longest row", _kpa(found.row_loss_kpa)],
            ["friction of the pipe to the valve", _kpa(found.main_loss_kpa)],
        ],
    )
    for note in found.notes:
        print(english.sentence(note))
    if apart:
        others = [f"{p.lower if p.upper == found.block else p.upper} ({p.height_m:.0f} m)"
                  for p in apart]  # fmt: skip
        print(f"Not at once with it on one pump without a regulator: {', '.join(others)}.")


def _kpa(value: float | None) -> str:
    return "not known" if value is None else f"{value:.1f} kPa"


def _one(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _two(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"
