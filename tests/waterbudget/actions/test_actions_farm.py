"""The farm: begin, set, check, copy; files told apart; what the week still needs."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from waterbudget import actions, season
from waterbudget.errors import Refused
from waterbudget.store import FarmFile


def refused(code: str):
    return pytest.raises(Refused, match=code.replace(".", r"\."))


@pytest.mark.parametrize(
    ("lat", "lon", "zone", "epsg"),
    [(-19.9, 32.7, "Africa/Harare", 32736), (-17.352, 33.214, "Africa/Maputo", 32736),
     (25.4, 81.9, "Asia/Kolkata", 32644), (-9.4, -40.5, "America/Recife", 32724)],
)  # fmt: skip
def test_place_gives_zone_and_map_system(tmp_path, now, lat, lon, zone, epsg):
    with actions.new_farm(tmp_path / "n.gpkg", name=" A  b ", lat=lat, lon=lon, now=now) as file:
        orchard = file.read().orchard
        assert (orchard.name, orchard.time_zone, orchard.epsg) == ("A b", zone, epsg)


@pytest.mark.parametrize(
    ("more", "code"),
    [({"name": " "}, "farm.no_name"), ({"lat": 90.1}, "farm.bad_position"),
     ({"lon": -180.1}, "farm.bad_position"), ({"lat": float("nan")}, "farm.bad_position"),
     ({"lat": -85.0}, "farm.too_near_pole"), ({"elevation_m": 9000.0}, "key.out_of_bounds")],
)  # fmt: skip
def test_a_farm_that_cannot_be_is_not_begun(tmp_path, now, more, code):
    path = tmp_path / "n.gpkg"
    with refused(code):
        actions.new_farm(path, **{"name": "A", "lat": 1.0, "lon": 2.0, **more}, now=now)
    assert list(tmp_path.iterdir()) == []


def test_a_cleared_key_is_back_at_its_default(file, now):
    keys = {"pump_hours": "8", "work_from": "05:15", "days_off": "Sunday; sat", "night_sets": "yes",
            "kcb_fill": "0.9", "et0": "given"}  # fmt: skip
    set_to = actions.set_farm(file, keys, now=now)
    assert (set_to.pump_hours, set_to.work_from, set_to.days_off, set_to.night_sets) == (
        8, dt.time(5, 15), ("sat", "sun"), True)  # fmt: skip
    assert set_to.stage_numbers == {"kcb_fill": 0.9}
    cleared = actions.set_farm(file, dict.fromkeys(keys, ""), now=now)
    assert (cleared.pump_hours, cleared.work_from, cleared.days_off, cleared.night_sets) == (
        None, dt.time(6), (), False)  # fmt: skip
    assert cleared.stage_numbers == {} and cleared.et0 == "computed"


@pytest.mark.parametrize(
    ("pairs", "code"),
    [({"pump_hours": "8", "lat": "3"}, "key.unknown_farm"), ({"name": " "}, "farm.no_name"),
     ({"work_from": "19:00"}, "farm.work_hours"), ({"work_to": "24:00"}, "key.bad_time"),
     ({"days_off": "mon,tue,wed,thu,fri,sat,sun"}, "farm.no_working_day"),
     ({"forecast_rain_credit": "1.01"}, "key.out_of_bounds"),
     ({"time_zone": "../../etc/passwd"}, "farm.unknown_zone"),
     ({"default_station": "Nowhere"}, "station.unknown"), ({"night_sets": "2"}, "key.bad_yesno")],
)  # fmt: skip
def test_a_farm_setting_that_cannot_be(file, now, pairs, code):
    before = file.read()
    with refused(code):
        actions.set_farm(file, pairs, now=now)
    assert file.read() == before


def test_a_whole_file_passes_and_an_open_account_does_not(file, monkeypatch):
    assert actions.check(file) == ()
    run = season.run

    def leaking(data):
        made = run(data)
        closure = np.array(made.account.closure_mm)
        closure[5, 1] = 1e-6
        return replace(made, account=replace(made.account, closure_mm=closure))

    monkeypatch.setattr(season, "run", leaking)
    (note,) = actions.check(file)
    assert note.code == "check.account_open" and note.fields["block"] == "Low"


def test_copies_are_dated_whole_and_never_written_over(file, now, tmp_path):
    stick = tmp_path / "stick"
    with refused("copy.no_folder"):
        actions.save_copy(file, stick, now=now)
    stick.mkdir()
    first, second = (actions.save_copy(file, stick, now=now) for _ in range(2))
    assert [first.name, second.name] == ["ridge-2025-07-14.gpkg", "ridge-2025-07-14-2.gpkg"]
    with FarmFile.open(first, read_only=True) as copy:
        assert actions.check(copy) == ()
        assert copy.read().orchard == file.read().orchard


KINDS = [
    ("a.csv", "block,date,hours,m3\nA,2025-07-01,2,\n", "ran"),
    ("a.csv", "name,area_ha,soil\nA,1,loam\n", "blocks"),
    ("a.csv", "date,tmax,tmin,rain\n2025-07-01,25,12,0\n", "weather"),
    ("a.csv", "name,lat,lon\nA,-19.9,32.7\n", "outlines"),
    ("a.csv", "block,easting,northing\nA,468600,7799500\n", "outlines"),
    ("a.csv", "Bloque;Este;Norte\nA;468600;7799500\n", "outlines"),
    ("a.csv", "name;geometry\nA;POLYGON EMPTY\n", "outlines"),
    ("a.csv", "date,latitude,longitude,tmax,tmin\n2025-07-01,-19.9,32.7,25,12\n", "weather"),
    ("a.json", '{"type": "FeatureCollection", "features": []}', "outlines"),
    ("a.gpx", "<gpx></gpx>", "outlines"),
    ("a.csv", "\ufeffBlock;Date;Hours\r\nA;2025-07-01;2\r\n", "ran"),
]


@pytest.mark.parametrize(("name", "text", "kind"), KINDS)
def test_files_are_told_apart(tmp_path, name, text, kind):
    path = tmp_path / name
    path.write_bytes(text.encode())
    assert actions.recognise(path) == kind


def test_a_farm_file_is_known_as_one(file):
    assert actions.recognise(file.path) == "farm"
    with refused("file.missing"):
        actions.recognise(file.path.with_name("none.csv"))


def needs(file):
    data = file.read()
    return {n.code: n for n in actions.needs(data, season.run(data))}


def test_what_the_week_still_needs(file, now):
    actions.set_block(file, "Bare", {}, new=True, now=now)
    actions.set_block(file, "Low", {"flow_m3_h": "", "trees": "400", "outlet_l_h": "50",
                                    "soil": "", "pruned_on": "2025-03-01"}, now=now)  # fmt: skip
    found = needs(file)
    assert dict(found["area"].blocks) == {"Top": "given", "Low": "given", "Bare": "missing"}
    assert dict(found["flow"].blocks) == {"Top": "given", "Low": "other", "Bare": "missing"}
    assert dict(found["soil"].blocks) == {"Top": "given", "Low": "default", "Bare": "default"}
    assert dict(found["pruned_on"].blocks) == {"Top": "missing", "Low": "given", "Bare": "missing"}
    assert found["weather"].done == 3 and found["pump"].done == 0
    actions.set_block(file, "Low", {"flow_from": "bucket"}, now=now)
    assert needs(file)["flow"].blocks["Low"] == "given"  # the outlets were measured
