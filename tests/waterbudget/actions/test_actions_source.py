"""Further pumps: begun, set, renamed, taken off, put back; nothing stored where refused."""

from __future__ import annotations

import datetime as dt

import pytest

from waterbudget import actions
from waterbudget.errors import Refused


def pumps(file):
    return [(p.name, p.flow_m3_h, p.out_from) for p in file.read().orchard.pumps]


def test_a_pump_through_its_life(file, now):
    made = actions.set_pump(file, " River ", {"flow_m3_h": "60", "runs_to": "06:00"}, new=True,
                            now=now)  # fmt: skip
    assert (made.name, made.flow_m3_h, made.runs_to) == ("River", 60.0, dt.time(6))
    actions.set_pump(file, "river", {"out_from": "2025-07-20"}, now=now)
    actions.set_block(file, "Top", {"pump": "RIVER"}, now=now)
    assert file.read().orchard.block("Top").pump == "River"
    actions.set_pump(file, "River", {}, new_name="Creek", now=now)
    assert pumps(file) == [("Creek", 60.0, dt.date(2025, 7, 20))]
    assert file.read().orchard.block("Top").pump == "Creek"
    actions.restore_pump(file, made, called="Creek", now=now)
    assert pumps(file) == [("River", 60.0, None)]
    assert file.read().orchard.block("Top").pump == "River"
    actions.set_block(file, "Top", {"pump": ""}, now=now)
    gone = actions.remove_pump(file, "River", now=now)
    assert pumps(file) == []
    actions.restore_pump(file, gone, now=now)
    assert pumps(file) == [("River", 60.0, None)]


@pytest.mark.parametrize(
    ("name", "pairs", "more", "code"),
    [
        ("River", {"flow": "6"}, {}, "source.bad_key"),
        ("River", {"flow_m3_h": "-6"}, {}, "key.out_of_bounds"),
        ("River", {"out_from": "2025-07-20", "out_to": "2025-07-19"}, {}, "source.out_days"),
        ("Lake", {"flow_m3_h": "6"}, {}, "source.unknown"),
        ("RIVER", {}, {"new": True}, "source.exists"),
        ("  ", {}, {"new": True}, "source.no_name"),
        ("a=b", {}, {"new": True}, "source.name_like_key"),
        ("pump_hours", {}, {"new": True}, "source.name_like_key"),
        ("River", {}, {"new_name": ""}, "source.no_name"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_stored(file, now, name, pairs, more, code):
    actions.set_pump(file, "River", {"flow_m3_h": "60"}, new=True, now=now)
    before = file.read().version
    with pytest.raises(Refused) as fault:
        actions.set_pump(file, name, pairs, now=now, **more)
    assert fault.value.code == code
    assert file.read().version == before and pumps(file) == [("River", 60.0, None)]


def test_a_pump_that_feeds_blocks_stays(file, now):
    actions.set_pump(file, "River", {}, new=True, now=now)
    actions.set_block(file, "Low", {"pump": "River"}, now=now)
    with pytest.raises(Refused) as fault:
        actions.remove_pump(file, "River", now=now)
    assert (fault.value.code, fault.value.fields["blocks"]) == ("source.feeds", "Low")


def test_a_block_cannot_name_a_pump_that_is_not_there(file, now):
    with pytest.raises(Refused) as fault:
        actions.set_block(file, "Low", {"pump": "Lake"}, now=now)
    assert fault.value.code == "source.block_pump"


@pytest.mark.parametrize(
    ("pairs", "code"),
    [
        ({"name": "x"}, "source.bad_farm_key"),
        ({"tank_m3": "50", "tank_now_m3": "60"}, "source.tank_over"),
        ({"pump_out_from": "2025-07-20", "pump_out_to": "2025-07-01"}, "source.first_out_days"),
    ],
)
def test_keys_of_the_source_are_set_all_or_none(file, now, pairs, code):
    assert actions.set_source(file, {"people": "3"}, now=now).people == 3
    before = file.read().version
    with pytest.raises(Refused) as fault:
        actions.set_source(file, pairs, now=now)
    assert fault.value.code == code and file.read().version == before
