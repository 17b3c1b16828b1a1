"""What really happened, and the plan after it: ran, replan."""

from __future__ import annotations

import datetime as dt
from argparse import Namespace
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from waterbudget import actions, english, season, sheet
from waterbudget import replan as rest_of_week
from waterbudget.cli import output
from waterbudget.cli.commands import _need_span, _now, _open, _pairs, _tell
from waterbudget.errors import Note, Refused
from waterbudget.records import FarmData, GivenWeek
from waterbudget.replan import Cell, Replan


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
    ran = command("ran", "enter what really ran, or list it with its sums")
    ran.add_argument("file", nargs="?", metavar="ran.csv",
                     help="columns block, date, hours, m3, meter")  # fmt: skip
    ran.add_argument("--block", metavar="NAME")
    ran.add_argument("--on", type=kinds.day, metavar="DATE")
    ran.add_argument("--hours", type=kinds.number, metavar="H", help="0 = did not run")
    ran.add_argument("--m3", type=kinds.number, metavar="V", help="water that ran")
    ran.add_argument("--meter", type=kinds.number, metavar="READING",
                     help="what the dial showed after it, m3")  # fmt: skip
    more = ran.add_mutually_exclusive_group()
    more.add_argument("--again", action="store_true", help="a second watering that day")
    more.add_argument("--remove", action="store_true", help="take that day's entries away")
    more.add_argument("--list", action="store_true", help="show what ran, with sums")
    more.add_argument("--accept-flow", action="store_true",
                      help="plan the block with its metered flow")  # fmt: skip
    ran.add_argument("--from", dest="start", type=kinds.day, metavar="D", help="of the list")
    ran.add_argument("--to", dest="end", type=kinds.day, metavar="D", help="of the list")
    ran.add_argument("--answer", action="append", type=kinds.pair, default=[],
                     metavar="KEY=VALUE", help="of a question an earlier call asked")  # fmt: skip
    kinds.json(ran, csv=True)
    made = command("replan", "the rest of the week handed out beside the plan as it now stands")
    made.add_argument("--on", type=kinds.day, metavar="DATE", help="the morning it is changed")
    made.add_argument("--hand-out", action="store_true", help="store the corrected week as given")
    kinds.json(made)


def ran(options: Namespace) -> int:
    """Enter what really ran, or list it."""
    figures = (options.hours, options.m3, options.meter)
    typed = any(v is not None for v in figures)
    if options.list:
        if typed or options.file is not None or options.on is not None:
            raise Refused("usage.ran_list")
        return _list(options)
    if options.start is not None or options.end is not None or options.csv:
        raise Refused("usage.ran")
    if options.accept_flow:
        if typed or options.block is None or options.file is not None:
            raise Refused("usage.ran_accept")
        return _accept_flow(options)
    if options.file is not None:
        if typed or options.block or options.on or options.again or options.remove:
            raise Refused("usage.ran_file")
        return _bring_in(options)
    if options.block is None or options.on is None or not (typed or options.remove):
        raise Refused("usage.ran")
    if options.remove and typed:
        raise Refused("usage.ran_remove")
    if options.meter is not None and options.m3 is not None:
        raise Refused("usage.ran_meter")
    return _enter(options)


def _bring_in(options: Namespace) -> int:
    from pathlib import Path

    with _open(options) as file:
        done = actions.import_ran(
            file, Path(options.file), answers=_pairs(options.answer), now=_now()
        )
    print(f"What ran: {done.added} added, {done.unchanged} as they were.")
    _tell(done.notes)
    return 0


