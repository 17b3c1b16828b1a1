"""The sheet for the valves, the message and the calendar: what stands there, where, in words."""

import dataclasses
import datetime as dt
import re
import shutil
import string
import subprocess
from itertools import combinations

import icalendar
import pytest
from hypothesis import given as given_any
from hypothesis import strategies as st
from orchard_samples import MONDAY, block, change, day, farm, handed_out, pruned, record

from waterbudget import ical, paper, replan, season, sheet, tables
from waterbudget.errors import Refused
from waterbudget.orchard import Pump, walk_key
from waterbudget.paper.page import drawn
from waterbudget.paper.words import Words, parts, rounded_in_turn
from waterbudget.records import FieldEntry, GivenSet, GivenWeek, MeterReading

LANGUAGES = ("en", "es")
NAMES = ("Ridge above the old mill house", "Low", "Wide bench", "Steep", "Clay pit", "Hollow")
GIVEN_AT = dt.datetime(2026, 3, 2, 6, 30)
THU, SUN = day(3), day(6)
needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext")


def hard(**changed):
    """Two people, two pumps, pressures, meters, an overhead block sprayed this week, slow soil."""
    blocks = []
    for i, name in enumerate(NAMES):
        own = {"flow_m3_h": 20.0 + i, "valve": str(12 - 2 * i), "valve_order": (7 * i) % 5 + 1,
               "pressure_kpa": 140.0 + 10 * i, "pump": "River" if i % 2 else None,
               "valve_person": "Ben" if name == "Hollow" else "Ann María"}  # fmt: skip
        if name == "Low":
            own |= {"system": "overhead", "cycles": pruned(8)}
        if name == "Wide bench":
            own |= {"flow_from": "catalogue"}
        if name == "Steep":
            own |= {"system": "micro", "soil": "clay", "outlet_l_h": 50.0, "outlet_radius_m": 2.0,
                    "slope_pct": 15.0}  # fmt: skip
        blocks.append(block(name, i + 1, **own))
    fields = {
        "pump_m3_h": 80.0, "pump_hours": 14.0, "work_to": dt.time(22),
        "pumps": (Pump(name="River", flow_m3_h=70.0),), "phone_for_trouble": "555 0147",
        "meter_readings": (MeterReading(block_id=1, date=day(-2), m3=48210.0),),
    } | changed  # fmt: skip
    return farm(*blocks, **fields)


@pytest.fixture(scope="module")
def run():
    return season.run(hard())


@pytest.fixture(scope="module")
def corrected():
    """The hard week after rain on Tuesday, handed out anew on Thursday for what is left."""
    data = hard()
    first = handed_out(season.run(data))
    known = dataclasses.replace(
        data, given=(first,), rain_typed={"farm": {day(1): 22.0, day(2): 0.0}},
        records={"Gate": record(last=day(2))},
    )  # fmt: skip
    rest = replan.rest(season.run(known, THU), SUN)
    week = GivenWeek(2, THU, dt.datetime.combine(THU, dt.time(12)), rest, SUN)
    return season.run(dataclasses.replace(known, given=(first, week)), THU), week


def many(count):
    """A handed-out week of so many waterings of one person."""
    blocks = [block(f"B{k:02}", k + 1, valve=str(k + 1), valve_person="Ann") for k in range(count)]
    sets = tuple(
        GivenSet(k + 1, day(k % 7), dt.time(6 + k % 5, 15), 4.25, 8.5, 85.0) for k in range(count)
    )
    return season.run(farm(*blocks)), GivenWeek(5, MONDAY, GIVEN_AT, sets)


def canvas(run, language="en", given=None, person=None):
    return drawn(run, sheet.valve_sheets(run, given, person), Words(language), given)


def pdf_text(run, path, **how):
    paper.write_week_pdf(run, path, **how)
    read = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True)
    return read.stdout.decode()


def hours_in(text):
    return [int(h) + int(m) / 60 for h, m in re.findall(r"(\d+) h (\d\d)\b", text)]


# ---------------------------------------------------------------- order and meters


def test_valves_stand_in_walking_order_figures_read_as_numbers():
    named = [("z", {"valve": "V10"}), ("y", {"valve": "V9"}), ("x", {"valve": "1"}), ("w", {}),
             ("v", {"valve": "V10", "valve_order": 1}), ("u", {"valve_order": 2})]  # fmt: skip
    blocks = [block(name, k + 1, **own) for k, (name, own) in enumerate(named)]
    assert "".join(b.name for b in sorted(blocks, key=walk_key)) == "vuxyzw"


def dial(data, name, given=None, on=MONDAY):
    run = season.run(data, on)
    return [x.stop for s in sheet.valve_sheets(run, given) for x in s.lines if x.block == name]


