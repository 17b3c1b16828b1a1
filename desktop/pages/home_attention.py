"""The sentences above map and week: what needs the grower, worst first, each with one way on."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from desktop.models.standing import Look
from desktop.models.week import BACK, WeekTable
from desktop.wording import day_named, hours, number, thousands, tr, word

if TYPE_CHECKING:
    from waterbudget.errors import Note
    from waterbudget.records import FarmData
    from waterbudget.season import BlockSeason, Season

SHOWN = 3
RECENT_DAYS = 7
TELL_DRAINED_MM = 5.0  # less than a light rain is not worth the grower's eye: own estimate


@dataclass(frozen=True)
class Attention:
    """One thing that needs the grower.

    Attributes
    ----------
    rank : tuple of int
        Worst first.
    action, page, what
        The words of its link, and where that leads.
    mark : Look or str
        The swatch beside it: a class of the map, ``missing``, ``other`` or empty.
    """

    rank: tuple[int, int]
    sentence: str
    action: str
    page: str
    what: dict[str, Any] = field(default_factory=dict)
    mark: Look | str = ""


def attention(season: Season, data: FarmData, table: WeekTable) -> list[Attention]:
    """Return everything that needs the grower this morning, worst first."""
    found = [
        *_dry(season, "fill", 0),
        *_dry_if_not_run(season),
        *_dry_soon(season),
        *_record(season, data),
        *_pump(table),
        *_shared(season),
        *_source(season),
        *_needs(table),
        *_dry(season, "bloom", 7),
        *_dry(season, "set", 8),
        *_flow(season),
        *_changed(table),
        *_unconfirmed(season),
        *_rain_unknown(table),
        *_wet(season),
    ]
    return sorted(found, key=lambda a: a.rank)


def names(blocks: Sequence[BlockSeason], most: int = 3) -> str:
    """Return block names in a row: "Kiln, Tank and 2 more"."""
    words = [b.block.name for b in blocks]
    if len(words) > most:
        return tr("{0} and {1} more").format(", ".join(words[:most]), len(words) - most)
    if len(words) == 1:
        return words[0]
    return tr("{0} and {1}").format(", ".join(words[:-1]), words[-1])


def _see(blocks: Sequence[BlockSeason]) -> tuple[str, dict[str, Any]]:
    first = blocks[0].block
    if len(blocks) == 1:
        return tr("See the block"), {"block": first.id}
    return tr("See {0}").format(first.name), {"block": first.id}


def _dry(season: Season, stage: str, rank: int) -> list[Attention]:
    dry = [
        b for b in season.blocks
        if season.stage(b) == stage and b.dryness and b.dryness.dry and not b.dryness.allowed_dry
    ]  # fmt: skip
    if not dry:
        return []
    action, what = _see(dry)
    stage_name = word(f"stage.{stage}")
    if len(dry) == 1:
        since = dry[0].dryness.first_dry_day if dry[0].dryness else None
        when = (
            tr("this morning") if since is None or since >= season.on
            else tr("since {0}").format(day_named(since))
        )  # fmt: skip
        sentence = tr("{0}, {1}: past its easy water {2}.").format(
            dry[0].block.name, stage_name, when
        )  # fmt: skip
    else:
        sentence = tr("{0} blocks in {1} are past their easy water: {2}.").format(
            len(dry), stage_name, names(dry)
        )  # fmt: skip
    return [Attention((rank, -len(dry)), sentence, action, "block", what, Look.PAST)]


def _dry_if_not_run(season: Season) -> list[Attention]:
    """Fruit fill that is only safe if waterings nobody confirmed did run."""
    doubtful = []
    for b in season.blocks:
        if b.dr_if_not_run_mm is None or season.stage(b) != "fill" or b.dryness is None:
            continue
        limit = float(season.limit_mm(b.column)[season.on_index])
        if not b.dryness.dry and b.dr_if_not_run_mm > limit:
            doubtful.append(b)
    if not doubtful:
        return []
    if len(doubtful) == 1:
        sentence = tr("{0}, fruit fill, is past its easy water if what is not confirmed did "
                      "not run.").format(doubtful[0].block.name)  # fmt: skip
    else:
        sentence = tr("{0} are past their easy water if what is not confirmed did not "
                      "run.").format(names(doubtful))  # fmt: skip
    what = {"date": _first_unconfirmed(season, doubtful)}
    return [Attention((1, -len(doubtful)), sentence, tr("Enter what ran"), "ran", what)]


def _dry_soon(season: Season) -> list[Attention]:
    soon = [b for b in season.blocks if b.dryness and b.dryness.alarm and not b.dryness.dry]
    if not soon:
        return []
    soon.sort(key=lambda b: b.dryness.days_as_planned or 0 if b.dryness else 0)
    action, what = _see(soon)
    first = soon[0].dryness
    days = first.days_as_planned if first is not None and first.days_as_planned is not None else 0
    when = day_named(season.on + dt.timedelta(days=days))
    if len(soon) == 1:
        sentence = tr("{0}, fruit fill: as planned it is past its easy water on {1}.").format(
            soon[0].block.name, when
        )  # fmt: skip
    else:
        sentence = tr("As planned {0} are past their easy water in fruit fill, the first on "
                      "{1}.").format(names(soon), when)  # fmt: skip
    return [Attention((2, -len(soon)), sentence, action, "block", what, Look.PAST)]


def _record(season: Season, data: FarmData) -> list[Attention]:
    last = data.last_day()
    yesterday = season.on - dt.timedelta(days=1)
    if last is None:
        sentence = tr("No weather yet: the week needs a record, or rain and low and high typed.")
        return [Attention((3, 0), sentence, tr("Add records"), "weather", {}, "missing")]
    late = (yesterday - last).days
    if late <= 0:
        return _gaps(season)
    rank = 4 if late > 2 else 9
    if late == 1:
        sentence = tr("The record ends {0}: {1} stands in.").format(
            day_named(last), day_named(yesterday)
        )  # fmt: skip
    else:
        sentence = tr("The record ends {0}: {1} days since stand in.").format(
            day_named(last), late
        )  # fmt: skip
    return [Attention((rank, -late), sentence, tr("Add records"), "weather", {}, "missing")]


def _gaps(season: Season) -> list[Attention]:
    """Days of the last week that no station measured though later ones are there."""
    days = set()
    for station in season.stations.values():
        for back in range(1, RECENT_DAYS + 1):
            i = season.on_index - back
            if i >= 0 and "stand_in" in station.made_from[i]:
                days.add(season.on - dt.timedelta(days=back))
    if not days:
        return []
    said = ", ".join(day_named(d) for d in sorted(days)[:3])
    sentence = tr("The record has a gap: {0} stands in.").format(said)
    return [Attention((9, -len(days)), sentence, tr("See the record"), "weather", {}, "missing")]


def _pump(table: WeekTable) -> list[Attention]:
    over = [f for f in table.foot[BACK:] if f.over_hours > 0]
    if not over:
        return []
    worst = max(over, key=lambda f: f.over_hours)
    when, much = day_named(worst.date), hours(worst.over_hours)
    if len(over) == 1:
        sentence = tr(
            "{0} asks {1} h more than the pump's day holds: move or shorten a watering."
        ).format(when, much)
    else:
        sentence = tr(
            "{0} days ask more than the pump's day holds, {1} most: {2} h too many."
        ).format(len(over), when, much)
    what = {"show_day": worst.date}
    return [Attention((5, -len(over)), sentence, tr("See the day"), "home", what)]


def _shared(season: Season) -> list[Attention]:
    """The source cannot carry the week: who gives most, and what the plan could not save."""
    shared = season.shared
    if shared is None:
        return []
    gave = [g for g in shared.gave if g.given_up_mm > 0]
    short = [b for b in shared.breaks if not b.pinned]
    if not gave:
        return []
    most, dry = gave[0], sum(max(0, g.dry_days - g.dry_days_free) for g in gave)
    if len(gave) == 1:
        sentence = tr("{0} gives {1} m³ to the others this week.").format(
            most.block, thousands(most.given_up_m3)
        )  # fmt: skip
    else:
        sentence = tr("{0} blocks give {1} m³ to the others this week, {2} most.").format(
            len(gave), thousands(sum(g.given_up_m3 for g in gave)), most.block
        )  # fmt: skip
    if dry:
        sentence += " " + tr("It costs mornings past the limit: {0}.").format(dry)
    if short:
        sentence += " " + tr("Not every stage keeps its least share.")
    what = {"block": next(b.block.id for b in season.blocks if b.block.name == most.block)}
    rank = 3 if short else 8
    return [Attention((rank, -len(gave)), sentence, tr("See {0}").format(most.block), "block", what,
                      "other")]  # fmt: skip


def _needs(table: WeekTable) -> list[Attention]:
    waiting = [row for row in table.rows if row.hours is None]
    action, what = tr("What the week still needs"), {"needs": True}
    if not table.rows:
        sentence = tr("No blocks yet: bring in a walk, or type names and hectares.")
        return [Attention((0, 0), sentence, action, "home", what, "missing")]
    if not waiting:
        return _no_pruning(table)
    missing = {code for row in waiting for code in row.missing}
    if missing == {"flow"} or missing == {"flow", "soil"}:
        said = tr("its flow is missing") if len(waiting) == 1 else tr("their flow is missing")
    else:
        said = tr("something is missing")
    if len(waiting) == 1:
        sentence = tr("{0} has no hours yet: {1}.").format(waiting[0].name, said)
    else:
        sentence = tr("{0} blocks have no hours yet: {1}.").format(len(waiting), said)
    return [Attention((6, -len(waiting)), sentence, action, "home", what, "missing")]


def _no_pruning(table: WeekTable) -> list[Attention]:
    waiting = [row for row in table.rows if "pruned_on" in row.missing]
    if not waiting:
        return []
    if len(waiting) == 1:
        sentence = tr("{0} has no pruning date: its hours are those of young trees.").format(
            waiting[0].name
        )  # fmt: skip
    else:
        sentence = tr("{0} blocks have no pruning date: their hours are those of young "
                      "trees.").format(len(waiting))  # fmt: skip
    what = {"needs": True}
    return [Attention((6, -len(waiting)), sentence, tr("What the week still needs"), "home", what,
                      "missing")]  # fmt: skip


def _open_sets(season: Season, blocks: Sequence[BlockSeason]) -> list[dt.date]:
    edge = season.on - dt.timedelta(days=RECENT_DAYS)
    return [
        s.date for b in blocks for s in b.past if s.state == "not_confirmed" and s.date >= edge
    ]  # fmt: skip


def _first_unconfirmed(season: Season, blocks: Sequence[BlockSeason]) -> dt.date:
    return min(_open_sets(season, blocks), default=season.on - dt.timedelta(days=1))


def _unconfirmed(season: Season) -> list[Attention]:
    dates = _open_sets(season, season.blocks)
    if not dates:
        return []
    if len(dates) == 1:
        sentence = tr("The watering of {0} is not confirmed.").format(day_named(dates[0]))
    else:
        sentence = tr("{0} waterings since {1} are not confirmed.").format(
            len(dates), day_named(min(dates))
        )  # fmt: skip
    what = {"date": min(dates)}
    return [Attention((10, -len(dates)), sentence, tr("Enter what ran"), "ran", what, "open")]


def _rain_unknown(table: WeekTable) -> list[Attention]:
    days = [h.date for h in table.head[:BACK] if h.rain_from == "unknown"]
    known = any(h.et0_from == "record" for h in table.head[:BACK])
    if not days or not known:
        return []
    sentence = tr("The rain of {0} is not known and counts as 0.").format(
        ", ".join(day_named(d) for d in days)
    )  # fmt: skip
    what = {"type_rain": days[-1]}
    return [Attention((11, -len(days)), sentence, tr("Type it"), "home", what, "missing")]


def _pump_out(note: Note, on: dt.date) -> str:
    """Say that a pump stands still, in no more words than a card holds."""
    first, last, blocks = (note.fields[f] for f in ("first", "last", "blocks"))
    name = note.fields.get("pump")
    pump = tr("Pump {0}").format(name) if name else tr("The first pump")
    if note.code.endswith("_open"):
        words = tr("{0} is out of order until further notice; these wait: {1}.")
        return words.format(pump, blocks)
    if first > on:
        words = tr("{0} is out of order {1} to {2}; these wait: {3}.")
        return words.format(pump, day_named(first), day_named(last), blocks)
    return tr("{0} is out of order until {1}; these wait: {2}.").format(
        pump, day_named(last), blocks
    )  # fmt: skip


def _source(season: Season) -> list[Attention]:
    """Pumps that stand still, and water the right does not leave."""
    from waterbudget.season.source import week_notes  # the season is there, so it is loaded

    found = [
        Attention((2, 0), _pump_out(note, season.on), tr("See the pumps"), "farm",
                  {"field": "pump_out_from"})
        for note in season.notes if note.code.startswith(("source.out", "source.first_out"))
    ]  # fmt: skip
    for note in week_notes(season):
        if note.code in ("source.over_week", "source.over_year"):
            kind = note.code.removeprefix("source.over_")
            sentence = tr("The week asks for {0} m³ more than the water right leaves.").format(
                note.fields["more"]
            )  # fmt: skip
            what = {"field": f"right_m3_{kind}"}
            found.append(Attention((5, 0), sentence, tr("See the right"), "farm", what))
    return found


def _flow(season: Season) -> list[Attention]:
    """Valves that give a tenth less or more than they are planned with."""
    off = [b for b in season.blocks if b.drift is not None and b.drift.verdict in ("low", "high")]
    if not off:
        return []
    off.sort(key=lambda b: -abs(b.drift.pct) if b.drift is not None else 0.0)
    found = off[0].drift
    assert found is not None
    if len(off) == 1 and found.verdict == "low":
        sentence = tr("{0} gives {1} % less by its meter: clogged or low pressure.").format(
            off[0].block.name, number(-found.pct, 0)
        )  # fmt: skip
    elif len(off) == 1:
        sentence = tr("{0} gives {1} % more by its meter: look for a leak.").format(
            off[0].block.name, number(found.pct, 0)
        )  # fmt: skip
    else:
        sentence = tr("{0} by their meters give a tenth less or more than planned with.").format(
            names(off)
        )  # fmt: skip
    return [Attention((8, -len(off)), sentence, tr("See the meters"), "ran", {})]


def _changed(table: WeekTable) -> list[Attention]:
    """The plan is another than the valves have in hand."""
    cells = table.changed_cells
    if not cells or table.given is None or table.given.first == table.on:
        return []
    if cells == 1:
        sentence = tr("Since the week was handed out 1 watering has changed.")
    else:
        sentence = tr("Since the week was handed out {0} waterings have changed.").format(cells)
    return [Attention((9, -cells), sentence, tr("Old and new"), "home", {"changed": True}, "other")]


def _wet(season: Season) -> list[Attention]:
    found = []
    for b in season.blocks:
        judged = b.dryness
        if judged is None or b.block.hectares is None:
            continue
        if judged.sudden:
            sentence = tr("{0}: from dry to wet within three days, {1} mm.").format(
                b.block.name, number(judged.swing_mm, 0)
            )  # fmt: skip
            found.append(Attention((12, -round(judged.swing_mm)), sentence, tr("See the block"),
                                   "block", {"block": b.block.id}))  # fmt: skip
        elif judged.drained_mm >= TELL_DRAINED_MM:
            sentence = tr("{0}: {1} mm went past the roots in the last seven days.").format(
                b.block.name, number(judged.drained_mm, 0)
            )  # fmt: skip
            found.append(Attention((13, -round(judged.drained_mm)), sentence, tr("See the block"),
                                   "block", {"block": b.block.id}))  # fmt: skip
    return found
