"""The source in the week: pumps out of order, rights and what ran, pulses, cost."""

from __future__ import annotations

import datetime as dt

import pytest
from orchard_samples import MONDAY, block, day, farm, record

from waterbudget import season, sheet
from waterbudget.orchard import Pump
from waterbudget.records import Ran


def dry(name="Ridge", number=1, **changed):
    """Due for water every few days."""
    return block(name, number, **({"kc_fixed": 1.0, "full_on": day(-1)} | changed))


def notes(run):
    return [n.code for n in sheet.week(run)["made_with"]["notes"]]


def test_blocks_of_a_pump_out_of_order_wait_and_the_note_names_pump_and_days():
    river = Pump(name="River", flow_m3_h=40.0, out_from=day(1), out_to=day(3))
    data = farm(dry(), dry("Bank", 2, pump="river"), pumps=(river,), pump_m3_h=60.0)
    run = season.run(data)
    bank = run.block("Bank")
    assert bank.limits.may_water == (True, False, False, False, True, True, True)
    assert not {s.day for s in bank.plan.sets} & {1, 2, 3}
    assert all(run.block("Ridge").limits.may_water)
    (note,) = [n for n in run.notes if n.code == "source.out"]
    assert (note.fields["pump"], note.fields["first"], note.fields["last"]) == (
        "River", day(1), day(3))  # fmt: skip
    assert note.fields["blocks"] == "Bank"
    assert all(run.pump_days_by_pump["River"][d].hours == 0 for d in (1, 2, 3))


def test_a_pump_that_waits_longer_than_the_week_is_named_with_its_own_last_day():
    river = Pump(name="River", flow_m3_h=40.0, out_from=day(-2), out_to=day(20))
    run = season.run(farm(dry(), dry("Bank", 2, pump="river"), pumps=(river,), pump_m3_h=60.0))
    (note,) = [n for n in run.notes if n.code == "source.out"]
    assert (note.fields["first"], note.fields["last"]) == (day(0), day(20))


def test_the_first_pump_until_further_notice():
    run = season.run(farm(dry(), pump_out_from=day(2)))
    assert "source.first_out_open" in [n.code for n in run.notes]
    assert run.block("Ridge").limits.may_water == (True, True, *(False,) * 5)


def test_two_pumps_give_the_sums_of_the_week():
    pumps = (Pump(name="River", flow_m3_h=40.0, hours=9.0),)
    blocks = [dry(f"B{k}", k + 1, pump="River" if k % 2 else None) for k in range(6)]
    run = season.run(farm(*blocks, pumps=pumps, pump_m3_h=40.0, pump_hours=10.0))
    for d in range(7):
        own = [run.pump_days_by_pump[name][d] for name in ("", "River")]
        assert run.pump_days[d].hours == sum(p.hours for p in own)
        for pump, most in zip(own, (10.0, 9.0), strict=True):
            assert pump.hours - pump.over_hours <= most
    total = sheet.totals(run)
    assert [p["pump"] for p in total["pumps"]] == [None, "River"]
    assert sum(p["m3"] for p in total["pumps"]) == pytest.approx(
        sum(d["m3"] for d in total["days"])
    )


def test_what_is_left_of_the_rights_adds_up_to_the_meters():
    """Metered from 1 January on; the week's right counts from its Monday."""
    ran = (
        Ran(1, dt.date(2025, 12, 31), m3=900.0), Ran(1, dt.date(2026, 1, 1), m3=100.0),
        Ran(2, dt.date(2026, 2, 20), m3=50.0), Ran(1, day(0), m3=40.0), Ran(2, day(2), m3=30.0),
        Ran(9, dt.date(2026, 2, 1), m3=7.0), Ran(1, day(3), m3=1000.0),
    )  # fmt: skip
    data = farm(dry(), dry("Low", 2), ran=ran, right_m3_week=300.0, right_m3_year=5000.0,
                records={"Gate": record(last=day(2))})  # fmt: skip
    run = season.run(data, day(3))
    use = {u.kind: u for u in run.source.used}
    assert (use["week"].first, use["week"].last) == (day(0), day(6))
    assert use["week"].used_m3 == pytest.approx(70.0)
    assert use["year"].used_m3 == pytest.approx(100.0 + 50.0 + 70.0 + 7.0)
    assert use["year"].left_m3 == pytest.approx(5000.0 - 227.0)
    spans = [(r.kind, r.first, r.last, r.m3) for r in run.source.rights]
    assert spans == [("week", 0, 3, 230.0), ("week", 4, 6, 300.0), ("year", 0, 6, 4773.0)]


def test_the_year_of_the_right_may_begin_in_another_month():
    ran = (Ran(1, dt.date(2025, 9, 30), m3=900.0), Ran(1, dt.date(2025, 10, 1), m3=100.0))
    data = farm(dry(), ran=ran, right_m3_year=5000.0, right_from_month=10)
    (use,) = season.run(data).source.used
    assert (use.first, use.last) == (dt.date(2025, 10, 1), dt.date(2026, 9, 30))
    assert use.used_m3 == pytest.approx(100.0)


def test_a_week_past_the_right_is_told_with_the_cubic_metres_too_many():
    run = season.run(farm(dry(), right_m3_week=5.0))
    wanted = sum(p.m3 for p in run.pump_days)
    if wanted > 5.5:  # whoever shares the water may have kept it inside
        (note,) = [n for n in sheet.week(run)["made_with"]["notes"] if n.code == "source.over_week"]
        assert float(note.fields["more"]) == pytest.approx(wanted - 5.0, abs=1.0)


