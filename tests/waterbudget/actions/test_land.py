"""Heights into the blocks and back again; the remembered file; flow over a block."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import box

from waterbudget import actions
from waterbudget.actions.land import take_back_heights
from waterbudget.errors import AnswersNeeded, Refused
from waterbudget.orchard import Block, Orchard, Station
from waterbudget.store import FarmFile

NOW = dt.datetime(2025, 7, 14, 7, 0)
EPSG, EAST, NORTH = 32736, 500_000.0, 7_800_000.0


def block(name: str, at: float, **changed: Any) -> Block:
    return Block(name=name, outline=box(EAST + at, NORTH, EAST + at + 80, NORTH + 80), **changed)


@pytest.fixture
def file(tmp_path: Path) -> Any:
    blocks = (
        block("Low", 0, slope_pct=3.0, aspect_deg=10.0, system="micro", outlet_l_h=50.0,
              outlet_radius_m=2.0, soil="clay", flow_m3_h=20.0, flow_from="meter"),
        block("High", 400, system="drip", soil="clay"),
        block("Edge", 580),
        block("Away", 5000),
        Block(name="Typed", area_ha=0.5),
    )  # fmt: skip
    orchard = Orchard(name="Hill", lat=-19.89, lon=33.0, epsg=EPSG, elevation_m=1000.0,
                      stations=(Station(name="house", elevation_m=1000.0),),
                      blocks=blocks)  # fmt: skip
    with FarmFile.create(tmp_path / "farm.gpkg", orchard, now=NOW) as made:
        yield made


def ramp(path: Path, rise: float = 0.2, *, times: float = 1.0, wide: int = 80) -> Path:
    """Land that falls to the west: 1000 m at the blocks' western edge."""
    import rasterio
    from rasterio.transform import Affine

    x = -100 + (np.arange(wide) + 0.5) * 10.0
    z = np.repeat(((1000 + rise * x) * times)[None], 40, axis=0)
    with rasterio.open(path, "w", driver="GTiff", height=40, width=wide, count=1, dtype="float64",
                       crs=f"EPSG:{EPSG}",
                       transform=Affine(10, 0, EAST - 100, 0, -10, NORTH + 200)) as out:  # fmt:skip
        out.write(z[None])
    return path


def by_name(hill: actions.Hill) -> dict[str, Any]:
    return {b.name: b for b in hill.blocks}


def test_looking_stores_nothing(file: FarmFile, tmp_path: Path) -> None:
    before = file.read()
    hill = actions.look_at_heights(before, ramp(tmp_path / "h.tif"))
    assert file.read() == before
    low, high = by_name(hill)["Low"], by_name(hill)["High"]
    assert low.heights.mean_m == pytest.approx(1008.0, abs=0.01)
    assert (high.heights.slope_pct, high.heights.aspect_deg) == pytest.approx((20.0, 270), rel=1e-3)
    assert high.slope_class == "terrace"
    # 0.65 degC cooler for every 100 m: 88 m above the station
    assert high.shift_c == pytest.approx(-0.572, abs=0.001)
    assert high.slope_ha / high.plan_ha == pytest.approx(1.0198, abs=1e-3)
    assert by_name(hill)["Away"].heights.mean_m is None
    assert not by_name(hill)["Away"].usable
    codes = [n.code for n in hill.notes]
    assert codes == ["hill.without_outline", "hill.caution"]


def test_what_the_outlets_bring_on_the_slope(file: FarmFile, tmp_path: Path) -> None:
    hill = actions.look_at_heights(file.read(), ramp(tmp_path / "h.tif"))
    note = next(n for n in by_name(hill)["Low"].notes if n.code == "hill.intake")
    # agronomy: 50 L/h in a circle of 2 m are 4.0 mm/h; clay over 12 % takes 1.5
    assert note.fields["rate_mm_h"] == pytest.approx(4.0)
    assert note.fields["highest_mm_h"] == pytest.approx(1.5)
    assert not any(n.code == "hill.intake" for n in by_name(hill)["High"].notes)


def test_stored_in_one_step_and_taken_back(file: FarmFile, tmp_path: Path) -> None:
    before = file.read()
    path = ramp(tmp_path / "h.tif", wide=70)  # reaches 20 m into Edge's 80
    done = actions.store_heights(file, path, now=NOW)
    after = file.read()
    assert after.version == before.version + 1
    assert [b.name for b in done.before] == ["Low", "High"]
    high = after.orchard.block("High")
    assert (high.elevation_m, high.slope_pct, high.aspect_deg) == (1088.0, 20.0, 270.0)
    assert after.orchard.block("Edge").elevation_m is None
    (row,) = after.underlays
    assert (row.path, row.kind, row.unit) == ("h.tif", "heights", None)
    assert actions.remembered_heights(after, file.path) == (path.resolve(), None)
    what, fields = file.history()[0][1:]
    assert (what, fields["file"], fields["blocks"]) == ("land.heights", "h.tif", ["Low", "High"])
    again = actions.store_heights(file, path, now=NOW)
    assert again.added is None and len(file.read().underlays) == 1
    take_back_heights(file, again, now=NOW)
    assert len(file.read().underlays) == 1
    take_back_heights(file, done, now=NOW)
    back = file.read()
    assert back.orchard == before.orchard and back.underlays == ()


