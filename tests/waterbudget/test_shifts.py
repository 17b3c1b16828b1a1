"""Packing the week's sets: exact in every quarter hour, on every pump, by group and in pulses."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from waterbudget import shifts
from waterbudget.plan import BlockLimits, BlockPlan, PlannedSet, PumpLimits, Source, Tank
from waterbudget.season.packing import squeezed

SIX, EIGHTEEN = dt.time(6), dt.time(18)
NAMES = ("", "River", "Dam")


def limits_of(name, flow=20.0, **changed):
    fields = {"name": name, "priority": 3, "flow_m3_h": flow, "area_ha": 1.0, "efficiency": 0.9,
              "hours_min": 0.5, "hours_max": 12.0} | changed  # fmt: skip
    return BlockLimits(**fields)


def set_of(hours, day=0, flow=20.0, **changed):
    fields = {"day": day, "net_mm": 1.0, "gross_mm": 1.0, "hours_exact": hours, "hours": hours,
              "mm": 1.0, "m3": hours * flow} | changed  # fmt: skip
    return PlannedSet(**fields)


def place(source, *pairs):
    plans = [BlockPlan((s,), 0.0, False, 0.0, 0.0) for _, s in pairs]
    new, days, pumps = shifts.timetable(plans, [b for b, _ in pairs], source)
    return [p.sets[0] for p in new], days, pumps


def minutes(time):
    return time.hour * 60 + time.minute


def wet_minutes(item):
    """Minute of the day's midnight at which each quarter hour of water of a set begins."""
    at, left, found = minutes(item.start), round(item.hours * 60), []
    part = item.on_min if item.pulses > 1 else left
    while left > 0:
        length = min(part, left)
        found += [at + k for k in range(0, length, 15)]
        at += length + item.off_min
        left -= length
    return found


