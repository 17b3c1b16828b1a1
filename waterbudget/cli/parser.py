"""Words on the command line -> options."""

from __future__ import annotations

import argparse
import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from waterbudget import __version__, english
from waterbudget.cli import ahead, commands, follow, land, papers, soil, source, trees, work
from waterbudget.errors import Note, Refused
from waterbudget.orchard import read_date, read_number

_MODULES = (commands, soil, source, follow, ahead, work, land, trees)
"""Where the commands live; the later ones bring their own options too."""

_NAMES = ("--block", "--station", "--gauge", "--name", "--name-column", "--layer", "--sensor")


class Usage(Exception):
    """A call that cannot be understood, in one sentence."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """Raise instead of printing usage and leaving."""
        plain = message[:1].upper() + message[1:].rstrip(".")
        raise Usage(f"{english.one_line(plain)}; see: {self.prog} --help.")


def parse(words: Sequence[str]) -> argparse.Namespace | None:
    """Return the options of a call; None where only help or the version was asked for."""
    parser = _build()
    try:
        options = parser.parse_args(_joined(words))
    except SystemExit:
        return None
    except Refused as fault:
        raise Usage(english.sentence(fault)) from None
    if getattr(options, "run", None) is None:
        parser.print_help()
        return None
    return options


def _joined(words: Sequence[str]) -> list[str]:
    """Join ``--at -19.9,32.7`` and ``--block -x`` so that neither is taken for an option."""
    result: list[str] = []
    for word in words:
        last = result[-1] if result else ""
        number = re.fullmatch(r"--[a-z0-9-]+", last) and re.match(r"-[\d.]", word)
        if number or (last in _NAMES and re.match(r"-(?!-)", word)):
            result[-1] = f"{last}={word}"
        else:
            result.append(word)
    return _options_first(result)


def _options_first(words: list[str]) -> list[str]:
    """Put options before NAME and KEY=VALUE words, so that they may stand in any order."""
    if not words or words[0] not in ("block", "farm", "source"):
        return words
    options: list[str] = []
    others: list[str] = []
    rest = iter(words[1:])
    for word in rest:
        if word == "--":
            others += rest
        elif word == "--file":
            options += [word, next(rest, "")]
        elif word.startswith("--") or word == "-h":
            options.append(word)
        else:
            others.append(word)
    return [words[0], *options, "--", *others]


def _day(text: str) -> dt.date:
    try:
        return read_date(text)
    except Refused as fault:
        raise argparse.ArgumentTypeError(english.sentence(fault).rstrip(".")) from None


def _place(text: str) -> tuple[float, float]:
    parts = text.split(",")
    try:
        lat, lon = (read_number(p) for p in parts)
    except ValueError:
        note = Note.of("farm.position_form", text=text)
        raise argparse.ArgumentTypeError(english.sentence(note).rstrip(".")) from None
    return lat, lon


def _number(text: str) -> float:
    try:
        return read_number(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is not a number") from None


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        note = Note.of("key.not_a_pair", text=text)
        raise argparse.ArgumentTypeError(english.sentence(note).rstrip("."))
    return key.strip(), value


def _build() -> _Parser:
    parser = _Parser(
        prog="waterbudget", description="Even irrigation, block by block.", allow_abbrev=False
    )
    parser.add_argument("--version", action="version", version=__version__)
    sub = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=_Parser)

    def command(name: str, text: str, farm: str = "the farm file") -> Any:
        made = sub.add_parser(name, help=text, description=text, allow_abbrev=False)
        made.add_argument("farm", type=Path, metavar="FARM", help=farm)
        made.set_defaults(run=next(found for m in _MODULES if (found := getattr(m, name, None))))
        return made

    _farm_commands(command)
    _input_commands(command)
    _answer_commands(command)
    _soil_commands(command)
    for module in (source, follow, ahead, work, land, trees):
        module.options(command, Kinds)
    return parser


class Kinds:
    """How words of the command line are read; given to the modules that bring own options."""

    day = staticmethod(_day)
    place = staticmethod(_place)
    number = staticmethod(_number)
    pair = staticmethod(_pair)

    @staticmethod
    def json(parser: Any, csv: bool = False) -> Any:
        """Let the command answer as JSON (or CSV)."""
        return _json(parser, csv)


def _json(parser: Any, csv: bool = False) -> Any:
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--json", action="store_true", help="answer as JSON")
    if csv:
        group.add_argument("--csv", action="store_true", help="answer as CSV")
    return group


def _span(parser: Any) -> None:
    parser.add_argument("--from", dest="start", type=_day, metavar="D", help="first day")
    parser.add_argument("--to", dest="end", type=_day, metavar="D", help="last day")


def _answers(parser: Any) -> None:
    parser.add_argument("--answer", action="append", type=_pair, default=[], metavar="KEY=VALUE",
                        help="answer a question an earlier call asked")  # fmt: skip


def _farm_commands(command: Any) -> None:
    demo = command("demo", "write the demo estate (invented)", "the file to write")
    demo.add_argument("--replace", action="store_true", help="write over a file that is there")
    new = command("new", "begin a farm", "the file to write")
    new.add_argument("--name", required=True)
    new.add_argument("--at", required=True, type=_place, metavar="LAT,LON")
    new.add_argument("--elevation", type=_number, metavar="M")
    farm = command("farm", "show or set what holds for the whole farm")
    farm.add_argument("pairs", nargs="*", type=_pair, metavar="KEY=VALUE")
    _json(farm)
    check = command("check", "is the file whole, do the numbers close")
    _json(check)


def _input_commands(command: Any) -> None:
    outlines = command("outlines", "import block outlines")
    outlines.add_argument("file", type=Path, metavar="FILE")
    outlines.add_argument("--layer", metavar="L")
    outlines.add_argument("--name-column", metavar="C")
    outlines.add_argument("--crs", metavar="EPSG:n")
    outlines.add_argument(
        "--look", action="store_true", help="tell what would come in and be repaired, store nothing"
    )
    _answers(outlines)
    _json(outlines)
    block = command("block", "show, begin or set a block")
    block.add_argument("name", nargs="?", metavar="NAME")
    block.add_argument("pairs", nargs="*", type=_pair, metavar="KEY=VALUE")
    block.add_argument("--new", action="store_true", help="begin a block")
    block.add_argument("--file", type=Path, metavar="blocks.csv")
    _json(block)
    weather = command("weather", "import a station file or a forecast")
    weather.add_argument("file", type=Path, metavar="FILE")
    weather.add_argument("--station", metavar="NAME")
    weather.add_argument("--at", type=_place, metavar="LAT,LON")
    weather.add_argument("--elevation", type=_number, metavar="M")
    weather.add_argument("--wind-height", type=_number, metavar="M")
    weather.add_argument("--forecast", action="store_true", help="coming days")
    _answers(weather)
    _json(weather)
    rain = command("rain", "type the rain of a day")
    rain.add_argument("--on", type=_day, required=True, metavar="D")
    rain.add_argument("--mm", type=_number, required=True, metavar="V")
    rain.add_argument("--gauge", metavar="G")


def _soil_commands(command: Any) -> None:
    reading = command("reading", "enter a reading of the soil, or bring in a file of them")
    reading.add_argument("file", nargs="?", type=Path, metavar="readings.csv")
    reading.add_argument("--block", metavar="NAME")
    reading.add_argument("--on", type=_day, metavar="DATE")
    value = reading.add_mutually_exclusive_group()
    value.add_argument("--kpa", type=_number, metavar="V", help="of a tensiometer")
    value.add_argument(
        "--percent", type=_number, metavar="V", help="of a capacitance sensor's own span: 100 = "
        "full, 0 = where the trees slow down",
    )  # fmt: skip
    value.add_argument(
        "--missing-mm", type=_number, metavar="V", help="missing by spade, hand or oven"
    )
    reading.add_argument("--depth-cm", type=_number, metavar="N")
    reading.add_argument("--sensor", metavar="S", help="its name")
    reading.add_argument(
        "--before-water", action="store_true", help="taken before the water of that day"
    )
    reading.add_argument("--remove", action="store_true", help="take that day's readings away")
    readings = command("readings", "readings, which of them count, and what they speak for")
    readings.add_argument("--block", metavar="NAME")
    readings.add_argument("--on", type=_day, metavar="DATE", help="the morning looked at")
    readings.add_argument(
        "--accept", action="store_true", help="take the factor proposed for the block, from today"
    )
    readings.add_argument("--why", metavar="TEXT", help="the reason kept with it")
    _json(readings)
    cycle = command("cycle", "dates of the cycle a block is in: clock, range, day count, seen")
    cycle.add_argument("--block", required=True, metavar="NAME")
    cycle.add_argument("--on", type=_day, metavar="DATE", help="the morning looked at")
    _json(cycle)


def _answer_commands(command: Any) -> None:
    for name, text in (
        ("record", "the daily record as it is used"),
        ("et0", "reference ET and what each day was made from"),
    ):
        made = command(name, text)
        made.add_argument("--station", metavar="NAME")
        _span(made)
        _json(made, csv=True)
    days = command("days", "days to check, those that would move a block most first")
    days.add_argument("--station", metavar="NAME")
    days.add_argument("--on", type=_day, metavar="DATE", help="the morning looked at")
    act = days.add_mutually_exclusive_group()
    act.add_argument("--accept", type=int, action="append", metavar="ID",
                     help="what stands in for this finding is right")  # fmt: skip
    act.add_argument("--accept-others", action="store_true",
                     help="accept every finding that moves no block by 1 mm")  # fmt: skip
    act.add_argument("--correct", nargs=2, metavar=("DATE", "QUANTITY=VALUE"),
                     help="put the right figure in; VALUE unknown or came")  # fmt: skip
    days.add_argument("--why", metavar="TEXT", help="of a correction")
    _json(days)
    balance = command("balance", "the water account of a block, day by day")
    balance.add_argument("--block", required=True, metavar="NAME")
    balance.add_argument("--on", type=_day, metavar="DATE", help="the morning looked at")
    _span(balance)
    _json(balance, csv=True)
    week = command("week", "hours per block for the seven days from a morning")
    week.add_argument("--on", type=_day, metavar="DATE")
    week.add_argument("--hand-out", action="store_true", help="store the week as given")
    papers.options(week, _json(week, csv=True))
    why = command("why", "where every number of a block's week comes from")
    why.add_argument("--block", required=True, metavar="NAME")
    why.add_argument("--number", metavar="N", help="one of them: hours, net, taw, ...")
    why.add_argument("--on", type=_day, metavar="DATE")
    _json(why)
    dry = command("dry", "blocks short of water, fruit fill first")
    dry.add_argument("--on", type=_day, metavar="DATE")
    _json(dry)
