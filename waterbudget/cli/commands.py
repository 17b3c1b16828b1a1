"""One function a command: open, call the action, print."""

from __future__ import annotations

import datetime as dt
import sys
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from waterbudget import actions, english, season, sheet
from waterbudget.cli import output, papers
from waterbudget.errors import Note, Refused
from waterbudget.orchard import (
    BLOCK_KEYS,
    FARM_KEYS,
    Block,
    Orchard,
    read_date,
    read_number,
    write_value,
)
from waterbudget.season import Season
from waterbudget.store import FarmFile


def _now() -> dt.datetime:
    """Read the clock: only the two outer doors, this one and the window, do."""
    return dt.datetime.now().replace(microsecond=0)


@contextmanager
def _open(options: Namespace, read_only: bool = False) -> Iterator[FarmFile]:
    _keep_the_farm(options)
    file = FarmFile.open(options.farm, read_only=read_only)
    try:
        yield file
    finally:
        file.close()


def _keep_the_farm(options: Namespace) -> None:
    """Refuse the farm file where another file is written or its heights are read."""
    for name, path in vars(options).items():
        if name in ("farm", "file") or not isinstance(path, Path):  # "file" is told by its reader
            continue
        try:
            same = path.samefile(options.farm)
        except OSError:
            continue
        if same:
            raise Refused("file.is_the_farm", file=str(path))


def _pairs(pairs: list[tuple[str, str]]) -> dict[str, str]:
    result: dict[str, str] = {}
    for key, value in pairs:
        if key in result:
            raise Refused("key.given_twice", key=key)
        result[key] = value
    return result


def _tell(notes: Any) -> None:
    for note in notes:
        print(english.sentence(note), file=sys.stderr)


def demo(options: Namespace) -> int:
    """Write the demo estate."""
    from waterbudget import demo as estate

    file = estate.build(options.farm, now=_now(), replace=options.replace)
    blocks = len(file.read().orchard.blocks)
    file.close()
    print(
        f"{options.farm}: the demo estate, {blocks} blocks; place, names and weather are invented."
    )
    return 0


def new(options: Namespace) -> int:
    """Begin a farm."""
    lat, lon = options.at
    file = actions.new_farm(
        options.farm, name=options.name, lat=lat, lon=lon, elevation_m=options.elevation,
        now=_now(),
    )  # fmt: skip
    zone = file.read().orchard.time_zone
    file.close()
    print(f"{options.farm}: begun, time zone {zone or 'not known'}.")
    return 0


def farm(options: Namespace) -> int:
    """Show or set what holds for the whole farm."""
    pairs = _pairs(options.pairs)
    with _open(options, read_only=not pairs) as file:
        orchard = actions.set_farm(file, pairs, now=_now()) if pairs else file.read().orchard
        data = file.read()
    values = farm_values(orchard)
    values["last_day"] = data.last_day()
    if options.json:
        output.as_json(values)
    else:
        output.pairs(values)
    return 0


def farm_values(orchard: Orchard) -> dict[str, Any]:
    """Return a farm's keys with their values."""
    result: dict[str, Any] = {"lat": orchard.lat, "lon": orchard.lon, "epsg": orchard.epsg}
    for name, key in FARM_KEYS.items():
        if key.place == "field":
            value = getattr(orchard, name)
            result[name] = list(value) if isinstance(value, tuple) else value
    result |= dict(orchard.stage_numbers)
    result["stations"] = [s.name for s in orchard.stations]
    result["gauges"] = list(orchard.gauges)
    result["blocks"] = [b.name for b in orchard.blocks]
    result["invented"] = orchard.invented
    return result


