"""Days to check: accepting, correcting, going back; what came stays."""

from __future__ import annotations

import datetime as dt

import pytest

from waterbudget import actions, season
from waterbudget.errors import Refused

ODD, ALSO = dt.date(2025, 7, 9), dt.date(2025, 7, 11)


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


@pytest.fixture
def odd(file, now):
    """Two findings: rain ten times too much, an ET0 next to the one in use."""
    station = file.read().orchard.station("House")
    with file.transaction("test", now=now):
        file.add_flags(None, station.id, [
            (ODD, "rain_ten_times", "rain_mm", "62.0", None),
            (ALSO, "impossible", "et0_given_mm", "4.6", None),
        ])  # fmt: skip
    return file


def flags(file):
    return file.list_flags(file.read().orchard.station("House").id)


def ids(file):
    return {f.date: f.id for f in flags(file)}


def used(file, date, quantity):
    return file.read().records["House"].day(date).get(quantity)


def test_rows_come_with_their_ids_and_the_greatest_first(odd):
    rows = [r for r in actions.days_to_check(odd) if r.ids]
    assert {r.ids[0] for r in rows} == set(ids(odd).values())
    assert rows[0].moves_mm >= rows[1].moves_mm
    run = season.run(odd.read())
    assert actions.days_to_check(odd, run=run) == actions.days_to_check(odd, station="house")
    early = actions.days_to_check(odd, on=dt.date(2025, 7, 10))
    assert {d for r in early if r.ids for d in r.dates} == {ODD}


def test_one_finding_is_accepted_and_stays_in_the_file(odd, now):
    actions.accept_flag(odd, ids(odd)[ODD], now=now)
    assert [f.accepted for f in flags(odd)] == [True, False]
    assert all(ODD not in r.dates for r in actions.days_to_check(odd) if r.ids)
    actions.accept_flags(odd, [ids(odd)[ODD]], accepted=False, now=now)
    assert not any(f.accepted for f in flags(odd))


def test_a_finding_that_is_not_there_is_refused_and_nothing_is_accepted(odd, now):
    with refused("days.no_such_flag"):
        actions.accept_flags(odd, [ids(odd)[ODD], 99], now=now)
    assert not any(f.accepted for f in flags(odd))


def test_the_others_are_those_that_move_less_than_a_millimetre(odd, now):
    moved = {r.ids[0]: r.moves_mm for r in actions.days_to_check(odd) if r.ids}
    small = ids(odd)[ALSO]
    assert moved[small] < 1.0 < moved[ids(odd)[ODD]]
    assert actions.accept_others(odd, now=now) == (small,)
    assert {f.id for f in flags(odd) if f.accepted} == {small}
    assert actions.accept_others(odd, now=now) == ()


def test_a_correction_is_used_settles_its_finding_and_keeps_what_came(odd, now):
    before = used(odd, ODD, "rain_mm")
    settled = actions.correct_day(odd, None, ODD, "rain_mm", 6.2, "point slipped", now=now)
    assert settled == (ids(odd)[ODD],)
    assert used(odd, ODD, "rain_mm") == 6.2
    assert [f.accepted for f in flags(odd)] == [True, False]
    station = odd.read().orchard.station("House")
    history = odd.day_history(station.id, ODD)
    assert history[0].kind == "import" and history[0].day.values["rain_mm"] == before
    assert (history[-1].kind, history[-1].why) == ("corrected", "point slipped")
    actions.drop_correction(odd, "house", ODD, "rain_mm", now=now)
    assert used(odd, ODD, "rain_mm") == before
    assert len(odd.day_history(station.id, ODD)) == len(history)


def test_a_figure_may_be_set_unknown(odd, now):
    actions.correct_day(odd, "House", ODD, "rain_mm", None, "gauge knocked over", now=now)
    assert used(odd, ODD, "rain_mm") is None


@pytest.mark.parametrize(
    ("date", "quantity", "value", "code"),
    [
        (ODD, "rain", 3.0, "farmfile.no_such_quantity"), (ODD, "rain_mm", 501.0, "days.cannot_be"),
        (ODD, "rain_mm", float("nan"), "days.cannot_be"), (ODD, "rh_max", -1.0, "days.cannot_be"),
        (dt.date(2026, 7, 9), "rain_mm", 3.0, "weather.in_future"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_changes(odd, now, date, quantity, value, code):
    before = odd.read()
    with refused(code):
        actions.correct_day(odd, None, date, quantity, value, "x", now=now)
    assert odd.read() == before and not any(f.accepted for f in flags(odd))


def test_a_low_above_the_high_is_refused(odd, now):
    actions.correct_day(odd, None, ODD, "tmax_c", 25.0, "x", now=now)
    with refused("temperature.low_above_high"):
        actions.correct_day(odd, None, ODD, "tmin_c", 26.0, "x", now=now)
    actions.correct_day(odd, None, ODD, "tmin_c", 12.0, "x", now=now)
    assert used(odd, ODD, "tmin_c") == 12.0


def test_an_unknown_station_is_refused(odd, now):
    with refused("station.unknown"):
        actions.correct_day(odd, "Moon", ODD, "rain_mm", 1.0, "x", now=now)