def _enter(options: Namespace) -> int:
    answers = _pairs(options.answer)
    with _open(options) as file:
        if options.meter is not None:
            done = actions.enter_meter(
                file, options.block, options.on, options.meter, hours=options.hours,
                again=options.again, answers=answers, now=_now(),
            )  # fmt: skip
            since = f": {done.m3:.1f} m3 since {done.since}" if done.m3 is not None else ""
            several = f", over {done.waterings} waterings" if done.waterings > 1 else ""
            print(f"{options.block}, {options.on}: the meter at {options.meter:.15g} m3{since}"
                  f"{several}.")  # fmt: skip
            _tell(done.notes)
            data = file.read()
            return _tell_drift(data, options)
        held = actions.enter_ran(
            file, options.block, options.on, hours=options.hours, m3=options.m3,
            again=options.again, remove=options.remove, answers=answers, now=_now(),
        )  # fmt: skip
    figures = [_figure(r.hours, r.m3) for r in held]
    print(f"{options.block}, {options.on}: {', '.join(figures) or 'nothing entered'}.")
    return 0


def _figure(hours: float | None, m3: float | None) -> str:
    known = [f"{hours:g} h"] if hours is not None else []
    return " = ".join([*known, *([f"{m3:g} m3"] if m3 is not None else [])])


def _tell_drift(data: FarmData, options: Namespace) -> int:
    run = season.run(data, options.on + dt.timedelta(days=1))
    note = sheet.flow_note(run.block(options.block))
    if note is not None:
        _tell([note])
    return 0


def _accept_flow(options: Namespace) -> int:
    with _open(options) as file:
        run = season.run(file.read(), options.on)
        block = actions.accept_flow(file, run, options.block, now=_now())
    print(f"{block.name}: {block.flow_m3_h:g} m3/h, by its meter.")
    return 0


def _list(options: Namespace) -> int:
    _need_span(options)
    with _open(options, read_only=True) as file:
        data = file.read()
    on = _list_day(data)
    answer = sheet.ran_list(data, on, options.start, options.end, options.block)
    run = season.run(data, on)
    blocks = run.blocks if options.block is None else (run.block(options.block),)
    answer["flow"] = [
        {"block": b.block.name, **asdict(b.drift), "said": english.sentence(note) if note else None}
        for b in blocks
        if b.drift is not None
        for note in (sheet.flow_note(b),)
    ]
    if options.json:
        output.as_json(answer)
    elif options.csv:
        output.write_csv(answer["rows"])
    else:
        _print_list(answer)
    return 0


def _list_day(data: FarmData) -> dt.date:
    """Return the day after the last thing known of record, waterings and meters."""
    days = [r.date for r in data.ran] + [m.date for m in data.meter_readings]
    last = data.last_day()
    return max([*days, *([last] if last is not None else [])], default=_now().date()) + (
        dt.timedelta(days=1)
    )  # fmt: skip


def _print_list(answer: dict[str, Any]) -> None:
    if not answer["rows"]:
        print("Nothing ran.")
        return
    output.table(
        ["day", "block", "", "planned h", "hours", "m3", "mm", "by", "dial m3"],
        [
            [r["date"], r["block"], english.word(f"ran.state.{r['state']}"),
             _two(r["planned_hours"]), _two(r["hours"]), _one(r["m3"]), _one(r["mm"]),
             english.word(f"ran.how.{r['how']}"), _one(r["dial_m3"])]
            for r in answer["rows"]
        ],
    )  # fmt: skip
    for key, name in (("by_block", "block"), ("by_month", "month"), ("by_source", "source"),
                      ("total", "total")):  # fmt: skip
        print()
        output.table(
            [name, "waterings", "hours", "m3"],
            [[r[name], r["waterings"], _two(r["hours"]), _one(r["m3"])] for r in answer[key]],
        )
    for m in answer["meters"]:
        print(f"Meter {m['meter']} ({', '.join(m['blocks'])}): {m['m3']:.1f} m3 from {m['from']} "
              f"to {m['to']}.")  # fmt: skip
    for r in answer["rights"]:
        print(f"Water right of the {r['right']}, {r['from']} to {r['to']}: {r['used_m3']:.0f} of "
              f"{r['m3']:.0f} m3, {r['used_pct']:.0f} %.")  # fmt: skip
    for f in answer["flow"]:
        if f["said"]:
            print(f["said"])