def block_values(block: Block) -> dict[str, Any]:
    """Return a block's keys with their values, cycles included."""
    result: dict[str, Any] = {"name": block.name, "outline": block.outline is not None}
    cycles = sorted(block.cycles, key=lambda c: c.pruned_on)
    for name, key in BLOCK_KEYS.items():
        if key.place == "field":
            result[name] = getattr(block, name)
    result["area_ha"] = block.hectares
    result["pruned_on"] = cycles[-1].pruned_on if cycles else None
    result["pruned_earlier"] = [c.pruned_on for c in cycles[:-1]]
    for seen in ("seen_bloom", "seen_set", "seen_fill", "seen_harvest", "harvest_end"):
        result[seen] = getattr(cycles[-1], seen) if cycles else None
    return result | dict(block.stage_numbers)


def outlines(options: Namespace) -> int:
    """Import block outlines."""
    with _open(options, read_only=options.look) as file:
        done = actions.import_outlines(
            file, options.file, layer=options.layer, name_column=options.name_column,
            crs=options.crs, answers=_pairs(options.answer), look=options.look, now=_now(),
        )  # fmt: skip
    if options.json:
        output.as_json({
            "blocks": [
                {"name": o.name, "area_ha": o.area_ha, "parts": o.parts, "holes": o.holes,
                 "repaired": [english.sentence(n) for n in o.notes]}
                for o in done.blocks
            ],
            "skipped": [{"name": s.name, "why": english.sentence(s.why)} for s in done.skipped],
            "notes": [english.sentence(n) for n in done.notes],
            "warnings": [english.sentence(n) for n in done.warnings],
        })  # fmt: skip
        return 0
    output.table(
        ["block", "ha", "parts", "holes"],
        [[o.name, f"{o.area_ha:.3f}", o.parts, o.holes] for o in done.blocks],
    )
    for o in done.blocks:
        for note in o.notes:
            print(f"{o.name}: {english.sentence(note)}", file=sys.stderr)
    for s in done.skipped:
        print(f"Left out {s.name}: {english.sentence(s.why)}", file=sys.stderr)
    _tell([*done.notes, *done.warnings])
    return 0


def block(options: Namespace) -> int:
    """Show, begin or set a block, or read blocks.csv."""
    if options.file is not None:
        if options.name or options.pairs or options.new:
            raise Refused("usage.block_file")
        with _open(options) as file:
            done = actions.import_blocks_csv(file, options.file, now=_now())
        if options.json:
            output.as_json([block_values(b) for b in done])
        else:
            print(f"{_count(len(done), 'block')} set: {', '.join(b.name for b in done)}.")
        return 0
    if options.name is None:
        return _list_blocks(options)
    if options.name.partition("=")[0].strip() in BLOCK_KEYS and "=" in options.name:
        raise Refused("usage.block_name")
    pairs = _pairs(options.pairs)
    notes: tuple[Note, ...] = ()
    with _open(options, read_only=not (pairs or options.new)) as file:
        if pairs or options.new:
            made, notes = actions.set_block(file, options.name, pairs, new=options.new, now=_now())
        else:
            made = file.read().orchard.block(options.name)
    if options.json:
        output.as_json(block_values(made))
    else:
        output.pairs(block_values(made))
    _tell(notes)
    return 0


def _list_blocks(options: Namespace) -> int:
    if options.new:
        raise Refused("block.no_name")
    with _open(options, read_only=True) as file:
        blocks = file.read().orchard.blocks
    if options.json:
        output.as_json([block_values(b) for b in blocks])
        return 0
    rows = [
        [b.name, f"{b.hectares:.2f}" if b.hectares else "?",
         write_value(BLOCK_KEYS["pruned_on"], max((c.pruned_on for c in b.cycles), default=None)),
         b.system or "", b.soil or ""]
        for b in blocks
    ]  # fmt: skip
    output.table(["block", "ha", "pruned on", "system", "soil"], rows)
    return 0


