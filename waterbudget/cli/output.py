"""Answers on the terminal: JSON, CSV, and tables to read."""

from __future__ import annotations

import csv
import datetime as dt
import json
import math
import sys
from argparse import Namespace
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from waterbudget import english, sheet
from waterbudget import season as season_of
from waterbudget.errors import AnswersNeeded, Note
from waterbudget.origin import Origin, Source
from waterbudget.season import DayToCheck, Season

DECIMALS = 12
"""Of numbers in JSON and CSV: far below what any sum is checked to, above the noise of a float."""


def plain(value: Any) -> Any:
    """Return a value as JSON holds it: ISO dates, HH:MM, null for what is not known."""
    if isinstance(value, Note):
        return english.sentence(value)
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set):
        return [plain(v) for v in value]
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0 if math.isfinite(value) else None
    return value


def as_json(value: Any) -> None:
    """Print a value as JSON."""
    print(json.dumps(plain(value), ensure_ascii=False, indent=1))


def questions(asked: AnswersNeeded, json_wanted: bool) -> None:
    """Print all questions: on stdout as JSON, else in words on stderr."""
    if json_wanted:
        as_json({
            "questions": [
                {"key": q.key, "text": english.sentence(q),
                 "choices": list(q.choices) if q.choices is not None else None,
                 "format": q.format, "sample": list(q.sample)}
                for q in asked.questions
            ]
        })  # fmt: skip
        return
    for q in asked.questions:
        print(english.sentence(q), file=sys.stderr)
        for row in q.sample:
            print(f"    {row}", file=sys.stderr)
        form = " | ".join(q.choices) if q.choices is not None else english.word(
            f"format.{q.format}")  # fmt: skip
        print(f"  Answer with: --answer {q.key}={form}", file=sys.stderr)


def rows(found: Sequence[Mapping[str, Any]], options: Namespace) -> int:
    """Print rows as JSON, CSV or a table."""
    if options.json:
        as_json(found)
    elif options.csv:
        write_csv(found)
    else:
        head = list(found[0]) if found else []
        table(head, [[_short(row[c]) for c in head] for row in found])
    return 0


def write_csv(found: Sequence[Mapping[str, Any]]) -> None:
    """Print rows as CSV; no cell can start a formula."""
    if not found:
        return
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(found[0].keys())
    for row in found:
        writer.writerow([cell(v) for v in row.values()])


def cell(value: Any) -> str:
    """Return a value as one CSV cell that no spreadsheet takes for a formula."""
    value = plain(value)
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list):
        return "; ".join(_item(v) for v in value)
    if isinstance(value, Mapping):
        return "; ".join(f"{k} {_short(v)}" for k, v in value.items() if v is not None)
    text = str(value)
    return "'" + text if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def _item(value: Any) -> str:
    if isinstance(value, Mapping):
        hours, mm = value.get("hours"), value.get("mm")
        size = f"{hours:g} h" if hours is not None else f"{mm:.1f} mm" if mm is not None else ""
        return " ".join(w for w in (value.get("date"), value.get("start"), size) if w)
    return str(value)


def week_csv(run: Season) -> None:
    """Print the week as CSV, one row a block."""
    write_csv([r.values for r in sheet.week_rows(run)])


def _short(value: Any) -> str:
    value = plain(value)
    if isinstance(value, float):
        return f"{value:.2f}" if abs(value) >= 0.005 else "0"
    if isinstance(value, list):
        return " ".join(str(v) for v in value)
    return "" if value is None else str(value)


def pairs(values: Mapping[str, Any]) -> None:
    """Print keys and values, what is not set left out."""
    known = {k: v for k, v in values.items() if v is not None and v not in ("", [], ())}
    width = max(map(len, known), default=0)
    for key, value in known.items():
        text = ", ".join(map(_said, value)) if isinstance(value, list) else _said(value)
        print(f"{key:<{width}}  {text}")


def _said(value: Any) -> str:
    value = plain(value)
    if isinstance(value, bool):
        return english.written(value)
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def table(head: Sequence[str], body: Sequence[Sequence[Any]]) -> None:
    """Print a table, numbers to the right."""
    lines = [list(map(str, head)), *[list(map(str, row)) for row in body]]
    widths = [max(len(line[i]) for line in lines) for i in range(len(head))]
    numeric = [all(_is_number(line[i]) for line in lines[1:] if line[i]) for i in range(len(head))]
    for line in lines:
        cells = [
            c.rjust(w) if right else c.ljust(w)
            for c, w, right in zip(line, widths, numeric, strict=True)
        ]
        print("  ".join(cells).rstrip())


