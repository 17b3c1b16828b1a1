"""Planting: tree places, and the nursery before them."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import Any

from waterbudget import actions, english
from waterbudget.actions import SetOut
from waterbudget.cli import output
from waterbudget.cli.commands import _now, _open, _pairs
from waterbudget.errors import Note, Refused
from waterbudget.nursery import NurseryPlan, SiteRange, figures
from waterbudget.orchard import read_number
from waterbudget.planting import PATTERNS, LayoutFigures, peg_rows
from waterbudget.planting.pegs import positions
from waterbudget.records import LAND_KINDS

STEPS = {"sow": "sow", "prick": "prick out into bags", "graft": "graft", "plant": "plant out"}
QUANTITIES = {"elevation_m": "height above the sea", "ph": "pH of the soil",
              "light_h": "sunlight a day", "mean_c": "mean temperature",
              "rain_mm": "rain of the last year"}  # fmt: skip
MOST_ROWS = 30
"""Rows printed; more stand in the pegging sheet."""


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
    _tree_options(command("trees", "set out the trees of a block, mark and count them"), kinds)


def _tree_options(made: Any, kinds: Any) -> None:
    made.add_argument("--block", metavar="NAME")
    made.add_argument("--pattern", choices=PATTERNS)
    for name, what in (
        ("spacing-m", "between trees in the row, along the ground"),
        ("row-spacing-m", "between rows, along the ground"),
        ("setback-m", "kept free along the edge"),
        ("headland-m", "kept free at the ends of the rows"),
        ("fall-pct", "of contour rows along themselves"),
    ):
        made.add_argument(f"--{name}", type=kinds.number, metavar="V", help=what)
    made.add_argument(
        "--bearing",
        metavar="DEGREES|longest",
        help="of the rows, clockwise from true north, or along the longest side",
    )
    made.add_argument(
        "--heights", type=Path, metavar="FILE", help="a height file: slope, and contour rows"
    )
    made.add_argument("--answer", action="append", default=[], type=kinds.pair, metavar="KEY=VALUE")
    made.add_argument("--store", action="store_true", help="keep the layout in the block")
    made.add_argument(
        "--mark",
        action="append",
        default=[],
        metavar="ROW:NUMBER=STATE",
        help="missing, replaced, young, rock or living; again for more places",
    )
    _beside_options(made, kinds)


def _beside_options(made: Any, kinds: Any) -> None:
    """Patterns side by side, ground without trees, and what is written."""
    made.add_argument("--compare", action="store_true", help="patterns side by side")
    made.add_argument(
        "--peak-et0",
        type=kinds.number,
        metavar="MM",
        help="reference ET of a day at the peak, for --compare",
    )
    made.add_argument("--kc", type=kinds.number, metavar="V", help="at the peak, for --compare")
    for kind in LAND_KINDS:
        made.add_argument(
            f"--{kind}",
            type=Path,
            metavar="FILE",
            help="ground without trees, a GeoJSON or GPX line or area",
        )
    made.add_argument(
        "--width-m",
        type=kinds.number,
        default=0.0,
        metavar="W",
        help="kept free along it, full width",
    )
    made.add_argument(
        "--drop",
        action="append",
        default=[],
        type=int,
        metavar="ID",
        help="take a road, rock or watercourse away",
    )
    out = made.add_mutually_exclusive_group()
    kinds.json(out)
    for kind, what in (
        ("gpx", "the places as waypoints"),
        ("geojson", "the places as points"),
        ("csv", "a line a place"),
        ("pegs", "the pegging sheet: text, or a line a peg where it ends .csv"),
    ):
        out.add_argument(f"--{kind}", type=Path, metavar="FILE", help=what)


def trees(call: Namespace) -> int:
    """Set out, keep, mark, compare or write the trees of a block."""
    changed = _changed(call)
    marks = [actions.read_mark(text) for text in call.mark]
    roads = [(kind, path) for kind in LAND_KINDS if (path := getattr(call, kind)) is not None]
    writes = bool(call.store or marks or roads or call.drop)
    unit = _unit(call)
    if call.block is None and not (roads or call.drop):
        raise Refused("planting.which_block")
    look = {"heights": call.heights, "unit": unit}
    with _open(call, read_only=not writes) as file:
        if writes and call.block is not None:  # refused before anything is stored
            first = actions.look_at_trees(file, call.block, changed, **look)
            actions.check_marks(first.planting, first.block.name, marks)
        for kind, path in roads:
            actions.add_land_marks(file, path, kind=kind, width_m=call.width_m, now=_now())
        for mark_id in call.drop:
            actions.drop_land_mark(file, mark_id, now=_now())
        if call.block is None:
            return _land(file, call)
        on = file.read().last_day() or _now().date()
        if call.store:
            _, made = actions.store_layout(file, call.block, changed, now=_now(), **look)
            changed = {}
        if call.compare:
            return _compare(file, call, changed, look)
        made = actions.look_at_trees(file, call.block, changed, on=on, **look)
        if marks:
            actions.mark_trees(file, call.block, marks, places=made.planting, now=_now())
            made = actions.look_at_trees(file, call.block, changed, on=_now().date(), **look)
    return _told(made, call)


def _unit(call: Namespace) -> str | None:
    answers = _pairs(call.answer)
    wrong = next((key for key in answers if key != "height_unit"), None)
    if wrong is not None:
        raise Refused("hill.no_such_answer", key=wrong)
    return answers.get("height_unit")


def _changed(call: Namespace) -> dict[str, Any]:
    names = ("pattern", "spacing_m", "row_spacing_m", "setback_m", "headland_m", "fall_pct")
    changed = {n: v for n in names if (v := getattr(call, n)) is not None}
    if call.bearing is not None:
        bearing = _figure("bearing", call.bearing) if call.bearing != "longest" else None
        changed["bearing_deg"] = bearing
    return changed


def _told(made: SetOut, call: Namespace) -> int:
    if call.pegs is not None:
        actions.write_pegs(made, call.pegs)
        print(f"{call.pegs}: {made.planting.rows:,} rows, {made.planting.trees:,} pegs.")
        return 0
    for kind in ("gpx", "geojson", "csv"):
        path = getattr(call, kind)
        if path is not None:
            actions.write_trees(made, path, kind)
            print(f"{path}: {made.planting.trees:,} tree places.")
            return 0
    if call.json:
        output.as_json(tree_values(made))
    else:
        _print_trees(made)
    return 0


def tree_values(made: SetOut) -> dict[str, Any]:
    """Return a block's trees as JSON holds them."""
    p, c = made.planting, made.counts
    lat, lon = positions(p)
    states = [made.marks.get((int(r), int(n))) for r, n in zip(p.row, p.number, strict=True)]
    return {
        "block": made.block.name, "pattern": p.layout.pattern, "spacing_m": p.layout.spacing_m,
        "row_spacing_m": p.layout.between_rows_m, "bearing_deg": p.layout.bearing_deg,
        "fall_pct": p.layout.fall_pct if p.layout.pattern == "contour" else None,
        "setback_m": p.layout.setback_m, "headland_m": p.layout.headland_m,
        "plan_spacing_m": p.plan_spacing_m, "plan_row_spacing_m": p.plan_row_m,
        "slope_pct": p.slope_pct, "aspect_deg": p.aspect_deg, "area_ha": made.hectares,
        "rows": p.rows, "trees": p.trees, "per_ha": made.per_ha,
        "row_length_m": p.row_length_m, "missing": c.missing, "replaced": c.replaced,
        "living": c.living, "bearing": c.bearing, "marks_astray": c.astray, "notes": made.notes,
        "points": [
            {"row": int(r), "number": int(n), "state": m.state if m is not None else "living",
             "lat": float(a), "lon": float(o), "east_m": float(x), "north_m": float(y),
             "along_m": float(s)}
            for r, n, m, a, o, x, y, s in zip(p.row, p.number, states, lat, lon, p.x, p.y,
                                              p.along_m, strict=True)
        ],
    }  # fmt: skip


