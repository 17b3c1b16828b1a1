"""Every hard file of the collection is read rightly, asked about once, or refused."""

from __future__ import annotations

import importlib

import pytest
from weather_building import Case

from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.weather import read_weather

PARTS = ["weather_cases_text", "weather_cases_time", "weather_cases_units", "weather_cases_odd",
         "weather_cases_subdaily", "weather_cases_formats", "weather_cases_more",
         "weather_cases_walked"]  # fmt: skip
CASES: list[Case] = [c for part in PARTS for c in importlib.import_module(part).CASES]


def test_the_collection_is_large_and_named_once() -> None:
    names = [c.id for c in CASES]
    assert len(names) == len(set(names))
    assert len(names) >= 60


@pytest.mark.parametrize("case", [c for c in CASES if c.days is not None], ids=lambda c: c.id)
def test_read_rightly(case: Case) -> None:
    found = read_weather(case.bytes(), name=case.id, **case.given)
    by_date = {day.date: day for day in found.days}
    assert [d.date for d in found.days] == sorted(by_date)
    if case.count is not None:
        assert len(found.days) == case.count
    for date, values in case.days.items():
        assert date in by_date, f"{date} is lost"
        for name, value in values.items():
            got = by_date[date].values.get(name)
            if value is None:
                assert got is None, f"{date} {name}"
            else:
                assert got == pytest.approx(value, abs=case.tolerance), f"{date} {name}"
    flags = {(f.date, f.what) for f in found.flags}
    assert case.flags <= flags
    if case.only_flags:
        assert flags == case.flags
    for f in found.flags:
        assert f.what in by_date[f.date].flags
    told = {n.code.removeprefix("weather.note.") for n in found.notes}
    assert case.notes <= told
    if case.gaps is not None:
        assert len(found.gaps) == case.gaps


@pytest.mark.parametrize("case", [c for c in CASES if c.asks is not None], ids=lambda c: c.id)
def test_asks_everything_at_once(case: Case) -> None:
    with pytest.raises(AnswersNeeded) as caught:
        read_weather(case.bytes(), name=case.id, **case.given)
    asked = {q.key: q.choices for q in caught.value.questions}
    assert asked == case.asks
    for q in caught.value.questions:
        assert q.sample, f"{q.key} shows no row"
        assert (q.choices is None) == (q.format is not None)


@pytest.mark.parametrize("case", [c for c in CASES if c.refused is not None], ids=lambda c: c.id)
def test_refused_with_one_sentence(case: Case) -> None:
    with pytest.raises(Refused) as caught:
        read_weather(case.bytes(), name=case.id, **case.given)
    assert caught.value.code == case.refused
    for key, value in case.where.items():
        assert caught.value.fields[key] == value