def weather(options: Namespace) -> int:
    """Import a station file or a forecast."""
    lat, lon = options.at if options.at else (None, None)
    with _open(options) as file:
        done = actions.import_weather(
            file, options.file, station=options.station, lat=lat, lon=lon,
            elevation_m=options.elevation, wind_height_m=options.wind_height,
            forecast=options.forecast, answers=_pairs(options.answer), now=_now(),
        )  # fmt: skip
    if options.json:
        output.as_json({
            "station": done.station, "days": done.days, "first": done.first, "last": done.last,
            "rain_mm": done.rain_mm, "gaps": [list(g) for g in done.gaps],
            "missing": {k: list(v) for k, v in done.missing.items() if v},
            "flags": [
                {"date": f.date, "what": f.what, "quantity": f.quantity, "value": f.value,
                 "used": f.used}
                for f in done.flags
            ],
            "notes": [english.sentence(n) for n in done.notes],
            "added": done.added, "unchanged": done.unchanged,
            "changed": [{"date": d, "done": what} for d, what in done.changed],
        })  # fmt: skip
        return 0
    what = {"keep": " (what was stored is kept)", "replace": " (replaced)"}
    changed = what.get(done.changed[0][1], "") if done.changed else ""
    print(f"{done.station}: {_count(done.days, 'day')}, {done.first} to {done.last}, rain "
          f"{done.rain_mm:.1f} mm; {done.added} added, {done.unchanged} as they were, "
          f"{len(done.changed)} changed{changed}.")  # fmt: skip
    for a, b in done.gaps:
        print(f"Nothing from {a} to {b}." if a != b else f"Nothing on {a}.")
    for quantity, days in done.missing.items():
        if days:
            first = f" (first {days[0]})" if len(days) > 1 else f" ({days[0]})"
            print(f"No {quantity} on {_count(len(days), 'day')}{first}.")
    for f in done.flags:
        used = "not used" if f.used is None else f"used {f.used:g}"
        print(f"{f.date}  {english.word('weather.flag.' + f.what)}: {f.quantity} {f.value}, {used}")
    _tell(done.notes)
    return 0


def _count(number: int, of: str) -> str:
    return f"{number} {of}" if number == 1 else f"{number} {of}s"


def rain(options: Namespace) -> int:
    """Type the rain of a day."""
    with _open(options) as file:
        notes = actions.type_rain(file, options.on, options.mm, gauge=options.gauge, now=_now())
    print(f"{options.on}: {options.mm:g} mm at gauge {options.gauge or 'farm'}.")
    _tell(notes)
    return 0


def _need_span(options: Namespace) -> None:
    if options.start is not None and options.end is not None and options.start > options.end:
        raise Refused("usage.span", first=options.start, last=options.end)


def record(options: Namespace) -> int:
    """Print the daily record as it is used."""
    _need_span(options)
    with _open(options, read_only=True) as file:
        data = file.read()
    station = data.orchard.station(options.station)
    rows = sheet.record_rows(data.records.get(station.name), options.start, options.end)
    return output.rows(rows, options)


def et0(options: Namespace) -> int:
    """Print reference ET and what each day was made from."""
    _need_span(options)
    with _open(options, read_only=True) as file:
        data = file.read()
    station = data.orchard.station(options.station)
    held = data.records.get(station.name)
    if held is None:
        return output.rows([], options)
    et = season.recorded_et0(data, station)
    return output.rows(sheet.et0_rows(et, held, options.start, options.end), options)


def days(options: Namespace) -> int:
    """List the days to check, accept findings or correct a day."""
    if options.why is not None and options.correct is None:
        raise Refused("usage.why_without_correct")
    writes = options.accept or options.accept_others or options.correct
    with _open(options, read_only=not writes) as file:
        if options.accept:
            actions.accept_flags(file, options.accept, now=_now())
        elif options.accept_others:
            ids = actions.accept_others(file, on=options.on, station=options.station, now=_now())
            print(f"{_count(len(ids), 'finding')} accepted.", file=sys.stderr)
        elif options.correct:
            _correct(file, options)
        run = season.run(file.read(), options.on)
        found = actions.days_to_check(file, station=options.station, run=run)
    if options.json:
        output.as_json([output.day_to_check(row) for row in found])
    else:
        output.days_to_check(found, run)
    return 0