def test_the_meter_stop_is_the_last_reading_and_the_water_since():
    data = farm(block(), meter_readings=(MeterReading(block_id=1, date=day(-3), m3=500.0),))
    (week,) = sheet.valve_sheets(season.run(data))
    volumes = [x.m3 for x in week.lines]
    assert len(volumes) > 1
    stands = [x.stop.m3 for x in week.lines]
    assert stands[0] == pytest.approx(500 + volumes[0])
    assert stands[-1] == pytest.approx(500 + sum(volumes))
    early = GivenWeek(1, day(-7), dt.datetime(2026, 2, 23, 6), (
        GivenSet(1, day(-4), dt.time(6), 1.0, 2.0, 20.0),  # before the reading
        GivenSet(1, day(-2), dt.time(6), 2.0, 4.0, 40.0),
    ))  # fmt: skip
    (later,) = sheet.valve_sheets(season.run(dataclasses.replace(data, given=(early,))))
    assert later.lines[0].stop.m3 == pytest.approx(540 + later.lines[0].m3)


def test_a_reading_of_the_week_itself_changes_nothing_on_its_sheet():
    data = farm(block(), meter_readings=(MeterReading(block_id=1, date=day(-3), m3=500.0),))
    week = handed_out(season.run(data))
    data = dataclasses.replace(data, given=(week,))
    before = dial(data, "Ridge", week)
    read = (*data.meter_readings, MeterReading(block_id=1, date=day(1), m3=4000.0))
    data = dataclasses.replace(data, meter_readings=read, records={"Gate": record(last=day(2))})
    assert dial(data, "Ridge", week, THU) == before


def test_without_a_reading_the_water_is_counted_from_the_start(run):
    lines = {x.block: x for s in sheet.valve_sheets(run) for x in s.lines}
    assert lines["Clay pit"].stop == sheet.Stop(None, False)
    words = [p.text for p in canvas(run).placed]
    assert f"+{words[words.index('Clay pit') + 3]}" in words


def test_two_valves_open_on_one_meter_close_by_the_clock():
    pair = [block(n, k, meter="Main", flow_m3_h=20.0) for k, n in ((1, "One"), (2, "Two"))]
    read = (MeterReading(block_id=2, date=day(-1), m3=100.0),)
    data = farm(*pair, meter_readings=read)

    def week(second):
        return GivenWeek(1, MONDAY, GIVEN_AT, (
            GivenSet(1, MONDAY, dt.time(6), 2.0, 4.0, 40.0),
            GivenSet(2, MONDAY, second, 2.0, 4.0, 40.0),
        ))  # fmt: skip

    assert [s.m3 for s in dial(data, "Two", week(dt.time(8)))] == [180.0]
    assert [s.m3 for s in dial(data, "One", week(dt.time(8)))] == [140.0]
    assert [s.shared for s in dial(data, "Two", week(dt.time(7, 45)))] == [True]
    shown = [p.text for p in canvas(season.run(data), given=week(dt.time(7, 45))).placed]
    assert shown.count("clock") == 2


# ---------------------------------------------------------------- what stands on the paper


@needs_poppler
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_watering_stands_once_and_the_sums_are_the_plans(run, tmp_path, language):
    for person in ("Ann María", "Ben"):
        text = pdf_text(run, tmp_path / "w.pdf", language=language, person=person)
        planned = [
            s.hours for b in run.blocks if b.block.valve_person == person for s in b.plan.sets
        ]
        pages = text.rstrip("\f").split("\f")
        head, *rest = hours_in(pages[0])
        assert head == pytest.approx(sum(planned), abs=0.01)
        rows, sums = rest[:-1], rest[-1:]
        for page in pages[1:]:
            again, *more = hours_in(page)
            assert again == head
            rows, sums = rows + more[:-1], sums + more[-1:]
        assert sorted(rows) == pytest.approx(sorted(planned), abs=0.01)
        assert sum(sums) == pytest.approx(sum(planned), abs=0.01)


@needs_poppler
def test_the_paper_speaks_its_language(run, tmp_path):
    english = pdf_text(run, tmp_path / "e.pdf")
    spanish = pdf_text(run, tmp_path / "s.pdf", language="es")
    assert "WATERINGS" in english and "electrician" in english and "re-entry" in english
    assert "RIEGOS" in spanish and "electricista" in spanish and "reingreso" in spanish
    for word in ("MON", "BLOCK", "START", "Remarks", "never", "meter"):
        assert word in english and word not in spanish
    assert "555 0147" in english and "555 0147" in spanish


@needs_poppler
@pytest.mark.parametrize(("count", "pages"), [(1, 1), (28, 1), (29, 2), (57, 3)])
def test_a_page_holds_28_rows(count, pages, tmp_path):
    run, week = many(count)
    text = pdf_text(run, tmp_path / "w.pdf", given=week)
    assert text.count("\f") == pages
    for k in range(pages):
        assert f"{k + 1} of {pages}" in text.split("\f")[k]
    assert len(hours_in(text)) == count + 2 * pages


