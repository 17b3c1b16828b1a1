"""Files of every format that was ever given out are still read to the same figures.

README: ``tests/farms/v1/farm.gpkg`` was made once by ``python tests/farms/make_v1.py``, with the
first version of the store, and is never made again; ``v2`` and ``v3`` likewise by ``make_v2.py``
and ``make_v3.py``.
"""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from waterbudget.orchard import Block
from waterbudget.records import FarmData, Reading
from waterbudget.store import FarmFile

V1 = Path(__file__).parents[2] / "farms" / "v1" / "farm.gpkg"
V2 = Path(__file__).parents[2] / "farms" / "v2" / "farm.gpkg"
V3 = Path(__file__).parents[2] / "farms" / "v3" / "farm.gpkg"


def read_it(path: Path) -> FarmData:
    with FarmFile.open(path, read_only=True) as farm:
        assert farm.check() == []
        return farm.read()


def open_it(path: Path) -> FarmData:
    with FarmFile.open(path) as farm:
        assert farm.check() == []
        return farm.read()


@pytest.mark.parametrize("way", [read_it, open_it])
def test_format_1_reads_to_its_figures(way: Callable[[Path], FarmData], tmp_path: Path) -> None:
    path = Path(shutil.copy(V1, tmp_path))
    data = way(path)

    farm = data.orchard
    assert (farm.name, farm.epsg, farm.invented, farm.pump_m3_h) == ("Frozen farm", 32736, True, 60)
    assert (farm.work_from, farm.work_to, farm.days_off) == (dt.time(5, 30), dt.time(18), ("sun",))
    assert farm.gauges == ("Hilltop",)
    assert [s.name for s in farm.stations] == ["Ridge"]

    bank, parts, bare = farm.blocks
    assert (bank.name, parts.name, bare.name) == ("Rock bank", "Dos partes", "No outline")
    # 12,000 - 400 and 2 x 3,000 m2 on the map; a metre of the map is 0.9996 m there
    assert bank.hectares == pytest.approx(1.16 / 0.9996**2, rel=1e-5)
    assert parts.hectares == pytest.approx(0.6 / 0.9996**2, rel=1e-5)
    assert bare.hectares == 1.2
    assert bank.stage_numbers == {"kcb_fill": 0.82, "allowed_fill": 0.3}
    assert [c.pruned_on for c in bank.cycles] == [dt.date(2025, 2, 10), dt.date(2025, 11, 3)]
    assert bank.cycles[1].seen_bloom == dt.date(2025, 12, 20)
    assert (bank.trees, bank.flow_from, bank.planted_on) == (720, "bucket", dt.date(2019, 11, 5))
    assert (parts.note, parts.full_on) == ("Señal: válvula azul", dt.date(2026, 2, 26))
    assert (bare.kc_fixed, bare.target_dr_mm) == (0.85, 11.475)

    record = data.records["Ridge"]
    assert (record.first, record.last) == (dt.date(2026, 1, 20), dt.date(2026, 2, 28))
    assert np.nansum(record.values["rain_mm"]) == 7 * 6 + 10  # one of 8 wet days lost, one +10
    assert np.isnan(record.values["rain_mm"]).sum() == 2
    assert np.isnan(record.values["tmax_c"]).nonzero()[0].tolist() == [9]
    assert record.flags == {dt.date(2026, 1, 23): ("rs_high",),
                            dt.date(2026, 1, 25): ("corrected",)}  # fmt: skip
    (coming,) = data.forecasts["Ridge"]
    assert coming.issued == coming.day.date == dt.date(2026, 3, 2)
    assert dict(coming.day.values) == {"et0_given_mm": 4.5, "rain_mm": 8.0}
    assert data.rain_typed == {"Hilltop": {dt.date(2026, 3, 1): 12.5}}

    assert [(r.block_id, r.date.day, r.hours, r.m3) for r in data.ran] == [
        (1, 24, 3.25, None), (2, 25, None, 41.0)]  # fmt: skip
    (week,) = data.given
    assert (week.number, week.first) == (1, dt.date(2026, 3, 2))
    assert week.given_at == dt.datetime(2026, 3, 2, 6, 45)
    assert [(s.block_id, s.start, s.hours, s.mm, s.m3) for s in week.sets] == [
        (1, dt.time(5, 30), 3.25, 9.75, 117.0), (2, dt.time(9), 2.5, 8.0, None)]  # fmt: skip
    assert [(p.block_id, p.date.day, p.hours) for p in data.pins] == [(2, 4, 0.0)]
    assert data.version >= 6
    assert data.readings == ()