def _one(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _two(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def replan(options: Namespace) -> int:
    """Show (and hand out) the rest of the week as it is planned now."""
    given = None
    with _open(options, read_only=not options.hand_out) as file:
        data = file.read()
        run = season.run(data, options.on)
        found = rest_of_week.compare(data, run)
        if options.hand_out and found.changed:
            given = actions.hand_out_rest(file, run, now=_now())
    if options.json:
        output.as_json(replan_values(found, given))
    else:
        _print_replan(found, given)
    return 0


def replan_values(found: Replan, given: GivenWeek | None = None) -> dict[str, Any]:
    """Return a corrected week as JSON holds it."""
    week = found.given
    return {
        "on": found.on, "changed": found.changed, "days": list(found.days),
        "week": {"number": week.number, "first": week.first, "last": week.last,
                 "given_at": week.given_at},
        "blocks": [
            {
                "block": b.block, "old_hours": b.old_hours, "new_hours": b.new_hours,
                "old_m3": b.old_m3, "new_m3": b.new_m3, "changed": b.changed,
                "causes_mm": dict(b.causes), "drained_mm": b.drained_mm,
                "days": [_cell(c) for c in b.cells],
            }
            for b in found.blocks
        ],
        "ran": [asdict(r) for r in found.ran],
        "totals": {
            what: found.total(what) for what in ("old_hours", "new_hours", "old_m3", "new_m3")
        } | {"days": [_day_sum(found, d) for d in found.days]},
        "notes": [english.sentence(n) for n in found.notes],
        "given": {"number": given.number, "first": given.first, "last": given.last,
                  "given_at": given.given_at} if given is not None else None,
    }  # fmt: skip


def _cell(c: Cell) -> dict[str, Any]:
    return {
        "date": c.date, "old_hours": c.old_hours, "new_hours": c.new_hours,
        "old_start": c.old_start, "new_start": c.new_start, "old_m3": c.old_m3,
        "new_m3": c.new_m3, "changed": c.changed, "why": list(c.why),
    }  # fmt: skip


def _day_sum(found: Replan, day: dt.date) -> dict[str, Any]:
    cells = [c for c in found.cells if c.date == day]
    return {"date": day, "old_hours": round(sum(c.old_hours for c in cells), 6),
            "new_hours": round(sum(c.new_hours for c in cells), 6)}  # fmt: skip


def _print_replan(found: Replan, given: GivenWeek | None) -> None:
    week = found.given
    head = Note.of("replan.head", number=week.number, first=week.first, last=week.last, on=found.on)
    print(english.sentence(head))
    body = [
        [b.block, *[_arrow(c.old_hours, c.new_hours) for c in b.cells],
         _arrow(b.old_hours, b.new_hours), _because(b.cells)]
        for b in found.blocks
    ]  # fmt: skip
    days = [_day_sum(found, d) for d in found.days]
    body.append(["all", *[_arrow(d["old_hours"], d["new_hours"]) for d in days],
                 _arrow(found.total("old_hours"), found.total("new_hours")), ""])  # fmt: skip
    output.table(["block", *[f"{d:%a %d}" for d in found.days], "hours", "why"], body)
    print(f"{found.total('old_m3'):.0f} m3 were handed out, {found.total('new_m3'):.0f} m3 now.")
    if not found.changed:
        print(english.sentence(Note.of("replan.same")))
    _tell(found.notes)
    if given is not None:
        print(f"Handed out as number {given.number}, {given.first} to {given.last}, "
              f"{len(given.sets)} waterings.")  # fmt: skip


def _arrow(old: float, new: float) -> str:
    if old == new:
        return f"{old:g}" if old else "."
    return f"{old:g} > {new:g}"


def _because(cells: Sequence[Cell]) -> str:
    codes = dict.fromkeys(code for c in cells for code in c.why)
    return ", ".join(english.word(f"replan.cause.{code}") for code in codes)
