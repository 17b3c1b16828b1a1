"""Where one number of the week's sentence comes from: its parts, the method, the source.

Every chain is read out of the same season the sentence is; a part that is itself a number of the
sentence opens its own chain.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from desktop.models.block_facts import WeekFacts, stage_source
from desktop.pages.block.sources import root_share
from desktop.wording import (
    day_named,
    day_short,
    fixed,
    hours,
    number,
    say,
    thousands,
    tr,
    weekday,
    word,
)
from waterbudget import tables
from waterbudget.season import BlockSeason, Season


@dataclass(frozen=True)
class Line:
    """One line of a chain: what, how much, and a key where it opens a chain of its own."""

    label: str
    value: str = ""
    key: str = ""
    strong: bool = False


@dataclass
class Chain:
    """How one number came about.

    Attributes
    ----------
    lines : list of Line
        Its parts; the last one is the number itself.
    method, source : str
        How it is worked out, and who says so.
    unsure : list of str
        What was estimated on the way.
    edit : tuple of str
        Sources whose settings may be changed right here.
    links : list of (words, key)
    """

    title: str
    lines: list[Line] = field(default_factory=list)
    method: str = ""
    source: str = ""
    unsure: list[str] = field(default_factory=list)
    edit: tuple[str, ...] = ()
    links: list[tuple[str, str]] = field(default_factory=list)


def chain(season: Season, block: BlockSeason, facts: WeekFacts, key: str) -> Chain | None:
    """Return the chain of a number; None for a key that is no number of the sentence."""
    makers: dict[str, Callable[[Season, BlockSeason, WeekFacts], Chain]] = {
        "stage": _stage, "takes": _takes, "missing": _missing, "held": _held, "rain": _rain,
        "lost": _lost, "net": _net, "gross": _gross, "m3": _m3, "hours": _hours, "sets": _sets,
        "limit": _limit,
    }  # fmt: skip
    maker = makers.get(key)
    return maker(season, block, facts) if maker is not None else None


def _mm(value: float) -> str:
    return tr("{0} mm").format(fixed(value))


def _stage(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    stage, cycle = season.stage(block), block.cycle(season.on)
    made = Chain(tr("The stage"), edit=())
    if cycle is None:
        made.lines = [Line(tr("never pruned"), word("stage.young"), strong=True)]
        return made
    pruned = cycle.cycle.pruned_on
    made.lines = [
        Line(tr("pruned"), day_named(pruned)),
        Line(tr("days since"), str((season.on - pruned).days)),
        Line(tr("stage since"), day_short(cycle.starts[stage]) if stage in cycle.starts else "–"),
        Line(tr("stage today"), word(f"stage.{stage}"), strong=True),
    ]
    if stage in cycle.seen:
        made.method = tr("You have seen it begin; that overrides the clock.")
    else:
        made.method = tr(
            "By heat since pruning: degree-days above 8.5 °C to bloom, above 9.1 °C from bloom to "
            "harvest, from each day's low and high at the block's own height."
        )
        made.unsure = [tr("No date has been seen for this stage: enter it and the clock follows.")]
    made.source = tr("Guava at Kaohsiung, Acta Horticulturae 1166, paper 22; cut points of the "
                     "stages: own estimate.")  # fmt: skip
    made.links = [(tr("Dates of the cycle"), "go:cycle")]
    return made


def _takes(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    i, k = season.on_index, block.column
    a, d = season.account, season.drivers
    made = Chain(tr("What the week takes"), edit=("use", "canopy"))
    for j, day in enumerate(season.week):
        et0, used = float(d.et0_mm[i + j, k]), float(a.etc_mm[i + j, k])
        kc = used / et0 if et0 > 0 else 0.0
        value = tr("{0} × {1} = {2}").format(fixed(et0), fixed(kc, 2), fixed(used))
        made.lines.append(Line(f"{weekday(day)} {day.day}", value))
    made.lines.append(Line(tr("the week, ET0 × Kc"), _mm(facts.takes_mm), strong=True))
    stage = season.stage(block)
    if block.block.kc_fixed is not None:
        made.method = tr("One fixed coefficient (Kc) {0}, as entered.").format(
            number(block.block.kc_fixed, 2)
        )
    else:
        made.method = tr(
            "What the air takes (ET0) times what the trees and the bare wet soil make of it: "
            "Kcb {0} now, plus the soil while it is wet; less where the trees slow down."
        ).format(fixed(float(d.kcb[i, k]), 2))
        made.source = _stage_row(season, block, stage, "kcb")
    made.unsure = _weather_unsure(season, block)
    made.links = [(tr("Weather"), "go:weather"), (tr("All days"), "go:days")]
    return made


def _stage_row(season: Season, block: BlockSeason, stage: str, what: str) -> str:
    given = stage_source(season, block, what, stage)
    if given == "block":
        return tr("Entered for this block.")
    if given == "farm":
        return tr("Entered for the whole farm.")
    row = next(r for r in tables.read("stages") if r["stage"] == stage)
    source = row["source"]
    if source.startswith("as above"):  # the table says it once, in its first row
        source = tables.read("stages")[0]["source"] + source.removeprefix("as above")
    return tr("Default of the stage ({0}): {1}; {2}.").format(
        _kind(row["kind"]), source, row["note"]
    )


def _kind(kind: str) -> str:
    return {
        "published": tr("published"), "common practice": tr("common practice"),
        "own estimate": tr("own estimate"),
    }.get(kind, kind)  # fmt: skip


def _weather_unsure(season: Season, block: BlockSeason) -> list[str]:
    days = season.stations.get(block.station or "")
    if days is None:
        return []
    i = season.on_index
    week = days.made_from[i : i + 7]
    found = []
    forecast = sum("forecast" in made for made in week)
    stood = [j for j, made in enumerate(week) if "stand_in" in made]
    if forecast:
        found.append(tr("{0} of 7 days by the forecast of {1}.").format(
            forecast, day_short(days.forecast_issued) if days.forecast_issued else "–"
        ))  # fmt: skip
    if stood:
        rules = Counter(days.stand_in_rule[i + j] for j in stood)
        rule = word(f"rule.{rules.most_common(1)[0][0]}")
        found.append(tr("{0} of 7 days have no forecast and are stood in: {1}.").format(
            len(stood), rule
        ))  # fmt: skip
    past = days.made_from[max(0, i - 30) : i]
    gaps = sum("stand_in" in made for made in past)
    if gaps:
        found.append(tr("{0} of the last 30 days have no weather and are stood in.").format(gaps))
    return found


def _missing(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("What is missing"), edit=("known_full", "sets"))
    taw = float(season.drivers.taw_mm[season.on_index, block.column])
    limit = float(season.limit_mm(block.column)[season.on_index])
    made.lines = [
        Line(tr("the roots can hold (TAW)"), _mm(taw), "held"),
        Line(tr("left this morning"), _mm(taw - facts.dr_start_mm)),
        Line(tr("missing this morning (Dr)"), _mm(facts.dr_start_mm)),
        Line(tr("easy water (RAW)"), _mm(limit), "limit"),
        Line(tr("left missing when the week ends"), _mm(facts.dr_end_mm)),
        Line(tr("made good this week"), _mm(facts.missing_mm), strong=True),
    ]
    made.method = tr(
        "The account of every day since the record begins: rain and waterings in, use and "
        "drainage out. The week ends where even waterings can repeat next week without drainage."
    )
    if block.plan.target_dr_mm and block.block.target_dr_mm is not None:
        made.method = tr("The week is to end with {0} mm missing, as entered.").format(
            number(block.block.target_dr_mm)
        )
    if block.start is not None:
        made.unsure.append(tr("Where the account starts: {0}.").format(say(block.start)))
    open_sets = [s for s in block.past if s.state == "not_confirmed"][-3:]
    if open_sets:
        days = ", ".join(day_short(s.date) for s in open_sets)
        made.unsure.append(tr("Counted as run though nobody confirmed it: {0}.").format(days))
        made.links.append((tr("Enter what ran"), "go:ran"))
    made.source = tr("Daily balance of FAO Irrigation and Drainage Paper 56, chapters 7 and 8.")
    made.links.append((tr("All days"), "go:days"))
    return made


def _held(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    soil, i = block.soil, season.on_index
    depth, share = float(block.numbers.root_depth_m[i]), root_share(season, block)
    taw = float(season.drivers.taw_mm[i, block.column])
    made = Chain(tr("What the roots can hold (TAW)"), edit=("soil", "roots"))
    made.lines = [
        Line(
            tr("field capacity"), tr("{0} mm a metre").format(number(soil.field_capacity * 1000, 0))
        ),
        Line(
            tr("wilting point"), tr("{0} mm a metre").format(number(soil.wilting_point * 1000, 0))
        ),
        Line(tr("without stones"), tr("× {0}").format(fixed(1 - soil.stones, 2))),
        Line(tr("root depth"), tr("× {0} m").format(number(depth, 2))),
        Line(tr("share of the soil with roots"), tr("× {0}").format(number(share, 2))),
        Line(tr("the roots can hold"), _mm(taw), strong=True),
    ]
    made.method = tr("(Field capacity − wilting point) × the rest. A millimetre is a litre on "
                     "each square metre of the whole block.")  # fmt: skip
    row = next(r for r in tables.read("soils") if r["soil"] == soil.name)
    if soil.given != "measured":
        made.source = tr("{0}, {1} ({2}).").format(row["source"], row["where"], _kind(row["kind"]))
    if soil.given == "default":
        made.unsure.append(tr("No soil is given: loam stands in."))
    if block.block.root_depth_m is None:
        made.unsure.append(tr("The root depth is a default: dig and measure."))
    return made


def _limit(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    i, k = season.on_index, block.column
    d, stage = season.drivers, season.stage(block)
    taw, allowed = float(d.taw_mm[i, k]), float(d.allowed_mm[i, k])
    limit = float(season.limit_mm(k)[i])
    made = Chain(tr("Easy water (RAW)"), edit=("use",))
    made.lines = [
        Line(tr("the roots can hold (TAW)"), _mm(taw), "held"),
        Line(tr("share that may be used, {0}").format(word(f"stage.{stage}")),
             tr("× {0}").format(number(allowed / taw if taw else 0.0, 2))),
        Line(tr("easy water"), _mm(limit), strong=True),
    ]  # fmt: skip
    made.method = tr("Judged in the morning before the day's water. Never taken below what one "
                     "day uses.")  # fmt: skip
    made.source = _stage_row(season, block, stage, "allowed")
    return made


def _rain(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    days = season.stations.get(block.station or "")
    i, k = season.on_index, block.column
    made = Chain(tr("Rain counted on"), edit=("rain",))
    if days is not None:
        for j, day in enumerate(season.week):
            mm = float(days.rain_mm[i + j])
            if np.isfinite(mm) and mm >= 0.05:
                counted = float(season.drivers.rain_mm[i + j, k])
                value = tr("{0} forecast, {1} counted").format(fixed(mm), fixed(counted))
                made.lines.append(Line(f"{weekday(day)} {day.day}", value))
    made.lines.append(Line(tr("counted this week"), _mm(facts.rain_mm), strong=True))
    credit = season.orchard.forecast_rain_credit
    made.method = tr(
        "Of forecast rain {0} % is counted, as the farm is set; rain that falls is counted when "
        "it is in the record or typed."
    ).format(number(credit * 100, 0))
    if days is not None and days.forecast_issued is not None:
        made.source = tr("Forecast of {0}, {1}.").format(day_named(days.forecast_issued), days.name)
    else:
        made.unsure.append(tr("There is no forecast."))
    made.links = [(tr("Change the share"), "go:farm"), (tr("Weather"), "go:weather")]
    return made


def _lost(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    i, k = season.on_index, block.column
    a, d = season.account, season.drivers
    made = Chain(tr("What drains this week"))
    for j, day in enumerate(season.week):
        lost = float(a.drainage_mm[i + j, k] + d.runoff_mm[i + j, k])
        if lost >= 0.05:
            made.lines.append(Line(f"{weekday(day)} {day.day}", _mm(lost)))
    made.lines.append(Line(tr("the week"), _mm(facts.lost_mm), strong=True))
    made.method = tr("Water that finds no room among the roots, and what runs off the surface.")
    made.links = [(tr("All days"), "go:days")]
    return made


def _net(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("At the roots"))
    made.lines = [
        Line(tr("the week takes"), _mm(facts.takes_mm), "takes"),
        Line(tr("missing water made good"), _signed(facts.missing_mm), "missing"),
        Line(tr("rain counted"), _signed(-facts.rain_mm), "rain"),
        Line(tr("drains"), _signed(facts.lost_mm), "lost"),
        Line(tr("at the roots"), _mm(facts.net_mm), strong=True),
    ]
    made.method = tr("Read from one run of the daily account through the coming week. In the "
                     "sentence the missing water carries what rounding leaves over.")  # fmt: skip
    made.links = [(tr("All days"), "go:days")]
    return made


def _signed(value: float) -> str:
    sign = "+" if value >= -0.049 else "−"
    return f"{sign} {fixed(abs(value))}"


def _gross(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("At the meter"), edit=("efficiency",))
    made.lines = [
        Line(tr("at the roots"), _mm(facts.net_mm), "net"),
        Line(tr("share that reaches the roots"), tr("÷ {0}").format(number(block.efficiency, 2))),
        Line(tr("at the meter"), _mm(facts.gross_mm), strong=True),
    ]
    made.method = tr("One share for all losses; it is used once.")
    if block.block.efficiency is None:
        made.unsure.append(tr("The share is the default of the system, not measured."))
        row = next(
            r for r in tables.read("systems") if r["system"] == (block.block.system or "micro")
        )
        made.source = f"{row['source']} ({_kind(row['kind'])})."
    return made


def _m3(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("Cubic metres"), edit=("area",))
    outline = block.block.outline is not None
    made.lines = [
        Line(tr("at the meter"), _mm(facts.gross_mm), "gross"),
        Line(tr("hectares, flat on the map"), tr("× {0} ha").format(number(block.hectares, 3))),
        Line(tr("a millimetre on a hectare"), tr("× 10 m³")),
        Line(tr("in all"), tr("{0} m³").format(thousands(facts.m3)), strong=True),
    ]
    made.source = tr("Area of the outline on the globe.") if outline else tr("Hectares as typed.")
    if facts.litres_per_tree is not None:
        made.method = tr("That is {0} L for each of {1} trees.").format(
            thousands(facts.litres_per_tree), block.trees
        )
    return made


def _hours(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("Hours"), edit=("flow",))
    made.lines = [
        Line(tr("in all"), tr("{0} m³").format(thousands(facts.m3)), "m3"),
        Line(tr("flow of the valve"), tr("÷ {0} m³/h").format(number(block.flow.m3_h, 2))),
        Line(tr("hours"), tr("{0} h").format(fixed(facts.hours_exact, 2)), strong=True),
        Line(tr("in quarter hours, all waterings"), tr("{0} h").format(hours(facts.hours))),
    ]
    made.method = tr("The waterings are whole quarter hours that carry the rest forward.")
    made.source = tr("Flow from: {0}.").format(word(f"flow.{block.flow.source}"))
    if block.flow.source == "catalogue":
        made.unsure.append(tr("A catalogue flow is often 10 to 20 % off: fill a bucket."))
    made.unsure.append(tr("Hours are good to about 20 %; a spade 30 cm deep beats them."))
    return made


def _sets(season: Season, block: BlockSeason, facts: WeekFacts) -> Chain:
    made = Chain(tr("The waterings"), edit=("sets",))
    for item in facts.sets:
        what = tr("{0} mm at the roots").format(fixed(item.net_mm))
        if item.hours is not None:
            what = tr("{0} h, {1}").format(hours(item.hours), what)
        made.lines.append(Line(f"{weekday(item.date)} {item.date.day}", what))
    made.lines.append(Line(tr("together"), _mm(facts.net_mm), strong=True))
    made.method = tr(
        "Every set of days of the week was tried. Chosen: none past its easy water if it can be, "
        "no watering longer than soil and outlets allow, nothing drained, then the fewest walks "
        "and the steadiest gaps, under the pump."
    )
    if not all(block.limits.may_water):
        off = [d for d, may in zip(season.week, block.limits.may_water, strict=True) if not may]
        made.unsure.append(tr("No watering on {0}.").format(", ".join(weekday(d) for d in off)))
    if block.plan.too_long_h > 0:
        made.unsure.append(tr("{0} h longer than {1} h, the longest one watering may be.").format(
            hours(block.plan.too_long_h), hours(block.limits.hours_max)
        ))  # fmt: skip
    if block.plan.past_limit_mm > 0:
        made.unsure.append(tr("Some mornings lie past the easy water all the same."))
    made.links = [(tr("Move or fix a watering on the week"), "go:home")]
    return made
