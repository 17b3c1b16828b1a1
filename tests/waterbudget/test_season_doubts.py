"""Days to check: what each would move, by hand on a block that takes what the station says."""

from __future__ import annotations

import numpy as np
import pytest
from neighbour_samples import record as full_record
from neighbour_samples import weather
from orchard_samples import MONDAY, block, day, farm, record

from waterbudget import season
from waterbudget.orchard import Station
from waterbudget.season import Doubt, days_to_check

UNIT = {"kc_fixed": 1.0, "root_depth_m": 0.8, "full_on": day(-4)}


def ridge(name="Ridge", number=1, **changed):
    return block(name, number, **(UNIT | changed))


def unknown(days, quantity="et0_given_mm", **changed):
    """A record in which a quantity of some days is not used; without ET0 no low and high."""
    made = record(**({"et0": 3.8} | changed))
    gone = ("tmax_c", "tmin_c") if quantity == "et0_given_mm" else ()
    for d in days:
        for name in (quantity, *gone):
            made.values[name][(d - made.first).days] = np.nan
    return made


def doubt(date, what, quantity, value, used=None, number=1):
    return Doubt(number, date, what, quantity, value, used)


def check(doubts, *blocks, **changed):
    run = season.run(farm(*(blocks or (ridge(),)), **changed))
    return days_to_check(run, "Gate", doubts)


def test_an_et0_that_is_not_used_would_move_the_block_by_the_difference():
    """9.8 came, 3.8 stands in (all other days are 3.8): 6 mm more would be missing."""
    odd = day(-2)
    (row,) = check([doubt(odd, "impossible", "et0_given_mm", "9.8")],
                   records={"Gate": unknown([odd])})  # fmt: skip
    assert (row.dates, row.ids, row.what, row.by) == ((odd,), (1,), "impossible", "value")
    assert row.et0_sent == (9.8,) and row.et0_used == (pytest.approx(3.8),)
    assert row.made_from == (("stand_in",),) and row.stand_in_rule == ("week",)
    assert row.moves_mm == pytest.approx(6.0)
    assert row.blocks == (("Ridge", pytest.approx(6.0)),)


def test_rain_that_is_not_used_would_fill_the_room_and_no_more():
    """11.4 mm are missing at the end of the day before it takes 3.8 itself: room for 7.6."""
    odd = day(-1)
    (row,) = check([doubt(odd, "rain_ten_times", "rain_mm", "62.0")],
                   records={"Gate": unknown([odd], "rain_mm")})  # fmt: skip
    assert row.by == "value" and row.rain_used == (None,)
    assert row.blocks == (("Ridge", pytest.approx(-7.6)),) and row.moves_mm == pytest.approx(7.6)
    assert row.et0_sent == (None,)  # rain has no part in it


def test_a_block_whose_rain_was_typed_is_not_moved_by_the_stations():
    odd = day(-1)
    rows = check(
        [doubt(odd, "rain_ten_times", "rain_mm", "62.0")], ridge(), ridge("Own", 2, gauge="own"),
        records={"Gate": unknown([odd], "rain_mm")}, rain_typed={"own": {odd: 6.2}},
    )  # fmt: skip
    assert dict(rows[0].blocks) == {"Ridge": pytest.approx(-7.6), "Own": 0.0}


def test_rain_that_is_used_as_it_came_is_tried_without():
    wet = day(-1)
    gate = record(et0=3.8, rain={wet: 5.0})
    (row,) = check([doubt(wet, "rain_same", "rain_mm", "5.0", 5.0)], records={"Gate": gate})
    assert row.by == "without" and row.blocks == (("Ridge", pytest.approx(5.0)),)


def test_low_and_high_that_came_swapped_are_tried_the_right_way_round():
    """Temperature only: the day as the station would have read it."""
    odd = day(-2)
    values = weather(days=(MONDAY - day(-60)).days)
    whole = full_record(values, first=day(-60))
    i = (odd - day(-60)).days
    gate = full_record(values, first=day(-60), without=[i], quantities=("tmax_c", "tmin_c"))
    low, high = (float(values[q][i]) for q in ("tmin_c", "tmax_c"))
    doubts = [doubt(odd, "low_above_high", "tmax_c", str(low)),
              doubt(odd, "low_above_high", "tmin_c", str(high), number=2)]  # fmt: skip
    (row,) = check(doubts, records={"Gate": gate}, et0="computed")
    right = season.run(farm(ridge(), records={"Gate": whole}, et0="computed")).stations["Gate"]
    at = (odd - right.first).days
    assert row.by == "swapped" and row.ids == (1, 2)
    assert row.et0_sent == (pytest.approx(float(right.et0_mm[at])),)
    assert row.moves_mm == pytest.approx(abs(row.et0_sent[0] - row.et0_used[0]))


