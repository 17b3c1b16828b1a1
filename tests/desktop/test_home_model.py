"""The week as the home page shows it, its text, its sentences: without a window."""

from __future__ import annotations

import csv
import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import pytest
from home_farm import GATE, GULLY, KILN, ON, RIDGE, day, farm_data, hand_out, run, with_pins
from hypothesis import given as for_all
from hypothesis import strategies as st

from desktop.models.needs import need_rows, quickest
from desktop.models.standing import Look, step_of
from desktop.models.week import BACK, WeekTable, gauges, week_table
from desktop.models.week_text import as_clipboard, as_csv, safe_cell, week_rows
from desktop.pages.home_attention import attention
from desktop.pages.home_typing import read_hours, read_number, read_pair
from desktop.pages.home_words import row_sentence
from waterbudget import actions
from waterbudget.records import FarmData, Pin
from waterbudget.weather import DailyRecord


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> FarmData:
    return farm_data(tmp_path_factory.mktemp("farm"))


@pytest.fixture(scope="module")
def table(data: FarmData) -> WeekTable:
    return week_table(run(data), data)


def row(table: WeekTable, block: int):
    return table.rows[table.row_of[block]]


def test_fruit_fill_stands_first_then_the_order_of_the_blocks(table: WeekTable) -> None:
    fill = [r.standing.in_fill for r in table.rows]
    assert any(fill)
    assert fill == sorted(fill, reverse=True)
    rest = [r.block_id for r in table.rows if not r.standing.in_fill]
    assert rest == sorted(rest)


def test_days_are_three_back_and_seven_ahead(table: WeekTable) -> None:
    assert table.days == tuple(day(i) for i in range(-3, 7))
    assert [h.date for h in table.head] == [f.date for f in table.foot] == list(table.days)
    assert table.editable_rain == tuple(day(i) for i in range(-3, 1))


def test_what_ran_is_told_apart(table: WeekTable) -> None:
    kiln, ridge = row(table, KILN), row(table, RIDGE)
    assert [c.state for c in kiln.back] == ["ran", "missed", "none"]
    assert kiln.back[0].hours == 4.0
    assert kiln.back[1].planned_hours == 3.0
    assert [c.state for c in ridge.back] == ["not_confirmed", "none", "ran"]
    assert ridge.back[2].hours == pytest.approx(54.0 / 36.0)
    assert [f.valves for f in table.foot[:BACK]] == [2, 0, 1]
    assert all(f.pump_hours is None for f in table.foot[:BACK])


def test_a_block_without_flow_has_mm_and_m3_but_no_hours(table: WeekTable) -> None:
    gully = row(table, GULLY)
    assert "flow" in gully.missing
    assert gully.hours is None
    assert gully.m3 is not None
    assert all(c.hours is None for c in gully.ahead if c.planned)


def test_a_block_without_hectares_has_mm_only(data: FarmData) -> None:
    blocks = tuple(replace(b, area_ha=None) if b.id == GATE else b for b in data.orchard.blocks)
    bare = replace(data, orchard=replace(data.orchard, blocks=blocks))
    gate = row(week_table(run(bare), bare), GATE)
    assert gate.m3 is None
    assert gate.hours is None
    assert gate.mm is not None


def test_sums_add_up(table: WeekTable) -> None:
    for r in table.rows:
        if r.hours is not None:
            assert r.hours == pytest.approx(sum(c.hours or 0.0 for c in r.ahead))
    assert table.hours == pytest.approx(sum(r.hours or 0.0 for r in table.rows))


def test_pins_are_shown_and_a_pin_of_nothing_keeps_a_day_dry(data: FarmData) -> None:
    pinned = with_pins(data, Pin(KILN, day(1), 2.5), Pin(KILN, day(2), 0.0))
    cells = row(week_table(run(pinned), pinned), KILN).ahead
    assert cells[1].pinned and cells[1].hours == 2.5
    assert cells[2].pinned and not cells[2].planned
    assert not cells[3].pinned