def test_taking_back_leaves_what_was_set_since(file: FarmFile, tmp_path: Path) -> None:
    done = actions.store_heights(file, ramp(tmp_path / "h.tif"), now=NOW)
    actions.set_block(file, "Low", {"soil": "loam"}, now=NOW)
    take_back_heights(file, done, now=NOW)
    low = file.read().orchard.block("Low")
    assert (low.soil, low.slope_pct, low.aspect_deg, low.elevation_m) == ("loam", 3.0, 10.0, None)


def test_a_ridge_gets_no_direction(file: FarmFile, tmp_path: Path) -> None:
    import rasterio

    path = ramp(tmp_path / "h.tif")
    with rasterio.open(path, "r+") as dem:
        z = dem.read(1)
        x = -100 + (np.arange(z.shape[1]) + 0.5) * 10
        dem.write(np.repeat((1000 - 0.2 * np.abs(x - 42.0))[None], 40, axis=0), 1)
    done = actions.store_heights(file, path, now=NOW)
    low = file.read().orchard.block("Low")
    assert low.aspect_deg is None and low.slope_pct > 15
    assert "hill.several_sides" in [n.code for n in by_name(done.hill)["Low"].notes]


def test_heights_that_fit_only_as_feet_are_asked_and_the_answer_is_kept(
    file: FarmFile, tmp_path: Path
) -> None:
    feet = ramp(tmp_path / "ft.tif", times=1 / 0.3048)
    before = file.read()
    for call in (lambda: actions.look_at_heights(before, feet),
                 lambda: actions.store_heights(file, feet, now=NOW)):  # fmt: skip
        with pytest.raises(AnswersNeeded) as asked:
            call()
        assert asked.value.questions[0].choices == ("m", "ft")
    assert file.read() == before
    actions.store_heights(file, feet, unit="ft", now=NOW)
    assert file.read().orchard.block("High").elevation_m == pytest.approx(1088.0, abs=0.1)
    assert file.read().underlays[0].unit == "ft"
    # the flow reads it as feet without asking again
    found = actions.flow_over(file, "Low")
    assert found.valve_m == pytest.approx(1008.0, abs=0.1)
    metres = actions.store_heights(file, feet, unit="m", now=NOW)
    assert file.read().underlays[0].unit == "m"
    take_back_heights(file, metres, now=NOW)
    assert file.read().underlays[0].unit == "ft"


def test_a_file_that_says_metres_is_believed(file: FarmFile, tmp_path: Path) -> None:
    import rasterio

    path = ramp(tmp_path / "high.tif", times=1 / 0.3048)
    with rasterio.open(path, "r+") as dem:
        dem.units = ("metre",)
    hill = actions.look_at_heights(file.read(), path)
    assert by_name(hill)["Low"].heights.mean_m == pytest.approx(3307, abs=1)


def test_refusals_store_nothing(file: FarmFile, tmp_path: Path) -> None:
    before = file.read()
    far = tmp_path / "far.tif"
    import rasterio
    from rasterio.transform import Affine

    with rasterio.open(far, "w", driver="GTiff", height=9, width=9, count=1, dtype="float32",
                       crs=f"EPSG:{EPSG}",
                       transform=Affine(10, 0, EAST + 50_000, 0, -10, NORTH)) as out:  # fmt: skip
        out.write(np.ones((1, 9, 9), "float32"))
    note = tmp_path / "note.tif"
    note.write_text("no heights")
    for path, code in ((far, "hill.elsewhere"), (note, "terrain.unreadable"),
                       (tmp_path / "none.tif", "terrain.no_file")):  # fmt: skip
        with pytest.raises(Refused) as no:
            actions.store_heights(file, path, now=NOW)
        assert no.value.code == code
    assert file.read() == before


def test_flow_with_the_farms_own_file_or_without(file: FarmFile, tmp_path: Path) -> None:
    plain = actions.flow_over(file, "Low")
    assert plain.valve_m is None and plain.flow_m3_h == 20.0
    assert "pressure.no_heights" in [n.code for n in plain.notes]
    path = ramp(tmp_path / "h.tif")
    actions.store_heights(file, path, now=NOW)
    hilly = actions.flow_over(file, "Low")
    assert hilly.above_m == pytest.approx(8.0, abs=0.5)
    assert hilly.measured and hilly.flow_m3_h == 20.0
    path.unlink()
    gone = actions.flow_over(file, "Low")
    assert [n.code for n in gone.notes][:2] == ["hill.file_gone", "pressure.no_heights"]


def test_who_runs_together(file: FarmFile, tmp_path: Path) -> None:
    assert actions.who_runs_together(file.read()).apart == ()
    hill = actions.look_at_heights(file.read(), ramp(tmp_path / "h.tif"))
    found = actions.who_runs_together(file.read(), hill)
    assert ("High", "Low") in [(p.upper, p.lower) for p in found.apart]
    assert {"Away", "Typed"} <= set(found.unknown)
    actions.set_block(file, "High", {"valve_elevation_m": "1009"}, now=NOW)
    found = actions.who_runs_together(file.read(), hill)
    assert ("High", "Low") not in [(p.upper, p.lower) for p in found.apart]