def _print_trees(made: SetOut) -> None:
    p, c = made.planting, made.counts
    print(f"{made.block.name}: {p.trees:,} trees in {p.rows:,} rows, {made.per_ha:.0f} per ha "
          f"({english.word(f'pattern.{p.layout.pattern}')}, {p.layout.spacing_m:g} m in the row, "
          f"{p.layout.between_rows_m:.4g} m between rows, rows at "
          f"{p.layout.bearing_deg or 0:.0f} degrees)")  # fmt: skip
    print(f"Missing {c.missing:,}, replaced or young {c.replaced:,}, living {c.living:,}, "
          f"bearing {c.bearing:,}; {p.row_length_m:,.0f} m of rows.")  # fmt: skip
    sheet = peg_rows(p)
    output.table(
        ["row", "trees", "m", "bearing", "starts at"],
        [[r.row, len(r.pegs), f"{r.length_m:.1f}", f"{r.bearing_deg:.1f}",
          f"{r.pegs[0].lat:.7f}, {r.pegs[0].lon:.7f}"] for r in sheet[:MOST_ROWS]],
    )  # fmt: skip
    if len(sheet) > MOST_ROWS:
        print(f"{len(sheet) - MOST_ROWS} more rows (--pegs FILE writes them all).")
    for note in made.notes:
        print(english.sentence(note))