def _is_number(text: str) -> bool:
    try:
        float(text.replace("*", "").partition("/")[0])
    except ValueError:
        return text in ("", ".", "?")
    return True


def week(run: Season) -> None:
    """Print the week to read: hours per block and day, sums, and what to know."""
    farm = run.orchard
    invented = " (invented)" if farm.invented else ""
    print(f"{farm.name}{invented}: the week from {run.on:%A} {run.on}")
    print(f"The hours are good to about {season_of.uncertainty_pct(run)} % either way; "
          "a spade 30 cm deep beats them.")  # fmt: skip
    _made(run)
    if not run.blocks:
        print("There are no blocks yet.")
        return
    head = ["block", "stage", "day", "easy mm", *[f"{d:%a %d}" for d in run.week], "hours", "m3",
            "L/tree"]  # fmt: skip
    body = []
    rows = sheet.week_rows(run)
    for r in rows:
        v = r.values
        by_day = {s["date"]: s for s in v["sets"]}
        cells = [_hours(by_day.get(d)) for d in run.week]
        body.append([
            v["block"], english.word(f"stage.{v['stage']}"), v["days_from_pruning"] or "",
            _one(v["easy_left_mm"]), *cells, _two(v["hours"]), _whole(v["m3"]),
            _whole(v["litres_per_tree"]),
        ])  # fmt: skip
    sums = sheet.totals(run)
    days = sums["days"]
    pump = [f"{d['pump_hours']:g}" for d in days]
    pumped = f"{sum(d['pump_hours'] for d in days):g}"
    body.append(["pump hours", "", "", "", *pump, pumped, _whole(sums["m3"]), ""])
    for one in sums["pumps"] if len(sums["pumps"]) > 1 else ():
        hours = [f"{h:g}" for h in one["hours_by_day"]]
        body.append([f"  {one['pump'] or 'first pump'}", "", "", "", *hours, f"{one['hours']:g}",
                     _whole(one["m3"]), ""])  # fmt: skip
    valves = [str(d["valves"]) for d in days]
    body.append(["valves", "", "", "", *valves, str(sums["sets"]), "", ""])
    table(head, body)
    for d in sums["days"]:
        if d["over_hours"] > 0:
            print(f"{d['date']}: {d['over_hours']:g} h more than the day and the pump allow.")
        if d["over_flow_m3_h"] > 0:
            print(f"{d['date']}: {d['over_flow_m3_h']:.1f} m3/h more than the pump gives.")
    _cost(sums["cost"])
    print()
    for r in rows:
        words = [english.word(f"flag.{f}") for f in r.values["flags"]]
        told = f" [{'; '.join(words)}]" if words else ""
        work = sheet.field_note(run, r.block)
        more = f" {english.sentence(work)}" if work is not None else ""
        print(f"{r.values['block']}: {english.sentence(r.values['why'])}{more}{told}")


def _cost(made: Mapping[str, Any]) -> None:
    """Print what the week costs, where prices are set, in one line."""
    if made["total"] is None:
        return
    money = f" {made['currency']}" if made["currency"] else ""
    parts = []
    if made["energy_cost"] is not None:
        cheap = f", {100 * made['cheap_share']:.0f} % in cheap hours" if made["cheap_share"] else ""
        parts.append(f"energy {made['energy_cost']:.2f} ({made['energy_kwh']:.0f} kWh{cheap})")
    if made["labour_cost"] is not None:
        parts.append(f"people {made['labour_cost']:.2f}")
    each = f", {made['per_m3']:.3f} a m3" if made["per_m3"] is not None else ""
    print(f"Cost: {made['total']:.2f}{money} ({'; '.join(parts)}){each}.")