def test_a_week_handed_out_this_morning_is_compared_cell_by_cell(data: FarmData) -> None:
    made = run(data)
    handed = hand_out(data, made)
    table = week_table(run(handed), handed)
    assert table.given is not None and table.given.number == 2
    assert table.changed_cells == 0
    first = next(c.date for c in row(table, KILN).ahead if c.hours)
    later = with_pins(handed, Pin(KILN, first, 0.0))
    changed = week_table(run(later), later)
    cell = changed.cell(KILN, first)
    assert cell is not None and cell.changed and cell.given is not None
    assert changed.changed_cells >= 1


def test_an_earlier_morning_knows_nothing_of_a_week_handed_out_later(data: FarmData) -> None:
    handed = hand_out(data, run(data))
    early = week_table(run(handed, day(-1)))
    assert early.given is not None and early.given.number == 1


def test_typed_rain_of_today_is_shown(data: FarmData) -> None:
    typed = replace(data, rain_typed={"farm": {ON: 7.5}})
    head = week_table(run(typed), typed).head[BACK]
    assert (head.rain_mm, head.rain_from) == (7.5, "typed")


def test_unknown_rain_of_a_past_day_is_unknown_not_nought(data: FarmData) -> None:
    record = data.records["house"]
    rain = record.values["rain_mm"].copy()
    rain[-2] = float("nan")
    cut = DailyRecord(record.first, {**record.values, "rain_mm": rain}, record.flags)
    holed = replace(data, records={"house": cut})
    head = week_table(run(holed), holed).head
    assert head[1].rain_from == "unknown" and head[1].rain_mm is None
    assert head[2].rain_from == "record"


def test_stand_ins_and_forecasts_are_marked(data: FarmData) -> None:
    head = week_table(run(data), data).head
    assert {h.et0_from for h in head[:BACK]} == {"record"}
    assert {h.et0_from for h in head[BACK:]} == {"stand_in"}


def test_the_farm_gauge_comes_first_and_each_gauge_once(data: FarmData) -> None:
    blocks = (replace(data.orchard.blocks[0], gauge="Stream"),
              replace(data.orchard.blocks[1], gauge="stream "))  # fmt: skip
    assert gauges(replace(data.orchard, blocks=blocks)) == ("farm", "Stream")


def test_the_table_reads_the_season(data: FarmData) -> None:
    """One day of rain more, and the standing of a block moves with the season's account."""
    dry = run(data)
    wet_data = replace(data, rain_typed={"farm": {day(-1): 12.0}})
    wet = run(wet_data)
    for made in (dry, wet):
        shown = row(week_table(made), KILN).standing
        assert shown.left_mm == pytest.approx(made.easy_left_mm(made.block("Kiln").column))
    assert row(week_table(wet), KILN).standing.left_mm > row(week_table(dry), KILN).standing.left_mm


@pytest.mark.parametrize(
    ("share", "look"),
    [(1.0, Look.FULL), (0.75, Look.FULL), (0.7499, Look.GOOD), (0.5, Look.GOOD),
     (0.49, Look.HALF), (0.25, Look.HALF), (0.249, Look.LOW), (0.0, Look.LOW)],
)  # fmt: skip
def test_five_steps_by_share_of_easy_water(share: float, look: Look) -> None:
    assert step_of(share) is look


# -- text ---------------------------------------------------------------------------------------


def cells_of(table: WeekTable) -> list[list[str]]:
    return week_rows(table, stage_word=lambda s: s, head=lambda h: h)


def test_csv_is_a_full_rectangle_with_sums(table: WeekTable) -> None:
    rows = list(csv.reader(io.StringIO(as_csv(cells_of(table)))))
    assert {len(r) for r in rows} == {11}
    assert rows[0][2] == ON.isoformat()
    assert [r[0] for r in rows[1:-2]] == [r.name for r in table.rows]
    kiln = next(r for r in rows if r[0] == "Kiln")
    assert sum(float(x) for x in kiln[2:9] if x) == pytest.approx(float(kiln[9]))


