"""Nothing that came is overwritten, and the day that is used is the right one of its versions."""

from __future__ import annotations

import datetime as dt
import hashlib

import pytest
from store_samples import NOW, D, day

from waterbudget.errors import Refused
from waterbudget.store import FarmFile

YESTERDAY = D - dt.timedelta(1)  # in the sample farm: tmax 31, rain 1
FRESH = D + dt.timedelta(10)  # no record there
LATER = NOW + dt.timedelta(hours=3)


def bring(farm: FarmFile, *days: object, replace: tuple[dt.date, ...] = ()) -> int:
    """Import days; return the id of the import."""
    data = repr(days).encode()
    with farm.transaction("import", now=NOW):
        number = farm.add_import("weather", "more.csv", data, now=NOW)
        farm.add_days(1, days, import_id=number, replace=replace)  # type: ignore[arg-type]
    return number


def used(farm: FarmFile, date: dt.date) -> dict[str, float]:
    return farm.read().records["Ridge"].day(date)


def correct(farm: FarmFile, date: dt.date, quantity: str, value: float | None) -> None:
    with farm.transaction("correct", now=LATER):
        farm.correct_day(1, date, quantity, value, "gauge was blocked", LATER)


def test_a_changed_day_is_kept_beside_the_one_in_use_until_it_replaces_it(farm: FarmFile) -> None:
    newer = day(YESTERDAY, tmax_c=33.0, rain_mm=2.0)
    bring(farm, newer)
    assert used(farm, YESTERDAY) == {"tmax_c": 31.0, "rain_mm": 1.0}
    bring(farm, newer)  # the same again is not stored again
    assert [v.in_use for v in farm.day_history(1, YESTERDAY)] == [True, False]
    bring(farm, newer, replace=(YESTERDAY,))
    assert used(farm, YESTERDAY) == {"tmax_c": 33.0, "rain_mm": 2.0}
    versions = farm.day_history(1, YESTERDAY)
    assert [v.in_use for v in versions] == [False, False, True]
    assert versions[0].day.values == {"tmax_c": 31.0, "rain_mm": 1.0}
    assert versions[0].import_name == "ridge.csv"


def test_an_identical_day_is_not_stored_again(farm: FarmFile) -> None:
    same = day(YESTERDAY, tmax_c=31.0, rain_mm=1.0, rs_mj=float("nan"))
    bring(farm, same)
    bring(farm, same, replace=(YESTERDAY,))
    assert len(farm.day_history(1, YESTERDAY)) == 1


def test_a_correction_lies_over_the_day_and_leaves_what_came(farm: FarmFile) -> None:
    correct(farm, YESTERDAY, "rain_mm", 8.5)
    correct(farm, YESTERDAY, "tmax_c", None)
    assert used(farm, YESTERDAY) == {"rain_mm": 8.5}
    assert farm.read().records["Ridge"].flags[YESTERDAY] == ("corrected",)
    assert farm.stored_days(1)[YESTERDAY].values == {"tmax_c": 31.0, "rain_mm": 1.0}
    assert farm.stored_days(1, corrected=True)[YESTERDAY].values == {"rain_mm": 8.5}
    came, rain, tmax = farm.day_history(1, YESTERDAY)
    assert came.kind == "import"
    assert came.day.values == {"tmax_c": 31.0, "rain_mm": 1.0}
    assert (rain.kind, rain.why, rain.who, rain.at) == (
        "corrected", "gauge was blocked", "grower", LATER)  # fmt: skip
    assert (tmax.quantity, dict(tmax.day.values)) == ("tmax_c", {})


def test_a_correction_outlives_a_reimport_and_can_be_dropped(farm: FarmFile) -> None:
    correct(farm, YESTERDAY, "rain_mm", 8.5)
    correct(farm, YESTERDAY, "rain_mm", 9.5)
    bring(farm, day(YESTERDAY, rain_mm=2.0), replace=(YESTERDAY,))
    assert used(farm, YESTERDAY) == {"rain_mm": 9.5}
    with farm.transaction("drop", now=LATER):
        farm.drop_correction(1, YESTERDAY, "rain_mm", LATER)
    assert used(farm, YESTERDAY) == {"rain_mm": 2.0}
    assert [v.day.values["rain_mm"] for v in farm.day_history(1, YESTERDAY)] == [1, 2, 8.5, 9.5]


def test_typed_low_and_high_give_way_to_the_record(farm: FarmFile) -> None:
    with farm.transaction("type", now=NOW):
        farm.type_temperatures(1, FRESH, 11.0, 29.0, NOW)
    assert used(farm, FRESH) == {"tmin_c": 11.0, "tmax_c": 29.0}
    assert farm.read().records["Ridge"].flags[FRESH] == ("typed",)
    assert FRESH not in farm.stored_days(1)
    bring(farm, day(FRESH, tmax_c=30.5))
    assert used(farm, FRESH) == {"tmin_c": 11.0, "tmax_c": 30.5}
    assert farm.stored_days(1, corrected=True)[FRESH].values == {"tmin_c": 11.0, "tmax_c": 30.5}


def test_typed_over_a_record_counts_as_a_correction_and_can_be_taken_back(farm: FarmFile) -> None:
    with farm.transaction("type", now=NOW):
        farm.type_temperatures(1, YESTERDAY, 11.0, 29.0, NOW)
    assert used(farm, YESTERDAY) == {"tmin_c": 11.0, "tmax_c": 29.0, "rain_mm": 1.0}
    with farm.transaction("type", now=NOW):
        farm.type_temperatures(1, YESTERDAY, None, None, NOW)
    assert used(farm, YESTERDAY) == {"tmax_c": 31.0, "rain_mm": 1.0}