def _made(run: Season) -> None:
    for name, made in sheet.made_with(run)["stations"].items():
        if made["record_to"] is None:
            continue
        coming = made["coming_days"]
        parts = [f"{n} of the coming days {english.word(f'made.{c}')}" for c, n in coming.items()
                 if c in ("forecast", "stand_in")]  # fmt: skip
        rule = [english.word(f"rule.{r}") for r in made["coming_stand_in"] if parts]
        how = f" ({', '.join(rule)})" if rule else ""
        print(
            f"Record of {name} to {made['record_to']}; "
            f"{', '.join(parts) or 'no reference ET for the coming days'}{how}."
        )
        if made["filled_days"]:
            count = "1 day" if made["filled_days"] == 1 else f"{made['filled_days']} days"
            print(f"{count} of {name} filled from {', '.join(made['filled_from'])}.")
    for note in sheet.made_with(run)["notes"]:
        print(english.sentence(note))
    if run.given is not None:
        fields = {"number": run.given.number, "at": run.given.given_at}
        print(english.sentence(Note("week.given", fields)))


def _hours(item: Mapping[str, Any] | None) -> str:
    if item is None:
        return "."
    if item["hours"] is None:
        return f"{item['mm']:.0f}mm"
    return f"{item['hours']:g}" + (f"/{item['pulses']}" if item["pulses"] > 1 else "")