def clock_open(pump, source, day, minute):
    """Whether a pump may run in the quarter hour that begins at a minute of a day."""
    work, end = minutes(source.work_from), minutes(source.work_to)
    if minute < work or minute + 15 > (work + 1440 if source.night_sets else end):
        return False
    if not pump.runs[day + minute // 1440]:
        return False
    if pump.runs_from is None or pump.runs_to is None:
        return True
    a, b, at = minutes(pump.runs_from), minutes(pump.runs_to), minute % 1440
    return a <= at and at + 15 <= b if a < b else at >= a or at + 15 <= b


times = st.integers(0, 95).map(lambda q: dt.time(q // 4, q % 4 * 15))


@st.composite
def sources(draw):
    begins = draw(st.integers(4, 9))
    pumps = [
        PumpLimits(
            name, draw(st.none() | st.integers(20, 90).map(float)),
            draw(st.none() | st.integers(8, 80).map(lambda q: q / 4)),
            *(draw(st.just((None, None)) | st.tuples(times, times)) if name else (None, None)),
            runs=tuple(draw(st.lists(st.sampled_from([True, True, True, False]), min_size=8,
                                     max_size=8))),
        )
        for name in NAMES
    ]  # fmt: skip
    first = pumps[0]
    cheap = draw(st.booleans())
    return Source(
        first.m3_h, first.hours, dt.time(begins, 30), dt.time(draw(st.integers(12, 22))),
        draw(st.booleans()), first_runs=first.runs, further=tuple(pumps[1:]),
        night_from=dt.time(20) if cheap else None, night_to=dt.time(6) if cheap else None,
    )  # fmt: skip


@st.composite
def weeks(draw):
    pairs = []
    for k in range(draw(st.integers(1, 9))):
        flow = draw(st.integers(5, 60)) * 1.0
        cut = draw(st.sampled_from([(0, 0), (0, 0), (30, 30), (30, 60), (30, 105)]))
        own = limits_of(
            f"B{k}", flow, priority=draw(st.integers(1, 4)), pump=draw(st.sampled_from(NAMES)),
            group=draw(st.sampled_from([None, "low", "high"])), on_min=cut[0], off_min=cut[1],
        )  # fmt: skip
        hours = draw(st.integers(1, 32)) / 4
        parts = -(-round(hours * 60) // cut[0]) if cut[0] else 1
        pulsed = {"pulses": parts, "on_min": cut[0], "off_min": cut[1]} if parts > 1 else {}
        at = draw(st.none() | st.none() | times)
        pairs.append((own, set_of(hours, draw(st.integers(0, 1)), flow, start=at, **pulsed)))
    return pairs


@settings(max_examples=150, deadline=None)
@given(sources(), weeks())
def test_what_is_not_marked_keeps_every_limit_in_every_quarter_hour(source, pairs):
    placed, days, pumps = place(source, *pairs)
    for pump in source.pumps:
        for day in range(7):
            own = [
                (item, block.flow_m3_h, block.group)
                for item, (block, _) in zip(placed, pairs, strict=True)
                if block.pump == pump.name and item.day == day and not item.over
            ]
            running: dict[int, list[tuple[float, str | None]]] = {}
            for item, flow, group in own:
                for at in wet_minutes(item):
                    assert clock_open(pump, source, day, at), (pump, item)
                    running.setdefault(at, []).append((flow, group))
            for at, together in running.items():
                if pump.m3_h is not None:
                    assert sum(f for f, _ in together) <= pump.m3_h + 1e-6, (pump, at)
                assert len({g for _, g in together if g is not None}) <= 1
            assert pump.hours is None or len(running) / 4 <= pump.hours + 1e-9
    for k, day in enumerate(days):
        if day.over_hours > 0 or day.over_flow_m3_h > 0:
            assert any(s.over for s in placed if s.day == k), "an overrun that nothing tells"
        assert day.hours == pytest.approx(sum(pumps[n][k].hours for n in NAMES))
        assert day.m3 == pytest.approx(sum(s.m3 for s in placed if s.day == k))
    for item, (block, asked) in zip(placed, pairs, strict=True):
        assert item.hours == asked.hours and item.day == asked.day
        if item.start is not None and asked.start is None and not item.over:
            by_clock = source.night_sets and block.pump != ""
            in_work = minutes(SIX) - 120 <= minutes(item.start) < minutes(source.work_to)
            assert in_work or by_clock


def test_six_hour_sets_in_a_ten_hour_window_never_overrun_silently():
    """Hour totals say 12 h of 20 pump hours; side by side they do not fit, so one is marked."""
    source = Source(40.0, None, SIX, dt.time(16), False)
    placed, days, _ = place(
        source, (limits_of("A", 25.0), set_of(6.0)), (limits_of("B", 25.0), set_of(6.0))
    )
    assert [s.over for s in placed] == [False, True]
    assert days[0].over_hours == 2.0


def test_pumps_run_side_by_side_and_each_keeps_its_own_flow():
    source = Source(20.0, None, SIX, EIGHTEEN, False, further=(PumpLimits("River", 20.0),))
    placed, days, pumps = place(
        source,
        (limits_of("A"), set_of(4.0)),
        (limits_of("B"), set_of(4.0)),
        (limits_of("C", pump="River"), set_of(4.0)),
    )
    assert [s.start for s in placed] == [SIX, dt.time(10), SIX]
    assert (pumps[""][0].hours, pumps["River"][0].hours, days[0].hours) == (8.0, 4.0, 12.0)


def test_pressure_groups_do_not_meet_but_a_block_without_one_runs_with_any():
    source = Source(100.0, None, SIX, EIGHTEEN, False)
    high, low, none = (limits_of(n, group=g) for n, g in (("A", "high"), ("B", "low"), ("C", None)))
    placed, _, _ = place(source, (high, set_of(2.0)), (low, set_of(2.0)), (none, set_of(2.0)))
    assert [s.start for s in placed] == [SIX, dt.time(8), SIX]


def test_pulses_leave_room_for_others_between_them():
    source = Source(20.0, None, SIX, dt.time(10), False)
    clay = limits_of("A", priority=1, on_min=30, off_min=60)
    pulsed = set_of(1.5, pulses=3, on_min=30, off_min=60)
    placed, days, _ = place(source, (clay, pulsed), (limits_of("B"), set_of(1.0)))
    assert placed[0].start == SIX and not placed[0].over
    assert placed[1].start == dt.time(6, 30) and not placed[1].over
    assert days[0].hours == 2.5


def test_a_pump_out_of_order_carries_nothing_and_a_night_does_not_run_into_its_standing_still():
    out = (True, False, *(True,) * 6)
    source = Source(40.0, None, SIX, EIGHTEEN, True, first_runs=out)
    placed, _, _ = place(source, (limits_of("A"), set_of(2.0, 1)))
    assert placed[0].over
    placed, _, _ = place(source, (limits_of("A"), set_of(12.0, 0)))
    assert placed[0].start == SIX and not placed[0].over
    placed, _, _ = place(source, (limits_of("A"), set_of(20.0, 0)))
    assert placed[0].over


def test_the_pumps_own_clock_holds_past_midnight():
    night = PumpLimits("River", 40.0, None, dt.time(20), dt.time(6))
    source = Source(40.0, None, SIX, EIGHTEEN, True, further=(night,))
    (only,), days, _ = place(source, (limits_of("A", pump="River"), set_of(9.0)))
    assert only.start == dt.time(20) and not only.over and days[0].over_hours == 0
    (only,), _, _ = place(source, (limits_of("A", pump="River"), set_of(11.0)))
    assert only.over


def test_cheap_hours_are_taken_first_where_all_still_fit():
    cheap = {"night_from": dt.time(16), "night_to": dt.time(6)}
    source = Source(20.0, None, SIX, EIGHTEEN, True, **cheap)
    (only,), _, _ = place(source, (limits_of("A"), set_of(4.0)))
    assert only.start == dt.time(16)
    placed, _, _ = place(source, *[(limits_of(f"B{k}"), set_of(5.0)) for k in range(3)])
    assert [s.start for s in placed] == [dt.time(16), SIX, dt.time(11)]
    placed, _, _ = place(source, *[(limits_of(f"B{k}"), set_of(5.75)) for k in range(3)])
    assert not any(s.over for s in placed), "the cheap hours never cost a set its place"
    plain = Source(20.0, None, SIX, EIGHTEEN, True)
    assert place(plain, (limits_of("A"), set_of(4.0)))[0][0].start == SIX


def test_the_tank_feeds_what_is_in_it_and_what_flows_in_and_the_rest_is_marked():
    source = Source(100.0, None, SIX, EIGHTEEN, False, tank=Tank(100.0, 1.0, 50.0))
    placed, days, _ = place(
        source,
        (limits_of("Rest", priority=7), set_of(2.0)),
        (limits_of("Fill", priority=1), set_of(3.0)),
    )
    assert [s.over for s in placed] == [True, False]  # 50 + 24 m3 for 100 asked
    assert days[0].over_m3 == pytest.approx(26.0)


def test_no_more_valves_than_the_people_can_open():
    source = Source(200.0, None, SIX, EIGHTEEN, False, valves_a_day=2)
    sets = [(limits_of(f"B{k}", priority=3 - k), set_of(1.0)) for k in range(3)]
    placed, days, _ = place(source, *sets)
    assert [s.over for s in placed] == [True, False, False]
    assert days[0].over_valves == 1


# ---------------------------------------------------------------- shortened to fit


@settings(max_examples=60, deadline=None)
@given(sources(), weeks())
def test_squeezed_sets_are_only_ever_shorter_and_keep_every_limit(source, pairs):
    items = [(s, b) for b, s in pairs if s.day == 0 and s.start is None]
    made = squeezed(items, source, 0)
    use: dict[tuple[str, int], float] = {}
    for (asked, block), item in zip(items, made, strict=True):
        if item is None:
            continue
        assert not item.over and 0 < item.hours <= asked.hours
        assert item.hours >= min(asked.hours, block.hours_min)
        pump = source.pump(block.pump)
        for at in wet_minutes(item):
            assert clock_open(pump, source, 0, at)
            use[block.pump, at] = use.get((block.pump, at), 0.0) + block.flow_m3_h
    for (name, _), flow in use.items():
        most = source.pump(name).m3_h
        assert most is None or flow <= most + 1e-6


def test_a_set_is_cut_to_the_room_left_and_may_grow_into_what_stays_free():
    source = Source(40.0, None, SIX, dt.time(16), False)
    long_, late = (set_of(7.0), limits_of("A", 30.0)), (set_of(6.0), limits_of("B", 30.0))
    one, two = squeezed([long_, late], source, 0)
    assert (one.hours, two.hours, two.start) == (7.0, 3.0, dt.time(13))
    (one,) = squeezed([long_], source, 0, [8.5])
    assert one.hours == 8.5
    short = limits_of("C", 30.0, hours_min=4.0)
    assert squeezed([long_, (set_of(6.0), short)], source, 0)[1] is None
    pulsed = limits_of("D", 30.0, on_min=30, off_min=60)
    asked = set_of(9.0, pulses=18, on_min=30, off_min=60)
    (cut,) = squeezed([(asked, pulsed)], source, 0)
    assert (cut.hours, cut.pulses) == (3.5, 7)


def test_a_pinned_set_is_placed_before_those_that_are_to_stay_whole():
    source = Source(40.0, None, SIX, dt.time(16), False)
    whole, pinned = set_of(10.0), set_of(4.0, pinned=True)
    made = squeezed(
        [(whole, limits_of("A", 30.0)), (pinned, limits_of("B", 30.0))], source, 0, None,
        [True, False],
    )  # fmt: skip
    assert not made[1].over and made[1].start == SIX
    assert made[0].hours == 6.0