def test_no_name_becomes_a_formula(data: FarmData) -> None:
    blocks = tuple(
        replace(b, name="=SUM(A1)\tx") if b.id == KILN else b for b in data.orchard.blocks
    )
    named = replace(data, orchard=replace(data.orchard, blocks=blocks))
    rows = cells_of(week_table(run(named), named))
    lines = as_clipboard(rows).splitlines()
    assert {line.count("\t") for line in lines} == {10}
    assert not any(
        cell.startswith(("=", "+", "-", "@")) for line in lines for cell in line.split("\t")
    )
    assert sum(line.startswith("'=SUM(A1) x\t") for line in lines) == 1


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r=", "\n=", " =", "\x0b="])
def test_whatever_may_begin_a_formula_gets_an_apostrophe(start: str) -> None:
    assert safe_cell(f"{start}A1").startswith("'")
    assert safe_cell("A=1") == "A=1"


@for_all(st.text())
def test_a_cell_is_never_a_formula_and_stays_one_cell(text: str) -> None:
    cell = safe_cell(text)
    assert not cell.lstrip().startswith(("=", "+", "-", "@"))
    assert "\t" not in cell and "\n" not in cell and "\r" not in cell


# -- typing -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "value"),
    [("4", 4.0), ("4.25", 4.25), ("4,25", 4.25), ("4:15", 4.25), ("4h15", 4.25), ("4 h", 4.0),
     ("4.3", 4.25), ("0", 0.0), ("", None), ("24", 24.0), ("25", None), ("-1", None),
     ("four", None), ("4:75", None), ("1e400", None), ("nan", None)],
)  # fmt: skip
def test_hours_are_read_as_people_type_them(typed: str, value: float | None) -> None:
    assert read_hours(typed) == value


@pytest.mark.parametrize(
    ("typed", "pair"),
    [("9 24", (9.0, 24.0)), ("9/24", (9.0, 24.0)), ("9,5 24,1", (9.5, 24.1)), ("-2 8", (-2.0, 8.0)),
     ("9 - 24", (9.0, 24.0)), ("", (None, None)), ("24 9", None), ("9", None), ("9 x", None)],
)  # fmt: skip
def test_low_and_high_are_read(typed: str, pair: tuple[float | None, float | None] | None) -> None:
    assert read_pair(typed) == pair


def test_figures_with_a_comma() -> None:
    assert read_number("3,5") == 3.5
    assert read_number("x") is None


# -- what needs the grower ----------------------------------------------------------------------


def sentences(data: FarmData) -> list[str]:
    made = run(data)
    return [a.sentence for a in attention(made, data, week_table(made, data))]


def test_worst_comes_first(data: FarmData) -> None:
    made = run(data)
    found = attention(made, data, week_table(made, data))
    assert [a.rank for a in found] == sorted(a.rank for a in found)
    assert all(a.action and a.page and a.sentence.endswith(".") for a in found)


def test_a_block_past_its_easy_water_in_fruit_fill_leads(data: FarmData) -> None:
    dry = replace(data, ran=(), given=())
    made = run(dry)
    gate = made.block("Far gate")
    assert made.stage(gate) == "fill" and gate.dryness is not None and gate.dryness.dry
    first = attention(made, dry, week_table(made, dry))[0]
    assert first.what == {"block": GATE}
    assert "Far gate" in first.sentence and "past its easy water" in first.sentence
    assert first.mark is Look.PAST


def test_dryness_the_grower_wants_is_no_alarm(data: FarmData) -> None:
    blocks = tuple(replace(b, dry_until=day(9)) for b in data.orchard.blocks)
    wanted = replace(data, ran=(), given=(), orchard=replace(data.orchard, blocks=blocks))
    assert not any("past its easy water" in s for s in sentences(wanted))


def test_waterings_nobody_confirmed_are_counted(data: FarmData) -> None:
    made = run(data)
    found = [a for a in attention(made, data, week_table(made, data)) if a.page == "ran"]
    assert any("Fri 11 Jul" in a.sentence for a in found)
    assert found[-1].what == {"date": day(-3)}


