"""The water source: pumps, hours, rights, tank, prices."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from waterbudget import actions, english, season
from waterbudget.cli import output
from waterbudget.cli.commands import _now, _open, _pairs
from waterbudget.errors import Note, Refused
from waterbudget.orchard import PUMP_KEYS, Orchard, Pump
from waterbudget.records import FarmData
from waterbudget.season import Season
from waterbudget.season.source import valves_a_day


def options(command: Any, kinds: Any) -> None:
    """Add the commands of this module to the parser."""
    made = command("source", "show or set the water source: pumps, people, rights, tank, prices")
    made.add_argument("pump", nargs="?", metavar="PUMP", help="a further pump")
    made.add_argument("pairs", nargs="*", type=kinds.pair, metavar="KEY=VALUE")
    made.add_argument("--new", action="store_true", help="begin a further pump")
    made.add_argument("--remove", action="store_true", help="take a further pump off the farm")
    kinds.json(made)


def source(options: Namespace) -> int:
    """Show or set the water source, or one of its further pumps."""
    if options.pump is not None and "=" in options.pump:
        key, _, value = options.pump.partition("=")
        options.pairs.insert(0, (key.strip(), value))
        options.pump = None
    pairs = _pairs(options.pairs)
    if options.pump is None:
        if options.new or options.remove:
            raise Refused("source.work_needs_name")
        return _whole(options, pairs)
    if options.new and options.remove:
        raise Refused("source.new_and_remove")
    if options.remove:
        if pairs:
            raise Refused("source.remove_alone")
        with _open(options) as file:
            gone = actions.remove_pump(file, options.pump, now=_now())
            orchard = file.read().orchard
        if options.json:
            output.as_json(pump_values(orchard, gone))
        else:
            print(f"Pump {gone.name} taken off the farm.")
        return 0
    with _open(options, read_only=not (pairs or options.new)) as file:
        if pairs or options.new:
            pump = actions.set_pump(file, options.pump, pairs, new=options.new, now=_now())
        else:
            pump = actions.find_pump(file.read().orchard, options.pump)
        orchard = file.read().orchard
    values = pump_values(orchard, pump)
    if options.json:
        output.as_json(values)
    else:
        output.pairs(values)
        print(english.sentence(Note.of("source.caution_pump")))
    return 0


def pump_values(orchard: Orchard, pump: Pump) -> dict[str, Any]:
    """Return a pump's keys with their values, and the blocks it feeds."""
    return {
        "name": pump.name or None,
        **{name: getattr(pump, name) for name in PUMP_KEYS},
        "blocks": [b.name for b in orchard.blocks if orchard.pump_of(b).name == pump.name],
    }


def _whole(options: Namespace, pairs: dict[str, str]) -> int:
    with _open(options, read_only=not pairs) as file:
        if pairs:
            actions.set_source(file, pairs, now=_now())
        data = file.read()
    run = season.run(data, None if data.last_day() is not None else _now().date())
    values = source_values(data, run)
    if options.json:
        output.as_json(values)
    else:
        _print(values)
    return 0


def source_values(data: FarmData, run: Season) -> dict[str, Any]:
    """Return the whole water source, and what is used and left of the rights."""
    farm = data.orchard
    first, *further = farm.all_pumps()
    rights = run.source.used if run.source is not None else ()

    def of(*names: str) -> dict[str, Any]:
        return {name: getattr(farm, name) for name in names}

    return {
        "on": run.on,
        "first_pump": pump_values(farm, first),
        "pumps": [pump_values(farm, p) for p in further],
        "people": of("people", "people_hours", "minutes_a_valve", "work_from", "work_to",
                     "night_sets") | {"valves_a_day": valves_a_day(farm)},
        "rights": [
            {"kind": r.kind, "first": r.first, "last": r.last, "m3": r.m3, "used_m3": r.used_m3,
             "left_m3": r.left_m3}
            for r in rights
        ],
        "tank": of("tank_m3", "tank_fill_m3_h", "tank_now_m3") if farm.tank_m3 else None,
        "prices": of("price_kwh", "price_kwh_night", "night_from", "night_to", "wage_hour",
                     "currency"),
        "cautions": [english.sentence(note) for note in _cautions(farm)],
    }  # fmt: skip


def _cautions(farm: Orchard) -> list[Note]:
    found = [Note.of("source.caution_pump")]
    if farm.right_m3_week is not None or farm.right_m3_year is not None:
        found.append(Note.of("source.caution_right"))
    if farm.tank_m3 is not None:
        found.append(Note.of("source.caution_tank"))
    return found


def _print(values: dict[str, Any]) -> None:
    head = ["pump", "m3/h", "h a day", "from", "to", "head m", "efficiency", "out from", "out to",
            "blocks"]  # fmt: skip
    body = [
        [p["name"] or "(first)", _text(p["flow_m3_h"]), _text(p["hours"]), _text(p["runs_from"]),
         _text(p["runs_to"]), _text(p["head_m"]), _text(p["efficiency"]), _text(p["out_from"]),
         _text(p["out_to"]), len(p["blocks"])]
        for p in (values["first_pump"], *values["pumps"])
    ]  # fmt: skip
    output.table(head, body)
    for r in values["rights"]:
        print(f"Water right of {english.word('source.kind.' + r['kind'])}, {r['first']} to "
              f"{r['last']}: {r['m3']:.0f} m3, used {r['used_m3']:.0f}, "
              f"left {r['left_m3']:.0f}.")  # fmt: skip
    rest = values["people"] | (values["tank"] or {}) | values["prices"]
    output.pairs({k: _plain(v) for k, v in rest.items()})
    for caution in values["cautions"]:
        print(caution)


def _plain(value: Any) -> Any:
    return f"{value:%H:%M}" if hasattr(value, "minute") else value


def _text(value: Any) -> str:
    value = _plain(value)
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)