def test_format_1_takes_readings_once_it_is_brought_up(tmp_path: Path) -> None:
    path = Path(shutil.copy(V1, tmp_path))
    with FarmFile.open(path) as farm:
        (note,) = farm.notes
        assert (note.code, note.fields["copy"]) == ("farmfile.upgraded", "farm.format-1.gpkg")
        read = Reading(1, dt.date(2026, 2, 27), "tensiometer", 28.0, 25.0, "T1")
        with farm.transaction("reading.entered", now=dt.datetime(2026, 3, 3)):
            farm.set_readings(1, read.date, [read])
    with FarmFile.open(path) as farm:
        assert farm.notes == []
        assert [replace(r, id=0) for r in farm.read().readings] == [read]


@pytest.mark.parametrize("way", [read_it, open_it])
def test_format_2_reads_to_its_figures(way: Callable[[Path], FarmData], tmp_path: Path) -> None:
    data = way(Path(shutil.copy(V2, tmp_path)))
    assert [(r.block_id, r.date, r.kind, r.value, r.depth_cm, r.sensor, r.before_water)
            for r in data.readings] == [
        (1, dt.date(2026, 2, 27), "tensiometer", 28.0, 25.0, "T1", True),
        (1, dt.date(2026, 2, 27), "tensiometer", 31.5, 25.0, "T2", True),
        (2, dt.date(2026, 2, 27), "field", 12.25, None, None, False),
    ]  # fmt: skip
    bank = data.orchard.blocks[0]
    assert (bank.kc_factor, bank.kc_factor_before) == (0.95, 1.0)
    assert (bank.kc_factor_from, bank.kc_factor_why) == (
        dt.date(2026, 2, 20), "three weeks of readings")  # fmt: skip
    older = way(Path(shutil.copy(V1, tmp_path / "older.gpkg")))
    assert data.ran == older.ran and data.given == older.given and data.pins == older.pins


@pytest.mark.parametrize("way", [read_it, open_it])
def test_format_3_reads_to_its_figures(way: Callable[[Path], FarmData], tmp_path: Path) -> None:
    data = way(Path(shutil.copy(V3, tmp_path)))
    on = dt.date(2026, 2, 25)
    (pump,) = data.orchard.pumps
    assert (pump.name, pump.flow_m3_h, pump.hours, pump.head_m) == ("River", 45.5, 7.0, 38.0)
    assert (pump.runs_from, pump.runs_to, pump.out_from) == (dt.time(22), dt.time(5, 30), None)
    feed, spray = data.field_entries
    assert (feed.block_id, feed.date, feed.kind, feed.cycle_day) == (1, on, "feed", 110)
    assert (feed.done, feed.placed, feed.n_kg_ha) == (True, "soil", 32.5)
    assert (spray.block_id, spray.skipped, spray.done) == (2, True, False)
    assert [(m.block_id, m.date, m.m3) for m in data.meter_readings] == [(1, on, 1204.5)]
    assert [(t.row, t.number, t.state) for t in data.tree_marks] == [(3, 12, "missing")]
    (road,) = data.land_marks
    assert (road.kind, road.width_m, road.name) == ("road", 4.0, "Upper track")
    assert road.shape.coords[1] == (500_120.5, 7_800_040)
    (hill,) = data.underlays
    assert (hill.path, hill.kind, hill.opacity, hill.unit) == ("hill.tif", "heights", 0.6, "ft")
    assert data.figure("nursery.graft_share", 0.85) == 0.9
    farm = data.orchard
    assert (farm.right_m3_week, farm.night_from, farm.people) == (5200.0, dt.time(21), 2)
    assert (farm.pump_out_from, farm.feed_days) == (on, "12, 50")
    older = way(Path(shutil.copy(V2, tmp_path / "older.gpkg")))
    assert older.readings == data.readings and older.orchard.pumps == ()


def test_format_1_keeps_what_lies_behind_the_figures(tmp_path: Path) -> None:
    with FarmFile.open(Path(shutil.copy(V1, tmp_path))) as farm:
        assert farm.original(1) == b"date;tmax\n2026-01-20;28,0\n"
        assert farm.remembered_answers("semicolon") == {"decimal": ","}
        assert [(f.what, f.value, f.accepted) for f in farm.list_flags(1)] == [
            ("rs_high", "41", False)]  # fmt: skip
        came, corrected = farm.day_history(1, dt.date(2026, 1, 25))
        assert came.day.values["rain_mm"] == 6
        assert (corrected.day.values, corrected.why) == ({"rain_mm": 16}, "gauge spilled")
        whats = [what for _, what, _ in farm.history(100)]
        assert whats[-6:] == [
            "week.handed_out", "ran.entered", "rain.typed", "day.corrected", "weather.imported",
            "farm.created"]  # fmt: skip
        with farm.transaction("x", now=dt.datetime(2030, 1, 1)):
            assert farm.save_block(Block(name="Fourth")) == 4
        assert [b.id for b in farm.read().orchard.blocks] == [1, 2, 3, 4]
