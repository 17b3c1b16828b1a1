"""Calendar files: read back with a library that knows RFC 5545, and by the rules themselves."""

from __future__ import annotations

import datetime as dt

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from waterbudget import ical
from waterbudget.errors import Refused

NOW = dt.datetime(2026, 3, 2, 6, 30, tzinfo=dt.timezone(dt.timedelta(hours=2)))
SHEET = ical.Entry(
    "1-spray-10@hill", dt.date(2026, 3, 2), "Ridge; day 10, \\ first", description="one\ntwo",
    kinds=("spraying", "a,b"), place="Ridge",
)  # fmt: skip


def read_back(*entries, **more):
    text = ical.calendar_text(entries, now=NOW, **more)
    return text, icalendar.Calendar.from_ical(text)


def test_a_whole_day_ends_on_the_next():
    _, found = read_back(SHEET, name="Hill")
    event = found.walk("VEVENT")[0]
    assert event["DTSTART"].dt == dt.date(2026, 3, 2)
    assert event["DTEND"].dt == dt.date(2026, 3, 3)
    assert event["DTSTAMP"].dt == dt.datetime(2026, 3, 2, 4, 30, tzinfo=dt.UTC)
    assert event["UID"] == "1-spray-10@hill"
    assert found["VERSION"] == "2.0" and found["X-WR-CALNAME"] == "Hill"


def test_text_comes_back_as_it_was():
    event = read_back(SHEET)[1].walk("VEVENT")[0]
    assert event["SUMMARY"] == "Ridge; day 10, \\ first"
    assert event["DESCRIPTION"] == "one\ntwo"
    assert event["CATEGORIES"].cats == ["spraying", "a,b"]


def test_hours_are_local_or_utc():
    at = dt.datetime(2026, 3, 2, 14, 15)
    local = ical.Entry("a", at, "x", end=at + dt.timedelta(hours=4, minutes=15))
    zoned = ical.Entry("b", at.replace(tzinfo=NOW.tzinfo), "x")
    first, second = read_back(local, zoned)[1].walk("VEVENT")
    assert first["DTSTART"].dt == at and first["DTEND"].dt == dt.datetime(2026, 3, 2, 18, 30)
    assert second["DTSTART"].dt == dt.datetime(2026, 3, 2, 12, 15, tzinfo=dt.UTC)


@given(st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=300))
def test_no_line_is_longer_than_75_octets_and_none_is_lost(words):
    text, _ = read_back(ical.Entry("u", NOW.date(), words, description=words))
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    unfolded = text.replace("\r\n ", "")
    assert f"SUMMARY:{ical.escaped(words)}" in unfolded


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(Refused) as fault:
        ical.write(tmp_path / "no" / "x.ics", [SHEET], now=NOW)
    assert fault.value.code == "file.cannot_write"
