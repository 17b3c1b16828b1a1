"""What was handed out stands while nothing has happened; rain and missed waterings change it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from orchard_samples import MONDAY, block, change_orchard, day, farm, handed_out, ran, record

from waterbudget import season
from waterbudget.season import standing

TUE, WED, THU, SUN = (day(i) for i in (1, 2, 3, 6))


def lived(data, on, **rain):
    """The farm some days after its week was handed out, everything as handed out till then."""
    wet = {day(int(name[1:])): mm for name, mm in rain.items()}
    week = handed_out(season.run(data, MONDAY))
    weather = record(last=on - dt.timedelta(days=1), rain=wet)
    return replace(data, given=(week,), records={"Gate": weather})


def paper(data, on, number=1):
    """Hours handed out for the days from a morning on."""
    return {s.date: s.hours for s in data.given[-1].sets if s.block_id == number and s.date >= on}


def planned(data, on, name="Ridge", last=SUN):
    """Hours planned up to the last day of the week handed out."""
    sets = season.run(data, on).block(name).plan.sets
    return {day(s.day, on): s.hours for s in sets if day(s.day, on) <= last}


def settled():
    """A block in the middle of its year, neither parched nor just full."""
    return block(full_on=day(-3))


@pytest.mark.parametrize("on", [MONDAY, TUE, WED, THU, day(4), day(5)])
def test_a_week_that_runs_as_handed_out_stays_as_it_is(on):
    data = lived(farm(settled()), on)
    assert paper(data, MONDAY)
    assert planned(data, on) == paper(data, on)


def test_without_a_paper_the_same_mornings_would_move_waterings():
    """Else the test above would say nothing: another horizon alone chooses other days."""
    moved = 0
    for i in range(1, 6):
        data = lived(farm(settled()), day(i))
        papers = paper(data, day(i))
        run_as = tuple(ran(1, d, hours=h) for d, h in paper(data, MONDAY).items() if d < day(i))
        free = replace(data, given=(), ran=run_as)
        moved += planned(free, day(i)) != papers
    assert moved >= 2


def test_rain_takes_waterings_away_and_adds_none():
    wide = block(full_on=day(-6), system="overhead", root_share=1.0, soil="loam")
    data = lived(farm(wide), THU, d2=35.0)
    now, then = planned(data, THU), paper(data, THU)
    assert then and sum(now.values()) < sum(then.values())
    assert set(now) <= set(then)


def test_a_missed_watering_frees_the_block_to_be_watered_more():
    whole = lived(farm(settled()), TUE)
    missed = replace(whole, ran=(ran(1, MONDAY, hours=0.0),))
    assert MONDAY in paper(whole, MONDAY)
    assert sum(planned(missed, TUE).values()) > sum(paper(whole, TUE).values())


def test_only_the_block_that_missed_changes():
    two = farm(settled(), replace(settled(), id=2, name="Foot"))
    whole = lived(two, TUE)
    assert paper(whole, MONDAY, 2)
    missed = replace(whole, ran=(ran(1, MONDAY, hours=0.0),))
    assert planned(missed, TUE, "Foot") == paper(whole, TUE, 2)


def test_a_pump_with_too_few_hours_now_lets_go_of_the_paper():
    data = lived(farm(settled()), TUE)
    longest = max(paper(data, TUE).values())
    short = change_orchard(data, pump_hours=longest / 2)
    assert max(planned(short, TUE).values()) <= longest / 2 + 1e-9


def test_hours_a_little_off_are_the_papers_again_but_not_days():
    one = season.run(lived(farm(settled()), TUE), TUE).block("Ridge")
    rate = one.limits.net_mm_per_hour
    stands = standing.Standing({1: 4.0, 2: 0.0})
    same = standing.much_the_same([0, 4.4 * rate, 0, 0, 0, 0, 0], one.limits, stands)
    other_days = standing.much_the_same([0, 0, 9.0 * rate, 0, 0, 0, 0], one.limits, stands)
    double = standing.much_the_same([0, 8.0 * rate, 8.0 * rate, 0, 0, 0, 0], one.limits, stands)
    assert same and other_days and not double