def test_fill_is_white_on_black_a_spraying_day_a_black_row_and_a_catalogue_flow_marked(run):
    placed = canvas(run).placed
    white = {p.text for p in placed if p.white}
    assert {"12", "8", "6", "4", "2"} <= white and "10" not in white
    assert "SPRAYING, STAY OUT: Low" in white
    plain = {p.text for p in placed if not p.white}
    assert {"FEEDING: Low", "KEEP LEAVES DRY: Low"} <= plain
    (lines,) = ([x for x in s.lines if x.from_catalogue] for s in sheet.valve_sheets(run)[:1])
    about = [p for p in placed if p.text.startswith("~") and "flow" not in p.text]
    assert len(about) == len(lines) > 0


def test_pressure_pump_and_parts_stand_beside_the_watering(run):
    placed = [p.text for p in canvas(run, person="Ann María").placed]
    assert "140" in placed and "Pump A = main pump · B = River" in placed
    assert {"A", "B"} <= set(placed)
    cut = [p for p in placed if p.startswith("= ")]
    steep = [s for s in run.block("Steep").plan.sets if s.pulses > 1]
    assert len(cut) == len(steep) > 0
    assert all(re.fullmatch(r"= \d+ × 30( \+ 15)? min, 60 min between", c) for c in cut)


@pytest.mark.parametrize(("hours", "told"), [(1.0, "2 × 30"), (1.25, "2 × 30 + 15")])
def test_the_parts_of_a_watering_add_up_to_its_hours(run, hours, told):
    line = dataclasses.replace(sheet.valve_sheets(run)[0].lines[0], hours=hours, on_min=30)
    assert parts(line) == told


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_overlaps_is_cut_or_under_12_points(run, corrected, language):
    after, week = corrected
    full, given = many(28)
    for drawing in (canvas(run, language), canvas(after, language, week),
                    canvas(full, language, given)):  # fmt: skip
        for p in drawing.placed:
            assert p.size >= 12 and p.letters <= p.width + 1e-6, p
            assert p.x >= 7.9 and p.x + p.width <= 202.1, p
            assert p.y >= 7.9 and p.y + p.height <= 289.5, p
            assert not p.text.endswith("…") or p.text.startswith(("Ridge", "* ")), p
        pages = {p.page for p in drawing.placed}
        for page in pages:
            on = [p for p in drawing.placed if p.page == page]
            for a, b in combinations(on, 2):
                apart = (
                    a.x + a.width <= b.x + 1e-6 or b.x + b.width <= a.x + 1e-6
                    or a.y + a.height <= b.y + 1.01 or b.y + b.height <= a.y + 1.01
                )  # fmt: skip
                assert apart, (a, b)


@given_any(st.lists(st.one_of(st.none(), st.floats(0, 5000)), max_size=40), st.integers(0, 1))
def test_printed_volumes_add_up_to_the_rounded_sum(volumes, decimals):
    printed = rounded_in_turn(volumes, decimals)
    known = [v for v in volumes if v is not None]
    assert [p is None for p in printed] == [v is None for v in volumes]
    total = sum(p for p in printed if p is not None)
    assert total == pytest.approx(round(sum(known), decimals), abs=1e-6)
    for p, v in zip(printed, volumes, strict=True):
        assert p is None or abs(p - v) <= 10**-decimals + 1e-9


# ---------------------------------------------------------------- handed out, corrected


def test_a_week_handed_out_is_printed_the_same_again(tmp_path):
    data = hard()
    week = dataclasses.replace(handed_out(season.run(data)), number=7)
    data = dataclasses.replace(data, given=(week,))
    paper.write_week_pdf(season.run(data), tmp_path / "a.pdf", given=week)
    later = change(data, "Clay pit", kc_fixed=0.3)
    read = (*later.meter_readings, MeterReading(block_id=1, date=MONDAY, m3=50000.0))
    later = dataclasses.replace(later, meter_readings=read)
    again = season.run(later, MONDAY)
    assert sheet.week(again) != sheet.week(season.run(data))
    paper.write_week_pdf(again, tmp_path / "b.pdf", given=week)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_a_corrected_week_shows_the_old_hours_and_what_falls_away(corrected):
    run, week = corrected
    before = {(s.block_id, s.date): s for s in run.data.given[0].sets}
    sheets = sheet.valve_sheets(run, week)
    changed = [x for s in sheets for x in s.lines if x.changed and x.was_hours is not None]
    dropped = [x for s in sheets for x in s.dropped]
    assert changed and dropped
    for x in (*changed, *dropped):
        was = before[x.block_id, x.date]
        assert (x.was_hours, x.was_start) == (was.hours, was.start)
    gone = {k for k in before if k[1] >= THU} - {(s.block_id, s.date) for s in week.sets}
    assert {(x.block_id, x.date) for x in dropped} == gone
    words = [p.text for p in canvas(run, given=week).placed]
    assert words.count("DO NOT OPEN") == len(dropped) and words.count("was") == len(changed)
    assert "Takes the place of the earlier sheet from THU 5 on." in words
    hours = sum(x.hours for s in sheets for x in s.lines)
    assert hours == pytest.approx(sum(s.hours for s in week.sets))


