"""Where the numbers come from: every chain is whole, adds up, and ends at something known."""

import numpy as np
import pytest
from orchard_samples import MONDAY, block, day, farm, forecast, pruned, record
from shapely.geometry import box

from waterbudget import english, origin, season, sheet, tables
from waterbudget.errors import Refused
from waterbudget.orchard import Station
from waterbudget.origin import NUMBERS
from waterbudget.records import Ran

RAIN = {day(-20): 12.0, day(-3): 4.0}


def measured(**changed):
    """A block of which all is entered or measured."""
    fields = {
        "outline": box(0, 0, 100, 100), "outline_ha": 1.0, "area_ha": None,
        "field_capacity": 0.22, "wilting_point": 0.10, "stones": 0.1, "root_depth_m": 0.7,
        "wetted_fraction": 0.4, "efficiency": 0.88, "kc_fixed": 0.8, "flow_from": "meter",
        "stage_numbers": {"allowed_fill": 0.35}, "cycles": pruned(160, seen_fill=day(-9)),
    } | changed  # fmt: skip
    return block(**fields)


@pytest.fixture(scope="module")
def run():
    plain = block("Plain", 2, soil=None, stage_numbers={}, outlet_l_h=50.0, flow_m3_h=None,
                  trees=None, spacing_m=4.0)  # fmt: skip
    sandy = block("Sandy", 3, sand_pct=60, clay_pct=12, rock_depth_m=0.6, catch_ml="40 40 44 70",
                  water_ec_ds_m=1.0, salt_threshold_ds_m=1.0, salt_loss_pct=19.0,
                  kc_factor=1.1)  # fmt: skip
    ran = (Ran(1, day(-5), hours=5.0), Ran(1, day(-2), m3=60.0))
    return season.run(
        farm(measured(), plain, sandy, records={"Gate": record(rain=RAIN)}, ran=ran,
             forecasts={"Gate": forecast(day(0), rain={2: 6.0})}, forecast_rain_credit=0.5)
    )  # fmt: skip


def made(run, name, number):
    return origin.origin(run, run.block(name), number)


def part(run, name, number, wanted):
    return next(p for p in made(run, name, number).parts if p.name == wanted)


def signed(parts, *names):
    by_name = {p.name: p.value for p in parts}
    return [by_name[n] for n in names]


@pytest.mark.parametrize("name", ["Ridge", "Plain", "Sandy"])
def test_every_number_is_that_of_the_week_and_has_words_and_a_source(run, name):
    row = dict(sheet.week_row(run, run.block(name)).values)
    row["made_good_mm"] = row["dr_start_mm"] - row["dr_end_mm"]
    row["lost_mm"] = row["net_mm"] + row["rain_credited_mm"] - row["etc_mm"] - row["made_good_mm"]
    columns = {"stage": "stage", "kc": "kc", "m3": "m3", "hours": "hours", "trees": "trees",
               "rain": "rain_credited_mm", "area": "area_ha", "flow": "flow_m3_h",
               "litres": "litres_per_tree"}  # fmt: skip
    found = origin.origins(run, run.block(name))
    assert tuple(o.number for o in found) == NUMBERS
    for o in found:
        value = row[columns.get(o.number, f"{o.number}_mm")]
        assert o.value == (value if isinstance(value, str) else pytest.approx(value, abs=1e-9))
        assert o.parts and o.published.source and o.published.kind
        for code in (f"origin.name.{o.number}", o.method.code, f"origin.certainty.{o.certainty}",
                     *(f"origin.name.{p.name}" for p in o.parts),
                     *(p.told.code for p in o.parts if p.told is not None),
                     *(n.code for n in o.unsure)):  # fmt: skip
            assert code in tables.sentences(), code
        for note in (o.method, *o.unsure, *(p.told for p in o.parts if p.told is not None)):
            assert "{" not in english.sentence(note)
        for p in o.parts:
            assert p.certainty != "worked" or p.number or p.told or p.value is not None
            if p.number:
                assert p.number in NUMBERS