def test_a_record_that_ends_early_is_pointed_out(data: FarmData) -> None:
    cut = data.records["house"].before(day(-2))
    late = replace(data, records={"house": cut})
    said = [s for s in sentences(late) if "The record ends" in s]
    assert said == ["The record ends Fri 11 Jul: 2 days since stand in."]
    assert not any("The record ends" in s for s in sentences(data))


def test_no_weather_and_no_blocks_are_said(data: FarmData) -> None:
    none = replace(data, records={}, ran=(), given=())
    assert any(s.startswith("No weather yet") for s in sentences(none))
    empty = replace(data, orchard=replace(data.orchard, blocks=()), ran=(), given=())
    assert sentences(empty)[0].startswith("No blocks yet")


def test_over_the_pump_is_said_with_its_remedy(data: FarmData) -> None:
    small = replace(data, orchard=replace(data.orchard, pump_hours=1.0))
    small = with_pins(small, Pin(KILN, day(2), 4.0))  # what is not pinned gives way
    said = [s for s in sentences(small) if "pump's day" in s]
    assert len(said) == 1 and ("too many" in said[0] or "move or shorten" in said[0])


def test_a_short_week_says_who_gives_and_what_it_costs(data: FarmData) -> None:
    small = replace(data, orchard=replace(data.orchard, pump_hours=2.0), pins=())
    made = run(small)
    gave = [g for g in made.shared.gave if g.given_up_mm > 0]
    assert gave
    found = attention(made, small, week_table(made, small))
    said = [a for a in found if "to the others" in a.sentence]
    assert len(said) == 1 and gave[0].block in said[0].sentence
    first = made.block(gave[0].block)
    shown = row(week_table(made, small), first.block.id)
    assert shown.given_up_mm == first.given_up_mm and shown.dry_days == gave[0].dry_days
    assert "It gives" in row_sentence(shown)


def test_nothing_needs_the_grower_when_nothing_does(data: FarmData) -> None:
    kiln = data.orchard.blocks[0]
    wet = replace(kiln, full_on=day(-1))
    calm = replace(
        data, orchard=replace(data.orchard, blocks=(wet,), pump_hours=None), ran=(), given=()
    )
    assert sentences(calm) == []


# -- what the week still needs ------------------------------------------------------------------


def test_blocks_that_are_ready_stand_first(data: FarmData) -> None:
    made = run(data)
    rows = need_rows(week_table(made, data), actions.needs(data, made))
    groups = [r.group for r in rows]
    assert groups == ["ready", "ready", "ready", "nothing"]
    gully = rows[-1]
    assert gully.row.name == "Gully"
    assert gully.states["pruned_on"] == gully.states["flow"] == "missing"
    assert gully.states["area"] == "given"


def test_the_quickest_way_on_is_what_most_blocks_lack_alone(data: FarmData) -> None:
    blocks = tuple(
        replace(b, flow_m3_h=None, outlet_l_h=None) if b.id in (KILN, RIDGE) else b
        for b in data.orchard.blocks
    )
    waiting = replace(data, orchard=replace(data.orchard, blocks=blocks))
    made = run(waiting)
    rows = need_rows(week_table(made, waiting), actions.needs(waiting, made))
    assert [r.group for r in rows].count("no_hours") == 2
    assert quickest(rows) == ("flow", 2)


def test_a_day_before_all_records_can_be_looked_at(data: FarmData) -> None:
    first = data.records["house"].first
    table = week_table(run(data, first + dt.timedelta(days=1)))
    assert len(table.rows) == 4


def test_module_paths_stay_light() -> None:
    """The home page is imported before anything is computed: nothing heavy comes with it."""
    import subprocess
    import sys

    heavy = "('pandas', 'geopandas', 'rasterio', 'pyogrio', 'pyet')"
    code = f"import sys, desktop.pages.home; print([m for m in {heavy} if m in sys.modules])"
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=root,
                          check=True)  # fmt: skip
    assert done.stdout.strip() == "[]"