def test_an_unknown_quantity_is_refused(farm: FarmFile) -> None:
    with pytest.raises(Refused, match="no_such_quantity"):
        correct(farm, YESTERDAY, "snow_mm", 1.0)


def test_typed_rain_belongs_to_its_gauge(farm: FarmFile) -> None:
    with farm.transaction("rain", now=NOW):
        farm.type_rain("Hilltop", D, 12.0, NOW)
        farm.type_rain(" HILLTOP", D, 13.0, NOW)
        farm.type_rain("Farm", D, 5.0, NOW)
    data = farm.read()
    assert data.rain_typed == {"farm": {D: 5.0}, "Hilltop": {D: 13.0}}
    assert data.orchard.gauges == ("Hilltop",)
    with farm.transaction("rain", now=NOW):
        farm.type_rain("hilltop", D, None, NOW)
    assert farm.read().rain_typed == {"farm": {D: 5.0}}
    rows = farm._db.execute("SELECT gauge, mm, in_use FROM rain_typed ORDER BY id").fetchall()
    assert rows == [("farm", 4, 0), ("Hilltop", 12, 0), ("Hilltop", 13, 0), ("farm", 5, 1)]


def test_a_forecast_keeps_its_issue_date(farm: FarmFile) -> None:
    with farm.transaction("forecast", now=NOW):
        farm.add_forecast(1, D + dt.timedelta(1), [day(D + dt.timedelta(1), rain_mm=6.0)])
        farm.add_forecast(1, D, [day(D + dt.timedelta(1), et0_given_mm=5.0)])
    found = farm.read().forecasts["Ridge"]
    assert [(f.issued, dict(f.day.values)) for f in found] == [
        (D, {"et0_given_mm": 5.0}),
        (D + dt.timedelta(1), {"rain_mm": 6.0}),
    ]
    assert farm._db.execute("SELECT count(*) FROM forecasts").fetchone() == (3,)


def test_a_withdrawn_import_leaves_the_days_before_it(farm: FarmFile) -> None:
    second = bring(farm, day(YESTERDAY, rain_mm=2.0), day(FRESH, rain_mm=3.0),
                   replace=(YESTERDAY,))  # fmt: skip
    with farm.transaction("undo", now=NOW):
        farm.withdraw_import(second)
    assert used(farm, YESTERDAY) == {"tmax_c": 31.0, "rain_mm": 1.0}
    assert FRESH not in farm.stored_days(1)
    with farm.transaction("undo", now=NOW):
        farm.withdraw_import(1)
    assert farm.read().records == {}
    assert farm.read().forecasts == {}
    assert farm.list_flags(1) == []
    assert [i.withdrawn for i in farm.imports()] == [True, True]
    assert farm.original(1) == b"date;rain\n2026-02-27;3\n"


def test_an_original_is_kept_once_as_it_came(farm: FarmFile) -> None:
    data = bytes(range(256)) * 400
    with farm.transaction("twice", now=NOW):
        first = farm.add_import("weather", "a.csv", data, hashlib.sha256(data).hexdigest(),
                                {"wind": "2"}, "k", NOW)  # fmt: skip
        again = farm.add_import("weather", "b.csv", data, answers={"wind": "10"}, layout_key="k")
    assert first != again
    assert farm.original(first) == farm.original(again) == data
    assert farm._db.execute("SELECT count(*) FROM originals").fetchone() == (2,)
    assert farm.remembered_answers("k") == {"wind": "10"}
    assert farm.remembered_answers("layout-1") == {"decimal": ","}
    assert farm.remembered_answers("") == {}
    with farm.transaction("undo", now=NOW):
        farm.withdraw_import(again)
    assert farm.remembered_answers("k") == {"wind": "2"}
    with pytest.raises(ValueError, match="sha256"), farm.transaction("x", now=NOW):
        farm.add_import("weather", "c.csv", data, "0" * 64)
    with pytest.raises(Refused, match="no_such_import"):
        farm.original(99)


def test_flags_are_listed_and_accepted(farm: FarmFile) -> None:
    with farm.transaction("flags", now=NOW):
        farm.add_flags(1, 1, [(D - dt.timedelta(3), "swapped", "tmin_c", "40", 12.5)])
    first, second = farm.list_flags(1)
    assert (first.date, first.what, first.quantity, first.value, first.used, first.accepted) == (
        D - dt.timedelta(3), "swapped", "tmin_c", "40", 12.5, False)  # fmt: skip
    assert second.used is None
    with farm.transaction("accept", now=NOW):
        farm.accept_flag(second.id)
    assert [f.accepted for f in farm.list_flags(1)] == [False, True]
    with farm.transaction("undo", now=NOW):
        farm.accept_flag(second.id, False)
    assert [f.accepted for f in farm.list_flags(1)] == [False, False]


@pytest.mark.parametrize(
    ("quantity", "left"), [("tmax_c", None), ("rs_mj", None), ("rain_mm", 5.1)]
)
def test_a_corrected_reading_takes_the_sum_of_the_hours_with_it(
    farm: FarmFile, quantity: str, left: float | None
) -> None:
    bring(farm, day(FRESH, tmax_c=30.0, rs_mj=20.0, rain_mm=0.0, et0_hourly_mm=5.1))
    assert used(farm, FRESH)["et0_hourly_mm"] == 5.1
    correct(farm, FRESH, quantity, 19.0)
    assert used(farm, FRESH).get("et0_hourly_mm") == left
    assert farm.stored_days(1, corrected=True)[FRESH].values.get("et0_hourly_mm") == left
    assert farm.stored_days(1)[FRESH].values["et0_hourly_mm"] == 5.1