def test_only_one_person_and_only_a_known_one(run):
    (ben,) = sheet.valve_sheets(run, person="ben")
    assert ben.person == "Ben" and {x.block for x in ben.lines} == {"Hollow"}
    with pytest.raises(Refused, match=r"sheet\.no_person"):
        sheet.valve_sheets(run, person="Cleo")
    with pytest.raises(Refused, match=r"sheet\.no_language"):
        paper.messages(run, language="xx")


def test_an_empty_week_says_so(tmp_path):
    idle = season.run(farm(block(flow_m3_h=None, spray_days="200", feed_days="200")))
    assert [p.text for p in canvas(idle).placed].count("No watering this week.") == 1


# ---------------------------------------------------------------- message, calendar, rows


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_message_names_every_watering_and_stays_short(run, language):
    found = paper.messages(run, language=language)
    assert set(found) == {"Ann María", "Ben"}
    for person, text in found.items():
        (own,) = sheet.valve_sheets(run, person=person)
        assert len(text) < 1000
        assert len(hours_in(text.replace("h", " h ").replace("  ", " "))) == len(own.lines)
        assert "555 0147" in text
    full, week = many(28)
    (text,) = paper.messages(full, given=week, language=language).values()
    assert len(text) < 1000 and text.count("4 h 15") == 28
    crowd, week = many(57)
    (text,) = paper.messages(crowd, given=week, language=language).values()
    assert text.count("4h15") == 57 and len(text) < 1000


def test_a_message_goes_by_the_start_and_tells_what_changed(corrected):
    run, week = corrected
    text = paper.messages(run, given=week)["Ann María"]
    blocks = text.split("\n")
    assert any(line.endswith(")") and "do not open (was " in line for line in blocks)
    assert any(line.startswith("* ") and "(was " in line for line in blocks)
    for part in re.split(r"\n(?=[A-Z]{3} \d)", text)[1:]:
        starts = re.findall(r"(?<!was )(\d\d:\d\d)", part)
        assert starts == sorted(starts)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_calendar_file_holds_every_watering(run, language):
    entries = paper.watering_entries(run, language=language)
    text = ical.calendar_text(entries, now=GIVEN_AT, name="Farm")
    events = icalendar.Calendar.from_ical(text).walk("VEVENT")
    lines = [x for s in sheet.valve_sheets(run) for x in s.lines]
    assert len(events) == len(lines) == len({str(e["UID"]) for e in events})
    assert not icalendar.Calendar.from_ical(text).walk("VALARM")
    by_uid = {f"{x.block_id}-{x.date:%Y%m%d}": x for x in lines}
    for e in events:
        number, _, _, date = str(e["UID"]).split("@")[0].split("-")
        x = by_uid[f"{number}-{date}"]
        length = e["DTEND"].dt - e["DTSTART"].dt
        pauses = dt.timedelta(minutes=x.off_min * (x.pulses - 1))
        assert length == dt.timedelta(hours=x.hours) + pauses
        assert x.block in str(e["SUMMARY"]) and x.valve in str(e["SUMMARY"])


def test_the_list_of_waterings_has_one_row_each(run):
    rows = sheet.set_rows(sheet.valve_sheets(run))
    assert all(tuple(r) == sheet.SET_COLUMNS for r in rows)
    planned = [s.hours for b in run.blocks for s in b.plan.sets]
    assert sum(r["hours"] for r in rows) == pytest.approx(sum(planned), abs=0.01)
    assert len(rows) == len(planned)


def test_a_moved_feed_stands_on_its_new_day():
    entry = FieldEntry(block_id=2, date=day(4), kind="feed", cycle_day=10, id=1)
    run = season.run(hard(field_entries=(entry,)))
    marks = [m for s in sheet.valve_sheets(run) for m in s.marks if m.kind == "feed"]
    assert [(m.date, m.blocks) for m in marks] == [(day(4), ("Low",))]


# ---------------------------------------------------------------- words


def fields(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_language_has_every_word_with_the_same_fields():
    assert set(LANGUAGES) <= set(tables.languages())
    english = tables.words("en")
    for language in tables.languages():
        words = tables.words(language)
        assert list(words) == list(english)
        for code, text in words.items():
            assert fields(text) == fields(english[code]), (language, code)