@pytest.mark.parametrize("name", ["Ridge", "Plain", "Sandy"])
def test_every_chain_ends_at_something_known(run, name):
    """Following the parts never runs in a circle."""

    def depth(number, above=()):
        assert number not in above, above
        below = [p.number for p in made(run, name, number).parts if p.number]
        return 1 + max((depth(n, (*above, number)) for n in below), default=0)

    assert depth("hours") == depth("litres") >= 5
    assert depth("stage") == depth("area") == 1


@pytest.mark.parametrize("name", ["Ridge", "Plain", "Sandy"])
def test_the_parts_make_the_number(run, name):
    def values(number, *names):
        return signed(made(run, name, number).parts, *names)

    def is_(number, value, **how):
        assert made(run, name, number).value == pytest.approx(value, **how), number

    is_("net", sum(values("net", "etc", "made_good", "rain", "lost")))
    is_("made_good", sum(values("made_good", "dr_start", "dr_end")))
    is_("lost", sum(values("lost", "drains", "runs_off", "corrected")), abs=1e-9)
    net, share = values("gross", "net", "efficiency")
    is_("gross", net / share)
    gross, hectares = values("m3", "gross", "area")
    is_("m3", gross * hectares * 10)
    m3, flow, exact = values("hours", "m3", "flow", "hours_exact")
    assert exact == pytest.approx(m3 / flow)
    is_("hours", exact, abs=0.25)
    m3, trees = values("litres", "m3", "trees")
    is_("litres", 1000 * m3 / trees)
    fc, wp, stones, roots, share = values(
        "taw", "field_capacity", "wilting_point", "stones", "root_depth", "root_share"
    )
    is_("taw", 1000 * (fc - wp) * (1 - stones) * roots * share)
    taw, share = values("allowed", "taw", "allowed_share")
    is_("allowed", taw * share)
    before, took, rained, watered, drained, put_right = values(
        "dr_start", "missing_before", "took", "rained", "watered", "drained", "corrected"
    )
    is_("dr_start", before + took - rained - watered + drained + put_right)
    trees, soil = values("etc", "trees_take", "soil_takes")
    is_("etc", trees + soil)
    et0, kc = values("etc", "et0", "kc")
    is_("etc", et0 * kc)
    coming, credit = values("rain", "rain_coming", "credit")
    is_("rain", coming * credit)
    for number, key in (("et0", "et0"), ("etc", "etc"), ("rain", "rain")):
        is_(number, sum(d.values[key] for d in made(run, name, number).days))


def test_the_flow_of_outlets_and_trees_of_a_spacing(run):
    outlet, each, trees = signed(
        made(run, "Plain", "flow").parts, "outlet", "outlets_per_tree", "trees"
    )
    assert made(run, "Plain", "flow").value == pytest.approx(outlet * each * trees / 1000)
    assert made(run, "Plain", "trees").value == 625
    assert part(run, "Plain", "trees", "pattern").certainty == "default"
    assert [n.code for n in made(run, "Plain", "flow").unsure] == ["origin.catalogue"]


def test_what_is_entered_is_given_and_what_stands_in_is_a_default(run):
    for number in ("taw", "allowed", "area", "flow", "trees", "stage"):
        assert made(run, "Ridge", number).certainty == "given", number
    assert made(run, "Ridge", "gross").certainty == "other"  # the forecast
    for number in ("taw", "allowed", "kc", "hours"):
        assert made(run, "Plain", number).certainty == "default", number
    loam = part(run, "Plain", "taw", "field_capacity")
    assert loam.source.row == "loam" and loam.source.where.startswith("Table 19")
    kcb = part(run, "Plain", "kc", "kcb")
    assert (kcb.value, kcb.source.row, kcb.source.kind) == (0.75, "fill", "own estimate")
    assert "SciELO" in kcb.source.where  # "as above" is followed up