STEEP = {"system": "micro", "outlet_l_h": 50.0, "outlet_radius_m": 2.0, "slope_pct": 15.0}


def test_steep_clay_is_watered_in_pulses_shown_in_the_week_and_on_the_sheet():
    run = season.run(farm(dry(soil="clay", valve="4", **STEEP), dry("Sand", 2, **STEEP)))
    clay, sand = (next(b for b in sheet.week(run)["blocks"] if b["block"] == n)
                  for n in ("Ridge", "Sand"))  # fmt: skip
    assert clay["pulses"]["rate_mm_h"] == pytest.approx(3.98, abs=0.01)
    assert clay["pulses"]["soil_takes_mm_h"] == 1.5
    assert "pulses" in clay["flags"] and "source.pulses" in notes(run)
    assert sand["pulses"] is None and "pulses" not in sand["flags"]
    assert all(s["pulses"] == 1 for s in sand["sets"]) and sand["sets"]
    for s in clay["sets"]:
        assert (s["on_min"], s["off_min"]) == (30, 60)
        assert s["pulses"] == -(-s["hours"] // 0.5)
        window = s["hours"] * 60 + (s["pulses"] - 1) * 60
        assert s["start"].hour * 60 + window <= 18 * 60
    lines = [x for page in sheet.valve_sheets(run) for x in page.lines if x.block == "Ridge"]
    assert [x.pulses for x in lines] == [s["pulses"] for s in clay["sets"]]
    assert sum(x.hours for x in lines) == pytest.approx(clay["hours"])


def test_people_bound_the_valves_of_a_day():
    data = farm(*[dry(f"B{k}", k + 1) for k in range(6)], people=1, people_hours=1.0,
                minutes_a_valve=20.0)  # fmt: skip
    run = season.run(data)
    assert run.source.valves_a_day == 3
    kept = [
        sum(s.day == d and not s.over for b in run.blocks for s in b.plan.sets) for d in range(7)
    ]
    assert max(kept) <= 3


# ---------------------------------------------------------------- cost


def test_265_m3_over_60_m_take_72_kwh_in_the_week_and_the_parts_add_up():
    """72 kWh worked by hand: 265 m3 x 1000 kg x 9.81 x 60 m / 0.6 / 3.6e6."""
    data = farm(dry(), dry("Low", 2), pump_head_m=60.0, pump_efficiency=0.6, price_kwh=0.25,
                wage_hour=6.0, minutes_a_valve=10.0, currency="Kr")  # fmt: skip
    answer = sheet.week(season.run(data))
    for b in answer["blocks"]:
        made = b["cost"]
        assert made["energy_kwh"] / b["m3"] * 265 == pytest.approx(72.2, abs=0.1)
        assert made["energy_cost"] == pytest.approx(made["energy_kwh"] * 0.25)
        assert made["labour_cost"] == pytest.approx(len(b["sets"]) * 1.0)
        assert made["per_m3"] == pytest.approx(
            (made["energy_cost"] + made["labour_cost"]) / b["m3"])  # fmt: skip
        assert made["currency"] == "Kr"
    total = answer["totals"]["cost"]
    for key in ("energy_kwh", "energy_cost", "labour_cost"):
        assert total[key] == pytest.approx(sum(b["cost"][key] for b in answer["blocks"]))
    assert answer["totals"]["energy_kwh"] == total["energy_kwh"]


def test_the_tariff_is_that_of_the_clock_hours_of_each_set():
    """With the whole night cheap, what runs in it costs the cheap price and nothing else."""
    data = farm(dry(), pump_head_m=60.0, price_kwh=1.0, price_kwh_night=0.25, night_sets=True,
                work_to=dt.time(20), night_from=dt.time(12), night_to=dt.time(4))  # fmt: skip
    run = season.run(data)
    made = sheet.week(run)["blocks"][0]["cost"]
    starts = [s.start for s in run.block("Ridge").plan.sets]
    assert all(s >= dt.time(12) for s in starts)
    assert made["cheap_share"] == 1.0
    assert made["energy_cost"] == pytest.approx(0.25 * made["energy_kwh"])


def test_dear_nights_are_paid_but_not_sought():
    data = farm(dry(), pump_head_m=60.0, price_kwh=0.25, price_kwh_night=1.0, night_sets=True,
                night_from=dt.time(12), night_to=dt.time(4))  # fmt: skip
    run = season.run(data)
    assert {s.start for s in run.block("Ridge").plan.sets} == {dt.time(6)}


def test_without_a_head_or_a_price_nothing_is_made_up():
    made = sheet.week(season.run(farm(dry())))["blocks"][0]["cost"]
    assert (made["energy_kwh"], made["energy_cost"], made["total"], made["per_m3"]) == (None,) * 4
    made = sheet.week(season.run(farm(dry(), pump_head_m=30.0)))["blocks"][0]["cost"]
    assert made["energy_kwh"] > 0 and made["energy_cost"] is None


def test_each_block_pays_for_the_head_of_its_own_pump():
    deep = Pump(name="Deep", flow_m3_h=40.0, head_m=120.0, efficiency=0.6)
    data = farm(dry(), dry("Bank", 2, pump="Deep"), pumps=(deep,), pump_head_m=60.0)
    rows = {b["block"]: b for b in sheet.week(season.run(data))["blocks"]}
    each = {n: b["cost"]["energy_kwh"] / b["m3"] for n, b in rows.items()}
    assert each["Bank"] == pytest.approx(2 * each["Ridge"])
    assert rows["Bank"]["pump"] == "Deep" and rows["Ridge"]["pump"] is None


def test_the_week_looked_at_is_a_monday():
    assert MONDAY.weekday() == 0
