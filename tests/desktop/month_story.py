"""The README's section on the month, written from what was lived."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping

import month_farm
from month import RIGHT_M3, TRIED_HOURS, Month, day
from month_farm import DAYS, RAIN

from desktop.wording import day_named, hours, thousands, word

HEAD = "## A month with it"
FOLDER = "desktop/pictures"


def words(m: Month) -> str:
    """Return the section."""
    return "\n".join([HEAD, "", *_opening(m), *_first(m), *_second(m), *_third(m), *_fourth(m),
                      *_end(m)]) + "\n"  # fmt: skip


def _picture(name: str, alt: str) -> list[str]:
    return [f"![{alt}]({FOLDER}/{name}.png)", ""]


def _names(found: Iterable[str]) -> str:
    found = list(found)
    return found[0] if len(found) == 1 else ", ".join(found[:-1]) + " and " + found[-1]


def _waterings(found: Mapping[dt.date, float]) -> str:
    return ", ".join(f"{hours(h)} h on {day_named(d)}" for d, h in sorted(found.items()))


def _opening(m: Month) -> list[str]:
    return [
        "An invented farm of five blocks and two pumps, in September 2025. The month is a test: "
        "it is lived in the window with mouse and keys, and every figure below comes from that "
        "run (`tests/desktop/test_month.py`).",
        "",
    ]  # fmt: skip


def _first(m: Month) -> list[str]:
    s = m.story
    rain = next(d for d in RAIN if d < day(8))
    drained = s.drained_mm["Kettle"]
    return [
        f"**{day_named(day(1))}.** The week is handed out: {thousands(s.week_m3[1])} m³. Every "
        "evening the hours that ran and what the meters show go in, one line a block.",
        "",
        *_picture("month_1_handed_out", "The first week, handed out"),
        f"**{day_named(rain)}.** In the evening {RAIN[rain]:g} mm are typed (R, {RAIN[rain]:g}, "
        f"Enter). Kettle was watered that morning, so {drained:.0f} mm of that day's water went "
        "past its roots, and the program says so. On Thursday old and new stand side by side: "
        f"{_names(s.rain_blocks)} change, what is left of the week goes from "
        f"{hours(s.rain_h[0])} to {hours(s.rain_h[1])} h, the other blocks stay as they are on "
        "paper.",
        "",
        *_picture("month_2_rain", "Old and new after the rain"),
    ]  # fmt: skip


def _second(m: Month) -> list[str]:
    s = m.story
    feed, spray = s.jobs["feed", "New cut", 10], s.jobs["spray", "New cut", 10]
    name, missed, lost = s.missed
    old, new = s.missed_rest
    sprayed, before, _ = s.spray
    return [
        f"**{day_named(feed)}.** Day 10 after pruning carries a feeding and a spraying in New "
        "cut, which is watered from overhead. The feeding comes a day early and is watered in; "
        f"on {day_named(spray)} it is sprayed on dry leaves, with no overhead water from 12 h "
        "before to 24 h after. Label, re-entry and licensed advice come first, the card says.",
        "",
        *_picture("month_3_field_days", "Field days and water on one board"),
        f"**{day_named(missed)}.** {name} misses its {hours(lost)} h: 0 is typed. The rest of its "
        f"week was {_waterings(old)}; it becomes {_waterings(new)}. No double watering.",
        "",
        f"**{day_named(day(11))}.** An extra spraying of Steps is planned for "
        f"{day_named(sprayed)}, where {hours(before[sprayed])} h of overhead water stood: they "
        "are gone from the plan at once, and the corrected week is handed out.",
        "",
        f"**{day_named(day(14))}.** {name}'s meter has measured {abs(s.drift_pct):.0f} % less "
        "than planned for days: clogged outlets or low pressure. Until somebody has looked, one "
        f"click plans with the metered {s.flow_m3_h[1]:.1f} m³/h in place of "
        f"{s.flow_m3_h[0]:g}.",
        "",
    ]  # fmt: skip


def _third(m: Month) -> list[str]:
    s = m.story
    first = "Long row"
    return [
        f"**{day_named(day(16))}.** The river pump stands still, until {day_named(day(17))}: two "
        f"dates on the Farm page. Its {hours(s.pump_h[0])} h of these days are planned anew on "
        "the days after, as far as they hold them.",
        "",
        *_picture("month_4_pump_out", "Old and new with one pump out"),
        f"**{day_named(day(18))}.** Ahead runs the coming 30 days through {s.years} past years. "
        f"{first}, short of water since the pump stood, is past its limit in "
        f"{100 * s.chance[first]:.0f} % of them, Kettle in {100 * s.chance['Kettle']:.0f} %. "
        f"Tried beside it, and not stored: {TRIED_HOURS:g} hours a day of the first pump. The "
        f"week shrinks from {hours(s.tried_h[0])} to {hours(s.tried_h[1])} h, and the mornings "
        f"past a limit grow from {s.dry_days[0]:.1f} to {s.dry_days[1]:.1f} over all blocks in "
        "the mean of the years.",
        "",
        *_picture("month_6_ahead", "The coming month, and another plan beside it"),
    ]  # fmt: skip


def _fourth(m: Month) -> list[str]:
    s = m.story
    rain = next(d for d in RAIN if d > day(21))
    gave = _names(
        f"{n} ({word('stage.' + stage)}) {thousands(m3)} m³" for n, (m3, stage) in s.gave.items()
    )  # fmt: skip
    return [
        f"**{day_named(day(22))}.** Only {thousands(RIGHT_M3)} m³ may be drawn this week; "
        f"{thousands(s.asked_m3)} would be wanted. {gave} are given up; {_names(s.whole)} give "
        f"nothing. On {day_named(rain)} {RAIN[rain]:g} mm fall and the week is corrected again. "
        f"By Sunday {thousands(s.drawn_m3)} m³ were drawn.",
        "",
        *_picture("month_5_short_right", "A week with a short water right"),
    ]  # fmt: skip


def _end(m: Month) -> list[str]:
    m3 = {n: m.meters[n] - month_farm.DIAL[n] for n in month_farm.DIAL}
    time = {n: sum(h for (b, _), (h, _) in m.truth.items() if b == n) for n in m3}
    rows = [f"| {n} | {hours(time[n])} | {m.meters[n] - m3[n]:.1f} | {m.meters[n]:.1f} | "
            f"{m3[n]:.1f} |" for n in m3]  # fmt: skip
    return [
        f"**{day_named(day(DAYS + 1))}.** What ran adds up to the meters, in the window and in "
        "`waterbudget ran FARM --list`; each block's account closes on every day, and the "
        f"history holds all {m.stored} edits, undone and done again ones among them.",
        "",
        "| block | hours | meter before, m³ | after, m³ | what ran, m³ |",
        "| --- | --- | --- | --- | --- |",
        *rows,
        f"| all | {hours(sum(time.values()))} | | | {sum(m3.values()):.1f} |",
    ]  # fmt: skip