def _one(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _two(value: float | None) -> str:
    return "?" if value is None else f"{value:.2f}"


def _whole(value: float | None) -> str:
    return "" if value is None else f"{value:.0f}"


def _in_days(days: int) -> str:
    return ("today", "tomorrow")[days] if days < 2 else f"in {days} days"


def dry(found: Sequence[Mapping[str, Any]]) -> None:
    """Print the blocks short of water."""
    for row in found:
        past = row["dr_mm"] - row["allowed_mm"]
        stage = english.word(f"stage.{row['stage']}")
        if past > 0 and row["alarm"]:
            text = f"{past:.1f} mm past its limit since {row['first_dry_day']}"
        elif past > 0:
            text = f"{past:.1f} mm past its limit" + (", allowed" if row["on_purpose"] else "")
        elif row["days_as_planned"] is not None:
            text = f"will pass its limit on {row['first_dry_day']} as planned"
        else:
            text = f"passes its limit {_in_days(row['days_if_nothing_runs'])} if nothing runs"
        mark = "! " if row["alarm"] else "  "
        print(f"{mark}{row['block']} ({stage}): {text}")


def day_to_check(row: DayToCheck) -> dict[str, Any]:
    """Return one row of the days to check as JSON holds it."""
    return {
        "ids": list(row.ids), "station": row.station, "from": row.dates[0], "to": row.dates[-1],
        "what": row.what,
        "came": [{"id": d.id, "date": d.date, "quantity": d.quantity, "value": d.value,
                  "used": d.used} for d in row.came],
        "days": [
            {"date": date, "et0_sent_mm": sent, "et0_used_mm": used, "rain_used_mm": rain,
             "made_from": list(made), "stand_in": rule or None}
            for date, sent, used, rain, made, rule in zip(
                row.dates, row.et0_sent, row.et0_used, row.rain_used, row.made_from,
                row.stand_in_rule, strict=True)
        ],
        "filled_from": list(row.filled_from), "moves_mm": row.moves_mm, "by": row.by,
        "blocks": [{"block": name, "mm": mm} for name, mm in row.blocks],
    }  # fmt: skip


def days_to_check(rows: Sequence[DayToCheck], run: Season) -> None:
    """Print the days to check, and how far each would move the water of the morning looked at."""
    if not rows:
        print("Nothing to check: every day that came is used as it came.")
        return
    several = len(run.orchard.stations) > 1
    body = []
    for row in rows:
        first, last = row.dates[0], row.dates[-1]
        when = f"{first}" if first == last else f"{first} to {last}"
        came = ", ".join(f"{d.quantity} {d.value}" for d in row.came[:2] if d.value is not None)
        more = ", ..." if len(row.came) > 2 else ""
        worst, mm = row.blocks[0] if row.blocks else ("", 0.0)
        body.append([
            *([row.station] if several else []), row.ids[0] if row.ids else "", when,
            (came + more) or "nothing", english.word(f"weather.flag.{row.what}"), _stands_in(row),
            _each(row.et0_sent), _each(row.et0_used), f"{abs(mm):.1f}", worst,
            english.word(f"days.by.{row.by}"),
        ])  # fmt: skip
    head = [*(["station"] if several else []), "id", "day", "came", "why", "stands in", "ET0 sent",
            "used", "mm", "block", "if"]  # fmt: skip
    table(head, body)
    print(f"mm: by how much it would move what is missing in the morning of {run.on}.")


def _each(values: Sequence[float | None]) -> str:
    shown = ["-" if v is None else f"{v:.1f}" for v in values]
    return shown[0] if len(set(shown)) == 1 else " ".join(shown[:3]) + (" .." * (len(shown) > 3))


def _stands_in(row: DayToCheck) -> str:
    used = [f"{d.quantity} {d.used:g}" for d in row.came[:2] if d.used is not None]
    if used:
        return ", ".join(used)
    if row.what == "rain_gap" or (row.came and all(d.quantity == "rain_mm" for d in row.came)):
        rain = [v for v in row.rain_used if v is not None]
        return f"rain {rain[0]:g}" if rain else "rain counted 0"
    if row.filled_from:
        return f"filled from {', '.join(row.filled_from)}"
    rules = [r for r in row.stand_in_rule if r]
    if rules:
        return english.word(f"rule.{rules[0]}")
    return ", ".join(english.word(f"made.{c}") for c in row.made_from[0])


def origin_values(made: Origin) -> dict[str, Any]:
    """Return a number's origin as JSON holds it; the notes as sentences beside their codes."""
    return {
        "number": made.number, "value": made.value, "unit": made.unit,
        "certainty": made.certainty, "method": made.method,
        "published": asdict(made.published),
        "parts": [
            {"name": p.name, "label": english.word(f"origin.name.{p.name}"), "value": p.value,
             "unit": p.unit, "certainty": p.certainty, "known": p.told,
             "source": asdict(p.source) if p.source is not None else None,
             "number": p.number or None}
            for p in made.parts
        ],
        "days": [{"date": d.date, **d.values, "made_from": d.made_from} for d in made.days],
        "unsure": [{"code": n.code, "text": english.sentence(n)} for n in made.unsure],
    }  # fmt: skip


def origin(made: Origin) -> None:
    """Print a number's origin to read."""
    head = english.word(f"origin.name.{made.number}")
    print(f"{made.number} ({head}): {_figure(made.number, made.value, made.unit)}"
          f" [{english.word(f'origin.certainty.{made.certainty}')}]")  # fmt: skip
    print(f"  {english.sentence(made.method)}")
    lines = []
    for p in made.parts:
        how = english.word(f"origin.certainty.{p.certainty}")
        known = english.sentence(p.told) if p.told is not None else ""
        if p.number:
            how, known = "", f"see {p.number}" if p.number != made.number else ""
        elif known == how:
            known = ""
        if p.source is not None:
            known = f"{known}; {_by(p.source)}" if known else _by(p.source)
        name = english.word(f"origin.name.{p.name}")
        lines.append([name, _figure(p.name, p.value, p.unit), how, known])
    widths = [max((len(line[i]) for line in lines), default=0) for i in range(3)]
    for name, value, how, known in lines:
        text = f"    {name:<{widths[0]}}  {value:>{widths[1]}}  {how:<{widths[2]}}  {known}"
        print(text.rstrip())
    for d in made.days:
        words = ", ".join(english.word(f"made.{c}") for c in d.made_from)
        figures = "  ".join(f"{k} {v:.2f}" for k, v in d.values.items())
        print(f"    {d.date}  {figures}  {words}".rstrip())
    for note in made.unsure:
        print(f"  ! {english.sentence(note)}")
    print(f"  {_by(made.published)}")


def _figure(name: str, value: float | str | None, unit: str) -> str:
    if value is None:
        return "?"
    if isinstance(value, str):
        return english.word(f"stage.{value}") if name == "stage" else value
    exact = round(float(value), 6) + 0.0
    if unit == "ha":  # a tenth of a hectare would not give the cubic metres again
        return f"{exact:.3f}".rstrip("0").rstrip(".") + " ha"
    if name == "kc":
        return f"{exact:.2f}"
    return f"{english.number(exact)} {unit}".strip()


def _by(source: Source) -> str:
    where = f", {source.where}" if source.where else ""
    note = f": {source.note}" if source.note else ""
    return f"{source.source}{where} ({source.kind}){note}"