def test_a_wet_sensor_would_have_lowered_reference_et():
    odd = [day(-4), day(-3), day(-2)]
    values = weather(days=60) | {"rain_mm": np.zeros(60)}
    at = [(d - day(-60)).days for d in odd]
    gate = full_record(values, first=day(-60), without=at, quantities=("rh_max", "rh_min"))
    doubts = [doubt(d, "stuck", q, "100.0", number=n) for n, (d, q) in enumerate(
        (d, q) for d in odd for q in ("rh_max", "rh_min"))]  # fmt: skip
    (row,) = check(doubts, records={"Gate": gate}, et0="computed")
    assert row.dates == tuple(odd) and len(row.ids) == 6
    assert all(sent < used for sent, used in zip(row.et0_sent, row.et0_used, strict=True))
    # full in the evening of day -4: only the last two days count
    gone = sum(u - s for s, u in zip(row.et0_sent[1:], row.et0_used[1:], strict=True))
    assert row.blocks[0][1] == pytest.approx(-gone)


def test_what_happened_before_a_day_known_full_moves_nothing():
    odd = day(-9)
    (row,) = check([doubt(odd, "impossible", "et0_given_mm", "9.8")],
                   records={"Gate": unknown([odd])})  # fmt: skip
    assert row.moves_mm == 0.0 and row.et0_sent == (9.8,)


def test_the_row_that_moves_most_stands_first_and_names_the_block_it_moves_most():
    a, b = day(-3), day(-1)
    rows = check(
        [doubt(a, "impossible", "et0_given_mm", "4.8"),
         doubt(b, "impossible", "et0_given_mm", "9.8", number=2)],
        ridge(kc_fixed=0.5), ridge("Wide", 2),
        records={"Gate": unknown([a, b])},
    )  # fmt: skip
    assert [r.dates[0] for r in rows] == [b, a]
    assert [name for name, _ in rows[0].blocks] == ["Wide", "Ridge"]
    assert [mm for _, mm in rows[0].blocks] == pytest.approx([6.0, 3.0])


def test_findings_that_have_no_figure_are_tried_with_how_far_off_the_day_may_be():
    odd = day(-2)
    (row,) = check([doubt(odd, "unreadable", "et0_given_mm", "n/a")],
                   records={"Gate": unknown([odd])})  # fmt: skip
    assert row.by == "et0_band" and row.et0_sent == (None,)
    assert row.moves_mm == pytest.approx(0.38)  # 10 % of 3.8: every day of the record is alike


def test_a_day_nobody_recorded_is_tried_with_five_millimetres_of_rain():
    gap = day(-1)
    (row,) = check([], records={"Gate": record(et0=3.8, without=[gap])})
    assert (row.what, row.missing, row.by) == ("gap", True, "rain_5mm")
    assert row.blocks == (("Ridge", pytest.approx(-5.0)),)
    typed = check([], records={"Gate": record(et0=3.8, without=[gap])},
                  rain_typed={"farm": {gap: 0.0}})  # fmt: skip
    assert typed[0].by == "et0_band" and typed[0].moves_mm == pytest.approx(0.38)


def test_a_record_that_ends_is_late_and_rain_alone_may_be_missing():
    late = check([], records={"Gate": record(last=day(-3), et0=3.8)})
    assert [(r.what, r.dates) for r in late] == []  # the morning is the day after the record
    run = season.run(farm(ridge(), records={"Gate": record(last=day(-3), et0=3.8)}), MONDAY)
    assert [(r.what, r.dates) for r in days_to_check(run, "Gate", [])] == [
        ("late", (day(-2), day(-1)))
    ]
    dry = check([], records={"Gate": unknown([day(-2)], "rain_mm")})
    assert [(r.what, r.by) for r in dry] == [("rain_gap", "rain_5mm")]


def test_findings_to_come_and_stations_without_a_record_are_left_out():
    assert check([doubt(MONDAY, "impossible", "et0_given_mm", "9.8")]) == ()
    stations = (Station(name="Gate", id=1), Station(name="Empty", id=2))
    run = season.run(farm(ridge(station="Gate"), stations=stations))
    assert days_to_check(run, "Empty", []) == ()


def test_long_ago_is_told_and_not_tried():
    first = day(-500)
    odd = day(-450)
    gate = record(first, et0=3.8)
    for name in ("et0_given_mm", "tmax_c", "tmin_c"):
        gate.values[name][50] = np.nan
    (row,) = check([doubt(odd, "impossible", "et0_given_mm", "9.8")], records={"Gate": gate})
    assert (row.by, row.moves_mm, row.blocks) == ("old", 0.0, ())


def test_many_findings_at_once_move_what_each_moves_alone():
    """More columns than one run takes."""
    days = [day(-3), day(-2), day(-1)]
    doubts = [doubt(d, w, "et0_given_mm", str(4.0 + n / 10), number=10 * n + k)
              for n in range(30) for k, (d, w) in enumerate(zip(days, "abc", strict=True))
              for w in [f"{w}{n}"]]  # fmt: skip
    blocks = [ridge(f"B{k}", k) for k in range(1, 13)]
    rows = check(doubts, *blocks, records={"Gate": unknown(days)})
    assert len(rows) == 90
    for row in rows:
        assert row.moves_mm == pytest.approx(row.et0_sent[0] - 3.8)
