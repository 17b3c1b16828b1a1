"""The sentences at the head of a block's page: what is wrong and what mends it, and the week."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from desktop.flow import Part, parts
from desktop.models.block_facts import Alarm, WeekFacts
from desktop.wording import day_short, fixed, number, thousands, tr, word

if TYPE_CHECKING:
    from waterbudget.season import BlockSeason, Season

FAR_DAYS = 6


def day_word(day: dt.date, today: dt.date) -> str:
    """Return "today", "yesterday", "tomorrow", a weekday nearby, else the date."""
    apart = (day - today).days
    near = {0: tr("today"), -1: tr("yesterday"), 1: tr("tomorrow")}
    if apart in near:
        return near[apart]
    if abs(apart) <= FAR_DAYS:
        return weekday_full(day)
    return day_short(day)


def weekday_full(day: dt.date) -> str:
    """Return Monday, Tuesday, ..."""
    names = (tr("Monday"), tr("Tuesday"), tr("Wednesday"), tr("Thursday"), tr("Friday"),
             tr("Saturday"), tr("Sunday"))  # fmt: skip
    return names[day.weekday()]


def alarm_text(alarm: Alarm, on: dt.date) -> str:
    """Return what needs the grower: cause and remedy."""
    if alarm.what == "past_now":
        return " ".join(x for x in (_past_now(alarm, on), _remedy(alarm, on)) if x)
    if alarm.what == "past_soon":
        assert alarm.since is not None
        if (alarm.since - on).days == 1:
            return tr("Will pass its easy water by tomorrow morning, as planned.")
        return tr("Will pass its easy water by {0} morning, as planned.").format(
            day_word(alarm.since, on)
        )
    if alarm.what == "sudden":
        return tr(
            "Swings from dry to wet, {0} mm within three days: smaller, closer waterings keep "
            "the fruit from splitting."
        ).format(fixed(alarm.mm))
    if alarm.what == "drained" and alarm.since is not None:
        return tr(
            "{0} mm drained past the roots in the last week, last on {1}: shorter waterings "
            "hold it."
        ).format(fixed(alarm.mm), day_word(alarm.since, on))
    return ""


def _past_now(alarm: Alarm, on: dt.date) -> str:
    head = _since(alarm.since or on, on)
    if alarm.cause_day is None:
        causes = {"no_water": tr("no watering is known before it")}
    else:
        day = day_word(alarm.cause_day, on)
        causes = {
            "missed": _missed(alarm.cause_day, on),
            "no_water": tr("no watering since {0}").format(day),
            "short": tr("the last watering, {0}, gave less than was missing").format(day),
        }
    cause = causes.get(alarm.cause or "")
    return f"{head}: {cause}." if cause else f"{head}."


def _since(since: dt.date, on: dt.date) -> str:
    apart = (on - since).days
    if apart == 0:
        return tr("Past easy water since this morning")
    if apart == 1:
        return tr("Past easy water since yesterday morning")
    if apart <= FAR_DAYS:
        return tr("Past easy water since {0} morning").format(weekday_full(since))
    return tr("Past easy water since {0}").format(day_short(since))


def _missed(day: dt.date, on: dt.date) -> str:
    if (on - day).days == 1:
        return tr("yesterday’s watering did not run")
    return tr("the watering of {0} did not run").format(day_word(day, on))


def _remedy(alarm: Alarm, on: dt.date) -> str:
    if alarm.watering_on is None:
        return tr("No watering is planned: look at flow, pins and days off.")
    if alarm.mended_on is None:
        return tr("The week as planned does not bring it back: more hours or more days.")
    day = alarm.mended_on - dt.timedelta(days=1)
    if day <= on:
        return tr("Today’s watering brings it back.")
    if (day - on).days == 1:
        return tr("Tomorrow’s watering brings it back.")
    return tr("The watering of {0} brings it back.").format(day_word(max(day, on), on))


def quiet_text(season: Season, block: BlockSeason) -> str:
    """Return what is worth saying where nothing needs the grower; empty where nothing is."""
    dry = block.dryness
    if dry is None:
        return ""
    until = block.block.dry_until
    if until is not None and until >= season.on:
        return tr("Kept dry on purpose until {0}.").format(day_short(until))
    if dry.dry and dry.allowed_dry:
        return tr("Past easy water, which is allowed in {0}.").format(
            word(f"stage.{season.stage(block)}")
        )
    return ""


def week_sentence(season: Season, block: BlockSeason, facts: WeekFacts | None) -> list[Part]:
    """Return the sentence that explains the week; every number opens its origin."""
    stage = _capital(word(f"stage.{season.stage(block)}"))
    if facts is None:
        return parts(
            tr("{stage}. No weather is known for this block, so no hours can be given. {do}"),
            {"stage": stage, "do": Part(tr("Bring in a station file"), "go:weather")},
        )
    takes, net = round(facts.takes_mm, 1), round(facts.net_mm, 1)
    given: dict[str, str | Part | list[Part]] = {
        "stage": stage, "takes": Part(_mm(takes), "takes"), "rain": _rain(facts),
    }  # fmt: skip
    until = block.block.dry_until
    if not facts.sets and until is not None and until >= season.on:
        given["day"] = Part(day_short(until), "edit:known_full")
        return parts(
            tr("{stage}. The week takes {takes}, {rain}; kept dry on purpose until {day}: no "
               "watering is planned."), given,
        )  # fmt: skip
    if not facts.sets:
        easy = season.easy_left_mm(block.column)
        given["easy"] = Part(_mm(max(easy, 0.0)), "missing")
        if block.given_up_mm > 0:
            return parts(
                tr("{stage}. The week takes {takes}, {easy} of easy water is there, {rain}: "
                   "others come first, no watering is planned."), given,
            )  # fmt: skip
        return parts(
            tr("{stage}. The week takes {takes}, {easy} of easy water is there, {rain}: "
               "no watering is needed."), given,
        )  # fmt: skip
    rain, lost = round(facts.rain_mm, 1), round(facts.lost_mm, 1)
    # printed parts add up: what is missing carries what rounding leaves over
    missing = round(net - takes + rain - lost, 1)
    given |= {
        "balance": _balance(missing), "lost": _lost(lost), "net": Part(_mm(net), "net"),
        "gross": Part(_mm(facts.gross_mm), "gross"), "tail": _tail(block, facts),
    }  # fmt: skip
    return parts(
        tr("{stage}. The week takes {takes}, {balance}, {rain}{lost}: {net} at the roots, "
           "{gross} at the meter{tail}."), given,
    )  # fmt: skip


def _balance(missing: float) -> list[Part]:
    if missing > 0.04:
        return parts(tr("{mm} is missing"), {"mm": Part(_mm(missing), "missing")})
    if missing < -0.04:
        return parts(
            tr("{mm} of what is there may be used"), {"mm": Part(_mm(-missing), "missing")}
        )
    return [Part(tr("nothing is missing"), "missing")]


def _rain(facts: WeekFacts) -> list[Part]:
    if facts.rain_mm > 0.04:
        return parts(tr("{mm} of rain is counted"), {"mm": Part(_mm(facts.rain_mm), "rain")})
    return [Part(tr("no rain counted"), "rain")]


def _lost(lost: float) -> list[Part]:
    if abs(lost) <= 0.04:
        return []
    return parts(tr(", {mm} drains"), {"mm": Part(_mm(lost), "lost")})


def _tail(block: BlockSeason, facts: WeekFacts) -> list[Part]:
    count = len(facts.sets)
    sets = Part(tr("1 watering") if count == 1 else tr("{0} waterings").format(count), "sets")
    if facts.m3 is None:
        return parts(
            tr("; {do} for m³ and hours"), {"do": Part(tr("hectares missing"), "edit:area")}
        )
    m3 = Part(tr("{0} m³").format(thousands(facts.m3)), "m3")
    if facts.hours_exact is None:
        return parts(tr(", {m3}; {do}, so no hours"),
                     {"m3": m3, "do": Part(tr("flow missing"), "edit:flow")})  # fmt: skip
    hours = Part(tr("{0} h").format(number(facts.hours_exact)), "hours")
    return parts(tr(", {m3}, {hours}: {sets}"), {"m3": m3, "hours": hours, "sets": sets})


def _mm(value: float) -> str:
    return tr("{0} mm").format(number(value)).replace(" ", "\u00a0")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
