"""Readings of the meter: what they came to, what is asked about, what is stored and what not."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from waterbudget import actions, season
from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.records import GivenSet, GivenWeek

DAY = dt.date(2025, 7, 8)


def day(i):
    return DAY + dt.timedelta(days=i)


def asked(file, now, name="Top", date=DAY, dial=None, **more):
    before = file.read()
    with pytest.raises(AnswersNeeded) as found:
        if dial is None:
            actions.enter_ran(file, name, date, now=now, **more)
        else:
            actions.enter_meter(file, name, date, dial, now=now, **more)
    assert file.read() == before
    return [(q.key, q.choices, q.format) for q in found.value.questions]


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


def past(file, date, name="Top"):
    run = season.run(file.read(), day(7))
    return [(s.state, s.hours, s.m3) for s in run.block(name).past if s.date == date]


def give(file, now, hours, date=DAY, name="Top", number=0):
    block = file.read().orchard.block(name)
    sets = (GivenSet(block.id, date, dt.time(6), hours, hours * 2, hours * 20),)
    with file.transaction("week.handed_out", now=now) as open_file:
        open_file.add_given_week(GivenWeek(number, day(-1), now, sets))


def test_planned_265_metered_212_takes_a_fifth_off_the_water(file, now):
    """37.5 m3/h over 7.07 h; the balance follows the meter to the exact difference."""
    actions.set_block(file, "Top", {"area_ha": "7.5", "flow_m3_h": "37.5"}, now=now)
    actions.enter_meter(file, "Top", day(-1), 1000, now=now)
    actions.enter_ran(file, "Top", DAY, hours=7.07, now=now)
    before = season.run(file.read(), day(1))
    done = actions.enter_meter(file, "Top", DAY, 1212, now=now)
    assert (done.m3, done.since, done.waterings) == (212, day(-1), 1)
    after = season.run(file.read(), day(1))
    i, k = before.on_index - 1, before.block("Top").column
    was, is_now = (run.drivers.irrigation_mm[i, k] for run in (before, after))
    assert is_now / was == pytest.approx(0.80, abs=0.001)
    lost = was - is_now
    drained = before.account.drainage_mm[i, k] - after.account.drainage_mm[i, k]
    risen = after.account.dr_mm[i, k] - before.account.dr_mm[i, k]
    assert risen == pytest.approx(lost - drained, abs=0.02)  # a wetter surface dries a little more
    assert past(file, DAY) == [("ran", 7.07, pytest.approx(212))]


def test_a_first_reading_measures_nothing(file, now):
    done = actions.enter_meter(file, "Top", DAY, 18940, now=now)
    assert done.m3 is None and [n.code for n in done.notes] == ["ran.meter_first"]
    assert past(file, DAY) == []


def test_several_waterings_share_by_their_hours_entered_or_handed_out(file, now):
    actions.enter_meter(file, "Top", DAY, 0, now=now)
    actions.enter_ran(file, "Top", day(1), hours=1, now=now)
    give(file, now, 3, day(3))
    done = actions.enter_meter(file, "Top", day(4), 72, now=now)
    assert done.waterings == 2
    assert past(file, day(1)) == [("ran", 1, pytest.approx(18))]
    assert past(file, day(3)) == [("ran", 3, pytest.approx(54))]  # the meter confirms it


def test_a_flat_meter_says_that_nothing_ran(file, now):
    give(file, now, 3, day(3))
    actions.enter_meter(file, "Top", DAY, 500, now=now)
    actions.enter_meter(file, "Top", day(4), 500, now=now)
    assert past(file, day(3)) == [("missed", 3, 0)]


def test_water_without_a_watering_counts_on_the_day_it_is_read(file, now):
    actions.enter_meter(file, "Top", DAY, 500, now=now)
    actions.enter_meter(file, "Top", day(2), 540, now=now)
    assert past(file, day(2)) == [("ran", 2.0, 40)]


def test_two_blocks_on_one_meter_share_by_planned_water(file, now):
    for name in ("Top", "Low"):
        actions.set_block(file, name, {"meter": "M 3"}, now=now)
    actions.set_block(file, "Low", {"flow_m3_h": "10"}, now=now)
    actions.enter_meter(file, "Top", DAY, 0, now=now)
    for name in ("Top", "Low"):
        actions.enter_ran(file, name, day(1), hours=3, now=now)
    done = actions.enter_meter(file, "Low", day(1), 81, now=now)
    assert [n.code for n in done.notes] == ["ran.meter_shared"]
    assert past(file, day(1)) == [("ran", 3, pytest.approx(54))]
    assert past(file, day(1), "Low") == [("ran", 3, pytest.approx(27))]


def test_past_its_last_figure(file, now):
    actions.enter_meter(file, "Top", DAY, 99940, now=now)
    assert asked(file, now, date=day(1), dial=22) == [("meter", ("rolled", "new", "wrong"), None)]
    assert asked(file, now, date=day(1), dial=22, answers={"meter": "rolled"}) == [
        ("digits", None, "digits")
    ]
    with refused("ran.meter_digits"):
        actions.enter_meter(file, "Top", day(1), 22, now=now,
                            answers={"meter": "rolled", "digits": "4"})  # fmt: skip
    done = actions.enter_meter(file, "Top", day(1), 22, now=now,
                               answers={"meter": "rolled", "digits": "5"})  # fmt: skip
    assert done.m3 == 82


def test_a_new_meter_with_its_start(file, now):
    actions.enter_meter(file, "Top", DAY, 18940, now=now)
    assert [k for k, _, _ in asked(file, now, date=day(1), dial=112, answers={"meter": "new"})] == [
        "new_start", "old_last"
    ]  # fmt: skip
    answers = {"meter": "new", "new_start": "100", "old_last": "18970"}
    assert actions.enter_meter(file, "Top", day(1), 112, answers=answers, now=now).m3 == 42
    with refused("ran.meter_new"):
        actions.enter_meter(file, "Top", day(2), 50, now=now,
                            answers={**answers, "new_start": "60"})  # fmt: skip


def test_typed_wrong_stores_nothing(file, now):
    actions.enter_meter(file, "Top", DAY, 18940, now=now)
    before = file.read()
    with refused("ran.type_again"):
        actions.enter_meter(file, "Top", day(1), 112, answers={"meter": "wrong"}, now=now)
    with refused("ran.bad_figure"):
        actions.enter_meter(file, "Top", day(1), -1, now=now)
    with refused("ran.meter_past_next"):
        actions.enter_meter(file, "Top", day(-2), 19000, now=now)
    assert file.read() == before


def test_one_reading_a_day(file, now):
    actions.enter_meter(file, "Top", DAY, 100, hours=2, now=now)
    version = file.read().version
    with refused("ran.meter_entered_already"):
        actions.enter_meter(file, "Top", DAY, 120, now=now)
    assert file.read().version == version
    actions.enter_meter(file, "Top", DAY, 120, hours=1, again=True, now=now)
    data = file.read()
    assert [m.m3 for m in data.meter_readings] == [120]
    assert sorted(r.hours for r in data.ran) == [1, 2]
    actions.enter_ran(file, "Top", DAY, remove=True, now=now)
    assert (file.read().meter_readings, file.read().ran) == ((), ())


def test_minutes_typed_as_hours(file, now):
    assert asked(file, now, hours=255) == [("hours", ("minutes", "hours"), None)]
    held = actions.enter_ran(file, "Top", DAY, hours=255, answers={"hours": "minutes"}, now=now)
    assert [r.hours for r in held] == [4.25]
    give(file, now, 0.25, day(1))
    assert asked(file, now, date=day(1), hours=15)[0][0] == "hours"  # sixty times a quarter hour
    assert asked(file, now, date=day(1), hours=17.5)[0][0] == "hours"
    actions.enter_ran(file, "Top", day(1), hours=10, now=now)  # 40 times: not minutes


def test_long_sets_are_asked_about(file, now):
    actions.set_block(file, "Top", {"set_hours_max": "6"}, now=now)
    actions.enter_ran(file, "Top", day(2), hours=19, now=now)
    assert asked(file, now, hours=20)[0][0] == "long"
    assert asked(file, now, name="Low", hours=20)[0][0] == "long"
    with refused("ran.type_again"):
        actions.enter_ran(file, "Top", DAY, hours=20, answers={"long": "no"}, now=now)
    actions.enter_ran(file, "Top", DAY, hours=20, answers={"long": "yes"}, now=now)


def test_more_water_than_the_hours_give_is_asked_about(file, now):
    actions.enter_ran(file, "Top", day(1), hours=2, m3=60, now=now)
    assert asked(file, now, hours=2, m3=61)[0][0] == "m3"
    actions.enter_meter(file, "Top", day(1), 100, now=now)
    assert asked(file, now, date=day(2), dial=161, hours=2)[0][0] == "m3"
    done = actions.enter_meter(file, "Top", day(2), 161, hours=2, answers={"m3": "yes"}, now=now)
    assert done.m3 == 61


def test_a_day_asks_block_by_block_and_is_put_back_whole(file, now):
    actions.enter_ran(file, "Top", DAY, hours=2, now=now)
    before = file.read()
    day_typed = {"Top": [(240.0, None)], "Low": [(21.0, None)]}
    with pytest.raises(AnswersNeeded) as found:
        actions.enter_day(file, DAY, day_typed, dials={"Low": 77.0}, now=now)
    keys = [q.key for q in found.value.questions]
    assert keys == [f"hours:Top:{DAY}", f"long:Low:{DAY}"] and file.read() == before
    held = actions.enter_day(
        file, DAY, day_typed, dials={"Low": 77.0}, now=now,
        answers={keys[0]: "minutes", keys[1]: "yes"},
    )  # fmt: skip
    data = file.read()
    assert sorted(r.hours for r in data.ran) == [4.0, 21.0]
    assert [m.m3 for m in data.meter_readings] == [77.0]
    actions.put_day(file, DAY, held, now=now)
    after = file.read()
    assert [(r.hours, r.m3) for r in after.ran] == [(2, None)] and after.meter_readings == ()


def test_a_file_with_meters(file, now, tmp_path):
    path = tmp_path / "ran.csv"
    path.write_text(
        "block,date,hours,m3,meter\nTop,2025-07-09,3,,1054\nTop,2025-07-08,,,1000\n"
        "Low,2025-07-08,90,,\n"
    )
    before = file.read()
    with pytest.raises(AnswersNeeded):
        actions.import_ran(file, path, now=now)
    assert file.read() == before
    done = actions.import_ran(file, path, answers={"hours": "minutes"}, now=now)
    assert (done.added, done.unchanged) == (4, 0)
    assert past(file, day(1)) == [("ran", 3, pytest.approx(54))]
    again = actions.import_ran(file, path, answers={"hours": "minutes"}, now=now)
    assert (again.added, again.unchanged) == (0, 4)


def test_a_flow_accepted_brings_silence_and_can_be_put_back(file, now):
    for i in range(3):
        actions.enter_ran(file, "Top", day(i), hours=2, m3=34, now=now)
    run = season.run(file.read(), day(4))
    drift = run.block("Top").drift
    assert (drift.verdict, drift.metered_m3_h) == ("low", 17)
    before = file.read().orchard.block("Top")
    block = actions.accept_flow(file, run, "Top", now=now)
    assert (block.flow_m3_h, block.flow_from) == (17, "meter")
    assert season.run(file.read(), day(4)).block("Top").drift.verdict == "even"
    actions.restore_block(file, before, now=now)
    assert file.read().orchard.block("Top") == replace(before)
    with refused("flow.none_proposed"):
        actions.accept_flow(file, run, "Low", now=now)


def test_every_edit_shows_in_the_history(file, now, tmp_path):
    start = len(file.history())
    actions.enter_meter(file, "Top", DAY, 100, hours=2, now=now)
    actions.enter_ran(file, "Top", day(1), hours=3, m3=60, now=now)
    held = actions.enter_day(file, day(2), {"Top": [(1.0, None)]}, dials={"Top": 190}, now=now)
    actions.put_day(file, day(2), held, now=now)
    actions.enter_ran(file, "Top", DAY, remove=True, now=now)
    new = [(what, fields) for _, what, fields in file.history()]
    new = new[: len(new) - start][::-1]
    codes = ["ran.meter", "ran.entered", "ran.day", "ran.day", "ran.entered"]
    assert [what for what, _ in new] == codes
    assert (new[0][1]["m3"], new[0][1]["hours"]) == (100, 2)
    assert (new[1][1]["m3"], new[1][1]["hours"]) == (60, 3)
    assert new[4][1]["remove"]


def test_a_file_of_dials_is_known_as_what_ran(tmp_path):
    path = tmp_path / "dials.csv"
    path.write_text("block,date,meter\nTop,2025-07-08,1000\n")
    assert actions.recognise(path) == "ran"