def _correct(file: FarmFile, options: Namespace) -> None:
    """Put a figure in, set it unknown, or go back to the one that came."""
    text, pair = options.correct
    quantity, equals, figure = (part.strip() for part in pair.partition("="))
    if not equals or not quantity or not figure:
        raise Refused("key.not_a_pair", text=pair)
    date = read_date(text)
    if figure == "came":
        actions.drop_correction(file, options.station, date, quantity, now=_now())
        return
    try:
        value = None if figure == "unknown" else read_number(figure)
    except ValueError:
        raise Refused("key.bad_number", key=quantity, value=figure) from None
    if options.why is None:
        raise Refused("usage.why_needed")
    actions.correct_day(file, options.station, date, quantity, value, options.why, now=_now())


def balance(options: Namespace) -> int:
    """Print the water account of a block, day by day."""
    _need_span(options)
    with _open(options, read_only=True) as file:
        data = file.read()
    data.orchard.block(options.block)
    run = season.run(data, options.on, since=options.start)
    rows = sheet.balance_rows(run, run.block(options.block), options.start, options.end)
    return output.rows(rows, options)


def week(options: Namespace) -> int:
    """Print (and hand out) the week."""
    goes_out = papers.asked(options)
    with _open(options, read_only=not options.hand_out) as file:
        data = file.read()
        run = season.run(data, papers.morning(data, options))
        given = None
        if options.hand_out:
            if options.person is not None:
                sheet.valve_sheets(run, person=options.person)
            given = actions.hand_out(file, run, now=_now())
            run = season.run(file.read(), run.on)
    if goes_out:
        papers.write(run, given or papers.handed_out(run, options), options, _now())
    elif options.json:
        answer = sheet.week(run)
        if given is not None:
            answer["given"] = {"number": given.number, "given_at": given.given_at}
        output.as_json(answer)
    elif options.csv:
        output.week_csv(run)
    else:
        output.week(run)
    if given is not None and not options.json:
        print(f"Handed out as number {given.number} on {english.written(given.given_at)}.",
              file=sys.stderr)  # fmt: skip
    return 0


def why(options: Namespace) -> int:
    """Print where the numbers of a block's week come from."""
    from waterbudget import origin

    with _open(options, read_only=True) as file:
        data = file.read()
    data.orchard.block(options.block)
    run = season.run(data, options.on)
    own = run.block(options.block)
    if options.number is None:
        found = origin.origins(run, own)
    else:
        found = (origin.origin(run, own, options.number),)
    if options.json:
        chains = [output.origin_values(o) for o in found]
        output.as_json(chains if options.number is None else chains[0])
    else:
        for i, made in enumerate(found):
            if i:
                print()
            output.origin(made)
    return 0


def dry(options: Namespace) -> int:
    """Print blocks short of water, fruit fill first."""
    with _open(options, read_only=True) as file:
        run: Season = season.run(file.read(), options.on)
    rows = sheet.dry(run)
    if options.json:
        output.as_json(rows)
        return 0
    unknown = [b.block.name for b in run.blocks if b.dryness is None]
    if unknown:
        print(english.sentence(Note.of("dry.unknown", blocks=unknown)))
    elif not rows:
        print("No block is short of water, and none will be within the week.")
    output.dry(rows)
    return 0


def check(options: Namespace) -> int:
    """Say whether the file is whole and the numbers close."""
    with _open(options, read_only=True) as file:
        found = actions.check(file)
    if options.json:
        output.as_json({"whole": not found, "found": [english.sentence(n) for n in found]})
        return 2 if found else 0
    for note in found:
        print(english.sentence(note), file=sys.stderr)
    if not found:
        print(english.sentence(Note.of("check.whole")))
    return 2 if found else 0
