"""Commands about the soil as read and the cycle as seen: reading, readings, cycle."""

from __future__ import annotations

import datetime as dt
from argparse import Namespace
from collections.abc import Sequence
from typing import Any

from waterbudget import actions, english, outlook, season
from waterbudget.cli import output
from waterbudget.cli.commands import _now, _open
from waterbudget.errors import Refused
from waterbudget.records import FarmData, Reading
from waterbudget.season import BlockSeason, Season
from waterbudget.sensors import FactorStep, Judged

UNITS = {"tensiometer": "kPa", "capacitance": "%", "field": "mm"}


def reading(options: Namespace) -> int:
    """Enter, replace or take away a reading of the soil, or bring in a file."""
    given = {"tensiometer": options.kpa, "capacitance": options.percent,
             "field": options.missing_mm}  # fmt: skip
    figures = [(kind, value) for kind, value in given.items() if value is not None]
    if options.file is not None:
        if figures or options.block or options.on or options.remove:
            raise Refused("usage.reading_file")
        with _open(options) as file:
            done = actions.import_readings(file, options.file, now=_now())
        print(f"Readings: {done.added} added, {done.unchanged} as they were.")
        return 0
    if options.block is None or options.on is None or (not figures and not options.remove):
        raise Refused("usage.reading")
    with _open(options) as file:
        if options.remove:
            if any(value is not None for _, value in figures):
                raise Refused("usage.reading_remove")
            gone = actions.remove_reading(
                file, options.block, options.on, depth_cm=options.depth_cm, sensor=options.sensor,
                now=_now(),
            )  # fmt: skip
            print(f"{options.block}, {options.on}: {', '.join(map(_figure, gone))} taken away.")
            return 0
        kind, value = figures[0]
        held = actions.enter_reading(
            file, options.block, options.on, kind, value, depth_cm=options.depth_cm,
            sensor=options.sensor, before_water=options.before_water, now=_now(),
        )  # fmt: skip
    print(f"{options.block}, {options.on}: {', '.join(map(_figure, held))}.")
    return 0


def _figure(r: Reading) -> str:
    at = f" at {r.depth_cm:g} cm" if r.depth_cm is not None else ""
    name = f" ({r.sensor})" if r.sensor else ""
    return f"{r.value:g} {UNITS[r.kind]}{' missing' if r.kind == 'field' else ''}{at}{name}"


def readings(options: Namespace) -> int:
    """List readings, what they pulled, and the factors they speak for; accept one."""
    if options.accept and options.block is None:
        raise Refused("usage.accept_block")
    if options.why is not None and not options.accept:
        raise Refused("usage.why_without_accept")
    with _open(options, read_only=not options.accept) as file:
        data = file.read()
        if options.block is not None:
            data.orchard.block(options.block)
        run = season.run(data, options.on)
        if options.accept:
            _accept(file, run, options)
            data = file.read()
            run = season.run(data, run.on)
        changes = actions.factor_changes(file, options.block)
    blocks = run.blocks if options.block is None else (run.block(options.block),)
    answer = {
        "on": run.on,
        "readings": [row for b in blocks for row in reading_rows(data, b)],
        "pulls": [row for b in blocks for row in _pull_rows(b)],
        "proposed": [_step_row(b, b.factor_step) for b in blocks if b.factor_step is not None],
        "factors": [
            {"block": c.block, "entered_at": c.at, "date": c.since, "old": c.old, "new": c.new,
             "reason": c.why}
            for c in changes
        ],
    }  # fmt: skip
    if options.json:
        output.as_json(answer)
    else:
        _print_readings(answer)
    return 0


def _accept(file: Any, run: Season, options: Namespace) -> None:
    block = run.block(options.block)
    step = block.factor_step
    if step is None:
        raise Refused("factor.none_proposed", block=block.block.name)
    why = options.why or english.sentence(outlook.step_note(block, step))
    actions.accept_factor(file, block.block.name, step.new, since=run.on, why=why, now=_now())


def reading_rows(data: FarmData, block: BlockSeason) -> list[dict[str, Any]]:
    """Return a block's readings with what became of each; ``later`` ones are not looked at."""
    judged = {j.reading.id: j for j in block.readings}
    rows = []
    for r in data.readings:
        if r.block_id == block.block.id:
            found = judged.get(r.id) or Judged(r, None, counts=False, why="later")
            rows.append({
                "block": block.block.name, "date": r.date, "kind": r.kind, "value": r.value,
                "unit": UNITS[r.kind], "depth_cm": r.depth_cm, "sensor": r.sensor,
                "before_water": r.before_water, "missing_mm": found.missing_mm,
                "at_least": found.at_least, "counts": found.counts, "why": found.why,
                "reason": english.word(f"reading.why.{found.why}"),
            })  # fmt: skip
    return rows