def test_texture_rock_catches_salt_and_factor_are_told(run):
    fc = part(run, "Sandy", "taw", "field_capacity")
    assert fc.told.code == "origin.by_texture" and "Saxton" in fc.source.source
    assert part(run, "Sandy", "taw", "root_depth").told.code == "origin.to_rock"
    even = part(run, "Sandy", "gross", "efficiency")
    assert even.value == pytest.approx(40 / 48.5) and even.told.fields == {"count": 4}
    assert part(run, "Sandy", "kc", "ks_salt").value == pytest.approx(1 - 0.19 * 0.5333, abs=1e-3)
    assert part(run, "Sandy", "kc", "kcb").value == 0.75
    assert part(run, "Sandy", "kc", "kc_factor").value == 1.1
    assert [n.code for n in made(run, "Sandy", "gross").unsure] == ["origin.leaching_shown"]


def test_the_days_say_what_they_were_made_from():
    hole = [day(-2), day(-6)]
    data = farm(block(), records={"Gate": record(without=hole)})
    run = season.run(data)
    week = made(run, "Ridge", "et0")
    assert week.certainty == "missing"  # no forecast at all
    assert [d.made_from for d in week.days] == [("stand_in",)] * 7
    told = [english.sentence(n) for n in week.unsure]
    assert told == ["7 of 7 coming days: stood in.", "2 of the last 30 days: stood in."]
    assert [n.fields["count"] for n in made(run, "Ridge", "dr_start").unsure
            if n.code == "origin.rain_unknown"] == [2]  # fmt: skip


def test_the_kc_of_the_day_is_what_its_parts_say():
    run = season.run(farm(block(system="micro", full_on=day(-1), canopy_cover=0.4)))
    found = made(run, "Ridge", "kc")
    i = run.on_index
    for j, d in enumerate(found.days[:3]):
        kc = d.values["kcb"] * d.values["ks"] + d.values["ke"]
        assert kc * run.drivers.et0_mm[i + j, 0] == pytest.approx(run.account.etc_mm[i + j, 0])
    assert part(run, "Ridge", "kc", "canopy").certainty == "given"


def test_a_block_that_lacks_something_says_what():
    bare = season.run(farm(block(area_ha=None, flow_m3_h=None, trees=None), records={}), MONDAY)
    for number in ("et0", "etc", "net", "hours"):
        found = made(bare, "Ridge", number)
        assert (found.value, found.certainty) == (None, "missing")
        assert [p.certainty for p in found.parts] == ["missing"]
    assert made(bare, "Ridge", "taw").value > 0
    for number in ("area", "flow", "trees"):
        assert made(bare, "Ridge", number).certainty == "missing"


def test_a_station_nobody_chose_is_no_choice():
    two = (Station(name="Gate", id=1, lat=-19.9, lon=32.7), Station(name="Top", id=2))
    run = season.run(farm(block(), stations=two, records={"Gate": record(), "Top": record()}))
    assert part(run, "Ridge", "et0", "station").certainty == "default"
    chosen = season.run(farm(block(station="Top"), stations=two,
                             records={"Gate": record(), "Top": record()}))  # fmt: skip
    assert part(chosen, "Ridge", "et0", "station").certainty == "given"
    assert part(chosen, "Ridge", "et0", "station").value == "Top"


def test_a_number_there_is_not(run):
    with pytest.raises(Refused) as caught:
        made(run, "Ridge", "moon")
    assert "hours" in caught.value.fields["known"]
    assert english.sentence(caught.value).endswith(".")


def test_leaching_in_rest_has_its_own_line():
    one = block(cycles=pruned(240), water_ec_ds_m=1.2, leaching="in-rest", full_on=day(-3))
    run = season.run(farm(one))
    found = {p.name: p.value for p in made(run, "Ridge", "gross").parts}
    assert found["leaching"] == pytest.approx(1.2 / 6.3)
    net = found["net"] / (found["efficiency"] * (1 - found["leaching"]))
    assert made(run, "Ridge", "gross").value == pytest.approx(net)
    assert np.isfinite(net)


def test_every_method_row_is_used():
    rows = {r["number"] for r in tables.read("methods")}
    assert set(NUMBERS) <= rows
    assert rows - set(NUMBERS) == {"salt", "climate", "sun_on_slope", "texture", "uniformity"}
