"""The coming month through the past years of the record, and plans side by side: risk."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Mapping
from typing import Any

from waterbudget import actions, english, season, sheet
from waterbudget import risk as past
from waterbudget.cli import output
from waterbudget.cli.commands import _open
from waterbudget.errors import Note
from waterbudget.risk import BlockRisk, Outlook
from waterbudget.season import Season


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
    made = command("risk", "the coming 30 days through the past years of the record")
    made.add_argument("--on", type=kinds.day, metavar="DATE", help="the morning looked at")
    made.add_argument(
        "--if", dest="changes", action="append", type=kinds.pair, default=[],
        metavar="KEY=VALUE", help="lay a plan with this changed beside it; BLOCK:KEY=VALUE for "
        "one block; nothing is stored",
    )  # fmt: skip
    kinds.json(made)


def risk_values(found: Outlook, run: Season) -> dict[str, Any]:
    """Return what the past years say as plain values."""
    return {
        "on": found.on,
        "days": found.days,
        "years": list(found.years),
        "need_m3": _named(found.need_m3),
        "peak_m3_day": _named(found.peak_m3_day),
        "blocks": [_block(run, b) for b in found.blocks],
        "notes": [*found.notes, Note.of("risk.as_it_stands")],
    }


def _named(ranked: Mapping[int, float] | None) -> dict[str, float] | None:
    return None if ranked is None else {str(share): value for share, value in ranked.items()}


def _block(run: Season, b: BlockRisk) -> dict[str, Any]:
    return {
        "block": b.block.block.name,
        "stage": run.stage(b.block),
        "years": len(b.years),
        "chance_dry_in_fill": b.chance_dry_in_fill,
        "chance_dry": b.chance_dry,
        "dry_days_in_fill": b.dry_days_in_fill,
        "dry_days": b.dry_days,
        "first_dry_day": b.first_dry,
        "need_mm": _named(b.need_mm),
        "need_m3": _named(b.need_m3),
        "drained_mm": b.drained_mm,
    }


def _plan_values(run: Season) -> dict[str, Any]:
    rows = sheet.week_rows(run)
    return {
        "hours": {r.values["block"]: r.values["hours"] for r in rows},
        "m3": {r.values["block"]: r.values["m3"] for r in rows},
        "total_hours": sum(r.values["hours"] or 0.0 for r in rows),
        "total_m3": sum(r.values["m3"] or 0.0 for r in rows),
        "pump_hours": [p.hours for p in run.pump_days],
        "over_hours": [p.over_hours for p in run.pump_days],
    }


def risk(options: Namespace) -> int:
    """Tell the chance of dry blocks and the water needed, from the record's past years."""
    with _open(options, read_only=True) as file:
        data = file.read()
    if options.changes:
        both = actions.side_by_side(data, options.on, options.changes)
        answer = risk_values(both.outlook, both.season) | {"plan": _plan_values(both.season)}
        answer["changed"] = {
            "changes": dict(options.changes),
            **risk_values(both.changed_outlook, both.changed),
            "plan": _plan_values(both.changed),
        }
    else:
        run = season.run(data, options.on)
        answer = risk_values(past.outlook(run), run)
    if options.json:
        output.as_json(answer)
    else:
        _print(answer)
    return 0


def _print(answer: Mapping[str, Any]) -> None:
    years = answer["years"]
    span = f"{len(years)} past years" + (f", {years[0]} to {years[-1]}" if years else "")
    print(f"The {answer['days']} days from {answer['on']}, through {span}")
    _table(answer)
    if "changed" in answer:
        other = answer["changed"]
        said = ", ".join(f"{k} = {v or 'not set'}" for k, v in other["changes"].items())
        print(f"\nWith {said}")
        _table(other)
        _beside(answer["plan"], other["plan"])
    for note in answer["notes"]:
        print(english.sentence(note))


def _table(answer: Mapping[str, Any]) -> None:
    head = ["block", "stage", "dry in fill", "dry", "dry days", "first", "m3 50 %", "80 %", "90 %"]
    body = [
        [
            b["block"], english.word(f"stage.{b['stage']}"), _share(b["chance_dry_in_fill"]),
            _share(b["chance_dry"]), _one(b["dry_days"]), b["first_dry_day"] or "",
            *[_whole((b["need_m3"] or {}).get(s)) for s in ("50", "80", "90")],
        ]
        for b in answer["blocks"]
    ]  # fmt: skip
    output.table(head, body)
    if answer["need_m3"]:
        need, peak = answer["need_m3"], answer["peak_m3_day"]
        sums = ", ".join(f"{v:,.0f} m3 in {s} %" for s, v in need.items())
        print(f"Whole farm: {sums} of the years; "
              f"largest day {peak['50']:,.0f} to {peak['90']:,.0f} m3.")  # fmt: skip


def _beside(now: Mapping[str, Any], then: Mapping[str, Any]) -> None:
    print("\nThe week, hours per block: as it stands, changed")
    changed = [(n, h, then["hours"].get(n)) for n, h in now["hours"].items()]
    output.table(
        ["block", "now", "changed", "difference"],
        [[n, _two(a), _two(b), _two((b or 0.0) - (a or 0.0))] for n, a, b in changed if a != b],
    )
    print(f"Sum {now['total_hours']:.2f} h and {then['total_hours']:.2f} h; "
          f"{now['total_m3']:,.0f} m3 and {then['total_m3']:,.0f} m3.")  # fmt: skip


def _share(value: float | None) -> str:
    return "" if value is None else f"{100 * value:.0f} %"


def _one(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _two(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def _whole(value: float | None) -> str:
    return "" if value is None else f"{value:,.0f}"