def _pull_rows(block: BlockSeason) -> list[dict[str, Any]]:
    return [
        {"block": block.block.name, "date": p.date, "model_mm": p.model_mm, "read_mm": p.read_mm,
         "at_least": p.at_least, "share": p.share, "new_mm": p.new_mm,
         "correction_mm": p.model_mm - p.new_mm, "raw_mm": p.raw_mm, "off_pct": 100 * p.off}
        for p in block.pulled
    ]  # fmt: skip


def _step_row(block: BlockSeason, step: FactorStep) -> dict[str, Any]:
    return {
        "block": block.block.name, "old": step.old, "new": step.new,
        "off_pct": [100 * week for week in step.off],
        "said": english.sentence(outlook.step_note(block, step)),
    }  # fmt: skip


def _print_readings(answer: dict[str, Any]) -> None:
    if not answer["readings"]:
        print("No readings.")
    else:
        output.table(
            ["block", "date", "reading", "depth cm", "sensor", "missing mm", ""],
            [
                [r["block"], r["date"], f"{r['value']:g} {r['unit']}", _or_blank(r["depth_cm"]),
                 r["sensor"] or "", _missing(r), r["reason"]]
                for r in answer["readings"]
            ],
        )  # fmt: skip
    for p in answer["pulls"]:
        print(f"{p['date']}  {p['block']}: {p['model_mm']:.1f} mm missing by the model, "
              f"{p['read_mm']:.1f} as read: counted as {p['new_mm']:.1f}.")  # fmt: skip
    for step in answer["proposed"]:
        print(step["said"])
    for c in answer["factors"]:
        since = f"from {c['date']}" if c["date"] is not None else "over the whole run"
        print(f"{c['block']}: factor {c['old']:g} -> {c['new']:g} {since}: {c['reason'] or '-'}")


def _missing(row: dict[str, Any]) -> str:
    if row["missing_mm"] is None:
        return ""
    return f"{row['missing_mm']:.1f}{'+' if row['at_least'] else ''}"


def _or_blank(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def cycle(options: Namespace) -> int:
    """Print the dates of the cycle a block is in."""
    with _open(options, read_only=True) as file:
        data = file.read()
    data.orchard.block(options.block)
    run = season.run(data, options.on)
    block = run.block(options.block)
    found = outlook.cycle_outlook(run, block)
    notes = [english.sentence(n) for n in outlook.cycle_notes(block, found)]
    if found is None:
        answer: dict[str, Any] = {"block": block.block.name, "on": run.on, "pruned_on": None,
                                  "stages": [], "notes": notes}  # fmt: skip
    else:
        answer = {
            "block": block.block.name, "on": run.on, "pruned_on": found.cycle.pruned_on,
            "days_from_pruning": (run.on - found.cycle.pruned_on).days,
            "stage": run.stage(block), "past_years": list(found.years),
            "stages": [
                {"stage": s.stage, "date": s.date, "earliest": s.earliest, "latest": s.latest,
                 "clock": s.clock, "day_count": s.day_count, "seen": s.seen}
                for s in found.stages
            ],
            "harvest_second": found.harvest_second, "cool_c": found.cool_c,
            "misses": [
                {"pruned_on": m.pruned_on, "stage": m.stage, "seen": m.seen, "clock": m.clock,
                 "days": m.days}
                for m in outlook.clock_misses(block)
            ],
            "notes": notes,
        }  # fmt: skip
    if options.json:
        output.as_json(answer)
    else:
        _print_cycle(answer, notes)
    return 0


def _print_cycle(answer: dict[str, Any], notes: Sequence[str]) -> None:
    if answer["pruned_on"] is not None:
        day, stage = answer["days_from_pruning"], english.word(f"stage.{answer['stage']}")
        print(f"{answer['block']}: pruned on {answer['pruned_on']}, day {day}, {stage}")
        output.table(
            ["stage", "begins", "earliest", "latest", "clock alone", "by days", "seen"],
            [
                [english.word(f"stage.{s['stage']}"), _date(s["date"]), _date(s["earliest"]),
                 _date(s["latest"]), _date(s["clock"]), _date(s["day_count"]), _date(s["seen"])]
                for s in answer["stages"]
            ],
        )  # fmt: skip
    for note in notes:
        print(note)


def _date(value: dt.date | None) -> str:
    return value.isoformat() if value is not None else ""