def _compare(file: Any, call: Namespace, changed: dict[str, Any], look: dict[str, Any]) -> int:
    layouts = actions.usual_layouts(file, call.block, changed)
    found = actions.compare_layouts(file, call.block, layouts, peak_et0_mm=call.peak_et0,
                                    kc=call.kc, **look)  # fmt: skip
    if call.json:
        output.as_json({"block": call.block, "layouts": [figure_values(f) for f in found],
                        "notes": [Note.of("planting.pipe")]})  # fmt: skip
        return 0
    output.table(
        ["pattern", "m", "rows m", "bearing", "trees", "per ha", "rows", "row m", "laterals m",
         "main m", "L a tree", "m3 a day"],
        [
            [english.word(f"pattern.{f.pattern}"), f"{f.spacing_m:g}", f"{f.row_spacing_m:.2f}",
             f"{f.bearing_deg:.0f}", f.trees, f"{f.per_ha:.0f}", f.rows, f"{f.row_length_m:.0f}",
             f"{f.lateral_m:.0f}", f"{f.main_m:.0f}", f"{f.litres_tree_day:.1f}",
             f"{f.m3_day:.1f}"]
            for f in found
        ],
    )  # fmt: skip
    print(english.sentence(Note.of("planting.pipe")))
    return 0


def figure_values(f: LayoutFigures) -> dict[str, Any]:
    """Return one layout of a comparison as JSON holds it."""
    return {
        "pattern": f.pattern, "spacing_m": f.spacing_m, "row_spacing_m": f.row_spacing_m,
        "bearing_deg": f.bearing_deg, "trees": f.trees, "rows": f.rows, "per_ha": f.per_ha,
        "row_length_m": f.row_length_m, "lateral_m": f.lateral_m, "main_m": f.main_m,
        "pipe_m": f.pipe_m, "ground_of_a_tree_m2": f.ground_m2,
        "litres_a_tree_peak_day": f.litres_tree_day, "m3_peak_day": f.m3_day,
    }  # fmt: skip


def _land(file: Any, call: Namespace) -> int:
    marks = file.read().land_marks
    if call.json:
        output.as_json([{"id": m.id, "kind": m.kind, "name": m.name, "width_m": m.width_m,
                         "length_m": float(m.shape.length)} for m in marks])  # fmt: skip
    else:
        output.table(["id", "kind", "name", "free m", "long m"],
                     [[m.id, m.kind, m.name or "", f"{m.width_m:g}", f"{m.shape.length:.0f}"]
                      for m in marks])  # fmt: skip
    return 0


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
